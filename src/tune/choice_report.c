// SPDX-License-Identifier: GPL-3.0-or-later
/* choice_report.c - the alternatives of an answer: as a table for people, in words, for machines. */
#include <math.h>

#include "base/constants.h"
#include "map/report.h"
#include "text/table.h"
#include "text/words.h"
#include "tune/report.h"

static const double rpm_per_rad_s = 30.0 / SB_PI;
static const double as_per_mah = 3.6;

const char *sb_tune_choice_words(const struct sb_rounds *tuning, const struct sb_tune_choice *choice,
                                 char text[SB_TUNE_WORDS_SIZE])
{
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  if (choice->locked_gear > 0) {
    snprintf(text, SB_TUNE_WORDS_SIZE, "%s %s", gears[choice->locked_gear - 1].name, choice->name);
  } else {
    snprintf(text, SB_TUNE_WORDS_SIZE, "%s", choice->name);
  }
  return text;
}

/* ---- words ---- */

const char *sb_tune_rule_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE])
{
  static const char *const rules[] = {
      [SB_PREFER_MARGIN] = "Recommended is the widest margin among all thresholds within 2 % of the greatest speed and "
                           "10 % of the least charge for the same distance.",
      [SB_PREFER_TIME] = "Recommended is the greatest speed among all thresholds with at least half of the widest "
                         "margin.",
      [SB_PREFER_ENERGY] =
          "Recommended is the least charge for the same distance among all thresholds with at least half "
          "of the widest margin.",
  };
  static const char speed_alone[] =
      "No thresholds are within 2 % of the greatest speed and 10 % of the least charge for "
      "the same distance: recommended is the widest margin within 2 % of the greatest "
      "speed alone.";
  static const char proved[] =
      "Recommended is the greatest swing of the load that does not make the box shift for ever, among all thresholds that "
      "are proved for every load";
  const struct sb_tune_result *result = &tuning->results[pair];
  if (result->any_load.is_proved && result->alternative_count > 0) {
    snprintf(text, SB_TUNE_WORDS_SIZE, "%s%s.", proved,
             result->any_load.is_alone ? ""
             : result->is_speed_alone
                 ? " and keep within 2 % of the greatest speed"
                 : " and keep within 2 % of the greatest speed and 10 % of the least charge for the "
                   "same distance");
    return text;
  }
  const char *rule = result->is_speed_alone ? speed_alone : rules[tuning->options[pair].prefer];
  snprintf(text, SB_TUNE_WORDS_SIZE, "%s", result->alternative_count > 0 ? rule : "");
  return text;
}

/* How much more a choice has than another one, in percent. */
static double more_pct(double one, double other)
{
  return 100.0 * (one / other - 1.0);
}

static double per_rad_j(const struct sb_tune_choice *choice)
{
  return choice->energy_j / choice->way_rad;
}

const char *sb_tune_needed_words(const struct sb_rounds *tuning, int pair, char text[SB_TUNE_WORDS_SIZE])
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  text[0] = 0;
  if (result->needed_gear == 0) return text;
  const struct sb_tune_choice *locked =
      &result->choices[result->alternative_count + result->needed_gear]; /* behind the scenario's own */
  const char *name = gears[result->needed_gear - 1].name;
  sb_fail_add(text, SB_TUNE_WORDS_SIZE, "These loads need one gear: %s alone passes in every machine", name);
  if (result->passes) {
    const struct sb_tune_choice *best = &result->choices[0];
    sb_fail_add(
        text, SB_TUNE_WORDS_SIZE,
        ", and does as well. Shifting changes the speed by %+.1f %% and the charge for the same distance by %+.1f %%.",
        more_pct(best->speed_rad_s, locked->speed_rad_s), more_pct(per_rad_j(best), per_rad_j(locked)));
  } else {
    sb_fail_add(text, SB_TUNE_WORDS_SIZE, ", and no thresholds under which a machine shifts do.");
  }
  return text;
}

/* ---- the table ---- */

/* Whether every run ends at the end of its road: people ask for the time then. */
static bool is_over_a_distance(const struct sb_rounds *tuning)
{
  for (int i = 0; i < tuning->nominal_count; i++) {
    const struct sb_road *road = &tuning->nominals[i].model.load.road;
    if (!road->is_present || !isfinite(road->finish_rad)) return false;
  }
  return true;
}

/* A column of the table: its heading, and its value with a choice; NAN: none. */
struct column {
  const char *heading;
  double (*value)(const struct sb_tune_choice *choice);
};

static double time_of(const struct sb_tune_choice *choice)
{
  return choice->time_s;
}

static double speed_of(const struct sb_tune_choice *choice)
{
  return rpm_per_rad_s * choice->speed_rad_s;
}

static double charge_of(const struct sb_tune_choice *choice)
{
  return choice->charge_as / as_per_mah;
}

static double energy_of(const struct sb_tune_choice *choice)
{
  return choice->energy_j;
}

static double current_of(const struct sb_tune_choice *choice)
{
  return choice->current_a;
}

static double winding_of(const struct sb_tune_choice *choice)
{
  return choice->winding_c;
}

static double shifts_of(const struct sb_tune_choice *choice)
{
  return (double)choice->shift_count;
}

static double margin_of(const struct sb_tune_choice *choice)
{
  return isnan(choice->margin_fraction) ? (double)NAN : sb_tune_percent(choice->margin_fraction);
}

enum { COLUMN_MAX = 6 };

/* The columns that these machines have; returns how many. */
static int list_columns(const struct sb_rounds *tuning, struct column columns[COLUMN_MAX])
{
  const struct sb_tune_choice *first = &tuning->results[tuning->first_pair].choices[0];
  int count = 0;
  columns[count++] =
      is_over_a_distance(tuning) ? (struct column){"time in s", time_of} : (struct column){"speed in rpm", speed_of};
  columns[count++] =
      isnan(first->charge_as) ? (struct column){"energy in J", energy_of} : (struct column){"charge in mAh", charge_of};
  if (!isnan(first->current_a)) columns[count++] = (struct column){"current in A", current_of};
  if (!isnan(first->winding_c)) columns[count++] = (struct column){"winding in C", winding_of};
  columns[count++] = (struct column){"shifts", shifts_of};
  columns[count++] = (struct column){"margin in %", margin_of};
  return count;
}

static void put_row(struct sb_text_table *table, const struct sb_rounds *tuning, const struct column *columns,
                    int count, const struct sb_tune_choice *choice)
{
  char words[SB_TUNE_WORDS_SIZE];
  sb_text_table_put(table, "%s", sb_tune_choice_words(tuning, choice, words));
  if (choice->locked_gear > 0) {
    sb_text_table_put(table, "-");
  } else {
    sb_text_table_put(table, "%.10g/%.10g", sb_tune_percent(choice->downshift_fraction),
                      sb_tune_percent(choice->upshift_fraction));
  }
  for (int k = 0; k < count; k++) sb_text_table_put(table, "%s", NUM(columns[k].value(choice)));
}

/* Which of them fail, and how. */
static void write_failing(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  char words[SB_TUNE_WORDS_SIZE];
  for (int k = 0; k < result->choice_count; k++) {
    const struct sb_tune_choice *choice = &result->choices[k];
    if (choice->failing == 0) continue;
    sb_words_say(out, 2, 4, "%s fails in %d of %d machines: %s", sb_tune_choice_words(tuning, choice, words),
                 choice->failing, tuning->machine_count, sb_tune_verdict_name(&choice->first_verdict));
  }
}

static void write_table(FILE *out, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  struct column columns[COLUMN_MAX];
  const int count = list_columns(tuning, columns);
  struct sb_text_table table;
  sb_text_table_init(&table, 2 + count);
  sb_text_table_put(&table, "\tthresholds in %%");
  for (int k = 0; k < count; k++) sb_text_table_put(&table, "%s", columns[k].heading);
  for (int k = 0; k < result->choice_count; k++) put_row(&table, tuning, columns, count, &result->choices[k]);
  sb_text_table_write(&table, 2, out);
}

void sb_tune_write_choices(FILE *out, const struct sb_rounds *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  char words[SB_TUNE_WORDS_SIZE];
  fprintf(out, "\n%s\n\n",
          result->alternative_count > 1 ? "Alternatives, none worse than another one in everything"
                                        : "The answer beside the scenario's own and each gear alone");
  write_table(out, tuning, result);
  write_failing(out, tuning, result);
  if (sb_tune_rule_words(tuning, pair, words)[0] == 0) return;
  fputc('\n', out);
  sb_words_say(out, 0, 0, "%s", words);
}

/* ---- for machines ---- */

static double percent_or_nan(double fraction)
{
  return isnan(fraction) ? (double)NAN : sb_tune_percent(fraction);
}

static void put_choice(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_choice *choice)
{
  char words[SB_TUNE_WORDS_SIZE];
  sb_json_open_object(json);
  sb_json_put_string(json, "name", sb_tune_choice_words(tuning, choice, words));
  if (choice->locked_gear > 0) {
    sb_json_put_integer(json, "gear", choice->locked_gear);
  } else {
    sb_json_put_number(json, "downshift_below_pct", sb_tune_percent(choice->downshift_fraction));
    sb_json_put_number(json, "upshift_above_pct", sb_tune_percent(choice->upshift_fraction));
    sb_json_put_number(json, "dwell_s", sb_tune_seconds(choice->dwell_s));
  }
  sb_json_put_boolean(json, "passes", choice->failing == 0);
  sb_json_put_integer(json, "failing_count", choice->failing);
  sb_map_put_verdicts(json, &choice->first_verdict);
  sb_json_put_number(json, "mean_output_speed_rad_s", choice->speed_rad_s);
  sb_json_put_number(json, "time_s", choice->time_s);
  sb_json_put_number(json, "energy_j", choice->energy_j);
  sb_json_put_number(json, "energy_per_turn_j", SB_TURN * per_rad_j(choice));
  sb_json_put_number(json, "charge_as", choice->charge_as);
  sb_json_put_number(json, "greatest_current_a", choice->current_a);
  sb_json_put_number(json, "greatest_winding_c", choice->winding_c);
  sb_json_put_integer(json, "shifts", choice->shift_count);
  sb_json_put_number(json, "margin_pct", percent_or_nan(choice->margin_fraction));
  sb_json_close(json);
}

void sb_tune_put_choices(struct sb_json *json, const struct sb_rounds *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  char words[SB_TUNE_WORDS_SIZE];
  sb_json_put_string(json, "rule", result->alternative_count > 0 ? sb_tune_rule_words(tuning, pair, words) : NULL);
  sb_json_put_boolean(json, "by_speed_alone", result->is_speed_alone);
  sb_json_put_array(json, "alternatives");
  for (int k = 0; k < result->alternative_count; k++) put_choice(json, tuning, &result->choices[k]);
  sb_json_close(json);
  sb_json_put_array(json, "beside");
  for (int k = result->alternative_count; k < result->choice_count; k++) put_choice(json, tuning, &result->choices[k]);
  sb_json_close(json);
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  sb_json_put_string(json, "one_gear", result->needed_gear > 0 ? gears[result->needed_gear - 1].name : NULL);
  sb_json_put_string(json, "one_gear_text", result->needed_gear > 0 ? sb_tune_needed_words(tuning, pair, words) : NULL);
}
