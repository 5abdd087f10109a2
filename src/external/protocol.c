// SPDX-License-Identifier: GPL-3.0-or-later
#include "external/protocol.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "shiftband/units.h"
#include "text/json.h"

static const char greeting[] = "shiftband-controller ";

/* A line being put together; what does not fit would be a fault of ours. */
struct line {
  char *text;
  size_t size, length;
};

static void add(struct line *line, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void add(struct line *line, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  const int count = vsnprintf(line->text + line->length, line->size - line->length, format, arguments);
  va_end(arguments);
  assert(count >= 0 && line->length + (size_t)count < line->size);
  line->length += (size_t)count;
}

static void add_number(struct line *line, const char *before, double value)
{
  char number[SB_JSON_NUMBER_SIZE];
  add(line, "%s%s", before, sb_json_format_number(value, number));
}

static void add_counts(struct line *line, const char *name, const int32_t *counts, int pair_count)
{
  add(line, " %s=", name);
  for (int p = 0; p < pair_count; p++) add(line, "%s%ld", p > 0 ? "," : "", (long)counts[p]);
}

static void add_percents(struct line *line, const char *name, const double *percents, int pair_count)
{
  add(line, " %s=", name);
  for (int p = 0; p < pair_count; p++) add_number(line, p > 0 ? "," : "", percents[p]);
}

size_t sb_protocol_write_header(char text[SB_PROTOCOL_HEADER_SIZE], const struct sb_own_input *input)
{
  struct line line = {text, SB_PROTOCOL_HEADER_SIZE, 0};
  const int pair_count = input->gear_count - 1;
  add(&line, "%s%d gears=%ld start_gear=%ld", greeting, SB_PROTOCOL_VERSION, (long)input->gear_count,
      (long)input->start_gear);
  add_number(&line, " sample_period_s=", input->sample_period_s);
  add_number(&line, " count_pct=", input->count_pct);
  add(&line, " start_delay_samples=%lu dwell_samples=%lu debounce_samples=%lu",
      (unsigned long)input->start_delay_samples, (unsigned long)input->dwell_samples,
      (unsigned long)input->debounce_samples);
  add_counts(&line, "downshift_below", input->downshift_below, pair_count);
  add_counts(&line, "upshift_above", input->upshift_above, pair_count);
  add_percents(&line, "downshift_below_pct", input->downshift_below_pct, pair_count);
  add_percents(&line, "upshift_above_pct", input->upshift_above_pct, pair_count);
  add(&line, "\n");
  return line.length;
}

size_t sb_protocol_write_sample(char text[SB_PROTOCOL_SAMPLE_SIZE], const struct sb_own_input *input)
{
  struct line line = {text, SB_PROTOCOL_SAMPLE_SIZE, 0};
  add(&line, "%lld", (long long)input->sample);
  add_number(&line, " ", input->time_s);
  add(&line, " %ld", (long)input->reading);
  add_number(&line, " ", input->reading_pct);
  add(&line, " %ld %ld %ld\n", (long)input->gear, (long)input->is_engaged, (long)input->is_deciding);
  return line.length;
}

/* Takes the number at *text and moves behind it; false when there is none within the limits. */
static bool take_number(const char **text, double least, double greatest, double *value)
{
  *text = *text != NULL ? sb_units_parse_number(*text, value) : NULL;
  return *text != NULL && *value >= least && *value <= greatest;
}

static bool take_whole(const char **text, double least, double greatest, double *value)
{
  return take_number(text, least, greatest, value) && *value == floor(*value);
}

static bool take_signed(const char **text, int32_t *value)
{
  double number;
  if (!take_whole(text, INT32_MIN, INT32_MAX, &number)) return false;
  *value = (int32_t)number;
  return true;
}

static bool take_count(const char **text, uint32_t *value)
{
  double number;
  if (!take_whole(text, 0.0, UINT32_MAX, &number)) return false;
  *value = (uint32_t)number;
  return true;
}

/* Takes `word` at *text. */
static bool take_word(const char **text, const char *word)
{
  const size_t length = strlen(word);
  if (*text == NULL || strncmp(*text, word, length) != 0) return false;
  *text += length;
  return true;
}

static bool take_counts(const char **text, const char *name, int32_t *counts, int pair_count)
{
  if (!take_word(text, name)) return false;
  for (int p = 0; p < pair_count; p++) {
    if ((p > 0 && !take_word(text, ",")) || !take_signed(text, &counts[p])) return false;
  }
  return true;
}

static bool take_percents(const char **text, const char *name, double *percents, int pair_count)
{
  if (!take_word(text, name)) return false;
  for (int p = 0; p < pair_count; p++) {
    if ((p > 0 && !take_word(text, ",")) || !take_number(text, -HUGE_VAL, HUGE_VAL, &percents[p])) return false;
  }
  return true;
}

static bool is_line_end(const char *text)
{
  return text != NULL && text[strspn(text, "\r\n")] == 0;
}

bool sb_protocol_read_header(const char *text, struct sb_own_input *input, long *version)
{
  double number;
  *version = 0;
  if (!take_word(&text, greeting) || !take_whole(&text, 1.0, 1e6, &number)) return false;
  *version = (long)number;
  if (*version != SB_PROTOCOL_VERSION) return false;
  if (!take_word(&text, " gears=") || !take_signed(&text, &input->gear_count) || input->gear_count < 1 ||
      input->gear_count > SB_OWN_GEAR_MAX) {
    return false;
  }
  const int pair_count = input->gear_count - 1;
  return take_word(&text, " start_gear=") && take_signed(&text, &input->start_gear) &&
         take_word(&text, " sample_period_s=") && take_number(&text, 0.0, HUGE_VAL, &input->sample_period_s) &&
         take_word(&text, " count_pct=") && take_number(&text, 0.0, HUGE_VAL, &input->count_pct) &&
         take_word(&text, " start_delay_samples=") && take_count(&text, &input->start_delay_samples) &&
         take_word(&text, " dwell_samples=") && take_count(&text, &input->dwell_samples) &&
         take_word(&text, " debounce_samples=") && take_count(&text, &input->debounce_samples) &&
         take_counts(&text, " downshift_below=", input->downshift_below, pair_count) &&
         take_counts(&text, " upshift_above=", input->upshift_above, pair_count) &&
         take_percents(&text, " downshift_below_pct=", input->downshift_below_pct, pair_count) &&
         take_percents(&text, " upshift_above_pct=", input->upshift_above_pct, pair_count) && is_line_end(text);
}

bool sb_protocol_read_sample(const char *text, struct sb_own_input *input)
{
  double sample;
  if (!take_whole(&text, 0.0, 9e15, &sample)) return false;
  input->sample = (int64_t)sample;
  return take_word(&text, " ") && take_number(&text, 0.0, HUGE_VAL, &input->time_s) && take_word(&text, " ") &&
         take_signed(&text, &input->reading) && take_word(&text, " ") &&
         take_number(&text, -HUGE_VAL, HUGE_VAL, &input->reading_pct) && take_word(&text, " ") &&
         take_signed(&text, &input->gear) && take_word(&text, " ") && take_signed(&text, &input->is_engaged) &&
         take_word(&text, " ") && take_signed(&text, &input->is_deciding) && is_line_end(text);
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
