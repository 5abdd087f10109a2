// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/document.h"

#include <string.h>
#include <yaml.h>

/* One document being read. */
struct reading {
  struct sb_document *document;
  const struct sb_place *start;
  const char *text;
  size_t length;
  yaml_parser_t parser;
  bool is_given_up; /* nothing sensible follows */
};

static struct sb_place place_of_mark(const struct reading *reading, const yaml_mark_t *mark)
{
  struct sb_place place = *reading->start;
  if (place.set_path == NULL) {
    place.line = (int)mark->line + 1;
    place.column = (int)mark->column + 1;
  }
  return place;
}

/* The place of a byte offset, for faults that libyaml reports so. Columns count characters. */
static struct sb_place place_of_offset(const struct reading *reading, size_t offset)
{
  struct sb_place place = *reading->start;
  if (place.set_path != NULL) return place;
  place.line = place.column = 1;
  for (size_t i = 0; i < offset && i < reading->length; i++) {
    const unsigned char byte = (unsigned char)reading->text[i];
    if (byte == '\n') {
      place.line++;
      place.column = 1;
    } else if ((byte & 0xc0u) != 0x80u) {
      place.column++;
    }
  }
  return place;
}

static void give_up(struct reading *reading, const struct sb_place *place, const char *why)
{
  sb_faults_add(reading->document->faults, place, "", "%s", why);
  reading->is_given_up = true;
}

/* Says what libyaml stumbled over. */
static void report_parser_error(struct reading *reading)
{
  const yaml_parser_t *parser = &reading->parser;
  struct sb_fault_list *faults = reading->document->faults;
  reading->is_given_up = true;
  if (parser->error == YAML_MEMORY_ERROR) {
    reading->document->is_out_of_memory = true;
  } else if (parser->error == YAML_READER_ERROR) {
    const struct sb_place place = place_of_offset(reading, parser->problem_offset);
    sb_faults_add(faults, &place, "", "needs text in UTF-8, found a byte that is none (%s)", parser->problem);
  } else {
    const struct sb_place place = place_of_mark(reading, &parser->problem_mark);
    const size_t at = parser->problem_mark.index;
    const bool is_tab = at < reading->length && reading->text[at] == '\t';
    sb_faults_add(faults, &place, "", "needs plain YAML, found an error: %s%s%s%s",
                  parser->context ? parser->context : "", parser->context ? ", " : "", parser->problem,
                  is_tab ? " (a tab; indent with spaces)" : "");
  }
}

static bool next_event(struct reading *reading, yaml_event_t *event)
{
  if (reading->is_given_up) return false;
  if (yaml_parser_parse(&reading->parser, event)) return true;
  report_parser_error(reading);
  return false;
}

static struct sb_node *new_node(struct reading *reading, enum sb_node_kind kind, const yaml_mark_t *mark)
{
  struct sb_node *node = sb_arena_take(reading->document->arena, sizeof *node);
  if (node == NULL) {
    reading->document->is_out_of_memory = reading->is_given_up = true;
    return NULL;
  }
  node->kind = kind;
  node->place = node->key_place = place_of_mark(reading, mark);
  return node;
}

/* Anchors and tags mean nothing in a scenario; whoever writes one expects something that would not happen. */
static void refuse_decoration(struct reading *reading, const yaml_char_t *anchor, const yaml_char_t *tag,
                              const struct sb_place *place)
{
  if (anchor != NULL) {
    sb_faults_add(reading->document->faults, place, "", "needs plain values, found the anchor %s",
                  sb_fail_quote((const char *)anchor).text);
  }
  if (tag != NULL) {
    sb_faults_add(reading->document->faults, place, "", "needs plain values, found the tag %s",
                  sb_fail_quote((const char *)tag).text);
  }
}

static struct sb_node *read_value(struct reading *reading, const yaml_event_t *event)
{
  struct sb_node *node = new_node(reading, SB_NODE_VALUE, &event->start_mark);
  if (node == NULL) return NULL;
  refuse_decoration(reading, event->data.scalar.anchor, event->data.scalar.tag, &node->place);
  const char *text = (const char *)event->data.scalar.value;
  node->text = sb_arena_copy(reading->document->arena, text, event->data.scalar.length);
  if (node->text == NULL) {
    reading->document->is_out_of_memory = reading->is_given_up = true;
  } else if (strlen(node->text) != event->data.scalar.length) {
    sb_faults_add(reading->document->faults, &node->place, "", "needs plain text, found a zero byte in it");
    node->kind = SB_NODE_BROKEN;
  }
  return node;
}

static struct sb_node *read_node(struct reading *reading, yaml_event_t *event, int depth);

/* Reads the next child of a list or a map, or a map's key, into *child (NULL: unusable); false at the end. */
static bool read_child(struct reading *reading, yaml_event_type_t end, int depth, struct sb_node **child)
{
  yaml_event_t event;
  if (!next_event(reading, &event)) return false;
  const bool is_end = event.type == end;
  *child = is_end ? NULL : read_node(reading, &event, depth + 1);
  yaml_event_delete(&event);
  return !is_end;
}

static struct sb_node *read_list(struct reading *reading, const yaml_event_t *start, int depth)
{
  struct sb_node *list = new_node(reading, SB_NODE_LIST, &start->start_mark);
  if (list == NULL) return NULL;
  refuse_decoration(reading, start->data.sequence_start.anchor, start->data.sequence_start.tag, &list->place);
  for (struct sb_node *item; read_child(reading, YAML_SEQUENCE_END_EVENT, depth, &item);) {
    if (item != NULL) sb_tree_append(list, item);
  }
  return list;
}

/* Reads the value that belongs to a key and puts it into the map, unless the key is there already. */
static void read_entry(struct reading *reading, struct sb_node *map, const struct sb_node *key, int depth)
{
  struct sb_node *value;
  if (!read_child(reading, YAML_NO_EVENT, depth, &value) || value == NULL) return;
  struct sb_fault_list *faults = reading->document->faults;
  if (key->kind != SB_NODE_VALUE) {
    if (key->kind != SB_NODE_BROKEN) sb_faults_add(faults, &key->place, "", "needs a key, found a list or a section");
    return;
  }
  const struct sb_node *earlier = sb_tree_find(map, key->text);
  if (earlier != NULL) {
    sb_faults_add(faults, &key->place, "", "repeated key %s, first given in line %d", sb_fail_quote(key->text).text,
                  earlier->key_place.line);
    return;
  }
  if (map->count == SB_MAP_MAX) {
    give_up(reading, &key->place, "needs at most 256 keys in a section, found more");
    return;
  }
  value->key = key->text;
  value->key_place = key->place;
  sb_tree_append(map, value);
}

static struct sb_node *read_map(struct reading *reading, const yaml_event_t *start, int depth)
{
  struct sb_node *map = new_node(reading, SB_NODE_MAP, &start->start_mark);
  if (map == NULL) return NULL;
  refuse_decoration(reading, start->data.mapping_start.anchor, start->data.mapping_start.tag, &map->place);
  for (struct sb_node *key; read_child(reading, YAML_MAPPING_END_EVENT, depth, &key);) {
    if (key != NULL) read_entry(reading, map, key, depth);
  }
  return map;
}

static struct sb_node *read_node(struct reading *reading, yaml_event_t *event, int depth)
{
  const struct sb_place place = place_of_mark(reading, &event->start_mark);
  const bool is_group = event->type == YAML_SEQUENCE_START_EVENT || event->type == YAML_MAPPING_START_EVENT;
  if (is_group && depth >= SB_DEPTH_MAX) {
    give_up(reading, &place, "needs at most 16 levels, found one more");
    return NULL;
  }
  switch (event->type) {
    case YAML_SCALAR_EVENT: return read_value(reading, event);
    case YAML_SEQUENCE_START_EVENT: return read_list(reading, event, depth);
    case YAML_MAPPING_START_EVENT: return read_map(reading, event, depth);
    case YAML_ALIAS_EVENT: {
      sb_faults_add(reading->document->faults, &place, "", "needs plain values, found the alias %s",
                    sb_fail_quote((const char *)event->data.alias.anchor).text);
      return new_node(reading, SB_NODE_BROKEN, &event->start_mark);
    }
    default: return NULL;
  }
}

/* Reads all events: one document, and nothing behind it. */
static struct sb_node *read_stream(struct reading *reading)
{
  struct sb_node *root = NULL;
  int documents = 0;
  bool is_end = false;
  yaml_event_t event;
  while (!is_end && next_event(reading, &event)) {
    const struct sb_place place = place_of_mark(reading, &event.start_mark);
    if (event.type == YAML_DOCUMENT_START_EVENT) {
      documents++;
      is_end = documents > 1;
      if (is_end) sb_faults_add(reading->document->faults, &place, "", "needs one document, found a second one");
    } else if (event.type == YAML_STREAM_END_EVENT) {
      is_end = true;
    } else if (event.type != YAML_STREAM_START_EVENT && event.type != YAML_DOCUMENT_END_EVENT) {
      root = read_node(reading, &event, 0);
    }
    yaml_event_delete(&event);
  }
  return reading->is_given_up ? NULL : root;
}

/* A fragment with no text at all has no document: stands for an empty value, as after a colon in a file. */
static struct sb_node *check_top(struct reading *reading, struct sb_node *root)
{
  const struct sb_place start = place_of_offset(reading, 0);
  if (reading->is_given_up) return NULL;
  if (reading->start->set_path != NULL) {
    const yaml_mark_t mark = {0};
    if (root == NULL) root = new_node(reading, SB_NODE_VALUE, &mark);
    if (root != NULL && root->kind == SB_NODE_VALUE && root->text == NULL) root->text = "";
    return root;
  }
  if (root == NULL) {
    give_up(reading, &start, "needs a scenario, found an empty file");
  } else if (root->kind != SB_NODE_MAP) {
    give_up(reading, &root->place, "needs sections such as `motor:` at the top, found none");
  }
  return reading->is_given_up ? NULL : root;
}

struct sb_node *sb_document_read(struct sb_document *document, const char *text, size_t length,
                                 const struct sb_place *start)
{
  /* A byte-order mark at the start means nothing in UTF-8. */
  if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
    text += 3;
    length -= 3;
  }
  struct reading reading = {.document = document, .start = start, .text = text, .length = length};
  const char *zero = length > 0 ? memchr(text, 0, length) : NULL;
  const struct sb_place zero_place = place_of_offset(&reading, zero != NULL ? (size_t)(zero - text) : 0);
  if (length > SB_TEXT_MAX) {
    give_up(&reading, &zero_place, "needs a scenario of at most 1 MiB, found more");
    return NULL;
  }
  if (zero != NULL) {
    give_up(&reading, &zero_place, "needs plain text, found a zero byte");
    return NULL;
  }
  if (!yaml_parser_initialize(&reading.parser)) {
    document->is_out_of_memory = true;
    return NULL;
  }
  yaml_parser_set_encoding(&reading.parser, YAML_UTF8_ENCODING);
  yaml_parser_set_input_string(&reading.parser, (const unsigned char *)text, length);
  struct sb_node *root = check_top(&reading, read_stream(&reading));
  yaml_parser_delete(&reading.parser);
  return root;
}
