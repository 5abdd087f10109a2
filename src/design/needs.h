// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * needs.h - what a design must reach, one need after the other, and how many machines each drops.
 *
 * Before any run a machine is dropped only by a bound that no run of it can beat:
 *
 *   speed, carry   are figures of the steady state, no results of a run. Under a constant load L a gear turns the output with at most
 *                  W = (Ts - Tf - L / (N eta)) / (m + b / (N^2 eta)) / N; the quadratic part of the load, the driver's limit of the
 *                  current and a target of the speed control only lower it. The greatest of all gears counts.
 *   most speed     only where nothing but the straight line is at work, so that W is the speed itself
 *   finish         no gear turns the output faster than the motor without load does: the mean speed is below w0 / N of the fastest
 *                  gear. Not used where the load can help, the output turns at the start, or battery or magnets change w0.
 *   length, tooth  geometry; the load of a tooth under the loads that are to be carried, in the gear that loads it least among those
 *                  that carry them
 */
#ifndef SHIFTBAND_DESIGN_NEEDS_H
#define SHIFTBAND_DESIGN_NEEDS_H

#include "scenario/choices.h"

enum sb_need_kind {
  SB_NEED_SPEED,      /* closed form: at least */
  SB_NEED_MOST_SPEED, /* closed form: at most */
  SB_NEED_FINISH,     /* closed form and run: mean speed of the output, at least */
  SB_NEED_LENGTH,
  SB_NEED_TOOTH, /* share of what it may carry: closed form under required loads, and in the run */
  SB_NEED_CHARGE,
  SB_NEED_CURRENT,
  SB_NEED_WINDING,
  SB_NEED_TORQUE,
  SB_NEED_VERDICT /* no verdict in the run */
};

struct sb_need {
  enum sb_need_kind kind;
  double load_nm, wanted; /* SI */
  bool is_least;          /* at least the wanted value, else at most */
  char path[64];          /* "require.carry.1" */
  double dropped_count;   /* machines that it was the first to drop */
  double alone_count;     /* machines that miss it alone */
  double nearest;         /* the best value of those that miss it alone; NAN: none */
};

enum { SB_NEED_MAX = 2 * 2 * SB_REQUIRE_SPEED_MAX + 8 };

struct sb_needs {
  int count;
  struct sb_need items[SB_NEED_MAX];
};

/* All needs of a scenario; with a run, the verdicts too. Pure. */
struct sb_needs sb_needs_of(const struct sb_choices *choices);

/* Whether a value meets a need; NAN does. Pure. */
bool sb_needs_is_met(const struct sb_need *need, double value);

/*
 * Judges a machine by the values of all needs (NAN: not known yet): counts a first miss, and one that is alone. Returns the index of the
 * first need that is missed, or -1.
 */
int sb_needs_judge(struct sb_needs *needs, const double values[SB_NEED_MAX]);

/* Adds the counts of another part of the same search. */
void sb_needs_add(struct sb_needs *needs, const struct sb_needs *part);

/* The need that, eased, lets most machines through; -1: none is missed alone. */
int sb_needs_easiest(const struct sb_needs *needs);

/* "at least 60 rpm under 0.2 N.m, nearest 52.1 rpm": what it wants, and the unit of its value. */
const char *sb_needs_value_text(const struct sb_need *need, double value, char *text, size_t size);

/* The unit as it ends a name: "rad_s". */
const char *sb_needs_unit_name(const struct sb_need *need);

#endif
