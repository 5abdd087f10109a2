// SPDX-License-Identifier: GPL-3.0-or-later
/* A plane for every load as rectangles in CSV, and as one JSON object without them. */
#include <math.h>

#include "map/lattice.h"
#include "map/report.h"
#include "prove/any_load_report.h"
#include "text/csv_writer.h"
#include "text/json.h"

/* Points of one upshift threshold in a row that come to the same. */
struct run {
  int first, last, upshift_first, upshift_last;
  enum sb_any_load_class class;
  double least_nm, greatest_nm; /* swing */
};

static struct run run_from(const struct sb_any_load *plane, int upshift, int first, int end)
{
  struct run run = {first, first, upshift, upshift, sb_any_load_at(plane, first, upshift)->class, INFINITY, -INFINITY};
  for (int i = first; i < end && sb_any_load_at(plane, i, upshift)->class == run.class; i++) {
    const double swing_nm = sb_any_load_swing_nm(sb_any_load_at(plane, i, upshift));
    run.last = i;
    run.least_nm = fmin(run.least_nm, swing_nm);
    run.greatest_nm = fmax(run.greatest_nm, swing_nm);
  }
  return run;
}

/* The swing means something where the box shifts and comes back. */
static bool has_swing(enum sb_any_load_class class)
{
  return class == SB_ANY_LOAD_PROVED || class == SB_ANY_LOAD_STALLS;
}

static void put_run(struct sb_csv *csv, const struct sb_any_load *plane, const struct run *run)
{
  const struct sb_map_axis *downshift = &plane->options.downshift, *upshift = &plane->options.upshift;
  sb_csv_rounded(csv, sb_map_axis_pct(downshift, run->first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(downshift, run->last), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(upshift, run->upshift_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(upshift, run->upshift_last), 10);
  sb_csv_text(csv, sb_any_load_words(run->class));
  sb_csv_number(csv, has_swing(run->class) ? run->least_nm : NAN);
  sb_csv_number(csv, has_swing(run->class) ? run->greatest_nm : NAN);
  sb_csv_end_row(csv);
}

int sb_any_load_write_csv(FILE *out, const struct sb_any_load *plane)
{
  const struct sb_any_load_options *options = &plane->options;
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_any_load_rows);
  sb_csv_line(&csv, "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict,least_swing_nm,"
                    "greatest_swing_nm");
  for (int j = 0; j < options->upshift.count; j++) {
    const int end = sb_map_ordered_count(&options->downshift, &options->upshift, j);
    for (int i = 0; i < end;) {
      const struct run run = run_from(plane, j, i, end);
      put_run(&csv, plane, &run);
      i = run.last + 1;
    }
  }
  return sb_csv_result(&csv);
}

static void put_margin(struct sb_json *json, const struct sb_any_load_margin *margin, enum sb_map_direction direction)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "direction", sb_map_direction_words(direction));
  sb_json_put_boolean(json, "changes", margin->changes);
  sb_json_put_number(json, "changes_at_pct", sb_fields_rounded_percent(margin->first_fraction));
  sb_json_put_number(json, "margin_pct", sb_fields_rounded_percent(margin->fraction));
  sb_json_put_string(json, "verdict", margin->changes ? sb_any_load_words(margin->class) : NULL);
  sb_json_close(json);
}

static void put_own(struct sb_json *json, const struct sb_any_load_own *own)
{
  const struct sb_any_load_point *point = &own->point;
  const bool is_swing = has_swing(point->class);
  sb_json_put_object(json, "own");
  sb_json_put_number(json, "downshift_below_pct", sb_fields_rounded_percent(own->downshift_fraction));
  sb_json_put_number(json, "upshift_above_pct", sb_fields_rounded_percent(own->upshift_fraction));
  sb_json_put_string(json, "verdict", sb_any_load_words(point->class));
  sb_json_put_number(json, "downshift_from_nm", is_swing ? point->high_nm : NAN);
  sb_json_put_number(json, "upshift_up_to_nm", is_swing ? point->low_nm : NAN);
  sb_json_put_number(json, "swing_nm", is_swing ? sb_any_load_swing_nm(point) : NAN);
  sb_json_put_array(json, "margins");
  for (int k = 0; k < SB_MAP_DIRECTIONS; k++) put_margin(json, &own->margins[k], (enum sb_map_direction)k);
  sb_json_close(json);
  sb_json_close(json);
}

void sb_any_load_write_json(FILE *out, const struct sb_any_load *plane, const struct sb_any_load_own *own)
{
  const struct sb_gear *gears = plane->model->gearbox.gears;
  const struct sb_any_load_options *options = &plane->options;
  const struct sb_any_load_shares shares = sb_any_load_shares(plane);
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_map_any_load);
  sb_json_put_string(&json, "scenario", plane->model->name);
  sb_json_put_boolean(&json, "any_load", true);
  sb_json_put_string(&json, "slower", gears[options->pair].name);
  sb_json_put_string(&json, "faster", gears[options->pair + 1].name);
  sb_json_put_number(&json, "threshold_step_pct", sb_fields_rounded_percent(options->downshift.step_fraction));
  sb_map_put_axis(&json, "downshift", &options->downshift);
  sb_map_put_axis(&json, "upshift", &options->upshift);
  put_own(&json, own);
  sb_json_put_array(&json, "share_of_plane");
  for (int k = 0; k < SB_ANY_LOAD_CLASS_COUNT; k++) {
    sb_json_open_object(&json);
    sb_json_put_string(&json, "verdict", sb_any_load_words((enum sb_any_load_class)k));
    sb_json_put_number(&json, "share", (double)shares.classes[k] / (double)shares.points);
    sb_json_close(&json);
  }
  sb_json_close(&json);
  sb_json_put_integer(&json, "points_by_sets", shares.by_sets);
  sb_json_end(&json);
}
