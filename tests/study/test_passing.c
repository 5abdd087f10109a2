// SPDX-License-Identifier: GPL-3.0-or-later
/* The share of samples that passes, and its confidence bound. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/cover.h"
#include "help/loaded.h"
#include "help/near.h"
#include "help/place.h"
#include "study/passing.h"
#include "study/share.h"

/*
 * The least sample sizes for a 95 % share with 95 % confidence when 0, 1, 2, 3, 4 of them fail: S. S. Wilks, Annals of
 * Mathematical Statistics 12 (1941), 91-96; 59, 93, 124, 153, 181 (from memory).
 */
static void bound_gives_the_sample_sizes_of_wilks(void **state)
{
  (void)state;
  static const long sizes[] = {59, 93, 124, 153, 181};
  for (long failed = 0; failed < 5; failed++) {
    const long n = sizes[failed];
    assert_true(sb_share_least(n - failed, n) >= 0.95);
    assert_true(sb_share_least(n - 1 - failed, n - 1) < 0.95);
  }
}

/* The definition: at the bound, as many successes or more have a probability of 5 %; GSL's binomial distribution. */
static void bound_leaves_five_percent_to_the_binomial_tail(void **state)
{
  (void)state;
  for (unsigned n = 1; n <= 300; n += 13) {
    for (unsigned x = 1; x <= n; x++) {
      const double bound = sb_share_least(x, n);
      assert_near(gsl_cdf_binomial_Q(x - 1, bound, n), 0.05, 1e-9); /* GSL's inverse is good to about 1e-10 */
    }
    assert_near(sb_share_least(0, n), 0.0, 0.0);
    assert_near_rel(sb_share_least(n, n), pow(0.05, 1.0 / n), 1e-9);
  }
}

enum { SIDE = 30, SAMPLES = 40 };

static void write_passing_csv(FILE *out, const void *context)
{
  assert_int_equal(sb_passing_write_csv(out, context), 0);
}

/* Random rectangles of each sample, counted one by one. */
static void passing_counts_samples_at_every_point(void **state)
{
  (void)state;
  const struct sb_map_axis downshift = {0.31, 0.01, SIDE - 3}, upshift = {0.33, 0.01, SIDE};
  struct sb_passing passing;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  int want[SIDE][SIDE] = {{0}};
  unsigned random = 1;
  for (int s = 0; s < SAMPLES; s++) {
    struct sb_lines lines = {.text = NULL};
    int taken = 0;
    for (int k = 0; k < 3; k++) { /* side by side, so that no point counts twice */
      random = random * 1103515245U + 12345U;
      const int d0 = taken, d1 = d0 + (int)(random >> 16) % 8, u0 = (int)(random >> 8) % 20,
                u1 = u0 + (int)(random >> 20) % 10;
      taken = d1 + 1 + (int)(random >> 24) % 3;
      if (d1 >= downshift.count) break;
      sb_lines_add(&lines, "%d %d %d %d\n", d0, d1, u0, u1);
      for (int u = u0; u <= u1; u++) {
        for (int d = d0; d <= d1; d++) want[u][d]++;
      }
    }
    assert_int_equal(sb_passing_add(&passing, lines.text != NULL ? lines.text : "", NULL), SB_OK);
    sb_lines_clear(&lines);
  }
  assert_true(sb_passing_finish(&passing));

  char *csv = cover_written_by(write_passing_csv, &passing);
  cover_assert_once(csv, &downshift, &upshift);
  int *values = calloc((size_t)downshift.count * SIDE, sizeof *values);
  free(cover_count(csv, &downshift, &upshift, values));
  int most = 0;
  for (int u = 0; u < SIDE; u++) {
    for (int d = 0; d < downshift.count && d < u + 2; d++) { /* down 0.31 + d below up 0.33 + u */
      assert_int_equal(sb_passing_at(&passing, d, u), want[u][d]);
      assert_int_equal(values[u * downshift.count + d], want[u][d]);
      if (want[u][d] > most) most = want[u][d];
    }
  }
  struct sb_passing_best best;
  assert_int_equal(sb_passing_find_best(&passing, 0.35, 0.42, &best, NULL), SB_OK);
  assert_int_equal(best.passed, most);
  assert_int_equal(want[best.upshift][best.downshift], most);
  assert_int_equal(best.own, want[9][4]);
  assert_int_equal(passing.samples, SAMPLES);
  free(values);
  free(csv);
  sb_passing_clear(&passing);
}

static void passing_refuses_lines_that_are_no_rectangles(void **state)
{
  (void)state;
  const struct sb_map_axis axis = {0.1, 0.1, 9};
  struct sb_passing passing;
  static const char *const bad[] = {"1 2 3\n", "1 2 3 4", "x\n", "-1 2 3 4\n", "2 1 3 4\n", "0 9 0 1\n", "0 1 0 9\n"};
  assert_int_equal(sb_passing_init(&passing, &axis, &axis, NULL), SB_OK);
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
    assert_int_equal(sb_passing_add(&passing, bad[k], NULL), SB_ERR_SCENARIO);
  }
  assert_int_equal(passing.samples, 0);
  /* One sample passes once at a point: rectangles that share one make no sum. */
  assert_int_equal(sb_passing_add(&passing, "0 2 5 6\n2 3 6 7\n", NULL), SB_OK);
  assert_false(sb_passing_finish(&passing));
  sb_passing_clear(&passing);
  struct sb_error err;
  const struct sb_map_axis fine = {1e-4, 1e-4, 10000};
  assert_int_equal(sb_passing_init(&passing, &fine, &fine, &err), SB_ERR_USAGE);
  assert_non_null(strstr(err.text, "threshold_step"));
}

/* Boiled down to where it passes, a map keeps just those points. */
static void passing_rectangles_are_the_points_without_a_verdict(void **state)
{
  (void)state;
  loaded_take("../scenarios/hunting-crawler.yaml", NULL, 0);
  const struct sb_map_options options = loaded_plane(&loaded_scenario.model, 0.5, 0.9, 0.55, 0.95, 0.005);
  struct sb_map map, again;
  loaded_map(&options, &map);
  loaded_map(&options, &again);
  struct sb_lines lines = {.text = NULL};
  struct sb_passing passing;
  sb_passing_write(&lines, &map);
  assert_int_equal(sb_passing_init(&passing, &options.downshift, &options.upshift, NULL), SB_OK);
  assert_int_equal(sb_passing_add(&passing, lines.text != NULL ? lines.text : "", NULL), SB_OK);
  assert_true(sb_passing_finish(&passing));
  long holding = 0, failing = 0;
  for (int u = 0; u < options.upshift.count; u++) {
    for (int d = 0; d < options.downshift.count; d++) {
      if (sb_map_axis_number(&options.downshift, d) >= sb_map_axis_number(&options.upshift, u)) continue;
      const struct sb_map_cell *cell = sb_map_cell_at(&again, d, u);
      assert_non_null(cell);
      assert_int_equal(sb_passing_at(&passing, d, u), cell->verdict.kinds == 0);
      holding += cell->verdict.kinds == 0;
      failing += cell->verdict.kinds != 0;
    }
  }
  assert_true(holding > 100 && failing > 100);
  sb_passing_clear(&passing);
  sb_lines_clear(&lines);
  sb_map_clear(&map);
  sb_map_clear(&again);
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bound_gives_the_sample_sizes_of_wilks),
      cmocka_unit_test(bound_leaves_five_percent_to_the_binomial_tail),
      cmocka_unit_test(passing_counts_samples_at_every_point),
      cmocka_unit_test(passing_refuses_lines_that_are_no_rectangles),
      cmocka_unit_test(passing_rectangles_are_the_points_without_a_verdict),
  };
  return cmocka_run_group_tests_name("passing", tests, place_in_tests, NULL);
}
