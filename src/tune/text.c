// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - what tune found, for people: the answer as a scenario takes it, its margins, the closed forms, what would help. */
#include <math.h>

#include "shiftband/run.h"
#include "text/table.h"
#include "text/words.h"
#include "tune/report.h"

enum { LIMIT_HANG = 31 };

/* A controller's threshold lies below this fraction of the reference. */
static const double whole = 1.0 - 1e-9;

/* ---- the answer ---- */

static const char *plural(int count)
{
  return count == 1 ? "" : "s";
}

static void add_machines(const struct sb_rounds *tuning, struct sb_sentence *text)
{
  if (tuning->machine_count == 1) {
    sb_words_add(text, "in the scenario as written");
    return;
  }
  sb_words_add(text, "in all %d machines (%d scenario%s with %s)", tuning->machine_count, tuning->nominal_count,
               plural(tuning->nominal_count),
               tuning->machine_count > tuning->nominal_count ? "samples of the tolerances" : "no tolerances");
}

/* Where the load of a machine says why nothing passes: the first one of which it does. */
static void write_reason(FILE *out, const struct sb_rounds *tuning)
{
  char text[SB_EXPLANATION_SIZE];
  for (int i = 0; i < tuning->machine_count; i++) {
    if (sb_verdict_say_too_heavy(&tuning->machines[i].model, text)[0] == 0) continue;
    sb_words_say(out, 0, 0, "%s", text);
    return;
  }
}

/* Whether nothing passes at all, be it without a shift. */
static bool is_hopeless(const struct sb_rounds *tuning)
{
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    if (!tuning->results[pair].passes && !tuning->results[pair].never_shifts) return true;
  }
  return false;
}

static void write_verdict(FILE *out, const struct sb_rounds *tuning)
{
  struct sb_sentence machines = {0}, pairs = {0};
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  add_machines(tuning, &machines);
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    if (tuning->results[pair].passes) continue;
    sb_words_add(&pairs, "%s between %s and %s", pairs.length > 0 ? "," : "", gears[pair].name, gears[pair + 1].name);
  }
  if (pairs.length == 0) {
    sb_words_say(out, 0, 0, "These thresholds and this dwell pass %s:", machines.text);
  } else {
    const bool is_lost = is_hopeless(tuning);
    sb_words_say(out, 0, 0, "No thresholds%s%s pass %s.", pairs.text, is_lost ? "" : " under which a machine shifts",
                 machines.text);
    if (is_lost) write_reason(out, tuning);
    sb_words_say(out, 0, 0, "%s", is_lost ? "These are the least bad:" : "These are the scenario's own:");
  }
}

/* One threshold of each pair: the tuned ones, and the others as the scenario has them. */
static double threshold_of(const struct sb_rounds *tuning, int pair, bool is_downshift)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_control *control = &sb_tune_first_model(tuning)->control;
  const bool is_tuned = pair >= tuning->first_pair && pair <= tuning->last_pair;
  if (is_downshift) return is_tuned ? result->downshift_fraction : control->downshift_fraction[pair];
  return is_tuned ? result->upshift_fraction : control->upshift_fraction[pair];
}

/* "downshift_below: [21.5 %, 40 %]  # in the sensor's counts: 22, 41"; a sensor without a resolution has no counts. */
static void write_thresholds(FILE *out, const struct sb_rounds *tuning, const char *key, bool is_downshift)
{
  const struct sb_model *model = sb_tune_first_model(tuning);
  const struct sb_sensor *sensor = &model->control.sensor;
  const int pair_count = model->gearbox.gear_count - 1;
  struct sb_sentence values = {0}, counts = {0};
  for (int pair = 0; pair < pair_count; pair++) {
    const double fraction = threshold_of(tuning, pair, is_downshift);
    const char *comma = pair > 0 ? ", " : "";
    sb_words_add(&values, "%s%.10g %%", comma, sb_tune_percent(fraction));
    sb_words_add(&counts, "%s%d", comma,
                 (int)(is_downshift ? sb_sensor_down_count(sensor, fraction) : sb_sensor_up_count(sensor, fraction)));
  }
  fprintf(out, "    %s: %s%s%s", key, pair_count > 1 ? "[" : "", values.text, pair_count > 1 ? "]" : "");
  if (sensor->resolution_fraction > 0.0 && !sensor->supply.is_present)
    fprintf(out, "  # in the sensor's counts: %s", counts.text);
  fputc('\n', out);
}

/* Whether one gear would do, which all pairs say alike. */
static void write_needed(FILE *out, const struct sb_rounds *tuning)
{
  char words[SB_TUNE_WORDS_SIZE];
  if (sb_tune_needed_words(tuning, tuning->first_pair, words)[0] == 0) return;
  sb_words_say(out, 0, 0, "%s", words);
  fputc('\n', out);
}

/* What is proved of the thresholds in the first scenario. */
static void write_proof(FILE *out, const struct sb_rounds *tuning)
{
  if (tuning->proof.text[0] == 0) return;
  fputc('\n', out);
  sb_words_say(out, 0, 0, "%s%s%s", tuning->nominal_count > 1 ? sb_tune_first_model(tuning)->name : "",
               tuning->nominal_count > 1 ? ": " : "", tuning->proof.text);
}

/* The lattice, where it is coarser than the controller's thresholds. */
static void write_lattice(FILE *out, const struct sb_rounds *tuning)
{
  const double step_pct = sb_tune_percent(tuning->axis.step_fraction);
  const struct sb_decider *decider = sb_tune_decider(tuning);
  if (decider != NULL) {
    fputc('\n', out);
    sb_words_say(
        out, 0, 0,
        "A lattice of %.6g %% was run point by point, and controller %s decided. Between two points nothing is "
        "known, nor under other loads: the closed forms are about the built-in controller.",
        step_pct, decider->name);
  } else if (tuning->axis.count < sb_tune_finest_count(tuning)) {
    fputc('\n', out);
    sb_words_say(
        out, 0, 0,
        "Thresholds were searched on a lattice of %.6g %%; between two of its points nothing is known. --points %d "
        "searches at the controller's own step.",
        step_pct, sb_tune_finest_count(tuning));
  }
}

static void write_answer(FILE *out, const struct sb_rounds *tuning)
{
  write_needed(out, tuning);
  write_verdict(out, tuning);
  fputs("\n  controller:\n", out);
  write_thresholds(out, tuning, "downshift_below", true);
  write_thresholds(out, tuning, "upshift_above", false);
  fprintf(out, "    dwell: %.10g s  # %ld samples\n", sb_tune_seconds(tuning->dwell_s), sb_tune_dwell_samples(tuning));
  write_proof(out, tuning);
  write_lattice(out, tuning);
}

/* ---- what limits it ---- */

static void add_verdict(const struct sb_map_verdict *verdict, struct sb_sentence *text)
{
  const char *cause = sb_tune_verdict_cause(verdict);
  sb_words_add(text, "%s%s%s%s", sb_tune_verdict_name(verdict), cause != NULL ? " (" : "", cause != NULL ? cause : "",
               cause != NULL ? ")" : "");
}

static void write_machine(FILE *out, const struct sb_rounds *tuning, int machine)
{
  char words[SB_TUNE_WORDS_SIZE];
  sb_words_say(out, LIMIT_HANG, LIMIT_HANG, "in %s", sb_tune_machine_words(tuning, machine, words));
}

static const char *end_words(const struct sb_tune_limit *limit, enum sb_tune_direction direction)
{
  if (direction == SB_TUNE_DOWNSHIFT_HIGHER && limit->fails_at_fraction >= whole) {
    return "no failure below 100 %, which downshift_below must not reach";
  }
  const bool meets = direction == SB_TUNE_DOWNSHIFT_HIGHER || direction == SB_TUNE_UPSHIFT_LOWER;
  return meets ? "no failure before the two thresholds meet" : "no failure before the end of the search";
}

static void write_limit(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_limit *limit,
                        enum sb_tune_direction direction)
{
  static const char *const words[SB_TUNE_DIRECTIONS] = {"lower downshift", "higher downshift", "lower upshift",
                                                        "higher upshift"};
  struct sb_sentence text = {0};
  if (limit->is_end) {
    sb_words_add(&text, "%s", end_words(limit, direction));
  } else {
    sb_words_add(&text, "at %.10g %%: ", sb_tune_percent(limit->fails_at_fraction));
    if (limit->is_fixed) {
      sb_words_add(&text, "no machine shifts there any more");
    } else if (limit->is_band || limit->is_low) {
      sb_words_add(&text, "%s (closed form)", limit->is_band ? "a hunting band opens" : "stuck low");
    } else {
      add_verdict(&limit->verdict, &text);
    }
  }
  sb_words_say(out, 2, LIMIT_HANG, "%-17s %7.10g %%  %s", words[direction], sb_tune_percent(limit->margin_fraction),
               text.text);
  if (limit->is_end || limit->is_fixed) return;
  write_machine(out, tuning, limit->machine);
  if (isnan(limit->closed_fraction) || sb_tune_decider(tuning) != NULL) return;
  sb_words_say(out, LIMIT_HANG, LIMIT_HANG, "The closed form says %.4g %%: %s.",
               sb_tune_percent(limit->closed_fraction), sb_reason_text(limit->reason));
}

static void write_dwell_limit(FILE *out, const struct sb_rounds *tuning, const char *name,
                              const struct sb_tune_dwell_limit *limit)
{
  struct sb_sentence text = {0};
  if (limit->is_end) {
    sb_words_add(&text, "passes, and no dwell beyond it was tried");
  } else {
    sb_words_add(&text, "is the last one that passes, then: ");
    add_verdict(&limit->verdict, &text);
  }
  if (limit->untried_count > 0) {
    sb_words_add(&text, "; of the dwells between, %ld were tried and %ld were not", limit->tried_count,
                 limit->untried_count);
  }
  sb_words_say(out, 2, LIMIT_HANG, "%-17s %7.10g s  %s", name, sb_tune_seconds(limit->passes_s), text.text);
  if (!limit->is_end) write_machine(out, tuning, limit->machine);
}

/* How much more or less of each quantity the answer withstands. */
static void write_reserves(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  if (result->reserve_count == 0) return;
  fputc('\n', out);
  sb_words_say(out, 0, 0,
               "How much more or less of one thing alone the answer withstands, as written and at the corners of "
               "the tolerances");
  fputc('\n', out);
  for (int k = 0; k < result->reserve_count; k++) {
    const struct sb_tune_reserve *reserve = &result->reserves[k];
    struct sb_sentence name = {0}, text = {0};
    sb_words_add(&name, "%s %s", reserve->is_more ? "more" : "less", sb_tune_quantity_name(reserve->quantity));
    if (reserve->is_end) {
      sb_words_add(&text, "passes, and no more was tried");
    } else {
      sb_words_add(&text, "passes; at %s %%: ", NUM(100.0 * fabs(reserve->fails_share)));
      add_verdict(&reserve->verdict, &text);
    }
    sb_words_say(out, 2, LIMIT_HANG, "%-17s %7s %%  %s", name.text, NUM(100.0 * fabs(reserve->passes_share)),
                 text.text);
    if (!reserve->is_end) write_machine(out, tuning, reserve->machine);
  }
}

/* What a reference that follows the supply would give beside another remedy, or to a thin margin. */
static void write_reference(FILE *out, const struct sb_tune_result *result)
{
  const double gained = result->reference_margin_fraction;
  if (result->remedy == SB_REMEDY_REFERENCE || isnan(gained)) return;
  if (!(gained > result->margin_fraction)) {
    sb_words_say(out, 0, 0, "A reference that follows the supply, controller.reference: measured supply, %s.",
                 result->passes ? "would not make that more" : "would not");
  } else {
    sb_words_say(
        out, 0, 0,
        "%s a reference that follows the supply, controller.reference: measured supply%s the nearest failure %s "
        "%.10g %% away%s.",
        result->passes ? "With" : "So would", result->passes ? "," : " (then", result->passes ? "would be" : "is",
        sb_tune_percent(gained), result->passes ? "" : ")");
  }
}

static void write_limits(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  fputc('\n', out);
  sb_words_say(out, 0, 0, "How far away the first failure is (%.10g %% when both thresholds change at once)",
               sb_tune_percent(result->margin_fraction));
  fputc('\n', out);
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    write_limit(out, tuning, &result->limits[d], (enum sb_tune_direction)d);
  }
  write_dwell_limit(out, tuning, "shorter dwell", &result->shortest_dwell);
  write_dwell_limit(out, tuning, "longer dwell", &result->longest_dwell);
  write_reserves(out, tuning, result);
  if (isnan(result->reference_margin_fraction)) return;
  fputc('\n', out);
  write_reference(out, result);
}

static void write_failure(FILE *out, const struct sb_rounds *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  char words[SB_TUNE_WORDS_SIZE];
  struct sb_sentence verdict = {0};
  add_verdict(&result->first_verdict, &verdict);
  fputc('\n', out);
  sb_words_say(out, 0, 0, "%d of %d machines fail there, the first by %s (%s).", result->failing, tuning->machine_count,
               verdict.text, sb_tune_machine_words(tuning, result->first_failing, words));
  if (sb_tune_decider(tuning) != NULL) return;
  if (result->remedy == SB_REMEDY_NONE) {
    sb_words_say(out, 0, 0, "No single change that was tried by simulation gives thresholds that pass.");
  } else {
    sb_words_say(out, 0, 0,
                 "What would give thresholds that pass, tried by simulation: %s (then the nearest failure is %.10g %% "
                 "away).",
                 sb_tune_remedy_words(tuning, pair, words), sb_tune_percent(result->remedy_margin_fraction));
  }
  write_reference(out, result);
}

/* ---- closed forms ---- */

static void write_bound(FILE *out, const char *key, const char *to, double fraction, const char *what)
{
  sb_words_say(out, 2, 35, "%-16s %-5s %6.4g %%  %s", key, to, sb_tune_percent(fraction), what);
}

static void write_closed_forms(FILE *out, const struct sb_tune_closed *closed)
{
  fputs("\nClosed forms over all machines, the other threshold unchanged\n\n", out);
  if (isfinite(closed->least_upshift)) {
    write_bound(out, "upshift_above", "from", closed->least_upshift, "there is no hunting band");
  } else {
    fputs("  upshift_above    has a hunting band in some machine at every value\n", out);
  }
  write_bound(out, "", "up to", closed->greatest_upshift, "lightest load: the slower gear exceeds it");
  write_bound(out, "downshift_below", "up to", closed->greatest_downshift_band, "there is no hunting band");
  write_bound(out, "", "up to", closed->greatest_downshift_carried, "lightest load: the faster gear stays above it");
}

/* ---- every load ---- */

static void write_any_load(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_any_load *any_load)
{
  char words[SB_TUNE_WORDS_SIZE];
  struct sb_sentence text = {.length = 0};
  if (!any_load->is_asked) return;
  fputs("\nFor every load profile within the bounds\n\n", out);
  if (!any_load->is_proved) {
    sb_words_say(out, 2, 2,
                 "The answer is not proved for every load in all machines: the first that fails is %s. No thresholds "
                 "that pass are. What each pair comes to: shiftband map --any-load.",
                 sb_tune_machine_words(tuning, any_load->first_failing, words));
    return;
  }
  sb_words_add(
      &text,
      "Proved in %d machine%s: no constant load makes the box hunt; it is back in the faster gear at most %s s "
      "after the load has come to its lightest",
      tuning->machine_count, sb_words_plural((size_t)tuning->machine_count), NUM(any_load->return_s));
  if (!isnan(any_load->reaction_s)) {
    sb_words_add(&text, ", and in the slower one at most %s s after it has come to its heaviest",
                 NUM(any_load->reaction_s));
  }
  sb_words_say(out, 2, 2, "%s.", text.text);
  if (isfinite(any_load->swing_nm)) {
    sb_words_say(out, 2, 2, "No load makes it shift for ever unless it swings by %s N.m (%s).", NUM(any_load->swing_nm),
                 sb_tune_machine_words(tuning, any_load->swing_machine, words));
  } else {
    sb_words_say(out, 2, 2, "No load within the bounds makes it shift for ever.");
  }
  if (any_load->is_standing) {
    sb_words_say(out, 2, 2,
                 "Not proved: the output may stand in gear for %s s, longer than limits.stall_time; no thresholds that "
                 "pass avoid that. A shorter start delay or dwell would.",
                 NUM(any_load->standing_s));
  }
}

static void write_pair(FILE *out, const struct sb_rounds *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  const bool is_builtin = sb_tune_decider(tuning) == NULL;
  fprintf(out, "\nBetween %s and %s\n", gears[pair].name, gears[pair + 1].name);
  if (!result->passes && !result->never_shifts) write_failure(out, tuning, pair);
  if (!result->is_cautious && !result->never_shifts && is_builtin) {
    fputc('\n', out);
    sb_words_say(
        out, 0, 0,
        "By the closed forms no thresholds under which a machine shifts keep all machines free of a hunting band "
        "and of being stuck low: under another load than these scenarios' they may still hunt or stay low.");
  }
  sb_tune_write_choices(out, tuning, pair);
  write_any_load(out, tuning, &result->any_load);
  if (result->passes) write_limits(out, tuning, result);
  if (is_builtin) write_closed_forms(out, &result->closed);
}

/* Which figures move the answer most. */
static void write_measures(FILE *out, const struct sb_rounds *tuning)
{
  struct sb_text_table table;
  if (tuning->measure_count == 0) return;
  fputs("\nWhat to measure first: figures that move the answer most\n\n", out);
  sb_text_table_init(&table, 4);
  table.is_last_broken = true;
  sb_text_table_put(&table, "figure\tfrom..to\tmoves limits by\tat both ends the answer");
  for (int k = 0; k < tuning->measure_count; k++) {
    const struct sb_tune_measure *measure = &tuning->measures[k];
    sb_text_table_put(&table, "%s\t%s..%s %s\t%s", measure->path, NUM(measure->least), NUM(measure->greatest),
                      measure->unit, PCT(measure->move_fraction));
    if (measure->fails) {
      sb_text_table_put(&table, "fails at %s %s: %s", NUM(measure->fails_at), measure->unit,
                        sb_tune_verdict_name(&measure->verdict));
    } else {
      sb_text_table_put(&table, "passes");
    }
  }
  sb_text_table_write(&table, 2, out);
  fputc('\n', out);
  sb_words_say(
      out, 0, 0,
      "Each figure alone, over its tolerance or else 10 %% either way. The limits are those of the closed forms, as "
      "far as the one moves that moves most.");
}

void sb_tune_write_text(FILE *out, const struct sb_rounds *tuning)
{
  write_answer(out, tuning);
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) write_pair(out, tuning, pair);
  write_measures(out, tuning);
  fputc('\n', out);
  sb_words_say(out, 0, 0,
               "Before you trust a machine to these numbers, compare one steady-state speed in each gear with a "
               "measurement on the bench.");
  sb_run_write_cautions(out, sb_tune_first_model(tuning), NULL);
}
