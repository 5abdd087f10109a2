// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/words.h"

#include <math.h>
#include <stdio.h>

#include "design/front.h"
#include "text/words.h"

const char *sb_design_speed_name(int speeds, int speed)
{
  static const char *const names[SB_SHELF_SPEED_MAX][SB_SHELF_SPEED_MAX] = {
      {"fast"}, {"slow", "fast"}, {"slow", "middle", "fast"}, {"slow", "second", "third", "fast"}};
  return names[speeds - 1][speed];
}

struct sb_design_words sb_design_meshes(const struct sb_box *box, int speed)
{
  struct sb_design_words words = {""};
  const int *pair = box->last[speed];
  for (int k = 0; k < box->stages - 1; k++) {
    sb_fail_add(words.text, sizeof words.text, "%d/%d, ", box->shared[k][0], box->shared[k][1]);
  }
  if (box->idler > 0 && speed == box->idler_speed) {
    sb_fail_add(words.text, sizeof words.text, "%d/%d, %d/%d", pair[0], box->idler, box->idler, pair[1]);
  } else {
    sb_fail_add(words.text, sizeof words.text, "%d/%d", pair[0], pair[1]);
  }
  return words;
}

struct sb_design_words sb_design_gears(const struct sb_design *design)
{
  const struct sb_candidate *candidate = &design->candidate;
  const struct sb_box *box = &candidate->box;
  struct sb_design_words words = {""};
  for (int s = 0; box->stages > 0 && s < box->speeds; s++) {
    sb_fail_add(words.text, sizeof words.text, "%s%s %s:1 (%s)", s > 0 ? "; " : "",
                sb_design_speed_name(box->speeds, s), sb_words_figure(candidate->ratios[s]).text,
                sb_design_meshes(box, s).text);
  }
  return words;
}

struct sb_design_words sb_design_thresholds(const struct sb_design *design)
{
  const struct sb_design_control *control = &design->control;
  struct sb_design_words words = {""};
  for (int p = 0; p < control->pairs; p++) {
    sb_fail_add(words.text, sizeof words.text, "%sdownshift below %.10g %%, upshift above %.10g %%", p > 0 ? "; " : "",
                control->downshift_pct[p], control->upshift_pct[p]);
  }
  if (control->pairs > 0) sb_fail_add(words.text, sizeof words.text, "; dwell %.10g s", control->dwell_s);
  return words;
}

/* How many designs are as good in an aim as the best one, and whether this one is. */
static bool is_best(const struct sb_design_answer *answer, int index, int aim, int *best_count)
{
  double best = INFINITY;
  *best_count = 0;
  for (int k = 0; k < answer->design_count; k++) {
    const double value = sb_front_worth(&answer->designs[k].figures).values[aim];
    if (!isnan(value)) best = fmin(best, value);
  }
  const double own = sb_front_worth(&answer->designs[index].figures).values[aim];
  for (int k = 0; k < answer->design_count; k++) {
    const double value = sb_front_worth(&answer->designs[k].figures).values[aim];
    *best_count += value <= best + 1e-9 * fabs(best);
  }
  return own <= best + 1e-9 * fabs(best);
}

/* Whether a statement is proved of this design alone. */
static bool is_proved_alone(const struct sb_design_answer *answer, int index, enum sb_prove_statement statement)
{
  int count = 0;
  for (int k = 0; k < answer->design_count; k++) {
    const struct sb_design *design = &answer->designs[k];
    count += design->is_proved_class && design->statements[statement] == SB_PROOF_PROVED;
  }
  const struct sb_design *own = &answer->designs[index];
  return count == 1 && own->is_proved_class && own->statements[statement] == SB_PROOF_PROVED;
}

static void add_words(struct sb_design_words *words, const char *text)
{
  sb_fail_add(words->text, sizeof words->text, "%s%s", words->text[0] != 0 ? ", " : "", text);
}

struct sb_design_words sb_design_special(const struct sb_design_answer *answer, int index)
{
  static const char *const names[] = {[SB_AIM_SPEED] = "the fastest",
                                      [SB_AIM_CHARGE] = "the least charge",
                                      [SB_AIM_CURRENT] = "the least current",
                                      [SB_AIM_WINDING] = "the coolest winding",
                                      [SB_AIM_TOOTH] = "the least load of teeth",
                                      [SB_AIM_WHEELS] = "the fewest wheels",
                                      [SB_AIM_MARGIN] = "the widest margin",
                                      [SB_AIM_CARRIED] = "carries most"};
  static const struct {
    enum sb_prove_statement statement;
    const char *words;
  } proofs[] = {
      {SB_PROVE_STALL, "the only one proved never to stall"},
      {SB_PROVE_RETURN, "the only one proved to come back to its fastest gear"},
      {SB_PROVE_CONSTANT, "the only one proved not to hunt under any constant load"},
  };
  struct sb_design_words words = {""};
  int best_count;
  for (int aim = 0; aim < SB_AIM_COUNT && answer->design_count > 1; aim++) {
    if (!is_best(answer, index, aim, &best_count) || best_count > 1) continue;
    add_words(&words, names[aim]);
  }
  for (size_t k = 0; k < sizeof proofs / sizeof proofs[0] && answer->design_count > 1; k++) {
    if (is_proved_alone(answer, index, proofs[k].statement)) add_words(&words, proofs[k].words);
  }
  if (words.text[0] == 0) {
    snprintf(words.text, sizeof words.text, "%s",
             answer->design_count > 1 ? "best in nothing alone, worst in nothing: between the others" : "the only one");
  }
  return words;
}

struct sb_design_words sb_design_caution(const struct sb_design *design)
{
  struct sb_design_words words = {""};
  if (design->candidate.box.stages == 0) return words;
  const int fewest = sb_box_fewest_teeth(&design->candidate.box);
  if (fewest >= SB_UNDERCUT_TEETH) return words;
  snprintf(words.text, sizeof words.text,
           "wheels of %d teeth: below %d a rack undercuts full-depth teeth of 20 degrees; a profile shift of at least "
           "%.2f modules avoids it",
           fewest, SB_UNDERCUT_TEETH, 1.0 - fewest * 0.5 * 0.11697777844051098);
  return words;
}
