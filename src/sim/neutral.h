// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * neutral.h - internal: motor and output each by itself, in neutral, under a load that is linear in time and speed. Each moves as
 * plain.h says; as long as neither speed turns over, what ends the stretch is known without a series.
 */
#ifndef SHIFTBAND_SIM_NEUTRAL_H
#define SHIFTBAND_SIM_NEUTRAL_H

#include "sim/guard.h"
#include "sim/plain.h"

struct sb_neutral_start {
  struct sb_plain_start motor, output;
};

struct sb_neutral_end {
  struct sb_plain_end motor, output;
};

/* Whether the segment moves so, with nothing else to watch. Pure. */
bool sb_neutral_applies(const struct sb_sim *sim);

/* The present state. Pure. */
struct sb_neutral_start sb_neutral_start(const struct sb_sim *sim);

/* Where both are after a time. Pure. */
struct sb_neutral_end sb_neutral_end(const struct sb_segment *seg, const struct sb_neutral_start *start,
                                     double length_s);

/* How far it goes: for length_s, or until something happens before. */
struct sb_neutral_way {
  double length_s;
  const struct sb_guard *guard; /* that ends it; NULL: none */
};

/* false: that takes a series, for the output may start or turn over, or comes to a corner of its load. Pure. */
bool sb_neutral_way(const struct sb_sim *sim, const struct sb_neutral_start *start, double length_s,
                    struct sb_neutral_way *out);

/* Adds all that comes together in a time; few sums: no integrals of powers. */
void sb_neutral_add_gain(const struct sb_segment *seg, const struct sb_neutral_start *start, double length_s,
                         bool has_few_sums, struct sb_gain *sum);

#endif
