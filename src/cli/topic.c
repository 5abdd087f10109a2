// SPDX-License-Identifier: GPL-3.0-or-later
/* topic.c - the texts for users, read block by block, and as a terminal shows them. */
#include "cli/topic.h"

#include <string.h>

#include "shiftband/status.h"
#include "text/words.h"

enum { BLOCK_SIZE = 8192, CELL_MAX = 8, MARGIN = 2, CODE_MARGIN = 6 };

const struct sb_topic *sb_topic_find(const char *name)
{
  for (const struct sb_topic *topic = sb_topics; topic->name != NULL; topic++) {
    if (strcmp(topic->name, name) == 0) return topic;
  }
  return NULL;
}

/* Reading ------------------------------------------------------------------------------------------------------------------ */

/* A paragraph or an item that grows line by line. */
struct block {
  char text[BLOCK_SIZE];
  bool is_item;
};

static void flush(FILE *out, struct block *block, const struct sb_topic_writer *writer)
{
  if (block->text[0] != 0) (block->is_item ? writer->item : writer->paragraph)(out, block->text);
  block->text[0] = 0;
  block->is_item = false;
}

static void grow(struct block *block, const char *line)
{
  const size_t used = strlen(block->text);
  while (*line == ' ') line++;
  snprintf(block->text + used, sizeof block->text - used, "%s%s", used > 0 ? " " : "", line);
}

/* Cells of "| a | b |", each without the spaces around it, in a copy of the line; returns how many. */
static int split_row(char *copy, char *cells[CELL_MAX])
{
  int count = 0;
  char *p = copy + strspn(copy, "| ");
  while (*p != 0 && count < CELL_MAX) {
    char *end = p;
    while (*end != 0 && (*end != '|' || (end > p && end[-1] == '\\'))) end++;
    const bool is_last = *end == 0;
    char *tail = end;
    while (tail > p && tail[-1] == ' ') tail--;
    *tail = 0;
    if (is_last && tail == p) break;
    cells[count++] = p;
    p = is_last ? end : end + 1 + strspn(end + 1, " ");
  }
  return count;
}

static bool is_rule(const char *line)
{
  return line[strspn(line, "|-: ")] == 0;
}

/* A whole table: its columns' widths first, then its rows. Returns the line behind it. */
static const char *const *walk_table(FILE *out, const char *const *line, const struct sb_topic_writer *writer)
{
  char copy[BLOCK_SIZE], *cells[CELL_MAX];
  int widths[CELL_MAX] = {0};
  const char *const *end = line;
  for (; *end != NULL && (*end)[0] == '|'; end++) {
    snprintf(copy, sizeof copy, "%s", *end);
    const int count = is_rule(*end) ? 0 : split_row(copy, cells);
    for (int k = 0; k < count; k++) {
      const int width = sb_words_columns(cells[k], strlen(cells[k]));
      if (width > widths[k]) widths[k] = width;
    }
  }
  writer->gap(out);
  for (; line < end; line++) {
    if (is_rule(*line)) continue;
    snprintf(copy, sizeof copy, "%s", *line);
    writer->row(out, cells, split_row(copy, cells), widths);
  }
  return end;
}

/* Fenced lines; returns the line behind the closing fence. */
static const char *const *walk_code(FILE *out, const char *const *line, const struct sb_topic_writer *writer)
{
  int widest = 0;
  for (const char *const *l = line + 1; *l != NULL && strncmp(*l, "```", 3) != 0; l++) {
    const int width = sb_words_columns(*l, strlen(*l));
    if (width > widest) widest = width;
  }
  writer->code(out, NULL, widest);
  for (line++; *line != NULL && strncmp(*line, "```", 3) != 0; line++) writer->code(out, *line, widest);
  writer->code(out, NULL, widest);
  return *line != NULL ? line + 1 : line;
}

/* "1. ", which begins a paragraph of its own. */
static bool is_numbered(const char *line)
{
  const size_t digits = strspn(line, "0123456789");
  return digits > 0 && strncmp(line + digits, ". ", 2) == 0;
}

/* A line that is no table and no fence. */
static void take_line(FILE *out, const char *line, struct block *block, const struct sb_topic_writer *writer)
{
  const size_t hashes = strspn(line, "#");
  if (line[0] == 0) {
    flush(out, block, writer);
  } else if (hashes > 0 && line[hashes] == ' ') {
    flush(out, block, writer);
    writer->heading(out, (int)hashes, line + hashes + 1);
  } else if (strncmp(line, "- ", 2) == 0) {
    flush(out, block, writer);
    block->is_item = true;
    grow(block, line + 2);
  } else {
    if (is_numbered(line)) flush(out, block, writer);
    grow(block, line);
  }
}

/* A comment that names a table of the library stands for it. Returns the line behind the comment. */
static const char *const *walk_comment(FILE *out, const char *const *line, const struct sb_topic_writer *writer)
{
  char name[32];
  if (sscanf(*line, "<!-- table: %31[a-z] -->", name) == 1) sb_topic_put_table(out, name, writer);
  while (*line != NULL && strstr(*line, "-->") == NULL) line++;
  return *line != NULL ? line + 1 : line;
}

void sb_topic_walk(FILE *out, const struct sb_topic *topic, const struct sb_topic_writer *writer)
{
  struct block block = {.is_item = false};
  for (const char *const *line = topic->lines + 1; *line != NULL;) {
    const bool is_code = strncmp(*line, "```", 3) == 0, is_table = (*line)[0] == '|';
    const bool is_comment = strncmp(*line, "<!--", 4) == 0;
    if (is_code || is_table || is_comment) flush(out, &block, writer);
    if (is_comment) {
      line = walk_comment(out, line, writer);
    } else if (is_code) {
      line = walk_code(out, line, writer);
    } else if (is_table) {
      line = walk_table(out, line, writer);
    } else {
      take_line(out, *line++, &block, writer);
    }
  }
  flush(out, &block, writer);
}

/* A terminal ---------------------------------------------------------------------------------------------------------------- */

/* The text of a link, or NULL where p begins none; *behind is what follows it. */
static const char *link_text(const char *p, size_t *length, const char **behind)
{
  const char *close = *p == '[' ? strstr(p, "](") : NULL;
  const char *end = close != NULL ? strchr(close, ')') : NULL;
  if (end == NULL) return NULL;
  *length = (size_t)(close - p) - 1;
  *behind = end + 1;
  return p + 1;
}

/* Takes the marks off. */
static const char *plain(const char *text, char out[BLOCK_SIZE])
{
  size_t used = 0;
  bool is_code = false;
  for (const char *p = text; *p != 0 && used + 1 < BLOCK_SIZE;) {
    size_t length;
    const char *behind, *link = is_code ? NULL : link_text(p, &length, &behind);
    if (*p == '`') {
      is_code = !is_code;
      p++;
    } else if (!is_code && strncmp(p, "**", 2) == 0) {
      p += 2;
    } else if (!is_code && *p == '*' && p[1] != ' ' && (p == text || p[-1] != ' ' || strchr(p + 1, '*') != NULL)) {
      p++;
    } else if (!is_code && *p == '\\' && p[1] == '|') {
      p++;
    } else if (link != NULL) {
      used += (size_t)snprintf(out + used, BLOCK_SIZE - used, "%.*s", (int)length, link);
      p = behind;
    } else {
      out[used++] = *p++;
    }
  }
  out[used < BLOCK_SIZE ? used : BLOCK_SIZE - 1] = 0;
  return out;
}

static void show_heading(FILE *out, int level, const char *text)
{
  char words[BLOCK_SIZE];
  fputc('\n', out);
  sb_words_say(out, level > 2 ? MARGIN : 0, MARGIN, "%s", plain(text, words));
}

static void show_gap(FILE *out)
{
  fputc('\n', out);
}

static void show_paragraph(FILE *out, const char *text)
{
  char words[BLOCK_SIZE];
  fputc('\n', out);
  sb_words_say(out, MARGIN, MARGIN, "%s", plain(text, words));
}

static void show_item(FILE *out, const char *text)
{
  char words[BLOCK_SIZE];
  sb_words_say(out, MARGIN, MARGIN + 2, "- %s", plain(text, words));
}

static void show_code(FILE *out, const char *line, int widest)
{
  const int left = sb_text_width() - widest, indent = left > CODE_MARGIN ? CODE_MARGIN : left > 0 ? left : 0;
  const bool is_empty = line == NULL || line[0] == 0;
  fprintf(out, "%*s%s\n", is_empty ? 0 : indent, "", is_empty ? "" : line);
}

/* Cells side by side, the last one wrapped beside the others, which get half of the width at most; where they need more, below them. */
static void show_row(FILE *out, char *const cells[], int count, int *widths)
{
  char text[BLOCK_SIZE] = "", words[BLOCK_SIZE];
  const int most = count > 1 ? (sb_text_width() / 2 - MARGIN) / (count - 1) - 2 : 0;
  int indent = MARGIN;
  bool is_room = true;
  for (int k = 0; k + 1 < count; k++) {
    const int width = widths[k] < most ? widths[k] : most;
    plain(cells[k], words);
    const int pad = width + 2 - sb_words_columns(words, strlen(words));
    is_room = is_room && pad >= 2;
    sb_fail_add(text, sizeof text, "%s%*s", words, pad > 2 ? pad : 2, "");
    indent += width + 2;
  }
  plain(count > 0 ? cells[count - 1] : "", words);
  sb_words_say(out, MARGIN, indent, is_room ? "%s%s" : "%s\n%s", text, words);
}

const struct sb_topic_writer sb_topic_terminal = {show_heading, show_gap,  show_paragraph,
                                                  show_item,    show_code, show_row};

void sb_topic_write(FILE *out, const struct sb_topic *topic)
{
  sb_words_say(out, 0, MARGIN, "%s - %s", topic->name, topic->title);
  sb_topic_walk(out, topic, &sb_topic_terminal);
}
