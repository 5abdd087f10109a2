/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Maps the thresholds of a scenario and prints how many of them pass, and what its own come to. */
#include <math.h>
#include <stdio.h>

#include "shiftband/shiftband.h"

/* Points of a rectangle at which the downshift threshold lies below the upshift threshold. */
static long points_of(const struct sb_map *map, const struct sb_map_cell *cell)
{
  long count = 0;
  int i, k;
  for (i = cell->downshift_first; i <= cell->downshift_last; i++) {
    const double downshift = sb_map_axis_at(&map->options.downshift, i);
    for (k = cell->upshift_first; k <= cell->upshift_last; k++) {
      count += downshift < sb_map_axis_at(&map->options.upshift, k);
    }
  }
  return count;
}

static int index_of(const struct sb_map_axis *axis, double fraction)
{
  return (int)floor((fraction - axis->first_fraction) / axis->step_fraction + 0.5);
}

static void print(const struct sb_model *model, const struct sb_map *map)
{
  const int i = index_of(&map->options.downshift, model->control.downshift_fraction[0]);
  const int k = index_of(&map->options.upshift, model->control.upshift_fraction[0]);
  const struct sb_map_cell *own = sb_map_cell_at(map, i, k);
  long passing = 0, all = 0;
  size_t n;
  for (n = 0; n < map->cell_count; n++) {
    const long points = points_of(map, &map->cells[n]);
    all += points;
    if (map->cells[n].verdict.kinds == 0) passing += points;
  }
  printf("rectangles %lu\npassing %.6g\nown %s\n", (unsigned long)map->cell_count, (double)passing / (double)all,
         own != NULL && own->verdict.kinds == 0 ? "pass" : "fail");
}

int main(int argc, char **argv)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0, NULL};
  struct sb_error err = {SB_OK, ""};
  struct sb_map_options options;
  struct sb_map map;
  if (argc != 2 || sb_scenario_load(argv[1], NULL, 0, &scenario, &faults) != SB_OK) {
    sb_faults_fail(&err, SB_ERR_SCENARIO, &faults);
    fprintf(stderr, "%s\n", err.text);
    return 3;
  }
  options = sb_map_options_default(&scenario.model);
  if (sb_map_exact(&scenario.model, &options, true, &map, &err) != SB_OK) {
    fprintf(stderr, "%s\n", err.text);
    return 5;
  }
  print(&scenario.model, &map);
  sb_map_clear(&map);
  sb_scenario_clear(&scenario);
  return 0;
}
