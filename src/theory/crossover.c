// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/crossover.h"

#include <math.h>

#include "base/constants.h"
#include "base/root.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

/* A pair of gears, and a difference of theirs that has a root. */
struct pair {
  const struct sb_model *model;
  struct sb_motor_line line;
  int slow, fast;
  double external_nm; /* while speeds are varied */
};

typedef double difference(double x, void *pair);

/* The first root from low to high, where a difference turns from below 0 to above; NAN: there is none. */
static double first_root(difference *function, struct pair *pair, double low, double high)
{
  enum { PIECES = 64 };
  double before = low;
  for (int k = 1; k <= PIECES; k++) {
    const double here = low + (high - low) * k / PIECES;
    if (function(before, pair) < 0.0 && function(here, pair) >= 0.0) {
      return sb_root_between(function, pair, before, here, NULL);
    }
    before = here;
  }
  return NAN;
}

static double output_rad_s(const struct pair *pair, int gear, double external_nm)
{
  return sb_steady_speed_rad_s(pair->model, &pair->line, gear, external_nm) / pair->model->gearbox.gears[gear].ratio;
}

/* How far the slower gear is ahead of the faster one under a load. */
static double slower_lead(double external_nm, void *context)
{
  const struct pair *pair = context;
  return output_rad_s(pair, pair->slow, external_nm) - output_rad_s(pair, pair->fast, external_nm);
}

static double turn_j(const struct sb_model *model, const struct sb_motor_line *line, int gear, double external_nm)
{
  const double n = model->gearbox.gears[gear].ratio;
  const double speed_rad_s = sb_steady_speed_rad_s(model, line, gear, external_nm);
  return speed_rad_s > 0.0 ? SB_TURN * n * sb_steady_power_w(model, line, gear, external_nm) / speed_rad_s : INFINITY;
}

double sb_crossover_turn_j(const struct sb_model *model, int gear, double external_nm)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  return turn_j(model, &line, gear, external_nm);
}

/* Energies nearer than this share of each other are equal. */
static const double same_share = 1e-11;

/* How much more the faster gear needs for a turn; at its stall, far more. */
static double faster_excess_j(double external_nm, void *context)
{
  const struct pair *pair = context;
  const double slow_j = turn_j(pair->model, &pair->line, pair->slow, external_nm);
  const double fast_j = turn_j(pair->model, &pair->line, pair->fast, external_nm);
  if (isinf(fast_j)) return isinf(slow_j) ? 0.0 : 1e9 * slow_j;
  return fabs(fast_j - slow_j) > same_share * slow_j ? fast_j - slow_j : 0.0;
}

static double acceleration(const struct pair *pair, int gear, double output_speed_rad_s)
{
  const struct sb_model *model = pair->model;
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double speed_rad_s = path->ratio * output_speed_rad_s;
  const double motor_nm = sb_motor_torque_nm(&pair->line, speed_rad_s);
  const double spare_nm = sb_torque_balance_output_nm(model, gear, motor_nm, speed_rad_s) - pair->external_nm;
  const double seen_kg_m2 = sb_model_driven_inertia_kg_m2(model, gear, model->load.inertia_kg_m2);
  return spare_nm / (seen_kg_m2 * path->ratio * path->ratio * path->efficiency);
}

/* How much better the faster gear accelerates at a speed of the output. */
static double faster_gain(double output_speed_rad_s, void *context)
{
  const struct pair *pair = context;
  return acceleration(pair, pair->fast, output_speed_rad_s) - acceleration(pair, pair->slow, output_speed_rad_s);
}

static bool is_controlled(const struct sb_model *model)
{
  return model->drive.mode == SB_DRIVE_SPEED_CONTROL;
}

/* The load that both gears carry on the straight line at the speed of the closed form; NAN: the line is bent there. */
static double straight_load_nm(const struct pair *pair)
{
  const struct sb_model *model = pair->model;
  const struct sb_motor_line *line = &pair->line;
  double given[2], fall[2];
  if (is_controlled(model) || line->limit_a > 0.0) return NAN;
  for (int k = 0; k < 2; k++) {
    const struct sb_gear *path = &model->gearbox.gears[pair->slow + k];
    const double k_nm = path->ratio * path->efficiency;
    given[k] = k_nm * (line->stall_nm - line->friction_nm - path->drag_nm);
    fall[k] = k_nm * path->ratio * line->slope_nms_rad;
  }
  const double output_speed_rad_s = (given[0] - given[1]) / (fall[0] - fall[1]);
  const struct sb_gear *slower = &model->gearbox.gears[pair->slow];
  const double speed_rad_s = slower->ratio * output_speed_rad_s;
  return sb_torque_balance_output_nm(model, pair->slow, sb_motor_torque_nm(line, speed_rad_s), speed_rad_s);
}

/* The greatest load that both carry, and one that is hardly any. */
static double greatest_nm(const struct pair *pair)
{
  return fmin(sb_steady_stall_nm(pair->model, &pair->line, pair->slow),
              sb_steady_stall_nm(pair->model, &pair->line, pair->fast));
}

static void find_speed(struct pair *pair, struct sb_crossover *out)
{
  const double most_nm = greatest_nm(pair);
  out->load_nm = straight_load_nm(pair);
  if (!(out->load_nm >= 0.0 && out->load_nm <= most_nm)) out->load_nm = first_root(slower_lead, pair, 0.0, most_nm);
  if (isnan(out->load_nm)) {
    out->ahead = slower_lead(0.5 * most_nm, pair) > 0.0 ? SB_AHEAD_SLOWER : SB_AHEAD_FASTER;
    return;
  }
  out->output_speed_rad_s = output_rad_s(pair, pair->slow, out->load_nm);
  out->slower_reading = sb_steady_reading(pair->model, &pair->line, pair->slow, out->load_nm);
  out->faster_reading = sb_steady_reading(pair->model, &pair->line, pair->fast, out->load_nm);
}

static void find_energy(struct pair *pair, struct sb_crossover *out)
{
  static const double hardly_any = 1e-6;
  const double most_nm = greatest_nm(pair);
  out->energy_load_nm = first_root(faster_excess_j, pair, hardly_any * most_nm, most_nm);
  out->energy_j = turn_j(pair->model, &pair->line, pair->slow, out->energy_load_nm);
  /* A held current lets the motor stall all at once: what is no more equal there never was. */
  if (fabs(faster_excess_j(out->energy_load_nm, pair)) > 1e-6 * out->energy_j) out->energy_load_nm = NAN;
  if (isnan(out->energy_load_nm)) {
    const double excess_j = faster_excess_j(0.5 * most_nm, pair);
    out->cheaper = excess_j > 0.0 ? SB_AHEAD_SLOWER : excess_j < 0.0 ? SB_AHEAD_FASTER : SB_AHEAD_NEITHER;
    out->energy_j = NAN;
  }
}

static void find_acceleration(struct pair *pair, struct sb_crossover *out)
{
  const struct sb_gear *slower = &pair->model->gearbox.gears[pair->slow];
  double heaviest_nm, fastest_rad_s = sb_motor_no_load_speed_rad_s(&pair->line) / slower->ratio;
  sb_load_range_nm(&pair->model->load, pair->model->run.duration_s, &pair->external_nm, &heaviest_nm);
  if (is_controlled(pair->model)) fastest_rad_s = fmin(fastest_rad_s, pair->model->drive.target_rad_s / slower->ratio);
  out->acceleration_speed_rad_s = first_root(faster_gain, pair, 0.0, fastest_rad_s);
}

struct sb_crossover sb_crossover_solve(const struct sb_model *model, int slow)
{
  struct pair pair = {.model = model, .line = sb_torque_balance_line(model), .slow = slow, .fast = slow + 1};
  struct sb_crossover out = {.output_speed_rad_s = NAN,
                             .slower_reading = NAN,
                             .faster_reading = NAN,
                             .energy_j = NAN,
                             .ahead = SB_AHEAD_NEITHER,
                             .cheaper = SB_AHEAD_NEITHER};
  find_speed(&pair, &out);
  find_energy(&pair, &out);
  find_acceleration(&pair, &out);
  return out;
}
