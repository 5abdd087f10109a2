// SPDX-License-Identifier: GPL-3.0-or-later
/* picture.h - a plane of thresholds drawn with a mark a point, and '@' at the scenario's own thresholds. */
#ifndef SHIFTBAND_MAP_PICTURE_H
#define SHIFTBAND_MAP_PICTURE_H

#include "map/lattice.h"

struct sb_map_picture {
  struct sb_map_axis downshift, upshift;
  double own_downshift_fraction, own_upshift_fraction;
  bool is_whole; /* draws the whole plane, else the part where anything changes, the own thresholds in it */
  void (*paint)(struct sb_sketch *sketch,
                const void *context); /* marks points; those that mean nothing are wiped out */
  const void *context;
};

enum sb_status sb_map_draw(FILE *out, const struct sb_map_picture *picture, struct sb_error *err);

/* The line of the legend for '@'. */
void sb_map_write_own_mark(FILE *out, double own_downshift_fraction, double own_upshift_fraction);

#endif
