// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * schema_words.h - how the rows of a section's table are written: a kind of key, its range and its place in the draft.
 *
 *   {QUANTITY("dwell", SB_TIME), BETWEEN(0, SB_TIME_MAX), MODEL(control.dwell_s), .meaning = "..."},
 *
 * Bounds are wide; they are there to catch a wrong unit.
 */
#ifndef SHIFTBAND_SCENARIO_SCHEMA_WORDS_H
#define SHIFTBAND_SCENARIO_SCHEMA_WORDS_H

#include <stddef.h>

#include "scenario/schema.h"

#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)
#define EITHER(text, what, second) .name = (text), .kind = SB_KEY_EITHER, .quantity = (what), .other = (second)
#define WHOLE(text) .name = (text), .kind = SB_KEY_WHOLE
#define FLAG(text) .name = (text), .kind = SB_KEY_FLAG, .default_text = "false"
#define CHOICE(text, list) .name = (text), .kind = SB_KEY_CHOICE, .choices = (list)
#define TEXT(text, bytes) .name = (text), .kind = SB_KEY_TEXT, .size = (bytes)
#define SECTION(text, keys) .name = (text), .kind = SB_KEY_SECTION, .section = (keys)
#define LATER(text, what) .name = (text), .kind = SB_KEY_LATER, .needs = (what)

/* A list whose items stand at `field` of a struct, and their number at `count`; at most `most` items. */
#define LIST(text, holder, field, count, most)                                   \
  .name = (text), .kind = SB_KEY_LIST, .offset = offsetof(struct holder, field), \
  .size = sizeof(((struct holder *)0)->field[0]), .count_offset = offsetof(struct holder, count), .max = (most)

#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define DRAFT(field) .offset = offsetof(struct sb_draft, field)
#define MODEL(field) DRAFT(model.field)

#define SPEED_MAX 1e6     /* rad/s */
#define TORQUE_MAX 1e6    /* N m */
#define INERTIA_MIN 1e-12 /* kg m2 */
#define INERTIA_MAX 1e6
#define TIME_MAX 1e8  /* s, about three years */
#define ANGLE_MAX 1e9 /* rad */
#define VOLTAGE_MAX 1e4
#define CURRENT_MAX 1e5
#define DISTANCE_MAX 1e9 /* m */

#endif
