// SPDX-License-Identifier: GPL-3.0-or-later
/* explain_limits.c - verdicts of the machine: what motor, parts, wheels and supply cannot do or withstand. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/constants.h"
#include "run/explain.h"
#include "theory/torque_balance.h"

/* Rounded up to three digits, so that what is advised is enough. */
static double round_up(double value)
{
  const double scale = pow(10.0, 2.0 - floor(log10(value)));
  return ceil(value * scale) / scale;
}

/* A value to be reached at least, with its unit. */
static void cure_at_least(struct sb_explaining *to, const char *key, double value, const char *unit)
{
  char text[SB_CURE_SIZE];
  snprintf(text, sizeof text, "%.6g %s", round_up(value), unit);
  sb_explain_cure(to, key, "at least", text);
}

/* More voltage or a greater reduction moves the load; the slowest gear has the greatest. */
static void cure_stall(struct sb_explaining *to, double load_nm, double needed_nm)
{
  const int gear = to->verdict->gear;
  const struct sb_gear_figures *figures = &to->closed->gears[gear - 1], *slowest = &to->closed->gears[0];
  const double clutch_nm = sb_shifter_clutch_nm(&to->model->shifter);
  const bool is_clutch_weak = clutch_nm > 0.0 && clutch_nm < needed_nm;
  const bool has_voltage = !to->model->battery.is_present && isfinite(figures->least_voltage_v) && !is_clutch_weak;
  char key[SB_CURE_SIZE];
  if (has_voltage) cure_at_least(to, "supply.open_circuit_voltage", figures->least_voltage_v, "V");
  if (figures->stall_torque_nm > 0.0) {
    sb_explain_say(to, "%s use a reduction of at least %.3g (now %.4g)", has_voltage ? ", or" : ";",
                   round_up(figures->ratio * load_nm / figures->stall_torque_nm), figures->ratio);
  }
  if (slowest->stall_torque_nm > load_nm) {
    sb_explain_say(to, "; %s moves up to %.3g N.m", sb_explain_gear(to, 1), slowest->stall_torque_nm);
  }
  snprintf(key, sizeof key, "gearbox.gears.%d.meshes", gear);
  sb_explain_cure(to, key, NULL, NULL);
}

/* What rests: the load, or where a log does not show it the heaviest one that the scenario has. */
static double say_resting_load(struct sb_explaining *to)
{
  if (!isnan(to->verdict->greatest_nm)) {
    sb_explain_load(to);
    return to->verdict->greatest_nm;
  }
  const double load_nm = to->closed->heaviest_load_nm;
  sb_explain_say(to, "the heaviest load of the scenario, %.3g N.m,", load_nm);
  return load_nm;
}

/* The torque at the motor's shaft that a load needs. */
static double needed_of_motor_nm(const struct sb_explaining *to, double load_nm)
{
  const struct sb_gear *gear = &to->model->gearbox.gears[to->verdict->gear - 1];
  return load_nm / (gear->ratio * gear->efficiency) + gear->drag_nm;
}

/* The motor would carry it, the clutch does not transmit it. */
static bool is_clutch_at_fault(const struct sb_explaining *to, double needed_nm)
{
  const double clutch_nm = sb_shifter_clutch_nm(&to->model->shifter);
  return clutch_nm > 0.0 && clutch_nm < needed_nm && needed_nm < to->closed->stall_torque_nm;
}

/* The motor would carry it, the driver lets too little current through. */
static bool is_limit_at_fault(const struct sb_explaining *to, double needed_nm)
{
  struct sb_model unlimited = *to->model;
  unlimited.supply.current_limit_a = 0.0;
  const struct sb_motor_line line = sb_torque_balance_line(to->model), free = sb_torque_balance_line(&unlimited);
  return sb_motor_stall_torque_nm(&line) < needed_nm && needed_nm < sb_motor_stall_torque_nm(&free);
}

/* The current that brings it. */
static void cure_limit(struct sb_explaining *to, double stall_nm, double needed_nm)
{
  const struct sb_motor *motor = &to->model->motor;
  sb_explain_say(to, " is more than the %.3g N.m that this gear can move with the current held at %.3g A", stall_nm,
                 to->model->supply.current_limit_a);
  cure_at_least(to, "drive.current_limit", (needed_nm + motor->friction_nm) / motor->kt_nm_a, "A");
}

void sb_explain_stall(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const double stall_nm = to->closed->gears[v->gear - 1].stall_torque_nm;
  sb_explain_say(to, "The output stalls in %s", sb_explain_gear(to, v->gear));
  sb_explain_duration(to);
  sb_explain_say(to, ": ");
  const double load_nm = say_resting_load(to);
  const double needed_nm = needed_of_motor_nm(to, load_nm);
  if (load_nm > stall_nm && is_clutch_at_fault(to, needed_nm)) {
    sb_explain_say(to, " is more than the %.3g N.m that the clutch transmits in this gear", stall_nm);
    cure_at_least(to, "gearbox.shifter.torque", needed_nm, "N.m");
  } else if (load_nm > stall_nm && is_limit_at_fault(to, needed_nm)) {
    cure_limit(to, stall_nm, needed_nm);
  } else if (load_nm > stall_nm) {
    sb_explain_say(to, " is more than the %.3g N.m that this gear can move", stall_nm);
    cure_stall(to, load_nm, needed_nm);
  } else {
    sb_explain_say(to,
                   " stays at rest although this gear can move %.3g N.m: the breakaway torque is greater, or the drive "
                   "gives less than its limit",
                   stall_nm);
    sb_explain_cure(to, "drive", NULL, NULL);
  }
}

void sb_explain_overload(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const char *part = to->model->output_limit;
  sb_explain_say(to, v->is_crest ? "The output is overloaded for an instant" : "The output is overloaded");
  sb_explain_duration(to);
  sb_explain_say(to, ": %.3g N.m exceeds the limit of %.3g N.m", v->greatest_nm, v->least_nm);
  if (part[0] != 0) sb_explain_say(to, " (%s)", part);
  sb_explain_say(
      to, v->is_crest ? "; a softer engagement or driveshaft lowers such a crest, or the weakest part must withstand it"
                      : "; the weakest part must withstand that much, or the torque must become less");
  if (part[0] == 0) {
    cure_at_least(to, "limits.output_torque", v->greatest_nm, "N.m");
  } else {
    sb_explain_cure(to, "limits", NULL, NULL);
  }
}

/* The vehicle's place among the bodies, or -1. A load that has one contact with the ground has one vehicle. */
static int find_vehicle(const struct sb_model *model)
{
  for (int i = 0; i < model->body_count; i++) {
    if (sb_body_as_vehicle(&model->bodies[i]) != NULL) return i;
  }
  return -1;
}

/* What stands against the wheels, and the ballast that would help. */
static void cure_slipping(struct sb_explaining *to, int body, double wheel_radius_m)
{
  const double ballast_kg = sb_road_ballast_kg(&to->model->load.road, &to->verdict->need);
  char key[SB_CURE_SIZE];
  sb_explain_say(to, "; %.3g N are needed, so that ", to->verdict->need.whole_nm / wheel_radius_m);
  if (ballast_kg == 0.0) {
    sb_explain_say(
        to,
        "the ground carries the push, but wheels that are driven harder slip: a lower duty or a ramp keeps the grip");
    sb_explain_cure(to, "drive.ramp", NULL, NULL);
    return;
  }
  if (isfinite(ballast_kg)) {
    sb_explain_say(to, "more than %.3g kg of ballast on the driven wheels would help", ballast_kg);
  } else {
    sb_explain_say(to, "no ballast would help, because it adds more resistance than friction");
  }
  snprintf(key, sizeof key, "load.bodies.%d.mass", body + 1);
  sb_explain_cure(to, key, NULL, NULL);
}

void sb_explain_slipping(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const struct sb_road *road = &to->model->load.road;
  const int body = find_vehicle(to->model);
  sb_explain_say(to, "The wheels slip");
  sb_explain_duration(to);
  if (body < 0) return;
  const double radius_m = to->model->bodies[body].as.vehicle.wheel_radius_m;
  const bool has_need = v->need.whole_nm > 0.0;
  const double press_n = (has_need ? v->need.press_nm : sb_road_press_nm(road, 0.0, +1)) / radius_m;
  sb_explain_say(to, ": the ground takes a push of at most %.3g N", road->static_friction_ratio * press_n);
  if (road->kinetic_friction_ratio < road->static_friction_ratio) {
    sb_explain_say(to, " (%.3g N once the wheels slip)", road->kinetic_friction_ratio * press_n);
  }
  sb_explain_say(to, ", and a lower gear pushes no harder");
  if (has_need) cure_slipping(to, body, radius_m);
}

void sb_explain_overheated(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  sb_explain_say(to, "The winding overheats");
  sb_explain_duration(to);
  sb_explain_say(to,
                 ": %.4g C exceeds the limit of %.4g C; less load, pauses, or a motor that gives off more heat keep it "
                 "cooler",
                 v->greatest_c, to->model->limits.winding_c);
  sb_explain_cure(to, "motor.winding", NULL, NULL);
}

void sb_explain_drive_cut(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  sb_explain_say(to, "The drive is cut at %.4g s", v->first_s);
  if (v->count == 2) sb_explain_say(to, " and once more");
  if (v->count > 2) sb_explain_say(to, " and %zu times more", v->count - 1);
  sb_explain_say(to, ", for %.3g s in all: ", v->duration_s);
  if (v->is_by_heat) {
    sb_explain_say(to,
                   "the winding reached the %.4g C at which its thermal switch opens; less load, pauses, or a motor "
                   "that gives off more heat keep it cooler",
                   to->model->winding.cut_out_c);
    sb_explain_cure(to, "motor.winding", NULL, NULL);
  }
  if (v->is_by_heat && v->is_by_battery) sb_explain_say(to, "; and ");
  if (v->is_by_battery) {
    sb_explain_say(to,
                   "the battery is empty, or its voltage under load fell below its cut-off of %.3g V; a fuller or a "
                   "larger battery lasts longer",
                   to->model->battery.cutoff_v);
    sb_explain_cure(to, "supply.battery.charge", NULL, NULL);
    sb_explain_cure(to, "supply.battery.capacity", NULL, NULL);
  }
}

void sb_explain_reversed(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  char key[SB_CURE_SIZE];
  sb_explain_say(to, "%s turns the output against the other gears", sb_explain_gear(to, v->gear));
  sb_explain_duration(to);
  sb_explain_say(to, ": the machine then goes backwards; one idler more or less, or the other direction of the motor, "
                     "turns it round");
  snprintf(key, sizeof key, "gearbox.gears.%d.meshes", v->gear);
  sb_explain_cure(to, key, NULL, NULL);
  snprintf(key, sizeof key, "gearbox.gears.%d.motor_direction", v->gear);
  sb_explain_cure(to, key, NULL, NULL);
}

/* The first hoist among the bodies, or -1. */
static int find_drum(const struct sb_model *model)
{
  for (int i = 0; i < model->body_count; i++) {
    if (sb_body_radius_m(&model->bodies[i]) > 0.0 && sb_body_as_vehicle(&model->bodies[i]) == NULL) return i;
  }
  return -1;
}

void sb_explain_runs_back(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const int drum = find_drum(to->model);
  char key[SB_CURE_SIZE];
  sb_explain_say(to, "The output runs back at %.4g s, by %.3g turns within %.3g s: the limit is %.3g turns", v->first_s,
                 v->found / SB_TURN, v->duration_s, v->limit / SB_TURN);
  sb_explain_say(to, "; nothing holds the load in neutral or while the motor is too weak");
  if (drum >= 0) {
    snprintf(key, sizeof key, "load.bodies.%d.holding_brake", drum + 1);
    cure_at_least(to, key, fmax(fabs(to->closed->heaviest_load_nm), fabs(to->closed->lightest_load_nm)), "N.m");
    return;
  }
  sb_explain_say(to, ": a brake, or gears that cannot be driven backwards, hold it");
  sb_explain_cure(to, "gearbox.back_efficiency", NULL, NULL);
}

void sb_explain_overspeed(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const struct sb_drive *drive = &to->model->drive;
  sb_explain_say(to, "The motor is too fast");
  sb_explain_duration(to);
  sb_explain_say(to, ": %.4g rpm exceeds the limit of %.4g rpm; the load drives it", v->found / SB_RPM,
                 v->limit / SB_RPM);
  if (drive->off == SB_OFF_COAST && sb_drive_is_moving(drive)) {
    sb_explain_say(to, ", and a motor that coasts does not hold it back");
    sb_explain_cure(to, "drive.when_off", NULL, "brake");
  }
  cure_at_least(to, "limits.motor_speed", v->found / SB_RPM, "rpm");
}

void sb_explain_clutch_slips(struct sb_explaining *to)
{
  const struct sb_verdict *v = to->verdict;
  const bool is_speed_read = to->model->control.sensor.quantity == SB_SENSES_SPEED && to->model->gearbox.gear_count > 1;
  sb_explain_say(to, "The clutch slips");
  sb_explain_duration(to);
  sb_explain_say(to, ": it transmits %.3g N.m and would have to transmit up to %.3g N.m", v->limit, v->found);
  if (v->lost_j > 0.0) sb_explain_say(to, "; %.3g J have become heat in it", v->lost_j);
  if (is_speed_read) {
    sb_explain_say(
        to,
        ". The motor keeps the speed at which it gives this torque, so a controller that reads speed does not see how "
        "great the load is");
  }
  cure_at_least(to, "gearbox.shifter.torque", v->found, "N.m");
}
