// SPDX-License-Identifier: GPL-3.0-or-later
/* A map as one JSON object: without the rectangles, which are the CSV's. */
#include <math.h>

#include "map/class.h"
#include "map/lattice.h"
#include "map/report.h"
#include "shiftband/run.h"

void sb_map_put_verdicts(struct sb_json *json, const struct sb_map_verdict *verdict)
{
  sb_json_put_array(json, "verdicts");
  struct sb_map_verdict left = *verdict;
  for (int kind; (kind = sb_map_verdict_worst(&left)) >= 0; left.kinds &= ~(1U << kind)) {
    const enum sb_cause cause = kind == SB_VERDICT_HUNTING ? verdict->cause : SB_CAUSE_NONE;
    const struct sb_map_verdict alone = {1U << kind, cause};
    struct sb_verdict_words words = {.text = ""};
    snprintf(words.text, sizeof words.text, "%s", sb_map_class_words(sb_map_class_of(&alone)));
    sb_verdict_write_json(json,
                          &(struct sb_verdict){.kind = (enum sb_verdict_kind)kind,
                                               .cause = cause,
                                               .gear = -1,
                                               .first_s = NAN,
                                               .last_s = NAN,
                                               .period_s = NAN,
                                               .duration_s = NAN},
                          NULL, &words);
  }
  sb_json_close(json);
}

const struct sb_field sb_map_figure_fields[] = {
    SB_MEMBER_AS(sb_map_figures, "shifts", shift_count, LONG),
    SB_MEMBER(sb_map_figures, output_turns, NUMBER),
    SB_MEMBER(sb_map_figures, given_j, NUMBER),
    SB_MEMBER(sb_map_figures, greatest_torque_nm, NUMBER),
    SB_MEMBERS_END,
};

static void put_margin(struct sb_json *json, const struct sb_map_margin *margin, enum sb_map_direction direction)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "direction", sb_map_direction_words(direction));
  sb_json_put_boolean(json, "changes", margin->changes);
  sb_json_put_number(json, "same_to_pct", sb_fields_rounded_percent(margin->last_fraction));
  sb_json_put_number(json, "changes_at_pct", sb_fields_rounded_percent(margin->first_fraction));
  sb_json_put_number(json, "margin_pct", sb_fields_rounded_percent(margin->margin_fraction));
  if (margin->changes) sb_map_put_verdicts(json, &margin->verdict);
  sb_json_close(json);
}

static void put_own(struct sb_json *json, const struct sb_map_own *own)
{
  sb_json_put_object(json, "own");
  sb_json_put_number(json, "downshift_below_pct", sb_fields_rounded_percent(own->downshift_fraction));
  sb_json_put_number(json, "upshift_above_pct", sb_fields_rounded_percent(own->upshift_fraction));
  sb_json_put_string(json, "class", sb_map_class_words(sb_map_class_of_run(&own->verdict, &own->figures)));
  sb_map_put_verdicts(json, &own->verdict);
  sb_fields_put_json(json, sb_map_figure_fields, &own->figures);
  sb_json_put_array(json, "margins");
  for (int k = 0; k < SB_MAP_DIRECTIONS; k++) put_margin(json, &own->margins[k], (enum sb_map_direction)k);
  sb_json_close(json);
  sb_json_close(json);
}

void sb_map_put_axis(struct sb_json *json, const char *name, const struct sb_map_axis *axis)
{
  sb_json_put_object(json, name);
  sb_json_put_number(json, "from_pct", sb_map_axis_pct(axis, 0));
  sb_json_put_number(json, "to_pct", sb_map_axis_pct(axis, axis->count - 1));
  sb_json_put_integer(json, "points", axis->count);
  sb_json_close(json);
}

static void put_shares(struct sb_json *json, const struct sb_map *map)
{
  long long points[SB_MAP_CLASS_COUNT] = {0};
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    points[sb_map_class_of_run(&cell->verdict, &cell->figures)] += sb_map_cell_point_count(map, cell);
  }
  sb_json_put_array(json, "share_of_plane");
  for (int k = 0; k < SB_MAP_CLASS_COUNT; k++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "verdict", sb_map_class_words((enum sb_map_class)k));
    sb_json_put_number(json, "share", (double)points[k] / (double)sb_map_point_count(map));
    sb_json_close(json);
  }
  sb_json_close(json);
}

void sb_map_write_json(FILE *out, const struct sb_model *model, const struct sb_map *map, const struct sb_map_own *own)
{
  const int pair = map->options.pair;
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_map);
  sb_json_put_string(&json, "scenario", model->name);
  sb_json_put_string(&json, "slower", model->gearbox.gears[pair].name);
  sb_json_put_string(&json, "faster", model->gearbox.gears[pair + 1].name);
  sb_json_put_number(&json, "threshold_step_pct", sb_fields_rounded_percent(map->options.downshift.step_fraction));
  sb_map_put_axis(&json, "downshift", &map->options.downshift);
  sb_map_put_axis(&json, "upshift", &map->options.upshift);
  put_own(&json, own);
  put_shares(&json, map);
  sb_json_put_integer(&json, "rectangles", (long long)map->cell_count);
  sb_json_put_integer(&json, "different_traces", (long long)map->leaf_count);
  sb_json_put_integer(&json, "tracks", (long long)map->track_count);
  sb_json_put_integer(&json, "samples_simulated", map->sample_count + own->sample_count);
  sb_json_end(&json);
}
