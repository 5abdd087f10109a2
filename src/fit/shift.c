// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Logs with shifts: one run of the simulator, in pieces from one command to the next.
 *
 * Where neutral has rows of its own, the simulated gear engages when the log's did, whatever the shifter's law says of it:
 * then nothing that is sought moves a jump across a reading, and the search meets no steps.
 */
#include "fit/bench.h"

#include <math.h>

#include "shiftband/sim.h"

/* Of a step, where commands fall together. */
static const double length_min_s = 1e-9;

/* Steps that differ by no more are one step: times in a log are rounded to some digits. */
static const double same_step = 1e-9;

struct replay {
  const struct sb_bench *bench;
  const struct sb_bench_test *test;
  struct sb_model *model; /* its step and its shifter change from piece to piece */
  struct sb_sim sim;      /* of no model before the run has begun */
  int gear;               /* commanded last */
  int wanted;             /* to be commanded now */
  size_t next;            /* reading to be computed next */
  double *computed;
};

/* The next reading that belongs to times up to one; NULL: none is left there. */
static const struct sb_bench_reading *next_until(const struct replay *replay, double time_s)
{
  const struct sb_bench_test *test = replay->test;
  if (replay->next == test->first + test->count) return NULL;
  const struct sb_bench_reading *reading = &replay->bench->readings[replay->next];
  return sb_bench_time(test, reading->row) <= time_s ? reading : NULL;
}

/* Before the motor is switched on it keeps the speed it has. */
static void put_before(struct replay *replay, double start_s, double speed_rad_s)
{
  const double ratio = replay->model->gearbox.gears[replay->gear].ratio;
  const struct sb_bench_reading *reading;
  while ((reading = next_until(replay, start_s)) != NULL) {
    replay->computed[replay->next++] = reading->column == SB_LOG_OUTPUT_SPEED    ? speed_rad_s / ratio
                                       : reading->column == SB_LOG_MOTOR_CURRENT ? 0.0
                                                                                 : speed_rad_s;
  }
}

static void put_readings(struct replay *replay, double time_s)
{
  const struct sb_bench_reading *reading = next_until(replay, time_s);
  if (reading == NULL) return;
  const struct sb_row row = sb_sim_row(&replay->sim);
  for (; reading != NULL; reading = next_until(replay, time_s)) {
    replay->computed[replay->next++] = fabs(reading->column == SB_LOG_OUTPUT_SPEED    ? row.output_speed_rad_s
                                            : reading->column == SB_LOG_MOTOR_CURRENT ? row.motor_current_a
                                                                                      : row.motor_speed_rad_s);
  }
}

/* Starts the run again from where it has come to, at another step, and gives the command that is due. */
static enum sb_status start_again(struct replay *replay, double step_s, struct sb_error *err)
{
  struct sb_state state = replay->sim.state;
  const bool is_begun = replay->sim.model != NULL;
  state.plan.engage_time_s -= state.time_s;
  state.step = 0; /* nothing on a bench depends on the time itself */
  state.time_s = state.load_time_s = 0.0;
  if (is_begun) sb_sim_clear(&replay->sim);
  replay->model->run.step_s = replay->model->control.sample_period_s = step_s;
  const enum sb_status status = sb_sim_init(&replay->sim, replay->model, replay->gear, err);
  if (status == SB_OK && is_begun) sb_sim_restore(&replay->sim, &state);
  if (status == SB_OK && replay->wanted != replay->gear) sb_sim_command(&replay->sim, replay->gear = replay->wanted);
  return status;
}

/* Goes on for so long and takes the readings of the time it comes to. */
static int go_on(struct replay *replay, double length_s, double time_s)
{
  struct sb_error err;
  enum sb_status status = SB_OK;
  const double step_s = fmax(length_s, length_min_s);
  const bool is_same = replay->sim.model != NULL && replay->wanted == replay->gear &&
                       fabs(step_s - replay->model->run.step_s) <= same_step * step_s;
  if (!is_same) status = start_again(replay, step_s, &err);
  if (status == SB_OK && length_s > 0.0) {
    status = sb_sim_advance(&replay->sim, replay->sim.state.step + 1, &err);
  }
  if (status != SB_OK) return -1;
  put_readings(replay, time_s);
  return 0;
}

/* From one command, or the log's beginning, to the next: from reading to reading. */
static int run_piece(struct replay *replay, double from_s, double to_s)
{
  double now_s = from_s;
  for (;;) {
    const struct sb_bench_reading *reading = next_until(replay, to_s);
    const double then_s = reading != NULL ? fmax(sb_bench_time(replay->test, reading->row), now_s) : to_s;
    if (go_on(replay, then_s - now_s, then_s) != 0) return -1;
    now_s = then_s;
    if (reading == NULL) return 0;
  }
}

/* The next gear engages so long after its command, whatever the shifter's law. */
static void set_engagement(struct replay *replay, double delay_s)
{
  struct sb_shifter *shifter = &replay->model->shifter;
  shifter->is_drive_cut = shifter->ops->plan(shifter, 0.0).is_drive_cut;
  shifter->ops = sb_shifter_kind_find("selector");
  shifter->travel_time_s = fmax(delay_s, 0.0);
}

/* Through all commands to the last row. */
static int run_log(struct replay *replay, const double *own)
{
  const struct sb_bench_test *test = replay->test;
  double now_s = own[SB_OWN_START];
  put_before(replay, now_s, own[SB_OWN_SPEED]);
  for (size_t k = 0; k < test->event_count; k++) {
    const struct sb_bench_event *event = &test->events[k];
    if (event->is_engaging) continue;
    const double then_s = fmax(own[SB_OWN_EVENT + k], now_s);
    if (run_piece(replay, now_s, then_s) != 0) return -1;
    now_s = then_s;
    replay->wanted = event->gear;
    if (test->is_engagement_logged) set_engagement(replay, own[SB_OWN_EVENT + k + 1] - now_s);
  }
  return run_piece(replay, now_s, fmax(sb_bench_time(test, test->last_row), now_s));
}

int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                     const double *own, double *computed)
{
  const struct sb_gear *gear = &machine->gearbox.gears[test->gear];
  struct replay replay = {.bench = bench,
                          .test = test,
                          .model = machine,
                          .gear = test->gear,
                          .wanted = test->gear,
                          .next = test->first,
                          .computed = computed};
  machine->supply.open_circuit_voltage_v = test->spans[0].voltage_v / bench->gains[SB_FIT_GAUGE_VOLTAGE];
  machine->run.initial_output_speed_rad_s = gear->output_direction * own[SB_OWN_SPEED] / gear->ratio;
  const int failed = run_log(&replay, own);
  sb_sim_clear(&replay.sim);
  return failed;
}
