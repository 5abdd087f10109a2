// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - a fit for machines. */
#include <math.h>
#include <stdio.h>

#include "fit/show.h"
#include "text/fields.h"

static void put_figure(struct sb_json *json, enum sb_fit_figure_kind kind, const struct sb_fit_figure *figure)
{
  static const char *const states[] = {[SB_FIT_ABSENT] = "absent",
                                       [SB_FIT_GIVEN] = "given",
                                       [SB_FIT_DETERMINED] = "determined",
                                       [SB_FIT_UNDETERMINED] = "undetermined"};
  const bool has_value = figure->state != SB_FIT_UNDETERMINED;
  sb_json_put_object_of(
      json, NULL,
      "figure:%s state:%s unit:%s value_si:%g standard_error_si:%g least_si:%g greatest_si:%g gauge_share:%g",
      sb_fit_figures[kind].key, states[figure->state], sb_show_si(kind), has_value ? figure->value : (double)NAN,
      figure->standard_error, figure->least, figure->greatest, figure->gauge_share);
}

static void put_gauges(struct sb_json *json, const struct sb_fit_result *result)
{
  sb_json_put_array(json, "gauges");
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    sb_json_put_object_of(json, NULL, "gauge:%s half_width_pct:%g is_default:%c is_used:%c", sb_fit_gauges[g].name,
                          100.0 * result->gauges[g].half_width, (int)result->gauges[g].is_default,
                          (int)result->is_gauge_used[g]);
  }
  sb_json_close(json);
}

static void put_figures(struct sb_json *json, const struct sb_fit_result *result)
{
  sb_json_put_array(json, "figures");
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    if (result->figures[k].state == SB_FIT_ABSENT) continue;
    put_figure(json, (enum sb_fit_figure_kind)k, &result->figures[k]);
  }
  sb_json_close(json);
}

static void put_channels(struct sb_json *json, const struct sb_fit_result *result, int log)
{
  static const struct sb_field fields[] = {SB_MEMBER_AS(sb_fit_channel, "readings", count, SIZE),
                                           SB_MEMBER_AS(sb_fit_channel, "outliers", outlier_count, SIZE),
                                           SB_MEMBER_AS(sb_fit_channel, "deviating", deviating_count, SIZE),
                                           SB_MEMBER_AS(sb_fit_channel, "standard_deviation_si", sd, NUMBER),
                                           SB_MEMBER_AS(sb_fit_channel, "rounding_si", quantum, NUMBER),
                                           SB_MEMBER(sb_fit_channel, explained_fraction, NUMBER),
                                           SB_MEMBERS_END};
  sb_json_put_array(json, "channels");
  for (size_t c = 0; c < result->channel_count; c++) {
    const struct sb_fit_channel *channel = &result->channels[c];
    if (channel->log != log) continue;
    sb_json_open_object(json);
    sb_json_put(json, "column:%s unit:%s", sb_log_column_short_name(channel->column),
                channel->column == SB_LOG_MOTOR_CURRENT ? "A" : "rad/s");
    sb_fields_put_json(json, fields, channel);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_logs(struct sb_json *json, const struct sb_fit_result *result, const struct sb_log *logs)
{
  sb_json_put_array(json, "logs");
  for (size_t k = 0; k < result->log_count; k++) {
    const struct sb_fit_origin *origin = &result->origins[k];
    sb_json_open_object(json);
    sb_json_put(json, "path:%s is_over_time:%c shift_count:%d gap_count:%zu", logs[k].path, (int)origin->is_dynamic,
                origin->shift_count, logs[k].gap_count);
    if (origin->is_dynamic) {
      sb_json_put(json, "start_s:%g start_error_s:%g off_s:%g off_error_s:%g", origin->start_s, origin->start_se_s,
                  origin->off_s, origin->off_se_s);
    }
    if (origin->corner.point_count > 0) {
      sb_json_put_object_of(json, "corner", "points:%zu current_a:%g current_sd_a:%g speed_rad_s:%g",
                            origin->corner.point_count, origin->corner.current_a, origin->corner.current_sd_a,
                            origin->corner.speed_rad_s);
    } else {
      sb_json_put_null(json, "corner");
    }
    put_channels(json, result, (int)k);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_undetermined(struct sb_json *json, const struct sb_fit_undetermined *open)
{
  sb_json_open_object(json);
  sb_json_put_array(json, "parameters");
  for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
    if (open->shares[j] == 0.0) continue;
    sb_json_put_object_of(json, NULL, "parameter:%s share:%g", sb_fit_parameter_words[j], open->shares[j]);
  }
  sb_json_close(json);
  sb_json_put(json, "is_vague:%c next_measurement:%s", (int)open->is_vague, open->advice);
  sb_json_close(json);
}

/* A figure whose whole interval lies beyond what can be, perhaps by chance. */
static void put_doubt(struct sb_json *json, const struct sb_fit_result *result)
{
  struct sb_doubt doubt;
  const bool is_any = sb_possible_doubt(result, &doubt);
  sb_json_put(json, "doubtful_figure:%s doubt:%s", is_any ? sb_fit_figures[doubt.kind].key : NULL,
              is_any ? doubt.wrong : NULL);
}

int sb_fit_write_json(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_fit);
  sb_json_put_number(&json, "nominal_voltage_v", result->is_voltage_known ? result->nominal_voltage_v : (double)NAN);
  put_gauges(&json, result);
  put_figures(&json, result);
  put_doubt(&json, result);
  put_logs(&json, result, logs);
  sb_json_put_array(&json, "undetermined");
  for (size_t k = 0; k < result->undetermined_count; k++) put_undetermined(&json, &result->undetermined[k]);
  sb_json_close(&json);
  sb_json_put_array(&json, "next_measurements");
  for (size_t k = 0; k < result->advice_count; k++) sb_json_string(&json, result->advice[k]);
  sb_json_end(&json);
  return ferror(out) ? -1 : 0;
}
