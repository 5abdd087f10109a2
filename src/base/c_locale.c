// SPDX-License-Identifier: GPL-3.0-or-later
#define SB_C_LOCALE_IS_ITSELF
#include "base/c_locale.h"

#include <locale.h>
#include <pthread.h>

static pthread_once_t once = PTHREAD_ONCE_INIT;
static locale_t c_locale; /* 0: there was no memory for it, and the caller's stays in force */

static void make_locale(void)
{
  c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

/* Returns what leave() needs. */
static locale_t enter(void)
{
  pthread_once(&once, make_locale);
  return uselocale(c_locale);
}

static void leave(locale_t before)
{
  uselocale(before);
}

int sb_c_locale_vfprintf(FILE *out, const char *format, va_list arguments)
{
  const locale_t before = enter();
  const int count = vfprintf(out, format, arguments);
  leave(before);
  return count;
}

int sb_c_locale_fprintf(FILE *out, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  const int count = sb_c_locale_vfprintf(out, format, arguments);
  va_end(arguments);
  return count;
}

int sb_c_locale_vsnprintf(char *text, size_t size, const char *format, va_list arguments)
{
  const locale_t before = enter();
  const int count = vsnprintf(text, size, format, arguments);
  leave(before);
  return count;
}

int sb_c_locale_snprintf(char *text, size_t size, const char *format, ...)
{
  va_list arguments;
  va_start(arguments, format);
  const int count = sb_c_locale_vsnprintf(text, size, format, arguments);
  va_end(arguments);
  return count;
}

int sb_c_locale_sscanf(const char *text, const char *format, ...)
{
  va_list arguments;
  const locale_t before = enter();
  va_start(arguments, format);
  const int count = vsscanf(text, format, arguments);
  va_end(arguments);
  leave(before);
  return count;
}

double sb_c_locale_strtod(const char *text, char **end)
{
  const locale_t before = enter();
  const double value = strtod(text, end);
  leave(before);
  return value;
}

static int is_between(int c, char first, char last)
{
  return c >= first && c <= last;
}

int sb_c_locale_isalpha(int c)
{
  return is_between(c, 'a', 'z') || is_between(c, 'A', 'Z');
}

int sb_c_locale_isalnum(int c)
{
  return sb_c_locale_isalpha(c) || is_between(c, '0', '9');
}

int sb_c_locale_toupper(int c)
{
  return is_between(c, 'a', 'z') ? c - 'a' + 'A' : c;
}

int sb_c_locale_tolower(int c)
{
  return is_between(c, 'A', 'Z') ? c - 'A' + 'a' : c;
}

int sb_c_locale_strcasecmp(const char *a, const char *b)
{
  while (*a != 0 && sb_c_locale_tolower((unsigned char)*a) == sb_c_locale_tolower((unsigned char)*b)) {
    a++;
    b++;
  }
  return sb_c_locale_tolower((unsigned char)*a) - sb_c_locale_tolower((unsigned char)*b);
}
