// SPDX-License-Identifier: GPL-3.0-or-later
/* dictionary.c - words for libFuzzer out of the program's own tables: keys, units, headings of logs, commands and options. */
#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "shiftband/log.h"
#include "shiftband/units.h"

/* A word in quotes, with the bytes escaped that the format asks for. */
static void write_word(const char *word, const char *behind)
{
  putchar('"');
  for (const char *at = word; *at != 0; at++) {
    const unsigned char byte = (unsigned char)*at;
    if (byte == '"' || byte == '\\' || !isprint(byte)) {
      printf("\\x%02x", byte);
    } else {
      putchar(byte);
    }
  }
  printf("%s\"\n", behind);
}

/* Each word of a list. */
static void write_words(const char *text, const char *separators, const char *behind)
{
  char *copy = strdup(text), *rest = NULL;
  if (copy == NULL) exit(1);
  for (char *word = strtok_r(copy, separators, &rest); word != NULL; word = strtok_r(NULL, separators, &rest)) {
    write_word(word, behind);
  }
  free(copy);
}

/* Whole paths for --set, and each key of them for files. */
static void write_keys(void)
{
  char *paths = NULL;
  size_t length = 0;
  FILE *out = open_memstream(&paths, &length);
  if (out == NULL) exit(1);
  sb_scenario_write_paths(out, false);
  if (fclose(out) != 0) exit(1);
  write_words(paths, " \n", "=");
  write_words(paths, " \n.", ": ");
  free(paths);
}

static void write_options(const struct sb_command *command)
{
  char word[128];
  write_word(command->name, "");
  for (const struct sb_option *option = command->options; option->name != NULL || option->help != NULL; option++) {
    if (option->name == NULL) continue;
    snprintf(word, sizeof word, "--%s", option->name);
    write_word(word, option->value != NULL ? "=" : "");
    for (int k = 0; option->words != NULL && option->words[k] != NULL; k++) write_word(option->words[k], "");
  }
}

int main(void)
{
  write_keys();
  for (int k = 0; k < SB_QUANTITY_COUNT; k++) write_words(sb_units_offered((enum sb_quantity)k), ", ", "");
  for (int k = 0; k < SB_LOG_COLUMN_COUNT; k++) write_word(sb_log_columns[k].name, "");
  for (int k = 0; sb_log_quantity_name(k) != NULL; k++) write_word(sb_log_quantity_name(k), "");
  for (int k = 0; sb_commands[k] != NULL; k++) write_options(sb_commands[k]);
  static const char *const others[] = {"shiftband study ",
                                       "task ",
                                       "end\n",
                                       "about ",
                                       " shard 1/2",
                                       "shiftband-controller 2",
                                       "time_s",
                                       "turns",
                                       "distance_m",
                                       "torque_nm",
                                       "grade_pct",
                                       "nan",
                                       "inf",
                                       "\xef\xbb\xbf",
                                       "\r\n",
                                       "\t",
                                       "1e308",
                                       "!"};
  for (size_t k = 0; k < sizeof others / sizeof others[0]; k++) write_word(others[k], "");
  return 0;
}
