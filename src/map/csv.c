// SPDX-License-Identifier: GPL-3.0-or-later
/* A map's rectangles, and the closed-form boundaries over the same plane, as CSV. */
#include <math.h>

#include "map/class.h"
#include "map/lattice.h"
#include "map/report.h"
#include "shiftband/closed_form.h"

/* A rectangle without what lies on or below the diagonal on all of a side. False when nothing is left. */
static bool trim(const struct sb_map_options *options, struct sb_map_cell *cell)
{
  const long offset = sb_map_axis_number(&options->upshift, 0) - sb_map_axis_number(&options->downshift, 0);
  const long highest_downshift = cell->upshift_last + offset - 1, lowest_upshift = cell->downshift_first - offset + 1;
  if (cell->downshift_last > highest_downshift) cell->downshift_last = (int)highest_downshift;
  if (cell->upshift_first < lowest_upshift) cell->upshift_first = (int)lowest_upshift;
  return cell->downshift_first <= cell->downshift_last && cell->upshift_first <= cell->upshift_last;
}

static void put_cell(struct sb_csv *csv, const struct sb_map_options *options, const struct sb_map_cell *cell)
{
  char all[SB_MAP_VERDICTS_SIZE];
  /* A lattice point to ten digits: 50.1, whatever the rounding error of 501 * 0.001. */
  sb_csv_rounded(csv, sb_map_axis_pct(&options->downshift, cell->downshift_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->downshift, cell->downshift_last), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->upshift, cell->upshift_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->upshift, cell->upshift_last), 10);
  sb_csv_text(csv, sb_map_run_name(&cell->verdict, &cell->figures));
  sb_csv_text(csv, sb_map_cause_name(&cell->verdict));
  sb_csv_text(csv, sb_map_all_verdicts(&cell->verdict, all));
  sb_fields_put_csv(csv, sb_map_figure_fields, &cell->figures);
  sb_csv_end_row(csv);
}

int sb_map_write_csv(FILE *out, const struct sb_map *map)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_map_rows);
  sb_csv_line(&csv, "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict,cause,all_verdicts,"
                    "shifts,output_turns,given_j,greatest_torque_nm");
  for (size_t i = 0; i < map->cell_count; i++) {
    struct sb_map_cell cell = map->cells[i];
    if (trim(&map->options, &cell)) put_cell(&csv, &map->options, &cell);
  }
  return sb_csv_result(&csv);
}

static void put_limit(struct sb_csv *csv, const char *limit, double downshift_fraction, double upshift_fraction)
{
  sb_csv_text(csv, limit);
  sb_csv_rounded(csv, sb_fields_rounded_percent(downshift_fraction), 10);
  sb_csv_rounded(csv, sb_fields_rounded_percent(upshift_fraction), 10);
  sb_csv_end_row(csv);
}

int sb_map_write_limits(FILE *out, const struct sb_model *model, const struct sb_map_options *options)
{
  struct sb_model varied = *model;
  const double upshift_top = sb_map_axis_at(&options->upshift, options->upshift.count - 1);
  const double downshift_first = sb_map_axis_at(&options->downshift, 0);
  const double downshift_last = sb_map_axis_at(&options->downshift, options->downshift.count - 1);
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_map_limit_rows);
  sb_csv_line(&csv, "limit,downshift_below_pct,upshift_above_pct");
  for (int k = 0; k < options->downshift.count; k++) {
    const double downshift = sb_map_axis_at(&options->downshift, k);
    varied.control.downshift_fraction[options->pair] = downshift;
    varied.control.upshift_fraction[options->pair] = fmax(downshift, model->control.upshift_fraction[options->pair]);
    const double least_upshift = sb_closed_form_solve(&varied).pairs[options->pair].least_safe_upshift;
    if (isfinite(least_upshift)) put_limit(&csv, "hunting", downshift, fmax(downshift, least_upshift));
  }
  const struct sb_closed_form closed = sb_closed_form_solve(model);
  const double stuck = closed.gears[options->pair].lightest_reading;
  const double held = closed.gears[options->pair + 1].lightest_reading;
  if (stuck > downshift_first) {
    put_limit(&csv, "stuck low", downshift_first, stuck);
    put_limit(&csv, "stuck low", fmin(stuck, downshift_last), stuck);
  }
  if (held > 0.0 && held < upshift_top) {
    put_limit(&csv, "needless downshift", held, held);
    put_limit(&csv, "needless downshift", held, upshift_top);
  }
  return sb_csv_result(&csv);
}
