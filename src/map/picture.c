// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/picture.h"

/* The part of the plane that is drawn: as fine as this many points along each axis can tell. */
enum { COARSE = 512 };

static void paint(const struct sb_map_picture *picture, struct sb_sketch *sketch)
{
  picture->paint(sketch, picture->context);
  for (int r = 0; r < sketch->row_count; r++) {
    const int ordered = sb_map_ordered_count(&picture->down, &picture->up, sketch->rows[r]);
    for (int c = 0; c < sketch->column_count; c++) {
      if (sketch->columns[c] >= ordered) sketch->marks[r * sketch->column_count + c] = ' ';
    }
  }
}

static enum sb_status choose_part(const struct sb_map_picture *picture, struct sb_span *down, struct sb_span *up,
                                  struct sb_error *err)
{
  struct sb_sketch sketch;
  const enum sb_status status = sb_sketch_init(&sketch, *down, *up, COARSE, err);
  if (status != SB_OK) return status;
  paint(picture, &sketch);
  if (sb_sketch_find_changes(&sketch, down, up)) {
    sb_sketch_make_room(down, sb_map_axis_index(&picture->down, picture->own_downshift_fraction), picture->down.count);
    sb_sketch_make_room(up, sb_map_axis_index(&picture->up, picture->own_upshift_fraction), picture->up.count);
  }
  sb_sketch_clear(&sketch);
  return SB_OK;
}

enum sb_status sb_map_draw(FILE *out, const struct sb_map_picture *picture, struct sb_error *err)
{
  struct sb_span down = {0, picture->down.count - 1}, up = {0, picture->up.count - 1};
  enum sb_status status = picture->is_whole ? SB_OK : choose_part(picture, &down, &up, err);
  if (status != SB_OK) return status;
  const struct sb_picture_axis across = sb_map_picture_axis("downshift threshold", &picture->down);
  const struct sb_picture_axis upward = sb_map_picture_axis("upshift threshold", &picture->up);
  struct sb_picture drawn;
  status = sb_picture_init(&drawn, &across, down, &upward, up, err);
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
