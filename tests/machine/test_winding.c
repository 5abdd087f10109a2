// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Copper's resistance, windings of one and two nodes, against worked examples of textbooks and GSL's integrator. Books
 * round; where a tolerance says "printed", it is half the last digit that the book prints.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <string.h>

#include "help/loaded.h"
#include "help/near.h"
#include "shiftband/units.h"
#include "shiftband/winding.h"

static const double hour_s = 3600.0;

/* A few roundings of sums like 1 + a (T - 20). */
static const double rounding = 1e-14;

/* A winding alone whose loss of 1 W settles 1 K above an ambient of 0 C, so that rises are temperatures and losses. */
static struct sb_winding rising(double time_constant_s)
{
  return (struct sb_winding){.is_present = true,
                             .reference_c = 20.0,
                             .capacity_j_k = time_constant_s,
                             .resistance_k_w = 1.0,
                             .cut_out_c = INFINITY,
                             .reset_c = INFINITY};
}

static struct sb_winding at_reference(double reference_c)
{
  struct sb_winding winding = rising(1.0);
  winding.reference_c = reference_c;
  return winding;
}

/* From one rise to the next under a loss that would settle at `settled_k`. */
static double risen(double time_constant_s, double from_k, double settled_k, double duration_s)
{
  const struct sb_winding winding = rising(time_constant_s);
  const struct sb_warmth from = {from_k, 0.0};
  return sb_winding_warmed(&winding, &from, settled_k, duration_s).winding_c;
}

/* Standard annealed copper has 0.00393 / K at 20 C: the manual of the Hioki RM3545, which quotes the standard; Kasap,
 * Electrical Engineering Materials, example 2.7. Then R(100) / R(20) = 1.3144. */
static void copper_at_100_c_has_1_3144_times_its_resistance_at_20_c(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(20.0);
  assert_near(sb_winding_resistance_ratio(&winding, 100.0), 1.3144, rounding);
  assert_near(sb_winding_resistance_ratio(&winding, 20.0), 1.0, 0.0);
}

/* The same line meets zero at 20 - 1 / 0.00393 = -234.45 C; from 0 C its coefficient is 0.00426525 / K. */
static void the_line_of_copper_meets_zero_at_minus_234_45_c(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(20.0), icy = at_reference(0.0);
  assert_near(sb_winding_resistance_ratio(&winding, 20.0 - 1.0 / 0.00393), 0.0, rounding);
  assert_near(sb_winding_resistance_ratio(&winding, -234.4529), 0.0, 0.00005 * 0.00393 * 1.01); /* printed */
  assert_near(sb_winding_resistance_ratio(&icy, 1.0) - 1.0, 0.00426525, 5e-9);                  /* printed */
}

/* Rise by resistance, IEC 60034-1 (from memory): (R2 - R1) / R1 = (T2 - T1) / (235 + T1) for copper. Its 235 and our
 * 234.45 are 0.55 K apart, 0.22 % of the least sum here. */
static void a_rise_by_resistance_agrees_with_the_constant_235(void **state)
{
  (void)state;
  const double starts_c[] = {15.0, 20.0, 25.0, 40.0}, ends_c[] = {60.0, 100.0, 155.0};
  for (int i = 0; i < 4; i++) {
    for (int k = 0; k < 3; k++) {
      const struct sb_winding winding = at_reference(starts_c[i]);
      const double more = sb_winding_resistance_ratio(&winding, ends_c[k]) - 1.0;
      assert_near_rel(more, (ends_c[k] - starts_c[i]) / (235.0 + starts_c[i]), 0.0022);
    }
  }
}

/* D. C. Kulshreshtha, Basic Electrical Engineering, example 2.18: 3.42 ohm at 20 C and 4.22 ohm hot, with 0.00426 / K
 * from 0 C, is a rise of 59.59 K; with 0.00393 / K from 20 C it is 59.5212 K. */
static void a_winding_from_3_42_to_4_22_ohm_has_warmed_by_59_52_k(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(20.0);
  assert_near(3.42 * sb_winding_resistance_ratio(&winding, 20.0 + 59.5212), 4.22, 3.42 * 0.00393 * 0.00005 * 1.01);
  assert_near(3.42 * sb_winding_resistance_ratio(&winding, 20.0 + 59.59), 4.22, 3.42 * 0.00393 * 0.07);
}

/* The same, example 2.17: 126 ohm at 20 C is 98.80 ohm at -35 C; his 0.00426 is rounded by up to 5e-6, which over these
 * 55 K is 0.03 ohm, and lies 5.3e-6 from ours. */
static void a_winding_of_126_ohm_has_98_80_ohm_at_minus_35_c(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(20.0);
  assert_near(126.0 * sb_winding_resistance_ratio(&winding, -35.0), 98.80, 0.04);
}

/* C. R. Robertson, Fundamental Electrical and Electronic Principles, example 1.18: 250 ohm at 15 C is 280.2 ohm at 45 C
 * with 0.00428 / K from 0 C, which lies 0.35 % above ours: 0.11 ohm of the 30.2, and 0.05 printed. */
static void a_field_of_250_ohm_at_15_c_has_280_2_ohm_at_45_c(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(15.0);
  assert_near(250.0 * sb_winding_resistance_ratio(&winding, 45.0), 280.2, 0.11 + 0.05);
}

/* B. R. Gupta, Network Analysis and Synthesis, example 1-3: from 0.00393 / K at 20 C follows 0.0037814 / K at 30 C, and
 * 1.3 ohm at 30 C becoming 1.6 ohm is a rise of 61.03 K (printed 61.05). */
static void the_coefficient_at_30_c_is_0_0037814_and_23_percent_more_is_61_03_k(void **state)
{
  (void)state;
  const struct sb_winding winding = at_reference(30.0);
  assert_near(sb_winding_resistance_ratio(&winding, 31.0) - 1.0, 0.0037814, 5e-8); /* printed */
  assert_near(1.3 * sb_winding_resistance_ratio(&winding, 30.0 + 61.0276), 1.6, 1.3 * 0.0037814 * 0.00005 * 1.01);
}

/* B. L. Theraja, Electrical Technology, vol. III, example 45.13: 25 K after 1 h and 37.5 K after 2 h
 * settle at 50 K, with 1.4427 h; cooling from there to 10 K takes 1.5 h with 0.932002 h. */
static void heating_by_25_and_37_5_k_settles_at_50_k(void **state)
{
  (void)state;
  const double heating_s = 1.44270 * hour_s, cooling_s = 0.932002 * hour_s;
  assert_near(risen(heating_s, 0.0, 50.0, hour_s), 25.0, 1e-4); /* by the digits of the time constant */
  assert_near(risen(heating_s, 0.0, 50.0, 2.0 * hour_s), 37.5, 1e-4);
  assert_near(risen(cooling_s, 50.0, 0.0, 1.5 * hour_s), 10.0, 2e-5);
}

/* The same, example 45.15: 15 K after 1 h and 25 K after 2 h settle at 45 K, 2.46630 h; twice the loss makes 30 K. */
static void heating_by_15_and_25_k_settles_at_45_k_and_twice_the_loss_doubles_it(void **state)
{
  (void)state;
  const double time_s = 2.46630 * hour_s;
  assert_near(risen(time_s, 0.0, 45.0, hour_s), 15.0, 5e-5); /* by the digits of the time constant */
  assert_near(risen(time_s, 0.0, 45.0, 2.0 * hour_s), 25.0, 5e-5);
  assert_near(risen(time_s, 0.0, 90.0, hour_s), 30.0, 1e-4);
}

/* The same, example 45.11: heating 1 h, cooling 2 h, final rise 100 K; 30 min on and 12 min off leave 35.60 K. */
static void half_an_hour_on_and_12_minutes_off_leave_35_60_k(void **state)
{
  (void)state;
  const double warm_k = risen(hour_s, 0.0, 100.0, 0.5 * hour_s);
  assert_near(risen(2.0 * hour_s, warm_k, 0.0, 0.2 * hour_s), 35.6026, 5e-5); /* printed */
}

/* G. K. Dubey, Fundamentals of Electrical Drives, example 4.1: 60 s; 10 s on, 20 s off, which alone would settle at 15 K;
 * in steady cycling 40 K at the least is 49.89 K at the most, and 104.4 K were it left on. */
static void steady_cycling_between_40_and_49_89_k_comes_from_104_4_k(void **state)
{
  (void)state;
  assert_near(risen(60.0, 49.8903, 15.0, 20.0), 40.0, 5e-5); /* printed */
  assert_near(risen(60.0, 40.0, 104.424, 10.0), 49.8903, 1e-4);
}

/* The same, example 4.4: 20 kW for good; heating 60 min, cooling 90 min, losses as the load squared. For 10 min alone
 * 51.04 kW, 10 min on and 10 min off 25.14 kW reach the same greatest rise, here 1 K. */
static void short_times_and_pauses_allow_51_and_25_kw_of_a_20_kw_motor(void **state)
{
  (void)state;
  const double minute_s = 60.0, alone = 51.0446 / 20.0, in_turn = 25.1384 / 20.0;
  assert_near(risen(60.0 * minute_s, 0.0, alone * alone, 10.0 * minute_s), 1.0, 3e-6); /* by 6 digits, squared */
  const double cooled_k = risen(90.0 * minute_s, 1.0, 0.0, 10.0 * minute_s);
  assert_near(risen(60.0 * minute_s, cooled_k, in_turn * in_turn, 10.0 * minute_s), 1.0, 3e-6);
}

/* Theraja, examples 45.9 and 45.10: 40 kW and 90 min give 75.13 kW for half an hour; 15 hp and 2 h 23.9 hp for one. */
static void ratings_of_half_an_hour_and_one_hour_are_75_kw_and_24_hp(void **state)
{
  (void)state;
  const double first = 75.129 / 40.0, second = 23.913 / 15.0;
  assert_near(risen(1.5 * hour_s, 0.0, first * first, 0.5 * hour_s), 1.0, 2e-5); /* by 5 digits, squared */
  assert_near(risen(2.0 * hour_s, 0.0, second * second, hour_s), 1.0, 5e-5);
}

/* Two nodes ---------------------------------------------------------------------------------------------------------- */

static struct sb_winding housed(double capacity, double resistance, double housing_capacity, double housing_resistance)
{
  struct sb_winding winding = rising(1.0);
  winding.ambient_c = winding.start_c = winding.housing_start_c = 20.0;
  winding.capacity_j_k = capacity;
  winding.resistance_k_w = resistance;
  winding.housing_capacity_j_k = housing_capacity;
  winding.housing_resistance_k_w = housing_resistance;
  return winding;
}

/* The network of winding.h as differential equations, with a loss of 12 W. */
static int rates(double t, const double y[], double dydt[], void *context)
{
  (void)t;
  const struct sb_winding *w = context;
  dydt[0] = (12.0 - (y[0] - y[1]) / w->resistance_k_w) / w->capacity_j_k;
  dydt[1] =
      ((y[0] - y[1]) / w->resistance_k_w - (y[1] - w->ambient_c) / w->housing_resistance_k_w) / w->housing_capacity_j_k;
  return GSL_SUCCESS;
}

static struct sb_warmth integrated(struct sb_winding *winding, const struct sb_warmth *from, double duration_s)
{
  gsl_odeiv2_system system = {rates, NULL, 2, winding};
  gsl_odeiv2_driver *driver =
      gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3 * duration_s, 1e-11, 1e-13);
  double t = 0.0, y[2] = {from->winding_c, from->housing_c};
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &t, duration_s, y), GSL_SUCCESS);
  gsl_odeiv2_driver_free(driver);
  return (struct sb_warmth){y[0], y[1]};
}

/* Against GSL's eighth-order integrator at 1e-13; motors from a coin's size to a pot's, housings light and heavy. */
static void two_nodes_follow_the_integrator(void **state)
{
  (void)state;
  struct sb_winding windings[] = {housed(2.0, 8.0, 30.0, 12.0), housed(25.0, 1.5, 600.0, 4.0),
                                  housed(10.0, 3.0, 10.0, 3.0), housed(40.0, 5.0, 2.0, 0.5)};
  const struct sb_warmth starts[] = {{20.0, 20.0}, {95.0, 25.0}, {20.0, 60.0}};
  const double durations_s[] = {0.02, 1.0, 30.0, 500.0, 5000.0};
  for (int w = 0; w < 4; w++) {
    for (int s = 0; s < 3; s++) {
      for (int d = 0; d < 5; d++) {
        const struct sb_warmth want = integrated(&windings[w], &starts[s], durations_s[d]);
        const struct sb_warmth got = sb_winding_warmed(&windings[w], &starts[s], 12.0, durations_s[d]);
        assert_near(got.winding_c, want.winding_c, 1e-8); /* what thousands of steps at 1e-13 of 200 C may add up to */
        assert_near(got.housing_c, want.housing_c, 1e-8);
      }
    }
  }
}

static void two_durations_in_turn_are_one(void **state)
{
  (void)state;
  const struct sb_winding winding = housed(25.0, 1.5, 600.0, 4.0);
  const struct sb_warmth start = {80.0, 30.0};
  struct sb_warmth ticked = start;
  for (int i = 0; i < 100000; i++) ticked = sb_winding_warmed(&winding, &ticked, 9.0, 0.001);
  const struct sb_warmth whole = sb_winding_warmed(&winding, &start, 9.0, 100.0);
  assert_near(ticked.winding_c, whole.winding_c, 1e5 * 3e-14); /* 1e5 roundings of 80 at most */
  assert_near(ticked.housing_c, whole.housing_c, 1e5 * 1e-14);
}

static void the_tiniest_duration_warms_by_its_share_and_none_by_nothing(void **state)
{
  (void)state;
  const struct sb_winding two = housed(25.0, 1.5, 600.0, 4.0), one = rising(25.0);
  const struct sb_warmth cold = {0.0, 0.0};
  const struct sb_warmth at_20 = {20.0, 20.0};
  assert_near_rel(sb_winding_warmed(&one, &cold, 9.0, 1e-18).winding_c, 9.0 / 25.0 * 1e-18, rounding);
  assert_near(sb_winding_warmed(&two, &at_20, 9.0, 1e-6).winding_c - 20.0, 9.0 / 25.0 * 1e-6, 1e-14); /* beside 20 */
  const struct sb_warmth still = sb_winding_warmed(&two, &at_20, 9.0, 0.0);
  assert_near(still.winding_c, 20.0, 0.0);
  assert_near(still.housing_c, 20.0, 0.0);
}

/* Beside the exact solution the error is of second order in a short while, and the longest leads to where the winding
 * settles over a housing that stays. */
static void a_short_while_is_foreseen_to_second_order_and_a_long_one_within_bounds(void **state)
{
  (void)state;
  const struct sb_winding winding = housed(25.0, 1.5, 600.0, 4.0);
  const struct sb_warmth from = {60.0, 30.0};
  double errors[2];
  for (int i = 0; i < 2; i++) {
    const double soon_s = i == 0 ? 0.02 : 0.01;
    errors[i] =
        sb_winding_soon_c(&winding, &from, 9.0, soon_s) - sb_winding_warmed(&winding, &from, 9.0, soon_s).winding_c;
  }
  assert_true(fabs(errors[0]) > 1e-8);
  assert_near(errors[0] / errors[1], 4.0, 0.01);
  assert_near(sb_winding_soon_c(&winding, &from, 9.0, 0.0), 60.0, 0.0);
  assert_near(sb_winding_soon_c(&winding, &from, 9.0, 1e12), 30.0 + 9.0 * 1.5, 1e-8);
}

/* In the end the heat flow through both resistances is the loss; an endless wait is allowed. */
static void an_endless_wait_ends_where_the_loss_flows_out(void **state)
{
  (void)state;
  const struct sb_winding winding = housed(1e-6, 1.5, 1e9, 4.0);
  const struct sb_warmth start = sb_winding_start(&winding);
  const double waits_s[] = {1e13, 1e300, INFINITY};
  for (int i = 0; i < 3; i++) {
    const struct sb_warmth end = sb_winding_warmed(&winding, &start, 9.0, waits_s[i]);
    assert_near_rel(end.housing_c, 20.0 + 9.0 * 4.0, rounding);
    assert_near_rel(end.winding_c, 20.0 + 9.0 * (4.0 + 1.5), rounding);
  }
  const struct sb_warmth settled = sb_winding_steady(&winding, 9.0);
  assert_near_rel(settled.winding_c, 20.0 + 9.0 * 5.5, rounding);
  assert_near_rel(settled.housing_c, 20.0 + 9.0 * 4.0, rounding);
}

/* Capacities 15 decades apart: the winding rides on a housing that follows its own exponential. */
static void a_stiff_pair_of_nodes_stays_exact(void **state)
{
  (void)state;
  const struct sb_winding winding = housed(1e-6, 1.5, 1e9, 4.0);
  const struct sb_warmth start = sb_winding_start(&winding);
  const struct sb_warmth end = sb_winding_warmed(&winding, &start, 9.0, 2e9);
  const double housing_c = 20.0 + 36.0 * -expm1(-2e9 / 4e9);
  assert_near(end.housing_c, housing_c, 1e-10);
  assert_near(end.winding_c, housing_c + 13.5, 1e-10);
}

/* A housing that holds its temperature leaves the winding to one exponential. */
static void a_housing_without_end_is_as_none(void **state)
{
  (void)state;
  const struct sb_winding two = housed(25.0, 1.5, 1e9, 1e-6);
  const struct sb_warmth start = {70.0, 20.0};
  const double alone_c = 20.0 + 13.5 + (50.0 - 13.5) * exp(-20.0 / (25.0 * 1.5));
  assert_near(sb_winding_warmed(&two, &start, 9.0, 20.0).winding_c, alone_c, 2e-5); /* 9 W through 1e-6 K/W, and less */
}

static void one_node_starts_with_its_surroundings_for_a_housing(void **state)
{
  (void)state;
  struct sb_winding one = rising(10.0), two = housed(25.0, 1.5, 600.0, 4.0);
  one.start_c = two.start_c = 55.0;
  two.housing_start_c = 33.0;
  assert_near(sb_winding_start(&one).winding_c, 55.0, 0.0);
  assert_near(sb_winding_start(&one).housing_c, 0.0, 0.0);
  assert_near(sb_winding_start(&two).winding_c, 55.0, 0.0);
  assert_near(sb_winding_start(&two).housing_c, 33.0, 0.0);
  const struct sb_warmth start = sb_winding_start(&one);
  assert_near(sb_winding_warmed(&one, &start, 3.0, 5.0).housing_c, 0.0, 0.0);
}

static void heat_capacities_and_thermal_resistances_have_their_units(void **state)
{
  (void)state;
  struct sb_error err;
  double value = 0.0;
  assert_int_equal(sb_units_parse("3 kJ/K", SB_HEAT_CAPACITY, &value, &err), SB_OK);
  assert_near_rel(value, 3000.0, rounding);
  assert_int_equal(sb_units_parse("4.5 K/W", SB_THERMAL_RESISTANCE, &value, &err), SB_OK);
  assert_near_rel(value, 4.5, rounding);
  assert_int_equal(sb_units_parse("4.5 W/K", SB_THERMAL_RESISTANCE, &value, &err), SB_ERR_SCENARIO);
  assert_int_equal(sb_units_parse("25 J", SB_HEAT_CAPACITY, &value, &err), SB_ERR_SCENARIO);
}

static void every_key_of_a_winding_reaches_the_model(void **state)
{
  (void)state;
  loaded_take(SB_SOURCE_DIR "/tests/good/everything.yaml", NULL, 0);
  const struct sb_winding *winding = &loaded_scenario.model.winding;
  assert_true(winding->is_present);
  assert_near(winding->ambient_c, 290.0 - 273.15, 1e-13);
  assert_near(winding->start_c, 40.0, 0.0);
  assert_near(winding->reference_c, 22.0, 0.0);
  assert_near_rel(winding->capacity_j_k, 30.0, rounding);
  assert_near(winding->resistance_k_w, 2.0, 0.0);
  assert_near(winding->housing_capacity_j_k, 400.0, 0.0);
  assert_near(winding->housing_resistance_k_w, 5.0, 0.0);
  assert_near(winding->housing_start_c, 35.0, 0.0);
  assert_near(winding->cut_out_c, 120.0, 0.0);
  assert_near(winding->reset_c, 90.0, 0.0);
  sb_scenario_clear(&loaded_scenario);
}

static void a_winding_starts_as_warm_as_its_surroundings_and_takes_a_time_constant(void **state)
{
  (void)state;
  loaded_take(SB_SOURCE_DIR "/tests/good/winding.yaml", NULL, 0);
  const struct sb_winding *winding = &loaded_scenario.model.winding;
  assert_near(winding->capacity_j_k, 120.0 / 4.0, 0.0);
  assert_near(winding->start_c, 35.0, 0.0);
  assert_near(winding->reference_c, 25.0, 0.0);
  assert_near(winding->housing_capacity_j_k, 0.0, 0.0);
  assert_near(sb_winding_start(winding).housing_c, 35.0, 0.0);
  assert_true(isinf(winding->cut_out_c) && isinf(winding->reset_c));
  /* What was not given has its value for a spread all the same. */
  assert_int_equal(loaded_scenario.tolerance_count, 3);
  assert_near(loaded_scenario.tolerances[1].least, 30.0, 0.0);
  assert_near(loaded_scenario.tolerances[1].greatest, 40.0, 0.0);
  sb_scenario_clear(&loaded_scenario);
}

static void a_motor_without_a_winding_section_has_none(void **state)
{
  (void)state;
  loaded_take(SB_SOURCE_DIR "/tests/good/interface.yaml", NULL, 0);
  assert_false(loaded_scenario.model.winding.is_present);
  assert_true(isinf(loaded_scenario.model.winding.cut_out_c));
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(copper_at_100_c_has_1_3144_times_its_resistance_at_20_c),
      cmocka_unit_test(the_line_of_copper_meets_zero_at_minus_234_45_c),
      cmocka_unit_test(a_rise_by_resistance_agrees_with_the_constant_235),
      cmocka_unit_test(a_winding_from_3_42_to_4_22_ohm_has_warmed_by_59_52_k),
      cmocka_unit_test(a_winding_of_126_ohm_has_98_80_ohm_at_minus_35_c),
      cmocka_unit_test(a_field_of_250_ohm_at_15_c_has_280_2_ohm_at_45_c),
      cmocka_unit_test(the_coefficient_at_30_c_is_0_0037814_and_23_percent_more_is_61_03_k),
      cmocka_unit_test(heating_by_25_and_37_5_k_settles_at_50_k),
      cmocka_unit_test(heating_by_15_and_25_k_settles_at_45_k_and_twice_the_loss_doubles_it),
      cmocka_unit_test(half_an_hour_on_and_12_minutes_off_leave_35_60_k),
      cmocka_unit_test(steady_cycling_between_40_and_49_89_k_comes_from_104_4_k),
      cmocka_unit_test(short_times_and_pauses_allow_51_and_25_kw_of_a_20_kw_motor),
      cmocka_unit_test(ratings_of_half_an_hour_and_one_hour_are_75_kw_and_24_hp),
      cmocka_unit_test(two_nodes_follow_the_integrator),
      cmocka_unit_test(two_durations_in_turn_are_one),
      cmocka_unit_test(the_tiniest_duration_warms_by_its_share_and_none_by_nothing),
      cmocka_unit_test(a_short_while_is_foreseen_to_second_order_and_a_long_one_within_bounds),
      cmocka_unit_test(an_endless_wait_ends_where_the_loss_flows_out),
      cmocka_unit_test(a_stiff_pair_of_nodes_stays_exact),
      cmocka_unit_test(a_housing_without_end_is_as_none),
      cmocka_unit_test(one_node_starts_with_its_surroundings_for_a_housing),
      cmocka_unit_test(heat_capacities_and_thermal_resistances_have_their_units),
      cmocka_unit_test(every_key_of_a_winding_reaches_the_model),
      cmocka_unit_test(a_winding_starts_as_warm_as_its_surroundings_and_takes_a_time_constant),
      cmocka_unit_test(a_motor_without_a_winding_section_has_none),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
