// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - the answers of a proof as one object. */
#include <math.h>

#include "prove/report.h"
#include "text/fields.h"

static void put_range(struct sb_json *json, const char *name, const double range[2])
{
  sb_json_put_array(json, name);
  sb_json_number(json, range[0]);
  sb_json_number(json, range[1]);
  sb_json_close(json);
}

static void put_load(struct sb_json *json, const struct sb_prove *prove)
{
  sb_json_put_object(json, "load");
  put_range(json, "acting_nm", prove->acting_nm);
  put_range(json, "resisting_nm", prove->resisting_nm);
  sb_json_put_number(json, "lightest_nm", prove->lightest_nm);
  sb_json_put_number(json, "heaviest_nm", prove->heaviest_nm);
  sb_json_close(json);
}

static const char *const statement_members[] = {
#define STATEMENT_MEMBER(name, member) member,
    SB_PROVE_STATEMENT_LIST(STATEMENT_MEMBER)
#undef STATEMENT_MEMBER
};

/* The load profiles of what runs have disproved. */
static void put_counterexamples(struct sb_json *json, const struct sb_prove *prove)
{
  sb_json_put_array(json, "counterexamples");
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    const struct sb_prove_profile *profile = &prove->profiles[sb_prove_bound_of((enum sb_prove_statement)k)];
    if (prove->statements[k] != SB_PROOF_DISPROVED) continue;
    sb_json_open_object(json);
    sb_json_put_string(json, "statement", statement_members[k]);
    sb_json_put_number(json, "duration_s", profile->duration_s);
    sb_json_put_string(json, "interpolation", profile->is_linear ? "linear" : "hold");
    sb_json_put_array(json, "corners");
    for (int i = 0; i < profile->count; i++) {
      sb_json_open_object(json);
      sb_json_put_number(json, "time_s", profile->time_s[i]);
      sb_json_put_number(json, "acting_nm", profile->acting_nm[i]);
      sb_json_put_number(json, "resisting_nm", profile->resisting_nm[i]);
      sb_json_close(json);
    }
    sb_json_close(json);
    sb_json_close(json);
  }
  sb_json_close(json);
}

const char *sb_prove_statement_member(enum sb_prove_statement statement)
{
  return statement_members[statement];
}

void sb_prove_put_statements(struct sb_json *json, const enum sb_proof statements[SB_PROVE_STATEMENTS])
{
  sb_json_put_object(json, "statements");
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    sb_json_put_string(json, statement_members[k], sb_prove_proof_word(statements[k]));
  }
  sb_json_close(json);
}

void sb_prove_put_bounds(struct sb_json *json, const double bounds[SB_PROVE_BOUNDS])
{
  static const char *const names[] = {
#define BOUND_MEMBER(name, member, words, unit) member,
      SB_PROVE_BOUND_LIST(BOUND_MEMBER)
#undef BOUND_MEMBER
  };
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) sb_json_put_number(json, names[k], bounds[k]);
}

static void put_bounds(struct sb_json *json, const struct sb_prove *prove)
{
  sb_json_put_object(json, "reached");
  sb_prove_put_bounds(json, prove->reached);
  sb_json_put_integer(json, "runs", prove->run_count);
  sb_json_close(json);
  sb_json_put_object(json, "bounds");
  sb_prove_put_bounds(json, prove->bounds);
  sb_json_put_number(json, "greatest_downshift_shock_nms", prove->shock_nms[0]);
  sb_json_put_number(json, "greatest_upshift_shock_nms", prove->shock_nms[1]);
  sb_json_put_number(json, "returns_up_to_nm", prove->return_up_to_nm);
  sb_json_put_number(json, "least_swing_proved_nm", prove->least_swing_proved_nm);
  put_range(json, "least_swing_at_nm", prove->swing_at_nm);
  sb_json_close(json);
}

static void put_gears(struct sb_json *json, const struct sb_prove *prove)
{
  static const struct sb_field fields[] = {
      SB_MEMBER_AS(sb_prove_commands, "downshift_from_pct", downshift_from, PERCENT),
      SB_MEMBER_AS(sb_prove_commands, "downshift_to_pct", downshift_to, PERCENT),
      SB_MEMBER_AS(sb_prove_commands, "upshift_from_pct", upshift_from, PERCENT),
      SB_MEMBER_AS(sb_prove_commands, "upshift_to_pct", upshift_to, PERCENT), SB_MEMBERS_END};
  sb_json_put_array(json, "gears");
  for (int g = 0; g < prove->model->gearbox.gear_count; g++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "name", prove->model->gearbox.gears[g].name);
    sb_fields_put_json(json, fields, &prove->commands[g]);
    sb_json_close(json);
  }
  sb_json_close(json);
}

void sb_prove_put_json(struct sb_json *json, const struct sb_prove *prove)
{
  sb_json_put_string(json, "scenario", prove->model->name);
  sb_json_put_string(json, "outside", prove->outside);
  put_load(json, prove);
  if (prove->outside != NULL && prove->try_count > 0) {
    sb_prove_put_statements(json, prove->statements);
    sb_json_put_integer(json, "tries", prove->try_count);
    put_counterexamples(json, prove);
  }
  if (prove->outside == NULL) {
    sb_prove_put_statements(json, prove->statements);
    put_bounds(json, prove);
    put_gears(json, prove);
    sb_json_put_boolean(json, "is_safe_only", prove->is_safe_only);
    sb_json_put_boolean(json, "is_rate_used", prove->is_rate_used);
  }
}

int sb_prove_write_json(const struct sb_prove *prove, FILE *out)
{
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_prove);
  sb_prove_put_json(&json, prove);
  sb_json_end(&json);
  return ferror(out) ? -1 : 0;
}
