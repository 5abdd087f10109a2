// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/shards.h"

#include <stdlib.h>
#include <string.h>

#include "design/stage.h"

/* The stage that the about of a shard is of; SB_DESIGN_STAGES: it is no shard of a search. */
static int stage_of(const char *about)
{
  static const char start[] = "design ";
  if (strncmp(about, start, strlen(start)) != 0) return SB_DESIGN_STAGES;
  const char *word = about + strlen(start);
  for (int k = 0; k < SB_DESIGN_STAGES; k++) {
    const size_t length = strlen(sb_stage_word((enum sb_design_stage)k));
    if (strncmp(word, sb_stage_word((enum sb_design_stage)k), length) == 0 && word[length] == '\n') return k;
  }
  return SB_DESIGN_STAGES;
}

/* What stands behind a word at the start of a line; NULL: it is another line. */
static char *behind(char *line, const char *word)
{
  const size_t length = strlen(word);
  return strncmp(line, word, length) == 0 && line[length] == ' ' ? line + length + 1 : NULL;
}

static void take_line(struct sb_design_shards *shards, char *line)
{
  const struct {
    const char *word;
    long *number;
  } counts[] = {{"runs", &shards->run_most}, {"tunes", &shards->tune_most}, {"designs", &shards->design_most}};
  for (size_t k = 0; k < sizeof counts / sizeof counts[0]; k++) {
    const char *text = behind(line, counts[k].word);
    if (text != NULL) *counts[k].number = strtol(text, NULL, 10);
  }
  char *file = behind(line, "file"), *set = behind(line, "set"), *load = behind(line, "load");
  if (file != NULL) shards->file = file;
  if (set != NULL) shards->sets[shards->set_count++] = set;
  if (load != NULL) shards->loads[shards->load_count++] = load;
}

/* Takes the command out of an about, which it owns from here on. */
static enum sb_status read_command(char *about, struct sb_design_shards *shards, struct sb_error *err)
{
  size_t lines = 1;
  for (const char *at = about; *at != 0; at++) lines += *at == '\n';
  shards->about = about;
  shards->sets = calloc(lines, sizeof *shards->sets);
  shards->loads = calloc(lines, sizeof *shards->loads);
  if (shards->sets == NULL || shards->loads == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for shards");
  char *rest = NULL;
  for (char *line = strtok_r(about, "\n", &rest); line != NULL; line = strtok_r(NULL, "\n", &rest)) {
    take_line(shards, line);
  }
  return SB_OK;
}

/* The stage of each file. */
static enum sb_status look(const char *const *paths, size_t count, int *stages, struct sb_design_shards *out,
                           struct sb_error *err)
{
  for (size_t k = 0; k < count; k++) {
    char *about = NULL;
    enum sb_status status = sb_tasks_read_about(paths[k], &about, err);
    if (status != SB_OK) return status;
    stages[k] = stage_of(about);
    if (stages[k] == SB_DESIGN_STAGES) {
      free(about);
      return sb_fail(err, SB_ERR_SCENARIO, "%s: no shard of a search for designs", paths[k]);
    }
    out->is_given[stages[k]] = true;
    if (k == 0) {
      status = read_command(about, out, err);
    } else {
      free(about);
    }
    if (status != SB_OK) return status;
  }
  return SB_OK;
}

static enum sb_status join(const char *const *paths, size_t count, const int *stages, const char **own,
                           struct sb_design_shards *out, struct sb_error *err)
{
  for (int stage = 0; stage < SB_DESIGN_STAGES; stage++) {
    size_t own_count = 0;
    for (size_t k = 0; k < count; k++) {
      if (stages[k] == stage) own[own_count++] = paths[k];
    }
    if (own_count == 0) continue;
    out->is_given[stage] = false; /* until there is a result */
    const enum sb_status status = sb_tasks_join(own, own_count, &out->results[stage], err);
    if (status != SB_OK) return status;
    out->is_given[stage] = true;
  }
  return SB_OK;
}

enum sb_status sb_design_shards_join(const char *const *paths, size_t path_count, struct sb_design_shards *out,
                                     struct sb_error *err)
{
  *out = (struct sb_design_shards){.file = ""};
  int *stages = calloc(path_count, sizeof *stages);
  const char **own = calloc(path_count, sizeof *own);
  enum sb_status status = SB_OK;
  if (stages == NULL || own == NULL) status = sb_fail(err, SB_ERR_MEMORY, "out of memory for shards");
  if (status == SB_OK) status = look(paths, path_count, stages, out, err);
  for (int k = 0; k < SB_DESIGN_STAGES && status != SB_OK; k++) out->is_given[k] = false;
  if (status == SB_OK) status = join(paths, path_count, stages, own, out, err);
  free(stages);
  free((void *)own);
  if (status != SB_OK) sb_design_shards_clear(out);
  return status;
}

void sb_design_shards_clear(struct sb_design_shards *shards)
{
  for (int k = 0; k < SB_DESIGN_STAGES; k++) {
    if (shards->is_given[k]) sb_tasks_result_clear(&shards->results[k]);
  }
  free((void *)shards->sets);
  free((void *)shards->loads);
  free(shards->about);
  *shards = (struct sb_design_shards){.file = ""};
}
