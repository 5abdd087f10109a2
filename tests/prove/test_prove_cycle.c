// SPDX-License-Identifier: GPL-3.0-or-later
/* How soon two commands follow each other, against a search that follows every command to its end. */
#include <limits.h>

#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/answer.h"

enum { MACHINES = IS_SLOW ? 40 : 250, SAMPLES_MAX = 2000 };

/* The least samples so far: to the next command, and to the second one. */
struct plain {
  struct sb_reach *reach;
  int next, second;
};

static bool take_next(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct plain *plain = context;
  (void)gear, (void)way, (void)span;
  plain->next = sample;
  return true;
}

static bool take_each(void *context, int sample, int gear, int way, const struct sb_span *span)
{
  struct plain *plain = context;
  plain->next = INT_MAX;
  (void)sb_reach_follow(plain->reach, gear, way, span, SAMPLES_MAX, take_next, plain);
  if (plain->next != INT_MAX && sample + plain->next < plain->second) plain->second = sample + plain->next;
  return sample > plain->second;
}

static int second_of(struct sb_reach *reach, const struct sb_reach_commands *commands)
{
  struct plain plain = {reach, INT_MAX, INT_MAX};
  for (int g = 0; g < reach->gear_count; g++) {
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      const struct sb_spans *set = &commands->sets[g][way];
      for (int i = 0; i < set->count; i++)
        (void)sb_reach_follow(reach, g, way, &set->items[i], SAMPLES_MAX, take_each, &plain);
    }
  }
  return plain.second;
}

static void the_fastest_cycle_is_that_of_a_search_of_all(void **state)
{
  (void)state;
  static struct sb_reach reach;
  static struct sb_reach_commands all;
  struct sb_error err;
  int compared = 0;
  gsl_rng *dice = gsl_rng_alloc(gsl_rng_taus);
  gsl_rng_set(dice, 29);
  for (int k = 0; k < MACHINES; k++) {
    const struct sb_model model = proof_random(dice);
    assert_int_equal(sb_reach_init(&reach, &model, &err), SB_OK);
    sb_reach_all(&reach, &all);
    const int found = sb_answer_cycle(&reach, &all), wanted = second_of(&reach, &all);
    if (reach.trouble == NULL && (found <= SAMPLES_MAX || wanted != INT_MAX)) {
      assert_int_equal(found, wanted);
      compared++;
    }
    sb_reach_clear(&reach);
  }
  gsl_rng_free(dice);
  print_message("fastest cycles compared: %d of %d\n", compared, MACHINES);
  assert_in_range(compared, MACHINES / 2, MACHINES);
}

/* A rotor as heavy as a flywheel takes 7000 samples to a threshold: to follow all of them from each one would take minutes. */
static void a_cycle_of_thousands_of_samples_is_found_by_the_soonest_commands(void **state)
{
  (void)state;
  static struct sb_reach reach;
  static struct sb_reach_commands all;
  struct sb_error err;
  struct sb_model model = proof_machine("selector", 0.95, 1.5, 0.25, 6.0);
  model.motor.rotor_inertia_kg_m2 = 10000.0 * proof_rotor;
  model_finish(&model);
  assert_int_equal(sb_reach_init(&reach, &model, &err), SB_OK);
  sb_reach_all(&reach, &all);
  const int samples = sb_answer_cycle(&reach, &all);
  print_message("a flywheel's fastest cycle: %d samples\n", samples);
  assert_in_range(samples, 5000, 100000);
  sb_reach_clear(&reach);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_fastest_cycle_is_that_of_a_search_of_all),
      cmocka_unit_test(a_cycle_of_thousands_of_samples_is_found_by_the_soonest_commands),
  };
  return cmocka_run_group_tests_name("fastest cycles", tests, NULL, NULL);
}
