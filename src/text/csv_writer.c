// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/csv_writer.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <string.h>

#include "base/text_file.h"
#include "text/json.h"

void sb_csv_init(struct sb_csv *csv, FILE *out)
{
  *csv = (struct sb_csv){.out = out};
  errno = 0;
}

void sb_csv_begin(struct sb_csv *csv, FILE *out, const struct sb_record *record)
{
  sb_csv_init(csv, out);
  csv->record = record;
}

static void begin_field(struct sb_csv *csv)
{
  if (csv->has_fields) fputc(',', csv->out);
  csv->has_fields = true;
}

void sb_csv_text(struct sb_csv *csv, const char *text)
{
  if (text != NULL && strpbrk(text, ",\"\r\n") != NULL) {
    sb_csv_quoted(csv, text);
    return;
  }
  begin_field(csv);
  if (text != NULL) fputs(text, csv->out);
}

void sb_csv_quoted(struct sb_csv *csv, const char *text)
{
  begin_field(csv);
  fputc('"', csv->out);
  for (; *text != 0; text++) {
    if (*text == '"') fputc('"', csv->out);
    fputc(*text, csv->out);
  }
  fputc('"', csv->out);
}

void sb_csv_number(struct sb_csv *csv, double value)
{
  char text[SB_JSON_NUMBER_SIZE];
  begin_field(csv);
  if (isfinite(value)) fputs(sb_json_format_number(value + 0.0, text), csv->out);
}

void sb_csv_rounded(struct sb_csv *csv, double value, int digits)
{
  begin_field(csv);
  if (isfinite(value)) fprintf(csv->out, "%.*g", digits, value + 0.0);
}

void sb_csv_integer(struct sb_csv *csv, long long value)
{
  begin_field(csv);
  fprintf(csv->out, "%lld", value);
}

void sb_csv_end_row(struct sb_csv *csv)
{
  fputc('\n', csv->out);
  csv->has_fields = false;
}

void sb_csv_name(struct sb_csv *csv, const char *name)
{
  assert((csv->record == NULL || sb_records_member(csv->record, name) != NULL) &&
         "a column that src/text/records_*.c does not describe");
  sb_csv_text(csv, name);
}

void sb_csv_names(struct sb_csv *csv, const char *names)
{
  char name[64];
  for (size_t length; *names != 0; names += length + (names[length] != 0)) {
    length = strcspn(names, ",");
    snprintf(name, sizeof name, "%.*s", (int)length, names);
    sb_csv_name(csv, name);
  }
}

void sb_csv_line(struct sb_csv *csv, const char *names)
{
  sb_csv_names(csv, names);
  sb_csv_end_row(csv);
}

int sb_csv_result(const struct sb_csv *csv)
{
  return sb_text_file_result(csv->out);
}
