// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/nearest.h"

#include <ctype.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum { WORD_MAX = 63, PART_LEAST = 4 };

static int least_of(int a, int b, int c)
{
  const int ab = a < b ? a : b;
  return ab < c ? ab : c;
}

/* Single characters put in, left out or changed to make b of a (Levenshtein). b is at most WORD_MAX long. */
static int edit_distance(const char *a, const char *b)
{
  int row[WORD_MAX + 1];
  const int columns = (int)strlen(b);
  for (int j = 0; j <= columns; j++) row[j] = j;
  for (int i = 1; a[i - 1] != 0; i++) {
    int diagonal = row[0];
    row[0] = i;
    for (int j = 1; j <= columns; j++) {
      const int change = diagonal + (a[i - 1] != b[j - 1]);
      diagonal = row[j];
      row[j] = least_of(row[j] + 1, row[j - 1] + 1, change);
    }
  }
  return row[columns];
}

const char *sb_nearest_word(const char *text, const char *const *words)
{
  const size_t length = strlen(text);
  if (length == 0 || length > WORD_MAX) return NULL;
  const char *nearest = NULL, *whole = NULL;
  int least = (int)length / 3 + 2; /* farther ones would be a guess */
  for (; *words != NULL; words++) {
    if (strlen(*words) > WORD_MAX) continue;
    const bool is_start = length > 1 && strncmp(text, *words, length) == 0;
    const int distance = is_start ? 1 : edit_distance(text, *words);
    if (distance < least && (distance < (int)length || is_start)) {
      least = distance;
      nearest = *words;
    }
    if (whole == NULL && length >= PART_LEAST && strstr(*words, text) != NULL) whole = *words;
  }
  return nearest != NULL ? nearest : whole;
}

bool sb_nearest_is_same(const char *a, const char *b)
{
  static const char signs[] = ".*- ";
  for (;; a++, b++) {
    a += strspn(a, signs);
    b += strspn(b, signs);
    if (tolower((unsigned char)*a) != tolower((unsigned char)*b)) return false;
    if (*a == 0) return true;
  }
}

struct sb_nearest sb_nearest_hint(const char *text, const char *const *words)
{
  struct sb_nearest out = {""};
  const char *nearest = sb_nearest_word(text, words);
  if (nearest != NULL) snprintf(out.text, sizeof out.text, ", nearest is \"%s\"", nearest);
  return out;
}
