// SPDX-License-Identifier: GPL-3.0-or-later
/* shape_keys.h - the lengths of a shaft's cross-section, for each section of keys that describes one. */
#ifndef SHIFTBAND_SCENARIO_SHAPE_KEYS_H
#define SHIFTBAND_SCENARIO_SHAPE_KEYS_H

#include <stddef.h>

#include "scenario/schema.h"

#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define LENGTH_MAX 10.0 /* m */

/* shape: the draft's struct sb_shape_draft. */
#define SHAPE_LENGTH(text, shape, field) \
  QUANTITY(text, SB_LENGTH), BETWEEN(0, LENGTH_MAX), .offset = offsetof(struct sb_draft, shape.field)

/* clang-format off */
#define SHAPE_KEYS(shape, needed)                                                                           \
  {SHAPE_LENGTH("diameter", shape, diameter_m), .flags = SB_ABOVE, .default_words = needed " round section", \
   .meaning = "Diameter where it is thinnest."},                                                            \
  {SHAPE_LENGTH("outer_diameter", shape, outer_m), .flags = SB_ABOVE,                                       \
   .default_words = needed " hollow section", .meaning = "Outer diameter of a tube."},                      \
  {SHAPE_LENGTH("inner_diameter", shape, inner_m), .default_words = needed " hollow section",               \
   .meaning = "Inner diameter of a tube, below the outer."},                                                \
  {SHAPE_LENGTH("side", shape, side_m), .flags = SB_ABOVE, .default_words = needed " square section",       \
   .meaning = "Side of a square."},                                                                         \
  {SHAPE_LENGTH("across_flats", shape, flats_m), .flags = SB_ABOVE,                                         \
   .default_words = needed " hexagonal section",                                                            \
   .meaning = "Distance between two opposite sides of a hexagon."}
/* clang-format on */

#endif
