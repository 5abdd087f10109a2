// SPDX-License-Identifier: GPL-3.0-or-later
#include <stdlib.h>
#include <string.h>

#include "text/picture.h"

/* Up to `most` indices of a span, evenly, the first and the last among them. */
static int pick(struct sb_span span, int most, int *out)
{
  const int points = span.last - span.first + 1;
  const int count = points < most ? points : most;
  for (int k = 0; k < count; k++) {
    out[k] = count > 1 ? span.first + (int)((long long)k * (points - 1) / (count - 1)) : span.first;
  }
  return count;
}

enum sb_status sb_sketch_init(struct sb_sketch *sketch, struct sb_span across, struct sb_span upward, int most,
                              struct sb_error *err)
{
  struct sb_sketch out = {.column_count = 0};
  out.columns = calloc((size_t)most, sizeof *out.columns);
  out.rows = calloc((size_t)most, sizeof *out.rows);
  out.marks = malloc((size_t)most * (size_t)most);
  if (out.columns == NULL || out.rows == NULL || out.marks == NULL) {
    sb_sketch_clear(&out);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a picture");
  }
  out.column_count = pick(across, most, out.columns);
  out.row_count = pick(upward, most, out.rows);
  memset(out.marks, ' ', (size_t)most * (size_t)most);
  *sketch = out;
  return SB_OK;
}

void sb_sketch_clear(struct sb_sketch *sketch)
{
  free(sketch->columns);
  free(sketch->rows);
  free(sketch->marks);
  *sketch = (struct sb_sketch){.columns = NULL};
}

/* First position whose (ascending) index is at least `index`. */
static int position_of(const int *indices, int count, int index)
{
  int low = 0, high = count;
  while (low < high) {
    const int middle = (low + high) / 2;
    if (indices[middle] < index) {
      low = middle + 1;
    } else {
      high = middle;
    }
  }
  return low;
}

void sb_sketch_paint(struct sb_sketch *sketch, struct sb_span across, struct sb_span upward, char mark)
{
  const int left = position_of(sketch->columns, sketch->column_count, across.first);
  const int right = position_of(sketch->columns, sketch->column_count, across.last + 1);
  const int bottom = position_of(sketch->rows, sketch->row_count, upward.first);
  const int top = position_of(sketch->rows, sketch->row_count, upward.last + 1);
  for (int r = bottom; r < top; r++) {
    for (int c = left; c < right; c++) sketch->marks[r * sketch->column_count + c] = mark;
  }
}

/* Whether two neighbours differ; an empty cell differs from nothing. */
static bool differs(char a, char b)
{
  return a != b && a != ' ' && b != ' ';
}

static void widen(struct sb_span *span, int first, int last)
{
  if (first < span->first) span->first = first;
  if (last > span->last) span->last = last;
}

/* Changes from one column to the next: their columns, and the lowest row at which each of them can be seen. */
static void look_across(const struct sb_sketch *sketch, struct sb_span *columns, struct sb_span *rows)
{
  for (int c = 0; c + 1 < sketch->column_count; c++) {
    for (int r = 0; r < sketch->row_count; r++) {
      const char *here = sketch->marks + r * sketch->column_count + c;
      if (!differs(here[0], here[1])) continue;
      widen(columns, c, c + 1);
      widen(rows, r, r);
      break;
    }
  }
}

/* Changes from one row to the next: their rows, and the last column at which each of them can be seen. */
static void look_upward(const struct sb_sketch *sketch, struct sb_span *columns, struct sb_span *rows)
{
  for (int r = 0; r + 1 < sketch->row_count; r++) {
    for (int c = sketch->column_count - 1; c >= 0; c--) {
      const char *here = sketch->marks + r * sketch->column_count + c;
      if (!differs(here[0], here[sketch->column_count])) continue;
      widen(rows, r, r + 1);
      widen(columns, c, c);
      break;
    }
  }
}

bool sb_sketch_find_changes(const struct sb_sketch *sketch, struct sb_span *across, struct sb_span *upward)
{
  struct sb_span columns = {sketch->column_count, -1}, rows = {sketch->row_count, -1};
  look_across(sketch, &columns, &rows);
  look_upward(sketch, &columns, &rows);
  if (columns.last < 0) return false; /* each change widens both */
  *across = (struct sb_span){sketch->columns[columns.first], sketch->columns[columns.last]};
  *upward = (struct sb_span){sketch->rows[rows.first], sketch->rows[rows.last]};
  return true;
}

void sb_sketch_make_room(struct sb_span *span, int point, int count)
{
  const int room = 1 + (span->last - span->first) / 10;
  widen(span, span->first - room, span->last + room);
  widen(span, point, point);
  if (span->first < 0) span->first = 0;
  if (span->last > count - 1) span->last = count - 1;
}
