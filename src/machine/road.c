// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/road.h"

#include <gsl/gsl_interp.h>
#include <math.h>

static double grade_at(const struct sb_road *road, double angle_rad, int direction)
{
  const struct sb_table *grade = &road->grade;
  if (grade->count == 0) return road->grade_fraction;
  const size_t last = grade->count - 1;
  if (angle_rad < grade->x[0] || last == 0) return grade->y[0];
  if (angle_rad > grade->x[last] || (direction > 0 && angle_rad == grade->x[last])) return grade->y[last];
  /* The points around the place; going back, it belongs to the piece before the first of those at one place. */
  size_t i = gsl_interp_bsearch(grade->x, angle_rad, 0, last);
  while (direction < 0 && i > 0 && grade->x[i] == angle_rad) i--;
  const double width = grade->x[i + 1] - grade->x[i];
  if (!(width > 0.0)) return grade->y[direction < 0 ? i : i + 1];
  const double share = (angle_rad - grade->x[i]) / width;
  return grade->y[i] + share * (grade->y[i + 1] - grade->y[i]);
}

double sb_road_press_nm(const struct sb_road *road, double angle_rad, int direction)
{
  const double grade = grade_at(road, angle_rad, direction);
  return road->press_nm * (1.0 / sqrt(1.0 + grade * grade));
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
