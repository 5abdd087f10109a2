// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/ledger.h"

#include <math.h>

double sb_ledger_residual_j(const struct sb_ledger *ledger)
{
  double sum = 0.0;
#define ADD_LINE(field, name) sum += ledger->field;
  SB_LEDGER_LINES(ADD_LINE)
#undef ADD_LINE
  return ledger->given - sum;
}

double sb_ledger_residual_ratio(const struct sb_ledger *ledger)
{
  double scale = ledger->throughput;
#define GREATEST_LINE(field, name) scale = fmax(scale, fabs(ledger->field));
  SB_LEDGER_LINES(GREATEST_LINE)
#undef GREATEST_LINE
  return scale > 0.0 ? fabs(sb_ledger_residual_j(ledger)) / scale : 0.0;
}
