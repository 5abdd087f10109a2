// SPDX-License-Identifier: GPL-3.0-or-later
/* log_facts.h - --column, --unit and --fill of the commands that read logs. */
#ifndef SHIFTBAND_CLI_LOG_FACTS_H
#define SHIFTBAND_CLI_LOG_FACTS_H

#include "cli/options.h"
#include "shiftband/log.h"

enum { SB_LOG_FACT_MAX = 32, SB_LOG_FACT_SIZE = 128 };

enum sb_log_fact_kind { SB_LOG_FACT_COLUMN, SB_LOG_FACT_UNIT, SB_LOG_FACT_FILL, SB_LOG_FACT_KINDS };

/* Lines of a table of options. */
// clang-format off
#define SB_LOG_FACTS_OPTIONS(type, facts)                                                                       \
  {"column", 0, "NAME=TEXT",                                                                                    \
   "the log's name for a quantity, as --column speed='RPM (raw)'; may be given more than once, as the next two", \
   SB_INTO_LIST(type, facts.given[SB_LOG_FACT_COLUMN])},                                                        \
  {"unit", 0, "COLUMN=UNIT", "unit of a column, as --unit speed=rpm",                                           \
   SB_INTO_LIST(type, facts.given[SB_LOG_FACT_UNIT])},                                                          \
  {"fill", 0, "NAME=VALUE",                                                                                     \
   "a column of one value for logs without it, as --fill added_inertia='50 g.cm2'",                             \
   SB_INTO_LIST(type, facts.given[SB_LOG_FACT_FILL])}
// clang-format on

/* What was said, with room for the names; the texts are those of the arguments. */
struct sb_log_facts {
  struct sb_option_list given[SB_LOG_FACT_KINDS];
  size_t counts[SB_LOG_FACT_KINDS];
  struct sb_column_fact items[SB_LOG_FACT_KINDS][SB_LOG_FACT_MAX];
  char names[SB_LOG_FACT_KINDS][SB_LOG_FACT_MAX][SB_LOG_FACT_SIZE];
};

/* Reads what was given: each must be NAME=TEXT, of a quantity that a log can have. Returns an exit code, told. */
int sb_log_facts_read(struct sb_log_facts *facts);

/* As the reader of logs takes it. */
struct sb_column_facts sb_log_facts_of(const struct sb_log_facts *facts);

#endif
