// SPDX-License-Identifier: GPL-3.0-or-later
/* mix.c - see mix.h. */
#include "help/mix.h"
#include "help/dice.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "help/models.h"
#include "help/near.h"

const struct mix_chances mix_everything = {.vehicle = 0.7,
                                           .grip = 0.85,
                                           .obstacles = 0.7,
                                           .finish = 0.3,
                                           .hoist = 0.25,
                                           .rotor = 0.25,
                                           .battery = 0.35,
                                           .winding = 0.4,
                                           .hold = 0.25,
                                           .ramp = 0.25,
                                           .schedule = 0.4,
                                           .limit = 0.3,
                                           .shaft = 0.3,
                                           .backlash = 0.5,
                                           .magnet = 0.5};

static int pick(gsl_rng *rng, int count)
{
  return (int)gsl_rng_uniform_int(rng, (unsigned long)count);
}

/* What the fastest gear just carries, and its output speed without load. */
static double scale_nm(const struct sb_model *model)
{
  return model->motor.stall_torque_nm * model->gearbox.gears[model->gearbox.gear_count - 1].ratio;
}

static double scale_rad_s(const struct sb_model *model)
{
  return model->motor.no_load_speed_rad_s / model->gearbox.gears[model->gearbox.gear_count - 1].ratio;
}

static void lower(struct mix_case *out, const struct sb_body *body)
{
  struct sb_model *model = &out->plane.model;
  struct sb_error err = {SB_OK, ""};
  if (sb_body_room(body) > MIX_ROOM) fail_msg("a road of too many pieces");
  if (sb_body_lower(body, out->columns, &model->load, &err) != SB_OK) fail_msg("%s", err.text);
  model->bodies[model->body_count++] = *body;
}

/* Vehicles -------------------------------------------------------------------------------------------------------------- */

static void choose_grade(gsl_rng *rng, struct mix_case *out, struct sb_vehicle *vehicle, double way_m)
{
  if (plane_chance(rng, 0.3)) return;
  if (plane_chance(rng, 0.4)) {
    vehicle->grade_fraction = plane_between(rng, -0.1, 0.25);
    return;
  }
  double at_m = 0.0;
  size_t count = 0;
  while (count < MIX_GRADE_MAX) {
    out->grade_m[count] = at_m;
    out->grade[count++] = plane_between(rng, -0.1, 0.25);
    if (!plane_chance(rng, 0.2)) at_m += plane_between(rng, 0.05, 0.4) * way_m;
  }
  vehicle->grade = (struct sb_table){count, out->grade_m, out->grade};
}

static void choose_obstacles(gsl_rng *rng, struct sb_vehicle *vehicle, double way_m, double scale_n)
{
  double at_m = 0.0;
  vehicle->obstacle_count = 1 + pick(rng, 4);
  for (int i = 0; i < vehicle->obstacle_count; i++) {
    struct sb_vehicle_obstacle *body = &vehicle->obstacles[i];
    at_m += plane_between(rng, 0.03, 0.35) * way_m;
    body->distance_m = at_m;
    body->mass_kg = vehicle->mass_kg * plane_between_log(rng, 0.02, 0.8);
    body->kinetic_friction_ratio = plane_between(rng, 0.0, 0.7) * scale_n / (body->mass_kg * vehicle->gravity_m_s2);
    body->static_friction_ratio =
        body->kinetic_friction_ratio * (plane_chance(rng, 0.5) ? 1.0 : plane_between(rng, 1.0, 1.5));
  }
}

/* The vehicle takes over most of the load's inertia; its radius is such that what grips is about what gears bring. */
static void add_vehicle(gsl_rng *rng, const struct mix_chances *chances, struct mix_case *out)
{
  struct sb_model *model = &out->plane.model;
  struct sb_body body = {.ops = sb_body_kind_find("vehicle")};
  struct sb_vehicle *vehicle = &body.as.vehicle;
  const double inertia = model->load.inertia_kg_m2, share = plane_between_log(rng, 0.01, 0.3);
  const double grip_nm = scale_nm(model) * plane_between_log(rng, 0.2, 4.0);
  vehicle->gravity_m_s2 = 9.80665;
  vehicle->driven_share = plane_chance(rng, 0.5) ? 1.0 : plane_between(rng, 0.3, 1.0);
  const double static_friction_ratio = plane_between(rng, 0.2, 1.0);
  const double vehicle_inertia = (1.0 - share) * inertia;
  vehicle->wheel_radius_m =
      static_friction_ratio * vehicle->driven_share * vehicle_inertia * vehicle->gravity_m_s2 / grip_nm;
  vehicle->mass_kg = vehicle_inertia / (vehicle->wheel_radius_m * vehicle->wheel_radius_m);
  vehicle->wheel_inertia_kg_m2 = plane_chance(rng, 0.5) ? 0.2 * share * inertia : 0.0;
  model->load.inertia_kg_m2 = share * inertia - vehicle->wheel_inertia_kg_m2;
  vehicle->rolling_resistance_ratio = plane_chance(rng, 0.7) ? plane_between(rng, 0.0, 0.05) : 0.0;
  if (plane_chance(rng, chances->grip)) {
    vehicle->static_friction_ratio = static_friction_ratio;
    vehicle->kinetic_friction_ratio =
        static_friction_ratio * (plane_chance(rng, 0.3) ? 1.0 : plane_between(rng, 0.5, 1.0));
  }
  const double way_m = 0.3 * scale_rad_s(model) * model->run.duration_s * vehicle->wheel_radius_m;
  const double scale_n = scale_nm(model) / vehicle->wheel_radius_m;
  choose_grade(rng, out, vehicle, way_m);
  if (plane_chance(rng, chances->obstacles)) choose_obstacles(rng, vehicle, way_m, scale_n);
  if (plane_chance(rng, chances->finish)) vehicle->finish_m = plane_between(rng, 0.1, 0.8) * way_m;
  if (plane_chance(rng, 0.3)) {
    const double speed_m_s = scale_rad_s(model) * vehicle->wheel_radius_m;
    vehicle->air_density_kg_m3 = 1.2;
    vehicle->drag_area_m2 = plane_between(rng, 0.02, 0.3) * scale_n / (0.6 * speed_m_s * speed_m_s);
  }
  lower(out, &body);
}

static void add_hoist(gsl_rng *rng, struct mix_case *out)
{
  struct sb_model *model = &out->plane.model;
  struct sb_body body = {.ops = sb_body_kind_find("hoist")};
  struct sb_hoist *hoist = &body.as.hoist;
  const double torque_nm = plane_between(rng, 0.05, 0.4) * scale_nm(model);
  hoist->gravity_m_s2 = 9.80665;
  hoist->drum_radius_m = 0.5 * model->load.inertia_kg_m2 * hoist->gravity_m_s2 / torque_nm; /* half its inertia more */
  hoist->mass_kg = torque_nm / (hoist->gravity_m_s2 * hoist->drum_radius_m);
  hoist->counterweight_kg = plane_chance(rng, 0.3) ? plane_between(rng, 0.1, 1.2) * hoist->mass_kg : 0.0;
  hoist->friction_nm = plane_chance(rng, 0.5) ? 0.05 * torque_nm : 0.0;
  hoist->breakaway_nm = hoist->friction_nm * plane_between(rng, 1.0, 2.0);
  hoist->brake_nm = plane_chance(rng, 0.7) ? torque_nm * plane_between(rng, 0.3, 2.5) : 0.0;
  lower(out, &body);
}

static void add_rotor(gsl_rng *rng, struct mix_case *out)
{
  struct sb_model *model = &out->plane.model;
  struct sb_body body = {.ops = sb_body_kind_find("pump")};
  body.as.rotor.inertia_kg_m2 = plane_between(rng, 0.05, 0.5) * model->load.inertia_kg_m2;
  body.as.rotor.torque_nm = plane_between(rng, 0.05, 0.4) * scale_nm(model);
  body.as.rotor.speed_rad_s = scale_rad_s(model);
  body.as.rotor.static_nm = plane_chance(rng, 0.5) ? 0.3 * body.as.rotor.torque_nm : 0.0;
  lower(out, &body);
}

/* What feeds the motor -------------------------------------------------------------------------------------------------- */

static void need_currents(gsl_rng *rng, struct sb_model *model)
{
  if (model->motor.has_currents) return;
  const double stall_a = 1.05 * model->motor.stall_torque_nm * model->motor.no_load_speed_rad_s / 12.0;
  model_set_currents(model, stall_a, plane_between(rng, 0.01, 0.08) * stall_a, 0.0);
  model_finish(model);
}

/* Empty within a few runs at stall; some within one. */
static void add_battery(gsl_rng *rng, struct mix_case *out)
{
  static const double charges[MIX_CELL_MAX] = {0.0, 0.1, 0.6, 1.0}, volts[MIX_CELL_MAX] = {2.6, 3.4, 3.8, 4.2};
  struct sb_model *model = &out->plane.model;
  struct sb_battery *battery = &model->battery;
  need_currents(rng, model);
  memcpy(out->charge, charges, sizeof charges);
  memcpy(out->cell_v, volts, sizeof volts);
  *battery = (struct sb_battery){.is_present = true,
                                 .curve = {MIX_CELL_MAX, out->charge, out->cell_v},
                                 .series_count = 3,
                                 .charge_fraction = plane_between(rng, 0.2, 1.0),
                                 .cutoff_v = plane_chance(rng, 0.4) ? plane_between(rng, 6.0, 9.5) : 0.0};
  battery->capacity_as = model->motor.stall_current_a * model->run.duration_s * plane_between_log(rng, 0.2, 20.0);
  model->supply.open_circuit_voltage_v = sb_battery_voltage_v(battery, battery->charge_fraction);
}

/* Its capacity is such that a stall makes it hot within the run. */
static void add_winding(gsl_rng *rng, struct mix_case *out)
{
  struct sb_model *model = &out->plane.model;
  struct sb_winding *winding = &model->winding;
  need_currents(rng, model);
  const double stall_w = model->motor.nominal_voltage_v * model->motor.stall_current_a;
  *winding = (struct sb_winding){.is_present = true,
                                 .ambient_c = plane_between(rng, -10.0, 40.0),
                                 .reference_c = 20.0,
                                 .capacity_j_k = stall_w * model->run.duration_s / plane_between_log(rng, 50.0, 500.0),
                                 .resistance_k_w = plane_between(rng, 50.0, 500.0) / stall_w,
                                 .cut_out_c = INFINITY,
                                 .reset_c = NAN};
  winding->start_c = winding->housing_start_c = winding->ambient_c + plane_between(rng, 0.0, 40.0);
  if (plane_chance(rng, 0.5)) {
    winding->housing_capacity_j_k = winding->capacity_j_k * plane_between(rng, 2.0, 20.0);
    winding->housing_resistance_k_w = winding->resistance_k_w * plane_between(rng, 0.5, 3.0);
  }
  if (plane_chance(rng, 0.6)) {
    winding->cut_out_c = winding->start_c + plane_between(rng, 5.0, 60.0);
    winding->reset_c = winding->cut_out_c - plane_between(rng, 0.5, 4.0);
  }
  if (plane_chance(rng, 0.5)) model->limits.winding_c = winding->start_c + plane_between(rng, 5.0, 60.0);
}

static void choose_period(gsl_rng *rng, struct sb_model *model)
{
  const long long per_sample = sb_model_step_count(model->control.sample_period_s, model->run.step_s);
  static const int shares[] = {1, 2, 4, 5};
  const int share = shares[pick(rng, 4)];
  model->drive.period_s = model->run.step_s * (double)(per_sample % share == 0 ? per_sample / share : per_sample);
}

static void choose_drive(gsl_rng *rng, const struct mix_chances *chances, struct mix_case *out)
{
  struct sb_model *model = &out->plane.model;
  struct sb_drive *drive = &model->drive;
  if (plane_chance(rng, 0.2)) drive->limit_fraction = plane_between(rng, 0.5, 1.0);
  drive->off = plane_chance(rng, 0.5) ? SB_OFF_COAST : SB_OFF_BRAKE;
  if (plane_chance(rng, chances->ramp)) drive->ramp_s = plane_between(rng, 0.05, 1.0);
  if (plane_chance(rng, chances->hold)) {
    const double speed = model->motor.no_load_speed_rad_s;
    drive->mode = SB_DRIVE_SPEED_CONTROL;
    drive->target_rad_s = plane_between(rng, 0.3, 0.9) * speed;
    drive->gain_per_rad_s = plane_between(rng, 1.0, 10.0) / speed;
    drive->integral_per_rad = drive->gain_per_rad_s * plane_between(rng, 0.0, 5.0);
  }
  if (!plane_chance(rng, chances->schedule)) return;
  const int least = model->shifter.ops->is_direction_selected ? 0 : -1;
  const int count = 1 + pick(rng, MIX_COMMAND_MAX);
  double at_s = plane_chance(rng, 0.3) ? 0.0 : plane_between(rng, 0.1, 1.0);
  for (int i = 0; i < count; i++) {
    out->command_s[i] = at_s;
    out->command[i] = plane_chance(rng, 0.5) ? SB_COMMAND_FORWARD : least + pick(rng, 2 - least);
    at_s += plane_between(rng, 0.05, 1.0);
  }
  drive->schedule = (struct sb_table){(size_t)count, out->command_s, out->command};
}

/* A swing of 2 to 40 Hz in the slowest gear. */
static void add_shaft(gsl_rng *rng, const struct mix_chances *chances, struct sb_model *model)
{
  const struct sb_gear *slow = &model->gearbox.gears[0];
  const double motor = slow->ratio * slow->ratio * model->motor.rotor_inertia_kg_m2, load = model->load.inertia_kg_m2;
  const double reduced = motor * load / (motor + load), swing = 2.0 * model_pi * plane_between_log(rng, 2.0, 40.0);
  struct sb_driveshaft *shaft = &model->driveshaft;
  shaft->is_present = true;
  shaft->stiffness_nm_rad = reduced * swing * swing;
  shaft->damping_nms_rad = plane_chance(rng, 0.3) ? 0.0 : 2.0 * plane_between(rng, 0.01, 0.4) * reduced * swing;
  shaft->backlash_rad = plane_chance(rng, chances->backlash) ? plane_between_log(rng, 1e-3, 0.2) : 0.0;
}

/* Strong and weak ones, as strong as given at the temperature at which the winding's figures hold. */
static void add_magnet(gsl_rng *rng, struct sb_model *model)
{
  model->magnet = (struct sb_magnet){
      .is_present = true, .per_k = -plane_between_log(rng, 0.0002, 0.004), .reference_c = model->winding.reference_c};
}

void mix_random_case(gsl_rng *rng, const struct mix_chances *chances, struct mix_case *out)
{
  memset(out, 0, sizeof *out);
  plane_random_case(rng, &out->plane);
  struct sb_model *model = &out->plane.model;
  choose_period(rng, model);
  if (plane_chance(rng, chances->vehicle)) add_vehicle(rng, chances, out);
  if (plane_chance(rng, chances->hoist)) add_hoist(rng, out);
  if (plane_chance(rng, chances->rotor)) add_rotor(rng, out);
  if (plane_chance(rng, chances->battery)) add_battery(rng, out);
  if (plane_chance(rng, chances->winding)) add_winding(rng, out);
  choose_drive(rng, chances, out);
  if (plane_chance(rng, chances->shaft)) add_shaft(rng, chances, model);
  if (plane_chance(rng, 0.5)) model->limits.slip_time_s = plane_between_log(rng, 0.005, 0.3);
  if (model->winding.is_present && plane_chance(rng, chances->magnet)) add_magnet(rng, model);
  if (plane_chance(rng, chances->limit) && model->motor.has_currents) {
    model->supply.current_limit_a =
        model->motor.no_load_current_a + plane_between(rng, 0.1, 0.9) * model->motor.stall_current_a;
  }
}

void mix_seeded_case(unsigned long seed, struct mix_case *out)
{
  gsl_rng *rng = dice_of(seed);
  mix_random_case(rng, &mix_everything, out);
  gsl_rng_free(rng);
}

bool mix_is_wanted(unsigned long seed)
{
  const char *only = getenv("SHIFTBAND_TEST_CASE");
  return only == NULL || seed == strtoul(only, NULL, 10);
}
