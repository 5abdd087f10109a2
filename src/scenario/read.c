// SPDX-License-Identifier: GPL-3.0-or-later
/* One loop over the table of keys that fills the draft from the tree. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/unseen.h"
#include "scenario/reader.h"

enum { KEY_NAME_MAX = 24, KIND_MAX = 8 }; /* keys of one section, kinds of one key at most */

static void read_section(struct sb_reader *reader, const struct sb_section *section, const struct sb_node *node,
                         void *base, bool has_kind);

struct sb_path sb_reader_path(const char *format, ...)
{
  struct sb_path path;
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(path.text, sizeof path.text, format, arguments);
  va_end(arguments);
  return path;
}

void sb_reader_fault(struct sb_reader *reader, const char *path, const char *format, ...)
{
  char text[1024];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  const struct sb_place place = sb_tree_place_of(reader->root, path);
  sb_faults_add(reader->faults, &place, path, "%s", text);
}

void sb_reader_note(struct sb_reader *reader, const struct sb_place *place, const char *path, const char *format, ...)
{
  char text[1024];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  const bool is_path_said = place->set_path != NULL && strcmp(place->set_path, path) == 0;
  sb_faults_add(reader->notes, place, "", "note: %s%s%s", is_path_said ? "" : path, is_path_said ? "" : ": ", text);
}

void sb_reader_note_unit(struct sb_reader *reader, const struct sb_node *node, const char *path,
                         enum sb_quantity quantity)
{
  struct sb_unit_text unit;
  const bool is_new = !reader->has_unit_note && sb_units_taken_as(node->text, quantity, &unit);
  if (!is_new) return;
  sb_reader_note(reader, &node->place, path, "%s is taken as %s, and so are others like it",
                 sb_fail_quote(node->text).text, unit.text);
  reader->has_unit_note = true;
}

const struct sb_node *sb_reader_node(const struct sb_reader *reader, const char *path)
{
  char step[128];
  const struct sb_node *node = reader->root;
  while (path != NULL && node != NULL) {
    path = sb_tree_path_step(path, step, sizeof step);
    node = sb_tree_step(node, step);
  }
  return node;
}

bool sb_reader_has(const struct sb_reader *reader, const char *path)
{
  return sb_reader_node(reader, path) != NULL;
}

/* Appends a step to the path; returns the length to go back to. */
static size_t push(struct sb_reader *reader, const char *step)
{
  const size_t length = strlen(reader->path);
  sb_fail_add(reader->path, SB_PATH_SIZE, "%s%s", length > 0 ? "." : "", step);
  return length;
}

static size_t push_number(struct sb_reader *reader, int number)
{
  char step[16];
  snprintf(step, sizeof step, "%d", number);
  return push(reader, step);
}

static void pop(struct sb_reader *reader, size_t length)
{
  reader->path[length] = 0;
}

static void remember(struct sb_reader *reader, const struct sb_key *key, const struct sb_given *given, bool is_given)
{
  if (reader->is_silent) return;
  struct sb_value *value = sb_arena_take(reader->scratch, sizeof *value);
  if (value == NULL) {
    reader->is_out_of_memory = true;
    return;
  }
  snprintf(value->path, sizeof value->path, "%s", reader->path);
  value->key = key;
  value->quantity = given->quantity;
  value->value = given->value;
  value->is_given = is_given;
  value->next = reader->values;
  reader->values = value;
}

/* A fault about the text of a value: `needs ..., found ...`. */
static void refuse(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, const char *why)
{
  sb_faults_add(reader->faults, &node->place, reader->path, "needs %s, found %s%s", sb_reader_key_words(key).text,
                node->text[0] == 0 ? "nothing" : sb_fail_quote(node->text).text, why);
}

static void refuse_range(struct sb_reader *reader, const struct sb_key *key, enum sb_quantity quantity,
                         const struct sb_node *node, double value)
{
  char converted[64] = "";
  const char *si = sb_units_si(quantity);
  const size_t text_length = strlen(node->text), si_length = strlen(si);
  const bool is_si = text_length >= si_length && strcmp(node->text + text_length - si_length, si) == 0;
  if (!is_si) snprintf(converted, sizeof converted, ", which is %.10g %s", value, si);
  struct sb_key_words range = sb_reader_key_range_words(key);
  if (quantity != key->quantity) snprintf(range.text, sizeof range.text, "above 0 %s, at most 1e9 %s", si, si);
  sb_faults_add(reader->faults, &node->place, reader->path, "needs %s %s, found %s%s", sb_units_words(quantity),
                range.text, sb_fail_quote(node->text).text, converted);
}

/* A value of one of the key's quantities, in its bounds; NAN (and a fault) when it is none. */
static struct sb_given read_number(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node)
{
  struct sb_given given = {NAN, key->quantity};
  struct sb_error err;
  const enum sb_quantity second = key->kind == SB_KEY_EITHER ? key->other : key->quantity;
  double value;
  if (key->word != NULL && strcmp(node->text, key->word) == 0) {
    given.value = key->word_value;
  } else if (sb_units_parse_either(node->text, key->quantity, second, &value, &given.quantity, &err) != SB_OK) {
    if (key->word != NULL) {
      refuse(reader, key, node, "");
    } else {
      sb_faults_add(reader->faults, &node->place, reader->path, "%s", err.text);
    }
  } else if (!sb_reader_key_holds(key, given.quantity, value)) {
    refuse_range(reader, key, given.quantity, node, value);
  } else {
    given.value = value;
    sb_reader_note_unit(reader, node, reader->path, given.quantity);
  }
  remember(reader, key, &given, node->place.line > 0 || node->place.set_path != NULL);
  return given;
}

static void read_whole(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, long *out)
{
  const size_t length = strlen(node->text);
  const bool is_whole = length > 0 && strspn(node->text, "0123456789") == length;
  const double value = is_whole && length < 16 ? strtod(node->text, NULL) : NAN;
  if (value >= key->lower && value <= key->upper) {
    *out = (long)value;
    const struct sb_given given = {value, SB_RATIO};
    remember(reader, key, &given, node->place.line > 0 || node->place.set_path != NULL);
    return;
  }
  sb_faults_add(reader->faults, &node->place, reader->path, "needs a whole number %s, found %s",
                sb_reader_key_range_words(key).text, length > 0 ? sb_fail_quote(node->text).text : "nothing");
}

/* A choice that is none: with what to write where that is known, else with the nearest name. */
static void refuse_choice(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, bool is_known)
{
  const char *names[KEY_NAME_MAX + 1] = {NULL};
  char instead[64] = "", why[sizeof(struct sb_nearest)] = "";
  int count = 0;
  for (const struct sb_choice *choice = key->choices; choice->name != NULL; choice++) {
    if (choice->value != SB_CHOICE_REFUSED) names[count++] = choice->name;
  }
  if (key->instead != NULL) snprintf(instead, sizeof instead, ", or %s in its place", key->instead);
  if (!is_known) snprintf(why, sizeof why, "%s", sb_nearest_hint(node->text, names).text);
  sb_faults_add(reader->faults, &node->place, reader->path, "needs %s%s, found %s%s%s", sb_reader_key_words(key).text,
                instead, node->text[0] == 0 ? "nothing" : sb_fail_quote(node->text).text, why,
                is_known ? key->refusal : "");
}

static void read_choice(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, int *out)
{
  const struct sb_choice *choice = key->choices;
  while (choice->name != NULL && !sb_nearest_is_same(choice->name, node->text)) choice++;
  if (choice->name == NULL || choice->value == SB_CHOICE_REFUSED) {
    refuse_choice(reader, key, node, choice->name != NULL);
  } else {
    *out = choice->value;
  }
}

static void read_flag(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, bool *out)
{
  const bool is_true = strcmp(node->text, "true") == 0;
  if (!is_true && strcmp(node->text, "false") != 0) {
    refuse(reader, key, node, "");
  } else {
    *out = is_true;
  }
}

static void read_text(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, char *out)
{
  const char *why = strlen(node->text) >= key->size ? ", which is too long" : "";
  for (const char *p = node->text; *p != 0; p++) {
    if (sb_unseen_length(p) > 0) why = ", which holds control characters";
  }
  if (node->text[0] == 0 || why[0] != 0) {
    refuse(reader, key, node, why);
  } else {
    strcpy(out, node->text);
  }
}

/* Reads teeth such as 15 at *text, 1 to 10000; NAN when there are none. */
static double read_teeth_count(const struct sb_key *key, const char **text)
{
  const size_t digits = strspn(*text, "0123456789");
  const double count = digits > 0 && digits < 10 ? strtod(*text, NULL) : NAN;
  *text += digits;
  return count >= key->lower && count <= key->upper ? count : NAN;
}

/* The counts of a mesh, each as a number that can be set: "...meshes.2.driven", whether its teeth stand alone or in a section. */
static void remember_teeth(struct sb_reader *reader, const double teeth[2], bool is_given)
{
  static const struct sb_key wheels[] = {{.name = "driver", .kind = SB_KEY_WHOLE},
                                         {.name = "driven", .kind = SB_KEY_WHOLE}};
  char path[SB_PATH_SIZE];
  snprintf(path, sizeof path, "%s", reader->path);
  const size_t length = strlen(path), own = strlen(".teeth");
  const bool is_section = length > own && strcmp(path + length - own, ".teeth") == 0;
  for (int k = 0; k < 2; k++) {
    const struct sb_given given = {teeth[k], SB_RATIO};
    snprintf(reader->path, SB_PATH_SIZE, "%.*s.%s", (int)(is_section ? length - own : length), path, wheels[k].name);
    remember(reader, &wheels[k], &given, is_given);
  }
  snprintf(reader->path, SB_PATH_SIZE, "%s", path);
}

static void read_teeth(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, double out[2])
{
  const char *text = node->text;
  out[0] = read_teeth_count(key, &text);
  const bool is_pair = *text == '/';
  if (is_pair) text++;
  out[1] = read_teeth_count(key, &text);
  if (is_pair && *text == 0 && isfinite(out[0]) && isfinite(out[1])) {
    remember_teeth(reader, out, node->place.line > 0 || node->place.set_path != NULL);
    return;
  }
  out[0] = out[1] = NAN;
  sb_faults_add(reader->faults, &node->place, reader->path,
                "needs teeth as driver/driven, such as 15/30, each a whole number %s, found %s",
                sb_reader_key_range_words(key).text, node->text[0] == 0 ? "nothing" : sb_fail_quote(node->text).text);
}

/* Any key that is a single value. */
static void read_value(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, void *field)
{
  switch (key->kind) {
    case SB_KEY_QUANTITY: *(double *)field = read_number(reader, key, node).value; break;
    case SB_KEY_EITHER: *(struct sb_given *)field = read_number(reader, key, node); break;
    case SB_KEY_WHOLE: read_whole(reader, key, node, field); break;
    case SB_KEY_FLAG: read_flag(reader, key, node, field); break;
    case SB_KEY_CHOICE: read_choice(reader, key, node, field); break;
    case SB_KEY_TEXT: read_text(reader, key, node, field); break;
    case SB_KEY_TEETH: read_teeth(reader, key, node, field); break;
    default: break;
  }
}

/* What a key holds when nothing was given or what was given is no use. */
static void clear_key(const struct sb_key *key, char *base)
{
  void *field = base + key->offset;
  if (key->kind == SB_KEY_QUANTITY) *(double *)field = NAN;
  if (key->kind == SB_KEY_TEETH) ((double *)field)[0] = ((double *)field)[1] = NAN;
  if (key->kind == SB_KEY_EITHER) {
    const int count = key->flags & SB_MANY ? key->max : 1;
    for (int i = 0; i < count; i++) ((struct sb_given *)field)[i] = (struct sb_given){NAN, key->quantity};
  }
}

static void read_default(struct sb_reader *reader, const struct sb_key *key, char *base)
{
  if (key->kind == SB_KEY_SECTION) {
    read_section(reader, key->section, NULL, base, false);
    if (key->flags & SB_SHORT_FORM) read_default(reader, &key->section->keys[0], base); /* under its own path too */
    return;
  }
  if (key->default_text == NULL) {
    const struct sb_given none = {NAN, key->quantity};
    if (key->kind == SB_KEY_QUANTITY || key->kind == SB_KEY_EITHER) remember(reader, key, &none, false);
    return;
  }
  const struct sb_node node = {.kind = SB_NODE_VALUE, .text = key->default_text};
  read_value(reader, key, &node, base + key->offset);
}

/* A fault when the node is of another kind than needed; broken nodes had theirs. */
static bool is_of_kind(struct sb_reader *reader, const struct sb_node *node, enum sb_node_kind wanted,
                       const char *needs)
{
  if (node->kind == wanted) return true;
  static const char *const found[] = {"a single value", "a list", "a section", ""};
  const bool is_nothing = node->kind == SB_NODE_VALUE && node->text[0] == 0;
  if (node->kind != SB_NODE_BROKEN) {
    sb_faults_add(reader->faults, &node->place, reader->path, "needs %s, found %s", needs,
                  is_nothing ? "nothing" : found[node->kind]);
  }
  return false;
}

static void refuse_kind(struct sb_reader *reader, const struct sb_key *key, const struct sb_place *place,
                        const char *found)
{
  const char *names[KIND_MAX + 1] = {NULL};
  char list[SB_WORDS_SIZE] = "";
  for (int i = 0; key->kinds[i] != NULL; i++) {
    names[i] = key->kinds[i]->name;
    sb_fail_add(list, sizeof list, "%s%s", i == 0 ? "" : key->kinds[i + 1] == NULL ? " or " : ", ", names[i]);
  }
  sb_faults_add(reader->faults, place, reader->path, "needs a kind: %s, found %s%s", list,
                found != NULL && found[0] != 0 ? sb_fail_quote(found).text : "nothing",
                sb_nearest_hint(found != NULL ? found : "", names).text);
}

/* A section whose keys depend on its `kind`. */
static void read_kind(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, void *base)
{
  if (!is_of_kind(reader, node, SB_NODE_MAP, "a section with a kind")) return;
  const struct sb_node *kind = sb_tree_find(node, "kind");
  const size_t length = push(reader, "kind");
  const bool is_usable = kind != NULL && is_of_kind(reader, kind, SB_NODE_VALUE, "the name of a kind");
  const struct sb_section *const *section = key->kinds;
  while (is_usable && *section != NULL && strcmp((*section)->name, kind->text) != 0) section++;
  if (kind == NULL) {
    refuse_kind(reader, key, &node->key_place, NULL);
  } else if (is_usable && *section == NULL) {
    refuse_kind(reader, key, &kind->place, kind->text);
  }
  pop(reader, length);
  if (!is_usable || *section == NULL) return;
  key->set_kind(base, *section, node);
  read_section(reader, *section, node, base, true);
}

/* A section, or a single value for its first key: the defaults then hold for the others. */
static void read_whole_section(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node,
                               void *base)
{
  const struct sb_key *first = &key->section->keys[0];
  const bool is_short = (key->flags & SB_SHORT_FORM) && node->kind == SB_NODE_VALUE;
  const char *needs = key->flags & SB_SHORT_FORM ? "a single value or a section" : "a section";
  const bool is_map = !is_short && is_of_kind(reader, node, SB_NODE_MAP, needs);
  read_section(reader, key->section, is_map ? node : NULL, base, false);
  if (is_short) read_value(reader, first, node, (char *)base + first->offset);
}

static void read_item(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, void *item)
{
  if (key->kinds != NULL) {
    read_kind(reader, key, node, item);
  } else {
    read_whole_section(reader, key, node, item);
  }
}

static void read_list(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, char *base)
{
  const struct sb_key_words words = sb_reader_key_words(key);
  int *count = (int *)(void *)(base + key->count_offset);
  if (!is_of_kind(reader, node, SB_NODE_LIST, words.text)) return;
  if (node->count > key->max || (node->count == 0 && (key->flags & (SB_REQUIRED | SB_NOT_EMPTY)))) {
    sb_faults_add(reader->faults, &node->place, reader->path, "needs %s, found %d", words.text, node->count);
  }
  for (const struct sb_node *item = node->first; item != NULL && *count < key->max; item = item->next) {
    const size_t length = push_number(reader, *count + 1);
    read_item(reader, key, item, base + key->offset + (size_t)*count * key->size);
    pop(reader, length);
    ++*count;
  }
}

/* One value, or a list of them. */
static void read_many(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, char *base)
{
  const struct sb_key_words words = sb_reader_key_words(key);
  int *count = (int *)(void *)(base + key->count_offset);
  struct sb_given *fields = (struct sb_given *)(void *)(base + key->offset);
  if (node->kind == SB_NODE_VALUE) {
    fields[0] = read_number(reader, key, node);
    *count = 1;
    return;
  }
  if (!is_of_kind(reader, node, SB_NODE_LIST, words.text)) return;
  for (const struct sb_node *item = node->first; item != NULL; item = item->next) {
    const size_t length = push_number(reader, *count + 1);
    const bool is_value = *count < key->max && is_of_kind(reader, item, SB_NODE_VALUE, "a single value");
    if (is_value) fields[*count] = read_number(reader, key, item);
    pop(reader, length);
    ++*count;
  }
}

static void read_key(struct sb_reader *reader, const struct sb_key *key, const struct sb_node *node, char *base)
{
  if (key->kind == SB_KEY_LATER) return;
  if (key->kind == SB_KEY_KINDS) {
    read_kind(reader, key, node, base);
  } else if (key->kind == SB_KEY_LIST) {
    read_list(reader, key, node, base);
  } else if (key->flags & SB_MANY) {
    read_many(reader, key, node, base);
  } else if (key->kind == SB_KEY_SECTION) {
    read_whole_section(reader, key, node, base);
  } else if (is_of_kind(reader, node, SB_NODE_VALUE, sb_reader_key_words(key).text)) {
    read_value(reader, key, node, base + key->offset);
  }
}

static void refuse_unknown(struct sb_reader *reader, const struct sb_section *section, const struct sb_node *node,
                           bool has_kind)
{
  const char *names[KEY_NAME_MAX + 1] = {NULL};
  char list[512] = "";
  int count = 0;
  if (has_kind) names[count++] = "kind";
  for (int i = 0; section->keys[i].name != NULL; i++) names[count++] = section->keys[i].name;
  const char *nearest = sb_nearest_word(node->key, names);
  if (nearest != NULL) {
    sb_faults_add(reader->faults, &node->key_place, reader->path, "unknown key %s, nearest known is \"%s\"",
                  sb_fail_quote(node->key).text, nearest);
    return;
  }
  for (int i = 0; i < count; i++) {
    sb_fail_add(list, sizeof list, "%s%s", i == 0 ? "" : ", ", names[i]);
  }
  sb_faults_add(reader->faults, &node->key_place, reader->path, "unknown key %s, known are %s",
                sb_fail_quote(node->key).text, list);
}

static void check_known(struct sb_reader *reader, const struct sb_section *section, const struct sb_node *node,
                        bool has_kind)
{
  for (const struct sb_node *child = node->first; child != NULL; child = child->next) {
    const struct sb_key *key = section->keys;
    while (key->name != NULL && strcmp(key->name, child->key) != 0) key++;
    const bool is_kind = has_kind && strcmp(child->key, "kind") == 0;
    if (key->name == NULL && !is_kind) refuse_unknown(reader, section, child, has_kind);
  }
}

/* Reads the keys of a section into base; without a node it takes the defaults. */
static void read_section(struct sb_reader *reader, const struct sb_section *section, const struct sb_node *node,
                         void *base, bool has_kind)
{
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    const struct sb_node *child = sb_tree_find(node, key->name);
    const size_t length = push(reader, key->name);
    clear_key(key, base);
    if (child != NULL) {
      read_key(reader, key, child, base);
    } else {
      read_default(reader, key, base);
    }
    if (child == NULL && node != NULL && (key->flags & SB_REQUIRED)) {
      sb_faults_add(reader->faults, &node->key_place, reader->path, "needs %s, found no such key",
                    sb_reader_key_words(key).text);
    }
    pop(reader, length);
  }
  if (node != NULL) check_known(reader, section, node, has_kind);
}

void sb_reader_read_section(struct sb_reader *reader, const char *path, const struct sb_section *section,
                            const struct sb_node *node, void *base)
{
  const size_t length = strlen(reader->path);
  snprintf(reader->path, sizeof reader->path, "%s", path);
  reader->is_silent = true;
  const bool is_map = node != NULL && is_of_kind(reader, node, SB_NODE_MAP, "a section");
  read_section(reader, section, is_map ? node : NULL, base, false);
  reader->is_silent = false;
  pop(reader, length);
}

void sb_reader_resolve(struct sb_reader *reader, const char *path, double number)
{
  for (struct sb_value *value = reader->values; value != NULL; value = value->next) {
    if (!value->is_given && strcmp(value->path, path) == 0) value->value = number;
  }
}

void sb_reader_default(struct sb_reader *reader, const char *path, double *field, double value)
{
  if (sb_reader_has(reader, path)) return;
  *field = value;
  sb_reader_resolve(reader, path, value);
}

bool sb_reader_has_one(struct sb_reader *reader, const char *section, const char *first, const char *second,
                       const char *where)
{
  const bool has_first = sb_reader_has(reader, PATH("%s.%s", section, first));
  if (has_first != sb_reader_has(reader, PATH("%s.%s", section, second))) return true;
  sb_reader_fault(reader, PATH("%s.%s", section, has_first ? second : first), "needs one of %s and %s%s, found %s",
                  first, second, where, has_first ? "both" : "neither");
  return false;
}

void sb_reader_read_keys(struct sb_reader *reader, const struct sb_section *schema)
{
  read_section(reader, schema, reader->root, reader->draft, false);
}
