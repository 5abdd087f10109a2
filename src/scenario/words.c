// SPDX-License-Identifier: GPL-3.0-or-later
/* What a key takes, in words: for error texts and for the manual. */
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

static const double other_upper = 1e9; /* bound of the second quantity of a key that takes either */

/* Whether a row stands for no other value than the one before it. */
static bool is_other_name(const struct sb_choice *first, const struct sb_choice *choice)
{
  return choice > first && choice->value == choice[-1].value;
}

static void add_choices(const struct sb_choice *choices, char out[SB_WORDS_SIZE])
{
  const struct sb_choice *last = NULL;
  for (const struct sb_choice *c = choices; c->name != NULL; c++) {
    if (c->value != SB_CHOICE_REFUSED && !is_other_name(choices, c)) last = c;
  }
  for (const struct sb_choice *c = choices; c->name != NULL; c++) {
    if (c->value == SB_CHOICE_REFUSED) continue;
    if (is_other_name(choices, c)) {
      if (strcmp(c->name, c[-1].name) != 0) sb_fail_add(out, SB_WORDS_SIZE, " (%s)", c->name);
    } else {
      sb_fail_add(out, SB_WORDS_SIZE, "%s%s", c == choices ? "" : c == last ? " or " : ", ", c->name);
    }
  }
}

struct sb_key_words sb_reader_key_words(const struct sb_key *key)
{
  struct sb_key_words found = {""};
  char *out = found.text;
  const char *words = sb_units_words(key->quantity), *units = sb_units_offered(key->quantity);
  switch (key->kind) {
    case SB_KEY_QUANTITY:
      snprintf(out, SB_WORDS_SIZE, "%s (%s)%s%s", words, units, key->word != NULL ? " or " : "",
               key->word != NULL ? key->word : "");
      break;
    case SB_KEY_EITHER:
      snprintf(out, SB_WORDS_SIZE, "%s (%s) or %s (%s)%s", words, units, sb_units_words(key->other),
               sb_units_offered(key->other), key->flags & SB_MANY ? ", or a list of them" : "");
      break;
    case SB_KEY_WHOLE: snprintf(out, SB_WORDS_SIZE, "a whole number"); break;
    case SB_KEY_FLAG: snprintf(out, SB_WORDS_SIZE, "true or false"); break;
    case SB_KEY_CHOICE: add_choices(key->choices, out); break;
    case SB_KEY_TEXT: snprintf(out, SB_WORDS_SIZE, "a text of at most %zu bytes", key->size - 1); break;
    case SB_KEY_TEETH: snprintf(out, SB_WORDS_SIZE, "teeth as driver/driven, such as 15/30"); break;
    case SB_KEY_SECTION: snprintf(out, SB_WORDS_SIZE, "a section"); break;
    case SB_KEY_KINDS: snprintf(out, SB_WORDS_SIZE, "a section with a kind"); break;
    case SB_KEY_LIST:
      snprintf(out, SB_WORDS_SIZE, "a list of %s%d", key->flags & (SB_REQUIRED | SB_NOT_EMPTY) ? "1 to " : "at most ",
               key->max);
      break;
    case SB_KEY_LATER: snprintf(out, SB_WORDS_SIZE, "a %s", key->needs); break;
  }
  return found;
}

struct sb_key_words sb_reader_key_range_words(const struct sb_key *key)
{
  struct sb_key_words found = {""};
  const bool is_quantity = key->kind == SB_KEY_QUANTITY || key->kind == SB_KEY_EITHER;
  if (!is_quantity && key->kind != SB_KEY_WHOLE && key->kind != SB_KEY_TEETH) return found;
  const bool is_percent = is_quantity && key->quantity == SB_PERCENT;
  const double scale = is_percent ? 100.0 : 1.0;
  const char *si = is_percent ? "%" : is_quantity ? sb_units_si(key->quantity) : "";
  const char *space = si[0] != 0 ? " " : "";
  const int digits = key->kind == SB_KEY_WHOLE ? 10 : 6;
  snprintf(found.text, sizeof found.text, "%s %.*g%s%s, %s %.*g%s%s", key->flags & SB_ABOVE ? "above" : "at least",
           digits, key->lower * scale, space, si, key->flags & SB_BELOW ? "below" : "at most", digits,
           key->upper * scale, space, si);
  return found;
}

bool sb_reader_key_holds(const struct sb_key *key, enum sb_quantity quantity, double value)
{
  const bool is_other = key->kind == SB_KEY_EITHER && quantity == key->other;
  const double upper = is_other ? other_upper : key->upper;
  const bool is_above = key->flags & SB_ABOVE ? value > key->lower : value >= key->lower;
  return is_above && (key->flags & SB_BELOW ? value < upper : value <= upper);
}
