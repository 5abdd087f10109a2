// SPDX-License-Identifier: GPL-3.0-or-later
#include "theory/torque_balance.h"

#include <math.h>

struct sb_motor_line sb_torque_balance_line(const struct sb_model *model)
{
  return sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
}

/* Torque at the output that follows its speed W >= 0. */
static double following_nm(const struct sb_model *model, double output_speed_rad_s)
{
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  return output_speed_rad_s * (viscous + quadratic * output_speed_rad_s);
}

double sb_torque_balance_output_nm(const struct sb_model *model, int gear, double motor_nm, double speed_rad_s)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double given_nm = motor_nm - path->drag_nm;
  /* Below zero the output drives the motor; a path that can't be driven backwards then holds any torque. */
  if (given_nm < 0.0 && path->back_efficiency <= 0.0) return -INFINITY;
  const double factor = given_nm >= 0.0 ? path->efficiency : 1.0 / path->back_efficiency;
  return path->ratio * factor * given_nm - following_nm(model, speed_rad_s / path->ratio);
}

double sb_torque_balance_lowered_nm(const struct sb_model *model, int gear, double motor_nm, double speed_rad_s)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double given_nm = motor_nm - path->drag_nm;
  if (!(path->back_efficiency < 0.0 && given_nm > 0.0)) return -INFINITY;
  return path->ratio / path->back_efficiency * given_nm - following_nm(model, speed_rad_s / path->ratio);
}

double sb_torque_balance_motor_nm(const struct sb_model *model, int gear, double external_nm, double speed_rad_s)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double load_nm = external_nm + following_nm(model, speed_rad_s / path->ratio);
  const double inverse = load_nm >= 0.0 ? 1.0 / path->efficiency : path->back_efficiency;
  return load_nm * inverse / path->ratio + path->drag_nm;
}

/* The root >= 0 of a x^2 + b x = c, or 0; this form holds at a = 0 too, and is INFINITY where nothing bounds x. */
static double root_of(double a, double b, double c)
{
  return c > 0.0 ? 2.0 * c / (b + sqrt(b * b + 4.0 * a * c)) : 0.0;
}

/* Overrun on a straight line: the root of Tv - D - m x = eta_back (TL + b x / N + c (x / N)^2) / N, or 0. A path that locks itself does
 * not start under a load that needs more than the motor gives at rest. */
static double straight_overrun_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                     double external_nm)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio, back = path->back_efficiency;
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  const double a = back * quadratic / (n * n * n);
  const double b = line->slope_nms_rad + back * viscous / (n * n);
  const double c = line->stall_nm - line->friction_nm - path->drag_nm - back * external_nm / n;
  return root_of(a, b, c);
}

/* A current that the motor gives back is held at the driver's limit as well, until a full duty brings no more: a load that drives
 * harder than that runs away so far. */
static double overrun_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                            double external_nm)
{
  const double speed_rad_s = straight_overrun_rad_s(model, line, gear, external_nm);
  if (!(line->limit_a > 0.0) || line->slope_as_rad * speed_rad_s - line->stall_a <= line->limit_a) return speed_rad_s;
  const struct sb_motor_line held = sb_motor_line_held(line, -1);
  const struct sb_motor_line full = sb_motor_line_driven(&model->motor, &model->supply, 1.0);
  return fmin(straight_overrun_rad_s(model, &held, gear, external_nm),
              straight_overrun_rad_s(model, &full, gear, external_nm));
}

/* Driving on a straight line: the root of N eta (Tv - D - m x) = TL + b x / N + c (x / N)^2, or 0. */
static double straight_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                   double external_nm)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio;
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  const double a = quadratic / (n * n);
  const double b = n * path->efficiency * line->slope_nms_rad + viscous / n;
  const double c = n * path->efficiency * (line->stall_nm - line->friction_nm - path->drag_nm) - external_nm;
  return root_of(a, b, c);
}

double sb_torque_balance_speed_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                     double external_nm)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio;
  const double free_nm = line->stall_nm - line->friction_nm - path->drag_nm;
  const double free_rad_s = fmax(free_nm / line->slope_nms_rad, 0.0);

  /* What the load takes where the motor gives nothing decides who drives. */
  const bool is_locked = external_nm < 0.0 && path->back_efficiency < 0.0 &&
                         path->back_efficiency * external_nm / n >= sb_motor_stall_torque_nm(line) - path->drag_nm;
  if (is_locked || external_nm + following_nm(model, free_rad_s / n) < 0.0)
    return overrun_rad_s(model, line, gear, external_nm);
  const double speed_rad_s = straight_speed_rad_s(model, line, gear, external_nm);
  const double corner_rad_s = sb_motor_corner_rad_s(line);
  if (speed_rad_s >= corner_rad_s) return speed_rad_s;
  /* Where the current is held, only a load that grows with speed finds its balance. */
  const struct sb_motor_line held = sb_motor_line_held(line, +1);
  return fmin(straight_speed_rad_s(model, &held, gear, external_nm), corner_rad_s);
}

double sb_torque_balance_time_constant_s(const struct sb_model *model, const struct sb_motor_line *line, int gear)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double reflected = 1.0 / (path->ratio * path->ratio * path->efficiency);
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  return sb_model_driven_inertia_kg_m2(model, gear, model->load.inertia_kg_m2) /
         (line->slope_nms_rad + viscous * reflected);
}
