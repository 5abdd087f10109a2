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

/* The points of the grade as angles. */
static size_t room(const struct sb_body *body)
{
  return body->as.vehicle.grade.count;
}

/* The grade over the wheels' angle. */
static struct sb_table fill_grade(const struct sb_vehicle *vehicle, double *angle_rad)
{
  const struct sb_table *given = &vehicle->grade;
  for (size_t i = 0; i < given->count; i++) angle_rad[i] = given->x[i] / vehicle->wheel_radius_m;
  return (struct sb_table){given->count, angle_rad, given->y};
}

static bool add_grade(struct sb_load *load, bool is_resisting, const struct sb_table *grade, double torque_nm)
{
  return add_part(load, &sb_load_profile,
                  (struct sb_load_part){.is_resisting = is_resisting,
                                        .torque_nm = torque_nm,
                                        .axis = SB_OVER_TURNS,
                                        .table = *grade,
                                        .is_grade = true});
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
static struct sb_road road_of(const struct sb_vehicle *vehicle, const struct sb_table *grade)
{
  const double radius_m = vehicle->wheel_radius_m;
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m;
  struct sb_road road = {.can_slip = vehicle->static_friction_ratio > 0.0,
                         .inertia_kg_m2 = vehicle->mass_kg * radius_m * radius_m,
                         .static_friction_ratio = vehicle->static_friction_ratio,
                         .kinetic_friction_ratio = vehicle->kinetic_friction_ratio,
                         .weight_nm = weight_nm,
                         .press_nm = vehicle->driven_share * weight_nm,
                         .grade_fraction = vehicle->grade_fraction,
                         .grade = *grade,
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
  const struct sb_vehicle *vehicle = &body->as.vehicle;
  const double radius_m = vehicle->wheel_radius_m;
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * radius_m;
  const int first = load->part_count;
  load->inertia_kg_m2 += vehicle->mass_kg * radius_m * radius_m + vehicle->wheel_inertia_kg_m2;
  bool is_fit =
      add_quadratic(load, 0.5 * vehicle->air_density_kg_m3 * vehicle->drag_area_m2 * radius_m * radius_m * radius_m);
  struct sb_table grade = {0};
  if (vehicle->grade.count == 0) {
    is_fit =
        is_fit && add_acting(load, weight_nm * sine_of(vehicle->grade_fraction)) &&
        add_resisting(load, vehicle->rolling_resistance_ratio * weight_nm * cosine_of(vehicle->grade_fraction), 0.0);
  } else {
    grade = fill_grade(vehicle, columns);
    is_fit = is_fit && add_grade(load, false, &grade, weight_nm) &&
             (vehicle->rolling_resistance_ratio == 0.0 ||
              add_grade(load, true, &grade, vehicle->rolling_resistance_ratio * weight_nm));
  }
  const struct sb_road road = road_of(vehicle, &grade);
  if (!road.is_present) return is_fit;
  load->road = road;
  for (int i = first; i < load->part_count; i++) load->parts[i].is_beyond = true;
  return is_fit;
}

static const char *note(const struct sb_body *body)
{
  if (body->as.vehicle.static_friction_ratio > 0.0) return NULL;
  return "vehicle: without `static_friction` its wheels are assumed never to slip. Compare the greatest output torque with what the ground allows: friction x weight on the driven wheels x wheel radius.";
}

static double wheel_radius(const struct sb_body *body)
{
  return body->as.vehicle.wheel_radius_m;
}

const struct sb_body_ops sb_body_vehicle = {
    .name = "vehicle", .note = note, .radius_m = wheel_radius, .room = room, .lower = lower};

const struct sb_vehicle *sb_body_as_vehicle(const struct sb_body *body)
{
  return body->ops == &sb_body_vehicle ? &body->as.vehicle : NULL;
}
