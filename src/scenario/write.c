// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/write.h"

#include <stdlib.h>
#include <string.h>

/* Whether a text reads back as itself without quotes. */
static bool is_plain(const char *text)
{
  static const char plain[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 ._/%+-";
  const size_t length = strlen(text);
  const bool is_open = length > 0 && strspn(text, plain) == length && strchr(" -%.", text[0]) == NULL;
  return is_open && text[length - 1] != ' ';
}

static void write_value(FILE *out, const char *text)
{
  if (is_plain(text)) {
    fputs(text, out);
    return;
  }
  fputc('"', out);
  for (const char *p = text; *p != 0; p++) {
    if (*p == '"' || *p == '\\') fputc('\\', out);
    if (*p == '\n') {
      fputs("\\n", out);
    } else {
      fputc(*p, out);
    }
  }
  fputc('"', out);
}

static void write_flow(FILE *out, const struct sb_node *node)
{
  if (node->kind == SB_NODE_VALUE) {
    write_value(out, node->text);
    return;
  }
  fputc(node->kind == SB_NODE_MAP ? '{' : '[', out);
  for (const struct sb_node *child = node->first; child != NULL; child = child->next) {
    if (child != node->first) fputs(", ", out);
    if (child->key != NULL) {
      write_value(out, child->key);
      fputs(": ", out);
    }
    write_flow(out, child);
  }
  fputc(node->kind == SB_NODE_MAP ? '}' : ']', out);
}

char *sb_write_flow(const struct sb_node *node)
{
  char *text = NULL;
  size_t length = 0;
  FILE *out = open_memstream(&text, &length);
  if (out == NULL) return NULL;
  write_flow(out, node);
  if (fclose(out) == 0) return text;
  free(text);
  return NULL;
}

/* Whether all children are single values, so that a line holds them. */
static bool is_flat(const struct sb_node *node)
{
  for (const struct sb_node *child = node->first; child != NULL; child = child->next) {
    if (child->kind != SB_NODE_VALUE) return false;
  }
  return true;
}

void sb_write_block(FILE *out, const struct sb_node *map, int indent)
{
  for (const struct sb_node *child = map->first; child != NULL; child = child->next) {
    fprintf(out, "%*s", indent, "");
    write_value(out, child->key);
    fputc(':', out);
    if (child->kind == SB_NODE_MAP && child->count > 0 && (indent == 0 || !is_flat(child))) {
      fputc('\n', out);
      sb_write_block(out, child, indent + 2);
    } else if (child->kind == SB_NODE_LIST && child->count > 0 && !is_flat(child)) {
      fputc('\n', out);
      for (const struct sb_node *item = child->first; item != NULL; item = item->next) {
        fprintf(out, "%*s- ", indent + 2, "");
        write_flow(out, item);
        fputc('\n', out);
      }
    } else {
      fputc(' ', out);
      write_flow(out, child);
      fputc('\n', out);
    }
  }
}
