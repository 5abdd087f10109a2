// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - a fit for people. */
#include <math.h>
#include <stdio.h>

#include "fit/show.h"
#include "text/words.h"

enum { OUTLIERS_SHOWN = 8, EXPLAINED_COUNT_MIN = 4 };

/* A channel that is explained less than this may hold something else than it is taken for. */
static const double explained_least = 0.9;

/* ---- logs ---- */

static const char *phase_words(const struct sb_fit_origin *origin)
{
  if (!origin->is_dynamic) return "points in steady state";
  switch (origin->phase) {
    case SB_FIT_SPIN_UP: return "spin-up";
    case SB_FIT_COAST_DOWN: return "coast-down";
    case SB_FIT_BOTH: return "spin-up and coast-down";
    case SB_FIT_PHASE_FIND: break;
  }
  return "driven at the logged duty";
}

static void write_heading(const struct sb_log *log, const struct sb_fit_origin *origin, FILE *out)
{
  if (origin->shift_count > 0) {
    fprintf(out, "%s: %d shift%s\n", log->path, origin->shift_count, sb_words_plural((size_t)origin->shift_count));
  } else {
    fprintf(out, "%s: %s\n", log->path, phase_words(origin));
  }
}

/* The lines in which a channel's outliers stand, the first of them. */
static void add_outliers(const struct sb_fit_result *result, const struct sb_log *log,
                         const struct sb_fit_channel *channel, struct sb_sentence *text)
{
  size_t shown = 0;
  if (channel->outlier_count == 0) return;
  sb_words_add(text, "; %zu left out as outlier%s (line%s", channel->outlier_count,
               sb_words_plural(channel->outlier_count), sb_words_plural(channel->outlier_count));
  for (size_t i = 0; i < result->reading_count && shown < OUTLIERS_SHOWN; i++) {
    const struct sb_fit_reading *reading = &result->readings[i];
    if (reading->log != channel->log || reading->column != channel->column || !reading->is_outlier) continue;
    sb_words_add(text, "%s %ld", shown > 0 ? "," : "", log->lines[reading->row]);
    shown++;
  }
  sb_words_add(text, "%s)", channel->outlier_count > shown ? ", ..." : "");
}

static void write_channel(const struct sb_fit_result *result, const struct sb_log *log,
                          const struct sb_fit_channel *channel, FILE *out)
{
  const struct sb_shown_unit unit = sb_show_column_unit(channel->column);
  struct sb_sentence text = {0};
  sb_words_add(&text, "%zu reading%s of %s, ", channel->count, sb_words_plural(channel->count),
               channel->column == SB_LOG_OUTPUT_SPEED ? "output speed" : sb_log_column_short_name(channel->column));
  if (channel->freedom > 0.0) {
    sb_words_add(&text, "standard deviation %.3g %s", channel->sd * unit.per_si, unit.name);
  } else {
    sb_words_add(&text, "too few for a standard deviation: %.3g %s assumed", channel->sd * unit.per_si, unit.name);
  }
  if (channel->quantum > 0.5 * channel->sd) {
    sb_words_add(&text, ", rounded to %.3g %s", channel->quantum * unit.per_si, unit.name);
  }
  add_outliers(result, log, channel, &text);
  sb_words_say(out, 2, 4, "%s", text.text);
  if (channel->explained_fraction < explained_least && channel->count >= EXPLAINED_COUNT_MIN) {
    sb_words_say(out, 4, 4,
                 "The fit explains only %.0f %% of their variance: is a column or a unit wrong, or does something else "
                 "act on the machine?",
                 fmax(100.0 * channel->explained_fraction, 0.0));
  }
  if (channel->deviating_count > 0) {
    sb_words_say(out, 4, 4,
                 "%zu of them in successive rows deviate together: there the machine moves in another way "
                 "than the model.",
                 channel->deviating_count);
  }
}

static void write_origin(const struct sb_fit_origin *origin, FILE *out)
{
  if (isfinite(origin->start_se_s)) {
    const bool is_switch = origin->phase != SB_FIT_PHASE_FIND || origin->shift_count > 0;
    fprintf(out, "  %s %.6g s +- %.2g s by the log's clock\n", is_switch ? "switched on at" : "the speeds are late by",
            origin->start_s, origin->start_se_s);
  }
  if (isfinite(origin->off_se_s)) fprintf(out, "  switched off at %.6g s +- %.2g s\n", origin->off_s, origin->off_se_s);
}

static void write_corner(const struct sb_fit_corner *corner, FILE *out)
{
  if (corner->point_count == 0) return;
  const struct sb_shown_unit unit = sb_show_column_unit(SB_LOG_MOTOR_SPEED);
  sb_words_say(
      out, 2, 4,
      "%zu points below %.4g %s have one current, %.4g A, where the motor's line would bring more: a driver holds it "
      "there (drive.current_limit). They are left out, and logs over time are calculated with it.",
      corner->point_count, corner->speed_rad_s * unit.per_si, unit.name, corner->current_a);
}

static void write_log(const struct sb_fit_result *result, const struct sb_log *log, size_t index, FILE *out)
{
  write_heading(log, &result->origins[index], out);
  for (size_t c = 0; c < result->channel_count; c++) {
    if (result->channels[c].log == (int)index) write_channel(result, log, &result->channels[c], out);
  }
  write_corner(&result->origins[index].corner, out);
  if (log->gap_count > 0) {
    fprintf(out, "  %zu gap%s, the longest %.3g s\n", log->gap_count, sb_words_plural(log->gap_count),
            log->longest_gap_s);
  }
  if (log->time_s == NULL && log->columns[SB_LOG_TORQUE] == NULL) {
    fputs("  There is no torque column: the motor is taken as running without load.\n", out);
  }
  if (log->ignored[0] != 0) sb_words_say(out, 2, 4, "columns not used: %s", log->ignored);
  write_origin(&result->origins[index], out);
}

/* ---- figures ---- */

static void write_figure(const struct sb_fit_result *result, enum sb_fit_figure_kind kind, FILE *out)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  const struct sb_shown_unit unit = sb_show_unit(kind, figure->value);
  const char *words = sb_fit_figures[kind].words;
  char value[32], error[32], least[32], greatest[32];
  const double se = figure->standard_error * unit.per_si;
  switch (figure->state) {
    case SB_FIT_ABSENT: break;
    case SB_FIT_UNDETERMINED: fprintf(out, "  %-23s not determined by these data\n", words); break;
    case SB_FIT_GIVEN:
      fprintf(out, "  %-23s %10s %-9s (given)\n", words, sb_show_number(figure->value * unit.per_si, NAN, value),
              unit.name);
      break;
    case SB_FIT_DETERMINED:
      sb_words_say(out, 2, 46, "%-23s %10s %-9s +- %-7s %s..%s", words,
                   sb_show_number(figure->value * unit.per_si, se, value), unit.name, sb_show_number(se, se, error),
                   sb_show_number(figure->least * unit.per_si, se, least),
                   sb_show_number(figure->greatest * unit.per_si, se, greatest));
      break;
  }
}

static void write_figures(const struct sb_fit_result *result, FILE *out)
{
  fputs("\n  figure                       value           standard error, 95 % interval\n", out);
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) write_figure(result, (enum sb_fit_figure_kind)k, out);
  if (result->is_voltage_known) {
    fprintf(out, "  (The motor figures are for %.6g V; the no-load speed includes its friction.)\n",
            result->nominal_voltage_v);
  } else {
    sb_words_say(out, 2, 2,
                 "(The voltage is not known: give it with --voltage or a column, and a scenario can use "
                 "these figures.)");
  }
}

/* Figures of whose intervals the gauges make more than half. */
static void add_gauged(const struct sb_fit_result *result, struct sb_sentence *text)
{
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    const struct sb_fit_figure *figure = &result->figures[k];
    if (figure->state != SB_FIT_DETERMINED || !(figure->gauge_share > 0.5)) continue;
    sb_words_add(text, "%s%s (%.0f %%)", text->length > 0 ? ", " : "", sb_fit_figures[k].words,
                 100.0 * figure->gauge_share);
  }
}

static bool is_any_default(const struct sb_fit_result *result)
{
  bool is_any = false;
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) is_any |= result->is_gauge_used[g] && result->gauges[g].is_default;
  return is_any;
}

static void write_gauges(const struct sb_fit_result *result, FILE *out)
{
  struct sb_sentence gauges = {0}, gauged = {0};
  sb_show_gauges(result, &gauges);
  add_gauged(result, &gauged);
  fputc('\n', out);
  if (gauges.length == 0) {
    sb_words_say(out, 0, 0, "The gauges are taken as exact; the intervals are those of noise alone.");
    return;
  }
  sb_words_say(out, 0, 0, "In all its readings alike a gauge may be wrong by: %s%s.", gauges.text,
               is_any_default(result) ? " (common practice where --gauge does not say better)" : "");
  if (gauged.length > 0) {
    sb_words_say(out, 0, 0, "Exact gauges would narrow these intervals by more than half: %s.", gauged.text);
  }
}

/* ---- what the data leave open ---- */

/* All parameters of a direction in words: "stall torque, motor friction and rotor inertia". */
static void add_names(const struct sb_fit_undetermined *open, struct sb_sentence *text)
{
  int count = 0, said = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) count += open->shares[j] != 0.0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (open->shares[j] == 0.0) continue;
    sb_words_add(text, "%s%s", said == 0 ? "" : said + 1 == count ? " and " : ", ", sb_fit_parameter_words[j]);
    said++;
  }
}

static const char *relation_words(const struct sb_fit_undetermined *open)
{
  static const char *const words[] = {
      [SB_FIT_ALONE] = "these data hardly depend on it",
      [SB_FIT_TOGETHER] = "they can all grow by the same factor without any change in these data; only their ratios "
                          "are determined",
      [SB_FIT_OPPOSITE] = "one can grow as the other shrinks without any change in these data; only their product is "
                          "determined",
      [SB_FIT_PROPORTION] = "they can change together, in fixed proportions, without any change in these data"};
  return open->is_vague ? "these data leave it too uncertain to be of use" : words[open->relation];
}

static void write_open(const struct sb_fit_undetermined *open, FILE *out)
{
  struct sb_sentence names = {0};
  add_names(open, &names);
  sb_words_say(out, 2, 4, "- %s: %s.", names.text, relation_words(open));
  if (open->advice != NULL) sb_words_say(out, 4, 6, "To determine this, %s.", open->advice);
}

static void write_all_open(const struct sb_fit_result *result, FILE *out)
{
  bool has_vague = false;
  fputs("\nWhat these data do not determine:\n", out);
  for (size_t k = 0; k < result->undetermined_count; k++) {
    write_open(&result->undetermined[k], out);
    has_vague |= result->undetermined[k].is_vague;
  }
  if (result->advice_count != 1) return;
  sb_words_say(out, 0, 0, "%s: %s.",
               has_vague ? "This measurement would help most" : "One more measurement determines all of it",
               result->advice[0]);
}

static void write_certainty(const struct sb_fit_result *result, FILE *out)
{
  fputc('\n', out);
  sb_words_say(out, 0, 0, "These data determine all figures; the least certain is the %s.",
               sb_fit_figures[result->least_certain].words);
  if (result->advice_count == 0) return;
  sb_words_say(out, 0, 0, "This measurement would improve it most: %s.", result->advice[0]);
}

static void write_cautions(const struct sb_fit_result *result, FILE *out)
{
  struct sb_doubt doubt;
  if (sb_possible_doubt(result, &doubt)) {
    fputc('\n', out);
    sb_words_say(
        out, 0, 0,
        "Caution: the %s is %s with its whole interval, which no machine's is. It may be chance, as in 1 of 40 "
        "sound logs; if not: %s",
        sb_fit_figures[doubt.kind].words, doubt.beyond, doubt.wrong);
  }
  if (!result->has_unseen_engagement) return;
  fputc('\n', out);
  sb_words_say(out, 0, 0,
               "Caution: the gear column does not show when the next gear engaged (0 while no gear is engaged). The "
               "intervals then contain the true value in about 90 of 100 logs, not in 95.");
}

int sb_fit_write_text(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out)
{
  for (size_t k = 0; k < result->log_count; k++) write_log(result, &logs[k], k, out);
  write_figures(result, out);
  write_gauges(result, out);
  if (result->undetermined_count > 0) {
    write_all_open(result, out);
  } else {
    write_certainty(result, out);
  }
  write_cautions(result, out);
  return ferror(out) ? -1 : 0;
}
