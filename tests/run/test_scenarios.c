// SPDX-License-Identifier: GPL-3.0-or-later
/* Every shipped scenario: it runs, comes to what its comment tells, and its energy adds up. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

/* The verdicts that a scenario's comment tells of, as a set of kinds, and its number of shifts. */
static const struct expected {
  const char *file;
  unsigned kinds;
  size_t shift_count;
} scenarios[] = {
    {"tray-cart.yaml", 0, 2},
    {"tray-cart-measured.yaml", 0, 2},
    {"well-winch.yaml", 0, 2},
    {"hunting-crawler.yaml", 1U << SB_VERDICT_HUNTING, 16},
    {"hunting-crawler-fixed.yaml", 0, 2},
    {"three-speed-feeder.yaml", 1U << SB_VERDICT_STUCK_LOW, 4},
    {"stop-and-go.yaml", 1U << SB_VERDICT_STUCK_LOW, 34},
    {"hump-cart.yaml", 0, 2},
    {"balanced-lift.yaml", 0, 0},
    {"seed-drill.yaml", 0, 0},
    {"tired-winder.yaml", 0, 2},
    {"dough-drum.yaml", 0, 2},
    {"shuttle-wagon.yaml", 1U << SB_VERDICT_BUSY_SHIFTING, 3},
    {"crate-pusher.yaml", 0, 1},
    {"braked-hoist.yaml", 0, 1},
    {"grindstone.yaml", 1U << SB_VERDICT_OVERLOAD, 3},
    {"twig-chipper.yaml", 0, 2},
    {"pellet-screw.yaml", 0, 2},
    {"mat-roller.yaml", 0, 2},
};

enum { SCENARIO_COUNT = sizeof scenarios / sizeof scenarios[0] };

/* With one --set, or NULL. */
static struct sb_scenario load_with(const char *file, const char *set)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0};
  char path[1024];
  snprintf(path, sizeof path, "%s/scenarios/%s", SB_SOURCE_DIR, file);
  const enum sb_status status = sb_scenario_load(path, &set, set != NULL, &scenario, &faults);
  for (size_t i = 0; i < faults.count; i++) print_error("%s\n", faults.texts[i]);
  sb_faults_clear(&faults);
  assert_int_equal(status, SB_OK);
  return scenario;
}

static struct sb_scenario load(const char *file)
{
  return load_with(file, NULL);
}

static void run(const struct sb_model *model, int locked_gear, struct sb_run_result *result)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  options.locked_gear = locked_gear;
  const enum sb_status status = sb_run(model, &options, result, &err);
  if (status != SB_OK) print_error("%s: %s\n", model->name, err.text);
  assert_int_equal(status, SB_OK);
}

static unsigned kinds_of(const struct sb_run_result *result)
{
  unsigned kinds = 0;
  for (size_t i = 0; i < result->monitor.verdict_count; i++) kinds |= 1U << result->monitor.verdicts[i].kind;
  return kinds;
}

static void every_scenario_comes_to_what_its_comment_tells(void **state)
{
  (void)state;
  for (int i = 0; i < SCENARIO_COUNT; i++) {
    struct sb_scenario scenario = load(scenarios[i].file);
    struct sb_run_result result;
    run(&scenario.model, 0, &result);
    if (kinds_of(&result) != scenarios[i].kinds) print_error("in %s:\n", scenarios[i].file);
    assert_int_equal(kinds_of(&result), scenarios[i].kinds);
    assert_int_equal(result.monitor.shift_count, scenarios[i].shift_count);
    sb_run_result_clear(&result);
    sb_scenario_clear(&scenario);
  }
}

/* The cell of README's table that says what a scenario reports: from its third bar to its fourth; "" when it is not there. */
static const char *table_cell(const char *file, char *cell, size_t size)
{
  char row[64], line[2048];
  FILE *readme = fopen(SB_SOURCE_DIR "/README.md", "r");
  assert_non_null(readme);
  snprintf(row, sizeof row, "| `%s` |", file);
  cell[0] = 0;
  while (fgets(line, sizeof line, readme) != NULL) {
    const char *third = strncmp(line, row, strlen(row)) == 0 ? strstr(line + strlen(row), " | ") : NULL;
    if (third != NULL) snprintf(cell, size, "%.*s", (int)strcspn(third + 3, "|"), third + 3);
  }
  fclose(readme);
  return cell;
}

/* The name that --fail-on takes, as README writes it: `stuck-low`. */
static const char *code_of(enum sb_verdict_kind kind, char code[64])
{
  snprintf(code, 64, "`%s`", sb_verdict_name(kind));
  for (char *c = code; *c != 0; c++) {
    if (*c == ' ') *c = '-';
  }
  return code;
}

/* Before the colon of a cell stand the verdicts, or "none"; behind it the reason, which each verdict has. */
static void readme_tells_the_verdict_of_every_scenario_and_why(void **state)
{
  (void)state;
  char cell[1024], code[64];
  for (int i = 0; i < SCENARIO_COUNT; i++) {
    struct sb_scenario scenario = load(scenarios[i].file);
    struct sb_run_result result;
    run(&scenario.model, 0, &result);
    const unsigned kinds = kinds_of(&result);
    const bool has_reason = strstr(table_cell(scenarios[i].file, cell, sizeof cell), ": ") != NULL;
    cell[strcspn(cell, ":")] = 0;
    unsigned told = 0;
    for (int k = 0; k < SB_VERDICT_KIND_COUNT; k++) {
      if (strstr(cell, code_of((enum sb_verdict_kind)k, code)) != NULL) told |= 1U << k;
    }
    if (told != kinds || (strncmp(cell, "none", 4) == 0) != (kinds == 0) || (kinds != 0 && !has_reason)) {
      fail_msg("README.md tells \"%s\" of %s, which comes to verdicts %#x", cell, scenarios[i].file, kinds);
    }
    sb_run_result_clear(&result);
    sb_scenario_clear(&scenario);
  }
  assert_int_equal(strtol(shell_run("ls scenarios/*.yaml | wc -l")->text, NULL, 10), SCENARIO_COUNT);
}

/* The energy residual that the project promises: 1e-6 of the energy moved; measured at most 4e-9. */
static void every_scenario_balances_its_energies_in_every_gear(void **state)
{
  (void)state;
  for (int i = 0; i < SCENARIO_COUNT; i++) {
    struct sb_scenario scenario = load(scenarios[i].file);
    for (int gear = 0; gear <= scenario.model.gearbox.gear_count; gear++) {
      struct sb_run_result result;
      run(&scenario.model, gear, &result);
      assert_true(result.sums.energy.throughput > 0.0);
      assert_near(sb_energy_residual_ratio(&result.sums.energy), 0.0, 1e-6);
      sb_run_result_clear(&result);
    }
    sb_scenario_clear(&scenario);
  }
}

static void cart_locked_in_its_fast_gear_stalls_on_the_climb_where_automatic_goes_on(void **state)
{
  (void)state;
  struct sb_scenario scenario = load("tray-cart.yaml");
  struct sb_run_result automatic, locked;
  run(&scenario.model, 0, &automatic);
  run(&scenario.model, sb_gearbox_find(&scenario.model.gearbox, "fast") + 1, &locked);
  assert_int_equal(kinds_of(&locked), 1U << SB_VERDICT_STALL);
  assert_true(locked.sums.standstill_time_s > 4.0);
  assert_true(automatic.sums.standstill_time_s == 0.0);
  assert_true(automatic.end.output_turns > locked.end.output_turns);
  sb_run_result_clear(&automatic);
  sb_run_result_clear(&locked);
  sb_scenario_clear(&scenario);
}

static void winch_rolls_back_in_neutral_only(void **state)
{
  (void)state;
  struct sb_scenario scenario = load("well-winch.yaml");
  struct sb_run_result automatic, locked;
  run(&scenario.model, 0, &automatic);
  run(&scenario.model, 1, &locked);
  assert_true(automatic.sums.least_output_speed_rad_s < -1.0);
  assert_true(locked.sums.least_output_speed_rad_s >= 0.0);
  sb_run_result_clear(&automatic);
  sb_run_result_clear(&locked);
  sb_scenario_clear(&scenario);
}

/* The ramp lies from 6 m to 12 m, on wheels of 75 mm. */
static void cart_comes_to_its_low_gear_on_the_hump_whatever_it_weighs(void **state)
{
  (void)state;
  static const double masses_kg[] = {30.0, 40.0, 42.0};
  for (int i = 0; i < 3; i++) {
    char set[64];
    snprintf(set, sizeof set, "load.bodies.1.mass=%g kg", masses_kg[i]);
    struct sb_scenario scenario = load_with("hump-cart.yaml", set);
    struct sb_run_result automatic, locked;
    run(&scenario.model, 0, &automatic);
    assert_int_equal(automatic.monitor.shift_count, 2);
    assert_true(automatic.end.output_turns * 2.0 * 3.14159265358979323846 * 0.075 > 21.0); /* over it and beyond */
    run(&scenario.model, sb_gearbox_find(&scenario.model.gearbox, "flat") + 1, &locked);
    const double way_m = locked.end.output_turns * 2.0 * 3.14159265358979323846 * 0.075;
    if (masses_kg[i] >= 40.0) {
      assert_int_equal(kinds_of(&locked), 1U << SB_VERDICT_STALL);
      assert_true(way_m > 6.0 && way_m < 12.0);
    }
    sb_run_result_clear(&automatic);
    sb_run_result_clear(&locked);
    sb_scenario_clear(&scenario);
  }
}

static void lift_without_its_counterweight_has_to_haul(void **state)
{
  (void)state;
  struct sb_scenario scenario = load_with("balanced-lift.yaml", "load.bodies.1.counterweight=0 kg");
  struct sb_run_result automatic, locked;
  run(&scenario.model, 0, &automatic);
  run(&scenario.model, sb_gearbox_find(&scenario.model.gearbox, "run") + 1, &locked);
  assert_int_equal(kinds_of(&automatic), 0);
  assert_int_equal(automatic.monitor.shift_count, 1);
  assert_true(automatic.end.output_turns > 4.0);
  assert_int_equal(kinds_of(&locked), 1U << SB_VERDICT_STALL);
  sb_run_result_clear(&automatic);
  sb_run_result_clear(&locked);
  sb_scenario_clear(&scenario);
}

/* What the gears take in while it drives is the clutch's torque, knot or not; one that never slips breaks them. */
static void chipper_keeps_its_gears_by_its_clutch(void **state)
{
  (void)state;
  struct sb_scenario scenario = load_with("twig-chipper.yaml", NULL);
  struct sb_run_result result;
  run(&scenario.model, 0, &result);
  const struct sb_gear *slow = &scenario.model.gearbox.gears[0];
  const double most_nm = 0.35 * slow->ratio / slow->back_efficiency; /* in a downshift the output is braked */
  assert_true(fabs(result.sums.output_torque_nm.value) <= most_nm * (1.0 + 1e-9));
  assert_true(most_nm < scenario.model.limits.output_torque_nm);
  assert_true(result.sums.energy.clutch_loss > 1.0);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  scenario = load_with("twig-chipper.yaml", "gearbox.shifter.torque=5 N.m");
  run(&scenario.model, 0, &result);
  assert_int_equal(kinds_of(&result), 1U << SB_VERDICT_OVERLOAD);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
}

/* The downshift comes before the motor is slower than the corner of its driver's limit; without the limit nothing is held. */
static void screw_shifts_down_before_its_motor_stops(void **state)
{
  (void)state;
  struct sb_scenario scenario = load_with("pellet-screw.yaml", NULL);
  struct sb_run_result result;
  run(&scenario.model, 0, &result);
  assert_true(fabs(result.sums.motor_current_a.value) <= scenario.model.supply.current_limit_a);
  assert_true(result.sums.current_held_s > 0.05 && result.sums.current_held_s < 0.15); /* the run-up */
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  scenario = load_with("pellet-screw.yaml", "controller.downshift_below=40 %");
  run(&scenario.model, 0, &result);
  assert_true(result.sums.current_held_s > 0.2); /* held as the motor stops, too */
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
}

/* What its comment offers; and the rigid driveline, which sees nothing. 14.4 N m break the shaft: the limit times its
 * safety of 2. */
static void grindstone_twists_its_shaft_off_unless_it_is_softer_or_slips_less(void **state)
{
  (void)state;
  static const struct {
    const char *set;
    bool is_overload;
  } trials[] = {{NULL, true},
                {"gearbox.output_shaft=1e5 N.m/rad", true},
                {"gearbox.output_shaft={stiffness: 25 N.m/rad, damping_ratio: 10 %}", false},
                {"gearbox.shifter={kind: clutch, torque: 0.4 N.m}", false},
                {"gearbox.output_shaft.length=600 mm", false}};
  double last_nm = 0.0;
  for (size_t i = 0; i < sizeof trials / sizeof *trials; i++) {
    struct sb_scenario scenario = load_with("grindstone.yaml", trials[i].set);
    struct sb_run_result result;
    run(&scenario.model, 0, &result);
    const double peak_nm = fabs(result.sums.output_torque_nm.value), limit_nm = scenario.model.limits.output_torque_nm;
    assert_int_equal(kinds_of(&result), trials[i].is_overload ? 1U << SB_VERDICT_OVERLOAD : 0);
    if (trials[i].is_overload) {
      assert_true(peak_nm > 2.0 * limit_nm && peak_nm > last_nm);
    } else {
      assert_true(peak_nm < limit_nm);
    }
    last_nm = peak_nm;
    sb_run_result_clear(&result);
    if (i == 0) {
      scenario.model.driveshaft.is_present = false;
      run(&scenario.model, 0, &result);
      assert_int_equal(kinds_of(&result), 0);
      sb_run_result_clear(&result);
    }
    sb_scenario_clear(&scenario);
  }
}

/* Where the run ended, m, on wheels of 60 mm. */
static double pusher_way_m(const struct sb_run_result *result)
{
  return result->end.vehicle_angle_rad * 0.06;
}

static void pusher_goes_to_the_end_in_automatic_and_stalls_at_the_second_crate_in_fast(void **state)
{
  (void)state;
  struct sb_scenario scenario = load("crate-pusher.yaml");
  struct sb_run_result automatic, locked;
  run(&scenario.model, 0, &automatic);
  assert_near(pusher_way_m(&automatic), 6.0, 1e-12);
  assert_true(automatic.end.time_s < scenario.model.run.duration_s); /* the end of the aisle ended it */
  assert_int_equal(automatic.sums.impact_count, 2);
  run(&scenario.model, sb_gearbox_find(&scenario.model.gearbox, "fast") + 1, &locked);
  assert_int_equal(kinds_of(&locked), 1U << SB_VERDICT_STALL);
  assert_true(pusher_way_m(&locked) >= 4.0 && pusher_way_m(&locked) < 4.5);
  sb_run_result_clear(&automatic);
  sb_run_result_clear(&locked);
  sb_scenario_clear(&scenario);
}

static void pusher_without_its_ballast_slips_at_the_second_crate_in_any_gear(void **state)
{
  (void)state;
  struct sb_scenario scenario = load_with("crate-pusher.yaml", "load.bodies.1.mass=18 kg");
  for (int gear = 0; gear <= 2; gear++) {
    struct sb_run_result result;
    run(&scenario.model, gear, &result);
    assert_int_equal(kinds_of(&result), 1U << SB_VERDICT_SLIPPING);
    assert_true(pusher_way_m(&result) >= 4.0 && pusher_way_m(&result) < 4.5);
    assert_true(result.end.vehicle_speed_rad_s == 0.0 && result.end.output_speed_rad_s > 1.0);
    /* It weighs 16 kg less than as it is, 80 % of them on the driven wheels: more ballast than the advice asks for. */
    const double advised_kg = sb_road_ballast_kg(&scenario.model.load.road, &result.sums.slip_need);
    assert_true(advised_kg > 5.0 && advised_kg < 0.8 * 16.0);
    sb_run_result_clear(&result);
  }
  sb_scenario_clear(&scenario);
}

static void hoist_keeps_its_height_in_neutral_and_at_the_stop_by_its_brake_alone(void **state)
{
  (void)state;
  struct sb_scenario braked = load("braked-hoist.yaml");
  struct sb_scenario loose = load_with("braked-hoist.yaml", "load.bodies.1.holding_brake=0 N.m");
  struct sb_run_result held, fallen, locked;
  run(&braked.model, 0, &held);
  assert_true(held.sums.least_output_speed_rad_s == 0.0 && held.end.output_turns > 10.0);
  run(&loose.model, 0, &fallen);
  assert_true(fallen.sums.least_output_speed_rad_s < -10.0 && fallen.end.output_turns < 0.0);
  sb_scenario_clear(&loose);
  /* A self-locking stage holds at the stop, in gear, but not during the shift. */
  loose = load_with("braked-hoist.yaml", "load.bodies.1.holding_brake=0 N.m");
  for (int g = 0; g < 2; g++) loose.model.gearbox.gears[g].back_efficiency = 0.0;
  run(&loose.model, 0, &locked);
  assert_true(locked.sums.least_output_speed_rad_s < -1.0 && locked.sums.standstill_time_s > 1.5);
  assert_true(locked.end.output_turns > 10.0);
  sb_run_result_clear(&held);
  sb_run_result_clear(&fallen);
  sb_run_result_clear(&locked);
  sb_scenario_clear(&braked);
  sb_scenario_clear(&loose);
}

static void load_of_the_stop_and_go_scenario_is_what_the_documented_command_makes(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("sed -n '/tools\\/data\\/cycle-to-load/,/csv$/s/^# *//p' scenarios/stop-and-go.yaml | "
                "sed \"s|> scenarios/data|> $T|\" > $T/make-it && sh $T/make-it && "
                "cmp $T/urban-stop-and-go.csv scenarios/data/urban-stop-and-go.csv && wc -l < $T/make-it");
  assert_int_equal(said->code, 0);
  assert_int_equal((int)shell_figure(said, ""), 2);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_scenario_comes_to_what_its_comment_tells),
      cmocka_unit_test(readme_tells_the_verdict_of_every_scenario_and_why),
      cmocka_unit_test(every_scenario_balances_its_energies_in_every_gear),
      cmocka_unit_test(cart_locked_in_its_fast_gear_stalls_on_the_climb_where_automatic_goes_on),
      cmocka_unit_test(winch_rolls_back_in_neutral_only),
      cmocka_unit_test(cart_comes_to_its_low_gear_on_the_hump_whatever_it_weighs),
      cmocka_unit_test(lift_without_its_counterweight_has_to_haul),
      cmocka_unit_test(chipper_keeps_its_gears_by_its_clutch),
      cmocka_unit_test(screw_shifts_down_before_its_motor_stops),
      cmocka_unit_test(grindstone_twists_its_shaft_off_unless_it_is_softer_or_slips_less),
      cmocka_unit_test(pusher_goes_to_the_end_in_automatic_and_stalls_at_the_second_crate_in_fast),
      cmocka_unit_test(pusher_without_its_ballast_slips_at_the_second_crate_in_any_gear),
      cmocka_unit_test(hoist_keeps_its_height_in_neutral_and_at_the_stop_by_its_brake_alone),
      cmocka_unit_test(load_of_the_stop_and_go_scenario_is_what_the_documented_command_makes),
  };
  return cmocka_run_group_tests_name("scenarios", tests, shell_setup, shell_teardown);
}
