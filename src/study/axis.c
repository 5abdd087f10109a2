// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/axis.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "scenario/old_names.h"
#include "scenario/reader.h"

/* Whether a key's path ends in a name: "controller.dwell" in "dwell". */
static bool ends_in(const char *path, const char *name)
{
  const size_t path_length = strlen(path), name_length = strlen(name);
  if (name_length + 1 >= path_length) return false;
  const char *end = path + path_length - name_length;
  return end[-1] == '.' && strcmp(end, name) == 0;
}

/* "gearbox.gears.slow.drag" is the key "gearbox.gears.1.drag". */
static void number_gears(const struct sb_scenario *scenario, const char *path, char out[SB_PATH_SIZE])
{
  static const char start[] = "gearbox.gears.";
  snprintf(out, SB_PATH_SIZE, "%s", path);
  if (strncmp(path, start, sizeof start - 1) != 0) return;
  char name[SB_NAME_SIZE];
  const char *rest = sb_tree_path_step(path + sizeof start - 1, name, sizeof name);
  const int gear = sb_gearbox_find(&scenario->model.gearbox, name);
  if (gear >= 0 && rest != NULL) snprintf(out, SB_PATH_SIZE, "%s%d.%.200s", start, gear + 1, rest);
}

static enum sb_status refuse_path(const struct sb_scenario *scenario, const char *path, struct sb_error *err)
{
  char renewed[SB_PATH_SIZE];
  if (sb_old_names_renew(path, renewed, sizeof renewed)) {
    return sb_fail(err, SB_ERR_USAGE, "%s is now called %s", path, renewed);
  }
  if (sb_old_names_find(path) != NULL) {
    return sb_fail(err, SB_ERR_USAGE, "%s is now called %s", path, sb_old_names_find(path));
  }
  const char **paths = calloc(scenario->key_count + 1, sizeof *paths);
  if (paths == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the keys of a scenario");
  for (size_t i = 0; i < scenario->key_count; i++) paths[i] = scenario->keys[i].path;
  const char *nearest = sb_nearest_word(path, paths);
  /* A slip in a name given alone. */
  for (size_t i = 0; nearest == NULL && i < scenario->key_count; i++) {
    const char *last = strrchr(paths[i], '.');
    const char *const one[] = {last != NULL ? last + 1 : paths[i], NULL};
    if (sb_nearest_word(path, one) != NULL) nearest = paths[i];
  }
  free(paths);
  return sb_fail(err, SB_ERR_USAGE, "no number %s in this scenario%s%s", sb_fail_quote(path).text,
                 nearest != NULL ? ", nearest is " : "", nearest != NULL ? nearest : "");
}

static const struct sb_scenario_key *find_exactly(const struct sb_scenario *scenario, const char *path)
{
  for (size_t i = 0; i < scenario->key_count; i++) {
    if (strcmp(scenario->keys[i].path, path) == 0) return &scenario->keys[i];
  }
  return NULL;
}

/* A percentage alone is the limit of the drive, and a section has it in it: whichever is written, both names will do. */
static const char *settle_drive(const struct sb_scenario *scenario, const char *path)
{
  const struct sb_scenario_key *alone = find_exactly(scenario, "drive");
  if (strcmp(path, "drive") == 0 && alone == NULL) return "drive.limit";
  return strcmp(path, "drive.limit") == 0 && alone != NULL && alone->is_given ? "drive" : path;
}

/* The key of a path, or of a last name that only one key has; else NULL, and *second another one that has it. */
static const struct sb_scenario_key *find_key(const struct sb_scenario *scenario, const char *path,
                                              const struct sb_scenario_key **first,
                                              const struct sb_scenario_key **second)
{
  char numbered[SB_PATH_SIZE];
  number_gears(scenario, settle_drive(scenario, path), numbered);
  *first = *second = NULL;
  const struct sb_scenario_key *whole = find_exactly(scenario, numbered);
  if (whole != NULL) return whole;
  for (size_t i = 0; i < scenario->key_count; i++) {
    const struct sb_scenario_key *key = &scenario->keys[i];
    if (!ends_in(key->path, path)) continue;
    if (*first == NULL) {
      *first = key;
    } else if (*second == NULL) {
      *second = key;
    }
  }
  return *second == NULL ? *first : NULL;
}

static enum sb_status refuse_name(const struct sb_scenario *scenario, const char *path,
                                  const struct sb_scenario_key *first, const struct sb_scenario_key *second,
                                  struct sb_error *err)
{
  if (first == NULL || second == NULL) return refuse_path(scenario, path, err);
  return sb_fail(err, SB_ERR_USAGE, "%s could be %s, %s or another: give the whole path", path, first->path,
                 second->path);
}

/* Checks a range by the key's own rules for units, then takes the numbers and the unit as they were given. */
static enum sb_status read_range(const char *text, const struct sb_scenario_key *key, struct sb_axis *axis,
                                 struct sb_error *err)
{
  struct sb_error other;
  double least, greatest;
  enum sb_status status = sb_units_parse_range(text, key->quantity, &least, &greatest, err);
  if (status != SB_OK && key->other != key->quantity) {
    if (sb_units_parse_range(text, key->other, &least, &greatest, &other) == SB_OK) status = SB_OK;
  }
  if (status != SB_OK) return SB_ERR_USAGE;
  const char *end = sb_units_parse_number(text + strspn(text, " \t"), &axis->from);
  end = sb_units_parse_number(end + 2, &axis->to); /* a range was read just now: neither is NULL */
  end += strspn(end, " \t");
  size_t length = strlen(end);
  while (length > 0 && strchr(" \t", end[length - 1]) != NULL) length--;
  if (length >= sizeof axis->unit) return sb_fail(err, SB_ERR_USAGE, "the unit %s is too long", end);
  snprintf(axis->unit, sizeof axis->unit, "%.*s", (int)length, end);
  return SB_OK;
}

static enum sb_status limit_to_whole(struct sb_axis *axis, struct sb_error *err)
{
  if (axis->from != floor(axis->from) || axis->to != floor(axis->to) || axis->unit[0] != 0) {
    return sb_fail(err, SB_ERR_USAGE, "%s takes whole numbers, such as 1..5", axis->path);
  }
  const double numbers = axis->to - axis->from + 1.0;
  if (numbers < axis->points) axis->points = (int)numbers;
  if (fmod(numbers - 1.0, fmax(1.0, axis->points - 1.0)) == 0.0) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "%s: %d points over %g..%g are no whole numbers", axis->path, axis->points,
                 axis->from, axis->to);
}

bool sb_axis_is_sound(const struct sb_axis *axis)
{
  const double width = fabs(axis->to - axis->from), size = fmax(fabs(axis->from), fabs(axis->to));
  return size <= 1e15 && (axis->points == 1 || (axis->points > 1 && width > 1e-9 * size));
}

enum sb_status sb_axis_parse(const char *text, const struct sb_scenario *scenario, int points, struct sb_axis *axis,
                             struct sb_error *err)
{
  char path[SB_PATH_SIZE];
  const char *equals = strchr(text, '=');
  struct sb_axis out = {.points = points};
  if (equals == NULL || equals == text || equals - text >= (long)sizeof out.path) {
    return sb_fail(err, SB_ERR_USAGE, "needs PATH=FROM..TO, such as controller.dwell=0.2..3 s, found %s",
                   sb_fail_quote(text).text);
  }
  snprintf(path, sizeof path, "%.*s", (int)(equals - text), text);
  const struct sb_scenario_key *first, *second, *key = find_key(scenario, path, &first, &second);
  if (key == NULL) return refuse_name(scenario, path, first, second, err);
  if (strlen(key->path) >= sizeof out.path) return sb_fail(err, SB_ERR_USAGE, "%s is too long a path", key->path);
  strcpy(out.path, key->path);
  enum sb_status status = read_range(equals + 1, key, &out, err);
  if (status != SB_OK) return status;
  if (key->is_whole) status = limit_to_whole(&out, err);
  if (out.to == out.from) out.points = 1;
  if (status == SB_OK && !sb_axis_is_sound(&out)) {
    status = sb_fail(err, SB_ERR_USAGE, "%s: needs a range of a sensible size, found %.17g..%.17g", out.path, out.from,
                     out.to);
  }
  if (status == SB_OK) *axis = out;
  return status;
}

double sb_axis_value(const struct sb_axis *axis, int index)
{
  const int last = axis->points - 1;
  if (index == 0 || last < 1) return axis->from;
  if (index == last) return axis->to;
  return (axis->from * (last - index) + axis->to * index) / last;
}

/* To twelve digits: rounding errors of the division above are not asked for. */
const char *sb_axis_set(const struct sb_axis *axis, int index, char text[SB_AXIS_SET_SIZE])
{
  snprintf(text, SB_AXIS_SET_SIZE, "%s=%.12g%s%s", axis->path, sb_axis_value(axis, index),
           axis->unit[0] != 0 ? " " : "", axis->unit);
  return text;
}

const char *sb_axis_heading(const struct sb_axis *axis, char text[SB_AXIS_SET_SIZE])
{
  const bool has_unit = axis->unit[0] != 0;
  snprintf(text, SB_AXIS_SET_SIZE, "%s%s%s%s", axis->path, has_unit ? " (" : "", axis->unit, has_unit ? ")" : "");
  return text;
}
