// SPDX-License-Identifier: GPL-3.0-or-later
/* fuzz_proofs.c - what is proved of a scenario's load within its bounds no run refutes: a few loads that change at random. */
#include "common.h"

#include <math.h>

#include "prove/play.h"

enum { GAMES = 4, STAGES = 8, SAMPLES_MAX = 4000 };

/* As in tests/prove/test_prove_runs.c: sets are carried to 1e-10 of the reference, times in whole samples and steps. */
static const double slack = 1e-6;

static struct sb_prove prove; /* large, hence not on the stack */
static struct sb_play play;
static uint64_t dice;

static double draw(void)
{
  dice = dice * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return (double)(dice >> 11) * 0x1p-53;
}

static struct sb_play_game random_game(double longest_s)
{
  struct sb_play_game game = {.stage_count = 1 + (int)(draw() * STAGES)};
  for (int k = 0; k < game.stage_count; k++) {
    struct sb_play_stage *stage = &game.stages[k];
    const double where = draw(), level = where < 0.4 ? 0.0 : where < 0.8 ? 1.0 : draw();
    stage->acting_nm = prove.acting_nm[0] + level * (prove.acting_nm[1] - prove.acting_nm[0]);
    stage->resisting_nm = prove.resisting_nm[0] + level * (prove.resisting_nm[1] - prove.resisting_nm[0]);
    stage->is_until_command = draw() < 0.5;
    stage->time_s = draw() * longest_s / STAGES;
  }
  game.duration_s = longest_s;
  return game;
}

/* Bounds that every load is held against; returns ask for a last load of their own. */
static void check_bound(enum sb_prove_bound bound, double reached)
{
  const double limit = prove.bounds[bound], size = fmax(fabs(limit), 1e-3);
  const bool is_least = bound == SB_PROVE_CYCLE_ONCE || bound == SB_PROVE_OUTPUT;
  const bool is_asked = bound != SB_PROVE_RETURN_TIME && bound != SB_PROVE_REACTION_TIME && bound != SB_PROVE_SWING &&
                        bound != SB_PROVE_CYCLE_LASTING;
  if (!is_asked || isnan(reached) || isnan(limit) || isinf(limit)) return;
  fuzz_demand(is_least ? reached >= limit - slack * size : reached <= limit + slack * size,
              "bound %d is %.9g, a run comes to %.9g", (int)bound, limit, reached);
}

static void play_games(const struct sb_model *model)
{
  struct sb_error err = {SB_OK, ""};
  const double longest_s = SAMPLES_MAX * model->control.sample_period_s;
  if (sb_play_init(&play, model, &err) != SB_OK) return;
  for (int k = 0; k < GAMES; k++) {
    const struct sb_play_game game = random_game(fmin(longest_s, 60.0));
    struct sb_play_result result;
    if (sb_play_run(&play, &game, &result, &err) != SB_OK) break;
    for (int bound = 0; bound < SB_PROVE_BOUNDS; bound++) check_bound((enum sb_prove_bound)bound, result.bounds[bound]);
  }
  sb_play_clear(&play);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
  static struct sb_scenario scenario;
  if (!fuzz_scenario((const char *)data, size, &scenario)) return 0;
  dice = size;
  struct sb_error err = {SB_OK, ""};
  const bool is_asked = sb_prove_outside(&scenario.model) == NULL;
  const enum sb_status status = is_asked ? sb_prove_solve_quickly(&scenario.model, &prove, &err) : SB_ERR_USAGE;
  fuzz_demand(!is_asked || status == SB_OK || err.text[0] != 0, "a proof ends with %d without a word", (int)status);
  if (is_asked && status == SB_OK && prove.outside == NULL) play_games(&scenario.model);
  sb_scenario_clear(&scenario);
  return 0;
}
