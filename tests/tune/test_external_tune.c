// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Tuning somebody else's controller. The example is the built-in hysteresis written anew, so its sampled surveys have to
 * lead to what the exact maps say on the same lattice: the reference is the other way to the same answer.
 */
#include <signal.h>
#include <stdlib.h>
#include <string.h>

#include "../../tools/external/controller.c"  // NOLINT(bugprone-suspicious-include): the example itself is under test
#include "help/near.h"
#include "shiftband/scenario.h"
#include "shiftband/tune.h"

enum { MACHINE_COUNT = 3 };

static struct sb_scenario scenarios[MACHINE_COUNT];
static struct sb_tune_machine machines[MACHINE_COUNT];

static int set_up(void **state)
{
  static const char *const sets[MACHINE_COUNT] = {
      "supply.open_circuit_voltage=12.4 V", "supply.open_circuit_voltage=10.4 V", "supply.open_circuit_voltage=12.6 V"};
  (void)state;
  for (int i = 0; i < MACHINE_COUNT; i++) {
    const char *const own[] = {"controller.reference_speed=310 rpm", sets[i]};
    struct sb_faults faults = {0};
    const char *path = SB_SOURCE_DIR "/scenarios/tray-cart.yaml";
    if (sb_scenario_load(path, own, 2, &scenarios[i], &faults) != SB_OK) return -1;
    sb_faults_clear(&faults);
    machines[i] = (struct sb_tune_machine){.model = scenarios[i].model, .sample = i, .is_light = true};
  }
  return 0;
}

static int tear_down(void **state)
{
  (void)state;
  for (int i = 0; i < MACHINE_COUNT; i++) sb_scenario_clear(&scenarios[i]);
  return 0;
}

/* A decider of a function in this program; each run has its memory. */
struct own_run {
  int32_t (*function)(const struct sb_own_input *);
  _Alignas(max_align_t) unsigned char memory[SB_OWN_MEMORY_SIZE];
};

static enum sb_status begin(void *context, const struct sb_own_input *input, void **run, struct sb_error *err)
{
  struct own_run *own = calloc(1, sizeof *own);
  (void)input;
  if (own == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory");
  memcpy(&own->function, context, sizeof own->function);
  *run = own;
  return SB_OK;
}

static enum sb_status decide(void *run, const struct sb_own_input *input, int *gear, struct sb_error *err)
{
  struct own_run *own = run;
  struct sb_own_input with_memory = *input;
  (void)err;
  with_memory.memory = own->memory;
  *gear = own->function(&with_memory);
  return SB_OK;
}

static enum sb_status end(void *run, bool is_whole, struct sb_error *err)
{
  (void)is_whole;
  (void)err;
  free(run);
  return SB_OK;
}

typedef int32_t (*own_function)(const struct sb_own_input *);

static struct sb_tune_options coarse_options(const struct sb_decider *decider, int jobs)
{
  struct sb_tune_options options = sb_tune_options_default(&machines[0].model);
  options.is_cautious = false;
  options.axis = (struct sb_map_axis){0.04, 0.04, 25};
  options.decider = decider;
  options.jobs = jobs;
  return options;
}

static struct sb_tune_result tune(const struct sb_tune_options *options)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_tune_result result;
  const enum sb_status status = sb_tune(machines, MACHINE_COUNT, options, &result, &err);
  if (status != SB_OK) fail_msg("%s", err.text);
  return result;
}

static void expect_same(const struct sb_tune_result *a, const struct sb_tune_result *b)
{
  assert_int_equal(a->passes, b->passes);
  assert_true(a->downshift_fraction == b->downshift_fraction && a->upshift_fraction == b->upshift_fraction);
  assert_true(a->dwell_s == b->dwell_s && a->margin_fraction == b->margin_fraction);
  assert_int_equal(a->failing, b->failing);
  assert_true(a->turns == b->turns && a->energy_j == b->energy_j);
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    assert_true(a->limits[d].margin_fraction == b->limits[d].margin_fraction);
    assert_int_equal(a->limits[d].is_end, b->limits[d].is_end);
    assert_int_equal(a->limits[d].machine, b->limits[d].machine);
    assert_int_equal(a->limits[d].verdict.kinds, b->limits[d].verdict.kinds);
  }
  assert_true(a->shortest_dwell.passes_s == b->shortest_dwell.passes_s);
  assert_true(a->longest_dwell.passes_s == b->longest_dwell.passes_s);
}

static void sampled_survey_says_what_exact_maps_say_on_the_same_lattice(void **state)
{
  (void)state;
  own_function function = sb_own_controller;
  const struct sb_decider decider = {"example", &function, begin, decide, end};
  for (int prefer = SB_PREFER_MARGIN; prefer <= SB_PREFER_ENERGY; prefer++) {
    struct sb_tune_options sampled_options = coarse_options(&decider, 2), exact_options = coarse_options(NULL, 2);
    sampled_options.prefer = exact_options.prefer = (enum sb_prefer)prefer;
    const struct sb_tune_result sampled = tune(&sampled_options), exact = tune(&exact_options);
    assert_true(sampled.passes);
    assert_true(sampled.margin_fraction >= 0.04);
    expect_same(&sampled, &exact);
  }
}

static void number_of_threads_changes_nothing(void **state)
{
  (void)state;
  own_function function = sb_own_controller;
  const struct sb_decider decider = {"example", &function, begin, decide, end};
  const struct sb_tune_options one_options = coarse_options(&decider, 1), two_options = coarse_options(&decider, 4);
  const struct sb_tune_result one = tune(&one_options), two = tune(&two_options);
  expect_same(&one, &two);
}

/* It stays where it starts, whatever the thresholds: in fast, where the climb stalls the cart. */
static int32_t stays(const struct sb_own_input *input)
{
  return input->gear;
}

static void controller_that_never_holds_gets_no_remedy_and_says_so(void **state)
{
  (void)state;
  own_function function = stays;
  const struct sb_decider decider = {"stubborn", &function, begin, decide, end};
  const struct sb_tune_options options = coarse_options(&decider, 2);
  const struct sb_tune_result result = tune(&options);
  assert_false(result.passes);
  assert_int_equal(result.failing, MACHINE_COUNT);
  assert_true((result.first_verdict.kinds & (1U << SB_VERDICT_STALL)) != 0);
  assert_int_equal(result.remedy, SB_REMEDY_NONE);
}

static int32_t fails_later(const struct sb_own_input *input)
{
  return input->sample == 100 ? 77 : input->gear;
}

static void fault_of_the_controller_ends_the_tuning_and_names_it(void **state)
{
  (void)state;
  own_function function = fails_later;
  const struct sb_decider decider = {"faulty", &function, begin, decide, end};
  const struct sb_tune_options options = coarse_options(&decider, 2);
  struct sb_error err = {SB_OK, ""};
  struct sb_tune_result result;
  assert_int_equal(sb_tune(machines, MACHINE_COUNT, &options, &result, &err), SB_ERR_CONTROLLER);
  assert_string_equal(err.text, "controller faulty, sample 100 at 2 s: answered gear 77; gears count from 1 to 2");
}

static void raised_flag_stops_a_sampled_tuning(void **state)
{
  (void)state;
  static const volatile sig_atomic_t raised = 1;
  own_function function = sb_own_controller;
  const struct sb_decider decider = {"example", &function, begin, decide, end};
  struct sb_tune_options options = coarse_options(&decider, 2);
  struct sb_error err = {SB_OK, ""};
  struct sb_tune_result result;
  options.stop = &raised;
  assert_int_equal(sb_tune(machines, MACHINE_COUNT, &options, &result, &err), SB_ERR_STOPPED);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(sampled_survey_says_what_exact_maps_say_on_the_same_lattice),
      cmocka_unit_test(number_of_threads_changes_nothing),
      cmocka_unit_test(controller_that_never_holds_gets_no_remedy_and_says_so),
      cmocka_unit_test(fault_of_the_controller_ends_the_tuning_and_names_it),
      cmocka_unit_test(raised_flag_stops_a_sampled_tuning),
  };
  return cmocka_run_group_tests_name("own_tune", tests, set_up, tear_down);
}
