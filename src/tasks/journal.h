// SPDX-License-Identifier: GPL-3.0-or-later
/* journal.h - internal: the file of finished tasks, read and written. Its form is in shiftband/tasks.h. */
#ifndef SHIFTBAND_TASKS_JOURNAL_H
#define SHIFTBAND_TASKS_JOURNAL_H

#include "shiftband/tasks.h"

struct sb_journal_head {
  uint64_t identity; /* with about and the number of tasks in it */
  long task_count;
  int shard, shard_count;
  const char *about;
  size_t about_length;
};

/* A journal in memory, and how far it is read. */
struct sb_journal {
  char *bytes; /* bytes[size], a 0 behind it; owned */
  size_t size;
  size_t at; /* behind the last whole record */
  struct sb_journal_head head;
};

struct sb_journal_record {
  long index;
  const char *text;
  size_t length;
};

enum sb_journal_step {
  SB_JOURNAL_RECORD,
  SB_JOURNAL_END,   /* the file ends behind a whole record */
  SB_JOURNAL_BROKEN /* what follows is no whole record */
};

/* Takes all of a stream into memory; of one that does not begin as a journal does, which may have no end, only the start. */
enum sb_status sb_journal_read(struct sb_journal *journal, FILE *in, struct sb_error *err);
void sb_journal_clear(struct sb_journal *journal);

/* Whether the bytes begin as a journal does, however few they are. */
bool sb_journal_begins(const struct sb_journal *journal);

/* Reads the head; false when it is not whole or not right. */
bool sb_journal_read_head(struct sb_journal *journal);

/* Whether two heads are of the same study, cut into as many shards. Pure. */
bool sb_journal_is_same_study(const struct sb_journal_head *a, const struct sb_journal_head *b);

/* Whether a task belongs to the shard of a head, and how many do. Pure. */
bool sb_journal_wants(const struct sb_journal_head *head, long index);
long sb_journal_wanted_count(const struct sb_journal_head *head);

/* Reads the next record, whose text stays in the journal. */
enum sb_journal_step sb_journal_next(struct sb_journal *journal, struct sb_journal_record *record);

/* Write one piece each; a failed write shows in ferror(out). */
void sb_journal_write_head(FILE *out, const struct sb_journal_head *head);
void sb_journal_write_task(FILE *out, const struct sb_journal_head *head, const struct sb_journal_record *record);

/* ---- result.c: results of tasks as they are gathered ---- */

/* Room for all tasks of a head, none of them done. Nothing is taken on failure. */
enum sb_status sb_tasks_result_begin(struct sb_tasks_result *result, const struct sb_journal_head *head,
                                     struct sb_error *err);

/* Takes a copy of a record as a finished task. */
enum sb_status sb_tasks_result_take(struct sb_tasks_result *result, const struct sb_journal_record *record,
                                    struct sb_error *err);

/* The head that goes with a result. */
struct sb_journal_head sb_tasks_result_head(const struct sb_tasks_result *result);

#endif
