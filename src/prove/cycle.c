// SPDX-License-Identifier: GPL-3.0-or-later
/* cycle.c - how soon two commands can follow each other. */
#include <limits.h>
#include <math.h>

#include "prove/answer.h"

struct search {
  struct sb_reach *reach;
  int soonest[SB_GEAR_MAX][SB_REACH_WAYS]; /* samples from any command of a set to the next one; INT_MAX: none comes */
  int best;                                /* samples from a command to the second one after it */
  int second;                              /* of the command that is followed: samples to the next one */
};

/* Of all gears. */
static int last_sample(const struct sb_reach *reach)
{
  int last = 0;
  for (int g = 0; g < reach->gear_count; g++) {
    const int own = sb_reach_last_sample(reach, g);
    last = own > last ? own : last;
  }
  return last;
}

static bool take_second(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct search *search = context;
  (void)gear;
  (void)way;
  (void)span;
  search->second = sample;
  return true;
}

/* The next command from the soonest of each set. What follows a command lies in one of the sets as well. */
static void find_soonest(struct search *search, const struct sb_reach_commands *commands)
{
  const int last = last_sample(search->reach);
  for (int g = 0; g < search->reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &commands->sets[g][way];
      search->second = INT_MAX;
      for (int i = 0; i < set->count; i++) {
        const int end = search->second != INT_MAX ? search->second - 1 : last;
        (void)sb_reach_follow(search->reach, g, way, &set->items[i], end, take_second, search);
      }
      search->soonest[g][way] = search->second;
    }
  }
}

/* No sooner than the soonest of its set, but for a sample that roundings may cost. */
static bool is_too_late(const struct search *search, int sample, int gear, int way)
{
  const int soonest = search->soonest[gear][way];
  return soonest == INT_MAX || (search->best != INT_MAX && sample + soonest - 1 >= search->best);
}

static bool take_first(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct search *search = context;
  if (search->best != INT_MAX && sample + search->reach->dwell >= search->best) return true;
  if (is_too_late(search, sample, gear, way)) return false;
  const int last = search->best != INT_MAX ? search->best - sample - 1 : last_sample(search->reach);
  search->second = INT_MAX;
  (void)sb_reach_follow(search->reach, gear, way, span, last, take_second, search);
  if (search->second != INT_MAX && sample + search->second < search->best) search->best = sample + search->second;
  return false;
}

int sb_answer_cycle(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  struct search search = {.reach = reach, .best = INT_MAX};
  const int last = last_sample(reach);
  reach->is_restless = false;
  find_soonest(&search, commands);
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &commands->sets[g][way];
      for (int i = 0; i < set->count; i++) {
        const int end = search.best != INT_MAX && search.best < last ? search.best : last;
        (void)sb_reach_follow(reach, g, way, &set->items[i], end, take_first, &search);
      }
    }
  }
  /* What is followed no further may yet bring one. */
  return search.best == INT_MAX && reach->is_restless ? last : search.best;
}
