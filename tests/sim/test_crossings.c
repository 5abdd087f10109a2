// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Events that cannot be missed: machines in which two crossings fall within one step of 1 ms show the same events, sums and
 * state as at a step of 0.01 ms, at which the crossings lie many steps apart.
 *
 * Loads are invented. Where what must happen follows by hand, it stands beside the test.
 */
#include <string.h>

#include "help/driven.h"

/* Both come from the same equations at other places of the series: some hundred roundings, of each figure's own scale.
 * Measured: 1e-13 at worst. */
static const double rounding = 1e-11;

static const double coarse_s = 1e-3, fine_s = 1e-5;

static struct driven at_step(struct sb_model *model, int gear, const struct oracle_command *command, double end_s,
                             double step_s)
{
  model->run.step_s = step_s;
  model_finish(model);
  return drive(model, gear, command, command != NULL ? 1 : 0, end_s);
}

static void compare_events(const struct oracle_result *got, const struct oracle_result *want, double speed)
{
  assert_int_equal(got->event_count, want->event_count);
  for (size_t i = 0; i < want->event_count; i++) {
    assert_int_equal(got->events[i].event, want->events[i].event);
    assert_near(got->events[i].time_s, want->events[i].time_s, rounding);
    assert_near(got->events[i].motor_speed_rad_s, want->events[i].motor_speed_rad_s, rounding * speed);
  }
}

static void compare_peak(const struct sb_peak *got, const struct sb_peak *want)
{
  assert_near_rel(got->value, want->value, rounding);
  if (want->value != 0.0) assert_near(got->time_s, want->time_s, 1e-6); /* flat at the top: the root of rounding */
}

static void compare_sums(const struct sb_sums *got, const struct sb_sums *want)
{
  const double *one = (const double *)&got->energy, *other = (const double *)&want->energy;
  for (size_t i = 0; i < sizeof got->energy / sizeof *one; i++)
    assert_near(one[i], other[i], rounding * want->energy.throughput);
  compare_peak(&got->output_torque_nm, &want->output_torque_nm);
  compare_peak(&got->motor_speed_rad_s, &want->motor_speed_rad_s);
  compare_peak(&got->output_speed_rad_s, &want->output_speed_rad_s);
  const double speed = fabs(want->output_speed_rad_s.value);
  assert_near(got->least_output_speed_rad_s, want->least_output_speed_rad_s, rounding * speed);
  assert_near(got->greatest_output_speed_rad_s, want->greatest_output_speed_rad_s, rounding * speed);
  assert_near(got->over_limit_s, want->over_limit_s, rounding);
  if (want->over_limit_s > 0.0) {
    assert_near(got->over_limit_first_s, want->over_limit_first_s, rounding);
    assert_near(got->over_limit_last_s, want->over_limit_last_s, rounding);
  }
  assert_near(got->standstill_time_s, want->standstill_time_s, rounding);
  assert_near(got->neutral_time_s, want->neutral_time_s, rounding);
  assert_near(got->greatest_impulse_nms, want->greatest_impulse_nms, rounding * fabs(want->greatest_impulse_nms));
}

/* Runs both, compares them, and returns what the coarse step saw. */
static struct driven seen_at_both_steps(struct sb_model *model, int gear, const struct oracle_command *command,
                                        double end_s)
{
  const struct driven fine = at_step(model, gear, command, end_s, fine_s);
  const struct driven coarse = at_step(model, gear, command, end_s, coarse_s);
  const double speed = fabs(fine.sums.motor_speed_rad_s.value);
  compare_events(&coarse.seen, &fine.seen, speed);
  compare_sums(&coarse.sums, &fine.sums);
  assert_near(coarse.state.motor_speed_rad_s, fine.state.motor_speed_rad_s, rounding * speed);
  assert_near(coarse.state.output_speed_rad_s, fine.state.output_speed_rad_s, rounding * speed);
  assert_near(coarse.state.output_angle_rad, fine.state.output_angle_rad,
              rounding * fmax(1.0, fabs(fine.state.output_angle_rad)));
  assert_near(coarse.state.twist.twist_rad, fine.state.twist.twist_rad, rounding);
  return coarse;
}

/* From base to peak and back within 0.3 ms, none of its corners on a step. */
static const double pulse_s[] = {0.0, 0.25035, 0.2505, 0.25065};

static struct sb_load_part *add_pulse(struct sb_model *model, double torque_nm[4], double base_nm, double peak_nm,
                                      bool is_resisting)
{
  torque_nm[0] = torque_nm[1] = torque_nm[3] = base_nm;
  torque_nm[2] = peak_nm;
  return model_add_profile(model, SB_OVER_TIME, is_resisting, 4, pulse_s, torque_nm);
}

/* The fast gear brings 0.4 * 4 * 0.95 = 1.52 N m: the load of 2 N m, falling to 1 N m at 0.2505 s by 6666.7 N m/s, lets it go
 * at 0.25035 + 0.48 / 6666.7 = 0.250422 s, and it stands again before the step is over. */
static void a_load_that_gives_way_for_an_instant_starts_and_stops_the_output(void **state)
{
  (void)state;
  double nm[4];
  struct sb_model model = model_two_gears("selector");
  add_pulse(&model, nm, 2.0, 1.0, true);
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.5);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 1);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), 1);
  assert_near(driven_time_s(&got.seen, SB_EVENT_STARTED, 0), 0.25035 + 0.48 * 1.5e-4, 1e-12);
  assert_true(driven_time_s(&got.seen, SB_EVENT_STOPPED, 0) < 0.251);
  assert_true(got.sums.output_speed_rad_s.value > 0.0 && got.state.output_speed_rad_s == 0.0);
}

/* The pulse of 40 N m is taken by the inertias, each its share: at the gear some 40 * (N^2 e Jm) / (N^2 e Jm + Jo). */
static void a_blow_overloads_the_gear_for_an_instant(void **state)
{
  (void)state;
  double nm[4];
  struct sb_model model = model_two_gears("selector");
  add_pulse(&model, nm, 0.3, 40.0, true);
  model.limits.output_torque_nm = 8.0;
  model.run.initial_output_speed_rad_s = 7.0;
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.5);
  const double motor = 16.0 * 0.95 * 4e-4, share = motor / (motor + 0.02);
  assert_near_rel(got.sums.output_torque_nm.value, 40.0 * share, 0.05); /* and what the motor brings, 0.05 of it */
  assert_near(got.sums.output_torque_nm.time_s, 0.2505, 1e-6);
  /* The triangle is 39.7 N m high, its share at the gear falls from the peak to 8 N m on both sides; the motor's torque
   * changes by less than 1 % meanwhile. */
  const double above_nm = got.sums.output_torque_nm.value - 8.0;
  assert_near_rel(got.sums.over_limit_s, 3e-4 * above_nm / (39.7 * share), 0.01);
  assert_true(got.sums.over_limit_first_s > 0.25035 && got.sums.over_limit_last_s < 0.25065);
}

/* What the shaft's teeth do at the fine step: how often they part, and when first and last. */
struct parting {
  int count;
  double first_s, last_s;
};

static struct parting parting_of(struct sb_model *model, double end_s)
{
  struct sb_sim sim;
  struct sb_error err = {0};
  struct parting out = {0, NAN, NAN};
  model->run.step_s = 1e-6;
  model_finish(model);
  assert_int_equal(sb_sim_init(&sim, model, 1, &err), SB_OK);
  int side = sim.state.twist.side;
  for (long long step = 1; step <= sb_model_step_count(end_s, model->run.step_s); step++) {
    assert_int_equal(sb_sim_advance(&sim, step, &err), SB_OK);
    if (sim.state.time_s > 0.25 && sim.state.twist.side != side && sim.state.twist.side == 0) {
      if (out.count++ == 0) out.first_s = sim.state.time_s;
      out.last_s = sim.state.time_s;
    }
    side = sim.state.twist.side;
  }
  sb_sim_clear(&sim);
  return out;
}

/* A blow from behind throws the output ahead of its teeth; the play of 1e-6 rad is crossed and back again at once. */
static void a_blow_parts_the_teeth_of_a_shaft_and_they_meet_again(void **state)
{
  (void)state;
  double nm[4];
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.3, true);
  add_pulse(&model, nm, 0.0, -60.0, false);
  model.driveshaft = (struct sb_driveshaft){
      .is_present = true, .stiffness_nm_rad = 4000.0, .damping_nms_rad = 2.0, .backlash_rad = 1e-6};
  model.run.initial_output_speed_rad_s = 7.0;
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.3);
  const struct parting parting = parting_of(&model, 0.3);
  print_message("teeth parted %d times from %.6f to %.6f s\n", parting.count, parting.first_s, parting.last_s);
  assert_true(parting.count >= 2);
  assert_true(parting.first_s > 0.25035 && parting.first_s < 0.251);
  assert_true(got.sums.output_torque_nm.value < 0.0); /* the other side of the teeth bore the most */
}

/* A wave of 0.7 ms on the load: the speed turns over twice in it. The greatest speed lies between two steps. */
static void a_speed_that_turns_over_between_steps_is_greatest_there(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_sine(&model, SB_OVER_TIME, false, 0.3, 20.0, 7.3e-4)->phase_rad = 0.4;
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.12);
  const double steps = got.sums.output_speed_rad_s.time_s / coarse_s;
  assert_true(fabs(steps - round(steps)) > 0.01);
  assert_true(got.sums.greatest_output_speed_rad_s > got.state.output_speed_rad_s);
}

/* A machine that creeps, and a blow that throws it back for less than a step: it reverses twice. */
static void an_output_that_is_thrown_back_for_an_instant_reverses_twice(void **state)
{
  (void)state;
  double nm[4];
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 2.6, 0.0, 0.0);
  model_add_viscous(&model, 60.0); /* so that it creeps, and comes back at once */
  add_pulse(&model, nm, 0.0, 30.0, false);
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.4);
  assert_true(got.sums.least_output_speed_rad_s < -1e-3);
  assert_true(got.state.output_speed_rad_s > 1e-3);
}

/* In neutral a blow starts the resting output, which stops again. The travel takes from 0.2 to 0.3 s. */
static void a_blow_in_neutral_moves_the_resting_output_and_it_rests_again(void **state)
{
  (void)state;
  double nm[4];
  struct sb_model model = model_two_gears("selector");
  model.shifter.travel_time_s = 0.1;
  model_add_constant(&model, 2.0, true);
  add_pulse(&model, nm, 0.0, -9.0, false);
  const struct oracle_command command = {0.2, 0};
  const struct driven got = seen_at_both_steps(&model, 1, &command, 0.29);
  /* Torque of the triangle above 2 N m over the output's 0.02 kg m^2: its height is 7 N m, its base 3e-4 * 7 / 9 s. */
  const double speed = 0.5 * 7.0 * 3e-4 * 7.0 / 9.0 / 0.02;
  assert_near_rel(got.sums.greatest_output_speed_rad_s, speed, 1e-12);
  assert_true(got.state.output_speed_rad_s == 0.0 && got.state.output_angle_rad > 0.0);
}

/* Two short dips in one step: it starts and stops twice. */
static void two_dips_in_one_step_start_the_output_twice(void **state)
{
  (void)state;
  static const double x[] = {0.0, 0.25010, 0.25013, 0.25016, 0.25060, 0.25063, 0.25066};
  static const double nm[] = {2.0, 2.0, 1.0, 2.0, 2.0, 1.0, 2.0};
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TIME, true, 7, x, nm);
  const struct driven got = seen_at_both_steps(&model, 1, NULL, 0.5);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STARTED), 2);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_STOPPED), 2);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_load_that_gives_way_for_an_instant_starts_and_stops_the_output),
      cmocka_unit_test(a_blow_overloads_the_gear_for_an_instant),
      cmocka_unit_test(a_blow_parts_the_teeth_of_a_shaft_and_they_meet_again),
      cmocka_unit_test(a_speed_that_turns_over_between_steps_is_greatest_there),
      cmocka_unit_test(an_output_that_is_thrown_back_for_an_instant_reverses_twice),
      cmocka_unit_test(a_blow_in_neutral_moves_the_resting_output_and_it_rests_again),
      cmocka_unit_test(two_dips_in_one_step_start_the_output_twice),
  };
  return cmocka_run_group_tests_name("crossings", tests, NULL, NULL);
}
