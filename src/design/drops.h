// SPDX-License-Identifier: GPL-3.0-or-later
/* drops.h - the list of all machines that are no designs of the answer, a row each with the rule that drops it. */
#ifndef SHIFTBAND_DESIGN_DROPS_H
#define SHIFTBAND_DESIGN_DROPS_H

#include "design/design.h"

/* The rules besides needs: X(name, words). */
#define SB_DROP_LIST(X)                                             \
  X(STOCK, "choices.wheels.stock")                                  \
  X(RATIO, "two speeds of one ratio")                               \
  X(SAME, "moves as another one")                                   \
  X(UNRUN, "not run (--runs)")                                      \
  X(UNFIT, "no valid scenario")                                     \
  X(BEATEN, "the run of another one is worse in nothing (--tunes)") \
  X(UNTUNED, "not tuned (--tunes)")                                 \
  X(FAILED, "no thresholds pass")                                   \
  X(OUTDONE, "another design is worse in nothing")                  \
  X(UNSHOWN, "a design that is not shown (--designs)")

enum sb_drop {
#define DROP_NAME(name, words) SB_DROP_##name,
  SB_DROP_LIST(DROP_NAME)
#undef DROP_NAME
};

/* The words of a rule. Pure. */
const char *sb_drops_words(enum sb_drop drop);

/* One machine; nothing where out is NULL. */
void sb_drops_write(FILE *out, const struct sb_design_answer *answer, const struct sb_candidate *candidate,
                    const char *rule);

/* The heading of the list. */
void sb_drops_begin(FILE *out);

#endif
