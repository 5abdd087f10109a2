// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * First values for the search, by robust straight-line fits, which no single bad reading can lead astray:
 *
 *   points        w = w0 v - (w0 / Ts) T                 v = V / Vn
 *   currents      I = V / R - (ke / R) w
 *   driven        w = c + A (integral of v dt) - B (integral of w dt)        A = Ts / J,  A / B = w0
 *   coasting      w = c - F (t - t1) - b (integral of w dt)                  F = Tf / J
 *
 * The integrals turn the equations of motion into linear ones: J. Jacquelin, Regressions et equations integrales 2009
 * (from memory).
 */
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/shortage.h"
#include "fit/bench.h"
#include "fit/least_squares.h"

/* Part of the greatest speed below which a coasting motor may be at rest. */
static const double rest_share = 0.05;

/* Speeds that rise by more than this share of the no-load speed up to the greatest torque are no motor's. */
static const double rise_share = 0.1;

/* Rows of a linear problem, up to three terms. */
struct problem {
  size_t count, terms;
  double *rows, *y;
};

static void problem_clear(struct problem *problem)
{
  free(problem->rows);
  free(problem->y);
}

static bool problem_init(struct problem *problem, size_t most, size_t terms)
{
  *problem = (struct problem){.terms = terms};
  problem->rows = malloc((most + 1) * 3 * sizeof *problem->rows);
  problem->y = malloc((most + 1) * sizeof *problem->y);
  if (problem->rows != NULL && problem->y != NULL) return true;
  problem_clear(problem);
  sb_shortage_note();
  return false;
}

static void add_row(struct problem *problem, double a, double b, double c, double y)
{
  const double row[3] = {a, b, c};
  memcpy(problem->rows + problem->count * problem->terms, row, problem->terms * sizeof *row);
  problem->y[problem->count++] = y;
}

static bool solve_plainly(const struct problem *problem, double c[3])
{
  return problem->count > problem->terms && sb_least_squares_linear(problem->count, problem->terms, problem->rows,
                                                                    problem->y, c, NULL, NULL, NULL) == SB_OK;
}

static bool solve(const struct problem *problem, double c[3])
{
  if (problem->count <= problem->terms) return false;
  if (problem->count > problem->terms + 2 &&
      sb_least_squares_robust(problem->count, problem->terms, problem->rows, problem->y, c, NULL, NULL) == SB_OK) {
    return true;
  }
  return solve_plainly(problem, c);
}

/* What the logs say about the machine before the search; NAN: nothing. */
struct guess {
  double no_load_rad_s, stall_nm;
  double resistance_ohm, ke;
  double torque_per_inertia, damping_per_s;   /* A, B */
  double friction_per_inertia, viscous_per_s; /* F, b */
  double current_a;
  const char *rising; /* path of points whose speeds rise with the torque; NULL: none */
};

/* ---- points ---- */

static void guess_from_points(const struct sb_bench *bench, const struct sb_bench_test *test, struct guess *guess)
{
  const struct sb_log *log = test->log;
  const double *torques = log->columns[SB_LOG_TORQUE], *speeds = log->columns[SB_LOG_MOTOR_SPEED];
  struct problem line;
  double c[3];
  double greatest = 0.0, moment = 0.0;
  for (size_t i = 0; torques != NULL && i < log->count; i++) greatest = fmax(greatest, torques[i]);
  if (speeds != NULL && problem_init(&line, log->count, greatest > 0.0 ? 2 : 1)) {
    for (size_t i = 0; i < log->count; i++) {
      if (torques != NULL) moment = torques[i];
      if (isnan(speeds[i]) || isnan(moment)) continue;
      add_row(&line, sb_bench_voltage(bench, log, i) / bench->nominal_voltage_v, moment, 0.0, speeds[i]);
    }
    if (solve(&line, c) && c[0] > 0.0) {
      guess->no_load_rad_s = c[0];
      if (line.terms == 2 && c[1] < 0.0) guess->stall_nm = -c[0] / c[1];
      if (line.terms == 2 && c[1] * greatest > rise_share * c[0]) guess->rising = log->path;
    }
    problem_clear(&line);
  }
}

/* ---- currents ---- */

static void guess_from_currents(const struct sb_bench *bench, struct guess *guess)
{
  struct problem line;
  double c[3], greatest = 0.0;
  if (!problem_init(&line, bench->reading_count, 2)) return;
  for (size_t i = 0; i < bench->reading_count; i++) {
    const struct sb_bench_reading *reading = &bench->readings[i];
    const struct sb_log *log = bench->tests[reading->test].log;
    if (reading->column != SB_LOG_MOTOR_CURRENT) continue;
    greatest = fmax(greatest, reading->value);
    if (log->columns[SB_LOG_MOTOR_SPEED] == NULL || isnan(log->columns[SB_LOG_MOTOR_SPEED][reading->row])) continue;
    add_row(&line, sb_bench_voltage(bench, log, reading->row), -log->columns[SB_LOG_MOTOR_SPEED][reading->row], 0.0,
            reading->value);
  }
  if (greatest > 0.0) guess->current_a = greatest;
  if (solve(&line, c) && c[0] > 0.0 && c[1] > 0.0) {
    guess->resistance_ohm = 1.0 / c[0];
    guess->ke = c[1] / c[0];
  }
  problem_clear(&line);
}

/* ---- logs over time ---- */

/* Speeds with each replaced by the median of five: owned by the caller, NAN where none is near. */
static double *smoothed(const struct sb_bench_test *test, double to_motor)
{
  const struct sb_log *log = test->log;
  const double *speeds = log->columns[SB_LOG_MOTOR_SPEED], *outputs = log->columns[SB_LOG_OUTPUT_SPEED];
  const double *raw = speeds != NULL ? speeds : outputs, scale = speeds != NULL ? 1.0 : to_motor;
  double *smooth = malloc(log->count * sizeof *smooth);
  if (smooth == NULL) sb_shortage_note();
  for (size_t i = 0; smooth != NULL && i < log->count; i++) {
    double near[5];
    size_t n = 0;
    for (size_t k = i < 2 ? 0 : i - 2; k < log->count && k <= i + 2; k++) {
      if (!isnan(raw[k])) near[n++] = raw[k];
    }
    smooth[i] = n > 0 ? scale * gsl_stats_median(near, 1, n) : (double)NAN;
  }
  return smooth;
}

/* Whether the drive is on in a row, as far as the log's kind says. */
static bool is_driven(const struct sb_bench *bench, const struct sb_bench_test *test, size_t row)
{
  const double *duties = test->log->columns[SB_LOG_DUTY];
  switch (test->phase) {
    case SB_FIT_SPIN_UP: return true;
    case SB_FIT_COAST_DOWN: return false;
    case SB_FIT_BOTH: return test->log->time_s[row] < test->own[SB_OWN_OFF];
    case SB_FIT_PHASE_FIND: break;
  }
  return duties == NULL || duties[row] > 0.0 || bench->setup->is_braking;
}

struct stretch {
  size_t from, to;
};

/* The longest run of rows with the drive on (or off) and the speed above rest. */
static struct stretch find_stretch(const struct sb_bench *bench, const struct sb_bench_test *test, const double *speeds,
                                   bool wants_drive)
{
  struct stretch best = {0, 0}, now = {0, 0};
  const size_t count = test->log->count;
  double greatest = 0.0;
  for (size_t i = 0; i < count; i++) {
    if (speeds[i] > greatest) greatest = speeds[i];
  }
  for (size_t i = 0; i < count; i++) {
    const bool fits = is_driven(bench, test, i) == wants_drive && speeds[i] > rest_share * greatest;
    if (!fits) {
      now.from = i + 1;
      continue;
    }
    now.to = i + 1;
    if (now.to - now.from > best.to - best.from) best = now;
  }
  return best;
}

/* A long time at the end speed says nothing about the way there, and would outvote it: as many rows again stay. */
static struct stretch without_plateau(const double *speeds, struct stretch at)
{
  double greatest = 0.0;
  size_t there = at.from;
  for (size_t i = at.from; i < at.to; i++) greatest = fmax(greatest, speeds[i]);
  while (there < at.to && !(speeds[there] > 0.97 * greatest)) there++;
  const size_t rise = there - at.from + 4;
  if (there + rise < at.to) at.to = there + rise;
  return at;
}

/* w = c + c1 (integral of v) - c2 (integral of w), or with time for v and a minus. */
static bool fit_stretch(const struct sb_bench *bench, const struct sb_bench_test *test, const double *speeds,
                        struct stretch at, bool is_on, double c[3])
{
  struct problem line;
  double push = 0.0, turned = 0.0;
  const double *times = test->log->time_s;
  bool is_found = false;
  if (at.to < at.from + 6) return false;
  if (!problem_init(&line, at.to - at.from, 3)) return false;
  for (size_t i = at.from; i < at.to; i++) {
    if (i > at.from) {
      const double pause_s = times[i] - times[i - 1];
      push += is_on ? pause_s * sb_bench_voltage(bench, test->log, i - 1) / bench->nominal_voltage_v : -pause_s;
      turned += 0.5 * pause_s * (speeds[i] + speeds[i - 1]);
    }
    add_row(&line, 1.0, push, -turned, speeds[i]);
  }
  is_found = solve(&line, c);
  /* The bulk may be so quiet that the robust fit takes the motion itself for outliers. */
  const double length_s = times[at.to - 1] - times[at.from];
  if (is_on && !(is_found && c[1] > 0.0 && c[2] * length_s > 0.3)) is_found = solve_plainly(&line, c);
  problem_clear(&line);
  return is_found;
}

/* Squares that the straight fit of a coast-down leaves when the drive stays on at one speed up to row `last`. */
static double squares_of_lead_in(const struct sb_bench_test *test, const double *speeds, struct stretch at, size_t last)
{
  const double *times = test->log->time_s;
  struct problem line;
  double push = 0.0, turned = 0.0, c[3], sum = INFINITY;
  if (!problem_init(&line, at.to - at.from, 3)) return INFINITY;
  for (size_t i = at.from; i < at.to; i++) {
    if (i > last) {
      const double pause_s = times[i] - times[i - 1];
      push -= pause_s;
      turned += 0.5 * pause_s * (speeds[i] + speeds[i - 1]);
    }
    add_row(&line, 1.0, push, -turned, speeds[i]);
  }
  if (sb_least_squares_linear(line.count, line.terms, line.rows, line.y, c, NULL, &sum, NULL) != SB_OK) sum = INFINITY;
  problem_clear(&line);
  return sum;
}

/* Of rows first to end the one after which the drive was most likely switched off. */
static size_t best_lead_in(const struct sb_bench_test *test, const double *speeds, struct stretch at,
                           struct stretch among, size_t pace)
{
  size_t best = among.from;
  double least = INFINITY;
  for (size_t k = among.from; k < among.to; k += pace) {
    const double sum = squares_of_lead_in(test, speeds, at, k);
    if (!(sum < least)) continue;
    least = sum;
    best = k;
  }
  return best;
}

/*
 * The last row before the drive was switched off in a log that shows a coast-down: the first where the log begins after
 * that. A lead-in is taken for granted where it follows the rows better by Akaike's criterion: a log without one hardly
 * suffers from an instant that is sought, while one that is not sought leads all figures astray.
 */
static size_t find_lead_in(const struct sb_bench_test *test, const double *speeds, struct stretch at)
{
  enum { PART_COUNT = 48, LEAST = 8 };
  if (at.to < at.from + LEAST) return at.from;
  const size_t pace = (at.to - at.from) / PART_COUNT + 1, end = at.to - LEAST / 2;
  const size_t near = best_lead_in(test, speeds, at, (struct stretch){at.from, end}, pace);
  const size_t from = near < at.from + pace ? at.from : near - pace, to = near + pace < end ? near + pace : end;
  const size_t best = best_lead_in(test, speeds, at, (struct stretch){from, to}, 1);
  const double with = squares_of_lead_in(test, speeds, at, best);
  const double without = squares_of_lead_in(test, speeds, at, at.from);
  return (double)(at.to - at.from) * log(without / with) > 2.0 ? best : at.from;
}

/* When a first-order rise to `end` with a time constant began: the median over readings on the slope. */
static double rise_began(const struct sb_bench_test *test, const double *speeds, struct stretch at, double end_rad_s,
                         double tau_s)
{
  const double *times = test->log->time_s;
  double *begins = malloc((at.to - at.from + 1) * sizeof *begins);
  size_t n = 0;
  if (begins == NULL) sb_shortage_note();
  for (size_t i = at.from; begins != NULL && i < at.to; i++) {
    const double share = speeds[i] / end_rad_s;
    if (share > 0.05 && share < 0.8) begins[n++] = times[i] + tau_s * log(1.0 - share);
  }
  const double began = n > 0 ? gsl_stats_median(begins, 1, n) : times[at.from];
  free(begins);
  return began;
}

static void guess_from_motion(const struct sb_bench *bench, struct sb_bench_test *test, struct guess *guess)
{
  const struct sb_gearbox *box = bench->setup->model != NULL ? &bench->setup->model->gearbox : NULL;
  double *speeds = smoothed(test, box != NULL ? box->gears[test->gear].ratio : 1.0);
  double c[3];
  if (speeds == NULL) return;
  const struct stretch on = without_plateau(speeds, find_stretch(bench, test, speeds, true));
  struct stretch off = find_stretch(bench, test, speeds, false);
  if (test->phase == SB_FIT_COAST_DOWN && test->log->columns[SB_LOG_DUTY] == NULL) {
    const size_t last = find_lead_in(test, speeds, off);
    test->is_own_free[SB_OWN_START] = last > off.from;
    if (last > off.from) test->own[SB_OWN_START] = test->log->time_s[last];
    off.from = last;
  }
  if (fit_stretch(bench, test, speeds, on, true, c) && c[1] > 0.0 && c[2] > 0.0) {
    const double voltage_share = sb_bench_voltage(bench, test->log, on.from) / bench->nominal_voltage_v;
    if (isnan(guess->torque_per_inertia)) {
      guess->torque_per_inertia = c[1];
      guess->damping_per_s = c[2];
    }
    if (test->phase == SB_FIT_SPIN_UP || test->phase == SB_FIT_BOTH) {
      const double end_rad_s = c[1] / c[2] * voltage_share;
      if (test->is_own_free[SB_OWN_START])
        test->own[SB_OWN_START] = rise_began(test, speeds, on, end_rad_s, 1.0 / c[2]);
      test->own_scale[SB_OWN_START] = 0.1 / c[2];
    }
  }
  if (fit_stretch(bench, test, speeds, off, false, c) && isnan(guess->friction_per_inertia)) {
    guess->friction_per_inertia = fmax(c[1], 0.0);
    guess->viscous_per_s = fmax(c[2], 0.0);
  }
  free(speeds);
}

/* ---- together ---- */

static double or_else(double value, double other)
{
  return isnan(value) ? other : value;
}

static double known_value(const struct sb_bench *bench, enum sb_fit_figure_kind kind, double other)
{
  for (size_t k = 0; k < bench->setup->known_count; k++) {
    const struct sb_fit_known *known = &bench->setup->known[k];
    if (known->kind == kind) return 0.5 * (known->least + known->greatest);
  }
  return other;
}

static void set_bare(struct sb_bench *bench, const struct guess *guess)
{
  double *p = bench->p;
  const double w0 =
      known_value(bench, SB_FIT_NO_LOAD_SPEED,
                  or_else(guess->no_load_rad_s, or_else(guess->torque_per_inertia / guess->damping_per_s, 100.0)));
  const double per_inertia = or_else(guess->torque_per_inertia, 100.0 * w0);
  double inertia = known_value(bench, SB_FIT_ROTOR_INERTIA, 1e-5);
  const double stall_nm = known_value(bench, SB_FIT_STALL_TORQUE, or_else(guess->stall_nm, per_inertia * inertia));
  if (known_value(bench, SB_FIT_ROTOR_INERTIA, NAN) != inertia) inertia = stall_nm / per_inertia;

  double stall_a = bench->nominal_voltage_v / guess->resistance_ohm;
  stall_a = known_value(bench, SB_FIT_STALL_CURRENT, or_else(stall_a, or_else(3.0 * guess->current_a, 1.0)));
  double share = 1.0 - guess->ke * w0 / bench->nominal_voltage_v;
  const double viscous = or_else(guess->viscous_per_s, 0.0) * inertia;
  const double friction_nm = or_else(guess->friction_per_inertia, 0.0) * inertia;
  if (!(share > 0.0 && share < 0.9)) share = (friction_nm + viscous * w0) / (stall_nm + friction_nm);
  share = fmin(known_value(bench, SB_FIT_NO_LOAD_CURRENT, share * stall_a) / stall_a, 0.9);

  p[SB_FIT_P_NO_LOAD_SPEED] = w0;
  p[SB_FIT_P_STALL_TORQUE] = stall_nm;
  p[SB_FIT_P_STALL_CURRENT] = stall_a;
  p[SB_FIT_P_FRICTION_SHARE] = share;
  p[SB_FIT_P_ROTOR_INERTIA] = inertia;
  p[SB_FIT_P_MESH_EFFICIENCY] = 1.0;
  p[SB_FIT_P_LOAD_INERTIA] = inertia;
  p[SB_FIT_P_VISCOUS] = known_value(bench, SB_FIT_MOTOR_VISCOUS, fmin(viscous, 0.5 * stall_nm / w0));
}

static void set_from_scenario(struct sb_bench *bench)
{
  const struct sb_model *model = bench->setup->model;
  const struct sb_motor *motor = &model->motor;
  double *p = bench->p;
  p[SB_FIT_P_NO_LOAD_SPEED] = known_value(bench, SB_FIT_NO_LOAD_SPEED, motor->no_load_speed_rad_s);
  p[SB_FIT_P_STALL_TORQUE] = known_value(bench, SB_FIT_STALL_TORQUE, motor->stall_torque_nm);
  p[SB_FIT_P_STALL_CURRENT] = motor->has_currents ? motor->stall_current_a : 1.0;
  p[SB_FIT_P_FRICTION_SHARE] = motor->has_currents ? motor->no_load_current_a / motor->stall_current_a : 0.0;
  p[SB_FIT_P_ROTOR_INERTIA] = known_value(bench, SB_FIT_ROTOR_INERTIA, motor->rotor_inertia_kg_m2);
  p[SB_FIT_P_MESH_EFFICIENCY] =
      known_value(bench, SB_FIT_MESH_EFFICIENCY, model->gearbox.gears[0].meshes[0].efficiency);
  p[SB_FIT_P_LOAD_INERTIA] = known_value(bench, SB_FIT_LOAD_INERTIA, model->load.inertia_kg_m2);
  for (int k = model->load.part_count - 1; k >= 0; k--) { /* the first of its kind stays */
    const struct sb_load_part *part = &model->load.parts[k];
    if (part->ops == sb_load_kind_find("constant") && part->is_resisting) p[SB_FIT_P_LOAD_FRICTION] = part->torque_nm;
    if (part->ops == sb_load_kind_find("viscous")) p[SB_FIT_P_VISCOUS] = part->viscous_nms_rad;
  }
  p[SB_FIT_P_LOAD_FRICTION] = known_value(bench, SB_FIT_LOAD_FRICTION, p[SB_FIT_P_LOAD_FRICTION]);
  p[SB_FIT_P_VISCOUS] = known_value(bench, SB_FIT_LOAD_VISCOUS, p[SB_FIT_P_VISCOUS]);
  memcpy(bench->prior, p, sizeof bench->prior);
}

/* Sizes that matter for what may be zero: a tenth or a fifth of what the motor can do. */
void sb_bench_set_scales(struct sb_bench *bench)
{
  const double stall_nm = bench->p[SB_FIT_P_STALL_TORQUE], speed = bench->p[SB_FIT_P_NO_LOAD_SPEED];
  const double ratio = bench->setup->model != NULL ? bench->setup->model->gearbox.gears[0].ratio : 1.0;
  bench->scale[SB_FIT_P_FRICTION_SHARE] = 0.2;
  bench->scale[SB_FIT_P_VISCOUS] = 0.2 * stall_nm / speed * ratio * ratio;
  bench->scale[SB_FIT_P_LOAD_FRICTION] = 0.2 * stall_nm * ratio;
}

double sb_bench_cost(const struct sb_bench *bench, double *computed)
{
  struct sb_bench_place now = sb_bench_place_now(bench);
  double greatest[3 * SB_FIT_LOG_MAX] = {0}, sum = 0.0;
  if (sb_predict(bench, now.p, now.own, computed) != 0) return INFINITY;
  for (size_t i = 0; i < bench->reading_count; i++) {
    const int c = bench->readings[i].channel;
    greatest[c] = fmax(greatest[c], fabs(bench->readings[i].value));
  }
  for (size_t i = 0; i < bench->reading_count; i++) {
    const double off = fabs(computed[i] - bench->readings[i].value) / greatest[bench->readings[i].channel];
    sum += off < 0.1 ? off : 0.1;
  }
  return sum;
}

/* All that sets the pace of the motion and is free, times a factor. */
static void scale_pace(struct sb_bench *bench, const double *from, double factor)
{
  const bool is_bare = bench->setup->model == NULL;
  double *p = bench->p;
  if (bench->is_free[SB_FIT_P_ROTOR_INERTIA]) p[SB_FIT_P_ROTOR_INERTIA] = from[SB_FIT_P_ROTOR_INERTIA] * factor;
  if (bench->is_free[SB_FIT_P_LOAD_INERTIA]) p[SB_FIT_P_LOAD_INERTIA] = from[SB_FIT_P_LOAD_INERTIA] * factor;
  if (!is_bare || bench->is_free[SB_FIT_P_ROTOR_INERTIA] || !bench->is_free[SB_FIT_P_STALL_TORQUE]) return;
  p[SB_FIT_P_STALL_TORQUE] = from[SB_FIT_P_STALL_TORQUE] / factor;
}

/* The logs may move at quite another pace than guessed: the best of a few factors. */
static enum sb_status try_paces(struct sb_bench *bench, struct sb_error *err)
{
  static const double factors[] = {1.0, 0.3, 3.0, 0.1, 10.0};
  double *computed = malloc((bench->reading_count + 1) * sizeof *computed);
  if (computed == NULL) return sb_bench_no_memory(err);
  double from[SB_FIT_PARAMETER_COUNT], best = INFINITY, chosen = 1.0;
  memcpy(from, bench->p, sizeof from);
  for (size_t k = 0; k < sizeof factors / sizeof *factors; k++) {
    scale_pace(bench, from, factors[k]);
    const double bad = sb_bench_cost(bench, computed);
    if (!(bad < 0.9 * best)) continue; /* the first one stays unless another is clearly better */
    best = bad;
    chosen = factors[k];
  }
  scale_pace(bench, from, chosen);
  free(computed);
  return SB_OK;
}

enum sb_status sb_bench_start(struct sb_bench *bench, struct sb_error *err)
{
  struct guess guess = {NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN, NULL};
  if (bench->setup->model != NULL) {
    set_from_scenario(bench);
    sb_bench_set_scales(bench);
    for (int t = 0; t < bench->test_count; t++) {
      if (bench->tests[t].is_dynamic) guess_from_motion(bench, &bench->tests[t], &guess);
    }
    return try_paces(bench, err);
  }
  for (int t = 0; t < bench->test_count; t++) {
    if (bench->tests[t].is_dynamic) {
      guess_from_motion(bench, &bench->tests[t], &guess);
    } else {
      guess_from_points(bench, &bench->tests[t], &guess);
    }
  }
  if (guess.rising != NULL) {
    return sb_fail(
        err, SB_ERR_SCENARIO,
        "%s: speed: needs speeds that fall as the torque grows, found ones that rise; is a column, a unit or the direction of the load wrong?",
        guess.rising);
  }
  guess_from_currents(bench, &guess);
  set_bare(bench, &guess);
  sb_bench_set_scales(bench);
  return try_paces(bench, err);
}
