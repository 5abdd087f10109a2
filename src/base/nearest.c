// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/nearest.h"

#include <string.h>

static int least_of(int a, int b, int c)
{
  const int ab = a < b ? a : b;
  return ab < c ? ab : c;
}

int sb_edit_distance(const char *a, const char *b)
{
  int row[SB_EDIT_WORD_MAX + 1];
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
