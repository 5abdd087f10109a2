// SPDX-License-Identifier: GPL-3.0-or-later
/* tasks.c - tasks over threads, with a journal; see shiftband/tasks.h. */
#include "shiftband/tasks.h"

#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#ifdef _OPENMP
#include <omp.h>
#endif

#include "tasks/journal.h"

#ifdef _OPENMP
typedef omp_lock_t crew_lock;
#else
typedef int crew_lock; /* one thread: nothing to lock */
#define omp_init_lock(lock) ((void)(lock))
#define omp_set_lock(lock) ((void)(lock))
#define omp_unset_lock(lock) ((void)(lock))
#define omp_destroy_lock(lock) ((void)(lock))
#endif

/* What the threads of a running study share. All but tasks and options is changed under the lock only. */
struct crew {
  crew_lock lock;
  const struct sb_tasks *tasks;
  const struct sb_tasks_options *options;
  struct sb_tasks_result result;
  struct sb_journal_head head;
  FILE *journal; /* NULL: none */
  long next;     /* first task not yet handed out */
  long failed;   /* lowest index of a task that failed; task_count: none did */
  enum sb_status status;
  struct sb_error err;
};

struct sb_tasks_options sb_tasks_options_default(void)
{
  return (struct sb_tasks_options){.jobs = 0, .shard = 1, .shard_count = 1};
}

uint64_t sb_tasks_identity(const struct sb_tasks *tasks)
{
  const uint64_t hash = sb_tasks_hash_text(tasks->identity, tasks->about);
  return sb_tasks_hash_whole(hash, tasks->task_count);
}

static int thread_count(const struct crew *crew)
{
#ifdef _OPENMP
  const long left = crew->result.wanted_count - crew->result.done_count;
  const int jobs = crew->options->jobs > 0 ? crew->options->jobs : omp_get_max_threads();
  return left < 1 ? 1 : left < jobs ? (int)left : jobs;
#else
  (void)crew;
  return 1;
#endif
}

static void report(struct crew *crew)
{
  const struct sb_tasks_options *options = crew->options;
  const struct sb_tasks_result *result = &crew->result;
  if (options->on_progress == NULL) return;
  options->on_progress(options->progress_context, result->done_count, result->wanted_count);
}

/* The next task to do, or -1. In order, so that the failing task of lowest index is among those handed out. */
static long take_task(struct crew *crew)
{
  long index = -1;
  omp_set_lock(&crew->lock);
  const bool is_stopped = crew->options->stop != NULL && *crew->options->stop != 0;
  if (!is_stopped && crew->status == SB_OK) {
    while (crew->next < crew->result.task_count &&
           (crew->result.is_done[crew->next] || !sb_journal_wants(&crew->head, crew->next))) {
      crew->next++;
    }
    if (crew->next < crew->result.task_count) index = crew->next++;
  }
  omp_unset_lock(&crew->lock);
  return index;
}

static void fail(struct crew *crew, long index, enum sb_status status, const struct sb_error *err)
{
  if (index >= crew->failed) return;
  crew->failed = index;
  crew->status = status;
  crew->err = *err;
}

/* Writes a finished task to the journal, and through to the system. */
static enum sb_status note_down(struct crew *crew, const struct sb_journal_record *record, struct sb_error *err)
{
  if (crew->journal == NULL) return SB_OK;
  errno = 0;
  sb_journal_write_task(crew->journal, &crew->head, record);
  if (fflush(crew->journal) == 0 && !ferror(crew->journal)) return SB_OK;
  return sb_fail(err, SB_ERR_IO, "%s: %s", crew->options->journal_path,
                 errno != 0 ? strerror(errno) : "writing failed");
}

/* Takes what a task returned; its lines change hands. */
static void deliver(struct crew *crew, long index, enum sb_status status, struct sb_lines *lines, struct sb_error *err)
{
  const struct sb_journal_record record = {index, lines->text != NULL ? lines->text : "", lines->length};
  omp_set_lock(&crew->lock);
  if (status == SB_OK) status = note_down(crew, &record, err);
  if (status == SB_OK) {
    crew->result.tasks[index] = *lines;
    crew->result.is_done[index] = true;
    crew->result.done_count++;
    report(crew);
  } else {
    sb_lines_clear(lines);
    /* A task that stopped as it was asked to has not failed: it is not done. */
    if (status != SB_ERR_STOPPED) fail(crew, index, status, err);
  }
  omp_unset_lock(&crew->lock);
}

static void work(struct crew *crew)
{
  for (long index; (index = take_task(crew)) >= 0;) {
    struct sb_lines lines = {.text = NULL};
    struct sb_error err = {SB_OK, ""};
    enum sb_status status = crew->tasks->run_task(crew->tasks->context, index, &lines, &err);
    if (status == SB_OK && lines.is_out_of_memory) {
      status = sb_fail(&err, SB_ERR_MEMORY, "out of memory for the result of a task");
    }
    deliver(crew, index, status, &lines, &err);
  }
}

/* Only one process at a time may write a journal; the lock goes with the process. */
static bool lock_whole(int descriptor)
{
  struct flock lock = {.l_type = F_WRLCK, .l_whence = SEEK_SET};
  return fcntl(descriptor, F_SETLK, &lock) == 0 || (errno != EACCES && errno != EAGAIN);
}

/* Takes the finished tasks of an older journal; *kept is how much of the file stays. */
static enum sb_status resume(struct crew *crew, struct sb_journal *old, long *kept, struct sb_error *err)
{
  struct sb_journal_record record;
  assert(crew->result.is_done != NULL);
  if (!sb_journal_read_head(old)) return SB_OK; /* killed while its head was written: nothing is lost */
  if (!sb_journal_is_same_study(&old->head, &crew->head) || old->head.shard != crew->head.shard) {
    return sb_fail(err, SB_ERR_USAGE,
                   "%s belongs to another study (other scenario, options or shard); resume with the command that "
                   "began it, or start again without --resume",
                   crew->options->journal_path);
  }
  enum sb_status status = SB_OK;
  while (status == SB_OK && sb_journal_next(old, &record) == SB_JOURNAL_RECORD) {
    const bool is_ours = sb_journal_wants(&crew->head, record.index) && !crew->result.is_done[record.index];
    if (is_ours) status = sb_tasks_result_take(&crew->result, &record, err);
  }
  crew->result.resumed_count = crew->result.done_count;
  *kept = (long)old->at; /* a torn last record goes */
  return status;
}

/* Takes over an open journal file: reads what is to be kept, cuts the rest off, writes the head when there is none. */
static enum sb_status take_over(struct crew *crew, struct sb_error *err)
{
  const struct sb_tasks_options *options = crew->options;
  struct sb_journal old = {0};
  long kept = 0;
  enum sb_status status = sb_journal_read(&old, crew->journal, err);
  if (status != SB_OK) return status;
  if (!sb_journal_begins(&old)) {
    status =
        sb_fail(err, SB_ERR_USAGE, "%s exists and is not the journal of a study; move it away", options->journal_path);
  } else if (options->is_resumed) {
    status = resume(crew, &old, &kept, err);
  }
  sb_journal_clear(&old);
  if (status != SB_OK) return status;
  errno = 0;
  if (ftruncate(fileno(crew->journal), (off_t)kept) != 0 || fseek(crew->journal, kept, SEEK_SET) != 0) {
    return sb_fail(err, SB_ERR_IO, "%s: %s", options->journal_path, strerror(errno));
  }
  if (kept == 0) sb_journal_write_head(crew->journal, &crew->head);
  if (fflush(crew->journal) == 0 && !ferror(crew->journal)) return SB_OK;
  return sb_fail(err, SB_ERR_IO, "%s: %s", options->journal_path, strerror(errno));
}

static enum sb_status open_journal(struct crew *crew, struct sb_error *err)
{
  const char *path = crew->options->journal_path;
  if (path == NULL) return SB_OK;
  const int descriptor = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666);
  crew->journal = descriptor >= 0 ? fdopen(descriptor, "r+b") : NULL;
  if (crew->journal == NULL) {
    const int reason = errno;
    if (descriptor >= 0) close(descriptor);
    return sb_fail(err, SB_ERR_IO, "%s: %s", path, strerror(reason));
  }
  struct stat info;
  if (fstat(descriptor, &info) == 0 && !S_ISREG(info.st_mode)) {
    return sb_fail(err, SB_ERR_IO, "%s is no regular file, so it can't be a journal", path);
  }
  if (!lock_whole(descriptor)) return sb_fail(err, SB_ERR_USAGE, "%s is being written by another process", path);
  return take_over(crew, err);
}

static enum sb_status run_all(struct crew *crew, struct sb_error *err)
{
  const int threads = thread_count(crew);
  (void)threads; /* without OpenMP nobody asks */
  report(crew);
  omp_init_lock(&crew->lock);
#pragma omp parallel num_threads(threads)
  work(crew);
  omp_destroy_lock(&crew->lock);
  if (crew->status != SB_OK && err != NULL) *err = crew->err;
  return crew->status;
}

enum sb_status sb_tasks_run(const struct sb_tasks *tasks, const struct sb_tasks_options *options,
                            struct sb_tasks_result *result, struct sb_error *err)
{
  struct crew crew = {.tasks = tasks, .options = options, .status = SB_OK, .failed = tasks->task_count};
  crew.head = (struct sb_journal_head){.identity = sb_tasks_identity(tasks),
                                       .task_count = tasks->task_count,
                                       .shard = options->shard,
                                       .shard_count = options->shard_count,
                                       .about = tasks->about,
                                       .about_length = strlen(tasks->about)};
  enum sb_status status = sb_tasks_result_begin(&crew.result, &crew.head, err);
  if (status != SB_OK) return status;
  status = open_journal(&crew, err);
  if (status == SB_OK) status = run_all(&crew, err);
  if (crew.journal != NULL) fclose(crew.journal);
  if (status != SB_OK) {
    sb_tasks_result_clear(&crew.result);
    return status;
  }
  crew.result.is_interrupted = crew.result.done_count < crew.result.wanted_count;
  *result = crew.result;
  return SB_OK;
}

void sb_tasks_forget(const struct sb_tasks_options *options)
{
  if (options->journal_path != NULL) unlink(options->journal_path);
}

bool sb_tasks_is_journal(const char *path)
{
  FILE *file = fopen(path, "rb");
  if (file == NULL) return false;
  struct sb_journal journal;
  const bool is_read = sb_journal_read(&journal, file, NULL) == SB_OK;
  fclose(file);
  if (!is_read) return false;
  const bool is_one = sb_journal_read_head(&journal);
  sb_journal_clear(&journal);
  return is_one;
}
