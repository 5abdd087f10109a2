// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * fuzz_shards.c - any bytes as a shard or a journal: as they are, and with lengths and sums put right, so that what the records
 * say is read, too. Whole ones go through `map --join`; journals are taken up by a study of their identity.
 */
#include "common.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "tasks/journal.h"

/* Text that is there from `at` on up to the next `mark`, or to the end. */
static size_t length_until(const char *text, size_t size, size_t at, const char *mark)
{
  const size_t length = strlen(mark);
  for (size_t k = at; k + length <= size; k++) {
    if (memcmp(text + k, mark, length) == 0) return k - at;
  }
  return size - at;
}

/* The end of the line that begins at a place. */
static size_t line_end(const char *text, size_t size, size_t at)
{
  const size_t end = at + length_until(text, size, at, "\n");
  return end < size ? end + 1 : size;
}

/* Writes it again with the lengths and sums that belong to what it says; false: it does not begin as one. */
static bool mend(const char *text, size_t size, FILE *out)
{
  char line[256];
  struct sb_journal_head head = {.identity = 0};
  size_t at = line_end(text, size, 0);
  snprintf(line, sizeof line, "%.*s", (int)(at < 255 ? at : 255), text);
  if (sscanf(line, "shiftband study %16" SCNx64 " tasks %ld shard %d/%d", &head.identity, &head.task_count, &head.shard,
             &head.shard_count) != 4) {
    return false;
  }
  head.about = text + at;
  head.about_length = length_until(text, size, at, "task ");
  sb_journal_write_head(out, &head);
  for (at += head.about_length; at < size; at += 4) {
    struct sb_journal_record record = {.index = 0};
    snprintf(line, sizeof line, "%.*s", (int)(size - at < 255 ? size - at : 255), text + at);
    if (sscanf(line, "task %ld", &record.index) != 1) break;
    at = line_end(text, size, at);
    record.text = text + at;
    record.length = length_until(text, size, at, "end\n");
    sb_journal_write_task(out, &head, &record);
    at += record.length;
    if (at >= size) break;
  }
  return true;
}

/* `map --join FILE`, whose output goes nowhere. */
static void join_as_map(const char *path)
{
  const struct sb_command *command = &sb_command_map;
  char name[] = "map", join[] = "--join", json[] = "--json", file[128];
  snprintf(file, sizeof file, "%s", path);
  char *argv[] = {name, join, json, file, NULL};
  void *request = calloc(1, command->request_size + 1);
  if (request == NULL) abort();
  sb_command_begin(command->name);
  if (command->defaults != NULL) memcpy(request, command->defaults, command->request_size);
  int code = SB_EXIT_USAGE;
  if (sb_options_read(command, 4, argv, request) == SB_PARSED) code = command->run(request);
  fuzz_demand(code == SB_EXIT_DONE || code == SB_EXIT_SCENARIO || code == SB_EXIT_VERDICT, "--join ends with %d", code);
  sb_options_clear(command, request);
  free(request);
}

static enum sb_status do_nothing(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  (void)context;
  (void)err;
  sb_lines_add(out, "%ld\n", index);
  return SB_OK;
}

/* A study of four tasks takes up what is there; its identity is that of the seeds. */
static void resume(const char *path)
{
  const struct sb_tasks tasks = {
      .identity = 1, .about = "four tasks\n", .task_count = 4, .run_task = do_nothing, .context = NULL};
  struct sb_tasks_options options = sb_tasks_options_default();
  options.jobs = 1;
  options.journal_path = path;
  options.is_resumed = true;
  struct sb_tasks_result result;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_tasks_run(&tasks, &options, &result, &err);
  fuzz_demand(status == SB_OK || status == SB_ERR_USAGE, "resuming ends with status %d: %s", (int)status, err.text);
  if (status != SB_OK) return;
  fuzz_demand(result.done_count == 4 && !result.is_interrupted, "%ld of 4 tasks", result.done_count);
  sb_tasks_result_clear(&result);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  char *mended = NULL;
  size_t mended_size = 0;
  join_as_map(fuzz_file("shard", data, size));
  FILE *out = open_memstream(&mended, &mended_size);
  fuzz_demand(out != NULL, "out of memory");
  const bool is_shard = mend((const char *)data, size, out);
  fclose(out);
  if (is_shard) {
    join_as_map(fuzz_file("shard", mended, mended_size));
    resume(fuzz_file("journal", mended, mended_size));
  } else {
    resume(fuzz_file("journal", data, size));
  }
  free(mended);
  return 0;
}
