// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The rules of a search, each against its own words: what `require` asks for, which machine is dropped, which ones no other one beats, and
 * the bounds that no run can beat against balances of torque that are bisected here.
 */
#include <malloc.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "design/front.h"
#include "design/machine.h"
#include "design/motions.h"
#include "design/needs.h"
#include "design/record.h"
#include "design/search.h"
#include "design/stage.h"
#include "help/dice.h"
#include "help/models.h"
#include "help/near.h"
#include "help/proof.h"
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

/* In the units that people use, and SI for machines: pi rad/s are 30 rpm, 3.6 A s are 1 mAh. */
static void values_of_needs_are_told_in_the_units_of_people(void **state)
{
  (void)state;
  static const struct {
    double value;
    const char *text, *name;
  } told[ALL] = {{3.14159265358979, "30 rpm", "rad_s"},
                 {6.28318530717959, "60 rpm", "rad_s"},
                 {3.14159265358979, "30 rpm", "rad_s"},
                 {12.0, "12 s", "s"},
                 {0.08, "80 mm", "m"},
                 {0.5, "50 % of a tooth's strength", "fraction"},
                 {36.0, "10 mAh", "as"},
                 {3.0, "3 A", "a"},
                 {90.0, "90 C", "c"},
                 {1.5, "1.5 N.m", "nm"},
                 {2.0, "2 verdicts", "count"}};
  const struct sb_needs needs = needs_of_all();
  for (int k = 0; k < ALL; k++) {
    char text[64];
    assert_string_equal(sb_needs_value_text(&needs.items[k], told[k].value, text, sizeof text), told[k].text);
    assert_string_equal(sb_needs_unit_name(&needs.items[k]), told[k].name);
  }
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

/* ---- the first stage ---- */

enum { COMBINATIONS = 3, STAGE_NEEDS = 6 };

/* A machine on its straight line, one whose driver limits the current, and one with a swing arm. */
static struct sb_combination combinations[COMBINATIONS] = {
    {.is_linear = true, .stall_nm = 0.4, .friction_nm = 0.01, .limit_nm = INFINITY, .slope_nms_rad = 0.012},
    {.is_linear = false, .stall_nm = 0.5, .friction_nm = 0.01, .limit_nm = 0.25, .slope_nms_rad = 0.012},
    {.is_linear = true,
     .is_swing = true,
     .stall_nm = 0.4,
     .friction_nm = 0.01,
     .limit_nm = INFINITY,
     .slope_nms_rad = 0.01},
};

static void choose(struct sb_choices *choices)
{
  static const int teeth[] = {12, 18, 24, 36};
  memset(choices, 0, sizeof *choices);
  choices->shelf = (struct sb_shelf){.is_present = true,
                                     .teeth_count = 4,
                                     .stages = {1, 2},
                                     .speeds = {2, 2},
                                     .module_m = 0.0005,
                                     .width_m = 0.01,
                                     .bending_pa = 130e6,
                                     .safety = 2.0};
  for (int k = 0; k < 4; k++) {
    choices->shelf.teeth[k] = teeth[k];
    choices->shelf.stock[k] = 2;
  }
  choices->require = (struct sb_require){.is_present = true,
                                         .speed_count = 1,
                                         .speeds = {{0.1, 9.0, 20.0}},
                                         .carry_count = 1,
                                         .carries = {{0.5, 1.0, NAN}},
                                         .finish_s = 2.5,
                                         .turns = 5.0,
                                         .length_m = 0.040,
                                         .charge_as = NAN,
                                         .current_a = NAN,
                                         .winding_c = NAN,
                                         .output_torque_nm = NAN};
  for (int k = 0; k < COMBINATIONS; k++) {
    combinations[k].mesh_efficiency = 0.9;
    combinations[k].viscous_nms_rad = 0.002;
    combinations[k].finish_per_ratio_s = k == 1 ? (double)NAN : 1.0;
  }
}

static double speed_of(const struct sb_combination *own, const struct sb_box *box, int speed, double load_nm)
{
  const double efficiency = pow(0.9, box->stages + (box->idler > 0 && box->idler_speed == speed));
  return balance_rad_s(own, sb_box_ratio(box, speed), efficiency, load_nm);
}

/* A tooth is loaded by a load that is to be carried at a speed in the gear, of those that do, that loads it least. */
static double tooth_under(const struct sb_choices *choices, const struct sb_combination *own, const struct sb_box *box,
                          double load_nm, double least_rad_s)
{
  double least = INFINITY;
  for (int s = 0; s < box->speeds; s++) {
    if (speed_of(own, box, s, load_nm) < least_rad_s) continue;
    least = fmin(least, load_nm * sb_box_speed_tooth_load_per_nm(box, &choices->shelf, 0.9, s).fraction);
  }
  return isinf(least) ? 0.0 : least;
}

/* The axles between the middles of the first and the last wheel, with half of each and their heads. */
static double length_of(const struct sb_box *box)
{
  double sum = box->stages > 1 ? box->shared[0][0] + box->shared[0][1] : 0.0, widest = 0.0, last = 0.0;
  for (int s = 0; s < box->speeds; s++) {
    last = fmax(last, box->last[s][0] + box->last[s][1]);
    widest = fmax(widest, box->last[s][1]);
  }
  const double first = box->stages > 1 ? box->shared[0][0] : box->last[0][0];
  return 0.00025 * (sum + last + first + 2.0 + widest + 2.0);
}

struct expected {
  const struct sb_choices *choices;
  double stock, ratio, dropped[STAGE_NEEDS], left;
};

static int missed_by(const struct sb_choices *choices, const struct sb_combination *own, const struct sb_box *box)
{
  double fastest_rad_s[2] = {0.0, 0.0};
  for (int s = 0; s < box->speeds; s++) {
    fastest_rad_s[0] = fmax(fastest_rad_s[0], speed_of(own, box, s, 0.1));
    fastest_rad_s[1] = fmax(fastest_rad_s[1], speed_of(own, box, s, 0.5));
  }
  const double tooth = fmax(tooth_under(choices, own, box, 0.1, 9.0), tooth_under(choices, own, box, 0.5, 1.0));
  const bool is_missed[STAGE_NEEDS] = {
      fastest_rad_s[0] < 9.0, own->is_linear && fastest_rad_s[0] > 20.0,
      fastest_rad_s[1]<1.0, own->finish_per_ratio_s * sb_box_ratio(box, box->speeds - 1)> 2.5, length_of(box) > 0.040,
      tooth > 1.0};
  for (int k = 0; k < STAGE_NEEDS; k++) {
    if (is_missed[k]) return k;
  }
  return -1;
}

static bool has_two_of(const struct sb_box *box, int teeth)
{
  int count = box->idler == teeth;
  for (int k = 0; k < box->stages - 1; k++) count += (box->shared[k][0] == teeth) + (box->shared[k][1] == teeth);
  for (int s = 0; s < box->speeds; s++) count += (box->last[s][0] == teeth) + (box->last[s][1] == teeth);
  return count <= 2;
}

static bool expect_box(void *context, const struct sb_box *box)
{
  struct expected *expected = context;
  const int *teeth = expected->choices->shelf.teeth;
  const bool is_there =
      has_two_of(box, teeth[0]) && has_two_of(box, teeth[1]) && has_two_of(box, teeth[2]) && has_two_of(box, teeth[3]);
  for (int k = 0; k < COMBINATIONS; k++) {
    if (combinations[k].is_swing != (box->idler > 0)) continue;
    if (!is_there) {
      expected->stock += 1.0;
    } else if (sb_box_ratio(box, 0) == sb_box_ratio(box, 1)) {
      expected->ratio += 1.0;
    } else {
      const int missed = missed_by(expected->choices, &combinations[k], box);
      *(missed >= 0 ? &expected->dropped[missed] : &expected->left) += 1.0;
    }
  }
  return true;
}

static void the_first_stage_drops_what_no_run_can_mend(void **state)
{
  (void)state;
  static struct sb_choices choices;
  static struct sb_design_answer answer;
  choose(&choices);
  struct expected expected = {.choices = &choices};
  struct sb_box_plan *plan = sb_boxes_plan(&choices.shelf, true, true);
  assert_non_null(plan);
  for (long slice = 0; slice < sb_boxes_slice_count(plan); slice++) {
    const struct sb_box_slice own = sb_boxes_slice(plan, slice);
    sb_boxes_visit(plan, &own, expect_box, &expected);
  }
  sb_boxes_free(plan);

  answer = (struct sb_design_answer){.choices = &choices,
                                     .combination_count = COMBINATIONS,
                                     .combinations = combinations,
                                     .needs = sb_needs_of(&choices)};
  const struct sb_design_request request = {.source = {.path = "a shelf"}, .jobs = 1};
  struct sb_motions motions = {.count = 0};
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_search_run(&request, &answer, &motions, &err), SB_OK);
  assert_near(answer.stock_count, expected.stock, 0.0);
  assert_near(answer.ratio_count, expected.ratio, 0.0);
  for (int k = 0; k < STAGE_NEEDS; k++) {
    assert_near(answer.needs.items[k].dropped_count, expected.dropped[k], 0.0);
    assert_true(expected.dropped[k] > 0.0); /* each rule is at work */
  }
  assert_near((double)answer.kept_count + answer.same_count, expected.left, 0.0);
  assert_true(expected.stock > 0.0 && expected.ratio > 0.0 && expected.left > 0.0);
  sb_motions_clear(&motions);
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

static bool is_same(const struct sb_worth *one, const struct sb_worth *other)
{
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    if (one->values[k] != other->values[k]) return false;
  }
  return true;
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
        const bool is_equal = is_same(&worths[i], &worths[j]);
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

/* Fresh memory holds distances below 0, as of ones that are kept: they count once they are set. */
static void fill_fresh_memory(void)
{
#ifdef M_PERTURB
  mallopt(M_PERTURB, 0x40); /* bytes of 0xBF: -0.12 */
#endif
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
      int best = 1; /* which is of the front */
      for (int i = 0; i < MANY; i++) {
        if (is_front[i] && worths[i].values[k] < worths[best].values[k]) best = i;
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
    fill_fresh_memory();
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
  double longest_s = 0.0;
  int crowded = 0;
  for (int i = 0; i < 60; i++) {
    struct sb_model *model = &scenario->model;
    *model = model_two_gears("selector");
    model_add_constant(model, 0.05 + 1.2 * gsl_rng_uniform(dice), true);
    model->load.inertia_kg_m2 = 0.002 + 0.1 * gsl_rng_uniform(dice);
    model->shifter.travel_time_s = 0.3;
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
    /* Two percent are kept from each edge, in steps of a half; where there is no room for both, from the reading under the lightest load. */
    const double most = 100.0 * form.gears[0].lightest_reading, safe = 100.0 * form.pairs[0].least_safe_upshift;
    assert_true(control.upshift_pct[0] <= most - 1.5);
    if (control.upshift_pct[0] < most - 2.6) assert_true(control.upshift_pct[0] >= safe + 1.5);
    crowded += control.upshift_pct[0] > most - 2.6;
    if (!isnan(form.pairs[0].shortest_dwell_steady_s))
      assert_true(control.dwell_s >= form.pairs[0].shortest_dwell_steady_s);
    longest_s = fmax(longest_s, form.pairs[0].shortest_dwell_steady_s);
    const double samples = control.dwell_s / model->control.sample_period_s;
    assert_near(samples, round(samples), 1e-9);
  }
  assert_in_range(crowded, 5, 55);
  assert_true(longest_s > 0.4);
  free(scenario);
  gsl_rng_free(dice);
}

/* ---- figures of a machine ---- */

/* A motor that its load blocks draws what it draws at stall, from the first to the last: 3 A for 10 s. */
static void a_blocked_machine_takes_the_charge_of_its_stall_current(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_set_currents(&model, 3.0, 0.0, 0.0);
  model_add_constant(&model, 20.0, true);
  model.control.start_delay_s = 100.0;
  model_finish(&model);
  const struct sb_candidate candidate = {.tooth = {50.0, 0.2}, .box = {.stages = 1, .speeds = 2}};
  struct sb_design_figures figures;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_machine_run(&model, &candidate, &figures, &err), SB_OK);
  assert_near_rel(figures.charge_as, 30.0, 1e-9);
  assert_near_rel(figures.energy_j, 360.0, 1e-9);
  assert_near_rel(figures.current_a, 3.0, 1e-9);
  assert_near(figures.speed_rad_s, 0.0, 0.0);
  assert_int_equal(figures.wheel_count, 4);
  assert_near_rel(figures.tooth_fraction, 0.2 * figures.output_torque_nm, 1e-14);
  assert_true((figures.verdicts & 1u << SB_VERDICT_STALL) != 0);
}

/* Values of needs: the best gear's steady speed under the load of the need, and the time for ten turns, by the mean speed or where a way
 * ends the run. */
static void values_of_needs_follow_the_line_and_the_way(void **state)
{
  (void)state;
  static struct sb_choices choices;
  choose(&choices);
  choices.require.turns = 10.0;
  struct sb_design_answer answer = {.choices = &choices, .needs = sb_needs_of(&choices)};
  struct sb_model model = model_two_gears("selector"); /* 300 rpm, 0.4 N m, 12:1 at 0.9 and 4:1 at 0.95 */
  model_add_constant(&model, 0.2, true);
  model_finish(&model);
  const struct sb_candidate candidate = {.box = {.stages = 0}};
  struct sb_design_figures figures = {.time_s = model.run.duration_s, .speed_rad_s = 6.0, .tooth_fraction = 0.7};
  double values[SB_NEED_MAX];
  sb_machine_values(&answer, &model, &candidate, &figures, values);
  const double w0 = model.motor.no_load_speed_rad_s;
  assert_near_rel(values[0], w0 * (1.0 - 0.1 / (4.0 * 0.95 * 0.4)) / 4.0, 1e-12);
  assert_near_rel(values[1], values[0], 0.0);
  assert_near_rel(values[2], w0 * (1.0 - 0.5 / (4.0 * 0.95 * 0.4)) / 4.0, 1e-12);
  assert_near_rel(values[3], 10.0 * 2.0 * model_pi / 6.0, 1e-14);
  assert_true(isnan(values[4])); /* no wheels */
  assert_near(values[5], 0.7, 0.0);
  model.load.road = (struct sb_road){.is_present = true, .finish_rad = 30.0};
  figures.time_s = 4.5;
  sb_machine_values(&answer, &model, &candidate, &figures, values);
  assert_near(values[3], 4.5, 0.0); /* it was there, and the run ended */
}

/* A fifth more load passes and a quarter more fails: so much is carried, and that is the limit; the least of two. */
static void what_a_design_carries_is_the_load_that_still_passes(void **state)
{
  (void)state;
  static struct sb_tune_result result;
  struct sb_design_limit limit = {.load_nm = NAN};
  memset(&result, 0, sizeof result);
  assert_true(isnan(sb_stage_carried_nm(2.0, &result, &limit)));
  result.reserve_count = 2;
  result.reserves[0] = (struct sb_tune_reserve){.quantity = SB_TUNE_LOAD, .passes_share = -0.3, .fails_share = -0.4};
  result.reserves[1] =
      (struct sb_tune_reserve){.quantity = SB_TUNE_LOAD, .is_more = true, .passes_share = 0.2, .fails_share = 0.25};
  assert_near_rel(sb_stage_carried_nm(2.0, &result, &limit), 2.4, 1e-15);
  assert_near_rel(limit.load_nm, 2.5, 1e-15);
  result.reserves[1].fails_share = 0.3;
  (void)sb_stage_carried_nm(2.0, &result, &limit);
  assert_near_rel(limit.load_nm, 2.5, 1e-15);
  result.reserves[1].fails_share = 0.1;
  (void)sb_stage_carried_nm(2.0, &result, &limit);
  assert_near_rel(limit.load_nm, 2.2, 1e-15);
  result.reserve_count = 1; /* what lies behind them is none */
  assert_true(isnan(sb_stage_carried_nm(2.0, &result, &limit)));
}

/* The machine of prove.md hunts under a constant load where its dwell is short: of two loads the worse one counts, whichever comes first. */
static void of_two_loads_the_worse_proof_counts(void **state)
{
  (void)state;
  static struct sb_model machines[2];
  struct sb_error err = {SB_OK, ""};
  for (int k = 0; k < 2; k++) machines[k] = proof_machine("selector", 0.95, k == 0 ? 1.5 : 0.1, 0.25, 1.75);
  for (int first = 0; first < 2; first++) {
    struct sb_design_record record = {.figures = {.swing_nm = NAN}};
    assert_int_equal(sb_stage_prove_model(&machines[first], true, &record, &err), SB_OK);
    assert_int_equal(record.statements[SB_PROVE_CONSTANT], first == 0 ? SB_PROOF_PROVED : SB_PROOF_DISPROVED);
    assert_int_equal(sb_stage_prove_model(&machines[1 - first], false, &record, &err), SB_OK);
    assert_true(record.is_proved_class);
    assert_int_equal(record.statements[SB_PROVE_CONSTANT], SB_PROOF_DISPROVED);
    assert_near(record.figures.swing_nm, 0.0, 0.0);
  }
}

/* The slowest, the hungriest, the least margin; a figure that one of the two does not have is the other one's. */
static void of_two_runs_each_figure_is_the_worse_one(void **state)
{
  (void)state;
  struct sb_design_figures worst = {3.0,  7.0, 20.0, 5.0, 2.5, NAN, 0.4, 90.0, NAN, 6, 1u << SB_VERDICT_STALL,
                                    0.04, 0.3, 1.5};
  const struct sb_design_figures other = {4.0,  6.0, 10.0, 8.0, 2.0, 55.0, 0.7, 80.0, NAN, 6, 1u << SB_VERDICT_HUNTING,
                                          0.05, 0.2, 1.75};
  sb_design_figures_add(&worst, &other);
  assert_near(worst.time_s, 4.0, 0.0);
  assert_near(worst.speed_rad_s, 6.0, 0.0);
  assert_near(worst.charge_as, 20.0, 0.0);
  assert_near(worst.energy_j, 8.0, 0.0);
  assert_near(worst.current_a, 2.5, 0.0);
  assert_near(worst.winding_c, 55.0, 0.0);
  assert_near(worst.output_torque_nm, 0.7, 0.0);
  assert_near(worst.tooth_n, 90.0, 0.0);
  assert_true(isnan(worst.tooth_fraction));
  assert_int_equal(worst.wheel_count, 6);
  assert_int_equal(worst.verdicts, 1u << SB_VERDICT_STALL | 1u << SB_VERDICT_HUNTING);
  assert_near(worst.margin_fraction, 0.04, 0.0);
  assert_near(worst.swing_nm, 0.2, 0.0);
  assert_near(worst.carried_nm, 1.5, 0.0);
}

/* ---- what closed forms may count on ---- */

/* A torque constant of 0.42 N m / (2.6 A - 0.14 A): a limit of 1 A is that times 1 A, and bends the line, as a load does that grows with the square of the
 * speed; a load that helps brings ten turns sooner than the motor's speed without load. */
static void only_what_bounds_every_run_bounds_a_machine(void **state)
{
  (void)state;
  static const char base[] =
      "motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, stall_current: 2.6 A, "
      "no_load_current: 0.14 A, rotor_inertia: 2.1e-4 kg.m2}\n"
      "gearbox: {mesh_efficiency: 0.95, shifter: {kind: selector, travel_time: 60 ms}}\n"
      "load: {inertia: 0.004 kg.m2, parts: [{kind: constant, manner: acts, torque: 0.1 N.m}]}\n"
      "controller: {sample_period: 20 ms, start_delay: 300 ms}\n"
      "run: {duration: 7 s}\n"
      "choices: {wheels: {teeth: [12, 18, 24, 36], module: 0.5 mm, stages: 2, speeds: 2}}\n"
      "require: {finish: 60 s, turns: 10}\n";
  static const struct {
    const char *set;
    bool is_linear, is_bounded, is_limited;
  } rows[] = {
      {"run.duration=7 s", true, true, false},
      {"drive={current_limit: 1 A}", false, true, true},
      {"load.parts.1={kind: quadratic, coefficient: 1e-4 N.m.s2/rad2}", false, true, false},
      {"load.parts.1={kind: constant, manner: acts, torque: -0.1 N.m}", true, false, false},
  };
  char path[] = "/tmp/shiftband-rules-XXXXXX";
  const int file = mkstemp(path);
  assert_true(file >= 0 && write(file, base, sizeof base - 1) == (ssize_t)(sizeof base - 1) && close(file) == 0);
  for (size_t k = 0; k < sizeof rows / sizeof rows[0]; k++) {
    const char *const paths[] = {path};
    const struct sb_design_request request = {.source = {.path = path, .sets = &rows[k].set, .set_count = 1}};
    static struct sb_scenario scenario;
    struct sb_design_answer answer = {.paths = paths, .path_count = 1};
    struct sb_faults faults;
    struct sb_error err = {SB_OK, ""};
    assert_int_equal(sb_choices_load(path, &rows[k].set, 1, &scenario, &faults), SB_OK);
    answer.choices = scenario.choices;
    assert_int_equal(sb_machine_combine(&request, &answer, &faults, &err), SB_OK);
    const struct sb_combination *own = &answer.combinations[0];
    const double w0 = 310.0 * model_pi / 30.0;
    assert_int_equal(own->is_linear, rows[k].is_linear);
    assert_int_equal(isfinite(own->limit_nm), rows[k].is_limited);
    if (rows[k].is_limited) assert_near_rel(own->limit_nm, 0.42 / (2.6 - 0.14), 1e-12);
    assert_int_equal(isfinite(own->finish_per_ratio_s), rows[k].is_bounded);
    if (rows[k].is_bounded) assert_near_rel(own->finish_per_ratio_s, 20.0 * model_pi / w0, 1e-12);
    free(answer.combinations);
    sb_scenario_clear(&scenario);
  }
  unlink(path);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_key_of_require_is_a_need),
      cmocka_unit_test(a_machine_is_dropped_by_the_first_need_that_it_misses),
      cmocka_unit_test(values_of_needs_are_told_in_the_units_of_people),
      cmocka_unit_test(no_gear_is_faster_than_its_balance_of_torque),
      cmocka_unit_test(the_first_stage_drops_what_no_run_can_mend),
      cmocka_unit_test(of_boxes_that_move_alike_the_one_with_the_stronger_teeth_stays),
      cmocka_unit_test(a_machine_is_better_where_its_figures_say_so),
      cmocka_unit_test(the_front_is_what_no_other_one_beats),
      cmocka_unit_test(a_thinned_front_has_the_best_of_each_aim_and_then_the_farthest),
      cmocka_unit_test(thresholds_of_a_trial_hunt_at_no_load_and_do_not_stick),
      cmocka_unit_test(a_blocked_machine_takes_the_charge_of_its_stall_current),
      cmocka_unit_test(values_of_needs_follow_the_line_and_the_way),
      cmocka_unit_test(what_a_design_carries_is_the_load_that_still_passes),
      cmocka_unit_test(of_two_loads_the_worse_proof_counts),
      cmocka_unit_test(of_two_runs_each_figure_is_the_worse_one),
      cmocka_unit_test(only_what_bounds_every_run_bounds_a_machine),
  };
  return cmocka_run_group_tests_name("rules", tests, NULL, NULL);
}
