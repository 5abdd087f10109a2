// SPDX-License-Identifier: GPL-3.0-or-later
/* scenario.h - a load profile that was sought, as keys of the scenario that it was sought for. */
#ifndef SHIFTBAND_PROVE_SCENARIO_H
#define SHIFTBAND_PROVE_SCENARIO_H

#include "shiftband/prove.h"

enum { SB_PROVE_SETS = 3 };

/* Texts PATH=VALUE, as of --set, that put a profile in place of the load's parts that do not follow the speed. */
struct sb_prove_sets {
  const char *texts[SB_PROVE_SETS]; /* they point into this struct: it stays where it is */
  int part_count;                   /* parts of the load with them; more in the scenario come from load.bodies */
  char *parts, breakaway[64], duration[64];
};

/* Of the profile of a bound, which is there. Fails with SB_ERR_MEMORY; otherwise cleared by sb_prove_sets_clear(). */
enum sb_status sb_prove_sets_of(const struct sb_prove *prove, enum sb_prove_bound bound, struct sb_prove_sets *out,
                                struct sb_error *err);
void sb_prove_sets_clear(struct sb_prove_sets *sets);

#endif
