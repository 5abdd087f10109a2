// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The dialect of tables: each rule with a text that obeys it and a neighbour that does not. RFC 4180 section 2 where it
 * says something; the rest is in csv_reader.h.
 */
#include <gsl/gsl_rng.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/near.h"
#include "text/csv_columns.h"

static struct sb_fault_list faults;

/* All fields of a text, the header's included, as `field|field` with a slash behind each row. Faults follow, a line each. */
static const char *fields_of(const char *text, size_t length)
{
  static char out[8192];
  struct sb_csv_reader csv = {.path = "t.csv", .faults = &faults};
  size_t n = 0;
  assert_int_equal(sb_csv_reader_start(&csv, text, length), SB_OK);
  for (size_t k = 0; k < csv.name_count; k++) {
    n += (size_t)snprintf(out + n, sizeof out - n, "%s%s", k > 0 ? "|" : "", csv.names[k].text);
  }
  while (sb_csv_next_row(&csv)) {
    n += (size_t)snprintf(out + n, sizeof out - n, "/");
    while (sb_csv_next_field(&csv)) {
      n += (size_t)snprintf(out + n, sizeof out - n, "%s%s", csv.index > 0 ? "|" : "", csv.field);
    }
  }
  for (size_t k = 0; k < faults.count; k++) {
    n += (size_t)snprintf(out + n, sizeof out - n, "\n%s", faults.faults[k].text);
  }
  sb_csv_reader_close(&csv);
  sb_faults_list_clear(&faults);
  return out;
}

static void expect(const char *text, const char *want)
{
  assert_string_equal(fields_of(text, strlen(text)), want);
}

static void the_separator_is_what_the_header_has_most_often(void **state)
{
  (void)state;
  expect("a,b\n1,2\n", "a|b/1|2");
  expect("a;b\n1,5;2\n", "a|b/1,5|2");
  expect("a\tb\n1,5\t2\n", "a|b/1,5|2");
  expect("t [s];n, motor;x\n1;2;3\n", "t [s]|n, motor|x/1|2|3");
  expect("t [s];n, motor\n1;2\n", "t [s]|n, motor/1|2"); /* as many of both */
  expect("\"a;b;c\",d\n1,2\n", "a;b;c|d/1|2");           /* those in quotes do not count */
  expect("a\n1;2\n", "a/1;2");                           /* one column: what stands in rows does not count */
  expect("a b\tc\n1\t\n", "a b|c/1|");
}

static void lines_end_with_lf_crlf_or_cr(void **state)
{
  (void)state;
  expect("a,b\r\n1,2\r\n3,4", "a|b/1|2/3|4");
  expect("a,b\r1,2\r", "a|b/1|2");
  expect("a,b\n1,2\n\n  \n3,4\n\n", "a|b/1|2/3|4"); /* blank lines are skipped */
  expect("a,b\n1,\n,\n", "a|b/1|/|");               /* these are none */
}

/* RFC 4180 section 2, rules 5 to 7. Line ends inside quotes belong to the field. */
static void quotes_hold_separators_line_ends_and_doubled_quotes(void **state)
{
  (void)state;
  expect("a,b\n\"1,\"\"2\"\"\", \"3\r\n4\" \n5,6\n", "a|b/1,\"2\"|3\r\n4/5|6");
  expect("a,b\n\"\",x\n", "a|b/|x");
  expect("a,b\n1,2\"\n", "a|b/1\nt.csv:2:3: needs a quote only around a whole field, doubled inside it, found another");
  expect("a,b\n\"1\"x,2\n",
         "a|b\nt.csv:2:1: needs a quote only around a whole field, doubled inside it, found another");
  expect("a,b\n1,\"2\n3,4\n", "a|b/1\nt.csv:2:3: needs a closing quote, found the end of the file");
  expect("a,b\n1,\"2\"", "a|b/1|2");
  expect("a,b\n1,\"2\"\"", "a|b/1\nt.csv:2:3: needs a closing quote, found the end of the file");
}

static void a_byte_order_mark_is_skipped_and_blanks_around_fields_do_not_count(void **state)
{
  (void)state;
  expect("\xef\xbb\xbf"
         "a , b\n 1\t,  2 3 \n",
         "a|b/1|2 3");
  expect("a\t b\n\t 2\n", "a|b/|2"); /* a tab that separates is no blank */
  expect("\xef\xbb"
         "a,b\n",
         "\xef\xbb"
         "a|b");
  expect("\xef\xbb\xbf", ""); /* all that there is */
  expect("\xef\xbb\xbf\n1\n", "/1");
}

/* In quotes blanks may fill a field to its greatest size. */
static void blanks_around_a_field_are_as_many_as_it_can_hold(void **state)
{
  (void)state;
  enum { HALF = SB_CSV_FIELD_SIZE / 2 - 1 };
  char text[SB_CSV_FIELD_SIZE + 16] = "a,b\n\"", want[HALF + 16] = "a|b/";
  memset(text + 5, ' ', HALF);
  memset(text + 5 + HALF, 'x', HALF);
  strcpy(text + 5 + 2 * HALF, "\",2\n");
  memset(want + 4, 'x', HALF);
  strcpy(want + 4 + HALF, "|2");
  expect(text, want);
}

static void every_row_has_as_many_fields_as_the_header(void **state)
{
  (void)state;
  expect("a,b\n1\n1,2\n1,2,3\n", "a|b/1/1|2/1|2|3\nt.csv:2:1: needs 2 fields, as the header has, found 1\n"
                                 "t.csv:4:1: needs 2 fields, as the header has, found 3");
  expect("a,\n1,2\n", "a|/1|2"); /* a column without a name */
  expect("a\n1,2\n", "a/1|2\nt.csv:2:1: needs 1 field, as the header has, found 2");
}

static void what_is_no_text_or_too_long_is_refused(void **state)
{
  (void)state;
  static char text[3 * SB_CSV_FIELD_SIZE];
  assert_string_equal(fields_of("a\n1\0"
                                "2\n",
                                6),
                      "a\nt.csv:2:1: needs text, found a zero byte");
  memset(text, 'x', sizeof text);
  text[0] = 'a';
  text[1] = '\n';
  assert_non_null(strstr(fields_of(text, SB_CSV_FIELD_SIZE + 2), "t.csv:2:1: needs fields below 4096 bytes"));
  assert_null(strstr(fields_of(text, SB_CSV_FIELD_SIZE + 1), "needs"));
  memset(text, ',', sizeof text);
  assert_non_null(strstr(fields_of(text, 1024), "needs at most 1024 columns, found more"));
  assert_null(strstr(fields_of(text, 1023), "needs"));
}

static void after_twenty_faults_no_more_is_read(void **state)
{
  (void)state;
  char text[256] = "a,b\n";
  for (int k = 0; k < 20; k++) strcat(text, "1\n");
  assert_null(strstr(fields_of(text, strlen(text) - 2), "not read on"));
  strcat(text, "x,y\n");
  const char *said = fields_of(text, strlen(text));
  assert_non_null(strstr(said, "\nt.csv:22:1: not read on after 20 faults"));
  assert_null(strstr(said, "x|y"));
}

/* ---- numbers ---- */

/* The numbers of the first column, NAN where missing; then the faults. */
static size_t numbers_of(const char *text, double *out, bool *has_commas, char *said, size_t size)
{
  struct sb_csv_reader csv = {.path = "t.csv", .faults = &faults};
  size_t count = 0;
  assert_int_equal(sb_csv_reader_start(&csv, text, strlen(text)), SB_OK);
  while (sb_csv_next_row(&csv)) {
    while (sb_csv_next_field(&csv)) {
      if (csv.index == 0) out[count++] = sb_csv_field_number(&csv, "a");
    }
  }
  *has_commas = csv.has_decimal_commas;
  snprintf(said, size, "%s", faults.count > 0 ? faults.faults[0].text : "");
  sb_csv_reader_close(&csv);
  sb_faults_list_clear(&faults);
  return count;
}

static void expect_number(const char *text, double want, bool wants_commas)
{
  double values[8];
  bool has_commas;
  char said[256];
  assert_true(numbers_of(text, values, &has_commas, said, sizeof said) > 0);
  assert_string_equal(said, "");
  if (isnan(want)) {
    assert_true(isnan(values[0]));
  } else {
    assert_near(values[0], want, 0.0);
  }
  assert_int_equal(has_commas, wants_commas);
}

static void expect_no_number(const char *text, const char *want)
{
  double values[8];
  bool has_commas;
  char said[256];
  numbers_of(text, values, &has_commas, said, sizeof said);
  assert_string_equal(said, want);
}

static void missing_values_are_empty_nan_or_na(void **state)
{
  (void)state;
  static const char *const words[] = {"", "  ", "nan", "NaN", "NAN", "na", "NA", "Na", "\"\""};
  for (size_t k = 0; k < sizeof words / sizeof *words; k++) {
    char text[64];
    snprintf(text, sizeof text, "a,b\n%s,1\n", words[k]);
    expect_number(text, (double)NAN, false);
  }
  expect_no_number("a,b\nn/a,1\n", "t.csv:2:1: a: needs a number, found \"n/a\"");
  expect_no_number("a,b\nnone,1\n", "t.csv:2:1: a: needs a number, found \"none\"");
}

static void numbers_are_plain_decimals_of_a_sensible_size(void **state)
{
  (void)state;
  expect_number("a,b\n-1.5e3,1\n", -1500.0, false);
  expect_number("a,b\n\" +2 \",1\n", 2.0, false);
  expect_number("a,b\n1e16,1\n", 1e16, false);
  expect_no_number("a,b\n1.1e16,1\n", "t.csv:2:1: a: needs a number of a sensible size, found \"1.1e16\"");
  expect_no_number("a,b\n0x10,1\n", "t.csv:2:1: a: needs a number, found \"0x10\"");
  expect_no_number("a,b\n1 V,1\n", "t.csv:2:1: a: needs a number, found \"1 V\"");
  expect_no_number("a,b\ninf,1\n", "t.csv:2:1: a: needs a number, found \"inf\"");
}

static void a_decimal_comma_is_a_point_where_the_comma_does_not_separate(void **state)
{
  (void)state;
  expect_number("a;b\n1,5;1\n", 1.5, true);
  expect_number("a\tb\n-1,5e1\t1\n", -15.0, true);
  expect_number("a;b\n1.5;1\n", 1.5, false);
  expect_no_number("a,b\n\"1,5\",1\n", "t.csv:2:1: a: needs a number with a decimal point, found \"1,5\"");
  expect_no_number("a;b\n1.234,5;1\n", "t.csv:2:1: a: needs a number, found \"1.234,5\"");
  expect_no_number("a;b\n1,234,567;1\n", "t.csv:2:1: a: needs a number with a decimal point, found \"1,234,567\"");
}

/* Else 1.234 beside 1,5 could be a thousand too small. */
static void a_table_has_one_decimal_mark(void **state)
{
  (void)state;
  expect_no_number("a;b\n1,5;1\n10;1\n1.234;1\n", "t.csv:4:1: a: needs a decimal comma as in line 2, found \"1.234\"");
  expect_no_number("a;b\n1.5;1\n1,5;1\n", "t.csv:3:1: a: needs a decimal point as in line 2, found \"1,5\"");
  expect_no_number("a;b\n1,5;1.5\n", ""); /* the other column is not read as a number */
}

/* ---- headings ---- */

static const struct sb_csv_quantity quantities[] = {
    {.name = "time", .sample = "time_s", .kind = SB_TIME, .unit = "s"},
    {.name = "motor_speed", .other_name = "speed", .sample = "motor_speed_rpm", .kind = SB_SPEED, .unit = "rpm"},
    {.name = "duty", .sample = "duty_fraction", .kind = SB_PERCENT, .unit = ""},
    {.name = "gear", .sample = "gear", .kind = SB_RATIO, .unit = "", .needs_no_unit = true},
    {.name = "winding", .sample = "winding_c", .kind = SB_TEMPERATURE, .unit = "C"},
};

enum { TIME, SPEED, DUTY, GEAR, WINDING, QUANTITY_COUNT };

/* The columns of a header; returns the first fault, or "". */
static const char *columns_of(const char *header, const struct sb_column_facts *facts, bool is_si,
                              struct sb_csv_column columns[QUANTITY_COUNT])
{
  static char said[512];
  struct sb_csv_reader csv = {.path = "t.csv", .faults = &faults};
  const struct sb_csv_wanted wanted = {
      .count = QUANTITY_COUNT, .quantities = quantities, .facts = facts, .is_si = is_si};
  assert_int_equal(sb_csv_reader_start(&csv, header, strlen(header)), SB_OK);
  sb_csv_columns_find(&csv, &wanted, columns);
  snprintf(said, sizeof said, "%s", faults.count > 0 ? faults.faults[0].text : "");
  sb_csv_reader_close(&csv);
  sb_faults_list_clear(&faults);
  return said;
}

static void a_heading_is_a_name_with_its_unit(void **state)
{
  (void)state;
  struct sb_csv_column columns[QUANTITY_COUNT];
  assert_string_equal(columns_of("time_ms,speed [rad/s],duty (%),gear,winding [K],speed_raw", NULL, true, columns), "");
  assert_near(columns[TIME].factor, 1e-3, 1e-18);
  assert_int_equal(columns[SPEED].field, 1);
  assert_near(columns[SPEED].factor, 1.0, 0.0);
  assert_near(columns[DUTY].factor, 0.01, 0.0);
  assert_near(columns[GEAR].factor, 1.0, 0.0);
  assert_near(300.0 * columns[WINDING].factor + columns[WINDING].offset, 26.85, 1e-12); /* 273.15 K are 0 deg C */
  assert_string_equal(columns_of("motor_speed_rpm,duty_fraction,winding_c", NULL, false, columns), "");
  assert_int_equal(columns[TIME].field, -1);
  assert_near(columns[SPEED].factor, 1.0, 0.0); /* exactly: a trace is read as it was written */
  assert_near(columns[DUTY].factor, 1.0, 0.0);
  assert_near(columns[WINDING].factor, 1.0, 0.0);
  assert_near(columns[WINDING].offset, 0.0, 0.0);
}

static void a_unit_that_is_none_or_is_missing_is_a_fault(void **state)
{
  (void)state;
  struct sb_csv_column columns[QUANTITY_COUNT];
  const struct sb_column_facts none = {0};
  assert_string_equal(columns_of("time_s,speed [V]", NULL, true, columns),
                      "t.csv:1:8: speed [V]: needs a unit of an angular speed (rpm, rad/s, deg/s, rev/s), found \"V\"");
  assert_string_equal(columns_of("time_s,speed", NULL, true, columns),
                      "t.csv:1:8: speed: needs its unit, as in \"speed [rpm]\", found none");
  assert_string_equal(columns_of("time_s,speed", &none, true, columns),
                      "t.csv:1:8: speed: needs its unit, as in \"speed [rpm]\" or --unit speed=rpm, found none");
  assert_string_equal(columns_of("time_s,speed_rpm,motor_speed_rpm", NULL, true, columns),
                      "t.csv:1:18: motor_speed_rpm: needs each quantity once, found a second column of it");
  /* One without unit steps back, whichever comes first. */
  assert_string_equal(columns_of("speed,speed_rpm", NULL, true, columns), "");
  assert_int_equal(columns[SPEED].field, 1);
  assert_string_equal(columns_of("speed_rpm,speed", NULL, true, columns), "");
  assert_int_equal(columns[SPEED].field, 0);
}

static void options_name_columns_and_units(void **state)
{
  (void)state;
  struct sb_csv_column columns[QUANTITY_COUNT];
  const struct sb_column_fact renames[] = {{"speed", "n1"}, {"time_s", "t"}};
  const struct sb_column_fact units[] = {{"speed", "rad/s"}};
  struct sb_column_facts facts = {.rename_count = 2, .renames = renames, .unit_count = 1, .units = units};
  assert_string_equal(columns_of("t,n1,speed_rpm", &facts, false, columns), "");
  assert_int_equal(columns[TIME].field, 0);
  assert_near(columns[TIME].factor, 1.0, 0.0); /* the name says the unit: time_s */
  assert_int_equal(columns[SPEED].field, 1);
  assert_near(columns[SPEED].factor, 60.0 / (2.0 * 3.14159265358979323846), 1e-14);
  facts.unit_count = 0;
  assert_string_equal(columns_of("t,n1", &facts, false, columns),
                      "t.csv:1:3: n1: needs its unit, as in \"n1 [rpm]\" or --unit n1=rpm, found none");
  assert_string_equal(columns_of("t,speed_rpm", &facts, false, columns),
                      "t.csv:1:1: motor_speed_rpm: needs a column \"n1\", found t, speed_rpm");
  const struct sb_column_fact other[] = {{"motor_speed_rpm", "n (raw) [rad/s]"}};
  facts = (struct sb_column_facts){.rename_count = 1, .renames = other};
  assert_string_equal(columns_of("n (raw) [rad/s]", &facts, true, columns), "");
  assert_near(columns[SPEED].factor, 1.0, 0.0); /* the column's own unit goes before that of the name */
}

/* Any bytes: fields or a fault, and nothing is read beyond the end (run under the sanitizers). */
static void random_bytes_are_read_or_refused(void **state)
{
  (void)state;
  static const char alphabet[] = "0123.,,;\t\n\n\r\"\" nanEe+-\xff\xc3\xa9";
  gsl_rng *random = dice_of(0);
  for (int k = 0; k < 5000; k++) {
    const size_t length = gsl_rng_uniform_int(random, 60);
    char *text = malloc(length + 1);
    assert_non_null(text);
    for (size_t i = 0; i < length; i++) text[i] = alphabet[gsl_rng_uniform_int(random, sizeof alphabet - 1)];
    assert_non_null(fields_of(text, length));
    free(text);
  }
  gsl_rng_free(random);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_separator_is_what_the_header_has_most_often),
      cmocka_unit_test(lines_end_with_lf_crlf_or_cr),
      cmocka_unit_test(quotes_hold_separators_line_ends_and_doubled_quotes),
      cmocka_unit_test(a_byte_order_mark_is_skipped_and_blanks_around_fields_do_not_count),
      cmocka_unit_test(blanks_around_a_field_are_as_many_as_it_can_hold),
      cmocka_unit_test(every_row_has_as_many_fields_as_the_header),
      cmocka_unit_test(what_is_no_text_or_too_long_is_refused),
      cmocka_unit_test(after_twenty_faults_no_more_is_read),
      cmocka_unit_test(missing_values_are_empty_nan_or_na),
      cmocka_unit_test(numbers_are_plain_decimals_of_a_sensible_size),
      cmocka_unit_test(a_decimal_comma_is_a_point_where_the_comma_does_not_separate),
      cmocka_unit_test(a_table_has_one_decimal_mark),
      cmocka_unit_test(a_heading_is_a_name_with_its_unit),
      cmocka_unit_test(a_unit_that_is_none_or_is_missing_is_a_fault),
      cmocka_unit_test(options_name_columns_and_units),
      cmocka_unit_test(random_bytes_are_read_or_refused),
  };
  return cmocka_run_group_tests_name("csv_reader", tests, NULL, NULL);
}
