// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Clutches that slip in gear, or engage only after some first decisions: no run exceeds what is proved of them. SB_PROVE_MACHINES in
 * the environment tries more machines.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove;
static struct sb_play play;

static struct sb_model weak_random(gsl_rng *dice)
{
  struct sb_model model;
  do {
    model = proof_random(dice);
  } while (!model.shifter.ops->has_clutch);
  model.shifter.clutch_nm = model.motor.stall_torque_nm * gsl_ran_flat(dice, 0.25, 1.1);
  return model;
}

static void no_run_of_a_slipping_clutch_exceeds_a_bound(void **state)
{
  (void)state;
  struct sb_error err;
  const char *asked = getenv("SB_PROVE_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : 60;
  gsl_rng *dice = dice_of(1429);
  int boxes = 0, outside = 0;
  for (int k = 0; k < machines; k++) {
    tried = weak_random(dice);
    assert_int_equal(sb_prove_solve_quickly(&tried, &prove, &err), SB_OK);
    if (prove.outside != NULL) { outside++; printf("%d %s\n", k, prove.outside); continue; }
    boxes += prove.has_boxes;
    assert_int_equal(sb_play_init(&play, &tried, &err), SB_OK);
    double worst[SB_PROVE_BOUNDS];
    for (int b = 0; b < SB_PROVE_BOUNDS; b++) worst[b] = NAN;
    for (int n = 0; n < 60; n++) {
      const struct sb_play_game game = game_random(&prove, dice);
      struct sb_play_result result;
      assert_int_equal(sb_play_run(&play, &game, &result, &err), SB_OK);
      for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
        if (!game_is_compared(&prove, b, &game)) continue;
        if (!isnan(result.bounds[b]) && (isnan(worst[b]) || (game_bounds[b].is_least ? result.bounds[b] < worst[b] : result.bounds[b] > worst[b]))) worst[b] = result.bounds[b];
        if (game_exceeds(&prove, b, result.bounds[b])) printf("VIOLATION %d %s %g %g\n", k, game_bounds[b].name, result.bounds[b], prove.bounds[b]);
      }
    }
    sb_play_clear(&play);
    if (prove.has_boxes) { printf("machine %d debounce %d filter %g: ", k, tried.control.debounce_count, tried.control.sensor.filter_s); for (int b = 0; b < SB_PROVE_BOUNDS; b++) printf("%.4g/%.4g ", worst[b], prove.bounds[b]); printf("\n"); }
  }
  printf("boxes %d outside %d of %d\n", boxes, outside, machines);
  gsl_rng_free(dice);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(no_run_of_a_slipping_clutch_exceeds_a_bound),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
