// SPDX-License-Identifier: GPL-3.0-or-later
/* Shards of a study put together: equal to the whole byte for byte, and refused by name when anything is wrong. */
#include <limits.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/tasks.h"
#include "shiftband/tasks.h"
#include "tasks/journal.h"

/* Writes shard k of n to a file and returns its path. */
static const char *make_shard(const char *name, struct sb_tasks study, int shard, int shard_count)
{
  struct sb_tasks_options options = sb_tasks_options_default();
  struct sb_tasks_result result;
  const char *path = tasks_path(name);
  options.shard = shard;
  options.shard_count = shard_count;
  tasks_run(&study, &options, &result);
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_int_equal(sb_tasks_write_shard(file, &result), 0);
  fclose(file);
  sb_tasks_result_clear(&result);
  return path;
}

static void shards_in_any_order_make_the_whole(void **state)
{
  (void)state;
  struct sb_tasks_result want, got;
  struct sb_error err;
  struct tasks_plan plan = tasks_quiet();
  tasks_run_all(&want);
  const char *const paths[] = {make_shard("c", tasks_study(&plan), 3, 3), make_shard("a", tasks_study(&plan), 1, 3),
                               make_shard("b", tasks_study(&plan), 2, 3)};
  for (int i = 0; i < TASKS; i++) assert_int_equal(plan.runs[i], 1);
  assert_int_equal(sb_tasks_join(paths, 3, &got, &err), SB_OK);
  assert_string_equal(got.about, "a test\nof two lines\n");
  tasks_assert_same(&got, &want);
  sb_tasks_result_clear(&got);
  sb_tasks_result_clear(&want);
}

/* More shards than tasks: some are empty, and still needed. */
static void empty_shards_are_shards_too(void **state)
{
  (void)state;
  struct sb_tasks_result want, got;
  struct sb_error err;
  struct tasks_plan plan = tasks_quiet();
  const char *paths[FEW + 2];
  tasks_run_few(NULL, false, &want);
  for (int k = 0; k < FEW + 2; k++) {
    char name[16];
    snprintf(name, sizeof name, "s%d", k);
    paths[k] = make_shard(name, tasks_few(&plan), k + 1, FEW + 2);
  }
  assert_int_equal(sb_tasks_join(paths, FEW + 2, &got, &err), SB_OK);
  tasks_assert_same(&got, &want);
  sb_tasks_result_clear(&got);
  sb_tasks_result_clear(&want);
  assert_int_equal(sb_tasks_join(paths, FEW + 1, &got, &err), SB_ERR_SCENARIO);
  assert_non_null(strstr(err.text, "shard 7/7"));
}

static void assert_not_joined(const char *const *paths, size_t count, enum sb_status want, const char *named,
                              const char *part)
{
  struct sb_tasks_result result;
  struct sb_error err;
  assert_int_equal(sb_tasks_join(paths, count, &result, &err), want);
  if (strstr(err.text, named) == NULL || strstr(err.text, part) == NULL) {
    fail_msg("expected \"%s\" and \"%s\" in: %s", named, part, err.text);
  }
}

static void wrong_missing_doubled_and_unfinished_shards_are_refused_by_name(void **state)
{
  (void)state;
  struct tasks_plan plan = tasks_quiet();
  struct sb_tasks other = tasks_study(&plan);
  other.identity = 8;
  const char *one = make_shard("one", tasks_study(&plan), 1, 3), *two = make_shard("two", tasks_study(&plan), 2, 3);
  const char *three = make_shard("three", tasks_study(&plan), 3, 3), *strange = make_shard("strange", other, 2, 3);
  const char *half = make_shard("half", tasks_study(&plan), 2, 2);
  assert_not_joined((const char *const[]){one, three}, 2, SB_ERR_SCENARIO, "one", "shard 2/3");
  assert_not_joined((const char *const[]){one, two, three, two}, 4, SB_ERR_SCENARIO, "two", "twice");
  assert_not_joined((const char *const[]){one, strange, three}, 3, SB_ERR_SCENARIO, "strange", "another study");
  assert_not_joined((const char *const[]){one, half, three}, 3, SB_ERR_SCENARIO, "half", "another study");
  assert_not_joined((const char *const[]){one, tasks_path("none")}, 2, SB_ERR_IO, "none", "No such file");
  assert_not_joined(NULL, 0, SB_ERR_USAGE, "no shards", "");

  size_t size;
  char *bytes = tasks_read(two, &size);
  char *last = strstr(bytes, "task 58 ");
  assert_non_null(last);
  tasks_write(two, bytes, (size_t)(last - bytes));
  assert_not_joined((const char *const[]){one, two, three}, 3, SB_ERR_SCENARIO, "two", "not finished");
  tasks_write(two, "Dear diary\n", 11);
  assert_not_joined((const char *const[]){one, two, three}, 3, SB_ERR_SCENARIO, "two", "no shard");
  free(bytes);
}

static void shard_with_any_byte_changed_or_cut_is_refused(void **state)
{
  (void)state;
  struct tasks_plan plan = tasks_quiet();
  const char *one = make_shard("whole", tasks_few(&plan), 1, 2), *two = make_shard("worn", tasks_few(&plan), 2, 2);
  const char *const paths[] = {one, two};
  size_t size;
  struct sb_tasks_result result;
  struct sb_error err;
  char *bytes = tasks_read(two, &size);
  assert_int_equal(sb_tasks_join(paths, 2, &result, &err), SB_OK);
  sb_tasks_result_clear(&result);
  for (size_t at = 0; at < size; at++) {
    bytes[at] ^= 1;
    tasks_write(two, bytes, size);
    bytes[at] ^= 1;
    assert_int_equal(sb_tasks_join(paths, 2, &result, &err), SB_ERR_SCENARIO);
    assert_non_null(strstr(err.text, "worn"));
    tasks_write(two, bytes, at);
    assert_int_equal(sb_tasks_join(paths, 2, &result, &err), SB_ERR_SCENARIO);
    assert_non_null(strstr(err.text, "worn"));
  }
  free(bytes);
}

/* A shard with a header that claims what it likes, with the sums that belong to it, and one record. */
static const char *claim(const char *name, long task_count, int shard_count)
{
  const char *path = tasks_path(name);
  const struct sb_journal_head head = {.identity = 1,
                                       .task_count = task_count,
                                       .shard = 1,
                                       .shard_count = shard_count,
                                       .about = "x\n",
                                       .about_length = 2};
  const struct sb_journal_record record = {0, "y\n", 2};
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  sb_journal_write_head(file, &head);
  sb_journal_write_task(file, &head, &record);
  fclose(file);
  return path;
}

/* No header may keep the program busy, or ask for memory, beyond what the files hold. */
static void headers_that_claim_more_than_the_files_hold_are_refused_at_once(void **state)
{
  (void)state;
  const char *tasks = claim("tasks", LONG_MAX, 1), *shards = claim("shards", 1, INT_MAX);
  const char *both = claim("both", LONG_MAX, INT_MAX);
  assert_not_joined(&tasks, 1, SB_ERR_SCENARIO, "tasks", "shard 1/1 is not finished: 1 of its 9223372036854775807");
  assert_not_joined(&shards, 1, SB_ERR_SCENARIO, "shards",
                    "shard 2/2147483647, 3/2147483647, 4/2147483647, 5/2147483647");
  assert_not_joined(&shards, 1, SB_ERR_SCENARIO, "shards", ", 21/2147483647 and 2147483626 more");
  assert_not_joined(&both, 1, SB_ERR_SCENARIO, "both", "not finished: 1 of its 4294967299 tasks");
  const char *const endless = "/dev/zero";
  assert_not_joined(&endless, 1, SB_ERR_SCENARIO, "/dev/zero", "it is no file but a device or a pipe");
}

static void a_task_that_is_there_twice_is_refused(void **state)
{
  (void)state;
  const char *path = claim("twice", 2, 1);
  const struct sb_journal_head head = {.identity = 1, .task_count = 2, .shard = 1, .shard_count = 1};
  const struct sb_journal_record record = {0, "y\n", 2};
  FILE *file = fopen(path, "ab");
  assert_non_null(file);
  sb_journal_write_task(file, &head, &record);
  fclose(file);
  assert_not_joined(&path, 1, SB_ERR_SCENARIO, "twice", "task 0 is there twice");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(shards_in_any_order_make_the_whole),
      cmocka_unit_test(empty_shards_are_shards_too),
      cmocka_unit_test(wrong_missing_doubled_and_unfinished_shards_are_refused_by_name),
      cmocka_unit_test(headers_that_claim_more_than_the_files_hold_are_refused_at_once),
      cmocka_unit_test(a_task_that_is_there_twice_is_refused),
      cmocka_unit_test(shard_with_any_byte_changed_or_cut_is_refused),
  };
  return cmocka_run_group_tests_name("study_shards", tests, shell_setup, shell_teardown);
}
