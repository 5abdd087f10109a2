// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What commands write for machines, against the one table of it: JSON by a validator of somebody else (python3-jsonschema), strict and
 * over all shipped scenarios; each described member is really written somewhere; headings of CSV by the records themselves.
 */
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"
#include "text/records.h"

#define PYTHON "P=python3; $P -c 'import jsonschema' 2> /dev/null || P=/usr/bin/python3; "

/* A command whose JSON goes to $T/json/COMMAND-NAME.json; words before its name: changes that make other members come true. */
static const struct example {
  const char *name, *words;
} examples[] = {
    {"run-warm", "run --json --until-warm scenarios/seed-drill.yaml"},
    {"run-hot", "run --json --set limits.winding='30 C' scenarios/seed-drill.yaml"},
    {"run-fast", "run --json --set limits.motor_speed='50 rpm' scenarios/tray-cart.yaml"},
    {"run-clutch", "run --json --set gearbox.shifter.torque='0.2 N.m' scenarios/twig-chipper.yaml"},
    {"run-reach", "run --json --set controller.upshift_above='99.5 %' scenarios/tray-cart.yaml"},
    {"run-back", "run --json --set limits.run_back='0.1 deg' scenarios/well-winch.yaml"},
    {"run-one", "run --json --gear fast scenarios/tray-cart.yaml"},
    {"run-own", "run --json --controller-command 'sh tools/external/controller.sh' --set run.duration='1 s' "
                "scenarios/tray-cart.yaml"},
    {"run-good", "run --json tests/good/*.yaml"},
    {"check-good", "check --json tests/good/*.yaml"},
    {"prove-winch", "prove --json scenarios/well-winch.yaml"},
    {"prove-crawler", "prove --json scenarios/hunting-crawler.yaml"},
    {"prove-wide", "prove --json --set tolerances.supply.open_circuit_voltage='2 %' scenarios/well-winch.yaml"},
    {"prove-tries", "prove --json --tries 100 scenarios/pellet-screw.yaml"},
    {"map-cart", "map --json --downshift 40..60% --upshift 60..90% scenarios/tray-cart.yaml"},
    {"map-crawler", "map --json --downshift 40..60% --upshift 60..90% scenarios/hunting-crawler.yaml"},
    {"map-any", "map --json --any-load scenarios/well-winch.yaml"},
    {"map-vary", "map --json --vary controller.dwell='0.2..3 s' --points 5 scenarios/tray-cart.yaml"},
    {"map-unfit", "map --json --vary controller.downshift_below='40..95 %' --points 3 scenarios/tray-cart.yaml"},
    {"map-fails",
     "map --json --vary controller.downshift_below='40..75 %' --samples 8 --points 3 scenarios/tray-cart.yaml"},
    {"map-own", "map --json --controller-command 'sh tools/external/controller.sh' --points 2 --set run.duration='1 s' "
                "scenarios/tray-cart.yaml"},
    {"map-samples", "map --json --samples 4 --downshift 40..60% --upshift 60..90% scenarios/tray-cart.yaml"},
    {"map-discharge", "map --json --discharge 2 --downshift 40..50% --upshift 70..80% scenarios/tired-winder.yaml"},
    {"map-both", "map --json --discharge 2 --samples 2 --set tolerances.motor.stall_torque='10 %' --downshift 40..50% "
                 "--upshift 70..80% scenarios/tired-winder.yaml"},
    {"tune-any", "tune --json --any-load scenarios/well-winch.yaml"},
    {"tune-crawler", "tune --json scenarios/hunting-crawler.yaml"},
    {"tune-lift", "tune --json scenarios/balanced-lift.yaml"},
    {"tune-cart", "tune --json scenarios/tray-cart.yaml"},
    {"tune-hopeless",
     "tune --json --set load.parts.1.points='[[0 s, 2 N.m], [20 s, 2.2 N.m]]' scenarios/hunting-crawler.yaml"},
    {"tune-lost", "tune --json --set supply.open_circuit_voltage='4 V' scenarios/hunting-crawler.yaml"},
    {"tune-own", "tune --json --controller-command 'sh tools/external/controller.sh' --set run.duration='1 s' "
                 "scenarios/well-winch.yaml"},
    {"inspect-cart", "inspect --json $T/cart.csv"},
    {"inspect-speeds", "inspect --json $T/speeds.csv"},
    {"inspect-against",
     "inspect --json --against scenarios/tray-cart.yaml --set load.inertia='0.02 kg.m2' $T/cart.csv"},
    {"fit-cart",
     "fit --json --arm '12 mm' --voltage '12 V' scenarios/data/cart-points.csv scenarios/data/cart-spin.csv "
     "scenarios/data/cart-coast.csv"},
    {"fit-spin", "fit --json --voltage '12 V' scenarios/data/cart-spin.csv"},
    {"fit-held", "fit --json --voltage '12 V' $T/braked.csv"},
    {"design-strict", "design --json --tunes 1 --runs 20 --set require.current='1 A' --set require.winding='60 C' "
                      "--set require.output_torque='1 N.m' scenarios/mat-roller.yaml"},
    {"design-roller", "design --json --tunes 2 --runs 50 scenarios/mat-roller.yaml"},
};

static void write_logs(void)
{
  shell_run("mkdir -p $T/json; $SHIFTBAND run -q -o $T/cart.csv scenarios/tray-cart.yaml;"
            "cut -d, -f1,5,7 $T/cart.csv > $T/speeds.csv");
  /* A bench whose driver holds 0.55 A: kt 0.33 N.m/A, 300 rpm, stall torque 0.365 N.m, friction of 0.08 A. */
  shell_run(
      "awk 'BEGIN { print \"torque_nm,speed_rpm,current_a\"; for (i = 0; i < 24; i++) { n = 300 * (0.15 + 0.8 * i / 23);"
      " a = (0.365 * (1 - n / 300)) / 0.33 + 0.08; if (a > 0.55) a = 0.55;"
      " e = (i * 7 % 11 - 5) / 4000; printf \"%.6f,%.4f,%.6f\\n\", 0.33 * (a - 0.08), n, a + e } }' > $T/braked.csv");
}

static bool can_validate(void)
{
  return shell_run(PYTHON "$P -c 'import jsonschema'")->code == 0;
}

static void write_outputs(void)
{
  char command[1024];
  for (const struct sb_record *const *output = sb_records_outputs; *output != NULL; output++) {
    if (strchr((*output)->name, ' ') != NULL) continue;
    snprintf(command, sizeof command, "$SHIFTBAND keys --json %s > $T/json/%s.schema", (*output)->name,
             (*output)->name);
    assert_int_equal(shell_run(command)->code, 0);
  }
  shell_run("for f in scenarios/*.yaml; do b=$(basename $f .yaml); for c in run check; do"
            " $SHIFTBAND $c --json $f > $T/json/$c-$b.json 2> /dev/null; done; done");
  for (size_t k = 0; k < sizeof examples / sizeof *examples; k++) {
    snprintf(command, sizeof command, "$SHIFTBAND %s > $T/json/%s.json", examples[k].words, examples[k].name);
    const struct said *said = shell_run(command);
    if (said->code != 0) print_message("%s: %s\n", examples[k].words, said->text);
    assert_int_equal(said->code, 0);
  }
}

static void each_object_is_what_its_schema_says(void **state)
{
  (void)state;
  if (!can_validate() || IS_SLOW) skip();
  write_logs();
  write_outputs();
  const struct said *said = shell_run(PYTHON "$P tests/cli/validate_output.py $T/json");
  assert_int_equal(said->code, 0);
  for (const char *line = said->text; *line != 0; line += strcspn(line, "\n") + 1) {
    if (strncmp(line, "accepted ", 9) != 0) print_message("%.*s\n", (int)strcspn(line, "\n"), line);
  }
  shell_expect_not(said, "refused ");
  shell_expect(said, "accepted ");
  /* A description of what is never written would be a promise that nobody keeps. */
  shell_expect_not(said, "never seen");
}

/* A member that nobody described is told as a fault, and so is one that is missing. */
static void the_schema_refuses_what_it_does_not_describe(void **state)
{
  (void)state;
  if (!can_validate()) skip();
  const struct said *said =
      shell_run(PYTHON "mkdir -p $T/few; $SHIFTBAND keys --json run > $T/few/run.schema;"
                       "$SHIFTBAND run --json scenarios/tray-cart.yaml > $T/few/run-right.json;"
                       "sed 's/\"shift_count\"/\"shift_number\"/' $T/few/run-right.json > $T/few/run-other.json;"
                       "sed 's/\"neutral_s\":[^,]*,//' $T/few/run-right.json > $T/few/run-less.json;"
                       "sed 's/\"format\":1/\"format\":2/' $T/few/run-right.json > $T/few/run-format.json;"
                       "sed 's/\"gear\":2/\"gear\":2.5/' $T/few/run-right.json > $T/few/run-half.json;"
                       "$P tests/cli/validate_output.py $T/few");
  shell_expect(said, "run-right.json");
  const char *wanted[] = {"refused", "run-other.json", "run-less.json", "run-format.json", "run-half.json"};
  for (size_t k = 1; k < 5; k++) {
    const char *place = strstr(said->text, wanted[k]);
    assert_non_null(place);
    while (place > said->text && place[-1] != '\n') place--;
    assert_memory_equal(place, wanted[0], strlen(wanted[0]));
  }
}

/* A heading, and where the reader of the record stands in it. */
struct heading {
  char text[2048];
  const char *at;
};

/* The next column, when it is this member; all but optional ones must be there, in the order of the record. */
static bool expect_column(void *context, const struct sb_member *member)
{
  struct heading *heading = context;
  const size_t length = strcspn(heading->at, ",");
  const bool is_it = strlen(member->name) == length && strncmp(heading->at, member->name, length) == 0;
  if (!is_it && !member->is_optional) print_message("needs %s, found %s\n", member->name, heading->at);
  assert_true(is_it || member->is_optional);
  if (is_it) heading->at += length + (heading->at[length] == ',');
  return true;
}

static void expect_heading(const char *record, const char *words, int own_columns)
{
  char command[1024];
  struct heading heading;
  snprintf(command, sizeof command, "$SHIFTBAND %s > /dev/null 2>&1; head -n 1 $T/table.csv", words);
  const struct said *said = shell_run(command);
  snprintf(heading.text, sizeof heading.text, "%.*s", (int)strcspn(said->text, "\n"), said->text);
  heading.at = heading.text;
  for (; own_columns > 0; own_columns--) heading.at = strchr(heading.at, ',') + 1;
  print_message("%s: %s\n", record, heading.text);
  sb_records_each(sb_records_find(sb_records_tables, record), expect_column, &heading);
  assert_string_equal(heading.at, "");
}

static void the_columns_of_tables_are_those_described(void **state)
{
  (void)state;
  write_logs();
  static const struct {
    const char *record, *words;
    int own_columns; /* called after keys, before those described */
  } tables[] = {
      {"run -o", "run -q -o $T/table.csv scenarios/tray-cart.yaml", 0},
      {"run -o", "run -q -o $T/table.csv scenarios/crate-pusher.yaml", 0},
      {"run -o", "run -q -o $T/table.csv scenarios/seed-drill.yaml", 0},
      {"run -o", "run -q -o $T/table.csv scenarios/pellet-screw.yaml", 0},
      {"run -o", "run -q -o $T/table.csv tests/good/everything.yaml", 0},
      {"map -o", "map -q -o $T/table.csv --downshift 40..50% --upshift 70..80% scenarios/tray-cart.yaml", 0},
      {"map --limits", "map -q --limits $T/table.csv --downshift 40..50% --upshift 70..80% scenarios/tray-cart.yaml",
       0},
      {"map --any-load -o", "map -q --any-load -o $T/table.csv scenarios/well-winch.yaml", 0},
      {"map --vary -o", "map -q --vary controller.dwell='1..2 s' --points 2 -o $T/table.csv scenarios/tray-cart.yaml",
       1},
      {"map --vary --samples -o",
       "map -q --vary controller.dwell='1..2 s' --vary controller.start_delay='1..2 s' --points 2 --samples 2 -o $T/table.csv "
       "scenarios/tray-cart.yaml",
       2},
      {"map --vary --limits",
       "map -q --vary controller.dwell='1..2 s' --points 2 --limits $T/table.csv scenarios/tray-cart.yaml", 1},
      {"map --samples -o",
       "map -q --samples 2 --downshift 40..50% --upshift 70..80% -o $T/table.csv scenarios/tray-cart.yaml", 0},
      {"map --discharge -o",
       "map -q --discharge 2 --downshift 40..50% --upshift 70..80% -o $T/table.csv scenarios/tired-winder.yaml", 0},
      {"map --discharge --samples -o",
       "map -q --discharge 2 --samples 2 --set tolerances.motor.stall_torque='10 %' --downshift 40..50% --upshift 70..80% -o "
       "$T/table.csv scenarios/tired-winder.yaml",
       0},
      {"check --discharge", "check -q --discharge $T/table.csv scenarios/tired-winder.yaml", 0},
      {"fit --residuals", "fit -q --voltage '12 V' --residuals $T/table.csv scenarios/data/cart-spin.csv", 0},
      {"emit --as readings", "emit --as readings -o $T/table.csv scenarios/tray-cart.yaml", 0},
      {"design --csv", "design -q --runs 5 --tunes 1 --csv $T/table.csv scenarios/mat-roller.yaml", 0},
      {"design --all", "design -q --runs 5 --tunes 1 --all $T/table.csv scenarios/mat-roller.yaml", 0},
  };
  for (size_t k = 0; k < sizeof tables / sizeof *tables; k++) {
    expect_heading(tables[k].record, tables[k].words, tables[k].own_columns);
  }
  const struct said *said = shell_run(
      "$SHIFTBAND inspect -q --against scenarios/tray-cart.yaml -o $T/table.csv $T/cart.csv; head -n 1 $T/table.csv");
  shell_expect(said, "time_s,gear_log,gear_sim,");
}

static bool expect_unit(void *context, const struct sb_member *member)
{
  const char *unit = sb_records_unit(member);
  struct said *found = context;
  if (unit != NULL && found->code < 100) found->code++;
  return true;
}

/* The manual shows each table of the library. */
static void the_manual_is_made_of_the_tables(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND help files; $SHIFTBAND help --man shiftband-files.5");
  shell_expect(said, "pulse_time_s");
  shell_expect(said, "added_inertia_kg_m2");
  said = shell_run("$SHIFTBAND keys inspect");
  shell_expect(said, "may_hide_shifts");
  shell_expect(said, "inspect --against -o");
  said = shell_run("$SHIFTBAND help verdicts");
  shell_expect(said, "threshold-out-of-reach");
  shell_expect(said, "Cure: a faster gearbox.shifter");
  said = shell_run("$SHIFTBAND help --man shiftband-json.7");
  shell_expect(said, "points_by_sets");
  said = shell_run("$SHIFTBAND keys --json rnu");
  assert_int_equal(said->code, 2);
  shell_expect(said,
               "rnu writes no JSON, nearest is \"run\"; these do: check, run, prove, map, tune, design, inspect, fit");
  struct said units = {.code = 0};
  sb_records_each(&sb_records_trace, expect_unit, &units);
  assert_true(units.code >= 15);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(each_object_is_what_its_schema_says),
      cmocka_unit_test(the_schema_refuses_what_it_does_not_describe),
      cmocka_unit_test(the_columns_of_tables_are_those_described),
      cmocka_unit_test(the_manual_is_made_of_the_tables),
  };
  return cmocka_run_group_tests_name("json", tests, shell_setup, shell_teardown);
}
