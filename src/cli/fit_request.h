// SPDX-License-Identifier: GPL-3.0-or-later
/* fit_request.h - what `shiftband fit` was asked for. */
#ifndef SHIFTBAND_CLI_FIT_REQUEST_H
#define SHIFTBAND_CLI_FIT_REQUEST_H

#include "cli/log_facts.h"
#include "cli/options.h"
#include "shiftband/fit.h"

struct sb_fit_request {
  struct sb_option_list logs, sets, known; /* as given */
  const char *scenario;                    /* NULL: a bare motor */
  const char *output;                      /* of the section; NULL: behind the words */
  const char *residuals;                   /* NULL: none */
  const char *gear;                        /* NULL: the start gear */
  const char *gauge;                       /* half-widths; NULL: the usual ones */
  const char *fitted;                      /* keys with commas; NULL: the default ones */
  bool is_json, is_quiet;
  double arm_m, voltage_v; /* 0: not given */
  bool is_equal_constants;
  enum { SB_FIT_OFF_COASTS, SB_FIT_OFF_BRAKES } off;
  enum sb_fit_phase phase;
  struct sb_log_facts facts;
};

extern const struct sb_option sb_fit_options[];
extern const struct sb_option_rule sb_fit_rules[];
extern const char sb_fit_about[];

#endif
