// SPDX-License-Identifier: GPL-3.0-or-later
/* A fit in words. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "fit/show.h"

enum { ASIDE_SHOWN_MAX = 8 };

static const char *phase_words(const struct sb_fit_origin *origin)
{
  if (!origin->is_dynamic) return "settled points";
  switch (origin->phase) {
    case SB_FIT_SPIN_UP: return "spin-up";
    case SB_FIT_COAST_DOWN: return "coast-down";
    case SB_FIT_BOTH: return "spin-up and coast-down";
    case SB_FIT_PHASE_FIND: break;
  }
  return "driven as its duty says";
}

/* ---- logs ---- */

static void write_heading(const struct sb_fit_log *log, const struct sb_fit_origin *origin, FILE *out)
{
  if (origin->shift_count > 0) {
    fprintf(out, "%s: %d shift%s\n", log->path, origin->shift_count, origin->shift_count == 1 ? "" : "s");
  } else {
    fprintf(out, "%s: %s\n", log->path, phase_words(origin));
  }
}

static void write_aside(const struct sb_fit_result *result, const struct sb_fit_log *log, size_t channel, FILE *out)
{
  const struct sb_fit_channel *at = &result->channels[channel];
  size_t shown = 0;
  if (at->aside_count == 0) return;
  fprintf(out, "; %zu set aside as too far off (line%s", at->aside_count, at->aside_count == 1 ? "" : "s");
  for (size_t i = 0; i < result->reading_count && shown < ASIDE_SHOWN_MAX; i++) {
    const struct sb_fit_reading *reading = &result->readings[i];
    if (reading->log != at->log || reading->column != at->column || !reading->is_aside) continue;
    fprintf(out, "%s %ld", shown > 0 ? "," : "", log->lines[reading->row]);
    shown++;
  }
  fprintf(out, "%s)", at->aside_count > shown ? ", ..." : "");
}

/* Share of the readings' variance that the fit explains, without those set aside. */
static double explained(const struct sb_fit_result *result, const struct sb_fit_channel *at)
{
  double mean = 0.0, count = 0.0, spread = 0.0, left = 0.0;
  for (int pass = 0; pass < 2; pass++) {
    for (size_t i = 0; i < result->reading_count; i++) {
      const struct sb_fit_reading *reading = &result->readings[i];
      if (reading->log != at->log || reading->column != at->column || reading->is_aside) continue;
      if (pass == 0) {
        mean += reading->measured;
        count += 1.0;
      } else {
        spread += pow(reading->measured - mean / count, 2.0);
        left += pow(reading->measured - reading->computed, 2.0);
      }
    }
  }
  return spread > 0.0 ? 1.0 - left / spread : 1.0;
}

static void write_channel(const struct sb_fit_result *result, const struct sb_fit_log *log, size_t channel, FILE *out)
{
  const struct sb_fit_channel *at = &result->channels[channel];
  const struct sb_shown_unit unit = sb_show_column_unit(at->column);
  fprintf(out, "  %zu reading%s of %s, ", at->count, at->count == 1 ? "" : "s",
          at->column == SB_FIT_OUTPUT_SPEED ? "output speed" : sb_fit_column_name(at->column));
  if (at->freedom > 0.0) {
    fprintf(out, "%.3g %s around the fit (standard deviation)", at->sd * unit.per_si, unit.name);
  } else {
    fprintf(out, "too few for a spread of their own: %.3g %s assumed", at->sd * unit.per_si, unit.name);
  }
  if (at->quantum > 0.5 * at->sd) fprintf(out, ", rounded to %.3g %s", at->quantum * unit.per_si, unit.name);
  write_aside(result, log, channel, out);
  fputc('\n', out);
  const double share = explained(result, at);
  if (share < 0.9 && at->count > 3) {
    fprintf(
        out,
        "    the fit explains only %.0f %% of how they vary: is a column or a unit wrong, or another thing going on?\n",
        fmax(100.0 * share, 0.0));
  }
  if (at->astray_count > 0) {
    fprintf(out, "    %zu of them in a row lie off together: the machine moves otherwise than the model there\n",
            at->astray_count);
  }
}

static void write_origin(const struct sb_fit_origin *origin, FILE *out)
{
  if (isfinite(origin->start_se_s)) {
    const bool is_switch = origin->phase != SB_FIT_PHASE_FIND || origin->shift_count > 0;
    fprintf(out, "  %s %.6g s +- %.2g s by the log's clock\n", is_switch ? "switched on at" : "speeds come later by",
            origin->start_s, origin->start_se_s);
  }
  if (isfinite(origin->off_se_s)) fprintf(out, "  switched off at %.6g s +- %.2g s\n", origin->off_s, origin->off_se_s);
}

static void write_logs(const struct sb_fit_result *result, const struct sb_fit_log *logs, FILE *out)
{
  for (size_t k = 0; k < result->log_count; k++) {
    write_heading(&logs[k], &result->origins[k], out);
    for (size_t c = 0; c < result->channel_count; c++) {
      if (result->channels[c].log == (int)k) write_channel(result, &logs[k], c, out);
    }
    if (logs[k].gap_count > 0) {
      fprintf(out, "  %zu gap%s, the longest %.3g s\n", logs[k].gap_count, logs[k].gap_count == 1 ? "" : "s",
              logs[k].longest_gap_s);
    }
    if (logs[k].columns[SB_FIT_TIME] == NULL && logs[k].columns[SB_FIT_TORQUE] == NULL) {
      fputs("  no torque column: taken as running free\n", out);
    }
    if (logs[k].ignored[0] != 0) fprintf(out, "  columns not used: %s\n", logs[k].ignored);
    write_origin(&result->origins[k], out);
  }
}

/* ---- figures ---- */

static void write_figure(const struct sb_fit_result *result, enum sb_fit_figure_kind kind, FILE *out)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  const struct sb_shown_unit unit = sb_show_unit(kind, figure->value);
  char value[32], error[32], least[32], greatest[32];
  const double se = figure->standard_error * unit.per_si;
  if (figure->word == SB_FIT_ABSENT) return;
  fprintf(out, "  %-26s", sb_fit_figure_words(kind));
  if (figure->word == SB_FIT_UNTOLD) {
    fputs(" not told by these data\n", out);
  } else if (figure->word == SB_FIT_GIVEN) {
    fprintf(out, " %11s %-9s (given)\n", sb_show_number(figure->value * unit.per_si, NAN, value), unit.name);
  } else {
    fprintf(out, " %11s %-9s +- %-9s %s..%s\n", sb_show_number(figure->value * unit.per_si, se, value), unit.name,
            sb_show_number(se, se, error), sb_show_number(figure->least * unit.per_si, se, least),
            sb_show_number(figure->greatest * unit.per_si, se, greatest));
  }
}

static void write_figures(const struct sb_fit_result *result, FILE *out)
{
  fputs("\n  figure                           value           standard error and 95 % interval\n", out);
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) write_figure(result, (enum sb_fit_figure_kind)k, out);
  if (result->is_voltage_known) {
    fprintf(out, "  (motor figures at %.6g V; its friction included in the no-load speed)\n",
            result->nominal_voltage_v);
  } else {
    fputs("  (the voltage is not known: give it by --voltage or a column, and a scenario can use these figures)\n",
          out);
  }
  const struct sb_fit_figure *ratio = &result->figures[SB_FIT_KT_OVER_KE];
  if (ratio->word == SB_FIT_TOLD && (ratio->least > 1.15 || ratio->greatest < 0.85)) {
    fprintf(out, "  kt / ke = %.3g: without a gearhead they would be equal; is one figure in a wrong unit?\n",
            ratio->value);
  }
}

/* ---- what cannot be told ---- */

/* All parameters of a direction in words: "stall torque, motor friction and rotor inertia". */
static void write_names(const struct sb_fit_blind *blind, FILE *out)
{
  int count = 0, said = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) count += blind->shares[j] != 0.0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (blind->shares[j] == 0.0) continue;
    fprintf(out, "%s%s",
            said == 0           ? ""
            : said + 1 == count ? " and "
                                : ", ",
            sb_fit_parameter_words((enum sb_fit_parameter)j));
    said++;
  }
}

static void write_blind(const struct sb_fit_blind *blind, FILE *out)
{
  int count = 0, together = 0, against = 0;
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    count += blind->shares[j] != 0.0;
    together += fabs(blind->shares[j] - 1.0) < 0.1;
    against += fabs(blind->shares[j] + 1.0) < 0.1;
  }
  fputs("  - ", out);
  write_names(blind, out);
  if (blind->is_vague) {
    fputs(": these data leave it too wide to be of use\n", out);
  } else if (count == 1) {
    fputs(": these data hardly depend on it\n", out);
  } else if (together == count) {
    fputs(" can grow and shrink together without any change in these data: only their ratios are told\n", out);
  } else if (count == 2 && together == 1 && against == 1) {
    fputs(": one can take the place of the other: only their product is told\n", out);
  } else {
    fputs(" can change together, in fixed proportions, without any change in these data\n", out);
  }
  if (blind->advice != NULL) fprintf(out, "    what would tell: %s\n", blind->advice);
}

static void write_unknown(const struct sb_fit_result *result, FILE *out)
{
  if (result->blind_count > 0) {
    fputs("\nWhat these data cannot tell:\n", out);
    bool has_vague = false;
    for (size_t k = 0; k < result->blind_count; k++) {
      write_blind(&result->blind[k], out);
      has_vague |= result->blind[k].is_vague;
    }
    if (result->advice_count == 1) {
      fprintf(out, "%s: %s.\n", has_vague ? "What would help most" : "One more measurement settles it",
              result->advice[0]);
    }
    return;
  }
  fprintf(out, "\nThese data tell all of it; %s is the least certain.\n", sb_fit_figure_words(result->vaguest));
  if (result->advice_count > 0) fprintf(out, "What would sharpen it most: %s.\n", result->advice[0]);
}

/* A gear column without rows in neutral leaves it to the shifter's law, and to what is sought, when the next gear engaged. */
static void write_shift_caution(const struct sb_fit_result *result, FILE *out)
{
  bool is_unseen = false;
  for (size_t k = 0; k < result->log_count; k++) {
    is_unseen |= result->origins[k].shift_count > 0 && !result->origins[k].is_engagement_seen;
  }
  if (!is_unseen) return;
  fputs("\nCaution: the gear column does not say when the next gear engaged (0 while none is in mesh). Intervals then\n"
        "hold the truth in some 90 of 100 logs, not in 95.\n",
        out);
}

int sb_fit_write_text(const struct sb_fit_result *result, const struct sb_fit_setup *setup,
                      const struct sb_fit_log *logs, FILE *out)
{
  (void)setup;
  write_logs(result, logs, out);
  write_figures(result, out);
  write_unknown(result, out);
  write_shift_caution(result, out);
  return ferror(out) ? -1 : 0;
}
