// SPDX-License-Identifier: GPL-3.0-or-later
/* hazards.c - what closed forms foresee of the machine as a whole, whatever its thresholds: gears that reverse the output, loads
 * that run away or back, a clutch that is too weak. */
#include <math.h>

#include "base/constants.h"
#include "check/parts.h"
#include "theory/steady.h"

/* What acts on the output in neutral, and what holds against it there and with the drive off. */
struct holding {
  double least_nm, greatest_nm; /* that acts, > 0 against the forward direction */
  double hold_nm;               /* friction at its least, and the holding brake */
};

static struct holding holding_of(const struct sb_model *model)
{
  struct holding out = {.hold_nm = fmax(model->load.brake_nm, 0.0)};
  for (int i = 0; i < model->load.part_count; i++) {
    const struct sb_load_part *part = &model->load.parts[i];
    double least_nm, greatest_nm;
    part->ops->range_nm(part, &least_nm, &greatest_nm);
    if (part->is_resisting) out.hold_nm += fmax(least_nm, part->breakaway_nm);
  }
  sb_load_share_range_nm(&model->load, model->run.duration_s, SB_SHARE_ACTING, &out.least_nm, &out.greatest_nm);
  return out;
}

static void find_reversed(const struct sb_model *model, struct sb_check_remarks *findings)
{
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    if (!sb_gearbox_is_reversed(&model->gearbox, g)) continue;
    const char *name = model->gearbox.gears[g].name;
    sb_check_remark(findings, "reversed output", -1,
                    "Reversed output: %s turns the output against the other gears; one idler more or less in "
                    "gearbox.gears.%s.meshes cures that. The figures take the load as opposing each gear.",
                    name, name);
  }
}

/* In gear a load that helps drives the motor beyond its no-load speed. */
static void find_overspeed(const struct sb_check_machine *machine, struct sb_check_remarks *findings)
{
  const struct sb_model *model = machine->model;
  const double limit_rad_s = sb_model_motor_speed_limit_rad_s(model);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    const double speed_rad_s = machine->form.gears[g].lightest_speed_rad_s * gear->ratio;
    if (!(speed_rad_s > limit_rad_s)) continue;
    sb_check_remark(findings, "overspeed", -1,
                    "Overspeed: in %s the lightest load, %s N.m, takes the motor to %s rpm, above its limit of %s rpm.",
                    gear->name, NUM(machine->form.lightest_load_nm), NUM(speed_rad_s / SB_RPM),
                    NUM(limit_rad_s / SB_RPM));
  }
}

/* With the drive off and coasting only friction holds the motor. */
static void find_runaway(const struct sb_check_machine *machine, const struct holding *holding, struct sb_check *check)
{
  const struct sb_model *model = machine->model;
  const double pull_nm = fmax(fabs(holding->least_nm), fabs(holding->greatest_nm)) - holding->hold_nm;
  if (check->drive.is_brake_at_off || !check->drive.has_stop) return;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    const double motor_nm = pull_nm * gear->back_efficiency / gear->ratio;
    if (!(motor_nm > model->motor.friction_nm + gear->drag_nm)) continue;
    sb_check_remark(&check->findings, "overspeed", -1,
                    "Overspeed: at a stop in %s the load pulls with %s N.m and the motor coasts, so that only friction "
                    "limits its speed. Set drive.when_off to brake, or hold the load with a brake.",
                    gear->name, NUM(pull_nm));
  }
}

/* How far the output turns back during a time in neutral that it begins forward at a speed. */
static double back_rad(const struct sb_model *model, const struct holding *holding, double speed_rad_s, double time_s)
{
  const double inertia = sb_model_output_inertia_kg_m2(model, model->load.inertia_kg_m2);
  const double slowing = (holding->greatest_nm + holding->hold_nm) / inertia;
  const double pulling = (holding->greatest_nm - holding->hold_nm) / inertia;
  const double left_s = time_s - speed_rad_s / slowing;
  return pulling > 0.0 && left_s > 0.0 ? 0.5 * pulling * left_s * left_s : 0.0;
}

static void find_run_back(const struct sb_check_machine *machine, const struct holding *holding,
                          struct sb_check_remarks *findings)
{
  const struct sb_model *model = machine->model;
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    const struct sb_gear *fast = &model->gearbox.gears[p + 1];
    const double time_s = machine->form.pairs[p].downshift_time_s;
    const double downshift = model->control.downshift_fraction[p];
    const double speed_rad_s = sb_steady_point(model, &machine->line, downshift).speed_rad_s / fast->ratio;
    const double back = back_rad(model, holding, speed_rad_s, time_s);
    const double way_rad = machine->form.gears[p].heaviest_speed_rad_s * model->run.duration_s;
    const double limit_rad = sb_model_run_back_rad(model, way_rad);
    if (model->control.sensor.quantity != SB_SENSES_SPEED || !(back > limit_rad)) continue;
    sb_check_remark(findings, "runs back", p,
                    "Runs back: during a downshift from %s of %s s under the heaviest load the output turns back by %s "
                    "turns, more than the %s turns of its limit. A holding brake, or a faster shift, holds it.",
                    fast->name, NUM(time_s), NUM(back / SB_TURN), NUM(limit_rad / SB_TURN));
  }
}

/* Up to which load a gear is engaged: the slowest until the motor stalls, the others until the controller shifts down. */
static double working_nm(const struct sb_check_machine *machine, int gear)
{
  const struct sb_gear *path = &machine->model->gearbox.gears[gear];
  const double stall_nm = path->ratio * path->efficiency * (machine->form.stall_torque_nm - path->drag_nm);
  return gear == 0 ? stall_nm : fmin(stall_nm, machine->form.pairs[gear - 1].downshift_torque_nm);
}

static void find_weak_clutch(const struct sb_check_machine *machine, struct sb_check_remarks *findings)
{
  const struct sb_model *model = machine->model;
  const double clutch_nm = sb_shifter_clutch_nm(&model->shifter);
  if (!(clutch_nm > 0.0)) return;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    const double carried_nm = gear->ratio * gear->efficiency * (clutch_nm - gear->drag_nm);
    const double load_nm = fmin(machine->form.heaviest_load_nm, working_nm(machine, g));
    if (!(load_nm > carried_nm)) continue;
    struct sb_check_remark *remark = sb_check_remark(
        findings, "clutch slips", -1,
        "Clutch slips: in %s it carries a load of %s N.m, and this scenario has up to %s N.m. While it "
        "slips the motor keeps the speed at which it gives the clutch's torque, and a controller that reads "
        "speed does not see how great the load is.",
        gear->name, NUM(carried_nm), NUM(machine->form.heaviest_load_nm));
    sb_check_cure(remark, "gearbox.shifter.torque", "at least", "%.3g N.m",
                  1.005 * (load_nm / (gear->ratio * gear->efficiency) + gear->drag_nm));
  }
}

void sb_check_find_hazards(const struct sb_check_machine *machine, struct sb_check *check)
{
  const struct holding holding = holding_of(machine->model);
  find_reversed(machine->model, &check->findings);
  find_overspeed(machine, &check->findings);
  find_runaway(machine, &holding, check);
  find_run_back(machine, &holding, &check->findings);
  find_weak_clutch(machine, &check->findings);
  sb_check_find_locking(machine, check);
}
