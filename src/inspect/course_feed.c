// SPDX-License-Identifier: GPL-3.0-or-later
/* What feeds the motor along a course: drive, battery and winding as the simulator moves them at ticks (sim/feed.c). */
#include <math.h>

#include "inspect/course.h"
#include "shiftband/limiter.h"

bool sb_course_is_on(const struct sb_course *course)
{
  return course->drive.command != SB_COMMAND_STOP && !course->is_cut_out && !course->is_empty;
}

static int sense_of(const struct sb_course_machine *machine, const struct sb_course *course)
{
  return machine->model->gearbox.gears[course->gear].motor_direction;
}

void sb_course_take_line(const struct sb_course_machine *machine, struct sb_course *course)
{
  const struct sb_model *model = machine->model;
  const bool is_off = !sb_course_is_on(course);
  const bool is_cut = course->link != SB_LINK_MESH && course->plan.is_drive_cut;
  if (is_cut || (is_off && model->drive.off == SB_OFF_COAST)) {
    course->line = sb_motor_line_open(&model->motor);
    course->is_current_held = false;
    return;
  }
  const struct sb_motor_circuit circuit = {.voltage_v = course->voltage_v,
                                           .motor_ohm = course->resistance_ohm,
                                           .supply_ohm = model->supply.internal_resistance_ohm,
                                           .magnet_ratio = course->magnet_ratio,
                                           .limit_a = course->is_empty ? 0.0 : model->supply.current_limit_a};
  const double duty = is_off ? 0.0 : course->drive.duty, x = sense_of(machine, course) * course->x[SB_COURSE_MOTOR];
  const int number = sb_limiter_number(&model->motor, &circuit, duty, x, SB_LIMITER_FREE, 0.0);
  course->line = sb_limiter_line(&model->motor, &circuit, duty, number);
  const struct sb_limiter_piece piece = sb_limiter_piece(&model->motor, &circuit, duty, number);
  course->line.duty = sb_limiter_duty(&piece, x);
  course->is_current_held = piece.held_a != 0.0;
}

static double charge_of(const struct sb_course_machine *machine, const struct sb_course *course)
{
  const struct sb_battery *battery = &machine->model->battery;
  return fmin(fmax(battery->charge_fraction - course->drawn_as / battery->capacity_as, 0.0), 1.0);
}

static void take_supply(const struct sb_course_machine *machine, struct sb_course *course)
{
  const struct sb_model *model = machine->model;
  course->voltage_v = model->battery.is_present ? sb_battery_voltage_v(&model->battery, charge_of(machine, course))
                                                : model->supply.open_circuit_voltage_v;
  course->resistance_ohm = model->motor.resistance_ohm;
  course->magnet_ratio = sb_magnet_ratio(&model->magnet, sb_magnet_c(&model->winding, &course->warmth));
  if (model->winding.is_present) {
    course->resistance_ohm *= sb_winding_resistance_ratio(&model->winding, course->warmth.winding_c);
  }
}

void sb_course_start_feed(const struct sb_course_machine *machine, struct sb_course *course)
{
  const struct sb_model *model = machine->model;
  course->drive = sb_drive_start(&model->drive, sense_of(machine, course) * course->x[SB_COURSE_MOTOR]);
  if (model->winding.is_present) {
    course->warmth = sb_winding_start(&model->winding);
    course->is_cut_out = course->warmth.winding_c >= model->winding.cut_out_c;
  }
  take_supply(machine, course);
  sb_course_take_line(machine, course);
}

static void warm(const struct sb_course_machine *machine, struct sb_course *course, double current_a)
{
  const struct sb_winding *winding = &machine->model->winding;
  if (!winding->is_present) return;
  const double loss_w = course->resistance_ohm * current_a * current_a;
  course->warmth = sb_winding_warmed_by(winding, &machine->lapse, &course->warmth, loss_w);
  const double limit_c = course->is_cut_out ? winding->reset_c : winding->cut_out_c;
  course->is_cut_out = course->is_cut_out ? course->warmth.winding_c > limit_c : course->warmth.winding_c >= limit_c;
}

static void discharge(const struct sb_course_machine *machine, struct sb_course *course, double current_a)
{
  const struct sb_battery *battery = &machine->model->battery;
  if (!battery->is_present) return;
  const double drawn_a = course->line.duty * current_a;
  course->drawn_as += drawn_a * machine->tick_s;
  const double terminal_v = course->voltage_v - machine->model->supply.internal_resistance_ohm * drawn_a;
  course->low_ticks = drawn_a > 0.0 && terminal_v < battery->cutoff_v ? course->low_ticks + 1 : 0;
  if (course->low_ticks > sb_model_step_count(battery->cutoff_delay_s, machine->tick_s)) course->is_empty = true;
  if (charge_of(machine, course) <= 0.0) course->is_empty = true;
}

void sb_course_tick(const struct sb_course_machine *machine, struct sb_course *course)
{
  const struct sb_model *model = machine->model;
  const double speed_rad_s = sense_of(machine, course) * course->x[SB_COURSE_MOTOR];
  const bool was_on = sb_course_is_on(course);
  const int command = course->drive.command;
  const double current_a = sb_motor_current_a(&course->line, speed_rad_s);
  warm(machine, course, current_a);
  discharge(machine, course, current_a);
  course->drive = sb_drive_tick(&model->drive, &course->drive, course->time_s, speed_rad_s, course->is_current_held);
  take_supply(machine, course);
  const bool is_on = sb_course_is_on(course), is_switched = is_on != was_on || course->drive.command != command;
  if (is_switched && is_on) course->ready_s = course->time_s + model->control.start_delay_s;
  sb_course_take_line(machine, course);
}
