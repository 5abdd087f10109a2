// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/poly.h"

#include <math.h>

struct sb_poly sb_poly_of_curve(const struct sb_load_curve *curve, double per_motor)
{
  return (struct sb_poly){.k = curve->c0_nm,
                          .per_s = curve->per_s,
                          .lin = curve->per_rad_s * per_motor,
                          .quad = curve->per_rad_s2 * per_motor * fabs(per_motor),
                          .per_rad = curve->per_rad,
                          .bend_gain = sb_load_is_bent(curve) ? 1.0 : 0.0};
}

struct sb_poly sb_poly_from(const struct sb_poly *load, double gain, double k, double lin)
{
  return (struct sb_poly){.k = k + gain * load->k,
                          .per_s = gain * load->per_s,
                          .lin = lin + gain * load->lin,
                          .quad = gain * load->quad,
                          .per_rad = gain * load->per_rad,
                          .bend_gain = gain * load->bend_gain};
}

double sb_poly_at(const struct sb_poly *poly, const struct sb_load_curve *curve, double time_s, double angle_rad,
                  double speed)
{
  double value = poly->k + poly->per_s * (time_s - curve->time_s) + poly->lin * speed +
                 poly->quad * speed * fabs(speed) + poly->per_rad * (angle_rad - curve->angle_rad);
  if (poly->bend_gain != 0.0) value += poly->bend_gain * sb_load_bends_nm(curve, time_s, angle_rad);
  return value;
}
