// SPDX-License-Identifier: GPL-3.0-or-later
/* A run at each point of a study: records, added up; as CSV and JSON. */
#include "study/runs.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "map/lattice.h"
#include "map/report.h"
#include "shiftband/closed_form.h"
#include "study/refusal.h"
#include "study/share.h"
#include "text/csv_writer.h"

/* The closed forms of one pair, as fields of an open row. */
static void put_limits(struct sb_csv *csv, const struct sb_model *model, const struct sb_closed_form *form, int pair)
{
  const struct sb_pair_figures *figures = &form->pairs[pair];
  const double fractions[] = {model->control.downshift_fraction[pair],
                              model->control.upshift_fraction[pair],
                              figures->least_safe_upshift,
                              form->gears[pair].lightest_reading,
                              figures->greatest_safe_downshift,
                              form->gears[pair + 1].lightest_reading};
  const double others[] = {figures->downshift_torque_nm,    figures->upshift_torque_nm, figures->shortest_dwell_s,
                           figures->shortest_start_delay_s, form->lightest_load_nm,     form->heaviest_load_nm};
  sb_csv_text(csv, model->gearbox.gears[pair].name);
  sb_csv_text(csv, model->gearbox.gears[pair + 1].name);
  for (size_t k = 0; k < sizeof fractions / sizeof *fractions; k++)
    sb_csv_number(csv, sb_fields_rounded_percent(fractions[k]));
  for (size_t k = 0; k < sizeof others / sizeof *others; k++) sb_csv_number(csv, others[k]);
  sb_csv_end_row(csv);
}

static const char limits_header[] =
    "slower,faster,downshift_below_pct,upshift_above_pct,least_safe_upshift_pct,stuck_low_from_upshift_pct,"
    "greatest_safe_downshift_pct,needless_from_downshift_pct,downshift_torque_nm,upshift_torque_nm,shortest_dwell_s,"
    "shortest_start_delay_s,lightest_load_nm,heaviest_load_nm";

/* A row for each pair of gears, without the point's values. */
static enum sb_status write_limits(struct sb_lines *lines, const struct sb_model *model, struct sb_error *err)
{
  char *text = NULL;
  size_t length = 0;
  struct sb_csv csv;
  FILE *stream = open_memstream(&text, &length);
  if (stream == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the closed forms of a point");
  const struct sb_closed_form form = sb_closed_form_solve(model);
  sb_csv_init(&csv, stream);
  for (int pair = 0; pair + 1 < model->gearbox.gear_count; pair++) put_limits(&csv, model, &form, pair);
  const bool is_written = sb_csv_result(&csv) == 0;
  const bool is_whole = fclose(stream) == 0 && text != NULL && is_written;
  if (is_whole) sb_lines_add_bytes(lines, text, length);
  free(text);
  return is_whole ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "out of memory for the closed forms of a point");
}

static enum sb_status evaluate(const struct sb_study_work *work, long point, const struct sb_scenario *scenario,
                               struct sb_lines *out, struct sb_error *err)
{
  (void)point; /* its values are in the scenario */
  struct sb_outcome outcome;
  const enum sb_status status = sb_outcome_of(&scenario->model, work->source->decider, &outcome, err);
  if (status != SB_OK) return status;
  sb_outcome_write(out, &outcome);
  return work->study->has_limits ? write_limits(out, &scenario->model, err) : SB_OK;
}

static void add_up(struct sb_run_point *point, const struct sb_outcome *outcome)
{
  const bool has_ended = outcome->end == SB_RUN_ENDED;
  point->refused += outcome->end == SB_RUN_REFUSED;
  point->gave_up += outcome->end == SB_RUN_GAVE_UP;
  if (has_ended) point->classes[sb_outcome_class(outcome)]++;
  point->passed = point->classes[SB_MAP_PASSES] + point->classes[SB_MAP_NEVER_SHIFTS];
}

static enum sb_status take(const struct sb_tasks_result *result, struct sb_study_report *report, struct sb_error *err)
{
  const long samples = sb_study_sample_count(report->study), count = sb_study_point_count(report->study);
  struct sb_run_point *points = calloc((size_t)count, sizeof *points);
  report->points = points;
  if (points == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the points of the study");
  for (long i = 0; i < result->task_count; i++) {
    const char *text = result->tasks[i].text != NULL ? result->tasks[i].text : "";
    struct sb_run_point *point = &points[i / samples];
    struct sb_outcome outcome = {.end = SB_RUN_REFUSED};
    int length;
    const bool is_refused = sb_refusal_reason(text, &length) != NULL;
    if (!is_refused && !sb_outcome_read(text, &outcome)) {
      return sb_fail(err, SB_ERR_SCENARIO, "the results of this study cannot be read");
    }
    add_up(point, &outcome);
    if (i % samples != 0) continue;
    point->outcome = outcome;
    point->limits = is_refused ? "" : strchr(text, '\n') + 1;
  }
  return SB_OK;
}

static void clear(struct sb_study_report *report)
{
  free(report->points);
}

static void put_headings(struct sb_csv *csv, const struct sb_study *study)
{
  char text[SB_AXIS_SET_SIZE];
  for (int a = 0; a < study->axis_count; a++) sb_csv_text(csv, sb_axis_heading(&study->axes[a], text));
}

static void put_values(struct sb_csv *csv, const struct sb_study *study, long point)
{
  for (int a = 0; a < study->axis_count; a++) {
    sb_csv_rounded(csv, sb_axis_value(&study->axes[a], sb_study_index(study, point, a)), 12);
  }
}

static void put_outcome(struct sb_csv *csv, const struct sb_outcome *outcome)
{
  char all[SB_MAP_VERDICTS_SIZE];
  const bool has_ended = outcome->end == SB_RUN_ENDED;
  const struct sb_map_figures *figures = &outcome->figures;
  const double numbers[] = {(double)figures->shift_count, figures->output_turns, figures->given_j,
                            figures->greatest_torque_nm, outcome->standstill_s};
  sb_csv_text(csv, sb_outcome_name(outcome));
  sb_csv_text(csv, has_ended ? sb_map_cause_name(&outcome->verdict) : NULL);
  sb_csv_text(csv, has_ended ? sb_map_all_verdicts(&outcome->verdict, all) : NULL);
  for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++)
    sb_csv_number(csv, has_ended ? numbers[k] : (double)NAN);
}

static void put_share(struct sb_csv *csv, const struct sb_run_point *point, long samples)
{
  sb_csv_integer(csv, point->passed);
  sb_csv_integer(csv, samples);
  sb_csv_number(csv, (double)point->passed / (double)samples);
  sb_csv_number(csv, sb_share_least(point->passed, samples));
  sb_csv_integer(csv, point->classes[SB_MAP_NEVER_SHIFTS]);
  sb_csv_integer(csv, point->refused);
  sb_csv_text(csv, sb_outcome_commonest(point));
}

static int write_csv(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  struct sb_csv csv;
  sb_csv_begin(&csv, out, study->samples > 0 ? &sb_records_vary_sample_rows : &sb_records_vary_rows);
  put_headings(&csv, study);
  sb_csv_line(&csv, study->samples > 0
                        ? "passed,samples,share,share_least,never_shift,refused,commonest_failure"
                        : "verdict,cause,all_verdicts,shifts,output_turns,given_j,greatest_torque_nm,standstill_s");
  for (long i = 0; i < sb_study_point_count(study); i++) {
    const struct sb_run_point *point = &sb_run_points(report)[i];
    put_values(&csv, study, i);
    if (study->samples > 0) {
      put_share(&csv, point, study->samples);
    } else {
      put_outcome(&csv, &point->outcome);
    }
    sb_csv_end_row(&csv);
  }
  return sb_csv_result(&csv);
}

int sb_study_write_limits(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_vary_limit_rows);
  put_headings(&csv, study);
  sb_csv_line(&csv, limits_header);
  for (long i = 0; i < sb_study_point_count(study); i++) {
    for (const char *row = sb_run_points(report)[i].limits; *row != 0;) {
      const char *end = strchr(row, '\n');
      put_values(&csv, study, i);
      fprintf(out, ",%.*s", (int)(end - row), row);
      sb_csv_end_row(&csv);
      row = end + 1;
    }
  }
  return sb_csv_result(&csv);
}

static void put_axis(struct sb_json *json, const struct sb_axis *axis)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "path", axis->path);
  sb_json_put_string(json, "unit", axis->unit);
  sb_json_put_number(json, "from", axis->from);
  sb_json_put_number(json, "to", axis->to);
  sb_json_put_integer(json, "points", axis->points);
  sb_json_close(json);
}

static void put_json_outcome(struct sb_json *json, const struct sb_outcome *outcome)
{
  const bool has_ended = outcome->end == SB_RUN_ENDED;
  sb_json_put_string(json, "end", has_ended ? "ended" : sb_outcome_name(outcome));
  if (!has_ended) {
    sb_json_put_null(json, "verdicts");
    return;
  }
  sb_json_put_string(json, "class", sb_outcome_words(outcome));
  sb_map_put_verdicts(json, &outcome->verdict);
  sb_fields_put_json(json, sb_map_figure_fields, &outcome->figures);
  sb_json_put_number(json, "standstill_s", outcome->standstill_s);
}

static void put_json_share(struct sb_json *json, const struct sb_run_point *point, long samples)
{
  sb_json_put_integer(json, "passed", point->passed);
  sb_json_put_number(json, "share", (double)point->passed / (double)samples);
  sb_json_put_number(json, "share_least", sb_share_least(point->passed, samples));
  sb_json_put_integer(json, "never_shift", point->classes[SB_MAP_NEVER_SHIFTS]);
  sb_json_put_integer(json, "refused", point->refused);
  sb_json_put_array(json, "failures");
  for (int class = 0; class < SB_MAP_CLASS_COUNT; class ++) {
    if (!sb_runs_fail_by((enum sb_map_class) class) || point->classes[class] == 0) continue;
    sb_json_open_object(json);
    sb_json_put_string(json, "verdict", sb_map_class_words((enum sb_map_class) class));
    sb_json_put_integer(json, "count", point->classes[class]);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_point(struct sb_json *json, const struct sb_study *study, long index, const struct sb_run_point *point)
{
  sb_json_open_object(json);
  sb_json_put_array(json, "values");
  for (int a = 0; a < study->axis_count; a++) {
    sb_json_number(json, sb_axis_value(&study->axes[a], sb_study_index(study, index, a)));
  }
  sb_json_close(json);
  if (study->samples > 0) {
    put_json_share(json, point, study->samples);
  } else {
    put_json_outcome(json, &point->outcome);
  }
  sb_json_close(json);
}

static void put(struct sb_json *json, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  sb_json_put_array(json, "axes");
  for (int a = 0; a < study->axis_count; a++) put_axis(json, &study->axes[a]);
  sb_json_close(json);
  sb_json_put_array(json, "points");
  for (long i = 0; i < sb_study_point_count(study); i++) put_point(json, study, i, &sb_run_points(report)[i]);
  sb_json_close(json);
}

const struct sb_evaluator sb_runs_evaluator = {evaluate, take, clear, write_csv, sb_runs_write_text, put};
