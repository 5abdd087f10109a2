// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/shifter.h"

#include <stddef.h>
#include <string.h>

#include "machine/shifter/kinds.h"

const struct sb_shifter_ops *const sb_shifter_kinds[] = {
    &sb_shifter_swing_arm,
    &sb_shifter_selector,
    &sb_shifter_clutch,
    NULL,
};

const struct sb_shifter_ops *sb_shifter_kind_find(const char *name)
{
  for (size_t i = 0; sb_shifter_kinds[i] != NULL; i++) {
    if (strcmp(sb_shifter_kinds[i]->name, name) == 0) return sb_shifter_kinds[i];
  }
  return NULL;
}
