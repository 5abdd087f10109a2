// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * raster.h - internal: the lattice of thresholds as a picture of what passes, added up over machines.
 */
#ifndef SHIFTBAND_TUNE_RASTER_H
#define SHIFTBAND_TUNE_RASTER_H

#include <stdint.h>

#include "map/counts.h"
#include "shiftband/tune.h"

struct sb_raster {
  int side;                  /* lattice points along each axis */
  struct sb_counts passing;  /* at each point, the machines that pass */
  struct sb_counts shifting; /* and those of them that shift at all: where none does, nothing is tuned */
  int32_t *
      margin; /* margin[side * side]: lattice steps to the nearest point at which some machine fails or none shifts; 0 there */
  int *
      least_upshift; /* least_upshift[side]: up index from which no machine has a hunting band; 0 everywhere: not asked for */
  int *band_machine;      /* band_machine[side]: which asks for that */
  int greatest_downshift; /* down index above which no controller takes a down: it lies below 100 % */
  int greatest_upshift;   /* up index above which some machine's slower gear never comes under its lightest load */
  int low_machine;        /* which */
  /* Summed over the machines as written; NULL when not asked for: how far the output turns to and fro, for how long, and the energy. */
  float *way_rad, *time_s, *energy_j;
  /* Asked for of every load (prove/): the least swing of all machines that shift by turns, N m; < 0: not proved in all of them, or not
   * looked at. NULL: not asked for. */
  float *swing_nm;
  int machine_count;
};

enum sb_status sb_raster_init(struct sb_raster *raster, int side, bool has_figures, struct sb_error *err);
void sb_raster_clear(struct sb_raster *raster);

/* Adds a machine's map: its cells are entered as differences, summed up by sb_raster_finish(). */
void sb_raster_add(struct sb_raster *raster, const struct sb_map *map);
void sb_raster_add_figures(struct sb_raster *raster, const struct sb_map *map);

/* Nowhere may up be above this index, for the sake of a machine. */
void sb_raster_cap_up(struct sb_raster *raster, int greatest_upshift, int machine);

/* From here on up must be at least this at a down index, for the sake of a machine. */
void sb_raster_ask_up(struct sb_raster *raster, int downshift, int least_upshift, int machine);

/* Whether up is high enough that no machine has a hunting band. */
static inline bool sb_raster_has_no_band(const struct sb_raster *raster, int downshift, int upshift)
{
  return upshift >= raster->least_upshift[downshift];
}

/* Nowhere may down be above this index: what lies beyond counts as outside the lattice. */
void sb_raster_cap_down(struct sb_raster *raster, int greatest_downshift);

/* Whether both closed forms let a point be. */
static inline bool sb_raster_is_clear(const struct sb_raster *raster, int downshift, int upshift)
{
  return sb_raster_has_no_band(raster, downshift, upshift) && upshift <= raster->greatest_upshift;
}

/* Sums up and calculates the margins. Call once, after the last machine. */
void sb_raster_finish(struct sb_raster *raster, int machine_count);

/* The widest margin of all points; 0: nothing passes. */
int sb_raster_widest(const struct sb_raster *raster);

/* Machines that pass at a lattice point. */
static inline int sb_raster_passing(const struct sb_raster *raster, int downshift, int upshift)
{
  return sb_counts_at(&raster->passing, downshift, upshift);
}

/* Those of them that shift. */
static inline int sb_raster_shifting(const struct sb_raster *raster, int downshift, int upshift)
{
  return sb_counts_at(&raster->shifting, downshift, upshift);
}

static inline int sb_raster_margin(const struct sb_raster *raster, int downshift, int upshift)
{
  return raster->margin[downshift * raster->side + upshift];
}

#endif
