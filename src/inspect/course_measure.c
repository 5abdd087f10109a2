// SPDX-License-Identifier: GPL-3.0-or-later
/* What a value of the log says about a course; see course.h. */
#include <math.h>

#include "inspect/course.h"

enum { MOTOR = SB_COURSE_MOTOR, OUTPUT = SB_COURSE_OUTPUT, LOAD = SB_COURSE_LOAD, TWIST = SB_COURSE_TWIST };

/* What is possible, but seldom, costs this, as logarithms of likelihood: a load that steps, a speed that nothing explains, coming
 * to rest or starting, and a clutch whose sides meet just now. */
static const double step_cost = 6.0, jump_cost = 8.0, rest_cost = 3.0, meet_cost = 3.0;

/* The size of jumps, and how far the sides of a clutch must be unknown to meet unseen, as shares of the no-load speed. */
static const double jump_size = 0.3, unseen_least = 0.01;

static double square(double value)
{
  return value * value;
}

static double log_density(const struct sb_course_machine *machine, double off, double variance)
{
  const double least = fmax(variance, machine->least_variance);
  return -0.5 * (square(off) / least + log(least));
}

static double log_likelihood(const struct sb_course_machine *machine, const struct sb_course *course,
                             double speed_rad_s)
{
  const double variance = square(machine->noise_rad_s);
  return log_density(machine, speed_rad_s - course->x[MOTOR], course->p[MOTOR][MOTOR] + variance);
}

void sb_course_update(struct sb_course *course, double speed_rad_s, double variance)
{
  const double off = speed_rad_s - course->x[MOTOR], total = course->p[MOTOR][MOTOR] + variance;
  double gain[SB_COURSE_STATES], row[SB_COURSE_STATES];
  for (int k = 0; k < SB_COURSE_STATES; k++) {
    gain[k] = course->p[k][MOTOR] / total;
    row[k] = course->p[MOTOR][k];
  }
  for (int i = 0; i < SB_COURSE_STATES; i++) {
    course->x[i] += gain[i] * off;
    for (int k = 0; k < SB_COURSE_STATES; k++) course->p[i][k] -= gain[i] * row[k];
  }
}

static bool is_rigid(const struct sb_course_machine *machine, const struct sb_course *course)
{
  return course->link == SB_LINK_MESH && !machine->has_shaft;
}

static void add_covariance(struct sb_course *course, int i, int k, double value)
{
  course->p[i][k] += value;
  if (i != k) course->p[k][i] += value;
}

/* The load may have stepped at any time since the last value. */
static void allow_step(const struct sb_course_machine *machine, struct sb_course *course, double since_s)
{
  const struct sb_model *model = machine->model;
  const double r = sb_course_ratio(machine, course), variance = square(machine->load_nm);
  const double inv = 1.0 / model->gearbox.gears[course->gear].efficiency;
  const double inertia = model->motor.rotor_inertia_kg_m2 + model->load.inertia_kg_m2 * r * r * inv;
  const double change = -r * inv * since_s / inertia; /* of the speed, at the end, by a step at the beginning */
  add_covariance(course, LOAD, LOAD, variance);
  if (!is_rigid(machine, course)) return;
  add_covariance(course, MOTOR, MOTOR, square(change) * variance / 3.0);
  add_covariance(course, MOTOR, OUTPUT, r * square(change) * variance / 3.0);
  add_covariance(course, OUTPUT, OUTPUT, square(r * change) * variance / 3.0);
  add_covariance(course, MOTOR, LOAD, change * variance / 2.0);
  add_covariance(course, OUTPUT, LOAD, r * change * variance / 2.0);
}

/* Nothing is known of the motor's speed any more. */
static void allow_jump(const struct sb_course_machine *machine, struct sb_course *course)
{
  const double r = sb_course_ratio(machine, course);
  const double variance = square(jump_size * machine->model->motor.no_load_speed_rad_s);
  const bool has_output = is_rigid(machine, course);
  for (int k = 0; k < SB_COURSE_STATES; k++) {
    course->p[MOTOR][k] = course->p[k][MOTOR] = 0.0;
    if (has_output) course->p[OUTPUT][k] = course->p[k][OUTPUT] = 0.0;
  }
  add_covariance(course, MOTOR, MOTOR, variance);
  add_covariance(course, LOAD, LOAD, square(machine->load_nm));
  if (!has_output) return;
  add_covariance(course, MOTOR, OUTPUT, r * variance);
  add_covariance(course, OUTPUT, OUTPUT, r * r * variance);
}

/* A machine at rest is held, whatever the load is. Returns whether that is what the value says, or that it starts. */
static bool measure_rest(const struct sb_course_machine *machine, struct sb_course *course, double speed_rad_s,
                         double since_s)
{
  const double variance = square(machine->noise_rad_s);
  const double rest = log_density(machine, speed_rad_s, variance);
  const bool was_resting = course->is_resting;
  struct sb_course moving = *course;
  if (was_resting) allow_step(machine, &moving, since_s);
  const double move = log_likelihood(machine, &moving, speed_rad_s);
  course->is_resting = was_resting ? rest >= move - rest_cost : rest - rest_cost >= move;
  if (course->is_resting) {
    sb_course_hold(course, MOTOR);
    sb_course_hold(course, OUTPUT);
    course->x[TWIST] = 0.0;
    course->score += was_resting ? rest : rest - rest_cost;
    return true;
  }
  if (!was_resting) return false;
  moving.is_resting = false;
  *course = moving;
  course->score += move - rest_cost;
  sb_course_update(course, speed_rad_s, variance);
  return true;
}

void sb_course_measure(const struct sb_course_machine *machine, struct sb_course *course, double speed_rad_s,
                       double since_s)
{
  const double variance = square(machine->noise_rad_s);
  const double reach = 5.0 * machine->noise_rad_s + 3.0 * sqrt(course->p[MOTOR][MOTOR]);
  const bool may_rest = course->link == SB_LINK_MESH && fabs(course->x[MOTOR]) <= reach;
  if (may_rest && measure_rest(machine, course, speed_rad_s, since_s)) return;
  struct sb_course stepped = *course, jumped = *course;
  allow_step(machine, &stepped, since_s);
  allow_jump(machine, &jumped);
  const double plain = log_likelihood(machine, course, speed_rad_s);
  const double step = log_likelihood(machine, &stepped, speed_rad_s) - step_cost;
  const double jump = log_likelihood(machine, &jumped, speed_rad_s) - jump_cost;
  if (jump > plain && jump > step) {
    *course = jumped;
  } else if (step > plain) {
    *course = stepped;
  }
  course->score += fmax(plain, fmax(step, jump));
  sb_course_update(course, speed_rad_s, variance);
}

bool sb_course_meet(const struct sb_course_machine *machine, struct sb_course *course)
{
  const double per_output = 1.0 / sb_course_ratio(machine, course);
  double with[SB_COURSE_STATES]; /* covariances with the lead of the motor */
  for (int k = 0; k < SB_COURSE_STATES; k++) with[k] = course->p[k][MOTOR] - course->p[k][OUTPUT] * per_output;
  const double lead = course->x[MOTOR] - course->x[OUTPUT] * per_output;
  const double variance = with[MOTOR] - with[OUTPUT] * per_output;
  const double least = unseen_least * machine->model->motor.no_load_speed_rad_s;
  if (!(variance > least * least) || lead * lead > 9.0 * variance) return false;
  course->score -= 0.5 * lead * lead / variance + meet_cost;
  for (int i = 0; i < SB_COURSE_STATES; i++) {
    course->x[i] -= with[i] / variance * lead;
    for (int k = 0; k < SB_COURSE_STATES; k++) course->p[i][k] -= with[i] * with[k] / variance;
  }
  sb_course_engage(machine, course);
  return true;
}
