// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A clutch that transmits at most its torque, against closed forms. Motion between its slipping and holding is linear in
 * time throughout, so figures hold to rounding where the motor has next to no slope.
 */
#include "help/driven.h"

#include "shiftband/verdict.h"

static const double limit = 1e-8; /* what the motor's slope leaves */

/* A motor that gives one torque at any speed that is reached here, a first gear that is beyond all measure (the output
 * rests), and a second one. */
static struct sb_model two_sides(double motor_inertia, double motor_nm, double output_inertia, double ratio,
                                 double efficiency, double clutch_nm)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1e12, motor_nm, motor_inertia);
  model_add_gear(&model, 1e12, 1.0, false);
  model_add_gear(&model, ratio, efficiency, false);
  model_drive_forward(&model);
  model.load.inertia_kg_m2 = output_inertia;
  model_set_shifter(&model, "clutch");
  model.shifter.clutch_nm = clutch_nm;
  return model;
}

/* From a motor speed with the output at rest into the second gear. */
static struct driven join_from(struct sb_model *model, double speed_rad_s, double end_s)
{
  model->run.initial_output_speed_rad_s = speed_rad_s / 1e12;
  model_finish(model);
  return drive(model, 0, (struct oracle_command[]){{0.0, 1}}, 1, end_s);
}

/* w' = -Tcl / Jm = -500, W' = (N eta Tcl - TL) / Jo = 65: 100 - 500 t = 2 * 65 t. The meshes take their share. */
static void a_slipping_clutch_acts_through_the_meshes_with_their_loss(void **state)
{
  (void)state;
  struct sb_model model = two_sides(2e-3, 1e-12, 0.02, 2.0, 0.9, 1.0);
  model_add_constant(&model, 0.5, true);
  const struct driven got = join_from(&model, 100.0, 0.2);
  const double time_s = driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0);
  assert_near(time_s, 0.158730, 5e-7);
  assert_near_rel(time_s, 100.0 / 630.0, limit);
  /* The clutch takes 1 N m (w - 2 W), the meshes a tenth of 1 N m 2 W. */
  assert_near_rel(got.sums.energy.shift_loss, 0.5 * 100.0 * time_s, limit);
  assert_near_rel(got.sums.clutch_heat_j, got.sums.energy.shift_loss, 1e-12);
  const double turned = 0.5 * 65.0 * time_s * time_s;
  assert_true(got.sums.energy.mesh_loss > 0.1 * 2.0 * turned * (1.0 - 1e-9));
  assert_near(got.sums.energy.clutch_loss, 0.0, 1e-12);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-12);
}

/* N eta Tcl = 1.8 N m move no 1.9 N m. */
static void a_load_above_what_arrives_at_the_output_stays_at_rest(void **state)
{
  (void)state;
  struct sb_model model = two_sides(2e-3, 1e-12, 0.02, 2.0, 0.9, 1.0);
  model_add_constant(&model, 1.9, true);
  const struct driven got = join_from(&model, 100.0, 0.1);
  assert_true(got.state.output_speed_rad_s == 0.0);
  assert_near_rel(got.state.motor_speed_rad_s, 50.0, limit);
  assert_near(got.row.output_torque_nm, 1.8, 1e-12);
  assert_near_rel(got.row.clutch_w, 50.0, limit);
}

/* A driver that nothing slows: 0.04 kg m^2 * 200 rad/s / (1.5 - 0.5) N m; of 1200 J half is the load's 400 J and the half of
 * 800 J of motion: derived. */
static void a_clutch_pays_for_the_load_too(void **state)
{
  (void)state;
  struct sb_model model = two_sides(1e9, 1e-12, 0.04, 1.0, 1.0, 1.5);
  model_add_constant(&model, 0.5, true);
  const struct driven got = join_from(&model, 200.0, 8.5);
  assert_near_rel(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), 8.0, limit);
  assert_near_rel(got.sums.energy.shift_loss, 1200.0, limit);
}

/* The whole case: it joins, then holds 0.84 N m. Lock torque of two halves as in "Building a clutch lock-up model", a published
 * example: (Iv Tin - ...) / (Ie + Iv), here with a load in place of damping. */
static void a_clutch_joins_and_then_holds_what_joint_motion_asks_for(void **state)
{
  (void)state;
  struct sb_model model = two_sides(0.01, 1.0, 0.04, 1.0, 1.0, 1.5);
  model_add_constant(&model, 0.2, true);
  const struct driven got = join_from(&model, 200.0, 3.0);
  const double time_s = driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0);
  const double joined = 200.0 - 50.0 * time_s;
  assert_near(time_s, 2.424242, 5e-7);
  assert_near(joined, 78.787879, 5e-6);
  assert_near(got.sums.energy.shift_loss, 363.6364, 5e-5);
  assert_near_rel(got.state.motor_speed_rad_s, joined + 16.0 * (3.0 - time_s), limit);
  assert_near_rel(got.row.clutch_nm, 0.84, limit);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_CLUTCH_SLIPPED), 0);
}

/* 0.84 N m is more than 0.8 N m: the halves part at (1 - 0.8) / 0.01 - (0.8 - 0.2) / 0.04 = 5 rad / s^2. */
static void a_clutch_that_is_asked_for_more_slips_apart(void **state)
{
  (void)state;
  struct sb_model model = two_sides(0.01, 1.0, 0.04, 1.0, 1.0, 0.8);
  model_add_constant(&model, 0.2, true);
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 2.0);
  assert_int_equal(got.row.gear, 2);
  assert_true(got.row.is_clutch_slipping);
  assert_near_rel(got.state.motor_speed_rad_s - got.state.output_speed_rad_s, 10.0, limit);
  assert_near_rel(got.row.clutch_w, 8.0, limit);
  assert_near_rel(got.sums.energy.clutch_loss, 0.8 * 0.5 * 5.0 * 4.0, limit);
  assert_near(got.sums.energy.shift_loss, 0.0, 0.0);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-12);
}

/* Jo / (Jm + Jo) T + Jm / (Jm + Jo) TL = 0.8 N m: at 0.95 N m of the motor. */
static void the_greatest_torque_that_holds_is_where_joint_motion_asks_for_the_clutch_s(void **state)
{
  (void)state;
  for (int i = -1; i <= 1; i += 2) {
    struct sb_model model = two_sides(0.01, 0.95 * (1.0 + 1e-6 * i), 0.04, 1.0, 1.0, 0.8);
    model_add_constant(&model, 0.2, true);
    model_finish(&model);
    const struct driven got = drive(&model, 1, NULL, 0, 1.0);
    assert_int_equal(got.row.is_clutch_slipping, i > 0);
  }
}

/* A ramp of load over a clutch of 0.3 N m: it lets go when joint motion asks for just that, and holds again when the load has
 * fallen and the speeds meet. */
static void an_overload_clutch_lets_go_under_a_crest_and_holds_again(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 2.0, 2.5, 3.0, 3.5}, load_nm[] = {0.5, 0.5, 4.0, 4.0, 0.5};
  struct sb_model model = model_two_gears("clutch");
  model_drive_forward(&model);
  model.shifter.clutch_nm = 0.3;
  model_add_profile(&model, SB_OVER_TIME, true, 5, at_s, load_nm);
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 8.0);
  const struct sb_gear *gear = &model.gearbox.gears[1];
  const double carried_nm = gear->ratio * gear->efficiency * (0.3 - gear->drag_nm);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_CLUTCH_SLIPPED), 1);
  assert_int_equal(driven_count(&got.seen, SB_EVENT_CLUTCH_HELD), 2); /* the first after the run-up from rest */
  assert_false(got.row.is_clutch_slipping);
  /* An overload never reaches the output: not beyond what arrives of 0.3 N m in driving it. */
  assert_true(fabs(got.sums.output_torque_nm.value) <= carried_nm * (1.0 + 1e-11));
  assert_near_rel(fabs(got.sums.output_torque_nm.value), carried_nm, 1e-9);
  assert_near_rel(got.sums.gear_time_s[1], 8.0, 1e-12);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-12);
}

/* What holds at rest is weaker than the load that pulls the output back. */
static void a_load_that_pulls_harder_than_the_clutch_holds_turns_the_gears_back(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 1.0, 2.0}, load_nm[] = {0.0, 0.0, 20.0};
  struct sb_model model = model_two_gears("clutch");
  model_drive_forward(&model);
  model.shifter.clutch_nm = 0.3;
  model_add_profile(&model, SB_OVER_TIME, false, 3, at_s, load_nm);
  model.drive.limit_fraction = 0.05;
  model_finish(&model);
  const struct driven got = drive(&model, 1, NULL, 0, 2.0);
  assert_true(got.row.is_clutch_slipping);
  assert_true(got.state.output_speed_rad_s < 0.0 && got.state.slip_direction == 1);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-11);
}

/* A motor that is off and stands by its friction of 0.1 N m holds more than its clutch: that lets a load that grows by 0.1 N m/s turn the
 * gears back from 0.05 N m N / eta on, so that Jo w = -0.05 N m/s t^2 after that. */
static void a_load_that_grows_at_rest_turns_the_gears_back_when_the_clutch_lets_go(void **state)
{
  (void)state;
  static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP}, at_s[] = {0.0, 10.0}, load_nm[] = {0.0, 1.0};
  struct sb_model model = model_two_gears("clutch");
  model_drive_forward(&model);
  model_set_currents(&model, 2.5, 0.5, 0.0);
  model.shifter.clutch_nm = 0.05;
  model_add_profile(&model, SB_OVER_TIME, false, 2, at_s, load_nm);
  model.drive.off = SB_OFF_COAST;
  model.drive.schedule = (struct sb_table){1, off_s, off};
  model.drive.period_s = model.control.sample_period_s = 4.0;
  model_finish(&model);
  assert_true(model.motor.friction_nm > 0.09);
  const struct driven got = drive(&model, 1, NULL, 0, 3.0);
  const double since_s = 3.0 - 0.05 * 4.0 / 0.95 / 0.1;
  assert_true(got.row.is_clutch_slipping);
  assert_true(got.state.motor_speed_rad_s == 0.0);
  assert_near_rel(got.state.output_speed_rad_s, -0.05 * since_s * since_s / 0.02, 1e-12);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-11);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_slipping_clutch_acts_through_the_meshes_with_their_loss),
      cmocka_unit_test(a_load_above_what_arrives_at_the_output_stays_at_rest),
      cmocka_unit_test(a_clutch_pays_for_the_load_too),
      cmocka_unit_test(a_clutch_joins_and_then_holds_what_joint_motion_asks_for),
      cmocka_unit_test(a_clutch_that_is_asked_for_more_slips_apart),
      cmocka_unit_test(the_greatest_torque_that_holds_is_where_joint_motion_asks_for_the_clutch_s),
      cmocka_unit_test(an_overload_clutch_lets_go_under_a_crest_and_holds_again),
      cmocka_unit_test(a_load_that_pulls_harder_than_the_clutch_holds_turns_the_gears_back),
      cmocka_unit_test(a_load_that_grows_at_rest_turns_the_gears_back_when_the_clutch_lets_go),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
