// SPDX-License-Identifier: GPL-3.0-or-later
/* Tables of a scenario: points that stand in it, or a CSV file beside it. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/text_file.h"
#include "scenario/beside.h"
#include "scenario/reader.h"
#include "scenario/table_csv.h"

/* The two values of a point; false (and faults) when they are none. */
static bool read_point(struct sb_reader *reader, const struct sb_table_request *request, const struct sb_node *node,
                       const char *path, double *x, double *value)
{
  const struct sb_table_format *format = request->format;
  if (node->kind == SB_NODE_BROKEN) return false;
  const struct sb_node *place = sb_tree_at(node, 1), *number = sb_tree_at(node, 2);
  if (node->kind != SB_NODE_LIST || node->count != 2 || place->kind != SB_NODE_VALUE || number->kind != SB_NODE_VALUE) {
    sb_faults_add(reader->faults, &node->place, path, "needs a pair such as %s, found something else", format->pair);
    return false;
  }
  struct sb_error err;
  bool is_fit = sb_units_parse(place->text, format->place.kind, x, &err) == SB_OK;
  if (!is_fit) sb_faults_add(reader->faults, &place->place, path, "%s", err.text);
  if (is_fit && !(fabs(*x) <= SB_TABLE_PLACE_MAX)) {
    sb_faults_add(reader->faults, &place->place, path, "needs a place of a sensible size, found %s",
                  sb_fail_quote(place->text).text);
    is_fit = false;
  }
  if (sb_units_parse(number->text, format->value.kind, value, &err) != SB_OK) {
    sb_faults_add(reader->faults, &number->place, path, "%s", err.text);
    return false;
  }
  const bool is_negative = request->is_resisting && *value < 0.0;
  if (!(fabs(*value) <= format->value_max) || is_negative) {
    sb_faults_add(reader->faults, &number->place, path, "needs %s %s, found %s", sb_units_words(format->value.kind),
                  is_negative ? "that is not negative, since it resists" : format->value_max_words,
                  sb_fail_quote(number->text).text);
    return false;
  }
  sb_reader_note_unit(reader, number, path, format->value.kind);
  return is_fit;
}

bool sb_reader_read_points(struct sb_reader *reader, const struct sb_table_request *request,
                           const struct sb_node *points, const char *path, struct sb_table *out)
{
  if (points->kind != SB_NODE_LIST || points->count == 0) {
    if (points->kind != SB_NODE_BROKEN) {
      sb_faults_add(reader->faults, &points->place, path, "needs a list of %s, found %s", request->format->list,
                    points->count == 0 ? "none" : "something else");
    }
    return false;
  }
  double *x = sb_arena_take(reader->kept, (size_t)points->count * sizeof *x);
  double *values = sb_arena_take(reader->kept, (size_t)points->count * sizeof *values);
  if (x == NULL || values == NULL) {
    reader->is_out_of_memory = true;
    return false;
  }
  size_t n = 0;
  int number = 0;
  bool is_fit = true;
  double before_previous = (double)NAN, previous = (double)NAN;
  for (const struct sb_node *node = points->first; node != NULL; node = node->next) {
    char point_path[SB_PATH_SIZE];
    const char *needs;
    snprintf(point_path, sizeof point_path, "%.200s.%d", path, ++number);
    if (!read_point(reader, request, node, point_path, &x[n], &values[n])) {
      is_fit = false;
      continue;
    }
    if (!sb_table_point_is_fit(request, before_previous, previous, x[n], &needs)) {
      sb_faults_add(reader->faults, &node->first->place, point_path, "needs %s, found %s", needs,
                    sb_fail_quote(node->first->text).text);
      is_fit = false;
    }
    before_previous = previous;
    previous = x[n++];
  }
  *out = (struct sb_table){n, x, values};
  return is_fit;
}

static bool read_file(struct sb_reader *reader, const struct sb_table_request *request, const char *file,
                      const char *path, struct sb_table *out)
{
  char whole[SB_BESIDE_SIZE];
  if (!sb_beside_find(reader->file, file, whole)) {
    sb_faults_add(reader->faults, &request->place, path, "needs a CSV table, found %s: " SB_BESIDE_REFUSAL,
                  sb_fail_quote(file).text);
    return false;
  }
  bool has_commas = false;
  const enum sb_status status = sb_table_csv_read(whole, request, out, &has_commas);
  if (has_commas && reader->comma_count < SB_COMMA_TABLE_MAX) {
    const char *copy = sb_arena_copy(reader->kept, whole, strlen(whole));
    reader->is_out_of_memory |= copy == NULL;
    reader->comma_tables[reader->comma_count++] = copy;
  }
  if (status == SB_ERR_MEMORY) reader->is_out_of_memory = true;
  if (status == SB_ERR_IO) {
    reader->is_unreadable |=
        errno != ENOENT && errno != ENOTDIR && errno != EISDIR && errno != EACCES && errno != ESPIPE && errno != EFBIG;
    sb_faults_add(reader->faults, &request->place, path, "needs a CSV table, found none at %s: %s",
                  sb_fail_quote(whole).text, sb_text_file_reason(errno));
  }
  return status == SB_OK;
}

bool sb_reader_read_table(struct sb_reader *reader, const struct sb_table_request *request,
                          const struct sb_node *points, const char *file, const char *path, struct sb_table *out)
{
  if (points != NULL) return sb_reader_read_points(reader, request, points, path, out);
  return file[0] != 0 && read_file(reader, request, file, path, out);
}
