// SPDX-License-Identifier: GPL-3.0-or-later
#include <errno.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "base/faults.h"
#include "base/text_file.h"
#include "log/fields.h"
#include "log/heading.h"
#include "shiftband/fit.h"

#define GRAVITY 9.80665 /* m/s2, standard */

enum { NAME_MAX_COUNT = 128, ROW_MAX = 1000000, BYTE_MAX = 128 << 20, LOG_FAULT_MAX = 20 };

struct heading {
  struct sb_log_heading what;
  char name[SB_FIELD_SIZE];
  int place; /* column of the text, for faults about the header */
};

struct reader {
  const char *path;
  const struct sb_fit_log_options *options;
  struct sb_fault_list *faults;
  struct sb_fields fields;
  int name_count;
  struct heading *names; /* names[NAME_MAX_COUNT] */
  size_t capacity;
  struct sb_fit_log log;
  int fault_count;
};

static const struct sb_place nowhere = {0};

static void fault_at(struct reader *reader, long line, int column, const char *name, const char *needs,
                     const char *found)
{
  reader->fault_count++;
  sb_fault_add_in_table(reader->faults, &nowhere, reader->path, line, column, "%s%sneeds %s, found %s", name,
                        name[0] != 0 ? ": " : "", needs, found);
}

static void fault_here(struct reader *reader, const char *name, const char *needs)
{
  char quoted[SB_QUOTE_SIZE];
  const struct sb_fields *fields = &reader->fields;
  fault_at(reader, fields->text_line, fields->text_column, name, needs, sb_quote(quoted, fields->text));
}

/* ---- the header ---- */

static void note_ignored(struct sb_fit_log *log, const char *name)
{
  const size_t length = strlen(log->ignored);
  snprintf(log->ignored + length, sizeof log->ignored - length, "%s%s", length > 0 ? ", " : "", name);
}

static void check_heading(struct reader *reader, const struct heading *heading)
{
  char needs[200];
  if (heading->what.column < 0) {
    note_ignored(&reader->log, heading->name);
    return;
  }
  const enum sb_fit_column column = (enum sb_fit_column)heading->what.column;
  const enum sb_quantity quantity = sb_fit_column_quantity(column);
  for (int k = 0; k < reader->name_count; k++) {
    if (reader->names[k].what.column == heading->what.column) {
      fault_at(reader, 1, heading->place, heading->name, "each quantity once", "a second column of it");
    }
  }
  if (heading->what.is_unit_unknown) {
    char quoted[SB_QUOTE_SIZE];
    snprintf(needs, sizeof needs, "a unit of %s (%s)", sb_quantity_words(quantity), sb_quantity_units(quantity));
    fault_at(reader, 1, heading->place, heading->name, needs, sb_quote(quoted, heading->what.unit));
  } else if (!heading->what.has_unit) {
    const char *sample = column == SB_FIT_TIME ? "ms" : column == SB_FIT_DUTY ? "%" : sb_quantity_si(quantity);
    snprintf(needs, sizeof needs, "its unit, as in \"%.40s [%s]\" or --unit %.40s=%s", heading->name, sample,
             heading->name, sample);
    fault_at(reader, 1, heading->place, heading->name, needs, "none");
  }
}

static void read_header(struct reader *reader)
{
  while (sb_fields_next(&reader->fields)) {
    if (reader->name_count == NAME_MAX_COUNT) {
      fault_at(reader, 1, 1, "", "at most 128 columns", "more");
      return;
    }
    struct heading *heading = &reader->names[reader->name_count];
    snprintf(heading->name, sizeof heading->name, "%s", reader->fields.text);
    heading->place = reader->fields.text_column;
    heading->what = sb_log_heading_read(heading->name, reader->options);
    check_heading(reader, heading);
    reader->name_count++;
    if (reader->fields.is_last_in_line) return;
  }
}

/* ---- the rows ---- */

static bool grow(struct reader *reader)
{
  struct sb_fit_log *log = &reader->log;
  if (log->row_count < reader->capacity) return true;
  const size_t capacity = reader->capacity == 0 ? 256 : 2 * reader->capacity;
  long *lines = realloc(log->lines, capacity * sizeof *lines);
  if (lines == NULL) return false;
  log->lines = lines;
  for (int k = 0; k < reader->name_count; k++) {
    if (reader->names[k].what.column < 0) continue;
    double **column = &log->columns[reader->names[k].what.column];
    double *grown = realloc(*column, capacity * sizeof *grown);
    if (grown == NULL) return false;
    *column = grown;
  }
  reader->capacity = capacity;
  return true;
}

static bool is_empty(const char *text)
{
  return text[0] == 0 || strcmp(text, "nan") == 0 || strcmp(text, "NaN") == 0 || strcmp(text, "NAN") == 0;
}

/* The field as a number in the file's own unit; NAN when empty or (with a fault) when it is none. */
static double read_number(struct reader *reader, const char *name)
{
  double value = 0.0;
  const char *text = reader->fields.text;
  if (is_empty(text)) return NAN;
  const char *end = sb_number_parse(text, &value);
  if (end != NULL && *end == 0 && fabs(value) <= SB_READING_MAX) return value;
  const bool has_comma = end != NULL && *end == ',';
  fault_here(reader, name, has_comma ? "a number with a decimal point" : "a number (or nothing) of a sensible size");
  return NAN;
}

static void check_value(struct reader *reader, const struct heading *heading, double value)
{
  const struct sb_fit_log *log = &reader->log;
  char needs[96];
  switch ((enum sb_fit_column)heading->what.column) {
    case SB_FIT_TIME: {
      const double *times = log->columns[SB_FIT_TIME];
      if (isnan(value)) fault_here(reader, heading->name, "a time in every row");
      if (log->row_count > 0 && value < times[log->row_count - 1]) {
        snprintf(needs, sizeof needs, "a time not before the last one, %.10g",
                 times[log->row_count - 1] / heading->what.scale);
        fault_here(reader, heading->name, needs);
      }
      break;
    }
    case SB_FIT_DUTY:
      if (fabs(value) > 1.0 + 1e-9) fault_here(reader, heading->name, "a duty from -100 % to 100 %");
      break;
    case SB_FIT_VOLTAGE:
      if (value < 0.0) fault_here(reader, heading->name, "a voltage that is not negative (the duty has the sign)");
      break;
    case SB_FIT_GEAR:
      if (!isnan(value) && (value != floor(value) || value < 0.0 || value > SB_GEAR_MAX)) {
        fault_here(reader, heading->name, "the number of a gear, 0 in neutral");
      }
      break;
    default: break;
  }
}

/* One line; an empty one is skipped. */
static enum sb_status read_row(struct reader *reader)
{
  struct sb_fit_log *log = &reader->log;
  if (!grow(reader)) return SB_ERR_MEMORY;
  for (int c = 0; c < SB_FIT_COLUMN_COUNT; c++) {
    if (log->columns[c] != NULL) log->columns[c][log->row_count] = NAN;
  }
  int k = 0;
  long line = 0;
  bool is_blank = false;
  for (bool goes_on = true; goes_on && sb_fields_next(&reader->fields); k++) {
    goes_on = !reader->fields.is_last_in_line;
    if (k == 0) line = reader->fields.text_line;
    is_blank = k == 0 && !goes_on && reader->fields.text[0] == 0;
    if (is_blank || k >= reader->name_count || reader->names[k].what.column < 0) continue;
    const struct heading *heading = &reader->names[k];
    const double value = read_number(reader, heading->name) * heading->what.scale;
    check_value(reader, heading, value);
    log->columns[heading->what.column][log->row_count] = value;
  }
  if (is_blank || reader->fields.fault_needs != NULL || k == 0) return SB_OK;
  if (k != reader->name_count) {
    char needs[64], found[32];
    snprintf(needs, sizeof needs, "%d fields, as the header has", reader->name_count);
    snprintf(found, sizeof found, "%d", k);
    fault_at(reader, line, 1, "", needs, found);
  }
  log->lines[log->row_count++] = line;
  return SB_OK;
}

static enum sb_status read_rows(struct reader *reader)
{
  read_header(reader);
  enum sb_status status = SB_OK;
  while (status == SB_OK && reader->fault_count < LOG_FAULT_MAX && reader->fields.at < reader->fields.end &&
         reader->fields.fault_needs == NULL) {
    if (reader->log.row_count == ROW_MAX) {
      fault_at(reader, reader->fields.line, 1, "", "at most 1000000 rows", "more");
      break;
    }
    status = read_row(reader);
  }
  if (reader->fields.fault_needs != NULL) {
    fault_at(reader, reader->fields.text_line, reader->fields.text_column, "", reader->fields.fault_needs,
             reader->fields.fault_found);
  } else if (reader->log.row_count == 0 && reader->fault_count == 0) {
    fault_at(reader, 1, 1, "", "a header line and at least one row", "none");
  }
  return status;
}

/* ---- what follows from the columns ---- */

static bool add_column(struct sb_fit_log *log, enum sb_fit_column column, double value)
{
  if (log->columns[column] == NULL) log->columns[column] = malloc(log->row_count * sizeof(double));
  if (log->columns[column] == NULL) return false;
  for (size_t i = 0; i < log->row_count; i++) log->columns[column][i] = value;
  return true;
}

static bool fill_in(struct reader *reader)
{
  for (size_t k = 0; k < reader->options->fill_count; k++) {
    const struct sb_fit_fact *fact = &reader->options->fills[k];
    const struct sb_log_heading heading = sb_log_heading_read(fact->name, &(struct sb_fit_log_options){0});
    double value = 0.0;
    struct sb_error err;
    if (heading.column < 0 || reader->log.columns[heading.column] != NULL) continue;
    if (sb_quantity_parse(fact->text, sb_fit_column_quantity((enum sb_fit_column)heading.column), &value, &err) !=
        SB_OK) {
      reader->fault_count++;
      sb_fault_add_in_table(reader->faults, &nowhere, reader->path, 1, 1, "%s: %s", fact->name, err.text);
    } else if (!add_column(&reader->log, (enum sb_fit_column)heading.column, value)) {
      return false;
    }
  }
  return true;
}

static const struct heading *heading_of(const struct reader *reader, enum sb_fit_column column)
{
  for (int k = 0; k < reader->name_count; k++) {
    if (reader->names[k].what.column == (int)column) return &reader->names[k];
  }
  return NULL;
}

/* Force and weight on an arm are a torque. */
static bool turn_into_torque(struct reader *reader)
{
  static const enum sb_fit_column pulls[] = {SB_FIT_FORCE, SB_FIT_MASS};
  struct sb_fit_log *log = &reader->log;
  for (int k = 0; k < 2; k++) {
    const double *pull = log->columns[pulls[k]];
    if (pull == NULL) continue;
    if (!(reader->options->arm_m > 0.0)) {
      const struct heading *heading = heading_of(reader, pulls[k]);
      fault_at(reader, 1, heading != NULL ? heading->place : 1, sb_fit_column_name(pulls[k]),
               "the arm that makes a torque of it (--arm 12mm: the lever, or the drum's radius)", "none");
      return true;
    }
    if (log->columns[SB_FIT_TORQUE] == NULL && !add_column(log, SB_FIT_TORQUE, 0.0)) return false;
    for (size_t i = 0; i < log->row_count; i++) {
      log->columns[SB_FIT_TORQUE][i] += pull[i] * reader->options->arm_m * (k == 1 ? GRAVITY : 1.0);
    }
  }
  return true;
}

static void check_columns(struct reader *reader)
{
  double *const *columns = reader->log.columns;
  const bool has_speed = columns[SB_FIT_SPEED] != NULL || columns[SB_FIT_OUTPUT_SPEED] != NULL;
  const bool has_electric = columns[SB_FIT_VOLTAGE] != NULL && columns[SB_FIT_CURRENT] != NULL;
  char found[200];
  snprintf(found, sizeof found, "%s", reader->log.ignored[0] != 0 ? reader->log.ignored : "none of them");
  if (!has_speed) {
    fault_at(reader, 1, 1, "speed", "a column such as speed_rpm (or --column speed=NAME --unit speed=rpm)", found);
  } else if (columns[SB_FIT_TIME] == NULL && columns[SB_FIT_TORQUE] == NULL && !has_electric) {
    fault_at(reader, 1, 1, "", "time_s (a log over time), or torque_nm, force_n or mass_g (settled points)", found);
  }
}

/* The step that all values are whole multiples of apart; 0 when there is none. */
static double find_quantum(const double *values, size_t count)
{
  double *sorted = malloc(count * sizeof *sorted);
  size_t n = 0;
  double step = INFINITY;
  if (sorted == NULL) return 0.0;
  for (size_t i = 0; i < count; i++) {
    if (!isnan(values[i])) sorted[n++] = values[i];
  }
  gsl_sort(sorted, 1, n);
  const double tiny = n > 0 ? 1e-9 * fabs(sorted[n - 1]) : 0.0;
  for (size_t i = 1; i < n; i++) {
    if (sorted[i] - sorted[i - 1] > tiny) step = fmin(step, sorted[i] - sorted[i - 1]);
  }
  for (size_t i = 1; i < n && step > 0.0; i++) {
    const double parts = (sorted[i] - sorted[0]) / step;
    if (fabs(parts - nearbyint(parts)) > 1e-3) step = 0.0;
  }
  free(sorted);
  return n > 2 && isfinite(step) ? step : 0.0;
}

/*
 * The sense in which things turn does not matter here: a column that goes one way is turned round as a whole, so that noise
 * about rest stays noise about rest; only one that goes both ways (a motor that reverses) becomes its magnitude.
 */
static void take_magnitudes(double *values, size_t count)
{
  double greatest = 0.0;
  size_t forward = 0, back = 0;
  for (size_t i = 0; i < count; i++) greatest = fmax(greatest, fabs(values[i]));
  for (size_t i = 0; i < count; i++) {
    forward += values[i] > 0.2 * greatest;
    back += values[i] < -0.2 * greatest;
  }
  const size_t few = count / 50 + 1;
  if (back <= few && back <= forward) return;
  for (size_t i = 0; i < count; i++) values[i] = forward <= few && forward < back ? -values[i] : fabs(values[i]);
}

static void find_gaps(struct sb_fit_log *log)
{
  const double *times = log->columns[SB_FIT_TIME];
  double *pauses = log->row_count > 2 ? malloc(log->row_count * sizeof *pauses) : NULL;
  if (pauses == NULL || times == NULL) {
    free(pauses);
    return;
  }
  for (size_t i = 1; i < log->row_count; i++) pauses[i - 1] = times[i] - times[i - 1];
  const double usual = gsl_stats_median(pauses, 1, log->row_count - 1);
  for (size_t i = 1; i < log->row_count; i++) {
    const double pause = times[i] - times[i - 1];
    if (pause <= 5.0 * usual) continue;
    log->gap_count++;
    log->longest_gap_s = fmax(log->longest_gap_s, pause);
  }
  free(pauses);
}

static enum sb_status finish(struct reader *reader)
{
  struct sb_fit_log *log = &reader->log;
  if (reader->fault_count > 0) return SB_ERR_SCENARIO;
  if (!fill_in(reader) || !turn_into_torque(reader)) return SB_ERR_MEMORY;
  if (reader->fault_count == 0) check_columns(reader);
  if (reader->fault_count > 0) return SB_ERR_SCENARIO;
  static const enum sb_fit_column measured[] = {SB_FIT_SPEED, SB_FIT_OUTPUT_SPEED, SB_FIT_CURRENT};
  for (int k = 0; k < 3; k++) {
    if (log->columns[measured[k]] != NULL) take_magnitudes(log->columns[measured[k]], log->row_count);
  }
  for (size_t i = 0; log->columns[SB_FIT_DUTY] != NULL && i < log->row_count; i++) {
    log->columns[SB_FIT_DUTY][i] = fabs(log->columns[SB_FIT_DUTY][i]);
  }
  for (int k = 0; k < 3; k++) {
    if (log->columns[measured[k]] == NULL) continue;
    log->quantum[measured[k]] = find_quantum(log->columns[measured[k]], log->row_count);
  }
  find_gaps(log);
  return SB_OK;
}

/* ---- the whole ---- */

void sb_fit_log_clear(struct sb_fit_log *log)
{
  free(log->path);
  free(log->lines);
  for (int c = 0; c < SB_FIT_COLUMN_COUNT; c++) free(log->columns[c]);
  *log = (struct sb_fit_log){0};
}

static enum sb_status publish(struct sb_fault_list *list, enum sb_status status, struct sb_faults *faults)
{
  if (status == SB_ERR_SCENARIO && !sb_fault_list_publish(list, faults)) status = SB_ERR_MEMORY;
  sb_fault_list_clear(list);
  free(list);
  return status;
}

enum sb_status sb_fit_log_parse(const char *path, const char *text, size_t length,
                                const struct sb_fit_log_options *options, struct sb_fit_log *out,
                                struct sb_faults *faults)
{
  struct reader reader = {.path = path, .options = options, .faults = calloc(1, sizeof *reader.faults)};
  *faults = (struct sb_faults){0};
  reader.names = calloc(NAME_MAX_COUNT, sizeof *reader.names);
  reader.log.path = malloc(strlen(path) + 1);
  enum sb_status status = SB_ERR_MEMORY;
  if (reader.faults == NULL || reader.names == NULL || reader.log.path == NULL) {
    free(reader.faults);
  } else {
    strcpy(reader.log.path, path);
    sb_fields_init(&reader.fields, text, length);
    status = read_rows(&reader);
    if (status == SB_OK) status = finish(&reader);
    status = publish(reader.faults, status, faults);
  }
  free(reader.names);
  if (status == SB_OK) {
    *out = reader.log;
  } else {
    sb_fit_log_clear(&reader.log);
  }
  return status;
}

enum sb_status sb_fit_log_read(const char *path, const struct sb_fit_log_options *options, struct sb_fit_log *out,
                               struct sb_faults *faults)
{
  size_t length = 0;
  errno = 0;
  char *text = sb_text_file_read(path, BYTE_MAX, &length);
  if (text == NULL) {
    struct sb_fault_list *list = calloc(1, sizeof *list);
    if (list == NULL) return SB_ERR_MEMORY;
    char why[128];
    snprintf(why, sizeof why, "%s", errno != 0 ? strerror(errno) : "reading failed");
    list->file = path;
    sb_fault_add(list, &(struct sb_place){.line = 1, .column = 1}, "", "needs a readable file, found: %s", why);
    const bool is_published = sb_fault_list_publish(list, faults);
    sb_fault_list_clear(list);
    free(list);
    return is_published ? SB_ERR_IO : SB_ERR_MEMORY;
  }
  const enum sb_status status = sb_fit_log_parse(path, text, length, options, out, faults);
  free(text);
  return status;
}
