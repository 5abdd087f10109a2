// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - a fit for machines. */
#include <math.h>
#include <stdio.h>

#include "fit/possible.h"
#include "fit/show.h"
#include "text/fields.h"

static void put_figure(struct sb_json *json, enum sb_fit_figure_kind kind, const struct sb_fit_figure *figure)
{
  static const char *const states[] = {[SB_FIT_ABSENT] = "absent",
                                       [SB_FIT_GIVEN] = "given",
                                       [SB_FIT_DETERMINED] = "determined",
                                       [SB_FIT_UNDETERMINED] = "undetermined"};
  static const struct sb_field fields[] = {SB_MEMBER_AS(sb_fit_figure, "standard_error_si", standard_error, NUMBER),
                                           SB_MEMBER_AS(sb_fit_figure, "least_si", least, NUMBER),
                                           SB_MEMBER_AS(sb_fit_figure, "greatest_si", greatest, NUMBER),
                                           SB_MEMBER(sb_fit_figure, gauge_share, NUMBER), SB_MEMBERS_END};
  const bool has_value = figure->state != SB_FIT_UNDETERMINED;
  sb_json_open_object(json);
  sb_json_put_string(json, "figure", sb_fit_figures[kind].key);
  sb_json_put_string(json, "state", states[figure->state]);
  sb_json_put_string(json, "unit", sb_show_si(kind));
  sb_json_put_number(json, "value_si", has_value ? figure->value : (double)NAN);
  sb_fields_put_json(json, fields, figure);
  sb_json_close(json);
}

static void put_gauges(struct sb_json *json, const struct sb_fit_result *result)
{
  sb_json_put_array(json, "gauges");
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "gauge", sb_fit_gauges[g].name);
    sb_json_put_number(json, "half_width_pct", 100.0 * result->gauges[g].half_width);
    sb_json_put_boolean(json, "is_default", result->gauges[g].is_default);
    sb_json_put_boolean(json, "is_used", result->is_gauge_used[g]);
    sb_json_close(json);
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
    sb_json_put_string(json, "column", sb_log_column_short_name(channel->column));
    sb_json_put_string(json, "unit", channel->column == SB_LOG_MOTOR_CURRENT ? "A" : "rad/s");
    sb_fields_put_json(json, fields, channel);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_logs(struct sb_json *json, const struct sb_fit_result *result, const struct sb_log *logs)
{
  static const struct sb_field times[] = {SB_MEMBER(sb_fit_origin, start_s, NUMBER),
                                          SB_MEMBER_AS(sb_fit_origin, "start_error_s", start_se_s, NUMBER),
                                          SB_MEMBER(sb_fit_origin, off_s, NUMBER),
                                          SB_MEMBER_AS(sb_fit_origin, "off_error_s", off_se_s, NUMBER), SB_MEMBERS_END};
  sb_json_put_array(json, "logs");
  for (size_t k = 0; k < result->log_count; k++) {
    const struct sb_fit_origin *origin = &result->origins[k];
    sb_json_open_object(json);
    sb_json_put_string(json, "path", logs[k].path);
    sb_json_put_boolean(json, "is_over_time", origin->is_dynamic);
    sb_json_put_integer(json, "shift_count", origin->shift_count);
    sb_json_put_integer(json, "gap_count", (long long)logs[k].gap_count);
    if (origin->is_dynamic) sb_fields_put_json(json, times, origin);
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
    sb_json_open_object(json);
    sb_json_put_string(json, "parameter", sb_fit_parameter_words[j]);
    sb_json_put_number(json, "share", open->shares[j]);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_put_boolean(json, "is_vague", open->is_vague);
  sb_json_put_string(json, "next_measurement", open->advice);
  sb_json_close(json);
}

/* A figure whose whole interval lies beyond what can be, perhaps by chance. */
static void put_doubt(struct sb_json *json, const struct sb_fit_result *result)
{
  struct sb_doubt doubt;
  const bool is_any = sb_possible_doubt(result, &doubt);
  sb_json_put_string(json, "doubtful_figure", is_any ? sb_fit_figures[doubt.kind].key : NULL);
  sb_json_put_string(json, "doubt", is_any ? doubt.wrong : NULL);
}

int sb_fit_write_json(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out)
{
  struct sb_json json;
  sb_json_begin(&json, out, "fit");
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
