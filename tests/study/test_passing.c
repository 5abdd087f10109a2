// SPDX-License-Identifier: GPL-3.0-or-later
/* The share of samples that passes, and its confidence bound. */
#define _XOPEN_SOURCE 700 /* open_memstream */

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/cover.h"
#include "help/loaded.h"
#include "help/near.h"
#include "help/place.h"
#include "map/class.h"
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

/* Rows whose first number behind the ends is that of their last column; to be freed. */
static char *with_last_column_first(const char *csv)
{
  char *text = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&text, &size);
  fputs("header\n", out);
  for (const char *row = strchr(csv, '\n') + 1; *row != 0; row = strchr(row, '\n') + 1) {
    double ends[4];
    for (int k = 0; k < 4; k++) ends[k] = cover_take_number(&row);
    const char *last = strchr(row, '\n');
    while (last[-1] != ',') last--;
    fprintf(out, "%.12g,%.12g,%.12g,%.12g,%ld,\n", ends[0], ends[1], ends[2], ends[3], strtol(last, NULL, 10));
  }
  fclose(out);
  return text;
}

/* Random rectangles of each sample, counted one by one; in half of them it never shifts. */
static void passing_counts_samples_at_every_point(void **state)
{
  (void)state;
  const struct sb_map_axis downshift = {0.31, 0.01, SIDE - 3}, upshift = {0.33, 0.01, SIDE};
  struct sb_passing passing;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  int want[SIDE][SIDE] = {{0}}, want_never_shift[SIDE][SIDE] = {{0}};
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
      const int never_shifts = (int)(random >> 27) % 2;
      sb_lines_add(&lines, "%d %d %d %d %d\n", d0, d1, u0, u1, never_shifts);
      for (int u = u0; u <= u1; u++) {
        for (int d = d0; d <= d1; d++) want[u][d]++;
        for (int d = d0; d <= d1; d++) want_never_shift[u][d] += never_shifts;
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
  char *turned = with_last_column_first(csv);
  int *never_shift = calloc((size_t)downshift.count * SIDE, sizeof *never_shift);
  free(cover_count(turned, &downshift, &upshift, never_shift));
  int most = 0;
  for (int u = 0; u < SIDE; u++) {
    for (int d = 0; d < downshift.count && d < u + 2; d++) { /* down 0.31 + d below up 0.33 + u */
      assert_int_equal(sb_passing_at(&passing, d, u), want[u][d]);
      assert_int_equal(values[u * downshift.count + d], want[u][d]);
      assert_int_equal(sb_passing_never_shift_at(&passing, d, u), want_never_shift[u][d]);
      assert_int_equal(never_shift[u * downshift.count + d], want_never_shift[u][d]);
      if (want[u][d] > most && want[u][d] > want_never_shift[u][d]) most = want[u][d];
    }
  }
  struct sb_passing_best best;
  assert_int_equal(sb_passing_find_best(&passing, 0.35, 0.42, &best, NULL), SB_OK);
  assert_int_equal(best.passed, most);
  assert_int_equal(want[best.upshift][best.downshift], most);
  assert_int_equal(best.never_shift, want_never_shift[best.upshift][best.downshift]);
  assert_true(best.never_shift < best.passed);
  assert_int_equal(best.own, want[9][4]);
  assert_int_equal(best.own_never_shift, want_never_shift[9][4]);
  assert_int_equal(passing.samples, SAMPLES);
  free(never_shift);
  free(turned);
  free(values);
  free(csv);
  sb_passing_clear(&passing);
}

static void add_sample(struct sb_passing *passing, const char *lines)
{
  assert_int_equal(sb_passing_add(passing, lines, NULL), SB_OK);
}

static struct sb_passing_best best_of(const struct sb_passing *passing)
{
  struct sb_passing_best best;
  assert_int_equal(sb_passing_find_best(passing, 0.1, 0.9, &best, NULL), SB_OK);
  return best;
}

/*
 * The plane 10..60 % over 50..90 % in steps of 10 %, 30 points less 1 with 60 over 50, 1 with 60 over 60, 1 with 50 over 50: 27.
 * Both samples pass everywhere from 10 to 40 %, 20 points, where nothing shifts, and one of them at 50 %, where it shifts.
 */
static void thresholds_under_which_nothing_shifts_are_never_the_best(void **state)
{
  (void)state;
  const struct sb_map_axis downshift = {0.1, 0.1, 6}, upshift = {0.5, 0.1, 5};
  struct sb_passing passing;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  add_sample(&passing, "0 3 0 4 1\n");
  add_sample(&passing, "0 3 0 4 1\n4 4 1 4 0\n");
  assert_true(sb_passing_finish(&passing));
  const struct sb_passing_best best = best_of(&passing);
  assert_int_equal(best.passed, 1);
  assert_int_equal(best.points, 4);
  assert_int_equal(best.downshift, 4);
  assert_int_equal(best.own, 2);
  assert_int_equal(best.own_never_shift, 2);
  const struct sb_passing_shares shares = sb_passing_shares_of(&passing);
  assert_near(shares.all, 20.0 / 27.0, 1e-15);
  assert_near(shares.never_shift, 20.0 / 27.0, 1e-15);
  sb_passing_clear(&passing);
}

/* One sample that shifts is enough: the machine as it comes out may be that one. Without any, nothing is the best. */
static void one_sample_that_shifts_makes_thresholds_an_answer(void **state)
{
  (void)state;
  const struct sb_map_axis downshift = {0.1, 0.1, 4}, upshift = {0.5, 0.1, 5};
  struct sb_passing passing;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  add_sample(&passing, "0 3 0 4 1\n");
  add_sample(&passing, "0 2 0 4 1\n3 3 0 4 0\n");
  assert_true(sb_passing_finish(&passing));
  const struct sb_passing_best best = best_of(&passing);
  assert_int_equal(best.passed, 2);
  assert_int_equal(best.never_shift, 1);
  assert_int_equal(best.points, 5);
  assert_int_equal(best.downshift, 3);
  assert_near(sb_passing_shares_of(&passing).all, 1.0, 0.0);
  assert_near(sb_passing_shares_of(&passing).never_shift, 0.75, 1e-15);
  sb_passing_clear(&passing);

  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  add_sample(&passing, "0 3 0 4 1\n");
  assert_true(sb_passing_finish(&passing));
  assert_int_equal(best_of(&passing).passed, 0);
  assert_int_equal(best_of(&passing).points, 0);
  sb_passing_clear(&passing);
}

/* Thresholds beyond either end of either axis have no share: -1. Those of an end itself have the end's. */
static void thresholds_beyond_the_plane_have_no_share(void **state)
{
  (void)state;
  static const double inside[][2] = {{0.3, 0.6}, {0.5, 0.6}, {0.3, 0.8}, {0.5, 0.8}};
  static const double beyond[][2] = {{0.2, 0.7}, {0.6, 0.7}, {0.4, 0.5}, {0.4, 0.9}};
  const struct sb_map_axis downshift = {0.3, 0.1, 3}, upshift = {0.6, 0.1, 3};
  struct sb_passing passing;
  struct sb_passing_best best;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  add_sample(&passing, "0 2 0 2 0\n");
  assert_true(sb_passing_finish(&passing));
  for (int k = 0; k < 4; k++) {
    assert_int_equal(sb_passing_find_best(&passing, inside[k][0], inside[k][1], &best, NULL), SB_OK);
    assert_int_equal(best.own, 1);
    assert_int_equal(sb_passing_find_best(&passing, beyond[k][0], beyond[k][1], &best, NULL), SB_OK);
    assert_int_equal(best.own, -1);
    assert_int_equal(best.own_never_shift, 0);
  }
  sb_passing_clear(&passing);
}

/* Points in a square of two by two, in strips of four by one and one by three, and in a square of three by three, whose middle is
 * the answer. */
static void the_best_thresholds_are_the_middle_of_the_widest_square(void **state)
{
  (void)state;
  const struct sb_map_axis downshift = {0.1, 0.1, 8}, upshift = {0.9, 0.1, 6};
  struct sb_passing passing;
  assert_int_equal(sb_passing_init(&passing, &downshift, &upshift, NULL), SB_OK);
  add_sample(&passing, "0 1 0 1 0\n4 7 0 0 0\n0 0 3 5 0\n4 6 2 4 0\n");
  assert_true(sb_passing_finish(&passing));
  const struct sb_passing_best best = best_of(&passing);
  assert_int_equal(best.points, 4 + 4 + 3 + 9);
  assert_int_equal(best.downshift, 5);
  assert_int_equal(best.upshift, 3);
  sb_passing_clear(&passing);
}

/* A letter of its own for all samples alone: where one fails or shifts, the share is shown. */
static void shares_have_the_mark_of_what_never_shifts(void **state)
{
  (void)state;
  assert_int_equal(sb_share_mark(4, 4, 4), sb_map_class_letter(SB_MAP_NEVER_SHIFTS));
  assert_int_equal(sb_share_mark(4, 3, 4), '.');
  assert_int_equal(sb_share_mark(4, 0, 4), '.');
  assert_int_equal(sb_share_mark(3, 3, 4), '7');
  assert_int_equal(sb_share_mark(0, 0, 4), '-');
}

static void passing_refuses_lines_that_are_no_rectangles(void **state)
{
  (void)state;
  const struct sb_map_axis axis = {0.1, 0.1, 9};
  struct sb_passing passing;
  static const char *const bad[] = {"1 2 3 4\n",   "1 2 3 4 0",   "x\n",         "-1 2 3 4 0\n",
                                    "2 1 3 4 0\n", "0 9 0 1 0\n", "0 1 0 9 0\n", "1 2 3 4 2\n"};
  assert_int_equal(sb_passing_init(&passing, &axis, &axis, NULL), SB_OK);
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
    assert_int_equal(sb_passing_add(&passing, bad[k], NULL), SB_ERR_SCENARIO);
  }
  assert_int_equal(passing.samples, 0);
  /* One sample passes once at a point: rectangles that share one make no sum. */
  assert_int_equal(sb_passing_add(&passing, "0 2 5 6 0\n2 3 6 7 0\n", NULL), SB_OK);
  assert_false(sb_passing_finish(&passing));
  sb_passing_clear(&passing);
  struct sb_error err;
  const struct sb_map_axis fine = {1e-4, 1e-4, 10000};
  assert_int_equal(sb_passing_init(&passing, &fine, &fine, &err), SB_ERR_USAGE);
  assert_non_null(strstr(err.text, "threshold_step"));
}

static void expect_just_what_passes(const char *start_gear)
{
  loaded_take("../scenarios/hunting-crawler.yaml", &start_gear, 1);
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
  long holding = 0, failing = 0, fixed = 0;
  for (int u = 0; u < options.upshift.count; u++) {
    for (int d = 0; d < options.downshift.count; d++) {
      if (sb_map_axis_number(&options.downshift, d) >= sb_map_axis_number(&options.upshift, u)) continue;
      const struct sb_map_cell *cell = sb_map_cell_at(&again, d, u);
      assert_non_null(cell);
      assert_int_equal(sb_passing_at(&passing, d, u), cell->verdict.kinds == 0);
      const bool never_shifts = cell->verdict.kinds == 0 && cell->figures.shift_count == 0;
      assert_int_equal(sb_passing_never_shift_at(&passing, d, u), never_shifts);
      fixed += never_shifts;
      holding += cell->verdict.kinds == 0;
      failing += cell->verdict.kinds != 0;
    }
  }
  assert_true(holding > 100 && failing > 100 && fixed > 100 && holding - fixed > 100);
  sb_passing_clear(&passing);
  sb_lines_clear(&lines);
  sb_map_clear(&map);
  sb_map_clear(&again);
  sb_scenario_clear(&loaded_scenario);
}

/* Boiled down to where it passes, a map keeps just those points. From the low gear it shifts once under many of them, and then no more. */
static void passing_rectangles_are_the_points_without_a_verdict(void **state)
{
  (void)state;
  expect_just_what_passes("controller.start_gear=high");
  expect_just_what_passes("controller.start_gear=low");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(bound_gives_the_sample_sizes_of_wilks),
      cmocka_unit_test(bound_leaves_five_percent_to_the_binomial_tail),
      cmocka_unit_test(passing_counts_samples_at_every_point),
      cmocka_unit_test(thresholds_under_which_nothing_shifts_are_never_the_best),
      cmocka_unit_test(one_sample_that_shifts_makes_thresholds_an_answer),
      cmocka_unit_test(thresholds_beyond_the_plane_have_no_share),
      cmocka_unit_test(the_best_thresholds_are_the_middle_of_the_widest_square),
      cmocka_unit_test(shares_have_the_mark_of_what_never_shifts),
      cmocka_unit_test(passing_refuses_lines_that_are_no_rectangles),
      cmocka_unit_test(passing_rectangles_are_the_points_without_a_verdict),
  };
  return cmocka_run_group_tests_name("passing", tests, place_in_tests, NULL);
}
