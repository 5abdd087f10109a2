// SPDX-License-Identifier: GPL-3.0-or-later
/* old_names.h - keys and values that were called otherwise before: refused with the name that they have now. */
#ifndef SHIFTBAND_SCENARIO_OLD_NAMES_H
#define SHIFTBAND_SCENARIO_OLD_NAMES_H

#include "scenario/document.h"

/* A key: where it stands, "*" for any step, and its new name. */
struct sb_old_key {
  const char *path, *now;
};

/* A value of a key. */
struct sb_old_value {
  const char *path, *was, *now;
};

/* All of them; path NULL at the end. */
extern const struct sb_old_key sb_old_keys[];
extern const struct sb_old_value sb_old_values[];

/*
 * A fault for each old name in the tree. The nodes then bear their new names, so that whatever else is wrong with them
 * is told as well.
 */
void sb_old_names_refuse(struct sb_node *root, struct sb_fault_list *faults);

/* Writes a path with the new names of its keys; false when none of them is old. */
bool sb_old_names_renew(const char *path, char *out, size_t size);

/* The new name of a key that is given by its last name alone, or NULL; the first of several. */
const char *sb_old_names_find(const char *name);

#endif
