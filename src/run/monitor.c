// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "shiftband/verdict.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static struct sb_watch watch_of(enum sb_verdict_kind kind, double patience_s)
{
  return (struct sb_watch){kind, patience_s, NAN, NAN, NAN, NAN, NAN};
}

/* A state that is a verdict however short. */
static const double none = -1.0;

static void take_bands(struct sb_monitor *monitor)
{
  const struct sb_model *model = monitor->model;
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    monitor->bands[p] =
        sb_band_of(model, &monitor->line, p, model->control.downshift_fraction[p], model->control.upshift_fraction[p]);
  }
}

void sb_monitor_init(struct sb_monitor *monitor, const struct sb_model *model, const struct sb_derived *derived)
{
  *monitor = (struct sb_monitor){.model = model,
                                 .off_since_s = NAN,
                                 .rest = watch_of(SB_VERDICT_STALL, model->limits.stall_time_s),
                                 .slip = watch_of(SB_VERDICT_SLIPPING, model->limits.slip_time_s),
                                 .low = watch_of(SB_VERDICT_STUCK_LOW, INFINITY),
                                 .reversed = watch_of(SB_VERDICT_REVERSED, none),
                                 .fast = watch_of(SB_VERDICT_OVERSPEED, none),
                                 .clutch = watch_of(SB_VERDICT_CLUTCH_SLIPS, sb_model_clutch_slip_s(model))};
  sb_shortfall_init(&monitor->shortfall);
  monitor->line = derived->line;
  monitor->fast.limit = sb_model_motor_speed_limit_rad_s(model);
  monitor->clutch.limit = sb_shifter_clutch_nm(&model->shifter);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    monitor->tau_s[g] = sb_torque_balance_time_constant_s(model, &monitor->line, g);
    monitor->is_reversed[g + 1] = sb_gearbox_is_reversed(&model->gearbox, g);
  }
  take_bands(monitor);
}

void sb_monitor_clear(struct sb_monitor *monitor)
{
  free(monitor->shifts);
  free(monitor->verdicts);
  monitor->shifts = NULL;
  monitor->verdicts = NULL;
  monitor->shift_count = monitor->shift_kept = monitor->verdict_count = 0;
}

/* Room for one more item behind count, or the monitor remembers that something was lost. items: see sb_grow(). */
static bool make_room(struct sb_monitor *monitor, void *items, size_t *room, size_t count, size_t size)
{
  if (sb_grow(items, room, count, size)) return true;
  monitor->is_out_of_memory = 1;
  return false;
}

static void add_verdict(struct sb_monitor *monitor, const struct sb_verdict *verdict)
{
  const size_t count = monitor->verdict_count;
  if (!make_room(monitor, &monitor->verdicts, &monitor->verdict_room, count, sizeof *monitor->verdicts)) return;
  monitor->verdicts[monitor->verdict_count++] = *verdict;
}

/* The last verdict of that kind, gear and cause, or NULL. */
static struct sb_verdict *find_verdict(struct sb_monitor *monitor, const struct sb_verdict *like)
{
  for (size_t i = monitor->verdict_count; i > 0; i--) {
    struct sb_verdict *known = &monitor->verdicts[i - 1];
    if (known->kind == like->kind && known->gear == like->gear && known->cause == like->cause) return known;
  }
  return NULL;
}

/* What was found, at its worst: a load below the downshift torque, all else above a limit. */
static double worse(const struct sb_verdict *known, const struct sb_verdict *more)
{
  return known->kind == SB_VERDICT_NEEDLESS_DOWNSHIFT ? fmin(known->found, more->found)
                                                      : fmax(known->found, more->found);
}

static void extend_verdict(struct sb_verdict *known, const struct sb_verdict *more)
{
  known->count += more->count;
  known->last_s = more->last_s;
  known->duration_s += more->duration_s;
  known->least_nm = fmin(known->least_nm, more->least_nm);
  known->greatest_nm = fmax(known->greatest_nm, more->greatest_nm);
  known->found = worse(known, more);
}

/* What lasted from one time to another, once, with nothing known of the gear and the load. */
static struct sb_verdict verdict_over(enum sb_verdict_kind kind, double first_s, double last_s, double duration_s)
{
  return (struct sb_verdict){.kind = kind,
                             .first_s = first_s,
                             .last_s = last_s,
                             .count = 1,
                             .period_s = NAN,
                             .duration_s = duration_s,
                             .least_nm = NAN,
                             .greatest_nm = NAN,
                             .limit = NAN,
                             .found = NAN,
                             .stopped_s = NAN};
}

/* Adds to the verdict of its kind and gear, or begins one. */
static void count_verdict(struct sb_monitor *monitor, const struct sb_verdict *verdict)
{
  struct sb_verdict *known = find_verdict(monitor, verdict);
  if (known != NULL) {
    extend_verdict(known, verdict);
  } else {
    add_verdict(monitor, verdict);
  }
}

/* Opposite commands ---------------------------------------------------------------------------------------------------- */

double sb_monitor_hunt_window_s(const struct sb_model *model, const double *tau_s, int slower, double shift_s)
{
  if (!isnan(model->limits.hunt_window_s)) return model->limits.hunt_window_s;
  return 3.0 * model->control.dwell_s + shift_s + 5.0 * tau_s[slower];
}

static double hunt_window_s(const struct sb_monitor *monitor)
{
  const struct sb_shift_record *last = &monitor->last_shift;
  const int slower = (last->from < last->to ? last->from : last->to) - 1;
  const double shift_s = isnan(last->engaged_s) ? 0.0 : last->engaged_s - last->command_s;
  return sb_monitor_hunt_window_s(monitor->model, monitor->tau_s, slower, shift_s);
}

/* A stretch of threes has ended: it is one verdict. */
static void close_stretch(struct sb_monitor *monitor, struct sb_stretch_of_threes *stretch)
{
  if (stretch->last == 0) return;
  struct sb_verdict *verdict = &stretch->verdict;
  verdict->count = stretch->last - stretch->first + 1;
  verdict->period_s = stretch->periods_s / (double)stretch->period_count;
  verdict->duration_s = verdict->last_s - verdict->first_s;
  if (monitor->verdict_count >= SB_VERDICTS_KEPT) {
    count_verdict(monitor, verdict);
  } else {
    add_verdict(monitor, verdict);
  }
  stretch->last = 0;
}

static void begin_stretch(struct sb_monitor *monitor, struct sb_stretch_of_threes *stretch, enum sb_cause cause,
                          const struct sb_three *three, int slower)
{
  close_stretch(monitor, stretch);
  *stretch = (struct sb_stretch_of_threes){.first = monitor->shift_count - 1};
  stretch->verdict = verdict_over(sb_verdict_of_cause(cause), three->time_s[0], three->time_s[2], 0.0);
  stretch->verdict.cause = cause;
  stretch->verdict.gear = slower + 1;
  stretch->verdict.three = *three;
  stretch->verdict.band = monitor->bands[slower];
  stretch->verdict.limit = cause == SB_CAUSE_LOAD ? sb_model_shift_interval_s(monitor->model) : hunt_window_s(monitor);
}

/* A command completes three that are a finding; it is the monitor's next. */
static void take_three(struct sb_monitor *monitor, enum sb_cause cause, const struct sb_three *three, int slower)
{
  struct sb_stretch_of_threes *stretch = cause == SB_CAUSE_LOAD ? &monitor->busy : &monitor->hunting;
  const size_t number = monitor->shift_count + 1;
  struct sb_verdict *verdict = &stretch->verdict;
  if (!(stretch->last > 0 && number - 2 <= stretch->last)) begin_stretch(monitor, stretch, cause, three, slower);
  if (cause < verdict->cause) { /* the thresholds are the greater fault */
    verdict->cause = cause;
    verdict->three = *three;
  }
  for (int k = 0; k < 3; k++) {
    verdict->least_nm = fmin(verdict->least_nm, three->load_nm[k]);
    verdict->greatest_nm = fmax(verdict->greatest_nm, three->load_nm[k]);
  }
  verdict->last_s = three->time_s[2];
  stretch->periods_s += three->time_s[2] - three->time_s[0];
  stretch->period_count++;
  stretch->last = number;
}

/* Takes a command into the chain of opposite ones, or begins a new one with it. */
static void follow_chain(struct sb_monitor *monitor, const struct sb_row *row, int to_gear)
{
  const struct sb_shift_record *last = &monitor->last_shift;
  const bool is_opposite = monitor->chain.count > 0 && last->from == to_gear && last->to == row->gear;
  const struct sb_chain_link link = {.time_s = row->time_s,
                                     .load_nm = row->own_load_nm,
                                     .faster_nm = to_gear < row->gear ? row->own_load_nm : row->next_load_nm,
                                     .hunt_window_s = is_opposite ? hunt_window_s(monitor) : 0.0,
                                     .busy_window_s = sb_model_shift_interval_s(monitor->model),
                                     .is_opposite = is_opposite,
                                     .is_down = to_gear < row->gear};
  struct sb_three three;
  if (!sb_three_follow(&monitor->chain, &link, &three)) return;
  const int slower = (to_gear < row->gear ? to_gear : row->gear) - 1;
  const enum sb_cause cause = sb_three_cause(&three, &monitor->bands[slower]);
  if (cause != SB_CAUSE_NONE) take_three(monitor, cause, &three, slower);
}

/* A stop of the drive that was longer than the window parts the commands before it from those behind it. */
static void end_stop(struct sb_monitor *monitor, double time_s)
{
  const bool is_long = monitor->shift_count > 0 && time_s - monitor->off_since_s > hunt_window_s(monitor);
  struct sb_stretch_of_threes *const stretches[] = {&monitor->hunting, &monitor->busy};
  for (int k = 0; is_long && k < 2; k++) {
    if (stretches[k]->last == monitor->shift_count) stretches[k]->verdict.stopped_s = monitor->off_since_s;
  }
  if (is_long) monitor->chain.is_parted = 1;
  monitor->off_since_s = NAN;
}

static void keep_shift(struct sb_monitor *monitor)
{
  if (monitor->shift_kept >= SB_SHIFTS_KEPT) return;
  const size_t kept = monitor->shift_kept;
  if (!make_room(monitor, &monitor->shifts, &monitor->shift_room, kept, sizeof *monitor->shifts)) return;
  monitor->shifts[monitor->shift_kept++] = monitor->last_shift;
}

void sb_monitor_command(struct sb_monitor *monitor, const struct sb_row *row, int to_gear)
{
  follow_chain(monitor, row, to_gear);
  monitor->last_shift = (struct sb_shift_record){.command_s = row->time_s,
                                                 .engaged_s = NAN,
                                                 .from = row->gear,
                                                 .to = to_gear,
                                                 .reading_pct = row->reading_pct,
                                                 .load_torque_nm = row->load_torque_nm,
                                                 .external_torque_nm = row->external_torque_nm};
  monitor->is_shift_excused = false;
  monitor->shift_count++;
  keep_shift(monitor);
  if (to_gear >= row->gear) return;
  const struct sb_band *band = &monitor->bands[to_gear - 1];
  if (!sb_band_is_needless(row->own_load_nm, band->downshift_nm)) return;
  struct sb_verdict verdict = verdict_over(SB_VERDICT_NEEDLESS_DOWNSHIFT, row->time_s, row->time_s, 0.0);
  verdict.gear = to_gear;
  verdict.least_nm = verdict.greatest_nm = row->external_torque_nm;
  verdict.limit = band->downshift_nm;
  verdict.found = row->own_load_nm;
  verdict.band = *band;
  count_verdict(monitor, &verdict);
}

/* A state that was watched has ended: long enough, it was what the watch is for. */
static void close_watch(struct sb_monitor *monitor, struct sb_watch *watch, double time_s)
{
  const double lasted_s = time_s - watch->since_s;
  if (!isnan(watch->since_s) && lasted_s > watch->patience_s) {
    struct sb_verdict verdict = verdict_over(watch->kind, watch->since_s, time_s, lasted_s);
    verdict.gear = monitor->gear;
    verdict.least_nm = watch->least_nm;
    verdict.greatest_nm = watch->greatest_nm;
    verdict.limit = isnan(watch->limit) ? watch->patience_s : watch->limit;
    verdict.found = isnan(watch->limit) ? lasted_s : watch->worst;
    if (watch->kind == SB_VERDICT_STUCK_LOW) verdict.band = monitor->bands[monitor->gear - 1];
    count_verdict(monitor, &verdict);
  }
  watch->since_s = NAN;
}

/* Goes on with a state, or ends it; load_nm: what the verdict says of the load, or NAN. */
static void follow_watch(struct sb_monitor *monitor, struct sb_watch *watch, bool is_on, double time_s, double load_nm)
{
  if (!is_on) {
    if (!isnan(watch->since_s)) close_watch(monitor, watch, time_s);
    return;
  }
  if (isnan(watch->since_s)) {
    watch->since_s = time_s;
    watch->least_nm = watch->greatest_nm = load_nm;
    watch->worst = NAN;
  }
  watch->least_nm = fmin(watch->least_nm, load_nm);
  watch->greatest_nm = fmax(watch->greatest_nm, load_nm);
}

static bool is_low(const struct sb_monitor *monitor, const struct sb_row *row)
{
  const bool is_slower = row->gear > 0 && row->gear < monitor->model->gearbox.gear_count;
  const bool is_late = row->time_s >= monitor->model->control.start_delay_s;
  return is_slower && is_late && sb_row_next_load_nm(row) < monitor->bands[row->gear - 1].downshift_nm;
}

static void check_engaged_in_time(struct sb_monitor *monitor, const struct sb_shift_record *shift, double time_s)
{
  if (monitor->is_shift_excused) return;
  if (time_s - shift->command_s <= monitor->model->shifter.timeout_s) return;
  struct sb_verdict verdict = verdict_over(SB_VERDICT_NOT_ENGAGED, shift->command_s, time_s, time_s - shift->command_s);
  verdict.gear = shift->to;
  verdict.limit = monitor->model->shifter.timeout_s;
  verdict.found = verdict.duration_s;
  count_verdict(monitor, &verdict);
}

static void follow_engagement(struct sb_monitor *monitor, const struct sb_row *row)
{
  struct sb_shift_record *last = &monitor->last_shift;
  if (monitor->shift_count == 0 || row->gear == 0 || !isnan(last->engaged_s)) return;
  last->engaged_s = row->time_s;
  if (monitor->shift_count == monitor->shift_kept) monitor->shifts[monitor->shift_kept - 1] = *last;
  check_engaged_in_time(monitor, last, row->time_s);
}

void sb_monitor_switched(struct sb_monitor *monitor, double time_s, bool is_on)
{
  if (!is_on && isnan(monitor->off_since_s)) monitor->off_since_s = time_s;
  if (is_on && !isnan(monitor->off_since_s)) end_stop(monitor, time_s);
  if (monitor->shift_count > 0 && isnan(monitor->last_shift.engaged_s)) monitor->is_shift_excused = true;
}

void sb_monitor_clutch_take(struct sb_clutch_share *share, double time_s, bool is_engaged, double over_nm)
{
  const bool is_over = over_nm > 0.0;
  const double passed_s = time_s - share->last_s;
  if (share->was_engaged) share->engaged_s += passed_s;
  if (share->was_over) share->over_s += passed_s;
  share->last_s = time_s;
  share->was_engaged = is_engaged;
  share->was_over = is_over;
  if (is_over && share->greatest_nm == 0.0) share->first_s = time_s;
  share->greatest_nm = fmax(share->greatest_nm, over_nm);
}

bool sb_monitor_clutch_is_over(const struct sb_clutch_share *share)
{
  return share->over_s > 0.05 * share->engaged_s;
}

static void watch_clutch(struct sb_monitor *monitor, const struct sb_row *row)
{
  const bool is_over = row->is_clutch_slipping != 0;
  if (!(sb_shifter_clutch_nm(&monitor->model->shifter) > 0.0)) return;
  follow_watch(monitor, &monitor->clutch, is_over, row->time_s, NAN);
  if (is_over) monitor->clutch.worst = fmax(monitor->clutch.worst, row->clutch_nm);
  sb_monitor_clutch_take(&monitor->clutch_share, row->time_s, row->gear > 0, is_over ? row->clutch_nm : 0.0);
}

/* What holds in every gear, whoever chose it. */
static void watch_machine(struct sb_monitor *monitor, const struct sb_row *row)
{
  const double speed_rad_s = fabs(row->motor_speed_rad_s);
  const bool is_fast = speed_rad_s > monitor->fast.limit;
  follow_watch(monitor, &monitor->rest, sb_row_is_stalled(row, &monitor->model->drive), row->time_s,
               row->external_torque_nm);
  follow_watch(monitor, &monitor->slip, row->is_slipping != 0, row->time_s, NAN);
  follow_watch(monitor, &monitor->reversed, monitor->is_reversed[row->gear] != 0, row->time_s, NAN);
  follow_watch(monitor, &monitor->fast, is_fast, row->time_s, NAN);
  if (is_fast) monitor->fast.worst = fmax(monitor->fast.worst, speed_rad_s);
  watch_clutch(monitor, row);
}

void sb_monitor_row(struct sb_monitor *monitor, const struct sb_row *row, int is_automatic)
{
  watch_machine(monitor, row);
  monitor->is_automatic = is_automatic;
  sb_shortfall_row(&monitor->shortfall, monitor->model, row->gear > 0 ? monitor->tau_s[row->gear - 1] : 0.0, row);
  if (is_automatic) {
    follow_watch(monitor, &monitor->low, is_low(monitor, row), row->time_s, row->external_torque_nm);
    follow_engagement(monitor, row);
  }
  if (row->gear == monitor->gear) return;
  monitor->gear = row->gear;
  monitor->low.patience_s =
      row->gear > 0 ? monitor->model->control.dwell_s + 5.0 * monitor->tau_s[row->gear - 1] : (double)INFINITY;
}

static int compare_first(const void *a, const void *b)
{
  const struct sb_verdict *va = a, *vb = b;
  if (va->first_s != vb->first_s) return va->first_s < vb->first_s ? -1 : 1;
  return (int)va->kind - (int)vb->kind;
}

static void add_if_seen(struct sb_monitor *monitor, const struct sb_verdict *verdict)
{
  if (!isnan(verdict->first_s)) add_verdict(monitor, verdict);
}

static void add_over_limit(struct sb_monitor *monitor, const struct sb_over_limit *over, bool is_crest)
{
  if (over->count == 0) return;
  struct sb_verdict verdict = verdict_over(SB_VERDICT_OVERLOAD, over->first_s, over->last_s, over->total_s);
  verdict.count = (size_t)over->count;
  verdict.limit = verdict.least_nm = monitor->model->limits.output_torque_nm;
  verdict.found = verdict.greatest_nm = over->greatest_nm;
  verdict.is_crest = is_crest;
  add_verdict(monitor, &verdict);
}

static void add_overload(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  struct sb_sums closed = *sums;
  sb_energy_close_over_limit(&closed, monitor->model->limits.output_torque_nm);
  add_over_limit(monitor, &closed.over_lasting, false);
  add_over_limit(monitor, &closed.over_crests, true);
}

static void add_heat(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  struct sb_verdict hot = verdict_over(SB_VERDICT_OVERHEATED, sums->hot_first_s, sums->hot_last_s, sums->hot_s);
  hot.limit = monitor->model->limits.winding_c;
  hot.found = hot.greatest_c = sums->winding_c.value;
  add_if_seen(monitor, &hot);
}

static void add_cut(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  struct sb_verdict cut = verdict_over(SB_VERDICT_DRIVE_CUT, sums->cut_first_s, sums->cut_last_s, sums->cut_s);
  if (sums->cut_count > 0) cut.count = (size_t)sums->cut_count;
  cut.is_by_heat = sums->was_cut_by_heat;
  cut.is_by_battery = sums->was_cut_by_battery;
  add_if_seen(monitor, &cut);
}

static void add_run_back(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  const double limit_rad = sb_model_run_back_rad(monitor->model, sums->way_rad);
  if (!(sums->back.value > limit_rad)) return;
  struct sb_verdict back =
      verdict_over(SB_VERDICT_RUNS_BACK, sums->back_since_s, sums->back.time_s, sums->back.time_s - sums->back_since_s);
  back.limit = limit_rad;
  back.found = sums->back.value;
  add_verdict(monitor, &back);
}

struct sb_verdict *sb_monitor_find(const struct sb_monitor *monitor, enum sb_verdict_kind kind)
{
  for (size_t i = 0; monitor != NULL && i < monitor->verdict_count; i++) {
    if (monitor->verdicts[i].kind == kind) return &monitor->verdicts[i];
  }
  return NULL;
}

/* The simulator knows the greatest speed, between rows too. */
static void add_overspeed(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  const struct sb_peak *peak = &sums->motor_speed_rad_s;
  if (!(fabs(peak->value) > monitor->fast.limit)) return;
  struct sb_verdict fast = verdict_over(SB_VERDICT_OVERSPEED, peak->time_s, peak->time_s, 0.0);
  fast.limit = monitor->fast.limit;
  if (sb_monitor_find(monitor, SB_VERDICT_OVERSPEED) == NULL) add_verdict(monitor, &fast);
  struct sb_verdict *known = sb_monitor_find(monitor, SB_VERDICT_OVERSPEED);
  if (known != NULL) known->found = fabs(peak->value);
}

/* A clutch that slips again and again, each time for a short while. */
static void add_clutch_share(struct sb_monitor *monitor)
{
  const struct sb_clutch_share *share = &monitor->clutch_share;
  if (!sb_monitor_clutch_is_over(share) || sb_monitor_find(monitor, SB_VERDICT_CLUTCH_SLIPS) != NULL) return;
  struct sb_verdict slips = verdict_over(SB_VERDICT_CLUTCH_SLIPS, share->first_s, share->last_s, share->over_s);
  slips.limit = monitor->clutch.limit;
  slips.found = share->greatest_nm;
  add_verdict(monitor, &slips);
}

/* Of a threshold: what it would need of the load is no load that there is. */
static void add_out_of_reach(struct sb_monitor *monitor, int pair, bool is_upshift, double limit_nm, double found_nm)
{
  struct sb_verdict far = verdict_over(SB_VERDICT_OUT_OF_REACH, 0.0, 0.0, 0.0);
  far.gear = pair + 1;
  far.is_upshift = is_upshift;
  far.limit = limit_nm;
  far.found = found_nm;
  far.band = monitor->bands[pair];
  add_verdict(monitor, &far);
}

static void judge_reach(struct sb_monitor *monitor)
{
  const struct sb_model *model = monitor->model;
  double lightest_nm, heaviest_nm;
  sb_load_range_nm(&model->load, model->run.duration_s, &lightest_nm, &heaviest_nm);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const struct sb_band *band = &monitor->bands[p];
    const double stall_nm = sb_steady_stall_nm(model, &monitor->line, p + 1);
    if (sb_band_is_downshift_out_of_reach(band->downshift_nm, stall_nm)) {
      add_out_of_reach(monitor, p, false, stall_nm, band->downshift_nm);
    }
    if (sb_band_is_upshift_out_of_reach(band->upshift_nm, lightest_nm)) {
      add_out_of_reach(monitor, p, true, fmin(lightest_nm, 0.0), band->upshift_nm);
    }
  }
}

static void close_all(struct sb_monitor *monitor, double time_s)
{
  enum { WATCH_COUNT = 6 };
  struct sb_watch *const watches[WATCH_COUNT] = {&monitor->rest,     &monitor->low,  &monitor->slip,
                                                 &monitor->reversed, &monitor->fast, &monitor->clutch};
  sb_shortfall_finish(&monitor->shortfall, time_s);
  close_stretch(monitor, &monitor->hunting);
  close_stretch(monitor, &monitor->busy);
  for (int k = 0; k < WATCH_COUNT; k++) close_watch(monitor, watches[k], time_s);
}

enum sb_status sb_monitor_finish(struct sb_monitor *monitor, const struct sb_row *last, const struct sb_sums *sums)
{
  close_all(monitor, last->time_s);
  if (monitor->shift_count > 0 && isnan(monitor->last_shift.engaged_s)) {
    check_engaged_in_time(monitor, &monitor->last_shift, last->time_s);
  }
  add_overload(monitor, sums);
  add_heat(monitor, sums);
  add_cut(monitor, sums);
  add_run_back(monitor, sums);
  add_overspeed(monitor, sums);
  add_clutch_share(monitor);
  if (monitor->is_automatic) judge_reach(monitor);
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    struct sb_verdict *verdict = &monitor->verdicts[i];
    if (verdict->kind == SB_VERDICT_SLIPPING) verdict->need = sums->slip_need;
    if (verdict->kind == SB_VERDICT_CLUTCH_SLIPS) verdict->lost_j = sums->energy.clutch_loss;
  }
  if (monitor->verdict_count > 0) {
    qsort(monitor->verdicts, monitor->verdict_count, sizeof *monitor->verdicts, compare_first);
  }
  return monitor->is_out_of_memory ? SB_ERR_MEMORY : SB_OK;
}
