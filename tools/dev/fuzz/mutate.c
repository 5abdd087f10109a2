// SPDX-License-Identifier: GPL-3.0-or-later
/* mutate.c - changes numbers of a text to extremes and moves its lines, so that most of what comes of a valid file is one. */
#include "common.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* Numbers at which programs fail: at the ends of doubles and integers, beside one, beside a hundred, and small and large ones. */
static const char *const extremes[] = {"0",
                                       "-0",
                                       "1",
                                       "-1",
                                       "2",
                                       "0.5",
                                       "1e-300",
                                       "4.9e-324",
                                       "1e300",
                                       "1e308",
                                       "-1e308",
                                       "1e9",
                                       "-1e9",
                                       "1e-9",
                                       "1e6",
                                       "1e-6",
                                       "1e3",
                                       "1e-3",
                                       "2147483647",
                                       "2147483648",
                                       "4294967295",
                                       "4294967296",
                                       "9223372036854775807",
                                       "18446744073709551616",
                                       "99.999999",
                                       "100",
                                       "100.000001",
                                       "0.99999999",
                                       "1.00000001",
                                       "1e10",
                                       "1e15",
                                       "65535",
                                       "65536",
                                       "255",
                                       "256",
                                       "0.33333333",
                                       "-100",
                                       "7",
                                       "8",
                                       "9",
                                       "1000000",
                                       "0.1"};

struct dice {
  uint64_t state;
};

/* Below `sides`: xorshift, enough for a fuzzer. */
static size_t throw(struct dice * dice, size_t sides)
{
  dice->state ^= dice->state << 13;
  dice->state ^= dice->state >> 7;
  dice->state ^= dice->state << 17;
  return sides == 0 ? 0 : (size_t)(dice->state % sides);
}

/* A piece of a text. */
struct piece {
  size_t at, length;
};

static bool is_of_word(uint8_t byte)
{
  return (byte >= 'a' && byte <= 'z') || (byte >= 'A' && byte <= 'Z') || byte == '_';
}

static bool is_digit(uint8_t byte)
{
  return byte >= '0' && byte <= '9';
}

/* The number that begins at a place of the text; length 0: none does. */
static struct piece number_at(const uint8_t *text, size_t size, size_t at)
{
  const bool is_inside = at > 0 && (is_of_word(text[at - 1]) || is_digit(text[at - 1]) || text[at - 1] == '.');
  size_t end = at;
  if (is_inside || !is_digit(text[at])) return (struct piece){at, 0};
  while (end < size && (is_digit(text[end]) || text[end] == '.')) end++;
  if (end + 1 < size && (text[end] == 'e' || text[end] == 'E') && (is_digit(text[end + 1]) || text[end + 1] == '-')) {
    end += 2;
    while (end < size && is_digit(text[end])) end++;
  }
  return (struct piece){at, end - at};
}

/* One of the numbers, each as likely as the others. */
static struct piece any_number(const uint8_t *text, size_t size, struct dice *dice)
{
  struct piece chosen = {0, 0};
  size_t count = 0;
  for (size_t at = 0; at < size; at++) {
    const struct piece found = number_at(text, size, at);
    if (found.length > 0 && throw(dice, ++count) == 0) chosen = found;
  }
  return chosen;
}

static struct piece any_line(const uint8_t *text, size_t size, struct dice *dice)
{
  struct piece line = {throw(dice, size), 0};
  while (line.at > 0 && text[line.at - 1] != '\n') line.at--;
  while (line.at + line.length < size && text[line.at + line.length] != '\n') line.length++;
  line.length += line.at + line.length < size;
  return line;
}

/* Puts bytes in the place of a piece; the new size, or the old one where there is no room. */
static size_t put(uint8_t *text, size_t size, size_t room, struct piece piece, const uint8_t *bytes, size_t length)
{
  if (size - piece.length + length > room) return size;
  memmove(text + piece.at + length, text + piece.at + piece.length, size - piece.at - piece.length);
  memcpy(text + piece.at, bytes, length);
  return size - piece.length + length;
}

/* A number moved by powers of ten, doubled, halved, negated or moved by a hair. */
static void change_number(double value, struct dice *dice, char text[40])
{
  switch (throw(dice, 5)) {
    case 0: value *= pow(10.0, (double) throw(dice, 25) - 12.0); break;
    case 1: value *= throw(dice, 2) == 0 ? 2.0 : 0.5; break;
    case 2: value = -value; break;
    case 3: value = nextafter(value, throw(dice, 2) == 0 ? HUGE_VAL : -HUGE_VAL); break;
    default: value *= 0.9 + 0.01 * (double) throw(dice, 21); break;
  }
  snprintf(text, 40, "%.17g", value);
}

static size_t mutate_number(uint8_t *text, size_t size, size_t room, struct dice *dice)
{
  const struct piece piece = any_number(text, size, dice);
  char now[40] = "";
  if (piece.length == 0 || piece.length >= sizeof now) return size;
  memcpy(now, text + piece.at, piece.length);
  switch (throw(dice, 3)) {
    case 0: snprintf(now, sizeof now, "%s", extremes[throw(dice, sizeof extremes / sizeof extremes[0])]); break;
    case 1: {
      const struct piece other = any_number(text, size, dice);
      if (other.length >= sizeof now) return size;
      memset(now, 0, sizeof now);
      memcpy(now, text + other.at, other.length);
      break;
    }
    default: change_number(strtod(now, NULL), dice, now); break;
  }
  return put(text, size, room, piece, (const uint8_t *)now, strlen(now));
}

/* A line left out, doubled, or moved. */
static size_t mutate_line(uint8_t *text, size_t size, size_t room, struct dice *dice)
{
  const struct piece line = any_line(text, size, dice);
  uint8_t kept[256];
  if (line.length == 0 || line.length > sizeof kept) return size;
  memcpy(kept, text + line.at, line.length);
  const size_t choice = throw(dice, 3);
  if (choice != 0) size = put(text, size, room, line, kept, 0);
  if (choice == 1) return size;
  const struct piece there = {any_line(text, size, dice).at, 0};
  return put(text, size, room, there, kept, line.length);
}

size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t room, unsigned seed)
{
  struct dice dice = {seed * UINT64_C(0x9e3779b97f4a7c15) + 1};
  for (int k = 0; k < 8; k++) throw(&dice, 2);
  if (size == 0) return LLVMFuzzerMutate(data, size, room);
  switch (throw(&dice, 8)) {
    case 0:
    case 1:
    case 2: return mutate_number(data, size, room, &dice);
    case 3: size = mutate_number(data, size, room, &dice); return mutate_number(data, size, room, &dice);
    case 4: return mutate_line(data, size, room, &dice);
    default: return LLVMFuzzerMutate(data, size, room);
  }
}

/* A few lines of the other text come into the first one. */
size_t LLVMFuzzerCustomCrossOver(const uint8_t *one, size_t one_size, const uint8_t *other, size_t other_size,
                                 uint8_t *out, size_t room, unsigned seed)
{
  struct dice dice = {seed * UINT64_C(0x9e3779b97f4a7c15) + 1};
  size_t size = one_size < room ? one_size : room;
  memcpy(out, one, size);
  if (size == 0 || other_size == 0) return size;
  struct piece lines = any_line(other, other_size, &dice);
  for (size_t more = throw(&dice, 4); more > 0 && lines.at + lines.length < other_size; more--) {
    const uint8_t *from = other + lines.at + lines.length,
                  *end = memchr(from, '\n', other_size - lines.at - lines.length);
    lines.length = end != NULL ? (size_t)(end - other) + 1 - lines.at : other_size - lines.at;
  }
  struct piece there = any_line(out, size, &dice);
  if (throw(&dice, 2) == 0) there.length = 0;
  return put(out, size, room, there, other + lines.at, lines.length);
}
