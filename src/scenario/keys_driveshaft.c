// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of an output shaft that gives, a part of the table of all keys: see scenario_schema.h. */
#include "scenario/shape_keys.h"

#define DRAFT(field) .offset = offsetof(struct sb_draft, driveshaft.field)
#define SHAFT(field) .offset = offsetof(struct sb_draft, model.driveshaft.field)

#define STIFFNESS_MIN 1e-6 /* N m / rad */
#define STIFFNESS_MAX 1e9
#define MODULUS_MIN 1e4 /* Pa */
#define MODULUS_MAX 1e13
#define QUARTER_TURN 1.5707963267948966 /* rad */

static const struct sb_key driveshaft_keys[] = {
    {QUANTITY("stiffness", SB_STIFFNESS), BETWEEN(STIFFNESS_MIN, STIFFNESS_MAX),
     .default_words = "stiffness, or section, length and material, is required", SHAFT(stiffness_nm_rad),
     .meaning = "Torque by twist, of all that gives between the gear and the load."},
    {QUANTITY("damping", SB_VISCOUS), BETWEEN(0, 1e6), .default_words = "by damping_ratio", SHAFT(damping_nms_rad),
     .meaning = "Torque by speed of twisting."},
    {QUANTITY("damping_ratio", SB_RATIO), BETWEEN(0, 1), .default_words = "5 % without damping (common practice)",
     DRAFT(damping_ratio),
     .meaning =
         "The same as a share of the critical damping, at which motor and load just no longer swing, in gear 1."},
    {QUANTITY("backlash", SB_ANGLE), BETWEEN(0, QUARTER_TURN), .default_text = "0 deg", SHAFT(backlash_rad),
     .meaning = "Play between gear and load: the whole angle at the output while no tooth or key touches."},
    {.name = "section",
     .kind = SB_KEY_CHOICE,
     .choices = sb_section_choices,
     .default_words = "none: by stiffness",
     DRAFT(shape.section),
     .meaning = "Form of its cross-section, for a stiffness by its measures."},
    SHAPE_KEYS(driveshaft.shape, "needed for a"),
    {QUANTITY("length", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, 100), .default_words = "needed with a section",
     DRAFT(length_m), .meaning = "Its length between the gear and the load, as far as that section goes."},
    {.name = "material",
     .kind = SB_KEY_CHOICE,
     .choices = sb_material_choices,
     .default_words = "material or shear_modulus is needed with a section",
     DRAFT(material),
     .meaning = "Material, with its usual shear modulus at 23 C."},
    {QUANTITY("shear_modulus", SB_STRESS), BETWEEN(MODULUS_MIN, MODULUS_MAX),
     .default_words = "material or shear_modulus is needed with a section", DRAFT(modulus_pa),
     .meaning = "Shear stress by angle of shear."},
    {.name = NULL}};

const struct sb_section sb_driveshaft_section = {"output_shaft", "a shaft that gives between the gear and the load",
                                                 driveshaft_keys};
