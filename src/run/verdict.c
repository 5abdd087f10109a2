// SPDX-License-Identifier: GPL-3.0-or-later
/* verdict.c - verdicts in words: what happened, against which figure, and what would help. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "shiftband/verdict.h"

const char *sb_verdict_name(enum sb_verdict_kind kind)
{
#define VERDICT_NAME(code, name) \
  if (kind == code) return name;
  SB_VERDICT_LIST(VERDICT_NAME)
#undef VERDICT_NAME
  return "";
}

static int is_same_name(const char *a, const char *b)
{
  for (; *a != 0 && *b != 0; a++, b++) {
    const char ca = *a == '-' ? ' ' : *a, cb = *b == '-' ? ' ' : *b;
    if (ca != cb) return 0;
  }
  return *a == *b;
}

int sb_verdict_find(const char *name)
{
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (is_same_name(name, sb_verdict_name((enum sb_verdict_kind)kind))) return kind;
  }
  return -1;
}

const char *sb_cause_name(enum sb_cause cause)
{
  switch (cause) {
    case SB_CAUSE_NONE: return NULL;
    case SB_CAUSE_THRESHOLDS: return "threshold-driven";
    case SB_CAUSE_DWELL: return "dwell-driven";
    case SB_CAUSE_LOAD: return "load-driven";
  }
  return NULL;
}

/* Text that grows at its end and never past its size. */
struct words {
  char *text;
  size_t size, length;
};

static void say(struct words *words, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void say(struct words *words, const char *format, ...)
{
  va_list args;
  va_start(args, format);
  const int more = vsnprintf(words->text + words->length, words->size - words->length, format, args);
  va_end(args);
  if (more > 0) words->length += (size_t)more;
  if (words->length >= words->size) words->length = words->size - 1;
}

static void say_load(struct words *words, const struct sb_verdict *v)
{
  if (v->greatest_nm - v->least_nm <= 0.005 * fmax(fabs(v->greatest_nm), fabs(v->least_nm))) {
    say(words, "the load of %.3g N.m", v->greatest_nm);
  } else {
    say(words, "the load of %.3g..%.3g N.m", v->least_nm, v->greatest_nm);
  }
}

/* A threshold that no load, or any, brings about has no torque of its own. */
static void say_torque(struct words *words, const char *where, double torque_nm, const char *below, const char *above)
{
  if (isfinite(torque_nm)) {
    say(words, "%s %.3g N.m", where, torque_nm);
  } else {
    say(words, "%s", torque_nm < 0.0 ? below : above);
  }
}

static void say_band(struct words *words, const struct sb_pair_figures *pair)
{
  const double down_nm = pair->downshift_torque_nm, up_nm = pair->upshift_torque_nm;
  if (!pair->has_band) {
    say(words, "what the thresholds hold (");
    say_torque(words, "down at", down_nm, "down under any load", "down under none");
    say_torque(words, ", up at", up_nm, ", up under none", ", up under any load");
    say(words, ")");
  } else if (isfinite(down_nm) && isfinite(up_nm)) {
    say(words, "the hunting band %.3g..%.3g N.m", down_nm, up_nm);
  } else if (isfinite(up_nm)) {
    say(words, "the hunting band below %.3g N.m", up_nm);
  } else {
    say_torque(words, "the hunting band above", down_nm, "the hunting band of all loads", "");
  }
}

/* Either closes the band: then what the slower gear carries at up is no more than the faster one carries at down. */
static void say_threshold_cure(struct words *words, const struct sb_pair_figures *pair)
{
  const int can_raise = !isnan(pair->least_safe_upshift), can_lower = !isnan(pair->greatest_safe_downshift);
  if (can_raise) say(words, "; raise up to at least %.1f %%", ceil(1000.0 * pair->least_safe_upshift) / 10.0);
  if (can_lower) {
    say(words, "%s down to at most %.1f %%", can_raise ? ", or lower" : "; lower",
        floor(1000.0 * pair->greatest_safe_downshift) / 10.0);
  }
}

static void say_hunting(struct words *words, const struct sb_verdict *v, const struct sb_model *model,
                        const struct sb_closed_form *closed)
{
  const struct sb_pair_figures *pair = &closed->pairs[v->gear - 1];
  say(words, "Hunts between %s and %s every %.3g s from %.4g s to %.4g s, %zu shifts: ",
      model->gearbox.gears[v->gear - 1].name, model->gearbox.gears[v->gear].name, v->period_s, v->first_s, v->last_s,
      v->count);
  say_load(words, v);
  if (v->cause == SB_CAUSE_THRESHOLDS) {
    say(words, " lies in ");
    say_band(words, pair);
    say_threshold_cure(words, pair);
  } else if (v->cause == SB_CAUSE_DWELL) {
    say(words, " hardly moved and lies outside ");
    say_band(words, pair);
    say(words, ": the dwell of %.3g s or the start delay of %.3g s is too short, or the reading too coarse",
        model->control.dwell_s, model->control.start_delay_s);
    if (!isnan(pair->shortest_dwell_s)) say(words, "; dwell for at least %.3g s", pair->shortest_dwell_s);
  } else {
    say(words, " itself moves across ");
    say_band(words, pair);
    say(words, "; thresholds further apart or a longer dwell than %.3g s are a choice", model->control.dwell_s);
  }
}

static void say_stall(struct words *words, const struct sb_verdict *v, const struct sb_model *model,
                      const struct sb_closed_form *closed)
{
  const double stall_nm = closed->gears[v->gear - 1].stall_torque_nm;
  say(words, "Stalls in %s from %.4g s on, for %.3g s", model->gearbox.gears[v->gear - 1].name, v->first_s,
      v->duration_s);
  if (v->count > 1) say(words, " in %zu spells", v->count);
  say(words, ": ");
  say_load(words, v);
  if (v->greatest_nm > stall_nm) {
    say(words, " is more than the %.3g N.m that this gear can move", stall_nm);
  } else {
    say(words, " holds at rest (breakaway) against the %.3g N.m that this gear can move", stall_nm);
  }
}

static void say_more_times(struct words *words, size_t more)
{
  if (more == 1) say(words, " and once more");
  if (more > 1) say(words, " and %zu times more", more);
}

/* Why the first decision came before the motor had run up: the start delay, or what holds the motor back. */
static void say_late_start(struct words *words, const struct sb_model *model, double needed_s)
{
  const double delay_s = model->control.start_delay_s;
  if (isnan(needed_s)) return;
  say(words, "; it had not run up yet: ");
  if (needed_s > delay_s) {
    say(words, "start_delay needs at least %.3g s", needed_s);
  } else if (model->drive.ramp_s > 0.0) {
    say(words, "the drive's ramp of %.3g s holds it back for longer than the start delay of %.3g s",
        model->drive.ramp_s, delay_s);
  } else if (model->drive.mode == SB_DRIVE_SPEED_CONTROL) {
    say(words, "the loop that holds the speed takes longer than the start delay of %.3g s", delay_s);
  } else {
    say(words, "the start delay of %.3g s is too short for this load", delay_s);
  }
}

static void say_low(struct words *words, const struct sb_verdict *v, const struct sb_model *model,
                    const struct sb_closed_form *closed)
{
  const struct sb_pair_figures *pair = &closed->pairs[v->gear - 1];
  const char *slow = model->gearbox.gears[v->gear - 1].name, *fast = model->gearbox.gears[v->gear].name;
  if (v->kind == SB_VERDICT_STUCK_LOW) {
    say(words, "Stuck in %s from %.4g s on, for %.3g s", slow, v->first_s, v->duration_s);
    if (v->count > 1) say(words, " in %zu spells", v->count);
    say(words, ": %s would hold ", fast);
    say_load(words, v);
    say_torque(words, " (up to", pair->downshift_torque_nm, " (under none", " (under any load");
    say(words, "), but %s comes above up ", slow);
    if (isfinite(pair->helping_upshift_nm) && v->least_nm < pair->helping_upshift_nm) {
      say(words, "only between %.3g and %.3g N.m: a load that drives the motor raises its current too",
          pair->helping_upshift_nm, pair->upshift_torque_nm);
      return;
    }
    say_torque(words, "only below", pair->upshift_torque_nm, "under no load", "under any load, and was kept from it");
    return;
  }
  say(words, "Shifts down for nothing from %s at %.4g s", fast, v->first_s);
  say_more_times(words, v->count - 1);
  if (isfinite(pair->helping_downshift_nm) && v->least_nm < pair->helping_downshift_nm) {
    say(words, ": ");
    say_load(words, v);
    say(words, " drives the motor and raises its current too, so that %s is held only between %.3g and %.3g N.m", fast,
        pair->helping_downshift_nm, pair->downshift_torque_nm);
    return;
  }
  say(words, ": %s would have held ", fast);
  say_load(words, v);
  say_torque(words, " above down, up to", pair->downshift_torque_nm, " above down",
             " above down, as it would any load");
  if (v->first_s <= model->control.start_delay_s + model->control.sample_period_s) {
    say_late_start(words, model, pair->shortest_start_delay_s);
  }
}

/* The load that has one contact with the ground has one vehicle. */
static const struct sb_vehicle *vehicle_of(const struct sb_model *model)
{
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_vehicle *vehicle = sb_body_as_vehicle(&model->bodies[i]);
    if (vehicle != NULL) return vehicle;
  }
  return NULL;
}

static void say_slipping(struct words *words, const struct sb_verdict *v, const struct sb_model *model)
{
  const struct sb_vehicle *vehicle = vehicle_of(model);
  say(words, "Wheels slip from %.4g s on, for %.3g s", v->first_s, v->duration_s);
  if (v->count > 1) say(words, " in %zu spells", v->count);
  if (vehicle == NULL) return;
  const struct sb_road *road = &model->load.road;
  const bool has_need = v->need.whole_nm > 0.0;
  const double press_n = (has_need ? v->need.press_nm : sb_road_press_nm(road, 0.0)) / vehicle->wheel_radius_m;
  say(words, ": the ground carries a push of %.3g N", road->static_friction_ratio * press_n);
  if (road->kinetic_friction_ratio < road->static_friction_ratio)
    say(words, ", %.3g N once they slip", road->kinetic_friction_ratio * press_n);
  say(words, ", and a lower gear pushes no harder");
  if (!has_need) return;
  const double ballast_kg = sb_road_ballast_kg(road, &v->need);
  say(words, "; %.3g N stand against it", v->need.whole_nm / vehicle->wheel_radius_m);
  if (isfinite(ballast_kg)) {
    say(words, ", so that more than %.3g kg of ballast on the driven wheels would be needed", ballast_kg);
  } else {
    say(words, ", and no ballast would help: it adds more resistance than grip");
  }
}

static void say_cut(struct words *words, const struct sb_verdict *v, const struct sb_model *model)
{
  say(words, "The drive is cut at %.4g s", v->first_s);
  say_more_times(words, v->count - 1);
  say(words, ", for %.3g s in all: ", v->duration_s);
  if (v->is_by_heat) say(words, "the winding reached the cut-out's %.4g C", model->winding.cut_out_c);
  if (v->is_by_heat && v->is_by_battery) say(words, ", and ");
  if (v->is_by_battery) {
    say(words, "the battery is empty or fell below its cut-off of %.3g V under load", model->battery.cutoff_v);
  }
}

const char *sb_verdict_text(const struct sb_verdict *verdict, const struct sb_model *model,
                            const struct sb_closed_form *closed, char *text, size_t size)
{
  struct words words = {text, size, 0};
  text[0] = 0;
  switch (verdict->kind) {
    case SB_VERDICT_HUNTING: say_hunting(&words, verdict, model, closed); break;
    case SB_VERDICT_STALL: say_stall(&words, verdict, model, closed); break;
    case SB_VERDICT_STUCK_LOW:
    case SB_VERDICT_NEEDLESS_DOWNSHIFT: say_low(&words, verdict, model, closed); break;
    case SB_VERDICT_OVERLOAD:
      say(&words, "Overloads the output from %.4g s on, for %.3g s: %.3g N.m against a limit of %.3g N.m",
          verdict->first_s, verdict->duration_s, verdict->greatest_nm, verdict->least_nm);
      if (model->output_limit[0] != 0) say(&words, " (%s)", model->output_limit);
      break;
    case SB_VERDICT_NOT_ENGAGED:
      say(&words, "A shift to %s at %.4g s has not engaged for %.3g s, longer than the timeout of %.3g s",
          model->gearbox.gears[verdict->gear - 1].name, verdict->first_s, verdict->duration_s,
          model->shifter.timeout_s);
      break;
    case SB_VERDICT_SLIPPING: say_slipping(&words, verdict, model); break;
    case SB_VERDICT_OVERHEATED:
      say(&words, "Overheats the winding from %.4g s on, for %.3g s: %.4g C against a limit of %.4g C",
          verdict->first_s, verdict->duration_s, verdict->greatest_c, model->limits.winding_c);
      break;
    case SB_VERDICT_DRIVE_CUT: say_cut(&words, verdict, model); break;
    case SB_VERDICT_KIND_COUNT: break;
  }
  return text;
}
