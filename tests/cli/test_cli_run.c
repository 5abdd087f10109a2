// SPDX-License-Identifier: GPL-3.0-or-later
/* The run command as a user meets it: outputs whole or not at all, exit codes, options, memory. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static void trace_has_the_contract_header_and_reads_back_what_json_says(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run -o $T/t.csv scenarios/tray-cart.yaml && head -n 1 $T/t.csv");
  assert_int_equal(said->code, 0);
  shell_expect(said, "\ntime_s,gear,phase,duty_fraction,motor_speed_rpm,reading_pct,output_speed_rpm,output_torque_nm,"
                     "load_torque_nm,motor_current_a,supply_voltage_v,output_turns\n");
  said = shell_run("tail -n 1 $T/t.csv | cut -d, -f12");
  const double turns = strtod(said->text, NULL);
  said = shell_run("$SHIFTBAND run --json scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  assert_true(shell_figure(said, "\"output_turns\":") == turns);
  shell_expect(said, "\"verdicts\":[]");
}

static void same_scenario_gives_the_same_bytes_with_and_without_a_trace(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND run -o $T/a.csv scenarios/three-speed-feeder.yaml > $T/a.txt && "
      "$SHIFTBAND run scenarios/three-speed-feeder.yaml > $T/b.txt && cmp $T/a.txt $T/b.txt && "
      "$SHIFTBAND run -o - scenarios/three-speed-feeder.yaml 2> $T/c.txt > $T/c.csv && cmp $T/a.csv $T/c.csv && "
      "cmp $T/a.txt $T/c.txt && test -s $T/a.csv");
  assert_int_equal(said->code, 0);
}

static void json_is_one_valid_object_a_run(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND run --compare --json scenarios/tray-cart.yaml > $T/o.json && python3 -c '\n"
      "import json, sys\n"
      "rows = [json.loads(line) for line in open(sys.argv[1])]\n"
      "print(len(rows), rows[0][\"locked_gear\"], rows[2][\"locked_gear\"], rows[2][\"verdicts\"][0][\"kind\"])\n"
      "' $T/o.json");
  assert_int_equal(said->code, 0);
  shell_expect(said, "3 None fast stall");
}

static void fail_on_exits_with_one_only_for_the_named_verdict(void **state)
{
  (void)state;
  assert_int_equal(shell_run("$SHIFTBAND run --fail-on hunting scenarios/hunting-crawler.yaml")->code, 1);
  assert_int_equal(shell_run("$SHIFTBAND run --fail-on stall,overload scenarios/hunting-crawler.yaml")->code, 0);
  assert_int_equal(shell_run("$SHIFTBAND run --fail-on any scenarios/hunting-crawler.yaml")->code, 1);
  assert_int_equal(shell_run("$SHIFTBAND run --fail-on any scenarios/tray-cart.yaml")->code, 0);
  const struct said *said = shell_run("$SHIFTBAND run --fail-on waltz scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "threshold-out-of-reach or any, found \"waltz\"");
}

static void set_changes_one_key_and_gear_locks_one(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run --set controller.upshift_above='81 %' scenarios/hunting-crawler.yaml");
  assert_int_equal(said->code, 0);
  shell_expect_not(said, "The gearbox hunts");
  said = shell_run("$SHIFTBAND run --gear fast scenarios/tray-cart.yaml");
  shell_expect(said, "locked in fast");
  shell_expect(said, "The output stalls in fast");
  shell_expect(said, "Caution: a stalled motor");
  said = shell_run("$SHIFTBAND run --gear fats scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "did you mean \"fast\"");
}

static void several_scenarios_go_into_a_folder_one_file_each(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run -o $T/nowhere scenarios/tray-cart.yaml scenarios/well-winch.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "need a folder");
  said = shell_run("mkdir $T/many && $SHIFTBAND run -o $T/many scenarios/tray-cart.yaml scenarios/well-winch.yaml && "
                   "ls -A $T/many | tr '\\n' ' '");
  assert_int_equal(said->code, 0);
  shell_expect(said, "tray-cart.csv well-winch.csv ");
}

static void hoisting_carries_its_caution(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/well-winch.yaml");
  shell_expect(said, "For lifting");
  shell_expect(said, "local codes");
}

/* /dev/full fails every write with ENOSPC, as a full disk does. */
static void full_disk_is_an_error_with_its_exit_code(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run scenarios/tray-cart.yaml > /dev/full");
  assert_int_equal(said->code, 4);
  shell_expect(said, "No space left on device");
  said = shell_run("$SHIFTBAND run -o /dev/full scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "/dev/full: No space left on device");
}

/* A limit on the size of files stops the trace in its middle. */
static void half_written_trace_never_appears_and_an_old_one_stays(void **state)
{
  (void)state;
  const struct said *said = shell_run("mkdir $T/half; echo old > $T/half/t.csv; (ulimit -f 16; trap '' XFSZ; "
                                      "exec $SHIFTBAND run -o $T/half/t.csv scenarios/tray-cart.yaml)");
  assert_int_equal(said->code, 4);
  shell_expect(said, "t.csv: File too large");
  said = shell_run("cat $T/half/t.csv; ls -A $T/half");
  assert_string_equal(said->text, "old\nt.csv\n");
}

static void interrupted_run_leaves_nothing_behind(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "mkdir $T/cut; $SHIFTBAND run --set run.duration='100 h' -o $T/cut/t.csv scenarios/tray-cart.yaml & "
      "for i in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20; do [ -n \"$(ls -A $T/cut)\" ] && break; "
      "sleep 0.1; done; ls -A $T/cut | wc -l; kill -TERM $!; wait $! 2>/dev/null; echo code $?; ls -A $T/cut | wc -l");
  shell_expect(said, "1\n");
  shell_expect(said, "code 143\n0\n");
}

static void closed_pipe_ends_the_run_silently_with_the_code_of_its_signal(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "{ $SHIFTBAND run -o - scenarios/stop-and-go.yaml; echo code $? >&2; } 2>$T/err | head -n 1 >/dev/null; "
      "tail -n 2 $T/err");
  assert_string_equal(said->text, "code 141\n");
}

static void unwritable_folder_and_missing_scenario_are_told(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run -o $T/none/t.csv scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "/none/t.csv: No such file or directory");
  said = shell_run("$SHIFTBAND run $T/none.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "none.yaml");
  said = shell_run("$SHIFTBAND run");
  assert_int_equal(said->code, 2);
  shell_expect(said, "needs a scenario file");
}

static void device_as_output_is_written_and_not_replaced(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run -o /dev/null scenarios/tray-cart.yaml > $T/s && test -c /dev/null");
  assert_int_equal(said->code, 0);
}

/* Ten hours at 1 ms with a trace: peak memory as that of ten seconds, within the noise of an allocator (4 MiB under
 * sanitizers); 1.8 million samples that each left 8 bytes behind would take 14 MiB. */
static void long_run_needs_no_more_memory_than_a_short_one(void **state)
{
  (void)state;
  const char *const command = "peak() { python3 -c '\n"
                              "import resource, subprocess, sys\n"
                              "subprocess.run(sys.argv[1:], check=True, stdout=subprocess.DEVNULL)\n"
                              "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)\n"
                              "' \"$@\"; }; "
                              "peak $SHIFTBAND run --set run.duration='%s' -o /dev/null scenarios/tray-cart.yaml";
  if (shell_run("command -v python3")->code != 0) skip();
  char line[2048];
  snprintf(line, sizeof line, command, "10 s");
  const double short_kib = strtod(shell_run(line)->text, NULL);
  snprintf(line, sizeof line, command, "10 h");
  const double long_kib = strtod(shell_run(line)->text, NULL);
  assert_true(short_kib > 1000.0);
  assert_near(long_kib, short_kib, 4096.0);
}

static void output_never_replaces_a_scenario_or_another_output(void **state)
{
  (void)state;
  const struct said *said = shell_run("cp scenarios/tray-cart.yaml $T/own.yaml; mkdir -p $T/a $T/b $T/both; "
                                      "cp $T/own.yaml $T/a; cp $T/own.yaml $T/b; "
                                      "$SHIFTBAND run -o $T/own.yaml $T/own.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "would replace the input");
  assert_int_equal(shell_run("$SHIFTBAND map -o $T/own.yaml $T/own.yaml")->code, 2);
  assert_int_equal(shell_run("$SHIFTBAND map --limits $T/own.yaml $T/own.yaml")->code, 2);
  assert_int_equal(shell_run("$SHIFTBAND tune -o $T/own.yaml $T/own.yaml")->code, 2);
  assert_int_equal(shell_run("cmp $T/own.yaml scenarios/tray-cart.yaml")->code, 0);
  said = shell_run("$SHIFTBAND run -o $T/both $T/a/own.yaml $T/b/own.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "would both be written to one file");
}

static void empty_list_of_verdicts_is_refused(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND run --fail-on '' scenarios/hunting-crawler.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "--fail-on needs hunting, busy-shifting, stall, ");
}

static void byte_order_mark_and_ignored_hangup_do_no_harm(void **state)
{
  (void)state;
  const struct said *said = shell_run("{ printf '\\357\\273\\277'; cat scenarios/tray-cart.yaml; } > $T/mark.yaml; "
                                      "$SHIFTBAND check $T/mark.yaml > $T/marked && "
                                      "$SHIFTBAND check scenarios/tray-cart.yaml | cmp - $T/marked");
  assert_int_equal(said->code, 0);
  said = shell_run("(trap '' HUP; $SHIFTBAND run --set run.duration='2 h' -o $T/hup.csv scenarios/tray-cart.yaml & "
                   "sleep 0.2; kill -HUP $!; wait $!)");
  assert_int_equal(said->code, 0);
}

/* A million shifts would fill memory: only the first ten thousand are listed, all are counted. */
static void list_of_shifts_is_bounded_and_its_count_is_not(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run --json --set run.duration='4 h' --set load.parts.1='{kind: constant, manner: resists, "
                "torque: 0.37 N.m}' scenarios/hunting-crawler.yaml > $T/many.json; "
                "grep -o '\"shift_count\":[0-9]*' $T/many.json; grep -o command_s $T/many.json | wc -l");
  assert_true(shell_figure(said, "\"shift_count\":") > 20000.0);
  shell_expect(said, "\n10000\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(trace_has_the_contract_header_and_reads_back_what_json_says),
      cmocka_unit_test(same_scenario_gives_the_same_bytes_with_and_without_a_trace),
      cmocka_unit_test(json_is_one_valid_object_a_run),
      cmocka_unit_test(fail_on_exits_with_one_only_for_the_named_verdict),
      cmocka_unit_test(set_changes_one_key_and_gear_locks_one),
      cmocka_unit_test(several_scenarios_go_into_a_folder_one_file_each),
      cmocka_unit_test(hoisting_carries_its_caution),
      cmocka_unit_test(full_disk_is_an_error_with_its_exit_code),
      cmocka_unit_test(half_written_trace_never_appears_and_an_old_one_stays),
      cmocka_unit_test(interrupted_run_leaves_nothing_behind),
      cmocka_unit_test(closed_pipe_ends_the_run_silently_with_the_code_of_its_signal),
      cmocka_unit_test(unwritable_folder_and_missing_scenario_are_told),
      cmocka_unit_test(device_as_output_is_written_and_not_replaced),
      cmocka_unit_test(output_never_replaces_a_scenario_or_another_output),
      cmocka_unit_test(empty_list_of_verdicts_is_refused),
      cmocka_unit_test(byte_order_mark_and_ignored_hangup_do_no_harm),
      cmocka_unit_test(list_of_shifts_is_bounded_and_its_count_is_not),
      cmocka_unit_test(long_run_needs_no_more_memory_than_a_short_one),
  };
  return cmocka_run_group_tests_name("cli_run", tests, shell_setup, shell_teardown);
}
