// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * shards.h - a search whose runs, or runs and tuning, were done in parts.
 *
 * A shard holds records of one stage and the command that began it. The closed forms are calculated again by whoever joins shards, and
 * so is what lies between the stages: that needs the scenario, and takes less time than to carry it along.
 */
#ifndef SHIFTBAND_DESIGN_SHARDS_H
#define SHIFTBAND_DESIGN_SHARDS_H

#include "design/design.h"

struct sb_design_shards {
  char *about; /* owned; the texts below lie in it */
  const char *file;
  const char **sets, **loads; /* owned lists */
  size_t set_count, load_count;
  long run_most, tune_most, design_most;
  bool is_given[SB_DESIGN_STAGES];
  struct sb_tasks_result results[SB_DESIGN_STAGES]; /* of those that are given */
};

/* Reads all shards of one stage or of both. Statuses as sb_tasks_join(). Release after SB_OK. */
enum sb_status sb_design_shards_join(const char *const *paths, size_t path_count, struct sb_design_shards *out,
                                     struct sb_error *err);
void sb_design_shards_clear(struct sb_design_shards *shards);

#endif
