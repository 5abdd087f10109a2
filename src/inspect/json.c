// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - what inspect found, for machines. */
#include <math.h>

#include "inspect/report.h"
#include "text/fields.h"

/* The name of a gear of the scenario; NULL where there is none. */
static const char *name_of(const struct sb_inspect_report *report, int gear)
{
  const struct sb_gearbox *gearbox = report->scenario != NULL ? &report->scenario->model.gearbox : NULL;
  return gearbox != NULL && gear > 0 && gear <= gearbox->gear_count ? gearbox->gears[gear - 1].name : NULL;
}

static void put_shifts(struct sb_json *json, const struct sb_inspect_report *report, const struct sb_inspection *of)
{
  sb_json_put_integer(json, "shift_count", (long long)of->shift_count);
  sb_json_put_array(json, "shifts");
  for (size_t i = 0; i < of->shift_count; i++) {
    const struct sb_inspect_shift *shift = &of->shifts[i];
    /* A log does not show what the controller saw. */
    sb_json_put_object_of(
        json, NULL, "command_s:%g engaged_s:%g from:%d to:%d from_name:%s to_name:%s reading_pct:%g load_torque_nm:%g",
        shift->command_s, shift->engaged_s, shift->from, shift->to, name_of(report, shift->from),
        name_of(report, shift->to), (double)NAN, (double)NAN);
  }
  sb_json_close(json);
}

struct verdict_writer {
  struct sb_json *json;
  const struct sb_inspect_report *report;
};

static void put_verdict(void *context, const struct sb_verdict *verdict, const struct sb_verdict_words *words)
{
  const struct verdict_writer *writer = context;
  sb_verdict_write_json(writer->json, verdict, name_of(writer->report, verdict->gear), words);
}

static void put_verdicts(struct sb_json *json, const struct sb_inspect_report *report)
{
  sb_json_put_array(json, "verdicts");
  sb_inspect_each_verdict(report, put_verdict, &(struct verdict_writer){json, report});
  sb_json_close(json);
}

static void put_gears(struct sb_json *json, const struct sb_inspect_report *report)
{
  const struct sb_inspection *found = report->found;
  const bool has_ratios = found->source == SB_INSPECT_RATIO;
  sb_json_put_array(json, "time_in_gear");
  for (int g = 1; g <= found->gear_count; g++) {
    sb_json_put_object_of(json, NULL, "gear:%d name:%s time_s:%g ratio:%g", g, name_of(report, g),
                          found->gear_time_s[g], has_ratios ? found->ratios[g - 1] : (double)NAN);
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
      SB_MEMBER(sb_inspection, gap_count, SIZE),       SB_MEMBER(sb_inspection, longest_gap_s, NUMBER),
      SB_MEMBER(sb_inspection, least_pause_s, NUMBER), SB_MEMBERS_END};
  const struct sb_inspection *found = report->found;
  sb_json_put(json, "source:%s rows:%zu", sources[found->source], report->log->count);
  sb_fields_put_json(json, fields, found);
  sb_json_put(json, "noise_rpm:%g noise_pct:%g", found->is_reading_noise ? (double)NAN : found->noise_rpm,
              found->is_reading_noise ? found->noise_rpm : (double)NAN);
  sb_json_put(json, "may_hide_shifts:%c is_hunting_undecided:%c unjudged_three_count:%zu unjudged_three_s:%g",
              (int)found->may_hide_shifts, (int)sb_inspect_is_undecided(found), found->unjudged_count,
              found->unjudged_s);
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
    sb_json_put(json, "name:%s unit:%s", sb_log_columns[c].name, sb_log_columns[c].unit);
    sb_fields_put_json(json, fields, column);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_hints(struct sb_json *json, const struct sb_explanation *explanation)
{
  sb_json_put(json, "is_explained:%c is_explanation_shared:%c", (int)explanation->is_found,
              (int)explanation->is_shared);
  sb_json_put_array(json, "hints");
  for (size_t i = 0; i < explanation->count; i++) {
    const struct sb_hint *hint = &explanation->hints[i];
    sb_json_put_object_of(json, NULL, "key:%s gain:%g written:%g best:%g is_at_end:%c unit:%s", hint->path, hint->gain,
                          hint->written, hint->best, (int)hint->is_at_end, hint->is_factor ? "factor" : hint->unit);
  }
  sb_json_close(json);
}

static void put_comparison(struct sb_json *json, const struct sb_inspect_report *report)
{
  const struct sb_overlay *overlay = &report->beside->overlay;
  const bool is_deviating = !isnan(overlay->first_deviation_s);
  sb_json_put_object(json, "against");
  sb_json_put(json, "scenario:%s compared_to_s:%g first_deviation_s:%g first_deviation_in:%s",
              report->scenario->model.name, report->beside->ends_s, overlay->first_deviation_s,
              is_deviating ? sb_log_columns[overlay->first].name : NULL);
  put_columns(json, overlay);
  put_shifts(json, report, &report->beside->found);
  put_hints(json, &report->beside->explanation);
  sb_json_close(json);
}

void sb_inspect_write_json(FILE *out, const struct sb_inspect_report *report)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_inspect);
  sb_json_put_string(&json, "trace", report->trace);
  put_found(&json, report);
  if (report->beside != NULL) put_comparison(&json, report);
  sb_json_end(&json);
}
