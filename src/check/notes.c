// SPDX-License-Identifier: GPL-3.0-or-later
/* notes.c - what a user should look at twice before trusting the figures. */
#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "check/check.h"
#include "check/heat.h"
#include "check/shaft.h"
#include "machine/caution.h"
#include "theory/steady.h"

static void add(struct sb_check_notes *notes, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void add(struct sb_check_notes *notes, const char *format, ...)
{
  if (notes->count >= SB_CHECK_NOTE_MAX) return;
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(notes->texts[notes->count++], SB_CHECK_NOTE_SIZE, format, arguments);
  va_end(arguments);
}

double sb_check_whole_samples_s(const struct sb_control *control, double duration_s)
{
  return (double)sb_model_step_count(duration_s, control->sample_period_s) * control->sample_period_s;
}

static void note_motor(const struct sb_model *model, struct sb_check_notes *notes)
{
  const double mismatch = sb_motor_constants_mismatch(&model->motor);
  if (fabs(mismatch) > 0.15) {
    add(notes,
        "motor: the torque constant %.4g N.m/A and the voltage constant %.4g V.s/rad are %.0f %% apart; they are equal "
        "for a motor without a gearhead: look for a gearhead's loss or a mistyped figure of the data sheet.",
        model->motor.kt_nm_a, model->motor.ke_vs_rad, 100.0 * fabs(mismatch));
  }
  const double reference = model->control.sensor.reference_rad_s;
  if (model->control.sensor.quantity == SB_SENSES_SPEED &&
      fabs(reference / model->motor.no_load_speed_rad_s - 1.0) < 1e-9) {
    add(notes, "controller: 100 %% of the reading is the motor's no-load speed at its nominal %.4g V.",
        model->motor.nominal_voltage_v);
  }
}

static void note_gearbox(const struct sb_model *model, struct sb_check_notes *notes)
{
  const struct sb_gear *first = &model->gearbox.gears[0];
  for (int g = 1; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    if (gear->output_sense == first->output_sense) continue;
    add(notes,
        "gearbox: %s turns the output against %s; one idler more or less in its path mends that. The figures take the "
        "load as opposing each gear.",
        gear->name, first->name);
  }
}

static void note_shifter(const struct sb_check_case *at, struct sb_check_notes *notes)
{
  const struct sb_shifter *shifter = &at->model.shifter;
  const double motor_nm = at->form.stall_torque_nm;
  if (shifter->clutch_nm > 0.0 && shifter->clutch_nm < motor_nm) {
    add(notes,
        "shifter: the clutch carries %.4g N.m while it slips, less than the %.4g N.m that the motor can bring: a shift "
        "near stall may never end. Once joined it is taken to hold.",
        shifter->clutch_nm, motor_nm);
  }
  for (int p = 0; p + 1 < at->model.gearbox.gear_count; p++) {
    const double up_s = at->form.pairs[p].shift_up_time_s;
    const double down_s = at->form.pairs[p].shift_down_time_s;
    const double longest_s = fmax(up_s, down_s);
    if (longest_s > shifter->timeout_s) {
      add(notes, "shifter: a shift between %s and %s takes %.4g s, beyond the time limit of %.4g s for a shift.",
          at->model.gearbox.gears[p].name, at->model.gearbox.gears[p + 1].name, longest_s, shifter->timeout_s);
    }
  }
}

static void note_bodies(const struct sb_model *model, struct sb_check_notes *notes)
{
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_body_ops *ops = model->bodies[i].ops;
    const char *note = ops->note != NULL ? ops->note(&model->bodies[i]) : NULL;
    bool is_said = note == NULL;
    for (int k = 0; k < i; k++) is_said = is_said || model->bodies[k].ops == model->bodies[i].ops;
    if (!is_said) add(notes, "%s", note);
  }
}

static void note_limits(const struct sb_model *model, struct sb_check_notes *notes)
{
  if (model->output_limit[0] == 0) return;
  add(notes,
      "limits: the part's strength is that of new, sound material at room temperature; heat, age, notches and the "
      "direction of a print take from it, from plastics most.");
}

static void note_battery(const struct sb_model *model, struct sb_check_notes *notes)
{
  const struct sb_battery *battery = &model->battery;
  if (!battery->is_present) return;
  if (battery->chemistry != NULL) {
    add(notes, "battery: %s cells: %s. Cells differ by maker, age and cold; measured points of your own are surer.",
        battery->chemistry->name, battery->chemistry->source);
  }
  if (model->supply.internal_resistance_ohm == 0.0) {
    add(notes, "battery: without supply.internal_resistance its voltage does not sag under load. Measure the voltage "
               "without load and under a known current: their difference by that current is the resistance.");
  }
  if (battery->cutoff_v == 0.0)
    add(notes, "battery: without a cutoff_voltage nothing protects it from being drawn empty.");
}

static void note_run(const struct sb_model *model, struct sb_check_notes *notes)
{
  const struct sb_derived derived = sb_model_derive(model);
  const double shortest_s = sb_derived_shortest_s(&derived, model);
  if (model->run.step_s > 0.5 * shortest_s) {
    add(notes, "run: the step of %.4g s is more than half the shortest time constant, %.4g s; a shorter one is surer.",
        model->run.step_s, shortest_s);
  }
}

/* With a coarse reading the box acts half a count beside its thresholds; say so where that changes the verdict. */
static void note_rounding(const struct sb_check_case *at, struct sb_check_notes *notes)
{
  const struct sb_sensor *sensor = &at->model.control.sensor;
  if (!(sensor->resolution_fraction > 0.0)) return;
  const double count = sb_sensor_count_fraction(sensor);
  for (int p = 0; p + 1 < at->model.gearbox.gear_count; p++) {
    const double down = ((double)sb_sensor_down_count(sensor, at->model.control.downshift_fraction[p]) - 0.5) * count;
    const double up = ((double)sb_sensor_up_count(sensor, at->model.control.upshift_fraction[p]) + 0.5) * count;
    const bool has_band =
        sb_steady_load_nm(&at->model, &at->line, p + 1, down) < sb_steady_load_nm(&at->model, &at->line, p, up);
    if (has_band == at->form.pairs[p].has_band) continue;
    add(notes,
        "controller: with its reading rounded to %.4g %% the box shifts down at %.4g %% and up at %.4g %%: there "
        "%s a hunting band between %s and %s.",
        100.0 * count, 100.0 * down, 100.0 * up, has_band ? "is then" : "is then no longer",
        at->model.gearbox.gears[p].name, at->model.gearbox.gears[p + 1].name);
  }
}

double sb_check_hung_nm(const struct sb_model *model)
{
  double least_nm = 0.0, greatest_nm = 0.0, friction_nm = 0.0;
  for (int i = 0; i < model->load.part_count; i++) {
    const struct sb_load_part *part = &model->load.parts[i];
    double least = 0.0, greatest = 0.0;
    if (part->is_resisting) continue;
    part->ops->range_nm(part, &least, &greatest);
    least_nm += least;
    greatest_nm += greatest;
  }
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_hoist *hoist = sb_body_as_hoist(&model->bodies[i]);
    if (hoist == NULL) continue;
    friction_nm += fmax(hoist->friction_nm, hoist->breakaway_nm);
  }
  return fmax(fmax(greatest_nm, -least_nm) - friction_nm, 0.0);
}

static void find_cautions(const struct sb_check_case *at, struct sb_check_notes *cautions)
{
  if (sb_caution_has_acting_load(&at->model.load)) add(cautions, "%s", sb_caution_text(SB_CAUTION_HOIST));
  if (at->model.load.brake_nm > 0.0 && at->model.load.brake_nm < sb_check_hung_nm(&at->model)) {
    add(cautions,
        "the holding brake of %.4g N.m does not hold what hangs, which asks for %.4g N.m besides the drum's friction: it "
        "slips in every shift and whenever the drive is off.",
        at->model.load.brake_nm, sb_check_hung_nm(&at->model));
  }
  const double heaviest_nm = at->form.heaviest_load_nm;
  const double stall_nm = at->form.gears[0].stall_torque_nm;
  if (heaviest_nm > stall_nm) {
    add(cautions, "the heaviest load, %.4g N.m, is above the stall torque of %s, %.4g N.m: no gear moves it, and %s",
        heaviest_nm, at->model.gearbox.gears[0].name, stall_nm, sb_caution_text(SB_CAUTION_STALL));
  }
  if (at->model.battery.is_present) add(cautions, "%s", sb_caution_of_battery(&at->model.battery));
  double greatest_nm = stall_nm;
  for (int g = 1; g < at->model.gearbox.gear_count; g++)
    greatest_nm = fmax(greatest_nm, at->form.gears[g].stall_torque_nm);
  if (greatest_nm > at->model.limits.output_torque_nm) {
    add(cautions, "at stall the motor can bring %.4g N.m to an output that may carry %.4g N.m: %s", greatest_nm,
        at->model.limits.output_torque_nm, sb_caution_text(SB_CAUTION_BREAK));
  }
  int gear;
  const double blow_nm = sb_check_greatest_blow_nm(at, &gear);
  if (blow_nm > at->model.limits.output_torque_nm) {
    add(cautions, "a blow in %s alone brings %.4g N.m to an output that may carry %.4g N.m: %s",
        at->model.gearbox.gears[gear].name, blow_nm, at->model.limits.output_torque_nm,
        sb_caution_text(SB_CAUTION_BREAK));
  }
}

void sb_check_find_notes(struct sb_check_report *report)
{
  const struct sb_check_case *nominal = &report->cases[SB_CHECK_NOMINAL];
  note_motor(&nominal->model, &report->notes);
  note_gearbox(&nominal->model, &report->notes);
  note_shifter(nominal, &report->notes);
  note_rounding(nominal, &report->notes);
  note_bodies(&nominal->model, &report->notes);
  note_limits(&nominal->model, &report->notes);
  note_battery(&nominal->model, &report->notes);
  note_run(&nominal->model, &report->notes);
  find_cautions(nominal, &report->cautions);
  if (nominal->model.winding.is_present) sb_check_caution_heat(report);
}
