// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * c_locale.h - numbers are written and read with a decimal point, whatever locale the caller has set.
 *
 * The Makefile includes this header before each file of the library (`-include`), so that no call can be left out: the names
 * of the C library's functions lead to the ones below, which switch this thread to the C locale for the length of the call.
 * `make symbols` refuses an object that calls one of the C library's functions by itself.
 */
#ifndef SHIFTBAND_BASE_C_LOCALE_H
#define SHIFTBAND_BASE_C_LOCALE_H

#include <ctype.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <strings.h>

int sb_c_locale_fprintf(FILE *out, const char *format, ...) __attribute__((format(printf, 2, 3)));
int sb_c_locale_vfprintf(FILE *out, const char *format, va_list arguments) __attribute__((format(printf, 2, 0)));
int sb_c_locale_snprintf(char *text, size_t size, const char *format, ...) __attribute__((format(printf, 3, 4)));
int sb_c_locale_vsnprintf(char *text, size_t size, const char *format, va_list arguments)
    __attribute__((format(printf, 3, 0)));
int sb_c_locale_sscanf(const char *text, const char *format, ...) __attribute__((format(scanf, 2, 3)));
double sb_c_locale_strtod(const char *text, char **end);

/* Letters of ASCII alone, as names in C and units have them. */
int sb_c_locale_isalpha(int c);
int sb_c_locale_isalnum(int c);
int sb_c_locale_toupper(int c);
int sb_c_locale_tolower(int c);
int sb_c_locale_strcasecmp(const char *a, const char *b);

#ifndef SB_C_LOCALE_IS_ITSELF /* c_locale.c, which the Makefile leaves out */
#undef isalpha
#undef isalnum
#undef toupper
#undef tolower
#define fprintf sb_c_locale_fprintf
#define vfprintf sb_c_locale_vfprintf
#define snprintf sb_c_locale_snprintf
#define vsnprintf sb_c_locale_vsnprintf
#define sscanf sb_c_locale_sscanf
#define strtod sb_c_locale_strtod
#define isalpha sb_c_locale_isalpha
#define isalnum sb_c_locale_isalnum
#define toupper sb_c_locale_toupper
#define tolower sb_c_locale_tolower
#define strcasecmp sb_c_locale_strcasecmp
#endif

#endif
