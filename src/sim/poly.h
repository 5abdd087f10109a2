// SPDX-License-Identifier: GPL-3.0-or-later
/* poly.h - internal: a rate or a torque as a sum of what depends on time, speed, angle and the load's waves. */
#ifndef SHIFTBAND_SIM_POLY_H
#define SHIFTBAND_SIM_POLY_H

#include "shiftband/load.h"

/* k + per_s tau + lin v + quad v|v| + per_rad (a - a0) + bend_gain * sum of the load's waves and grades. */
struct sb_poly {
  double k, per_s, lin, quad, per_rad, bend_gain;
};

/* A load's curve, in a speed of which the output's is per_motor times as much. */
struct sb_poly sb_poly_of_curve(const struct sb_load_curve *curve, double per_motor);

/* gain * load + k + lin v */
struct sb_poly sb_poly_from(const struct sb_poly *load, double gain, double k, double lin);

/* Its value at an instant; `curve` is the one that it was made of. Pure. */
double sb_poly_at(const struct sb_poly *poly, const struct sb_load_curve *curve, double time_s, double angle_rad,
                  double speed);

#endif
