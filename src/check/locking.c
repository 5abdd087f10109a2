// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * locking.c - gears that lock themselves: where a forward efficiency says so, what lowering takes, whether they jam.
 *
 * With the same friction at the teeth both ways eta_back = 2 - 1 / eta, below 0 under 50 %. Makers of drives call a gear locked
 * below 45 %, uncertain up to 55 %, free above: friction at rest and in motion differ (SEVA-tec, frequently asked questions on gearmotors, 2.1.3).
 */
#include <math.h>

#include "check/parts.h"
#include "theory/torque_balance.h"

static const double locks_below = 0.5, uncertain_from = 0.45, uncertain_to = 0.55;

static double auto_back(double efficiency)
{
  return 2.0 - 1.0 / efficiency;
}

static const char *name_of(const struct sb_check_machine *machine, int gear)
{
  return machine->model->gearbox.gears[gear].name;
}

/* What the scenario takes for the way back, where a reader might expect another figure. */
static void note_back_efficiency(const struct sb_check_machine *machine, int gear, struct sb_check_remarks *notes)
{
  const struct sb_gear_figures *figures = &machine->form.gears[gear];
  const double eta = figures->efficiency, back = figures->back_efficiency;
  if (eta < locks_below && back >= 0.0) {
    sb_check_remark(
        notes, "gearbox", -1,
        "gearbox: %s, %s efficient, locks itself if friction at its teeth is the same both ways: it would then pass back %s, "
        "and lowering a load would take motor torque. The scenario has %s for the way back; set "
        "gearbox.back_efficiency to auto for the same friction.",
        name_of(machine, gear), PCT(eta), PCT(auto_back(eta)), PCT(back));
  }
  if (eta >= uncertain_from && eta <= uncertain_to && back <= fmax(auto_back(eta), 0.0)) {
    sb_check_remark(
        notes, "gearbox", -1,
        "gearbox: whether %s, %s efficient, holds a load is uncertain: between 45 and 55 %% a gear that locks at "
        "rest may run on once it moves, or shakes. Hold the load with a brake.",
        name_of(machine, gear), PCT(eta));
  }
}

void sb_check_note_locking(const struct sb_check_machine *machine, struct sb_check_remarks *notes)
{
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) note_back_efficiency(machine, g, notes);
}

/* Reversed by its schedule the motor lowers what it lifts else. */
static double lowered_nm(const struct sb_check_machine *machine, const struct sb_check *check)
{
  return check->drive.has_reverse ? check->load.lowered_nm : -machine->form.lightest_load_nm;
}

static void find_held(const struct sb_check_machine *machine, const struct sb_check *check, int gear,
                      struct sb_check_remarks *findings)
{
  const struct sb_gear_figures *figures = &machine->form.gears[gear];
  const double load_nm = lowered_nm(machine, check);
  if (figures->back_efficiency >= 0.0 || !(load_nm > 0.0)) return;
  const double needed_nm = sb_torque_balance_motor_nm(machine->model, gear, -load_nm, 0.0);
  if (!(needed_nm >= machine->form.stall_torque_nm)) return;
  sb_check_remark(
      findings, "stall", -1,
      "Stall: %s locks itself, and lowering %s N.m takes %s N.m of the motor, which has %s N.m at stall: motor "
      "and load stay where they are.",
      name_of(machine, gear), NUM(load_nm), NUM(needed_nm), NUM(machine->form.stall_torque_nm));
}

static void find_jam(const struct sb_check_machine *machine, int gear, struct sb_check_remarks *findings)
{
  const struct sb_model *model = machine->model;
  const struct sb_gear_figures *figures = &machine->form.gears[gear];
  if (figures->back_efficiency >= 0.0 || figures->jam_inertia_kg_m2 > 0.0) return;
  const double output_rad_s = sb_motor_no_load_speed_rad_s(&machine->line) / figures->ratio;
  struct sb_check_remark *remark = sb_check_remark(
      findings, "jams", -1,
      "Jams: %s locks itself, and the output is too heavy for the motor to slow it down: as soon as the output would drive, "
      "both stop at once, with a shock of up to %s N.m.s at the output.",
      name_of(machine, gear), NUM(model->load.inertia_kg_m2 * output_rad_s));
  sb_check_cure(remark, "motor.rotor_inertia", "at least", "%.3g kg.m2",
                1.005 * (model->motor.rotor_inertia_kg_m2 - figures->jam_inertia_kg_m2));
}

void sb_check_find_locking(const struct sb_check_machine *machine, struct sb_check *check)
{
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) {
    find_held(machine, check, g, &check->findings);
    find_jam(machine, g, &check->findings);
  }
}

void sb_check_text_locking(const struct sb_check *check, FILE *out)
{
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  struct sb_text_table table;
  sb_text_table_init(&table, 4);
  sb_text_table_put(&table, "\tefficiency back\tmotor torque to lower %s N.m\twhen the output would drive",
                    NUM(check->load.lowered_nm));
  for (int g = 0; g < at->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->gears[g].figures;
    if (gear->back_efficiency >= 0.0) continue;
    sb_text_table_put(&table, "%s\t%s", at->gears[g].name, PCT(gear->back_efficiency));
    if (isnan(gear->lowering_torque_nm)) {
      sb_text_table_put(&table, "-");
    } else {
      sb_text_table_put(&table, "%s N.m of %s", NUM(gear->lowering_torque_nm), NUM(at->motor.stall_torque_nm));
    }
    sb_text_table_put(&table, at->gears[g].jams ? "it jams" : "it slows down");
  }
  if (table.cell_count == table.columns) return;
  fputs("\nGears that lock themselves\n", out);
  sb_text_table_write(&table, 2, out);
}
