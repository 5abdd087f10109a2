// SPDX-License-Identifier: GPL-3.0-or-later
#include "text/words.h"

#include <math.h>
#include <string.h>

#include "base/constants.h"
#include "machine/caution.h"
#include "shiftband/run.h"

enum { SHIFTS_SHOWN = 12, SPELLS_SHOWN = 3, LABEL_WIDTH = 12 };

static const char *gear_name(const struct sb_model *model, int gear)
{
  return model->gearbox.gears[gear - 1].name;
}

/* A line of the summary behind its label; what is too long hangs below. */
static void write_labeled(FILE *out, const char *label, const struct sb_sentence *sentence)
{
  sb_words_say(out, 0, LABEL_WIDTH, "%-*s%s", LABEL_WIDTH, label, sentence->text);
}

static void write_verdicts(FILE *out, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  const struct sb_closed_form closed = sb_closed_form_solve(report->model);
  size_t shown[SB_VERDICT_KIND_COUNT] = {0};
  fprintf(out, "\nVerdicts\n");
  if (monitor->verdict_count == 0) fprintf(out, "  none: the machine passes under this load\n");
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *v = &monitor->verdicts[i];
    struct sb_verdict_words explanation;
    if (shown[v->kind]++ >= SPELLS_SHOWN) continue;
    sb_verdict_explain(v, report->model, &closed, &explanation);
    sb_words_say(out, 2, 4, "- %s.", explanation.text);
  }
  for (int kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    if (shown[kind] <= SPELLS_SHOWN) continue;
    sb_words_say(out, 2, 4, "- %s: %zu more times", sb_verdict_name((enum sb_verdict_kind)kind),
                 shown[kind] - SPELLS_SHOWN);
  }
}

/* A run that never shifts, beside what each gear does alone. */
static void write_locked(FILE *out, const struct sb_report *report)
{
  for (int i = 0; i < report->other_count; i++) {
    const struct sb_report *other = &report->others[i];
    const struct sb_monitor *monitor = &other->result->monitor;
    struct sb_sentence line = {.length = 0};
    sb_words_add(&line, "locked in %s: %s output turns", gear_name(report->model, other->locked_gear),
                 NUM(other->result->end.output_turns));
    for (size_t k = 0; k < monitor->verdict_count; k++) {
      sb_words_add(&line, "%s%s", k == 0 ? "; " : ", ", sb_verdict_name(monitor->verdicts[k].kind));
    }
    sb_words_say(out, 2, 4, "%s", line.text);
  }
}

static void write_shifts(FILE *out, const struct sb_report *report)
{
  const struct sb_monitor *monitor = &report->result->monitor;
  if (monitor->shift_count == 0) {
    fprintf(out, "\nShifts: none\n");
    write_locked(out, report);
    return;
  }
  fprintf(out, "\nShifts%14s%12s%10s%14s   from -> to\n", "command", "engaged", "reading", "load");
  for (size_t i = 0; i < monitor->shift_kept && i < SHIFTS_SHOWN; i++) {
    const struct sb_shift_record *s = &monitor->shifts[i];
    char engaged[32] = "never";
    if (!isnan(s->engaged_s)) snprintf(engaged, sizeof engaged, "%.3f s", s->engaged_s);
    sb_words_say(out, 0, 4, "%18.3f s%12s%8.1f %% %9.3g N.m   %s -> %s", s->command_s, engaged,
                 round(10.0 * s->reading_pct) / 10.0 + 0.0 /* no -0.0 */, s->load_torque_nm,
                 gear_name(report->model, s->from), gear_name(report->model, s->to));
  }
  if (monitor->shift_count > SHIFTS_SHOWN) fprintf(out, "  and %zu more\n", monitor->shift_count - SHIFTS_SHOWN);
}

static void write_times(FILE *out, const struct sb_report *report)
{
  const struct sb_gearbox *gearbox = &report->model->gearbox;
  const struct sb_sums *sums = &report->result->sums;
  struct sb_sentence line = {.length = 0};
  for (int g = 0; g < gearbox->gear_count; g++) {
    sb_words_add(&line, "%s %s s, ", gearbox->gears[g].name, NUM(sums->gear_time_s[g]));
  }
  sb_words_add(&line, "shifting %.3g s", sums->neutral_time_s);
  if (sums->standstill_time_s > 0.0) sb_words_add(&line, "; %.3g s of it at rest", sums->standstill_time_s);
  write_labeled(out, "Time", &line);
}

/* Whether a speed under control was reached. */
static void write_shortfall(FILE *out, const struct sb_report *report)
{
  const struct sb_shortfall *shortfall = &report->result->monitor.shortfall;
  const struct sb_drive *drive = &report->model->drive;
  const double cut_s = report->result->sums.cut_s;
  struct sb_sentence line = {.length = 0};
  if (drive->mode != SB_DRIVE_SPEED_CONTROL) return;
  if (shortfall->count == 0) {
    sb_words_add(&line, "the target of %s rpm is reached after each run-up", NUM(drive->target_rad_s / SB_RPM));
    if (cut_s > 0.0) sb_words_add(&line, ", but not for the %.3g s for which the drive was cut", cut_s);
  } else {
    sb_words_add(&line, "the target of %s rpm is not reached from %s s on, for %.3g s",
                 NUM(drive->target_rad_s / SB_RPM), NUM(shortfall->first_s), shortfall->duration_s);
    if (shortfall->count > 1) sb_words_add(&line, " in %d spells", shortfall->count);
    sb_words_add(&line, ": at full duty the motor falls to %s rpm", NUM(shortfall->least_rad_s / SB_RPM));
  }
  write_labeled(out, "Speed", &line);
}

static void write_heat(FILE *out, const struct sb_run_facts *facts)
{
  struct sb_sentence line = {.length = 0};
  if (isnan(facts->winding_c)) return;
  sb_words_add(&line, "winding %.1f C at the end, %.1f C at most", facts->winding_c, facts->greatest_winding_c);
  if (!isnan(facts->housing_c)) {
    sb_words_add(&line, "; housing %.1f C at the end, %.1f C at most", facts->housing_c, facts->greatest_housing_c);
  }
  if (!isnan(facts->magnet_left_fraction)) {
    sb_words_add(&line, "\nthe magnets have %.1f %% of their strength at the end", 100.0 * facts->magnet_left_fraction);
  }
  if (isinf(facts->hot_s)) sb_words_add(&line, "\nif it went on like this, the winding would not get too hot");
  if (facts->hot_s > 0.0 && isfinite(facts->hot_s)) {
    sb_words_add(&line, "\nif it went on like this, the winding would be too hot after %.3g s more", facts->hot_s);
  }
  write_labeled(out, "Heat", &line);
}

static void write_charge(FILE *out, const struct sb_run_facts *facts)
{
  struct sb_sentence line = {.length = 0};
  if (isnan(facts->used_as)) return;
  sb_words_add(&line, "%.4g mAh %s; %.4g %% left", fabs(facts->used_as) / 3.6,
               facts->used_as < 0.0 ? "given back" : "used", 100.0 * facts->left_fraction);
  if (!isnan(facts->runs_a_charge)) {
    sb_words_add(&line, "\na full charge lasts %.3g such runs; what is left, %.3g s if it went on like this",
                 facts->runs_a_charge, facts->empty_s);
  }
  write_labeled(out, "Charge", &line);
}

/* How far a vehicle or a hoist's load has come that nothing else is told of. */
static void write_body(FILE *out, const struct sb_report *report, const struct sb_run_facts *facts)
{
  struct sb_sentence line = {.length = 0};
  if (report->model->load.road.is_present || isnan(facts->distance_m)) return;
  for (int i = 0; i < report->model->body_count; i++) {
    if (sb_body_as_vehicle(&report->model->bodies[i]) == NULL) continue;
    sb_words_add(&line, "distance travelled %s m; speed at the end %.3g m/s", NUM(facts->distance_m), facts->speed_m_s);
    write_labeled(out, "Vehicle", &line);
    return;
  }
  sb_words_add(&line, "height gained %s m; speed at the end %.3g m/s", NUM(facts->distance_m), facts->speed_m_s);
  write_labeled(out, "Hoist", &line);
}

static void write_lost(FILE *out, const struct sb_report *report, const struct sb_run_facts *facts)
{
  struct sb_sentence line = {.length = 0};
  if (report->result->monitor.shift_count == 0) return;
  sb_words_add(&line, "%.3g s and %.3g J lost to shifting", facts->shifting_s, facts->shifting_j);
  write_labeled(out, "Shifting", &line);
}

static void write_clutch(FILE *out, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  struct sb_sentence line = {.length = 0};
  if (!report->model->shifter.ops->has_clutch) return;
  sb_words_add(&line, "%.3g J of heat in it", sums->clutch_heat_j);
  if (sums->energy.clutch_loss > 0.0) {
    sb_words_add(&line, ", %.3g J of that while a gear was engaged", sums->energy.clutch_loss);
  }
  write_labeled(out, "Clutch", &line);
}

static void write_driver(FILE *out, const struct sb_report *report)
{
  const double limit_a = report->model->supply.current_limit_a;
  struct sb_sentence line = {.length = 0};
  if (!(limit_a > 0.0)) return;
  sb_words_add(&line, "held the current at %.4g A for %s s", limit_a, NUM(report->result->sums.current_held_s));
  write_labeled(out, "Driver", &line);
}

/* Where a vehicle that can slip, push or arrive has come to. */
static void write_vehicle(FILE *out, const struct sb_report *report)
{
  const struct sb_road *road = &report->model->load.road;
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_row *end = &report->result->end;
  struct sb_sentence line = {.length = 0};
  if (!road->is_present) return;
  sb_words_add(&line, "distance travelled %s m", NUM(end->vehicle_angle_rad * road->wheel_radius_m));
  if (end->vehicle_angle_rad >= road->finish_rad) {
    sb_words_add(&line, ", all of it, in %s s", NUM(end->time_s));
  }
  sb_words_add(&line, "; speed at the end %.3g m/s", end->vehicle_speed_rad_s * road->wheel_radius_m);
  const double impact_ns = sums->impact_greatest_nms / road->wheel_radius_m;
  if (sums->impact_count == 1) sb_words_add(&line, "\none impact on a body, of %.3g N.s", impact_ns);
  if (sums->impact_count > 1) {
    sb_words_add(&line, "\n%ld impacts on bodies, the greatest %.3g N.s", sums->impact_count, impact_ns);
  }
  if (sums->slip_s > 0.0) {
    sb_words_add(&line, "\nthe wheels slipped for %.3g s between %s s", sums->slip_s, NUM(sums->slip_first_s));
    sb_words_add(&line, " and %s s", NUM(sums->slip_last_s));
  }
  write_labeled(out, "Vehicle", &line);
}

static void write_greatest(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  const struct sb_sums *sums = &report->result->sums;
  const double shock_nms = sums->greatest_impulse_nms;
  struct sb_sentence line = {.length = 0};
  sb_words_add(&line, "output torque %s N.m at %s s (%s); ", NUM(sums->output_torque_nm.value),
               NUM(sums->output_torque_nm.time_s), sb_run_torque_source_name(sb_run_facts(report).torque_source));
  sb_words_add(&line, "motor speed %s rpm at %s s", NUM(sums->motor_speed_rad_s.value / SB_RPM),
               NUM(sums->motor_speed_rad_s.time_s));
  if (model->motor.has_currents) {
    sb_words_add(&line, "\nmotor current %s A at %s s (stall current %s A at the nominal voltage)",
                 NUM(sums->motor_current_a.value), NUM(sums->motor_current_a.time_s),
                 NUM(model->motor.stall_current_a));
  }
  if (fabs(shock_nms) > 1e-12) sb_words_add(&line, "\nengagement shock %.3g N.m.s at the output", shock_nms);
  write_labeled(out, "Greatest", &line);
}

/* A path that locks itself and stopped all at once. */
static void write_jams(FILE *out, const struct sb_sums *sums)
{
  struct sb_sentence line = {.length = 0};
  if (sums->jam_count == 0) return;
  if (sums->jam_count == 1) {
    sb_words_add(&line, "at %s s the gear jammed, and stopped motor and output at once", NUM(sums->jam_first_s));
  } else {
    sb_words_add(&line, "%ld times the gear jammed, first at %s s, and stopped motor and output at once",
                 sums->jam_count, NUM(sums->jam_first_s));
  }
  sb_words_add(&line, "; greatest shock %.3g N.m.s at the output", sums->jam_greatest_nms);
  write_labeled(out, "Jammed", &line);
}

static void write_motion(FILE *out, const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  struct sb_sentence line = {.length = 0};
  fputc('\n', out);
  write_times(out, report);
  sb_words_add(&line, "%s turns; speed %s..%s rpm", NUM(report->result->end.output_turns),
               NUM(sums->least_output_speed_rad_s / SB_RPM), NUM(sums->greatest_output_speed_rad_s / SB_RPM));
  write_labeled(out, "Output", &line);
  write_shortfall(out, report);
  write_vehicle(out, report);
  const struct sb_run_facts facts = sb_run_facts(report);
  write_body(out, report, &facts);
  write_greatest(out, report);
  write_jams(out, sums);
  write_heat(out, &facts);
  write_charge(out, &facts);
  write_lost(out, report, &facts);
  write_driver(out, report);
  write_clutch(out, report);
}

static void write_energy(FILE *out, const struct sb_report *report)
{
  const struct sb_energy *energy = &report->result->sums.energy;
  const char *sign = "";
  struct sb_sentence line = {.length = 0};
  sb_words_add(&line, "%s gave %.5g J =", report->model->motor.has_currents ? "the supply" : "the motor shaft",
               energy->given);
#define ADD_LINE(field, name)                                        \
  if (energy->field != 0.0) {                                        \
    sb_words_add(&line, "%s %s %s", sign, name, NUM(energy->field)); \
    sign = " +";                                                     \
  }
  SB_ENERGY_LINES(ADD_LINE)
#undef ADD_LINE
  /* What load and flywheels give back makes a share of nothing. */
  if (energy->given > 0.0 && energy->load_work >= 0.0 && energy->load_work <= energy->given) {
    sb_words_add(&line, "\nefficiency %.1f %% (load work by energy given)", 100.0 * energy->load_work / energy->given);
  }
  sb_words_add(&line, "\nresidual of the energy balance %.2g", sb_energy_residual_ratio(energy));
  fputc('\n', out);
  write_labeled(out, "Energy", &line);
}

static void write_caution(FILE *out, const char *text)
{
  sb_words_say(out, 0, 2, "Caution: %s", text);
}

void sb_run_write_cautions(FILE *out, const struct sb_model *model, const struct sb_monitor *monitor)
{
  if (sb_caution_has_acting_load(&model->load)) write_caution(out, sb_caution_text(SB_CAUTION_HOIST));
  if (model->battery.is_present) write_caution(out, sb_caution_of_battery(&model->battery));
  if (sb_monitor_find(monitor, SB_VERDICT_STALL) != NULL) write_caution(out, sb_caution_text(SB_CAUTION_STALL));
  if (sb_monitor_find(monitor, SB_VERDICT_OVERLOAD) != NULL) write_caution(out, sb_caution_text(SB_CAUTION_BREAK));
  const struct sb_verdict *cut = sb_monitor_find(monitor, SB_VERDICT_DRIVE_CUT);
  if (sb_monitor_find(monitor, SB_VERDICT_OVERHEATED) != NULL || (cut != NULL && cut->is_by_heat)) {
    write_caution(out, sb_caution_text(SB_CAUTION_HEAT));
  }
}

static void write_notes(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  const struct sb_sums *sums = &report->result->sums;
  fputc('\n', out);
  sb_run_write_cautions(out, model, &report->result->monitor);
  if (report->result->overcharge_as > 0.0) {
    sb_words_say(
        out, 0, 2,
        "Caution: the load gave %.3g A.s back to a battery that was full. The simulation lets the battery take "
        "it; a real one is overcharged, and can be spoiled or burn. Let a brake take that energy.",
        report->result->overcharge_as);
  }
  if (sb_energy_residual_ratio(&sums->energy) > SB_CAUTION_RESIDUAL_RATIO) {
    write_caution(out, sb_caution_text(SB_CAUTION_RESIDUAL));
  }
  if (model->motor.has_currents && fabs(sums->motor_current_a.value) > 1.05 * model->motor.stall_current_a) {
    sb_words_say(out, 0, 2,
                 "Note: a motor that is reversed while it turns draws more than its stall current; driver, fuse and "
                 "battery must withstand that.");
  }
  if (isfinite(model->limits.winding_c) && !model->winding.is_present) {
    sb_words_say(out, 0, 2,
                 "Note: limits.winding is not checked, because without motor.winding the winding's temperature is not "
                 "simulated.");
  }
  if (model->winding.is_present && !model->magnet.is_present) {
    sb_words_say(out, 0, 2, "Note: %s", sb_caution_text(SB_CAUTION_MAGNET));
  }
}

static void say_warmth(struct sb_sentence *line, const char *when, const struct sb_warmup *warmup,
                       const struct sb_warmth *warmth)
{
  sb_words_add(line, "%s %.1f C", when, warmth->winding_c);
  if (warmup->model.winding.housing_capacity_j_k > 0.0) sb_words_add(line, " (housing %.1f C)", warmth->housing_c);
}

/* What ended the repeats. */
static void say_warmup_end(FILE *out, const struct sb_warmup *warmup)
{
  const struct sb_model *model = &warmup->model;
  switch (warmup->end) {
    case SB_WARMUP_STEADY:
      sb_words_say(out, 2, 2, "Steady state: the motor gets no warmer after %lld repeats, %.6g s.",
                   warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_TOO_HOT:
      sb_words_say(out, 2, 2, "The winding exceeds its limit of %.6g C in repeat %lld, %.6g s after the first start.",
                   model->limits.winding_c, warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_CUT_OUT:
      sb_words_say(out, 2, 2, "The thermal switch opens at %.6g C in repeat %lld, %.6g s after the first start.",
                   model->winding.cut_out_c, warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_OPEN:
      sb_words_say(out, 2, 2, "Neither a steady state nor too warm after %lld repeats, %.6g s.", warmup->repeat_count,
                   warmup->end_s);
      break;
  }
}

static void write_warmup(FILE *out, const struct sb_warmup *warmup, bool is_verbose)
{
  struct sb_sentence line = {.length = 0};
  fputs("\nRepeated until warm: each repeat starts as warm as the last one ended\n", out);
  say_warmup_end(out, warmup);
  say_warmth(&line, "The last repeat, reported below, starts with the winding at", warmup, &warmup->start);
  sb_words_add(&line, ", reaches %.1f C", warmup->peak_c);
  say_warmth(&line, " and ends at", warmup, &warmup->finish);
  sb_words_say(out, 2, 2, "%s.", line.text);
  if (warmup->end == SB_WARMUP_STEADY && warmup->greatest_start_c - warmup->least_start_c > SB_WARMUP_STEADY_K) {
    sb_words_say(out, 2, 2,
                 "The winding starts a repeat at %.1f C to %.1f C: how warm it is changes what the machine does.",
                 warmup->least_start_c, warmup->greatest_start_c);
  }
  if (!is_verbose || warmup->simulated_count == warmup->repeat_count) return;
  sb_words_say(out, 2, 2, "%d repeat%s simulated; the others were skipped, %g K at a time.", warmup->simulated_count,
               warmup->simulated_count == 1 ? " was" : "s were", SB_WARMUP_LEAP_K);
}

void sb_run_write_text(FILE *out, const struct sb_report *report)
{
  const struct sb_model *model = report->model;
  const double time_s = report->result->end.time_s;
  sb_words_say(out, 0, 2, "%s", model->name);
  if (report->locked_gear > 0) {
    sb_words_say(out, 0, 2, "locked in %s, %.6g s", gear_name(model, report->locked_gear), time_s);
  } else if (report->controller != NULL) {
    sb_words_say(out, 0, 2, "automatic by %s, %.6g s", report->controller, time_s);
  } else {
    fprintf(out, "automatic, %.6g s\n", time_s);
  }
  if (report->is_verbose)
    fprintf(out, "step %.3g ms, %lld steps\n", 1000.0 * model->run.step_s, report->result->step_count);
  if (report->warmup != NULL) write_warmup(out, report->warmup, report->is_verbose);
  write_verdicts(out, report);
  write_shifts(out, report);
  write_motion(out, report);
  write_energy(out, report);
  write_notes(out, report);
}

/* The comparison ------------------------------------------------------------------------------------------------------ */

enum { NAME_WIDTH = 22, COLUMN_WIDTH = 14 };

/* Some of the runs, in columns of one width. */
struct columns {
  const struct sb_report *reports;
  int count, width;
};

static void write_row_name(FILE *out, const char *name)
{
  fprintf(out, "%-*s", NAME_WIDTH, name);
}

static void write_text_cell(FILE *out, const struct columns *columns, const char *text)
{
  const int fill = columns->width - sb_words_columns(text, strlen(text));
  fprintf(out, "%*s%s", fill, "", text);
}

/* A figure of a run. */
struct line {
  const char *name;
  bool is_shown;
  double value;
};

enum { LINE_COUNT = 11 };

static void list_lines(const struct sb_report *report, struct line lines[LINE_COUNT])
{
  const struct sb_model *model = report->model;
  const struct sb_road *road = &model->load.road;
  const struct sb_row *end = &report->result->end;
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_run_facts facts = sb_run_facts(report);
  const bool has_currents = model->motor.has_currents;
  const struct line all[LINE_COUNT] = {
      {"output turns", true, end->output_turns},
      {"mean output speed, rpm", true, facts.mean_speed_rad_s / SB_RPM},
      {"time, s", road->is_present && isfinite(road->finish_rad), end->time_s},
      {"at rest, s", true, sums->standstill_time_s},
      {"shifts", true, (double)report->result->monitor.shift_count},
      {"greatest torque, N.m", true, sums->output_torque_nm.value},
      {"greatest current, A", has_currents, sums->motor_current_a.value},
      {has_currents ? "supply gave, J" : "motor shaft gave, J", true, sums->energy.given},
      {"load's work, J", true, sums->energy.load_work},
      {"charge used, mAh", model->battery.is_present, facts.used_as / 3.6},
      {"hottest winding, C", model->winding.is_present, facts.greatest_winding_c},
  };
  memcpy(lines, all, sizeof all);
}

static void write_lines(FILE *out, const struct columns *columns)
{
  struct line lines[SB_RUN_WAY_MAX][LINE_COUNT];
  for (int i = 0; i < columns->count; i++) list_lines(&columns->reports[i], lines[i]);
  for (int k = 0; k < LINE_COUNT; k++) {
    if (!lines[0][k].is_shown) continue;
    write_row_name(out, lines[0][k].name);
    for (int i = 0; i < columns->count; i++) fprintf(out, "%*.5g", columns->width, lines[i][k].value);
    fputc('\n', out);
  }
}

/* The verdicts that any of all the runs came to, with the time of the first. */
static void write_verdict_lines(FILE *out, const struct columns *columns, const struct sb_report *reports, int count)
{
  for (enum sb_verdict_kind kind = 0; kind < SB_VERDICT_KIND_COUNT; kind++) {
    bool is_any = false;
    for (int i = 0; i < count; i++) is_any |= sb_monitor_find(&reports[i].result->monitor, kind) != NULL;
    if (!is_any) continue;
    write_row_name(out, sb_verdict_name(kind));
    for (int i = 0; i < columns->count; i++) {
      char text[32] = "no";
      const struct sb_verdict *first = sb_monitor_find(&columns->reports[i].result->monitor, kind);
      if (first != NULL) snprintf(text, sizeof text, "from %.4g s", first->first_s);
      write_text_cell(out, columns, text);
    }
    fputc('\n', out);
  }
}

/* "automatic", or "locked in" and the gear's name below. */
static void write_headings(FILE *out, const struct columns *columns)
{
  write_row_name(out, "Side by side");
  for (int i = 0; i < columns->count; i++) {
    write_text_cell(out, columns, columns->reports[i].locked_gear == 0 ? "automatic" : "locked in");
  }
  fputc('\n', out);
  write_row_name(out, "");
  for (int i = 0; i < columns->count; i++) {
    const struct sb_report *report = &columns->reports[i];
    write_text_cell(out, columns, report->locked_gear == 0 ? "" : gear_name(report->model, report->locked_gear));
  }
  fputc('\n', out);
}

/* As wide as the longest name of a gear needs. */
static int column_width(const struct sb_gearbox *gearbox)
{
  int width = COLUMN_WIDTH;
  for (int g = 0; g < gearbox->gear_count; g++) {
    const char *name = gearbox->gears[g].name;
    const int needed = sb_words_columns(name, strlen(name)) + 2;
    if (needed > width) width = needed;
  }
  return width;
}

/* Which gears alone would do as well as the automatic run. */
static void write_conclusion(FILE *out, const struct sb_report *reports, int count)
{
  bool is_any = false;
  fputc('\n', out);
  for (int i = 1; i < count; i++) {
    if (!sb_run_does_as_well(&reports[i], &reports[0])) continue;
    is_any = true;
    sb_words_say(out, 0, 2, "%s alone does as well: at least 98 %% of the mean speed, and no verdict more.",
                 gear_name(reports[i].model, reports[i].locked_gear));
  }
  if (!is_any) sb_words_say(out, 0, 2, "No gear alone does as well: slower by more than 2 %%, or with a verdict more.");
}

void sb_run_write_comparison(FILE *out, const struct sb_report *reports, int count)
{
  const int width = column_width(&reports[0].model->gearbox);
  const int fitting = (sb_text_width() - NAME_WIDTH) / width;
  const int most = fitting > 1 ? fitting : 1;
  for (int first = 0; first < count; first += most) {
    const struct columns columns = {reports + first, count - first < most ? count - first : most, width};
    fputc('\n', out);
    write_headings(out, &columns);
    write_verdict_lines(out, &columns, reports, count);
    write_lines(out, &columns);
  }
  write_conclusion(out, reports, count);
}
