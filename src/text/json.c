// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - see json.h. */
#include "text/json.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "shiftband/status.h"

void sb_json_init(struct sb_json *json, FILE *out)
{
  *json = (struct sb_json){.out = out};
}

/* A comma where one is due: before every item but the first, never between a key and its value. */
static void begin_value(struct sb_json *json)
{
  if (json->is_after_key) {
    json->is_after_key = false;
    return;
  }
  if (json->depth == 0) return;
  assert(json->closers[json->depth - 1] == ']');
  if (json->has_items[json->depth - 1]) fputc(',', json->out);
  json->has_items[json->depth - 1] = true;
}

static void open_with(struct sb_json *json, char opener, char closer)
{
  assert(json->depth < SB_JSON_DEPTH_MAX);
  begin_value(json);
  fputc(opener, json->out);
  json->closers[json->depth] = closer;
  json->has_items[json->depth] = false;
  /* Items of an array are of the array's record. */
  const bool is_item = json->depth > 0 && json->closers[json->depth - 1] == ']';
  json->records[json->depth] = is_item ? json->records[json->depth - 1] : json->next;
  json->next = NULL;
  json->depth++;
}

void sb_json_open_object(struct sb_json *json)
{
  open_with(json, '{', '}');
}

void sb_json_open_array(struct sb_json *json)
{
  open_with(json, '[', ']');
}

void sb_json_close(struct sb_json *json)
{
  assert(json->depth > 0 && !json->is_after_key);
  json->depth--;
  fputc(json->closers[json->depth], json->out);
}

void sb_json_end(struct sb_json *json)
{
  while (json->depth > 0) sb_json_close(json);
  fputc('\n', json->out);
}

/*
 * Length of the well-formed UTF-8 sequence at text (1..4), or 0. Overlong forms, surrogates and what lies above
 * U+10FFFF are not well-formed; the end of the string is no continuation byte, so nothing is read beyond it.
 */
static int utf8_length(const unsigned char *text)
{
  if (text[0] < 0x80) return 1;
  if (text[0] < 0xC2 || text[0] > 0xF4) return 0;
  const int length = text[0] < 0xE0 ? 2 : text[0] < 0xF0 ? 3 : 4;
  for (int k = 1; k < length; k++) {
    if ((text[k] & 0xC0) != 0x80) return 0;
  }
  if (text[0] == 0xE0 && text[1] < 0xA0) return 0;
  if (text[0] == 0xED && text[1] > 0x9F) return 0;
  if (text[0] == 0xF0 && text[1] < 0x90) return 0;
  if (text[0] == 0xF4 && text[1] > 0x8F) return 0;
  return length;
}

static void write_ascii(FILE *out, unsigned char byte)
{
  switch (byte) {
    case '"': fputs("\\\"", out); break;
    case '\\': fputs("\\\\", out); break;
    case '\b': fputs("\\b", out); break;
    case '\f': fputs("\\f", out); break;
    case '\n': fputs("\\n", out); break;
    case '\r': fputs("\\r", out); break;
    case '\t': fputs("\\t", out); break;
    default:
      if (byte < 0x20) {
        fprintf(out, "\\u%04x", (unsigned)byte);
      } else {
        fputc(byte, out);
      }
  }
}

static void write_quoted(FILE *out, const char *text)
{
  fputc('"', out);
  for (const unsigned char *at = (const unsigned char *)text; *at != 0;) {
    const int length = utf8_length(at);
    if (length == 1) {
      write_ascii(out, *at);
    } else if (length == 0) {
      fputs("\\ufffd", out);
    } else {
      fwrite(at, 1, (size_t)length, out);
    }
    at += length == 0 ? 1 : length;
  }
  fputc('"', out);
}

/* The record that the value of a member is of. */
static const struct sb_record *record_below(const struct sb_json *json, const char *key)
{
  const struct sb_record *record = json->records[json->depth - 1];
  if (record == NULL) return NULL;
  const struct sb_member *member = sb_records_member(record, key);
  assert(member != NULL && "a member that src/text/records_*.c does not describe");
  return member->record;
}

void sb_json_key(struct sb_json *json, const char *key)
{
  assert(json->depth > 0 && json->closers[json->depth - 1] == '}' && !json->is_after_key);
  if (json->has_items[json->depth - 1]) fputc(',', json->out);
  json->has_items[json->depth - 1] = true;
  write_quoted(json->out, key);
  fputc(':', json->out);
  json->is_after_key = true;
  json->next = record_below(json, key);
}

void sb_json_string(struct sb_json *json, const char *text)
{
  if (text == NULL) {
    sb_json_null(json);
    return;
  }
  begin_value(json);
  write_quoted(json->out, text);
}

const char *sb_json_format_number(double value, char text[SB_JSON_NUMBER_SIZE])
{
  if (!isfinite(value)) {
    snprintf(text, SB_JSON_NUMBER_SIZE, "null");
    return text;
  }
  for (int digits = 15; digits <= 17; digits++) {
    snprintf(text, SB_JSON_NUMBER_SIZE, "%.*g", digits, value);
    if (strtod(text, NULL) == value) break;
  }
  return text;
}

void sb_json_number(struct sb_json *json, double value)
{
  char text[SB_JSON_NUMBER_SIZE];
  begin_value(json);
  fputs(sb_json_format_number(value, text), json->out);
}

void sb_json_integer(struct sb_json *json, long long value)
{
  begin_value(json);
  fprintf(json->out, "%lld", value);
}

void sb_json_boolean(struct sb_json *json, bool value)
{
  begin_value(json);
  fputs(value ? "true" : "false", json->out);
}

void sb_json_null(struct sb_json *json)
{
  begin_value(json);
  fputs("null", json->out);
}

void sb_json_put_string(struct sb_json *json, const char *key, const char *text)
{
  sb_json_key(json, key);
  sb_json_string(json, text);
}

void sb_json_put_number(struct sb_json *json, const char *key, double value)
{
  sb_json_key(json, key);
  sb_json_number(json, value);
}

void sb_json_put_integer(struct sb_json *json, const char *key, long long value)
{
  sb_json_key(json, key);
  sb_json_integer(json, value);
}

void sb_json_put_boolean(struct sb_json *json, const char *key, bool value)
{
  sb_json_key(json, key);
  sb_json_boolean(json, value);
}

void sb_json_put_null(struct sb_json *json, const char *key)
{
  sb_json_key(json, key);
  sb_json_null(json);
}

void sb_json_put_object(struct sb_json *json, const char *key)
{
  sb_json_key(json, key);
  sb_json_open_object(json);
}

void sb_json_put_array(struct sb_json *json, const char *key)
{
  sb_json_key(json, key);
  sb_json_open_array(json);
}

/* The value of a member, as the letters behind its % say. */
static void put_value(struct sb_json *json, const char *letters, va_list *values)
{
  switch (letters[0]) {
    case 's': sb_json_string(json, va_arg(*values, const char *)); break;
    case 'g': sb_json_number(json, va_arg(*values, double)); break;
    case 'd': sb_json_integer(json, va_arg(*values, int)); break;
    case 'z': sb_json_integer(json, (long long)va_arg(*values, size_t)); break;
    case 'c': sb_json_boolean(json, va_arg(*values, int) != 0); break;
    default: /* l */ sb_json_integer(json, letters[1] == 'l' ? va_arg(*values, long long) : va_arg(*values, long));
  }
}

static void put_members(struct sb_json *json, const char *members, va_list *values)
{
  char key[64];
  while (*members != 0) {
    const size_t length = strcspn(members, ":");
    snprintf(key, sizeof key, "%.*s", (int)length, members);
    sb_json_key(json, key);
    put_value(json, members + length + 2, values);
    members += length + strcspn(members + length, " ");
    members += strspn(members, " ");
  }
}

void sb_json_put(struct sb_json *json, const char *members, ...)
{
  va_list values;
  va_start(values, members);
  put_members(json, members, &values);
  va_end(values);
}

void sb_json_put_object_of(struct sb_json *json, const char *key, const char *members, ...)
{
  va_list values;
  if (key != NULL) sb_json_key(json, key);
  sb_json_open_object(json);
  va_start(values, members);
  put_members(json, members, &values);
  va_end(values);
  sb_json_close(json);
}

void sb_json_begin(struct sb_json *json, FILE *out, const struct sb_record *record)
{
  char subcommand[32];
  snprintf(subcommand, sizeof subcommand, "%.*s", (int)strcspn(record->name, " "), record->name);
  sb_json_init(json, out);
  json->next = record;
  sb_json_open_object(json);
  sb_json_put(json, "program:%s version:%s subcommand:%s format:%d", "shiftband", SB_VERSION, subcommand,
              SB_JSON_FORMAT);
}
