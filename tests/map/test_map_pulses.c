// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Maps of machines whose controller counts or times the motor's pulses, or sets its reading against the measured supply: cells agree with runs of their own, shift by shift, on random
 * machines with everything, for windows that are a whole number of sample periods and others, for times between pulses, and for the
 * worst phase.
 */
#include <gsl/gsl_rng.h>
#include <stdio.h>

#include "help/dice.h"
#include "help/mix.h"
#include "help/near.h"

enum { CASE_COUNT = 90, CELLS_A_CASE = 5 };

/* Sensors of pulses as people buy them: some 2 to 60 pulses at full speed in a window. */
static void add_pulses(gsl_rng *rng, struct sb_model *model)
{
  struct sb_control *control = &model->control;
  struct sb_sensor *sensor = &control->sensor;
  const double periods =
      plane_chance(rng, 0.5) ? 1.0 + (double)gsl_rng_uniform_int(rng, 4) : plane_between(rng, 0.3, 4.0);
  const double counts = plane_between_log(rng, 2.0, 60.0);
  const double turn_s = 6.283185307179586 / sensor->reference_rad_s;
  const bool is_window = plane_chance(rng, 0.7);
  sensor->quantity = SB_SENSES_SPEED;
  sensor->pulses = (struct sb_pulse_sensor){.per_turn = counts * turn_s / (periods * control->sample_period_s),
                                            .window_s = is_window ? periods * control->sample_period_s : 0.0,
                                            .phase = gsl_rng_uniform(rng),
                                            .is_worst = is_window && plane_chance(rng, 0.4)};
  if (is_window) sensor->resolution_fraction = sb_sensor_pulse_fraction(sensor);
  if (!is_window && !(sensor->resolution_fraction > 0.0)) sensor->resolution_fraction = 0.02;
  if (sensor->pulses.is_worst) sensor->filter_s = 0.0;
}

/* Readings against a supply that is measured in steps or exactly, with or without a filter. */
static void add_supply(gsl_rng *rng, struct sb_model *model)
{
  const struct sb_motor *motor = &model->motor;
  struct sb_sensor *sensor = &model->control.sensor;
  if (model->drive.mode == SB_DRIVE_SPEED_CONTROL) return;
  const double drop = motor->has_currents ? motor->no_load_current_a * motor->resistance_ohm : 0.0;
  sensor->quantity = SB_SENSES_SPEED;
  sensor->supply = (struct sb_supply_sensor){.is_present = true, .nominal_v = motor->nominal_voltage_v, .drop_v = drop};
  if (plane_chance(rng, 0.6))
    sensor->supply.resolution_v = motor->nominal_voltage_v / plane_between_log(rng, 30.0, 3000.0);
  if (plane_chance(rng, 0.5)) sensor->supply.filter_s = plane_between_log(rng, 0.02, 2.0);
}

static void check_case(unsigned long seed, struct plane_seen *seen)
{
  static struct mix_case it;
  gsl_rng *rng = dice_of(seed);
  struct mix_chances chances = mix_everything;
  mix_random_case(rng, &chances, &it);
  struct sb_model *model = &it.plane.model;
  if (seed % 2 == 0) add_pulses(rng, model);
  if (seed % 3 != 0) add_supply(rng, model);
  struct sb_map map;
  struct sb_error err = {SB_OK, ""};
  if (sb_map_exact(model, &it.plane.options, true, &map, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
  for (int k = 0; k < CELLS_A_CASE; k++) {
    const size_t at = (size_t)gsl_rng_uniform_int(rng, (unsigned long)map.cell_count);
    plane_check_cell(model, &map, &map.cells[at], rng, seen);
  }
  sb_map_clear(&map);
  gsl_rng_free(rng);
}

static void maps_with_sensors_as_built_agree_with_runs(void **state)
{
  (void)state;
  struct plane_seen seen = {0};
  for (unsigned long seed = 1; seed <= CASE_COUNT; seed++) {
    if (mix_is_wanted(seed)) check_case(seed, &seen);
  }
  print_message("%ld points with %ld shifts\n", seen.points, seen.shifts);
  assert_true(seen.points > 1000);
  assert_true(seen.shifts > 1000);
}

int main(void)
{
  const struct CMUnitTest tests[] = {cmocka_unit_test(maps_with_sensors_as_built_agree_with_runs)};
  return cmocka_run_group_tests_name("map_pulses", tests, plane_quiet_gsl, NULL);
}
