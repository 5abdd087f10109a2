// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * direct_load.h - loads for the tests: parts made in a line, random sums of parts, and what a sum gives, worked out
 * straight from the definitions (linear scans, no curves, no corners).
 */
#ifndef SHIFTBAND_TESTS_DIRECT_LOAD_H
#define SHIFTBAND_TESTS_DIRECT_LOAD_H

#include "help/near.h"
#include "shiftband/load.h"

#include <gsl/gsl_rng.h>
#include <string.h>

static const double pi = 3.14159265358979323846;

enum { ROOM = 12 };

/* A random load with room for its tables. */
struct random_load {
  struct sb_load load;
  double x[SB_LOAD_PART_MAX][ROOM];
  double torque_nm[SB_LOAD_PART_MAX][ROOM];
};

static inline struct sb_load_part part_of(const char *kind)
{
  struct sb_load_part part = {.ops = sb_load_kind_find(kind)};
  assert_non_null(part.ops);
  return part;
}

static inline struct sb_load_part table_part(const double *x, const double *torque_nm, size_t count)
{
  struct sb_load_part part = part_of("profile");
  part.table = (struct sb_table){count, x, torque_nm};
  return part;
}

static inline struct sb_load load_of(struct sb_load_part part)
{
  return (struct sb_load){.inertia_kg_m2 = 1.0, .part_count = 1, .parts = {part}};
}

static inline double value_at(const struct sb_load *load, double time_s, double angle_rad, int direction)
{
  const struct sb_load_at at = {.time_s = time_s, .angle_rad = angle_rad, .direction = direction};
  const struct sb_load_curve curve = sb_load_curve_at(load, &at, SB_SHARE_ALL);
  return sb_load_curve_external_nm(&curve, time_s, angle_rad);
}

/* The table at x, not on a corner: a plain scan. */
static inline double direct_table_nm(const struct sb_load_part *part, double x)
{
  const struct sb_table *table = &part->table;
  const double first = table->x[0];
  const double last = table->x[table->count - 1];
  if (part->is_repeating && last > first && x > last) x = first + fmod(x - first, last - first);
  if (x < first) return table->y[0];
  for (size_t i = 1; i < table->count; i++) {
    if (x >= table->x[i]) continue;
    if (part->is_held) return table->y[i - 1];
    const double share = (x - table->x[i - 1]) / (table->x[i] - table->x[i - 1]);
    return (1.0 - share) * table->y[i - 1] + share * table->y[i];
  }
  return table->y[table->count - 1];
}

struct direct_at {
  double time_s, angle_rad, speed_rad_s;
  int direction;
  bool is_at_rest;
};

/* What the part gives, straight from its definition; a resisting part counts positive against the motion. */
static inline double direct_part_nm(const struct sb_load_part *part, const struct direct_at *at)
{
  const char *kind = part->ops->name;
  const double x = part->axis == SB_OVER_TIME ? at->time_s : at->angle_rad;
  double torque_nm = 0.0;
  if (strcmp(kind, "constant") == 0) torque_nm = part->torque_nm;
  if (strcmp(kind, "profile") == 0) torque_nm = direct_table_nm(part, x);
  if (strcmp(kind, "sine") == 0) {
    torque_nm = part->mean_nm + part->amplitude_nm * sin(2.0 * pi * x / part->period + part->phase_rad);
  }
  if (part->is_resisting && at->is_at_rest) torque_nm = fmax(torque_nm, part->breakaway_nm);

  const double speed = at->speed_rad_s;
  double speed_nm = 0.0;
  if (strcmp(kind, "viscous") == 0) speed_nm = part->viscous_nms_rad * speed;
  if (strcmp(kind, "quadratic") == 0) speed_nm = part->quadratic_nms2_rad2 * speed * fabs(speed);
  return torque_nm + (part->is_resisting ? at->direction * speed_nm : speed_nm);
}

static inline double direct_nm(const struct sb_load *load, const struct direct_at *at, enum sb_load_share share)
{
  double sum = 0.0;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    const double torque_nm = direct_part_nm(part, at);
    if (share == SB_SHARE_ALL) sum += part->is_resisting ? at->direction * torque_nm : torque_nm;
    if (share == SB_SHARE_ACTING && !part->is_resisting) sum += torque_nm;
    if (share == SB_SHARE_RESISTING && part->is_resisting) sum += torque_nm;
  }
  return sum;
}

static inline double between(gsl_rng *rng, double low, double high)
{
  return low + (high - low) * gsl_rng_uniform(rng);
}

/* Points with jumps among them; torque >= 0 where the part resists. */
static inline void fill_table(gsl_rng *rng, struct sb_load_part *part, double *x, double *torque_nm)
{
  part->table = (struct sb_table){1 + gsl_rng_uniform_int(rng, ROOM), x, torque_nm};
  double place = between(rng, -1.0, 1.0);
  for (size_t i = 0; i < part->table.count; i++) {
    x[i] = place;
    torque_nm[i] = between(rng, part->is_resisting ? 0.0 : -2.0, 2.0);
    if (gsl_rng_uniform_int(rng, 3) != 0) place += between(rng, 0.05, 1.0);
  }
}

static inline void make_random(gsl_rng *rng, struct random_load *made)
{
  memset(made, 0, sizeof *made);
  made->load.inertia_kg_m2 = 1.0;
  made->load.part_count = (int)gsl_rng_uniform_int(rng, SB_LOAD_PART_MAX + 1);
  for (int i = 0; i < made->load.part_count; i++) {
    struct sb_load_part *part = &made->load.parts[i];
    part->ops = sb_load_kinds[gsl_rng_uniform_int(rng, 5)];
    part->is_resisting = gsl_rng_uniform_int(rng, 2) == 0;
    part->breakaway_nm = gsl_rng_uniform_int(rng, 2) == 0 ? between(rng, 0.0, 2.5) : 0.0;
    part->axis = gsl_rng_uniform_int(rng, 2) == 0 ? SB_OVER_TIME : SB_OVER_TURNS;
    part->torque_nm = between(rng, part->is_resisting ? 0.0 : -2.0, 2.0);
    part->viscous_nms_rad = between(rng, 0.0, 0.5);
    part->quadratic_nms2_rad2 = between(rng, 0.0, 0.5);
    part->is_held = gsl_rng_uniform_int(rng, 2) == 0;
    part->is_repeating = gsl_rng_uniform_int(rng, 2) == 0;
    part->amplitude_nm = between(rng, 0.0, 1.0);
    part->mean_nm = between(rng, part->is_resisting ? part->amplitude_nm : -2.0, 2.0);
    part->period = between(rng, 0.2, 3.0);
    part->phase_rad = between(rng, -4.0, 4.0);
    fill_table(rng, part, made->x[i], made->torque_nm[i]);
  }
}

#endif
