// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/facts.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/units.h"

static void write_value(struct sb_lines *lines, const struct sb_fact *fact, const void *member)
{
  switch (fact->kind) {
    case SB_FACT_INT: sb_lines_add(lines, "%d", *(const int *)member); break;
    case SB_FACT_LONG: sb_lines_add(lines, "%ld", *(const long *)member); break;
    case SB_FACT_NUMBER: sb_lines_add(lines, "%.17g", *(const double *)member); break;
    case SB_FACT_FLAG: sb_lines_add(lines, "%d", *(const bool *)member); break;
    case SB_FACT_CHARS: sb_lines_add(lines, "%s", (const char *)member); break;
  }
}

void sb_facts_write(struct sb_lines *lines, const char *prefix, const struct sb_fact *facts, const void *record)
{
  for (const struct sb_fact *fact = facts; fact->name != NULL; fact++) {
    sb_lines_add(lines, "%s%s ", prefix, fact->name);
    write_value(lines, fact, (const char *)record + fact->offset);
    sb_lines_add(lines, "\n");
  }
}

/* The value behind a name and its length; NULL: no whole line has it. */
static const char *find(const char *text, const char *prefix, const char *name, size_t *length)
{
  char key[80];
  const int key_length = snprintf(key, sizeof key, "%s%s ", prefix, name);
  for (const char *line = text; line != NULL && *line != 0;) {
    const char *end = strchr(line, '\n');
    if (end != NULL && strncmp(line, key, (size_t)key_length) == 0) {
      *length = (size_t)(end - line) - (size_t)key_length;
      return line + key_length;
    }
    line = end != NULL ? end + 1 : NULL;
  }
  return NULL;
}

static bool read_whole(const char *text, long *out)
{
  char *end;
  *out = strtol(text, &end, 10);
  return end > text && *end == '\n';
}

static bool read_number(const char *text, double *out)
{
  const char *end = sb_units_parse_number(text, out);
  return end != NULL && *end == '\n';
}

static bool read_value(const struct sb_fact *fact, const char *value, size_t length, void *member)
{
  long whole = 0;
  if (fact->kind == SB_FACT_CHARS) {
    if (length >= fact->size) return false;
    memcpy(member, value, length);
    ((char *)member)[length] = 0;
    return true;
  }
  if (fact->kind == SB_FACT_NUMBER) return read_number(value, member);
  if (!read_whole(value, &whole)) return false;
  if (fact->kind == SB_FACT_INT) *(int *)member = (int)whole;
  if (fact->kind == SB_FACT_LONG) *(long *)member = whole;
  if (fact->kind == SB_FACT_FLAG) *(bool *)member = whole != 0;
  return true;
}

bool sb_facts_read(const char *text, const char *prefix, const struct sb_fact *facts, void *record)
{
  for (const struct sb_fact *fact = facts; fact->name != NULL; fact++) {
    size_t length = 0;
    const char *value = find(text, prefix, fact->name, &length);
    if (value == NULL || !read_value(fact, value, length, (char *)record + fact->offset)) return false;
  }
  return true;
}
