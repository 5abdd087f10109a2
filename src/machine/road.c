// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/road.h"

#include <gsl/gsl_interp.h>
#include <math.h>

double sb_road_press_nm(const struct sb_road *road, double angle_rad)
{
  const struct sb_table *press = &road->press;
  if (press->count == 0) return road->press_nm;
  if (angle_rad <= press->x[0] || press->count == 1) return press->y[0];
  if (angle_rad >= press->x[press->count - 1]) return press->y[press->count - 1];
  const size_t i = gsl_interp_bsearch(press->x, angle_rad, 0, press->count - 1);
  const double width = press->x[i + 1] - press->x[i];
  if (!(width > 0.0)) return press->y[i + 1];
  const double share = (angle_rad - press->x[i]) / width;
  return press->y[i] + share * (press->y[i + 1] - press->y[i]);
}

double sb_road_next_angle_rad(const struct sb_road *road, int met_count, double left_rad, double angle_rad,
                              int direction)
{
  if (direction < 0) return -INFINITY;
  double next_rad = road->finish_rad;
  if (met_count < road->obstacle_count) next_rad = fmin(next_rad, road->obstacles[met_count].angle_rad);
  return left_rad > angle_rad ? fmin(next_rad, left_rad) : next_rad;
}

double sb_road_pushed_inertia(const struct sb_road *road, int count)
{
  double sum = 0.0;
  for (int i = 0; i < count; i++) sum += road->obstacles[i].inertia_kg_m2;
  return sum;
}

double sb_road_pushed_nm(const struct sb_road *road, int count, double friction_nm, double own_weight_nm)
{
  return friction_nm + sb_road_pushed_inertia(road, count) / road->inertia_kg_m2 * own_weight_nm;
}

double sb_road_pushed_friction_nm(const struct sb_road *road, int count)
{
  double sum = 0.0;
  for (int i = 0; i < count; i++) sum += road->obstacles[i].friction_nm;
  return sum;
}

double sb_road_pushed_hold_nm(const struct sb_road *road, int count)
{
  double sum = 0.0;
  for (int i = 0; i < count; i++) sum += fmax(road->obstacles[i].friction_nm, road->obstacles[i].breakaway_nm);
  return sum;
}

double sb_road_ballast_kg(const struct sb_road *road, const struct sb_road_need *need)
{
  const double short_nm = need->whole_nm - road->kinetic_friction_ratio * need->press_nm;
  if (short_nm <= 0.0) return 0.0;
  /* Each kilogram adds its press whole, for it lies on the driven wheels, and its share of what the vehicle asks. */
  const double mass_kg = road->inertia_kg_m2 / (road->wheel_radius_m * road->wheel_radius_m);
  const double gain_nm_kg =
      (road->kinetic_friction_ratio * need->press_nm / road->driven_share - need->own_nm) / mass_kg;
  return gain_nm_kg > 0.0 ? short_nm / gain_nm_kg : INFINITY;
}
