// SPDX-License-Identifier: GPL-3.0-or-later
/* Parts of the map command that its sorts share: which plane, which study, files. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "cli/output.h"

FILE *sb_map_words_stream(const struct sb_map_request *request)
{
  return request->work.output != NULL && sb_output_is_standard(request->work.output) ? stderr : stdout;
}

int sb_map_run_study(struct sb_map_request *request, const struct sb_tasks *tasks, const char *what,
                     int (*finish)(const struct sb_map_request *, const struct sb_tasks_result *, bool *))
{
  struct sb_tasks_result result;
  request->work.what = what;
  int code = sb_long_work_run(&request->work, tasks, &result);
  if (code == SB_EXIT_DONE) {
    bool is_ours = false;
    code = request->work.shard_count > 1 ? sb_long_work_write_shard(&request->work, &result)
                                         : finish(request, &result, &is_ours);
    sb_tasks_result_clear(&result);
    sb_long_work_end(&request->work, code == SB_EXIT_DONE);
  } else {
    sb_long_work_end(&request->work, false);
  }
  return code;
}

/* "slow/fast" or "1": the index of the pair, or -1. */
static int find_pair(const struct sb_gearbox *gearbox, const char *text)
{
  long number;
  if (sb_options_read_count(text, 1, gearbox->gear_count - 1, &number)) return (int)number - 1;
  for (int p = 0; p + 1 < gearbox->gear_count; p++) {
    char name[2 * SB_NAME_SIZE + 2];
    snprintf(name, sizeof name, "%s/%s", gearbox->gears[p].name, gearbox->gears[p + 1].name);
    if (strcmp(name, text) == 0) return p;
  }
  return -1;
}

static int read_pair(const struct sb_map_request *request, const struct sb_scenario *scenario, int *pair)
{
  const struct sb_gearbox *gearbox = &scenario->model.gearbox;
  if (gearbox->gear_count < 2) {
    sb_command_complain("%s: a map of thresholds needs two gears or more", request->file);
    return SB_EXIT_SCENARIO;
  }
  *pair = request->pair == NULL ? 0 : find_pair(gearbox, request->pair);
  if (*pair >= 0) return SB_EXIT_DONE;
  return sb_command_usage("--pair: no pair \"%s\"; the first is %s/%s, or 1", request->pair, gearbox->gears[0].name,
                          gearbox->gears[1].name);
}

/* Narrows an axis to the lattice points of a range in percent, with or without its unit. */
static int read_range(const char *option, const char *text, struct sb_map_axis *axis)
{
  char with_unit[64];
  struct sb_error err;
  double least, greatest;
  if (text == NULL) return SB_EXIT_DONE;
  snprintf(with_unit, sizeof with_unit, "%.50s%s", text, strchr(text, '%') != NULL ? "" : " %");
  if (sb_quantity_parse_range(with_unit, SB_PERCENT, &least, &greatest, &err) != SB_OK) {
    return sb_command_usage("%s %s", option, err.text);
  }
  const double step = axis->step_fraction;
  const double first = fmax(ceil(least / step - 1e-6), 1.0);
  const double last = fmin(floor(greatest / step + 1e-6), floor(10.0 / step + 1e-6));
  if (first > last) {
    return sb_command_usage("%s %s holds no threshold: they are multiples of %.6g %%, above 0", option, text,
                            100.0 * step);
  }
  *axis = (struct sb_map_axis){first * step, step, (int)(last - first) + 1};
  return SB_EXIT_DONE;
}

int sb_map_read_plane(const struct sb_map_request *request, const struct sb_scenario *scenario,
                      struct sb_map_options *options)
{
  int pair = 0;
  int code = read_pair(request, scenario, &pair);
  if (code != SB_EXIT_DONE) return code;
  *options = sb_map_options_default(&scenario->model);
  options->pair = pair;
  code = read_range("--downshift", request->down, &options->down);
  if (code == SB_EXIT_DONE) code = read_range("--upshift", request->up, &options->up);
  if (code != SB_EXIT_DONE) return code;
  /* A down threshold lies below 100 %. */
  struct sb_map_axis *down = &options->down;
  const int below = (int)ceil((1.0 - down->first_fraction) / down->step_fraction - 1e-6);
  if (down->count > below) down->count = below;
  if (down->count < 1)
    return sb_command_usage("--downshift %s: a downshift threshold lies below 100 %%", request->down);
  const double up_last = sb_map_axis_at(&options->up, options->up.count - 1);
  if (down->first_fraction + 0.5 * down->step_fraction > up_last) {
    return sb_command_usage("--downshift and --upshift leave no pair with the downshift below the upshift threshold");
  }
  return SB_EXIT_DONE;
}

int sb_map_identify(const struct sb_map_request *request, const struct sb_scenario *scenario, uint64_t *identity)
{
  struct sb_error err;
  uint64_t hash = sb_tasks_hash_text(SB_TASKS_HASH_START, sb_command_version());
  hash = sb_tasks_hash_text(hash, "map");
  const enum sb_status status =
      sb_tasks_hash_scenario(&hash, request->file, request->sets.items, request->sets.count, scenario, &err);
  if (status != SB_OK) {
    sb_command_complain("%s", err.text);
    return sb_command_exit(status);
  }
  *identity = hash;
  return SB_EXIT_DONE;
}
