// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/magnet.h"

#include <math.h>

double sb_magnet_per_k(enum sb_magnet_material material)
{
  static const double per_k[] = {[SB_MAGNET_NONE] = NAN,
#define MAGNET_ROW(code, name, coefficient) [code] = coefficient,
                                 SB_MAGNET_LIST(MAGNET_ROW)
#undef MAGNET_ROW
  };
  return per_k[material];
}

double sb_magnet_c(const struct sb_winding *winding, const struct sb_warmth *warmth)
{
  return winding->housing_capacity_j_k > 0.0 ? warmth->housing_c : warmth->winding_c;
}

double sb_magnet_ratio(const struct sb_magnet *magnet, double magnet_c)
{
  if (!magnet->is_present) return 1.0;
  return fmax(1.0 + magnet->per_k * (magnet_c - magnet->reference_c), SB_MAGNET_LEAST);
}
