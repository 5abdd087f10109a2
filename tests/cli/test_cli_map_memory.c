// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The exact map of every shipped scenario, and tuning those of which it takes seconds, in as much address space as a small computer can spare, program and libraries included.
 * Sanitizers take terabytes of it, so there the test does nothing.
 */
#include <stdio.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

enum { MAP_KIB = 150 * 1024, TUNE_KIB = 350 * 1024 };

static void map_of_every_shipped_scenario_takes_little_memory(void **state)
{
  (void)state;
  char command[512];
  if (IS_SLOW) skip();
  /* Of the grindstone a part: its whole map takes most of a minute, with no more memory. */
  snprintf(
      command, sizeof command,
      "ulimit -v %d; for f in scenarios/*.yaml; do case $f in *grindstone*) W='--downshift 40..60';; *) W=;; esac; "
      "$SHIFTBAND map --jobs 1 $W $f > $T/map.txt || { echo $f; exit 1; }; done",
      MAP_KIB);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("exit code %d: %s", said->code, said->text);
  /* The limit is one that is felt. */
  assert_int_not_equal(shell_run("ulimit -v 40000; $SHIFTBAND map --jobs 1 scenarios/seed-drill.yaml")->code, 0);
}

/* On two threads. */
static void tuning_takes_little_memory(void **state)
{
  (void)state;
  char command[512];
  if (IS_SLOW) skip();
  snprintf(command, sizeof command,
           "ulimit -v %d; for f in stop-and-go seed-drill grindstone well-winch crate-pusher; do "
           "$SHIFTBAND tune --jobs 2 scenarios/$f.yaml > $T/tune.txt; test $? -le 1 || { echo $f; exit 1; }; done",
           TUNE_KIB);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("exit code %d: %s", said->code, said->text);
  assert_int_not_equal(shell_run("ulimit -v 40000; $SHIFTBAND tune --jobs 2 scenarios/seed-drill.yaml")->code, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(map_of_every_shipped_scenario_takes_little_memory),
      cmocka_unit_test(tuning_takes_little_memory),
  };
  return cmocka_run_group_tests(tests, shell_setup, shell_teardown);
}
