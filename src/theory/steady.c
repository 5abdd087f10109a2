// SPDX-License-Identifier: GPL-3.0-or-later
#include "theory/steady.h"

#include <math.h>

#include "shiftband/limiter.h"
#include "theory/torque_balance.h"

/* A duty this little above the limit is the limit, rounded. */
static const double duty_slack = 1e-12;

static bool is_controlled(const struct sb_model *model)
{
  return model->drive.mode == SB_DRIVE_SPEED_CONTROL;
}

/* Speed that the speed controller does not let the motor exceed while it drives. */
static double ceiling_rad_s(const struct sb_model *model)
{
  return is_controlled(model) ? model->drive.target_rad_s : INFINITY;
}

/*
 * The duty at which the motor gives a torque at a speed > 0: with currents the lesser root of
 * Ri I u^2 - Voc u + (ke w + R I) = 0, Kirchhoff's voltages over supply and motor.
 */
static double duty_to_give(const struct sb_model *model, double motor_nm, double speed_rad_s)
{
  const struct sb_motor *motor = &model->motor;
  const struct sb_supply *supply = &model->supply;
  if (!motor->has_currents) {
    return (motor_nm / motor->stall_torque_nm + speed_rad_s / motor->no_load_speed_rad_s) * motor->nominal_voltage_v /
           supply->open_circuit_voltage_v;
  }
  const double current_a = (motor_nm + motor->friction_nm) / motor->kt_nm_a;
  const struct sb_motor_circuit circuit = sb_motor_circuit_of(motor, supply);
  return sb_limiter_duty_for(&circuit, motor->ke_vs_rad * speed_rad_s, current_a);
}

/* The duty that a driver really gives at a speed. */
static double given_duty(const struct sb_model *model, const struct sb_motor_line *line, double speed_rad_s)
{
  if (speed_rad_s >= sb_motor_corner_rad_s(line)) return line->duty;
  const struct sb_motor_circuit circuit = sb_motor_circuit_of(&model->motor, &model->supply);
  const struct sb_limiter_piece piece = sb_limiter_piece(&model->motor, &circuit, line->duty, SB_LIMITER_HELD);
  return sb_limiter_duty(&piece, speed_rad_s);
}

/* The supply's voltage at a speed on a line. */
static double supply_at_v(const struct sb_model *model, const struct sb_motor_line *line, double speed_rad_s)
{
  const double current_a = given_duty(model, line, speed_rad_s) * sb_motor_current_a(line, speed_rad_s);
  return model->supply.open_circuit_voltage_v - model->supply.internal_resistance_ohm * current_a;
}

/* The same where the current is held: the supply's voltage falls there as the motor gains speed, so that one speed fits. */
static double held_reading_rad_s(const struct sb_model *model, const struct sb_motor_line *line, double per_v)
{
  const double drop_v = model->control.sensor.supply.drop_v;
  double low = 0.0, high = sb_motor_corner_rad_s(line);
  for (int i = 0; i < 60; i++) {
    const double middle = 0.5 * (low + high);
    const bool is_below = middle < per_v * (supply_at_v(model, line, middle) - drop_v);
    *(is_below ? &low : &high) = middle;
  }
  return 0.5 * (low + high);
}

/*
 * Against a reference that follows the supply, w = A (V(w) - drop), and on the line V(w) = V(0) + Ri u k w, k the current's slope:
 * both are solved together. Where that much speed would need no drop at all, any is below the reading.
 */
static double speed_of_reading_rad_s(const struct sb_model *model, const struct sb_motor_line *line, double reading)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const struct sb_supply_sensor *supply = &sensor->supply;
  const double speed_rad_s = reading * sensor->reference_rad_s;
  if (!supply->is_present) return speed_rad_s;
  const double per_v = speed_rad_s / (supply->nominal_v - supply->drop_v);
  const double rise = model->supply.internal_resistance_ohm * line->duty * line->slope_as_rad;
  const double still_v =
      model->supply.open_circuit_voltage_v - model->supply.internal_resistance_ohm * line->duty * line->stall_a;
  const double usable_v = still_v - supply->drop_v;
  const double least_rad_s = SB_SUPPLY_LEAST * speed_rad_s;
  if (!(per_v * rise < 1.0)) return INFINITY;
  const double on_line = per_v * usable_v / (1.0 - per_v * rise);
  return fmax(on_line < sb_motor_corner_rad_s(line) ? held_reading_rad_s(model, line, per_v) : on_line, least_rad_s);
}

static struct sb_reading_point speed_point(const struct sb_model *model, const struct sb_motor_line *line,
                                           double reading)
{
  const double speed_rad_s = speed_of_reading_rad_s(model, line, reading);
  const double ceiling = ceiling_rad_s(model);
  if (speed_rad_s > ceiling * (1.0 + duty_slack) || isinf(speed_rad_s))
    return (struct sb_reading_point){.line = *line, .speed_rad_s = ceiling, .motor_nm = -INFINITY};
  return (struct sb_reading_point){
      .line = *line, .speed_rad_s = speed_rad_s, .motor_nm = sb_motor_torque_nm(line, speed_rad_s)};
}

/* The duty depends on the load only while the speed controller holds the target. */
static struct sb_reading_point duty_point(const struct sb_model *model, const struct sb_motor_line *line,
                                          double reading)
{
  const double speed_rad_s = fmin(model->drive.target_rad_s, sb_motor_no_load_speed_rad_s(line));
  const double duty = 1.0 - reading;
  if (duty < 0.0) return (struct sb_reading_point){.line = *line, .speed_rad_s = speed_rad_s, .motor_nm = -INFINITY};
  const struct sb_motor_line own = sb_motor_line_driven(&model->motor, &model->supply, duty);
  /* A held current keeps the duty down: with a slower motor it falls again. */
  if (duty > line->duty + duty_slack || speed_rad_s < sb_motor_corner_rad_s(&own))
    return (struct sb_reading_point){.line = *line, .speed_rad_s = speed_rad_s, .motor_nm = INFINITY};
  return (struct sb_reading_point){
      .line = own, .speed_rad_s = speed_rad_s, .motor_nm = sb_motor_torque_nm(&own, speed_rad_s)};
}

/* The current follows the motor's torque at any duty; the duty only bounds the speed. */
static struct sb_reading_point current_point(const struct sb_model *model, const struct sb_motor_line *line,
                                             double reading)
{
  const struct sb_motor *motor = &model->motor;
  const double current_a = (1.0 - reading) * model->control.sensor.reference_a;
  const double on_line = (line->stall_a - current_a) / line->slope_as_rad;
  const double speed_rad_s = fmin(fmax(on_line, 0.0), ceiling_rad_s(model));
  if (current_a < 0.0)
    return (struct sb_reading_point){.line = *line, .speed_rad_s = speed_rad_s, .motor_nm = -INFINITY};
  const bool is_out_of_reach = on_line < 0.0 || (line->limit_a > 0.0 && current_a > line->limit_a);
  if (is_out_of_reach)
    return (struct sb_reading_point){.line = *line, .speed_rad_s = speed_rad_s, .motor_nm = INFINITY};
  const double motor_nm = motor->kt_nm_a * current_a - motor->friction_nm;
  return (struct sb_reading_point){.line = *line, .speed_rad_s = speed_rad_s, .motor_nm = motor_nm};
}

double sb_steady_helping_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear, double reading)
{
  const struct sb_motor *motor = &model->motor;
  const double back = model->gearbox.gears[gear].back_efficiency;
  if (back < 0.0) {
    const struct sb_reading_point point = sb_steady_point(model, line, reading);
    return sb_torque_balance_lowered_nm(model, gear, point.motor_nm, point.speed_rad_s);
  }
  if (model->control.sensor.quantity != SB_SENSES_CURRENT || back == 0.0) return -INFINITY;
  const double current_a = (1.0 - fmin(reading, 1.0)) * model->control.sensor.reference_a; /* out of the motor */
  double speed_rad_s = (line->stall_a + current_a) / line->slope_as_rad;
  if (speed_rad_s > ceiling_rad_s(model)) {
    const struct sb_motor_line idle = sb_motor_line_driven(motor, &model->supply, 0.0);
    speed_rad_s = fmax(ceiling_rad_s(model), (idle.stall_a + current_a) / idle.slope_as_rad);
  }
  return sb_torque_balance_output_nm(model, gear, -motor->kt_nm_a * current_a - motor->friction_nm, speed_rad_s);
}

static struct sb_reading_point point_of(const struct sb_model *model, const struct sb_motor_line *line, double reading)
{
  switch (model->control.sensor.quantity) {
    case SB_SENSES_DUTY: return duty_point(model, line, reading);
    case SB_SENSES_CURRENT: return current_point(model, line, reading);
    case SB_SENSES_SPEED: break;
  }
  return speed_point(model, line, reading);
}

struct sb_reading_point sb_steady_point(const struct sb_model *model, const struct sb_motor_line *line, double reading)
{
  struct sb_reading_point point = point_of(model, line, reading);
  point.reading = reading;
  return point;
}

double sb_steady_load_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear, double reading)
{
  const struct sb_reading_point point = sb_steady_point(model, line, reading);
  return sb_torque_balance_output_nm(model, gear, point.motor_nm, point.speed_rad_s);
}

double sb_steady_stall_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double clutch_nm = sb_shifter_clutch_nm(&model->shifter), motor_nm = sb_motor_stall_torque_nm(line);
  const double most_nm = clutch_nm > 0.0 ? fmin(clutch_nm, motor_nm) : motor_nm;
  return path->ratio * path->efficiency * (most_nm - path->drag_nm);
}

/* A motor in steady state: its line at the duty of that state, and its speed on it. */
struct steady {
  struct sb_motor_line line;
  double speed_rad_s;
};

/* The speed controller holds its target with the duty that this takes, from 0 (the motor brakes on its short circuit) to
 * the limit. */
static struct steady steady_of(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                               double external_nm)
{
  const double target_rad_s = ceiling_rad_s(model);
  const double fastest = sb_torque_balance_speed_rad_s(model, line, gear, external_nm);
  if (!(fastest > target_rad_s)) return (struct steady){*line, fastest};
  const struct sb_motor_line idle = sb_motor_line_driven(&model->motor, &model->supply, 0.0);
  const double slowest = sb_torque_balance_speed_rad_s(model, &idle, gear, external_nm);
  if (slowest > target_rad_s) return (struct steady){idle, slowest};
  const double motor_nm = sb_torque_balance_motor_nm(model, gear, external_nm, target_rad_s);
  const double duty = fmin(fmax(duty_to_give(model, motor_nm, target_rad_s), 0.0), line->duty);
  return (struct steady){sb_motor_line_driven(&model->motor, &model->supply, duty), target_rad_s};
}

double sb_steady_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                             double external_nm)
{
  return steady_of(model, line, gear, external_nm).speed_rad_s;
}

double sb_steady_reading(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm)
{
  const struct steady at = steady_of(model, line, gear, external_nm);
  const double current_a = sb_motor_current_a(&at.line, at.speed_rad_s);
  const struct sb_sensor *sensor = &model->control.sensor;
  return sb_sensor_input(sensor, at.speed_rad_s, given_duty(model, &at.line, at.speed_rad_s), current_a) /
         sb_sensor_reference_share(sensor, supply_at_v(model, &at.line, at.speed_rad_s));
}

double sb_steady_supply_v(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm)
{
  const struct steady at = steady_of(model, line, gear, external_nm);
  return supply_at_v(model, &at.line, at.speed_rad_s);
}

double sb_steady_power_w(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm)
{
  const struct steady at = steady_of(model, line, gear, external_nm);
  if (!model->motor.has_currents) return sb_motor_torque_nm(&at.line, at.speed_rad_s) * at.speed_rad_s;
  const double current_a = given_duty(model, &at.line, at.speed_rad_s) * sb_motor_current_a(&at.line, at.speed_rad_s);
  return model->supply.open_circuit_voltage_v * current_a;
}

double sb_steady_speed_reading(const struct sb_model *model, const struct sb_motor_line *line, double speed_rad_s)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  return speed_rad_s / sensor->reference_rad_s /
         sb_sensor_reference_share(sensor, supply_at_v(model, line, speed_rad_s));
}

double sb_steady_greatest_reading(const struct sb_model *model, const struct sb_motor_line *line)
{
  if (model->control.sensor.quantity != SB_SENSES_SPEED) return 1.0;
  return sb_steady_speed_reading(model, line, fmin(sb_motor_no_load_speed_rad_s(line), ceiling_rad_s(model)));
}

double sb_steady_hidden_nm(const struct sb_model *model, const struct sb_motor_line *line, int gear)
{
  if (!is_controlled(model)) return NAN;
  const double target_rad_s = model->drive.target_rad_s;
  return sb_torque_balance_output_nm(model, gear, sb_motor_torque_nm(line, target_rad_s), target_rad_s);
}

/*
 * Between ticks Ts apart the speed approaches b u: w+ = a w + (1 - a) b u, a = exp(-Ts / tau). With u = Kp e + Ki s,
 * s+ = s + Ts e, the loop's characteristic polynomial is z^2 - (1 + a - g Kp) z + a - g Kp + g Ki Ts, g = (1 - a) b; its
 * roots lie in the unit circle when Jury's three conditions hold. K. J. Astrom, B. Wittenmark, Computer-Controlled
 * Systems, chapters 2 and 3 (from memory).
 */
bool sb_steady_is_stable(const struct sb_model *model, const struct sb_motor_line *line, int gear)
{
  if (!is_controlled(model)) return true;
  const struct sb_drive *drive = &model->drive;
  const struct sb_gear *path = &model->gearbox.gears[gear];
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  const double output_rad_s = drive->target_rad_s / path->ratio;
  const double load_slope = (viscous + 2.0 * quadratic * output_rad_s) / (path->ratio * path->ratio * path->efficiency);
  const double slope = line->slope_nms_rad + load_slope;
  const double inertia = sb_model_driven_inertia_kg_m2(model, gear, model->load.inertia_kg_m2);
  const double a = exp(-drive->period_s * slope / inertia);
  const double g = (1.0 - a) * line->stall_nm / line->duty / slope;
  const double proportional = g * drive->gain_per_rad_s;
  const double integral = g * drive->integral_per_rad * drive->period_s;
  const double product = a - proportional + integral; /* of the two roots */
  return integral > 0.0 ? product < 1.0 && 2.0 + 2.0 * a - 2.0 * proportional + integral > 0.0
                        : 1.0 + a - proportional > 0.0;
}
