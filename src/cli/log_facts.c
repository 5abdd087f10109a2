// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/log_facts.h"

#include "base/nearest.h"
#include "cli/command.h"

static const char *const option_names[SB_LOG_FACT_KINDS] = {"column", "unit", "fill"};

/* A column's unit may be given by any name; the others need a quantity that a log can have. */
static int check_quantity(const char *option, const char *name)
{
  const char *names[4 * SB_LOG_COLUMN_COUNT] = {NULL};
  enum sb_quantity kind;
  if (sb_log_knows(name, &kind)) return SB_EXIT_DONE;
  for (int k = 0; sb_log_quantity_name(k) != NULL; k++) names[k] = sb_log_quantity_name(k);
  const char *nearest = sb_nearest_word(name, names);
  return sb_command_usage("--%s: needs a quantity such as time, speed or current, found \"%s\"%s%s%s", option, name,
                          nearest != NULL ? "; did you mean " : "", nearest != NULL ? nearest : "",
                          nearest != NULL ? "?" : "");
}

static int read_fact(struct sb_log_facts *facts, int kind, const char *word)
{
  const char *option = option_names[kind];
  size_t *count = &facts->counts[kind];
  if (*count == SB_LOG_FACT_MAX) return sb_command_usage("--%s may be given at most %d times", option, SB_LOG_FACT_MAX);
  char *name = facts->names[kind][*count];
  const char *text = sb_options_split(word, name, SB_LOG_FACT_SIZE);
  if (text == NULL) return sb_command_usage("--%s needs NAME=TEXT, found \"%s\"", option, word);
  facts->items[kind][(*count)++] = (struct sb_column_fact){name, text};
  return kind == SB_LOG_FACT_UNIT ? SB_EXIT_DONE : check_quantity(option, name);
}

int sb_log_facts_read(struct sb_log_facts *facts)
{
  int code = SB_EXIT_DONE;
  for (int kind = 0; kind < SB_LOG_FACT_KINDS; kind++) {
    const struct sb_option_list *given = &facts->given[kind];
    for (size_t k = 0; code == SB_EXIT_DONE && k < given->count; k++) code = read_fact(facts, kind, given->items[k]);
  }
  return code;
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
