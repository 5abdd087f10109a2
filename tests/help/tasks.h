// SPDX-License-Identifier: GPL-3.0-or-later
/* tasks.h - a study of sixty small tasks for the tests of the engine, its files, and what they make of them. */
#ifndef SHIFTBAND_TESTS_STUDY_TASKS_H
#define SHIFTBAND_TESTS_STUDY_TASKS_H

#include <signal.h>

#include "shiftband/tasks.h"

enum { TASKS = 60, FEW = 5 };

/* What a test makes its tasks do beside their lines. */
struct tasks_plan {
  int runs[TASKS];
  long dies_at, stops_at, fails_from; /* task index; -1: never */
  int waits_for;                      /* descriptor to read from in task 0, -1: none */
  volatile sig_atomic_t stop;
};

struct tasks_plan tasks_quiet(void);

/* The study, and one of its first few tasks: every cut and every damaged byte of its files can be tried. */
struct sb_tasks tasks_study(struct tasks_plan *plan);
struct sb_tasks tasks_few(struct tasks_plan *plan);

/* A path in the folder for temporary files; many can be in use at once. */
const char *tasks_path(const char *name);

char *tasks_read(const char *path, size_t *size);
void tasks_write(const char *path, const char *bytes, size_t size);

/* Runs, and fails the test when that fails. */
void tasks_run(const struct sb_tasks *tasks, const struct sb_tasks_options *options, struct sb_tasks_result *result);

/* The undisturbed result, on one thread; the same of the few, with a journal or NULL. */
void tasks_run_all(struct sb_tasks_result *result);
void tasks_run_few(const char *journal, bool is_resumed, struct sb_tasks_result *result);

/* Fails the test unless two results have the same bytes. */
void tasks_assert_same(const struct sb_tasks_result *got, const struct sb_tasks_result *want);

#endif
