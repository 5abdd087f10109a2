// SPDX-License-Identifier: GPL-3.0-or-later
/* Wheels on the output shaft that carry a mass along a road; the road's grade may follow the distance. */
#include <math.h>
#include <stddef.h>

#include "machine/body/kinds.h"

static double sine_of(double grade)
{
  return grade / sqrt(1.0 + grade * grade);
}

static double cosine_of(double grade)
{
  return 1.0 / sqrt(1.0 + grade * grade);
}

/* Pieces between a point of the grade and the next, so small that sine and cosine are straight lines in each. */
static size_t piece_count(const struct sb_table *grade, size_t point)
{
  const bool is_jump = grade->x[point + 1] == grade->x[point];
  const double change = fabs(grade->y[point + 1] - grade->y[point]);
  return is_jump || change <= SB_GRADE_STEP ? 1 : (size_t)ceil(change / SB_GRADE_STEP);
}

static size_t point_count(const struct sb_table *grade)
{
  size_t count = grade->count > 0 ? 1 : 0;
  for (size_t i = 0; i + 1 < grade->count; i++) count += piece_count(grade, i);
  return count;
}

/* Four columns: angle, what acts, what resists, and the press of the driven wheels. */
static size_t room(const struct sb_body *body)
{
  return 4 * point_count(&body->vehicle.grade);
}

struct road {
  size_t count;
  double *angle_rad, *acting_nm, *resisting_nm, *press_nm;
};

static void add_point(const struct sb_vehicle *vehicle, struct road *road, double distance_m, double grade)
{
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * vehicle->wheel_radius_m;
  road->angle_rad[road->count] = distance_m / vehicle->wheel_radius_m;
  road->acting_nm[road->count] = weight_nm * sine_of(grade);
  road->resisting_nm[road->count] = vehicle->rolling_resistance_ratio * weight_nm * cosine_of(grade);
  road->press_nm[road->count++] = vehicle->driven_share * weight_nm * cosine_of(grade);
}

static struct road fill_road(const struct sb_vehicle *vehicle, double *columns)
{
  const struct sb_table *grade = &vehicle->grade;
  const size_t count = point_count(grade);
  struct road road = {0, columns, columns + count, columns + 2 * count, columns + 3 * count};
  add_point(vehicle, &road, grade->x[0], grade->y[0]);
  for (size_t i = 0; i + 1 < grade->count; i++) {
    const size_t pieces = piece_count(grade, i);
    const double from_m = grade->x[i], from = grade->y[i];
    for (size_t k = 1; k < pieces; k++) {
      const double share = (double)k / (double)pieces;
      add_point(vehicle, &road, from_m + share * (grade->x[i + 1] - from_m), from + share * (grade->y[i + 1] - from));
    }
    add_point(vehicle, &road, grade->x[i + 1], grade->y[i + 1]);
  }
  return road;
}

static bool add_profile(struct sb_load *load, bool is_resisting, const struct road *road, const double *torque_nm)
{
  return add_part(load, &sb_load_profile,
                  (struct sb_load_part){.is_resisting = is_resisting,
                                        .axis = SB_OVER_TURNS,
                                        .table = {road->count, road->angle_rad, torque_nm}});
}

static struct sb_obstacle obstacle_of(const struct sb_vehicle *vehicle, const struct sb_vehicle_obstacle *body)
{
  const double radius_m = vehicle->wheel_radius_m;
  const double weight_nm = body->mass_kg * vehicle->gravity_m_s2 * radius_m;
  return (struct sb_obstacle){.angle_rad = body->distance_m / radius_m,
                              .inertia_kg_m2 = body->mass_kg * radius_m * radius_m,
                              .friction_nm = body->kinetic_friction_ratio * weight_nm,
                              .breakaway_nm = body->static_friction_ratio * weight_nm};
}

/* What can slip, stand in the way or end the run. */
static struct sb_road road_of(const struct sb_vehicle *vehicle, const struct road *grade)
{
  const double radius_m = vehicle->wheel_radius_m;
  const double press_nm = vehicle->driven_share * vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m;
  struct sb_road road = {.can_slip = vehicle->static_friction_ratio > 0.0,
                         .inertia_kg_m2 = vehicle->mass_kg * radius_m * radius_m,
                         .static_friction_ratio = vehicle->static_friction_ratio,
                         .kinetic_friction_ratio = vehicle->kinetic_friction_ratio,
                         .weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m,
                         .press_nm = press_nm * cosine_of(vehicle->grade_fraction),
                         .press = {grade->count, grade->angle_rad, grade->press_nm},
                         .wheel_radius_m = radius_m,
                         .driven_share = vehicle->driven_share,
                         .gravity_m_s2 = vehicle->gravity_m_s2,
                         .obstacle_count = vehicle->obstacle_count,
                         .finish_rad = vehicle->finish_m > 0.0 ? vehicle->finish_m / radius_m : INFINITY};
  for (int i = 0; i < road.obstacle_count; i++) road.obstacles[i] = obstacle_of(vehicle, &vehicle->obstacles[i]);
  road.is_present = road.can_slip || road.obstacle_count > 0 || isfinite(road.finish_rad);
  return road;
}

static bool lower(const struct sb_body *body, double *columns, struct sb_load *load)
{
  const struct sb_vehicle *vehicle = &body->vehicle;
  const double radius_m = vehicle->wheel_radius_m;
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m;
  const int first = load->part_count;
  load->inertia_kg_m2 += vehicle->mass_kg * radius_m * radius_m + vehicle->wheel_inertia_kg_m2;
  bool is_fit =
      add_quadratic(load, 0.5 * vehicle->air_density_kg_m3 * vehicle->drag_area_m2 * radius_m * radius_m * radius_m);
  struct road grade = {0};
  if (vehicle->grade.count == 0) {
    is_fit =
        is_fit && add_acting(load, weight_nm * sine_of(vehicle->grade_fraction)) &&
        add_resisting(load, vehicle->rolling_resistance_ratio * weight_nm * cosine_of(vehicle->grade_fraction), 0.0);
  } else {
    grade = fill_road(vehicle, columns);
    is_fit = is_fit && add_profile(load, false, &grade, grade.acting_nm) &&
             (vehicle->rolling_resistance_ratio == 0.0 || add_profile(load, true, &grade, grade.resisting_nm));
  }
  const struct sb_road road = road_of(vehicle, &grade);
  if (!road.is_present) return is_fit;
  load->road = road;
  for (int i = first; i < load->part_count; i++) load->parts[i].is_beyond = true;
  return is_fit;
}

static const char *note(const struct sb_body *body)
{
  if (body->vehicle.static_friction_ratio > 0.0) return NULL;
  return "vehicle: without `static_friction` its wheels are assumed never to slip. Compare the greatest output torque with what the ground allows: friction x weight on the driven wheels x wheel radius.";
}

static double wheel_radius(const struct sb_body *body)
{
  return body->vehicle.wheel_radius_m;
}

const struct sb_body_ops sb_body_vehicle = {
    .name = "vehicle", .note = note, .radius_m = wheel_radius, .room = room, .lower = lower};

const struct sb_vehicle *sb_body_as_vehicle(const struct sb_body *body)
{
  return body->ops == &sb_body_vehicle ? &body->vehicle : NULL;
}
