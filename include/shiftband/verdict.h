// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * verdict.h - what went wrong in a run, found while it goes on.
 *
 *   hunting               three shift commands in turn between one pair of gears, each the opposite of the last and within the
 *                         hunt window of it (default: 3 dwell + the shift's time + 5 tau of the slower gear), that the load
 *                         did not ask for: threshold-driven when at least one of the three loads lies in the hunting band,
 *                         else dwell-driven. Threes that overlap make a stretch; each stretch is a verdict
 *   busy shifting         three such commands that the load asked for, each within 60 s / limits.shift_rate of the last:
 *                         downshifts at loads of at least Td, upshifts at loads of at most Tu, and from one to the next the
 *                         load moved by more than 2 % of the larger of Td and Tu and by more than one step of the reading makes
 *   stall                 output at rest for longer than limits.stall_time, in an engaged gear, with the drive on and its duty no longer rising
 *   stuck low             for longer than dwell + 5 tau the load is one that the faster gear would hold (below its
 *                         downshift torque), and the box stays in the slower gear
 *   needless downshift    a downshift at such a load
 *   overload              output torque above limits.output_torque: where its mean over 100 ms is above, too, it lasts, else it is a crest;
 *                         they are two findings, because their cures differ
 *   slipping              wheels beyond the traction limit, driven or braked, for longer than limits.slip_time in one go: a
 *                         lower gear adds nothing there
 *   overheated            winding above limits.winding
 *   drive cut             the thermal switch or the battery's cut-off has opened
 *   shift not engaged     neutral for longer than the shifter's shift_timeout
 *   reversed output       a gear was engaged that turns the output against the others
 *   runs back             the output, or a vehicle whose wheels slip, has turned back from the farthest place that it reached in the
 *                         direction in which the drive turns it, or last did, by more than limits.run_back
 *   overspeed             motor speed above limits.motor_speed
 *   clutch slips          the clutch of an engaged gear slips for longer than limits.clutch_slip_time in one go, or for more than
 *                         5 % of the time engaged; the slipping of a shift, until the speeds first met, is not counted
 *   threshold out of      the steady-state reading crosses the threshold under no constant load: a downshift between the
 *     reach               lightest load and the faster gear's stall torque, an upshift up to the heaviest load
 *
 * Loads are external torques, without what follows speed. Where closed forms judge them they are those that would bring the
 * gear to the same speed with the supply and winding that the closed forms are calculated with.
 */
#ifndef SHIFTBAND_VERDICT_H
#define SHIFTBAND_VERDICT_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/closed_form.h"
#include "shiftband/sim.h"

#ifdef __cplusplus
extern "C" {
#endif

/* X(code, name, its sentence: src/run/explain.h, what it means, what cures it) */
#define SB_VERDICT_LIST(X)                                                                                                                                                                                                                                 \
  X(SB_VERDICT_HUNTING, "hunting", sb_explain_hunting,                                                                                                                                                                                                     \
    "three opposite shifts, each within `limits.hunt_window` of the last, that the load did not ask for. *Threshold-driven*: at least one of the three loads lay in the hunting band. *Dwell-driven*: none did",                                           \
    "threshold-driven: raise `controller.upshift_above` or lower `controller.downshift_below`, until the band is empty; dwell-driven: a longer `controller.dwell`, more `controller.debounce_samples`, or at the start a longer `controller.start_delay`") \
  X(SB_VERDICT_BUSY_SHIFTING, "busy shifting", sb_explain_busy_shifting,                                                                                                                                                                                   \
    "three opposite shifts that the load did ask for, because it crossed the band each time, faster than `limits.shift_rate`",                                                                                                                             \
    "thresholds further apart (`controller.downshift_below`, `controller.upshift_above`), or a longer `controller.dwell`")                                                                                                                                 \
  X(SB_VERDICT_STALL, "stall", sb_explain_stall,                                                                                                                                                                                                           \
    "the output is at rest for longer than `limits.stall_time`, with a gear engaged and the drive on",                                                                                                                                                     \
    "more voltage (`supply.open_circuit_voltage`) or a greater reduction in that gear; where the driver or a clutch is too weak, `drive.current_limit` or `gearbox.shifter.torque`")                                                                       \
  X(SB_VERDICT_STUCK_LOW, "stuck low", sb_explain_stuck_low,                                                                                                                                                                                               \
    "the faster gear would carry this load, but the box stays in the slower one",                                                                                                                                                                          \
    "a lower `controller.upshift_above`, but no lower than where a hunting band begins; where the upshift comes too late, a shorter `controller.dwell`")                                                                                                   \
  X(SB_VERDICT_NEEDLESS_DOWNSHIFT, "needless downshift", sb_explain_needless_downshift,                                                                                                                                                                    \
    "the box left the faster gear, although that gear would have carried the load above `downshift_below`",                                                                                                                                                \
    "a longer `controller.dwell` or `controller.start_delay`, more `controller.debounce_samples`, or a lower `controller.downshift_below`")                                                                                                                \
  X(SB_VERDICT_OVERLOAD, "overload", sb_explain_overload,                                                                                                                                                                                                  \
    "the output torque exceeds the least of `limits.output_torque`, `limits.shaft` and `limits.tooth`",                                                                                                                                                    \
    "a lasting one: less torque, or a stronger part (`limits`); a crest: a softer engagement, or a driveshaft that gives more")                                                                                                                            \
  X(SB_VERDICT_NOT_ENGAGED, "shift not engaged", sb_explain_not_engaged,                                                                                                                                                                                   \
    "a shift did not engage within the shifter's `shift_timeout`", "a faster `gearbox.shifter`")                                                                                                                                                           \
  X(SB_VERDICT_SLIPPING, "slipping", sb_explain_slipping,                                                                                                                                                                                                  \
    "the wheels slip for longer than `limits.slip_time` at a time; a slower gear does not help there",                                                                                                                                                     \
    "ballast on the driven wheels, as far as it helps; where wheels that are driven harder slip, a lower duty or `drive.ramp`")                                                                                                                            \
  X(SB_VERDICT_OVERHEATED, "overheated", sb_explain_overheated, "the winding is hotter than `limits.winding`",                                                                                                                                             \
    "less load, pauses, or a motor that gives off more heat")                                                                                                                                                                                              \
  X(SB_VERDICT_DRIVE_CUT, "drive cut", sb_explain_drive_cut,                                                                                                                                                                                               \
    "the thermal switch opened, or the battery was below its cut-off voltage",                                                                                                                                                                             \
    "of the switch: less load, pauses, or a motor that gives off more heat; of the battery: a fuller or a larger one")                                                                                                                                     \
  X(SB_VERDICT_REVERSED, "reversed output", sb_explain_reversed,                                                                                                                                                                                           \
    "a gear was engaged that turns the output against the others",                                                                                                                                                                                         \
    "one idler more or less in that gear, or its other `motor_direction`")                                                                                                                                                                                 \
  X(SB_VERDICT_RUNS_BACK, "runs back", sb_explain_runs_back,                                                                                                                                                                                               \
    "the output turned back by more than `limits.run_back` from the farthest place that it had reached in the direction of the drive",                                                                                                                     \
    "a brake that holds (`holding_brake` of a hoist), or gears that cannot be driven backwards")                                                                                                                                                           \
  X(SB_VERDICT_OVERSPEED, "overspeed", sb_explain_overspeed, "the motor was faster than `limits.motor_speed`",                                                                                                                                             \
    "a motor that brakes instead of coasting (`drive.when_off`), or a load that drives it less")                                                                                                                                                           \
  X(SB_VERDICT_CLUTCH_SLIPS, "clutch slips", sb_explain_clutch_slips,                                                                                                                                                                                      \
    "the clutch of an engaged gear slipped for longer than `limits.clutch_slip_time` at a time or for more than 5 % of the time engaged; the slipping of a shift is not counted",                                                                          \
    "a clutch that transmits more (`gearbox.shifter.torque`), or less load")                                                                                                                                                                               \
  X(SB_VERDICT_OUT_OF_REACH, "threshold out of reach", sb_explain_out_of_reach,                                                                                                                                                                            \
    "no constant load of this scenario takes the reading across the threshold, so that the controller never makes this shift",                                                                                                                             \
    "a threshold that a load can reach: an upshift threshold below what the slower gear reads without load, a downshift threshold above what the faster gear reads before it stalls")

enum sb_verdict_kind {
#define SB_VERDICT_CODE(code, ...) code,
  SB_VERDICT_LIST(SB_VERDICT_CODE)
#undef SB_VERDICT_CODE
      SB_VERDICT_KIND_COUNT
};

/* What makes a box shift to and fro: of hunting the thresholds or the dwell, of busy shifting the load. */
enum sb_cause { SB_CAUSE_NONE, SB_CAUSE_THRESHOLDS, SB_CAUSE_DWELL, SB_CAUSE_LOAD };

/* The word for a kind, as in reports. Never NULL for a valid kind. */
const char *sb_verdict_name(enum sb_verdict_kind kind);

/* What a kind means and what cures it in general, as the manual has it (Markdown); of one that was found: sb_verdict_explain(). */
const char *sb_verdict_meaning(enum sb_verdict_kind kind);
const char *sb_verdict_cure(enum sb_verdict_kind kind);

/* Hunting, or for SB_CAUSE_LOAD busy shifting. Pure. */
enum sb_verdict_kind sb_verdict_of_cause(enum sb_cause cause);

/* "threshold-driven" or "dwell-driven"; NULL where the kind says it all. */
const char *sb_verdict_cause_name(enum sb_cause cause);

/* What commands at the thresholds of one pair of gears are judged by. */
struct sb_band {
  double downshift_nm, upshift_nm; /* Td and Tu */
  double step_nm;                  /* by which one step of the reading moves the load; 0 with an exact reading */
};

/* Three commands in turn, each the opposite of the last. */
struct sb_three {
  double time_s[3];
  double load_nm[3];   /* as the gear engaged is judged (sim.h) */
  double faster_nm[3]; /* as the faster gear of the pair is: the same, but for tired batteries and warm motors */
  int is_down_first;   /* down, up, down; else up, down, up */
  int is_soon;         /* each is within the hunt window of the last */
  int is_quick;        /* each is within 60 s / limits.shift_rate of the last */
};

/* What drives them: SB_CAUSE_LOAD where the load asked for them quickly; SB_CAUSE_NONE where they follow slowly. Pure. */
enum sb_cause sb_three_cause(const struct sb_three *three, const struct sb_band *band);

/* Whether a load at one of the commands is above what the faster gear holds, and below what the slower gear does. Pure. */
bool sb_three_is_above(const struct sb_three *three, int k, double downshift_nm);
bool sb_three_is_below(const struct sb_three *three, int k, double upshift_nm);

/* Whether the loads at the commands call for all three, whether they moved far enough in between, and whether both: then the
 * load asked for them. Pure. */
bool sb_three_is_called_for(const struct sb_three *three, const struct sb_band *band);
bool sb_three_has_moved(const struct sb_three *three, const struct sb_band *band);
bool sb_three_is_asked_for(const struct sb_three *three, const struct sb_band *band);

/* Whether a downshift at a load, of those that closed forms judge, is needless. Pure. */
bool sb_band_is_needless(double own_load_nm, double downshift_nm);

/* That of a pair of a model, at the thresholds given. `line` is that of the closed forms. Pure. */
struct sb_band sb_band_of(const struct sb_model *model, const struct sb_motor_line *line, int pair,
                          double downshift_fraction, double upshift_fraction);

/* Whether an upshift threshold, by its torque Tu, is above every reading that the slower gear can have. Pure. */
bool sb_band_is_upshift_out_of_reach(double upshift_nm, double lightest_nm);

/* Whether a downshift threshold, by its torque Td, is below every reading up to the faster gear's stall torque. Pure. */
bool sb_band_is_downshift_out_of_reach(double downshift_nm, double stall_nm);

/* Verdicts of one kind in one gear count together, but for hunting and busy shifting: each stretch is one. */
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
  /* The rule that fired: what was found, at its worst, beyond what limit. In the unit of the kind (rules[] in run/json.c). */
  double limit, found;
  struct sb_three three; /* hunting, busy shifting: the first three commands of the stretch that made it what it is */
  struct sb_band band;   /* hunting, busy shifting, stuck low, needless downshift, out of reach: of that pair */
  double stopped_s;      /* hunting, busy shifting: when a long stop of the drive ended the stretch; NAN: none did */
  int is_upshift;        /* out of reach: it is the upshift threshold */
  double lost_j;         /* clutch slips: heat in the clutch in all, shifts apart */
  int is_crest;          /* overload: none of its times lasts; else all of them do (SB_OVERLOAD_LASTS_S) */
};

struct sb_shift_record {
  double command_s;
  double engaged_s;      /* NAN: not within the run */
  int from, to;          /* gears from 1 */
  double reading_pct;    /* that decided, % of the reference */
  double load_torque_nm; /* whole load at the command */
  double external_torque_nm;
};

/* Opposite commands in turn, as far as the next three needs them. */
struct sb_chain {
  size_t count;                               /* in turn, up to the last command */
  double time_s[2], load_nm[2], faster_nm[2]; /* of the last two, the last one second */
  int is_soon, is_quick;                      /* the last one followed the one before so */
  int is_parted; /* the drive has stopped for longer than the hunt window since the last one */
};

/* A command that a chain takes, and how soon after the last one it must come. */
struct sb_chain_link {
  double time_s, load_nm, faster_nm; /* as of a three */
  double hunt_window_s, busy_window_s;
  bool is_opposite; /* to the last command, where there is one */
  bool is_down;
};

/* Takes a command into the chain of opposite ones, or begins a new one with it. True: it completes *three. */
bool sb_three_follow(struct sb_chain *chain, const struct sb_chain_link *link, struct sb_three *three);

/* Threes of one kind that overlap. */
struct sb_stretch_of_threes {
  size_t last;      /* number of its last command, from 1; 0: none is under way */
  size_t first;     /* number of its first */
  double periods_s; /* sum of the times from a command to the next like it, and how many */
  size_t period_count;
  struct sb_verdict verdict;
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
  double limit,
      worst; /* of its verdicts, where that is not the time: what is beyond the limit, and the most of it; else NAN */
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

/* How much of the time engaged a clutch slipped: rows of a run, or of a path of a map, one after the other. */
struct sb_clutch_share {
  double engaged_s, over_s, last_s;
  double first_s, greatest_nm; /* when it first did; the most that was asked of it; 0: never */
  int was_engaged, was_over;
};

/* Watches a run. All fields are the monitor's own; results are in shifts and verdicts. */
struct sb_monitor {
  const struct sb_model *model;
  struct sb_motor_line line;
  struct sb_band bands[SB_GEAR_MAX - 1]; /* per pair */
  double tau_s[SB_GEAR_MAX];
  int is_reversed[SB_GEAR_MAX + 1]; /* gears from 1: they turn the output against the others */

  struct sb_shift_record *shifts; /* the first of them, shifts[shift_kept], owned */
  size_t shift_count;             /* all */
  size_t shift_kept, shift_room;
  struct sb_shift_record last_shift;
  struct sb_verdict *verdicts; /* verdicts[verdict_count], owned, in order of first_s once finished */
  size_t verdict_count, verdict_room;
  int is_out_of_memory;

  struct sb_shortfall shortfall; /* of a speed under control */
  struct sb_chain chain;         /* of opposite commands, up to the last */
  struct sb_stretch_of_threes hunting, busy;
  double off_since_s;       /* the drive stands still by order or by a switch; NAN: it does not */
  bool is_shift_excused;    /* the drive was off, or turned over, while the last shift was under way */
  struct sb_watch rest;     /* it does not move */
  struct sb_watch slip;     /* the wheels slip */
  struct sb_watch reversed; /* a gear is engaged that turns the output against the others */
  struct sb_watch fast;     /* the motor is above its limit */
  struct sb_watch clutch;   /* the clutch of an engaged gear slips */
  struct sb_clutch_share clutch_share;
  struct sb_watch low; /* a slower gear, with no reason not to be in the faster one */
  int gear;            /* engaged, from 1; 0 in neutral */
  int is_automatic;    /* the controller chooses the gear */
};

/* Takes a row; over_nm: what a clutch that slips would have to transmit, else 0. */
void sb_monitor_clutch_take(struct sb_clutch_share *share, double time_s, bool is_engaged, double over_nm);

/* More than 5 % of the time engaged. Pure. */
bool sb_monitor_clutch_is_over(const struct sb_clutch_share *share);

void sb_monitor_init(struct sb_monitor *monitor, const struct sb_model *model, const struct sb_derived *derived);
void sb_monitor_clear(struct sb_monitor *monitor);

/* The first verdict of a kind, or NULL; also without a monitor. */
struct sb_verdict *sb_monitor_find(const struct sb_monitor *monitor, enum sb_verdict_kind kind);

/* A shift command, with the row just before it. */
void sb_monitor_command(struct sb_monitor *monitor, const struct sb_row *row, int to_gear);

/* How long an opposite command may come after the shift between two gears (indices) that took shift_s, to be hunting. Pure. */
double sb_monitor_hunt_window_s(const struct sb_model *model, const double *tau_s, int slower, double shift_s);

/* The drive was cut, came back or took another command: a shift under way may last, and a long stop ends a stretch. */
void sb_monitor_switched(struct sb_monitor *monitor, double time_s, bool is_on);

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

/* Where the heaviest load of a model is more than its slowest gear carries at stall, so that no threshold can help: says so in text, by
 * how much and what it would take; else text is empty. Returns text. */
const char *sb_verdict_say_too_heavy(const struct sb_model *model, char text[SB_EXPLANATION_SIZE]);

/* Explains a verdict of a model's run, or of a log of the machine: loads (NAN) and the cause of hunting may be unknown there. */
void sb_verdict_explain(const struct sb_verdict *verdict, const struct sb_model *model,
                        const struct sb_closed_form *closed, struct sb_verdict_words *out);

struct sb_json;

/* A verdict as all commands write it: one object. What is not known is null: a gear below 0, a count of 0, a time of NAN,
 * no gear_name. */
void sb_verdict_write_json(struct sb_json *json, const struct sb_verdict *verdict, const char *gear_name,
                           const struct sb_verdict_words *words);

#ifdef __cplusplus
}
#endif

#endif
