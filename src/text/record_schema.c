// SPDX-License-Identifier: GPL-3.0-or-later
/* record_schema.c - the records of a command as a JSON Schema. */
#include <assert.h>
#include <errno.h>
#include <string.h>

#include "base/text_file.h"
#include "shiftband/outputs.h"
#include "shiftband/status.h"
#include "text/json.h"

enum { RECORD_MAX = 64 };

/* The records of a schema, each once, in the order in which they are met. */
struct met {
  int count;
  const struct sb_record *records[RECORD_MAX];
};

static void meet(struct met *met, const struct sb_record *record);

static bool meet_member(void *context, const struct sb_member *member)
{
  if (member->record != NULL) meet(context, member->record);
  return true;
}

static void meet(struct met *met, const struct sb_record *record)
{
  for (int k = 0; k < met->count; k++) {
    if (met->records[k] == record) return;
  }
  assert(met->count < RECORD_MAX);
  met->records[met->count++] = record;
  sb_records_each(record, meet_member, met);
}

static void put_reference(struct sb_json *json, const struct sb_record *record)
{
  char path[96];
  snprintf(path, sizeof path, "#/definitions/%s", record->name);
  for (char *p = path; *p != 0; p++) *p = *p == ' ' ? '_' : *p;
  sb_json_put_string(json, "$ref", path);
}

static void put_type(struct sb_json *json, const char *type, bool can_be_null)
{
  if (!can_be_null) {
    sb_json_put_string(json, "type", type);
    return;
  }
  sb_json_put_array(json, "type");
  sb_json_string(json, type);
  sb_json_string(json, "null");
  sb_json_close(json);
}

static void put_items(struct sb_json *json, const struct sb_member *member)
{
  put_type(json, "array", member->can_be_null);
  sb_json_put_object(json, "items");
  if (member->kind == SB_HOLDS_LIST) {
    put_reference(json, member->record);
  } else {
    put_type(json, member->kind == SB_HOLDS_TEXTS ? "string" : "number", member->kind == SB_HOLDS_NUMBERS);
  }
  sb_json_close(json);
}

/* An object, or null. */
static void put_object(struct sb_json *json, const struct sb_member *member)
{
  sb_json_put_array(json, "anyOf");
  sb_json_open_object(json);
  put_reference(json, member->record);
  sb_json_close(json);
  if (member->can_be_null) sb_json_put_object_of(json, NULL, "type:%s", "null");
  sb_json_close(json);
}

static void put_value(struct sb_json *json, const struct sb_member *member)
{
  switch (member->kind) {
    case SB_HOLDS_NUMBER: put_type(json, "number", true); break;
    case SB_HOLDS_WHOLE: put_type(json, "integer", member->can_be_null); break;
    case SB_HOLDS_FLAG: put_type(json, "boolean", member->can_be_null); break;
    case SB_HOLDS_TEXT: put_type(json, "string", member->can_be_null); break;
    case SB_HOLDS_OBJECT: put_object(json, member); break;
    case SB_HOLDS_LIST:
    case SB_HOLDS_NUMBERS:
    case SB_HOLDS_TEXTS: put_items(json, member); break;
    case SB_HOLDS_MEMBERS: break;
  }
}

static bool put_member(void *context, const struct sb_member *member)
{
  struct sb_json *json = context;
  const char *unit = sb_records_unit(member);
  char text[512];
  snprintf(text, sizeof text, "%s%s%s%s", member->text, unit != NULL ? " (" : "", unit != NULL ? unit : "",
           unit != NULL ? ")" : "");
  sb_json_put_object(json, member->name);
  sb_json_put_string(json, "description", text);
  put_value(json, member);
  if (strcmp(member->name, "format") == 0) sb_json_put_integer(json, "const", SB_JSON_FORMAT);
  sb_json_close(json);
  return true;
}

static bool put_required(void *context, const struct sb_member *member)
{
  if (!member->is_optional) sb_json_string(context, member->name);
  return true;
}

static void put_record(struct sb_json *json, const struct sb_record *record)
{
  char name[64];
  snprintf(name, sizeof name, "%s", record->name);
  for (char *p = name; *p != 0; p++) *p = *p == ' ' ? '_' : *p;
  sb_json_put_object(json, name);
  sb_json_put(json, "type:%s description:%s", "object", record->text);
  sb_json_put_object(json, "properties");
  sb_records_each(record, put_member, json);
  sb_json_close(json);
  sb_json_put_array(json, "required");
  sb_records_each(record, put_required, json);
  sb_json_close(json);
  sb_json_put_boolean(json, "additionalProperties", false);
  sb_json_close(json);
}

/* Whether it is the command's: "map --vary" is of "map". */
static bool is_of(const struct sb_record *output, const char *command)
{
  const size_t length = strlen(command);
  return strncmp(output->name, command, length) == 0 && (output->name[length] == 0 || output->name[length] == ' ');
}

int sb_outputs_write_schema(FILE *out, const char *command)
{
  struct sb_json json;
  struct met met = {0};
  char title[96];
  errno = EINVAL;
  if (sb_records_find(sb_records_outputs, command) == NULL) return -1;
  errno = 0;
  snprintf(title, sizeof title, "shiftband %s --json, format %d, of version %s", command, SB_JSON_FORMAT, SB_VERSION);
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put(&json, "$schema:%s title:%s", "http://json-schema.org/draft-07/schema#", title);
  sb_json_put_array(&json, "anyOf");
  for (const struct sb_record *const *output = sb_records_outputs; *output != NULL; output++) {
    if (!is_of(*output, command)) continue;
    meet(&met, *output);
    sb_json_open_object(&json);
    put_reference(&json, *output);
    sb_json_close(&json);
  }
  sb_json_close(&json);
  sb_json_put_object(&json, "definitions");
  for (int k = 0; k < met.count; k++) put_record(&json, met.records[k]);
  sb_json_end(&json);
  return sb_text_file_result(out);
}
