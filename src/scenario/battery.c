// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `supply.battery`: its keys, its checks, and the supply's voltage at the start. NAN marks what had a fault already. */
#include "scenario/reader.h"
#include "scenario/schema_words.h"

static const struct sb_choice chemistries[] = {
#define CHEMISTRY_CHOICE(code, name, other) {name, code}, {other, code},
    SB_CHEMISTRY_LIST(CHEMISTRY_CHOICE)
#undef CHEMISTRY_CHOICE
        {"LiPo", SB_CHOICE_REFUSED},
    {NULL, 0}};

static const struct sb_key keys[] = {
    {CHOICE("chemistry", chemistries), .instead = "points",
     .refusal = ": nearest is \"lithium ion\", whose cut-off of 2.5 V a cell damages such cells: give their maker's as "
                "cutoff_voltage, too (about 3 V a cell, common practice)",
     .default_words = "chemistry or points is required", DRAFT(battery.chemistry),
     .meaning =
         "The kind of its cells: it brings the cells' voltage over the charge near 25 C, and the cut-off voltage."},
    {LATER("points", "list of [charge, voltage]"), .default_words = "chemistry or points is required",
     .meaning = "The open-circuit voltage of one cell over the charge in percent. The charges ascend, and the voltage "
                "never falls with the charge. The first and the last voltage hold beyond the points."},
    {WHOLE("cells"), BETWEEN(1, 10000), .default_words = "1 with points; required with a chemistry",
     DRAFT(battery.cells), .meaning = "The number of cells in series. Cells in parallel only add to the capacity."},
    {QUANTITY("capacity", SB_CHARGE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1e9), MODEL(battery.capacity_as),
     .meaning = "The charge of the full battery."},
    {QUANTITY("charge", SB_PERCENT), BETWEEN(0, 1), .default_text = "100 %", MODEL(battery.charge_fraction),
     .meaning = "The share of the capacity that is left at the start."},
    {QUANTITY("cutoff_delay", SB_TIME), BETWEEN(0, 1e5), .default_text = "100 ms", MODEL(battery.cutoff_delay_s),
     .meaning = "The drive is cut when the voltage stays below the cut-off for this time, so that a short start does "
                "not count (the default is common practice). It is counted in whole `drive.period`, rounded up."},
    {QUANTITY("cutoff_voltage", SB_VOLTAGE), BETWEEN(0, VOLTAGE_MAX),
     .default_words = "the chemistry's; none with points", MODEL(battery.cutoff_v),
     .meaning = "The voltage of the whole battery under load below which the drive is cut; 0 V means never."},
    {.name = NULL}};

const struct sb_section sb_battery_section = {
    "battery", "charge is counted, and the voltage follows it; this needs the motor's currents", keys, NULL};

static const struct sb_table_format curve_format = {.place.kind = SB_PERCENT,
                                                    .value.kind = SB_VOLTAGE,
                                                    .value_max = VOLTAGE_MAX,
                                                    .value_max_words = "of at most 1e4 V",
                                                    .pair = "[50 %, 3.7 V]",
                                                    .list = "pairs [charge, voltage]"};

static void refuse_point(struct sb_reader *reader, size_t index, const char *needs, double found, const char *unit)
{
  sb_reader_fault(reader, PATH("supply.battery.points.%zu", index + 1), "needs %s, found %.10g %s", needs, found, unit);
}

/* What a curve must be beyond a table: from empty to full at most, one voltage a charge, and never falling. */
static void check_curve(struct sb_reader *reader, const struct sb_table *table)
{
  if (table->count < 2) {
    sb_reader_fault(reader, "supply.battery.points", "needs at least two pairs [charge, voltage], found %zu",
                    table->count);
  }
  for (size_t k = 0; k < table->count; k++) {
    const double charge = table->x[k], voltage = table->y[k];
    if (charge < 0.0 || charge > 1.0) refuse_point(reader, k, "a charge from 0 % to 100 %", 100.0 * charge, "%");
    if (!(voltage > 0.0)) refuse_point(reader, k, "a voltage above 0 V", voltage, "V");
    if (k == 0) continue;
    if (charge == table->x[k - 1]) refuse_point(reader, k, "a charge above the one before", 100.0 * charge, "%");
    if (voltage < table->y[k - 1]) {
      refuse_point(reader, k, "a voltage that is no lower than at the charge before", voltage, "V");
    }
  }
}

static void read_curve(struct sb_reader *reader, const struct sb_node *points)
{
  const struct sb_table_request request = {&curve_format, false, reader->faults, points->place, reader->kept};
  struct sb_table *curve = &reader->draft->model.battery.curve;
  if (sb_reader_read_points(reader, &request, points, "supply.battery.points", curve)) check_curve(reader, curve);
}

static void read_cells(struct sb_reader *reader, const struct sb_node *node, const struct sb_node *points)
{
  const struct sb_battery_draft *draft = &reader->draft->battery;
  struct sb_battery *battery = &reader->draft->model.battery;
  const bool has_chemistry = sb_tree_find(node, "chemistry") != NULL;
  if (has_chemistry == (points != NULL)) {
    sb_reader_fault(reader, "supply.battery", "needs either a chemistry or points, found %s",
                    has_chemistry ? "both" : "neither");
  }
  if (points != NULL) read_curve(reader, points);
  battery->chemistry = sb_battery_chemistry_of((enum sb_chemistry_code)draft->chemistry);
  if (battery->chemistry != NULL) battery->curve = battery->chemistry->curve;
  if (has_chemistry && sb_tree_find(node, "cells") == NULL) {
    sb_reader_fault(reader, "supply.battery.cells", "needs a whole number of cells for a chemistry, found no such key");
  }
  battery->series_count = draft->cells > 0 ? (int)draft->cells : 1;
}

static void check_beside(struct sb_reader *reader)
{
  if (sb_reader_has(reader, "supply.open_circuit_voltage")) {
    sb_reader_fault(reader, "supply.open_circuit_voltage",
                    "needs a supply without a battery, which has a voltage of its own, found both");
  }
  if (!reader->draft->model.motor.has_currents) {
    sb_reader_fault(reader, "supply.battery",
                    "needs stall_current and no_load_current of the motor to count charge, found not both");
  }
}

static void finish_cutoff(struct sb_reader *reader)
{
  struct sb_battery *battery = &reader->draft->model.battery;
  const double usual_v = battery->chemistry != NULL ? battery->chemistry->cutoff_v * battery->series_count : 0.0;
  sb_reader_default(reader, "supply.battery.cutoff_voltage", &battery->cutoff_v, usual_v);
  const double full_v = sb_battery_voltage_v(battery, 1.0);
  if (battery->cutoff_v >= full_v) {
    sb_reader_fault(reader, "supply.battery.cutoff_voltage",
                    "needs less than the voltage of the full battery (%.10g V), found %.10g V", full_v,
                    battery->cutoff_v);
  }
}

bool sb_reader_finish_battery(struct sb_reader *reader)
{
  const struct sb_node *node = sb_reader_node(reader, "supply.battery");
  if (node == NULL) return false;
  if (node->kind != SB_NODE_MAP) return true;
  struct sb_model *model = &reader->draft->model;
  read_cells(reader, node, sb_tree_find(node, "points"));
  check_beside(reader);
  if (model->battery.curve.count < 2) return true;
  finish_cutoff(reader);
  model->battery.is_present = true;
  model->supply.open_circuit_voltage_v = sb_battery_voltage_v(&model->battery, model->battery.charge_fraction);
  return true;
}
