// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What pictures show of a machine, and that they can be read: words from the scenario, verdicts and limits at their places, hatches
 * that tell verdicts apart on grey paper, studies over one and two keys, no word over another one at 1200 and at 600 pixels.
 */
#include "help/near.h"
#include "help/shell.h"

#include <stdbool.h>
#include <stdio.h>
#include <string.h>

static bool can_draw(void)
{
  return shell_run("command -v gnuplot && command -v python3")->code == 0;
}

#define PLOT "export SHIFTBAND; P=tools/plot; S=scenarios;"

/* The crawler hunts from 3.52 to 11.02 s. Another machine's run has no verdicts. */
static void verdicts_are_marked_where_the_trace_is_the_scenarios_own_run(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT "for t in '25 mN.m' '24 mN.m'; do $SHIFTBAND run -q -o $T/t.csv --set motor.stall_torque=\"$t\""
           " $S/hunting-crawler.yaml; $P/plot-trace $T/t.csv -o $T/t.svg --scenario $S/hunting-crawler.yaml;"
           "grep -c '>hunting<' $T/t.svg; done; $SHIFTBAND run -q -o $T/t.csv $S/hunting-crawler.yaml;"
           "$P/plot-trace $T/t.csv -o $T/t.svg --scenario $S/hunting-crawler.yaml; grep -c '>hunting<' $T/t.svg;"
           "$P/scenario-facts $S/hunting-crawler.yaml $T/t.csv");
  shell_expect(said, "0\n0\n1\n");
  shell_expect(said, "verdict 3.52 11.02 7.5 16 hunting, threshold-driven\n");
}

static void verdicts_of_another_run_and_of_a_log_are_marked_on_demand(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT "$SHIFTBAND run --json -o $T/g.csv $S/grindstone.yaml > $T/g.json; $P/plot-trace $T/g.csv -o $T/g.svg"
           " --verdicts $T/g.json; grep -c '>overload<' $T/g.svg; grep -o '>6 times<' $T/g.svg | head -n 1;"
           "$SHIFTBAND run -q -o $T/h.csv $S/hunting-crawler.yaml; $SHIFTBAND inspect --json $T/h.csv > $T/h.json;"
           "$P/plot-trace $T/h.csv -o $T/h.svg --scenario $S/hunting-crawler.yaml --verdicts $T/h.json;"
           "grep -c '>hunting<' $T/h.svg; grep -c '>high<' $T/h.svg;"
           "$P/plot-trace $T/h.csv -o $T/none.svg --verdicts $T/absent.json; echo code $?; ls $T/none.svg");
  shell_expect(said, "1\n>6 times<\n1\n1\n");
  shell_expect(said, "code 4\n");
  shell_expect(said, "No such file");
}

/* The limits of the driver, the winding, the motor's speed and the battery, near and far from what happened. */
static void limits_are_lines_or_words(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT "draw() { $SHIFTBAND run -q -o $T/t.csv $S/$1.yaml; $P/plot-trace $T/t.csv -o $T/t.svg --show $2 $3"
           " --scenario $S/$1.yaml; sed 's/<[^>]*>//g' $T/t.svg; };"
           "draw pellet-screw current; draw seed-drill winding; draw tired-winder voltage --narrow");
  shell_expect(said, "limit 9\n"); /* a line of its own, told at the right */
  shell_expect(said, "limit 130 °C above this scale; cut-out 120 °C above this scale");
  shell_expect(said, "cut-off 9 V below\n");
  said = shell_run(PLOT "$SHIFTBAND check --json $S/tray-cart.yaml --set limits.motor_speed='350 rpm' > $T/c.json;"
                        "$P/scenario-facts --answer $T/c.json");
  shell_expect(said, "limit motor_speed_rpm 350 limit\n");
}

/*
 * Of two classes of a plane, either the hatch differs or the lightness of what is printed grey does (ITU-R BT.601: 0.299 red,
 * 0.587 green, 0.114 blue), by 0.1 of the scale at least; each verdict of maps has a style.
 */
static void each_verdict_has_a_look_of_its_own_on_grey_paper(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "tools/plot/verdict-styles | LC_ALL=C awk '"
      "function hex(text, i, n) { for (i = 1; i <= 2; i++) n = 16 * n + index(\"0123456789ABCDEF\", substr(text, i, 1)) - 1;"
      "return n / 255 }"
      "{ name[NR] = substr($0, length($3) + 18); hatch[NR] = $3; grey[NR] = 0.299 * hex(substr($1, 2, 2)) + 0.587 *"
      "hex(substr($1, 4, 2)) + 0.114 * hex(substr($1, 6, 2)); kind[NR] = name[NR] ~ /^(all|none|.*%.*)$/ ? \"share\" : "
      "name[NR] ~ /^(all is proved|hunts at|does not|stalls under|undecided)/ ? \"any\" : \"verdict\" }"
      "END { for (i = 1; i <= NR; i++) for (j = 1; j < i; j++) { far = grey[i] - grey[j]; if (far < 0) far = -far;"
      "if (kind[i] == kind[j] && hatch[i] == hatch[j] && far < 0.1) print \"alike:\", name[i], \"and\", name[j] } }';"
      "for name in $(sed -n 's/^  X(SB_MAP_[A-Z_]*, .*, \"\\(.*\\)\").*/\\1/p' src/map/class.h | tr ' ' _); do"
      " tools/plot/verdict-styles | tr ' ' _ | grep -q \"_$name$\" || echo \"lacking: $name\"; done; echo done");
  assert_string_equal(said->text, "done\n");
}

/* A hatched class is its fill and, over it, a pattern: without hatches there are none in the picture. */
static void a_map_is_hatched(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT
      "H=downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict; for v in passes 'stuck low'; do"
      " printf '%s\\n50,51,60,62,%s\\n' $H \"$v\" > $T/m.csv; $P/plot-map $T/m.csv -o $T/m.svg;"
      "grep -c '<pattern' $T/m.svg | sed 's/[1-9][0-9]*/hatched/'; done");
  assert_string_equal(said->text, "0\nhatched\n");
}

/* Points along one key and over two, with verdicts and with shares; plot-map hands them on. */
static void studies_over_keys_are_drawn(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT
      "study() { n=$1; shift; $SHIFTBAND map -q -o $T/v.csv --points 9 \"$@\" > $T/out || exit; for w in '' --narrow; do"
      " $P/plot-map $T/v.csv -o $T/$n$w.svg $w --scenario $S/tray-cart.yaml || exit; done; tests/tools/overlaps.py"
      " $T/$n*.svg; sed 's/<[^>]*>//g' $T/$n.svg; };"
      "K='controller.upshift_above=60..100 %'; study one $S/tray-cart.yaml --vary \"$K\";"
      "study two $S/tray-cart.yaml --vary \"$K\" --vary controller.dwell='0.2..2 s';"
      "study shares $S/tray-cart.yaml --vary \"$K\" --samples 4;"
      "study plane $S/tray-cart.yaml --vary \"$K\" --vary drive='80..100 %' --samples 4; echo code $?");
  shell_expect(said, "code 0\n");
  shell_expect(said, "Tray cart on the greenhouse rail");
  shell_expect(said, "controller.upshift_above (%)");
  shell_expect(said, "controller.dwell (s)");
  shell_expect(said, "stuck low");
  shell_expect(said, "turns of the output");
  shell_expect(said, "share that passes (%)");
  shell_expect(said, "at least, with 95 % confidence");
  shell_expect_not(said, "lies over");
  shell_expect_not(said, "beyond the edge");
}

/* 3 of 4 points of one verdict, and the shares of 4 points. */
static void shares_of_points_are_counted(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT
      "printf 'a.b (s),verdict,cause\\n1,passes,\\n2,passes,\\n3,hunting,dwell-driven\\n4,passes,\\n' > $T/v.csv;"
      "$P/plot-vary $T/v.csv -o $T/v.svg; sed 's/<[^>]*>//g' $T/v.svg;"
      "printf 'a.b,c.d (s),passed,samples\\n1,1,4,4\\n1,2,3,4\\n2,1,0,4\\n2,2,0,0\\n' > $T/w.csv;"
      "$P/plot-vary $T/w.csv -o $T/w.svg; sed 's/<[^>]*>//g' $T/w.svg;"
      "printf 'a.b (s),passed,samples,share,share_least,never_shift\\n1,4,4,1,0.5,4\\n2,4,4,1,0.5,4\\n3,4,4,1,0.5,4\\n"
      "4,4,4,1,0.5,3\\n5,3,4,0.7,0.5,3\\n' > $T/x.csv; $P/plot-vary $T/x.csv -o $T/x.svg; sed 's/<[^>]*>//g' $T/x.svg");
  shell_expect(said, "never shifts");
  shell_expect(said, "60 % of the points");
  shell_expect(said, "75 % of the points");
  shell_expect(said, "hunting, dwell-driven");
  shell_expect(said, "75 to 90 %");
  shell_expect(said, "all\n");
  shell_expect(said, "none\n");
  shell_expect(said, "refused\n");
}

static void faulty_studies_are_refused_and_leave_the_old_picture_alone(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  static const struct {
    const char *rows, *fault;
  } files[] = {
      {"", "x.csv: the file is empty"},
      {"a.b (s),verdict\\n", "x.csv: there is a header but no row"},
      {"a.b (s),shifts\\n1,2\\n", "x.csv:1: the header lacks the column(s) verdict"},
      {"a,b,c,verdict\\n1,2,3,passes\\n", "x.csv: 3 keys make no picture"},
      {"a.b (s),verdict\\n1,passes,3\\n", "x.csv:2: expected 2 fields as in the header"},
      {"a.b (s),verdict\\nx,passes\\n", "x.csv:2: a.b (s): expected a number, got \"x\""},
      {"a.b (s),verdict\\n1,\\n", "x.csv:2: verdict is empty"},
      {"a.b (s),passed,samples\\n1,5,4\\n", "x.csv:2: passed: expected 0 to 4"},
  };
  for (size_t i = 0; i < sizeof files / sizeof files[0]; i++) {
    char command[512];
    snprintf(
        command, sizeof command,
        PLOT
        "echo old > $T/x.png; printf '%s' > $T/x.csv; $P/plot-vary $T/x.csv -o $T/x.png; echo code $?; cat $T/x.png*",
        files[i].rows);
    const struct said *said = shell_run(command);
    shell_expect(said, files[i].fault);
    shell_expect(said, "code 3\nold\n");
  }
}

/* A tool that finds nothing wrong would be no test: words over each other, and beyond the edge. */
static void words_over_each_other_are_noticed(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      "printf '%s\\n' \"set terminal svg size 600,400 font 'DejaVu Sans,15'\" 'unset border; unset tics; set key off; set xrange [0:1]; set yrange [0:1]'"
      " \"set label 'first' at screen 0.5, 0.5\" \"set label 'second' at screen 0.52, 0.51\""
      " \"set label 'far away' at screen 0.98, 0.2\" 'plot NaN' > $T/s.gp; gnuplot $T/s.gp > $T/s.svg;"
      "tests/tools/overlaps.py $T/s.svg; echo code $?");
  shell_expect(said, "\"second\" lies over \"first\"");
  shell_expect(said, "\"far away\" reaches beyond the edge");
  shell_expect(said, "code 1\n");
}

/* A log beside a simulation that hunts, the gears by their names; scales that had figures over each other. */
static void no_word_lies_over_another_at_both_widths(void **state)
{
  (void)state;
  if (!can_draw()) skip();
  const struct said *said = shell_run(
      PLOT
      "for w in '' --narrow; do"
      " for s in hunting-crawler:current,voltage,duty,speed tired-winder:charge,voltage seed-drill:winding,housing"
      " crate-pusher:distance,vehicle,slip three-speed-feeder:clutch twig-chipper:turns,output grindstone:twist; do"
      " m=${s%%:*}; [ -f $T/$m.csv ] || $SHIFTBAND run -q -o $T/$m.csv $S/$m.yaml;"
      " $P/plot-trace $T/$m.csv -o $T/t-$m$w.svg --scenario $S/$m.yaml --show ${s#*:} $w || exit 1; done;"
      "for t in 25 20; do $SHIFTBAND run -q -o $T/log.csv --set motor.stall_torque=\"$t mN.m\" $S/hunting-crawler.yaml;"
      "$SHIFTBAND inspect -q --no-hints --against $S/hunting-crawler.yaml -o $T/both.csv $T/log.csv;"
      "$P/plot-trace $T/both.csv -o $T/t-both-$t$w.svg --scenario $S/hunting-crawler.yaml $w || exit 1; done;"
      "$SHIFTBAND check --discharge $T/d.csv $S/tired-winder.yaml > $T/out; $P/plot-discharge $T/d.csv -o $T/t-d$w.svg"
      " --scenario $S/tired-winder.yaml $w || exit 1; $SHIFTBAND map -q --any-load -o $T/any.csv"
      " $S/hunting-crawler.yaml > $T/out; $P/plot-map $T/any.csv -o $T/t-any$w.svg --scenario $S/hunting-crawler.yaml $w"
      " || exit 1; done; tests/tools/overlaps.py $T/t-*.svg; echo code $?; ls $T/t-*.svg | wc -l;"
      "grep -c '>low<' $T/t-both-25.svg; grep -L '<title>[A-Z]' $T/t-*.svg");
  assert_string_equal(said->text, "code 0\n22\n1\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(verdicts_are_marked_where_the_trace_is_the_scenarios_own_run),
      cmocka_unit_test(verdicts_of_another_run_and_of_a_log_are_marked_on_demand),
      cmocka_unit_test(limits_are_lines_or_words),
      cmocka_unit_test(each_verdict_has_a_look_of_its_own_on_grey_paper),
      cmocka_unit_test(a_map_is_hatched),
      cmocka_unit_test(studies_over_keys_are_drawn),
      cmocka_unit_test(shares_of_points_are_counted),
      cmocka_unit_test(faulty_studies_are_refused_and_leave_the_old_picture_alone),
      cmocka_unit_test(words_over_each_other_are_noticed),
      cmocka_unit_test(no_word_lies_over_another_at_both_widths),
  };
  return cmocka_run_group_tests_name("pictures", tests, shell_setup, shell_teardown);
}
