// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What the controller reads. Resolutions that are powers of two make ties exact; the noise is judged by GSL's own
 * statistics, at five standard errors (a right generator fails once in two million seeds; the seeds here are fixed).
 */
#include "help/dice.h"
#include "help/near.h"
#include "shiftband/sensor.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_rng.h>
#include <gsl/gsl_statistics_double.h>
#include <stdlib.h>

static struct sb_reading reading_of(const struct sb_sensor *sensor, double sample_period_s)
{
  struct sb_reading reading;
  struct sb_error err = {0};
  assert_int_equal(sb_sensor_init(&reading, sensor, sample_period_s, &err), SB_OK);
  return reading;
}

/* One sample of the motor's speed (rad/s, any sign) by a sensor of it. */
static int32_t sample_speed(struct sb_reading *reading, const struct sb_sensor *sensor, double speed_rad_s)
{
  return sb_sensor_sample_input(reading, sensor, sb_sensor_input(sensor, speed_rad_s, 0.0, 0.0));
}

static int32_t first_count(const struct sb_sensor *sensor, double speed_rad_s)
{
  struct sb_reading reading = reading_of(sensor, 0.02);
  const int32_t count = sample_speed(&reading, sensor, speed_rad_s);
  sb_sensor_clear(&reading);
  return count;
}

static void ties_round_away_from_zero(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 64.0, .resolution_fraction = 1.0 / 64.0};
  for (int n = 0; n < 200; n++) {
    assert_int_equal(first_count(&sensor, n), n);
    assert_int_equal(first_count(&sensor, n + 0.5), n + 1);
    assert_int_equal(first_count(&sensor, nextafter(n + 0.5, 0.0)), n);
  }
}

static void either_sense_of_the_motor_reads_the_same(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 64.0, .resolution_fraction = 1.0 / 64.0};
  for (double speed = 0.0; speed < 100.0; speed += 0.25) {
    assert_int_equal(first_count(&sensor, -speed), first_count(&sensor, speed));
  }
}

/* A count without resolution is 1e-6 %: half of it, plus roundings, is the most that a reading is off. */
static void a_reading_without_resolution_is_exact_to_half_a_count(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 32.46312408709453};
  assert_near(sb_sensor_count_fraction(&sensor), 1e-8, 0.0);
  for (double fraction = 0.0; fraction < 1.5; fraction += 0.00737) {
    assert_near(first_count(&sensor, fraction * sensor.reference_rad_s) * 1e-8, fraction, 0.5e-8 + 1e-15);
  }
}

static void a_count_stays_within_32_bits(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 1.0};
  assert_int_equal(first_count(&sensor, 21.47), 2147000000);
  assert_int_equal(first_count(&sensor, 21.48), INT32_MAX);
  assert_int_equal(first_count(&sensor, 1e300), INT32_MAX);
  assert_int_equal(sb_sensor_down_count(&sensor, 1e300), INT32_MAX);
  assert_int_equal(sb_sensor_up_count(&sensor, 1e300), INT32_MAX);

  /* Very noisy: readings below zero are limited at the other end. */
  const struct sb_sensor noisy = {.reference_rad_s = 1.0, .noise_fraction = 1e12, .seed = 1};
  struct sb_reading reading = reading_of(&noisy, 0.02);
  int low_count = 0;
  for (int n = 0; n < 100; n++) {
    const int32_t count = sample_speed(&reading, &noisy, 0.0);
    assert_true(count == INT32_MIN || count == INT32_MAX);
    if (count == INT32_MIN) low_count++;
  }
  assert_in_range(low_count, 25, 75); /* half of 100, five standard errors of 5 */
  sb_sensor_clear(&reading);
}

/* A register of `full` counts holds (2 permille full + 1000) / 2000 of a duty, in whole numbers: ties away from zero. The
 * reading is what is left, as the controller is told. 65 % of 10 counts, 62.5 % of 20 and the like lie on a tie that
 * doubles may miss to either side. */
static void a_duty_is_rounded_as_its_register_rounds_it(void **state)
{
  (void)state;
  static const int registers[] = {1, 3, 4, 8, 10, 20, 60, 100, 127, 200, 250, 255, 256, 1000, 1023, 4095, 65535};
  int misses = 0, ties = 0;
  for (size_t i = 0; i < sizeof registers / sizeof *registers; i++) {
    const int full = registers[i];
    const struct sb_sensor sensor = {
        .quantity = SB_SENSES_DUTY, .reference_rad_s = 1.0, .resolution_fraction = 1.0 / full};
    struct sb_reading reading = reading_of(&sensor, 0.02);
    for (int permille = 0; permille <= 1000; permille++) {
      const long long held = (2LL * permille * full + 1000) / 2000;
      const double input =
          sb_sensor_input(&sensor, 0.0, permille % 2 == 0 ? permille / 1000.0 : -permille / 1000.0, 0.0);
      assert_int_equal(sb_sensor_sample_input(&reading, &sensor, input), full - held);
      ties += 2LL * permille * full % 2000 == 1000;
      misses += full - (long long)round(permille / 1000.0 / sensor.resolution_fraction) != full - held;
      misses += (long long)round(input / sensor.resolution_fraction) != full - held;
    }
    sb_sensor_clear(&reading);
  }
  assert_true(ties > 100 && misses > 100); /* what a plain rounding makes of it */
}

/* A current beyond the reference, too: 2.5 A of 2 A by a converter of half an ampere is 5 counts, one below nothing left. */
static void a_current_is_rounded_as_its_converter_rounds_it(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {
      .quantity = SB_SENSES_CURRENT, .reference_rad_s = 1.0, .reference_a = 2.0, .resolution_fraction = 0.25};
  struct sb_reading reading = reading_of(&sensor, 0.02);
  for (int quarters = 0; quarters <= 20; quarters++) { /* of a count */
    const double input = sb_sensor_input(&sensor, 0.0, 1.0, 0.125 * quarters);
    assert_int_equal(sb_sensor_sample_input(&reading, &sensor, input), 4 - (quarters + 2) / 4);
  }
  sb_sensor_clear(&reading);
}

/* 7 / 100 / 0.01 and its like come out just beside a whole number in doubles. */
static void a_threshold_on_a_whole_count_is_that_count(void **state)
{
  (void)state;
  for (int per_reference = 1; per_reference <= 1000; per_reference += 37) {
    const struct sb_sensor sensor = {.reference_rad_s = 1.0, .resolution_fraction = 1.0 / per_reference};
    for (int n = 1; n <= 2 * per_reference; n++) {
      const double threshold = (double)n / per_reference;
      assert_int_equal(sb_sensor_down_count(&sensor, threshold), n);
      assert_int_equal(sb_sensor_up_count(&sensor, threshold), n);
    }
  }
  const struct sb_sensor exact = {.reference_rad_s = 1.0};
  for (int permille = 1; permille <= 2000; permille++) {
    assert_int_equal(sb_sensor_down_count(&exact, permille / 1000.0), permille * 100000);
    assert_int_equal(sb_sensor_up_count(&exact, permille / 1000.0), permille * 100000);
  }
}

static void a_threshold_between_two_counts_parts_them(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 1.0, .resolution_fraction = 0.01};
  assert_int_equal(sb_sensor_down_count(&sensor, 0.605), 61);
  assert_int_equal(sb_sensor_up_count(&sensor, 0.605), 60);
  /* 1e-7 of a count aside is aside; 1e-10 of a count is rounding. */
  assert_int_equal(sb_sensor_down_count(&sensor, 0.60 + 1e-9), 61);
  assert_int_equal(sb_sensor_up_count(&sensor, 0.60 - 1e-9), 59);
  assert_int_equal(sb_sensor_down_count(&sensor, 0.60 + 1e-12), 60);
  assert_int_equal(sb_sensor_up_count(&sensor, 0.60 - 1e-12), 60);
}

/* The counts decide as the quotients themselves do: reading < down is count < downshift_count, reading > up is above. */
static void counts_decide_as_the_fractions_do(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(5);
  for (int round = 0; round < 20000; round++) {
    const struct sb_sensor sensor = {.reference_rad_s = 1.0, .resolution_fraction = 0.001 + 0.1 * gsl_rng_uniform(rng)};
    const double threshold = 0.01 + 1.5 * gsl_rng_uniform(rng);
    const int32_t count = (int32_t)(threshold / sensor.resolution_fraction) - 2 + (int32_t)gsl_rng_uniform_int(rng, 5);
    const double reading = count * sensor.resolution_fraction;
    assert_int_equal(reading < threshold, count < sb_sensor_down_count(&sensor, threshold));
    assert_int_equal(reading > threshold, count > sb_sensor_up_count(&sensor, threshold));
  }
  gsl_rng_free(rng);
}

enum { DRAW_COUNT = 100000 };

/* Counts of a standing motor as fractions: nothing but noise. */
static double *noise_fractions(unsigned long seed)
{
  const struct sb_sensor sensor = {.reference_rad_s = 300.0, .noise_fraction = 0.02, .seed = seed};
  struct sb_reading reading = reading_of(&sensor, 0.02);
  double *noise = malloc(DRAW_COUNT * sizeof *noise);
  assert_non_null(noise);
  for (int n = 0; n < DRAW_COUNT; n++) noise[n] = sample_speed(&reading, &sensor, 0.0) * 1e-8;
  sb_sensor_clear(&reading);
  return noise;
}

static void noise_is_gaussian_of_the_given_deviation(void **state)
{
  (void)state;
  double *noise = noise_fractions(42);
  const double sd = 0.02;
  assert_near(gsl_stats_mean(noise, 1, DRAW_COUNT), 0.0, 5.0 * sd / sqrt(DRAW_COUNT));
  assert_near(gsl_stats_sd(noise, 1, DRAW_COUNT), sd, 5.0 * sd / sqrt(2.0 * DRAW_COUNT));
  assert_near(gsl_stats_skew(noise, 1, DRAW_COUNT), 0.0, 5.0 * sqrt(6.0 / DRAW_COUNT));
  assert_near(gsl_stats_kurtosis(noise, 1, DRAW_COUNT), 0.0, 5.0 * sqrt(24.0 / DRAW_COUNT));
  /* White: neighbours tell nothing of each other. */
  assert_near(gsl_stats_lag1_autocorrelation(noise, 1, DRAW_COUNT), 0.0, 5.0 / sqrt(DRAW_COUNT));
  for (double sigmas = -3.0; sigmas <= 3.0; sigmas += 0.5) {
    int below = 0;
    for (int n = 0; n < DRAW_COUNT; n++) below += noise[n] < sigmas * sd;
    const double share = gsl_cdf_ugaussian_P(sigmas);
    assert_near((double)below / DRAW_COUNT, share, 5.0 * sqrt(share * (1.0 - share) / DRAW_COUNT));
  }
  free(noise);
}

/* The draw is spelt out in the project's own sums; GSL's quantile of the same random numbers is the same to a few roundings,
 * and beyond |q| = 0.425 its logarithm's. */
static void draws_are_the_quantiles_of_the_generators_numbers(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 1.0, .noise_fraction = 0.01, .seed = 42};
  struct sb_reading reading = reading_of(&sensor, 0.02);
  gsl_rng *rng = dice_of(sensor.seed);
  double greatest = 0.0;
  for (int n = 0; n < 1000000; n++) {
    const double want = gsl_cdf_ugaussian_Pinv(gsl_rng_uniform_pos(rng));
    assert_near_rel(sb_sensor_draw(&reading), want, 4e-15);
    greatest = fmax(greatest, fabs(want));
  }
  assert_true(greatest > 4.5);
  gsl_rng_free(rng);
  sb_sensor_clear(&reading);
}

static void the_same_seed_gives_the_same_noise_and_another_does_not(void **state)
{
  (void)state;
  double *noise = noise_fractions(7);
  double *again = noise_fractions(7);
  double *other = noise_fractions(8);
  int same_count = 0;
  for (int n = 0; n < DRAW_COUNT; n++) {
    assert_near(again[n], noise[n], 0.0);
    same_count += other[n] == noise[n];
  }
  assert_in_range(same_count, 0, 10); /* some 1e-6 chance a draw */
  free(noise);
  free(again);
  free(other);
}

/* Sample n sees the same noise whatever was read before it: the draws do not depend on the speed. */
static void noise_does_not_depend_on_what_is_read(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 300.0, .noise_fraction = 0.02, .seed = 3};
  struct sb_reading still = reading_of(&sensor, 0.02);
  struct sb_reading turning = reading_of(&sensor, 0.02);
  for (int n = 0; n < 1000; n++) {
    const double fraction = 0.5 + 0.4 * sin(0.1 * n);
    const int32_t noise = sample_speed(&still, &sensor, 0.0);
    const int32_t whole = sample_speed(&turning, &sensor, -300.0 * fraction);
    assert_near((whole - noise) * 1e-8, fraction, 1e-8 + 1e-15); /* two roundings of half a count */
  }
  sb_sensor_clear(&still);
  sb_sensor_clear(&turning);
}

/* y' = (x - y) / T at constant x: y(t) = x + (y0 - x) exp(-t / T), exactly met at every sample. */
static void the_filter_follows_the_exponential(void **state)
{
  (void)state;
  const double sample_period_s = 0.02;
  const struct sb_sensor sensor = {.reference_rad_s = 100.0, .filter_s = 0.15};
  struct sb_reading reading = reading_of(&sensor, sample_period_s);
  assert_int_equal(sample_speed(&reading, &sensor, 90.0), 90000000); /* starts at the first sample */
  for (int n = 1; n <= 200; n++) {
    const double want = 0.4 + (0.9 - 0.4) * exp(-n * sample_period_s / sensor.filter_s);
    assert_near(sample_speed(&reading, &sensor, 40.0) * 1e-8, want, 0.5e-8 + 1e-14);
  }
  sb_sensor_clear(&reading);
}

static void without_a_filter_each_sample_stands_alone(void **state)
{
  (void)state;
  const struct sb_sensor sensor = {.reference_rad_s = 100.0, .resolution_fraction = 0.01};
  struct sb_reading reading = reading_of(&sensor, 0.02);
  assert_int_equal(sample_speed(&reading, &sensor, 90.0), 90);
  assert_int_equal(sample_speed(&reading, &sensor, 10.0), 10);
  assert_int_equal(sample_speed(&reading, &sensor, 0.0), 0);
  sb_sensor_clear(&reading);
  sb_sensor_clear(&reading); /* clearing twice is harmless */
}

/* What is left of full duty, or up to the reference current: it falls as the load grows, whichever way the motor turns. */
static void duty_and_current_are_read_as_what_is_left(void **state)
{
  (void)state;
  struct sb_sensor sensor = {.quantity = SB_SENSES_DUTY, .reference_rad_s = 50.0, .reference_a = 8.0};
  assert_near(sb_sensor_input(&sensor, 40.0, 0.75, 3.0), 0.25, 0.0);
  assert_near(sb_sensor_input(&sensor, -40.0, -0.75, -3.0), 0.25, 0.0);
  sensor.quantity = SB_SENSES_CURRENT;
  assert_near(sb_sensor_input(&sensor, 40.0, 0.75, 3.0), 0.625, 0.0);
  assert_near(sb_sensor_input(&sensor, 40.0, 0.75, -3.0), 0.625, 0.0);
  assert_near(sb_sensor_input(&sensor, 40.0, 0.75, 10.0), -0.25, 0.0); /* beyond the reference */
  sensor.quantity = SB_SENSES_SPEED;
  assert_near(sb_sensor_input(&sensor, -40.0, 0.75, 3.0), 0.8, 0.0);
  sensor.resolution_fraction = 0.01;
  struct sb_reading reading;
  struct sb_error err;
  assert_int_equal(sb_sensor_init(&reading, &sensor, 0.02, &err), SB_OK);
  assert_int_equal(sb_sensor_sample_input(&reading, &sensor, -0.25), -25);
  sb_sensor_clear(&reading);
}

/* SplitMix64 of seed 0 begins with 0xe220a8397b1dcdaf, of seed 1234567 with 6457827717110365317: the numbers that its
 * published implementations are checked by. The phase is the upper 53 bits as a fraction. */
static void a_drawn_phase_is_the_first_number_of_the_published_generator(void **state)
{
  (void)state;
  assert_near(sb_sensor_phase_of(0), (double)(0xe220a8397b1dcdafU >> 11) / 9007199254740992.0, 0.0);
  assert_near(sb_sensor_phase_of(1234567), (double)(6457827717110365317U >> 11) / 9007199254740992.0, 0.0);
}

/* The voltage that is taken at least is the first count that SB_SUPPLY_LEAST of the nominal range does not exceed. A converter of one
 * count a volt has 8 to 40 of them here: the least is 1 up to 20 V, 2 beyond. */
static void the_least_voltage_is_the_first_count_above_a_twentieth(void **state)
{
  (void)state;
  for (int range = 8; range <= 40; range++) {
    const struct sb_sensor sensor = {
        .reference_rad_s = 300.0,
        .resolution_fraction = 0.01,
        .supply = {.is_present = true, .nominal_v = 3.0 + range, .drop_v = 3.0, .resolution_v = 1.0}};
    const struct sb_sensor_scale scale = sb_sensor_scale(&sensor);
    assert_int_equal(scale.offset, 3);
    assert_int_equal(scale.least, range <= 20 ? 1 : 2);
  }
}

/* Readings up to four times the reference go in; the product with the factor stays within 31 bits, and uses them to the last count. */
static void a_scaled_reading_has_room_for_four_times_the_reference(void **state)
{
  (void)state;
  static const double resolutions[] = {0.001, 0.0025, 0.01, 0.03, 0.125};
  static const int32_t mosts[] = {4000, 1600, 400, 134, 32};
  for (int i = 0; i < 5; i++) {
    const struct sb_sensor sensor = {.reference_rad_s = 300.0,
                                     .resolution_fraction = resolutions[i],
                                     .supply = {.is_present = true, .nominal_v = 12.0, .resolution_v = 0.05}};
    const struct sb_sensor_scale scale = sb_sensor_scale(&sensor);
    assert_int_equal(scale.most, mosts[i]);
    assert_true((int64_t)scale.factor * scale.most <= INT32_MAX);
    assert_true(((int64_t)scale.factor + 1) * scale.most > INT32_MAX);
  }
}

/* As a user writes them, k periods of 0.7 ms are no double that 0.7 ms divides k times: they are k all the same, with nothing left. */
static void a_window_of_whole_sample_periods_has_no_rest(void **state)
{
  (void)state;
  static const double periods_ms[] = {0.1, 0.3, 0.7, 1.0, 1.1, 2.0, 3.3, 20.0};
  for (size_t i = 0; i < sizeof periods_ms / sizeof *periods_ms; i++) {
    const double period_s = periods_ms[i] * 1e-3;
    for (int k = 1; k <= SB_PULSE_SLOT_MAX; k++) {
      double rest_s;
      assert_int_equal(
          sb_sensor_window_slots(&(struct sb_pulse_sensor){.window_s = k * periods_ms[i] * 1e-3}, period_s, &rest_s),
          k);
      assert_true(rest_s == 0.0);
      assert_int_equal(
          sb_sensor_window_slots(&(struct sb_pulse_sensor){.window_s = (k + 0.25) * period_s}, period_s, &rest_s), k);
      assert_near(rest_s, 0.25 * period_s, 1e-13 * period_s);
    }
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(ties_round_away_from_zero),
      cmocka_unit_test(either_sense_of_the_motor_reads_the_same),
      cmocka_unit_test(a_reading_without_resolution_is_exact_to_half_a_count),
      cmocka_unit_test(a_count_stays_within_32_bits),
      cmocka_unit_test(a_duty_is_rounded_as_its_register_rounds_it),
      cmocka_unit_test(a_current_is_rounded_as_its_converter_rounds_it),
      cmocka_unit_test(draws_are_the_quantiles_of_the_generators_numbers),
      cmocka_unit_test(a_threshold_on_a_whole_count_is_that_count),
      cmocka_unit_test(a_threshold_between_two_counts_parts_them),
      cmocka_unit_test(counts_decide_as_the_fractions_do),
      cmocka_unit_test(noise_is_gaussian_of_the_given_deviation),
      cmocka_unit_test(the_same_seed_gives_the_same_noise_and_another_does_not),
      cmocka_unit_test(noise_does_not_depend_on_what_is_read),
      cmocka_unit_test(the_filter_follows_the_exponential),
      cmocka_unit_test(without_a_filter_each_sample_stands_alone),
      cmocka_unit_test(duty_and_current_are_read_as_what_is_left),
      cmocka_unit_test(the_least_voltage_is_the_first_count_above_a_twentieth),
      cmocka_unit_test(a_scaled_reading_has_room_for_four_times_the_reference),
      cmocka_unit_test(a_window_of_whole_sample_periods_has_no_rest),
      cmocka_unit_test(a_drawn_phase_is_the_first_number_of_the_published_generator),
  };
  return cmocka_run_group_tests_name("reading", tests, NULL, NULL);
}
