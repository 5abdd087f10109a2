// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/lattice.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/units.h"

/* The index of the pair, or -1. */
static int find_pair(const struct sb_gearbox *gearbox, const char *text)
{
  for (int p = 0; p + 1 < gearbox->gear_count; p++) {
    char name[2 * SB_NAME_SIZE + 2], number[16];
    snprintf(name, sizeof name, "%s/%s", gearbox->gears[p].name, gearbox->gears[p + 1].name);
    snprintf(number, sizeof number, "%d", p + 1);
    if (strcmp(name, text) == 0 || strcmp(number, text) == 0) return p;
  }
  return -1;
}

static enum sb_status read_pair(const struct sb_gearbox *gearbox, const char *text, int *pair, struct sb_error *err)
{
  if (gearbox->gear_count < 2) {
    return sb_fail(err, SB_ERR_SCENARIO, "a map of thresholds needs two gears or more");
  }
  *pair = text == NULL ? 0 : find_pair(gearbox, text);
  if (*pair >= 0) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "--pair: no pair \"%s\"; the first is %s/%s, or 1", text, gearbox->gears[0].name,
                 gearbox->gears[1].name);
}

/* Narrows an axis to the lattice points of a range in percent, with or without its unit. */
static enum sb_status read_range(const char *option, const char *text, struct sb_map_axis *axis, struct sb_error *err)
{
  char with_unit[64];
  struct sb_error reason;
  double least, greatest;
  if (text == NULL) return SB_OK;
  snprintf(with_unit, sizeof with_unit, "%.50s%s", text, strchr(text, '%') != NULL ? "" : " %");
  if (sb_units_parse_range(with_unit, SB_PERCENT, &least, &greatest, &reason) != SB_OK) {
    return sb_fail(err, SB_ERR_USAGE, "%s %s", option, reason.text);
  }
  const double step = axis->step_fraction;
  const double first = fmax(ceil(least / step - 1e-6), 1.0);
  const double last = fmin(floor(greatest / step + 1e-6), floor(10.0 / step + 1e-6));
  if (first > last) {
    return sb_fail(err, SB_ERR_USAGE, "%s %s contains no threshold: they are multiples of %.6g %%, above 0", option,
                   text, 100.0 * step);
  }
  *axis = (struct sb_map_axis){first * step, step, (int)(last - first) + 1};
  return SB_OK;
}

/* A downshift threshold lies below 100 %, and below an upshift threshold. */
static enum sb_status order_axes(const char *asked, struct sb_map_options *options, struct sb_error *err)
{
  struct sb_map_axis *downshift = &options->downshift;
  const int below = (int)ceil((1.0 - downshift->first_fraction) / downshift->step_fraction - 1e-6);
  downshift->count = (int)fmin(downshift->count, below);
  if (downshift->count < 1) {
    return sb_fail(err, SB_ERR_USAGE, "--downshift %s: a downshift threshold lies below 100 %%", asked);
  }
  const double upshift_last = sb_map_axis_at(&options->upshift, options->upshift.count - 1);
  if (downshift->first_fraction + 0.5 * downshift->step_fraction <= upshift_last) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "--downshift and --upshift leave no pair with downshift below upshift");
}

enum sb_status sb_map_plane_parse(const struct sb_model *model, const char *pair, const char *downshift,
                                  const char *upshift, struct sb_map_options *options, struct sb_error *err)
{
  int index = 0;
  enum sb_status status = read_pair(&model->gearbox, pair, &index, err);
  if (status != SB_OK) return status;
  struct sb_map_options out = sb_map_options_default(model);
  out.pair = index;
  status = read_range("--downshift", downshift, &out.downshift, err);
  if (status == SB_OK) status = read_range("--upshift", upshift, &out.upshift, err);
  if (status == SB_OK) status = order_axes(downshift, &out, err);
  if (status == SB_OK) *options = out;
  return status;
}
