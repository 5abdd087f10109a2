// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/guard.h"

#include "sim/chopper.h"
#include "sim/clutch.h"
#include "sim/contact.h"
#include "sim/plain_events.h"
#include "sim/spring.h"

static bool applies_always(const struct sb_sim *sim)
{
  (void)sim;
  return true;
}

static bool applies_on_wheels(const struct sb_sim *sim)
{
  return sim->model->load.road.can_slip;
}

static bool applies_to_limit(const struct sb_sim *sim)
{
  return sim->model->supply.current_limit_a > 0.0;
}

static bool applies_to_clutch(const struct sb_sim *sim)
{
  return sb_shifter_clutch_nm(&sim->model->shifter) > 0.0;
}

static bool applies_to_spring(const struct sb_sim *sim)
{
  return sim->segment->has_spring;
}

/* All guards; where two fire at one instant, the earlier in this order counts. */
static const struct list {
  const struct sb_guard *guards;
  bool (*applies)(const struct sb_sim *sim);
} lists[] = {
    {sb_plain_events, applies_always},     {sb_chopper_guards, applies_to_limit},
    {sb_clutch_guards, applies_to_clutch}, {sb_contact_guards, applies_on_wheels},
    {sb_spring_guards, applies_to_spring},
};

enum { LIST_COUNT = sizeof lists / sizeof *lists };

const struct sb_guard *sb_guard_first(struct sb_sim *sim, const struct sb_motion *motion, double *share)
{
  const struct sb_guard *first = NULL;
  *share = INFINITY;
  for (int k = 0; k < LIST_COUNT; k++) {
    if (!lists[k].applies(sim)) continue;
    for (const struct sb_guard *guard = lists[k].guards; guard->is_watched != NULL; guard++) {
      if (!guard->is_watched(sim)) continue;
      if (guard->floor != NULL && guard->floor(sim, motion) > 0.0) continue;
      struct sb_series falls[SB_FALL_MAX];
      const int count = guard->falls(sim, motion, falls);
      const double here = sb_series_first_fall(falls, count, motion->degree, sim->root_solver);
      if (!(here < *share)) continue;
      first = guard;
      *share = here;
    }
  }
  return first;
}
