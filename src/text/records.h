// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * records.h - the one table of what comes out for machines: every member of JSON, every column of CSV.
 *
 * A record is an object of JSON or a row of CSV; its members stand in records_*.c, with what they hold and what they mean. The
 * writers (json.h, csv_writer.h) begin with a record and put nothing that it does not describe; the schemas and the manual
 * are written from it. A description that is missing or hardly a word does not compile (record_rows.h).
 */
#ifndef SHIFTBAND_TEXT_RECORDS_H
#define SHIFTBAND_TEXT_RECORDS_H

#include <stdbool.h>

/* What a member holds. A number that is not known, or that there is none of, is null; in CSV an empty field. */
enum sb_member_kind {
  SB_HOLDS_NUMBER,
  SB_HOLDS_WHOLE, /* a whole number */
  SB_HOLDS_FLAG,  /* true or false; in CSV 1 or 0 */
  SB_HOLDS_TEXT,
  SB_HOLDS_OBJECT,  /* a record */
  SB_HOLDS_LIST,    /* of records */
  SB_HOLDS_NUMBERS, /* a list of numbers */
  SB_HOLDS_TEXTS,   /* a list of texts */
  SB_HOLDS_MEMBERS  /* no member of its own: those of another record, which stand here, too */
};

struct sb_record;

struct sb_member {
  const char *name; /* NULL: the end, or with SB_HOLDS_MEMBERS the members of `record` */
  enum sb_member_kind kind;
  bool is_optional; /* left out where it has no meaning; in CSV: a column of machines that have it */
  bool can_be_null; /* whole numbers, flags, texts, objects and lists: null where there is none */
  const struct sb_record *record;
  const char *text;
};

struct sb_record {
  const char *name; /* unique; of an output: its command with what makes it, as "map --vary" */
  const char *text; /* what it is about */
  const struct sb_member *members;
};

/* The objects of `--json`, and the rows of tables. */
extern const struct sb_record sb_records_run, sb_records_inspect, sb_records_fit, sb_records_check, sb_records_map,
    sb_records_map_any_load, sb_records_map_vary, sb_records_map_samples, sb_records_map_discharge, sb_records_tune,
    sb_records_prove, sb_records_design;
extern const struct sb_record sb_records_trace, sb_records_map_rows, sb_records_map_limit_rows,
    sb_records_any_load_rows, sb_records_vary_rows, sb_records_vary_sample_rows, sb_records_vary_limit_rows,
    sb_records_sample_rows, sb_records_discharge_rows, sb_records_discharge_sample_rows,
    sb_records_check_discharge_rows, sb_records_overlay_rows, sb_records_residual_rows, sb_records_emit_rows,
    sb_records_design_rows, sb_records_dropped_rows;

/* All of them, the objects that commands write, and the rows of tables; NULL at the end. */
extern const struct sb_record *const sb_records_outputs[];
extern const struct sb_record *const sb_records_tables[];

/* One of these by its name; NULL: there is none. */
const struct sb_record *sb_records_find(const struct sb_record *const *list, const char *name);

/* The member of that name; NULL: there is none. */
const struct sb_member *sb_records_member(const struct sb_record *record, const char *name);

/* Calls a function with each member in order, those of other records where they stand; stops when it returns false. */
bool sb_records_each(const struct sb_record *record, bool (*take)(void *context, const struct sb_member *member),
                     void *context);

/* The unit that a name ends in, "N.m" of load_torque_nm; NULL: it has none. */
const char *sb_records_unit(const struct sb_member *member);

/* What it holds, for people: "number", "whole number", "text". */
const char *sb_records_kind_words(const struct sb_member *member);

#endif
