// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of a winding that warms, a part of the table of all keys: see scenario_schema.h. */
#include <stddef.h>

#include "scenario/schema.h"

#define DRAFT(field) .offset = offsetof(struct sb_draft, field)
#define WINDING(field) .offset = offsetof(struct sb_draft, model.winding.field)
#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define TEMPERATURE_MIN (-50.0) /* deg C */
#define TEMPERATURE_MAX 1000.0
#define CAPACITY_MIN 1e-6 /* J / K */
#define CAPACITY_MAX 1e9
#define RESISTANCE_MIN 1e-6 /* K / W */
#define RESISTANCE_MAX 1e6
#define TIME_MAX 1e8 /* s */

static const struct sb_key housing_keys[] = {
    {QUANTITY("heat_capacity", SB_HEAT_CAPACITY), .flags = SB_REQUIRED, BETWEEN(CAPACITY_MIN, CAPACITY_MAX),
     WINDING(housing_capacity_j_k), .meaning = "Heat that warms the housing, and what moves with it, by one kelvin."},
    {QUANTITY("thermal_resistance", SB_THERMAL_RESISTANCE), .flags = SB_REQUIRED,
     BETWEEN(RESISTANCE_MIN, RESISTANCE_MAX), WINDING(housing_resistance_k_w),
     .meaning = "Between housing and surroundings."},
    {QUANTITY("start", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX),
     .default_words = "the winding's ambient", WINDING(housing_start_c), .meaning = "Of the housing at the start."},
    {.name = NULL}};

static const struct sb_section housing = {
    "housing", "a second node: the winding heats the housing, the housing the surroundings", housing_keys};

static const struct sb_key winding_keys[] = {
    {QUANTITY("ambient", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX), .default_text = "20 C",
     WINDING(ambient_c), .meaning = "Temperature of the surroundings, which stays."},
    {QUANTITY("start", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX), .default_words = "the ambient",
     WINDING(start_c), .meaning = "Of the winding at the start."},
    {QUANTITY("reference", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX), .default_text = "25 C",
     WINDING(reference_c), .meaning = "Of the winding where the motor's figures hold (default: common practice)."},
    {QUANTITY("heat_capacity", SB_HEAT_CAPACITY), BETWEEN(CAPACITY_MIN, CAPACITY_MAX),
     .default_words = "heat_capacity or time_constant is required", WINDING(capacity_j_k),
     .meaning = "Heat that warms the winding by one kelvin."},
    {QUANTITY("time_constant", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "heat_capacity or time_constant is required", DRAFT(winding_time_constant_s),
     .meaning = "In place of heat_capacity: heat capacity times thermal resistance of the winding."},
    {QUANTITY("thermal_resistance", SB_THERMAL_RESISTANCE), .flags = SB_REQUIRED,
     BETWEEN(RESISTANCE_MIN, RESISTANCE_MAX), WINDING(resistance_k_w),
     .meaning = "Between winding and housing; between winding and surroundings without a housing."},
    {.name = "housing",
     .kind = SB_KEY_SECTION,
     .default_words = "none: the winding alone",
     .section = &housing,
     .meaning = "The housing, warmed by the winding."},
    {QUANTITY("cut_out", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX), .default_words = "none",
     WINDING(cut_out_c), .meaning = "Winding temperature at which a thermal switch opens the motor's circuit."},
    {QUANTITY("reset", SB_TEMPERATURE), BETWEEN(TEMPERATURE_MIN, TEMPERATURE_MAX),
     .default_words = "required with cut_out", WINDING(reset_c),
     .meaning = "Winding temperature below which that switch closes again."},
    {.name = NULL}};

const struct sb_section sb_winding_section = {"winding", "the winding's warmth; needs the motor's currents",
                                              winding_keys};
