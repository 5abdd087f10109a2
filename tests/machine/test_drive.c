// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The drive by itself: orders, ramps, and the inner loop on a first-order plant against the standard solution of a
 * second-order closed loop. The plant goes exactly from tick to tick; the simulator has its own tests.
 */
#include <math.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/drive.h"

/* A motor on which a duty u settles at top u, first order: w' = (top u - w - drop) / tau, with what a load takes. */
struct plant {
  double top_rad_s, tau_s, drop_rad_s;
};

static double plant_after(const struct plant *plant, double duty, double speed_rad_s, double time_s)
{
  const double end = plant->top_rad_s * duty - plant->drop_rad_s;
  return end + (speed_rad_s - end) * exp(-time_s / plant->tau_s);
}

/* ---- orders ---- */

static const double schedule_times[] = {1.0, 5.0, 7.0};
static const double schedule_values[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP, SB_COMMAND_REVERSE};

static struct sb_drive open_drive(void)
{
  return (struct sb_drive){.limit_fraction = 0.8, .period_s = 5e-3};
}

static struct sb_drive ordered_drive(void)
{
  struct sb_drive drive = open_drive();
  drive.schedule = (struct sb_table){3, schedule_times, schedule_values};
  return drive;
}

static void without_a_schedule_it_goes_forward(void **state)
{
  (void)state;
  const struct sb_drive drive = open_drive();
  assert_int_equal(sb_drive_command_at(&drive, 0.0), SB_COMMAND_FORWARD);
  assert_false(sb_drive_is_moving(&drive));
  const struct sb_drive_state start = sb_drive_start(&drive, 0.0);
  assert_int_equal(start.command, SB_COMMAND_FORWARD);
  assert_near(start.duty, 0.8, 0.0);
}

static void a_command_is_in_force_from_its_time_to_the_next(void **state)
{
  (void)state;
  const struct sb_drive drive = ordered_drive();
  assert_true(sb_drive_is_moving(&drive));
  assert_int_equal(sb_drive_command_at(&drive, 0.0), SB_COMMAND_FORWARD); /* before the first: as the first */
  assert_int_equal(sb_drive_command_at(&drive, 4.999), SB_COMMAND_FORWARD);
  assert_int_equal(sb_drive_command_at(&drive, 5.0), SB_COMMAND_STOP);
  assert_int_equal(sb_drive_command_at(&drive, 6.999), SB_COMMAND_STOP);
  assert_int_equal(sb_drive_command_at(&drive, 7.0), SB_COMMAND_REVERSE);
  assert_int_equal(sb_drive_command_at(&drive, 1e6), SB_COMMAND_REVERSE);
}

/* 57 times 0.01 is 0.57 less a rounding in binary numbers: still the tick at 0.57 s. */
static void a_rounded_tick_is_the_tick_of_its_command(void **state)
{
  (void)state;
  static const double times[] = {0.0, 0.57}, values[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP};
  struct sb_drive drive = open_drive();
  drive.schedule = (struct sb_table){2, times, values};
  const double rounded = 0.57 * (1.0 - 2.3e-16);
  assert_true(rounded < 0.57);
  assert_int_equal(sb_drive_command_at(&drive, rounded), SB_COMMAND_STOP);
  assert_int_equal(sb_drive_command_at(&drive, 0.57 - 1e-6), SB_COMMAND_FORWARD);
}

static void reverse_turns_the_duty_over_and_stop_takes_it_away(void **state)
{
  (void)state;
  const struct sb_drive drive = ordered_drive();
  struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  assert_near(at.duty, 0.8, 0.0);
  at = sb_drive_tick(&drive, &at, 5.0, 20.0, false);
  assert_int_equal(at.command, SB_COMMAND_STOP);
  assert_near(at.duty, 0.0, 0.0);
  at = sb_drive_tick(&drive, &at, 7.0, 20.0, false);
  assert_int_equal(at.command, SB_COMMAND_REVERSE);
  assert_near(at.duty, -0.8, 0.0);
}

static void commands_to_go_forward_alone_change_nothing(void **state)
{
  (void)state;
  static const double values[] = {SB_COMMAND_FORWARD, SB_COMMAND_FORWARD};
  struct sb_drive drive = open_drive();
  drive.schedule = (struct sb_table){2, schedule_times, values};
  assert_false(sb_drive_is_moving(&drive));
  static const double late[] = {SB_COMMAND_STOP, SB_COMMAND_FORWARD};
  drive.schedule.y = late;
  assert_true(sb_drive_is_moving(&drive)); /* it is switched on later */
}

/* ---- ramps ---- */

static void a_ramp_raises_the_duty_by_its_share_each_tick_up_to_the_limit(void **state)
{
  (void)state;
  struct sb_drive drive = open_drive();
  drive.ramp_s = 0.5; /* a hundred ticks from 0 to 100 %, so 80 to the limit */
  assert_true(sb_drive_is_moving(&drive));
  struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  for (int k = 1; k <= 120; k++) {
    assert_near(at.duty, fmin(0.8, 0.01 * k), 1e-13); /* a hundred sums */
    at = sb_drive_tick(&drive, &at, 0.005 * k, 0.0, false);
  }
}

static void a_new_command_ramps_from_nothing(void **state)
{
  (void)state;
  static const double times[] = {0.0, 1.0}, values[] = {SB_COMMAND_FORWARD, SB_COMMAND_REVERSE};
  struct sb_drive drive = open_drive();
  drive.ramp_s = 0.5;
  drive.schedule = (struct sb_table){2, times, values};
  struct sb_drive_state at = {.duty = 0.8, .command = SB_COMMAND_FORWARD};
  at = sb_drive_tick(&drive, &at, 1.0, 30.0, false);
  assert_near(at.duty, -0.01, 1e-16);
  at = sb_drive_tick(&drive, &at, 1.005, 30.0, false);
  assert_near(at.duty, -0.02, 1e-16);
}

/*
 * A first-order system under a ramp: y = K r (t - tau (1 - exp(-t / tau))), G. F. Franklin, J. D. Powell, A. Emami-
 * Naeini, Feedback Control of Dynamic Systems, chapter 3 (from memory). The first tick gives the first part, so the
 * held duty leads by half a period on the mean; the error halves with the period.
 */
static void a_ramped_start_follows_the_ramp_response(void **state)
{
  (void)state;
  const struct plant plant = {20.0, 0.5, 0.0};
  const double want = 20.0 / 2.0 * (1.5 - 0.5 * (1.0 - exp(-3.0)));
  double errors[2];
  for (int fine = 0; fine < 2; fine++) {
    struct sb_drive drive = {.limit_fraction = 1.0, .ramp_s = 2.0, .period_s = fine ? 5e-4 : 1e-3};
    const int ticks = fine ? 3000 : 1500;
    struct sb_drive_state at = sb_drive_start(&drive, 0.0);
    double speed = 0.0;
    for (int k = 1; k <= ticks; k++) {
      speed = plant_after(&plant, at.duty, speed, drive.period_s);
      at = sb_drive_tick(&drive, &at, drive.period_s * k, speed, false);
    }
    errors[fine] = speed - want;
  }
  assert_near(errors[0], 0.5e-3 * 10.0 * (1.0 - exp(-3.0)), 2e-6); /* half a period times the slope; the rest is h^2 */
  assert_near(errors[0] / errors[1], 2.0, 1e-3);
}

/* GATE 2020, electrical engineering, question 34: 5 V make a motor of 2 rad/s per V and 0.5 s turn at 6.32 rad/s after
 * 0.5 s and settle at 10 rad/s. Here 5 V are half of 10 V. */
static void half_duty_is_half_the_voltage_of_the_worked_example(void **state)
{
  (void)state;
  const struct plant plant = {20.0, 0.5, 0.0};
  const struct sb_drive drive = {.limit_fraction = 0.5, .period_s = 5e-3};
  const struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  assert_near(plant_after(&plant, at.duty, 0.0, 0.5), 6.32121, 5e-6);
  assert_near(plant_after(&plant, at.duty, 0.0, 20.0), 10.0, 1e-12);
}

/* Ticks until 10 s at speeds that swing; which tick was the first that the drive called itself settled at, -1: none was. */
static int first_settled_tick(const struct sb_drive *drive)
{
  struct sb_drive_state now = sb_drive_start(drive, 0.0);
  int first = -1;
  for (int n = 1; n <= 2000; n++) {
    const double time_s = n * drive->period_s;
    const bool was_settled = sb_drive_is_settled(drive, &now, time_s - drive->period_s);
    const struct sb_drive_state next = sb_drive_tick(drive, &now, time_s, 10.0 * sin(time_s), n % 2 == 0);
    if (was_settled) {
      assert_int_equal(next.command, now.command);
      assert_near(next.duty, now.duty, 0.0);
      assert_near(next.integral_rad, now.integral_rad, 0.0);
    }
    if (was_settled && first < 0) first = n - 1;
    if (first >= 0) assert_true(was_settled);
    now = next;
  }
  return first;
}

static void a_settled_drive_stays_as_it_is(void **state)
{
  (void)state;
  struct sb_drive drive = open_drive();
  assert_int_equal(first_settled_tick(&drive), 0);
  drive.ramp_s = 1.0; /* 0.8 of it, in ticks of 5 ms, the first of which is at the start */
  assert_int_equal(first_settled_tick(&drive), 159);
  drive = ordered_drive();
  assert_int_equal(first_settled_tick(&drive), 1400); /* the last command, at 7 s */
  drive.ramp_s = 1.0;
  assert_int_equal(first_settled_tick(&drive), 1400 + 159);
  drive.mode = SB_DRIVE_SPEED_CONTROL;
  drive.target_rad_s = 20.0;
  drive.gain_per_rad_s = 0.05;
  assert_int_equal(first_settled_tick(&drive), -1);
}

/* ---- the inner loop ---- */

/* Runs the loop from a settled speed to a new target near it; the speed after time_s. */
static double stepped_speed(const struct plant *plant, struct sb_drive drive, double from_rad_s, double time_s)
{
  const double held = (from_rad_s + plant->drop_rad_s) / plant->top_rad_s;
  struct sb_drive_state at = {
      .duty = held, .integral_rad = held / drive.integral_per_rad, .command = SB_COMMAND_FORWARD};
  double speed = from_rad_s;
  const long ticks = lround(time_s / drive.period_s);
  for (long k = 0; k < ticks; k++) {
    at = sb_drive_tick(&drive, &at, drive.period_s * (double)k, speed, false);
    speed = plant_after(plant, at.duty, speed, drive.period_s);
  }
  return speed;
}

/*
 * First-order plant K / (tau s + 1) under Kp + Ki / s: the error after a step of the target by r is
 *
 *   E(s) = r (s + 1 / tau) / (s^2 + 2 sigma s + K Ki / tau),   sigma = (1 + K Kp) / (2 tau)
 *   e(t) = r exp(-sigma t) (cos wd t + (1 / tau - sigma) / wd sin wd t),   wd^2 = K Ki / tau - sigma^2
 *
 * (and hyperbolic functions where wd^2 < 0): the standard second-order response, as in K. J. Astrom, T. Hagglund, PID
 * Controllers: Theory, Design, and Tuning, chapter 2 (from memory). Ticks make an error of first order in their period,
 * which two periods take off: 2 fine - coarse is of second order.
 */
static double closed_loop_error(const struct plant *plant, const struct sb_drive *drive, double step, double t)
{
  const double sigma = (1.0 + plant->top_rad_s * drive->gain_per_rad_s) / (2.0 * plant->tau_s);
  const double square = plant->top_rad_s * drive->integral_per_rad / plant->tau_s - sigma * sigma;
  const double w = sqrt(fabs(square));
  const double even = square > 0.0 ? cos(w * t) : cosh(w * t), odd = square > 0.0 ? sin(w * t) : sinh(w * t);
  return step * exp(-sigma * t) * (even + (1.0 / plant->tau_s - sigma) / w * odd);
}

static void the_loop_follows_a_step_as_the_second_order_response(void **state)
{
  (void)state;
  const struct plant plant = {40.0, 0.2, 3.0};
  static const double integral_times[] = {0.02, 0.05, 0.2, 2.0}; /* swinging to creeping */
  for (size_t i = 0; i < sizeof integral_times / sizeof *integral_times; i++) {
    struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                             .limit_fraction = 1.0,
                             .target_rad_s = 21.0,
                             .gain_per_rad_s = 0.05,
                             .integral_per_rad = 0.05 / integral_times[i]};
    for (double t = 0.05; t < 0.6; t += 0.05) {
      drive.period_s = 2e-5;
      const double coarse = stepped_speed(&plant, drive, 20.0, t);
      drive.period_s = 1e-5;
      const double fine = stepped_speed(&plant, drive, 20.0, t);
      const double want = drive.target_rad_s - closed_loop_error(&plant, &drive, 1.0, t);
      /* Second order: (2e-5 s over the fastest time, 0.02 s)^2, a millionth, times a factor of some units. */
      assert_near(2.0 * fine - coarse, want, 5e-6);
      assert_true(fabs(fine - want) < 2e-2);
    }
  }
}

/* With Ti = tau the integral takes off the motor's own pole, and one time constant, tau / (K Kp), is left. */
static void an_integral_time_like_the_motors_leaves_one_time_constant(void **state)
{
  (void)state;
  const struct plant plant = {40.0, 0.2, 0.0};
  struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                           .limit_fraction = 1.0,
                           .target_rad_s = 21.0,
                           .gain_per_rad_s = 0.05,
                           .integral_per_rad = 0.05 / 0.2};
  for (double t = 0.05; t < 0.5; t += 0.05) {
    drive.period_s = 2e-5;
    const double coarse = stepped_speed(&plant, drive, 20.0, t);
    drive.period_s = 1e-5;
    const double fine = stepped_speed(&plant, drive, 20.0, t);
    assert_near(2.0 * fine - coarse, 21.0 - exp(-t * 40.0 * 0.05 / 0.2), 5e-6);
  }
}

/* Between ticks the plant's solution is exact, so the errors obey the loop's difference equation to rounding. */
static void sampled_errors_obey_the_characteristic_polynomial(void **state)
{
  (void)state;
  const struct plant plant = {40.0, 0.2, 3.0};
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 1.0,
                                 .target_rad_s = 21.0,
                                 .gain_per_rad_s = 0.07,
                                 .integral_per_rad = 1.1,
                                 .period_s = 0.01};
  const double a = exp(-0.01 / 0.2), g = (1.0 - a) * 40.0;
  double e[60], speed = 20.0;
  struct sb_drive_state at = {.duty = 23.0 / 40.0, .integral_rad = 23.0 / 40.0 / 1.1, .command = SB_COMMAND_FORWARD};
  for (int k = 0; k < 60; k++) {
    e[k] = drive.target_rad_s - speed;
    at = sb_drive_tick(&drive, &at, 0.01 * k, speed, false);
    speed = plant_after(&plant, at.duty, speed, 0.01);
  }
  assert_true(fabs(e[10]) > 1e-3);
  for (int k = 0; k + 2 < 60; k++) {
    const double want = (1.0 + a - g * 0.07) * e[k + 1] - (a - g * 0.07 + g * 1.1 * 0.01) * e[k];
    assert_near(e[k + 2], want, 1e-13); /* differences of speeds of 20 */
  }
}

static void without_an_integral_an_offset_stays(void **state)
{
  (void)state;
  const struct plant plant = {40.0, 0.2, 3.0};
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 1.0,
                                 .target_rad_s = 20.0,
                                 .gain_per_rad_s = 0.05,
                                 .period_s = 1e-3};
  struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  double speed = 0.0;
  for (int k = 1; k <= 5000; k++) {
    speed = plant_after(&plant, at.duty, speed, drive.period_s);
    at = sb_drive_tick(&drive, &at, 1e-3 * k, speed, false);
  }
  assert_near(speed, (40.0 * 0.05 * 20.0 - 3.0) / (1.0 + 40.0 * 0.05), 1e-12); /* Kp K e = w + drop */
}

/*
 * An overload of a minute holds the duty at its limit. Conditional integration (Astrom and Hagglund, chapter 3, from
 * memory) keeps the integral at what the limit takes, so that the duty leaves the limit as soon as the load is gone, and
 * the speed comes back as the closed form says from where it was.
 */
static void a_long_overload_winds_nothing_up(void **state)
{
  (void)state;
  struct plant plant = {40.0, 0.2, 3.0};
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 0.9,
                                 .target_rad_s = 20.0,
                                 .gain_per_rad_s = 0.05,
                                 .integral_per_rad = 0.25,
                                 .period_s = 1e-3};
  struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  double speed = 0.0, integral_soon = 0.0;
  plant.drop_rad_s = 25.0; /* 0.9 of 40 is 36: 11 rad/s are left */
  for (int k = 1; k <= 60000; k++) {
    speed = plant_after(&plant, at.duty, speed, drive.period_s);
    at = sb_drive_tick(&drive, &at, 1e-3 * k, speed, false);
    if (k == 5000) integral_soon = at.integral_rad;
  }
  assert_near(speed, 11.0, 1e-9);
  assert_near(at.duty, 0.9, 0.0);
  assert_near(at.integral_rad, integral_soon, 1e-9); /* the speed's last approach, exp(-25) of 9 rad/s, apart */
  assert_true(drive.integral_per_rad * at.integral_rad <= 0.9);

  /* From there e" + 15 e' + 50 e = 0 with e = 9, e' = -110: e = 13 exp(-10 t) - 4 exp(-5 t), least -4^2 / (4 13). Ticks
     of 1 ms are a hundredth of the faster time constant. */
  plant.drop_rad_s = 3.0;
  double greatest = 0.0;
  int left = -1;
  for (int k = 1; k <= 3000; k++) {
    speed = plant_after(&plant, at.duty, speed, drive.period_s);
    at = sb_drive_tick(&drive, &at, 60.0 + 1e-3 * k, speed, false);
    greatest = fmax(greatest, speed);
    if (left < 0 && at.duty < 0.9) left = k;
  }
  assert_true(left >= 1 && left <= 2);
  assert_near(greatest, 20.0 + 16.0 / 52.0, 1e-2);
  assert_near(speed, 20.0, 2e-6); /* 4 exp(-15) is left */
}

static void too_fast_a_motor_gets_no_duty_and_winds_nothing_down(void **state)
{
  (void)state;
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 1.0,
                                 .target_rad_s = 20.0,
                                 .gain_per_rad_s = 0.05,
                                 .integral_per_rad = 0.25,
                                 .period_s = 1e-3};
  struct sb_drive_state at = {.integral_rad = 0.2, .command = SB_COMMAND_FORWARD};
  for (int k = 0; k < 1000; k++) at = sb_drive_tick(&drive, &at, 1e-3 * k, 30.0, false);
  assert_near(at.duty, 0.0, 0.0);
  assert_near(at.integral_rad, 0.2, 0.0);
}

/* While a ramp bounds the duty the integral waits as at any bound. */
static void a_ramp_holds_the_loop_back_without_winding_it_up(void **state)
{
  (void)state;
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 1.0,
                                 .target_rad_s = 20.0,
                                 .gain_per_rad_s = 0.2,
                                 .integral_per_rad = 1.0,
                                 .period_s = 1e-2,
                                 .ramp_s = 1.0};
  struct sb_drive_state at = sb_drive_start(&drive, 0.0);
  for (int k = 1; k < 50; k++) {
    assert_near(at.duty, 0.01 * k, 1e-14);
    assert_near(at.integral_rad, 0.0, 0.0);
    at = sb_drive_tick(&drive, &at, 0.01 * k, 0.0, false);
  }
  at = sb_drive_tick(&drive, &at, 1.0, 19.0, false); /* it falls at once: Kp e alone */
  assert_near(at.duty, 0.2, 1e-15);
}

/* Turned over, the loop does in the other sense what it does in the first. */
static void the_loop_reversed_is_its_mirror_image(void **state)
{
  (void)state;
  static const double times[] = {0.0}, backward[] = {SB_COMMAND_REVERSE};
  const struct plant plant = {40.0, 0.2, 0.0};
  struct sb_drive ahead = {.mode = SB_DRIVE_SPEED_CONTROL,
                           .limit_fraction = 0.8,
                           .target_rad_s = 20.0,
                           .gain_per_rad_s = 0.05,
                           .integral_per_rad = 0.5,
                           .period_s = 2e-3,
                           .ramp_s = 0.3};
  struct sb_drive back = ahead;
  back.schedule = (struct sb_table){1, times, backward};
  struct sb_drive_state a = sb_drive_start(&ahead, 0.0), b = sb_drive_start(&back, 0.0);
  double speed_a = 0.0, speed_b = 0.0;
  for (int k = 1; k < 500; k++) {
    assert_near(b.duty, -a.duty, 0.0);
    assert_near(b.integral_rad, a.integral_rad, 0.0);
    speed_a = plant_after(&plant, a.duty, speed_a, ahead.period_s);
    speed_b = plant_after(&plant, b.duty, speed_b, back.period_s);
    a = sb_drive_tick(&ahead, &a, 2e-3 * k, speed_a, false);
    b = sb_drive_tick(&back, &b, 2e-3 * k, speed_b, false);
  }
  assert_near(speed_a, 20.0, 0.1);
}

static void a_new_command_forgets_the_integral(void **state)
{
  (void)state;
  static const double times[] = {0.0, 1.0, 2.0}, values[] = {SB_COMMAND_FORWARD, SB_COMMAND_STOP, SB_COMMAND_FORWARD};
  const struct sb_drive drive = {.mode = SB_DRIVE_SPEED_CONTROL,
                                 .limit_fraction = 1.0,
                                 .target_rad_s = 20.0,
                                 .gain_per_rad_s = 0.01,
                                 .integral_per_rad = 0.25,
                                 .period_s = 1e-3,
                                 .schedule = {3, times, values}};
  struct sb_drive_state at = {.duty = 0.6, .integral_rad = 2.0, .command = SB_COMMAND_FORWARD};
  at = sb_drive_tick(&drive, &at, 1.0, 20.0, false);
  assert_near(at.integral_rad, 0.0, 0.0);
  at = sb_drive_tick(&drive, &at, 1.5, 10.0, false);
  assert_near(at.integral_rad, 0.0, 0.0); /* nothing is held while stopped */
  at = sb_drive_tick(&drive, &at, 2.0, 10.0, false);
  assert_near(at.duty, 0.1, 1e-16);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(without_a_schedule_it_goes_forward),
      cmocka_unit_test(a_command_is_in_force_from_its_time_to_the_next),
      cmocka_unit_test(a_rounded_tick_is_the_tick_of_its_command),
      cmocka_unit_test(reverse_turns_the_duty_over_and_stop_takes_it_away),
      cmocka_unit_test(commands_to_go_forward_alone_change_nothing),
      cmocka_unit_test(a_ramp_raises_the_duty_by_its_share_each_tick_up_to_the_limit),
      cmocka_unit_test(a_new_command_ramps_from_nothing),
      cmocka_unit_test(a_settled_drive_stays_as_it_is),
      cmocka_unit_test(a_ramped_start_follows_the_ramp_response),
      cmocka_unit_test(half_duty_is_half_the_voltage_of_the_worked_example),
      cmocka_unit_test(the_loop_follows_a_step_as_the_second_order_response),
      cmocka_unit_test(an_integral_time_like_the_motors_leaves_one_time_constant),
      cmocka_unit_test(sampled_errors_obey_the_characteristic_polynomial),
      cmocka_unit_test(without_an_integral_an_offset_stays),
      cmocka_unit_test(a_long_overload_winds_nothing_up),
      cmocka_unit_test(too_fast_a_motor_gets_no_duty_and_winds_nothing_down),
      cmocka_unit_test(a_ramp_holds_the_loop_back_without_winding_it_up),
      cmocka_unit_test(the_loop_reversed_is_its_mirror_image),
      cmocka_unit_test(a_new_command_forgets_the_integral),
  };
  return cmocka_run_group_tests_name("drive", tests, NULL, NULL);
}
