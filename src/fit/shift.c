// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Logs with shifts: one run of the simulator, in pieces from one command to the next.
 *
 * A log tells between which two rows a gear was left and the next one engaged. The instants themselves are the log's own
 * unknowns, held softly to the middle of that pause: taken from a row, half a row of error would go into every figure.
 * Where neutral has rows of its own, the simulated gear engages when the log's did, whatever the shifter's law says of it:
 * then nothing that is sought moves a jump across a reading, and the search meets no steps. Speeds in the two rows beside
 * an engagement, and currents in those beside a command or the start too, may stand on either side, and are left out.
 */
#include <math.h>

#include "fit/bench.h"
#include "shiftband/sim.h"

/* Steps in a time constant: Runge-Kutta is then good to 1e-6 of the speed. */
static const double steps_per_tau = 15.0;

/* A speed below this share of the greatest counts as rest where a log begins. */
static const double rest_share = 0.05;

/* Of a step, where commands fall together. */
static const double length_min_s = 1e-9;

/* Steps that differ by no more are one step: rows of a log are told to some digits. */
static const double same_step = 1e-9;

/* From one reading to the next. */
#define STEPS_MAX 20000.0

/* ---- what the log tells of gears ---- */

enum { NEUTRAL = -1, UNKNOWN = -2 };

/* Index of the gear in mesh in a row, NEUTRAL or UNKNOWN. */
static int gear_in(const struct sb_fit_log *log, size_t row)
{
  const double gear = log->columns[SB_FIT_GEAR][row];
  return isnan(gear) ? UNKNOWN : gear < 1.0 ? NEUTRAL : (int)gear - 1;
}

static bool has_neutral_rows(const struct sb_fit_log *log)
{
  for (size_t i = 0; i < log->row_count; i++) {
    if (gear_in(log, i) == NEUTRAL) return true;
  }
  return false;
}

static enum sb_status no_other_gear(const struct sb_fit_log *log, size_t row, struct sb_error *err)
{
  return sb_fail(err, SB_ERR_SCENARIO, "%s:%ld: gear: needs another gear after neutral, found gear %d as before it",
                 log->path, log->lines[row], gear_in(log, row) + 1);
}

static enum sb_status add_event(struct sb_bench_test *test, const struct sb_bench_event *event, struct sb_error *err)
{
  if (test->event_count == SB_BENCH_EVENT_MAX) {
    const int most = SB_BENCH_EVENT_MAX / (test->is_engagement_logged ? 2 : 1);
    return sb_fail(err, SB_ERR_SCENARIO,
                   "%s:%ld: gear: needs at most %d shifts in a log, found another; take its rows up to here",
                   test->log->path, test->log->lines[event->to_row], most);
  }
  test->events[test->event_count++] = *event;
  return SB_OK;
}

/* The last row from the beginning on in which the machine had hardly moved yet; row_count: it turns from the first on. */
static size_t find_resting_row(const struct sb_bench_test *test)
{
  const double *speeds = sb_bench_speeds(test->log);
  double greatest = 0.0;
  for (size_t i = test->first_row; i <= test->last_row; i++) greatest = fmax(greatest, speeds[i]);
  size_t row = test->first_row;
  if (speeds[row] > rest_share * greatest) return test->log->row_count;
  while (row < test->last_row && !(speeds[row + 1] > rest_share * greatest)) row++;
  return row;
}

enum sb_status sb_shift_find(const struct sb_model *model, struct sb_bench_test *test, struct sb_error *err)
{
  const struct sb_fit_log *log = test->log;
  size_t row = 0;
  while (row < log->row_count && gear_in(log, row) < 0) row++;
  if (row == log->row_count) return SB_OK;
  test->is_slipping = model->shifter.ops->plan(&model->shifter, 0.0).clutch_nm > 0.0;
  test->is_engagement_logged = has_neutral_rows(log) && !test->is_slipping;
  test->gear = gear_in(log, row);
  test->first_row = test->last_row = row;
  struct sb_bench_event command = {0};
  bool is_open = false;
  int gear = test->gear;
  for (size_t told = row; row < log->row_count; row++) { /* told: the last row that tells a gear */
    const int here = gear_in(log, row);
    if (here == UNKNOWN) continue;
    const struct sb_bench_event change = {.from_row = told, .to_row = row, .gear = here, .is_engaging = true};
    told = row;
    if (here != gear && !is_open) command = change;
    if (here >= 0 && (is_open || here != gear)) {
      enum sb_status status = here != gear ? SB_OK : no_other_gear(log, row, err);
      command.gear = here;
      command.is_engaging = false;
      if (status == SB_OK) status = add_event(test, &command, err);
      if (status == SB_OK && test->is_engagement_logged) status = add_event(test, &change, err);
      if (status != SB_OK) return status;
      gear = here;
    }
    is_open = here == NEUTRAL;
    if (!is_open) test->last_row = row;
  }
  test->resting_row = find_resting_row(test);
  return SB_OK;
}

int sb_shift_count(const struct sb_bench_test *test)
{
  int count = 0;
  for (size_t k = 0; k < test->event_count; k++) count += !test->events[k].is_engaging;
  return count;
}

bool sb_shift_is_wanted(const struct sb_bench_test *test, enum sb_fit_column column, size_t row)
{
  if (row < test->first_row || row > test->last_row) return false;
  const bool is_beside_start = row == test->resting_row || row == test->resting_row + 1;
  if (column == SB_FIT_CURRENT && is_beside_start) return false;
  for (size_t k = 0; k < test->event_count; k++) {
    const struct sb_bench_event *event = &test->events[k];
    if ((event->is_engaging || column == SB_FIT_CURRENT) && row >= event->from_row && row <= event->to_row)
      return false;
  }
  return true;
}

static double row_time(const struct sb_bench_test *test, size_t row)
{
  return test->log->columns[SB_FIT_TIME][row];
}

void sb_shift_set_own(struct sb_bench_test *test)
{
  const bool is_turning = test->resting_row == test->log->row_count;
  test->is_own_free[SB_OWN_SPEED] = is_turning;
  test->is_own_free[SB_OWN_START] = !is_turning;
  if (!is_turning) test->own[SB_OWN_SPEED] = 0.0;
  test->own[SB_OWN_START] = row_time(test, is_turning ? test->first_row : test->resting_row);
  for (size_t k = 0; k < test->event_count; k++) {
    struct sb_bench_event *event = &test->events[k];
    const double from_s = row_time(test, event->from_row), pause_s = row_time(test, event->to_row) - from_s;
    /* Where neutral has no row of its own, both instants are in one pause. */
    const bool is_first = !event->is_engaging && k + 1 < test->event_count && test->events[k + 1].is_engaging &&
                          test->events[k + 1].to_row == event->to_row;
    const bool is_second = event->is_engaging && k > 0 && test->events[k - 1].to_row == event->to_row;
    event->middle_s = from_s + pause_s * (is_first ? 0.3 : is_second ? 0.7 : 0.5);
    event->spread_s = pause_s;
    test->own[SB_OWN_EVENT + k] = event->middle_s;
    test->own_scale[SB_OWN_EVENT + k] = 4.0 * pause_s;
    test->is_own_free[SB_OWN_EVENT + k] = pause_s > 0.0;
  }
}

/* ---- the run ---- */

struct course {
  const struct sb_bench *bench;
  const struct sb_bench_test *test;
  struct sb_model model;
  struct sb_sim sim; /* of no model before the run has begun */
  int gear;          /* commanded last */
  int wanted;        /* to be commanded now */
  size_t next;       /* reading to be computed next */
  double *computed;
};

/* The next reading that belongs to times up to one; NULL: none is left there. */
static const struct sb_bench_reading *next_until(const struct course *course, double time_s)
{
  const struct sb_bench_test *test = course->test;
  if (course->next == test->first + test->count) return NULL;
  const struct sb_bench_reading *reading = &course->bench->readings[course->next];
  return row_time(test, reading->row) <= time_s ? reading : NULL;
}

/* Before the motor is switched on it keeps the speed it has. */
static void put_before(struct course *course, double start_s, double speed_rad_s)
{
  const double ratio = course->model.gearbox.gears[course->gear].ratio;
  const struct sb_bench_reading *reading;
  while ((reading = next_until(course, start_s)) != NULL) {
    course->computed[course->next++] = reading->column == SB_FIT_OUTPUT_SPEED ? speed_rad_s / ratio
                                       : reading->column == SB_FIT_CURRENT    ? 0.0
                                                                              : speed_rad_s;
  }
}

static void put_readings(struct course *course, double time_s)
{
  const struct sb_bench_reading *reading = next_until(course, time_s);
  if (reading == NULL) return;
  const struct sb_row row = sb_sim_row(&course->sim);
  for (; reading != NULL; reading = next_until(course, time_s)) {
    course->computed[course->next++] = fabs(reading->column == SB_FIT_OUTPUT_SPEED ? row.output_speed_rad_s
                                            : reading->column == SB_FIT_CURRENT    ? row.motor_current_a
                                                                                   : row.motor_speed_rad_s);
  }
}

/* Sets the run out anew from where it has come to, at another step, and gives the command that is due. */
static enum sb_status set_out(struct course *course, double step_s, struct sb_error *err)
{
  struct sb_state state = course->sim.state;
  const bool is_begun = course->sim.model != NULL;
  state.plan.engage_time_s -= state.time_s;
  state.step = 0; /* nothing on a bench depends on the time itself */
  state.time_s = state.load_time_s = 0.0;
  if (is_begun) sb_sim_clear(&course->sim);
  course->model.run.step_s = step_s;
  const enum sb_status status = sb_sim_init(&course->sim, &course->model, course->gear, err);
  if (status == SB_OK && is_begun) sb_sim_restore(&course->sim, &state);
  if (status == SB_OK && course->wanted != course->gear) sb_sim_command(&course->sim, course->gear = course->wanted);
  return status;
}

/* Goes on for so long and takes the readings of the time it comes to. */
static int go_on(struct course *course, double length_s, double time_s)
{
  struct sb_error err;
  enum sb_status status = SB_OK;
  const long steps = (long)fmin(fmax(ceil(length_s / course->test->shift_step_s - same_step), 1.0), STEPS_MAX);
  const double step_s = fmax(length_s, length_min_s) / (double)steps;
  const bool is_same = course->sim.model != NULL && course->wanted == course->gear &&
                       fabs(step_s - course->model.run.step_s) <= same_step * step_s;
  if (!is_same) status = set_out(course, step_s, &err);
  if (status == SB_OK && length_s > 0.0) {
    status = sb_sim_advance(&course->sim, course->sim.state.step + steps, &err);
  }
  if (status != SB_OK) return -1;
  put_readings(course, time_s);
  return 0;
}

/* From one command, or the log's beginning, to the next: from reading to reading. */
static int run_piece(struct course *course, double from_s, double to_s)
{
  double now_s = from_s;
  for (;;) {
    const struct sb_bench_reading *reading = next_until(course, to_s);
    const double then_s = reading != NULL ? fmax(row_time(course->test, reading->row), now_s) : to_s;
    if (go_on(course, then_s - now_s, then_s) != 0) return -1;
    now_s = then_s;
    if (reading == NULL) return 0;
  }
}

/* The next gear engages so long after its command, whatever the shifter's law. */
static void set_engagement(struct course *course, double delay_s)
{
  struct sb_shifter *shifter = &course->model.shifter;
  shifter->is_drive_cut = shifter->ops->plan(shifter, 0.0).is_drive_cut;
  shifter->ops = sb_shifter_kind_find("selector");
  shifter->travel_time_s = fmax(delay_s, 0.0);
}

/* Through all commands to the last row. */
static int run_log(struct course *course, const double *own)
{
  const struct sb_bench_test *test = course->test;
  double now_s = own[SB_OWN_START];
  put_before(course, now_s, own[SB_OWN_SPEED]);
  for (size_t k = 0; k < test->event_count; k++) {
    const struct sb_bench_event *event = &test->events[k];
    if (event->is_engaging) continue;
    const double then_s = fmax(own[SB_OWN_EVENT + k], now_s);
    if (run_piece(course, now_s, then_s) != 0) return -1;
    now_s = then_s;
    course->wanted = event->gear;
    if (test->is_engagement_logged) set_engagement(course, own[SB_OWN_EVENT + k + 1] - now_s);
  }
  return run_piece(course, now_s, fmax(row_time(test, test->last_row), now_s));
}

int sb_shift_compute(const struct sb_bench *bench, const struct sb_bench_test *test, const struct sb_model *machine,
                     const double *own, double *computed)
{
  const struct sb_gear *gear = &machine->gearbox.gears[test->gear];
  struct course course = {.bench = bench,
                          .test = test,
                          .model = *machine,
                          .gear = test->gear,
                          .wanted = test->gear,
                          .next = test->first,
                          .computed = computed};
  course.model.supply.open_circuit_voltage_v = test->spans[0].voltage_v;
  course.model.run.initial_output_speed_rad_s = gear->output_sense * own[SB_OWN_SPEED] / gear->ratio;
  const int failed = run_log(&course, own);
  sb_sim_clear(&course.sim);
  return failed;
}

void sb_shift_set_steps(struct sb_bench_test *test, const struct sb_model *machine)
{
  const double length_s = row_time(test, test->last_row) - test->own[SB_OWN_START];
  test->shift_step_s = sb_model_shortest_time_constant_s(machine) / steps_per_tau;
  test->spans[0].steps = (long)(length_s / test->shift_step_s) + (long)(test->last_row - test->first_row);
}
