// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "shiftband/verdict.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

/* A load that moved less than this fraction of itself hardly moved. */
static const double hardly_moved = 0.05;

/* Loads are compared with a closed form to this fraction. */
static const double same_load = 1e-9;

void sb_monitor_init(struct sb_monitor *monitor, const struct sb_model *model, const struct sb_derived *derived)
{
  *monitor = (struct sb_monitor){.model = model,
                                 .rest = {SB_VERDICT_STALL, model->limits.stall_time_s, NAN, NAN, NAN},
                                 .slip = {SB_VERDICT_SLIPPING, model->limits.slip_time_s, NAN, NAN, NAN},
                                 .low = {SB_VERDICT_STUCK_LOW, INFINITY, NAN, NAN, NAN}};
  sb_shortfall_init(&monitor->shortfall);
  monitor->line = derived->line;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    monitor->tau_s[g] = sb_torque_balance_time_constant_s(model, &monitor->line, g);
  }
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const struct sb_control *control = &model->control;
    monitor->downshift_nm[p] = sb_steady_load_nm(model, &monitor->line, p + 1, control->downshift_fraction[p]);
    monitor->upshift_nm[p] = sb_steady_load_nm(model, &monitor->line, p, control->upshift_fraction[p]);
  }
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

static void extend_verdict(struct sb_verdict *known, const struct sb_verdict *more)
{
  known->count += more->count;
  known->last_s = more->last_s;
  known->duration_s += more->duration_s;
  known->least_nm = fmin(known->least_nm, more->least_nm);
  known->greatest_nm = fmax(known->greatest_nm, more->greatest_nm);
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
                             .greatest_nm = NAN};
}

/* Adds to the verdict of that kind and gear, or begins one. */
static void count_verdict(struct sb_monitor *monitor, enum sb_verdict_kind kind, int gear, double first_s,
                          double last_s, double least_nm, double greatest_nm)
{
  struct sb_verdict verdict = verdict_over(kind, first_s, last_s, last_s - first_s);
  verdict.gear = gear;
  verdict.least_nm = least_nm;
  verdict.greatest_nm = greatest_nm;
  struct sb_verdict *known = find_verdict(monitor, &verdict);
  if (known != NULL) {
    extend_verdict(known, &verdict);
  } else {
    add_verdict(monitor, &verdict);
  }
}

static double hunt_window_s(const struct sb_monitor *monitor, const struct sb_shift_record *last)
{
  const struct sb_model *model = monitor->model;
  if (!isnan(model->limits.hunt_window_s)) return model->limits.hunt_window_s;
  const int slower = (last->from < last->to ? last->from : last->to) - 1;
  const double shift_s = isnan(last->engaged_s) ? 0.0 : last->engaged_s - last->command_s;
  return 3.0 * model->control.dwell_s + shift_s + 5.0 * monitor->tau_s[slower];
}

enum sb_cause sb_monitor_cause(double downshift_nm, double upshift_nm, double least_nm, double greatest_nm)
{
  if (least_nm > downshift_nm && greatest_nm < upshift_nm) return SB_CAUSE_THRESHOLDS;
  const double size = fmax(fabs(least_nm), fabs(greatest_nm));
  return greatest_nm - least_nm <= hardly_moved * size ? SB_CAUSE_DWELL : SB_CAUSE_LOAD;
}

/* The chain of opposite commands has ended: long enough, it was hunting. */
static void close_chain(struct sb_monitor *monitor)
{
  const struct sb_shift_chain *chain = &monitor->chain;
  if (chain->count < 3) return;
  const struct sb_shift_record *last = &monitor->last_shift;
  const int slower = last->from < last->to ? last->from : last->to;
  const enum sb_cause cause = sb_monitor_cause(monitor->downshift_nm[slower - 1], monitor->upshift_nm[slower - 1],
                                               chain->least_nm, chain->greatest_nm);
  const struct sb_verdict verdict = {.kind = sb_verdict_of_cause(cause),
                                     .cause = cause,
                                     .gear = slower,
                                     .first_s = chain->first_s,
                                     .last_s = chain->last_s,
                                     .count = chain->count,
                                     .period_s = chain->periods_s / (double)(chain->count - 2),
                                     .duration_s = chain->last_s - chain->first_s,
                                     .least_nm = chain->least_nm,
                                     .greatest_nm = chain->greatest_nm};
  struct sb_verdict *known = monitor->verdict_count >= SB_VERDICTS_KEPT ? find_verdict(monitor, &verdict) : NULL;
  if (known != NULL) {
    extend_verdict(known, &verdict);
  } else {
    add_verdict(monitor, &verdict);
  }
}

/* Takes a command into the present chain, or begins a new one with it. */
static void follow_chain(struct sb_monitor *monitor, const struct sb_row *row, int to_gear)
{
  struct sb_shift_chain *chain = &monitor->chain;
  const struct sb_shift_record *last = &monitor->last_shift;
  const int is_opposite = chain->count > 0 && last->from == to_gear && last->to == row->gear;
  if (is_opposite && row->time_s - last->command_s <= hunt_window_s(monitor, last)) {
    if (chain->count >= 2) chain->periods_s += row->time_s - chain->before_last_s;
    chain->count++;
    chain->before_last_s = chain->last_s;
    chain->least_nm = fmin(chain->least_nm, row->external_torque_nm);
    chain->greatest_nm = fmax(chain->greatest_nm, row->external_torque_nm);
  } else {
    close_chain(monitor);
    *chain = (struct sb_shift_chain){.count = 1,
                                     .first_s = row->time_s,
                                     .least_nm = row->external_torque_nm,
                                     .greatest_nm = row->external_torque_nm};
  }
  chain->last_s = row->time_s;
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
  const double held_nm = monitor->downshift_nm[to_gear - 1];
  if (row->own_load_nm < held_nm - same_load * fabs(held_nm)) {
    count_verdict(monitor, SB_VERDICT_NEEDLESS_DOWNSHIFT, to_gear, row->time_s, row->time_s, row->external_torque_nm,
                  row->external_torque_nm);
  }
}

/* A state that was watched has ended: long enough, it was what the watch is for. */
static void close_watch(struct sb_monitor *monitor, struct sb_watch *watch, double time_s)
{
  if (!isnan(watch->since_s) && time_s - watch->since_s > watch->patience_s) {
    count_verdict(monitor, watch->kind, monitor->gear, watch->since_s, time_s, watch->least_nm, watch->greatest_nm);
  }
  watch->since_s = NAN;
}

/* Goes on with a state, or ends it; load_nm: what the verdict says of the load, or NAN. */
static void follow_watch(struct sb_monitor *monitor, struct sb_watch *watch, bool is_on, double time_s, double load_nm)
{
  if (!is_on) {
    close_watch(monitor, watch, time_s);
    return;
  }
  if (isnan(watch->since_s)) {
    watch->since_s = time_s;
    watch->least_nm = watch->greatest_nm = load_nm;
  }
  watch->least_nm = fmin(watch->least_nm, load_nm);
  watch->greatest_nm = fmax(watch->greatest_nm, load_nm);
}

static bool is_low(const struct sb_monitor *monitor, const struct sb_row *row)
{
  const bool is_slower = row->gear > 0 && row->gear < monitor->model->gearbox.gear_count;
  const bool is_late = row->time_s >= monitor->model->control.start_delay_s;
  return is_slower && is_late && sb_row_next_load_nm(row) < monitor->downshift_nm[row->gear - 1];
}

static void check_engaged_in_time(struct sb_monitor *monitor, const struct sb_shift_record *shift, double time_s)
{
  if (monitor->is_shift_excused) return;
  if (time_s - shift->command_s <= monitor->model->shifter.timeout_s) return;
  count_verdict(monitor, SB_VERDICT_NOT_ENGAGED, shift->to, shift->command_s, time_s, NAN, NAN);
}

static void follow_engagement(struct sb_monitor *monitor, const struct sb_row *row)
{
  struct sb_shift_record *last = &monitor->last_shift;
  if (monitor->shift_count == 0 || row->gear == 0 || !isnan(last->engaged_s)) return;
  last->engaged_s = row->time_s;
  if (monitor->shift_count == monitor->shift_kept) monitor->shifts[monitor->shift_kept - 1] = *last;
  check_engaged_in_time(monitor, last, row->time_s);
}

void sb_monitor_switched(struct sb_monitor *monitor)
{
  close_chain(monitor);
  monitor->chain = (struct sb_shift_chain){.count = 0};
  if (monitor->shift_count > 0 && isnan(monitor->last_shift.engaged_s)) monitor->is_shift_excused = true;
}

void sb_monitor_row(struct sb_monitor *monitor, const struct sb_row *row, int is_automatic)
{
  const double load_nm = row->external_torque_nm;
  follow_watch(monitor, &monitor->rest, sb_row_is_stalled(row, &monitor->model->drive), row->time_s, load_nm);
  follow_watch(monitor, &monitor->slip, sb_row_is_spinning(row), row->time_s, NAN);
  sb_shortfall_row(&monitor->shortfall, monitor->model, row->gear > 0 ? monitor->tau_s[row->gear - 1] : 0.0, row);
  if (is_automatic) {
    follow_watch(monitor, &monitor->low, is_low(monitor, row), row->time_s, load_nm);
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

/* What the simulator has added up itself. */
static void add_sums(struct sb_monitor *monitor, const struct sb_sums *sums)
{
  struct sb_verdict over =
      verdict_over(SB_VERDICT_OVERLOAD, sums->over_limit_first_s, sums->over_limit_last_s, sums->over_limit_s);
  over.least_nm = monitor->model->limits.output_torque_nm;
  over.greatest_nm = fabs(sums->output_torque_nm.value);
  struct sb_verdict hot = verdict_over(SB_VERDICT_OVERHEATED, sums->hot_first_s, sums->hot_last_s, sums->hot_s);
  hot.greatest_c = sums->winding_c.value;
  struct sb_verdict cut = verdict_over(SB_VERDICT_DRIVE_CUT, sums->cut_first_s, sums->cut_last_s, sums->cut_s);
  if (sums->cut_count > 0) cut.count = (size_t)sums->cut_count;
  cut.is_by_heat = sums->was_cut_by_heat;
  cut.is_by_battery = sums->was_cut_by_battery;
  const struct sb_verdict *const verdicts[] = {&over, &hot, &cut};
  for (int k = 0; k < 3; k++) {
    if (!isnan(verdicts[k]->first_s)) add_verdict(monitor, verdicts[k]);
  }
}

enum sb_status sb_monitor_finish(struct sb_monitor *monitor, const struct sb_row *last, const struct sb_sums *sums)
{
  sb_shortfall_finish(&monitor->shortfall, last->time_s);
  close_chain(monitor);
  close_watch(monitor, &monitor->rest, last->time_s);
  close_watch(monitor, &monitor->low, last->time_s);
  close_watch(monitor, &monitor->slip, last->time_s);
  if (monitor->shift_count > 0 && last->gear == 0) {
    check_engaged_in_time(monitor, &monitor->last_shift, last->time_s);
  }
  add_sums(monitor, sums);
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    struct sb_verdict *verdict = &monitor->verdicts[i];
    if (verdict->kind != SB_VERDICT_SLIPPING) continue;
    verdict->need = sums->slip_need;
  }
  if (monitor->verdict_count > 0) {
    qsort(monitor->verdicts, monitor->verdict_count, sizeof *monitor->verdicts, compare_first);
  }
  return monitor->is_out_of_memory ? SB_ERR_MEMORY : SB_OK;
}
