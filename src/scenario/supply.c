// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `supply`: its keys and its checks. The battery has a file of its own. */
#include "scenario/reader.h"
#include "scenario/schema_words.h"

static const struct sb_key keys[] = {
    {QUANTITY("open_circuit_voltage", SB_VOLTAGE), .flags = SB_ABOVE, BETWEEN(0, VOLTAGE_MAX),
     .default_words = "the motor's nominal voltage", MODEL(supply.open_circuit_voltage_v),
     .meaning = "The voltage while no current is drawn. A battery has its own: do not give both."},
    {QUANTITY("internal_resistance", SB_RESISTANCE), BETWEEN(0, 1e6), .default_text = "0 ohm",
     MODEL(supply.internal_resistance_ohm),
     .meaning = "The resistance of the supply and its leads. It needs the motor's currents."},
    {SECTION("battery", &sb_battery_section), .default_words = "none, so the voltage does not change",
     .meaning = "A battery whose voltage falls with its charge, in place of open_circuit_voltage."},
    {.name = NULL}};

const struct sb_section sb_supply_section = {"supply", "a battery or a power supply", keys, NULL};

void sb_reader_finish_supply(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  if (!sb_reader_finish_battery(reader)) {
    sb_reader_default(reader, "supply.open_circuit_voltage", &model->supply.open_circuit_voltage_v,
                      model->motor.nominal_voltage_v);
  }
  if (!model->motor.has_currents && model->supply.internal_resistance_ohm > 0.0) {
    sb_reader_fault(reader, "supply.internal_resistance",
                    "needs stall_current and no_load_current of the motor, found not both");
  }
}
