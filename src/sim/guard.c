// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/guard.h"

#include "sim/contact.h"
#include "sim/plain_events.h"
#include "sim/spring.h"
#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>

static bool applies_always(const struct sb_sim *sim)
{
  (void)sim;
  return true;
}

static bool applies_on_wheels(const struct sb_sim *sim)
{
  return sim->model->load.road.can_slip;
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
    {sb_plain_events, applies_always},
    {sb_contact_guards, applies_on_wheels},
    {sb_spring_guards, applies_to_spring},
};

enum { LIST_COUNT = sizeof lists / sizeof *lists };

struct search {
  const struct sb_sim *sim;
  const struct sb_point *from;
  const struct sb_guard *guard;
};

static double value_after(double length, void *context)
{
  const struct search *search = context;
  struct sb_gain gain = {0};
  struct sb_point to = *search->from;
  if (length > 0.0) to = sb_stepper_step(search->sim, search->from, length, &gain);
  return search->guard->value(search->sim, &to, &gain);
}

/* A length after which the guard has surely not fired, or -1. Zero, as a rule; but a body that has just started is at
 * the guard's zero already, and one that stops again within the same step is on its way only for a bit of it. */
static double safe_length(struct search *search, double h)
{
  if (value_after(0.0, search) > 0.0) return 0.0;
  for (double length = 0.5 * h; length > 1e-15 * h; length *= 0.5) {
    if (value_after(length, search) > 0.0) return length;
  }
  return -1.0;
}

/* Length of the step that ends at the guard's zero, on its far side. */
static double locate(struct sb_sim *sim, const struct sb_point *from, double h, const struct sb_guard *guard)
{
  struct search search = {sim, from, guard};
  gsl_function value = {value_after, &search};
  const double safe = safe_length(&search, h);
  if (safe < 0.0) return 0.0;

  gsl_root_fsolver *solver = sim->root_solver;
  if (gsl_root_fsolver_set(solver, &value, safe, h) != GSL_SUCCESS) return h;
  for (int i = 0; i < 200; i++) {
    if (gsl_root_fsolver_iterate(solver) != GSL_SUCCESS) break;
    const double low = gsl_root_fsolver_x_lower(solver), high = gsl_root_fsolver_x_upper(solver);
    if (high - low <= 1e-15 * h || value_after(gsl_root_fsolver_root(solver), &search) == 0.0) break;
  }
  /* Brent may end with its best point on the near side; the far end of the bracket is as close as doubles allow. */
  const double root = gsl_root_fsolver_root(solver);
  return value_after(root, &search) <= 0.0 ? root : gsl_root_fsolver_x_upper(solver);
}

/* Takes a guard that fires within the whole step, if it is the first to do so. */
static void watch(struct sb_sim *sim, const struct sb_point *from, double h, const struct sb_guard *guard,
                  struct sb_guarded_step *step)
{
  if (!guard->is_watched(sim)) return;
  if (!(guard->value(sim, &step->to, &step->gain) < 0.0)) return;
  const double here = locate(sim, from, h, guard);
  if (step->guard == NULL || here < step->length) {
    step->guard = guard;
    step->length = here;
  }
}

struct sb_guarded_step sb_guard_step(struct sb_sim *sim, const struct sb_point *from, double h)
{
  struct sb_guarded_step step = {.guard = NULL, .length = h};
  step.to = sb_stepper_step(sim, from, h, &step.gain);
  for (int k = 0; k < LIST_COUNT; k++) {
    if (!lists[k].applies(sim)) continue;
    for (const struct sb_guard *guard = lists[k].guards; guard->is_watched != NULL; guard++) {
      watch(sim, from, h, guard, &step);
    }
  }
  if (step.guard == NULL) return step;
  step.gain = (struct sb_gain){0};
  step.to = step.length > 0.0 ? sb_stepper_step(sim, from, step.length, &step.gain) : *from;
  return step;
}
