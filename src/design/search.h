// SPDX-License-Identifier: GPL-3.0-or-later
/* search.h - the first stage: all boxes in all combinations against closed forms. */
#ifndef SHIFTBAND_DESIGN_SEARCH_H
#define SHIFTBAND_DESIGN_SEARCH_H

#include "design/motions.h"

/* Counts boxes and machines; refuses too many of them before anything runs. Needs the combinations. */
enum sb_status sb_search_count(const struct sb_design_request *request, struct sb_design_answer *answer,
                               struct sb_error *err);

/* What the closed forms leave, in an order that does not depend on the number of threads. */
enum sb_status sb_search_run(const struct sb_design_request *request, struct sb_design_answer *answer,
                             struct sb_motions *motions, struct sb_error *err);

/* At most this speed of the output in steady state under a load, in any gear, rad/s. Pure. */
double sb_search_speed_rad_s(const struct sb_combination *combination, const struct sb_candidate *candidate,
                             double load_nm);

#endif
