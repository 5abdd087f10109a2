// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * course.h - one possible course of gears beside a log of the motor's speed alone, and how likely the log makes it.
 *
 * A course is a machine as its model has it - motor, supply, drive, gearbox, shifter, controller - but for the load torque L,
 * of which the model's own is not used: it is estimated on the way, together with the speeds (Kalman's filter). Between two
 * values of the log:
 *
 *   engaged   (Jm + Jo i r^2) w' = T(w) - drag - i r L,  W = r w     r = 1 / N with its sign, i = 1 / e of the meshes
 *   neutral   Jm w' = T(w),  Jo W' = -L                              a slipping clutch adds its torque to both
 *   joining   w+ = (Jm w- + Jo r W-) / (Jm + Jo r^2)
 *
 * The load walks at random, and may step: then that costs likelihood. So does a speed that nothing explains. Each value v of
 * the log multiplies the likelihood by the normal density of v - w, with the variance with which both are known. At rest a
 * machine is held, whatever the load is. At each sample of the controller a course parts: into one in which a shift is
 * commanded and one in which none is, as likely as the reading is beyond the threshold for as long as debouncing asks for.
 *
 * A shift is told, then, by all that it does: the free run of the motor, which follows from its line alone, the jump of the
 * speed as two inertias join, the acceleration in the new gear; and by what the controller must do at such a speed.
 *
 * Leaves out: wheels that slip, bodies in a vehicle's way (they are load).
 * Source: R. E. Kalman, Journal of Basic Engineering 82, 1960; D. B. Reid, IEEE Transactions on Automatic Control 24, 1979
 * (multiple hypotheses); both from memory.
 */
#ifndef SHIFTBAND_INSPECT_COURSE_H
#define SHIFTBAND_INSPECT_COURSE_H

#include "shiftband/controller.h"
#include "shiftband/model.h"
#include "shiftband/sim.h"

/* What is estimated: speed of motor and output, rad/s, the load torque, N m, and the twist of a shaft that gives, rad. */
enum { SB_COURSE_MOTOR, SB_COURSE_OUTPUT, SB_COURSE_LOAD, SB_COURSE_TWIST, SB_COURSE_STATES };

enum {
  SB_COURSE_DEBOUNCE = 16 /* readings in a row that are counted with their likelihoods; longer runs by their means */
};

/* What all courses beside a log share. */
struct sb_course_machine {
  const struct sb_model *model;
  struct sb_controller_setup setup;
  struct sb_winding_lapse lapse; /* of the winding, in a tick */
  double tick_s;                 /* of what feeds the motor; 0: it never changes */
  double noise_rad_s;            /* of the log and of the model, > 0 */
  /* No prediction is surer than this, (rad/s)^2: smooth running fits in any gear, in one whose time constant is short a little
   * better, and that must not add up. */
  double least_variance;
  double load_nm;     /* scale of the load */
  double filter_gain; /* of the reading, 0..1 */
  bool runs_back;     /* the load can turn the output back */
  bool has_shaft;     /* that gives enough to be followed */
};

struct sb_course {
  double score; /* logarithm of the likelihood */
  double time_s;
  double x[SB_COURSE_STATES];
  double p[SB_COURSE_STATES][SB_COURSE_STATES]; /* covariances */
  long last;                                    /* its last shift, wherever these are kept; -1: none */
  /* The box. */
  int gear; /* index, engaged or to be engaged */
  enum sb_link link;
  struct sb_shift_plan plan;
  double turned_rad;
  int slip_direction;
  bool is_turned;
  bool is_resting; /* engaged, at rest */
  bool is_stopped, is_parted,
      runs_back; /* neutral: the output stopped; both ways to go on are there; this one: backwards */
  /* What feeds the motor. */
  struct sb_motor_line line; /* where the driver holds the current: that piece of it */
  bool is_current_held;
  struct sb_drive_state drive;
  struct sb_warmth warmth;
  double voltage_v, resistance_ohm, magnet_ratio, drawn_as;
  double ready_s; /* the controller decides from here on */
  int low_ticks;
  bool is_cut_out, is_empty;
  /* The controller. */
  unsigned wait; /* samples */
  bool is_read;
  double reading, reading_variance; /* filtered; fractions of the reference */
  /* How likely so many of the last readings in a row were beyond a threshold. */
  double below[SB_COURSE_DEBOUNCE], above[SB_COURSE_DEBOUNCE];
  double overstayed; /* what not shifting has cost so far */
};

/* course_feed.c ---- what feeds the motor, as the simulator has it (sim/feed.c) */

void sb_course_start_feed(const struct sb_course_machine *machine, struct sb_course *course);
void sb_course_tick(const struct sb_course_machine *machine, struct sb_course *course);
void sb_course_take_line(const struct sb_course_machine *machine, struct sb_course *course);
bool sb_course_is_on(const struct sb_course *course);

/* course_motion.c ---- from one instant to another */

/* The output's speed over the motor's in the course's gear, with its sign. Pure. */
double sb_course_ratio(const struct sb_course_machine *machine, const struct sb_course *course);

void sb_course_move(const struct sb_course_machine *machine, struct sb_course *course, double until_s);
void sb_course_command(const struct sb_course_machine *machine, struct sb_course *course, int gear);
void sb_course_engage(const struct sb_course_machine *machine, struct sb_course *course);

/* A speed that is known to be 0. */
void sb_course_hold(struct sb_course *course, int speed);

/* course_measure.c ---- what a value says */

/* Takes a motor speed that is known with a variance, (rad/s)^2. */
void sb_course_update(struct sb_course *course, double speed_rad_s, double variance);

/* Takes a value of the log, since_s after the one before. */
void sb_course_measure(const struct sb_course_machine *machine, struct sb_course *course, double speed_rad_s,
                       double since_s);

/* Whether the sides of a slipping clutch can have met by now, for all that is known: then they have, at a price. */
bool sb_course_meet(const struct sb_course_machine *machine, struct sb_course *course);

/* course_control.c ---- the controller */

/* How likely a shift down [0] or up [1] is commanded at this sample. */
void sb_course_sample(const struct sb_course_machine *machine, struct sb_course *course, double likely[2]);

/* It was: what that says about the speed, and the controller's part of a command. */
void sb_course_decide(const struct sb_course_machine *machine, struct sb_course *course, int gear);

#endif
