// SPDX-License-Identifier: GPL-3.0-or-later
/* cover.c - see cover.h. */
#include "help/cover.h"

#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "map/lattice.h"

/* All that a function writes, as one text. */
char *cover_written_by(void (*write)(FILE *out, const void *context), const void *context)
{
  FILE *file = tmpfile();
  assert_non_null(file);
  write(file, context);
  const long size = ftell(file);
  char *text = calloc(1, (size_t)size + 1);
  rewind(file);
  assert_int_equal(fread(text, 1, (size_t)size, file), size);
  fclose(file);
  return text;
}

/* The next field of a CSV row as a number. */
double cover_take_number(const char **row)
{
  char *end;
  const double value = strtod(*row, &end);
  assert_true(end > *row && (*end == ',' || *end == '\n'));
  *row = end + 1;
  return value;
}

/* How often each lattice point lies in a row's rectangle; `values`, when not NULL, gets the row's next number there. */
int *cover_count(const char *csv, const struct sb_map_axis *downshift, const struct sb_map_axis *upshift, int *values)
{
  int *cover = calloc((size_t)downshift->count * (size_t)upshift->count, sizeof *cover);
  const char *row = strchr(csv, '\n') + 1;
  while (*row != 0) {
    double ends[4];
    for (int k = 0; k < 4; k++) ends[k] = cover_take_number(&row) / 100.0;
    const int d0 = sb_map_axis_index(downshift, ends[0]), d1 = sb_map_axis_index(downshift, ends[1]);
    const int u0 = sb_map_axis_index(upshift, ends[2]), u1 = sb_map_axis_index(upshift, ends[3]);
    assert_true(0 <= d0 && d0 <= d1 && d1 < downshift->count && 0 <= u0 && u0 <= u1 && u1 < upshift->count);
    /* Printed ends are lattice points to all their digits. */
    assert_near(ends[0], sb_map_axis_at(downshift, d0), 1e-11);
    assert_near(ends[3], sb_map_axis_at(upshift, u1), 1e-11);
    const int value = values != NULL ? (int)cover_take_number(&row) : 0;
    for (int u = u0; u <= u1; u++) {
      for (int d = d0; d <= d1; d++) {
        cover[u * downshift->count + d]++;
        if (values != NULL) values[u * downshift->count + d] = value;
      }
    }
    row = strchr(row, '\n') + 1;
  }
  return cover;
}

/* Each point above the diagonal lies in one rectangle: the triangle is covered exactly once. */
void cover_assert_once(const char *csv, const struct sb_map_axis *downshift, const struct sb_map_axis *upshift)
{
  int *cover = cover_count(csv, downshift, upshift, NULL);
  long long points = 0;
  for (int u = 0; u < upshift->count; u++) {
    for (int d = 0; d < downshift->count; d++) {
      if (sb_map_axis_number(downshift, d) >= sb_map_axis_number(upshift, u)) continue;
      points++;
      if (cover[u * downshift->count + d] != 1) {
        fail_msg("down %g up %g: %d rectangles", sb_map_axis_pct(downshift, d), sb_map_axis_pct(upshift, u),
                 cover[u * downshift->count + d]);
      }
    }
  }
  assert_true(points > 0);
  free(cover);
}
