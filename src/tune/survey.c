// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/survey.h"

#include "tune/record.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "map/lattice.h"
#include "shiftband/tasks.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

/* Machines of a survey that are mapped at once, and where. */
struct stage {
  const struct sb_survey *survey;
  long first, count;
  const int *wanted; /* as in map.h */
};

static struct sb_map_options map_options_of(const struct stage *stage)
{
  const struct sb_tune_options *options = stage->survey->options;
  return (struct sb_map_options){.pair = options->pair,
                                 .downshift = options->axis,
                                 .upshift = options->axis,
                                 .leaf_max = SB_MAP_LEAF_MAX,
                                 .is_passing_asked = true,
                                 .wanted = stage->wanted,
                                 .stop = options->stop};
}

static bool is_surveyed(const struct sb_survey *survey, int machine)
{
  return !survey->is_light || survey->machines[machine].is_light;
}

/* The machines of a survey in the order of its tasks. */
static int machine_of(const struct sb_survey *survey, long task)
{
  int machine = -1;
  for (long seen = -1; seen < task;) seen += is_surveyed(survey, ++machine);
  return machine;
}

static long machine_count(const struct sb_survey *survey)
{
  long count = 0;
  for (int i = 0; i < survey->count; i++) count += is_surveyed(survey, i);
  return count;
}

/* Tasks of one machine: its map, or the rows of the lattice when each point is a run. */
static long task_count(const struct sb_survey *survey)
{
  return survey->options->decider != NULL ? survey->options->axis.count : 1;
}

/* One machine's map as lines: where it passes, with figures. */
static enum sb_status map_machine(void *context, long task, struct sb_lines *out, struct sb_error *err)
{
  const struct stage *stage = context;
  const struct sb_survey *survey = stage->survey;
  const long tasks = task_count(survey);
  const struct sb_tune_machine *machine = &survey->machines[machine_of(survey, stage->first + task / tasks)];
  if (survey->options->decider != NULL) {
    return sb_sampled_row(survey, &machine->model, (int)(task % tasks), out, err);
  }
  struct sb_model model = machine->model;
  model.control.dwell_s = survey->dwell_s;
  const struct sb_map_options options = map_options_of(stage);
  struct sb_map map;
  const enum sb_status status = sb_map_exact(&model, &options, false, &map, err);
  if (status != SB_OK) return status;
  for (size_t i = 0; i < map.cell_count; i++) {
    if (map.cells[i].verdict.kinds == 0) sb_record_write(out, &map.cells[i]);
  }
  sb_map_clear(&map);
  return SB_OK;
}

/* A study checks its records, so a line that does not read is a fault of ours. */
static enum sb_status add_to_raster(const struct sb_lines *lines, bool has_figures, struct sb_raster *raster,
                                    struct sb_error *err)
{
  for (const char *line = lines->text; line != NULL && *line != 0;) {
    struct sb_map_cell cell;
    if (!sb_record_read(line, &cell)) {
      return sb_fail(err, SB_ERR_NUMERICS, "a record of a map does not read: %.60s", line);
    }
    const struct sb_map map = {.cells = &cell, .cell_count = 1};
    sb_raster_add(raster, &map);
    if (has_figures) sb_raster_add_figures(raster, &map);
    const char *end = strchr(line, '\n');
    line = end != NULL ? end + 1 : NULL;
  }
  return SB_OK;
}

/* First lattice index at or above a threshold. */
static int index_at_least(const struct sb_map_axis *axis, double fraction)
{
  const double index = ceil((fraction - axis->first_fraction) / axis->step_fraction - 1e-9);
  return index < 0.0 ? 0 : index < axis->count ? (int)index : axis->count;
}

/* What the closed forms ask for: no hunting band, and a slower gear that comes above up under the lightest load. */
static void ask_closed_forms(const struct sb_survey *survey, struct sb_raster *raster)
{
  const int pair = survey->options->pair;
  for (int i = 0; i < survey->count; i++) {
    if (!is_surveyed(survey, i)) continue;
    const struct sb_model *model = &survey->machines[i].model;
    const struct sb_motor_line line = sb_torque_balance_line(model);
    const struct sb_closed_form closed = sb_closed_form_solve(model);
    sb_raster_cap_up(raster, index_at_least(&survey->options->axis, closed.gears[pair].lightest_reading) - 1, i);
    for (int downshift = 0; downshift < raster->side; downshift++) {
      const double downshift_fraction = sb_map_axis_at(&survey->options->axis, downshift);
      const double carried_nm = sb_steady_load_nm(model, &line, pair + 1, downshift_fraction);
      const double least = sb_steady_reading(model, &line, pair, carried_nm);
      sb_raster_ask_up(raster, downshift, index_at_least(&survey->options->axis, least), i);
    }
  }
}

static uint64_t identity_of(const struct sb_survey *survey)
{
  uint64_t hash = sb_tasks_hash_whole(SB_TASKS_HASH_START, (int64_t)survey->options->identity);
  hash = sb_tasks_hash_numbers(hash, &survey->dwell_s, 1);
  hash = sb_tasks_hash_whole(hash, *survey->serial);
  hash = sb_tasks_hash_whole(hash, survey->options->axis.count);
  for (int i = 0; i < survey->count; i++) {
    const struct sb_control *control = &survey->machines[i].model.control;
    hash = sb_tasks_hash_numbers(hash, control->downshift_fraction, SB_GEAR_MAX - 1);
    hash = sb_tasks_hash_numbers(hash, control->upshift_fraction, SB_GEAR_MAX - 1);
  }
  return hash;
}

static void pass_progress(void *context, long done, long wanted)
{
  const struct sb_survey *survey = ((const struct stage *)context)->survey;
  const struct sb_tune_options *options = survey->options;
  (void)wanted;
  if (options->on_progress != NULL) {
    options->on_progress(options->context, *survey->done + done / task_count(survey), survey->total);
  }
}

static enum sb_status run_study(const struct stage *stage, struct sb_tasks_result *result, struct sb_error *err)
{
  const struct sb_survey *survey = stage->survey;
  const struct sb_tune_options *options = survey->options;
  char path[4096];
  ++*survey->serial;
  const int length = snprintf(path, sizeof path, "%s.%d.part",
                              options->journal_stem != NULL ? options->journal_stem : "", *survey->serial);
  if (length < 0 || (size_t)length >= sizeof path) return sb_fail(err, SB_ERR_IO, "the output's path is too long");
  struct stage own = *stage;
  const struct sb_tasks study = {.identity = identity_of(survey),
                                 .about = "tune",
                                 .task_count = stage->count * task_count(survey),
                                 .run_task = map_machine,
                                 .context = &own};
  struct sb_tasks_options study_options = sb_tasks_options_default();
  study_options.jobs = options->jobs;
  study_options.journal_path = options->journal_stem != NULL ? path : NULL;
  study_options.is_resumed = options->is_resumed;
  study_options.stop = options->stop;
  study_options.on_progress = pass_progress;
  study_options.progress_context = &own;
  if (options->journal_stem != NULL && options->on_journal != NULL) options->on_journal(options->context, path);
  return sb_tasks_run(&study, &study_options, result, err);
}

static enum sb_status fill_raster(const struct stage *stage, const struct sb_tasks_result *result,
                                  struct sb_raster *raster, struct sb_error *err)
{
  const struct sb_survey *survey = stage->survey;
  enum sb_status status = SB_OK;
  for (long task = 0; task < result->task_count && status == SB_OK; task++) {
    const int machine = machine_of(survey, stage->first + task / task_count(survey));
    const bool is_written = survey->machines[machine].sample == 0;
    status = add_to_raster(&result->tasks[task], survey->has_figures && is_written, raster, err);
  }
  return status;
}

/* Runs one stage into the raster. */
static enum sb_status run_stage(const struct stage *stage, struct sb_raster *raster, struct sb_error *err)
{
  struct sb_tasks_result result = {.task_count = 0};
  enum sb_status status = run_study(stage, &result, err);
  if (status != SB_OK) return status;
  *stage->survey->done += stage->count;
  status = result.is_interrupted ? sb_fail(err, SB_ERR_STOPPED, "stopped") : fill_raster(stage, &result, raster, err);
  sb_tasks_result_clear(&result);
  return status;
}

/* Fills wanted[(side + 1) * (side + 1)] for maps: points that closed forms let be and at which so many machines pass. */
static enum sb_status choose_wanted(const struct sb_raster *raster, long passing, int *wanted, struct sb_error *err)
{
  const int side = raster->side;
  const size_t width = (size_t)side + 1;
  struct sb_counts counts;
  const enum sb_status status = sb_counts_init(&counts, side, side, err);
  if (status != SB_OK) return status;
  memcpy(counts.items, raster->passing.items, (size_t)side * (size_t)side * sizeof *counts.items);
  sb_counts_finish(&counts);
  for (int downshift = 0; downshift < side; downshift++) {
    int *row = wanted + ((size_t)downshift + 1) * width;
    for (int upshift = 0; upshift < side; upshift++) {
      const bool is_wanted = downshift < upshift && downshift <= raster->greatest_downshift &&
                             sb_raster_is_clear(raster, downshift, upshift) &&
                             sb_counts_at(&counts, downshift, upshift) == passing;
      row[upshift + 1] = row[upshift] + (row - width)[upshift + 1] - (row - width)[upshift] + is_wanted;
    }
  }
  sb_counts_clear(&counts);
  return SB_OK;
}

/* Two machines first, then as many more as are behind; what no machine can change any more is not mapped. */
static enum sb_status run_stages(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err)
{
  const long count = machine_count(survey);
  const size_t points = ((size_t)raster->side + 1) * ((size_t)raster->side + 1);
  int *wanted = calloc(points, sizeof *wanted);
  if (wanted == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the thresholds that are wanted");
  enum sb_status status = SB_OK;
  for (long first = 0; first < count && status == SB_OK;) {
    const long most = first > 0 ? first : 2;
    const struct stage stage = {survey, first, count - first < most ? count - first : most, wanted};
    status = choose_wanted(raster, first, wanted, err);
    if (status == SB_OK && wanted[points - 1] > 0) status = run_stage(&stage, raster, err);
    if (status == SB_OK && wanted[points - 1] == 0) *survey->done += stage.count;
    first += stage.count;
  }
  free(wanted);
  return status;
}

enum sb_status sb_survey_run(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err)
{
  const long count = machine_count(survey);
  enum sb_status status = sb_raster_init(raster, survey->options->axis.count, survey->has_figures, err);
  if (status != SB_OK) return status;
  sb_raster_cap_down(raster, index_at_least(&survey->options->axis, 1.0) - 1);
  if (survey->options->is_cautious) ask_closed_forms(survey, raster);
  const struct stage all = {survey, 0, count, NULL};
  const bool is_whole = survey->is_whole || survey->options->decider != NULL;
  status = is_whole ? run_stage(&all, raster, err) : run_stages(survey, raster, err);
  if (status == SB_OK) {
    sb_raster_finish(raster, (int)count);
  } else {
    sb_raster_clear(raster);
  }
  return status;
}
