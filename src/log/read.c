// SPDX-License-Identifier: GPL-3.0-or-later
/* Reads a log from CSV; see log.h. Dialect and headings are those of text/csv_reader.h and text/csv_columns.h. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "log/log.h"

struct reader {
  struct sb_csv_reader csv;
  const struct sb_log_options *options;
  struct sb_csv_column columns[SB_LOG_QUANTITY_COUNT];
  bool has[SB_LOG_QUANTITY_COUNT];
  int owners[SB_CSV_COLUMN_MAX]; /* which of our columns a field of a row is, -1: none */
  size_t line_room;
  struct sb_log log;
};

const char *sb_log_name(const char *path)
{
  return strcmp(path, "-") == 0 ? "standard input" : path;
}

struct sb_log_options sb_log_options_default(void)
{
  return (struct sb_log_options){.least_rows = 2};
}

/* ---- the header ---- */

static bool is_wanted(const struct sb_log_options *options, int column)
{
  if (column == SB_LOG_TIME) return true;
  return options->takes != NULL ? options->takes[column] : column < SB_LOG_TRACE_COUNT;
}

static void list_ignored(struct reader *reader)
{
  char *out = reader->log.ignored;
  const size_t size = sizeof reader->log.ignored;
  for (size_t k = 0; k < reader->csv.name_count; k++) {
    const size_t length = strlen(out);
    if (reader->owners[k] >= 0 || reader->csv.names[k].text[0] == 0) continue;
    snprintf(out + length, size - length, "%s%s", length > 0 ? ", " : "", reader->csv.names[k].text);
  }
}

/* Finds the columns; those that nobody wants are left alone whatever their headings. */
static void find_columns(struct reader *reader)
{
  struct sb_csv_quantity quantities[SB_LOG_QUANTITY_COUNT];
  struct sb_csv_column found[SB_LOG_QUANTITY_COUNT];
  int codes[SB_LOG_QUANTITY_COUNT], count = 0;
  for (int c = 0; c < SB_LOG_QUANTITY_COUNT; c++) {
    if (!is_wanted(reader->options, c)) continue;
    codes[count] = c;
    quantities[count++] = sb_log_quantities[c];
  }
  const struct sb_csv_wanted wanted = {.count = count,
                                       .quantities = quantities,
                                       .facts = &reader->options->facts,
                                       .is_si = reader->options->is_si,
                                       .may_lack_renamed = reader->options->may_lack_renamed};
  sb_csv_columns_find(&reader->csv, &wanted, found);
  for (size_t k = 0; k < reader->csv.name_count; k++) reader->owners[k] = -1;
  for (int k = 0; k < count; k++) {
    if (found[k].field < 0) continue;
    reader->columns[codes[k]] = found[k];
    reader->has[codes[k]] = true;
    reader->owners[found[k].field] = codes[k];
  }
}

static void read_header(struct reader *reader)
{
  struct sb_csv_reader *csv = &reader->csv;
  find_columns(reader);
  list_ignored(reader);
  sb_csv_header_words(csv, reader->log.header, sizeof reader->log.header);
  if (csv->fault_count == 0 && !reader->has[SB_LOG_TIME] && !reader->options->may_lack_time) {
    sb_csv_columns_miss(csv, &sb_log_quantities[SB_LOG_TIME]);
  }
}

/* ---- the rows ---- */

static void check_time(struct reader *reader, double time_s)
{
  const struct sb_log *log = &reader->log;
  const struct sb_csv_column *column = &reader->columns[SB_LOG_TIME];
  char needs[96];
  if (isnan(time_s)) sb_csv_fault_here(&reader->csv, column->heading, "a time in every row");
  if (log->count == 0 || !(time_s < log->time_s[log->count - 1])) return;
  snprintf(needs, sizeof needs, "a time not before the last one, %.10g", log->time_s[log->count - 1] / column->factor);
  sb_csv_fault_here(&reader->csv, column->heading, needs);
}

/* A gear by its number, or by its name where the gearbox is known. */
static double read_gear(struct reader *reader)
{
  struct sb_csv_reader *csv = &reader->csv;
  const struct sb_gearbox *box = reader->options->gearbox;
  const char *heading = reader->columns[SB_LOG_GEAR].heading;
  const int named = box != NULL ? sb_gearbox_find(box, csv->field) : -1;
  if (named >= 0) return named + 1;
  const int faults_before = csv->fault_count;
  const double gear = sb_csv_field_number(csv, heading);
  if (gear != floor(gear) || gear < 0.0 || gear > SB_GEAR_MAX) {
    sb_csv_fault_here(csv, heading, "a whole number from 0 (neutral) to 8");
  }
  return csv->fault_count > faults_before ? (double)NAN : gear;
}

/* The field as a value of its column; NAN where it is missing, and where it is a fault. */
static double read_value(struct reader *reader, int c)
{
  struct sb_csv_reader *csv = &reader->csv;
  const struct sb_csv_column *column = &reader->columns[c];
  if (c == SB_LOG_GEAR) return read_gear(reader);
  const int faults_before = csv->fault_count;
  const double value = sb_csv_field_number(csv, column->heading) * column->factor + column->offset;
  if (csv->fault_count > faults_before) return NAN;
  if (c == SB_LOG_TIME) check_time(reader, value);
  if (c == SB_LOG_DUTY && fabs(value) > 1.0 + 1e-9) {
    sb_csv_fault_here(csv, column->heading, "a duty from -100 % to 100 %");
  }
  return value;
}

static enum sb_status read_row(struct reader *reader)
{
  struct sb_log *log = &reader->log;
  if (!sb_log_grow(log, reader->has) || !sb_grow(&log->lines, &reader->line_room, log->count, sizeof *log->lines)) {
    return SB_ERR_MEMORY;
  }
  for (int c = 0; c < SB_LOG_QUANTITY_COUNT; c++) {
    if (reader->has[c]) (*sb_log_values(log, c))[log->count] = NAN;
  }
  log->lines[log->count] = reader->csv.row_line;
  while (sb_csv_next_field(&reader->csv)) {
    const size_t k = reader->csv.index;
    const int c = k < reader->csv.name_count ? reader->owners[k] : -1;
    if (c >= 0) (*sb_log_values(log, c))[log->count] = read_value(reader, c);
  }
  log->count++;
  return SB_OK;
}

static enum sb_status read_rows(struct reader *reader)
{
  struct sb_csv_reader *csv = &reader->csv;
  const size_t least = reader->options->least_rows;
  enum sb_status status = SB_OK;
  if (csv->fault_count == 0) read_header(reader);
  if (csv->fault_count > 0) return SB_OK;
  while (status == SB_OK && sb_csv_next_row(csv)) status = read_row(reader);
  if (status == SB_OK && csv->fault_count == 0 && reader->log.count < least) {
    char needs[48], found[24];
    snprintf(needs, sizeof needs, "at least %zu row%s", least, least == 1 ? "" : "s");
    snprintf(found, sizeof found, "%zu", reader->log.count);
    sb_csv_fault_at(csv, csv->line, 1, "", needs, found);
  }
  return status;
}

/* ---- columns of one value ---- */

static bool add_column(struct sb_log *log, int column, double value)
{
  double *values = malloc(log->count * sizeof *values);
  if (values == NULL) return false;
  for (size_t i = 0; i < log->count; i++) values[i] = value;
  *sb_log_values(log, column) = values;
  return true;
}

static enum sb_status fill_in(struct reader *reader)
{
  const struct sb_column_facts *facts = &reader->options->facts;
  for (size_t k = facts->fill_count; k-- > 0;) {
    const struct sb_column_fact *fact = &facts->fills[k];
    const int c = sb_csv_quantity_find(sb_log_quantities, SB_LOG_QUANTITY_COUNT, fact->name);
    double value = 0.0;
    struct sb_error err;
    if (c < 0 || !is_wanted(reader->options, c) || *sb_log_values(&reader->log, c) != NULL) continue;
    if (sb_units_parse(fact->text, sb_log_quantities[c].kind, &value, &err) != SB_OK) {
      reader->csv.fault_count++;
      sb_faults_add_in_table(reader->csv.faults, &reader->csv.place, reader->csv.path, 1, 1, "%s: %s", fact->name,
                             err.text);
      continue;
    }
    if (!reader->options->is_si) value = sb_csv_quantity_keep(&sb_log_quantities[c], value);
    if (!add_column(&reader->log, c, value)) return SB_ERR_MEMORY;
  }
  return SB_OK;
}

/* ---- the whole ---- */

static enum sb_status read_all(struct reader *reader)
{
  struct sb_csv_reader *csv = &reader->csv;
  const struct sb_log_options *options = reader->options;
  enum sb_status status =
      options->text != NULL ? sb_csv_reader_start(csv, options->text, options->length) : sb_csv_reader_open(csv);
  if (status == SB_OK) status = read_rows(reader);
  if (status == SB_OK && csv->fault_count == 0) status = fill_in(reader);
  reader->log.has_decimal_commas = csv->has_decimal_commas;
  return status == SB_OK && csv->fault_count > 0 ? SB_ERR_SCENARIO : status;
}

enum sb_status sb_log_read(const char *path, const struct sb_log_options *options, struct sb_log *out,
                           struct sb_faults *faults)
{
  const char *name = sb_log_name(path);
  struct sb_fault_list list = {.file = name};
  struct reader reader = {.csv = {.path = name, .stream = name != path ? stdin : NULL, .faults = &list},
                          .options = options};
  *faults = (struct sb_faults){0};
  enum sb_status status = read_all(&reader);
  const int saved = errno;
  if (status == SB_ERR_SCENARIO && !sb_faults_publish(&list, faults)) status = SB_ERR_MEMORY;
  sb_csv_reader_close(&reader.csv);
  sb_faults_list_clear(&list);
  if (status == SB_OK) {
    *out = reader.log;
  } else {
    sb_log_clear(&reader.log);
  }
  errno = saved;
  return status;
}
