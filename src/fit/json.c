// SPDX-License-Identifier: GPL-3.0-or-later
/* A fit as JSON. */
#include <math.h>
#include <stdio.h>

#include "fit/show.h"
#include "text/json.h"

static const char *const words[] = {
    [SB_FIT_ABSENT] = "absent", [SB_FIT_GIVEN] = "given", [SB_FIT_TOLD] = "told", [SB_FIT_UNTOLD] = "untold"};

static void put_figures(struct sb_json *json, const struct sb_fit_result *result)
{
  sb_json_put_object(json, "figures");
  for (int k = 0; k < SB_FIT_FIGURE_COUNT; k++) {
    const struct sb_fit_figure *figure = &result->figures[k];
    if (figure->word == SB_FIT_ABSENT) continue;
    const bool has_value = figure->word != SB_FIT_UNTOLD;
    sb_json_put_object(json, sb_fit_figure_key((enum sb_fit_figure_kind)k));
    sb_json_put_string(json, "state", words[figure->word]);
    sb_json_put_number(json, "value_si", has_value ? figure->value : (double)NAN);
    sb_json_put_number(json, "standard_error_si", figure->standard_error);
    sb_json_put_number(json, "least_si", figure->least);
    sb_json_put_number(json, "greatest_si", figure->greatest);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_logs(struct sb_json *json, const struct sb_fit_result *result, const struct sb_fit_log *logs)
{
  sb_json_put_array(json, "logs");
  for (size_t k = 0; k < result->log_count; k++) {
    const struct sb_fit_origin *origin = &result->origins[k];
    sb_json_open_object(json);
    sb_json_put_string(json, "path", logs[k].path);
    sb_json_put_boolean(json, "is_over_time", origin->is_dynamic);
    sb_json_put_integer(json, "shifts", origin->shift_count);
    sb_json_put_integer(json, "gaps", (long long)logs[k].gap_count);
    if (origin->is_dynamic) {
      sb_json_put_number(json, "start_s", origin->start_s);
      sb_json_put_number(json, "start_error_s", origin->start_se_s);
      sb_json_put_number(json, "off_s", origin->off_s);
    }
    sb_json_put_array(json, "channels");
    for (size_t c = 0; c < result->channel_count; c++) {
      const struct sb_fit_channel *channel = &result->channels[c];
      if (channel->log != (int)k) continue;
      sb_json_open_object(json);
      sb_json_put_string(json, "column", sb_fit_column_name(channel->column));
      sb_json_put_integer(json, "readings", (long long)channel->count);
      sb_json_put_integer(json, "set_aside", (long long)channel->aside_count);
      sb_json_put_number(json, "spread_si", channel->sd);
      sb_json_put_number(json, "rounding_si", channel->quantum);
      sb_json_close(json);
    }
    sb_json_close(json);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_blind(struct sb_json *json, const struct sb_fit_result *result)
{
  sb_json_put_array(json, "cannot_tell");
  for (size_t k = 0; k < result->blind_count; k++) {
    sb_json_open_object(json);
    for (int j = 0; j < SB_FIT_PARAMETER_COUNT; j++) {
      if (result->blind[k].shares[j] == 0.0) continue;
      sb_json_put_number(json, sb_fit_parameter_words((enum sb_fit_parameter)j), result->blind[k].shares[j]);
    }
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_put_array(json, "next_measurements");
  for (size_t k = 0; k < result->advice_count; k++) sb_json_string(json, result->advice[k]);
  sb_json_close(json);
}

int sb_fit_write_json(const struct sb_fit_result *result, const struct sb_fit_log *logs, FILE *out)
{
  struct sb_json json;
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put_number(&json, "nominal_voltage_v", result->is_voltage_known ? result->nominal_voltage_v : (double)NAN);
  put_figures(&json, result);
  put_logs(&json, result, logs);
  put_blind(&json, result);
  sb_json_close(&json);
  sb_json_end(&json);
  return ferror(out) ? -1 : 0;
}

/* A field that may hold commas or quotes. */
