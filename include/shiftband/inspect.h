// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * inspect.h - shifts, time in the gears, hunting and stalls in any log, simulated or measured.
 *
 * Which gear is engaged is taken from the best column there is:
 *
 *   gear              as it stands there; 0 is neutral
 *   motor and output  the ratio |w / W| of smoothed speeds dwells on one value a gear. The values are given, or found: the
 *                     densest window of log |w / W| is a gear, is taken out, and so on. What lies on none is a shift
 *   motor alone       with a model: the most likely course of its machine and controller beside the log, whatever the load
 *                     (src/inspect/course.h); shifts, and their commands, are those of this course. Without a model, or
 *                     from the reading: each gear has its own direction of the motor: the sign. Else a shift is where the speed changes
 *                     suddenly: within sharp_s it falls out of both levels and comes back (neutral, reversal), or it jumps by
 *                     the step of ratios while the output's inertia keeps the output's speed. A lower gear is one in
 *                     which the motor turns faster under the same load. A load that jumps may look like a shift, and a
 *                     shift that changes the motor's speed little is not seen: this is the weakest of all. A model's
 *                     thresholds leave only shifts from readings that can have led to the command
 *
 * Smoothing is a running median (GSL) over SB_INSPECT_SMOOTH values, which keeps steps and removes single outliers. Noise is
 * measured from the log itself (log.h). Missing values are left out; what happens in a gap is seen late or not at all,
 * and gaps are counted.
 *
 *   hunting   as in verdict.h: at least three shifts in turn between one pair of gears, each the opposite of the last and
 *             within hunt_window_s of it. With a model and a column of the load torque their cause is found as in a run,
 *             and shifts that the load asked for are busy shifting. Without, three that follow each other later than that
 *             may be hunting or not: hunting is then undecided
 *   stall     the output (without one: the motor) at rest for longer than stall_time_s, with a gear engaged and the drive on as
 *             far as the log shows
 */
#ifndef SHIFTBAND_INSPECT_H
#define SHIFTBAND_INSPECT_H

#include "shiftband/gearbox.h"
#include "shiftband/log.h"
#include "shiftband/status.h"
#include "shiftband/verdict.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_INSPECT_SMOOTH = 5 };

enum sb_inspect_source { SB_INSPECT_BEST, SB_INSPECT_GEAR, SB_INSPECT_RATIO, SB_INSPECT_MOTOR };

struct sb_inspect_options {
  enum sb_inspect_source source;
  int ratio_count;              /* gears whose ratios are known, 0: find them */
  double ratios[SB_GEAR_MAX];   /* N > 0, from the lowest gear (greatest N) */
  double hunt_window_s;         /* s, > 0 */
  double stall_time_s;          /* s, > 0 */
  const struct sb_model *model; /* whose thresholds and loads tell the cause of hunting; NULL: not known */
  double offset_s;              /* s: when the model's run begins in the log */
  double rest_rpm; /* speed below which something is at rest; 0: 1 % of its greatest speed and 4 x its noise */
};

struct sb_inspect_shift {
  double command_s; /* last time in the old gear: the command came no later than the next row; by course: the command */
  double engaged_s; /* first time in the new one; NAN: the log ends before */
  int from, to;     /* gears from 1 */
};

struct sb_inspect_hunt {
  double first_s, last_s;
  size_t first;                 /* index of the first shift */
  size_t count;                 /* shifts */
  enum sb_cause cause;          /* SB_CAUSE_NONE: the log does not show it */
  double least_nm, greatest_nm; /* external torque at the shifts; NAN: the log does not show it */
  double period_s;              /* mean time from a shift to the next like it */
  size_t period_count;          /* of how many */
  double window_s;              /* that the shifts follow each other within */
  int slower_gear;              /* of the pair */
  struct sb_three three;        /* with a cause: the first three that it is the cause of */
  struct sb_band band;
};

struct sb_inspect_rest {
  double from_s, to_s;
  double limit_s; /* longer than which a rest is a stall */
  int gear;       /* 0: not known */
};

struct sb_inspection {
  enum sb_inspect_source source; /* what was used */
  bool is_reading;               /* motor alone: the reading, for there is no motor speed */
  bool is_by_direction;          /* motor alone: by the sign of its speed */
  bool is_by_course;             /* motor alone: the most likely course of the model's controller */
  bool may_hide_shifts;          /* motor alone: shifts that leave no mark are not seen */
  double interval_s, begin_s, end_s;
  size_t gap_count; /* times without a value longer than 5 intervals */
  double longest_gap_s, longest_gap_at_s;
  double missing_fraction; /* of the values that were needed */
  double
      noise_rpm; /* standard deviation in the motor's speed; in the reading, in percent, where there is no motor speed */
  bool is_reading_noise;
  int gear_count;
  double ratios[SB_GEAR_MAX];          /* by ratio: given or found, else 0 */
  double gear_time_s[SB_GEAR_MAX + 1]; /* [0]: neutral or not known */
  double least_pause_s;                /* shortest time from one shift to the next; NAN for fewer than two */
  bool has_loads;        /* a model and the log give the loads at all shifts: each three is judged by them */
  size_t unjudged_count; /* threes of opposite shifts slower than hunt_window_s, without their loads */
  double unjudged_s;     /* when the first of them begins */
  size_t shift_count, shift_room;
  struct sb_inspect_shift *shifts; /* owned */
  size_t hunt_count, hunt_room;
  struct sb_inspect_hunt *hunts; /* owned */
  size_t rest_count, rest_room;
  struct sb_inspect_rest *rests; /* longer than stall_time_s, owned */
};

/* Ratios are found from the log; hunt window 5 s, stall time 0.5 s. */
struct sb_inspect_options sb_inspect_options_default(void);

/* The same with what a model knows: ratios, stall time, and the hunt window of its slowest gear. */
struct sb_inspect_options sb_inspect_options_of(const struct sb_model *model);

/* The ratios of the gears as "9.5,4,1.8", each less than the one before. SB_ERR_USAGE. */
enum sb_status sb_inspect_ratios_parse(const char *text, struct sb_inspect_options *options, struct sb_error *err);

/*
 * Inspects. SB_ERR_SCENARIO: the log lacks the columns that the source needs, or enough values in them (said in err);
 * SB_ERR_MEMORY. Release with sb_inspect_clear().
 */
enum sb_status sb_inspect(const struct sb_log *log, const struct sb_inspect_options *options, struct sb_inspection *out,
                          struct sb_error *err);

/* Whether hunting was not found, and the log cannot show that there is none. Pure. */
bool sb_inspect_is_undecided(const struct sb_inspection *inspection);

/* How many of the hunts are busy shifting. Pure. */
size_t sb_inspect_busy_count(const struct sb_inspection *inspection);

void sb_inspect_clear(struct sb_inspection *inspection);

#ifdef __cplusplus
}
#endif

#endif
