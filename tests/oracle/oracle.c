// SPDX-License-Identifier: GPL-3.0-or-later
#include "oracle/oracle.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <gsl/gsl_roots.h>
#include <math.h>
#include <string.h>

#include "oracle/direct_motor.h"

static const double two_pi = 6.28318530717958647692;

enum { MOTOR, OUTPUT, ANGLE, TURNED, DIMENSION }; /* y[]: rad/s, rad/s, rad, rad */

enum link { IN_MESH, APART, RUBBING };

enum cause {
  CAUSE_NONE,
  CAUSE_STOP,
  CAUSE_POWER,
  CAUSE_CORNER,
  CAUSE_START_PLUS, /* motor, in mesh */
  CAUSE_START_MINUS,
  CAUSE_MOTOR_ZERO,
  CAUSE_OUTPUT_ZERO,
  CAUSE_OUTPUT_PLUS,
  CAUSE_OUTPUT_MINUS,
  CAUSE_TURNED,
  CAUSE_MET,
  CAUSE_CLUTCH_WEAK, /* in mesh */
  CAUSE_CLUTCH_PLUS, /* output, in mesh */
  CAUSE_CLUTCH_MINUS,
  CAUSE_COUNT
};

struct oracle {
  const struct sb_model *model;
  struct oracle_result *result;
  gsl_odeiv2_driver *driver;
  gsl_odeiv2_system system;
  double time_s;
  double y[DIMENSION];
  /* Fixed between events. */
  enum link link;
  int gear;
  int motor_direction, output_direction, slip_direction;
  bool is_driving, is_turned, is_shifting;
  bool was_standing, was_clutch_slipping; /* as told last */
  double command_s, engage_s;
  double piece_s;    /* the load's pieces over time are chosen here */
  double corner_rad; /* next corner over the angle */
};

/* Motor: winding, brushes and supply ------------------------------------------------------------------------------- */

static int drive_sign(const struct oracle *o)
{
  return o->model->gearbox.gears[o->gear].motor_direction;
}

static bool is_cut(const struct oracle *o)
{
  return o->link == APART && strcmp(o->model->shifter.ops->name, "selector") == 0 && o->model->shifter.is_drive_cut;
}

static double brush_friction(const struct oracle *o)
{
  return direct_motor_kt(&o->model->motor) * o->model->motor.no_load_current_a;
}

/* Before friction. */
static double electric_torque(const struct oracle *o, double w)
{
  return is_cut(o) ? 0.0 : direct_motor_nm(o->model, o->model->drive.limit_fraction * drive_sign(o), w);
}

/* Gear path -------------------------------------------------------------------------------------------------------- */

static double ratio_of(const struct oracle *o)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  double driven = 1.0, driver = 1.0;
  for (int i = 0; i < gear->mesh_count; i++) {
    driven *= gear->meshes[i].driven_teeth;
    driver *= gear->meshes[i].driver_teeth;
  }
  return driven / driver;
}

static int turn_of(const struct sb_gear *gear)
{
  int turn = 1;
  for (int i = 0; i < gear->mesh_count; i++) turn *= gear->meshes[i].is_internal ? 1 : -1;
  return turn;
}

/* Output's sense, where + is what gear 1 makes of its own drive, for a motor that turns forward. */
static int path_sense(const struct oracle *o)
{
  const struct sb_gear *first = &o->model->gearbox.gears[0];
  return turn_of(&o->model->gearbox.gears[o->gear]) * turn_of(first) * first->motor_direction;
}

static double forward_efficiency(const struct oracle *o)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  double eta = 1.0;
  for (int i = 0; i < gear->mesh_count; i++) eta *= gear->meshes[i].efficiency;
  return eta;
}

static double inverse_factor(const struct oracle *o)
{
  return o->is_driving ? 1.0 / forward_efficiency(o) : o->model->gearbox.gears[o->gear].back_efficiency;
}

/* Load ------------------------------------------------------------------------------------------------------------- */

/* A table's value on the piece that holds `place`, continued to `x`. Tables of these tests do not repeat. */
static double table_value(const struct sb_load_part *part, double place, double x)
{
  const struct sb_table *t = &part->table;
  if (place < t->x[0]) return t->y[0];
  for (size_t i = 1; i < t->count; i++) {
    if (place >= t->x[i] || t->x[i] == t->x[i - 1]) continue;
    if (part->is_held) return t->y[i - 1];
    return t->y[i - 1] + (t->y[i] - t->y[i - 1]) * (x - t->x[i - 1]) / (t->x[i] - t->x[i - 1]);
  }
  return t->y[t->count - 1];
}

/* A part's torque without sign; direction: that of the output, to choose the piece over turns. */
static double part_value(const struct oracle *o, const struct sb_load_part *part, double t, double angle, int direction)
{
  const double x = part->axis == SB_OVER_TIME ? t : angle;
  if (strcmp(part->ops->name, "constant") == 0) return part->torque_nm;
  if (strcmp(part->ops->name, "sine") == 0) {
    return part->mean_nm + part->amplitude_nm * sin(two_pi * x / part->period + part->phase_rad);
  }
  if (strcmp(part->ops->name, "profile") == 0) {
    const double place = part->axis == SB_OVER_TIME ? o->piece_s : o->y[ANGLE] + 1e-9 * direction;
    return table_value(part, place, x);
  }
  return 0.0;
}

static double load_torque(const struct oracle *o, double t, const double y[])
{
  double torque = 0.0;
  for (int i = 0; i < o->model->load.part_count; i++) {
    const struct sb_load_part *part = &o->model->load.parts[i];
    const double value = part_value(o, part, t, y[ANGLE], o->output_direction);
    torque += part->is_resisting ? o->output_direction * value : value;
    torque += part->viscous_nms_rad * y[OUTPUT] + part->quadratic_nms2_rad2 * y[OUTPUT] * fabs(y[OUTPUT]);
  }
  return torque;
}

/* What opposes a start of the output in a direction, along that direction; is_moving: as soon as it moves. */
static double resistance(const struct oracle *o, double t, int direction, bool is_moving)
{
  double acting = 0.0, hold = 0.0;
  for (int i = 0; i < o->model->load.part_count; i++) {
    const struct sb_load_part *part = &o->model->load.parts[i];
    const double value = part_value(o, part, t, o->y[ANGLE], direction);
    if (part->is_resisting) {
      hold += is_moving ? value : fmax(value, part->breakaway_nm);
    } else {
      acting += value;
    }
  }
  return direction * acting + (is_moving ? hold : fmax(hold, o->model->load.breakaway_nm));
}

static double start_resistance(const struct oracle *o, double t, int direction)
{
  return resistance(o, t, direction, false);
}

/* Motion ----------------------------------------------------------------------------------------------------------- */

/* dw/dt in mesh, and the torque that the gear delivers to the output, along its motion. */
static double mesh_rate(const struct oracle *o, double t, const double y[], double *delivered)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  const double n = ratio_of(o), inverse = inverse_factor(o), jm = o->model->motor.rotor_inertia_kg_m2;
  const double given = electric_torque(o, y[MOTOR]) - o->motor_direction * (brush_friction(o) + gear->drag_nm);
  const double rate = (given - path_sense(o) * load_torque(o, t, y) * inverse / n) /
                      (jm + o->model->load.inertia_kg_m2 * inverse / (n * n));
  *delivered = o->output_direction * (load_torque(o, t, y) + o->model->load.inertia_kg_m2 * path_sense(o) * rate / n);
  return rate;
}

static double clutch_capacity(const struct oracle *o)
{
  return strcmp(o->model->shifter.ops->name, "clutch") == 0 ? o->model->shifter.clutch_nm : INFINITY;
}

/* What a torque at the gears' input, along the output's motion or the one tried, is at the output, along it. */
static double through_gears(const struct oracle *o, double torque)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  const double net = torque - gear->drag_nm;
  if (net >= 0.0) return net * forward_efficiency(o) * ratio_of(o);
  return gear->back_efficiency > 0.0 ? net / gear->back_efficiency * ratio_of(o) : -INFINITY;
}

/* With sign, while the output moves or would move in a direction. */
static double clutch_on_output(const struct oracle *o, int slip_direction, int direction)
{
  return direction * through_gears(o, direction * path_sense(o) * slip_direction * clutch_capacity(o));
}

static int rates(double t, const double y[], double dydt[], void *params)
{
  const struct oracle *o = params;
  double delivered;
  dydt[MOTOR] = dydt[OUTPUT] = dydt[ANGLE] = dydt[TURNED] = 0.0;
  if (o->link == IN_MESH) {
    if (o->motor_direction == 0) return GSL_SUCCESS;
    dydt[MOTOR] = mesh_rate(o, t, y, &delivered);
    dydt[OUTPUT] = path_sense(o) * dydt[MOTOR] / ratio_of(o);
    dydt[ANGLE] = y[OUTPUT];
    return GSL_SUCCESS;
  }
  if (o->motor_direction != 0) {
    const double clutch = o->link == RUBBING ? o->slip_direction * o->model->shifter.clutch_nm : 0.0;
    dydt[MOTOR] = (electric_torque(o, y[MOTOR]) - o->motor_direction * brush_friction(o) - clutch) /
                  o->model->motor.rotor_inertia_kg_m2;
  }
  if (o->output_direction != 0) {
    const double clutch = o->link == RUBBING ? clutch_on_output(o, o->slip_direction, o->output_direction) : 0.0;
    dydt[OUTPUT] = (clutch - load_torque(o, t, y)) / o->model->load.inertia_kg_m2;
    dydt[ANGLE] = y[OUTPUT];
  }
  dydt[TURNED] = o->is_turned ? fabs(y[MOTOR]) : 0.0;
  return GSL_SUCCESS;
}

/* Resting bodies --------------------------------------------------------------------------------------------------- */

/* By how much a machine at rest in mesh is pushed beyond what holds it, in a direction of the motor. */
static double start_excess(const struct oracle *o, double t, int direction)
{
  const struct sb_gear *gear = &o->model->gearbox.gears[o->gear];
  const double push = direction * electric_torque(o, 0.0) - brush_friction(o) - gear->drag_nm;
  const double against = start_resistance(o, t, direction * path_sense(o)) / ratio_of(o);
  const double moving = resistance(o, t, direction * path_sense(o), true) / ratio_of(o);
  double needed = against >= 0.0 ? against / forward_efficiency(o) : against * gear->back_efficiency;
  /* A path that locks itself needs a push against a load that helps, as it will be in motion. */
  if (gear->back_efficiency < 0.0) needed = fmax(needed, moving * gear->back_efficiency);
  return push - needed;
}

static double output_excess(const struct oracle *o, double t, int direction)
{
  const double clutch = o->link == RUBBING ? direction * clutch_on_output(o, o->slip_direction, direction) : 0.0;
  return clutch - start_resistance(o, t, direction);
}

/* What an engaged clutch carries while the machine moves. */
static double carried_torque(const struct oracle *o, double t, const double y[])
{
  double delivered;
  return electric_torque(o, y[MOTOR]) - o->motor_direction * brush_friction(o) -
         o->model->motor.rotor_inertia_kg_m2 * mesh_rate(o, t, y, &delivered);
}

/* By how much the load at rest pulls the output in a direction beyond what the clutch holds. */
static double pull_excess(const struct oracle *o, double t, int direction)
{
  return direction * clutch_on_output(o, -direction * path_sense(o), direction) - start_resistance(o, t, direction);
}

static int sign_of(double value)
{
  return (value > 0.0) - (value < 0.0);
}

/* Torques this near to a balance, relative to the stall torque, hold. */
static double hair(const struct oracle *o)
{
  return 1e-13 * o->model->motor.stall_torque_nm;
}

static double next_corner_rad(const struct oracle *o)
{
  double next = INFINITY;
  for (int i = 0; i < o->model->load.part_count; i++) {
    const struct sb_load_part *part = &o->model->load.parts[i];
    if (part->axis != SB_OVER_TURNS || strcmp(part->ops->name, "profile") != 0) continue;
    for (size_t k = 0; k < part->table.count; k++) {
      const double ahead = (part->table.x[k] - o->y[ANGLE]) * o->output_direction;
      if (ahead > 1e-9) next = fmin(next, ahead);
    }
  }
  return isfinite(next) ? o->y[ANGLE] + next * o->output_direction : NAN;
}

static void note(struct oracle *o, enum sb_event event)
{
  struct oracle_result *r = o->result;
  if (r->event_count == ORACLE_EVENT_MAX) return;
  r->events[r->event_count++] = (struct oracle_event){event, o->time_s, o->y[MOTOR], o->y[OUTPUT]};
}

static void find_direction(struct oracle *o)
{
  o->motor_direction = sign_of(o->y[MOTOR]);
  if (o->motor_direction == 0) {
    if (start_excess(o, o->time_s, -1) > hair(o)) o->motor_direction = -1;
    if (start_excess(o, o->time_s, +1) > hair(o)) o->motor_direction = +1;
  }
  o->output_direction = o->motor_direction * path_sense(o);
}

/* No finite torque of the motor's own inertia could slow the output down with it. */
static bool is_jamming(const struct oracle *o)
{
  const double back = o->model->gearbox.gears[o->gear].back_efficiency, n = ratio_of(o);
  return back < 0.0 && o->model->motor.rotor_inertia_kg_m2 * n * n <= -back * o->model->load.inertia_kg_m2;
}

static void settle_mesh(struct oracle *o)
{
  find_direction(o);
  if (o->motor_direction != 0) {
    double delivered;
    o->is_driving = true;
    mesh_rate(o, o->time_s, o->y, &delivered);
    if (delivered < 0.0) o->is_driving = false;
    if (!o->is_driving && is_jamming(o)) {
      const double n = ratio_of(o),
                   inertia = o->model->load.inertia_kg_m2 + n * n * o->model->motor.rotor_inertia_kg_m2;
      o->result->jam_loss_j += 0.5 * inertia * o->y[OUTPUT] * o->y[OUTPUT];
      o->result->jam_count++;
      o->y[MOTOR] = o->y[OUTPUT] = 0.0;
      find_direction(o);
      o->is_driving = true;
    }
  }
}

/* The direction in which an engaged clutch slips, as the motor's lead; 0: it holds. */
static int weak_direction(const struct oracle *o)
{
  const double most = clutch_capacity(o) * (1.0 + 1e-12);
  if (isinf(most)) return 0;
  if (o->motor_direction != 0) {
    const double carried = carried_torque(o, o->time_s, o->y);
    return fabs(carried) > most ? sign_of(carried) : 0;
  }
  const double stalled = electric_torque(o, 0.0);
  if (fabs(stalled) - brush_friction(o) > most) return sign_of(stalled);
  for (int direction = +1; direction >= -1; direction -= 2) {
    if (pull_excess(o, o->time_s, direction) > hair(o)) return -direction * path_sense(o);
  }
  return 0;
}

/* Gears that cannot be driven backwards stop an output that is braked through them. */
static void stop_locked(struct oracle *o)
{
  const int direction = sign_of(o->y[OUTPUT]);
  if (o->link != RUBBING || direction == 0 || isfinite(clutch_on_output(o, o->slip_direction, direction))) return;
  o->y[OUTPUT] = 0.0;
  o->slip_direction = sign_of(o->y[MOTOR]);
}

static void settle_apart(struct oracle *o)
{
  stop_locked(o);
  const double clutch = o->link == RUBBING ? o->slip_direction * o->model->shifter.clutch_nm : 0.0;
  const double drive = electric_torque(o, 0.0) - clutch;
  o->motor_direction = sign_of(o->y[MOTOR]);
  if (o->motor_direction == 0 && fabs(drive) > brush_friction(o)) o->motor_direction = sign_of(drive);
  o->output_direction = sign_of(o->y[OUTPUT]);
  if (o->output_direction == 0) {
    if (output_excess(o, o->time_s, -1) > hair(o)) o->output_direction = -1;
    if (output_excess(o, o->time_s, +1) > hair(o)) o->output_direction = +1;
  }
}

static void settle_quietly(struct oracle *o)
{
  if (o->link == IN_MESH) settle_mesh(o);
  const int weak = o->link == IN_MESH ? weak_direction(o) : 0;
  if (weak != 0) {
    o->link = RUBBING;
    o->slip_direction = weak;
  }
  if (o->link != IN_MESH) settle_apart(o);
  o->corner_rad = o->output_direction != 0 ? next_corner_rad(o) : NAN;
}

static void tell(struct oracle *o)
{
  const bool is_clutch_slipping = o->link == RUBBING && !o->is_shifting;
  const bool is_standing =
      o->link == IN_MESH ? o->motor_direction == 0 : is_clutch_slipping && o->output_direction == 0;
  if (is_standing && !o->was_standing) note(o, SB_EVENT_STOPPED);
  if (!is_standing && o->was_standing) note(o, SB_EVENT_STARTED);
  if (is_clutch_slipping && !o->was_clutch_slipping) note(o, SB_EVENT_CLUTCH_SLIPPED);
  if (!is_clutch_slipping && o->was_clutch_slipping) note(o, SB_EVENT_CLUTCH_HELD);
  o->was_standing = is_standing;
  o->was_clutch_slipping = is_clutch_slipping;
}

static void settle(struct oracle *o)
{
  settle_quietly(o);
  tell(o);
}

/* Shifts ----------------------------------------------------------------------------------------------------------- */

static double lead(const struct oracle *o, const double y[])
{
  return y[MOTOR] - y[OUTPUT] * ratio_of(o) * path_sense(o);
}

static void join(struct oracle *o)
{
  const double n = ratio_of(o), jm = o->model->motor.rotor_inertia_kg_m2, jo = o->model->load.inertia_kg_m2;
  const double slip = lead(o, o->y), reduced = jm * jo / (n * n) / (jm + jo / (n * n));
  o->result->shift_loss_j += 0.5 * reduced * slip * slip;
  o->is_shifting = false;
  o->y[MOTOR] = (jm * o->y[MOTOR] + jo / n * path_sense(o) * o->y[OUTPUT]) / (jm + jo / (n * n));
  o->y[OUTPUT] = path_sense(o) * o->y[MOTOR] / n;
  o->link = IN_MESH;
  o->motor_direction = o->y[MOTOR] < 0.0 ? -1 : +1;
  settle_quietly(o);
  note(o, SB_EVENT_ENGAGED);
  tell(o);
}

/* Sides that have met: whether they stay together is settled as of a gear in mesh. */
static void meet(struct oracle *o)
{
  if (o->is_shifting) {
    join(o);
    return;
  }
  o->y[MOTOR] = o->y[OUTPUT] * ratio_of(o) * path_sense(o);
  o->link = IN_MESH;
  settle(o);
}

static void command(struct oracle *o, int gear)
{
  const char *kind = o->model->shifter.ops->name;
  if (gear == o->gear) return;
  o->gear = gear;
  o->command_s = o->time_s;
  o->link = strcmp(kind, "clutch") == 0 ? RUBBING : APART;
  o->engage_s = strcmp(kind, "selector") == 0 ? o->time_s + o->model->shifter.travel_time_s : INFINITY;
  o->y[TURNED] = 0.0;
  o->is_turned = o->y[MOTOR] * drive_sign(o) >= 0.0;
  o->slip_direction = sign_of(lead(o, o->y));
  o->is_shifting = true;
  o->was_standing = o->was_clutch_slipping = false; /* a command ends both */
  settle(o);
  note(o, SB_EVENT_COMMAND);
  if (o->link == RUBBING && o->slip_direction == 0) meet(o);
}

/* Events: positive until they happen ------------------------------------------------------------------------------- */

static double distance(const struct oracle *o, enum cause cause, double t, const double y[])
{
  const bool is_mesh = o->link == IN_MESH, is_moving = o->motor_direction != 0;
  double delivered;
  switch (cause) {
    case CAUSE_STOP: return is_mesh && is_moving ? y[MOTOR] * o->motor_direction : 1.0;
    case CAUSE_POWER:
      if (!is_mesh || !is_moving) return 1.0;
      mesh_rate(o, t, y, &delivered);
      return (o->is_driving ? delivered : -delivered) + hair(o);
    case CAUSE_CORNER: return isnan(o->corner_rad) ? 1.0 : (o->corner_rad - y[ANGLE]) * o->output_direction;
    case CAUSE_START_PLUS: return is_mesh && !is_moving ? hair(o) - start_excess(o, t, +1) : 1.0;
    case CAUSE_START_MINUS: return is_mesh && !is_moving ? hair(o) - start_excess(o, t, -1) : 1.0;
    case CAUSE_MOTOR_ZERO: return !is_mesh && is_moving ? y[MOTOR] * o->motor_direction : 1.0;
    case CAUSE_OUTPUT_ZERO: return !is_mesh && o->output_direction != 0 ? y[OUTPUT] * o->output_direction : 1.0;
    case CAUSE_OUTPUT_PLUS: return !is_mesh && o->output_direction == 0 ? hair(o) - output_excess(o, t, +1) : 1.0;
    case CAUSE_OUTPUT_MINUS: return !is_mesh && o->output_direction == 0 ? hair(o) - output_excess(o, t, -1) : 1.0;
    case CAUSE_TURNED:
      return o->link == APART && isinf(o->engage_s) && o->is_turned ? o->model->shifter.swing_turns * two_pi - y[TURNED]
                                                                    : 1.0;
    case CAUSE_MET: return o->link == RUBBING ? lead(o, y) * o->slip_direction : 1.0;
    case CAUSE_CLUTCH_WEAK:
      return is_mesh && is_moving && isfinite(clutch_capacity(o))
                 ? clutch_capacity(o) * (1.0 + 2e-12) - fabs(carried_torque(o, t, y)) /* so that settle() is sure */
                 : 1.0;
    case CAUSE_CLUTCH_PLUS:
      return is_mesh && !is_moving && isfinite(clutch_capacity(o)) ? hair(o) - pull_excess(o, t, +1) : 1.0;
    case CAUSE_CLUTCH_MINUS:
      return is_mesh && !is_moving && isfinite(clutch_capacity(o)) ? hair(o) - pull_excess(o, t, -1) : 1.0;
    default: return 1.0;
  }
}

static void apply(struct oracle *o, enum cause cause)
{
  switch (cause) {
    case CAUSE_STOP: o->y[MOTOR] = o->y[OUTPUT] = 0.0; break;
    case CAUSE_CORNER: o->y[ANGLE] = o->corner_rad; break;
    case CAUSE_OUTPUT_ZERO: o->y[OUTPUT] = 0.0; break;
    case CAUSE_MOTOR_ZERO:
      o->y[MOTOR] = 0.0;
      if (!o->is_turned) o->y[TURNED] = 0.0;
      o->is_turned = true;
      if (o->link == RUBBING && lead(o, o->y) == 0.0) { /* the output stands */
        meet(o);
        return;
      }
      break;
    case CAUSE_TURNED: join(o); return;
    case CAUSE_MET: meet(o); return;
    default: break;
  }
  settle(o);
}

/* Time ------------------------------------------------------------------------------------------------------------- */

static bool move(struct oracle *o, double y[], double from_s, double to_s)
{
  double t = from_s;
  gsl_odeiv2_driver_reset(o->driver);
  gsl_odeiv2_driver_reset_hstart(o->driver, to_s > from_s ? to_s - from_s : 1e-12);
  return !(to_s > from_s) || gsl_odeiv2_driver_apply(o->driver, &t, to_s, y) == GSL_SUCCESS;
}

struct closing {
  struct oracle *o;
  enum cause cause;
};

static double distance_after(double length, void *context)
{
  struct closing *closing = context;
  struct oracle *o = closing->o;
  double y[DIMENSION];
  memcpy(y, o->y, sizeof y);
  if (!move(o, y, o->time_s, o->time_s + length)) return NAN;
  return distance(o, closing->cause, o->time_s + length, y);
}

/* The length after which a cause is zero, to the last bits. */
static double close_in(struct oracle *o, enum cause cause, double length)
{
  struct closing closing = {o, cause};
  gsl_function function = {distance_after, &closing};
  if (!(distance_after(0.0, &closing) > 0.0)) return 0.0;
  gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
  gsl_root_fsolver_set(solver, &function, 0.0, length);
  for (int i = 0; i < 100; i++) {
    gsl_root_fsolver_iterate(solver);
    if (gsl_root_fsolver_x_upper(solver) - gsl_root_fsolver_x_lower(solver) < 1e-15) break;
  }
  const double root = gsl_root_fsolver_root(solver);
  gsl_root_fsolver_free(solver);
  return root;
}

/* Moves to a time at which nothing jumps before it; events on the way are applied. */
static bool go_to(struct oracle *o, double to_s)
{
  const double piece_s = 1e-3;
  while (o->time_s < to_s) {
    const double next_s = fmin(to_s, (floor(o->time_s / piece_s + 1e-9) + 1.0) * piece_s);
    double y[DIMENSION];
    memcpy(y, o->y, sizeof y);
    if (!move(o, y, o->time_s, next_s)) return false;
    enum cause first = CAUSE_NONE;
    double length = next_s - o->time_s;
    for (int cause = 1; cause < CAUSE_COUNT; cause++) {
      if (!(distance(o, (enum cause)cause, next_s, y) < 0.0)) continue;
      const double here = close_in(o, (enum cause)cause, next_s - o->time_s);
      if (first == CAUSE_NONE || here < length) {
        first = (enum cause)cause;
        length = here;
      }
    }
    if (first == CAUSE_NONE) {
      memcpy(o->y, y, sizeof y);
      o->time_s = next_s;
      continue;
    }
    if (!move(o, o->y, o->time_s, o->time_s + length)) return false;
    o->time_s += length;
    apply(o, first);
  }
  return true;
}

/* The next instant that is known beforehand: a corner over time or the end of a selector's travel. */
static double next_known_s(const struct oracle *o, double end_s)
{
  double next = end_s;
  for (int i = 0; i < o->model->load.part_count; i++) {
    const struct sb_load_part *part = &o->model->load.parts[i];
    if (part->axis != SB_OVER_TIME) continue;
    for (size_t k = 0; k < part->table.count; k++) {
      if (part->table.x[k] > o->time_s + 1e-12) next = fmin(next, part->table.x[k]);
    }
  }
  if (o->link == APART && o->engage_s > o->time_s + 1e-12) next = fmin(next, o->engage_s);
  return next;
}

static bool go(struct oracle *o, double to_s)
{
  while (o->time_s < to_s) {
    const double next_s = next_known_s(o, to_s);
    o->piece_s = 0.5 * (o->time_s + next_s);
    settle(o);
    if (!go_to(o, next_s)) return false;
    o->piece_s = next_s + 1e-9;
    if (o->link == APART && fabs(o->engage_s - next_s) < 1e-12) {
      join(o);
    } else {
      settle(o);
    }
  }
  return true;
}

int oracle_run(const struct sb_model *model, int gear, const struct oracle_command *commands, size_t command_count,
               double end_s, struct oracle_result *result)
{
  *result = (struct oracle_result){.event_count = 0};
  struct oracle o = {.model = model, .result = result, .gear = gear, .engage_s = INFINITY, .piece_s = 1e-9};
  o.system = (gsl_odeiv2_system){rates, NULL, DIMENSION, &o};
  o.driver = gsl_odeiv2_driver_alloc_y_new(&o.system, gsl_odeiv2_step_rk8pd, 1e-4, 1e-13, 1e-13);
  if (o.driver == NULL) return -1;
  o.y[OUTPUT] = model->run.initial_output_speed_rad_s;
  o.y[MOTOR] = o.y[OUTPUT] * ratio_of(&o) * path_sense(&o);
  o.motor_direction = sign_of(o.y[MOTOR]);
  o.was_standing = o.motor_direction == 0; /* a start is told */
  settle_quietly(&o);
  o.was_clutch_slipping = o.link == RUBBING;
  tell(&o);
  bool is_well = true;
  for (size_t i = 0; i < command_count && is_well; i++) {
    is_well = go(&o, commands[i].time_s);
    command(&o, commands[i].gear);
  }
  is_well = is_well && go(&o, end_s);
  gsl_odeiv2_driver_free(o.driver);
  result->motor_speed_rad_s = o.y[MOTOR];
  result->output_speed_rad_s = o.y[OUTPUT];
  result->output_angle_rad = o.y[ANGLE];
  return is_well ? 0 : -1;
}
