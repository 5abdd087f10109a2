// SPDX-License-Identifier: GPL-3.0-or-later
/* The controller along a course: how likely it commands a shift at a sample. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <string.h>

#include "inspect/course.h"

/* The reference of the model and the real one differ, as a fraction. */
static const double slack = 0.005;

/* What the reading deviates by beside what the speed is not known by. Where a mark of a pulse sensor stands is not known. */
static double own_deviation(const struct sb_course_machine *machine)
{
  const struct sb_sensor *sensor = &machine->model->control.sensor;
  const double pulse = sensor->pulses.per_turn > 0.0 ? 0.5 * sb_sensor_count_fraction(sensor) : 0.0;
  return hypot(hypot(slack, pulse), sensor->noise_fraction);
}

/* Long runs: counted while readings are rather beyond than not. Returns how likely the run is long enough now. */
static double count_long_run(double *length, int debounce, double beyond)
{
  *length = beyond > 0.5 ? *length + 1.0 : 0.0;
  return *length >= debounce ? beyond : 0.0;
}

/* Takes one reading that is beyond a threshold as likely as `beyond`; returns how likely the run is long enough now. */
static double count_run(double runs[SB_COURSE_DEBOUNCE], int debounce, double beyond)
{
  if (debounce > SB_COURSE_DEBOUNCE) return count_long_run(runs, debounce, beyond);
  const int length = debounce > 0 ? debounce : 1;
  const double reached = runs[length - 1] * beyond, left = 1.0 - reached;
  for (int k = length - 1; k > 0; k--) runs[k] = runs[k - 1] * beyond;
  runs[0] = 1.0 - beyond;
  for (int k = 0; k < length && left > 0.0; k++) runs[k] /= left;
  if (!(left > 0.0)) runs[0] = 1.0;
  return reached;
}

static void forget_runs(const struct sb_course_machine *machine, struct sb_course *course)
{
  memset(course->below, 0, sizeof course->below);
  memset(course->above, 0, sizeof course->above);
  if (machine->setup.debounce_samples <= SB_COURSE_DEBOUNCE) course->below[0] = course->above[0] = 1.0;
}

/* The reference, as a fraction of the model's, where it follows the supply. */
static double reference_share(const struct sb_course_machine *machine, const struct sb_course *course, double current_a)
{
  const struct sb_model *model = machine->model;
  const double sag_v = model->supply.internal_resistance_ohm * course->line.duty * current_a;
  return sb_sensor_reference_share(&model->control.sensor, course->voltage_v - sag_v);
}

/* What is read at a motor speed. */
static double input_at(const struct sb_course_machine *machine, const struct sb_course *course, double speed_rad_s)
{
  const int sense = machine->model->gearbox.gears[course->gear].motor_direction;
  const double current_a = sb_motor_current_a(&course->line, sense * speed_rad_s);
  return sb_sensor_input(&machine->model->control.sensor, speed_rad_s, course->line.duty, current_a) /
         reference_share(machine, course, current_a);
}

static void take_reading(const struct sb_course_machine *machine, struct sb_course *course)
{
  const double deviation = sqrt(course->p[SB_COURSE_MOTOR][SB_COURSE_MOTOR]), speed = course->x[SB_COURSE_MOTOR];
  const double low = input_at(machine, course, speed - 0.5 * deviation);
  const double high = input_at(machine, course, speed + 0.5 * deviation);
  const double gain = course->is_read ? machine->filter_gain : 1.0;
  course->is_read = true;
  course->reading += gain * (0.5 * (low + high) - course->reading);
  course->reading_variance += gain * ((high - low) * (high - low) - course->reading_variance);
}

/* The reading between the counts that do and that do not shift the gear down or up. */
static double limit_of(const struct sb_course_machine *machine, int gear, bool is_up)
{
  const struct sb_controller_setup *setup = &machine->setup;
  const double count = sb_sensor_count_fraction(&machine->model->control.sensor);
  return count * (is_up ? setup->upshift_above[gear] + 0.5 : setup->downshift_below[gear - 1] - 0.5);
}

void sb_course_sample(const struct sb_course_machine *machine, struct sb_course *course, double likely[2])
{
  const int debounce = machine->setup.debounce_samples;
  bool is_deciding =
      course->link == SB_LINK_MESH && sb_course_is_on(course) && course->time_s >= course->ready_s - 1e-9;
  likely[0] = likely[1] = 0.0;
  take_reading(machine, course);
  if (course->wait > 0) {
    course->wait--;
    is_deciding = false;
  }
  if (!is_deciding) {
    forget_runs(machine, course);
    return;
  }
  const double deviation = hypot(sqrt(course->reading_variance), own_deviation(machine));
  if (course->gear > 0) {
    const double below = limit_of(machine, course->gear, false) - course->reading;
    likely[0] = count_run(course->below, debounce, gsl_cdf_ugaussian_P(below / deviation));
  }
  if (course->gear + 1 < machine->setup.gear_count) {
    const double above = course->reading - limit_of(machine, course->gear, true);
    likely[1] = count_run(course->above, debounce, gsl_cdf_ugaussian_P(above / deviation));
  }
}

/* A speed that was thought to be on this side of the threshold was just beyond. */
static void suppose(const struct sb_course_machine *machine, struct sb_course *course, double limit, bool is_up)
{
  const struct sb_sensor *sensor = &machine->model->control.sensor;
  if (sensor->quantity != SB_SENSES_SPEED || machine->filter_gain < 1.0) return;
  const double speed = course->x[SB_COURSE_MOTOR], read = input_at(machine, course, speed);
  if (!(read > 0.0) || (is_up ? read >= limit : read <= limit)) return;
  const double deviation = own_deviation(machine) * sensor->reference_rad_s;
  sb_course_update(course, speed * limit / read, deviation * deviation);
}

void sb_course_decide(const struct sb_course_machine *machine, struct sb_course *course, int gear)
{
  const bool is_up = gear > course->gear;
  const unsigned dwell = machine->setup.dwell_samples;
  suppose(machine, course, limit_of(machine, course->gear, is_up), is_up);
  course->overstayed = 0.0;
  course->wait = dwell > 0 ? dwell - 1 : 0;
  forget_runs(machine, course);
}
