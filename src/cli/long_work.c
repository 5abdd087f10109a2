// SPDX-License-Identifier: GPL-3.0-or-later
/* long_work.c - see long_work.h. */
#include "cli/long_work.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "cli/command.h"

static void show(void *context, long done, long wanted)
{
  sb_progress_show(context, done, wanted);
}

/* A journal only beside an output that is, or will be, a regular file. */
static int name_journal(struct sb_long_work *work)
{
  struct stat info;
  work->journal_path = NULL;
  if (work->output == NULL || strcmp(work->output, "-") == 0) return SB_EXIT_DONE;
  const bool exists = stat(work->output, &info) == 0;
  if (exists && S_ISDIR(info.st_mode)) { /* better told now than after all the work */
    errno = EISDIR;
    return sb_command_fail_writing(work->output);
  }
  if (exists && !S_ISREG(info.st_mode)) return SB_EXIT_DONE;
  const size_t size = strlen(work->output) + sizeof ".part";
  work->journal_path = malloc(size);
  if (work->journal_path == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  snprintf(work->journal_path, size, "%s.part", work->output);
  if (!work->is_resumed && sb_tasks_is_journal(work->journal_path)) {
    sb_command_warn("%s from earlier work is not used (no --resume): started again", work->journal_path);
  }
  return SB_EXIT_DONE;
}

static int tell_interrupted(const struct sb_long_work *work, struct sb_tasks_result *result)
{
  if (work->journal_path != NULL) {
    sb_command_complain("interrupted: %ld of %ld %s are done and kept in %s; the same command with --resume goes on",
                        result->done_count, result->wanted_count, work->what, work->journal_path);
  } else {
    sb_command_complain("interrupted: %ld of %ld %s were done, nothing is kept; with -o FILE it would be",
                        result->done_count, result->wanted_count, work->what);
  }
  sb_tasks_result_clear(result);
  return 128 + (int)*sb_interrupt_flag();
}

int sb_long_work_run(struct sb_long_work *work, const struct sb_tasks *tasks, struct sb_tasks_result *result)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_progress progress;
  const int code = name_journal(work);
  if (code != SB_EXIT_DONE) return code;
  sb_progress_begin(&progress, work->what, work->is_quiet);
  const struct sb_tasks_options options = {.jobs = (int)work->jobs,
                                           .shard = work->shard,
                                           .shard_count = work->shard_count,
                                           .journal_path = work->journal_path,
                                           .is_resumed = work->is_resumed,
                                           .stop = sb_interrupt_flag(),
                                           .on_progress = show,
                                           .progress_context = &progress};
  sb_interrupt_catch();
  const enum sb_status status = sb_tasks_run(tasks, &options, result, &err);
  sb_progress_end(&progress);
  if (status != SB_OK) return sb_command_fail(NULL, status, &err);
  return result->is_interrupted ? tell_interrupted(work, result) : SB_EXIT_DONE;
}

void sb_long_work_end(struct sb_long_work *work, bool is_safe)
{
  const struct sb_tasks_options options = {.journal_path = work->journal_path};
  if (is_safe) sb_tasks_forget(&options);
  free(work->journal_path);
  work->journal_path = NULL;
}

static int write_shard(FILE *out, const void *context)
{
  return sb_tasks_write_shard(out, context);
}

int sb_long_work_write_shard(const struct sb_long_work *work, const struct sb_tasks_result *result)
{
  return sb_command_write_file(work->output, (struct sb_command_writer){write_shard, result});
}

bool sb_long_work_read_shard(struct sb_long_work *work, const char *text)
{
  char first[16];
  const size_t length = strcspn(text, "/");
  long shard, count;
  if (length >= sizeof first || text[length] != '/') return false;
  memcpy(first, text, length);
  first[length] = 0;
  if (!sb_options_read_count(text + length + 1, 1, 1000000, &count)) return false;
  if (!sb_options_read_count(first, 1, count, &shard)) return false;
  work->shard = (int)shard;
  work->shard_count = (int)count;
  return true;
}
