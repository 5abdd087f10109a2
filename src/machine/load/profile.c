// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A table of torque over time or over turns, linear or held between its points.
 *
 * Piece n (0..count) lies between points n - 1 and n; piece 0 is all before the first point and piece count all after
 * the last. At a point the piece ahead counts, where "ahead" is the direction of motion. A table that repeats starts again
 * where it ends; before its first point it has the first value, as one that does not repeat.
 *
 * A table that is a grade gives the part's torque by its angle's sine or cosine; where the grade changes along the way, it is
 * handed on as it is.
 *
 * A part that resists has a further corner where a linear piece crosses its breakaway value, because at rest it holds
 * the greater of the two.
 */
#include <gsl/gsl_interp.h>
#include <math.h>
#include <stdbool.h>
#include <stddef.h>

#include "machine/load/kinds.h"

/* A place on the table: the piece ahead, and how far the table was moved to get there (whole periods). */
struct place {
  double x;      /* on the table */
  double margin; /* two places closer than this are one */
  double base;   /* place along the axis = x + base */
  size_t piece;
};

/* Number of points at or below x. */
static size_t count_up_to(const struct sb_table *table, double x)
{
  if (!(x >= table->x[0])) return 0;
  if (x >= table->x[table->count - 1]) return table->count;
  return gsl_interp_bsearch(table->x, x, 0, table->count - 1) + 1;
}

static struct place find_place(const struct sb_load_part *part, double axis_x, int direction)
{
  const struct sb_table *table = &part->table;
  const double first = table->x[0];
  const double last = table->x[table->count - 1];
  const double period = part->is_repeating ? last - first : 0.0;
  struct place place = {.x = axis_x, .margin = corner_margin(axis_x, period)};

  if (period > 0.0) {
    double turn = fmax(floor((axis_x - first) / period), 0.0);
    /* On the seam itself the period ahead counts. */
    if (direction > 0 && axis_x - turn * period + place.margin >= last) turn += 1.0;
    if (direction < 0 && turn > 0.0 && axis_x - turn * period - place.margin <= first) turn -= 1.0;
    place.base = turn * period;
    place.x = axis_x - place.base;
  }
  size_t piece = direction > 0 ? count_up_to(table, place.x + place.margin)
                               : count_up_to(table, nextafter(place.x - place.margin, -INFINITY));
  /* A ramp too thin to be told from a jump is one. */
  while (piece > 0 && piece < table->count && table->x[piece] - table->x[piece - 1] <= place.margin) {
    piece = direction > 0 ? piece + 1 : piece - 1;
  }
  place.piece = piece;
  return place;
}

static double slope_of(const struct sb_load_part *part, size_t piece)
{
  const struct sb_table *table = &part->table;
  if (part->is_held || piece == 0 || piece == table->count) return 0.0;
  /* Never a jump: find_place() steps over those. */
  return (table->y[piece] - table->y[piece - 1]) / (table->x[piece] - table->x[piece - 1]);
}

/* Where the piece crosses the breakaway value, in table places; false: nowhere inside it. */
static bool find_crossing(const struct sb_load_part *part, size_t piece, double *x)
{
  if (!part->is_resisting || !(part->breakaway_nm > 0.0)) return false;
  const double slope = slope_of(part, piece);
  if (slope == 0.0) return false;
  const struct sb_table *table = &part->table;
  *x = table->x[piece - 1] + (part->breakaway_nm - table->y[piece - 1]) / slope;
  return *x > table->x[piece - 1] && *x < table->x[piece];
}

/* Whether the least hold counts between this place and the next corner; its middle tells. */
static bool is_held_up(const struct sb_load_part *part, const struct place *place, int direction)
{
  const struct sb_table *table = &part->table;
  const size_t left = place->piece > 0 ? place->piece - 1 : 0;
  const double slope = slope_of(part, place->piece);
  if (slope == 0.0) return part->breakaway_nm > table->y[left];

  double from = table->x[left];
  double to = table->x[place->piece];
  double crossing;
  if (find_crossing(part, place->piece, &crossing)) {
    const bool is_past = direction > 0 ? place->x + place->margin >= crossing : place->x - place->margin > crossing;
    if (is_past) {
      from = crossing;
    } else {
      to = crossing;
    }
  }
  return part->breakaway_nm > table->y[left] + slope * (0.5 * (from + to) - table->x[left]);
}

/* What the part is at a grade. */
static double at_grade_nm(const struct sb_load_part *part, double grade)
{
  const double share = sqrt(1.0 + grade * grade);
  return part->torque_nm * (part->is_resisting ? 1.0 / share : grade / share);
}

static void add_grade(const struct sb_load_part *part, double sign, double grade, double slope,
                      struct sb_load_curve *sum)
{
  if (slope == 0.0) {
    sum->c0_nm += sign * at_grade_nm(part, grade);
    return;
  }
  const double torque_nm = sign * part->torque_nm;
  const struct sb_load_grade added = {.start = grade,
                                      .per_rad = slope,
                                      .sine_nm = part->is_resisting ? 0.0 : torque_nm,
                                      .cosine_nm = part->is_resisting ? torque_nm : 0.0};
  sb_load_curve_add_grade(sum, &added);
}

static void add(const struct sb_load_part *part, const struct sb_load_at *at, double sign, struct sb_load_curve *sum)
{
  const bool is_over_time = part->axis == SB_OVER_TIME;
  const int direction = is_over_time ? 1 : at->direction;
  const struct place place = find_place(part, is_over_time ? at->time_s : at->angle_rad, direction);

  if (least_hold_nm(part, at) > 0.0 && is_held_up(part, &place, direction)) {
    sum->c0_nm += sign * part->breakaway_nm;
    return;
  }
  const size_t left = place.piece > 0 ? place.piece - 1 : 0;
  const double slope = slope_of(part, place.piece);
  const double ahead = slope != 0.0 ? place.x - part->table.x[left] : 0.0;
  const double here = part->table.y[left] + slope * ahead;
  if (part->is_grade) {
    add_grade(part, sign, here, slope, sum);
    return;
  }
  sum->c0_nm += sign * here;
  if (is_over_time) {
    sum->per_s += sign * slope;
  } else {
    sum->per_rad += sign * slope;
  }
}

static double next_corner(const struct sb_load_part *part, double axis_x, int direction)
{
  const struct sb_table *table = &part->table;
  const struct place place = find_place(part, axis_x, direction);
  const bool is_last = direction > 0 ? place.piece == table->count : place.piece == 0;
  if (is_last) return direction * (double)INFINITY;

  const double point = table->x[direction > 0 ? place.piece : place.piece - 1];
  double crossing;
  if (find_crossing(part, place.piece, &crossing)) {
    const double way = direction * (crossing - place.x);
    if (way > place.margin) return crossing + place.base;
  }
  return point + place.base;
}

static double next_time_s(const struct sb_load_part *part, double time_s)
{
  return part->axis == SB_OVER_TIME ? next_corner(part, time_s, 1) : (double)INFINITY;
}

static double next_angle_rad(const struct sb_load_part *part, double angle_rad, int direction)
{
  return part->axis == SB_OVER_TURNS ? next_corner(part, angle_rad, direction) : direction * (double)INFINITY;
}

/* The sine rises with the grade, and the cosine is greatest on the level. */
static void grade_range_nm(const struct sb_load_part *part, double *least, double *greatest)
{
  const struct sb_table *table = &part->table;
  *least = *greatest = at_grade_nm(part, table->y[0]);
  for (size_t i = 1; i < table->count; i++) {
    const double nm = at_grade_nm(part, table->y[i]);
    *least = fmin(*least, nm);
    *greatest = fmax(*greatest, nm);
    const bool is_level_between = table->y[i - 1] * table->y[i] < 0.0 && table->x[i] > table->x[i - 1];
    if (part->is_resisting && is_level_between) *greatest = part->torque_nm;
  }
}

static void range_nm(const struct sb_load_part *part, double *least, double *greatest)
{
  if (part->is_grade) {
    grade_range_nm(part, least, greatest);
    return;
  }
  *least = *greatest = part->table.y[0];
  for (size_t i = 1; i < part->table.count; i++) {
    *least = fmin(*least, part->table.y[i]);
    *greatest = fmax(*greatest, part->table.y[i]);
  }
}

const struct sb_load_ops sb_load_profile = {
    .name = "profile",
    .is_from_a_table = true,
    .add = add,
    .next_time_s = next_time_s,
    .next_angle_rad = next_angle_rad,
    .range_nm = range_nm,
};
