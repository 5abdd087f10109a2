// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * battery.h - a battery's open-circuit voltage over its charge.
 *
 *   Voc = series_count x cell voltage(charge),   charge = charge at the start - (charge drawn) / capacity
 *
 * A model holds the voltage at the start's charge as its supply's, so that every closed form is right at that charge;
 * a run counts on from there. Internal resistance is the supply's own (motor.h) and does not change with the charge.
 *
 * Leaves out: losses by rate, temperature and age, recovery at rest. Sources of the curves: battery_cells.c.
 */
#ifndef SHIFTBAND_BATTERY_H
#define SHIFTBAND_BATTERY_H

#include <stdbool.h>

#include "shiftband/table.h"

#ifdef __cplusplus
extern "C" {
#endif

/* X(code, name as in scenarios, another name that they may use, or the same) */
#define SB_CHEMISTRY_LIST(X)                                                  \
  X(SB_CHEMISTRY_LEAD_ACID, "lead acid", "lead acid")                         \
  X(SB_CHEMISTRY_LITHIUM_ION, "lithium ion", "Li-ion")                        \
  X(SB_CHEMISTRY_LITHIUM_IRON_PHOSPHATE, "lithium iron phosphate", "LiFePO4") \
  X(SB_CHEMISTRY_NICKEL_METAL_HYDRIDE, "nickel metal hydride", "NiMH")        \
  X(SB_CHEMISTRY_ALKALINE, "alkaline", "alkaline")

enum sb_chemistry_code {
  SB_CHEMISTRY_NONE, /* a curve of the scenario's own */
#define SB_CHEMISTRY_CODE(code, name, other) code,
  SB_CHEMISTRY_LIST(SB_CHEMISTRY_CODE)
#undef SB_CHEMISTRY_CODE
};

/* A kind of cell that a scenario can name. */
struct sb_chemistry {
  const char *name;      /* as in the scenario file */
  const char *source;    /* where curve and cut-off were published */
  const char *caution;   /* what can hurt, for reports; NULL: nothing of its own */
  struct sb_table curve; /* open-circuit voltage of a cell, V, over its charge 0..1; count >= 2, never falling */
  double cutoff_v;       /* V a cell, under load, below which it should not be drawn from */
};

/* All kinds in the order of their codes, from the first; the last has no name. */
extern const struct sb_chemistry sb_battery_chemistries[];

/* The kind of that name, or NULL. */
const struct sb_chemistry *sb_battery_chemistry_find(const char *name);

/* The kind of a code; NULL for SB_CHEMISTRY_NONE. */
const struct sb_chemistry *sb_battery_chemistry_of(enum sb_chemistry_code code);

struct sb_battery {
  bool is_present;
  const struct sb_chemistry *chemistry; /* NULL: a curve of the scenario's own */
  struct sb_table curve;                /* of a cell; owned by the chemistry or the scenario */
  int series_count;                     /* cells in series, >= 1 */
  double capacity_as;                   /* A s, > 0: of the whole battery */
  double charge_fraction;               /* at the start, 0..1 */
  double cutoff_v;                      /* V of the whole battery under load, below which the drive is cut; 0: never */
  double cutoff_delay_s;                /* s, >= 0: so long it must be below in one go; whole ticks count, rounded up */
};

/* Open-circuit voltage at a charge (clamped to 0..1), V. Pure. */
double sb_battery_voltage_v(const struct sb_battery *battery, double charge_fraction);

#ifdef __cplusplus
}
#endif

#endif
