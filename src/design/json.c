// SPDX-License-Identifier: GPL-3.0-or-later
/* The answer for machines: one JSON object, and a CSV table of the designs. */
#include <math.h>

#include "design/words.h"
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
    FIGURE(tooth_load, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "wheels", wheel_count, INTEGER),
    SB_MEMBER_AS(sb_design_figures, "margin_pct", margin_fraction, PERCENT),
    SB_MEMBER_AS(sb_design_figures, "least_swing_nm", swing_nm, NUMBER),
    SB_MEMBER_AS(sb_design_figures, "carried_torque_nm", carried_nm, NUMBER),
    SB_MEMBERS_END};

static const struct sb_field counts[] = {SB_MEMBER_AS(sb_design_answer, "boxes", box_count, NUMBER),
                                         SB_MEMBER_AS(sb_design_answer, "machines", machine_count, NUMBER),
                                         SB_MEMBER_AS(sb_design_answer, "combinations", combination_count, INTEGER),
                                         SB_MEMBER_AS(sb_design_answer, "left_by_closed_forms", kept_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "runs", run_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "not_run", unrun_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "front_of_runs", front_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "tuned", tuned_count, LONG),
                                         SB_MEMBER_AS(sb_design_answer, "not_tuned", untuned_count, LONG),
                                         SB_MEMBERS_END};

static void put_dropped(struct sb_json *json, const char *rule, double count)
{
  sb_json_open_object(json);
  sb_json_put_string(json, "rule", rule);
  sb_json_put_number(json, "machines", count);
  sb_json_close(json);
}

static void put_rules(struct sb_json *json, const struct sb_design_answer *answer)
{
  sb_json_put_array(json, "dropped");
  put_dropped(json, "choices.wheels.stock", answer->stock_count);
  put_dropped(json, "two speeds of one ratio", answer->ratio_count);
  for (int k = 0; k < answer->needs.count; k++) {
    const struct sb_need *need = &answer->needs.items[k];
    sb_json_open_object(json);
    sb_json_put_string(json, "rule", need->path);
    sb_json_put_number(json, "machines", need->dropped_count);
    sb_json_put_number(json, "missed_alone", need->alone_count);
    sb_json_put_number(json, "wanted", need->wanted);
    sb_json_put_number(json, "nearest", need->nearest);
    sb_json_close(json);
  }
  put_dropped(json, "moves as another one", answer->same_count);
  put_dropped(json, "no valid scenario", (double)answer->unfit_count);
  put_dropped(json, "beaten by another run", (double)answer->beaten_count);
  put_dropped(json, "no thresholds pass", (double)answer->failed_count);
  sb_json_close(json);
}

static void put_choices(struct sb_json *json, const struct sb_design_answer *answer, const struct sb_design *design)
{
  const struct sb_choices *choices = answer->choices;
  sb_json_put_array(json, "choices");
  for (int k = 0; choices != NULL && design->path == NULL && k < choices->axis_count; k++) {
    int rest = design->candidate.combination;
    for (int j = choices->axis_count - 1; j > k; j--) rest /= choices->axes[j].option_count;
    sb_json_open_object(json);
    sb_json_put_string(json, "key", choices->axes[k].path);
    sb_json_put_string(json, "value", choices->axes[k].options[rest % choices->axes[k].option_count].words);
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
