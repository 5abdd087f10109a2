// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/table_csv.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"
#include "base/text_file.h"

#define TORQUE_MAX 1e6 /* N m: more is a wrong unit */

#define TORQUE                                                                                                   \
  .value = {.name = "torque", .sample = "torque_nm", .kind = SB_TORQUE, .unit = "N.m"}, .value_max = TORQUE_MAX, \
  .value_max_words = "of at most 1e6 N.m", .list = "[place, torque]"

const struct sb_table_format sb_table_torque_over_time = {
    TORQUE,
    .place = {.name = "time", .sample = "time_s", .kind = SB_TIME, .unit = "s"},
    .pair = "[5 s, 0.1 N.m]",
    .is_from_zero = true,
};
const struct sb_table_format sb_table_torque_over_turns = {
    TORQUE,
    .place = {.name = "turns", .sample = "turns", .kind = SB_ANGLE, .unit = "turn", .needs_no_unit = true},
    .pair = "[2.5 turn, 0.1 N.m]",
};
const struct sb_table_format sb_table_grade = {
    .place = {.name = "distance", .sample = "distance_m", .kind = SB_LENGTH, .unit = "m"},
    .value = {.name = "grade", .sample = "grade_pct", .kind = SB_PERCENT, .unit = "%"},
    .value_max = 10.0,
    .value_max_words = "of at most 1000 % up or down",
    .pair = "[3 m, 12 %]",
    .list = "[distance, grade]",
};

/* What the rows become. */
struct table {
  struct sb_csv_reader csv;
  const struct sb_table_request *request;
  struct sb_csv_column columns[2]; /* place, value */
  size_t count, x_room, value_room;
  double *x, *values; /* x[count], values[count], owned */
};

bool sb_table_point_is_fit(const struct sb_table_request *request, double before_previous, double previous, double x,
                           const char **needs)
{
  *needs = NULL;
  if (request->format->is_from_zero && x < 0.0) *needs = "a time that is not negative";
  if (x < previous) *needs = "a place not before the last one";
  if (x == previous && previous == before_previous) *needs = "at most two points at one place";
  return *needs == NULL;
}

/* The field in SI; NAN, with a fault, where it is missing, none or too great. */
static double take_number(struct table *table, int which)
{
  struct sb_csv_reader *csv = &table->csv;
  const struct sb_csv_column *column = &table->columns[which];
  const double greatest = which == 0 ? SB_TABLE_PLACE_MAX : table->request->format->value_max;
  const int faults_before = csv->fault_count;
  const double value = sb_csv_field_number(csv, column->heading) * column->factor;
  if (csv->fault_count > faults_before) return NAN;
  if (isnan(value)) {
    sb_csv_fault_here(csv, column->heading, "a number");
  } else if (fabs(value) > greatest) {
    sb_csv_fault_here(csv, column->heading, "a number of a sensible size");
  } else if (which == 1 && table->request->is_resisting && value < 0.0) {
    sb_csv_fault_here(csv, column->heading, "a torque that is not negative, since it resists");
  }
  return value;
}

/* The place must suit those before it. The field is the place. */
static void check_place(struct table *table, double x)
{
  const size_t n = table->count;
  const double before_last = n > 1 ? table->x[n - 2] : (double)NAN, last = n > 0 ? table->x[n - 1] : (double)NAN;
  const char *needs;
  if (!sb_table_point_is_fit(table->request, before_last, last, x, &needs)) {
    sb_csv_fault_here(&table->csv, table->columns[0].heading, needs);
  }
}

static enum sb_status read_row(struct table *table)
{
  double x = NAN, value = NAN;
  while (sb_csv_next_field(&table->csv)) {
    const int field = (int)table->csv.index;
    if (field == table->columns[0].field) {
      x = take_number(table, 0);
      if (!isnan(x)) check_place(table, x);
    } else if (field == table->columns[1].field) {
      value = take_number(table, 1);
    }
  }
  if (isnan(x) || isnan(value)) return SB_OK;
  if (!sb_grow(&table->x, &table->x_room, table->count, sizeof x) ||
      !sb_grow(&table->values, &table->value_room, table->count, sizeof value)) {
    return SB_ERR_MEMORY;
  }
  table->x[table->count] = x;
  table->values[table->count++] = value;
  return SB_OK;
}

static enum sb_status read_rows(struct table *table)
{
  struct sb_csv_reader *csv = &table->csv;
  const struct sb_csv_quantity quantities[2] = {table->request->format->place, table->request->format->value};
  enum sb_status status = sb_csv_reader_open(csv);
  if (status != SB_OK || csv->fault_count > 0) return status;
  sb_csv_columns_find(csv, &(struct sb_csv_wanted){.count = 2, .quantities = quantities, .is_si = true},
                      table->columns);
  const bool is_sound = csv->fault_count == 0;
  for (int k = 0; k < 2; k++) {
    if (is_sound && table->columns[k].field < 0) sb_csv_columns_miss(csv, &quantities[k]);
  }
  if (csv->fault_count > 0) return SB_OK;
  while (status == SB_OK && sb_csv_next_row(csv)) status = read_row(table);
  if (table->count == 0 && csv->fault_count == 0) sb_csv_fault_at(csv, csv->line, 1, "", "at least one row", "none");
  return status;
}

/* Moves the rows into the arena. */
static enum sb_status keep_rows(const struct table *table, struct sb_table *out)
{
  const size_t size = table->count * sizeof *table->x;
  double *x = sb_arena_take(table->request->arena, size), *values = sb_arena_take(table->request->arena, size);
  if (x == NULL || values == NULL) return SB_ERR_MEMORY;
  memcpy(x, table->x, size);
  memcpy(values, table->values, size);
  *out = (struct sb_table){table->count, x, values};
  return SB_OK;
}

enum sb_status sb_table_csv_read(const char *path, const struct sb_table_request *request, struct sb_table *out,
                                 bool *has_decimal_commas)
{
  struct table table = {.csv = {.path = path, .faults = request->faults, .place = request->place}, .request = request};
  /* A device or a pipe may have no end, and a scenario may come from anyone. */
  if (sb_text_file_is_endless(path)) {
    errno = ESPIPE;
    return SB_ERR_IO;
  }
  enum sb_status status = read_rows(&table);
  const int saved = errno;
  if (status == SB_OK && table.csv.fault_count > 0) status = SB_ERR_SCENARIO;
  if (status == SB_OK) status = keep_rows(&table, out);
  *has_decimal_commas = table.csv.has_decimal_commas;
  sb_csv_reader_close(&table.csv);
  free(table.x);
  free(table.values);
  errno = saved;
  return status;
}
