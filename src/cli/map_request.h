// SPDX-License-Identifier: GPL-3.0-or-later
/* map_request.h - what the parts of the map command share. */
#ifndef SHIFTBAND_CLI_MAP_REQUEST_H
#define SHIFTBAND_CLI_MAP_REQUEST_H

#include "cli/external_options.h"
#include "cli/long_work.h"
#include "cli/options.h"
#include "shiftband/scenario.h"

struct sb_map_request {
  const char *file; /* NULL with join */
  struct sb_option_list sets, shards, vary;
  const char *limits;                     /* NULL: not asked for */
  const char *pair, *downshift, *upshift; /* as given; NULL: not given */
  bool is_json, is_verbose;
  bool is_join;
  long samples;   /* 0: not asked for */
  long discharge; /* number of charges; 0: not asked for */
  long seed;
  struct sb_own_options own;
  long points;              /* along each axis of vary; 0: not given */
  struct sb_long_work work; /* its output is -o */
};

/* What is done with a loaded scenario, and with shards. Return exit codes. */
int sb_map_do_exact(const struct sb_map_request *request, const struct sb_scenario *scenario);
int sb_map_do_study(struct sb_map_request *request, const struct sb_scenario *scenario);
int sb_map_do_join(const struct sb_map_request *request);

/* Where words go: standard error when standard output carries the CSV. */
FILE *sb_map_words_stream(const struct sb_map_request *request);

#endif
