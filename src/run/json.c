// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>

#include "shiftband/run.h"
#include "text/fields.h"
#include "text/json.h"

static const char *gear_name(const struct sb_model *model, int gear)
{
  return gear > 0 ? model->gearbox.gears[gear - 1].name : NULL;
}

static void put_cures(struct sb_json *json, const struct sb_verdict_words *explanation)
{
  sb_json_put_array(json, "cure");
  for (int i = 0; i < explanation->cure_count; i++) {
    const struct sb_cure *cure = &explanation->cures[i];
    sb_json_put_object_of(json, NULL, "key:%s bound:%s value:%s", cure->key, cure->bound,
                          cure->value[0] != 0 ? cure->value : NULL);
  }
  sb_json_close(json);
}

/* Null in place of a number below the least one. */
static void put_known(struct sb_json *json, const char *key, long long value, long long least)
{
  if (value >= least) {
    sb_json_put_integer(json, key, value);
  } else {
    sb_json_put_null(json, key);
  }
}

/* The rule by which a kind fires, and the names of its limit and of what was found beyond it. */
static const struct rule {
  const char *text, *limit, *found;
} rules[SB_VERDICT_KIND_COUNT] = {
    [SB_VERDICT_STALL] = {"the output stands for longer than the limit, a gear engaged and the drive on", "limit_s",
                          "found_s"},
    [SB_VERDICT_STUCK_LOW] = {"the load is below the downshift torque of the faster gear for longer than the limit",
                              "limit_s", "found_s"},
    [SB_VERDICT_NEEDLESS_DOWNSHIFT] = {"a downshift at a load below the downshift torque", "limit_nm", "found_nm"},
    [SB_VERDICT_OVERLOAD] = {"the output torque exceeds the limit", "limit_nm", "found_nm"},
    [SB_VERDICT_NOT_ENGAGED] = {"a shift takes longer than the limit", "limit_s", "found_s"},
    [SB_VERDICT_SLIPPING] = {"the wheels slip for longer than the limit at a time", "limit_s", "found_s"},
    [SB_VERDICT_OVERHEATED] = {"the winding is hotter than the limit", "limit_c", "found_c"},
    [SB_VERDICT_DRIVE_CUT] = {"a switch has cut the drive", NULL, NULL},
    [SB_VERDICT_REVERSED] = {"a gear is engaged that turns the output against the others", NULL, NULL},
    [SB_VERDICT_RUNS_BACK] = {"the output turns back by more than the limit", "limit_rad", "found_rad"},
    [SB_VERDICT_OVERSPEED] = {"the motor is faster than the limit", "limit_rad_s", "found_rad_s"},
    [SB_VERDICT_CLUTCH_SLIPS] =
        {"a clutch of the torque limit slips while a gear is engaged, for too long at a time or too often", "limit_nm",
         "found_nm"},
    [SB_VERDICT_OUT_OF_REACH] = {"the shift point lies beyond the limit of the loads that there can be", "limit_nm",
                                 "found_nm"},
};

static const char *rule_of(const struct sb_verdict *verdict)
{
  switch (verdict->cause) {
    case SB_CAUSE_THRESHOLDS:
      return "three opposite shifts that the load did not ask for, with a load in the hunting band";
    case SB_CAUSE_DWELL: return "three opposite shifts that the load did not ask for, with no load in the hunting band";
    case SB_CAUSE_LOAD: return "three opposite shifts that the load asked for, each sooner than the limit";
    case SB_CAUSE_NONE: break;
  }
  return rules[verdict->kind].text;
}

static void put_band(struct sb_json *json, const struct sb_verdict *verdict)
{
  static const struct sb_field fields[] = {SB_MEMBER_AS(sb_band, "downshift_torque_nm", downshift_nm, NUMBER),
                                           SB_MEMBER_AS(sb_band, "upshift_torque_nm", upshift_nm, NUMBER),
                                           SB_MEMBER_AS(sb_band, "reading_step_nm", step_nm, NUMBER), SB_MEMBERS_END};
  const enum sb_verdict_kind kind = verdict->kind;
  const bool has_band = verdict->cause != SB_CAUSE_NONE || kind == SB_VERDICT_STUCK_LOW ||
                        kind == SB_VERDICT_NEEDLESS_DOWNSHIFT || kind == SB_VERDICT_OUT_OF_REACH;
  if (has_band) sb_fields_put_object(json, "shift_points", fields, &verdict->band);
}

/* The first three commands that made a stretch what it is. */
static void put_three(struct sb_json *json, const struct sb_verdict *verdict)
{
  const struct sb_three *three = &verdict->three;
  if (verdict->cause == SB_CAUSE_NONE) return;
  sb_json_put_array(json, "commands");
  for (int k = 0; k < 3; k++) {
    const bool is_down = (k % 2 == 0) == (three->is_down_first != 0);
    sb_json_put_object_of(json, NULL, "time_s:%g shift:%s load_torque_nm:%g faster_load_torque_nm:%g", three->time_s[k],
                          is_down ? "down" : "up", three->load_nm[k], three->faster_nm[k]);
  }
  sb_json_close(json);
  sb_json_put_number(json, "stopped_s", verdict->stopped_s);
}

/* All that the verdict was judged by, so that it can be judged again. Null where a log does not show it, or nobody kept it. */
static void put_evidence(struct sb_json *json, const struct sb_verdict *verdict)
{
  const struct rule *rule = &rules[verdict->kind];
  if (rule_of(verdict) == NULL || verdict->count == 0) {
    sb_json_put_null(json, "evidence");
    return;
  }
  sb_json_put_object(json, "evidence");
  sb_json_put_string(json, "rule", rule_of(verdict));
  if (rule->limit != NULL) sb_json_put_number(json, rule->limit, verdict->limit);
  if (rule->found != NULL) sb_json_put_number(json, rule->found, verdict->found);
  if (verdict->cause != SB_CAUSE_NONE) sb_json_put_number(json, "limit_s", verdict->limit);
  if (verdict->kind == SB_VERDICT_OVERLOAD) sb_json_put_boolean(json, "is_crest", verdict->is_crest);
  if (verdict->kind == SB_VERDICT_CLUTCH_SLIPS) sb_json_put_number(json, "heat_j", verdict->lost_j);
  if (verdict->kind == SB_VERDICT_OUT_OF_REACH) {
    sb_json_put_string(json, "threshold", verdict->is_upshift ? "upshift" : "downshift");
  }
  put_band(json, verdict);
  put_three(json, verdict);
  sb_json_close(json);
}

void sb_verdict_write_json(struct sb_json *json, const struct sb_verdict *verdict, const char *gear_name,
                           const struct sb_verdict_words *words)
{
  sb_json_open_object(json);
  sb_json_put(json, "kind:%s cause:%s", sb_verdict_name(verdict->kind), sb_verdict_cause_name(verdict->cause));
  put_known(json, "gear", verdict->gear, 0);
  sb_json_put_string(json, "gear_name", gear_name);
  put_known(json, "count", (long long)verdict->count, 1);
  sb_json_put(json, "first_s:%g last_s:%g period_s:%g duration_s:%g", verdict->first_s, verdict->last_s,
              verdict->period_s, verdict->duration_s);
  put_evidence(json, verdict);
  sb_json_put_string(json, "text", words->text);
  put_cures(json, words);
  sb_json_close(json);
}

static void put_verdicts(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  const struct sb_closed_form closed = sb_closed_form_solve(report->model);
  sb_json_put_array(json, "verdicts");
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *v = &monitor->verdicts[i];
    struct sb_verdict_words explanation;
    sb_verdict_explain(v, report->model, &closed, &explanation);
    sb_verdict_write_json(json, v, gear_name(report->model, v->gear), &explanation);
  }
  sb_json_close(json);
}

static void put_shifts(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  sb_json_put_integer(json, "shift_count", (long long)monitor->shift_count);
  sb_json_put_array(json, "shifts");
  for (size_t i = 0; i < monitor->shift_kept; i++) {
    const struct sb_shift_record *shift = &monitor->shifts[i];
    sb_json_put_object_of(
        json, NULL,
        "command_s:%g engaged_s:%g from:%d to:%d reading_pct:%g load_torque_nm:%g external_torque_nm:%g "
        "from_name:%s to_name:%s",
        shift->command_s, shift->engaged_s, shift->from, shift->to, shift->reading_pct, shift->load_torque_nm,
        shift->external_torque_nm, gear_name(report->model, shift->from), gear_name(report->model, shift->to));
  }
  sb_json_close(json);
}

static void put_end(struct sb_json *json, const struct sb_row *end)
{
  sb_json_put_object_of(json, "end", "time_s:%g gear:%d motor_speed_rad_s:%g output_speed_rad_s:%g output_turns:%g",
                        end->time_s, end->gear, end->motor_speed_rad_s, end->output_speed_rad_s, end->output_turns);
}

static void put_peak(struct sb_json *json, const char *key, const char *unit_key, const struct sb_peak *peak)
{
  sb_json_put_object(json, key);
  sb_json_put_number(json, unit_key, peak->value);
  sb_json_put_number(json, "time_s", peak->time_s);
  sb_json_close(json);
}

static void put_greatest(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  sb_json_put_object(json, "greatest");
  put_peak(json, "output_torque", "torque_nm", &sums->output_torque_nm);
  if (report->model->motor.has_currents) put_peak(json, "motor_current", "current_a", &sums->motor_current_a);
  put_peak(json, "motor_speed", "speed_rad_s", &sums->motor_speed_rad_s);
  put_peak(json, "output_speed", "speed_rad_s", &sums->output_speed_rad_s);
  sb_json_put_number(json, "engagement_shock_nms", sums->greatest_impulse_nms);
  sb_json_close(json);
  sb_json_put_number(json, "least_output_speed_rad_s", sums->least_output_speed_rad_s);
}

static void put_times(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  sb_json_put_array(json, "time_in_gear");
  for (int g = 1; g <= report->model->gearbox.gear_count; g++) {
    sb_json_put_object_of(json, NULL, "gear:%d name:%s time_s:%g", g, gear_name(report->model, g),
                          sums->gear_time_s[g - 1]);
  }
  sb_json_close(json);
  sb_json_put(json, "neutral_s:%g standstill_s:%g", sums->neutral_time_s, sums->standstill_time_s);
}

static void put_energy(struct sb_json *json, const struct sb_energy *energy)
{
#define FIELD(field, name) SB_MEMBER(sb_energy, field, NUMBER),
  static const struct sb_field fields[] = {FIELD(given, ) SB_ENERGY_LINES(FIELD) SB_MEMBERS_END};
#undef FIELD
  sb_json_put_object(json, "energy_j");
  sb_fields_put_json(json, fields, energy);
  sb_json_put(json, "residual:%g residual_ratio:%g", sb_energy_residual_j(energy), sb_energy_residual_ratio(energy));
  sb_json_close(json);
}

/* Null in open loop. */
static void put_shortfall(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_shortfall *shortfall = &report->result->monitor.shortfall;
  const struct sb_drive *drive = &report->model->drive;
  if (drive->mode != SB_DRIVE_SPEED_CONTROL) {
    sb_json_put_null(json, "speed_shortfall");
    return;
  }
  sb_json_put_object_of(
      json, "speed_shortfall", "duration_s:%g count:%d first_s:%g least_motor_speed_rad_s:%g target_rad_s:%g",
      shortfall->duration_s, shortfall->count, shortfall->first_s, shortfall->least_rad_s, drive->target_rad_s);
}

/* Null without a vehicle that can slip, push or arrive. */
static void put_vehicle(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_road *road = &report->model->load.road;
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_row *end = &report->result->end;
  if (!road->is_present) {
    sb_json_put_null(json, "vehicle");
    return;
  }
  sb_json_put_object_of(
      json, "vehicle",
      "distance_m:%g speed_m_s:%g has_arrived:%c impacts:%ld greatest_impact_n_s:%g slip_s:%g slip_first_s:%g slip_last_s:%g",
      end->vehicle_angle_rad * road->wheel_radius_m, end->vehicle_speed_rad_s * road->wheel_radius_m,
      (int)(end->vehicle_angle_rad >= road->finish_rad), sums->impact_count,
      sums->impact_greatest_nms / road->wheel_radius_m, sums->slip_s, sums->slip_first_s, sums->slip_last_s);
}

/* Null where no gear locks itself. */
static void put_jams(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  if (!sb_gearbox_has_locking(&report->model->gearbox)) {
    sb_json_put_null(json, "jams");
    return;
  }
  sb_json_put_object_of(json, "jams", "count:%ld first_s:%g greatest_shock_nms:%g", sums->jam_count, sums->jam_first_s,
                        sums->jam_greatest_nms);
}

/* Null without a driver that limits the current. */
static void put_driver(struct sb_json *json, const struct sb_report *report)
{
  static const struct sb_field fields[] = {SB_MEMBER(sb_sums, current_held_s, NUMBER), SB_MEMBERS_END};
  if (report->model->supply.current_limit_a > 0.0) {
    sb_fields_put_object(json, "driver", fields, &report->result->sums);
  } else {
    sb_json_put_null(json, "driver");
  }
}

static const char *end_name(enum sb_warmup_end end)
{
  switch (end) {
    case SB_WARMUP_STEADY: return "steady state";
    case SB_WARMUP_TOO_HOT: return "limit exceeded";
    case SB_WARMUP_CUT_OUT: return "cut out";
    case SB_WARMUP_OPEN: break;
  }
  return "open";
}

static void put_warmth(struct sb_json *json, const char *key, const struct sb_warmth *warmth)
{
  sb_json_put_object_of(json, key, "winding_c:%g housing_c:%g", warmth->winding_c, warmth->housing_c);
}

static void put_warmup(struct sb_json *json, const struct sb_warmup *warmup)
{
  sb_json_put_object(json, "until_warm");
  sb_json_put(json, "end:%s repeats:%lld simulated:%d end_s:%g peak_c:%g least_start_c:%g greatest_start_c:%g",
              end_name(warmup->end), warmup->repeat_count, warmup->simulated_count, warmup->end_s, warmup->peak_c,
              warmup->least_start_c, warmup->greatest_start_c);
  put_warmth(json, "start", &warmup->start);
  put_warmth(json, "finish", &warmup->finish);
  sb_json_close(json);
}

/* Of a run that never shifts: what each gear does alone; else null. */
static void put_locked(struct sb_json *json, const struct sb_report *report)
{
  if (!sb_run_never_shifts(report) || report->other_count == 0) {
    sb_json_put_null(json, "never_shifts");
    return;
  }
  sb_json_put_array(json, "never_shifts");
  for (int i = 0; i < report->other_count; i++) {
    const struct sb_report *other = &report->others[i];
    sb_json_open_object(json);
    sb_json_put(json, "gear:%d name:%s output_turns:%g standstill_s:%g", other->locked_gear,
                gear_name(report->model, other->locked_gear), other->result->end.output_turns,
                other->result->sums.standstill_time_s);
    sb_json_put_array(json, "verdicts");
    const struct sb_monitor *monitor = &other->result->monitor;
    for (size_t k = 0; k < monitor->verdict_count; k++) {
      sb_json_string(json, sb_verdict_name(monitor->verdicts[k].kind));
    }
    sb_json_close(json);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_facts(struct sb_json *json, const struct sb_report *report)
{
  static const struct sb_field fields[] = {SB_MEMBER(sb_run_facts, mean_speed_rad_s, NUMBER),
                                           SB_MEMBER(sb_run_facts, distance_m, NUMBER),
                                           SB_MEMBER(sb_run_facts, speed_m_s, NUMBER),
                                           SB_MEMBER(sb_run_facts, winding_c, NUMBER),
                                           SB_MEMBER(sb_run_facts, greatest_winding_c, NUMBER),
                                           SB_MEMBER(sb_run_facts, housing_c, NUMBER),
                                           SB_MEMBER(sb_run_facts, greatest_housing_c, NUMBER),
                                           SB_MEMBER(sb_run_facts, magnet_left_fraction, NUMBER),
                                           SB_MEMBER_AS(sb_run_facts, "too_hot_after_s", hot_s, NUMBER),
                                           SB_MEMBER_AS(sb_run_facts, "charge_used_as", used_as, NUMBER),
                                           SB_MEMBER_AS(sb_run_facts, "charge_left_fraction", left_fraction, NUMBER),
                                           SB_MEMBER_AS(sb_run_facts, "runs_per_charge", runs_a_charge, NUMBER),
                                           SB_MEMBER_AS(sb_run_facts, "empty_after_s", empty_s, NUMBER),
                                           SB_MEMBER(sb_run_facts, shifting_s, NUMBER),
                                           SB_MEMBER(sb_run_facts, shifting_j, NUMBER),
                                           SB_MEMBERS_END};
  const struct sb_run_facts facts = sb_run_facts(report);
  sb_json_put_object(json, "facts");
  sb_fields_put_json(json, fields, &facts);
  sb_json_put_string(json, "greatest_torque_from", sb_run_torque_source_name(facts.torque_source));
  sb_json_close(json);
}

void sb_run_write_json(FILE *out, const struct sb_report *report)
{
  const struct sb_run_result *result = report->result;
  struct sb_json json;
  sb_json_begin(&json, out, &sb_records_run);
  sb_json_put(&json, "scenario:%s locked_gear:%s", report->model->name, gear_name(report->model, report->locked_gear));
  if (report->controller != NULL) sb_json_put_string(&json, "controller", report->controller);
  if (report->warmup != NULL) put_warmup(&json, report->warmup);
  put_verdicts(&json, report);
  put_shifts(&json, report);
  put_locked(&json, report);
  put_end(&json, &result->end);
  put_greatest(&json, report);
  put_jams(&json, report);
  put_driver(&json, report);
  put_shortfall(&json, report);
  put_vehicle(&json, report);
  put_facts(&json, report);
  put_times(&json, report);
  put_energy(&json, &result->sums.energy);
  if (report->model->battery.is_present) sb_json_put_number(&json, "overcharge_as", result->overcharge_as);
  sb_json_end(&json);
}
