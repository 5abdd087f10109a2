// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * join.c - shards put together, in two passes.
 *
 * The first looks at all shards: of one study, each there once, none missing, each with as many records as it has tasks.
 * Only then is it known that the number of tasks, which a header claims, is that of records which are there, and the second
 * makes room for them.
 */
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/text_file.h"
#include "base/unseen.h"
#include "tasks/journal.h"

enum { NAMED_MAX = 20 /* of missing shards */ };

/* The shards that were looked at: journals[k] is what paths[k] holds, its first record next. */
struct gathering {
  const char *const *paths;
  struct sb_journal *journals;
  size_t count;
};

/* Whether a text holds nothing but lines that can be shown: what a study says of itself reaches reports and terminals. */
static bool is_shown(const char *text, size_t length)
{
  char window[8] = "";
  for (size_t k = 0; k < length; k++) {
    const size_t left = length - k < sizeof window - 1 ? length - k : sizeof window - 1;
    if (text[k] == '\n' || (text[k] >= ' ' && text[k] <= '~')) continue;
    memcpy(window, text + k, left);
    window[left] = 0;
    if (text[k] == 0 || sb_unseen_length(window) > 0) return false;
  }
  return true;
}

static enum sb_status read_shard(const char *path, struct sb_journal *journal, struct sb_error *err)
{
  FILE *file = sb_text_file_open(path);
  if (file == NULL) {
    const enum sb_status status = errno == ESPIPE ? SB_ERR_SCENARIO : SB_ERR_IO;
    return sb_fail(err, status, "%s: %s", path, sb_text_file_reason(errno));
  }
  struct sb_error reason;
  const enum sb_status status = sb_journal_read(journal, file, &reason);
  fclose(file);
  if (status != SB_OK) return sb_fail(err, status, "%s: %s", path, reason.text);
  const struct sb_journal_head *head = &journal->head;
  if (sb_journal_read_head(journal) && is_shown(head->about, head->about_length)) return SB_OK;
  const bool begins = journal->size > 0 && sb_journal_begins(journal);
  sb_journal_clear(journal);
  return sb_fail(err, SB_ERR_SCENARIO, "%s: %s", path, begins ? "the shard is damaged in its header" : "no shard");
}

/* The path of a shard by its number; NULL: not seen yet. */
static const char *path_of(const struct gathering *gathering, int shard)
{
  for (size_t k = 0; k < gathering->count; k++) {
    if (gathering->journals[k].head.shard == shard) return gathering->paths[k];
  }
  return NULL;
}

/* The first shard says which study it is; the others must be of the same one, and new. */
static enum sb_status check_head(const struct gathering *gathering, const char *path,
                                 const struct sb_journal_head *head, struct sb_error *err)
{
  const struct sb_journal_head *first = gathering->count > 0 ? &gathering->journals[0].head : head;
  if (!sb_journal_is_same_study(head, first)) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s is a shard of another study than %s", path, gathering->paths[0]);
  }
  const char *owner = path_of(gathering, head->shard);
  if (owner == NULL) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "%s: shard %d/%d is there twice, in %s too", path, head->shard,
                 head->shard_count, owner);
}

/* Whether the records are whole, belong to the shard, and are as many as it has tasks. Leaves the journal where it was. */
static enum sb_status check_records(const char *path, struct sb_journal *journal, struct sb_error *err)
{
  const struct sb_journal_head *head = &journal->head;
  const size_t start = journal->at;
  const long wanted = sb_journal_wanted_count(head);
  struct sb_journal_record record;
  enum sb_journal_step step;
  long found = 0;
  for (; (step = sb_journal_next(journal, &record)) == SB_JOURNAL_RECORD; found++) {
    if (!is_shown(record.text, record.length)) {
      return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged: task %ld holds control characters", path,
                     record.index);
    }
    if (sb_journal_wants(head, record.index)) continue;
    return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged: task %ld does not belong there", path,
                   record.index);
  }
  if (step == SB_JOURNAL_BROKEN) {
    return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged after byte %zu", path, journal->at);
  }
  journal->at = start;
  if (found == wanted) return SB_OK;
  return sb_fail(err, SB_ERR_SCENARIO, "%s: shard %d/%d is not finished: %ld of its %ld tasks", path, head->shard,
                 head->shard_count, found, wanted);
}

static enum sb_status look_at(struct gathering *gathering, const char *path, struct sb_error *err)
{
  struct sb_journal *journal = &gathering->journals[gathering->count];
  enum sb_status status = read_shard(path, journal, err);
  if (status != SB_OK) return status;
  status = check_head(gathering, path, &journal->head, err);
  gathering->count++;
  return status == SB_OK ? check_records(path, journal, err) : status;
}

/* Names the shards that nobody brought, or the first of them. */
static enum sb_status check_whole(const struct gathering *gathering, struct sb_error *err)
{
  char missing[NAMED_MAX * 32 + 64] = "";
  const int count = gathering->journals[0].head.shard_count;
  const size_t absent = (size_t)count - gathering->count;
  if (absent == 0) return SB_OK;
  int named = 0;
  for (int shard = 1; shard <= count && named < NAMED_MAX; shard++) {
    if (path_of(gathering, shard) != NULL) continue;
    sb_fail_add(missing, sizeof missing, "%s%d/%d", named++ > 0 ? ", " : "", shard, count);
  }
  if (absent > NAMED_MAX) sb_fail_add(missing, sizeof missing, " and %zu more", absent - NAMED_MAX);
  return sb_fail(err, SB_ERR_SCENARIO, "missing of the study of %s: shard %s", gathering->paths[0], missing);
}

static enum sb_status take_records(const char *path, struct sb_journal *journal, struct sb_tasks_result *result,
                                   struct sb_error *err)
{
  struct sb_journal_record record;
  while (sb_journal_next(journal, &record) == SB_JOURNAL_RECORD) {
    if (result->is_done[record.index]) {
      return sb_fail(err, SB_ERR_SCENARIO, "%s: the shard is damaged: task %ld is there twice", path, record.index);
    }
    const enum sb_status status = sb_tasks_result_take(result, &record, err);
    if (status != SB_OK) return status;
  }
  return SB_OK;
}

/* All records as the result of the whole study. */
static enum sb_status put_together(struct gathering *gathering, struct sb_tasks_result *out, struct sb_error *err)
{
  struct sb_tasks_result result;
  struct sb_journal_head whole = gathering->journals[0].head;
  whole.shard = whole.shard_count = 1;
  enum sb_status status = sb_tasks_result_begin(&result, &whole, err);
  if (status != SB_OK) return status;
  for (size_t k = 0; k < gathering->count && status == SB_OK; k++) {
    status = take_records(gathering->paths[k], &gathering->journals[k], &result, err);
    sb_journal_clear(&gathering->journals[k]);
  }
  if (status == SB_OK) {
    *out = result;
  } else {
    sb_tasks_result_clear(&result);
  }
  return status;
}

enum sb_status sb_tasks_join(const char *const *paths, size_t path_count, struct sb_tasks_result *result,
                             struct sb_error *err)
{
  if (path_count == 0) return sb_fail(err, SB_ERR_USAGE, "no shards to put together");
  struct gathering gathering = {.paths = paths, .journals = calloc(path_count, sizeof *gathering.journals)};
  if (gathering.journals == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for shards");
  enum sb_status status = SB_OK;
  for (size_t i = 0; i < path_count && status == SB_OK; i++) status = look_at(&gathering, paths[i], err);
  if (status == SB_OK) status = check_whole(&gathering, err);
  if (status == SB_OK) status = put_together(&gathering, result, err);
  for (size_t k = 0; k < gathering.count; k++) sb_journal_clear(&gathering.journals[k]);
  free(gathering.journals);
  return status;
}

enum sb_status sb_tasks_read_about(const char *path, char **about, struct sb_error *err)
{
  struct sb_journal journal = {.bytes = NULL};
  const enum sb_status status = read_shard(path, &journal, err);
  if (status != SB_OK) return status;
  const char *text = journal.head.about;
  *about = text != NULL ? strndup(text, journal.head.about_length) : NULL;
  sb_journal_clear(&journal);
  return *about != NULL ? SB_OK : sb_fail(err, SB_ERR_MEMORY, "%s: out of memory", path);
}
