// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The plane for every load says at each point what `prove` says there, and the swing that it says: on random machines, at random points
 * and where the verdict changes from a point to the next. SB_ANY_LOAD_MACHINES in the environment tries more of them.
 */
#include <gsl/gsl_randist.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/answer.h"
#include "prove/any_load.h"
#include "prove/any_load_lines.h"
#include "prove/any_load_point.h"
#include "prove/any_load_report.h"

static struct sb_model tried; /* large, hence not on the stack */
static struct sb_prove prove;
static long compared[SB_ANY_LOAD_CLASS_COUNT], swings, by_sets;

/* A machine that is told by rows and columns; every other one under loads that can stall it, with a limit of its own for that. */
static void draw_machine(gsl_rng *dice, int machine)
{
  do {
    tried = proof_random(dice);
  } while (!sb_any_load_is_quick(&tried));
  if (machine % 2 == 0) return;
  tried.load.bounds.greatest_nm *= gsl_ran_flat(dice, 1.0, 2.5);
  tried.limits.stall_time_s = gsl_ran_flat(dice, 0.05, 0.6);
}

static const char *class_at(const struct sb_any_load_point *point)
{
  return sb_any_load_words(point->class);
}

/* The same to 1e-6 of the heaviest load, which is as near as `prove` seeks; bounded by the loads that there are. */
static void expect_same_swing(const struct sb_any_load_point *point, int machine)
{
  const double swing = prove.bounds[SB_PROVE_SWING];
  if (!isfinite(swing) || point->is_by_sets || prove.outside != NULL) return;
  if (point->high_nm > prove.heaviest_nm || point->low_nm < prove.lightest_nm) return;
  swings++;
  if (fabs(sb_any_load_swing_nm(point) - swing) > 1e-6 * fabs(prove.heaviest_nm))
    fail_msg("machine %d: a swing of %.9g, by prove %.9g", machine, sb_any_load_swing_nm(point), swing);
}

/* `prove` tells constant loads from a swing of a thousandth of the bounds on; the plane's closed forms do so from less on. */
static bool is_too_fine_for_prove(void)
{
  const double swing = prove.bounds[SB_PROVE_SWING];
  return prove.statements[SB_PROVE_CONSTANT] == SB_PROOF_UNDECIDED && swing > 0.0 &&
         swing < 1e-3 * (prove.heaviest_nm - prove.lightest_nm);
}

/* A swing arm's shift is cut into cells here and in the plane, each in its own way: the same to a tenth. */
static void expect_same_standing(const struct sb_any_load_point *point, int machine)
{
  const double bound_s = prove.bounds[SB_PROVE_STANDING];
  const double slack = tried.shifter.ops->is_direction_selected ? 0.1 : 1e-9;
  if (!(fabs(point->standing_s - bound_s) <= slack * bound_s))
    fail_msg("machine %d: stands for %.9g s, by prove %.9g s", machine, point->standing_s, bound_s);
}

/* A standstill that is too long on the slowest course is one; `prove` needs a run to say so. */
static void expect_same(const struct sb_any_load_point *point, double downshift, double upshift, int machine)
{
  struct sb_error err;
  struct sb_model varied = tried;
  varied.control.downshift_fraction[0] = downshift;
  varied.control.upshift_fraction[0] = upshift;
  assert_int_equal(sb_prove_solve_sharply(&varied, &prove, &err), SB_OK);
  if (!point->is_by_sets && is_too_fine_for_prove()) prove.statements[SB_PROVE_CONSTANT] = SB_PROOF_PROVED;
  const enum sb_any_load_class class = sb_any_load_class_of(&prove);
  if (class != point->class)
    fail_msg("machine %d (%s) at %.4f/%.4f: %s, by prove %s %s", machine, varied.shifter.ops->name, downshift, upshift,
             class_at(point), sb_any_load_words(class), prove.outside != NULL ? prove.outside : "");
  if (class == SB_ANY_LOAD_STALLS && !point->is_by_sets && isfinite(point->standing_s))
    expect_same_standing(point, machine);
  compared[class]++;
  by_sets += point->is_by_sets;
  expect_same_swing(point, machine);
}

static void try_random_points(gsl_rng *dice, int machine, int count)
{
  for (int k = 0; k < count; k++) {
    const double downshift = gsl_ran_flat(dice, 0.02, 0.95), upshift = gsl_ran_flat(dice, downshift + 0.01, 1.05);
    struct sb_any_load_point point;
    struct sb_error err;
    assert_int_equal(sb_any_load_look_at(&tried, 0, downshift, upshift, &point, &err), SB_OK);
    expect_same(&point, downshift, upshift, machine);
  }
}

/* Points of a column whose neighbour comes to something else. */
static void try_borders(gsl_rng *dice, int machine, int count)
{
  for (int n = 0, tries = 0; n < count && tries < 4 * count; tries++) {
    const double upshift = gsl_ran_flat(dice, 0.1, 1.05);
    const struct sb_map_axis downshift = {0.01, 0.01, (int)fmin(floor(100.0 * upshift) - 1.0, 98.0)};
    const struct sb_any_load_options options = {.downshift = downshift, .upshift = {upshift, 0.01, 1}, .jobs = 1};
    struct sb_any_load column;
    struct sb_error err;
    assert_int_equal(sb_any_load_solve(&tried, &options, &column, &err), SB_OK);
    for (int i = 0; i + 1 < downshift.count && n < count; i++) {
      if (column.points[i].class == column.points[i + 1].class) continue;
      expect_same(&column.points[i], sb_map_axis_at(&downshift, i), upshift, machine);
      n++;
    }
    sb_any_load_clear(&column);
  }
}

static void a_plane_says_what_prove_says_at_its_points(void **state)
{
  (void)state;
  const char *asked = getenv("SB_ANY_LOAD_MACHINES");
  const int machines = asked != NULL ? atoi(asked) : IS_SLOW ? 4 : 24;
  gsl_rng *dice = dice_of(1401);
  for (int k = 0; k < machines; k++) {
    draw_machine(dice, k);
    const int count = tried.shifter.ops->is_direction_selected ? 1 : 5; /* `prove` takes longer over a swing arm */
    try_random_points(dice, k, count);
    try_borders(dice, k, count);
  }
  gsl_rng_free(dice);
  long points = 0;
  for (int k = 0; k < SB_ANY_LOAD_CLASS_COUNT; k++) points += compared[k];
  printf("any-load: %d machines, %ld points, %ld swings, %ld by sets\n", machines, points, swings, by_sets);
  if (IS_SLOW) return;
  /* All verdicts came up, and few points had to be left to the sets. */
  for (int k = 0; k < SB_ANY_LOAD_CLASS_COUNT; k++) {
    if (k != SB_ANY_LOAD_UNDECIDED) assert_true(compared[k] >= 5);
  }
  assert_true(swings >= 20);
  assert_true(3 * by_sets < 5 * machines);
}

/* Closed forms: HA and LB are the loads at which the faster gear is held at d, the slower one at u, where the dwell is long. */
static void the_swing_is_that_of_the_closed_forms(void **state)
{
  (void)state;
  struct sb_any_load_point point;
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  assert_int_equal(sb_any_load_look_at(&tried, 0, proof_down, proof_up, &point, &err), SB_OK);
  const double k_slow = 10.0 * 0.95 * 0.95 * 0.95, k_fast = 4.0 * 0.95 * 0.95;
  assert_near(point.high_nm, (1.0 - proof_down) * proof_stall * k_fast, 1e-6);
  assert_near(point.low_nm, (1.0 - proof_up) * proof_stall * k_slow, 1e-6);
  assert_near(sb_any_load_swing_nm(&point), 0.304594, 5e-7);
  assert_int_equal(point.class, SB_ANY_LOAD_PROVED);
  assert_false(point.is_by_sets);
}

/* With the steady states of the slower gear at the lightest load, 0.96760 of the reference, and of the faster at the heaviest, 0.46137. */
static void expect_borders(double start_rad_s)
{
  struct sb_any_load plane;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.455, 0.001, 14}, .upshift = {0.95, 0.001, 30}, .jobs = 2};
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.run.initial_output_speed_rad_s = start_rad_s;
  tried.control.start_delay_s = start_rad_s > 0.0 ? tried.control.sample_period_s : 0.6;
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  for (int i = 0; i < 14; i++) {
    for (int j = 0; j < 30; j++) {
      const bool is_low = sb_map_axis_at(&options.upshift, j) > 0.96760;
      const bool is_used = sb_map_axis_at(&options.downshift, i) > 0.46137;
      const enum sb_any_load_class expected = !is_used ? SB_ANY_LOAD_NEVER_SHIFTS
                                              : is_low ? SB_ANY_LOAD_STUCK_LOW
                                                       : SB_ANY_LOAD_PROVED;
      assert_int_equal(sb_any_load_at(&plane, i, j)->class, expected);
    }
  }
  sb_any_load_clear(&plane);
}

static void borders_lie_at_the_steady_states(void **state)
{
  (void)state;
  expect_borders(0.0);
  expect_borders(proof_w0 / 4.0); /* the faster gear starts at full speed, and only the load can bring it down */
}

/* Readings come in steps of 5 %: those steady states are read as 0.95 and 0.45, and thresholds between two readings are the same. */
static void borders_lie_between_rounded_readings(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.405, 0.01, 12}, .upshift = {0.905, 0.01, 10}, .jobs = 2};
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.control.sensor.resolution_fraction = 0.05;
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  for (int i = 0; i < 12; i++) {
    for (int j = 0; j < 10; j++) {
      const enum sb_any_load_class expected = sb_map_axis_at(&options.downshift, i) < 0.45 ? SB_ANY_LOAD_NEVER_SHIFTS
                                              : sb_map_axis_at(&options.upshift, j) > 0.95 ? SB_ANY_LOAD_STUCK_LOW
                                                                                           : SB_ANY_LOAD_PROVED;
      assert_int_equal(sb_any_load_at(&plane, i, j)->class, expected);
    }
  }
  sb_any_load_clear(&plane);
}

/* After a shift at one of these thresholds a constant load brings the opposite command while the gear still runs up or down; but it
 * leads to a speed from where the next command no longer comes, so nothing goes on for ever. */
static void what_comes_once_is_no_hunting(void **state)
{
  (void)state;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 223.138, 1.25435, 0.000336597);
  model_add_gear(&model, 15.8, 0.71123, false)->back_efficiency = 0.47878;
  model_add_gear(&model, 6.0, 0.96242, false)->back_efficiency = 0.73974;
  model_drive_forward(&model);
  model_set_shifter(&model, "clutch");
  model.shifter.clutch_nm = 0.87413;
  model.shifter.timeout_s = 3.0;
  model.load.inertia_kg_m2 = 0.047755;
  model.load.bounds = (struct sb_load_bounds){SB_BOUNDS_RESISTS, 1.4208, 3.6146, INFINITY};
  model.control.start_gear = 2;
  model.control.sample_period_s = 0.01;
  model.control.start_delay_s = 0.5412;
  model.control.dwell_s = 0.41466;
  model.control.debounce_count = 2;
  model_finish(&model);
  tried = model;
  struct sb_any_load_point point;
  struct sb_error err;
  const double downshift = 0.450133, upshift = 0.517525;
  assert_int_equal(sb_any_load_look_at(&tried, 0, downshift, upshift, &point, &err), SB_OK);
  assert_true(point.is_by_sets && point.class != SB_ANY_LOAD_HUNTS);
  expect_same(&point, downshift, upshift, 0);
}

/* Commands follow so soon after a shift that the speed has not come near its steady state yet: the motor is far from the threshold at 0.2 s
 * or less. At 74/92 % a load of 0.3 N.m lets the slower gear come to 96 %, so each downshift brings an upshift, sooner or later. At
 * 86/97 % some loads bring an upshift just after a downshift at 86 %, but not after those from farther below. */
static void what_follows_before_the_speed_settles(void **state)
{
  (void)state;
  static const double dwells_s[] = {0.14, 0.2}, greatest_nm[] = {8.0, 4.0};
  static const double thresholds[][2] = {{0.74, 0.92}, {0.86, 0.97}};
  static const bool is_by_sets[] = {false, true};
  static const enum sb_any_load_class classes[] = {SB_ANY_LOAD_HUNTS, SB_ANY_LOAD_STUCK_LOW};
  for (int k = 0; k < 2; k++) {
    struct sb_any_load_point point;
    struct sb_error err;
    tried = proof_machine("selector", 0.95, dwells_s[k], k == 0 ? 0.0 : 0.25, greatest_nm[k]);
    assert_int_equal(sb_any_load_look_at(&tried, 0, thresholds[k][0], thresholds[k][1], &point, &err), SB_OK);
    assert_int_equal(point.class, classes[k]);
    assert_int_equal(point.is_by_sets, is_by_sets[k]);
    expect_same(&point, thresholds[k][0], thresholds[k][1], k);
  }
}

/* The heaviest load turns the drum back while the selector is in neutral, so far that the slower gear joins it turning backwards; but
 * that gear turns it forward again under every load, so none holds it at rest. What stands for longest is the faster gear. */
static void what_the_slower_gear_turns_forward_again_does_not_stand(void **state)
{
  (void)state;
  static const double thresholds[][2] = {{0.44, 0.705452155}, {0.46, 0.716935963}, {0.24, 0.598526661}};
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 256.459983, 0.983445834, 0.00010433859);
  model_add_gear(&model, 16.1, 0.724028648, false)->back_efficiency = 0.662338407;
  model_add_gear(&model, 7.3, 0.85528765, false)->back_efficiency = 0.95545475;
  model_drive_forward(&model);
  model.shifter.ops = sb_shifter_kind_find("selector");
  model.shifter.travel_time_s = 0.0591772435;
  model.shifter.timeout_s = 3.0;
  model.load.inertia_kg_m2 = 0.0276542279;
  model.load.bounds = (struct sb_load_bounds){SB_BOUNDS_ACTS, 2.61274027, 7.40961038, INFINITY};
  model.control.start_gear = 2;
  model.control.sample_period_s = 0.02;
  model.control.start_delay_s = 0.386030197;
  model.control.dwell_s = 0.905692565;
  model.control.debounce_count = 1;
  model.limits.stall_time_s = 0.117909573;
  model_finish(&model);
  tried = model;
  const double travel_s = 0.0591772435, sample_s = 0.02, decided_s = 46.0 * sample_s; /* the dwell in whole samples */
  for (int k = 0; k < 3; k++) {
    struct sb_any_load_point point;
    struct sb_error err;
    assert_int_equal(sb_any_load_look_at(&tried, 0, thresholds[k][0], thresholds[k][1], &point, &err), SB_OK);
    assert_false(point.is_by_sets);
    expect_same(&point, thresholds[k][0], thresholds[k][1], k);
    assert_int_equal(point.class, SB_ANY_LOAD_STALLS);
    assert_true(prove.bounds[SB_PROVE_STANDING] < decided_s - travel_s - 0.005);
  }
}

/* The sheets of a swing arm: one is under the lightest load and one under the heaviest, like the grid, the others evenly between. */
static void sheets_lie_evenly_over_the_bounds(void **state)
{
  (void)state;
  static const struct sb_map_axis point = {0.5, 0.1, 1};
  struct sb_any_lines *lines = calloc(1, sizeof *lines);
  struct sb_edges edges;
  struct sb_error err;
  const int last = SB_ANY_SHEETS_MAX - 1;
  tried = proof_machine("swing arm", 0.95, 0.2, 0.25, 1.75);
  assert_non_null(lines);
  assert_int_equal(sb_edge_init(&edges, &tried, &err), SB_OK);
  assert_int_equal(sb_any_lines_init(lines, &edges, &point, &point, &err), SB_OK);
  assert_int_equal(sb_any_lines_lay_sheets(lines, &edges, &err), SB_OK);
  const struct sb_any_grid *grid = &lines->grid;
  const struct sb_any_sheets *sheets = &lines->sheets;
  assert_int_equal(sheets->count, SB_ANY_SHEETS_MAX);
  for (int k = 0; k <= last; k++) assert_near(sheets->load_nm[k], 0.25 + 0.1 * k, 1e-12);
  for (int i = 0; i < grid->count; i++) {
    if (isfinite(grid->up_last_rad_s[i]))
      assert_near(sheets->up_last_rad_s[last][i], grid->up_last_rad_s[i], 1e-9 * proof_w0);
    if (isfinite(grid->down_last_rad_s[i]))
      assert_near(sheets->down_last_rad_s[0][i], grid->down_last_rad_s[i], 1e-9 * proof_w0);
  }
  assert_true(isfinite(grid->up_last_rad_s[grid->count - 1]) && isfinite(grid->down_last_rad_s[grid->count - 1]));
  assert_near(edges.load.resisting_nm[0], 0.25, 0.0); /* what was bound before is so again */
  assert_near(edges.load.resisting_nm[1], 1.75, 0.0);
  sb_any_lines_clear(lines);
  sb_edge_clear(&edges);
  free(lines);
}

/* A plane of many points answers out of a swing arm's sheets what single points calculate each for itself. */
static void a_whole_plane_says_what_its_points_say_alone(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.02, 0.02, 48}, .upshift = {0.03, 0.02, 50}, .jobs = 2};
  int proved = 0;
  tried = proof_machine("swing arm", 0.95, 0.2, 0.25, 1.75);
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  for (int k = 0; k < 48 * 50; k += IS_SLOW ? 31 : 23) {
    const double downshift = sb_map_axis_at(&options.downshift, k / 50);
    const double upshift = sb_map_axis_at(&options.upshift, k % 50);
    struct sb_any_load_point point;
    if (!(downshift < upshift)) continue;
    assert_int_equal(sb_any_load_look_at(&tried, 0, downshift, upshift, &point, &err), SB_OK);
    assert_int_equal(plane.points[k].class, point.class);
    assert_true(plane.points[k].is_by_sets == point.is_by_sets || point.is_by_sets);
    if (!point.is_by_sets && isfinite(point.high_nm)) assert_near(plane.points[k].high_nm, point.high_nm, 1e-9);
    proved += point.class == SB_ANY_LOAD_PROVED || point.class == SB_ANY_LOAD_STALLS;
  }
  assert_true(proved >= 2);
  sb_any_load_clear(&plane);
}

/* ---- a swing arm's points by hand ---- */

/* One point of a swing arm, with its row, its column and its grid. */
struct arm {
  struct sb_any_lines *lines; /* large, hence not on the stack */
  struct sb_edges edges;
};

static void lay_arm(struct arm *arm, double swing_turns, int debounce, double downshift, double upshift)
{
  const struct sb_map_axis down = {downshift, 0.1, 1}, up = {upshift, 0.1, 1};
  struct sb_error err;
  tried.shifter.swing_turns = swing_turns;
  tried.control.debounce_count = debounce;
  model_finish(&tried);
  arm->lines = calloc(1, sizeof *arm->lines);
  assert_non_null(arm->lines);
  assert_int_equal(sb_edge_init(&arm->edges, &tried, &err), SB_OK);
  assert_int_equal(sb_any_lines_init(arm->lines, &arm->edges, &down, &up, &err), SB_OK);
}

static void clear_arm(struct arm *arm)
{
  sb_any_lines_clear(arm->lines);
  sb_edge_clear(&arm->edges);
  free(arm->lines);
}

static bool is_decided(struct arm *arm, struct sb_any_load_point *point)
{
  return sb_any_point_decide(arm->lines, &arm->edges, arm->lines->rows, arm->lines->columns, point);
}

/* Under a constant load, at the sample that decides at the earliest. */
static double arrived_rad_s(struct arm *arm, double load_nm, int gear, double speed_rad_s)
{
  const struct sb_edge_load load = sb_any_constant(arm->lines, load_nm);
  sb_edge_bind(&arm->edges, &load);
  const struct sb_corner from = sb_edge_corner(&arm->edges, gear, speed_rad_s);
  return sb_edge_pass(&arm->edges, SB_EDGE_SLOW, gear, 1 - gear, &from, arm->lines->last).corner.motor_rad_s;
}

/* In the middle of the loads that may hunt the faster gear comes down at once from the upshift threshold, but from a little more
 * the arm takes longer than the dwell, and the motor turns free at that sample. The loads between bring no verdict from the threshold alone. */
static void what_an_arm_does_from_the_threshold_is_not_what_it_does_beyond(void **state)
{
  (void)state;
  struct arm arm;
  struct sb_any_load_point point;
  tried = proof_machine("swing arm", 0.95, 0.16, 0.25, 1.75);
  lay_arm(&arm, 0.8, 1, 0.5, 0.9);
  assert_false(is_decided(&arm, &point));
  assert_true(point.high_nm < 0.25 && point.low_nm > 0.75);
  const double middle_nm = 0.5 * (0.25 + point.low_nm), waited_rad_s = 0.92 * proof_w0;
  assert_true(arm.lines->columns->risen_rad_s > waited_rad_s);
  assert_true(arrived_rad_s(&arm, middle_nm, 0, 0.9 * proof_w0) < 0.5 * proof_w0);
  assert_true(arrived_rad_s(&arm, middle_nm, 0, waited_rad_s) > 0.99 * proof_w0);
  clear_arm(&arm);
}

/* HA is hardly above LB, and at the load between no command brings the next one, from the thresholds on as far as commands come:
 * what is farther has no say. */
static void commands_count_as_far_as_they_come(void **state)
{
  (void)state;
  struct arm arm;
  struct sb_any_load_point point;
  tried = proof_machine("swing arm", 0.95, 0.12, 0.25, 1.75);
  lay_arm(&arm, 0.2, 1, 0.75, 0.95);
  assert_true(is_decided(&arm, &point));
  assert_int_equal(point.class, SB_ANY_LOAD_PROVED);
  assert_true(point.high_nm > point.low_nm && point.high_nm < 1.1 * point.low_nm);
  const double middle_nm = 0.5 * (point.high_nm + point.low_nm), down = 0.75 * proof_w0, up = 0.95 * proof_w0;
  const double fallen = fmin(arm.lines->rows->fallen_rad_s, arm.lines->columns->last_rad_s);
  const double risen = fmax(arm.lines->columns->risen_rad_s, arm.lines->rows->last_rad_s);
  for (int k = 0; k <= 100; k++) {
    assert_true(arrived_rad_s(&arm, middle_nm, 0, up + 0.01 * k * (risen - up)) > down);
    assert_true(arrived_rad_s(&arm, middle_nm, 1, fallen + 0.01 * k * (down - fallen)) < up);
  }
  clear_arm(&arm);
  expect_same(&point, 0.75, 0.95, 0);
}

/* A sheet ends the doubt only where neither an upshift leads below the downshift threshold, at 9 rad/s, nor a downshift above the
 * upshift threshold, at 30.6 rad/s; and only at a load at which the slower gear stays below that and the faster one above. */
static void a_sheet_tells_by_both_commands(void **state)
{
  (void)state;
  static const struct {
    double load_nm, up_rad_s, down_rad_s;
    bool is_decided;
  } cases[] = {{1.8, 9.1, 30.5, true},  {1.8, 8.9, 30.5, false}, {1.8, 9.1, 30.7, false},
               {1.8, 8.9, 30.7, false}, {1.1, 9.1, 30.5, false}, {2.5, 9.1, 30.5, false}};
  struct arm arm;
  struct sb_any_load_point point;
  tried = proof_machine("swing arm", 0.95, 0.16, 0.25, 2.5);
  lay_arm(&arm, 0.8, 1, 0.25, 0.85);
  struct sb_any_sheets *sheets = &arm.lines->sheets;
  assert_false(is_decided(&arm, &point));
  for (size_t n = 0; n < sizeof cases / sizeof *cases; n++) {
    sheets->count = 1;
    sheets->load_nm[0] = cases[n].load_nm;
    for (int i = 0; i < arm.lines->grid.count; i++) {
      sheets->up_last_rad_s[0][i] = cases[n].up_rad_s;
      sheets->down_last_rad_s[0][i] = cases[n].down_rad_s;
    }
    assert_int_equal(is_decided(&arm, &point), cases[n].is_decided);
  }
  clear_arm(&arm);
}

/* The longest standstill after either shift from any speed of the grid counts, but none lasts longer than the six samples of the dwell. */
static void an_arm_stands_as_long_as_after_the_worse_shift(void **state)
{
  (void)state;
  static const struct {
    double up_s, down_s, longest_s;
  } cases[] = {{0.02, 0.11, 0.11}, {0.11, 0.02, 0.11}, {0.02, 0.5, 0.12}, {0.5, 0.02, 0.12}};
  struct arm arm;
  struct sb_any_load_point point;
  tried = proof_machine("swing arm", 0.95, 0.12, 0.25, 1.75);
  tried.limits.stall_time_s = 1.0;
  lay_arm(&arm, 0.2, 1, 0.75, 0.95);
  assert_true(fmax(arm.lines->rows->standing_s, arm.lines->columns->standing_s) < 0.11);
  for (size_t n = 0; n < sizeof cases / sizeof *cases; n++) {
    for (int i = 0; i < arm.lines->grid.count; i++) {
      arm.lines->grid.up_standing_s[i] = cases[n].up_s;
      arm.lines->grid.down_standing_s[i] = cases[n].down_s;
    }
    assert_true(is_decided(&arm, &point));
    assert_near(point.standing_s, cases[n].longest_s, 1e-12);
  }
  clear_arm(&arm);
}

/* An arm that may take longer than the dwell leaves open how far its commands come: that point is the sets' too, and no failure. */
static void an_arm_that_may_engage_too_late_is_left_to_the_sets(void **state)
{
  (void)state;
  struct arm arm;
  struct sb_any_load_point point;
  tried = proof_machine("swing arm", 0.95, 0.16, 0.25, 1.75);
  lay_arm(&arm, 0.8, 3, 0.5, 0.9);
  assert_false(is_decided(&arm, &point));
  assert_int_equal(arm.edges.status, SB_OK);
  clear_arm(&arm);
}

static void expect_margin(const struct sb_any_load_own *own, enum sb_map_direction direction, double first_fraction,
                          double fraction, enum sb_any_load_class class)
{
  const struct sb_any_load_margin *margin = &own->margins[direction];
  assert_true(margin->changes);
  assert_near(margin->first_fraction, first_fraction, 1e-9);
  assert_near(margin->fraction, fraction, 1e-9);
  assert_int_equal(margin->class, class);
}

/* From 55/85 % in steps of 0.5 %. Down to the faster gear's steady state under the heaviest load, 46.137 %, and up to the slower one's under
 * the lightest, 96.760 %. Toward each other to where HA = LB: d where (1 - d) k_fast = 0.15 k_slow, 64.37 %, u where
 * 0.45 k_fast = (1 - u) k_slow, 81.05 %. */
static void the_way_to_another_verdict_is_that_to_the_borders(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_any_load_own own;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.5, 0.005, 3}, .upshift = {0.8, 0.005, 3}, .jobs = 1};
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  assert_int_equal(sb_any_load_look_around(&plane, &own, &err), SB_OK);
  assert_int_equal(own.point.class, SB_ANY_LOAD_PROVED);
  assert_near(own.downshift_fraction, proof_down, 0.0);
  assert_near(own.upshift_fraction, proof_up, 0.0);
  expect_margin(&own, SB_MAP_DOWN_LOWER, 0.46, 0.09, SB_ANY_LOAD_NEVER_SHIFTS);
  expect_margin(&own, SB_MAP_DOWN_HIGHER, 0.645, 0.095, SB_ANY_LOAD_HUNTS);
  expect_margin(&own, SB_MAP_UP_LOWER, 0.81, 0.04, SB_ANY_LOAD_HUNTS);
  expect_margin(&own, SB_MAP_UP_HIGHER, 0.97, 0.12, SB_ANY_LOAD_STUCK_LOW);
  sb_any_load_clear(&plane);
}

/* The faster gear comes down to 55.37 % at most: from 55 % down nothing changes, as far as the lattice goes. */
static void a_way_without_another_verdict_goes_to_the_lattice_end(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_any_load_own own;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.5, 0.005, 1}, .upshift = {0.8, 0.005, 1}, .jobs = 1};
  tried = proof_machine("selector", 0.95, 1.5, 1.2, 1.45);
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  assert_int_equal(sb_any_load_look_around(&plane, &own, &err), SB_OK);
  assert_int_equal(own.point.class, SB_ANY_LOAD_NEVER_SHIFTS);
  const struct sb_any_load_margin *margin = &own.margins[SB_MAP_DOWN_LOWER];
  assert_false(margin->changes);
  assert_true(isnan(margin->first_fraction));
  assert_near(margin->fraction, 0.545, 1e-9);
  assert_int_equal(margin->class, SB_ANY_LOAD_NEVER_SHIFTS);
  sb_any_load_clear(&plane);
}

/* Only points whose downshift threshold is below the upshift threshold count: 50/55, 50/65 and 60/65 %. A filter leaves all to the sets. */
static void shares_count_the_points_of_a_plane(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_error err;
  const struct sb_any_load_options options = {.downshift = {0.5, 0.1, 3}, .upshift = {0.55, 0.1, 2}, .jobs = 1};
  for (int is_filtered = 0; is_filtered < 2; is_filtered++) {
    long classes[SB_ANY_LOAD_CLASS_COUNT] = {0};
    tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
    tried.control.sensor.filter_s = is_filtered ? 0.05 : 0.0;
    assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
    const struct sb_any_load_shares shares = sb_any_load_shares(&plane);
    classes[sb_any_load_at(&plane, 0, 0)->class]++;
    classes[sb_any_load_at(&plane, 0, 1)->class]++;
    classes[sb_any_load_at(&plane, 1, 1)->class]++;
    assert_int_equal(shares.points, 3);
    assert_int_equal(shares.by_sets, is_filtered ? 3 : 0);
    assert_memory_equal(shares.classes, classes, sizeof classes);
    sb_any_load_clear(&plane);
  }
}

static char *csv_with(int jobs, size_t *length)
{
  struct sb_any_load plane;
  struct sb_error err;
  char *text = NULL;
  struct sb_any_load_options options;
  assert_int_equal(sb_any_load_options_default(&tried, &options, &err), SB_OK);
  options.jobs = jobs;
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_OK);
  FILE *out = open_memstream(&text, length);
  assert_non_null(out);
  assert_int_equal(sb_any_load_write_csv(out, &plane), 0);
  fclose(out);
  sb_any_load_clear(&plane);
  return text;
}

static void the_number_of_threads_changes_no_byte(void **state)
{
  (void)state;
  size_t lengths[2];
  tried = proof_machine("selector", 0.95, 0.2, 0.25, 1.75);
  char *one = csv_with(1, &lengths[0]), *two = csv_with(3, &lengths[1]);
  assert_true(lengths[0] > 1000);
  assert_string_equal(one, two);
  free(one);
  free(two);
}

static void a_plane_that_is_stopped_says_so(void **state)
{
  (void)state;
  struct sb_any_load plane;
  struct sb_error err;
  const volatile sig_atomic_t stop = 1;
  const struct sb_any_load_options options = {
      .downshift = {0.5, 0.1, 2}, .upshift = {0.8, 0.1, 2}, .jobs = 1, .stop = &stop};
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  assert_int_equal(sb_any_load_solve(&tried, &options, &plane, &err), SB_ERR_STOPPED);
  assert_string_equal(err.text, "stopped");
}

static void a_key_outside_the_class_is_named(void **state)
{
  (void)state;
  struct sb_any_load_point point;
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.drive.ramp_s = 0.5;
  assert_int_equal(sb_any_load_look_at(&tried, 0, proof_down, proof_up, &point, &err), SB_ERR_SCENARIO);
  assert_string_equal(err.text, "drive.ramp: nothing can be proved for every load: the duty changes with time");
}

/* A rate of the load is not looked at: what is proved holds, the rest is undecided. */
static void with_a_rate_only_what_is_proved_is_said(void **state)
{
  (void)state;
  struct sb_any_load_point point;
  struct sb_error err;
  tried = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  tried.load.bounds.rate_nm_s = 1.0;
  assert_int_equal(sb_any_load_look_at(&tried, 0, proof_down, proof_up, &point, &err), SB_OK);
  assert_int_equal(point.class, SB_ANY_LOAD_PROVED);
  assert_int_equal(sb_any_load_look_at(&tried, 0, proof_down, 0.6, &point, &err), SB_OK);
  assert_int_equal(point.class, SB_ANY_LOAD_UNDECIDED);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_swing_is_that_of_the_closed_forms),
      cmocka_unit_test(borders_lie_at_the_steady_states),
      cmocka_unit_test(borders_lie_between_rounded_readings),
      cmocka_unit_test(what_comes_once_is_no_hunting),
      cmocka_unit_test(what_follows_before_the_speed_settles),
      cmocka_unit_test(what_the_slower_gear_turns_forward_again_does_not_stand),
      cmocka_unit_test(sheets_lie_evenly_over_the_bounds),
      cmocka_unit_test(a_whole_plane_says_what_its_points_say_alone),
      cmocka_unit_test(what_an_arm_does_from_the_threshold_is_not_what_it_does_beyond),
      cmocka_unit_test(commands_count_as_far_as_they_come),
      cmocka_unit_test(a_sheet_tells_by_both_commands),
      cmocka_unit_test(an_arm_stands_as_long_as_after_the_worse_shift),
      cmocka_unit_test(an_arm_that_may_engage_too_late_is_left_to_the_sets),
      cmocka_unit_test(the_way_to_another_verdict_is_that_to_the_borders),
      cmocka_unit_test(a_way_without_another_verdict_goes_to_the_lattice_end),
      cmocka_unit_test(shares_count_the_points_of_a_plane),
      cmocka_unit_test(the_number_of_threads_changes_no_byte),
      cmocka_unit_test(a_plane_that_is_stopped_says_so),
      cmocka_unit_test(a_key_outside_the_class_is_named),
      cmocka_unit_test(with_a_rate_only_what_is_proved_is_said),
      cmocka_unit_test(a_plane_says_what_prove_says_at_its_points),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
