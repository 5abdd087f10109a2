// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/run.h"

#include <math.h>

#include "external/deciding.h"
#include "run/sense.h"

/* One run under way: what the callbacks of the simulator need. */
struct run {
  const struct sb_model *model;
  const struct sb_run_options *options;
  struct sb_monitor *monitor;
  struct sb_sim sim;
  struct sb_reading reading;
  struct sb_controller_setup setup;
  struct sb_controller_state controller;
  struct sb_deciding deciding;                                       /* when the controller is someone else's */
  double reading_pct, pulse_count, pulse_time_s, measured_voltage_v; /* last sample */
  double overcharge_as;
  struct sb_row last; /* last row handed out */
  bool has_last;
  bool has_failed;
};

struct sb_run_options sb_run_options_default(void)
{
  return (struct sb_run_options){.locked_gear = 0, .on_row = NULL, .context = NULL, .decider = NULL};
}

static uint32_t whole_samples(double time_s, double sample_period_s)
{
  const double samples = ceil(time_s / sample_period_s - 1e-9);
  return samples <= 0.0 ? 0U : samples >= (double)UINT32_MAX ? UINT32_MAX : (uint32_t)samples;
}

struct sb_controller_setup sb_run_controller_setup(const struct sb_model *model)
{
  const struct sb_control *control = &model->control;
  struct sb_controller_setup setup = {.dwell_samples = whole_samples(control->dwell_s, control->sample_period_s),
                                      .start_delay_samples =
                                          whole_samples(control->start_delay_s, control->sample_period_s),
                                      .debounce_samples = (uint8_t)control->debounce_count,
                                      .gear_count = (uint8_t)model->gearbox.gear_count};
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    setup.downshift_below[p] = sb_sensor_down_count(&control->sensor, control->downshift_fraction[p]);
    setup.upshift_above[p] = sb_sensor_up_count(&control->sensor, control->upshift_fraction[p]);
  }
  return setup;
}

static struct sb_row row_now(const struct run *run)
{
  struct sb_row row = sb_sim_row(&run->sim);
  row.reading_pct = run->reading_pct;
  row.pulse_count = run->pulse_count;
  row.pulse_time_s = run->pulse_time_s;
  row.measured_voltage_v = run->measured_voltage_v;
  return row;
}

static bool is_same_row(const struct sb_row *a, const struct sb_row *b)
{
  return a->time_s == b->time_s && a->gear == b->gear && a->phase == b->phase && a->duty_fraction == b->duty_fraction &&
         a->motor_speed_rad_s == b->motor_speed_rad_s && a->output_speed_rad_s == b->output_speed_rad_s &&
         a->output_torque_nm == b->output_torque_nm && a->load_torque_nm == b->load_torque_nm &&
         a->reading_pct == b->reading_pct && a->vehicle_speed_rad_s == b->vehicle_speed_rad_s &&
         a->is_slipping == b->is_slipping && a->is_clutch_slipping == b->is_clutch_slipping &&
         a->is_current_held == b->is_current_held && a->twist_rad == b->twist_rad;
}

/* Hands a row to the trace, unless it says again what the last one said. */
static void hand_out(struct run *run, const struct sb_row *row)
{
  if (run->options->on_row == NULL || run->has_failed) return;
  if (run->has_last && is_same_row(&run->last, row)) return;
  run->last = *row;
  run->has_last = true;
  run->has_failed = run->options->on_row(run->options->context, row) != 0;
}

static bool is_automatic(const struct run *run)
{
  return run->options->locked_gear == 0;
}

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct run *run = context;
  (void)sim;
  const struct sb_row row = row_now(run);
  if (event == SB_EVENT_SWITCHED) sb_monitor_switched(run->monitor, row.time_s, row.is_on);
  sb_monitor_row(run->monitor, &row, is_automatic(run));
  hand_out(run, &row);
}

static void before_engaging(void *context, const struct sb_sim *sim)
{
  struct run *run = context;
  (void)sim;
  const struct sb_row row = row_now(run);
  hand_out(run, &row);
}

/* The gear that the controller wants at a sample, from 1. */
static enum sb_status decide(struct run *run, const struct sb_row *row, const struct sb_sensed *sensed, int *gear,
                             struct sb_error *err)
{
  if (run->deciding.is_begun) return sb_deciding_ask(&run->deciding, &run->sim, row, sensed->least, gear, err);
  *gear = sb_controller_update_between(&run->setup, &run->controller, sensed->least, sensed->greatest,
                                       sb_sim_is_deciding(&run->sim));
  return SB_OK;
}

/* The reading that people see: the one that an upshift is decided by where it is above the threshold, else the least. */
static int32_t shown(const struct run *run, const struct sb_sensed *sensed)
{
  const int gear = run->sim.state.gear;
  const bool has_higher = gear + 1 < run->setup.gear_count;
  return has_higher && sensed->greatest > run->setup.upshift_above[gear] ? sensed->greatest : sensed->least;
}

/* What the sensor reads, into the row and for the rows to come. */
static struct sb_sensed sense(struct run *run, struct sb_row *row)
{
  const struct sb_sensor *sensor = &run->model->control.sensor;
  const struct sb_sensed sensed = sb_sense_take(&run->reading, &run->sim, row, sb_sensor_draw(&run->reading));
  row->reading_pct = shown(run, &sensed) * (100.0 * sb_sensor_count_fraction(sensor));
  run->reading_pct = row->reading_pct;
  run->pulse_count = row->pulse_count;
  run->pulse_time_s = row->pulse_time_s;
  run->measured_voltage_v = row->measured_voltage_v;
  return sensed;
}

/* The simulated battery takes what it is given and holds its voltage when full; a real one is overcharged. */
static void watch_charge(struct run *run)
{
  const struct sb_battery *battery = &run->model->battery;
  if (!battery->is_present) return;
  const double above_as = -run->sim.state.feed.drawn_as - (1.0 - battery->charge_fraction) * battery->capacity_as;
  if (above_as > run->overcharge_as) run->overcharge_as = above_as; /* fmax may take -0 for 0 */
}

/* One sample of the controller; a command acts at once, but for one that comes when the run is over. */
static enum sb_status sample(struct run *run, bool is_last, struct sb_error *err)
{
  struct sb_row row = sb_sim_row(&run->sim);
  watch_charge(run);
  const struct sb_sensed sensed = sense(run, &row);
  sb_monitor_row(run->monitor, &row, is_automatic(run));
  if (!is_automatic(run) || is_last) return SB_OK;

  const int before = run->sim.state.gear + 1;
  int gear = before;
  const enum sb_status status = decide(run, &row, &sensed, &gear, err);
  if (status != SB_OK) return status;
  const struct sb_run_options *options = run->options;
  if (options->on_sample != NULL) {
    const struct sb_run_sample said = {.reading = sensed.least,
                                       .counts = sensed.counts,
                                       .voltage_counts = sensed.voltage_counts,
                                       .is_engaged = sb_sim_is_engaged(&run->sim),
                                       .is_deciding = sb_sim_is_deciding(&run->sim),
                                       .gear = gear};
    options->on_sample(options->sample_context, &said);
  }
  if (gear == before) return SB_OK;
  hand_out(run, &row);
  sb_monitor_command(run->monitor, &row, gear);
  sb_sim_command(&run->sim, gear - 1);
  return SB_OK;
}

static long long earlier(long long a, long long b)
{
  return a < b ? a : b;
}

static enum sb_status trace_failed(struct sb_error *err)
{
  return sb_fail(err, SB_ERR_IO, "the trace could not be written");
}

/* From sample to sample and from trace row to trace row, until the end. */
static enum sb_status go(struct run *run, struct sb_error *err)
{
  const struct sb_run_setup *setup = &run->model->run;
  const long long last = sb_model_step_count(setup->duration_s, setup->step_s);
  const long long per_sample = sb_model_step_count(run->model->control.sample_period_s, setup->step_s);
  const long long per_row = sb_model_step_count(setup->trace_interval_s, setup->step_s);
  const bool has_trace = run->options->on_row != NULL;
  long long next_sample = 0, next_row = has_trace ? 0 : last;
  for (long long step = 0;; step = earlier(earlier(next_sample, next_row), last)) {
    const enum sb_status status = sb_sim_advance(&run->sim, step, err);
    if (status != SB_OK) return status;
    if (run->sim.state.far.is_finished) return run->has_failed ? trace_failed(err) : SB_OK;
    if (step == next_sample) {
      const enum sb_status sampled = sample(run, step == last, err);
      if (sampled != SB_OK) return sampled;
      next_sample += per_sample;
    }
    if (has_trace && (step == next_row || step == last)) {
      const struct sb_row row = row_now(run);
      hand_out(run, &row);
    }
    if (step == next_row) next_row += per_row;
    if (run->has_failed) return trace_failed(err);
    if (step == last) return SB_OK;
  }
}

/* A run whose energies part is no answer at all. */
static const double residual_max = 1e-3;

static enum sb_status start(struct run *run, struct sb_error *err)
{
  const struct sb_control *control = &run->model->control;
  const int gear = run->options->locked_gear > 0 ? run->options->locked_gear : control->start_gear;
  enum sb_status status = sb_sensor_init(&run->reading, &control->sensor, control->sample_period_s, err);
  if (status != SB_OK) return status;
  status = sb_sim_init(&run->sim, run->model, gear - 1, err);
  if (status != SB_OK) return status;
  sb_monitor_init(run->monitor, run->model, &run->sim.derived);
  run->sim.observer = (struct sb_sim_observer){run, on_event, before_engaging};
  run->setup = sb_run_controller_setup(run->model);
  sb_controller_start(&run->setup, &run->controller, (uint8_t)gear);
  if (run->options->decider == NULL || !is_automatic(run)) return SB_OK;
  return sb_deciding_begin(&run->deciding, run->options->decider, run->model, &run->setup, err);
}

enum sb_status sb_run(const struct sb_model *model, const struct sb_run_options *options, struct sb_run_result *result,
                      struct sb_error *err)
{
  struct sb_run_result out = {.step_count = 0};
  struct run run = {.model = model,
                    .options = options,
                    .monitor = &out.monitor,
                    .reading_pct = NAN,
                    .pulse_count = NAN,
                    .pulse_time_s = NAN,
                    .measured_voltage_v = NAN};
  enum sb_status status = start(&run, err);
  if (status == SB_OK) status = go(&run, err);
  status = sb_deciding_end(&run.deciding, status, err);
  if (status == SB_OK) {
    out.sums = *sb_sim_sums(&run.sim);
    out.end = row_now(&run);
    watch_charge(&run);
    out.overcharge_as = run.overcharge_as;
    out.end_gear = run.sim.state.gear + 1;
    out.step_count = run.sim.state.step;
    status = sb_monitor_finish(&out.monitor, &out.end, &out.sums);
    if (status != SB_OK) sb_fail(err, status, "out of memory for shifts and verdicts");
    const double residual = sb_energy_residual_ratio(&out.sums.energy);
    if (status == SB_OK && !(residual <= residual_max)) {
      status = sb_fail(
          err, SB_ERR_NUMERICS,
          "the energies differ by %.2g of the energy that was moved; report the scenario as a fault of the program",
          residual);
    }
  }
  sb_sim_clear(&run.sim);
  sb_sensor_clear(&run.reading);
  if (status == SB_OK) {
    *result = out;
  } else {
    sb_monitor_clear(&out.monitor);
  }
  return status;
}

void sb_run_result_clear(struct sb_run_result *result)
{
  sb_monitor_clear(&result->monitor);
}
