// SPDX-License-Identifier: GPL-3.0-or-later
/* notes.c - what a user should know before trusting the figures, and where people or things could be hurt. */
#include <math.h>

#include "base/constants.h"
#include "check/parts.h"
#include "machine/caution.h"
#include "shiftband/prove.h"
#include "theory/steady.h"
#include "theory/warmth.h"

/* The highest of the usual thermal classes of insulation, 180 (H): IEC 60085 (from memory). Judged against where no limit
 * was given. */
#define INSULATION_ENDS_C 180.0

/* Torque and voltage constant of a motor without a gearhead are equal; data sheets round. */
#define MISMATCH_WORTH_A_NOTE 0.15

static void note_motor(const struct sb_model *model, struct sb_check_remarks *notes)
{
  const double mismatch = sb_motor_constants_mismatch(&model->motor);
  if (fabs(mismatch) > MISMATCH_WORTH_A_NOTE) {
    sb_check_remark(
        notes, "motor", -1,
        "motor: the torque constant, %s N.m/A, and the voltage constant, %s V.s/rad, are %.0f %% apart. They "
        "are equal for a motor without a gearhead: look for the loss of a gearhead or a mistyped figure among "
        "stall_torque, stall_current, no_load_speed and no_load_current.",
        NUM(model->motor.kt_nm_a), NUM(model->motor.ke_vs_rad), 100.0 * fabs(mismatch));
  }
  const double reference = model->control.sensor.reference_rad_s;
  const struct sb_supply_sensor *supply = &model->control.sensor.supply;
  if (supply->is_present) {
    sb_check_remark(
        notes, "controller", -1,
        "controller: 100 %% of the reading is %s rpm at %s V and follows the measured voltage, less a drop of "
        "%s V.",
        NUM(reference / SB_RPM), NUM(supply->nominal_v), NUM(supply->drop_v));
    return;
  }
  if (model->control.sensor.quantity == SB_SENSES_SPEED &&
      fabs(reference / model->motor.no_load_speed_rad_s - 1.0) < 1e-9) {
    sb_check_remark(notes, "controller", -1,
                    "controller: 100 %% of the reading is the motor's no-load speed at its nominal %s V.",
                    NUM(model->motor.nominal_voltage_v));
  }
}

/* A steady state has no reading below that of the corner: the motor passes such a reading as it stalls. */
static void note_limit(const struct sb_check_machine *machine, struct sb_check_remarks *notes)
{
  const struct sb_model *model = machine->model;
  const double corner_rad_s = sb_motor_corner_rad_s(&machine->line);
  if (!(corner_rad_s > 0.0) || model->control.sensor.quantity != SB_SENSES_SPEED) return;
  const double corner = sb_steady_speed_reading(model, &machine->line, corner_rad_s);
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    if (!(model->control.downshift_fraction[p] < corner)) continue;
    sb_check_remark(
        notes, "drive", p,
        "drive: with the current held at drive.current_limit no load keeps the motor at a reading below %s: "
        "it stalls. The downshift below %s in %s comes while it does so; a threshold above %s comes before.",
        PCT(corner), SET(model->control.downshift_fraction[p]), model->gearbox.gears[p + 1].name, PCT(corner));
  }
}

static void note_shifter(const struct sb_check_machine *machine, struct sb_check_remarks *notes)
{
  const struct sb_model *model = machine->model;
  const struct sb_shifter *shifter = &model->shifter;
  const double motor_nm = machine->form.stall_torque_nm;
  if (sb_shifter_clutch_nm(shifter) > 0.0 && sb_shifter_clutch_nm(shifter) < motor_nm) {
    sb_check_remark(
        notes, "shifter", -1,
        "shifter: the clutch transmits %s N.m while it slips, less than the %s N.m of the motor at stall: a "
        "shift near stall may never end, and no gear carries more than the clutch transmits. A greater "
        "gearbox.shifter.torque cures that.",
        NUM(sb_shifter_clutch_nm(shifter)), NUM(motor_nm));
  }
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const struct sb_pair_figures *pair = &machine->form.pairs[p];
    const double longest_s = fmax(pair->upshift_time_s, pair->downshift_time_s);
    if (!(longest_s > shifter->timeout_s)) continue;
    sb_check_remark(
        notes, "shifter", p,
        "shifter: a shift between %s and %s takes %s s, longer than the %s s of the time limit for a shift.",
        model->gearbox.gears[p].name, model->gearbox.gears[p + 1].name, NUM(longest_s), NUM(shifter->timeout_s));
  }
}

static void note_bodies(const struct sb_model *model, struct sb_check_remarks *notes)
{
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_body_ops *ops = model->bodies[i].ops;
    const char *note = ops->note != NULL ? ops->note(&model->bodies[i]) : NULL;
    bool is_said = note == NULL;
    for (int k = 0; k < i; k++) is_said = is_said || model->bodies[k].ops == model->bodies[i].ops;
    if (!is_said) sb_check_remark(notes, ops->name, -1, "%s", note);
  }
}

static void note_limits(const struct sb_check_limit *limit, struct sb_check_remarks *notes)
{
  if (limit->part == NULL) return;
  sb_check_remark(
      notes, "limits", -1,
      "limits: the strength of the part is that of new, sound material at room temperature; heat, age, notches "
      "and the direction of a print reduce it, that of plastics most. A greater safety of the part allows for "
      "that.");
}

static void note_battery(const struct sb_model *model, struct sb_check_remarks *notes)
{
  const struct sb_battery *battery = &model->battery;
  if (!battery->is_present) return;
  if (battery->chemistry != NULL) {
    sb_check_remark(notes, "battery", -1,
                    "battery: %s cells: %s. Cells differ by maker, age and cold; your own measurements, as "
                    "supply.battery.points, are more reliable.",
                    battery->chemistry->name, battery->chemistry->source);
  }
  if (model->supply.internal_resistance_ohm == 0.0) {
    sb_check_remark(
        notes, "battery", -1,
        "battery: without supply.internal_resistance its voltage does not sag under load. Measure the voltage "
        "without load and under a known current: their difference divided by that current is the resistance.");
  }
  if (battery->cutoff_v == 0.0) {
    sb_check_remark(notes, "battery", -1,
                    "battery: without supply.battery.cutoff_voltage nothing protects it from a deep discharge.");
  }
}

static void note_magnet(const struct sb_model *model, struct sb_check_remarks *notes)
{
  if (!model->winding.is_present || model->magnet.is_present) return;
  sb_check_remark(notes, "magnet", -1, "magnet: %s", sb_caution_text(SB_CAUTION_MAGNET));
}

static void note_run(const struct sb_model *model, struct sb_check_remarks *notes)
{
  const struct sb_derived derived = sb_model_derive(model);
  const double shortest_s = sb_model_shortest_s(&derived, model);
  if (!(model->run.step_s > 0.5 * shortest_s)) return;
  struct sb_check_remark *remark = sb_check_remark(
      notes, "run", -1,
      "run: run.step, %s s, is more than half the shortest time constant, %s s; shorter steps are safer.",
      NUM(model->run.step_s), NUM(shortest_s));
  sb_check_cure(remark, "run.step", "at most", "%.2g s", 0.5 * shortest_s);
}

/* With a coarse reading the box acts half a count beside its thresholds, with counted pulses up to a whole one; said where that
 * changes the hunting band. */
static void note_rounding(const struct sb_check_machine *machine, struct sb_check_remarks *notes)
{
  const struct sb_model *model = machine->model;
  const struct sb_sensor *sensor = &model->control.sensor;
  if (!(sensor->resolution_fraction > 0.0) || sensor->supply.is_present) return;
  const bool is_counted = sensor->pulses.window_s > 0.0;
  const double count = sb_sensor_count_fraction(sensor), reach = is_counted ? 0.0 : 0.5;
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const double down = sb_sensor_down_count(sensor, model->control.downshift_fraction[p]);
    const double up = sb_sensor_up_count(sensor, model->control.upshift_fraction[p]);
    const double downshift = (down - reach) * count, upshift = (up + reach) * count;
    const bool has_band = sb_steady_load_nm(model, &machine->line, p + 1, downshift) <
                          sb_steady_load_nm(model, &machine->line, p, upshift);
    if (has_band == machine->form.pairs[p].has_band) continue;
    sb_check_remark(notes, "controller", p,
                    "controller: with its reading %s %.4g %% the box shifts down at %.4g %% and up at %.4g %%: there "
                    "%s a hunting band between %s and %s. %s the box closer to its thresholds.",
                    is_counted ? "in pulses of" : "rounded to", 100.0 * count, 100.0 * downshift, 100.0 * upshift,
                    has_band ? "is then" : "is then no longer", model->gearbox.gears[p].name,
                    model->gearbox.gears[p + 1].name,
                    is_counted ? "More pulses in the window bring" : "A finer controller.resolution brings");
  }
}

/* What `prove` says; nothing where a simulation of it fails. */
static enum sb_status note_proof(const struct sb_model *model, struct sb_check_remarks *notes, struct sb_error *err)
{
  struct sb_prove prove;
  const enum sb_status status = sb_prove_solve_quickly(model, &prove, err);
  if (status != SB_OK) return status == SB_ERR_MEMORY ? status : SB_OK;
  const struct sb_prove_line line = sb_prove_line(&prove);
  if (line.text[0] != 0) sb_check_remark(notes, "proof", -1, "%s", line.text);
  return SB_OK;
}

enum sb_status sb_check_find_notes(const struct sb_check_machine *machine, struct sb_check *check, struct sb_error *err)
{
  struct sb_check_remarks *notes = &check->notes;
  note_motor(machine->model, notes);
  note_limit(machine, notes);
  note_shifter(machine, notes);
  sb_check_note_locking(machine, notes);
  note_rounding(machine, notes);
  note_bodies(machine->model, notes);
  note_limits(&check->limit, notes);
  note_battery(machine->model, notes);
  note_magnet(machine->model, notes);
  note_run(machine->model, notes);
  return note_proof(machine->model, notes, err);
}

/* Cautions --------------------------------------------------------------------------------------------------------------- */

static void caution_loads(const struct sb_check_machine *machine, const struct sb_check_load *load,
                          struct sb_check_remarks *cautions)
{
  const double stall_nm = machine->form.gears[0].stall_torque_nm;
  if (sb_caution_has_acting_load(&machine->model->load)) {
    sb_check_remark(cautions, "acting load", -1, "%s", sb_caution_text(SB_CAUTION_HOIST));
  }
  if (load->holding_brake_nm > 0.0 && !load->is_held) {
    sb_check_remark(
        cautions, "holding brake", -1,
        "the holding brake of %s N.m does not hold the load, which needs %s N.m in addition to the drum's "
        "friction: it slips in every shift and whenever the drive is off. A greater holding_brake of the hoist "
        "cures that.",
        NUM(load->holding_brake_nm), NUM(load->suspended_nm));
  }
  if (load->heaviest_nm > stall_nm) {
    sb_check_remark(cautions, "stall", -1,
                    "the heaviest load, %s N.m, is above the stall torque of %s, %s N.m: no gear moves it, and %s",
                    NUM(load->heaviest_nm), machine->model->gearbox.gears[0].name, NUM(stall_nm),
                    sb_caution_text(SB_CAUTION_STALL));
  }
}

static void caution_strength(const struct sb_check *check, struct sb_check_remarks *cautions)
{
  const struct sb_check_case *nominal = &check->cases[SB_CHECK_NOMINAL];
  double greatest_nm = 0.0;
  for (int g = 0; g < nominal->gear_count; g++) {
    greatest_nm = fmax(greatest_nm, nominal->gears[g].figures.stall_torque_nm);
  }
  if (check->limit.is_exceeded) {
    sb_check_remark(cautions, "overload", -1,
                    "at stall the motor applies %s N.m to an output that withstands %s N.m: %s", NUM(greatest_nm),
                    NUM(check->limit.torque_nm), sb_caution_text(SB_CAUTION_BREAK));
  }
  if (check->shaft.is_limit_exceeded) {
    sb_check_remark(cautions, "overload", -1,
                    "a shock in %s alone applies %s N.m to an output that withstands %s N.m: %s",
                    nominal->gears[check->shaft.greatest_gear].name, NUM(check->shaft.greatest_shock_nm),
                    NUM(check->limit.torque_nm), sb_caution_text(SB_CAUTION_BREAK));
  }
}

/* A blocked motor that gets too hot before any cut-out opens. */
static void caution_heat(const struct sb_model *model, const struct sb_check_heat *heat,
                         struct sb_check_remarks *cautions)
{
  const bool is_limited = isfinite(heat->limit_c);
  const double limit_c = is_limited ? heat->limit_c : INSULATION_ENDS_C;
  if (!heat->is_present || heat->cut_out_c <= limit_c) return;
  const char *risk = sb_caution_text(SB_CAUTION_HEAT);
  const double steady_c = heat->burdens[0].steady_winding_c;
  const double time_s = sb_warmth_reached(model, SB_WARMTH_BLOCKED, 0.0, limit_c).time_s;
  if (!is_limited && isinf(steady_c)) {
    sb_check_remark(cautions, "overheated", -1, "with its shaft blocked the winding burns: %s", risk);
  } else if (isfinite(time_s)) {
    sb_check_remark(cautions, "overheated", -1, "with its shaft blocked the winding exceeds %.4g C after %.3g s: %s",
                    limit_c, time_s, risk);
  } else if (steady_c > limit_c) {
    sb_check_remark(cautions, "overheated", -1,
                    "with its shaft blocked the winding reaches a steady %.4g C, above %.4g C: %s", steady_c, limit_c,
                    risk);
  }
}

void sb_check_find_cautions(const struct sb_check_machine *machine, struct sb_check *check)
{
  struct sb_check_remarks *cautions = &check->cautions;
  caution_loads(machine, &check->load, cautions);
  if (check->battery.is_present) {
    sb_check_remark(cautions, "battery", -1, "%s", sb_caution_of_battery(&machine->model->battery));
  }
  caution_strength(check, cautions);
  caution_heat(machine->model, &check->heat, cautions);
}
