// SPDX-License-Identifier: GPL-3.0-or-later
/* reading.h - how much of a scenario is read: all of it, its choices alone, or its tree, to be written again. */
#ifndef SHIFTBAND_SCENARIO_READING_H
#define SHIFTBAND_SCENARIO_READING_H

#include "scenario/document.h"
#include "shiftband/scenario.h"

struct sb_reading_way {
  bool is_choices_only;
  /* Given the tree with all sets in it, in place of everything else; NULL: nobody asks. */
  void (*rewrite)(void *context, struct sb_node *root);
  void *context;
};

/* As sb_scenario_load(). */
enum sb_status sb_reading_load(const char *path, const char *const *sets, size_t set_count,
                               const struct sb_reading_way *reading, struct sb_scenario *out, struct sb_faults *faults);

#endif
