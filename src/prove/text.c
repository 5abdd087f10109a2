// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - the answers of a proof for people. */
#include <math.h>
#include <stdarg.h>

#include "base/constants.h"
#include "prove/report.h"
#include "shiftband/prove.h"
#include "text/words.h"

static const double rpm_per_rad_s = 30.0 / SB_PI;

enum { LABEL_WIDTH = 11 };

static bool is_range(const double range[2])
{
  return range[0] != 0.0 || range[1] != 0.0;
}

static void write_load(const struct sb_prove *prove, FILE *out)
{
  struct sb_sentence load = {.length = 0};
  const double *acting = prove->acting_nm, *resisting = prove->resisting_nm;
  sb_words_add(&load, "The load");
  if (is_range(acting)) sb_words_add(&load, " acts with %s to %s N.m", NUM(acting[0]), NUM(acting[1]));
  if (is_range(acting) && is_range(resisting)) sb_words_add(&load, " and");
  if (is_range(resisting) || !is_range(acting)) {
    sb_words_add(&load, " resists with %s to %s N.m", NUM(resisting[0]), NUM(resisting[1]));
  }
  const double rate = prove->model->load.bounds.rate_nm_s;
  if (isinf(rate)) {
    sb_words_add(&load, ", and changes at any rate.");
  } else {
    sb_words_add(&load, ", and changes by at most %s N.m/s.", NUM(rate));
  }
  if (isfinite(rate) && prove->outside == NULL && !prove->is_rate_used) {
    sb_words_add(
        &load,
        " This rate is left out: it needs loads of one manner alone, speeds forward, shifts within the dwell, and a clutch "
        "that holds. "
        "What is proved holds for any rate.");
  }
  sb_words_say(out, 2, 2, "%s", load.text);
}

/* One statement, behind the word for its proof. */
static void say(const struct sb_prove *prove, enum sb_prove_statement statement, FILE *out, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

static void say(const struct sb_prove *prove, enum sb_prove_statement statement, FILE *out, const char *format, ...)
{
  char text[SB_SENTENCE_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  sb_words_say(out, 2, 2 + LABEL_WIDTH, "%-*s%s", LABEL_WIDTH, sb_prove_proof_word(prove->statements[statement]), text);
}

static const char *stopped_gear_name(const struct sb_prove *prove)
{
  return prove->model->gearbox.gears[prove->stopped_gear > 0 ? prove->stopped_gear : 0].name;
}

static void say_stall(const struct sb_prove *prove, FILE *out)
{
  const double standing_s = prove->bounds[SB_PROVE_STANDING];
  const char *limit = NUM(prove->model->limits.stall_time_s);
  struct sb_sentence how = {.length = 0};
  if (isinf(standing_s) && prove->has_boxes) {
    sb_words_add(&how, "while the clutch slips it may stand for ever");
    if (prove->reached[SB_PROVE_STANDING] > 0.0) {
      sb_words_add(&how, ", and stands for %s s in a run", NUM(prove->reached[SB_PROVE_STANDING]));
    }
  } else if (isinf(standing_s)) {
    sb_words_add(&how, "the heaviest load stops it in %s for ever", stopped_gear_name(prove));
  } else if (!(standing_s > 0.0)) {
    sb_words_add(&how, "it never stands in gear");
  } else {
    sb_words_add(&how, "it stands for at most %s s", NUM(standing_s));
    if (prove->reached[SB_PROVE_STANDING] > 0.0) {
      sb_words_add(&how, ", and for %s s in a run", NUM(prove->reached[SB_PROVE_STANDING]));
    }
  }
  say(prove, SB_PROVE_STALL, out, "that the output never stands in gear for longer than %s s: %s.", limit, how.text);
}

static void say_return(const struct sb_prove *prove, FILE *out)
{
  const double return_s = prove->bounds[SB_PROVE_RETURN_TIME];
  const char *fastest = prove->model->gearbox.gears[prove->model->gearbox.gear_count - 1].name;
  if (prove->has_boxes && isfinite(return_s)) {
    say(prove, SB_PROVE_RETURN, out,
        "that the box is back in %s for good once the load stays at its lightest: after %s s at most.", fastest,
        NUM(return_s));
  } else if (prove->has_boxes) {
    say(prove, SB_PROVE_RETURN, out,
        "that the box comes back to %s for good once the load stays at its lightest, %s N.m.", fastest,
        NUM(prove->lightest_nm));
  } else if (isfinite(return_s)) {
    say(prove, SB_PROVE_RETURN, out,
        "that the box is back in %s for good once the load stays at its lightest: after %s s at most. It also comes back "
        "under every constant load below %s N.m.",
        fastest, NUM(return_s), NUM(prove->return_up_to_nm));
  } else {
    say(prove, SB_PROVE_RETURN, out,
        "that the box comes back to %s for good once the load stays at its lightest, %s N.m. It leaves slower gears "
        "only below %s N.m.",
        fastest, NUM(prove->lightest_nm), NUM(prove->return_up_to_nm));
  }
}

static void say_constant(const struct sb_prove *prove, FILE *out)
{
  const double swing_nm = prove->bounds[SB_PROVE_SWING];
  if (isinf(swing_nm)) {
    say(prove, SB_PROVE_CONSTANT, out,
        "that no constant load makes the box hunt: no load within the bounds makes it shift for ever.");
  } else if (prove->has_boxes && swing_nm > 0.0) {
    say(prove, SB_PROVE_CONSTANT, out,
        "that no constant load makes the box hunt. No swing of less than %s N.m makes it shift for ever.",
        NUM(swing_nm));
  } else if (prove->has_boxes) {
    say(prove, SB_PROVE_CONSTANT, out, "that no constant load makes the box hunt.");
  } else if (swing_nm > 0.0) {
    say(prove, SB_PROVE_CONSTANT, out,
        "that no constant load makes the box hunt. The least swing that makes it shift for ever is %s N.m, from %s to %s N.m.",
        NUM(swing_nm), NUM(prove->swing_at_nm[0]), NUM(prove->swing_at_nm[1]));
  } else {
    say(prove, SB_PROVE_CONSTANT, out, "that no constant load makes the box hunt: %s N.m does, once it shifts.",
        NUM(prove->swing_at_nm[0]));
  }
}

static void say_reaction(const struct sb_prove *prove, FILE *out)
{
  const double reaction_s = prove->bounds[SB_PROVE_REACTION_TIME];
  if (isnan(reaction_s)) {
    say(prove, SB_PROVE_REACTION, out,
        "that a slower gear is engaged where the heaviest load needs it: it needs none.");
  } else if (prove->stopped_gear > 0) {
    say(prove, SB_PROVE_REACTION, out,
        "that a slower gear is engaged where the heaviest load needs it: no reading is low enough to leave %s.",
        stopped_gear_name(prove));
  } else if (isfinite(reaction_s)) {
    say(prove, SB_PROVE_REACTION, out,
        "that the slower gear is engaged for good once the load stays at its heaviest: after %s s at most.",
        NUM(reaction_s));
  } else {
    say(prove, SB_PROVE_REACTION, out, "that the box stays in one gear once the load stays at its heaviest, %s N.m.",
        NUM(prove->heaviest_nm));
  }
}

struct sb_prove_line sb_prove_line(const struct sb_prove *prove)
{
  struct sb_prove_line line = {""};
  struct sb_sentence text = {.length = 0, .text = ""};
  const double standing_s = prove->bounds[SB_PROVE_STANDING], return_s = prove->bounds[SB_PROVE_RETURN_TIME];
  const char *fastest = prove->model->gearbox.gears[prove->model->gearbox.gear_count - 1].name;
  if (prove->outside != NULL) return line;
  sb_words_add(&text, "Whatever the load profile between %s and %s N.m: ", NUM(prove->lightest_nm),
               NUM(prove->heaviest_nm));
  if (isinf(standing_s)) {
    sb_words_add(&text, prove->has_boxes ? "the output may stall" : "the output can stall");
  } else if (standing_s > 0.0) {
    sb_words_add(&text, "the output stands in gear for at most %s s", NUM(standing_s));
  } else {
    sb_words_add(&text, "the output never stands in gear");
  }
  if (isinf(return_s)) {
    sb_words_add(&text, "; the box may not come back to %s at the lightest load", fastest);
  } else {
    sb_words_add(&text, "; the box is back in %s at most %s s after the load has come to its lightest", fastest,
                 NUM(return_s));
  }
  if (prove->stopped_gear > 0) {
    sb_words_add(&text, "; no reading is low enough to leave %s", stopped_gear_name(prove));
  } else if (isinf(prove->bounds[SB_PROVE_REACTION_TIME])) {
    sb_words_add(&text, "; at the heaviest it may shift for ever");
  }
  snprintf(line.text, sizeof line.text, "%.*s.", (int)sizeof line.text - 2, text.text);
  return line;
}

static const char *const units[] = {
#define BOUND_UNIT(name, member, words, unit) unit,
    SB_PROVE_BOUND_LIST(BOUND_UNIT)
#undef BOUND_UNIT
};

void sb_prove_put_bound(struct sb_text_table *table, enum sb_prove_bound bound, double value)
{
  const bool is_speed = bound == SB_PROVE_OUTPUT || bound == SB_PROVE_SPEED;
  const char *unit = is_speed ? "rpm" : units[bound];
  if (is_speed) value *= rpm_per_rad_s;
  if (isnan(value)) {
    sb_text_table_put(table, "-");
  } else if (isinf(value)) {
    sb_text_table_put(table, "no bound");
  } else {
    sb_text_table_put(table, "%s %s", NUM(value), unit);
  }
}

static void write_bounds(const struct sb_prove *prove, FILE *out)
{
  struct sb_text_table table;
  sb_text_table_init(&table, 3);
  sb_text_table_put(&table, "\tno load profile goes beyond\ta run comes to");
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
    if (isnan(prove->bounds[k])) continue;
    sb_text_table_put(&table, "%s", sb_prove_bound_words[k]);
    sb_prove_put_bound(&table, (enum sb_prove_bound)k, prove->bounds[k]);
    sb_prove_put_bound(&table, (enum sb_prove_bound)k, prove->reached[k]);
  }
  fputc('\n', out);
  sb_text_table_write(&table, 2, out);
  if (prove->run_count > 0) sb_words_say(out, 2, 2, "(%ld runs were tried.)", prove->run_count);
}

static void write_range(const char *way, double from, double to, FILE *out)
{
  if (isnan(from)) {
    sb_words_say(out, 4, 6, "%s: never", way);
  } else {
    sb_words_say(out, 4, 6, "%s: at readings of %s to %s", way, PCT(from), PCT(to));
  }
}

static void write_commands(const struct sb_prove *prove, FILE *out)
{
  const int count = prove->model->gearbox.gear_count;
  fputc('\n', out);
  for (int g = 0; g < count; g++) {
    const struct sb_prove_commands *commands = &prove->commands[g];
    sb_words_say(out, 2, 4, "Shifts from %s", prove->model->gearbox.gears[g].name);
    if (g > 0) write_range("down", commands->downshift_from, commands->downshift_to, out);
    if (g + 1 < count) write_range("up", commands->upshift_from, commands->upshift_to, out);
  }
}

/* "0.2 N.m from 0 s, 1.5 N.m from 4.1 s". */
static void add_profile(const struct sb_prove_profile *profile, struct sb_sentence *text)
{
  for (int k = 0; k < profile->count; k++) {
    sb_words_add(text, "%s%s N.m %s %s s", k > 0 ? ", " : "", NUM(profile->acting_nm[k] + profile->resisting_nm[k]),
                 profile->is_linear ? "at" : "from", NUM(profile->time_s[k]));
  }
}

const char *sb_prove_claim(enum sb_prove_statement statement)
{
  static const char *const claims[SB_PROVE_STATEMENTS] = {
      [SB_PROVE_STALL] = "the output never stands in gear for longer than limits.stall_time",
      [SB_PROVE_RETURN] = "the box is back in its fastest gear once the load stays at its lightest",
      [SB_PROVE_CONSTANT] = "no constant load makes the box hunt",
      [SB_PROVE_REACTION] = "the box settles in a gear once the load stays at its heaviest"};
  return claims[statement];
}

/* What runs say where nothing can be proved. */
static void write_tries(const struct sb_prove *prove, FILE *out)
{
  if (prove->try_count == 0) return;
  sb_words_say(out, 2, 2, "Load profiles within the bounds were tried instead:");
  fputc('\n', out);
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    struct sb_sentence text = {.length = 0};
    const char *claim = sb_prove_claim((enum sb_prove_statement)k);
    if (prove->statements[k] == SB_PROOF_UNSHOWN) {
      sb_words_add(&text, "no counterexample in %ld tries: %s.", prove->try_count, claim);
    } else if (prove->statements[k] == SB_PROOF_DISPROVED) {
      sb_words_add(&text, "disproved: %s. A load of ", claim);
      add_profile(&prove->profiles[sb_prove_bound_of((enum sb_prove_statement)k)], &text);
      sb_words_add(&text, " shows the contrary.");
    } else {
      continue;
    }
    sb_words_say(out, 2, 4, "%s", text.text);
  }
}

int sb_prove_write_text(const struct sb_prove *prove, FILE *out)
{
  sb_words_say(out, 0, 2, "%s: whatever the load profile", prove->model->name);
  write_load(prove, out);
  fputc('\n', out);
  if (prove->outside != NULL) {
    sb_words_say(out, 2, 2, "Nothing can be proved for this scenario. %s.", prove->outside);
    write_tries(prove, out);
    return ferror(out) ? -1 : 0;
  }
  say_stall(prove, out);
  say_return(prove, out);
  say_constant(prove, out);
  say_reaction(prove, out);
  write_bounds(prove, out);
  write_commands(prove, out);
  if (prove->has_boxes) {
    fputc('\n', out);
    sb_words_say(
        out, 2, 2,
        "Under some of these loads the clutch slips in gear, or joins only after a sample that may decide. So the bounds "
        "are safe, but wider than what a load profile can reach.");
  } else if (prove->is_safe_only) {
    fputc('\n', out);
    sb_words_say(out, 2, 2, "The bounds are safe, but wider than what a load profile can reach.");
  }
  return ferror(out) ? -1 : 0;
}
