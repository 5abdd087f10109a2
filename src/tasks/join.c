// SPDX-License-Identifier: GPL-3.0-or-later
/* join.c - shards put together. */
#include <assert.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "tasks/journal.h"

/* What is gathered: the first shard says which study it is; owners[k] is the file of shard k + 1. */
struct gathering {
  struct sb_tasks_result result;
  const char **owners;
  const char *first_path;
};

static enum sb_status read_shard(const char *path, struct sb_journal *journal, struct sb_error *err)
{
  FILE *file = fopen(path, "rb");
  if (file == NULL) return sb_fail(err, SB_ERR_IO, "%s: %s", path, strerror(errno));
  struct sb_error reason;
  const enum sb_status status = sb_journal_read(journal, file, &reason);
  fclose(file);
  if (status != SB_OK) return sb_fail(err, status, "%s: %s", path, reason.text);
  if (sb_journal_read_head(journal)) return SB_OK;
  const bool begins = journal->size > 0 && sb_journal_begins(journal);
  sb_journal_clear(journal);
  return sb_fail(err, SB_ERR_SCENARIO, "%s: %s", path, begins ? "the shard is damaged in its header" : "no shard");
}

/* The first shard opens the gathering; the others must be of the same study, and new. */
static enum sb_status admit(struct gathering *gathering, const char *path, const struct sb_journal_head *head,
                            struct sb_error *err)
{
  struct sb_tasks_result *result = &gathering->result;
  if (gathering->owners == NULL) {
    gathering->owners = calloc((size_t)head->shard_count + 1, sizeof *gathering->owners);
    if (gathering->owners == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for shards");
    const enum sb_status status = sb_tasks_result_begin(result, head, err);
    if (status != SB_OK) return status;
    gathering->first_path = path;
  }
  if (head->identity != result->identity || head->task_count != result->task_count ||
      head->shard_count != result->shard_count) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s is a shard of another study than %s", path, gathering->first_path);
  }
  const char **owner = &gathering->owners[head->shard - 1];
  if (*owner != NULL) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: shard %d/%d is there twice, in %s too", path, head->shard,
                   head->shard_count, *owner);
  }
  *owner = path;
  result->shard = head->shard; /* which tasks may come now */
  return SB_OK;
}

static enum sb_status take_records(struct gathering *gathering, const char *path, struct sb_journal *journal,
                                   struct sb_error *err)
{
  struct sb_tasks_result *result = &gathering->result;
  struct sb_journal_record record;
  enum sb_journal_step step;
  long wanted = 0, taken = 0;
  assert(result->is_done != NULL);
  for (long i = 0; i < result->task_count; i++) wanted += sb_tasks_result_wants(result, i);
  while ((step = sb_journal_next(journal, &record)) == SB_JOURNAL_RECORD) {
    if (result->is_done[record.index] || !sb_tasks_result_wants(result, record.index)) {
      return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged: task %ld does not belong there", path,
                     record.index);
    }
    const enum sb_status status = sb_tasks_result_take(result, &record, err);
    if (status != SB_OK) return status;
    taken++;
  }
  if (step == SB_JOURNAL_BROKEN) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged after byte %zu", path, journal->at);
  }
  if (taken == wanted) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "%s: shard %d/%d is not finished: %ld of its %ld tasks", path, result->shard,
                 result->shard_count, taken, wanted);
}

static enum sb_status add_shard(struct gathering *gathering, const char *path, struct sb_error *err)
{
  struct sb_journal journal = {.bytes = NULL};
  enum sb_status status = read_shard(path, &journal, err);
  if (status != SB_OK) return status;
  status = admit(gathering, path, &journal.head, err);
  if (status == SB_OK) status = take_records(gathering, path, &journal, err);
  sb_journal_clear(&journal);
  return status;
}

/* Names the shards that nobody brought. */
static enum sb_status check_whole(const struct gathering *gathering, struct sb_error *err)
{
  struct sb_lines missing = {.text = NULL};
  const int count = gathering->result.shard_count;
  for (int k = 0; k < count; k++) {
    if (gathering->owners[k] != NULL) continue;
    sb_lines_add(&missing, "%s%d/%d", missing.length > 0 ? ", " : "", k + 1, count);
  }
  const enum sb_status status = missing.text != NULL
                                    ? sb_fail(err, SB_ERR_SCENARIO, "missing of the study of %s: shard %.900s",
                                              gathering->first_path, missing.text)
                                    : SB_OK;
  sb_lines_clear(&missing);
  return status;
}

enum sb_status sb_tasks_join(const char *const *paths, size_t path_count, struct sb_tasks_result *result,
                             struct sb_error *err)
{
  struct gathering gathering = {.owners = NULL};
  if (path_count == 0) return sb_fail(err, SB_ERR_USAGE, "no shards to put together");
  enum sb_status status = SB_OK;
  for (size_t i = 0; i < path_count && status == SB_OK; i++) status = add_shard(&gathering, paths[i], err);
  if (status == SB_OK) status = check_whole(&gathering, err);
  free(gathering.owners);
  if (status != SB_OK) {
    sb_tasks_result_clear(&gathering.result);
    return status;
  }
  gathering.result.shard = gathering.result.shard_count = 1;
  gathering.result.wanted_count = gathering.result.task_count;
  *result = gathering.result;
  return SB_OK;
}
