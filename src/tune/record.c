// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/record.h"

#include <stdio.h>

void sb_record_write(struct sb_lines *out, const struct sb_map_cell *cell)
{
  const struct sb_map_figures *figures = &cell->figures;
  sb_lines_add(out, "%d %d %d %d %d %ld %.9g %.9g %.9g\n", cell->verdict.kinds == 0, cell->downshift_first,
               cell->downshift_last, cell->upshift_first, cell->upshift_last, figures->shift_count, figures->way_rad,
               figures->end_s, figures->given_j);
}

bool sb_record_read(const char *line, struct sb_map_cell *cell)
{
  int passes;
  struct sb_map_figures *figures = &cell->figures;
  *cell = (struct sb_map_cell){.downshift_first = 0};
  const int count = sscanf(line, "%d %d %d %d %d %ld %lf %lf %lf", &passes, &cell->downshift_first,
                           &cell->downshift_last, &cell->upshift_first, &cell->upshift_last, &figures->shift_count,
                           &figures->way_rad, &figures->end_s, &figures->given_j);
  cell->verdict.kinds = passes ? 0 : 1;
  return count == 9;
}
