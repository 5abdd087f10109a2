// SPDX-License-Identifier: GPL-3.0-or-later
/* log_facts.h - --column, --unit and --fill of the commands that read logs. */
#ifndef SHIFTBAND_CLI_LOG_FACTS_H
#define SHIFTBAND_CLI_LOG_FACTS_H

#include "shiftband/log.h"

enum { SB_LOG_FACT_MAX = 32, SB_LOG_FACT_SIZE = 128, SB_LOG_COMPLAINT_SIZE = 256 };

enum sb_log_fact_kind { SB_LOG_FACT_COLUMN, SB_LOG_FACT_UNIT, SB_LOG_FACT_FILL, SB_LOG_FACT_KINDS };

#define SB_LOG_FACTS_HELP                                                                              \
  "      --column NAME=TEXT  the log's name for a quantity, as --column speed='RPM (raw)'; may be\n"   \
  "                          given again, as the next two\n"                                           \
  "      --unit COLUMN=UNIT  unit of a column, as --unit speed=rpm\n"                                  \
  "      --fill NAME=VALUE   a column of one value for logs without it, as --fill added_inertia='50\n" \
  "                          g.cm2'\n"

/* What was said, with room for the names; the texts are those of the arguments. */
struct sb_log_facts {
  size_t counts[SB_LOG_FACT_KINDS];
  struct sb_column_fact items[SB_LOG_FACT_KINDS][SB_LOG_FACT_MAX];
  char names[SB_LOG_FACT_KINDS][SB_LOG_FACT_MAX][SB_LOG_FACT_SIZE];
};

/* Takes NAME=TEXT. False, with a complaint, where it is none or no log has such a quantity. */
bool sb_log_facts_add(struct sb_log_facts *facts, enum sb_log_fact_kind kind, const char *text,
                      char complaint[SB_LOG_COMPLAINT_SIZE]);

/* Says that decimal commas of a table were read as points. */
void sb_log_facts_note_commas(const char *path);

/* As the reader of logs takes it. */
struct sb_column_facts sb_log_facts_of(const struct sb_log_facts *facts);

#endif
