// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of limits given as a part, in the table of all keys: see scenario_schema.h. */
#include <stddef.h>

#include "scenario/shape_keys.h"

#define SHAFT(field) .offset = offsetof(struct sb_draft, shaft.field)
#define TOOTH(field) .offset = offsetof(struct sb_draft, tooth.field)

#define STRESS_MIN 1e4 /* Pa */
#define STRESS_MAX 1e10
#define SAFETY_MAX 100.0

const struct sb_choice sb_section_choices[] = {{"round", SB_SHAFT_ROUND},
                                               {"hollow", SB_SHAFT_HOLLOW},
                                               {"square", SB_SHAFT_SQUARE},
                                               {"hexagonal", SB_SHAFT_HEXAGONAL},
                                               {NULL, 0}};

const struct sb_choice sb_material_choices[] = {
#define MATERIAL_CHOICE(code, name, tensile_pa, modulus_pa) {name, code},
    SB_MATERIAL_LIST(MATERIAL_CHOICE)
#undef MATERIAL_CHOICE
        {NULL, 0}};

static const struct sb_key shaft_keys[] = {
    {.name = "section",
     .kind = SB_KEY_CHOICE,
     .flags = SB_REQUIRED,
     .choices = sb_section_choices,
     SHAFT(shape.section),
     .meaning = "Form of its cross-section."},
    SHAPE_KEYS(shaft.shape, "required for a"),
    {.name = "material",
     .kind = SB_KEY_CHOICE,
     .choices = sb_material_choices,
     .default_words = "material or shear_strength is required",
     SHAFT(material),
     .meaning = "Material, with 0.577 of its tensile strength (a metal: yield) as shear strength, at 23 C."},
    {QUANTITY("shear_strength", SB_STRESS), BETWEEN(STRESS_MIN, STRESS_MAX),
     .default_words = "material or shear_strength is required", SHAFT(shear_pa),
     .meaning = "Shear stress at which it gives way."},
    {QUANTITY("safety", SB_RATIO), BETWEEN(1, SAFETY_MAX), .default_text = "2", SHAFT(safety),
     .meaning = "The limit is the torque at which it gives way, divided by this."},
    {.name = NULL}};

static const struct sb_key tooth_keys[] = {
    {QUANTITY("module", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1), TOOTH(module_m),
     .meaning = "Module: pitch diameter by teeth."},
    {QUANTITY("width", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, LENGTH_MAX), TOOTH(width_m),
     .meaning = "Width of the teeth in mesh."},
    {.name = "teeth",
     .kind = SB_KEY_WHOLE,
     BETWEEN(1, 10000),
     .default_words = "those of gear 1's last driven wheel",
     TOOTH(teeth),
     .meaning = "Teeth of the wheel on the output shaft; the whole output torque passes through it."},
    {.name = "material",
     .kind = SB_KEY_CHOICE,
     .choices = sb_material_choices,
     .default_words = "material or bending_strength is required",
     TOOTH(material),
     .meaning = "Material, with its tensile strength (a metal: yield) as bending strength, at 23 C."},
    {QUANTITY("bending_strength", SB_STRESS), BETWEEN(STRESS_MIN, STRESS_MAX),
     .default_words = "material or bending_strength is required", TOOTH(bending_pa),
     .meaning = "Bending stress at which a tooth gives way."},
    {QUANTITY("form_factor", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1),
     .default_words = "by the teeth, for 20 deg full depth and at least 12 teeth", TOOTH(form_factor),
     .meaning = "Lewis's form factor Y, by the module. The pinion's, which is smaller, judges a pinion of the same "
                "material and width."},
    {QUANTITY("safety", SB_RATIO), BETWEEN(1, SAFETY_MAX), .default_text = "2", TOOTH(safety),
     .meaning = "The limit is the torque at which it gives way, divided by this."},
    {.name = NULL}};

const struct sb_section sb_limits_shaft_section = {"shaft", "the output shaft, whose torsion limits the output torque",
                                                   shaft_keys};
const struct sb_section sb_limits_tooth_section = {
    "tooth", "the teeth of the wheel on the output shaft, whose bending limits the output torque", tooth_keys};
