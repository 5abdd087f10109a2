// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The output shaft that gives: two flywheels on a spring by textbooks, closed forms, and machines at random against
 * their equations as integrated by GSL (spring_oracle.h).
 */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <unistd.h>

#include "help/dice.h"
#include "help/driven.h"
#include "help/loaded.h"
#include "oracle/spring_oracle.h"
#include "shiftband/closed_form.h"
#include "shiftband/strength.h"
#include "sim/spring.h"

static const double deg = 3.14159265358979323846 / 180.0;

/* Two flywheels on a spring: a motor too weak to count, ratio 1, no loss. */
static struct sb_model flywheels(double first, double second, double stiffness, double damping, double backlash)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1e3, 1e-9, first);
  model_add_gear(&model, 1.0, 1.0, false);
  model.load.inertia_kg_m2 = second;
  model.driveshaft = (struct sb_driveshaft){true, stiffness, damping, backlash};
  model_finish(&model);
  return model;
}

/* Sets both ends going and moves on; the caller clears. */
static void set_going(struct sb_sim *sim, const struct sb_model *model, double motor_rad_s, double output_rad_s)
{
  struct sb_error err = {0};
  assert_int_equal(sb_sim_init(sim, model, 0, &err), SB_OK);
  struct sb_state state = sim->state;
  state.motor_speed_rad_s = motor_rad_s;
  state.output_speed_rad_s = output_rad_s;
  state.motor_direction = motor_rad_s > 0.0 ? 1 : 0;
  state.output_direction = 1;
  state.is_driving = 1;
  sb_sim_restore(sim, &state);
}

static void advance(struct sb_sim *sim, double time_s)
{
  struct sb_error err = {0};
  if (sb_sim_advance(sim, sb_model_step_count(time_s, sim->model->run.step_s), &err) != SB_OK) fail_msg("%s", err.text);
}

/* Textbooks -------------------------------------------------------------------------------------------------------- */

/* R. S. Khurmi, J. K. Gupta, Theory of Machines, example 3.21: 22.5 and 67.5 kg m2 on 225 N m / rad, 150 rpm and 0: 246.5
 * degrees of twist, then -75 and 75 rpm; recomputed 246.475 deg, 967.906 N m and half a period of 0.860361 s. */
static void two_flywheels_on_a_spring_swing_as_in_khurmis_example(void **state)
{
  (void)state;
  struct sb_model model = flywheels(22.5, 67.5, 225.0, 0.0, 0.0);
  model.run.step_s = 0.860361 / 1000.0;
  struct sb_sim sim;
  set_going(&sim, &model, model_rad_s(150.0), 1e-12);
  advance(&sim, 0.860361 / 2.0);
  assert_near(sim.state.twist.twist_rad, 246.475 * deg, 5e-4 * deg); /* half a unit of the last digit */
  assert_near(sim.state.motor_speed_rad_s, model_rad_s(37.5), 1e-5);
  assert_near(sim.state.output_speed_rad_s, model_rad_s(37.5), 1e-5);
  advance(&sim, 0.860361);
  assert_near(sim.state.motor_speed_rad_s, model_rad_s(-75.0), 1e-5); /* the time has six digits */
  assert_near(sim.state.output_speed_rad_s, model_rad_s(75.0), 1e-5);
  const struct sb_sums *sums = sb_sim_sums(&sim);
  assert_near(sums->output_torque_nm.value, 967.906, 5e-4);
  assert_near(sums->output_torque_nm.time_s, 0.860361 / 2.0, 1e-6);
  assert_near(sb_driveshaft_joining_nm(&model, 0, model_rad_s(150.0)), 967.906, 5e-4);
  assert_near(model_pi / sb_driveshaft_frequency_rad_s(&model, 0), 0.860361, 5e-7);
  sb_sim_clear(&sim);
}

/* T. Bevan, The Theory of Machines, example 3: 500 and 1500 lb ft2 on 150 lbf ft / rad, 150 rpm and 0: equal at 37.5 rpm,
 * twist 4.3768 rad (the book's 4.36 rounds the energy), then -75 and 75 rpm. */
static void two_flywheels_on_a_spring_swing_as_in_bevans_example(void **state)
{
  (void)state;
  const double pound_foot_2 = 0.45359237 * 0.3048 * 0.3048, pound_foot = 4.4482216152605 * 0.3048;
  const double g_ratio = 32.2 * 0.3048 / 9.80665; /* the book's g is 32.2 ft / s2 */
  struct sb_model model =
      flywheels(500.0 * pound_foot_2, 1500.0 * pound_foot_2, 150.0 * pound_foot * g_ratio, 0.0, 0.0);
  model.run.step_s = model_pi / sb_driveshaft_frequency_rad_s(&model, 0) / 1000.0;
  struct sb_sim sim;
  set_going(&sim, &model, model_rad_s(150.0), 1e-12);
  advance(&sim, 500.0 * model.run.step_s);
  assert_near(sim.state.twist.twist_rad, 4.3768, 1e-4); /* a unit of the last digit */
  assert_near(sim.state.motor_speed_rad_s, model_rad_s(37.5), 1e-6);
  advance(&sim, 1000.0 * model.run.step_s);
  assert_near(sim.state.motor_speed_rad_s, model_rad_s(-75.0), 1e-6);
  assert_near(sim.state.output_speed_rad_s, model_rad_s(75.0), 1e-6);
  sb_sim_clear(&sim);
}

/* J. M. Gere, Mechanics of Materials, example 3.1: 250 lbf ft on 1.5 in round, 54 in long, G = 11.5e6 psi, twist it by 1.62
 * degrees; recomputed 1.62396. */
static void a_round_shaft_twists_as_in_geres_example(void **state)
{
  (void)state;
  const struct sb_shaft shaft = {.section = SB_SHAFT_ROUND, .size_m = 1.5 * 0.0254};
  const double stiffness = 11.5e6 * SB_PSI * sb_strength_shaft_constant_m4(&shaft) / (54.0 * 0.0254);
  assert_near(250.0 * 4.4482216152605 * 0.3048 / stiffness, 1.62396 * deg, 5e-6 * deg);
}

/* Closed forms ------------------------------------------------------------------------------------------------------ */

/* Of a swing in parts of a sixteenth of a radian, the crest taken off the cubic: measured 2e-7. */
static const double crest_limit = 1e-6;

static void the_peak_of_a_joining_is_that_of_the_closed_form_at_any_damping(void **state)
{
  (void)state;
  static const double ratios[] = {0.0, 0.02, 0.05, 0.2, 0.4, 0.499, 0.5, 0.8, 1.0, 1.7};
  for (size_t i = 0; i < sizeof ratios / sizeof *ratios; i++) {
    struct sb_model model = flywheels(2e-3, 5e-3, 40.0, 0.0, 0.0);
    const double w = sb_driveshaft_frequency_rad_s(&model, 0);
    model.driveshaft.damping_nms_rad = 2.0 * ratios[i] * 40.0 / w;
    assert_near_rel(sb_driveshaft_damping_ratio(&model, 0) + 1.0, 1.0 + ratios[i], 1e-14);
    struct sb_sim sim;
    set_going(&sim, &model, 30.0, 10.0);
    sim.sums.output_torque_nm.value = 2.0 * model.driveshaft.damping_nms_rad * 10.0; /* the damper at the first touch */
    advance(&sim, 0.2);
    assert_near_rel(sim.sums.output_torque_nm.value, sb_driveshaft_damped_joining_nm(&model, 0, 20.0), crest_limit);
    if (ratios[i] == 0.0) {
      assert_near_rel(sim.sums.output_torque_nm.value, 20.0 * sqrt(40.0 * 1e-5 / 7e-3), crest_limit);
      assert_near_rel(sim.sums.output_torque_nm.value, sb_driveshaft_joining_nm(&model, 0, 20.0), crest_limit);
    }
    sb_sim_clear(&sim);
  }
}

/* The load's way to the first touch, the swing and the way back through the whole play: between two elastic blows the ends
 * keep their speeds, and each blow turns their difference over. */
static void backlash_delays_the_shock_and_does_not_change_it(void **state)
{
  (void)state;
  const double gap = 0.05, slip = 20.0;
  struct sb_model model = flywheels(2e-3, 5e-3, 40.0, 0.0, gap);
  const double half_s = model_pi / sb_driveshaft_frequency_rad_s(&model, 0);
  struct sb_sim sim;
  set_going(&sim, &model, 30.0, 10.0);
  const double touch_s = 0.5 * gap / slip, part_s = touch_s + half_s, back_s = part_s + gap / slip;
  advance(&sim, 0.001);
  assert_true(sim.state.twist.side == 0 && sim.sums.output_torque_nm.value == 0.0);
  advance(&sim, 0.002);
  assert_int_equal(sim.state.twist.side, +1);
  const double w = sb_driveshaft_frequency_rad_s(&model, 0);
  assert_near_rel(sb_sim_row(&sim).output_torque_nm,
                  sb_driveshaft_joining_nm(&model, 0, slip) * sin(w * (sim.state.time_s - touch_s)), crest_limit);
  advance(&sim, 0.5);
  assert_near_rel(fabs(sim.sums.output_torque_nm.value), sb_driveshaft_joining_nm(&model, 0, slip), crest_limit);
  /* Where it is in its endless round of two blows and two crossings. */
  const double round_s = 2.0 * (half_s + gap / slip);
  const double in_round_s = fmod(sim.state.time_s - touch_s, round_s);
  const double rate = sim.state.motor_speed_rad_s - sim.state.output_speed_rad_s;
  const bool is_first_half = in_round_s < 0.5 * round_s;
  const double in_half_s = is_first_half ? in_round_s : in_round_s - 0.5 * round_s;
  const double want = (is_first_half ? 1.0 : -1.0) * (in_half_s < half_s ? slip * cos(w * in_half_s) : -slip);
  assert_near(rate, want, 1e-3 * slip); /* 50 radians of swing later: 1e-7 a radian of phase, and the touches */
  assert_true(back_s > part_s);
  sb_sim_clear(&sim);
}

/* All that is joined to the vehicle is slowed at once by the body, v+ = v J / (J + Jb); the motor runs into its shaft. */
static void a_contact_winds_the_shaft_by_the_closed_form(void **state)
{
  (void)state;
  const double body = 3e-3, speed = 30.0;
  struct sb_model model = flywheels(2e-3, 5e-3, 40.0, 0.0, 0.0);
  model.load.road = (struct sb_road){.is_present = true,
                                     .inertia_kg_m2 = 4e-3,
                                     .weight_nm = 1.0,
                                     .press_nm = 1.0,
                                     .driven_share = 1.0,
                                     .obstacle_count = 1,
                                     .finish_rad = INFINITY};
  model.load.road.obstacles[0] = (struct sb_obstacle){.angle_rad = 1.0, .inertia_kg_m2 = body};
  struct sb_error err = {0};
  struct sb_sim sim;
  model.run.initial_output_speed_rad_s = speed;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  advance(&sim, 0.1);
  const double slip = speed * body / (5e-3 + body);
  model.load.inertia_kg_m2 += body;
  assert_near_rel(fabs(sim.sums.output_torque_nm.value), sb_driveshaft_joining_nm(&model, 0, slip), crest_limit);
  const double quarter_s = 0.5 * model_pi / sb_driveshaft_frequency_rad_s(&model, 0);
  assert_near(sim.sums.output_torque_nm.time_s, 1.0 / speed + quarter_s, 1e-3 * quarter_s);
  sb_sim_clear(&sim);
}

static void a_peak_between_two_steps_is_an_overload_too(void **state)
{
  (void)state;
  struct sb_model model = flywheels(2e-3, 5e-3, 40.0, 0.0, 0.0);
  const double peak_nm = sb_driveshaft_joining_nm(&model, 0, 20.0);
  model.limits.output_torque_nm = (1.0 - 5e-6) * peak_nm; /* above it for 6e-3 rad, a tenth of a part */
  struct sb_sim sim;
  set_going(&sim, &model, 30.0, 10.0);
  advance(&sim, 0.03);
  assert_true(sim.sums.over_limit_s > 0.0);
  const double quarter_s = 0.5 * model_pi / sb_driveshaft_frequency_rad_s(&model, 0);
  assert_near(sim.sums.over_limit_first_s, quarter_s, 0.07 * quarter_s);
  sb_sim_clear(&sim);
  model.limits.output_torque_nm = (1.0 + 5e-6) * peak_nm;
  set_going(&sim, &model, 30.0, 10.0);
  advance(&sim, 0.03);
  assert_true(sim.sums.over_limit_s == 0.0);
  sb_sim_clear(&sim);
}

/* A motor that stalls against a load winds the shaft by what arrives at the output, T N. Losses of the mesh would hold it
 * anywhere in a band around that, where the swing died: so without. */
static void a_stalled_gear_twists_its_shaft_by_torque_over_stiffness(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.driveshaft = (struct sb_driveshaft){true, 30.0, 0.2, 0.1};
  model_add_constant(&model, 20.0, true);
  model.gearbox.gears[0].meshes[0].efficiency = 1.0;
  model_finish(&model);
  const struct driven got = drive(&model, 0, NULL, 0, 5.0);
  assert_near_rel(got.state.twist.twist_rad, 0.4 * 12.0 / 30.0 + 0.05, 1e-9);
  assert_near_rel(got.row.output_torque_nm, 0.4 * 12.0, 1e-9);
  assert_true(got.state.output_direction == 0);
}

/* The rotor winds it farther than the motor could, and drag keeps it so: a torque above its limit lasts as long as that. */
static void a_shaft_that_stays_wound_at_rest_is_above_its_limit_all_the_while(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.driveshaft = (struct sb_driveshaft){true, 30.0, 0.02, 0.1};
  model_add_constant(&model, 20.0, true);
  for (int g = 0; g < 2; g++) model.gearbox.gears[g].drag_nm = 0.1;
  model_finish(&model);
  const struct driven free = drive(&model, 0, NULL, 0, 5.0);
  const double kept_nm = free.row.output_torque_nm;
  const double brought_nm = (0.4 - 0.1) * model.gearbox.gears[0].ratio * model.gearbox.gears[0].efficiency;
  assert_true(kept_nm > 1.01 * brought_nm);
  model.limits.output_torque_nm = 0.5 * (kept_nm + brought_nm);
  const struct driven some = drive(&model, 0, NULL, 0, 4.0), more = drive(&model, 0, NULL, 0, 5.0);
  assert_near(more.sums.over_limit_s - some.sums.over_limit_s, 1.0, 1e-12);
  assert_near(more.sums.over_limit_last_s, 5.0, 1e-12);
}

static int watched_of_the_shaft(const struct sb_sim *sim)
{
  int count = 0;
  for (const struct sb_guard *guard = sb_spring_guards; guard->is_watched != NULL; guard++)
    count += guard->is_watched(sim);
  return count;
}

/* In a gear its teeth may part, driving may turn into overrun and the motor may stop; out of gear the shaft bears nothing. */
static void a_shaft_is_watched_while_a_gear_is_engaged_alone(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.5, true);
  model.driveshaft = (struct sb_driveshaft){true, 50.0, 0.05, 0.02};
  model_finish(&model);
  struct sb_sim sim;
  struct sb_error err = {0};
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  advance(&sim, 0.5);
  assert_int_equal(watched_of_the_shaft(&sim), 3);
  sb_sim_command(&sim, 1);
  assert_true(sim.state.motor_direction != 0);
  assert_int_equal(watched_of_the_shaft(&sim), 0);
  sb_sim_clear(&sim);
}

/* The stiffer, the nearer to the rigid driveline: what remains after a shift is a swing of amplitude dW / sqrt(k), damped
 * away, and a lag in time. Without losses of the mesh: in the rigid joining they take nothing, in the blow they do. */
static void a_stiff_shaft_moves_as_the_rigid_driveline_does(void **state)
{
  (void)state;
  static const struct oracle_command shift = {1.0, 1};
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model_add_constant(&model, 0.5, true);
  for (int g = 0; g < 2; g++) model.gearbox.gears[g].meshes[0].efficiency = 1.0;
  model_finish(&model);
  const struct driven rigid = drive(&model, 0, &shift, 1, 1.5);
  double last = INFINITY;
  for (double k = 50.0; k < 1e5; k *= 16.0) {
    model.driveshaft = (struct sb_driveshaft){true, k, 0.0, 0.0};
    model.driveshaft.damping_nms_rad = 2.0 * 0.3 * k / sb_driveshaft_frequency_rad_s(&model, 1);
    const struct driven got = drive(&model, 0, &shift, 1, 1.5);
    const double off = fabs(got.state.output_speed_rad_s / rigid.state.output_speed_rad_s - 1.0);
    assert_true(off < 0.5 * last || off < 1e-6);
    last = off;
  }
  assert_true(last < 1e-4);
}

/* A clutch in line with the shaft holds while the shaft bears less than it can: then it slips at its own torque, and hands
 * the shaft over wound. One of ample torque never slips. */
static void a_clutch_holds_its_shaft_up_to_its_own_torque(void **state)
{
  (void)state;
  static const struct oracle_command shift = {0.0, 1};
  static const double stiffnesses[] = {5.0, 30.0, 300.0};
  for (int i = 0; i < 6; i++) {
    struct sb_model model = model_two_gears("clutch");
    model_drive_forward(&model);
    model_add_constant(&model, 0.5, true);
    model.driveshaft = (struct sb_driveshaft){true, stiffnesses[i / 2], 0.0, i % 2 == 0 ? 0.0 : 0.02};
    model.shifter.clutch_nm = 0.25;
    model.run.initial_output_speed_rad_s = 2.4; /* near the settled speed of the slow gear */
    model_finish(&model);
    const struct driven weak = drive(&model, 0, &shift, 1, 3.0);
    /* Gear 2 turns 4 times as slowly as the motor: 1 N m less the meshes' loss at the output; the guard fires 5e-8 above. */
    assert_near_rel(fabs(weak.sums.output_torque_nm.value), 0.25 * 4.0 * model.gearbox.gears[1].efficiency, 6e-8);
    assert_true(weak.sums.neutral_time_s > 0.0 && weak.sums.energy.shift_loss > 0.0);
    assert_true(sb_energy_residual_ratio(&weak.sums.energy) < 1e-13);
    model.shifter.clutch_nm = 1e3;
    const struct driven ample = drive(&model, 0, &shift, 1, 3.0);
    assert_true(ample.sums.neutral_time_s == 0.0);
    assert_true(ample.sums.energy.shift_loss >= 0.0);
    assert_true(fabs(ample.sums.output_torque_nm.value) > 0.25 * 4.0);
    assert_true(sb_energy_residual_ratio(&ample.sums.energy) < 1e-7);
  }
}

/* Notes what the gear delivers as it engages. */
static void note_torque(void *context, const struct sb_sim *sim, enum sb_event event)
{
  if (event == SB_EVENT_ENGAGED) *(double *)context = sb_sim_row(sim).output_torque_nm;
}

/* The shaft that a clutch hands over bears the clutch's own torque, in the direction in which it has slipped: forward where the motor
 * was ahead, backward where the load was. */
static void a_clutch_hands_its_shaft_over_wound_as_it_slipped(void **state)
{
  (void)state;
  for (int to = 0; to < 2; to++) {
    struct sb_model model = model_two_gears("clutch");
    model_drive_forward(&model);
    model.driveshaft = (struct sb_driveshaft){true, 30.0, 0.0, 0.01};
    model.shifter.clutch_nm = 0.2;
    model.run.initial_output_speed_rad_s = to == 1 ? 2.4 : 7.0;
    model_finish(&model);
    struct sb_sim sim;
    struct sb_error err = {0};
    double torque_nm = 0.0;
    assert_int_equal(sb_sim_init(&sim, &model, 1 - to, &err), SB_OK);
    sim.observer = (struct sb_sim_observer){.context = &torque_nm, .on_event = note_torque};
    sb_sim_command(&sim, to);
    advance(&sim, 3.0);
    const struct sb_gear *gears = model.gearbox.gears;
    assert_true(sim.sums.neutral_time_s > 0.0);
    assert_near_rel(torque_nm, to == 1 ? 0.2 * 4.0 * gears[1].efficiency : -0.2 * 12.0 / gears[0].back_efficiency,
                    1e-12);
    sb_sim_clear(&sim);
  }
}

/* The rigid simulation joins with the impulse that the closed forms' slip makes, shifting where they say. */
static void the_slip_of_a_shift_is_that_of_the_simulated_joining(void **state)
{
  (void)state;
  static const struct oracle_command up = {0.0, 1}, down = {0.0, 0}, settled = {5.0, 1};
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model_add_constant(&model, 0.3, true);
  model_finish(&model);
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  const struct sb_pair_figures *pair = &form.pairs[0];
  const double inertia[2] = {sb_driveshaft_inertia_kg_m2(&model, 0), sb_driveshaft_inertia_kg_m2(&model, 1)};
  const double wv = model_rad_s(300.0);
  model.run.initial_output_speed_rad_s = 0.9 * wv / 12.0;
  const double at_up = drive(&model, 0, &up, 1, 0.1).sums.greatest_impulse_nms / inertia[1];
  const double at_settled = drive(&model, 0, &settled, 1, 5.1).sums.greatest_impulse_nms / inertia[1];
  /* The simulator is within 1e-8 of the motion; the settled speed is there after 5 s of 50 ms to as much. */
  assert_near_rel(pair->slip_upshift_rad_s, fmax(at_up, at_settled), 1e-6);

  model.run.initial_output_speed_rad_s = 0.5 * wv / 4.0;
  model.load.parts[0].torque_nm = pair->downshift_torque_nm;
  const double at_down = drive(&model, 1, &down, 1, 0.1).sums.greatest_impulse_nms / inertia[0];
  assert_near_rel(pair->slip_downshift_rad_s, at_down, 1e-6);
}

/* From the scenario ------------------------------------------------------------------------------------------------- */

static void a_shaft_is_read_by_its_stiffness_or_by_its_measures(void **state)
{
  (void)state;
  const struct sb_driveshaft *shaft = &loaded_scenario.model.driveshaft;
  loaded_take("good/everything.yaml", NULL, 0);
  assert_true(shaft->is_present);
  assert_near(shaft->stiffness_nm_rad, 90.0, 0.0);
  assert_near(shaft->damping_nms_rad, 0.2, 0.0);
  assert_near_rel(shaft->backlash_rad, 0.5 * deg, 4e-16);
  sb_scenario_clear(&loaded_scenario);

  loaded_take("good/output-shaft.yaml", NULL, 0);
  /* G pi (D^4 - d^4) / (32 L), and 8 % of 2 sqrt(k Jred) with N = 12 and no loss in the swing. */
  const double k = 79.3e9 * model_pi * (pow(8e-3, 4.0) - pow(5e-3, 4.0)) / 32.0 / 0.12;
  const double motor = 144.0 * 2e-4, reduced = motor * 0.02 / (motor + 0.02);
  assert_near_rel(shaft->stiffness_nm_rad, k, 1e-14);
  assert_near_rel(shaft->damping_nms_rad, 0.08 * 2.0 * sqrt(k * reduced), 1e-14);
  sb_scenario_clear(&loaded_scenario);

  static const struct {
    const char *set;
    double stiffness;
  } others[] = {
      {"gearbox.output_shaft=30 N.m/rad", 30.0},
      {"gearbox.output_shaft={section: square, side: 4 mm, length: 0.1 m, material: nylon}", 0.1406 * 256e-12 * 1e10},
      {"gearbox.output_shaft={section: round, diameter: 6 mm, length: 0.1 m, shear_modulus: 27 GPa}",
       27e10 * 1296e-12 * 3.14159265358979323846 / 32.0},
      {"gearbox.output_shaft={section: hexagonal, across_flats: 6 mm, length: 0.1 m, shear_modulus: 80 GPa}",
       80e10 * 1296e-12 * 0.1150}};
  for (size_t i = 0; i < sizeof others / sizeof *others; i++) {
    loaded_take("good/output-shaft.yaml", &others[i].set, 1);
    assert_near_rel(shaft->stiffness_nm_rad, others[i].stiffness, 1e-13);
    assert_near_rel(shaft->damping_nms_rad, 0.05 * 2.0 * sqrt(others[i].stiffness * reduced), 1e-13);
    assert_true(shaft->backlash_rad == 0.0);
    sb_scenario_clear(&loaded_scenario);
  }
  loaded_take("good/least.yaml", NULL, 0);
  assert_false(shaft->is_present);
  sb_scenario_clear(&loaded_scenario);
}

/* At random --------------------------------------------------------------------------------------------------------- */

static struct spring_machine random_machine(gsl_rng *dice)
{
  struct spring_machine m = {.stall_nm = gsl_ran_flat(dice, 0.2, 1.0), .no_load_rad_s = gsl_ran_flat(dice, 20.0, 60.0)};
  m.motor_inertia = gsl_ran_flat(dice, 0.03, 0.2) * m.stall_nm / m.no_load_rad_s;
  double ratio = gsl_ran_flat(dice, 4.0, 15.0);
  for (int g = 0; g < 2; g++, ratio /= gsl_ran_flat(dice, 1.5, 3.0)) {
    m.gears[g] = (struct spring_gear){.ratio = ratio, .efficiency = gsl_ran_flat(dice, 0.7, 1.0)};
    const double kind = gsl_rng_uniform(dice);
    m.gears[g].back_efficiency = kind < 0.3 ? 0.0 : gsl_rng_uniform(dice);
    if (kind > 0.5) m.gears[g].drag_nm = 0.05 * m.stall_nm * gsl_rng_uniform(dice);
  }
  const double motor = m.gears[1].ratio * m.gears[1].ratio * m.motor_inertia;
  m.output_inertia = motor * pow(10.0, gsl_ran_flat(dice, -1.0, 1.0));
  const double reduced = motor * m.output_inertia / (motor + m.output_inertia);
  const double w = gsl_ran_flat(dice, 20.0, 250.0);
  m.stiffness = reduced * w * w;
  m.damping = 2.0 * gsl_ran_flat(dice, 0.01, 0.3) * reduced * w;
  m.backlash = gsl_rng_uniform(dice) < 0.3 ? 0.0 : gsl_ran_flat(dice, 0.005, 0.1);
  const double stall = m.stall_nm * m.gears[1].ratio;
  m.resisting_nm = stall * gsl_ran_flat(dice, 0.02, 0.5);
  m.acting_nm = stall * gsl_ran_flat(dice, -0.8, 0.6);
  m.viscous = 0.1 * gsl_rng_uniform(dice) * stall / (m.no_load_rad_s / m.gears[1].ratio);
  m.travel_s = 1e-3 * (double)gsl_rng_uniform_int(dice, 120);
  m.shift_count = (int)gsl_rng_uniform_int(dice, 4);
  double at_s = 0.0;
  for (int i = 0; i < m.shift_count; i++) m.shift_s[i] = at_s += 0.15 + 1e-3 * (double)gsl_rng_uniform_int(dice, 300);
  return m;
}

static struct sb_model model_of(const struct spring_machine *m)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, m->no_load_rad_s, m->stall_nm, m->motor_inertia);
  for (int g = 0; g < 2; g++) {
    struct sb_gear *gear = model_add_gear(&model, m->gears[g].ratio, m->gears[g].efficiency, false);
    gear->back_efficiency = m->gears[g].back_efficiency;
    gear->drag_nm = m->gears[g].drag_nm;
  }
  model_drive_forward(&model);
  model.load.inertia_kg_m2 = m->output_inertia;
  model_add_constant(&model, m->resisting_nm, true);
  model_add_constant(&model, m->acting_nm, false);
  model_add_viscous(&model, m->viscous);
  model.shifter.travel_time_s = m->travel_s;
  model.driveshaft = (struct sb_driveshaft){true, m->stiffness, m->damping, m->backlash};
  model_finish(&model);
  return model;
}

static struct driven drive_machine(const struct spring_machine *m, double step_s, double end_s)
{
  struct sb_model model = model_of(m);
  model.run.step_s = step_s;
  struct oracle_command commands[4];
  for (int i = 0; i < m->shift_count; i++) commands[i] = (struct oracle_command){m->shift_s[i], (i + 1) % 2};
  return drive(&model, 0, commands, (size_t)m->shift_count, end_s);
}

enum { MACHINE_COUNT = 150 };

static void random_machines_follow_their_equations_through_shifts_and_backlash(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(0);
  struct spring_motion sum = {0};
  long shift_count = 0;
  double worst = 0.0, worst_peak = 0.0, worst_energy = 0.0;
  for (int i = 0; i < MACHINE_COUNT; i++) {
    gsl_rng_set(dice, 1000 + (unsigned long)i);
    const struct spring_machine m = random_machine(dice);
    struct spring_motion want;
    assert_true(spring_oracle_run(&m, 1.5, &want));
    const struct driven got = drive_machine(&m, 1e-3, 1.5);
    const double scale = fmax(fabs(got.sums.motor_speed_rad_s.value), 1e-3 * m.no_load_rad_s);
    const double output_scale = fmax(fabs(got.sums.output_speed_rad_s.value), scale / m.gears[1].ratio);
    const double off = fmax(fabs(got.state.motor_speed_rad_s - want.x) / scale,
                            fabs(got.state.output_speed_rad_s - want.w) / output_scale);
    const double off_peak = fabs(fabs(got.sums.output_torque_nm.value / want.peak_nm) - 1.0);
    worst = fmax(worst, off);
    worst_energy = fmax(worst_energy, sb_energy_residual_ratio(&got.sums.energy));
    worst_peak = fmax(worst_peak, off_peak);
    sum.part_count += want.part_count;
    sum.touch_count += want.touch_count;
    sum.stop_count += want.stop_count;
    sum.turn_count += want.turn_count;
    shift_count += m.shift_count;
  }
  gsl_rng_free(dice);
  print_message("speeds differ by %.1e, peaks by %.1e; residual %.1e\n", worst, worst_peak, worst_energy);
  /* Of the other integration, at 1e-13 a step; blows spread what went before. */
  assert_near(worst, 0.0, 1e-9);
  assert_near(worst_energy, 0.0, 1e-10);
  assert_near(worst_peak, 0.0, 1e-9);
  assert_true(sum.part_count > 500 && sum.touch_count > 500 && sum.stop_count > 100 && sum.turn_count > 100);
  assert_true(shift_count > 150);
}

/* Through blows, stops and shifts. */
static void the_step_changes_nothing_beyond_rounding_through_all_events(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(0);
  double greatest = 0.0;
  int count = 0;
  for (int i = 0; i < 40; i++) {
    gsl_rng_set(dice, 1000 + (unsigned long)i);
    const struct spring_machine m = random_machine(dice);
    const struct driven coarse = drive_machine(&m, 1e-3, 1.5), fine = drive_machine(&m, 1e-5, 1.5);
    greatest = fmax(greatest, fabs(coarse.state.motor_speed_rad_s - fine.state.motor_speed_rad_s) / m.no_load_rad_s);
    count += coarse.seen.event_count > 1;
  }
  gsl_rng_free(dice);
  print_message("steps of 1 ms and of 10 us differ by %.1e of the no-load speed\n", greatest);
  assert_true(count >= 8);
  assert_near(greatest, 0.0, 1e-10);
}

int main(void)
{
  if (chdir(SB_SOURCE_DIR "/tests") != 0) return 1;
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(two_flywheels_on_a_spring_swing_as_in_khurmis_example),
      cmocka_unit_test(two_flywheels_on_a_spring_swing_as_in_bevans_example),
      cmocka_unit_test(a_round_shaft_twists_as_in_geres_example),
      cmocka_unit_test(the_peak_of_a_joining_is_that_of_the_closed_form_at_any_damping),
      cmocka_unit_test(backlash_delays_the_shock_and_does_not_change_it),
      cmocka_unit_test(a_contact_winds_the_shaft_by_the_closed_form),
      cmocka_unit_test(a_peak_between_two_steps_is_an_overload_too),
      cmocka_unit_test(a_stalled_gear_twists_its_shaft_by_torque_over_stiffness),
      cmocka_unit_test(a_shaft_that_stays_wound_at_rest_is_above_its_limit_all_the_while),
      cmocka_unit_test(a_shaft_is_watched_while_a_gear_is_engaged_alone),
      cmocka_unit_test(a_stiff_shaft_moves_as_the_rigid_driveline_does),
      cmocka_unit_test(a_clutch_holds_its_shaft_up_to_its_own_torque),
      cmocka_unit_test(the_slip_of_a_shift_is_that_of_the_simulated_joining),
      cmocka_unit_test(a_shaft_is_read_by_its_stiffness_or_by_its_measures),
      cmocka_unit_test(the_step_changes_nothing_beyond_rounding_through_all_events),
      cmocka_unit_test(random_machines_follow_their_equations_through_shifts_and_backlash),
      cmocka_unit_test(a_clutch_hands_its_shaft_over_wound_as_it_slipped),
  };
  return cmocka_run_group_tests_name("driveshaft", tests, NULL, NULL);
}
