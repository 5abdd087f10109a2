// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Broken scenarios: each tests/bad/NAME.yaml must be refused with exactly the lines of tests/bad/NAME.expected. Then
 * inputs too large or too strange to keep in a folder.
 */
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "help/near.h"
#include "help/place.h"
#include "shiftband/scenario.h"

static struct sb_scenario scenario; /* large, hence not on the stack */

/* The faults of a file as one text, a line each. Refused files only. */
static char *faults_of(const char *path, enum sb_status want)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, NULL, 0, &scenario, &faults);
  if (status != want) fail_msg("%s: got \"%s\", want \"%s\"", path, sb_status_text(status), sb_status_text(want));
  size_t size = 1;
  for (size_t i = 0; i < faults.count; i++) size += strlen(faults.texts[i]) + 1;
  char *text = calloc(1, size);
  assert_non_null(text);
  for (size_t i = 0; i < faults.count; i++) {
    strcat(text, faults.texts[i]);
    strcat(text, "\n");
  }
  sb_faults_clear(&faults);
  return text;
}

static char *read_whole(const char *path)
{
  FILE *file = fopen(path, "rb");
  if (file == NULL) fail_msg("%s cannot be read", path);
  char *text = calloc(1, 1 << 16);
  assert_non_null(text);
  const size_t length = fread(text, 1, (1 << 16) - 1, file);
  fclose(file);
  text[length] = 0;
  return text;
}

static int is_yaml(const struct dirent *entry)
{
  const char *dot = strrchr(entry->d_name, '.');
  return dot != NULL && strcmp(dot, ".yaml") == 0;
}

static int is_expected(const struct dirent *entry)
{
  const char *dot = strrchr(entry->d_name, '.');
  return dot != NULL && strcmp(dot, ".expected") == 0;
}

static void free_entries(struct dirent **entries, int count)
{
  for (int i = 0; i < count; i++) free(entries[i]);
  free(entries);
}

static void every_broken_scenario_is_refused_with_its_own_text(void **state)
{
  (void)state;
  struct dirent **entries;
  const int count = scandir("bad", &entries, is_yaml, alphasort);
  assert_true(count >= 45);
  int wrong = 0;
  for (int i = 0; i < count; i++) {
    char yaml[512], expected[512];
    const int stem = (int)(strlen(entries[i]->d_name) - strlen(".yaml"));
    snprintf(yaml, sizeof yaml, "bad/%s", entries[i]->d_name);
    snprintf(expected, sizeof expected, "bad/%.*s.expected", stem, entries[i]->d_name);
    char *got = faults_of(yaml, SB_ERR_SCENARIO);
    char *want = read_whole(expected);
    if (strcmp(got, want) != 0) {
      print_error("%s\n got:\n%s want:\n%s", yaml, got, want);
      wrong++;
    }
    free(got);
    free(want);
  }
  free_entries(entries, count);
  assert_int_equal(wrong, 0);
}

static void every_expected_text_has_its_scenario(void **state)
{
  (void)state;
  struct dirent **entries;
  const int count = scandir("bad", &entries, is_expected, alphasort);
  assert_true(count >= 45);
  for (int i = 0; i < count; i++) {
    char yaml[512];
    const int stem = (int)(strlen(entries[i]->d_name) - strlen(".expected"));
    snprintf(yaml, sizeof yaml, "bad/%.*s.yaml", stem, entries[i]->d_name);
    if (access(yaml, R_OK) != 0) fail_msg("%s is missing", yaml);
  }
  free_entries(entries, count);
}

static void assert_fault(const char *path, enum sb_status want, const char *text)
{
  char *got = faults_of(path, want);
  if (strcmp(got, text) != 0) fail_msg("got %swant %s", got, text);
  free(got);
}

static void a_missing_file_is_a_reading_fault(void **state)
{
  (void)state;
  assert_fault("bad/nowhere.yaml", SB_ERR_IO, "bad/nowhere.yaml: No such file or directory\n");
}

static void a_directory_is_a_reading_fault(void **state)
{
  (void)state;
  assert_fault("bad", SB_ERR_IO, "bad: Is a directory\n");
}

static void an_endless_file_is_refused(void **state)
{
  (void)state;
  assert_fault("/dev/zero", SB_ERR_SCENARIO,
               "/dev/zero: it is no file but a device or a pipe; - reads standard input\n");
}

static void a_ten_megabyte_scalar_is_refused(void **state)
{
  (void)state;
  char path[] = "/tmp/shiftband-bad-XXXXXX";
  const int descriptor = mkstemp(path);
  assert_true(descriptor >= 0);
  FILE *file = fdopen(descriptor, "wb");
  assert_non_null(file);
  fputs("name: ", file);
  for (int i = 0; i < 10 << 20; i++) putc('a', file);
  assert_int_equal(fclose(file), 0);
  char *got = faults_of(path, SB_ERR_SCENARIO);
  unlink(path);
  assert_non_null(strstr(got, ":1:1: needs a scenario of at most 1 MiB, found more\n"));
  free(got);
}

/* Faults of a text; the first must contain the needle. Returns how many lines were printed. */
static size_t refuse_text(const char *text, size_t length, const char *needle)
{
  struct sb_faults faults;
  assert_int_equal(sb_scenario_parse("text.yaml", text, length, NULL, 0, &scenario, &faults), SB_ERR_SCENARIO);
  if (strstr(faults.texts[0], needle) == NULL) fail_msg("\"%s\" does not say \"%s\"", faults.texts[0], needle);
  const size_t count = faults.count;
  sb_faults_clear(&faults);
  return count;
}

static char *repeat(const char *piece, size_t times)
{
  const size_t length = strlen(piece);
  char *text = malloc(length * times + 1);
  assert_non_null(text);
  for (size_t i = 0; i < times; i++) memcpy(text + i * length, piece, length);
  text[length * times] = 0;
  return text;
}

static void a_megabyte_of_brackets_is_refused_at_the_seventeenth(void **state)
{
  (void)state;
  char *text = repeat("[", 1 << 20);
  assert_int_equal(refuse_text(text, 1 << 20, "text.yaml:1:17: needs at most 16 levels, found one more"), 1);
  free(text);
  text = repeat("{a: ", 1 << 18);
  assert_int_equal(refuse_text(text, 1 << 20, "needs at most 16 levels, found one more"), 1);
  free(text);
}

static void a_megabyte_of_faults_is_cut_after_a_hundred(void **state)
{
  (void)state;
  char *list = repeat("x, ", 300000);
  const size_t size = strlen(list) + 512;
  char *text = malloc(size);
  assert_non_null(text);
  snprintf(text, size, "load:\n  parts:\n    - {kind: profile, manner: acts, points: [%s]}\n", list);
  assert_int_equal(refuse_text(text, strlen(text), "text.yaml:1:1: motor: needs a section"), 101);
  free(text);
  free(list);
}

static void a_megabyte_of_aliases_does_not_grow(void **state)
{
  (void)state;
  char *list = repeat("*a, ", 200000);
  const size_t size = strlen(list) + 64;
  char *text = malloc(size);
  assert_non_null(text);
  snprintf(text, size, "a: &a [1]\nb: [%s]\n", list);
  assert_int_equal(refuse_text(text, strlen(text), "text.yaml:1:1: motor: needs a section"), 101);
  free(text);
  free(list);
}

static void a_megabyte_in_one_value_is_quoted_short(void **state)
{
  (void)state;
  char *value = repeat("9", 1000000);
  const size_t size = strlen(value) + 64;
  char *text = malloc(size);
  assert_non_null(text);
  snprintf(text, size, "drive: %s\n", value);
  struct sb_faults faults;
  assert_int_equal(sb_scenario_parse("t", text, strlen(text), NULL, 0, &scenario, &faults), SB_ERR_SCENARIO);
  for (size_t i = 0; i < faults.count; i++) assert_true(strlen(faults.texts[i]) < 400);
  sb_faults_clear(&faults);
  free(text);
  free(value);
}

static void a_refused_scenario_leaves_the_result_alone(void **state)
{
  (void)state;
  static struct sb_scenario before;
  memset(&scenario, 0x5a, sizeof scenario);
  memset(&before, 0x5a, sizeof before);
  free(faults_of("bad/bare-number.yaml", SB_ERR_SCENARIO));
  assert_memory_equal(&scenario, &before, sizeof scenario);
}

static void a_set_without_an_equals_sign_is_a_wrong_command_line(void **state)
{
  (void)state;
  static const char *const wrong[] = {"controller.downshift_below", "=5", ""};
  for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
    struct sb_faults faults;
    assert_int_equal(sb_scenario_parse("t", "", 0, &wrong[i], 1, &scenario, &faults), SB_ERR_USAGE);
    assert_int_equal(faults.count, 1);
    assert_non_null(strstr(faults.texts[0], "--set: needs PATH=VALUE, found \""));
    sb_faults_clear(&faults);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_broken_scenario_is_refused_with_its_own_text),
      cmocka_unit_test(every_expected_text_has_its_scenario),
      cmocka_unit_test(a_missing_file_is_a_reading_fault),
      cmocka_unit_test(a_directory_is_a_reading_fault),
      cmocka_unit_test(an_endless_file_is_refused),
      cmocka_unit_test(a_ten_megabyte_scalar_is_refused),
      cmocka_unit_test(a_megabyte_of_brackets_is_refused_at_the_seventeenth),
      cmocka_unit_test(a_megabyte_of_faults_is_cut_after_a_hundred),
      cmocka_unit_test(a_megabyte_of_aliases_does_not_grow),
      cmocka_unit_test(a_megabyte_in_one_value_is_quoted_short),
      cmocka_unit_test(a_refused_scenario_leaves_the_result_alone),
      cmocka_unit_test(a_set_without_an_equals_sign_is_a_wrong_command_line),
  };
  return cmocka_run_group_tests_name("bad scenarios", tests, place_in_tests, NULL);
}
