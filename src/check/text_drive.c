// SPDX-License-Identifier: GPL-3.0-or-later
/* text_drive.c - drive, limit of the output torque, output shaft and vehicle. */
#include <math.h>

#include "base/constants.h"
#include "check/parts.h"

static const double rpm_per_rad_s = 30.0 / SB_PI;

/* Adds to a list of words: "a", "a, b". */
#define APPEND(list, ...) (sb_words_add(list, "%s", (list)->length > 0 ? ", " : ""), sb_words_add(list, __VA_ARGS__))

/* Drive ------------------------------------------------------------------------------------------------------------------ */

/* Up to which torque the speed stays at its target; where it never does; and where the loop is unstable. */
static void say_speed_control(const struct sb_check *check, FILE *out)
{
  const struct sb_check_drive *drive = &check->drive;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  struct sb_sentence held = {0}, beyond = {0}, unstable = {0};
  SAY("Speed control at %s rpm, %s of the motor's no-load speed: full duty at %s rpm below the target, an integral time of "
      "%s s, a new duty every %s s.",
      NUM(drive->target_rad_s * rpm_per_rad_s), PCT(drive->target_fraction),
      NUM(drive->proportional_band_rad_s * rpm_per_rad_s), NUM(drive->integral_time_s), NUM(drive->period_s));
  for (int g = 0; g < at->gear_count; g++) {
    const struct sb_check_gear *gear = &at->gears[g];
    if (gear->is_target_reached) {
      APPEND(&held, "up to %s N.m in %s", NUM(gear->figures.hidden_torque_nm), gear->name);
    } else {
      APPEND(&beyond, "%s", gear->name);
    }
    if (!gear->figures.is_stable) APPEND(&unstable, "%s", gear->name);
  }
  if (held.length > 0) {
    SAY("The speed stays at its target %s; above that the duty is at its limit of %s, and the speed falls.", held.text,
        SET(drive->limit_fraction));
  }
  if (beyond.length > 0) SAY("Under the lightest load the target is not reached in %s.", beyond.text);
  if (unstable.length > 0) {
    SAY("Speed control is unstable in %s: widen drive.proportional_band, lengthen drive.integral_time or shorten "
        "drive.period.",
        unstable.text);
  }
}

static void say_reading(const struct sb_check_drive *drive, FILE *out)
{
  if (drive->is_duty_read) {
    SAY("The reading is 100 %% less the duty: it falls as the load grows, down to %s where the duty is at its limit.",
        SET(1.0 - drive->limit_fraction));
  } else if (drive->is_current_read) {
    SAY("The reading is 100 %% less the current in percent of %s A: it falls as the load grows, and also where the load "
        "drives the motor.",
        NUM(drive->reference_a));
  } else if (drive->is_speed_controlled) {
    SAY("The reading is the speed, which does not show a load while speed control makes up for it: the box shifts down "
        "late, and up as soon as the speed is back. A reading of duty or current shows the load (controller.reading).");
  }
}

static void say_ramp_and_schedule(const struct sb_check_drive *drive, FILE *out)
{
  static const char *const words[] = {"reverse", "stop", "forward"};
  struct sb_sentence list = {0};
  if (drive->ramp_s > 0.0) {
    SAY("Ramp: the duty rises from 0 to 100 %% in %s s, so that each start takes up to that much longer than calculated "
        "below.",
        NUM(drive->ramp_s));
  }
  for (size_t k = 0; k < drive->schedule.count; k++) {
    APPEND(&list, "%s from %s s", words[1 + (int)drive->schedule.y[k]], NUM(drive->schedule.x[k]));
  }
  if (list.length == 0) return;
  SAY("Schedule: %s%s.", list.text,
      !drive->has_stop         ? ""
      : drive->is_brake_at_off ? "; while stopped, the motor brakes on its short circuit"
                               : "; while stopped, the motor coasts on an open circuit");
  if (drive->has_reverse) {
    SAY("The figures are those of going forward; in reverse a load that acts by itself helps instead.");
  }
}

void sb_check_text_drive(const struct sb_check *check, FILE *out)
{
  const struct sb_check_drive *drive = &check->drive;
  const bool has_pairs = check->cases[SB_CHECK_NOMINAL].gear_count > 1;
  if (drive->is_plain) return;
  fputs("\nDrive\n", out);
  if (drive->is_speed_controlled) say_speed_control(check, out);
  if (has_pairs) say_reading(drive, out);
  say_ramp_and_schedule(drive, out);
  if (drive->is_speed_controlled && has_pairs) {
    SAY("Dwell and start delay below are calculated at the limit of the duty; where speed control reduces the duty they are "
        "least values: allow some integral times more.");
  }
}

/* Limit of the output torque --------------------------------------------------------------------------------------------- */

void sb_check_text_limit(const struct sb_check *check, FILE *out)
{
  const struct sb_check_limit *limit = &check->limit;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  if (isinf(limit->torque_nm)) return;
  fputs("\nLimit of the output torque\n", out);
  if (limit->part != NULL) {
    SAY("The limit is %s N.m, the least of those given: %s.", NUM(limit->torque_nm), limit->part);
  } else {
    SAY("The limit is %s N.m, given as a torque.", NUM(limit->torque_nm));
  }
  for (int g = 0; g < at->gear_count; g++) {
    if (!at->gears[g].exceeds_limit) continue;
    SAY("%s reaches %s N.m at stall, which exceeds the limit.", at->gears[g].name,
        NUM(at->gears[g].figures.stall_torque_nm));
  }
  if (!limit->is_exceeded)
    SAY("No gear exceeds the limit at stall; the shock of an engagement or an impact still can.");
}

/* Output shaft ----------------------------------------------------------------------------------------------------------- */

static void put_shock(struct sb_text_table *table, const struct sb_check_gear *gear, const char *what,
                      const struct sb_check_shock *shock, bool is_rigid)
{
  if (!(fabs(shock->speed_difference_rad_s) > 0.0)) return;
  sb_text_table_put(table, "%s\t%s\t%s rad/s\t%s N.m.s", gear->name, what, NUM(fabs(shock->speed_difference_rad_s)),
                    NUM(shock->impulse_nms));
  if (is_rigid) return;
  sb_text_table_put(table, "%s N.m\t%s N.m", NUM(shock->peak_torque_nm), NUM(shock->undamped_peak_torque_nm));
}

static void write_shocks(const struct sb_check *check, FILE *out)
{
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  const bool is_rigid = check->shaft.is_rigid;
  struct sb_text_table table;
  sb_text_table_init(&table, is_rigid ? 4 : 6);
  sb_text_table_put(&table, "gear\tshock\tspeed difference\timpulse%s", is_rigid ? "" : "\tpeak torque\tundamped peak");
  for (int g = 0; g < at->gear_count; g++) {
    put_shock(&table, &at->gears[g], "engagement", &check->shaft.gears[g].engagement, is_rigid);
    put_shock(&table, &at->gears[g], "first body", &check->shaft.gears[g].impact, is_rigid);
  }
  if (table.cell_count > table.columns) sb_text_table_write(&table, 2, out);
}

static void say_shaft(const struct sb_check *check, FILE *out)
{
  const struct sb_check_shaft *shaft = &check->shaft;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  SAY("The shaft has a stiffness of %s N.m/rad, a damping of %s N.m.s/rad and a backlash of %s deg.",
      NUM(shaft->stiffness_nm_rad), NUM(shaft->damping_nms_rad), NUM(shaft->backlash_rad * 180.0 / SB_PI));
  for (int g = 0; g < at->gear_count; g++) {
    SAY("%s oscillates at %s Hz, damped by %s of the critical damping.", at->gears[g].name,
        NUM(shaft->gears[g].natural_frequency_rad_s / SB_TURN), PCT(shaft->gears[g].damping_ratio));
  }
}

static void say_whether_it_matters(const struct sb_check *check, FILE *out)
{
  const struct sb_check_shaft *shaft = &check->shaft;
  if (shaft->is_limit_exceeded) {
    SAY("The difference from a rigid driveline matters: a shock in %s alone exceeds the limit of %s N.m.",
        check->cases[SB_CHECK_NOMINAL].gears[shaft->greatest_gear].name, NUM(check->limit.torque_nm));
  } else if (shaft->is_relevant) {
    SAY("The difference from a rigid driveline matters: a shock alone reaches more than %s times the stall torque of its "
        "gear.",
        NUM(SB_CHECK_SHOCK_SHARE));
  } else {
    SAY("The difference from a rigid driveline matters little: no shock alone reaches %s times the stall torque of its gear "
        "or exceeds the limit.",
        NUM(SB_CHECK_SHOCK_SHARE));
  }
}

/* A rigid driveline: what it cannot show, and from which stiffness on that counts. */
static void say_rigid(const struct sb_check *check, FILE *out)
{
  const struct sb_check_shaft *shaft = &check->shaft;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  SAY("The shaft is assumed to be rigid, so that the torque of a shock is not known; gearbox.output_shaft gives it a stiffness.");
  SAY("That matters above %s N.m/rad, where a shock alone reaches %s times the stall torque of %s.",
      NUM(shaft->that_matters.nm_rad), NUM(SB_CHECK_SHOCK_SHARE), at->gears[shaft->that_matters.gear].name);
  if (isinf(shaft->at_limit.nm_rad)) return;
  SAY("Above %s N.m/rad the %s in %s alone exceeds the limit of %s N.m, undamped.", NUM(shaft->at_limit.nm_rad),
      shaft->at_limit.is_impact ? "impact" : "engagement", at->gears[shaft->at_limit.gear].name,
      NUM(check->limit.torque_nm));
}

void sb_check_text_shaft(const struct sb_check *check, FILE *out)
{
  const struct sb_check_shaft *shaft = &check->shaft;
  if (shaft->is_rigid && isinf(shaft->that_matters.nm_rad)) return;
  fputs("\nOutput shaft\n", out);
  if (!shaft->is_rigid) say_shaft(check, out);
  write_shocks(check, out);
  if (shaft->is_rigid) {
    say_rigid(check, out);
  } else {
    say_whether_it_matters(check, out);
  }
}

/* Vehicle ---------------------------------------------------------------------------------------------------------------- */

static void say_ground(const struct sb_check *check, FILE *out)
{
  const struct sb_check_vehicle *vehicle = &check->vehicle;
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  if (!vehicle->can_slip) {
    SAY("Without static_friction the wheels are assumed never to slip.");
    return;
  }
  SAY("The wheels push with at most %s N at the start (%s N.m at the output), and with %s N once they slip.",
      NUM(vehicle->carried_push_n), NUM(vehicle->carried_torque_nm), NUM(vehicle->slipping_push_n));
  for (int g = 0; g < at->gear_count; g++) {
    SAY(vehicle->is_slipping[g] ? "%s pushes up to %s N at stall: more than the ground allows, so that its wheels slip."
                                : "%s pushes up to %s N: it stalls before its wheels slip.",
        at->gears[g].name, NUM(vehicle->stall_push_n[g]));
  }
}

static void write_stages(const struct sb_check *check, FILE *out)
{
  static const char *const fates[] = {"goes", "stalls", "slips"};
  const struct sb_check_case *at = &check->cases[SB_CHECK_NOMINAL];
  struct sb_text_table table;
  sb_text_table_init(&table, 3 + at->gear_count);
  sb_text_table_put(&table, "\tfrom\tneeds");
  for (int g = 0; g < at->gear_count; g++) sb_text_table_put(&table, "%s", at->gears[g].name);
  for (int k = 0; k < check->vehicle.stage_count; k++) {
    const struct sb_check_stage *stage = &check->vehicle.stages[k];
    if (stage->is_steepest || stage->bodies == 0) {
      sb_text_table_put(&table, "%s", stage->is_steepest ? "steepest" : "alone");
    } else {
      sb_text_table_put(&table, "body %d", stage->bodies);
    }
    sb_text_table_put(&table, "%s m\t%s N", NUM(stage->distance_m), NUM(stage->need_n));
    for (int g = 0; g < at->gear_count; g++) sb_text_table_put(&table, "%s", fates[stage->fates[g]]);
  }
  sb_text_table_write(&table, 2, out);
}

void sb_check_text_vehicle(const struct sb_check *check, FILE *out)
{
  const struct sb_check_vehicle *vehicle = &check->vehicle;
  if (!vehicle->is_present) return;
  fputs("\nVehicle\n", out);
  say_ground(check, out);
  write_stages(check, out);
  if (isinf(vehicle->ballast_kg)) {
    SAY("No ballast lets the wheels transmit all of it: ballast adds more resistance than friction.");
  } else if (vehicle->ballast_kg > 0.0) {
    SAY("More than %s kg of ballast on the driven wheels lets them transmit all of it; another gear does not.",
        NUM(vehicle->ballast_kg));
  }
  if (!isnan(vehicle->end_m)) SAY("The run ends at %s m.", NUM(vehicle->end_m));
}
