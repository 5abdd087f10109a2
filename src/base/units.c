// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/units.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "base/nearest.h"
#include "base/unit_pattern.h"

#define KELVIN_AT_0_C 273.15

enum { FACTOR_MAX = 16 /* factors in one unit expression: bounds the exponents */, UNIT_SIZE = 64 };

struct quantity_info {
  const char *words, *units, *si;
  struct sb_dimension dimension;
  bool does_angle_count;
};

static const struct quantity_info quantities[SB_QUANTITY_COUNT] = {
#define QUANTITY_ROW(name, words, units, si, m, kg, s, a, k, angle, counts) \
  [name] = {words, units, si, {m, kg, s, a, k, angle}, counts},
    SB_QUANTITY_LIST(QUANTITY_ROW)
#undef QUANTITY_ROW
};

struct symbol {
  const char *name;
  double multiplier, divisor;
  struct sb_dimension dimension; /* m kg s A K angle */
  bool takes_prefix;
};

static const struct symbol symbols[] = {
    {"m", 1, 1, {1, 0, 0, 0, 0, 0}, true},
    {"g", 1, 1000, {0, 1, 0, 0, 0, 0}, true},
    {"s", 1, 1, {0, 0, 1, 0, 0, 0}, true},
    {"A", 1, 1, {0, 0, 0, 1, 0, 0}, true},
    {"K", 1, 1, {0, 0, 0, 0, 1, 0}, true},
    {"rad", 1, 1, {0, 0, 0, 0, 0, 1}, true},
    {"deg", SB_PI, 180, {0, 0, 0, 0, 0, 1}, false},
    {"rev", 2 * SB_PI, 1, {0, 0, 0, 0, 0, 1}, false},
    {"turn", 2 * SB_PI, 1, {0, 0, 0, 0, 0, 1}, false},
    {"turns", 2 * SB_PI, 1, {0, 0, 0, 0, 0, 1}, false},
    {"r", 2 * SB_PI, 1, {0, 0, 0, 0, 0, 1}, false}, /* as in r/min */
    {"rpm", 2 * SB_PI, 60, {0, 0, -1, 0, 0, 1}, false},
    {"Hz", 1, 1, {0, 0, -1, 0, 0, 0}, true},
    {"min", 60, 1, {0, 0, 1, 0, 0, 0}, false},
    {"h", 3600, 1, {0, 0, 1, 0, 0, 0}, false},
    {"in", 254, 10000, {1, 0, 0, 0, 0, 0}, false},
    {"ft", 3048, 10000, {1, 0, 0, 0, 0, 0}, false},
    {"lb", 45359237, 100000000, {0, 1, 0, 0, 0, 0}, false},
    {"oz", 45359237, 1600000000, {0, 1, 0, 0, 0, 0}, false},
    {"N", 1, 1, {1, 1, -2, 0, 0, 0}, true},
    {"kgf", 980665, 100000, {1, 1, -2, 0, 0, 0}, false},
    {"gf", 980665, 100000000, {1, 1, -2, 0, 0, 0}, false},
    {"lbf", 4.4482216152605, 1, {1, 1, -2, 0, 0, 0}, false},
    {"ozf", 4.4482216152605, 16, {1, 1, -2, 0, 0, 0}, false},
    {"Pa", 1, 1, {-1, 1, -2, 0, 0, 0}, true},
    {"psi", 44482216152605, 6451600000, {-1, 1, -2, 0, 0, 0}, false}, /* lbf/in2 */
    {"J", 1, 1, {2, 1, -2, 0, 0, 0}, true},
    {"W", 1, 1, {2, 1, -3, 0, 0, 0}, true},
    {"Wh", 3600, 1, {2, 1, -2, 0, 0, 0}, true},
    {"V", 1, 1, {2, 1, -3, -1, 0, 0}, true},
    {"ohm", 1, 1, {2, 1, -3, -2, 0, 0}, true},
    {"\xce\xa9", 1, 1, {2, 1, -3, -2, 0, 0}, true},     /* U+03A9 greek capital omega */
    {"\xe2\x84\xa6", 1, 1, {2, 1, -3, -2, 0, 0}, true}, /* U+2126 ohm sign */
    {"C", 1, 1, {0, 0, 1, 1, 0, 0}, true},
    {"Ah", 3600, 1, {0, 0, 1, 1, 0, 0}, true},
    {"%", 1, 100, {0, 0, 0, 0, 0, 0}, false},
};

bool sb_units_symbol_at(size_t index, struct sb_unit_symbol *out)
{
  if (index >= sizeof symbols / sizeof *symbols) return false;
  const struct symbol *symbol = &symbols[index];
  *out = (struct sb_unit_symbol){symbol->name, symbol->dimension, symbol->takes_prefix};
  return true;
}

struct prefix {
  const char *name;
  double multiplier, divisor;
};

static const struct prefix prefixes[] = {
    {"G", 1e9, 1}, {"M", 1e6, 1}, {"k", 1e3, 1},        {"c", 1, 1e2},        {"m", 1, 1e3},
    {"u", 1, 1e6}, {"n", 1, 1e9}, {"\xc2\xb5", 1, 1e6}, {"\xce\xbc", 1, 1e6}, /* the micro sign and the greek mu */
};

const char *sb_units_words(enum sb_quantity quantity)
{
  return quantities[quantity].words;
}

const char *sb_units_offered(enum sb_quantity quantity)
{
  return quantities[quantity].units;
}

const char *sb_units_si(enum sb_quantity quantity)
{
  return quantities[quantity].si;
}

static const char *skip_digits(const char *p)
{
  while (*p >= '0' && *p <= '9') p++;
  return p;
}

static const char *skip_spaces(const char *p)
{
  while (*p == ' ' || *p == '\t' || *p == '\n' || *p == '\r') p++;
  return p;
}

const char *sb_units_parse_number(const char *text, double *value)
{
  const char *p = text;
  if (*p == '+' || *p == '-') p++;
  const char *whole = p;
  p = skip_digits(p);
  long digits = (long)(p - whole);
  if (*p == '.' && p[1] != '.') { /* two points make a range */
    const char *fraction = p + 1;
    p = skip_digits(fraction);
    digits += (long)(p - fraction);
  }
  if (digits == 0) return NULL;

  /* An `e` belongs to the number only with digits behind it. */
  if (*p == 'e' || *p == 'E') {
    const char *exponent = p + 1;
    if (*exponent == '+' || *exponent == '-') exponent++;
    if (skip_digits(exponent) > exponent) p = skip_digits(exponent);
  }

  /* Copied out, because strtod reads more than is allowed here: 0x10, or the first point of 9..12. */
  char buffer[64];
  const size_t length = (size_t)(p - text);
  char *end = NULL;
  double number;
  if (length < sizeof buffer) {
    memcpy(buffer, text, length);
    buffer[length] = 0;
    number = strtod(buffer, &end);
    if (end != buffer + length) return NULL;
  } else {
    number = strtod(text, &end);
    if (end != p) return NULL;
  }
  if (!isfinite(number)) return NULL;
  *value = number;
  return p;
}

static bool starts_with(const char *text, const char *end, const char *start)
{
  const size_t length = strlen(start);
  return (size_t)(end - text) >= length && memcmp(text, start, length) == 0;
}

static const struct symbol *find_symbol(const char *name, const char *end)
{
  for (size_t i = 0; i < sizeof symbols / sizeof *symbols; i++) {
    if (starts_with(name, end, symbols[i].name) && strlen(symbols[i].name) == (size_t)(end - name)) return &symbols[i];
  }
  return NULL;
}

/* The symbol from name to end, with or without a prefix: a symbol of its own (min, kgf) comes before a prefixed one. */
static bool read_symbol(const char *name, const char *end, struct sb_unit *unit)
{
  const struct symbol *symbol = find_symbol(name, end);
  if (symbol != NULL) {
    *unit = (struct sb_unit){symbol->multiplier, symbol->divisor, symbol->dimension};
    return true;
  }
  for (size_t i = 0; i < sizeof prefixes / sizeof *prefixes; i++) {
    const struct prefix *prefix = &prefixes[i];
    if (!starts_with(name, end, prefix->name)) continue;
    symbol = find_symbol(name + strlen(prefix->name), end);
    if (symbol == NULL || !symbol->takes_prefix) continue;
    *unit =
        (struct sb_unit){symbol->multiplier * prefix->multiplier, symbol->divisor * prefix->divisor, symbol->dimension};
    return true;
  }
  return false;
}

/* Multiplies a product by a unit to the power of exponent, which may be negative. */
static void multiply(struct sb_unit *product, const struct sb_unit *unit, int exponent)
{
  for (int i = 0; i < abs(exponent); i++) {
    product->multiplier *= exponent > 0 ? unit->multiplier : unit->divisor;
    product->divisor *= exponent > 0 ? unit->divisor : unit->multiplier;
  }
  struct sb_dimension *d = &product->dimension;
  d->metre += exponent * unit->dimension.metre;
  d->kilogram += exponent * unit->dimension.kilogram;
  d->second += exponent * unit->dimension.second;
  d->ampere += exponent * unit->dimension.ampere;
  d->kelvin += exponent * unit->dimension.kelvin;
  d->angle += exponent * unit->dimension.angle;
}

/* An exponent: a digit, with or without ^ and a minus, or a raised two or three; 1 when there is none. */
static const char *read_exponent(const char *p, int *exponent)
{
  *exponent = 1;
  const char *end = p + strlen(p);
  if (starts_with(p, end, "\xc2\xb2") || starts_with(p, end, "\xc2\xb3")) {
    *exponent = p[1] == '\xb2' ? 2 : 3;
    return p + 2;
  }
  const bool has_caret = *p == '^';
  const char *digit = has_caret ? p + 1 : p;
  const bool is_negative = *digit == '-';
  if (is_negative) digit++;
  if (*digit >= '1' && *digit <= '9') {
    *exponent = is_negative ? -(*digit - '0') : *digit - '0';
    return digit + 1;
  }
  return has_caret ? NULL : p; /* a minus without a digit is a hyphen, as in oz-in */
}

static bool has_dimension(const struct sb_dimension *a, const struct sb_dimension *b, bool does_angle_count)
{
  return a->metre == b->metre && a->kilogram == b->kilogram && a->second == b->second && a->ampere == b->ampere &&
         a->kelvin == b->kelvin && (!does_angle_count || a->angle == b->angle);
}

static bool is_length(const char *name, const char *end)
{
  static const struct sb_dimension length = {1, 0, 0, 0, 0, 0};
  struct sb_unit unit;
  return name < end && read_symbol(name, end, &unit) && has_dimension(&unit.dimension, &length, true);
}

/* A force, or a mass for its weight, and a length written together: Nm, mNm, kgcm; not gm, which many write for grams. No
 * exponent may follow: it could belong to the one or to both. */
static bool read_together(const char *name, const char *end, struct sb_unit *unit)
{
  for (const char *middle = name + 1; middle < end; middle++) {
    struct sb_unit first, second;
    if (!is_length(middle, end) || !read_symbol(name, middle, &first) || first.dimension.kilogram != 1) continue;
    if (first.dimension.metre == 0 && end - middle == 1) continue;
    read_symbol(middle, end, &second);
    multiply(&first, &second, 1);
    *unit = first;
    return true;
  }
  return false;
}

/* The end of a symbol: where a sign, a digit or a space follows. */
static const char *symbol_end(const char *p)
{
  while (*p != 0 && strchr("./^*-123456789 \t", *p) == NULL && strncmp(p, "\xc2\xb7", 2) != 0 &&
         strncmp(p, "\xc2\xb2", 2) != 0 && strncmp(p, "\xc2\xb3", 2) != 0) {
    p++;
  }
  return p;
}

static const char *read_factor(const char *p, bool is_divisor, struct sb_unit *product)
{
  if (*p == '1' && p[1] == '/') return p + 1; /* as in 1/s */
  struct sb_unit unit;
  const char *end = symbol_end(p);
  const bool is_one = end > p && read_symbol(p, end, &unit);
  if (!is_one && (end == p || !read_together(p, end, &unit))) return NULL;
  int exponent;
  end = read_exponent(end, &exponent);
  if (end == NULL || (!is_one && exponent != 1)) return NULL;
  multiply(product, &unit, is_divisor ? -exponent : exponent);
  return end;
}

/* Behind the sign of a product or a quotient, which a space can be, too; NULL where none is. */
static const char *read_sign(const char *p, bool *is_divisor)
{
  *is_divisor = *p == '/';
  if (*p == ' ') return p + strspn(p, " ");
  if (*p != 0 && strchr("./*-", *p) != NULL) return p + 1;
  return strncmp(p, "\xc2\xb7", 2) == 0 ? p + 2 : NULL;
}

bool sb_units_parse_unit(const char *text, struct sb_unit *unit)
{
  struct sb_unit product = {.multiplier = 1.0, .divisor = 1.0};
  bool is_divisor = *text == '/'; /* /K is 1/K */
  const char *p = is_divisor ? text + 1 : text;
  for (int factors = 0; factors < FACTOR_MAX; factors++) {
    p = read_factor(p, is_divisor, &product);
    if (p == NULL) return false;
    if (*p == 0) {
      *unit = product;
      return isfinite(product.multiplier / product.divisor) && product.multiplier / product.divisor > 0.0;
    }
    const bool was_divisor = is_divisor;
    p = read_sign(p, &is_divisor);
    if (p == NULL || (was_divisor && !is_divisor)) return false; /* a/b.c reads both ways */
  }
  return false;
}

static bool does_fit(const struct sb_unit *unit, enum sb_quantity quantity)
{
  const struct quantity_info *info = &quantities[quantity];
  return has_dimension(&unit->dimension, &info->dimension, info->does_angle_count);
}

/* What a key wants: one quantity, or one of two. */
struct want {
  enum sb_quantity first, second;
};

static enum sb_status refuse(const struct want *want, struct sb_error *err, const char *text, const char *why)
{
  const struct quantity_info *first = &quantities[want->first], *second = &quantities[want->second];
  const bool is_empty = *text == 0;
  if (first == second) {
    return sb_fail(err, SB_ERR_SCENARIO, "needs %s (%s), found %s%s", first->words, first->units,
                   is_empty ? "nothing" : sb_fail_quote(text).text, why);
  }
  return sb_fail(err, SB_ERR_SCENARIO, "needs %s (%s) or %s (%s), found %s%s", first->words, first->units,
                 second->words, second->units, is_empty ? "nothing" : sb_fail_quote(text).text, why);
}

/* The units that a quantity offers, each a text of its own. */
struct offers {
  char text[160];
  const char *units[16];
  size_t count;
};

static void add_offers(struct offers *offers, enum sb_quantity quantity)
{
  const size_t used = offers->count > 0 ? (size_t)(strchr(offers->units[offers->count - 1], 0) - offers->text) + 1 : 0;
  if (quantity == SB_RATIO) return; /* its units are words */
  snprintf(offers->text + used, sizeof offers->text - used, "%s", quantities[quantity].units);
  char *next = NULL; /* strtok() would be shared by threads */
  for (char *unit = strtok_r(offers->text + used, ", ", &next); unit != NULL; unit = strtok_r(NULL, ", ", &next)) {
    offers->units[offers->count++] = unit;
  }
}

/* What was meant, where a unit is written nearly so; else "". */
static struct sb_nearest nearest_unit(const struct want *want, const char *unit_text)
{
  struct offers offers = {.count = 0};
  add_offers(&offers, want->first);
  if (want->second != want->first) add_offers(&offers, want->second);
  struct sb_nearest hint = sb_nearest_hint(unit_text, offers.units);
  for (size_t k = 0; hint.text[0] == 0 && k < offers.count; k++) {
    const bool is_same = sb_nearest_is_same(unit_text, offers.units[k]);
    if (is_same) snprintf(hint.text, sizeof hint.text, ", nearest is \"%s\"", offers.units[k]);
  }
  return hint;
}

/* The kind of quantity that a unit measures, which is not the one that is wanted. */
static const char *other_kind(const struct sb_unit *unit)
{
  for (int i = SB_PERCENT; i < SB_QUANTITY_COUNT; i++) {
    if (has_dimension(&unit->dimension, &quantities[i].dimension, quantities[i].does_angle_count)) {
      return quantities[i].words;
    }
  }
  return NULL;
}

static enum sb_status refuse_unit(const struct want *want, struct sb_error *err, const char *text,
                                  const char *unit_text)
{
  char why[320];
  struct sb_unit unit;
  if (*unit_text == 0) {
    snprintf(why, sizeof why, ", a bare number without its unit");
  } else if (*unit_text == ',') {
    snprintf(why, sizeof why, " with a decimal comma; write a point");
  } else if (!sb_units_parse_unit(unit_text, &unit)) {
    snprintf(why, sizeof why, " with the unknown unit %s%s", sb_fail_quote(unit_text).text,
             nearest_unit(want, unit_text).text);
  } else if (other_kind(&unit) != NULL) {
    snprintf(why, sizeof why, ", which is %s", other_kind(&unit));
  } else {
    snprintf(why, sizeof why, ", another kind of quantity%s", nearest_unit(want, unit_text).text);
  }
  return refuse(want, err, text, why);
}

/* The unit with the weight of a mass in place of the mass: kgf.cm for kg.cm. False when there is no such mass. */
static bool put_weight(const char *unit_text, char *out, size_t size)
{
  static const char *const masses[] = {"kg", "g", "oz", "lb"};
  bool is_put = false;
  out[0] = 0;
  for (const char *p = unit_text; *p != 0;) {
    const char *end = symbol_end(p), *rest = p;
    for (size_t k = 0; rest == p && k < sizeof masses / sizeof *masses; k++) {
      const char *behind = p + strlen(masses[k]);
      if (starts_with(p, end, masses[k]) && (behind == end || (is_length(behind, end) && end - behind > 1)))
        rest = behind;
    }
    if (rest > p) sb_fail_add(out, size, "%.*sf%s", (int)(rest - p), p, rest < end ? "." : "");
    is_put |= rest > p;
    if (end == p) end++; /* a sign or a digit, a byte of it at a time */
    sb_fail_add(out, size, "%.*s", (int)(end - rest), rest);
    p = end;
  }
  return is_put;
}

/* Nobody counts radians by the minute. */
static bool is_turns_by_minute(const struct sb_unit *unit, enum sb_quantity quantity)
{
  static const struct sb_dimension frequency = {0, 0, -1, 0, 0, 0};
  return quantity == SB_SPEED && has_dimension(&unit->dimension, &frequency, true) && unit->multiplier == 1.0 &&
         unit->divisor == 60.0;
}

bool sb_units_parse_unit_of(const char *text, enum sb_quantity quantity, struct sb_unit *unit)
{
  struct sb_unit found;
  if (!sb_units_parse_unit(text, &found)) return false;
  if (is_turns_by_minute(&found, quantity)) return sb_units_parse_unit("rpm", unit);
  const bool is_fit = does_fit(&found, quantity);
  if (is_fit) *unit = found;
  return is_fit;
}

/* The weight of a mass by a length, where only a torque can be meant; *renewed is its unit. */
static bool read_weight(const char *unit_text, enum sb_quantity wanted, struct sb_unit *unit, char *renewed,
                        size_t size)
{
  return wanted == SB_TORQUE && put_weight(unit_text, renewed, size) && sb_units_parse_unit_of(renewed, wanted, unit);
}

static bool is_celsius(const char *unit_text)
{
  return strcmp(unit_text, "C") == 0 || strcmp(unit_text, "degC") == 0 ||
         strcmp(unit_text, "\xc2\xb0"
                           "C") == 0;
}

/* What a unit text stands for under a wanted quantity: number * multiplier / divisor - offset. */
static bool read_unit(const char *unit_text, enum sb_quantity wanted, struct sb_unit *unit, double *offset)
{
  *offset = 0.0;
  if (wanted == SB_TEMPERATURE && is_celsius(unit_text)) {
    *unit = (struct sb_unit){.multiplier = 1.0, .divisor = 1.0};
    return true;
  }
  if (*unit_text == 0) {
    *unit = (struct sb_unit){.multiplier = 1.0, .divisor = 1.0};
    return wanted == SB_RATIO;
  }
  char renewed[UNIT_SIZE];
  if (wanted == SB_TEMPERATURE) *offset = KELVIN_AT_0_C;
  return sb_units_parse_unit_of(unit_text, wanted, unit) ||
         read_weight(unit_text, wanted, unit, renewed, sizeof renewed);
}

/* Copies the unit behind the number without the spaces around it; false when it is far too long to be one. */
static bool copy_unit(const char *p, char *unit_text, size_t size)
{
  p = skip_spaces(p);
  size_t length = strlen(p);
  while (length > 0 && (p[length - 1] == ' ' || p[length - 1] == '\n' || p[length - 1] == '\r')) length--;
  snprintf(unit_text, size, "%.*s", (int)length, p);
  return length < size;
}

static enum sb_status parse_with_unit(const char *text, const struct want *want, bool is_difference, double *value,
                                      enum sb_quantity *found, struct sb_error *err)
{
  double number;
  char unit_text[UNIT_SIZE];
  const char *end = sb_units_parse_number(skip_spaces(text), &number);
  if (end == NULL) return refuse(want, err, text, "");
  if (!copy_unit(end, unit_text, sizeof unit_text)) return refuse_unit(want, err, text, unit_text);

  const enum sb_quantity wanted[2] = {want->first, want->second};
  for (int i = 0; i < 2; i++) {
    struct sb_unit unit;
    double offset;
    if (!read_unit(unit_text, wanted[i], &unit, &offset)) continue;
    const double si = number * unit.multiplier / unit.divisor - (is_difference ? 0.0 : offset);
    if (!isfinite(si)) return refuse(want, err, text, ", too large a number");
    *value = si;
    *found = wanted[i];
    return SB_OK;
  }
  return refuse_unit(want, err, text, unit_text);
}

enum sb_status sb_units_parse(const char *text, enum sb_quantity wanted, double *value, struct sb_error *err)
{
  enum sb_quantity found;
  const struct want want = {wanted, wanted};
  return parse_with_unit(text, &want, false, value, &found, err);
}

enum sb_status sb_units_parse_either(const char *text, enum sb_quantity first, enum sb_quantity second, double *value,
                                     enum sb_quantity *found, struct sb_error *err)
{
  const struct want want = {first, second};
  return parse_with_unit(text, &want, false, value, found, err);
}

bool sb_units_taken_as(const char *text, enum sb_quantity wanted, struct sb_unit_text *out)
{
  double number;
  char unit_text[UNIT_SIZE];
  struct sb_unit unit;
  const char *end = sb_units_parse_number(skip_spaces(text), &number);
  if (end != NULL && strncmp(end, "..", 2) == 0) end = sb_units_parse_number(end + 2, &number);
  if (wanted != SB_TORQUE || end == NULL || !copy_unit(end, unit_text, sizeof unit_text)) return false;
  if (sb_units_parse_unit_of(unit_text, wanted, &unit)) return false;
  return read_weight(unit_text, wanted, &unit, out->text, sizeof out->text);
}

enum sb_status sb_units_parse_difference(const char *text, enum sb_quantity wanted, double *value, struct sb_error *err)
{
  enum sb_quantity found;
  const struct want want = {wanted, wanted};
  return parse_with_unit(text, &want, true, value, &found, err);
}

enum sb_status sb_units_parse_range(const char *text, enum sb_quantity wanted, double *least, double *greatest,
                                    struct sb_error *err)
{
  const struct want want = {wanted, wanted};
  double low = 0.0, high = 0.0;
  char unit_text[UNIT_SIZE];
  const char *end = sb_units_parse_number(skip_spaces(text), &low);
  if (end == NULL || strncmp(end, "..", 2) != 0) return refuse(&want, err, text, ", no range such as 9.6..12.6");
  end = sb_units_parse_number(end + 2, &high);
  if (end == NULL) return refuse(&want, err, text, ", no range such as 9.6..12.6");
  if (high < low) return refuse(&want, err, text, ", a range that runs backwards");
  struct sb_unit unit;
  double offset;
  if (!copy_unit(end, unit_text, sizeof unit_text) || !read_unit(unit_text, wanted, &unit, &offset)) {
    return refuse_unit(&want, err, text, unit_text);
  }
  low = low * unit.multiplier / unit.divisor - offset;
  high = high * unit.multiplier / unit.divisor - offset;
  if (!isfinite(low) || !isfinite(high)) return refuse(&want, err, text, ", too large a number");
  *least = low;
  *greatest = high;
  return SB_OK;
}
