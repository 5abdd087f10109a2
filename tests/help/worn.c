// SPDX-License-Identifier: GPL-3.0-or-later
#include "help/worn.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>

#include "help/near.h"

/* Event rows between two ticks are dropped: a logger looks at its own times. */
static void keep_ticks(struct sb_log *log, double interval_s)
{
  size_t kept = 0;
  for (size_t i = 0; i < log->count; i++) {
    const double ticks = log->time_s[i] / interval_s;
    const int is_tick = fabs(ticks - round(ticks)) < 1e-6;
    const int is_last = i + 1 == log->count || log->time_s[i + 1] > log->time_s[i];
    if (!is_tick || !is_last) continue;
    log->time_s[kept] = log->time_s[i];
    for (int c = 0; c < SB_LOG_TRACE_COUNT; c++) log->columns[c][kept] = log->columns[c][i];
    kept++;
  }
  log->count = kept;
}

void worn_log(const struct sb_model *model, double interval_s, struct sb_log *log, struct sb_run_result *result)
{
  struct sb_model logged = *model;
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_log_taker keeper = {log, model};
  *log = (struct sb_log){0};
  logged.run.trace_interval_s = interval_s;
  options.on_row = sb_log_take_row;
  options.context = &keeper;
  if (sb_run(&logged, &options, result, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
  keep_ticks(log, interval_s);
}

static void wear_column(struct sb_log *log, int column, const struct wear *wear, gsl_rng *random)
{
  double *values = log->columns[column], greatest = 0.0;
  const int is_speed = column == SB_LOG_MOTOR_SPEED || column == SB_LOG_OUTPUT_SPEED;
  if (values == NULL || column == SB_LOG_GEAR || column == SB_LOG_DUTY) return;
  size_t known = 0;
  for (size_t i = 0; i < log->count; i++) {
    greatest = fmax(greatest, fabs(values[i]));
    known += isfinite(values[i]) != 0;
  }
  if (known == 0) return; /* a column that this machine does not have */
  for (size_t i = 0; i < log->count; i++) {
    values[i] += gsl_ran_gaussian(random, wear->noise * greatest);
    if (is_speed && wear->round_rpm > 0.0) values[i] = round(values[i] / wear->round_rpm) * wear->round_rpm;
  }
}

void worn_wear(struct sb_log *log, const struct wear *wear, gsl_rng *random)
{
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) wear_column(log, c, wear, random);
  const double span = log->time_s[log->count - 1] - log->time_s[0];
  const double hole = log->time_s[0] + gsl_rng_uniform(random) * span;
  size_t kept = 0;
  for (size_t i = 0; i < log->count; i++) {
    const int is_in_hole = log->time_s[i] > hole && log->time_s[i] < hole + wear->hole_s;
    if (gsl_rng_uniform(random) < wear->lost || is_in_hole) continue;
    log->time_s[kept] = log->time_s[i];
    for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
      if (log->columns[c] != NULL) log->columns[c][kept] = log->columns[c][i];
    }
    kept++;
  }
  log->count = kept;
}

void worn_strip(struct sb_log *log, enum sb_log_column column)
{
  free(log->columns[column]);
  log->columns[column] = NULL;
}

void worn_draw(struct sb_model *model, gsl_rng *random)
{
  struct sb_control *control = &model->control;
  const double stretch = 0.4 + 0.9 * gsl_rng_uniform(random);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    control->downshift_fraction[p] = 0.4 + 0.25 * gsl_rng_uniform(random);
    control->upshift_fraction[p] = control->downshift_fraction[p] + 0.08 + 0.27 * gsl_rng_uniform(random);
  }
  control->dwell_s = 0.3 + 1.5 * gsl_rng_uniform(random);
  model->motor.stall_torque_nm *= stretch;
  if (model->motor.has_currents) {
    model->motor.stall_current_a *= stretch;
    model->motor.no_load_current_a *= stretch;
    assert_int_equal(sb_motor_derive(&model->motor, NULL), SB_OK);
  }
  model->load.inertia_kg_m2 *= pow(4.0, 2.0 * gsl_rng_uniform(random) - 1.0);
  model->run.duration_s = fmin(model->run.duration_s, 40.0);
  if (model->shifter.ops->is_direction_selected) return;
  const int is_clutch = gsl_rng_uniform(random) < 0.5;
  const double clutch_nm =
      (1.0 + gsl_rng_uniform(random)) * model->motor.stall_torque_nm; /* it holds what it has joined */
  model->shifter = (struct sb_shifter){.ops = sb_shifter_kind_find(is_clutch ? "clutch" : "selector"),
                                       .travel_time_s = 0.03 + 0.1 * gsl_rng_uniform(random),
                                       .is_drive_cut = gsl_rng_uniform(random) < 0.5,
                                       .clutch_nm = clutch_nm,
                                       .timeout_s = model->shifter.timeout_s};
}
