// SPDX-License-Identifier: GPL-3.0-or-later
#include "check/discharge.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "text/words.h"

enum { TENTHS = 10, TROUBLE_SIZE = 768, TROUBLE_COLUMN = 77, TROUBLE_WIDTH = 100 - TROUBLE_COLUMN, SPAN_SIZE = 160 };

static const struct sb_model *model_of(const struct sb_check_report *report)
{
  return &report->cases[SB_CHECK_NOMINAL].model;
}

/* "at any charge", or "from full down to 62 % (12.1 V)". */
static const char *format_span(const struct sb_model *model, const struct sb_discharge_span *span, char text[SPAN_SIZE])
{
  const double from = span->from_fraction, to = span->to_fraction;
  const struct sb_figure from_v = sb_figure_of(sb_battery_voltage_v(&model->battery, from));
  const struct sb_figure to_v = sb_figure_of(sb_battery_voltage_v(&model->battery, to));
  if (from >= 1.0 && to <= 0.0) {
    snprintf(text, SPAN_SIZE, "at any charge");
  } else if (from >= 1.0) {
    snprintf(text, SPAN_SIZE, "from full down to %.4g %% (%s V)", 100.0 * to, to_v.text);
  } else if (to <= 0.0) {
    snprintf(text, SPAN_SIZE, "from %.4g %% (%s V) until empty", 100.0 * from, from_v.text);
  } else {
    snprintf(text, SPAN_SIZE, "from %.4g %% (%s V) down to %.4g %% (%s V)", 100.0 * from, from_v.text, 100.0 * to,
             to_v.text);
  }
  return text;
}

static void say_span(const struct sb_check_case *at, const struct sb_discharge_span *span, FILE *out)
{
  const struct sb_model *model = &at->model;
  const char *name = model->gearbox.gears[span->index].name;
  const char *next = sb_discharge_is_of_pair(span->kind) ? model->gearbox.gears[span->index + 1].name : "";
  const struct sb_figure lightest = sb_figure_of(at->form.lightest_load_nm);
  const struct sb_figure heaviest = sb_figure_of(at->form.heaviest_load_nm);
  char where[SPAN_SIZE];
  format_span(model, span, where);
  switch (span->kind) {
    case SB_DISCHARGE_STUCK_LOW:
      sb_words_say(
          out, 2, 4,
          "Stuck low %s: under the lightest load, %s N.m, %s does not reach the %s of up, and never gives way to %s.",
          where, lightest.text, name, SET(model->control.upshift_fraction[span->index]), next);
      break;
    case SB_DISCHARGE_NEEDLESS_DOWNSHIFT:
      sb_words_say(out, 2, 4,
                   "Needless downshift %s: even under the lightest load, %s N.m, %s stays below the %s of down.", where,
                   lightest.text, next, SET(model->control.downshift_fraction[span->index]));
      break;
    case SB_DISCHARGE_HUNTING:
      sb_words_say(out, 2, 4,
                   "Hunting %s: between %s and %s some constant load of this scenario lies in the hunting band.", where,
                   name, next);
      break;
    case SB_DISCHARGE_STALL:
      sb_words_say(out, 2, 4, "%s stalls under the heaviest load, %s N.m, %s.", name, heaviest.text, where);
      break;
    case SB_DISCHARGE_CUT_STARTING:
      sb_words_say(
          out, 2, 4,
          "Below the cut-off of %s V under load %s: for longer than its delay of %s s while %s starts from rest, so that "
          "every start is cut.",
          NUM(model->battery.cutoff_v), where, NUM(model->battery.cutoff_delay_s),
          model->gearbox.gears[model->control.start_gear - 1].name);
      break;
    case SB_DISCHARGE_CUT_LIGHTEST:
      sb_words_say(out, 2, 4, "Below the cut-off of %s V under load %s: %s, settled under the lightest load.",
                   NUM(model->battery.cutoff_v), where, name);
      break;
    case SB_DISCHARGE_CUT_HEAVIEST:
      sb_words_say(out, 2, 4, "Below the cut-off of %s V under load %s: %s, under the heaviest load.",
                   NUM(model->battery.cutoff_v), where, name);
      break;
    case SB_DISCHARGE_KIND_COUNT: break;
  }
}

struct trouble_list {
  char *text; /* TROUBLE_SIZE */
  size_t length;
  int column; /* of its last line */
};

/* The last column of a wide table: what does not fit goes on in a line of its own, with room for a comma. */
static void add_trouble(struct trouble_list *list, const char *words)
{
  const int columns = (int)strlen(words);
  char gap[TROUBLE_COLUMN + 3] = "";
  if (list->length > 0 && list->column + 2 + columns + 1 > TROUBLE_WIDTH) {
    snprintf(gap, sizeof gap, ",\n%*s", TROUBLE_COLUMN, "");
    list->column = columns;
  } else {
    snprintf(gap, sizeof gap, "%s", list->length > 0 ? ", " : "");
    list->column += (int)strlen(gap) + columns;
  }
  list->length += (size_t)snprintf(list->text + list->length, TROUBLE_SIZE - list->length, "%s%s", gap, words);
}

/* What goes wrong at one charge, for a pair and its gears. */
static const char *list_troubles(const struct sb_discharge *discharge, int pair, double charge, char text[TROUBLE_SIZE])
{
  static const struct {
    enum sb_discharge_kind kind;
    int offset; /* of the gear from the slower one */
    const char *words;
  } columns[] = {{SB_DISCHARGE_HUNTING, 0, "hunting"},
                 {SB_DISCHARGE_STUCK_LOW, 0, "stuck low"},
                 {SB_DISCHARGE_NEEDLESS_DOWNSHIFT, 0, "for nothing"},
                 {SB_DISCHARGE_STALL, 0, "slower stalls"},
                 {SB_DISCHARGE_CUT_LIGHTEST, 1, "cut off"}};
  const bool is_start_cut = sb_discharge_span_at(discharge, SB_DISCHARGE_CUT_STARTING, 0, charge) != NULL;
  struct trouble_list list = {.text = text};
  snprintf(text, TROUBLE_SIZE, "-");
  for (size_t k = 0; k < sizeof columns / sizeof *columns; k++) {
    if (sb_discharge_span_at(discharge, columns[k].kind, pair + columns[k].offset, charge) == NULL) continue;
    add_trouble(&list, columns[k].words);
  }
  if (is_start_cut) add_trouble(&list, "start cut");
  return text;
}

static void write_pair(const struct sb_check_report *report, int pair, FILE *out)
{
  char troubles[TROUBLE_SIZE];
  struct sb_model model = *model_of(report);
  fprintf(out, "  between %s and %s\n  ", model.gearbox.gears[pair].name, model.gearbox.gears[pair + 1].name);
  sb_words_cell(out, 8, "charge");
  sb_words_cell(out, 9, "voltage");
  sb_words_cell(out, 13, "downshift");
  sb_words_cell(out, 13, "upshift");
  sb_words_cell(out, 9, "safe up");
  sb_words_cell(out, 12, "up reached");
  sb_words_cell(out, 11, "down held");
  fputs("goes wrong\n", out);
  for (int k = TENTHS; k >= 0; k--) {
    const double charge = (double)k / TENTHS;
    sb_discharge_set(&model, charge);
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    const struct sb_pair_figures *figures = &form.pairs[pair];
    fputs("  ", out);
    sb_words_cell(out, 8, "%.0f %%", 100.0 * charge);
    sb_words_cell(out, 9, "%s V", NUM(model.supply.open_circuit_voltage_v));
    sb_words_cell(out, 13, "%s", sb_figure_torque(figures->downshift_torque_nm, "any load", "no load").text);
    sb_words_cell(out, 13, "%s", sb_figure_torque(figures->upshift_torque_nm, "no load", "any load").text);
    sb_words_cell(out, 9, "%s",
                  isnan(figures->least_safe_upshift) ? "none"
                                                     : sb_figure_percent_by(ceil, figures->least_safe_upshift).text);
    sb_words_cell(out, 12, "%s", sb_figure_percent_by(floor, form.gears[pair].lightest_reading).text);
    sb_words_cell(out, 11, "%s", sb_figure_percent_by(floor, form.gears[pair + 1].lightest_reading).text);
    fprintf(out, "%s\n", list_troubles(&report->discharge, pair, charge, troubles));
  }
}

static void say_spans(const struct sb_check_report *report, FILE *out)
{
  const struct sb_check_case *at = &report->cases[SB_CHECK_NOMINAL];
  for (int k = 0; k < report->discharge.span_count; k++) say_span(at, &report->discharge.spans[k], out);
  if (report->discharge.span_count == 0) sb_words_say(out, 2, 4, "Nothing goes wrong at any charge.");
}

void sb_check_write_discharge(const struct sb_check_report *report, FILE *out)
{
  const struct sb_model *model = model_of(report);
  const struct sb_battery *battery = &model->battery;
  fprintf(out, "\nOver the discharge\n");
  sb_words_say(out, 2, 4, "The battery: %s, %d cell%s of %s A.h, %s charged at the start.",
               battery->chemistry != NULL ? battery->chemistry->name : "a curve of its own", battery->series_count,
               battery->series_count == 1 ? "" : "s in series", NUM(battery->capacity_as / 3600.0),
               SET(battery->charge_fraction));
  for (int pair = 0; pair + 1 < model->gearbox.gear_count; pair++) write_pair(report, pair, out);
  if (model->gearbox.gear_count > 1) {
    sb_words_say(
        out, 2, 4,
        "Safe up: the least that leaves no hunting band with the scenario's down. Up reached, down held: the reading "
        "of the slower and of the faster gear under the lightest load, which up and down must stay below.");
  }
  say_spans(report, out);
}

static void put_battery(struct sb_json *json, const struct sb_battery *battery)
{
  sb_json_put_object(json, "battery");
  sb_json_put_string(json, "chemistry", battery->chemistry != NULL ? battery->chemistry->name : NULL);
  sb_json_put_string(json, "source", battery->chemistry != NULL ? battery->chemistry->source : NULL);
  sb_json_put_integer(json, "cells", battery->series_count);
  sb_json_put_number(json, "capacity_ah", battery->capacity_as / 3600.0);
  sb_json_put_number(json, "charge_pct", 100.0 * battery->charge_fraction);
  sb_json_put_number(json, "cutoff_v", battery->cutoff_v);
  sb_json_close(json);
}

static void put_span(struct sb_json *json, const struct sb_model *model, const struct sb_discharge_span *span)
{
  const bool is_of_pair = sb_discharge_is_of_pair(span->kind);
  const bool is_of_none = span->kind == SB_DISCHARGE_CUT_STARTING;
  const struct sb_gear *gear = &model->gearbox.gears[span->index];
  sb_json_open_object(json);
  sb_json_put_string(json, "trouble", sb_discharge_words(span->kind));
  if (!is_of_none) sb_json_put_string(json, is_of_pair ? "slower" : "gear", gear->name);
  if (is_of_pair) sb_json_put_string(json, "faster", gear[1].name);
  sb_json_put_number(json, "from_charge_pct", 100.0 * span->from_fraction);
  sb_json_put_number(json, "to_charge_pct", 100.0 * span->to_fraction);
  sb_json_put_number(json, "from_voltage_v", sb_battery_voltage_v(&model->battery, span->from_fraction));
  sb_json_put_number(json, "to_voltage_v", sb_battery_voltage_v(&model->battery, span->to_fraction));
  sb_json_close(json);
}

static void put_row(struct sb_json *json, const struct sb_model *model, const struct sb_closed_form *form)
{
  sb_json_open_object(json);
  sb_json_put_number(json, "charge_pct", 100.0 * model->battery.charge_fraction);
  sb_json_put_number(json, "voltage_v", model->supply.open_circuit_voltage_v);
  sb_json_put_array(json, "stall_torques_nm");
  for (int g = 0; g < model->gearbox.gear_count; g++) sb_json_number(json, form->gears[g].stall_torque_nm);
  sb_json_close(json);
  sb_json_put_array(json, "pairs");
  for (int pair = 0; pair + 1 < model->gearbox.gear_count; pair++) {
    sb_json_open_object(json);
    sb_json_put_number(json, "downshift_torque_nm", form->pairs[pair].downshift_torque_nm);
    sb_json_put_number(json, "upshift_torque_nm", form->pairs[pair].upshift_torque_nm);
    sb_json_put_number(json, "least_safe_upshift_pct", 100.0 * form->pairs[pair].least_safe_upshift);
    sb_json_put_number(json, "greatest_safe_downshift_pct", 100.0 * form->pairs[pair].greatest_safe_downshift);
    sb_json_put_number(json, "stuck_low_from_upshift_pct", 100.0 * form->gears[pair].lightest_reading);
    sb_json_put_number(json, "needless_from_downshift_pct", 100.0 * form->gears[pair + 1].lightest_reading);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

void sb_check_put_discharge(struct sb_json *json, const struct sb_check_report *report)
{
  struct sb_model model = *model_of(report);
  put_battery(json, &model.battery);
  sb_json_put_object(json, "discharge");
  sb_json_put_array(json, "troubles");
  for (int k = 0; k < report->discharge.span_count; k++) put_span(json, &model, &report->discharge.spans[k]);
  sb_json_close(json);
  sb_json_put_array(json, "table");
  for (int k = TENTHS; k >= 0; k--) {
    sb_discharge_set(&model, (double)k / TENTHS);
    const struct sb_closed_form form = sb_closed_form_solve(&model);
    put_row(json, &model, &form);
  }
  sb_json_close(json);
  sb_json_close(json);
}
