// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The sum of the parts. The least hold of all resisting parts together (sb_load.breakaway_nm) is no part's own and is
 * not in any curve: whoever decides whether the output starts takes the greater of it and the resisting share at rest.
 */
#include "shiftband/load.h"

#include <math.h>
#include <string.h>

#include "base/elementary.h"
#include "machine/load/kinds.h"

const struct sb_load_ops *const sb_load_kinds[] = {
    &sb_load_constant, &sb_load_viscous, &sb_load_quadratic, &sb_load_profile, &sb_load_sine, NULL,
};

const struct sb_load_ops *sb_load_kind_find(const char *name)
{
  for (size_t i = 0; sb_load_kinds[i] != NULL; i++) {
    if (strcmp(sb_load_kinds[i]->name, name) == 0) return sb_load_kinds[i];
  }
  return NULL;
}

static bool is_on_side(const struct sb_load_part *part, enum sb_load_side side)
{
  return side == SB_SIDE_BOTH || part->is_beyond == (side == SB_SIDE_BEYOND);
}

struct sb_load_curve sb_load_side_curve_at(const struct sb_load *load, const struct sb_load_at *at,
                                           enum sb_load_share share, enum sb_load_side side)
{
  struct sb_load_at beyond = *at;
  beyond.angle_rad = at->beyond_rad;
  struct sb_load_curve sum = {.time_s = at->time_s,
                              .angle_rad = side == SB_SIDE_BEYOND ? at->beyond_rad : at->angle_rad};
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (!is_on_side(part, side)) continue;
    if (share == SB_SHARE_ACTING && part->is_resisting) continue;
    if (share == SB_SHARE_RESISTING && !part->is_resisting) continue;
    const bool is_signed = share == SB_SHARE_ALL && part->is_resisting;
    part->ops->add(part, part->is_beyond ? &beyond : at, is_signed ? at->direction : 1.0, &sum);
  }
  return sum;
}

struct sb_load_curve sb_load_curve_at(const struct sb_load *load, const struct sb_load_at *at, enum sb_load_share share)
{
  return sb_load_side_curve_at(load, at, share, SB_SIDE_BOTH);
}

bool sb_load_is_bent(const struct sb_load_curve *curve)
{
  return curve->wave_count > 0 || curve->grade_count > 0;
}

static double at_grade_nm(const struct sb_load_grade *grade, double g)
{
  return (grade->sine_nm * g + grade->cosine_nm) / sqrt(1.0 + g * g);
}

double sb_load_bends_nm(const struct sb_load_curve *curve, double time_s, double angle_rad)
{
  double torque_nm = 0.0;
  for (int i = 0; i < curve->wave_count; i++) {
    const struct sb_load_wave *wave = &curve->waves[i];
    double sine, cosine;
    sb_elementary_sin_cos(wave->per_s * time_s + wave->per_rad * angle_rad + wave->phase_rad, &sine, &cosine);
    torque_nm += wave->amplitude_nm * sine;
  }
  for (int i = 0; i < curve->grade_count; i++) {
    const struct sb_load_grade *grade = &curve->grades[i];
    torque_nm += at_grade_nm(grade, grade->start + grade->per_rad * (angle_rad - curve->angle_rad));
  }
  return torque_nm;
}

double sb_load_curve_external_nm(const struct sb_load_curve *curve, double time_s, double angle_rad)
{
  return curve->c0_nm + curve->per_s * (time_s - curve->time_s) + curve->per_rad * (angle_rad - curve->angle_rad) +
         sb_load_bends_nm(curve, time_s, angle_rad);
}

double sb_load_curve_nm(const struct sb_load_curve *curve, double time_s, double angle_rad, double speed_rad_s)
{
  return sb_load_curve_external_nm(curve, time_s, angle_rad) +
         (curve->per_rad_s + curve->per_rad_s2 * fabs(speed_rad_s)) * speed_rad_s;
}

double sb_load_next_time_s(const struct sb_load *load, double time_s)
{
  double next_s = INFINITY;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->ops->next_time_s != NULL) next_s = fmin(next_s, part->ops->next_time_s(part, time_s));
  }
  return next_s;
}

double sb_load_next_angle_rad(const struct sb_load *load, enum sb_load_side side, double angle_rad, int direction)
{
  double way_rad = INFINITY;
  double next_rad = direction * (double)INFINITY;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->ops->next_angle_rad == NULL || !is_on_side(part, side)) continue;
    const double corner_rad = part->ops->next_angle_rad(part, angle_rad, direction);
    if (direction * (corner_rad - angle_rad) < way_rad) {
      way_rad = direction * (corner_rad - angle_rad);
      next_rad = corner_rad;
    }
  }
  return next_rad;
}

void sb_load_speed_terms(const struct sb_load *load, double *viscous, double *quadratic)
{
  const struct sb_load_at forward = {.direction = 1};
  const struct sb_load_curve curve = sb_load_curve_at(load, &forward, SB_SHARE_ALL);
  *viscous = curve.per_rad_s;
  *quadratic = curve.per_rad_s2;
}

/* Parts whose extremes are found by walking their corners together; all others are bounded each by itself. */
static bool is_walked(const struct sb_load_part *part, enum sb_load_axis axis)
{
  return part->ops->is_from_a_table && part->axis == axis;
}

static double table_period(const struct sb_load_part *part)
{
  return part->is_repeating ? part->table.x[part->table.count - 1] - part->table.x[0] : 0.0;
}

/*
 * Beyond this place nothing new comes: one table that repeats has shown all of itself one round after all others ended.
 * Several that repeat have no such place (their periods may never fit together).
 */
static double walk_end(const struct sb_load *walked, double end)
{
  int repeating_count = 0;
  double last = 0.0;
  double round = 0.0;
  for (int i = 0; i < walked->part_count; i++) {
    const struct sb_load_part *part = &walked->parts[i];
    last = fmax(last, part->table.x[part->table.count - 1]);
    round = fmax(round, table_period(part));
    if (table_period(part) > 0.0) repeating_count++;
  }
  return repeating_count <= 1 ? fmin(end, last + round) : end;
}

/* How many corners the walk would meet. */
static double count_corners(const struct sb_load *walked, double end)
{
  double count = 0.0;
  for (int i = 0; i < walked->part_count; i++) {
    const struct sb_load_part *part = &walked->parts[i];
    const double rounds = table_period(part) > 0.0 ? 1.0 + end / table_period(part) : 1.0;
    count += rounds * (double)part->table.count;
  }
  return count;
}

/* The sum at a place, good until the next one along the axis. */
static struct sb_load_curve curve_along(const struct sb_load *walked, enum sb_load_axis axis, double place,
                                        double *next)
{
  const bool is_time = axis == SB_OVER_TIME;
  const struct sb_load_at at = {.time_s = is_time ? place : 0.0,
                                .angle_rad = is_time ? 0.0 : place,
                                .beyond_rad = is_time ? 0.0 : place,
                                .direction = 1};
  *next = is_time ? sb_load_next_time_s(walked, place) : sb_load_next_angle_rad(walked, SB_SIDE_BOTH, place, 1);
  return sb_load_curve_at(walked, &at, SB_SHARE_ALL);
}

/* Bounds of a torque. */
struct range {
  double least_nm, greatest_nm;
};

static void take_in(struct range *range, double nm)
{
  range->least_nm = fmin(range->least_nm, nm);
  range->greatest_nm = fmax(range->greatest_nm, nm);
}

/* Adds those of a grade that goes from one value to another: at an end, or where the two forces change alike. */
static void add_grade_range(const struct sb_load_grade *grade, double from, double to, struct range *sum)
{
  struct range range = {INFINITY, -INFINITY};
  take_in(&range, at_grade_nm(grade, from));
  take_in(&range, at_grade_nm(grade, to));
  const double turn = grade->sine_nm / grade->cosine_nm;
  if ((turn - from) * (turn - to) < 0.0) take_in(&range, at_grade_nm(grade, turn));
  sum->least_nm += range.least_nm;
  sum->greatest_nm += range.greatest_nm;
}

/* Between two corners the sum without grades is linear: its extremes are at their inner sides. */
static struct range range_between(const struct sb_load_curve *curve, enum sb_load_axis axis, double from, double to)
{
  struct sb_load_curve straight = *curve;
  straight.grade_count = 0;
  const bool is_time = axis == SB_OVER_TIME;
  struct range range = {INFINITY, -INFINITY};
  take_in(&range, sb_load_curve_external_nm(&straight, is_time ? from : 0.0, is_time ? 0.0 : from));
  take_in(&range, sb_load_curve_external_nm(&straight, is_time ? to : 0.0, is_time ? 0.0 : to));
  for (int i = 0; i < curve->grade_count; i++) {
    const struct sb_load_grade *grade = &curve->grades[i];
    add_grade_range(grade, grade->start, grade->start + grade->per_rad * (to - from), &range);
  }
  return range;
}

static void walk_range_nm(const struct sb_load *walked, enum sb_load_axis axis, double end, double *least,
                          double *greatest)
{
  struct range whole = {INFINITY, -INFINITY};
  double place = 0.0;
  double next = 0.0;
  do {
    place = next;
    const struct sb_load_curve curve = curve_along(walked, axis, place, &next);
    next = fmax(fmin(next, end), place);
    const struct range range = range_between(&curve, axis, place, next);
    take_in(&whole, range.least_nm);
    take_in(&whole, range.greatest_nm);
  } while (next > place);
  *least = whole.least_nm;
  *greatest = whole.greatest_nm;
}

/* Adds the bounds of all tables along an axis, taken together; false: there are none, or they have no end. */
static bool add_walk_nm(const struct sb_load *load, enum sb_load_axis axis, double end, double *least, double *greatest)
{
  /* Tables of different periods that repeat very often are bounded like the rest: no walk of hours for a bound. */
  const double most_corners = 1e6;
  struct sb_load walked = {.part_count = 0};
  for (int i = 0; i < load->part_count; i++) {
    if (is_walked(&load->parts[i], axis)) walked.parts[walked.part_count++] = load->parts[i];
  }
  const double walk_to = walk_end(&walked, end);
  if (walked.part_count == 0 || !(count_corners(&walked, walk_to) <= most_corners)) return false;
  double low, high;
  walk_range_nm(&walked, axis, walk_to, &low, &high);
  *least += low;
  *greatest += high;
  return true;
}

/* All bodies in a vehicle's way, pushed at once at its steepest. */
static double pushed_range_nm(const struct sb_load *load)
{
  const struct sb_road *road = &load->road;
  if (road->obstacle_count == 0) return 0.0;
  double least_nm = 0.0, greatest_nm = 0.0;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->is_beyond && !part->is_resisting) part->ops->range_nm(part, &least_nm, &greatest_nm);
  }
  const double friction_nm = sb_road_pushed_friction_nm(road, road->obstacle_count);
  return fmax(0.0, sb_road_pushed_nm(road, road->obstacle_count, friction_nm, greatest_nm));
}

void sb_load_range_nm(const struct sb_load *load, double duration_s, double *least, double *greatest)
{
  double low = 0.0;
  double high = 0.0;
  const bool is_time_done = add_walk_nm(load, SB_OVER_TIME, duration_s, &low, &high);
  const bool is_way_done = add_walk_nm(load, SB_OVER_TURNS, INFINITY, &low, &high);
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (is_time_done && is_walked(part, SB_OVER_TIME)) continue;
    if (is_way_done && is_walked(part, SB_OVER_TURNS)) continue;
    double part_least = 0.0;
    double part_greatest = 0.0;
    part->ops->range_nm(part, &part_least, &part_greatest);
    low += part_least;
    high += part_greatest;
  }
  high += pushed_range_nm(load);
  *least = low;
  *greatest = high;
}

void sb_load_share_range_nm(const struct sb_load *load, double duration_s, enum sb_load_share share, double *least,
                            double *greatest)
{
  struct sb_load sum = *load;
  sum.part_count = 0;
  for (int i = 0; i < load->part_count; i++) {
    const bool is_resisting = load->parts[i].is_resisting;
    if (share == SB_SHARE_ALL || is_resisting == (share == SB_SHARE_RESISTING))
      sum.parts[sum.part_count++] = load->parts[i];
  }
  if (share != SB_SHARE_ALL) sum.road.obstacle_count = 0;
  sb_load_range_nm(&sum, duration_s, least, greatest);
}
