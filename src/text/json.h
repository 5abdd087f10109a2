// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * json.h - writes JSON (RFC 8259) to a stream, on one line, and minds the commas itself.
 *
 *   struct sb_json json;
 *   sb_json_init(&json, out);
 *   sb_json_open_object(&json);
 *   sb_json_put_string(&json, "scenario", name);      {"scenario":"...","gears":[1,2]}
 *   sb_json_key(&json, "gears");
 *   sb_json_open_array(&json);
 *   sb_json_number(&json, 1.0);
 *   sb_json_number(&json, 2.0);
 *   sb_json_end(&json);                               closes both, and the line
 *
 * Numbers are written with the fewest of 15, 16 or 17 digits that read back exactly; NaN and infinities, which JSON
 * has not, are null. What begins with a record (records.h) may put only members that are described there, each where it
 * belongs: another one is our own mistake. Text is taken as UTF-8; bytes that are not become U+FFFD. A failed write shows in ferror(out).
 */
#ifndef SHIFTBAND_TEXT_JSON_H
#define SHIFTBAND_TEXT_JSON_H

#include <stdbool.h>
#include <stdio.h>

#include "text/records.h"

enum { SB_JSON_DEPTH_MAX = 16, SB_JSON_NUMBER_SIZE = 32 };

/* The version of all outputs: it changes when a member changes its name, place or meaning. */
enum { SB_JSON_FORMAT = 1 };

struct sb_json {
  FILE *out;                         /* not owned */
  int depth;                         /* 0..SB_JSON_DEPTH_MAX open objects and arrays */
  bool is_after_key;                 /* the next value belongs to a key: no comma */
  bool has_items[SB_JSON_DEPTH_MAX]; /* the open one of that depth has a member already */
  char closers[SB_JSON_DEPTH_MAX];   /* what closes it: '}' or ']' */
  const struct sb_record *next;      /* of the objects of the member whose key came last; NULL: any members */
  const struct sb_record *records[SB_JSON_DEPTH_MAX]; /* of the open object, or of the open array's items; NULL: any */
};

void sb_json_init(struct sb_json *json, FILE *out);

/*
 * The same for a command's object: opens it, with its first members: program, version, subcommand (the first word of the
 * record's name), format (of this output).
 */
void sb_json_begin(struct sb_json *json, FILE *out, const struct sb_record *record);

/* Opens an object or an array, as a value; deeper than SB_JSON_DEPTH_MAX is our own mistake. */
void sb_json_open_object(struct sb_json *json);
void sb_json_open_array(struct sb_json *json);

/* Closes the innermost open one. */
void sb_json_close(struct sb_json *json);

/* Closes all that is open, and ends the line. */
void sb_json_end(struct sb_json *json);

/* The name of the next value; only inside an object, and only a described one. */
void sb_json_key(struct sb_json *json, const char *key);

/* One value: an array's item, or what a key stands for. */
void sb_json_string(struct sb_json *json, const char *text); /* NULL: null */
void sb_json_number(struct sb_json *json, double value);     /* NaN, infinities: null */
void sb_json_integer(struct sb_json *json, long long value);
void sb_json_boolean(struct sb_json *json, bool value);
void sb_json_null(struct sb_json *json);

/* Key and value at once. */
void sb_json_put_string(struct sb_json *json, const char *key, const char *text);
void sb_json_put_number(struct sb_json *json, const char *key, double value);
void sb_json_put_integer(struct sb_json *json, const char *key, long long value);
void sb_json_put_boolean(struct sb_json *json, const char *key, bool value);
void sb_json_put_null(struct sb_json *json, const char *key);
void sb_json_put_object(struct sb_json *json, const char *key); /* opens it */
void sb_json_put_array(struct sb_json *json, const char *key);  /* opens it */

/*
 * Several members of the open object: "gear:%d name:%s time_s:%g", with %s text, %g number, %d, %ld, %zu or %lld whole number,
 * and %c true or false. The second one writes an object of these alone, under a key or (NULL) as an item of the open array.
 */
void sb_json_put(struct sb_json *json, const char *members, ...) __attribute__((format(printf, 2, 3)));
void sb_json_put_object_of(struct sb_json *json, const char *key, const char *members, ...)
    __attribute__((format(printf, 3, 4)));

/* The shortest of %.15g, %.16g and %.17g that reads back as value, or "null". Needs the C locale. Returns text. */
const char *sb_json_format_number(double value, char text[SB_JSON_NUMBER_SIZE]);

#endif
