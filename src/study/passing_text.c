// SPDX-License-Identifier: GPL-3.0-or-later
/* The share of samples that passes, drawn over the plane. */
#include "map/picture.h"
#include "study/passing.h"
#include "study/share.h"

static void paint(struct sb_sketch *sketch, const void *context)
{
  const struct sb_passing *passing = context;
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const int passed = sb_passing_at(passing, sketch->columns[c], sketch->rows[r]),
                never_shift = sb_passing_never_shift_at(passing, sketch->columns[c], sketch->rows[r]);
      sketch->marks[r * sketch->column_count + c] = sb_share_mark(passed, never_shift, passing->samples);
    }
  }
}

enum sb_status sb_passing_write_picture(FILE *out, const struct sb_passing *passing, double own_downshift_fraction,
                                        double own_upshift_fraction, bool is_whole, bool has_never_shifting,
                                        struct sb_error *err)
{
  const struct sb_map_picture picture = {
      passing->downshift, passing->upshift, own_downshift_fraction, own_upshift_fraction, is_whole, paint, passing};
  const enum sb_status status = sb_map_draw(out, &picture, err);
  if (status != SB_OK) return status;
  sb_share_write_legend(out, passing->samples, has_never_shifting);
  sb_map_write_own_mark(out, own_downshift_fraction, own_upshift_fraction);
  return SB_OK;
}
