// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * facts.h - what a study is, as lines of text "NAME VALUE", and back: shards and journals carry it with their results.
 *
 * One table says which members of a struct are kept. Text must not hold line feeds; lines may come in any order, and a
 * line that is not known is left alone.
 */
#ifndef SHIFTBAND_STUDY_FACTS_H
#define SHIFTBAND_STUDY_FACTS_H

#include "shiftband/tasks.h"

enum sb_fact_kind { SB_FACT_INT, SB_FACT_LONG, SB_FACT_NUMBER, SB_FACT_FLAG, SB_FACT_CHARS };

struct sb_fact {
  const char *name; /* NULL ends a table */
  enum sb_fact_kind kind;
  size_t offset, size; /* of the member; SB_FACT_CHARS: char [size] */
};

#define SB_FACT(kind, type, member)                                                  \
  {                                                                                  \
#member, kind, offsetof(struct type, member), sizeof(((struct type *)0)->member) \
  }
#define SB_FACT_END         \
  {                         \
    NULL, SB_FACT_INT, 0, 0 \
  }

/* Each name gets `prefix` in front. */
void sb_facts_write(struct sb_lines *lines, const char *prefix, const struct sb_fact *facts, const void *record);

/* False when one of the facts is missing or does not read. */
bool sb_facts_read(const char *text, const char *prefix, const struct sb_fact *facts, void *record);

#endif
