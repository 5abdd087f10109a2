// SPDX-License-Identifier: GPL-3.0-or-later
/* topic_tables.c - what topics show of the library's tables: members of JSON, columns of CSV and of logs, verdicts. */
#include <string.h>

#include "cli/topic.h"
#include "shiftband/log.h"
#include "shiftband/verdict.h"
#include "text/records.h"
#include "text/words.h"

enum { RECORD_MAX = 64, CELL_SIZE = 640 };

struct showing {
  FILE *out;
  const struct sb_topic_writer *writer;
  int widths[3];
  int count; /* records that were met, and are shown once */
  const struct sb_record *records[RECORD_MAX];
};

static void put_row(const struct showing *to, const char *first, const char *second, const char *text)
{
  char cells[3][CELL_SIZE];
  int widths[3] = {to->widths[0], to->widths[1], 0};
  snprintf(cells[0], CELL_SIZE, "`%s`", first);
  snprintf(cells[1], CELL_SIZE, "%s", second);
  snprintf(cells[2], CELL_SIZE, "%s", text);
  char *const row[3] = {cells[0], cells[1], cells[2]};
  to->writer->row(to->out, row, 3, widths);
}

/* "number, N.m", "list of shift, or null" */
static void say_what(const struct sb_member *member, char text[CELL_SIZE])
{
  const char *unit = sb_records_unit(member);
  if (member->record != NULL) {
    snprintf(text, CELL_SIZE, "%s%s", member->kind == SB_HOLDS_LIST ? "list of " : "", member->record->name);
  } else {
    snprintf(text, CELL_SIZE, "%s%s%s", sb_records_kind_words(member), unit != NULL ? ", " : "",
             unit != NULL ? unit : "");
  }
  if (member->can_be_null) snprintf(text + strlen(text), CELL_SIZE - strlen(text), ", or null");
  if (member->is_optional) snprintf(text + strlen(text), CELL_SIZE - strlen(text), ", at times");
}

static bool measure(void *context, const struct sb_member *member)
{
  struct showing *to = context;
  char what[CELL_SIZE];
  const int width = (int)strlen(member->name) + 2;
  say_what(member, what);
  if (width > to->widths[0]) to->widths[0] = width;
  if ((int)strlen(what) > to->widths[1]) to->widths[1] = (int)strlen(what);
  return true;
}

static bool show_member(void *context, const struct sb_member *member)
{
  char what[CELL_SIZE];
  say_what(member, what);
  put_row(context, member->name, what, member->text);
  return true;
}

static bool meet(void *context, const struct sb_member *member)
{
  struct showing *to = context;
  for (int k = 0; k < to->count; k++) {
    if (to->records[k] == member->record) return true;
  }
  if (member->record != NULL && to->count < RECORD_MAX) to->records[to->count++] = member->record;
  return true;
}

static void show_record(struct showing *to, const struct sb_record *record, const char *name)
{
  char text[CELL_SIZE];
  to->widths[0] = to->widths[1] = 0;
  snprintf(text, sizeof text, "`%s`: %s", name, record->text);
  to->writer->heading(to->out, 3, text);
  sb_records_each(record, measure, to);
  to->writer->gap(to->out);
  sb_records_each(record, show_member, to);
  sb_records_each(record, meet, to);
}

/* The object of an output, and what it holds that was not shown before. */
static void show_output(struct showing *to, const struct sb_record *output)
{
  char name[CELL_SIZE];
  int shown = to->count;
  snprintf(name, sizeof name, "%s --json", output->name);
  show_record(to, output, name);
  for (; shown < to->count; shown++) show_record(to, to->records[shown], to->records[shown]->name);
}

static bool is_of(const struct sb_record *record, const char *command)
{
  const size_t length = command != NULL ? strlen(command) : 0;
  return command == NULL ||
         (strncmp(record->name, command, length) == 0 && (record->name[length] == 0 || record->name[length] == ' '));
}

static void show_outputs(struct showing *to, const char *command)
{
  for (const struct sb_record *const *output = sb_records_outputs; *output != NULL; output++) {
    if (is_of(*output, command)) show_output(to, *output);
  }
}

static void show_tables(struct showing *to, const char *command)
{
  for (const struct sb_record *const *table = sb_records_tables; *table != NULL; table++) {
    if (is_of(*table, command)) show_record(to, *table, (*table)->name);
  }
}

static void show_log_columns(struct showing *to)
{
  to->widths[0] = to->widths[1] = 0;
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    if ((int)strlen(sb_log_columns[c].name) + 2 > to->widths[0])
      to->widths[0] = (int)strlen(sb_log_columns[c].name) + 2;
  }
  to->widths[1] = 6;
  to->writer->gap(to->out);
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    put_row(to, sb_log_columns[c].name, sb_log_columns[c].unit, sb_log_columns[c].words);
  }
}

/* Verdicts by the names that --fail-on takes, each a paragraph with its cure. */
static void show_verdicts(const struct showing *to)
{
  to->writer->gap(to->out);
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    char name[CELL_SIZE], text[CELL_SIZE];
    int widths[2] = {sizeof "threshold-out-of-reach" + 1, 0};
    snprintf(name, sizeof name, "`%s`", sb_verdict_name((enum sb_verdict_kind)kind));
    for (char *p = name; *p != 0; p++) *p = *p == ' ' ? '-' : *p;
    snprintf(text, sizeof text, "%s. *Cure*: %s", sb_verdict_meaning((enum sb_verdict_kind)kind),
             sb_verdict_cure((enum sb_verdict_kind)kind));
    char *const row[2] = {name, text};
    to->writer->row(to->out, row, 2, widths);
  }
}

void sb_topic_put_table(FILE *out, const char *name, const struct sb_topic_writer *writer)
{
  struct showing to = {.out = out, .writer = writer};
  if (strcmp(name, "verdicts") == 0) show_verdicts(&to);
  if (strcmp(name, "csv") == 0) show_tables(&to, NULL);
  if (strcmp(name, "json") == 0) show_outputs(&to, NULL);
  if (strcmp(name, "log") == 0) show_log_columns(&to);
}

void sb_topic_put_members(FILE *out, const char *command, const struct sb_topic_writer *writer)
{
  struct showing to = {.out = out, .writer = writer};
  show_outputs(&to, command);
  show_tables(&to, command);
}
