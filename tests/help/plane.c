// SPDX-License-Identifier: GPL-3.0-or-later
/* plane.c - see plane.h. */
#include "help/plane.h"

#include <math.h>
#include <string.h>

#include "help/models.h"
#include "help/near.h"
#include "shiftband/run.h"

double plane_between(gsl_rng *rng, double least, double greatest)
{
  return least + (greatest - least) * gsl_rng_uniform(rng);
}

double plane_between_log(gsl_rng *rng, double least, double greatest)
{
  return least * pow(greatest / least, gsl_rng_uniform(rng));
}

bool plane_chance(gsl_rng *rng, double chance)
{
  return gsl_rng_uniform(rng) < chance;
}

static int pick(gsl_rng *rng, int count)
{
  return (int)gsl_rng_uniform_int(rng, (unsigned long)count);
}

/* Random machines -------------------------------------------------------------------------------------------------- */

static void choose_motor(gsl_rng *rng, struct sb_model *model)
{
  const double speed = plane_between_log(rng, 20.0, 400.0), stall_nm = plane_between_log(rng, 0.02, 2.0);
  const double tau_s = plane_between_log(rng, 0.01, 0.1);
  model_set_line_motor(model, speed, stall_nm, tau_s * stall_nm / speed);
  if (!plane_chance(rng, 0.5)) return;
  const double stall_a = 1.05 * stall_nm * speed / 12.0; /* about what energy allows */
  const double internal_ohm = plane_chance(rng, 0.5) ? 0.1 * 12.0 / stall_a : 0.0;
  model_set_currents(model, stall_a, plane_between(rng, 0.01, 0.08) * stall_a, internal_ohm);
  model->supply.open_circuit_voltage_v = plane_between(rng, 10.5, 13.0);
}

static void choose_gears(gsl_rng *rng, struct sb_model *model)
{
  static const char *const shifters[] = {"swing arm", "selector", "clutch"};
  const int shifter = pick(rng, 3);
  const int gear_count = shifter > 0 && plane_chance(rng, 0.4) ? 3 : 2;
  double ratio = plane_between(rng, 3.0, 30.0);
  for (int g = 0; g < gear_count; g++) {
    struct sb_gear *gear = model_add_gear(model, ratio, plane_between(rng, 0.75, 1.0), false);
    static const double backs[2][2] = {{-0.6, 0.0}, {0.5, -0.4}}; /* below 0: the gear locks itself */
    if (plane_chance(rng, 0.15)) {
      gear->back_efficiency = backs[g % 2][plane_chance(rng, 0.5)];
      gear->meshes[0].inertia_kg_m2 = 0.1 * model->motor.rotor_inertia_kg_m2;
      gear->meshes[0].inertia_at = g == 0;
    }
    if (plane_chance(rng, 0.3)) gear->drag_nm = 0.03 * model->motor.stall_torque_nm;
    ratio /= plane_between(rng, 1.4, 2.8);
  }
  if (shifter > 0 && plane_chance(rng, 0.7)) model_drive_forward(model);
  model_set_shifter(model, shifters[shifter]);
  model->shifter.swing_turns = plane_chance(rng, 0.1) ? 0.0 : plane_between(rng, 0.1, 1.0);
  model->shifter.travel_time_s = plane_chance(rng, 0.15) ? 0.0 : plane_between(rng, 0.01, 0.3);
  model->shifter.is_drive_cut = plane_chance(rng, 0.5);
  model->shifter.clutch_nm = plane_between(rng, 0.3, 1.5) * model->motor.stall_torque_nm;
  if (plane_chance(rng, 0.2)) model->shifter.timeout_s = plane_between(rng, 0.02, 0.2);
  model->load.inertia_kg_m2 = model->motor.rotor_inertia_kg_m2 * plane_between_log(rng, 2.0, 400.0);
}

/* Torques that rise and fall, some at once; x from 0 to the end. */
static struct sb_load_part *add_table(gsl_rng *rng, struct plane_case *out, enum sb_load_axis axis, double end,
                                      double scale_nm, bool is_resisting)
{
  double *x = out->x[out->table_count], *torque_nm = out->torque_nm[out->table_count];
  out->table_count++;
  int count = 0;
  for (double at = 0.0; count < PLANE_POINT_MAX && at < end; count++) {
    x[count] = at;
    torque_nm[count] = scale_nm * (plane_chance(rng, 0.3) ? 0.1 : plane_between(rng, 0.0, 1.0));
    if (count == 0 || !plane_chance(rng, 0.3)) at += plane_between(rng, 0.03, 0.35) * end;
  }
  struct sb_load_part *part = model_add_profile(&out->model, axis, is_resisting, (size_t)count, x, torque_nm);
  part->is_held = plane_chance(rng, 0.3);
  part->is_repeating = count > 1 && x[count - 1] > 0.0 && plane_chance(rng, 0.3);
  return part;
}

static void choose_load(gsl_rng *rng, struct plane_case *out)
{
  struct sb_model *model = &out->model;
  const struct sb_gear *fast = &model->gearbox.gears[model->gearbox.gear_count - 1];
  /* What the fastest gear just carries, times a little more: some stall, most need the slow gear now and then. */
  const double scale_nm = model->motor.stall_torque_nm * (double)fast->meshes[0].driven_teeth / 10.0;
  const double speed = model->motor.no_load_speed_rad_s / (fast->meshes[0].driven_teeth / 10.0);
  const double turn_rad = speed * model->run.duration_s;
  const bool is_resisting = plane_chance(rng, 0.75);
  if (plane_chance(rng, 0.6)) {
    add_table(rng, out, SB_OVER_TIME, model->run.duration_s, plane_between(rng, 0.5, 1.4) * scale_nm, is_resisting);
  } else if (plane_chance(rng, 0.5)) {
    model_add_constant(model, plane_between(rng, 0.1, 0.8) * scale_nm, is_resisting);
  }
  if (plane_chance(rng, 0.25)) add_table(rng, out, SB_OVER_TURNS, turn_rad, 0.8 * scale_nm, is_resisting);
  if (plane_chance(rng, 0.25)) {
    const bool is_over_turns = plane_chance(rng, 0.4);
    const double mean_nm = plane_between(rng, 0.1, 0.4) * scale_nm;
    model_add_sine(model, is_over_turns ? SB_OVER_TURNS : SB_OVER_TIME, is_resisting, mean_nm,
                   mean_nm * plane_between(rng, 0.2, 1.0),
                   plane_between(rng, 0.05, 0.4) * (is_over_turns ? turn_rad : model->run.duration_s));
  }
  if (plane_chance(rng, 0.4)) model_add_viscous(model, plane_between(rng, 0.05, 0.4) * scale_nm / speed);
  if (plane_chance(rng, 0.2)) model_add_quadratic(model, plane_between(rng, 0.05, 0.3) * scale_nm / (speed * speed));
  if (plane_chance(rng, 0.2)) model->load.breakaway_nm = plane_between(rng, 0.2, 2.5) * scale_nm;
  if (plane_chance(rng, 0.1)) model->run.initial_output_speed_rad_s = plane_between(rng, -0.5, 1.0) * speed;
}

static void choose_control(gsl_rng *rng, struct sb_model *model)
{
  static const double resolutions[] = {0.0, 0.0, 0.01, 0.005, 0.04};
  struct sb_control *control = &model->control;
  control->start_gear = 1 + pick(rng, model->gearbox.gear_count);
  control->start_delay_s = plane_chance(rng, 0.2) ? 0.0 : plane_between(rng, 0.1, 1.0);
  control->dwell_s = plane_chance(rng, 0.15) ? 0.0 : plane_between_log(rng, 0.05, 2.0);
  control->debounce_count = plane_chance(rng, 0.5) ? 1 : 1 + pick(rng, 4);
  control->sensor.filter_s = plane_chance(rng, 0.25) ? plane_between(rng, 0.01, 0.1) : 0.0;
  control->sensor.noise_fraction = plane_chance(rng, 0.25) ? plane_between(rng, 0.002, 0.03) : 0.0;
  control->sensor.seed = gsl_rng_get(rng);
  control->sensor.resolution_fraction = resolutions[pick(rng, 5)];
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    control->downshift_fraction[p] = plane_between(rng, 0.3, 0.7);
    control->upshift_fraction[p] = plane_between(rng, control->downshift_fraction[p] + 0.02, 0.97);
  }
}

/* From a course of numbers of their own, so that the machines stay as they were. */
static void choose_rarer_limits(const gsl_rng *from, struct sb_model *model)
{
  gsl_rng *rng = gsl_rng_clone(from);
  if (plane_chance(rng, 0.3)) model->limits.shift_rate_per_s = plane_between_log(rng, 0.05, 2.0);
  if (plane_chance(rng, 0.3)) model->limits.run_back_rad = plane_between_log(rng, 0.001, 3.0);
  if (plane_chance(rng, 0.3)) model->limits.clutch_slip_time_s = plane_between_log(rng, 0.005, 0.5);
  if (plane_chance(rng, 0.2)) {
    model->limits.motor_speed_rad_s = model->motor.no_load_speed_rad_s * plane_between(rng, 0.7, 1.5);
  }
  gsl_rng_free(rng);
}

static void choose_limits(gsl_rng *rng, struct sb_model *model)
{
  const struct sb_gear *slow = &model->gearbox.gears[0];
  if (plane_chance(rng, 0.4)) {
    model->limits.output_torque_nm =
        plane_between(rng, 0.2, 1.2) * model->motor.stall_torque_nm * slow->meshes[0].driven_teeth / 10.0;
  }
  if (plane_chance(rng, 0.5)) model->limits.stall_time_s = plane_between_log(rng, 0.005, 0.5);
  if (plane_chance(rng, 0.2)) model->limits.hunt_window_s = plane_between(rng, 0.3, 3.0);
  choose_rarer_limits(rng, model);
}

static void choose_lattice(gsl_rng *rng, struct plane_case *out)
{
  static const double steps[] = {0.005, 0.01, 0.02, 0.033};
  out->options = sb_map_options_default(&out->model);
  out->options.pair = pick(rng, out->model.gearbox.gear_count - 1);
  struct sb_map_axis *axes[] = {&out->options.downshift, &out->options.upshift};
  for (int i = 0; i < 2; i++) {
    const double step = steps[pick(rng, 4)], first = plane_between(rng, 0.2 * step, 0.3);
    *axes[i] = (struct sb_map_axis){first, step, 1 + (int)(plane_between(rng, 0.4, 1.1 - first) / step)};
  }
  /* Every other map keeps next to nothing for later, or little. */
  static const size_t memory_bytes[] = {0, 1, 0, 100000};
  out->options.memory_bytes = memory_bytes[out->options.downshift.count % 4];
}

void plane_random_case(gsl_rng *rng, struct plane_case *out)
{
  static const int samples_ms[] = {4, 10, 20, 50, 200};
  memset(out, 0, sizeof *out);
  out->model = model_blank();
  struct sb_model *model = &out->model;
  const int step_ms = plane_chance(rng, 0.3) ? 2 : 1;
  model->run.step_s = 1e-3 * step_ms;
  model->control.sample_period_s = 1e-3 * samples_ms[plane_chance(rng, 0.1) ? 4 : pick(rng, 4)];
  /* Any number of steps: the run need not end on a sample. */
  model->run.duration_s = model->run.step_s * (2000 + pick(rng, 2000)) / step_ms;
  choose_motor(rng, model);
  choose_gears(rng, model);
  choose_load(rng, out);
  model_finish(model);
  choose_control(rng, model);
  choose_limits(rng, model);
  choose_lattice(rng, out);
}

/* The comparison --------------------------------------------------------------------------------------------------- */

struct sb_map_verdict plane_verdict_of(const struct sb_monitor *monitor)
{
  struct sb_map_verdict verdict = {0, SB_CAUSE_NONE};
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const enum sb_cause cause = monitor->verdicts[i].cause;
    verdict.kinds |= 1U << monitor->verdicts[i].kind;
    if (cause != SB_CAUSE_NONE && (verdict.cause == SB_CAUSE_NONE || cause < verdict.cause)) verdict.cause = cause;
  }
  return verdict;
}

static void check_shifts(const struct sb_map_cell *cell, const struct sb_monitor *monitor, double period_s)
{
  assert_int_equal(cell->figures.shift_count, monitor->shift_count);
  const struct sb_map_shift *shift = cell->shifts;
  for (size_t i = monitor->shift_count; i-- > 0; shift = shift->last) {
    assert_non_null(shift);
    assert_int_equal(shift->to, monitor->shifts[i].to);
    assert_int_equal(shift->sample, llround(monitor->shifts[i].command_s / period_s));
  }
  assert_null(shift);
}

void plane_check_point(const struct sb_model *model, const struct sb_map *map, const struct sb_map_cell *cell,
                       int downshift, int upshift, struct plane_seen *seen)
{
  struct sb_model own = *model;
  own.control.downshift_fraction[map->options.pair] = sb_map_axis_at(&map->options.downshift, downshift);
  own.control.upshift_fraction[map->options.pair] = sb_map_axis_at(&map->options.upshift, upshift);
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(&own, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);

  check_shifts(cell, &result.monitor, model->control.sample_period_s);
  const struct sb_map_verdict verdict = plane_verdict_of(&result.monitor);
  assert_int_equal(cell->verdict.kinds, verdict.kinds);
  assert_int_equal(cell->verdict.cause, verdict.cause);

  /* Sums are added up track by track: rounding of a few hundred terms beside their total throughput. */
  const double throughput_j = result.sums.energy.throughput;
  double turned = 0.0;
  turned = fmax(fabs(result.sums.greatest_output_speed_rad_s), fabs(result.sums.least_output_speed_rad_s)) *
           model->run.duration_s / (2.0 * model_pi);
  assert_near(cell->figures.given_j, result.sums.energy.given, 1e-9 * throughput_j);
  assert_near(cell->figures.output_turns, result.end.output_turns, 1e-9 * turned);
  assert_near(cell->figures.way_rad, result.sums.way_rad, 1e-9 * (2.0 * model_pi * turned));
  assert_near(cell->figures.end_s, result.end.time_s, 1e-9 * model->run.duration_s);
  assert_true(cell->figures.greatest_torque_nm == fabs(result.sums.output_torque_nm.value));

  seen->kinds |= verdict.kinds;
  seen->causes |= 1U << verdict.cause;
  seen->points++;
  seen->shifts += (long)result.monitor.shift_count;
  if (throughput_j > 0.0) {
    seen->worst_given = fmax(seen->worst_given, fabs(cell->figures.given_j - result.sums.energy.given) / throughput_j);
  }
  if (turned > 0.0) {
    seen->worst_turns = fmax(seen->worst_turns, fabs(cell->figures.output_turns - result.end.output_turns) / turned);
  }
  sb_run_result_clear(&result);
}

void plane_check_cell(const struct sb_model *model, const struct sb_map *map, const struct sb_map_cell *cell,
                      gsl_rng *rng, struct plane_seen *seen)
{
  const int inner_downshift = cell->downshift_first + pick(rng, cell->downshift_last - cell->downshift_first + 1);
  const int inner_upshift = cell->upshift_first + pick(rng, cell->upshift_last - cell->upshift_first + 1);
  const int points[][2] = {{cell->downshift_first, cell->upshift_last},
                           {cell->downshift_first, cell->upshift_first},
                           {cell->downshift_last, cell->upshift_last},
                           {cell->downshift_last, cell->upshift_first},
                           {inner_downshift, inner_upshift}};
  for (int i = 0; i < 5; i++) {
    const int downshift = points[i][0], upshift = points[i][1];
    if (sb_map_axis_at(&map->options.downshift, downshift) >= sb_map_axis_at(&map->options.upshift, upshift)) continue;
    bool is_again = false; /* a thin rectangle's corners are one */
    for (int k = 0; k < i; k++) is_again |= points[k][0] == downshift && points[k][1] == upshift;
    if (!is_again) plane_check_point(model, map, cell, downshift, upshift, seen);
  }
}

int plane_quiet_gsl(void **state)
{
  (void)state;
  return 0;
}
