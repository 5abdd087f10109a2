// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/log_facts.h"

#include <stdio.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/options.h"

static const char *const option_names[SB_LOG_FACT_KINDS] = {"column", "unit", "fill"};

/* A column's unit may be given by any name; the others need a quantity that a log can have. */
static bool check_quantity(const char *option, const char *name, char complaint[SB_LOG_COMPLAINT_SIZE])
{
  const char *names[4 * SB_LOG_COLUMN_COUNT] = {NULL};
  enum sb_quantity kind;
  if (sb_log_knows(name, &kind)) return true;
  for (int k = 0; sb_log_quantity_name(k) != NULL; k++) names[k] = sb_log_quantity_name(k);
  const char *nearest = sb_nearest_word(name, names);
  snprintf(complaint, SB_LOG_COMPLAINT_SIZE,
           "--%s: needs a quantity such as time, speed or current, found \"%s\"%s%s%s", option, name,
           nearest != NULL ? "; did you mean " : "", nearest != NULL ? nearest : "", nearest != NULL ? "?" : "");
  return false;
}

bool sb_log_facts_add(struct sb_log_facts *facts, enum sb_log_fact_kind kind, const char *text,
                      char complaint[SB_LOG_COMPLAINT_SIZE])
{
  const char *option = option_names[kind], *equals = strchr(text, '=');
  size_t *count = &facts->counts[kind];
  if (equals == NULL || equals == text || equals[1] == 0) {
    snprintf(complaint, SB_LOG_COMPLAINT_SIZE, "--%s needs NAME=TEXT, found \"%.100s\"", option, text);
    return false;
  }
  const size_t length = (size_t)(equals - text);
  if (*count == SB_LOG_FACT_MAX || length >= SB_LOG_FACT_SIZE) {
    snprintf(complaint, SB_LOG_COMPLAINT_SIZE, "--%s: needs at most %d short names", option, SB_LOG_FACT_MAX);
    return false;
  }
  char *name = facts->names[kind][*count];
  memcpy(name, text, length);
  name[length] = 0;
  facts->items[kind][(*count)++] = (struct sb_column_fact){name, equals + 1};
  return kind == SB_LOG_FACT_UNIT || check_quantity(option, name, complaint);
}

struct sb_column_facts sb_log_facts_of(const struct sb_log_facts *facts)
{
  return (struct sb_column_facts){.rename_count = facts->counts[SB_LOG_FACT_COLUMN],
                                  .renames = facts->items[SB_LOG_FACT_COLUMN],
                                  .unit_count = facts->counts[SB_LOG_FACT_UNIT],
                                  .units = facts->items[SB_LOG_FACT_UNIT],
                                  .fill_count = facts->counts[SB_LOG_FACT_FILL],
                                  .fills = facts->items[SB_LOG_FACT_FILL]};
}

void sb_log_facts_note_commas(const char *path)
{
  fprintf(stderr, "%s: decimal commas are read as points\n", sb_log_name(path));
}
