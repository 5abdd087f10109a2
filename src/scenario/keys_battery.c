// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of a battery, in the table of all keys: see scenario_schema.h. */
#include <stddef.h>

#include "scenario/schema.h"

#define MODEL(field) .offset = offsetof(struct sb_draft, model.battery.field)
#define BATTERY(field) .offset = offsetof(struct sb_draft, battery.field)
#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define VOLTAGE_MAX 1e4  /* V */
#define CAPACITY_MAX 1e9 /* C */

static const struct sb_choice chemistries[] = {
#define CHEMISTRY_CHOICE(code, name) {name, code},
    SB_CHEMISTRY_LIST(CHEMISTRY_CHOICE)
#undef CHEMISTRY_CHOICE
        {NULL, 0}};

static const struct sb_key battery_keys[] = {
    {.name = "chemistry",
     .kind = SB_KEY_CHOICE,
     .choices = chemistries,
     .default_words = "chemistry or points is required",
     BATTERY(chemistry),
     .meaning = "Kind of its cells, with their voltage over the charge near 25 C and their cut-off."},
    {.name = "points",
     .kind = SB_KEY_LATER,
     .default_words = "chemistry or points is required",
     .needs = "list of [charge, voltage]",
     .meaning = "Charges ascending in percent, each with a cell's open-circuit voltage, which never falls with the "
                "charge; the first and the last hold beyond."},
    {.name = "cells",
     .kind = SB_KEY_WHOLE,
     BETWEEN(1, 10000),
     .default_words = "1 with points; required with a chemistry",
     BATTERY(cells),
     .meaning = "Cells in series; cells side by side only add to capacity."},
    {QUANTITY("capacity", SB_CHARGE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, CAPACITY_MAX), MODEL(capacity_as),
     .meaning = "Charge of the full battery."},
    {QUANTITY("charge", SB_PERCENT), BETWEEN(0, 1), .default_text = "100 %", MODEL(charge_fraction),
     .meaning = "Share of it that is left at the start."},
    {QUANTITY("cutoff_delay", SB_TIME), BETWEEN(0, 1e5), .default_text = "100 ms", MODEL(cutoff_delay_s),
     .meaning = "So long in one go it must be below the cut-off, as at a start (default: common practice)."},
    {QUANTITY("cutoff_voltage", SB_VOLTAGE), BETWEEN(0, VOLTAGE_MAX),
     .default_words = "the chemistry's; none with points", MODEL(cutoff_v),
     .meaning = "Voltage of the whole battery under load below which the drive is cut; 0 V: never."},
    {.name = NULL}};

const struct sb_section sb_battery_section = {
    "battery", "what the supply's voltage hangs on: charge is counted; needs the motor's currents", battery_keys};
