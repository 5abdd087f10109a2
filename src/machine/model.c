// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/model.h"

#include <math.h>

#include "base/constants.h"

long long sb_model_step_count(double duration_s, double step_s)
{
  const double ratio = duration_s / step_s;
  const double whole = round(ratio);
  return (long long)(fabs(ratio - whole) <= 1e-6 ? whole : ceil(ratio));
}

double sb_model_whole_samples_s(const struct sb_control *control, double duration_s)
{
  return (double)sb_model_step_count(duration_s, control->sample_period_s) * control->sample_period_s;
}

double sb_model_suspended_nm(const struct sb_model *model)
{
  double least_nm = 0.0, greatest_nm = 0.0, friction_nm = 0.0;
  for (int i = 0; i < model->load.part_count; i++) {
    const struct sb_load_part *part = &model->load.parts[i];
    double least, greatest;
    if (part->is_resisting) continue;
    part->ops->range_nm(part, &least, &greatest);
    least_nm += least;
    greatest_nm += greatest;
  }
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_body *body = &model->bodies[i];
    if (body->ops->hold_nm != NULL) friction_nm += body->ops->hold_nm(body);
  }
  return fmax(fmax(greatest_nm, -least_nm) - friction_nm, 0.0);
}

/* One radian of the fastest wave, over time or over turns at a speed of the output. */
static double shortest_wave_s(const struct sb_load *load, double output_speed_rad_s)
{
  double shortest_s = INFINITY;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (!(part->period > 0.0)) continue;
    const double radian = part->period / SB_TURN;
    const double lasts_s = part->axis == SB_OVER_TIME ? radian : radian / fmax(output_speed_rad_s, 1e-9);
    shortest_s = fmin(shortest_s, lasts_s);
  }
  return shortest_s;
}

/* Of what turns with the output whatever its wheels do. */
static double least_output_inertia(const struct sb_model *model)
{
  const struct sb_load *load = &model->load;
  return load->road.can_slip ? load->inertia_kg_m2 - load->road.inertia_kg_m2 : load->inertia_kg_m2;
}

double sb_model_motor_inertia_kg_m2(const struct sb_model *model)
{
  return model->motor.rotor_inertia_kg_m2 + model->gearbox.motor_wheels_kg_m2;
}

double sb_model_output_inertia_kg_m2(const struct sb_model *model, double output_inertia_kg_m2)
{
  return output_inertia_kg_m2 + model->gearbox.output_wheels_kg_m2;
}

static bool has_clutch(const struct sb_model *model)
{
  return model->shifter.ops != NULL && model->shifter.ops->has_clutch;
}

double sb_model_engaged_motor_kg_m2(const struct sb_model *model, int gear, bool is_driving)
{
  const struct sb_gear *own = &model->gearbox.gears[gear];
  if (has_clutch(model)) return sb_model_motor_inertia_kg_m2(model);
  return model->motor.rotor_inertia_kg_m2 + (own->wheels_kg_m2 + own->wheels_excess_kg_m2[is_driving]);
}

double sb_model_engaged_output_kg_m2(const struct sb_model *model, double output_inertia_kg_m2)
{
  return has_clutch(model) ? sb_model_output_inertia_kg_m2(model, output_inertia_kg_m2) : output_inertia_kg_m2;
}

double sb_model_driven_inertia_kg_m2(const struct sb_model *model, int gear, double output_inertia_kg_m2)
{
  const struct sb_gear *own = &model->gearbox.gears[gear];
  return sb_model_engaged_motor_kg_m2(model, gear, true) +
         sb_model_engaged_output_kg_m2(model, output_inertia_kg_m2) / (own->ratio * own->ratio * own->efficiency);
}

double sb_model_overrun_inertia_kg_m2(const struct sb_model *model, int gear, double output_inertia_kg_m2)
{
  const struct sb_gear *own = &model->gearbox.gears[gear];
  return sb_model_engaged_motor_kg_m2(model, gear, false) +
         sb_model_engaged_output_kg_m2(model, output_inertia_kg_m2) * own->back_efficiency / (own->ratio * own->ratio);
}

/* What all time constants of a model are made of. */
struct rates {
  const struct sb_model *model;
  const struct sb_motor_line *line;
  double
      load_slope; /* what slows the output per speed, N m s / rad; the quadratic load at the greatest speed without overrun */
  double wave_s; /* a radian of the load's fastest wave */
};

static struct rates rates_of(const struct sb_model *model, const struct sb_derived *derived)
{
  const struct sb_gear *fastest = &model->gearbox.gears[model->gearbox.gear_count - 1];
  const double driven_rad_s = sb_motor_no_load_speed_rad_s(&derived->line) / fastest->ratio;
  const double top_rad_s = fmax(driven_rad_s, fabs(model->run.initial_output_speed_rad_s));
  return (struct rates){.model = model,
                        .line = &derived->line,
                        .load_slope = derived->viscous_nms_rad + 2.0 * derived->quadratic_nms2_rad2 * top_rad_s,
                        .wave_s = shortest_wave_s(&model->load, top_rad_s)};
}

/* Of a gear (index) or of neutral (-1), with so much inertia at the output. */
static double constant_with_s(const struct rates *rates, int gear, double output_inertia)
{
  if (gear < 0) {
    const double output = sb_model_output_inertia_kg_m2(rates->model, output_inertia);
    const double output_s = rates->load_slope > 0.0 ? output / rates->load_slope : INFINITY;
    const double motor_inertia = sb_model_motor_inertia_kg_m2(rates->model);
    return fmin(rates->wave_s, fmin(motor_inertia / rates->line->slope_nms_rad, output_s));
  }
  const struct sb_gear *own = &rates->model->gearbox.gears[gear];
  const double reflect = own->ratio * own->ratio * own->efficiency;
  const double slope = rates->line->slope_nms_rad + rates->load_slope / reflect;
  return fmin(rates->wave_s, sb_model_driven_inertia_kg_m2(rates->model, gear, output_inertia) / slope);
}

/* The shaft that gives, against the least that swings at its ends: a radian of its swing, or its damping. */
static double shaft_time_s(const struct sb_model *model, int gear)
{
  const struct sb_driveshaft *shaft = &model->driveshaft;
  const struct sb_gear *own = &model->gearbox.gears[gear];
  const double per_output = 1.0 / least_output_inertia(model);
  const double per_motor =
      1.0 / (own->ratio * own->ratio * own->efficiency * sb_model_engaged_motor_kg_m2(model, gear, true));
  const double per_inertia = per_output + per_motor;
  return fmin(1.0 / sqrt(shaft->stiffness_nm_rad * per_inertia),
              shaft->damping_nms_rad > 0.0 ? 1.0 / (shaft->damping_nms_rad * per_inertia) : INFINITY);
}

/* Of a vehicle beside wheels that slip: what slows it by its speed is the load's at most. */
static double vehicle_time_s(const struct rates *rates)
{
  return rates->load_slope > 0.0 ? rates->model->load.road.inertia_kg_m2 / rates->load_slope : INFINITY;
}

/* A gear that passes back less than it passes on leaves the motor more to itself in overrun; one that locks itself turns
 * what slows the output against the motor's own line, and one that jams does not move. */
static double overrun_time_s(const struct rates *rates, int gear, double output_inertia)
{
  const struct sb_gear *own = &rates->model->gearbox.gears[gear];
  if (!(own->back_efficiency < own->efficiency)) return INFINITY;
  const double inertia = sb_model_overrun_inertia_kg_m2(rates->model, gear, output_inertia);
  const double reflected = fmin(own->back_efficiency, 0.0) / (own->ratio * own->ratio);
  return inertia > 0.0 ? inertia / (rates->line->slope_nms_rad - rates->load_slope * reflected) : INFINITY;
}

/* Wheels that slip leave their vehicle, and a shaft that gives leaves motor and output to themselves. */
static double least_s(const struct rates *rates, int gear)
{
  const struct sb_model *model = rates->model;
  const double least_inertia = least_output_inertia(model);
  double least = constant_with_s(rates, gear, model->load.inertia_kg_m2);
  if (model->load.road.can_slip) {
    least = fmin(least, fmin(constant_with_s(rates, gear, least_inertia), vehicle_time_s(rates)));
  }
  if (gear >= 0) {
    least = fmin(least, overrun_time_s(rates, gear, least_inertia));
    least = fmin(least, overrun_time_s(rates, gear, model->load.inertia_kg_m2));
  }
  if (gear < 0 || !model->driveshaft.is_present) return least;
  return fmin(least, fmin(constant_with_s(rates, -1, least_inertia), shaft_time_s(model, gear)));
}

struct sb_derived sb_model_derive(const struct sb_model *model)
{
  struct sb_derived out = {
      .line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction),
  };
  sb_load_speed_terms(&model->load, &out.viscous_nms_rad, &out.quadratic_nms2_rad2);
  const struct rates rates = rates_of(model, &out);
  for (int g = -1; g < model->gearbox.gear_count; g++) {
    out.time_constant_s[g + 1] = constant_with_s(&rates, g, model->load.inertia_kg_m2);
    out.least_time_constant_s[g + 1] = least_s(&rates, g);
  }
  return out;
}

double sb_model_shortest_s(const struct sb_derived *derived, const struct sb_model *model)
{
  double shortest_s = INFINITY;
  for (int g = 0; g <= model->gearbox.gear_count; g++) shortest_s = fmin(shortest_s, derived->time_constant_s[g]);
  return shortest_s;
}

/* Limits that have defaults ---------------------------------------------------------------------------------------------- */

double sb_model_shift_interval_s(const struct sb_model *model)
{
  return model->limits.shift_rate_per_s > 0.0 ? 1.0 / model->limits.shift_rate_per_s : 6.0;
}

double sb_model_clutch_slip_s(const struct sb_model *model)
{
  return model->limits.clutch_slip_time_s > 0.0 ? model->limits.clutch_slip_time_s : 0.05;
}

static double greatest_voltage_v(const struct sb_model *model)
{
  const double open_v = model->supply.open_circuit_voltage_v;
  return model->battery.is_present ? fmax(open_v, sb_battery_voltage_v(&model->battery, 1.0)) : open_v;
}

double sb_model_motor_speed_limit_rad_s(const struct sb_model *model)
{
  if (model->limits.motor_speed_rad_s > 0.0) return model->limits.motor_speed_rad_s;
  struct sb_supply supply = model->supply;
  supply.open_circuit_voltage_v = greatest_voltage_v(model);
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &supply, 1.0);
  return 1.5 * sb_motor_no_load_speed_rad_s(&line);
}

double sb_model_body_radius_m(const struct sb_model *model)
{
  for (int i = 0; i < model->body_count; i++) {
    const double own_m = sb_body_radius_m(&model->bodies[i]);
    if (own_m > 0.0) return own_m;
  }
  return 0.0;
}

/* The twist of the shaft, backlash included, at the greatest torque that a gear delivers. */
static double greatest_twist_rad(const struct sb_model *model)
{
  const struct sb_driveshaft *shaft = &model->driveshaft;
  if (!shaft->is_present) return 0.0;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, 1.0);
  double greatest_nm = 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    greatest_nm = fmax(greatest_nm, gear->ratio * gear->efficiency * sb_motor_stall_torque_nm(&line));
  }
  return greatest_nm / shaft->stiffness_nm_rad + shaft->backlash_rad;
}

double sb_model_run_back_rad(const struct sb_model *model, double way_rad)
{
  const double eighth_rad = SB_TURN / 8.0, quarter_rad = SB_TURN / 4.0, least_m = 0.010;
  const double own_m = sb_model_body_radius_m(model);
  double limit_rad = eighth_rad;
  if (own_m > 0.0) limit_rad = fmin(fmax(0.01 * way_rad, least_m / own_m), quarter_rad);
  if (model->limits.run_back_rad > 0.0) limit_rad = model->limits.run_back_rad;
  return limit_rad + greatest_twist_rad(model);
}
