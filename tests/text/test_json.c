// SPDX-License-Identifier: GPL-3.0-or-later
/* The JSON writer against RFC 8259: escapes (section 7), no NaN or infinity (section 6), members and items (4, 5). */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_rng.h>

#include "help/dice.h"
#include "help/near.h"
#include "text/json.h"

/* A writer into memory; text_of() ends it and hands over the text, to be freed. */
struct sink {
  FILE *stream;
  char *text;
  size_t size;
  struct sb_json json;
};

static void open_sink(struct sink *sink)
{
  *sink = (struct sink){0};
  sink->stream = open_memstream(&sink->text, &sink->size);
  assert_non_null(sink->stream);
  sb_json_init(&sink->json, sink->stream);
}

static void expect_text(struct sink *sink, const char *want)
{
  assert_int_equal(fclose(sink->stream), 0);
  assert_string_equal(sink->text, want);
  free(sink->text);
}

static void several_members_are_put_at_once(void **state)
{
  (void)state;
  struct sink sink;
  open_sink(&sink);
  sb_json_open_object(&sink.json);
  sb_json_put(&sink.json, "name:%s time_s:%g gear:%d", "a \"b\"", 0.1, -3);
  sb_json_put(&sink.json, "shifts:%ld rows:%zu repeats:%lld is_on:%c is_off:%c none:%s lost:%g", 5L, (size_t)6, 7LL,
              true, false, getenv("SB_THERE_IS_NO_SUCH_NAME"), (double)NAN);
  sb_json_put_object_of(&sink.json, "end", "at:%g", 2.0);
  sb_json_put_array(&sink.json, "list");
  sb_json_put_object_of(&sink.json, NULL, "k:%d", 0);
  sb_json_put_object_of(&sink.json, NULL, "k:%d", 1);
  sb_json_end(&sink.json);
  expect_text(&sink, "{\"name\":\"a \\\"b\\\"\",\"time_s\":0.1,\"gear\":-3,\"shifts\":5,\"rows\":6,\"repeats\":7,"
                     "\"is_on\":true,\"is_off\":false,\"none\":null,\"lost\":null,\"end\":{\"at\":2},"
                     "\"list\":[{\"k\":0},{\"k\":1}]}\n");
}

static void members_and_items_are_parted_by_commas(void **state)
{
  (void)state;
  struct sink sink;
  open_sink(&sink);
  struct sb_json *json = &sink.json;
  sb_json_open_object(json);
  sb_json_put_string(json, "name", "cart");
  sb_json_put_array(json, "gears");
  sb_json_open_object(json);
  sb_json_put_integer(json, "n", -3);
  sb_json_put_boolean(json, "ok", true);
  sb_json_close(json);
  sb_json_open_object(json);
  sb_json_close(json);
  sb_json_open_array(json);
  sb_json_number(json, 0.5);
  sb_json_null(json);
  sb_json_boolean(json, false);
  sb_json_close(json);
  sb_json_close(json);
  sb_json_put_object(json, "end");
  sb_json_put_null(json, "none");
  sb_json_close(json);
  sb_json_close(json);
  sb_json_end(json);
  expect_text(&sink,
              "{\"name\":\"cart\",\"gears\":[{\"n\":-3,\"ok\":true},{},[0.5,null,false]],\"end\":{\"none\":null}}\n");
}

static void one_object_a_line_needs_no_comma_between_lines(void **state)
{
  (void)state;
  struct sink sink;
  open_sink(&sink);
  for (int k = 0; k < 2; k++) {
    sb_json_open_object(&sink.json);
    sb_json_put_integer(&sink.json, "k", k);
    sb_json_close(&sink.json);
    sb_json_end(&sink.json);
  }
  expect_text(&sink, "{\"k\":0}\n{\"k\":1}\n");
}

/* RFC 8259 section 7: quotation mark, reverse solidus and U+0000..U+001F must be escaped; the rest may stand as it is. */
static void text_is_escaped_as_the_standard_wants(void **state)
{
  (void)state;
  struct sink sink;
  open_sink(&sink);
  sb_json_string(&sink.json, "a\"b\\c/d\b\f\n\r\t\x01\x1f\x7f \xc3\xa9\xe2\x82\xac\xf0\x9d\x84\x9e");
  expect_text(&sink, "\"a\\\"b\\\\c/d\\b\\f\\n\\r\\t\\u0001\\u001f\x7f \xc3\xa9\xe2\x82\xac\xf0\x9d\x84\x9e\"");
}

/* RFC 8259 section 8.1: text between systems is UTF-8. Ill-formed: stray, overlong, surrogate, too great, cut short. */
static void bytes_that_are_not_utf8_become_the_replacement_character(void **state)
{
  (void)state;
  static const char *const bad[] = {
      "\x80", "\xff", "\xc3", "\xc0\xaf", "\xe0\x80\xaf", "\xed\xa0\x80", "\xf4\x90\x80\x80", "\xe2\x82"};
  for (size_t k = 0; k < sizeof bad / sizeof bad[0]; k++) {
    struct sink sink;
    open_sink(&sink);
    char want[64] = "\"";
    for (size_t n = 0; n < strlen(bad[k]); n++) strcat(want, "\\ufffd");
    strcat(want, "\"");
    sb_json_string(&sink.json, bad[k]);
    expect_text(&sink, want);
  }
}

static void what_json_has_no_number_for_is_null(void **state)
{
  (void)state;
  struct sink sink;
  open_sink(&sink);
  sb_json_open_array(&sink.json);
  sb_json_number(&sink.json, (double)NAN);
  sb_json_number(&sink.json, (double)INFINITY);
  sb_json_number(&sink.json, -(double)INFINITY);
  sb_json_string(&sink.json, NULL);
  sb_json_close(&sink.json);
  expect_text(&sink, "[null,null,null,null]");
}

static void a_number_is_no_longer_than_it_must_be(void **state)
{
  (void)state;
  char text[SB_JSON_NUMBER_SIZE];
  assert_string_equal(sb_json_format_number(0.1, text), "0.1");
  assert_string_equal(sb_json_format_number(0.1 + 0.2, text), "0.30000000000000004"); /* IEEE 754: needs 17 digits */
  assert_string_equal(sb_json_format_number(1e300, text), "1e+300");
  assert_string_equal(sb_json_format_number(-0.0, text), "-0");
}

static void every_number_reads_back_exactly(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(20240501);
  int finite_count = 0;
  for (int k = 0; k < 200000; k++) {
    /* Any bit pattern: denormals, extremes and all. */
    uint64_t bits = (uint64_t)gsl_rng_get(random) << 32 | (uint64_t)gsl_rng_get(random);
    double value = 0.0;
    memcpy(&value, &bits, sizeof value);
    if (!isfinite(value)) continue;
    char text[SB_JSON_NUMBER_SIZE];
    assert_true(strtod(sb_json_format_number(value, text), NULL) == value);
    finite_count++;
  }
  assert_true(finite_count > 199000); /* 2046 of 2048 exponents are finite */
  gsl_rng_free(random);
}

static void a_failed_write_shows_in_the_stream(void **state)
{
  (void)state;
  FILE *full = fopen("/dev/full", "w");
  if (full == NULL) skip();
  struct sb_json json;
  sb_json_init(&json, full);
  sb_json_open_array(&json);
  for (int k = 0; k < 100000; k++) sb_json_number(&json, k);
  sb_json_close(&json);
  assert_true(fflush(full) != 0 || ferror(full));
  fclose(full);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(several_members_are_put_at_once),
      cmocka_unit_test(members_and_items_are_parted_by_commas),
      cmocka_unit_test(one_object_a_line_needs_no_comma_between_lines),
      cmocka_unit_test(text_is_escaped_as_the_standard_wants),
      cmocka_unit_test(bytes_that_are_not_utf8_become_the_replacement_character),
      cmocka_unit_test(what_json_has_no_number_for_is_null),
      cmocka_unit_test(a_number_is_no_longer_than_it_must_be),
      cmocka_unit_test(every_number_reads_back_exactly),
      cmocka_unit_test(a_failed_write_shows_in_the_stream),
  };
  return cmocka_run_group_tests_name("json", tests, NULL, NULL);
}
