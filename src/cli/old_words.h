// SPDX-License-Identifier: GPL-3.0-or-later
/* old_words.h - options and their words that were called otherwise before: refused with the name that they have now. */
#ifndef SHIFTBAND_CLI_OLD_WORDS_H
#define SHIFTBAND_CLI_OLD_WORDS_H

struct sb_old_word {
  const char *was, *now; /* options without their dashes */
};

/* All of them; was NULL at the end. */
extern const struct sb_old_word sb_old_options[], sb_old_verdicts[];

/* The new name, or NULL. */
const char *sb_old_words_find(const struct sb_old_word *words, const char *word);

#endif
