// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A sensor of pulses, whose marks the motor itself moves.
 *
 * Closed forms: at a constant speed of x pulses in a window the count is floor(phase + end) - floor(phase + begin), so floor(x) or
 * ceil(x); its mean over all phases is x; one count is 60 / (pulses window) rpm. Between two pulses at a constant speed the time is
 * 1 / (pulses n), and at rest the reading is 60 / (pulses t) rpm, t since the last pulse. (Counting pulses and timing them as ways
 * to measure a speed: T. Ohmae et al., IEEE Transactions on Industrial Electronics 29 (1982) 207, from memory.)
 */
#include <math.h>
#include <stdlib.h>

#include "help/box.h"
#include "help/near.h"
#include "shiftband/run.h"

static const double turn = 6.283185307179586;

struct rows {
  struct sb_row *items;
  size_t count, room;
};

static int keep(void *context, const struct sb_row *row)
{
  struct rows *rows = context;
  assert_true(rows->count < rows->room);
  rows->items[rows->count++] = *row;
  return 0;
}

/* All rows of a run in one gear; release with free(). */
static struct rows rows_of(const struct sb_model *model, int gear)
{
  struct rows rows = {.room = 400000};
  rows.items = calloc(rows.room, sizeof *rows.items);
  assert_non_null(rows.items);
  struct sb_run_options options = sb_run_options_default();
  options.locked_gear = gear;
  options.on_row = keep;
  options.context = &rows;
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  sb_run_result_clear(&result);
  return rows;
}

/* The last row at a time; every sample ends in one. */
static const struct sb_row *row_at(const struct rows *rows, double time_s)
{
  const struct sb_row *found = NULL;
  for (size_t i = 0; i < rows->count; i++) {
    if (fabs(rows->items[i].time_s - time_s) < 1e-9) found = &rows->items[i];
  }
  assert_non_null(found);
  return found;
}

/* A motor that turns at half its no-load speed under half its stall torque from the start on: 20 samples a second, 24 pulses a
 * turn. */
static struct sb_model idling(double rev_s, double window_s, double phase)
{
  struct sb_model model = box_line(2.0 * rev_s * turn, 1.0, 1e-3, 1e-3);
  box_add_gear(&model, 2.0, 1.0);
  box_add_constant(&model, 1.0, true);
  model.run = (struct sb_run_setup){.duration_s = 1.0, .step_s = 1e-3, .trace_interval_s = 0.05};
  model.run.initial_output_speed_rad_s = rev_s * turn / 2.0;
  model.control.sample_period_s = 0.05;
  model.control.start_gear = 1;
  model.control.debounce_count = 1;
  struct sb_sensor *sensor = &model.control.sensor;
  sensor->reference_rad_s = rev_s * turn;
  sensor->pulses = (struct sb_pulse_sensor){.per_turn = 24.0, .window_s = window_s, .phase = phase};
  if (window_s > 0.0) sensor->resolution_fraction = sb_sensor_pulse_fraction(sensor);
  return model;
}

static void one_count_is_60_over_pulses_and_window_in_rpm(void **state)
{
  (void)state;
  const struct sb_model model = idling(10.0, 0.05, 0.0);
  const double rpm = 600.0 * sb_sensor_count_fraction(&model.control.sensor);
  assert_near_rel(rpm, 60.0 / (24.0 * 0.05), 1e-14); /* 50 rpm */
}

static void a_constant_speed_counts_floor_or_ceil_by_the_phase(void **state)
{
  (void)state;
  const double windows[] = {0.05, 0.02, 0.11, 0.2, 0.333};
  for (int w = 0; w < 5; w++) {
    for (double phase = 0.03; phase < 1.0; phase += 0.19) {
      struct sb_model model = idling(10.3, windows[w], phase);
      const double per_turn = w == 0 ? 1.0 : 24.0;
      model.control.sensor.pulses.per_turn = per_turn;
      struct rows rows = rows_of(&model, 1);
      for (int k = 8; k <= 20; k++) { /* after the longest window */
        const double end = per_turn * 10.3 * 0.05 * k, begin = end - per_turn * 10.3 * windows[w];
        const double count = row_at(&rows, 0.05 * k)->pulse_count;
        assert_near(count, floor(phase + end) - floor(phase + begin), 0.0);
        assert_true(count >= floor(end - begin) && count <= ceil(end - begin));
      }
      free(rows.items);
    }
  }
}

static void before_the_start_nothing_was_counted(void **state)
{
  (void)state;
  const struct sb_model model = idling(10.0, 0.2, 0.5);
  struct rows rows = rows_of(&model, 1);
  for (int k = 0; k <= 4; k++) assert_near(row_at(&rows, 0.05 * k)->pulse_count, 12.0 * k, 0.0);
  assert_near(row_at(&rows, 0.3)->pulse_count, 48.0, 0.0);
  free(rows.items);
}

/* The phases are spread evenly, so their mean is that of all phases to one part in their number. */
static void the_mean_of_all_phases_is_the_speed(void **state)
{
  (void)state;
  enum { PHASES = 200 };
  double sum = 0.0;
  for (int i = 0; i < PHASES; i++) {
    const struct sb_model model = idling(10.3, 0.07, (i + 0.5) / PHASES);
    struct rows rows = rows_of(&model, 1);
    sum += row_at(&rows, 0.5)->pulse_count;
    free(rows.items);
  }
  assert_near(sum / PHASES, 24.0 * 10.3 * 0.07, 1.0 / PHASES);
}

static void the_worst_phase_reads_the_least_count(void **state)
{
  (void)state;
  struct sb_model model = idling(10.3, 0.07, 0.0);
  model.control.sensor.pulses.is_worst = true;
  struct rows rows = rows_of(&model, 1);
  for (int k = 2; k <= 20; k++) assert_near(row_at(&rows, 0.05 * k)->pulse_count, 17.0, 0.0); /* of 17.304 */
  free(rows.items);
}

/* 12.024 pulses in a window: in a second 12 are counted each time from the middle of a pulse on, and 13 might be in the worst phase. An upshift
 * above 12 counts comes in that alone. */
static void an_upshift_comes_one_count_early_in_the_worst_phase_alone(void **state)
{
  (void)state;
  for (int is_worst = 0; is_worst <= 1; is_worst++) {
    struct sb_model model = idling(10.02, 0.05, 0.5);
    struct sb_sensor *sensor = &model.control.sensor;
    box_add_gear(&model, 1.0, 1.0);
    sensor->reference_rad_s *= 2.0;
    sensor->resolution_fraction = sb_sensor_pulse_fraction(sensor);
    sensor->pulses.is_worst = is_worst != 0;
    model.control.upshift_fraction[0] = 12.4 / (2.0 * 12.024);
    model.control.downshift_fraction[0] = 0.1;
    model.control.start_delay_s = 0.1;
    struct sb_run_options options = sb_run_options_default();
    struct sb_run_result result;
    struct sb_error err;
    assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
    assert_int_equal(result.monitor.shift_count > 0, is_worst);
    sb_run_result_clear(&result);
  }
}

static void between_pulses_a_constant_speed_is_exact(void **state)
{
  (void)state;
  const struct sb_model model = idling(10.3, 0.0, 0.4);
  struct rows rows = rows_of(&model, 1);
  for (int k = 1; k <= 20; k++) {
    assert_near_rel(row_at(&rows, 0.05 * k)->pulse_time_s, 1.0 / (24.0 * 10.3), 1e-11);
    assert_near(row_at(&rows, 0.05 * k)->reading_pct, 100.0, 1e-6);
  }
  assert_true(isnan(row_at(&rows, 0.0)->pulse_time_s));
  assert_near(row_at(&rows, 0.0)->reading_pct, 0.0, 0.0);
  free(rows.items);
}

/* The motor stops at once under a load that comes at 0.5 s and is far beyond its stall torque. */
static void after_a_stall_the_reading_ages(void **state)
{
  (void)state;
  struct sb_model model = idling(10.0, 0.0, 0.4);
  const double time_s[] = {0.0, 0.5, 0.5, 1.0}, torque_nm[] = {0.0, 0.0, 1e4, 1e4};
  box_add_part(&model, "profile",
               (struct sb_load_part){.is_resisting = true, .table = {.x = time_s, .y = torque_nm, .count = 4}});
  struct rows rows = rows_of(&model, 1);
  /* It stops 1e-5 s later; the last of 24 * 10 * 0.5 + 0.4 = 120.4 pulses came 0.4 / 240 s before the load. */
  for (int k = 11; k <= 20; k++) {
    const struct sb_row *row = row_at(&rows, 0.05 * k);
    const double since_s = 0.05 * k - (0.5 - 0.4 / 240.0);
    assert_int_equal(row->phase, SB_PHASE_STANDSTILL);
    assert_near_rel(row->pulse_time_s, since_s, 1e-9);
    assert_near(row->reading_pct * 6.0, 60.0 / (24.0 * since_s), 1e-5);
  }
  free(rows.items);
}

/* Counts of a machine whose speed goes up and down, from the angle that the trace shows of the output. */
static void counts_follow_the_motor_s_own_angle(void **state)
{
  (void)state;
  const double windows[] = {0.02, 0.012, 0.06, 0.071};
  /* What a stretch ends at between two samples: before a window opens, and behind. */
  static const double at_s[] = {0.0, 0.003, 0.014, 0.017, 0.02}, pulse_nm[] = {0.0, 0.02, 0.0, 0.02, 0.0};
  static const struct sb_table pulsing = {.x = at_s, .y = pulse_nm, .count = 5};
  for (int w = 0; w < 4; w++) {
    struct sb_model model = box_cart();
    box_add_part(&model, "sine",
                 (struct sb_load_part){.is_resisting = true, .mean_nm = 0.1, .amplitude_nm = 0.08, .period = 0.3});
    box_add_part(&model, "profile",
                 (struct sb_load_part){.is_resisting = true, .is_repeating = true, .table = pulsing});
    model.run = (struct sb_run_setup){.duration_s = 2.0, .step_s = 1e-3, .trace_interval_s = 1e-3};
    model.control.sample_period_s = 0.02;
    model.control.sensor.pulses = (struct sb_pulse_sensor){.per_turn = 50.0, .window_s = windows[w], .phase = 0.3};
    model.control.sensor.resolution_fraction = sb_sensor_pulse_fraction(&model.control.sensor);
    const double ratio = model.gearbox.gears[1].ratio;
    struct rows rows = rows_of(&model, 2);
    for (int k = 4; k <= 100; k++) {
      const struct sb_row *end = row_at(&rows, 0.02 * k), *begin = row_at(&rows, 0.02 * k - windows[w]);
      const double from = 0.3 + 50.0 * ratio * fabs(begin->output_turns),
                   to = 0.3 + 50.0 * ratio * fabs(end->output_turns);
      assert_near(end->pulse_count, floor(to) - floor(from), 0.0);
    }
    assert_true(row_at(&rows, 2.0)->pulse_count > 0.0);
    free(rows.items);
  }
}

/* A swing arm turns the motor over and back across the same marks: they are counted both times. */
static void a_reversal_counts_its_marks_twice(void **state)
{
  (void)state;
  struct sb_model model = box_swing();
  model.run = (struct sb_run_setup){.duration_s = 4.0, .step_s = 1e-3, .trace_interval_s = 1e-3};
  model.control.sample_period_s = 0.02;
  model.control.dwell_s = 0.3;
  model.control.debounce_count = 1;
  model.control.start_gear = 2;
  model.control.downshift_fraction[0] = 0.97; /* hunts as it may */
  model.control.upshift_fraction[0] = 0.98;
  box_add_constant(&model, 0.05, true);
  model.control.sensor.pulses = (struct sb_pulse_sensor){.per_turn = 400.0, .window_s = 0.02, .phase = 0.3};
  model.control.sensor.resolution_fraction = sb_sensor_pulse_fraction(&model.control.sensor);
  struct rows rows = rows_of(&model, 0);
  double angle = 0.3, way = 0.0, counted = 0.0, last_s = 0.0;
  int reversals = 0;
  for (size_t i = 1; i < rows.count; i++) {
    const struct sb_row *a = &rows.items[i - 1], *b = &rows.items[i];
    const double step = 400.0 / turn * 0.5 * (a->motor_speed_rad_s + b->motor_speed_rad_s) * (b->time_s - a->time_s);
    if (a->motor_speed_rad_s * b->motor_speed_rad_s < 0.0) reversals++;
    way += fabs(floor(angle + step) - floor(angle));
    angle += step;
    const double sample = b->time_s / 0.02;
    const bool is_last_row = i + 1 == rows.count || rows.items[i + 1].time_s > b->time_s + 1e-9;
    if (!is_last_row || fabs(sample - round(sample)) > 1e-6 || b->time_s < last_s + 0.01) continue;
    last_s = b->time_s;
    counted += b->pulse_count;
    /* The trapezoids are off by a part of a pulse; each mark near a reversal may count twice or not at all. */
    assert_near(counted, way, 3.0 + 2.0 * reversals);
  }
  assert_true(reversals >= 3);
  assert_true(counted > 1000.0);
  free(rows.items);
}

/* The motor's turns in a run-up without a load until 0.6 s, then under half the stall torque: exponentials of 0.5 s. */
static double turns_at(double time_s)
{
  const double tau_s = 0.5, free_rev_s = 4.0, first_s = fmin(time_s, 0.6), later_s = time_s - first_s;
  const double first = free_rev_s * (first_s + tau_s * expm1(-first_s / tau_s));
  const double then_rev_s = free_rev_s * -expm1(-first_s / tau_s), settled_rev_s = 0.5 * free_rev_s;
  return first + settled_rev_s * later_s - (then_rev_s - settled_rev_s) * tau_s * expm1(-later_s / tau_s);
}

static double mark_s(double mark)
{
  double low_s = 0.0, high_s = 10.0;
  for (int i = 0; i < 100; i++) {
    const double middle_s = 0.5 * (low_s + high_s);
    if (turns_at(middle_s) < mark)
      low_s = middle_s;
    else
      high_s = middle_s;
  }
  return high_s;
}

/* At a mark a turn, at most one passes between two samples: the time between the last two spans several motions. It ages where the next
 * one takes longer. */
static void in_a_run_up_the_time_between_the_last_two_pulses_is_told(void **state)
{
  (void)state;
  static const double times_s[] = {0.0, 0.6}, torque_nm[] = {0.0, 1.0};
  struct sb_model model = box_line(4.0 * turn, 1.0, 0.0, 0.0);
  box_add_gear(&model, 2.0, 1.0);
  model.motor.rotor_inertia_kg_m2 = 0.25 / (4.0 * turn);
  model.load.inertia_kg_m2 = 4.0 * 0.25 / (4.0 * turn);
  box_add_part(&model, "profile", (struct sb_load_part){.table = {2, times_s, torque_nm}, .is_held = true});
  model.run = (struct sb_run_setup){.duration_s = 2.0, .step_s = 1e-3, .trace_interval_s = 0.05};
  model.control.sample_period_s = 0.05;
  model.control.start_gear = 1;
  model.control.debounce_count = 1;
  model.control.sensor.reference_rad_s = 4.0 * turn;
  model.control.sensor.pulses = (struct sb_pulse_sensor){.per_turn = 1.0};
  struct rows rows = rows_of(&model, 1);
  int told = 0;
  for (int k = 1; k <= 40; k++) {
    const double last = floor(turns_at(0.05 * k));
    assert_true(last - floor(turns_at(0.05 * (k - 1))) <= 1.0);
    if (last < 2.0) continue;
    const double period_s = mark_s(last) - mark_s(last - 1.0), age_s = 0.05 * k - mark_s(last);
    assert_near_rel(row_at(&rows, 0.05 * k)->pulse_time_s, fmax(period_s, age_s), 1e-9);
    told++;
  }
  assert_true(told > 10);
  free(rows.items);
}

/* Back over the mark at which it stood, by less than a rounding, the motor comes to rest just before it: one pulse, and none after. */
static void a_mark_that_is_only_just_passed_counts_once(void **state)
{
  (void)state;
  struct sb_model model = idling(10.0, 0.05, 0.0);
  const struct sb_model blocked = box_constants(12.0, 0.1, 2.0, 0.0, 1e-3, 1e-3);
  model.motor = blocked.motor;
  model.supply = blocked.supply;
  model.run.initial_output_speed_rad_s = -1e-18;
  model.load.part_count = 0;
  box_add_part(&model, "sine",
               (struct sb_load_part){.is_resisting = true, .mean_nm = 49.0, .amplitude_nm = 1.0, .period = 1.0});
  struct rows rows = rows_of(&model, 1);
  for (int k = 1; k <= 20; k++) assert_near(row_at(&rows, 0.05 * k)->pulse_count, k == 1 ? 1.0 : 0.0, 0.0);
  free(rows.items);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(one_count_is_60_over_pulses_and_window_in_rpm),
      cmocka_unit_test(a_constant_speed_counts_floor_or_ceil_by_the_phase),
      cmocka_unit_test(before_the_start_nothing_was_counted),
      cmocka_unit_test(the_mean_of_all_phases_is_the_speed),
      cmocka_unit_test(the_worst_phase_reads_the_least_count),
      cmocka_unit_test(an_upshift_comes_one_count_early_in_the_worst_phase_alone),
      cmocka_unit_test(between_pulses_a_constant_speed_is_exact),
      cmocka_unit_test(after_a_stall_the_reading_ages),
      cmocka_unit_test(counts_follow_the_motor_s_own_angle),
      cmocka_unit_test(a_reversal_counts_its_marks_twice),
      cmocka_unit_test(in_a_run_up_the_time_between_the_last_two_pulses_is_told),
      cmocka_unit_test(a_mark_that_is_only_just_passed_counts_once),
  };
  return cmocka_run_group_tests_name("pulses", tests, NULL, NULL);
}
