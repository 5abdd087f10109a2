// SPDX-License-Identifier: GPL-3.0-or-later
/* The answer for people: how many machines there were, what dropped them, and the designs that are left. */
#include <math.h>
#include <string.h>

#include "base/constants.h"
#include "design/words.h"
#include "shiftband/run.h"
#include "text/table.h"
#include "text/words.h"
#include "tune/report.h"

#define FIGURE(value) sb_words_figure(value).text

static void say_dropped(FILE *out, double count, const char *why)
{
  if (count > 0.0) sb_words_say(out, 2, 15, "%-12.0f %s", count, why);
}

static void write_needs(FILE *out, const struct sb_design_answer *answer)
{
  for (int k = 0; k < answer->needs.count; k++) {
    const struct sb_need *need = &answer->needs.items[k];
    char wanted[64], why[256];
    sb_needs_value_text(need, need->wanted, wanted, sizeof wanted);
    if (need->kind == SB_NEED_VERDICT) {
      snprintf(why, sizeof why, "the run comes to a verdict");
    } else if (need->load_nm > 0.0) {
      snprintf(why, sizeof why, "%s: at %s %s under %s N.m", need->path, need->is_least ? "least" : "most", wanted,
               FIGURE(need->load_nm));
    } else {
      snprintf(why, sizeof why, "%s: at %s %s", need->path, need->is_least ? "least" : "most", wanted);
    }
    say_dropped(out, need->dropped_count, why);
  }
}

static void write_counts(FILE *out, const struct sb_design_answer *answer)
{
  sb_words_say(out, 0, 0, "%.0f boxes, %.0f machines in %d combinations of the other choices", answer->box_count,
               answer->machine_count, answer->combination_count);
  fputs("\nDropped\n", out);
  say_dropped(out, answer->stock_count, "more wheels than there are in stock");
  say_dropped(out, answer->ratio_count, "two speeds of one ratio");
  write_needs(out, answer);
  say_dropped(out, answer->same_count, "another machine moves in the same way, with no more load of its teeth");
  say_dropped(out, (double)answer->unrun_count,
              "not run: by estimates, which prove nothing, others are better (--runs)");
  say_dropped(out, (double)answer->unfit_count, "no valid scenario");
  say_dropped(out, (double)answer->beaten_count,
              "not tuned: the run of another machine is worse in nothing, and more than --tunes pass");
  say_dropped(out, (double)answer->untuned_count, "on the front of the runs, but not tuned (--tunes)");
  say_dropped(out, (double)answer->failed_count, "no thresholds pass");
  say_dropped(out, (double)answer->outdone_count, "tuned, and another design is worse in nothing");
  say_dropped(out, (double)answer->unshown_count, "designs like those below, not shown (--designs)");
  if (answer->run_count > 0) {
    const bool is_all = answer->beaten_count + answer->untuned_count + answer->unrun_count == 0;
    sb_words_say(out, 0, 0, "%ld runs, %ld of them pass; %ld tuned%s; %d designs", answer->run_count,
                 answer->passed_count, answer->tuned_count, is_all ? ", every one that passes" : "",
                 answer->design_count);
  } else {
    sb_words_say(out, 0, 0, "%ld tuned, every one that the closed forms leave; %d designs", answer->tuned_count,
                 answer->design_count);
  }
}

/* Under which loads, where there are several. */
static void write_loads(FILE *out, const struct sb_design_answer *answer)
{
  if (answer->path_count < 2) return;
  sb_words_say(out, 0, 0, "\nUnder %d loads; each figure is the worst of them", answer->path_count);
  for (int k = 0; k < answer->path_count; k++) sb_words_say(out, 2, 4, "%d  %s", k + 1, answer->paths[k]);
}

/* ---- nothing is left ---- */

static void write_misses(FILE *out, const struct sb_design_answer *answer)
{
  const int easiest = sb_needs_easiest(&answer->needs);
  fputs("\nNo design meets require\n", out);
  for (int k = 0; k < answer->needs.count; k++) {
    const struct sb_need *need = &answer->needs.items[k];
    char wanted[64], nearest[64];
    if (!(need->alone_count > 0.0) || need->kind == SB_NEED_VERDICT) continue;
    sb_words_say(out, 2, 4, "%s: wants at %s %s; the nearest machine that misses this alone comes to %s", need->path,
                 need->is_least ? "least" : "most", sb_needs_value_text(need, need->wanted, wanted, sizeof wanted),
                 sb_needs_value_text(need, need->nearest, nearest, sizeof nearest));
  }
  if (easiest < 0) {
    sb_words_say(out, 2, 4, "every machine misses more than one requirement, or fails in its run");
    return;
  }
  sb_words_say(out, 2, 4, "easing %s lets most through: %.0f machines miss it alone", answer->needs.items[easiest].path,
               answer->needs.items[easiest].alone_count);
}

/* ---- the table ---- */

struct column {
  const char *heading;
  size_t offset;
  double scale;
};

#define COLUMN(heading, field, scale)                         \
  {                                                           \
    heading, offsetof(struct sb_design_figures, field), scale \
  }

static const struct column columns[] = {COLUMN("mean speed, rpm", speed_rad_s, 1.0 / SB_RPM),
                                        COLUMN("charge, mAh", charge_as, 1.0 / 3.6),
                                        COLUMN("current, A", current_a, 1.0),
                                        COLUMN("winding, C", winding_c, 1.0),
                                        COLUMN("tooth load, N", tooth_n, 1.0),
                                        COLUMN("of tooth strength, %", tooth_fraction, 100.0),
                                        COLUMN("margin, %", margin_fraction, 100.0),
                                        COLUMN("least swing, N.m", swing_nm, 1.0),
                                        COLUMN("carries, N.m", carried_nm, 1.0)};
enum { COLUMNS = sizeof columns / sizeof columns[0] };

static double value_of(const struct sb_design *design, const struct column *column)
{
  double value;
  memcpy(&value, (const char *)&design->figures + column->offset, sizeof value);
  return value * column->scale;
}

static bool is_known(const struct sb_design_answer *answer, const struct column *column)
{
  for (int k = 0; k < answer->design_count; k++) {
    if (!isnan(value_of(&answer->designs[k], column))) return true;
  }
  return false;
}

static void write_headings(struct sb_text_table *table, const struct sb_design_answer *answer)
{
  int shown = 2;
  for (int c = 0; c < COLUMNS; c++) shown += is_known(answer, &columns[c]);
  sb_text_table_init(table, shown);
  sb_text_table_put(table, "design");
  for (int c = 0; c < COLUMNS; c++) {
    if (is_known(answer, &columns[c])) sb_text_table_put(table, "%s", columns[c].heading);
  }
  sb_text_table_put(table, "wheels");
}

static void write_row(struct sb_text_table *table, const struct sb_design_answer *answer, int index)
{
  sb_text_table_put(table, "%d", index + 1);
  for (int c = 0; c < COLUMNS; c++) {
    if (!is_known(answer, &columns[c])) continue;
    sb_text_table_put(table, "%s", FIGURE(value_of(&answer->designs[index], &columns[c])));
  }
  sb_text_table_put(table, "%d", answer->designs[index].figures.wheel_count);
}

/* As many tables as the designs need. */
static void write_table(FILE *out, const struct sb_design_answer *answer)
{
  struct sb_text_table table;
  for (int first = 0; first < answer->design_count; first += SB_TABLE_ROW_MAX - 1) {
    write_headings(&table, answer);
    for (int k = first; k < answer->design_count && k < first + SB_TABLE_ROW_MAX - 1; k++) write_row(&table, answer, k);
    sb_text_table_write(&table, 2, out);
  }
}

/* The load that limits it. */
static void write_limit(FILE *out, const struct sb_design_answer *answer, const struct sb_design *design)
{
  const struct sb_design_limit *limit = &design->limit;
  const struct sb_map_verdict verdict = {.kinds = limit->verdicts};
  if (isnan(design->figures.carried_nm)) return;
  if (isnan(limit->load_nm)) {
    sb_words_say(out, 3, 5, "carries %s N.m, and no more was tried", FIGURE(design->figures.carried_nm));
    return;
  }
  sb_words_say(out, 3, 5, "limited by a load of %s N.m: %s%s%s", FIGURE(limit->load_nm), sb_tune_verdict_name(&verdict),
               answer->path_count > 1 ? " in " : "", answer->path_count > 1 ? answer->paths[limit->scenario] : "");
}

static void write_design(FILE *out, const struct sb_design_answer *answer, int index)
{
  const struct sb_design *design = &answer->designs[index];
  sb_words_say(out, 0, 0, "\n%d  %s", index + 1, design->name);
  sb_words_say(out, 3, 5, "%s", sb_design_special(answer, index).text);
  if (design->candidate.box.stages > 0) sb_words_say(out, 3, 5, "%s", sb_design_gears(design).text);
  if (design->control.pairs > 0) sb_words_say(out, 3, 5, "%s", sb_design_thresholds(design).text);
  write_limit(out, answer, design);
  if (design->is_proved_class) {
    sb_words_say(out, 3, 5, "never stalls: %s; comes back to its fastest gear: %s; no constant load makes it hunt: %s",
                 sb_prove_proof_word(design->statements[SB_PROVE_STALL]),
                 sb_prove_proof_word(design->statements[SB_PROVE_RETURN]),
                 sb_prove_proof_word(design->statements[SB_PROVE_CONSTANT]));
  }
  const struct sb_design_words caution = sb_design_caution(design);
  if (caution.text[0] != 0) sb_words_say(out, 3, 5, "caution: %s", caution.text);
}

void sb_design_write_text(FILE *out, const struct sb_design_answer *answer)
{
  if (answer->machine_count > 0.0) {
    write_counts(out, answer);
    if (answer->design_count == 0) {
      write_misses(out, answer);
      return;
    }
  }
  write_loads(out, answer);
  fputs("\nDesigns, none of them worse in everything than another\n", out);
  write_table(out, answer);
  for (int k = 0; k < answer->design_count; k++) write_design(out, answer, k);
  sb_words_say(out, 0, 0,
               "\nThese are figures of a model. They are no permission to lift or to carry people; that needs licensed "
               "practice and the local codes. Test what you build with less than the load at first.");
}
