// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * magnet.h - how the motor's magnets weaken with heat.
 *
 *   k(T) = k (1 + a (T - Tref))    torque constant and voltage constant; k as given holds at Tref
 *
 * T is the temperature of the housing, which the magnets are fixed to; that of the winding where there is no housing. The loss
 * comes back when the magnets cool: what a magnet loses for good above the knee of its material is left out, and friction
 * stays. a is the temperature coefficient of the remanence, which the field in the air gap follows.
 *
 * Source of the materials' coefficients: one table that has all four (neomagnetsupplier.com, "magnets type"), ferrite -0.20,
 * neodymium -0.12, samarium cobalt -0.04, alnico -0.02 % per K. Others agree for ferrite, and give neodymium -0.09 to -0.13 and
 * samarium cobalt -0.03 to -0.05 (Modelica Standard Library, Magnetic.FluxTubes.Material.HardMagnetic, at 20 C: -0.20, -0.10,
 * -0.04 and -0.03; wiki-40m.ligo.caltech.edu, MagneticSuspension/Properties). Checked in tests/machine/test_magnet.c.
 */
#ifndef SHIFTBAND_MAGNET_H
#define SHIFTBAND_MAGNET_H

#include <stdbool.h>

#include "shiftband/winding.h"

#ifdef __cplusplus
extern "C" {
#endif

/* X(code, name, coefficient in 1 / K) */
#define SB_MAGNET_LIST(X)                                  \
  X(SB_MAGNET_FERRITE, "ferrite", -0.0020)                 \
  X(SB_MAGNET_NEODYMIUM, "neodymium", -0.0012)             \
  X(SB_MAGNET_SAMARIUM_COBALT, "samarium cobalt", -0.0004) \
  X(SB_MAGNET_ALNICO, "alnico", -0.0002)

enum sb_magnet_material {
  SB_MAGNET_NONE, /* the coefficient was given as a number */
#define SB_MAGNET_CODE(code, ...) code,
  SB_MAGNET_LIST(SB_MAGNET_CODE)
#undef SB_MAGNET_CODE
};

/* No magnet is taken as weaker than this share: a straight line says nothing about one that loses its magnetism. */
#define SB_MAGNET_LEAST 0.1

struct sb_magnet {
  bool is_present;    /* needs a winding that is present */
  double per_k;       /* a, 1 / K, -0.005..0 */
  double reference_c; /* Tref, deg C: the winding's */
};

/* Of a material; NAN for none. Pure. */
double sb_magnet_per_k(enum sb_magnet_material material);

/* The magnets' temperature, deg C. Pure. */
double sb_magnet_c(const struct sb_winding *winding, const struct sb_warmth *warmth);

/* k(T) over k; 1 without a magnet. Pure. */
double sb_magnet_ratio(const struct sb_magnet *magnet, double magnet_c);

#ifdef __cplusplus
}
#endif

#endif
