// SPDX-License-Identifier: GPL-3.0-or-later
/* The lattice of thresholds: where its points lie, and which of them a picture or a table of a few points takes. */
#include "map/lattice.h"

#include <math.h>

#include "help/models.h"
#include "help/near.h"

static void points_have_their_place_number_and_index(void **state)
{
  (void)state;
  const struct sb_map_axis axis = {.first_fraction = 0.5, .step_fraction = 0.001, .count = 401};
  assert_near(sb_map_axis_at(&axis, 0), 0.5, 1e-15);
  assert_near(sb_map_axis_at(&axis, 400), 0.9, 1e-15);
  assert_int_equal(sb_map_axis_number(&axis, 0), 500);
  assert_int_equal(sb_map_axis_number(&axis, 123), 623);
  for (int k = 0; k < axis.count; k++) assert_int_equal(sb_map_axis_index(&axis, sb_map_axis_at(&axis, k)), k);
}

/* Of 1, 2, 3, 4, 5, 8, 10, 15, 20, 25, 30, 40, 50, 80, and a hundred and ten thousand times as much, the one that is nearest to count /
 * points in proportion, but no more than there are points. */
static void a_stride_is_the_nearest_round_number(void **state)
{
  (void)state;
  static const struct {
    int count, points, want;
  } cases[] = {{1001, 1001, 1},      {1001, 500, 2},      {1000, 60, 15},     {1000, 55, 20},
               {1000, 14, 80},       {100000, 1000, 100}, {100000, 50, 2000}, {100000, 80, 1500},
               {1000000, 50, 20000}, {10, 1, 10},         {7, 1, 5},          {3, 40, 1}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    const struct sb_map_axis axis = {.first_fraction = 0.0, .step_fraction = 0.001, .count = cases[i].count};
    assert_int_equal(sb_map_axis_stride(&axis, cases[i].points), cases[i].want);
  }
}

/* To 102 % of the motor's no-load speed, which is the reference here: at 0.5 % the last is 102.0 %, the 204th. */
static void points_lie_a_threshold_step_apart(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_finish(&model);
  struct sb_map_options options = sb_map_options_default(&model);
  assert_near(options.downshift.step_fraction, 0.001, 0.0);
  assert_int_equal(options.upshift.count, 1020);
  model.control.threshold_step_fraction = 0.005;
  options = sb_map_options_default(&model);
  assert_near(options.downshift.step_fraction, 0.005, 0.0);
  assert_near(options.downshift.first_fraction, 0.005, 0.0);
  assert_int_equal(options.upshift.count, 204);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(points_have_their_place_number_and_index),
      cmocka_unit_test(a_stride_is_the_nearest_round_number),
      cmocka_unit_test(points_lie_a_threshold_step_apart),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
