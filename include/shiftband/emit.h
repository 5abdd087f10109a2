// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * emit.h - a tuned scenario as constants for a real controller, in the counts of its sensor.
 *
 * A scenario's own resolution needs no rounding: reading < down and reading > up mean the same for whole counts once down
 * is rounded up and up is rounded down (reading.h), and the emitted controller decides as the simulated one. Where another
 * sensor counts, thresholds have to move. They move apart, for closer together the gearbox may hunt, and by less than a count:
 *
 *   rounds to the nearest count   D = floor(d + 1/2), U = ceil(u - 1/2)   acts below D - 1/2 <= d, above U + 1/2 >= u
 *   counts pulses in a window     D = floor(d),       U = ceil(u)         may act up to D <= d, from U >= u on
 *
 * (d, u: thresholds in counts. A counter sees floor(x + phase) pulses, any phase of 0..1.) Waits are whole samples,
 * rounded up. Readings of duty and current are what is left, reference - size (reading.h), and are rounded as such: down
 * moves to more duty, up to less. Where the reference is K whole counts, a reading is K - counts of the size itself.
 *
 * Where the drive can stop, the simulated controller decides nothing while it is off, nor for the start delay after each
 * restart or reversal. The emitted one is told through the flag of the engaged gear, and so do the recordings.
 *
 * Moving apart has an end too, a gearbox that never shifts back: the closed forms and a simulated run show
 * whether the rounded controller does anything that the given one did not, and then there is no emission.
 *
 * Emitted text is 0BSD, as the controller module (controller.h): it goes into other people's products. Same scenario,
 * same bytes.
 */
#ifndef SHIFTBAND_EMIT_H
#define SHIFTBAND_EMIT_H

#include <stddef.h>
#include <stdio.h>

#include "shiftband/controller.h"
#include "shiftband/model.h"
#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_EMIT_NAME_SIZE = 48, SB_EMIT_SAMPLES_DEFAULT = 2000, SB_EMIT_SAMPLES_MAX = 16000 };

/* What the real sensor counts. */
struct sb_emit_sensor {
  /* What one count stands for, in the reading's unit: rad/s of the motor, duty (full is 1), A; > 0. 0: the scenario's
   * resolution, else 1 rpm, 1/255 or 10 mA. */
  double count;
  double pulses_per_turn; /* > 0: it counts pulses, so many a turn of the motor, and count is ignored; speed only */
  double window_s;        /* pulses: how long it counts, s; 0: the sample period */
  double
      voltage_count_v; /* of the supply's sensor, where the reference follows it; 0: the scenario's resolution, else 10 mV */
};

struct sb_emit_options {
  struct sb_emit_sensor sensor;
  size_t sample_max; /* recorded samples kept at most, 0..SB_EMIT_SAMPLES_MAX */
};

/* One recorded sample: what the controller read, and what it then commanded. */
struct sb_emit_sample {
  int32_t reading; /* counts: what it compared */
  int32_t counts;  /* that it was made of, with `voltage`, where the reference follows the supply; else the reading */
  int32_t voltage; /* counts */
  uint8_t is_deciding; /* a gear is engaged, the drive on, and the start delay over since it came back */
  uint8_t gear;        /* commanded, from 1 */
};

struct sb_emission {
  struct sb_model
      model; /* the given one with the sensor's counts and the rounded thresholds; tables stay the given one's */
  struct sb_controller_setup setup;
  struct sb_controller_scale
      scale;                /* of the reading by the supply; factor 0: there is none, the counts are the reading */
  bool is_voltage_given;    /* the count of the voltage, by the scenario or by the options */
  double count;             /* of the reading's unit: rad/s, duty, A */
  double full_count;        /* duty, current: counts of the reference, whole, so that reading = this - counts; else 0 */
  double pulses_per_turn;   /* counted in a window, the run's too; 0: rounds to the nearest count */
  double window_s;          /* pulses only */
  bool is_own_count;        /* the scenario's own resolution: decides as the simulated controller, nothing is rounded */
  bool is_resolution_given; /* by the scenario or by the options; else one count was taken as the usual one */
  /* Readings in their unit (of duty and current: what is left), as tuned, and where the counts really act. */
  double asked_below[SB_GEAR_MAX - 1], asked_above[SB_GEAR_MAX - 1];
  double acts_below[SB_GEAR_MAX - 1], acts_above[SB_GEAR_MAX - 1];
  bool is_moved;       /* a threshold does not act where a reading without rounding would */
  char verdicts[256];  /* what the run came to, "hunting, stall"; "": nothing to report */
  size_t sample_total; /* samples of the run */
  /* Kept: to a little behind the last command, and with can_stop the last change of is_deciding; at most sample_max. */
  size_t sample_count;
  bool
      is_engaged_needed; /* with "engaged" always true the recorded run would be decided in another way: the wait is too short */
  bool can_stop;                  /* the drive: by a command, or by a switch of its own */
  struct sb_emit_sample *samples; /* samples[sample_count], owned */
};

struct sb_emit_options sb_emit_options_default(void);

/* What one count is: a share of the reference ("0.5 %", "1/255") or a measure of its own ("5 rpm"). SB_ERR_USAGE. */
enum sb_status sb_emit_count_parse(const char *text, const struct sb_sensor *sensor, double *count,
                                   struct sb_error *err);

/*
 * Rounds, runs and records. SB_ERR_SCENARIO: no count of this sensor does (too coarse), said in err; SB_ERR_USAGE: pulses
 * for a reading that is no speed; SB_ERR_NUMERICS, SB_ERR_MEMORY. Release with sb_emit_clear().
 */
enum sb_status sb_emit(const struct sb_model *model, const struct sb_emit_options *options, struct sb_emission *out,
                       struct sb_error *err);

void sb_emit_clear(struct sb_emission *emission);

/* Whether a word can begin C names: a letter, then letters, digits, underscores, shorter than SB_EMIT_NAME_SIZE. Pure. */
bool sb_emit_name_is_fit(const char *name);

/*
 * The C header: NAME_setup for sb_controller_start() and sb_controller_update(), macros with the sample period and the
 * start gear, and, where NAME_SELF_TEST (in capitals) is defined, NAME_self_test(), which replays the recorded samples
 * on the target. C99 and C++; on AVR the samples stay in flash. `source` names the scenario's file, `program` what wrote
 * it. Return 0, or -1 with errno set, as all below.
 */
int sb_emit_write_header(FILE *out, const struct sb_emission *emission, const char *name, const char *source,
                         const char *program);

/* A page for controllers programmed by hand: constants, then the logic as function blocks, or as rungs of a ladder. */
int sb_emit_write_blocks(FILE *out, const struct sb_emission *emission, const char *source);
int sb_emit_write_ladder(FILE *out, const struct sb_emission *emission, const char *source);

/* The recorded samples as CSV: sample,reading,engaged,gear; engaged is is_deciding. Where the reference follows the supply counts and
 * voltage_counts stand before the reading. */
int sb_emit_write_readings(FILE *out, const struct sb_emission *emission);

#ifdef __cplusplus
}
#endif

#endif
