// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * witness.c - load profiles whose runs come near to the bounds.
 *
 * Games (play.h) of a few stages are played first: from a steady state, also one just beside a threshold, one end of the
 * bounds until the next command, then the other end at once, after a dwell, or after a steady state. The best of them for a
 * bound is then bettered: lengths and torques of its stages are moved by steps that are halved where none helps.
 */
#include <math.h>
#include <stdlib.h>

#include "prove/answer.h"
#include "prove/play.h"
#include "prove/reach.h"
#include "theory/steady.h"

/* A load that changes more slowly than in such a time is not waited for. */
static const double ramp_most_s = 30.0;

enum { PHASES_MAX = 3, HOLDS = 4, STARTS = 4, ROUNDS = 14, LASTING_COMMANDS = 8 };

struct search {
  struct sb_prove *prove;
  struct sb_play play;
  double
      beside[2]; /* shares of the bounds at which the fast gear is just above, the slow one just below its threshold */
  double steady_s, dwell_s;
  double ramp_s; /* the load needs from one end of its bounds to the other */
  double late_s; /* from a command to a little before the next one may come */
  struct sb_play_game best[SB_PROVE_BOUNDS];
  enum sb_status status;
  struct sb_error err;
};

/* Whether the load changes at a bounded rate. */
static bool is_slow(const struct sb_prove *prove)
{
  return isfinite(prove->model->load.bounds.rate_nm_s);
}

/* Games ---------------------------------------------------------------------------------------------------------------- */

static void add_stage(const struct search *search, struct sb_play_game *game, double share, bool is_until_command,
                      double time_s)
{
  const struct sb_prove *prove = search->prove;
  const double s = fmin(fmax(share, 0.0), 1.0);
  if (game->stage_count == SB_PLAY_STAGES_MAX) return;
  game->stages[game->stage_count++] = (struct sb_play_stage){
      .acting_nm = prove->acting_nm[0] + s * (prove->acting_nm[1] - prove->acting_nm[0]),
      .resisting_nm = prove->resisting_nm[0] + s * (prove->resisting_nm[1] - prove->resisting_nm[0]),
      .is_until_command = is_until_command,
      .time_s = time_s};
}

static void set_duration(const struct search *search, struct sb_play_game *game)
{
  game->duration_s = 2.0 * search->steady_s + search->ramp_s;
  for (int k = 0; k + 1 < game->stage_count; k++) game->duration_s += game->stages[k].time_s;
}

/* What a shift of a way is waited for with: the heaviest load for a downshift. */
static double end_of(int way)
{
  return way == SB_REACH_DOWN ? 1.0 : 0.0;
}

static void add_phase(const struct search *search, struct sb_play_game *game, int way, int hold)
{
  const double opposite = 1.0 - end_of(way);
  if (hold == 1) add_stage(search, game, end_of(way), false, search->dwell_s);
  if (hold == 2) add_stage(search, game, opposite, false, search->dwell_s);
  if (hold == 3) add_stage(search, game, search->beside[way], false, search->steady_s);
  add_stage(search, game, end_of(way), true, search->steady_s);
}

/* Taking ---------------------------------------------------------------------------------------------------------------- */

static bool is_least(int bound)
{
  return bound == SB_PROVE_CYCLE_ONCE || bound == SB_PROVE_CYCLE_LASTING || bound == SB_PROVE_SWING ||
         bound == SB_PROVE_OUTPUT;
}

bool sb_answer_is_worse(int bound, double value, double than)
{
  if (isnan(value)) return false;
  return isnan(than) || (is_least(bound) ? value < than : value > than);
}

static bool is_at_end(const struct search *search, const struct sb_play_game *game, int end)
{
  const struct sb_prove *prove = search->prove;
  const struct sb_play_stage *last = &game->stages[game->stage_count - 1];
  return last->acting_nm == prove->acting_nm[end] && last->resisting_nm == prove->resisting_nm[end];
}

/* Whether a game speaks of a bound. */
static bool tells(const struct search *search, const struct sb_play_game *game, int bound)
{
  if (bound == SB_PROVE_RETURN_TIME) return is_at_end(search, game, 0);
  if (bound == SB_PROVE_REACTION_TIME) return is_at_end(search, game, 1) && !isnan(search->prove->bounds[bound]);
  return bound != SB_PROVE_SWING && bound != SB_PROVE_CYCLE_LASTING;
}

static void add_corner(struct sb_prove_profile *profile, double time_s, double acting_nm, double resisting_nm)
{
  profile->time_s[profile->count] = time_s;
  profile->acting_nm[profile->count] = acting_nm;
  profile->resisting_nm[profile->count++] = resisting_nm;
}

static void keep_profile(struct sb_prove *prove, int bound, const struct sb_play_game *game,
                         const struct sb_play_result *result)
{
  struct sb_prove_profile *profile = &prove->profiles[bound];
  *profile = (struct sb_prove_profile){.duration_s = game->duration_s, .is_linear = is_slow(prove)};
  for (int k = 0; k < game->stage_count && isfinite(result->started_s[k]); k++) {
    const struct sb_play_stage *stage = &game->stages[k];
    const bool is_last = k + 1 == game->stage_count;
    if (profile->is_linear && k > 0) {
      add_corner(profile, result->started_s[k], result->from_nm[k][0], result->from_nm[k][1]);
    }
    if (is_last || !(result->arrived_s[k] > result->started_s[k + 1])) {
      add_corner(profile, result->arrived_s[k], stage->acting_nm, stage->resisting_nm);
    }
  }
}

static void take(struct search *search, const struct sb_play_game *game, const struct sb_play_result *result, int bound)
{
  struct sb_prove *prove = search->prove;
  if (!tells(search, game, bound) || !sb_answer_is_worse(bound, result->bounds[bound], prove->reached[bound])) return;
  prove->reached[bound] = result->bounds[bound];
  search->best[bound] = *game;
  keep_profile(prove, bound, game, result);
}

static void play(struct search *search, struct sb_play_game *game, struct sb_play_result *result)
{
  if (search->status != SB_OK) return;
  set_duration(search, game);
  search->status = sb_play_run(&search->play, game, result, &search->err);
  search->prove->run_count++;
  for (int k = 0; k < SB_PROVE_BOUNDS && search->status == SB_OK; k++) take(search, game, result, k);
}

/* Seeds ---------------------------------------------------------------------------------------------------------------- */

/* All games of a number of phases that begin alike: holds as digits of a number. */
static void try_phases(struct search *search, const struct sb_play_game *start, int way, int phases)
{
  int count = 1;
  for (int k = 0; k < phases; k++) count *= HOLDS;
  for (int digits = 0; digits < count && search->status == SB_OK; digits++) {
    struct sb_play_game game = *start;
    int left = digits;
    for (int k = 0; k < phases; k++, left /= HOLDS) add_phase(search, &game, k % 2 == 0 ? way : 1 - way, left % HOLDS);
    for (int last = 0; last < 2; last++) {
      for (int held = 0; held < 2; held++) {
        struct sb_play_game ended = game;
        struct sb_play_result result;
        if (held > 0) add_stage(search, &ended, 1.0 - last, false, search->late_s);
        add_stage(search, &ended, last, false, 0.0);
        play(search, &ended, &result);
      }
    }
  }
}

static void try_seeds(struct search *search)
{
  const double starts[STARTS] = {0.0, 1.0, search->beside[SB_REACH_DOWN], search->beside[SB_REACH_UP]};
  for (int end = 0; end < 2; end++) {
    struct sb_play_game game = {.stage_count = 0};
    struct sb_play_result result;
    add_stage(search, &game, end, false, 0.0);
    play(search, &game, &result);
  }
  for (int k = 0; k < STARTS; k++) {
    struct sb_play_game start = {.stage_count = 0};
    add_stage(search, &start, starts[k], false, search->steady_s);
    for (int way = 0; way < SB_REACH_WAYS; way++) {
      for (int phases = 0; phases <= PHASES_MAX; phases++) try_phases(search, &start, way, phases);
    }
  }
}

/* Bettering ------------------------------------------------------------------------------------------------------------ */

static double share_of(const struct search *search, const struct sb_play_stage *stage)
{
  const struct sb_prove *prove = search->prove;
  const double acting = prove->acting_nm[1] - prove->acting_nm[0];
  const double resisting = prove->resisting_nm[1] - prove->resisting_nm[0];
  if (acting + resisting == 0.0) return 0.0;
  return (stage->acting_nm - prove->acting_nm[0] + stage->resisting_nm - prove->resisting_nm[0]) / (acting + resisting);
}

/* Moves one stage's length (what = 0) or torque by a step of its scale; false: it has none. */
static bool move(const struct search *search, struct sb_play_game *game, int stage, int what, double step)
{
  struct sb_play_stage *one = &game->stages[stage];
  if (stage + 1 == game->stage_count) return false;
  if (what == 0) {
    const double time_s = one->time_s + step * search->dwell_s;
    if (one->is_until_command || !(time_s > 0.0)) return false;
    one->time_s = time_s;
    return true;
  }
  const double share = share_of(search, one) + step;
  if (!(share >= 0.0 && share <= 1.0)) return false;
  struct sb_play_game moved = {.stage_count = 0};
  add_stage(search, &moved, share, one->is_until_command, one->time_s);
  *one = moved.stages[0];
  return true;
}

static void better(struct search *search, int bound)
{
  double step = 0.25;
  for (int round = 0; round < ROUNDS && search->status == SB_OK; round++) {
    const double before = search->prove->reached[bound];
    for (int k = 0; k < 4 * search->best[bound].stage_count; k++) {
      struct sb_play_game game = search->best[bound];
      struct sb_play_result result;
      if (move(search, &game, k / 4, k % 2, k % 4 < 2 ? step : -step)) play(search, &game, &result);
    }
    if (!sb_answer_is_worse(bound, search->prove->reached[bound], before)) step *= 0.4;
  }
}

/* Whether a run has come to a bound nearly. */
static bool is_reached(const struct sb_prove *prove, int bound)
{
  const double limit = prove->bounds[bound], reached = prove->reached[bound];
  if (isnan(limit)) return true;
  return fabs(limit - reached) <= (1.0 - SB_PROVE_EXACT_SHARE) * 0.2 * fabs(limit);
}

/* For ever ------------------------------------------------------------------------------------------------------------- */

/* Shifts between the ends of a swing, a little wider, as long as there are stages; then they have gone on. */
static void try_swing(struct search *search)
{
  struct sb_prove *prove = search->prove;
  const double slack_nm = 1e-3 * fmax(prove->bounds[SB_PROVE_SWING], 1e-3 * prove->heaviest_nm);
  const double *acting = prove->acting_nm, *resisting = prove->resisting_nm;
  const bool is_acting = acting[1] - acting[0] > resisting[1] - resisting[0];
  const double *range = is_acting ? acting : resisting;
  const bool is_constant = prove->bounds[SB_PROVE_SWING] == 0.0;
  const double ends[2] = {prove->swing_at_nm[0] - (is_constant ? 0.0 : slack_nm),
                          prove->swing_at_nm[1] + (is_constant ? 0.0 : slack_nm)};
  if (!isfinite(prove->bounds[SB_PROVE_SWING])) return;
  for (int start = 0; start < STARTS; start++) {
    const double starts[STARTS] = {0.0, 1.0, search->beside[0], search->beside[1]};
    struct sb_play_game game = {.stage_count = 0};
    struct sb_play_result result;
    add_stage(search, &game, starts[start], false, search->steady_s);
    add_stage(search, &game, start % 2 == 0 ? 1.0 : 0.0, true, search->steady_s);
    const int first = game.stage_count;
    while (game.stage_count < SB_PLAY_STAGES_MAX) {
      const double nm = ends[(start + game.stage_count - first + 1) % 2];
      const double share = (nm - range[0]) / (range[1] - range[0]);
      add_stage(search, &game, range[1] > range[0] ? share : 0.0, true, search->steady_s);
    }
    play(search, &game, &result);
    const int wanted = SB_PLAY_STAGES_MAX - first;
    if (search->status != SB_OK || result.command_count < wanted) continue;
    prove->reached[SB_PROVE_SWING] = ends[1] - ends[0];
    keep_profile(prove, SB_PROVE_SWING, &game, &result);
    prove->profiles[SB_PROVE_SWING].duration_s = result.commands_s[wanted - 1] + search->dwell_s;
    return;
  }
}

/* The fastest cycle of a run's second half, where commands went on to its end; NAN: they did not. */
static double lasting_cycle_s(const struct sb_play_game *game, const struct sb_play_result *result)
{
  const int count = result->command_count;
  double least_s = NAN;
  if (count < LASTING_COMMANDS || !isfinite(result->started_s[game->stage_count - 1])) return NAN;
  for (int n = count / 2; n < count && n < SB_PLAY_COMMANDS_MAX; n++) {
    least_s = fmin(least_s, result->commands_s[n] - result->commands_s[n - 2]);
  }
  return least_s;
}

/* Shifts between the ends of the bounds, each way waited for in one manner, as long as there are stages. */
static void try_lasting(struct search *search)
{
  struct sb_prove *prove = search->prove;
  if (isnan(prove->bounds[SB_PROVE_CYCLE_LASTING])) return;
  for (int k = 0; k < SB_REACH_WAYS * HOLDS * HOLDS && search->status == SB_OK; k++) {
    const int holds[SB_REACH_WAYS] = {k / SB_REACH_WAYS % HOLDS, k / (SB_REACH_WAYS * HOLDS)};
    struct sb_play_game game = {.stage_count = 0};
    struct sb_play_result result;
    add_stage(search, &game, end_of(k % SB_REACH_WAYS), false, search->steady_s);
    for (int way = 1 - k % SB_REACH_WAYS; game.stage_count + 2 <= SB_PLAY_STAGES_MAX; way = 1 - way) {
      add_phase(search, &game, way, holds[way]);
    }
    play(search, &game, &result);
    const double cycle_s = search->status == SB_OK ? lasting_cycle_s(&game, &result) : NAN;
    if (!sb_answer_is_worse(SB_PROVE_CYCLE_LASTING, cycle_s, prove->reached[SB_PROVE_CYCLE_LASTING])) continue;
    prove->reached[SB_PROVE_CYCLE_LASTING] = cycle_s;
    keep_profile(prove, SB_PROVE_CYCLE_LASTING, &game, &result);
  }
}

/* The search ------------------------------------------------------------------------------------------------------------ */

static void prepare(struct search *search)
{
  const struct sb_model *model = search->prove->model;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  const struct sb_prove *prove = search->prove;
  const int fast = model->gearbox.gear_count - 1;
  const double width = fmax(prove->heaviest_nm - prove->lightest_nm, 1e-12);
  const double down = sb_steady_load_nm(model, &line, fast, model->control.downshift_fraction[fast - 1]);
  const double up = sb_steady_load_nm(model, &line, 0, model->control.upshift_fraction[0]);
  search->beside[SB_REACH_DOWN] = (down - prove->lightest_nm) / width - 1e-3;
  search->beside[SB_REACH_UP] = (up - prove->lightest_nm) / width + 1e-3;
  double longest_s = 0.0;
  for (int g = 0; g <= fast; g++) longest_s = fmax(longest_s, search->play.sim.derived.time_constant_s[g + 1]);
  search->dwell_s = sb_model_whole_samples_s(&model->control, model->control.dwell_s) + model->control.sample_period_s;
  search->late_s = search->dwell_s + (model->control.debounce_count - 2.25) * model->control.sample_period_s;
  search->steady_s = model->control.start_delay_s + search->dwell_s + 12.0 * longest_s +
                     8.0 * model->control.sensor.filter_s + 4.0 * model->control.sample_period_s + 0.5;
  search->ramp_s = is_slow(prove) ? fmin(width / model->load.bounds.rate_nm_s, ramp_most_s) : 0.0;
  search->steady_s += search->ramp_s;
}

/* A run shows the contrary. Of what was proved none does; should one, then that run is what counts. */
static void disprove(struct sb_prove *prove)
{
  enum sb_proof *stall = &prove->statements[SB_PROVE_STALL], *constant = &prove->statements[SB_PROVE_CONSTANT];
  if (prove->reached[SB_PROVE_STANDING] > prove->model->limits.stall_time_s) *stall = SB_PROOF_DISPROVED;
  if (prove->reached[SB_PROVE_SWING] == 0.0) *constant = SB_PROOF_DISPROVED;
}

enum sb_status sb_prove_search(struct sb_prove *prove, struct sb_error *err)
{
  if (prove->outside != NULL) return SB_OK;
  struct search *search = calloc(1, sizeof *search);
  if (search == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a search");
  search->prove = prove;
  search->status = sb_play_init(&search->play, prove->model, &search->err);
  if (search->status == SB_OK) {
    prepare(search);
    try_seeds(search);
    for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
      if (!is_reached(prove, k) && search->best[k].stage_count > 0) better(search, k);
    }
    try_swing(search);
    try_lasting(search);
    sb_play_clear(&search->play);
    disprove(prove);
  }
  const enum sb_status status = search->status;
  if (status != SB_OK) *err = search->err;
  free(search);
  return status;
}
