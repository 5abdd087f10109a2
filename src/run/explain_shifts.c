// SPDX-License-Identifier: GPL-3.0-or-later
/* explain_shifts.c - verdicts of the controller: too many shifts, none, or one at the wrong time. */
#include <math.h>
#include <stdio.h>

#include "run/explain.h"
#include "text/words.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const struct sb_pair_figures *pair_of(const struct sb_explaining *to)
{
  return &to->closed->pairs[to->verdict->gear - 1];
}

/* What the controller compares with its thresholds. */
static const char *reading_of(const struct sb_model *model)
{
  return model->control.sensor.quantity == SB_SENSES_SPEED ? "speed" : "reading";
}

/* A threshold of this pair of gears, as a key: with more than one pair its place in the list belongs to it. */
static void cure_threshold(struct sb_explaining *to, const char *name, const char *bound, const char *value)
{
  char key[SB_CURE_SIZE];
  if (to->model->gearbox.gear_count > 2) {
    snprintf(key, sizeof key, "controller.%s.%d", name, to->verdict->gear);
  } else {
    snprintf(key, sizeof key, "controller.%s", name);
  }
  sb_explain_cure(to, key, bound, value);
}

/* A time in s, rounded up so that it is long enough. */
static void cure_time(struct sb_explaining *to, const char *key, double time_s)
{
  char value[SB_CURE_SIZE];
  const double scale = pow(10.0, 2.0 - floor(log10(time_s))); /* three digits */
  snprintf(value, sizeof value, "%.6g s", ceil(time_s * scale) / scale);
  sb_explain_cure(to, key, "at least", value);
}

/* "N.m" and the words around it, for a torque that no load, or any, may be: -INFINITY, INFINITY. */
static void say_torque(struct sb_explaining *to, const char *where, double torque_nm, const char *below,
                       const char *above)
{
  if (isfinite(torque_nm)) {
    sb_explain_say(to, "%s %.3g N.m", where, torque_nm);
  } else {
    sb_explain_say(to, "%s", torque_nm < 0.0 ? below : above);
  }
}

static void say_band(struct sb_explaining *to)
{
  const struct sb_pair_figures *pair = pair_of(to);
  const double downshift_nm = pair->downshift_torque_nm, upshift_nm = pair->upshift_torque_nm;
  if (!pair->has_band) {
    say_torque(to, "the shift points (down at loads above", downshift_nm, "the shift points (down under any load",
               "the shift points (down under no load");
    say_torque(to, ", up at loads below", upshift_nm, ", up under no load", ", up under any load");
    sb_explain_say(to, ")");
  } else if (isfinite(downshift_nm) && isfinite(upshift_nm)) {
    sb_explain_say(to, "the hunting band of %.3g..%.3g N.m", downshift_nm, upshift_nm);
  } else if (isfinite(upshift_nm)) {
    sb_explain_say(to, "the hunting band below %.3g N.m", upshift_nm);
  } else {
    say_torque(to, "the hunting band above", downshift_nm, "the hunting band, which holds all loads", "");
  }
}

/* "between low and high every 1 s from 3.52 s to 11.02 s (16 shifts), until the drive stopped at 11.5 s" */
static void say_to_and_fro(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  sb_explain_say(to, " between %s and %s every %.3g s from %.4g s to %.4g s (%zu shifts)", sb_explain_gear(to, v->gear),
                 sb_explain_gear(to, v->gear + 1), v->period_s, v->first_s, v->last_s, v->count);
  if (!isnan(v->stopped_s)) sb_explain_say(to, ", until the drive stopped at %.4g s", v->stopped_s);
}

/*
 * Either closes the band: then what the slower gear carries at its upshift is no more than the faster one carries at its
 * downshift. An upshift threshold that the slower gear never reaches would only trade hunting for a box that stays low,
 * unless every load of the run belongs there.
 */
static void cure_band(struct sb_explaining *to)
{
  const struct sb_pair_figures *pair = pair_of(to);
  const bool belongs_low = to->closed->lightest_load_nm >= pair->downshift_torque_nm;
  const double reached = to->closed->gears[to->verdict->gear - 1].lightest_reading;
  const bool can_raise = !isnan(pair->least_safe_upshift) && (belongs_low || pair->least_safe_upshift < reached);
  if (can_raise) {
    cure_threshold(to, "upshift_above", "at least", sb_words_percent_by(ceil, pair->least_safe_upshift).text);
  }
  if (!isnan(pair->greatest_safe_downshift)) {
    cure_threshold(to, "downshift_below", "at most", sb_words_percent_by(floor, pair->greatest_safe_downshift).text);
  }
  if (to->out->cure_count > 0) return;
  sb_explain_say(to, "; lower the downshift threshold first, then raise the upshift threshold");
  cure_threshold(to, "downshift_below", NULL, NULL);
  cure_threshold(to, "upshift_above", NULL, NULL);
}

/* The dwell that the motor needs after an upshift at a motor speed, under the verdict's heaviest load; NAN: none is enough. */
static double dwell_from_s(const struct sb_explaining *to, const struct sb_motor_line *line, double start_rad_s)
{
  const struct sb_model *model = to->model;
  const int slow = to->verdict->gear - 1, fast = slow + 1;
  const double load_nm = fmax(to->verdict->greatest_nm, 0.0);
  const struct sb_load_moment load = {.resisting_nm = load_nm, .hold_nm = load_nm};
  const double downshift_rad_s = sb_steady_point(model, line, model->control.downshift_fraction[slow]).speed_rad_s;
  if (!(start_rad_s > 0.0)) return NAN;
  const struct sb_shift_figures shift = sb_theory_shift(model, line, slow, fast, &load, start_rad_s);
  const double dwell_s =
      shift.time_s + sb_theory_climb_s(model, line, fast, &load, shift.joined_speed_rad_s, downshift_rad_s);
  return isfinite(dwell_s) ? dwell_s : NAN;
}

/* The longest dwell that any upshift needs: at the threshold or in steady state, under the lightest or this load. */
static double needed_dwell_s(const struct sb_explaining *to)
{
  const struct sb_model *model = to->model;
  const int slow = to->verdict->gear - 1;
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double upshift_rad_s = sb_steady_point(model, &line, model->control.upshift_fraction[slow]).speed_rad_s;
  const double steady_rad_s = sb_steady_speed_rad_s(model, &line, slow, to->verdict->greatest_nm);
  const double lightest_s = fmax(pair_of(to)->shortest_dwell_s, pair_of(to)->shortest_dwell_steady_s);
  return fmax(lightest_s, fmax(dwell_from_s(to, &line, upshift_rad_s), dwell_from_s(to, &line, steady_rad_s)));
}

static void cure_dwell(struct sb_explaining *to)
{
  const double needed_s = needed_dwell_s(to);
  if (needed_s > to->model->control.dwell_s) {
    sb_explain_say(to, "; the dwell of %.3g s is too short: the motor has not run up again after the upshift",
                   to->model->control.dwell_s);
    cure_time(to, "controller.dwell", needed_s);
    return;
  }
  sb_explain_say(to,
                 "; the motor has not run up again after a shift, or the reading is too coarse or too noisy: a longer "
                 "dwell or more debounce samples cure it");
  sb_explain_cure(to, "controller.dwell", NULL, NULL);
  sb_explain_cure(to, "controller.debounce_samples", NULL, NULL);
}

/* The first decision came before the motor had run up. */
static void cure_start(struct sb_explaining *to)
{
  const double delay_s = to->model->control.start_delay_s, needed_s = pair_of(to)->shortest_start_delay_s;
  const struct sb_drive *drive = &to->model->drive;
  sb_explain_say(to, "; the motor had not run up yet");
  if (needed_s > delay_s) {
    cure_time(to, "controller.start_delay", needed_s);
    return;
  }
  if (drive->ramp_s > 0.0) {
    sb_explain_say(to, ": the drive's ramp of %.3g s takes longer than", drive->ramp_s);
  } else if (drive->mode == SB_DRIVE_SPEED_CONTROL) {
    sb_explain_say(to, ": the speed control takes longer than");
  } else {
    sb_explain_say(to, ": under this load it takes longer than");
  }
  sb_explain_say(to, " the start delay of %.3g s", delay_s);
  sb_explain_cure(to, "controller.start_delay", NULL, NULL);
}

/* What the controller waits for is too short: at the start, or after a shift. */
static void cure_haste(struct sb_explaining *to)
{
  const struct sb_control *control = &to->model->control;
  const bool is_at_start = to->verdict->first_s <= control->start_delay_s + control->sample_period_s;
  if (is_at_start && !isnan(pair_of(to)->shortest_start_delay_s)) {
    cure_start(to);
  } else {
    cure_dwell(to);
  }
}

/* A log may not show the loads: what the thresholds leave open is then the cause. */
static void explain_without_loads(struct sb_explaining *to)
{
  sb_explain_say(to, "; the loads at the shifts are not known, and ");
  if (pair_of(to)->has_band) {
    sb_explain_say(to, "a load in ");
    say_band(to);
    sb_explain_say(to, " would be the cause");
    cure_band(to);
  } else {
    sb_explain_say(to, "the thresholds leave no hunting band");
    cure_dwell(to);
  }
}

/* A warm motor or a tired battery can open a band where the motor's own figures have none. */
static void explain_present_band(struct sb_explaining *to)
{
  sb_explain_say(to, ": with the motor as warm and the supply as low as they are then, the thresholds leave a hunting "
                     "band, though with the motor's own figures they leave none; thresholds further apart cure it");
  cure_threshold(to, "downshift_below", NULL, NULL);
  cure_threshold(to, "upshift_above", NULL, NULL);
}

void sb_explain_hunting(struct sb_explaining *to)
{
  sb_explain_say(to, "The gearbox hunts");
  say_to_and_fro(to);
  if (to->verdict->cause == SB_CAUSE_NONE) {
    explain_without_loads(to);
    return;
  }
  if (to->verdict->cause == SB_CAUSE_THRESHOLDS && !pair_of(to)->has_band) {
    explain_present_band(to);
    return;
  }
  sb_explain_say(to, ": ");
  sb_explain_load(to);
  if (to->verdict->cause == SB_CAUSE_THRESHOLDS) {
    sb_explain_say(to, " lies in ");
    say_band(to);
    cure_band(to);
  } else {
    sb_explain_say(to, " did not ask for these shifts and lies outside ");
    say_band(to);
    cure_haste(to);
  }
}

void sb_explain_busy_shifting(struct sb_explaining *to)
{
  sb_explain_say(to, "The gearbox shifts back and forth");
  say_to_and_fro(to);
  sb_explain_say(to, " because ");
  sb_explain_load(to);
  sb_explain_say(to, " itself moves across ");
  say_band(to);
  sb_explain_say(to, "; thresholds further apart, or a dwell of more than %.3g s, make fewer shifts",
                 to->model->control.dwell_s);
  cure_threshold(to, "downshift_below", NULL, NULL);
  cure_threshold(to, "upshift_above", NULL, NULL);
  sb_explain_cure(to, "controller.dwell", NULL, NULL);
}

/*
 * An upshift threshold between the least one without a hunting band and the slower gear's steady reading under the load
 * lets the box come up. There is one, for what is stuck low is less than the faster gear carries at its downshift.
 */
static void cure_low(struct sb_explaining *to)
{
  const double least_safe_upshift = pair_of(to)->least_safe_upshift;
  if (!(least_safe_upshift < to->model->control.upshift_fraction[to->verdict->gear - 1])) {
    sb_explain_say(to, "; a lower upshift threshold lets the gearbox shift up");
    cure_threshold(to, "upshift_above", NULL, NULL);
    return;
  }
  cure_threshold(to, "upshift_above", NULL, sb_words_percent_by(ceil, least_safe_upshift).text);
  sb_explain_say(to, " (less would open a hunting band)");
}

void sb_explain_stuck_low(struct sb_explaining *to)
{
  const struct sb_pair_figures *pair = pair_of(to);
  const struct sb_verdict *v = to->verdict;
  const char *slow = sb_explain_gear(to, v->gear), *reading = reading_of(to->model);
  sb_explain_say(to, "The gearbox is stuck in %s", slow);
  sb_explain_duration(to);
  sb_explain_say(to, ": %s would carry ", sb_explain_gear(to, v->gear + 1));
  sb_explain_load(to);
  say_torque(to, " (it carries up to", pair->downshift_torque_nm, " (it carries none", " (it carries any load");
  sb_explain_say(to, "), but the %s of %s rises above the upshift threshold ", reading, slow);
  if (isfinite(pair->helping_upshift_nm) && v->least_nm < pair->helping_upshift_nm) {
    sb_explain_say(to, "only at loads of %.3g to %.3g N.m: a load that drives the motor raises its current, too",
                   pair->helping_upshift_nm, pair->upshift_torque_nm);
    cure_threshold(to, "upshift_above", NULL, NULL);
  } else if (pair->upshift_torque_nm == INFINITY) {
    sb_explain_say(to, "under any load: the dwell of %.3g s or the load's changes keep it back",
                   to->model->control.dwell_s);
    sb_explain_cure(to, "controller.dwell", NULL, NULL);
  } else if (pair->upshift_torque_nm <= 0.0 && isfinite(pair->upshift_torque_nm)) {
    sb_explain_say(to, "under no load that the motor drives");
    cure_low(to);
  } else {
    say_torque(to, "only at loads below", pair->upshift_torque_nm, "under no load", "");
    cure_low(to);
  }
}

void sb_explain_needless_downshift(struct sb_explaining *to)
{
  const struct sb_pair_figures *pair = pair_of(to);
  const struct sb_verdict *v = to->verdict;
  const char *fast = sb_explain_gear(to, v->gear + 1);
  sb_explain_say(to, "The gearbox shifts down needlessly from %s at %.4g s", fast, v->first_s);
  if (v->count == 2) sb_explain_say(to, " and once more");
  if (v->count > 2) sb_explain_say(to, " and %zu times more", v->count - 1);
  sb_explain_say(to, ": ");
  if (isfinite(pair->helping_downshift_nm) && v->least_nm < pair->helping_downshift_nm) {
    sb_explain_load(to);
    sb_explain_say(to,
                   " drives the motor and raises its current, too, so that %s stays engaged only at loads of %.3g to "
                   "%.3g N.m",
                   fast, pair->helping_downshift_nm, pair->downshift_torque_nm);
    cure_threshold(to, "downshift_below", NULL, NULL);
    return;
  }
  sb_explain_say(to, "%s would have carried ", fast);
  sb_explain_load(to);
  say_torque(to, " (it carries up to", pair->downshift_torque_nm, " (it carries none", " (it carries any load");
  sb_explain_say(to, " at the downshift threshold)");
  cure_haste(to);
}

void sb_explain_not_engaged(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  sb_explain_say(to,
                 "The shift to %s that was commanded at %.4g s has not engaged for %.3g s, longer than the timeout of "
                 "%.3g s; a faster shifter engages in time",
                 sb_explain_gear(to, v->gear), v->first_s, v->duration_s, to->model->shifter.timeout_s);
  sb_explain_cure(to, "gearbox.shifter", NULL, NULL);
}

static struct sb_figure above_of(double reading)
{
  return sb_words_percent_by(ceil, (floor(1000.0 * reading + 1e-9) + 1.0) / 1000.0);
}

static void say_upshift_out_of_reach(struct sb_explaining *to)
{
  const struct sb_model *model = to->model;
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const int slow = to->verdict->gear - 1;
  const double lightest_nm = fmin(to->closed->lightest_load_nm, 0.0);
  const double reading = sb_steady_reading(model, &line, slow, lightest_nm);
  sb_explain_say(to, "The upshift threshold of %.4g %% is out of reach: %s reads at most %.4g %%, %s",
                 100.0 * model->control.upshift_fraction[slow], sb_explain_gear(to, slow + 1), 100.0 * reading,
                 lightest_nm < 0.0 ? "under the lightest load" : "without any load");
  if (reading > model->control.downshift_fraction[slow] + 0.001) {
    cure_threshold(to, "upshift_above", "at most", sb_words_percent_below(reading).text);
  } else {
    cure_threshold(to, "upshift_above", NULL, NULL);
  }
}

static void say_downshift_out_of_reach(struct sb_explaining *to)
{
  const struct sb_model *model = to->model;
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const int slow = to->verdict->gear - 1, fast = slow + 1;
  const double reading = sb_steady_reading(model, &line, fast, sb_steady_stall_nm(model, &line, fast));
  sb_explain_say(to, "The downshift threshold of %.4g %% is out of reach: %s reads at least %.4g %%, up to its stall",
                 100.0 * model->control.downshift_fraction[slow], sb_explain_gear(to, fast + 1), 100.0 * reading);
  if (reading < model->control.upshift_fraction[slow] - 0.001) {
    cure_threshold(to, "downshift_below", "at least", above_of(reading).text);
  } else {
    cure_threshold(to, "downshift_below", NULL, NULL);
  }
}

void sb_explain_out_of_reach(struct sb_explaining *to)
{
  if (to->verdict->is_upshift) {
    say_upshift_out_of_reach(to);
  } else {
    say_downshift_out_of_reach(to);
  }
}
