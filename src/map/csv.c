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
  const long offset = sb_map_axis_number(&options->up, 0) - sb_map_axis_number(&options->down, 0);
  const long highest_down = cell->up_last + offset - 1, lowest_up = cell->down_first - offset + 1;
  if (cell->down_last > highest_down) cell->down_last = (int)highest_down;
  if (cell->up_first < lowest_up) cell->up_first = (int)lowest_up;
  return cell->down_first <= cell->down_last && cell->up_first <= cell->up_last;
}

static void put_cell(struct sb_csv *csv, const struct sb_map_options *options, const struct sb_map_cell *cell)
{
  char all[SB_MAP_VERDICTS_SIZE];
  /* A lattice point to ten digits: 50.1, whatever the rounding error of 501 * 0.001. */
  sb_csv_rounded(csv, sb_map_axis_pct(&options->down, cell->down_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->down, cell->down_last), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->up, cell->up_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&options->up, cell->up_last), 10);
  sb_csv_text(csv, sb_map_worst_name(&cell->verdict));
  sb_csv_text(csv, sb_map_cause_name(&cell->verdict));
  sb_csv_text(csv, sb_map_all_verdicts(&cell->verdict, all));
  sb_fields_put_csv(csv, sb_map_figure_fields, &cell->figures);
  sb_csv_end_row(csv);
}

int sb_map_write_csv(FILE *out, const struct sb_map *map)
{
  struct sb_csv csv;
  sb_csv_init(&csv, out);
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
  const double up_top = sb_map_axis_at(&options->up, options->up.count - 1);
  const double down_first = sb_map_axis_at(&options->down, 0);
  const double down_last = sb_map_axis_at(&options->down, options->down.count - 1);
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_csv_line(&csv, "limit,downshift_below_pct,upshift_above_pct");
  for (int k = 0; k < options->down.count; k++) {
    const double down = sb_map_axis_at(&options->down, k);
    varied.control.downshift_fraction[options->pair] = down;
    varied.control.upshift_fraction[options->pair] = fmax(down, model->control.upshift_fraction[options->pair]);
    const double least_up = sb_closed_form_solve(&varied).pairs[options->pair].least_safe_upshift;
    if (isfinite(least_up)) put_limit(&csv, "hunting", down, fmax(down, least_up));
  }
  const struct sb_closed_form closed = sb_closed_form_solve(model);
  const double stuck = closed.gears[options->pair].lightest_reading;
  const double held = closed.gears[options->pair + 1].lightest_reading;
  if (stuck > down_first) {
    put_limit(&csv, "stuck low", down_first, stuck);
    put_limit(&csv, "stuck low", fmin(stuck, down_last), stuck);
  }
  if (held > 0.0 && held < up_top) {
    put_limit(&csv, "needless downshift", held, held);
    put_limit(&csv, "needless downshift", held, up_top);
  }
  return sb_csv_result(&csv);
}
