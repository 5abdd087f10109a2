// SPDX-License-Identifier: GPL-3.0-or-later
/* vehicle_oracle.c - see way_oracle.h. */
#include "oracle/vehicle_oracle.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>
#include <string.h>

#include "oracle/direct_motor.h"

enum { MOTOR, WHEEL, VEHICLE, WAY, RUBBED, DIMENSION }; /* rad/s, rad/s, rad/s, rad, J */

struct way {
  const struct sb_model *model;
  const struct sb_vehicle *vehicle;
  struct way_result *result;
  gsl_odeiv2_driver *driver;
  gsl_odeiv2_system system;
  double time_s, y[DIMENSION];
  int gear;
  bool in_mesh, is_slipping, is_driving, is_finished;
  int motor_sign, wheel_sign, vehicle_sign, lead; /* of speeds, or of a start from rest */
  int met;
  bool is_pushing;     /* all that were met stand at the bumper */
  bool is_sliding_off; /* they would run ahead by themselves */
  size_t passed;       /* points of the grade behind the vehicle */
  double left_rad;
  double engage_s;
};

/* The machine's figures -------------------------------------------------------------------------------------------------- */

static double electric_nm(const struct way *o, double w)
{
  if (!o->in_mesh && o->model->shifter.is_drive_cut) return 0.0;
  return direct_motor_nm(o->model, o->model->drive.limit_fraction, w);
}

/* Brushes, and in mesh the drag. */
static double loss_nm(const struct way *o)
{
  const struct sb_motor *m = &o->model->motor;
  return direct_motor_kt(m) * m->no_load_current_a + (o->in_mesh ? o->model->gearbox.gears[o->gear].drag_nm : 0.0);
}

static double ratio(const struct way *o)
{
  const struct sb_mesh *mesh = &o->model->gearbox.gears[o->gear].meshes[0];
  return mesh->driven_teeth / mesh->driver_teeth;
}

static double inverse_efficiency(const struct way *o)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  return o->is_driving ? 1.0 / gear->meshes[0].efficiency : gear->back_efficiency;
}

static double point_rad(const struct way *o, size_t i)
{
  return o->vehicle->grade.x[i] / o->vehicle->wheel_radius_m;
}

/* On the line between the points around the vehicle, wherever the place is. */
static double tilt(const struct way *o, double way_rad)
{
  const struct sb_table *grade = &o->vehicle->grade;
  const size_t k = o->passed;
  if (grade->count == 0) return atan(o->vehicle->grade_fraction);
  if (k == 0 || k == grade->count) return atan(grade->y[k == 0 ? 0 : k - 1]);
  const double from_m = grade->x[k - 1], slope = (grade->y[k] - grade->y[k - 1]) / (grade->x[k] - from_m);
  return atan(grade->y[k - 1] + slope * (way_rad * o->vehicle->wheel_radius_m - from_m));
}

static double weight_nm(const struct way *o)
{
  return o->vehicle->mass_kg * o->vehicle->gravity_m_s2 * o->vehicle->wheel_radius_m;
}

static double grip_nm(const struct way *o, double way_rad, bool is_sliding)
{
  const double friction = is_sliding ? o->vehicle->kinetic_friction_ratio : o->vehicle->static_friction_ratio;
  return friction * o->vehicle->driven_share * weight_nm(o) * cos(tilt(o, way_rad));
}

static double body_nm(const struct way *o, double way_rad, int i, bool at_rest)
{
  const struct sb_vehicle_obstacle *body = &o->vehicle->obstacles[i];
  const double friction =
      at_rest ? fmax(body->static_friction_ratio, body->kinetic_friction_ratio) : body->kinetic_friction_ratio;
  return (friction * cos(tilt(o, way_rad)) + sin(tilt(o, way_rad))) * body->mass_kg * o->vehicle->gravity_m_s2 *
         o->vehicle->wheel_radius_m;
}

static double body_inertia(const struct way *o, int i)
{
  return o->vehicle->obstacles[i].mass_kg * pow(o->vehicle->wheel_radius_m, 2);
}

static double vehicle_inertia(const struct way *o)
{
  double sum = o->vehicle->mass_kg * pow(o->vehicle->wheel_radius_m, 2);
  for (int i = 0; i < o->met && o->is_pushing; i++) sum += body_inertia(o, i);
  return sum;
}

static double wheel_inertia(const struct way *o)
{
  return o->model->load.inertia_kg_m2 - o->vehicle->mass_kg * pow(o->vehicle->wheel_radius_m, 2);
}

/* All bodies at the bumper; below zero they would slide off. */
static double bodies_nm(const struct way *o, double way_rad, bool at_rest)
{
  double sum = 0.0;
  for (int i = 0; i < o->met && o->is_pushing; i++) sum += body_nm(o, way_rad, i, at_rest);
  return sum;
}

/* Against the vehicle that moves, or is tried to be moved from rest, in a sense. */
static double road_nm(const struct way *o, double way_rad, double v, int sign, bool at_rest)
{
  const struct sb_vehicle *body = o->vehicle;
  const double r = body->wheel_radius_m, angle = tilt(o, way_rad);
  double sum = weight_nm(o) * (sin(angle) + sign * body->rolling_resistance_ratio * cos(angle));
  if (sign > 0 && at_rest) sum += fmax(0.0, bodies_nm(o, way_rad, true));
  if (sign > 0 && !at_rest && !o->is_sliding_off) sum += bodies_nm(o, way_rad, false);
  return sum + 0.5 * body->air_density_kg_m3 * body->drag_area_m2 * r * r * r * v * fabs(v);
}

/* Motion ----------------------------------------------------------------------------------------------------------------- */

static double traction_nm(const struct way *o, double way_rad)
{
  return o->lead * grip_nm(o, way_rad, true);
}

/* What opposes the wheels, and their inertia with all that they carry. */
static double wheel_load_nm(const struct way *o, const double y[])
{
  return o->is_slipping ? traction_nm(o, y[WAY]) : road_nm(o, y[WAY], y[WHEEL], o->wheel_sign, false);
}

static double carried_inertia(const struct way *o)
{
  return wheel_inertia(o) + (o->is_slipping ? 0.0 : vehicle_inertia(o));
}

/* In mesh: > 0 the motor drives. */
static double power_nm(const struct way *o, const double y[])
{
  const double motor_nm = electric_nm(o, y[MOTOR]) - o->motor_sign * loss_nm(o);
  const double inertia = carried_inertia(o) / ratio(o);
  return o->motor_sign * (motor_nm * inertia + o->model->motor.rotor_inertia_kg_m2 * wheel_load_nm(o, y));
}

static double wheel_rate(const struct way *o, const double y[])
{
  const double load_nm = wheel_load_nm(o, y), inertia = carried_inertia(o), n = ratio(o);
  if (o->wheel_sign == 0) return 0.0;
  if (!o->in_mesh) return -load_nm / inertia;
  const double motor_nm = electric_nm(o, y[MOTOR]) - o->motor_sign * loss_nm(o), inv = inverse_efficiency(o);
  return (motor_nm - load_nm / n * inv) / (o->model->motor.rotor_inertia_kg_m2 + inertia / (n * n) * inv) / n;
}

static int rates(double t, const double y[], double dy[], void *context)
{
  const struct way *o = context;
  (void)t;
  dy[WHEEL] = wheel_rate(o, y);
  dy[MOTOR] = o->in_mesh ? ratio(o) * dy[WHEEL] : 0.0;
  if (!o->in_mesh && o->motor_sign != 0) {
    dy[MOTOR] = (electric_nm(o, y[MOTOR]) - o->motor_sign * loss_nm(o)) / o->model->motor.rotor_inertia_kg_m2;
  }
  dy[VEHICLE] = dy[WHEEL];
  if (o->is_slipping) {
    const double push_nm = traction_nm(o, y[WAY]) - road_nm(o, y[WAY], y[VEHICLE], o->vehicle_sign, false);
    dy[VEHICLE] = o->vehicle_sign != 0 ? push_nm / vehicle_inertia(o) : 0.0;
  }
  dy[WAY] = y[VEHICLE];
  dy[RUBBED] = o->is_slipping ? traction_nm(o, y[WAY]) * (y[WHEEL] - y[VEHICLE]) : 0.0;
  return GSL_SUCCESS;
}

/* Torque that wheels which grip bring to the vehicle. */
static double contact_nm(const struct way *o, const double y[])
{
  return road_nm(o, y[WAY], y[VEHICLE], o->wheel_sign, false) + vehicle_inertia(o) * wheel_rate(o, y);
}

/* Settling --------------------------------------------------------------------------------------------------------------- */

static int sign_of(double value)
{
  return (value > 0.0) - (value < 0.0);
}

static void note(struct way *o, enum sb_event event)
{
  struct way_result *result = o->result;
  if (result->event_count < WAY_EVENT_MAX) result->events[result->event_count++] = (struct way_event){event, o->time_s};
}

/* The sense in which motor and wheels, at rest in mesh, start; 0: they stay. */
static int start_in_mesh(struct way *o)
{
  for (int sign = +1; sign >= -1; sign -= 2) {
    const double held_nm = road_nm(o, o->y[WAY], 0.0, sign, true), most_nm = grip_nm(o, o->y[WAY], false);
    const double load_nm = o->is_slipping                          ? traction_nm(o, o->y[WAY])
                           : o->vehicle->static_friction_ratio > 0 ? fmin(fmax(held_nm, -most_nm), most_nm)
                                                                   : held_nm;
    const double motor_nm = electric_nm(o, 0.0) - sign * loss_nm(o);
    o->motor_sign = o->wheel_sign = sign;
    const double reflected = carried_inertia(o) / ratio(o);
    o->is_driving = sign * (motor_nm * reflected + o->model->motor.rotor_inertia_kg_m2 * load_nm) >= 0.0;
    if (sign * (motor_nm - load_nm / ratio(o) * inverse_efficiency(o)) > 1e-12) return sign;
  }
  return 0;
}

/* The same of what nothing but the road and the contact act on. */
static int start_free(const struct way *o, double push_nm, bool is_vehicle)
{
  for (int sign = +1; sign >= -1; sign -= 2) {
    if (sign * (push_nm - (is_vehicle ? road_nm(o, o->y[WAY], 0.0, sign, true) : 0.0)) > 1e-12) return sign;
  }
  return 0;
}

static void settle_wheels(struct way *o)
{
  o->wheel_sign = sign_of(o->y[WHEEL]);
  if (o->in_mesh) {
    o->motor_sign = o->wheel_sign;
    if (o->wheel_sign == 0) o->motor_sign = o->wheel_sign = start_in_mesh(o);
    o->is_driving = o->wheel_sign == 0 || power_nm(o, o->y) >= 0.0;
    return;
  }
  o->motor_sign = sign_of(o->y[MOTOR]);
  if (o->motor_sign == 0 && fabs(electric_nm(o, 0.0)) > loss_nm(o)) o->motor_sign = sign_of(electric_nm(o, 0.0));
  if (o->wheel_sign != 0) return;
  o->wheel_sign = o->is_slipping ? -o->lead : start_free(o, 0.0, true);
}

static void settle_vehicle(struct way *o)
{
  o->vehicle_sign = sign_of(o->y[VEHICLE]);
  if (o->vehicle_sign == 0) o->vehicle_sign = start_free(o, traction_nm(o, o->y[WAY]), true);
}

/* Whether wheels that grip are asked for too much; the lead that they then take. */
static int lets_go(struct way *o)
{
  if (o->vehicle->static_friction_ratio <= 0.0 || o->wheel_sign == 0) return 0;
  const double most_nm = grip_nm(o, o->y[WAY], false) * (1.0 + 1e-11);
  const double held_nm = road_nm(o, o->y[WAY], 0.0, o->wheel_sign, true);
  if (o->y[WHEEL] == 0.0 && o->wheel_sign * held_nm > most_nm) return o->wheel_sign;
  const double asked_nm = contact_nm(o, o->y);
  return fabs(asked_nm) > most_nm ? sign_of(asked_nm) : 0;
}

static void leave_bodies(struct way *o)
{
  const int sign = o->is_slipping ? o->vehicle_sign : o->wheel_sign;
  if (sign >= 0 || !o->is_pushing) return;
  o->is_pushing = false;
  o->left_rad = o->y[WAY];
  settle_wheels(o);
}

static void settle(struct way *o)
{
  const bool was_slipping = o->is_slipping;
  if (o->is_slipping && o->y[WHEEL] == o->y[VEHICLE]) o->is_slipping = false;
  if (o->is_slipping) o->lead = sign_of(o->y[WHEEL] - o->y[VEHICLE]);
  settle_wheels(o);
  const int lead = o->is_slipping ? 0 : lets_go(o);
  if (lead != 0) {
    const int started = o->wheel_sign;
    o->is_slipping = true;
    o->lead = lead;
    settle_wheels(o);
    if (o->y[WHEEL] == 0.0 && lead == started) o->wheel_sign = started;
  }
  if (o->is_slipping) settle_vehicle(o);
  leave_bodies(o);
  if (o->is_slipping != was_slipping) note(o, o->is_slipping ? SB_EVENT_SLIPPED : SB_EVENT_GRIPPED);
}

/* Events ----------------------------------------------------------------------------------------------------------------- */

enum watch {
  WHEEL_STOPS,
  POWER,
  ASKED,
  LEAD,
  VEHICLE_STOPS,
  MOTOR_STOPS,
  BODY,
  LEFT,
  POINT_AHEAD,
  POINT_BEHIND,
  SLIDE,
  FINISH,
  WATCH_COUNT
};

/* Above zero until it happens; INFINITY: can't. */
static double until(const struct way *o, enum watch watch, const double y[])
{
  const bool grips = !o->is_slipping;
  switch (watch) {
    case WHEEL_STOPS: return o->wheel_sign != 0 ? o->wheel_sign * y[WHEEL] : INFINITY;
    case POWER:
      return o->in_mesh && o->wheel_sign != 0 ? (o->is_driving ? 1.0 : -1.0) * power_nm(o, y) + 1e-13 : INFINITY;
    case ASKED:
      if (!grips || o->vehicle->static_friction_ratio <= 0.0 || o->wheel_sign == 0) return INFINITY;
      return grip_nm(o, y[WAY], false) * (1.0 + 2e-11) - fabs(contact_nm(o, y));
    case LEAD: return grips ? INFINITY : o->lead * (y[WHEEL] - y[VEHICLE]);
    case VEHICLE_STOPS: return grips || o->vehicle_sign == 0 ? INFINITY : o->vehicle_sign * y[VEHICLE];
    case MOTOR_STOPS: return !o->in_mesh && o->motor_sign != 0 ? o->motor_sign * y[MOTOR] : INFINITY;
    case BODY:
      return o->met < o->vehicle->obstacle_count
                 ? o->vehicle->obstacles[o->met].distance_m / o->vehicle->wheel_radius_m - y[WAY]
                 : INFINITY;
    case POINT_AHEAD: return o->passed < o->vehicle->grade.count ? point_rad(o, o->passed) - y[WAY] : INFINITY;
    case POINT_BEHIND: return o->passed > 0 && y[VEHICLE] < 0.0 ? y[WAY] - point_rad(o, o->passed - 1) : INFINITY;
    case SLIDE:
      if (o->vehicle->grade.count == 0 || o->met == 0 || !o->is_pushing) return INFINITY;
      return (o->is_sliding_off ? -1.0 : 1.0) * bodies_nm(o, y[WAY], false);
    case LEFT: return o->met > 0 && !o->is_pushing && y[VEHICLE] > 0.0 ? o->left_rad - y[WAY] : INFINITY;
    default: return o->vehicle->finish_m > 0.0 ? o->vehicle->finish_m / o->vehicle->wheel_radius_m - y[WAY] : INFINITY;
  }
}

/* An inelastic meeting: of the vehicle alone where wheels can slip, else of all that it is joined to. */
static void strike(struct way *o, double body)
{
  double striking = vehicle_inertia(o);
  if (o->vehicle->static_friction_ratio <= 0.0) {
    striking += wheel_inertia(o);
    if (o->in_mesh) striking += o->model->motor.rotor_inertia_kg_m2 * pow(ratio(o), 2);
  }
  const double before = o->y[VEHICLE];
  o->y[VEHICLE] = before * striking / (striking + body);
  o->result->impact_j += 0.5 * (striking * before * before - (striking + body) * o->y[VEHICLE] * o->y[VEHICLE]);
  if (o->vehicle->static_friction_ratio > 0.0) {
    if (!o->is_slipping) note(o, SB_EVENT_SLIPPED);
    o->is_slipping = true;
    return;
  }
  o->y[WHEEL] = o->y[VEHICLE];
  if (o->in_mesh) o->y[MOTOR] = o->y[WHEEL] * ratio(o);
}

static void happen(struct way *o, enum watch watch)
{
  double met_inertia = 0.0;
  switch (watch) {
    case WHEEL_STOPS:
      o->y[WHEEL] = 0.0;
      if (o->in_mesh) o->y[MOTOR] = 0.0;
      if (!o->is_slipping) o->y[VEHICLE] = 0.0;
      break;
    case LEAD: o->y[VEHICLE] = o->y[WHEEL]; break;
    case VEHICLE_STOPS: o->y[VEHICLE] = 0.0; break;
    case MOTOR_STOPS: o->y[MOTOR] = 0.0; break;
    case BODY:
      strike(o, body_inertia(o, o->met));
      o->met++;
      o->is_pushing = true;
      o->is_sliding_off = bodies_nm(o, o->y[WAY], false) < 0.0;
      note(o, SB_EVENT_MET);
      break;
    case LEFT:
      for (int i = 0; i < o->met; i++) met_inertia += body_inertia(o, i);
      strike(o, met_inertia);
      o->is_pushing = true;
      o->is_sliding_off = bodies_nm(o, o->y[WAY], false) < 0.0;
      break;
    case POINT_AHEAD: o->passed++; break;
    case POINT_BEHIND: o->passed--; break;
    case SLIDE: o->is_sliding_off = !o->is_sliding_off; break;
    case FINISH:
      o->is_finished = true;
      note(o, SB_EVENT_FINISHED);
      return;
    default: break;
  }
  settle(o);
}

/* Into mesh: motor and wheels jolt, alone where the wheels can slip. */
static void join(struct way *o)
{
  const bool can_slip = o->vehicle->static_friction_ratio > 0.0;
  if (can_slip && !o->is_slipping) {
    note(o, SB_EVENT_SLIPPED);
    o->is_slipping = true;
  }
  const double n = ratio(o), jm = o->model->motor.rotor_inertia_kg_m2, jo = carried_inertia(o) / (n * n);
  const double slip = o->y[MOTOR] - n * o->y[WHEEL];
  o->result->joining_j += 0.5 * jm * jo / (jm + jo) * slip * slip;
  o->y[MOTOR] = (jm * o->y[MOTOR] + jo * n * o->y[WHEEL]) / (jm + jo);
  o->y[WHEEL] = o->y[MOTOR] / n;
  if (!o->is_slipping) o->y[VEHICLE] = o->y[WHEEL];
  o->in_mesh = true;
  o->engage_s = INFINITY;
  note(o, SB_EVENT_ENGAGED);
  settle(o);
}

static int move(const struct way *o, const double from[DIMENSION], double h, double to[DIMENSION])
{
  double t = 0.0;
  memcpy(to, from, DIMENSION * sizeof *to);
  if (h <= 0.0) return GSL_SUCCESS;
  gsl_odeiv2_driver_reset(o->driver);
  gsl_odeiv2_driver_reset_hstart(o->driver, h);
  return gsl_odeiv2_driver_apply(o->driver, &t, h, to);
}

/* A piece of the grid, up to the first event in it. */
static int advance(struct way *o, double to_s)
{
  const double h = to_s - o->time_s;
  double end[DIMENSION], first_s = INFINITY;
  enum watch first = WATCH_COUNT;
  if (move(o, o->y, h, end) != GSL_SUCCESS) return -1;
  for (enum watch watch = 0; watch < WATCH_COUNT; watch++) {
    if (!(until(o, watch, end) < 0.0)) continue;
    double low = 0.0, high = h, at[DIMENSION];
    while (high - low > 1e-15) {
      const double middle = 0.5 * (low + high);
      if (middle <= low || middle >= high) break;
      if (move(o, o->y, middle, at) != GSL_SUCCESS) return -1;
      if (until(o, watch, at) < 0.0) {
        high = middle;
      } else {
        low = middle;
      }
    }
    if (high < first_s) {
      first_s = high;
      first = watch;
    }
  }
  if (first == WATCH_COUNT) {
    memcpy(o->y, end, sizeof end);
    o->time_s = to_s;
    return 0;
  }
  if (move(o, o->y, first_s, end) != GSL_SUCCESS) return -1;
  memcpy(o->y, end, sizeof end);
  o->time_s += first_s;
  happen(o, first);
  return 0;
}

static int advance_to(struct way *o, double to_s)
{
  static const double grid_s = 2e-4;
  while (o->time_s < to_s && !o->is_finished) {
    const double next_s = fmin(fmin(to_s, o->engage_s), grid_s * (floor(o->time_s / grid_s + 1e-6) + 1.0));
    if (next_s > o->time_s && advance(o, next_s) != 0) return -1;
    if (o->time_s >= o->engage_s && !o->in_mesh) join(o);
  }
  return 0;
}

static void command(struct way *o, int gear)
{
  if (gear == o->gear || !o->in_mesh || o->is_finished) return;
  o->gear = gear;
  o->in_mesh = false;
  o->engage_s = o->time_s + o->model->shifter.travel_time_s;
  settle(o);
}

int way_run(const struct sb_model *model, int gear, const struct oracle_command *commands, size_t command_count,
            double end_s, struct way_result *result)
{
  memset(result, 0, sizeof *result);
  struct way o = {.model = model,
                  .vehicle = &model->bodies[0].as.vehicle,
                  .result = result,
                  .gear = gear,
                  .in_mesh = true,
                  .left_rad = INFINITY,
                  .engage_s = INFINITY};
  o.system = (gsl_odeiv2_system){rates, NULL, DIMENSION, &o};
  o.driver = gsl_odeiv2_driver_alloc_y_new(&o.system, gsl_odeiv2_step_rk8pd, 1e-4, 1e-13, 1e-13);
  if (o.driver == NULL) return -1;
  while (o.passed < o.vehicle->grade.count && o.vehicle->grade.x[o.passed] <= 0.0) o.passed++;
  settle(&o);
  int status = 0;
  for (size_t i = 0; i < command_count && status == 0; i++) {
    status = advance_to(&o, commands[i].time_s);
    command(&o, commands[i].gear);
  }
  if (status == 0) status = advance_to(&o, end_s);
  gsl_odeiv2_driver_free(o.driver);
  result->time_s = o.time_s;
  result->motor_rad_s = o.y[MOTOR];
  result->wheel_rad_s = o.y[WHEEL];
  result->vehicle_rad_s = o.y[VEHICLE];
  result->way_rad = o.y[WAY];
  result->slip_j = o.y[RUBBED];
  result->met_count = o.met;
  return status;
}
