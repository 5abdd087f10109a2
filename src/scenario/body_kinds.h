// SPDX-License-Identifier: GPL-3.0-or-later
/* body_kinds.h - what the kinds of body share while they are read; a kind is a file body_<kind>.c and a line in body.c. */
#ifndef SHIFTBAND_SCENARIO_BODY_KINDS_H
#define SHIFTBAND_SCENARIO_BODY_KINDS_H

#include "machine/body/kinds.h"
#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define MASS_MAX 1e9   /* kg */
#define RADIUS_MAX 1e3 /* m */

/* clang-format off */
#define GRAVITY(place)                                                                                      \
  {QUANTITY("gravity", SB_ACCELERATION), .flags = SB_ABOVE, BETWEEN(0, 1e3), .default_text = "9.80665 m/s2", \
   place(gravity_m_s2), .meaning = "The acceleration of free fall (the default is standard gravity)."}
/* clang-format on */

/* What simulates a kind, and what derives and checks it once its keys are read (NULL: nothing). */
struct sb_body_form {
  const struct sb_body_ops *ops;
  void (*finish)(struct sb_reader *reader, struct sb_body_draft *draft, const char *path);
};

extern const struct sb_section sb_body_section_vehicle, sb_body_section_hoist, sb_body_section_fan,
    sb_body_section_pump;

static inline bool body_has(const struct sb_body_draft *draft, const char *key)
{
  return sb_tree_find(draft->node, key) != NULL;
}

#endif
