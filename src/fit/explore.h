// SPDX-License-Identifier: GPL-3.0-or-later
/* explore.h - where a search with shifts in its logs sets out from. */
#ifndef SHIFTBAND_FIT_EXPLORE_H
#define SHIFTBAND_FIT_EXPLORE_H

#include "fit/estimate.h"

enum { SB_EXPLORE_MINIMUM_MAX = 12 };

/* Places that follow the logs about as well as the best, and lie apart from it. */
struct sb_explore_minima {
  int count;
  struct sb_bench_place places[SB_EXPLORE_MINIMUM_MAX];
};

/* Brings the bench to the best values found from several starts around its present ones. */
enum sb_status sb_explore(struct sb_estimate *estimate, struct sb_explore_minima *others, struct sb_error *err);

#endif
