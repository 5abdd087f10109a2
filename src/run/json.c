// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>

#include "shiftband/report.h"
#include "text/json.h"

static void write_verdicts(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  const struct sb_closed_form closed = sb_closed_form_solve(report->model);
  sb_json_put_array(json, "verdicts");
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *v = &monitor->verdicts[i];
    char text[512];
    sb_json_open_object(json);
    sb_json_put_string(json, "kind", sb_verdict_name(v->kind));
    sb_json_put_string(json, "cause", sb_cause_name(v->cause));
    sb_json_put_integer(json, "gear", v->gear);
    sb_json_put_string(json, "gear_name", v->gear > 0 ? report->model->gearbox.gears[v->gear - 1].name : NULL);
    sb_json_put_number(json, "first_s", v->first_s);
    sb_json_put_number(json, "last_s", v->last_s);
    sb_json_put_integer(json, "count", (long long)v->count);
    sb_json_put_number(json, "period_s", v->period_s);
    sb_json_put_number(json, "duration_s", v->duration_s);
    sb_json_put_string(json, "text", sb_verdict_text(v, report->model, &closed, text, sizeof text));
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void write_shifts(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  sb_json_put_integer(json, "shift_count", (long long)monitor->shift_count);
  sb_json_put_array(json, "shifts");
  for (size_t i = 0; i < monitor->shift_kept; i++) {
    const struct sb_shift_record *s = &monitor->shifts[i];
    sb_json_open_object(json);
    sb_json_put_number(json, "command_s", s->command_s);
    sb_json_put_number(json, "engaged_s", s->engaged_s);
    sb_json_put_integer(json, "from", s->from);
    sb_json_put_integer(json, "to", s->to);
    sb_json_put_string(json, "from_name", report->model->gearbox.gears[s->from - 1].name);
    sb_json_put_string(json, "to_name", report->model->gearbox.gears[s->to - 1].name);
    sb_json_put_number(json, "reading_pct", s->reading_pct);
    sb_json_put_number(json, "load_torque_nm", s->load_torque_nm);
    sb_json_put_number(json, "outside_torque_nm", s->outside_torque_nm);
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void write_peak(struct sb_json *json, const char *key, const char *unit_key, const struct sb_peak *peak)
{
  sb_json_put_object(json, key);
  sb_json_put_number(json, unit_key, peak->value);
  sb_json_put_number(json, "time_s", peak->time_s);
  sb_json_close(json);
}

static void write_end(struct sb_json *json, const struct sb_row *end)
{
  sb_json_put_object(json, "end");
  sb_json_put_number(json, "time_s", end->time_s);
  sb_json_put_integer(json, "gear", end->gear);
  sb_json_put_number(json, "motor_speed_rad_s", end->motor_speed_rad_s);
  sb_json_put_number(json, "output_speed_rad_s", end->output_speed_rad_s);
  sb_json_put_number(json, "output_turns", end->output_turns);
  sb_json_close(json);
}

static void write_times(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  sb_json_put_object(json, "time_s");
  sb_json_put_object(json, "gears");
  for (int g = 0; g < report->model->gearbox.gear_count; g++) {
    sb_json_put_number(json, report->model->gearbox.gears[g].name, sums->gear_time_s[g]);
  }
  sb_json_close(json);
  sb_json_put_number(json, "shifting", sums->neutral_time_s);
  sb_json_put_number(json, "standstill", sums->standstill_time_s);
  sb_json_close(json);
}

static void write_energy(struct sb_json *json, const struct sb_ledger *ledger)
{
  sb_json_put_object(json, "energy_j");
  sb_json_put_number(json, "given", ledger->given);
#define WRITE_LINE(field, name) sb_json_put_number(json, #field, ledger->field);
  SB_LEDGER_LINES(WRITE_LINE)
#undef WRITE_LINE
  sb_json_put_number(json, "residual", sb_ledger_residual_j(ledger));
  sb_json_put_number(json, "residual_ratio", sb_ledger_residual_ratio(ledger));
  sb_json_close(json);
}

/* Null in open loop. */
static void write_pace(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_pace *pace = &report->result->monitor.pace;
  if (report->model->drive.mode != SB_DRIVE_SPEED_CONTROL) {
    sb_json_put_null(json, "pace_lost");
    return;
  }
  sb_json_put_object(json, "pace_lost");
  sb_json_put_number(json, "duration_s", pace->lost_s);
  sb_json_put_integer(json, "count", pace->spell_count);
  sb_json_put_number(json, "first_s", pace->first_s);
  sb_json_put_number(json, "least_motor_speed_rad_s", pace->least_rad_s);
  sb_json_put_number(json, "target_rad_s", report->model->drive.target_rad_s);
  sb_json_close(json);
}

/* Null without a vehicle that can slip, push or arrive. */
static void write_way(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_road *road = &report->model->load.road;
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_row *end = &report->result->end;
  if (!road->is_present) {
    sb_json_put_null(json, "way");
    return;
  }
  sb_json_put_object(json, "way");
  sb_json_put_number(json, "distance_m", end->vehicle_angle_rad * road->wheel_radius_m);
  sb_json_put_number(json, "speed_m_s", end->vehicle_speed_rad_s * road->wheel_radius_m);
  sb_json_put_boolean(json, "is_at_end", end->vehicle_angle_rad >= road->finish_rad);
  sb_json_put_integer(json, "blows", sums->impact_count);
  sb_json_put_number(json, "greatest_blow_n_s", sums->impact_greatest_nms / road->wheel_radius_m);
  sb_json_put_number(json, "slip_s", sums->slip_s);
  sb_json_put_number(json, "slip_first_s", sums->slip_first_s);
  sb_json_put_number(json, "slip_last_s", sums->slip_last_s);
  sb_json_close(json);
}

void sb_report_write_json(struct sb_json *json, const struct sb_report *report)
{
  const struct sb_run_result *result = report->result;
  const struct sb_sums *sums = &result->sums;
  sb_json_open_object(json);
  sb_json_put_string(json, "scenario", report->model->name);
  sb_json_put_string(json, "locked_gear",
                     report->locked_gear > 0 ? report->model->gearbox.gears[report->locked_gear - 1].name : NULL);
  if (report->controller != NULL) sb_json_put_string(json, "controller", report->controller);
  if (report->warmup != NULL) sb_warmup_put_json(json, report->warmup);
  write_verdicts(json, report);
  write_shifts(json, report);
  write_end(json, &result->end);
  sb_json_put_object(json, "greatest");
  write_peak(json, "output_torque", "nm", &sums->output_torque_nm);
  if (report->model->motor.has_currents) write_peak(json, "motor_current", "a", &sums->motor_current_a);
  write_peak(json, "motor_speed", "rad_s", &sums->motor_speed_rad_s);
  write_peak(json, "output_speed", "rad_s", &sums->output_speed_rad_s);
  sb_json_put_number(json, "engagement_impulse_nms", sums->greatest_impulse_nms);
  sb_json_close(json);
  sb_json_put_number(json, "least_output_speed_rad_s", sums->least_output_speed_rad_s);
  write_pace(json, report);
  write_way(json, report);
  write_times(json, report);
  write_energy(json, &sums->ledger);
  if (report->model->battery.is_present) sb_json_put_number(json, "overcharge_as", result->overcharge_as);
  sb_json_close(json);
}
