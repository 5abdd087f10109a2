// SPDX-License-Identifier: GPL-3.0-or-later
#include "cli/old_words.h"

#include <string.h>

const struct sb_old_word sb_old_options[] = {{"down", "downshift"}, {"up", "upshift"}, {NULL, NULL}};

const struct sb_old_word sb_old_verdicts[] = {
    {"downshift-for-nothing", "needless-downshift"}, {"parting", "deviation"}, {NULL, NULL}};

const char *sb_old_words_find(const struct sb_old_word *words, const char *word)
{
  while (words->was != NULL && strcmp(words->was, word) != 0) words++;
  return words->now;
}
