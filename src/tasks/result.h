// SPDX-License-Identifier: GPL-3.0-or-later
/* result.h - internal: results of tasks as they are gathered. */
#ifndef SHIFTBAND_TASKS_RESULT_H
#define SHIFTBAND_TASKS_RESULT_H

#include "tasks/journal.h"

/* Room for all tasks of a head, none of them done. Nothing is taken on failure. */
enum sb_status sb_tasks_result_begin(struct sb_tasks_result *result, const struct sb_journal_head *head,
                                     struct sb_error *err);

/* Takes a copy of a record as a finished task. */
enum sb_status sb_tasks_result_take(struct sb_tasks_result *result, const struct sb_journal_record *record,
                                    struct sb_error *err);

/* The head that goes with a result. */
struct sb_journal_head sb_tasks_result_head(const struct sb_tasks_result *result);

/* Whether a task belongs to the result's shard. */
bool sb_tasks_result_wants(const struct sb_tasks_result *result, long index);

#endif
