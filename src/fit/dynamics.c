// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs over time: the simulator goes through each span, exactly, and stops at every reading. */
#include "fit/bench.h"

#include <math.h>

#include "shiftband/sim.h"

/* So great a resistance that no current is left, yet finite, so that I^2 R stays zero. */
static const double open_ohm = 1e30;

/* A span has at least 2^STEP_BITS steps: they are only a grid of instants to ask for, which costs nothing however fine it is.
 * A step that is a power of two makes all times on it exact. */
enum { STEP_BITS = 40 };

struct runner {
  const struct sb_bench *bench;
  const struct sb_bench_test *test;
  struct sb_model *model; /* its feed and steps change from span to span */
  double resistance_ohm;  /* of the closed circuit */
  double speed_rad_s;     /* the motor's, where the next span begins */
  size_t next;            /* reading to be computed next */
  double *computed;
};

static double time_of(const struct runner *runner, size_t reading)
{
  return runner->test->log->time_s[runner->bench->readings[reading].row];
}

static double true_voltage_v(const struct runner *runner, const struct sb_bench_span *span)
{
  return span->voltage_v / runner->bench->gains[SB_FIT_GAUGE_VOLTAGE];
}

/* The motor's current in a closed circuit, which a driver may hold at its limit. */
static double closed_a(const struct runner *runner, double speed_rad_s, double voltage_v)
{
  const double current_a = (voltage_v - runner->model->motor.ke_vs_rad * speed_rad_s) / runner->resistance_ohm;
  const double limit_a = runner->model->supply.current_limit_a;
  return limit_a > 0.0 ? fmin(fmax(current_a, -limit_a), limit_a) : current_a;
}

static void put(struct runner *runner, double speed_rad_s, double voltage_v, bool is_open)
{
  const struct sb_bench_reading *reading = &runner->bench->readings[runner->next];
  double *out = &runner->computed[runner->next++];
  switch (reading->column) {
    case SB_LOG_OUTPUT_SPEED: *out = speed_rad_s / runner->model->gearbox.gears[runner->test->gear].ratio; break;
    case SB_LOG_MOTOR_CURRENT: *out = is_open ? 0.0 : closed_a(runner, speed_rad_s, voltage_v); break;
    default: *out = speed_rad_s; break;
  }
}

static enum sb_status begin_span(struct runner *runner, const struct sb_bench_span *span, double length_s,
                                 struct sb_sim *sim, struct sb_error *err)
{
  struct sb_model *model = runner->model;
  const struct sb_gear *gear = &model->gearbox.gears[runner->test->gear];
  model->motor.resistance_ohm = span->is_open ? open_ohm : runner->resistance_ohm;
  model->supply.open_circuit_voltage_v = true_voltage_v(runner, span);
  model->run.step_s = ldexp(1.0, ilogb(length_s) - STEP_BITS);
  model->run.duration_s = model->run.trace_interval_s = model->control.sample_period_s = length_s;
  model->run.initial_output_speed_rad_s = gear->output_direction * runner->speed_rad_s / gear->ratio;
  return sb_sim_init(sim, model, runner->test->gear, err);
}

/* Goes through a span and computes the readings before its end. */
static int run_span(struct runner *runner, const struct sb_bench_span *span, double from_s, double to_s)
{
  const size_t end = runner->test->first + runner->test->count;
  struct sb_sim sim;
  struct sb_error err;
  if (!(to_s > from_s)) return 0;
  enum sb_status status = begin_span(runner, span, to_s - from_s, &sim, &err);
  if (status != SB_OK) return -1;
  while (status == SB_OK && runner->next < end && time_of(runner, runner->next) < to_s) {
    status = sb_sim_advance(&sim, llround((time_of(runner, runner->next) - from_s) / sim.step_s), &err);
    put(runner, sim.state.motor_speed_rad_s, true_voltage_v(runner, span), span->is_open);
  }
  if (status == SB_OK) status = sb_sim_advance(&sim, llround((to_s - from_s) / sim.step_s), &err);
  runner->speed_rad_s = sim.state.motor_speed_rad_s;
  sb_sim_clear(&sim);
  return status == SB_OK ? 0 : -1;
}

/* When a span begins by the log's clock, once the log's own unknowns are known. */
static double begin_of(const struct sb_bench_test *test, const double *own, size_t span)
{
  if (test->phase == SB_FIT_PHASE_FIND) return test->spans[span].from_s + own[SB_OWN_START];
  return span == 0 ? own[SB_OWN_START] : fmax(test->spans[span].from_s, own[SB_OWN_START]);
}

static double last_time(const struct sb_bench_test *test)
{
  return test->log->time_s[test->log->count - 1];
}

static int run_spans(struct runner *runner, const double *own)
{
  const struct sb_bench_test *test = runner->test;
  const double end_s = last_time(test), off_s = test->phase == SB_FIT_BOTH ? own[SB_OWN_OFF] : INFINITY;
  const size_t end = test->first + test->count;

  /* Before the first span nothing moves the speed it has. */
  const double begin_s = begin_of(test, own, 0);
  while (runner->next < end && time_of(runner, runner->next) < begin_s) {
    put(runner, runner->speed_rad_s, 0.0, true);
  }
  int failed = 0;
  for (size_t k = 0; k < test->span_count && failed == 0; k++) {
    const double to_s = k + 1 < test->span_count ? begin_of(test, own, k + 1) : end_s;
    failed = run_span(runner, &test->spans[k], begin_of(test, own, k), fmin(to_s, off_s));
  }
  if (failed == 0 && off_s < end_s) {
    const struct sb_bench_span open = {.from_s = off_s, .is_open = true};
    failed = run_span(runner, &open, fmax(off_s, begin_s), end_s);
  }
  const struct sb_bench_span *last = &test->spans[test->span_count - 1];
  while (failed == 0 && runner->next < end) {
    put(runner, runner->speed_rad_s, true_voltage_v(runner, last), last->is_open || off_s < end_s);
  }
  return failed;
}

int sb_dynamics_compute(const struct sb_bench *bench, const struct sb_bench_test *test, struct sb_model *machine,
                        const double *own, double *computed)
{
  struct runner runner = {.bench = bench,
                          .test = test,
                          .model = machine,
                          .resistance_ohm = machine->motor.resistance_ohm,
                          .speed_rad_s = own[SB_OWN_SPEED],
                          .next = test->first,
                          .computed = computed};
  /* Each span begins again, and a shaft that gives would wind up again. */
  machine->driveshaft = (struct sb_driveshaft){.is_present = false};
  return run_spans(&runner, own);
}
