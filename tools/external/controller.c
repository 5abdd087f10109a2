// SPDX-License-Identifier: 0BSD
/*
 * controller.c - a controller of your own, as a start: the same hysteresis as the built-in one, written anew.
 *
 *   cc -shared -fPIC -Iinclude -o own.so tools/external/controller.c
 *   build/shiftband run --controller ./own.so scenarios/tray-cart.yaml
 *
 * Change it as you like: a rate of fall instead of a level, another band on a downhill, gears by a table. What is asked
 * of it is one function that returns the gear wanted, a neighbour of the last one at most.
 */
#include "shiftband/external_controller.h"

/* What is kept from sample to sample. It lies in the memory that comes with each sample, zero when a run begins; plain
 * static variables would do as well. */
struct kept {
  int32_t is_started;
  uint32_t wait;  /* samples in which nothing is decided */
  uint32_t below; /* readings in a row below downshift_below */
  uint32_t above; /* and above upshift_above */
};

int32_t sb_own_controller(const struct sb_own_input *input)
{
  struct kept *kept = input->memory;
  const int32_t gear = input->gear, lower = gear - 2, higher = gear - 1; /* indices of the pairs beside this gear */

  if (!kept->is_started) {
    kept->is_started = 1;
    kept->wait = input->start_delay_samples;
  }

  /* After the start, after a command and in neutral nothing is counted. */
  int32_t may_decide = input->is_deciding;
  if (kept->wait > 0) {
    kept->wait--;
    may_decide = 0;
  }

  /* Is the reading beyond a threshold that has a gear behind it, and for the how-manieth time? */
  const int32_t is_below = may_decide && gear > 1 && input->reading < input->downshift_below[lower];
  const int32_t is_above = may_decide && gear < input->gear_count && input->reading > input->upshift_above[higher];
  kept->below = is_below ? kept->below + 1 : 0;
  kept->above = is_above ? kept->above + 1 : 0;

  int32_t wanted = gear;
  if (kept->below >= input->debounce_samples) {
    wanted = gear - 1;
  } else if (kept->above >= input->debounce_samples) {
    wanted = gear + 1;
  }

  /* A command begins the dwell, and its own sample is the first of it. */
  if (wanted != gear) {
    kept->wait = input->dwell_samples > 0 ? input->dwell_samples - 1 : 0;
    kept->below = kept->above = 0;
  }
  return wanted;
}
