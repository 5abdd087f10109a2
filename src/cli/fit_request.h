// SPDX-License-Identifier: GPL-3.0-or-later
/* fit_request.h - what `shiftband fit` was asked for. */
#ifndef SHIFTBAND_CLI_FIT_REQUEST_H
#define SHIFTBAND_CLI_FIT_REQUEST_H

#include "cli/log_facts.h"
#include "cli/options.h"
#include "shiftband/fit.h"

struct sb_fit_request {
  struct sb_words logs, sets;
  const char *scenario;  /* NULL: a bare motor */
  const char *output;    /* of the section; NULL: behind the words */
  const char *residuals; /* NULL: none */
  const char *gear;      /* NULL: the start gear */
  const char *fitted;    /* keys with commas; NULL: the default ones */
  bool is_json;
  double arm_m, voltage_v; /* 0: not given */
  bool is_braking, is_equal_constants;
  enum sb_fit_phase phase;
  struct sb_log_facts facts;
  size_t known_count;
  struct sb_fit_known known[SB_FIT_KNOWN_MAX];
};

/* Fills a request; SB_EXIT_DONE, SB_EXIT_USAGE (told), SB_EXIT_GAVE_UP, or -1 when only help was asked for. Release it. */
int sb_fit_request_read(struct sb_fit_request *request, int argc, char **argv);
void sb_fit_request_clear(struct sb_fit_request *request);

/* Which parameter a figure's name stands for; -1 when it cannot be fitted by itself. */
int sb_fit_request_parameter(const char *name);

#endif
