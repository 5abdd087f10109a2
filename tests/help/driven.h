// SPDX-License-Identifier: GPL-3.0-or-later
/* driven.h - the simulator driven through given commands, its events noted in the same form as the oracle's. */
#ifndef SHIFTBAND_TESTS_DRIVEN_H
#define SHIFTBAND_TESTS_DRIVEN_H

#include "help/models.h"
#include "help/near.h"
#include "oracle/oracle.h"

struct driven {
  struct oracle_result seen;
  struct sb_state state;
  struct sb_sums sums;
  struct sb_row row;
};

static inline void driven_note(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct oracle_result *seen = context;
  const struct sb_row row = sb_sim_row(sim);
  if (seen->event_count == ORACLE_EVENT_MAX) return;
  seen->events[seen->event_count++] =
      (struct oracle_event){event, row.time_s, row.motor_speed_rad_s, row.output_speed_rad_s};
}

/* Commands stand at whole model steps. */
static inline struct driven drive(const struct sb_model *model, int gear, const struct oracle_command *commands,
                                  size_t command_count, double end_s)
{
  struct driven out = {.seen = {.event_count = 0}};
  struct sb_error err = {0};
  struct sb_sim sim;
  assert_int_equal(sb_sim_init(&sim, model, gear, &err), SB_OK);
  sim.observer = (struct sb_sim_observer){.context = &out.seen, .on_event = driven_note};
  if (sim.state.motor_direction != 0 && sim.state.motor_speed_rad_s == 0.0 &&
      sb_sim_row(&sim).phase != SB_PHASE_STANDSTILL)
    driven_note(&out.seen, &sim, SB_EVENT_STARTED);
  enum sb_status status = SB_OK;
  for (size_t i = 0; i < command_count && status == SB_OK; i++) {
    status = sb_sim_advance(&sim, sb_model_step_count(commands[i].time_s, model->run.step_s), &err);
    sb_sim_command(&sim, commands[i].gear);
  }
  if (status == SB_OK) status = sb_sim_advance(&sim, sb_model_step_count(end_s, model->run.step_s), &err);
  if (status != SB_OK) fail_msg("%s", err.text);
  out.sums = *sb_sim_sums(&sim);
  out.state = sim.state;
  out.row = sb_sim_row(&sim);
  out.seen.motor_speed_rad_s = out.row.motor_speed_rad_s;
  out.seen.output_speed_rad_s = out.row.output_speed_rad_s;
  out.seen.output_angle_rad = sim.state.output_angle_rad;
  out.seen.shift_loss_j = out.sums.energy.shift_loss;
  sb_sim_clear(&sim);
  return out;
}

static inline size_t driven_count(const struct oracle_result *seen, enum sb_event event)
{
  size_t count = 0;
  for (size_t i = 0; i < seen->event_count; i++) count += seen->events[i].event == event;
  return count;
}

/* Time of the nth (from 0) event of a kind, or NAN. */
static inline double driven_time_s(const struct oracle_result *seen, enum sb_event event, size_t nth)
{
  for (size_t i = 0; i < seen->event_count; i++) {
    if (seen->events[i].event == event && nth-- == 0) return seen->events[i].time_s;
  }
  return NAN;
}

#endif
