// SPDX-License-Identifier: GPL-3.0-or-later
/* The prove command as a user meets it: profiles that disprove, written for machines of which nothing can be proved. */
#include "help/near.h"
#include "help/shell.h"

/* Its own load never stalls it; under the profile that was found it does. */
static void a_counterexample_outside_the_class_is_a_scenario_that_run_reproduces(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "own=scenarios/pellet-screw.yaml; $SHIFTBAND prove --tries 60 -o $T/worst.yaml $own; "
      "$SHIFTBAND run --fail-on stall $own > /dev/null; echo own $?; "
      "$SHIFTBAND run --fail-on stall $T/worst.yaml > /dev/null; echo worst $?; "
      "$SHIFTBAND prove --tries 60 -o - $own | cmp - $T/worst.yaml && echo the same bytes; "
      "$SHIFTBAND prove --tries 60 -q -o $T/weak.yaml $own --set motor.stall_torque='0.3 N.m' && grep '^  stall_torque' $T/weak.yaml");
  shell_expect(said, "disproved: the output never stands");
  shell_expect(said, "own 0");
  shell_expect(said, "worst 1");
  shell_expect(said, "the same bytes");
  shell_expect(said, "stall_torque: 0.3 N.m");
}

/* Of a load that only resists nothing acts in the profile. */
static void a_profile_has_no_part_that_does_nothing(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND prove -q -o - scenarios/tray-cart.yaml | grep '^  parts:'");
  shell_expect(said, "manner: resists");
  shell_expect_not(said, "manner: acts");
}

/* The machine in it is the one that was proved: with its driver's limit, if that is below 1 A, too. */
static void a_profile_is_written_with_the_limit_of_the_current(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND prove -q -o - --tries 4 scenarios/tray-cart.yaml --set drive='{limit: 100 %, current_limit: 0.75 A}' | grep ^drive");
  shell_expect(said, "drive: {limit: 100 %, current_limit: 0.75 A}");
}

/* The report is there nevertheless, and no file. */
static void what_cannot_be_written_is_told(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND prove --tries 60 -o $T/no.yaml scenarios/shuttle-wagon.yaml --set motor.stall_torque='0.05 N.m'; "
      "echo bodies $?; $SHIFTBAND prove --tries 4 -o $T/no.yaml scenarios/seed-drill.yaml; echo none $?; ls $T/no.yaml");
  shell_expect(said, "scenarios/shuttle-wagon.yaml: load.bodies: --output needs a load that a profile can replace");
  shell_expect(said, "disproved: the output never stands");
  shell_expect(said, "bodies 3");
  shell_expect(said, "scenarios/seed-drill.yaml: no counterexample was found: there is no load profile to write");
  shell_expect(said, "none 3");
  shell_expect(said, "No such file");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_counterexample_outside_the_class_is_a_scenario_that_run_reproduces),
      cmocka_unit_test(a_profile_has_no_part_that_does_nothing),
      cmocka_unit_test(a_profile_is_written_with_the_limit_of_the_current),
      cmocka_unit_test(what_cannot_be_written_is_told),
  };
  return cmocka_run_group_tests_name("cli_prove", tests, shell_setup, shell_teardown);
}
