// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The table of keys as a JSON Schema (draft 7), by which editors complete, explain and check a scenario while somebody types.
 *
 * It refuses unknown, missing and misplaced keys, values of another type, and numbers without a unit or with one of another
 * kind. Ranges of numbers with units and what keys demand of each other are left to the program.
 */
#include <stdio.h>
#include <string.h>

#include "base/text_file.h"
#include "base/unit_pattern.h"
#include "scenario/reader.h"
#include "text/json.h"

#define NUMBER "[+-]?(?:[0-9]+\\.?[0-9]*|\\.[0-9]+)(?:[eE][+-]?[0-9]+)?"

static void put_section(struct sb_json *json, const struct sb_section *section, const char *kind);
static void put_key(struct sb_json *json, const struct sb_key *key);
static void put_value(struct sb_json *json, const struct sb_key *key);

/* Alternatives: {"anyOf":[...]}, of which each is opened and closed by the caller. */
static void open_any(struct sb_json *json)
{
  sb_json_key(json, "anyOf");
  sb_json_open_array(json);
}

static void put_constant(struct sb_json *json, const char *word)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "const", word);
  sb_json_close(json);
}

/* A number as YAML reads it, with its bounds. */
static void put_bare_number(struct sb_json *json, const struct sb_key *key)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "type", "number");
  sb_json_put_number(json, key->flags & SB_ABOVE ? "exclusiveMinimum" : "minimum", key->lower);
  sb_json_put_number(json, key->flags & SB_BELOW ? "exclusiveMaximum" : "maximum", key->upper);
  sb_json_close(json);
}

static void put_reference(struct sb_json *json, enum sb_quantity quantity)
{
  char path[64];
  snprintf(path, sizeof path, "#/definitions/quantity_%d", (int)quantity);
  sb_json_open_object(json);
  sb_json_put_string(json, "$ref", path);
  sb_json_close(json);
}

/* One of the quantities of a key, or its word. */
static void put_quantity(struct sb_json *json, const struct sb_key *key)
{
  open_any(json);
  put_reference(json, key->quantity);
  if (key->kind == SB_KEY_EITHER) put_reference(json, key->other);
  if (key->quantity == SB_RATIO) put_bare_number(json, key);
  if (key->word != NULL) put_constant(json, key->word);
  sb_json_close(json);
}

/* One value of it, or a list. */
static void put_many(struct sb_json *json, const struct sb_key *key)
{
  open_any(json);
  sb_json_open_object(json);
  put_quantity(json, key);
  sb_json_close(json);
  sb_json_open_object(json);
  sb_json_put_string(json, "type", "array");
  sb_json_put_integer(json, "maxItems", key->max);
  sb_json_put_object(json, "items");
  put_quantity(json, key);
  sb_json_close(json);
  sb_json_close(json);
  sb_json_close(json);
}

static void put_whole(struct sb_json *json, const struct sb_key *key)
{
  sb_json_put_string(json, "type", "integer");
  sb_json_put_number(json, "minimum", key->lower);
  sb_json_put_number(json, "maximum", key->upper);
}

static void put_choices(struct sb_json *json, const struct sb_key *key)
{
  sb_json_put_array(json, "enum");
  for (const struct sb_choice *choice = key->choices; choice->name != NULL; choice++) {
    if (choice->value != SB_CHOICE_REFUSED) sb_json_string(json, choice->name);
  }
  sb_json_close(json);
}

static void put_text(struct sb_json *json, const struct sb_key *key)
{
  sb_json_put_array(json, "type"); /* a name may look like a number */
  sb_json_string(json, "string");
  sb_json_string(json, "number");
  sb_json_close(json);
  sb_json_put_integer(json, "minLength", 1);
  sb_json_put_integer(json, "maxLength", (long long)key->size - 1);
}

/* What stands at one place of a pair in a list, by its name in the words of the key; others may be anything. */
static void put_place(struct sb_json *json, const char *name, size_t length)
{
  static const struct {
    const char *name;
    enum sb_quantity quantity, other;
  } places[] = {{"time", SB_TIME, SB_TIME},         {"place", SB_TIME, SB_ANGLE},
                {"torque", SB_TORQUE, SB_TORQUE},   {"distance", SB_LENGTH, SB_LENGTH},
                {"charge", SB_PERCENT, SB_PERCENT}, {"voltage", SB_VOLTAGE, SB_VOLTAGE}};
  sb_json_open_object(json);
  for (size_t k = 0; k < sizeof places / sizeof *places; k++) {
    if (strlen(places[k].name) != length || memcmp(name, places[k].name, length) != 0) continue;
    open_any(json);
    put_reference(json, places[k].quantity);
    put_reference(json, places[k].other);
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* "list of [time, torque]" */
static void put_pairs(struct sb_json *json, const char *names)
{
  const size_t first = strcspn(names, ",");
  const char *second = names + first + strspn(names + first, ", ");
  sb_json_put_string(json, "type", "array");
  sb_json_put_integer(json, "minItems", 1);
  sb_json_put_object(json, "items");
  sb_json_put_string(json, "type", "array");
  sb_json_put_integer(json, "minItems", 2);
  sb_json_put_integer(json, "maxItems", 2);
  sb_json_put_array(json, "items");
  put_place(json, names, first);
  put_place(json, second, strcspn(second, "]"));
  sb_json_close(json);
  sb_json_close(json);
}

/* What code of its own reads, by the words for it. */
static void put_later(struct sb_json *json, const struct sb_key *key)
{
  static const char list[] = "list of [";
  if (strncmp(key->needs, list, strlen(list)) == 0) {
    put_pairs(json, key->needs + strlen(list));
  } else if (key->section != NULL && strcmp(key->needs, "section") == 0) {
    put_section(json, key->section, NULL);
  } else if (key->section != NULL) { /* paths, each with values of its own, besides keys */
    sb_json_put_string(json, "type", "object");
    sb_json_put_object(json, "properties");
    for (const struct sb_key *own = key->section->keys; own->name != NULL; own++) put_key(json, own);
    sb_json_close(json);
  } else if (strncmp(key->needs, "section", 7) == 0) {
    sb_json_put_string(json, "type", "object");
    sb_json_put_object(json, "additionalProperties");
    sb_json_put_array(json, "type");
    sb_json_string(json, "string");
    sb_json_string(json, "number");
    sb_json_close(json);
    sb_json_close(json);
  }
}

/* A section whose keys depend on its kind. */
static void put_kinds(struct sb_json *json, const struct sb_section *const *kinds)
{
  sb_json_put_string(json, "type", "object");
  sb_json_put_array(json, "required");
  sb_json_string(json, "kind");
  sb_json_close(json);
  sb_json_put_object(json, "properties");
  sb_json_put_object(json, "kind");
  sb_json_put_array(json, "enum");
  for (int i = 0; kinds[i] != NULL; i++) sb_json_string(json, kinds[i]->name);
  sb_json_close(json);
  sb_json_close(json);
  sb_json_close(json);
  sb_json_put_array(json, "allOf");
  for (int i = 0; kinds[i] != NULL; i++) {
    sb_json_open_object(json);
    sb_json_put_object(json, "if");
    sb_json_put_object(json, "properties");
    sb_json_put_object(json, "kind");
    sb_json_put_string(json, "const", kinds[i]->name);
    sb_json_close(json);
    sb_json_close(json);
    sb_json_close(json);
    sb_json_put_object(json, "then");
    put_section(json, kinds[i], kinds[i]->name);
    sb_json_close(json);
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* A section, or a single value in place of it that stands for its first key. */
static void put_whole_section(struct sb_json *json, const struct sb_key *key)
{
  if (!(key->flags & SB_SHORT_FORM)) {
    put_section(json, key->section, NULL);
    return;
  }
  open_any(json);
  sb_json_open_object(json);
  put_value(json, &key->section->keys[0]);
  sb_json_close(json);
  sb_json_open_object(json);
  put_section(json, key->section, NULL);
  sb_json_close(json);
  sb_json_close(json);
}

static void put_list(struct sb_json *json, const struct sb_key *key)
{
  sb_json_put_string(json, "type", "array");
  sb_json_put_integer(json, "maxItems", key->max);
  if (key->flags & (SB_REQUIRED | SB_NOT_EMPTY)) sb_json_put_integer(json, "minItems", 1);
  sb_json_put_object(json, "items");
  if (key->kinds != NULL) {
    put_kinds(json, key->kinds);
  } else {
    put_whole_section(json, key);
  }
  sb_json_close(json);
}

/* The members that say what a value of a key is, into an open object. */
static void put_value(struct sb_json *json, const struct sb_key *key)
{
  switch (key->kind) {
    case SB_KEY_QUANTITY: put_quantity(json, key); break;
    case SB_KEY_EITHER: (key->flags & SB_MANY ? put_many : put_quantity)(json, key); break;
    case SB_KEY_WHOLE: put_whole(json, key); break;
    case SB_KEY_FLAG: sb_json_put_string(json, "type", "boolean"); break;
    case SB_KEY_CHOICE: put_choices(json, key); break;
    case SB_KEY_TEXT: put_text(json, key); break;
    case SB_KEY_TEETH:
      sb_json_put_string(json, "type", "string");
      sb_json_put_string(json, "pattern", "^[0-9]+/[0-9]+$");
      break;
    case SB_KEY_SECTION: put_whole_section(json, key); break;
    case SB_KEY_KINDS: put_kinds(json, key->kinds); break;
    case SB_KEY_LIST: put_list(json, key); break;
    case SB_KEY_LATER: put_later(json, key); break;
  }
}

static void put_description(struct sb_json *json, const struct sb_key *key)
{
  char text[2048];
  const struct sb_key_words words = sb_reader_key_words(key), range = sb_reader_key_range_words(key);
  const char *fallback = key->default_text != NULL ? key->default_text : key->default_words;
  snprintf(text, sizeof text, "%s\n\nNeeds %s%s%s%s%s.", key->meaning, words.text, range.text[0] != 0 ? ", " : "",
           range.text, fallback != NULL ? "; default: " : "", fallback != NULL ? fallback : "");
  sb_json_put_string(json, "description", text);
}

static void put_key(struct sb_json *json, const struct sb_key *key)
{
  sb_json_put_object(json, key->name);
  put_description(json, key);
  put_value(json, key);
  sb_json_close(json);
}

static void put_required(struct sb_json *json, const struct sb_section *section)
{
  sb_json_put_array(json, "required");
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    if (key->flags & SB_REQUIRED) sb_json_string(json, key->name);
  }
  sb_json_close(json);
}

/* What keys of one section demand of each other: with `has` (and this value) a second key is needed; without has, one of two. */
static const struct demand {
  const char *section, *has, *value, *needs, *or_else;
} demands[] = {
    {"motor", "magnet", NULL, "winding", NULL},
    {"motor", "stall_current", NULL, "no_load_current", NULL},
    {"motor", "no_load_current", NULL, "stall_current", NULL},
    {"winding", "cut_out", NULL, "reset", NULL},
    {"winding", "reset", NULL, "cut_out", NULL},
    {"winding", NULL, NULL, "heat_capacity", "time_constant"},
    {"magnet", NULL, NULL, "material", "per_kelvin"},
    {"battery", "chemistry", NULL, "cells", NULL},
    {"battery", NULL, NULL, "chemistry", "points"},
    {"drive", "mode", "speed control", "target", NULL},
    {"load", NULL, NULL, "inertia", "bodies"},
    {"profile", NULL, NULL, "points", "file"},
    {"vehicle", "driven_share", NULL, "static_friction", NULL},
    {"vehicle", "kinetic_friction", NULL, "static_friction", NULL},
    {"sensor", NULL, NULL, "window", "between"},
    {"gear", NULL, NULL, "meshes", "ratio"},
    {"output_shaft", NULL, NULL, "stiffness", "section"},
    {"output_shaft", "section", NULL, "length", NULL},
    {"output_shaft", "length", NULL, "section", NULL},
    {"output_shaft", "section", "round", "diameter", NULL},
    {"output_shaft", "section", "square", "side", NULL},
    {"output_shaft", "section", "hexagonal", "across_flats", NULL},
    {"shaft", NULL, NULL, "material", "shear_strength"},
    {"shaft", "section", "round", "diameter", NULL},
    {"shaft", "section", "square", "side", NULL},
    {"shaft", "section", "hexagonal", "across_flats", NULL},
    {"tooth", NULL, NULL, "material", "bending_strength"},
};

static void put_required_key(struct sb_json *json, const char *key)
{
  sb_json_put_array(json, "required");
  sb_json_string(json, key);
  sb_json_close(json);
}

static void put_either(struct sb_json *json, const char *first, const char *second)
{
  open_any(json);
  sb_json_open_object(json);
  put_required_key(json, first);
  sb_json_close(json);
  sb_json_open_object(json);
  put_required_key(json, second);
  sb_json_close(json);
  sb_json_close(json);
}

static void put_demand(struct sb_json *json, const struct demand *demand)
{
  sb_json_open_object(json);
  if (demand->has == NULL) {
    put_either(json, demand->needs, demand->or_else);
  } else {
    sb_json_put_object(json, "if");
    put_required_key(json, demand->has);
    sb_json_put_object(json, "properties");
    sb_json_put_object(json, demand->has);
    if (demand->value != NULL) sb_json_put_string(json, "const", demand->value);
    sb_json_close(json);
    sb_json_close(json);
    sb_json_close(json);
    sb_json_put_object(json, "then");
    put_required_key(json, demand->needs);
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* Two or more gears need a shifter, and a controller with thresholds and a dwell. */
static void put_demand_of_gears(struct sb_json *json)
{
  sb_json_open_object(json);
  sb_json_put_object(json, "if");
  sb_json_put_object(json, "properties");
  sb_json_put_object(json, "gearbox");
  sb_json_put_object(json, "properties");
  sb_json_put_object(json, "gears");
  sb_json_put_integer(json, "minItems", 2);
  for (int k = 0; k < 5; k++) sb_json_close(json);
  sb_json_put_object(json, "then");
  put_required_key(json, "controller");
  sb_json_put_object(json, "properties");
  sb_json_put_object(json, "gearbox");
  put_required_key(json, "shifter");
  sb_json_close(json);
  sb_json_put_object(json, "controller");
  sb_json_put_array(json, "required");
  sb_json_string(json, "downshift_below");
  sb_json_string(json, "upshift_above");
  sb_json_string(json, "dwell");
  for (int k = 0; k < 5; k++) sb_json_close(json);
}

static void put_demands(struct sb_json *json, const struct sb_section *section)
{
  bool is_open = section == &sb_scenario_schema;
  if (is_open) {
    sb_json_put_array(json, "allOf");
    put_demand_of_gears(json);
  }
  for (size_t k = 0; k < sizeof demands / sizeof *demands; k++) {
    if (strcmp(demands[k].section, section->name) != 0) continue;
    if (!is_open) sb_json_put_array(json, "allOf");
    put_demand(json, &demands[k]);
    is_open = true;
  }
  if (is_open) sb_json_close(json);
}

static void put_section(struct sb_json *json, const struct sb_section *section, const char *kind)
{
  sb_json_put_string(json, "type", "object");
  sb_json_put_string(json, "title", section->meaning);
  sb_json_put_boolean(json, "additionalProperties", false);
  put_required(json, section);
  put_demands(json, section);
  sb_json_put_object(json, "properties");
  if (kind != NULL) {
    sb_json_put_object(json, "kind");
    sb_json_put_string(json, "const", kind);
    sb_json_close(json);
  }
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) put_key(json, key);
  sb_json_close(json);
}

/* A number with a unit of each quantity, once. */
static void put_definitions(struct sb_json *json)
{
  char units[SB_UNIT_PATTERN_SIZE], pattern[SB_UNIT_PATTERN_SIZE + 128], name[32], words[256];
  sb_json_put_object(json, "definitions");
  for (int quantity = 0; quantity < SB_QUANTITY_COUNT; quantity++) {
    sb_unit_pattern_write((enum sb_quantity)quantity, units);
    snprintf(pattern, sizeof pattern, "^\\s*" NUMBER " *(?:%s)\\s*$", units);
    snprintf(name, sizeof name, "quantity_%d", quantity);
    snprintf(words, sizeof words, "%s: %s", sb_units_words((enum sb_quantity)quantity),
             sb_units_offered((enum sb_quantity)quantity));
    sb_json_put_object(json, name);
    sb_json_put_string(json, "title", words);
    sb_json_put_string(json, "type", "string");
    sb_json_put_string(json, "pattern", pattern);
    sb_json_close(json);
  }
  sb_json_close(json);
}

int sb_scenario_write_schema(FILE *out)
{
  struct sb_json json;
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put_string(&json, "$schema", "http://json-schema.org/draft-07/schema#");
  sb_json_put_string(&json, "description",
                     "A scenario of shiftband: one machine, its load, its controller and one run.");
  put_definitions(&json);
  put_section(&json, &sb_scenario_schema, NULL);
  sb_json_end(&json);
  fflush(out);
  return sb_text_file_result(out);
}
