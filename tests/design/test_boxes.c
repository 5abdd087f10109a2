// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Boxes of whole wheels: published trains, and the number of boxes of small shelves against a brute force of the rules. Numbers of teeth are
 * whole and their products exact, so that ratios are exact to one division.
 */
#include <limits.h>
#include <math.h>
#include <string.h>

#include "design/boxes.h"
#include "design/design.h"
#include "design/words.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "shiftband/shifter.h"

static const double one_division = 2.3e-16;

static struct sb_shelf shelf_of(const int *teeth, int count, double module_m)
{
  struct sb_shelf shelf = {.is_present = true, .teeth_count = count, .module_m = module_m, .width_m = NAN};
  for (int k = 0; k < count; k++) {
    shelf.teeth[k] = teeth[k];
    shelf.stock[k] = INT_MAX;
  }
  return shelf;
}

/* ---- published values ---- */

/* Sharma, A Textbook of Production Engineering, example p. 790: module 2.5, 25/55, 29/51, 32/48 and 36/44 between one pair of axles 100 mm
 * apart turn 150 rpm into 68.18, 85.29, 100.00 and 122.73 rpm. */
static void pairs_of_one_sum_fit_between_the_same_axles(void **state)
{
  (void)state;
  const struct sb_box box = {.stages = 1, .speeds = 4, .last = {{25, 55}, {29, 51}, {32, 48}, {36, 44}}};
  const double rpm[] = {68.18, 85.29, 100.0, 122.73};
  for (int s = 0; s < 4; s++) assert_near(150.0 / sb_box_ratio(&box, s), rpm[s], 0.005); /* as printed */
  const double ends_m = 0.5 * 0.0025 * (25 + 2 + 55 + 2);
  assert_near_rel(sb_box_length_m(&box, 0.0025) - ends_m, 0.1, 1e-14);
}

/* Jindal, example 29-2 p. 751: constant mesh 23/47, then 20/50 or 33/37: 5.109 and 2.291; every sum is 70. */
static void a_shared_first_stage_multiplies_every_speed(void **state)
{
  (void)state;
  const struct sb_box box = {.stages = 2, .speeds = 2, .shared = {{23, 47}}, .last = {{20, 50}, {33, 37}}};
  assert_near(sb_box_ratio(&box, 0), 5.109, 0.0005);
  assert_near(sb_box_ratio(&box, 1), 2.291, 0.0005);
  assert_near_rel(sb_box_ratio(&box, 0), 47.0 * 50.0 / (23.0 * 20.0), one_division);
  assert_int_equal(sb_box_wheel_count(&box), 6);
  assert_int_equal(sb_box_mesh_count(&box, 1), 2);
  const struct sb_box three = {.stages = 3, .speeds = 1, .shared = {{12, 36}, {15, 60}}, .last = {{20, 30}}};
  assert_near_rel(sb_box_ratio(&three, 0), 3.0 * 4.0 * 1.5, one_division);
}

/* W. C. Foiles, Gear Frequencies Using the Euclidean Algorithm: 23/67 has no common divisor, 20/60 and 25/55 have. */
static void a_hunting_tooth_is_a_pair_without_common_divisor(void **state)
{
  (void)state;
  const struct sb_box box = {.stages = 1, .speeds = 4, .last = {{20, 60}, {23, 67}, {25, 55}, {22, 36}}};
  assert_int_equal(sb_box_hunting_teeth(&box), 1);
}

/* 2 / sin^2(20 deg) = 17.09726 (Bevan, The Theory of Machines, ex. 4 p. 334, rounds it to 18; common practice is 17); the least profile
 * shift 1 - z sin^2(20 deg) / 2 is 0.298133 for 12 teeth and 0.415111 for 10. */
static void few_teeth_are_warned_of_with_the_shift_that_cures_them(void **state)
{
  (void)state;
  const double sine = sin(20.0 * acos(-1.0) / 180.0);
  assert_near(2.0 / (sine * sine), 17.09726, 5e-6);
  assert_int_equal((int)floor(2.0 / (sine * sine)), SB_UNDERCUT_TEETH);
  struct sb_design design = {.candidate.box = {.stages = 1, .speeds = 1, .last = {{12, 36}}}};
  assert_non_null(strstr(sb_design_caution(&design).text, "at least 0.30 modules"));
  design.candidate.box.last[0][0] = 10;
  assert_non_null(strstr(sb_design_caution(&design).text, "at least 0.42 modules"));
  design.candidate.box.last[0][0] = 17;
  assert_string_equal(sb_design_caution(&design).text, "");
}

/* A motor on its line (Ts 1 N.m, w0 500 rad/s, Jm 1e-4) turns Jo 0.04 from rest to 20 rad/s in t = tau ln(1 / (1 - n W / w0)): least at
 * n 12.465123 with 0.1233794 s, while the ratio of equal inertias, 20, takes 0.1609438 s. */
static void the_ratio_of_least_time_is_not_that_of_equal_inertias(void **state)
{
  (void)state;
  static struct sb_model model;
  double best_s = INFINITY, best_ratio = NAN, matched_s = NAN;
  for (double ratio = 5.0; ratio < 24.0; ratio += 0.001) {
    memset(&model, 0, sizeof model);
    model.motor = (struct sb_motor){
        .nominal_voltage_v = 12.0, .no_load_speed_rad_s = 500.0, .stall_torque_nm = 1.0, .rotor_inertia_kg_m2 = 1e-4};
    model.supply.open_circuit_voltage_v = 12.0;
    model.drive.limit_fraction = 1.0;
    model.load.inertia_kg_m2 = 0.04;
    struct sb_gear *gear = &model.gearbox.gears[0];
    *gear = (struct sb_gear){
        .mesh_count = 1, .meshes = {{1.0, ratio, 1.0, true, 0, 0.0}}, .motor_direction = 1, .back_efficiency = NAN};
    model.gearbox.gear_count = 1;
    struct sb_error err;
    assert_int_equal(sb_motor_derive(&model.motor, &err), SB_OK);
    sb_gearbox_derive(&model.gearbox);
    const double tau_s = sb_model_derive(&model).time_constant_s[1];
    const double time_s = -tau_s * log(1.0 - ratio * 20.0 / 500.0);
    if (fabs(ratio - 20.0) < 5e-4) matched_s = time_s;
    if (time_s < best_s) {
      best_s = time_s;
      best_ratio = ratio;
    }
  }
  assert_near(best_ratio, 12.465123, 0.001); /* the step of the scan */
  assert_near(best_s, 0.1233794, 5e-8);
  assert_near(matched_s, 0.1609438, 1e-5);
}

/* 1 N.m at a wheel of 40 teeth of module 0.5 mm, 10 mm radius: 100 N; the mesh before it, 10/40, passes on a quarter, and its loss: 25 N / 0.9. */
static void the_load_of_a_tooth_is_the_torque_over_its_radius(void **state)
{
  (void)state;
  const int teeth[] = {10, 40};
  struct sb_shelf shelf = shelf_of(teeth, 2, 0.0005);
  const struct sb_box box = {.stages = 2, .speeds = 1, .shared = {{10, 40}}, .last = {{10, 40}}};
  assert_near_rel(sb_box_tooth_load_per_nm(&box, &shelf, 0.9).force_n, 100.0, 1e-14);
  const struct sb_box late = {.stages = 2, .speeds = 1, .shared = {{10, 10}}, .last = {{40, 40}}};
  assert_near_rel(sb_box_tooth_load_per_nm(&late, &shelf, 0.9).force_n, 400.0 / 0.9, 1e-14);
}

/* ---- counts against a brute force ---- */

enum { PAIR_MAX = 36 };

static int pairs[PAIR_MAX][2], pair_count;

static void list_pairs(const struct sb_shelf *shelf)
{
  pair_count = 0;
  for (int i = 0; i < shelf->teeth_count; i++) {
    for (int k = 0; k < shelf->teeth_count; k++, pair_count++) {
      pairs[pair_count][0] = shelf->teeth[i];
      pairs[pair_count][1] = shelf->teeth[k];
    }
  }
}

static int sum_of(int pair)
{
  return pairs[pair][0] + pairs[pair][1];
}

/* All ordered tuples of shared stages that are in order already: each multiset once. */
static long shared_by_force(int stages)
{
  long count = 0, tuples = 1;
  for (int k = 0; k < stages; k++) tuples *= pair_count;
  for (long tuple = 0; tuple < tuples; tuple++) {
    long rest = tuple;
    int last = -1;
    bool is_fine = true;
    for (int k = 0; k < stages; k++, rest /= pair_count) {
      const int pair = (int)(rest % pair_count);
      is_fine = is_fine && pair >= last && pairs[pair][0] < pairs[pair][1];
      last = pair;
    }
    count += is_fine;
  }
  return count;
}

/* All subsets of the pairs with that many members whose sums are near enough. */
static long plain_by_force(int speeds, int spread)
{
  long count = 0;
  for (long set = 0; set < 1L << pair_count; set++) {
    int members = 0, least = INT_MAX, most = 0;
    for (int p = 0; p < pair_count; p++) {
      if ((set >> p & 1) == 0) continue;
      members++;
      least = sum_of(p) < least ? sum_of(p) : least;
      most = sum_of(p) > most ? sum_of(p) : most;
    }
    count += members == speeds && most - least <= spread;
  }
  return count;
}

static long swing_by_force(const struct sb_shelf *shelf)
{
  long count = 0;
  for (int direct = 0; direct < pair_count; direct++) {
    for (int other = 0; other < pair_count; other++) {
      bool reaches = false;
      for (int k = 0; k < shelf->teeth_count; k++)
        reaches = reaches || sum_of(other) + 2 * shelf->teeth[k] >= sum_of(direct);
      count += reaches && sum_of(other) + 4 <= sum_of(direct);
    }
  }
  return count;
}

struct seen {
  long count;
  bool is_in_order;
};

static bool see(void *context, const struct sb_box *box)
{
  struct seen *seen = context;
  seen->count++;
  for (int s = 1; s < box->speeds; s++) {
    seen->is_in_order = seen->is_in_order && sb_box_ratio(box, s) <= sb_box_ratio(box, s - 1);
  }
  return true;
}

static void the_number_of_boxes_is_that_of_a_brute_force(void **state)
{
  (void)state;
  static const int shelves[][4] = {{10, 12, 14, 20}, {12, 13, 24, 36}, {15, 16, 17, 18}};
  for (int k = 0; k < 9; k++) {
    struct sb_shelf shelf = shelf_of(shelves[k / 3], 4, 0.001);
    const int spread = k % 3;
    shelf.tolerance_m = 0.0005 * spread;
    shelf.stages[0] = 1;
    shelf.stages[1] = 3;
    shelf.speeds[0] = 1;
    shelf.speeds[1] = 3;
    list_pairs(&shelf);
    long shared = 0, plain = 0;
    for (int n = 0; n < 3; n++) shared += shared_by_force(n);
    for (int s = 1; s <= 3; s++) plain += plain_by_force(s, spread);
    struct sb_box_plan *plan = sb_boxes_plan(&shelf, true, true);
    assert_non_null(plan);
    assert_near(sb_boxes_count(plan, false), (double)(shared * plain), 0.0);
    assert_near(sb_boxes_count(plan, true), (double)(shared * swing_by_force(&shelf)), 0.0);
    struct seen seen = {.is_in_order = true};
    for (long slice = 0; slice < sb_boxes_slice_count(plan); slice++) {
      const struct sb_box_slice own = sb_boxes_slice(plan, slice);
      sb_boxes_visit(plan, &own, see, &seen);
    }
    assert_int_equal(seen.count, shared * (plain + swing_by_force(&shelf)));
    assert_true(seen.is_in_order);
    sb_boxes_free(plan);
  }
}

static void stock_counts_every_wheel_of_a_box(void **state)
{
  (void)state;
  const int teeth[] = {12, 24, 36};
  struct sb_shelf shelf = shelf_of(teeth, 3, 0.001);
  const struct sb_box box = {.stages = 2, .speeds = 2, .shared = {{12, 36}}, .last = {{12, 36}, {24, 24}}, .idler = 12};
  shelf.stock[0] = 3; /* two drivers and the idler */
  shelf.stock[1] = 2;
  assert_true(sb_box_is_in_stock(&box, &shelf));
  shelf.stock[0] = 2;
  assert_false(sb_box_is_in_stock(&box, &shelf));
  shelf.stock[0] = 3;
  shelf.stock[1] = 1;
  assert_false(sb_box_is_in_stock(&box, &shelf));
  assert_int_equal(sb_box_wheel_count(&box), 7);
}

/* The smallest wheel that reaches both of its pair and has no fewer teeth than the smaller of them, else the greatest that reaches. */
static int idler_by_force(const struct sb_shelf *shelf, const int pair[2], const int direct[2])
{
  const int smaller = pair[0] < pair[1] ? pair[0] : pair[1];
  int least = INT_MAX, greatest = 0;
  for (int k = 0; k < shelf->teeth_count; k++) {
    const int teeth = shelf->teeth[k];
    if (pair[0] + pair[1] + 2 * teeth < direct[0] + direct[1]) continue;
    if (teeth >= smaller && teeth < least) least = teeth;
    if (teeth > greatest) greatest = teeth;
  }
  return least < INT_MAX ? least : greatest;
}

static bool see_idler(void *context, const struct sb_box *box)
{
  const struct sb_shelf *shelf = context;
  if (box->idler == 0) return true;
  const int *pair = box->last[box->idler_speed], *direct = box->last[1 - box->idler_speed];
  assert_int_equal(box->idler, idler_by_force(shelf, pair, direct));
  assert_int_equal(sb_box_mesh_count(box, box->idler_speed), box->stages + 1);
  assert_int_equal(sb_box_mesh_count(box, 1 - box->idler_speed), box->stages);
  return true;
}

static void an_idler_is_the_smallest_that_reaches_and_is_no_weaker(void **state)
{
  (void)state;
  static const int shelves[][5] = {{10, 12, 14, 20, 30}, {12, 13, 24, 36, 50}, {15, 16, 17, 18, 60}};
  for (int k = 0; k < 3; k++) {
    struct sb_shelf shelf = shelf_of(shelves[k], 5, 0.001);
    shelf.stages[0] = shelf.stages[1] = 1;
    shelf.speeds[0] = shelf.speeds[1] = 2;
    struct sb_box_plan *plan = sb_boxes_plan(&shelf, false, true);
    assert_non_null(plan);
    for (long slice = 0; slice < sb_boxes_slice_count(plan); slice++) {
      const struct sb_box_slice own = sb_boxes_slice(plan, slice);
      sb_boxes_visit(plan, &own, see_idler, &shelf);
    }
    sb_boxes_free(plan);
  }
}

/* Lewis: a tooth carries bending x width x module x Y / safety. Y is 0.245 for 12 teeth, 0.322 for 20 (Shigley, Mechanical Engineering
 * Design, table 14-2): the wheel of fewer teeth is the weaker one. 1 N.m at a wheel of 20 teeth of module 0.5 mm is 200 N. */
static void a_tooth_carries_what_the_weaker_wheel_does(void **state)
{
  (void)state;
  const int teeth[] = {12, 20};
  struct sb_shelf shelf = shelf_of(teeth, 2, 0.0005);
  shelf.width_m = 0.004;
  shelf.bending_pa = 30e6;
  shelf.safety = 2.0;
  const double per_y = 30e6 * 0.004 * 0.0005 / 2.0;
  const struct sb_box up = {.stages = 1, .speeds = 1, .last = {{12, 20}}},
                      even = {.stages = 1, .speeds = 1, .last = {{20, 20}}};
  assert_near_rel(sb_box_tooth_load_per_nm(&up, &shelf, 0.9).fraction, 200.0 / (per_y * 0.245), 1e-12);
  assert_near_rel(sb_box_tooth_load_per_nm(&even, &shelf, 0.9).fraction, 200.0 / (per_y * 0.322), 1e-12);
}

static void a_tooth_load_is_less_only_beyond_roundings(void **state)
{
  (void)state;
  const struct sb_tooth_load none = {0.0, NAN}, light = {10.0, 0.2}, same = {11.0, 0.2 * (1.0 - 1e-14)},
                             strong = {10.0, 0.1};
  assert_false(sb_box_tooth_load_is_less(&none, &none));
  assert_true(sb_box_tooth_load_is_less(&none, &light));
  assert_false(sb_box_tooth_load_is_less(&same, &light));
  assert_true(sb_box_tooth_load_is_less(&strong, &light));
  assert_false(sb_box_tooth_load_is_less(&light, &strong));
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(pairs_of_one_sum_fit_between_the_same_axles),
      cmocka_unit_test(a_shared_first_stage_multiplies_every_speed),
      cmocka_unit_test(a_hunting_tooth_is_a_pair_without_common_divisor),
      cmocka_unit_test(few_teeth_are_warned_of_with_the_shift_that_cures_them),
      cmocka_unit_test(the_ratio_of_least_time_is_not_that_of_equal_inertias),
      cmocka_unit_test(the_load_of_a_tooth_is_the_torque_over_its_radius),
      cmocka_unit_test(the_number_of_boxes_is_that_of_a_brute_force),
      cmocka_unit_test(stock_counts_every_wheel_of_a_box),
      cmocka_unit_test(an_idler_is_the_smallest_that_reaches_and_is_no_weaker),
      cmocka_unit_test(a_tooth_carries_what_the_weaker_wheel_does),
      cmocka_unit_test(a_tooth_load_is_less_only_beyond_roundings),
  };
  return cmocka_run_group_tests_name("boxes", tests, NULL, NULL);
}
