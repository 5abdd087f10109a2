// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `choices`: for each path the values to choose from, as texts that a --set takes. */
#include "scenario/choices.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text_file.h"
#include "scenario/beside.h"
#include "scenario/reader.h"
#include "scenario/write.h"

/* ---- which keys can be chosen ---- */

static const struct sb_key wheel_key = {.name = "driven", .kind = SB_KEY_WHOLE, .lower = 1, .upper = 10000};

static const struct sb_key *find_in(const struct sb_section *section, const char *name)
{
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    if (strcmp(key->name, name) == 0) return key;
  }
  return NULL;
}

static const struct sb_key *find_below(const struct sb_key *key, const char *name)
{
  const struct sb_key *found = key->section != NULL ? find_in(key->section, name) : NULL;
  for (int k = 0; found == NULL && key->kinds != NULL && key->kinds[k] != NULL; k++)
    found = find_in(key->kinds[k], name);
  const bool is_wheel = strcmp(name, "driver") == 0 || strcmp(name, "driven") == 0;
  return found == NULL && is_wheel && strcmp(key->name, "meshes") == 0 ? &wheel_key : found;
}

/* The key of a dotted path, whose items of lists are skipped; NULL: there is none. */
static const struct sb_key *find_key(const char *path)
{
  char step[128];
  const char *rest = sb_tree_path_step(path, step, sizeof step);
  const struct sb_key *key = find_in(&sb_scenario_schema, step);
  while (key != NULL && rest != NULL) {
    rest = sb_tree_path_step(rest, step, sizeof step);
    if (key->kind == SB_KEY_LIST) {
      if (rest == NULL) return NULL;
      rest = sb_tree_path_step(rest, step, sizeof step);
    }
    key = find_below(key, step);
  }
  return key;
}

static bool is_quantity(const struct sb_key *key)
{
  return key->kind == SB_KEY_QUANTITY || key->kind == SB_KEY_EITHER || key->kind == SB_KEY_WHOLE;
}

static bool is_section(const struct sb_key *key)
{
  return key->kind == SB_KEY_SECTION || key->kind == SB_KEY_KINDS;
}

/* ---- one value ---- */

static void refuse(struct sb_reader *reader, const struct sb_node *node, const char *path, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void refuse(struct sb_reader *reader, const struct sb_node *node, const char *path, const char *format, ...)
{
  char text[512];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  sb_faults_add(reader->faults, &node->place, PATH("choices.%.200s", path), "%s", text);
}

/* Whether a value is one that the key takes; else a fault. */
static bool check_value(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node,
                        const char *path)
{
  struct sb_error err;
  enum sb_quantity found = key->quantity;
  const enum sb_quantity second = key->kind == SB_KEY_EITHER ? key->other : key->quantity;
  double value = NAN;
  if (key->kind == SB_KEY_WHOLE) {
    const size_t length = strlen(node->text);
    value = length > 0 && length < 16 && strspn(node->text, "0123456789") == length ? strtod(node->text, NULL) : NAN;
    if (value >= key->lower && value <= key->upper) return true;
  } else if (sb_units_parse_either(node->text, key->quantity, second, &value, &found, &err) != SB_OK) {
    refuse(reader, node, path, "%s", err.text);
    return false;
  } else if (sb_reader_key_holds(key, found, value)) {
    return true;
  }
  refuse(reader, node, path, "needs %s %s, found %s", sb_reader_key_words(key).text,
         sb_reader_key_range_words(key).text, sb_fail_quote(node->text).text);
  return false;
}

static bool is_file(const struct sb_node *node)
{
  const char *dot = node->kind == SB_NODE_VALUE ? strrchr(node->text, '.') : NULL;
  return dot != NULL && (strcmp(dot, ".yaml") == 0 || strcmp(dot, ".yml") == 0);
}

/* The text of a file beside the scenario, in the scratch arena; NULL and a fault. */
static char *read_file(struct sb_reader *reader, const struct sb_node *node, const char *path,
                       char name[SB_BESIDE_SIZE], size_t *length)
{
  if (!sb_beside_find(reader->file, node->text, name)) {
    refuse(reader, node, path, "%s: " SB_BESIDE_REFUSAL, sb_fail_quote(node->text).text);
    return NULL;
  }
  FILE *file = sb_text_file_open(name);
  char *text = file != NULL ? sb_text_file_read_start(file, SB_TEXT_MAX + 1, length) : NULL;
  if (text == NULL) refuse(reader, node, path, "%.300s: %s", name, sb_text_file_reason(errno));
  if (file != NULL) fclose(file);
  return text;
}

/* The section of that name in a file, as `fit -o` writes it; NULL and a fault. */
static const struct sb_node *section_of_file(struct sb_reader *reader, const struct sb_node *node, const char *path,
                                             const char *name)
{
  char file[SB_BESIDE_SIZE];
  size_t length = 0;
  char *text = read_file(reader, node, path, file, &length);
  if (text == NULL) return NULL;
  struct sb_fault_list *faults = calloc(1, sizeof *faults);
  struct sb_document document = {.arena = reader->scratch, .faults = faults};
  const struct sb_place start = {.line = 1, .column = 1};
  const struct sb_node *section = NULL;
  if (faults != NULL) {
    faults->file = file;
    section = sb_tree_find(sb_document_read(&document, text, length, &start), name);
    if (faults->count > 0) {
      refuse(reader, node, path, "%s", faults->faults[0].text);
    } else if (section == NULL) {
      refuse(reader, node, path, "needs a file with a section %s, found none in %.300s", name, file);
    }
    sb_faults_list_clear(faults);
  }
  reader->is_out_of_memory = reader->is_out_of_memory || faults == NULL || document.is_out_of_memory;
  free(faults);
  free(text);
  return section;
}

/* ---- one line: a path and its values ---- */

static const char *keep(struct sb_reader *reader, const char *text)
{
  const char *kept = sb_arena_copy(reader->kept, text, strlen(text));
  if (kept == NULL) reader->is_out_of_memory = true;
  return kept != NULL ? kept : "";
}

/* A short name of a value: a file's, a kind, or its text. */
static const char *words_of(struct sb_reader *reader, const struct sb_node *node, const char *text)
{
  char words[48];
  const struct sb_node *kind = sb_tree_find(node, "kind");
  if (is_file(node)) {
    const char *slash = strrchr(node->text, '/'), *name = slash != NULL ? slash + 1 : node->text;
    snprintf(words, sizeof words, "%.*s", (int)(strrchr(name, '.') - name), name);
  } else {
    snprintf(words, sizeof words, "%.40s", kind != NULL && kind->kind == SB_NODE_VALUE ? kind->text : text);
  }
  return keep(reader, words);
}

static void add_option(struct sb_reader *reader, struct sb_choice_axis *axis, const struct sb_node *node,
                       const struct sb_node *value)
{
  char *flow = sb_write_flow(value);
  const size_t size = flow != NULL ? strlen(axis->path) + strlen(flow) + 2 : 0;
  char *set = flow != NULL ? malloc(size) : NULL;
  if (set == NULL) {
    reader->is_out_of_memory = true;
  } else {
    snprintf(set, size, "%s=%s", axis->path, flow);
    axis->options[axis->option_count++] =
        (struct sb_choice_option){.set = keep(reader, set), .words = words_of(reader, node, flow)};
  }
  free(flow);
  free(set);
}

static void read_option(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node,
                        struct sb_choice_axis *axis)
{
  const struct sb_node *value = node;
  if (node->kind == SB_NODE_BROKEN) return;
  if (is_section(key) && is_file(node)) value = section_of_file(reader, node, axis->path, axis->name);
  if (value == NULL) return;
  if (is_section(key) && value->kind != SB_NODE_MAP) {
    refuse(reader, node, axis->path, "needs a section, or a file NAME.yaml that holds it, found %s",
           value->kind == SB_NODE_VALUE ? sb_fail_quote(value->text).text : "a list");
  } else if (is_quantity(key) && value->kind != SB_NODE_VALUE) {
    refuse(reader, node, axis->path, "needs a single value, found a %s",
           value->kind == SB_NODE_MAP ? "section" : "list");
  } else if (is_section(key) || check_value(reader, key, value, axis->path)) {
    add_option(reader, axis, node, value);
  }
}

static void read_line(struct sb_reader *reader, const struct sb_node *line, struct sb_choices *choices)
{
  const struct sb_key *key = find_key(line->key);
  struct sb_choice_axis *axis = &choices->axes[choices->axis_count];
  if (key == NULL || !(is_quantity(key) || is_section(key))) {
    sb_faults_add(reader->faults, &line->key_place, "choices",
                  "needs the path of a quantity, of a section, or wheels, found %s%s", sb_fail_quote(line->key).text,
                  key != NULL ? ", which is none" : "");
    return;
  }
  if (line->kind != SB_NODE_LIST || line->count == 0 || line->count > SB_CHOICE_OPTION_MAX) {
    if (line->kind != SB_NODE_BROKEN) {
      refuse(reader, line, line->key, "needs a list of 1 to %d values, found %s", SB_CHOICE_OPTION_MAX,
             line->kind != SB_NODE_LIST ? "something else"
             : line->count > 0          ? "more"
                                        : "an empty one");
    }
    return;
  }
  axis->path = keep(reader, line->key);
  axis->name = strrchr(axis->path, '.') != NULL ? strrchr(axis->path, '.') + 1 : axis->path;
  for (const struct sb_node *node = line->first; node != NULL; node = node->next) read_option(reader, key, node, axis);
  choices->axis_count++;
}

static void read_lines(struct sb_reader *reader, const struct sb_node *section, struct sb_choices *choices)
{
  if (section->kind == SB_NODE_BROKEN) return;
  const struct sb_node *shelf = sb_tree_find(section, "wheels");
  if (section->kind != SB_NODE_MAP || section->count > SB_CHOICE_AXIS_MAX || section->count == 0) {
    sb_faults_add(reader->faults, &section->place, "choices", "needs 1 to %d lines PATH: [VALUE, ...], found %s",
                  SB_CHOICE_AXIS_MAX, section->kind == SB_NODE_MAP && section->count > 0 ? "more" : "something else");
    return;
  }
  for (const struct sb_node *line = section->first; line != NULL; line = line->next) {
    if (line != shelf) read_line(reader, line, choices);
  }
  if (shelf != NULL) sb_reader_read_shelf(reader, shelf, &choices->shelf);
}

void sb_reader_read_choices(struct sb_reader *reader, struct sb_scenario *out)
{
  const struct sb_node *choosing = sb_tree_find(reader->root, "choices"),
                       *require = sb_tree_find(reader->root, "require");
  if (choosing == NULL && require == NULL) return;
  struct sb_choices *choices = sb_arena_take(reader->kept, sizeof *choices);
  if (choices == NULL) {
    reader->is_out_of_memory = true;
    return;
  }
  if (choosing != NULL) read_lines(reader, choosing, choices);
  sb_reader_read_section(reader, "require", &sb_require_section, require, &choices->require);
  choices->require.is_present = require != NULL;
  if (require != NULL && reader->faults->total == 0) sb_reader_finish_require(reader, &choices->require);
  out->choices = choices;
}

double sb_choices_count(const struct sb_choices *choices)
{
  double count = 1.0;
  for (int k = 0; k < choices->axis_count; k++) count *= choices->axes[k].option_count;
  return count;
}
