// SPDX-License-Identifier: GPL-3.0-or-later
/* edge_load.c - what load the two courses of a machine are under: bounds that do not change, or paths over time. */
#include <math.h>

#include "prove/edge.h"

struct sb_edge_load sb_edge_load_of(const struct sb_model *model)
{
  const struct sb_load_bounds *bounds = &model->load.bounds;
  const double duration_s = model->run.duration_s;
  struct sb_edge_load load = {.breakaway_nm = model->load.breakaway_nm};
  sb_load_share_range_nm(&model->load, duration_s, SB_SHARE_ACTING, &load.acting_nm[0], &load.acting_nm[1]);
  sb_load_share_range_nm(&model->load, duration_s, SB_SHARE_RESISTING, &load.resisting_nm[0], &load.resisting_nm[1]);
  if (bounds->manner != SB_BOUNDS_NONE) {
    double *range = bounds->manner == SB_BOUNDS_ACTS ? load.acting_nm : load.resisting_nm;
    range[0] = bounds->least_nm;
    range[1] = bounds->greatest_nm;
  }
  double held_nm = 0.0;
  bool is_held = false;
  for (int i = 0; i < model->load.part_count; i++) {
    const struct sb_load_part *part = &model->load.parts[i];
    double least_nm = 0.0, greatest_nm = 0.0;
    if (part->is_resisting) part->ops->range_nm(part, &least_nm, &greatest_nm);
    is_held = is_held || part->breakaway_nm > 0.0;
    held_nm += fmax(greatest_nm, part->breakaway_nm);
  }
  if (is_held) load.breakaway_nm = fmax(load.breakaway_nm, held_nm);
  return load;
}

struct sb_edge_load sb_edge_load_between(const struct sb_model *const ends[SB_EDGE_SIDES])
{
  struct sb_edge_load load = sb_edge_load_of(ends[0]);
  const struct sb_edge_load other = sb_edge_load_of(ends[1]);
  load.acting_nm[0] = fmin(load.acting_nm[0], other.acting_nm[0]);
  load.acting_nm[1] = fmax(load.acting_nm[1], other.acting_nm[1]);
  load.resisting_nm[0] = fmin(load.resisting_nm[0], other.resisting_nm[0]);
  load.resisting_nm[1] = fmax(load.resisting_nm[1], other.resisting_nm[1]);
  load.breakaway_nm = fmax(load.breakaway_nm, other.breakaway_nm);
  return load;
}

struct sb_edge_load sb_edge_load_at(const struct sb_edge_load *load, int end)
{
  const double acting_nm = load->acting_nm[end], resisting_nm = load->resisting_nm[end];
  return (struct sb_edge_load){{acting_nm, acting_nm}, {resisting_nm, resisting_nm}, load->breakaway_nm};
}

double sb_edge_least_nm(const struct sb_edge_load *load)
{
  return load->acting_nm[0] + load->resisting_nm[0];
}

double sb_edge_greatest_nm(const struct sb_edge_load *load)
{
  return load->acting_nm[1] + load->resisting_nm[1];
}

void sb_edge_replace_parts(struct sb_load *load)
{
  int kept = 0;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->viscous_nms_rad > 0.0 || part->quadratic_nms2_rad2 > 0.0) load->parts[kept++] = *part;
  }
  const struct sb_load_ops *constant = sb_load_kind_find("constant");
  load->parts[kept++] = (struct sb_load_part){.ops = constant};
  load->parts[kept++] = (struct sb_load_part){.ops = constant, .is_resisting = true};
  load->part_count = kept;
  load->breakaway_nm = 0.0;
}

struct sb_load_part *sb_edge_acting_part(struct sb_load *load)
{
  return &load->parts[load->part_count - 2];
}

struct sb_load_part *sb_edge_resisting_part(struct sb_load *load)
{
  return &load->parts[load->part_count - 1];
}

static bool is_heavy(int lane)
{
  return lane == SB_EDGE_SLOW || lane == SB_EDGE_QUICK_UNDER_HEAVY;
}

/* What holds a lane at rest where that is more than what resists in motion; 0: it is not. The lane's own acting load is another one. */
static double hold_nm(const struct sb_edge_load *load, int lane, double acting_nm)
{
  if (!(load->breakaway_nm > load->resisting_nm[1])) return 0.0;
  return load->acting_nm[is_heavy(lane) ? 1 : 0] + load->breakaway_nm - acting_nm;
}

void sb_edge_bind(struct sb_edges *edges, const struct sb_edge_load *load)
{
  const struct sb_load_ops *constant = sb_load_kind_find("constant");
  edges->load = *load;
  const double half_nm = 0.5 * (load->resisting_nm[1] - load->resisting_nm[0]);
  for (int lane = 0; lane < edges->lane_count; lane++) {
    struct sb_load *parts = &edges->lanes[lane].model.load;
    struct sb_load_part *acting = sb_edge_acting_part(parts), *resisting = sb_edge_resisting_part(parts);
    acting->ops = resisting->ops = constant;
    acting->torque_nm = is_heavy(lane) ? load->acting_nm[1] + half_nm : load->acting_nm[0] - half_nm;
    resisting->torque_nm = 0.5 * (load->resisting_nm[0] + load->resisting_nm[1]);
    resisting->breakaway_nm = hold_nm(load, lane, acting->torque_nm);
  }
}

void sb_edge_bind_paths(struct sb_edges *edges, const struct sb_edge_load *load, bool is_acting,
                        const struct sb_edge_path paths[SB_EDGE_SIDES])
{
  edges->load = *load;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    struct sb_edge_lane *lane = &edges->lanes[side];
    struct sb_load_part *acting = sb_edge_acting_part(&lane->model.load);
    struct sb_load_part *resisting = sb_edge_resisting_part(&lane->model.load);
    acting->torque_nm = load->acting_nm[0];
    resisting->torque_nm = load->resisting_nm[0];
    lane->path = paths[side];
    sb_edge_follow_path(is_acting ? acting : resisting, &lane->path);
  }
}

void sb_edge_follow_path(struct sb_load_part *part, const struct sb_edge_path *path)
{
  part->ops = sb_load_kind_find("profile");
  part->axis = SB_OVER_TIME;
  part->table = (struct sb_table){(size_t)path->count, path->time_s, path->torque_nm};
}

double sb_edge_path_at(const struct sb_edge_path *path, double time_s)
{
  const double *t = path->time_s, *y = path->torque_nm;
  for (int k = 1; k < path->count; k++) {
    if (time_s < t[k]) return y[k - 1] + (y[k] - y[k - 1]) * fmax(time_s - t[k - 1], 0.0) / (t[k] - t[k - 1]);
  }
  return y[path->count - 1];
}

/* Places closer than this are one. */
static const double same_time_s = 1e-9;

static void add_point(struct sb_edge_path *path, double time_s, double torque_nm)
{
  if (path->count > 0 && time_s <= path->time_s[path->count - 1] + same_time_s) return;
  path->time_s[path->count] = time_s;
  path->torque_nm[path->count++] = torque_nm;
}

struct sb_edge_path sb_edge_path_above(double from_nm, double to_nm, double most_nm, double rate_nm_s, double time_s)
{
  struct sb_edge_path path = {.count = 0};
  const double to = fmin(to_nm, most_nm);
  const double from = fmin(fmin(from_nm, most_nm), to + rate_nm_s * time_s);
  const double rising_s = (most_nm - from) / rate_nm_s, falling_s = time_s - (most_nm - to) / rate_nm_s;
  const double meeting_s = 0.5 * (time_s + (to - from) / rate_nm_s);
  add_point(&path, 0.0, from);
  if (meeting_s <= rising_s) {
    add_point(&path, meeting_s, from + rate_nm_s * meeting_s);
  } else {
    add_point(&path, rising_s, most_nm);
    add_point(&path, falling_s, most_nm);
  }
  add_point(&path, time_s, to);
  return path;
}

struct sb_edge_path sb_edge_path_below(double from_nm, double to_nm, double least_nm, double rate_nm_s, double time_s)
{
  struct sb_edge_path path = sb_edge_path_above(-from_nm, -to_nm, -least_nm, rate_nm_s, time_s);
  for (int k = 0; k < path.count; k++) path.torque_nm[k] = -path.torque_nm[k];
  return path;
}
