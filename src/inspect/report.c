// SPDX-License-Identifier: GPL-3.0-or-later
/* report.c - see inspect_report.h. */
#include "inspect/report.h"

#include <math.h>
#include <string.h>

#include "text/json.h"

enum { SHIFTS_SHOWN = 12, SPELLS_SHOWN = 3, HINTS_SHOWN = 3 };

/* Less noise than this, in rpm or percent, is none. */
static const double hardly_any = 1e-3;

/* A hint is worth telling from this share on; two explain alike when what they leave differs by less than this factor, and
 * a little. */
static const double gain_least = 0.2, left_alike = 1.25, left_little = 0.02;

static const char *gear_name(const struct sb_inspect_report *report, int gear, char text[SB_NAME_SIZE])
{
  const struct sb_gearbox *gearbox = report->scenario != NULL ? &report->scenario->model.gearbox : NULL;
  if (gear <= 0) {
    snprintf(text, SB_NAME_SIZE, "a gear that is not known");
  } else if (gearbox != NULL && gear <= gearbox->gear_count) {
    snprintf(text, SB_NAME_SIZE, "%s", gearbox->gears[gear - 1].name);
  } else {
    snprintf(text, SB_NAME_SIZE, "gear %d", gear);
  }
  return text;
}

static void write_source(FILE *out, const struct sb_inspection *found)
{
  switch (found->source) {
    case SB_INSPECT_GEAR: fputs("Gears      from the column gear\n", out); break;
    case SB_INSPECT_RATIO:
      fputs("Gears      from the ratio of motor and output speed:", out);
      for (int g = 0; g < found->gear_count; g++) fprintf(out, "%s %.4g", g > 0 ? "," : "", found->ratios[g]);
      fputc('\n', out);
      break;
    default:
      fprintf(out, "Gears      from the %s alone, by %s: the weakest way; motor and output speed tell more\n",
              found->is_reading ? "reading" : "motor's speed",
              found->is_by_sense ? "the sense in which it turns" : "where it leaves its course at once");
  }
}

static void write_quality(FILE *out, const struct sb_inspection *found)
{
  fprintf(out, "Values     every %.4g s", found->interval_s);
  if (found->noise_rpm >= hardly_any) {
    fprintf(out, "; noise and rounding about %.2g %s\n", found->noise_rpm,
            found->is_reading_noise ? "%" : "rpm of the motor");
  } else {
    fputs("; hardly any noise\n", out);
  }
  if (found->missing_fraction > 0.0005)
    fprintf(out, "           %.1f %% are missing\n", 100.0 * found->missing_fraction);
  if (found->hole_count > 0) {
    fprintf(out, "           %zu hole%s, the longest %.3g s from %.3f s on: what happens in there is not seen\n",
            found->hole_count, found->hole_count == 1 ? "" : "s", found->longest_hole_s, found->longest_hole_at_s);
  }
}

static void write_verdicts(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  char a[SB_NAME_SIZE], b[SB_NAME_SIZE];
  fputs("\nVerdicts\n", out);
  if (found->hunt_count + found->rest_count == 0) fputs("  nothing to report\n", out);
  for (size_t i = 0; i < found->hunt_count && i < SPELLS_SHOWN; i++) {
    const struct sb_inspect_hunt *hunt = &found->hunts[i];
    fprintf(out, "  - Hunts between %s and %s every %.3g s from %.3f s to %.3f s, %zu shifts\n",
            gear_name(report, hunt->low_gear, a), gear_name(report, hunt->low_gear + 1, b), hunt->period_s,
            hunt->first_s, hunt->last_s, hunt->count);
  }
  if (found->hunt_count > SPELLS_SHOWN)
    fprintf(out, "  - and %zu more spells of hunting\n", found->hunt_count - SPELLS_SHOWN);
  for (size_t i = 0; i < found->rest_count && i < SPELLS_SHOWN; i++) {
    const struct sb_inspect_rest *rest = &found->rests[i];
    fprintf(out, "  - Stalls in %s from %.3f s to %.3f s: at rest for %.3g s\n", gear_name(report, rest->gear, a),
            rest->from_s, rest->to_s, rest->to_s - rest->from_s);
  }
  if (found->rest_count > SPELLS_SHOWN) fprintf(out, "  - and %zu more stalls\n", found->rest_count - SPELLS_SHOWN);
}

/* Shortest time from one shift to the next; NAN for fewer than two. */
static double shortest_wait_s(const struct sb_inspection *found)
{
  double shortest = NAN;
  for (size_t i = 1; i < found->shift_count; i++) {
    const double wait_s = found->shifts[i].left_s - found->shifts[i - 1].left_s;
    if (!(wait_s >= shortest)) shortest = wait_s;
  }
  return shortest;
}

static void write_shifts(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  char a[SB_NAME_SIZE], b[SB_NAME_SIZE];
  if (found->shift_count == 0) {
    fputs("\nShifts: none\n", out);
  } else {
    fprintf(out, "\nShifts%14s%12s   from -> to\n", "left", "engaged");
  }
  for (size_t i = 0; i < found->shift_count && i < SHIFTS_SHOWN; i++) {
    const struct sb_inspect_shift *shift = &found->shifts[i];
    fprintf(out, "       %11.3f s  %8.3f s   %s -> %s\n", shift->left_s, shift->engaged_s,
            gear_name(report, shift->from, a), gear_name(report, shift->to, b));
  }
  if (found->shift_count > SHIFTS_SHOWN) fprintf(out, "       and %zu more\n", found->shift_count - SHIFTS_SHOWN);
  fputs("\nTime       ", out);
  for (int g = 1; g <= found->gear_count; g++) {
    fprintf(out, "%s %.4g s, ", gear_name(report, g, a), found->gear_time_s[g]);
  }
  fprintf(out, "between or not known %.3g s\n", found->gear_time_s[0]);
  const double wait_s = shortest_wait_s(found);
  if (!isnan(wait_s))
    fprintf(out, "           shortest from one shift to the next %.3g s: the dwell is no longer\n", wait_s);
}

static void write_columns(FILE *out, const struct sb_overlay *overlay)
{
  fprintf(out, "\n%-16s%12s%14s%10s%12s   in\n", "Differences", "tolerance", "greatest", "at", "part at");
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    const struct sb_overlay_column *column = &overlay->columns[c];
    char parts[32] = "never";
    if (!column->is_compared) continue;
    if (!isnan(column->parts_s)) snprintf(parts, sizeof parts, "%.3f s", column->parts_s);
    fprintf(out, "  %-14s%12.3g%14.3g %7.3f s%12s   %s\n", sb_log_column_words((enum sb_log_column)c),
            column->tolerance, column->greatest, column->greatest_s, parts, sb_log_column_unit((enum sb_log_column)c));
  }
}

static void write_hint(FILE *out, const struct sb_hint *hint)
{
  fprintf(out, "  %4.0f %%  %s", 100.0 * hint->gain, hint->path);
  if (hint->is_factor) {
    fprintf(out, " x %.4g", hint->best);
  } else {
    fprintf(out, " %.4g -> %.4g%s%s", hint->written, hint->best, hint->unit[0] != 0 ? " " : "", hint->unit);
  }
  fprintf(out, "%s\n", hint->is_at_end ? " (the end of what was tried)" : "");
}

static void write_hints(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_hint *hints = report->hints;
  if (report->hint_count == 0) return;
  if (hints[0].gain < gain_least) {
    fputs("\nNo single number of the scenario explains the difference; the best of those tried takes away:\n", out);
  } else {
    fputs("\nA hint, not a finding: changing one number alone would take away this much of the squared difference\n",
          out);
  }
  bool is_of_motor = false;
  for (size_t i = 0; i < report->hint_count && i < HINTS_SHOWN && (i == 0 || hints[i].gain > 0.01); i++) {
    write_hint(out, &hints[i]);
    is_of_motor |= strcmp(hints[i].path, "motor.no_load_speed") == 0;
  }
  const bool is_alike =
      report->hint_count > 1 && 1.0 - hints[1].gain <= left_alike * (1.0 - hints[0].gain) + left_little;
  if (is_alike && hints[0].gain >= gain_least) {
    fputs("  They explain nearly alike: this log cannot tell them apart.\n", out);
  }
  if (is_of_motor) {
    fputs(
        "  The controller's reference stays: give it (controller.reference_speed) when you change motor.no_load_speed.\n",
        out);
  }
}

static void write_beside(FILE *out, const struct sb_inspect_report *report)
{
  const struct sb_overlay *overlay = report->overlay;
  fprintf(out, "\nBeside     %s, simulated: %zu shift%s there, %zu here\n", report->scenario->model.name,
          report->simulated->shift_count, report->simulated->shift_count == 1 ? "" : "s", report->found->shift_count);
  if (report->compared_to_s < report->found->end_s) {
    fprintf(out, "           compared up to %.4g s, where the scenario's run ends\n", report->compared_to_s);
  }
  if (isnan(overlay->parts_s)) {
    fputs("           log and simulation agree within the tolerance all the time\n", out);
  } else {
    fprintf(out, "           they part first at %.3f s, in the %s\n", overlay->parts_s,
            sb_log_column_words(overlay->first));
  }
  write_columns(out, overlay);
  write_hints(out, report);
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
  if (report->overlay != NULL) write_beside(out, report);
}

static void put_shifts(struct sb_json *json, const struct sb_inspection *found)
{
  sb_json_put_array(json, "shifts");
  for (size_t i = 0; i < found->shift_count; i++) {
    sb_json_open_object(json);
    sb_json_put_number(json, "left_s", found->shifts[i].left_s);
    sb_json_put_number(json, "engaged_s", found->shifts[i].engaged_s);
    sb_json_put_integer(json, "from", found->shifts[i].from);
    sb_json_put_integer(json, "to", found->shifts[i].to);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_verdicts(struct sb_json *json, const struct sb_inspection *found)
{
  sb_json_put_array(json, "verdicts");
  for (size_t i = 0; i < found->hunt_count; i++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "kind", "hunting");
    sb_json_put_number(json, "first_s", found->hunts[i].first_s);
    sb_json_put_number(json, "last_s", found->hunts[i].last_s);
    sb_json_put_integer(json, "count", (long long)found->hunts[i].count);
    sb_json_put_number(json, "period_s", found->hunts[i].period_s);
    sb_json_put_integer(json, "low_gear", found->hunts[i].low_gear);
    sb_json_close(json);
  }
  for (size_t i = 0; i < found->rest_count; i++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "kind", "stall");
    sb_json_put_number(json, "first_s", found->rests[i].from_s);
    sb_json_put_number(json, "last_s", found->rests[i].to_s);
    sb_json_put_integer(json, "gear", found->rests[i].gear);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_found(struct sb_json *json, const struct sb_inspection *found)
{
  static const char *const sources[] = {"", "gear", "ratio", "motor"};
  sb_json_put_string(json, "source", sources[found->source]);
  sb_json_put_array(json, "ratios");
  for (int g = 0; g < found->gear_count && found->source == SB_INSPECT_RATIO; g++)
    sb_json_number(json, found->ratios[g]);
  sb_json_close(json);
  sb_json_put_array(json, "gear_time_s");
  for (int g = 1; g <= found->gear_count; g++) sb_json_number(json, found->gear_time_s[g]);
  sb_json_close(json);
  sb_json_put_number(json, "between_s", found->gear_time_s[0]);
  sb_json_put_number(json, "noise", found->noise_rpm);
  sb_json_put_number(json, "missing_fraction", found->missing_fraction);
  sb_json_put_integer(json, "holes", (long long)found->hole_count);
  put_verdicts(json, found);
  put_shifts(json, found);
}

static void put_columns(struct sb_json *json, const struct sb_overlay *overlay)
{
  sb_json_put_array(json, "columns");
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    const struct sb_overlay_column *column = &overlay->columns[c];
    if (!column->is_compared) continue;
    sb_json_open_object(json);
    sb_json_put_string(json, "name", sb_log_column_name((enum sb_log_column)c));
    sb_json_put_number(json, "tolerance", column->tolerance);
    sb_json_put_number(json, "greatest", column->greatest);
    sb_json_put_number(json, "greatest_s", column->greatest_s);
    sb_json_put_number(json, "parts_s", column->parts_s);
    sb_json_put_number(json, "parted_fraction", column->parted_fraction);
    sb_json_put_number(json, "rms", column->rms);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_beside(struct sb_json *json, const struct sb_inspect_report *report)
{
  sb_json_put_object(json, "against");
  sb_json_put_string(json, "scenario", report->scenario->model.name);
  sb_json_put_number(json, "parts_s", report->overlay->parts_s);
  sb_json_put_string(json, "parts_in",
                     isnan(report->overlay->parts_s) ? NULL : sb_log_column_name(report->overlay->first));
  put_columns(json, report->overlay);
  put_shifts(json, report->simulated);
  sb_json_put_array(json, "hints");
  for (size_t i = 0; i < report->hint_count; i++) {
    const struct sb_hint *hint = &report->hints[i];
    sb_json_open_object(json);
    sb_json_put_string(json, "path", hint->path);
    sb_json_put_number(json, "gain", hint->gain);
    sb_json_put_number(json, "written", hint->written);
    sb_json_put_number(json, "best", hint->best);
    sb_json_put_string(json, "unit", hint->is_factor ? "factor" : hint->unit);
    sb_json_put_boolean(json, "at_end", hint->is_at_end);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report)
{
  struct sb_json json;
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put_string(&json, "trace", report->trace);
  put_found(&json, report->found);
  if (report->overlay != NULL) put_beside(&json, report);
  sb_json_close(&json);
  sb_json_end(&json);
}
