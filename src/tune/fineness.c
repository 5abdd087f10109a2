// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/fineness.h"

#include <math.h>

#include "map/lattice.h"
#include "study/study.h"

/* Maps of all machines may take so much: about a quarter of a minute of one core. */
static const double effort_max = 120e6;

static struct sb_map_axis coarsened(const struct sb_map_axis *axis, int stride)
{
  const double step_fraction = stride * axis->step_fraction;
  return (struct sb_map_axis){step_fraction, step_fraction, axis->count / stride};
}

/* What maps of all machines would take on a lattice: as many times what those of the first one do. */
static enum sb_status measure(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                              const struct sb_map_axis *axis, double *effort, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  *effort = 0.0;
  for (int pair = tuning->first_pair; pair <= tuning->last_pair && status == SB_OK; pair++) {
    const struct sb_map_options options = {.pair = pair,
                                           .downshift = *axis,
                                           .upshift = *axis,
                                           .leaf_max = SB_MAP_LEAF_MAX,
                                           .is_passing_asked = true,
                                           .stop = request->stop};
    struct sb_map map;
    status = sb_map_exact(&tuning->machines[0].model, &options, false, &map, err);
    if (status != SB_OK) return status;
    *effort += tuning->machine_count * map.effort;
    sb_map_clear(&map);
  }
  return status;
}

/* As fine as maps of all machines are not too much work, from coarse to fine. Work grows at most as the points along a threshold:
 * where so many times the work of a coarse lattice is not too much, the finest one needs no trial. */
static enum sb_status choose(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                             const struct sb_map_axis *finest, struct sb_map_axis *axis, struct sb_error *err)
{
  static const int strides[] = {20, 10, 5, 2};
  int chosen = 1;
  for (size_t k = 0; k < sizeof strides / sizeof *strides; k++) {
    if (finest->count / strides[k] < SB_STUDY_POINTS_DEFAULT) continue; /* few points are no trouble */
    const struct sb_map_axis next = coarsened(finest, strides[k]);
    double effort;
    const enum sb_status status = measure(request, tuning, &next, &effort, err);
    if (status != SB_OK) return status;
    if (chosen == 1 || effort < effort_max) chosen = strides[k];
    if (strides[k] * effort < effort_max) chosen = 1;
    if (chosen == 1 || effort >= effort_max) break;
  }
  *axis = coarsened(finest, chosen);
  return SB_OK;
}

enum sb_status sb_fineness_choose(const struct sb_tune_request *request, const struct sb_rounds *tuning,
                                  struct sb_map_axis *axis, struct sb_error *err)
{
  const struct sb_map_axis finest = sb_tune_options_default(&tuning->machines[0].model).axis;
  const int usual = request->decider != NULL ? SB_STUDY_POINTS_DEFAULT : 0;
  const int points = request->points > 0 ? (int)request->points : usual;
  if (points == 0) return choose(request, tuning, &finest, axis, err);
  *axis = coarsened(&finest, sb_map_axis_stride(&finest, points));
  return SB_OK;
}

int sb_fineness_dwell_stride(const struct sb_tune_request *request, const struct sb_rounds *tuning, int usual)
{
  const struct sb_map_axis finest = sb_tune_options_default(&tuning->machines[0].model).axis;
  const double stride = tuning->axis.step_fraction / finest.step_fraction;
  return request->decider != NULL ? usual : (int)fmax(1.0, floor(usual / stride + 1e-6));
}
