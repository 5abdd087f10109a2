// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/protocol.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "shiftband/units.h"
#include "text/json.h"

static const char greeting[] = "shiftband-controller ";

/* What stands in a line, in its order: what is before it, its member of struct sb_own_input, and its bounds. */
struct item {
  const char *lead;
  enum { SIGNED, UNSIGNED, WIDE, REAL, SIGNED_LIST, REAL_LIST } kind; /* lists: one for each pair of gears */
  size_t offset;
  double least, greatest;
};

#define AT(member) offsetof(struct sb_own_input, member)
#define ANY_SIGNED INT32_MIN, INT32_MAX
#define ANY_REAL -HUGE_VAL, HUGE_VAL

static const struct item header[] = {{" gears=", SIGNED, AT(gear_count), 1.0, SB_OWN_GEAR_MAX},
                                     {" start_gear=", SIGNED, AT(start_gear), ANY_SIGNED},
                                     {" sample_period_s=", REAL, AT(sample_period_s), 0.0, HUGE_VAL},
                                     {" count_pct=", REAL, AT(count_pct), 0.0, HUGE_VAL},
                                     {" start_delay_samples=", UNSIGNED, AT(start_delay_samples), 0.0, UINT32_MAX},
                                     {" dwell_samples=", UNSIGNED, AT(dwell_samples), 0.0, UINT32_MAX},
                                     {" debounce_samples=", UNSIGNED, AT(debounce_samples), 0.0, UINT32_MAX},
                                     {" downshift_below=", SIGNED_LIST, AT(downshift_below), ANY_SIGNED},
                                     {" upshift_above=", SIGNED_LIST, AT(upshift_above), ANY_SIGNED},
                                     {" downshift_below_pct=", REAL_LIST, AT(downshift_below_pct), ANY_REAL},
                                     {" upshift_above_pct=", REAL_LIST, AT(upshift_above_pct), ANY_REAL},
                                     {.lead = NULL}};

static const struct item sample[] = {
    {"", WIDE, AT(sample), 0.0, 9e15},          {" ", REAL, AT(time_s), 0.0, HUGE_VAL},
    {" ", SIGNED, AT(reading), ANY_SIGNED},     {" ", REAL, AT(reading_pct), ANY_REAL},
    {" ", SIGNED, AT(gear), ANY_SIGNED},        {" ", SIGNED, AT(is_engaged), ANY_SIGNED},
    {" ", SIGNED, AT(is_deciding), ANY_SIGNED}, {.lead = NULL}};

/* How many values an item has. */
static int count_of(const struct item *item, const struct sb_own_input *input)
{
  return item->kind >= SIGNED_LIST ? input->gear_count - 1 : 1;
}

/* A line being put together; what does not fit would be a fault of ours. */
struct line {
  char *text;
  size_t size, length;
};

static void add(struct line *line, const char *text)
{
  const int count = snprintf(line->text + line->length, line->size - line->length, "%s", text);
  assert(count >= 0 && line->length + (size_t)count < line->size);
  line->length += (size_t)count;
}

static void add_value(struct line *line, const struct item *item, const void *at, int k)
{
  char text[SB_JSON_NUMBER_SIZE];
  switch (item->kind) {
    case SIGNED:
    case SIGNED_LIST: snprintf(text, sizeof text, "%ld", (long)((const int32_t *)at)[k]); break;
    case UNSIGNED: snprintf(text, sizeof text, "%lu", (unsigned long)*(const uint32_t *)at); break;
    case WIDE: snprintf(text, sizeof text, "%lld", (long long)*(const int64_t *)at); break;
    case REAL:
    case REAL_LIST: sb_json_format_number(((const double *)at)[k], text); break;
  }
  add(line, text);
}

static void add_items(struct line *line, const struct item *item, const struct sb_own_input *input)
{
  for (; item->lead != NULL; item++) {
    add(line, item->lead);
    for (int k = 0; k < count_of(item, input); k++) {
      if (k > 0) add(line, ",");
      add_value(line, item, (const char *)input + item->offset, k);
    }
  }
  add(line, "\n");
}

size_t sb_protocol_write_header(char text[SB_PROTOCOL_HEADER_SIZE], const struct sb_own_input *input)
{
  struct line line = {text, SB_PROTOCOL_HEADER_SIZE, 0};
  char version[16];
  snprintf(version, sizeof version, "%d", SB_PROTOCOL_VERSION);
  add(&line, greeting);
  add(&line, version);
  add_items(&line, header, input);
  return line.length;
}

size_t sb_protocol_write_sample(char text[SB_PROTOCOL_SAMPLE_SIZE], const struct sb_own_input *input)
{
  struct line line = {text, SB_PROTOCOL_SAMPLE_SIZE, 0};
  add_items(&line, sample, input);
  return line.length;
}

/* Takes the number at *text and moves behind it; false when there is none within the limits. */
static bool take_number(const char **text, double least, double greatest, double *value)
{
  *text = sb_units_parse_number(*text, value);
  return *text != NULL && *value >= least && *value <= greatest;
}

/* Takes `word` at *text. */
static bool take_word(const char **text, const char *word)
{
  const size_t length = strlen(word);
  if (*text == NULL || strncmp(*text, word, length) != 0) return false;
  *text += length;
  return true;
}

static bool take_value(const char **text, const struct item *item, void *at, int k)
{
  double value;
  const bool is_real = item->kind == REAL || item->kind == REAL_LIST;
  if (!take_number(text, item->least, item->greatest, &value) || (!is_real && value != floor(value))) return false;
  switch (item->kind) {
    case SIGNED:
    case SIGNED_LIST: ((int32_t *)at)[k] = (int32_t)value; break;
    case UNSIGNED: *(uint32_t *)at = (uint32_t)value; break;
    case WIDE: *(int64_t *)at = (int64_t)value; break;
    case REAL:
    case REAL_LIST: ((double *)at)[k] = value; break;
  }
  return true;
}

/* Takes all items and the end of the line. */
static bool take_items(const char *text, const struct item *item, struct sb_own_input *input)
{
  for (; item->lead != NULL; item++) {
    if (!take_word(&text, item->lead)) return false;
    for (int k = 0; k < count_of(item, input); k++) {
      if (k > 0 && !take_word(&text, ",")) return false;
      if (!take_value(&text, item, (char *)input + item->offset, k)) return false;
    }
  }
  return text[strspn(text, "\r\n")] == 0;
}

bool sb_protocol_read_header(const char *text, struct sb_own_input *input, long *version)
{
  double number;
  *version = 0;
  if (!take_word(&text, greeting) || !take_number(&text, 1.0, 1e6, &number) || number != floor(number)) return false;
  *version = (long)number;
  return *version == SB_PROTOCOL_VERSION && take_items(text, header, input);
}

bool sb_protocol_read_sample(const char *text, struct sb_own_input *input)
{
  return take_items(text, sample, input);
}

int sb_protocol_read_answer(const char *text, size_t length)
{
  static const char blanks[] = " \t\r";
  if (memchr(text, 0, length) != NULL) return -1;
  text += strspn(text, blanks);
  const size_t digits = strspn(text, "0123456789");
  if (digits < 1 || digits > 3 || text[digits + strspn(text + digits, blanks)] != 0) return -1;
  int value = 0;
  for (size_t k = 0; k < digits; k++) value = 10 * value + (text[k] - '0');
  return value;
}
