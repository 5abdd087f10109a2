// SPDX-License-Identifier: GPL-3.0-or-later
/* tasks.c - see help/tasks.h. */
#include "help/tasks.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "help/near.h"
#include "help/shell.h"

struct tasks_plan tasks_quiet(void)
{
  return (struct tasks_plan){.dies_at = -1, .stops_at = -1, .fails_from = -1, .waits_for = -1};
}

/* Lines of very different lengths, one of them empty and some longer than any buffer. */
static enum sb_status run_task(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  struct tasks_plan *plan = context;
  char byte;
  plan->runs[index]++;
  if (index == 0 && plan->waits_for >= 0 && read(plan->waits_for, &byte, 1) < 0) return SB_ERR_IO;
  if (index == plan->dies_at) kill(getpid(), SIGKILL);
  if (index == plan->stops_at) plan->stop = 1;
  if (plan->fails_from >= 0 && index >= plan->fails_from) {
    return sb_fail(err, SB_ERR_NUMERICS, "task %ld cannot", index);
  }
  for (long k = 0; k < index; k++) sb_lines_add(out, "%ld: %.17g\n", index, 1.0 / (double)(k + index));
  return SB_OK;
}

struct sb_tasks tasks_study(struct tasks_plan *plan)
{
  return (struct sb_tasks){
      .identity = 7, .about = "a test\nof two lines\n", .task_count = TASKS, .run_task = run_task, .context = plan};
}

/* A path in the folder for tasks_path files; a few can be in use at once. */
const char *tasks_path(const char *name)
{
  static char folder[64], paths[32][128];
  static int next;
  char *path = paths[next++ % 32];
  if (folder[0] == 0) snprintf(folder, sizeof folder, "%.60s", shell_run("printf %s $T")->text);
  snprintf(path, 128, "%s/%s", folder, name);
  return path;
}

char *tasks_read(const char *path, size_t *size)
{
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  char *bytes = calloc(1, 1 << 20);
  assert_non_null(bytes);
  *size = fread(bytes, 1, 1 << 20, file);
  fclose(file);
  return bytes;
}

void tasks_write(const char *path, const char *bytes, size_t size)
{
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_int_equal(fwrite(bytes, 1, size, file), size);
  assert_int_equal(fclose(file), 0);
}

/* All bytes of a result, as a shard file has them. */
static char *bytes_of(const struct sb_tasks_result *result, size_t *size)
{
  const char *path = tasks_path("bytes");
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_int_equal(sb_tasks_write_shard(file, result), 0);
  fclose(file);
  return tasks_read(path, size);
}

void tasks_assert_same(const struct sb_tasks_result *got, const struct sb_tasks_result *want)
{
  size_t got_size, want_size;
  char *got_bytes = bytes_of(got, &got_size), *want_bytes = bytes_of(want, &want_size);
  assert_int_equal(got_size, want_size);
  assert_memory_equal(got_bytes, want_bytes, want_size);
  free(got_bytes);
  free(want_bytes);
}

void tasks_run(const struct sb_tasks *tasks, const struct sb_tasks_options *options, struct sb_tasks_result *result)
{
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_tasks_run(tasks, options, result, &err);
  if (status != SB_OK) fail_msg("%s", err.text);
}

/* The undisturbed result. */
void tasks_run_all(struct sb_tasks_result *result)
{
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_study(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  options.jobs = 1;
  tasks_run(&study, &options, result);
  assert_int_equal(result->done_count, TASKS);
}

struct sb_tasks tasks_few(struct tasks_plan *plan)
{
  struct sb_tasks study = tasks_study(plan);
  study.task_count = FEW;
  return study;
}

void tasks_run_few(const char *journal, bool is_resumed, struct sb_tasks_result *result)
{
  struct tasks_plan plan = tasks_quiet();
  const struct sb_tasks study = tasks_few(&plan);
  struct sb_tasks_options options = sb_tasks_options_default();
  options.jobs = 1;
  options.journal_path = journal;
  options.is_resumed = is_resumed;
  tasks_run(&study, &options, result);
}
