// SPDX-License-Identifier: GPL-3.0-or-later
/* choice.h - internal: which points of the raster are worth showing, and which of them is recommended. */
#ifndef SHIFTBAND_TUNE_CHOICE_H
#define SHIFTBAND_TUNE_CHOICE_H

#include "tune/raster.h"

/* Lattice indices of the thresholds; both negative: none. */
struct sb_point {
  int downshift, upshift;
};

enum sb_choice { SB_CHOICE_RECOMMENDED, SB_CHOICE_FASTEST, SB_CHOICE_LEAST_CHARGE, SB_CHOICE_WIDEST, SB_CHOICE_COUNT };

struct sb_choices {
  struct sb_point points[SB_CHOICE_COUNT];
  bool is_speed_alone;  /* no point keeps both speed and charge (tune.h) */
  bool is_proved;       /* the recommended point is proved for every load; false also where that was not asked for */
  bool is_proved_alone; /* but keeps neither speed nor charge */
};

/* Chooses among the points with a margin; needs the figures of the raster. */
struct sb_choices sb_choice_find_all(const struct sb_raster *raster, enum sb_prefer prefer);

/* "recommended", "fastest", "least charge", "widest margin". */
const char *sb_choice_name(enum sb_choice choice);

#endif
