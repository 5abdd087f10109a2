// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * fields.h - a struct of plain values as JSON members and as CSV fields, both by one table.
 *
 *   static const struct sb_field fields[] = {SB_MEMBER(warmth, peak_c, NUMBER),
 *                                            SB_MEMBER_AS(warmth, "charge_pct", charge_fraction, PERCENT), SB_MEMBERS_END};
 *
 * Names end in their unit, except those of names, counts and flags.
 */
#ifndef SHIFTBAND_TEXT_FIELDS_H
#define SHIFTBAND_TEXT_FIELDS_H

#include <stddef.h>

#include "text/csv_writer.h"
#include "text/json.h"

/* What stands in the struct, and as what it is shown. */
enum sb_field_kind {
  SB_FIELD_NUMBER,          /* double */
  SB_FIELD_PERCENT,         /* double, a fraction: in percent */
  SB_FIELD_ROUNDED_PERCENT, /* double, a fraction: sb_fields_rounded_percent() */
  SB_FIELD_RPM,             /* double, rad/s: in rpm */
  SB_FIELD_DEGREES,         /* double, rad: in degrees */
  SB_FIELD_INTEGER,         /* int */
  SB_FIELD_LONG,            /* long */
  SB_FIELD_SIZE,            /* size_t */
  SB_FIELD_BOOLEAN,         /* bool: true, false; in CSV 1, 0 */
  SB_FIELD_TEXT,            /* const char *; NULL: null, in CSV an empty field */
  SB_FIELD_CHARS            /* char [] */
};

struct sb_field {
  const char *name; /* NULL ends the table */
  size_t offset;    /* in the struct, bytes */
  enum sb_field_kind kind;
};

/* A fraction in percent without the dust of binary fractions (1e-8 %), so that 501 * 0.001 reads 50.1. Pure. */
double sb_fields_rounded_percent(double fraction);

/* The members of an open object, in the table's order; what is no number is null. */
void sb_fields_put_json(struct sb_json *json, const struct sb_field *fields, const void *record);

/* The names as fields of the open row of a header; the values of a record as fields of the open row. */
void sb_fields_put_names(struct sb_csv *csv, const struct sb_field *fields);
void sb_fields_put_csv(struct sb_csv *csv, const struct sb_field *fields, const void *record);

/* All members of a record as an object: a member of that name, or with NULL an item. */
void sb_fields_put_object(struct sb_json *json, const char *name, const struct sb_field *fields, const void *record);

/* The same as a member that is null where the record is not there. */
void sb_fields_put_object_if(struct sb_json *json, const char *name, bool is_there, const struct sb_field *fields,
                             const void *record);

/* A list of such objects, as a member: of items[count], each `size` bytes. */
void sb_fields_put_list(struct sb_json *json, const char *name, const struct sb_field *fields, const void *items,
                        size_t count, size_t size);

/* A line of such a table, by the member's own name or by another one, and its end. */
#define SB_MEMBER(type, member, kind) SB_MEMBER_AS(type, #member, member, kind)
#define SB_MEMBER_AS(type, name, member, kind)           \
  {                                                      \
    name, offsetof(struct type, member), SB_FIELD_##kind \
  }
#define SB_MEMBERS_END       \
  {                          \
    NULL, 0, SB_FIELD_NUMBER \
  }

#endif
