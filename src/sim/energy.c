// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>

#include "shiftband/sim.h"

double sb_energy_residual_j(const struct sb_energy *energy)
{
  double sum = 0.0;
#define ADD_LINE(field, name) sum += energy->field;
  SB_ENERGY_LINES(ADD_LINE)
#undef ADD_LINE
  return energy->given - sum;
}

double sb_energy_residual_ratio(const struct sb_energy *energy)
{
  double scale = energy->throughput;
#define GREATEST_LINE(field, name) scale = fmax(scale, fabs(energy->field));
  SB_ENERGY_LINES(GREATEST_LINE)
#undef GREATEST_LINE
  return scale > 0.0 ? fabs(sb_energy_residual_j(energy)) / scale : 0.0;
}

void sb_energy_close_over_limit(struct sb_sums *sums, double limit_nm)
{
  const struct sb_over_limit *spell = &sums->over_now;
  const bool is_lasting = spell->total_s > SB_OVERLOAD_LASTS_S || spell->impulse_nms > SB_OVERLOAD_LASTS_S * limit_nm;
  struct sb_over_limit *all = is_lasting ? &sums->over_lasting : &sums->over_crests;
  if (spell->count == 0) return;
  if (all->count == 0) all->first_s = spell->first_s;
  all->count += spell->count;
  all->last_s = spell->last_s;
  all->total_s += spell->total_s;
  all->impulse_nms += spell->impulse_nms;
  all->greatest_nm = fmax(all->greatest_nm, spell->greatest_nm);
  sums->over_now.count = 0;
}
