// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/share.h"

#include <gsl/gsl_cdf.h>

double sb_share_least(long passed, long samples)
{
  if (passed <= 0) return 0.0;
  return gsl_cdf_beta_Pinv(1.0 - SB_SHARE_CONFIDENCE, (double)passed, (double)(samples - passed + 1));
}

char sb_share_mark(long passed, long total)
{
  if (passed == total) return '.';
  if (passed == 0) return '-';
  return (char)('0' + 10 * passed / total);
}

void sb_share_write_legend(FILE *out, long samples)
{
  fprintf(out, "\n  share of %ld samples that passes\n", samples);
  fprintf(out, "  .  all of them: at least %.1f %% of all such machines, with 95 %% confidence\n",
          100.0 * sb_share_least(samples, samples));
  fprintf(out, "  9  90 %% or more, 8  80 %% or more, ... 0  less than 10 %%   -  none\n");
}
