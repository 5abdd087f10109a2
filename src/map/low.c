// SPDX-License-Identifier: GPL-3.0-or-later
#include "map/low.h"

#include <math.h>
#include <stdlib.h>

void sb_low_begin(struct sb_low *low, double patience_s, double ceiling_nm, double floor_nm)
{
  low->first = low->end = low->front = low->back = 0;
  low->patience_s = patience_s;
  low->ceiling_nm = ceiling_nm;
  low->floor_nm = floor_nm;
  low->critical_nm = INFINITY;
}

static struct sb_low_row *row_at(const struct sb_low *low, size_t number)
{
  return &low->rows[number & (low->room - 1)];
}

static size_t *falling_at(const struct sb_low *low, size_t place)
{
  return &low->falling[place & (low->room - 1)];
}

static enum sb_status grow(struct sb_low *low, struct sb_error *err)
{
  const size_t room = low->room > 0 ? 2 * low->room : 64;
  struct sb_low_row *rows = calloc(room, sizeof *rows);
  size_t *falling = calloc(room, sizeof *falling);
  if (rows == NULL || falling == NULL) {
    free(rows);
    free(falling);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the loads of a map");
  }
  for (size_t n = low->first; n < low->end; n++) rows[n & (room - 1)] = *row_at(low, n);
  for (size_t k = low->front; k < low->back; k++) falling[k & (room - 1)] = *falling_at(low, k);
  free(low->rows);
  free(low->falling);
  low->rows = rows;
  low->falling = falling;
  low->room = room;
  return SB_OK;
}

/* Lets go what lies before the latest stretch that is long enough now. */
static void let_go(struct sb_low *low, double time_s)
{
  while (low->first + 1 < low->end && time_s - row_at(low, low->first + 1)->time_s > low->patience_s) low->first++;
  while (low->front < low->back && *falling_at(low, low->front) < low->first) low->front++;
}

/* A stretch with a load as great as the figure, or as every torque in question, lowers nothing. */
static bool is_end(const struct sb_low *low, double load_nm)
{
  return load_nm >= low->ceiling_nm || load_nm >= low->critical_nm;
}

bool sb_low_is_idle(const struct sb_low *low, double load_nm)
{
  return low->critical_nm < low->floor_nm || (low->first == low->end && is_end(low, load_nm));
}

enum sb_status sb_low_pass(struct sb_low *low, double time_s, double load_nm, struct sb_error *err)
{
  if (low->critical_nm < low->floor_nm) return SB_OK; /* stuck low whatever the threshold */
  let_go(low, time_s);
  if (low->first < low->end && time_s - row_at(low, low->first)->time_s > low->patience_s) {
    low->critical_nm = fmin(low->critical_nm, row_at(low, *falling_at(low, low->front))->load_nm);
  }
  if (is_end(low, load_nm)) {
    low->first = low->end;
    low->front = low->back;
    return SB_OK;
  }
  if (low->end - low->first == low->room) {
    const enum sb_status status = grow(low, err);
    if (status != SB_OK) return status;
  }
  while (low->back > low->front && row_at(low, *falling_at(low, low->back - 1))->load_nm <= load_nm) low->back--;
  *falling_at(low, low->back++) = low->end;
  *row_at(low, low->end++) = (struct sb_low_row){time_s, load_nm};
  return SB_OK;
}

void sb_low_clear(struct sb_low *low)
{
  free(low->rows);
  free(low->falling);
  *low = (struct sb_low){.room = 0};
}
