// SPDX-License-Identifier: GPL-3.0-or-later
/* json.c - `check --json`: one object a scenario; it only reads what sb_check_solve() has filled. */
#include <math.h>

#include "shiftband/check.h"
#include "text/fields.h"

/* Motor, gears and pairs of a case --------------------------------------------------------------------------------------- */

#define MOTOR(member) SB_MEMBER(sb_check_motor, member, NUMBER)
static const struct sb_field motor_fields[] = {
    MOTOR(open_circuit_voltage_v),
    MOTOR(internal_resistance_ohm),
    SB_MEMBER_AS(sb_check_motor, "duty_pct", duty_fraction, PERCENT),
    MOTOR(no_load_speed_rad_s),
    SB_MEMBER_AS(sb_check_motor, "no_load_reading_pct", no_load_fraction, PERCENT),
    MOTOR(reference_rad_s),
    MOTOR(stall_torque_nm),
    MOTOR(current_limit_a),
    SB_MEMBER_AS(sb_check_motor, "corner_speed_rad_s", corner_rad_s, NUMBER),
    SB_MEMBER_AS(sb_check_motor, "corner_reading_pct", corner_fraction, PERCENT),
    SB_MEMBER_AS(sb_check_motor, "corner_battery_current_a", corner_battery_a, NUMBER),
    MOTOR(speed_limit_rad_s),
    MOTOR(greatest_power_w),
    SB_MEMBER_AS(sb_check_motor, "greatest_power_speed_rad_s", power_speed_rad_s, NUMBER),
    MOTOR(slope_nms_rad),
    MOTOR(friction_nm),
    MOTOR(kt_nm_a),
    MOTOR(ke_vs_rad),
    MOTOR(resistance_ohm),
    SB_MEMBERS_END};

#define GEAR(member) SB_MEMBER_AS(sb_check_gear, #member, figures.member, NUMBER)
static const struct sb_field gear_fields[] = {
    SB_MEMBER(sb_check_gear, name, TEXT),
    GEAR(ratio),
    GEAR(efficiency),
    GEAR(back_efficiency),
    GEAR(lowering_torque_nm),
    SB_MEMBER(sb_check_gear, jams, BOOLEAN),
    SB_MEMBER_AS(sb_check_gear, "output_direction", figures.output_direction, INTEGER),
    GEAR(stall_torque_nm),
    SB_MEMBER(sb_check_gear, exceeds_limit, BOOLEAN),
    GEAR(time_constant_s),
    GEAR(inertia_kg_m2),
    GEAR(wheels_inertia_kg_m2),
    SB_MEMBERS_END};

static const struct sb_field lightest_fields[] = {
    SB_MEMBER_AS(sb_check_gear, "reading_pct", figures.lightest_reading, PERCENT),
    SB_MEMBER_AS(sb_check_gear, "output_speed_rad_s", figures.lightest_speed_rad_s, NUMBER), SB_MEMBERS_END};

static const struct sb_field heaviest_fields[] = {
    SB_MEMBER_AS(sb_check_gear, "reading_pct", figures.heaviest_reading, PERCENT),
    SB_MEMBER_AS(sb_check_gear, "output_speed_rad_s", figures.heaviest_speed_rad_s, NUMBER), SB_MEMBERS_END};

#define PAIR(member) SB_MEMBER_AS(sb_check_pair, #member, figures.member, NUMBER)
static const struct sb_field pair_fields[] = {
    SB_MEMBER(sb_check_pair, slower, TEXT),
    SB_MEMBER(sb_check_pair, faster, TEXT),
    SB_MEMBER_AS(sb_check_pair, "downshift_below_pct", downshift_below, PERCENT),
    SB_MEMBER_AS(sb_check_pair, "upshift_above_pct", upshift_above, PERCENT),
    PAIR(downshift_torque_nm),
    PAIR(upshift_torque_nm),
    SB_MEMBER_AS(sb_check_pair, "least_safe_upshift_pct", figures.least_safe_upshift, PERCENT),
    SB_MEMBER_AS(sb_check_pair, "greatest_safe_downshift_pct", figures.greatest_safe_downshift, PERCENT),
    SB_MEMBER_AS(sb_check_pair, "upshift_margin_pct", upshift_margin, PERCENT),
    SB_MEMBER_AS(sb_check_pair, "stuck_low", figures.is_stuck_low, BOOLEAN),
    PAIR(helping_upshift_nm),
    PAIR(helping_downshift_nm),
    SB_MEMBER_AS(sb_check_pair, "needless_downshift", figures.is_needless_downshift, BOOLEAN),
    SB_MEMBER_AS(sb_check_pair, "upshift_time_s", figures.upshift_time_s, NUMBER),
    SB_MEMBER_AS(sb_check_pair, "downshift_time_s", figures.downshift_time_s, NUMBER),
    PAIR(shortest_dwell_s),
    PAIR(shortest_dwell_steady_s),
    PAIR(shortest_start_delay_s),
    PAIR(least_voltage_upshift_v),
    PAIR(least_voltage_hold_v),
    SB_MEMBERS_END};

static void put_gears(struct sb_json *json, const struct sb_check_case *at)
{
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->gear_count; g++) {
    sb_json_open_object(json);
    sb_fields_put_json(json, gear_fields, &at->gears[g]);
    sb_fields_put_object(json, "steady_state", lightest_fields, &at->gears[g]);
    sb_fields_put_object(json, "steady_state_heaviest", heaviest_fields, &at->gears[g]);
    sb_json_put_number(json, "least_voltage_heaviest_v", at->gears[g].figures.least_voltage_v);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_band(struct sb_json *json, const struct sb_pair_figures *figures)
{
  if (!figures->has_band) {
    sb_json_put_null(json, "hunting_band_nm");
    return;
  }
  sb_json_put_array(json, "hunting_band_nm");
  sb_json_number(json, figures->downshift_torque_nm);
  sb_json_number(json, figures->upshift_torque_nm);
  sb_json_close(json);
}

#define CROSSOVER(member) SB_MEMBER_AS(sb_check_pair, #member, crossover.member, NUMBER)
static const struct sb_field crossover_fields[] = {
    CROSSOVER(load_nm),
    CROSSOVER(output_speed_rad_s),
    SB_MEMBER_AS(sb_check_pair, "slower_reading_pct", crossover.slower_reading, PERCENT),
    SB_MEMBER_AS(sb_check_pair, "faster_reading_pct", crossover.faster_reading, PERCENT),
    CROSSOVER(acceleration_speed_rad_s),
    SB_MEMBERS_END};

static const char *ahead_word(enum sb_ahead ahead)
{
  static const char *const words[] = {NULL, "slower", "faster"};
  return words[ahead];
}

static const char *side_word(bool is_below)
{
  return is_below ? "below" : "above";
}

/* Where both gears turn the output equally fast, and where with equal energy. */
static void put_crossover(struct sb_json *json, const struct sb_check_pair *pair)
{
  const struct sb_crossover *crossover = &pair->crossover;
  const bool is_there = !isnan(crossover->load_nm);
  sb_json_put_object(json, "crossover");
  sb_fields_put_json(json, crossover_fields, pair);
  sb_json_put_string(json, "always_faster", ahead_word(crossover->ahead));
  sb_json_put_string(json, "downshift_torque", is_there ? side_word(pair->is_downshift_below) : NULL);
  sb_json_put_string(json, "upshift_torque", is_there ? side_word(pair->is_upshift_below) : NULL);
  sb_json_close(json);
  sb_json_put_object(json, "equal_energy");
  sb_json_put_number(json, "load_nm", crossover->energy_load_nm);
  sb_json_put_number(json, "energy_per_turn_j", crossover->energy_j);
  sb_json_put_string(json, "always_less", ahead_word(crossover->cheaper));
  sb_json_close(json);
}

static void put_pairs(struct sb_json *json, const struct sb_check_case *at)
{
  sb_json_put_array(json, "pairs");
  for (int p = 0; p + 1 < at->gear_count; p++) {
    sb_json_open_object(json);
    sb_fields_put_json(json, pair_fields, &at->pairs[p]);
    put_band(json, &at->pairs[p].figures);
    put_crossover(json, &at->pairs[p]);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_cases(struct sb_json *json, const char *key, const struct sb_check_case *cases, int count)
{
  sb_json_put_array(json, key);
  for (int k = 0; k < count; k++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "case", cases[k].label);
    if (!isnan(cases[k].magnet_c)) sb_json_put_number(json, "magnet_c", cases[k].magnet_c);
    sb_fields_put_object(json, "motor", motor_fields, &cases[k].motor);
    put_gears(json, &cases[k]);
    put_pairs(json, &cases[k]);
    sb_json_close(json);
  }
  sb_json_close(json);
}

/* Drive, load, shaft, vehicle -------------------------------------------------------------------------------------------- */

#define DRIVE(member) SB_MEMBER(sb_check_drive, member, NUMBER)
static const struct sb_field drive_fields[] = {SB_MEMBER(sb_check_drive, mode, TEXT),
                                               SB_MEMBER_AS(sb_check_drive, "limit_pct", limit_fraction, PERCENT),
                                               DRIVE(period_s),
                                               DRIVE(ramp_s),
                                               SB_MEMBER(sb_check_drive, when_off, TEXT),
                                               SB_MEMBER(sb_check_drive, reading, TEXT),
                                               DRIVE(reference_a),
                                               SB_MEMBERS_END};

static const struct sb_field control_fields[] = {DRIVE(target_rad_s), DRIVE(proportional_band_rad_s),
                                                 DRIVE(integral_time_s), SB_MEMBERS_END};

static const struct sb_field held_fields[] = {SB_MEMBER(sb_check_gear, name, TEXT), GEAR(hidden_torque_nm),
                                              SB_MEMBER_AS(sb_check_gear, "stable", figures.is_stable, BOOLEAN),
                                              SB_MEMBERS_END};

#define LOAD(member) SB_MEMBER(sb_check_load, member, NUMBER)
static const struct sb_field load_fields[] = {LOAD(lightest_nm),      LOAD(heaviest_nm),         LOAD(lowered_nm),
                                              LOAD(holding_brake_nm), LOAD(suspended_nm),        LOAD(inertia_kg_m2),
                                              LOAD(viscous_nms_rad),  LOAD(quadratic_nms2_rad2), SB_MEMBERS_END};

static const struct sb_field limit_fields[] = {SB_MEMBER(sb_check_limit, torque_nm, NUMBER),
                                               SB_MEMBER(sb_check_limit, part, TEXT), SB_MEMBERS_END};

#define SHAFT(member) SB_MEMBER(sb_check_shaft, member, NUMBER)
static const struct sb_field shaft_fields[] = {SB_MEMBER_AS(sb_check_shaft, "rigid", is_rigid, BOOLEAN),
                                               SHAFT(stiffness_nm_rad), SHAFT(damping_nms_rad), SHAFT(backlash_rad),
                                               SB_MEMBERS_END};

static const struct sb_field swing_fields[] = {SB_MEMBER(sb_check_shaft_gear, natural_frequency_rad_s, NUMBER),
                                               SB_MEMBER(sb_check_shaft_gear, damping_ratio, NUMBER), SB_MEMBERS_END};

#define SHOCK(member) SB_MEMBER(sb_check_shock, member, NUMBER)
static const struct sb_field shock_fields[] = {SHOCK(speed_difference_rad_s),
                                               SHOCK(impulse_nms),
                                               SHOCK(peak_torque_nm),
                                               SHOCK(undamped_peak_torque_nm),
                                               SHOCK(stiffness_that_matters_nm_rad),
                                               SHOCK(stiffness_at_limit_nm_rad),
                                               SB_MEMBERS_END};

static const struct sb_field vehicle_fields[] = {SB_MEMBER(sb_check_vehicle, carried_push_n, NUMBER),
                                                 SB_MEMBER(sb_check_vehicle, slipping_push_n, NUMBER),
                                                 SB_MEMBER(sb_check_vehicle, end_m, NUMBER), SB_MEMBERS_END};

static const struct sb_field stage_fields[] = {
    SB_MEMBER(sb_check_stage, bodies, INTEGER),    SB_MEMBER_AS(sb_check_stage, "steepest", is_steepest, BOOLEAN),
    SB_MEMBER(sb_check_stage, distance_m, NUMBER), SB_MEMBER(sb_check_stage, need_n, NUMBER),
    SB_MEMBER(sb_check_stage, ballast_kg, NUMBER), SB_MEMBERS_END};

static void put_schedule(struct sb_json *json, const struct sb_table *schedule)
{
  static const char *const words[] = {"reverse", "stop", "forward"};
  sb_json_put_array(json, "schedule");
  for (size_t k = 0; k < schedule->count; k++) {
    sb_json_put_object_of(json, NULL, "time_s:%g drive:%s", schedule->x[k], words[1 + (int)schedule->y[k]]);
  }
  sb_json_close(json);
}

static void put_drive(struct sb_json *json, const struct sb_check *check)
{
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  sb_json_put_object(json, "drive");
  sb_fields_put_json(json, drive_fields, &check->drive);
  put_schedule(json, &check->drive.schedule);
  if (check->drive.is_speed_controlled) {
    sb_json_put_object(json, "speed_control");
    sb_fields_put_json(json, control_fields, &check->drive);
    sb_fields_put_list(json, "gears", held_fields, at->gears, (size_t)at->gear_count, sizeof *at->gears);
    sb_json_close(json);
  } else {
    sb_json_put_null(json, "speed_control");
  }
  sb_json_close(json);
}

#define SENSOR(member) SB_MEMBER(sb_check_sensor, member, NUMBER)
static const struct sb_field sensor_fields[] = {
    SENSOR(pulses_per_turn), SENSOR(window_s),
    SENSOR(count_rad_s),     SB_MEMBER_AS(sb_check_sensor, "count_pct", count_fraction, PERCENT),
    SENSOR(lag_s),           SB_MEMBERS_END};

#define SENSOR_PAIR(member) SB_MEMBER(sb_check_sensor_pair, member, NUMBER)
static const struct sb_field sensor_pair_fields[] = {SENSOR_PAIR(dwell_s), SENSOR_PAIR(start_delay_s),
                                                     SENSOR_PAIR(stall_seen_s), SB_MEMBERS_END};

static void put_sensor(struct sb_json *json, const struct sb_check *check)
{
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  if (!check->sensor.is_present) {
    sb_json_put_null(json, "sensor");
    return;
  }
  sb_json_put_object(json, "sensor");
  sb_fields_put_json(json, sensor_fields, &check->sensor);
  sb_json_put_array(json, "pairs");
  for (int p = 0; p + 1 < at->gear_count; p++) {
    sb_json_open_object(json);
    sb_json_put(json, "slower:%s faster:%s", at->pairs[p].slower, at->pairs[p].faster);
    sb_fields_put_json(json, sensor_pair_fields, &check->sensor.pairs[p]);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

/* Null where nothing joins at a difference in speed. */
static void put_shock(struct sb_json *json, const char *key, const struct sb_check_shock *shock)
{
  sb_fields_put_object_if(json, key, fabs(shock->speed_difference_rad_s) > 0.0, shock_fields, shock);
}

static void put_shaft(struct sb_json *json, const struct sb_check *check)
{
  const struct sb_check_shaft *shaft = &check->shaft;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  sb_json_put_object(json, "output_shaft");
  sb_fields_put_json(json, shaft_fields, shaft);
  if (shaft->is_rigid) {
    sb_json_put_null(json, "difference_matters");
  } else {
    sb_json_put_boolean(json, "difference_matters", shaft->is_relevant);
  }
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->gear_count; g++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "name", at->gears[g].name);
    sb_fields_put_json(json, swing_fields, &shaft->gears[g]);
    put_shock(json, "engagement_shock", &shaft->gears[g].engagement);
    put_shock(json, "impact", &shaft->gears[g].impact);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

static void put_stage(struct sb_json *json, const struct sb_check_case *at, const struct sb_check_stage *stage)
{
  static const char *const fates[] = {"goes", "stalls", "slips"};
  sb_json_open_object(json);
  sb_fields_put_json(json, stage_fields, stage);
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->gear_count; g++) {
    sb_json_put_object_of(json, NULL, "name:%s fate:%s", at->gears[g].name, fates[stage->fates[g]]);
  }
  sb_json_close(json);
  sb_json_close(json);
}

static void put_vehicle(struct sb_json *json, const struct sb_check *check)
{
  const struct sb_check_vehicle *vehicle = &check->vehicle;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  if (!vehicle->is_present) {
    sb_json_put_null(json, "vehicle");
    return;
  }
  sb_json_put_object(json, "vehicle");
  sb_fields_put_json(json, vehicle_fields, vehicle);
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->gear_count; g++) {
    sb_json_put_object_of(json, NULL, "name:%s stall_push_n:%g", at->gears[g].name, vehicle->stall_push_n[g]);
  }
  sb_json_close(json);
  sb_json_put_array(json, "stages");
  for (int k = 0; k < vehicle->stage_count; k++) put_stage(json, at, &vehicle->stages[k]);
  sb_json_close(json);
  sb_json_close(json);
}

/* Battery and heat ------------------------------------------------------------------------------------------------------- */

static const struct sb_field battery_fields[] = {SB_MEMBER(sb_check_battery, chemistry, TEXT),
                                                 SB_MEMBER(sb_check_battery, source, TEXT),
                                                 SB_MEMBER(sb_check_battery, cells, INTEGER),
                                                 SB_MEMBER(sb_check_battery, capacity_ah, NUMBER),
                                                 SB_MEMBER_AS(sb_check_battery, "charge_pct", charge_fraction, PERCENT),
                                                 SB_MEMBER(sb_check_battery, cutoff_v, NUMBER),
                                                 SB_MEMBERS_END};

static const struct sb_field span_fields[] = {SB_MEMBER(sb_check_span, kind, TEXT),
                                              SB_MEMBER(sb_check_span, gear, TEXT),
                                              SB_MEMBER(sb_check_span, slower, TEXT),
                                              SB_MEMBER(sb_check_span, faster, TEXT),
                                              SB_MEMBER_AS(sb_check_span, "from_charge_pct", from_fraction, PERCENT),
                                              SB_MEMBER_AS(sb_check_span, "to_charge_pct", to_fraction, PERCENT),
                                              SB_MEMBER(sb_check_span, from_voltage_v, NUMBER),
                                              SB_MEMBER(sb_check_span, to_voltage_v, NUMBER),
                                              SB_MEMBER(sb_check_span, text, CHARS),
                                              SB_MEMBERS_END};

static const struct sb_field charge_fields[] = {SB_MEMBER_AS(sb_check_charge, "charge_pct", charge_fraction, PERCENT),
                                                SB_MEMBER(sb_check_charge, voltage_v, NUMBER), SB_MEMBERS_END};

static const struct sb_field charge_pair_fields[] = {
    SB_MEMBER(sb_check_charge_pair, downshift_torque_nm, NUMBER),
    SB_MEMBER(sb_check_charge_pair, upshift_torque_nm, NUMBER),
    SB_MEMBER_AS(sb_check_charge_pair, "least_safe_upshift_pct", least_safe_upshift, PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "greatest_safe_downshift_pct", greatest_safe_downshift, PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "stuck_low_from_upshift_pct", slower_lightest_reading, PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "needless_from_downshift_pct", faster_lightest_reading, PERCENT),
    SB_MEMBERS_END};

#define HEAT(member) SB_MEMBER(sb_check_heat, member, NUMBER)
static const struct sb_field heat_fields[] = {HEAT(ambient_c),    HEAT(start_c), HEAT(reference_c),
                                              HEAT(magnet_per_k), HEAT(limit_c), HEAT(cut_out_c),
                                              HEAT(reset_c),      HEAT(bound_c), SB_MEMBERS_END};

#define BURDEN(member) SB_MEMBER(sb_check_burden, member, NUMBER)
static const struct sb_field burden_fields[] = {SB_MEMBER(sb_check_burden, gear, TEXT),
                                                SB_MEMBER(sb_check_burden, load, TEXT),
                                                BURDEN(external_torque_nm),
                                                BURDEN(start_loss_w),
                                                BURDEN(steady_winding_c),
                                                BURDEN(steady_housing_c),
                                                BURDEN(bound_reached_s),
                                                SB_MEMBERS_END};

static void put_charge(struct sb_json *json, const struct sb_check_case *at, const struct sb_check_charge *charge)
{
  sb_json_open_object(json);
  sb_fields_put_json(json, charge_fields, charge);
  sb_json_put_array(json, "stall_torques_nm");
  for (int g = 0; g < at->gear_count; g++) sb_json_number(json, charge->stall_torques_nm[g]);
  sb_json_close(json);
  const size_t pair_count = (size_t)at->gear_count - 1;
  sb_fields_put_list(json, "pairs", charge_pair_fields, charge->pairs, pair_count, sizeof *charge->pairs);
  sb_json_close(json);
}

static void put_battery(struct sb_json *json, const struct sb_check *check)
{
  const struct sb_check_battery *battery = &check->battery;
  if (!battery->is_present) {
    sb_json_put_null(json, "battery");
    sb_json_put_null(json, "discharge");
    return;
  }
  sb_fields_put_object(json, "battery", battery_fields, battery);
  sb_json_put_object(json, "discharge");
  sb_fields_put_list(json, "findings", span_fields, battery->spans, (size_t)battery->span_count,
                     sizeof *battery->spans);
  sb_json_put_array(json, "table");
  for (int k = 0; k < battery->charge_count; k++) {
    if (battery->charges[k].is_tenth) put_charge(json, &check->cases[SB_CHECK_NOMINAL], &battery->charges[k]);
  }
  sb_json_close(json);
  sb_json_close(json);
}

/* Null where there is no end: never, burns, not given. */
static void put_heat(struct sb_json *json, const struct sb_check_heat *heat)
{
  if (!heat->is_present) {
    sb_json_put_null(json, "heat");
    return;
  }
  sb_json_put_object(json, "heat");
  sb_fields_put_json(json, heat_fields, heat);
  sb_json_put_object(json, "blocked");
  sb_fields_put_json(json, burden_fields, &heat->burdens[0]);
  sb_json_put_number(json, "closed_again_s", heat->closed_again_s);
  sb_json_close(json);
  const size_t load_count = (size_t)heat->burden_count - 1;
  sb_fields_put_list(json, "loads", burden_fields, heat->burdens + 1, load_count, sizeof *heat->burdens);
  sb_json_put_number(json, "warm_c", heat->warm_c);
  put_cases(json, "cases", heat->cases, heat->has_cases ? 2 : 0);
  sb_json_close(json);
}

/* Remarks ---------------------------------------------------------------------------------------------------------------- */

static const struct sb_field remark_fields[] = {SB_MEMBER(sb_check_remark, kind, TEXT),
                                                SB_MEMBER(sb_check_remark, text, CHARS), SB_MEMBERS_END};

static const struct sb_field cure_fields[] = {SB_MEMBER(sb_check_cure, key, CHARS),
                                              SB_MEMBER(sb_check_cure, bound, TEXT),
                                              SB_MEMBER(sb_check_cure, value, CHARS), SB_MEMBERS_END};

static void put_remarks(struct sb_json *json, const char *key, const struct sb_check *check,
                        const struct sb_check_remarks *remarks)
{
  sb_json_put_array(json, key);
  for (int k = 0; k < remarks->count; k++) {
    const struct sb_check_remark *remark = &remarks->items[k];
    const struct sb_check_pair *pair = remark->pair >= 0 ? &check->cases[SB_CHECK_NOMINAL].pairs[remark->pair] : NULL;
    sb_json_open_object(json);
    sb_fields_put_json(json, remark_fields, remark);
    sb_json_put(json, "slower:%s faster:%s", pair != NULL ? pair->slower : NULL, pair != NULL ? pair->faster : NULL);
    sb_fields_put_list(json, "cure", cure_fields, remark->cures, (size_t)remark->cure_count, sizeof *remark->cures);
    sb_json_close(json);
  }
  sb_json_close(json);
}

int sb_check_write_json(const struct sb_check *check, FILE *out)
{
  const struct sb_check_case *nominal = &check->cases[SB_CHECK_NOMINAL];
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_check);
  sb_json_put_string(&json, "scenario", check->name);
  sb_fields_put_object(&json, "motor", motor_fields, &nominal->motor);
  put_drive(&json, check);
  put_sensor(&json, check);
  sb_fields_put_object(&json, "load", load_fields, &check->load);
  sb_fields_put_object_if(&json, "output_torque_limit", isfinite(check->limit.torque_nm), limit_fields, &check->limit);
  put_shaft(&json, check);
  put_gears(&json, nominal);
  put_vehicle(&json, check);
  put_pairs(&json, nominal);
  put_cases(&json, "supply_range", check->cases, check->case_count > 1 ? check->case_count : 0);
  put_battery(&json, check);
  put_heat(&json, &check->heat);
  put_remarks(&json, "findings", check, &check->findings);
  put_remarks(&json, "notes", check, &check->notes);
  put_remarks(&json, "cautions", check, &check->cautions);
  sb_json_end(&json);
  return ferror(out) ? -1 : 0;
}
