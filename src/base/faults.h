// SPDX-License-Identifier: GPL-3.0-or-later
/* faults.h - collects the faults of one scenario, in order of place and at most SB_FAULT_MAX of them. */
#ifndef SHIFTBAND_BASE_FAULTS_H
#define SHIFTBAND_BASE_FAULTS_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/status.h"

enum { SB_FAULT_MAX = 100 };

/* Where something stands: in the file, or in the value of a --set. Lines and columns count from 1. */
struct sb_place {
  const char *set_path; /* path of the --set; NULL: in the file */
  int set_rank;         /* which --set, from 1; 0: in the file */
  int line, column;
};

struct sb_fault {
  struct sb_place place;
  char *text;
};

struct sb_fault_list {
  const char *file; /* name used in texts */
  size_t total;     /* faults found, kept or not */
  size_t count;     /* faults kept */
  struct sb_fault faults[SB_FAULT_MAX];
  bool is_out_of_memory;
};

/* Adds `PLACE: path: text`; the path may be empty. */
void sb_faults_add(struct sb_fault_list *list, const struct sb_place *place, const char *path, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* The same for a fault in a table: ordered by the place that names the table, printed as `table:line:column`. */
void sb_faults_add_in_table(struct sb_fault_list *list, const struct sb_place *place, const char *table, long line,
                            int column, const char *format, ...) __attribute__((format(printf, 6, 7)));

/* Moves the texts into *out (with a line for those left out) and empties the list. False when memory runs out. */
bool sb_faults_publish(struct sb_fault_list *list, struct sb_faults *out);

void sb_faults_list_clear(struct sb_fault_list *list);

#endif
