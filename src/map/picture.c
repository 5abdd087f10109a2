// SPDX-License-Identifier: GPL-3.0-or-later
/* A map as a picture with its legend, and the own thresholds in words. */
#include <math.h>

#include "map/report.h"

/* The part of the plane that is drawn: as fine as this many points along each axis can tell. */
enum { COARSE = 512 };

/* Paints each cell above the diagonal; lattice points on or below it stay empty. */
static void paint(struct sb_sketch *sketch, const struct sb_map *map)
{
  const struct sb_map_options *options = &map->options;
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    const char letter = sb_map_class_letter(sb_map_class_of(&cell->verdict));
    sb_sketch_paint(sketch, (struct sb_span){cell->down_first, cell->down_last},
                    (struct sb_span){cell->up_first, cell->up_last}, letter);
  }
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const bool is_meant =
          sb_map_axis_number(&options->down, sketch->columns[c]) < sb_map_axis_number(&options->up, sketch->rows[r]);
      if (!is_meant) sketch->marks[r * sketch->column_count + c] = ' ';
    }
  }
}

static enum sb_status choose_part(const struct sb_map *map, const struct sb_map_own *own, struct sb_span *down,
                                  struct sb_span *up, struct sb_error *err)
{
  struct sb_sketch sketch;
  const enum sb_status status = sb_sketch_init(&sketch, *down, *up, COARSE, err);
  if (status != SB_OK) return status;
  paint(&sketch, map);
  if (sb_sketch_find_changes(&sketch, down, up)) {
    const struct sb_map_axis *across = &map->options.down, *upward = &map->options.up;
    sb_span_make_room(down, sb_map_axis_index(across, own->downshift_fraction), across->count);
    sb_span_make_room(up, sb_map_axis_index(upward, own->upshift_fraction), upward->count);
  }
  sb_sketch_clear(&sketch);
  return SB_OK;
}

static void write_share(FILE *out, double share)
{
  if (share > 0.0 && share < 0.0005) {
    fprintf(out, "%9s %%", "< 0.1");
  } else {
    fprintf(out, "%9.1f %%", 100.0 * share);
  }
}

static void write_legend(FILE *out, const struct sb_map *map, const struct sb_map_own *own)
{
  long long points[SB_MAP_CLASS_COUNT] = {0};
  for (size_t i = 0; i < map->cell_count; i++) {
    points[sb_map_class_of(&map->cells[i].verdict)] += sb_map_cell_point_count(map, &map->cells[i]);
  }
  const struct sb_map_axis *down = &map->options.down, *up = &map->options.up;
  fprintf(out, "\n  share of the plane, down %.6g..%.6g %%, up %.6g..%.6g %%\n", sb_map_axis_pct(down, 0),
          sb_map_axis_pct(down, down->count - 1), sb_map_axis_pct(up, 0), sb_map_axis_pct(up, up->count - 1));
  for (int k = 0; k < SB_MAP_CLASS_COUNT; k++) {
    if (points[k] == 0) continue;
    const enum sb_map_class class = (enum sb_map_class)k;
    fprintf(out, "  %c  %-28s", sb_map_class_letter(class), sb_map_class_words(class));
    write_share(out, (double)points[k] / (double)sb_map_point_count(map));
    fputc('\n', out);
  }
  fprintf(out, "  @  the scenario's own: down %.6g %%, up %.6g %%\n", sb_map_pct(own->downshift_fraction),
          sb_map_pct(own->upshift_fraction));
}

enum sb_status sb_map_write_picture(FILE *out, const struct sb_map *map, const struct sb_map_own *own, bool is_whole,
                                    struct sb_error *err)
{
  const struct sb_map_options *options = &map->options;
  struct sb_span down = {0, options->down.count - 1}, up = {0, options->up.count - 1};
  enum sb_status status = is_whole ? SB_OK : choose_part(map, own, &down, &up, err);
  if (status != SB_OK) return status;
  const struct sb_picture_axis across = sb_map_picture_axis("down", &options->down);
  const struct sb_picture_axis upward = sb_map_picture_axis("up", &options->up);
  struct sb_picture picture;
  status = sb_picture_init(&picture, &across, down, &upward, up, err);
  if (status != SB_OK) return status;
  paint(&picture.sketch, map);
  sb_picture_mark_point(&picture, sb_map_pct(own->downshift_fraction), sb_map_pct(own->upshift_fraction), '@');
  sb_picture_write(out, &picture);
  sb_picture_clear(&picture);
  write_legend(out, map, own);
  return SB_OK;
}

static void write_margin(FILE *out, const struct sb_map_own *own, enum sb_map_direction direction)
{
  const struct sb_map_margin *margin = &own->margins[direction];
  char last[32] = "-";
  if (!isnan(margin->last_fraction)) snprintf(last, sizeof last, "%.6g %%", sb_map_pct(margin->last_fraction));
  fprintf(out, "  %-11s%16s", sb_map_direction_words(direction), last);
  if (margin->changes) {
    fprintf(out, "%9.6g %%  at %.6g %%: %s\n", sb_map_pct(margin->margin_fraction), sb_map_pct(margin->first_fraction),
            sb_map_class_words(sb_map_class_of(&margin->verdict)));
  } else {
    fprintf(out, "%11s  %s\n", "-", own->holds ? "no failure on this way" : "nothing holds on this way");
  }
}

void sb_map_write_own(FILE *out, const struct sb_map_own *own)
{
  char all[SB_MAP_VERDICTS_SIZE];
  const char *cause = sb_cause_name(own->verdict.cause);
  fprintf(out, "At the scenario's own thresholds, down %.6g %% and up %.6g %%:\n  %s%s%s%s\n",
          sb_map_pct(own->downshift_fraction), sb_map_pct(own->upshift_fraction),
          sb_map_all_verdicts(&own->verdict, all), cause != NULL ? " (" : "", cause != NULL ? cause : "",
          cause != NULL ? ")" : "");
  fprintf(out, "  %ld shift%s, %.5g output turns, %.5g J given, greatest torque %.4g N.m\n\n", own->figures.shift_count,
          own->figures.shift_count == 1 ? "" : "s", own->figures.output_turns, own->figures.given_j,
          own->figures.greatest_torque_nm);
  fprintf(out, "One threshold moved, the other kept\n");
  fprintf(out, "%29s%11s  %s\n", own->holds ? "holds as far as" : "fails as far as", own->holds ? "margin" : "distance",
          own->holds ? "first failure" : "first that holds");
  for (int k = 0; k < SB_MAP_DIRECTIONS; k++) write_margin(out, own, (enum sb_map_direction)k);
}
