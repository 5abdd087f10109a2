// SPDX-License-Identifier: GPL-3.0-or-later
#include "tasks/journal.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

/* Lines are read by scanning, written again and compared: so only what we write ourselves is taken. */
#define HEAD_SCAN "shiftband study %16" SCNx64 " tasks %ld shard %d/%d about %zu %16" SCNx64
#define HEAD_PRINT "shiftband study %016" PRIx64 " tasks %ld shard %d/%d about %zu %016" PRIx64 "\n"
#define TASK_SCAN "task %ld %zu %16" SCNx64
#define TASK_PRINT "task %ld %zu %016" PRIx64 "\n"

static const char magic[] = "shiftband study ";
static const char end_line[] = "end\n";

enum { LINE_SIZE = 256 };

/* A journal comes from anyone, as a shard does: what is larger is not read. The largest study takes a tenth of it. */
enum { BYTES_MOST = 1 << 30 };

/* Whether bytes are how a journal begins, however few they are. */
static bool begins(const char *bytes, size_t size)
{
  return size == 0 || memcmp(bytes, magic, size < sizeof magic - 1 ? size : sizeof magic - 1) == 0;
}

static enum sb_status refuse_size(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_SCENARIO, "needs at most 1 GiB");
}

enum sb_status sb_journal_read(struct sb_journal *journal, FILE *in, struct sb_error *err)
{
  struct sb_lines all = {.text = NULL};
  struct stat info;
  char block[8192];
  if (fstat(fileno(in), &info) == 0 && info.st_size > BYTES_MOST) return refuse_size(err);
  errno = 0;
  for (size_t size;
       begins(all.text, all.length) && all.length <= BYTES_MOST && (size = fread(block, 1, sizeof block, in)) > 0;) {
    sb_lines_add_bytes(&all, block, size);
  }
  const int reason = errno;
  if (ferror(in) || all.is_out_of_memory) {
    const enum sb_status status = ferror(in) ? SB_ERR_IO : SB_ERR_MEMORY;
    sb_lines_clear(&all);
    return sb_fail(err, status, "%s", status == SB_ERR_IO ? strerror(reason) : "out of memory");
  }
  if (all.length > BYTES_MOST) {
    sb_lines_clear(&all);
    return refuse_size(err);
  }
  *journal = (struct sb_journal){.bytes = all.text, .size = all.length};
  return SB_OK;
}

void sb_journal_clear(struct sb_journal *journal)
{
  free(journal->bytes);
  *journal = (struct sb_journal){.bytes = NULL};
}

bool sb_journal_begins(const struct sb_journal *journal)
{
  return begins(journal->bytes, journal->size);
}

/* The next line with its end, as text of its own; false when there is no whole one. */
static bool take_line(const struct sb_journal *journal, size_t at, char line[LINE_SIZE], size_t *length)
{
  if (at >= journal->size) return false;
  const char *start = journal->bytes + at;
  const char *end = memchr(start, '\n', journal->size - at);
  if (end == NULL || end - start + 2 > LINE_SIZE) return false;
  *length = (size_t)(end - start) + 1;
  memcpy(line, start, *length);
  line[*length] = 0;
  return true;
}

static uint64_t sum_of_head(const struct sb_journal_head *head)
{
  uint64_t sum = sb_tasks_hash_whole(head->identity, head->task_count);
  sum = sb_tasks_hash_whole(sum, head->shard);
  sum = sb_tasks_hash_whole(sum, head->shard_count);
  return sb_tasks_hash_bytes(sum, head->about, head->about_length);
}

bool sb_journal_read_head(struct sb_journal *journal)
{
  char line[LINE_SIZE], again[LINE_SIZE];
  size_t length;
  uint64_t sum;
  struct sb_journal_head head = {.identity = 0};
  if (!take_line(journal, 0, line, &length)) return false;
  if (sscanf(line, HEAD_SCAN, &head.identity, &head.task_count, &head.shard, &head.shard_count, &head.about_length,
             &sum) != 6) {
    return false;
  }
  snprintf(again, sizeof again, HEAD_PRINT, head.identity, head.task_count, head.shard, head.shard_count,
           head.about_length, sum);
  if (strcmp(line, again) != 0 || head.task_count < 1 || head.shard < 1 || head.shard > head.shard_count) return false;
  if (head.about_length > journal->size - length) return false;
  head.about = journal->bytes + length;
  if (sum != sum_of_head(&head)) return false;
  journal->head = head;
  journal->at = length + head.about_length;
  return true;
}

bool sb_journal_is_same_study(const struct sb_journal_head *a, const struct sb_journal_head *b)
{
  return a->identity == b->identity && a->task_count == b->task_count && a->shard_count == b->shard_count;
}

bool sb_journal_wants(const struct sb_journal_head *head, long index)
{
  return index % head->shard_count == head->shard - 1;
}

long sb_journal_wanted_count(const struct sb_journal_head *head)
{
  return (head->task_count - head->shard) / head->shard_count + (head->task_count >= head->shard);
}

/* The sum of a record begins with the study and the index, so that no record passes in another's place. */
static uint64_t sum_of(const struct sb_journal_head *head, const struct sb_journal_record *record)
{
  const uint64_t start = sb_tasks_hash_whole(head->identity, record->index);
  return sb_tasks_hash_bytes(start, record->text, record->length);
}

enum sb_journal_step sb_journal_next(struct sb_journal *journal, struct sb_journal_record *record)
{
  char line[LINE_SIZE], again[LINE_SIZE];
  size_t length;
  uint64_t sum;
  struct sb_journal_record next = {.index = 0};
  if (journal->at == journal->size) return SB_JOURNAL_END;
  if (!take_line(journal, journal->at, line, &length)) return SB_JOURNAL_BROKEN;
  if (sscanf(line, TASK_SCAN, &next.index, &next.length, &sum) != 3) return SB_JOURNAL_BROKEN;
  snprintf(again, sizeof again, TASK_PRINT, next.index, next.length, sum);
  const size_t left = journal->size - journal->at - length;
  if (strcmp(line, again) != 0 || next.length > left || left - next.length < sizeof end_line - 1) {
    return SB_JOURNAL_BROKEN;
  }
  next.text = journal->bytes + journal->at + length;
  if (memcmp(next.text + next.length, end_line, sizeof end_line - 1) != 0) return SB_JOURNAL_BROKEN;
  if (next.index < 0 || next.index >= journal->head.task_count || sum != sum_of(&journal->head, &next)) {
    return SB_JOURNAL_BROKEN;
  }
  journal->at += length + next.length + sizeof end_line - 1;
  *record = next;
  return SB_JOURNAL_RECORD;
}

void sb_journal_write_head(FILE *out, const struct sb_journal_head *head)
{
  fprintf(out, HEAD_PRINT, head->identity, head->task_count, head->shard, head->shard_count, head->about_length,
          sum_of_head(head));
  fwrite(head->about, 1, head->about_length, out);
}

void sb_journal_write_task(FILE *out, const struct sb_journal_head *head, const struct sb_journal_record *record)
{
  fprintf(out, TASK_PRINT, record->index, record->length, sum_of(head, record));
  fwrite(record->text, 1, record->length, out);
  fputs(end_line, out);
}
