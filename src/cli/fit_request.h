// SPDX-License-Identifier: GPL-3.0-or-later
/* fit_request.h - what `shiftband fit` was asked for. */
#ifndef SHIFTBAND_CLI_FIT_REQUEST_H
#define SHIFTBAND_CLI_FIT_REQUEST_H

#include "cli/log_facts.h"
#include "cli/options.h"
#include "shiftband/fit.h"

struct sb_fit_request {
  struct sb_option_list logs, sets, known_words; /* as given */
  const char *scenario;                          /* NULL: a bare motor */
  const char *output;                            /* of the section; NULL: behind the words */
  const char *residuals;                         /* NULL: none */
  const char *gear;                              /* NULL: the start gear */
  const char *fitted;                            /* keys with commas; NULL: the default ones */
  bool is_json, is_quiet;
  double arm_m, voltage_v; /* 0: not given */
  bool is_equal_constants;
  enum { SB_FIT_OFF_COASTS, SB_FIT_OFF_BRAKES } off;
  enum sb_fit_phase phase;
  struct sb_log_facts facts;
  size_t known_count;
  struct sb_fit_known known[SB_FIT_KNOWN_MAX];
};

extern const struct sb_option sb_fit_options[];
extern const struct sb_option_rule sb_fit_rules[];
extern const char sb_fit_about[];

/* Reads what was given as words. Returns an exit code; what is wrong is told. */
int sb_fit_request_read(struct sb_fit_request *request);

/* Which parameter a figure's name stands for; -1 when it cannot be fitted by itself. */
int sb_fit_request_parameter(const char *name);

#endif
