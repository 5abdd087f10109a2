// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A sine about a mean, over time or over turns. It has no corners of its own; a part that resists gets them where the
 * sine crosses its breakaway value, because at rest it holds the greater of the two.
 */
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "base/constants.h"
#include "base/elementary.h"
#include "machine/load/kinds.h"

/* Where the sine crosses the breakaway value: rising and falling, each once a period. */
struct crossings {
  double rising;
  double falling;
};

static bool find_crossings(const struct sb_load_part *part, struct crossings *found)
{
  if (!part->is_resisting || !(part->breakaway_nm > 0.0) || !(part->amplitude_nm > 0.0)) return false;
  const double level = (part->breakaway_nm - part->mean_nm) / part->amplitude_nm;
  if (!(level > -1.0 && level < 1.0)) return false;

  const double angle_rad = sb_elementary_asin(level);
  /* Within one period of 0, so that a large phase costs no digits at each place. */
  found->rising = fmod((angle_rad - part->phase_rad) / SB_TURN, 1.0) * part->period;
  found->falling = fmod((0.5 * SB_TURN - angle_rad - part->phase_rad) / SB_TURN, 1.0) * part->period;
  return true;
}

/* The next of the places first + k period, k whole, from x in the direction. */
static double next_of(double first, double period, double x, int direction)
{
  const double from = x + direction * corner_margin(x, period);
  const double k = direction > 0 ? floor((from - first) / period) + 1.0 : ceil((from - first) / period) - 1.0;
  return first + k * period;
}

/*
 * Whether the sine ahead of x is above the breakaway value: then the next crossing is a falling one going forward, a
 * rising one going back. Either way the falling one is the lower of the two.
 */
static bool is_above(const struct sb_load_part *part, const struct crossings *found, double x, int direction)
{
  const double rising = next_of(found->rising, part->period, x, direction);
  const double falling = next_of(found->falling, part->period, x, direction);
  return falling < rising;
}

static double next_crossing(const struct sb_load_part *part, double x, int direction)
{
  struct crossings found;
  if (!find_crossings(part, &found)) return direction * (double)INFINITY;
  const double rising = next_of(found.rising, part->period, x, direction);
  const double falling = next_of(found.falling, part->period, x, direction);
  return direction > 0 ? fmin(rising, falling) : fmax(rising, falling);
}

/* Whether the least hold counts from this place to the next crossing. */
static bool is_held_up(const struct sb_load_part *part, const struct sb_load_at *at)
{
  struct crossings found;
  if (!find_crossings(part, &found)) return part->breakaway_nm >= part->mean_nm;
  if (part->axis == SB_OVER_TIME) return !is_above(part, &found, at->time_s, 1);
  return !is_above(part, &found, at->angle_rad, at->direction);
}

static void add(const struct sb_load_part *part, const struct sb_load_at *at, double sign, struct sb_load_curve *sum)
{
  const double hold_nm = least_hold_nm(part, at);
  if (hold_nm > 0.0 && is_held_up(part, at)) {
    sum->c0_nm += sign * hold_nm;
    return;
  }
  const double per_unit = SB_TURN / part->period;
  sum->c0_nm += sign * part->mean_nm;
  sum->waves[sum->wave_count++] = (struct sb_load_wave){
      .amplitude_nm = sign * part->amplitude_nm,
      .per_s = part->axis == SB_OVER_TIME ? per_unit : 0.0,
      .per_rad = part->axis == SB_OVER_TURNS ? per_unit : 0.0,
      .phase_rad = part->phase_rad,
  };
}

static double next_time_s(const struct sb_load_part *part, double time_s)
{
  return part->axis == SB_OVER_TIME ? next_crossing(part, time_s, 1) : (double)INFINITY;
}

static double next_angle_rad(const struct sb_load_part *part, double angle_rad, int direction)
{
  return part->axis == SB_OVER_TURNS ? next_crossing(part, angle_rad, direction) : direction * (double)INFINITY;
}

static void range_nm(const struct sb_load_part *part, double *least, double *greatest)
{
  *least = part->mean_nm - part->amplitude_nm;
  *greatest = part->mean_nm + part->amplitude_nm;
}

const struct sb_load_ops sb_load_sine = {
    .name = "sine",
    .add = add,
    .next_time_s = next_time_s,
    .next_angle_rad = next_angle_rad,
    .range_nm = range_nm,
};
