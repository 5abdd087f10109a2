// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/drops.h"

#include "design/words.h"
#include "text/csv_writer.h"

const char *sb_drops_words(enum sb_drop drop)
{
  static const char *const words[] = {
#define DROP_WORDS(name, words) words,
      SB_DROP_LIST(DROP_WORDS)
#undef DROP_WORDS
  };
  return words[drop];
}

void sb_drops_write(FILE *out, const struct sb_design_answer *answer, const struct sb_candidate *candidate,
                    const char *rule)
{
  const struct sb_design design = {.candidate = *candidate};
  struct sb_csv csv;
  if (out == NULL) return;
  sb_csv_begin(&csv, out, &sb_records_dropped_rows);
  sb_csv_text(&csv, answer->combinations[candidate->combination].name);
  sb_csv_text(&csv, sb_design_gears(&design).text);
  sb_csv_text(&csv, rule);
  sb_csv_end_row(&csv);
}

void sb_drops_begin(FILE *out)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_dropped_rows);
  sb_csv_line(&csv, "machine,gears,rule");
}
