// SPDX-License-Identifier: GPL-3.0-or-later
/* closed_form.c - figures of gears and pairs: steady states, thresholds, bands and voltages; see closed_form.h. */
#include <math.h>

#include "shiftband/closed_form.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

/* A moment, and what the load from outside is then. */
struct moment {
  double external_nm;
  struct sb_load_moment load;
};

/* Keeps the lighter of two moments: the one so far, and the piece `at` read at time_s. */
static void keep_lighter(const struct sb_load *load, const struct sb_load_at *at, double time_s,
                         struct moment *lightest)
{
  const struct sb_load_curve acting = sb_load_curve_at(load, at, SB_SHARE_ACTING);
  const struct sb_load_curve resisting = sb_load_curve_at(load, at, SB_SHARE_RESISTING);
  const double acting_nm = sb_load_curve_external_nm(&acting, time_s, 0.0);
  const double resisting_nm = fmax(sb_load_curve_external_nm(&resisting, time_s, 0.0), 0.0);
  if (!(acting_nm + resisting_nm < lightest->external_nm)) return;

  struct sb_load_at resting = *at;
  resting.is_at_rest = true;
  const struct sb_load_curve hold = sb_load_curve_at(load, &resting, SB_SHARE_RESISTING);
  const double hold_nm = fmax(sb_load_curve_external_nm(&hold, time_s, 0.0), load->breakaway_nm);
  lightest->external_nm = acting_nm + resisting_nm;
  lightest->load = (struct sb_load_moment){acting_nm, resisting_nm, fmax(hold_nm, resisting_nm)};
}

struct sb_load_moment sb_closed_form_lightest(const struct sb_model *model)
{
  enum { CORNER_MAX = 100000 }; /* a table that repeats without end shows all it has long before */
  const struct sb_load *load = &model->load;
  struct moment lightest = {.external_nm = INFINITY};
  struct sb_load_at at = {.direction = 1};
  for (int k = 0; k < CORNER_MAX && at.time_s < model->run.duration_s; k++) {
    const double corner_s = sb_load_next_time_s(load, at.time_s);
    keep_lighter(load, &at, at.time_s, &lightest);
    keep_lighter(load, &at, fmin(corner_s, model->run.duration_s), &lightest);
    at.time_s = corner_s;
  }
  /* Waves and parts over turns may go lower in between: first their resistance is reduced, then what acts. */
  double least_nm, greatest_nm;
  sb_load_range_nm(load, model->run.duration_s, &least_nm, &greatest_nm);
  const double missing_nm = fmax(lightest.external_nm - least_nm, 0.0);
  const double from_resisting_nm = fmin(missing_nm, lightest.load.resisting_nm);
  lightest.load.resisting_nm -= from_resisting_nm;
  lightest.load.hold_nm = fmax(lightest.load.hold_nm - from_resisting_nm, load->breakaway_nm);
  lightest.load.acting_nm -= missing_nm - from_resisting_nm;
  return lightest.load;
}

/* Open-circuit voltage at which a gear carries a torque from outside at a motor speed; NAN when any voltage does. */
static double voltage_to_carry_v(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                 double speed_rad_s, double external_nm)
{
  const double needed_nm = sb_torque_balance_motor_nm(model, gear, external_nm, speed_rad_s) + line->friction_nm;
  const double stall_nm = needed_nm + line->slope_nms_rad * speed_rad_s;
  if (line->limit_a > 0.0 && needed_nm > line->limit_nm) return INFINITY; /* no voltage brings more current */
  /* The line's stall torque is in proportion to the voltage; its slope does not know it. */
  const double voltage_v = stall_nm * model->supply.open_circuit_voltage_v / line->stall_nm;
  return voltage_v > 0.0 ? voltage_v : NAN;
}

/* A reading against the supply's own voltage rises with the open-circuit voltage, but slowly: bisected between a thousandth of the
 * model's and a thousand times it. */
static double measured_to_read_v(const struct sb_model *model, int gear, double reading, double external_nm)
{
  struct sb_model fed = *model;
  const double given_v = model->supply.open_circuit_voltage_v;
  double low_v = 1e-3 * given_v, high_v = 1e3 * given_v;
  for (int i = 0; i < 80; i++) {
    fed.supply.open_circuit_voltage_v = sqrt(low_v * high_v);
    const struct sb_motor_line line = sb_torque_balance_line(&fed);
    const bool is_read = sb_steady_reading(&fed, &line, gear, external_nm) > reading;
    *(is_read ? &high_v : &low_v) = fed.supply.open_circuit_voltage_v;
  }
  if (low_v == 1e-3 * given_v) return NAN;
  return high_v == 1e3 * given_v ? INFINITY : high_v;
}

/* Open-circuit voltage at which a gear's reading is right at a threshold under a torque from outside; NAN: at any, INFINITY:
 * at none. The current follows the torque at any voltage. */
static double voltage_to_read_v(const struct sb_model *model, const struct sb_reading_point *point, int gear,
                                double external_nm, bool is_met)
{
  if (isinf(point->motor_nm) || model->control.sensor.quantity == SB_SENSES_CURRENT) return is_met ? NAN : INFINITY;
  if (model->control.sensor.supply.is_present) return measured_to_read_v(model, gear, point->reading, external_nm);
  return voltage_to_carry_v(model, &point->line, gear, point->speed_rad_s, external_nm);
}

/* The load that helps the motor most, which a path that locks itself does not let down by itself. */
static double lowered_nm(const struct sb_model *model)
{
  double resisting_nm = 0.0, least_nm, greatest_nm;
  for (int i = 0; i < model->load.part_count; i++) {
    const struct sb_load_part *part = &model->load.parts[i];
    part->ops->range_nm(part, &least_nm, &greatest_nm);
    if (part->is_resisting) resisting_nm += fmax(least_nm, 0.0);
  }
  sb_load_share_range_nm(&model->load, model->run.duration_s, SB_SHARE_ACTING, &least_nm, &greatest_nm);
  return fmax(fmax(greatest_nm, -least_nm) - resisting_nm, 0.0);
}

static struct sb_gear_figures gear_figures(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                           const struct sb_closed_form *form)
{
  const double lightest_nm = form->lightest_load_nm, heaviest_nm = form->heaviest_load_nm;
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio;
  struct sb_gear_figures figures = {
      .ratio = n,
      .efficiency = path->efficiency,
      .output_direction = path->direction,
      .stall_torque_nm = sb_steady_stall_nm(model, line, gear),
      .wheels_inertia_kg_m2 = path->wheels_kg_m2 + path->wheels_excess_kg_m2[1],
      .inertia_kg_m2 = sb_model_driven_inertia_kg_m2(model, gear, model->load.inertia_kg_m2),
      .time_constant_s = sb_torque_balance_time_constant_s(model, line, gear),
      .lightest_reading = sb_steady_reading(model, line, gear, lightest_nm),
      .heaviest_reading = sb_steady_reading(model, line, gear, heaviest_nm),
      .least_voltage_v = voltage_to_carry_v(model, line, gear, 0.0, heaviest_nm),
      .back_efficiency = path->back_efficiency,
      .lowering_torque_nm = NAN,
      .jam_inertia_kg_m2 = sb_model_overrun_inertia_kg_m2(model, gear, model->load.inertia_kg_m2),
  };
  if (path->back_efficiency < 0.0 && form->lowered_load_nm > 0.0)
    figures.lowering_torque_nm = sb_torque_balance_motor_nm(model, gear, -form->lowered_load_nm, 0.0);
  figures.lightest_speed_rad_s = sb_steady_speed_rad_s(model, line, gear, lightest_nm) / n;
  figures.heaviest_speed_rad_s = sb_steady_speed_rad_s(model, line, gear, heaviest_nm) / n;
  figures.hidden_torque_nm = sb_steady_hidden_nm(model, line, gear);
  figures.is_stable = sb_steady_is_stable(model, line, gear);
  return figures;
}

static double finite_or_nan(double value)
{
  return isfinite(value) ? value : NAN;
}

/* Time from the command of an upshift until the fast gear has climbed to the downshift reading, or NAN. */
static double dwell_from(const struct sb_model *model, const struct sb_motor_line *line, int slow,
                         const struct sb_load_moment *load, double start_rad_s, double down_rad_s)
{
  const int fast = slow + 1;
  if (!(start_rad_s > 0.0)) return NAN;
  const struct sb_shift_figures shift = sb_theory_shift(model, line, slow, fast, load, start_rad_s);
  if (isinf(shift.time_s)) return NAN;
  return finite_or_nan(shift.time_s + sb_theory_climb_s(model, line, fast, load, shift.joined_speed_rad_s, down_rad_s));
}

/* The motor's lead at the output as a shift ends, or NAN. */
static double slip_rad_s(const struct sb_model *model, const struct sb_motor_line *line, int from, int to,
                         const struct sb_load_moment *load, double start_rad_s)
{
  if (!(start_rad_s > 0.0)) return NAN;
  const struct sb_shift_figures shift = sb_theory_shift(model, line, from, to, load, start_rad_s);
  return shift.motor_speed_rad_s / model->gearbox.gears[to].ratio - shift.output_speed_rad_s;
}

static void fill_slips(const struct sb_model *model, const struct sb_motor_line *line, int slow,
                       const struct sb_load_moment *load, struct sb_pair_figures *pair)
{
  const int fast = slow + 1;
  const double downshift = sb_steady_point(model, line, model->control.downshift_fraction[slow]).speed_rad_s;
  const double upshift = sb_steady_point(model, line, model->control.upshift_fraction[slow]).speed_rad_s;
  const double external_nm = load->acting_nm + load->resisting_nm;
  const double steady_rad_s = sb_steady_speed_rad_s(model, line, slow, external_nm);
  const double at_up = slip_rad_s(model, line, slow, fast, load, upshift);
  const double at_steady = slip_rad_s(model, line, slow, fast, load, steady_rad_s);
  pair->slip_upshift_rad_s = fabs(at_steady) > fabs(at_up) ? at_steady : at_up;

  struct sb_load_moment heavy = *load;
  if (isfinite(pair->downshift_torque_nm)) heavy.resisting_nm += fmax(pair->downshift_torque_nm - external_nm, 0.0);
  heavy.hold_nm = fmax(heavy.hold_nm, heavy.resisting_nm);
  pair->slip_downshift_rad_s = slip_rad_s(model, line, fast, slow, &heavy, downshift);
}

static void fill_times(const struct sb_model *model, const struct sb_motor_line *line, int slow,
                       const struct sb_load_moment *load, struct sb_pair_figures *pair)
{
  const int fast = slow + 1;
  const double downshift = sb_steady_point(model, line, model->control.downshift_fraction[slow]).speed_rad_s;
  const double upshift = sb_steady_point(model, line, model->control.upshift_fraction[slow]).speed_rad_s;
  const double external_nm = load->acting_nm + load->resisting_nm;

  pair->upshift_time_s = finite_or_nan(sb_theory_shift(model, line, slow, fast, load, upshift).time_s);
  pair->downshift_time_s = finite_or_nan(sb_theory_shift(model, line, fast, slow, load, downshift).time_s);
  pair->shortest_dwell_s = pair->shortest_dwell_steady_s = pair->shortest_start_delay_s = NAN;
  if (pair->is_needless_downshift) return; /* it would fall below again */
  pair->shortest_dwell_s = dwell_from(model, line, slow, load, upshift, downshift);
  pair->shortest_dwell_steady_s =
      dwell_from(model, line, slow, load, sb_steady_speed_rad_s(model, line, slow, external_nm), downshift);
  pair->shortest_start_delay_s = finite_or_nan(sb_theory_climb_s(model, line, fast, load, 0.0, downshift));
}

static struct sb_pair_figures pair_figures(const struct sb_model *model, const struct sb_motor_line *line, int slow,
                                           double lightest_nm, double heaviest_nm,
                                           const struct sb_load_moment *lightest)
{
  const int fast = slow + 1;
  const struct sb_reading_point downshift = sb_steady_point(model, line, model->control.downshift_fraction[slow]);
  const struct sb_reading_point upshift = sb_steady_point(model, line, model->control.upshift_fraction[slow]);
  struct sb_pair_figures pair = {
      .downshift_torque_nm = sb_torque_balance_output_nm(model, fast, downshift.motor_nm, downshift.speed_rad_s),
      .upshift_torque_nm = sb_torque_balance_output_nm(model, slow, upshift.motor_nm, upshift.speed_rad_s),
  };
  pair.has_band = pair.downshift_torque_nm < pair.upshift_torque_nm;
  pair.helping_upshift_nm = sb_steady_helping_nm(model, line, slow, model->control.upshift_fraction[slow]);
  pair.helping_downshift_nm = sb_steady_helping_nm(model, line, fast, model->control.downshift_fraction[slow]);
  pair.is_stuck_low = pair.upshift_torque_nm <= lightest_nm || heaviest_nm <= pair.helping_upshift_nm;
  pair.is_needless_downshift = pair.downshift_torque_nm <= lightest_nm || heaviest_nm <= pair.helping_downshift_nm;
  const bool is_up_met = !pair.is_stuck_low && lightest_nm > pair.helping_upshift_nm;
  const bool is_hold_met = !pair.is_needless_downshift && lightest_nm > pair.helping_downshift_nm;
  pair.least_voltage_upshift_v = voltage_to_read_v(model, &upshift, slow, lightest_nm, is_up_met);
  pair.least_voltage_hold_v = voltage_to_read_v(model, &downshift, fast, lightest_nm, is_hold_met);

  /* The band is empty where both gears turn over at the same torque. */
  pair.least_safe_upshift = sb_steady_reading(model, line, slow, pair.downshift_torque_nm);
  if (!(pair.least_safe_upshift < sb_steady_greatest_reading(model, line))) pair.least_safe_upshift = NAN;
  pair.greatest_safe_downshift = sb_steady_reading(model, line, fast, pair.upshift_torque_nm);
  if (!(pair.greatest_safe_downshift > 0.0)) pair.greatest_safe_downshift = NAN;
  fill_times(model, line, slow, lightest, &pair);
  fill_slips(model, line, slow, lightest, &pair);
  return pair;
}

struct sb_closed_form sb_closed_form_solve(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  struct sb_closed_form form = {
      .no_load_fraction = sb_steady_speed_reading(model, &line, sb_motor_no_load_speed_rad_s(&line)),
      .stall_torque_nm = sb_motor_stall_torque_nm(&line),
  };
  sb_load_range_nm(&model->load, model->run.duration_s, &form.lightest_load_nm, &form.heaviest_load_nm);
  form.lowered_load_nm = lowered_nm(model);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    form.gears[g] = gear_figures(model, &line, g, &form);
  }
  const struct sb_load_moment lightest = sb_closed_form_lightest(model);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    form.pairs[p] = pair_figures(model, &line, p, form.lightest_load_nm, form.heaviest_load_nm, &lightest);
  }
  return form;
}
