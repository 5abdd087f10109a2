// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * document.h - YAML text as a tree that remembers where everything stands.
 *
 * Only plain YAML is taken: one document of maps, lists and single values. Anchors, aliases, tags, repeated keys and
 * more than SB_DEPTH_MAX levels are faults, so the tree is never larger than its text.
 */
#ifndef SHIFTBAND_SCENARIO_DOCUMENT_H
#define SHIFTBAND_SCENARIO_DOCUMENT_H

#include "base/arena.h"
#include "base/faults.h"

enum { SB_DEPTH_MAX = 16, SB_MAP_MAX = 256, SB_TEXT_MAX = 1 << 20 };

enum sb_node_kind {
  SB_NODE_VALUE,
  SB_NODE_LIST,
  SB_NODE_MAP,
  SB_NODE_BROKEN /* a fault was reported in its place: ask no more of it */
};

struct sb_node {
  enum sb_node_kind kind;
  struct sb_place place;
  const char *key;           /* its key in a map; NULL in a list and at the top */
  struct sb_place key_place; /* of the key; in a list, of the node itself */
  const char *text;          /* a value's text */
  int count;                 /* children of a list or map */
  struct sb_node *first, *last, *next;
};

/* What reading needs at hand. */
struct sb_document {
  struct sb_arena *arena; /* owns the nodes */
  struct sb_fault_list *faults;
  bool is_out_of_memory;
};

/*
 * Reads one document. `start` gives the place of the text: a file (set_path NULL) or a --set, where the top may be of
 * any kind; a file's top must be a map. Returns NULL when there is no usable tree: the faults say why.
 */
struct sb_node *sb_document_read(struct sb_document *document, const char *text, size_t length,
                                 const struct sb_place *start);

/* The child of that key, or NULL. */
struct sb_node *sb_tree_find(const struct sb_node *map, const char *key);

/* The child of that number, from 1, or NULL. */
struct sb_node *sb_tree_at(const struct sb_node *list, long number);

/* The child for one step of a path: a key in a map, a number from 1 or the `name` of a map in a list; or NULL. */
struct sb_node *sb_tree_step(const struct sb_node *node, const char *step);

/* Where the value of a dotted path stands; when it is missing, the key of the section that misses it. */
struct sb_place sb_tree_place_of(const struct sb_node *root, const char *path);

/* Cuts the next step off a dotted path into out (cut to size); returns the rest, or NULL at its end. */
const char *sb_tree_path_step(const char *path, char *out, size_t size);

/*
 * Replaces or adds the value at path in the tree, as asked by a --set, making sections on the way. What does not fit
 * becomes a fault in the place of value.
 */
void sb_document_set(struct sb_document *document, struct sb_node *root, const char *path, struct sb_node *value);

/* Puts a child behind the others of a list or map. */
void sb_tree_append(struct sb_node *parent, struct sb_node *child);

#endif
