// SPDX-License-Identifier: GPL-3.0-or-later
/* Reads a log from CSV; see log.h. The whole file is held as text, fields are taken in place. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/constants.h"
#include "base/faults.h"
#include "base/text_file.h"
#include "log/log.h"
#include "shiftband/units.h"

enum { FIELD_SIZE = 256, FIELD_MAX = 1024, BYTE_MAX = 256 << 20, FAULT_MAX = 50 };

struct reader {
  const char *path;
  const char *at; /* in the text, which ends in a zero byte */
  long line;
  const char *line_start;
  struct sb_fault_list *faults;
  int fault_count;
  bool is_given_up;
  /* The last field. */
  char field[FIELD_SIZE];
  int field_column;
  bool is_last_in_line;
  /* Which column of ours each field of a row is: -1 none, SB_LOG_COLUMN_COUNT the time. */
  int owner[FIELD_MAX];
  int field_count;
  int names[SB_LOG_COLUMN_COUNT + 1]; /* field of each column of ours, -1: not there */
};

static void fault(struct reader *reader, const char *name, const char *needs, const char *found)
{
  const struct sb_place place = {.line = (int)(reader->line < 2000000000 ? reader->line : 2000000000),
                                 .column = reader->field_column};
  reader->fault_count++;
  sb_fault_add_in_table(reader->faults, &place, reader->path, reader->line, reader->field_column,
                        "%s%sneeds %s, found %s", name, name[0] != 0 ? ": " : "", needs, found);
}

static void fault_in_field(struct reader *reader, const char *name, const char *needs)
{
  char quoted[SB_QUOTE_SIZE];
  fault(reader, name, needs, reader->field[0] != 0 ? sb_quote(quoted, reader->field) : "nothing");
}

static void put(struct reader *reader, size_t *length, char byte)
{
  if (*length + 1 < FIELD_SIZE) reader->field[(*length)++] = byte;
}

/* Copies a quoted field; its first quote is past. */
static void take_quoted(struct reader *reader, size_t *length)
{
  for (;; reader->at++) {
    if (*reader->at == 0) {
      fault(reader, "", "a closing quote", "the end of the file");
      reader->is_given_up = true;
      return;
    }
    if (*reader->at == '"' && *++reader->at != '"') return;
    put(reader, length, *reader->at);
    if (*reader->at == '\n') reader->line++;
  }
}

/* The next field of the line, cut to FIELD_SIZE. */
static void take_field(struct reader *reader)
{
  size_t length = 0;
  reader->field_column = (int)(reader->at - reader->line_start) + 1;
  if (*reader->at == '"') {
    reader->at++;
    take_quoted(reader, &length);
  }
  while (*reader->at != 0 && *reader->at != ',' && *reader->at != '\n' && *reader->at != '\r') {
    put(reader, &length, *reader->at++);
  }
  reader->field[length] = 0;
  reader->is_last_in_line = *reader->at != ',';
  if (*reader->at == '\r' && reader->at[1] == '\n') reader->at++;
  if (*reader->at == '\r')
    reader->at++; /* one alone, as in a torn line: taken for a line's end */
  else if (*reader->at != 0)
    reader->at++;
}

static void begin_line(struct reader *reader)
{
  reader->line_start = reader->at;
  reader->line++;
}

static const char *name_of(int column)
{
  return column == SB_LOG_COLUMN_COUNT ? "time_s" : sb_log_column_name((enum sb_log_column)column);
}

/* The column of ours that a heading stands for, -1: none. */
static int find_owner(const char *heading, const struct sb_log_alias *aliases, size_t alias_count)
{
  for (int c = 0; c <= SB_LOG_COLUMN_COUNT; c++) {
    const char *wanted = name_of(c);
    for (size_t k = 0; k < alias_count; k++) {
      if (strcmp(aliases[k].name, name_of(c)) == 0) wanted = aliases[k].found;
    }
    if (strcmp(heading, wanted) == 0) return c;
  }
  return -1;
}

static void read_header(struct reader *reader, const struct sb_log_alias *aliases, size_t alias_count)
{
  char first[FIELD_SIZE] = "";
  for (int c = 0; c <= SB_LOG_COLUMN_COUNT; c++) reader->names[c] = -1;
  begin_line(reader);
  do {
    take_field(reader);
    char *heading = reader->field + strspn(reader->field, " ");
    for (size_t n = strlen(heading); n > 0 && heading[n - 1] == ' '; n--) heading[n - 1] = 0;
    if (reader->field_count == 0) memcpy(first, reader->field, sizeof first);
    if (reader->field_count == FIELD_MAX) {
      fault(reader, "", "at most 1024 columns", "more");
      reader->is_given_up = true;
      return;
    }
    const int owner = find_owner(heading, aliases, alias_count);
    if (owner >= 0 && reader->names[owner] >= 0) fault_in_field(reader, name_of(owner), "each column once");
    if (owner >= 0) reader->names[owner] = reader->field_count;
    reader->owner[reader->field_count++] = owner;
  } while (!reader->is_last_in_line && !reader->is_given_up);
  reader->field_column = 1;
  memcpy(reader->field, first, sizeof first);
  if (reader->names[SB_LOG_COLUMN_COUNT] < 0) {
    char found[SB_QUOTE_SIZE + 32], quoted[SB_QUOTE_SIZE];
    snprintf(found, sizeof found, "%d other%s, the first %s", reader->field_count, reader->field_count > 1 ? "s" : "",
             sb_quote(quoted, first));
    fault(reader, "time_s", "a column of this name", found);
  }
  for (size_t k = 0; k < alias_count; k++) {
    char needs[FIELD_SIZE + 64];
    int c = 0;
    while (c <= SB_LOG_COLUMN_COUNT && strcmp(name_of(c), aliases[k].name) != 0) c++;
    if (c > SB_LOG_COLUMN_COUNT || c == SB_LOG_COLUMN_COUNT || reader->names[c] >= 0) continue;
    snprintf(needs, sizeof needs, "a column \"%.200s\"", aliases[k].found);
    fault(reader, aliases[k].name, needs, "none");
  }
}

static bool is_missing(const char *text)
{
  return text[0] == 0 || strcasecmp(text, "nan") == 0 || strcasecmp(text, "na") == 0;
}

/* The field as a number, spaces around it allowed; NAN where it is missing, and where it is a fault. */
static double take_number(struct reader *reader, int column)
{
  char *text = reader->field + strspn(reader->field, " \t");
  for (size_t n = strlen(text); n > 0 && (text[n - 1] == ' ' || text[n - 1] == '\t'); n--) text[n - 1] = 0;
  if (is_missing(text)) return NAN;
  double value;
  const char *end = sb_number_parse(text, &value);
  if (end == NULL || *end != 0 || !(fabs(value) < SB_READING_MAX)) {
    fault_in_field(reader, name_of(column), "a number");
    return NAN;
  }
  if (column == SB_LOG_GEAR && (value != floor(value) || value < 0.0 || value > SB_GEAR_MAX)) {
    fault_in_field(reader, "gear", "a whole number from 0 (neutral) to 8");
    return NAN;
  }
  return value;
}

static void check_time(struct reader *reader, const struct sb_log *log, double time_s, int time_column)
{
  char found[64];
  reader->field_column = time_column;
  if (isnan(time_s)) {
    fault(reader, "time_s", "a time in every row", "none");
  } else if (log->count > 0 && time_s < log->time_s[log->count - 1]) {
    snprintf(found, sizeof found, "%.10g behind %.10g", time_s, log->time_s[log->count - 1]);
    fault(reader, "time_s", "times that never go back", found);
  }
}

static void read_row(struct reader *reader, struct sb_log *log)
{
  double time_s = NAN;
  int field = 0, time_column = 1;
  const int faults_before = reader->fault_count;
  begin_line(reader);
  const long line = reader->line;
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    if (reader->names[c] >= 0) log->columns[c][log->count] = NAN;
  }
  do {
    take_field(reader);
    if (field == 0 && reader->is_last_in_line && reader->field[0] == 0) return; /* a blank line */
    const int owner = field < reader->field_count ? reader->owner[field] : -1;
    if (owner == SB_LOG_COLUMN_COUNT) {
      time_column = reader->field_column;
      time_s = take_number(reader, owner);
    } else if (owner >= 0) {
      log->columns[owner][log->count] = take_number(reader, owner);
    }
    field++;
  } while (!reader->is_last_in_line && !reader->is_given_up);
  if (field != reader->field_count) {
    char needs[64], found[32];
    snprintf(needs, sizeof needs, "%d fields as in the header", reader->field_count);
    snprintf(found, sizeof found, "%d", field);
    fault(reader, "", needs, found);
  }
  if (reader->fault_count == faults_before) {
    reader->line = line;
    check_time(reader, log, time_s, time_column);
  }
  if (reader->fault_count > faults_before) return;
  log->time_s[log->count++] = time_s;
}

static enum sb_status read_rows(struct reader *reader, const struct sb_log_alias *aliases, size_t alias_count,
                                struct sb_log *log)
{
  bool has[SB_LOG_COLUMN_COUNT];
  if (strncmp(reader->at, "\xef\xbb\xbf", 3) == 0) reader->at += 3; /* byte order mark */
  read_header(reader, aliases, alias_count);
  if (reader->fault_count > 0) return SB_ERR_SCENARIO;
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) has[c] = reader->names[c] >= 0;
  while (*reader->at != 0 && !reader->is_given_up && reader->fault_count < FAULT_MAX) {
    if (!sb_log_grow(log, has)) return SB_ERR_MEMORY;
    read_row(reader, log);
  }
  reader->field_column = 1;
  if (log->count < 2 && reader->fault_count == 0)
    fault(reader, "", "at least two rows", log->count == 1 ? "one" : "none");
  return reader->fault_count > 0 ? SB_ERR_SCENARIO : SB_OK;
}

/* The whole file as text with a zero byte behind it; NULL and a status when that fails. */
static char *read_text(const char *path, struct reader *reader, enum sb_status *status)
{
  size_t length = 0;
  char *text = sb_text_file_read(path, BYTE_MAX, &length);
  *status = text != NULL ? SB_OK : errno == ENOMEM ? SB_ERR_MEMORY : errno == EFBIG ? SB_ERR_SCENARIO : SB_ERR_IO;
  if (*status == SB_ERR_SCENARIO) fault(reader, "", "a log of at most 256 MiB", "more");
  if (text == NULL || memchr(text, 0, length) == NULL) return text;
  fault(reader, "", "text", "a zero byte");
  *status = SB_ERR_SCENARIO;
  free(text);
  return NULL;
}

enum sb_status sb_log_read(const char *path, const struct sb_log_alias *aliases, size_t alias_count, struct sb_log *out,
                           struct sb_faults *faults)
{
  struct sb_fault_list list = {.file = path};
  struct reader reader = {.path = path, .faults = &list, .field_column = 1, .line = 0};
  struct sb_log log = {0};
  enum sb_status status;
  char *text = read_text(path, &reader, &status);
  if (text != NULL) {
    reader.at = reader.line_start = text;
    status = read_rows(&reader, aliases, alias_count, &log);
    free(text);
  }
  const int saved = errno;
  *faults = (struct sb_faults){0};
  if (list.total > 0 && !sb_fault_list_publish(&list, faults)) status = SB_ERR_MEMORY;
  sb_fault_list_clear(&list);
  if (status == SB_OK) {
    *out = log;
  } else {
    sb_log_clear(&log);
  }
  errno = saved;
  return status;
}
