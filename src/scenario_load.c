// SPDX-License-Identifier: GPL-3.0-or-later
/* From the draft's load parts to the model's. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "constants.h"
#include "scenario_reader.h"
#include "table_csv.h"

static void child_path(char out[SB_PATH_SIZE], const char *path, const char *key)
{
  snprintf(out, SB_PATH_SIZE, "%.200s.%s", path, key);
}

/* The two values of a point; false (and faults) when they are none. */
static bool read_point(struct sb_reader *reader, const struct sb_table_request *request, const struct sb_node *node,
                       const char *path, double *x, double *torque_nm)
{
  const bool is_over_time = request->axis == SB_OVER_TIME;
  if (node->kind == SB_NODE_BROKEN) return false;
  const struct sb_node *place = sb_node_at(node, 1), *torque = sb_node_at(node, 2);
  if (node->kind != SB_NODE_LIST || node->count != 2 || place->kind != SB_NODE_VALUE || torque->kind != SB_NODE_VALUE) {
    sb_fault_add(reader->faults, &node->place, path, "needs a pair such as %s, found something else",
                 is_over_time ? "[5 s, 0.1 N.m]" : "[2.5 turn, 0.1 N.m]");
    return false;
  }
  struct sb_error err;
  bool is_fit = sb_quantity_parse(place->text, is_over_time ? SB_TIME : SB_ANGLE, x, &err) == SB_OK;
  if (!is_fit) sb_fault_add(reader->faults, &place->place, path, "%s", err.text);
  char quoted[SB_QUOTE_SIZE];
  if (is_fit && !(fabs(*x) <= SB_TABLE_PLACE_MAX)) {
    sb_fault_add(reader->faults, &place->place, path, "needs a place of a sensible size, found %s",
                 sb_quote(quoted, place->text));
    is_fit = false;
  }
  if (sb_quantity_parse(torque->text, SB_TORQUE, torque_nm, &err) != SB_OK) {
    sb_fault_add(reader->faults, &torque->place, path, "%s", err.text);
    return false;
  }
  const bool is_negative = request->is_resisting && *torque_nm < 0.0;
  if (!(fabs(*torque_nm) <= SB_TABLE_TORQUE_MAX) || is_negative) {
    sb_fault_add(reader->faults, &torque->place, path, "needs a torque %s, found %s",
                 is_negative ? "that is not negative, since it resists" : "of at most 1e6 N.m",
                 sb_quote(quoted, torque->text));
    return false;
  }
  return is_fit;
}

static bool read_points(struct sb_reader *reader, const struct sb_table_request *request, const struct sb_node *points,
                        const char *path, struct sb_load_table *out)
{
  if (points->kind != SB_NODE_LIST || points->count == 0) {
    if (points->kind != SB_NODE_BROKEN) {
      sb_fault_add(reader->faults, &points->place, path, "needs a list of [place, torque], found %s",
                   points->count == 0 ? "none" : "something else");
    }
    return false;
  }
  double *x = sb_arena_take(reader->kept, (size_t)points->count * sizeof *x);
  double *torque_nm = sb_arena_take(reader->kept, (size_t)points->count * sizeof *torque_nm);
  if (x == NULL || torque_nm == NULL) {
    reader->is_out_of_memory = true;
    return false;
  }
  size_t n = 0;
  int number = 0;
  bool is_fit = true;
  for (const struct sb_node *node = points->first; node != NULL; node = node->next) {
    char point_path[SB_PATH_SIZE], quoted[SB_QUOTE_SIZE];
    const char *needs;
    snprintf(point_path, sizeof point_path, "%.200s.%d", path, ++number);
    if (!read_point(reader, request, node, point_path, &x[n], &torque_nm[n])) {
      is_fit = false;
      continue;
    }
    if (!sb_table_point_is_fit(request, n > 1 ? x[n - 2] : (double)NAN, n > 0 ? x[n - 1] : (double)NAN, x[n], &needs)) {
      sb_fault_add(reader->faults, &node->first->place, point_path, "needs %s, found %s", needs,
                   sb_quote(quoted, node->first->text));
      is_fit = false;
    }
    n++;
  }
  *out = (struct sb_load_table){n, x, torque_nm};
  return is_fit;
}

/* The file's path: relative ones start at the scenario's folder. */
static void table_path(const struct sb_reader *reader, const char *file, char out[4096])
{
  const char *slash = strrchr(reader->file, '/');
  const int folder = file[0] == '/' || slash == NULL ? 0 : (int)(slash - reader->file) + 1;
  snprintf(out, 4096, "%.*s%s", folder, reader->file, file);
}

static bool read_file(struct sb_reader *reader, const struct sb_table_request *request, const char *file,
                      const char *path, struct sb_load_table *out)
{
  char whole[4096], quoted[SB_QUOTE_SIZE];
  table_path(reader, file, whole);
  const enum sb_status status = sb_table_csv_read(whole, request, out);
  if (status == SB_ERR_MEMORY) reader->is_out_of_memory = true;
  if (status == SB_ERR_IO) {
    sb_fault_add(reader->faults, &request->place, path, "needs a CSV table, found none at %s: %s",
                 sb_quote(quoted, whole), strerror(errno));
  }
  return status == SB_OK;
}

bool sb_reader_read_profile(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  char points_path[SB_PATH_SIZE], file_path[SB_PATH_SIZE];
  child_path(points_path, path, "points");
  child_path(file_path, path, "file");
  const struct sb_node *points = sb_node_find(draft->node, "points"), *file = sb_node_find(draft->node, "file");
  if ((points == NULL) == (file == NULL)) {
    sb_reader_fault(reader, path, "needs either points or a file, found %s", points == NULL ? "neither" : "both");
    return false;
  }
  struct sb_load_table *table = &draft->part.table;
  struct sb_table_request request = {draft->part.axis, draft->part.is_resisting, reader->faults,
                                     points != NULL ? points->place : file->place, reader->kept};
  bool is_fit = false;
  if (points != NULL) {
    is_fit = read_points(reader, &request, points, points_path, table);
  } else if (draft->file[0] != 0) {
    is_fit = read_file(reader, &request, draft->file, file_path, table);
  }
  if (is_fit && draft->part.is_repeating && !(table->x[table->count - 1] > table->x[0])) {
    sb_reader_fault(reader, path, "needs points that span more than one place to repeat, found one place");
  }
  /* A table that repeats more often than that would be passed many times within a step. */
  const bool is_over_time = draft->part.axis == SB_OVER_TIME;
  const double least_period = is_over_time ? 1e-3 : 1e-3 * SB_TURN;
  const double period = is_fit ? table->x[table->count - 1] - table->x[0] : least_period;
  if (is_fit && draft->part.is_repeating && period > 0.0 && period < least_period) {
    sb_reader_fault(reader, path, "needs points that span at least %s to repeat, found %.3g %s",
                    is_over_time ? "1 ms" : "0.001 turn", is_over_time ? period : period / SB_TURN,
                    is_over_time ? "s" : "turn");
  }
  return is_fit;
}

static void check_sine(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  struct sb_load_part *part = &draft->part;
  part->period = draft->period.value;
  const enum sb_quantity wanted = draft->axis == SB_OVER_TIME ? SB_TIME : SB_ANGLE;
  if (!isnan(draft->period.value) && draft->period.quantity != wanted) {
    child_path(key_path, path, "period");
    sb_reader_fault(reader, key_path, "needs %s (%s) as `over` says, found %s", sb_quantity_words(wanted),
                    sb_quantity_units(wanted), sb_quantity_words(draft->period.quantity));
  }
  if (part->is_resisting && part->mean_nm < part->amplitude_nm) {
    child_path(key_path, path, "mean");
    sb_reader_fault(reader, key_path, "needs at least the amplitude (%.10g N.m), since it resists, found %.10g N.m",
                    part->amplitude_nm, part->mean_nm);
  }
}

static void finish_part(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  struct sb_load_part *part = &draft->part;
  part->is_resisting = draft->manner == SB_MANNER_RESISTS;
  part->axis = (enum sb_load_axis)draft->axis;
  part->is_held = draft->interpolation == SB_HOLD;

  if (draft->manner == SB_MANNER_ACTS && sb_node_find(draft->node, "breakaway") != NULL) {
    child_path(key_path, path, "breakaway");
    sb_reader_fault(reader, key_path, "needs a part that resists, found one that acts");
  }
  if (isnan(part->breakaway_nm)) part->breakaway_nm = 0.0;
  if (part->is_resisting && part->torque_nm < 0.0) {
    child_path(key_path, path, "torque");
    sb_reader_fault(reader, key_path, "needs a torque that is not negative, since it resists, found %.10g N.m",
                    part->torque_nm);
  }
  if (strcmp(part->ops->name, "sine") == 0) check_sine(reader, draft, path);
  if (strcmp(part->ops->name, "profile") == 0) sb_reader_read_profile(reader, draft, path);
}

void sb_reader_finish_load(struct sb_reader *reader)
{
  struct sb_load *load = &reader->draft->model.load;
  for (int i = 0; i < reader->draft->part_count; i++) {
    struct sb_part_draft *draft = &reader->draft->parts[i];
    char path[SB_PATH_SIZE];
    snprintf(path, sizeof path, "load.parts.%d", i + 1);
    if (draft->node == NULL) continue;
    finish_part(reader, draft, path);
    load->parts[load->part_count++] = draft->part;
  }
}
