// SPDX-License-Identifier: GPL-3.0-or-later
/* Wheels on the output shaft that carry a mass along a road; the road's grade may follow the distance. */
#include <math.h>
#include <stddef.h>

#include "body/kinds.h"

static double sine_of(double grade)
{
  return grade / sqrt(1.0 + grade * grade);
}

static double cosine_of(double grade)
{
  return 1.0 / sqrt(1.0 + grade * grade);
}

/* Pieces between a point of the grade and the next, so small that sine and cosine are straight lines in each. */
static size_t piece_count(const struct sb_grade_table *grade, size_t point)
{
  const bool is_jump = grade->distance_m[point + 1] == grade->distance_m[point];
  const double change = fabs(grade->grade_fraction[point + 1] - grade->grade_fraction[point]);
  return is_jump || change <= SB_GRADE_STEP ? 1 : (size_t)ceil(change / SB_GRADE_STEP);
}

static size_t point_count(const struct sb_grade_table *grade)
{
  size_t count = grade->count > 0 ? 1 : 0;
  for (size_t i = 0; i + 1 < grade->count; i++) count += piece_count(grade, i);
  return count;
}

/* Three columns: angle, what acts and what resists. */
static size_t room(const struct sb_body *body)
{
  return 3 * point_count(&body->vehicle.grade);
}

struct road {
  size_t count;
  double *angle_rad, *acting_nm, *resisting_nm;
};

static void add_point(const struct sb_vehicle *vehicle, struct road *road, double distance_m, double grade)
{
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * vehicle->wheel_radius_m;
  road->angle_rad[road->count] = distance_m / vehicle->wheel_radius_m;
  road->acting_nm[road->count] = weight_nm * sine_of(grade);
  road->resisting_nm[road->count++] = vehicle->rolling_ratio * weight_nm * cosine_of(grade);
}

static struct road fill_road(const struct sb_vehicle *vehicle, double *columns)
{
  const struct sb_grade_table *grade = &vehicle->grade;
  const size_t count = point_count(grade);
  struct road road = {0, columns, columns + count, columns + 2 * count};
  add_point(vehicle, &road, grade->distance_m[0], grade->grade_fraction[0]);
  for (size_t i = 0; i + 1 < grade->count; i++) {
    const size_t pieces = piece_count(grade, i);
    const double from_m = grade->distance_m[i], from = grade->grade_fraction[i];
    for (size_t k = 1; k < pieces; k++) {
      const double share = (double)k / (double)pieces;
      add_point(vehicle, &road, from_m + share * (grade->distance_m[i + 1] - from_m),
                from + share * (grade->grade_fraction[i + 1] - from));
    }
    add_point(vehicle, &road, grade->distance_m[i + 1], grade->grade_fraction[i + 1]);
  }
  return road;
}

static bool add_profile(struct sb_load *load, bool is_resisting, const struct road *road, const double *torque_nm)
{
  return add_part(load, "profile",
                  (struct sb_load_part){.is_resisting = is_resisting,
                                        .axis = SB_OVER_TURNS,
                                        .table = {road->count, road->angle_rad, torque_nm}});
}

static bool lower(const struct sb_body *body, double *columns, struct sb_load *load)
{
  const struct sb_vehicle *vehicle = &body->vehicle;
  const double radius_m = vehicle->wheel_radius_m;
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m;
  load->inertia_kg_m2 += vehicle->mass_kg * radius_m * radius_m + vehicle->wheel_inertia_kg_m2;
  if (!add_quadratic(load, 0.5 * vehicle->air_density_kg_m3 * vehicle->drag_area_m2 * radius_m * radius_m * radius_m)) {
    return false;
  }
  if (vehicle->grade.count == 0) {
    return add_acting(load, weight_nm * sine_of(vehicle->grade_fraction)) &&
           add_resisting(load, vehicle->rolling_ratio * weight_nm * cosine_of(vehicle->grade_fraction), 0.0);
  }
  const struct road road = fill_road(vehicle, columns);
  return add_profile(load, false, &road, road.acting_nm) &&
         (vehicle->rolling_ratio == 0.0 || add_profile(load, true, &road, road.resisting_nm));
}

const struct sb_body_ops sb_body_vehicle = {
    .name = "vehicle",
    .note =
        "vehicle: its wheels are taken to grip; a wheel that would slip is not simulated yet. Hold the greatest output "
        "torque against what the ground carries: friction x weight on the driven wheels x wheel radius.",
    .room = room,
    .lower = lower,
};
