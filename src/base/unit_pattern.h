// SPDX-License-Identifier: GPL-3.0-or-later
/* unit_pattern.h - units as a regular expression, for who checks a scenario without this program (ECMA 262). */
#ifndef SHIFTBAND_BASE_UNIT_PATTERN_H
#define SHIFTBAND_BASE_UNIT_PATTERN_H

#include <stdbool.h>
#include <stddef.h>

#include "shiftband/units.h"

enum { SB_UNIT_PATTERN_SIZE = 16384 };

/* One of the symbols that units are made of; false behind the last. */
struct sb_unit_symbol {
  const char *name;
  struct sb_dimension dimension;
  bool takes_prefix;
};
bool sb_units_symbol_at(size_t index, struct sb_unit_symbol *out);

/*
 * A pattern of the units that a quantity takes: of each unit that texts offer, with every symbol of the same kind in place of
 * its own (in for m), every prefix and every sign of a product. "" where a bare number will do.
 */
void sb_unit_pattern_write(enum sb_quantity quantity, char pattern[SB_UNIT_PATTERN_SIZE]);

#endif
