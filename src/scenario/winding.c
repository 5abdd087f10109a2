// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `motor.winding`: its keys, defaults and checks. NAN marks what had a fault already. */
#include <math.h>

#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define WINDING(field) MODEL(winding.field)
#define TEMPERATURES BETWEEN(-50, 1000) /* deg C */
#define CAPACITY_MIN 1e-6               /* J / K */
#define CAPACITY_MAX 1e9
#define RESISTANCES BETWEEN(1e-6, 1e6) /* K / W */

static const struct sb_key housing_keys[] = {
    {QUANTITY("heat_capacity", SB_HEAT_CAPACITY), .flags = SB_REQUIRED, BETWEEN(CAPACITY_MIN, CAPACITY_MAX),
     WINDING(housing_capacity_j_k),
     .meaning = "The heat that warms the housing, and everything that is fixed to it, by one kelvin."},
    {QUANTITY("thermal_resistance", SB_THERMAL_RESISTANCE), .flags = SB_REQUIRED, RESISTANCES,
     WINDING(housing_resistance_k_w), .meaning = "The resistance between the housing and the surroundings."},
    {QUANTITY("start", SB_TEMPERATURE), TEMPERATURES, .default_words = "the winding's ambient",
     WINDING(housing_start_c), .meaning = "The temperature of the housing at the start."},
    {.name = NULL}};

static const struct sb_section housing_section = {
    "housing", "the winding heats the housing, and the housing heats the surroundings", housing_keys, NULL};

static const struct sb_key keys[] = {
    {QUANTITY("ambient", SB_TEMPERATURE), TEMPERATURES, .default_text = "20 C", WINDING(ambient_c),
     .meaning = "The temperature of the surroundings, which does not change."},
    {QUANTITY("start", SB_TEMPERATURE), TEMPERATURES, .default_words = "the ambient", WINDING(start_c),
     .meaning = "The temperature of the winding at the start."},
    {QUANTITY("reference", SB_TEMPERATURE), TEMPERATURES, .default_text = "25 C", WINDING(reference_c),
     .meaning = "The winding temperature for which the motor's figures are given (the default is common practice)."},
    {QUANTITY("heat_capacity", SB_HEAT_CAPACITY), BETWEEN(CAPACITY_MIN, CAPACITY_MAX),
     .default_words = "heat_capacity or time_constant is required", WINDING(capacity_j_k),
     .meaning = "The heat that warms the winding by one kelvin."},
    {QUANTITY("time_constant", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "heat_capacity or time_constant is required", DRAFT(winding_time_constant_s),
     .meaning = "In place of heat_capacity: the heat capacity times the thermal resistance of the winding."},
    {QUANTITY("thermal_resistance", SB_THERMAL_RESISTANCE), .flags = SB_REQUIRED, RESISTANCES, WINDING(resistance_k_w),
     .meaning = "The resistance between the winding and the housing, or the surroundings where there is no housing."},
    {SECTION("housing", &housing_section), .default_words = "none, the winding alone",
     .meaning = "The housing, which the winding warms."},
    {QUANTITY("cut_out", SB_TEMPERATURE), TEMPERATURES, .default_words = "none", WINDING(cut_out_c),
     .meaning = "The winding temperature at which a thermal switch opens the motor's circuit."},
    {QUANTITY("reset", SB_TEMPERATURE), TEMPERATURES, .default_words = "required with cut_out", WINDING(reset_c),
     .meaning = "The winding temperature below which the switch closes again."},
    {.name = NULL}};

const struct sb_section sb_winding_section = {"winding", "how the winding warms; this needs the motor's currents", keys,
                                              NULL};

static bool is_given(const struct sb_node *node, const char *key)
{
  return sb_tree_find(node, key) != NULL;
}

static void finish_capacity(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_winding *winding = &reader->draft->model.winding;
  const bool is_one = sb_reader_has_one(reader, "motor.winding", "heat_capacity", "time_constant", "");
  if (!is_one || is_given(node, "heat_capacity")) return;
  winding->capacity_j_k = reader->draft->winding_time_constant_s / winding->resistance_k_w;
  if (winding->capacity_j_k < CAPACITY_MIN || winding->capacity_j_k > CAPACITY_MAX) {
    sb_reader_fault(reader, "motor.winding.time_constant",
                    "needs one that makes a heat capacity of 1e-6 to 1e9 J/K, found %.6g J/K", winding->capacity_j_k);
  }
}

static void finish_start(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_winding *winding = &reader->draft->model.winding;
  const struct sb_node *housing = sb_tree_find(node, "housing");
  sb_reader_default(reader, "motor.winding.start", &winding->start_c, winding->ambient_c);
  if (housing == NULL) {
    winding->housing_capacity_j_k = winding->housing_resistance_k_w = 0.0;
    winding->housing_start_c = winding->ambient_c;
    return;
  }
  sb_reader_default(reader, "motor.winding.housing.start", &winding->housing_start_c, winding->ambient_c);
}

static void finish_cut_out(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_winding *winding = &reader->draft->model.winding;
  const bool has_cut_out = is_given(node, "cut_out");
  const bool has_reset = is_given(node, "reset");
  if (has_cut_out != has_reset) {
    sb_reader_fault(reader, has_cut_out ? "motor.winding.reset" : "motor.winding.cut_out",
                    "needs both cut_out and reset or neither, found one");
  }
  if (!has_cut_out) {
    winding->cut_out_c = winding->reset_c = INFINITY;
    return;
  }
  if (winding->reset_c >= winding->cut_out_c) {
    sb_reader_fault(reader, "motor.winding.reset", "needs less than the cut-out (%.10g C), found %.10g C",
                    winding->cut_out_c, winding->reset_c);
  }
  if (winding->reset_c <= winding->ambient_c) {
    sb_reader_fault(reader, "motor.winding.reset",
                    "needs more than the ambient (%.10g C), below which the winding never cools, found %.10g C",
                    winding->ambient_c, winding->reset_c);
  }
}

void sb_reader_finish_winding(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  const struct sb_node *node = sb_reader_node(reader, "motor.winding");
  if (node == NULL || node->kind != SB_NODE_MAP) {
    model->winding = (struct sb_winding){.cut_out_c = INFINITY, .reset_c = INFINITY};
    return;
  }
  model->winding.is_present = true;
  if (!model->motor.has_currents) {
    sb_reader_fault(reader, "motor.winding", "needs stall_current and no_load_current of the motor, found not both");
  }
  finish_capacity(reader, node);
  finish_start(reader, node);
  finish_cut_out(reader, node);
}
