// SPDX-License-Identifier: GPL-3.0-or-later
/* spread_report.c - what is proved over the tolerances, for people and as JSON. */
#include <math.h>

#include "prove/report.h"
#include "prove/spread.h"
#include "text/words.h"

enum { LABEL_WIDTH = 11 };

static const char *path_of(const struct sb_prove_spread *spread, int tolerance)
{
  return spread->scenario->tolerances[tolerance].path;
}

/* The tolerances that are bounds, or those that are sampled, each with the reason. */
static void add_paths(const struct sb_prove_spread *spread, bool is_sampled, struct sb_sentence *text)
{
  const char *comma = "";
  for (int k = 0; k < spread->scenario->tolerance_count; k++) {
    if ((spread->sampled[k] != NULL) != is_sampled) continue;
    sb_words_add(text, "%s%s", comma, path_of(spread, k));
    if (is_sampled) sb_words_add(text, " (%s)", spread->sampled[k]);
    comma = ", ";
  }
}

static void write_tolerances(const struct sb_prove_spread *spread, FILE *out)
{
  struct sb_sentence text = {.length = 0};
  if (spread->bound_count > 0) {
    sb_words_add(&text, "Bounds, with every value between: ");
    add_paths(spread, false, &text);
    sb_words_say(out, 2, 4, "%s.", text.text);
  }
  if (spread->bound_count == spread->scenario->tolerance_count) return;
  text = (struct sb_sentence){.length = 0};
  sb_words_add(&text, "In %d samples only: ", spread->sample_count);
  add_paths(spread, true, &text);
  sb_words_say(out, 2, 4, "%s.", text.text);
}

static void write_statements(const struct sb_prove_spread *spread, FILE *out)
{
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    struct sb_sentence text = {.length = 0};
    sb_words_add(&text, "that %s", sb_prove_claim((enum sb_prove_statement)k));
    if (spread->shown[k][0] != 0) sb_words_add(&text, ": not so with %s", spread->shown[k]);
    sb_words_say(out, 2, 2 + LABEL_WIDTH, "%-*s%s.", LABEL_WIDTH, sb_prove_proof_word(spread->statements[k]),
                 text.text);
  }
}

static void write_bounds(const struct sb_prove_spread *spread, FILE *out)
{
  struct sb_text_table table;
  sb_text_table_init(&table, 2);
  sb_text_table_put(&table, "\tno load profile and no machine goes beyond");
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    if (isnan(spread->bounds[k])) continue;
    sb_text_table_put(&table, "%s", sb_prove_bound_words[k]);
    sb_prove_put_bound(&table, (enum sb_prove_bound)k, spread->bounds[k]);
  }
  fputc('\n', out);
  sb_text_table_write(&table, 2, out);
}

int sb_prove_spread_write_text(const struct sb_prove_spread *spread, FILE *out)
{
  fputc('\n', out);
  sb_words_say(out, 0, 2, "Over the tolerances: whatever the load profile");
  write_tolerances(spread, out);
  fputc('\n', out);
  if (spread->outside != NULL) {
    sb_words_say(out, 2, 2, "Not all can be proved over the tolerances. %s.", spread->outside);
    fputc('\n', out);
  }
  write_statements(spread, out);
  if (spread->outside == NULL) write_bounds(spread, out);
  return ferror(out) ? -1 : 0;
}

static void put_tolerances(struct sb_json *json, const struct sb_prove_spread *spread)
{
  sb_json_put_array(json, "tolerances");
  for (int k = 0; k < spread->scenario->tolerance_count; k++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "key", path_of(spread, k));
    sb_json_put_boolean(json, "is_bound", spread->sampled[k] == NULL);
    sb_json_put_string(json, "why_sampled", spread->sampled[k]);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_spread(struct sb_json *json, const struct sb_prove_spread *spread)
{
  sb_json_put_object(json, "over_tolerances");
  put_tolerances(json, spread);
  sb_json_put_integer(json, "samples", spread->sample_count);
  sb_json_put_string(json, "outside", spread->outside);
  sb_prove_put_statements(json, spread->statements);
  sb_json_put_object(json, "shown_by");
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    const char *shown = spread->shown[k];
    sb_json_put_string(json, sb_prove_statement_member((enum sb_prove_statement)k), shown[0] != 0 ? shown : NULL);
  }
  sb_json_close(json);
  if (spread->outside != NULL) {
    sb_json_put_null(json, "bounds");
  } else {
    sb_json_put_object(json, "bounds");
    sb_prove_put_bounds(json, spread->bounds);
    sb_json_close(json);
  }
  sb_json_close(json);
}

int sb_prove_spread_write_json(const struct sb_prove *prove, const struct sb_prove_spread *spread, FILE *out)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_prove);
  sb_prove_put_json(&json, prove);
  put_spread(&json, spread);
  sb_json_end(&json);
  return ferror(out) ? -1 : 0;
}
