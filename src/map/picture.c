// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/picture.h"

/* The part of the plane that is drawn: as fine as this many points along each axis can tell. */
enum { COARSE = 512 };

static void paint(const struct sb_map_picture *picture, struct sb_sketch *sketch)
{
  picture->paint(sketch, picture->context);
  for (int r = 0; r < sketch->row_count; r++) {
    const int ordered = sb_map_ordered_count(&picture->downshift, &picture->upshift, sketch->rows[r]);
    for (int c = 0; c < sketch->column_count; c++) {
      if (sketch->columns[c] >= ordered) sketch->marks[r * sketch->column_count + c] = ' ';
    }
  }
}

static enum sb_status choose_part(const struct sb_map_picture *picture, struct sb_span *downshift,
                                  struct sb_span *upshift, struct sb_error *err)
{
  struct sb_sketch sketch;
  const enum sb_status status = sb_sketch_init(&sketch, *downshift, *upshift, COARSE, err);
  if (status != SB_OK) return status;
  paint(picture, &sketch);
  if (sb_sketch_find_changes(&sketch, downshift, upshift)) {
    sb_sketch_make_room(downshift, sb_map_axis_index(&picture->downshift, picture->own_downshift_fraction),
                        picture->downshift.count);
    sb_sketch_make_room(upshift, sb_map_axis_index(&picture->upshift, picture->own_upshift_fraction),
                        picture->upshift.count);
  }
  sb_sketch_clear(&sketch);
  return SB_OK;
}

enum sb_status sb_map_draw(FILE *out, const struct sb_map_picture *picture, struct sb_error *err)
{
  struct sb_span downshift = {0, picture->downshift.count - 1}, upshift = {0, picture->upshift.count - 1};
  enum sb_status status = picture->is_whole ? SB_OK : choose_part(picture, &downshift, &upshift, err);
  if (status != SB_OK) return status;
  const struct sb_picture_axis across = sb_map_picture_axis("downshift threshold", &picture->downshift);
  const struct sb_picture_axis upward = sb_map_picture_axis("upshift threshold", &picture->upshift);
  struct sb_picture drawn;
  status = sb_picture_init(&drawn, &across, downshift, &upward, upshift, err);
  if (status != SB_OK) return status;
  paint(picture, &drawn.sketch);
  sb_picture_mark_point(&drawn, sb_fields_rounded_percent(picture->own_downshift_fraction),
                        sb_fields_rounded_percent(picture->own_upshift_fraction), '@');
  sb_picture_write(out, &drawn);
  sb_picture_clear(&drawn);
  return SB_OK;
}

void sb_map_write_own_mark(FILE *out, double own_downshift_fraction, double own_upshift_fraction)
{
  fprintf(out, "  @  the scenario's own: downshift %.6g %%, upshift %.6g %%\n",
          sb_fields_rounded_percent(own_downshift_fraction), sb_fields_rounded_percent(own_upshift_fraction));
}
