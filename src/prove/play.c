// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/play.h"

#include <limits.h>
#include <math.h>

#include "shiftband/run.h"
#include "sim/segment.h"

enum sb_status sb_play_init(struct sb_play *play, const struct sb_model *model, struct sb_error *err)
{
  *play = (struct sb_play){.model = *model, .paths = {{.count = 1}, {.count = 1}}}; /* no load before the first stage */
  sb_edge_replace_parts(&play->model.load);
  play->model.load.breakaway_nm = sb_edge_load_of(model).breakaway_nm;
  play->rate_nm_s = model->load.bounds.rate_nm_s;
  play->is_acting = model->load.bounds.manner == SB_BOUNDS_ACTS;
  sb_edge_follow_path(sb_edge_acting_part(&play->model.load), &play->paths[0]);
  sb_edge_follow_path(sb_edge_resisting_part(&play->model.load), &play->paths[1]);
  play->setup = sb_run_controller_setup(model);
  return sb_sim_init(&play->sim, &play->model, model->control.start_gear - 1, err);
}

void sb_play_clear(struct sb_play *play)
{
  sb_sim_clear(&play->sim);
}

/* What comes up ------------------------------------------------------------------------------------------------------ */

static void take_greater(double *worst, double value)
{
  if (!(value <= *worst)) *worst = value; /* NAN is replaced by anything */
}

static void take_lesser(double *worst, double value)
{
  if (!(value >= *worst)) *worst = value;
}

static void end_standing(struct sb_play *play, double time_s)
{
  if (isnan(play->stood_since_s)) return;
  take_greater(&play->result->bounds[SB_PROVE_STANDING], time_s - play->stood_since_s);
  play->stood_since_s = NAN;
}

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct sb_play *play = context;
  const double now_s = sim->state.time_s;
  if (event == SB_EVENT_STOPPED) play->stood_since_s = now_s;
  if (event == SB_EVENT_STARTED || event == SB_EVENT_COMMAND) end_standing(play, now_s);
  if (event == SB_EVENT_ENGAGED) play->engaged_s = now_s;
}

static void before_engaging(void *context, const struct sb_sim *sim)
{
  struct sb_play *play = context;
  double *bounds = play->result->bounds;
  const double now_s = sim->state.time_s;
  take_greater(&bounds[SB_PROVE_SHIFT], now_s - play->command_s);
  take_lesser(&bounds[SB_PROVE_OUTPUT], fmin(play->command_output_rad_s, sim->state.output_speed_rad_s));
  if (isnan(play->at_rest_since_s) && sim->state.output_speed_rad_s == 0.0) play->at_rest_since_s = now_s;
  take_greater(&bounds[SB_PROVE_STANDSTILL], isnan(play->at_rest_since_s) ? 0.0 : now_s - play->at_rest_since_s);
}

static void take_sums(struct sb_play *play)
{
  double *bounds = play->result->bounds;
  const struct sb_sums *sums = sb_sim_sums(&play->sim);
  bounds[SB_PROVE_TORQUE] = fabs(sums->output_torque_nm.value);
  bounds[SB_PROVE_SPEED] = fabs(sums->motor_speed_rad_s.value);
  bounds[SB_PROVE_CURRENT] = play->model.motor.has_currents ? fabs(sums->motor_current_a.value) : NAN;
  bounds[SB_PROVE_SHOCK] =
      play->result->command_count > 0 && !play->model.shifter.ops->has_clutch ? fabs(sums->greatest_impulse_nms) : NAN;
}

static void take_command(struct sb_play *play)
{
  struct sb_play_result *result = play->result;
  const double now_s = play->sim.state.time_s;
  const int n = result->command_count++;
  if (n < SB_PLAY_COMMANDS_MAX) result->commands_s[n] = now_s;
  if (n >= 2 && n < SB_PLAY_COMMANDS_MAX) {
    take_lesser(&result->bounds[SB_PROVE_CYCLE_ONCE], now_s - result->commands_s[n - 2]);
  }
}

/* The game ------------------------------------------------------------------------------------------------------------- */

struct game {
  const struct sb_play_game *game;
  int stage;
  bool is_commanded;
  long long stage_end, next_sample;
  struct sb_controller_state controller;
  struct sb_reading reading;
};

/* A stage's torque comes as fast as the rate allows: both manners on straight lines. */
static void set_load(struct sb_play *play, const struct sb_play_stage *stage, int index, double now_s)
{
  const double to[2] = {stage->acting_nm, stage->resisting_nm};
  struct sb_play_result *result = play->result;
  double *from = result->from_nm[index];
  for (int k = 0; k < 2; k++) from[k] = index == 0 ? to[k] : sb_edge_path_at(&play->paths[k], now_s);
  const int limited = play->is_acting ? 0 : 1;
  const double ramp_s = isfinite(play->rate_nm_s) ? fabs(to[limited] - from[limited]) / play->rate_nm_s : 0.0;
  result->started_s[index] = now_s;
  result->arrived_s[index] = now_s + ramp_s;
  struct sb_load_part *parts[2] = {sb_edge_acting_part(&play->model.load), sb_edge_resisting_part(&play->model.load)};
  for (int k = 0; k < 2; k++) {
    play->paths[k] = (struct sb_edge_path){2, {now_s, now_s + ramp_s}, {from[k], to[k]}};
    sb_edge_follow_path(parts[k], &play->paths[k]);
  }
}

static void begin_stage(struct sb_play *play, struct game *g, int stage)
{
  const struct sb_play_stage *now = &g->game->stages[stage];
  const struct sb_state *state = &play->sim.state;
  g->stage = stage;
  g->is_commanded = false;
  if (stage > 0) set_load(play, now, stage, state->time_s);
  const bool is_last = stage + 1 == g->game->stage_count;
  g->stage_end = is_last ? LLONG_MAX : state->step + (long long)fmax(1.0, round(now->time_s / play->sim.step_s));
  if (stage > 0) sb_sim_take_load(&play->sim);
}

static void take_sample(struct sb_play *play, struct game *g)
{
  struct sb_sim *sim = &play->sim;
  struct sb_row row = sb_sim_row(sim);
  const double input = sb_sensor_input(&play->model.control.sensor, row.motor_speed_rad_s, row.duty_fraction, 0.0);
  const int32_t count = sb_sensor_take_input(&g->reading, &play->model.control.sensor, input, 0.0);
  const int before = sim->state.gear + 1;
  const int gear = sb_controller_update(&play->setup, &g->controller, count, sb_sim_is_deciding(sim));
  g->next_sample += sim->samples.of;
  if (gear == before) return;
  take_command(play);
  play->command_s = sim->state.time_s;
  play->command_output_rad_s = sim->state.output_speed_rad_s;
  play->at_rest_since_s = NAN;
  g->is_commanded = true;
  sb_sim_command(sim, gear - 1);
}

/* In a shift step by step: when the output comes to rest. */
static long long next_step(const struct sb_play *play, const struct game *g, long long last)
{
  const long long step = play->sim.state.step;
  long long next = g->next_sample < g->stage_end ? g->next_sample : g->stage_end;
  if (!sb_sim_is_engaged(&play->sim)) next = step + 1 < next ? step + 1 : next;
  return next < last ? next : last;
}

static void watch_rest(struct sb_play *play)
{
  const struct sb_sim *sim = &play->sim;
  if (sb_sim_is_engaged(sim)) return;
  if (sim->state.output_speed_rad_s != 0.0) play->at_rest_since_s = NAN;
  if (isnan(play->at_rest_since_s) && sim->state.output_speed_rad_s == 0.0) {
    play->at_rest_since_s = sim->segment->start_s;
  }
}

static enum sb_status go(struct sb_play *play, struct game *g, struct sb_error *err)
{
  const long long last = sb_model_step_count(g->game->duration_s, play->sim.step_s);
  const int stages = g->game->stage_count;
  for (;;) {
    const struct sb_state *state = &play->sim.state;
    if (state->step == g->next_sample && state->step < last) take_sample(play, g);
    const bool is_ended =
        state->step >= g->stage_end || (g->is_commanded && g->game->stages[g->stage].is_until_command);
    if (is_ended && g->stage + 1 < stages) begin_stage(play, g, g->stage + 1);
    if (state->step >= last) return SB_OK;
    const enum sb_status status = sb_sim_advance(&play->sim, next_step(play, g, last), err);
    if (status != SB_OK) return status;
    watch_rest(play);
  }
}

/* The time since the load has come to its last torque until the last gear was engaged; 0: no shift came any more. */
static void take_settling(struct sb_play *play, const struct game *g)
{
  struct sb_play_result *result = play->result;
  const double from_s = result->arrived_s[g->game->stage_count - 1];
  result->last_gear = play->sim.state.gear;
  if (!isfinite(from_s) || !sb_sim_is_engaged(&play->sim)) return;
  const double time_s = play->engaged_s > from_s ? play->engaged_s - from_s : 0.0;
  result->bounds[SB_PROVE_RETURN_TIME] = result->bounds[SB_PROVE_REACTION_TIME] = time_s;
}

enum sb_status sb_play_run(struct sb_play *play, const struct sb_play_game *game, struct sb_play_result *result,
                           struct sb_error *err)
{
  struct game g = {.game = game};
  const struct sb_model *model = &play->model;
  const int gear = model->control.start_gear;
  *result = (struct sb_play_result){.command_count = 0};
  for (int k = 0; k < SB_PROVE_BOUNDS; k++) result->bounds[k] = NAN;
  for (int k = 0; k < SB_PLAY_STAGES_MAX; k++) result->started_s[k] = result->arrived_s[k] = INFINITY;
  play->result = result;
  play->stood_since_s = play->command_s = play->at_rest_since_s = NAN;
  play->engaged_s = -INFINITY;
  enum sb_status status = sb_sensor_init(&g.reading, &model->control.sensor, model->control.sample_period_s, err);
  if (status != SB_OK) return status;
  set_load(play, &game->stages[0], 0, 0.0);
  sb_controller_start(&play->setup, &g.controller, (uint8_t)gear);
  const struct sb_gear *path = &model->gearbox.gears[gear - 1];
  const double output = model->run.initial_output_speed_rad_s;
  const struct sb_sim_place place = {gear - 1, output * path->ratio * path->output_direction, output, 0.0};
  play->sim.observer = (struct sb_sim_observer){NULL, NULL, NULL};
  sb_sim_begin_at(&play->sim, &place);
  play->sim.observer = (struct sb_sim_observer){play, on_event, before_engaging};
  if (sb_segment_is_standing(&play->sim)) play->stood_since_s = 0.0;
  begin_stage(play, &g, 0);
  status = go(play, &g, err);
  end_standing(play, play->sim.state.time_s);
  take_sums(play);
  take_settling(play, &g);
  sb_sensor_clear(&g.reading);
  return status;
}
