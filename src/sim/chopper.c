// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/chopper.h"

#include <math.h>

double sb_chopper_slack_rad_s(const struct sb_sim *sim)
{
  static const double slack = 1e-12;
  return slack * sim->model->motor.no_load_speed_rad_s;
}

bool sb_chopper_is_on_piece(const struct sb_sim *sim, double x)
{
  const struct sb_limiter_piece *piece = &sim->segment->piece;
  const double slack_rad_s = sb_chopper_slack_rad_s(sim);
  return x > piece->from_rad_s - slack_rad_s && x < piece->to_rad_s + slack_rad_s;
}

static bool is_moving(const struct sb_sim *sim)
{
  return sim->state.motor_direction != 0;
}

static bool has_lower(const struct sb_sim *sim)
{
  return is_moving(sim) && isfinite(sim->segment->piece.from_rad_s);
}

static bool has_upper(const struct sb_sim *sim)
{
  return is_moving(sim) && isfinite(sim->segment->piece.to_rad_s);
}

static int lower_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const double end_rad_s = sim->segment->piece.from_rad_s - sb_chopper_slack_rad_s(sim);
  falls[0] = sb_series_scaled(&m->x, m->degree, 1.0, -end_rad_s);
  return 1;
}

static int upper_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const double end_rad_s = sim->segment->piece.to_rad_s + sb_chopper_slack_rad_s(sim);
  falls[0] = sb_series_scaled(&m->x, m->degree, -1.0, end_rad_s);
  return 1;
}

static double lower_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return m->x_range.least - (sim->segment->piece.from_rad_s - sb_chopper_slack_rad_s(sim));
}

static double upper_floor(const struct sb_sim *sim, const struct sb_motion *m)
{
  return sim->segment->piece.to_rad_s + sb_chopper_slack_rad_s(sim) - m->x_range.greatest;
}

static void go_down(struct sb_sim *sim)
{
  sim->state.feed.piece--;
}

static void go_up(struct sb_sim *sim)
{
  sim->state.feed.piece++;
}

const struct sb_guard sb_chopper_guards[] = {
    {has_lower, lower_falls, go_down, lower_floor},
    {has_upper, upper_falls, go_up, upper_floor},
    {NULL, NULL, NULL, NULL},
};
