// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_protocol.c - the lines between the program and a controller of its own: what is read is written again alike. */
#include "common.h"

#include <stdlib.h>
#include <string.h>

#include "external/protocol.h"

static void read_header(const char *text)
{
  struct sb_own_input input = {0}, again = {0};
  char line[SB_PROTOCOL_HEADER_SIZE], twice[SB_PROTOCOL_HEADER_SIZE];
  long version;
  if (!sb_protocol_read_header(text, &input, &version)) return;
  fuzz_demand(input.gear_count >= 1 && input.gear_count <= SB_OWN_GEAR_MAX, "%d gears", (int)input.gear_count);
  sb_protocol_write_header(line, &input);
  fuzz_demand(sb_protocol_read_header(line, &again, &version), "what was written is not read: %s", line);
  sb_protocol_write_header(twice, &again);
  fuzz_demand(strcmp(line, twice) == 0, "what is read differs from what was written: %s", line);
}

static void read_sample(const char *text)
{
  struct sb_own_input input = {0}, again = {0};
  char line[SB_PROTOCOL_SAMPLE_SIZE], twice[SB_PROTOCOL_SAMPLE_SIZE];
  if (!sb_protocol_read_sample(text, &input)) return;
  sb_protocol_write_sample(line, &input);
  fuzz_demand(sb_protocol_read_sample(line, &again), "what was written is not read: %s", line);
  sb_protocol_write_sample(twice, &again);
  fuzz_demand(strcmp(line, twice) == 0, "what is read differs from what was written: %s", line);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  char *text = strndup((const char *)data, size);
  if (text == NULL) abort();
  read_header(text);
  read_sample(text);
  const int answer = sb_protocol_read_answer(text, strlen(text));
  fuzz_demand(answer >= -1 && answer <= SB_PROTOCOL_ANSWER_MAX, "answer %d", answer);
  free(text);
  return 0;
}
