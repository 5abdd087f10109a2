// SPDX-License-Identifier: GPL-3.0-or-later
/* discharge.c - thresholds and troubles over the charge of a battery. */
#include <math.h>
#include <stdlib.h>

#include "check/parts.h"

enum { HUNDREDTHS = 100, PLACE_SIZE = 160 };

/* "at any charge", or "from full down to 62 % (12.1 V)". */
static void format_place(const struct sb_check_span *span, char text[PLACE_SIZE])
{
  const double from_pct = 100.0 * span->from_fraction, to_pct = 100.0 * span->to_fraction;
  const struct sb_figure from_v = sb_words_figure(span->from_voltage_v), to_v = sb_words_figure(span->to_voltage_v);
  if (span->from_fraction >= 1.0 && span->to_fraction <= 0.0) {
    snprintf(text, PLACE_SIZE, "at any charge");
  } else if (span->from_fraction >= 1.0) {
    snprintf(text, PLACE_SIZE, "from full down to %.4g %% (%s V)", to_pct, to_v.text);
  } else if (span->to_fraction <= 0.0) {
    snprintf(text, PLACE_SIZE, "from %.4g %% (%s V) until empty", from_pct, from_v.text);
  } else {
    snprintf(text, PLACE_SIZE, "from %.4g %% (%s V) down to %.4g %% (%s V)", from_pct, from_v.text, to_pct, to_v.text);
  }
}

/* A reference that follows the supply is a cure where the reading allows for one. */
static const char *follow_words(const struct sb_model *model)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const bool can = sensor->quantity == SB_SENSES_SPEED && model->drive.mode == SB_DRIVE_OPEN_LOOP;
  return can && !sensor->supply.is_present ? ", or controller.reference to measured supply" : "";
}

/* What happens, why, and what cures it. */
static void write_shift_span(const struct sb_check_machine *machine, const struct sb_discharge_span *found,
                             const char *place, struct sb_check_span *span)
{
  const struct sb_control *control = &machine->model->control;
  const struct sb_figure lightest = sb_words_figure(machine->form.lightest_load_nm);
  if (found->kind == SB_DISCHARGE_STUCK_LOW) {
    snprintf(
        span->text, sizeof span->text,
        "Stuck low %s: under the lightest load, %s N.m, %s does not reach the upshift threshold of %s, and the box "
        "never shifts up to %s. Set controller.upshift_above below the reading of the slower gear there%s.",
        place, lightest.text, span->slower, SET(control->upshift_fraction[found->index]), span->faster,
        follow_words(machine->model));
  } else if (found->kind == SB_DISCHARGE_NEEDLESS_DOWNSHIFT) {
    snprintf(
        span->text, sizeof span->text,
        "Needless downshift %s: even under the lightest load, %s N.m, %s reads less than the downshift threshold of "
        "%s. Set controller.downshift_below below the reading of the faster gear there.",
        place, lightest.text, span->faster, SET(control->downshift_fraction[found->index]));
  } else {
    snprintf(span->text, sizeof span->text,
             "Hunting %s: between %s and %s some constant load of this scenario lies in the hunting band. Set "
             "controller.upshift_above to at least the safe upshift threshold there.",
             place, span->slower, span->faster);
  }
}

static void write_cut_span(const struct sb_check_machine *machine, const struct sb_discharge_span *found,
                           const char *place, struct sb_check_span *span)
{
  const struct sb_model *model = machine->model;
  const struct sb_battery *battery = &model->battery;
  if (found->kind == SB_DISCHARGE_CUT_STARTING) {
    snprintf(
        span->text, sizeof span->text,
        "The voltage under load is below the cut-off of %s V %s: for longer than the delay of %s s while %s starts from rest, so "
        "that every start is cut. A lower drive.limit, a drive.ramp or a longer supply.battery.cutoff_delay cures "
        "it.",
        NUM(battery->cutoff_v), place, NUM(battery->cutoff_delay_s),
        model->gearbox.gears[model->control.start_gear - 1].name);
  } else {
    snprintf(
        span->text, sizeof span->text,
        "The voltage under load is below the cut-off of %s V %s, with %s in steady state under the %s load. A lower drive.limit lowers "
        "the current.",
        NUM(battery->cutoff_v), place, span->gear, found->kind == SB_DISCHARGE_CUT_LIGHTEST ? "lightest" : "heaviest");
  }
}

static void write_span(const struct sb_check_machine *machine, const struct sb_discharge_span *found,
                       struct sb_check_span *span)
{
  char place[PLACE_SIZE];
  format_place(span, place);
  switch (found->kind) {
    case SB_DISCHARGE_STUCK_LOW:
    case SB_DISCHARGE_NEEDLESS_DOWNSHIFT:
    case SB_DISCHARGE_HUNTING: write_shift_span(machine, found, place, span); break;
    case SB_DISCHARGE_STALL:
      snprintf(span->text, sizeof span->text,
               "%s stalls under the heaviest load, %s N.m, %s. Only a slower gear, a lighter load or a fuller "
               "battery helps.",
               span->gear, NUM(machine->form.heaviest_load_nm), place);
      break;
    case SB_DISCHARGE_CUT_STARTING:
    case SB_DISCHARGE_CUT_LIGHTEST:
    case SB_DISCHARGE_CUT_HEAVIEST: write_cut_span(machine, found, place, span); break;
    case SB_DISCHARGE_KIND_COUNT: break;
  }
}

static void find_span(const struct sb_check_machine *machine, const struct sb_discharge_span *found,
                      struct sb_check_span *out)
{
  const struct sb_model *model = machine->model;
  const struct sb_gear *gear = &model->gearbox.gears[found->index];
  const bool is_of_pair = sb_discharge_is_of_pair(found->kind);
  *out = (struct sb_check_span){
      .kind = sb_discharge_words(found->kind),
      .gear = is_of_pair || found->kind == SB_DISCHARGE_CUT_STARTING ? NULL : gear->name,
      .slower = is_of_pair ? gear->name : NULL,
      .faster = is_of_pair ? gear[1].name : NULL,
      .from_fraction = found->from_fraction,
      .to_fraction = found->to_fraction,
      .from_voltage_v = sb_battery_voltage_v(&model->battery, found->from_fraction),
      .to_voltage_v = sb_battery_voltage_v(&model->battery, found->to_fraction),
  };
  write_span(machine, found, out);
}

/* Whether a trouble is there just below a charge: a row at the end of a span shows what begins there. */
static bool has(const struct sb_discharge *discharge, enum sb_discharge_kind kind, int index, double charge)
{
  for (int k = 0; k < discharge->span_count; k++) {
    const struct sb_discharge_span *span = &discharge->spans[k];
    if (span->kind != kind || span->index != index) continue;
    const bool is_last = charge == 0.0 && span->to_fraction == 0.0;
    if (charge <= span->from_fraction && (charge > span->to_fraction || is_last)) return true;
  }
  return false;
}

static void find_charge(const struct sb_model *model, const struct sb_discharge *discharge, double charge,
                        struct sb_check_charge *out)
{
  struct sb_model drawn = *model;
  sb_discharge_set(&drawn, charge);
  const struct sb_closed_form form = sb_closed_form_solve(&drawn);
  out->charge_fraction = charge;
  out->is_tenth = charge == round(10.0 * charge) / 10.0;
  out->voltage_v = drawn.supply.open_circuit_voltage_v;
  for (int g = 0; g < drawn.gearbox.gear_count; g++) out->stall_torques_nm[g] = form.gears[g].stall_torque_nm;
  for (int p = 0; p + 1 < drawn.gearbox.gear_count; p++) {
    struct sb_check_charge_pair *pair = &out->pairs[p];
    *pair = (struct sb_check_charge_pair){.downshift_torque_nm = form.pairs[p].downshift_torque_nm,
                                          .upshift_torque_nm = form.pairs[p].upshift_torque_nm,
                                          .least_safe_upshift = form.pairs[p].least_safe_upshift,
                                          .greatest_safe_downshift = form.pairs[p].greatest_safe_downshift,
                                          .slower_lightest_reading = form.gears[p].lightest_reading,
                                          .faster_lightest_reading = form.gears[p + 1].lightest_reading,
                                          .is_hunting = has(discharge, SB_DISCHARGE_HUNTING, p, charge),
                                          .is_stuck_low = has(discharge, SB_DISCHARGE_STUCK_LOW, p, charge),
                                          .is_needless = has(discharge, SB_DISCHARGE_NEEDLESS_DOWNSHIFT, p, charge),
                                          .is_slower_stalled = has(discharge, SB_DISCHARGE_STALL, p, charge),
                                          .is_faster_stalled = has(discharge, SB_DISCHARGE_STALL, p + 1, charge),
                                          .is_faster_cut = has(discharge, SB_DISCHARGE_CUT_LIGHTEST, p + 1, charge),
                                          .is_start_cut = has(discharge, SB_DISCHARGE_CUT_STARTING, 0, charge)};
  }
}

static int compare_falling(const void *a, const void *b)
{
  const double x = *(const double *)a, y = *(const double *)b;
  return (x < y) - (x > y);
}

/* The charges of the rows, falling, each once. Returns their number. */
static int list_charges(const struct sb_discharge *discharge, double charges[SB_CHECK_CHARGE_MAX])
{
  int count = 0;
  for (int k = 0; k <= HUNDREDTHS; k++) charges[count++] = (double)k / HUNDREDTHS;
  for (int k = 0; k < discharge->span_count; k++) {
    charges[count++] = discharge->spans[k].from_fraction;
    charges[count++] = discharge->spans[k].to_fraction;
  }
  qsort(charges, (size_t)count, sizeof *charges, compare_falling);
  int kept = 1;
  for (int k = 1; k < count; k++) {
    if (charges[k] != charges[kept - 1]) charges[kept++] = charges[k];
  }
  return kept;
}

enum sb_status sb_check_find_battery(const struct sb_check_machine *machine, struct sb_check_battery *out,
                                     struct sb_error *err)
{
  const struct sb_battery *battery = &machine->model->battery;
  struct sb_discharge discharge;
  double charges[SB_CHECK_CHARGE_MAX];
  out->is_present = battery->is_present;
  if (!out->is_present) return SB_OK;
  out->chemistry = battery->chemistry != NULL ? battery->chemistry->name : NULL;
  out->source = battery->chemistry != NULL ? battery->chemistry->source : NULL;
  out->cells = battery->series_count;
  out->capacity_ah = battery->capacity_as / 3600.0;
  out->charge_fraction = battery->charge_fraction;
  out->cutoff_v = battery->cutoff_v;
  const enum sb_status status = sb_discharge_solve(machine->model, &discharge, err);
  if (status != SB_OK) return status;
  out->span_count = discharge.span_count;
  for (int k = 0; k < out->span_count; k++) find_span(machine, &discharge.spans[k], &out->spans[k]);
  out->charge_count = list_charges(&discharge, charges);
  for (int k = 0; k < out->charge_count; k++) {
    find_charge(machine->model, &discharge, charges[k], &out->charges[k]);
  }
  return SB_OK;
}
