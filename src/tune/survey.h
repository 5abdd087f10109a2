// SPDX-License-Identifier: GPL-3.0-or-later
/* survey.h - internal: the maps of several machines at one dwell, added up; threads share the machines. */
#ifndef SHIFTBAND_TUNE_SURVEY_H
#define SHIFTBAND_TUNE_SURVEY_H

#include "tune/raster.h"

/* One search at one dwell: the maps of some machines, added up. */
struct sb_survey {
  const struct sb_tune_machine *machines;
  int count;
  const struct sb_tune_options *options;
  double dwell_s;
  bool is_light; /* only the light machines */
  bool has_figures;
  int *serial;       /* surveys so far: names the journal */
  long *done, total; /* maps, for progress over all surveys */
};

/* Runs it. The raster is to be cleared with sb_raster_clear() after SB_OK. SB_ERR_STOPPED: the stop flag was raised. */
enum sb_status sb_survey_run(const struct sb_survey *survey, struct sb_raster *raster, struct sb_error *err);

#endif
