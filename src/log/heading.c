// SPDX-License-Identifier: GPL-3.0-or-later
#include "log/heading.h"

#include <stdio.h>
#include <string.h>

static const struct {
  const char *name;
  enum sb_quantity quantity;
} columns[SB_FIT_COLUMN_COUNT] = {
#define COLUMN_ROW(column, text, kind) [column] = {text, kind},
    SB_FIT_COLUMN_LIST(COLUMN_ROW)
#undef COLUMN_ROW
};

/* Names that a trace of this program has for the same things. */
static const struct {
  const char *name;
  enum sb_fit_column column;
} aliases[] = {
    {"motor_speed", SB_FIT_SPEED},
    {"motor_current", SB_FIT_CURRENT},
    {"supply_voltage", SB_FIT_VOLTAGE},
    {"duty_fraction", SB_FIT_DUTY},
};

/* Units as a name's ending. */
static const struct {
  const char *ending, *unit;
} endings[] = {
    {"s", "s"},          {"ms", "ms"},       {"us", "us"},       {"min", "min"},      {"rpm", "rpm"},
    {"rad_s", "rad/s"},  {"deg_s", "deg/s"}, {"rev_s", "rev/s"}, {"rps", "rev/s"},    {"v", "V"},
    {"mv", "mV"},        {"a", "A"},         {"ma", "mA"},       {"pct", "%"},        {"nm", "N.m"},
    {"mnm", "mN.m"},     {"ncm", "N.cm"},    {"gfcm", "gf.cm"},  {"kgfcm", "kgf.cm"}, {"ozfin", "ozf.in"},
    {"lbfin", "lbf.in"}, {"n", "N"},         {"mn", "mN"},       {"gf", "gf"},        {"kgf", "kgf"},
    {"ozf", "ozf"},      {"lbf", "lbf"},     {"g", "g"},         {"kg", "kg"},        {"kgm2", "kg.m2"},
    {"kg_m2", "kg.m2"},  {"gcm2", "g.cm2"},  {"g_cm2", "g.cm2"}, {"kgcm2", "kg.cm2"},
};

const char *sb_fit_column_name(enum sb_fit_column column)
{
  return columns[column].name;
}

enum sb_quantity sb_fit_column_quantity(enum sb_fit_column column)
{
  return columns[column].quantity;
}

static bool is_word(const char *text, size_t length, const char *word)
{
  return strlen(word) == length && strncmp(text, word, length) == 0;
}

static int find_column(const char *text, size_t length)
{
  for (int c = 0; c < SB_FIT_COLUMN_COUNT; c++) {
    if (is_word(text, length, columns[c].name)) return c;
  }
  for (size_t k = 0; k < sizeof aliases / sizeof *aliases; k++) {
    if (is_word(text, length, aliases[k].name)) return (int)aliases[k].column;
  }
  return -1;
}

static void set_unit(struct sb_log_heading *heading, const char *text, size_t length)
{
  struct sb_unit unit;
  snprintf(heading->unit, sizeof heading->unit, "%.*s", length < sizeof heading->unit ? (int)length : 39, text);
  const enum sb_quantity quantity = columns[heading->column].quantity;
  heading->has_unit = sb_unit_parse(heading->unit, &unit) && sb_unit_fits(&unit, quantity);
  heading->is_unit_unknown = !heading->has_unit;
  if (heading->has_unit) heading->scale = unit.multiplier / unit.divisor;
}

/* "speed [rpm]", "speed (rpm)" or "speed_rpm"; a column of 0 or more where it is one. */
static struct sb_log_heading split_name(const char *name)
{
  struct sb_log_heading heading = {.column = -1, .scale = 1.0};
  const size_t length = strlen(name);
  const char *open = strpbrk(name, "[(");
  if (open != NULL && length > 0 && (name[length - 1] == ']' || name[length - 1] == ')')) {
    size_t base = (size_t)(open - name);
    while (base > 0 && name[base - 1] == ' ') base--;
    heading.column = find_column(name, base);
    if (heading.column >= 0) set_unit(&heading, open + 1, (size_t)(name + length - 1 - open - 1));
    return heading;
  }
  heading.column = find_column(name, length);
  for (size_t k = 0; heading.column < 0 && k < sizeof endings / sizeof *endings; k++) {
    const size_t ending = strlen(endings[k].ending);
    if (length < ending + 2 || name[length - ending - 1] != '_') continue;
    if (strcmp(name + length - ending, endings[k].ending) != 0) continue;
    heading.column = find_column(name, length - ending - 1);
    if (heading.column >= 0) set_unit(&heading, endings[k].unit, strlen(endings[k].unit));
  }
  return heading;
}

/* The text of the last fact about a name, or NULL. */
static const char *find_fact(const struct sb_fit_fact *facts, size_t count, const char *name)
{
  for (size_t k = count; k > 0; k--) {
    if (facts[k - 1].name != NULL && strcmp(facts[k - 1].name, name) == 0) return facts[k - 1].text;
  }
  return NULL;
}

/* A quantity that was said to be in another column is in that one only. */
static void apply_renames(struct sb_log_heading *heading, const char *name, const struct sb_fit_log_options *options)
{
  const char *found = NULL;
  for (size_t k = 0; k < options->rename_count; k++) {
    if (strcmp(options->renames[k].text, name) == 0) found = options->renames[k].name;
  }
  if (found != NULL) {
    const int column = find_column(found, strlen(found));
    if (column != heading->column) *heading = (struct sb_log_heading){.column = column, .scale = 1.0};
  } else if (heading->column >= 0 &&
             find_fact(options->renames, options->rename_count, columns[heading->column].name) != NULL) {
    heading->column = -1;
  }
}

struct sb_log_heading sb_log_heading_read(const char *name, const struct sb_fit_log_options *options)
{
  struct sb_log_heading heading = split_name(name);
  apply_renames(&heading, name, options);
  if (heading.column < 0) return heading;
  const char *unit = find_fact(options->units, options->unit_count, name);
  if (unit == NULL) unit = find_fact(options->units, options->unit_count, columns[heading.column].name);
  if (unit != NULL) set_unit(&heading, unit, strlen(unit));
  /* A gear is a number, and a trace gives the duty as a plain fraction. */
  if (heading.column == SB_FIT_GEAR || strcmp(name, "duty_fraction") == 0) heading.has_unit = true;
  return heading;
}
