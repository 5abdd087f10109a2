// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of the bodies on the output, a part of the table of all keys: see scenario_schema.h. */
#include <stddef.h>

#include "scenario/schema.h"

#define DRAFT(field) .offset = offsetof(struct sb_body_draft, field)
#define VEHICLE(field) .offset = offsetof(struct sb_body_draft, body.vehicle.field)
#define OBSTACLE(field) .offset = offsetof(struct sb_vehicle_obstacle, field)
#define HOIST(field) .offset = offsetof(struct sb_body_draft, body.hoist.field)
#define ROTOR(field) .offset = offsetof(struct sb_body_draft, body.rotor.field)
#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define MASS_MAX 1e9      /* kg */
#define RADIUS_MAX 1e3    /* m */
#define INERTIA_MIN 1e-12 /* kg m2 */
#define INERTIA_MAX 1e6
#define TORQUE_MAX 1e6  /* N m */
#define GRAVITY_MAX 1e3 /* m/s2 */

static const struct sb_key obstacle_keys[] = {
    {QUANTITY("distance", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1e9), OBSTACLE(distance_m),
     .meaning = "That the vehicle has come from its start when it meets the body."},
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), OBSTACLE(mass_kg),
     .meaning = "Of the body."},
    {QUANTITY("kinetic_friction", SB_RATIO), .flags = SB_REQUIRED, BETWEEN(0, 10), OBSTACLE(kinetic_friction_ratio),
     .meaning = "Of the body sliding on level ground."},
    {QUANTITY("static_friction", SB_RATIO), BETWEEN(0, 10), .default_text = "0 %", OBSTACLE(static_friction_ratio),
     .meaning = "Of the body at rest; where it is less than `kinetic_friction`, that counts."},
    {.name = NULL}};

static const struct sb_section obstacle = {"obstacles", "a body on the way", obstacle_keys};

static const struct sb_key vehicle_keys[] = {
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), VEHICLE(mass_kg),
     .meaning = "All that moves along, wheels included."},
    {QUANTITY("wheel_radius", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, RADIUS_MAX),
     VEHICLE(wheel_radius_m), .meaning = "Radius of the wheels on the output shaft, under load."},
    {QUANTITY("wheel_inertia", SB_INERTIA), BETWEEN(0, INERTIA_MAX), .default_text = "0 kg.m2",
     VEHICLE(wheel_inertia_kg_m2), .meaning = "Inertia of all wheels, turned with the output."},
    {QUANTITY("rolling_resistance", SB_RATIO), .flags = SB_REQUIRED, BETWEEN(0, 1), VEHICLE(rolling_resistance_ratio),
     .meaning = "Rolling resistance as a share of the force on the ground, 0.01 for a good tyre on a hard road."},
    {QUANTITY("drag_area", SB_AREA), BETWEEN(0, 1e4), .default_text = "0 m2", VEHICLE(drag_area_m2),
     .meaning = "Drag coefficient times frontal area, in still air."},
    {QUANTITY("air_density", SB_DENSITY), BETWEEN(0, 1e4), .default_text = "1.2 kg/m3", VEHICLE(air_density_kg_m3),
     .meaning = "Density of the air."},
    {QUANTITY("grade", SB_PERCENT), BETWEEN(-10, 10), .default_words = "level", VEHICLE(grade_fraction),
     .meaning = "Rise over run the way gear 1 drives, the same everywhere; negative: downhill."},
    {.name = "grade_points",
     .kind = SB_KEY_LATER,
     .default_words = "none",
     .needs = "list of [distance, grade]",
     .meaning =
         "In place of `grade`: distances ascending, each with its grade, linear between; a jump is two points at "
         "one distance."},
    {.name = "grade_file",
     .kind = SB_KEY_TEXT,
     .default_words = "none",
     DRAFT(grade_file),
     .size = 1024,
     .meaning = "The same as a CSV table next to the scenario with the columns distance_m and grade_pct."},
    {QUANTITY("static_friction", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 10), .default_words = "the wheels never slip",
     VEHICLE(static_friction_ratio),
     .meaning = "Static friction of the driven wheels on the ground; beyond it they slip. Needs inertia before them."},
    {QUANTITY("kinetic_friction", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 10), .default_words = "as `static_friction`",
     VEHICLE(kinetic_friction_ratio), .meaning = "Friction of slipping wheels, at most `static_friction`."},
    {QUANTITY("driven_share", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "100 %",
     VEHICLE(driven_share), .meaning = "Share of the weight on the driven wheels."},
    {.name = "obstacles",
     .kind = SB_KEY_LIST,
     .default_words = "nothing",
     VEHICLE(obstacles),
     .size = sizeof(struct sb_vehicle_obstacle),
     .count_offset = offsetof(struct sb_body_draft, body.vehicle.obstacle_count),
     .max = SB_OBSTACLE_MAX,
     .section = &obstacle,
     .meaning = "Bodies on the way, by distance; each is met, joined without rebound and pushed on with those before."},
    {QUANTITY("gravity", SB_ACCELERATION), .flags = SB_ABOVE, BETWEEN(0, GRAVITY_MAX), .default_text = "9.80665 m/s2",
     VEHICLE(gravity_m_s2), .meaning = "Acceleration of free fall (default: standard gravity)."},
    {.name = NULL}};

static const struct sb_key hoist_keys[] = {
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), HOIST(mass_kg),
     .meaning = "Mass on the rope; it rises as the output turns forward."},
    {QUANTITY("counterweight", SB_MASS), BETWEEN(0, MASS_MAX), .default_text = "0 kg", HOIST(counterweight_kg),
     .meaning = "Mass on the drum's other side; it sinks as the other rises."},
    {QUANTITY("drum_radius", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, RADIUS_MAX), HOIST(drum_radius_m),
     .meaning = "Radius to the middle of the rope."},
    {QUANTITY("drum_inertia", SB_INERTIA), BETWEEN(0, INERTIA_MAX), .default_text = "0 kg.m2",
     HOIST(drum_inertia_kg_m2), .meaning = "Inertia of the drum and what turns with it."},
    {QUANTITY("friction_torque", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", HOIST(friction_nm),
     .meaning = "Friction of rope and drum, at the drum; resists."},
    {QUANTITY("breakaway_torque", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_words = "as `friction_torque`",
     HOIST(breakaway_nm), .meaning = "What that friction holds at standstill at least."},
    {QUANTITY("holding_brake", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", HOIST(brake_nm),
     .meaning = "Holding brake at the drum: closed in neutral and while the drive is off."},
    {QUANTITY("gravity", SB_ACCELERATION), .flags = SB_ABOVE, BETWEEN(0, GRAVITY_MAX), .default_text = "9.80665 m/s2",
     HOIST(gravity_m_s2), .meaning = "Acceleration of free fall (default: standard gravity)."},
    {.name = NULL}};

#define ROTOR_KEYS                                                                                                 \
  {QUANTITY("inertia", SB_INERTIA), .flags = SB_REQUIRED, BETWEEN(INERTIA_MIN, INERTIA_MAX), ROTOR(inertia_kg_m2), \
   .meaning = "Inertia of the wheel and what turns with it."},                                                     \
      {QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), ROTOR(torque_nm),              \
       .meaning = "Whole torque at the speed below."},                                                             \
  {                                                                                                                \
    QUANTITY("speed", SB_SPEED), .flags = SB_REQUIRED, BETWEEN(1e-3, 1e6), ROTOR(speed_rad_s),                     \
                                 .meaning = "Speed at which it takes that torque."                                 \
  }

static const struct sb_key fan_keys[] = {ROTOR_KEYS, {.name = NULL}};
static const struct sb_key pump_keys[] = {
    ROTOR_KEYS,
    {QUANTITY("static_torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), ROTOR(static_nm),
     .meaning = "Torque against the static head at any speed, a part of the whole torque; it resists."},
    {.name = NULL}};

static const struct sb_section vehicle = {"vehicle", "wheels on the output shaft", vehicle_keys};
static const struct sb_section hoist = {"hoist", "a mass on a drum", hoist_keys};
static const struct sb_section fan = {"fan", "torque by the squared speed", fan_keys};
static const struct sb_section pump = {"pump", "torque by the squared speed, above the torque of a static head",
                                       pump_keys};

const struct sb_section *const sb_body_sections[] = {&vehicle, &hoist, &fan, &pump, NULL};
