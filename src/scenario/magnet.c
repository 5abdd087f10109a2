// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `motor.magnet`: its keys and its checks. */
#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define HERE "motor.magnet"

static const struct sb_choice materials[] = {
#define MATERIAL_CHOICE(code, name, coefficient) {name, code},
    SB_MAGNET_LIST(MATERIAL_CHOICE)
#undef MATERIAL_CHOICE
        {NULL, 0}};

/* The upper bound catches a sign that was forgotten, the lower one a percentage written as a ratio. */
static const struct sb_key keys[] = {
    {CHOICE("material", materials), .instead = "per_kelvin", .default_words = "material or per_kelvin is required",
     DRAFT(magnet_material),
     .meaning = "Its material: ferrite loses 0.2 % of its strength with each kelvin, neodymium 0.12 %, samarium cobalt "
                "0.04 %, alnico 0.02 %."},
    {QUANTITY("per_kelvin", SB_PER_KELVIN), BETWEEN(-0.005, 0), .default_words = "material or per_kelvin is required",
     MODEL(magnet.per_k),
     .meaning = "In place of a material: by how much of itself the torque constant changes with each kelvin, the "
                "temperature coefficient of the remanence in data sheets. It is below 0; 0 %/K for magnets that keep "
                "their strength."},
    {.name = NULL}};

const struct sb_section sb_magnet_section = {
    "magnet",
    "how the magnets weaken with the temperature of the housing, or of the winding where there is no housing; the "
    "motor's figures hold at the winding's reference",
    keys, NULL};

static void finish_strength(struct sb_reader *reader)
{
  const int material = reader->draft->magnet_material;
  double *per_k = &reader->draft->model.magnet.per_k;
  sb_reader_has_one(reader, HERE, "material", "per_kelvin", "");
  if (sb_reader_has(reader, HERE ".material")) *per_k = sb_magnet_per_k((enum sb_magnet_material)material);
  sb_reader_resolve(reader, HERE ".per_kelvin", *per_k);
}

void sb_reader_finish_magnet(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  const struct sb_node *node = sb_reader_node(reader, HERE);
  if (node == NULL || node->kind != SB_NODE_MAP) {
    model->magnet = (struct sb_magnet){.is_present = false};
    return;
  }
  model->magnet.is_present = true;
  model->magnet.reference_c = model->winding.reference_c;
  if (!model->winding.is_present) {
    sb_reader_fault(reader, HERE, "needs motor.winding, which says how warm the magnets get, found no such key");
  }
  finish_strength(reader);
}
