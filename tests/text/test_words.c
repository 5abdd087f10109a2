// SPDX-License-Identifier: GPL-3.0-or-later
/* Figures and sentences for people. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "text/words.h"

enum { TEXT_SIZE = 4096 };

static FILE *out;
static char written[TEXT_SIZE];

static void begin(void)
{
  out = tmpfile();
  assert_non_null(out);
}

static const char *end(void)
{
  rewind(out);
  written[fread(written, 1, TEXT_SIZE - 1, out)] = 0;
  fclose(out);
  return written;
}

static void sentences_break_between_words_and_hang(void **state)
{
  (void)state;
  sb_text_set_width(40);
  begin();
  sb_words_say(out, 2, 4, "- the load of %s N.m lies in the hunting band, %d..%d N.m", "0.62", 1, 2);
  assert_string_equal(end(), "  - the load of 0.62 N.m lies in the\n    hunting band, 1..2 N.m\n");
  begin(); /* 40 columns end behind the 3: the unit takes it along */
  sb_words_say(out, 0, 2, "%s", "the winding reaches a temperature of 123 C, 4 times");
  assert_string_equal(end(), "the winding reaches a temperature of\n  123 C, 4 times\n");
  sb_text_set_width(SB_TEXT_WIDTH_DEFAULT);
}

/* 40 columns are 40 letters, of whatever count of bytes; one more breaks the line. */
static void letters_are_counted_and_not_bytes(void **state)
{
  (void)state;
  sb_text_set_width(40);
  begin();
  sb_words_say(out, 0, 0, "%s", "Größenänderung überschätzt Fußgängerüber x");
  assert_string_equal(end(), "Größenänderung überschätzt Fußgängerüber\nx\n");
  begin();
  sb_words_say(out, 1, 0, "%s", "Größenänderung überschätzt Fußgängerüber");
  assert_string_equal(end(), " Größenänderung überschätzt\nFußgängerüber\n");
  begin();
  sb_words_cell(out, 6, "%s", "süß");
  sb_words_cell(out, 2, "%s", "süß");
  assert_string_equal(end(), "süß   süß ");
  sb_text_set_width(SB_TEXT_WIDTH_DEFAULT);
}

static void labels_keep_their_spaces_and_line_feeds_break(void **state)
{
  (void)state;
  begin();
  sb_words_say(out, 0, 12, "%-12s%s\n%s", "Output", "16 turns", "speed 3 rpm");
  assert_string_equal(end(), "Output      16 turns\n            speed 3 rpm\n");
}

static void a_word_longer_than_the_width_is_not_cut(void **state)
{
  (void)state;
  char word[SB_SENTENCE_SIZE + 100], expected[SB_SENTENCE_SIZE + 200];
  memset(word, 'w', sizeof word - 1);
  word[sizeof word - 1] = 0;
  begin();
  sb_words_say(out, 2, 4, "a %s b", word);
  snprintf(expected, sizeof expected, "  a\n    %s\n    b\n", word);
  assert_string_equal(end(), expected);
}

static void widths_are_kept_within_limits(void **state)
{
  (void)state;
  assert_int_equal(sb_text_width(), 80);
  sb_text_set_width(10);
  assert_int_equal(sb_text_width(), 40);
  sb_text_set_width(1000);
  assert_int_equal(sb_text_width(), 200);
  sb_text_set_width(SB_TEXT_WIDTH_DEFAULT);
}

static void figures_have_four_significant_digits(void **state)
{
  (void)state;
  static const struct {
    double value;
    const char *text;
  } figures[] = {{0.0, "0"},
                 {1.0, "1"},
                 {0.62, "0.62"},
                 {1234567.0, "1.235e+06"},
                 {123456.0, "123456"},
                 {-12.34567, "-12.35"},
                 {0.0001234, "0.0001234"},
                 {NAN, "-"}};
  for (size_t k = 0; k < sizeof figures / sizeof *figures; k++) {
    assert_string_equal(sb_words_figure(figures[k].value).text, figures[k].text);
  }
  assert_string_equal(sb_words_percent_by(ceil, 0.8761).text, "87.7 %");
  assert_string_equal(sb_words_percent_by(floor, 0.8769).text, "87.6 %");
}

/* What does not fit is left out, whole characters or not; the text stays ended. */
static void a_growing_sentence_never_passes_its_size(void **state)
{
  (void)state;
  static struct sb_sentence sentence;
  for (int k = 0; k < 1000; k++) sb_words_add(&sentence, "%d ", 100 + k % 10);
  assert_int_equal(sentence.length, SB_SENTENCE_SIZE - 1);
  assert_int_equal(strlen(sentence.text), SB_SENTENCE_SIZE - 1);
  assert_memory_equal(sentence.text, "100 101 102 ", 12);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(widths_are_kept_within_limits),
      cmocka_unit_test(sentences_break_between_words_and_hang),
      cmocka_unit_test(letters_are_counted_and_not_bytes),
      cmocka_unit_test(labels_keep_their_spaces_and_line_feeds_break),
      cmocka_unit_test(a_word_longer_than_the_width_is_not_cut),
      cmocka_unit_test(figures_have_four_significant_digits),
      cmocka_unit_test(a_growing_sentence_never_passes_its_size),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
