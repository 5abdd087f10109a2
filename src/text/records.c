// SPDX-License-Identifier: GPL-3.0-or-later
/* records.c - looking up what is described; the records themselves stand in records_*.c. */
#include "text/records.h"

#include <string.h>

const struct sb_record *sb_records_find(const struct sb_record *const *list, const char *name)
{
  while (*list != NULL && strcmp((*list)->name, name) != 0) list++;
  return *list;
}

static bool is_end(const struct sb_member *member)
{
  return member->name == NULL && member->kind != SB_HOLDS_MEMBERS;
}

const struct sb_member *sb_records_member(const struct sb_record *record, const char *name)
{
  for (const struct sb_member *m = record->members; !is_end(m); m++) {
    const struct sb_member *found = m->kind == SB_HOLDS_MEMBERS  ? sb_records_member(m->record, name)
                                    : strcmp(m->name, name) == 0 ? m
                                                                 : NULL;
    if (found != NULL) return found;
  }
  return NULL;
}

bool sb_records_each(const struct sb_record *record, bool (*take)(void *context, const struct sb_member *member),
                     void *context)
{
  for (const struct sb_member *m = record->members; !is_end(m); m++) {
    const bool goes_on = m->kind == SB_HOLDS_MEMBERS ? sb_records_each(m->record, take, context) : take(context, m);
    if (!goes_on) return false;
  }
  return true;
}

/* Endings of names, the longer ones first. */
static const struct {
  const char *ending, *unit;
} units[] = {{"_nms2_rad2", "N.m.s2/rad2"},
             {"_nms_rad", "N.m.s/rad"},
             {"_nm_rad", "N.m/rad"},
             {"_vs_rad", "V.s/rad"},
             {"_nm_a", "N.m/A"},
             {"_kg_m2", "kg.m2"},
             {"_rad_s", "rad/s"},
             {"_m_s", "m/s"},
             {"_n_s", "N.s"},
             {"_per_k", "1/K"},
             {"_nms", "N.m.s"},
             {"_turns", "turns"},
             {"_ohm", "ohm"},
             {"_pct", "%"},
             {"_rpm", "rpm"},
             {"_deg", "degrees"},
             {"_rad", "rad"},
             {"_nm", "N.m"},
             {"_ah", "A.h"},
             {"_as", "A.s"},
             {"_kg", "kg"},
             {"_si", "of the SI"},
             {"_s", "s"},
             {"_v", "V"},
             {"_a", "A"},
             {"_c", "degrees Celsius"},
             {"_j", "J"},
             {"_w", "W"},
             {"_m", "m"},
             {"_n", "N"}};

const char *sb_records_unit(const struct sb_member *member)
{
  const bool is_measured = member->kind == SB_HOLDS_NUMBER || member->kind == SB_HOLDS_NUMBERS;
  const size_t length = strlen(member->name);
  for (size_t k = 0; is_measured && k < sizeof units / sizeof *units; k++) {
    const size_t end = strlen(units[k].ending);
    if (length > end && strcmp(member->name + length - end, units[k].ending) == 0) return units[k].unit;
  }
  return NULL;
}

const char *sb_records_kind_words(const struct sb_member *member)
{
  switch (member->kind) {
    case SB_HOLDS_NUMBER: return "number";
    case SB_HOLDS_WHOLE: return "whole number";
    case SB_HOLDS_FLAG: return "flag";
    case SB_HOLDS_TEXT: return "text";
    case SB_HOLDS_OBJECT: return "object";
    case SB_HOLDS_LIST: return "list of objects";
    case SB_HOLDS_NUMBERS: return "list of numbers";
    case SB_HOLDS_TEXTS: return "list of texts";
    case SB_HOLDS_MEMBERS: break;
  }
  return "";
}
