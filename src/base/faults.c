// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/faults.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { TEXT_SIZE = 2048 };

static bool is_before(const struct sb_place *a, const struct sb_place *b)
{
  if (a->set_rank != b->set_rank) return a->set_rank < b->set_rank;
  if (a->line != b->line) return a->line < b->line;
  return a->column < b->column;
}

/* Keeps the first SB_FAULT_MAX faults in order of place; among equals the first found comes first. */
static void insert(struct sb_fault_list *list, const struct sb_place *place, const char *text)
{
  list->total++;
  size_t at = list->count;
  while (at > 0 && is_before(place, &list->faults[at - 1].place)) at--;
  if (at == SB_FAULT_MAX) return;
  char *copy = malloc(strlen(text) + 1);
  if (copy == NULL) {
    list->is_out_of_memory = true;
    return;
  }
  strcpy(copy, text);
  if (list->count == SB_FAULT_MAX) free(list->faults[--list->count].text);
  memmove(&list->faults[at + 1], &list->faults[at], (list->count - at) * sizeof list->faults[0]);
  list->faults[at] = (struct sb_fault){*place, copy};
  list->count++;
}

void sb_faults_add(struct sb_fault_list *list, const struct sb_place *place, const char *path, const char *format, ...)
{
  char text[TEXT_SIZE];
  int length;
  bool is_path_said = path[0] == 0;
  if (place->set_path != NULL) {
    length = snprintf(text, sizeof text, "--set %.200s: ", place->set_path);
    is_path_said = is_path_said || strcmp(path, place->set_path) == 0;
  } else {
    length = snprintf(text, sizeof text, "%.1000s:%d:%d: ", list->file, place->line, place->column);
  }
  if (!is_path_said) length += snprintf(text + length, sizeof text - (size_t)length, "%.200s: ", path);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text + length, sizeof text - (size_t)length, format, arguments);
  va_end(arguments);
  insert(list, place, text);
}

void sb_faults_add_in_table(struct sb_fault_list *list, const struct sb_place *place, const char *table, long line,
                            int column, const char *format, ...)
{
  char text[TEXT_SIZE];
  const int length = snprintf(text, sizeof text, "%.1000s:%ld:%d: ", table, line, column);
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text + length, sizeof text - (size_t)length, format, arguments);
  va_end(arguments);
  insert(list, place, text);
}

bool sb_faults_publish(struct sb_fault_list *list, struct sb_faults *out)
{
  const size_t left_out = list->total - list->count;
  char more[128];
  snprintf(more, sizeof more, "%zu more fault%s not listed", left_out, left_out == 1 ? " is" : "s are");
  char **texts = calloc(list->count + 1, sizeof *texts);
  char *last = malloc(sizeof more);
  if (texts == NULL || last == NULL || list->is_out_of_memory) {
    free(texts);
    free(last);
    return false;
  }
  for (size_t i = 0; i < list->count; i++) texts[i] = list->faults[i].text;
  *out = (struct sb_faults){.count = list->count, .texts = texts};
  if (left_out > 0) {
    memcpy(last, more, sizeof more);
    texts[out->count++] = last;
  } else {
    free(last);
  }
  list->count = list->total = 0;
  return true;
}

void sb_faults_list_clear(struct sb_fault_list *list)
{
  for (size_t i = 0; i < list->count; i++) free(list->faults[i].text);
  list->count = list->total = 0;
}

void sb_faults_clear(struct sb_faults *faults)
{
  for (size_t i = 0; i < faults->count; i++) free(faults->texts[i]);
  free(faults->texts);
  *faults = (struct sb_faults){0};
}

enum sb_status sb_faults_fail(struct sb_error *err, enum sb_status status, struct sb_faults *faults)
{
  sb_fail(err, status, "%s", faults->count > 0 ? faults->texts[0] : sb_status_text(status));
  sb_faults_clear(faults);
  return status;
}
