// SPDX-License-Identifier: GPL-3.0-or-later
/* scaled.c - see scaled.h. */
#include "help/scaled.h"

#include <math.h>

#include "help/near.h"

struct scale scale_of(int k, int n)
{
  return (struct scale){.torque = ldexp(1.0, -k),
                        .speed = ldexp(1.0, k),
                        .time = ldexp(1.0, n),
                        .angle = ldexp(1.0, k + n),
                        .inertia = ldexp(1.0, n - 2 * k)};
}

/* A table's column in the room, times a factor. */
static const double *column(const double *from, size_t count, double factor, double **room)
{
  double *out = *room;
  for (size_t i = 0; i < count; i++) out[i] = factor * from[i];
  *room += count;
  return out;
}

static void scale_drive(struct sb_drive *drive, const struct scale *s, double **room)
{
  drive->target_rad_s *= s->speed;
  drive->gain_per_rad_s /= s->speed;
  drive->integral_per_rad /= s->angle;
  drive->period_s *= s->time;
  drive->ramp_s *= s->time;
  drive->schedule.x = column(drive->schedule.x, drive->schedule.count, s->time, room);
}

static void scale_motor(struct sb_model *model, const struct scale *s)
{
  struct sb_error err;
  model->motor.no_load_speed_rad_s *= s->speed;
  model->motor.stall_torque_nm *= s->torque;
  model->motor.rotor_inertia_kg_m2 *= s->inertia;
  assert_int_equal(sb_motor_derive(&model->motor, &err), SB_OK);
  model->battery.capacity_as *= s->time;
  model->battery.cutoff_delay_s *= s->time;
  model->winding.capacity_j_k *= s->time;
  model->winding.housing_capacity_j_k *= s->time;
}

static void scale_box(struct sb_model *model, const struct scale *s)
{
  model->shifter.swing_turns *= s->angle;
  model->shifter.clutch_nm *= s->torque;
  model->shifter.travel_time_s *= s->time;
  model->shifter.timeout_s *= s->time;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    struct sb_gear *gear = &model->gearbox.gears[g];
    gear->drag_nm *= s->torque;
    for (int m = 0; m < gear->mesh_count; m++) gear->meshes[m].inertia_kg_m2 *= s->inertia;
  }
  sb_gearbox_derive(&model->gearbox);
  model->driveshaft.stiffness_nm_rad *= s->torque / s->angle;
  model->driveshaft.damping_nms_rad *= s->torque / s->speed;
  model->driveshaft.backlash_rad *= s->angle;
}

static void scale_control(struct sb_model *model, const struct scale *s)
{
  model->control.sample_period_s *= s->time;
  model->control.start_delay_s *= s->time;
  model->control.dwell_s *= s->time;
  model->control.sensor.reference_rad_s *= s->speed;
  model->control.sensor.filter_s *= s->time;
  model->run.duration_s *= s->time;
  model->run.step_s *= s->time;
  model->run.trace_interval_s *= s->time;
  model->run.initial_output_speed_rad_s *= s->speed;
  model->limits.output_torque_nm *= s->torque;
  model->limits.stall_time_s *= s->time;
  model->limits.slip_time_s *= s->time;
  model->limits.hunt_window_s *= s->time;
  model->limits.shift_rate_per_s /= s->time;
  model->limits.motor_speed_rad_s *= s->speed;
  model->limits.run_back_rad *= s->angle;
  model->limits.clutch_slip_time_s *= s->time;
}

static void scale_part(struct sb_load_part *part, const struct scale *s, double **room)
{
  const double along = part->axis == SB_OVER_TURNS ? s->angle : s->time;
  part->torque_nm *= s->torque;
  part->breakaway_nm *= s->torque;
  part->viscous_nms_rad *= s->torque / s->speed;
  part->quadratic_nms2_rad2 *= s->torque / s->speed / s->speed;
  part->mean_nm *= s->torque;
  part->amplitude_nm *= s->torque;
  part->period *= along;
  part->table.x = column(part->table.x, part->table.count, along, room);
  part->table.y = column(part->table.y, part->table.count, part->is_grade ? 1.0 : s->torque, room);
}

/* Its wheels stay as they are: so masses scale like inertias, and forces like torques. */
static void scale_road(struct sb_road *road, const struct scale *s, double **room)
{
  road->inertia_kg_m2 *= s->inertia;
  road->weight_nm *= s->torque;
  road->press_nm *= s->torque;
  road->gravity_m_s2 *= s->torque / s->inertia;
  road->finish_rad *= s->angle;
  road->grade.x = column(road->grade.x, road->grade.count, s->angle, room);
  for (int i = 0; i < road->obstacle_count; i++) {
    struct sb_obstacle *body = &road->obstacles[i];
    body->angle_rad *= s->angle;
    body->inertia_kg_m2 *= s->inertia;
    body->friction_nm *= s->torque;
    body->breakaway_nm *= s->torque;
  }
}

struct sb_model scaled_model(const struct sb_model *model, const struct scale *scale, double room[SCALED_ROOM])
{
  struct sb_model out = *model;
  double *next = room;
  scale_motor(&out, scale);
  scale_drive(&out.drive, scale, &next);
  scale_box(&out, scale);
  scale_control(&out, scale);
  out.load.inertia_kg_m2 *= scale->inertia;
  out.load.breakaway_nm *= scale->torque;
  out.load.brake_nm *= scale->torque;
  for (int i = 0; i < out.load.part_count; i++) scale_part(&out.load.parts[i], scale, &next);
  scale_road(&out.load.road, scale, &next);
  assert_true(next - room <= SCALED_ROOM);
  out.body_count = 0;
  return out;
}
