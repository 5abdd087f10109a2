// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Which measurement would determine it: each candidate is a computed reading with its gradient. Added to the information that
 * the logs have, it leaves the parameters some deviation; the one that leaves the least to the worst of them is advised.
 * What is known before any log is a factor of e^10 either way.
 */
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "fit/estimate.h"

static const double before_sd = 10.0;
static const double candidate_sd = 0.03; /* of a reading on a simple bench, relative */
static const double known_sd = 0.3;      /* a parameter this well known counts as determined */
static const double move = 1e-4;

enum { VALUE_MAX = 2, TERM_MAX = SB_FIT_PARAMETER_COUNT };

struct candidate {
  bool is_bare;
  bool needs_currents; /* of use only where currents are a part of the fit */
  const char *text;
  /* Readings of the machine that the parameters make; measurements are planned at the bench's own. */
  void (*value)(const struct sb_bench *bench, const struct sb_model *machine, const double *p, double out[VALUE_MAX]);
};

/* A torque that any machine near the present one can turn: half of what the motor can do. */
static double planned_nm(const struct sb_bench *bench)
{
  return 0.5 * bench->p[SB_FIT_P_STALL_TORQUE];
}

static void coast(const struct sb_bench *bench, const struct sb_model *machine, const double *p, double out[VALUE_MAX])
{
  const double friction = sb_bench_figure(bench, p, SB_FIT_FRICTION_OVER_INERTIA);
  const double viscous = p[SB_FIT_P_VISCOUS] / p[SB_FIT_P_ROTOR_INERTIA];
  (void)machine;
  out[0] = friction + viscous * bench->p[SB_FIT_P_NO_LOAD_SPEED];
  out[1] = friction + 0.3 * viscous * bench->p[SB_FIT_P_NO_LOAD_SPEED];
}

static void no_load_current(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                            double out[VALUE_MAX])
{
  (void)machine;
  out[0] = out[1] = sb_bench_figure(bench, p, SB_FIT_NO_LOAD_CURRENT);
}

static void stall_current(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                          double out[VALUE_MAX])
{
  (void)bench;
  (void)machine;
  out[0] = out[1] = p[SB_FIT_P_STALL_CURRENT];
}

/* Steady-state speed of the output under the planned weight. */
static double weighed_rad_s(const struct sb_bench *bench, const struct sb_model *machine, int gear)
{
  const double ratio = machine->gearbox.gears[gear].ratio;
  return sb_predict_speed_rad_s(machine, gear, bench->nominal_voltage_v, planned_nm(bench) * ratio) / ratio;
}

static void weight(const struct sb_bench *bench, const struct sb_model *machine, const double *p, double out[VALUE_MAX])
{
  (void)p;
  out[0] = out[1] = weighed_rad_s(bench, machine, 0);
}

static void weight_in_last(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                           double out[VALUE_MAX])
{
  (void)p;
  out[0] = out[1] = weighed_rad_s(bench, machine, machine->gearbox.gear_count - 1);
}

static void half_voltage(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                         double out[VALUE_MAX])
{
  (void)p;
  out[0] = sb_predict_speed_rad_s(machine, 0, 0.5 * bench->nominal_voltage_v, 0.0);
  out[1] = sb_predict_speed_rad_s(machine, 0, bench->nominal_voltage_v, 0.0);
}

static void spin_up(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                    double out[VALUE_MAX])
{
  (void)bench;
  (void)machine;
  out[0] = p[SB_FIT_P_ROTOR_INERTIA] * p[SB_FIT_P_NO_LOAD_SPEED] / p[SB_FIT_P_STALL_TORQUE];
  out[1] = p[SB_FIT_P_NO_LOAD_SPEED];
}

static void disc(const struct sb_bench *bench, const struct sb_model *machine, const double *p, double out[VALUE_MAX])
{
  (void)machine;
  const double inertia = p[SB_FIT_P_ROTOR_INERTIA] + 2.0 * bench->p[SB_FIT_P_ROTOR_INERTIA];
  out[0] = out[1] = inertia * p[SB_FIT_P_NO_LOAD_SPEED] / p[SB_FIT_P_STALL_TORQUE];
}

/* In the last gear: time constant and steady-state speed. */
static void spin_up_in_gear(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                            double out[VALUE_MAX])
{
  (void)p;
  const int last = machine->gearbox.gear_count - 1;
  out[0] = sb_model_derive(machine).time_constant_s[last + 1];
  out[1] = sb_predict_speed_rad_s(machine, last, bench->nominal_voltage_v, 0.0);
}

static void output_coast(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                         double out[VALUE_MAX])
{
  const double speed = bench->p[SB_FIT_P_NO_LOAD_SPEED] / machine->gearbox.gears[0].ratio;
  out[0] = (p[SB_FIT_P_LOAD_FRICTION] + p[SB_FIT_P_VISCOUS] * speed) / p[SB_FIT_P_LOAD_INERTIA];
  out[1] = (p[SB_FIT_P_LOAD_FRICTION] + 0.3 * p[SB_FIT_P_VISCOUS] * speed) / p[SB_FIT_P_LOAD_INERTIA];
}

static void motor_alone(const struct sb_bench *bench, const struct sb_model *machine, const double *p,
                        double out[VALUE_MAX])
{
  (void)p;
  const struct sb_supply supply = {.open_circuit_voltage_v = bench->nominal_voltage_v};
  const struct sb_motor_line line = sb_motor_line_driven(&machine->motor, &supply, 1.0);
  out[0] = (line.stall_nm - line.friction_nm - planned_nm(bench)) / line.slope_nms_rad;
  out[1] = (line.stall_nm - line.friction_nm) / line.slope_nms_rad;
}

/* The easiest first: of two that do as well, the first is advised. */
static const struct candidate candidates[] = {
    {true, false,
     "log a coast-down: run the motor without load, open its circuit, and log the speed until the motor is at rest",
     coast},
    {true, false, "log a spin-up from rest at a known voltage", spin_up},
    {true, true, "run the motor without load at a known voltage and read its current", no_load_current},
    {true, false,
     "hang a known weight on a drum (or press a spring balance on a lever) and note torque and speed at one point "
     "near half the no-load speed",
     weight},
    {true, false, "log a second spin-up with a disc of known inertia on the shaft (column added_inertia)", disc},
    {true, true, "lock the shaft for a moment at a known voltage and read the current (it heats fast)", stall_current},
    {true, false, "also measure the no-load speed at half the voltage", half_voltage},
    {false, false, "log a coast-down of the output in neutral", output_coast},
    {false, false, "log a spin-up in the last gear", spin_up_in_gear},
    {false, false, "log a spin-up of the motor alone, disconnected from the gears", spin_up},
    {false, false, "hang a known weight on a drum at the output in gear 1 and note its speed", weight},
    {false, false, "hang a known weight on a drum at the output in the last gear and note its speed", weight_in_last},
    {false, false, "measure one point with a known weight on the motor's own shaft, disconnected from the gears",
     motor_alone},
};

enum { CANDIDATE_COUNT = sizeof candidates / sizeof *candidates };

struct information {
  size_t terms;
  double normal[TERM_MAX][TERM_MAX];
};

/* What a candidate would read; false: the parameters make no machine. */
static bool read_at(const struct candidate *candidate, const struct sb_bench *bench, const double *p,
                    double out[VALUE_MAX])
{
  struct sb_model machine;
  if (!sb_bench_machine(bench, p, 0.0, &machine)) return false;
  candidate->value(bench, &machine, p, out);
  return true;
}

/* The same with one parameter moved from where it is. */
static bool read_beside(const struct candidate *candidate, const struct sb_bench *bench, int parameter, double by,
                        double out[VALUE_MAX])
{
  double p[SB_FIT_PARAMETER_COUNT];
  memcpy(p, bench->p, sizeof p);
  p[parameter] = sb_bench_is_positive(parameter) ? p[parameter] * exp(by) : p[parameter] + by * bench->scale[parameter];
  return read_at(candidate, bench, p, out);
}

/* Adds the information of a candidate; of one whose reading cannot be told there is none. */
static void add_candidate(struct information *info, const struct sb_bench *bench, const struct candidate *candidate)
{
  double gradient[VALUE_MAX][TERM_MAX], at[VALUE_MAX], ahead[VALUE_MAX], back[VALUE_MAX];
  size_t j = 0;
  if (!read_at(candidate, bench, bench->p, at)) return;
  for (int k = 0; k < SB_FIT_PARAMETER_COUNT; k++) {
    if (!bench->is_free[k]) continue;
    if (!read_beside(candidate, bench, k, move, ahead) || !read_beside(candidate, bench, k, -move, back)) return;
    for (int v = 0; v < VALUE_MAX; v++) gradient[v][j] = (ahead[v] - back[v]) / (2.0 * move);
    j++;
  }
  for (int v = 0; v < VALUE_MAX; v++) {
    /* A reading near zero still has an error: that of a tenth of what its parameters can do. */
    double size = fabs(at[v]);
    for (size_t k = 0; k < info->terms; k++) size = fmax(size, 0.1 * fabs(gradient[v][k]));
    if (!(size > 0.0) || !isfinite(size)) continue;
    const double weight_of = 1.0 / pow(candidate_sd * size, 2.0);
    for (size_t a = 0; a < info->terms; a++) {
      for (size_t b = 0; b < info->terms; b++) info->normal[a][b] += weight_of * gradient[v][a] * gradient[v][b];
    }
  }
}

/* Deviations that the information leaves: of the worst known parameter, or along a direction, in its length. */
static double sd_left(const struct information *info, const double *direction)
{
  SB_GSL_QUIET;
  const size_t n = info->terms;
  double copy[TERM_MAX * TERM_MAX], worst = 0.0, along = 0.0;
  for (size_t a = 0; a < n; a++) {
    for (size_t b = 0; b < n; b++) {
      copy[a * n + b] = info->normal[a][b] + (a == b ? 1.0 / (before_sd * before_sd) : 0.0);
    }
  }
  gsl_matrix_view view = gsl_matrix_view_array(copy, n, n);
  if (gsl_linalg_cholesky_decomp1(&view.matrix) != GSL_SUCCESS) return before_sd;
  if (gsl_linalg_cholesky_invert(&view.matrix) != GSL_SUCCESS) return before_sd;
  for (size_t a = 0; a < n; a++) {
    worst = fmax(worst, sqrt(gsl_matrix_get(&view.matrix, a, a)));
    for (size_t b = 0; direction != NULL && b < n; b++) {
      along += direction[a] * gsl_matrix_get(&view.matrix, a, b) * direction[b];
    }
  }
  return direction == NULL ? worst : sqrt(along);
}

/* What the logs say about the parameters when nothing is known of their own unknowns: the Schur complement. */
static void gather(struct information *info, const struct sb_estimate *estimate)
{
  const struct sb_bench *bench = estimate->bench;
  const size_t all = estimate->terms;
  double full[64][64];
  *info = (struct information){0};
  for (int k = 0; k < SB_FIT_PARAMETER_COUNT; k++) info->terms += bench->is_free[k];
  if (all > 64) return;
  memset(full, 0, sizeof full);
  for (size_t i = 0; i < estimate->rows; i++) {
    const double *row = estimate->jacobian + i * all;
    for (size_t a = 0; a < all; a++) {
      for (size_t b = 0; b < all; b++) full[a][b] += estimate->weights[i] * row[a] * row[b];
    }
  }
  for (size_t k = all; k-- > info->terms;) { /* one of the logs' own unknowns after the other is eliminated */
    const double unit = full[k][k];
    for (size_t a = 0; a < k && unit > 0.0; a++) {
      for (size_t b = 0; b < k; b++) full[a][b] -= full[a][k] * full[k][b] / unit;
    }
  }
  for (size_t a = 0; a < info->terms; a++) {
    for (size_t b = 0; b < info->terms; b++) info->normal[a][b] = full[a][b];
  }
}

/* The candidate after which the deviation is least; -1 when none makes it clearly less. */
static int best_candidate(const struct information *info, const struct sb_bench *bench, const double *direction,
                          const bool *is_used)
{
  int best = -1;
  double best_sd = sd_left(info, direction);
  for (int k = 0; k < CANDIDATE_COUNT; k++) {
    if (candidates[k].is_bare != (bench->setup->model == NULL) || is_used[k]) continue;
    if (candidates[k].needs_currents && !bench->has_currents) continue;
    struct information with = *info;
    add_candidate(&with, bench, &candidates[k]);
    const double sd = sd_left(&with, direction);
    if (!(sd < 0.8 * best_sd)) continue; /* clearly better than an easier one */
    best = k;
    best_sd = sd;
  }
  return best;
}

const char *sb_advise_on(const struct sb_estimate *estimate, const double *direction)
{
  const bool is_used[CANDIDATE_COUNT] = {false};
  struct information info;
  gather(&info, estimate);
  const int best = info.terms > 0 ? best_candidate(&info, estimate->bench, direction, is_used) : -1;
  return best >= 0 ? candidates[best].text : NULL;
}

size_t sb_advise(const struct sb_estimate *estimate, const char **advice)
{
  bool is_used[CANDIDATE_COUNT] = {false};
  struct information info;
  size_t count = 0;
  gather(&info, estimate);
  if (info.terms == 0) return 0;
  do {
    const int best = best_candidate(&info, estimate->bench, NULL, is_used);
    if (best < 0) break;
    is_used[best] = true;
    advice[count++] = candidates[best].text;
    add_candidate(&info, estimate->bench, &candidates[best]);
  } while (sd_left(&info, NULL) > known_sd && count < SB_FIT_ADVICE_MAX);
  return count;
}
