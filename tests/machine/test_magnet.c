// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Magnets that weaken with heat: published coefficients, and a hot motor worked through by hand.
 */
#include "help/loaded.h"
#include "help/near.h"
#include "shiftband/magnet.h"
#include "shiftband/motor.h"
#include "shiftband/units.h"

static const double rounding = 1e-14;

/* Ranges over four published tables, % per K: Modelica Standard Library, Magnetic/FluxTubes/Material/HardMagnetic (hard ferrite
 * -0.20, NdFeB -0.10, SmCo5 -0.04, Sm2Co17 -0.03); neomagnetsupplier.com, magnets type 3 (-0.20, -0.12, -0.04, AlNiCo -0.02);
 * wiki-40m.ligo.caltech.edu, MagneticSuspension/Properties (SmCo -0.03 to -0.043, NdFeB -0.09 to -0.13); a course on DC motors,
 * cel.archives-ouvertes.fr/cel-01246816 (ferrite -0.2). */
static void the_materials_lie_in_what_published_tables_give(void **state)
{
  (void)state;
  static const struct {
    enum sb_magnet_material material;
    double least_pct, greatest_pct;
  } published[] = {{SB_MAGNET_FERRITE, -0.20, -0.20},
                   {SB_MAGNET_NEODYMIUM, -0.13, -0.09},
                   {SB_MAGNET_SAMARIUM_COBALT, -0.043, -0.03},
                   {SB_MAGNET_ALNICO, -0.02, -0.02}};
  for (size_t i = 0; i < sizeof published / sizeof *published; i++) {
    const double pct = 100.0 * sb_magnet_per_k(published[i].material);
    assert_true(pct >= published[i].least_pct - rounding && pct <= published[i].greatest_pct + rounding);
  }
  assert_true(isnan(sb_magnet_per_k(SB_MAGNET_NONE)));
}

/* N48SH: 13.82 kG at 20 C and 11.69 kG at 150 C, -0.119 % per K as printed (advancedmagnets.com, "What are temperature
 * coefficients"). */
static void a_neodymium_magnet_of_13_82_kg_at_20_c_has_11_69_kg_at_150_c(void **state)
{
  (void)state;
  const double per_k = (11.69 / 13.82 - 1.0) / 130.0;
  assert_near(100.0 * per_k, -0.118557, 5e-7);
  assert_near(100.0 * per_k, -0.119, 5e-4);
  const struct sb_magnet own = {.is_present = true, .per_k = per_k, .reference_c = 20.0};
  assert_near_rel(13.82 * sb_magnet_ratio(&own, 150.0), 11.69, rounding);
  const struct sb_magnet usual = {
      .is_present = true, .per_k = sb_magnet_per_k(SB_MAGNET_NEODYMIUM), .reference_c = 20.0};
  assert_near(13.82 * sb_magnet_ratio(&usual, 150.0), 11.69, 13.82 * 130.0 * 0.005e-2);
}

/* Worked by hand: 24 V, 0.8 ohm and 0.05 N.m/A at 20 C, no friction; the winding at 100 C, the magnets at 80 C. */
static const struct sb_winding winding = {.is_present = true,
                                          .ambient_c = 20.0,
                                          .reference_c = 20.0,
                                          .capacity_j_k = 20.0,
                                          .resistance_k_w = 2.0,
                                          .housing_capacity_j_k = 200.0,
                                          .housing_resistance_k_w = 5.0};
static const struct sb_warmth hot = {.winding_c = 100.0, .housing_c = 80.0};

static struct sb_motor example_motor(void)
{
  struct sb_motor motor = {.nominal_voltage_v = 24.0,
                           .no_load_speed_rad_s = 480.0,
                           .stall_torque_nm = 1.5,
                           .has_currents = true,
                           .stall_current_a = 30.0,
                           .rotor_inertia_kg_m2 = 1e-4};
  struct sb_error err;
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  assert_near_rel(motor.resistance_ohm, 0.8, rounding);
  assert_near_rel(motor.kt_nm_a, 0.05, rounding);
  return motor;
}

static struct sb_motor_circuit circuit_of(const struct sb_motor *motor, double per_k, const struct sb_warmth *warmth)
{
  const struct sb_magnet magnet = {.is_present = true, .per_k = per_k, .reference_c = 20.0};
  return (struct sb_motor_circuit){.voltage_v = 24.0,
                                   .motor_ohm =
                                       motor->resistance_ohm * sb_winding_resistance_ratio(&winding, warmth->winding_c),
                                   .magnet_ratio = sb_magnet_ratio(&magnet, sb_magnet_c(&winding, warmth))};
}

static struct sb_motor_line line_of(double per_k, const struct sb_warmth *warmth)
{
  const struct sb_motor motor = example_motor();
  const struct sb_motor_circuit circuit = circuit_of(&motor, per_k, warmth);
  return sb_motor_line_of_circuit(&motor, &circuit, 1.0);
}

static void a_hot_ferrite_motor_turns_faster_stalls_at_two_thirds_and_follows_later(void **state)
{
  (void)state;
  const struct sb_motor motor = example_motor();
  const struct sb_warmth cold = {20.0, 20.0};
  const double ferrite = sb_magnet_per_k(SB_MAGNET_FERRITE);
  const struct sb_motor_circuit circuit = circuit_of(&motor, ferrite, &hot);
  assert_near(circuit.motor_ohm, 1.05152, 1e-12);
  assert_near(circuit.magnet_ratio * motor.kt_nm_a, 0.044, rounding);
  const struct sb_motor_line before = line_of(ferrite, &cold), after = line_of(ferrite, &hot);
  assert_near_rel(sb_motor_no_load_speed_rad_s(&before), 480.0, rounding);
  assert_near(sb_motor_no_load_speed_rad_s(&after), 545.4545, 5e-5);
  assert_near_rel(sb_motor_stall_torque_nm(&before), 1.5, rounding);
  assert_near(sb_motor_stall_torque_nm(&after), 1.004260, 5e-7);
  assert_near(0.25 * before.stall_nm * sb_motor_no_load_speed_rad_s(&before), 180.0, 1e-11);
  assert_near(0.25 * after.stall_nm * sb_motor_no_load_speed_rad_s(&after), 136.9446, 5e-5);
  assert_near(before.slope_nms_rad / after.slope_nms_rad, 1.697314, 5e-7); /* of the time constants, J / slope */
}

static void other_magnets_lose_less(void **state)
{
  (void)state;
  static const struct {
    double per_k, k, no_load_rad_s, stall_nm;
  } cases[] = {{-0.0012, 0.0464, 517.2414, 1.059038},
               {-0.00045, 0.04865, 493.3196, 1.110393},
               {-0.0002, 0.0494, 485.8300, 1.127511}};
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    const struct sb_motor_line line = line_of(cases[i].per_k, &hot);
    assert_near(line.stall_nm / line.stall_a, cases[i].k, rounding);
    assert_near(sb_motor_no_load_speed_rad_s(&line), cases[i].no_load_rad_s, 5e-5);
    assert_near(sb_motor_stall_torque_nm(&line), cases[i].stall_nm, 5e-7);
  }
}

/* Below 0.293 N.m the hot motor is the faster one, above it the slower one. */
static void the_hot_and_the_cold_line_cross_at_0_2933333_nm(void **state)
{
  (void)state;
  const struct sb_warmth cold = {20.0, 20.0};
  const struct sb_motor_line before = line_of(-0.002, &cold), after = line_of(-0.002, &hot);
  const double speed_rad_s = (before.stall_nm - after.stall_nm) / (before.slope_nms_rad - after.slope_nms_rad);
  assert_near(speed_rad_s, 386.1333, 5e-5);
  assert_near(sb_motor_torque_nm(&before, speed_rad_s), 0.2933333, 5e-8);
  assert_near(sb_motor_torque_nm(&after, speed_rad_s), 0.2933333, 5e-8);
  assert_true(sb_motor_torque_nm(&after, speed_rad_s + 50.0) > sb_motor_torque_nm(&before, speed_rad_s + 50.0));
  assert_true(sb_motor_torque_nm(&after, speed_rad_s - 50.0) < sb_motor_torque_nm(&before, speed_rad_s - 50.0));
}

/* R / k^2: 80 W become 135.8 W at the same torque, the seed of a thermal runaway. */
static void half_a_newton_metre_heats_the_hot_winding_1_7_times_as_much(void **state)
{
  (void)state;
  const struct sb_motor motor = example_motor();
  static const double currents_a[] = {10.0, 11.363636}, losses_w[] = {80.0, 135.7851};
  for (int is_hot = 0; is_hot < 2; is_hot++) {
    const struct sb_warmth warmth = is_hot ? hot : (struct sb_warmth){20.0, 20.0};
    const struct sb_motor_circuit circuit = circuit_of(&motor, -0.002, &warmth);
    const struct sb_motor_line line = sb_motor_line_of_circuit(&motor, &circuit, 1.0);
    const double current_a = sb_motor_current_a(&line, (line.stall_nm - 0.5) / line.slope_nms_rad);
    assert_near(current_a, currents_a[is_hot], 5e-7);
    assert_near(current_a * current_a * circuit.motor_ohm, losses_w[is_hot], 5e-5);
  }
}

/* Friction is no matter of the magnets. */
static void friction_stays(void **state)
{
  (void)state;
  struct sb_motor motor = example_motor();
  struct sb_error err;
  motor.no_load_current_a = 1.0;
  assert_int_equal(sb_motor_derive(&motor, &err), SB_OK);
  const struct sb_motor_circuit circuit = circuit_of(&motor, -0.002, &hot);
  assert_near(sb_motor_line_of_circuit(&motor, &circuit, 1.0).friction_nm, motor.friction_nm, 0.0);
}

static void a_magnet_is_as_warm_as_the_housing_or_else_as_the_winding(void **state)
{
  (void)state;
  struct sb_winding alone = winding;
  alone.housing_capacity_j_k = alone.housing_resistance_k_w = 0.0;
  assert_near(sb_magnet_c(&winding, &hot), 80.0, 0.0);
  assert_near(sb_magnet_c(&alone, &hot), 100.0, 0.0);
}

static void no_magnet_stays_as_it_is_and_none_is_lost_altogether(void **state)
{
  (void)state;
  const struct sb_magnet none = {.is_present = false, .per_k = -0.002, .reference_c = 20.0};
  const struct sb_magnet weak = {.is_present = true, .per_k = -0.005, .reference_c = 20.0};
  assert_near(sb_magnet_ratio(&none, 200.0), 1.0, 0.0);
  assert_near(sb_magnet_ratio(&weak, 20.0), 1.0, 0.0);
  assert_near(sb_magnet_ratio(&weak, -20.0), 1.2, rounding);
  assert_near(sb_magnet_ratio(&weak, 199.0), 0.105, rounding);
  assert_near(sb_magnet_ratio(&weak, 500.0), 0.1, 0.0);
}

/* Against the exact solution: the error of a short while falls with its square, and an endless one ends between winding and
 * surroundings. */
static void a_housing_is_foreseen_to_second_order(void **state)
{
  (void)state;
  double errors_k[2];
  for (int k = 0; k < 2; k++) {
    const double soon_s = k == 0 ? 2.0 : 1.0;
    errors_k[k] =
        sb_winding_housing_soon_c(&winding, &hot, soon_s) - sb_winding_warmed(&winding, &hot, 5.0, soon_s).housing_c;
  }
  assert_near(errors_k[0] / errors_k[1], 4.0, 0.2); /* and terms of third order, 1 s of 40 s */
  assert_near(sb_winding_housing_soon_c(&winding, &hot, 0.0), 80.0, 0.0);
  assert_near(sb_winding_housing_soon_c(&winding, &hot, 1e15), (100.0 / 2.0 + 20.0 / 5.0) / (1.0 / 2.0 + 1.0 / 5.0),
              1e-9);
  struct sb_winding alone = winding;
  alone.housing_capacity_j_k = 0.0;
  assert_near(sb_winding_housing_soon_c(&alone, &hot, 1.0), 20.0, 0.0);
}

/* Scenarios ------------------------------------------------------------------------------------------------------------- */

static void a_coefficient_may_be_written_in_percent_or_as_a_ratio(void **state)
{
  (void)state;
  static const char *const texts[] = {"-0.2 %/K", "-0.002 1/K", "-0.002 /K", "-2e-3/K", "-2 1/kK"};
  struct sb_error err;
  double value = 0.0;
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
    assert_int_equal(sb_units_parse(texts[i], SB_PER_KELVIN, &value, &err), SB_OK);
    assert_near_rel(value, -0.002, rounding);
  }
  assert_int_equal(sb_units_parse("-0.2 %", SB_PER_KELVIN, &value, &err), SB_ERR_SCENARIO);
  assert_int_equal(sb_units_parse("-0.2 /", SB_PER_KELVIN, &value, &err), SB_ERR_SCENARIO);
}

static void every_key_of_a_magnet_reaches_the_model(void **state)
{
  (void)state;
  loaded_take(SB_SOURCE_DIR "/tests/good/magnet.yaml", NULL, 0);
  const struct sb_magnet *magnet = &loaded_scenario.model.magnet;
  assert_true(magnet->is_present);
  assert_near(magnet->per_k, -0.0004, 0.0);
  assert_near(magnet->reference_c, 22.0, 0.0);
  /* What the material gives has its value for a spread all the same. */
  assert_int_equal(loaded_scenario.tolerance_count, 1);
  assert_near_rel(loaded_scenario.tolerances[0].least, -0.0005, rounding);
  assert_near_rel(loaded_scenario.tolerances[0].greatest, -0.0003, rounding);
  sb_scenario_clear(&loaded_scenario);
  loaded_take(SB_SOURCE_DIR "/tests/good/everything.yaml", NULL, 0);
  assert_true(magnet->is_present);
  assert_near_rel(magnet->per_k, -0.0011, rounding);
  assert_near(magnet->reference_c, 22.0, 0.0);
  sb_scenario_clear(&loaded_scenario);
  loaded_take(SB_SOURCE_DIR "/tests/good/winding.yaml", NULL, 0);
  assert_false(magnet->is_present);
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_materials_lie_in_what_published_tables_give),
      cmocka_unit_test(a_neodymium_magnet_of_13_82_kg_at_20_c_has_11_69_kg_at_150_c),
      cmocka_unit_test(a_hot_ferrite_motor_turns_faster_stalls_at_two_thirds_and_follows_later),
      cmocka_unit_test(other_magnets_lose_less),
      cmocka_unit_test(the_hot_and_the_cold_line_cross_at_0_2933333_nm),
      cmocka_unit_test(half_a_newton_metre_heats_the_hot_winding_1_7_times_as_much),
      cmocka_unit_test(friction_stays),
      cmocka_unit_test(a_magnet_is_as_warm_as_the_housing_or_else_as_the_winding),
      cmocka_unit_test(no_magnet_stays_as_it_is_and_none_is_lost_altogether),
      cmocka_unit_test(a_housing_is_foreseen_to_second_order),
      cmocka_unit_test(a_coefficient_may_be_written_in_percent_or_as_a_ratio),
      cmocka_unit_test(every_key_of_a_magnet_reaches_the_model),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
