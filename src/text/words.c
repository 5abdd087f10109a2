// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/words.h"

#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static int text_width = SB_TEXT_WIDTH_DEFAULT;

int sb_text_width(void)
{
  return text_width;
}

void sb_text_set_width(int columns)
{
  text_width = columns < SB_TEXT_WIDTH_LEAST  ? SB_TEXT_WIDTH_LEAST
               : columns > SB_TEXT_WIDTH_MOST ? SB_TEXT_WIDTH_MOST
                                              : columns;
}

static void drop_trailing_zeros(char *text)
{
  if (strchr(text, '.') == NULL) return;
  char *end = text + strlen(text);
  while (end[-1] == '0') end--;
  if (end[-1] == '.') end--;
  *end = 0;
}

struct sb_figure sb_words_figure(double value)
{
  struct sb_figure out;
  const double size = fabs(value);
  if (isnan(value)) {
    snprintf(out.text, sizeof out.text, "-");
  } else if (isinf(value)) {
    snprintf(out.text, sizeof out.text, "%s", value < 0.0 ? "no least" : "no greatest");
  } else if (size != 0.0 && (size < 1e-3 || size >= 1e6)) {
    snprintf(out.text, sizeof out.text, "%.4g", value);
  } else {
    const int decimals = size < 1e-12 ? 0 : 3 - (int)floor(log10(size));
    snprintf(out.text, sizeof out.text, "%.*f", decimals < 0 ? 0 : decimals, value);
    drop_trailing_zeros(out.text);
  }
  return out;
}

struct sb_figure sb_words_torque(double torque_nm, const char *lowest, const char *highest)
{
  struct sb_figure out;
  if (isinf(torque_nm)) {
    snprintf(out.text, sizeof out.text, "%s", torque_nm < 0.0 ? lowest : highest);
  } else {
    snprintf(out.text, sizeof out.text, "%.24s N.m", sb_words_figure(torque_nm).text);
  }
  return out;
}

struct sb_figure sb_words_percent_by(double (*rounded)(double), double fraction)
{
  const double slack = rounded == ceil ? -1e-9 : rounded == floor ? 1e-9 : 0.0;
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.1f %%", rounded(1000.0 * fraction + slack) / 10.0 + 0.0); /* no -0.0 */
  return out;
}

struct sb_figure sb_words_percent_below(double fraction)
{
  return sb_words_percent_by(floor, (ceil(1000.0 * fraction - 1e-9) - 1.0) / 1000.0);
}

struct sb_figure sb_words_percent(double fraction)
{
  return sb_words_percent_by(round, fraction);
}

struct sb_figure sb_words_threshold(double fraction)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.6g %%", 100.0 * fraction);
  return out;
}

const char *sb_words_plural(size_t count)
{
  return count == 1 ? "" : "s";
}

int sb_words_columns(const char *text, size_t length)
{
  int columns = 0;
  for (size_t k = 0; k < length; k++) columns += ((unsigned char)text[k] & 0xC0) != 0x80; /* no continuation byte */
  return columns;
}

/* Bytes of the next word; a number and what follows it, its unit, are one word. */
static size_t word_length(const char *text)
{
  const size_t length = strcspn(text, " \n");
  const bool is_number = length > 0 && text[length - 1] >= '0' && text[length - 1] <= '9';
  if (!is_number || text[length] != ' ' || text[length + 1] == ' ') return length;
  return length + 1 + strcspn(text + length + 1, " \n");
}

/* One line of a text that ends at a line feed or at its end; returns what follows. */
static const char *write_line(FILE *out, int indent, int hang, const char *text)
{
  int column = fprintf(out, "%*s", indent, "");
  for (int is_first = 1; *text != 0 && *text != '\n'; is_first = 0) {
    const size_t gap = strspn(text, " "), length = word_length(text + gap);
    const int columns = (int)gap + sb_words_columns(text + gap, length);
    if (is_first || column + columns <= text_width) {
      fprintf(out, "%.*s", (int)(gap + length), text);
      column += columns;
    } else {
      fprintf(out, "\n%*s%.*s", hang, "", (int)length, text + gap);
      column = hang + columns - (int)gap;
    }
    text += gap + length;
  }
  fputc('\n', out);
  return *text == '\n' ? text + 1 : text;
}

/* The formatted text: the buffer when it fits, else allocated, or cut to the buffer when memory ran out. */
static char *format_text(char buffer[SB_SENTENCE_SIZE], const char *format, va_list arguments)
{
  va_list again;
  va_copy(again, arguments);
  const int length = vsnprintf(buffer, SB_SENTENCE_SIZE, format, arguments);
  char *text = length >= SB_SENTENCE_SIZE ? malloc((size_t)length + 1) : NULL;
  if (text != NULL) vsnprintf(text, (size_t)length + 1, format, again);
  va_end(again);
  return text != NULL ? text : buffer;
}

void sb_words_say(FILE *out, int indent, int hang, const char *format, ...)
{
  char buffer[SB_SENTENCE_SIZE];
  va_list arguments;
  va_start(arguments, format);
  char *text = format_text(buffer, format, arguments);
  va_end(arguments);
  const char *rest = write_line(out, indent, hang, text);
  while (*rest != 0) rest = write_line(out, hang, hang, rest);
  if (text != buffer) free(text);
}

void sb_words_cell(FILE *out, int width, const char *format, ...)
{
  struct sb_sentence cell = {0};
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(cell.text, sizeof cell.text, format, arguments);
  va_end(arguments);
  const int fill = width - sb_words_columns(cell.text, strlen(cell.text));
  fprintf(out, "%s%*s", cell.text, fill > 1 ? fill : 1, "");
}

void sb_words_add(struct sb_sentence *sentence, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  const size_t room = sizeof sentence->text - sentence->length;
  const int more = vsnprintf(sentence->text + sentence->length, room, format, arguments);
  va_end(arguments);
  if (more > 0) sentence->length += (size_t)more < room ? (size_t)more : room - 1;
}
