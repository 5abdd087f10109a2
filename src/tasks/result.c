// SPDX-License-Identifier: GPL-3.0-or-later
#include "tasks/journal.h"

#include <stdlib.h>
#include <string.h>

#include "base/text_file.h"

enum sb_status sb_tasks_result_begin(struct sb_tasks_result *result, const struct sb_journal_head *head,
                                     struct sb_error *err)
{
  const size_t count = (size_t)head->task_count;
  struct sb_tasks_result out = {.identity = head->identity,
                                .shard = head->shard,
                                .shard_count = head->shard_count,
                                .task_count = head->task_count,
                                .wanted_count = sb_journal_wanted_count(head)};
  out.about = malloc(head->about_length + 1);
  out.tasks = calloc(count, sizeof *out.tasks);
  out.is_done = calloc(count, sizeof *out.is_done);
  if (out.about == NULL || out.tasks == NULL || out.is_done == NULL) {
    free(out.about);
    free(out.tasks);
    free(out.is_done);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for %ld tasks", head->task_count);
  }
  memcpy(out.about, head->about, head->about_length);
  out.about[head->about_length] = 0;
  *result = out;
  return SB_OK;
}

enum sb_status sb_tasks_result_take(struct sb_tasks_result *result, const struct sb_journal_record *record,
                                    struct sb_error *err)
{
  struct sb_lines *lines = &result->tasks[record->index];
  sb_lines_add_bytes(lines, record->text, record->length);
  if (lines->is_out_of_memory) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the results of a study");
  result->is_done[record->index] = true;
  result->done_count++;
  return SB_OK;
}

struct sb_journal_head sb_tasks_result_head(const struct sb_tasks_result *result)
{
  return (struct sb_journal_head){.identity = result->identity,
                                  .task_count = result->task_count,
                                  .shard = result->shard,
                                  .shard_count = result->shard_count,
                                  .about = result->about,
                                  .about_length = strlen(result->about)};
}

void sb_tasks_result_clear(struct sb_tasks_result *result)
{
  for (long i = 0; i < result->task_count; i++) sb_lines_clear(&result->tasks[i]);
  free(result->tasks);
  free(result->is_done);
  free(result->about);
  *result = (struct sb_tasks_result){.about = NULL};
}

int sb_tasks_write_shard(FILE *out, const struct sb_tasks_result *result)
{
  const struct sb_journal_head head = sb_tasks_result_head(result);
  sb_journal_write_head(out, &head);
  for (long i = 0; i < result->task_count; i++) {
    const struct sb_lines *lines = &result->tasks[i];
    if (!result->is_done[i]) continue;
    const struct sb_journal_record record = {i, lines->text != NULL ? lines->text : "", lines->length};
    sb_journal_write_task(out, &head, &record);
  }
  fflush(out);
  return sb_text_file_result(out);
}
