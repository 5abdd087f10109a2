// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The controller: exact sample counts, properties over random readings, a second implementation written another way,
 * and limit cycles known in closed form.
 */
#include "help/dice.h"
#include "help/near.h"
#include "shiftband/controller.h"

#include <gsl/gsl_rng.h>
#include <stdlib.h>
#include <string.h>

enum { BELOW = 10, INSIDE = 50, ABOVE = 90 };

/* Two gears, band 30..70. */
static struct sb_controller_setup two_gears(uint32_t start_delay, uint32_t dwell, uint8_t confirm)
{
  return (struct sb_controller_setup){
      .downshift_below = {30},
      .upshift_above = {70},
      .dwell_samples = dwell,
      .start_delay_samples = start_delay,
      .debounce_samples = confirm,
      .gear_count = 2,
  };
}

static struct sb_controller_state started(const struct sb_controller_setup *setup, uint8_t gear)
{
  struct sb_controller_state state;
  memset(&state, 0xa5, sizeof state); /* start() must not rest on what was there */
  sb_controller_start(setup, &state, gear);
  return state;
}

/* Number of samples of this reading up to and with the one that commands a shift; 0: none in 100000. */
static uint32_t samples_to_shift(const struct sb_controller_setup *setup, struct sb_controller_state *state,
                                 int32_t reading)
{
  const uint8_t gear = state->gear;
  for (uint32_t n = 1; n <= 100000; n++) {
    if (sb_controller_update(setup, state, reading, 1) != gear) return n;
  }
  return 0;
}

static void a_start_delay_of_n_samples_lets_sample_n_decide(void **state)
{
  (void)state;
  for (uint32_t delay = 0; delay <= 300; delay++) {
    const struct sb_controller_setup setup = two_gears(delay, 5, 1);
    struct sb_controller_state run = started(&setup, 2);
    /* Samples 0..delay-1 do nothing. */
    assert_int_equal(samples_to_shift(&setup, &run, BELOW), delay + 1);
    assert_int_equal(run.gear, 1);
  }
}

static void after_a_command_the_sample_that_ends_the_dwell_decides(void **state)
{
  (void)state;
  for (uint32_t dwell = 0; dwell <= 300; dwell++) {
    const struct sb_controller_setup setup = two_gears(0, dwell, 1);
    struct sb_controller_state run = started(&setup, 2);
    assert_int_equal(samples_to_shift(&setup, &run, BELOW), 1);
    /* A dwell of 0 or 1 lets the very next sample decide. */
    const uint32_t expected = dwell > 1 ? dwell : 1;
    assert_int_equal(samples_to_shift(&setup, &run, ABOVE), expected);
    assert_int_equal(samples_to_shift(&setup, &run, BELOW), expected);
  }
}

static void confirmation_starts_when_the_dwell_ends(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = two_gears(7, 20, 4);
  struct sb_controller_state run = started(&setup, 2);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 7 + 4);
  assert_int_equal(samples_to_shift(&setup, &run, ABOVE), 20 + 3); /* samples 20..23 after the command are the four */
}

static void one_reading_that_is_not_beyond_starts_the_count_again(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = two_gears(0, 0, 3);
  const int32_t breakers[] = {INSIDE, ABOVE, 30}; /* the threshold itself is not below it */
  for (size_t i = 0; i < sizeof breakers / sizeof breakers[0]; i++) {
    struct sb_controller_state run = started(&setup, 2);
    sb_controller_update(&setup, &run, BELOW, 1);
    sb_controller_update(&setup, &run, BELOW, 1);
    sb_controller_update(&setup, &run, breakers[i], 1);
    assert_int_equal(samples_to_shift(&setup, &run, BELOW), 3);
  }
}

static void a_reading_on_a_threshold_stays(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = two_gears(0, 0, 1);
  struct sb_controller_state run = started(&setup, 2);
  assert_int_equal(samples_to_shift(&setup, &run, 30), 0);
  assert_int_equal(samples_to_shift(&setup, &run, 29), 1);
  assert_int_equal(samples_to_shift(&setup, &run, 70), 0);
  assert_int_equal(samples_to_shift(&setup, &run, 71), 1);
}

static void neutral_lets_the_dwell_run_but_counts_nothing(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = two_gears(0, 10, 3);
  struct sb_controller_state run = started(&setup, 2);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 3);
  /* Neutral for the whole dwell and longer. */
  for (int n = 0; n < 40; n++) assert_int_equal(sb_controller_update(&setup, &run, ABOVE, 0), 1);
  assert_int_equal(samples_to_shift(&setup, &run, ABOVE), 3);
  /* Neutral for part of the dwell: the rest still holds. */
  for (int n = 0; n < 4; n++) sb_controller_update(&setup, &run, BELOW, 0);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 10 - 4 - 1 + 3);
}

static void one_sample_in_neutral_starts_the_count_again(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = two_gears(0, 0, 3);
  struct sb_controller_state run = started(&setup, 2);
  sb_controller_update(&setup, &run, BELOW, 1);
  sb_controller_update(&setup, &run, BELOW, 1);
  sb_controller_update(&setup, &run, BELOW, 0);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 3);
}

static void the_outer_gears_have_nowhere_further_to_go(void **state)
{
  (void)state;
  struct sb_controller_setup setup = {.dwell_samples = 1, .debounce_samples = 1, .gear_count = SB_CONTROLLER_GEAR_MAX};
  for (int p = 0; p < SB_CONTROLLER_GEAR_MAX - 1; p++) {
    setup.downshift_below[p] = 30;
    setup.upshift_above[p] = 70;
  }
  struct sb_controller_state run = started(&setup, 1);
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MIN), 0);
  for (uint8_t gear = 2; gear <= SB_CONTROLLER_GEAR_MAX; gear++) {
    assert_int_equal(sb_controller_update(&setup, &run, INT32_MAX, 1), gear);
  }
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MAX), 0);
  assert_int_equal(run.gear, SB_CONTROLLER_GEAR_MAX);
  for (uint8_t gear = SB_CONTROLLER_GEAR_MAX - 1; gear >= 1; gear--) {
    assert_int_equal(sb_controller_update(&setup, &run, INT32_MIN, 1), gear);
  }
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MIN), 0);
}

static void each_pair_of_gears_has_its_own_thresholds(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = {
      .downshift_below = {20, 40, 60}, .upshift_above = {120, 140, 160}, .debounce_samples = 1, .gear_count = 4};
  for (uint8_t gear = 1; gear <= 4; gear++) {
    for (int32_t reading = 0; reading <= 200; reading++) {
      struct sb_controller_state run = started(&setup, gear);
      uint8_t expected = gear;
      if (gear > 1 && reading < 20 * (gear - 1)) expected = (uint8_t)(gear - 1);
      if (gear < 4 && reading > 100 + 20 * gear) expected = (uint8_t)(gear + 1);
      assert_int_equal(sb_controller_update(&setup, &run, reading, 1), expected);
    }
  }
}

static void the_longest_confirmation_and_delay_are_reached(void **state)
{
  (void)state;
  struct sb_controller_setup setup = two_gears(0, 0, 255);
  struct sb_controller_state run = started(&setup, 2);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 255);

  setup = two_gears(UINT32_MAX, UINT32_MAX, 1);
  run = started(&setup, 2);
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 0);
  run.wait_samples = 0;
  assert_int_equal(samples_to_shift(&setup, &run, BELOW), 1);
  assert_int_equal(run.wait_samples, UINT32_MAX - 1);
}

static void a_zeroed_setup_stays_in_gear_one(void **state)
{
  (void)state;
  const struct sb_controller_setup setup = {0};
  struct sb_controller_state run = started(&setup, 1);
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MAX), 0);
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MIN), 0);
  assert_int_equal(run.gear, 1);

  /* A confirmation of 0 is one of 1. */
  const struct sb_controller_setup none = two_gears(0, 0, 0);
  run = started(&none, 2);
  assert_int_equal(samples_to_shift(&none, &run, INSIDE), 0);
  assert_int_equal(samples_to_shift(&none, &run, BELOW), 1);
}

static void a_start_outside_the_gears_is_moved_inside(void **state)
{
  (void)state;
  struct sb_controller_setup setup = two_gears(0, 0, 1);
  assert_int_equal(started(&setup, 0).gear, 1);
  assert_int_equal(started(&setup, 3).gear, 2);
  assert_int_equal(started(&setup, 255).gear, 2);
  setup.gear_count = 255;
  assert_int_equal(started(&setup, 200).gear, SB_CONTROLLER_GEAR_MAX);
  struct sb_controller_state run = started(&setup, 200);
  assert_int_equal(samples_to_shift(&setup, &run, INT32_MAX), 0); /* no reading beyond the tables */
}

/* A random setup with rising thresholds somewhere in 0..100. */
static struct sb_controller_setup random_setup(gsl_rng *rng)
{
  struct sb_controller_setup setup = {
      .dwell_samples = (uint32_t)gsl_rng_uniform_int(rng, 40),
      .start_delay_samples = (uint32_t)gsl_rng_uniform_int(rng, 40),
      .debounce_samples = (uint8_t)gsl_rng_uniform_int(rng, 6),
      .gear_count = (uint8_t)(1 + gsl_rng_uniform_int(rng, SB_CONTROLLER_GEAR_MAX)),
  };
  for (int p = 0; p < SB_CONTROLLER_GEAR_MAX - 1; p++) {
    setup.downshift_below[p] = (int32_t)gsl_rng_uniform_int(rng, 60);
    setup.upshift_above[p] = setup.downshift_below[p] + (int32_t)gsl_rng_uniform_int(rng, 40);
  }
  return setup;
}

/* Readings that wander and jump, so that runs beyond a threshold of every length occur. */
static int32_t random_reading(gsl_rng *rng, int32_t last)
{
  if (gsl_rng_uniform_int(rng, 8) == 0) return (int32_t)gsl_rng_uniform_int(rng, 101);
  return last + (int32_t)gsl_rng_uniform_int(rng, 7) - 3;
}

/*
 * Hespanha and Morse 1999 (the bound from memory): with a dwell D at most 1 + window / D switches fall into any window.
 * Windows from one command to another are the tightest.
 */
static void commands_in_any_window_are_bounded_by_the_dwell(void **state)
{
  (void)state;
  enum { SAMPLE_COUNT = 3000 };
  gsl_rng *rng = dice_of(2024);
  long all_count = 0;
  long tight_count = 0;
  for (int round = 0; round < 300; round++) {
    struct sb_controller_setup setup = random_setup(rng);
    if (setup.dwell_samples == 0) setup.dwell_samples = 1;
    struct sb_controller_state run = started(&setup, setup.gear_count);
    static int commands[SAMPLE_COUNT];
    int command_count = 0;
    int32_t reading = 50;
    uint8_t gear = run.gear;
    for (int n = 0; n < SAMPLE_COUNT; n++) {
      reading = random_reading(rng, reading);
      const uint8_t next = sb_controller_update(&setup, &run, reading, gsl_rng_uniform_int(rng, 20) != 0);
      if (next != gear) commands[command_count++] = n;
      gear = next;
    }
    const int dwell = (int)setup.dwell_samples;
    for (int i = 0; i < command_count; i++) {
      assert_true(commands[i] >= (int)setup.start_delay_samples);
      if (i > 0) assert_true(commands[i] - commands[i - 1] >= dwell);
      if (i > 0) tight_count += commands[i] - commands[i - 1] == dwell;
      for (int j = i; j < command_count; j++) {
        assert_true((j - i + 1) * dwell <= dwell + (commands[j] - commands[i]));
      }
    }
    all_count += command_count;
  }
  gsl_rng_free(rng);
  /* The bound was put to the test: many commands, and many at the very end of a dwell. */
  assert_true(all_count > 1000);
  assert_true(tight_count > 100);
}

static void no_shift_while_readings_stay_inside_the_band(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(9);
  for (int round = 0; round < 500; round++) {
    const struct sb_controller_setup setup = random_setup(rng);
    const uint8_t gear = (uint8_t)(1 + gsl_rng_uniform_int(rng, setup.gear_count));
    struct sb_controller_state run = started(&setup, gear);
    const int32_t low = gear > 1 ? setup.downshift_below[gear - 2] : 0;
    const int32_t high = gear < setup.gear_count ? setup.upshift_above[gear - 1] : 200;
    if (low > high) continue; /* the bands of two pairs may leave nothing between them */
    for (int n = 0; n < 500; n++) {
      const int32_t reading = low + (int32_t)gsl_rng_uniform_int(rng, (unsigned long)(high - low + 1));
      assert_int_equal(sb_controller_update(&setup, &run, reading, 1), gear);
    }
  }
  gsl_rng_free(rng);
}

/* The rules read off the whole record, with no counters: what has to be true of sample n for it to command a shift. */
struct record {
  const int32_t *readings;
  const uint8_t *engaged;
};

static int has_run(const struct record *record, long n, long first, long length, int32_t limit, int sign)
{
  if (n - length + 1 < first) return 0;
  for (long k = n - length + 1; k <= n; k++) {
    if (!record->engaged[k] || (sign < 0 ? record->readings[k] >= limit : record->readings[k] <= limit)) return 0;
  }
  return 1;
}

static int direct_gear(const struct sb_controller_setup *setup, const struct record *record, long n, int gear,
                       long last_command)
{
  /* The first sample that may count: after the start delay, or after the dwell but never the command's own sample. */
  long first = (long)setup->start_delay_samples;
  if (last_command >= 0) {
    first = last_command + (long)setup->dwell_samples;
    if (first <= last_command) first = last_command + 1;
  }
  const long confirm = setup->debounce_samples == 0 ? 1 : setup->debounce_samples;
  if (gear > 1 && has_run(record, n, first, confirm, setup->downshift_below[gear - 2], -1)) return gear - 1;
  if (gear < setup->gear_count && has_run(record, n, first, confirm, setup->upshift_above[gear - 1], 1))
    return gear + 1;
  return gear;
}

static void a_second_implementation_agrees_at_every_sample(void **state)
{
  (void)state;
  enum { SAMPLE_COUNT = 1000, ROUND_COUNT = 200 }; /* 2e5 samples */
  static int32_t readings[SAMPLE_COUNT];
  static uint8_t engaged[SAMPLE_COUNT];
  gsl_rng *rng = dice_of(77);
  long command_count = 0;
  for (int round = 0; round < ROUND_COUNT; round++) {
    const struct sb_controller_setup setup = random_setup(rng);
    int gear = 1 + (int)gsl_rng_uniform_int(rng, setup.gear_count);
    struct sb_controller_state run = started(&setup, (uint8_t)gear);
    const struct record record = {readings, engaged};
    long last_command = -1;
    int32_t reading = 50;
    for (long n = 0; n < SAMPLE_COUNT; n++) {
      readings[n] = reading = random_reading(rng, reading);
      engaged[n] = gsl_rng_uniform_int(rng, 25) != 0;
      const int next = direct_gear(&setup, &record, n, gear, last_command);
      assert_int_equal(sb_controller_update(&setup, &run, readings[n], engaged[n]), next);
      if (next != gear) {
        last_command = n;
        command_count++;
      }
      gear = next;
    }
  }
  gsl_rng_free(rng);
  assert_true(command_count > 1000);
}

/*
 * First-order plant T y' = U - y under the controller: gear 1 drives it towards u_on, gear 2 towards u_off, each period
 * exactly by its exponential. Returns the times of the first commands.
 */
struct relay {
  double tau_s, u_on, u_off, low, high, dwell_s, sample_period_s, start;
};

static void relay_times(const struct relay *relay, int count, double *times_s)
{
  const double per_count = 1e-6;
  const struct sb_controller_setup setup = {
      .downshift_below = {(int32_t)lround(relay->low / per_count)},
      .upshift_above = {(int32_t)lround(relay->high / per_count)},
      .dwell_samples = (uint32_t)lround(relay->dwell_s / relay->sample_period_s),
      .start_delay_samples = (uint32_t)lround(relay->dwell_s / relay->sample_period_s),
      .debounce_samples = 1,
      .gear_count = 2,
  };
  const double keep = exp(-relay->sample_period_s / relay->tau_s);
  struct sb_controller_state run = started(&setup, 1);
  double y = relay->start;
  uint8_t gear = 1;
  int found = 0;
  for (long n = 0; found < count; n++) {
    const uint8_t next = sb_controller_update(&setup, &run, (int32_t)lround(y / per_count), 1);
    if (next != gear) times_s[found++] = (double)n * relay->sample_period_s;
    gear = next;
    const double target = gear == 1 ? relay->u_on : relay->u_off;
    y = target + (y - target) * keep;
    assert_true(n < 100000000L);
  }
}

/* t_on = T ln((U1 - yL) / (U1 - yH)), t_off = T ln((yH - U0) / (yL - U0)): elementary, as in relay feedback. */
static void a_relay_cycle_has_the_period_of_its_closed_form(void **state)
{
  (void)state;
  const struct relay relay = {.tau_s = 0.5, .u_on = 10, .low = 6, .high = 8, .sample_period_s = 1e-5, .start = 6};
  double times_s[9];
  relay_times(&relay, 9, times_s);
  const double limit_s = 2.0 * relay.sample_period_s; /* each threshold is seen at most one sample late */
  assert_near(times_s[0], 0.346574, limit_s);
  for (int i = 1; i < 9; i++) {
    assert_near(times_s[i] - times_s[i - 1], i % 2 == 1 ? 0.143841 : 0.346574, limit_s);
  }
}

/*
 * Malvino, Bates, Electronic Principles, example 22-10: 1 kohm, 0.1 uF and thresholds at 0.9 of the swing give a period
 * of 588.888 us: the same cycle with T = 0.1 ms between -1 and 1.
 */
static void a_relaxation_oscillator_has_its_printed_period(void **state)
{
  (void)state;
  const struct relay relay = {
      .tau_s = 1e-4, .u_on = 1, .u_off = -1, .low = -0.9, .high = 0.9, .sample_period_s = 1e-8, .start = -0.9};
  double times_s[5];
  relay_times(&relay, 5, times_s);
  assert_near(times_s[2] - times_s[0], 588.888e-6, 4.0 * relay.sample_period_s);
  assert_near(times_s[4] - times_s[2], 588.888e-6, 4.0 * relay.sample_period_s);
}

/*
 * The first cycle with a least dwell of 0.5 s: off from 8 for the dwell, to 8 exp(-1); then on until 8 is reached
 * again, 0.5 ln((10 - 8 exp(-1)) / 2) = 0.630434 s. The dwell delays a switch and never drops it.
 */
static void a_dwell_delays_a_switch_but_never_drops_it(void **state)
{
  (void)state;
  const struct relay relay = {
      .tau_s = 0.5, .u_on = 10, .low = 6, .high = 8, .dwell_s = 0.5, .sample_period_s = 1e-5, .start = 2.943036};
  double times_s[9];
  relay_times(&relay, 9, times_s);
  const double limit_s = 2.0 * relay.sample_period_s;
  assert_near(times_s[0], 0.630434, limit_s);
  for (int i = 1; i < 9; i++) {
    if (i % 2 == 1) assert_near(times_s[i] - times_s[i - 1], 0.5, 1e-9); /* exactly the dwell, counted in samples */
    if (i % 2 == 0) assert_near(times_s[i] - times_s[i - 2], 1.130434, limit_s);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_start_delay_of_n_samples_lets_sample_n_decide),
      cmocka_unit_test(after_a_command_the_sample_that_ends_the_dwell_decides),
      cmocka_unit_test(confirmation_starts_when_the_dwell_ends),
      cmocka_unit_test(one_reading_that_is_not_beyond_starts_the_count_again),
      cmocka_unit_test(a_reading_on_a_threshold_stays),
      cmocka_unit_test(neutral_lets_the_dwell_run_but_counts_nothing),
      cmocka_unit_test(one_sample_in_neutral_starts_the_count_again),
      cmocka_unit_test(the_outer_gears_have_nowhere_further_to_go),
      cmocka_unit_test(each_pair_of_gears_has_its_own_thresholds),
      cmocka_unit_test(the_longest_confirmation_and_delay_are_reached),
      cmocka_unit_test(a_zeroed_setup_stays_in_gear_one),
      cmocka_unit_test(a_start_outside_the_gears_is_moved_inside),
      cmocka_unit_test(commands_in_any_window_are_bounded_by_the_dwell),
      cmocka_unit_test(no_shift_while_readings_stay_inside_the_band),
      cmocka_unit_test(a_second_implementation_agrees_at_every_sample),
      cmocka_unit_test(a_relay_cycle_has_the_period_of_its_closed_form),
      cmocka_unit_test(a_relaxation_oscillator_has_its_printed_period),
      cmocka_unit_test(a_dwell_delays_a_switch_but_never_drops_it),
  };
  return cmocka_run_group_tests_name("controller", tests, NULL, NULL);
}
