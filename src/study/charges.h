// SPDX-License-Identifier: GPL-3.0-or-later
/* charges.h - the exact map of thresholds at several charges of a battery, from full to its end in use. */
#ifndef SHIFTBAND_STUDY_CHARGES_H
#define SHIFTBAND_STUDY_CHARGES_H

#include "shiftband/map.h"

/* Where one threshold holds while the other is the scenario's own: the unbroken stretch of lattice points that is nearest
 * to the own one; NAN: none. When the own one does not hold, its nearer end is where to go. */
struct sb_map_held {
  double least_fraction, greatest_fraction;
};

/* What the map at one charge comes to. */
struct sb_map_charge {
  double charge_fraction;        /* at the run's start */
  double voltage_v;              /* open circuit, there */
  struct sb_map_verdict verdict; /* of the scenario's own thresholds */
  struct sb_map_figures figures;
  double safe_share; /* of the plane's lattice points, those that hold */
  struct sb_map_held up, down;
};

/*
 * Maps a model, whose battery must be present, at `count` charges, evenly from full to sb_discharge_end_fraction(), over
 * one plane. Fills charges[count]; fails as sb_map_exact() does.
 */
enum sb_status sb_map_over_discharge(const struct sb_model *model, const struct sb_map_options *options,
                                     struct sb_map_charge *charges, int count, struct sb_error *err);

#endif
