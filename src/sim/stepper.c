// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/stepper.h"

#include <math.h>

#include "sim/spring.h"

/* Sum of the load's waves. */
static double waves_at(const struct sb_load_curve *curve, double time_s, double angle)
{
  double sum = 0.0;
  for (int i = 0; i < curve->wave_count; i++) {
    const struct sb_load_wave *wave = &curve->waves[i];
    sum += wave->amplitude_nm * sin(wave->per_s * time_s + wave->per_rad * angle + wave->phase_rad);
  }
  return sum;
}

/* Terms that are not there are zero, so all three give the same bits. */
static inline double eval(const struct sb_poly *p, enum sb_terms terms, double tau, double v, double turn, double waves)
{
  if (terms == SB_TERMS_STEADY) return p->k + p->lin * v;
  const double linear = (p->k + p->per_s * tau) + p->lin * v;
  if (terms == SB_TERMS_RAMP) return linear;
  return linear + p->quad * v * fabs(v) + p->per_rad * turn + p->wave_gain * waves;
}

double sb_stepper_eval(const struct sb_poly *poly, const struct sb_load_curve *curve, const struct sb_point *at,
                       double speed)
{
  const double waves = curve->wave_count > 0 ? waves_at(curve, at->time_s, at->angle) : 0.0;
  return eval(poly, SB_TERMS_ALL, at->time_s - curve->time_s, speed, at->angle - curve->angle_rad, waves);
}

/* Gripping wheels turn the vehicle on by the output's own angle. */
double sb_stepper_grip_load_nm(const struct sb_sim *sim, const struct sb_point *at)
{
  const struct sb_segment *seg = sim->segment;
  const bool is_rigid = sb_segment_is_rigid(sim);
  const struct sb_far_segment *far = &seg->far;
  return eval(&far->load, SB_TERMS_ALL, at->time_s - far->curve.time_s, is_rigid ? at->x : at->w,
              at->angle - sim->state.load_angle_rad, 0.0);
}

/* Sets the rate of x and the load at a place in mesh. */
static inline void mesh_rates(const struct sb_segment *seg, double time_s, double x, double angle, enum sb_terms terms,
                              double *x_rate, double *load_nm)
{
  const double tau = time_s - seg->curve.time_s;
  const double turn = angle - seg->curve.angle_rad;
  const double waves = terms == SB_TERMS_ALL && seg->curve.wave_count > 0 ? waves_at(&seg->curve, time_s, angle) : 0.0;
  *x_rate = eval(&seg->motor_rate, terms, tau, x, turn, waves);
  *load_nm = eval(&seg->load, terms, tau, x, turn, waves);
}

/* What a point of motor and output alone comes down to: the steps below carry no more. */
struct lean {
  double time_s, x, w, angle, x_rate, w_rate, load_nm;
};

static struct lean lean_of(const struct sb_point *at)
{
  return (struct lean){at->time_s, at->x, at->w, at->angle, at->x_rate, at->w_rate, at->load_nm};
}

static struct sb_point point_of(const struct lean *at)
{
  return (struct sb_point){.time_s = at->time_s,
                           .x = at->x,
                           .w = at->w,
                           .angle = at->angle,
                           .x_rate = at->x_rate,
                           .w_rate = at->w_rate,
                           .load_nm = at->load_nm};
}

/* Sign of the power: above zero driving, below overrun, along the motor's positive sense. */
static inline double power_at(const struct sb_segment *seg, const struct lean *at, enum sb_terms terms)
{
  const bool has_waves = terms == SB_TERMS_ALL && seg->curve.wave_count > 0;
  return eval(&seg->power_sign, terms, at->time_s - seg->curve.time_s, at->x, at->angle - seg->curve.angle_rad,
              has_waves ? waves_at(&seg->curve, at->time_s, at->angle) : 0.0);
}

double sb_stepper_power(const struct sb_segment *seg, const struct sb_point *at)
{
  const struct lean lean = lean_of(at);
  return power_at(seg, &lean, SB_TERMS_ALL);
}

/* Always inlined, so that the common case carries nothing of the general one. end_s: the step's end as the caller
 * counts it, so that the next step finds the very rates it would work out itself. */
static inline __attribute__((always_inline)) struct lean mesh_step(const struct sb_segment *seg,
                                                                   const struct lean *from, double h, double end_s,
                                                                   enum sb_terms terms, struct sb_gain *gain)
{
  const double r = seg->per_motor, half = 0.5 * h, mid_s = from->time_s + half;
  const double x1 = from->x, k1 = from->x_rate, l1 = from->load_nm;
  double k2, k3, k4, l2, l3, l4;
  const double x2 = x1 + half * k1;
  mesh_rates(seg, mid_s, x2, from->angle + half * r * x1, terms, &k2, &l2);
  const double x3 = x1 + half * k2;
  mesh_rates(seg, mid_s, x3, from->angle + half * r * x2, terms, &k3, &l3);
  const double x4 = x1 + h * k3;
  mesh_rates(seg, end_s, x4, from->angle + h * r * x3, terms, &k4, &l4);

  const double sixth = h / 6.0;
  gain->motor_turn = sixth * (x1 + 2.0 * (x2 + x3) + x4);
  gain->motor_square = sixth * (x1 * x1 + 2.0 * (x2 * x2 + x3 * x3) + x4 * x4);
  gain->load_work_j = sixth * r * (l1 * x1 + 2.0 * (l2 * x2 + l3 * x3) + l4 * x4);
  gain->output_turn = r * gain->motor_turn;

  struct lean to;
  to.time_s = end_s;
  to.x = x1 + sixth * (k1 + 2.0 * (k2 + k3) + k4);
  to.w = r * to.x;
  to.angle = from->angle + gain->output_turn;
  to.w_rate = 0.0;
  mesh_rates(seg, end_s, to.x, to.angle, terms, &to.x_rate, &to.load_nm);
  return to;
}

static void free_rates(const struct sb_segment *seg, struct lean *at)
{
  const double tau = at->time_s - seg->curve.time_s;
  const double turn = at->angle - seg->curve.angle_rad;
  const double waves = seg->curve.wave_count > 0 ? waves_at(&seg->curve, at->time_s, at->angle) : 0.0;
  at->x_rate = eval(&seg->motor_rate, SB_TERMS_STEADY, tau, at->x, 0.0, 0.0);
  at->w_rate = eval(&seg->output_rate, SB_TERMS_ALL, tau, at->w, turn, waves);
  at->load_nm = eval(&seg->load, SB_TERMS_ALL, tau, at->w, turn, waves);
}

/* A stage of a step in neutral: from a point along the rates and speed of another. */
static struct lean free_stage(const struct sb_segment *seg, const struct lean *from, double h, const struct lean *along)
{
  struct lean at = {.time_s = from->time_s + h,
                    .x = from->x + h * along->x_rate,
                    .w = from->w + h * along->w_rate,
                    .angle = from->angle + h * along->w};
  free_rates(seg, &at);
  return at;
}

static struct lean free_step(const struct sb_segment *seg, const struct lean *from, double h, struct sb_gain *gain)
{
  const struct lean p2 = free_stage(seg, from, 0.5 * h, from);
  const struct lean p3 = free_stage(seg, from, 0.5 * h, &p2);
  const struct lean p4 = free_stage(seg, from, h, &p3);
  const double sixth = h / 6.0;
  gain->motor_turn = sixth * (from->x + 2.0 * (p2.x + p3.x) + p4.x);
  gain->motor_square = sixth * (from->x * from->x + 2.0 * (p2.x * p2.x + p3.x * p3.x) + p4.x * p4.x);
  gain->output_turn = sixth * (from->w + 2.0 * (p2.w + p3.w) + p4.w);
  gain->load_work_j =
      sixth * (from->load_nm * from->w + 2.0 * (p2.load_nm * p2.w + p3.load_nm * p3.w) + p4.load_nm * p4.w);
  struct lean to = {.time_s = p4.time_s,
                    .x = from->x + sixth * (from->x_rate + 2.0 * (p2.x_rate + p3.x_rate) + p4.x_rate),
                    .w = from->w + sixth * (from->w_rate + 2.0 * (p2.w_rate + p3.w_rate) + p4.w_rate),
                    .angle = from->angle + gain->output_turn};
  free_rates(seg, &to);
  return to;
}

static void far_rates(const struct sb_segment *seg, double time_s, struct sb_point *at)
{
  const struct sb_far_segment *far = &seg->far;
  const double tau = time_s - far->curve.time_s, turn = at->far_angle - far->curve.angle_rad;
  at->v_rate = eval(&far->rate, SB_TERMS_ALL, tau, at->v, turn, 0.0);
  at->far_load_nm = eval(&far->load, SB_TERMS_ALL, tau, at->v, turn, 0.0);
}

static struct sb_point far_stage(const struct sb_segment *seg, const struct sb_point *from, double h,
                                 const struct sb_point *along)
{
  struct sb_point at = {.v = from->v + h * along->v_rate, .far_angle = from->far_angle + h * along->v};
  far_rates(seg, from->time_s + h, &at);
  return at;
}

/* The vehicle beside wheels that slip, moved into *to. */
static void far_step(const struct sb_segment *seg, const struct sb_point *from, double h, struct sb_point *to,
                     struct sb_gain *gain)
{
  const struct sb_point p2 = far_stage(seg, from, 0.5 * h, from);
  const struct sb_point p3 = far_stage(seg, from, 0.5 * h, &p2);
  const struct sb_point p4 = far_stage(seg, from, h, &p3);
  const double sixth = h / 6.0;
  gain->far_turn = sixth * (from->v + 2.0 * (p2.v + p3.v) + p4.v);
  gain->far_work_j = sixth * (from->far_load_nm * from->v + 2.0 * (p2.far_load_nm * p2.v + p3.far_load_nm * p3.v) +
                              p4.far_load_nm * p4.v);
  to->v = from->v + sixth * (from->v_rate + 2.0 * (p2.v_rate + p3.v_rate) + p4.v_rate);
  to->far_angle = from->far_angle + gain->far_turn;
  far_rates(seg, to->time_s, to);
}

/* A machine at rest in mesh only ages. */
static struct sb_point rest_step(const struct sb_point *from, double end_s)
{
  struct sb_point to = *from;
  to.time_s = end_s;
  return to;
}

struct sb_point sb_stepper_point(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  struct sb_point at = {.time_s = state->time_s,
                        .x = state->motor_speed_rad_s,
                        .w = state->output_speed_rad_s,
                        .angle = state->output_angle_rad};
  if (state->far.is_slipping) {
    at.v = state->far.speed_rad_s;
    at.far_angle = state->far.angle_rad;
    far_rates(seg, at.time_s, &at);
  }
  if (seg->has_spring) {
    at.twist = state->twist.twist_rad;
    sb_spring_rates(seg, state->twist.side, &at);
  } else if (state->link != SB_LINK_MESH) {
    struct lean lean = lean_of(&at);
    free_rates(seg, &lean);
    at.x_rate = lean.x_rate;
    at.w_rate = lean.w_rate;
    at.load_nm = lean.load_nm;
  } else if (state->motor_direction != 0) {
    mesh_rates(seg, at.time_s, at.x, at.angle, SB_TERMS_ALL, &at.x_rate, &at.load_nm);
  }
  return at;
}

static struct sb_point part_step(const struct sb_sim *sim, const struct sb_point *from, double h, double end_s,
                                 struct sb_gain *gain)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  struct sb_point to;
  *gain = (struct sb_gain){0};
  if (seg->has_spring) {
    to = sb_spring_step(seg, state->twist.side, from, h, gain);
  } else if (state->link != SB_LINK_MESH) {
    const struct lean lean_from = lean_of(from), lean_to = free_step(seg, &lean_from, h, gain);
    to = point_of(&lean_to);
  } else if (state->motor_direction == 0) {
    to = rest_step(from, end_s);
  } else {
    const struct lean lean_from = lean_of(from), lean_to = mesh_step(seg, &lean_from, h, end_s, SB_TERMS_ALL, gain);
    to = point_of(&lean_to);
  }
  if (state->far.is_slipping) far_step(seg, from, h, &to, gain);
  return to;
}

/* A step in equal parts, each a Runge-Kutta step. */
static __attribute__((noinline)) struct sb_point divided_step(const struct sb_sim *sim, const struct sb_point *from,
                                                              double h, double end_s, struct sb_gain *gain)
{
  const int parts = sim->segment->parts;
  if (parts == 1) return part_step(sim, from, h, end_s, gain);
  const double part = h / parts;
  struct sb_point at = *from;
  *gain = (struct sb_gain){0};
  for (int k = 1; k <= parts; k++) {
    struct sb_gain more;
    at = part_step(sim, &at, part, k < parts ? from->time_s + k * part : end_s, &more);
    sb_stepper_add_gain(gain, 1.0, &more);
  }
  return at;
}

struct sb_point sb_stepper_step(const struct sb_sim *sim, const struct sb_point *from, double h, struct sb_gain *gain)
{
  return divided_step(sim, from, h, from->time_s + h, gain);
}

void sb_stepper_raise_peak(struct sb_peak *peak, double value, double time_s)
{
  if (fabs(value) > fabs(peak->value)) *peak = (struct sb_peak){value, time_s};
}

void sb_stepper_book_over_limit(struct sb_sums *sums, double limit_nm, double from_s, double from_nm, double to_s,
                                double to_nm)
{
  const double from_size = fabs(from_nm), to_size = fabs(to_nm);
  const double crossing_s = from_s + (to_s - from_s) * (limit_nm - from_size) / (to_size - from_size);
  const double begin_s = from_size > limit_nm ? from_s : crossing_s;
  const double end_s = to_size > limit_nm ? to_s : crossing_s;
  sums->over_limit_s += end_s - begin_s;
  sums->over_limit_last_s = end_s;
  if (isnan(sums->over_limit_first_s)) sums->over_limit_first_s = begin_s;
}

void sb_stepper_raise_speeds(struct sb_sim *sim, double time_s, double motor_speed, double output_speed)
{
  struct sb_sums *sums = &sim->sums;
  const int sense = sim->model->gearbox.gears[sim->state.gear].motor_direction;
  sb_stepper_raise_peak(&sums->motor_speed_rad_s, sense * motor_speed, time_s);
  sb_stepper_raise_peak(&sums->output_speed_rad_s, output_speed, time_s);
  sb_stepper_raise_peak(&sums->motor_current_a, sb_motor_current_a(&sim->segment->line, motor_speed), time_s);
  sums->least_output_speed_rad_s = fmin(sums->least_output_speed_rad_s, output_speed);
  sums->greatest_output_speed_rad_s = fmax(sums->greatest_output_speed_rad_s, output_speed);
}

static __attribute__((noinline)) struct lean divided_mesh_step(const struct sb_sim *sim, const struct lean *from,
                                                               double h, double end_s, struct sb_gain *gain)
{
  const struct sb_point wide = point_of(from), to = divided_step(sim, &wide, h, end_s, gain);
  return lean_of(&to);
}

/* The loop in which nearly all time is spent: a step, a look whether it crossed anything, the peaks. */
static inline __attribute__((always_inline)) long long run_mesh(struct sb_sim *sim, struct sb_point *point,
                                                                long long first, long long last, enum sb_terms terms)
{
  struct sb_segment *seg = sim->segment;
  const double h = sim->step_s, direction = sim->state.motor_direction;
  const double power_direction = sim->state.is_driving ? direction : -direction;
  const double turn_direction = sim->state.output_direction, angle_limit = turn_direction * seg->angle_limit_rad;
  const double inertia_per_motor = seg->output_inertia * seg->per_motor;
  const double limit_nm = sim->model->limits.output_torque_nm;
  const bool is_divided = seg->parts > 1;
  struct sb_sums *sums = &sim->sums;
  struct sb_gain total = {
      .motor_turn = seg->motor_turn, .motor_square = seg->motor_square, .load_work_j = seg->load_work_j};
  struct lean at = lean_of(point);
  double greatest_nm = fabs(sums->output_torque_nm.value);
  double last_size_nm = fabs(at.load_nm + inertia_per_motor * at.x_rate);
  long long step = first;
  for (; step < last; step++) {
    struct sb_gain gain;
    const double end_s = sb_stepper_grid_s(sim, step + 1);
    const struct lean to =
        is_divided ? divided_mesh_step(sim, &at, h, end_s, &gain) : mesh_step(seg, &at, h, end_s, terms, &gain);
    const double power = power_at(seg, &to, terms);
    if (!(to.x * direction > 0.0) || power * power_direction < -seg->power_tolerance ||
        to.angle * turn_direction >= angle_limit) {
      break;
    }
    if (at.x_rate * to.x_rate < 0.0) sb_stepper_raise_speeds(sim, to.time_s, to.x, to.w);
    const double from_s = at.time_s;
    at = to;
    total.motor_turn += gain.motor_turn;
    total.motor_square += gain.motor_square;
    total.load_work_j += gain.load_work_j;
    const double torque_nm = at.load_nm + inertia_per_motor * at.x_rate;
    const double size_nm = fabs(torque_nm);
    if (size_nm > greatest_nm) {
      greatest_nm = size_nm;
      sums->output_torque_nm = (struct sb_peak){torque_nm, at.time_s};
    }
    if (size_nm > limit_nm || last_size_nm > limit_nm) {
      sb_stepper_book_over_limit(sums, limit_nm, from_s, last_size_nm, at.time_s, size_nm);
    }
    last_size_nm = size_nm;
  }
  seg->motor_turn = total.motor_turn;
  seg->motor_square = total.motor_square;
  seg->load_work_j = total.load_work_j;
  *point = point_of(&at);
  return step - first;
}

long long sb_stepper_run_mesh(struct sb_sim *sim, struct sb_point *point, long long first, long long last)
{
  switch (sim->segment->terms) {
    case SB_TERMS_STEADY: return run_mesh(sim, point, first, last, SB_TERMS_STEADY);
    case SB_TERMS_RAMP: return run_mesh(sim, point, first, last, SB_TERMS_RAMP);
    default: return run_mesh(sim, point, first, last, SB_TERMS_ALL);
  }
}
