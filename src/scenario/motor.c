// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `motor`: its keys and its checks. The winding and the magnets have files of their own. */
#include "scenario/reader.h"
#include "scenario/schema_words.h"

/* s, of the free rotor: outside this the units of inertia, speed and torque do not fit together. */
#define TIME_CONSTANT_MIN 1e-6
#define TIME_CONSTANT_MAX 1e5

static const struct sb_key keys[] = {
    {QUANTITY("nominal_voltage", SB_VOLTAGE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, VOLTAGE_MAX),
     MODEL(motor.nominal_voltage_v),
     .meaning = "The voltage for which the speed, the torque and the currents below are given."},
    {QUANTITY("no_load_speed", SB_SPEED), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, SPEED_MAX),
     MODEL(motor.no_load_speed_rad_s),
     .meaning = "The speed of the free shaft; of a motor with a built-in gearhead, the shaft of the gearhead."},
    {QUANTITY("stall_torque", SB_TORQUE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TORQUE_MAX),
     MODEL(motor.stall_torque_nm), .meaning = "The torque of the blocked shaft."},
    {QUANTITY("stall_current", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, CURRENT_MAX), .default_words = "none",
     MODEL(motor.stall_current_a), .meaning = "The current of the blocked motor. Give both currents or neither."},
    {QUANTITY("no_load_current", SB_CURRENT), BETWEEN(0, CURRENT_MAX), .default_words = "none",
     MODEL(motor.no_load_current_a), .meaning = "The current of the free motor; it is below the stall current."},
    {QUANTITY("rotor_inertia", SB_INERTIA), .flags = SB_REQUIRED, BETWEEN(INERTIA_MIN, INERTIA_MAX),
     MODEL(motor.rotor_inertia_kg_m2),
     .meaning = "The inertia of the rotor and of everything that is fixed to it, at the shaft."},
    {SECTION("winding", &sb_winding_section), .default_words = "none, so its resistance does not change",
     .meaning = "How the winding warms, and how its resistance follows."},
    {SECTION("magnet", &sb_magnet_section), .default_words = "none, so the magnets keep their strength",
     .meaning = "How the magnets weaken with heat; this needs a winding."},
    {.name = NULL}};

const struct sb_section sb_motor_section = {"motor", "a brushed permanent-magnet DC motor", keys, NULL};

void sb_reader_finish_motor(struct sb_reader *reader)
{
  struct sb_motor *motor = &reader->draft->model.motor;
  const bool has_stall = sb_reader_has(reader, "motor.stall_current");
  const bool has_no_load = sb_reader_has(reader, "motor.no_load_current");
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
