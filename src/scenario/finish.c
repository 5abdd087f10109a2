// SPDX-License-Identifier: GPL-3.0-or-later
/* Defaults that hang on other keys, and the checks of keys against each other. NAN marks what had a fault already. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

#define TIME_CONSTANT_MIN 1e-6 /* s; the rotors of the smallest motors need a thousand times longer */
#define TIME_CONSTANT_MAX 1e5  /* s */

static bool is_given(const struct sb_reader *reader, const char *section, const char *key)
{
  return sb_node_find(sb_node_find(reader->root, section), key) != NULL;
}

static void finish_motor(struct sb_reader *reader)
{
  struct sb_motor *motor = &reader->draft->model.motor;
  const bool has_stall = is_given(reader, "motor", "stall_current");
  const bool has_no_load = is_given(reader, "motor", "no_load_current");
  motor->has_currents = has_stall && has_no_load;
  if (has_stall != has_no_load) {
    sb_reader_fault(reader, has_stall ? "motor.stall_current" : "motor.no_load_current",
                    "needs both stall_current and no_load_current or neither, found one");
  }
  if (motor->has_currents && motor->stall_current_a <= motor->no_load_current_a) {
    sb_reader_fault(reader, "motor.stall_current", "needs more than the no-load current (%.10g A), found %.10g A",
                    motor->no_load_current_a, motor->stall_current_a);
  }
  if (!motor->has_currents) motor->stall_current_a = motor->no_load_current_a = 0.0;

  const double time_constant_s = motor->rotor_inertia_kg_m2 * motor->no_load_speed_rad_s / motor->stall_torque_nm;
  if (time_constant_s < TIME_CONSTANT_MIN || time_constant_s > TIME_CONSTANT_MAX) {
    sb_reader_fault(reader, "motor.rotor_inertia",
                    "needs an inertia that fits speed and torque (time constant 1e-6 s to 1e5 s), found one that "
                    "makes %.3g s; check the units of all three",
                    time_constant_s);
  }
}

static void finish_supply(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  if (!sb_reader_finish_battery(reader)) {
    const bool has_voltage = is_given(reader, "supply", "open_circuit_voltage");
    if (!has_voltage) model->supply.open_circuit_voltage_v = model->motor.nominal_voltage_v;
    sb_reader_resolve(reader, "supply.open_circuit_voltage", model->supply.open_circuit_voltage_v);
  }
  if (!model->motor.has_currents && model->supply.internal_resistance_ohm > 0.0) {
    sb_reader_fault(reader, "supply.internal_resistance",
                    "needs stall_current and no_load_current of the motor, found not both");
  }
}

/* Without a name the scenario is called after its file. */
static void finish_name(struct sb_reader *reader)
{
  char *name = reader->draft->model.name;
  if (name[0] != 0) return;
  const char *slash = strrchr(reader->file, '/');
  const char *base = slash != NULL ? slash + 1 : reader->file;
  snprintf(name, sizeof reader->draft->model.name, "%.*s", (int)(strcspn(base, ".") > 0 ? strcspn(base, ".") : 100),
           base);
}

void sb_reader_finish_model(struct sb_reader *reader)
{
  finish_name(reader);
  finish_motor(reader);
  sb_reader_finish_winding(reader);
  finish_supply(reader);
  sb_reader_finish_gearbox(reader);
  sb_reader_finish_driveshaft(reader);
  sb_reader_finish_control(reader);
  sb_reader_finish_run(reader);
  sb_reader_finish_drive(reader);
  sb_reader_finish_limits(reader);

  struct sb_error err;
  if (reader->faults->total == 0 && sb_motor_derive(&reader->draft->model.motor, &err) != SB_OK) {
    sb_reader_fault(reader, "motor", "%s", err.text);
  }
  if (reader->faults->total == 0) sb_reader_derive_drive(reader);
  if (reader->faults->total == 0) sb_reader_check_effort(reader);
}
