// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `tolerances`: a spread for any quantity of the scenario, by its dotted path. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "scenario/old_names.h"
#include "scenario/reader.h"

/* The path as it can be set: `drive` alone is a percentage, and the limit of the drive where that is a section. */
static const char *settle_drive(const struct sb_reader *reader, const char *path)
{
  const struct sb_node *drive = sb_tree_find(reader->root, "drive");
  if (drive == NULL) return path;
  if (drive->kind == SB_NODE_MAP && strcmp(path, "drive") == 0) return "drive.limit";
  if (drive->kind == SB_NODE_VALUE && strcmp(path, "drive.limit") == 0) return "drive";
  return path;
}

/* The path with gears by number: "gearbox.gears.slow.drag" is "gearbox.gears.1.drag". */
static void number_gears(const struct sb_reader *reader, const char *path, char out[SB_PATH_SIZE])
{
  static const char start[] = "gearbox.gears.";
  snprintf(out, SB_PATH_SIZE, "%s", path);
  if (strncmp(path, start, sizeof start - 1) != 0) return;
  char name[SB_NAME_SIZE];
  const char *rest = sb_tree_path_step(path + sizeof start - 1, name, sizeof name);
  const int gear = sb_gearbox_find(&reader->draft->model.gearbox, name);
  if (gear >= 0) snprintf(out, SB_PATH_SIZE, "%s%d%s%.200s", start, gear + 1, rest ? "." : "", rest ? rest : "");
}

static const struct sb_value *find_value(const struct sb_reader *reader, const char *path)
{
  const struct sb_value *value = reader->values;
  while (value != NULL && (value->key->kind == SB_KEY_WHOLE || strcmp(value->path, path) != 0)) value = value->next;
  return value;
}

/* Whether a set has to do with a key: one of the same section, whose parts it may replace. */
static bool is_set_beside(const struct sb_reader *reader, const char *path)
{
  const size_t length = strcspn(path, ".");
  for (size_t i = 0; i < reader->set_count; i++) {
    if (strncmp(reader->sets[i], path, length) == 0 && strchr(".=", reader->sets[i][length]) != NULL) return true;
  }
  return false;
}

/* A tolerance that does not fit: of the file, under a --set that made it so, it is left out with a note; else it is a fault. */
static void refuse(struct sb_reader *reader, const struct sb_place *place, bool is_by_set, const char *format, ...)
{
  char text[512];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  if (is_by_set && place->set_path == NULL) {
    sb_reader_note(reader, place, reader->path, "left out under --set: %s", text);
  } else {
    sb_faults_add(reader->faults, place, reader->path, "%s", text);
  }
}

static void refuse_path(struct sb_reader *reader, const struct sb_node *node)
{
  char renewed[SB_PATH_SIZE];
  if (sb_old_names_renew(node->key, renewed, sizeof renewed)) {
    sb_faults_add(reader->faults, &node->key_place, reader->path, "is now called %s", renewed);
    return;
  }
  enum { CANDIDATE_MAX = 512 };
  const char *paths[CANDIDATE_MAX + 1] = {NULL};
  int count = 0;
  for (const struct sb_value *v = reader->values; v != NULL && count < CANDIDATE_MAX; v = v->next) {
    if (v->key->kind != SB_KEY_WHOLE) paths[count++] = v->path;
  }
  snprintf(reader->path, sizeof reader->path, "tolerances");
  refuse(reader, &node->key_place, is_set_beside(reader, node->key), "needs the path of a quantity, found %s%s",
         sb_fail_quote(node->key).text, sb_nearest_hint(node->key, paths).text);
}

/* `10 %` of a value that is itself a percentage could mean two things. */
static bool is_unclear(const struct sb_value *value, const char *text)
{
  const bool is_share = value->quantity == SB_PERCENT || value->quantity == SB_RATIO;
  return is_share && strchr(text, '%') != NULL;
}

/* The spread as least and greatest; false (and a fault) when it is none. */
static bool read_spread(struct sb_reader *reader, const struct sb_node *node, const struct sb_value *value,
                        struct sb_tolerance *out)
{
  struct sb_error err;
  double spread = 0.0;
  enum sb_quantity found = value->quantity;
  if (strstr(node->text, "..") != NULL) {
    if (sb_units_parse_range(node->text, value->quantity, &out->least, &out->greatest, &err) == SB_OK) return true;
    sb_faults_add(reader->faults, &node->place, reader->path, "%s", err.text);
    return false;
  }
  if (is_unclear(value, node->text)) {
    sb_faults_add(reader->faults, &node->place, reader->path,
                  "needs a range such as 55..65 %%, found %s, which reads both "
                  "ways for %s",
                  sb_fail_quote(node->text).text, sb_units_words(value->quantity));
    return false;
  }
  if (sb_units_parse_either(node->text, value->quantity, SB_PERCENT, &spread, &found, &err) != SB_OK) {
    sb_faults_add(reader->faults, &node->place, reader->path, "%s", err.text);
    return false;
  }
  if (found == value->quantity) {
    sb_units_parse_difference(node->text, value->quantity, &spread, &err); /* cannot fail: it was read just now */
  } else {
    spread *= fabs(value->value);
  }
  if (!(spread >= 0.0)) {
    sb_faults_add(reader->faults, &node->place, reader->path, "needs a spread that is not negative, found %s",
                  sb_fail_quote(node->text).text);
    return false;
  }
  out->least = value->value - spread;
  out->greatest = value->value + spread;
  return true;
}

/* Both ends must be values that the key itself would take, with the given value between them. False when they are not. */
static bool check_spread(struct sb_reader *reader, const struct sb_node *node, const struct sb_value *value,
                         const struct sb_tolerance *tolerance)
{
  const bool has_sets = reader->set_count > 0; /* one of another key can move the value, too */
  const double scale = value->quantity == SB_PERCENT ? 100.0 : 1.0;
  const char *si = value->quantity == SB_PERCENT ? "%" : sb_units_si(value->quantity);
  const char *space = si[0] != 0 ? " " : "";
  const double least = tolerance->least * scale, greatest = tolerance->greatest * scale;
  if (!sb_reader_key_holds(value->key, value->quantity, tolerance->least) ||
      !sb_reader_key_holds(value->key, value->quantity, tolerance->greatest)) {
    refuse(reader, &node->place, has_sets, "needs values %s, found %.10g..%.10g%s%s",
           sb_reader_key_range_words(value->key).text, least, greatest, space, si);
    return false;
  }
  if (value->value >= tolerance->least && value->value <= tolerance->greatest) return true;
  refuse(reader, &node->place, has_sets,
         "needs a range with the value itself (%.10g%s%s) in it, found %.10g..%.10g%s%s", value->value * scale, space,
         si, least, greatest, space, si);
  return false;
}

static void read_tolerance(struct sb_reader *reader, const struct sb_node *node, struct sb_scenario *out)
{
  struct sb_tolerance tolerance = {.nominal = 0.0};
  char path[SB_PATH_SIZE];
  number_gears(reader, settle_drive(reader, node->key), path);
  const struct sb_value *value = find_value(reader, path);
  snprintf(reader->path, sizeof reader->path, "tolerances.%.200s", path);
  if (node->kind == SB_NODE_BROKEN) return;
  if (value == NULL || strlen(path) >= sizeof tolerance.path) {
    refuse_path(reader, node);
    return;
  }
  if (isnan(value->value)) {
    if (!value->is_given) {
      refuse(reader, &node->key_place, is_set_beside(reader, path), "needs a key with a value, found one without");
    }
    return;
  }
  if (node->kind != SB_NODE_VALUE) {
    sb_faults_add(reader->faults, &node->place, reader->path,
                  "needs a spread such as 10 %%, or a range a..b, found a %s",
                  node->kind == SB_NODE_LIST ? "list" : "section");
    return;
  }
  for (int i = 0; i < out->tolerance_count; i++) {
    if (strcmp(out->tolerances[i].path, path) != 0) continue;
    sb_faults_add(reader->faults, &node->key_place, reader->path, "needs one spread for a key, found a second one");
    return;
  }
  sb_reader_note_unit(reader, node, reader->path, value->quantity);
  if (!read_spread(reader, node, value, &tolerance) || !check_spread(reader, node, value, &tolerance)) return;
  memcpy(tolerance.path, path, strlen(path) + 1);
  tolerance.nominal = value->value;
  tolerance.unit_scale = value->quantity == SB_PERCENT ? 100.0 : 1.0;
  snprintf(tolerance.unit, sizeof tolerance.unit, "%s",
           value->quantity == SB_PERCENT ? "%" : sb_units_si(value->quantity));
  if (out->tolerance_count < SB_TOLERANCE_MAX) out->tolerances[out->tolerance_count++] = tolerance;
}

void sb_reader_read_tolerances(struct sb_reader *reader, struct sb_scenario *out)
{
  const struct sb_node *section = sb_tree_find(reader->root, "tolerances");
  if (section == NULL || section->kind == SB_NODE_BROKEN) return;
  if (section->kind != SB_NODE_MAP || section->count > SB_TOLERANCE_MAX) {
    sb_faults_add(reader->faults, &section->place, "tolerances", "needs at most %d lines PATH: SPREAD, found %s",
                  SB_TOLERANCE_MAX, section->kind == SB_NODE_MAP ? "more" : "something else");
    return;
  }
  for (const struct sb_node *node = section->first; node != NULL; node = node->next) read_tolerance(reader, node, out);
}
