// SPDX-License-Identifier: GPL-3.0-or-later
/* The choices of a scenario read alone, and a scenario written again without them. */
#include <limits.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "scenario/choices.h"
#include "scenario/reading.h"
#include "scenario/write.h"

enum sb_status sb_choices_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out,
                               struct sb_faults *faults)
{
  const struct sb_reading_way reading = {.is_choices_only = true};
  return sb_reading_load(path, sets, set_count, &reading, out, faults);
}

struct rewriting {
  FILE *out;
  char folder[PATH_MAX]; /* of the scenario, with its last slash */
  const struct sb_table_taker *taker;
  bool is_out_of_memory;
  struct sb_arena arena;
};

/* Cuts a key out of a map. */
static void drop(struct sb_node *map, const char *key)
{
  struct sb_node **link = &map->first, *last = NULL;
  while (*link != NULL) {
    if (strcmp((*link)->key, key) == 0) {
      *link = (*link)->next;
      map->count--;
    } else {
      last = *link;
      link = &last->next;
    }
  }
  map->last = last;
}

/* Names a table by its path without folders, and tells of it. */
static void move_file(struct rewriting *rewriting, struct sb_node *node)
{
  char path[2 * PATH_MAX];
  if (node->kind != SB_NODE_VALUE || node->text[0] == 0) return;
  const char *folder = node->text[0] == '/' ? "" : rewriting->folder;
  snprintf(path, sizeof path, "%s%.4000s", folder, node->text);
  char *name = sb_arena_copy(&rewriting->arena, node->text, strlen(node->text));
  rewriting->is_out_of_memory = rewriting->is_out_of_memory || name == NULL;
  if (name == NULL) return;
  for (char *at = name; *at != 0; at++) *at = (char)(*at == '/' ? '-' : *at);
  node->text = name;
  rewriting->taker->take(rewriting->taker->context, path, name);
}

static void move_files(struct rewriting *rewriting, struct sb_node *node)
{
  for (struct sb_node *child = node->first; child != NULL; child = child->next) {
    const bool is_file =
        child->key != NULL && (strcmp(child->key, "file") == 0 || strcmp(child->key, "grade_file") == 0);
    if (is_file) move_file(rewriting, child);
    move_files(rewriting, child);
  }
}

static void rewrite(void *context, struct sb_node *root)
{
  struct rewriting *rewriting = context;
  drop(root, "choices");
  drop(root, "require");
  move_files(rewriting, root);
  sb_write_block(rewriting->out, root, 0);
}

/* The absolute folder of a scenario, with its last slash; standard input stands in the working folder. */
static void find_folder(const char *path, char folder[PATH_MAX])
{
  const char *slash = strrchr(path, '/');
  const int own = slash != NULL ? (int)(slash - path) + 1 : 0;
  size_t length = 0;
  if (path[0] != '/' && getcwd(folder, PATH_MAX) != NULL) length = strlen(folder);
  snprintf(folder + length, PATH_MAX - length, "%s%.*s", length > 0 ? "/" : "", own, path);
}

enum sb_status sb_choices_write_scenario(FILE *out, const char *path, const char *const *sets, size_t set_count,
                                         const struct sb_table_taker *taker, struct sb_faults *faults)
{
  struct rewriting *rewriting = calloc(1, sizeof *rewriting);
  struct sb_scenario *unused = calloc(1, sizeof *unused);
  enum sb_status status = SB_ERR_MEMORY;
  *faults = (struct sb_faults){0};
  if (rewriting != NULL && unused != NULL) {
    rewriting->out = out;
    rewriting->taker = taker;
    find_folder(path, rewriting->folder);
    const struct sb_reading_way reading = {.rewrite = rewrite, .context = rewriting};
    status = sb_reading_load(path, sets, set_count, &reading, unused, faults);
    if (status == SB_OK) sb_scenario_clear(unused);
    if (status == SB_OK && rewriting->is_out_of_memory) status = SB_ERR_MEMORY;
    sb_arena_clear(&rewriting->arena);
  }
  free(unused);
  free(rewriting);
  return status;
}
