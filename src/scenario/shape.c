// SPDX-License-Identifier: GPL-3.0-or-later
/* The cross-section of a shaft as written: see shape.h. */
#include <math.h>

#include "scenario/shape.h"

const struct sb_choice sb_shape_sections[] = {{"round", SB_SHAFT_ROUND},
                                              {"hollow", SB_SHAFT_HOLLOW},
                                              {"square", SB_SHAFT_SQUARE},
                                              {"hexagonal", SB_SHAFT_HEXAGONAL},
                                              {NULL, 0}};

const struct sb_choice sb_shape_materials[] = {
#define MATERIAL_CHOICE(code, name, other, ...) {name, code}, {other, code},
    SB_MATERIAL_LIST(MATERIAL_CHOICE)
#undef MATERIAL_CHOICE
        {NULL, 0}};

/* Each section has its own lengths; the others would be taken for something that they do not do. */
static void check_lengths(struct sb_reader *reader, const struct sb_node *node, const char *part,
                          enum sb_shaft_section section)
{
  static const struct {
    const char *key;
    enum sb_shaft_section section;
  } lengths[] = {{"diameter", SB_SHAFT_ROUND},
                 {"outer_diameter", SB_SHAFT_HOLLOW},
                 {"inner_diameter", SB_SHAFT_HOLLOW},
                 {"side", SB_SHAFT_SQUARE},
                 {"across_flats", SB_SHAFT_HEXAGONAL}};
  if (section == SB_SHAFT_NONE) return;
  const char *name = sb_strength_shaft_section_name(section);
  for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
    const bool is_given = sb_tree_find(node, lengths[i].key) != NULL;
    if (is_given == (lengths[i].section == section)) continue;
    const struct sb_path path = sb_reader_path("%s.%s", part, lengths[i].key);
    if (is_given) {
      sb_reader_fault(reader, path.text, "needs a %s section, found a %s one",
                      sb_strength_shaft_section_name(lengths[i].section), name);
    } else {
      sb_reader_fault(reader, path.text, "needs %s (%s) for a %s section, found no such key", sb_units_words(SB_LENGTH),
                      sb_units_offered(SB_LENGTH), name);
    }
  }
}

static double size_m(const struct sb_shape_draft *shape)
{
  switch ((enum sb_shaft_section)shape->section) {
    case SB_SHAFT_NONE: return NAN;
    case SB_SHAFT_ROUND: return shape->diameter_m;
    case SB_SHAFT_HOLLOW: return shape->outer_m;
    case SB_SHAFT_SQUARE: return shape->side_m;
    case SB_SHAFT_HEXAGONAL: return shape->flats_m;
  }
  return NAN;
}

struct sb_shaft sb_shape_take(struct sb_reader *reader, const struct sb_node *node, const char *part,
                              const struct sb_shape_draft *shape)
{
  check_lengths(reader, node, part, (enum sb_shaft_section)shape->section);
  if (shape->section == SB_SHAFT_HOLLOW && shape->inner_m >= shape->outer_m) {
    sb_reader_fault(reader, PATH("%s.inner_diameter", part),
                    "needs less than the outer diameter (%.10g m), found %.10g m", shape->outer_m, shape->inner_m);
  }
  return (struct sb_shaft){
      .section = (enum sb_shaft_section)shape->section, .size_m = size_m(shape), .inner_m = shape->inner_m};
}
