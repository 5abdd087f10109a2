// SPDX-License-Identifier: GPL-3.0-or-later
/* table.h - values over places. Places ascend; two equal ones make a jump. Owned by the scenario. */
#ifndef SHIFTBAND_TABLE_H
#define SHIFTBAND_TABLE_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

struct sb_table {
  size_t count;    /* 0: no table */
  const double *x; /* x[count] */
  const double *y; /* y[count] */
};

#ifdef __cplusplus
}
#endif

#endif
