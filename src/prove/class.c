// SPDX-License-Identifier: GPL-3.0-or-later
/* class.c - whether a scenario is of the class in which sets of states are ordered; else the key that takes it out. */
#include <stddef.h>

#include "shiftband/model.h"
#include "shiftband/prove.h"

/* Sets are followed from sample to sample, for many time constants, and through each wait. */
enum { SAMPLES_MAX = 10000, WAIT_SAMPLES_MAX = 100000 };

static bool has_ramp(const struct sb_model *model)
{
  return model->drive.ramp_s > 0.0;
}

static bool has_speed_control(const struct sb_model *model)
{
  return model->drive.mode == SB_DRIVE_SPEED_CONTROL;
}

static bool has_schedule(const struct sb_model *model)
{
  return model->drive.schedule.count > 0;
}

static bool has_battery(const struct sb_model *model)
{
  return model->battery.is_present;
}

static bool has_winding(const struct sb_model *model)
{
  return model->winding.is_present;
}

static bool has_shaft(const struct sb_model *model)
{
  return model->driveshaft.is_present;
}

static bool can_slip(const struct sb_model *model)
{
  return model->load.road.can_slip;
}

static bool has_obstacles(const struct sb_model *model)
{
  return model->load.road.obstacle_count > 0;
}

static bool has_locking_clutch(const struct sb_model *model)
{
  return model->shifter.ops->has_clutch && sb_gearbox_has_locking(&model->gearbox);
}

static bool has_reversed(const struct sb_model *model)
{
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    if (model->gearbox.gears[g].output_direction != 1) return true;
  }
  return false;
}

static bool reads_otherwise(const struct sb_model *model)
{
  return model->control.sensor.quantity != SB_SENSES_SPEED;
}

static bool has_pulses(const struct sb_model *model)
{
  return model->control.sensor.pulses.per_turn > 0.0;
}

static bool has_noise(const struct sb_model *model)
{
  return model->control.sensor.noise_fraction > 0.0;
}

static bool has_supply_reference(const struct sb_model *model)
{
  return model->control.sensor.supply.is_present;
}

static bool has_single_gear(const struct sb_model *model)
{
  return model->gearbox.gear_count < 2;
}

static bool has_too_many_samples(const struct sb_model *model)
{
  const struct sb_derived derived = sb_model_derive(model);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    if (!(derived.time_constant_s[g + 1] <= SAMPLES_MAX * model->control.sample_period_s)) return true;
  }
  return false;
}

static bool has_long_start_delay(const struct sb_model *model)
{
  return model->control.start_delay_s > WAIT_SAMPLES_MAX * model->control.sample_period_s;
}

static bool has_long_dwell(const struct sb_model *model)
{
  return model->control.dwell_s > WAIT_SAMPLES_MAX * model->control.sample_period_s;
}

static const struct {
  bool (*is_outside)(const struct sb_model *model);
  const char *words;
} reasons[] = {
    {has_single_gear, "gearbox.gears: there is one gear, which nothing shifts"},
    {has_speed_control, "drive.mode: under speed control the motor's torque follows the past, not the speed alone"},
    {has_ramp, "drive.ramp: the duty changes with time"},
    {has_schedule, "drive.schedule: the drive is switched on and off"},
    {has_battery, "supply.battery: the voltage follows the charge that was drawn"},
    {has_winding, "motor.winding: the resistance follows the heat of the past"},
    {has_shaft, "gearbox.output_shaft: motor and output turn against each other"},
    {can_slip, "load.bodies: wheels can slip"},
    {has_obstacles, "load.bodies: bodies stand in the way"},
    {has_locking_clutch, "gearbox.back_efficiency: a gear locks itself, and a clutch slips"},
    {has_reversed, "gearbox.gears: gears turn the output in different directions"},
    {reads_otherwise, "controller.reading: it does not fall with the motor's speed alone"},
    {has_pulses, "controller.pulses: a reading of pulses follows the angle of the past"},
    {has_noise, "controller.noise: it has no bounds"},
    {has_supply_reference, "controller.reference: it follows the supply"},
    {has_too_many_samples, "controller.sample_period: a gear's time constant is more than 10,000 of them"},
    {has_long_start_delay, "controller.start_delay: it is more than 100,000 sample periods"},
    {has_long_dwell, "controller.dwell: it is more than 100,000 sample periods"},
};

const char *sb_prove_outside(const struct sb_model *model)
{
  for (size_t k = 0; k < sizeof reasons / sizeof reasons[0]; k++) {
    if (reasons[k].is_outside(model)) return reasons[k].words;
  }
  return NULL;
}
