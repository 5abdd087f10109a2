// SPDX-License-Identifier: GPL-3.0-or-later
/* The design command as a user meets it: designs as scenarios that give the same figures, going on after a kill, misses and faults. */
#include <math.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

/* A machine and a shelf that are soon done; $1 is for `choices`, $2 for `require`. */
#define SHELF                                                                                                       \
  "shelf() { cat <<END\n"                                                                                           \
  "motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, stall_current: 2.6 A, "           \
  "no_load_current: 0.14 A, rotor_inertia: 2.1e-4 kg.m2}\n"                                                         \
  "gearbox: {mesh_efficiency: 0.95, shifter: {kind: selector, travel_time: 60 ms}}\n"                               \
  "load: {inertia: 0.004 kg.m2, parts: [{kind: profile, manner: resists, points: [[0 s, 0.1 N.m], [2 s, 0.1 N.m], " \
  "[2.5 s, 0.7 N.m], [4 s, 0.7 N.m], [4.5 s, 0.1 N.m]]}]}\n"                                                        \
  "controller: {sample_period: 20 ms, start_delay: 300 ms, resolution: 1 %}\n"                                      \
  "run: {duration: 7 s}\n"                                                                                          \
  "choices: {$1}\n"                                                                                                 \
  "require: {$2}\n"                                                                                                 \
  "END\n"                                                                                                           \
  "}\n"
#define WHEELS "wheels: {teeth: [12, 18, 24, 36], module: 0.5 mm, stages: 2, speeds: 2}"

/* Speed, charge, current and torque are those of `run`, and the thresholds those of `tune`, of the very file. */
static void a_written_design_gives_the_figures_of_the_table(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      SHELF
      "mkdir -p $T/out && shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' > $T/a.yaml && "
      "$SHIFTBAND design $T/a.yaml --tunes 3 -o $T/out --json > $T/a.json && "
      "for f in $T/out/design-*.yaml; do $SHIFTBAND run --json $f; $SHIFTBAND tune --json $f; done > $T/b.json && "
      "python3 - $T/a.json $T/b.json <<'END'\n"
      "import json, sys\n"
      "designs = json.load(open(sys.argv[1]))['designs']\n"
      "lines = [json.loads(line) for line in open(sys.argv[2])]\n"
      "assert len(designs) >= 2 and len(lines) == 2 * len(designs), (len(designs), len(lines))\n"
      "for k, d in enumerate(designs):\n"
      "  run, tune = lines[2 * k], lines[2 * k + 1]\n"
      "  assert run['verdicts'] == []\n"
      "  assert d['greatest_torque_nm'] == abs(run['greatest']['output_torque']['torque_nm'])\n"
      "  assert d['greatest_current_a'] == abs(run['greatest']['motor_current']['current_a'])\n"
      "  assert d['energy_j'] == run['energy_j']['given']\n"
      "  pair = tune['pairs'][0]\n"
      "  own = d['thresholds'][0]\n"
      "  assert own['downshift_below_pct'] == pair['downshift_below_pct'], (own, pair)\n"
      "  assert own['upshift_above_pct'] == pair['upshift_above_pct'], (own, pair)\n"
      "print('the same figures')\n"
      "END\n");
  shell_expect(said, "the same figures");
  assert_int_equal(said->code, 0);
}

/* The bytes of the report and of all designs, with one thread, with three, and after a kill. */
static void threads_and_a_kill_change_no_byte(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' > $T/a.yaml; cd $T; mkdir -p one three killed; "
      "$SHIFTBAND design a.yaml --tunes 3 --jobs 1 -o one > one.txt; "
      "$SHIFTBAND design a.yaml --tunes 3 --jobs 3 -o three > three.txt; "
      "$SHIFTBAND design a.yaml --tunes 3 --jobs 1 -o killed > /dev/null & child=$!; "
      "while ! grep -q '^task' killed/design.tunes.part 2>/dev/null && kill -0 $child 2>/dev/null; do sleep 0.02; done; "
      "kill -9 $child; wait $child; ls killed; "
      "$SHIFTBAND design a.yaml --tunes 3 --jobs 2 -o killed --resume > killed.txt; "
      "cmp one.txt three.txt && cmp one.txt killed.txt && diff -r one three && diff -r one killed && echo the same bytes");
  shell_expect(said, "the same bytes");
}

static void nothing_that_meets_require_is_answered_with_the_nearest_miss(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(SHELF "shelf '" WHEELS "' 'carry: [{load: 90 N.m}]' > $T/a.yaml; $SHIFTBAND design $T/a.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "No design meets require");
  shell_expect(said, "easing require.carry.1 lets most through");
}

static void other_commands_leave_choices_out_with_one_note(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "shelf 'supply.open_circuit_voltage: [10 V, 12 V]' 'carry: [{load: 0.8 N.m}]' | "
      "sed 's/  *shifter: {.*/ shifter: {kind: selector, travel_time: 60 ms}, gears: [{name: slow, ratio: 8}, {name: fast, ratio: 4}]}/; "
      "s/^controller: {/&dwell: 1 s, downshift_below: 30 %, upshift_above: 85 %, /' > $T/a.yaml; $SHIFTBAND run $T/a.yaml | head -3");
  shell_expect(said, "note: choices: used by shiftband design alone");
  shell_expect_not(said, "note: require");
}

static void bad_shelves_are_refused(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {SHELF
       "shelf 'wheels: {teeth: [], module: 0.5 mm, stages: 2, speeds: 2}' '' > $T/a.yaml; $SHIFTBAND design $T/a.yaml",
       "needs a list of 1 to 128 whole numbers, found an empty shelf", 3},
      {SHELF "shelf 'motor: []' '' > $T/a.yaml; $SHIFTBAND design $T/a.yaml",
       "needs a list of 1 to 64 values, found an empty one", 3},
      {SHELF "shelf 'controller.start_gear: [slow]' '' > $T/a.yaml; $SHIFTBAND design $T/a.yaml",
       "needs the path of a quantity, of a section, or wheels, found \"controller.start_gear\", which is none", 3},
      {SHELF
       "shelf '" WHEELS
       "' 'output_speed: [{load: 0.1 N.m, maximum: 60 rpm}], carry: [{load: 0.5 N.m, minimum: 70 rpm}]' > $T/a.yaml; "
       "$SHIFTBAND design $T/a.yaml",
       "allows at most 60 rpm under a load that is not heavier, found 70 rpm", 3},
      {SHELF "shelf 'motor: [nowhere.yaml]' '' > $T/a.yaml; $SHIFTBAND design $T/a.yaml", "No such file", 3},
      {SHELF "shelf 'supply.open_circuit_voltage: [3 A]' '' > $T/a.yaml; $SHIFTBAND design $T/a.yaml",
       "needs a voltage (V, mV), found \"3 A\"", 3},
      /* 40 wheels: 780 reductions, two shared stages of them, and pairs of pairs */
      {SHELF "shelf \"wheels: {teeth: [$(seq -s, 11 60)], module: 0.5 mm, stages: 4, speeds: 2..3}\" '' > $T/a.yaml; "
             "timeout 1 $SHIFTBAND design $T/a.yaml",
       "narrow stages (4..4), speeds (2..3), teeth (50 wheels) or another choice", 3},
      {"$SHIFTBAND design scenarios/tray-cart.yaml", "needs a section choices, found none", 3},
      {"$SHIFTBAND design --resume scenarios/tray-cart.yaml", "--resume needs -o", 2},
      {"$SHIFTBAND design -o $T/nowhere scenarios/tray-cart.yaml", "needs a folder that exists", 2},
  };
  shell_expect_faults(faults, sizeof faults / sizeof faults[0]);
}

static void finished_designs_stand_side_by_side(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND design scenarios/tray-cart.yaml scenarios/tray-cart-measured.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "1  Tray cart on the greenhouse rail");
  shell_expect(said, "no permission to lift or to carry people");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_written_design_gives_the_figures_of_the_table),
      cmocka_unit_test(threads_and_a_kill_change_no_byte),
      cmocka_unit_test(nothing_that_meets_require_is_answered_with_the_nearest_miss),
      cmocka_unit_test(other_commands_leave_choices_out_with_one_note),
      cmocka_unit_test(bad_shelves_are_refused),
      cmocka_unit_test(finished_designs_stand_side_by_side),
  };
  return cmocka_run_group_tests_name("cli_design", tests, shell_setup, shell_teardown);
}
