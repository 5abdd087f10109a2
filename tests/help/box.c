// SPDX-License-Identifier: GPL-3.0-or-later
/* box.c - see box.h. */
#include "help/box.h"

#include "help/near.h"
#include "help/plane.h"

void box_add_gear(struct sb_model *model, double ratio, double efficiency)
{
  struct sb_gear *gear = &model->gearbox.gears[model->gearbox.gear_count++];
  *gear = (struct sb_gear){.mesh_count = 1, .motor_direction = 1, .back_efficiency = (double)NAN};
  gear->meshes[0] = (struct sb_mesh){.driver_teeth = 1.0, .driven_teeth = ratio, .efficiency = efficiency};
  sb_gearbox_derive(&model->gearbox);
}

void box_add_part(struct sb_model *model, const char *kind, struct sb_load_part part)
{
  part.ops = sb_load_kind_find(kind);
  assert_non_null(part.ops);
  model->load.parts[model->load.part_count++] = part;
}

void box_add_constant(struct sb_model *model, double torque_nm, bool is_resisting)
{
  box_add_part(model, "constant", (struct sb_load_part){.torque_nm = torque_nm, .is_resisting = is_resisting});
}

void box_add_viscous(struct sb_model *model, double viscous)
{
  box_add_part(model, "viscous", (struct sb_load_part){.viscous_nms_rad = viscous});
}

void box_add_quadratic(struct sb_model *model, double quadratic)
{
  box_add_part(model, "quadratic", (struct sb_load_part){.quadratic_nms2_rad2 = quadratic});
}

/* A motor that is a plain line: no currents, no friction. No gear, no load yet. */
struct sb_model box_line(double no_load_rad_s, double stall_nm, double rotor_inertia, double output_inertia)
{
  struct sb_model model = {.drive.limit_fraction = 1.0};
  model.motor = (struct sb_motor){.nominal_voltage_v = 12.0,
                                  .no_load_speed_rad_s = no_load_rad_s,
                                  .stall_torque_nm = stall_nm,
                                  .rotor_inertia_kg_m2 = rotor_inertia};
  model.supply.open_circuit_voltage_v = 12.0;
  model.load.inertia_kg_m2 = output_inertia;
  model.control = (struct sb_control){.start_gear = 2, .sample_period_s = 0.01, .debounce_count = 1};
  model.control.sensor.reference_rad_s = no_load_rad_s;
  model.control.downshift_fraction[0] = 0.6;
  model.control.upshift_fraction[0] = 0.9;
  model.run = (struct sb_run_setup){.duration_s = 10.0, .step_s = 1e-3, .trace_interval_s = 1e-3};
  model.shifter.ops = sb_shifter_kind_find("selector");
  model.shifter.timeout_s = 5.0;
  return model;
}

/* A motor of constants k (both), R and constant friction torque, at a voltage: the figures that a data sheet would give. */
struct sb_model box_constants(double voltage_v, double k, double ohm, double friction_nm, double rotor_inertia,
                              double output_inertia)
{
  const double no_load_a = friction_nm / k;
  struct sb_model model =
      box_line((voltage_v - no_load_a * ohm) / k, k * (voltage_v / ohm - no_load_a), rotor_inertia, output_inertia);
  model.motor.nominal_voltage_v = voltage_v;
  model.motor.has_currents = true;
  model.motor.stall_current_a = voltage_v / ohm;
  model.motor.no_load_current_a = no_load_a;
  assert_int_equal(sb_motor_derive(&model.motor, NULL), SB_OK);
  model.supply.open_circuit_voltage_v = voltage_v;
  return model;
}

/* The shape of a small cart: friction, two gears, a selector. */
struct sb_model box_cart(void)
{
  struct sb_model model = box_constants(12.0, 0.19, 4.6, 0.02, 2.1e-4, 0.004);
  box_add_gear(&model, 12.0, 0.8847);
  box_add_gear(&model, 4.0, 0.9216);
  return model;
}

/* The same with a swing arm: an idler (here: an internal mesh) in the slow path, so that both turn the output alike. */
struct sb_model box_swing(void)
{
  struct sb_model model = box_cart();
  model.gearbox.gears[0].motor_direction = -1;
  model.gearbox.gears[0].meshes[0].is_internal = true;
  sb_gearbox_derive(&model.gearbox);
  model.shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("swing arm"), .swing_turns = 0.4, .timeout_s = 5.0};
  return model;
}

/* A shift from a gear so low that the output hardly turns into a direct one, the motor switched off. */
struct sb_model box_joining(double motor_inertia, double output_inertia, double old_ratio)
{
  struct sb_model model = box_line(1.0, 1e-300, motor_inertia, output_inertia);
  box_add_gear(&model, old_ratio, 1.0);
  box_add_gear(&model, 1.0, 1.0);
  return model;
}

struct sb_model box_random(gsl_rng *dice, double greatest_internal_share)
{
  const double voltage_v = plane_between(dice, 3.0, 48.0), k = plane_between(dice, 0.01, 1.0);
  const double ohm = plane_between(dice, 0.1, 10.0), stall = k * voltage_v / ohm;
  const double friction_nm = stall * plane_between(dice, 0.0, 0.1), inertia = plane_between(dice, 1e-5, 1e-2);
  struct sb_model model = box_constants(voltage_v, k, ohm, friction_nm, inertia, plane_between(dice, 1e-4, 1.0));
  model.supply.internal_resistance_ohm = ohm * plane_between(dice, 0.0, greatest_internal_share);
  const double fast = plane_between(dice, 1.0, 10.0);
  box_add_gear(&model, fast * plane_between(dice, 1.2, 4.0), plane_between(dice, 0.6, 0.9));
  box_add_gear(&model, fast, plane_between(dice, 0.8, 1.0));
  for (int g = 0; g < 2; g++) {
    model.gearbox.gears[g].drag_nm = stall * plane_between(dice, 0.0, 0.05);
    model.gearbox.gears[g].back_efficiency = plane_between(dice, 0.3, 1.0);
  }
  const double slope = stall / model.motor.no_load_speed_rad_s * fast * fast;
  box_add_viscous(&model, slope * plane_between(dice, 0.0, 0.2));
  box_add_quadratic(&model, slope * fast / model.motor.no_load_speed_rad_s * plane_between(dice, 0.0, 0.3));
  return model;
}
