// SPDX-License-Identifier: GPL-3.0-or-later
/* The manual of all keys, from the table that reads them. */
#include <stdio.h>
#include <string.h>

#include "base/text_file.h"
#include "scenario/reader.h"
#include "text/words.h"

enum { NAME_WIDTH = 24 };

static void write_key(FILE *out, const struct sb_key *key)
{
  const struct sb_key_words words = sb_reader_key_words(key), range = sb_reader_key_range_words(key);
  const char *fallback = key->flags & SB_REQUIRED    ? "required"
                         : key->default_text != NULL ? key->default_text
                                                     : key->default_words;
  const bool says_itself = strstr(fallback, "required") != NULL;
  sb_words_say(out, 2, NAME_WIDTH, "%-*s%s%s%s; %s%s\n%s", NAME_WIDTH - 2, key->name, words.text,
               range.text[0] != 0 ? ", " : "", range.text, says_itself ? "" : "default: ", fallback, key->meaning);
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
  sb_words_say(out, 0, 4, "%s - %s", path[0] != 0 ? path : section->name, section->meaning);
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) write_key(out, key);
  fputc('\n', out);
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) write_below(out, path, key);
}

int sb_scenario_write_keys(FILE *out)
{
  sb_words_say(
      out, 0, 0,
      "A scenario is a YAML file of the sections and keys below. Every quantity carries its unit; units take SI "
      "prefixes and may be combined (N.m, kg.m2, N.m.s/rad). A product may also be written N m, N-m, N*m or Nm. N stands for a "
      "number from 1.");
  fputc('\n', out);
  write_section(out, "", &sb_scenario_schema);
  fflush(out);
  return sb_text_file_result(out);
}
