// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Studies: which keys and ranges are taken, points that are what runs and maps of their own come to, with samples and
 * over charges, and facts and records that read back.
 */
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/place.h"
#include "map/lattice.h"
#include "shiftband/discharge.h"
#include "shiftband/scenario.h"
#include "study/maps.h"
#include "study/passing.h"
#include "study/refusal.h"
#include "study/runs.h"

static struct sb_scenario scenario; /* large, hence not on the stack */

static void load(const char *path, const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &scenario, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : path);
}

static void parse_axis(const char *text, int points, struct sb_axis *axis)
{
  struct sb_error err;
  if (sb_axis_parse(text, &scenario, points, axis, &err) != SB_OK) fail_msg("%s: %s", text, err.text);
}

static void axis_takes_paths_names_units_and_whole_numbers(void **state)
{
  (void)state;
  struct sb_axis axis;
  char text[SB_AXIS_SET_SIZE];
  load("../scenarios/tray-cart.yaml", NULL, 0);
  parse_axis("controller.dwell=0.2..3 s", 15, &axis);
  assert_string_equal(sb_axis_set(&axis, 0, text), "controller.dwell=0.2 s");
  assert_string_equal(sb_axis_set(&axis, 1, text), "controller.dwell=0.4 s");
  assert_string_equal(sb_axis_set(&axis, 14, text), "controller.dwell=3 s");
  parse_axis("dwell=200..3000ms", 3, &axis);
  assert_string_equal(sb_axis_set(&axis, 1, text), "controller.dwell=1600 ms");
  parse_axis("downshift_below=40..60 %", 2, &axis);
  assert_string_equal(axis.path, "controller.downshift_below");
  parse_axis("downshift_below=140..160 rpm", 2, &axis);
  assert_string_equal(sb_axis_set(&axis, 1, text), "controller.downshift_below=160 rpm");
  parse_axis("gearbox.gears.slow.drag=0..2 mN.m", 2, &axis);
  assert_string_equal(axis.path, "gearbox.gears.1.drag");
  parse_axis("supply.open_circuit_voltage=9..9 V", 41, &axis);
  assert_int_equal(axis.points, 1);
  parse_axis("debounce_samples=1..5", 41, &axis);
  assert_int_equal(axis.points, 5);
  parse_axis("debounce_samples=1..9", 3, &axis);
  assert_string_equal(sb_axis_set(&axis, 1, text), "controller.debounce_samples=5");
  sb_scenario_clear(&scenario);
}

static void axis_refuses_with_reason_and_nearest_key(void **state)
{
  (void)state;
  static const char *const cases[][2] = {
      {"dwell", "PATH=FROM..TO"},
      {"=1..2 s", "PATH=FROM..TO"},
      {"controler.dwell=1..2 s", "nearest is controller.dwell"},
      {"dwel=1..2 s", "nearest is controller.dwell"},
      {"zzz=1..2", "no number \"zzz\""},
      {"back_efficiency=0.5..0.9", "give the whole path"},
      {"dwell=1..2 V", "which is a voltage"},
      {"dwell=2..1 s", "runs backwards"},
      {"dwell=1..1.000000000001 s", "needs a range of a sensible size"},
      {"dwell=1..1e300 s", "needs a range of a sensible size"},
      {"dwell=1 s", "no range"},
      {"dwell=1..2", "needs a time"},
      {"debounce_samples=1.5..3", "whole numbers"},
      {"debounce_samples=1..10", "no whole numbers"},
      {"motor=1..2", "no number"},
  };
  load("../scenarios/tray-cart.yaml", NULL, 0);
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    struct sb_axis axis;
    struct sb_error err = {SB_OK, ""};
    assert_int_equal(sb_axis_parse(cases[k][0], &scenario, 3, &axis, &err), SB_ERR_USAGE);
    if (strstr(err.text, cases[k][1]) == NULL) fail_msg("%s: %s", cases[k][0], err.text);
  }
  sb_scenario_clear(&scenario);
}

/* A study laid out for a scenario, run task by task, and what it came to. */
static struct sb_study study;
static struct sb_tasks_result result;
static struct sb_study_report report;

static const char *const spreads[] = {"tolerances.motor.stall_torque=15 %", "tolerances.load.inertia=20 %"};
enum { SPREAD_COUNT = sizeof spreads / sizeof spreads[0] };

static enum sb_status run_all_with(const char *path, const char *const *sets, size_t set_count,
                                   const struct sb_study_request *request, struct sb_error *err)
{
  load(path, sets, set_count);
  const struct sb_study_source source = {.path = path, .sets = sets, .set_count = set_count, .nominal = &scenario};
  struct sb_study_work work;
  const enum sb_status status = sb_study_plan(request, &source, &study, err);
  if (status != SB_OK) return status;
  assert_int_equal(sb_study_begin(&work, &study, &source, err), SB_OK);
  struct sb_lines about = {.text = NULL};
  sb_study_write(&about, &study);
  const struct sb_tasks tasks = {
      .about = about.text, .task_count = sb_study_task_count(&study), .run_task = sb_study_run_task, .context = &work};
  const struct sb_tasks_options options = sb_tasks_options_default();
  if (sb_tasks_run(&tasks, &options, &result, err) != SB_OK) fail_msg("%s", err->text);
  sb_lines_clear(&about);
  sb_study_end(&work);
  return sb_study_take(&study, &result, &report, err);
}

static enum sb_status run_all(const char *path, const struct sb_study_request *request, struct sb_error *err)
{
  return run_all_with(path, spreads, request->samples > 0 ? SPREAD_COUNT : 0, request, err);
}

static void finish_all(void)
{
  sb_study_report_clear(&report);
  sb_tasks_result_clear(&result);
  sb_scenario_clear(&scenario);
}

/* The loaded scenario's own run. */
static struct sb_outcome run_loaded(void)
{
  struct sb_outcome outcome;
  assert_int_equal(sb_outcome_of(&scenario.model, NULL, &outcome, NULL), SB_OK);
  return outcome;
}

/* The point's figures are those of a scenario that was loaded with the same values and run. */
static void points_are_runs_of_their_own(void **state)
{
  (void)state;
  static const char *const path = "../scenarios/hunting-crawler.yaml";
  static const char *const vary[] = {"dwell=0.2..1.4 s", "upshift_above=70..85 %", "drive=96..100 %"};
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {.vary = vary, .vary_count = 3, .points = 3};
  assert_int_equal(run_all(path, &request, &err), SB_OK);
  assert_int_equal(sb_study_point_count(&study), 27);
  sb_scenario_clear(&scenario);
  int hunting = 0;
  for (long i = 0; i < 27; i++) {
    char texts[3][SB_AXIS_SET_SIZE];
    const int at[] = {(int)(i % 3), (int)(i / 3 % 3), (int)(i / 9)};
    const char *sets[3];
    for (int a = 0; a < 3; a++) {
      assert_int_equal(sb_study_index(&study, i, a), at[a]);
      sets[a] = sb_axis_set(&study.axes[a], at[a], texts[a]);
    }
    load(path, sets, 3);
    const struct sb_outcome want = run_loaded(), got = sb_run_points(&report)[i].outcome;
    assert_int_equal(got.end, SB_RUN_ENDED);
    assert_int_equal(got.verdict.kinds, want.verdict.kinds);
    assert_int_equal(got.verdict.cause, want.verdict.cause);
    assert_int_equal(got.figures.shift_count, want.figures.shift_count);
    assert_true(got.figures.output_turns == want.figures.output_turns && got.figures.given_j == want.figures.given_j);
    assert_true(got.figures.greatest_torque_nm == want.figures.greatest_torque_nm);
    assert_true(got.standstill_s == want.standstill_s);
    hunting += got.verdict.kinds != 0;
    sb_scenario_clear(&scenario);
  }
  assert_in_range(hunting, 4, 23);
  load(path, NULL, 0);
  finish_all();
}

static void points_that_are_no_scenario_are_refused_and_said_so(void **state)
{
  (void)state;
  static const char *const vary[] = {"downshift_below=70..90 %"}; /* upshift_above is 78 % */
  static const enum sb_run_end want[] = {SB_RUN_ENDED, SB_RUN_REFUSED, SB_RUN_REFUSED};
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {.vary = vary, .vary_count = 1, .points = 3};
  assert_int_equal(run_all("../scenarios/tray-cart.yaml", &request, &err), SB_OK);
  for (long i = 0; i < 3; i++) assert_int_equal(sb_run_points(&report)[i].outcome.end, want[i]);
  assert_string_equal(sb_outcome_name(&sb_run_points(&report)[1].outcome), "refused");
  assert_int_equal(report.refusals.count, 2);
  assert_int_equal(report.refusals.kept_count, 1);
  assert_int_equal(report.refusals.kept[0].first_task, 1);
  assert_non_null(strstr(report.refusals.kept[0].reason, "controller.upshift_above: needs more than downshift_below"));
  char text[1024];
  assert_non_null(strstr(sb_refusal_line(&report, text, sizeof text),
                         "2 of 3 points are no valid scenario; the first, controller.downshift_below 80 %: "));
  finish_all();
}

/*
 * Samples at each point: the same draws as those of a map of samples, each with the varied key at the point's value even
 * where it has a tolerance of its own, run one by one here.
 */
static void samples_at_a_point_are_runs_with_its_value_and_their_tolerances(void **state)
{
  (void)state;
  enum { SAMPLES = 12, POINTS = 3 };
  static const char *const path = "../scenarios/tray-cart.yaml";
  static const char *const vary[] = {"supply.open_circuit_voltage=8..13 V"};
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {
      .vary = vary, .vary_count = 1, .points = POINTS, .samples = SAMPLES, .seed = 5};
  assert_int_equal(run_all(path, &request, &err), SB_OK);
  const int count = scenario.tolerance_count;
  double values[SAMPLES * SB_TOLERANCE_MAX];
  assert_int_equal(sb_samples_draw(&scenario, SB_SAMPLES_RANDOM, 5, SAMPLES, values, &err), SB_OK);
  struct sb_tolerance tolerances[SB_TOLERANCE_MAX];
  memcpy(tolerances, scenario.tolerances, sizeof tolerances);
  bool is_spread = false;
  for (int k = 0; k < count; k++) is_spread |= strcmp(tolerances[k].path, "supply.open_circuit_voltage") == 0;
  assert_true(is_spread);
  char reference[96];
  snprintf(reference, sizeof reference, "controller.reference_speed=%.17g rad/s",
           scenario.model.control.sensor.reference_rad_s);
  sb_scenario_clear(&scenario);
  long all = 0;
  for (int point = 0; point < POINTS; point++) {
    long passed = 0;
    for (int s = 0; s < SAMPLES; s++) {
      char texts[SB_TOLERANCE_MAX][SB_AXIS_SET_SIZE], voltage[SB_AXIS_SET_SIZE];
      const char *sets[SB_TOLERANCE_MAX + 3] = {"tolerances={}", reference,
                                                sb_axis_set(&study.axes[0], point, voltage)};
      size_t set_count = 3;
      for (int k = 0; k < count; k++) {
        if (strcmp(tolerances[k].path, study.axes[0].path) == 0) continue;
        snprintf(texts[k], sizeof texts[k], "%.120s=%.17g %.15s", tolerances[k].path,
                 values[s * count + k] * tolerances[k].unit_scale, tolerances[k].unit);
        sets[set_count++] = texts[k];
      }
      load(path, sets, set_count);
      passed += run_loaded().verdict.kinds == 0;
      sb_scenario_clear(&scenario);
    }
    assert_int_equal(sb_run_points(&report)[point].passed, passed);
    all += passed;
  }
  assert_in_range(all, 4, SAMPLES * POINTS - 4); /* the voltage tells */
  load(path, NULL, 0);
  finish_all();
}

/* At each charge the samples' exact maps at that charge, taken one by one here. */
static void samples_over_charges_are_maps_at_each_charge(void **state)
{
  (void)state;
  enum { SAMPLES = 4, CHARGES = 2 };
  static const char *const path = "../scenarios/tired-winder.yaml";
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {
      .charges = CHARGES, .samples = SAMPLES, .seed = 1, .downshift = "20..60", .upshift = "55..95"};
  assert_int_equal(run_all(path, &request, &err), SB_OK);
  const struct sb_scenario nominal = scenario;
  double values[SAMPLES * SB_TOLERANCE_MAX];
  assert_int_equal(sb_samples_draw(&nominal, SB_SAMPLES_RANDOM, 1, SAMPLES, values, &err), SB_OK);
  struct sb_map_options options = sb_map_options_default(&nominal.model);
  options.pair = study.pair;
  options.downshift = study.downshift;
  options.upshift = study.upshift;
  assert_true(sb_map_points(&report)[0].charge_fraction == 1.0);
  assert_true(sb_map_points(&report)[1].charge_fraction < 0.5);
  for (int c = 0; c < CHARGES; c++) {
    const struct sb_map_point *point = &sb_map_points(&report)[c];
    struct sb_passing passing;
    long own = 0, own_never_shift = 0;
    assert_int_equal(sb_passing_init(&passing, &study.downshift, &study.upshift, NULL), SB_OK);
    for (int s = 0; s < SAMPLES; s++) {
      static struct sb_scenario sample;
      struct sb_faults faults;
      struct sb_map map;
      struct sb_lines lines = {.text = NULL};
      const struct sb_scenario_source source = {path, spreads, SPREAD_COUNT};
      struct sb_changes changes = {.count = 0};
      sb_samples_change(&nominal, values + s * nominal.tolerance_count, &changes);
      assert_int_equal(sb_scenario_load_changed(&source, &changes, &sample, &faults), SB_OK);
      sb_discharge_set(&sample.model, point->charge_fraction);
      struct sb_outcome outcome;
      assert_int_equal(sb_outcome_of(&sample.model, NULL, &outcome, NULL), SB_OK);
      own += outcome.verdict.kinds == 0;
      own_never_shift += outcome.never_shifts;
      assert_int_equal(sb_map_exact(&sample.model, &options, false, &map, &err), SB_OK);
      sb_passing_write(&lines, &map);
      assert_int_equal(sb_passing_add(&passing, lines.text != NULL ? lines.text : "", NULL), SB_OK);
      sb_lines_clear(&lines);
      sb_map_clear(&map);
      sb_scenario_clear(&sample);
    }
    assert_true(sb_passing_finish(&passing));
    assert_int_equal(point->own_passed, own);
    assert_true(point->shares.all == sb_passing_shares_of(&passing).all);
    assert_true(point->shares.never_shift == sb_passing_shares_of(&passing).never_shift);
    assert_int_equal(point->own_never_shift, own_never_shift);
    struct sb_passing_best best;
    assert_int_equal(sb_passing_find_best(&passing, study.downshift_fraction, study.upshift_fraction, &best, NULL),
                     SB_OK);
    assert_int_equal(point->best.passed, best.passed);
    assert_true(point->best.points == best.points);
    sb_passing_clear(&passing);
  }
  finish_all();
}

/*
 * Runs at every point of a plane, one by one: what passes in all samples without a shift is a class of its own and never the
 * best, though the widest square of what passes lies there.
 */
static void what_never_shifts_in_any_sample_is_a_class_of_its_own(void **state)
{
  (void)state;
  enum { SAMPLES = 3 };
  static const char *const path = "../scenarios/well-winch.yaml";
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {.samples = SAMPLES, .seed = 1, .downshift = "4..58", .upshift = "62..98"};
  static struct sb_scenario nominal, sample;
  const char *const sets[] = {spreads[0], spreads[1], "controller.threshold_step=4 %"};
  assert_int_equal(run_all_with(path, sets, 3, &request, &err), SB_OK);
  nominal = scenario;
  double values[SAMPLES * SB_TOLERANCE_MAX];
  assert_int_equal(sb_samples_draw(&nominal, SB_SAMPLES_RANDOM, 1, SAMPLES, values, &err), SB_OK);
  const struct sb_map_point *point = sb_map_points(&report);
  long never_shift[64][64] = {{0}}, classes[3] = {0};
  for (int s = 0; s < SAMPLES; s++) {
    struct sb_faults faults;
    const struct sb_scenario_source source = {path, sets, 3};
    struct sb_changes changes = {.count = 0};
    sb_samples_change(&nominal, values + s * nominal.tolerance_count, &changes);
    assert_int_equal(sb_scenario_load_changed(&source, &changes, &sample, &faults), SB_OK);
    for (int u = 0; u < study.upshift.count; u++) {
      for (int d = 0; d < study.downshift.count; d++) {
        struct sb_outcome outcome;
        sample.model.control.downshift_fraction[0] = sb_map_axis_at(&study.downshift, d);
        sample.model.control.upshift_fraction[0] = sb_map_axis_at(&study.upshift, u);
        assert_int_equal(sb_outcome_of(&sample.model, NULL, &outcome, NULL), SB_OK);
        never_shift[u][d] += outcome.verdict.kinds == 0 && outcome.figures.shift_count == 0;
      }
    }
    sb_scenario_clear(&sample);
  }
  for (int u = 0; u < study.upshift.count; u++) {
    for (int d = 0; d < study.downshift.count; d++) {
      assert_int_equal(sb_passing_never_shift_at(&point->passing, d, u), never_shift[u][d]);
      const bool all_pass = sb_passing_at(&point->passing, d, u) == SAMPLES;
      classes[!all_pass ? 0 : never_shift[u][d] == SAMPLES ? 2 : 1]++;
    }
  }
  assert_true(classes[0] >= 5 && classes[1] >= 20 && classes[2] >= 20);
  assert_int_equal(point->best.passed, SAMPLES);
  assert_int_equal(point->best.points, classes[1]);
  assert_true(never_shift[point->best.upshift][point->best.downshift] < SAMPLES);
  const double all = (double)(classes[0] + classes[1] + classes[2]);
  assert_near(point->shares.never_shift, (double)classes[2] / all, 1e-15);
  finish_all();
}

/* Over a key, as written and of samples: runs that pass without a shift are counted among what passes, and apart. */
static void points_that_never_shift_are_counted_apart(void **state)
{
  (void)state;
  static const char *const vary[] = {"downshift_below=4..58 %"};
  struct sb_error err = {SB_OK, ""};
  struct sb_study_request request = {.vary = vary, .vary_count = 1, .points = 10};
  assert_int_equal(run_all("../scenarios/well-winch.yaml", &request, &err), SB_OK);
  long fixed = 0;
  for (long i = 0; i < 10; i++) {
    const struct sb_run_point *point = &sb_run_points(&report)[i];
    const bool never_shifts = point->outcome.verdict.kinds == 0 && point->outcome.figures.shift_count == 0;
    assert_int_equal(sb_outcome_mark(&point->outcome) == 'F', never_shifts);
    assert_int_equal(strcmp(sb_outcome_name(&point->outcome), "never shifts") == 0, never_shifts);
    assert_int_equal(point->passed, point->outcome.verdict.kinds == 0);
    fixed += never_shifts;
  }
  assert_in_range(fixed, 3, 9);
  finish_all();
  request.samples = 4;
  request.seed = 1;
  assert_int_equal(run_all("../scenarios/well-winch.yaml", &request, &err), SB_OK);
  const struct sb_run_point *points = sb_run_points(&report);
  assert_int_equal(points[0].passed, 4);
  assert_int_equal(points[0].classes[SB_MAP_NEVER_SHIFTS], 4);
  assert_string_equal(sb_outcome_commonest(&points[0]), ""); /* nothing failed */
  assert_int_equal(points[9].passed, 4);
  assert_int_equal(points[9].classes[SB_MAP_NEVER_SHIFTS], 0);
  finish_all();
}

/* A box of one gear has nothing to shift: it passes, and no more is said. */
static void one_gear_is_not_said_to_never_shift(void **state)
{
  (void)state;
  load("good/least.yaml", NULL, 0);
  assert_int_equal(scenario.model.gearbox.gear_count, 1);
  const struct sb_outcome outcome = run_loaded();
  assert_int_equal(outcome.verdict.kinds, 0);
  assert_int_equal(outcome.figures.shift_count, 0);
  assert_false(outcome.never_shifts);
  assert_string_equal(sb_outcome_name(&outcome), "passes");
  assert_int_equal(sb_outcome_mark(&outcome), '.');
  sb_scenario_clear(&scenario);
}

static unsigned kinds_at(double charge_fraction, double upshift_fraction)
{
  struct sb_model model = scenario.model;
  struct sb_outcome outcome;
  sb_discharge_set(&model, charge_fraction);
  model.control.upshift_fraction[0] = upshift_fraction;
  assert_int_equal(sb_outcome_of(&model, NULL, &outcome, NULL), SB_OK);
  return outcome.verdict.kinds;
}

static void maps_over_the_discharge_agree_with_runs(void **state)
{
  (void)state;
  enum { CHARGES = 5 };
  struct sb_error err = {SB_OK, ""};
  const struct sb_study_request request = {.charges = CHARGES, .downshift = "40..50", .upshift = "60..100"};
  assert_int_equal(run_all("../scenarios/tired-winder.yaml", &request, &err), SB_OK);
  const struct sb_map_point *points = sb_map_points(&report);
  const double own = scenario.model.control.upshift_fraction[0], step = study.upshift.step_fraction;
  assert_near(points[0].charge_fraction, 1.0, 0.0);
  assert_int_equal(points[0].verdict.kinds, 0);
  assert_int_equal(points[3].verdict.kinds, 1U << SB_VERDICT_STUCK_LOW); /* 28 % left, of 35 % at the least */
  for (int k = 0; k < CHARGES; k++) {
    const struct sb_map_point *at = &points[k];
    if (k > 0) assert_true(at->charge_fraction < at[-1].charge_fraction && at->shares.all < at[-1].shares.all);
    assert_int_equal(kinds_at(at->charge_fraction, own), at->verdict.kinds);
    assert_int_equal(at->own_passed, at->verdict.kinds == 0);
    /* One step beyond the greatest upshift threshold that passes, the box is stuck low. At the end of use nothing needs to
     * pass. */
    if (k == CHARGES - 1) continue;
    assert_int_equal(kinds_at(at->charge_fraction, at->upshift.greatest_fraction), 0);
    if (at->upshift.greatest_fraction + step > 1.0) continue;
    assert_int_equal(kinds_at(at->charge_fraction, at->upshift.greatest_fraction + step), 1U << SB_VERDICT_STUCK_LOW);
  }
  finish_all();
}

/* The cart's cells give 10.4 to 12.6 V, 12.2 V as written: the freshest read highest. */
static void a_plane_for_samples_reaches_as_high_as_the_fastest_of_them(void **state)
{
  (void)state;
  static const char *const path = "../scenarios/tray-cart.yaml";
  static const char *const fresh[] = {"supply.open_circuit_voltage=12.6 V", "tolerances={}"};
  load(path, fresh, 2);
  const int highest = sb_map_options_default(&scenario.model).upshift.count;
  sb_scenario_clear(&scenario);
  load(path, NULL, 0);
  const struct sb_study_source source = {.path = path, .nominal = &scenario};
  const struct sb_study_request one = {.samples = 1};
  assert_int_equal(sb_study_plan(&one, &source, &study, NULL), SB_OK);
  assert_int_equal(study.upshift.count, highest);
  assert_true(highest > sb_map_options_default(&scenario.model).upshift.count);
  sb_scenario_clear(&scenario);
}

static void studies_read_back_as_they_were_written(void **state)
{
  (void)state;
  struct sb_study plan = {.form = SB_STUDY_FORM,
                          .kind = SB_STUDY_MAPS,
                          .axis_count = 2,
                          .scenario = "A \"cart\", with commas",
                          .samples = 50,
                          .slower = "slow and strong",
                          .downshift = {0.1, 1.0 / 3.0, 5},
                          .upshift = {0.2, 0.001, 999}};
  struct sb_study read;
  plan.axes[0] = (struct sb_axis){"controller.dwell", "s", 0.1, 1.0 / 3.0, 41};
  plan.axes[1] = (struct sb_axis){"gearbox.mesh_efficiency", "", 0.9, 0.99, 7};
  struct sb_lines lines = {.text = NULL}, again = {.text = NULL};
  sb_study_write(&lines, &plan);
  assert_true(sb_study_read(lines.text, &read));
  sb_study_write(&again, &read);
  assert_string_equal(again.text, lines.text);
  assert_string_equal(read.axes[1].unit, "");
  assert_string_equal(read.scenario, plan.scenario);
  assert_true(read.axes[0].to == 1.0 / 3.0 && read.downshift.step_fraction == 1.0 / 3.0 && read.upshift.count == 999);
  for (size_t length = 0; length < lines.length; length++) {
    lines.text[length] = 0;
    char *cut = strdup(lines.text);
    assert_false(sb_study_read(cut, &read));
    free(cut);
    lines.text[length] = again.text[length];
  }
  sb_lines_clear(&lines);
  sb_lines_clear(&again);
}

/* What no study of this program can be is read as none: a number of points, samples or thresholds that nothing bounds. */
static void studies_beyond_the_bounds_of_a_plan_do_not_read(void **state)
{
  (void)state;
  const struct sb_study good = {.form = SB_STUDY_FORM,
                                .kind = SB_STUDY_MAPS,
                                .axis_count = 1,
                                .axes = {{"supply.battery.charge", "", 1.0, 0.1, 5}},
                                .samples = 50,
                                .downshift = {0.001, 0.001, 999},
                                .upshift = {0.001, 0.001, 1050}};
  struct sb_study bad[] = {good, good, good, good, good, good, good, good, good, good};
  bad[1].kind = 2;
  bad[2].samples = -1000000000000;
  bad[3].samples = 1000000000000;
  bad[4].axes[0].points = SB_STUDY_TASKS_MAX;
  bad[5].upshift.count = 2000000000;
  bad[6].upshift.step_fraction = 1e-9;
  bad[7].upshift.first_fraction = -1.0;
  bad[8].axes[0].to = 1.0; /* five points in one place */
  bad[9].form = SB_STUDY_FORM - 1;
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
    struct sb_study read;
    struct sb_lines lines = {.text = NULL};
    sb_study_write(&lines, &bad[k]);
    if (sb_study_read(lines.text, &read) != (k == 0)) fail_msg("study %zu", k);
    sb_lines_clear(&lines);
  }
}

static void records_that_do_not_read_are_refused(void **state)
{
  (void)state;
  static const char *const bad[] = {"",
                                    "0 0 0 1 2 3 4 5\n",
                                    "7 0 0 1 2 3 4 5 0\n",
                                    "0 0 9 1 2 3 4 5 0\n",
                                    "0 1048576 0 1 2 3 4 5 0\n",
                                    "0 0 0 1 2 3 4 5 0",
                                    "0 0 0 1 2 3 4 5 1\n" /* it shifted */,
                                    "0 1 0 0 2 3 4 5 1\n" /* it does not pass */,
                                    "2 0 0 0 2 3 4 5 1\n" /* it never ended */};
  struct sb_outcome outcome;
  assert_true(sb_outcome_read("0 0 0 0 2 3 4 5 1\n", &outcome));
  assert_true(outcome.never_shifts);
  assert_true(sb_outcome_read("0 0 0 1 2 3 4 5 0\n", &outcome));
  assert_false(outcome.never_shifts);
  assert_true(outcome.standstill_s == 5.0);
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) assert_false(sb_outcome_read(bad[k], &outcome));
}

enum { CHARGES = 3, PER_CHARGE = 2 };

/* Maps of two samples at three charges on a plane of 10..60 % over 50..90 %; own thresholds of 10 and 90 %, its ends. */
static const struct sb_study over_charges = {.kind = SB_STUDY_MAPS,
                                             .axis_count = 1,
                                             .axes = {{.points = CHARGES, .from = 1.0, .to = 0.5}},
                                             .samples = PER_CHARGE,
                                             .downshift = {0.1, 0.1, 6},
                                             .upshift = {0.5, 0.1, 5},
                                             .downshift_fraction = 0.1,
                                             .upshift_fraction = 0.9};

static enum sb_status take_records(const char *const texts[CHARGES * PER_CHARGE], struct sb_error *err)
{
  struct sb_lines tasks[CHARGES * PER_CHARGE] = {{.text = NULL}};
  for (int k = 0; k < CHARGES * PER_CHARGE; k++) sb_lines_add(&tasks[k], "%s", texts[k]);
  const struct sb_tasks_result records = {.task_count = CHARGES * PER_CHARGE, .tasks = tasks};
  const enum sb_status status = sb_study_take(&over_charges, &records, &report, err);
  for (int k = 0; k < CHARGES * PER_CHARGE; k++) sb_lines_clear(&tasks[k]);
  return status;
}

static void expect_stretch(const struct sb_map_stretch *stretch, double least, double greatest)
{
  assert_near(stretch->least_fraction, least, 1e-15);
  assert_near(stretch->greatest_fraction, greatest, 1e-15);
}

/* What passes in both samples, next to the own threshold: alone at the very end, farther off, or nowhere. */
static void a_charge_has_the_stretch_that_is_nearest_to_the_own_threshold(void **state)
{
  (void)state;
  static const char *const texts[] = {"12 0 0 2 30 40 0.5\n0 0 2 4 \n0 2 4 4 \n",
                                      "11 0 0 0 30 40 0.5\n0 5 \n0 1 4 4 \n",
                                      "10 1 0 2 30 40 0.5\n1 4 \n0 2 \n",
                                      "9 0 0 1 30 40 0.5\n2 3 5 5 \n1 3 \n",
                                      "8 1 0 2 30 40 0.5\n\n0 1 \n",
                                      "refused as it is\n"};
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(take_records(texts, &err), SB_OK);
  const struct sb_map_point *points = sb_map_points(&report);
  static const long passed[] = {2, 1, 0}, fixed[] = {1, 0, 0}, refused[] = {0, 0, 1};
  for (int k = 0; k < CHARGES; k++) {
    assert_near(points[k].charge_fraction, 1.0 - 0.25 * k, 0.0);
    assert_near(points[k].voltage_v, 12.0 - 2.0 * k, 0.0);
    assert_int_equal(points[k].own_passed, passed[k]);
    assert_int_equal(points[k].own_never_shift, fixed[k]);
    assert_int_equal(points[k].refused, refused[k]);
  }
  expect_stretch(&points[0].downshift, 0.1, 0.1);
  expect_stretch(&points[0].upshift, 0.9, 0.9);
  expect_stretch(&points[1].downshift, 0.3, 0.4);
  expect_stretch(&points[1].upshift, 0.6, 0.7);
  assert_true(isnan(points[2].downshift.least_fraction) && isnan(points[2].upshift.greatest_fraction));
  sb_study_report_clear(&report);
}

static void stretches_beyond_the_plane_do_not_read(void **state)
{
  (void)state;
  static const char *const bad[] = {"0 6 ", "-1 2 ", "3 2 ", "1 2", "1 ", "1 2 x "};
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
    char text[64];
    const char *texts[CHARGES * PER_CHARGE];
    struct sb_error err = {SB_OK, ""};
    snprintf(text, sizeof text, "12 0 0 2 30 40 0.5\n%s\n\n", bad[k]);
    for (int n = 0; n < CHARGES * PER_CHARGE; n++) texts[n] = n == 3 ? text : "12 0 0 2 30 40 0.5\n\n\n";
    assert_int_equal(take_records(texts, &err), SB_ERR_SCENARIO);
    assert_non_null(strstr(err.text, "cannot be read"));
  }
}

static void what_a_study_cannot_do_is_refused_with_the_reason(void **state)
{
  (void)state;
  static const char *const vary[] = {"dwell=1..2 s", "dwell=1..2 s", "dwell=1..2 s", "dwell=1..2 s",
                                     "dwell=1..2 s", "dwell=1..2 s", "dwell=1..2 s"};
  static const struct {
    const char *path;
    struct sb_study_request request;
    enum sb_status status;
    const char *part;
  } cases[] = {
      {"../scenarios/hunting-crawler.yaml", {.charges = 3}, SB_ERR_SCENARIO, "--discharge needs a battery"},
      {"../scenarios/hunting-crawler.yaml", {.samples = 1}, SB_ERR_SCENARIO, "--samples needs tolerances"},
      {"../scenarios/tray-cart.yaml", {.vary = vary, .vary_count = 7}, SB_ERR_USAGE, "--vary may be given 6 times"},
      {"../scenarios/tray-cart.yaml", {.vary = vary, .vary_count = 4, .points = 100}, SB_ERR_USAGE, "fewer --points"},
      {"../scenarios/tired-winder.yaml",
       {.vary = vary, .vary_count = 6, .charges = 2},
       SB_ERR_USAGE,
       "more than 6 axes"},
  };
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    struct sb_error err = {SB_OK, ""};
    assert_int_equal(run_all_with(cases[k].path, NULL, 0, &cases[k].request, &err), cases[k].status);
    if (strstr(err.text, cases[k].part) == NULL) fail_msg("wanted \"%s\" in: %s", cases[k].part, err.text);
    sb_scenario_clear(&scenario);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(axis_takes_paths_names_units_and_whole_numbers),
      cmocka_unit_test(axis_refuses_with_reason_and_nearest_key),
      cmocka_unit_test(points_are_runs_of_their_own),
      cmocka_unit_test(points_that_are_no_scenario_are_refused_and_said_so),
      cmocka_unit_test(samples_at_a_point_are_runs_with_its_value_and_their_tolerances),
      cmocka_unit_test(samples_over_charges_are_maps_at_each_charge),
      cmocka_unit_test(what_never_shifts_in_any_sample_is_a_class_of_its_own),
      cmocka_unit_test(points_that_never_shift_are_counted_apart),
      cmocka_unit_test(one_gear_is_not_said_to_never_shift),
      cmocka_unit_test(maps_over_the_discharge_agree_with_runs),
      cmocka_unit_test(a_plane_for_samples_reaches_as_high_as_the_fastest_of_them),
      cmocka_unit_test(studies_read_back_as_they_were_written),
      cmocka_unit_test(studies_beyond_the_bounds_of_a_plan_do_not_read),
      cmocka_unit_test(records_that_do_not_read_are_refused),
      cmocka_unit_test(a_charge_has_the_stretch_that_is_nearest_to_the_own_threshold),
      cmocka_unit_test(stretches_beyond_the_plane_do_not_read),
      cmocka_unit_test(what_a_study_cannot_do_is_refused_with_the_reason),
  };
  return cmocka_run_group_tests_name("study", tests, place_in_tests, NULL);
}
