// SPDX-License-Identifier: GPL-3.0-or-later
/* The answer for machines: one JSON object, and a CSV table of the designs. */
#include <math.h>

#include "design/drops.h"
#include "design/machine.h"
#include "design/words.h"
#include "shiftband/map.h"
#include "text/fields.h"

#define FIGURE(member, kind) SB_MEMBER(sb_design_figures, member, kind)

static const struct sb_field figures[] = {
    FIGURE(time_s, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "mean_speed_rad_s", speed_rad_s, NUMBER),
    FIGURE(charge_as, NUMBER),
    FIGURE(energy_j, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "greatest_current_a", current_a, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "greatest_winding_c", winding_c, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "greatest_torque_nm", output_torque_nm, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "tooth_load_n", tooth_n, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "tooth_load_pct", tooth_fraction, PERCENT),
    SB_MEMBER_AS(sb_design_figures, "wheels", wheel_count, INTEGER),
    SB_MEMBER_AS(sb_design_figures, "margin_pct", margin_fraction, ROUNDED_PERCENT),
    SB_MEMBER_AS(sb_design_figures, "least_swing_nm", swing_nm, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "carried_torque_nm", carried_nm, NUMBER),
    SB_MEMBERS_END};

static const struct sb_field counts[] = {SB_MEMBER_AS(sb_design_answer, "boxes", box_count, NUMBER),
                                         SB_MEMBER_AS(sb_design_answer, "machines", machine_count, NUMBER),
                                         SB_MEMBER_AS(sb_design_answer, "combinations", combination_count, INTEGER),
                                         SB_MEMBER_AS(sb_design_answer, "left_by_closed_forms", kept_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "runs", run_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "not_run", unrun_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "passed_runs", passed_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "tuned", tuned_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "not_tuned", untuned_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "not_shown", unshown_count, LONG),
                                         SB_MEMBERS_END};

static void put_dropped(struct sb_json *json, const char *rule, double count)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "rule", rule);
  sb_json_put_number(json, "machines", count);
  sb_json_close(json);
}

/* "wanted_rad_s" and the like. */
static void put_value(struct sb_json *json, const struct sb_need *need, const char *what, double value)
{
  char name[32];
  snprintf(name, sizeof name, "%s_%s", what, sb_needs_unit_name(need));
  sb_json_put_number(json, name, value);
}

static void put_need(struct sb_json *json, const struct sb_need *need)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "rule", need->path);
  sb_json_put_number(json, "machines", need->dropped_count);
  sb_json_put_number(json, "missed_alone", need->alone_count);
  put_value(json, need, "wanted", need->wanted);
  put_value(json, need, "nearest", need->nearest);
  sb_json_close(json);
}

static void put_rules(struct sb_json *json, const struct sb_design_answer *answer)
{
  const double counts_of[] = {
      [SB_DROP_STOCK] = answer->stock_count,
      [SB_DROP_RATIO] = answer->ratio_count,
      [SB_DROP_SAME] = answer->same_count,
      [SB_DROP_UNRUN] = (double)answer->unrun_count,
      [SB_DROP_UNFIT] = (double)answer->unfit_count,
      [SB_DROP_BEATEN] = (double)answer->beaten_count,
      [SB_DROP_UNTUNED] = (double)answer->untuned_count,
      [SB_DROP_FAILED] = (double)answer->failed_count,
      [SB_DROP_OUTDONE] = (double)answer->outdone_count,
      [SB_DROP_UNSHOWN] = (double)answer->unshown_count,
  };
  sb_json_put_array(json, "dropped");
  for (int k = 0; k < answer->needs.count; k++) put_need(json, &answer->needs.items[k]);
  for (int k = 0; k <= SB_DROP_UNSHOWN; k++) put_dropped(json, sb_drops_words((enum sb_drop)k), counts_of[k]);
  sb_json_close(json);
}

static void put_loads(struct sb_json *json, const struct sb_design_answer *answer)
{
  sb_json_put_array(json, "scenarios");
  for (int k = 0; k < answer->path_count; k++) sb_json_string(json, answer->paths[k]);
  sb_json_close(json);
}

/* The load that limits it. */
static void put_limit(struct sb_json *json, const struct sb_design_answer *answer, const struct sb_design *design)
{
  const struct sb_design_limit *limit = &design->limit;
  const struct sb_map_verdict verdict = {.kinds = limit->verdicts};
  if (isnan(limit->load_nm)) {
    sb_json_put_null(json, "limit");
    return;
  }
  sb_json_put_object(json, "limit");
  sb_json_put_number(json, "load_torque_nm", limit->load_nm);
  sb_json_put_string(json, "verdict", sb_verdict_name((enum sb_verdict_kind)sb_map_verdict_worst(&verdict)));
  sb_json_put_string(json, "scenario", design->path != NULL ? design->path : answer->paths[limit->scenario]);
  sb_json_close(json);
}

static void put_choices(struct sb_json *json, const struct sb_design_answer *answer, const struct sb_design *design)
{
  const struct sb_choices *choices = answer->choices;
  sb_json_put_array(json, "choices");
  for (int k = 0; choices != NULL && design->path == NULL && k < choices->axis_count; k++) {
    const int option = sb_machine_option(choices, design->candidate.combination, k);
    sb_json_open_object(json);
    sb_json_put_string(json, "key", choices->axes[k].path);
    sb_json_put_string(json, "value", choices->axes[k].options[option].words);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_gears(struct sb_json *json, const struct sb_design *design)
{
  const struct sb_box *box = &design->candidate.box;
  sb_json_put_array(json, "gears");
  for (int s = 0; box->stages > 0 && s < box->speeds; s++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "name", sb_design_speed_name(box->speeds, s));
    sb_json_put_number(json, "ratio", design->candidate.ratios[s]);
    sb_json_put_string(json, "meshes", sb_design_meshes(box, s).text);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_control(struct sb_json *json, const struct sb_design *design)
{
  sb_json_put_array(json, "thresholds");
  for (int p = 0; p < design->control.pairs; p++) {
    sb_json_open_object(json);
    sb_json_put_number(json, "downshift_below_pct", design->control.downshift_pct[p]);
    sb_json_put_number(json, "upshift_above_pct", design->control.upshift_pct[p]);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_put_number(json, "dwell_s", design->control.pairs > 0 ? design->control.dwell_s : (double)NAN);
}

static void put_proofs(struct sb_json *json, const struct sb_design *design)
{
  static const char *const names[] = {
#define MEMBER_NAME(name, member) member,
      SB_PROVE_STATEMENT_LIST(MEMBER_NAME)
#undef MEMBER_NAME
  };
  if (!design->is_proved_class) {
    sb_json_put_null(json, "proofs");
    return;
  }
  sb_json_put_object(json, "proofs");
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    sb_json_put_string(json, names[k], sb_prove_proof_word(design->statements[k]));
  }
  sb_json_close(json);
}

void sb_design_write_json(FILE *out, const struct sb_design_answer *answer)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_design);
  sb_fields_put_json(&json, counts, answer);
  put_loads(&json, answer);
  put_rules(&json, answer);
  sb_json_put_array(&json, "designs");
  for (int k = 0; k < answer->design_count; k++) {
    const struct sb_design *design = &answer->designs[k];
    sb_json_open_object(&json);
    sb_json_put_string(&json, "name", design->name);
    sb_json_put_string(&json, "special", sb_design_special(answer, k).text);
    put_choices(&json, answer, design);
    put_gears(&json, design);
    put_control(&json, design);
    sb_fields_put_json(&json, figures, &design->figures);
    put_limit(&json, answer, design);
    put_proofs(&json, design);
    sb_json_close(&json);
  }
  sb_json_end(&json);
}

void sb_design_write_csv(FILE *out, const struct sb_design_answer *answer)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_design_rows);
  sb_csv_names(&csv, "design,gears,thresholds");
  sb_fields_put_names(&csv, figures);
  sb_csv_end_row(&csv);
  for (int k = 0; k < answer->design_count; k++) {
    const struct sb_design *design = &answer->designs[k];
    sb_csv_text(&csv, design->name);
    sb_csv_text(&csv, sb_design_gears(design).text);
    sb_csv_text(&csv, sb_design_thresholds(design).text);
    sb_fields_put_csv(&csv, figures, &design->figures);
    sb_csv_end_row(&csv);
  }
}
