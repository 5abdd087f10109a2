// SPDX-License-Identifier: GPL-3.0-or-later
/* shape.h - the cross-section of a shaft: the keys that describe it, for each section that has one, and their checks. */
#ifndef SHIFTBAND_SCENARIO_SHAPE_H
#define SHIFTBAND_SCENARIO_SHAPE_H

#include "scenario/reader.h"
#include "scenario/schema_words.h"

extern const struct sb_choice sb_shape_sections[], sb_shape_materials[];

/* shape: the draft's struct sb_shape_draft. */
#define SHAPE_LENGTH(text, shape, field, needed) \
  QUANTITY(text, SB_LENGTH), BETWEEN(0, 10.0), DRAFT(shape.field), .default_words = needed

/* clang-format off */
#define SHAPE_KEYS(shape, needed)                                                                            \
  {SHAPE_LENGTH("diameter", shape, diameter_m, needed " round section"), .flags = SB_ABOVE,                  \
   .meaning = "The diameter where the shaft is thinnest."},                                                  \
  {SHAPE_LENGTH("outer_diameter", shape, outer_m, needed " hollow section"), .flags = SB_ABOVE,              \
   .meaning = "The outer diameter of a tube."},                                                              \
  {SHAPE_LENGTH("inner_diameter", shape, inner_m, needed " hollow section"),                                 \
   .meaning = "The inner diameter of a tube, which is below the outer one."},                                \
  {SHAPE_LENGTH("side", shape, side_m, needed " square section"), .flags = SB_ABOVE,                         \
   .meaning = "The side of a square."},                                                                      \
  {SHAPE_LENGTH("across_flats", shape, flats_m, needed " hexagonal section"), .flags = SB_ABOVE,             \
   .meaning = "The distance between two opposite sides of a hexagon."}
/* clang-format on */

/* A shaft's cross-section, with faults for lengths that it lacks or that are another's; part: the path of its keys. */
struct sb_shaft sb_shape_take(struct sb_reader *reader, const struct sb_node *node, const char *part,
                              const struct sb_shape_draft *shape);

#endif
