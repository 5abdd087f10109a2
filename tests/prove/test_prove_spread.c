// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * No run of any machine between two exceeds a bound: random machines whose supply voltage, drag, viscous load and efficiencies lie between
 * limits, at the limits and anywhere between, against random load profiles. SB_PROVE_MACHINES in the environment tries more of them.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/games.h"
#include "help/near.h"
#include "help/proof.h"
#include "help/slow.h"
#include "prove/spread.h"

/* What lies between limits, by the share of the way from the slowest to the fastest machine. */
enum knob { KNOB_VOLTAGE, KNOB_DRAG, KNOB_VISCOUS, KNOB_FORWARD, KNOB_BACK, KNOBS };

struct range {
  struct sb_model base;
  double ends[KNOBS][2]; /* factors or values: [0] slowest */
};

static struct range range; /* large, hence not on the stack */
static struct sb_model slowest, fastest, other;
static struct sb_prove prove;
static struct sb_play play;
static int outside_count, met_count;

static struct sb_model machine_at(const double shares[KNOBS])
{
  struct sb_model model = range.base;
  double values[KNOBS];
  for (int k = 0; k < KNOBS; k++) values[k] = range.ends[k][0] + shares[k] * (range.ends[k][1] - range.ends[k][0]);
  model.supply.open_circuit_voltage_v *= values[KNOB_VOLTAGE];
  for (int g = 0; g < model.gearbox.gear_count; g++) {
    struct sb_gear *gear = &model.gearbox.gears[g];
    gear->drag_nm = values[KNOB_DRAG];
    gear->meshes[0].efficiency *= values[KNOB_FORWARD];
    gear->back_efficiency *= values[KNOB_BACK];
  }
  if (values[KNOB_VISCOUS] > 0.0) model_add_viscous(&model, values[KNOB_VISCOUS]);
  model_finish(&model);
  return model;
}

static struct sb_model machine_of(double share)
{
  const double shares[KNOBS] = {share, share, share, share, share};
  return machine_at(shares);
}

static bool is_drawn(gsl_rng *dice)
{
  return gsl_rng_uniform(dice) < 0.5;
}

/* A knob that is drawn lies between limits, the others do not move. */
static void draw_range(gsl_rng *dice)
{
  range.base = proof_random(dice);
  const struct sb_motor *motor = &range.base.motor;
  const double fast = range.base.gearbox.gears[1].ratio;
  for (int k = 0; k < KNOBS; k++) range.ends[k][0] = range.ends[k][1] = k == KNOB_DRAG || k == KNOB_VISCOUS ? 0.0 : 1.0;
  if (gsl_rng_uniform(dice) < 0.8) {
    range.ends[KNOB_VOLTAGE][0] = gsl_ran_flat(dice, 0.8, 1.0);
    range.ends[KNOB_VOLTAGE][1] = gsl_ran_flat(dice, 1.0, 1.15);
  }
  const bool has_clutch = range.base.shifter.ops->has_clutch; /* between its sides drag and losses are not ordered */
  if (!has_clutch && is_drawn(dice)) range.ends[KNOB_DRAG][0] = motor->stall_torque_nm * gsl_ran_flat(dice, 0.0, 0.06);
  if (is_drawn(dice)) {
    const double scale = motor->stall_torque_nm / motor->no_load_speed_rad_s * fast * fast;
    range.ends[KNOB_VISCOUS][0] = scale * gsl_ran_flat(dice, 0.02, 0.15);
    range.ends[KNOB_VISCOUS][1] = scale * gsl_ran_flat(dice, 0.0, 0.02);
  }
  if (!has_clutch && is_drawn(dice)) range.ends[KNOB_FORWARD][0] = gsl_ran_flat(dice, 0.8, 1.0);
  if (!has_clutch && is_drawn(dice)) range.ends[KNOB_BACK][0] = gsl_ran_flat(dice, 0.5, 1.0);
  if (range.base.shifter.ops->is_direction_selected) range.base.control.sensor.filter_s = 0.0;
  slowest = machine_of(0.0);
  fastest = machine_of(1.0);
}

static bool is_forward_only(void)
{
  for (int k = KNOB_DRAG; k < KNOBS; k++) {
    if (range.ends[k][0] != range.ends[k][1]) return true;
  }
  return false;
}

/* One of the corners, or any. */
static void draw_shares(gsl_rng *dice, double shares[KNOBS])
{
  const bool is_corner = is_drawn(dice), is_end = is_drawn(dice);
  const double end = is_drawn(dice) ? 1.0 : 0.0;
  for (int k = 0; k < KNOBS; k++) {
    shares[k] = is_corner ? (is_end ? end : is_drawn(dice) ? 1.0 : 0.0) : gsl_rng_uniform(dice);
  }
}

/* Runs of one machine; counts those that come to more than a bound. */
static int play_games(gsl_rng *dice, int machine, int games, bool is_expected_within)
{
  struct sb_error err;
  int exceeded = 0;
  assert_int_equal(sb_play_init(&play, &other, &err), SB_OK);
  for (int n = 0; n < games; n++) {
    const struct sb_play_game game = game_random(&prove, dice);
    struct sb_play_result result;
    assert_int_equal(sb_play_run(&play, &game, &result, &err), SB_OK);
    for (int k = 0; k < SB_PROVE_BOUNDS; k++) {
      if (!game_is_compared(&prove, k, &game)) continue;
      if (is_expected_within) game_expect_within(&prove, k, result.bounds[k], machine);
      exceeded += game_exceeds(&prove, k, result.bounds[k]) ? 1 : 0;
      met_count += isfinite(prove.bounds[k]) && !isnan(result.bounds[k]) ? 1 : 0;
    }
  }
  sb_play_clear(&play);
  return exceeded;
}

static bool prove_range(void)
{
  struct sb_error err;
  const struct sb_prove_machines machines = {&slowest, &fastest, is_forward_only()};
  assert_int_equal(sb_prove_solve_between(&range.base, &machines, &prove, &err), SB_OK);
  return prove.outside == NULL;
}

static int machines_of(int usual)
{
  const char *asked = getenv("SB_PROVE_MACHINES");
  return asked != NULL ? atoi(asked) : IS_SLOW ? 4 : usual;
}

static void no_run_of_a_machine_between_two_exceeds_a_bound(void **state)
{
  (void)state;
  const int machines = machines_of(16);
  gsl_rng *dice = dice_of(1422);
  for (int k = 0; k < machines; k++) {
    draw_range(dice);
    if (!prove_range()) {
      outside_count++;
      continue;
    }
    for (int m = 0; m < 6; m++) {
      double shares[KNOBS];
      draw_shares(dice, shares);
      other = machine_at(shares);
      play_games(dice, k, 12, true);
    }
  }
  gsl_rng_free(dice);
  assert_in_range(outside_count, 0, machines * 2 / 3); /* weak clutches, short dwells, outputs that turn back */
  assert_in_range(met_count, 100 * machines, 10000 * machines);
}

/* A machine a twentieth beyond the ends comes to more than what is proved between them: of many, most show it. */
static void runs_of_machines_beyond_the_ends_exceed_something_proved(void **state)
{
  (void)state;
  int proved = 0, shown = 0;
  gsl_rng *dice = dice_of(1423);
  for (int k = 0; k < (IS_SLOW ? 3 : 5); k++) {
    draw_range(dice);
    if (!prove_range()) continue;
    int exceeded = 0;
    for (int end = 0; end < 2; end++) {
      other = range.base;
      other.supply.open_circuit_voltage_v *=
          end == 0 ? 0.95 * range.ends[KNOB_VOLTAGE][0] : 1.05 * range.ends[KNOB_VOLTAGE][1];
      model_finish(&other);
      exceeded += play_games(dice, k, 12, false);
    }
    proved++;
    shown += exceeded > 0 ? 1 : 0;
  }
  gsl_rng_free(dice);
  assert_in_range(shown, (proved + 1) / 2, proved);
}

/* Scenarios --------------------------------------------------------------------------------------------------------------- */

static struct sb_scenario scenario; /* large */
static struct sb_prove_spread spread;

static void solve_scenario(const char *path, const char *const *sets, size_t set_count)
{
  struct sb_error err;
  struct sb_faults faults;
  const struct sb_scenario_source source = {path, sets, set_count};
  const enum sb_status loaded = sb_scenario_load(path, sets, set_count, &scenario, &faults);
  if (loaded != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : sb_status_text(loaded));
  sb_faults_clear(&faults);
  assert_int_equal(sb_prove_solve(&scenario.model, &prove, &err), SB_OK);
  assert_int_equal(sb_prove_spread_solve(&source, &scenario, &prove, &spread, &err), SB_OK);
}

/* Each machine within the tolerances is loaded anew, and what is wrong with its file is said as when a scenario is loaded. */
static void a_machine_that_cannot_be_loaded_says_why(void **state)
{
  (void)state;
  static const char path[] = "scenarios/nowhere.yaml";
  const struct sb_scenario_source source = {path, NULL, 0};
  struct sb_scenario missing;
  struct sb_faults faults, none;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_scenario_load(path, NULL, 0, &missing, &faults);
  assert_true(status != SB_OK && faults.count == 1);
  assert_int_equal(sb_scenario_load("scenarios/tray-cart.yaml", NULL, 0, &scenario, &none), SB_OK);
  assert_int_equal(sb_prove_spread_solve(&source, &scenario, &prove, &spread, &err), status);
  assert_string_equal(err.text, faults.texts[0]);
  sb_faults_clear(&faults);
  sb_faults_clear(&none);
  sb_scenario_clear(&scenario);
}

/* One tolerance that is a bound, one that is sampled. */
static void json_lists_the_tolerances(void **state)
{
  (void)state;
  static const char *const sets[] = {
      "tolerances={supply.open_circuit_voltage: 2 %, gearbox.mesh_efficiency: 0.94..0.98}"};
  struct sb_faults faults;
  char *text = NULL;
  size_t length;
  assert_int_equal(sb_scenario_load("scenarios/tray-cart.yaml", sets, 1, &scenario, &faults), SB_OK);
  sb_faults_clear(&faults);
  prove = (struct sb_prove){.model = &scenario.model, .outside = "a: b"};
  spread =
      (struct sb_prove_spread){.scenario = &scenario, .sampled = {NULL, "why"}, .sample_count = 3, .outside = "c: d"};
  FILE *out = open_memstream(&text, &length);
  assert_non_null(out);
  assert_int_equal(sb_prove_spread_write_json(&prove, &spread, out), 0);
  fclose(out);
  assert_non_null(strstr(text, "\"over_tolerances\":{\"tolerances\":["
                               "{\"key\":\"supply.open_circuit_voltage\",\"is_bound\":true,\"why_sampled\":null},"
                               "{\"key\":\"gearbox.mesh_efficiency\",\"is_bound\":false,\"why_sampled\":\"why\"}],"
                               "\"samples\":3,\"outside\":\"c: d\","));
  free(text);
  sb_scenario_clear(&scenario);
}

/* What is proved over the tolerances holds for the machine as it is now. */
static void expect_bounds_hold(void)
{
  struct sb_error err;
  assert_int_equal(sb_prove_solve(&scenario.model, &prove, &err), SB_OK);
  for (int b = 0; b < SB_PROVE_BOUNDS; b++) {
    if (isnan(prove.bounds[b])) continue;
    assert_true(!isnan(spread.bounds[b]));
    assert_false(game_bounds[b].is_least || b == SB_PROVE_SWING
                     ? spread.bounds[b] > prove.bounds[b] * (1.0 + 1e-9) + 1e-12
                     : spread.bounds[b] < prove.bounds[b] * (1.0 - 1e-9));
  }
}

/* A cart whose cells are from fresh to nearly empty: each of its bounds contains that of every state of the cells. */
static void the_cells_of_a_cart_are_proved_from_fresh_to_empty(void **state)
{
  (void)state;
  solve_scenario("scenarios/tray-cart.yaml", NULL, 0);
  assert_null(spread.outside);
  assert_int_equal(spread.bound_count, 1);
  assert_int_equal(spread.sample_count, 1);
  assert_int_equal(spread.statements[SB_PROVE_RETURN], SB_PROOF_PROVED);
  assert_int_equal(spread.statements[SB_PROVE_CONSTANT], SB_PROOF_PROVED);
  for (int k = 0; k <= 4; k++) {
    scenario.model.supply.open_circuit_voltage_v = 10.4 + k * (12.6 - 10.4) / 4;
    expect_bounds_hold();
  }
  sb_scenario_clear(&scenario);
}

/* With flat cells the upshift threshold is out of reach at the lightest load: the machine that shows it is named. */
static void a_machine_that_does_not_come_back_is_named(void **state)
{
  (void)state;
  static const char *const sets[] = {"controller.upshift_above=87 %"};
  solve_scenario("scenarios/tray-cart.yaml", sets, 1);
  assert_int_equal(prove.statements[SB_PROVE_RETURN], SB_PROOF_PROVED);
  assert_int_equal(spread.statements[SB_PROVE_RETURN], SB_PROOF_DISPROVED);
  assert_string_equal(spread.shown[SB_PROVE_RETURN], "supply.open_circuit_voltage 10.4 V");
  sb_scenario_clear(&scenario);
}

/* Which tolerances are bounds hangs on the machine. */
static void only_what_orders_the_motion_is_a_bound(void **state)
{
  (void)state;
  struct sb_model model = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  static const char *const bounds[] = {"supply.open_circuit_voltage", "load.parts.12.torque", "gearbox.mesh_efficiency",
                                       "gearbox.gears.2.meshes.1.efficiency", "gearbox.gears.1.drag"};
  static const char *const samples[] = {"motor.rotor_inertia", "gearbox.gears.1.ratio", "load.parts..torque",
                                        "gearbox.gears.1.meshes.2.driven", "motor.stall_torque"};
  for (int k = 0; k < 5; k++) {
    assert_null(sb_prove_spread_why_sampled(&model, bounds[k]));
    assert_non_null(sb_prove_spread_why_sampled(&model, samples[k]));
  }
  model.gearbox.gears[0].meshes[0].inertia_kg_m2 = 1e-5;
  assert_non_null(sb_prove_spread_why_sampled(&model, bounds[2]));
  assert_null(sb_prove_spread_why_sampled(&model, bounds[4]));
  model_set_shifter(&model, "clutch");
  assert_non_null(sb_prove_spread_why_sampled(&model, bounds[4]));
  assert_null(sb_prove_spread_why_sampled(&model, bounds[0]));
  model_set_shifter(&model, "swing arm");
  model.control.sensor.filter_s = 0.1;
  assert_non_null(sb_prove_spread_why_sampled(&model, bounds[0]));
}

/* A loss orders the motion only while the output turns forward: a swing arm's motor turns the other way for a while, and where the output is at
 * rest then, it turns the output back with it. */
static void a_loss_alone_is_sampled_where_the_output_can_turn_backwards(void **state)
{
  (void)state;
  static const char *const sets[] = {"tolerances={gearbox.mesh_efficiency: 0.94..0.98}"};
  solve_scenario("scenarios/tray-cart.yaml", sets, 1);
  assert_string_equal(spread.sampled[0], "the output can turn backwards");
  assert_int_equal(spread.bound_count, 0);
  assert_null(spread.outside);
  expect_bounds_hold(); /* the machine as written is the first sample */
  sb_scenario_clear(&scenario);
}

/* As written no constant load makes this cart hunt; with fresh cells one does, for the slow gear then carries more above its threshold. */
static void hunting_of_a_machine_at_an_end_is_found(void **state)
{
  (void)state;
  static const char *const sets[] = {"controller.upshift_above=74 %"};
  solve_scenario("scenarios/tray-cart.yaml", sets, 1);
  assert_int_equal(prove.statements[SB_PROVE_CONSTANT], SB_PROOF_PROVED);
  assert_int_equal(spread.statements[SB_PROVE_CONSTANT], SB_PROOF_DISPROVED);
  assert_true(spread.shown[SB_PROVE_CONSTANT][0] != 0);
  sb_scenario_clear(&scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_machine_that_cannot_be_loaded_says_why),
      cmocka_unit_test(json_lists_the_tolerances),
      cmocka_unit_test(no_run_of_a_machine_between_two_exceeds_a_bound),
      cmocka_unit_test(runs_of_machines_beyond_the_ends_exceed_something_proved),
      cmocka_unit_test(the_cells_of_a_cart_are_proved_from_fresh_to_empty),
      cmocka_unit_test(a_machine_that_does_not_come_back_is_named),
      cmocka_unit_test(only_what_orders_the_motion_is_a_bound),
      cmocka_unit_test(a_loss_alone_is_sampled_where_the_output_can_turn_backwards),
      cmocka_unit_test(hunting_of_a_machine_at_an_end_is_found),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
