// SPDX-License-Identifier: GPL-3.0-or-later
/* From a file or a text to a checked model, stage by stage. */
#include "shiftband/scenario.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text_file.h"
#include "scenario/old_names.h"
#include "scenario/reader.h"
#include "scenario/reading.h"

/* All that lives while one scenario is read. */
struct work {
  struct sb_reader reader;
  struct sb_document document;
  struct sb_fault_list faults, notes;
  struct sb_arena scratch, kept;
  struct sb_draft draft;
  struct sb_scenario scenario;
  const struct sb_reading_way *reading;
};

/* Puts the values of all --set into the tree. The first that is not PATH=VALUE ends it: *bad is that text. */
static void apply_sets(struct work *work, struct sb_node *root, const char *const *sets, size_t set_count,
                       const char **bad)
{
  for (size_t i = 0; i < set_count; i++) {
    const char *equals = strchr(sets[i], '=');
    if (equals == NULL || equals == sets[i] || equals - sets[i] >= SB_PATH_SIZE / 2) {
      *bad = sets[i];
      return;
    }
    const char *path = sb_arena_copy(&work->scratch, sets[i], (size_t)(equals - sets[i]));
    if (path == NULL) {
      work->document.is_out_of_memory = true;
      return;
    }
    const struct sb_place place = {.set_path = path, .set_rank = (int)i + 1};
    struct sb_node *value = sb_document_read(&work->document, equals + 1, strlen(equals + 1), &place);
    char renewed[SB_PATH_SIZE];
    if (sb_old_names_renew(path, renewed, sizeof renewed)) {
      sb_faults_add(&work->faults, &place, "", "is now called %s", renewed);
    }
    if (root != NULL && value != NULL) sb_document_set(&work->document, root, renewed, value);
  }
}

static enum sb_status publish_one(struct sb_faults *faults, enum sb_status status, const char *text)
{
  char **texts = calloc(1, sizeof *texts);
  if (texts == NULL || (texts[0] = strdup(text)) == NULL) {
    free(texts);
    return SB_ERR_MEMORY;
  }
  *faults = (struct sb_faults){.count = 1, .texts = texts};
  return status;
}

/* Without a name the scenario is called after its file. */
static void finish_name(struct sb_reader *reader)
{
  char *name = reader->draft->model.name;
  if (name[0] != 0) return;
  const char *slash = strrchr(reader->file, '/');
  const char *base = slash != NULL ? slash + 1 : reader->file;
  snprintf(name, sizeof reader->draft->model.name, "%.*s", (int)(strcspn(base, ".") > 0 ? strcspn(base, ".") : 100),
           base);
}

/* Whether all that was given stands in the draft: what had a fault, or found no memory, is not there to calculate with. */
static bool is_sound(const struct sb_reader *reader)
{
  return reader->faults->total == 0 && !reader->is_out_of_memory;
}

/* Fills in the defaults that hang on other keys, checks keys against each other, and derives once all are sound. */
static void finish_model(struct sb_reader *reader)
{
  finish_name(reader);
  sb_reader_finish_load(reader);
  sb_reader_finish_bodies(reader);
  sb_reader_finish_motor(reader);
  sb_reader_finish_winding(reader);
  sb_reader_finish_magnet(reader);
  sb_reader_finish_supply(reader);
  sb_reader_finish_gearbox(reader);
  sb_reader_finish_driveshaft(reader);
  sb_reader_finish_control(reader);
  sb_reader_finish_run(reader);
  sb_reader_finish_bounds(reader);
  sb_reader_finish_drive(reader);
  sb_reader_finish_limits(reader);

  struct sb_error err;
  if (is_sound(reader) && sb_motor_derive(&reader->draft->model.motor, &err) != SB_OK) {
    sb_reader_fault(reader, "motor", "%s", err.text);
  }
  if (is_sound(reader)) sb_reader_derive_drive(reader);
  if (is_sound(reader)) sb_reader_check_effort(reader);
}

/* Other commands take the machine without what design would choose. */
static void note_choices(struct sb_reader *reader)
{
  const struct sb_node *choices = sb_tree_find(reader->root, "choices");
  const struct sb_node *first = choices != NULL ? choices : sb_tree_find(reader->root, "require");
  if (first == NULL) return;
  sb_reader_note(reader, &first->key_place, first->key, "used by shiftband design alone");
}

static void read_stages(struct work *work)
{
  struct sb_reader *reader = &work->reader;
  const struct sb_reading_way *reading = work->reading;
  if (reading->rewrite != NULL) {
    reading->rewrite(reading->context, reader->root);
    return;
  }
  sb_reader_read_choices(reader, &work->scenario);
  if (reading->is_choices_only) return;
  note_choices(reader);
  sb_reader_read_keys(reader, &sb_scenario_schema);
  finish_model(reader);
  sb_reader_read_tolerances(reader, &work->scenario);
}

/* The numbers of the scenario, oldest first; false when memory runs out. */
static bool list_keys(struct work *work)
{
  size_t count = 0;
  for (const struct sb_value *v = work->reader.values; v != NULL; v = v->next) count++;
  struct sb_scenario_key *keys = sb_arena_take(&work->kept, (count + 1) * sizeof *keys);
  if (keys == NULL) return false;
  work->scenario.keys = keys;
  work->scenario.key_count = count;
  for (const struct sb_value *v = work->reader.values; v != NULL; v = v->next) {
    const char *path = sb_arena_copy(&work->kept, v->path, strlen(v->path));
    if (path == NULL) return false;
    const enum sb_quantity other = v->key->kind == SB_KEY_EITHER ? v->key->other : v->quantity;
    keys[--count] = (struct sb_scenario_key){.path = path,
                                             .quantity = v->key->kind == SB_KEY_EITHER ? v->key->quantity : v->quantity,
                                             .other = other,
                                             .is_whole = v->key->kind == SB_KEY_WHOLE,
                                             .is_given = v->is_given};
  }
  return true;
}

static enum sb_status finish(struct work *work, struct sb_scenario *out, struct sb_faults *faults)
{
  if (work->document.is_out_of_memory || work->reader.is_out_of_memory) return SB_ERR_MEMORY;
  if (work->faults.total > 0) {
    const enum sb_status status = work->reader.is_unreadable ? SB_ERR_IO : SB_ERR_SCENARIO;
    return sb_faults_publish(&work->faults, faults) ? status : SB_ERR_MEMORY;
  }
  struct sb_arena *storage = malloc(sizeof *storage);
  if (storage == NULL || !list_keys(work) || !sb_faults_publish(&work->notes, &work->scenario.notes)) {
    free(storage);
    return SB_ERR_MEMORY;
  }
  *storage = work->kept;
  work->kept.blocks = NULL;
  work->scenario.model = work->draft.model;
  work->scenario.comma_count = work->reader.comma_count;
  memcpy(work->scenario.comma_tables, work->reader.comma_tables, sizeof work->scenario.comma_tables);
  work->scenario.storage = storage;
  *out = work->scenario; /* only a whole, checked scenario */
  return SB_OK;
}

static enum sb_status parse_with(struct work *work, const char *text, size_t length, const char *const *sets,
                                 size_t set_count, struct sb_scenario *out, struct sb_faults *faults)
{
  const struct sb_place start = {.line = 1, .column = 1};
  struct sb_node *root = sb_document_read(&work->document, text, length, &start);
  const char *bad = NULL;
  if (root != NULL) sb_old_names_refuse(root, &work->faults);
  apply_sets(work, root, sets, set_count, &bad);
  if (root != NULL) sb_old_names_refuse(root, &work->faults); /* those in the values of sets */
  if (bad != NULL) {
    char message[256];
    snprintf(message, sizeof message, "--set: needs PATH=VALUE, found %s", sb_fail_quote(bad).text);
    return publish_one(faults, SB_ERR_USAGE, message);
  }
  work->reader.root = root;
  work->reader.sets = sets;
  work->reader.set_count = set_count;
  if (root != NULL && !work->document.is_out_of_memory) read_stages(work);
  return finish(work, out, faults);
}

static enum sb_status parse(const char *path, const char *text, size_t length, const char *const *sets,
                            size_t set_count, const struct sb_reading_way *reading, struct sb_scenario *out,
                            struct sb_faults *faults)
{
  *faults = (struct sb_faults){0};
  struct work *work = calloc(1, sizeof *work);
  if (work == NULL) return SB_ERR_MEMORY;
  work->reading = reading;
  work->faults.file = work->notes.file = path;
  work->document = (struct sb_document){.arena = &work->scratch, .faults = &work->faults};
  work->reader = (struct sb_reader){.file = path,
                                    .faults = &work->faults,
                                    .notes = &work->notes,
                                    .scratch = &work->scratch,
                                    .kept = &work->kept,
                                    .draft = &work->draft};
  const enum sb_status status = parse_with(work, text, length, sets, set_count, out, faults);
  sb_faults_list_clear(&work->faults);
  sb_faults_list_clear(&work->notes);
  sb_arena_clear(&work->scratch);
  sb_arena_clear(&work->kept);
  free(work);
  return status;
}

static const struct sb_reading_way whole = {.is_choices_only = false};

enum sb_status sb_scenario_parse(const char *path, const char *text, size_t length, const char *const *sets,
                                 size_t set_count, struct sb_scenario *out, struct sb_faults *faults)
{
  return parse(path, text, length, sets, set_count, &whole, out, faults);
}

/* At most one byte more than a scenario may have, which the parser then refuses; NULL with errno set. */
static char *read_text(const char *path, size_t *length)
{
  FILE *file = sb_text_file_open(path);
  if (file == NULL) return NULL;
  char *text = sb_text_file_read_start(file, SB_TEXT_MAX + 1, length);
  const int saved = errno;
  fclose(file);
  errno = saved;
  return text;
}

enum sb_status sb_reading_load(const char *path, const char *const *sets, size_t set_count,
                               const struct sb_reading_way *reading, struct sb_scenario *out, struct sb_faults *faults)
{
  *faults = (struct sb_faults){0};
  size_t length = 0;
  const bool is_standard = sb_text_file_is_stdin(path);
  const char *name = sb_text_file_name(path);
  char *own = is_standard ? NULL : read_text(path, &length);
  const char *text = is_standard ? sb_text_file_read_stdin(SB_TEXT_MAX + 1, &length) : own;
  if (text == NULL && errno == ENOMEM) return SB_ERR_MEMORY;
  if (text == NULL) {
    char message[1400];
    const enum sb_status status = errno == ESPIPE ? SB_ERR_SCENARIO : SB_ERR_IO;
    snprintf(message, sizeof message, "%.1000s: %s%s", name, sb_text_file_reason(errno),
             errno == ESPIPE ? "; - reads standard input" : "");
    return publish_one(faults, status, message);
  }
  const enum sb_status status = parse(name, text, length, sets, set_count, reading, out, faults);
  free(own);
  return status;
}

enum sb_status sb_scenario_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out,
                                struct sb_faults *faults)
{
  return sb_reading_load(path, sets, set_count, &whole, out, faults);
}

void sb_scenario_clear(struct sb_scenario *scenario)
{
  struct sb_arena *storage = scenario->storage;
  if (storage != NULL) sb_arena_clear(storage);
  free(storage);
  sb_faults_clear(&scenario->notes);
  scenario->storage = NULL;
}
