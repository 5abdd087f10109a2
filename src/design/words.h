// SPDX-License-Identifier: GPL-3.0-or-later
/* words.h - a design in words: its wheels, its thresholds, and what is special about it. */
#ifndef SHIFTBAND_DESIGN_WORDS_H
#define SHIFTBAND_DESIGN_WORDS_H

#include "design/design.h"

enum { SB_DESIGN_WORDS_SIZE = 512 };

struct sb_design_words {
  char text[SB_DESIGN_WORDS_SIZE];
};

/* "slow 24:1 (12/48, 10/60), fast 8:1 (12/48, 20/40)"; "" where the gears are those of the scenario. */
struct sb_design_words sb_design_gears(const struct sb_design *design);

/* "12/48, 10/60": one speed. */
struct sb_design_words sb_design_meshes(const struct sb_box *box, int speed);

/* "slow", "fast": of a box with so many speeds. */
const char *sb_design_speed_name(int speeds, int speed);

/* "downshift below 41 %, upshift above 88 %, dwell 0.6 s"; with more pairs one after the other. */
struct sb_design_words sb_design_thresholds(const struct sb_design *design);

/* What no other one of the answer has: "fastest, widest margin"; else what it lies between. */
struct sb_design_words sb_design_special(const struct sb_design_answer *answer, int index);

/* Cautions about its wheels: fewer teeth than are cut without undercut; "". */
struct sb_design_words sb_design_caution(const struct sb_design *design);

#endif
