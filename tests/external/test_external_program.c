// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Controllers that are programs, and all that one can do wrong: every one ends in words that name it, within its time,
 * without a child, a grandchild or an open descriptor left behind.
 */
#define _XOPEN_SOURCE 700 /* setenv */

#include <dirent.h>
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "help/near.h"
#include "help/shell.h"
#include "shiftband/external_program.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

#define MARK "SHIFTBAND_OWN_TEST_CHILD=yes"

static struct sb_scenario cart, feeder;
static char host[] = SB_PROGRAM;

static void load(const char *file, struct sb_scenario *scenario)
{
  char path[1024];
  struct sb_faults faults = {0};
  snprintf(path, sizeof path, "%s/scenarios/%s", SB_SOURCE_DIR, file);
  assert_int_equal(sb_scenario_load(path, NULL, 0, scenario, &faults), SB_OK);
  sb_faults_clear(&faults);
}

static int set_up(void **state)
{
  signal(SIGPIPE, SIG_IGN);
  setenv("SHIFTBAND_OWN_TEST_CHILD", "yes", 1);
  /* A host built with sanitizers dies of what kills an object, as others do, and does not write reports first. */
  setenv("ASAN_OPTIONS", "handle_segv=0:handle_abort=0", 1);
  load("tray-cart.yaml", &cart);
  load("three-speed-feeder.yaml", &feeder);
  return chdir(SB_SOURCE_DIR) == 0 ? shell_setup(state) : -1;
}

static int tear_down(void **state)
{
  sb_scenario_clear(&cart);
  sb_scenario_clear(&feeder);
  return shell_teardown(state);
}

static double now_s(void)
{
  struct timespec now;
  clock_gettime(CLOCK_MONOTONIC, &now);
  return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* Runs a scenario under a program with a time limit, ten times that for its first answer. */
static enum sb_status run_under(const struct sb_model *model, const char *const *argv, double limit_s,
                                struct sb_error *err)
{
  const struct sb_external_program program = {.name = "THE ONE", .argv = argv, .timeout_s = limit_s};
  const struct sb_decider decider = sb_external_program_decider(&program);
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.decider = &decider;
  const enum sb_status status = sb_run(model, &options, &result, err);
  if (status == SB_OK) sb_run_result_clear(&result);
  return status;
}

static int open_descriptors(void)
{
  int count = 0;
  for (int d = 0; d < 256; d++) count += dup2(d, d) == d;
  return count;
}

/* Processes with the mark in their environment; this one got its own too late to be among them. */
static int marked_processes(void)
{
  int count = 0;
  DIR *folder = opendir("/proc");
  if (folder == NULL) return 0;
  for (struct dirent *entry; (entry = readdir(folder)) != NULL;) {
    char path[300], text[65536];
    if (entry->d_name[0] < '1' || entry->d_name[0] > '9') continue;
    snprintf(path, sizeof path, "/proc/%s/environ", entry->d_name);
    FILE *file = fopen(path, "rb");
    if (file == NULL) continue;
    const size_t length = fread(text, 1, sizeof text - 1, file);
    text[length] = 0;
    fclose(file);
    for (size_t at = 0; at < length; at += strlen(text + at) + 1) count += strcmp(text + at, MARK) == 0;
  }
  closedir(folder);
  return count;
}

/* A killed process takes a moment to go. */
static void expect_nothing_left(const char *after, int descriptors)
{
  if (waitpid(-1, NULL, WNOHANG) != -1 || errno != ECHILD) fail_msg("a child is left after: %s", after);
  if (open_descriptors() != descriptors) fail_msg("a descriptor is left after: %s", after);
  for (int k = 0; k < 100 && marked_processes() > 0; k++) nanosleep(&(struct timespec){.tv_nsec = 20000000}, NULL);
  if (marked_processes() > 0) fail_msg("a process is left after: %s", after);
}

/* What a program must be told to be, and how long it may take: its limits, and some seconds on a busy machine. */
struct fault {
  const char *what, *said, *or_said;
};

/* A busy machine must not make late what is not meant to be; what hangs is waited for no longer than needed. */
static double limit_of(const struct fault *fault)
{
  if (strstr(fault->said, "within 1 s") != NULL) return 0.1;
  return strstr(fault->said, "within 0.4 s") != NULL ? 0.4 : 1.0;
}

static void expect_fault(const struct sb_model *model, const char *const *argv, const struct fault *fault)
{
  struct sb_error err = {SB_OK, ""};
  const int descriptors = open_descriptors();
  const double begin_s = now_s();
  const enum sb_status status = run_under(model, argv, limit_of(fault), &err);
  const double took_s = now_s() - begin_s;
  const bool is_told =
      strstr(err.text, fault->said) != NULL || (fault->or_said != NULL && strstr(err.text, fault->or_said) != NULL);
  if (status != SB_ERR_CONTROLLER || !is_told || strstr(err.text, "controller THE ONE") != err.text) {
    fail_msg("%s: expected \"%s\", got %d: %s", fault->what, fault->said, (int)status, err.text);
  }
  if (took_s > 7.0) fail_msg("%s: took %.3g s", fault->what, took_s);
  expect_nothing_left(fault->what, descriptors);
}

/* The shell ends a list of commands by becoming the last one; `read` takes the first line and the first sample. */
#define HEAR_ONE "read h; read s; "

static void every_fault_of_a_command_ends_in_words_in_time_and_with_nothing_left(void **state)
{
  (void)state;
  static const struct fault faults[] = {
      {"sleep 100", "sample 0 at 0 s: did not answer within 1 s; does its answer leave at once", NULL},
      {HEAR_ONE "echo 2; sleep 100", "sample 1 at 0.02 s: did not answer within 0.4 s", NULL},
      {"read h; while read s; do sleep 1; echo 2; done", "sample 1 at 0.02 s: did not answer within 0.4 s", NULL},
      {HEAR_ONE "kill -STOP $$", "did not answer within 1 s", NULL},
      {"exit 3", "sample 0 at 0 s: ended before its first answer with exit code 3", NULL},
      {HEAR_ONE "echo 2; read s; exit 4", "sample 1 at 0.02 s: ended with exit code 4", NULL},
      {HEAR_ONE "echo 2; exit 0", "sample 1 at 0.02 s: ended with exit code 0", NULL},
      {HEAR_ONE "kill -SEGV $$", "died before its first answer by signal 11, a memory fault", NULL},
      {HEAR_ONE "echo 2; read s; kill -KILL $$", "died by signal 9, by force", NULL},
      {"no-such-command-here 2>/dev/null", "exit code 127 (of a shell: there is no such command)", NULL},
      {"/dev/null 2>/dev/null", "exit code 126 (of a shell: that is no program)", NULL},
      {HEAR_ONE "printf 1; exit 0", "ended in the middle of the answer \"1\" before its first answer with exit code 0",
       NULL},
      {"exec >&-; exec sleep 100", "closed its output before its first answer", NULL},
      {HEAR_ONE "echo 2; exec <&-; sleep 100", "did not answer within 0.4 s", NULL},
      {HEAR_ONE "echo fast", "answered \"fast\"; needs a gear from 1 to 2", NULL},
      {HEAR_ONE "echo", "answered \"\"; needs a gear from 1 to 2", NULL},
      {HEAR_ONE "echo -1", "answered \"-1\"; needs a gear", NULL},
      {HEAR_ONE "echo 1.5", "answered \"1.5\"; needs a gear", NULL},
      {HEAR_ONE "echo 2 2", "answered \"2 2\"; needs a gear", NULL},
      {HEAR_ONE "echo 123456789123456789", "answered \"123456789123456789\"; needs a gear", NULL},
      {HEAR_ONE "printf '2\\0\\n'", "answered \"2\"; needs a gear", NULL},
      {HEAR_ONE "printf '\\001\\n'", "needs a gear from 1 to 2", NULL},
      {HEAR_ONE "echo 0", "answered gear 0; gears count from 1 to 2", NULL},
      {HEAR_ONE "echo 3", "answered gear 3; gears count from 1 to 2", NULL},
      {HEAR_ONE "echo '! no fuel left'", "gave up: no fuel left", NULL},
      {"echo '! wrong version'; exec sleep 100", "gave up: wrong version", NULL},
      {HEAR_ONE "head -c 300 /dev/zero | tr '\\0' x; sleep 100", "answered a line of more than 255 bytes, \"xxxx",
       NULL},
      {"cat /dev/zero", "more than 255 bytes", "before it was asked"},
      {"yes 2", "wrote \"2\" before it was asked; needs one line for each sample", NULL},
      {HEAR_ONE "echo 2; echo 2; sleep 100", "wrote \"2\" before it was asked", "sample 2 at 0.04 s: did not answer"},
      {"echo 2; read h; while read s; do echo 2; done", "before it was asked", "said more than one line"},
      {"sh tools/external/controller.sh; echo bye", "wrote more than one line for each sample", NULL},
      {"trap '' TERM HUP INT; while :; do sleep 1; done", "did not answer within 1 s", NULL},
      {"sleep 100 & (sleep 100 & sleep 100) & " HEAR_ONE "echo 2; exit 5", "ended with exit code 5", NULL},
      {"(trap '' TERM HUP; sleep 100) & sleep 100", "did not answer within 1 s", NULL},
  };
  for (size_t k = 0; k < sizeof faults / sizeof faults[0]; k++) {
    const char *const argv[] = {"/bin/sh", "-c", faults[k].what, NULL};
    expect_fault(&cart.model, argv, &faults[k]);
  }
}

static void gear_may_not_be_jumped_over(void **state)
{
  (void)state;
  static const struct fault jump = {HEAR_ONE "echo 1", "answered gear 1 while in gear 3; a shift must not skip a gear",
                                    NULL};
  const char *const argv[] = {"/bin/sh", "-c", jump.what, NULL};
  expect_fault(&feeder.model, argv, &jump);
}

static void program_that_is_none_is_told(void **state)
{
  (void)state;
  static const struct fault absent = {"absent", "controller THE ONE can't be started: ./no/such/program: No such file",
                                      NULL};
  const char *const argv[] = {"./no/such/program", NULL};
  expect_fault(&cart.model, argv, &absent);
}

/* What a C function of the user's may do, as the body of a file. */
static void every_fault_of_an_object_ends_in_words_in_time_and_with_nothing_left(void **state)
{
  (void)state;
  static const struct fault faults[] = {
      {"int other(void) { return 0; }", "gave up: it has no function sb_own_controller", NULL},
      {"int sb_own_controller_2(const void *input) { return input != 0; }",
       "gave up: it was built for version 2 of shiftband/external_controller.h, and this program knows version 1",
       NULL},
      {"int gone(void); INPUT { return gone(); }", "gave up: it can't be loaded: ", NULL},
      {"INPUT { for (;;) continue; }", "sample 0 at 0 s: did not answer within 1 s", NULL},
      {"INPUT { while (input->sample > 7) continue; return 2; }", "sample 8 at 0.16 s: did not answer within 0.4 s",
       NULL},
      {"#include <unistd.h>\nINPUT { if (input->sample > 7) sleep(100); return 2; }", "did not answer within 0.4 s",
       NULL},
      {"INPUT { return *(volatile int *)(input->sample > 7 ? 0 : &input->gear); }",
       "sample 8 at 0.16 s: died by signal", "sample 8 at 0.16 s: ended with exit code"},
      {"#include <stdlib.h>\nINPUT { if (input->sample > 7) abort(); return 2; }", "died by signal 6, it aborted",
       "ended with exit code"},
      {"#include <stdlib.h>\nINPUT { if (input->sample > 7) exit(0); return 2; }", "ended with exit code 0", NULL},
      {"__attribute__((constructor)) static void hang(void) { for (;;) continue; }\nINPUT { return input->gear; }",
       "did not answer within 1 s", NULL},
      {"INPUT { return input->gear - 2; }", "answered gear 0; gears count from 1 to 2", NULL},
      {"INPUT { return -input->gear; }", "answered \"-2\"; needs a gear from 1 to 2", NULL},
      {"INPUT { return 1 << (input->gear + 20); }", "answered \"4194304\"; needs a gear", NULL},
  };
  for (size_t k = 0; k < sizeof faults / sizeof faults[0]; k++) {
    char command[2048];
    snprintf(command, sizeof command,
             "unset SHIFTBAND_OWN_TEST_CHILD; printf '%%s\\n' '#include \"shiftband/external_controller.h\"' "
             "'#define INPUT int32_t sb_own_controller(const struct sb_own_input *input)' '%s' > $T/bad.c && "
             "cc -O1 -shared -fPIC -Iinclude -o $T/bad.so $T/bad.c && echo $T",
             faults[k].what);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s", said->text);
    char path[256];
    snprintf(path, sizeof path, "%.*s/bad.so", (int)strcspn(said->text, "\n"), said->text);
    const char *const argv[] = {host, "host", path, NULL};
    expect_fault(&cart.model, argv, &faults[k]);
  }
}

static void expect_good(const char *command)
{
  struct sb_error err = {SB_OK, ""};
  const char *const argv[] = {"/bin/sh", "-c", command, NULL};
  const int descriptors = open_descriptors();
  const double begin_s = now_s();
  const enum sb_status status = run_under(&cart.model, argv, 2.0, &err);
  if (status != SB_OK) fail_msg("%s: %s", command, err.text);
  if (now_s() - begin_s > 30.0) fail_msg("%s: took %.3g s", command, now_s() - begin_s);
  expect_nothing_left(command, descriptors);
}

/* Grandchildren, words on standard error, carriage returns, an end that takes its time: nobody minds. */
static void good_command_may_have_company_and_habits(void **state)
{
  (void)state;
  expect_good("sh tools/external/controller.sh");
  expect_good("sleep 100 & sh tools/external/controller.sh");
  expect_good("sh tools/external/controller.sh; sleep 100");
  expect_good("sh tools/external/controller.sh; trap '' TERM; exec 0<&- 1>&-; sleep 100");
  expect_good("read h; while read s; do printf ' 2 \\r\\n'; done");
  expect_good("read h; echo loud >/dev/null; while read s; do echo 2; done; exit 7");
}

static void raised_flag_stops_a_run_and_its_program(void **state)
{
  (void)state;
  static const volatile sig_atomic_t raised = SIGTERM;
  const char *const argv[] = {"/bin/sh", "-c", "sleep 100", NULL};
  const struct sb_external_program program = {.name = "x", .argv = argv, .timeout_s = 60.0, .stop = &raised};
  const struct sb_decider decider = sb_external_program_decider(&program);
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  const int descriptors = open_descriptors();
  const double begin_s = now_s();
  options.decider = &decider;
  assert_int_equal(sb_run(&cart.model, &options, &result, &err), SB_ERR_STOPPED);
  assert_true(now_s() - begin_s < 5.0);
  expect_nothing_left("a stop", descriptors);
}

/* A locked gear asks nobody: the program is not even started. */
static void locked_gear_asks_nobody(void **state)
{
  (void)state;
  const char *const argv[] = {"./no/such/program", NULL};
  const struct sb_external_program program = {.name = "x", .argv = argv, .timeout_s = 1.0};
  const struct sb_decider decider = sb_external_program_decider(&program);
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  options.decider = &decider;
  options.locked_gear = 1;
  assert_int_equal(sb_run(&cart.model, &options, &result, &err), SB_OK);
  sb_run_result_clear(&result);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_fault_of_a_command_ends_in_words_in_time_and_with_nothing_left),
      cmocka_unit_test(gear_may_not_be_jumped_over),
      cmocka_unit_test(program_that_is_none_is_told),
      cmocka_unit_test(every_fault_of_an_object_ends_in_words_in_time_and_with_nothing_left),
      cmocka_unit_test(good_command_may_have_company_and_habits),
      cmocka_unit_test(raised_flag_stops_a_run_and_its_program),
      cmocka_unit_test(locked_gear_asks_nobody),
  };
  return cmocka_run_group_tests_name("own_program", tests, set_up, tear_down);
}
