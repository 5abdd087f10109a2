// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Every number that the program printed before names, order and nesting of its output were changed is still there.
 *
 * tests/baseline/commands.txt has a command a line: KIND NAME SHELL-TEXT. KIND json: every number outside strings must
 * be in the new output at least as often as in tests/baseline/NAME.txt ("COUNT NUMBER" a line). KIND csv: each column
 * of numbers must be there with the same values in the same rows, under any name and in any place (a hash of the
 * column's text a line; "ROWS N" first).
 *
 * With SB_BASELINE_WRITE=1 in the environment the files are written instead of compared.
 */
#include <ctype.h>
#include <inttypes.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

enum { LINE_SIZE = 4096, TOKEN_MAX = 400000, COLUMN_MAX = 64 };

#define FOLDER SB_SOURCE_DIR "/tests/baseline/"

/* Words: numbers of a JSON text, or hashes of a CSV's columns. */
struct words {
  size_t count;
  char (*items)[32];
};

static void words_init(struct words *words)
{
  words->count = 0;
  words->items = malloc(TOKEN_MAX * sizeof *words->items);
  assert_non_null(words->items);
}

static void words_add(struct words *words, const char *text, size_t length)
{
  assert_true(words->count < TOKEN_MAX && length < sizeof *words->items);
  memcpy(words->items[words->count], text, length);
  words->items[words->count++][length] = 0;
}

static int compare(const void *a, const void *b)
{
  return strcmp(a, b);
}

static void words_sort(struct words *words)
{
  qsort(words->items, words->count, sizeof *words->items, compare);
}

/* What a shell command prints; freed by the caller. */
static char *output_of(const char *command)
{
  char line[2 * LINE_SIZE];
  snprintf(line, sizeof line, "P='%s'; T=$(mktemp -d); cd '%s' && { %s\n}; rm -rf \"$T\"", SB_PROGRAM, SB_SOURCE_DIR,
           command);
  FILE *pipe = popen(line, "r");
  assert_non_null(pipe);
  size_t room = 1 << 16, count = 0;
  char *text = malloc(room);
  assert_non_null(text);
  for (size_t got; (got = fread(text + count, 1, room - count - 1, pipe)) > 0;) {
    count += got;
    if (room - count > 1) continue;
    char *more = realloc(text, room *= 2);
    assert_non_null(more);
    text = more;
  }
  text[count] = 0;
  pclose(pipe);
  return text;
}

/* The numbers of a JSON text that stand outside strings. */
static void take_json(struct words *words, const char *text)
{
  while (*text != 0) {
    if (*text == '"') {
      for (text++; *text != 0 && *text != '"'; text++) {
        if (*text == '\\' && text[1] != 0) text++;
      }
      if (*text != 0) text++;
    } else if (*text == '-' || isdigit((unsigned char)*text)) {
      const size_t length = strspn(text, "+-.0123456789eE");
      words_add(words, text, length);
      text += length;
    } else {
      text++;
    }
  }
}

struct column {
  uint64_t hash;
  bool is_text, has_number;
};

/* FNV-1a (public domain) over a field and its end. */
static void take_field(struct column *column, const char *field, size_t length)
{
  char *end = NULL;
  if (length > 0) {
    (void)strtod(field, &end);
    if (end == field + length)
      column->has_number = true;
    else
      column->is_text = true;
  }
  for (size_t k = 0; k < length; k++) column->hash = (column->hash ^ (unsigned char)field[k]) * UINT64_C(1099511628211);
  column->hash = (column->hash ^ ',') * UINT64_C(1099511628211);
}

/* A hash of each column of numbers, and the count of rows. */
static void take_csv(struct words *words, const char *text)
{
  struct column columns[COLUMN_MAX];
  for (size_t k = 0; k < COLUMN_MAX; k++) columns[k] = (struct column){UINT64_C(14695981039346656037), false, false};
  size_t rows = 0, count = 0;
  text += strcspn(text, "\n");
  while (*text == '\n' && text[1] != 0) {
    text++;
    for (count = 0;; text++) {
      const size_t length = strcspn(text, ",\n");
      assert_true(count < COLUMN_MAX);
      take_field(&columns[count++], text, length);
      text += length;
      if (*text != ',') break;
    }
    rows++;
  }
  char word[32];
  words_add(words, word, (size_t)snprintf(word, sizeof word, "ROWS:%zu", rows));
  for (size_t k = 0; k < count; k++) {
    if (columns[k].is_text || !columns[k].has_number) continue;
    words_add(words, word, (size_t)snprintf(word, sizeof word, "%016" PRIx64, columns[k].hash));
  }
}

static size_t run_length(const struct words *words, size_t at)
{
  size_t length = 1;
  while (at + length < words->count && strcmp(words->items[at], words->items[at + length]) == 0) length++;
  return length;
}

static void write_words(const struct words *words, const char *path)
{
  FILE *file = fopen(path, "w");
  assert_non_null(file);
  for (size_t k = 0; k < words->count;) {
    const size_t times = run_length(words, k);
    fprintf(file, "%zu %s\n", times, words->items[k]);
    k += times;
  }
  assert_int_equal(fclose(file), 0);
}

static size_t times_of(const struct words *words, const char *word)
{
  const char(*found)[32] = bsearch(word, words->items, words->count, sizeof *words->items, compare);
  if (found == NULL) return 0;
  size_t at = (size_t)(found - (const char(*)[32])words->items);
  while (at > 0 && strcmp(words->items[at - 1], word) == 0) at--;
  return run_length(words, at);
}

/* How many of the file's numbers are missing; what is said names the first ones. */
static int count_missing(const struct words *words, const char *path, const char *name)
{
  FILE *file = fopen(path, "r");
  if (file == NULL) fail_msg("%s: no such baseline", path);
  int missing = 0;
  char word[32];
  size_t lines = 0;
  for (size_t times; fscanf(file, "%zu %31s", &times, word) == 2; lines++) {
    const size_t found = times_of(words, word);
    if (found >= times) continue;
    if (missing++ < 8) print_error("%s: %s stood there %zu times, now %zu\n", name, word, times, found);
  }
  fclose(file);
  assert_true(lines > 0);
  return missing;
}

static int check_command(const char *kind, const char *name, const char *command)
{
  char path[1024];
  snprintf(path, sizeof path, FOLDER "%s.txt", name);
  struct words words;
  words_init(&words);
  char *text = output_of(command);
  if (strcmp(kind, "json") == 0)
    take_json(&words, text);
  else
    take_csv(&words, text);
  words_sort(&words);
  int missing = 0;
  if (getenv("SB_BASELINE_WRITE") != NULL)
    write_words(&words, path);
  else
    missing = count_missing(&words, path, name);
  free(text);
  free(words.items);
  return missing;
}

static void every_number_of_the_baseline_is_still_printed(void **state)
{
  (void)state;
  FILE *list = fopen(FOLDER "commands.txt", "r");
  assert_non_null(list);
  int missing = 0, commands = 0;
  char line[LINE_SIZE];
  while (fgets(line, sizeof line, list) != NULL) {
    if (line[0] == '#' || line[0] == '\n') continue;
    line[strcspn(line, "\n")] = 0;
    char kind[8], name[128];
    int at = 0;
    assert_int_equal(sscanf(line, "%7s %127s %n", kind, name, &at), 2);
    if (IS_SLOW && (strncmp(name, "tune", 4) == 0 || strstr(line + at, "threshold_step") != NULL)) continue;
    missing += check_command(kind, name, line + at);
    commands++;
  }
  fclose(list);
  print_message("%d commands of the baseline\n", commands);
  assert_true(commands > 100);
  assert_int_equal(missing, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_number_of_the_baseline_is_still_printed),
  };
  return cmocka_run_group_tests_name("baseline", tests, NULL, NULL);
}
