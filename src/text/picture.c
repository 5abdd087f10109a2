// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/picture.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "text/words.h"

enum { LABEL_WIDTH = 9, LINE_SIZE = SB_TEXT_WIDTH_MOST + 48 };

/* Rounding noise in a position, in cells. */
#define SLACK 1e-6

/* How an axis is divided where a cell covers several points; lists end with 0. */
struct division {
  double widths[8];       /* of a cell, times a power of ten, ascending up to 10 */
  int label_distances[4]; /* cells from a label to the next: the first that makes a round step, else the first of all */
};

static const struct division columns_division = {{1.0, 1.5, 2.0, 2.5, 5.0, 10.0, 0.0}, {10, 8, 0}};
static const struct division rows_division = {{1.0, 2.0, 2.5, 5.0, 10.0, 0.0}, {5, 4, 0}};

/* The least of the widths, times a power of ten, that is at least x. */
static double round_up(const double *widths, double x)
{
  const double power = pow(10.0, floor(log10(x) + 1e-9));
  while (*widths * power < x * (1.0 - SLACK)) widths++; /* 10 ends it */
  return *widths * power;
}

static bool is_round(double step)
{
  static const double widths[] = {1.0, 2.0, 5.0, 10.0};
  return fabs(round_up(widths, step) / step - 1.0) < SLACK;
}

static int label_distance(const struct division *division, double width)
{
  for (const int *distance = division->label_distances; *distance != 0; distance++) {
    if (is_round(*distance * width)) return *distance;
  }
  return division->label_distances[0];
}

/* Width and low end of the cells over a span: one point a cell where they fit, else a round width. */
static void lay_cells(const struct sb_picture_axis *axis, struct sb_span span, const struct division *division,
                      int most, double *low, double *width)
{
  const int points = span.last - span.first + 1;
  *width = axis->step;
  *low = axis->first + span.first * axis->step;
  if (points <= most) return;
  for (double least = points * axis->step / most;; least = *width * 1.01) {
    *width = round_up(division->widths, least);
    *low = *width * floor((axis->first + span.first * axis->step) / *width + SLACK);
    const double high = axis->first + span.last * axis->step;
    if ((high - *low) / *width + SLACK < most) return;
  }
}

/* The lattice points in the middle of the cells; cells without a point end the list. */
static int place_cells(const struct sb_picture_axis *axis, struct sb_span span, int most, double low, double width,
                       int *out)
{
  int count = 0;
  for (; count < most; count++) {
    const int first = (int)ceil((low + count * width - axis->first) / axis->step - SLACK);
    const int last = (int)ceil((low + (count + 1) * width - axis->first) / axis->step - SLACK) - 1;
    const int from = first < span.first ? span.first : first;
    const int to = last > span.last ? span.last : last;
    if (from > to) break;
    out[count] = from + (to - from) / 2;
  }
  return count;
}

enum sb_status sb_picture_init(struct sb_picture *picture, const struct sb_picture_axis *across, struct sb_span columns,
                               const struct sb_picture_axis *upward, struct sb_span rows, struct sb_error *err)
{
  struct sb_picture out = {.across = *across, .upward = *upward};
  const int most = sb_text_width() - LABEL_WIDTH - 3; /* a label that stands out at the right has room */
  const enum sb_status status = sb_sketch_init(&out.sketch, columns, rows, most, err);
  if (status != SB_OK) return status;
  lay_cells(across, columns, &columns_division, most, &out.across_low, &out.across_width);
  lay_cells(upward, rows, &rows_division, SB_PICTURE_ROWS_MAX, &out.upward_low, &out.upward_width);
  out.sketch.column_count = place_cells(across, columns, most, out.across_low, out.across_width, out.sketch.columns);
  out.sketch.row_count =
      place_cells(upward, rows, SB_PICTURE_ROWS_MAX, out.upward_low, out.upward_width, out.sketch.rows);
  *picture = out;
  return SB_OK;
}

void sb_picture_clear(struct sb_picture *picture)
{
  sb_sketch_clear(&picture->sketch);
}

void sb_picture_mark_point(struct sb_picture *picture, double across, double upward, char mark)
{
  const double column = floor((across - picture->across_low) / picture->across_width + SLACK);
  const double row = floor((upward - picture->upward_low) / picture->upward_width + SLACK);
  if (!(column >= 0.0 && column < picture->sketch.column_count && row >= 0.0 && row < picture->sketch.row_count))
    return;
  picture->sketch.marks[(int)row * picture->sketch.column_count + (int)column] = mark;
}

/* The first cell that gets a label: the first whose low end is a whole multiple of the labels' distance, if any is. */
static int first_label(double low, double width, int count, int distance)
{
  for (int c = 0; c < count && c < distance; c++) {
    const double at = (low + c * width) / (width * distance);
    if (fabs(at - round(at)) < SLACK) return c;
  }
  return 0;
}

static bool is_labeled(int cell, int first, int distance)
{
  assert(distance > 0);
  return cell >= first && (cell - first) % distance == 0;
}

/* The low end of a cell as text; rounding noise around zero is zero. */
static void label(char *out, size_t size, double low, double width, int cell)
{
  const double value = low + cell * width;
  snprintf(out, size, "%.4g", fabs(value) < SLACK * width ? 0.0 : value);
}

static void write_title(FILE *out, const struct sb_picture_axis *axis, int indent)
{
  if (axis->name[0] == 0) return;
  fprintf(out, "%*s%s%s%s\n", indent, "", axis->name, axis->unit[0] != 0 ? ", " : "", axis->unit);
}

static void write_rows(FILE *out, const struct sb_picture *picture)
{
  const struct sb_sketch *sketch = &picture->sketch;
  const int distance = label_distance(&rows_division, picture->upward_width);
  const int first = first_label(picture->upward_low, picture->upward_width, sketch->row_count, distance);
  for (int r = sketch->row_count - 1; r >= 0; r--) {
    char text[32] = "";
    const bool has_label = picture->upward.name[0] != 0 && is_labeled(r, first, distance);
    if (has_label) label(text, sizeof text, picture->upward_low, picture->upward_width, r);
    const char *line = sketch->marks + r * sketch->column_count;
    int length = sketch->column_count;
    while (length > 0 && line[length - 1] == ' ') length--;
    fprintf(out, "%*s %c%.*s\n", LABEL_WIDTH, text, has_label ? '+' : '|', length, line);
  }
}

/* The line under the picture, and the values below it. */
static void write_foot(FILE *out, const struct sb_picture *picture)
{
  const int count = picture->sketch.column_count;
  const int distance = label_distance(&columns_division, picture->across_width);
  const int first = first_label(picture->across_low, picture->across_width, count, distance);
  char line[LINE_SIZE], values[LINE_SIZE];
  memset(line, '-', sizeof line);
  memset(values, ' ', sizeof values);
  for (int c = first; c < count; c += distance) {
    char text[32];
    label(text, sizeof text, picture->across_low, picture->across_width, c);
    const int length = (int)strlen(text);
    int at = LABEL_WIDTH + 2 + c - (length - 1) / 2;
    if (at + length > sb_text_width()) at = sb_text_width() - length;
    line[c] = '+';
    memcpy(values + at, text, (size_t)length);
    values[at + length] = 0;
    if (c + distance < count) values[at + length] = ' ';
  }
  fprintf(out, "%*s %c%.*s\n%s\n", LABEL_WIDTH, "", '+', count, line, values);
}

void sb_picture_write(FILE *out, const struct sb_picture *picture)
{
  const char *name = picture->across.name;
  const int width = (int)(strlen(name) + strlen(picture->across.unit)) + 2;
  const int right = LABEL_WIDTH + 2 + picture->sketch.column_count;
  write_title(out, &picture->upward, 2);
  write_rows(out, picture);
  write_foot(out, picture);
  write_title(out, &picture->across, right > width ? right - width : 0);
}
