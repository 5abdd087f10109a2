// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * output.h - a file that appears whole or not at all.
 *
 * What is written goes to a hidden neighbour of the file and takes its place only when all of it is on the disk, so
 * that an existing file is replaced only by a whole one. A path that is no regular file (a device, a pipe) is written
 * as it is. An interrupted program removes its half-written neighbour.
 */
#ifndef SHIFTBAND_CLI_OUTPUT_H
#define SHIFTBAND_CLI_OUTPUT_H

#include <stdbool.h>
#include <stdio.h>

struct sb_output {
  FILE *stream;
  char *path;      /* where it is to appear, owned; NULL for standard output */
  char *part_path; /* the neighbour, owned; NULL when written as it is */
};

/* Whether a path means standard output. */
bool sb_output_is_standard(const char *path);

/* Opens for writing; "-" is standard output. Returns 0, or -1 with errno set. */
int sb_output_open(struct sb_output *output, const char *path);

/* Finishes: puts the file in place. Returns 0, or -1 with errno set, and then nothing appears. */
int sb_output_commit(struct sb_output *output);

/* Gives up: nothing appears. */
void sb_output_drop(struct sb_output *output);

/* "FOLDER/BASE.csv" with the folder and ending of a scenario's path taken off ("standard-input" for "-") and `suffix` added; owned by the caller,
 * NULL when out of memory. */
char *sb_output_name_in(const char *folder, const char *scenario_path, const char *suffix);

/* Whether both paths lead to one regular file: an output must not replace an input. */
bool sb_output_is_same_file(const char *a, const char *b);

/* Whether the path is a folder. */
bool sb_output_is_folder(const char *path);

#endif
