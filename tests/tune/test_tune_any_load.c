// SPDX-License-Identifier: GPL-3.0-or-later
/* What tune recommends for every load, against every point of its lattice: runs of each machine, and what is proved there. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/proof.h"
#include "prove/any_load.h"
#include "shiftband/tune.h"

enum { SIDE = 50, MACHINES = 2 };

static struct sb_tune_machine machines[MACHINES];

/* The machine of the proofs, and a weaker one, on a road with a climb; the bounds are wider than the road. */
static void make_machines(void)
{
  static const double time_s[] = {0.0, 4.0, 5.0, 9.0, 10.0}, load_nm[] = {0.4, 0.4, 1.7, 1.7, 0.4};
  for (int k = 0; k < MACHINES; k++) {
    struct sb_model model = proof_machine("selector", 0.95, 0.5, 0.25, 1.9);
    model_add_profile(&model, SB_OVER_TIME, true, 5, time_s, load_nm);
    if (k > 0) model.motor.stall_torque_nm *= 0.95;
    model.run.duration_s = 14.0;
    model_finish(&model);
    machines[k] = (struct sb_tune_machine){.model = model, .scenario = k, .is_light = true};
  }
}

static struct sb_tune_options options_of(bool is_any_load)
{
  struct sb_tune_options options = sb_tune_options_default(&machines[0].model);
  options.axis = (struct sb_map_axis){0.02, 0.02, SIDE};
  options.dwell_s = 0.5;
  options.is_any_load = is_any_load;
  return options;
}

static void put_thresholds(struct sb_model *model, double downshift, double upshift)
{
  model->control.downshift_fraction[0] = downshift;
  model->control.upshift_fraction[0] = upshift;
  model->control.dwell_s = 0.5;
}

struct spot {
  bool passes, is_proved;
  double speed_rad_s, per_rad_j, swing_nm;
};

static struct spot spot_at(double downshift, double upshift)
{
  struct spot spot = {true, true, 0.0, 0.0, INFINITY};
  double way_rad = 0.0, time_s = 0.0, energy_j = 0.0;
  long shifts = 0;
  struct sb_error err = {SB_OK, ""};
  for (int k = 0; k < MACHINES; k++) {
    struct sb_map_verdict verdict;
    struct sb_map_figures figures;
    struct sb_any_load_point point;
    struct sb_model model = machines[k].model;
    put_thresholds(&model, downshift, upshift);
    assert_int_equal(sb_tune_try(&model, 0, downshift, upshift, 0.5, &verdict, &figures, &err), SB_OK);
    assert_int_equal(sb_any_load_look_at(&model, 0, downshift, upshift, &point, &err), SB_OK);
    spot.passes = spot.passes && verdict.kinds == 0;
    spot.is_proved = spot.is_proved && point.class == SB_ANY_LOAD_PROVED;
    spot.swing_nm = fmin(spot.swing_nm, sb_any_load_swing_nm(&point));
    shifts += figures.shift_count;
    way_rad += figures.way_rad;
    time_s += figures.end_s;
    energy_j += figures.given_j;
  }
  spot.passes = spot.passes && shifts > 0;
  spot.speed_rad_s = way_rad / time_s;
  spot.per_rad_j = energy_j / way_rad;
  return spot;
}

static struct spot spots[SIDE][SIDE];

static void look_at_all(const struct sb_map_axis *axis)
{
  for (int i = 0; i < SIDE; i++) {
    for (int j = i + 1; j < SIDE; j++) spots[i][j] = spot_at(sb_map_axis_at(axis, i), sb_map_axis_at(axis, j));
  }
}

/* The greatest swing of all points that are proved and keep within the limits of those that pass. */
static double best_swing(void)
{
  double fastest = 0.0, least_j = INFINITY, best_nm = -1.0;
  for (int k = 0; k < SIDE * SIDE; k++) {
    const struct spot *spot = &spots[k / SIDE][k % SIDE];
    if (!spot->passes) continue;
    fastest = fmax(fastest, spot->speed_rad_s);
    least_j = fmin(least_j, spot->per_rad_j);
  }
  for (int k = 0; k < SIDE * SIDE; k++) {
    const struct spot *spot = &spots[k / SIDE][k % SIDE];
    const bool is_near =
        spot->speed_rad_s >= SB_TUNE_SPEED_KEPT * fastest && spot->per_rad_j <= SB_TUNE_CHARGE_KEPT * least_j;
    if (spot->passes && spot->is_proved && is_near) best_nm = fmax(best_nm, spot->swing_nm);
  }
  return best_nm;
}

static void the_answer_has_the_greatest_swing_of_what_is_proved(void **state)
{
  (void)state;
  make_machines();
  const struct sb_tune_options options = options_of(true);
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_tune(machines, MACHINES, &options, &result, &err), SB_OK);
  assert_true(result.passes && result.any_load.is_asked && result.any_load.is_proved);
  look_at_all(&options.axis);
  const struct spot own = spot_at(result.downshift_fraction, result.upshift_fraction);
  assert_true(own.passes && own.is_proved);
  assert_near_rel(own.swing_nm, best_swing(), 1e-4); /* swings are compared to five digits */
  assert_true(best_swing() > 0.0);
  /* Not what the widest margin would have been. */
  const struct sb_tune_options usual = options_of(false);
  struct sb_tune_result other;
  assert_int_equal(sb_tune(machines, MACHINES, &usual, &other, &err), SB_OK);
  assert_false(other.any_load.is_asked);
  assert_true(spot_at(other.downshift_fraction, other.upshift_fraction).swing_nm < own.swing_nm);
}

/* The bounds are what counts, not the road: with a lightest load that the slower gear cannot leave, nothing is proved. */
static void where_nothing_is_proved_it_says_so(void **state)
{
  (void)state;
  make_machines();
  for (int k = 0; k < MACHINES; k++)
    machines[k].model.load.bounds = (struct sb_load_bounds){SB_BOUNDS_RESISTS, 0.3, 9.0, INFINITY};
  const struct sb_tune_options options = options_of(true);
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_tune(machines, MACHINES, &options, &result, &err), SB_OK);
  assert_true(result.passes && result.any_load.is_asked);
  assert_false(result.any_load.is_proved);
  assert_int_equal(result.any_load.first_failing, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_answer_has_the_greatest_swing_of_what_is_proved),
      cmocka_unit_test(where_nothing_is_proved_it_says_so),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
