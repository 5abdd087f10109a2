// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/show.h"

/* An interval that is still wrong when it reaches so many times as far is no chance: that of one in 40 sound logs lies below a
 * figure that is zero, and of one in some ten thousand lies twice as far below. */
static const double beyond_chance = 2.0;

/* A bound that no machine passes, and what may be wrong in the log where one does. */
static const struct bound {
  enum sb_fit_figure_kind kind;
  bool is_upper; /* else the figure is never below the limit */
  double limit;
  const char *wrong;
} bounds[] = {
#define VISCOUS(key)                                                                                                  \
  "the speed falls too fast at the end, or too slowly at first: is the circuit open throughout the coast-down, with " \
  "nothing that drives or brakes, are rows of another motion left in the log, or does the friction grow as the "      \
  "machine slows down (--known " key "='0 N.m.s/rad' then takes it for none)?"
#define FRICTION                                                                                                  \
  "does something drive the machine (a slope, a weight, a circuit that is not open), or does its drag grow with " \
  "the square of the speed?"
#define CURRENT                                                                                                       \
  "does the ammeter show zero without a current, has the current its right sign, and are current and voltage in the " \
  "units that their columns say?"
    {SB_FIT_NO_LOAD_CURRENT, false, 0.0, CURRENT},
    {SB_FIT_MOTOR_FRICTION, false, 0.0, FRICTION},
    {SB_FIT_FRICTION_OVER_INERTIA, false, 0.0, FRICTION},
    {SB_FIT_LOAD_FRICTION, false, 0.0, FRICTION},
    {SB_FIT_MOTOR_VISCOUS, false, 0.0, VISCOUS("motor_viscous")},
    {SB_FIT_VISCOUS_OVER_INERTIA, false, 0.0, VISCOUS("motor_viscous")},
    {SB_FIT_LOAD_VISCOUS, false, 0.0, VISCOUS("load_viscous")},
    {SB_FIT_MESH_EFFICIENCY, true, 1.0,
     "are torque, arm and teeth right, does the gear column name the gear that was engaged, and has the scenario the "
     "motor that was measured?"},
    {SB_FIT_KT_OVER_KE, true, 1.0,
     "more would come out of the motor than goes in: are torque, arm, speed, current and voltage in the units that "
     "their columns say?"},
#undef VISCOUS
#undef FRICTION
#undef CURRENT
};

enum { BOUND_COUNT = sizeof bounds / sizeof *bounds };

/* Whether an interval that reaches so many times as far lies beyond the bound. */
static bool is_beyond(const struct sb_fit_figure *figure, const struct bound *bound, double times)
{
  if (figure->state != SB_FIT_DETERMINED) return false;
  const double end = bound->is_upper ? figure->least : figure->greatest;
  const double reached = figure->value + times * (end - figure->value);
  return bound->is_upper ? reached > bound->limit : reached < bound->limit;
}

static const struct bound *find_beyond(const struct sb_fit_result *result, double times)
{
  for (int k = 0; k < BOUND_COUNT; k++) {
    if (is_beyond(&result->figures[bounds[k].kind], &bounds[k], times)) return &bounds[k];
  }
  return NULL;
}

enum sb_status sb_possible_check(const struct sb_fit_result *result, const struct sb_log *logs, struct sb_error *err)
{
  const struct bound *bound = find_beyond(result, beyond_chance);
  char least[32], greatest[32];
  if (bound == NULL) return SB_OK;
  const struct sb_fit_figure *figure = &result->figures[bound->kind];
  const struct sb_shown_unit unit = sb_show_unit(bound->kind, figure->value);
  const double se = figure->standard_error * unit.per_si;
  return sb_fail(err, SB_ERR_SCENARIO, "%s%s: %s: needs %s, found %s..%s%s%s (95 %% interval): %s", logs[0].path,
                 result->log_count > 1 ? " and others" : "", sb_fit_figures[bound->kind].words,
                 bound->is_upper ? "at most 1" : "zero or more", sb_show_number(figure->least * unit.per_si, se, least),
                 sb_show_number(figure->greatest * unit.per_si, se, greatest), unit.name[0] != 0 ? " " : "", unit.name,
                 bound->wrong);
}

bool sb_possible_doubt(const struct sb_fit_result *result, struct sb_doubt *out)
{
  const struct bound *bound = find_beyond(result, 1.0);
  if (bound != NULL) *out = (struct sb_doubt){bound->kind, bound->is_upper ? "above 1" : "below zero", bound->wrong};
  return bound != NULL;
}
