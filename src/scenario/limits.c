// SPDX-License-Identifier: GPL-3.0-or-later
/* From limits given as parts to the least torque, with the part that rules. NAN marks what had a fault already. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

/* The section of a part, or NULL when it was not given or is none. */
static const struct sb_node *part_node(const struct sb_reader *reader, const char *part)
{
  const struct sb_node *node = sb_node_find(sb_node_find(reader->root, "limits"), part);
  return node != NULL && node->kind == SB_NODE_MAP ? node : NULL;
}

/* A part's strength comes from its material or as a number. */
static void check_strength(struct sb_reader *reader, const struct sb_node *node, const char *part, const char *key)
{
  char path[SB_PATH_SIZE];
  const bool has_material = sb_node_find(node, "material") != NULL;
  const bool has_strength = sb_node_find(node, key) != NULL;
  if (has_material != has_strength) return;
  snprintf(path, sizeof path, "limits.%s.%s", part, has_material ? key : "material");
  sb_reader_fault(reader, path, "needs one of material and %s, found %s", key, has_material ? "both" : "neither");
}

/* The least limit so far rules, and its words with it. */
static void take_limit(struct sb_model *model, double limit_nm, const char *text)
{
  if (!(limit_nm < model->limits.output_torque_nm)) return;
  model->limits.output_torque_nm = limit_nm;
  snprintf(model->output_limit, sizeof model->output_limit, "%s", text);
}

static void finish_shaft(struct sb_reader *reader)
{
  const struct sb_shaft_draft *draft = &reader->draft->shaft;
  const struct sb_node *node = part_node(reader, "shaft");
  if (node == NULL) return;
  check_strength(reader, node, "shaft", "shear_strength");
  struct sb_shaft shaft = sb_reader_take_shape(reader, node, "limits.shaft", &draft->shape);
  shaft.material = (enum sb_material)draft->material;
  shaft.shear_pa = isnan(draft->shear_pa) ? sb_material_shear_pa(shaft.material) : draft->shear_pa;
  shaft.safety = draft->safety;
  char text[SB_LIMIT_TEXT_SIZE];
  take_limit(&reader->draft->model, sb_shaft_limit_nm(&shaft), sb_shaft_text(&shaft, text, sizeof text));
}

/* The table of form factors is for teeth on the outside of a wheel. */
static void find_form_factor(struct sb_reader *reader, struct sb_tooth *tooth, bool is_own_count, bool is_ring)
{
  if (is_ring) {
    sb_reader_fault(reader, "limits.tooth.form_factor",
                    "needs a ratio for a ring gear, the last driven wheel of gear 1, found no such key");
    return;
  }
  tooth->form_factor = sb_tooth_form_factor(tooth->teeth);
  if (tooth->teeth < SB_FORM_TEETH_MIN) {
    sb_reader_fault(reader, is_own_count ? "limits.tooth.teeth" : "limits.tooth.form_factor",
                    "needs at least %d teeth or a form_factor, found %.6g teeth", SB_FORM_TEETH_MIN, tooth->teeth);
  }
  sb_reader_resolve(reader, "limits.tooth.form_factor", tooth->form_factor);
}

static void finish_tooth(struct sb_reader *reader)
{
  const struct sb_tooth_draft *draft = &reader->draft->tooth;
  const struct sb_node *node = part_node(reader, "tooth");
  if (node == NULL) return;
  check_strength(reader, node, "tooth", "bending_strength");
  const bool is_own_count = sb_node_find(node, "teeth") != NULL;
  const struct sb_gear *gear = &reader->draft->model.gearbox.gears[0];
  const struct sb_mesh *mesh = gear->mesh_count > 0 ? &gear->meshes[gear->mesh_count - 1] : NULL;
  struct sb_tooth tooth = {.module_m = draft->module_m,
                           .width_m = draft->width_m,
                           .teeth = is_own_count && draft->teeth > 0 ? (double)draft->teeth : NAN,
                           .form_factor = draft->form_factor,
                           .material = (enum sb_material)draft->material,
                           .bending_pa = isnan(draft->bending_pa)
                                             ? sb_material_tensile_pa((enum sb_material)draft->material)
                                             : draft->bending_pa,
                           .safety = draft->safety};
  if (!is_own_count && mesh != NULL) tooth.teeth = mesh->driven_teeth;
  if (sb_node_find(node, "form_factor") == NULL) {
    find_form_factor(reader, &tooth, is_own_count, !is_own_count && mesh != NULL && mesh->is_internal);
  }
  char text[SB_LIMIT_TEXT_SIZE];
  take_limit(&reader->draft->model, sb_tooth_limit_nm(&tooth), sb_tooth_text(&tooth, text, sizeof text));
}

void sb_reader_finish_limits(struct sb_reader *reader)
{
  struct sb_limits *limits = &reader->draft->model.limits;
  if (isnan(limits->output_torque_nm)) limits->output_torque_nm = INFINITY;
  if (isnan(limits->winding_c)) limits->winding_c = INFINITY;
  finish_shaft(reader);
  finish_tooth(reader);
}
