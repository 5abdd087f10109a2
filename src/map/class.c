// SPDX-License-Identifier: GPL-3.0-or-later
/* What verdicts are called on a map, and how many lattice points a rectangle has. */
#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "map/report.h"

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

static enum sb_map_class class_of_hunting(enum sb_cause cause)
{
  switch (cause) {
    case SB_CAUSE_DWELL: return SB_MAP_HUNTS_DWELL;
    case SB_CAUSE_LOAD: return SB_MAP_HUNTS_LOAD;
    case SB_CAUSE_NONE:
    case SB_CAUSE_THRESHOLDS: return SB_MAP_HUNTS_THRESHOLDS;
  }
  return SB_MAP_HUNTS_THRESHOLDS;
}

enum sb_map_class sb_map_class_of(const struct sb_map_verdict *verdict)
{
  static const enum sb_map_class classes[SB_VERDICT_KIND_COUNT] = {
      [SB_VERDICT_STALL] = SB_MAP_STALLS,
      [SB_VERDICT_STUCK_LOW] = SB_MAP_STUCK_LOW,
      [SB_VERDICT_NEEDLESS_DOWNSHIFT] = SB_MAP_NEEDLESS_DOWNSHIFT,
      [SB_VERDICT_OVERLOAD] = SB_MAP_OVERLOADS,
      [SB_VERDICT_NOT_ENGAGED] = SB_MAP_LATE,
      [SB_VERDICT_SLIPPING] = SB_MAP_SLIPS,
      [SB_VERDICT_OVERHEATED] = SB_MAP_OVERHEATS,
      [SB_VERDICT_DRIVE_CUT] = SB_MAP_DRIVE_CUT,
  };
  const int worst = sb_map_verdict_worst(verdict);
  if (worst < 0) return SB_MAP_HOLDS;
  return worst == SB_VERDICT_HUNTING ? class_of_hunting(verdict->cause) : classes[worst];
}

char sb_map_class_letter(enum sb_map_class class)
{
  return letters[class];
}

const char *sb_map_class_words(enum sb_map_class class)
{
  return class_words[class];
}

const char *sb_map_all_verdicts(const struct sb_map_verdict *verdict, char text[SB_MAP_VERDICTS_SIZE])
{
  struct sb_map_verdict left = *verdict;
  size_t length = 0;
  snprintf(text, SB_MAP_VERDICTS_SIZE, "holds");
  for (int worst; (worst = sb_map_verdict_worst(&left)) >= 0; left.kinds &= ~(1U << worst)) {
    const char *name = sb_verdict_name((enum sb_verdict_kind)worst);
    const int more = snprintf(text + length, SB_MAP_VERDICTS_SIZE - length, "%s%s", length > 0 ? ";" : "", name);
    length += (size_t)more;
    assert(length < SB_MAP_VERDICTS_SIZE);
  }
  return text;
}

long sb_map_axis_number(const struct sb_map_axis *axis, int index)
{
  return lround(axis->first_fraction / axis->step_fraction) + index;
}

double sb_map_pct(double fraction)
{
  return round(1e10 * fraction) / 1e8;
}

double sb_map_axis_pct(const struct sb_map_axis *axis, int index)
{
  return sb_map_pct(sb_map_axis_at(axis, index));
}

int sb_map_axis_stride(const struct sb_map_axis *axis, int points)
{
  static const int round_numbers[] = {1, 2, 3, 4, 5, 8, 10, 15, 20, 25, 30, 40, 50, 80};
  const double wanted = (double)axis->count / points;
  int best = 1;
  for (int scale = 1; scale <= 10000; scale *= 100) {
    for (size_t k = 0; k < sizeof round_numbers / sizeof round_numbers[0]; k++) {
      const int stride = scale * round_numbers[k];
      if (stride <= axis->count && fabs(log(stride / wanted)) < fabs(log(best / wanted))) best = stride;
    }
  }
  return best;
}

int sb_map_axis_index(const struct sb_map_axis *axis, double fraction)
{
  return (int)lround((fraction - axis->first_fraction) / axis->step_fraction);
}

struct sb_picture_axis sb_map_picture_axis(const char *name, const struct sb_map_axis *axis)
{
  return (struct sb_picture_axis){.name = name,
                                  .unit = "%",
                                  .first = 100.0 * axis->first_fraction,
                                  .step = 100.0 * axis->step_fraction,
                                  .count = axis->count};
}

/* Whether the number at a down index is below that at an up index: in whole steps, so that equal ones are equal. */
static bool is_ordered(const struct sb_map_options *options, int down, int up)
{
  return sb_map_axis_number(&options->down, down) < sb_map_axis_number(&options->up, up);
}

static long long count_points(const struct sb_map_options *options, const struct sb_map_cell *cell)
{
  long long count = 0;
  int up = cell->up_first;
  for (int down = cell->down_first; down <= cell->down_last; down++) {
    while (up <= cell->up_last && !is_ordered(options, down, up)) up++;
    count += cell->up_last - up + 1;
  }
  return count;
}

long long sb_map_cell_point_count(const struct sb_map *map, const struct sb_map_cell *cell)
{
  return count_points(&map->options, cell);
}

long long sb_map_point_count(const struct sb_map *map)
{
  const struct sb_map_cell all = {.down_last = map->options.down.count - 1, .up_last = map->options.up.count - 1};
  return count_points(&map->options, &all);
}

static int compare_cells(const void *a, const void *b)
{
  const struct sb_map_cell *ca = a, *cb = b;
  if (ca->down_first != cb->down_first) return ca->down_first < cb->down_first ? -1 : 1;
  return (ca->up_first > cb->up_first) - (ca->up_first < cb->up_first);
}

void sb_map_sort(struct sb_map *map)
{
  if (map->cell_count > 0) qsort(map->cells, map->cell_count, sizeof *map->cells, compare_cells);
}
