// SPDX-License-Identifier: 0BSD
/* Gear selection by hysteresis: see controller.h. Comparisons and counts only, so that it fits the smallest target. */
#include "shiftband/controller.h"

void sb_controller_start(const struct sb_controller_setup *setup, struct sb_controller_state *state, uint8_t gear)
{
  if (gear > setup->gear_count) gear = setup->gear_count;
  if (gear > SB_CONTROLLER_GEAR_MAX) gear = SB_CONTROLLER_GEAR_MAX;
  if (gear < 1) gear = 1;
  state->wait_samples = setup->start_delay_samples;
  state->gear = gear;
  state->below_count = 0;
  state->above_count = 0;
}

/* The next length of a run of readings: one more when this reading belongs to it, else none. */
static uint8_t counted(uint8_t count, uint8_t is_beyond)
{
  if (!is_beyond) return 0;
  return count < UINT8_MAX ? (uint8_t)(count + 1) : count;
}

static void command(const struct sb_controller_setup *setup, struct sb_controller_state *state, uint8_t gear)
{
  state->gear = gear;
  state->below_count = 0;
  state->above_count = 0;
  /* The sample of the command is the first of the dwell. */
  state->wait_samples = setup->dwell_samples > 0 ? setup->dwell_samples - 1 : 0;
}

uint8_t sb_controller_update_between(const struct sb_controller_setup *setup, struct sb_controller_state *state,
                                     int32_t least, int32_t greatest, uint8_t is_engaged)
{
  const uint8_t gear = state->gear;
  const uint8_t debounce = setup->debounce_samples > 0 ? setup->debounce_samples : 1;
  const uint8_t has_lower = gear > 1 && gear <= SB_CONTROLLER_GEAR_MAX;
  const uint8_t has_higher = gear >= 1 && gear < setup->gear_count && gear < SB_CONTROLLER_GEAR_MAX;

  if (state->wait_samples > 0) {
    state->wait_samples--;
    is_engaged = 0; /* as in neutral: nothing is decided and nothing is counted */
  }
  state->below_count = counted(state->below_count, is_engaged && has_lower && least < setup->downshift_below[gear - 2]);
  state->above_count =
      counted(state->above_count, is_engaged && has_higher && greatest > setup->upshift_above[gear - 1]);

  if (state->below_count >= debounce) {
    command(setup, state, (uint8_t)(gear - 1));
  } else if (state->above_count >= debounce) {
    command(setup, state, (uint8_t)(gear + 1));
  }
  return state->gear;
}

uint8_t sb_controller_update(const struct sb_controller_setup *setup, struct sb_controller_state *state,
                             int32_t reading, uint8_t is_engaged)
{
  return sb_controller_update_between(setup, state, reading, reading, is_engaged);
}
