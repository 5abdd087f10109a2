// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/unit_pattern.h"

#include <stdio.h>
#include <string.h>

#define PREFIX "[GMkcmunµμ]?"
#define PRODUCT "(?:[.*·-]| +)"

static bool is_same(const struct sb_dimension *a, const struct sb_dimension *b)
{
  return memcmp(a, b, sizeof *a) == 0;
}

/* The symbol of a name, which may begin with a prefix. */
static bool find(const char *name, size_t length, struct sb_unit_symbol *out)
{
  for (size_t skip = 0; skip < 2 && skip < length; skip++) {
    for (size_t k = 0; sb_units_symbol_at(k, out); k++) {
      const bool is_it = strlen(out->name) == length - skip && memcmp(out->name, name + skip, length - skip) == 0;
      if (is_it && (skip == 0 || out->takes_prefix)) return true;
    }
  }
  return false;
}

static void add(char *pattern, const char *text)
{
  const size_t used = strlen(pattern);
  snprintf(pattern + used, SB_UNIT_PATTERN_SIZE - used, "%s", text);
}

static void add_symbol(char *pattern, const struct sb_unit_symbol *symbol, bool is_first)
{
  if (!is_first) add(pattern, "|");
  if (symbol->takes_prefix) add(pattern, PREFIX);
  add(pattern, symbol->name);
}

/* All symbols of a kind; of a force masses, too, for their weight. */
static void add_kind(char *pattern, const struct sb_dimension *kind)
{
  static const struct sb_dimension mass = {0, 1, 0, 0, 0, 0}, force = {1, 1, -2, 0, 0, 0};
  struct sb_unit_symbol symbol;
  bool is_first = true;
  add(pattern, "(?:");
  for (size_t k = 0; sb_units_symbol_at(k, &symbol); k++) {
    const bool is_kind =
        is_same(&symbol.dimension, kind) || (is_same(kind, &force) && is_same(&symbol.dimension, &mass));
    if (!is_kind) continue;
    add_symbol(pattern, &symbol, is_first);
    is_first = false;
  }
  add(pattern, ")");
}

/* An exponent as it may be written; *p is moved behind it. */
static void add_exponent(char *pattern, const char **p)
{
  char text[32];
  if (**p < '1' || **p > '9') return;
  snprintf(text, sizeof text, **p == '2' ? "(?:\\^?2|²)" : **p == '3' ? "(?:\\^?3|³)" : "\\^?%c", **p);
  add(pattern, text);
  ++*p;
}

/* One unit that texts offer, such as N.m.s/rad. */
static void add_unit(char *pattern, const char *unit, size_t length)
{
  const char *end = unit + length;
  bool is_force = false;
  for (const char *p = unit; p < end;) {
    struct sb_unit_symbol symbol;
    const size_t name = strcspn(p, "./123456789, ");
    if (p[0] == '1' && p[1] == '/') {
      add(pattern, "1?");
      p++;
    } else if (*p == '/') {
      add(pattern, "/");
      p++;
    } else if (*p == '.') {
      add(pattern, is_force ? "(?:" PRODUCT ")?" : PRODUCT); /* Nm, kgfcm */
      p++;
    } else if (name > 0 && find(p, name, &symbol)) {
      add_kind(pattern, &symbol.dimension);
      is_force = symbol.dimension.kilogram == 1 && symbol.dimension.second == -2 && symbol.dimension.metre == 1;
      p += name;
      add_exponent(pattern, &p);
    } else {
      return;
    }
  }
}

/* The same with each symbol's kind alone, to know units that lead to one pattern. */
static bool is_listed(char *shapes, const char *unit)
{
  char with_bars[SB_UNIT_PATTERN_SIZE];
  snprintf(with_bars, sizeof with_bars, "\n%s\n", unit);
  if (strstr(shapes, with_bars) != NULL) return true;
  add(shapes, with_bars);
  return false;
}

/* Units that people write and texts do not offer, each of a shape of its own. */
static const char *more_units(enum sb_quantity quantity)
{
  switch (quantity) {
    case SB_SPEED: return "1/min";
    case SB_VISCOUS: return "N.m/rad/s";
    case SB_CHARGE: return "A.h";
    case SB_QUADRATIC: return "N.m.s2";
    default: return "";
  }
}

static void add_units(char *pattern, char *shapes, const char *offered)
{
  for (const char *p = offered; *p != 0; p += strspn(p, ", ")) {
    const size_t length = strcspn(p, ",");
    char own[SB_UNIT_PATTERN_SIZE] = "";
    add_unit(own, p, length);
    if (own[0] != 0 && !is_listed(shapes, own)) {
      if (pattern[0] != 0) add(pattern, "|");
      add(pattern, own);
    }
    p += length;
  }
}

void sb_unit_pattern_write(enum sb_quantity quantity, char pattern[SB_UNIT_PATTERN_SIZE])
{
  char shapes[SB_UNIT_PATTERN_SIZE] = "";
  pattern[0] = 0;
  if (quantity == SB_RATIO) {
    add(pattern, "%?");
    return;
  }
  add_units(pattern, shapes, sb_units_offered(quantity));
  add_units(pattern, shapes, more_units(quantity));
  if (quantity == SB_TEMPERATURE) add(pattern, "|C|degC|°C");
}
