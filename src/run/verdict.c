// SPDX-License-Identifier: GPL-3.0-or-later
/* verdict.c - names of verdicts, and which function explains which. */
#include "shiftband/verdict.h"

#include "run/explain.h"

/* A verdict that nobody describes does not compile. */
#define VERDICT_IS_DESCRIBED(code, name, explain, meaning, cure) \
  _Static_assert(sizeof(meaning) > 20 && sizeof(cure) > 20, "a verdict has a meaning and a cure");
SB_VERDICT_LIST(VERDICT_IS_DESCRIBED)
#undef VERDICT_IS_DESCRIBED

static const struct facts {
  const char *name, *meaning, *cure;
} facts[SB_VERDICT_KIND_COUNT] = {
#define VERDICT_FACTS(code, name, explain, meaning, cure) [code] = {name, meaning, cure},
    SB_VERDICT_LIST(VERDICT_FACTS)
#undef VERDICT_FACTS
};

static const struct facts *facts_of(enum sb_verdict_kind kind)
{
  static const struct facts none = {"", "", ""};
  return (unsigned)kind < SB_VERDICT_KIND_COUNT ? &facts[kind] : &none;
}

const char *sb_verdict_name(enum sb_verdict_kind kind)
{
  return facts_of(kind)->name;
}

const char *sb_verdict_meaning(enum sb_verdict_kind kind)
{
  return facts_of(kind)->meaning;
}

const char *sb_verdict_cure(enum sb_verdict_kind kind)
{
  return facts_of(kind)->cure;
}

enum sb_verdict_kind sb_verdict_of_cause(enum sb_cause cause)
{
  return cause == SB_CAUSE_LOAD ? SB_VERDICT_BUSY_SHIFTING : SB_VERDICT_HUNTING;
}

const char *sb_verdict_cause_name(enum sb_cause cause)
{
  switch (cause) {
    case SB_CAUSE_THRESHOLDS: return "threshold-driven";
    case SB_CAUSE_DWELL: return "dwell-driven";
    case SB_CAUSE_NONE:
    case SB_CAUSE_LOAD: break;
  }
  return NULL;
}

void sb_verdict_explain(const struct sb_verdict *verdict, const struct sb_model *model,
                        const struct sb_closed_form *closed, struct sb_verdict_words *out)
{
  static void (*const explain[])(struct sb_explaining * to) = {
#define VERDICT_EXPLAIN(code, name, function, ...) function,
      SB_VERDICT_LIST(VERDICT_EXPLAIN)
#undef VERDICT_EXPLAIN
  };
  struct sb_explaining to = {verdict, model, closed, out};
  *out = (struct sb_verdict_words){.text = ""};
  explain[verdict->kind](&to);
}
