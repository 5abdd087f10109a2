// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The rules of a search, each against its own words: what `require` asks for, which machine is dropped, which ones no other one beats, and
 * the bounds that no run can beat against balances of torque that are bisected here.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "design/front.h"
#include "design/machine.h"
#include "design/motions.h"
#include "design/needs.h"
#include "design/search.h"
#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "shiftband/closed_form.h"

/* ---- needs ---- */

/* A key of `require`: what it asks for, and a value beside it on the side that misses it. */
struct asked {
  enum sb_need_kind kind;
  const char *path;
  double wanted, load_nm, missed;
};

static const struct asked all[] = {
    {SB_NEED_SPEED, "require.output_speed.1.minimum", 5.0, 0.3, 4.9},
    {SB_NEED_MOST_SPEED, "require.output_speed.1.maximum", 9.0, 0.3, 9.1},
    {SB_NEED_SPEED, "require.carry.1", 2.0, 0.8, 1.9},
    {SB_NEED_FINISH, "require.finish", 12.0, 0.0, 12.1},
    {SB_NEED_LENGTH, "require.length", 0.08, 0.0, 0.081},
    {SB_NEED_TOOTH, "choices.wheels.safety", 1.0, 0.0, 1.01},
    {SB_NEED_CHARGE, "require.charge", 40.0, 0.0, 41.0},
    {SB_NEED_CURRENT, "require.current", 3.0, 0.0, 3.1},
    {SB_NEED_WINDING, "require.winding", 90.0, 0.0, 91.0},
    {SB_NEED_TORQUE, "require.output_torque", 1.5, 0.0, 1.6},
    {SB_NEED_VERDICT, "the run", 0.0, 0.0, 1.0},
};
enum { ALL = sizeof all / sizeof all[0] };

static struct sb_needs needs_of_all(void)
{
  static struct sb_choices choices;
  memset(&choices, 0, sizeof choices);
  choices.shelf = (struct sb_shelf){.is_present = true, .width_m = 0.003};
  choices.require = (struct sb_require){.is_present = true,
                                        .speed_count = 1,
                                        .speeds = {{0.3, 5.0, 9.0}},
                                        .carry_count = 1,
                                        .carries = {{0.8, 2.0, NAN}},
                                        .finish_s = 12.0,
                                        .turns = 10.0,
                                        .length_m = 0.08,
                                        .charge_as = 40.0,
                                        .current_a = 3.0,
                                        .winding_c = 90.0,
                                        .output_torque_nm = 1.5};
  return sb_needs_of(&choices);
}

static void each_key_of_require_is_a_need(void **state)
{
  (void)state;
  const struct sb_needs needs = needs_of_all();
  assert_int_equal(needs.count, ALL);
  for (int k = 0; k < ALL; k++) {
    const struct sb_need *need = &needs.items[k];
    assert_int_equal(need->kind, all[k].kind);
    assert_string_equal(need->path, all[k].path);
    assert_near(need->wanted, all[k].wanted, 0.0);
    if (all[k].kind <= SB_NEED_MOST_SPEED) assert_near(need->load_nm, all[k].load_nm, 0.0);
    assert_true(sb_needs_is_met(need, all[k].wanted)); /* at least, at most: the value itself does */
    assert_false(sb_needs_is_met(need, all[k].missed));
    assert_true(sb_needs_is_met(need, 2.0 * all[k].wanted - all[k].missed));
  }
}

/* A machine that misses one need alone tells how near one comes; one that misses two tells nothing but the first. */
static void a_machine_is_dropped_by_the_first_need_that_it_misses(void **state)
{
  (void)state;
  struct sb_needs needs = needs_of_all();
  double values[SB_NEED_MAX];
  for (int k = 0; k < ALL; k++) values[k] = all[k].wanted;
  assert_int_equal(sb_needs_judge(&needs, values), -1);
  values[7] = 3.5;
  assert_int_equal(sb_needs_judge(&needs, values), 7);
  values[7] = 3.2;
  assert_int_equal(sb_needs_judge(&needs, values), 7);
  values[7] = 3.4;
  assert_int_equal(sb_needs_judge(&needs, values), 7);
  values[2] = 1.0; /* and another one */
  assert_int_equal(sb_needs_judge(&needs, values), 2);
  values[7] = 3.0;
  assert_int_equal(sb_needs_judge(&needs, values), 2);
  values[2] = 1.5;
  assert_int_equal(sb_needs_judge(&needs, values), 2);
  assert_near(needs.items[7].dropped_count, 3.0, 0.0);
  assert_near(needs.items[7].alone_count, 3.0, 0.0);
  assert_near(needs.items[7].nearest, 3.2, 0.0);
  assert_near(needs.items[2].dropped_count, 3.0, 0.0);
  assert_near(needs.items[2].alone_count, 2.0, 0.0);
  assert_near(needs.items[2].nearest, 1.5, 0.0);
  assert_int_equal(sb_needs_easiest(&needs), 7);

  /* Two parts of a search together. */
  struct sb_needs other = needs_of_all();
  for (int k = 0; k < ALL; k++) values[k] = all[k].wanted;
  values[2] = 1.7;
  for (int k = 0; k < 2; k++) assert_int_equal(sb_needs_judge(&other, values), 2);
  sb_needs_add(&needs, &other);
  assert_near(needs.items[2].dropped_count, 5.0, 0.0);
  assert_near(needs.items[2].nearest, 1.7, 0.0);
  assert_int_equal(sb_needs_easiest(&needs), 2);
}

/* ---- bounds by closed forms ---- */

/* The speed of the output at which a gear's torque is the load's, by bisection: N eta (Ts - Tf - m w) = L + b w / N, and none where the
 * driver's limit does not lift the load from rest. */
static double balance_rad_s(const struct sb_combination *own, double ratio, double efficiency, double load_nm)
{
  double low = 0.0, high = own->stall_nm / own->slope_nms_rad;
  const double start_nm = fmin(own->stall_nm, own->limit_nm) - own->friction_nm;
  if (ratio * efficiency * start_nm <= load_nm) return 0.0;
  for (int i = 0; i < 200; i++) {
    const double w = 0.5 * (low + high);
    const double given_nm = ratio * efficiency * (own->stall_nm - own->friction_nm - own->slope_nms_rad * w);
    *(given_nm > load_nm + own->viscous_nms_rad * w / ratio ? &low : &high) = w;
  }
  return low / ratio;
}

static void no_gear_is_faster_than_its_balance_of_torque(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(4);
  for (int i = 0; i < 200; i++) {
    struct sb_combination own = {.stall_nm = 0.2 + gsl_rng_uniform(dice),
                                 .friction_nm = 0.05 * gsl_rng_uniform(dice),
                                 .limit_nm = i % 2 == 0 ? INFINITY : 0.1 + 0.5 * gsl_rng_uniform(dice),
                                 .slope_nms_rad = 0.005 + 0.02 * gsl_rng_uniform(dice),
                                 .viscous_nms_rad = 0.02 * gsl_rng_uniform(dice),
                                 .mesh_efficiency = 0.8 + 0.2 * gsl_rng_uniform(dice)};
    struct sb_candidate candidate = {.box = {.stages = 2, .speeds = 2, .idler = 12, .idler_speed = 1}};
    candidate.ratios[0] = 8.0 + 4.0 * gsl_rng_uniform(dice);
    candidate.ratios[1] = 2.0 + 4.0 * gsl_rng_uniform(dice);
    const double load_nm = 4.0 * gsl_rng_uniform(dice), mesh = own.mesh_efficiency;
    /* The idler of speed 1 is a third mesh. */
    const double want = fmax(balance_rad_s(&own, candidate.ratios[0], mesh * mesh, load_nm),
                             balance_rad_s(&own, candidate.ratios[1], mesh * mesh * mesh, load_nm));
    assert_near(sb_search_speed_rad_s(&own, &candidate, load_nm), want, 1e-9 * (1.0 + want));
  }
  gsl_rng_free(dice);
}

/* ---- boxes that move alike ---- */

static struct sb_candidate candidate_of(double force_n, int driven)
{
  struct sb_candidate candidate = {
      .box = {.stages = 1, .speeds = 1, .last = {{12, driven}}}, .ratios = {3.0}, .tooth = {force_n, NAN}};
  return candidate;
}

static void of_boxes_that_move_alike_the_one_with_the_stronger_teeth_stays(void **state)
{
  (void)state;
  struct sb_motions motions = {.count = 0};
  struct sb_candidate loser;
  const struct sb_candidate weak = candidate_of(200.0, 36), strong = candidate_of(100.0, 36),
                            hunting = candidate_of(100.0, 37); /* 12/37 has no common divisor */
  assert_int_equal(sb_motions_add(&motions, &weak, &loser), SB_KEPT_NEW);
  assert_int_equal(sb_motions_add(&motions, &strong, &loser), SB_KEPT_SAME);
  assert_near(loser.tooth.force_n, 200.0, 0.0);
  assert_int_equal(sb_motions_add(&motions, &weak, &loser), SB_KEPT_SAME);
  assert_near(loser.tooth.force_n, 200.0, 0.0);
  assert_int_equal(sb_motions_add(&motions, &hunting, &loser), SB_KEPT_SAME);
  assert_int_equal(loser.box.last[0][1], 36);
  assert_int_equal(sb_motions_add(&motions, &strong, &loser), SB_KEPT_SAME);
  assert_int_equal(loser.box.last[0][1], 36);
  struct sb_candidate other = strong;
  other.ratios[0] = nextafter(3.0, 4.0); /* another ratio is another motion, however near */
  assert_int_equal(sb_motions_add(&motions, &other, &loser), SB_KEPT_NEW);
  assert_int_equal(motions.count, 2);
  assert_near(motions.same_count, 4.0, 0.0);
  sb_motions_clear(&motions);
}

/* ---- the front ---- */

static void a_machine_is_better_where_its_figures_say_so(void **state)
{
  (void)state;
  struct sb_design_figures own = {.speed_rad_s = 10.0,
                                  .charge_as = 30.0,
                                  .energy_j = 300.0,
                                  .current_a = 2.0,
                                  .winding_c = 60.0,
                                  .tooth_n = 100.0,
                                  .tooth_fraction = 0.5,
                                  .wheel_count = 8,
                                  .margin_fraction = 0.1,
                                  .carried_nm = 1.0};
  const struct sb_design_figures same = own;
  const struct {
    double *figure, better;
  } turns[] = {{&own.speed_rad_s, 11.0},    {&own.charge_as, 29.0},       {&own.current_a, 1.9}, {&own.winding_c, 59.0},
               {&own.tooth_fraction, 0.49}, {&own.margin_fraction, 0.11}, {&own.carried_nm, 1.1}};
  for (size_t k = 0; k < sizeof turns / sizeof turns[0]; k++) {
    const struct sb_worth before = sb_front_worth(&own);
    *turns[k].figure = turns[k].better;
    const struct sb_worth worths[2] = {before, sb_front_worth(&own)};
    bool is_front[2];
    assert_int_equal(sb_front_mark(worths, 2, is_front), 1);
    assert_true(is_front[1]);
    own = same;
  }
  own.charge_as = own.tooth_fraction = NAN; /* then the energy and the force count */
  const struct sb_worth before = sb_front_worth(&own);
  own.energy_j = 290.0;
  own.tooth_n = 90.0;
  own.wheel_count = 6;
  const struct sb_worth worths[2] = {before, sb_front_worth(&own)};
  for (int aim = 0; aim < SB_AIM_COUNT; aim++) {
    const bool is_other = aim == SB_AIM_CHARGE || aim == SB_AIM_TOOTH || aim == SB_AIM_WHEELS;
    if (is_other) assert_true(worths[1].values[aim] < worths[0].values[aim]);
    if (!is_other) assert_near(worths[1].values[aim], worths[0].values[aim], 0.0);
  }
}

static bool is_beaten(const struct sb_worth *one, const struct sb_worth *by)
{
  bool is_better = false;
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    if (one->values[k] < by->values[k]) return false;
    is_better = is_better || by->values[k] < one->values[k];
  }
  return is_better;
}

enum { MANY = 60, KEPT = 9 };

/* Small whole numbers, so that many are equal, and some wholly. */
static void draw_worths(gsl_rng *dice, struct sb_worth worths[MANY])
{
  for (int i = 0; i < MANY; i++) {
    for (int k = 0; k < SB_AIM_COUNT; k++) worths[i].values[k] = k < 4 ? (double)gsl_rng_uniform_int(dice, 5) : 1.0;
  }
}

static void the_front_is_what_no_other_one_beats(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(5);
  struct sb_worth worths[MANY];
  bool is_front[MANY];
  for (int round = 0; round < 50; round++) {
    draw_worths(dice, worths);
    const long count = sb_front_mark(worths, MANY, is_front);
    long want = 0;
    for (int i = 0; i < MANY; i++) {
      bool stays = true;
      for (int j = 0; j < MANY; j++) {
        const bool is_equal = memcmp(&worths[i], &worths[j], sizeof worths[i]) == 0;
        stays = stays && !is_beaten(&worths[i], &worths[j]) && !(is_equal && j < i);
      }
      assert_int_equal(is_front[i], stays);
      want += stays;
    }
    assert_int_equal(count, want);
  }
  gsl_rng_free(dice);
}

/* The distance to the nearest of the kept ones, each aim as a share of its width on the front. */
static double distance_to(const struct sb_worth *worths, const bool *is_front, const bool *is_kept, int one)
{
  double nearest = INFINITY;
  for (int i = 0; i < MANY; i++) {
    if (!is_kept[i]) continue;
    double sum = 0.0;
    for (int k = 0; k < SB_AIM_COUNT; k++) {
      double least = INFINITY, most = -INFINITY;
      for (int j = 0; j < MANY; j++) {
        if (!is_front[j]) continue;
        least = fmin(least, worths[j].values[k]);
        most = fmax(most, worths[j].values[k]);
      }
      const double step = (worths[i].values[k] - worths[one].values[k]) / (most > least ? most - least : 1.0);
      sum += step * step;
    }
    nearest = fmin(nearest, sum);
  }
  return nearest;
}

static void a_thinned_front_has_the_best_of_each_aim_and_then_the_farthest(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(6);
  struct sb_worth worths[MANY];
  bool is_front[MANY], is_kept[MANY];
  for (int round = 0; round < 20; round++) {
    for (int i = 0; i < MANY; i++) {
      for (int k = 0; k < SB_AIM_COUNT; k++) worths[i].values[k] = k < 3 ? gsl_rng_uniform(dice) : 1.0;
      is_front[i] = i % 3 != 0; /* thinning asks nothing of the front */
      is_kept[i] = false;
    }
    int kept = 0;
    for (int k = 0; k < SB_AIM_COUNT; k++) {
      int best = -1;
      for (int i = 0; i < MANY; i++) {
        if (is_front[i] && (best < 0 || worths[i].values[k] < worths[best].values[k])) best = i;
      }
      kept += !is_kept[best];
      is_kept[best] = true;
    }
    for (; kept < KEPT; kept++) {
      int farthest = -1;
      for (int i = 0; i < MANY; i++) {
        if (!is_front[i] || is_kept[i]) continue;
        if (farthest < 0 ||
            distance_to(worths, is_front, is_kept, i) > distance_to(worths, is_front, is_kept, farthest)) {
          farthest = i;
        }
      }
      is_kept[farthest] = true;
    }
    bool is_left[MANY];
    memcpy(is_left, is_front, sizeof is_left);
    sb_front_thin(worths, MANY, is_left, KEPT);
    for (int i = 0; i < MANY; i++) assert_int_equal(is_left[i], is_kept[i]);
  }
  gsl_rng_free(dice);
}

/* ---- thresholds of a trial ---- */

/* What the closed forms promise of them: no hunting band, an upshift below what the slower gear reads under the lightest load, a load that the
 * faster gear carries, and a dwell no shorter than the shortest. */
static void thresholds_of_a_trial_hunt_at_no_load_and_do_not_stick(void **state)
{
  (void)state;
  gsl_rng *dice = dice_of(7);
  struct sb_scenario *scenario = calloc(1, sizeof *scenario);
  assert_non_null(scenario);
  for (int i = 0; i < 60; i++) {
    struct sb_model *model = &scenario->model;
    *model = model_two_gears("selector");
    model_add_constant(model, 0.05 + 0.3 * gsl_rng_uniform(dice), true);
    model->load.inertia_kg_m2 = 0.002 + 0.02 * gsl_rng_uniform(dice);
    model_finish(model);
    const struct sb_loaded loaded = {.items = scenario, .count = 1};
    const struct sb_design_control control = sb_machine_control(&loaded);
    assert_int_equal(control.pairs, 1);
    assert_true(control.downshift_pct[0] < control.upshift_pct[0]);
    model->control.downshift_fraction[0] = control.downshift_pct[0] / 100.0;
    model->control.upshift_fraction[0] = control.upshift_pct[0] / 100.0;
    const struct sb_closed_form form = sb_closed_form_solve(model);
    assert_false(form.pairs[0].has_band);
    assert_false(form.pairs[0].is_stuck_low);
    assert_false(form.pairs[0].is_needless_downshift);
    assert_true(control.upshift_pct[0] <= 100.0 * form.gears[0].lightest_reading - 1.5); /* 2, in steps of 0.5 */
    if (!isnan(form.pairs[0].shortest_dwell_steady_s))
      assert_true(control.dwell_s >= form.pairs[0].shortest_dwell_steady_s);
    const double samples = control.dwell_s / model->control.sample_period_s;
    assert_near(samples, round(samples), 1e-9);
  }
  free(scenario);
  gsl_rng_free(dice);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_key_of_require_is_a_need),
      cmocka_unit_test(a_machine_is_dropped_by_the_first_need_that_it_misses),
      cmocka_unit_test(no_gear_is_faster_than_its_balance_of_torque),
      cmocka_unit_test(of_boxes_that_move_alike_the_one_with_the_stronger_teeth_stays),
      cmocka_unit_test(a_machine_is_better_where_its_figures_say_so),
      cmocka_unit_test(the_front_is_what_no_other_one_beats),
      cmocka_unit_test(a_thinned_front_has_the_best_of_each_aim_and_then_the_farthest),
      cmocka_unit_test(thresholds_of_a_trial_hunt_at_no_load_and_do_not_stick),
  };
  return cmocka_run_group_tests_name("rules", tests, NULL, NULL);
}
