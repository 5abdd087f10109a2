// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/table_csv.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "shiftband/units.h"

#define TORQUE_MAX 1e6 /* N m: more is a wrong unit */

const struct sb_table_format sb_table_torque_over_time = {
    .place_column = "time_s",
    .value_column = "torque_nm",
    .place = SB_TIME,
    .value = SB_TORQUE,
    .place_scale = 1.0,
    .value_scale = 1.0,
    .value_max = TORQUE_MAX,
    .value_max_words = "of at most 1e6 N.m",
    .pair = "[5 s, 0.1 N.m]",
    .list = "[place, torque]",
    .is_from_zero = true,
};
const struct sb_table_format sb_table_torque_over_turns = {
    .place_column = "turns",
    .value_column = "torque_nm",
    .place = SB_ANGLE,
    .value = SB_TORQUE,
    .place_scale = SB_TURN,
    .value_scale = 1.0,
    .value_max = TORQUE_MAX,
    .value_max_words = "of at most 1e6 N.m",
    .pair = "[2.5 turn, 0.1 N.m]",
    .list = "[place, torque]",
};
const struct sb_table_format sb_table_grade = {
    .place_column = "distance_m",
    .value_column = "grade_pct",
    .place = SB_LENGTH,
    .value = SB_PERCENT,
    .place_scale = 1.0,
    .value_scale = 0.01,
    .value_max = 10.0,
    .value_max_words = "of at most 1000 % up or down",
    .pair = "[3 m, 12 %]",
    .list = "[distance, grade]",
};

enum {
  FIELD_SIZE = 4096,
  COLUMN_MAX = 1024,
  ROW_MAX = 2000000,
  BYTE_MAX = 256 << 20,
  TABLE_FAULT_MAX = 100 /* in one table; nobody reads more */
};

enum field_end { END_COMMA, END_LINE, END_FILE };

struct csv {
  const char *path;
  const struct sb_table_request *request;
  FILE *file;
  long bytes, line;
  int column;      /* characters of the line read so far */
  long field_line; /* where the last field started */
  int field_column;
  char field[FIELD_SIZE];
  enum field_end end; /* what ended the last field */
  int fault_count;
  bool is_given_up;   /* the rest makes no sense */
  double *x, *values; /* x[capacity], values[capacity], owned */
  size_t count, capacity;
};

/* A fault where the last field started. */
static void fault(struct csv *csv, const char *column, const char *needs, const char *found)
{
  csv->fault_count++;
  sb_fault_add_in_table(csv->request->faults, &csv->request->place, csv->path, csv->field_line, csv->field_column,
                        "%s%sneeds %s, found %s", column, column[0] != 0 ? ": " : "", needs, found);
}

/* The same, about the text of the field. */
static void fault_in_field(struct csv *csv, const char *column, const char *needs)
{
  char quoted[SB_QUOTE_SIZE];
  fault(csv, column, needs, sb_quote(quoted, csv->field));
}

static void give_up(struct csv *csv, const char *needs, const char *found)
{
  if (!csv->is_given_up) fault(csv, "", needs, found);
  csv->is_given_up = true;
}

static int next_byte(struct csv *csv)
{
  const int byte = getc(csv->file);
  if (byte == EOF) return EOF;
  if (++csv->bytes > BYTE_MAX) {
    give_up(csv, "a table of at most 256 MiB", "more");
    return EOF;
  }
  if (byte == '\n') {
    csv->line++;
    csv->column = 0;
  } else if (((unsigned)byte & 0xc0u) != 0x80u) {
    csv->column++;
  }
  return byte;
}

static int peek_byte(struct csv *csv)
{
  const int byte = getc(csv->file);
  if (byte != EOF) ungetc(byte, csv->file);
  return byte;
}

static void put(struct csv *csv, size_t *length, int byte)
{
  if (byte == 0 || *length + 1 >= FIELD_SIZE) {
    give_up(csv, byte == 0 ? "text" : "fields below 4096 bytes", byte == 0 ? "a zero byte" : "a longer one");
    return;
  }
  csv->field[(*length)++] = (char)byte;
}

/* The rest of a quoted field, behind its first quote; returns the byte that follows it. */
static int read_quoted(struct csv *csv, size_t *length)
{
  while (!csv->is_given_up) {
    int byte = next_byte(csv);
    if (byte == EOF) {
      give_up(csv, "a closing quote", "the end of the file");
      return EOF;
    }
    if (byte == '"') {
      byte = next_byte(csv);
      if (byte != '"') return byte;
    }
    put(csv, length, byte);
  }
  return EOF;
}

static void read_field(struct csv *csv)
{
  size_t length = 0;
  csv->field_line = csv->line;
  csv->field_column = csv->column + 1;
  int byte = next_byte(csv);
  const bool is_quoted = byte == '"';
  if (is_quoted) byte = read_quoted(csv, &length);
  while (!csv->is_given_up && byte != ',' && byte != '\n' && byte != EOF) {
    if (byte == '\r' && peek_byte(csv) == '\n') {
      byte = next_byte(csv);
      break;
    }
    if (is_quoted || byte == '"') give_up(csv, "a quote only around a whole field, doubled inside it", "another");
    put(csv, &length, byte);
    byte = next_byte(csv);
  }
  csv->field[length] = 0;
  csv->end = byte == ',' ? END_COMMA : byte == '\n' ? END_LINE : END_FILE;
}

/* The field as a number, spaces around it allowed; NAN and a fault when it is none. */
static double field_number(struct csv *csv, const char *column, double greatest)
{
  const char *start = csv->field + strspn(csv->field, " \t");
  double value = 0.0;
  const char *end = sb_number_parse(start, &value);
  if (end == NULL || end[strspn(end, " \t")] != 0) {
    fault_in_field(csv, column, "a number");
    return NAN;
  }
  if (!(fabs(value) <= greatest)) {
    fault_in_field(csv, column, "a number of a sensible size");
    return NAN;
  }
  return value;
}

bool sb_table_point_is_fit(const struct sb_table_request *request, double before_previous, double previous, double x,
                           const char **needs)
{
  *needs = NULL;
  if (request->format->is_from_zero && x < 0.0) *needs = "a time that is not negative";
  if (x < previous) *needs = "a place not before the last one";
  if (x == previous && previous == before_previous) *needs = "at most two points at one place";
  return *needs == NULL;
}

static bool grow(struct csv *csv)
{
  if (csv->count < csv->capacity) return true;
  const size_t capacity = csv->capacity == 0 ? 1024 : 2 * csv->capacity;
  double *x = realloc(csv->x, capacity * sizeof *x);
  if (x != NULL) csv->x = x;
  double *values = realloc(csv->values, capacity * sizeof *values);
  if (values != NULL) csv->values = values;
  if (x == NULL || values == NULL) return false;
  csv->capacity = capacity;
  return true;
}

struct columns {
  int x, value;
  const char *x_name;
};

/* Finds the two columns in the header line. */
static bool read_header(struct csv *csv, struct columns *columns)
{
  const struct sb_table_format *format = csv->request->format;
  *columns = (struct columns){-1, -1, format->place_column};
  int column = 0;
  do {
    read_field(csv);
    const char *name = csv->field;
    if (column == 0 && strncmp(name, "\xef\xbb\xbf", 3) == 0) name += 3; /* byte order mark */
    int *found = strcmp(name, columns->x_name) == 0        ? &columns->x
                 : strcmp(name, format->value_column) == 0 ? &columns->value
                                                           : NULL;
    if (found != NULL && *found >= 0) give_up(csv, "each column once", "a second one of this name");
    if (found != NULL) *found = column;
    if (++column > COLUMN_MAX) give_up(csv, "at most 1024 columns", "more");
  } while (csv->end == END_COMMA && !csv->is_given_up);
  csv->field_line = csv->field_column = 1;
  if (ferror(csv->file)) return false;
  if (!csv->is_given_up && columns->x < 0) fault(csv, columns->x_name, "a column of this name", "none");
  if (!csv->is_given_up && columns->value < 0) fault(csv, format->value_column, "a column of this name", "none");
  return csv->fault_count == 0;
}

static void check_point(struct csv *csv, const struct columns *columns, double x, long line, int column)
{
  const size_t n = csv->count;
  const char *needs;
  char found[32];
  if (sb_table_point_is_fit(csv->request, n > 1 ? csv->x[n - 2] : (double)NAN, n > 0 ? csv->x[n - 1] : (double)NAN, x,
                            &needs)) {
    return;
  }
  csv->field_line = line;
  csv->field_column = column;
  snprintf(found, sizeof found, "%.10g", x);
  fault(csv, columns->x_name, needs, found);
}

/* One line of the table; a blank one is skipped. */
static void read_row(struct csv *csv, const struct columns *columns)
{
  const struct sb_table_format *format = csv->request->format;
  double x = NAN, value = NAN;
  int column = 0, x_column = 1;
  const long line = csv->line;
  bool is_blank = false;
  do {
    read_field(csv);
    is_blank = column == 0 && csv->end != END_COMMA && csv->field[0] == 0;
    if (csv->is_given_up || is_blank) return;
    if (column == columns->x) {
      x_column = csv->field_column;
      x = field_number(csv, columns->x_name, SB_TABLE_PLACE_MAX);
    } else if (column == columns->value) {
      value = field_number(csv, format->value_column, format->value_max / format->value_scale);
      if (csv->request->is_resisting && value < 0.0) {
        fault_in_field(csv, format->value_column, "a torque that is not negative, since it resists");
      }
    }
    column++;
  } while (csv->end == END_COMMA);
  if (column <= columns->x || column <= columns->value) fault(csv, "", "as many fields as the header has", "fewer");
  if (!isnan(x)) check_point(csv, columns, x, line, x_column);
  if (isnan(x) || isnan(value)) return;
  if (csv->count == ROW_MAX) give_up(csv, "at most 2000000 rows", "more");
  if (csv->is_given_up) return;
  csv->x[csv->count] = x;
  csv->values[csv->count++] = value;
}

static enum sb_status read_rows(struct csv *csv)
{
  struct columns columns;
  if (!read_header(csv, &columns)) return ferror(csv->file) ? SB_ERR_IO : SB_ERR_SCENARIO;
  while (csv->end != END_FILE && !csv->is_given_up && csv->fault_count < TABLE_FAULT_MAX) {
    if (!grow(csv)) return SB_ERR_MEMORY;
    read_row(csv, &columns);
  }
  if (ferror(csv->file)) return SB_ERR_IO;
  if (csv->count == 0 && csv->fault_count == 0) fault(csv, "", "at least one row", "none");
  return csv->fault_count > 0 ? SB_ERR_SCENARIO : SB_OK;
}

/* Moves the rows into the arena, in SI. */
static enum sb_status keep_rows(const struct csv *csv, struct sb_load_table *out)
{
  double *x = sb_arena_take(csv->request->arena, csv->count * sizeof *x);
  double *values = sb_arena_take(csv->request->arena, csv->count * sizeof *values);
  if (x == NULL || values == NULL) return SB_ERR_MEMORY;
  const struct sb_table_format *format = csv->request->format;
  for (size_t i = 0; i < csv->count; i++) {
    x[i] = csv->x[i] * format->place_scale;
    values[i] = csv->values[i] * format->value_scale;
  }
  *out = (struct sb_load_table){csv->count, x, values};
  return SB_OK;
}

enum sb_status sb_table_csv_read(const char *path, const struct sb_table_request *request, struct sb_load_table *out)
{
  struct csv csv = {.path = path, .request = request, .line = 1};
  csv.file = fopen(path, "rbe"); /* e: a controller started in another thread must not inherit it */
  if (csv.file == NULL) return SB_ERR_IO;
  enum sb_status status = read_rows(&csv);
  const int saved = errno;
  fclose(csv.file);
  if (status == SB_OK) status = keep_rows(&csv, out);
  free(csv.x);
  free(csv.values);
  errno = saved;
  return status;
}
