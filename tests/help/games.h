// SPDX-License-Identifier: GPL-3.0-or-later
/* games.h - random load profiles within what a proof counts on, and whether what runs come to stays within its bounds. */
#ifndef SHIFTBAND_TESTS_GAMES_H
#define SHIFTBAND_TESTS_GAMES_H

#include <gsl/gsl_randist.h>
#include <math.h>

#include "help/near.h"
#include "prove/play.h"

static const struct {
  const char *name;
  bool is_least; /* a run is not below it; else not above it */
} game_bounds[] = {
#define GAME_BOUND(name, member, words, unit)                                                     \
  {member, SB_PROVE_##name == SB_PROVE_CYCLE_ONCE || SB_PROVE_##name == SB_PROVE_CYCLE_LASTING || \
               SB_PROVE_##name == SB_PROVE_OUTPUT},
    SB_PROVE_BOUND_LIST(GAME_BOUND)
#undef GAME_BOUND
};

static inline void game_set_level(const struct sb_prove *prove, struct sb_play_stage *stage, double share)
{
  stage->acting_nm = prove->acting_nm[0] + share * (prove->acting_nm[1] - prove->acting_nm[0]);
  stage->resisting_nm = prove->resisting_nm[0] + share * (prove->resisting_nm[1] - prove->resisting_nm[0]);
}

static inline double game_level(gsl_rng *dice)
{
  const double draw = gsl_rng_uniform(dice);
  return draw < 0.35 ? 0.0 : draw < 0.7 ? 1.0 : gsl_rng_uniform(dice);
}

/* Stages of any length, or until the next command; the last one at an end of the bounds. */
static inline struct sb_play_game game_random(const struct sb_prove *prove, gsl_rng *dice)
{
  struct sb_play_game game = {.stage_count = 1 + (int)gsl_rng_uniform_int(dice, 14)};
  double whole_s = 0.0;
  for (int k = 0; k < game.stage_count; k++) {
    struct sb_play_stage *stage = &game.stages[k];
    game_set_level(prove, stage, game_level(dice));
    stage->is_until_command = gsl_rng_uniform(dice) < 0.5;
    stage->time_s = gsl_ran_exponential(dice, 0.5);
    whole_s += stage->time_s;
  }
  game_set_level(prove, &game.stages[game.stage_count - 1], gsl_rng_uniform_int(dice, 2) == 0 ? 0.0 : 1.0);
  game.duration_s = whole_s + 8.0;
  return game;
}

/* Sets are carried to 1e-10 of the reference; times of whole samples and steps. */
static inline bool game_exceeds(const struct sb_prove *prove, int bound, double value)
{
  static const double slack = 1e-6;
  const double limit = prove->bounds[bound], size = fmax(fabs(limit), 1e-3);
  if (isnan(value) || isinf(limit)) return false;
  return game_bounds[bound].is_least ? value < limit - slack * size : value > limit + slack * size;
}

static inline void game_expect_within(const struct sb_prove *prove, int bound, double value, int machine)
{
  if (game_exceeds(prove, bound, value))
    fail_msg("machine %d: %s: a run comes to %.9g, the bound is %.9g", machine, game_bounds[bound].name, value,
             prove->bounds[bound]);
}

/* Return and reaction count from the last stage, at that end of the bounds. */
static inline bool game_is_compared(const struct sb_prove *prove, int bound, const struct sb_play_game *game)
{
  const struct sb_play_stage *last = &game->stages[game->stage_count - 1];
  const bool is_lightest = last->acting_nm + last->resisting_nm <= prove->lightest_nm * (1.0 + 1e-12);
  const bool is_heaviest = last->acting_nm + last->resisting_nm >= prove->heaviest_nm * (1.0 - 1e-12);
  if (bound == SB_PROVE_RETURN_TIME) return is_lightest;
  if (bound == SB_PROVE_REACTION_TIME) return is_heaviest && !is_lightest && !isnan(prove->bounds[bound]);
  return bound != SB_PROVE_SWING && bound != SB_PROVE_CYCLE_LASTING;
}

/* Random games with a machine: no run exceeds a bound that was proved of it, if any was. Returns how often gears jammed. */
static inline long game_play_within(const struct sb_model *model, const struct sb_prove *prove, gsl_rng *dice,
                                    int machine, int games)
{
  static struct sb_play player; /* large, hence not on the stack */
  struct sb_error err;
  long jams = 0;
  assert_int_equal(sb_play_init(&player, model, &err), SB_OK);
  for (int n = 0; n < games; n++) {
    const struct sb_play_game game = game_random(prove, dice);
    struct sb_play_result result;
    assert_int_equal(sb_play_run(&player, &game, &result, &err), SB_OK);
    jams += player.sim.sums.jam_count;
    for (int k = 0; k < SB_PROVE_BOUNDS && prove->outside == NULL; k++) {
      if (game_is_compared(prove, k, &game)) game_expect_within(prove, k, result.bounds[k], machine);
    }
  }
  sb_play_clear(&player);
  return jams;
}

#endif
