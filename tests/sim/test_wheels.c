// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Wheels of the box with inertia: those before the shifter turn with the motor, the others with the output. Engaged, the
 * motor sees a wheel after the ratio n through the meshes before it, J / (n^2 eta') driving and J eta_back' / n^2 in overrun.
 */
#include "help/driven.h"
#include "shiftband/closed_form.h"
#include "theory/shift.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <gsl/gsl_randist.h>
#include <string.h>

static const double step_s = 2.5e-4;

static void add_mesh(struct sb_gear *gear, double ratio, double efficiency, double inertia)
{
  gear->meshes[gear->mesh_count++] = (struct sb_mesh){
      .driver_teeth = 10.0, .driven_teeth = 10.0 * ratio, .efficiency = efficiency, .inertia_kg_m2 = inertia};
}

/* Two gears that share their first mesh; the shifter lies behind it. */
static struct sb_model box_of(double shared, double own_slow, double own_fast)
{
  struct sb_model model = {.drive.limit_fraction = 1.0};
  model_set_line_motor(&model, 100.0, 1.0, 1e-3);
  for (int g = 0; g < 2; g++) {
    struct sb_gear *gear = model_add_gear(&model, 2.0, 0.9, false);
    gear->meshes[0].inertia_kg_m2 = shared;
    add_mesh(gear, g == 0 ? 4.0 : 2.0, 0.8, 0.0);
    gear->meshes[1].inertia_kg_m2 = g == 0 ? own_slow : own_fast;
    gear->meshes[1].inertia_at = 1; /* at the shifter's shaft, of a wheel that each gear has for itself */
    add_mesh(gear, 1.5, 0.95, 0.0);
    gear->motor_direction = +1;
    gear->meshes[0].is_internal = true;
  }
  model.gearbox.shifter_after_mesh = 1;
  model_set_shifter(&model, "selector");
  model.shifter.travel_time_s = 0.05;
  model.shifter.is_drive_cut = false;
  model.load.inertia_kg_m2 = 0.1;
  model.control = (struct sb_control){.start_gear = 1, .sample_period_s = 0.01, .debounce_count = 1};
  model.run = (struct sb_run_setup){.duration_s = 4.0, .step_s = step_s};
  model_finish(&model);
  return model;
}

/* Slow: 2, 8, 12; fast: 2, 4, 6. Shared wheel J after 2 at 90 %; own wheels at the same shaft. */
static void a_motor_sees_each_wheel_through_the_meshes_before_it(void **state)
{
  (void)state;
  const double j = 4e-3, slow = 2e-3, fast = 1e-3, jm = 1e-3, jo = 0.1, eta = 0.9 * 0.8 * 0.95;
  const struct sb_model model = box_of(j, slow, fast);
  /* In slow the fast gear's wheel turns with the output, W 3 / r: seen at the output. */
  const double other = fast * 9.0 / (144.0 * eta);
  const double driven = jm + j / (4.0 * 0.9) + slow / (4.0 * 0.9) + other + jo / (144.0 * eta);
  assert_near_rel(sb_model_driven_inertia_kg_m2(&model, 0, jo), driven, 1e-14);
  const struct sb_gear_figures figures = sb_closed_form_solve(&model).gears[0];
  assert_near_rel(figures.inertia_kg_m2, driven, 1e-14);
  assert_near_rel(figures.wheels_inertia_kg_m2, driven - jm - jo / (144.0 * eta), 1e-13);
  assert_near_rel(sb_model_motor_inertia_kg_m2(&model), jm + j / 4.0, 1e-14);
  assert_near_rel(sb_model_output_inertia_kg_m2(&model, jo), jo + slow * 36.0 + fast * 9.0, 1e-14);
  /* The way back loses as much as the way on, in proportion: eta_back = eta, so eta_back' = eta'. */
  const double back = jm + (j + slow) * 0.9 / 4.0 + fast * 9.0 * eta / 144.0 + jo * eta / 144.0;
  assert_near_rel(sb_model_overrun_inertia_kg_m2(&model, 0, jo), back, 1e-14);
  /* It starts at T / J. */
  const struct driven got = drive(&model, 0, NULL, 0, step_s);
  const double tau_s = driven / 0.01;
  assert_near_rel(got.row.motor_speed_rad_s, -100.0 * expm1(-step_s / tau_s), 1e-12);
}

/* The second meshes are alike and lie behind the shifter: they are one where what follows is alike, too, else each gear has its own. */
static void behind_the_shifter_a_wheel_is_shared_with_all_that_follows(void **state)
{
  (void)state;
  const double j = 2e-3, jo = 0.1;
  struct sb_model model = box_of(4e-3, j, j);
  for (int is_shared = 0; is_shared < 2; is_shared++) {
    for (int g = 0; g < 2; g++) {
      struct sb_gear *gear = &model.gearbox.gears[g];
      gear->meshes[1].driven_teeth = 20.0;
      gear->meshes[1].inertia_at = 0; /* at the shaft behind the mesh: the last one follows */
      gear->meshes[2].driven_teeth = is_shared || g == 1 ? 15.0 : 30.0;
    }
    sb_gearbox_derive(&model.gearbox);
    const double wheels = j * 1.5 * 1.5 + (is_shared ? 0.0 : j * 3.0 * 3.0);
    assert_near_rel(sb_model_output_inertia_kg_m2(&model, jo), jo + wheels, 1e-14);
  }
}

/* Before and after a joining motor and output have their wheels: momentum about the pair stays, as in sim.h. */
static void a_joining_takes_the_wheels_of_both_sides_along(void **state)
{
  (void)state;
  struct sb_model model = box_of(4e-3, 2e-3, 1e-3);
  model.shifter.is_drive_cut = true;
  model.run.initial_output_speed_rad_s = 5.0;
  const struct driven got = drive(&model, 0, (struct oracle_command[]){{step_s, 1}}, 1, 0.06);
  const double jm = 1e-3 + 1e-3, jo = 0.1 + 2e-3 * 36.0 + 1e-3 * 9.0, n = 6.0;
  const struct driven before = drive(&model, 0, (struct oracle_command[]){{step_s, 1}}, 1, 0.05);
  const double w = before.row.motor_speed_rad_s, output = before.row.output_speed_rad_s;
  const double joined = (jm * w + jo / n * output) / (jm + jo / (n * n));
  assert_near(driven_time_s(&got.seen, SB_EVENT_ENGAGED, 0), 0.05 + step_s, 1e-12);
  assert_near_rel(got.seen.events[1].motor_speed_rad_s, joined, 1e-12);
  const double reduced = jm * jo / (n * n) / (jm + jo / (n * n)), slip = w - n * output;
  assert_near_rel(got.sums.energy.shift_loss, 0.5 * reduced * slip * slip, 1e-12);
  assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-12);
}

/* Closed forms of a shift and of the climb after it, against the simulation: wheels with motor and output. */
static void a_shift_and_its_climb_take_the_time_that_closed_forms_say(void **state)
{
  (void)state;
  struct sb_model model = box_of(4e-3, 2e-3, 1e-3);
  model_add_constant(&model, 0.8, true);
  model.control.sensor.reference_rad_s = 100.0;
  model_finish(&model);
  const struct sb_motor_line line = sb_motor_line_driven(&model.motor, &model.supply, 1.0);
  const struct sb_load_moment load = {0.0, 0.8, 0.8};
  const double start_rad_s = 60.0;
  model.run.initial_output_speed_rad_s = start_rad_s / 12.0;
  const struct sb_shift_figures shift = sb_theory_shift(&model, &line, 0, 1, &load, start_rad_s);
  const struct oracle_command now = {0.0, 1};
  const struct driven joined = drive(&model, 0, &now, 1, 0.05);
  assert_near(shift.time_s, 0.05, 1e-12);
  assert_near_rel(joined.row.motor_speed_rad_s, shift.joined_speed_rad_s, 1e-12);
  assert_near_rel(joined.sums.energy.shift_loss, shift.lost_j, 1e-12);
  const double climbed_rad_s = 45.0;
  assert_true(shift.joined_speed_rad_s < climbed_rad_s);
  const double climb_s = sb_theory_climb_s(&model, &line, 1, &load, shift.joined_speed_rad_s, climbed_rad_s);
  const double end_s = 0.05 + climb_s, before_s = step_s * floor(end_s / step_s);
  const double before = drive(&model, 0, &now, 1, before_s).row.motor_speed_rad_s;
  const double after = drive(&model, 0, &now, 1, before_s + step_s).row.motor_speed_rad_s;
  assert_true(before <= climbed_rad_s && climbed_rad_s <= after);
}

/* Behind a clutch all wheels are the output's, whether it slips or holds. */
static void wheels_behind_a_clutch_climb_as_closed_forms_say(void **state)
{
  (void)state;
  struct sb_model model = box_of(4e-3, 2e-3, 1e-3);
  model.gearbox.shifter_after_mesh = 0;
  model_set_shifter(&model, "clutch");
  model.shifter.clutch_nm = 2.0;
  model_add_constant(&model, 0.8, true);
  model.control.sensor.reference_rad_s = 100.0;
  model_finish(&model);
  assert_near_rel(sb_model_driven_inertia_kg_m2(&model, 1, 0.1),
                  1e-3 + (0.1 + model.gearbox.output_wheels_kg_m2) / (36.0 * 0.9 * 0.8 * 0.95), 1e-14);
  const struct sb_motor_line line = sb_motor_line_driven(&model.motor, &model.supply, 1.0);
  const struct sb_load_moment load = {0.0, 0.8, 0.8};
  model.run.initial_output_speed_rad_s = 1.0;
  const double end_s = 0.1;
  const double climbed_rad_s = drive(&model, 1, NULL, 0, end_s).row.motor_speed_rad_s;
  assert_true(climbed_rad_s > 9.0);
  assert_near(sb_theory_climb_s(&model, &line, 1, &load, 6.0, climbed_rad_s), end_s, 1e-11);
}

/* The same figures given in each gear that shares a mesh, or in one of them. */
static void shared_wheels_count_once(void **state)
{
  (void)state;
  struct sb_model model = box_of(4e-3, 0.0, 0.0);
  assert_near_rel(model.gearbox.motor_wheels_kg_m2, 1e-3, 1e-14);
  for (int g = 0; g < 2; g++)
    model.gearbox.gears[g].meshes[2].inertia_kg_m2 = 7e-3; /* a common last wheel, at the output */
  sb_gearbox_derive(&model.gearbox);
  assert_near_rel(model.gearbox.output_wheels_kg_m2, 7e-3, 1e-14);
  model.gearbox.gears[1].meshes[2].inertia_kg_m2 = model.gearbox.gears[1].meshes[0].inertia_kg_m2 = 0.0;
  sb_gearbox_derive(&model.gearbox);
  assert_near_rel(model.gearbox.output_wheels_kg_m2, 7e-3, 1e-14);
  assert_near_rel(model.gearbox.motor_wheels_kg_m2, 1e-3, 1e-14);
  assert_near_rel(model.gearbox.gears[1].wheels_kg_m2, 1e-3 + 7e-3 / 36.0, 1e-14);
}

/* Random machines against GSL's rk8pd --------------------------------------------------------------------------------- */

/* The same machine written out afresh for boxes of the kind above: per gear the wheels' inertia at the motor, all of it. */
struct plain {
  double slope, stall, jm, jo; /* the motor's line; rotor and output alone */
  double n[2], eta[2], back[2], driven[2], overrun[2],
      whole[2];         /* wheels: as seen driving, in overrun, and as they are */
  double before, after; /* wheels with the motor, and with the output */
  double acting, viscous, quadratic;
  int gear, link; /* 1: engaged */
  bool is_driving;
};

static double load_of(const struct plain *p, double w)
{
  return p->acting + p->viscous * w + p->quadratic * w * fabs(w);
}

/* Positive: the gear drives the output. */
static double power_of(const struct plain *p, double x)
{
  const double n = p->n[p->gear], torque = p->stall - p->slope * x;
  return torque * p->jo / n + (p->jm + p->overrun[p->gear]) * load_of(p, x / n);
}

static int rates(double t, const double y[], double dydt[], void *context)
{
  const struct plain *p = context;
  const double torque = p->stall - p->slope * y[0], n = p->n[p->gear];
  (void)t;
  if (p->link == 0) {
    dydt[0] = torque / (p->jm + p->before);
    dydt[1] = -load_of(p, y[1]) / (p->jo + p->after);
    return GSL_SUCCESS;
  }
  const double inverse = p->is_driving ? 1.0 / p->eta[p->gear] : p->back[p->gear];
  const double wheels = p->is_driving ? p->driven[p->gear] : p->overrun[p->gear];
  dydt[0] = (torque - load_of(p, y[0] / n) * inverse / n) / (p->jm + wheels + p->jo * inverse / (n * n));
  dydt[1] = dydt[0] / n;
  return GSL_SUCCESS;
}

static void move(gsl_odeiv2_driver *driver, double y[2], double length)
{
  double t = 0.0;
  gsl_odeiv2_driver_reset(driver);
  gsl_odeiv2_driver_reset_hstart(driver, 1e-6);
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &t, length, y), GSL_SUCCESS);
}

/* Moves over a time in pieces, each of which ends where the power turns over. */
static void go(struct plain *p, gsl_odeiv2_driver *driver, double y[2], double length)
{
  const int pieces = 200;
  for (int i = 0; i < pieces; i++) {
    double left = length / pieces;
    p->is_driving = power_of(p, y[0]) >= 0.0;
    while (left > 0.0) {
      double end[2] = {y[0], y[1]}, low = 0.0, high = left;
      move(driver, end, left);
      const bool turns = p->link == 1 && (power_of(p, end[0]) >= 0.0) != p->is_driving;
      for (int k = 0; turns && k < 60; k++) {
        const double middle = 0.5 * (low + high);
        double there[2] = {y[0], y[1]};
        move(driver, there, middle);
        *((power_of(p, there[0]) >= 0.0) == p->is_driving ? &low : &high) = middle;
      }
      const double done = turns ? high : left;
      if (turns) {
        end[0] = y[0];
        end[1] = y[1];
        move(driver, end, high);
        p->is_driving = !p->is_driving;
      }
      memcpy(y, end, sizeof end);
      left -= done;
    }
  }
}

static void join(struct plain *p, double y[2])
{
  const double n = p->n[p->gear], jm = p->jm + p->before, jo = (p->jo + p->after) / (n * n);
  y[0] = (jm * y[0] + jo * n * y[1]) / (jm + jo);
  y[1] = y[0] / n;
  p->link = 1;
}

static double share_of(double loss_before, double eta, double back)
{
  return 1.0 - (1.0 - back) * loss_before / (1.0 - eta);
}

/* A box as above with random wheels, and the same as plain figures. */
static struct sb_model random_box(gsl_rng *dice, struct plain *p)
{
  const double shared = gsl_ran_flat(dice, 0.0, 8e-3),
               own[] = {gsl_ran_flat(dice, 0.0, 4e-3), gsl_ran_flat(dice, 0.0, 4e-3)};
  struct sb_model model = box_of(shared, own[0], own[1]);
  model.load.inertia_kg_m2 = gsl_ran_flat(dice, 0.05, 0.3);
  model.run.initial_output_speed_rad_s = gsl_ran_flat(dice, 2.0, 8.0);
  *p = (struct plain){.slope = 0.01, .stall = 1.0, .jm = 1e-3, .jo = model.load.inertia_kg_m2, .link = 1};
  p->acting = gsl_ran_flat(dice, -4.0, 1.5);
  p->viscous = gsl_ran_flat(dice, 0.0, 0.05);
  p->quadratic = gsl_ran_flat(dice, 0.0, 0.005);
  model_add_constant(&model, p->acting, false);
  model_add_viscous(&model, p->viscous);
  model_add_quadratic(&model, p->quadratic);
  p->before = shared / 4.0;
  p->after = own[0] * 36.0 + own[1] * 9.0;
  for (int g = 0; g < 2; g++) {
    const double back = gsl_ran_flat(dice, 0.0, 1.0) < 0.3 ? NAN : gsl_ran_flat(dice, -0.05, 0.9);
    model.gearbox.gears[g].back_efficiency = back;
    p->n[g] = g == 0 ? 12.0 : 6.0;
    p->eta[g] = 0.9 * 0.8 * 0.95;
    p->back[g] = isnan(back) ? p->eta[g] : back;
    const double there = share_of(0.1, p->eta[g], p->back[g]), turned = g == 0 ? 3.0 : 6.0;
    const double others = own[1 - g] * turned * turned / (p->n[g] * p->n[g]);
    p->driven[g] = (shared + own[g]) / 3.6 + others / p->eta[g];
    p->overrun[g] = (shared + own[g]) * there / 4.0 + others * p->back[g];
    p->whole[g] = (shared + own[g]) / 4.0 + others;
  }
  model_finish(&model);
  return model;
}

static void two_hundred_random_machines_with_wheels_follow_the_equations(void **state)
{
  (void)state;
  gsl_rng *dice = gsl_rng_alloc(gsl_rng_mt19937);
  gsl_rng_set(dice, 7);
  double worst = 0.0;
  int overruns = 0;
  for (int run = 0; run < 200; run++) {
    struct plain p;
    const struct sb_model model = random_box(dice, &p);
    const int first = run & 1;
    const struct oracle_command command = {0.1, 1 - first};
    const struct driven got = drive(&model, first, &command, 1, 0.35);
    gsl_odeiv2_system system = {rates, NULL, 2, &p};
    gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-6, 1e-13, 1e-13);
    p.gear = first;
    double y[2] = {model.run.initial_output_speed_rad_s * p.n[first], model.run.initial_output_speed_rad_s};
    go(&p, driver, y, 0.1);
    p.link = 0;
    p.gear = 1 - first;
    go(&p, driver, y, 0.05);
    assert_true(y[0] > 0.0 && y[1] > 0.0); /* nothing stops in these */
    join(&p, y);
    go(&p, driver, y, 0.2);
    gsl_odeiv2_driver_free(driver);
    if (fabs(got.row.motor_speed_rad_s - y[0]) > 1e-9 * fabs(y[0])) print_error("machine %d\n", run);
    assert_near_rel(got.row.motor_speed_rad_s, y[0], 1e-9);
    assert_near_rel(got.row.output_speed_rad_s, y[1], 1e-9);
    worst = fmax(worst, sb_energy_residual_ratio(&got.sums.energy));
    overruns += !p.is_driving;
  }
  gsl_rng_free(dice);
  print_message("worst residual %.2g; %d end in overrun\n", worst, overruns);
  assert_near(worst, 0.0, 1e-10);
  assert_true(overruns > 30 && overruns < 170);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_motor_sees_each_wheel_through_the_meshes_before_it),
      cmocka_unit_test(behind_the_shifter_a_wheel_is_shared_with_all_that_follows),
      cmocka_unit_test(a_joining_takes_the_wheels_of_both_sides_along),
      cmocka_unit_test(a_shift_and_its_climb_take_the_time_that_closed_forms_say),
      cmocka_unit_test(wheels_behind_a_clutch_climb_as_closed_forms_say),
      cmocka_unit_test(shared_wheels_count_once),
      cmocka_unit_test(two_hundred_random_machines_with_wheels_follow_the_equations),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
