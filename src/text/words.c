// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/words.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

enum { WIDTH = 96, SENTENCE_SIZE = 1024 };

static void drop_trailing_zeros(char *text)
{
  if (strchr(text, '.') == NULL) return;
  char *end = text + strlen(text);
  while (end[-1] == '0') end--;
  if (end[-1] == '.') end--;
  *end = 0;
}

struct sb_figure sb_figure_of(double value)
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

struct sb_figure sb_figure_torque(double torque_nm, const char *lowest, const char *highest)
{
  struct sb_figure out;
  if (isinf(torque_nm)) {
    snprintf(out.text, sizeof out.text, "%.24s", torque_nm < 0.0 ? lowest : highest);
  } else {
    snprintf(out.text, sizeof out.text, "%.24s N.m", sb_figure_of(torque_nm).text);
  }
  return out;
}

struct sb_figure sb_figure_percent_by(double (*rounded)(double), double fraction)
{
  const double slack = rounded == ceil ? -1e-9 : rounded == floor ? 1e-9 : 0.0;
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.1f %%", rounded(1000.0 * fraction + slack) / 10.0 + 0.0); /* no -0.0 */
  return out;
}

struct sb_figure sb_figure_percent(double fraction)
{
  return sb_figure_percent_by(round, fraction);
}

struct sb_figure sb_figure_threshold(double fraction)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.6g %%", 100.0 * fraction);
  return out;
}

int sb_check_columns(const char *word, size_t length)
{
  int columns = 0;
  for (size_t k = 0; k < length; k++) columns += ((unsigned char)word[k] & 0xC0) != 0x80;
  return columns;
}

void sb_check_say(FILE *out, const char *format, ...)
{
  char text[SENTENCE_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);

  int column = 1;
  fputc(' ', out);
  for (const char *word = text; *word != 0;) {
    const size_t length = strcspn(word, " ");
    const int columns = sb_check_columns(word, length);
    if (column + 1 + columns > WIDTH) {
      fputs("\n   ", out);
      column = 3;
    }
    fprintf(out, " %.*s", (int)length, word);
    column += 1 + columns;
    word += length;
    word += strspn(word, " ");
  }
  fputc('\n', out);
}

void sb_check_cell(FILE *out, int width, const char *format, ...)
{
  char text[SENTENCE_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  const int fill = width - sb_check_columns(text, strlen(text));
  fprintf(out, "%s%*s", text, fill > 1 ? fill : 1, "");
}
