// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * body.h - the bodies that people have, each lowered to an inertia at the output and to parts of the load (load.h).
 *
 *   vehicle   J = m r^2 + wheels                   its wheels turn with the output, distance = r x angle
 *             acts     m g sin(atan grade) r
 *             resists  c m g cos(atan grade) r, and 1/2 rho CdA r^3 W |W| in still air
 *   hoist     J = (m + counterweight) r^2 + drum   the two hang on opposite sides of one drum
 *             acts     (m - counterweight) g r
 *             resists  friction, at rest at least breakaway
 *   fan, pump J as given
 *             resists  static + (torque - static) (W / speed)^2; a fan has no static part
 *
 * A grade is rise over run (12 % = 0.12) and follows the distance, linear between points, the first value before them and
 * the last behind: what acts, what resists and the press of the wheels follow its angle's sine and cosine exactly (load.h).
 *
 * A vehicle with a friction on the ground can slip, and may meet bodies in its way: road.h. Without one its wheels are
 * taken to grip. A hoist's holding brake closes in neutral and while the drive is off.
 *
 * Leaves out: wind, rolling resistance that
 * grows with speed; the rope's mass and stretch, and a rope gone slack (it is taken to stay taut); the turning air or
 * water, and a fan or pump that is driven backwards by it.
 * Sources: rolling, grade and drag as the forces on a road vehicle, and a hoist's forces on its drum: R. S. Khurmi,
 * J. K. Gupta, Theory of Machines, chapter 3; torque of fans and centrifugal pumps by the squared speed: affinity laws,
 * common practice.
 */
#ifndef SHIFTBAND_BODY_H
#define SHIFTBAND_BODY_H

#include <stddef.h>

#include "shiftband/load.h"
#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_BODY_MAX = 4 };

/* A body in a vehicle's way. */
struct sb_vehicle_obstacle {
  double distance_m;             /* that the vehicle has come when it meets the body, m, > 0 */
  double mass_kg;                /* kg, > 0 */
  double kinetic_friction_ratio; /* of the sliding body on the ground, >= 0 */
  double static_friction_ratio;  /* of the body at rest, >= kinetic_friction_ratio */
};

struct sb_vehicle {
  double mass_kg;                  /* kg, > 0 */
  double wheel_radius_m;           /* m, > 0 */
  double wheel_inertia_kg_m2;      /* kg m^2, >= 0, of all wheels */
  double rolling_resistance_ratio; /* c, 0..1: rolling resistance over the force on the road */
  double drag_area_m2;             /* CdA, m^2, >= 0 */
  double air_density_kg_m3;        /* rho, kg / m^3, >= 0 */
  double grade_fraction;           /* rise over run, any sign; where there is no table */
  struct sb_table grade; /* rise over run, over the distance from the start, m; count 0: the same grade everywhere */
  double gravity_m_s2;   /* g, m / s^2, > 0 */
  double static_friction_ratio;  /* static friction of wheel on ground, > 0; 0: the wheels never slip */
  double kinetic_friction_ratio; /* sliding, 0 < sliding <= grip */
  double driven_share;           /* of the weight on the driven wheels, 0 < share <= 1 */
  int obstacle_count;            /* 0..SB_OBSTACLE_MAX, ascending by distance */
  struct sb_vehicle_obstacle obstacles[SB_OBSTACLE_MAX];
  double finish_m; /* distance at which the run ends, > 0; 0: none */
};

struct sb_hoist {
  double mass_kg;            /* kg, > 0: rises as the output turns forward */
  double counterweight_kg;   /* kg, >= 0: sinks then */
  double drum_radius_m;      /* m, > 0, to the middle of the rope */
  double drum_inertia_kg_m2; /* kg m^2, >= 0 */
  double friction_nm;        /* N m at the drum, >= 0 */
  double breakaway_nm;       /* N m at the drum, >= 0 */
  double brake_nm;           /* N m at the drum, >= 0: holding brake, 0: none */
  double gravity_m_s2;       /* g, m / s^2, > 0 */
};

struct sb_rotor {
  double inertia_kg_m2; /* kg m^2, > 0 */
  double torque_nm;     /* N m, >= static_nm: the whole torque at speed_rad_s */
  double speed_rad_s;   /* rad/s, > 0 */
  double static_nm;     /* N m, >= 0: what a pump takes against its static head at any speed; a fan 0 */
};

struct sb_body_ops;

struct sb_body {
  const struct sb_body_ops *ops; /* its kind, never NULL */
  union {                        /* as the kind says */
    struct sb_vehicle vehicle;
    struct sb_hoist hoist;
    struct sb_rotor rotor;
  } as;
};

struct sb_body_ops {
  const char *name; /* as in the scenario file */
  /* What is taken for granted, for those who read the figures, or NULL; NULL: never anything. */
  const char *(*note)(const struct sb_body *body);
  /* Friction torque at the output that also holds at rest, N m; NULL: none. */
  double (*hold_nm)(const struct sb_body *body);
  /* Radius at which a turn of the output moves it, m; NULL: it only turns. */
  double (*radius_m)(const struct sb_body *body);
  /* Number of doubles that its tables need; NULL: none. */
  size_t (*room)(const struct sb_body *body);
  /* Adds its inertia and parts; false when the load holds no more parts. Tables go to room, which must live as long. */
  bool (*lower)(const struct sb_body *body, double *room, struct sb_load *load);
};

/* All kinds, NULL at the end. */
extern const struct sb_body_ops *const sb_body_kinds[];

/* The kind of that name, or NULL. */
const struct sb_body_ops *sb_body_kind_find(const char *name);

/* Radius at which a turn of the output moves it, m; 0: it only turns. Pure. */
double sb_body_radius_m(const struct sb_body *body);

/* The vehicle that a body is, or NULL. Pure. */
const struct sb_vehicle *sb_body_as_vehicle(const struct sb_body *body);

/* Number of doubles that sb_body_lower() needs as room, 0 for most bodies. Pure. */
size_t sb_body_room(const struct sb_body *body);

/*
 * Adds the body to the load. `room` holds sb_body_room() doubles (NULL when 0), stays with the caller and must live as
 * long as the load, and so must the body's own tables. SB_ERR_SCENARIO, and the load unchanged, when that makes more than SB_LOAD_PART_MAX parts.
 */
enum sb_status sb_body_lower(const struct sb_body *body, double *room, struct sb_load *load, struct sb_error *err);

#ifdef __cplusplus
}
#endif

#endif
