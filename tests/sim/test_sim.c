// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The simulator at its default step of 1 ms against closed forms and worked examples. Where an answer has more
 * digits than its book prints, it was worked out again from the book's data with exact pi; such answers hold to half a
 * unit of their last digit, closed forms to 1e-6: what a step of 1 ms leaves where tau is 20 ms or more.
 */
#include "help/driven.h"

static const double limit = 1e-6;

static double rpm(double speed_rad_s)
{
  return speed_rad_s * 30.0 / model_pi;
}

/* A machine of one gear whose path is a shaft: what the books mean by "motor and load". */
static struct sb_model shaft_model(double no_load_rad_s, double stall_nm, double inertia)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, no_load_rad_s, stall_nm, 0.5 * inertia);
  model_add_gear(&model, 1.0, 1.0, false);
  model.load.inertia_kg_m2 = 0.5 * inertia;
  return model;
}

/* The same with next to no motor: what is left is the load alone, or two masses without a drive. */
static const double no_drive_nm = 1e-12;

static struct driven after(const struct sb_model *model, double time_s)
{
  return drive(model, 0, NULL, 0, time_s);
}

/* Settled speeds --------------------------------------------------------------------------------------------------- */

/* N eta (Tv - D - m x) = TL + b x / N + c (x / N)^2, a quadratic in x. */
static void a_machine_settles_where_motor_and_load_balance(void **state)
{
  (void)state;
  for (int gear = 0; gear < 2; gear++) {
    struct sb_model model = model_two_gears("selector");
    model_set_currents(&model, 2.6, 0.14, 0.5);
    model.gearbox.gears[gear].drag_nm = 0.01;
    model_add_constant(&model, 0.3, true);
    model_add_viscous(&model, 0.02);
    model_add_quadratic(&model, 0.004);
    model_finish(&model);
    const double n = model.gearbox.gears[gear].ratio, k = n * model.gearbox.gears[gear].efficiency;
    const double ohm = 12.0 / 2.6, loop = ohm + 0.5;
    const double kt = 0.4 / (2.6 - 0.14), ke = (12.0 - 0.14 * ohm) / model_rad_s(300.0);
    const double a = 0.004 / (n * n), b = 0.02 / n + k * kt * ke / loop;
    const double c = 0.3 - k * (kt * 12.0 / loop - kt * 0.14 - 0.01);
    const struct driven got = drive(&model, gear, NULL, 0, 5.0);
    const double want = (-b + sqrt(b * b - 4.0 * a * c)) / (2.0 * a);
    assert_near_rel(got.state.motor_speed_rad_s, want, limit);
    assert_near_rel(got.state.output_speed_rad_s, want / n, limit);
    assert_near_rel(got.row.motor_current_a, (12.0 - ke * want) / loop, limit);
    assert_near_rel(got.row.supply_voltage_v, 12.0 - 0.5 * got.row.motor_current_a, 1e-12);
  }
}

/* Burman, Special Electrical Machines, example 4.5 p. 218: 60 V of 120 V, 0.5 N m: 2672.75 rpm and 2.61799 A. */
static void a_motor_at_half_its_voltage_settles_as_in_burman(void **state)
{
  (void)state;
  struct sb_model model = shaft_model(model_rad_s(6000.0), 1.0, 0.01);
  const double k = 120.0 / model_rad_s(6000.0);
  model.motor.nominal_voltage_v = 120.0;
  model.motor.stall_torque_nm = k * 120.0 / 2.5;
  model_set_currents(&model, 120.0 / 2.5, 0.0, 0.0);
  model.supply.open_circuit_voltage_v = 60.0;
  model_add_constant(&model, 0.5, true);
  model_finish(&model);
  const struct driven got = after(&model, 20.0);
  assert_near(rpm(got.state.motor_speed_rad_s), 2672.75, 5e-3);
  assert_near(got.row.motor_current_a, 2.61799, 5e-6);
  assert_near_rel(got.state.motor_speed_rad_s, (60.0 - 2.5 * 0.5 / k) / k, limit);
}

/* Hambley, Electrical Engineering, example 16.4 p. 722: constant friction and a hoist: 995.873 rpm, 117.378 A. */
static void a_motor_with_friction_and_a_hoist_settles_as_in_hambley(void **state)
{
  (void)state;
  const double k = 280.0 / model_rad_s(1200.0), friction_nm = 1450.0 / model_rad_s(1200.0);
  struct sb_model model = shaft_model(1.0, 1.0, 5.0);
  model.motor.nominal_voltage_v = model.supply.open_circuit_voltage_v = 240.0;
  model_set_currents(&model, 240.0 / 0.065, friction_nm / k, 0.0);
  model.motor.stall_torque_nm = k * (240.0 / 0.065 - friction_nm / k);
  model.motor.no_load_speed_rad_s = (240.0 - 0.065 * friction_nm / k) / k;
  model_add_constant(&model, 250.0, false);
  model_finish(&model);
  const struct driven got = after(&model, 3.0);
  assert_near(rpm(got.state.motor_speed_rad_s), 995.873, 5e-4);
  assert_near(got.row.motor_current_a, 117.378, 5e-4);
}

/* Exponentials ----------------------------------------------------------------------------------------------------- */

/* GATE 2020 EE question 34: 5 V step, gain 2 rad/s per V, tau 0.5 s: 6.32121 rad/s at 0.5 s. */
static void a_step_in_voltage_is_followed_as_in_gate_2020(void **state)
{
  (void)state;
  struct sb_model model = shaft_model(10.0, 1.0, 0.05);
  model.motor.nominal_voltage_v = model.supply.open_circuit_voltage_v = 5.0;
  model_finish(&model);
  assert_near(after(&model, 0.5).state.motor_speed_rad_s, 6.32121, 5e-6);
  assert_near_rel(after(&model, 0.5).state.motor_speed_rad_s, 10.0 * (1.0 - exp(-1.0)), limit);
  assert_near_rel(after(&model, 1.7).state.motor_speed_rad_s, 10.0 * (1.0 - exp(-3.4)), limit);
}

/* Fitzgerald, Kingsley, Umans, Electric Machinery, example 11.6 p. 575: 2000 to 2500 rpm on a viscous load. */
static void a_motor_on_a_viscous_load_follows_fitzgeralds_exponential(void **state)
{
  (void)state;
  const double k = 1.91009, ohm = 0.084, inertia = 0.92, viscous = 285.0 / model_rad_s(2500.0), voltage = 512.594;
  struct sb_model model = shaft_model(voltage / k, k * voltage / ohm, inertia);
  model.motor.nominal_voltage_v = model.supply.open_circuit_voltage_v = voltage;
  model_set_currents(&model, voltage / ohm, 0.0, 0.0);
  model_add_viscous(&model, viscous);
  model.run.initial_output_speed_rad_s = model_rad_s(2000.0);
  model_finish(&model);

  const double per_s = (k * k / ohm + viscous) / inertia, settled = k * voltage / ohm / (inertia * per_s);
  assert_near(per_s, 48.394, 5e-4);
  assert_near(1e3 / per_s, 20.664, 5e-4);
  for (int ms = 5; ms <= 100; ms += 5) {
    const double want = settled + (model_rad_s(2000.0) - settled) * exp(-per_s * 1e-3 * ms);
    assert_near_rel(after(&model, 1e-3 * ms).state.motor_speed_rad_s, want, limit);
  }
  const struct driven end = after(&model, 1.0);
  assert_near(rpm(end.state.motor_speed_rad_s), 2500.0, 5e-3); /* from a voltage of six digits */
  assert_near_rel(end.row.motor_current_a, 149.207, 5e-6);     /* from a constant of six digits */
}

/* x = s (1 - exp(-t / tau)), tau = (Jm + Jo / (N^2 eta)) / (m + b / (N^2 eta)), standard. */
static void a_run_up_through_a_lossy_gear_is_exponential(void **state)
{
  (void)state;
  for (int gear = 0; gear < 2; gear++) {
    struct sb_model model = model_two_gears("selector");
    model_add_viscous(&model, 0.02);
    model_add_constant(&model, 0.3, true);
    model_finish(&model);
    const double n = model.gearbox.gears[gear].ratio, n2e = n * n * model.gearbox.gears[gear].efficiency;
    const double slope = 0.4 / model_rad_s(300.0) + 0.02 / n2e;
    const double tau = (4e-4 + 0.02 / n2e) / slope, settled = (0.4 - 0.3 * n / n2e) / slope;
    for (double t = 0.05; t < 0.5; t += 0.05) {
      const struct driven got = drive(&model, gear, NULL, 0, t);
      assert_near_rel(got.state.motor_speed_rad_s, -settled * expm1(-t / tau), limit);
    }
  }
}

/* Theraja, Electrical Technology vol. III, example 45.18 p. 1815: 750 rpm, 75 rpm droop at 1400 N m, 2100 kg m^2;
 * 1900 N m for 10 s and 280 N m for 30 s, three times. */
static void a_pulsed_load_gives_therajas_six_speeds(void **state)
{
  (void)state;
  static const double x[] = {0.0, 10.0, 40.0}, nm[] = {1900.0, 280.0, 280.0};
  static const double ends_s[] = {10.0, 40.0, 50.0, 80.0, 90.0, 120.0};
  static const double ends_rpm[] = {691.770, 731.613, 683.902, 730.996, 683.638, 730.975};
  struct sb_model model = shaft_model(model_rad_s(750.0), 14000.0, 2100.0);
  struct sb_load_part *part = model_add_profile(&model, SB_OVER_TIME, true, 3, x, nm);
  part->is_held = part->is_repeating = true;
  model.run.initial_output_speed_rad_s = model_rad_s(750.0);
  model_finish(&model);
  const double tau = 2100.0 * model_rad_s(750.0) / 14000.0;
  double exact = 750.0;
  for (int i = 0; i < 6; i++) {
    const double settled = 750.0 - 75.0 * (i % 2 == 0 ? 1900.0 : 280.0) / 1400.0;
    exact = settled + (exact - settled) * exp(-(i % 2 == 0 ? 10.0 : 30.0) / tau);
    const double got = rpm(after(&model, ends_s[i]).state.motor_speed_rad_s);
    assert_near(got, ends_rpm[i], 5e-4);
    assert_near_rel(got, exact, limit);
  }
}

/* The same, example 45.20 p. 1817: 50 kW at 960 rpm, 1000 rpm unloaded, 300 N m and 1500 N m more for 10 s. With
 * 1908.85 kg m^2 the motor's torque just reaches twice its rated 497.359 N m; then it falls to 700 N m in 8.87487 s. */
static void a_flywheel_keeps_the_motor_below_twice_its_torque_as_in_theraja(void **state)
{
  (void)state;
  static const double x[] = {0.0, 10.0, 100.0}, nm[] = {1800.0, 300.0, 300.0};
  const double rated_nm = 50e3 / model_rad_s(960.0), slope = rated_nm / model_rad_s(40.0);
  const double inertia = slope * 10.0 / log(1500.0 / (1800.0 - 2.0 * rated_nm));
  assert_near(rated_nm, 497.359, 5e-4);
  assert_near(inertia, 1908.85, 5e-3);
  struct sb_model model = shaft_model(model_rad_s(1000.0), slope * model_rad_s(1000.0), inertia);
  model_add_profile(&model, SB_OVER_TIME, true, 3, x, nm)->is_held = true;
  model.run.initial_output_speed_rad_s = model_rad_s(1000.0) - 300.0 / slope;
  model_finish(&model);

  double time_s = 10.0, torque_nm, before_nm = 0.0;
  torque_nm = slope * (model_rad_s(1000.0) - after(&model, time_s).state.motor_speed_rad_s);
  assert_near_rel(torque_nm, 2.0 * rated_nm, limit);
  for (time_s = 18.87; torque_nm > 700.0; time_s += 0.001) {
    before_nm = torque_nm;
    torque_nm = slope * (model_rad_s(1000.0) - after(&model, time_s).state.motor_speed_rad_s);
  }
  const double passed_s = time_s - 0.001 - 0.001 * (700.0 - torque_nm) / (before_nm - torque_nm);
  assert_near(passed_s, 10.0 + 8.87487, 5e-6);
}

/* Accelerations through a lossy gear ------------------------------------------------------------------------------- */

/* Bevan, The Theory of Machines, example 10 p. 48, in ft, lb, s with g = 32.2 ft/s^2: a falling weight drives a drum
 * and, five times as fast, a gear: 3.34545 ft/s^2 without loss, 3.14146 with 0.9. */
static void a_falling_weight_that_drives_the_gear_accelerates_as_in_bevan(void **state)
{
  (void)state;
  static const double efficiencies[] = {1.0, 0.9}, wants[] = {3.34545, 3.14146};
  const double g = 32.2, radius = 8.0 / 12.0;
  for (int i = 0; i < 2; i++) {
    struct sb_model model = model_blank();
    model_set_line_motor(&model, 1e9, no_drive_nm, 15.0 / g);
    model_add_gear(&model, 5.0, efficiencies[i], false);
    model.load.inertia_kg_m2 = (200.0 + 150.0 * radius * radius) / g;
    model_add_constant(&model, -150.0 * radius, false);
    model_finish(&model);
    const struct driven got = after(&model, 2.0);
    assert_near(got.state.output_speed_rad_s * radius / 2.0, wants[i], 5e-6);
    assert_false(got.state.is_driving);
  }
}

/* Khurmi and Gupta, Theory of Machines, example 3.17 p. 55: 30 N m, 0.6 kg m^2, 9:1 at 0.95, 100 N m, 45 kg m^2. */
static void a_motor_that_drives_a_machine_accelerates_as_in_khurmi(void **state)
{
  (void)state;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1e12, 30.0, 0.6); /* the book's motor gives 30 N m at any speed */
  model_add_gear(&model, 9.0, 0.95, false);
  model.load.inertia_kg_m2 = 45.0;
  model_add_constant(&model, 100.0, true);
  model_finish(&model);
  assert_near(after(&model, 2.0).state.output_speed_rad_s / 2.0, 1.71657, 5e-6);
  assert_near(model_rad_s(60.0) / (after(&model, 3.66).state.output_speed_rad_s / 3.66), 3.66031, 5e-6);
}

/* Dubey, Fundamentals of Electrical Drives, example 10.2 p. 321: 100 t, 4 x 5000 N m, ratio 4 at 0.98, wheels of
 * 0.54 m, 50 per 1000 up, 25 N/t, 10 % for rotating parts: 100 km/h after 32.6326 s. */
static void a_train_reaches_its_speed_as_in_dubey(void **state)
{
  (void)state;
  const double mass = 100e3, radius = 0.54;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1e15, 4.0 * 5000.0, 1e-6); /* any speed; the rotor is in the 10 % */
  model_add_gear(&model, 4.0, 0.98, false);
  model.load.inertia_kg_m2 = 1.1 * mass * radius * radius;
  model_add_constant(&model, mass * 9.81 * 0.05 * radius, false);
  model_add_constant(&model, 25.0 * 100.0 * radius, true);
  model_finish(&model);
  const double a = after(&model, 32.0).state.output_speed_rad_s * radius / 32.0;
  assert_near(100.0 / 3.6 / a, 32.6326, 5e-5);
}

/* Coasting in neutral ---------------------------------------------------------------------------------------------- */

/* Leaves gear 1 at t = 0 for a neutral without end; the motor's inertia is nothing. */
static struct driven coast(struct sb_model *model, double time_s)
{
  model_add_gear(model, 0.5, 1.0, false);
  model->shifter.travel_time_s = 1e6;
  model_finish(model);
  return drive(model, 0, (struct oracle_command[]){{0.0, 1}}, 1, time_s);
}

static struct sb_model coasting_model(double inertia, double speed_rad_s)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1.0, no_drive_nm, 1.0);
  model_add_gear(&model, 1.0, 1.0, false);
  model.load.inertia_kg_m2 = inertia;
  model.run.initial_output_speed_rad_s = speed_rad_s;
  return model;
}

/* physics.stackexchange.com/questions/334654: coasting down under f0 + f2 v^2 stops at 6.12842 s after 23.3453 m. */
static void a_coast_down_under_dry_and_quadratic_drag_stops_in_its_known_time(void **state)
{
  (void)state;
  const double f0 = 0.1 * 9.81, f2 = 0.5 * 1.2 * 0.05, start = 10.0;
  static const double times_s[] = {3.0, 6.128, 6.129, 10.0};
  const double stop_s = atan(start * sqrt(f2 / f0)) / sqrt(f0 * f2);
  assert_near(stop_s, 6.12842, 5e-6);
  for (int i = 0; i < 4; i++) {
    struct sb_model model = coasting_model(1.0, start);
    model_add_constant(&model, f0, true);
    model_add_quadratic(&model, f2);
    const struct driven got = coast(&model, times_s[i]);
    if (times_s[i] < stop_s) {
      const double want = sqrt(f0 / f2) * tan(atan(start * sqrt(f2 / f0)) - times_s[i] * sqrt(f0 * f2));
      assert_near(got.state.output_speed_rad_s, want, limit);
    } else {
      assert_true(got.state.output_speed_rad_s == 0.0);
      assert_near(got.state.output_angle_rad, 23.3453, 5e-5);
      assert_near_rel(got.state.output_angle_rad, log1p(f2 * start * start / f0) / (2.0 * f2), limit);
    }
    if (i == 0) assert_near(got.state.output_speed_rad_s, 3.40206, 5e-6);
  }
}

/* Theraja vol. II, example 31.17 p. 1107: 4000 W of friction at 1500 rpm, 1525 to 1475 rpm in 25 s: 121.585 kg m^2. */
static void a_run_down_under_constant_friction_takes_the_time_in_theraja(void **state)
{
  (void)state;
  struct sb_model model = coasting_model(121.585, model_rad_s(1525.0));
  model_add_constant(&model, 4000.0 / model_rad_s(1500.0), true);
  const struct driven got = coast(&model, 25.0);
  assert_near(rpm(got.state.output_speed_rad_s), 1475.0, 50.0 * 5e-6); /* six digits of inertia */
}

/* Engagements ------------------------------------------------------------------------------------------------------ */

/* The motor at its speed, the output at rest: gear 1's reduction is beyond all measure; then the second, a shaft. */
static struct sb_model two_masses(const char *shifter, double motor_inertia, double output_inertia, double speed_rad_s)
{
  const double ratio = 1e12;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 1e9, no_drive_nm, motor_inertia);
  model_add_gear(&model, ratio, 1.0, false);
  model_add_gear(&model, 1.0, 1.0, false);
  model_drive_forward(&model);
  model.load.inertia_kg_m2 = output_inertia;
  model.run.initial_output_speed_rad_s = speed_rad_s / ratio;
  model_set_shifter(&model, shifter);
  return model;
}

/* Khurmi and Gupta, Theory of Machines, example 3.12 p. 47: 60 kg, 0.14 m at 750 rpm meets 20 kg, 0.08 m at rest
 * through 150 N m: 70.8304 rad/s after 0.0604419 s, 356.032 J lost. */
static void a_clutch_joins_two_masses_as_in_khurmi(void **state)
{
  (void)state;
  struct sb_model model = two_masses("clutch", 60.0 * 0.14 * 0.14, 20.0 * 0.08 * 0.08, model_rad_s(750.0));
  model.shifter.clutch_nm = 150.0;
  model_finish(&model);
  const struct driven got = drive(&model, 0, (struct oracle_command[]){{0.0, 1}}, 1, 0.1);
  assert_near(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), 0.0604419, 5e-8);
  assert_near(got.state.output_speed_rad_s, 70.8304, 5e-5);
  assert_near(got.sums.energy.shift_loss, 356.032, 5e-4);
  const double jm = 1.176, jo = 0.128, reduced = jm * jo / (jm + jo), speed = model_rad_s(750.0);
  assert_near_rel(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), reduced * speed / 150.0, limit);
  assert_near_rel(got.sums.energy.shift_loss, 0.5 * reduced * speed * speed, limit);
}

/* 4 kg m^2 at 60 rpm and 2 kg m^2 at rest: 40 rpm, and a third of the energy is lost (questioncove.com, question only;
 * 26.3189 J of 78.9568 J recomputed). */
static void a_dog_joins_two_masses_at_once_and_loses_a_third_of_the_energy(void **state)
{
  (void)state;
  struct sb_model model = two_masses("selector", 4.0, 2.0, model_rad_s(60.0));
  model.shifter.travel_time_s = 0.25;
  model_finish(&model);
  const struct driven got = drive(&model, 0, (struct oracle_command[]){{0.0, 1}}, 1, 0.5);
  assert_near(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), 0.25, 1e-12);
  assert_near_rel(rpm(got.state.output_speed_rad_s), 40.0, limit);
  assert_near(got.sums.energy.shift_loss, 26.3189, 5e-5);
  assert_near_rel(got.sums.greatest_impulse_nms, 2.0 * model_rad_s(40.0), limit);
}

/* The time is the lead over what the clutch takes from it, however small the lead: 0.5 rad/s by 1.5 N m. */
static void a_clutch_takes_a_small_lead_in_proportion(void **state)
{
  (void)state;
  struct sb_model model = two_masses("clutch", 1.176, 0.128, 0.5);
  model.shifter.clutch_nm = 1.5;
  model_finish(&model);
  const struct driven got = drive(&model, 0, (struct oracle_command[]){{0.0, 1}}, 1, 0.1);
  const double reduced = 1.176 * 0.128 / (1.176 + 0.128);
  assert_near_rel(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), reduced * 0.5 / 1.5, limit);
}

/* Sums of decimal times miss whole steps by roundings: a shift that ends at a step's end is over when the step is. */
static void an_engagement_at_the_end_of_a_step_belongs_to_that_step(void **state)
{
  (void)state;
  for (int begin = 1; begin <= 30; begin++) {
    for (int travel = 1; travel <= 30; travel++) {
      struct sb_model model = model_two_gears("selector");
      model.shifter.travel_time_s = 1e-3 * travel;
      model_finish(&model);
      struct sb_sim sim;
      struct sb_error err;
      assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
      assert_int_equal(sb_sim_advance(&sim, begin, &err), SB_OK);
      sb_sim_command(&sim, 1);
      assert_int_equal(sb_sim_advance(&sim, begin + travel - 1, &err), SB_OK);
      assert_false(sb_sim_is_engaged(&sim));
      assert_int_equal(sb_sim_advance(&sim, begin + travel, &err), SB_OK);
      if (!sb_sim_is_engaged(&sim)) fail_msg("%d ms after %d ms: not engaged", travel, begin);
      sb_sim_clear(&sim);
    }
  }
}

/* The joining through a ratio: w+ = (Jm w- + (Jo / N) W-) / (Jm + Jo / N^2); angular impulse about both shafts. */
static void a_joining_through_a_ratio_keeps_the_angular_impulse(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model.shifter.travel_time_s = 0.0;
  model_finish(&model);
  const struct driven before = drive(&model, 1, NULL, 0, 0.3);
  const struct driven got = drive(&model, 1, (struct oracle_command[]){{0.3, 0}}, 1, 0.3);
  const double n = 12.0, jm = 4e-4, jo = 0.02, w = before.state.motor_speed_rad_s, output = w / 4.0;
  const double joined = (jm * w + jo / n * output) / (jm + jo / (n * n)), slip = w - n * output;
  assert_near_rel(got.state.motor_speed_rad_s, joined, 1e-12);
  assert_near_rel(got.state.output_speed_rad_s, joined / n, 1e-12);
  assert_near_rel(got.sums.energy.shift_loss, 0.5 * jm * jo / (n * n) / (jm + jo / (n * n)) * slip * slip, 1e-12);
  assert_near_rel(got.sums.greatest_impulse_nms, jo * (joined / n - output), 1e-12);
}

/* Without play of time a command joins at once. A motor that turns the other way makes the opposite impulse, to the bit: of two
 * as great ones the first is told. */
static void of_two_equally_great_impulses_the_first_is_told(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model.shifter.travel_time_s = 0.0;
  model_finish(&model);
  struct sb_sim sim;
  struct sb_error err = {0};
  assert_int_equal(sb_sim_init(&sim, &model, 1, &err), SB_OK);
  struct sb_state turning = sim.state;
  const double n = 12.0, jm = 4e-4, jo = 0.02, w = 10.0;
  for (int sign = -1; sign <= 1; sign += 2) {
    turning.motor_speed_rad_s = sign * w;
    turning.output_speed_rad_s = 0.0;
    turning.motor_direction = turning.output_direction = sign;
    sb_sim_restore(&sim, &turning);
    sb_sim_command(&sim, 0);
    const double joined = sign * jm * w / (jm + jo / (n * n));
    assert_near_rel(sim.state.output_speed_rad_s, joined / n, 1e-12);
    assert_near_rel(sb_sim_sums(&sim)->greatest_impulse_nms, -jo * fabs(joined) / n, 1e-12);
  }
  sb_sim_clear(&sim);
}

/* A step that is a whole part of a second gives the doubles next to k / 1000, not sums or products that drift beside them. */
static void whole_steps_lie_at_the_doubles_next_to_their_times(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_finish(&model);
  struct sb_sim sim;
  struct sb_error err = {0};
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  for (int k = 0; k <= 1000; k++) assert_near(sb_sim_grid_s(&sim, k), k / 1000.0, 0.0);
  sb_sim_clear(&sim);
}

/* A motor that stalls against a load that holds stands still, through a shaft that gives, too, once that has come to rest. */
static void a_blocked_machine_stands_still_behind_a_shaft_too(void **state)
{
  (void)state;
  for (int has_shaft = 0; has_shaft < 2; has_shaft++) {
    struct sb_model model = model_two_gears("selector");
    model_add_constant(&model, 49.0, true);
    if (has_shaft)
      model.driveshaft = (struct sb_driveshaft){.is_present = true, .stiffness_nm_rad = 500.0, .damping_nms_rad = 5.0};
    model_finish(&model);
    const struct driven got = drive(&model, 0, NULL, 0, 4.0);
    assert_near(got.sums.standstill_time_s, 4.0, has_shaft ? 1.0 : 1e-12);
    assert_true(!has_shaft || got.sums.standstill_time_s < 4.0);
  }
}

/* Small promises --------------------------------------------------------------------------------------------------- */

static void a_command_into_the_gear_in_mesh_or_on_its_way_is_ignored(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_finish(&model);
  const struct driven plain = drive(&model, 1, NULL, 0, 0.5);
  const struct driven again = drive(&model, 1, (struct oracle_command[]){{0.2, 1}}, 1, 0.5);
  assert_true(plain.state.motor_speed_rad_s == again.state.motor_speed_rad_s);
  const struct driven once = drive(&model, 1, (struct oracle_command[]){{0.2, 0}}, 1, 0.5);
  const struct driven twice = drive(&model, 1, (struct oracle_command[]){{0.2, 0}, {0.23, 0}}, 2, 0.5);
  assert_true(once.state.motor_speed_rad_s == twice.state.motor_speed_rad_s);
  assert_near(driven_time_s(&twice.seen, SB_EVENT_ENGAGED, 0), 0.25, 1e-12);
}

static void at_standstill_the_gear_presses_with_what_the_motor_brings_and_the_load_allows(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 2.0, true);
  model_finish(&model);
  struct driven got = drive(&model, 1, NULL, 0, 1.0);
  assert_int_equal(got.row.phase, SB_PHASE_STANDSTILL);
  assert_near_rel(got.row.output_torque_nm, 4.0 * 0.95 * 0.4, 1e-12); /* N eta Ts below the 2 N m that would move it */
  assert_near(got.sums.standstill_time_s, 1.0, 1e-12);
  model.load.parts[0] = (struct sb_load_part){.ops = sb_load_kind_find("constant"), .torque_nm = 1.55};
  got = drive(&model, 1, NULL, 0, 1.0); /* a weight between N eta Ts = 1.52 and N Ts / eta: the teeth hold it */
  assert_int_equal(got.row.phase, SB_PHASE_STANDSTILL);
  assert_near_rel(got.row.output_torque_nm, 1.55, 1e-12);
}

/* Either way round; the friction of a motor with currents is in its stall torque already, a drag is not. */
static void at_standstill_a_drive_in_reverse_presses_as_hard_the_other_way(void **state)
{
  (void)state;
  static const double from_s[] = {0.0}, commands[][1] = {{1.0}, {-1.0}};
  for (int k = 0; k < 2; k++) {
    struct sb_model model = model_two_gears("selector");
    model_set_currents(&model, 2.6, 0.5, 0.0);
    model_add_constant(&model, 2.0, true);
    model.gearbox.gears[1].drag_nm = 0.1;
    model.drive.schedule = (struct sb_table){1, from_s, commands[k]};
    model.drive.period_s = 0.01;
    model_finish(&model);
    const struct driven got = drive(&model, 1, NULL, 0, 1.0);
    assert_int_equal(got.row.phase, SB_PHASE_STANDSTILL);
    assert_near_rel(got.row.output_torque_nm, commands[k][0] * 4.0 * 0.95 * (0.4 - 0.1), 1e-12);
  }
}

/* What resists is told with its own size, whether a gear is in mesh or not, at rest. */
static void a_load_at_rest_is_the_same_out_of_gear(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model.shifter.travel_time_s = 0.2;
  model_add_constant(&model, 49.0, true);
  model_finish(&model);
  const struct driven in_gear = drive(&model, 1, NULL, 0, 0.15);
  const struct driven between = drive(&model, 1, (struct oracle_command[]){{0.1, 0}}, 1, 0.15);
  assert_int_equal(between.row.gear, 0);
  assert_near(between.row.output_speed_rad_s, 0.0, 0.0);
  assert_near(in_gear.row.external_torque_nm, 49.0, 0.0);
  assert_near(between.row.external_torque_nm, 49.0, 0.0);
  assert_near(between.row.load_torque_nm, 0.0, 0.0); /* it is held by itself: nothing opposes anything */
}

/* From one block of samples to the next it is one block, however the two times round: the same state at another one moves on to the
 * same bits, with a corner of the load at every block, too. */
static void a_block_takes_one_time_wherever_it_lies(void **state)
{
  (void)state;
  enum { BLOCKS = 50, STEPS = 20 * SB_SIM_BLOCK };
  double x[BLOCKS + 1], torque_nm[BLOCKS + 1];
  for (int k = 0; k <= BLOCKS; k++) {
    x[k] = STEPS * k / 1000.0;
    torque_nm[k] = 0.5;
  }
  for (int has_corners = 0; has_corners < 2; has_corners++) {
    struct sb_model model = model_two_gears("selector");
    if (has_corners) model_add_profile(&model, SB_OVER_TIME, true, BLOCKS + 1, x, torque_nm);
    model_finish(&model);
    struct sb_sim sim;
    struct sb_error err = {0};
    assert_int_equal(sb_sim_init(&sim, &model, 1, &err), SB_OK);
    const struct sb_state first = sim.state;
    assert_int_equal(sb_sim_advance(&sim, STEPS, &err), SB_OK);
    const double want = sim.state.motor_speed_rad_s;
    assert_true(want > 1.0);
    for (int k = 1; k < BLOCKS; k++) {
      struct sb_state later = first;
      later.step = STEPS * k;
      later.time_s = sb_sim_grid_s(&sim, later.step);
      later.load_time_s = has_corners ? x[k] : 0.0;
      sb_sim_restore(&sim, &later);
      assert_int_equal(sb_sim_advance(&sim, later.step + STEPS, &err), SB_OK);
      assert_near(sim.state.motor_speed_rad_s, want, 0.0);
    }
    sb_sim_clear(&sim);
  }
}

/* While an output rests out of gear the load that is told of it goes on along its table. */
static void the_load_of_an_output_that_rests_out_of_gear_is_that_of_its_time(void **state)
{
  (void)state;
  static const double at_s[] = {0.0, 1.0, 2.0, 3.0, 4.0}, load_nm[] = {0.5, 0.5, 1.5, 0.7, 0.7};
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model.shifter.travel_time_s = 5.0;
  model_add_profile(&model, SB_OVER_TIME, true, 5, at_s, load_nm);
  model_finish(&model);
  const struct oracle_command command = {0.2, 1};
  for (double time_s = 1.0; time_s <= 3.5; time_s += 0.125) {
    const struct driven got = drive(&model, 0, &command, 1, time_s);
    const double want_nm = time_s <= 2.0 ? 0.5 + (time_s - 1.0) : fmax(1.5 - 0.8 * (time_s - 2.0), 0.7);
    assert_true(got.state.output_speed_rad_s == 0.0 && got.row.gear == 0);
    assert_near_rel(got.row.external_torque_nm, want_nm, 1e-12);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_machine_settles_where_motor_and_load_balance),
      cmocka_unit_test(a_motor_at_half_its_voltage_settles_as_in_burman),
      cmocka_unit_test(a_motor_with_friction_and_a_hoist_settles_as_in_hambley),
      cmocka_unit_test(a_step_in_voltage_is_followed_as_in_gate_2020),
      cmocka_unit_test(a_motor_on_a_viscous_load_follows_fitzgeralds_exponential),
      cmocka_unit_test(a_run_up_through_a_lossy_gear_is_exponential),
      cmocka_unit_test(a_pulsed_load_gives_therajas_six_speeds),
      cmocka_unit_test(a_flywheel_keeps_the_motor_below_twice_its_torque_as_in_theraja),
      cmocka_unit_test(a_falling_weight_that_drives_the_gear_accelerates_as_in_bevan),
      cmocka_unit_test(a_motor_that_drives_a_machine_accelerates_as_in_khurmi),
      cmocka_unit_test(a_train_reaches_its_speed_as_in_dubey),
      cmocka_unit_test(a_coast_down_under_dry_and_quadratic_drag_stops_in_its_known_time),
      cmocka_unit_test(a_run_down_under_constant_friction_takes_the_time_in_theraja),
      cmocka_unit_test(a_clutch_joins_two_masses_as_in_khurmi),
      cmocka_unit_test(a_dog_joins_two_masses_at_once_and_loses_a_third_of_the_energy),
      cmocka_unit_test(a_clutch_takes_a_small_lead_in_proportion),
      cmocka_unit_test(an_engagement_at_the_end_of_a_step_belongs_to_that_step),
      cmocka_unit_test(a_joining_through_a_ratio_keeps_the_angular_impulse),
      cmocka_unit_test(whole_steps_lie_at_the_doubles_next_to_their_times),
      cmocka_unit_test(a_blocked_machine_stands_still_behind_a_shaft_too),
      cmocka_unit_test(of_two_equally_great_impulses_the_first_is_told),
      cmocka_unit_test(a_command_into_the_gear_in_mesh_or_on_its_way_is_ignored),
      cmocka_unit_test(at_standstill_the_gear_presses_with_what_the_motor_brings_and_the_load_allows),
      cmocka_unit_test(at_standstill_a_drive_in_reverse_presses_as_hard_the_other_way),
      cmocka_unit_test(a_load_at_rest_is_the_same_out_of_gear),
      cmocka_unit_test(a_block_takes_one_time_wherever_it_lies),
      cmocka_unit_test(the_load_of_an_output_that_rests_out_of_gear_is_that_of_its_time),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
