// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - what inspect found, for machines. */
#include <math.h>

#include "inspect/report.h"
#include "text/fields.h"

/* The name of a gear of the scenario; null where there is none. */
static void put_name(struct sb_json *json, const char *key, const struct sb_inspect_report *report, int gear)
{
  const struct sb_gearbox *gearbox = report->scenario != NULL ? &report->scenario->model.gearbox : NULL;
  const bool is_named = gearbox != NULL && gear > 0 && gear <= gearbox->gear_count;
  sb_json_put_string(json, key, is_named ? gearbox->gears[gear - 1].name : NULL);
}

static void put_shifts(struct sb_json *json, const struct sb_inspect_report *report, const struct sb_inspection *of)
{
  static const struct sb_field fields[] = {
      SB_MEMBER(sb_inspect_shift, command_s, NUMBER), SB_MEMBER(sb_inspect_shift, engaged_s, NUMBER),
      SB_MEMBER(sb_inspect_shift, from, INTEGER), SB_MEMBER(sb_inspect_shift, to, INTEGER), SB_MEMBERS_END};
  sb_json_put_integer(json, "shift_count", (long long)of->shift_count);
  sb_json_put_array(json, "shifts");
  for (size_t i = 0; i < of->shift_count; i++) {
    sb_json_open_object(json);
    sb_fields_put_json(json, fields, &of->shifts[i]);
    put_name(json, "from_name", report, of->shifts[i].from);
    put_name(json, "to_name", report, of->shifts[i].to);
    sb_json_put_null(json, "reading_pct"); /* a log does not show what the controller saw */
    sb_json_put_null(json, "load_torque_nm");
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* The members that verdicts of all commands have. A log shows no cause, and so no cure in the scenario's keys. */
static void open_verdict(struct sb_json *json, const struct sb_inspect_report *report, const char *kind, int gear)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "kind", kind);
  sb_json_put_null(json, "cause");
  sb_json_put_integer(json, "gear", gear);
  put_name(json, "gear_name", report, gear);
}

static void close_verdict(struct sb_json *json, const char *text)
{
  sb_json_put_string(json, "text", text);
  sb_json_put_array(json, "cure");
  sb_json_close(json);
  sb_json_close(json);
}

static void put_verdicts(struct sb_json *json, const struct sb_inspect_report *report)
{
  static const struct sb_field hunt_fields[] = {
      SB_MEMBER(sb_inspect_hunt, first_s, NUMBER), SB_MEMBER(sb_inspect_hunt, last_s, NUMBER),
      SB_MEMBER(sb_inspect_hunt, count, SIZE), SB_MEMBER(sb_inspect_hunt, period_s, NUMBER), SB_MEMBERS_END};
  static const struct sb_field rest_fields[] = {SB_MEMBER_AS(sb_inspect_rest, "first_s", from_s, NUMBER),
                                                SB_MEMBER_AS(sb_inspect_rest, "last_s", to_s, NUMBER), SB_MEMBERS_END};
  const struct sb_inspection *found = report->found;
  char text[SB_INSPECT_VERDICT_SIZE];
  sb_json_put_array(json, "verdicts");
  for (size_t i = 0; i < found->hunt_count; i++) {
    open_verdict(json, report, "hunting", found->hunts[i].slower_gear);
    sb_fields_put_json(json, hunt_fields, &found->hunts[i]);
    close_verdict(json, sb_inspect_hunt_text(report, &found->hunts[i], text));
  }
  for (size_t i = 0; i < found->rest_count; i++) {
    open_verdict(json, report, "stall", found->rests[i].gear);
    sb_fields_put_json(json, rest_fields, &found->rests[i]);
    sb_json_put_integer(json, "count", 1);
    sb_json_put_null(json, "period_s");
    close_verdict(json, sb_inspect_rest_text(report, &found->rests[i], text));
  }
  sb_json_close(json);
}

static void put_gears(struct sb_json *json, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  const bool has_ratios = found->source == SB_INSPECT_RATIO;
  sb_json_put_array(json, "time_in_gear");
  for (int g = 1; g <= found->gear_count; g++) {
    sb_json_open_object(json);
    sb_json_put_integer(json, "gear", g);
    put_name(json, "name", report, g);
    sb_json_put_number(json, "time_s", found->gear_time_s[g]);
    sb_json_put_number(json, "ratio", has_ratios ? found->ratios[g - 1] : (double)NAN);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_put_number(json, "neutral_s", found->gear_time_s[0]); /* or not known */
}

static void put_found(struct sb_json *json, const struct sb_inspect_report *report)
{
  static const char *const sources[] = {"", "gear", "ratio", "motor"};
  static const struct sb_field fields[] = {
      SB_MEMBER(sb_inspection, begin_s, NUMBER),       SB_MEMBER(sb_inspection, end_s, NUMBER),
      SB_MEMBER(sb_inspection, interval_s, NUMBER),    SB_MEMBER(sb_inspection, missing_fraction, NUMBER),
      SB_MEMBER(sb_inspection, hole_count, SIZE),      SB_MEMBER(sb_inspection, longest_hole_s, NUMBER),
      SB_MEMBER(sb_inspection, least_pause_s, NUMBER), SB_MEMBERS_END};
  const struct sb_inspection *found = report->found;
  sb_json_put_string(json, "source", sources[found->source]);
  sb_json_put_integer(json, "rows", (long long)report->log->count);
  sb_fields_put_json(json, fields, found);
  sb_json_put_number(json, "noise_rpm", found->is_reading_noise ? (double)NAN : found->noise_rpm);
  sb_json_put_number(json, "noise_pct", found->is_reading_noise ? found->noise_rpm : (double)NAN);
  put_verdicts(json, report);
  put_shifts(json, report, found);
  put_gears(json, report);
}

static void put_columns(struct sb_json *json, const struct sb_overlay *overlay)
{
  static const struct sb_field fields[] = {SB_MEMBER(sb_overlay_column, tolerance, NUMBER),
                                           SB_MEMBER(sb_overlay_column, greatest, NUMBER),
                                           SB_MEMBER(sb_overlay_column, greatest_s, NUMBER),
                                           SB_MEMBER(sb_overlay_column, first_deviation_s, NUMBER),
                                           SB_MEMBER(sb_overlay_column, deviating_fraction, NUMBER),
                                           SB_MEMBER(sb_overlay_column, rms, NUMBER),
                                           SB_MEMBERS_END};
  sb_json_put_array(json, "columns");
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    const struct sb_overlay_column *column = &overlay->columns[c];
    if (!column->is_compared) continue;
    sb_json_open_object(json);
    sb_json_put_string(json, "name", sb_log_columns[c].name);
    sb_json_put_string(json, "unit", sb_log_columns[c].unit);
    sb_fields_put_json(json, fields, column);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_hints(struct sb_json *json, const struct sb_explanation *explanation)
{
  static const struct sb_field fields[] = {SB_MEMBER_AS(sb_hint, "key", path, CHARS), SB_MEMBER(sb_hint, gain, NUMBER),
                                           SB_MEMBER(sb_hint, written, NUMBER),       SB_MEMBER(sb_hint, best, NUMBER),
                                           SB_MEMBER(sb_hint, is_at_end, BOOLEAN),    SB_MEMBERS_END};
  sb_json_put_boolean(json, "is_explained", explanation->is_found);
  sb_json_put_boolean(json, "is_explanation_shared", explanation->is_shared);
  sb_json_put_array(json, "hints");
  for (size_t i = 0; i < explanation->count; i++) {
    const struct sb_hint *hint = &explanation->hints[i];
    sb_json_open_object(json);
    sb_fields_put_json(json, fields, hint);
    sb_json_put_string(json, "unit", hint->is_factor ? "factor" : hint->unit);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_comparison(struct sb_json *json, const struct sb_inspect_report *report)
{
  const struct sb_overlay *overlay = &report->beside->overlay;
  const bool is_deviating = !isnan(overlay->first_deviation_s);
  sb_json_put_object(json, "against");
  sb_json_put_string(json, "scenario", report->scenario->model.name);
  sb_json_put_number(json, "compared_to_s", report->beside->ends_s);
  sb_json_put_number(json, "first_deviation_s", overlay->first_deviation_s);
  sb_json_put_string(json, "first_deviation_in", is_deviating ? sb_log_columns[overlay->first].name : NULL);
  put_columns(json, overlay);
  put_shifts(json, report, &report->beside->found);
  put_hints(json, &report->beside->explanation);
  sb_json_close(json);
}

void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report)
{
  struct sb_json json;
  sb_json_begin(&json, out, "inspect");
  sb_json_put_string(&json, "trace", report->trace);
  put_found(&json, report);
  if (report->beside != NULL) put_comparison(&json, report);
  sb_json_end(&json);
}
