// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The motor against worked examples. Where an answer is given with more digits than its book prints, it was worked out
 * again from the book's data with exact pi. Limits: half a unit of the last digit given, else rounding of doubles.
 */
#include "help/near.h"
#include "shiftband/motor.h"

#include <string.h>

static const double pi = 3.14159265358979323846;
static const double rounding = 1e-13; /* relative: some hundred roundings of a double */

static double rad_s(double rpm)
{
  return rpm * pi / 30.0;
}

static double rpm(double speed_rad_s)
{
  return speed_rad_s * 30.0 / pi;
}

/* Motor of a constant k and a resistance, described by what it does at a voltage; friction_nm of Coulomb friction. */
static struct sb_motor motor_of(double k, double resistance_ohm, double friction_nm, double voltage_v)
{
  struct sb_motor motor = {
      .nominal_voltage_v = voltage_v,
      .has_currents = true,
      .stall_current_a = voltage_v / resistance_ohm,
      .no_load_current_a = friction_nm / k,
      .rotor_inertia_kg_m2 = 1.0,
  };
  motor.stall_torque_nm = k * (motor.stall_current_a - motor.no_load_current_a);
  motor.no_load_speed_rad_s = (voltage_v - motor.no_load_current_a * resistance_ohm) / k;
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  return motor;
}

static struct sb_supply supply_of(double voltage_v, double resistance_ohm)
{
  return (struct sb_supply){.open_circuit_voltage_v = voltage_v, .internal_resistance_ohm = resistance_ohm};
}

static struct sb_motor_line line_at(const struct sb_motor *motor, double voltage_v, double resistance_ohm)
{
  const struct sb_supply supply = supply_of(voltage_v, resistance_ohm);
  return sb_motor_line_driven(motor, &supply, 1.0);
}

/* Speed > 0 at which the shaft gives this torque. */
static double speed_under(const struct sb_motor_line *line, double torque_nm)
{
  return (sb_motor_stall_torque_nm(line) - torque_nm) / line->slope_nms_rad;
}

/* MIT, Understanding D.C. Motor Characteristics: 600 rpm, 0.325 N m; most power at 300 rpm and 0.1625 N m. */
static void most_power_is_at_half_the_no_load_speed(void **state)
{
  (void)state;
  struct sb_motor motor = {
      .nominal_voltage_v = 9.0,
      .no_load_speed_rad_s = rad_s(600.0),
      .stall_torque_nm = 0.325,
      .rotor_inertia_kg_m2 = 1e-5,
  };
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  const struct sb_motor_line line = line_at(&motor, 9.0, 0.0);

  const double half = rad_s(300.0);
  const double power_w = half * sb_motor_torque_nm(&line, half);
  assert_near_rel(sb_motor_torque_nm(&line, half), 0.1625, rounding);
  assert_near(power_w, 5.1051, 5e-5);
  for (double aside = -60.0; aside <= 60.0; aside += 1.0) {
    if (aside == 0.0) continue;
    assert_true(rad_s(300.0 + aside) * sb_motor_torque_nm(&line, rad_s(300.0 + aside)) < power_w);
  }
  assert_near_rel(sb_motor_no_load_speed_rad_s(&line), rad_s(600.0), rounding);
  assert_near_rel(sb_motor_stall_torque_nm(&line), 0.325, rounding);
  assert_near(sb_motor_current_a(&line, half), 0.0, 0.0);
}

/* Burman, Special Electrical Machines, example 4.1: k = 0.12 at 48 V gives 3819.72 rpm. Here from data at 12 V. */
static void no_load_speed_is_voltage_over_constant(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.12, 0.7, 0.0, 12.0);
  const struct sb_motor_line line = line_at(&motor, 48.0, 0.0);
  assert_near(rpm(sb_motor_no_load_speed_rad_s(&line)), 3819.72, 5e-3);
}

/* Burman, example 4.2: 1 N m and 5 A at standstill on 28 V give k = 0.2, so 1336.90 rpm. */
static void stall_test_gives_the_torque_constant(void **state)
{
  (void)state;
  struct sb_motor motor = {
      .nominal_voltage_v = 28.0,
      .no_load_speed_rad_s = rad_s(1336.90),
      .stall_torque_nm = 1.0,
      .has_currents = true,
      .stall_current_a = 5.0,
      .rotor_inertia_kg_m2 = 1.0,
  };
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near_rel(motor.kt_nm_a, 0.2, rounding);
  assert_near_rel(motor.resistance_ohm, 5.6, rounding);
  assert_near_rel(motor.ke_vs_rad, 0.2, 5e-3 / 1336.90);
  assert_near(sb_motor_constants_mismatch(&motor), 0.0, 5e-3 / 1336.90);
}

/* Burman, example 4.5: 6000 rpm at 120 V; on 60 V with 2.5 ohm and 0.5 N m 2.61799 A and 2672.75 rpm. */
static void voltage_scales_the_line(void **state)
{
  (void)state;
  struct sb_motor motor = {
      .nominal_voltage_v = 120.0,
      .no_load_speed_rad_s = rad_s(6000.0),
      .stall_torque_nm = 120.0 / rad_s(6000.0) * 48.0,
      .has_currents = true,
      .stall_current_a = 48.0, /* 120 V / 2.5 ohm */
      .rotor_inertia_kg_m2 = 1.0,
  };
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near(motor.kt_nm_a, 0.190986, 5e-7);
  assert_near(motor.ke_vs_rad, 0.190986, 5e-7);

  const struct sb_motor_line line = line_at(&motor, 60.0, 0.0);
  const double speed = speed_under(&line, 0.5);
  assert_near(rpm(speed), 2672.75, 5e-3);
  assert_near(sb_motor_current_a(&line, speed), 2.61799, 5e-6);

  /* Half the voltage and half the duty are the same thing on a stiff supply. */
  const struct sb_supply full = supply_of(120.0, 0.0);
  const struct sb_motor_line chopped = sb_motor_line_driven(&motor, &full, 0.5);
  assert_near_rel(sb_motor_torque_nm(&chopped, speed), 0.5, 1e-11); /* 0.5 is left of 4.6 - 4.1: some digits cancel */
}

/* Hambley, Electrical Engineering, example 16.3: 145 V at 1200 rpm; at 800 rpm and 30 A, 0.3 ohm. */
static void back_voltage_gives_torque_and_terminal_voltage(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(145.0 / rad_s(1200.0), 0.3, 0.0, 145.0);
  assert_near(motor.kt_nm_a, 1.15387, 5e-6);

  const double terminal_v = 105.0 + 2.0 / 3.0; /* printed 105.67 V */
  const struct sb_motor_line line = line_at(&motor, terminal_v, 0.0);
  const double speed = rad_s(800.0);
  assert_near(sb_motor_current_a(&line, speed), 30.0, 1e-9); /* 9 of 105 V are left: some digits cancel */
  assert_near(sb_motor_torque_nm(&line, speed), 34.62, 5e-3);
  assert_near(sb_motor_torque_nm(&line, speed) * speed, 2900.0, 1e-6);
}

/* Hambley, example 16.4: hoist of 250 N m on 240 V, 0.065 ohm, 280 V at 1200 rpm, constant loss torque of 1450 W there. */
static void friction_and_hoist_torque_set_speed_and_current(void **state)
{
  (void)state;
  const double friction_nm = 1450.0 / rad_s(1200.0);
  const struct sb_motor motor = motor_of(280.0 / rad_s(1200.0), 0.065, friction_nm, 240.0);
  assert_near_rel(motor.friction_nm, friction_nm, 1e-10); /* the no-load current is 1/700 of the stall current */

  const struct sb_motor_line line = line_at(&motor, 240.0, 0.0);
  const double speed = speed_under(&line, 250.0);
  const double current_a = sb_motor_current_a(&line, speed);
  assert_near(rpm(speed), 995.873, 5e-4);
  assert_near(current_a, 117.378, 5e-4);
  assert_near_rel(sb_motor_torque_nm(&line, speed), 250.0, 1e-11);
  /* With 10 A of field current besides. */
  assert_near(250.0 * speed / (240.0 * (current_a + 10.0)), 0.852837, 5e-7);
  /* No-load, friction included, is what the data were made of. */
  assert_near_rel(sb_motor_no_load_speed_rad_s(&line), motor.no_load_speed_rad_s, 1e-12);
  assert_near_rel(sb_motor_stall_torque_nm(&line), motor.stall_torque_nm, 1e-12);
}

/* Hambley, example 16.2, the linear twin: 2 V, 0.05 ohm, Bl = 0.3, load 4 N; force for torque, m/s for rad/s. */
static void power_into_the_line_is_output_plus_heat(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.3, 0.05, 0.0, 2.0);
  const struct sb_motor_line line = line_at(&motor, 2.0, 0.0);
  assert_near(sb_motor_no_load_speed_rad_s(&line), 6.667, 5e-4);
  assert_near(sb_motor_current_a(&line, 0.0), 40.0, 1e-11);
  assert_near(sb_motor_torque_nm(&line, 0.0), 12.0, 1e-11);

  const double speed = speed_under(&line, 4.0);
  const double current_a = sb_motor_current_a(&line, speed);
  const double heat_w = current_a * current_a * motor.resistance_ohm;
  assert_near(speed, 4.444, 5e-4);
  assert_near(2.0 * current_a, 26.67, 5e-3);
  assert_near(4.0 * speed, 17.78, 5e-3);
  assert_near(heat_w, 8.89, 5e-3);
  assert_near_rel(4.0 * speed + heat_w, 2.0 * current_a, 1e-12);
}

/* Dubey, Fundamentals of Electrical Drives, example 5.3: 160 A come back at 600 rpm into 140 V with 0.04 ohm. */
static void a_motor_turned_faster_feeds_the_source(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(208.0 / rad_s(800.0), 0.06, 0.0, 220.0);
  const struct sb_motor_line motoring = line_at(&motor, 220.0, 0.0);
  assert_near(sb_motor_current_a(&motoring, rad_s(800.0)), 200.0, 1e-9);

  const struct sb_motor_line line = line_at(&motor, 140.0, 0.04);
  assert_near(sb_motor_current_a(&line, rad_s(600.0)), -160.0, 1e-9);
  assert_true(sb_motor_torque_nm(&line, rad_s(600.0)) < 0.0);
}

/* 12 V at 1000 rpm are 0.114592 V s/rad: with kt = 0.12 N m/A that data sheet is off by -4.507 %. */
static void mismatch_of_the_constants_is_told(void **state)
{
  (void)state;
  struct sb_motor motor = {
      .nominal_voltage_v = 12.0,
      .no_load_speed_rad_s = rad_s(1000.0),
      .stall_torque_nm = 1.2,
      .has_currents = true,
      .stall_current_a = 10.0,
      .rotor_inertia_kg_m2 = 1.0,
  };
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near(motor.ke_vs_rad, 0.114592, 5e-7);
  assert_near(sb_motor_constants_mismatch(&motor), (0.114592 - 0.12) / 0.12, 5e-6);

  motor.has_currents = false;
  assert_near(sb_motor_constants_mismatch(&motor), 0.0, 0.0);
}

/*
 * Robertson, Fundamental Electrical and Electronic Principles, example 1.9: 6 V behind 0.15 ohm give 5.925, 5.7 and
 * 4.5 V at 0.5, 2 and 10 A; example 1.10: 12 V behind 0.1 ohm on 2.3 ohm give 5 A and 11.5 V. The stalled winding is
 * the load resistance.
 */
static void supply_sags_by_its_internal_resistance(void **state)
{
  (void)state;
  const struct {
    double open_v, internal_ohm, current_a, terminal_v;
  } cases[] = {{6, 0.15, 0.5, 5.925}, {6, 0.15, 2, 5.7}, {6, 0.15, 10, 4.5}, {12, 0.1, 5, 11.5}};
  for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
    const struct sb_motor motor = motor_of(0.01, cases[i].terminal_v / cases[i].current_a, 0.0, cases[i].open_v);
    const struct sb_motor_line line = line_at(&motor, cases[i].open_v, cases[i].internal_ohm);
    assert_near_rel(sb_motor_current_a(&line, 0.0), cases[i].current_a, rounding);
    assert_near_rel(cases[i].open_v - cases[i].internal_ohm * line.stall_a, cases[i].terminal_v, rounding);
  }
}

/* Kulshreshtha, Basic Electrical Engineering, example 4.9: 12 V behind 6 ohm give at most 6 W. */
static void supply_gives_most_power_into_its_own_resistance(void **state)
{
  (void)state;
  double most_w = 0.0;
  for (int tenths = 30; tenths <= 120; tenths++) {
    const double winding_ohm = tenths / 10.0;
    const struct sb_motor motor = motor_of(0.01, winding_ohm, 0.0, 12.0);
    const struct sb_motor_line line = line_at(&motor, 12.0, 6.0);
    const double power_w = line.stall_a * line.stall_a * winding_ohm;
    if (power_w > most_w) most_w = power_w;
    if (tenths == 60) assert_near(power_w, 6.0, 1e-12);
  }
  assert_near(most_w, 6.0, 1e-12);
}

/* Identity: with r behind the source stall torque is k E / (R + r), the slope k^2 / (R + r), the no-load speed E / k. */
static void sag_changes_stall_and_slope_but_not_the_no_load_speed(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.190986, 2.5, 0.0, 120.0);
  const struct sb_motor_line line = line_at(&motor, 60.0, 0.5);
  assert_near_rel(sb_motor_stall_torque_nm(&line), 0.190986 * 60.0 / 3.0, 1e-12);
  assert_near_rel(line.slope_nms_rad, 0.190986 * 0.190986 / 3.0, 1e-12);
  assert_near_rel(sb_motor_no_load_speed_rad_s(&line), 60.0 / 0.190986, 1e-12);
}

/* Kirchhoff: R I + ke w = u (E - Ri u I), for every duty, speed and current on the line. */
static void duty_acts_as_a_transformer_between_supply_and_motor(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 1.2, 0.004, 12.0);
  const struct sb_supply supply = supply_of(12.6, 0.4);
  for (int percent = 0; percent <= 100; percent += 5) {
    const double duty = percent / 100.0;
    const struct sb_motor_line line = sb_motor_line_driven(&motor, &supply, duty);
    for (double speed = -300.0; speed <= 300.0; speed += 37.0) {
      const double current_a = sb_motor_current_a(&line, speed);
      const double left_v = motor.resistance_ohm * current_a + motor.ke_vs_rad * speed;
      assert_near(left_v, duty * (12.6 - 0.4 * duty * current_a), 1e-11);
      const double friction_nm = speed > 0.0 ? motor.friction_nm : -motor.friction_nm;
      assert_near(sb_motor_torque_nm(&line, speed), motor.kt_nm_a * current_a - friction_nm, 1e-12);
    }
    assert_near(line.duty, duty, 0.0);
  }
}

static void friction_turns_with_the_motion_and_is_left_out_at_rest(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 1.2, 0.004, 12.0);
  const struct sb_motor_line open = sb_motor_line_open(&motor);
  assert_near_rel(sb_motor_torque_nm(&open, 5.0), -0.004, 1e-12);
  assert_near_rel(sb_motor_torque_nm(&open, -5.0), 0.004, 1e-12);
  assert_near(sb_motor_torque_nm(&open, 0.0), 0.0, 0.0);
  assert_near(sb_motor_current_a(&open, 100.0), 0.0, 0.0);
  assert_near(sb_motor_no_load_speed_rad_s(&open), 0.0, 0.0);
  assert_near(open.duty, 0.0, 0.0);

  const struct sb_motor_line line = line_at(&motor, 12.0, 0.0);
  assert_near_rel(sb_motor_torque_nm(&line, 0.0), 0.05 * 10.0, 1e-12);
  assert_near_rel(sb_motor_stall_torque_nm(&line), 0.05 * 10.0 - 0.004, 1e-12);
}

static void without_currents_nothing_is_derived_and_voltage_scales_the_torque(void **state)
{
  (void)state;
  struct sb_motor motor = {
      .nominal_voltage_v = 6.0,
      .no_load_speed_rad_s = 40.0,
      .stall_torque_nm = 0.8,
      .rotor_inertia_kg_m2 = 1e-5,
      .kt_nm_a = 7.0,
      .friction_nm = 7.0,
  };
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near(motor.kt_nm_a, 0.0, 0.0);
  assert_near(motor.friction_nm, 0.0, 0.0);

  /* T = Ts (u V / Vn - w / w0) */
  const struct sb_supply supply = supply_of(9.0, 0.0);
  const struct sb_motor_line line = sb_motor_line_driven(&motor, &supply, 0.5);
  for (double speed = -60.0; speed <= 60.0; speed += 7.5) {
    assert_near(sb_motor_torque_nm(&line, speed), 0.8 * (0.5 * 9.0 / 6.0 - speed / 40.0), 1e-14);
  }
  assert_near(sb_motor_torque_nm(&(struct sb_motor_line){0}, 3.0), 0.0, 0.0);
}

static void stall_current_not_above_no_load_current_is_refused(void **state)
{
  (void)state;
  const double refused_a[] = {0.5, 0.4, -1.0, NAN};
  for (size_t i = 0; i < sizeof refused_a / sizeof refused_a[0]; i++) {
    struct sb_motor motor = {
        .nominal_voltage_v = 6.0,
        .no_load_speed_rad_s = 40.0,
        .stall_torque_nm = 0.8,
        .has_currents = true,
        .stall_current_a = refused_a[i],
        .no_load_current_a = 0.5,
        .rotor_inertia_kg_m2 = 1e-5,
        .kt_nm_a = -7.0,
    };
    struct sb_error err = {0};
    assert_int_equal(sb_motor_derive(&motor, &err), SB_ERR_SCENARIO);
    assert_int_equal(err.status, SB_ERR_SCENARIO);
    assert_non_null(strstr(err.text, "motor.stall_current"));
    assert_non_null(strstr(err.text, "motor.no_load_current"));
    assert_near(motor.kt_nm_a, -7.0, 0.0); /* nothing was written */
  }
}

static void a_motor_without_currents_has_no_constants(void **state)
{
  (void)state;
  struct sb_motor motor = {.nominal_voltage_v = 12.0, .no_load_speed_rad_s = 30.0, .stall_torque_nm = 0.4};
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near(motor.resistance_ohm, 0.0, 0.0);
  assert_near(motor.kt_nm_a, 0.0, 0.0);
  assert_near(motor.ke_vs_rad, 0.0, 0.0);
  assert_near(motor.friction_nm, 0.0, 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(most_power_is_at_half_the_no_load_speed),
      cmocka_unit_test(no_load_speed_is_voltage_over_constant),
      cmocka_unit_test(stall_test_gives_the_torque_constant),
      cmocka_unit_test(voltage_scales_the_line),
      cmocka_unit_test(back_voltage_gives_torque_and_terminal_voltage),
      cmocka_unit_test(friction_and_hoist_torque_set_speed_and_current),
      cmocka_unit_test(power_into_the_line_is_output_plus_heat),
      cmocka_unit_test(a_motor_turned_faster_feeds_the_source),
      cmocka_unit_test(mismatch_of_the_constants_is_told),
      cmocka_unit_test(supply_sags_by_its_internal_resistance),
      cmocka_unit_test(supply_gives_most_power_into_its_own_resistance),
      cmocka_unit_test(sag_changes_stall_and_slope_but_not_the_no_load_speed),
      cmocka_unit_test(duty_acts_as_a_transformer_between_supply_and_motor),
      cmocka_unit_test(friction_turns_with_the_motion_and_is_left_out_at_rest),
      cmocka_unit_test(without_currents_nothing_is_derived_and_voltage_scales_the_torque),
      cmocka_unit_test(stall_current_not_above_no_load_current_is_refused),
      cmocka_unit_test(a_motor_without_currents_has_no_constants),
  };
  return cmocka_run_group_tests_name("motor", tests, NULL, NULL);
}
