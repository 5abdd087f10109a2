// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/handle.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "map/lattice.h"
#include "map/report.h"
#include "shiftband/check.h"
#include "shiftband/prove.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/trace.h"
#include "tune/report.h"

struct sb_handle {
  struct sb_scenario scenario;
  char *path;
  char **sets; /* sets[set_count], owned, like their texts */
  size_t set_count;
};

/* Texts in memory --------------------------------------------------------------------------------------------------------- */

/* A stream whose text is the caller's when it is closed; not asked for: no stream. */
struct sheet {
  FILE *stream;
  char *text;
  size_t length;
};

static enum sb_status fail_memory(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_MEMORY, "%s", sb_status_text(SB_ERR_MEMORY));
}

static enum sb_status open_sheet(struct sheet *sheet, bool is_wanted, struct sb_error *err)
{
  *sheet = (struct sheet){NULL, NULL, 0};
  if (!is_wanted) return SB_OK;
  sheet->stream = open_memstream(&sheet->text, &sheet->length);
  return sheet->stream != NULL ? SB_OK : fail_memory(err);
}

/* Hands the text over when all went well, else drops it. */
static enum sb_status close_sheet(struct sheet *sheet, enum sb_status status, char **out, struct sb_error *err)
{
  if (sheet->stream == NULL) return status;
  const bool is_whole = !ferror(sheet->stream);
  if ((fclose(sheet->stream) != 0 || !is_whole) && status == SB_OK) status = fail_memory(err);
  if (status == SB_OK) {
    *out = sheet->text;
  } else {
    free(sheet->text);
  }
  return status;
}

/* A scenario -------------------------------------------------------------------------------------------------------------- */

static bool copy_source(struct sb_handle *handle, const char *path, const char *const *sets, size_t set_count)
{
  handle->path = strdup(path);
  handle->sets = calloc(set_count + 1, sizeof *handle->sets);
  if (handle->path == NULL || handle->sets == NULL) return false;
  for (; handle->set_count < set_count; handle->set_count++) {
    handle->sets[handle->set_count] = strdup(sets[handle->set_count]);
    if (handle->sets[handle->set_count] == NULL) return false;
  }
  return true;
}

static enum sb_status fail_faults(enum sb_status status, struct sb_faults *faults, struct sb_error *err)
{
  if (faults->count == 0 || err == NULL) return sb_faults_fail(err, status, faults);
  err->status = status;
  err->text[0] = 0;
  for (size_t k = 0; k < faults->count; k++) {
    sb_fail_add(err->text, sizeof err->text, "%s%s", k > 0 ? "\n" : "", faults->texts[k]);
  }
  sb_faults_clear(faults);
  return status;
}

enum sb_status sb_handle_load(const char *path, const char *const *sets, size_t set_count, struct sb_handle **out,
                              struct sb_error *err)
{
  struct sb_handle *handle = calloc(1, sizeof *handle);
  struct sb_faults faults = {0};
  if (handle == NULL || !copy_source(handle, path, sets, set_count)) {
    sb_handle_free(handle);
    return fail_memory(err);
  }
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &handle->scenario, &faults);
  if (status != SB_OK) {
    sb_handle_free(handle);
    return fail_faults(status, &faults, err);
  }
  *out = handle;
  return SB_OK;
}

void sb_handle_free(struct sb_handle *handle)
{
  if (handle == NULL) return;
  sb_scenario_clear(&handle->scenario);
  for (size_t k = 0; k < handle->set_count; k++) free(handle->sets[k]);
  free(handle->sets);
  free(handle->path);
  free(handle);
}

void sb_handle_release(char *text)
{
  free(text);
}

/* The commands ------------------------------------------------------------------------------------------------------------ */

enum sb_status sb_handle_check(const struct sb_handle *handle, char **json, struct sb_error *err)
{
  struct sheet sheet = {NULL, NULL, 0};
  struct sb_check *check = calloc(1, sizeof *check);
  enum sb_status status = check != NULL ? open_sheet(&sheet, true, err) : fail_memory(err);
  if (status == SB_OK) {
    status = sb_check_solve(&handle->scenario, check, err);
    if (status == SB_OK) sb_check_write_json(check, sheet.stream);
    status = close_sheet(&sheet, status, json, err);
  }
  free(check);
  return status;
}

enum sb_status sb_handle_prove(const struct sb_handle *handle, char **json, struct sb_error *err)
{
  struct sheet sheet = {NULL, NULL, 0};
  struct sb_prove *prove = calloc(1, sizeof *prove);
  enum sb_status status = prove != NULL ? open_sheet(&sheet, true, err) : fail_memory(err);
  if (status == SB_OK) {
    status = sb_prove_solve(&handle->scenario.model, prove, err);
    if (status == SB_OK) status = sb_prove_search(prove, err);
    if (status == SB_OK) sb_prove_write_json(prove, sheet.stream);
    status = close_sheet(&sheet, status, json, err);
  }
  free(prove);
  return status;
}

struct rows {
  FILE *stream;
  const struct sb_model *model;
};

static int take_row(void *context, const struct sb_row *row)
{
  const struct rows *rows = context;
  return sb_trace_write_row(rows->stream, row, rows->model);
}

/* Runs with its rows to a stream (NULL: nowhere) and its report to another. */
static enum sb_status run_to(const struct sb_model *model, int locked_gear, FILE *report_stream, FILE *rows_stream,
                             struct sb_error *err)
{
  struct rows rows = {rows_stream, model};
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.locked_gear = locked_gear;
  if (rows_stream != NULL) {
    options.on_row = take_row;
    options.context = &rows;
    sb_trace_write_header(rows_stream, model);
  }
  const enum sb_status status = sb_run(model, &options, &result, err);
  if (status != SB_OK) return status;
  const struct sb_report report = {.model = model, .result = &result, .locked_gear = locked_gear};
  if (report_stream != NULL) sb_run_write_json(report_stream, &report);
  sb_run_result_clear(&result);
  return SB_OK;
}

enum sb_status sb_handle_run(const struct sb_handle *handle, const char *gear, char **json, char **trace,
                             struct sb_error *err)
{
  const struct sb_model *model = &handle->scenario.model;
  struct sheet report = {NULL, NULL, 0}, rows = {NULL, NULL, 0};
  int locked_gear = 0;
  enum sb_status status = gear != NULL ? sb_gearbox_choose(&model->gearbox, gear, &locked_gear, err) : SB_OK;
  if (status != SB_OK) return status;
  status = open_sheet(&report, json != NULL, err);
  if (status == SB_OK) status = open_sheet(&rows, trace != NULL, err);
  if (status == SB_OK) status = run_to(model, locked_gear, report.stream, rows.stream, err);
  status = close_sheet(&report, status, json, err);
  return close_sheet(&rows, status, trace, err);
}

/* What the map comes to, written to both streams (NULL: nowhere). */
static enum sb_status write_map(const struct sb_model *model, const struct sb_map *map, FILE *report, FILE *cells,
                                struct sb_error *err)
{
  struct sb_map_own own;
  if (cells != NULL) sb_map_write_csv(cells, map);
  if (report == NULL) return SB_OK;
  const enum sb_status status = sb_map_look_around(model, &map->options, &own, err);
  if (status == SB_OK) sb_map_write_json(report, model, map, &own);
  return status;
}

enum sb_status sb_handle_map(const struct sb_handle *handle, const char *pair, char **json, char **rectangles,
                             struct sb_error *err)
{
  const struct sb_model *model = &handle->scenario.model;
  struct sb_map_options options;
  struct sb_map map;
  struct sheet report = {NULL, NULL, 0}, cells = {NULL, NULL, 0};
  enum sb_status status = sb_map_plane_parse(model, pair, NULL, NULL, &options, err);
  if (status == SB_OK) status = sb_map_exact(model, &options, true, &map, err);
  if (status != SB_OK) return status;
  sb_map_sort(&map);
  status = open_sheet(&report, json != NULL, err);
  if (status == SB_OK) status = open_sheet(&cells, rectangles != NULL, err);
  if (status == SB_OK) status = write_map(model, &map, report.stream, cells.stream, err);
  sb_map_clear(&map);
  status = close_sheet(&report, status, json, err);
  return close_sheet(&cells, status, rectangles, err);
}

static enum sb_status tune(const struct sb_tune_request *request, char **json, struct sb_error *err)
{
  struct sb_rounds *tuning = calloc(1, sizeof *tuning);
  struct sb_faults faults = {0};
  struct sheet sheet = {NULL, NULL, 0};
  if (tuning == NULL) return fail_memory(err);
  enum sb_status status = sb_rounds_load(request, tuning, &faults, err);
  if (status != SB_OK && faults.count > 0) fail_faults(status, &faults, err);
  sb_faults_clear(&faults);
  if (status == SB_OK) status = open_sheet(&sheet, true, err);
  if (status == SB_OK) status = sb_rounds_run(request, tuning, err);
  if (status == SB_OK) sb_tune_write_json(sheet.stream, tuning);
  status = close_sheet(&sheet, status, json, err);
  sb_rounds_clear(tuning);
  free(tuning);
  return status;
}

enum sb_status sb_handle_tune(const struct sb_handle *const *handles, size_t count, long samples, char **json,
                              struct sb_error *err)
{
  const char **paths = calloc(count + 1, sizeof *paths);
  if (paths == NULL) return fail_memory(err);
  for (size_t k = 0; k < count; k++) paths[k] = handles[k]->path;
  const struct sb_tune_request request = {.paths = paths,
                                          .path_count = (int)count,
                                          .sets = (const char *const *)handles[0]->sets,
                                          .set_count = handles[0]->set_count,
                                          .samples = samples,
                                          .seed = 1};
  const enum sb_status status = tune(&request, json, err);
  free(paths);
  return status;
}
