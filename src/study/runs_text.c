// SPDX-License-Identifier: GPL-3.0-or-later
/* Runs at the points of a study, for people: a picture, its legend, a table. */
#include <string.h>

#include "study/runs.h"
#include "study/share.h"
#include "text/picture.h"
#include "text/words.h"

static char mark_of(const struct sb_study *study, const struct sb_run_point *point)
{
  if (study->samples > 0) return sb_share_mark(point->passed, point->classes[SB_MAP_NEVER_SHIFTS], study->samples);
  return sb_outcome_mark(&point->outcome);
}

static struct sb_picture_axis picture_axis(const struct sb_study *study, int a)
{
  if (a >= study->axis_count) return (struct sb_picture_axis){.name = "", .unit = "", .step = 1.0, .count = 1};
  const struct sb_axis *axis = &study->axes[a];
  const double step = axis->points > 1 ? (axis->to - axis->from) / (axis->points - 1) : 1.0;
  return (struct sb_picture_axis){
      .name = axis->path, .unit = axis->unit, .first = axis->from, .step = step, .count = axis->points};
}

static enum sb_status write_picture(FILE *out, const struct sb_study_report *report, struct sb_error *err)
{
  const struct sb_study *study = report->study;
  const struct sb_picture_axis across = picture_axis(study, 0), upward = picture_axis(study, 1);
  const struct sb_span columns = {0, across.count - 1}, rows = {0, upward.count - 1};
  struct sb_picture picture;
  const enum sb_status status = sb_picture_init(&picture, &across, columns, &upward, rows, err);
  if (status != SB_OK) return status;
  struct sb_sketch *sketch = &picture.sketch;
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const long point = (long)sketch->rows[r] * across.count + sketch->columns[c];
      sketch->marks[r * sketch->column_count + c] = mark_of(study, &sb_run_points(report)[point]);
    }
  }
  sb_picture_write(out, &picture);
  sb_picture_clear(&picture);
  return SB_OK;
}

/* The mark of all points that lie at one value of one axis. */
static char mark_at(const struct sb_study_report *report, int axis, int index)
{
  long passed = 0, never_shift = 0, total = 0;
  for (long i = 0; i < sb_study_point_count(report->study); i++) {
    const struct sb_run_point *point = &sb_run_points(report)[i];
    if (sb_study_index(report->study, i, axis) != index) continue;
    passed += point->passed;
    never_shift += point->classes[SB_MAP_NEVER_SHIFTS];
    total += sb_study_sample_count(report->study);
  }
  return sb_share_mark(passed, never_shift, total);
}

/* Whether any picture of shares has a point with the mark of what never shifts. */
static bool has_never_shifting(const struct sb_study_report *report)
{
  const long samples = sb_study_sample_count(report->study);
  for (long i = 0; i < sb_study_point_count(report->study); i++) {
    if (sb_run_points(report)[i].classes[SB_MAP_NEVER_SHIFTS] == samples) return true;
  }
  return false;
}

/* Of more axes than a picture has: a strip each, a mark a value, whatever the other keys are. */
static void write_strips(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  sb_words_say(out, 0, 0,
               "More than two keys make no picture. Along each of them, the share that passes, over all "
               "values of the others:");
  for (int a = 0; a < study->axis_count; a++) {
    const struct sb_axis *axis = &study->axes[a];
    const int room = sb_text_width() - 4, shown = axis->points < room ? axis->points : room;
    fprintf(out, "\n  %s, %.6g..%.6g %s\n  |", axis->path, axis->from, axis->to, axis->unit);
    for (int k = 0; k < shown; k++) {
      const int index = shown > 1 ? (int)((long)k * (axis->points - 1) / (shown - 1)) : 0;
      fputc(mark_at(report, a, index), out);
    }
    fputs("|\n", out);
  }
  if (has_never_shifting(report))
    fprintf(out, "\n  %c  all, and none ever shifts", sb_map_class_letter(SB_MAP_NEVER_SHIFTS));
  fputs("\n  .  all   9  90 % or more, 8  80 % or more, ... 0  less than 10 %   -  none\n", out);
}

/* Each mark that occurs, with its words and how many points have it. */
static void write_legend(FILE *out, const struct sb_study_report *report)
{
  const long count = sb_study_point_count(report->study);
  const struct sb_run_point *points = sb_run_points(report);
  char seen[SB_MAP_CLASS_COUNT + 3] = "";
  fprintf(out, "\n  of %ld points\n", count);
  for (long i = 0; i < count; i++) {
    const char mark = sb_outcome_mark(&points[i].outcome);
    if (strchr(seen, mark) != NULL) continue;
    seen[strlen(seen)] = mark;
    long alike = 0;
    for (long k = i; k < count; k++) alike += sb_outcome_mark(&points[k].outcome) == mark;
    fprintf(out, "  %c  %-28s%8ld\n", mark, sb_outcome_words(&points[i].outcome), alike);
  }
}

static void write_outcome(FILE *out, const struct sb_outcome *outcome)
{
  fprintf(out, "%-26s", sb_outcome_words(outcome));
  if (outcome->end != SB_RUN_ENDED) return;
  const struct sb_map_figures *figures = &outcome->figures;
  fprintf(out, "%6ld%9.4g%9.4g%8.3g%9.3g", figures->shift_count, figures->output_turns, figures->given_j,
          figures->greatest_torque_nm, outcome->standstill_s);
}

static void write_share(FILE *out, const struct sb_run_point *point, long samples)
{
  fprintf(out, "%8ld%10ld%8.1f %%%8.1f %%  %s", point->passed, point->classes[SB_MAP_NEVER_SHIFTS],
          100.0 * (double)point->passed / (double)samples, 100.0 * sb_share_least(point->passed, samples),
          sb_outcome_commonest(point));
}

/* One axis: a line a value. */
static void write_table(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  const struct sb_axis *axis = &study->axes[0];
  if (study->samples > 0) {
    fprintf(out, "\n%11s%8s%10s%10s%10s  %s\n", axis->unit, "pass", "no shift", "share", "at least", "most fail by");
  } else {
    fprintf(out, "\n%11s  %-26s%6s%9s%9s%8s%9s\n", axis->unit, "verdict", "shifts", "turns", "J", "N.m", "rest, s");
  }
  for (int k = 0; k < axis->points; k++) {
    const struct sb_run_point *point = &sb_run_points(report)[k];
    fprintf(out, "%11.6g", sb_axis_value(axis, k));
    if (study->samples > 0) {
      write_share(out, point, study->samples);
    } else {
      fputs("  ", out);
      write_outcome(out, &point->outcome);
    }
    fputc('\n', out);
  }
}

static void write_head(FILE *out, const struct sb_study *study)
{
  if (study->controller[0] != 0) {
    sb_words_say(out, 0, 0,
                 "a grid, and no exact map: a run at each point, by controller %s; between two points nothing is known",
                 study->controller);
  }
  if (study->samples > 0) {
    sb_words_say(out, 0, 0, "at each point a run of each of %ld random samples of the tolerances, seed %ld",
                 study->samples, study->seed);
  }
  fputc('\n', out);
}

enum sb_status sb_runs_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err)
{
  const struct sb_study *study = report->study;
  write_head(out, study);
  if (study->axis_count > 2) {
    write_strips(out, report);
  } else {
    const enum sb_status status = write_picture(out, report, err);
    if (status != SB_OK) return status;
  }
  if (study->samples == 0) {
    write_legend(out, report);
  } else if (study->axis_count <= 2) {
    sb_share_write_legend(out, study->samples, has_never_shifting(report));
  }
  if (study->axis_count == 1) write_table(out, report);
  return SB_OK;
}
