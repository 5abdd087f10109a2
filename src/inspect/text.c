// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - what inspect found, for people. */
#include <math.h>
#include <string.h>

#include "inspect/report.h"
#include "text/words.h"

enum { SHIFTS_SHOWN = 12, SPELLS_SHOWN = 3, HINTS_SHOWN = 3, LABEL_WIDTH = 11 };

/* Less noise than this, in rpm or percent, is none; and a smaller share of missing values is none. */
static const double hardly_any = 1e-3, missing_least = 5e-4;

/* Of the hints behind the first one, those that remove less are not shown. */
static const double gain_shown = 0.01;

static void write_source(FILE *out, const struct sb_inspection *found)
{
  struct sb_sentence ratios = {0};
  switch (found->source) {
    case SB_INSPECT_GEAR: fputs("Gears      from the column gear\n", out); break;
    case SB_INSPECT_RATIO:
      for (int g = 0; g < found->gear_count; g++) {
        sb_words_add(&ratios, "%s %.4g", g > 0 ? "," : "", found->ratios[g]);
      }
      sb_words_say(out, 0, LABEL_WIDTH, "Gears      from the ratio of motor speed to output speed:%s", ratios.text);
      break;
    default:
      sb_words_say(
          out, 0, LABEL_WIDTH,
          "Gears      from the %s alone, by %s. This is the least reliable way: motor and output speed together "
          "show more.",
          found->is_reading ? "reading" : "motor speed",
          found->is_by_course      ? "the most likely course of the scenario's machine"
          : found->is_by_direction ? "its direction of rotation"
                                   : "its sudden changes");
  }
}

static void write_quality(FILE *out, const struct sb_inspection *found)
{
  if (found->noise_rpm >= hardly_any) {
    sb_words_say(out, 0, LABEL_WIDTH, "Values     every %.4g s; noise and rounding are about %.2g %s",
                 found->interval_s, found->noise_rpm, found->is_reading_noise ? "%" : "rpm of the motor");
  } else {
    sb_words_say(out, 0, LABEL_WIDTH, "Values     every %.4g s; there is hardly any noise", found->interval_s);
  }
  if (found->missing_fraction > missing_least) {
    sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH, "%.1f %% are missing", 100.0 * found->missing_fraction);
  }
  if (found->gap_count > 0) {
    sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH,
                 "%zu gap%s, the longest %.3g s from %.3f s on: what happened there is not known", found->gap_count,
                 sb_words_plural(found->gap_count), found->longest_gap_s, found->longest_gap_at_s);
  }
}

/* The first of each kind are written in full. */
struct verdict_writer {
  FILE *out;
  size_t counts[SB_VERDICT_KIND_COUNT];
};

static void write_verdict(void *context, const struct sb_verdict *verdict, const struct sb_verdict_words *words)
{
  struct verdict_writer *writer = context;
  if (++writer->counts[verdict->kind] <= SPELLS_SHOWN) sb_words_say(writer->out, 2, 4, "- %s.", words->text);
}

/* What was not found is no all-clear where the log may hide it. */
static void write_doubt(FILE *out, const struct sb_inspection *found)
{
  if (!sb_inspect_is_undecided(found)) return;
  if (found->unjudged_count > 0) {
    sb_words_say(out, 2, 4,
                 "- Whether the gearbox hunts is undecided: from %.3f s on it shifts to and fro at least three times, "
                 "slower than the hunting window. It is hunting when the load did not ask for these shifts. A log with "
                 "load_torque_nm beside a scenario (--against) shows it.",
                 found->unjudged_s);
  }
  if (!found->may_hide_shifts) return;
  sb_words_say(out, 2, 4,
               "- Hunting was not found, but this log cannot show that there is none: a shift can leave the %s nearly "
               "unchanged. A log of the gear, or of the motor's and the output's speed, shows it.",
               found->is_reading ? "reading" : "motor's speed");
}

static void write_verdicts(FILE *out, const struct sb_inspect_report *report)
{
  struct verdict_writer writer = {.out = out};
  fputs("\nVerdicts\n", out);
  sb_inspect_each_verdict(report, write_verdict, &writer);
  write_doubt(out, report->found);
  const bool has_verdicts = report->found->hunt_count + report->found->rest_count > 0;
  if (!has_verdicts && !sb_inspect_is_undecided(report->found)) fputs("  nothing to report\n", out);
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    const size_t count = writer.counts[kind];
    if (count <= SPELLS_SHOWN) continue;
    fprintf(out, "  - %s: %zu more times\n", sb_verdict_name((enum sb_verdict_kind)kind), count - SPELLS_SHOWN);
  }
}

static void write_shifts(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  char from[SB_NAME_SIZE], to[SB_NAME_SIZE];
  if (found->shift_count == 0) {
    fputs("\nShifts: none\n", out);
  } else {
    fprintf(out, "\nShifts%14s%12s   from -> to\n", "command", "engaged");
  }
  for (size_t i = 0; i < found->shift_count && i < SHIFTS_SHOWN; i++) {
    const struct sb_inspect_shift *shift = &found->shifts[i];
    char engaged[32] = "not yet";
    if (isfinite(shift->engaged_s)) snprintf(engaged, sizeof engaged, "%.3f s", shift->engaged_s);
    sb_words_say(out, 7, 35, "%11.3f s%12s   %s -> %s", shift->command_s, engaged,
                 sb_inspect_gear_words(report, shift->from, from), sb_inspect_gear_words(report, shift->to, to));
  }
  if (found->shift_count > SHIFTS_SHOWN) fprintf(out, "       and %zu more\n", found->shift_count - SHIFTS_SHOWN);
}

static void write_times(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  struct sb_sentence times = {0};
  char name[SB_NAME_SIZE];
  for (int g = 1; g <= found->gear_count; g++) {
    sb_words_add(&times, "%s %.4g s, ", sb_inspect_gear_words(report, g, name), found->gear_time_s[g]);
  }
  fputc('\n', out);
  sb_words_say(out, 0, LABEL_WIDTH, "Time       %sneutral or not known %.3g s", times.text, found->gear_time_s[0]);
  if (isnan(found->least_pause_s)) return;
  sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH,
               "The shortest time from one shift to the next is %.3g s: the dwell is at most that long.",
               found->least_pause_s);
}

static void write_columns(FILE *out, const struct sb_overlay *overlay)
{
  fprintf(out, "\n%-16s%12s%14s%10s%14s   unit\n", "Differences", "tolerance", "greatest", "at", "deviates at");
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    const struct sb_overlay_column *column = &overlay->columns[c];
    char first[32] = "never";
    if (!column->is_compared) continue;
    if (!isnan(column->first_deviation_s)) snprintf(first, sizeof first, "%.3f s", column->first_deviation_s);
    sb_words_say(out, 2, 2, "%-14s%12.3g%14.3g %7.3f s%14s   %s", sb_log_columns[c].words, column->tolerance,
                 column->greatest, column->greatest_s, first, sb_log_columns[c].unit);
  }
}

static void write_hint(FILE *out, const struct sb_hint *hint)
{
  struct sb_sentence change = {0};
  if (hint->is_factor) {
    sb_words_add(&change, "x %.4g", hint->best);
  } else {
    sb_words_add(&change, "%.4g -> %.4g%s%s", hint->written, hint->best, hint->unit[0] != 0 ? " " : "", hint->unit);
  }
  sb_words_say(out, 2, 10, "%4.0f %%  %s %s%s", 100.0 * hint->gain, hint->path, change.text,
               hint->is_at_end ? " (the end of the range that was tried)" : "");
}

static void write_hints(FILE *out, const struct sb_explanation *explanation)
{
  const struct sb_hint *hints = explanation->hints;
  bool is_of_motor = false;
  fputc('\n', out);
  sb_words_say(out, 0, 0,
               explanation->is_found
                   ? "A hint, not a finding: share of squared difference that one change removes"
                   : "No single number of the scenario explains the difference. The best ones that were tried remove "
                     "this share of the squared difference:");
  for (size_t i = 0; i < explanation->count && i < HINTS_SHOWN && (i == 0 || hints[i].gain > gain_shown); i++) {
    write_hint(out, &hints[i]);
    is_of_motor |= strcmp(hints[i].path, "motor.no_load_speed") == 0;
  }
  if (explanation->is_shared) {
    sb_words_say(out, 2, 2, "The first two explain nearly the same share: this log cannot show which one is true.");
  }
  if (is_of_motor) {
    sb_words_say(out, 2, 2,
                 "The controller's reference speed was kept: give controller.reference_speed when you change "
                 "motor.no_load_speed.");
  }
}

static void write_comparison(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_overlay *overlay = &report->beside->overlay;
  const size_t shifts = report->beside->found.shift_count;
  fputc('\n', out);
  sb_words_say(out, 0, LABEL_WIDTH, "Simulated  %s: %zu shift%s, in the log %zu", report->scenario->model.name, shifts,
               sb_words_plural(shifts), report->found->shift_count);
  if (report->beside->ends_s < report->found->end_s) {
    sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH, "compared up to %.4g s, where the scenario's run ends",
                 report->beside->ends_s);
  }
  if (isnan(overlay->first_deviation_s)) {
    sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH, "Log and simulation agree within the tolerance all the time.");
  } else {
    sb_words_say(out, LABEL_WIDTH, LABEL_WIDTH, "Log and simulation first deviate at %.3f s, in the %s.",
                 overlay->first_deviation_s, sb_log_columns[overlay->first].words);
  }
  write_columns(out, overlay);
  if (report->beside->explanation.count > 0) write_hints(out, &report->beside->explanation);
}

void sb_inspect_write_text(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  fprintf(out, "%s\n%.4g s from %.4g s on, %zu rows\n\n", report->trace, found->end_s - found->begin_s, found->begin_s,
          report->log->count);
  write_source(out, found);
  write_quality(out, found);
  write_verdicts(out, report);
  write_shifts(out, report);
  write_times(out, report);
  if (report->beside != NULL) write_comparison(out, report);
}
