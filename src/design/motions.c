// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/motions.h"

#include <stdlib.h>
#include <string.h>

#include "base/arena.h"

/* What the motor and the load see. */
static uint64_t hash_of(const struct sb_candidate *candidate)
{
  const struct sb_box *box = &candidate->box;
  const int form[] = {candidate->combination, box->stages, box->speeds, box->idler > 0 ? 1 + box->idler_speed : 0};
  const uint64_t hash = sb_tasks_hash_bytes(SB_TASKS_HASH_START, form, sizeof form);
  return sb_tasks_hash_bytes(hash, candidate->ratios, (size_t)box->speeds * sizeof candidate->ratios[0]);
}

static bool is_same(const struct sb_candidate *one, const struct sb_candidate *other)
{
  const struct sb_box *a = &one->box, *b = &other->box;
  if (one->combination != other->combination || a->stages != b->stages || a->speeds != b->speeds) return false;
  if ((a->idler > 0) != (b->idler > 0) || (a->idler > 0 && a->idler_speed != b->idler_speed)) return false;
  for (int s = 0; s < a->speeds; s++) {
    if (one->ratios[s] != other->ratios[s]) return false;
  }
  return true;
}

/* Whether the other one is better for the same motion. */
static bool is_better(const struct sb_candidate *other, const struct sb_candidate *one)
{
  if (sb_box_tooth_load_is_less(&other->tooth, &one->tooth)) return true;
  if (sb_box_tooth_load_is_less(&one->tooth, &other->tooth)) return false;
  return sb_box_hunting_teeth(&other->box) > sb_box_hunting_teeth(&one->box);
}

/* The slot of a motion: its own, or the free one where it would be. */
static size_t slot_of(const struct sb_motions *motions, const struct sb_candidate *candidate)
{
  size_t slot = (size_t)hash_of(candidate) & (motions->slot_count - 1);
  while (motions->slots[slot] != 0 && !is_same(&motions->items[motions->slots[slot] - 1], candidate)) {
    slot = (slot + 1) & (motions->slot_count - 1);
  }
  return slot;
}

static bool make_room(struct sb_motions *motions)
{
  if (2 * (motions->count + 1) < motions->slot_count) return true;
  uint32_t *old = motions->slots;
  const size_t count = motions->slot_count > 0 ? 2 * motions->slot_count : 1024;
  motions->slots = calloc(count, sizeof *motions->slots);
  if (motions->slots == NULL) {
    motions->slots = old;
    return false;
  }
  motions->slot_count = count;
  for (size_t k = 0; k < motions->count; k++) motions->slots[slot_of(motions, &motions->items[k])] = (uint32_t)k + 1;
  free(old);
  return true;
}

enum sb_kept sb_motions_add(struct sb_motions *motions, const struct sb_candidate *candidate,
                            struct sb_candidate *loser)
{
  if (!make_room(motions)) return SB_KEPT_NO_MEMORY;
  const size_t slot = slot_of(motions, candidate);
  if (motions->slots[slot] != 0) {
    struct sb_candidate *item = &motions->items[motions->slots[slot] - 1];
    motions->same_count += 1.0;
    const bool is_new = is_better(candidate, item);
    *loser = is_new ? *item : *candidate;
    if (is_new) *item = *candidate;
    return SB_KEPT_SAME;
  }
  if (!sb_grow(&motions->items, &motions->room, motions->count, sizeof motions->items[0])) return SB_KEPT_NO_MEMORY;
  motions->items[motions->count++] = *candidate;
  motions->slots[slot] = (uint32_t)motions->count;
  return SB_KEPT_NEW;
}

void sb_motions_clear(struct sb_motions *motions)
{
  free(motions->items);
  free(motions->slots);
  *motions = (struct sb_motions){.count = 0};
}
