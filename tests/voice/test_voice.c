// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tests/voice.txt holds all that the program says in words, file by file: verdicts, cautions, notes, reports, errors. Whoever
 * changes a text changes that list with it (make voice), so that the whole voice can be read and compared at one glance.
 *
 * A text is a string literal of src/ or include/ with two words or more, neighbours joined. Left out: help texts and the
 * tables of keys and options, which the program prints as a manual, and members of JSON ("name:%s time_s:%g").
 */
#define _XOPEN_SOURCE 700 /* nftw */

#include <ctype.h>
#include <ftw.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"

enum { PATHS_MAX = 1000, PATH_SIZE = 512, LITERAL_SIZE = 16384 };

static char paths[PATHS_MAX][PATH_SIZE];
static size_t path_count;

static char *read_file(const char *path)
{
  FILE *file = fopen(path, "rb");
  if (file == NULL) return NULL;
  assert_int_equal(fseek(file, 0, SEEK_END), 0);
  const long size = ftell(file);
  rewind(file);
  char *text = malloc((size_t)size + 1);
  assert_non_null(text);
  assert_int_equal(fread(text, 1, (size_t)size, file), (size_t)size);
  text[size] = 0;
  fclose(file);
  return text;
}

static int take_path(const char *path, const struct stat *status, int type, struct FTW *place)
{
  (void)status;
  (void)place;
  const size_t length = strlen(path);
  const int is_source =
      type == FTW_F && length > 2 && path[length - 2] == '.' && strchr("ch", path[length - 1]) != NULL;
  if (!is_source) return 0;
  assert_true(path_count < PATHS_MAX && length < PATH_SIZE);
  strcpy(paths[path_count++], path);
  return 0;
}

static int compare_paths(const void *a, const void *b)
{
  return strcmp(a, b);
}

/* Whether each word names a member and its kind. */
static int is_members(const char *literal)
{
  while (*literal != 0) {
    const size_t name = strspn(literal, "abcdefghijklmnopqrstuvwxyz_0123456789");
    if (name == 0 || strncmp(literal + name, ":%", 2) != 0) return 0;
    literal += strcspn(literal, " ");
    literal += strspn(literal, " ");
  }
  return 1;
}

/* Two runs of two letters or more with a space between them somewhere. */
static int is_speech(const char *literal)
{
  int words = 0, letters = 0;
  for (const char *c = literal;; c++) {
    const int is_letter = isalpha((unsigned char)*c) && !(c > literal && c[-1] == '\\');
    if (!is_letter) {
      words += letters > 1;
      letters = 0;
      if (*c == 0) break;
    } else {
      letters++;
    }
  }
  return words > 1 && strchr(literal, ' ') != NULL && !is_members(literal);
}

/* Behind white space and comments. */
static const char *skip_blank(const char *at)
{
  for (;;) {
    if (isspace((unsigned char)*at)) {
      at++;
    } else if (strncmp(at, "//", 2) == 0) {
      at += strcspn(at, "\n");
    } else if (strncmp(at, "/*", 2) == 0) {
      const char *end = strstr(at + 2, "*/");
      at = end != NULL ? end + 2 : at + strlen(at);
    } else if (at[0] == '\\' && at[1] == '\n') { /* in a macro */
      at += 2;
    } else {
      return at;
    }
  }
}

/* A literal from its quote on, with those that follow it; returns what is behind. */
static const char *take_literal(const char *at, char literal[LITERAL_SIZE])
{
  size_t length = 0;
  while (*at == '"') {
    for (at++; *at != '"'; at++) {
      assert_true(*at != 0 && length + 2 < LITERAL_SIZE);
      literal[length++] = *at;
      if (*at == '\\') literal[length++] = *++at;
    }
    at = skip_blank(at + 1);
  }
  literal[length] = 0;
  return at;
}

/* The end of a table of keys or options or of a help text that begins here, or NULL. */
static const char *manual_end(const char *at)
{
  static const char *const begins[] = {"struct sb_key ", "struct sb_option ", "char help[]"};
  for (size_t k = 0; k < sizeof begins / sizeof *begins; k++) {
    const size_t length = strlen(begins[k]);
    if (strncmp(at, begins[k], length) != 0) continue;
    const char *name_end = at + length;
    while (isalnum((unsigned char)*name_end) || *name_end == '_') name_end++;
    if (k < 2 && *name_end != '[') return NULL;
    const char *end = strstr(at, ";\n");
    return end;
  }
  return NULL;
}

static void write_texts(FILE *out, const char *path, const char *text)
{
  static char literal[LITERAL_SIZE];
  int is_first = 1;
  for (const char *at = text; *at != 0;) {
    const char *blank = skip_blank(at), *end = manual_end(at);
    if (blank != at) {
      at = blank;
    } else if (end != NULL) {
      at = end;
    } else if (strncmp(at, "#include", 8) == 0) {
      at += strcspn(at, "\n");
    } else if (*at == '\'') { /* a character, which may be a quote */
      at += at[1] == '\\' ? 4 : 3;
    } else if (*at == '"') {
      at = take_literal(at, literal);
      if (!is_speech(literal)) continue;
      if (is_first) fprintf(out, "\n%s\n", path);
      is_first = 0;
      fprintf(out, "  %s\n", literal);
    } else {
      at++;
    }
  }
}

static char *whole_voice(void)
{
  char *text = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&text, &size);
  assert_non_null(out);
  fputs("All that the program says in words, file by file; `make voice` writes this list anew from the sources.\n",
        out);
  assert_int_equal(nftw(SB_SOURCE_DIR "/src", take_path, 16, FTW_PHYS), 0);
  assert_int_equal(nftw(SB_SOURCE_DIR "/include", take_path, 16, FTW_PHYS), 0);
  qsort(paths, path_count, sizeof *paths, compare_paths);
  for (size_t k = 0; k < path_count; k++) {
    char *source = read_file(paths[k]);
    assert_non_null(source);
    write_texts(out, paths[k] + strlen(SB_SOURCE_DIR "/"), source);
    free(source);
  }
  assert_int_equal(fclose(out), 0);
  return text;
}

static void the_list_of_texts_is_that_of_the_sources(void **state)
{
  (void)state;
  char *want = whole_voice();
  if (getenv("SB_VOICE_WRITE") != NULL) {
    FILE *file = fopen(SB_SOURCE_DIR "/tests/voice.txt", "wb");
    assert_non_null(file);
    fputs(want, file);
    assert_int_equal(fclose(file), 0);
  }
  char *got = read_file(SB_SOURCE_DIR "/tests/voice.txt");
  if (got == NULL) fail_msg("there is no tests/voice.txt: make voice writes it");
  size_t same = 0, line = 1;
  for (; got[same] == want[same] && want[same] != 0; same++) line += want[same] == '\n';
  if (got[same] != want[same]) {
    fail_msg("tests/voice.txt differs from the sources in line %zu: make voice writes it anew; read what changed",
             line);
  }
  free(got);
  free(want);
}

/* The list would be worth nothing if it missed texts: some of each sort, from all over the program. */
static void texts_of_each_sort_are_in_the_list(void **state)
{
  (void)state;
  static const char *const parts[] = {
      "src/run/explain_shifts.c\n",
      "The gearbox hunts",
      "a stalled motor",
      "Note: limits.winding",
      "src/cli/",
      "src/scenario/",
      "src/fit/",
      "src/check/",
  };
  char *got = read_file(SB_SOURCE_DIR "/tests/voice.txt");
  assert_non_null(got);
  for (size_t k = 0; k < sizeof parts / sizeof *parts; k++) {
    if (strstr(got, parts[k]) == NULL) fail_msg("no \"%s\" in tests/voice.txt", parts[k]);
  }
  free(got);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_list_of_texts_is_that_of_the_sources),
      cmocka_unit_test(texts_of_each_sort_are_in_the_list),
  };
  return cmocka_run_group_tests_name("voice", tests, NULL, NULL);
}
