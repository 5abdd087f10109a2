// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/run.h"

#include <math.h>

#define REPEATS_MAX 1e12 /* passed over at once */
#define LEAP_MIN_K 1e-3  /* below, not passing over is not enough to come to rest */

enum { BLOCK_MAX = 64 }; /* repeats taken together */

/* What one simulated repeat showed, from its rows. */
struct watch {
  double passed_c; /* limits.winding or the cut-out, whichever is lower */
  double passed_s; /* when the winding got there; NAN: it did not */
  double peak_c;
};

static int watch_row(void *context, const struct sb_row *row)
{
  struct watch *watch = context;
  watch->peak_c = fmax(watch->peak_c, row->winding_c);
  if (isnan(watch->passed_s) && row->winding_c >= watch->passed_c) watch->passed_s = row->time_s;
  return 0;
}

/* The network's cooling over one repeat: how an excess over the surroundings is left at its end. */
struct cooling {
  struct sb_winding winding; /* in an ambient of 0 */
  double duration_s;
};

static struct cooling cooling_of(const struct sb_model *model)
{
  struct cooling cooling = {model->winding, model->run.duration_s};
  cooling.winding.ambient_c = 0.0;
  return cooling;
}

static struct sb_warmth left_after(const struct cooling *cooling, const struct sb_warmth *excess, double repeats)
{
  return sb_winding_warmed(&cooling->winding, excess, 0.0, repeats * cooling->duration_s);
}

/* x* = (I - M)^-1 (x1 - M x0) + ambient, for a repeat from x0 to x1. */
static struct sb_warmth settles_at(const struct cooling *cooling, double ambient_c, const struct sb_warmth *start,
                                   const struct sb_warmth *finish)
{
  const struct sb_warmth excess = {start->winding_c - ambient_c, start->housing_c - ambient_c};
  const struct sb_warmth left = left_after(cooling, &excess, 1.0);
  const double g_winding = finish->winding_c - ambient_c - left.winding_c;
  const double g_housing = finish->housing_c - ambient_c - left.housing_c;
  const struct sb_warmth winding = left_after(cooling, &(struct sb_warmth){1.0, 0.0}, 1.0);
  const struct sb_warmth housing = left_after(cooling, &(struct sb_warmth){0.0, 1.0}, 1.0);
  const double ww = 1.0 - winding.winding_c, wh = -housing.winding_c;
  const double hw = -winding.housing_c, hh = 1.0 - housing.housing_c;
  const double determinant = ww * hh - wh * hw;
  return (struct sb_warmth){ambient_c + (g_winding * hh - wh * g_housing) / determinant,
                            ambient_c + (ww * g_housing - hw * g_winding) / determinant};
}

static double apart_k(const struct sb_warmth *a, const struct sb_warmth *b)
{
  return fmax(fabs(a->winding_c - b->winding_c), fabs(a->housing_c - b->housing_c));
}

/* Repeats in a row just simulated, from which the next start is calculated. */
struct block {
  struct cooling cooling;
  struct sb_warmth start, finish; /* means over the block */
  struct sb_warmth last;          /* how the last one ended */
  struct sb_warmth settled;       /* where repeats with the block's mean losses settle */
  double leap_k;                  /* the most that winding and housing may change in repeats passed over */
  double spare_k;                 /* how much warmer the winding may start before its peak could pass what is watched */
  double passed_s;                /* when it passed that, in the last repeat; NAN: it did not */
};

static struct sb_warmth after(const struct block *block, double repeats)
{
  const struct sb_warmth off = {block->last.winding_c - block->settled.winding_c,
                                block->last.housing_c - block->settled.housing_c};
  const struct sb_warmth left = left_after(&block->cooling, &off, repeats);
  return (struct sb_warmth){block->settled.winding_c + left.winding_c, block->settled.housing_c + left.housing_c};
}

static bool may_pass_over(const struct block *block, double repeats)
{
  const struct sb_warmth next = after(block, repeats);
  return apart_k(&next, &block->last) <= block->leap_k && next.winding_c - block->start.winding_c < block->spare_k;
}

/* The most repeats that may be passed over: 0 or more, whole. */
static double pass_over(const struct block *block)
{
  double low = 0.0, high = 1.0;
  while (high < REPEATS_MAX && may_pass_over(block, high)) {
    low = high;
    high *= 2.0;
  }
  while (high - low > 1.0) {
    const double middle = floor(0.5 * (low + high));
    if (may_pass_over(block, middle)) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return low;
}

/* No more of them than settling takes. */
static double until_settled(const struct block *block, double allowed)
{
  double low = -1.0, high = allowed;
  while (high - low > 1.0) {
    const double middle = floor(0.5 * (low + high));
    const struct sb_warmth next = after(block, middle);
    if (apart_k(&next, &block->settled) < 0.5 * SB_WARMUP_STEADY_K) {
      high = middle;
    } else {
      low = middle;
    }
  }
  return high;
}

static void start_at(struct sb_warmup *out, const struct sb_warmth *start)
{
  out->model.winding.start_c = start->winding_c;
  out->model.winding.housing_start_c = start->housing_c;
}

/* Simulates the repeat that out->model is; fills what came of it. */
static enum sb_status simulate(struct sb_warmup *out, int locked_gear, struct watch *watch, struct sb_error *err)
{
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.locked_gear = locked_gear;
  options.on_row = watch_row;
  options.context = watch;
  out->start = sb_winding_start(&out->model.winding);
  *watch = (struct watch){.passed_c = fmin(out->model.limits.winding_c, out->model.winding.cut_out_c),
                          .passed_s = NAN,
                          .peak_c = out->start.winding_c};
  const enum sb_status status = sb_run(&out->model, &options, &result, err);
  if (status != SB_OK) return status;
  out->finish = (struct sb_warmth){result.end.winding_c, result.end.housing_c};
  out->peak_c = watch->peak_c;
  out->simulated_count++;
  out->repeat_count++;
  sb_run_result_clear(&result);
  return SB_OK;
}

static void add(struct sb_warmth *sum, const struct sb_warmth *warmth, double share)
{
  sum->winding_c += share * warmth->winding_c;
  sum->housing_c += share * warmth->housing_c;
}

/* Simulates `length` repeats in a row, or up to the one in which what is watched was passed. */
static enum sb_status simulate_block(struct sb_warmup *out, int locked_gear, int length, struct block *block,
                                     struct sb_error *err)
{
  struct watch watch;
  *block = (struct block){.cooling = cooling_of(&out->model), .spare_k = INFINITY, .passed_s = NAN};
  out->least_start_c = INFINITY;
  out->greatest_start_c = -INFINITY;
  for (int i = 0; i < length; i++) {
    if (i > 0) start_at(out, &block->last);
    const enum sb_status status = simulate(out, locked_gear, &watch, err);
    if (status != SB_OK) return status;
    add(&block->start, &out->start, 1.0 / length);
    add(&block->finish, &out->finish, 1.0 / length);
    block->last = out->finish;
    block->spare_k = fmin(block->spare_k, watch.passed_c - watch.peak_c);
    out->least_start_c = fmin(out->least_start_c, out->start.winding_c);
    out->greatest_start_c = fmax(out->greatest_start_c, out->start.winding_c);
    block->passed_s = watch.passed_s;
    if (!isnan(watch.passed_s)) break;
  }
  block->settled = settles_at(&block->cooling, out->model.winding.ambient_c, &block->start, &block->finish);
  return SB_OK;
}

/* Whether one went on to warm and the other to cool: the machine does something else when it is warmer. */
static bool has_turned(const struct block *one, const struct block *other)
{
  const double winding =
      (one->settled.winding_c - one->start.winding_c) * (other->settled.winding_c - other->start.winding_c);
  const double housing =
      (one->settled.housing_c - one->start.housing_c) * (other->settled.housing_c - other->start.housing_c);
  return fmin(winding, housing) < 0.0;
}

/* Moves on to the next start, with the repeats between counted. */
static void move_on(struct sb_warmup *out, const struct block *block)
{
  const double passed = until_settled(block, pass_over(block));
  const struct sb_warmth next = passed > 0.0 ? after(block, passed) : block->last;
  out->repeat_count += (long long)passed;
  start_at(out, &next);
}

static enum sb_status repeat(struct sb_warmup *out, int locked_gear, struct sb_error *err)
{
  const double duration_s = out->model.run.duration_s;
  struct block block, before = {.start = {0.0, 0.0}};
  double leap_k = SB_WARMUP_LEAP_K;
  int length = 1;
  while (out->simulated_count < SB_WARMUP_SIMULATED_MAX) {
    const enum sb_status status = simulate_block(out, locked_gear, length, &block, err);
    if (status != SB_OK) return status;
    out->end_s = (double)out->repeat_count * duration_s;
    if (!isnan(block.passed_s)) {
      out->end = out->model.winding.cut_out_c < out->model.limits.winding_c ? SB_WARMUP_CUT_OUT : SB_WARMUP_TOO_HOT;
      out->end_s += block.passed_s - duration_s;
      return SB_OK;
    }
    if (apart_k(&block.settled, &block.start) < SB_WARMUP_STEADY_K) {
      out->end = SB_WARMUP_STEADY;
      return SB_OK;
    }
    if (!has_turned(&before, &block)) {
      leap_k = fmin(2.0 * leap_k, SB_WARMUP_LEAP_K);
    } else if (leap_k > LEAP_MIN_K) {
      leap_k *= 0.25;
    } else if (length < BLOCK_MAX) {
      length *= 2;
    }
    block.leap_k = leap_k;
    before = block;
    move_on(out, &block);
  }
  return SB_OK;
}

enum sb_status sb_warmup_run(const struct sb_model *model, int locked_gear, struct sb_warmup *out, struct sb_error *err)
{
  *out = (struct sb_warmup){.end = SB_WARMUP_OPEN, .model = *model};
  /* The rows are watched: as often as the controller looks. */
  out->model.run.trace_interval_s = model->control.sample_period_s;
  const enum sb_status status = repeat(out, locked_gear, err);
  out->model.run.trace_interval_s = model->run.trace_interval_s;
  return status;
}
