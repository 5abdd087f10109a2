// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Readings against the no-load speed at the voltage that the controller measures: w / (ref (V - drop) / (Vn - drop)).
 *
 * Closed form (model.md: V = Voc - Ri u I, w = (u V - R I) / ke): a motor that draws I at full duty reads
 * (V - R I) / (V - I0 R) where the reference is its no-load speed and the drop I0 R.
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <string.h>

#include "help/box.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "shiftband/controller.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

/* A small drill on cells that can be fresh (12.2 V) or tired (9.6 V). */
static const char drill[] =
    "name: Seed drill\n"
    "motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, stall_current: 1.25 A,\n"
    "        no_load_current: 0.07 A, rotor_inertia: 2.1e-4 kg.m2}\n"
    "supply: {open_circuit_voltage: 12.2 V, internal_resistance: 1.2 ohm}\n"
    "gearbox:\n"
    "  mesh_efficiency: 0.96\n"
    "  shifter: {kind: swing arm, swing_turns: 0.4}\n"
    "  gears:\n"
    "    - {name: slow, meshes: [15/30, 18/36, 20/40], motor_direction: reverse}\n"
    "    - {name: fast, meshes: [15/30, 18/36]}\n"
    "load:\n"
    "  inertia: 0.004 kg.m2\n"
    "  parts:\n"
    "    - {kind: profile, manner: resists, points: [[0 s, 0.15 N.m], [6 s, 0.15 N.m], [7 s, 1.2 N.m],\n"
    "                                                [12 s, 1.2 N.m], [13 s, 0.15 N.m]]}\n"
    "controller: {start_gear: fast, start_delay: 600 ms, dwell: 1 s, downshift_below: 50 %, upshift_above: 78 %}\n"
    "run: {duration: 20 s}\n";

static struct sb_scenario loaded;

/* The drill with changes; a list that ends in NULL. */
static const struct sb_model *drill_with(const char *const *sets)
{
  size_t count = 0;
  while (sets[count] != NULL) count++;
  struct sb_faults faults;
  sb_scenario_clear(&loaded);
  if (sb_scenario_parse("drill", drill, strlen(drill), sets, count, &loaded, &faults) != SB_OK) {
    fail_msg("%s", faults.count > 0 ? faults.texts[0] : "no scenario");
  }
  return &loaded.model;
}

#define DRILL(...) drill_with((const char *const[]){__VA_ARGS__, NULL})

static struct sb_run_result run_of(const struct sb_model *model, int gear)
{
  struct sb_run_options options = sb_run_options_default();
  options.locked_gear = gear;
  struct sb_run_result result;
  struct sb_error err = {SB_OK, ""};
  if (sb_run(model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
  return result;
}

static bool is_stuck_low(const struct sb_model *model)
{
  struct sb_run_result result = run_of(model, 0);
  bool is_found = false;
  for (size_t k = 0; k < result.monitor.verdict_count; k++) {
    is_found |= result.monitor.verdicts[k].kind == SB_VERDICT_STUCK_LOW;
  }
  sb_run_result_clear(&result);
  return is_found;
}

static void a_tired_battery_s_stuck_low_is_cured(void **state)
{
  (void)state;
  assert_false(is_stuck_low(DRILL("run.duration=20 s")));
  assert_true(is_stuck_low(DRILL("supply.open_circuit_voltage=9.6 V")));
  assert_false(is_stuck_low(DRILL("supply.open_circuit_voltage=9.6 V", "controller.reference=measured supply")));
  struct sb_run_result result =
      run_of(DRILL("supply.open_circuit_voltage=9.6 V", "controller.reference=measured supply"), 0);
  assert_int_equal(result.monitor.verdict_count, 0);
  assert_int_equal(result.monitor.shift_count, 2);
  sb_run_result_clear(&result);
}

static void a_steady_reading_is_that_of_the_closed_form(void **state)
{
  (void)state;
  const char *const voltages[] = {"supply.open_circuit_voltage=8 V", "supply.open_circuit_voltage=12.2 V",
                                  "supply.open_circuit_voltage=14 V"};
  const char *const duties[] = {"drive=100 %", "drive=70 %"};
  for (int v = 0; v < 3; v++) {
    for (int d = 0; d < 2; d++) {
      const struct sb_model *model = DRILL(voltages[v], duties[d], "controller.reference=measured supply");
      struct sb_run_result result = run_of(model, 2);
      const double ohm = 12.0 / 1.25, drop = 0.07 * ohm, current = result.end.motor_current_a;
      const double volts = model->supply.open_circuit_voltage_v - 1.2 * model->drive.limit_fraction * current;
      const double want = (model->drive.limit_fraction * volts - ohm * current) / (volts - drop);
      assert_near(result.end.measured_voltage_v, volts, 1e-9);
      assert_near_rel(result.end.reading_pct, 100.0 * want, 1e-6);
      const struct sb_motor_line line = sb_torque_balance_line(model);
      assert_near_rel(100.0 * sb_steady_reading(model, &line, 1, 0.15), result.end.reading_pct, 1e-6);
      /* Without load it draws its no-load current. */
      const double least_volts = model->supply.open_circuit_voltage_v - 1.2 * model->drive.limit_fraction * 0.07;
      assert_near_rel(sb_closed_form_solve(model).no_load_fraction,
                      (model->drive.limit_fraction * least_volts - drop) / (least_volts - drop), 1e-9);
      sb_run_result_clear(&result);
    }
  }
}

/* The load at a reading and the reading under a load are each other's inverse, and a speed on the line has that reading. */
static void thresholds_and_readings_are_inverse(void **state)
{
  (void)state;
  const struct sb_model *model = DRILL("supply.open_circuit_voltage=10.1 V", "controller.reference=measured supply");
  const struct sb_motor_line line = sb_torque_balance_line(model);
  for (double reading = 0.05; reading < 0.96; reading += 0.07) {
    for (int gear = 0; gear < 2; gear++) {
      const double load_nm = sb_steady_load_nm(model, &line, gear, reading);
      assert_near_rel(sb_steady_reading(model, &line, gear, load_nm), reading, 1e-12);
      const struct sb_reading_point point = sb_steady_point(model, &line, reading);
      assert_near_rel(sb_steady_speed_reading(model, &line, point.speed_rad_s), reading, 1e-12);
    }
  }
}

static int shifts_at(const char *voltage, const char *load)
{
  struct sb_run_result result =
      run_of(DRILL(voltage, load, "controller.reference=measured supply", "controller.start_gear=slow"), 0);
  const int shifts = (int)result.monitor.shift_count;
  sb_run_result_clear(&result);
  return shifts;
}

/* Below the least voltage for an upshift the slow gear stays, above it the box shifts up. */
static void the_least_voltage_is_where_the_box_shifts_up_again(void **state)
{
  (void)state;
  static const char load[] = "load.parts.1={kind: constant, manner: resists, torque: 0.4 N.m}";
  const struct sb_model *model = DRILL(load, "controller.reference=measured supply");
  const double least_v = sb_closed_form_solve(model).pairs[0].least_voltage_upshift_v;
  char below[64], above[64];
  snprintf(below, sizeof below, "supply.open_circuit_voltage=%.9g V", 0.9999 * least_v);
  snprintf(above, sizeof above, "supply.open_circuit_voltage=%.9g V", 1.0001 * least_v);
  assert_true(least_v > 2.0 && least_v < 12.0);
  assert_int_equal(shifts_at(below, load), 0);
  assert_true(shifts_at(above, load) > 0);
}

/* Twelve cycles of load on a small battery; release with sb_run_result_clear(). */
static struct sb_run_result discharge(const char *reference)
{
  static const char battery[] =
      "supply={battery: {chemistry: alkaline, cells: 8, capacity: 0.04 Ah, charge: 90 %}, internal_resistance: 1.2 ohm}";
  static const char cycles[] =
      "load.parts.1={kind: profile, manner: resists, repeat: true, points: [[0 s, 0.15 N.m], [10 s, 0.15 N.m], [11 s, 1.2 N.m], [19 s, 1.2 N.m], [20 s, 0.15 N.m]]}";
  return run_of(DRILL(battery, cycles, "controller.upshift_above=85 %", "run.duration=240 s", reference), 0);
}

/* As the battery sags a fixed reference ends stuck low. With the other one the box goes on, and is judged by readings, not by
 * speeds: what reads the same with the battery as it was at the start. */
static void a_sagging_battery_is_followed_all_the_way(void **state)
{
  (void)state;
  struct sb_run_result fixed = discharge("controller.reference=fixed");
  assert_true(fixed.monitor.verdict_count > 0);
  sb_run_result_clear(&fixed);
  struct sb_run_result result = discharge("controller.reference=measured supply");
  assert_true(result.end.charge_fraction < 0.6);
  for (size_t k = 0; k < result.monitor.verdict_count; k++) {
    fail_msg("%s", sb_verdict_name(result.monitor.verdicts[k].kind));
  }
  assert_int_equal(result.monitor.shift_count, 24);
  sb_run_result_clear(&result);
}

/* The module's product and quotient by bits against 64-bit arithmetic. */
static void the_module_scales_as_whole_numbers_do(void **state)
{
  (void)state;
  gsl_rng *rng = gsl_rng_alloc(gsl_rng_mt19937);
  assert_non_null(rng);
  gsl_rng_set(rng, 12);
  for (int i = 0; i < 20000; i++) {
    const int32_t most = 1 + (int32_t)gsl_rng_uniform_int(rng, i % 2 == 0 ? 500 : 100000);
    const struct sb_controller_scale scale = {.factor = (uint32_t)(INT32_MAX / most),
                                              .offset = (int32_t)gsl_rng_uniform_int(rng, 100),
                                              .least = 1 + (int32_t)gsl_rng_uniform_int(rng, 60),
                                              .most = most};
    const int32_t reading = (int32_t)gsl_rng_uniform_int(rng, (unsigned long)most + 20) - 5;
    const int32_t voltage = (int32_t)gsl_rng_uniform_int(rng, i % 3 == 0 ? 200 : 70000);
    const int64_t range = voltage - scale.offset > scale.least ? voltage - scale.offset : scale.least;
    const int64_t counts = reading < 0 ? 0 : reading > most ? most : reading;
    const int64_t want = (counts * (int64_t)scale.factor + range / 2) / range;
    assert_true(sb_controller_scaled(&scale, reading, voltage) == want);
  }
  const struct sb_controller_scale whole = {.factor = INT32_MAX, .offset = INT32_MAX, .least = 1, .most = 1};
  assert_int_equal(sb_controller_scaled(&whole, INT32_MAX, INT32_MIN), INT32_MAX);
  assert_int_equal(sb_controller_scaled(&whole, INT32_MIN, INT32_MAX), 0);
  gsl_rng_free(rng);
}

/* With a resolution of the speed and one of the voltage readings are within both of the exact one, and what the module makes of whole counts:
 * 12 V are 240 of them, and the drop of 0.672 V is 13. */
static void rounded_readings_stay_near_the_exact_one(void **state)
{
  (void)state;
  for (int k = 0; k < 12; k++) {
    char voltage[64], resolution[64];
    snprintf(voltage, sizeof voltage, "supply.open_circuit_voltage=%.3f V", 8.0 + 0.437 * k);
    snprintf(resolution, sizeof resolution, "controller.resolution=%g %%", k % 2 == 0 ? 1.0 : 0.25);
    struct sb_run_result exact = run_of(DRILL(voltage, "controller.reference=measured supply"), 2);
    const double reading = exact.end.reading_pct, volts = exact.end.measured_voltage_v;
    sb_run_result_clear(&exact);
    struct sb_run_result rounded = run_of(DRILL(voltage, resolution, "controller.reference=measured supply",
                                                "controller.voltage_sensor={resolution: 50 mV}"),
                                          2);
    const double share = (volts - 0.672) / (12.0 - 0.672);
    const double limit = 0.5 * (k % 2 == 0 ? 1.0 : 0.25) / share + reading * (0.025 + 0.025) / (volts - 0.7);
    assert_near(rounded.end.reading_pct, reading, limit);
    assert_near(rounded.end.measured_voltage_v / 0.05, round(volts / 0.05), 1e-9);
    const double count_pct = k % 2 == 0 ? 1.0 : 0.25, reference_rad_s = loaded.model.control.sensor.reference_rad_s;
    const double counts = round(100.0 * fabs(rounded.end.motor_speed_rad_s) / reference_rad_s / count_pct);
    const double want_pct = count_pct * counts * (240.0 - 13.0) / (round(volts / 0.05) - 13.0);
    assert_near_rel(rounded.end.reading_pct, want_pct, 1e-6); /* some 2e6 units */
    sb_run_result_clear(&rounded);
  }
}

static int clear(void **state)
{
  (void)state;
  sb_scenario_clear(&loaded);
  return 0;
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_tired_battery_s_stuck_low_is_cured),
      cmocka_unit_test(a_steady_reading_is_that_of_the_closed_form),
      cmocka_unit_test(thresholds_and_readings_are_inverse),
      cmocka_unit_test(the_least_voltage_is_where_the_box_shifts_up_again),
      cmocka_unit_test(a_sagging_battery_is_followed_all_the_way),
      cmocka_unit_test(the_module_scales_as_whole_numbers_do),
      cmocka_unit_test(rounded_readings_stay_near_the_exact_one),
  };
  return cmocka_run_group_tests_name("measured_supply", tests, NULL, clear);
}
