/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A sampling loop of one's own: the machine is simulated from sample to sample, and the program decides. Here it decides as the
 * controller of the scenario does, by the controller module in counts of the sensor, so that the shifts are those of a run.
 */
#include <stdio.h>

#include "shiftband/shiftband.h"

/* The sensor's whole counts: the reading rounded to its resolution. */
static int32_t count_of(const struct sb_model *model, const struct sb_row *row)
{
  const struct sb_sensor *sensor = &model->control.sensor;
  const double fraction = row->motor_speed_rad_s / sensor->reference_rad_s;
  const double magnitude = fraction < 0.0 ? -fraction : fraction;
  return (int32_t)(magnitude / sb_sensor_count_fraction(sensor) + 0.5);
}

static enum sb_status drive(const struct sb_model *model, struct sb_sim *sim, struct sb_error *err)
{
  const long long per_sample = sb_model_step_count(model->control.sample_period_s, model->run.step_s);
  const long long last = sb_model_step_count(model->run.duration_s, model->run.step_s);
  const struct sb_controller_setup setup = sb_run_controller_setup(model);
  struct sb_controller_state state;
  long long step;
  int gear, before = model->control.start_gear;
  sb_controller_start(&setup, &state, (uint8_t)before);
  for (step = 0; step < last; step += per_sample) {
    struct sb_row row;
    const enum sb_status status = sb_sim_advance(sim, step, err);
    if (status != SB_OK) return status;
    row = sb_sim_glance(sim);
    gear = sb_controller_update(&setup, &state, count_of(model, &row), sb_sim_is_deciding(sim));
    if (gear != before) {
      printf("at %.3f s from gear %d to gear %d\n", row.time_s, before, gear);
      sb_sim_command(sim, gear - 1);
    }
    before = gear;
  }
  return sb_sim_advance(sim, last, err);
}

int main(int argc, char **argv)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0, NULL};
  struct sb_error err = {SB_OK, ""};
  struct sb_sim sim;
  enum sb_status status;
  if (argc != 2 || sb_scenario_load(argv[1], NULL, 0, &scenario, &faults) != SB_OK) {
    sb_faults_fail(&err, SB_ERR_SCENARIO, &faults);
    fprintf(stderr, "%s\n", err.text);
    return 3;
  }
  status = sb_sim_init(&sim, &scenario.model, scenario.model.control.start_gear - 1, &err);
  if (status == SB_OK) status = drive(&scenario.model, &sim, &err);
  if (status == SB_OK) {
    printf("turns %.15g\n", sb_sim_row(&sim).output_turns);
    sb_sim_clear(&sim);
  } else {
    fprintf(stderr, "%s\n", err.text);
  }
  sb_scenario_clear(&scenario);
  return status == SB_OK ? 0 : 5;
}
