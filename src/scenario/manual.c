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

/* Paths -------------------------------------------------------------------------------------------------------------------- */

/* One key as a case of a shell: its units with an @ before each, or its words. */
static void write_case(FILE *out, const char *path, const struct sb_key *key)
{
  fprintf(out, "    key:%s) echo '", path);
  if (key->kind == SB_KEY_QUANTITY || key->kind == SB_KEY_EITHER) {
    const enum sb_quantity quantities[2] = {key->quantity, key->kind == SB_KEY_EITHER ? key->other : key->quantity};
    for (int k = 0; k < (quantities[0] == quantities[1] ? 1 : 2); k++) {
      for (const char *p = quantities[k] == SB_RATIO ? "%" : sb_units_offered(quantities[k]); *p != 0;
           p += strspn(p, ", ")) {
        const size_t length = strcspn(p, ",");
        fprintf(out, "@%.*s ", (int)length, p);
        p += length;
      }
    }
  }
  for (const struct sb_choice *c = key->kind == SB_KEY_CHOICE ? key->choices : NULL; c != NULL && c->name != NULL;
       c++) {
    if (c->value != SB_CHOICE_REFUSED && strchr(c->name, ' ') == NULL) fprintf(out, "%s ", c->name);
  }
  if (key->kind == SB_KEY_FLAG) fputs("true false", out);
  fputs("' ;;\n", out);
}

static bool has_one_value(const struct sb_key *key)
{
  return key->kind <= SB_KEY_TEETH;
}

static void write_paths(FILE *out, const char *path, const struct sb_section *section, bool has_words)
{
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    char below[SB_PATH_SIZE];
    snprintf(below, sizeof below, "%.200s%s%s%s", path, path[0] != 0 ? "." : "", key->name,
             key->kind == SB_KEY_LIST ? ".1" : "");
    if (has_one_value(key) && has_words) write_case(out, below, key);
    if (has_one_value(key) && !has_words) fprintf(out, "%s ", below);
    if (key->section != NULL) write_paths(out, below, key->section, has_words);
    for (int i = 0; key->kinds != NULL && key->kinds[i] != NULL; i++) write_paths(out, below, key->kinds[i], has_words);
    if (key->kinds == NULL) continue;
    fprintf(out, has_words ? "    key:%s.kind) echo '" : "%s.kind ", below);
    for (int i = 0; has_words && key->kinds[i] != NULL; i++) {
      if (strchr(key->kinds[i]->name, ' ') == NULL) fprintf(out, "%s ", key->kinds[i]->name);
    }
    if (has_words) fputs("' ;;\n", out);
  }
}

void sb_scenario_write_paths(FILE *out, bool has_words)
{
  write_paths(out, "", &sb_scenario_schema, has_words);
}
