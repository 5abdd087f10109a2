// SPDX-License-Identifier: GPL-3.0-or-later
/* A map for people: a picture with its legend, and the own thresholds in words. */
#include <math.h>

#include "machine/caution.h"
#include "map/class.h"
#include "map/picture.h"
#include "map/report.h"
#include "shiftband/run.h"
#include "text/words.h"

/* Paints each cell. */
static void paint(struct sb_sketch *sketch, const void *context)
{
  const struct sb_map *map = context;
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    const char letter = sb_map_class_letter(sb_map_class_of_run(&cell->verdict, &cell->figures));
    sb_sketch_paint(sketch, (struct sb_span){cell->downshift_first, cell->downshift_last},
                    (struct sb_span){cell->upshift_first, cell->upshift_last}, letter);
  }
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
    const struct sb_map_cell *cell = &map->cells[i];
    points[sb_map_class_of_run(&cell->verdict, &cell->figures)] += sb_map_cell_point_count(map, cell);
  }
  const struct sb_map_axis *downshift = &map->options.downshift, *upshift = &map->options.upshift;
  fprintf(out, "\n  share of the plane, downshift %.6g..%.6g %%, upshift %.6g..%.6g %%\n",
          sb_map_axis_pct(downshift, 0), sb_map_axis_pct(downshift, downshift->count - 1), sb_map_axis_pct(upshift, 0),
          sb_map_axis_pct(upshift, upshift->count - 1));
  for (int k = 0; k < SB_MAP_CLASS_COUNT; k++) {
    if (points[k] == 0) continue;
    const enum sb_map_class class = (enum sb_map_class)k;
    fprintf(out, "  %c  %-28s", sb_map_class_letter(class), sb_map_class_words(class));
    write_share(out, (double)points[k] / (double)sb_map_point_count(map));
    fputc('\n', out);
  }
  sb_map_write_own_mark(out, own->downshift_fraction, own->upshift_fraction);
}

static void write_margin(FILE *out, const struct sb_map_own *own, enum sb_map_direction direction)
{
  const struct sb_map_margin *margin = &own->margins[direction];
  char last[32] = "-";
  if (!isnan(margin->last_fraction))
    snprintf(last, sizeof last, "%.6g %%", sb_fields_rounded_percent(margin->last_fraction));
  fprintf(out, "  %-16s%12s", sb_map_direction_words(direction), last);
  if (margin->changes) {
    fprintf(out, "%9.6g %%  at %.6g %%: %s\n", sb_fields_rounded_percent(margin->margin_fraction),
            sb_fields_rounded_percent(margin->first_fraction),
            sb_map_class_words(sb_map_class_of_run(&margin->verdict, &margin->figures)));
  } else {
    fprintf(out, "%11s  %s\n", "-", own->passes ? "no failure in this direction" : "nothing passes in this direction");
  }
}

static void write_own(FILE *out, const struct sb_map_own *own)
{
  char all[SB_MAP_VERDICTS_SIZE];
  const char *cause = sb_map_cause_name(&own->verdict);
  const enum sb_map_class class = sb_map_class_of_run(&own->verdict, &own->figures);
  fprintf(out, "At the scenario's own thresholds, downshift %.6g %% and upshift %.6g %%:\n  %s%s%s%s\n",
          sb_fields_rounded_percent(own->downshift_fraction), sb_fields_rounded_percent(own->upshift_fraction),
          class == SB_MAP_NEVER_SHIFTS ? sb_map_class_words(class) : sb_map_all_verdicts(&own->verdict, all),
          cause[0] != 0 ? " (" : "", cause, cause[0] != 0 ? ")" : "");
  fprintf(out, "  %ld shift%s, %s output turns, %s J given, greatest torque %s N.m\n\n", own->figures.shift_count,
          own->figures.shift_count == 1 ? "" : "s", NUM(own->figures.output_turns), NUM(own->figures.given_j),
          NUM(own->figures.greatest_torque_nm));
  fprintf(out, "One threshold moved, the other kept\n");
  fprintf(out, "%30s%11s  %s\n", own->passes ? "passes as far as" : "fails as far as",
          own->passes ? "margin" : "distance", own->passes ? "first failure" : "first that passes");
  for (int k = 0; k < SB_MAP_DIRECTIONS; k++) write_margin(out, own, (enum sb_map_direction)k);
}

/* Why nothing passes, where the load itself says it. */
static void write_reason(FILE *out, const struct sb_model *model, const struct sb_map *map)
{
  char text[SB_EXPLANATION_SIZE];
  for (size_t i = 0; i < map->cell_count; i++) {
    if (map->cells[i].verdict.kinds == 0) return;
  }
  if (sb_verdict_say_too_heavy(model, text)[0] == 0) return;
  sb_words_say(out, 0, 0, "%s", text);
  fputc('\n', out);
}

/* For developers: how much of the work paths of equal traces spared. */
static void write_work(FILE *out, const struct sb_model *model, const struct sb_map *map, const struct sb_map_own *own)
{
  const double samples_a_run = floor(model->run.duration_s / model->control.sample_period_s) + 1.0;
  fprintf(out, "\n%zu different traces in %zu rectangles, from %zu tracks;\nsimulated as much as %.4g runs\n",
          map->leaf_count, map->cell_count, map->track_count,
          (double)(map->sample_count + own->sample_count) / samples_a_run);
}

enum sb_status sb_map_write_text(FILE *out, const struct sb_model *model, const struct sb_map *map,
                                 const struct sb_map_own *own, const struct sb_map_wishes *wishes, struct sb_error *err)
{
  const struct sb_gear *gears = model->gearbox.gears;
  const int pair = map->options.pair;
  sb_words_say(out, 0, 0, "%s", model->name);
  sb_words_say(out, 0, 0,
               "thresholds between %s and %s, exact in steps of %.6g %%; each pair stands for a run of %.6g s",
               gears[pair].name, gears[pair + 1].name, sb_fields_rounded_percent(map->options.downshift.step_fraction),
               model->run.duration_s);
  fputc('\n', out);
  const struct sb_map_picture picture = {map->options.downshift,
                                         map->options.upshift,
                                         own->downshift_fraction,
                                         own->upshift_fraction,
                                         wishes->is_whole,
                                         paint,
                                         map};
  const enum sb_status status = sb_map_draw(out, &picture, err);
  if (status != SB_OK) return status;
  write_legend(out, map, own);
  fputc('\n', out);
  write_reason(out, model, map);
  write_own(out, own);
  if (wishes->is_verbose) write_work(out, model, map, own);
  if (sb_caution_has_acting_load(&model->load) || model->battery.is_present) fputc('\n', out);
  sb_run_write_cautions(out, model, NULL);
  return SB_OK;
}
