// SPDX-License-Identifier: GPL-3.0-or-later
/* Samples of a scenario within its tolerances, and a scenario loaded again with other values. */
#include <gsl/gsl_qrng.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "shiftband/scenario.h"

/* Up to so many tolerances all combinations of their ends are tried. */
enum { ALL_CORNERS_MAX = 4, SOBOL_MAX = 40 };

int sb_samples_corner_count(const struct sb_scenario *scenario)
{
  const int count = scenario->tolerance_count;
  if (count == 0) return 0;
  return count <= ALL_CORNERS_MAX ? 1 << count : 2 * count;
}

static void take_corner(const struct sb_scenario *scenario, int corner, double *values)
{
  const int count = scenario->tolerance_count;
  for (int k = 0; k < count; k++) {
    const struct sb_tolerance *tolerance = &scenario->tolerances[k];
    if (count <= ALL_CORNERS_MAX) {
      values[k] = (corner & (1 << k)) != 0 ? tolerance->greatest : tolerance->least;
    } else {
      values[k] = corner / 2 != k ? tolerance->nominal : corner % 2 ? tolerance->greatest : tolerance->least;
    }
  }
}

static void take_share(const struct sb_scenario *scenario, const double *shares, double *values)
{
  for (int k = 0; k < scenario->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &scenario->tolerances[k];
    values[k] = tolerance->least + shares[k] * (tolerance->greatest - tolerance->least);
  }
}

/* Points of the Sobol sequence, every coordinate moved by the same random vector and wrapped. */
static enum sb_status draw_evenly(const struct sb_scenario *scenario, gsl_rng *random, int count, double *values,
                                  struct sb_error *err)
{
  const int dimensions = scenario->tolerance_count;
  double moves[SB_TOLERANCE_MAX], shares[SOBOL_MAX];
  if (dimensions > SOBOL_MAX) {
    return sb_fail(err, SB_ERR_NUMERICS, "%d tolerances are more than the %d that can be sampled evenly", dimensions,
                   SOBOL_MAX);
  }
  gsl_qrng *sobol = gsl_qrng_alloc(gsl_qrng_sobol, (unsigned)dimensions);
  if (sobol == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a sequence of samples");
  for (int k = 0; k < dimensions; k++) moves[k] = gsl_rng_uniform(random);
  for (int i = 0; i < count; i++) {
    gsl_qrng_get(sobol, shares);
    for (int k = 0; k < dimensions; k++) shares[k] = fmod(shares[k] + moves[k], 1.0);
    take_share(scenario, shares, values + i * dimensions);
  }
  gsl_qrng_free(sobol);
  return SB_OK;
}

static void draw_randomly(const struct sb_scenario *scenario, gsl_rng *random, int count, double *values)
{
  double shares[SB_TOLERANCE_MAX];
  for (int i = 0; i < count; i++) {
    for (int k = 0; k < scenario->tolerance_count; k++) shares[k] = gsl_rng_uniform(random);
    take_share(scenario, shares, values + i * scenario->tolerance_count);
  }
}

/* The samples that need no draw: nominal, then the corners. Returns how many of `count` they are. */
static int take_fixed(const struct sb_scenario *scenario, int count, double *values)
{
  const int tolerances = scenario->tolerance_count, corners = sb_samples_corner_count(scenario);
  for (int k = 0; k < tolerances && count > 0; k++) values[k] = scenario->tolerances[k].nominal;
  for (int i = 1; i < count && i <= corners; i++) take_corner(scenario, i - 1, values + i * tolerances);
  return count < 1 + corners ? count : 1 + corners;
}

enum sb_status sb_samples_draw(const struct sb_scenario *scenario, enum sb_samples_kind kind, unsigned long seed,
                               int count, double *values, struct sb_error *err)
{
  SB_GSL_QUIET;
  const int fixed = kind == SB_SAMPLES_SEARCH ? take_fixed(scenario, count, values) : 0;
  if (scenario->tolerance_count == 0 || fixed == count) return SB_OK;
  gsl_rng *random = gsl_rng_alloc(gsl_rng_mt19937);
  if (random == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for random samples");
  gsl_rng_set(random, seed);
  double *rest = values + fixed * scenario->tolerance_count;
  enum sb_status status = SB_OK;
  if (kind == SB_SAMPLES_SEARCH) {
    status = draw_evenly(scenario, random, count - fixed, rest, err);
  } else {
    draw_randomly(scenario, random, count - fixed, rest);
  }
  gsl_rng_free(random);
  return status;
}

static int has_tolerance(const struct sb_scenario *scenario, const char *path)
{
  for (int k = 0; k < scenario->tolerance_count; k++) {
    if (strcmp(scenario->tolerances[k].path, path) == 0) return 1;
  }
  return 0;
}

static bool is_given(const struct sb_scenario *scenario, const char *path)
{
  for (size_t k = 0; k < scenario->key_count; k++) {
    if (strcmp(scenario->keys[k].path, path) == 0) return scenario->keys[k].is_given;
  }
  return false;
}

/* What the electronics were set to once: in a sample it must not follow the machine whose figures gave it. */
struct kept {
  const char *path, *unit;
  double value;           /* SI */
  const char *moves_with; /* the figure that it would follow; NULL: several */
};

enum { KEPT_MAX = 6 };

/* Lists what samples must be given at its nominal value; returns how much. */
static int list_kept(const struct sb_scenario *nominal, struct kept kept[KEPT_MAX])
{
  const struct sb_model *model = &nominal->model;
  const struct sb_sensor *sensor = &model->control.sensor;
  const struct sb_drive *drive = &model->drive;
  const bool has_speed = model->gearbox.gear_count > 1 && sensor->quantity == SB_SENSES_SPEED;
  const bool has_current = model->gearbox.gear_count > 1 && sensor->quantity == SB_SENSES_CURRENT;
  const bool has_loop = drive->mode == SB_DRIVE_SPEED_CONTROL;
  static const char speed[] = "motor.no_load_speed";
  const struct {
    bool is_used;
    struct kept kept;
  } all[] = {
      {has_speed, {"controller.reference_speed", "rad/s", sensor->reference_rad_s, speed}},
      {has_speed && sensor->supply.is_present,
       {"controller.voltage_sensor.reference", "V", sensor->supply.nominal_v, "motor.nominal_voltage"}},
      {has_speed && sensor->supply.is_present, {"controller.voltage_sensor.drop", "V", sensor->supply.drop_v, NULL}},
      {has_current, {"controller.reference_current", "A", sensor->reference_a, "motor.stall_current"}},
      {has_loop, {"drive.target", "rad/s", drive->target_rad_s, speed}},
      {has_loop, {"drive.proportional_band", "rad/s", 1.0 / drive->gain_per_rad_s, speed}},
      {has_loop && !is_given(nominal, "drive.integral_time"),
       {"drive.integral_time", "s", drive->gain_per_rad_s / drive->integral_per_rad, NULL}},
  };
  int count = 0;
  if (nominal->tolerance_count == 0) return 0;
  for (size_t i = 0; i < sizeof all / sizeof *all; i++) {
    if (all[i].is_used && !has_tolerance(nominal, all[i].kept.path)) kept[count++] = all[i].kept;
  }
  return count;
}

void sb_scenario_add_change(struct sb_changes *changes, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  if (changes->count < SB_CHANGE_MAX) vsnprintf(changes->texts[changes->count++], SB_CHANGE_SIZE, format, arguments);
  va_end(arguments);
}

enum sb_status sb_scenario_load_changed(const struct sb_scenario_source *source, const struct sb_changes *changes,
                                        struct sb_scenario *out, struct sb_faults *faults)
{
  *faults = (struct sb_faults){0};
  const char **sets = calloc(source->set_count + changes->count + 1, sizeof *sets);
  if (sets == NULL) return SB_ERR_MEMORY;
  size_t count = 0;
  for (size_t k = 0; k < source->set_count; k++) sets[count++] = source->sets[k];
  for (size_t k = 0; k < changes->count; k++) sets[count++] = changes->texts[k];
  const enum sb_status status = sb_scenario_load(source->path, sets, count, out, faults);
  free(sets);
  return status;
}

void sb_samples_change(const struct sb_scenario *nominal, const double *values, struct sb_changes *changes)
{
  struct kept kept[KEPT_MAX];
  const int kept_count = list_kept(nominal, kept);
  for (int k = 0; k < kept_count; k++) {
    sb_scenario_add_change(changes, "%s=%.17g %s", kept[k].path, kept[k].value, kept[k].unit);
  }
  for (int k = 0; k < nominal->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &nominal->tolerances[k];
    sb_scenario_add_change(changes, "%s=%.17g %s", tolerance->path, values[k] * tolerance->unit_scale, tolerance->unit);
  }
}

/* Whether a figure is another than in the scenario as written. */
static bool has_moved(const struct sb_scenario *nominal, const double *values, const char *path)
{
  for (int k = 0; k < nominal->tolerance_count; k++) {
    if (strcmp(nominal->tolerances[k].path, path) == 0) return values[k] != nominal->tolerances[k].nominal;
  }
  return false;
}

/* Adds "PATH VALUE UNIT" to a list of such. */
static void add_words(char *text, size_t size, const char *path, double value, const char *unit)
{
  sb_fail_add(text, size, "%s%s %.8g %s", text[0] != 0 ? ", " : "", path, value, unit);
}

const char *sb_samples_words(const struct sb_scenario *nominal, const double *values, char *text, size_t size)
{
  text[0] = 0;
  for (int k = 0; k < nominal->tolerance_count; k++) {
    const struct sb_tolerance *tolerance = &nominal->tolerances[k];
    if (values[k] == tolerance->nominal) continue;
    add_words(text, size, tolerance->path, values[k] * tolerance->unit_scale, tolerance->unit);
  }
  if (text[0] == 0) {
    snprintf(text, size, "nominal");
    return text;
  }
  /* What would move with the machine, were it not kept: who repeats the sample must keep it, too. */
  struct kept kept[KEPT_MAX];
  const int kept_count = list_kept(nominal, kept);
  for (int k = 0; k < kept_count; k++) {
    if (kept[k].moves_with != NULL && !has_moved(nominal, values, kept[k].moves_with)) continue;
    add_words(text, size, kept[k].path, kept[k].value, kept[k].unit);
  }
  return text;
}
