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
