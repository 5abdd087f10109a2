// SPDX-License-Identifier: GPL-3.0-or-later
#include "log/fields.h"

#include <string.h>

void sb_fields_init(struct sb_fields *fields, const char *text, size_t length)
{
  if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) { /* byte order mark */
    text += 3;
    length -= 3;
  }
  *fields = (struct sb_fields){.at = text, .end = text + length, .separator = ',', .line = 1, .column = 1};
  const char *line_end = memchr(text, '\n', length);
  const size_t first = line_end != NULL ? (size_t)(line_end - text) : length;
  if (memchr(text, ',', first) != NULL) return;
  if (memchr(text, ';', first) != NULL) {
    fields->separator = ';';
  } else if (memchr(text, '\t', first) != NULL) {
    fields->separator = '\t';
  }
}

static int take(struct sb_fields *fields)
{
  if (fields->at == fields->end) return -1;
  const unsigned char byte = (unsigned char)*fields->at++;
  if (byte == '\n') {
    fields->line++;
    fields->column = 1;
  } else if ((byte & 0xc0u) != 0x80u) {
    fields->column++;
  }
  return byte;
}

static void give_up(struct sb_fields *fields, const char *needs, const char *found)
{
  if (fields->fault_needs != NULL) return;
  fields->fault_needs = needs;
  fields->fault_found = found;
}

static void put(struct sb_fields *fields, size_t *length, int byte)
{
  if (byte == 0) give_up(fields, "text", "a zero byte");
  if (*length + 1 >= SB_FIELD_SIZE) give_up(fields, "fields below 256 bytes", "a longer one");
  if (fields->fault_needs == NULL) fields->text[(*length)++] = (char)byte;
}

/* Behind an opening quote, up to its closing one; returns the byte after that. */
static int take_quoted(struct sb_fields *fields, size_t *length)
{
  while (fields->fault_needs == NULL) {
    int byte = take(fields);
    if (byte < 0) {
      give_up(fields, "a closing quote", "the end of the file");
      return -1;
    }
    if (byte == '"') {
      byte = take(fields);
      if (byte != '"') return byte;
    }
    put(fields, length, byte);
  }
  return -1;
}

static void trim(char *text, size_t length)
{
  while (length > 0 && (text[length - 1] == ' ' || text[length - 1] == '\t')) length--;
  text[length] = 0;
  const size_t lead = strspn(text, " \t");
  memmove(text, text + lead, length - (lead < length ? lead : length) + 1);
}

bool sb_fields_next(struct sb_fields *fields)
{
  if (fields->fault_needs != NULL) return false;
  if (fields->at == fields->end && (fields->is_last_in_line || fields->text_line == 0)) return false;
  size_t length = 0;
  fields->text_line = fields->line;
  fields->text_column = fields->column;
  int byte = take(fields);
  if (byte == '"') byte = take_quoted(fields, &length);
  while (fields->fault_needs == NULL && byte >= 0 && byte != '\n' && byte != fields->separator) {
    const bool is_line_end = byte == '\r' && (fields->at == fields->end || *fields->at == '\n');
    if (!is_line_end) put(fields, &length, byte);
    byte = take(fields);
  }
  fields->is_last_in_line = byte != fields->separator;
  trim(fields->text, length);
  return fields->fault_needs == NULL;
}
