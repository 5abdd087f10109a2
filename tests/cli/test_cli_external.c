// SPDX-License-Identifier: GPL-3.0-or-later
/* A controller of the user's own as a user meets it: run, map and tune, alike through an object and through a command. */
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

/* The examples, and shorter names for them. */
#define OWN "OWN=\"--controller $T/own.so\"; SH='sh tools/external/controller.sh'; "

/* How many processes with the mark are left; a killed one takes a moment to go. */
#define COUNT_LEFT                                                                                             \
  "left() { for i in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do "                                  \
  "n=$(grep -la OWN_CLI_MARK=on /proc/[0-9]*/environ 2>/dev/null | wc -l); [ $n -eq 0 ] && break; sleep 0.1; " \
  "done; echo left $n; }; "

static int set_up(void **state)
{
  if (shell_setup(state) != 0) return -1;
  return shell_run("cc -O1 -shared -fPIC -Iinclude -o $T/own.so tools/external/controller.c")->code;
}

static void every_scenario_has_the_same_trace_through_an_object_and_through_commands(void **state)
{
  (void)state;
  setenv("ALL", IS_SLOW ? "scenarios/t*.yaml" : "scenarios/*.yaml", 1);
  const struct said *said = shell_run(
      OWN
      "mkdir $T/ours $T/object $T/script $T/awk; n=0; awk=\"awk -f tools/external/controller.awk\"; "
      "awk -W version 2>&1 </dev/null | grep -q mawk && awk=\"awk -W interactive -f "
      "tools/external/controller.awk\"; for f in $ALL; do n=$((n + 1)); b=$(basename $f .yaml).csv; "
      "$SHIFTBAND run -o $T/ours $f >/dev/null && $SHIFTBAND run $OWN -o $T/object $f >/dev/null && "
      "$SHIFTBAND run --controller-command \"$SH\" -o $T/script $f >/dev/null && "
      "$SHIFTBAND run --controller-command \"$awk\" -o $T/awk $f >/dev/null && "
      "cmp $T/ours/$b $T/object/$b && cmp $T/ours/$b $T/script/$b && cmp $T/ours/$b $T/awk/$b || { cat $T/notes; exit 9; }; "
      "done 2> $T/notes; echo $n alike");
  if (said->code != 0) fail_msg("%s", said->text);
  assert_true(strtol(said->text, NULL, 10) >= (IS_SLOW ? 4 : 12));
  shell_expect(said, " alike");
}

static void summary_and_json_name_the_controller(void **state)
{
  (void)state;
  const struct said *said = shell_run(OWN "$SHIFTBAND run $OWN scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "automatic by /tmp/");
  said = shell_run(OWN "$SHIFTBAND run --json --controller-command \"$SH\" scenarios/tray-cart.yaml");
  shell_expect(said, "\"controller\":\"\\\"sh tools/external/controller.sh\\\"\"");
  said = shell_run("$SHIFTBAND run --json scenarios/tray-cart.yaml");
  shell_expect_not(said, "\"controller\"");
}

/* Locked runs of a comparison have no controller, so none is started for them: one line of start for one run. */
static void comparison_asks_in_its_automatic_run_only(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(OWN "$SHIFTBAND run --compare --controller-command \"echo begun >&2; $SH\" scenarios/tray-cart.yaml "
                    "2>$T/words >$T/own.txt; grep -c begun $T/words; $SHIFTBAND run --compare scenarios/tray-cart.yaml "
                    ">$T/ours.txt; sed 1,2d $T/own.txt >$T/a; sed 1,2d $T/ours.txt | cmp - $T/a && echo alike");
  assert_string_equal(said->text, "1\nalike\n");
}

static void fault_exits_with_six_names_the_controller_and_leaves_an_old_trace(void **state)
{
  (void)state;
  const struct said *said = shell_run("mkdir $T/kept; echo old >$T/kept/t.csv; $SHIFTBAND run -o $T/kept/t.csv "
                                      "--controller-command 'read h; read s; echo 7' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 6);
  shell_expect(said,
               "controller \"read h; read s; echo 7\", sample 0 at 0 s: answered gear 7; gears count from 1 to 2");
  said = shell_run("cat $T/kept/t.csv; ls -A $T/kept");
  assert_string_equal(said->text, "old\nt.csv\n");
  said = shell_run("echo 'int none;' >$T/none.c; cc -shared -fPIC -o $T/none.so $T/none.c; for c in run map tune; do "
                   "$SHIFTBAND $c --controller $T/none.so scenarios/tray-cart.yaml; echo code $?; done");
  const char *rest = said->text;
  for (int k = 0; k < 3; k++) {
    const char *told = strstr(rest, "none.so, sample 0 at 0 s: gave up: it has no function sb_own_controller");
    const char *code = told != NULL ? strstr(told, "code 6\n") : NULL;
    if (code == NULL) fail_msg("%s", said->text);
    rest = code != NULL ? code + 1 : "";
  }
}

static void print_of_an_object_goes_to_standard_error(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf '%s\\n' '#include <stdio.h>' '#include \"shiftband/external_controller.h\"' 'int32_t sb_own_controller(const "
      "struct sb_own_input *i) { if (i->sample < 2) printf(\"2\\n\"); return getchar() < 0 ? i->gear : 9; }' >$T/p.c; "
      "cc -shared -fPIC -Iinclude -o $T/p.so $T/p.c; $SHIFTBAND run --json --controller $T/p.so "
      "scenarios/tray-cart.yaml 2>$T/words >$T/p.json; echo code $?; cat $T/words");
  assert_string_equal(said->text, "code 0\n2\n2\n");
}

/* Variables of the file start afresh with each run: were they shared, the second run would differ from the first. */
static void each_run_starts_afresh(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf '%s\\n' '#include \"shiftband/external_controller.h\"' 'static long calls; int32_t sb_own_controller(const "
      "struct sb_own_input *i) { return ++calls > 1001 ? 9 : i->gear; }' >$T/s.c; "
      "cc -shared -fPIC -Iinclude -o $T/s.so $T/s.c; "
      "$SHIFTBAND run --controller $T/s.so scenarios/tray-cart.yaml scenarios/tray-cart.yaml >/dev/null && "
      "$SHIFTBAND map --controller $T/s.so --vary controller.dwell='1..2 s' --points 4 --jobs 2 scenarios/tray-cart.yaml "
      ">/dev/null");
  if (said->code != 0) fail_msg("%s", said->text);
}

static void grid_agrees_with_the_built_in_one_whatever_the_number_of_threads(void **state)
{
  (void)state;
  if (IS_SLOW) skip(); /* hundreds of hosts */
  const struct said *said = shell_run(
      OWN
      "vary=\"--vary controller.downshift_below=10..90% --vary controller.upshift_above=10..100%\"; f=scenarios/tray-cart.yaml; "
      "$SHIFTBAND map $vary --points 10 -o $T/g0.csv $f >$T/g0.txt && "
      "$SHIFTBAND map $vary --points 10 -o $T/g1.csv --jobs 1 $OWN $f >$T/g1.txt && "
      "$SHIFTBAND map $vary --points 10 -o $T/g2.csv --jobs 4 $OWN $f >$T/g2.txt && "
      "cmp $T/g0.csv $T/g1.csv && cmp $T/g1.csv $T/g2.csv && cmp $T/g1.txt $T/g2.txt && cat $T/g1.txt");
  if (said->code != 0) fail_msg("%s", said->text);
  shell_expect(said, "a grid, and no exact map: a run at each point, by controller /tmp/");
}

/* A plain map becomes a grid of thresholds; its points come to what the built-in grid says there. */
static void plain_map_becomes_a_grid_of_thresholds(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  const struct said *said = shell_run(
      OWN
      "f=scenarios/three-speed-feeder.yaml; $SHIFTBAND map $OWN --pair 2 --downshift 20..60 --upshift 40..90 --points 6 "
      "-o $T/plane.csv $f >$T/plane.txt && cat $T/plane.txt && "
      "$SHIFTBAND map --vary controller.downshift_below.2='20..60 %' --vary controller.upshift_above.2='40..90 %' --points 6 "
      "-o $T/vary.csv $f >/dev/null; head -n 1 $T/plane.csv; wc -l <$T/plane.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "between two points nothing is known");
  shell_expect(said, "controller.downshift_below.2 (%),controller.upshift_above.2 (%),verdict");
  said = shell_run(
      OWN
      "f=scenarios/tray-cart.yaml; $SHIFTBAND map $OWN --downshift 20..80 --upshift 20..100 --points 9 -o "
      "$T/p1.csv $f >/dev/null && eval $(awk -F, 'NR > 1 { if (NR == 2) print \"d0=\" $1 \" u0=\" $2; "
      "if (!($1 in d)) { d[$1]; nd++ } if (!($2 in u)) { u[$2]; nu++ } x = $1; y = $2 } END { print "
      "\"d1=\" x \" u1=\" y \" nd=\" nd \" nu=\" nu }' $T/p1.csv) && echo $d0 $d1 $u0 $u1 $nd $nu; "
      "tail -n +2 $T/p1.csv | while IFS=, read d u v rest; do [ \"$v\" = refused ] && continue; "
      "w=$($SHIFTBAND map --vary controller.downshift_below=\"$d..$d %\" --vary controller.upshift_above=\"$u..$u %\" "
      "-o - $f 2>/dev/null | tail -n 1); [ \"$w\" = \"$d,$u,$v,$rest\" ] || echo differs $d $u $v; done");
  assert_int_equal(said->code, 0);
  shell_expect_not(said, "differs");
  shell_expect(said, "24 80 24 96 8 10\n");
}

static void shards_join_and_interrupted_work_goes_on_under_the_same_controller_only(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      OWN
      "m=\"$SHIFTBAND map --vary controller.dwell=0.2..2s --points 6\"; f=scenarios/tray-cart.yaml; "
      "$m $OWN -o $T/w.csv $f >$T/w.txt && $m $OWN --shard 1/2 -o $T/s1 $f && $m $OWN --shard 2/2 -o $T/s2 $f && "
      "$SHIFTBAND map --join $T/s1 $T/s2 -o $T/j.csv >$T/j.txt && cmp $T/w.csv $T/j.csv && cmp $T/w.txt $T/j.txt && "
      "grep -c 'by controller' $T/j.txt; $m --shard 2/2 -o $T/s3 $f; $SHIFTBAND map --join $T/s1 $T/s3; echo code $?");
  shell_expect(said, "1\n");
  shell_expect(said, "code 3");
  said = shell_run(
      OWN "m=\"$SHIFTBAND map --vary controller.dwell=0.2..2s --points 60 --jobs 1 -o $T/r.csv\"; "
          "f=scenarios/tray-cart.yaml; $SHIFTBAND map --vary controller.dwell=0.2..2s --points 60 $OWN -o $T/u.csv $f "
          ">/dev/null; $m $OWN $f >/dev/null & sleep 0.3; kill -9 $!; wait $! 2>/dev/null; ls $T/r.csv.part | wc -l; "
          "$m --resume $f; echo code $?; $m --resume $OWN $f >/dev/null && cmp $T/u.csv $T/r.csv && echo alike");
  shell_expect(said, "belongs to another study");
  shell_expect(said, "code 2\nalike\n");
}

static void tuning_answers_in_the_same_form_and_its_answer_holds_in_a_run(void **state)
{
  (void)state;
  if (IS_SLOW) skip(); /* a thousand hosts, each of which prepares the sanitizers' memory */
  const struct said *said = shell_run(
      OWN "$SHIFTBAND tune $OWN --points 10 --samples 0 --jobs 1 scenarios/tray-cart.yaml >$T/t1 && "
          "$SHIFTBAND tune $OWN --points 10 --samples 0 --jobs 3 scenarios/tray-cart.yaml >$T/t2 && cmp $T/t1 $T/t2 && "
          "cat $T/t1");
  assert_int_equal(said->code, 0);
  shell_expect(said, "A lattice of 10 % was run point by point");
  shell_expect(said, "These thresholds and this dwell pass in all 3 machines");
  shell_expect(said, "lower downshift");
  shell_expect(said, "longer dwell");
  shell_expect_not(said, "losed forms over");
  said = shell_run(
      OWN
      "set -- $(sed -n 's/^    \\(downshift_below\\|upshift_above\\|dwell\\): \\([0-9.]*\\) .*/\\2/p' $T/t1); "
      "$SHIFTBAND run $OWN --fail-on any --set controller.downshift_below=\"$1 %\" --set controller.upshift_above=\"$2 %\" "
      "--set controller.dwell=\"$3 s\" scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "none: the machine passes under this load");
  said = shell_run(OWN "$SHIFTBAND tune $OWN --json --points 8 --samples 0 scenarios/tray-cart.yaml");
  shell_expect(said, "\"lattice_pct\":");
  shell_expect_not(said, "closed_form");
  shell_expect_not(said, "remedy");
}

static void signal_ends_run_and_controller_alike(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(COUNT_LEFT
                "cat >$T/slow.sh <<'END'\ntrap '' TERM HUP INT\nread h\nwhile read s; do sleep 0.2; echo 2; done\nEND\n"
                "for c in 'run -o '$T/sig.csv map 'tune --samples 0'; do "
                "env OWN_CLI_MARK=on $SHIFTBAND $c --controller-command \"sh $T/slow.sh\" scenarios/tray-cart.yaml "
                ">/dev/null & sleep 0.7; kill -TERM $!; wait $!; echo code $?; left; done; ls $T/sig.csv* $T/.sig.csv* "
                "2>/dev/null | wc -l");
  const char *rest = said->text;
  for (int k = 0; k < 3; k++) {
    const char *ended = strstr(rest, "code 143\nleft 0\n");
    if (ended == NULL) fail_msg("%s", said->text);
    rest = ended != NULL ? ended + 1 : "";
  }
  shell_expect(said, "left 0\n0\n");
}

/* Nobody can tell a host of the end of its program when that is killed by force; the system does. */
static void endless_loop_in_an_object_does_not_outlive_a_killed_program(void **state)
{
  (void)state;
  if (shell_run("[ \"$(uname)\" = Linux ]")->code != 0) skip();
  const struct said *said = shell_run(
      COUNT_LEFT
      "printf '%s\\n' '#include \"shiftband/external_controller.h\"' 'int32_t sb_own_controller(const struct "
      "sb_own_input *i) { for (;;) continue; return i->gear; }' >$T/loop.c; "
      "cc -shared -fPIC -Iinclude -o $T/loop.so $T/loop.c; env OWN_CLI_MARK=on $SHIFTBAND run "
      "--controller-timeout '100 s' --controller $T/loop.so scenarios/tray-cart.yaml & sleep 0.7; "
      "grep -la OWN_CLI_MARK=on /proc/[0-9]*/environ 2>/dev/null | wc -l; kill -9 $!; wait $! 2>/dev/null; left");
  shell_expect(said, "2\n");
  shell_expect(said, "left 0");
}

static void closed_standard_streams_do_no_harm(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(OWN "$SHIFTBAND run $OWN -o $T/c1.csv scenarios/tray-cart.yaml <&- >/dev/null; echo code $?; "
                    "$SHIFTBAND run --controller-command \"$SH\" -o $T/c2.csv scenarios/tray-cart.yaml <&- >/dev/null; "
                    "echo code $?; cmp $T/c1.csv $T/c2.csv && echo alike");
  assert_string_equal(said->text, "code 0\ncode 0\nalike\n");
}

/* As many as a plain shell has here: what others hand down is no leak of ours. */
static void controller_gets_no_descriptor_but_the_standard_streams(void **state)
{
  (void)state;
  if (shell_run("[ -d /proc/self/fd ]")->code != 0) skip();
  const struct said *said = shell_run(
      OWN "mkdir $T/fds; look=\"ls /proc/\\$\\$/fd >$T/fds/\\$\\$;\"; f=scenarios/tray-cart.yaml; "
          "sh -c \"$look :\"; mv $T/fds/* $T/plain; "
          "$SHIFTBAND run --controller-command \"$look $SH\" -o $T/fd.csv $f >/dev/null; "
          "$SHIFTBAND map --controller-command \"$look $SH\" --jobs 3 --vary controller.dwell=1..2s --points 8 "
          "-o $T/fd2.csv $f >/dev/null; ls $T/fds | wc -l; for p in $T/fds/*; do cmp $T/plain $p; done");
  assert_string_equal(said->text, "9\n");
}

static void host_speaks_the_documented_lines(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf '%s\\n' 'shiftband-controller 2 gears=2 start_gear=2 sample_period_s=0.02 count_pct=1 "
      "start_delay_samples=0 dwell_samples=3 debounce_samples=1 downshift_below=60 upshift_above=90 downshift_below_pct=60 upshift_above_pct=90' '0 0 70 70 2 1 1' "
      "'1 0.02 59 59 2 1 1' '2 0.04 95 95 1 1 1' '3 0.06 95 95 1 1 1' '4 0.08 95 95 1 1 1' | $SHIFTBAND host $T/own.so");
  assert_int_equal(said->code, 0);
  assert_string_equal(said->text, "2\n1\n1\n1\n2\n");
  said = shell_run("echo 'shiftband-controller 1' | $SHIFTBAND host $T/own.so");
  assert_int_equal(said->code, 6);
  shell_expect(said, "! the first line is not that of version 2");
  assert_int_equal(shell_run("$SHIFTBAND host")->code, 2);
  assert_int_equal(shell_run("$SHIFTBAND host --help | grep -q 'usage: shiftband host FILE.so'")->code, 0);
}

/* Its own.so decides as the built-in one does, so samples pass where they pass under that one. */
static void samples_run_under_a_controller_of_ones_own(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for c in \"--controller $T/own.so\" ''; do $SHIFTBAND map $c --samples 5 --vary upshift_above=80..105% "
      "--points 5 -o $T/own$((n = n + 1)).csv scenarios/tray-cart.yaml > $T/own.txt || exit 9; done; "
      "cmp $T/own1.csv $T/own2.csv && $SHIFTBAND map --controller $T/own.so --samples 3 --points 4 "
      "-o $T/plane.csv scenarios/tray-cart.yaml && cut -d, -f4 $T/plane.csv | sort -u");
  assert_int_equal(said->code, 0);
  shell_expect(said, "a run of each of 3 random samples");
  shell_expect(said, "\n3\nsamples\n");
}

static void faults_of_the_command_line_are_told(void **state)
{
  (void)state;
  static const struct {
    const char *options, *said;
    int code;
  } faults[] = {
      {"run --controller $T/none-there.so", "--controller /tmp/", 4},
      {"run --controller $T/own.so --controller-command x", "exclude each other", 2},
      {"run --controller-timeout '1 s'",
       "--controller-timeout needs --controller FILE.so or --controller-command TEXT: ", 2},
      {"run --controller $T/own.so --controller-timeout 1", "--controller-timeout needs a time", 2},
      {"run --controller $T/own.so --controller-timeout '0 s'", "needs more than 0", 2},
      {"run --controller $T/own.so --controller-timeout '1 us'", "needs 1 ms to 1 h", 2},
      {"run --controller $T/own.so --gear fast",
       "--gear and --controller exclude each other: there is no place for an external", 2},
      {"run --controller $T/own.so --until-warm",
       "--until-warm and --controller exclude each other: there is no place for an external", 2},
      {"map --controller $T/own.so --limits $T/l.csv", "--limits and --controller exclude each other: closed forms", 2},
      {"map --controller $T/own.so --join", "exclude each other: the shards know the rest", 2},
      {"map --points 3", "--points needs --vary PATH=FROM..TO or --controller FILE.so", 2},
      {"tune --controller $T/own.so --points 2", "--points needs a whole number from 8 to 20000", 2},
  };
  for (size_t k = 0; k < sizeof faults / sizeof faults[0]; k++) {
    char command[512];
    snprintf(command, sizeof command, "$SHIFTBAND %s scenarios/tray-cart.yaml", faults[k].options);
    const struct said *said = shell_run(command);
    shell_expect(said, faults[k].said);
    assert_int_equal(said->code, faults[k].code);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_scenario_has_the_same_trace_through_an_object_and_through_commands),
      cmocka_unit_test(summary_and_json_name_the_controller),
      cmocka_unit_test(comparison_asks_in_its_automatic_run_only),
      cmocka_unit_test(fault_exits_with_six_names_the_controller_and_leaves_an_old_trace),
      cmocka_unit_test(print_of_an_object_goes_to_standard_error),
      cmocka_unit_test(each_run_starts_afresh),
      cmocka_unit_test(grid_agrees_with_the_built_in_one_whatever_the_number_of_threads),
      cmocka_unit_test(plain_map_becomes_a_grid_of_thresholds),
      cmocka_unit_test(shards_join_and_interrupted_work_goes_on_under_the_same_controller_only),
      cmocka_unit_test(tuning_answers_in_the_same_form_and_its_answer_holds_in_a_run),
      cmocka_unit_test(signal_ends_run_and_controller_alike),
      cmocka_unit_test(endless_loop_in_an_object_does_not_outlive_a_killed_program),
      cmocka_unit_test(closed_standard_streams_do_no_harm),
      cmocka_unit_test(controller_gets_no_descriptor_but_the_standard_streams),
      cmocka_unit_test(host_speaks_the_documented_lines),
      cmocka_unit_test(samples_run_under_a_controller_of_ones_own),
      cmocka_unit_test(faults_of_the_command_line_are_told),
  };
  return cmocka_run_group_tests_name("cli_own", tests, set_up, shell_teardown);
}
