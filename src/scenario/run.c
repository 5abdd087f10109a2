// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `run`: its keys and its checks. */
#include <math.h>
#include <stdint.h>
#include <stdio.h>

#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define STEP_COUNT_MAX 1e10
#define TIME_CONSTANT_MIN_S 1e-6
#define WHOLE_WITHIN 1e-6 /* as in sb_model_step_count() */

static const struct sb_key keys[] = {
    {QUANTITY("duration", SB_TIME), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TIME_MAX), MODEL(run.duration_s),
     .meaning = "The length of the simulated time."},
    {QUANTITY("distance", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, DISTANCE_MAX), .default_words = "none",
     DRAFT(run_distance_m), .meaning = "The run ends early when the vehicle has travelled this distance."},
    {QUANTITY("step", SB_TIME), BETWEEN(1e-8, TIME_MAX), .default_text = "1 ms", MODEL(run.step_s),
     .meaning = "The step of the integration. A step that is too long for the motor is divided."},
    {QUANTITY("trace_interval", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_words = "the sample period",
     MODEL(run.trace_interval_s), .meaning = "The time between two rows of the trace, a whole multiple of the step."},
    {QUANTITY("initial_output_speed", SB_SPEED), BETWEEN(-SPEED_MAX, SPEED_MAX), .default_text = "0 rpm",
     MODEL(run.initial_output_speed_rad_s),
     .meaning = "The speed of the output at the start, while the start gear is engaged."},
    {.name = NULL}};

const struct sb_section sb_run_section = {"run", "the simulation", keys, NULL};

void sb_reader_check_multiple(struct sb_reader *reader, const char *path, const char *what, double time_s,
                              double step_s)
{
  const double ratio = time_s / step_s;
  const double whole = round(ratio);
  if (isnan(ratio) || (whole >= 1.0 && fabs(ratio - whole) <= WHOLE_WITHIN)) return;
  const double below = floor(ratio), above = ceil(ratio);
  char shorter[48] = "";
  if (below >= 1.0) snprintf(shorter, sizeof shorter, "%.10g s or ", below * step_s);
  sb_reader_fault(
      reader, path,
      "needs %s to be a whole multiple of the step, found %.10g s with a step of %.10g s; %s%.10g s would do, "
      "or a step of %.10g s",
      what, time_s, step_s, shorter, above * step_s, time_s / above);
}

/* The controller counts samples in 32 bits. */
static void check_samples(struct sb_reader *reader, const char *path, double time_s)
{
  const double period_s = reader->draft->model.control.sample_period_s;
  if (!(time_s / period_s >= (double)UINT32_MAX)) return; /* or one of the two has a fault of its own */
  sb_reader_fault(reader, path, "needs fewer than 4294967295 samples, found %.10g s of %.10g s each", time_s, period_s);
}

/* What a run costs follows from the time constants: too short a one would make it endless. */
void sb_reader_check_effort(struct sb_reader *reader)
{
  const struct sb_model *model = &reader->draft->model;
  const struct sb_derived derived = sb_model_derive(model);
  for (int gear = -1; gear < model->gearbox.gear_count; gear++) {
    const double constant_s = derived.least_time_constant_s[gear + 1];
    const char *where = gear < 0 ? "neutral" : model->gearbox.gears[gear].name;
    if (constant_s < TIME_CONSTANT_MIN_S) {
      sb_reader_fault(
          reader, "motor.rotor_inertia",
          "needs, with the load%s, time constants no shorter than 1 us, found %.3g s in %s; check inertia%s load%s",
          model->driveshaft.is_present ? " and the output shaft" : "", constant_s, where,
          model->driveshaft.is_present ? "," : " and", model->driveshaft.is_present ? " and output shaft" : "");
      return;
    }
    if (model->run.duration_s / constant_s > STEP_COUNT_MAX) {
      sb_reader_fault(reader, "run.duration", "needs at most 1e10 time constants, found %.3g (%.3g s in %s)",
                      model->run.duration_s / constant_s, constant_s, where);
      return;
    }
  }
}

void sb_reader_finish_run(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  struct sb_run_setup *run = &model->run;
  const bool has_interval = sb_reader_has(reader, "run.trace_interval");
  const bool has_period = sb_reader_has(reader, "controller.sample_period");
  if (!has_interval) run->trace_interval_s = model->control.sample_period_s;
  if (run->step_s > run->duration_s) {
    sb_reader_fault(reader, "run.step", "needs at most the duration (%.10g s), found %.10g s", run->duration_s,
                    run->step_s);
    return;
  }
  if (run->duration_s / run->step_s > STEP_COUNT_MAX) {
    sb_reader_fault(reader, "run.step", "needs at most 1e10 steps, found %.3g of %.10g s in %.10g s",
                    run->duration_s / run->step_s, run->step_s, run->duration_s);
  }
  sb_reader_check_multiple(reader, "run.duration", "the duration", run->duration_s, run->step_s);
  sb_reader_check_multiple(reader, has_period ? "controller.sample_period" : "run.step", "the sample period",
                           model->control.sample_period_s, run->step_s);
  check_samples(reader, "controller.dwell", model->control.dwell_s);
  check_samples(reader, "controller.start_delay", model->control.start_delay_s);
  if (has_interval)
    sb_reader_check_multiple(reader, "run.trace_interval", "the trace interval", run->trace_interval_s, run->step_s);
}
