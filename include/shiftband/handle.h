// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * handle.h - a scenario and what the commands say about it, as texts: for languages that call C and know none of its structs.
 *
 * What the functions give is what the commands print: the JSON objects of `shiftband run --json` and so on, and traces as CSV. In C
 * and C++ the other headers give the same as structs. tools/shiftband.py is built on this one.
 *
 * A text is released with sb_handle_release(); NULL is a text that was not asked for, or not made. err may be NULL.
 */
#ifndef SHIFTBAND_HANDLE_H
#define SHIFTBAND_HANDLE_H

#include <stddef.h>

#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

struct sb_handle; /* a scenario that was read, and where it came from */

/*
 * Reads a scenario with texts PATH=VALUE that replace or add keys, sets[set_count], as sb_scenario_load(). On failure err holds as
 * many faults of the file as it has room for, a line each. *out is to be released with sb_handle_free().
 */
enum sb_status sb_handle_load(const char *path, const char *const *sets, size_t set_count, struct sb_handle **out,
                              struct sb_error *err);
void sb_handle_free(struct sb_handle *handle);
void sb_handle_release(char *text);

/* One JSON object each. */
enum sb_status sb_handle_check(const struct sb_handle *handle, char **json, struct sb_error *err);
enum sb_status sb_handle_prove(const struct sb_handle *handle, char **json, struct sb_error *err);

/* A run, of the controller or with one gear locked by its name (NULL: the controller); either text may be NULL. The trace is CSV as
 * in trace.h. */
enum sb_status sb_handle_run(const struct sb_handle *handle, const char *gear, char **json, char **trace,
                             struct sb_error *err);

/* The exact map of a pair ("slow/fast", or a number from 1; NULL: the first): the object, and its rectangles as CSV; either may be
 * NULL. */
enum sb_status sb_handle_map(const struct sb_handle *handle, const char *pair, char **json, char **rectangles,
                             struct sb_error *err);

/* Thresholds and dwell for all of several scenarios, handles[count], count >= 1, with so many samples of the tolerances (< 0: the
 * usual number). All must have been loaded with the sets of the first. */
enum sb_status sb_handle_tune(const struct sb_handle *const *handles, size_t count, long samples, char **json,
                              struct sb_error *err);

#ifdef __cplusplus
}
#endif

#endif
