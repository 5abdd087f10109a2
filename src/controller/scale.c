// SPDX-License-Identifier: 0BSD
/* A reading against a reference that follows the supply: see controller.h. Product and quotient bit by bit, so that processors without
 * such instructions need no library. */
#include "shiftband/controller.h"

/* a * b, which fits. */
static uint32_t product(uint32_t a, uint32_t b)
{
  uint32_t sum = 0;
  for (; b != 0; b >>= 1) {
    if (b & 1U) sum += a;
    a <<= 1;
  }
  return sum;
}

/* The whole part of a / b, b from 1 to 2^31 - 1. */
static uint32_t quotient(uint32_t a, uint32_t b)
{
  uint32_t rest = 0, whole = 0;
  for (uint32_t bit = 0x80000000U; bit != 0; bit >>= 1) {
    rest <<= 1;
    if (a & bit) rest |= 1U;
    if (rest >= b) {
      rest -= b;
      whole |= bit;
    }
  }
  return whole;
}

int32_t sb_controller_scaled(const struct sb_controller_scale *scale, int32_t reading, int32_t voltage)
{
  int32_t range = scale->least;
  if (voltage > scale->offset && voltage - scale->offset > range) range = voltage - scale->offset;
  if (reading < 0) reading = 0;
  if (reading > scale->most) reading = scale->most;
  return (int32_t)quotient(product(scale->factor, (uint32_t)reading) + ((uint32_t)range >> 1), (uint32_t)range);
}
