// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/bench.h"

/* ---- points: the speed that a torque leaves the machine in its steady state, and the current at that speed ---- */

double sb_predict_speed_rad_s(const struct sb_model *machine, int gear, double voltage_v, double torque_nm)
{
  const struct sb_supply supply = {.open_circuit_voltage_v = voltage_v};
  const struct sb_motor_line line = sb_motor_line_driven(&machine->motor, &supply, 1.0);
  const struct sb_gear *path = &machine->gearbox.gears[gear];
  const double gain = path->ratio * path->efficiency;
  double external_nm = torque_nm, viscous = 0.0, quadratic = 0.0;
  for (int k = 0; k < machine->load.part_count; k++) {
    if (machine->load.parts[k].ops == sb_load_kind_find("constant")) external_nm += machine->load.parts[k].torque_nm;
  }
  sb_load_speed_terms(&machine->load, &viscous, &quadratic);
  const double net_nm = line.stall_nm - line.friction_nm - path->drag_nm - external_nm / gain;
  const double slope = line.slope_nms_rad + viscous / (gain * path->ratio);
  return net_nm / slope;
}

static void compute_points(const struct sb_bench *bench, const struct sb_bench_test *test,
                           const struct sb_model *machine, double *computed)
{
  const double *torques = test->log->columns[SB_LOG_TORQUE], *gears = test->log->columns[SB_LOG_GEAR];
  for (size_t i = test->first; i < test->first + test->count; i++) {
    const size_t row = bench->readings[i].row;
    const int gear = gears != NULL && gears[row] >= 1.0 ? (int)gears[row] - 1 : test->gear;
    const double voltage_v = sb_bench_voltage(bench, test->log, row);
    const double torque_nm = torques != NULL ? torques[row] / bench->gains[SB_FIT_GAUGE_TORQUE] : 0.0;
    const double speed = sb_predict_speed_rad_s(machine, gear, voltage_v, torque_nm);
    switch (bench->readings[i].column) {
      case SB_LOG_OUTPUT_SPEED: computed[i] = speed / machine->gearbox.gears[gear].ratio; break;
      case SB_LOG_MOTOR_CURRENT:
        computed[i] = (voltage_v - machine->motor.ke_vs_rad * speed) / machine->motor.resistance_ohm;
        break;
      default: computed[i] = speed; break;
    }
  }
}

/* ---- all ---- */

/* A machine in the time of a clock that runs fast: all that moves seems slower by as much, as if inertias were greater. */
static void take_clock(struct sb_model *machine, double gain)
{
  machine->motor.rotor_inertia_kg_m2 *= gain;
  machine->load.inertia_kg_m2 *= gain;
  machine->shifter.travel_time_s *= gain;
  machine->shifter.swing_turns *= gain;
}

/* A friction that noise has brought below zero helps the motion, whichever way the gear turns the output. */
static void turn_help(const struct sb_bench_test *test, double friction_nm, struct sb_model *machine)
{
  if (!(friction_nm < 0.0) || machine->gearbox.gears[test->gear].output_direction > 0) return;
  for (int k = 0; k < machine->load.part_count; k++) {
    struct sb_load_part *part = &machine->load.parts[k];
    if (part->ops == sb_load_kind_find("constant") && part->torque_nm == friction_nm) part->torque_nm = -friction_nm;
  }
}

static int predict_test(const struct sb_bench *bench, const struct sb_bench_test *test, const double *p,
                        const double *own, double *computed)
{
  struct sb_model machine;
  if (!sb_bench_machine(bench, p, test->added_inertia_kg_m2, &machine)) return -1;
  machine.motor.resistance_ohm += test->source_ohm;
  take_clock(&machine, bench->gains[SB_FIT_GAUGE_CLOCK]);
  if (test->is_dynamic) turn_help(test, p[SB_FIT_P_LOAD_FRICTION], &machine);
  if (test->event_count > 0) return sb_shift_compute(bench, test, &machine, own, computed);
  if (test->is_dynamic) return sb_dynamics_compute(bench, test, &machine, own, computed);
  compute_points(bench, test, &machine, computed);
  return 0;
}

int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed)
{
  int failed = 0;
  for (int t = 0; t < bench->test_count && failed == 0; t++) {
    failed = predict_test(bench, &bench->tests[t], p, own[t], computed);
  }
  for (size_t i = 0; i < bench->reading_count; i++) {
    const bool is_current = bench->readings[i].column == SB_LOG_MOTOR_CURRENT;
    computed[i] *= bench->gains[is_current ? SB_FIT_GAUGE_CURRENT : SB_FIT_GAUGE_SPEED];
  }
  return failed;
}
