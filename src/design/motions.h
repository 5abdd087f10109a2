// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * motions.h - machines of which no two move in the same way.
 *
 * Two boxes in one combination of the choices with the same ratios, numbers of meshes and place of an idler are one machine to the motor and to
 * the load. Of them the one stays whose teeth are loaded less, then the one with more hunting teeth, then the first.
 */
#ifndef SHIFTBAND_DESIGN_MOTIONS_H
#define SHIFTBAND_DESIGN_MOTIONS_H

#include "design/design.h"

struct sb_motions {
  size_t count, room;
  struct sb_candidate *items; /* items[count], owned, in the order in which their motions came */
  size_t slot_count;
  uint32_t *slots;   /* index + 1 of an item; 0: free */
  double same_count; /* machines that moved as another one */
};

enum sb_kept { SB_KEPT_NEW, SB_KEPT_SAME, SB_KEPT_NO_MEMORY };

/* With SB_KEPT_SAME *loser is the one that goes. */
enum sb_kept sb_motions_add(struct sb_motions *motions, const struct sb_candidate *candidate,
                            struct sb_candidate *loser);
void sb_motions_clear(struct sb_motions *motions);

#endif
