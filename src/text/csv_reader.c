// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/csv_reader.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/arena.h"
#include "base/constants.h"
#include "base/text_file.h"
#include "shiftband/units.h"

enum { BYTE_MAX = 256 << 20 };

void sb_csv_fault_at(struct sb_csv_reader *csv, long line, int column, const char *name, const char *needs,
                     const char *found)
{
  csv->fault_count++;
  sb_faults_add_in_table(csv->faults, &csv->place, csv->path, line, column, "%s%sneeds %s, found %s", name,
                         name[0] != 0 ? ": " : "", needs, found);
}

void sb_csv_fault_here(struct sb_csv_reader *csv, const char *name, const char *needs)
{
  sb_csv_fault_at(csv, csv->field_line, csv->field_column, name, needs,
                  csv->field[0] != 0 ? sb_fail_quote(csv->field).text : "nothing");
}

static void give_up(struct sb_csv_reader *csv, const char *needs, const char *found)
{
  if (!csv->is_given_up) sb_csv_fault_at(csv, csv->field_line, csv->field_column, "", needs, found);
  csv->is_given_up = true;
}

/* ---- fields ---- */

/* The next byte, or -1 at the end. Characters are counted, not bytes; CR and CRLF become LF outside quotes. */
static int take(struct sb_csv_reader *csv, bool is_quoted)
{
  if (csv->at == csv->end) return -1;
  unsigned char byte = (unsigned char)*csv->at++;
  if (byte == '\r' && !is_quoted) {
    if (csv->at < csv->end && *csv->at == '\n') csv->at++;
    byte = '\n';
  }
  if (byte == '\n') {
    csv->line++;
    csv->column = 1;
  } else if ((byte & 0xc0u) != 0x80u) {
    csv->column++;
  }
  return byte;
}

static bool is_blank(const struct sb_csv_reader *csv, int byte)
{
  return byte == ' ' || (byte == '\t' && csv->separator != '\t');
}

static void put(struct sb_csv_reader *csv, size_t *length, int byte)
{
  if (byte == 0) {
    give_up(csv, "text", "a zero byte");
  } else if (*length + 1 == SB_CSV_FIELD_SIZE) {
    give_up(csv, "fields below 4096 bytes", "a longer one");
  } else {
    csv->field[(*length)++] = (char)byte;
  }
}

/* Behind an opening quote, up to its closing one; returns the first byte after it that is no blank. */
static int take_quoted(struct sb_csv_reader *csv, size_t *length)
{
  while (!csv->is_given_up) {
    int byte = take(csv, true);
    if (byte == '"' && (csv->at == csv->end || *csv->at != '"')) {
      do byte = take(csv, false);
      while (is_blank(csv, byte));
      return byte;
    }
    if (byte == '"') byte = take(csv, true);
    if (byte < 0) {
      give_up(csv, "a closing quote", "the end of the file");
      return -1;
    }
    put(csv, length, byte);
  }
  return -1;
}

static bool is_end(const struct sb_csv_reader *csv, int byte)
{
  return byte < 0 || byte == '\n' || byte == csv->separator;
}

/* Ends the field, without blanks around it. */
static void trim(struct sb_csv_reader *csv, size_t length)
{
  size_t lead = 0;
  while (length > 0 && is_blank(csv, (unsigned char)csv->field[length - 1])) length--;
  while (lead < length && is_blank(csv, (unsigned char)csv->field[lead])) lead++;
  memmove(csv->field, csv->field + lead, length - lead);
  csv->field[length - lead] = 0;
}

static void read_field(struct sb_csv_reader *csv)
{
  size_t length = 0;
  while (csv->at < csv->end && is_blank(csv, (unsigned char)*csv->at)) take(csv, false);
  csv->field_line = csv->line;
  csv->field_column = csv->column;
  int byte = take(csv, false);
  const bool is_quoted = byte == '"';
  if (is_quoted) byte = take_quoted(csv, &length);
  for (; !csv->is_given_up && !is_end(csv, byte); byte = take(csv, false)) {
    if (is_quoted || byte == '"') give_up(csv, "a quote only around a whole field, doubled inside it", "another");
    put(csv, &length, byte);
  }
  trim(csv, length);
  csv->is_last_in_line = byte != csv->separator;
}

/* ---- the header ---- */

static void find_separator(struct sb_csv_reader *csv)
{
  static const char marks[] = {'\t', ';', ','};
  size_t counts[sizeof marks] = {0};
  bool is_quoted = false;
  for (const char *at = csv->at; at < csv->end && (is_quoted || (*at != '\n' && *at != '\r')); at++) {
    is_quoted ^= *at == '"';
    for (size_t k = 0; k < sizeof marks; k++) counts[k] += !is_quoted && *at == marks[k];
  }
  size_t best = sizeof marks - 1;
  for (size_t k = sizeof marks - 1; k-- > 0;) {
    if (counts[k] > 0 && counts[k] >= counts[best]) best = k;
  }
  csv->separator = marks[best];
}

static enum sb_status read_header(struct sb_csv_reader *csv)
{
  size_t room = 0;
  struct sb_csv_name *names = NULL;
  enum sb_status status = SB_OK;
  do {
    read_field(csv);
    if (csv->name_count == SB_CSV_COLUMN_MAX) give_up(csv, "at most 1024 columns", "more");
    if (csv->is_given_up) break;
    const char *text = sb_arena_copy(&csv->arena, csv->field, strlen(csv->field));
    if (text == NULL || !sb_grow(&names, &room, csv->name_count, sizeof *names)) status = SB_ERR_MEMORY;
    if (status == SB_OK) names[csv->name_count++] = (struct sb_csv_name){text, csv->field_column};
  } while (status == SB_OK && !csv->is_last_in_line);
  csv->names = names;
  return status;
}

enum sb_status sb_csv_reader_start(struct sb_csv_reader *csv, const char *text, size_t length)
{
  const bool has_mark = length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0; /* byte order mark */
  csv->at = has_mark ? text + 3 : text;
  csv->end = text + length;
  csv->line = csv->column = 1;
  csv->field_line = csv->field_column = 1;
  find_separator(csv);
  return read_header(csv);
}

enum sb_status sb_csv_reader_open(struct sb_csv_reader *csv)
{
  size_t length = 0;
  csv->field_line = csv->field_column = 1;
  csv->text = csv->stream != NULL ? sb_text_file_read_stream(csv->stream, BYTE_MAX, &length)
                                  : sb_text_file_read(csv->path, BYTE_MAX, &length);
  if (csv->text != NULL) return sb_csv_reader_start(csv, csv->text, length);
  if (errno == ENOMEM) return SB_ERR_MEMORY;
  if (errno != EFBIG) return SB_ERR_IO;
  give_up(csv, "a table of at most 256 MiB", "more");
  return SB_OK;
}

void sb_csv_reader_close(struct sb_csv_reader *csv)
{
  sb_arena_clear(&csv->arena);
  free(csv->names);
  free(csv->text);
  csv->names = NULL;
  csv->text = NULL;
}

const char *sb_csv_header_words(const struct sb_csv_reader *csv, char *out, size_t size)
{
  size_t length = 0;
  out[0] = 0;
  for (size_t k = 0; k < csv->name_count && length + 5 < size; k++) {
    const int written = snprintf(out + length, size - length - 4, "%s%s", length > 0 ? ", " : "", csv->names[k].text);
    if (written >= (int)(size - length - 4)) {
      strcpy(out + size - 5, " ...");
      break;
    }
    length += (size_t)written;
  }
  if (out[0] == 0) snprintf(out, size, "none");
  return out;
}

/* ---- rows ---- */

bool sb_csv_next_row(struct sb_csv_reader *csv)
{
  bool has_more = true;
  while (has_more && !csv->is_given_up) has_more = sb_csv_next_field(csv);
  if (csv->fault_count >= SB_CSV_FAULT_MAX && !csv->is_given_up) {
    sb_faults_add_in_table(csv->faults, &csv->place, csv->path, csv->line, 1, "not read on after %d faults",
                           csv->fault_count);
    csv->is_given_up = true;
  }
  do {
    if (csv->is_given_up || csv->at == csv->end) return false;
    read_field(csv);
  } while (csv->is_last_in_line && csv->field[0] == 0);
  csv->index = 0;
  csv->row_line = csv->field_line;
  csv->is_field_waiting = true;
  return !csv->is_given_up;
}

static void check_count(struct sb_csv_reader *csv)
{
  char needs[64], found[32];
  if (csv->index + 1 == csv->name_count) return;
  snprintf(needs, sizeof needs, "%zu field%s, as the header has", csv->name_count, csv->name_count == 1 ? "" : "s");
  snprintf(found, sizeof found, "%zu", csv->index + 1);
  sb_csv_fault_at(csv, csv->row_line, 1, "", needs, found);
}

bool sb_csv_next_field(struct sb_csv_reader *csv)
{
  if (csv->is_field_waiting) {
    csv->is_field_waiting = false;
    return true;
  }
  if (csv->row_line == 0) return false;
  if (csv->is_last_in_line) {
    check_count(csv);
    csv->row_line = 0;
    return false;
  }
  read_field(csv);
  csv->index++;
  return !csv->is_given_up;
}

static bool is_missing(const char *text)
{
  return text[0] == 0 || strcasecmp(text, "nan") == 0 || strcasecmp(text, "na") == 0;
}

/* The field with a decimal point, or NULL where its mark is not that of the table, which is told. */
static const char *with_point(struct sb_csv_reader *csv, const char *name, char out[SB_CSV_FIELD_SIZE])
{
  strcpy(out, csv->field);
  char *comma = csv->separator != ',' ? strchr(out, ',') : NULL;
  const char mark = comma != NULL ? ',' : strchr(out, '.') != NULL ? '.' : 0;
  if (mark != 0 && csv->decimal_mark == 0) {
    csv->decimal_mark = mark;
    csv->mark_line = csv->field_line;
  }
  if (mark != 0 && mark != csv->decimal_mark) {
    char needs[64];
    snprintf(needs, sizeof needs, "a decimal %s as in line %ld", mark == ',' ? "point" : "comma", csv->mark_line);
    sb_csv_fault_here(csv, name, needs);
    return NULL;
  }
  if (comma != NULL) *comma = '.';
  csv->has_decimal_commas |= comma != NULL;
  return out;
}

double sb_csv_field_number(struct sb_csv_reader *csv, const char *name)
{
  char copy[SB_CSV_FIELD_SIZE];
  double value = 0.0;
  if (is_missing(csv->field)) return NAN;
  const char *text = with_point(csv, name, copy);
  if (text == NULL) return NAN;
  const char *end = sb_units_parse_number(text, &value);
  if (end != NULL && *end == 0 && fabs(value) <= SB_READING_MAX) return value;
  const bool has_comma = end != NULL && *end == ',';
  const bool is_number = end != NULL && *end == 0;
  sb_csv_fault_here(csv, name,
                    has_comma   ? "a number with a decimal point"
                    : is_number ? "a number of a sensible size"
                                : "a number");
  return NAN;
}
