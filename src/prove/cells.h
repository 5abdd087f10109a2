// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * cells.h - sets of states where the load changes no faster than a rate: the load is a coordinate of its own.
 *
 * Loads lie in half-open cells [L_j, L_j + h) of width h = rho Tc / m, m whole. Within n samples the load moves at most n m cells, and on its
 * way from cell j to cell k it is
 *
 *   at most   min(top_j + rho t, top_k + rho (n Tc - t), greatest)     at least   max(L_j - rho t, L_k - rho (n Tc - t), least)
 *
 * The slowest course runs under the one, the fastest under the other (edge.h). Spans are rounded outwards to a lattice of speeds,
 * so that they come to an end. More cells than CELLS_MAX are too many: then h is greater, and with it the rate, which is safe.
 *
 * For speeds forward, one manner of load that changes, and shifts that all end by the same sample; else nothing is said.
 */
#ifndef SHIFTBAND_PROVE_CELLS_H
#define SHIFTBAND_PROVE_CELLS_H

#include "prove/reach.h"
#include "shiftband/prove.h"

struct sb_cells {
  struct sb_reach *reach;
  struct sb_edge_load full;
  bool is_acting; /* the manner that changes */
  double least_nm, greatest_nm, width_nm, rate_nm_s;
  int count;                 /* of cells */
  int moves;                 /* m: cells that the load moves in a sample */
  int engaged_samples;       /* from a command to the first sample by which every shift has ended */
  int shift_samples;         /* from a command to the first sample that may decide */
  struct sb_spans *waiting;  /* owned; before a sample's reading: sb_cells_waiting() */
  struct sb_spans *commands; /* owned: sb_cells_commands() */
  bool has_left;             /* a speed backwards, a shift that ends at another sample: nothing is said */
};

/* Whether the load's rate is limited so that cells say more than bounds alone; `longest_shift_s`: of all shifts. Pure. */
bool sb_cells_apply(const struct sb_reach *reach, double longest_shift_s);

/* Finds all states; SB_ERR_MEMORY or a simulation's status. Release with sb_cells_clear(), which leaves the reach at its full bounds. */
enum sb_status sb_cells_init(struct sb_cells *cells, struct sb_reach *reach, double longest_shift_s);
void sb_cells_clear(struct sb_cells *cells);

/* What waits in a gear with so many readings in a row in a cell of the load; the commands of a way. */
struct sb_spans *sb_cells_waiting(const struct sb_cells *cells, int gear, int count, int cell);
struct sb_spans *sb_cells_commands(const struct sb_cells *cells, int gear, int way, int cell);

/* Where the load is when it starts or ends, from a cell to a cell; -1: anywhere. */
struct sb_cells_range {
  int from, to;
};

/* Binds the load to go from some cells to others within a time, s. */
void sb_cells_bind(const struct sb_cells *cells, struct sb_cells_range from, struct sb_cells_range to, double time_s);

/* States of one cell: before a sample's reading, or after the one that gives a command. */
struct sb_cells_state {
  int gear, count, cell;
  struct sb_span span;
};

/* Where states go. */
struct sb_cells_sink {
  void (*wait)(void *context, const struct sb_cells_state *state);
  void (*command)(void *context, const struct sb_cells_state *state);
  void *context;
};

/* A sample's reading: what commands; what waits is carried on to the next sample. */
void sb_cells_decide(struct sb_cells *cells, const struct sb_cells_state *at, const struct sb_cells_sink *sink);

/* Carries commands, by cell, through their shifts to the first sample that may decide. */
void sb_cells_shift(struct sb_cells *cells, int gear, int way, const struct sb_spans *commands,
                    const struct sb_cells_sink *sink);

/* A span on the lattice; notes what is outside the class. */
struct sb_span sb_cells_widened(struct sb_cells *cells, int gear, const struct sb_span *span);
struct sb_span sb_cells_widened_command(struct sb_cells *cells, int gear, const struct sb_span *span);

/* How many sets there are of what waits: gears, counts, cells. Pure. */
size_t sb_cells_places(const struct sb_cells *cells);

/* cells_answer.c: each bound, where it is tighter than the one that `out` holds. SB_ERR_MEMORY or a simulation's status. */
enum sb_status sb_cells_tighten(struct sb_cells *cells, struct sb_prove *out);

#endif
