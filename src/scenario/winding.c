// SPDX-License-Identifier: GPL-3.0-or-later
/* Defaults and cross-checks of motor.winding. NAN marks what had a fault already. */
#include <math.h>

#include "scenario/reader.h"

#define CAPACITY_MIN 1e-6 /* J / K, as for motor.winding.heat_capacity */
#define CAPACITY_MAX 1e9

static bool is_given(const struct sb_node *node, const char *key)
{
  return sb_node_find(node, key) != NULL;
}

static void finish_capacity(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_winding *winding = &reader->draft->model.winding;
  const bool has_capacity = is_given(node, "heat_capacity");
  const bool has_time = is_given(node, "time_constant");
  if (has_capacity == has_time) {
    sb_reader_fault(reader, has_capacity ? "motor.winding.time_constant" : "motor.winding.heat_capacity",
                    "needs one of heat_capacity and time_constant, found %s", has_capacity ? "both" : "neither");
    return;
  }
  if (has_capacity) return;
  winding->capacity_j_k = reader->draft->winding_time_constant_s / winding->resistance_k_w;
  if (winding->capacity_j_k < CAPACITY_MIN || winding->capacity_j_k > CAPACITY_MAX) {
    sb_reader_fault(reader, "motor.winding.time_constant",
                    "needs one that makes a heat capacity of 1e-6 to 1e9 J/K, found %.6g J/K", winding->capacity_j_k);
  }
}

static void finish_start(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_winding *winding = &reader->draft->model.winding;
  const struct sb_node *housing = sb_node_find(node, "housing");
  if (!is_given(node, "start")) winding->start_c = winding->ambient_c;
  sb_reader_resolve(reader, "motor.winding.start", winding->start_c);
  if (housing == NULL) {
    winding->housing_capacity_j_k = winding->housing_resistance_k_w = 0.0;
    winding->housing_start_c = winding->ambient_c;
    return;
  }
  if (!is_given(housing, "start")) winding->housing_start_c = winding->ambient_c;
  sb_reader_resolve(reader, "motor.winding.housing.start", winding->housing_start_c);
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
  const struct sb_node *motor = sb_node_find(reader->root, "motor");
  const struct sb_node *node = motor != NULL ? sb_node_find(motor, "winding") : NULL;
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
