// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * fuzz_runs.c - every scenario that is taken runs, and its run keeps what every run keeps: figures are finite, energies balance,
 * gears exist, nothing is decided within the dwell, time does not go back, and the greatest of the report is that of the trace.
 */
#include "common.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "machine/caution.h"
#include "shiftband/run.h"

enum { STEPS_MAX = 2000 };

/* What came of a run so far. */
struct watch {
  const struct sb_model *model;
  double time_s, torque_nm, speed_rad_s, current_a;
  struct sb_controller_setup setup;
  long long since; /* samples since the last command; at first since the start */
  bool has_shifted;
  int gear;
};

static double larger(double greatest, double value)
{
  return fabs(value) > greatest ? fabs(value) : greatest;
}

static int take_row(void *context, const struct sb_row *row)
{
  struct watch *watch = context;
  const double always[] = {row->time_s,           row->duty_fraction,       row->motor_speed_rad_s,
                           row->output_torque_nm, row->output_speed_rad_s,  row->load_torque_nm,
                           row->output_turns,     row->vehicle_speed_rad_s, row->external_torque_nm};
  for (size_t k = 0; k < sizeof always / sizeof always[0]; k++) {
    fuzz_demand(isfinite(always[k]), "figure %zu of the row at %g s is %g", k, row->time_s, always[k]);
  }
  fuzz_demand(row->time_s >= watch->time_s, "time goes back from %.17g to %.17g s", watch->time_s, row->time_s);
  fuzz_demand(row->gear >= 0 && row->gear <= watch->model->gearbox.gear_count, "gear %d", row->gear);
  fuzz_demand(!isinf(row->motor_current_a) && !isinf(row->supply_voltage_v) && !isinf(row->winding_c),
              "current, voltage or winding at %g s", row->time_s);
  watch->time_s = row->time_s;
  watch->torque_nm = larger(watch->torque_nm, row->output_torque_nm);
  watch->speed_rad_s = larger(watch->speed_rad_s, row->motor_speed_rad_s);
  if (!isnan(row->motor_current_a)) watch->current_a = larger(watch->current_a, row->motor_current_a);
  return 0;
}

static void take_sample(void *context, const struct sb_run_sample *sample)
{
  struct watch *watch = context;
  const long long least = watch->has_shifted ? watch->setup.dwell_samples : watch->setup.start_delay_samples;
  fuzz_demand(sample->gear >= 1 && sample->gear <= watch->model->gearbox.gear_count, "gear %d commanded", sample->gear);
  if (sample->gear != watch->gear) {
    fuzz_demand(watch->since >= least, "a command %lld samples after the last one, the dwell is %lld", watch->since,
                least);
    fuzz_demand(sample->is_engaged && sample->is_deciding, "a command in neutral or with the drive off");
    fuzz_demand(sample->gear == watch->gear + 1 || sample->gear == watch->gear - 1, "gear %d after %d", sample->gear,
                watch->gear);
    watch->gear = sample->gear;
    watch->since = 0;
    watch->has_shifted = true;
  }
  watch->since++;
}

static void check_energy(const struct sb_energy *energy)
{
  const double lines[] = {energy->given,
#define LINE(field, name) energy->field,
                          SB_ENERGY_LINES(LINE)
#undef LINE
  };
  for (size_t k = 0; k < sizeof lines / sizeof lines[0]; k++) fuzz_demand(isfinite(lines[k]), "energy line %zu", k);
}

/* The report tells of energies that part. */
static void check_caution(const struct sb_report *report)
{
  char *text = NULL;
  size_t length = 0;
  FILE *out = open_memstream(&text, &length);
  fuzz_demand(out != NULL, "out of memory");
  sb_run_write_text(out, report);
  fuzz_demand(fclose(out) == 0 && length > 0, "an empty report");
  const double ratio = sb_energy_residual_ratio(&report->result->sums.energy);
  fuzz_demand(ratio <= SB_CAUTION_RESIDUAL_RATIO || strstr(text, "energies") != NULL, "residual %g without a caution",
              ratio);
  free(text);
}

static void check_result(const struct watch *watch, const struct sb_run_result *result)
{
  const double slack = 1.0 - 1e-12;
  const struct sb_sums *sums = &result->sums;
  check_energy(&sums->energy);
  fuzz_demand(fabs(sums->output_torque_nm.value) >= slack * watch->torque_nm,
              "greatest torque %.17g, in the trace %.17g", sums->output_torque_nm.value, watch->torque_nm);
  fuzz_demand(fabs(sums->motor_speed_rad_s.value) >= slack * watch->speed_rad_s,
              "greatest speed %.17g, in the trace %.17g", sums->motor_speed_rad_s.value, watch->speed_rad_s);
  fuzz_demand(!watch->model->motor.has_currents || fabs(sums->motor_current_a.value) >= slack * watch->current_a,
              "greatest current %.17g, in the trace %.17g", sums->motor_current_a.value, watch->current_a);
  fuzz_demand(result->end_gear >= 1 && result->end_gear <= watch->model->gearbox.gear_count, "gear %d",
              result->end_gear);
  const struct sb_report report = {.model = watch->model, .result = result};
  check_caution(&report);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static struct sb_scenario scenario;
  if (!fuzz_scenario((const char *)data, size, &scenario)) return 0;
  struct sb_model model = scenario.model;
  if (model.run.duration_s > STEPS_MAX * model.run.step_s) model.run.duration_s = STEPS_MAX * model.run.step_s;
  struct watch watch = {.model = &model, .setup = sb_run_controller_setup(&model), .gear = model.control.start_gear};
  struct sb_run_options options = sb_run_options_default();
  options.on_row = take_row;
  options.context = &watch;
  options.on_sample = take_sample;
  options.sample_context = &watch;
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_run(&model, &options, &result, &err);
  fuzz_demand(status == SB_OK || (status == SB_ERR_NUMERICS && err.text[0] != 0), "a run ends with %d: %s", (int)status,
              err.text);
  fuzz_demand(strstr(err.text, "fault of the program") == NULL, "%s", err.text);
  if (status == SB_OK) {
    check_result(&watch, &result);
    sb_run_result_clear(&result);
  }
  sb_scenario_clear(&scenario);
  return 0;
}
