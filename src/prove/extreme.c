// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * extreme.c - what shifts are like at worst, over all speeds at which they are commanded: the impulse has a kink where the output
 * just stops before the engagement, so the ends alone do not tell.
 */
#include <math.h>

#include "prove/answer.h"

enum { PLACES = 32, GOLDEN_STEPS = 32 };

/* What is looked for, greater is worse. */
enum fact { FACT_TIME, FACT_STANDSTILL, FACT_OUTPUT, FACT_SHOCK, FACT_COUNT };

struct shifts {
  struct sb_reach *reach;
  int gear, way;
  double worst[FACT_COUNT];
};

static double fact_of(const struct sb_edge_shifts *shift, int fact)
{
  switch (fact) {
    case FACT_TIME: return shift->engaged_s[1];
    case FACT_STANDSTILL: return shift->standstill_s;
    case FACT_OUTPUT: return -shift->least_output_rad_s;
    default: return shift->impulse_nms;
  }
}

/* Shifts from a speed; all its facts count. Returns the one that is asked for. */
static double look(struct shifts *shifts, double motor_rad_s, int fact)
{
  struct sb_reach *reach = shifts->reach;
  const struct sb_corner from = sb_edge_corner(&reach->edges, shifts->gear, motor_rad_s);
  const struct sb_edge_shifts shift =
      sb_edge_shifts(&reach->edges, shifts->gear, sb_reach_next_gear(shifts->gear, shifts->way), &from);
  for (int k = 0; k < FACT_COUNT; k++) shifts->worst[k] = fmax(shifts->worst[k], fact_of(&shift, k));
  return fact_of(&shift, fact);
}

/* The greatest about a place, by golden sections. */
static void refine(struct shifts *shifts, double low, double high, int fact)
{
  const double golden = 0.5 * (sqrt(5.0) - 1.0);
  double a = high - golden * (high - low), b = low + golden * (high - low);
  double at_a = look(shifts, a, fact), at_b = look(shifts, b, fact);
  for (int i = 0; i < GOLDEN_STEPS; i++) {
    if (at_a > at_b) {
      high = b;
      b = a;
      at_b = at_a;
      a = high - golden * (high - low);
      at_a = look(shifts, a, fact);
    } else {
      low = a;
      a = b;
      at_a = at_b;
      b = low + golden * (high - low);
      at_b = look(shifts, b, fact);
    }
  }
}

static void scan(struct shifts *shifts, const struct sb_span *span)
{
  const double low = span->low.motor_rad_s, width = span->high.motor_rad_s - low;
  double values[FACT_COUNT][PLACES + 1];
  for (int i = 0; i <= PLACES; i++) {
    struct shifts one = *shifts;
    for (int k = 0; k < FACT_COUNT; k++) one.worst[k] = -INFINITY;
    (void)look(&one, low + width * i / PLACES, 0);
    for (int k = 0; k < FACT_COUNT; k++) {
      values[k][i] = one.worst[k];
      shifts->worst[k] = fmax(shifts->worst[k], one.worst[k]);
    }
  }
  for (int k = 0; k < FACT_COUNT; k++) {
    int best = 0;
    for (int i = 1; i <= PLACES; i++) best = values[k][i] > values[k][best] ? i : best;
    if (best == 0 || best == PLACES || !(width > 0.0)) continue;
    refine(shifts, low + width * (best - 1) / PLACES, low + width * (best + 1) / PLACES, k);
  }
}

struct sb_answer_shifts sb_answer_shifts(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  struct sb_answer_shifts out = {NAN, NAN, NAN, {NAN, NAN}};
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &commands->sets[g][way];
      for (int i = 0; i < set->count; i++) {
        struct shifts shifts = {reach, g, way, {0.0, 0.0, -INFINITY, 0.0}};
        scan(&shifts, &set->items[i]);
        out.longest_s = fmax(out.longest_s, shifts.worst[FACT_TIME]);
        out.standstill_s = fmax(out.standstill_s, shifts.worst[FACT_STANDSTILL]);
        out.least_output_rad_s = fmin(out.least_output_rad_s, -shifts.worst[FACT_OUTPUT]);
        out.shock_nms[way] = fmax(out.shock_nms[way], shifts.worst[FACT_SHOCK]);
      }
    }
  }
  return out;
}

void sb_answer_commands(const struct sb_reach *reach, const struct sb_reach_commands *all, struct sb_prove *out)
{
  const double reference = out->model->control.sensor.reference_rad_s;
  for (int g = 0; g < reach->gear_count; g++) {
    struct sb_prove_commands *commands = &out->commands[g];
    *commands = (struct sb_prove_commands){NAN, NAN, NAN, NAN};
    double *ends[SB_REACH_WAYS][2] = {{&commands->downshift_from, &commands->downshift_to},
                                      {&commands->upshift_from, &commands->upshift_to}};
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &all->sets[g][way];
      if (set->count == 0) continue;
      const struct sb_span hull = sb_span_set_hull(set);
      *ends[way][0] = hull.low.motor_rad_s / reference;
      *ends[way][1] = hull.high.motor_rad_s / reference;
    }
  }
}
