// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * No run exceeds a bound: random machines against loads that change at random and at the worst instants. SB_PROVE_MACHINES in the
 * environment tries more of them.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/play.h"

static struct sb_model model; /* large, hence not on the stack */
static struct sb_prove prove;
static struct sb_play play;
static int outside_count;

static const struct {
  const char *name;
  bool is_least; /* a run is not below it; else not above it */
} rows[] = {
#define BOUND_NAME(name, member, words, unit) \
  {member, SB_PROVE_##name == SB_PROVE_CYCLE_ONCE || SB_PROVE_##name == SB_PROVE_OUTPUT},
    SB_PROVE_BOUND_LIST(BOUND_NAME)
#undef BOUND_NAME
};

/* Sets are carried to 1e-10 of the reference; times of whole samples and steps. */
static const double slack = 1e-6;

static void set_level(struct sb_play_stage *stage, double acting, double resisting)
{
  stage->acting_nm = prove.acting_nm[0] + acting * (prove.acting_nm[1] - prove.acting_nm[0]);
  stage->resisting_nm = prove.resisting_nm[0] + resisting * (prove.resisting_nm[1] - prove.resisting_nm[0]);
}

static double random_level(gsl_rng *dice)
{
  const double draw = gsl_rng_uniform(dice);
  return draw < 0.35 ? 0.0 : draw < 0.7 ? 1.0 : gsl_rng_uniform(dice);
}

/* Stages of any length, or until the next command; the last one at an end of the bounds. */
static struct sb_play_game random_game(gsl_rng *dice)
{
  struct sb_play_game game = {.stage_count = 1 + (int)gsl_rng_uniform_int(dice, 14)};
  double whole_s = 0.0;
  for (int k = 0; k < game.stage_count; k++) {
    struct sb_play_stage *stage = &game.stages[k];
    const double level = random_level(dice);
    set_level(stage, level, level);
    stage->is_until_command = gsl_rng_uniform(dice) < 0.5;
    stage->time_s = gsl_ran_exponential(dice, 0.5);
    whole_s += stage->time_s;
  }
  const double last = gsl_rng_uniform_int(dice, 2) == 0 ? 0.0 : 1.0;
  set_level(&game.stages[game.stage_count - 1], last, last);
  game.duration_s = whole_s + 8.0;
  return game;
}

static void expect_within(int bound, double value, int machine)
{
  const double limit = prove.bounds[bound], size = fmax(fabs(limit), 1e-3);
  if (isnan(value) || isinf(limit)) return;
  const bool is_fine = rows[bound].is_least ? value >= limit - slack * size : value <= limit + slack * size;
  if (!is_fine)
    fail_msg("machine %d: %s: a run comes to %.9g, the bound is %.9g", machine, rows[bound].name, value, limit);
}

static bool is_compared(int bound, const struct sb_play_game *game)
{
  const struct sb_play_stage *last = &game->stages[game->stage_count - 1];
  const bool is_lightest = last->acting_nm + last->resisting_nm <= prove.lightest_nm * (1.0 + 1e-12);
  const bool is_heaviest = last->acting_nm + last->resisting_nm >= prove.heaviest_nm * (1.0 - 1e-12);
  if (bound == SB_PROVE_RETURN_TIME) return is_lightest;
  if (bound == SB_PROVE_REACTION_TIME) return is_heaviest && !is_lightest && !isnan(prove.bounds[bound]);
  return bound != SB_PROVE_SWING && bound != SB_PROVE_CYCLE_LASTING;
}

static void try_machine(gsl_rng *dice, int machine, int games)
{
  struct sb_error err;
  model = proof_random(dice);
  assert_int_equal(sb_prove_solve(&model, &prove, &err), SB_OK);
  if (prove.outside != NULL) {
    outside_count++;
    return;
  }
  assert_int_equal(sb_play_init(&play, &model, &err), SB_OK);
  for (int n = 0; n < games; n++) {
    const struct sb_play_game game = random_game(dice);
    struct sb_play_result result;
    assert_int_equal(sb_play_run(&play, &game, &result, &err), SB_OK);
    for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
      if (is_compared(k, &game)) expect_within(k, result.bounds[k], machine);
    }
  }
  sb_play_clear(&play);
}

static void no_run_exceeds_a_bound(void **state)
{
  (void)state;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 5 : 30;
  gsl_rng *dice = dice_of(1411);
  for (int k = 0; k < machines; k++) try_machine(dice, k, 40);
  gsl_rng_free(dice);
  assert_in_range(outside_count, 0, machines / 4); /* weak clutches, short dwells */
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(no_run_exceeds_a_bound)};
  return cmocka_run_group_tests(tests, NULL, NULL);
}
