// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/discharge.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "base/root.h"
#include "shiftband/closed_form.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

#define TIME_MAX 1e9 /* s, far beyond any delay */

enum { ROOT_ITERATION_MAX = 200 };

const char *sb_discharge_words(enum sb_discharge_kind kind)
{
  static const char *const words[] = {
#define DISCHARGE_WORDS(code, text) text,
      SB_DISCHARGE_LIST(DISCHARGE_WORDS)
#undef DISCHARGE_WORDS
  };
  return words[kind];
}

bool sb_discharge_is_of_pair(enum sb_discharge_kind kind)
{
  return kind == SB_DISCHARGE_STUCK_LOW || kind == SB_DISCHARGE_NEEDLESS_DOWNSHIFT || kind == SB_DISCHARGE_HUNTING;
}

int sb_discharge_subject_count(enum sb_discharge_kind kind, int gear_count)
{
  if (kind == SB_DISCHARGE_CUT_STARTING) return 1;
  return sb_discharge_is_of_pair(kind) ? gear_count - 1 : gear_count;
}

void sb_discharge_set(struct sb_model *model, double charge_fraction)
{
  assert(model->battery.is_present);
  model->battery.charge_fraction = charge_fraction;
  model->supply.open_circuit_voltage_v = sb_battery_voltage_v(&model->battery, charge_fraction);
}

/* One search: the model at a charge, and the loads of the scenario, which do not depend on the charge. */
struct search {
  struct sb_model model;
  double lightest_nm;
  double heaviest_nm;
  struct sb_load_moment lightest;
  int index; /* gear or pair */
};

/* A curve over the charge. */
typedef double curve_fn(struct search *search, double charge);

static struct sb_motor_line line_at(struct search *search, double charge)
{
  sb_discharge_set(&search->model, charge);
  return sb_torque_balance_line(&search->model);
}

/* Roots are searched between finite values: a gear that can't be driven backwards carries any torque, and some readings
 * occur under no torque at all. */
static double bounded(const struct search *search, double torque_nm)
{
  const double most_nm = 1e9 * search->model.motor.stall_torque_nm;
  return fmax(fmin(torque_nm, most_nm), -most_nm);
}

static double carried_nm(struct search *search, double charge, int gear, double reading)
{
  const struct sb_motor_line line = line_at(search, charge);
  return bounded(search, sb_steady_load_nm(&search->model, &line, gear, reading));
}

static double downshift_nm(struct search *search, double charge)
{
  return carried_nm(search, charge, search->index + 1, search->model.control.downshift_fraction[search->index]);
}

static double upshift_nm(struct search *search, double charge)
{
  return carried_nm(search, charge, search->index, search->model.control.upshift_fraction[search->index]);
}

/* Torque of the motor at a threshold, less the gear's drag: where it crosses zero, the carried torque has a corner. */
static double given_nm(struct search *search, double charge, int gear, double reading)
{
  const struct sb_motor_line line = line_at(search, charge);
  const double motor_nm = sb_steady_point(&search->model, &line, reading).motor_nm;
  return bounded(search, motor_nm - search->model.gearbox.gears[gear].drag_nm);
}

static double given_at_downshift_nm(struct search *search, double charge)
{
  return given_nm(search, charge, search->index + 1, search->model.control.downshift_fraction[search->index]);
}

static double given_at_upshift_nm(struct search *search, double charge)
{
  return given_nm(search, charge, search->index, search->model.control.upshift_fraction[search->index]);
}

/* The heaviest load less the load that drives the motor so hard that its current keeps the reading down. */
static double heaviest_over_helping_nm(struct search *search, double charge, int gear, double reading)
{
  const struct sb_motor_line line = line_at(search, charge);
  return search->heaviest_nm - bounded(search, sb_steady_helping_nm(&search->model, &line, gear, reading));
}

static double upshift_over_lightest_nm(struct search *search, double charge)
{
  const double upshift = search->model.control.upshift_fraction[search->index];
  return fmin(upshift_nm(search, charge) - search->lightest_nm,
              heaviest_over_helping_nm(search, charge, search->index, upshift));
}

static double downshift_over_lightest_nm(struct search *search, double charge)
{
  const double downshift = search->model.control.downshift_fraction[search->index];
  return fmin(downshift_nm(search, charge) - search->lightest_nm,
              heaviest_over_helping_nm(search, charge, search->index + 1, downshift));
}

static double downshift_over_heaviest_nm(struct search *search, double charge)
{
  return downshift_nm(search, charge) - search->heaviest_nm;
}

static double downshift_over_upshift_nm(struct search *search, double charge)
{
  return downshift_nm(search, charge) - upshift_nm(search, charge);
}

static double stall_over_heaviest_nm(struct search *search, double charge)
{
  const struct sb_motor_line line = line_at(search, charge);
  const struct sb_gear *gear = &search->model.gearbox.gears[search->index];
  return gear->ratio * gear->efficiency * (sb_motor_stall_torque_nm(&line) - gear->drag_nm) - search->heaviest_nm;
}

/* The battery's voltage under load over its cut-off, in the steady state of a gear under a load from outside. */
static double over_cutoff_v(struct search *search, double charge, double external_nm)
{
  const struct sb_motor_line line = line_at(search, charge);
  return sb_steady_supply_v(&search->model, &line, search->index, external_nm) - search->model.battery.cutoff_v;
}

/* Speed from which on a held current sags the supply by more than a voltage; 0: from standstill. */
static double speed_of_draw_rad_s(const struct sb_model *model, double sag_v, double held_a)
{
  const struct sb_motor *motor = &model->motor;
  const double duty = sag_v / (model->supply.internal_resistance_ohm * held_a);
  const double motor_v = duty * (model->supply.open_circuit_voltage_v - sag_v);
  return fmax((motor_v - motor->resistance_ohm * held_a) / motor->ke_vs_rad, 0.0);
}

/*
 * Over zero: a start from rest at the limit's duty, under the lightest load, gets the motor soon enough to the speed at which
 * the battery is back at its cut-off, before the cut-off's delay is over (in s; beyond that only the sign counts). Where a
 * ramp or the speed controller reduces the duty by then, only the steady state is certain.
 */
static double over_cutoff_starting(struct search *search, double charge)
{
  const struct sb_motor_line line = line_at(search, charge);
  const struct sb_model *model = &search->model;
  const struct sb_drive *drive = &model->drive;
  const struct sb_battery *battery = &model->battery;
  const double spare_v = model->supply.open_circuit_voltage_v - battery->cutoff_v;
  const double resistance_ohm = model->supply.internal_resistance_ohm * line.duty;
  const int gear = model->control.start_gear - 1;
  if (!(resistance_ohm > 0.0)) return spare_v;
  const double back_rad_s = (line.stall_a - spare_v / resistance_ohm) / line.slope_as_rad;
  /* A held current draws most of the battery at the corner. */
  if (line.limit_a > 0.0 && resistance_ohm * line.limit_a < spare_v) return spare_v - resistance_ohm * line.limit_a;
  if (!(back_rad_s > 0.0)) return battery->cutoff_delay_s - back_rad_s;
  const bool is_held = drive->mode == SB_DRIVE_SPEED_CONTROL &&
                       drive->gain_per_rad_s * (drive->target_rad_s - back_rad_s) < drive->limit_fraction;
  if (drive->ramp_s > 0.0 || is_held) {
    return sb_steady_supply_v(model, &line, gear, search->lightest_nm) - battery->cutoff_v;
  }
  const double low_rad_s = line.limit_a > 0.0 ? speed_of_draw_rad_s(model, spare_v, line.limit_a) : 0.0;
  const double climb_s = sb_theory_climb_s(model, &line, gear, &search->lightest, low_rad_s, back_rad_s);
  return fmax(battery->cutoff_delay_s - climb_s, -TIME_MAX);
}

static double over_cutoff_lightest_v(struct search *search, double charge)
{
  return over_cutoff_v(search, charge, search->lightest_nm);
}

static double over_cutoff_heaviest_v(struct search *search, double charge)
{
  return over_cutoff_v(search, charge, search->heaviest_nm);
}

/* Some load of the scenario lies in the hunting band where this is <= 0. */
static double clear_of_hunting_nm(struct search *search, double charge)
{
  const double below = fmax(downshift_over_upshift_nm(search, charge), downshift_over_heaviest_nm(search, charge));
  return fmax(below, -upshift_over_lightest_nm(search, charge));
}

/* How a kind is found: the trouble is present where its margin is <= 0, between roots of the margin and of the curves of
 * which it consists, in the order in which they are searched. A curve comes before those that have corners at its roots. */
static const struct kind {
  curve_fn *parts[6]; /* NULL ends them */
  curve_fn *margin;
} kinds[SB_DISCHARGE_KIND_COUNT] = {
    [SB_DISCHARGE_STUCK_LOW] = {.parts = {given_at_upshift_nm}, .margin = upshift_over_lightest_nm},
    [SB_DISCHARGE_NEEDLESS_DOWNSHIFT] = {.parts = {given_at_downshift_nm}, .margin = downshift_over_lightest_nm},
    [SB_DISCHARGE_HUNTING] = {.parts = {given_at_downshift_nm, given_at_upshift_nm, downshift_over_heaviest_nm,
                                        upshift_over_lightest_nm, downshift_over_upshift_nm},
                              .margin = clear_of_hunting_nm},
    [SB_DISCHARGE_STALL] = {.margin = stall_over_heaviest_nm},
    [SB_DISCHARGE_CUT_STARTING] = {.margin = over_cutoff_starting},
    [SB_DISCHARGE_CUT_LIGHTEST] = {.margin = over_cutoff_lightest_v},
    [SB_DISCHARGE_CUT_HEAVIEST] = {.parts = {stall_over_heaviest_nm}, .margin = over_cutoff_heaviest_v},
};

/* Charges that cut the discharge into intervals, rising. */
struct cuts {
  size_t count, room;
  double *at; /* owned */
};

/* Inserts a cut; one that is there already is left out. False when memory ran out. */
static bool insert(struct cuts *cuts, double charge)
{
  size_t k = cuts->count;
  while (k > 0 && cuts->at[k - 1] > charge) k--;
  if (k > 0 && cuts->at[k - 1] == charge) return true;
  if (!sb_grow(&cuts->at, &cuts->room, cuts->count, sizeof *cuts->at)) return false;
  for (size_t j = cuts->count; j > k; j--) cuts->at[j] = cuts->at[j - 1];
  cuts->at[k] = charge;
  cuts->count++;
  return true;
}

/* Empty, full, and the curve's points between. */
static bool cut_at_points(struct cuts *cuts, const struct sb_table *curve)
{
  bool is_fit = insert(cuts, 0.0) && insert(cuts, 1.0);
  for (size_t k = 0; is_fit && k < curve->count; k++) {
    if (curve->x[k] > 0.0 && curve->x[k] < 1.0) {
      is_fit = insert(cuts, curve->x[k]);
    }
  }
  return is_fit;
}

struct root_call {
  struct search *search;
  curve_fn *curve;
};

static double call_curve(double charge, void *params)
{
  const struct root_call *call = params;
  return call->curve(call->search, charge);
}

/* The root between two charges at which the curve has different signs. */
static double root_between(struct search *search, curve_fn *curve, double low, double high)
{
  struct root_call call = {search, curve};
  const struct sb_root_wanted wanted = {1e-14, 0.0, ROOT_ITERATION_MAX};
  const double root = sb_root_between(call_curve, &call, low, high, &wanted);
  return isnan(root) ? 0.5 * (low + high) : root;
}

/* Adds the roots of a curve, one at most in each interval. */
static bool cut_at_roots(struct cuts *cuts, struct search *search, curve_fn *curve)
{
  struct cuts found = {0};
  bool is_fit = true;
  double low_value = curve(search, cuts->at[0]);
  for (size_t k = 1; is_fit && k < cuts->count; k++) {
    const double high_value = curve(search, cuts->at[k]);
    if ((low_value < 0.0 && high_value > 0.0) || (low_value > 0.0 && high_value < 0.0)) {
      is_fit = insert(&found, root_between(search, curve, cuts->at[k - 1], cuts->at[k]));
    }
    low_value = high_value;
  }
  for (size_t k = 0; is_fit && k < found.count; k++) is_fit = insert(cuts, found.at[k]);
  free(found.at);
  return is_fit;
}

/* Walks from full to empty and joins neighbouring intervals in which the trouble is there. */
static void join_spans(const struct cuts *cuts, struct search *search, enum sb_discharge_kind kind,
                       struct sb_discharge *out)
{
  struct sb_discharge_span *open = NULL;
  for (size_t k = cuts->count - 1; k > 0; k--) {
    const double high = cuts->at[k], low = cuts->at[k - 1];
    if (kinds[kind].margin(search, 0.5 * (low + high)) > 0.0) {
      open = NULL;
    } else if (open != NULL) {
      open->to_fraction = low;
    } else if (out->span_count < SB_DISCHARGE_SPAN_MAX) {
      open = &out->spans[out->span_count++];
      *open = (struct sb_discharge_span){kind, search->index, high, low};
    }
  }
}

static bool find_kind(struct search *search, enum sb_discharge_kind kind, struct sb_discharge *out)
{
  struct cuts cuts = {0};
  bool is_fit = cut_at_points(&cuts, &search->model.battery.curve);
  for (int k = 0; is_fit && kinds[kind].parts[k] != NULL; k++) {
    is_fit = cut_at_roots(&cuts, search, kinds[kind].parts[k]);
  }
  if (is_fit) is_fit = cut_at_roots(&cuts, search, kinds[kind].margin);
  if (is_fit) join_spans(&cuts, search, kind, out);
  free(cuts.at);
  return is_fit;
}

enum sb_status sb_discharge_solve(const struct sb_model *model, struct sb_discharge *out, struct sb_error *err)
{
  struct search search = {.model = *model};
  bool is_fit = true;
  out->span_count = 0;
  sb_load_range_nm(&model->load, model->run.duration_s, &search.lightest_nm, &search.heaviest_nm);
  search.lightest = sb_closed_form_lightest(model);
  for (int kind = 0; is_fit && kind < SB_DISCHARGE_KIND_COUNT; kind++) {
    const int count = sb_discharge_subject_count((enum sb_discharge_kind)kind, model->gearbox.gear_count);
    for (search.index = 0; is_fit && search.index < count; search.index++) {
      is_fit = find_kind(&search, (enum sb_discharge_kind)kind, out);
    }
  }
  return is_fit ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "%s", sb_status_text(SB_ERR_MEMORY));
}

const struct sb_discharge_span *sb_discharge_span_at(const struct sb_discharge *discharge, enum sb_discharge_kind kind,
                                                     int index, double charge_fraction)
{
  for (int k = 0; k < discharge->span_count; k++) {
    const struct sb_discharge_span *span = &discharge->spans[k];
    if (span->kind == kind && span->index == index && charge_fraction <= span->from_fraction &&
        charge_fraction >= span->to_fraction) {
      return span;
    }
  }
  return NULL;
}

double sb_discharge_end_fraction(const struct sb_model *model, const struct sb_discharge *discharge)
{
  double end = 0.0;
  for (int k = 0; k < discharge->span_count; k++) {
    const struct sb_discharge_span *span = &discharge->spans[k];
    const bool is_highest = span->kind == SB_DISCHARGE_CUT_LIGHTEST && span->index == model->gearbox.gear_count - 1;
    if (is_highest || span->kind == SB_DISCHARGE_CUT_STARTING) end = fmax(end, span->from_fraction);
  }
  return end;
}
