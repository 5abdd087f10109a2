// SPDX-License-Identifier: GPL-3.0-or-later
/* From the draft's load parts to the model's. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/constants.h"
#include "scenario/reader.h"
#include "scenario/table_csv.h"

static void child_path(char out[SB_PATH_SIZE], const char *path, const char *key)
{
  snprintf(out, SB_PATH_SIZE, "%.200s.%s", path, key);
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
  const bool is_over_time = draft->part.axis == SB_OVER_TIME;
  struct sb_load_table *table = &draft->part.table;
  struct sb_table_request request = {is_over_time ? &sb_table_torque_over_time : &sb_table_torque_over_turns,
                                     draft->part.is_resisting, reader->faults,
                                     points != NULL ? points->place : file->place, reader->kept};
  bool is_fit = false;
  if (points != NULL) {
    is_fit = sb_reader_read_points(reader, &request, points, points_path, table);
  } else if (draft->file[0] != 0) {
    is_fit = sb_reader_read_file(reader, &request, draft->file, file_path, table);
  }
  if (is_fit && draft->part.is_repeating && !(table->x[table->count - 1] > table->x[0])) {
    sb_reader_fault(reader, path, "needs points that span more than one place to repeat, found one place");
  }
  /* A table that repeats more often than that would be passed many times within a step. */
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
