// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * models.h - small machines in SI units for the tests, built without a scenario file.
 *
 * Start from model_blank(), set the motor, the gears and the load, and end with model_finish(), which derives. All
 * gears turn the output forward unless asked otherwise: odd gears drive it with the motor forward through an internal
 * mesh, even ones with the motor in reverse through an external mesh, so that a swing arm fits too.
 */
#ifndef SHIFTBAND_TESTS_MODELS_H
#define SHIFTBAND_TESTS_MODELS_H

#include <assert.h>
#include <math.h>
#include <string.h>

#include "shiftband/model.h"
#include "shiftband/run.h"

static const double model_pi = 3.14159265358979323846;

static inline double model_rad_s(double rpm)
{
  return rpm * model_pi / 30.0;
}

static inline struct sb_model model_blank(void)
{
  struct sb_model model = {.drive.limit_fraction = 1.0};
  strcpy(model.name, "test");
  model.shifter.ops = sb_shifter_kind_find("selector");
  model.shifter.travel_time_s = 0.05;
  model.shifter.timeout_s = INFINITY;
  model.control.start_gear = 1;
  model.control.sample_period_s = 0.02;
  model.control.debounce_count = 1;
  for (int p = 0; p + 1 < SB_GEAR_MAX; p++) {
    model.control.downshift_fraction[p] = 0.5;
    model.control.upshift_fraction[p] = 0.9;
  }
  model.run = (struct sb_run_setup){.duration_s = 10.0, .step_s = 1e-3, .trace_interval_s = 0.01};
  model.limits = (struct sb_limits){.output_torque_nm = INFINITY,
                                    .winding_c = INFINITY,
                                    .stall_time_s = 0.5,
                                    .slip_time_s = 0.1,
                                    .hunt_window_s = NAN};
  return model;
}

/* The straight line from a stall torque to a no-load speed, without currents, at its nominal voltage. */
static inline void model_set_line_motor(struct sb_model *model, double no_load_rad_s, double stall_nm, double inertia)
{
  model->motor = (struct sb_motor){.nominal_voltage_v = 12.0,
                                   .no_load_speed_rad_s = no_load_rad_s,
                                   .stall_torque_nm = stall_nm,
                                   .rotor_inertia_kg_m2 = inertia};
  model->supply = (struct sb_supply){.open_circuit_voltage_v = 12.0};
}

static inline void model_set_currents(struct sb_model *model, double stall_a, double no_load_a, double internal_ohm)
{
  model->motor.has_currents = true;
  model->motor.stall_current_a = stall_a;
  model->motor.no_load_current_a = no_load_a;
  model->supply.internal_resistance_ohm = internal_ohm;
}

/* A winding alone that starts at the ambient, 20 C; its motor's figures are those at 25 C. No switch opens. */
static inline struct sb_winding *model_set_winding(struct sb_model *model, double capacity_j_k, double resistance_k_w)
{
  model->winding = (struct sb_winding){.is_present = true,
                                       .ambient_c = 20.0,
                                       .start_c = 20.0,
                                       .housing_start_c = 20.0,
                                       .reference_c = 25.0,
                                       .capacity_j_k = capacity_j_k,
                                       .resistance_k_w = resistance_k_w,
                                       .cut_out_c = INFINITY,
                                       .reset_c = INFINITY};
  return &model->winding;
}

static inline void model_add_housing(struct sb_model *model, double capacity_j_k, double resistance_k_w)
{
  model->winding.housing_capacity_j_k = capacity_j_k;
  model->winding.housing_resistance_k_w = resistance_k_w;
}

/* Adds a gear of one mesh; is_reversing: it turns the output against gear 1. */
static inline struct sb_gear *model_add_gear(struct sb_model *model, double ratio, double efficiency, bool is_reversing)
{
  struct sb_gear *gear = &model->gearbox.gears[model->gearbox.gear_count++];
  const bool is_odd = model->gearbox.gear_count % 2 == 1;
  *gear = (struct sb_gear){.mesh_count = 1, .motor_direction = is_odd ? +1 : -1, .back_efficiency = NAN};
  gear->meshes[0] = (struct sb_mesh){.driver_teeth = 10.0,
                                     .driven_teeth = 10.0 * ratio,
                                     .efficiency = efficiency,
                                     .is_internal = is_odd != is_reversing};
  return gear;
}

/* All gears drive the output forward with the motor forward: a selector or a clutch never turns the motor round. */
static inline void model_drive_forward(struct sb_model *model)
{
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    model->gearbox.gears[g].motor_direction = +1;
    model->gearbox.gears[g].meshes[0].is_internal = true;
  }
}

static inline void model_set_shifter(struct sb_model *model, const char *kind)
{
  model->shifter.ops = sb_shifter_kind_find(kind);
  assert(model->shifter.ops != NULL);
}

static inline struct sb_load_part *model_add_part(struct sb_model *model, const char *kind, bool is_resisting)
{
  assert(model->load.part_count < SB_LOAD_PART_MAX);
  struct sb_load_part *part = &model->load.parts[model->load.part_count++];
  *part = (struct sb_load_part){.ops = sb_load_kind_find(kind), .is_resisting = is_resisting};
  assert(part->ops != NULL);
  return part;
}

static inline struct sb_load_part *model_add_constant(struct sb_model *model, double torque_nm, bool is_resisting)
{
  struct sb_load_part *part = model_add_part(model, "constant", is_resisting);
  part->torque_nm = torque_nm;
  return part;
}

static inline void model_add_viscous(struct sb_model *model, double nms_rad)
{
  model_add_part(model, "viscous", true)->viscous_nms_rad = nms_rad;
}

static inline void model_add_quadratic(struct sb_model *model, double nms2_rad2)
{
  model_add_part(model, "quadratic", true)->quadratic_nms2_rad2 = nms2_rad2;
}

/* The points stay with the caller. */
static inline struct sb_load_part *model_add_profile(struct sb_model *model, enum sb_load_axis axis, bool is_resisting,
                                                     size_t count, const double *x, const double *torque_nm)
{
  struct sb_load_part *part = model_add_part(model, "profile", is_resisting);
  part->axis = axis;
  part->table = (struct sb_table){count, x, torque_nm};
  return part;
}

static inline struct sb_load_part *model_add_sine(struct sb_model *model, enum sb_load_axis axis, bool is_resisting,
                                                  double mean_nm, double amplitude_nm, double period)
{
  struct sb_load_part *part = model_add_part(model, "sine", is_resisting);
  part->axis = axis;
  part->mean_nm = mean_nm;
  part->amplitude_nm = amplitude_nm;
  part->period = period;
  return part;
}

/* Derives; the sensor's reference becomes the no-load speed unless one was set. */
static inline void model_finish(struct sb_model *model)
{
  struct sb_error err = {0};
  const enum sb_status status = sb_motor_derive(&model->motor, &err);
  assert(status == SB_OK);
  (void)status;
  sb_gearbox_derive(&model->gearbox);
  if (!(model->control.sensor.reference_rad_s > 0.0)) {
    model->control.sensor.reference_rad_s = model->motor.no_load_speed_rad_s;
  }
}

/*
 * A small two-gear machine: 300 rpm, 0.4 N m, time constants 50 ms (slow) to 80 ms (fast), no load but what is added.
 * Call model_finish() after changes.
 */
static inline struct sb_model model_two_gears(const char *shifter)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, model_rad_s(300.0), 0.4, 4e-4);
  model_add_gear(&model, 12.0, 0.9, false);
  model_add_gear(&model, 4.0, 0.95, false);
  model.load.inertia_kg_m2 = 0.02;
  model_set_shifter(&model, shifter);
  model.shifter.swing_turns = 0.4;
  model.shifter.clutch_nm = 0.25;
  return model;
}

#endif
