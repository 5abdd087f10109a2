// SPDX-License-Identifier: GPL-3.0-or-later
/* Logs: read from CSV, whose dialect and headings are those of text/csv_reader.h and text/csv_columns.h, or taken of a run. */
#include "shiftband/log.h"

#include <errno.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/constants.h"
#include "base/text_file.h"
#include "text/csv_columns.h"

/* The columns by number, with the time behind all others. */
enum { LOG_TIME = SB_LOG_COLUMN_COUNT, LOG_QUANTITY_COUNT };

const struct sb_log_column_facts sb_log_columns[SB_LOG_COLUMN_COUNT] = {
#define COLUMN(code, name, words, unit, ...) {name, words, unit},
    SB_LOG_COLUMN_LIST(COLUMN)
#undef COLUMN
};

/* The quantities that a log can have: headings, kinds, units. */
static const struct sb_csv_quantity quantities[LOG_QUANTITY_COUNT] = {
#define QUANTITY(code, heading, words, kept_unit, quantity, other, kind_of) \
  [code] = {.name = quantity,                                               \
            .other_name = other,                                            \
            .sample = heading,                                              \
            .kind = kind_of,                                                \
            .unit = kept_unit,                                              \
            .needs_no_unit = (kind_of) == SB_RATIO},
    SB_LOG_COLUMN_LIST(QUANTITY)
#undef QUANTITY
        [LOG_TIME] = {.name = "time", .sample = "time_s", .kind = SB_TIME, .unit = "s"},
};

const char *sb_log_column_short_name(enum sb_log_column column)
{
  const struct sb_csv_quantity *quantity = &quantities[column];
  return quantity->other_name != NULL ? quantity->other_name : quantity->name;
}

void sb_log_clear(struct sb_log *log)
{
  free(log->path);
  free(log->time_s);
  free(log->lines);
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) free(log->columns[c]);
  *log = (struct sb_log){0};
}

bool sb_log_knows(const char *name, enum sb_quantity *kind)
{
  const int q = sb_csv_quantity_find(quantities, LOG_QUANTITY_COUNT, name);
  if (q >= 0) *kind = quantities[q].kind;
  return q >= 0;
}

const char *sb_log_quantity_name(int index)
{
  if (index / 2 >= LOG_QUANTITY_COUNT) return NULL;
  const struct sb_csv_quantity *quantity = &quantities[index / 2];
  return index % 2 == 1 && quantity->other_name != NULL ? quantity->other_name : quantity->name;
}

/* Where the values of a column are, LOG_TIME included. */
static double **values_of(struct sb_log *log, int column)
{
  return column == LOG_TIME ? &log->time_s : &log->columns[column];
}

/* Makes room for one more row in the columns that it has. False when memory runs out. */
static bool grow(struct sb_log *log, const bool has[LOG_QUANTITY_COUNT])
{
  size_t grown = log->room;
  for (int c = 0; c < LOG_QUANTITY_COUNT; c++) {
    size_t room = log->room;
    if (!has[c]) continue;
    if (!sb_grow(values_of(log, c), &room, log->count, sizeof(double))) return false;
    grown = room;
  }
  log->room = grown;
  return true;
}

int sb_log_take_row(void *taker, const struct sb_row *row)
{
  struct sb_log *log = ((const struct sb_log_taker *)taker)->log;
  const struct sb_road *road = &((const struct sb_log_taker *)taker)->model->load.road;
  bool has[LOG_QUANTITY_COUNT] = {[LOG_TIME] = true};
  for (int c = 0; c < SB_LOG_TRACE_COUNT; c++) has[c] = true;
  if (!grow(log, has)) return -1;
  const size_t i = log->count++;
  log->time_s[i] = row->time_s;
  log->columns[SB_LOG_GEAR][i] = row->gear;
  log->columns[SB_LOG_DUTY][i] = row->duty_fraction;
  log->columns[SB_LOG_MOTOR_SPEED][i] = row->motor_speed_rad_s / SB_RPM;
  log->columns[SB_LOG_READING][i] = row->reading_pct;
  log->columns[SB_LOG_OUTPUT_SPEED][i] = row->output_speed_rad_s / SB_RPM;
  log->columns[SB_LOG_OUTPUT_TORQUE][i] = row->output_torque_nm;
  log->columns[SB_LOG_LOAD_TORQUE][i] = row->load_torque_nm;
  log->columns[SB_LOG_MOTOR_CURRENT][i] = row->motor_current_a;
  log->columns[SB_LOG_SUPPLY_VOLTAGE][i] = row->supply_voltage_v;
  log->columns[SB_LOG_VEHICLE_SPEED][i] =
      road->is_present ? row->vehicle_speed_rad_s * road->wheel_radius_m : (double)NAN;
  log->columns[SB_LOG_CHARGE][i] = 100.0 * row->charge_fraction;
  log->columns[SB_LOG_WINDING][i] = row->winding_c;
  return 0;
}

/* How many figures of a log, none of them negative, are at most a bound. */
typedef size_t (*count_up_to)(const struct sb_log *log, enum sb_log_column column, double bound);

/* The figure of a rank, from 0: by halving among the doubles that are not negative, which have the order of their bits. No
 * memory is taken for it, so that a noise or an interval is known of any log that is. */
static double of_rank(const struct sb_log *log, enum sb_log_column column, count_up_to count, size_t rank)
{
  const double greatest = INFINITY;
  uint64_t low = 0, high;
  double value = 0.0;
  memcpy(&high, &greatest, sizeof high);
  while (low < high) {
    const uint64_t middle = low + (high - low) / 2;
    memcpy(&value, &middle, sizeof value);
    if (count(log, column, value) > rank) {
      high = middle;
    } else {
      low = middle + 1;
    }
  }
  memcpy(&value, &low, sizeof value);
  return value;
}

static double median_of(const struct sb_log *log, enum sb_log_column column, count_up_to count)
{
  const size_t all = count(log, column, INFINITY);
  if (all == 0) return 0.0;
  const double upper = of_rank(log, column, count, all / 2);
  return all % 2 == 1 ? upper : 0.5 * (upper + of_rank(log, column, count, all / 2 - 1));
}

static size_t count_second_differences(const struct sb_log *log, enum sb_log_column column, double bound)
{
  const double *values = log->columns[column];
  size_t count = 0;
  double before = NAN, last = NAN;
  for (size_t i = 0; i < log->count; i++) {
    if (!isfinite(values[i])) continue;
    count += fabs(values[i] - 2.0 * last + before) <= bound; /* not where one is missing */
    before = last;
    last = values[i];
  }
  return count;
}

/* The least difference between two values in a row that differ; INFINITY where none do. */
static double least_step(const struct sb_log *log, enum sb_log_column column)
{
  const double *values = log->columns[column];
  double last = NAN, step = INFINITY;
  for (size_t i = 0; i < log->count; i++) {
    if (!isfinite(values[i])) continue;
    const double difference = fabs(values[i] - last);
    if (difference > 1e-9 * fabs(last) && difference < step) step = difference;
    last = values[i];
  }
  return step;
}

/*
 * White noise of deviation s has second differences of deviation sqrt(1 + 4 + 1) s, and the median of their magnitudes is
 * 0.6745 of that. Motion adds to few of them, and the median does not mind those. Rounding to steps q, which leaves most
 * differences at nothing, adds q^2 / 12; q is the least difference there is.
 */
double sb_log_noise(const struct sb_log *log, enum sb_log_column column)
{
  if (log->columns[column] == NULL || count_second_differences(log, column, INFINITY) < 6) return 0.0;
  const double median = median_of(log, column, count_second_differences), step = least_step(log, column);
  return hypot(median / (0.6745 * sqrt(6.0)), isfinite(step) ? step / sqrt(12.0) : 0.0);
}

static size_t count_intervals(const struct sb_log *log, enum sb_log_column column, double bound)
{
  size_t count = 0;
  (void)column; /* the times belong to all */
  for (size_t i = 1; i < log->count; i++) {
    const double interval_s = log->time_s[i] - log->time_s[i - 1];
    count += interval_s > 0.0 && interval_s <= bound;
  }
  return count;
}

double sb_log_interval_s(const struct sb_log *log)
{
  return median_of(log, SB_LOG_COLUMN_COUNT, count_intervals);
}

/* ---- reading ---- */

struct reader {
  struct sb_csv_reader csv;
  const struct sb_log_options *options;
  struct sb_csv_column columns[LOG_QUANTITY_COUNT];
  bool has[LOG_QUANTITY_COUNT];
  int owners[SB_CSV_COLUMN_MAX]; /* which of our columns a field of a row is, -1: none */
  size_t line_room;
  struct sb_log log;
};

struct sb_log_options sb_log_options_default(void)
{
  return (struct sb_log_options){.least_rows = 2};
}

/* ---- the header ---- */

static bool is_wanted(const struct sb_log_options *options, int column)
{
  if (column == LOG_TIME) return true;
  return options->takes != NULL ? options->takes[column] : column < SB_LOG_TRACE_COUNT;
}

static void list_ignored(struct reader *reader)
{
  char *out = reader->log.ignored;
  for (size_t k = 0; k < reader->csv.name_count; k++) {
    if (reader->owners[k] >= 0 || reader->csv.names[k].text[0] == 0) continue;
    sb_fail_add(out, sizeof reader->log.ignored, "%s%s", out[0] != 0 ? ", " : "", reader->csv.names[k].text);
  }
}

/* Finds the columns; those that nobody wants are left alone whatever their headings. */
static void find_columns(struct reader *reader)
{
  struct sb_csv_quantity list[LOG_QUANTITY_COUNT];
  struct sb_csv_column found[LOG_QUANTITY_COUNT];
  int codes[LOG_QUANTITY_COUNT], count = 0;
  for (int c = 0; c < LOG_QUANTITY_COUNT; c++) {
    if (!is_wanted(reader->options, c)) continue;
    codes[count] = c;
    list[count++] = quantities[c];
  }
  const struct sb_csv_wanted wanted = {.count = count,
                                       .quantities = list,
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
  if (csv->fault_count == 0 && !reader->has[LOG_TIME] && !reader->options->may_lack_time) {
    sb_csv_columns_miss(csv, &quantities[LOG_TIME]);
  }
}

/* ---- the rows ---- */

/* A clock that was set back a little, or two rows in the wrong order: less than the interval between the last two rows. */
static bool is_late(const struct sb_log *log, double time_s)
{
  if (log->count < 2) return false;
  const double last_s = log->time_s[log->count - 1], interval_s = last_s - log->time_s[log->count - 2];
  return time_s < last_s && last_s - time_s < interval_s;
}

static void check_time(struct reader *reader, double time_s)
{
  const struct sb_log *log = &reader->log;
  const struct sb_csv_column *column = &reader->columns[LOG_TIME];
  char needs[96];
  if (isnan(time_s)) sb_csv_fault_here(&reader->csv, column->heading, "a time in every row");
  if (log->count == 0 || !(time_s < log->time_s[log->count - 1]) || is_late(log, time_s)) return;
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
  if (c == LOG_TIME) check_time(reader, value);
  if (c == SB_LOG_DUTY && fabs(value) > 1.0 + 1e-9) {
    sb_csv_fault_here(csv, column->heading, "a duty from -100 % to 100 %");
  }
  return value;
}

static enum sb_status read_row(struct reader *reader)
{
  struct sb_log *log = &reader->log;
  if (!grow(log, reader->has) || !sb_grow(&log->lines, &reader->line_room, log->count, sizeof *log->lines)) {
    return SB_ERR_MEMORY;
  }
  for (int c = 0; c < LOG_QUANTITY_COUNT; c++) {
    if (reader->has[c]) (*values_of(log, c))[log->count] = NAN;
  }
  log->lines[log->count] = reader->csv.row_line;
  while (sb_csv_next_field(&reader->csv)) {
    const size_t k = reader->csv.index;
    const int c = k < reader->csv.name_count ? reader->owners[k] : -1;
    if (c >= 0) (*values_of(log, c))[log->count] = read_value(reader, c);
  }
  if (reader->has[LOG_TIME] && is_late(log, log->time_s[log->count])) {
    if (log->late_count++ == 0) log->late_line = log->lines[log->count];
  } else {
    log->count++;
  }
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
  *values_of(log, column) = values;
  return true;
}

static enum sb_status fill_in(struct reader *reader)
{
  const struct sb_column_facts *facts = &reader->options->facts;
  for (size_t k = facts->fill_count; k-- > 0;) {
    const struct sb_column_fact *fact = &facts->fills[k];
    const int c = sb_csv_quantity_find(quantities, LOG_QUANTITY_COUNT, fact->name);
    double value = 0.0;
    struct sb_error err;
    if (c < 0 || !is_wanted(reader->options, c) || *values_of(&reader->log, c) != NULL) continue;
    if (sb_units_parse(fact->text, quantities[c].kind, &value, &err) != SB_OK) {
      reader->csv.fault_count++;
      sb_faults_add_in_table(reader->csv.faults, &reader->csv.place, reader->csv.path, 1, 1, "%s: %s", fact->name,
                             err.text);
      continue;
    }
    if (!reader->options->is_si) value = sb_csv_quantity_keep(&quantities[c], value);
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
  reader->log.path = strdup(csv->path);
  if (reader->log.path == NULL) return SB_ERR_MEMORY;
  return status == SB_OK && csv->fault_count > 0 ? SB_ERR_SCENARIO : status;
}

enum sb_status sb_log_read(const char *path, const struct sb_log_options *options, struct sb_log *out,
                           struct sb_faults *faults)
{
  const char *name = sb_text_file_name(path);
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
