// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * warmup.h - a scenario repeated until its motor is as warm as it gets.
 *
 * Each repeat starts as the scenario does, battery and speeds too, but with winding and housing as warm as the last one
 * left them. It ends when they settle, when limits.winding is passed, or when the cut-out opens.
 *
 * Not every repeat is simulated. Under losses that do not change, the warmth at the start of the next repeat is
 *   x' = M x + g,   M = the network's own cooling over one repeat (exact), g from the repeat just simulated,
 * so that the warmth after n more repeats, and where it settles, x* = (I - M)^-1 g, are known. The losses do change, with
 * the winding's resistance and with what the machine does when it is warmer. So no more repeats are passed over than change
 * winding and housing by SB_WARMUP_LEAP_K, which changes the resistance by 0.2 % at most, nor so many that a limit could be
 * passed unseen. Where that goes too far and back (a gear is shifted on a warm repeat and not on a cooler one), fewer are
 * passed over, and where that is not enough, blocks of 2, 4, ... 64 repeats in a row are simulated and g is their mean.
 * Settled is a block that was simulated and whose own x* lies within SB_WARMUP_SETTLED_K of its mean start.
 */
#ifndef SHIFTBAND_WARMUP_H
#define SHIFTBAND_WARMUP_H

#include <stdio.h>

#include "shiftband/run.h"

struct sb_json;

#define SB_WARMUP_LEAP_K 0.5
#define SB_WARMUP_SETTLED_K 0.1
enum { SB_WARMUP_SIMULATED_MAX = 1000 };

enum sb_warmup_end {
  SB_WARMUP_SETTLED, /* winding and housing start a repeat as they started the last */
  SB_WARMUP_PASSED,  /* the winding is above limits.winding */
  SB_WARMUP_CUT_OUT, /* the thermal switch opened */
  SB_WARMUP_OPEN     /* none of these after SB_WARMUP_SIMULATED_MAX repeats */
};

struct sb_warmup {
  enum sb_warmup_end end;
  long long repeat_count; /* up to the end, those passed over included */
  int simulated_count;    /* of them */
  double end_s;         /* since the first start: when the limit was passed, the switch opened, the last repeat ended */
  double peak_c;        /* of the winding in the last repeat */
  double least_start_c; /* of the winding, over the last block: apart when the machine acts on its own warmth */
  double greatest_start_c; /* likewise */
  struct sb_warmth start;  /* of the last repeat */
  struct sb_warmth finish; /* its end */
  struct sb_model model;   /* the last repeat's: the scenario with this start; its tables stay the scenario's */
};

/* Needs a model whose winding is present. locked_gear as in struct sb_run_options. Fails as sb_run() does. */
enum sb_status sb_warmup_run(const struct sb_model *model, int locked_gear, struct sb_warmup *out,
                             struct sb_error *err);

/* Says in words what came of it; as a section of a summary. */
void sb_warmup_write_text(FILE *out, const struct sb_warmup *warmup);

/* The same as the member "until_warm" of an open object. */
void sb_warmup_put_json(struct sb_json *json, const struct sb_warmup *warmup);

#endif
