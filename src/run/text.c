// SPDX-License-Identifier: GPL-3.0-or-later
#include <math.h>
#include <string.h>

#include "base/constants.h"
#include "machine/caution.h"
#include "shiftband/report.h"
#include "text/words.h"

enum { SHIFTS_SHOWN = 12, SPELLS_SHOWN = 3 };

static const char *gear_name(const struct sb_model *model, int gear)
{
  return model->gearbox.gears[gear - 1].name;
}

static void write_verdicts(FILE *out, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  const struct sb_closed_form closed = sb_closed_form_solve(report->model);
  size_t shown[SB_VERDICT_KIND_COUNT] = {0};
  fprintf(out, "\nVerdicts\n");
  if (monitor->verdict_count == 0) fprintf(out, "  nothing to report: it holds under this load\n");
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *v = &monitor->verdicts[i];
    char text[512];
    if (shown[v->kind]++ >= SPELLS_SHOWN) continue;
    sb_words_say(out, 2, 4, "- %s", sb_verdict_text(v, report->model, &closed, text, sizeof text));
  }
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (shown[kind] <= SPELLS_SHOWN) continue;
    fprintf(out, "  - and %zu more spells of the kind: %s\n", shown[kind] - SPELLS_SHOWN,
            sb_verdict_name((enum sb_verdict_kind)kind));
  }
}

static void write_shifts(FILE *out, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  if (monitor->shift_count == 0) {
    fprintf(out, "\nShifts: none\n");
    return;
  }
  fprintf(out, "\nShifts%14s%12s%10s%14s   from -> to\n", "command", "engaged", "reading", "load");
  for (size_t i = 0; i < monitor->shift_kept && i < SHIFTS_SHOWN; i++) {
    const struct sb_shift_record *s = &monitor->shifts[i];
    fprintf(out, "%18.3f s", s->command_s);
    if (isnan(s->engaged_s)) {
      fprintf(out, "%12s", "never");
    } else {
      fprintf(out, "%10.3f s", s->engaged_s);
    }
    fprintf(out, "%8.1f %% %9.3g N.m   %s -> %s\n", round(10.0 * s->reading_pct) / 10.0 + 0.0 /* no -0.0 */,
            s->load_torque_nm, gear_name(report->model, s->from), gear_name(report->model, s->to));
  }
  if (monitor->shift_count > SHIFTS_SHOWN) fprintf(out, "  and %zu more\n", monitor->shift_count - SHIFTS_SHOWN);
}

/* Whether a held speed was held. */
static void write_pace(FILE *out, const struct sb_report *report)
{
  const struct sb_pace *pace = &report->result->monitor.pace;
  const struct sb_drive *drive = &report->model->drive;
  if (drive->mode != SB_DRIVE_SPEED_CONTROL) return;
  if (pace->spell_count == 0) {
    const double cut_s = report->result->sums.cut_s;
    fprintf(out, "Pace        held at the target's %.4g rpm but for run-ups", drive->target_rad_s / SB_RPM);
    if (cut_s > 0.0) fprintf(out, " until the drive was cut:\n            for %.3g s it held nothing", cut_s);
    fputc('\n', out);
    return;
  }
  fprintf(out, "Pace        lost from %.4g s on, for %.3g s", pace->first_s, pace->lost_s);
  if (pace->spell_count > 1) fprintf(out, " in %d spells", pace->spell_count);
  fprintf(out, ": at full duty down to %.4g rpm of the\n            target's %.4g rpm\n", pace->least_rad_s / SB_RPM,
          drive->target_rad_s / SB_RPM);
}

/* Where a vehicle that can slip, push or arrive has come to. */
static void write_way(FILE *out, const struct sb_report *report)
{
  const struct sb_road *road = &report->model->load.road;
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_row *end = &report->result->end;
  if (!road->is_present) return;
  fprintf(out, "Way         %.4g m", end->vehicle_angle_rad * road->wheel_radius_m);
  if (end->vehicle_angle_rad >= road->finish_rad) fprintf(out, ", the end of the way, at %.4g s", end->time_s);
  fprintf(out, "; at last %.3g m/s\n", end->vehicle_speed_rad_s * road->wheel_radius_m);
  if (sums->impact_count > 0) {
    const double blow_ns = sums->impact_greatest_nms / road->wheel_radius_m;
    if (sums->impact_count == 1) {
      fprintf(out, "            one body met, a blow of %.3g N.s\n", blow_ns);
    } else {
      fprintf(out, "            bodies met %ld times, the greatest blow %.3g N.s\n", sums->impact_count, blow_ns);
    }
  }
  if (sums->slip_s > 0.0) {
    fprintf(out, "            wheels slipped for %.3g s, from %.4g s to %.4g s\n", sums->slip_s, sums->slip_first_s,
            sums->slip_last_s);
  }
}

static void write_motion(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  const struct sb_sums *sums = &report->result->sums;
  fprintf(out, "\nTime        ");
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    fprintf(out, "%s %.4g s, ", model->gearbox.gears[g].name, sums->gear_time_s[g]);
  }
  fprintf(out, "shifting %.3g s, at rest in mesh %.3g s\n", sums->neutral_time_s, sums->standstill_time_s);
  fprintf(out, "Output      %.4g turns; speed %.4g..%.4g rpm\n", report->result->end.output_turns,
          sums->least_output_speed_rad_s / SB_RPM, sums->greatest_output_speed_rad_s / SB_RPM);
  write_pace(out, report);
  write_way(out, report);
  fprintf(out, "Greatest    output torque %.4g N.m at %.4g s; motor speed %.4g rpm at %.4g s\n",
          sums->output_torque_nm.value, sums->output_torque_nm.time_s, sums->motor_speed_rad_s.value / SB_RPM,
          sums->motor_speed_rad_s.time_s);
  if (model->motor.has_currents) {
    fprintf(out, "            motor current %.4g A at %.4g s (stall current %.4g A at the nominal voltage)\n",
            sums->motor_current_a.value, sums->motor_current_a.time_s, model->motor.stall_current_a);
  }
  if (sums->greatest_impulse_nms != 0.0) {
    fprintf(out, "            engagement impulse %.3g N.m.s at the output\n", sums->greatest_impulse_nms);
  }
}

static void write_energy(FILE *out, const struct sb_report *report)
{
  const struct sb_ledger *ledger = &report->result->sums.ledger;
  fprintf(out,
          "\nEnergy      %s %.5g J =", report->model->motor.has_currents ? "the supply gave" : "the motor shaft gave",
          ledger->given);
  int column = 34;
  const char *sign = "";
#define WRITE_LINE(field, name)                                      \
  if (ledger->field != 0.0) {                                        \
    if (column > 70) column = fprintf(out, "\n%11s", "");            \
    column += fprintf(out, "%s %s %.4g", sign, name, ledger->field); \
    sign = " +";                                                     \
  }
  SB_LEDGER_LINES(WRITE_LINE)
#undef WRITE_LINE
  fprintf(out, "\n            residual %.2g of the energy moved", sb_ledger_residual_ratio(ledger));
  /* What load and flywheels give back makes a share of nothing. */
  if (ledger->given > 0.0 && ledger->load_work >= 0.0 && ledger->load_work <= ledger->given)
    fprintf(out, "; %.1f %% of it did the load's work", 100.0 * ledger->load_work / ledger->given);
  fputc('\n', out);
}

/* The first verdict of a kind, or NULL. */
static const struct sb_verdict *find_verdict(const struct sb_monitor *monitor, enum sb_verdict_kind kind)
{
  for (size_t i = 0; monitor != NULL && i < monitor->verdict_count; i++) {
    if (monitor->verdicts[i].kind == kind) return &monitor->verdicts[i];
  }
  return NULL;
}

static int has_verdict(const struct sb_monitor *monitor, enum sb_verdict_kind kind)
{
  return find_verdict(monitor, kind) != NULL;
}

static void write_caution(FILE *out, enum sb_caution caution)
{
  sb_words_say(out, 0, 2, "Caution: %s", sb_caution_text(caution));
}

void sb_report_write_cautions(FILE *out, const struct sb_model *model, const struct sb_monitor *monitor)
{
  if (sb_caution_has_acting_load(&model->load)) write_caution(out, SB_CAUTION_HOIST);
  if (model->battery.is_present) sb_words_say(out, 0, 2, "Caution: %s", sb_caution_of_battery(&model->battery));
  if (has_verdict(monitor, SB_VERDICT_STALL)) write_caution(out, SB_CAUTION_STALL);
  if (has_verdict(monitor, SB_VERDICT_OVERLOAD)) write_caution(out, SB_CAUTION_BREAK);
  const struct sb_verdict *cut = find_verdict(monitor, SB_VERDICT_DRIVE_CUT);
  if (has_verdict(monitor, SB_VERDICT_OVERHEATED) || (cut != NULL && cut->is_by_heat)) {
    write_caution(out, SB_CAUTION_HEAT);
  }
}

static void write_notes(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  const struct sb_sums *sums = &report->result->sums;
  fputc('\n', out);
  sb_report_write_cautions(out, model, &report->result->monitor);
  if (model->motor.has_currents && fabs(sums->motor_current_a.value) > 1.05 * model->motor.stall_current_a) {
    sb_words_say(out, 0, 2,
                 "Note: reversing a turning motor draws more than its stall current; driver, fuse and battery "
                 "must bear it.");
  }
  if (report->result->overcharge_as > 0.0) {
    sb_words_say(
        out, 0, 2,
        "Caution: the load gave %.3g A.s back to a battery that was full, which the figures let it take: a full battery is "
        "overcharged so, and can be spoiled or burn; let a brake take that energy.",
        report->result->overcharge_as);
  }
  if (sb_ledger_residual_ratio(&sums->ledger) > 1e-6) write_caution(out, SB_CAUTION_RESIDUAL);
  if (isfinite(model->limits.winding_c) && !model->winding.is_present) {
    fprintf(out, "Note: limits.winding is not judged: without motor.winding its temperature is not simulated.\n");
  }
}

void sb_report_write_text(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  fprintf(out, "%s\n", model->name);
  if (report->locked_gear > 0) {
    fprintf(out, "locked in %s", gear_name(model, report->locked_gear));
  } else {
    fprintf(out, "automatic%s%s", report->controller != NULL ? " by " : "",
            report->controller != NULL ? report->controller : "");
  }
  fprintf(out, ", %.6g s at a step of %.3g ms\n", report->result->end.time_s, 1000.0 * model->run.step_s);
  if (report->warmup != NULL) sb_warmup_write_text(out, report->warmup);
  write_verdicts(out, report);
  write_shifts(out, report);
  write_motion(out, report);
  write_energy(out, report);
  write_notes(out, report);
}

/* One line of the comparison: a name, then a number a run. */
static void write_line(FILE *out, const char *name, const struct sb_report *reports, int count,
                       double (*figure)(const struct sb_report *))
{
  fprintf(out, "%-24s", name);
  for (int i = 0; i < count; i++) fprintf(out, "%16.5g", figure(&reports[i]));
  fputc('\n', out);
}

static double figure_turns(const struct sb_report *r)
{
  return r->result->end.output_turns;
}
static double figure_rest(const struct sb_report *r)
{
  return r->result->sums.standstill_time_s;
}
static double figure_shifts(const struct sb_report *r)
{
  return (double)r->result->monitor.shift_count;
}
static double figure_torque(const struct sb_report *r)
{
  return r->result->sums.output_torque_nm.value;
}
static double figure_current(const struct sb_report *r)
{
  return r->result->sums.motor_current_a.value;
}
static double figure_given(const struct sb_report *r)
{
  return r->result->sums.ledger.given;
}
static double figure_work(const struct sb_report *r)
{
  return r->result->sums.ledger.load_work;
}

static void write_verdict_lines(FILE *out, const struct sb_report *reports, int count)
{
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    int is_any = 0;
    for (int i = 0; i < count; i++) is_any |= has_verdict(&reports[i].result->monitor, (enum sb_verdict_kind)kind);
    if (!is_any) continue;
    fprintf(out, "%-24s", sb_verdict_name((enum sb_verdict_kind)kind));
    for (int i = 0; i < count; i++) {
      char text[32] = "no";
      const struct sb_verdict *first = find_verdict(&reports[i].result->monitor, (enum sb_verdict_kind)kind);
      if (first != NULL) snprintf(text, sizeof text, "from %.4g s", first->first_s);
      fprintf(out, "%16s", text);
    }
    fputc('\n', out);
  }
}

void sb_report_write_comparison(FILE *out, const struct sb_report *reports, int count)
{
  const struct sb_model *model = reports[0].model;
  fprintf(out, "\nSide by side            ");
  for (int i = 0; i < count; i++) {
    char text[32];
    if (reports[i].locked_gear == 0) {
      snprintf(text, sizeof text, "automatic");
    } else {
      snprintf(text, sizeof text, "locked %.8s", gear_name(model, reports[i].locked_gear));
    }
    fprintf(out, "%16s", text);
  }
  fputc('\n', out);
  write_verdict_lines(out, reports, count);
  write_line(out, "output turns", reports, count, figure_turns);
  write_line(out, "at rest in mesh, s", reports, count, figure_rest);
  write_line(out, "shifts", reports, count, figure_shifts);
  write_line(out, "greatest torque, N.m", reports, count, figure_torque);
  if (model->motor.has_currents) write_line(out, "greatest current, A", reports, count, figure_current);
  write_line(out, model->motor.has_currents ? "supply gave, J" : "motor shaft gave, J", reports, count, figure_given);
  write_line(out, "load's work, J", reports, count, figure_work);
}
