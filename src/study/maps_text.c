// SPDX-License-Identifier: GPL-3.0-or-later
/* Exact maps of a study: for people, as CSV, as JSON. */
#include <math.h>

#include "map/class.h"
#include "map/report.h"
#include "study/maps.h"
#include "study/share.h"
#include "text/csv_writer.h"
#include "text/words.h"

static void put_stretch(struct sb_csv *csv, const struct sb_map_stretch *stretch)
{
  sb_csv_number(csv, sb_fields_rounded_percent(stretch->least_fraction));
  sb_csv_number(csv, sb_fields_rounded_percent(stretch->greatest_fraction));
}

/* As written: what it comes to. */
static void put_outcome(struct sb_csv *csv, const struct sb_map_point *at)
{
  char all[SB_MAP_VERDICTS_SIZE];
  sb_csv_text(csv, sb_map_run_name(&at->verdict, &at->figures));
  sb_csv_text(csv, sb_map_cause_name(&at->verdict));
  sb_csv_text(csv, sb_map_all_verdicts(&at->verdict, all));
  sb_csv_integer(csv, at->figures.shift_count);
  sb_csv_number(csv, at->figures.output_turns);
  sb_csv_number(csv, at->figures.given_j);
}

/* A threshold at which most samples pass; NAN: none that shifts passes anywhere. */
static double best_pct(const struct sb_map_axis *axis, const struct sb_map_point *at, int index)
{
  return at->best.passed > 0 ? sb_map_axis_pct(axis, index) : (double)NAN;
}

/* Samples: how many pass at the scenario's own thresholds, and where most of them do. */
static void put_samples(struct sb_csv *csv, const struct sb_study *study, const struct sb_map_point *at)
{
  sb_csv_integer(csv, at->own_passed);
  sb_csv_integer(csv, study->samples);
  sb_csv_number(csv, (double)at->own_passed / (double)study->samples);
  sb_csv_number(csv, sb_share_least(at->own_passed, study->samples));
  sb_csv_integer(csv, at->own_never_shift);
  sb_csv_integer(csv, at->best.passed);
  sb_csv_rounded(csv, best_pct(&study->downshift, at, at->best.downshift), 10);
  sb_csv_rounded(csv, best_pct(&study->upshift, at, at->best.upshift), 10);
}

static void put_charge(struct sb_csv *csv, const struct sb_study *study, const struct sb_map_point *at)
{
  sb_csv_number(csv, sb_fields_rounded_percent(at->charge_fraction));
  sb_csv_number(csv, at->voltage_v);
  if (study->samples > 0) {
    put_samples(csv, study, at);
  } else {
    put_outcome(csv, at);
  }
  sb_csv_number(csv, at->shares.all);
  sb_csv_number(csv, at->shares.never_shift);
  put_stretch(csv, &at->upshift);
  put_stretch(csv, &at->downshift);
  sb_csv_end_row(csv);
}

int sb_maps_write_csv(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  struct sb_csv csv;
  if (!sb_maps_have_charge(study)) return sb_passing_write_csv(out, &sb_map_points(report)->passing);
  sb_csv_begin(&csv, out, study->samples > 0 ? &sb_records_discharge_sample_rows : &sb_records_discharge_rows);
  sb_csv_names(&csv, "charge_pct,voltage_v");
  sb_csv_names(&csv,
               study->samples > 0
                   ? "passed,samples,share,share_least,never_shift,most_passed,most_downshift_pct,most_upshift_pct"
                   : "verdict,cause,all_verdicts,shifts,output_turns,given_j");
  sb_csv_line(&csv, "safe_share,never_shifts_share,upshift_least_pct,upshift_greatest_pct,downshift_least_pct,"
                    "downshift_greatest_pct");
  for (long k = 0; k < sb_study_point_count(study); k++) put_charge(&csv, study, &sb_map_points(report)[k]);
  return sb_csv_result(&csv);
}

static void put_json_stretch(struct sb_json *json, const char *name, const struct sb_map_stretch *stretch)
{
  sb_json_put_object(json, name);
  sb_json_put_number(json, "least_pct", sb_fields_rounded_percent(stretch->least_fraction));
  sb_json_put_number(json, "greatest_pct", sb_fields_rounded_percent(stretch->greatest_fraction));
  sb_json_close(json);
}

static void put_thresholds(struct sb_json *json, double downshift_pct, double upshift_pct)
{
  sb_json_put_number(json, "downshift_below_pct", downshift_pct);
  sb_json_put_number(json, "upshift_above_pct", upshift_pct);
}

/* How many samples pass at the scenario's own thresholds, and where most of them do. */
static void put_passed(struct sb_json *json, const struct sb_study *study, const struct sb_map_point *at,
                       long own_passed, long own_never_shift)
{
  sb_json_put_object(json, "own");
  put_thresholds(json, sb_fields_rounded_percent(study->downshift_fraction),
                 sb_fields_rounded_percent(study->upshift_fraction));
  if (own_passed >= 0) {
    sb_json_put_integer(json, "passed", own_passed);
    sb_json_put_number(json, "share_least", sb_share_least(own_passed, study->samples));
    sb_json_put_integer(json, "never_shift", own_never_shift);
  }
  sb_json_close(json);
  sb_json_put_object(json, "best");
  put_thresholds(json, best_pct(&study->downshift, at, at->best.downshift),
                 best_pct(&study->upshift, at, at->best.upshift));
  sb_json_put_integer(json, "passed", at->best.passed);
  sb_json_put_number(json, "share_least", sb_share_least(at->best.passed, study->samples));
  sb_json_put_integer(json, "never_shift", at->best.never_shift);
  sb_json_put_integer(json, "points", at->best.points);
  sb_json_close(json);
}

static void put_shares(struct sb_json *json, const struct sb_map_point *at)
{
  sb_json_put_number(json, "safe_share", at->shares.all);
  sb_json_put_number(json, "never_shifts_share", at->shares.never_shift);
}

static void put_json_charge(struct sb_json *json, const struct sb_study *study, const struct sb_map_point *at)
{
  sb_json_open_object(json);
  sb_json_put_number(json, "charge_pct", sb_fields_rounded_percent(at->charge_fraction));
  sb_json_put_number(json, "voltage_v", at->voltage_v);
  if (study->samples > 0) {
    sb_json_put_integer(json, "refused", at->refused);
    put_passed(json, study, at, at->own_passed, at->own_never_shift);
  } else {
    sb_json_put_string(json, "class", sb_map_class_words(sb_map_class_of_run(&at->verdict, &at->figures)));
    sb_map_put_verdicts(json, &at->verdict);
    sb_fields_put_json(json, sb_map_figure_fields, &at->figures);
  }
  put_shares(json, at);
  put_json_stretch(json, "upshift_passes", &at->upshift);
  put_json_stretch(json, "downshift_passes", &at->downshift);
  sb_json_close(json);
}

void sb_maps_put(struct sb_json *json, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  sb_json_put_string(json, "slower", study->slower);
  sb_json_put_string(json, "faster", study->faster);
  if (!sb_maps_have_charge(study)) {
    const struct sb_map_point *at = sb_map_points(report);
    sb_json_put_integer(json, "refused", at->refused);
    put_passed(json, study, at, at->best.own, at->best.own_never_shift);
    put_shares(json, at);
    return;
  }
  put_thresholds(json, sb_fields_rounded_percent(study->downshift_fraction),
                 sb_fields_rounded_percent(study->upshift_fraction));
  sb_json_put_array(json, "discharge");
  for (long k = 0; k < sb_study_point_count(study); k++) put_json_charge(json, study, &sb_map_points(report)[k]);
  sb_json_close(json);
}

/* "58.9..83.2 %", or "none". */
static const char *format_stretch(const struct sb_map_stretch *stretch, char text[32])
{
  if (isnan(stretch->least_fraction)) {
    snprintf(text, 32, "none");
  } else {
    snprintf(text, 32, "%.6g..%.6g %%", sb_fields_rounded_percent(stretch->least_fraction),
             sb_fields_rounded_percent(stretch->greatest_fraction));
  }
  return text;
}

static int count_kinds(unsigned kinds)
{
  int count = 0;
  for (; kinds != 0; kinds &= kinds - 1U) count++;
  return count;
}

/* Whether the table of charges has a column for the share that never shifts. */
static bool shows_never_shifting(const struct sb_study_report *report)
{
  for (long k = 0; k < sb_study_point_count(report->study); k++) {
    if (sb_map_points(report)[k].shares.never_shift > 0.0) return true;
  }
  return false;
}

static void write_charge(FILE *out, const struct sb_study *study, const struct sb_map_point *at,
                         bool has_never_shifting)
{
  char text[32];
  const int more = count_kinds(at->verdict.kinds) - 1;
  sb_words_cell(out, 8, "%.4g %%", sb_fields_rounded_percent(at->charge_fraction));
  sb_words_cell(out, 8, "%.4g V", at->voltage_v);
  sb_words_cell(out, 8, "%.1f %%", 100.0 * at->shares.all);
  if (has_never_shifting) sb_words_cell(out, 10, "%.1f %%", 100.0 * at->shares.never_shift);
  sb_words_cell(out, 15, "%s", format_stretch(&at->upshift, text));
  sb_words_cell(out, 15, "%s", format_stretch(&at->downshift, text));
  if (study->samples > 0) {
    fprintf(out, "%ld of %ld\n", at->own_passed, study->samples);
  } else {
    fprintf(out, "%s", sb_map_run_name(&at->verdict, &at->figures));
    if (more > 0) fprintf(out, " +%d", more);
    fputc('\n', out);
  }
}

static void write_charges(FILE *out, const struct sb_study_report *report)
{
  const struct sb_study *study = report->study;
  const bool has_samples = study->samples > 0, has_never_shifting = shows_never_shifting(report);
  fprintf(out, "%-8s%-8s%-8s%s%-15s%-15s%s\n", "charge", "voltage", "safe", has_never_shifting ? "no shift  " : "",
          "upshift", "downshift", has_samples ? "own" : "as written");
  for (long k = 0; k < sb_study_point_count(study); k++) {
    write_charge(out, study, &sb_map_points(report)[k], has_never_shifting);
  }
  sb_words_say(
      out, 0, 0,
      "\nsafe: share of the plane that passes%s.%s Upshift, downshift: the nearest stretch of this threshold that "
      "passes%s with the other one as it is.%s%s",
      has_samples ? " in all samples" : "",
      has_never_shifting ? " No shift: the part of it where the box passes, but never shifts." : "",
      has_samples ? " in all samples" : "",
      has_samples ? " Own: samples that pass at the scenario's own thresholds." : "",
      has_samples ? "" : " +1: one verdict more.");
}

static void write_own(FILE *out, long samples, const struct sb_passing_best *best)
{
  fprintf(out,
          "At the scenario's own thresholds %d of %ld samples pass, %.1f %%:\n"
          "at least %.1f %% of all such machines, with 95 %% confidence\n",
          best->own, samples, 100.0 * best->own / (double)samples, 100.0 * sb_share_least(best->own, samples));
  if (best->own_never_shift > 0) fprintf(out, "%d of these samples never shift\n", best->own_never_shift);
}

static void write_best(FILE *out, const struct sb_study *study, const struct sb_map_point *at)
{
  const long samples = study->samples;
  fputc('\n', out);
  if (at->best.own >= 0) write_own(out, samples, &at->best);
  sb_words_say(
      out, 0, 0,
      "In %.1f %% of the plane all samples pass and some of them shift, in %.1f %% all pass and none ever shifts.",
      100.0 * (at->shares.all - at->shares.never_shift), 100.0 * at->shares.never_shift);
  if (at->best.passed == 0) {
    sb_words_say(out, 0, 0, "At no pair of thresholds does a sample pass that shifts.");
    return;
  }
  sb_words_say(
      out, 0, 0,
      "Most samples, %d of %ld, pass at %lld pairs of thresholds at which some of them shift; in the middle of the "
      "widest square of these lie a downshift threshold of %.6g %% and an upshift threshold of %.6g %%: at least %.1f %% "
      "of all such machines",
      at->best.passed, samples, at->best.points, sb_map_axis_pct(&study->downshift, at->best.downshift),
      sb_map_axis_pct(&study->upshift, at->best.upshift), 100.0 * sb_share_least(at->best.passed, samples));
}

enum sb_status sb_maps_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err)
{
  const struct sb_study *study = report->study;
  const struct sb_map_point *points = sb_map_points(report);
  const bool has_charge = sb_maps_have_charge(study);
  sb_words_say(out, 0, 0, "thresholds between %s and %s%s", study->slower, study->faster,
               has_charge ? " over the discharge" : "");
  if (study->samples > 0) {
    sb_words_say(out, 0, 0, "%ld random samples of the tolerances%s, seed %ld", study->samples,
                 has_charge ? " at each charge" : "", study->seed);
  }
  if (has_charge) {
    fprintf(out, "the scenario's own: downshift %.6g %%, upshift %.6g %%\n\n",
            sb_fields_rounded_percent(study->downshift_fraction), sb_fields_rounded_percent(study->upshift_fraction));
    write_charges(out, report);
    return SB_OK;
  }
  fputc('\n', out);
  const enum sb_status status =
      sb_passing_write_picture(out, &points->passing, study->downshift_fraction, study->upshift_fraction,
                               study->is_whole, points->shares.never_shift > 0.0, err);
  if (status == SB_OK) write_best(out, study, points);
  return status;
}
