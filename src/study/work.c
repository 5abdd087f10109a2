// SPDX-License-Identifier: GPL-3.0-or-later
/* The tasks of a study and its report: samples drawn, points loaded, handed to the evaluator. */
#include <stdlib.h>
#include <string.h>

#include "machine/caution.h"
#include "shiftband/scenario.h"
#include "study/maps.h"
#include "study/refusal.h"
#include "study/share.h"
#include "text/words.h"

static const struct sb_evaluator *evaluator_of(const struct sb_study *study)
{
  return study->kind == SB_STUDY_MAPS ? &sb_maps_evaluator : &sb_runs_evaluator;
}

enum sb_status sb_study_begin(struct sb_study_work *work, const struct sb_study *study,
                              const struct sb_study_source *source, struct sb_error *err)
{
  const struct sb_scenario *nominal = source->nominal;
  *work = (struct sb_study_work){.study = study, .source = source};
  if (study->samples == 0) return SB_OK;
  work->values = calloc((size_t)study->samples * (size_t)nominal->tolerance_count, sizeof *work->values);
  if (work->values == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for %ld samples", study->samples);
  const enum sb_status status =
      sb_samples_draw(nominal, SB_SAMPLES_RANDOM, (unsigned long)study->seed, (int)study->samples, work->values, err);
  if (status != SB_OK) sb_study_end(work);
  return status;
}

void sb_study_end(struct sb_study_work *work)
{
  free(work->values);
  work->values = NULL;
}

/* What a point changes of the source. Spreads would refuse points beyond them. */
static void add_point(const struct sb_study_work *work, long point, struct sb_changes *changes)
{
  const struct sb_study *study = work->study;
  if (study->kind == SB_STUDY_MAPS) return;
  sb_scenario_add_change(changes, "tolerances={}");
  for (int a = 0; a < study->axis_count; a++) {
    char text[SB_AXIS_SET_SIZE];
    sb_scenario_add_change(changes, "%s", sb_axis_set(&study->axes[a], sb_study_index(study, point, a), text));
  }
}

static bool is_varied(const struct sb_study *study, const char *path)
{
  for (int a = 0; a < study->axis_count; a++) {
    if (strcmp(study->axes[a].path, path) == 0) return true;
  }
  return false;
}

/* Gives a point's scenario the tolerances of the nominal one, without those of varied keys; values of a sample likewise. */
static void take_tolerances(const struct sb_study_work *work, long sample, struct sb_scenario *point, double *values)
{
  const struct sb_scenario *nominal = work->source->nominal;
  const double *drawn = work->values + (size_t)sample * (size_t)nominal->tolerance_count;
  point->tolerance_count = 0;
  for (int k = 0; k < nominal->tolerance_count; k++) {
    if (is_varied(work->study, nominal->tolerances[k].path)) continue;
    values[point->tolerance_count] = drawn[k];
    point->tolerances[point->tolerance_count++] = nominal->tolerances[k];
  }
}

/* Adds a sample of the scenario at a point: what it keeps is what the machine there has, not what the nominal one has. */
static enum sb_status add_sample(const struct sb_study_work *work, const struct sb_scenario_source *source, long sample,
                                 struct sb_scenario *point, struct sb_changes *changes, struct sb_faults *faults)
{
  double values[SB_TOLERANCE_MAX];
  const enum sb_status status = sb_scenario_load_changed(source, changes, point, faults);
  if (status != SB_OK) return status;
  sb_faults_clear(faults);
  take_tolerances(work, sample, point, values);
  sb_samples_change(point, values, changes);
  sb_scenario_clear(point);
  return SB_OK;
}

/* scenarios[2]: room for the one that is returned and for the one that it is a sample of. */
static enum sb_status load(const struct sb_study_work *work, long point, long sample, struct sb_scenario *scenarios,
                           struct sb_error *err)
{
  const struct sb_scenario_source source = {work->source->path, work->source->sets, work->source->set_count};
  struct sb_changes changes = {.count = 0};
  struct sb_faults faults = {0};
  enum sb_status status = SB_OK;
  add_point(work, point, &changes);
  if (work->study->samples > 0) status = add_sample(work, &source, sample, &scenarios[1], &changes, &faults);
  if (status == SB_OK) status = sb_scenario_load_changed(&source, &changes, &scenarios[0], &faults);
  if (status != SB_OK) return sb_faults_fail(err, status, &faults);
  sb_faults_clear(&faults);
  return SB_OK;
}

enum sb_status sb_study_run_task(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct sb_study_work *work = context;
  const struct sb_evaluator *evaluator = evaluator_of(work->study);
  const long samples = sb_study_sample_count(work->study), point = index / samples;
  struct sb_scenario *scenarios = calloc(2, sizeof *scenarios); /* large, and threads have small stacks */
  if (scenarios == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a point of the study");
  enum sb_status status = load(work, point, index % samples, scenarios, err);
  if (status == SB_ERR_SCENARIO) {
    sb_refusal_write(out, err->text);
    status = SB_OK;
  } else if (status == SB_OK) {
    status = evaluator->evaluate(work, point, &scenarios[0], out, err);
    sb_scenario_clear(&scenarios[0]);
  }
  free(scenarios);
  return status;
}

enum sb_status sb_study_take(const struct sb_study *study, const struct sb_tasks_result *result,
                             struct sb_study_report *report, struct sb_error *err)
{
  *report = (struct sb_study_report){.study = study};
  sb_refusal_count(result, &report->refusals);
  if (result->task_count != sb_study_task_count(study)) {
    return sb_fail(err, SB_ERR_SCENARIO, "the results of this study cannot be read");
  }
  const enum sb_status status = evaluator_of(study)->take(result, report, err);
  if (status != SB_OK) sb_study_report_clear(report);
  return status;
}

void sb_study_report_clear(struct sb_study_report *report)
{
  if (report->points != NULL) evaluator_of(report->study)->clear(report);
  report->points = NULL;
}

int sb_study_write_csv(FILE *out, const struct sb_study_report *report)
{
  return evaluator_of(report->study)->write_csv(out, report);
}

/* Hoisted loads and batteries can hurt, whatever the study says of thresholds. */
static void write_cautions(FILE *out, const struct sb_study *study)
{
  if (!study->has_acting_load && study->battery_caution[0] == 0) return;
  fputc('\n', out);
  if (study->has_acting_load) sb_words_say(out, 0, 0, "Caution: %s", sb_caution_text(SB_CAUTION_HOIST));
  if (study->battery_caution[0] != 0) sb_words_say(out, 0, 0, "Caution: %s", study->battery_caution);
}

enum sb_status sb_study_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err)
{
  fprintf(out, "%s\n", report->study->scenario);
  const enum sb_status status = evaluator_of(report->study)->write_text(out, report, err);
  if (status == SB_OK) sb_refusal_write_text(out, report);
  if (status == SB_OK) write_cautions(out, report->study);
  return status;
}

static const struct sb_record *record_of(const struct sb_study *study)
{
  if (study->kind != SB_STUDY_MAPS) return &sb_records_map_vary;
  return sb_maps_have_charge(study) ? &sb_records_map_discharge : &sb_records_map_samples;
}

void sb_study_write_json(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  struct sb_json json;
  sb_json_begin(&json, out, record_of(study));
  sb_json_put_string(&json, "scenario", study->scenario);
  if (study->controller[0] != 0) sb_json_put_string(&json, "controller", study->controller);
  if (study->samples > 0) {
    sb_json_put_integer(&json, "samples", study->samples);
    sb_json_put_integer(&json, "seed", study->seed);
    sb_json_put_number(&json, "confidence", SB_SHARE_CONFIDENCE);
  }
  evaluator_of(study)->put(&json, report);
  sb_refusal_put(&json, report);
  sb_json_end(&json);
}
