// SPDX-License-Identifier: GPL-3.0-or-later
/* The body `vehicle`: its keys and its checks. */
#include <math.h>

#include "scenario/body_kinds.h"
#include "scenario/table_csv.h"

#define VEHICLE(field) .offset = offsetof(struct sb_body_draft, body.as.vehicle.field)
#define OBSTACLE(field) .offset = offsetof(struct sb_vehicle_obstacle, field)

static const struct sb_key obstacle_keys[] = {
    {QUANTITY("distance", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, DISTANCE_MAX), OBSTACLE(distance_m),
     .meaning = "The distance from the vehicle's start at which it meets the obstacle."},
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), OBSTACLE(mass_kg),
     .meaning = "The mass of the obstacle."},
    {QUANTITY("kinetic_friction", SB_RATIO), .flags = SB_REQUIRED, BETWEEN(0, 10), OBSTACLE(kinetic_friction_ratio),
     .meaning = "The coefficient of friction of the obstacle while it slides on level ground."},
    {QUANTITY("static_friction", SB_RATIO), BETWEEN(0, 10), .default_text = "0 %", OBSTACLE(static_friction_ratio),
     .meaning = "The coefficient of friction of the obstacle at rest; at least `kinetic_friction` counts."},
    {.name = NULL}};

static const struct sb_section obstacle = {"obstacles", "a body on the ground ahead", obstacle_keys, NULL};

static const struct sb_key keys[] = {
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), VEHICLE(mass_kg),
     .meaning = "The mass of everything that moves along, wheels included."},
    {QUANTITY("wheel_radius", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, RADIUS_MAX),
     VEHICLE(wheel_radius_m), .meaning = "The radius of the wheels on the output shaft, under load."},
    {QUANTITY("wheel_inertia", SB_INERTIA), BETWEEN(0, INERTIA_MAX), .default_text = "0 kg.m2",
     VEHICLE(wheel_inertia_kg_m2), .meaning = "The inertia of all wheels, which turn with the output."},
    {QUANTITY("rolling_resistance", SB_RATIO), .flags = SB_REQUIRED, BETWEEN(0, 1), VEHICLE(rolling_resistance_ratio),
     .meaning = "The rolling resistance as a share of the force on the ground; 0.01 for a good tyre on a hard road."},
    {QUANTITY("drag_area", SB_AREA), BETWEEN(0, 1e4), .default_text = "0 m2", VEHICLE(drag_area_m2),
     .meaning = "The drag coefficient times the frontal area, in still air."},
    {QUANTITY("air_density", SB_DENSITY), BETWEEN(0, 1e4), .default_text = "1.2 kg/m3", VEHICLE(air_density_kg_m3),
     .meaning = "The density of the air."},
    {QUANTITY("grade", SB_PERCENT), BETWEEN(-10, 10), .default_words = "level", VEHICLE(grade_fraction),
     .meaning = "The rise over the horizontal run in the direction that gear 1 drives, the same everywhere; negative "
                "means downhill."},
    {LATER("grade_points", "list of [distance, grade]"), .default_words = "none",
     .meaning =
         "In place of `grade`: distances in ascending order, each with its grade, linear between them. Two points "
         "at one distance are a jump."},
    {TEXT("grade_file", 1024), .default_words = "none", .offset = offsetof(struct sb_body_draft, grade_file),
     .meaning = "The same as a CSV table next to the scenario with the columns distance_m and grade_pct."},
    {QUANTITY("static_friction", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 10), .default_words = "the wheels never slip",
     VEHICLE(static_friction_ratio),
     .meaning =
         "The coefficient of static friction of the driven wheels on the ground; beyond it they slip. This needs "
         "an inertia before the contact: wheel_inertia or load.inertia."},
    {QUANTITY("kinetic_friction", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 10), .default_words = "as static_friction",
     VEHICLE(kinetic_friction_ratio),
     .meaning = "The coefficient of friction of slipping wheels, at most static_friction."},
    {QUANTITY("driven_share", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "100 %",
     VEHICLE(driven_share), .meaning = "The share of the weight that rests on the driven wheels."},
    {LIST("obstacles", sb_body_draft, body.as.vehicle.obstacles, body.as.vehicle.obstacle_count, SB_OBSTACLE_MAX),
     .default_words = "none", .section = &obstacle,
     .meaning = "Bodies on the ground ahead, by distance. The vehicle meets each of them, joins it without rebound and "
                "pushes it on with those before."},
    GRAVITY(VEHICLE),
    {.name = NULL}};

static void read_grade(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  const struct sb_node *points = sb_tree_find(draft->node, "grade_points");
  const struct sb_path key = sb_reader_path("%.200s.%s", path, points != NULL ? "grade_points" : "grade_file");
  const struct sb_table_request request = {&sb_table_grade, false, reader->faults,
                                           sb_tree_place_of(reader->root, key.text), reader->kept};
  sb_reader_read_table(reader, &request, points, draft->grade_file, key.text, &draft->body.as.vehicle.grade);
}

/* Wheels that can slip: sliding friction and something that turns when they do. */
static void finish_grip(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  static const char *const beside[] = {"kinetic_friction", "driven_share"};
  struct sb_vehicle *vehicle = &draft->body.as.vehicle;
  if (!body_has(draft, "static_friction")) {
    vehicle->static_friction_ratio = vehicle->kinetic_friction_ratio = 0.0;
    for (int k = 0; k < 2; k++) {
      if (!body_has(draft, beside[k])) continue;
      sb_reader_fault(reader, PATH("%.200s.%s", path, beside[k]), "needs static_friction beside it, found no such key");
    }
    return;
  }
  const struct sb_path kinetic = sb_reader_path("%.200s.kinetic_friction", path);
  if (!body_has(draft, "kinetic_friction")) {
    vehicle->kinetic_friction_ratio = vehicle->static_friction_ratio;
    sb_reader_resolve(reader, kinetic.text, vehicle->kinetic_friction_ratio);
  } else if (vehicle->kinetic_friction_ratio > vehicle->static_friction_ratio) {
    sb_reader_fault(reader, kinetic.text, "needs at most static_friction (%.10g), found %.10g",
                    vehicle->static_friction_ratio, vehicle->kinetic_friction_ratio);
  }
  if (vehicle->wheel_inertia_kg_m2 > 0.0 || reader->draft->model.load.inertia_kg_m2 > 0.0) return;
  sb_reader_fault(reader, PATH("%.200s.wheel_inertia", path),
                  "needs more than 0 kg.m2 (or load.inertia) where wheels can slip, found neither");
}

static void finish_obstacles(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  const struct sb_vehicle *vehicle = &draft->body.as.vehicle;
  for (int i = 1; i < vehicle->obstacle_count; i++) {
    if (!(vehicle->obstacles[i].distance_m <= vehicle->obstacles[i - 1].distance_m)) continue; /* or a fault already */
    sb_reader_fault(reader, PATH("%.200s.obstacles.%d.distance", path, i + 1),
                    "needs more than the body before (%.10g m), found %.10g m", vehicle->obstacles[i - 1].distance_m,
                    vehicle->obstacles[i].distance_m);
  }
}

static void finish(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  struct sb_vehicle *vehicle = &draft->body.as.vehicle;
  vehicle->grade = (struct sb_table){0};
  const int tables = body_has(draft, "grade_points") + body_has(draft, "grade_file");
  const int given = tables + body_has(draft, "grade");
  if (given > 1) {
    sb_reader_fault(reader, path, "needs one of grade, grade_points and grade_file, found %d of them", given);
    return;
  }
  finish_grip(reader, draft, path);
  finish_obstacles(reader, draft, path);
  vehicle->finish_m = isnan(reader->draft->run_distance_m) ? 0.0 : reader->draft->run_distance_m;
  if (tables > 0) read_grade(reader, draft, path);
  if (given > 0) return;
  vehicle->grade_fraction = 0.0;
  sb_reader_resolve(reader, PATH("%.200s.grade", path), 0.0);
}

static const struct sb_body_form form = {&sb_body_vehicle, finish};

const struct sb_section sb_body_section_vehicle = {"vehicle", "wheels on the output shaft", keys, &form};
