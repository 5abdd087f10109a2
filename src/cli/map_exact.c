// SPDX-License-Identifier: GPL-3.0-or-later
/* The exact map of one scenario: its files, its words or its object. */
#include "cli/command.h"
#include "cli/map_request.h"
#include "cli/output.h"
#include "map/lattice.h"
#include "map/report.h"

FILE *sb_map_words_stream(const struct sb_map_request *request)
{
  return request->work.output != NULL && sb_output_is_standard(request->work.output) ? stderr : stdout;
}

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

static enum sb_status report(const struct sb_map_request *request, const struct sb_model *model,
                             const struct sb_map *map, struct sb_error *err)
{
  struct sb_map_own own;
  const struct sb_map_wishes wishes = {request->downshift != NULL || request->upshift != NULL, request->is_verbose};
  const enum sb_status status = sb_map_look_around(model, &map->options, &own, err);
  if (status != SB_OK) return status;
  if (!request->is_json) return sb_map_write_text(sb_map_words_stream(request), model, map, &own, &wishes, err);
  sb_map_write_json(stdout, model, map, &own);
  return SB_OK;
}

int sb_map_do_exact(const struct sb_map_request *request, const struct sb_scenario *scenario)
{
  struct sb_map map;
  struct sb_map_options options;
  struct sb_error err = {SB_OK, ""};
  const struct sb_model *model = &scenario->model;
  int code = SB_EXIT_DONE;
  enum sb_status status =
      sb_map_plane_parse(model, request->pair, request->downshift, request->upshift, &options, &err);
  if (status == SB_OK) status = sb_map_exact(model, &options, true, &map, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  sb_map_sort(&map);
  code = write_files(request, model, &map);
  if (code == SB_EXIT_DONE) status = report(request, model, &map, &err);
  sb_map_clear(&map);
  return status == SB_OK ? code : sb_command_fail(request->file, status, &err);
}
