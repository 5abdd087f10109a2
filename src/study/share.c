// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/share.h"

#include <gsl/gsl_cdf.h>

#include "map/class.h"

double sb_share_least(long passed, long samples)
{
  if (passed <= 0) return 0.0;
  return gsl_cdf_beta_Pinv(1.0 - SB_SHARE_CONFIDENCE, (double)passed, (double)(samples - passed + 1));
}

char sb_share_mark(long passed, long never_shift, long total)
{
  if (passed == total) return sb_map_class_letter(never_shift == total ? SB_MAP_NEVER_SHIFTS : SB_MAP_PASSES);
  if (passed == 0) return '-';
  return (char)('0' + 10 * passed / total);
}

void sb_share_write_legend(FILE *out, long samples, bool has_never_shifting)
{
  fprintf(out, "\n  share of %ld samples that passes\n", samples);
  fprintf(out, "  .  all of them: at least %.1f %% of all such machines, with 95 %% confidence\n",
          100.0 * sb_share_least(samples, samples));
  if (has_never_shifting) {
    fprintf(out, "  %c  all of them, but none ever shifts\n", sb_map_class_letter(SB_MAP_NEVER_SHIFTS));
  }
  fprintf(out, "  9  90 %% or more, 8  80 %% or more, ... 0  less than 10 %%   -  none\n");
}
