// SPDX-License-Identifier: GPL-3.0-or-later
/* A plane for every load for people: a picture with its legend, and the own thresholds in words. */
#include <math.h>

#include "map/picture.h"
#include "prove/any_load_report.h"
#include "shiftband/run.h"
#include "text/table.h"
#include "text/words.h"

static void paint(struct sb_sketch *sketch, const void *context)
{
  const struct sb_any_load *plane = context;
  for (int r = 0; r < sketch->row_count; r++) {
    for (int c = 0; c < sketch->column_count; c++) {
      const int downshift = sketch->columns[c], upshift = sketch->rows[r];
      if (downshift >= sb_map_ordered_count(&plane->options.downshift, &plane->options.upshift, upshift)) continue;
      sketch->marks[r * sketch->column_count + c] =
          sb_any_load_letter(sb_any_load_at(plane, downshift, upshift)->class);
    }
  }
}

static void write_legend(FILE *out, const struct sb_any_load *plane, const struct sb_any_load_own *own)
{
  const struct sb_any_load_shares shares = sb_any_load_shares(plane);
  const struct sb_map_axis *downshift = &plane->options.downshift, *upshift = &plane->options.upshift;
  fprintf(out, "\n  share of the plane, downshift %.6g..%.6g %%, upshift %.6g..%.6g %%\n",
          sb_map_axis_pct(downshift, 0), sb_map_axis_pct(downshift, downshift->count - 1), sb_map_axis_pct(upshift, 0),
          sb_map_axis_pct(upshift, upshift->count - 1));
  for (int k = SB_ANY_LOAD_CLASS_COUNT - 1; k >= 0; k--) {
    const enum sb_any_load_class class = (enum sb_any_load_class)k;
    if (shares.classes[k] == 0) continue;
    fprintf(out, "  %c  %-40s%6.1f %%\n", sb_any_load_letter(class), sb_any_load_words(class),
            100.0 * (double)shares.classes[k] / (double)shares.points);
  }
  sb_map_write_own_mark(out, own->downshift_fraction, own->upshift_fraction);
}

static void write_swing(FILE *out, const struct sb_any_load_point *point)
{
  if (isnan(point->high_nm) || point->class < SB_ANY_LOAD_STALLS || point->class == SB_ANY_LOAD_NEVER_SHIFTS) return;
  sb_words_say(
      out, 2, 2,
      "After an upshift it takes %s N.m to bring a downshift, after a downshift no more than %s N.m lets an upshift "
      "come: the load must swing by %s N.m to make the box shift again and again.",
      NUM(point->high_nm), NUM(point->low_nm), NUM(sb_any_load_swing_nm(point)));
}

static void put_margin(struct sb_text_table *table, const struct sb_any_load_own *own, enum sb_map_direction direction)
{
  const struct sb_any_load_margin *margin = &own->margins[direction];
  sb_text_table_put(table, "%s\t%.6g %%", sb_map_direction_words(direction),
                    sb_fields_rounded_percent(margin->fraction));
  if (margin->changes) {
    sb_text_table_put(table, "at %.6g %%: %s", sb_fields_rounded_percent(margin->first_fraction),
                      sb_any_load_words(margin->class));
  } else {
    sb_text_table_put(table, "as far as the plane goes");
  }
}

static void write_own(FILE *out, const struct sb_any_load_own *own)
{
  fprintf(out, "\nAt the scenario's own thresholds, downshift %.6g %% and upshift %.6g %%:\n",
          sb_fields_rounded_percent(own->downshift_fraction), sb_fields_rounded_percent(own->upshift_fraction));
  fprintf(out, "  %s\n", sb_any_load_words(own->point.class));
  write_swing(out, &own->point);
  fputs("\nOne threshold moved, the other kept\n", out);
  struct sb_text_table table;
  sb_text_table_init(&table, 3);
  table.is_last_broken = true;
  sb_text_table_put(&table, "\tthe same for\tthen");
  for (int k = 0; k < SB_MAP_DIRECTIONS; k++) put_margin(&table, own, (enum sb_map_direction)k);
  sb_text_table_write(&table, 2, out);
}

static void add_range(struct sb_sentence *sentence, const char *verb, const double range_nm[2])
{
  if (range_nm[0] == 0.0 && range_nm[1] == 0.0) return;
  sb_words_add(sentence, "%s %s with %s to %s N.m", sentence->length > 0 ? " and" : "For every load profile that", verb,
               NUM(range_nm[0]), NUM(range_nm[1]));
}

static void write_heading(FILE *out, const struct sb_any_load *plane)
{
  const struct sb_model *model = plane->model;
  const struct sb_gear *gears = model->gearbox.gears;
  struct sb_sentence load = {.length = 0};
  sb_words_say(out, 0, 0, "%s", model->name);
  add_range(&load, "acts", plane->acting_nm);
  add_range(&load, "resists", plane->resisting_nm);
  if (load.length > 0) sb_words_say(out, 0, 0, "%s", load.text);
  sb_words_say(out, 0, 0, "thresholds between %s and %s in steps of %.6g %%", gears[plane->options.pair].name,
               gears[plane->options.pair + 1].name, sb_fields_rounded_percent(plane->options.downshift.step_fraction));
  fputc('\n', out);
}

enum sb_status sb_any_load_write_text(FILE *out, const struct sb_any_load *plane, const struct sb_any_load_own *own,
                                      const struct sb_any_load_wishes *wishes, struct sb_error *err)
{
  const struct sb_map_picture picture = {.downshift = plane->options.downshift,
                                         .upshift = plane->options.upshift,
                                         .own_downshift_fraction = own->downshift_fraction,
                                         .own_upshift_fraction = own->upshift_fraction,
                                         .is_whole = wishes->is_whole,
                                         .paint = paint,
                                         .context = plane};
  write_heading(out, plane);
  const enum sb_status status = sb_map_draw(out, &picture, err);
  if (status != SB_OK) return status;
  write_legend(out, plane, own);
  write_own(out, own);
  if (wishes->is_verbose) {
    const struct sb_any_load_shares shares = sb_any_load_shares(plane);
    fprintf(out, "\n%ld points, %ld of them by sets of states\n", shares.points, shares.by_sets);
  }
  return SB_OK;
}
