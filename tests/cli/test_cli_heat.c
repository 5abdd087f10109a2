// SPDX-License-Identifier: GPL-3.0-or-later
/* What `check` and `run --until-warm` say of a motor that warms, for people and for machines. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

/* The figures of seed-drill.yaml: 12 V behind 0.15 ohm, 2 ohm at 25 C; 130 C is 1 + 0.00393 / 1.01965 105 times as much. */
static const double hot_ratio = 1.0 + 0.00393 / 1.01965 * 105.0;

static void check_says_how_soon_a_blocked_motor_is_too_hot(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check scenarios/seed-drill.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Heat of the winding");
  shell_expect(said, "The limit of the winding is 130 C.");
  shell_expect(said, "The cut-out opens at 120 C and closes again at 95 C.");
  shell_expect(said, "any   shaft blocked      62.3 W");
  shell_expect(said, "the cut-out closes again");
  shell_expect(said, "low   heaviest, 2.1 N.m");
  shell_expect(said, "never");
  shell_expect(said, "Cold and warm motor");
  shell_expect(said, "winding's resistance  2 ohm       2.809 ohm");
}

/* The loss at the start, (12 / 2.15)^2 2 = 62.304 W; the warm figures by the ratio of the resistances. */
static void check_json_has_the_heat_and_both_motors(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check --json scenarios/seed-drill.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(
      said,
      "\"heat\":{\"ambient_c\":25,\"start_c\":25,\"reference_c\":25,\"magnet_per_k\":null,\"limit_c\":130,\"cut_out_c\":120,\"reset_c\":95,"
      "\"bound_c\":120,\"blocked\":{\"gear\":null,\"load\":null,\"external_torque_nm\":null,");
  assert_near_rel(shell_figure(said, "\"start_loss_w\":"), 144.0 / (2.15 * 2.15) * 2.0, 1e-12);
  shell_expect(said, "\"loads\":[{\"gear\":\"low\",\"load\":\"lightest\",\"external_torque_nm\":0.5,");
  shell_expect(said, "\"warm_c\":130,\"cases\":[{\"case\":\"cold\",\"motor\":{");
  shell_expect(said, "{\"case\":\"warm\",\"motor\":{");
  const struct said *warm =
      shell_run("$SHIFTBAND check --json scenarios/seed-drill.yaml | sed 's/.*\"case\":\"warm\"//'");
  assert_near_rel(shell_figure(warm, "\"resistance_ohm\":"), 2.0 * hot_ratio, 1e-12);
}

static void a_motor_without_a_winding_has_no_heat(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check --json scenarios/tray-cart.yaml");
  shell_expect(said, "\"heat\":null");
  said = shell_run("$SHIFTBAND check scenarios/tray-cart.yaml");
  shell_expect_not(said, "Heat of the winding");
}

static void a_blocked_motor_that_passes_its_limit_is_a_caution_and_a_cut_out_below_it_takes_it_away(void **state)
{
  (void)state;
  const char *caution = "with its shaft blocked the winding exceeds";
  const struct said *said = shell_run("$SHIFTBAND check --set motor.winding.cut_out='140 C' scenarios/seed-drill.yaml");
  shell_expect(said, caution);
  said = shell_run("$SHIFTBAND check scenarios/seed-drill.yaml");
  shell_expect_not(said, caution);
}

static void without_any_bound_nothing_is_judged(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "grep -v 'cut_out\\|reset\\|^limits' scenarios/seed-drill.yaml > $T/free.yaml; $SHIFTBAND check $T/free.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Neither limits.winding nor motor.winding.cut_out is given: nothing is judged.");
  /* The warm motor is then as warm as the heaviest load makes it. */
  shell_expect(said, "warm, 183.7 C");
}

static void run_until_warm_says_when_the_switch_opens(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run --until-warm scenarios/seed-drill.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Repeated until warm");
  shell_expect(said, "The thermal switch opens at 120 C in repeat ");
  shell_expect(said, "after the first start.");
  const struct said *json = shell_run("$SHIFTBAND run --until-warm --json scenarios/seed-drill.yaml");
  shell_expect(json, "\"until_warm\":{\"end\":\"cut out\",\"repeats\":");
  /* The repeat is the one in which that time lies. */
  assert_near(ceil(shell_figure(json, "\"end_s\":") / 40.0), shell_figure(json, "\"repeats\":"), 0.0);
}

static void run_until_warm_says_where_it_settles(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run --until-warm --verbose --set controller.downshift_below='56 %' scenarios/seed-drill.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "Steady state: the motor gets no warmer after ");
  shell_expect(said, "repeats were simulated; the others were skipped, 0.5 K at a time");
  said =
      shell_run("$SHIFTBAND run --until-warm --json --set controller.downshift_below='56 %' scenarios/seed-drill.yaml");
  shell_expect(said, "\"until_warm\":{\"end\":\"steady state\",");
  assert_true(shell_figure(said, "\"simulated\":") < shell_figure(said, "\"repeats\":"));
}

static void run_until_warm_says_when_the_limit_is_passed(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run --until-warm --set limits.winding='100 C' scenarios/seed-drill.yaml");
  shell_expect(said, "The winding exceeds its limit of 100 C in repeat ");
}

static void run_until_warm_needs_a_winding_that_warms(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run --until-warm scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(
      said, "shiftband run: scenarios/tray-cart.yaml: --until-warm needs a winding that warms, found no motor.winding");
}

static void a_run_as_it_stands_says_nothing_of_repeats(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/seed-drill.yaml");
  shell_expect_not(said, "epeat");
}

static const char left_out[] = "without motor.magnet the magnets keep their strength in the heat.";

/* Both reports name the key and the way in which they err; nothing of it where there is a magnet, or no heat. */
static void heat_without_a_magnet_is_noted(void **state)
{
  (void)state;
  static const char *const commands[] = {"check", "run"};
  char line[200];
  for (int k = 0; k < 2; k++) {
    snprintf(line, sizeof line, "COLUMNS=200 $SHIFTBAND %s scenarios/seed-drill.yaml", commands[k]);
    const struct said *said = shell_run(line);
    shell_expect(said, left_out);
    shell_expect(said, "too kind for torque and heat");
    snprintf(line, sizeof line,
             "COLUMNS=200 $SHIFTBAND %s --set motor.magnet.material=alnico scenarios/seed-drill.yaml", commands[k]);
    shell_expect_not(shell_run(line), left_out);
    snprintf(line, sizeof line, "COLUMNS=200 $SHIFTBAND %s scenarios/tray-cart.yaml", commands[k]);
    shell_expect_not(shell_run(line), left_out);
  }
  shell_expect(shell_run("$SHIFTBAND check --json scenarios/seed-drill.yaml"),
               "{\"kind\":\"magnet\",\"text\":\"magnet: ");
}

/* A winding at 130 C has its housing, which loses its heat through 6.5 of 9.7 K/W, at 25 + 105 6.5 / 9.7 = 95.36 C, and ferrite
 * then 85.93 % of its strength: of (2.3 N.m) / (5.7 A). */
static void check_shows_the_warm_motor_with_its_weaker_magnets(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check --set motor.magnet.material=ferrite scenarios/seed-drill.yaml");
  shell_expect(said, "The magnets are as warm as the housing, and lose 0.2 % of their strength");
  shell_expect(said, "temperature of the magnets  25 C          95.36 C");
  shell_expect(said, "torque constant             0.4035 N.m/A  0.3467 N.m/A");
  /* Its loss grows faster than it flows out, until the load stalls the motor: it ends as a blocked one. */
  shell_expect(said, "high  heaviest, 2.1 N.m  10.32 W            326.7 C");
  said = shell_run("$SHIFTBAND check --json --set motor.magnet.per_kelvin='-0.2 %/K' scenarios/seed-drill.yaml | sed "
                   "'s/.*\"case\":\"warm\"//'");
  const double magnet_c = 25.0 + 105.0 * 6.5 / 9.7, left = 1.0 - 0.002 * (magnet_c - 25.0);
  assert_near_rel(shell_figure(said, "\"magnet_c\":"), magnet_c, 1e-12);
  assert_near_rel(shell_figure(said, "\"kt_nm_a\":"), left * 2.3 / 5.7, 1e-12);
  assert_near_rel(shell_figure(said, "\"resistance_ohm\":"), 2.0 * hot_ratio, 1e-12);
}

/* Magnets of -0.5 %/K as warm as a winding of 400 C: a tenth of the torque is below the friction. */
static void a_motor_that_cannot_turn_itself_has_no_table(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("grep -v housing: scenarios/seed-drill.yaml > $T/alone.yaml; $SHIFTBAND check --set "
                "motor.magnet.per_kelvin='-0.5 %/K' --set limits.winding='400 C' $T/alone.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "The magnets are as warm as the winding, and lose 0.5 % of their strength");
  shell_expect(said, "At 400 C the motor does not overcome its own friction.");
  shell_expect_not(said, "Cold and warm motor");
}

static void a_run_has_the_magnets_temperature_and_strength(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run -q --set motor.magnet.material=ferrite -o - "
                "scenarios/seed-drill.yaml | awk -F, 'NR == 1 {for (i = 1; i <= NF; i++) at[$i] = i} "
                "{print $at[\"housing_c\"] \"=\" $at[\"magnet_c\"]}' | awk -F= 'NR == 1 || $1 != $2'");
  assert_string_equal(said->text, "housing_c=magnet_c\n");
  said = shell_run("$SHIFTBAND run -q -o - scenarios/seed-drill.yaml | head -1");
  shell_expect_not(said, "magnet_c");
  said = shell_run("$SHIFTBAND run --json --set motor.magnet.material=ferrite scenarios/seed-drill.yaml");
  const double left = shell_figure(said, "\"magnet_left_fraction\":");
  assert_near(left, 1.0 - 0.002 * (shell_figure(said, "\"housing_c\":") - 25.0), 1e-14);
  said = shell_run("$SHIFTBAND run --set motor.magnet.material=ferrite scenarios/seed-drill.yaml");
  shell_expect(said, "the magnets have 99.9 % of their strength at the end");
}

/* The loss of a torque grows as R / k^2: the switch opens in repeat 33 in place of 53. */
static void weaker_magnets_open_the_switch_sooner(void **state)
{
  (void)state;
  const struct said *strong = shell_run("$SHIFTBAND run --until-warm --json scenarios/seed-drill.yaml");
  const double strong_s = shell_figure(strong, "\"end_s\":");
  const struct said *weak =
      shell_run("$SHIFTBAND run --until-warm --json --set motor.magnet.material=ferrite scenarios/seed-drill.yaml");
  const double weak_s = shell_figure(weak, "\"end_s\":");
  assert_true(weak_s < 0.7 * strong_s && weak_s > 0.5 * strong_s);
}

#define HOT                                                                                                         \
  "--set motor.winding.start='100 C' --set motor.winding.housing.start='90 C' --set motor.winding.cut_out='300 C' " \
  "--set limits.winding='300 C' --set controller.downshift_below='56 %' --set run.duration='12 s' "

/* Each point of a study over the coefficient is a run of its own: hot magnets of -0.4 %/K hunt. */
static void a_study_over_the_coefficient_is_its_runs(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND map " HOT "--set motor.magnet.per_kelvin='-0.1 %/K' --vary motor.magnet.per_kelvin='-0.4..0 %/K' "
      "--points 3 -o $T/v.csv scenarios/seed-drill.yaml > $T/out 2>&1; tail -3 $T/v.csv | cut -d, -f1,2,5,6");
  char rows[3][200];
  int seen = 0;
  assert_int_equal(sscanf(said->text, "%199s\n%199s\n%199s", rows[0], rows[1], rows[2]), 3);
  for (int k = 0; k < 3; k++) {
    double per_k, shifts, turns;
    char verdict[80], line[1000];
    assert_int_equal(sscanf(rows[k], "%lf,%79[^,],%lf,%lf", &per_k, verdict, &shifts, &turns), 4);
    const bool is_hunting = strcmp(verdict, "hunting") == 0;
    snprintf(line, sizeof line,
             "$SHIFTBAND run %s --set motor.magnet.per_kelvin='%.17g %%/K' --json scenarios/seed-drill.yaml", HOT,
             per_k);
    const struct said *run = shell_run(line);
    assert_near(shell_figure(run, "\"output_turns\":"), turns, 1e-12);
    assert_near(shell_figure(run, "\"shift_count\":"), shifts, 0.0);
    assert_true((shell_find(run->text, "\"kind\":\"hunting\"") != NULL) == is_hunting);
    seen |= is_hunting ? 1 : 2;
  }
  assert_int_equal(seen, 3);
}

/* The exact map of hot ferrite hunts at thresholds that pass with magnets that keep their strength; tune finds others. */
static void maps_and_tune_take_magnets_into_account(void **state)
{
  (void)state;
  static const char *const magnets[] = {"ferrite", "alnico"};
  for (int k = 0; k < 2; k++) {
    char line[1000];
    snprintf(line, sizeof line,
             "$SHIFTBAND map %s --set controller.upshift_above='80 %%' --set motor.magnet.material=%s "
             "scenarios/seed-drill.yaml | grep -A 1 '^At the'",
             HOT, magnets[k]);
    shell_expect(shell_run(line), k == 0 ? "hunting (threshold-driven)" : "passes");
  }
  const struct said *said =
      shell_run("$SHIFTBAND tune " HOT "--set motor.magnet.material=ferrite scenarios/seed-drill.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "These thresholds and this dwell pass");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(check_says_how_soon_a_blocked_motor_is_too_hot),
      cmocka_unit_test(check_json_has_the_heat_and_both_motors),
      cmocka_unit_test(a_motor_without_a_winding_has_no_heat),
      cmocka_unit_test(a_blocked_motor_that_passes_its_limit_is_a_caution_and_a_cut_out_below_it_takes_it_away),
      cmocka_unit_test(without_any_bound_nothing_is_judged),
      cmocka_unit_test(run_until_warm_says_when_the_switch_opens),
      cmocka_unit_test(run_until_warm_says_where_it_settles),
      cmocka_unit_test(run_until_warm_says_when_the_limit_is_passed),
      cmocka_unit_test(run_until_warm_needs_a_winding_that_warms),
      cmocka_unit_test(a_run_as_it_stands_says_nothing_of_repeats),
      cmocka_unit_test(heat_without_a_magnet_is_noted),
      cmocka_unit_test(check_shows_the_warm_motor_with_its_weaker_magnets),
      cmocka_unit_test(a_motor_that_cannot_turn_itself_has_no_table),
      cmocka_unit_test(a_run_has_the_magnets_temperature_and_strength),
      cmocka_unit_test(weaker_magnets_open_the_switch_sooner),
      cmocka_unit_test(a_study_over_the_coefficient_is_its_runs),
      cmocka_unit_test(maps_and_tune_take_magnets_into_account),
  };
  return cmocka_run_group_tests(tests, shell_setup, shell_teardown);
}
