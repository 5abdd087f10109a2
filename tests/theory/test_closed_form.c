// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Closed forms of settled points, thresholds and run-ups against published worked examples, against roots found by the
 * GNU Scientific Library, and against each other on seeded random boxes.
 *
 * Example numbers and page numbers are those of the editions named; where a book rounds or uses 3.14 for pi, the value
 * here is the exact one for its data, and the limit is half a unit of its last digit unless said otherwise.
 */
#include <math.h>

#include <gsl/gsl_rng.h>

#include "help/box.h"
#include "help/dice.h"
#include "help/near.h"
#include "help/plane.h"
#include "oracle/brent.h"
#include "shiftband/closed_form.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double rad_s_per_rpm = 3.14159265358979323846 / 30.0;

static double settled_rpm(const struct sb_model *model, int gear, double external_nm)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  return sb_steady_reading(model, &line, gear, external_nm) * model->control.sensor.reference_rad_s / rad_s_per_rpm;
}

static double climb_s(const struct sb_model *model, int gear, double external_nm, double from_rad_s, double to_rad_s)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const struct sb_load_moment load = {.acting_nm = external_nm};
  return sb_theory_climb_s(model, &line, gear, &load, from_rad_s, to_rad_s);
}

/* ---- worked examples: settled points ---- */

/* S. P. Burman, Special Electrical Machines, example 4.5, p. 218: k = 0.190986, 60 V, 2.5 ohm, 0.5 N.m: 2672.75 rpm. */
static void a_loaded_motor_settles_where_the_worked_example_does(void **state)
{
  (void)state;
  struct sb_model model = box_constants(60.0, 120.0 / (6000.0 * rad_s_per_rpm), 2.5, 0.0, 1e-3, 1e-3);
  box_add_gear(&model, 1.0, 1.0);
  assert_near(settled_rpm(&model, 0, 0.5), 2672.75, 0.005);
}

/*
 * A. R. Hambley, Electrical Engineering, example 16.4, p. 722: 280 V at 1200 rpm, 240 V, 0.065 ohm, a loss torque of
 * 1450 W at 1200 rpm, a hoist's 250 N.m: 995.873 rpm.
 */
static void a_hoisting_motor_with_friction_settles_where_the_worked_example_does(void **state)
{
  (void)state;
  const double k = 280.0 / (1200.0 * rad_s_per_rpm);
  struct sb_model model = box_constants(240.0, k, 0.065, 1450.0 / (1200.0 * rad_s_per_rpm), 1.0, 1.0);
  box_add_gear(&model, 1.0, 1.0);
  assert_near(settled_rpm(&model, 0, 250.0), 995.873, 0.0005);
}

/*
 * A source's resistance counts as the motor's own (the sagging source of C. R. Robertson, Fundamental Electrical and
 * Electronic Principles, example 1.9, p. 16, in the motor's loop): 2.5 ohm behind 0.5 ohm is a motor of 3 ohm, with the
 * same no-load speed.
 */
static void a_sagging_supply_is_a_motor_of_more_resistance(void **state)
{
  (void)state;
  const double k = 0.190986;
  struct sb_model sagging = box_constants(60.0, k, 2.5, 0.0, 1e-3, 1e-3);
  sagging.supply.internal_resistance_ohm = 0.5;
  struct sb_model plain = box_constants(60.0, k, 3.0, 0.0, 1e-3, 1e-3);
  box_add_gear(&sagging, 2.0, 0.9);
  box_add_gear(&plain, 2.0, 0.9);
  const struct sb_closed_form got = sb_closed_form_solve(&sagging);
  const struct sb_closed_form want = sb_closed_form_solve(&plain);
  assert_near_rel(got.stall_torque_nm, k * 60.0 / 3.0, 1e-14); /* k E / (R + r), rounding of a few operations */
  assert_near_rel(got.stall_torque_nm, want.stall_torque_nm, 1e-14);
  assert_near(got.no_load_fraction, 1.0, 1e-14);
  assert_near_rel(settled_rpm(&sagging, 0, 1.0), settled_rpm(&plain, 0, 1.0), 1e-14);
  assert_near_rel(got.gears[0].time_constant_s, want.gears[0].time_constant_s, 1e-14);
}

/*
 * G. K. Dubey, Fundamentals of Electrical Drives, example 2.1, p. 16: motor at 1420 rpm with 10 N.m through a reduction
 * of 0.1 at 0.9, and 1000 kg at 1.5 m/s at 0.85: 117.530 N.m together.
 */
static void loads_reflect_through_efficiency_as_in_the_worked_example(void **state)
{
  (void)state;
  const double motor_rad_s = 1420.0 * rad_s_per_rpm;
  struct sb_model turning = box_line(2.0 * motor_rad_s, 1.0, 0.2, 10.0);
  box_add_gear(&turning, 10.0, 0.9);
  struct sb_model hoisting = box_line(2.0 * motor_rad_s, 1.0, 0.2, 1.0);
  box_add_gear(&hoisting, 1.0, 0.85);
  const double drum_m = 1.5 / motor_rad_s;
  /* The voltage at which the motor holds each load at its speed tells the torque: T = Ts (V / Vn - w / w0), w / w0 = 1/2. */
  double total_nm = 0.0;
  const struct sb_model *const boxes[] = {&turning, &hoisting};
  const double loads_nm[] = {10.0, 1000.0 * 9.81 * drum_m};
  for (int k = 0; k < 2; k++) {
    struct sb_model at = *boxes[k];
    box_add_constant(&at, loads_nm[k], false);
    at.control.upshift_fraction[0] = at.control.downshift_fraction[0] = 0.5;
    box_add_gear(&at, at.gearbox.gears[0].ratio, at.gearbox.gears[0].efficiency);
    const struct sb_closed_form form = sb_closed_form_solve(&at);
    total_nm += form.pairs[0].least_voltage_upshift_v / 12.0 - 0.5;
  }
  assert_near(total_nm, 117.530, 0.0005);
}

/* ---- worked examples: motion ---- */

/* GATE 2020, electrical engineering, question 34: 10 rad/s in the end, 6.32121 rad/s (1 - 1/e of it) at 0.5 s. */
static void a_run_up_takes_one_time_constant_to_sixty_three_percent(void **state)
{
  (void)state;
  struct sb_model model = box_line(10.0, 1.0, 0.02, 0.03); /* J w0 / Ts = 0.5 s, shared by both sides */
  box_add_gear(&model, 1.0, 1.0);
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near(form.gears[0].time_constant_s, 0.5, 1e-15);
  assert_near(climb_s(&model, 0, 0.0, 0.0, 6.32121), 0.5, 1e-6); /* six digits of 6.32121 over its slope, 7.36 rad/s2 */
}

/* Control Tutorials (University of Michigan), DC motor speed, without its inductance: gain and time constant 0.0999001. */
static void viscous_load_shortens_the_time_constant_as_in_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_constants(1.0, 0.01, 1.0, 0.0, 0.004, 0.006);
  box_add_gear(&model, 1.0, 1.0);
  box_add_viscous(&model, 0.1);
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near(form.gears[0].time_constant_s, 0.0999001, 5e-8);
  assert_near(form.gears[0].lightest_speed_rad_s, 0.0999001, 5e-8);
}

/*
 * A. E. Fitzgerald, C. Kingsley, S. D. Umans, Electric Machinery, example 11.6, p. 575: load torque in proportion to
 * speed, 285 N.m at 2500 rpm; 410.075 V gives 2000 rpm and 512.594 V gives 2500 rpm; the time constant is 20.664 ms.
 */
static void a_motor_with_a_viscous_load_steps_as_in_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_constants(512.594, 1.91009, 0.084, 0.0, 0.5, 0.42);
  box_add_gear(&model, 1.0, 1.0);
  box_add_viscous(&model, 285.0 / (2500.0 * rad_s_per_rpm));
  assert_near(settled_rpm(&model, 0, 0.0), 2500.0, 0.005); /* six digits of the voltage */
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near(form.gears[0].time_constant_s, 20.664e-3, 0.5e-6);
  const double start = 2000.0 * rad_s_per_rpm;
  const double end = form.gears[0].lightest_reading * model.control.sensor.reference_rad_s;
  assert_near(climb_s(&model, 0, 0.0, start, end - (end - start) * exp(-1.0)), 20.664e-3, 0.5e-6);
  model.supply.open_circuit_voltage_v = 410.075;
  assert_near(settled_rpm(&model, 0, 0.0), 2000.0, 0.005);
}

/*
 * B. L. Theraja, Electrical Technology, vol. III, example 45.18, p. 1815: 750 rpm without load, 75 rpm less at 1400 N.m,
 * 2100 kg.m2; in the 30 s at 280 N.m the speed rises from 691.770 to 731.613 rpm, and so on.
 */
static void a_flywheel_drive_recovers_as_in_the_worked_example(void **state)
{
  (void)state;
  static const double rises_rpm[3][2] = {{691.770, 731.613}, {683.902, 730.996}, {683.638, 730.975}};
  struct sb_model model = box_line(750.0 * rad_s_per_rpm, 14000.0, 2000.0, 100.0);
  box_add_gear(&model, 1.0, 1.0);
  assert_near(settled_rpm(&model, 0, 1400.0), 675.0, 1e-9);
  for (int k = 0; k < 3; k++) {
    /* 0.5e-3 rpm in 3.4 rpm still to go, times a time constant of 11.8 s, at both ends: 3 ms. */
    assert_near(climb_s(&model, 0, 280.0, rises_rpm[k][0] * rad_s_per_rpm, rises_rpm[k][1] * rad_s_per_rpm), 30.0,
                3e-3);
  }
}

/*
 * The same book, example 45.20, p. 1817: 50 kW at 960 rpm, 1000 rpm without load, 1908.85 kg.m2; after the peak the motor's
 * torque falls from twice the rated 497.359 N.m to 700 N.m under 300 N.m in 8.87487 s.
 */
static void the_time_to_a_torque_level_is_that_of_the_worked_example(void **state)
{
  (void)state;
  const double rated_nm = 50e3 / (960.0 * rad_s_per_rpm);
  struct sb_model model = box_line(1000.0 * rad_s_per_rpm, 25.0 * rated_nm, 900.0, 1008.85);
  box_add_gear(&model, 1.0, 1.0);
  const double from = (1000.0 - 80.0) * rad_s_per_rpm;
  const double to = (1000.0 - 40.0 * 700.0 / rated_nm) * rad_s_per_rpm;
  assert_near_rel(climb_s(&model, 0, 300.0, from, to), 8.87487, 5e-6); /* six digits of the inertia */
}

/*
 * R. S. Khurmi, J. K. Gupta, Theory of Machines, example 3.17, p. 55: a motor of 30 N.m and 0.6 kg.m2 drives 100 N.m and
 * 45 kg.m2 through 9:1 at 0.95: 60 rpm after 3.66031 s. The constant torque is a line of very high no-load speed.
 */
static void a_geared_start_takes_the_time_of_the_worked_example(void **state)
{
  (void)state;
  struct sb_model model = box_line(1e9, 30.0, 0.6, 45.0);
  box_add_gear(&model, 9.0, 0.95);
  assert_near(climb_s(&model, 0, 100.0, 0.0, 9.0 * 60.0 * rad_s_per_rpm), 3.66031, 5e-6);
}

/*
 * T. Bevan, The Theory of Machines, example 10, p. 48: 150 lb fall on a radius of 8 in; drum 200 lb.ft2, driving
 * 15 lb.ft2 at 5:1: 3.34545 ft/s2 without loss, 3.14146 with an efficiency of 0.9 (g = 32.2 ft/s2).
 */
static void a_load_that_drives_the_motor_falls_as_in_the_worked_example(void **state)
{
  (void)state;
  const double foot = 0.3048;
  const double pound = 0.45359237;
  const double radius = 8.0 / 12.0 * foot;
  const struct {
    double efficiency;
    double acceleration_ft_s2;
  } cases[] = {{1.0, 3.34545}, {0.9, 3.14146}};
  for (int k = 0; k < 2; k++) {
    struct sb_model model =
        box_line(100.0, 1.0, 15.0 * pound * foot * foot, 200.0 * pound * foot * foot + 150.0 * pound * radius * radius);
    box_add_gear(&model, 5.0, cases[k].efficiency);
    const struct sb_motor_line open = sb_motor_line_open(&model.motor);
    const struct sb_load_moment weight = {.acting_nm = -150.0 * pound * 32.2 * foot * radius};
    const double speed = 2.0; /* m/s of the weight */
    const double time_s = sb_theory_climb_s(&model, &open, 0, &weight, 0.0, 5.0 * speed / radius);
    assert_near_rel(speed / time_s / foot, cases[k].acceleration_ft_s2, 2e-6); /* six digits */
  }
}

/* ---- against numeric solution ---- */

struct settle {
  const struct sb_model *model;
  struct sb_motor_line line;
  int gear;
  double external_nm;
  double viscous;
  double quadratic;
};

/* Torque that is left at the output, written from the path's relations alone. */
static double torque_left(double motor_rad_s, void *params)
{
  const struct settle *at = params;
  const struct sb_gear *path = &at->model->gearbox.gears[at->gear];
  const double given = sb_motor_torque_nm(&at->line, motor_rad_s) - path->drag_nm;
  const double e = given > 0.0 ? path->efficiency : 1.0 / path->back_efficiency;
  const double w = motor_rad_s / path->ratio;
  return path->ratio * e * given - at->external_nm - at->viscous * w - at->quadratic * w * w;
}

static void settled_points_are_the_roots_that_gsl_finds(void **state)
{
  (void)state;
  const double outside[] = {-6.0, -1.0, -0.2, 0.0, 0.3, 1.1, 1.6};
  const double speed_terms[][2] = {{0.0, 0.0}, {0.01, 0.0}, {0.0, 4e-4}, {0.006, 2e-4}};
  for (size_t k = 0; k < sizeof speed_terms / sizeof speed_terms[0]; k++) {
    struct sb_model model = box_cart();
    model.gearbox.gears[1].drag_nm = 0.013;
    model.gearbox.gears[1].back_efficiency = 0.7;
    box_add_viscous(&model, speed_terms[k][0]);
    box_add_quadratic(&model, speed_terms[k][1]);
    for (size_t n = 0; n < sizeof outside / sizeof outside[0]; n++) {
      struct settle at = {&model, sb_torque_balance_line(&model), 1, outside[n], speed_terms[k][0], speed_terms[k][1]};
      const double want = brent(torque_left, &at, 1e-9, 1e5);
      const double got = sb_steady_reading(&model, &at.line, 1, outside[n]);
      /* Brent's own relative interval and the rounding of the balance, which is some 1e-15 of a few N.m. */
      assert_near_rel(got * model.control.sensor.reference_rad_s, want, 1e-13);
    }
  }
}

/* ---- thresholds ---- */

/* Without drag the band is empty from u = v - (v - d) Kf / Ks on: both gears then turn over at the same torque. */
static void the_band_empties_where_the_two_lines_meet(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.supply.open_circuit_voltage_v = 11.0;
  const struct sb_gear *gears = model.gearbox.gears;
  const double kf_ks = gears[1].ratio * gears[1].efficiency / (gears[0].ratio * gears[0].efficiency);
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  const double v = form.no_load_fraction;
  const double u = v - (v - 0.6) * kf_ks;
  assert_near(form.pairs[0].least_safe_upshift, u, 1e-14);
  assert_near(form.pairs[0].greatest_safe_downshift, v - (v - 0.9) / kf_ks, 1e-14);
  model.control.upshift_fraction[0] = u + 1e-9;
  assert_false(sb_closed_form_solve(&model).pairs[0].has_band);
  model.control.upshift_fraction[0] = u - 1e-9;
  assert_true(sb_closed_form_solve(&model).pairs[0].has_band);
}

/* Td = ((1 - d / v) Tv - Df) Kf and Tu = ((1 - u / v) Tv - Ds) Ks, from two points of each line. */
static void thresholds_carry_what_the_lines_give(void **state)
{
  (void)state;
  struct sb_model model = box_line(40.0, 0.5, 1e-4, 1e-3);
  box_add_gear(&model, 12.0, 0.85);
  box_add_gear(&model, 5.0, 0.9);
  model.gearbox.gears[0].drag_nm = 0.01;
  model.gearbox.gears[1].drag_nm = 0.02;
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near_rel(form.pairs[0].downshift_torque_nm, ((1.0 - 0.6) * 0.5 - 0.02) * 5.0 * 0.9, 1e-14);
  assert_near_rel(form.pairs[0].upshift_torque_nm, ((1.0 - 0.9) * 0.5 - 0.01) * 12.0 * 0.85, 1e-13);
  assert_near_rel(form.gears[0].stall_torque_nm, (0.5 - 0.01) * 12.0 * 0.85, 1e-14);
}

static void a_box_has_one_pair_less_than_gears(void **state)
{
  (void)state;
  const struct sb_pair_figures none = {.has_band = false};
  const struct sb_model model = box_cart();
  const struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_int_equal(model.gearbox.gear_count, 2);
  assert_memory_not_equal(&form.pairs[0], &none, sizeof none);
  for (int p = 1; p < SB_GEAR_MAX - 1; p++) assert_memory_equal(&form.pairs[p], &none, sizeof none);
}

static void a_resting_load_that_outweighs_the_gear_never_starts(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const double stall = sb_closed_form_solve(&model).gears[1].stall_torque_nm;
  const struct sb_load_moment stuck = {.resisting_nm = 0.1, .hold_nm = stall * (1.0 + 1e-9)};
  const struct sb_load_moment loose = {.resisting_nm = 0.1, .hold_nm = stall * (1.0 - 1e-9)};
  struct sb_model even = box_line(100.0, 1.0, 1e-3, 1e-2);
  box_add_gear(&even, 2.0, 1.0);
  const struct sb_motor_line even_line = sb_torque_balance_line(&even);
  const struct sb_load_moment just_held = {.resisting_nm = 0.1, .hold_nm = 2.0};
  assert_true(isinf(sb_theory_climb_s(&even, &even_line, 0, &just_held, 0.0, 10.0)));
  assert_true(isinf(sb_theory_climb_s(&model, &line, 1, &stuck, 0.0, 10.0)));
  assert_true(isfinite(sb_theory_climb_s(&model, &line, 1, &loose, 0.0, 10.0)));
  assert_near(sb_steady_reading(&model, &line, 1, stall * (1.0 + 1e-9)), 0.0, 0.0);
  assert_true(sb_steady_reading(&model, &line, 1, stall * (1.0 - 1e-9)) > 0.0);
}

/* A path that the output can't drive lets a helping load do no more than take the motor's own work off it. */
static void a_path_that_locks_runs_free_under_a_helping_load(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.gearbox.gears[0].back_efficiency = 0.0;
  model.gearbox.gears[0].drag_nm = 0.03;
  struct sb_motor_line line = sb_torque_balance_line(&model);
  const double free_rad_s = (sb_motor_stall_torque_nm(&line) - 0.03) / line.slope_nms_rad;
  const double free_reading = free_rad_s / model.control.sensor.reference_rad_s;
  assert_near(sb_steady_reading(&model, &line, 0, -5.0), free_reading, 1e-15);
  assert_true(isinf(sb_steady_load_nm(&model, &line, 0, 1.1 * free_reading)));
  /* At a voltage that does not overcome friction and drag it stands. */
  model.supply.open_circuit_voltage_v = 0.5;
  line = sb_torque_balance_line(&model);
  assert_near(sb_steady_reading(&model, &line, 0, -5.0), 0.0, 0.0);
}

static void figures_at_both_ends_of_the_load_are_told_apart(void **state)
{
  (void)state;
  static const double x[] = {0.0, 5.0};
  static const double torque[] = {0.2, 0.8};
  struct sb_model model = box_line(40.0, 0.5, 0.6, 45.0);
  box_add_gear(&model, 9.0, 0.95);
  box_add_gear(&model, 4.0, 1.0);
  box_add_part(&model, "profile", (struct sb_load_part){.is_resisting = true, .table = {2, x, torque}});
  struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_near(form.gears[0].inertia_kg_m2, 0.6 + 45.0 / (81.0 * 0.95), 1e-15); /* Khurmi and Gupta, example 3.17 */
  assert_near(form.gears[1].lightest_reading, 1.0 - 0.2 / 2.0, 1e-15);
  assert_near(form.gears[1].heaviest_reading, 1.0 - 0.8 / 2.0, 1e-15);
  assert_near(form.gears[1].lightest_speed_rad_s, 9.0, 1e-14);
  assert_near(form.gears[1].heaviest_speed_rad_s, 6.0, 1e-14);
  /* 0.8 N m through 4:1 are 0.2 of the 0.5 N m at stall, which are in proportion to the voltage. */
  assert_near_rel(form.gears[1].least_voltage_v, 0.4 * model.supply.open_circuit_voltage_v, 1e-14);

  /* At the limit itself the slow gear never rises above u, and the fast gear is not held. */
  model.load.part_count = 0;
  box_add_constant(&model, form.pairs[0].upshift_torque_nm, true);
  assert_true(sb_closed_form_solve(&model).pairs[0].is_stuck_low);
  model.load.part_count = 0;
  box_add_constant(&model, form.pairs[0].downshift_torque_nm, true);
  form = sb_closed_form_solve(&model);
  assert_true(form.pairs[0].is_needless_downshift);
  assert_true(isnan(form.pairs[0].shortest_dwell_s));
}

static void hopeless_thresholds_give_no_number(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  box_add_constant(&model, 5.0, true); /* above what the fast gear carries at 60 % */
  struct sb_closed_form form = sb_closed_form_solve(&model);
  assert_true(form.pairs[0].is_needless_downshift);
  assert_true(isnan(form.pairs[0].shortest_dwell_s));
  assert_true(isnan(form.pairs[0].shortest_start_delay_s));
  model.load.part_count = 0;
  model.control.downshift_fraction[0] = 1.05;
  model.control.upshift_fraction[0] = 1.1;
  form = sb_closed_form_solve(&model);
  assert_true(isnan(form.pairs[0].least_safe_upshift)); /* the fast gear never holds 105 % by itself */
  assert_true(form.pairs[0].is_stuck_low);
  model.control.downshift_fraction[0] = 0.6;
  model.control.upshift_fraction[0] = 0.1; /* a slow gear that carries more than the fast gear's stall */
  assert_true(isnan(sb_closed_form_solve(&model).pairs[0].greatest_safe_downshift));
}

static void the_lightest_moment_is_found_between_the_corners_of_a_profile(void **state)
{
  (void)state;
  static const double x[] = {0.0, 2.0, 2.0, 4.0};
  static const double torque[] = {0.5, 0.1, 0.8, 0.4};
  struct sb_model model = box_cart();
  box_add_constant(&model, 0.2, false);
  box_add_part(&model, "profile",
               (struct sb_load_part){.is_resisting = true, .table = {4, x, torque}, .breakaway_nm = 0.3});
  const struct sb_load_moment load = sb_closed_form_lightest(&model); /* just before the jump at 2 s */
  assert_near(load.acting_nm, 0.2, 1e-15);
  assert_near(load.resisting_nm, 0.1, 1e-15);
  assert_near(load.hold_nm, 0.3, 1e-15);
  model.load.breakaway_nm = 0.7;
  assert_near(sb_closed_form_lightest(&model).hold_nm, 0.7, 1e-15);

  /* A sine's bound lies between its corners: resistance gives way first. */
  box_add_part(&model, "sine",
               (struct sb_load_part){.is_resisting = true, .mean_nm = 0.3, .amplitude_nm = 0.3, .period = 1.0});
  const struct sb_load_moment waved = sb_closed_form_lightest(&model);
  double least = 0.0;
  double greatest = 0.0;
  sb_load_range_nm(&model.load, model.run.duration_s, &least, &greatest);
  assert_near(waved.acting_nm + waved.resisting_nm, least, 1e-15);
  assert_near(waved.acting_nm, 0.2, 1e-15);
}

/* What is missing between the corners comes off what resists and off what holds at rest alike. */
static void a_wave_holds_at_rest_as_little_as_it_resists(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  box_add_part(&model, "sine",
               (struct sb_load_part){.is_resisting = true, .mean_nm = 0.5, .amplitude_nm = 0.2, .period = 6.0});
  model.load.parts[0].axis = SB_OVER_TURNS;
  const struct sb_load_moment load = sb_closed_form_lightest(&model);
  assert_near(load.resisting_nm, 0.3, 1e-15);
  assert_near(load.hold_nm, 0.3, 1e-15);
  assert_near(load.acting_nm, 0.0, 0.0);
}

/* ---- random boxes ---- */

static struct sb_model random_box(gsl_rng *random)
{
  struct sb_model model = box_random(random, 0.3);
  const double carried_nm = model.motor.stall_torque_nm * model.gearbox.gears[1].ratio;
  model.supply.open_circuit_voltage_v *= plane_between(random, 0.8, 1.1);
  model.drive.limit_fraction = plane_between(random, 0.7, 1.0);
  const bool is_resisting = plane_chance(random, 0.5);
  box_add_constant(&model, carried_nm * plane_between(random, is_resisting ? 0.01 : -0.3, 0.2), is_resisting);
  model.control.downshift_fraction[0] = plane_between(random, 0.2, 0.5);
  model.control.upshift_fraction[0] = plane_between(random, 0.4, 0.7);
  return model;
}

static void random_boxes_agree_with_themselves(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(7);
  int band_count = 0;
  int voltage_count = 0;
  for (int k = 0; k < 2000; k++) {
    struct sb_model model = random_box(random);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    const struct sb_pair_figures *pair = &form.pairs[0];
    const double d = model.control.downshift_fraction[0];
    const double u = model.control.upshift_fraction[0];
    band_count += pair->has_band;

    /* What a gear carries at a reading is what it settles at, in overrun too; some ten roundings of 1e-16, and the
       least reading is a fifth of the greatest. */
    assert_near(sb_steady_reading(&model, &line, 1, pair->downshift_torque_nm), d, 1e-12);
    assert_near(sb_steady_reading(&model, &line, 0, pair->upshift_torque_nm), u, 1e-12);
    const double fast_reading = plane_between(random, 0.05, 1.6);
    const double carried = sb_steady_load_nm(&model, &line, 1, fast_reading);
    assert_near(sb_steady_reading(&model, &line, 1, carried), fast_reading, 1e-12);

    /* At the limits that it names a box stands between the two verdicts. */
    struct sb_model at = model;
    const double torque_scale = form.gears[0].stall_torque_nm;
    if (!isnan(pair->least_safe_upshift)) {
      at.control.upshift_fraction[0] = pair->least_safe_upshift;
      assert_near(sb_closed_form_solve(&at).pairs[0].upshift_torque_nm, pair->downshift_torque_nm,
                  1e-12 * torque_scale);
    }
    at = model;
    if (!isnan(pair->least_voltage_upshift_v)) {
      at.supply.open_circuit_voltage_v = pair->least_voltage_upshift_v;
      assert_near(sb_closed_form_solve(&at).pairs[0].upshift_torque_nm, form.lightest_load_nm, 1e-12 * torque_scale);
      at.supply.open_circuit_voltage_v = pair->least_voltage_upshift_v * (1.0 + 1e-9);
      assert_false(sb_closed_form_solve(&at).pairs[0].is_stuck_low);
    }
    if (!isnan(pair->least_voltage_hold_v)) {
      at.supply.open_circuit_voltage_v = pair->least_voltage_hold_v;
      assert_near(sb_closed_form_solve(&at).pairs[0].downshift_torque_nm, form.lightest_load_nm, 1e-12 * torque_scale);
      at.supply.open_circuit_voltage_v = pair->least_voltage_hold_v * (1.0 - 1e-9);
      assert_true(sb_closed_form_solve(&at).pairs[0].is_needless_downshift);
    }
    if (!isnan(form.gears[1].least_voltage_v) && form.heaviest_load_nm > 0.0) {
      at.supply.open_circuit_voltage_v = form.gears[1].least_voltage_v;
      assert_near(sb_closed_form_solve(&at).gears[1].stall_torque_nm, form.heaviest_load_nm, 1e-12 * torque_scale);
      voltage_count++;
    }
  }
  gsl_rng_free(random);
  assert_true(voltage_count > 500);
  assert_in_range(band_count, 200, 1800); /* both kinds were met */
}

/* A shift and a climb in two parts take as long as in one. */
static void times_add_up_on_random_boxes(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(11);
  for (int k = 0; k < 2000; k++) {
    struct sb_model model = random_box(random);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct sb_load_moment load = sb_closed_form_lightest(&model);
    const double settled =
        sb_steady_reading(&model, &line, 1, load.acting_nm + load.resisting_nm) * model.control.sensor.reference_rad_s;
    const double mid = settled * plane_between(random, 0.05, 0.9);
    const double whole_s = sb_theory_climb_s(&model, &line, 1, &load, 0.0, 0.95 * settled);
    const double parts_s = sb_theory_climb_s(&model, &line, 1, &load, 0.0, mid) +
                           sb_theory_climb_s(&model, &line, 1, &load, mid, 0.95 * settled);
    assert_near_rel(parts_s, whole_s, 1e-12);

    /* With nothing that goes with the square of the speed: tau ln(s_f / (s_f - d)). */
    model.load.parts[1].quadratic_nms2_rad2 = 0.0;
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    const double s_f = form.gears[1].lightest_reading;
    const double d = model.control.downshift_fraction[0];
    if (s_f > d && form.lightest_load_nm >= 0.0) {
      assert_near_rel(form.pairs[0].shortest_start_delay_s, form.gears[1].time_constant_s * log(s_f / (s_f - d)),
                      1e-10);
    }
  }
  gsl_rng_free(random);
}

/* From -w the line brakes to rest, w' = (Ts - Ts w / w0) / J: after tau ln((w0 + w) / w0) it is there, not later. */
static void a_motor_that_turns_back_is_braked_to_rest_in_its_time(void **state)
{
  (void)state;
  struct sb_model model = box_line(100.0, 1.0, 1e-3, 1.6e-2);
  box_add_gear(&model, 4.0, 1.0);
  const double tau_s = 2e-3 * 100.0 / 1.0;
  assert_near_rel(climb_s(&model, 0, 0.0, -30.0, 0.0), tau_s * log(1.3), 1e-12);
  assert_near_rel(climb_s(&model, 0, 0.0, -30.0, 40.0), tau_s * log(1.3 / 0.6), 1e-12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_loaded_motor_settles_where_the_worked_example_does),
      cmocka_unit_test(a_hoisting_motor_with_friction_settles_where_the_worked_example_does),
      cmocka_unit_test(a_sagging_supply_is_a_motor_of_more_resistance),
      cmocka_unit_test(loads_reflect_through_efficiency_as_in_the_worked_example),
      cmocka_unit_test(a_run_up_takes_one_time_constant_to_sixty_three_percent),
      cmocka_unit_test(viscous_load_shortens_the_time_constant_as_in_the_worked_example),
      cmocka_unit_test(a_motor_with_a_viscous_load_steps_as_in_the_worked_example),
      cmocka_unit_test(a_flywheel_drive_recovers_as_in_the_worked_example),
      cmocka_unit_test(the_time_to_a_torque_level_is_that_of_the_worked_example),
      cmocka_unit_test(a_geared_start_takes_the_time_of_the_worked_example),
      cmocka_unit_test(a_load_that_drives_the_motor_falls_as_in_the_worked_example),
      cmocka_unit_test(settled_points_are_the_roots_that_gsl_finds),
      cmocka_unit_test(the_band_empties_where_the_two_lines_meet),
      cmocka_unit_test(thresholds_carry_what_the_lines_give),
      cmocka_unit_test(a_box_has_one_pair_less_than_gears),
      cmocka_unit_test(a_resting_load_that_outweighs_the_gear_never_starts),
      cmocka_unit_test(a_path_that_locks_runs_free_under_a_helping_load),
      cmocka_unit_test(figures_at_both_ends_of_the_load_are_told_apart),
      cmocka_unit_test(hopeless_thresholds_give_no_number),
      cmocka_unit_test(the_lightest_moment_is_found_between_the_corners_of_a_profile),
      cmocka_unit_test(a_wave_holds_at_rest_as_little_as_it_resists),
      cmocka_unit_test(random_boxes_agree_with_themselves),
      cmocka_unit_test(times_add_up_on_random_boxes),
      cmocka_unit_test(a_motor_that_turns_back_is_braked_to_rest_in_its_time),
  };
  return cmocka_run_group_tests_name("closed_form", tests, NULL, NULL);
}
