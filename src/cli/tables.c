// SPDX-License-Identifier: GPL-3.0-or-later
/* tables.c - copies of tables beside a scenario that a command writes. */
#include "cli/tables.h"

#include <stdio.h>

#include "base/text_file.h"
#include "cli/command.h"

static int copy_table(FILE *out, const void *context)
{
  char block[4096];
  size_t length;
  FILE *in = sb_text_file_open(context);
  if (in == NULL) return -1;
  while ((length = fread(block, 1, sizeof block, in)) > 0) fwrite(block, 1, length, out);
  const bool is_whole = !ferror(in) && !ferror(out);
  fclose(in);
  return is_whole ? 0 : -1;
}

void sb_tables_take(void *context, const char *table, const char *name)
{
  struct sb_tables *tables = context;
  char path[8192];
  if (tables->code != SB_EXIT_DONE) return;
  if (tables->folder == NULL) {
    tables->code = sb_command_usage(
        "-o -: the scenario needs the table %s beside it; write it to a file, and the table is copied", table);
    return;
  }
  snprintf(path, sizeof path, "%.4000s/%.4000s", tables->folder, name);
  tables->code = sb_command_write_file(path, (struct sb_command_writer){copy_table, table});
}
