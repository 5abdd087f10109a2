// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * On seeded random machines that mix everything: the step, the trace and the threads change nothing. The step is the grid
 * of traces, samples and ticks alone, so that half of it gives the same motion but for rounding.
 */
#include <gsl/gsl_rng.h>
#include <stdlib.h>
#include <string.h>

#include "help/mix.h"
#include "help/near.h"
#include "help/slow.h"
#include "shiftband/run.h"

enum { CASE_COUNT = IS_SLOW ? 60 : 300, FIGURE_MAX = 4096 };

static void take_case(unsigned long seed, struct mix_case *it)
{
  mix_seeded_case(seed, it);
  /* The end of the run is a whole step whatever the step. */
  struct sb_run_setup *setup = &it->plane.model.run;
  setup->duration_s = setup->step_s * (double)sb_model_step_count(setup->duration_s, setup->step_s);
}

static int take_row(void *context, const struct sb_row *row)
{
  (void)row;
  ++*(long *)context;
  return 0;
}

/* All figures of a run, each with the scale that its rounding belongs to. */
struct figures {
  int count;
  double value[FIGURE_MAX], scale[FIGURE_MAX];
  const char *name[FIGURE_MAX];
};

static void put(struct figures *all, const char *name, double value, double scale)
{
  if (all->count == FIGURE_MAX) fail_msg("too many figures");
  all->name[all->count] = name;
  all->scale[all->count] = scale;
  all->value[all->count++] = value;
}

static void put_end(struct figures *all, const struct sb_model *model, const struct sb_sums *sums,
                    const struct sb_row *end)
{
  const double motor = model->motor.no_load_speed_rad_s, output = fabs(sums->output_speed_rad_s.value);
  const double turns = output * model->run.duration_s;
  put(all, "motor speed", end->motor_speed_rad_s, motor);
  put(all, "output speed", end->output_speed_rad_s, output);
  put(all, "output turns", end->output_turns, turns);
  put(all, "vehicle speed", end->vehicle_speed_rad_s, output);
  put(all, "vehicle angle", end->vehicle_angle_rad, turns);
  put(all, "twist", end->twist_rad, 1.0);
  put(all, "winding", end->winding_c, 100.0);
  put(all, "housing", end->housing_c, 100.0);
  put(all, "charge", end->charge_fraction, 1.0);
  put(all, "gear", end->gear, 1.0);
}

static void put_sums(struct figures *all, const struct sb_model *model, const struct sb_sums *sums)
{
  const double *energy = (const double *)&sums->energy;
  const double run_s = model->run.duration_s, moved_j = fmax(sums->energy.throughput, fabs(sums->energy.load_work));
  for (size_t i = 0; i < sizeof sums->energy / sizeof *energy; i++) put(all, "energy", energy[i], moved_j);
  /* No time of a greatest value: where it is flat, rounding of the value moves it by the root of that. */
  put(all, "greatest torque", sums->output_torque_nm.value, fabs(sums->output_torque_nm.value));
  put(all, "greatest current", sums->motor_current_a.value, fabs(sums->motor_current_a.value));
  put(all, "greatest motor speed", fabs(sums->motor_speed_rad_s.value), fabs(sums->motor_speed_rad_s.value));
  put(all, "greatest output speed", fabs(sums->output_speed_rad_s.value), fabs(sums->output_speed_rad_s.value));
  put(all, "least output speed", sums->least_output_speed_rad_s, fabs(sums->output_speed_rad_s.value));
  put(all, "time over the limit", sums->over_limit_s, run_s);
  put(all, "first over the limit", sums->over_limit_first_s, run_s);
  put(all, "last over the limit", sums->over_limit_last_s, run_s);
  for (int g = 0; g < SB_GEAR_MAX; g++) put(all, "time in gear", sums->gear_time_s[g], run_s);
  put(all, "time in neutral", sums->neutral_time_s, run_s);
  put(all, "time at rest", sums->standstill_time_s, run_s);
  put(all, "greatest impulse", fabs(sums->greatest_impulse_nms), fabs(sums->greatest_impulse_nms));
  put(all, "time slipping", sums->slip_s, run_s);
  put(all, "first slip", sums->slip_first_s, run_s);
  put(all, "last slip", sums->slip_last_s, run_s);
  put(all, "greatest winding temperature", sums->winding_c.value, 100.0);
  put(all, "time hot", sums->hot_s, run_s);
  put(all, "time cut", sums->cut_s, run_s);
  put(all, "cuts", (double)sums->cut_count, 1.0);
  put(all, "greatest impact", fabs(sums->impact_greatest_nms), fabs(sums->impact_greatest_nms));
  put(all, "impacts", (double)sums->impact_count, 1.0);
}

static void put_monitor(struct figures *all, const struct sb_model *model, const struct sb_monitor *monitor)
{
  const double run_s = model->run.duration_s;
  put(all, "shifts", (double)monitor->shift_count, 1.0);
  put(all, "verdicts", (double)monitor->verdict_count, 1.0);
  for (size_t i = 0; i < monitor->shift_count; i++) {
    const struct sb_shift_record *shift = &monitor->shifts[i];
    put(all, "command", shift->command_s, run_s);
    put(all, "engagement", shift->engaged_s, run_s);
    put(all, "from", shift->from, 1.0);
    put(all, "to", shift->to, 1.0);
  }
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    const struct sb_verdict *verdict = &monitor->verdicts[i];
    put(all, "verdict", verdict->kind, 1.0);
    put(all, "first time of a verdict", verdict->first_s, run_s);
    put(all, "last time of a verdict", verdict->last_s, run_s);
    put(all, "count of a verdict", (double)verdict->count, 1.0);
  }
}

/* Runs a model; rows: NULL without a trace. */
static void run(const struct sb_model *model, long *rows, struct figures *all)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  if (rows != NULL) {
    options.on_row = take_row;
    options.context = rows;
  }
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  all->count = 0;
  put_end(all, model, &result.sums, &result.end);
  put_sums(all, model, &result.sums);
  put_monitor(all, model, &result.monitor);
  sb_run_result_clear(&result);
}

/* The greatest difference, of each figure's scale; INFINITY where figures are missing. */
static double difference_of(const struct figures *one, const struct figures *other, const char **name)
{
  *name = "number of figures";
  if (one->count != other->count) return INFINITY;
  double worst = 0.0;
  for (int i = 0; i < one->count; i++) {
    const double a = one->value[i], b = other->value[i];
    if (a == b || (isnan(a) && isnan(b))) continue;
    const double difference = fabs(a - b) / fmax(one->scale[i], 1e-300);
    if (difference <= worst) continue; /* a NaN on one side alone counts */
    worst = isnan(difference) ? (double)INFINITY : difference;
    *name = one->name[i];
  }
  return worst;
}

static struct figures first, second;
static struct mix_case it;

/* Beyond the others: 1440 rests with a wound shaft above its limit. */
static unsigned long next_seed(unsigned long seed)
{
  return seed == CASE_COUNT ? 1440 : seed + 1;
}

/* The promise: 1e-10 of each figure's scale. */
static void half_the_step_gives_the_same_figures(void **state)
{
  (void)state;
  double worst = 0.0;
  unsigned long bad_count = 0;
  for (unsigned long seed = 1; seed <= 1440; seed = next_seed(seed)) {
    if (!mix_is_wanted(seed)) continue;
    take_case(seed, &it);
    struct sb_model *model = &it.plane.model;
    run(model, NULL, &first);
    model->run.step_s *= 0.5;
    run(model, NULL, &second);
    const char *name;
    const double difference = difference_of(&first, &second, &name);
    if (!(difference <= 1e-10)) {
      print_error("case %lu: %s differs by %.3g\n", seed, name, difference);
      bad_count++;
    }
    if (difference > worst) worst = difference;
  }
  print_message("worst difference %.2e\n", worst);
  assert_int_equal(bad_count, 0);
}

/* Bit for bit, with a row at each step, and with rows at an interval that has nothing to do with the samples. */
static void a_trace_changes_no_bit_of_the_figures(void **state)
{
  (void)state;
  static const double intervals[] = {1.0, 7.0};
  unsigned long bad_count = 0;
  for (unsigned long seed = 1; seed <= 1440; seed = next_seed(seed)) {
    if (!mix_is_wanted(seed)) continue;
    take_case(seed, &it);
    struct sb_model *model = &it.plane.model;
    run(model, NULL, &first);
    for (int i = 0; i < 2; i++) {
      long rows = 0;
      model->run.trace_interval_s = intervals[i] * model->run.step_s;
      run(model, &rows, &second);
      assert_true(rows > 10);
      const char *name;
      const double difference = difference_of(&first, &second, &name);
      if (difference == 0.0) continue;
      print_error("case %lu: a trace changes %s by %.3g\n", seed, name, difference);
      bad_count++;
    }
  }
  assert_int_equal(bad_count, 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(half_the_step_gives_the_same_figures),
      cmocka_unit_test(a_trace_changes_no_bit_of_the_figures),
  };
  return cmocka_run_group_tests_name("any step", tests, plane_quiet_gsl, NULL);
}
