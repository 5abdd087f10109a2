// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Similar machines (scaled.h) do the same to the last bit: in runs, closed forms, maps and over a discharge. So no formula
 * holds a torque, a speed, an angle or a time against a number of its own.
 */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/dice.h"
#include "help/mix.h"
#include "help/near.h"
#include "help/scaled.h"
#include "shiftband/closed_form.h"
#include "shiftband/discharge.h"
#include "shiftband/map.h"
#include "shiftband/run.h"

/* Some 1/16000 and 16000 times the torque, the speed the other way round, 8 times and 1/8 of the time. */
static struct scale scale_for(unsigned long seed)
{
  return seed % 2 == 0 ? scale_of(14, 3) : scale_of(-14, -3);
}

static double room[SCALED_ROOM];

static void take_case(unsigned long seed, const struct mix_chances *chances, struct mix_case *it)
{
  gsl_rng *rng = dice_of(seed);
  mix_random_case(rng, chances, it);
  snprintf(it->plane.model.name, sizeof it->plane.model.name, "case %lu", seed);
  /* Those whose defaults are times, lengths and angles of their own do not scale with the machine. */
  struct sb_limits *limits = &it->plane.model.limits;
  limits->shift_rate_per_s = 0.2;
  limits->run_back_rad = 0.5;
  limits->clutch_slip_time_s = 0.05;
  gsl_rng_free(rng);
}

/* To look at one case alone: SHIFTBAND_TEST_CASE=number. */
static bool is_wanted(unsigned long seed)
{
  const char *only = getenv("SHIFTBAND_TEST_CASE");
  return only == NULL || seed == strtoul(only, NULL, 10);
}

#define SAME(field, factor)                                                                                           \
  do {                                                                                                                \
    const double got = (other->field), want = (factor) * (one->field);                                                \
    if (!(got == want || (isnan(got) && isnan(want)))) fail_msg("%s: " #field ": %.17g, not %.17g", name, got, want); \
  } while (0)

/* Runs ------------------------------------------------------------------------------------------------------------------ */

static void run(const struct sb_model *model, struct sb_run_result *result)
{
  struct sb_error err = {SB_OK, ""};
  const struct sb_run_options options = sb_run_options_default();
  if (sb_run(model, &options, result, &err) != SB_OK) fail_msg("%s: %s", model->name, err.text);
}

static void compare_sums(const char *name, const struct sb_sums *one, const struct sb_sums *other,
                         const struct scale *s)
{
  double lines[sizeof one->energy / sizeof(double)], other_lines[sizeof one->energy / sizeof(double)];
  memcpy(lines, &one->energy, sizeof lines);
  memcpy(other_lines, &other->energy, sizeof other_lines);
  for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
    const double got = other_lines[i], want = s->time * lines[i];
    if (got != want) fail_msg("%s: line %zu: %.17g, not %.17g", name, i, got, want);
  }
  SAME(output_torque_nm.value, s->torque);
  SAME(output_torque_nm.time_s, s->time);
  SAME(motor_current_a.value, 1.0);
  SAME(motor_speed_rad_s.value, s->speed);
  SAME(output_speed_rad_s.value, s->speed);
  SAME(least_output_speed_rad_s, s->speed);
  SAME(greatest_output_speed_rad_s, s->speed);
  SAME(over_limit_s, s->time);
  SAME(over_limit_first_s, s->time);
  SAME(neutral_time_s, s->time);
  SAME(standstill_time_s, s->time);
  SAME(greatest_impulse_nms, s->torque * s->time);
  SAME(slip_s, s->time);
  SAME(slip_need.whole_nm, s->torque);
  SAME(slip_need.own_nm, s->torque);
  SAME(slip_need.press_nm, s->torque);
  SAME(winding_c.value, 1.0);
  SAME(hot_s, s->time);
  SAME(cut_s, s->time);
  SAME(impact_greatest_nms, s->torque * s->time);
  SAME(way_rad, s->angle);
  SAME(back.value, s->angle);
  assert_int_equal(one->impact_count, other->impact_count);
}

static void compare_ends(const char *name, const struct sb_row *one, const struct sb_row *other, const struct scale *s)
{
  SAME(time_s, s->time);
  SAME(gear, 1);
  SAME(duty_fraction, 1.0);
  SAME(motor_speed_rad_s, s->speed);
  SAME(reading_pct, 1.0);
  SAME(output_speed_rad_s, s->speed);
  SAME(output_torque_nm, s->torque);
  SAME(load_torque_nm, s->torque);
  SAME(external_torque_nm, s->torque);
  SAME(own_load_nm, s->torque);
  SAME(next_load_nm, s->torque);
  SAME(motor_current_a, 1.0);
  SAME(supply_voltage_v, 1.0);
  SAME(output_turns, s->angle);
  SAME(vehicle_speed_rad_s, s->speed);
  SAME(vehicle_angle_rad, s->angle);
  SAME(twist_rad, s->angle);
  SAME(charge_fraction, 1.0);
  SAME(winding_c, 1.0);
}

static void compare_monitors(const char *name, const struct sb_monitor *a, const struct sb_monitor *b,
                             const struct scale *s)
{
  assert_int_equal(a->shift_count, b->shift_count);
  assert_int_equal(a->verdict_count, b->verdict_count);
  for (size_t i = 0; i < a->shift_kept; i++) {
    const struct sb_shift_record *one = &a->shifts[i], *other = &b->shifts[i];
    SAME(command_s, s->time);
    SAME(engaged_s, s->time);
    SAME(to, 1);
    SAME(load_torque_nm, s->torque);
    SAME(external_torque_nm, s->torque);
  }
  for (size_t i = 0; i < a->verdict_count; i++) {
    const struct sb_verdict *one = &a->verdicts[i], *other = &b->verdicts[i];
    SAME(kind, 1);
    SAME(cause, 1);
    SAME(first_s, s->time);
    SAME(last_s, s->time);
    SAME(duration_s, s->time);
    SAME(least_nm, s->torque);
    SAME(greatest_nm, s->torque);
  }
}

static void similar_machines_run_alike_to_the_bit(void **state)
{
  (void)state;
  static struct mix_case it;
  for (unsigned long seed = 1; seed <= 120; seed++) {
    if (!is_wanted(seed)) continue;
    take_case(seed, &mix_everything, &it);
    const struct sb_model *model = &it.plane.model;
    struct sb_run_result one, other;
    run(model, &one);
    const struct scale scale = scale_of(seed % 2 == 0 ? 14 : -14, 0); /* events are located to a time */
    const struct sb_model similar = scaled_model(model, &scale, room);
    run(&similar, &other);
    compare_ends(model->name, &one.end, &other.end, &scale);
    compare_sums(model->name, &one.sums, &other.sums, &scale);
    compare_monitors(model->name, &one.monitor, &other.monitor, &scale);
    sb_run_result_clear(&one);
    sb_run_result_clear(&other);
  }
}

/* Closed forms ---------------------------------------------------------------------------------------------------------- */

static void compare_gears(const char *name, const struct sb_gear_figures *one, const struct sb_gear_figures *other,
                          const struct scale *s)
{
  SAME(stall_torque_nm, s->torque);
  SAME(inertia_kg_m2, s->inertia);
  SAME(time_constant_s, s->time);
  SAME(lightest_reading, 1.0);
  SAME(lightest_speed_rad_s, s->speed);
  SAME(heaviest_reading, 1.0);
  SAME(heaviest_speed_rad_s, s->speed);
  SAME(hidden_torque_nm, s->torque);
  SAME(least_voltage_v, 1.0);
  SAME(is_stable, 1);
}

static void compare_pairs(const char *name, const struct sb_pair_figures *one, const struct sb_pair_figures *other,
                          const struct scale *s)
{
  SAME(downshift_torque_nm, s->torque);
  SAME(upshift_torque_nm, s->torque);
  SAME(helping_upshift_nm, s->torque);
  SAME(helping_downshift_nm, s->torque);
  SAME(has_band, 1);
  SAME(least_safe_upshift, 1.0);
  SAME(greatest_safe_downshift, 1.0);
  SAME(is_stuck_low, 1);
  SAME(is_needless_downshift, 1);
  SAME(upshift_time_s, s->time);
  SAME(downshift_time_s, s->time);
  SAME(slip_upshift_rad_s, s->speed);
  SAME(slip_downshift_rad_s, s->speed);
  SAME(shortest_dwell_s, s->time);
  SAME(shortest_dwell_steady_s, s->time);
  SAME(shortest_start_delay_s, s->time);
  SAME(least_voltage_upshift_v, 1.0);
  SAME(least_voltage_hold_v, 1.0);
}

static void closed_forms_of_similar_machines_agree_to_the_bit(void **state)
{
  (void)state;
  static struct mix_case it;
  for (unsigned long seed = 1; seed <= 400; seed++) {
    if (!is_wanted(seed)) continue;
    take_case(seed, &mix_everything, &it);
    const struct sb_model *model = &it.plane.model;
    const struct scale scale = scale_for(seed);
    const struct sb_model similar = scaled_model(model, &scale, room);
    const struct sb_closed_form forms[] = {sb_closed_form_solve(model), sb_closed_form_solve(&similar)};
    const char *name = model->name;
    const struct sb_closed_form *one = &forms[0], *other = &forms[1];
    SAME(no_load_fraction, 1.0);
    SAME(stall_torque_nm, scale.torque);
    SAME(lightest_load_nm, scale.torque);
    SAME(heaviest_load_nm, scale.torque);
    for (int g = 0; g < model->gearbox.gear_count; g++) compare_gears(name, &one->gears[g], &other->gears[g], &scale);
    for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
      compare_pairs(name, &one->pairs[p], &other->pairs[p], &scale);
    }
  }
}

static void discharges_of_similar_machines_agree_to_the_bit(void **state)
{
  (void)state;
  static struct mix_case it;
  static struct sb_discharge ones, others;
  struct mix_chances chances = mix_everything;
  chances.battery = 1.0;
  int spans = 0;
  for (unsigned long seed = 1; seed <= 60; seed++) {
    if (!is_wanted(seed)) continue;
    take_case(seed, &chances, &it);
    const char *name = it.plane.model.name;
    const struct scale scale = scale_for(seed);
    const struct sb_model similar = scaled_model(&it.plane.model, &scale, room);
    struct sb_error err;
    assert_int_equal(sb_discharge_solve(&it.plane.model, &ones, &err), SB_OK);
    assert_int_equal(sb_discharge_solve(&similar, &others, &err), SB_OK);
    assert_int_equal(ones.span_count, others.span_count);
    for (int k = 0; k < ones.span_count; k++) {
      const struct sb_discharge_span *one = &ones.spans[k], *other = &others.spans[k];
      SAME(kind, 1);
      SAME(index, 1);
      SAME(from_fraction, 1.0);
      SAME(to_fraction, 1.0);
      spans++;
    }
  }
  if (getenv("SHIFTBAND_TEST_CASE") == NULL) assert_true(spans > 60);
}

/* Maps ------------------------------------------------------------------------------------------------------------------ */

static void maps_of_similar_machines_agree_cell_by_cell(void **state)
{
  (void)state;
  static struct mix_case it;
  size_t cells = 0;
  for (unsigned long seed = 1; seed <= 8; seed++) {
    if (!is_wanted(seed)) continue;
    take_case(seed, &mix_everything, &it);
    const char *name = it.plane.model.name;
    const struct scale scale = scale_for(seed);
    const struct sb_model similar = scaled_model(&it.plane.model, &scale, room);
    struct sb_map maps[2];
    struct sb_error err;
    assert_int_equal(sb_map_exact(&it.plane.model, &it.plane.options, true, &maps[0], &err), SB_OK);
    assert_int_equal(sb_map_exact(&similar, &it.plane.options, true, &maps[1], &err), SB_OK);
    assert_int_equal(maps[0].cell_count, maps[1].cell_count);
    for (size_t k = 0; k < maps[0].cell_count; k++) {
      const struct sb_map_cell *one = &maps[0].cells[k], *other = &maps[1].cells[k];
      SAME(downshift_first, 1);
      SAME(downshift_last, 1);
      SAME(upshift_first, 1);
      SAME(upshift_last, 1);
      SAME(verdict.kinds, 1);
      SAME(verdict.cause, 1);
      cells++;
    }
    sb_map_clear(&maps[0]);
    sb_map_clear(&maps[1]);
  }
  if (getenv("SHIFTBAND_TEST_CASE") == NULL) assert_true(cells > 50);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(closed_forms_of_similar_machines_agree_to_the_bit),
      cmocka_unit_test(similar_machines_run_alike_to_the_bit),
      cmocka_unit_test(discharges_of_similar_machines_agree_to_the_bit),
      cmocka_unit_test(maps_of_similar_machines_agree_cell_by_cell),
  };
  return cmocka_run_group_tests_name("similar machines", tests, plane_quiet_gsl, NULL);
}
