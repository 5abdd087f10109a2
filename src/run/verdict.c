// SPDX-License-Identifier: GPL-3.0-or-later
/* verdict.c - names of verdicts, and which function explains which. */
#include "shiftband/verdict.h"

#include "run/explain.h"

const char *sb_verdict_name(enum sb_verdict_kind kind)
{
#define VERDICT_NAME(code, name, explain) \
  if (kind == code) return name;
  SB_VERDICT_LIST(VERDICT_NAME)
#undef VERDICT_NAME
  return "";
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
#define VERDICT_EXPLAIN(code, name, function) function,
      SB_VERDICT_LIST(VERDICT_EXPLAIN)
#undef VERDICT_EXPLAIN
  };
  struct sb_explaining to = {verdict, model, closed, out};
  *out = (struct sb_verdict_words){.text = ""};
  explain[verdict->kind](&to);
}
