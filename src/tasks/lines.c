// SPDX-License-Identifier: GPL-3.0-or-later
/* Texts that grow, and the hash over what a study depends on; see shiftband/tasks.h. */
#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#include "base/text_file.h"
#include "shiftband/tasks.h"

/* Room for `more` bytes and a final 0. */
static bool make_room(struct sb_lines *lines, size_t more)
{
  if (lines->is_out_of_memory) return false;
  if (lines->length + more < lines->room) return true;
  size_t room = 64;
  while (room <= lines->length + more) room *= 2;
  char *text = realloc(lines->text, room);
  if (text == NULL) {
    lines->is_out_of_memory = true;
    return false;
  }
  lines->text = text;
  lines->room = room;
  return true;
}

void sb_lines_add_bytes(struct sb_lines *lines, const char *bytes, size_t length)
{
  if (length == 0 || !make_room(lines, length)) return;
  memcpy(lines->text + lines->length, bytes, length);
  lines->length += length;
  lines->text[lines->length] = 0;
}

void sb_lines_add(struct sb_lines *lines, const char *format, ...)
{
  char text[512];
  va_list arguments, again;
  va_start(arguments, format);
  va_copy(again, arguments);
  const int length = vsnprintf(text, sizeof text, format, arguments);
  if (length > 0 && (size_t)length < sizeof text) {
    sb_lines_add_bytes(lines, text, (size_t)length);
  } else if (length > 0 && make_room(lines, (size_t)length)) {
    vsnprintf(lines->text + lines->length, (size_t)length + 1, format, again);
    lines->length += (size_t)length;
  }
  va_end(again);
  va_end(arguments);
}

void sb_lines_clear(struct sb_lines *lines)
{
  free(lines->text);
  *lines = (struct sb_lines){.text = NULL};
}

uint64_t sb_tasks_hash_bytes(uint64_t hash, const void *bytes, size_t size)
{
  const unsigned char *at = bytes;
  for (size_t i = 0; i < size; i++) hash = (hash ^ at[i]) * UINT64_C(0x100000001b3);
  return hash;
}

uint64_t sb_tasks_hash_text(uint64_t hash, const char *text)
{
  return sb_tasks_hash_bytes(hash, text, strlen(text) + 1);
}

static uint64_t hash_word(uint64_t hash, uint64_t word)
{
  unsigned char bytes[8];
  for (int k = 0; k < 8; k++) bytes[k] = (unsigned char)(word >> (8 * k));
  return sb_tasks_hash_bytes(hash, bytes, sizeof bytes);
}

uint64_t sb_tasks_hash_whole(uint64_t hash, int64_t value)
{
  return hash_word(hash, (uint64_t)value);
}

uint64_t sb_tasks_hash_numbers(uint64_t hash, const double *values, size_t count)
{
  for (size_t k = 0; k < count; k++) {
    uint64_t word;
    memcpy(&word, &values[k], sizeof word);
    hash = hash_word(hash, word);
  }
  return hash;
}

enum sb_status sb_tasks_hash_file(uint64_t *hash, const char *path, struct sb_error *err)
{
  size_t length = 0;
  const char *kept = sb_text_file_is_stdin(path) ? sb_text_file_read_stdin(0, &length) : NULL;
  if (kept != NULL) {
    *hash = sb_tasks_hash_bytes(*hash, kept, length);
    return SB_OK;
  }
  FILE *file = sb_text_file_open(path);
  if (file == NULL) return sb_fail(err, SB_ERR_IO, "%s: %s", path, sb_text_file_reason(errno));
  char block[4096];
  errno = 0;
  for (size_t size; (size = fread(block, 1, sizeof block, file)) > 0;) *hash = sb_tasks_hash_bytes(*hash, block, size);
  const bool has_failed = ferror(file) != 0;
  const int reason = errno;
  fclose(file);
  return has_failed ? sb_fail(err, SB_ERR_IO, "%s: %s", path, strerror(reason)) : SB_OK;
}

static uint64_t hash_table(uint64_t hash, const struct sb_table *table)
{
  hash = sb_tasks_hash_whole(hash, (int64_t)table->count);
  hash = sb_tasks_hash_numbers(hash, table->x, table->count);
  return sb_tasks_hash_numbers(hash, table->y, table->count);
}

enum sb_status sb_tasks_hash_scenario(uint64_t *hash, const char *path, const char *const *sets, size_t set_count,
                                      const struct sb_scenario *scenario, struct sb_error *err)
{
  uint64_t sum = *hash;
  const enum sb_status status = sb_tasks_hash_file(&sum, path, err);
  if (status != SB_OK) return status;
  for (size_t i = 0; i < set_count; i++) sum = sb_tasks_hash_text(sum, sets[i]);
  const struct sb_load *load = &scenario->model.load;
  for (int p = 0; p < load->part_count; p++) sum = hash_table(sum, &load->parts[p].table);
  *hash = sum;
  return SB_OK;
}
