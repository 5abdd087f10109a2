// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `gearbox.output_shaft`: its keys, and from the shaft as written to its stiffness and damping. NAN marks what had a fault already. */
#include "scenario/shape.h"

#define GIVES(field) DRAFT(driveshaft.field)
#define SHAFT(field) MODEL(driveshaft.field)

static const struct sb_key keys[] = {
    {QUANTITY("stiffness", SB_STIFFNESS), BETWEEN(1e-6, 1e9),
     .default_words = "stiffness, or section, length and material, is required", SHAFT(stiffness_nm_rad),
     .meaning = "The torque for each unit of twist, of everything elastic between the gear and the load."},
    {QUANTITY("damping", SB_VISCOUS), BETWEEN(0, 1e6), .default_words = "by damping_ratio", SHAFT(damping_nms_rad),
     .meaning = "The torque for each unit of the speed of twisting."},
    {QUANTITY("damping_ratio", SB_RATIO), BETWEEN(0, 1), .default_words = "5 % without damping (common practice)",
     GIVES(damping_ratio),
     .meaning =
         "The damping as a share of the critical damping in gear 1, at which the motor and the load just no longer oscillate."},
    {QUANTITY("backlash", SB_ANGLE), BETWEEN(0, 1.5707963267948966), .default_text = "0 deg", SHAFT(backlash_rad),
     .meaning = "The play between the gear and the load: the whole angle at the output through which nothing touches."},
    {CHOICE("section", sb_shape_sections), .default_words = "none, the stiffness is given", GIVES(shape.section),
     .meaning = "The form of its cross-section, for a stiffness that follows from its measures."},
    SHAPE_KEYS(driveshaft.shape, "needed for a"),
    {QUANTITY("length", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, 100), .default_words = "needed with a section",
     GIVES(length_m), .meaning = "Its length between the gear and the load, as far as it has this cross-section."},
    {CHOICE("material", sb_shape_materials), .instead = "shear_modulus",
     .default_words = "material or shear_modulus is needed with a section", GIVES(material),
     .meaning = "Its material, with the usual shear modulus at 23 C."},
    {QUANTITY("shear_modulus", SB_STRESS), BETWEEN(1e4, 1e13),
     .default_words = "material or shear_modulus is needed with a section", GIVES(modulus_pa),
     .meaning = "The shear stress for each unit of the angle of shear."},
    {.name = NULL}};

const struct sb_section sb_driveshaft_section = {"output_shaft", "an elastic shaft between the gear and the load", keys,
                                                 NULL};

static const double usual_damping_ratio = 0.05;

#define HERE "gearbox.output_shaft"

/* What describes a section, without one, would be taken for something that it does not do. */
static void refuse_measures(struct sb_reader *reader, const struct sb_node *node)
{
  static const char *const measures[] = {"diameter",     "outer_diameter", "inner_diameter", "side",
                                         "across_flats", "length",         "material",       "shear_modulus"};
  for (size_t i = 0; i < sizeof measures / sizeof *measures; i++) {
    if (sb_tree_find(node, measures[i]) == NULL) continue;
    sb_reader_fault(reader, PATH(HERE ".%s", measures[i]), "needs a section, found no such key");
  }
}

/* k = G It / L, with a fault for all that is missing. */
static double stiffness_by_measures(struct sb_reader *reader, const struct sb_node *node)
{
  const struct sb_driveshaft_draft *draft = &reader->draft->driveshaft;
  const struct sb_shaft shaft = sb_shape_take(reader, node, HERE, &draft->shape);
  const bool has_modulus = sb_tree_find(node, "shear_modulus") != NULL;
  if (sb_tree_find(node, "length") == NULL) {
    sb_reader_fault(reader, HERE ".length", "needs a length (%s) with a section, found no such key",
                    sb_units_offered(SB_LENGTH));
  }
  sb_reader_has_one(reader, HERE, "material", "shear_modulus", " with a section");
  const double modulus_pa = has_modulus ? draft->modulus_pa : sb_strength_modulus_pa((enum sb_material)draft->material);
  return modulus_pa * sb_strength_shaft_constant_m4(&shaft) / draft->length_m;
}

static void finish_stiffness(struct sb_reader *reader, const struct sb_node *node)
{
  struct sb_driveshaft *shaft = &reader->draft->model.driveshaft;
  const bool has_stiffness = node->kind == SB_NODE_VALUE || sb_tree_find(node, "stiffness") != NULL;
  const bool has_section = node->kind == SB_NODE_MAP && sb_tree_find(node, "section") != NULL;
  if (has_stiffness && has_section) {
    sb_reader_fault(reader, HERE ".section", "needs one of stiffness and section, found both");
  } else if (has_section) {
    shaft->stiffness_nm_rad = stiffness_by_measures(reader, node);
    sb_reader_resolve(reader, HERE ".stiffness", shaft->stiffness_nm_rad);
  } else {
    if (!has_stiffness) {
      sb_reader_fault(reader, HERE ".stiffness", "needs %s (%s) or a section, found no such key",
                      sb_units_words(SB_STIFFNESS), sb_units_offered(SB_STIFFNESS));
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
  const bool has_damping = node->kind == SB_NODE_MAP && sb_tree_find(node, "damping") != NULL;
  const bool has_ratio = node->kind == SB_NODE_MAP && sb_tree_find(node, "damping_ratio") != NULL;
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
  const struct sb_node *node = sb_reader_node(reader, "gearbox.output_shaft");
  shaft->is_present = node != NULL && (node->kind == SB_NODE_MAP || node->kind == SB_NODE_VALUE);
  if (shaft->is_present) {
    finish_stiffness(reader, node);
    finish_damping(reader, node);
  } else {
    *shaft = (struct sb_driveshaft){0};
  }
}
