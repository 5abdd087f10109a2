// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * verdict.h - what went wrong in a run, found while it goes on.
 *
 *   hunting               at least three shift commands in turn between one pair of gears, each the opposite of the last and
 *                         within the hunt window of it (default: 3 dwell + the shift's time + 5 tau of the slower gear):
 *                         threshold-driven when the load lay in the hunting band at every decision, dwell-driven when
 *                         it lay outside and hardly moved
 *   busy shifting         such commands because the load itself moved across the band
 *   stall                 output at rest for longer than limits.stall_time, in an engaged gear, with the drive on and its duty no longer rising
 *   stuck low             for longer than dwell + 5 tau the load is one that the faster gear would hold (below its
 *                         downshift torque), and the box stays in the slower gear
 *   needless downshift    a downshift at such a load
 *   overload              output torque above limits.output_torque
 *   slipping              wheels beyond the traction limit for longer than limits.slip_time in one go, with the drive on: a
 *                         lower gear adds nothing there
 *   overheated            winding above limits.winding
 *   drive cut             the thermal switch or the battery's cut-off has opened
 *   shift not engaged     neutral for longer than the shifter's shift_timeout
 *
 * Loads are external torques, without what follows speed.
 */
#ifndef SHIFTBAND_VERDICT_H
#define SHIFTBAND_VERDICT_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/closed_form.h"
#include "shiftband/sim.h"

/* X(code, name, its sentence: src/run/explain.h) */
#define SB_VERDICT_LIST(X)                                                              \
  X(SB_VERDICT_HUNTING, "hunting", sb_explain_hunting)                                  \
  X(SB_VERDICT_BUSY_SHIFTING, "busy shifting", sb_explain_busy_shifting)                \
  X(SB_VERDICT_STALL, "stall", sb_explain_stall)                                        \
  X(SB_VERDICT_STUCK_LOW, "stuck low", sb_explain_stuck_low)                            \
  X(SB_VERDICT_NEEDLESS_DOWNSHIFT, "needless downshift", sb_explain_needless_downshift) \
  X(SB_VERDICT_OVERLOAD, "overload", sb_explain_overload)                               \
  X(SB_VERDICT_NOT_ENGAGED, "shift not engaged", sb_explain_not_engaged)                \
  X(SB_VERDICT_SLIPPING, "slipping", sb_explain_slipping)                               \
  X(SB_VERDICT_OVERHEATED, "overheated", sb_explain_overheated)                         \
  X(SB_VERDICT_DRIVE_CUT, "drive cut", sb_explain_drive_cut)

enum sb_verdict_kind {
#define SB_VERDICT_CODE(code, name, explain) code,
  SB_VERDICT_LIST(SB_VERDICT_CODE)
#undef SB_VERDICT_CODE
      SB_VERDICT_KIND_COUNT
};

/* What makes a box shift to and fro: of hunting the thresholds or the dwell, of busy shifting the load. */
enum sb_cause { SB_CAUSE_NONE, SB_CAUSE_THRESHOLDS, SB_CAUSE_DWELL, SB_CAUSE_LOAD };

/* The word for a kind, as in reports. Never NULL for a valid kind. */
const char *sb_verdict_name(enum sb_verdict_kind kind);

/* Hunting, or for SB_CAUSE_LOAD busy shifting. Pure. */
enum sb_verdict_kind sb_verdict_of_cause(enum sb_cause cause);

/* "threshold-driven" or "dwell-driven"; NULL where the kind says it all. */
const char *sb_verdict_cause_name(enum sb_cause cause);

/* Verdicts of one kind in one gear count together, but for hunting and busy shifting: each spell is one. */
struct sb_verdict {
  enum sb_verdict_kind kind;
  enum sb_cause cause;           /* of hunting and busy shifting */
  int gear;                      /* from 1: where it happened; of a pair, the slower gear */
  double first_s;                /* when it first came true: the first command, the standstill's start, ... */
  double last_s;                 /* when the last one ended */
  size_t count;                  /* shift commands (hunting, busy shifting), else times */
  double period_s;               /* hunting, busy shifting: mean time from a command to the next like it; else NAN */
  double duration_s;             /* time that it lasted, summed; 0 for a downshift */
  double greatest_c;             /* overheated: greatest temperature of the winding, deg C */
  int is_by_heat, is_by_battery; /* drive cut: what opened */
  struct sb_road_need need;      /* slipping: the greatest that the wheels slipped against; else zero */
  double
      least_nm; /* external torque: least and greatest at the decisions or while it lasted; NAN: none, or not known */
  double greatest_nm; /* overload: least_nm is the limit, greatest_nm the greatest torque */
};

struct sb_shift_record {
  double command_s;
  double engaged_s;      /* NAN: not within the run */
  int from, to;          /* gears from 1 */
  double reading_pct;    /* that decided, % of the reference */
  double load_torque_nm; /* whole load at the command */
  double external_torque_nm;
};

/* Shift commands in turn, each the opposite of the last and soon after it. */
struct sb_shift_chain {
  size_t count;
  double first_s, last_s, before_last_s;
  double periods_s; /* sum of the times from a command to the next like it: count - 2 of them */
  double least_nm, greatest_nm;
};

/* So many shifts and verdicts are kept one by one, so that a run that hunts for days needs no more memory than one that
 * hunts for minutes; later shifts are only counted, later verdicts added to the last of their kind. */
enum { SB_SHIFTS_KEPT = 10000, SB_VERDICTS_KEPT = 1000 };

/* A state that is a verdict when it lasts longer than some time in one go. */
struct sb_watch {
  enum sb_verdict_kind kind;
  double patience_s;
  double since_s; /* NAN: not now */
  double least_nm, greatest_nm;
};

/*
 * A speed that the drive is to hold and does not reach: the duty is at its limit in an engaged gear, and the motor stays
 * below 98 % of its target for longer than limits.stall_time and than 5 time constants of the gear in one go, so that a
 * run-up is none (2 % and 5 time constants: common practice for a steady state). Results are the first four.
 */
struct sb_shortfall {
  double duration_s;  /* summed */
  double first_s;     /* when it first began; NAN: never */
  double least_rad_s; /* motor speed, by magnitude, meanwhile; NAN: never */
  int count;

  double since_s, since_least_rad_s; /* the spell under way; NAN: none */
  double enough_s;                   /* how long a spell must last, in its gear */
};

void sb_shortfall_init(struct sb_shortfall *shortfall);

/* A row after an event or at a controller sample; the time constant in s of its engaged gear. */
void sb_shortfall_row(struct sb_shortfall *shortfall, const struct sb_model *model, double time_constant_s,
                      const struct sb_row *row);

/* Ends the spell under way, if any, at a time. */
void sb_shortfall_finish(struct sb_shortfall *shortfall, double time_s);

/* Watches a run. All fields are the monitor's own; results are in shifts and verdicts. */
struct sb_monitor {
  const struct sb_model *model;
  struct sb_motor_line line;
  double downshift_nm[SB_GEAR_MAX - 1]; /* Td per pair */
  double upshift_nm[SB_GEAR_MAX - 1];   /* Tu per pair */
  double tau_s[SB_GEAR_MAX];

  struct sb_shift_record *shifts; /* the first of them, shifts[shift_kept], owned */
  size_t shift_count;             /* all */
  size_t shift_kept, shift_room;
  struct sb_shift_record last_shift;
  struct sb_verdict *verdicts; /* verdicts[verdict_count], owned, in order of first_s once finished */
  size_t verdict_count, verdict_room;
  int is_out_of_memory;

  struct sb_shortfall shortfall; /* of a speed under control */
  struct sb_shift_chain chain;   /* of opposite commands, up to the last */
  bool is_shift_excused;         /* the drive was off, or turned over, while the last shift was under way */
  struct sb_watch rest;          /* it does not move */
  struct sb_watch slip;          /* the wheels slip, with the drive on */
  struct sb_watch low;           /* a slower gear, with no reason not to be in the faster one */
  int gear;                      /* engaged, from 1; 0 in neutral */
};

void sb_monitor_init(struct sb_monitor *monitor, const struct sb_model *model, const struct sb_derived *derived);
void sb_monitor_clear(struct sb_monitor *monitor);

/* What drives a chain whose decisions met these loads, at thresholds that carry these torques. Pure. */
enum sb_cause sb_monitor_cause(double downshift_nm, double upshift_nm, double least_nm, double greatest_nm);

/* A shift command, with the row just before it. */
void sb_monitor_command(struct sb_monitor *monitor, const struct sb_row *row, int to_gear);

/* The drive was cut, came back or took another command: chains of opposite commands end, and a shift under way may last. */
void sb_monitor_switched(struct sb_monitor *monitor);

/* A row after an event or at a controller sample; is_automatic: the controller chooses the gear. */
void sb_monitor_row(struct sb_monitor *monitor, const struct sb_row *row, int is_automatic);

/* The end of the run: closes what is open and puts the verdicts in order. SB_ERR_MEMORY when anything was lost. */
enum sb_status sb_monitor_finish(struct sb_monitor *monitor, const struct sb_row *last, const struct sb_sums *sums);

enum { SB_CURE_SIZE = 64, SB_CURES_MAX = 4, SB_EXPLANATION_SIZE = 1024 };

/* A key whose change cures a verdict. */
struct sb_cure {
  char key[SB_CURE_SIZE];   /* as a scenario has it, by its dotted path: "controller.upshift_above" */
  const char *bound;        /* "at least", "at most"; NULL: the very value, or none */
  char value[SB_CURE_SIZE]; /* with its unit: "88.0 %"; "": none follows from the run or the closed forms */
};

/* What happened, why, and what cures it. Cures with a value cure it each alone. */
struct sb_verdict_words {
  char text[SB_EXPLANATION_SIZE];
  struct sb_cure cures[SB_CURES_MAX];
  int cure_count;
};

/* Explains a verdict of a model's run, or of a log of the machine: loads (NAN) and the cause of hunting may be unknown there. */
void sb_verdict_explain(const struct sb_verdict *verdict, const struct sb_model *model,
                        const struct sb_closed_form *closed, struct sb_verdict_words *out);

struct sb_json;

/* A verdict as all commands write it: one object. What is not known is null: a gear below 0, a count of 0, a time of NAN,
 * no gear_name. */
void sb_verdict_write_json(struct sb_json *json, const struct sb_verdict *verdict, const char *gear_name,
                           const struct sb_verdict_words *words);

#endif
