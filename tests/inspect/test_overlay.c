// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A simulation beside a log: that they agree where they should, part where and by how much they must, and that the one
 * number that was changed is found again.
 */
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort_double.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/shell.h"
#include "help/worn.h"
#include "inspect/gear_track.h"
#include "shiftband/overlay.h"

static const char *const shipped[] = {"balanced-lift",   "hump-cart",   "hunting-crawler-fixed",
                                      "hunting-crawler", "stop-and-go", "three-speed-feeder",
                                      "tray-cart",       "well-winch"};

enum { SHIPPED_COUNT = sizeof shipped / sizeof shipped[0] };

static struct sb_scenario scenario, other;

static const char *load_with(const char *name, const char *set, struct sb_scenario *out)
{
  static char path[256];
  struct sb_faults faults;
  snprintf(path, sizeof path, "%s/scenarios/%s.yaml", SB_SOURCE_DIR, name);
  if (sb_scenario_load(path, &set, set != NULL, out, &faults) != SB_OK) fail_msg("%s", faults.texts[0]);
  return path;
}

static void compare(const struct sb_log *log, const struct sb_overlay_options *options, struct sb_overlay *overlay)
{
  struct sb_log simulated;
  struct sb_error err = {SB_OK, ""};
  *overlay = (struct sb_overlay){0};
  if (sb_overlay_run(&scenario.model, log, options, &simulated, &err) != SB_OK ||
      sb_overlay_compare(log, &simulated, options, overlay, &err) != SB_OK) {
    fail_msg("%s", err.text);
  }
  sb_log_clear(&simulated);
}

/* A scenario's own log, and what a simulation beside it comes to. */
struct beside {
  struct sb_log log;
  struct sb_run_result result;
  struct sb_overlay overlay;
};

/* interval_s NAN: the scenario's own. */
static struct beside logged(const char *name, double interval_s)
{
  struct beside at = {.overlay = {0}};
  load_with(name, NULL, &scenario);
  worn_log(&scenario.model, isnan(interval_s) ? scenario.model.run.trace_interval_s : interval_s, &at.log, &at.result);
  return at;
}

static void clear(struct beside *at)
{
  sb_overlay_clear(&at->overlay);
  sb_log_clear(&at->log);
  sb_run_result_clear(&at->result);
  sb_scenario_clear(&scenario);
}

/* GSL's quantiles of sorted values, to the bit. */
static void a_quantile_needs_no_sorted_values(void **state)
{
  (void)state;
  static double values[1000], sorted[1000]; /* large, hence not on the stack */
  static const double shares[] = {0.0, 0.37, 0.5, 0.98, 1.0};
  gsl_rng *dice = dice_of(98);
  for (size_t count = 0; count < 1000; count = 3 * count / 2 + 1) {
    for (size_t k = 0; k < sizeof shares / sizeof *shares; k++) {
      for (size_t i = 0; i < count; i++) sorted[i] = values[i] = floor(gsl_ran_flat(dice, -40.0, 40.0)) / 7.0;
      gsl_sort(sorted, 1, count);
      const double want = gsl_stats_quantile_from_sorted_data(sorted, 1, count, shares[k]);
      assert_true(sb_series_quantile(values, count, shares[k]) == want);
    }
  }
  gsl_rng_free(dice);
}

static void a_scenarios_own_log_agrees_with_it_however_noisy(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(0);
  for (int k = 0; k < 5 * SHIPPED_COUNT; k++) {
    const struct sb_overlay_options options = sb_overlay_options_default();
    const int round_count = k / SHIPPED_COUNT;
    const struct wear wear = {.noise = 0.004 * round_count, .lost = 0.1, .round_rpm = k % 2};
    struct beside at = logged(shipped[k % SHIPPED_COUNT], NAN);
    worn_wear(&at.log, &wear, random);
    compare(&at.log, &options, &at.overlay);
    if (!isnan(at.overlay.first_deviation_s)) {
      fail_msg("%s, noise %g: parts at %g s in %s", shipped[k % SHIPPED_COUNT], wear.noise,
               at.overlay.first_deviation_s, sb_log_columns[at.overlay.first].name);
    }
    if (wear.noise == 0.0 && wear.round_rpm == 0.0) assert_true(at.overlay.cost < 1e-4);
    clear(&at);
  }
  gsl_rng_free(random);
}

/* From 8 s on the log's motor is 30 rpm faster than it was. */
static void parting_is_told_with_its_time_size_and_column(void **state)
{
  (void)state;
  struct sb_overlay_options options = sb_overlay_options_default();
  struct beside at = logged("tray-cart", 0.02);
  for (size_t i = 0; i < at.log.count; i++)
    at.log.columns[SB_LOG_MOTOR_SPEED][i] += at.log.time_s[i] >= 8.0 ? 30.0 : 0.0;
  compare(&at.log, &options, &at.overlay);
  assert_int_equal(at.overlay.first, SB_LOG_MOTOR_SPEED);
  assert_near(at.overlay.first_deviation_s, 8.0,
              2.5 * 0.02); /* the running median turns half way through its five values */
  assert_near(at.overlay.columns[SB_LOG_MOTOR_SPEED].greatest, 30.0, 1e-6);
  assert_near(at.overlay.columns[SB_LOG_MOTOR_SPEED].rms, 30.0 * sqrt(0.6), 0.1); /* 12 s of 20 s */
  assert_near(at.overlay.columns[SB_LOG_MOTOR_SPEED].deviating_fraction, 0.6, 0.005);
  assert_true(isnan(at.overlay.columns[SB_LOG_OUTPUT_SPEED].first_deviation_s));
  sb_overlay_clear(&at.overlay);
  /* A tolerance above 30 rpm of 276 rpm lets it pass. */
  options.tolerance_fraction = 0.15;
  compare(&at.log, &options, &at.overlay);
  assert_true(isnan(at.overlay.first_deviation_s));
  clear(&at);
}

static void log_without_signs_is_compared_by_magnitude(void **state)
{
  (void)state;
  const struct sb_overlay_options options = sb_overlay_options_default();
  struct beside at = logged("tray-cart", 0.02);
  for (size_t i = 0; i < at.log.count; i++)
    at.log.columns[SB_LOG_MOTOR_SPEED][i] = fabs(at.log.columns[SB_LOG_MOTOR_SPEED][i]);
  compare(&at.log, &options, &at.overlay);
  assert_true(at.overlay.columns[SB_LOG_MOTOR_SPEED].is_magnitude);
  assert_true(isnan(at.overlay.first_deviation_s));
  clear(&at);
}

static void log_that_starts_earlier_is_laid_over_by_its_offset(void **state)
{
  (void)state;
  struct sb_overlay_options options = sb_overlay_options_default();
  struct beside at = logged("hump-cart", 0.02);
  for (size_t i = 0; i < at.log.count; i++) at.log.time_s[i] += 100.0;
  options.offset_s = 100.0;
  compare(&at.log, &options, &at.overlay);
  assert_true(isnan(at.overlay.first_deviation_s));
  clear(&at);
}

/* Rows that a logger and a simulation made by hand. Behind the last row of the simulation stands what nobody may read. */
static double simulated_s[] = {0.0, 1.0, 2.0, 2.0, 3.0, 0.0}, simulated_rpm[] = {0.0, 10.0, 20.0, 40.0, 40.0, 1e9};
static double simulated_gear[] = {1.0, 1.0, 1.0, 2.0, 2.0, 8.0};
static double logged_s[] = {9.5, 10.0, 10.5, 12.0, 12.0, 12.5, 13.0, 13.5};
static double logged_rpm[] = {7.0, 0.0, 5.0, 20.0, 40.0, 40.0, -40.0, 7.0};
static double logged_gear[] = {1.0, 1.0, 2.0, 1.0, 2.0, 2.0, 2.0, 2.0};

/* The log's clock shows 10 s when the simulation begins. Both jump at its 2 s; the log's last speed has the wrong sign. */
static void speeds_are_compared_on_straight_lines_and_gears_in_steps_and_a_stray_counts_once(void **state)
{
  (void)state;
  static const double straight_rpm[] = {NAN, 0.0, 5.0, 20.0, 40.0, 40.0, 40.0, NAN};
  static const double steps[] = {NAN, 1.0, 1.0, 1.0, 2.0, 2.0, 2.0, NAN};
  const struct sb_log log = {
      .count = 8, .time_s = logged_s, .columns = {[SB_LOG_MOTOR_SPEED] = logged_rpm, [SB_LOG_GEAR] = logged_gear}};
  const struct sb_log simulated = {.count = 5,
                                   .time_s = simulated_s,
                                   .columns = {[SB_LOG_MOTOR_SPEED] = simulated_rpm, [SB_LOG_GEAR] = simulated_gear}};
  const struct sb_overlay_options options = {.offset_s = 10.0, .tolerance_fraction = 0.02};
  struct sb_overlay overlay;
  assert_int_equal(sb_overlay_compare(&log, &simulated, &options, &overlay, NULL), SB_OK);
  for (size_t i = 0; i < log.count; i++) {
    const double rpm = overlay.simulated[SB_LOG_MOTOR_SPEED][i], gear = overlay.simulated[SB_LOG_GEAR][i];
    if (isnan(straight_rpm[i])) {
      assert_true(isnan(rpm) && isnan(gear));
      continue;
    }
    assert_near(rpm, straight_rpm[i], 1e-12);
    assert_near(gear, steps[i], 0.0);
  }
  /* Six rows have a time in common. One is off by twice the scale, which counts as once; one gear differs. */
  assert_near(overlay.columns[SB_LOG_MOTOR_SPEED].scale, 40.0, 1e-12);
  assert_near(overlay.columns[SB_LOG_MOTOR_SPEED].rms, 80.0 / sqrt(6.0), 1e-12);
  assert_near(overlay.cost, (1.0 + 0.25) / 6.0, 1e-12);
  sb_overlay_clear(&overlay);
}

/* A machine that differs from the scenario in one number, and what the log of it is taken for. */
struct change {
  const char *scenario, *set, *path;
  double value;  /* in the unit in which hints give it */
  double within; /* fraction */
};

static void log_changed(const struct change *change, int is_speeds_only, gsl_rng *random, struct sb_log *log)
{
  const struct wear wear = {.noise = 0.005, .lost = 0.05, .round_rpm = 1.0};
  struct sb_run_result result;
  load_with(change->scenario, change->set, &other);
  load_with(change->scenario, NULL, &scenario);
  /* The controller keeps its reference. */
  other.model.control.sensor.reference_rad_s = scenario.model.control.sensor.reference_rad_s;
  worn_log(&other.model, 0.02, log, &result);
  worn_wear(log, &wear, random);
  for (int c = 0; is_speeds_only && c < SB_LOG_COLUMN_COUNT; c++) {
    if (c != SB_LOG_MOTOR_SPEED && c != SB_LOG_OUTPUT_SPEED && log->columns[c] != NULL) {
      worn_strip(log, (enum sb_log_column)c);
    }
  }
  sb_run_result_clear(&result);
  sb_scenario_clear(&other);
}

/* Place of the true number among the hints, from 1; 0: not there. */
static size_t place_of(const struct change *change, const struct sb_hint *hints, size_t count)
{
  for (size_t i = 0; i < count; i++) {
    if (strcmp(hints[i].path, change->path) == 0) return i + 1;
  }
  return 0;
}

/* The values that hints come to need not be exact: a shift falls on a sample of 10 or 20 ms or on the next. */
static const struct change changes[] = {
    {"tray-cart", "motor.stall_torque=0.36 N.m", "motor.stall_torque", 0.36, 0.03},
    {"tray-cart", "supply.internal_resistance=1.9 ohm", "supply.internal_resistance", 1.9, 0.05},
    {"tray-cart", "load.parts.1.coefficient=0.0034 N.m.s/rad", "load.parts.1.coefficient", 0.0034, 0.05},
    {"tray-cart", "controller.downshift_below=62 %", "controller.downshift_below", 62.0, 0.04},
    {"tray-cart", "motor.rotor_inertia=3.6e-4 kg.m2", "motor.rotor_inertia", 3.6e-4, 0.1},
    {"hump-cart", "load.bodies.1.mass=32 kg", "load.bodies.1.mass", 32.0, 0.03},
    {"hump-cart", "motor.no_load_speed=350 rpm", "motor.no_load_speed", 350.0, 0.03},
    {"hump-cart", "load.bodies.1.wheel_radius=0.09 m", "load.bodies.1.wheel_radius", 0.09, 0.05},
    {"hump-cart", "controller.upshift_above=80 %", "controller.upshift_above", 80.0, 0.04},
    {"well-winch", "motor.stall_torque=0.09 N.m", "motor.stall_torque", 0.09, 0.04},
    {"hunting-crawler", "controller.dwell=0.8 s", "controller.dwell", 0.8, 0.03},
    {"hunting-crawler", "supply.open_circuit_voltage=6.6 V", "supply.open_circuit_voltage", 6.6, 0.03},
};

enum { CHANGE_COUNT = sizeof changes / sizeof changes[0] };

/* Every other change, for each takes some 500 runs: the even ones from all columns, the odd ones from speeds alone. With all
 * of them both ways, 12 of 12 and 11 of 12 come first, 12 of 12 among three. */
static int count_found(int is_speeds_only, int *among_three)
{
  gsl_rng *random = dice_of(0);
  int first = 0;
  *among_three = 0;
  for (int k = is_speeds_only; k < CHANGE_COUNT; k += 2) {
    const struct sb_overlay_options options = sb_overlay_options_default();
    struct sb_explanation explanation;
    struct sb_error err = {SB_OK, ""};
    struct sb_log log;
    log_changed(&changes[k], is_speeds_only, random, &log);
    char path[256];
    snprintf(path, sizeof path, "%s/scenarios/%s.yaml", SB_SOURCE_DIR, changes[k].scenario);
    const struct sb_hint_request request = {.source = {.path = path}};
    if (sb_overlay_explain(&log, &scenario, &options, &request, &explanation, &err) != SB_OK) fail_msg("%s", err.text);
    const size_t place = place_of(&changes[k], explanation.hints, explanation.count);
    if (place == 0) fail_msg("%s is not among the hints", changes[k].path);
    const struct sb_hint *hint = &explanation.hints[place - 1];
    print_message("%s: %s: place %zu with %.1f %%, %.4g for %.4g; first %s with %.1f %%\n", changes[k].scenario,
                  changes[k].path, place, 100.0 * hint->gain, hint->best, changes[k].value, explanation.hints[0].path,
                  100.0 * explanation.hints[0].gain);
    /* Wherever it is placed, its value is found, and it explains nearly all but noise. */
    assert_near(hint->best, changes[k].value, changes[k].within * changes[k].value);
    assert_true(hint->gain > 0.8);
    first += place == 1;
    *among_three += place <= 3;
    sb_log_clear(&log);
    sb_scenario_clear(&scenario);
  }
  gsl_rng_free(random);
  print_message("%s: first %d, among three %d of %d\n", is_speeds_only ? "speeds only" : "all columns", first,
                *among_three, (int)CHANGE_COUNT / 2);
  return first;
}

static void the_number_that_was_changed_is_found_from_all_columns(void **state)
{
  (void)state;
  int among_three;
  const int first = count_found(0, &among_three);
  assert_true(first >= CHANGE_COUNT / 2 - 1);
  assert_int_equal(among_three, CHANGE_COUNT / 2);
}

/* Speeds alone cannot always tell a weak motor from a heavy load: among the first three will do. */
static void the_number_that_was_changed_is_among_three_from_speeds_alone(void **state)
{
  (void)state;
  int among_three;
  count_found(1, &among_three);
  assert_true(among_three >= CHANGE_COUNT / 2 - 1);
}

/* All load torques together are no key: they are told as a factor. */
static void heavier_load_of_several_parts_is_told_as_one_factor(void **state)
{
  (void)state;
  const struct sb_overlay_options options = sb_overlay_options_default();
  static char path[256];
  struct sb_explanation explanation;
  struct sb_log log;
  struct sb_run_result result;
  snprintf(path, sizeof path, "%s/scenarios/tray-cart.yaml", SB_SOURCE_DIR);
  load_with("tray-cart", NULL, &scenario);
  struct sb_model heavy = scenario.model;
  double torques[16];
  struct sb_table *table = &heavy.load.parts[1].table;
  assert_in_range(table->count, 1, 16);
  for (size_t i = 0; i < table->count; i++) torques[i] = 1.2 * table->y[i];
  table->y = torques;
  worn_log(&heavy, 0.02, &log, &result);
  const struct sb_hint_request request = {.source = {.path = path}};
  assert_int_equal(sb_overlay_explain(&log, &scenario, &options, &request, &explanation, NULL), SB_OK);
  assert_string_equal(explanation.hints[0].path, "load torques");
  assert_true(explanation.hints[0].is_factor);
  assert_near(explanation.hints[0].best, 1.2, 0.01);
  sb_log_clear(&log);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
}

static void commands_tell_parting_hint_and_csv(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run --set 'motor.stall_torque=0.36 N.m' -o $T/log.csv scenarios/tray-cart.yaml > /dev/null; "
      "$SHIFTBAND inspect --against scenarios/tray-cart.yaml --fail-on deviation -o $T/both.csv $T/log.csv");
  assert_int_equal(said->code, 1);
  shell_expect(said, "Log and simulation first deviate at 0.000 s, in the output torque.");
  shell_expect(said, "A hint, not a finding");
  shell_expect(said, "motor.stall_torque 0.42 -> 0.3");
  said = shell_run("head -n 1 $T/both.csv; wc -l < $T/both.csv; wc -l < $T/log.csv");
  shell_expect(said, "time_s,gear_log,gear_sim,motor_speed_rpm_log,motor_speed_rpm_sim,output_speed_rpm_log,");
  int rows = 0, log_rows = -1;
  assert_int_equal(sscanf(strchr(said->text, '\n'), "%d %d", &rows, &log_rows), 2);
  assert_int_equal(rows, log_rows);
  said = shell_run("$SHIFTBAND inspect --against scenarios/tray-cart.yaml --set 'motor.stall_torque=0.36 N.m' "
                   "--fail-on deviation $T/log.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "agree within the tolerance all the time");
}

/* A log that goes on behind the scenario's end is compared as far as that goes. */
static void log_longer_than_the_scenario_is_compared_to_its_end(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run --set 'run.duration=30 s' -o $T/long.csv scenarios/tray-cart.yaml > /dev/null; $SHIFTBAND "
      "inspect --against scenarios/tray-cart.yaml -o $T/both.csv $T/long.csv; tail -n 1 $T/both.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "compared up to 20 s, where the scenario's run ends");
  shell_expect(said, "agree within the tolerance");
  shell_expect(said, "30,2,,");
}

/* Logs of all shipped machines, each beside its own scenario a little late; columns are characters, not bytes. */
static void text_fits_eighty_columns(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for s in scenarios/*.yaml; do $SHIFTBAND run -o $T/own.csv $s > /dev/null 2>&1; COLUMNS=80 $SHIFTBAND inspect "
      "--no-hints --against $s --offset '0.2 s' $T/own.csv 2>&1; done | LC_ALL=C awk "
      "'{ gsub(/[\200-\277]/, \"\") } length > 80; END { print (NR > 300 ? \"enough\" : \"too few\") }'");
  assert_int_equal(said->code, 0);
  assert_string_equal(said->text, "enough\n");
}

static void json_is_one_valid_object(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND run --set 'motor.stall_torque=0.36 N.m' -o $T/log.csv scenarios/tray-cart.yaml > /dev/null; "
      "$SHIFTBAND inspect --json --against scenarios/tray-cart.yaml --try motor.stall_torque --try load.inertia "
      "$T/log.csv | python3 -c '\n"
      "import json, sys\n"
      "o = json.load(sys.stdin)\n"
      "print([h[\"key\"] for h in o[\"against\"][\"hints\"]], len(o[\"shifts\"]), o[\"against\"][\"first_deviation_in\"])\n'");
  assert_int_equal(said->code, 0);
  shell_expect(said, "['motor.stall_torque', 'load.inertia'] 2 output_torque_nm");
}

static void picture_of_both_is_drawn(void **state)
{
  (void)state;
  if (shell_run("command -v gnuplot")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND run --set 'motor.stall_torque=0.36 N.m' -o $T/log.csv scenarios/tray-cart.yaml > /dev/null; $SHIFTBAND "
      "inspect --no-hints --against scenarios/tray-cart.yaml -o $T/both.csv $T/log.csv > /dev/null; tools/plot/plot-trace "
      "$T/both.csv -o $T/both.svg && grep -c 'motor speed' $T/both.svg && head -c 4 $T/both.svg && ! ls $T/*.part.*");
  if (said->code != 0) fail_msg("%s", said->text);
  said = shell_run("sed '5s/,/,x/' $T/both.csv > $T/bad.csv; tools/plot/plot-trace $T/bad.csv -o $T/bad.svg");
  assert_int_equal(said->code, 3);
  shell_expect(said, "bad.csv:5: expected a number, got \"x");
  assert_int_equal(shell_run("test -e $T/bad.svg")->code, 1);
}

static void faults_are_told_and_leave_no_output(void **state)
{
  (void)state;
  assert_int_equal(shell_run("$SHIFTBAND run -o $T/log.csv scenarios/tray-cart.yaml")->code, 0);
  static const struct shell_fault faults[] = {
      {"$SHIFTBAND inspect --against $T/none.yaml $T/log.csv", "none.yaml", 4},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml --set motor.power=3 $T/log.csv", "motor.power", 3},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml --offset '90 s' -o $T/x.csv $T/log.csv",
       "before the simulation begins at 90 s", 3},
      {"awk -F, -v OFS=, -v CONVFMT=%.12g -v OFMT=%.12g 'NR > 1 { $1 += 1764000000 } 1' $T/log.csv > $T/clock.csv; $SHIFTBAND inspect --against "
       "scenarios/tray-cart.yaml -o $T/x.csv $T/clock.csv",
       "no time and column in common: needs values between 0 and 20 s", 3},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml --set 'motor.stall_torque=0.3 N.m' --try motor.power "
       "-o $T/x.csv $T/log.csv",
       "\"motor.power\" is no number of this scenario that has a value", 2},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml --tolerance 5 $T/log.csv", "--tolerance needs", 2},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml -o $T/log.csv $T/log.csv", "would replace the input", 2},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml -o scenarios/tray-cart.yaml $T/log.csv",
       "would replace the input", 2},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml -o - --json $T/log.csv", "both use standard output", 2},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml -o $T/none/x.csv $T/log.csv", "none/x.csv", 4},
      {"$SHIFTBAND inspect --against scenarios/tray-cart.yaml -o - $T/log.csv > /dev/full", "standard output", 4},
  };
  shell_expect_faults(faults, sizeof faults / sizeof *faults);
  assert_int_equal(shell_run("test -e $T/x.csv")->code, 1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_quantile_needs_no_sorted_values),
      cmocka_unit_test(speeds_are_compared_on_straight_lines_and_gears_in_steps_and_a_stray_counts_once),
      cmocka_unit_test(a_scenarios_own_log_agrees_with_it_however_noisy),
      cmocka_unit_test(parting_is_told_with_its_time_size_and_column),
      cmocka_unit_test(log_without_signs_is_compared_by_magnitude),
      cmocka_unit_test(log_that_starts_earlier_is_laid_over_by_its_offset),
      cmocka_unit_test(the_number_that_was_changed_is_found_from_all_columns),
      cmocka_unit_test(the_number_that_was_changed_is_among_three_from_speeds_alone),
      cmocka_unit_test(heavier_load_of_several_parts_is_told_as_one_factor),
      cmocka_unit_test(commands_tell_parting_hint_and_csv),
      cmocka_unit_test(log_longer_than_the_scenario_is_compared_to_its_end),
      cmocka_unit_test(text_fits_eighty_columns),
      cmocka_unit_test(json_is_one_valid_object),
      cmocka_unit_test(picture_of_both_is_drawn),
      cmocka_unit_test(faults_are_told_and_leave_no_output),
  };
  return cmocka_run_group_tests_name("overlay", tests, shell_setup, shell_teardown);
}
