// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Reading scenarios: values in SI, defaults, --set, tolerances, tables and the manual.
 * Limits of 0.0 say that the text and the expected number must round to the same double.
 */
#include <gsl/gsl_math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/place.h"
#include "scenario/schema.h"
#include "shiftband/scenario.h"

static double shortest_s(const struct sb_model *model)
{
  const struct sb_derived derived = sb_model_derive(model);
  return sb_model_shortest_s(&derived, model);
}

static const double rounding = 4e-16; /* relative; two or three roundings of a double */
static const double rpm = 2.0 * M_PI / 60.0;

static struct sb_scenario scenario; /* large, hence not on the stack */

/* Loads a good scenario with up to three sets; release with sb_scenario_clear(). */
static void load(const char *path, const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &scenario, &faults);
  if (status != SB_OK) fail_msg("%s: %s", path, faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  assert_int_equal(faults.count, 0);
  sb_faults_clear(&faults);
}

/* Loads with one set that is refused, and wants this one line. */
static void assert_set_refused(const char *path, const char *set, const char *want)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, &set, 1, &scenario, &faults);
  if (status != SB_ERR_SCENARIO) fail_msg("%s: %s", set, sb_status_text(status));
  if (faults.count != 1 || strcmp(faults.texts[0], want) != 0) fail_msg("got  %s\nwant %s", faults.texts[0], want);
  sb_faults_clear(&faults);
}

static void the_tray_cart_becomes_si(void **state)
{
  (void)state;
  load("good/interface.yaml", NULL, 0);
  const struct sb_model *m = &scenario.model;
  assert_string_equal(m->name, "Tray cart on the greenhouse rail");
  assert_near(m->motor.nominal_voltage_v, 12.0, 0.0);
  assert_near_rel(m->motor.no_load_speed_rad_s, 310.0 * rpm, rounding);
  assert_near(m->motor.stall_torque_nm, 0.42, 0.0);
  assert_true(m->motor.has_currents);
  assert_near(m->motor.stall_current_a, 2.6, 0.0);
  assert_near(m->motor.no_load_current_a, 0.14, 0.0);
  assert_near(m->motor.rotor_inertia_kg_m2, 2.1e-4, 0.0);
  assert_near_rel(m->motor.resistance_ohm, 12.0 / 2.6, rounding); /* derived, too */
  assert_near(m->supply.open_circuit_voltage_v, 12.4, 0.0);
  assert_near(m->supply.internal_resistance_ohm, 0.25, 0.0);
  assert_near(m->drive.limit_fraction, 1.0, 0.0);

  assert_string_equal(m->shifter.ops->name, "swing arm");
  assert_near(m->shifter.swing_turns, 0.4, 0.0);
  assert_near(m->shifter.timeout_s, 2.0, 0.0);
  assert_int_equal(m->gearbox.gear_count, 2);
  assert_string_equal(m->gearbox.gears[0].name, "slow");
  assert_int_equal(m->gearbox.gears[0].mesh_count, 3);
  assert_int_equal(m->gearbox.gears[0].motor_direction, -1);
  assert_int_equal(m->gearbox.gears[1].motor_direction, 1);
  assert_near(m->gearbox.gears[0].meshes[2].driver_teeth, 14.0, 0.0);
  assert_near(m->gearbox.gears[0].meshes[2].driven_teeth, 42.0, 0.0);
  assert_near_rel(m->gearbox.gears[0].ratio, 12.0, rounding);
  assert_near_rel(m->gearbox.gears[1].efficiency, 0.96 * 0.96, rounding);
  assert_near_rel(m->gearbox.gears[1].back_efficiency, 0.96 * 0.96, rounding);
  assert_near(m->gearbox.gears[1].drag_nm, 0.0, 0.0);

  assert_near(m->load.inertia_kg_m2, 0.004, 0.0);
  assert_int_equal(m->load.part_count, 3);
  assert_string_equal(m->load.parts[0].ops->name, "viscous");
  assert_near(m->load.parts[0].viscous_nms_rad, 0.002, 0.0);
  assert_false(m->load.parts[1].is_resisting);
  assert_near(m->load.parts[1].torque_nm, 0.05, 0.0);
  assert_true(m->load.parts[2].is_resisting);
  assert_int_equal(m->load.parts[2].table.count, 3);
  assert_near(m->load.parts[2].table.x[2], 6.0, 0.0);
  assert_near(m->load.parts[2].table.y[2], 0.8, 0.0);
  assert_false(m->load.parts[2].is_held);
  assert_int_equal(m->load.parts[2].axis, SB_OVER_TIME);

  assert_int_equal(m->control.start_gear, 2);
  assert_near(m->control.sample_period_s, 0.02, 0.0);
  assert_near(m->control.start_delay_s, 0.6, 0.0);
  assert_near(m->control.dwell_s, 1.5, 0.0);
  assert_near(m->control.downshift_fraction[0], 0.6, 0.0);
  assert_near(m->control.upshift_fraction[0], 0.9, 0.0);
  assert_int_equal(m->control.debounce_count, 1);
  assert_near(m->control.sensor.resolution_fraction, 0.01, 0.0);
  assert_near_rel(m->control.sensor.reference_rad_s, 310.0 * rpm, rounding);
  assert_near(m->run.duration_s, 20.0, 0.0);
  assert_near(m->run.step_s, 0.001, 0.0);
  assert_near(m->limits.output_torque_nm, 3.0, 0.0);
  assert_near(m->limits.winding_c, 110.0, 0.0);
  sb_scenario_clear(&scenario);
}

/* The parts that resist: 0.5 and 0.2..0.3 N.m; one that acts and one that follows the speed count in neither sum. */
static void bounds_that_are_not_given_are_those_of_the_parts_of_their_manner(void **state)
{
  (void)state;
  static const char *const sets[] = {
      "load.parts=[{kind: constant, manner: resists, torque: 0.5 N.m}, {kind: constant, manner: acts, torque: 2 N.m}, "
      "{kind: sine, manner: resists, mean: 0.25 N.m, amplitude: 0.05 N.m, period: 1 s}, "
      "{kind: viscous, coefficient: 1 N.m.s/rad}]",
      "load.bounds={manner: resists, maximum: 0.75 N.m}"};
  load("good/interface.yaml", sets, 2);
  const struct sb_load_bounds *bounds = &scenario.model.load.bounds;
  assert_near(bounds->least_nm, 0.7, rounding);
  assert_near(bounds->greatest_nm, 0.75, 0.0);
  assert_true(isinf(bounds->rate_nm_s));
  sb_scenario_clear(&scenario);
}

static void every_key_reaches_the_model(void **state)
{
  (void)state;
  load("good/everything.yaml", NULL, 0);
  const struct sb_model *m = &scenario.model;
  assert_near(m->motor.rotor_inertia_kg_m2, 3e-4, 0.0);
  assert_near(m->motor.no_load_current_a, 0.4, 0.0);
  assert_near(m->drive.limit_fraction, 0.8, 0.0);
  assert_string_equal(m->shifter.ops->name, "selector");
  assert_near(m->shifter.travel_time_s, 0.12, 0.0);
  assert_true(m->shifter.is_drive_cut);
  assert_near(m->shifter.timeout_s, 3.0, 0.0);

  const struct sb_gear *low = &m->gearbox.gears[0], *middle = &m->gearbox.gears[1];
  assert_true(low->meshes[0].is_internal);
  assert_false(low->meshes[1].is_internal);
  assert_near(low->meshes[0].efficiency, 0.9, 0.0);
  assert_near(low->meshes[1].efficiency, 0.95, 0.0);
  assert_near(low->drag_nm, 0.005, 0.0);
  assert_near(low->back_efficiency, 0.0, 0.0);
  assert_near(middle->back_efficiency, 0.5, 0.0);
  assert_int_equal(middle->motor_direction, -1);

  assert_near(m->load.breakaway_nm, 1.0, 0.0);
  const struct sb_load_bounds *bounds = &m->load.bounds;
  assert_int_equal(bounds->manner, SB_BOUNDS_ACTS);
  assert_near(bounds->least_nm, -0.4, 0.0);
  assert_near(bounds->greatest_nm, 0.9, 0.0);
  assert_near(bounds->rate_nm_s, 3.0, 1e-15);
  assert_int_equal(m->load.part_count, 7);
  const struct sb_load_part *parts = m->load.parts;
  assert_near(parts[0].breakaway_nm, 0.7, 0.0);
  assert_near(parts[1].viscous_nms_rad, 0.003, 0.0);
  assert_near(parts[2].quadratic_nms2_rad2, 2e-5, 0.0);
  assert_int_equal(parts[3].axis, SB_OVER_TURNS);
  assert_true(parts[3].is_held);
  assert_true(parts[3].is_repeating);
  assert_near(parts[3].breakaway_nm, 0.0, 0.0);
  assert_near(parts[4].breakaway_nm, 0.8, 0.0);
  assert_false(parts[4].is_held);
  assert_near(parts[5].mean_nm, 0.3, 0.0);
  assert_near(parts[5].amplitude_nm, 0.2, 0.0);
  assert_near_rel(parts[5].period, M_PI, rounding);
  assert_near_rel(parts[5].phase_rad, M_PI / 2.0, rounding);
  assert_near(parts[6].period, 4.0, 0.0);
  assert_near(parts[6].phase_rad, 0.0, 0.0);

  assert_int_equal(m->control.start_gear, 1);
  assert_near(m->control.downshift_fraction[0], 0.4, 0.0);
  assert_near(m->control.downshift_fraction[1], 0.5, 0.0); /* 40 rad/s of 80 rad/s */
  assert_near(m->control.upshift_fraction[1], 66.0 / 80.0, 0.0);
  assert_near(m->control.threshold_step_fraction, 0.0025, 0.0);
  assert_int_equal(m->control.debounce_count, 3);
  assert_near(m->control.sensor.reference_rad_s, 80.0, 0.0);
  assert_near_rel(m->control.sensor.resolution_fraction, 0.005, rounding);
  assert_near(m->control.sensor.filter_s, 0.05, 0.0);
  assert_near(m->control.sensor.noise_fraction, 0.005, 0.0);
  assert_int_equal(m->control.sensor.seed, 7);
  assert_near(m->run.duration_s, 60.0, 0.0);
  assert_near(m->run.trace_interval_s, 0.05, 0.0);
  assert_near_rel(m->run.initial_output_speed_rad_s, -30.0 * rpm, rounding);
  assert_near_rel(m->limits.winding_c, 400.0 - 273.15, rounding);
  assert_near(m->limits.stall_time_s, 0.8, 0.0);
  assert_near(m->limits.hunt_window_s, 9.0, 0.0);
  /* Of 40 N m, a shaft and a tooth the last is the least: S b m Y r / safety with r = 1 mm 50 / 2. */
  assert_near_rel(m->limits.output_torque_nm, 370e6 * 8e-3 * 1e-3 * 0.36 * 25e-3 / 1.8, 4.0 * rounding);
  assert_string_equal(m->output_limit,
                      "tooth, 50 of module 1 mm, 8 mm wide, steel, 370 MPa bending, form factor 0.36, safety 1.8");
  sb_scenario_clear(&scenario);
}

static void tables_are_read_beside_the_scenario(void **state)
{
  (void)state;
  load("good/everything.yaml", NULL, 0);
  const struct sb_table *turns = &scenario.model.load.parts[3].table;
  const struct sb_table *time = &scenario.model.load.parts[4].table;
  assert_int_equal(turns->count, 4);
  assert_near_rel(turns->x[1], 5.0 * M_PI, rounding); /* 2.5 turns */
  assert_near(turns->x[1], turns->x[2], 0.0);         /* a jump */
  assert_near(turns->y[2], 0.4, 0.0);
  assert_near(turns->y[3], 0.2, 0.0);
  assert_int_equal(time->count, 2);
  assert_near(time->x[1], 1.5, 0.0);
  assert_near(time->y[0], 0.5, 0.0);
  assert_near(time->y[1], 0.1, 0.0);
  sb_scenario_clear(&scenario);
}

/* A motor's friction takes 0.14 A of 2.6 A, so that much of 12 V; without currents nobody knows, and nothing is taken off. */
static void a_measured_supply_drops_what_the_currents_tell(void **state)
{
  (void)state;
  const char *const sets[] = {
      "controller={reference: measured supply, voltage_sensor: {resolution: 50 mV}, dwell: 1 s, downshift_below: 50 %, upshift_above: 78 %}",
      "supply={open_circuit_voltage: 12 V}",
      "motor={nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, rotor_inertia: 2.1e-4 kg.m2}"};
  for (size_t set_count = 2; set_count <= 3; set_count++) {
    load("good/interface.yaml", sets, set_count);
    assert_near(scenario.model.control.sensor.supply.nominal_v, 12.0, 0.0);
    assert_near(scenario.model.control.sensor.supply.drop_v, set_count == 2 ? 12.0 * 0.14 / 2.6 : 0.0, 1e-15);
    sb_scenario_clear(&scenario);
  }
}

static void what_is_left_out_takes_its_default(void **state)
{
  (void)state;
  load("good/least.yaml", NULL, 0);
  const struct sb_model *m = &scenario.model;
  assert_string_equal(m->name, "least");
  assert_false(m->motor.has_currents);
  assert_near(m->motor.stall_current_a, 0.0, 0.0);
  assert_near(m->supply.open_circuit_voltage_v, 12.0, 0.0);
  assert_near(m->supply.internal_resistance_ohm, 0.0, 0.0);
  assert_near(m->drive.limit_fraction, 1.0, 0.0);
  assert_near(m->gearbox.gears[0].efficiency, 0.97, 0.0);
  assert_near(m->gearbox.gears[0].back_efficiency, 0.97, 0.0);
  assert_int_equal(m->gearbox.gears[0].motor_direction, 1);
  assert_string_equal(m->shifter.ops->name, "selector");
  assert_near(m->shifter.travel_time_s, 0.0, 0.0);
  assert_int_equal(m->load.part_count, 0);
  assert_near(m->load.breakaway_nm, 0.0, 0.0);
  assert_int_equal(m->control.start_gear, 1);
  assert_near(m->control.sample_period_s, 0.02, 0.0);
  assert_near(m->control.start_delay_s, 0.0, 0.0);
  assert_near(m->control.dwell_s, 0.0, 0.0);
  assert_near(m->control.threshold_step_fraction, 0.001, 0.0);
  assert_int_equal(m->control.debounce_count, 1);
  assert_near_rel(m->control.sensor.reference_rad_s, 310.0 * rpm, rounding);
  assert_near(m->control.sensor.resolution_fraction, 0.0, 0.0);
  assert_near(m->control.sensor.filter_s, 0.0, 0.0);
  assert_near(m->control.sensor.noise_fraction, 0.0, 0.0);
  assert_int_equal(m->control.sensor.seed, 1);
  assert_near(m->run.step_s, 0.001, 0.0);
  assert_near(m->run.trace_interval_s, 0.02, 0.0);
  assert_near(m->run.initial_output_speed_rad_s, 0.0, 0.0);
  assert_true(isinf(m->limits.output_torque_nm) && isinf(m->limits.winding_c));
  assert_near(m->limits.stall_time_s, 0.5, 0.0);
  assert_true(isnan(m->limits.hunt_window_s));
  assert_int_equal(scenario.tolerance_count, 0);
  sb_scenario_clear(&scenario);
}

static void a_random_phase_is_what_a_phase_is_that_is_not_given(void **state)
{
  (void)state;
  static const char *const sensors[] = {"controller.sensor={pulses: 24, window: 50 ms}",
                                        "controller.sensor={pulses: 24, window: 50 ms, phase: random}"};
  double phases[2];
  for (int k = 0; k < 2; k++) {
    load("good/least.yaml", &sensors[k], 1);
    phases[k] = scenario.model.control.sensor.pulses.phase;
    sb_scenario_clear(&scenario);
  }
  assert_near(phases[1], phases[0], 0.0);
}

static void other_shifters_are_read(void **state)
{
  (void)state;
  static const char *const clutch = "gearbox.shifter={kind: clutch, torque: 0.3 N.m}";
  load("good/interface.yaml", &clutch, 1);
  assert_string_equal(scenario.model.shifter.ops->name, "clutch");
  assert_near(scenario.model.shifter.clutch_nm, 0.3, 0.0);
  sb_scenario_clear(&scenario);
  static const char *const selector = "gearbox.shifter={kind: selector, travel_time: 0 s}";
  load("good/interface.yaml", &selector, 1);
  assert_near(scenario.model.shifter.travel_time_s, 0.0, 0.0);
  assert_false(scenario.model.shifter.is_drive_cut);
  sb_scenario_clear(&scenario);
}

static void a_set_replaces_or_adds_a_key(void **state)
{
  (void)state;
  static const char *const sets[] = {"controller.downshift_below=55 %",
                                     "gearbox.gears.slow.drag=2 mN.m",
                                     "gearbox.gears.2.motor_direction=forward",
                                     "load.parts.2.torque=0.07 N.m",
                                     "load.parts.4={kind: constant, manner: resists, torque: 0.2 N.m}",
                                     "load.parts.5.kind=viscous",
                                     "load.parts.5.coefficient=1 mN.m.s/rad",
                                     "limits.stall_time=2 s",
                                     "name=With = signs",
                                     "tolerances.motor.stall_torque=5 %"};
  load("good/interface.yaml", sets, sizeof sets / sizeof *sets);
  const struct sb_model *m = &scenario.model;
  assert_near(m->control.downshift_fraction[0], 0.55, 0.0);
  assert_near(m->gearbox.gears[0].drag_nm, 0.002, 0.0);
  assert_near(m->load.parts[1].torque_nm, 0.07, 0.0);
  assert_int_equal(m->load.part_count, 5);
  assert_near(m->load.parts[3].torque_nm, 0.2, 0.0);
  assert_near(m->load.parts[4].viscous_nms_rad, 0.001, 0.0);
  assert_near(m->limits.stall_time_s, 2.0, 0.0);
  assert_string_equal(m->name, "With = signs");
  assert_int_equal(scenario.tolerance_count, 1);
  sb_scenario_clear(&scenario);
}

static void the_last_of_two_sets_counts(void **state)
{
  (void)state;
  static const char *const sets[] = {"controller.downshift_below=55 %", "controller.downshift_below=50 %"};
  load("good/interface.yaml", sets, 2);
  assert_near(scenario.model.control.downshift_fraction[0], 0.5, 0.0);
  sb_scenario_clear(&scenario);
}

static void a_fault_in_a_set_names_the_set(void **state)
{
  (void)state;
  const char *const file = "good/interface.yaml";
  assert_set_refused(
      file, "controller.dwell=1.5",
      "--set controller.dwell: needs a time (s, ms, min, h), found \"1.5\", a bare number without its unit");
  assert_set_refused(file, "controller.dwel=1.5 s",
                     "--set controller.dwel: controller: unknown key \"dwel\", nearest known is \"dwell\"");
  assert_set_refused(file, "controller.dwell=", "--set controller.dwell: needs a time (s, ms, min, h), found nothing");
  assert_set_refused(file, "load.parts.9.torque=1 N.m",
                     "--set load.parts.9.torque: needs a number from 1 to 4 or a name, found \"9\"");
  assert_set_refused(file, "controller.downshift_below.1=55 %",
                     "--set controller.downshift_below.1: needs a section before \"1\", found a single value");
  assert_set_refused(
      file, "gearbox.shifter={kind: swing arm",
      "--set gearbox.shifter: needs plain YAML, found an error: while parsing a flow mapping, did not find "
      "expected ',' or '}'");
  assert_set_refused(file, "load.parts.2={kind: viscous}",
                     "--set load.parts.2: load.parts.2.coefficient: needs a viscous coefficient (N.m.s/rad, "
                     "mN.m.s/rad, N.m.s, N.m/rpm), found no such key");
  assert_set_refused(file, "controller.upshift_above=50 %",
                     "--set controller.upshift_above: needs more than downshift_below (60 %), found 50 %");
}

static const struct sb_tolerance *tolerance_of(const char *path)
{
  for (int i = 0; i < scenario.tolerance_count; i++) {
    if (strcmp(scenario.tolerances[i].path, path) == 0) return &scenario.tolerances[i];
  }
  fail_msg("no tolerance of %s", path);
  return NULL;
}

static void assert_spread(const char *path, double least, double nominal, double greatest, const char *unit)
{
  const struct sb_tolerance *tolerance = tolerance_of(path);
  assert_near_rel(tolerance->least, least, rounding);
  assert_near_rel(tolerance->nominal, nominal, rounding);
  assert_near_rel(tolerance->greatest, greatest, rounding);
  assert_string_equal(tolerance->unit, unit);
}

static void tolerances_become_least_and_greatest(void **state)
{
  (void)state;
  load("good/everything.yaml", NULL, 0);
  assert_int_equal(scenario.tolerance_count, 7);
  assert_spread("motor.stall_torque", 1.8, 2.0, 2.2, "N.m");
  assert_spread("supply.open_circuit_voltage", 22.0, 25.0, 26.0, "V");
  assert_spread("gearbox.gears.1.drag", 0.003, 0.005, 0.007, "N.m");
  assert_spread("gearbox.mesh_efficiency", 0.93, 0.95, 0.97, "");
  assert_spread("controller.downshift_below.2", 38.0, 40.0, 42.0, "rad/s");
  assert_spread("limits.winding", 121.85, 126.85, 131.85, "C");
  assert_spread("drive", 0.75, 0.8, 0.85, "%");
  sb_scenario_clear(&scenario);
}

/* What a tolerance says can be set: the value comes back within the roundings of %.17g and a unit. */
static void a_tolerance_reads_back_as_a_set(void **state)
{
  (void)state;
  load("good/everything.yaml", NULL, 0);
  const int count = scenario.tolerance_count;
  struct sb_tolerance tolerances[SB_TOLERANCE_MAX];
  memcpy(tolerances, scenario.tolerances, sizeof tolerances);
  sb_scenario_clear(&scenario);
  for (int i = 0; i < count; i++) {
    char set[256], whole[256];
    const struct sb_tolerance *t = &tolerances[i];
    snprintf(set, sizeof set, "%.100s=%.17g %.15s", t->path, t->least * t->unit_scale, t->unit);
    snprintf(whole, sizeof whole, "tolerances={%.100s: %.17g..%.17g %.15s}", t->path, t->least * t->unit_scale,
             t->greatest * t->unit_scale, t->unit);
    const char *const sets[] = {set, whole};
    load("good/everything.yaml", sets, 2);
    assert_near_rel(scenario.tolerances[0].nominal, t->least, rounding);
    sb_scenario_clear(&scenario);
  }
}

static void a_tolerance_may_name_a_default(void **state)
{
  (void)state;
  static const char *const set = "tolerances={supply.open_circuit_voltage: 10..12.6 V, gearbox.mesh_efficiency: 0.01}";
  load("good/least.yaml", &set, 1);
  assert_spread("supply.open_circuit_voltage", 10.0, 12.0, 12.6, "V");
  assert_spread("gearbox.mesh_efficiency", 0.96, 0.97, 0.98, "");
  sb_scenario_clear(&scenario);
}

static void a_copied_model_keeps_its_tables(void **state)
{
  (void)state;
  load("good/interface.yaml", NULL, 0);
  const struct sb_model copy = scenario.model;
  assert_near(copy.load.parts[2].table.y[2], 0.8, 0.0);
  sb_scenario_clear(&scenario);
  assert_null(scenario.storage);
}

static void steps_are_counted_whole(void **state)
{
  (void)state;
  assert_int_equal(sb_model_step_count(20.0, 0.001), 20000);
  assert_int_equal(sb_model_step_count(0.3, 0.1), 3); /* 0.3 / 0.1 is 2.9999999999999996 */
  assert_int_equal(sb_model_step_count(1.0, 0.3), 4);
  assert_int_equal(sb_model_step_count(1e8, 0.01), 10000000000LL);
}

/* tau = (Jm + Jo / (N^2 eta)) / (m + b / (N^2 eta)); of motor alone, output alone and each gear the shortest. */
static void the_shortest_time_constant_is_the_motors_or_the_outputs(void **state)
{
  (void)state;
  load("good/least.yaml", NULL, 0);
  const double slope = 0.42 / (310.0 * rpm);
  assert_near_rel(shortest_s(&scenario.model), 2.1e-4 / slope, 4.0 * rounding);
  sb_scenario_clear(&scenario);
  static const char *const set = "load.parts=[{kind: viscous, coefficient: 4 N.m.s/rad}]";
  load("good/least.yaml", &set, 1);
  assert_near_rel(shortest_s(&scenario.model), 0.004 / 4.0, 4.0 * rounding);
  sb_scenario_clear(&scenario);
}

/* A radian of a wave lasts its period / 2 pi; over turns, that at the greatest speed: 155 rpm, for 15/30 halves 310 rpm. */
static void a_fast_wave_of_the_load_is_shorter_than_any_time_constant(void **state)
{
  (void)state;
  static const char slow[] = "over: time, period: 5 s";
  static const struct {
    const char *period;
    double radian_s;
  } fast[] = {{"over: time, period: 20 ms", 0.02 / (2.0 * M_PI)},
              {"over: turns, period: 0.1 turn", 0.1 / (155.0 * rpm)}};
  for (int i = 0; i < 4; i++) { /* each wave before the slow one and behind it */
    const char *period = fast[i / 2].period;
    char set[256];
    snprintf(set, sizeof set,
             "load.parts=[{kind: sine, manner: acts, mean: 0 N.m, amplitude: 0.01 N.m, %s}, "
             "{kind: sine, manner: acts, mean: 0 N.m, amplitude: 0.01 N.m, %s}]",
             i % 2 == 0 ? period : slow, i % 2 == 0 ? slow : period);
    const char *const sets[] = {set};
    load("good/least.yaml", sets, 1);
    assert_near_rel(shortest_s(&scenario.model), fast[i / 2].radian_s, 4.0 * rounding);
    scenario.model.load.part_count = 1; /* what stands behind the parts counted is none */
    const double motor_s = 2.1e-4 / (0.42 / (310.0 * rpm));
    assert_near_rel(shortest_s(&scenario.model), i % 2 == 0 ? fast[i / 2].radian_s : motor_s, 4.0 * rounding);
    sb_scenario_clear(&scenario);
  }
}

/* What slows an output alone at its greatest speed, 2 c W, there: 155 rpm that the gear gives, or more that it starts with. */
static void a_fan_slows_the_output_most_at_its_greatest_speed(void **state)
{
  (void)state;
  static const char *const sets[] = {"load.parts=[{kind: quadratic, coefficient: 0.02 N.m.s2/rad2}]",
                                     "run.initial_output_speed=400 rpm"};
  for (size_t count = 1; count <= 2; count++) {
    load("good/least.yaml", sets, count);
    const double top_rad_s = (count == 1 ? 155.0 : 400.0) * rpm;
    assert_near_rel(shortest_s(&scenario.model), 0.004 / (2.0 * 0.02 * top_rad_s), 4.0 * rounding);
    sb_scenario_clear(&scenario);
  }
}

/*
 * A shaft that gives parts motor and output: the least time of an engaged gear is the motor's own, or a radian of their swing,
 * 1 / sqrt(k (1 / Jo + 1 / (N^2 eta Jm))), or by the damping 1 / (d (1 / Jo + 1 / (N^2 eta Jm))); N = 2, eta = 0.97.
 */
static void a_stiff_or_a_damped_shaft_is_faster_than_the_motor(void **state)
{
  (void)state;
  const double motor_s = 2.1e-4 / (0.42 / (310.0 * rpm)), per_inertia = 1.0 / 0.004 + 1.0 / (4.0 * 0.97 * 2.1e-4);
  const struct {
    const char *set;
    double least_s;
  } shafts[] = {
      {"gearbox.output_shaft={stiffness: 1 N.m/rad, damping: 0 N.m.s/rad}", motor_s},
      {"gearbox.output_shaft={stiffness: 1000 N.m/rad, damping: 0 N.m.s/rad}", 1.0 / sqrt(1000.0 * per_inertia)},
      {"gearbox.output_shaft={stiffness: 1 N.m/rad, damping: 1 N.m.s/rad}", 1.0 / (1.0 * per_inertia)},
  };
  for (size_t i = 0; i < sizeof shafts / sizeof *shafts; i++) {
    load("good/least.yaml", &shafts[i].set, 1);
    const struct sb_derived derived = sb_model_derive(&scenario.model);
    assert_near_rel(derived.least_time_constant_s[1], shafts[i].least_s, 4.0 * rounding);
    sb_scenario_clear(&scenario);
  }
}

/* In overrun through a gear that passes back less than it passes on the load weighs less: (Jm + eb Jo / N^2) / m. */
static void a_gear_that_passes_back_less_is_faster_in_overrun(void **state)
{
  (void)state;
  static const double shares[] = {0.0, 0.5, 1.0};
  const double slope = 0.42 / (310.0 * rpm);
  for (int i = 0; i < 3; i++) {
    char set[64];
    snprintf(set, sizeof set, "gearbox.back_efficiency=%g %%", 100.0 * shares[i]);
    const char *const sets[] = {set};
    load("good/least.yaml", sets, 1);
    const struct sb_derived derived = sb_model_derive(&scenario.model);
    const double driving_s = (2.1e-4 + 0.004 / (4.0 * 0.97)) / slope;
    const double back_s = (2.1e-4 + shares[i] * 0.004 / 4.0) / slope;
    assert_near_rel(derived.time_constant_s[1], driving_s, 4.0 * rounding);
    assert_near_rel(derived.least_time_constant_s[1], i < 2 ? back_s : driving_s, 4.0 * rounding);
    sb_scenario_clear(&scenario);
  }
}

/* Counts the keys of a section and below. */
static int count_keys(const struct sb_section *section)
{
  int count = 0, own = 0;
  for (const struct sb_key *key = section->keys; key->name != NULL; key++, own++) {
    count++;
    if (key->section != NULL) count += count_keys(key->section);
    for (int i = 0; key->kinds != NULL && key->kinds[i] != NULL; i++) count += count_keys(key->kinds[i]);
  }
  assert_true(own < 24); /* what the parser's error texts have room for */
  return count;
}

/* Every key of the section must have its line in the manual, and every line names a required key or a default. */
static void find_keys(const char *manual, const struct sb_section *section)
{
  for (const struct sb_key *key = section->keys; key->name != NULL; key++) {
    char line[64];
    snprintf(line, sizeof line, "\n  %s ", key->name);
    if (strstr(manual, line) == NULL) fail_msg("the manual lacks %s", key->name);
    if (strstr(manual, section->name) == NULL) fail_msg("the manual lacks the section %s", section->name);
    if (key->section != NULL) find_keys(manual, key->section);
    for (int i = 0; key->kinds != NULL && key->kinds[i] != NULL; i++) find_keys(manual, key->kinds[i]);
  }
}

static void every_key_is_in_the_manual(void **state)
{
  (void)state;
  FILE *file = tmpfile();
  assert_non_null(file);
  assert_int_equal(sb_scenario_write_keys(file), 0);
  static char manual[1 << 17];
  rewind(file);
  manual[fread(manual, 1, sizeof manual - 1, file)] = 0;
  fclose(file);
  find_keys(manual, &sb_scenario_schema);

  int keys = 0;
  for (const char *line = manual; line != NULL && *line != 0;) {
    const char *end = strchr(line, '\n');
    assert_non_null(end);
    if (end - line > 80) fail_msg("too long: %.*s", (int)(end - line), line);
    keys += strncmp(line, "  ", 2) == 0 && line[2] != ' ';
    line = end + 1;
  }
  assert_int_equal(keys, count_keys(&sb_scenario_schema));
}

static void a_manual_that_cannot_be_written_says_so(void **state)
{
  (void)state;
  FILE *full = fopen("/dev/full", "w");
  if (full == NULL) skip();
  assert_int_equal(sb_scenario_write_keys(full), -1);
  fclose(full);
}

/* Limits of which a model may say nothing. */
static void limits_that_are_not_given_are_six_seconds_and_50_ms(void **state)
{
  (void)state;
  struct sb_model model = {.gearbox.gear_count = 0};
  assert_near(sb_model_shift_interval_s(&model), 6.0, 0.0);
  assert_near(sb_model_clutch_slip_s(&model), 0.05, 0.0);
  model.limits.shift_rate_per_s = 0.25;
  model.limits.clutch_slip_time_s = 0.3;
  assert_near(sb_model_shift_interval_s(&model), 4.0, 0.0);
  assert_near(sb_model_clutch_slip_s(&model), 0.3, 0.0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_tray_cart_becomes_si),
      cmocka_unit_test(bounds_that_are_not_given_are_those_of_the_parts_of_their_manner),
      cmocka_unit_test(every_key_reaches_the_model),
      cmocka_unit_test(tables_are_read_beside_the_scenario),
      cmocka_unit_test(a_measured_supply_drops_what_the_currents_tell),
      cmocka_unit_test(what_is_left_out_takes_its_default),
      cmocka_unit_test(a_random_phase_is_what_a_phase_is_that_is_not_given),
      cmocka_unit_test(other_shifters_are_read),
      cmocka_unit_test(a_set_replaces_or_adds_a_key),
      cmocka_unit_test(the_last_of_two_sets_counts),
      cmocka_unit_test(a_fault_in_a_set_names_the_set),
      cmocka_unit_test(tolerances_become_least_and_greatest),
      cmocka_unit_test(a_tolerance_reads_back_as_a_set),
      cmocka_unit_test(a_tolerance_may_name_a_default),
      cmocka_unit_test(a_copied_model_keeps_its_tables),
      cmocka_unit_test(steps_are_counted_whole),
      cmocka_unit_test(the_shortest_time_constant_is_the_motors_or_the_outputs),
      cmocka_unit_test(a_fast_wave_of_the_load_is_shorter_than_any_time_constant),
      cmocka_unit_test(a_fan_slows_the_output_most_at_its_greatest_speed),
      cmocka_unit_test(a_stiff_or_a_damped_shaft_is_faster_than_the_motor),
      cmocka_unit_test(a_gear_that_passes_back_less_is_faster_in_overrun),
      cmocka_unit_test(every_key_is_in_the_manual),
      cmocka_unit_test(a_manual_that_cannot_be_written_says_so),
      cmocka_unit_test(limits_that_are_not_given_are_six_seconds_and_50_ms),
  };
  return cmocka_run_group_tests_name("scenario", tests, place_in_tests, NULL);
}
