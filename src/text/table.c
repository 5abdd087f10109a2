// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/table.h"

#include <assert.h>
#include <stdarg.h>
#include <string.h>

#include "text/words.h"

enum { GAP = 2, NAME_WIDTH_MOST = 20, STACKED_WIDTH = 2 };

void sb_text_table_init(struct sb_text_table *table, int columns)
{
  assert(columns >= 1 && columns <= SB_TABLE_COLUMN_MAX);
  table->columns = columns;
  table->cell_count = 0;
  table->is_last_broken = false;
}

void sb_text_table_put(struct sb_text_table *table, const char *format, ...)
{
  char text[SB_TABLE_COLUMN_MAX * SB_TABLE_CELL_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  for (const char *cell = text;; cell++) {
    const int row = table->cell_count / table->columns, column = table->cell_count % table->columns;
    const size_t length = strcspn(cell, "\t");
    assert(row < SB_TABLE_ROW_MAX);
    snprintf(table->cells[row][column], SB_TABLE_CELL_SIZE, "%.*s", (int)length, cell);
    table->cell_count++;
    cell += length;
    if (*cell == 0) return;
  }
}

/* How a table is laid out. */
struct layout {
  int indent;
  bool is_stacked; /* the first cell of each row has a line of its own */
  int widths[SB_TABLE_COLUMN_MAX];
};

static int row_count(const struct sb_text_table *table)
{
  return table->cell_count / table->columns;
}

static int width_of(const char *text)
{
  return sb_words_columns(text, strlen(text));
}

static int longest_word(const char *text)
{
  int longest = 0;
  while (*text != 0) {
    const size_t length = strcspn(text, " ");
    const int columns = sb_words_columns(text, length);
    if (columns > longest) longest = columns;
    text += length;
    text += strspn(text, " ");
  }
  return longest;
}

/* Width of a column whose heading, and where `is_broken` whose cells, break between words or do not. */
static int column_width(const struct sb_text_table *table, int column, bool is_heading_broken, bool is_broken)
{
  int width = is_heading_broken ? longest_word(table->cells[0][column]) : width_of(table->cells[0][column]);
  for (int row = 1; row < row_count(table); row++) {
    const char *cell = table->cells[row][column];
    const int own = is_broken ? longest_word(cell) : width_of(cell);
    if (own > width) width = own;
  }
  return width;
}

/* Columns that the first one and those from `from` to before `to` take together. */
static int block_width(const struct layout *layout, int from, int to)
{
  int width = layout->indent + layout->widths[0];
  for (int column = from; column < to; column++) width += GAP + layout->widths[column];
  return width;
}

/* Gives the columns, the last one first, what is left of the width, up to what they would like. */
static void widen(const struct sb_text_table *table, struct layout *layout)
{
  int left = sb_text_width() - block_width(layout, 1, table->columns);
  for (int column = table->columns - 1; column >= 0 && left > 0; column--) {
    const int more = column_width(table, column, false, false) - layout->widths[column];
    const int given = more < left ? more : left;
    if (given <= 0 || (column == 0 && layout->is_stacked)) continue;
    layout->widths[column] += given;
    left -= given;
  }
}

static struct layout lay_out(const struct sb_text_table *table, int indent)
{
  struct layout layout = {.indent = indent};
  for (int column = 0; column < table->columns; column++) {
    const bool is_broken = table->is_last_broken && column == table->columns - 1;
    layout.widths[column] = column_width(table, column, true, is_broken);
  }
  if (block_width(&layout, 1, table->columns) > sb_text_width() && layout.widths[0] > NAME_WIDTH_MOST) {
    layout.is_stacked = true;
    layout.widths[0] = STACKED_WIDTH;
  }
  widen(table, &layout);
  return layout;
}

/* Writes the words that fit a width and moves on behind them. Returns the columns taken. */
static int write_words(const char **text, int width, FILE *out)
{
  int column = 0;
  while (**text != 0) {
    const size_t length = strcspn(*text, " ");
    const int columns = sb_words_columns(*text, length);
    if (column > 0 && column + 1 + columns > width) break;
    fprintf(out, "%s%.*s", column > 0 ? " " : "", (int)length, *text);
    column += (column > 0) + columns;
    *text += length;
    *text += strspn(*text, " ");
  }
  return column;
}

/* One line of the cells of a block, each from where `rest` is; true when words are left for a further line. */
static bool write_line(const struct layout *layout, const char *rest[], int from, int to, FILE *out)
{
  int gap = layout->indent;
  bool is_left = false;
  for (int column = 0; column < to; column = column == 0 ? from : column + 1) {
    if (*rest[column] != 0) {
      fprintf(out, "%*s", gap, "");
      gap = -write_words(&rest[column], layout->widths[column], out);
    }
    gap += layout->widths[column] + GAP;
    is_left |= *rest[column] != 0;
  }
  fputc('\n', out);
  return is_left;
}

static void write_row(const struct sb_text_table *table, const struct layout *layout, int row, int from, int to,
                      FILE *out)
{
  const char *rest[SB_TABLE_COLUMN_MAX];
  for (int column = 0; column < table->columns; column++) rest[column] = table->cells[row][column];
  if (layout->is_stacked) {
    if (*rest[0] != 0) sb_words_say(out, layout->indent, layout->indent, "%s", rest[0]);
    rest[0] = "";
  }
  bool is_left = true;
  while (is_left) is_left = write_line(layout, rest, from, to, out);
}

void sb_text_table_write(const struct sb_text_table *table, int indent, FILE *out)
{
  const struct layout layout = lay_out(table, indent);
  int from = 1;
  do {
    int to = from < table->columns ? from + 1 : table->columns;
    while (to < table->columns && block_width(&layout, from, to + 1) <= sb_text_width()) to++;
    for (int row = 0; row < row_count(table); row++) write_row(table, &layout, row, from, to, out);
    from = to;
  } while (from < table->columns);
}
