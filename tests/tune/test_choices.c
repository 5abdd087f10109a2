// SPDX-License-Identifier: GPL-3.0-or-later
/* What tune offers: alternatives against runs of their own and against each other, and against every point of a coarse lattice. */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdlib.h>

#include "help/dice.h"
#include "help/loaded.h"
#include "help/models.h"
#include "help/near.h"
#include "help/plane.h"
#include "help/slow.h"
#include "shiftband/run.h"
#include "shiftband/tune.h"
#include "tune/choice.h"
#include "tune/rounds.h"

static const double climb_s[] = {0.0, 3.0, 4.0, 7.0, 8.0};

/* A cart whose climb asks for its slower gear, everything about it at random. */
static struct sb_model random_cart(gsl_rng *rng, double climb_nm[5])
{
  struct sb_model model = model_blank();
  const double stall_nm = plane_between_log(rng, 0.1, 1.0), no_load_rad_s = plane_between_log(rng, 20.0, 80.0);
  const double slow = plane_between(rng, 6.0, 12.0), step = plane_between(rng, 1.6, 2.4);
  model_set_line_motor(&model, no_load_rad_s, stall_nm, 0.02 * stall_nm / no_load_rad_s);
  model_set_currents(&model, plane_between(rng, 2.0, 6.0), 0.2, plane_between(rng, 0.0, 0.4));
  model_add_gear(&model, slow, plane_between(rng, 0.8, 0.95), false);
  model_add_gear(&model, slow / step, plane_between(rng, 0.85, 0.97), false);
  model_set_shifter(&model, plane_chance(rng, 0.5) ? "selector" : "swing arm");
  model.shifter.travel_time_s = plane_between(rng, 0.05, 0.2);
  model.shifter.swing_turns = 0.4;
  model.shifter.timeout_s = 2.0;
  model.load.inertia_kg_m2 = plane_between_log(rng, 0.2, 2.0) * slow * slow * 0.02 * stall_nm / no_load_rad_s;
  const double light_nm = plane_between(rng, 0.03, 0.1) * slow * stall_nm;
  const double heavy_nm = plane_between(rng, 0.3, 0.6) * slow * stall_nm;
  for (int k = 0; k < 5; k++) climb_nm[k] = k == 2 || k == 3 ? heavy_nm : light_nm;
  model_add_profile(&model, SB_OVER_TIME, true, 5, climb_s, climb_nm);
  model.run.duration_s = 11.0;
  model.control.start_gear = 2;
  model.control.start_delay_s = 0.5;
  model.control.dwell_s = plane_between(rng, 0.3, 1.0);
  model_finish(&model);
  return model;
}

/* ---- a lattice, run point by point ---- */

enum { SIDE = 49, FINER = 4 }; /* 2 % apart; the search's own lattice is 0.5 % */

struct spot {
  bool passes, shifts;
  double speed_rad_s, turn_j;
};

static struct spot run_at(const struct sb_model *model, double downshift, double upshift, double dwell_s)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  assert_int_equal(sb_tune_try(model, 0, downshift, upshift, dwell_s, &verdict, &figures, &err), SB_OK);
  return (struct spot){verdict.kinds == 0, figures.shift_count > 0, figures.way_rad / figures.end_s,
                       figures.given_j / figures.way_rad};
}

/* The fine lattice's points that count, by a map whose rectangles other tests hold against runs. */
static bool *fine_points(const struct sb_model *model, const struct sb_map_axis *axis, double dwell_s)
{
  struct sb_model own = *model;
  struct sb_map map;
  struct sb_error err = {SB_OK, ""};
  struct sb_map_options options = sb_map_options_default(model);
  options.downshift = options.upshift = *axis;
  own.control.dwell_s = dwell_s;
  assert_int_equal(sb_map_exact(&own, &options, false, &map, &err), SB_OK);
  bool *counts = calloc((size_t)axis->count * (size_t)axis->count, sizeof *counts);
  assert_non_null(counts);
  for (size_t i = 0; i < map.cell_count; i++) {
    const struct sb_map_cell *cell = &map.cells[i];
    for (int d = cell->downshift_first; d <= cell->downshift_last; d++) {
      for (int u = cell->upshift_first; u <= cell->upshift_last; u++) {
        const bool is_ordered = d < u && sb_map_axis_at(axis, d) < 1.0 - 1e-9;
        counts[d * axis->count + u] = is_ordered && cell->verdict.kinds == 0 && cell->figures.shift_count > 0;
      }
    }
  }
  sb_map_clear(&map);
  return counts;
}

/* Whether all points so many steps around one count. */
static bool is_clear(const bool *counts, int side, int downshift, int upshift, int steps)
{
  for (int d = downshift - steps; d <= downshift + steps; d++) {
    for (int u = upshift - steps; u <= upshift + steps; u++) {
      if (d < 0 || u < 0 || d >= side || u >= side || !counts[d * side + u]) return false;
    }
  }
  return true;
}

/* No run on the coarse lattice is faster, takes less for the same distance and is farther from a failure. Returns how many were tried. */
static int try_to_beat(const struct sb_model *model, const struct sb_tune_options *options,
                       const struct sb_tune_result *result)
{
  const struct spot best = run_at(model, result->downshift_fraction, result->upshift_fraction, result->dwell_s);
  bool *counts = fine_points(model, &options->axis, result->dwell_s);
  const int margin = (int)lround(result->margin_fraction / options->axis.step_fraction);
  int tried = 0;
  for (int d = FINER - 1; d < options->axis.count; d += FINER) {
    for (int u = d + FINER; u < options->axis.count; u += FINER) {
      const struct spot here =
          run_at(model, sb_map_axis_at(&options->axis, d), sb_map_axis_at(&options->axis, u), result->dwell_s);
      tried++;
      const bool is_better = here.passes && here.shifts && here.speed_rad_s > best.speed_rad_s * (1.0 + 1e-4) &&
                             here.turn_j < best.turn_j * (1.0 - 1e-4);
      if (!is_better || !is_clear(counts, options->axis.count, d, u, margin)) continue;
      fail_msg("%g/%g beats %g/%g", sb_map_axis_at(&options->axis, d), sb_map_axis_at(&options->axis, u),
               result->downshift_fraction, result->upshift_fraction);
    }
  }
  free(counts);
  return tried;
}

static void no_run_on_a_lattice_beats_the_recommended_one_in_speed_charge_and_margin(void **state)
{
  (void)state;
  enum { MACHINES = IS_SLOW ? 2 : 16 };
  gsl_rng *rng = dice_of(141);
  int passing = 0, drawn = 0, tried = 0;
  for (; passing < MACHINES && drawn < 2 * MACHINES; drawn++) { /* some have no answer */
    double climb_nm[5];
    struct sb_tune_machine machine = {.model = random_cart(rng, climb_nm), .is_light = true};
    struct sb_tune_options options = sb_tune_options_default(&machine.model);
    struct sb_tune_result result;
    struct sb_error err = {SB_OK, ""};
    options.is_cautious = false;
    options.dwell_s = machine.model.control.dwell_s;
    options.axis = (struct sb_map_axis){0.005, 0.005, 210};
    assert_int_equal(sb_tune(&machine, 1, &options, &result, &err), SB_OK);
    if (!result.passes) continue;
    passing++;
    tried += try_to_beat(&machine.model, &options, &result);
  }
  gsl_rng_free(rng);
  printf("%d of %d machines pass, %d runs\n", passing, drawn, tried);
  assert_int_equal(passing, MACHINES);
}

/* ---- what each choice says ---- */

static struct sb_tune_result tune_loaded(struct sb_tune_options *options)
{
  static struct sb_tune_machine machine;
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  machine = (struct sb_tune_machine){.model = loaded_scenario.model, .is_light = true};
  assert_int_equal(sb_tune(&machine, 1, options, &result, &err), SB_OK);
  return result;
}

static void expect_figures(const struct sb_tune_choice *choice)
{
  struct sb_model model = loaded_scenario.model;
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  options.locked_gear = choice->locked_gear;
  if (choice->locked_gear == 0) {
    model.control.downshift_fraction[0] = choice->downshift_fraction;
    model.control.upshift_fraction[0] = choice->upshift_fraction;
    model.control.dwell_s = choice->dwell_s;
  }
  assert_int_equal(sb_run(&model, &options, &result, NULL), SB_OK);
  assert_int_equal(choice->failing, result.monitor.verdict_count > 0);
  assert_int_equal(choice->shift_count, result.monitor.shift_count);
  assert_near(choice->speed_rad_s, result.sums.way_rad / result.end.time_s, 1e-12 * choice->speed_rad_s);
  assert_near(choice->energy_j, result.sums.energy.given, 1e-12 * choice->energy_j);
  assert_near(choice->charge_as, choice->energy_j / model.supply.open_circuit_voltage_v, 1e-12 * choice->charge_as);
  assert_near(choice->current_a, fabs(result.sums.motor_current_a.value), 1e-12);
  assert_true(isnan(choice->winding_c));
  sb_run_result_clear(&result);
}

static bool is_worse_in_everything(const struct sb_tune_choice *one, const struct sb_tune_choice *other)
{
  return one->speed_rad_s <= other->speed_rad_s && one->energy_j / one->way_rad >= other->energy_j / other->way_rad &&
         one->current_a >= other->current_a && one->shift_count >= other->shift_count &&
         one->margin_fraction <= other->margin_fraction;
}

/* The winch: its box may stay in the fast gear, which takes three fifths more charge. */
static void choices_of_the_winch_are_what_their_runs_say_and_none_is_worse_in_everything(void **state)
{
  (void)state;
  loaded_take_shipped("well-winch");
  struct sb_tune_options options = sb_tune_options_default(&loaded_scenario.model);
  const struct sb_tune_result result = tune_loaded(&options);
  assert_true(result.passes && !result.is_speed_alone && result.alternative_count > 1);
  assert_int_equal(result.choice_count, result.alternative_count + 1 + 2);
  assert_int_equal(result.needed_gear, 0);
  for (int k = 0; k < result.choice_count; k++) expect_figures(&result.choices[k]);
  const struct sb_tune_choice *best = &result.choices[0];
  assert_near(best->downshift_fraction, result.downshift_fraction, 1e-12);
  assert_int_equal(best->shift_count, 2);
  for (int k = 1; k < result.alternative_count; k++) {
    const struct sb_tune_choice *other = &result.choices[k];
    assert_true(best->speed_rad_s >= SB_TUNE_SPEED_KEPT * other->speed_rad_s);
    assert_true(best->energy_j / best->way_rad <= SB_TUNE_CHARGE_KEPT * other->energy_j / other->way_rad);
    for (int j = 0; j < result.alternative_count; j++) {
      if (j != k) assert_false(is_worse_in_everything(other, &result.choices[j]));
    }
  }
  sb_scenario_clear(&loaded_scenario);
}

/* Whoever prefers time or charge gets at least as much of it, at half the widest margin. */
static void preferences_gain_what_they_ask_for(void **state)
{
  (void)state;
  loaded_take_shipped("well-winch");
  struct sb_tune_options options = sb_tune_options_default(&loaded_scenario.model);
  const struct sb_tune_result usual = tune_loaded(&options);
  options.prefer = SB_PREFER_TIME;
  const struct sb_tune_result fast = tune_loaded(&options);
  options.prefer = SB_PREFER_ENERGY;
  const struct sb_tune_result thrifty = tune_loaded(&options);
  const struct sb_tune_choice *one = &usual.choices[0];
  assert_true(fast.choices[0].speed_rad_s > one->speed_rad_s);
  assert_true(thrifty.choices[0].energy_j / thrifty.choices[0].way_rad < one->energy_j / one->way_rad);
  assert_true(fast.margin_fraction >= SB_TUNE_MARGIN_KEPT * usual.margin_fraction - 1e-9);
  assert_true(thrifty.margin_fraction >= SB_TUNE_MARGIN_KEPT * usual.margin_fraction - 1e-9);
  sb_scenario_clear(&loaded_scenario);
}

/* What a point of a raster is given; its output turns for one second. */
static void put_point(struct sb_raster *raster, int downshift, int upshift, float speed_rad_s, float per_rad_j,
                      float swing_nm)
{
  const int at = downshift * raster->side + upshift;
  raster->margin[at] = 1;
  raster->time_s[at] = 1.0F;
  raster->way_rad[at] = speed_rad_s;
  raster->energy_j[at] = per_rad_j * speed_rad_s;
  raster->swing_nm[at] = swing_nm;
}

/*
 * Of what is proved for every load: first what keeps speed and charge, whatever it swings, then what keeps the speed, then
 * any. Added in the opposite order here; the best point that passes is proved for none.
 */
static void what_is_proved_keeps_speed_and_charge_if_it_can_or_else_the_speed(void **state)
{
  (void)state;
  struct sb_raster raster;
  assert_int_equal(sb_raster_init(&raster, 8, true, NULL), SB_OK);
  raster.swing_nm = calloc(64, sizeof *raster.swing_nm);
  assert_non_null(raster.swing_nm);
  put_point(&raster, 0, 3, 10.0F, 1.0F, -1.0F);
  put_point(&raster, 1, 4, 5.0F, 1.0F, 3.0F);
  struct sb_choices choices = sb_choice_find_all(&raster, SB_PREFER_MARGIN);
  assert_int_equal(choices.points[SB_CHOICE_RECOMMENDED].downshift, 1);
  assert_true(choices.is_proved && choices.is_proved_alone && !choices.is_speed_alone);
  put_point(&raster, 2, 5, 10.0F, 2.0F, 2.0F);
  choices = sb_choice_find_all(&raster, SB_PREFER_MARGIN);
  assert_int_equal(choices.points[SB_CHOICE_RECOMMENDED].downshift, 2);
  assert_true(choices.is_proved && !choices.is_proved_alone && choices.is_speed_alone);
  put_point(&raster, 3, 6, 10.0F, 1.0F, 1.0F);
  choices = sb_choice_find_all(&raster, SB_PREFER_MARGIN);
  assert_int_equal(choices.points[SB_CHOICE_RECOMMENDED].downshift, 3);
  assert_true(choices.is_proved && !choices.is_proved_alone && !choices.is_speed_alone);
  sb_raster_clear(&raster);
}

static struct sb_tune_result tune_flat(double start_delay_s)
{
  static const double flat_nm[] = {0.2, 0.2, 0.2, 0.2, 0.2};
  static struct sb_tune_machine machine;
  machine = (struct sb_tune_machine){.model = model_two_gears("selector"), .is_light = true};
  model_add_profile(&machine.model, SB_OVER_TIME, true, 5, climb_s, flat_nm);
  machine.model.control.start_gear = 2;
  machine.model.control.start_delay_s = start_delay_s;
  model_finish(&machine.model);
  struct sb_tune_options options = sb_tune_options_default(&machine.model);
  struct sb_tune_result result;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_tune(&machine, 1, &options, &result, &err), SB_OK);
  return result;
}

/* A load that never changes, which the fast gear carries: what shifts is slower, and one gear is enough. */
static void a_box_that_needs_one_gear_is_told_so(void **state)
{
  (void)state;
  const struct sb_tune_result result = tune_flat(2.0);
  assert_true(result.passes);
  assert_true(result.choices[0].shift_count > 0);
  assert_int_equal(result.needed_gear, 2);
  assert_true(result.choices[result.alternative_count + 2].speed_rad_s > result.choices[0].speed_rad_s);
}

/* A controller that waits longer than the run never shifts, whatever its thresholds: they are no answer. */
static void thresholds_that_never_shift_are_no_answer(void **state)
{
  (void)state;
  const struct sb_tune_result result = tune_flat(1000.0);
  assert_true(result.never_shifts);
  assert_false(result.passes);
  assert_int_equal(result.needed_gear, 2);
  assert_int_equal(result.alternative_count, 0);
  assert_int_equal(result.choice_count, 3);
  assert_int_equal(result.remedy, SB_REMEDY_NONE);
}

/* A cart's quantity changed in the test itself: its climb, its voltage or its inertia. */
static unsigned kinds_with(const struct sb_model *model, const double *climb_nm, const struct sb_tune_result *result,
                           enum sb_tune_quantity quantity, double factor)
{
  struct sb_model own = *model;
  double scaled_nm[5];
  struct sb_map_verdict verdict;
  struct sb_map_figures figures;
  struct sb_error err = {SB_OK, ""};
  for (int k = 0; k < 5; k++) scaled_nm[k] = (quantity == SB_TUNE_LOAD ? factor : 1.0) * climb_nm[k];
  own.load.parts[0].table.y = scaled_nm;
  if (quantity == SB_TUNE_VOLTAGE) own.supply.open_circuit_voltage_v *= factor;
  if (quantity == SB_TUNE_INERTIA) own.load.inertia_kg_m2 *= factor;
  assert_int_equal(sb_tune_try(&own, 0, result->downshift_fraction, result->upshift_fraction, result->dwell_s, &verdict,
                               &figures, &err),
                   SB_OK);
  return verdict.kinds;
}

static void what_an_answer_withstands_passes_and_what_comes_behind_it_fails(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(142);
  int failures = 0;
  for (int k = 0; k < 6; k++) {
    double climb_nm[5];
    struct sb_tune_machine machine = {.model = random_cart(rng, climb_nm), .is_light = true};
    struct sb_tune_options options = sb_tune_options_default(&machine.model);
    struct sb_tune_result result;
    struct sb_error err = {SB_OK, ""};
    options.dwell_s = machine.model.control.dwell_s;
    options.axis = (struct sb_map_axis){0.01, 0.01, 105};
    assert_int_equal(sb_tune(&machine, 1, &options, &result, &err), SB_OK);
    assert_true(result.reserve_count == (result.passes ? 2 * SB_TUNE_QUANTITY_COUNT : 0));
    for (int r = 0; r < result.reserve_count; r++) {
      const struct sb_tune_reserve *reserve = &result.reserves[r];
      if (reserve->quantity == SB_TUNE_FRICTION) continue;
      const double sign = reserve->is_more ? 1.0 : -1.0;
      assert_true(sign * reserve->passes_share >= 0.0);
      assert_int_equal(kinds_with(&machine.model, climb_nm, &result, reserve->quantity, 1.0 + reserve->passes_share),
                       0);
      if (reserve->is_end) continue;
      failures++;
      assert_true(sign * reserve->fails_share > sign * reserve->passes_share);
      assert_int_equal(kinds_with(&machine.model, climb_nm, &result, reserve->quantity, 1.0 + reserve->fails_share),
                       reserve->verdict.kinds);
    }
  }
  gsl_rng_free(rng);
  assert_true(failures > 6);
}

/* On every shipped scenario that is tuned quickly: no answer stays in one gear. */
static void recommended_thresholds_of_shipped_scenarios_shift(void **state)
{
  (void)state;
  static const char *const names[] = {
      "balanced-lift", "braked-hoist",       "crate-pusher", "hunting-crawler", "pellet-screw", "hunting-crawler-fixed",
      "tray-cart",     "tray-cart-measured", "twig-chipper", "well-winch",      "shuttle-wagon"};
  for (size_t k = 0; k < sizeof names / sizeof *names; k++) {
    loaded_take_shipped(names[k]);
    struct sb_tune_options options = sb_tune_options_default(&loaded_scenario.model);
    const struct sb_tune_result result = tune_loaded(&options);
    assert_true(result.passes);
    assert_true(result.choices[0].shift_count > 0);
    assert_int_equal(result.choices[0].failing, 0);
    sb_scenario_clear(&loaded_scenario);
  }
}

/* Of three gears: each pair's answer is what tuning it alone, beside the answers of the others, gives. */
static void pairs_tuned_together_bound_each_other(void **state)
{
  (void)state;
  static const char *const paths[] = {SB_SOURCE_DIR "/scenarios/three-speed-feeder.yaml"};
  static const char *const sets[] = {"controller.threshold_step=2 %"};
  const struct sb_tune_request request = {.paths = paths, .path_count = 1, .sets = sets, .set_count = 1, .samples = -1};
  static struct sb_rounds tuning;
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_rounds_load(&request, &tuning, &faults, &err), SB_OK);
  assert_int_equal(sb_rounds_run(&request, &tuning, &err), SB_OK);
  assert_int_equal(tuning.last_pair, 1);
  for (int pair = 0; pair < 2; pair++) {
    struct sb_tune_options options = sb_tune_options_default(&tuning.nominals[0].model);
    struct sb_tune_result alone;
    options.pair = pair;
    options.dwell_s = tuning.dwell_s;
    assert_int_equal(sb_tune(tuning.machines, tuning.machine_count, &options, &alone, &err), SB_OK);
    assert_true(tuning.results[pair].passes && alone.passes);
    assert_near(alone.downshift_fraction, tuning.results[pair].downshift_fraction, 1e-12);
    assert_near(alone.upshift_fraction, tuning.results[pair].upshift_fraction, 1e-12);
    assert_near(alone.margin_fraction, tuning.results[pair].margin_fraction, 1e-12);
  }
  sb_faults_clear(&faults);
  sb_rounds_clear(&tuning);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(no_run_on_a_lattice_beats_the_recommended_one_in_speed_charge_and_margin),
      cmocka_unit_test(choices_of_the_winch_are_what_their_runs_say_and_none_is_worse_in_everything),
      cmocka_unit_test(preferences_gain_what_they_ask_for),
      cmocka_unit_test(what_is_proved_keeps_speed_and_charge_if_it_can_or_else_the_speed),
      cmocka_unit_test(a_box_that_needs_one_gear_is_told_so),
      cmocka_unit_test(thresholds_that_never_shift_are_no_answer),
      cmocka_unit_test(what_an_answer_withstands_passes_and_what_comes_behind_it_fails),
      cmocka_unit_test(pairs_tuned_together_bound_each_other),
      cmocka_unit_test(recommended_thresholds_of_shipped_scenarios_shift),
  };
  return cmocka_run_group_tests_name("choices", tests, plane_quiet_gsl, NULL);
}
