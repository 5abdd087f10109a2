// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `load.bounds`: its keys and its checks. */
#include <math.h>

#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define HERE "load.bounds"

static const struct sb_choice manners[] = {{"resists", SB_BOUNDS_RESISTS}, {"acts", SB_BOUNDS_ACTS}, {NULL, 0}};

static const struct sb_key keys[] = {
    {CHOICE("manner", manners), .flags = SB_REQUIRED, MODEL(load.bounds.manner),
     .meaning =
         "The parts that the bounds are for: all that resist together, or all that act together. The others keep "
         "the least and the greatest torque that they have in this scenario."},
    {QUANTITY("minimum", SB_TORQUE), BETWEEN(-TORQUE_MAX, TORQUE_MAX), .default_words = "the least of those parts",
     MODEL(load.bounds.least_nm), .meaning = "The least torque that they ever have together."},
    {QUANTITY("maximum", SB_TORQUE), BETWEEN(-TORQUE_MAX, TORQUE_MAX), .default_words = "the greatest of those parts",
     MODEL(load.bounds.greatest_nm), .meaning = "The greatest torque that they ever have together."},
    {QUANTITY("rate", SB_TORQUE_RATE), .flags = SB_ABOVE, BETWEEN(0, 1e9), .default_words = "any rate",
     MODEL(load.bounds.rate_nm_s), .meaning = "The greatest rate at which their torque changes."},
    {.name = NULL}};

const struct sb_section sb_bounds_section = {
    "bounds", "what is known of the load, whatever its profile; `prove` alone looks at it", keys, NULL};

static void check_order(struct sb_reader *reader, const struct sb_load_bounds *bounds)
{
  if (bounds->manner == SB_BOUNDS_RESISTS && bounds->least_nm < 0.0) {
    sb_reader_fault(reader, HERE ".minimum", "needs a torque that is not negative, since it resists, found %.10g N.m",
                    bounds->least_nm);
  } else if (!(bounds->least_nm <= bounds->greatest_nm)) {
    sb_reader_fault(reader, sb_reader_has(reader, HERE ".maximum") ? HERE ".maximum" : HERE ".minimum",
                    "needs a range whose minimum is not above its maximum, found %.10g..%.10g N.m", bounds->least_nm,
                    bounds->greatest_nm);
  }
}

void sb_reader_finish_bounds(struct sb_reader *reader)
{
  const struct sb_model *model = &reader->draft->model;
  struct sb_load_bounds *bounds = &reader->draft->model.load.bounds;
  const struct sb_node *node = sb_reader_node(reader, HERE);
  if (node == NULL || node->kind != SB_NODE_MAP) {
    *bounds = (struct sb_load_bounds){.rate_nm_s = INFINITY};
    return;
  }
  if (reader->faults->total > 0 || reader->is_out_of_memory) return; /* the range of the parts may not be there */
  double least_nm, greatest_nm;
  sb_load_share_range_nm(&model->load, model->run.duration_s,
                         bounds->manner == SB_BOUNDS_ACTS ? SB_SHARE_ACTING : SB_SHARE_RESISTING, &least_nm,
                         &greatest_nm);
  sb_reader_default(reader, HERE ".minimum", &bounds->least_nm, least_nm);
  sb_reader_default(reader, HERE ".maximum", &bounds->greatest_nm, greatest_nm);
  if (isnan(bounds->rate_nm_s)) bounds->rate_nm_s = INFINITY;
  check_order(reader, bounds);
}
