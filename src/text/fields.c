// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/fields.h"

#include <math.h>

#include "base/constants.h"

double sb_fields_rounded_percent(double fraction)
{
  return round(1e10 * fraction) / 1e8;
}

/* One value as it is shown. */
struct value {
  enum { VALUE_NUMBER, VALUE_INTEGER, VALUE_BOOLEAN, VALUE_TEXT } kind;
  double number;
  long long integer;
  const char *text;
};

static struct value number_of(double number)
{
  return (struct value){.kind = VALUE_NUMBER, .number = number};
}

static struct value integer_of(long long integer)
{
  return (struct value){.kind = VALUE_INTEGER, .integer = integer};
}

static struct value take(const struct sb_field *field, const void *record)
{
  const void *at = (const char *)record + field->offset;
  switch (field->kind) {
    case SB_FIELD_NUMBER: return number_of(*(const double *)at);
    case SB_FIELD_PERCENT: return number_of(100.0 * *(const double *)at);
    case SB_FIELD_ROUNDED_PERCENT: return number_of(sb_fields_rounded_percent(*(const double *)at));
    case SB_FIELD_RPM: return number_of(*(const double *)at / SB_RPM);
    case SB_FIELD_DEGREES: return number_of(*(const double *)at / SB_TURN * 360.0);
    case SB_FIELD_INTEGER: return integer_of(*(const int *)at);
    case SB_FIELD_LONG: return integer_of(*(const long *)at);
    case SB_FIELD_SIZE: return integer_of((long long)*(const size_t *)at);
    case SB_FIELD_BOOLEAN: return (struct value){.kind = VALUE_BOOLEAN, .integer = *(const bool *)at};
    case SB_FIELD_TEXT: return (struct value){.kind = VALUE_TEXT, .text = *(const char *const *)at};
    case SB_FIELD_CHARS: return (struct value){.kind = VALUE_TEXT, .text = at};
  }
  return number_of((double)NAN);
}

void sb_fields_put_json(struct sb_json *json, const struct sb_field *fields, const void *record)
{
  for (; fields->name != NULL; fields++) {
    const struct value value = take(fields, record);
    switch (value.kind) {
      case VALUE_NUMBER: sb_json_put_number(json, fields->name, value.number); break;
      case VALUE_INTEGER: sb_json_put_integer(json, fields->name, value.integer); break;
      case VALUE_BOOLEAN: sb_json_put_boolean(json, fields->name, value.integer != 0); break;
      case VALUE_TEXT: sb_json_put_string(json, fields->name, value.text); break;
    }
  }
}

void sb_fields_put_object(struct sb_json *json, const char *name, const struct sb_field *fields, const void *record)
{
  if (name != NULL) sb_json_key(json, name);
  sb_json_open_object(json);
  sb_fields_put_json(json, fields, record);
  sb_json_close(json);
}

void sb_fields_put_object_if(struct sb_json *json, const char *name, bool is_there, const struct sb_field *fields,
                             const void *record)
{
  if (is_there) {
    sb_fields_put_object(json, name, fields, record);
  } else {
    sb_json_put_null(json, name);
  }
}

void sb_fields_put_list(struct sb_json *json, const char *name, const struct sb_field *fields, const void *items,
                        size_t count, size_t size)
{
  sb_json_put_array(json, name);
  for (size_t i = 0; i < count; i++) sb_fields_put_object(json, NULL, fields, (const char *)items + i * size);
  sb_json_close(json);
}

void sb_fields_put_names(struct sb_csv *csv, const struct sb_field *fields)
{
  for (; fields->name != NULL; fields++) sb_csv_name(csv, fields->name);
}

void sb_fields_put_csv(struct sb_csv *csv, const struct sb_field *fields, const void *record)
{
  for (; fields->name != NULL; fields++) {
    const struct value value = take(fields, record);
    switch (value.kind) {
      case VALUE_NUMBER: sb_csv_number(csv, value.number); break;
      case VALUE_INTEGER:
      case VALUE_BOOLEAN: sb_csv_integer(csv, value.integer); break;
      case VALUE_TEXT: sb_csv_text(csv, value.text); break;
    }
  }
}
