// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/csv_columns.h"

#include <stdio.h>
#include <string.h>

/* Units as a name's ending. */
static const struct {
  const char *ending, *unit;
} endings[] = {
    {"s", "s"},          {"ms", "ms"},        {"us", "us"},       {"min", "min"},     {"h", "h"},
    {"rpm", "rpm"},      {"rad_s", "rad/s"},  {"deg_s", "deg/s"}, {"rev_s", "rev/s"}, {"rps", "rev/s"},
    {"v", "V"},          {"mv", "mV"},        {"a", "A"},         {"ma", "mA"},       {"pct", "%"},
    {"nm", "N.m"},       {"mnm", "mN.m"},     {"ncm", "N.cm"},    {"gfcm", "gf.cm"},  {"kgfcm", "kgf.cm"},
    {"ozfin", "ozf.in"}, {"lbfin", "lbf.in"}, {"n", "N"},         {"mn", "mN"},       {"gf", "gf"},
    {"kgf", "kgf"},      {"ozf", "ozf"},      {"lbf", "lbf"},     {"g", "g"},         {"kg", "kg"},
    {"kgm2", "kg.m2"},   {"kg_m2", "kg.m2"},  {"gcm2", "g.cm2"},  {"g_cm2", "g.cm2"}, {"kgcm2", "kg.cm2"},
    {"m_s", "m/s"},      {"km_h", "km/h"},    {"m", "m"},         {"cm", "cm"},       {"mm", "mm"},
    {"c", "C"},          {"k", "K"},          {"fraction", ""},
};

/* A unit of a quantity: SI value = number * multiplier / divisor + offset. */
struct scale {
  enum { SCALE_NONE, SCALE_KNOWN, SCALE_UNKNOWN } kind;
  char text[40]; /* as given */
  double multiplier, divisor, offset;
};

static struct scale scale_of(const char *text, size_t length, enum sb_quantity kind)
{
  struct scale scale = {.kind = SCALE_KNOWN, .multiplier = 1.0, .divisor = 1.0};
  struct sb_unit unit;
  snprintf(scale.text, sizeof scale.text, "%.*s", length < sizeof scale.text ? (int)length : 39, text);
  const bool is_fraction = scale.text[0] == 0 && (kind == SB_PERCENT || kind == SB_RATIO);
  if (is_fraction || (kind == SB_TEMPERATURE && (strcmp(scale.text, "C") == 0 || strcmp(scale.text, "deg C") == 0))) {
    return scale;
  }
  if (!sb_units_parse_unit_of(scale.text, kind, &unit)) {
    scale.kind = SCALE_UNKNOWN;
    return scale;
  }
  scale.multiplier = unit.multiplier;
  scale.divisor = unit.divisor;
  if (kind == SB_TEMPERATURE) scale.offset = -273.15; /* K */
  return scale;
}

/* The unit in brackets or behind a name's last underscores, of the text behind a name. SCALE_NONE also for other texts. */
static struct scale scale_behind(const char *rest, enum sb_quantity kind)
{
  const size_t length = strlen(rest), lead = strspn(rest, " ");
  if ((rest[lead] == '[' || rest[lead] == '(') && (rest[length - 1] == ']' || rest[length - 1] == ')')) {
    return scale_of(rest + lead + 1, length - lead - 2, kind);
  }
  for (size_t k = 0; rest[0] == '_' && k < sizeof endings / sizeof *endings; k++) {
    if (strcmp(rest + 1, endings[k].ending) == 0) return scale_of(endings[k].unit, strlen(endings[k].unit), kind);
  }
  return (struct scale){.kind = SCALE_NONE};
}

/* Whether a heading is this name, alone or with a unit. */
static bool is_named(const char *heading, const char *name, enum sb_quantity kind, struct scale *scale)
{
  const size_t length = name != NULL ? strlen(name) : 0;
  if (name == NULL || strncmp(heading, name, length) != 0) return false;
  *scale = scale_behind(heading + length, kind);
  return scale->kind != SCALE_NONE || heading[length] == 0;
}

/* Whether a heading is this quantity's, and in which unit. */
static bool is_of(const char *heading, const struct sb_csv_quantity *quantity, struct scale *scale)
{
  if (is_named(heading, quantity->name, quantity->kind, scale) ||
      is_named(heading, quantity->other_name, quantity->kind, scale)) {
    return true;
  }
  if (strcmp(heading, quantity->sample) != 0) return false;
  *scale = scale_of(quantity->unit, strlen(quantity->unit), quantity->kind);
  return true;
}

/* The unit of a column of any name. */
static struct scale scale_in(const char *heading, enum sb_quantity kind)
{
  for (const char *at = strpbrk(heading, "_[("); at != NULL; at = strpbrk(at + 1, "_[(")) {
    const struct scale scale = scale_behind(at, kind);
    if (scale.kind == SCALE_KNOWN) return scale;
  }
  return (struct scale){.kind = SCALE_NONE};
}

int sb_csv_quantity_find(const struct sb_csv_quantity *quantities, int count, const char *heading)
{
  struct scale scale;
  for (int q = 0; q < count; q++) {
    if (is_of(heading, &quantities[q], &scale)) return q;
  }
  return -1;
}

/* The last column that was said to hold the quantity, or NULL; *scale gets the unit that was named with it. */
static const char *renamed(const struct sb_column_facts *facts, const struct sb_csv_quantity *quantity,
                           struct scale *scale)
{
  for (size_t k = facts->rename_count; k-- > 0;) {
    if (is_of(facts->renames[k].name, quantity, scale)) return facts->renames[k].text;
  }
  return NULL;
}

/* The unit that an option gives a column, by its heading or by its quantity. */
static void apply_units(const struct sb_column_facts *facts, const struct sb_csv_quantity *quantity,
                        const char *heading, struct scale *scale)
{
  struct scale named;
  const char *text = NULL;
  for (size_t k = 0; k < facts->unit_count; k++) {
    const struct sb_column_fact *fact = &facts->units[k];
    if (strcmp(fact->name, heading) == 0 || is_of(fact->name, quantity, &named)) text = fact->text;
  }
  if (text != NULL) *scale = scale_of(text, strlen(text), quantity->kind);
}

/* What is to be kept of a number in the column's unit. */
static void set_factor(struct sb_csv_column *column, const struct scale *scale, const struct sb_csv_quantity *quantity,
                       bool is_si)
{
  const struct scale kept = scale_of(quantity->unit, strlen(quantity->unit), quantity->kind);
  column->factor = 1.0;
  column->offset = scale->offset;
  if (scale->kind == SCALE_NONE && !is_si) return;
  const struct scale *from = scale->kind == SCALE_NONE ? &kept : scale;
  column->factor =
      is_si ? from->multiplier / from->divisor : from->multiplier * kept.divisor / (from->divisor * kept.multiplier);
}

/* Takes a heading for a quantity, and tells the fault of its unit, if any. */
static void take(struct sb_csv_reader *csv, const struct sb_csv_wanted *wanted, const struct sb_csv_quantity *quantity,
                 const struct scale *scale, struct sb_csv_column *column)
{
  const struct sb_csv_name *name = &csv->names[column->field];
  char needs[200];
  column->heading = name->text;
  column->place = name->place;
  set_factor(column, scale, quantity, wanted->is_si);
  if (scale->kind == SCALE_UNKNOWN) {
    snprintf(needs, sizeof needs, "a unit of %s (%s)", sb_units_words(quantity->kind),
             sb_units_offered(quantity->kind));
    sb_csv_fault_at(csv, 1, name->place, name->text, needs, sb_fail_quote(scale->text).text);
  } else if (scale->kind == SCALE_NONE && !quantity->needs_no_unit) {
    const char *unit = quantity->unit[0] != 0 ? quantity->unit : "%";
    const int length = snprintf(needs, sizeof needs, "its unit, as in \"%.40s [%s]\"", name->text, unit);
    if (wanted->facts != NULL) {
      snprintf(needs + length, sizeof needs - (size_t)length, " or --unit %.40s=%s", name->text, unit);
    }
    sb_csv_fault_at(csv, 1, name->place, name->text, needs, "none");
  }
}

static void miss_renamed(struct sb_csv_reader *csv, const struct sb_csv_quantity *quantity, const char *name)
{
  char needs[160], header[200];
  snprintf(needs, sizeof needs, "a column \"%.100s\"", name);
  sb_csv_fault_at(csv, 1, 1, quantity->sample, needs, sb_csv_header_words(csv, header, sizeof header));
}

/* Whether an option says that a column holds some quantity. */
static bool is_promised(const struct sb_column_facts *facts, const char *heading)
{
  for (size_t k = 0; k < facts->rename_count; k++) {
    if (strcmp(facts->renames[k].text, heading) == 0) return true;
  }
  return false;
}

/* A heading as a column of the quantity, whose name is `name` where that is not NULL. */
static bool is_candidate(const struct sb_column_facts *facts, const struct sb_csv_quantity *quantity,
                         const char *heading, const char *name, const struct scale *asked, struct scale *scale)
{
  *scale = (struct scale){.kind = SCALE_NONE};
  const bool is_own = is_of(heading, quantity, scale);
  if (name != NULL ? strcmp(heading, name) != 0 : !is_own || is_promised(facts, heading)) return false;
  if (!is_own) *scale = scale_in(heading, quantity->kind);
  if (name != NULL && scale->kind == SCALE_NONE) *scale = *asked;
  apply_units(facts, quantity, heading, scale);
  return true;
}

static void find_one(struct sb_csv_reader *csv, const struct sb_csv_wanted *wanted, const struct sb_column_facts *facts,
                     const struct sb_csv_quantity *quantity, struct sb_csv_column *column)
{
  struct scale asked = {.kind = SCALE_NONE}, best = {.kind = SCALE_NONE}, scale;
  const char *name = renamed(facts, quantity, &asked);
  *column = (struct sb_csv_column){.field = -1, .factor = 1.0};
  for (size_t i = 0; i < csv->name_count; i++) {
    if (!is_candidate(facts, quantity, csv->names[i].text, name, &asked, &scale)) continue;
    if (column->field >= 0 && scale.kind == SCALE_NONE && !quantity->needs_no_unit) continue;
    if (column->field >= 0 && (best.kind != SCALE_NONE || quantity->needs_no_unit)) {
      sb_csv_fault_at(csv, 1, csv->names[i].place, csv->names[i].text, "each quantity once", "a second column of it");
    }
    column->field = (int)i;
    best = scale;
  }
  if (column->field >= 0) {
    take(csv, wanted, quantity, &best, column);
  } else if (name != NULL && !wanted->may_lack_renamed) {
    miss_renamed(csv, quantity, name);
  }
}

void sb_csv_columns_find(struct sb_csv_reader *csv, const struct sb_csv_wanted *wanted, struct sb_csv_column *columns)
{
  static const struct sb_column_facts no_facts = {0};
  const struct sb_column_facts *facts = wanted->facts != NULL ? wanted->facts : &no_facts;
  for (int q = 0; q < wanted->count; q++) find_one(csv, wanted, facts, &wanted->quantities[q], &columns[q]);
}

double sb_csv_quantity_keep(const struct sb_csv_quantity *quantity, double si)
{
  const struct scale kept = scale_of(quantity->unit, strlen(quantity->unit), quantity->kind);
  return si * kept.divisor / kept.multiplier;
}

void sb_csv_columns_miss(struct sb_csv_reader *csv, const struct sb_csv_quantity *quantity)
{
  char header[200];
  sb_csv_fault_at(csv, 1, 1, quantity->sample, "a column of this name",
                  sb_csv_header_words(csv, header, sizeof header));
}
