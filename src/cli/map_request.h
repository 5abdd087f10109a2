// SPDX-License-Identifier: GPL-3.0-or-later
/* map_request.h - what the parts of the map command share. */
#ifndef SHIFTBAND_CLI_MAP_REQUEST_H
#define SHIFTBAND_CLI_MAP_REQUEST_H

#include "cli/external_options.h"
#include "cli/long_work.h"
#include "cli/options.h"
#include "shiftband/map.h"
#include "shiftband/scenario.h"
#include "study/grid.h"

struct sb_map_request {
  const char *file; /* NULL with join */
  struct sb_option_list sets, shards, vary;
  const char *limits;           /* NULL: not asked for */
  const char *pair, *down, *up; /* as given; NULL: not given */
  bool is_json, is_verbose;
  bool is_join;
  long samples;   /* 0: not asked for */
  long discharge; /* number of charges; 0: not asked for */
  long seed;
  struct sb_own_options own;
  long points;              /* along each axis of vary; 0: not given */
  struct sb_long_work work; /* its output is -o */
};

/* What is done with a loaded scenario. Return exit codes. */
int sb_map_do_exact(struct sb_map_request *request, const struct sb_scenario *scenario);
int sb_map_do_samples(struct sb_map_request *request, const struct sb_scenario *scenario);
int sb_map_do_vary(struct sb_map_request *request, const struct sb_scenario *scenario);
int sb_map_do_plane_grid(struct sb_map_request *request, const struct sb_scenario *scenario); /* of thresholds */
int sb_map_do_discharge(struct sb_map_request *request, struct sb_scenario *scenario); /* leaves its battery full */

/* Finish what shards hold: the output of an unsharded study. False in *is_ours: the study is of the other sort. */
int sb_map_finish_samples(const struct sb_map_request *request, const struct sb_tasks_result *result, bool *is_ours);
int sb_map_finish_vary(const struct sb_map_request *request, const struct sb_tasks_result *result, bool *is_ours);

/* Runs a study of `what` and finishes it, or writes its shard. Returns an exit code. */
int sb_map_run_study(struct sb_map_request *request, const struct sb_tasks *tasks, const char *what,
                     int (*finish)(const struct sb_map_request *, const struct sb_tasks_result *, bool *));

/* The plane that is asked for by --pair, --downshift and --upshift. Complaints are told; returns an exit code. */
int sb_map_read_plane(const struct sb_map_request *request, const struct sb_scenario *scenario,
                      struct sb_map_options *options);

/* Where words go: standard error when standard output carries the CSV. */
FILE *sb_map_words_stream(const struct sb_map_request *request);

/* The study's identity so far: program, command, scenario. */
int sb_map_identify(const struct sb_map_request *request, const struct sb_scenario *scenario, uint64_t *identity);

#endif
