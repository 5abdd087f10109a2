// SPDX-License-Identifier: GPL-3.0-or-later
/* How a course moves between two values of the log; see course.h. */
#include <math.h>
#include <string.h>

#include "base/sign.h"
#include "inspect/course.h"

enum {
  MOTOR = SB_COURSE_MOTOR,
  OUTPUT = SB_COURSE_OUTPUT,
  LOAD = SB_COURSE_LOAD,
  TWIST = SB_COURSE_TWIST,
  STATES = SB_COURSE_STATES
};

/* The acceleration that the load brings walks by so many no-load speeds per second in a second^(1/2). */
static const double load_walk = 5.0;

/* What free running is not known by: a walk, in no-load speeds per second^(1/2), and a share of the change. */
static const double free_walk = 0.04, free_share = 0.15;

/* What a joining is not known by: a share of its jump; and the load behind it: a share of its scale. */
static const double join_share = 0.35, load_share = 0.1;

/* Neutral, and a shaft that gives, are followed in steps of at most this, s. */
static const double neutral_step_s = 1e-3, shaft_step_s = 0.5e-3;

/* Of self-locking meshes this much drives a slipping clutch, so that it is no division by nothing. */
static const double least_back_efficiency = 0.05;

/* One step: x' = f x + c, with the covariances q in addition. */
struct step {
  double f[STATES][STATES], q[STATES][STATES], c[STATES];
};

static void multiply(double a[STATES][STATES], double b[STATES][STATES], bool is_transposed, double out[STATES][STATES])
{
  for (int i = 0; i < STATES; i++) {
    for (int k = 0; k < STATES; k++) {
      double sum = 0.0;
      for (int m = 0; m < STATES; m++) sum += a[i][m] * (is_transposed ? b[k][m] : b[m][k]);
      out[i][k] = sum;
    }
  }
}

static void apply(struct sb_course *course, struct step *step)
{
  double x[STATES], half[STATES][STATES];
  for (int i = 0; i < STATES; i++) {
    x[i] = step->c[i];
    for (int k = 0; k < STATES; k++) x[i] += step->f[i][k] * course->x[k];
  }
  memcpy(course->x, x, sizeof x);
  multiply(step->f, course->p, false, half);
  multiply(half, step->f, true, course->p);
  for (int i = 0; i < STATES; i++) {
    for (int k = 0; k < STATES; k++) course->p[i][k] += step->q[i][k];
  }
}

static const struct sb_gear *gear_of(const struct sb_course_machine *machine, const struct sb_course *course)
{
  return &machine->model->gearbox.gears[course->gear];
}

double sb_course_ratio(const struct sb_course_machine *machine, const struct sb_course *course)
{
  const struct sb_gear *gear = gear_of(machine, course);
  return gear->direction / gear->ratio;
}

void sb_course_hold(struct sb_course *course, int speed)
{
  course->x[speed] = 0.0;
  for (int k = 0; k < STATES; k++) course->p[speed][k] = course->p[k][speed] = 0.0;
}

/* (exp(a h) - 1) / a: what a constant rate comes to in a time. */
static double gain_of(double a, double h)
{
  return fabs(a * h) < 1e-12 ? h : expm1(a * h) / a;
}

/* The motor's torque at rest, less losses against its motion; they turn over as softly as the speed is known. */
static double constant_nm(const struct sb_course_machine *machine, const struct sb_course *course, double loss_nm)
{
  const double soft = fmin(machine->noise_rad_s, 0.01 * machine->model->motor.no_load_speed_rad_s);
  return gear_of(machine, course)->motor_direction * course->line.stall_nm -
         tanh(course->x[MOTOR] / soft) * (loss_nm + course->line.friction_nm);
}

/* 1 / e of the meshes: in overrun only where that is sure, for meshes that cannot be driven backwards then hide the load. Those that lock
 * themselves are taken for such. */
static double inverse_e(const struct sb_course_machine *machine, const struct sb_course *course, double constant)
{
  const struct sb_gear *gear = gear_of(machine, course);
  const double r = sb_course_ratio(machine, course), motor = machine->model->motor.rotor_inertia_kg_m2;
  const double torque = constant - course->line.slope_nms_rad * course->x[MOTOR];
  const bool is_slow = fabs(course->x[MOTOR]) < 3.0 * machine->noise_rad_s;
  const double way = is_slow ? gear->motor_direction : copysign(1.0, course->x[MOTOR]);
  const double power = way * (torque * machine->model->load.inertia_kg_m2 * fabs(r) +
                              motor * copysign(course->x[LOAD], course->x[LOAD] * r));
  const double unsure = 2.0 * motor * sqrt(course->p[LOAD][LOAD]);
  return power >= -unsure ? 1.0 / gear->efficiency : fmax(gear->back_efficiency, 0.0);
}

static double inertia_of(const struct sb_course_machine *machine, double r, double inv)
{
  return machine->model->motor.rotor_inertia_kg_m2 + machine->model->load.inertia_kg_m2 * r * r * inv;
}

/* The variance of the load's walk in a time: as great in each gear to the motor, so that smooth running speaks for none. */
static double walk_of(const struct sb_course_machine *machine, const struct sb_course *course, double h)
{
  const double r = sb_course_ratio(machine, course), inv = 1.0 / gear_of(machine, course)->efficiency;
  const double walk_nm =
      load_walk * machine->model->motor.no_load_speed_rad_s * inertia_of(machine, r, inv) / (fabs(r) * inv);
  return walk_nm * walk_nm * h;
}

/* The output follows the motor. */
static void tie_output(struct step *step, double r)
{
  for (int k = 0; k < STATES; k++) {
    step->f[OUTPUT][k] = r * step->f[MOTOR][k];
    step->q[OUTPUT][k] = step->q[k][OUTPUT] = r * step->q[MOTOR][k];
  }
  step->c[OUTPUT] = r * step->c[MOTOR];
  step->q[OUTPUT][OUTPUT] = r * r * step->q[MOTOR][MOTOR];
}

/* What only resists turns nothing against the drive: it holds. */
static void hold_back(const struct sb_course_machine *machine, struct sb_course *course, double before)
{
  const double drive = copysign(1.0, gear_of(machine, course)->motor_direction * course->line.stall_nm);
  const bool was_turning_back = drive * before < -3.0 * machine->noise_rad_s;
  if (machine->runs_back || was_turning_back || drive * course->x[MOTOR] >= 0.0) return;
  sb_course_hold(course, MOTOR);
  sb_course_hold(course, OUTPUT);
}

static void move_mesh(const struct sb_course_machine *machine, struct sb_course *course, double h)
{
  const double r = sb_course_ratio(machine, course), before = course->x[MOTOR];
  const double constant = constant_nm(machine, course, gear_of(machine, course)->drag_nm);
  const double inv = inverse_e(machine, course, constant), inertia = inertia_of(machine, r, inv);
  const double a = -course->line.slope_nms_rad / inertia, b = -r * inv / inertia, gain = gain_of(a, h);
  const double walk = walk_of(machine, course, h);
  struct step step = {.c = {0.0}};
  step.f[MOTOR][MOTOR] = exp(a * h);
  step.f[MOTOR][LOAD] = gain * b;
  step.c[MOTOR] = gain * constant / inertia;
  step.f[LOAD][LOAD] = 1.0;
  step.q[MOTOR][MOTOR] = walk * gain * gain * b * b / 3.0;
  step.q[MOTOR][LOAD] = step.q[LOAD][MOTOR] = walk * gain * b / 2.0;
  step.q[LOAD][LOAD] = walk;
  tie_output(&step, r);
  apply(course, &step);
  hold_back(machine, course, before);
}

/* The output by itself, with a torque that is brought to it. */
static void add_output(const struct sb_course_machine *machine, const struct sb_course *course, double brought_nm,
                       double h, struct step *step)
{
  const double inertia = machine->model->load.inertia_kg_m2, speed = course->x[OUTPUT];
  const double brake_nm = speed == 0.0 ? 0.0 : copysign(machine->model->load.brake_nm, speed);
  step->f[OUTPUT][OUTPUT] = 1.0;
  step->f[OUTPUT][LOAD] = -h / inertia;
  step->c[OUTPUT] = (brought_nm - brake_nm) * h / inertia;
  step->f[LOAD][LOAD] = 1.0;
  step->q[LOAD][LOAD] = machine->load_nm * machine->load_nm * h;
}

/* An output that stops in neutral stays, unless this course is the one in which it does not. */
static void stop_output(struct sb_course *course, double before)
{
  if (course->runs_back) return;
  if (before * course->x[OUTPUT] <= 0.0) course->is_stopped = true;
  if (course->is_stopped) sb_course_hold(course, OUTPUT);
}

/* The torque of a slipping clutch at the output. */
static double clutch_nm(const struct sb_course_machine *machine, const struct sb_course *course)
{
  const struct sb_gear *gear = gear_of(machine, course);
  const double nm = course->slip_direction * course->plan.clutch_nm / sb_course_ratio(machine, course);
  if (nm * course->x[OUTPUT] >= 0.0) return nm * gear->efficiency;
  return nm / fmax(gear->back_efficiency, least_back_efficiency);
}

static void move_neutral(const struct sb_course_machine *machine, struct sb_course *course, double h)
{
  const struct sb_motor *motor = &machine->model->motor;
  const double output_before = course->x[OUTPUT], before = course->x[MOTOR];
  const bool is_slipping = course->link == SB_LINK_SLIP;
  const double taken_nm = is_slipping ? course->slip_direction * course->plan.clutch_nm : 0.0;
  const double a = -course->line.slope_nms_rad / motor->rotor_inertia_kg_m2, gain = gain_of(a, h);
  const double walk = free_walk * motor->no_load_speed_rad_s, deviation = sqrt(course->p[MOTOR][MOTOR]);
  struct step step = {.c = {0.0}};
  step.f[MOTOR][MOTOR] = exp(a * h);
  step.c[MOTOR] = gain * (constant_nm(machine, course, 0.0) - taken_nm) / motor->rotor_inertia_kg_m2;
  step.q[MOTOR][MOTOR] = walk * walk * h;
  add_output(machine, course, is_slipping ? clutch_nm(machine, course) : 0.0, h, &step);
  apply(course, &step);
  const double unknown = free_share * fabs(course->x[MOTOR] - before);
  course->p[MOTOR][MOTOR] += unknown * (2.0 * deviation + unknown); /* deviations of one cause add up */
  if (is_slipping) return;
  stop_output(course, output_before);
  if (course->line.duty == 0.0 && before * course->x[MOTOR] < 0.0) course->x[MOTOR] = 0.0;
}

/* What a shaft's spring brings is k twist + offset, in the gap nothing. */
struct spring {
  double k, d, offset_nm, inv;
};

static struct spring spring_of(const struct sb_course_machine *machine, const struct sb_course *course)
{
  const struct sb_driveshaft *shaft = &machine->model->driveshaft;
  const struct sb_gear *gear = gear_of(machine, course);
  const double half = 0.5 * shaft->backlash_rad, twist = course->x[TWIST], r = sb_course_ratio(machine, course);
  if (fabs(twist) < half) return (struct spring){.inv = 1.0 / gear->efficiency};
  struct spring spring = {.k = shaft->stiffness_nm_rad, .d = shaft->damping_nms_rad};
  spring.offset_nm = -copysign(half, twist) * spring.k;
  const double nm = spring.k * twist + spring.offset_nm + spring.d * (r * course->x[MOTOR] - course->x[OUTPUT]);
  spring.inv = nm * r * course->x[MOTOR] >= 0.0 ? 1.0 / gear->efficiency : fmax(gear->back_efficiency, 0.0);
  return spring;
}

/* Speeds first, then the twist with the new ones: stable where the step is short beside the swing. */
static void move_shaft(const struct sb_course_machine *machine, struct sb_course *course, double h)
{
  const struct spring spring = spring_of(machine, course);
  const double r = sb_course_ratio(machine, course), before = course->x[OUTPUT];
  const double motor = machine->model->motor.rotor_inertia_kg_m2, output = machine->model->load.inertia_kg_m2;
  const double to_motor = r * spring.inv * h / motor, to_output = h / output;
  const double walk = free_walk * machine->model->motor.no_load_speed_rad_s;
  const double constant = constant_nm(machine, course, gear_of(machine, course)->drag_nm);
  struct step step = {.c = {0.0}};
  add_output(machine, course, spring.offset_nm, h, &step);
  step.f[MOTOR][MOTOR] = exp(-course->line.slope_nms_rad / motor * h) - spring.d * r * to_motor;
  step.f[MOTOR][OUTPUT] = spring.d * to_motor;
  step.f[MOTOR][TWIST] = -spring.k * to_motor;
  step.c[MOTOR] = constant * h / motor - spring.offset_nm * to_motor;
  step.c[OUTPUT] = spring.offset_nm * to_output; /* a brake is off while engaged */
  step.f[OUTPUT][OUTPUT] -= spring.d * to_output;
  step.f[OUTPUT][MOTOR] += spring.d * r * to_output;
  step.f[OUTPUT][TWIST] += spring.k * to_output;
  for (int k = 0; k < STATES; k++) step.f[TWIST][k] = (k == TWIST) + h * (r * step.f[MOTOR][k] - step.f[OUTPUT][k]);
  step.c[TWIST] = h * (r * step.c[MOTOR] - step.c[OUTPUT]);
  step.q[MOTOR][MOTOR] = walk * walk * h;
  apply(course, &step);
  if (!machine->runs_back && before * course->x[OUTPUT] < 0.0) sb_course_hold(course, OUTPUT);
}

/* The joining of two inertias. */
static void join(const struct sb_course_machine *machine, struct sb_course *course)
{
  const double r = sb_course_ratio(machine, course), joined = inertia_of(machine, r, 1.0);
  const double before = course->x[MOTOR];
  struct step step = {.c = {0.0}};
  step.f[MOTOR][MOTOR] = machine->model->motor.rotor_inertia_kg_m2 / joined;
  step.f[MOTOR][OUTPUT] = machine->model->load.inertia_kg_m2 * r / joined;
  step.f[LOAD][LOAD] = 1.0;
  tie_output(&step, r);
  apply(course, &step);
  const double unknown = join_share * (course->x[MOTOR] - before), variance = unknown * unknown;
  course->p[MOTOR][MOTOR] += variance;
  course->p[MOTOR][OUTPUT] = course->p[OUTPUT][MOTOR] += r * variance;
  course->p[OUTPUT][OUTPUT] += r * r * variance;
}

void sb_course_engage(const struct sb_course_machine *machine, struct sb_course *course)
{
  if (!machine->has_shaft) join(machine, course);
  sb_course_hold(course, TWIST);
  course->p[LOAD][LOAD] += load_share * load_share * machine->load_nm * machine->load_nm;
  course->link = SB_LINK_MESH;
  course->is_stopped = course->is_parted = course->runs_back = false;
  course->plan = (struct sb_shift_plan){0};
  sb_course_take_line(machine, course);
}

/* Counts the motor's turns since its reversal; engages where neutral ends. */
static void look_for_end(const struct sb_course_machine *machine, struct sb_course *course, double h)
{
  const struct sb_shift_plan *plan = &course->plan;
  if (course->link == SB_LINK_MESH) return;
  const double speed = gear_of(machine, course)->motor_direction * course->x[MOTOR];
  if (speed >= 0.0) course->is_turned = true;
  if (course->is_turned) course->turned_rad += speed * h;
  const double lead = course->x[MOTOR] - course->x[OUTPUT] / sb_course_ratio(machine, course);
  const bool has_met = course->link == SB_LINK_SLIP && !(course->slip_direction * lead > 0.0);
  const bool is_due = plan->engage_time_s <= course->time_s + 1e-9;
  const bool is_turned_enough = course->is_turned && course->turned_rad >= plan->engage_turn_rad;
  if (has_met || is_due || is_turned_enough) sb_course_engage(machine, course);
}

static double step_of(const struct sb_course_machine *machine, const struct sb_course *course, double until_s)
{
  const double left_s = until_s - course->time_s;
  if (course->link == SB_LINK_MESH) return machine->has_shaft ? fmin(left_s, shaft_step_s) : left_s;
  const double due_s = fmax(course->plan.engage_time_s - course->time_s, 0.0);
  return fmin(fmin(left_s, neutral_step_s), due_s);
}

static void move(const struct sb_course_machine *machine, struct sb_course *course, double h)
{
  if (course->link != SB_LINK_MESH) {
    move_neutral(machine, course, h);
  } else if (course->is_resting) {
    course->p[LOAD][LOAD] += machine->load_nm * machine->load_nm * h;
  } else if (machine->has_shaft) {
    move_shaft(machine, course, h);
  } else {
    move_mesh(machine, course, h);
  }
}

void sb_course_move(const struct sb_course_machine *machine, struct sb_course *course, double until_s)
{
  while (course->time_s < until_s - 1e-10) {
    const double h = step_of(machine, course, until_s);
    if (machine->model->supply.current_limit_a > 0.0)
      sb_course_take_line(machine, course); /* its piece at this speed */
    move(machine, course, h);
    course->time_s += h;
    if (until_s - course->time_s < 1e-10) course->time_s = until_s;
    look_for_end(machine, course, h);
  }
}

void sb_course_command(const struct sb_course_machine *machine, struct sb_course *course, int gear)
{
  const struct sb_model *model = machine->model;
  course->is_resting = false;
  course->gear = gear;
  course->plan = model->shifter.ops->plan(&model->shifter, course->time_s);
  /* A clutch before a shaft that gives holds. */
  const bool is_held = course->plan.clutch_nm > 0.0 && model->driveshaft.is_present;
  const double lead = course->x[MOTOR] - course->x[OUTPUT] / sb_course_ratio(machine, course);
  course->link = course->plan.clutch_nm > 0.0 && !is_held ? SB_LINK_SLIP : SB_LINK_OPEN;
  course->turned_rad = 0.0;
  course->is_turned = gear_of(machine, course)->motor_direction * course->x[MOTOR] >= 0.0;
  course->slip_direction = sb_sign_of(lead);
  sb_course_take_line(machine, course);
  if (is_held) {
    sb_course_engage(machine, course);
  } else {
    look_for_end(machine, course, 0.0);
  }
}
