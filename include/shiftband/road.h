// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * road.h - what a vehicle meets on its way: ground that carries only so much push, bodies that stand there, an end.
 *
 * All is written in the output's terms: distances over the wheel's radius as angles, masses as m r^2, forces times r.
 *
 *   gripping   wheels and vehicle move as one while |contact torque| <= static friction x press
 *   slipping   they move apart; the contact carries sliding friction x press against the wheels' lead, whatever the gear
 *   engaging   the wheels alone are joined with the motor, where they can slip, and then drag the vehicle along
 *   meeting    v+ = v J / (J + Jb), lost 1/2 J Jb / (J + Jb) v^2: J is the vehicle alone where its wheels can slip (an
 *              impact is a greater force than they carry), else all that is joined to it at that instant
 *
 * A body that was met is pushed: its mass and sliding friction join the vehicle's while it moves forward. It is left
 * where it stands when the vehicle turns back, and met there again. On a grade, that of the vehicle's place, its weight
 * counts as the vehicle's does; one that would slide off by itself adds nothing. Leaves out: a body that runs ahead of a vehicle which
 * brakes harder than the body's own friction does, rebound, and the weight that shifts between axles.
 * Sources: Coulomb friction; inelastic impact, R. S. Khurmi, J. K. Gupta, Theory of Machines, chapter 3; limit of
 * adhesion, H. Partab, Modern Electric Traction (from memory).
 */
#ifndef SHIFTBAND_ROAD_H
#define SHIFTBAND_ROAD_H

#include <stdbool.h>

#include "shiftband/table.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_OBSTACLE_MAX = 8 };

struct sb_obstacle {
  double angle_rad;     /* of the wheels when it is met, rad, > 0 */
  double inertia_kg_m2; /* m r^2, > 0 */
  double friction_nm;   /* sliding, N m, >= 0 */
  double breakaway_nm;  /* least hold at standstill, N m, >= 0 */
};

struct sb_road {
  bool is_present;               /* a vehicle that can slip, meets bodies or has an end */
  bool can_slip;                 /* a static friction was given */
  double inertia_kg_m2;          /* m r^2 of the vehicle without its wheels: a share of the load's inertia */
  double static_friction_ratio;  /* friction of wheel on ground, > 0 */
  double kinetic_friction_ratio; /* 0 < sliding <= static */
  double weight_nm;              /* m g r of the vehicle, N m, > 0 */
  double press_nm;               /* weight on the driven wheels times their radius on level ground, N m */
  double grade_fraction;         /* rise over run, where there is no table */
  struct sb_table grade; /* the same over the wheels' angle, rad, linear between; count 0: grade_fraction everywhere */
  double wheel_radius_m; /* m */
  double driven_share;   /* of the weight on the driven wheels, 0 < share <= 1 */
  double gravity_m_s2;
  int obstacle_count; /* ascending by angle */
  struct sb_obstacle obstacles[SB_OBSTACLE_MAX];
  double finish_rad; /* INFINITY: none */
};

/* Weight on the driven wheels times their radius at a place, at a jump of the grade ahead in a direction, N m. Pure. */
double sb_road_press_nm(const struct sb_road *road, double angle_rad, int direction);

/* The next body not yet met, left body or end ahead of a place in a direction; direction * INFINITY: none. met_count
 * bodies were met; left_rad is where they stand when they are not pushed (INFINITY: they are, or there are none). Pure. */
double sb_road_next_angle_rad(const struct sb_road *road, int met_count, double left_rad, double angle_rad,
                              int direction);

/* What the first count bodies add against a vehicle, N m, given their friction (or hold) on the ground there and what the
 * vehicle's own weight adds: theirs adds by their share of its mass. Below 0 they would slide off by themselves. Pure. */
double sb_road_pushed_nm(const struct sb_road *road, int count, double friction_nm, double own_weight_nm);

/* Inertia (kg m^2) of the first count bodies; their sliding friction and their hold (N m). Pure. */
double sb_road_pushed_inertia(const struct sb_road *road, int count);
double sb_road_pushed_friction_nm(const struct sb_road *road, int count);
double sb_road_pushed_hold_nm(const struct sb_road *road, int count);

/* What stands against the vehicle at a place; torques at the wheels, N m. */
struct sb_road_need {
  double whole_nm; /* with the bodies that it pushes */
  double own_nm;   /* rolling and grade alone: it grows with the vehicle's weight */
  double press_nm; /* weight on the driven wheels times their radius */
};

/* Mass in kg to be put on the driven wheels so that even slipping ones push against a need: one that meets a body slips
 * before it grips. 0: they do; INFINITY: no mass is enough. Pure. */
double sb_road_ballast_kg(const struct sb_road *road, const struct sb_road_need *need);

#ifdef __cplusplus
}
#endif

#endif
