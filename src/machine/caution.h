// SPDX-License-Identifier: GPL-3.0-or-later
/* caution.h - the usual cautions, each in one place, for every report that could send somebody to a machine. */
#ifndef SHIFTBAND_MACHINE_CAUTION_H
#define SHIFTBAND_MACHINE_CAUTION_H

#include <stdbool.h>

#include "shiftband/battery.h"
#include "shiftband/load.h"

enum sb_caution {
  SB_CAUTION_HOIST,   /* a load that acts by itself */
  SB_CAUTION_STALL,   /* a motor that stands still under drive */
  SB_CAUTION_BREAK,   /* parts near their limit */
  SB_CAUTION_HEAT,    /* a winding that gets too hot */
  SB_CAUTION_MAGNET,  /* heat of a motor whose magnets are not described */
  SB_CAUTION_RESIDUAL /* energies that do not add up */
};

/* Energies that part by more than this share of what was moved call for that caution. */
#define SB_CAUTION_RESIDUAL_RATIO 1e-9

/* The caution in words, a constant string. */
const char *sb_caution_text(enum sb_caution caution);

/* What a battery can do, by its chemistry, a constant string; "" without one. Pure. */
const char *sb_caution_of_battery(const struct sb_battery *battery);

/* Whether a part of the load acts whatever the motion, as a suspended weight does. Pure. */
bool sb_caution_has_acting_load(const struct sb_load *load);

#endif
