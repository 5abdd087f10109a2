// SPDX-License-Identifier: GPL-3.0-or-later
/* Finding and replacing nodes of a tree by their dotted path. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "scenario/document.h"
#include "shiftband/units.h"

void sb_tree_append(struct sb_node *parent, struct sb_node *child)
{
  if (parent->last != NULL) {
    parent->last->next = child;
  } else {
    parent->first = child;
  }
  parent->last = child;
  parent->count++;
}

struct sb_node *sb_tree_find(const struct sb_node *map, const char *key)
{
  if (map == NULL || map->kind != SB_NODE_MAP) return NULL;
  struct sb_node *node = map->first;
  while (node != NULL && strcmp(node->key, key) != 0) node = node->next;
  return node;
}

struct sb_node *sb_tree_at(const struct sb_node *list, long number)
{
  if (list == NULL || list->kind != SB_NODE_LIST || number < 1 || number > list->count) return NULL;
  struct sb_node *node = list->first;
  while (--number > 0) node = node->next;
  return node;
}

/* A list's item by the value of its `name`. */
static struct sb_node *find_by_name(const struct sb_node *list, const char *name)
{
  for (struct sb_node *item = list->first; item != NULL; item = item->next) {
    const struct sb_node *own = sb_tree_find(item, "name");
    if (own != NULL && own->kind == SB_NODE_VALUE && strcmp(own->text, name) == 0) return item;
  }
  return NULL;
}

/* The number that a step is, from 1; 0 when it is none. */
static long number_of_step(const char *step)
{
  const size_t digits = strspn(step, "0123456789");
  return digits > 0 && digits < 7 && step[digits] == 0 ? atol(step) : 0;
}

struct sb_node *sb_tree_step(const struct sb_node *node, const char *step)
{
  if (node == NULL) return NULL;
  if (node->kind == SB_NODE_MAP) return sb_tree_find(node, step);
  if (node->kind != SB_NODE_LIST) return NULL;
  struct sb_node *named = find_by_name(node, step);
  return named != NULL ? named : sb_tree_at(node, number_of_step(step));
}

const char *sb_tree_path_step(const char *path, char *out, size_t size)
{
  const size_t length = strcspn(path, ".");
  const size_t kept = length < size ? length : size - 1;
  memcpy(out, path, kept);
  out[kept] = 0;
  return path[length] == '.' ? path + length + 1 : NULL;
}

struct sb_place sb_tree_place_of(const struct sb_node *root, const char *path)
{
  char step[128];
  const struct sb_node *node = root;
  for (const char *rest = path; rest != NULL;) {
    rest = sb_tree_path_step(rest, step, sizeof step);
    const struct sb_node *child = sb_tree_step(node, step);
    if (child == NULL) return node->key_place;
    node = child;
  }
  return node->place;
}

/* Adds an empty node for one step that is not there yet; NULL (and a fault) where none can be. */
static struct sb_node *add_step(struct sb_document *document, struct sb_node *parent, const char *step,
                                const struct sb_place *place)
{
  if (parent->kind == SB_NODE_VALUE) {
    sb_faults_add(document->faults, place, "", "needs a section before %s, found a single value",
                  sb_fail_quote(step).text);
    return NULL;
  }
  if (parent->kind == SB_NODE_BROKEN) return NULL;
  if (parent->kind == SB_NODE_LIST && number_of_step(step) != parent->count + 1) {
    sb_faults_add(document->faults, place, "", "needs a number from 1 to %d or a name, found %s", parent->count + 1,
                  sb_fail_quote(step).text);
    return NULL;
  }
  struct sb_node *child = sb_arena_take(document->arena, sizeof *child);
  char *key = sb_arena_copy(document->arena, step, strlen(step));
  if (child == NULL || key == NULL) {
    document->is_out_of_memory = true;
    return NULL;
  }
  *child = (struct sb_node){.kind = SB_NODE_MAP, .place = *place, .key_place = *place};
  if (parent->kind == SB_NODE_MAP) child->key = key;
  sb_tree_append(parent, child);
  return child;
}

/* The teeth of a mesh, alone or in its section; NULL: the node is no mesh. */
static struct sb_node *teeth_of(struct sb_node *mesh)
{
  struct sb_node *teeth = mesh->kind == SB_NODE_MAP ? sb_tree_find(mesh, "teeth") : mesh;
  return teeth != NULL && teeth->kind == SB_NODE_VALUE && strchr(teeth->text, '/') != NULL ? teeth : NULL;
}

/* Puts the count of one wheel into the teeth of a mesh, "15/30"; false: the step names none. */
static bool set_wheel(struct sb_document *document, struct sb_node *mesh, const char *step, const struct sb_node *value)
{
  const bool is_driver = strcmp(step, "driver") == 0;
  struct sb_node *teeth = is_driver || strcmp(step, "driven") == 0 ? teeth_of(mesh) : NULL;
  if (teeth == NULL || value->kind != SB_NODE_VALUE) return false;
  char text[256];
  const int kept = (int)strcspn(teeth->text, "/");
  if (is_driver) {
    snprintf(text, sizeof text, "%.100s%.100s", value->text, teeth->text + kept);
  } else {
    snprintf(text, sizeof text, "%.*s/%.100s", kept < 100 ? kept : 100, teeth->text, value->text);
  }
  teeth->text = sb_arena_copy(document->arena, text, strlen(text));
  teeth->place = value->place;
  if (teeth->text != NULL) return true;
  document->is_out_of_memory = true;
  teeth->text = "";
  return true;
}

void sb_document_set(struct sb_document *document, struct sb_node *root, const char *path, struct sb_node *value)
{
  char step[128];
  struct sb_node *node = root;
  for (const char *rest = path; rest != NULL;) {
    const bool is_whole = node->key != NULL && strcmp(node->key, "tolerances") == 0; /* its keys are paths themselves */
    if (is_whole) {
      snprintf(step, sizeof step, "%s", rest);
      rest = NULL;
    } else {
      rest = sb_tree_path_step(rest, step, sizeof step);
    }
    struct sb_node *child = sb_tree_step(node, step);
    if (rest == NULL && child == NULL && set_wheel(document, node, step, value)) return;
    if (child == NULL) child = add_step(document, node, step, &value->place);
    if (child == NULL) return;
    node = child;
  }
  /* The node keeps its key and its neighbours; what it holds is new. */
  node->kind = value->kind;
  node->text = value->text;
  node->count = value->count;
  node->first = value->first;
  node->last = value->last;
  node->place = node->key_place = value->place;
}
