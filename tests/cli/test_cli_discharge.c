// SPDX-License-Identifier: GPL-3.0-or-later
/* Batteries on the command line: check over the discharge, its CSV and JSON, map over the discharge, the picture. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static const char winder[] = "scenarios/tired-winder.yaml";

static const struct said *run(const char *format, const char *rest)
{
  char command[1024];
  snprintf(command, sizeof command, format, rest);
  return shell_run(command);
}

static void check_tells_the_charge_at_which_the_box_begins_to_be_stuck_low(void **state)
{
  (void)state;
  const struct said *said = run("$SHIFTBAND check %s", winder);
  assert_int_equal(said->code, 0);
  shell_expect(
      said,
      "Discharge of the battery\n  The battery has 3 lithium ion cells in series of 2.6 A.h and is 100 % charged\n    at the start.");
  shell_expect(said, "lithium cells can burn");
  shell_expect(said, "J. Electrochem. Soc. 167");
  const double charge = shell_figure(said, "Stuck low from ");
  assert_near(charge, 35.26, 0.005); /* four digits; the same from both sides below */
  said = run("$SHIFTBAND check --set supply.battery.charge='35.3 %%' %s", winder);
  shell_expect(said, "The box shifts up again: low reads");
  said = run("$SHIFTBAND check --set supply.battery.charge='35.2 %%' %s", winder);
  shell_expect(said, "Stuck low: under the lightest load");
}

static void check_without_a_battery_says_nothing_of_charge(void **state)
{
  (void)state;
  shell_expect_not(run("$SHIFTBAND check %s", "scenarios/tray-cart.yaml"), "Discharge of the battery");
  shell_expect(run("$SHIFTBAND check --json %s", "scenarios/tray-cart.yaml"), "\"battery\":null,\"discharge\":null");
}

static void check_writes_the_discharge_as_json(void **state)
{
  (void)state;
  const struct said *said = run("$SHIFTBAND check --json %s", winder);
  assert_int_equal(said->code, 0);
  shell_expect(said, "\"battery\":{\"chemistry\":\"lithium ion\",\"source\":\"C.-H. Chen");
  shell_expect(said,
               "\"kind\":\"stuck low\",\"gear\":null,\"slower\":\"low\",\"faster\":\"fast\",\"from_charge_pct\":35.2");
  shell_expect(said, "\"kind\":\"stall\",\"gear\":\"fast\",\"slower\":null,\"faster\":null,\"from_charge_pct\":10.5");
  shell_expect(said, "\"table\":[{\"charge_pct\":100,\"voltage_v\":12.57");
}

/* Rows at each hundredth and at the ends of the troubles, each once, falling; flags change where check says. */
static void csv_over_the_discharge_falls_from_full_to_empty(void **state)
{
  (void)state;
  const struct said *said =
      run("$SHIFTBAND check --discharge $T/out.csv %s > $T/words && grep -c 'Discharge of' $T/words && "
          "cut -d, -f1,2,18 $T/out.csv",
          winder);
  assert_int_equal(said->code, 0);
  const char *row = strstr(said->text, "charge_pct,voltage_v,stuck_low\n");
  assert_non_null(row);
  double before = 101.0, before_v = 1e3, began = NAN;
  int rows = 0;
  int was = 0;
  while ((row = strchr(row, '\n')) != NULL && *++row != 0) {
    double charge, voltage;
    int is_stuck;
    assert_int_equal(sscanf(row, "%lf,%lf,%d", &charge, &voltage, &is_stuck), 3);
    assert_true(charge < before && voltage <= before_v);
    if (is_stuck && !was) began = charge;
    was = is_stuck;
    before = charge;
    before_v = voltage;
    rows++;
  }
  assert_true(rows > 101 && rows < 130);
  assert_near(before, 0.0, 0.0);
  assert_near(began, 35.26, 0.005);
}

static void map_over_the_discharge_writes_a_row_a_charge(void **state)
{
  (void)state;
  const struct said *said = run(
      "$SHIFTBAND map --discharge 5 --downshift 40..50 --upshift 60..95 -o - %s 2> $T/words && cat $T/words", winder);
  assert_int_equal(said->code, 0);
  shell_expect(said, "charge_pct,voltage_v,verdict,cause,all_verdicts,shifts,");
  shell_expect(said, "\n100,12.57");
  shell_expect(said, ",passes,,passes,2,");
  shell_expect(said, ",stuck low,,stuck low,1,");
  shell_expect(said, "safe: share of the plane that passes");
  shell_expect(said, "lithium cells can burn");
  said = run("$SHIFTBAND map --discharge 2 --downshift 40..50 --upshift 60..95 --json %s", winder);
  assert_int_equal(said->code, 0);
  shell_expect(said, "\"discharge\":[{\"charge_pct\":100,");
}

static void wrong_wishes_are_refused(void **state)
{
  (void)state;
  static const struct {
    const char *arguments;
    int code;
    const char *text;
  } cases[] = {
      {"check --discharge - scenarios/tray-cart.yaml", 3, "--discharge needs a battery, found no supply.battery"},
      {"check --discharge - scenarios/tired-winder.yaml scenarios/tray-cart.yaml", 2,
       "--discharge and more than one file exclude each other"},
      {"check --discharge - --json scenarios/tired-winder.yaml", 2, "both use standard output"},
      {"check --discharge scenarios/tired-winder.yaml scenarios/tired-winder.yaml", 2, "--discharge"},
      {"check --discharge /nowhere/out.csv scenarios/tired-winder.yaml", 4, "/nowhere/out.csv"},
      {"map --discharge 3 scenarios/tray-cart.yaml", 3, "--discharge needs a battery, found no supply.battery"},
      {"map --discharge 0 scenarios/tired-winder.yaml", 2, "--discharge needs a whole number from 1 to 1000"},
      {"map --discharge 3 --samples 4 scenarios/tired-winder.yaml", 3, "--samples needs tolerances"},
      {"map --discharge 3 --limits $T/l.csv scenarios/tired-winder.yaml", 2,
       "--limits with --discharge needs --vary PATH=FROM..TO: they go with one map"},
      {"map --discharge 3 --shard 1/2 scenarios/tired-winder.yaml", 2, "--shard needs -o"},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    const struct said *said = run("$SHIFTBAND %s", cases[k].arguments);
    if (said->code != cases[k].code) print_error("%s\n", cases[k].arguments);
    assert_int_equal(said->code, cases[k].code);
    shell_expect(said, cases[k].text);
  }
}

static void tolerance_of_the_charge_spans_the_supply(void **state)
{
  (void)state;
  const struct said *said = run("$SHIFTBAND check --set 'tolerances={supply.battery.charge: 20..100 %%}' %s", winder);
  assert_int_equal(said->code, 0);
  shell_expect(said, "Range of the supply voltage");
  shell_expect(said, "least, 10.34 V");
}

static void picture_of_the_discharge_is_drawn(void **state)
{
  (void)state;
  if (shell_run("command -v gnuplot")->code != 0) skip();
  const struct said *said = run("$SHIFTBAND check --discharge $T/out.csv %s > $T/words && "
                                "tools/plot/plot-discharge $T/out.csv -o $T/out.svg && cat $T/out.svg",
                                winder);
  assert_int_equal(said->code, 0);
  shell_expect(said, "stuck low at 35.3 %");
  shell_expect(said, "below the cut-off");
  shell_expect(said, "out.csv, low/fast");
}

static void picture_refuses_what_is_no_table_of_thresholds(void **state)
{
  (void)state;
  if (shell_run("command -v gnuplot")->code != 0) skip();
  static const struct {
    const char *command;
    int code;
    const char *text;
  } cases[] = {
      {"echo charge_pct,upshift_above_pct > $T/a.csv; tools/plot/plot-discharge $T/a.csv -o $T/a.png", 3,
       "lacks the column(s) voltage_v"},
      {"head -n 1 $T/out.csv > $T/b.csv; tools/plot/plot-discharge $T/b.csv -o $T/b.png", 3, "a header but no row"},
      {"head -n 2 $T/out.csv > $T/c.csv; tools/plot/plot-discharge $T/c.csv -o $T/c.png", 3, "one charge is too few"},
      {"tools/plot/plot-discharge $T/out.csv --pair a/b -o $T/d.png", 3, "no pair a/b; there is low/fast"},
      {"(head -n 3 $T/out.csv; sed -n 2p $T/out.csv) > $T/e.csv; tools/plot/plot-discharge $T/e.csv -o $T/e.png", 3,
       "is not below the one before"},
      {"tools/plot/plot-discharge $T/none.csv -o $T/f.png", 4, "can't read"},
      {"tools/plot/plot-discharge $T/out.csv -o $T/f.gif", 2, "ending in .png or .svg"},
  };
  run("$SHIFTBAND check --discharge $T/out.csv %s", winder);
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    const struct said *said = shell_run(cases[k].command);
    if (said->code != cases[k].code) print_error("%s\n", cases[k].command);
    assert_int_equal(said->code, cases[k].code);
    shell_expect(said, cases[k].text);
  }
  assert_int_equal(shell_run("ls $T/*.png $T/*.part.* 2> /dev/null")->code, 2); /* nothing half-drawn is left */
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(check_tells_the_charge_at_which_the_box_begins_to_be_stuck_low),
      cmocka_unit_test(check_without_a_battery_says_nothing_of_charge),
      cmocka_unit_test(check_writes_the_discharge_as_json),
      cmocka_unit_test(csv_over_the_discharge_falls_from_full_to_empty),
      cmocka_unit_test(map_over_the_discharge_writes_a_row_a_charge),
      cmocka_unit_test(wrong_wishes_are_refused),
      cmocka_unit_test(tolerance_of_the_charge_spans_the_supply),
      cmocka_unit_test(picture_of_the_discharge_is_drawn),
      cmocka_unit_test(picture_refuses_what_is_no_table_of_thresholds),
  };
  return cmocka_run_group_tests_name("discharge on the command line", tests, shell_setup, shell_teardown);
}
