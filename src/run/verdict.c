// SPDX-License-Identifier: GPL-3.0-or-later
/* verdict.c - names of verdicts, and what their explanations share. */
#include "shiftband/verdict.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "run/explain.h"

const char *sb_verdict_name(enum sb_verdict_kind kind)
{
#define VERDICT_NAME(code, name, explain) \
  if (kind == code) return name;
  SB_VERDICT_LIST(VERDICT_NAME)
#undef VERDICT_NAME
  return "";
}

static int is_same_name(const char *a, const char *b)
{
  for (; *a != 0 && *b != 0; a++, b++) {
    const char ca = *a == '-' ? ' ' : *a, cb = *b == '-' ? ' ' : *b;
    if (ca != cb) return 0;
  }
  return *a == *b;
}

int sb_verdict_find(const char *name)
{
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (is_same_name(name, sb_verdict_name((enum sb_verdict_kind)kind))) return kind;
  }
  return -1;
}

enum sb_verdict_kind sb_verdict_of_cause(enum sb_cause cause)
{
  return cause == SB_CAUSE_LOAD ? SB_VERDICT_BUSY_SHIFTING : SB_VERDICT_HUNTING;
}

const char *sb_cause_name(enum sb_cause cause)
{
  switch (cause) {
    case SB_CAUSE_THRESHOLDS: return "threshold-driven";
    case SB_CAUSE_DWELL: return "dwell-driven";
    case SB_CAUSE_NONE:
    case SB_CAUSE_LOAD: break;
  }
  return NULL;
}

void sb_explain_say(struct sb_explaining *to, const char *format, ...)
{
  struct sb_explanation *out = to->out;
  const size_t length = strlen(out->text);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(out->text + length, sizeof out->text - length, format, arguments);
  va_end(arguments);
}

void sb_explain_load(struct sb_explaining *to)
{
  const double least_nm = to->verdict->least_nm, greatest_nm = to->verdict->greatest_nm;
  if (greatest_nm - least_nm <= 0.005 * fmax(fabs(greatest_nm), fabs(least_nm))) {
    sb_explain_say(to, "the load of %.3g N.m", greatest_nm);
  } else {
    sb_explain_say(to, "the load of %.3g..%.3g N.m", least_nm, greatest_nm);
  }
}

void sb_explain_duration(struct sb_explaining *to)
{
  sb_explain_say(to, " from %.4g s on, for %.3g s", to->verdict->first_s, to->verdict->duration_s);
  if (to->verdict->count > 1) sb_explain_say(to, " in %zu spells", to->verdict->count);
}

const char *sb_explain_gear(const struct sb_explaining *to, int gear)
{
  return to->model->gearbox.gears[gear - 1].name;
}

void sb_explain_cure(struct sb_explaining *to, const char *key, const char *bound, const char *value)
{
  struct sb_cure *cures = to->out->cures, *cure = &cures[to->out->cure_count];
  const bool is_first = to->out->cure_count == 0 || cure[-1].value[0] == 0;
  *cure = (struct sb_cure){.bound = bound};
  snprintf(cure->key, sizeof cure->key, "%s", key);
  if (value != NULL) {
    snprintf(cure->value, sizeof cure->value, "%s", value);
    sb_explain_say(to, "%s %s to %s%s%s", is_first ? "; set" : ", or", key, bound != NULL ? bound : "",
                   bound != NULL ? " " : "", value);
  }
  to->out->cure_count++;
}

void sb_verdict_explain(const struct sb_verdict *verdict, const struct sb_model *model,
                        const struct sb_closed_form *closed, struct sb_explanation *out)
{
  static void (*const explain[])(struct sb_explaining * to) = {
#define VERDICT_EXPLAIN(code, name, function) function,
      SB_VERDICT_LIST(VERDICT_EXPLAIN)
#undef VERDICT_EXPLAIN
  };
  struct sb_explaining to = {verdict, model, closed, out};
  *out = (struct sb_explanation){.text = ""};
  explain[verdict->kind](&to);
}
