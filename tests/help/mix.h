// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * mix.h - seeded random machines with everything mixed: plane.h's, and on top of them a vehicle with slip, bodies in its
 * way and an end of its road, a hoist with a holding brake, rotors, a battery, a winding with a cut-out and magnets that weaken, a drive that
 * holds a speed, ramps and takes orders, and an output shaft that gives.
 *
 * Invented figures, chosen so that about everything happens somewhere: see what a test counts.
 */
#ifndef SHIFTBAND_TESTS_MIX_H
#define SHIFTBAND_TESTS_MIX_H

#include "help/plane.h"

/* What to add; chances between 0 and 1. */
struct mix_chances {
  double vehicle, grip, obstacles, finish; /* the last three of a vehicle */
  double hoist, rotor;
  double battery, winding;            /* of any machine: currents are added where there are none */
  double hold, ramp, schedule, limit; /* the last one of a motor with currents */
  double shaft, backlash;             /* the second of a shaft */
  double magnet;                      /* of a winding */
};

extern const struct mix_chances mix_everything;

enum { MIX_COMMAND_MAX = 6, MIX_GRADE_MAX = 5, MIX_CELL_MAX = 4, MIX_ROOM = 4 * 512 };

/* A model with the tables that it points to: it stays where it is. */
struct mix_case {
  struct plane_case plane; /* with the model and the lattice */
  double columns[MIX_ROOM];
  double grade_m[MIX_GRADE_MAX], grade[MIX_GRADE_MAX];
  double command_s[MIX_COMMAND_MAX], command[MIX_COMMAND_MAX];
  double charge[MIX_CELL_MAX], cell_v[MIX_CELL_MAX];
};

void mix_random_case(gsl_rng *rng, const struct mix_chances *chances, struct mix_case *out);

/* The machine of everything that a seed draws. */
void mix_seeded_case(unsigned long seed, struct mix_case *out);

/* Whether a seed is to be looked at: SHIFTBAND_TEST_CASE=number asks for one case alone. */
bool mix_is_wanted(unsigned long seed);

#endif
