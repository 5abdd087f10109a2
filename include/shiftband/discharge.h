// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * discharge.h - troubles that the closed forms show over the charge of a battery, from full to empty.
 *
 * Every trouble lasts over one or more spans of the charge. Their ends are roots: between two points of the battery's
 * curve the voltage is linear in the charge, so the curves of torque are searched there one interval at a time by
 * Brent's method, and no end is missed between the points of a grid.
 *
 *   stuck low              Tu <= the lightest load        (closed_form.h)
 *   needless downshift     Td <= the lightest load
 *   hunting                Td < some constant load of the scenario's range < Tu
 *   stall                  a gear's stall torque <= the heaviest load
 *   below the cut-off      Voc - Ri u I <= cut-off: in the steady state of a gear under the lightest or the heaviest load
 *   start cut              so for longer than the cut-off's delay after a start from rest in the start gear, under the
 *                          lightest load: then every start is cut
 *
 * Leaves out: what a run adds (charge drawn meanwhile, shifts that draw more current than
 * the steady state, the ticks of a drive).
 */
#ifndef SHIFTBAND_DISCHARGE_H
#define SHIFTBAND_DISCHARGE_H

#include "shiftband/model.h"
#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* X(code, words) */
#define SB_DISCHARGE_LIST(X)                                                    \
  X(SB_DISCHARGE_STUCK_LOW, "stuck low")                                        \
  X(SB_DISCHARGE_NEEDLESS_DOWNSHIFT, "needless downshift")                      \
  X(SB_DISCHARGE_HUNTING, "hunting")                                            \
  X(SB_DISCHARGE_STALL, "stall")                                                \
  X(SB_DISCHARGE_CUT_STARTING, "below the cut-off for too long when it starts") \
  X(SB_DISCHARGE_CUT_LIGHTEST, "below the cut-off at the lightest load")        \
  X(SB_DISCHARGE_CUT_HEAVIEST, "below the cut-off at the heaviest load")

enum sb_discharge_kind {
#define SB_DISCHARGE_CODE(code, words) code,
  SB_DISCHARGE_LIST(SB_DISCHARGE_CODE)
#undef SB_DISCHARGE_CODE
      SB_DISCHARGE_KIND_COUNT
};

/* The words above, a constant string. */
const char *sb_discharge_words(enum sb_discharge_kind kind);

/* Whether a kind is about a pair of gears; else it is about one gear, or (starting) about none. */
bool sb_discharge_is_of_pair(enum sb_discharge_kind kind);

/* How many pairs or gears a kind is looked for in: indices 0 to that. Pure. */
int sb_discharge_subject_count(enum sb_discharge_kind kind, int gear_count);

/* A trouble lasts from one charge down to another: a discharging battery meets `from` first. */
struct sb_discharge_span {
  enum sb_discharge_kind kind;
  int index;            /* of the gear, or of the pair */
  double from_fraction; /* 1: it begins at a full battery */
  double to_fraction;   /* < from; 0: it lasts until the battery is empty */
};

enum { SB_DISCHARGE_SPAN_MAX = 128 };

struct sb_discharge {
  int span_count; /* in the order of kinds, gears, and falling charge */
  struct sb_discharge_span spans[SB_DISCHARGE_SPAN_MAX];
};

/* Sets a model's battery to a charge (0..1), and its supply to the voltage there. The battery must be present. */
void sb_discharge_set(struct sb_model *model, double charge_fraction);

/* Finds all spans. The battery must be present. Fails with SB_ERR_MEMORY. */
enum sb_status sb_discharge_solve(const struct sb_model *model, struct sb_discharge *out, struct sb_error *err);

/* The span of a kind and gear or pair that holds a charge, or NULL. Pure. */
const struct sb_discharge_span *sb_discharge_span_at(const struct sb_discharge *discharge, enum sb_discharge_kind kind,
                                                     int index, double charge_fraction);

/* The charge at which the battery ends in use: the first at which a start is cut, or the highest gear under the lightest load, is
 * below the cut-off; or 0. Pure. */
double sb_discharge_end_fraction(const struct sb_model *model, const struct sb_discharge *discharge);

#ifdef __cplusplus
}
#endif

#endif
