// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/map.h"

#include <stdlib.h>

#include "map/lattice.h"
#include "map/path.h"
#include "sim/stretch.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static enum sb_status lay_lattice(struct sb_plane *plane, struct sb_error *err)
{
  const struct sb_model *model = plane->model;
  const struct sb_map_options *options = &plane->options;
  const struct sb_sensor *sensor = &model->control.sensor;
  const size_t downshift = (size_t)options->downshift.count, upshift = (size_t)options->upshift.count;
  plane->downshift_counts = calloc(downshift, sizeof *plane->downshift_counts);
  plane->downshift_nm = calloc(downshift, sizeof *plane->downshift_nm);
  plane->upshift_counts = calloc(upshift, sizeof *plane->upshift_counts);
  plane->upshift_nm = calloc(upshift, sizeof *plane->upshift_nm);
  if (plane->downshift_counts == NULL || plane->downshift_nm == NULL || plane->upshift_counts == NULL ||
      plane->upshift_nm == NULL) {
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the lattice of a map");
  }
  for (int i = 0; i < options->downshift.count; i++) {
    const double downshift_fraction = sb_map_axis_at(&options->downshift, i);
    plane->downshift_counts[i] = sb_sensor_down_count(sensor, downshift_fraction);
    plane->downshift_nm[i] = sb_steady_load_nm(model, &plane->monitor.line, options->pair + 1, downshift_fraction);
  }
  for (int j = 0; j < options->upshift.count; j++) {
    const double upshift_fraction = sb_map_axis_at(&options->upshift, j);
    plane->upshift_counts[j] = sb_sensor_up_count(sensor, upshift_fraction);
    plane->upshift_nm[j] = sb_steady_load_nm(model, &plane->monitor.line, options->pair, upshift_fraction);
  }
  return SB_OK;
}

static void clear_plane(struct sb_plane *plane)
{
  free(plane->downshift_counts);
  free(plane->upshift_counts);
  free(plane->downshift_nm);
  free(plane->upshift_nm);
  sb_map_tracks_clear(&plane->tracks);
}

/* What closed forms say of loads and thresholds, and of the pairs that are not mapped. */
static void find_reach(struct sb_plane *plane)
{
  const struct sb_model *model = plane->model;
  const struct sb_motor_line *line = &plane->monitor.line;
  double heaviest_nm;
  sb_load_range_nm(&model->load, model->run.duration_s, &plane->lightest_nm, &heaviest_nm);
  plane->stall_nm = sb_steady_stall_nm(model, line, plane->options.pair + 1);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const struct sb_band *band = &plane->monitor.bands[p];
    const bool is_far = sb_band_is_upshift_out_of_reach(band->upshift_nm, plane->lightest_nm) ||
                        sb_band_is_downshift_out_of_reach(band->downshift_nm, sb_steady_stall_nm(model, line, p + 1));
    if (is_far && p != plane->options.pair) plane->kinds |= 1U << SB_VERDICT_OUT_OF_REACH;
  }
}

/* As measured: a stretch without a series takes half as long as a sample is evaluated and walked over, one with a series twenty
 * times as long. */
static double effort_of(const struct sb_tracks *tracks)
{
  const struct sb_stretch *stretch = tracks->sim.stretch;
  if (stretch == NULL) return 0.0;
  return (double)tracks->sample_count + 0.5 * (double)stretch->begun_count + 19.5 * (double)stretch->series_count;
}

enum sb_status sb_map_exact(const struct sb_model *model, const struct sb_map_options *options, bool is_joined,
                            struct sb_map *map, struct sb_error *err)
{
  struct sb_plane plane = {.model = model, .options = *options, .setup = sb_run_controller_setup(model)};
  struct sb_leaves leaves = {NULL, 0, 0};
  struct sb_map out = {.options = *options};
  const struct sb_derived derived = sb_model_derive(model);
  sb_monitor_init(&plane.monitor, model, &derived);
  find_reach(&plane);
  enum sb_status status = lay_lattice(&plane, err);
  if (status == SB_OK) status = sb_map_tracks_init(&plane.tracks, model, err);
  if (options->memory_bytes > 0) plane.tracks.bytes_max = options->memory_bytes;
  if (status == SB_OK) status = sb_path_follow_all(&plane, &leaves, err);
  if (status == SB_OK) status = sb_judge(&plane, &leaves, &out, err);
  if (status == SB_OK && is_joined) sb_map_join(&out);
  out.leaf_count = leaves.count;
  out.track_count = (size_t)plane.tracks.count;
  out.sample_count = plane.tracks.sample_count;
  out.effort = effort_of(&plane.tracks);
  free(leaves.items);
  clear_plane(&plane);

  struct sb_arena *arena = malloc(sizeof *arena);
  if (status == SB_OK && arena == NULL) status = sb_fail(err, SB_ERR_MEMORY, "out of memory for a map");
  if (status == SB_OK && arena != NULL) {
    *arena = plane.arena;
    out.storage = arena;
    *map = out;
    return SB_OK;
  }
  free(arena);
  sb_arena_clear(&plane.arena);
  free(out.cells);
  return status;
}

void sb_map_clear(struct sb_map *map)
{
  if (map->storage != NULL) sb_arena_clear(map->storage);
  free(map->storage);
  free(map->cells);
  *map = (struct sb_map){.cells = NULL};
}

const struct sb_map_cell *sb_map_cell_at(const struct sb_map *map, int downshift_index, int upshift_index)
{
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    if (cell->downshift_first <= downshift_index && downshift_index <= cell->downshift_last &&
        cell->upshift_first <= upshift_index && upshift_index <= cell->upshift_last) {
      return cell;
    }
  }
  return NULL;
}
