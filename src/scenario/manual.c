// SPDX-License-Identifier: GPL-3.0-or-later
/* The manual of all keys, from the table that reads them. */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

enum { WIDTH = 100, NAME_WIDTH = 24 };

/* Writes words from column `indent` on, wrapped at WIDTH; the first line is already at that column. */
static void write_wrapped(FILE *out, const char *text, int indent)
{
  int column = indent;
  while (*text != 0) {
    const int length = (int)strcspn(text, " ");
    if (column > indent && column + 1 + length > WIDTH) {
      fprintf(out, "\n%*s", indent, "");
      column = indent;
    } else if (column > indent) {
      fputc(' ', out);
      column++;
    }
    fprintf(out, "%.*s", length, text);
    column += length;
    text += length;
    text += strspn(text, " ");
  }
  fputc('\n', out);
}

static void write_key(FILE *out, const struct sb_key *key)
{
  char words[SB_WORDS_SIZE], range[SB_WORDS_SIZE], text[1024];
  sb_key_words(key, words);
  sb_key_range_words(key, range);
  const char *fallback = key->flags & SB_REQUIRED    ? "required"
                         : key->default_text != NULL ? key->default_text
                                                     : key->default_words;
  const bool says_itself = strstr(fallback, "required") != NULL;
  snprintf(text, sizeof text, "%s%s%s; %s%s", words, range[0] != 0 ? ", " : "", range,
           says_itself ? "" : "default: ", fallback);
  fprintf(out, "  %-*s", NAME_WIDTH - 2, key->name);
  write_wrapped(out, text, NAME_WIDTH);
  fprintf(out, "%*s", NAME_WIDTH, "");
  write_wrapped(out, key->meaning, NAME_WIDTH);
}

static void write_section(FILE *out, const char *path, const struct sb_section *section);

/* The sections that hang on a key. */
static void write_below(FILE *out, const char *path, const struct sb_key *key)
{
  char below[SB_PATH_SIZE];
  const char *dot = path[0] != 0 ? "." : "";
  snprintf(below, sizeof below, "%.200s%s%s%s", path, dot, key->name, key->kind == SB_KEY_LIST ? ".N" : "");
  if (key->section != NULL) write_section(out, below, key->section);
  for (int i = 0; key->kinds != NULL && key->kinds[i] != NULL; i++) {
    snprintf(below, sizeof below, "%.200s%s%s%s, kind: %s", path, dot, key->name, key->kind == SB_KEY_LIST ? ".N" : "",
             key->kinds[i]->name);
    write_section(out, below, key->kinds[i]);
  }
}

static void write_section(FILE *out, const char *path, const struct sb_section *section)
{
  fprintf(out, "%s - %s\n", path[0] != 0 ? path : section->name, section->meaning);
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) write_key(out, key);
  fputc('\n', out);
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) write_below(out, path, key);
}

int sb_scenario_write_keys(FILE *out)
{
  write_wrapped(
      out,
      "A scenario is a YAML file of the sections and keys below. Every quantity carries its unit; units take SI "
      "prefixes and may be combined (N.m, kg.m2, N.m.s/rad). N stands for a number from 1.",
      0);
  fputc('\n', out);
  write_section(out, "", &sb_scenario_schema);
  if (fflush(out) != 0 || ferror(out)) {
    if (errno == 0) errno = EIO;
    return -1;
  }
  return 0;
}
