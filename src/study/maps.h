// SPDX-License-Identifier: GPL-3.0-or-later
/* maps.h - internal: what the exact maps of a study come to, at each charge of a battery or at the one that is given. */
#ifndef SHIFTBAND_STUDY_MAPS_H
#define SHIFTBAND_STUDY_MAPS_H

#include "study/evaluator.h"
#include "study/passing.h"

/* Where one threshold passes in all samples while the other is the scenario's own: the unbroken stretch of lattice points
 * that is nearest to the own one; NAN: none. When the own one does not pass, its nearer end is where to go. */
struct sb_map_stretch {
  double least_fraction, greatest_fraction;
};

struct sb_map_point {
  struct sb_passing passing; /* owned; without its counts where there are several points */
  struct sb_passing_best best;
  struct sb_passing_shares shares; /* of the plane's lattice points */
  long refused;                    /* samples that are no valid scenario */
  /* Over a charge: */
  double charge_fraction;        /* at the run's start */
  double voltage_v;              /* open circuit, there; as written */
  long own_passed;               /* samples that pass at the scenario's own thresholds */
  long own_never_shift;          /* of these, those that never shift */
  struct sb_map_verdict verdict; /* of the first sample at the scenario's own thresholds */
  struct sb_map_figures figures;
  struct sb_map_stretch upshift, downshift;
};

/* Whether the study goes over the charge of a battery. */
static inline bool sb_maps_have_charge(const struct sb_study *study)
{
  return study->axis_count > 0;
}

static inline const struct sb_map_point *sb_map_points(const struct sb_study_report *report)
{
  return report->points;
}

enum sb_status sb_maps_write_text(FILE *out, const struct sb_study_report *report, struct sb_error *err);
int sb_maps_write_csv(FILE *out, const struct sb_study_report *report);
void sb_maps_put(struct sb_json *json, const struct sb_study_report *report);

#endif
