// SPDX-License-Identifier: GPL-3.0-or-later
/* The exact map of one scenario. */
#include <math.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "map/report.h"
#include "shiftband/report.h"

struct limits {
  const struct sb_model *model;
  const struct sb_map_options *options;
};

static int write_csv(FILE *out, const void *context)
{
  return sb_map_write_csv(out, context);
}

static int write_limits(FILE *out, const void *context)
{
  const struct limits *limits = context;
  return sb_map_write_limits(out, limits->model, limits->options);
}

static int write_files(const struct sb_map_request *request, const struct sb_model *model, const struct sb_map *map)
{
  int code = SB_EXIT_DONE;
  const struct limits limits = {model, &map->options};
  if (request->work.output != NULL) {
    code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_csv, map});
  }
  if (code == SB_EXIT_DONE && request->limits != NULL) {
    code = sb_command_write_file(request->limits, (struct sb_command_writer){write_limits, &limits});
  }
  return code;
}

static enum sb_status write_text(FILE *out, const struct sb_model *model, const struct sb_map *map,
                                 const struct sb_map_own *own, bool is_whole, struct sb_error *err)
{
  const struct sb_gear *gears = model->gearbox.gears;
  const int pair = map->options.pair;
  fprintf(out, "%s\nthresholds between %s and %s, exact in steps of %.6g %%, %.6g s each\n\n", model->name,
          gears[pair].name, gears[pair + 1].name, sb_map_pct(map->options.down.step_fraction), model->run.duration_s);
  const enum sb_status status = sb_map_write_picture(out, map, own, is_whole, err);
  if (status != SB_OK) return status;
  fputc('\n', out);
  sb_map_write_own(out, own);
  const double samples_a_run = floor(model->run.duration_s / model->control.sample_period_s) + 1.0;
  fprintf(out, "\n%zu different traces in %zu rectangles, from %zu tracks;\nsimulated as much as %.4g runs\n",
          map->leaf_count, map->cell_count, map->track_count, (double)map->sample_count / samples_a_run);
  sb_report_write_cautions(out, model, NULL);
  return SB_OK;
}

static enum sb_status report(const struct sb_map_request *request, const struct sb_model *model,
                             const struct sb_map *map, struct sb_error *err)
{
  struct sb_map_own own;
  enum sb_status status = sb_map_look_around(model, &map->options, &own, err);
  if (status != SB_OK) return status;
  if (request->is_json) {
    struct sb_json json;
    sb_json_init(&json, stdout);
    sb_map_write_json(&json, model, map, &own);
    sb_json_end(&json);
    return SB_OK;
  }
  const bool is_whole = request->down != NULL || request->up != NULL;
  return write_text(sb_map_words_stream(request), model, map, &own, is_whole, err);
}

int sb_map_do_exact(struct sb_map_request *request, const struct sb_scenario *scenario)
{
  struct sb_map map;
  struct sb_map_options options;
  struct sb_error err = {SB_OK, ""};
  const struct sb_model *model = &scenario->model;
  int code = sb_map_read_plane(request, scenario, &options);
  if (code != SB_EXIT_DONE) return code;
  enum sb_status status = sb_map_exact(model, &options, true, &map, &err);
  if (status == SB_OK) {
    sb_map_sort(&map);
    code = write_files(request, model, &map);
    if (code == SB_EXIT_DONE) status = report(request, model, &map, &err);
    sb_map_clear(&map);
  }
  if (status == SB_OK) return code;
  sb_command_complain("%s: %s", request->file, err.text);
  return sb_command_exit(status);
}
