// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - what tune found, for machines. */
#include <math.h>

#include "map/report.h"
#include "text/json.h"
#include "tune/report.h"

/* What closed forms find stands in the same list as what a map finds. */
static void put_closed_verdict(struct sb_json *json, const struct sb_tune_limit *limit)
{
  const enum sb_verdict_kind kind = limit->is_band ? SB_VERDICT_HUNTING : SB_VERDICT_STUCK_LOW;
  const enum sb_cause cause = limit->is_band ? SB_CAUSE_THRESHOLDS : SB_CAUSE_NONE;
  sb_map_put_verdicts(json, &(struct sb_map_verdict){1U << kind, cause});
}

static void put_machine(struct sb_json *json, const struct sb_rounds *tuning, int machine)
{
  if (machine < 0) return;
  char words[SB_TUNE_WORDS_SIZE];
  sb_json_put_string(json, "scenario", tuning->nominals[tuning->machines[machine].scenario].model.name);
  sb_json_put_integer(json, "sample", tuning->machines[machine].sample);
  sb_json_put_string(json, "where", sb_tune_machine_words(tuning, machine, words));
}

static void put_failure(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_limit *limit)
{
  sb_json_put_number(json, "fails_at_pct", sb_tune_percent(limit->fails_at_fraction));
  const bool is_closed_form = limit->is_band || limit->is_low;
  sb_json_put_boolean(json, "never_shifts", limit->is_fixed);
  sb_json_put_string(json, "found_by", is_closed_form ? "closed form" : "simulation");
  if (is_closed_form) {
    put_closed_verdict(json, limit);
  } else {
    sb_map_put_verdicts(json, &limit->verdict);
  }
  put_machine(json, tuning, limit->machine);
  if (sb_tune_decider(tuning) != NULL) return;
  sb_json_put_number(json, "closed_form_pct", sb_tune_percent(limit->closed_fraction));
  sb_json_put_string(json, "reason", isnan(limit->closed_fraction) ? NULL : sb_reason_text(limit->reason));
}

static void put_any_load(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_any_load *any_load)
{
  if (!any_load->is_asked) return;
  sb_json_put_object(json, "any_load");
  sb_json_put_boolean(json, "is_proved", any_load->is_proved);
  sb_json_put_number(json, "least_swing_nm", any_load->swing_nm);
  sb_json_put_number(json, "longest_return_s", any_load->return_s);
  sb_json_put_number(json, "longest_reaction_s", any_load->reaction_s);
  sb_json_put_number(json, "longest_standstill_in_gear_s", any_load->standing_s);
  sb_json_put_boolean(json, "stands_too_long", any_load->is_standing);
  put_machine(json, tuning, any_load->is_proved ? any_load->swing_machine : any_load->first_failing);
  sb_json_close(json);
}

static void put_margins(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  static const char *const thresholds[SB_TUNE_DIRECTIONS] = {"downshift_below", "downshift_below", "upshift_above",
                                                             "upshift_above"};
  static const char *const directions[SB_TUNE_DIRECTIONS] = {"lower", "higher", "lower", "higher"};
  sb_json_put_array(json, "margins");
  for (int d = 0; d < SB_TUNE_DIRECTIONS; d++) {
    const struct sb_tune_limit *limit = &result->limits[d];
    sb_json_open_object(json);
    sb_json_put_string(json, "threshold", thresholds[d]);
    sb_json_put_string(json, "direction", directions[d]);
    sb_json_put_number(json, "margin_pct", sb_tune_percent(limit->margin_fraction));
    if (!limit->is_end) put_failure(json, tuning, limit);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_dwell_margin(struct sb_json *json, const struct sb_rounds *tuning, const char *direction,
                             const struct sb_tune_dwell_limit *limit)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "direction", direction);
  sb_json_put_number(json, "passes_s", sb_tune_seconds(limit->passes_s));
  sb_json_put_integer(json, "dwells_tried", limit->tried_count);
  sb_json_put_integer(json, "dwells_not_tried", limit->untried_count > 0 ? limit->untried_count : 0);
  if (!limit->is_end) {
    sb_map_put_verdicts(json, &limit->verdict);
    put_machine(json, tuning, limit->machine);
  }
  sb_json_close(json);
}

static void put_reserves(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  sb_json_put_array(json, "withstands");
  for (int k = 0; k < result->reserve_count; k++) {
    const struct sb_tune_reserve *reserve = &result->reserves[k];
    sb_json_open_object(json);
    sb_json_put_string(json, "quantity", sb_tune_quantity_name(reserve->quantity));
    sb_json_put_string(json, "direction", reserve->is_more ? "more" : "less");
    sb_json_put_number(json, "passes_pct", sb_tune_percent(fabs(reserve->passes_share)));
    sb_json_put_number(json, "fails_pct", reserve->is_end ? (double)NAN : sb_tune_percent(fabs(reserve->fails_share)));
    if (!reserve->is_end) {
      sb_map_put_verdicts(json, &reserve->verdict);
      put_machine(json, tuning, reserve->machine);
    }
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* What would give thresholds that pass, as other verdicts say what cures them. */
static void put_remedy(struct sb_json *json, const struct sb_rounds *tuning, int pair)
{
  static const char *const kinds[SB_REMEDY_COUNT] = {NULL,         "dwell",          "reference",
                                                     "resolution", "supply voltage", "slower ratio"};
  const struct sb_tune_result *result = &tuning->results[pair];
  char words[SB_TUNE_WORDS_SIZE];
  sb_json_put_object(json, "remedy");
  sb_json_put_string(json, "kind", kinds[result->remedy]);
  sb_json_put_string(json, "text", sb_tune_remedy_words(tuning, pair, words));
  if (result->remedy != SB_REMEDY_NONE) {
    sb_json_put_number(json, "amount", result->remedy_amount);
    sb_json_put_number(json, "margin_pct", sb_tune_percent(result->remedy_margin_fraction));
  }
  sb_json_put_array(json, "cure");
  if (result->remedy != SB_REMEDY_NONE) {
    sb_json_open_object(json);
    sb_json_put_string(json, "key", sb_tune_remedy_key(tuning, pair, words));
    sb_json_put_string(json, "value", sb_tune_remedy_value(tuning, pair, words));
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

static void put_closed_forms(struct sb_json *json, const struct sb_tune_closed *closed)
{
  sb_json_put_object(json, "closed_form");
  sb_json_put_number(json, "least_upshift_pct", sb_tune_percent(closed->least_upshift));
  sb_json_put_number(json, "greatest_upshift_pct", sb_tune_percent(closed->greatest_upshift));
  sb_json_put_number(json, "greatest_downshift_no_band_pct", sb_tune_percent(closed->greatest_downshift_band));
  sb_json_put_number(json, "greatest_downshift_carried_pct", sb_tune_percent(closed->greatest_downshift_carried));
  sb_json_close(json);
}

static void put_answer(struct sb_json *json, const struct sb_rounds *tuning, const struct sb_tune_result *result)
{
  const struct sb_sensor *sensor = &sb_tune_first_model(tuning)->control.sensor;
  sb_json_put_boolean(json, "passes", result->passes);
  sb_json_put_number(json, "downshift_below_pct", sb_tune_percent(result->downshift_fraction));
  sb_json_put_number(json, "upshift_above_pct", sb_tune_percent(result->upshift_fraction));
  sb_json_put_number(json, "dwell_s", sb_tune_seconds(tuning->dwell_s));
  if (sensor->resolution_fraction > 0.0 && !sensor->supply.is_present) {
    sb_json_put_integer(json, "downshift_below_raw", sb_sensor_down_count(sensor, result->downshift_fraction));
    sb_json_put_integer(json, "upshift_above_raw", sb_sensor_up_count(sensor, result->upshift_fraction));
  }
  sb_json_put_integer(json, "dwell_samples", sb_tune_dwell_samples(tuning));
  sb_json_put_number(json, "margin_pct", sb_tune_percent(result->margin_fraction));
  sb_json_put_integer(json, "failing_count", result->failing);
}

static void put_pair(struct sb_json *json, const struct sb_rounds *tuning, int pair)
{
  const struct sb_tune_result *result = &tuning->results[pair];
  const struct sb_gear *gears = sb_tune_first_model(tuning)->gearbox.gears;
  const bool is_builtin = sb_tune_decider(tuning) == NULL;
  sb_json_open_object(json);
  sb_json_put_string(json, "slower", gears[pair].name);
  sb_json_put_string(json, "faster", gears[pair + 1].name);
  put_answer(json, tuning, result);
  if (is_builtin) sb_json_put_boolean(json, "closed_forms_agree", result->is_cautious);
  sb_json_put_boolean(json, "never_shifts", result->never_shifts);
  sb_tune_put_choices(json, tuning, pair);
  put_any_load(json, tuning, &tuning->results[pair].any_load);
  if (result->passes) {
    put_margins(json, tuning, result);
    sb_json_put_array(json, "dwell_margins");
    put_dwell_margin(json, tuning, "shorter", &result->shortest_dwell);
    put_dwell_margin(json, tuning, "longer", &result->longest_dwell);
    sb_json_close(json);
    put_reserves(json, tuning, result);
  } else {
    sb_map_put_verdicts(json, &result->first_verdict);
    put_machine(json, tuning, result->first_failing);
    if (is_builtin) put_remedy(json, tuning, pair);
  }
  if (is_builtin) {
    sb_json_put_number(json, "measured_supply_margin_pct", sb_tune_percent(result->reference_margin_fraction));
    put_closed_forms(json, &result->closed);
  }
  sb_json_close(json);
}

static void put_measures(struct sb_json *json, const struct sb_rounds *tuning)
{
  sb_json_put_array(json, "measure_first");
  for (int k = 0; k < tuning->measure_count; k++) {
    const struct sb_tune_measure *measure = &tuning->measures[k];
    sb_json_open_object(json);
    sb_json_put_string(json, "key", measure->path);
    sb_json_put_string(json, "unit", measure->unit);
    sb_json_put_number(json, "least", measure->least);
    sb_json_put_number(json, "greatest", measure->greatest);
    sb_json_put_boolean(json, "has_tolerance", measure->has_tolerance);
    sb_json_put_number(json, "moves_limits_by_pct", sb_tune_percent(measure->move_fraction));
    sb_json_put_boolean(json, "passes", !measure->fails);
    sb_json_put_number(json, "fails_at", measure->fails ? measure->fails_at : (double)NAN);
    sb_map_put_verdicts(json, &measure->verdict);
    sb_json_close(json);
  }
  sb_json_close(json);
}

void sb_tune_write_json(FILE *out, const struct sb_rounds *tuning)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_tune);
  sb_json_put_integer(&json, "machine_count", tuning->machine_count);
  if (sb_tune_decider(tuning) != NULL) sb_json_put_string(&json, "controller", sb_tune_decider(tuning)->name);
  sb_json_put_number(&json, "lattice_pct", sb_tune_percent(tuning->axis.step_fraction));
  sb_json_put_string(&json, "proof", tuning->proof.text[0] != 0 ? tuning->proof.text : NULL);
  sb_json_put_array(&json, "pairs");
  for (int pair = tuning->first_pair; pair <= tuning->last_pair; pair++) put_pair(&json, tuning, pair);
  sb_json_close(&json);
  if (sb_tune_decider(tuning) == NULL) put_measures(&json, tuning);
  sb_json_end(&json);
}
