// SPDX-License-Identifier: GPL-3.0-or-later
/* From an output shaft as written to its stiffness and damping. NAN marks what had a fault already. */
#include <math.h>
#include <stdio.h>

#include "scenario/reader.h"

static const double usual_damping_ratio = 0.05;

#define HERE "gearbox.output_shaft"

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
  const char *name = sb_shaft_section_name(section);
  char path[SB_PATH_SIZE];
  for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
    const bool is_given = sb_node_find(node, lengths[i].key) != NULL;
    if (is_given == (lengths[i].section == section)) continue;
    snprintf(path, sizeof path, "%s.%s", part, lengths[i].key);
    if (is_given) {
      sb_reader_fault(reader, path, "needs a %s section, found a %s one", sb_shaft_section_name(lengths[i].section),
                      name);
    } else {
      sb_reader_fault(reader, path, "needs %s (%s) for a %s section, found no such key", sb_quantity_words(SB_LENGTH),
                      sb_quantity_units(SB_LENGTH), name);
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

struct sb_shaft sb_reader_take_shape(struct sb_reader *reader, const struct sb_node *node, const char *part,
                                     const struct sb_shape_draft *shape)
{
  check_lengths(reader, node, part, (enum sb_shaft_section)shape->section);
  if (shape->section == SB_SHAFT_HOLLOW && shape->inner_m >= shape->outer_m) {
    char path[SB_PATH_SIZE];
    snprintf(path, sizeof path, "%s.inner_diameter", part);
    sb_reader_fault(reader, path, "needs less than the outer diameter (%.10g m), found %.10g m", shape->outer_m,
                    shape->inner_m);
  }
  return (struct sb_shaft){
      .section = (enum sb_shaft_section)shape->section, .size_m = size_m(shape), .inner_m = shape->inner_m};
}

/* What describes a section, without one, would be taken for something that it does not do. */
static void refuse_measures(struct sb_reader *reader, const struct sb_node *node)
{
  static const char *const keys[] = {"diameter",     "outer_diameter", "inner_diameter", "side",
                                     "across_flats", "length",         "material",       "shear_modulus"};
  for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
    char path[SB_PATH_SIZE];
    snprintf(path, sizeof path, HERE ".%s", keys[i]);
    if (sb_node_find(node, keys[i]) != NULL) sb_reader_fault(reader, path, "needs a section, found no such key");
  }
}

/* k = G It / L, with a fault for all that is missing. */
static double stiffness_by_measures(struct sb_reader *reader, const struct sb_node *node)
{
  const struct sb_driveshaft_draft *draft = &reader->draft->driveshaft;
  const struct sb_shaft shaft = sb_reader_take_shape(reader, node, HERE, &draft->shape);
  const bool has_material = sb_node_find(node, "material") != NULL;
  const bool has_modulus = sb_node_find(node, "shear_modulus") != NULL;
  if (sb_node_find(node, "length") == NULL) {
    sb_reader_fault(reader, HERE ".length", "needs a length (%s) with a section, found no such key",
                    sb_quantity_units(SB_LENGTH));
  }
  if (has_material == has_modulus) {
    sb_reader_fault(reader, has_material ? HERE ".shear_modulus" : HERE ".material",
                    "needs one of material and shear_modulus with a section, found %s",
                    has_material ? "both" : "neither");
  }
  const double modulus_pa = has_modulus ? draft->modulus_pa : sb_material_modulus_pa((enum sb_material)draft->material);
  return modulus_pa * sb_shaft_constant_m4(&shaft) / draft->length_m;
}

static void finish_stiffness(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_driveshaft *shaft = &reader->draft->model.driveshaft;
  const bool has_stiffness = node->kind == SB_NODE_VALUE || sb_node_find(node, "stiffness") != NULL;
  const bool has_section = node->kind == SB_NODE_MAP && sb_node_find(node, "section") != NULL;
  if (has_stiffness && has_section) {
    sb_reader_fault(reader, HERE ".section", "needs one of stiffness and section, found both");
  } else if (has_section) {
    shaft->stiffness_nm_rad = stiffness_by_measures(reader, node);
    sb_reader_resolve(reader, HERE ".stiffness", shaft->stiffness_nm_rad);
  } else {
    if (!has_stiffness) {
      sb_reader_fault(reader, HERE ".stiffness", "needs %s (%s) or a section, found no such key",
                      sb_quantity_words(SB_STIFFNESS), sb_quantity_units(SB_STIFFNESS));
    }
    if (node->kind == SB_NODE_MAP) refuse_measures(reader, node);
  }
}

/* c = zeta 2 sqrt(k Jred), in gear 1. */
static void finish_damping(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_model *model = &reader->draft->model;
  struct sb_driveshaft *shaft = &model->driveshaft;
  const double given = reader->draft->driveshaft.damping_ratio;
  const bool has_damping = node->kind == SB_NODE_MAP && sb_node_find(node, "damping") != NULL;
  const bool has_ratio = node->kind == SB_NODE_MAP && sb_node_find(node, "damping_ratio") != NULL;
  if (has_damping && has_ratio) {
    sb_reader_fault(reader, HERE ".damping_ratio", "needs one of damping and damping_ratio, found both");
  }
  if (has_damping || model->gearbox.gear_count == 0) return;
  const double ratio = has_ratio ? given : usual_damping_ratio;
  const double critical = 2.0 * shaft->stiffness_nm_rad / sb_driveshaft_frequency_rad_s(model, 0);
  shaft->damping_nms_rad = ratio * critical;
  sb_reader_resolve(reader, HERE ".damping_ratio", ratio);
  sb_reader_resolve(reader, HERE ".damping", shaft->damping_nms_rad);
}

void sb_reader_finish_driveshaft(struct sb_reader *reader)
{
  struct sb_driveshaft *shaft = &reader->draft->model.driveshaft;
  const struct sb_node *node = sb_node_find(sb_node_find(reader->root, "gearbox"), "output_shaft");
  shaft->is_present = node != NULL && (node->kind == SB_NODE_MAP || node->kind == SB_NODE_VALUE);
  if (shaft->is_present) {
    finish_stiffness(reader, node);
    finish_damping(reader, node);
  } else {
    *shaft = (struct sb_driveshaft){0};
  }
}
