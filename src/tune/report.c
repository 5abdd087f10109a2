// SPDX-License-Identifier: GPL-3.0-or-later
/* report.c - what tune found: the answer, its margins, the closed forms beside it, and what would help. */
#include "tune/report.h"

#include <math.h>

#include "shiftband/report.h"
#include "text/json.h"

static const char *const direction_words[SB_TUNE_DIRECTIONS] = {"lower down", "raise down", "lower up", "raise up"};
static const char *const direction_keys[SB_TUNE_DIRECTIONS] = {"down_lower", "down_higher", "up_lower", "up_higher"};

static const char *const remedy_kinds[SB_REMEDY_COUNT] = {NULL, "dwell", "resolution", "supply voltage",
                                                          "slower ratio"};

/* In percent, without the dust of binary fractions, so that it reads as it was meant and back. */
static double percent(double fraction)
{
  return round(1e8 * fraction) / 1e6;
}

static double seconds(double time_s)
{
  return round(1e9 * time_s) / 1e9;
}

static const struct sb_model *first_model(const struct sb_tuning *tuning)
{
  return &tuning->nominals[0].model;
}

/* Where and in which sample a machine is: "Tray cart, supply.open_circuit_voltage 10.4 V". */
static const char *machine_words(const struct sb_tuning *tuning, int machine, char *text, size_t size)
{
  if (machine < 0) return "no machine";
  const struct sb_tune_machine *own = &tuning->machines[machine];
  const struct sb_scenario *nominal = &tuning->nominals[own->scenario];
  const double *values = tuning->values[own->scenario] + own->sample * nominal->tolerance_count;
  char sample[256] = "as written";
  if (own->sample > 0) sb_spread_words(nominal, values, sample, sizeof sample);
  snprintf(text, size, "%s, %s", nominal->model.name, sample);
  return text;
}

static const char *verdict_words(const struct sb_map_verdict *verdict, char *text, size_t size)
{
  const int worst = sb_map_verdict_worst(verdict);
  const char *cause = worst == SB_VERDICT_HUNTING ? sb_cause_name(verdict->cause) : NULL;
  snprintf(text, size, "%s%s%s%s", worst < 0 ? "holds" : sb_verdict_name((enum sb_verdict_kind)worst),
           cause != NULL ? " (" : "", cause != NULL ? cause : "", cause != NULL ? ")" : "");
  return text;
}

static const char *remedy_words(const struct sb_tune_result *result, char *text, size_t size)
{
  switch (result->remedy) {
    case SB_REMEDY_DWELL: snprintf(text, size, "a dwell of %.4g s", result->remedy_amount * result->dwell_s); break;
    case SB_REMEDY_SENSOR:
      snprintf(text, size, "a finer sensor, of %.2g %% resolution", percent(result->remedy_amount));
      break;
    case SB_REMEDY_VOLTAGE:
      snprintf(text, size, "%.3g %% more supply voltage", percent(result->remedy_amount - 1.0));
      break;
    case SB_REMEDY_RATIO:
      snprintf(text, size, "a slower gear with %.3g times its reduction (a %s ratio step)", result->remedy_amount,
               result->remedy_amount < 1.0 ? "smaller" : "greater");
      break;
    default: snprintf(text, size, "no single change that was tried"); break;
  }
  return text;
}

/* A sensor without a resolution has no counts of its own. */
static void write_threshold(FILE *out, const struct sb_sensor *sensor, const char *name, const char *use,
                            double fraction, int32_t count)
{
  fprintf(out, "  %-6s %8.10g %%   %s", name, percent(fraction), use);
  if (sensor->resolution_fraction > 0.0) fprintf(out, "; %d in the sensor's counts", (int)count);
  fputc('\n', out);
}

/* Someone else's controller, or NULL. */
static const struct sb_decider *decider_of(const struct sb_tuning *tuning)
{
  return tuning->options[tuning->first_pair].decider;
}

static void write_answer(FILE *out, const struct sb_tuning *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_model *model = first_model(tuning);
  const struct sb_sensor *sensor = &model->control.sensor;
  const char *slow = model->gearbox.gears[pair].name, *fast = model->gearbox.gears[pair + 1].name;
  char machines[96];
  if (tuning->machine_count == 1) {
    snprintf(machines, sizeof machines, "the scenario as written");
  } else {
    snprintf(machines, sizeof machines, "all %d machines (%d scenario%s with %s)", tuning->machine_count,
             tuning->nominal_count, tuning->nominal_count > 1 ? "s" : "",
             tuning->machine_count > tuning->nominal_count ? "samples of the tolerances" : "no tolerances");
  }
  fprintf(out, "Between %s and %s, %s in %s%s:\n\n", slow, fast, result->holds ? "these hold" : "no thresholds hold",
          machines, result->holds ? "" : "; the least bad");
  if (decider_of(tuning) != NULL) {
    fprintf(
        out,
        "  (by controller %s, with a run at each point of a lattice of %.6g %%;\n"
        "  between two points nothing is known, nor under other loads: the closed forms speak of the built-in one)\n\n",
        decider_of(tuning)->name, percent(tuning->options[pair].axis.step_fraction));
  }
  write_threshold(out, sensor, "down", "shift down below", result->downshift_fraction,
                  sb_sensor_down_count(sensor, result->downshift_fraction));
  write_threshold(out, sensor, "up", "shift up above", result->upshift_fraction,
                  sb_sensor_up_count(sensor, result->upshift_fraction));
  fprintf(out, "  dwell  %8.10g s   %.0f samples%s\n", seconds(tuning->dwell_s),
          ceil(tuning->dwell_s / model->control.sample_period_s - 1e-9),
          tuning->first_pair < tuning->last_pair ? ", one for all pairs" : "");
}

static void write_failure(FILE *out, const struct sb_tuning *tuning, const struct sb_tune_result *result)
{
  char machine[512], verdict[96], remedy[128];
  fprintf(out, "\n%d of %d machines fail there, the first by %s (%s).\n", result->failing, tuning->machine_count,
          verdict_words(&result->first_verdict, verdict, sizeof verdict),
          machine_words(tuning, result->first_failing, machine, sizeof machine));
  if (decider_of(tuning) != NULL) return;
  fprintf(out, "What would open a region, tried by simulation: %s", remedy_words(result, remedy, sizeof remedy));
  if (result->remedy != SB_REMEDY_NONE) {
    fprintf(out, " (then the nearest failure is %.10g %% away)", percent(result->remedy_margin_fraction));
  }
  fprintf(out, ".\n");
}

/* The closed form that speaks of the same failure in the same direction; NAN: none does. */
static double closed_limit(const struct sb_tune_closed *closed, enum sb_tune_direction direction,
                           const struct sb_map_verdict *verdict)
{
  const int worst = sb_map_verdict_worst(verdict);
  const bool is_band = worst == SB_VERDICT_HUNTING && verdict->cause == SB_CAUSE_THRESHOLDS;
  if (direction == SB_TUNE_UP_LOWER && is_band) return closed->least_up;
  if (direction == SB_TUNE_UP_HIGHER && worst == SB_VERDICT_STUCK_LOW) return closed->greatest_up;
  if (direction == SB_TUNE_DOWN_HIGHER && is_band) return closed->greatest_down_band;
  if (direction == SB_TUNE_DOWN_HIGHER && worst == SB_VERDICT_NEEDLESS_DOWNSHIFT) return closed->greatest_down_hold;
  return NAN;
}

/* Beside a simulated limit, what the closed form says for that machine, and why they part if they do. */
static enum sb_status write_closed(FILE *out, const struct sb_tuning *tuning, int pair,
                                   enum sb_tune_direction direction, struct sb_error *err)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_tune_limit *limit = &result->limits[direction];
  if (limit->is_end || limit->is_band || limit->is_low || limit->machine < 0) return SB_OK;
  if (decider_of(tuning) != NULL) return SB_OK; /* the closed forms speak of the built-in one */
  const struct sb_tune_machine *machine = &tuning->machines[limit->machine];
  const struct sb_tune_closed closed =
      sb_tune_closed_limits(machine, 1, pair, result->downshift_fraction, result->upshift_fraction);
  const double expected = closed_limit(&closed, direction, &limit->verdict);
  if (!isfinite(expected)) return SB_OK;
  enum sb_reason reason;
  const enum sb_status status =
      sb_tune_reason(machine, &tuning->options[pair], result, direction, expected, &reason, err);
  if (status == SB_OK) {
    fprintf(out, "                          closed form for it: %.4g %%; %s\n", percent(expected),
            sb_reason_text(reason));
  }
  return status;
}

static void write_place(FILE *out, const struct sb_tuning *tuning, int machine)
{
  char words[512];
  fprintf(out, "                          in %s\n", machine_words(tuning, machine, words, sizeof words));
}

static enum sb_status write_limit(FILE *out, const struct sb_tuning *tuning, int pair, enum sb_tune_direction direction,
                                  struct sb_error *err)
{
  const struct sb_tune_limit *limit = &tuning->results[pair].limits[direction];
  char verdict[96];
  fprintf(out, "  %-13s %7.10g %%  ", direction_words[direction], percent(limit->margin_fraction));
  if (limit->is_end) {
    const bool meets = direction == SB_TUNE_DOWN_HIGHER || direction == SB_TUNE_UP_LOWER;
    const bool is_whole = direction == SB_TUNE_DOWN_HIGHER && limit->fails_at_fraction >= 1.0 - 1e-9;
    fprintf(out, "%s\n",
            is_whole ? "none before 100 %, which a down must stay below"
            : meets  ? "none before the two thresholds meet"
                     : "none before the end of what was searched");
    return SB_OK;
  }
  fprintf(out, "at %.10g %%: ", percent(limit->fails_at_fraction));
  if (limit->is_band || limit->is_low) {
    fprintf(out, "%s, by the closed form\n", limit->is_band ? "a hunting band opens" : "stuck low");
  } else {
    fprintf(out, "%s\n", verdict_words(&limit->verdict, verdict, sizeof verdict));
  }
  write_place(out, tuning, limit->machine);
  return write_closed(out, tuning, pair, direction, err);
}

static void write_dwell_limit(FILE *out, const struct sb_tuning *tuning, const char *name,
                              const struct sb_tune_dwell_limit *limit)
{
  char verdict[96];
  fprintf(out, "  %-13s %7.10g s  ", name, seconds(limit->holds_s));
  if (limit->is_end) {
    fprintf(out, "still holds, and nothing beyond was tried\n");
    return;
  }
  fprintf(out, "is the last that holds; then %s\n", verdict_words(&limit->verdict, verdict, sizeof verdict));
  write_place(out, tuning, limit->machine);
}

static enum sb_status write_limits(FILE *out, const struct sb_tuning *tuning, int pair, struct sb_error *err)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  fprintf(out, "\nHow far away the first failure is (in any direction at once: %.10g %%)\n\n",
          percent(result->margin_fraction));
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    const enum sb_status status = write_limit(out, tuning, pair, (enum sb_tune_direction)d, err);
    if (status != SB_OK) return status;
  }
  write_dwell_limit(out, tuning, "shorter dwell", &result->shortest_dwell);
  write_dwell_limit(out, tuning, "longer dwell", &result->longest_dwell);
  return SB_OK;
}

static void write_closed_forms(FILE *out, const struct sb_tuning *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_tune_closed closed = sb_tune_closed_limits(tuning->machines, tuning->machine_count, pair,
                                                             result->downshift_fraction, result->upshift_fraction);
  fprintf(out, "\nClosed forms over all machines, the other threshold kept\n\n");
  if (isfinite(closed.least_up)) {
    fprintf(out, "  up     from %.4g %%  no hunting band\n", percent(closed.least_up));
  } else {
    fprintf(out, "  up     nowhere      without a hunting band in some machine\n");
  }
  fprintf(out, "         to   %.4g %%  the slower gear comes above it under the lightest load\n",
          percent(closed.greatest_up));
  fprintf(out, "  down   to   %.4g %%  no hunting band\n", percent(closed.greatest_down_band));
  fprintf(out, "         to   %.4g %%  the faster gear holds the lightest load above it\n",
          percent(closed.greatest_down_hold));
}

enum sb_status sb_tune_write_text(FILE *out, const struct sb_tuning *tuning, struct sb_error *err)
{
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) {
    const struct sb_tune_result *result = &tuning->results[pair];
    if (pair > tuning->first_pair) fputc('\n', out);
    write_answer(out, tuning, pair);
    if (!result->holds) write_failure(out, tuning, result);
    if (!result->is_cautious && decider_of(tuning) == NULL) {
      fprintf(out,
              "\nBy the closed forms no thresholds are free of a hunting band and of being stuck low in all machines:\n"
              "another load than these scenarios' may still hunt or stay low.\n");
    }
    const enum sb_status status = result->holds ? write_limits(out, tuning, pair, err) : SB_OK;
    if (status != SB_OK) return status;
    if (decider_of(tuning) == NULL) write_closed_forms(out, tuning, pair);
  }
  fprintf(out,
          "\nBefore a machine is trusted to these numbers, hold one settled speed in each gear against the bench.\n");
  sb_report_write_cautions(out, first_model(tuning), NULL);
  return SB_OK;
}

static void put_verdict(struct sb_json *json, const struct sb_map_verdict *verdict)
{
  const int worst = sb_map_verdict_worst(verdict);
  sb_json_put_string(json, "verdict", worst < 0 ? "holds" : sb_verdict_name((enum sb_verdict_kind)worst));
  sb_json_put_string(json, "cause", worst == SB_VERDICT_HUNTING ? sb_cause_name(verdict->cause) : NULL);
}

static void put_machine(struct sb_json *json, const struct sb_tuning *tuning, int machine)
{
  if (machine < 0) return;
  char words[512];
  sb_json_put_string(json, "scenario", tuning->nominals[tuning->machines[machine].scenario].model.name);
  sb_json_put_integer(json, "sample", tuning->machines[machine].sample);
  sb_json_put_string(json, "where", machine_words(tuning, machine, words, sizeof words));
}

static void put_dwell_limit(struct sb_json *json, const struct sb_tuning *tuning, const char *key,
                            const struct sb_tune_dwell_limit *limit)
{
  sb_json_put_object(json, key);
  sb_json_put_number(json, "holds_s", seconds(limit->holds_s));
  if (!limit->is_end) {
    put_verdict(json, &limit->verdict);
    put_machine(json, tuning, limit->machine);
  }
  sb_json_close(json);
}

static void put_limits(struct sb_json *json, const struct sb_tuning *tuning, const struct sb_tune_result *result)
{
  sb_json_put_object(json, "margins");
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    const struct sb_tune_limit *limit = &result->limits[d];
    sb_json_put_object(json, direction_keys[d]);
    sb_json_put_number(json, "margin_pct", percent(limit->margin_fraction));
    if (!limit->is_end) {
      sb_json_put_number(json, "fails_at_pct", percent(limit->fails_at_fraction));
      if (limit->is_band || limit->is_low) {
        sb_json_put_string(json, "verdict", limit->is_band ? "hunting band opens" : "stuck low");
        sb_json_put_string(json, "cause", "closed form");
      } else {
        put_verdict(json, &limit->verdict);
      }
      put_machine(json, tuning, limit->machine);
    }
    sb_json_close(json);
  }
  sb_json_close(json);
  put_dwell_limit(json, tuning, "dwell_shorter", &result->shortest_dwell);
  put_dwell_limit(json, tuning, "dwell_longer", &result->longest_dwell);
}

static void put_remedy(struct sb_json *json, const struct sb_tune_result *result)
{
  char words[128];
  sb_json_put_object(json, "remedy");
  sb_json_put_string(json, "kind", remedy_kinds[result->remedy]);
  if (result->remedy != SB_REMEDY_NONE) {
    sb_json_put_number(json, "amount", result->remedy_amount);
    sb_json_put_number(json, "margin_pct", percent(result->remedy_margin_fraction));
  }
  sb_json_put_string(json, "text", remedy_words(result, words, sizeof words));
  sb_json_close(json);
}

static void put_closed_forms(struct sb_json *json, const struct sb_tuning *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_tune_closed closed = sb_tune_closed_limits(tuning->machines, tuning->machine_count, pair,
                                                             result->downshift_fraction, result->upshift_fraction);
  sb_json_put_object(json, "closed_form");
  sb_json_put_number(json, "least_upshift_pct", percent(closed.least_up));
  sb_json_put_number(json, "greatest_upshift_pct", percent(closed.greatest_up));
  sb_json_put_number(json, "greatest_downshift_no_band_pct", percent(closed.greatest_down_band));
  sb_json_put_number(json, "greatest_downshift_holds_pct", percent(closed.greatest_down_hold));
  sb_json_close(json);
}

static void put_pair(struct sb_json *json, const struct sb_tuning *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_model *model = first_model(tuning);
  const struct sb_sensor *sensor = &model->control.sensor;
  sb_json_open_object(json);
  sb_json_put_string(json, "from", model->gearbox.gears[pair].name);
  sb_json_put_string(json, "to", model->gearbox.gears[pair + 1].name);
  sb_json_put_boolean(json, "holds", result->holds);
  if (decider_of(tuning) == NULL) sb_json_put_boolean(json, "closed_forms_agree", result->is_cautious);
  sb_json_put_number(json, "downshift_below_pct", percent(result->downshift_fraction));
  sb_json_put_number(json, "upshift_above_pct", percent(result->upshift_fraction));
  sb_json_put_number(json, "dwell_s", seconds(tuning->dwell_s));
  if (sensor->resolution_fraction > 0.0) {
    sb_json_put_integer(json, "down_raw", sb_sensor_down_count(sensor, result->downshift_fraction));
    sb_json_put_integer(json, "up_raw", sb_sensor_up_count(sensor, result->upshift_fraction));
  }
  sb_json_put_integer(json, "dwell_samples", llround(ceil(tuning->dwell_s / model->control.sample_period_s - 1e-9)));
  sb_json_put_number(json, "margin_pct", percent(result->margin_fraction));
  sb_json_put_integer(json, "failing", result->failing);
  if (result->holds) {
    put_limits(json, tuning, result);
  } else {
    put_verdict(json, &result->first_verdict);
    put_machine(json, tuning, result->first_failing);
    if (decider_of(tuning) == NULL) put_remedy(json, result);
  }
  if (decider_of(tuning) == NULL) put_closed_forms(json, tuning, pair);
  sb_json_close(json);
}

enum sb_status sb_tune_write_json(FILE *out, const struct sb_tuning *tuning, struct sb_error *err)
{
  (void)err;
  struct sb_json json;
  sb_json_init(&json, out);
  sb_json_open_object(&json);
  sb_json_put_integer(&json, "machines", tuning->machine_count);
  if (decider_of(tuning) != NULL) {
    sb_json_put_string(&json, "controller", decider_of(tuning)->name);
    sb_json_put_number(&json, "lattice_pct", percent(tuning->options[tuning->first_pair].axis.step_fraction));
  }
  sb_json_put_array(&json, "pairs");
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) put_pair(&json, tuning, pair);
  sb_json_close(&json);
  sb_json_close(&json);
  sb_json_end(&json);
  return SB_OK;
}
