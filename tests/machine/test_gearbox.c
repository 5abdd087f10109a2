// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Paths of meshes against worked examples, and how each kind of shifter plans a shift. Ratios of small whole numbers
 * are exact to a few roundings of a double: 1e-14 relative.
 */
#include "help/dice.h"
#include "help/near.h"
#include "shiftband/gearbox.h"
#include "shiftband/shifter.h"

#include <gsl/gsl_rng.h>
#include <string.h>

static const double few_roundings = 1e-14;

struct teeth {
  double driver, driven;
};

static struct sb_gear gear_of(const char *name, const struct teeth *teeth, int mesh_count, double efficiency)
{
  struct sb_gear gear = {.mesh_count = mesh_count, .motor_direction = 1, .back_efficiency = NAN};
  snprintf(gear.name, sizeof gear.name, "%s", name);
  for (int i = 0; i < mesh_count; i++) {
    gear.meshes[i] =
        (struct sb_mesh){.driver_teeth = teeth[i].driver, .driven_teeth = teeth[i].driven, .efficiency = efficiency};
  }
  return gear;
}

static struct sb_gear derived(struct sb_gear gear)
{
  struct sb_gearbox box = {.gear_count = 1, .gears = {gear}};
  sb_gearbox_derive(&box);
  return box.gears[0];
}

/* Khurmi and Gupta, Theory of Machines, example 13.1: drivers 20, 25, 26, driven 50, 75, 65; 975 rpm become 52. */
static void a_compound_train_multiplies_its_ratios(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{20, 50}, {25, 75}, {26, 65}};
  const struct sb_gear gear = derived(gear_of("train", teeth, 3, 1.0));
  assert_near_rel(975.0 / gear.ratio, 52.0, few_roundings);
  assert_int_equal(gear.direction, -1);
}

/* Wentzell, Machine Design, example 11.1: 20:60 twice, 3600 rpm and 200 lbf in become 400 rpm and 1800 lbf in. */
static void a_loss_free_train_keeps_the_power(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{20, 60}, {20, 60}};
  const struct sb_gear gear = derived(gear_of("train", teeth, 2, 1.0));
  assert_near_rel(gear.ratio, 9.0, few_roundings);
  assert_near_rel(3600.0 / gear.ratio, 400.0, few_roundings);
  const double output_lbf_in = 200.0 * gear.ratio * gear.efficiency;
  assert_near_rel(output_lbf_in, 1800.0, few_roundings);
  assert_near_rel(output_lbf_in * 3600.0 / gear.ratio, 200.0 * 3600.0, few_roundings);
  assert_int_equal(gear.direction, 1);
}

/* The efficiency of stages is their product: 0.95^3 = 0.857375 and 0.9^2 = 0.81, exactly. */
static void efficiencies_multiply_over_the_meshes(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{12, 30}, {15, 30}, {18, 36}};
  assert_near_rel(derived(gear_of("three", teeth, 3, 0.95)).efficiency, 0.857375, few_roundings);
  assert_near_rel(derived(gear_of("two", teeth, 2, 0.9)).efficiency, 0.81, few_roundings);

  struct sb_gear mixed = gear_of("mixed", teeth, 3, 0.95);
  mixed.meshes[1].efficiency = 0.8;
  assert_near_rel(derived(mixed).efficiency, 0.95 * 0.95 * 0.8, few_roundings);
}

/* An idler's teeth cancel (Khurmi and Gupta, chapter 13, simple train); its mesh turns the sense and costs efficiency. */
static void an_idler_turns_the_direction_and_leaves_the_ratio(void **state)
{
  (void)state;
  const struct teeth direct[] = {{16, 48}};
  const struct sb_gear without = derived(gear_of("direct", direct, 1, 0.95));
  for (double idler = 8.0; idler <= 100.0; idler += 1.0) {
    const struct teeth teeth[] = {{16, idler}, {idler, 48}};
    const struct sb_gear with = derived(gear_of("idler", teeth, 2, 0.95));
    assert_near_rel(with.ratio, without.ratio, few_roundings);
    assert_int_equal(with.direction, -without.direction);
    assert_near_rel(with.efficiency, 0.95 * without.efficiency, few_roundings);
  }
}

static void an_internal_mesh_keeps_the_direction(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{12, 36}, {12, 60}};
  struct sb_gear gear = gear_of("ring", teeth, 2, 1.0);
  gear.meshes[1].is_internal = true;
  assert_int_equal(derived(gear).direction, -1);
  assert_near_rel(derived(gear).ratio, 15.0, few_roundings);
  gear.meshes[0].is_internal = true;
  assert_int_equal(derived(gear).direction, 1);
}

/* 12 meshes of random teeth against the quotient of the two whole products, which long double holds to 64 bits. */
static void the_longest_path_is_the_quotient_of_the_products(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(11);
  for (int round = 0; round < 200; round++) {
    struct teeth teeth[SB_MESH_MAX];
    long double drivers = 1.0L;
    long double driven = 1.0L;
    for (int i = 0; i < SB_MESH_MAX; i++) {
      teeth[i] = (struct teeth){(double)(8 + gsl_rng_uniform_int(rng, 90)), (double)(8 + gsl_rng_uniform_int(rng, 90))};
      drivers *= (long double)teeth[i].driver;
      driven *= (long double)teeth[i].driven;
    }
    assert_near_rel(derived(gear_of("long", teeth, SB_MESH_MAX, 1.0)).ratio, (double)(driven / drivers), few_roundings);
  }
  gsl_rng_free(rng);
}

/* Fast: two meshes, motor forward. Slow: one idler more, motor reversed. Both drive the output the same way. */
static void an_idler_and_a_reversed_motor_keep_the_output_direction(void **state)
{
  (void)state;
  const struct teeth slow[] = {{15, 30}, {18, 36}, {14, 42}};
  const struct teeth fast[] = {{15, 30}, {18, 36}};
  struct sb_gearbox box = {.gear_count = 2, .gears = {gear_of("slow", slow, 3, 0.96), gear_of("fast", fast, 2, 0.96)}};
  box.gears[0].motor_direction = -1;
  sb_gearbox_derive(&box);
  assert_near_rel(box.gears[0].ratio, 12.0, few_roundings);
  assert_near_rel(box.gears[1].ratio, 4.0, few_roundings);
  assert_int_equal(box.gears[0].direction, -1);
  assert_int_equal(box.gears[1].direction, 1);
  assert_int_equal(box.gears[0].output_direction, 1);
  assert_int_equal(box.gears[1].output_direction, 1);

  /* Without the reversal the fast gear turns the output back; forward is what gear 1 does. */
  box.gears[0].motor_direction = 1;
  sb_gearbox_derive(&box);
  assert_int_equal(box.gears[0].output_direction, 1);
  assert_int_equal(box.gears[1].output_direction, -1);
}

static void back_efficiency_is_as_forward_unless_given(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{10, 30}, {10, 30}};
  struct sb_gear gear = gear_of("pair", teeth, 2, 0.9);
  assert_near_rel(derived(gear).back_efficiency, 0.81, few_roundings);
  gear.back_efficiency = 0.0;
  assert_near(derived(gear).back_efficiency, 0.0, 0.0);
  gear.back_efficiency = 0.7;
  assert_near(derived(gear).back_efficiency, 0.7, 0.0);
}

/* Friction proportional to the tooth force, the same both ways: 2 - 1 / eta. A screw of 50 mm, 12.5 mm lead and friction 0.13
 * (Khurmi and Gupta, example 10.10) is 37.57763 % efficient; the exact figure back, -0.627140, is a little above. */
static void back_efficiency_of_the_same_friction_both_ways_follows_from_the_efficiency(void **state)
{
  (void)state;
  static const struct {
    double efficiency, back;
  } rows[] = {{0.95, 0.947368}, {0.90, 0.888889},    {0.98, 0.979592}, {0.8651468, 0.844127},
              {0.5, 0.0},       {0.53555, 0.132761}, {0.4, -0.5},      {0.3757763, -0.661158}};
  static const struct teeth one[] = {{1, 40}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    struct sb_gear gear = gear_of("screw", one, 1, rows[i].efficiency);
    gear.back_efficiency = SB_BACK_EFFICIENCY_AUTO;
    assert_near(derived(gear).back_efficiency, rows[i].back, 1e-6);
  }
}

static void a_gear_is_found_by_its_whole_name(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{10, 30}};
  const struct sb_gearbox box = {.gear_count = 2,
                                 .gears = {gear_of("slow", teeth, 1, 1.0), gear_of("fast", teeth, 1, 1.0)}};
  assert_int_equal(sb_gearbox_find(&box, "slow"), 0);
  assert_int_equal(sb_gearbox_find(&box, "fast"), 1);
  assert_int_equal(sb_gearbox_find(&box, "fas"), -1);
  assert_int_equal(sb_gearbox_find(&box, ""), -1);
}

static void every_shifter_is_found_by_its_name(void **state)
{
  (void)state;
  int count = 0;
  for (; sb_shifter_kinds[count] != NULL; count++) {
    assert_ptr_equal(sb_shifter_kind_find(sb_shifter_kinds[count]->name), sb_shifter_kinds[count]);
  }
  assert_int_equal(count, 3);
  assert_null(sb_shifter_kind_find("swing"));
}

static struct sb_shift_plan plan_of(const char *kind, struct sb_shifter shifter, double command_time_s)
{
  shifter.ops = sb_shifter_kind_find(kind);
  assert_non_null(shifter.ops);
  return shifter.ops->plan(&shifter, command_time_s);
}

static void a_swing_arm_engages_by_turning_only(void **state)
{
  (void)state;
  const struct sb_shifter shifter = {.swing_turns = 0.4, .is_drive_cut = true, .travel_time_s = 9.0, .clutch_nm = 9.0};
  const struct sb_shift_plan plan = plan_of("swing arm", shifter, 3.0);
  assert_near_rel(plan.engage_turn_rad, 0.8 * 3.14159265358979323846, few_roundings);
  assert_near(plan.engage_time_s, (double)INFINITY, 0.0);
  assert_false(plan.is_drive_cut);
  assert_near(plan.clutch_nm, 0.0, 0.0);
  assert_true(sb_shifter_kind_find("swing arm")->is_direction_selected);
}

static void a_selector_engages_its_travel_time_after_the_command(void **state)
{
  (void)state;
  const struct sb_shifter shifter = {.swing_turns = 9.0, .travel_time_s = 0.125, .clutch_nm = 9.0};
  struct sb_shift_plan plan = plan_of("selector", shifter, 3.0);
  assert_near(plan.engage_time_s, 3.125, 0.0);
  assert_near(plan.engage_turn_rad, (double)INFINITY, 0.0);
  assert_false(plan.is_drive_cut);
  assert_near(plan.clutch_nm, 0.0, 0.0);
  plan = plan_of("selector", (struct sb_shifter){.is_drive_cut = true}, 3.0);
  assert_true(plan.is_drive_cut);
  assert_false(sb_shifter_kind_find("selector")->is_direction_selected);
}

static void a_clutch_joins_at_once_with_its_capacity(void **state)
{
  (void)state;
  const struct sb_shift_plan plan = plan_of("clutch", (struct sb_shifter){.clutch_nm = 0.3, .travel_time_s = 9.0}, 3.0);
  assert_near(plan.clutch_nm, 0.3, 0.0);
  assert_near(plan.engage_time_s, (double)INFINITY, 0.0);
  assert_near(plan.engage_turn_rad, (double)INFINITY, 0.0);
  assert_false(plan.is_drive_cut);
  assert_false(sb_shifter_kind_find("clutch")->is_direction_selected);
}

static void only_the_gears_that_there_are_are_derived(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{10, 30}};
  struct sb_gearbox box = {.gear_count = 1, .gears = {gear_of("one", teeth, 1, 0.9), gear_of("spare", teeth, 1, 0.9)}};
  box.gears[1].direction = -1;
  sb_gearbox_derive(&box);
  assert_near_rel(box.gears[0].ratio, 3.0, few_roundings);
  assert_int_equal(box.gears[0].output_direction, 1);
  assert_near(box.gears[1].ratio, 0.0, 0.0);
  assert_int_equal(box.gears[1].output_direction, 0);
}

static void a_gear_is_chosen_by_its_name_and_counted_from_one(void **state)
{
  (void)state;
  const struct teeth teeth[] = {{10, 30}};
  const struct sb_gearbox box = {.gear_count = 2,
                                 .gears = {gear_of("slow", teeth, 1, 0.9), gear_of("fast", teeth, 1, 0.9)}};
  struct sb_error err = {SB_OK, ""};
  int gear = 7;
  assert_int_equal(sb_gearbox_choose(&box, "fast", &gear, &err), SB_OK);
  assert_int_equal(gear, 2);
  assert_int_equal(sb_gearbox_choose(&box, "slow", &gear, &err), SB_OK);
  assert_int_equal(gear, 1);
  assert_int_equal(sb_gearbox_choose(&box, "fats", &gear, &err), SB_ERR_USAGE);
  assert_string_equal(err.text, "--gear needs one of slow, fast, found \"fats\"; did you mean \"fast\"?");
}

/* The greater part decides; of as many, what turns forward. */
static void a_gear_is_reversed_where_it_turns_the_output_against_the_others(void **state)
{
  (void)state;
  static const struct {
    int count, direction[3], reversed[3];
  } cases[] = {{2, {1, 1}, {0, 0}}, {2, {1, -1}, {0, 1}}, {3, {1, -1, -1}, {1, 0, 0}}, {3, {1, 1, -1}, {0, 0, 1}}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    struct sb_gearbox box = {.gear_count = cases[k].count};
    for (int g = 0; g < cases[k].count; g++) box.gears[g].output_direction = cases[k].direction[g];
    for (int g = 0; g < cases[k].count; g++) assert_int_equal(sb_gearbox_is_reversed(&box, g), cases[k].reversed[g]);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_compound_train_multiplies_its_ratios),
      cmocka_unit_test(a_loss_free_train_keeps_the_power),
      cmocka_unit_test(efficiencies_multiply_over_the_meshes),
      cmocka_unit_test(an_idler_turns_the_direction_and_leaves_the_ratio),
      cmocka_unit_test(an_internal_mesh_keeps_the_direction),
      cmocka_unit_test(the_longest_path_is_the_quotient_of_the_products),
      cmocka_unit_test(an_idler_and_a_reversed_motor_keep_the_output_direction),
      cmocka_unit_test(back_efficiency_is_as_forward_unless_given),
      cmocka_unit_test(back_efficiency_of_the_same_friction_both_ways_follows_from_the_efficiency),
      cmocka_unit_test(a_gear_is_found_by_its_whole_name),
      cmocka_unit_test(every_shifter_is_found_by_its_name),
      cmocka_unit_test(a_swing_arm_engages_by_turning_only),
      cmocka_unit_test(a_selector_engages_its_travel_time_after_the_command),
      cmocka_unit_test(a_clutch_joins_at_once_with_its_capacity),
      cmocka_unit_test(only_the_gears_that_there_are_are_derived),
      cmocka_unit_test(a_gear_is_chosen_by_its_name_and_counted_from_one),
      cmocka_unit_test(a_gear_is_reversed_where_it_turns_the_output_against_the_others),
  };
  return cmocka_run_group_tests_name("gearbox", tests, NULL, NULL);
}
