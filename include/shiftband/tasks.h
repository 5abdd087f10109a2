// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tasks.h - long work: many tasks that share nothing, spread over threads and machines, interrupted and gone on with.
 *
 * A study is a list of tasks 0..task_count-1, each a function from its index to text lines. What it returns may depend on
 * the index and the (const) context only, so that the result never depends on the number of threads, on interruptions or
 * on the cut into shards.
 *
 *   struct sb_tasks tasks = {.identity = hash, .about = "", .task_count = n, .run_task = run_one, .context = &context};
 *   struct sb_tasks_options options = sb_tasks_options_default();
 *   struct sb_tasks_result result;
 *   if (sb_tasks_run(&tasks, &options, &result, &err) == SB_OK && !result.is_interrupted) ... result.tasks[i].text ...
 *   sb_tasks_result_clear(&result);
 *
 * Tasks are handed out singly and in order to OpenMP threads (options.jobs = 1 or 2 to time one against two).
 *
 * Journal: each finished task is appended and flushed at once, so that even a killed program leaves all but the torn last
 * record. A shard file is the same with the tasks in order:
 *
 *   shiftband study HASH tasks N shard K/OF about LENGTH SUM    one line, then LENGTH bytes of about
 *   task INDEX LENGTH SUM                                       one line, then LENGTH bytes, then
 *   end                                                         one line
 *
 * HASH and SUM are FNV-1a of 64 bits (Fowler, Noll, Vo): they guard against mistakes and torn files, not against malice.
 */
#ifndef SHIFTBAND_TASKS_H
#define SHIFTBAND_TASKS_H

#include <signal.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#include "shiftband/scenario.h"

#ifdef __cplusplus
extern "C" {
#endif

/* A text that grows. text is NULL while length is 0. */
struct sb_lines {
  char *text; /* text[length], a 0 behind it; owned */
  size_t length, room;
  bool is_out_of_memory; /* something is missing */
};

/* Adds a printf format. */
void sb_lines_add(struct sb_lines *lines, const char *format, ...) __attribute__((format(printf, 2, 3)));
void sb_lines_add_bytes(struct sb_lines *lines, const char *bytes, size_t length);
void sb_lines_clear(struct sb_lines *lines);

/* Goes on with a hash, begun with SB_TASKS_HASH_START, over more bytes; a text with its final 0. Pure. */
#define SB_TASKS_HASH_START UINT64_C(0xcbf29ce484222325)
uint64_t sb_tasks_hash_bytes(uint64_t hash, const void *bytes, size_t size);
uint64_t sb_tasks_hash_text(uint64_t hash, const char *text);

/* Numbers, in eight bytes each with the least one first: the same on every machine. */
uint64_t sb_tasks_hash_whole(uint64_t hash, int64_t value);
uint64_t sb_tasks_hash_numbers(uint64_t hash, const double *values, size_t count);

/* The same over a scenario: the file's bytes, the sets, and the tables that it reads. */
enum sb_status sb_tasks_hash_file(uint64_t *hash, const char *path, struct sb_error *err);
enum sb_status sb_tasks_hash_scenario(uint64_t *hash, const char *path, const char *const *sets, size_t set_count,
                                      const struct sb_scenario *scenario, struct sb_error *err);

struct sb_tasks {
  uint64_t identity; /* hash of all that the results depend on: version, options, scenarios; not jobs, not shards */
  const char *about; /* text that goes with the results, for those who join shards; part of the identity */
  long task_count;   /* >= 1 */
  /* Runs a task; must be safe from several threads at once. Anything but SB_OK ends the study; SB_ERR_STOPPED, which a
   * task may return once options.stop is raised, only leaves the task undone. */
  enum sb_status (*run_task)(void *context, long index, struct sb_lines *out, struct sb_error *err);
  void *context;
};

/* The identity that journals and shards carry: tasks of another number or with another about are another study. Pure. */
uint64_t sb_tasks_identity(const struct sb_tasks *tasks);

struct sb_tasks_options {
  int jobs;                          /* threads; 0: all cores */
  int shard, shard_count;            /* does the tasks with index % shard_count == shard - 1; 1 of 1: all */
  const char *journal_path;          /* NULL: keeps no journal */
  bool is_resumed;                   /* takes finished tasks from the journal, if there is one; else starts it again */
  const volatile sig_atomic_t *stop; /* other than 0: no more tasks are handed out; NULL: never */
  /* Called after each task and once at the start, never by two threads at once; NULL: nobody asks. */
  void (*on_progress)(void *context, long done, long wanted);
  void *progress_context;
};

/* All cores, one shard, no journal, nobody asks. */
struct sb_tasks_options sb_tasks_options_default(void);

struct sb_tasks_result {
  uint64_t identity;
  char *about; /* owned */
  int shard, shard_count;
  long task_count;
  struct sb_lines *tasks; /* tasks[task_count], owned */
  bool *is_done;          /* is_done[task_count], owned */
  long wanted_count;      /* tasks of this shard */
  long done_count;        /* of them finished, resumed ones included */
  long resumed_count;     /* taken from the journal */
  bool is_interrupted;    /* stopped before all were done */
};

/*
 * Runs a study. SB_OK, also when interrupted (the journal then holds what is done); SB_ERR_USAGE: the journal belongs to
 * another study or another process; SB_ERR_IO; else the failure of the failing task of lowest index. Release the result
 * with sb_tasks_result_clear() after SB_OK. The journal is left in place: sb_tasks_forget() once the output is safe.
 */
enum sb_status sb_tasks_run(const struct sb_tasks *tasks, const struct sb_tasks_options *options,
                            struct sb_tasks_result *result, struct sb_error *err);

void sb_tasks_result_clear(struct sb_tasks_result *result);

/* Removes the journal of a study that is done. */
void sb_tasks_forget(const struct sb_tasks_options *options);

/* Writes a finished shard. Returns 0, or -1 with errno set. */
int sb_tasks_write_shard(FILE *out, const struct sb_tasks_result *result);

/*
 * Puts shards together: the result is that of the whole study. SB_ERR_SCENARIO, naming the file, when shards are of
 * different studies, doubled, missing, unfinished or damaged; SB_ERR_IO when one cannot be read.
 */
enum sb_status sb_tasks_join(const char *const *paths, size_t path_count, struct sb_tasks_result *result,
                             struct sb_error *err);

/* The about of a shard, to be freed. Statuses as sb_tasks_join(). */
enum sb_status sb_tasks_read_about(const char *path, char **about, struct sb_error *err);

/* Whether a file is there and begins as a journal or shard does; false when it cannot be read. */
bool sb_tasks_is_journal(const char *path);

#ifdef __cplusplus
}
#endif

#endif
