// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs over time: the simulator goes through each span, and readings are taken off its steps by cubics. */
#include "fit/predict.h"

#include <math.h>
#include <stdlib.h>

#include "shiftband/sim.h"

/* So great a resistance that no current is left, yet finite, so that I^2 R stays zero. */
static const double open_ohm = 1e30;

/* Steps in a time constant: the cubic between steps is then good to 1e-6 of the speed. */
static const double steps_per_tau = 15.0;

enum { STEPS_MIN = 3, SPAN_STEPS_MIN = 16, STEPS_MAX = 20000 };

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

/* The cubic through the four steps around a place; `moving` of the steps + 1 come before a standstill: there it is the
 * last moving ones that go on, down to zero. */
static double speed_at(const double *grid, long steps, long moving, double place)
{
  const long last = moving - 1 < steps ? moving - 1 : steps;
  if (moving <= steps && (place >= (double)moving || last < 3))
    return place >= (double)moving ? 0.0 : grid[(long)place];
  long first = (long)floor(place) - 1;
  first = first < 0 ? 0 : first > last - 3 ? last - 3 : first;
  const double *w = grid + first, a = place - (double)first;
  const double b = a - 1.0, c = a - 2.0, d = a - 3.0;
  const double speed =
      -w[0] * b * c * d / 6.0 + w[1] * a * c * d / 2.0 - w[2] * a * b * d / 2.0 + w[3] * a * b * c / 6.0;
  return moving <= steps ? fmax(speed, 0.0) : speed;
}

static void put(struct runner *runner, double speed_rad_s, double voltage_v, bool is_open)
{
  const struct sb_bench_reading *reading = &runner->bench->readings[runner->next];
  double *out = &runner->computed[runner->next++];
  switch (reading->column) {
    case SB_LOG_OUTPUT_SPEED: *out = speed_rad_s / runner->model->gearbox.gears[runner->test->gear].ratio; break;
    case SB_LOG_MOTOR_CURRENT:
      *out = is_open ? 0.0 : (voltage_v - runner->model->motor.ke_vs_rad * speed_rad_s) / runner->resistance_ohm;
      break;
    default: *out = speed_rad_s; break;
  }
}

/* Goes through a span and computes the readings before its end (up to it: for the last one). */
static int run_span(struct runner *runner, const struct sb_bench_span *span, double from_s, double to_s, long steps)
{
  struct sb_model *model = runner->model;
  const struct sb_gear *gear = &model->gearbox.gears[runner->test->gear];
  struct sb_sim sim;
  struct sb_error err;
  if (!(to_s > from_s)) return 0;
  model->motor.resistance_ohm = span->is_open ? open_ohm : runner->resistance_ohm;
  model->supply.open_circuit_voltage_v = span->voltage_v;
  model->run.step_s = (to_s - from_s) / (double)steps;
  model->run.duration_s = to_s - from_s;
  model->run.trace_interval_s = model->run.step_s;
  model->run.initial_output_speed_rad_s = gear->output_direction * runner->speed_rad_s / gear->ratio;
  enum sb_status status = sb_sim_init(&sim, model, runner->test->gear, &err);
  double *grid = runner->test->grid;
  grid[0] = runner->speed_rad_s;
  long moving = steps + 1; /* steps before it stands */
  for (long k = 1; k <= steps && status == SB_OK; k++) {
    status = sb_sim_advance(&sim, k, &err);
    grid[k] = sim.state.motor_speed_rad_s;
    if (k < moving && grid[k] == 0.0 && span->voltage_v == 0.0) moving = k;
  }
  sb_sim_clear(&sim);
  if (status != SB_OK) return -1;
  const size_t end = runner->test->first + runner->test->count;
  while (runner->next < end && time_of(runner, runner->next) < to_s) {
    const double place = (time_of(runner, runner->next) - from_s) / model->run.step_s;
    put(runner, speed_at(grid, steps, moving, place), span->voltage_v, span->is_open);
  }
  runner->speed_rad_s = grid[steps];
  return 0;
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
    failed = run_span(runner, &test->spans[k], begin_of(test, own, k), fmin(to_s, off_s), test->spans[k].steps);
  }
  if (failed == 0 && off_s < end_s) {
    const struct sb_bench_span open = {.from_s = off_s, .is_open = true, .steps = test->off_steps};
    failed = run_span(runner, &open, fmax(off_s, begin_s), end_s, test->off_steps);
  }
  const struct sb_bench_span *last = &test->spans[test->span_count - 1];
  while (failed == 0 && runner->next < end) {
    put(runner, runner->speed_rad_s, last->voltage_v, last->is_open || off_s < end_s);
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

static long steps_for(double length_s, double tau_s, long least, long most)
{
  const double wanted = ceil(fmax(length_s, 0.0) / tau_s * steps_per_tau);
  return wanted < (double)least ? least : wanted > (double)most ? most : (long)wanted;
}

static enum sb_status make_grid(struct sb_bench_test *test, long most, struct sb_error *err)
{
  const size_t size = (size_t)most + 1;
  if (size <= test->grid_size) return SB_OK;
  free(test->grid);
  test->grid = malloc(size * sizeof *test->grid);
  test->grid_size = test->grid != NULL ? size : 0;
  return test->grid != NULL ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "%s: out of memory", test->log->path);
}

static long greater(long a, long b)
{
  return a > b ? a : b;
}

enum sb_status sb_dynamics_set_steps(struct sb_bench_test *test, const struct sb_model *machine, struct sb_error *err)
{
  struct sb_model open = *machine;
  open.motor.resistance_ohm = open_ohm;
  const double driven_s = sb_model_derive(machine).time_constant_s[test->gear + 1];
  const double open_s = sb_model_derive(&open).time_constant_s[test->gear + 1];
  const double end_s = last_time(test);
  const long least = test->span_count > 8 ? STEPS_MIN : SPAN_STEPS_MIN;
  long most = test->off_steps = steps_for(end_s - test->own[SB_OWN_OFF], open_s, SPAN_STEPS_MIN, STEPS_MAX);
  for (size_t k = 0; k < test->span_count; k++) {
    const double from_s = begin_of(test, test->own, k);
    const double to_s =
        fmin(k + 1 < test->span_count ? begin_of(test, test->own, k + 1) : end_s, test->own[SB_OWN_OFF]);
    test->spans[k].steps = steps_for(to_s - from_s, test->spans[k].is_open ? open_s : driven_s, least, STEPS_MAX);
    most = greater(most, test->spans[k].steps);
  }
  return make_grid(test, most, err);
}
