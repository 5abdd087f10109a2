// SPDX-License-Identifier: GPL-3.0-or-later
/* The design command as a user meets it: designs as scenarios that give the same figures, going on after a kill, misses and faults. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

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
  if (IS_SLOW) skip();
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
      "  assert d['dwell_s'] == pair['dwell_s'], (d['dwell_s'], pair['dwell_s'])\n"
      "  assert d['margin_pct'] == pair['margin_pct'], (d['margin_pct'], pair['margin_pct'])\n"
      "print('the same figures')\n"
      "END\n");
  shell_expect(said, "the same figures");
  assert_int_equal(said->code, 0);
}

/* The bytes of the report and of all designs, with one thread, with three, and after a kill. */
static void threads_and_a_kill_change_no_byte(void **state)
{
  (void)state;
  setenv("TUNES", IS_SLOW ? "1" : "3", 1);
  const struct said *said = shell_run(
      SHELF
      "shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' > $T/a.yaml; cd $T; mkdir -p one three killed; "
      "$SHIFTBAND design a.yaml --tunes $TUNES --jobs 1 -o one > one.txt; "
      "$SHIFTBAND design a.yaml --tunes $TUNES --jobs 3 -o three > three.txt; "
      "$SHIFTBAND design a.yaml --tunes $TUNES --jobs 1 -o killed > /dev/null & child=$!; "
      "while kill -0 $child 2>/dev/null; do "
      "grep -q '^task' killed/design.tunes.part 2>/dev/null && echo begun && break; sleep 0.02; done; "
      "kill -9 $child; wait $child; ls killed; "
      "$SHIFTBAND design a.yaml --tunes $TUNES --jobs 2 -o killed --resume > killed.txt; "
      "cmp one.txt three.txt && cmp one.txt killed.txt && diff -r one three && diff -r one killed && echo the same bytes");
  shell_expect(said, "begun\n");
  shell_expect(said, "the same bytes");
}

/* A machine and its load, without a shelf: $1 is the heavy stretch, $2 the time. */
#define OTHER_LOAD \
  "other() { shelf 'motor: []' '' | sed \"/^choices/d; /^require/d; s/0.7 N.m/$1/g; s/duration: 7 s/duration: $2/\"; }\n"

/* Parts of the runs, and then of the tuning and of the proofs, put together in any order, one of them killed and resumed. They hold
 * the whole command: all files, sets and counts. */
static void shards_change_no_byte(void **state)
{
  (void)state;
  setenv("TUNES", IS_SLOW ? "2" : "4", 1);
  const struct said *said = shell_run(
      SHELF OTHER_LOAD
      "cd $T; mkdir -p whole joined all; shelf '" WHEELS
      "' 'carry: [{load: 0.8 N.m}]' > a.yaml; other '0.5 N.m' '6 s' > b.yaml; "
      "design() { \"$SHIFTBAND\" design \"$@\"; }; "
      "search='a.yaml --set load.inertia=0.005kg.m2 --set motor.rotor_inertia=2e-4kg.m2 --load b.yaml --tunes '$TUNES' --designs 3'; design $search -o whole > whole.txt || exit; "
      "design $search --shard 1/3 -o r1 && design $search --shard 3/3 --jobs 3 -o r3 || exit; "
      "\"$SHIFTBAND\" design $search --shard 2/3 --jobs 1 -o r2 & child=$!; "
      "while ! grep -q '^task' r2.part 2>/dev/null && kill -0 $child 2>/dev/null; do sleep 0.01; done; "
      "kill -9 $child; wait $child; "
      "[ -e r2 ] || design $search --shard 2/3 -o r2 --resume || exit; "
      "design --join r3 r1 r2 -o joined > joined.txt || exit; "
      "design --join r1 r2 r3 --shard 2/2 -o t2 && design --join r1 r2 r3 --shard 1/2 -o t1 || exit; "
      "design --join t1 r1 t2 r2 r3 --shard 1/1 -o all > all.txt || exit; "
      "cmp whole.txt joined.txt && cmp whole.txt all.txt && diff -r whole joined && diff -r whole all && ls *.part; "
      "grep -c 'tuned' whole.txt; echo the same bytes");
  shell_expect(said, "the same bytes");
  assert_int_equal(said->code, 0);
}

static void shards_that_do_not_fit_are_refused(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {SHELF "cd $T; shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' > s.yaml; "
             "\"$SHIFTBAND\" design s.yaml --tunes 2 --shard 1/2 -o s1 && \"$SHIFTBAND\" design --join s1",
       "missing of the study of s1: shard 2/2", 3},
      {SHELF "cd $T; \"$SHIFTBAND\" design s.yaml --tunes 2 --shard 2/2 -o s2; "
             "shelf '" WHEELS "' 'carry: [{load: 0.9 N.m}]' > s.yaml; \"$SHIFTBAND\" design --join s1 s2",
       "s.yaml: the shards of its runs are of another search", 3},
      {"cd $T; \"$SHIFTBAND\" design --join s.yaml", "no shard", 3},
      {"cd $T; \"$SHIFTBAND\" design --join s1 s2 --tunes 3", "--join and --tunes exclude each other", 2},
      {"cd $T; \"$SHIFTBAND\" design s.yaml --shard 1/2", "--shard needs -o", 2},
      {"cd $T; \"$SHIFTBAND\" design s.yaml --shard 3/2 -o x", "--shard needs K/N with K from 1 to N", 2},
  };
  shell_expect_faults(faults, sizeof faults / sizeof faults[0]);
}

/* Each figure is the worst of the runs under all loads, and the thresholds are those of `tune` of all files. */
static void a_design_serves_all_loads(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      SHELF OTHER_LOAD
      "cd $T; mkdir -p loads; shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' > a.yaml; other '0.5 N.m' '9 s' > b.yaml; "
      "\"$SHIFTBAND\" design a.yaml --load b.yaml --designs 4 -o loads --json > a.json && for k in 1 2 3 4; do "
      "\"$SHIFTBAND\" run --json loads/design-$k.yaml loads/design-$k-load-2.yaml; "
      "\"$SHIFTBAND\" tune --json loads/design-$k.yaml loads/design-$k-load-2.yaml; done > b.json && "
      "python3 - <<'END'\n"
      "import json\n"
      "designs = json.load(open('a.json'))['designs']\n"
      "lines = [json.loads(line) for line in open('b.json')]\n"
      "assert len(designs) == 4 and len(lines) == 12, (len(designs), len(lines))\n"
      "for k, d in enumerate(designs):\n"
      "  one, two, tune = lines[3 * k:3 * k + 3]\n"
      "  pair = tune['pairs'][0]\n"
      "  assert one['verdicts'] == two['verdicts'] == []\n"
      "  assert d['energy_j'] == max(one['energy_j']['given'], two['energy_j']['given'])\n"
      "  assert d['greatest_torque_nm'] == max(abs(r['greatest']['output_torque']['torque_nm']) for r in (one, two))\n"
      "  assert d['margin_pct'] == pair['margin_pct'] and d['dwell_s'] == pair['dwell_s'], (d, tune)\n"
      "  assert d['thresholds'][0]['upshift_above_pct'] == pair['upshift_above_pct']\n"
      "print('the worst of both')\n"
      "END\n");
  shell_expect(said, "the worst of both");
  assert_int_equal(said->code, 0);
}

/* Each machine is dropped by one rule or is a design: the list has them all, and as many by each rule as the counts say. */
static void the_list_has_every_machine_that_is_no_design(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      SHELF
      "cd $T; shelf 'supply.open_circuit_voltage: [10 V, 12 V], gearbox.shifter: [{kind: swing arm, swing_turns: 0.3}, "
      "{kind: selector, travel_time: 60 ms}], wheels: {teeth: [12, 18, 24, 36], module: 0.5 mm, stages: 1..2, speeds: 2, "
      "stock: 2, width: 3 mm, material: acetal}' 'carry: [{load: 0.8 N.m}], charge: 2.6 mAh' > a.yaml; "
      "\"$SHIFTBAND\" design a.yaml --tunes 10 --designs 3 --all all.csv --json > a.json && python3 - <<'END'\n"
      "import collections, csv, json\n"
      "answer = json.load(open('a.json'))\n"
      "rows = list(csv.DictReader(open('all.csv')))\n"
      "assert len(rows) + len(answer['designs']) == answer['machines'], (len(rows), answer['machines'])\n"
      "assert len({(row['machine'], row['gears']) for row in rows}) == len(rows)\n"
      "said = {d['rule']: d['machines'] for d in answer['dropped'] if d['machines'] > 0}\n"
      "found = dict(collections.Counter(row['rule'] for row in rows))\n"
      "assert said == found, (said, found)\n"
      "print(len(found), 'rules')\n"
      "END\n");
  shell_expect(said, " rules");
  assert_int_equal(said->code, 0);
}

/* What is kept is of the files as they were: the motor's file and a table count, too. */
static void a_changed_file_is_noticed_by_resume(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "cd $T; mkdir -p kept; printf 'motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, stall_current: "
      "2.6 A, no_load_current: 0.14 A, rotor_inertia: 2.1e-4 kg.m2}\\n' > motor.yaml; "
      "printf 'time_s,torque_nm\\n0,0.1\\n2,0.1\\n2.5,0.7\\n4,0.7\\n4.5,0.1\\n' > load.csv; "
      "shelf 'motor: [motor.yaml], " WHEELS
      "' 'carry: [{load: 0.8 N.m}]' | sed 's/points: .*$/file: load.csv}]}/' > a.yaml; "
      "begin() { \"$SHIFTBAND\" design a.yaml --tunes 20 --jobs 1 -o kept > /dev/null & child=$!; "
      "while ! grep -q '^task' kept/design.runs.part kept/design.tunes.part 2>/dev/null && kill -0 $child 2>/dev/null; do sleep 0.01; done; "
      "kill -9 $child; wait $child 2>/dev/null; }; "
      /* One that had ended, or begun its next stage, before it was killed left nothing to go on with. */
      "start() { begin; for again in 1 2 3 4 5 6 7 8; do grep -q '^task' kept/*.part 2>/dev/null && break; begin; done; }; "
      "start; sed -i 's/310/320/' motor.yaml; \"$SHIFTBAND\" design a.yaml --tunes 20 -o kept --resume; echo code $?; "
      "start; sed -i 's/2.5,0.7/2.6,0.7/' load.csv; \"$SHIFTBAND\" design a.yaml --tunes 20 -o kept --resume; echo code $?");
  shell_expect(said, "belongs to another study");
  shell_expect_not(said, "code 0");
}

/* A written design stands in its folder with all that it reads. */
static void tables_are_written_beside_the_designs(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "cd $T; mkdir -p shelf/data beside; "
      "printf 'time_s,torque_nm\\n0,0.1\\n2,0.1\\n2.5,0.7\\n4,0.7\\n4.5,0.1\\n' > shelf/data/load.csv; "
      "shelf '" WHEELS "' 'carry: [{load: 0.8 N.m}]' | sed 's|points: .*$|file: data/load.csv}]}|' > shelf/a.yaml; "
      "\"$SHIFTBAND\" design shelf/a.yaml --tunes 20 -o beside > table; cmp shelf/data/load.csv beside/data-load.csv && "
      "mv beside elsewhere && rm -r shelf && \"$SHIFTBAND\" run elsewhere/design-1.yaml > /dev/null; echo code $?; ls elsewhere");
  shell_expect(said, "code 0");
  shell_expect(said, "data-load.csv");
}

/* Ratios without wheels are tuned as boxes are. */
static void chosen_ratios_get_thresholds(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "cd $T; shelf 'gearbox.gears.slow.ratio: [6, 8]' 'carry: [{load: 0.8 N.m}]' | "
      "sed 's/  *shifter: {.*/ shifter: {kind: selector, travel_time: 60 ms}, gears: [{name: slow, ratio: 8}, {name: fast, ratio: 2}]}/; "
      "s/^controller: {/&dwell: 1 s, downshift_below: 30 %, upshift_above: 85 %, /' > a.yaml; \"$SHIFTBAND\" design a.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "dwell ");
  shell_expect_not(said, "downshift below 30 %, upshift above 85 %; dwell 1 s");
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

/* Of four wheels, two of each, only pairs of 48 teeth make three or four speeds: 12/36, 16/32 and the same two reversed. All four are a
 * box without a middle speed, in which no run can begin; each of the four choices of three misses the current. */
static void a_machine_that_is_no_scenario_is_told_from_one_that_misses_a_need(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      SHELF
      "cd $T; shelf 'wheels: {teeth: [12, 16, 32, 36], module: 0.5 mm, stages: 1, speeds: 3..4, stock: 2}' 'current: 0.1 A' > a.yaml; "
      "\"$SHIFTBAND\" design a.yaml --set controller.start_gear=middle --tunes 4 --json");
  assert_int_equal(said->code, 0);
  shell_expect(said, "\"machines\":5,");
  shell_expect(said, "{\"rule\":\"no valid scenario\",\"machines\":1}");
  shell_expect(said, "{\"rule\":\"require.current\",\"machines\":4,");
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

/* Both gears share 12/60, and each has a pair of its own: six wheels. Two meshes and three that share none, and no wheel that drives what
 * it is driven by: ten. */
static void wheels_of_a_finished_design_are_counted_once(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND design --json scenarios/balanced-lift.yaml scenarios/hump-cart.yaml | grep -o '\"wheels\":[0-9]*'");
  assert_string_equal(said->text, "\"wheels\":6\n\"wheels\":10\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_written_design_gives_the_figures_of_the_table),
      cmocka_unit_test(threads_and_a_kill_change_no_byte),
      cmocka_unit_test(shards_change_no_byte),
      cmocka_unit_test(shards_that_do_not_fit_are_refused),
      cmocka_unit_test(a_design_serves_all_loads),
      cmocka_unit_test(the_list_has_every_machine_that_is_no_design),
      cmocka_unit_test(a_changed_file_is_noticed_by_resume),
      cmocka_unit_test(tables_are_written_beside_the_designs),
      cmocka_unit_test(chosen_ratios_get_thresholds),
      cmocka_unit_test(nothing_that_meets_require_is_answered_with_the_nearest_miss),
      cmocka_unit_test(other_commands_leave_choices_out_with_one_note),
      cmocka_unit_test(a_machine_that_is_no_scenario_is_told_from_one_that_misses_a_need),
      cmocka_unit_test(bad_shelves_are_refused),
      cmocka_unit_test(finished_designs_stand_side_by_side),
      cmocka_unit_test(wheels_of_a_finished_design_are_counted_once),
  };
  return cmocka_run_group_tests_name("cli_design", tests, shell_setup, shell_teardown);
}
