// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/class.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

static const char passes[] = "passes";

static const char letters[] = {
#define CLASS_LETTER(code, letter, words) letter,
    SB_MAP_CLASS_LIST(CLASS_LETTER)
#undef CLASS_LETTER
};

static const char *const class_words[] = {
#define CLASS_WORDS(code, letter, words) words,
    SB_MAP_CLASS_LIST(CLASS_WORDS)
#undef CLASS_WORDS
};

void sb_map_take_cause(struct sb_map_verdict *verdict, enum sb_cause cause)
{
  if (cause == SB_CAUSE_NONE) return;
  verdict->kinds |= 1U << sb_verdict_of_cause(cause);
  if (verdict->cause == SB_CAUSE_NONE || cause < verdict->cause) verdict->cause = cause;
}

struct sb_map_verdict sb_map_verdict_of(const struct sb_monitor *monitor)
{
  struct sb_map_verdict verdict = {0, SB_CAUSE_NONE};
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *own = &monitor->verdicts[i];
    verdict.kinds |= 1U << own->kind;
    sb_map_take_cause(&verdict, own->cause);
  }
  return verdict;
}

bool sb_map_verdict_take(unsigned kinds, int cause, struct sb_map_verdict *out)
{
  if (kinds >= 1U << SB_VERDICT_KIND_COUNT || cause < SB_CAUSE_NONE || cause > SB_CAUSE_LOAD) return false;
  *out = (struct sb_map_verdict){kinds, (enum sb_cause)cause};
  return true;
}

struct sb_map_figures sb_map_figures_of(const struct sb_run_result *result)
{
  return (struct sb_map_figures){.shift_count = (long)result->monitor.shift_count,
                                 .output_turns = result->end.output_turns,
                                 .given_j = result->sums.energy.given,
                                 .greatest_torque_nm = fabs(result->sums.output_torque_nm.value),
                                 .way_rad = result->sums.way_rad,
                                 .end_s = result->end.time_s};
}

int sb_map_verdict_worst(const struct sb_map_verdict *verdict)
{
  static const enum sb_verdict_kind order[] = {
      SB_VERDICT_STALL,      SB_VERDICT_REVERSED,      SB_VERDICT_RUNS_BACK,         SB_VERDICT_NOT_ENGAGED,
      SB_VERDICT_HUNTING,    SB_VERDICT_BUSY_SHIFTING, SB_VERDICT_DRIVE_CUT,         SB_VERDICT_OVERSPEED,
      SB_VERDICT_OVERHEATED, SB_VERDICT_OVERLOAD,      SB_VERDICT_CLUTCH_SLIPS,      SB_VERDICT_SLIPPING,
      SB_VERDICT_STUCK_LOW,  SB_VERDICT_OUT_OF_REACH,  SB_VERDICT_NEEDLESS_DOWNSHIFT};
  for (size_t k = 0; k < sizeof order / sizeof order[0]; k++) {
    if (verdict->kinds & (1U << order[k])) return (int)order[k];
  }
  return -1;
}

enum sb_map_class sb_map_class_of(const struct sb_map_verdict *verdict)
{
  static const enum sb_map_class classes[SB_VERDICT_KIND_COUNT] = {
      [SB_VERDICT_HUNTING] = SB_MAP_HUNTS_THRESHOLDS,
      [SB_VERDICT_BUSY_SHIFTING] = SB_MAP_SHIFTS_BUSILY,
      [SB_VERDICT_STALL] = SB_MAP_STALLS,
      [SB_VERDICT_STUCK_LOW] = SB_MAP_STUCK_LOW,
      [SB_VERDICT_NEEDLESS_DOWNSHIFT] = SB_MAP_NEEDLESS_DOWNSHIFT,
      [SB_VERDICT_OVERLOAD] = SB_MAP_OVERLOADS,
      [SB_VERDICT_NOT_ENGAGED] = SB_MAP_LATE,
      [SB_VERDICT_SLIPPING] = SB_MAP_SLIPS,
      [SB_VERDICT_OVERHEATED] = SB_MAP_OVERHEATS,
      [SB_VERDICT_DRIVE_CUT] = SB_MAP_DRIVE_CUT,
      [SB_VERDICT_REVERSED] = SB_MAP_REVERSED,
      [SB_VERDICT_RUNS_BACK] = SB_MAP_RUNS_BACK,
      [SB_VERDICT_OVERSPEED] = SB_MAP_OVERSPEED,
      [SB_VERDICT_CLUTCH_SLIPS] = SB_MAP_CLUTCH_SLIPS,
      [SB_VERDICT_OUT_OF_REACH] = SB_MAP_OUT_OF_REACH,
  };
  const int worst = sb_map_verdict_worst(verdict);
  if (worst < 0) return SB_MAP_PASSES;
  return worst == SB_VERDICT_HUNTING && verdict->cause == SB_CAUSE_DWELL ? SB_MAP_HUNTS_DWELL : classes[worst];
}

enum sb_map_class sb_map_class_of_run(const struct sb_map_verdict *verdict, const struct sb_map_figures *figures)
{
  const enum sb_map_class class = sb_map_class_of(verdict);
  return class == SB_MAP_PASSES && figures->shift_count == 0 ? SB_MAP_NEVER_SHIFTS : class;
}

char sb_map_class_letter(enum sb_map_class class)
{
  return letters[class];
}

const char *sb_map_class_words(enum sb_map_class class)
{
  return class_words[class];
}

const char *sb_map_worst_name(const struct sb_map_verdict *verdict)
{
  const int worst = sb_map_verdict_worst(verdict);
  return worst < 0 ? passes : sb_verdict_name((enum sb_verdict_kind)worst);
}

const char *sb_map_run_name(const struct sb_map_verdict *verdict, const struct sb_map_figures *figures)
{
  const bool never_shifts = sb_map_class_of_run(verdict, figures) == SB_MAP_NEVER_SHIFTS;
  return never_shifts ? class_words[SB_MAP_NEVER_SHIFTS] : sb_map_worst_name(verdict);
}

const char *sb_map_cause_name(const struct sb_map_verdict *verdict)
{
  const char *name = sb_verdict_cause_name(verdict->cause);
  return name != NULL ? name : "";
}

const char *sb_map_all_verdicts(const struct sb_map_verdict *verdict, char text[SB_MAP_VERDICTS_SIZE])
{
  struct sb_map_verdict left = *verdict;
  if (verdict->kinds == 0) return strcpy(text, passes);
  text[0] = 0;
  for (int worst; (worst = sb_map_verdict_worst(&left)) >= 0; left.kinds &= ~(1U << worst)) {
    sb_fail_add(text, SB_MAP_VERDICTS_SIZE, "%s%s", text[0] != 0 ? ";" : "",
                sb_verdict_name((enum sb_verdict_kind)worst));
  }
  return text;
}
