// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Motion between a shift command and the climb of the new gear, without steps.
 *
 * Every inertia here moves by itself, under constant push, Coulomb resistance, and resistance linear and quadratic in
 * speed. In one direction of motion that is Riccati's equation with constant coefficients, z' = p - q z - r z^2, solved by
 *
 *   z(t) = (z0 + (p - q z0 / 2) S) / (1 + (q / 2 + r z0) S),   S = tanh(h t) / h,   h^2 = q^2 / 4 + p r
 *
 * (h^2 < 0: tan for tanh; h = 0: S = t). With r = 0 this is the exponential of a linear motor and a viscous load; with
 * q = 0 the tangent of a body that coasts down under f0 + f2 v^2.
 */
#include "theory/shift.h"

#include <gsl/gsl_math.h>
#include <gsl/gsl_poly.h>
#include <gsl/gsl_sf_lambert.h>
#include <math.h>

#include "base/root.h"
#include "base/sign.h"

/* z' = p - q z - r z^2 while z >= 0; q, r >= 0. */
struct riccati {
  double p;
  double q;
  double r;
};

static double riccati_speed(const struct riccati *eq, double z0, double time_s)
{
  const double h_squared = 0.25 * eq->q * eq->q + eq->p * eq->r;
  const double h = sqrt(fabs(h_squared));
  const double s = h == 0.0 ? time_s : h_squared > 0.0 ? tanh(h * time_s) / h : tan(h * time_s) / h;
  return (z0 + (eq->p - 0.5 * eq->q * z0) * s) / (1.0 + (0.5 * eq->q + eq->r * z0) * s);
}

/* Time from z0 to z1, both >= 0; INFINITY when it never comes there. */
static double riccati_time(const struct riccati *eq, double z0, double z1)
{
  if (z0 == z1) return 0.0;
  if (z1 == 0.0 && eq->p >= 0.0) return INFINITY;
  const double s = (z0 - z1) / (0.5 * eq->q * (z0 + z1) + eq->r * z0 * z1 - eq->p);
  if (!(s > 0.0) || isinf(s)) return INFINITY;
  const double h_squared = 0.25 * eq->q * eq->q + eq->p * eq->r;
  const double h = sqrt(fabs(h_squared));
  if (h == 0.0) return s;
  if (h_squared < 0.0) return atan(h * s) / h;
  return h * s < 1.0 ? atanh(h * s) / h : INFINITY;
}

/* What follows the speed by itself: J z' = push - viscous z - quadratic z |z| - resist sign(z); at rest it stays while |push| <= hold.
 * Below a corner, where a driver holds the motor's current, push and viscous are others; both sides agree at the corner. */
struct body {
  double inertia_kg_m2;
  double push_nm;
  double viscous_nms_rad;
  double quadratic_nms2_rad2;
  double resist_nm;
  double hold_nm;
  bool has_corner;
  double corner_rad_s;
  double held_push_nm;
  double held_viscous_nms_rad;
};

static struct riccati body_in_direction(const struct body *body, double direction, bool is_held)
{
  const double push_nm = is_held ? body->held_push_nm : body->push_nm;
  const double viscous_nms_rad = is_held ? body->held_viscous_nms_rad : body->viscous_nms_rad;
  return (struct riccati){.p = (direction * push_nm - body->resist_nm) / body->inertia_kg_m2,
                          .q = viscous_nms_rad / body->inertia_kg_m2,
                          .r = body->quadratic_nms2_rad2 / body->inertia_kg_m2};
}

/* Whether a speed lies below the corner; at the corner itself, whether it is left downwards in a direction of motion. */
static bool is_held_at(const struct body *body, double z, double direction)
{
  if (!body->has_corner || z != body->corner_rad_s) return body->has_corner && z < body->corner_rad_s;
  const struct riccati eq = body_in_direction(body, direction, false);
  const double size = fabs(z);
  return direction * (eq.p - eq.q * size - eq.r * size * size) < 0.0;
}

/* Direction in which it leaves rest; 0: it stays. */
static double body_direction_from_rest(const struct body *body)
{
  const double push_nm = body->has_corner && body->corner_rad_s > 0.0 ? body->held_push_nm : body->push_nm;
  return fabs(push_nm) > body->hold_nm ? sb_sign_of(push_nm) : 0.0;
}

static double body_speed(const struct body *body, double z0, double time_s)
{
  enum { STRETCH_MAX = 8 }; /* between rest and the corner; there are fewer */
  for (int i = 0; i < STRETCH_MAX; i++) {
    const double direction = z0 != 0.0 ? sb_sign_of(z0) : body_direction_from_rest(body);
    if (direction == 0.0) return 0.0;
    const struct riccati eq = body_in_direction(body, direction, is_held_at(body, z0, direction));
    const double stop_s = z0 != 0.0 ? riccati_time(&eq, fabs(z0), 0.0) : INFINITY;
    const double corner = body->corner_rad_s;
    const bool can_meet = body->has_corner && z0 != corner && direction * corner > 0.0;
    const double corner_s = can_meet ? riccati_time(&eq, fabs(z0), fabs(corner)) : INFINITY;
    if (time_s <= fmin(stop_s, corner_s)) return direction * riccati_speed(&eq, fabs(z0), time_s);
    time_s -= fmin(stop_s, corner_s);
    z0 = corner_s < stop_s ? corner : 0.0;
  }
  return z0;
}

/* Time until the speed is z1, in the same direction as z0 where neither is at rest; INFINITY: never. */
static double body_time(const struct body *body, double z0, double z1)
{
  if (z0 == z1) return 0.0;
  const double direction = sb_sign_of(z0 + z1);
  if (z0 == 0.0 && body_direction_from_rest(body) != direction) return INFINITY;
  const double corner = body->corner_rad_s;
  if (body->has_corner && (z0 - corner) * (z1 - corner) < 0.0)
    return body_time(body, z0, corner) + body_time(body, corner, z1);
  const struct riccati eq = body_in_direction(body, direction, is_held_at(body, 0.5 * (z0 + z1), direction));
  return riccati_time(&eq, fabs(z0), fabs(z1));
}

/* The motor alone on a line, counted in the direction in which the line drives it, with a further torque. */
static struct body motor_body(const struct sb_model *model, const struct sb_motor_line *line, double further_nm)
{
  return (struct body){.inertia_kg_m2 = sb_model_motor_inertia_kg_m2(model),
                       .push_nm = line->stall_nm + further_nm,
                       .viscous_nms_rad = line->slope_nms_rad,
                       .resist_nm = line->friction_nm,
                       .hold_nm = line->friction_nm,
                       .has_corner = line->limit_a > 0.0,
                       .corner_rad_s = sb_motor_corner_rad_s(line),
                       .held_push_nm = line->limit_nm + further_nm};
}

/* The output alone, counted in the direction in which the old gear drove it, with a further torque. */
static struct body output_body(const struct sb_model *model, const struct sb_load_moment *load, double further_nm)
{
  struct body body = {.inertia_kg_m2 = sb_model_output_inertia_kg_m2(model, model->load.inertia_kg_m2),
                      .push_nm = further_nm - load->acting_nm,
                      .resist_nm = load->resisting_nm,
                      .hold_nm = load->hold_nm};
  sb_load_speed_terms(&model->load, &body.viscous_nms_rad, &body.quadratic_nms2_rad2);
  return body;
}

/* Motor and output engaged, seen at the motor, on a line without a limit; `gear` is an index. */
static struct body engaged_body(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                const struct sb_load_moment *load, bool is_driving)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio, inverse = is_driving ? 1.0 / path->efficiency : path->back_efficiency;
  struct body body = motor_body(model, line, -inverse * load->acting_nm / n);
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  body.inertia_kg_m2 = is_driving ? sb_model_driven_inertia_kg_m2(model, gear, model->load.inertia_kg_m2)
                                  : sb_model_overrun_inertia_kg_m2(model, gear, model->load.inertia_kg_m2);
  body.viscous_nms_rad += inverse * viscous / (n * n);
  body.quadratic_nms2_rad2 = inverse * quadratic / (n * n * n);
  body.resist_nm += path->drag_nm + inverse * load->resisting_nm / n;
  body.hold_nm += path->drag_nm + inverse * load->hold_nm / n;
  return body;
}

/*
 * Driving or overrun while a gear moves in `direction`: g(x) = (T - drag) Jo / N + Jm TL as c[0] + c[1] x +
 * c[2] x^2. Power runs to the output where direction * g > 0.
 */
static void power_sign_terms(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                             const struct sb_load_moment *load, double direction, double c[3])
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double n = path->ratio;
  const double jm = fmax(sb_model_engaged_motor_kg_m2(model, gear, false), 0.0);
  const double jo_n = sb_model_engaged_output_kg_m2(model, model->load.inertia_kg_m2) / n;
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  c[0] = jo_n * (line->stall_nm - direction * (line->friction_nm + path->drag_nm)) +
         jm * (load->acting_nm + direction * load->resisting_nm);
  c[1] = jm * viscous / n - jo_n * line->slope_nms_rad;
  c[2] = direction * jm * quadratic / (n * n);
}

/* Whether a path that locks itself is held at rest by a load that helps, as sb_sim_advance() finds. */
static bool is_locked(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                      const struct sb_load_moment *load)
{
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double free_nm = sb_motor_stall_torque_nm(line) - path->drag_nm;
  const double pull_nm = -(load->acting_nm + load->resisting_nm);
  return path->back_efficiency < 0.0 && pull_nm > 0.0 && free_nm <= -path->back_efficiency * pull_nm / path->ratio;
}

/* Time from one motor speed to another of the same direction (or rest) on a straight line, across changes between driving and
 * overrun. */
static double climb_straight(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                             const struct sb_load_moment *load, double from, double to)
{
  const double direction = from < 0.0 ? -1.0 : 1.0;
  double c[3];
  power_sign_terms(model, line, gear, load, direction, c);
  double marks[4] = {from};
  int count = 1;
  double roots[2] = {NAN, NAN};
  const int root_count = gsl_poly_solve_quadratic(c[2], c[1], c[0], &roots[0], &roots[1]);
  for (int k = 0; k < root_count; k++) {
    if (roots[k] > from && roots[k] < to) marks[count++] = roots[k];
  }
  marks[count] = to;
  double time_s = 0.0;
  if (from == 0.0 && is_locked(model, line, gear, load)) return INFINITY;
  for (int k = 0; k < count && isfinite(time_s); k++) {
    const double mid = 0.5 * (marks[k] + marks[k + 1]);
    const double power = direction * (c[0] + mid * (c[1] + mid * c[2]));
    const struct body body = engaged_body(model, line, gear, load, power >= 0.0);
    if (!(body.inertia_kg_m2 > 0.0)) return to == 0.0 ? time_s : INFINITY; /* it jams */
    time_s += body_time(&body, marks[k], marks[k + 1]);
  }
  return time_s;
}

/* The same below and above the corner of a driver's limit. */
static double climb_one_direction(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                                  const struct sb_load_moment *load, double from, double to)
{
  struct sb_motor_line straight = *line;
  straight.limit_a = straight.limit_nm = 0.0;
  const double corner_rad_s = sb_motor_corner_rad_s(line);
  if (from >= corner_rad_s) return climb_straight(model, &straight, gear, load, from, to);
  const struct sb_motor_line held = sb_motor_line_held(line, +1);
  if (to <= corner_rad_s) return climb_straight(model, &held, gear, load, from, to);
  return climb_straight(model, &held, gear, load, from, corner_rad_s) +
         climb_straight(model, &straight, gear, load, corner_rad_s, to);
}

double sb_theory_climb_s(const struct sb_model *model, const struct sb_motor_line *line, int gear,
                         const struct sb_load_moment *load, double start_speed_rad_s, double target_rad_s)
{
  if (start_speed_rad_s >= target_rad_s) return 0.0;
  if (start_speed_rad_s >= 0.0) return climb_one_direction(model, line, gear, load, start_speed_rad_s, target_rad_s);
  return climb_one_direction(model, line, gear, load, start_speed_rad_s, 0.0) +
         climb_one_direction(model, line, gear, load, 0.0, target_rad_s);
}

/*
 * Time from a speed w0 until the motor alone has turned `angle` on its line: with s = t / tau and b = 1 - w0 / wv,
 * s + b (exp(-s) - 1) = angle / (wv tau) = a, whose root is s = a + b + W0(-b exp(-a - b)) with Lambert's W.
 */
static double time_to_turn_on_line(double inertia, const struct sb_motor_line *line, double start_rad_s,
                                   double angle_rad)
{
  const double no_load = sb_motor_no_load_speed_rad_s(line);
  if (angle_rad <= 0.0) return 0.0;
  if (!(no_load > 0.0)) return INFINITY;
  const double tau_s = inertia / line->slope_nms_rad;
  const double a = angle_rad / (no_load * tau_s), b = 1.0 - start_rad_s / no_load;
  double s = a + b + gsl_sf_lambert_W0(-b * exp(-a - b));
  /* One Newton step restores what is lost near W's branch point, where the angle is small. */
  s -= (s + b * expm1(-s) - a) / ((1.0 - b) - b * expm1(-s));
  return tau_s * s;
}

/* The same from rest; where a driver holds the current, the speed rises evenly up to the corner. */
static double time_to_turn(const struct sb_model *model, const struct sb_motor_line *line, double angle_rad)
{
  const double inertia = sb_model_motor_inertia_kg_m2(model), corner_rad_s = sb_motor_corner_rad_s(line);
  if (!(corner_rad_s > 0.0)) return time_to_turn_on_line(inertia, line, 0.0, angle_rad);
  const double rate = sb_motor_stall_torque_nm(line) / inertia;
  if (angle_rad <= 0.0) return 0.0;
  if (!(rate > 0.0)) return INFINITY;
  const double held_rad = 0.5 * corner_rad_s * corner_rad_s / rate;
  if (angle_rad <= held_rad) return sqrt(2.0 * angle_rad / rate);
  return corner_rad_s / rate + time_to_turn_on_line(inertia, line, corner_rad_s, angle_rad - held_rad);
}

/* Inelastic joining about the new gear; both speeds counted in its direction. */
static void join(const struct sb_model *model, int gear, struct sb_shift_figures *shift)
{
  const double n = model->gearbox.gears[gear].ratio;
  const double jm = sb_model_motor_inertia_kg_m2(model);
  const double jo = sb_model_output_inertia_kg_m2(model, model->load.inertia_kg_m2) / (n * n);
  const double slip = shift->motor_speed_rad_s - n * shift->output_speed_rad_s;
  shift->joined_speed_rad_s = (jm * shift->motor_speed_rad_s + jo * n * shift->output_speed_rad_s) / (jm + jo);
  shift->lost_j = 0.5 * jm * jo / (jm + jo) * slip * slip;
}

/* Motor and output slip against each other; all counted in the direction of the new gear. */
struct slip {
  struct body motor;
  struct body output; /* counted in the direction of the old gear */
  double motor_start_rad_s;
  double output_start_rad_s;
  double ratio; /* of the new gear, with the sign that turns the old direction of the output into the new one */
  double slip_direction; /* of motor - ratio * output at the command */
};

static double slip_left(double time_s, void *params)
{
  const struct slip *slip = params;
  return slip->slip_direction * (body_speed(&slip->motor, slip->motor_start_rad_s, time_s) -
                                 slip->ratio * body_speed(&slip->output, slip->output_start_rad_s, time_s));
}

/* First time at which the speeds meet, before `limit_s`; INFINITY: not until then. */
static double slip_time(struct slip *slip, double guess_s, double limit_s)
{
  double before_s = 0.0;
  double after_s = fmin(guess_s / 64.0, limit_s);
  while (slip_left(after_s, slip) > 0.0) {
    if (after_s >= limit_s) return INFINITY;
    before_s = after_s;
    after_s = fmin(after_s * 1.125, limit_s);
  }
  const double root_s = sb_root_between(slip_left, slip, before_s, after_s, NULL);
  return isnan(root_s) ? after_s : root_s;
}

/* What the clutch brings through a path: with the path's loss where it drives the output, against it in overrun. The mean of
 * both is a push, half their difference a resistance. A path that cannot be driven backwards brakes very hard. */
static void add_clutch(struct body *output, const struct sb_gear *path, double pull, double clutch_nm)
{
  static const double least_back = 1e-6;
  const double back = 1.0 / fmax(path->back_efficiency, least_back);
  const double driving_nm =
      path->ratio * (clutch_nm - path->drag_nm) * (clutch_nm > path->drag_nm ? path->efficiency : back);
  const double braking_nm = path->ratio * (clutch_nm + path->drag_nm) * back;
  output->push_nm += sb_sign_of(pull) * 0.5 * (driving_nm + braking_nm);
  output->resist_nm += 0.5 * (braking_nm - driving_nm);
  output->hold_nm += 0.5 * (braking_nm - driving_nm);
}

/* A clutch: each side moves under the clutch's torque until the speeds meet. */
static struct sb_shift_figures shift_by_slipping(const struct sb_model *model, const struct sb_motor_line *line, int to,
                                                 const struct sb_load_moment *load, double clutch_nm,
                                                 double motor_start, double output_start, double direction_change)
{
  const double n = model->gearbox.gears[to].ratio;
  struct slip slip = {
      .motor_start_rad_s = motor_start, .output_start_rad_s = output_start, .ratio = direction_change * n};
  const double start = motor_start - slip.ratio * output_start;
  slip.slip_direction = sb_sign_of(start);
  slip.motor = motor_body(model, line, -slip.slip_direction * clutch_nm);
  slip.output = output_body(model, load, 0.0);
  add_clutch(&slip.output, &model->gearbox.gears[to], slip.slip_direction * slip.ratio, clutch_nm);

  const double jm = sb_model_motor_inertia_kg_m2(model);
  const double jo = sb_model_output_inertia_kg_m2(model, model->load.inertia_kg_m2) / (n * n);
  const double free_s = jm * jo / (jm + jo) * fabs(start) / clutch_nm;
  /* Beyond any time of interest: a slip a thousand times as long, or the time after which the shift has failed. */
  const double limit_s = fmax(1e3 * free_s, model->shifter.timeout_s);
  struct sb_shift_figures shift = {.time_s = start == 0.0 ? 0.0 : slip_time(&slip, free_s, limit_s)};
  if (isinf(shift.time_s)) return shift;
  shift.output_speed_rad_s = direction_change * body_speed(&slip.output, output_start, shift.time_s);
  shift.motor_speed_rad_s = n * shift.output_speed_rad_s;
  shift.joined_speed_rad_s = shift.motor_speed_rad_s;
  return shift;
}

/* Neutral: the motor on its line (or open), the output coasting, until the plan engages. */
static struct sb_shift_figures shift_in_neutral(const struct sb_model *model, const struct sb_motor_line *line, int to,
                                                const struct sb_load_moment *load, const struct sb_shift_plan *plan,
                                                double motor_start, double output_start, double direction_change)
{
  const struct sb_motor_line open = sb_motor_line_open(&model->motor);
  const struct sb_motor_line *acting_line = plan->is_drive_cut ? &open : line;
  const struct body motor = motor_body(model, acting_line, 0.0);
  const struct body output = output_body(model, load, 0.0);

  double by_turning_s = INFINITY;
  if (isfinite(plan->engage_turn_rad)) {
    by_turning_s = motor_start < 0.0 ? body_time(&motor, motor_start, 0.0) : 0.0;
    by_turning_s += time_to_turn(model, acting_line, plan->engage_turn_rad);
  }
  struct sb_shift_figures shift = {.time_s = fmin(plan->engage_time_s, by_turning_s)};
  if (isinf(shift.time_s)) return shift;
  shift.motor_speed_rad_s = body_speed(&motor, motor_start, shift.time_s);
  shift.output_speed_rad_s = direction_change * body_speed(&output, output_start, shift.time_s);
  join(model, to, &shift);
  return shift;
}

struct sb_shift_figures sb_theory_shift(const struct sb_model *model, const struct sb_motor_line *line, int from,
                                        int to, const struct sb_load_moment *load, double start_speed_rad_s)
{
  const struct sb_gear *old_path = &model->gearbox.gears[from];
  const struct sb_gear *new_path = &model->gearbox.gears[to];
  const double motor_start = start_speed_rad_s * old_path->motor_direction * new_path->motor_direction;
  const double direction_change = old_path->output_direction * new_path->output_direction;
  const double output_start = start_speed_rad_s / old_path->ratio;
  const struct sb_shift_plan plan = model->shifter.ops->plan(&model->shifter, 0.0);
  struct sb_shift_figures shift =
      plan.clutch_nm > 0.0
          ? shift_by_slipping(model, line, to, load, plan.clutch_nm, motor_start, output_start, direction_change)
          : shift_in_neutral(model, line, to, load, &plan, motor_start, output_start, direction_change);
  if (isinf(shift.time_s)) {
    shift.motor_speed_rad_s = shift.output_speed_rad_s = shift.joined_speed_rad_s = shift.lost_j = NAN;
  }
  return shift;
}
