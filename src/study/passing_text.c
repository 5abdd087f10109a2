// SPDX-License-Identifier: GPL-3.0-or-later
/* The share of samples that hold, drawn over the plane. */
#include "map/report.h"
#include "study/passing.h"

enum { COARSE = 512 };

static char mark_of(long survived, long samples)
{
  if (survived == samples) return '.';
  if (survived == 0) return '-';
  return (char)('0' + 10 * survived / samples);
}

static void paint(struct sb_sketch *sketch, const struct sb_survival *survival)
{
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const int down = sketch->columns[c], up = sketch->rows[r];
      const bool is_meant = sb_map_axis_number(&survival->down, down) < sb_map_axis_number(&survival->up, up);
      const int survived = sb_survival_at(survival, down, up);
      sketch->marks[r * sketch->column_count + c] = is_meant ? mark_of(survived, survival->samples) : ' ';
    }
  }
}

static enum sb_status choose_part(const struct sb_survival *survival, const int own[2], struct sb_span *down,
                                  struct sb_span *up, struct sb_error *err)
{
  struct sb_sketch sketch;
  const enum sb_status status = sb_sketch_init(&sketch, *down, *up, COARSE, err);
  if (status != SB_OK) return status;
  paint(&sketch, survival);
  if (sb_sketch_find_changes(&sketch, down, up)) {
    sb_span_make_room(down, own[0], survival->down.count);
    sb_span_make_room(up, own[1], survival->up.count);
  }
  sb_sketch_clear(&sketch);
  return SB_OK;
}

static void write_legend(FILE *out, const struct sb_survival *survival, double own_downshift_below_pct,
                         double own_upshift_above_pct)
{
  const long samples = survival->samples;
  fprintf(out, "\n  share of %ld samples that hold\n", samples);
  fprintf(out, "  .  all of them: at least %.1f %% of all such machines, with 95 %% confidence\n",
          100.0 * sb_survival_least_share(samples, samples));
  fprintf(out, "  9  90 %% or more, 8  80 %% or more, ... 0  less than 10 %%   -  none\n");
  fprintf(out, "  @  the scenario's own: down %.6g %%, up %.6g %%\n", own_downshift_below_pct, own_upshift_above_pct);
}

enum sb_status sb_survival_write_picture(FILE *out, const struct sb_survival *survival, double own_downshift_fraction,
                                         double own_upshift_fraction, bool is_whole, struct sb_error *err)
{
  const struct sb_map_axis *down = &survival->down, *up = &survival->up;
  const int own[2] = {sb_map_axis_index(down, own_downshift_fraction), sb_map_axis_index(up, own_upshift_fraction)};
  struct sb_span columns = {0, down->count - 1}, rows = {0, up->count - 1};
  enum sb_status status = is_whole ? SB_OK : choose_part(survival, own, &columns, &rows, err);
  if (status != SB_OK) return status;
  const struct sb_picture_axis across = sb_map_picture_axis("down", down), upward = sb_map_picture_axis("up", up);
  struct sb_picture picture;
  status = sb_picture_init(&picture, &across, columns, &upward, rows, err);
  if (status != SB_OK) return status;
  paint(&picture.sketch, survival);
  sb_picture_mark_point(&picture, sb_map_pct(own_downshift_fraction), sb_map_pct(own_upshift_fraction), '@');
  sb_picture_write(out, &picture);
  sb_picture_clear(&picture);
  write_legend(out, survival, sb_map_pct(own_downshift_fraction), sb_map_pct(own_upshift_fraction));
  return SB_OK;
}
