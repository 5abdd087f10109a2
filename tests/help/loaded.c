// SPDX-License-Identifier: GPL-3.0-or-later
#include "help/loaded.h"

#include <math.h>
#include <stdio.h>

#include "help/near.h"
#include "map/lattice.h"

struct sb_scenario loaded_scenario;

void loaded_take(const char *path, const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &loaded_scenario, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : path);
}

void loaded_take_shipped(const char *name)
{
  char path[256];
  snprintf(path, sizeof path, "%s/scenarios/%s.yaml", SB_SOURCE_DIR, name);
  loaded_take(path, NULL, 0);
}

struct sb_map_options loaded_plane(const struct sb_model *model, double downshift_from, double downshift_to,
                                   double upshift_from, double upshift_to, double step)
{
  struct sb_map_options options = sb_map_options_default(model);
  options.downshift =
      (struct sb_map_axis){downshift_from, step, (int)lround((downshift_to - downshift_from) / step) + 1};
  options.upshift = (struct sb_map_axis){upshift_from, step, (int)lround((upshift_to - upshift_from) / step) + 1};
  return options;
}

void loaded_map(const struct sb_map_options *options, struct sb_map *map)
{
  struct sb_error err;
  if (sb_map_exact(&loaded_scenario.model, options, true, map, &err) != SB_OK) fail_msg("%s", err.text);
  sb_map_sort(map);
}
