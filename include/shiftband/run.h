// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * run.h - a whole run: the simulator, the sensor, the controller and the monitor together.
 *
 * At a sample: the machine has moved up to it and events at that instant have taken effect; then the sensor reads, the
 * controller decides, and a command acts at once. Same model, same bytes.
 */
#ifndef SHIFTBAND_RUN_H
#define SHIFTBAND_RUN_H

#include <stdio.h>

#include "shiftband/controller.h"
#include "shiftband/external_program.h"
#include "shiftband/verdict.h"

#ifdef __cplusplus
extern "C" {
#endif

/* One sample of the controller. */
struct sb_run_sample {
  int32_t reading; /* what it compares */
  int32_t counts,
      voltage_counts; /* that it is made of where the reference follows the supply; else the reading and 0 */
  bool is_engaged;    /* a gear is */
  bool is_deciding;   /* it was to decide (sb_sim_is_deciding) */
  int gear;           /* commanded, from 1 */
};

struct sb_run_options {
  int locked_gear; /* from 1: that gear for the whole run; 0: the controller chooses */
  /* Takes each row of the trace, in order of time; NULL: no trace. A result other than 0 ends the run with SB_ERR_IO. */
  int (*on_row)(void *context, const struct sb_row *row);
  void *context;
  /* Told each sample of the controller; NULL: nobody listens. */
  void (*on_sample)(void *sample_context, const struct sb_run_sample *sample);
  void *sample_context;
  const struct sb_decider *decider; /* NULL: the controller of controller.h; else asked unless a gear is locked */
};

struct sb_run_options sb_run_options_default(void);

struct sb_run_result {
  struct sb_monitor monitor; /* shifts and verdicts */
  struct sb_sums sums;
  struct sb_row end;
  int end_gear;         /* from 1: commanded last */
  long long step_count; /* steps done */
  double overcharge_as; /* greatest charge above full that a battery was given, A s; 0: none */
};

/* The controller's constants for a model: thresholds in sensor counts, times in whole samples, rounded up. */
struct sb_controller_setup sb_run_controller_setup(const struct sb_model *model);

/* Likewise the constants of a reading against a reference that follows the supply; factor 0: there are none (sensor.h). */
struct sb_controller_scale sb_run_controller_scale(const struct sb_model *model);

/* Runs the model. Fills *result on SB_OK; release it with sb_run_result_clear(). */
enum sb_status sb_run(const struct sb_model *model, const struct sb_run_options *options, struct sb_run_result *result,
                      struct sb_error *err);

void sb_run_result_clear(struct sb_run_result *result);

/*
 * A scenario repeated until its motor is as warm as it gets.
 *
 * Each repeat starts as the scenario does, battery and speeds too, but with winding and housing as warm as the last one
 * left them. It ends when they settle, when limits.winding is passed, or when the cut-out opens.
 *
 * Not every repeat is simulated. Under losses that do not change, the warmth at the start of the next repeat is
 *   x' = M x + g,   M = the network's own cooling over one repeat (exact), g from the repeat just simulated,
 * so that the warmth after n more repeats, and where it settles, x* = (I - M)^-1 g, are known. The losses do change, with
 * the winding's resistance and with what the machine does when it is warmer. So no more repeats are passed over than change
 * winding and housing by SB_WARMUP_LEAP_K, which changes the resistance by 0.2 % at most, nor so many that a limit could be
 * passed unseen. Where that goes too far and back (a gear is shifted on a warm repeat and not on a cooler one), fewer are
 * passed over, and where that is not enough, blocks of 2, 4, ... 64 repeats in a row are simulated and g is their mean.
 * Settled is a block that was simulated and whose own x* lies within SB_WARMUP_STEADY_K of its mean start.
 */
#define SB_WARMUP_LEAP_K 0.5
#define SB_WARMUP_STEADY_K 0.1
enum { SB_WARMUP_SIMULATED_MAX = 1000 };

enum sb_warmup_end {
  SB_WARMUP_STEADY,  /* winding and housing start a repeat as they started the last */
  SB_WARMUP_TOO_HOT, /* the winding is above limits.winding */
  SB_WARMUP_CUT_OUT, /* the thermal switch opened */
  SB_WARMUP_OPEN     /* none of these after SB_WARMUP_SIMULATED_MAX repeats */
};

struct sb_warmup {
  enum sb_warmup_end end;
  long long repeat_count; /* up to the end, those passed over included */
  int simulated_count;    /* of them */
  double end_s;         /* since the first start: when the limit was passed, the switch opened, the last repeat ended */
  double peak_c;        /* of the winding in the last repeat */
  double least_start_c; /* of the winding, over the last block: apart when the machine acts on its own warmth */
  double greatest_start_c; /* likewise */
  struct sb_warmth start;  /* of the last repeat */
  struct sb_warmth finish; /* its end */
  struct sb_model model;   /* the last repeat's: the scenario with this start; its tables stay the scenario's */
};

/* Needs a model whose winding is present. locked_gear as in struct sb_run_options. Fails as sb_run() does. */
enum sb_status sb_warmup_run(const struct sb_model *model, int locked_gear, struct sb_warmup *out,
                             struct sb_error *err);

/* One finished run and what it was a run of. Cautions belong to the text wherever people or things could be hurt. */
struct sb_report {
  const struct sb_model *model;
  const struct sb_run_result *result;
  int locked_gear;                /* from 1; 0: automatic */
  const struct sb_warmup *warmup; /* what led to this repeat; NULL: the scenario as it stands */
  const char *controller;         /* name of an external one; NULL: ours, or none */
  bool is_verbose;                /* also what only a developer wants */
  /* Of an automatic run without a shift: what each locked gear does; others[other_count]; NULL: not known. */
  const struct sb_report *others;
  int other_count;
};

/* A finished run: what its report points to, so it stays where it is. */
struct sb_run_way {
  struct sb_run_result result; /* owned: sb_run_result_clear() */
  struct sb_warmup warmup;
};

enum { SB_RUN_WAY_MAX = SB_GEAR_MAX + 1 };

/* Whether an automatic run had gears to choose from and never shifted: then its report tells what each locked gear does. Pure. */
bool sb_run_never_shifts(const struct sb_report *report);

/* Which gears to lock, one run after the other: as told, and to compare, each gear after that. Returns how many. */
int sb_run_ways(const struct sb_model *model, int locked_gear, bool is_comparison, int ways[SB_RUN_WAY_MAX]);

/* Runs it, or with is_until_warm the repeat in which it is warm: SB_ERR_SCENARIO where no winding warms. As sb_run(). */
enum sb_status sb_run_way(const struct sb_model *model, const struct sb_run_options *options, bool is_until_warm,
                          struct sb_run_way *out, struct sb_report *report, struct sb_error *err);

/* Where the greatest output torque came from: the last engagement or impact shortly before it, or else the load. */
enum sb_torque_source { SB_TORQUE_OF_LOAD, SB_TORQUE_OF_ENGAGEMENT, SB_TORQUE_OF_IMPACT };

/* "load", "engagement", "impact". */
const char *sb_run_torque_source_name(enum sb_torque_source source);

/* What people ask after a run. NAN where the machine has no such thing. */
struct sb_run_facts {
  double distance_m, speed_m_s; /* at the end: of a vehicle along its road, or of a hoist's load upward */
  double mean_speed_rad_s;      /* of the output */
  double used_as;               /* charge that the run took from the battery, A s; < 0: it gave some back */
  double left_fraction;         /* of the charge */
  double runs_a_charge;         /* such runs from full to empty; NAN: it used none */
  double empty_s;               /* after the end, if it went on like this */
  double winding_c, housing_c;  /* at the end, deg C */
  double greatest_winding_c, greatest_housing_c;
  double magnet_left_fraction; /* of the strength that the motor's figures have, at the end */
  double
      hot_s; /* after the end, if it went on with the mean loss of the run: until limits.winding or the cut-out; INFINITY: never;
                   NAN: no such limit is given */
  double shifting_s, shifting_j; /* lost to shifts: time in neutral, energy of engagements and slipping clutches */
  enum sb_torque_source torque_source;
};

/* Pure. */
struct sb_run_facts sb_run_facts(const struct sb_report *report);

/* Whether a gear alone does as well as the automatic run: no verdict that this does not have, and at least 98 % of its mean
 * speed. Pure. */
bool sb_run_does_as_well(const struct sb_report *locked, const struct sb_report *automatic);

/* The summary: verdicts first, then shifts, times, extremes, energy, cautions. */
void sb_run_write_text(FILE *out, const struct sb_report *report);

/* The same facts as one whole object. */
void sb_run_write_json(FILE *out, const struct sb_report *report);

/* Several runs of one scenario side by side, a column each; count >= 1. */
void sb_run_write_comparison(FILE *out, const struct sb_report *reports, int count);

/* Writes the cautions that a model and its verdicts call for (is_run false: the model alone). */
void sb_run_write_cautions(FILE *out, const struct sb_model *model, const struct sb_monitor *monitor);

#ifdef __cplusplus
}
#endif

#endif
