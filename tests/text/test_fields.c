// SPDX-License-Identifier: GPL-3.0-or-later
/* One table of fields makes JSON members and CSV fields; CSV as in RFC 4180 section 2, and each command's first members. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/status.h"
#include "text/fields.h"

/* cppcheck sees no use of members by their offsets. */
struct record {
  /* cppcheck-suppress unusedStructMember */
  double torque_nm, share_fraction, threshold_fraction, speed_rad_s, twist_rad;
  int gear;    /* cppcheck-suppress unusedStructMember */
  long shifts; /* cppcheck-suppress unusedStructMember */
  size_t rows; /* cppcheck-suppress unusedStructMember */
  bool is_stuck;
  const char *cause;
  char name[32]; /* cppcheck-suppress unusedStructMember */
};

static const struct sb_field fields[] = {SB_MEMBER(record, torque_nm, NUMBER),
                                         SB_MEMBER_AS(record, "share_pct", share_fraction, PERCENT),
                                         SB_MEMBER_AS(record, "threshold_pct", threshold_fraction, ROUNDED_PERCENT),
                                         SB_MEMBER_AS(record, "speed_rpm", speed_rad_s, RPM),
                                         SB_MEMBER_AS(record, "twist_deg", twist_rad, DEGREES),
                                         SB_MEMBER(record, gear, INTEGER),
                                         SB_MEMBER(record, shifts, LONG),
                                         SB_MEMBER(record, rows, SIZE),
                                         SB_MEMBER(record, is_stuck, BOOLEAN),
                                         SB_MEMBER(record, cause, TEXT),
                                         SB_MEMBER(record, name, CHARS),
                                         SB_MEMBERS_END};

/* 501 * 0.001 is 0.50100000000000002 to 17 digits; 2 pi rad/s are 60 rpm, pi rad 180 degrees. */
static const struct record sample = {.torque_nm = 0.25,
                                     .share_fraction = 0.125,
                                     .threshold_fraction = 501 * 0.001,
                                     .speed_rad_s = 2.0 * 3.14159265358979323846,
                                     .twist_rad = 3.14159265358979323846,
                                     .gear = -2,
                                     .shifts = 3,
                                     .rows = 4,
                                     .is_stuck = true,
                                     .cause = "load",
                                     .name = "slow, \"low\""};

struct sink {
  FILE *stream;
  char *text;
  size_t size;
};

static void open_sink(struct sink *sink)
{
  *sink = (struct sink){0};
  sink->stream = open_memstream(&sink->text, &sink->size);
  assert_non_null(sink->stream);
}

static void expect_text(struct sink *sink, const char *want)
{
  assert_int_equal(fclose(sink->stream), 0);
  assert_string_equal(sink->text, want);
  free(sink->text);
}

static void write_json(struct sink *sink, const struct record *record)
{
  struct sb_json json;
  open_sink(sink);
  sb_json_init(&json, sink->stream);
  sb_json_open_object(&json);
  sb_fields_put_json(&json, fields, record);
  sb_json_close(&json);
}

static void a_record_becomes_members_by_its_table(void **state)
{
  (void)state;
  struct sink sink;
  write_json(&sink, &sample);
  expect_text(
      &sink,
      "{\"torque_nm\":0.25,\"share_pct\":12.5,\"threshold_pct\":50.1,\"speed_rpm\":60,\"twist_deg\":180,\"gear\":-2,"
      "\"shifts\":3,\"rows\":4,\"is_stuck\":true,\"cause\":\"load\",\"name\":\"slow, \\\"low\\\"\"}");
}

static void what_is_not_known_is_null_or_an_empty_field(void **state)
{
  (void)state;
  struct record record = sample;
  record.torque_nm = (double)NAN;
  record.speed_rad_s = (double)INFINITY;
  record.cause = NULL;
  record.is_stuck = false;
  struct sink sink;
  write_json(&sink, &record);
  expect_text(
      &sink,
      "{\"torque_nm\":null,\"share_pct\":12.5,\"threshold_pct\":50.1,\"speed_rpm\":null,\"twist_deg\":180,\"gear\":-2,"
      "\"shifts\":3,\"rows\":4,\"is_stuck\":false,\"cause\":null,\"name\":\"slow, \\\"low\\\"\"}");
  struct sb_csv csv;
  open_sink(&sink);
  sb_csv_init(&csv, sink.stream);
  sb_fields_put_csv(&csv, fields, &record);
  sb_csv_end_row(&csv);
  expect_text(&sink, ",12.5,50.1,,180,-2,3,4,0,,\"slow, \"\"low\"\"\"\n");
}

static void a_header_and_its_rows_have_the_same_fields(void **state)
{
  (void)state;
  struct sink sink;
  struct sb_csv csv;
  open_sink(&sink);
  sb_csv_init(&csv, sink.stream);
  sb_csv_text(&csv, "time_s");
  sb_fields_put_names(&csv, fields);
  sb_csv_end_row(&csv);
  sb_csv_number(&csv, -0.0);
  sb_fields_put_csv(&csv, fields, &sample);
  sb_csv_end_row(&csv);
  assert_int_equal(sb_csv_result(&csv), 0);
  expect_text(&sink,
              "time_s,torque_nm,share_pct,threshold_pct,speed_rpm,twist_deg,gear,shifts,rows,is_stuck,cause,name\n"
              "0,0.25,12.5,50.1,60,180,-2,3,4,1,load,\"slow, \"\"low\"\"\"\n");
}

/* RFC 4180 section 2: fields with line breaks, double quotes and commas are quoted (6), a quote inside is doubled (7). */
static void only_what_must_be_quoted_is(void **state)
{
  (void)state;
  struct sink sink;
  struct sb_csv csv;
  open_sink(&sink);
  sb_csv_init(&csv, sink.stream);
  static const char *const texts[] = {"plain; text", "a,b", "a\"b", "a\nb", "a\rb", "", NULL};
  for (size_t k = 0; k < sizeof texts / sizeof *texts; k++) sb_csv_text(&csv, texts[k]);
  sb_csv_quoted(&csv, "q");
  sb_csv_rounded(&csv, 501 * 0.001, 10);
  sb_csv_rounded(&csv, (double)NAN, 10);
  sb_csv_integer(&csv, -7);
  sb_csv_end_row(&csv);
  sb_csv_line(&csv, "a,b");
  expect_text(&sink, "plain; text,\"a,b\",\"a\"\"b\",\"a\nb\",\"a\rb\",,,\"q\",0.501,,-7\na,b\n");
}

static void a_full_disk_shows_in_the_result(void **state)
{
  (void)state;
  FILE *full = fopen("/dev/full", "w");
  if (full == NULL) skip();
  struct sb_csv csv;
  sb_csv_init(&csv, full);
  for (int k = 0; k < 100000; k++) sb_csv_number(&csv, k);
  assert_int_equal(sb_csv_result(&csv), -1);
  assert_int_equal(errno, ENOSPC);
  fclose(full);
}

static void an_object_of_a_command_begins_with_its_head_and_its_end_closes_all(void **state)
{
  (void)state;
  struct sink sink;
  struct sb_json json;
  open_sink(&sink);
  sb_json_begin(&json, sink.stream, &sb_records_run);
  sb_json_put_array(&json, "shifts");
  sb_json_end(&json);
  expect_text(&sink, "{\"program\":\"shiftband\",\"version\":\"" SB_VERSION
                     "\",\"subcommand\":\"run\",\"format\":1,\"shifts\":[]}\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_record_becomes_members_by_its_table),
      cmocka_unit_test(what_is_not_known_is_null_or_an_empty_field),
      cmocka_unit_test(a_header_and_its_rows_have_the_same_fields),
      cmocka_unit_test(only_what_must_be_quoted_is),
      cmocka_unit_test(a_full_disk_shows_in_the_result),
      cmocka_unit_test(an_object_of_a_command_begins_with_its_head_and_its_end_closes_all),
  };
  return cmocka_run_group_tests_name("fields", tests, NULL, NULL);
}
