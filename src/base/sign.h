// SPDX-License-Identifier: GPL-3.0-or-later
/* sign.h - the sign of a number. */
#ifndef SHIFTBAND_BASE_SIGN_H
#define SHIFTBAND_BASE_SIGN_H

/* 1, -1 or 0. Pure. */
static inline int sb_sign_of(double value)
{
  return (value > 0.0) - (value < 0.0);
}

#endif
