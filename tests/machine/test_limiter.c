// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A driver that limits the current, against published examples of chopper control and against figures worked out by hand. The
 * examples neglect friction and leakage of the supply's current, as this motor does with a no-load current of 0.
 */
#include "help/near.h"
#include "shiftband/limiter.h"

static const double rounding = 1e-13; /* relative: some hundred roundings of a double */

static double rpm(double speed_rad_s)
{
  return speed_rad_s * 30.0 / 3.14159265358979323846;
}

/* A motor of a constant k (V s / rad) and a resistance. */
static struct sb_motor motor_of(double k, double resistance_ohm, double voltage_v)
{
  struct sb_motor motor = {.nominal_voltage_v = voltage_v,
                           .has_currents = true,
                           .stall_current_a = voltage_v / resistance_ohm,
                           .no_load_speed_rad_s = voltage_v / k,
                           .rotor_inertia_kg_m2 = 1.0};
  motor.stall_torque_nm = k * motor.stall_current_a;
  struct sb_error err = {0};
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  return motor;
}

static struct sb_motor_circuit circuit_of(const struct sb_motor *motor, double supply_ohm, double limit_a)
{
  const struct sb_supply supply = {.open_circuit_voltage_v = motor->nominal_voltage_v,
                                   .internal_resistance_ohm = supply_ohm,
                                   .current_limit_a = limit_a};
  return sb_motor_circuit_of(motor, &supply);
}

/* The duty at which a motor carries a current at a speed. */
static double duty_at(const struct sb_motor *motor, double current_a, double speed_rad_s)
{
  const struct sb_motor_circuit circuit = circuit_of(motor, 0.0, fabs(current_a));
  const struct sb_limiter_piece piece =
      sb_limiter_piece(motor, &circuit, 1.0, current_a > 0.0 ? SB_LIMITER_HELD : SB_LIMITER_HELD_BACK);
  return sb_limiter_duty(&piece, speed_rad_s);
}

/* B. R. Gupta, V. Singhal, Fundamentals of Electric Drives and Control, example 5.15: 500 V, 0.1 ohm, 2.8 V s / rad at its field
 * current, 200 A at a duty of 0.5: 784.4 rpm, 560 N m, 50 kW from the source, so 100 A. */
static void a_chopper_takes_its_duty_of_the_current_from_the_source(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(2.8, 0.1, 500.0);
  const struct sb_motor_circuit circuit = circuit_of(&motor, 0.0, 200.0);
  const double speed = (0.5 * 500.0 - 0.1 * 200.0) / 2.8 * (1.0 - 1e-15);
  assert_near(rpm(speed), 784.4065, 5e-5);
  const int number = sb_limiter_number(&motor, &circuit, 1.0, speed, SB_LIMITER_FREE, 0.0);
  const struct sb_motor_line line = sb_limiter_line(&motor, &circuit, 1.0, number);
  const struct sb_limiter_piece piece = sb_limiter_piece(&motor, &circuit, 1.0, number);
  assert_int_equal(number, SB_LIMITER_HELD);
  assert_near_rel(sb_motor_torque_nm(&line, speed), 560.0, rounding);
  const double source_a = sb_limiter_duty(&piece, speed) * sb_motor_current_a(&line, speed);
  assert_near_rel(source_a, 100.0, 1e-12);
  assert_near_rel(source_a * 500.0, 50e3, 1e-12);
}

/* G. K. Dubey, Fundamentals of Electrical Drives, example 5.19: 230 V, 960 rpm, 200 A, 0.02 ohm. At 350 rpm and rated torque a
 * duty of 0.376 motoring and 0.34 braking; braking at 0.95 and 400 A: 962 rpm, 87.4 kW back into the source. */
static void a_braking_chopper_gives_back(void **state)
{
  (void)state;
  const double rated_rad_s = 960.0 * 3.14159265358979323846 / 30.0, k = (230.0 - 200.0 * 0.02) / rated_rad_s;
  const struct sb_motor motor = motor_of(k, 0.02, 230.0);
  const double slow_rad_s = rated_rad_s * 350.0 / 960.0;
  assert_near(duty_at(&motor, 200.0, slow_rad_s), 0.375634, 5e-7);
  assert_near(duty_at(&motor, -200.0, slow_rad_s), 0.340851, 5e-7);
  const double fast_rad_s = (0.95 * 230.0 + 400.0 * 0.02) / k;
  assert_near(rpm(fast_rad_s), 962.124, 5e-4);
  assert_near_rel(duty_at(&motor, -400.0, fast_rad_s) * -400.0 * 230.0, -87.4e3, 1e-12);
}

/* V. Singhal, B. R. Gupta, Introduction to Electric Drives, example 4.3: 240 V, 800 rpm, 20 A, 0.5 ohm; at 600 rpm a duty of 0.7604
 * under full and 0.7396 under half torque. */
static void a_lighter_load_needs_less_duty_at_one_speed(void **state)
{
  (void)state;
  const double rated_rad_s = 800.0 * 3.14159265358979323846 / 30.0;
  const struct sb_motor motor = motor_of(230.0 / rated_rad_s, 0.5, 240.0);
  assert_near(duty_at(&motor, 20.0, 0.75 * rated_rad_s), 0.760417, 5e-7);
  assert_near(duty_at(&motor, 10.0, 0.75 * rated_rad_s), 0.739583, 5e-7);
}

/* 24 V, k = 0.05, 0.5 ohm, a limit of 20 A: worked out by hand; with 0.1 ohm in the battery its current is
 * (V - sqrt(V^2 - 4 r P)) / (2 r), P = I (k w + R I). */
static void the_battery_gives_what_the_motor_takes(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 0.5, 24.0);
  const struct sb_motor_circuit stiff = circuit_of(&motor, 0.0, 20.0), soft = circuit_of(&motor, 0.1, 20.0);
  const struct sb_limiter_piece held = sb_limiter_piece(&motor, &stiff, 1.0, SB_LIMITER_HELD),
                                sagging = sb_limiter_piece(&motor, &soft, 1.0, SB_LIMITER_HELD);
  assert_near_rel(held.to_rad_s, 280.0, rounding);
  assert_near_rel(20.0 * sb_limiter_duty(&held, 0.0), 8.333333333333333, rounding);
  assert_near_rel(20.0 * sb_limiter_duty(&held, 280.0), 20.0, rounding);
  assert_near_rel(sagging.to_rad_s, 240.0, rounding);
  assert_near(20.0 * sb_limiter_duty(&sagging, 0.0), 8.644713, 5e-7);
  assert_near(20.0 * sb_limiter_duty(&sagging, 100.0), 13.229217, 5e-7);
  assert_near(20.0 * sb_limiter_duty(&sagging, 200.0), 18.019610, 5e-7);
  assert_near(20.0 * sb_limiter_duty(&sagging, 240.0), 20.0, 1e-12);
}

/* The pieces follow each other without a gap or a jump in the current, and the duty grows with the speed from -1 to 1. */
static void the_pieces_meet(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 0.5, 24.0);
  const struct sb_motor_circuit circuit = circuit_of(&motor, 0.1, 12.0);
  for (double duty = -0.9; duty < 1.0; duty += 0.3) {
    for (int number = SB_LIMITER_FULL_BACK; number < SB_LIMITER_FULL; number++) {
      const struct sb_limiter_piece low = sb_limiter_piece(&motor, &circuit, duty, number);
      const struct sb_limiter_piece high = sb_limiter_piece(&motor, &circuit, duty, number + 1);
      const struct sb_motor_line below = sb_limiter_line(&motor, &circuit, duty, number);
      const struct sb_motor_line above = sb_limiter_line(&motor, &circuit, duty, number + 1);
      const double at = low.to_rad_s;
      assert_true(at == high.from_rad_s);
      assert_near(sb_motor_current_a(&below, at), sb_motor_current_a(&above, at), 1e-11);
      assert_near(fabs(sb_motor_current_a(&below, at)), 12.0, 1e-11);
      assert_near(sb_motor_torque_nm(&below, at), sb_motor_torque_nm(&above, at), 1e-12);
      assert_near(sb_limiter_duty(&low, at), sb_limiter_duty(&high, at), 1e-12);
      assert_int_equal(sb_limiter_number(&motor, &circuit, duty, at - 1e-6, number + 1, 0.0), number);
      assert_int_equal(sb_limiter_number(&motor, &circuit, duty, at + 1e-6, number, 0.0), number + 1);
      /* Within the slack it stays where it was. */
      assert_int_equal(sb_limiter_number(&motor, &circuit, duty, at - 1e-6, number + 1, 2e-6), number + 1);
      assert_int_equal(sb_limiter_number(&motor, &circuit, duty, at + 1e-6, number, 2e-6), number);
    }
  }
}

/* Beyond a piece's own range, where a step may look, its duty ends at the whole voltage. */
static void no_duty_exceeds_the_whole_voltage(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 0.5, 24.0);
  const struct sb_motor_circuit circuit = circuit_of(&motor, 0.1, 12.0);
  for (int number = SB_LIMITER_HELD; number <= SB_LIMITER_HELD_BACK; number += SB_LIMITER_HELD_BACK - SB_LIMITER_HELD) {
    const struct sb_limiter_piece piece = sb_limiter_piece(&motor, &circuit, 0.4, number);
    assert_true(sb_limiter_duty(&piece, 1000.0) == 1.0);
    assert_true(sb_limiter_duty(&piece, -1000.0) == -1.0);
  }
}

static void without_a_limit_there_is_one_piece(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 0.5, 24.0);
  const struct sb_motor_circuit circuit = circuit_of(&motor, 0.1, 0.0);
  assert_int_equal(sb_limiter_number(&motor, &circuit, 0.7, -1e6, SB_LIMITER_FULL, 0.0), SB_LIMITER_FREE);
  const struct sb_limiter_piece piece = sb_limiter_piece(&motor, &circuit, 0.7, SB_LIMITER_FREE);
  assert_true(isinf(piece.from_rad_s) && isinf(piece.to_rad_s));
  assert_true(sb_limiter_duty(&piece, 100.0) == 0.7);
}

/* The line of closed forms bends at the same corner. */
static void the_line_bends_at_the_corner(void **state)
{
  (void)state;
  const struct sb_motor motor = motor_of(0.05, 0.5, 24.0);
  const struct sb_supply supply = {.open_circuit_voltage_v = 24.0, .current_limit_a = 20.0};
  const struct sb_motor_line line = sb_motor_line_driven(&motor, &supply, 1.0);
  assert_near_rel(sb_motor_corner_rad_s(&line), 280.0, rounding);
  assert_near_rel(sb_motor_stall_torque_nm(&line), 1.0, rounding);
  assert_near_rel(sb_motor_torque_nm(&line, 279.0), 1.0, rounding);
  assert_near_rel(sb_motor_torque_nm(&line, 300.0), 0.9, rounding);
  assert_near_rel(sb_motor_current_a(&line, 100.0), 20.0, rounding);
  assert_near_rel(sb_motor_current_a(&line, 700.0), -20.0, rounding);
  assert_near_rel(sb_motor_no_load_speed_rad_s(&line), 480.0, rounding);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_chopper_takes_its_duty_of_the_current_from_the_source),
      cmocka_unit_test(a_braking_chopper_gives_back),
      cmocka_unit_test(a_lighter_load_needs_less_duty_at_one_speed),
      cmocka_unit_test(the_battery_gives_what_the_motor_takes),
      cmocka_unit_test(the_pieces_meet),
      cmocka_unit_test(no_duty_exceeds_the_whole_voltage),
      cmocka_unit_test(without_a_limit_there_is_one_piece),
      cmocka_unit_test(the_line_bends_at_the_corner),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
