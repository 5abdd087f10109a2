// SPDX-License-Identifier: GPL-3.0-or-later
/* `shiftband fit` from its command line: exit codes, what goes where, and a section that a scenario takes. */
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

/* A motor of 300 rpm and 0.42 N m at 12 V, time constant 16 ms, by the closed form; rounded as a display would. */
#define MAKE_UP                                                                       \
  "awk 'BEGIN { print \"time_s,speed_rpm\"; for (i = 0; i < 120; i++) { t = i / 800;" \
  " w = t < 0.01 ? 0 : 300 * (1 - exp(-(t - 0.01) / 0.016)); printf \"%.5f,%.0f\\n\", t, w } }' > $T/up.csv; "
#define MAKE_POINTS                                                                             \
  "awk 'BEGIN { print \"force_n,speed_rpm,current_a\"; for (i = 0; i < 7; i++) { q = i * 0.04;" \
  " printf \"%.3f,%.0f,%.3f\\n\", q / 0.05, 300 * (1 - q / 0.42), 0.06 + q / 0.35 } }' > $T/points.csv; "

static void a_spin_up_says_what_it_determines_and_what_it_does_not(void **state)
{
  (void)state;
  const struct said *said = shell_run(MAKE_UP "$SHIFTBAND fit $T/up.csv --voltage '12 V'");
  assert_int_equal(said->code, 0);
  shell_expect(said, "up.csv: spin-up");
  shell_expect(said, "120 readings of speed");
  shell_expect(said, "switched on at 0.0");
  shell_expect(said, "stall torque            not determined by these data");
  shell_expect(
      said,
      "- stall torque and rotor inertia: they can all grow by the same factor without\n    any change in these data; only their ratios are determined.");
  shell_expect(said, "To determine this, hang a known weight");
  assert_near(shell_figure(said, "spin-up time constant"), 16.0, 0.2);
  shell_expect(said, "To paste into a scenario:");
  shell_expect(said, "  # stall_torque: not determined by these data");
}

/* The section, pasted, makes a scenario that the program itself takes. */
static void the_section_pastes_into_a_scenario_with_its_tolerances(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      MAKE_UP MAKE_POINTS
      "$SHIFTBAND fit $T/points.csv $T/up.csv --arm '50 mm' --voltage '12 V' -o $T/s.yaml &&"
      " { cat $T/s.yaml; echo 'gearbox:'; echo '  shifter: {kind: selector, travel_time: 50 ms}';"
      " echo '  gears:'; echo '    - {name: low, meshes: [10/80], motor_direction: forward}';"
      " echo '    - {name: high, meshes: [10/40], motor_direction: forward}';"
      " echo 'load: {inertia: 0.01 kg.m2}';"
      " echo 'controller: {start_gear: high, sample_period: 10 ms, dwell: 2 s, downshift_below: 50 %, upshift_above: 70 %}';"
      " echo 'run: {duration: 2 s, step: 1 ms}'; } > $T/whole.yaml && cat $T/s.yaml &&"
      " $SHIFTBAND check $T/whole.yaml");
  assert_int_equal(said->code, 0);
  shell_expect_not(said, "To paste into a scenario");
  shell_expect(said, "  nominal_voltage: 12 V\n");
  shell_expect(said, "tolerances:  # 95 % intervals\n  motor.no_load_speed: 2");
  shell_expect(said, "  motor.rotor_inertia: ");
  assert_near(shell_figure(said, "  stall_torque: "), 0.42, 0.004);
  assert_near(shell_figure(said, "  stall_current: "), 0.06 + 0.42 / 0.35, 0.02);
}

static void a_section_on_standard_output_stands_alone(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm '50 mm' -o - 2> $T/words && head -n 1 $T/words");
  assert_int_equal(said->code, 0);
  assert_int_equal(strncmp(said->text, "# fitted to\n", 12), 0);
  shell_expect(said, "points.csv: points in steady state");
}

static void json_and_residuals_are_for_machines(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm 50mm --json --residuals $T/r.csv && cat $T/r.csv");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "\"motor.stall_torque\",\"state\":\"determined\",\"unit\":\"N.m\",\"value_si\":"),
              0.42, 0.005);
  shell_expect(said, "\"next_measurements\":[");
  shell_expect(said, "log,line,time_s,column,unit,measured,computed,residual,outlier\n");
  shell_expect(said, ",2,,speed,rpm,300,");
}

static void a_trace_of_this_program_is_a_log(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run scenarios/tray-cart.yaml --gear fast --set 'load.parts=[{kind: constant, "
                "manner: resists, torque: 0.15 N.m}]' --set 'run.duration=1 s' -o $T/run.csv > /dev/null &&"
                " $SHIFTBAND fit $T/run.csv --scenario scenarios/tray-cart.yaml --set 'load.parts=[]'"
                " --set tolerances={} --fit load_friction,load.inertia");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "output friction"), 0.15, 0.001);
  /* The trace gives the sagging voltage every 20 ms of a time constant of 60: straight between is good to a few percent. */
  assert_near(shell_figure(said, "output inertia"), 0.004, 0.0002);
}

/* A battery, a warming winding, an inner loop or a shaft that gives make other motions; the log says what fed the motor. */
static void traces_of_machines_that_have_more_are_logs_in_one_gear(void **state)
{
  (void)state;
  static const struct {
    const char *name, *gear, *set;
    double inertia;
  } cases[] = {{"dough-drum", "stir", "drive.ramp='0 s'", 0.01},
               {"grindstone", "fast", "drive.ramp='0 s'", 0.03},
               {"seed-drill", "high", "tolerances={}", 0.02},
               {"seed-drill", "high", "motor.magnet.material=ferrite", 0.02},
               {"tired-winder", "fast", "tolerances={}", 0.02}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    char line[1024];
    snprintf(
        line, sizeof line,
        "set -- --set 'load.parts=[{kind: constant, manner: resists, torque: 0.4 N.m}]' --set 'run.duration=2 s' --set %s; "
        "$SHIFTBAND run scenarios/%s.yaml --gear %s \"$@\" -o $T/run.csv > /dev/null && $SHIFTBAND fit $T/run.csv --scenario "
        "scenarios/%s.yaml \"$@\" --fit load_friction,load.inertia",
        cases[k].set, cases[k].name, cases[k].gear, cases[k].name);
    const struct said *said = shell_run(line);
    if (said->code != 0) fail_msg("%s: %s", cases[k].name, said->text);
    /* Voltages every 20 ms with straight lines between: a few percent of the inertia, as above. */
    assert_near(shell_figure(said, "output friction"), 0.4, 0.002);
    assert_near(shell_figure(said, "output inertia"), cases[k].inertia, 0.05 * cases[k].inertia);
  }
}

/* One duty throughout: the simulator makes the same run, and all five numbers come back. */
static void a_trace_with_a_shift_at_full_duty_gives_the_machine_back(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "set -- --set 'load.parts=[{kind: constant, manner: resists, torque: 0.4 N.m}]' --set 'run.duration=4 s' --set "
      "drive='100 %' --set controller.reading=speed --set controller.downshift_below='45 %' --set controller.upshift_above='80 %' --set "
      "controller.start_gear=knead; $SHIFTBAND run scenarios/dough-drum.yaml \"$@\" -o $T/run.csv > /dev/null && $SHIFTBAND "
      "fit $T/run.csv --scenario scenarios/dough-drum.yaml \"$@\"");
  assert_int_equal(said->code, 0);
  shell_expect(said, "run.csv: 1 shift");
  /* The scenario's own numbers, to what values every 20 ms between steps of the simulator tell. */
  assert_near(shell_figure(said, "output friction"), 0.4, 0.0004);
  assert_near(shell_figure(said, "output inertia"), 0.01, 1e-5);
  assert_near(shell_figure(said, "mesh efficiency"), 0.96, 1e-3);
  assert_near(shell_figure(said, "rotor inertia"), 2e-4, 2e-7);
}

static void what_the_bench_cannot_tell_of_a_scenario_is_refused_with_a_way_out(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run scenarios/shuttle-wagon.yaml -o $T/run.csv > /dev/null; $SHIFTBAND fit "
                "$T/run.csv --scenario scenarios/shuttle-wagon.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said,
               "load.bodies: needs a load of inertia and parts on the bench, found a vehicle; give what the bench "
               "turned with --set 'load={inertia: 0.01 kg.m2}'");
  said =
      shell_run("$SHIFTBAND fit $T/run.csv --scenario scenarios/shuttle-wagon.yaml --set 'load={inertia: 0.01 kg.m2}'");
  assert_int_equal(said->code, 3);
  shell_expect(said, "run.csv:3: duty: needs one duty throughout a log with a shift");
  said = shell_run("$SHIFTBAND fit $T/run.csv --scenario scenarios/dough-drum.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said, "load.parts.1: needs a constant or viscous part on the bench, found profile");
}

static void text_and_section_fit_eighty_columns(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "d=scenarios/data/cart; for logs in \"$d-points.csv $d-spin.csv $d-coast.csv\" $d-coast.csv $d-spin.csv; do "
      "COLUMNS=80 $SHIFTBAND fit $logs --arm '12 mm' 2>&1; done | "
      "awk 'length > 80; END { print (NR > 80 ? \"enough\" : \"too few\") }'");
  assert_int_equal(said->code, 0);
  assert_string_equal(said->text, "enough\n");
}

static void a_wrong_command_line_is_told_with_exit_code_two(void **state)
{
  (void)state;
  static const struct {
    const char *arguments, *text;
  } cases[] = {
      {"", "needs a log"},
      {"$T/up.csv --phase upward", "--phase needs seen, spin-up, coast-down or both, found \"upward\""},
      {"$T/up.csv --arm 12", "--arm needs a length (m, cm, mm, in, ft), found \"12\", a bare number without its unit"},
      {"$T/up.csv --known motor.weight=3kg",
       "--known: needs a figure such as motor.rotor_inertia, found \"motor.weight\""},
      {"$T/up.csv --known motor.rotor_inertia=3kg", "--known motor.rotor_inertia: needs an inertia"},
      {"$T/up.csv --column sped=x", "did you mean speed"},
      {"$T/up.csv --unit speed", "--unit needs NAME=TEXT, found \"speed\""},
      {"$T/up.csv --gear fast", "--gear needs --scenario FILE: "},
      {"$T/up.csv -o $T/up.csv", "would replace the input"},
      {"$T/up.csv --json -o -", "both use standard output"},
      {"$T/up.csv --fitt x", "did you mean --fit?"},
      {"$T/up.csv --scenario scenarios/tray-cart.yaml --gear third", "--gear needs one of slow, fast, found \"third\""},
      {"$T/up.csv --scenario scenarios/tray-cart.yaml --fit motor.weight", "--fit needs keys"},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    char line[512];
    snprintf(line, sizeof line, "echo speed_rpm > $T/up.csv; $SHIFTBAND fit %s", cases[k].arguments);
    const struct said *said = shell_run(line);
    if (said->code != 2) fail_msg("%s: exit code %d\n%s", cases[k].arguments, said->code, said->text);
    shell_expect(said, cases[k].text);
  }
}

static void a_bad_log_leaves_the_output_as_it_was(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("printf 'time_s,speed_rpm\\n0,1\\n1,x\\n' > $T/bad.csv; echo before > $T/out.yaml;"
                " $SHIFTBAND fit $T/bad.csv -o $T/out.yaml; code=$?; cat $T/out.yaml; exit $code");
  assert_int_equal(said->code, 3);
  shell_expect(said, "bad.csv:3:3: speed_rpm: needs a number, found \"x\"");
  shell_expect(said, "before");
}

/* Milliseconds since 1970 are a clock like any other, to the quarter microsecond that a double tells of them. */
static void a_clock_that_counts_since_1970_is_a_time_origin(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("awk 'BEGIN { print \"time_ms,speed_rpm\"; for (i = 0; i < 100; i++)"
                " printf \"%.0f,%.4f\\n\", 1764090000000 + i * 5, 300 * (1 - exp(-i * 0.005 / 0.05)) }' > $T/up.csv;"
                " $SHIFTBAND fit $T/up.csv --voltage '12 V' && $SHIFTBAND inspect $T/up.csv --column time_s=time_ms"
                " --column motor_speed_rpm=speed_rpm");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "no-load speed"), 300.0, 0.01);
  assert_near(shell_figure(said, "spin-up time constant"), 50.0, 0.01);
  shell_expect(said, "100 rows");
}

static void points_whose_speed_rises_with_the_torque_are_refused(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "printf 'torque_nm,speed_rpm\\n0,100\\n0.1,130\\n0.2,160\\n0.3,190\\n' > $T/up.csv; $SHIFTBAND fit $T/up.csv");
  assert_int_equal(said->code, 3);
  shell_expect(said, "up.csv: speed: needs speeds that fall as the torque grows, found ones that rise");
}

static void files_that_cannot_be_read_or_written_are_exit_code_four(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND fit $T/nothing.csv");
  assert_int_equal(said->code, 4);
  shell_expect(said, "nothing.csv");
  said = shell_run(MAKE_UP "$SHIFTBAND fit $T/up.csv -o $T/no/such/folder.yaml");
  assert_int_equal(said->code, 4);
}

static void gauges_are_stated_in_report_section_and_json(void **state)
{
  (void)state;
  const struct said *said = shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm '50 mm' --voltage '12 V'");
  assert_int_equal(said->code, 0);
  shell_expect(said, "torque 2 %, speed 0.5 %,\ncurrent 1.5 %, voltage 0.5 % (common practice");
  shell_expect(said, "# gauges: torque 2 %, speed 0.5 %, current 1.5 %, voltage 0.5 %\n");
  said =
      shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm 50mm --voltage 12V --gauge 'none, torque=3 %' --json");
  shell_expect(said, "{\"gauge\":\"torque\",\"half_width_pct\":3,\"is_default\":false,\"is_used\":true}");
  shell_expect(said, "{\"gauge\":\"clock\",\"half_width_pct\":0,\"is_default\":false,\"is_used\":false}");
  said = shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm 50mm --voltage 12V --gauge none");
  shell_expect(said, "The gauges are taken as exact");
  shell_expect_not(said, "# gauges");
  said = shell_run(MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm 50mm --gauge weight=1");
  assert_int_equal(said->code, 2);
  shell_expect(said, "--gauge needs torque, speed, current, voltage or clock, found \"weight\"");
}

/* An arm that is taken for 80 mm in place of 50: more power out than in. */
static void figures_that_cannot_be_are_refused_without_a_section(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      MAKE_POINTS "$SHIFTBAND fit $T/points.csv --arm '80 mm' --voltage '12 V' -o $T/none.yaml; echo code $?; ls $T");
  shell_expect(said, "kt / ke (1: no gears): needs at most 1, found 1.");
  shell_expect(said, "code 3\n");
  shell_expect_not(said, "none.yaml\n");
}

/* 0.3 s at 300 rpm before the circuit opens: w = 31.4 - 40 t, until it rests. */
static void a_coast_down_filmed_too_early_says_when_the_switch_was_opened(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "awk 'BEGIN { srand(3); print \"time_s,speed [rad/s]\"; for (i = 0; i < 200; i++) { t = i / 200;"
      " w = t < 0.3 ? 31.4 : 31.4 - 40 * (t - 0.3); printf \"%.4f,%.2f\\n\", t, w + 0.2 * rand() - 0.1 } }' > $T/c.csv; "
      "$SHIFTBAND fit $T/c.csv --gauge none");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "switched off at"), 0.3, 0.003);
  assert_near(shell_figure(said, "friction / inertia"), 40.0, 1.0);
}

static void help_is_on_standard_output(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND fit --help 2> /dev/null");
  assert_int_equal(said->code, 0);
  shell_expect(said, "usage: shiftband fit");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_spin_up_says_what_it_determines_and_what_it_does_not),
      cmocka_unit_test(the_section_pastes_into_a_scenario_with_its_tolerances),
      cmocka_unit_test(a_section_on_standard_output_stands_alone),
      cmocka_unit_test(json_and_residuals_are_for_machines),
      cmocka_unit_test(a_trace_of_this_program_is_a_log),
      cmocka_unit_test(traces_of_machines_that_have_more_are_logs_in_one_gear),
      cmocka_unit_test(a_trace_with_a_shift_at_full_duty_gives_the_machine_back),
      cmocka_unit_test(what_the_bench_cannot_tell_of_a_scenario_is_refused_with_a_way_out),
      cmocka_unit_test(text_and_section_fit_eighty_columns),
      cmocka_unit_test(a_wrong_command_line_is_told_with_exit_code_two),
      cmocka_unit_test(a_bad_log_leaves_the_output_as_it_was),
      cmocka_unit_test(a_clock_that_counts_since_1970_is_a_time_origin),
      cmocka_unit_test(points_whose_speed_rises_with_the_torque_are_refused),
      cmocka_unit_test(files_that_cannot_be_read_or_written_are_exit_code_four),
      cmocka_unit_test(gauges_are_stated_in_report_section_and_json),
      cmocka_unit_test(figures_that_cannot_be_are_refused_without_a_section),
      cmocka_unit_test(a_coast_down_filmed_too_early_says_when_the_switch_was_opened),
      cmocka_unit_test(help_is_on_standard_output),
  };
  return cmocka_run_group_tests_name("cli_fit", tests, shell_setup, shell_teardown);
}
