// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The engine for long work: the same bytes whatever the threads, interruptions and kills; journals that are torn,
 * damaged or of another study are never taken for what they are not.
 */
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/tasks.h"
#include "shiftband/tasks.h"

/* Test vectors of the authors: G. Fowler, L. C. Noll, P. Vo, IETF draft-eastlake-fnv, FNV-1a of 64 bits (from memory). */
static void hash_is_fnv_1a(void **state)
{
  (void)state;
  assert_true(sb_tasks_hash_bytes(SB_TASKS_HASH_START, "", 0) == UINT64_C(0xcbf29ce484222325));
  assert_true(sb_tasks_hash_bytes(SB_TASKS_HASH_START, "a", 1) == UINT64_C(0xaf63dc4c8601ec8c));
  assert_true(sb_tasks_hash_bytes(SB_TASKS_HASH_START, "foobar", 6) == UINT64_C(0x85944171f73967e8));
  const double numbers[] = {1.0, -0.0}; /* IEEE 754: 0x3ff0... and 0x8000... */
  assert_true(sb_tasks_hash_whole(7, -2) == sb_tasks_hash_bytes(7, "\xfe\xff\xff\xff\xff\xff\xff\xff", 8));
  assert_true(sb_tasks_hash_numbers(7, numbers, 2) ==
              sb_tasks_hash_bytes(7, "\0\0\0\0\0\0\xf0\x3f\0\0\0\0\0\0\0\x80", 16));
  assert_true(sb_tasks_hash_text(1, "ab") == sb_tasks_hash_bytes(1, "ab\0", 3));
}

static void lines_grow_to_any_length(void **state)
{
  (void)state;
  struct sb_lines lines = {.text = NULL};
  char *want = calloc(1, 20000);
  for (int k = 0; k < 50; k++) {
    char piece[300];
    memset(piece, 'a' + k % 26, sizeof piece);
    piece[k * 5] = 0;
    sb_lines_add(&lines, "%s%s%s|", piece, piece, piece);
    for (int i = 0; i < 3; i++) strcat(want, piece);
    strcat(want, "|");
  }
  assert_string_equal(lines.text, want);
  assert_int_equal(lines.length, strlen(want));
  sb_lines_clear(&lines);
  assert_null(lines.text);
  free(want);
}

static void result_has_the_same_bytes_for_one_two_and_three_threads(void **state)
{
  (void)state;
  struct sb_tasks_result want;
  tasks_run_all(&want);
  for (int jobs = 0; jobs <= 3; jobs++) {
    struct tasks_plan plan = tasks_quiet();
    const struct sb_tasks study = tasks_study(&plan);
    struct sb_tasks_options options = sb_tasks_options_default();
    struct sb_tasks_result got;
    options.jobs = jobs;
    tasks_run(&study, &options, &got);
    tasks_assert_same(&got, &want);
    for (int i = 0; i < TASKS; i++) assert_int_equal(plan.runs[i], 1);
    sb_tasks_result_clear(&got);
  }
  sb_tasks_result_clear(&want);
}

struct told {
  long calls, last, wanted;
  bool is_backward;
};

static void take_progress(void *context, long done, long wanted)
{
  struct told *told = context;
  told->is_backward |= told->calls > 0 && done != told->last + 1;
  told->calls++;
  told->last = done;
  told->wanted = wanted;
}

static void progress_counts_every_task_once(void **state)
{
  (void)state;
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_study(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result result;
  struct told told = {.calls = 0};
  options.jobs = 3;
  options.on_progress = take_progress;
  options.progress_context = &told;
  tasks_run(&study, &options, &result);
  assert_int_equal(told.calls, TASKS + 1);
  assert_int_equal(told.last, TASKS);
  assert_int_equal(told.wanted, TASKS);
  assert_false(told.is_backward);
  sb_tasks_result_clear(&result);
}

/* Tasks are handed out in order, so the failing one of lowest index has always run, whatever the threads. */
static void failing_task_of_lowest_index_is_reported(void **state)
{
  (void)state;
  for (int jobs = 1; jobs <= 3; jobs++) {
    struct tasks_plan plan = tasks_quiet();
    plan.fails_from = 17;
    const struct sb_tasks study = tasks_study(&plan);
    struct sb_tasks_options options = sb_tasks_options_default();
    struct sb_tasks_result result;
    struct sb_error err;
    options.jobs = jobs;
    assert_int_equal(sb_tasks_run(&study, &options, &result, &err), SB_ERR_NUMERICS);
    assert_string_equal(err.text, "task 17 cannot");
    assert_int_equal(plan.runs[TASKS - 1], 0);
  }
}

/* Resumes a journal with the quiet study; the result must be the undisturbed one. Returns how many tasks were taken. */
static long assert_resumes(const char *journal, int jobs, const struct sb_tasks_result *want)
{
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_study(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result got;
  options.jobs = jobs;
  options.journal_path = journal;
  options.is_resumed = true;
  tasks_run(&study, &options, &got);
  tasks_assert_same(&got, want);
  long run = 0;
  for (int i = 0; i < TASKS; i++) run += plan.runs[i];
  assert_int_equal(run + got.resumed_count, TASKS);
  const long resumed = got.resumed_count;
  sb_tasks_result_clear(&got);
  return resumed;
}

/* Runs before all tests with threads of their own: a forked child has none of its parent's. */
static void killed_study_is_resumed_to_the_same_bytes(void **state)
{
  (void)state;
  struct sb_tasks_result want;
  tasks_run_all(&want);
  for (int jobs = 1; jobs <= 3; jobs++) {
    const char *journal = tasks_path("killed.part");
    unlink(journal);
    const pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
      struct tasks_plan plan = tasks_quiet();
      plan.dies_at = 41;
      const struct sb_tasks study = tasks_study(&plan);
      struct sb_tasks_options options = sb_tasks_options_default();
      struct sb_tasks_result result;
      options.jobs = jobs;
      options.journal_path = journal;
      sb_tasks_run(&study, &options, &result, NULL);
      _exit(0);
    }
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
    const long resumed = assert_resumes(journal, 1, &want);
    /* All before the deadly one are in the journal, but those that other threads had not delivered. */
    assert_in_range(resumed, 41 - (jobs - 1), TASKS - 1);
    if (jobs == 1) assert_int_equal(resumed, 41);
    assert_int_equal(assert_resumes(journal, 1, &want), TASKS);
  }
  sb_tasks_result_clear(&want);
}

static void stopped_study_keeps_what_is_finished(void **state)
{
  (void)state;
  struct sb_tasks_result want, part;
  tasks_run_all(&want);
  struct tasks_plan plan = tasks_quiet();
  plan.stops_at = 10;
  const struct sb_tasks study = tasks_study(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  options.jobs = 1;
  options.journal_path = tasks_path("stopped.part");
  options.stop = &plan.stop;
  tasks_run(&study, &options, &part);
  assert_true(part.is_interrupted);
  assert_int_equal(part.done_count, 11);
  sb_tasks_result_clear(&part);
  assert_int_equal(assert_resumes(options.journal_path, 2, &want), 11);
  sb_tasks_forget(&options);
  assert_int_not_equal(access(options.journal_path, F_OK), 0);
  sb_tasks_result_clear(&want);
}

static void journal_cut_anywhere_is_resumed_to_the_same_bytes(void **state)
{
  (void)state;
  const char *journal = tasks_path("cut.part");
  struct sb_tasks_result want;
  size_t size;
  tasks_run_few(journal, false, &want);
  char *bytes = tasks_read(journal, &size);
  long least_resumed = FEW, most_resumed = 0;
  for (size_t length = 0; length <= size; length++) {
    struct sb_tasks_result got;
    tasks_write(journal, bytes, length);
    tasks_run_few(journal, true, &got);
    tasks_assert_same(&got, &want);
    if (got.resumed_count < least_resumed) least_resumed = got.resumed_count;
    if (got.resumed_count > most_resumed) most_resumed = got.resumed_count;
    sb_tasks_result_clear(&got);
    size_t again_size;
    char *again = tasks_read(journal, &again_size);
    assert_int_equal(again_size, size);
    assert_memory_equal(again, bytes, size); /* one thread: in order, so the journal is whole again too */
    free(again);
  }
  assert_int_equal(least_resumed, 0);
  assert_int_equal(most_resumed, FEW);
  free(bytes);
  sb_tasks_result_clear(&want);
}

static void journal_with_any_byte_changed_gives_the_same_bytes_or_is_refused(void **state)
{
  (void)state;
  const char *journal = tasks_path("changed.part");
  struct sb_tasks_result want;
  size_t size;
  tasks_run_few(journal, false, &want);
  char *bytes = tasks_read(journal, &size);
  int refused = 0;
  for (size_t at = 0; at < size; at++) {
    struct tasks_plan plan = tasks_quiet();
    const struct sb_tasks study = tasks_few(&plan);
    struct sb_tasks_options options = sb_tasks_options_default();
    struct sb_tasks_result got;
    options.journal_path = journal;
    options.is_resumed = true;
    bytes[at] ^= 1;
    tasks_write(journal, bytes, size);
    bytes[at] ^= 1;
    if (sb_tasks_run(&study, &options, &got, NULL) == SB_OK) {
      tasks_assert_same(&got, &want);
      sb_tasks_result_clear(&got);
    } else {
      refused++;
    }
  }
  assert_true(refused > 0 && refused < (int)size);
  free(bytes);
  sb_tasks_result_clear(&want);
}

static void assert_refused(const struct sb_tasks *study, const struct sb_tasks_options *options, const char *part)
{
  struct sb_tasks_result result;
  struct sb_error err;
  assert_int_equal(sb_tasks_run(study, options, &result, &err), SB_ERR_USAGE);
  if (strstr(err.text, part) == NULL) fail_msg("expected \"%s\" in: %s", part, err.text);
}

static void journal_of_another_study_or_shard_is_refused_and_left_alone(void **state)
{
  (void)state;
  const char *journal = tasks_path("other.part");
  struct sb_tasks_result result;
  size_t size, after_size;
  tasks_run_few(journal, false, &result);
  sb_tasks_result_clear(&result);
  char *before = tasks_read(journal, &size);

  struct tasks_plan plan = tasks_quiet();
  struct sb_tasks_options options = sb_tasks_options_default();
  options.journal_path = journal;
  options.is_resumed = true;
  struct sb_tasks study = tasks_few(&plan);
  study.identity = 8;
  assert_refused(&study, &options, "another study");
  study = tasks_few(&plan);
  study.about = "something else";
  assert_refused(&study, &options, "another study");
  study = tasks_few(&plan);
  study.task_count = FEW + 1;
  assert_refused(&study, &options, "another study");
  study = tasks_few(&plan);
  options.shard_count = 2;
  assert_refused(&study, &options, "another study");

  char *after = tasks_read(journal, &after_size);
  assert_int_equal(after_size, size);
  assert_memory_equal(after, before, size);
  free(before);
  free(after);
}

static void without_resume_a_journal_is_started_anew_but_other_files_are_not_touched(void **state)
{
  (void)state;
  const char *journal = tasks_path("anew.part");
  struct sb_tasks_result result;
  tasks_run_few(journal, false, &result);
  sb_tasks_result_clear(&result);
  assert_true(sb_tasks_is_journal(journal));
  tasks_run_few(journal, false, &result);
  assert_int_equal(result.resumed_count, 0);
  sb_tasks_result_clear(&result);

  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_few(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  options.journal_path = tasks_path("letter");
  tasks_write(options.journal_path, "Dear diary\n", 11);
  assert_refused(&study, &options, "is not the journal of a study");
  size_t size;
  char *bytes = tasks_read(options.journal_path, &size);
  assert_string_equal(bytes, "Dear diary\n");
  free(bytes);
  assert_false(sb_tasks_is_journal(options.journal_path));
  assert_false(sb_tasks_is_journal(tasks_path("nowhere")));
}

static void journal_in_use_by_another_process_is_refused(void **state)
{
  (void)state;
  const char *journal = tasks_path("used.part");
  int gate[2];
  assert_int_equal(pipe(gate), 0);
  const pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    struct tasks_plan plan = tasks_quiet();
    plan.waits_for = gate[0];
    close(gate[1]);
    const struct sb_tasks study = tasks_few(&plan);
    struct sb_tasks_options options = sb_tasks_options_default();
    struct sb_tasks_result result;
    options.jobs = 1;
    options.journal_path = journal;
    _exit(sb_tasks_run(&study, &options, &result, NULL) == SB_OK ? 0 : 1);
  }
  for (int k = 0; k < 1000 && !sb_tasks_is_journal(journal); k++) shell_run("sleep 0.01");
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_few(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  options.journal_path = journal;
  options.is_resumed = true;
  assert_refused(&study, &options, "another process");
  close(gate[0]);
  close(gate[1]); /* lets task 0 go on */
  int status;
  waitpid(child, &status, 0);
  assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
}

static void journal_that_cannot_be_written_is_an_error(void **state)
{
  (void)state;
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_few(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result result;
  struct sb_error err;
  options.journal_path = tasks_path("no-such-folder/x.part");
  assert_int_equal(sb_tasks_run(&study, &options, &result, &err), SB_ERR_IO);
  assert_non_null(strstr(err.text, "No such file"));
  options.journal_path = "/dev/full";
  assert_int_equal(sb_tasks_run(&study, &options, &result, &err), SB_ERR_IO);
  assert_non_null(strstr(err.text, "no regular file"));
}

/* A limit on the size of files, as a full disk would set one: the child may write 4 KiB of its journal. */
static void journal_on_a_full_disk_ends_the_study_and_can_be_resumed(void **state)
{
  (void)state;
  const char *journal = tasks_path("full.part");
  struct sb_tasks_result want;
  tasks_run_all(&want);
  const pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    const struct rlimit limit = {4096, 4096};
    signal(SIGXFSZ, SIG_IGN);
    setrlimit(RLIMIT_FSIZE, &limit);
    struct tasks_plan plan = tasks_quiet();
    const struct sb_tasks study = tasks_study(&plan);
    struct sb_tasks_options options = sb_tasks_options_default();
    struct sb_tasks_result result;
    options.jobs = 1;
    options.journal_path = journal;
    _exit(sb_tasks_run(&study, &options, &result, NULL) == SB_ERR_IO ? 0 : 1);
  }
  int status;
  waitpid(child, &status, 0);
  assert_true(WIFEXITED(status) && WEXITSTATUS(status) == 0);
  assert_in_range(assert_resumes(journal, 1, &want), 5, TASKS - 1);
  sb_tasks_result_clear(&want);
}

static uint64_t hash_of(const char *path, const char *const *sets, size_t set_count)
{
  static struct sb_scenario scenario;
  struct sb_faults faults;
  struct sb_error err;
  uint64_t hash = SB_TASKS_HASH_START;
  assert_int_equal(sb_scenario_load(path, sets, set_count, &scenario, &faults), SB_OK);
  assert_int_equal(sb_tasks_hash_scenario(&hash, path, sets, set_count, &scenario, &err), SB_OK);
  sb_scenario_clear(&scenario);
  return hash;
}

static void identity_follows_file_sets_and_tables(void **state)
{
  (void)state;
  assert_int_equal(shell_run("cp -r tests/good $T/good")->code, 0);
  const char *path = tasks_path("good/everything.yaml");
  static const char *const set[] = {"drive=79 %"};
  const uint64_t first = hash_of(path, NULL, 0);
  assert_true(hash_of(path, NULL, 0) == first);
  assert_true(hash_of(path, set, 1) != first);
  /* A torque, a place, a row more. */
  static const char *const changes[] = {"s/0.5/0.6/", "s/1.5/1.6/", "$p"};
  uint64_t second = first;
  for (int k = 0; k < 3; k++) {
    char command[128];
    snprintf(command, sizeof command, "sed -i '%s' $T/good/time.csv", changes[k]);
    assert_int_equal(shell_run(command)->code, 0);
    const uint64_t before = second;
    second = hash_of(path, NULL, 0);
    assert_true(second != before);
  }
  assert_int_equal(shell_run("echo '# a remark' >> $T/good/everything.yaml")->code, 0);
  assert_true(hash_of(path, NULL, 0) != second);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(killed_study_is_resumed_to_the_same_bytes),
      cmocka_unit_test(journal_in_use_by_another_process_is_refused),
      cmocka_unit_test(journal_on_a_full_disk_ends_the_study_and_can_be_resumed),
      cmocka_unit_test(hash_is_fnv_1a),
      cmocka_unit_test(lines_grow_to_any_length),
      cmocka_unit_test(result_has_the_same_bytes_for_one_two_and_three_threads),
      cmocka_unit_test(progress_counts_every_task_once),
      cmocka_unit_test(failing_task_of_lowest_index_is_reported),
      cmocka_unit_test(stopped_study_keeps_what_is_finished),
      cmocka_unit_test(journal_cut_anywhere_is_resumed_to_the_same_bytes),
      cmocka_unit_test(journal_with_any_byte_changed_gives_the_same_bytes_or_is_refused),
      cmocka_unit_test(journal_of_another_study_or_shard_is_refused_and_left_alone),
      cmocka_unit_test(without_resume_a_journal_is_started_anew_but_other_files_are_not_touched),
      cmocka_unit_test(journal_that_cannot_be_written_is_an_error),
      cmocka_unit_test(identity_follows_file_sets_and_tables),
  };
  return cmocka_run_group_tests_name("study", tests, shell_setup, shell_teardown);
}
