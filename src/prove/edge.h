// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * edge.h - both edges of a set of states: the slowest and the fastest course of a machine under every load within bounds.
 *
 *   TL = A + R sign(W)      A of acting, R of resisting parts, each within its bounds; what follows speed stays as it is
 *
 * The speed in a gear obeys x' = f(x, A, R), where f never rises with A, falls with R while x > 0 and rises with R while x < 0; it is
 * continuous but for downward jumps at rest. So courses never cross, and what can be reached from an interval of speeds is the
 * interval between the slowest course (greatest A; greatest R forward, least R backward) and the fastest one (the reverse).
 * Both are courses of the same machine under a constant load: A' + R' sign(W) with
 *
 *   slowest   A' = A+ + (R+ - R-) / 2      fastest   A' = A- - (R+ - R-) / 2      R' = (R+ + R-) / 2
 *
 * and the simulator (sim.h) follows them, so that this room knows no equation of motion of its own.
 *
 * Through a shift the motor's course follows from its speed alone, the output's is ordered as above, and the speed to which
 * they join rises with both. A selector engages at one time: the ends are carried over. A swing arm engages at a time that follows
 * from the motor's speed: cells of it, least and greatest over both ends' times. A clutch slips between motor and output in a way
 * that keeps the order of both: the two corners are carried over (edge_clutch.h).
 *
 * A gear that locks itself (back efficiency b < 0) puts an end to the order as soon as its output drives: then
 *
 *   (Jm + b Jo / N^2) x' = T - D - b TL / N,
 *
 * so that x' rises with the load, and where the inertia on the left is not above 0 the gear jams. Who drives is the sign of
 * (T - D) Jo / N + Jm TL: it falls with x and rises with the load. So as long as it is not below 0 at the highest speed that the gear ever
 * has (fastest course, after each engagement) under the least load, the motor drives under every load, b does not matter, and the order
 * holds. At rest a load >= 0 is held by the gear whatever b is. sb_edge_can_be_driven() asks for that; a machine that fails is left out.
 *
 * Source: order of the solutions of a scalar equation and of quasi-monotone systems: E. Kamke, W. Mueller, as in any book on
 * differential inequalities (from memory); tested against runs in tests/prove/.
 */
#ifndef SHIFTBAND_PROVE_EDGE_H
#define SHIFTBAND_PROVE_EDGE_H

#include "prove/span.h"
#include "shiftband/sim.h"

enum sb_edge_side { SB_EDGE_SLOW, SB_EDGE_FAST, SB_EDGE_SIDES };

/* Where the machine itself lies between two others, the slowest of which is never faster than it and the fastest never slower, the
 * slowest course is that of the slowest machine. Load and machine then also come together the other way round: what joins two
 * speeds, or follows from speed and torque together, is at its worst there. */
enum { SB_EDGE_QUICK_UNDER_HEAVY = SB_EDGE_SIDES, SB_EDGE_TIRED_UNDER_LIGHT, SB_EDGE_LANES };

/* Bounds of the torque from outside, N m; [0] least, [1] greatest. */
struct sb_edge_load {
  double acting_nm[2], resisting_nm[2];
  double breakaway_nm; /* at least as much holds at rest as this */
};

/* Of a model's own bounds. Pure. */
struct sb_edge_load sb_edge_load_of(const struct sb_model *model);

/* The least and the greatest of two machines. Pure. */
struct sb_edge_load sb_edge_load_between(const struct sb_model *const ends[SB_EDGE_SIDES]);

/* Both ends of the bounds become the least ones (end 0) or the greatest (1): a load that stays. Pure. */
struct sb_edge_load sb_edge_load_at(const struct sb_edge_load *load, int end);

/* Keeps the parts that follow the speed; two constant ones take the place of all others, the last but one acts, the last resists. */
void sb_edge_replace_parts(struct sb_load *load);

/* The torque forward: least and greatest. Pure. */
double sb_edge_least_nm(const struct sb_edge_load *load);
double sb_edge_greatest_nm(const struct sb_edge_load *load);

/* The greatest that came up on courses, by magnitude; torque and current at their instants, speed of the motor. */
struct sb_edge_extremes {
  double torque_nm, current_a, motor_rad_s;
};

enum { SB_EDGE_PATH_MAX = 4 };

/* A load over the time since a course began: linear between its points, held after the last. */
struct sb_edge_path {
  int count;
  double time_s[SB_EDGE_PATH_MAX], torque_nm[SB_EDGE_PATH_MAX];
};

/* One end of the bounds: a machine of its own. */
struct sb_edge_lane {
  struct sb_model model;
  struct sb_sim sim;
  struct sb_edge_path path; /* of the load that changes, when it follows one */
};

/* What a shift was like. */
struct sb_edge_shift {
  double engaged_s;                 /* after the command; INFINITY: not within the time looked at */
  double motor_rad_s, output_rad_s; /* just before the engagement */
  double joined_rad_s;              /* of the motor just after it */
  double impulse_nms;               /* of the engagement, at the output, by magnitude */
  double standstill_s;              /* of the output in it */
  double standing_s;                /* of the output after it, in gear, up to the sample that is looked at */
  double least_output_rad_s;        /* of the output in it */
  bool has_slipped;                 /* the clutch slipped again after its sides had met */
};

/* The speeds of the motor that all courses had in the gears, and whether any jammed. */
struct sb_edge_meshes {
  double least_rad_s[SB_GEAR_MAX], most_rad_s[SB_GEAR_MAX];
  bool has_jammed;
};

/* What the clutch did on the courses that are watched. */
struct sb_edge_slips {
  bool is_leading, is_lagging;    /* the motor came to turn faster, slower than the gears, in gear */
  double least_rad_s, most_rad_s; /* of the motor where both sides met */
};

struct sb_edges {
  struct sb_edge_lane *lanes; /* lanes[lane_count], owned */
  int lane_count;             /* SB_EDGE_SIDES; SB_EDGE_LANES with a spread of machines */
  const struct sb_model *model;
  struct sb_edge_load load; /* that the lanes are bound to */
  struct sb_span_sizes sizes;
  long long steps_per_sample;
  double sample_s;
  double filter_gain;    /* 0: no filter */
  bool has_clutch;       /* the output does not follow the motor */
  bool is_motion_alone;  /* nothing but speeds, times and slipping clutches is asked for */
  int shift_samples_max; /* no shift is followed for longer */
  struct sb_edge_extremes extremes;
  double least_output_rad_s; /* of all courses, at their events and ends */
  struct sb_edge_meshes meshes;
  struct sb_edge_shift now; /* of the shift that is followed */
  double command_s;         /* its beginning */
  struct sb_edge_slips slips;
  enum sb_status status; /* of the first simulation that failed */
  struct sb_error err;
};

/* Of one machine, whose motion alone is asked for: energy, currents and extremes cost as much again, and stay out.
 * SB_ERR_MEMORY or a simulation's status. Release with sb_edge_clear(). */
enum sb_status sb_edge_init(struct sb_edges *edges, const struct sb_model *model, struct sb_error *err);

/* With all that comes up on courses, of all machines between two that have the same wheels, shifter and controller; the model is any
 * of them. */
enum sb_status sb_edge_init_between(struct sb_edges *edges, const struct sb_model *model,
                                    const struct sb_model *const ends[SB_EDGE_SIDES], struct sb_error *err);
void sb_edge_clear(struct sb_edges *edges);

/* Bounds from here on. */
void sb_edge_bind(struct sb_edges *edges, const struct sb_edge_load *load);

/* The same where one manner's load follows a path on each side, the other manner's has one value: for speeds forward. */
void sb_edge_bind_paths(struct sb_edges *edges, const struct sb_edge_load *load, bool is_acting,
                        const struct sb_edge_path paths[SB_EDGE_SIDES]);

/* The last but one part, the last part, and a part that follows a path, which outlives it. */
struct sb_load_part *sb_edge_acting_part(struct sb_load *load);
struct sb_load_part *sb_edge_resisting_part(struct sb_load *load);
void sb_edge_follow_path(struct sb_load_part *part, const struct sb_edge_path *path);

/* The torque of a path at a time. Pure. */
double sb_edge_path_at(const struct sb_edge_path *path, double time_s);

/* The greatest load over time, from a value to another one after a time, at most `most`, that changes no faster than the rate;
 * to INFINITY: to any value. The least one likewise. Pure. */
struct sb_edge_path sb_edge_path_above(double from_nm, double to_nm, double most_nm, double rate_nm_s, double time_s);
struct sb_edge_path sb_edge_path_below(double from_nm, double to_nm, double least_nm, double rate_nm_s, double time_s);

/* The corner of a speed of the motor with the output following. Pure. */
struct sb_corner sb_edge_corner(const struct sb_edges *edges, int gear, double motor_rad_s);

/* An engaged corner after a time, s, which need not be whole steps. A filter takes its sample at the end. */
struct sb_corner sb_edge_after(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                               double time_s);

/* An engaged span after a sample period. */
struct sb_span sb_edge_sample(struct sb_edges *edges, int gear, const struct sb_span *from);

/* The corner to which an end of a course comes if nothing is decided: a steady state, or rest. */
struct sb_corner sb_edge_limit(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from);

/* The time from a speed to another one that the course goes to, s; INFINITY: it does not reach it. */
double sb_edge_time_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                      double motor_rad_s);

/* How long the engaged output stands from an engaged corner on, s, within some samples. */
double sb_edge_standing_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                          int samples);

/* The start: at the first sample that may decide, number `sample`. */
struct sb_span sb_edge_start(struct sb_edges *edges, int gear, int sample, double *standing_s);

/* Follows one corner through a shift that is commanded now, up to a sample after it; what the shift was like. */
struct sb_corner sb_edge_shift(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                               const struct sb_corner *from, int sample, struct sb_edge_shift *shift);

/* What shifts from one speed are like at worst, under all loads and machines. */
struct sb_edge_shifts {
  double engaged_s[2], joined_rad_s[2]; /* least and greatest */
  double impulse_nms, standstill_s, least_output_rad_s;
};
struct sb_edge_shifts sb_edge_shifts(struct sb_edges *edges, int gear, int to, const struct sb_corner *from);

/* The same without what it was like: where the corner is, and whether its clutch slips there or has slipped again. */
struct sb_edge_passage {
  struct sb_corner corner;
  double engaged_s; /* after the command */
  bool is_slipping;
};
struct sb_edge_passage sb_edge_pass(struct sb_edges *edges, enum sb_edge_side side, int gear, int to,
                                    const struct sb_corner *from, int sample);

/* How long the output stands in gear, s, from the engagement after a command up to a sample, on the slowest course. */
double sb_edge_standing_after_s(struct sb_edges *edges, int gear, int to, const struct sb_corner *from, int sample);

/* What has arrived in a gear, at a sample after the command: the first that may decide. */
struct sb_edge_arrival {
  int sample;
  struct sb_span span;
};

enum { SB_EDGE_ARRIVALS_MAX = 64 };

struct sb_edge_arrivals {
  int count;
  struct sb_edge_arrival items[SB_EDGE_ARRIVALS_MAX];
  double least_engaged_s, greatest_engaged_s; /* after the command */
  bool is_late;  /* the last item, at the earliest sample that it may be, is all that engages there or any later */
  bool is_loose; /* such sets do not come to an end */
};

/* Whether the output of a gear drives its motor, or may, under some load and at some speed of the courses so far. Pure. */
bool sb_edge_can_be_driven(const struct sb_edges *edges, int gear);

/* Carries a span through a shift; `dwell` is the first sample that may decide. */
void sb_edge_arrive(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                    struct sb_edge_arrivals *out);

#endif
