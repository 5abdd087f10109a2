// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Verdicts are judged again, by other means than the monitor's: shift points from the motor's straight line, stretches of shifts
 * by looking at all threes at once, states from the rows of a fine trace, and each verdict from its own evidence. On random
 * machines; those of everything for what the trace alone can tell.
 */
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/mix.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/run.h"

enum { ROW_MAX = 400000 };

/* A run with all its rows. */
struct seen {
  struct sb_row *rows;
  size_t count;
  struct sb_run_result result;
};

static int take_row(void *context, const struct sb_row *row)
{
  struct seen *seen = context;
  assert_true(seen->count < ROW_MAX);
  seen->rows[seen->count++] = *row;
  return 0;
}

static void see(const struct sb_model *model, struct seen *seen)
{
  struct sb_run_options options = sb_run_options_default();
  struct sb_error err = {SB_OK, ""};
  options.on_row = take_row;
  options.context = seen;
  seen->count = 0;
  if (sb_run(model, &options, &seen->result, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
}

static const struct sb_verdict *find(const struct seen *seen, enum sb_verdict_kind kind)
{
  for (size_t i = 0; i < seen->result.monitor.verdict_count; i++) {
    if (seen->result.monitor.verdicts[i].kind == kind) return &seen->result.monitor.verdicts[i];
  }
  return NULL;
}

static size_t count_kind(const struct seen *seen, enum sb_verdict_kind kind)
{
  size_t count = 0;
  for (size_t i = 0; i < seen->result.monitor.verdict_count; i++)
    count += seen->result.monitor.verdicts[i].kind == kind;
  return count;
}

/* Shifts of plain machines ---------------------------------------------------------------------------------------------- */

/* The load from outside that a gear carries at a reading of the speed, in open loop: the motor's line through no load and stall,
 * less drag, through the meshes, less what follows the speed. */
static double carried_nm(const struct sb_model *model, int gear, double reading)
{
  const struct sb_motor *m = &model->motor;
  const struct sb_gear *g = &model->gearbox.gears[gear];
  const double speed = reading * model->control.sensor.reference_rad_s, duty = model->drive.limit_fraction;
  const double volts = model->supply.open_circuit_voltage_v, ri = model->supply.internal_resistance_ohm;
  double torque;
  if (m->has_currents) {
    const double r = m->nominal_voltage_v / m->stall_current_a,
                 kt = m->stall_torque_nm / (m->stall_current_a - m->no_load_current_a);
    const double ke = (m->nominal_voltage_v - m->no_load_current_a * r) / m->no_load_speed_rad_s;
    torque = kt * (duty * volts - ke * speed) / (r + duty * duty * ri) - kt * m->no_load_current_a;
  } else {
    torque = m->stall_torque_nm * (duty * volts / m->nominal_voltage_v - speed / m->no_load_speed_rad_s);
  }
  const double given = torque - g->drag_nm, output = speed / g->ratio;
  if (given < 0.0 && g->back_efficiency <= 0.0)
    return -INFINITY; /* a path that is not driven backwards holds any load */
  const double passed = given >= 0.0 ? g->efficiency * g->ratio * given : g->ratio * given / g->back_efficiency;
  double viscous = 0.0, quadratic = 0.0;
  for (int i = 0; i < model->load.part_count; i++) {
    viscous += model->load.parts[i].viscous_nms_rad;
    quadratic += model->load.parts[i].quadratic_nms2_rad2;
  }
  return passed - viscous * output - quadratic * output * output;
}

/* The time constant of a gear under the load's viscous part. */
static double tau_s(const struct sb_model *model, int gear)
{
  const struct sb_motor *m = &model->motor;
  const struct sb_gear *g = &model->gearbox.gears[gear];
  const double duty = model->drive.limit_fraction, ri = model->supply.internal_resistance_ohm;
  double slope = m->stall_torque_nm / m->no_load_speed_rad_s, viscous = 0.0;
  if (m->has_currents) {
    const double r = m->nominal_voltage_v / m->stall_current_a,
                 kt = m->stall_torque_nm / (m->stall_current_a - m->no_load_current_a);
    const double ke = (m->nominal_voltage_v - m->no_load_current_a * r) / m->no_load_speed_rad_s;
    slope = kt * ke / (r + duty * duty * ri);
  }
  for (int i = 0; i < model->load.part_count; i++) viscous += model->load.parts[i].viscous_nms_rad;
  const double k = g->ratio * g->ratio * g->efficiency;
  return (m->rotor_inertia_kg_m2 + model->load.inertia_kg_m2 / k) / (slope + viscous / k);
}

enum judged { NOTHING, HUNTS_BY_THRESHOLDS, HUNTS_BY_DWELL, BUSY };

struct points {
  double down_nm, up_nm, step_nm;
};

static struct points points_of(const struct sb_model *model, int pair)
{
  const double half = 0.5 * model->control.sensor.resolution_fraction;
  struct points points = {.down_nm = carried_nm(model, pair + 1, model->control.downshift_fraction[pair]),
                          .up_nm = carried_nm(model, pair, model->control.upshift_fraction[pair])};
  for (int gear = pair; gear <= pair + 1; gear++) {
    points.step_nm =
        fmax(points.step_nm, fabs(carried_nm(model, gear, 0.5 - half) - carried_nm(model, gear, 0.5 + half)));
  }
  return points;
}

static enum judged judge_three(const struct sb_model *model, const struct sb_shift_record *s)
{
  const int slow = s->from < s->to ? s->from : s->to;
  const struct points at = points_of(model, slow - 1);
  const double nm[] = {s[0].external_torque_nm, s[1].external_torque_nm, s[2].external_torque_nm};
  const double rate = model->limits.shift_rate_per_s > 0.0 ? model->limits.shift_rate_per_s : 10.0 / 60.0;
  bool is_asked = true, is_soon = true, is_quick = true, is_in_band = false;
  for (int k = 0; k < 3; k++) {
    if (s[k].to < s[k].from ? nm[k] < at.down_nm : nm[k] > at.up_nm) is_asked = false;
    if (nm[k] > at.down_nm && nm[k] < at.up_nm) is_in_band = true;
    if (k == 0) continue;
    const double moved = fabs(nm[k] - nm[k - 1]), larger = fmax(fabs(at.down_nm), fabs(at.up_nm));
    if (!(moved > 0.02 * larger && moved > at.step_nm)) is_asked = false;
    const double gap = s[k].command_s - s[k - 1].command_s;
    const double window =
        isnan(model->limits.hunt_window_s)
            ? 3.0 * model->control.dwell_s + (s[k - 1].engaged_s - s[k - 1].command_s) + 5.0 * tau_s(model, slow - 1)
            : model->limits.hunt_window_s;
    if (!(gap <= window)) is_soon = false;
    if (!(gap <= 1.0 / rate)) is_quick = false;
  }
  if (is_asked) return is_quick ? BUSY : NOTHING;
  if (!is_soon) return NOTHING;
  return is_in_band ? HUNTS_BY_THRESHOLDS : HUNTS_BY_DWELL;
}

static bool is_opposite(const struct sb_shift_record *a, const struct sb_shift_record *b)
{
  return a->from == b->to && a->to == b->from;
}

/* Stretches of threes of one kind: their number, the commands in them, and how many are by the thresholds. */
struct stretches {
  size_t count, commands, by_thresholds;
};

static struct stretches stretches_of(const struct sb_model *model, const struct sb_monitor *monitor, bool is_busy)
{
  struct stretches out = {0};
  size_t last = 0; /* index after the last command of the stretch under way */
  bool has_thresholds = false;
  for (size_t i = 0; i + 2 < monitor->shift_count; i++) {
    const struct sb_shift_record *s = &monitor->shifts[i];
    if (!is_opposite(&s[0], &s[1]) || !is_opposite(&s[1], &s[2])) continue;
    const enum judged judged = judge_three(model, s);
    if (judged == NOTHING || (judged == BUSY) != is_busy) continue;
    if (last == 0 || i >= last) {
      out.count++;
      out.commands += 3;
      has_thresholds = false;
    } else {
      out.commands += i + 3 - last;
    }
    last = i + 3;
    if (judged == HUNTS_BY_THRESHOLDS && !has_thresholds) {
      has_thresholds = true;
      out.by_thresholds++;
    }
  }
  return out;
}

static void expect_stretches(const struct sb_model *model, const struct seen *seen, bool is_busy)
{
  const enum sb_verdict_kind kind = is_busy ? SB_VERDICT_BUSY_SHIFTING : SB_VERDICT_HUNTING;
  const struct stretches want = stretches_of(model, &seen->result.monitor, is_busy);
  struct stretches got = {0};
  for (size_t i = 0; i < seen->result.monitor.verdict_count; i++) {
    const struct sb_verdict *v = &seen->result.monitor.verdicts[i];
    if (v->kind != kind) continue;
    got.count++;
    got.commands += v->count;
    got.by_thresholds += v->cause == SB_CAUSE_THRESHOLDS;
  }
  if (got.count != want.count || got.commands != want.commands || got.by_thresholds != want.by_thresholds) {
    fail_msg("%s: %s: %zu stretches of %zu commands, %zu by thresholds; judged again %zu, %zu, %zu", model->name,
             sb_verdict_name(kind), got.count, got.commands, got.by_thresholds, want.count, want.commands,
             want.by_thresholds);
  }
}

static void expect_needless(const struct sb_model *model, const struct seen *seen)
{
  const struct sb_monitor *monitor = &seen->result.monitor;
  size_t want = 0, got = 0;
  for (size_t i = 0; i < monitor->shift_count; i++) {
    const struct sb_shift_record *s = &monitor->shifts[i];
    if (s->to > s->from) continue;
    const double held = carried_nm(model, s->from - 1, model->control.downshift_fraction[s->to - 1]);
    want += s->external_torque_nm < held - 1e-9 * fabs(held);
  }
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    if (monitor->verdicts[i].kind == SB_VERDICT_NEEDLESS_DOWNSHIFT) got += monitor->verdicts[i].count;
  }
  if (got != want) fail_msg("%s: %zu needless downshifts, judged again %zu", model->name, got, want);
}

/* A clutch slips before the motor stalls: no load that it transmits takes the reading down to the threshold. */
static bool is_beyond_clutch(const struct sb_model *model, int gear, double down_nm)
{
  const struct sb_gear *g = &model->gearbox.gears[gear];
  if (strcmp(model->shifter.ops->name, "clutch") != 0) return false;
  return down_nm > 0.0 && down_nm >= g->ratio * g->efficiency * (model->shifter.clutch_nm - g->drag_nm);
}

static void expect_reach(const struct sb_model *model, const struct seen *seen)
{
  double lightest, heaviest;
  size_t want = 0;
  sb_load_range_nm(&model->load, model->run.duration_s, &lightest, &heaviest);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    want += carried_nm(model, p, model->control.upshift_fraction[p]) <= fmin(lightest, 0.0);
    want += is_beyond_clutch(model, p + 1, carried_nm(model, p + 1, model->control.downshift_fraction[p]));
  }
  if (count_kind(seen, SB_VERDICT_OUT_OF_REACH) != want)
    fail_msg("%s: not %zu thresholds out of reach", model->name, want);
}

/* Every third has thresholds far apart or close together, and every fifth a dwell that is none. */
static void shifts_of_plain_machines_are_judged_again(void **state)
{
  (void)state;
  struct seen seen = {.rows = malloc(ROW_MAX * sizeof *seen.rows)};
  size_t hunts = 0, busy = 0, needless = 0, far = 0;
  assert_non_null(seen.rows);
  for (unsigned long seed = 1; seed <= 600; seed++) {
    static struct plane_case it;
    if (!mix_is_wanted(seed)) continue;
    gsl_rng *rng = dice_of(seed);
    plane_random_case(rng, &it);
    snprintf(it.model.name, sizeof it.model.name, "case %lu", seed);
    if (plane_chance(rng, 0.1)) it.model.control.upshift_fraction[0] = 1.2;
    gsl_rng_free(rng);
    see(&it.model, &seen);
    expect_stretches(&it.model, &seen, false);
    expect_stretches(&it.model, &seen, true);
    expect_needless(&it.model, &seen);
    expect_reach(&it.model, &seen);
    hunts += count_kind(&seen, SB_VERDICT_HUNTING);
    busy += count_kind(&seen, SB_VERDICT_BUSY_SHIFTING);
    needless += count_kind(&seen, SB_VERDICT_NEEDLESS_DOWNSHIFT);
    far += count_kind(&seen, SB_VERDICT_OUT_OF_REACH);
    sb_run_result_clear(&seen.result);
  }
  print_message("%zu hunt, %zu are busy, %zu shift down needlessly, %zu thresholds are out of reach\n", hunts, busy,
                needless, far);
  if (getenv("SHIFTBAND_TEST_CASE") == NULL) assert_true(hunts > 20 && busy > 5 && needless > 20 && far > 20);
  free(seen.rows);
}

/* States of machines with everything ------------------------------------------------------------------------------------- */

static void expect_speed(const struct sb_model *model, const struct seen *seen)
{
  const struct sb_verdict *verdict = find(seen, SB_VERDICT_OVERSPEED);
  const double limit = model->limits.motor_speed_rad_s;
  double greatest = 0.0;
  for (size_t i = 0; i < seen->count; i++) greatest = fmax(greatest, fabs(seen->rows[i].motor_speed_rad_s));
  if (greatest > limit && verdict == NULL) fail_msg("%s: %g rad/s and no overspeed", model->name, greatest);
  if (verdict == NULL) return;
  assert_near(verdict->limit, limit, 0.0);
  assert_true(verdict->found > limit && verdict->found >= greatest * (1.0 - 1e-12));
  assert_true(greatest >= 0.98 * verdict->found); /* rows are close together */
}

static void expect_reversal(const struct sb_model *model, const struct seen *seen)
{
  bool is_reversed = false;
  for (size_t i = 0; i < seen->count; i++) {
    const int gear = seen->rows[i].gear;
    int with = 0, against = 0;
    for (int g = 0; gear > 0 && g < model->gearbox.gear_count; g++) {
      const bool is_alike = model->gearbox.gears[g].output_direction == model->gearbox.gears[gear - 1].output_direction;
      with += is_alike;
      against += !is_alike;
    }
    if (with < against || (gear > 0 && with == against && model->gearbox.gears[gear - 1].output_direction < 0))
      is_reversed = true;
  }
  assert_int_equal(find(seen, SB_VERDICT_REVERSED) != NULL, is_reversed);
}

/* From the rows: the farthest place in the drive's direction, and how far back from there. */
static double greatest_back_rad(const struct sb_model *model, const struct seen *seen, double *way_rad)
{
  double farthest = 0.0, greatest = 0.0;
  int direction = 0;
  bool is_counted = false;
  *way_rad = 0.0;
  for (size_t i = 0; i < seen->count; i++) {
    const struct sb_row *row = &seen->rows[i], *last = i > 0 ? row - 1 : row;
    const double place = row->vehicle_angle_rad, moved = place - last->vehicle_angle_rad;
    *way_rad += fabs(moved);
    if (row->gear > 0 && row->is_on && row->duty_fraction != 0.0) {
      const struct sb_gear *gear = &model->gearbox.gears[row->gear - 1];
      const int now = (row->duty_fraction > 0.0 ? 1 : -1) * gear->motor_direction * gear->output_direction;
      if (now != direction) is_counted = false;
      direction = now;
    }
    if (!is_counted) {
      is_counted = direction != 0 && moved * direction >= 0.0 && row->time_s > last->time_s;
      farthest = place;
    }
    if ((place - farthest) * direction > 0.0) farthest = place;
    greatest = fmax(greatest, (farthest - place) * direction);
  }
  return greatest;
}

static bool expect_back(const struct sb_model *model, const struct seen *seen)
{
  const struct sb_verdict *verdict = find(seen, SB_VERDICT_RUNS_BACK);
  const double limit = model->limits.run_back_rad;
  double way_rad;
  const double back = greatest_back_rad(model, seen, &way_rad);
  if (verdict != NULL && !(verdict->found > verdict->limit))
    fail_msg("%s: runs back by less than its limit", model->name);
  if (verdict == NULL && back > 1.05 * limit + 0.05)
    fail_msg("%s: %g rad back, limit %g, and no verdict", model->name, back, limit);
  if (verdict != NULL && back < 0.9 * verdict->found - 0.05) {
    fail_msg("%s: %g rad back by the rows, %g by the verdict", model->name, back, verdict->found);
  }
  return verdict != NULL;
}

static bool expect_slip(const struct sb_model *model, const struct seen *seen)
{
  const struct sb_verdict *verdict = find(seen, SB_VERDICT_SLIPPING);
  double since = NAN, longest = 0.0;
  for (size_t i = 0; i < seen->count; i++) {
    const struct sb_row *row = &seen->rows[i];
    if (row->is_slipping && isnan(since)) since = row->time_s;
    if (!isnan(since)) longest = fmax(longest, row->time_s - since);
    if (!row->is_slipping) since = NAN;
  }
  if (verdict == NULL && longest > model->limits.slip_time_s + 2.0 * model->control.sample_period_s) {
    fail_msg("%s: wheels slip for %g s and no verdict", model->name, longest);
  }
  double found = 0.0; /* in any gear */
  for (size_t i = 0; i < seen->result.monitor.verdict_count; i++) {
    const struct sb_verdict *v = &seen->result.monitor.verdicts[i];
    if (v->kind == SB_VERDICT_SLIPPING) found = fmax(found, v->found);
  }
  if (verdict != NULL) assert_near(found, longest, 2.0 * model->control.sample_period_s);
  return verdict != NULL;
}

/* Each verdict from what it says itself. */
static void expect_evidence(const struct sb_model *model, const struct seen *seen)
{
  for (size_t i = 0; i < seen->result.monitor.verdict_count; i++) {
    const struct sb_verdict *v = &seen->result.monitor.verdicts[i];
    switch (v->kind) {
      case SB_VERDICT_NEEDLESS_DOWNSHIFT: assert_true(v->found < v->limit); break;
      case SB_VERDICT_HUNTING:
      case SB_VERDICT_BUSY_SHIFTING:
        for (int k = 1; k < 3; k++) assert_true(v->three.time_s[k] - v->three.time_s[k - 1] > 0.0);
        assert_true(v->three.time_s[0] >= v->first_s && v->three.time_s[2] <= v->last_s);
        break;
      case SB_VERDICT_OUT_OF_REACH: assert_true(v->is_upshift ? v->found <= v->limit : v->found >= v->limit); break;
      case SB_VERDICT_DRIVE_CUT:
      case SB_VERDICT_REVERSED:
      case SB_VERDICT_KIND_COUNT: break;
      default:
        if (!(v->found > v->limit))
          fail_msg("%s: %s: %g is not above %g", model->name, sb_verdict_name(v->kind), v->found, v->limit);
    }
  }
}

static void states_of_machines_with_everything_are_judged_again(void **state)
{
  (void)state;
  struct seen seen = {.rows = malloc(ROW_MAX * sizeof *seen.rows)};
  size_t back = 0, slips = 0, fast = 0, reversed = 0;
  assert_non_null(seen.rows);
  for (unsigned long seed = 1; seed <= 240; seed++) {
    static struct mix_case it;
    if (!mix_is_wanted(seed)) continue;
    mix_seeded_case(seed, &it);
    struct sb_model *model = &it.plane.model;
    if (seed % 8 == 0) {
      struct sb_gear *gear = &model->gearbox.gears[seed % (unsigned long)model->gearbox.gear_count];
      gear->meshes[0].is_internal = !gear->meshes[0].is_internal;
      sb_gearbox_derive(&model->gearbox);
    }
    if (!(model->limits.motor_speed_rad_s > 0.0))
      model->limits.motor_speed_rad_s = 1.1 * model->motor.no_load_speed_rad_s;
    if (!(model->limits.run_back_rad > 0.0)) model->limits.run_back_rad = 0.3;
    model->driveshaft.is_present = false; /* its twist comes on top of the limit */
    model->run.trace_interval_s = model->run.step_s;
    see(model, &seen);
    expect_evidence(model, &seen);
    expect_speed(model, &seen);
    expect_reversal(model, &seen);
    back += expect_back(model, &seen);
    slips += expect_slip(model, &seen);
    fast += find(&seen, SB_VERDICT_OVERSPEED) != NULL;
    reversed += find(&seen, SB_VERDICT_REVERSED) != NULL;
    sb_run_result_clear(&seen.result);
  }
  print_message("%zu run back, %zu slip, %zu are too fast, %zu reversed\n", back, slips, fast, reversed);
  if (getenv("SHIFTBAND_TEST_CASE") == NULL) assert_true(back > 10 && slips > 10 && fast > 10 && reversed > 10);
  free(seen.rows);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(shifts_of_plain_machines_are_judged_again),
                                     cmocka_unit_test(states_of_machines_with_everything_are_judged_again)};
  return cmocka_run_group_tests_name("judge_again", tests, plane_quiet_gsl, NULL);
}
