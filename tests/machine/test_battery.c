// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Batteries: curves against what was published, sag against worked examples, and what the closed forms find over the
 * discharge against a plain scan of the charge and against runs.
 *
 * Sources: Robertson's and Kulshreshtha's textbooks on electrical engineering, worked examples 1.9, 1.10 and 4.9 as given
 * beside each test. Functions of electrodes and acid: see battery_cells.c (from memory).
 */
#include <gsl/gsl_interp.h>
#include <math.h>
#include <string.h>

#include "help/loaded.h"
#include "help/models.h"
#include "help/near.h"
#include "help/place.h"
#include "shiftband/closed_form.h"
#include "shiftband/discharge.h"
#include "shiftband/run.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double rounding = 4e-16; /* a few roundings of a double */

static struct sb_battery battery_of(const struct sb_chemistry *chemistry, int cells)
{
  return (struct sb_battery){.is_present = true,
                             .chemistry = chemistry,
                             .curve = chemistry->curve,
                             .series_count = cells,
                             .capacity_as = 3600.0,
                             .charge_fraction = 1.0};
}

static double cell_v(const char *name, double charge)
{
  const struct sb_chemistry *chemistry = sb_battery_chemistry_find(name);
  assert_non_null(chemistry);
  const struct sb_battery battery = battery_of(chemistry, 1);
  return sb_battery_voltage_v(&battery, charge);
}

/* GSL's linear interpolation as the reference. */
static void voltage_between_points_is_what_a_library_interpolates(void **state)
{
  (void)state;
  for (const struct sb_chemistry *chemistry = sb_battery_chemistries; chemistry->name != NULL; chemistry++) {
    const struct sb_battery battery = battery_of(chemistry, 7);
    gsl_interp *reference = gsl_interp_alloc(gsl_interp_linear, chemistry->curve.count);
    assert_non_null(reference);
    gsl_interp_init(reference, chemistry->curve.x, chemistry->curve.y, chemistry->curve.count);
    for (int k = 0; k <= 1000; k++) {
      const double charge = k / 1000.0;
      const double want = 7.0 * gsl_interp_eval(reference, chemistry->curve.x, chemistry->curve.y, charge, NULL);
      assert_near_rel(sb_battery_voltage_v(&battery, charge), want, 4.0 * rounding);
    }
    gsl_interp_free(reference);
  }
}

static void voltage_at_points_is_exact_and_constant_beyond(void **state)
{
  (void)state;
  static const double charge[] = {0.1, 0.4, 0.41, 0.9}, voltage[] = {3.1, 3.5, 3.5, 4.0};
  const struct sb_battery battery = {.is_present = true, .curve = {4, charge, voltage}, .series_count = 3};
  for (size_t k = 0; k < 4; k++) assert_near(sb_battery_voltage_v(&battery, charge[k]), 3.0 * voltage[k], 0.0);
  assert_near(sb_battery_voltage_v(&battery, -1.0), 9.3, rounding * 9.3);
  assert_near(sb_battery_voltage_v(&battery, 0.0), 9.3, rounding * 9.3);
  assert_near(sb_battery_voltage_v(&battery, 2.0), 12.0, 0.0);
  assert_near_rel(sb_battery_voltage_v(&battery, 0.25), 9.9, 4.0 * rounding); /* half way from 3.1 to 3.5 V */
}

static void every_chemistry_rises_from_empty_to_full_and_ends_above_its_cutoff(void **state)
{
  (void)state;
  int count = 0;
  for (const struct sb_chemistry *chemistry = sb_battery_chemistries; chemistry->name != NULL; chemistry++, count++) {
    const struct sb_table *curve = &chemistry->curve;
    assert_near(curve->x[0], 0.0, 0.0);
    assert_near(curve->x[curve->count - 1], 1.0, 0.0);
    for (size_t k = 1; k < curve->count; k++) {
      assert_true(curve->x[k] > curve->x[k - 1]);
      assert_true(curve->y[k] > curve->y[k - 1]);
    }
    /* Under load: no more than a rested empty cell, but for the 2 mV by which Chen's cell misses its own 2.5 V. */
    assert_true(chemistry->cutoff_v > 0.0 && chemistry->cutoff_v < curve->y[0] + 0.003);
    assert_true(strlen(chemistry->source) > 20 && strlen(chemistry->caution) > 20);
  }
  assert_int_equal(count, 5);
}

static void names_and_codes_of_chemistries_agree(void **state)
{
  (void)state;
#define CHECK_CODE(code, words, other)                             \
  assert_string_equal(sb_battery_chemistry_of(code)->name, words); \
  assert_ptr_equal(sb_battery_chemistry_of(code), sb_battery_chemistry_find(words));
  SB_CHEMISTRY_LIST(CHECK_CODE)
#undef CHECK_CODE
  assert_null(sb_battery_chemistry_of(SB_CHEMISTRY_NONE));
  assert_null(sb_battery_chemistry_find("lead"));
}

/*
 * H. Bode, Lead-Acid Batteries, Wiley 1977 (from memory): U = 1.9228 + 0.147519 lg m + 0.063552 lg^2 m + 0.073772 lg^3 m +
 * 0.033612 lg^4 m, m the acid's molality. Densities of sulphuric acid at 20 C by weight percent: Perry's Chemical
 * Engineers' Handbook (from memory).
 */
static double bode_v(double density)
{
  static const double percent[] = {10, 15, 20, 25, 30, 35, 40};
  static const double densities[] = {1.0661, 1.1020, 1.1394, 1.1783, 1.2185, 1.2599, 1.3028};
  gsl_interp *interp = gsl_interp_alloc(gsl_interp_linear, 7);
  gsl_interp_init(interp, densities, percent, 7);
  const double share = gsl_interp_eval(interp, densities, percent, density, NULL) / 100.0;
  gsl_interp_free(interp);
  const double lg = log10(share / (1.0 - share) / 0.098079); /* mol of acid per kg of water */
  return 1.9228 + lg * (0.147519 + lg * (0.063552 + lg * (0.073772 + lg * 0.033612)));
}

static void lead_acid_voltage_follows_the_acid(void **state)
{
  (void)state;
  static const double densities[] = {1.120, 1.155, 1.190, 1.225, 1.265}; /* of the table, empty to full */
  for (int k = 0; k < 5; k++) {
    /* 4 mV: half of the table's last digit is 1 mV a cell, its 26 C instead of the densities' 20 C some mV. */
    assert_near(cell_v("lead acid", 0.25 * k), bode_v(densities[k]), 0.004);
  }
}

/* C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534, eqs. 8 and 9, with the stoichiometries of empty and full. */
static double chen_v(double charge)
{
  const double y = 0.9084 + (0.2661 - 0.9084) * charge, x = 0.0279 + (0.9014 - 0.0279) * charge;
  const double positive = -0.8090 * y + 4.4875 - 0.0428 * tanh(18.5138 * (y - 0.5542)) -
                          17.7326 * tanh(15.7890 * (y - 0.3117)) + 17.5842 * tanh(15.9308 * (y - 0.3120));
  const double negative = 1.9793 * exp(-39.3631 * x) + 0.2482 - 0.0909 * tanh(29.8538 * (x - 0.1234)) -
                          0.04478 * tanh(14.9159 * (x - 0.2769)) - 0.0205 * tanh(30.4444 * (x - 0.6103));
  return positive - negative;
}

/* M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562. */
static double safari_v(double charge)
{
  const double y = 0.74 + (0.035 - 0.74) * charge, x = 0.0132 + (0.811 - 0.0132) * charge;
  const double positive = 3.4323 - 0.8428 * exp(-80.2493 * pow(1.0 - y, 1.3198)) -
                          3.2474e-6 * exp(20.2645 * pow(1.0 - y, 3.8003)) +
                          3.2482e-6 * exp(20.2646 * pow(1.0 - y, 3.7995));
  const double negative = 0.6379 + 0.5416 * exp(-305.5309 * x) + 0.044 * tanh(-(x - 0.1958) / 0.1088) -
                          0.1978 * tanh((x - 1.0571) / 0.0854) - 0.6875 * tanh((x + 0.0117) / 0.0529) -
                          0.0175 * tanh((x - 0.5692) / 0.0875);
  return positive - negative;
}

static void lithium_curves_stay_beside_the_published_electrodes(void **state)
{
  (void)state;
  for (int k = 0; k <= 2000; k++) {
    const double charge = k / 2000.0;
    assert_near(cell_v("lithium ion", charge), chen_v(charge), 0.0045); /* chords of 4 mV, points to 1 mV */
    assert_near(cell_v("lithium iron phosphate", charge), safari_v(charge), 0.0035); /* chords of 3 mV */
  }
  /* The cell's own limits, 4.2 and 2.5 V: the published functions miss them by so much. */
  assert_near(cell_v("lithium ion", 1.0), 4.2, 0.01);
  assert_near(cell_v("lithium ion", 0.0), 2.5, 0.01);
}

/* IEC 60086-2 and IEC 61951-2 (from memory): nominal 1.5 V of LR6, 1.2 V of nickel metal hydride. */
static void nominal_voltages_of_the_standards_lie_on_the_curves(void **state)
{
  (void)state;
  assert_true(cell_v("alkaline", 1.0) > 1.5 && cell_v("alkaline", 0.5) < 1.5);
  assert_true(cell_v("nickel metal hydride", 1.0) > 1.2 && cell_v("nickel metal hydride", 0.0) < 1.2);
  assert_near(cell_v("nickel metal hydride", 1.0) / cell_v("nickel metal hydride", 0.05), 1.0, 0.2); /* flat */
}

/* A blocked motor of a resistance on a battery of its own curve: it is a plain resistor. */
static struct sb_model blocked_on(double open_v, double internal_ohm, double motor_ohm)
{
  static const double charge[] = {0.0, 1.0};
  static double voltage[2];
  voltage[0] = voltage[1] = open_v;
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 100.0, 1.0, 1e-4);
  model_set_currents(&model, model.motor.nominal_voltage_v / motor_ohm, 0.0, internal_ohm);
  model_add_gear(&model, 2.0, 1.0, false);
  model.load.inertia_kg_m2 = 1e-3;
  model_add_constant(&model, 1e3, true);
  model.battery =
      (struct sb_battery){.is_present = true, .curve = {2, charge, voltage}, .series_count = 1, .capacity_as = 3600.0};
  model_finish(&model);
  sb_discharge_set(&model, 1.0);
  return model;
}

static double loaded_v(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  return sb_steady_supply_v(model, &line, 0, 1e3);
}

/* C. R. Robertson, Fundamental Electrical and Electronic Principles, ex. 1.9: 6 V behind 0.15 ohm at 0.5, 2 and 10 A. */
static void battery_sags_as_in_the_worked_example(void **state)
{
  (void)state;
  static const double current[] = {0.5, 2.0, 10.0}, want_v[] = {5.925, 5.7, 4.5};
  for (int k = 0; k < 3; k++) {
    const struct sb_model model = blocked_on(6.0, 0.15, 6.0 / current[k] - 0.15);
    assert_near_rel(loaded_v(&model), want_v[k], 10.0 * rounding);
  }
}

/* The same, ex. 1.10: 12 V open, 11.5 V at 5 A make 0.1 ohm inside and a load of 2.3 ohm. */
static void resistance_from_two_readings_gives_them_back(void **state)
{
  (void)state;
  const struct sb_model model = blocked_on(12.0, 0.1, 2.3);
  assert_near_rel(loaded_v(&model), 11.5, 10.0 * rounding);
}

/* D. C. Kulshreshtha, Basic Electrical Engineering, ex. 4.9: 8 cells of 1.5 V and 0.75 ohm in series give 6 W at most. */
static void eight_cells_give_the_most_power_of_the_worked_example(void **state)
{
  (void)state;
  double power_w[3];
  for (int k = 0; k < 3; k++) {
    const double motor_ohm = 6.0 + 0.5 * (k - 1);
    struct sb_model model = blocked_on(1.5, 8.0 * 0.75, motor_ohm);
    model.battery.series_count = 8;
    sb_discharge_set(&model, 0.5);
    power_w[k] = loaded_v(&model) * loaded_v(&model) / motor_ohm;
  }
  assert_near_rel(power_w[1], 6.0, 10.0 * rounding);
  assert_true(power_w[0] < power_w[1] && power_w[2] < power_w[1]);
}

/* Identity: behind a resistance r a motor k, R has the stall torque k E / (R + r) and the same no-load speed. */
static void sag_takes_stall_torque_but_no_speed(void **state)
{
  (void)state;
  const struct sb_model stiff = blocked_on(12.0, 0.0, 2.0), soft = blocked_on(12.0, 0.5, 2.0);
  const struct sb_motor_line stiff_line = sb_torque_balance_line(&stiff), soft_line = sb_torque_balance_line(&soft);
  assert_near_rel(sb_motor_stall_torque_nm(&soft_line), sb_motor_stall_torque_nm(&stiff_line) * 2.0 / 2.5,
                  10.0 * rounding);
  assert_near_rel(sb_motor_no_load_speed_rad_s(&soft_line), sb_motor_no_load_speed_rad_s(&stiff_line), 10.0 * rounding);
}

static void every_key_of_a_battery_reaches_the_model(void **state)
{
  (void)state;
  loaded_take("good/battery.yaml", NULL, 0);
  const struct sb_model *m = &loaded_scenario.model;
  assert_true(m->battery.is_present);
  assert_ptr_equal(m->battery.chemistry, sb_battery_chemistry_find("nickel metal hydride"));
  assert_int_equal(m->battery.series_count, 10);
  assert_near_rel(m->battery.capacity_as, 2.2 * 3600.0, rounding);
  assert_near(m->battery.charge_fraction, 0.6, 0.0);
  assert_near(m->battery.cutoff_v, 9.5, 0.0);
  assert_near_rel(m->supply.open_circuit_voltage_v, 13.0, 4.0 * rounding); /* 10 cells of 1.3 V */
  assert_int_equal(loaded_scenario.tolerance_count, 3);
  assert_near_rel(loaded_scenario.tolerances[1].greatest, 1.1 * 2.2 * 3600.0, 4.0 * rounding);
  sb_scenario_clear(&loaded_scenario);
}

static void points_make_a_curve_and_defaults_follow(void **state)
{
  (void)state;
  loaded_take("good/battery-points.yaml", NULL, 0);
  const struct sb_battery *battery = &loaded_scenario.model.battery;
  assert_null(battery->chemistry);
  assert_int_equal(battery->series_count, 1);
  assert_int_equal(battery->curve.count, 4);
  assert_near(battery->curve.x[2], 0.405, rounding);
  assert_near(battery->curve.y[3], 12.6, 0.0);
  assert_near(battery->charge_fraction, 1.0, 0.0);
  assert_near(battery->cutoff_v, 0.0, 0.0);
  assert_near(loaded_scenario.model.supply.open_circuit_voltage_v, 12.6, 0.0);
  sb_scenario_clear(&loaded_scenario);
}

static void cutoff_of_the_chemistry_counts_for_each_cell(void **state)
{
  (void)state;
  static const char *const set = "supply.battery={chemistry: lead acid, cells: 6, capacity: 7 A.h}";
  loaded_take("good/battery.yaml", (const char *const[]){set, "tolerances={}"}, 2);
  assert_near_rel(loaded_scenario.model.battery.cutoff_v, 10.5, rounding); /* 6 of 1.75 V, IEEE 485 */
  assert_near_rel(loaded_scenario.model.supply.open_circuit_voltage_v, 12.65, rounding);
  sb_scenario_clear(&loaded_scenario);
}

/* The winder with other thresholds and cells, so that all troubles begin or end somewhere. */
static const struct variant {
  const char *sets[4];
} variants[] = {
    {{"name=as it is"}},
    {{"controller.downshift_below=66 %", "controller.upshift_above=70 %"}},
    {{"controller.downshift_below=85 %", "controller.upshift_above=92 %"}},
    {{"supply.battery.chemistry=lead acid", "supply.battery.cells=6", "supply.battery.cutoff_voltage=11 V",
      "controller.upshift_above=94 %"}},
    {{"supply.battery.chemistry=alkaline", "supply.battery.cells=8", "supply.internal_resistance=2 ohm",
      "gearbox.back_efficiency=0"}},
    {{"supply.battery={points: [[0 %, 9 V], [30 %, 11 V], [60 %, 11 V], [90 %, 12 V]], capacity: 1 A.h}",
      "load.parts.2={kind: constant, manner: acts, torque: -0.2 N.m}"}},
    {{"controller.downshift_below=66 %", "controller.upshift_above=70 %",
      "load.parts.2={kind: constant, manner: resists, torque: 0.1 N.m}"}}, /* lighter than all that the band asks for */
    {{"load.parts.1={kind: quadratic, coefficient: 0.02 N.m.s2/rad2}", "controller.upshift_above=75 %", "drive=90 %"}},
};

enum { VARIANT_COUNT = sizeof variants / sizeof variants[0] };

static void take_variant(const struct variant *variant)
{
  size_t count = 0;
  while (count < 4 && variant->sets[count] != NULL) count++;
  loaded_take("../scenarios/tired-winder.yaml", variant->sets, count);
}

/* Whether the motor, from rest under the lightest load, draws too much for too long. */
static bool is_start_cut(const struct sb_model *model, const struct sb_motor_line *line)
{
  const double spare_a = (model->supply.open_circuit_voltage_v - model->battery.cutoff_v) /
                         (model->supply.internal_resistance_ohm * line->duty);
  const double back_rad_s = (line->stall_a - spare_a) / line->slope_as_rad;
  const struct sb_load_moment load = sb_closed_form_lightest(model);
  return back_rad_s > 0.0 && sb_theory_climb_s(model, line, model->control.start_gear - 1, &load, 0.0, back_rad_s) >=
                                 model->battery.cutoff_delay_s;
}

/* What the closed forms at one charge say of a trouble, without looking for its ends. */
static bool is_there(const struct sb_model *model, const struct sb_closed_form *form, enum sb_discharge_kind kind,
                     int index)
{
  const struct sb_pair_figures *pair = &form->pairs[index];
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double load_nm = kind == SB_DISCHARGE_CUT_LIGHTEST ? form->lightest_load_nm : form->heaviest_load_nm;
  switch (kind) {
    case SB_DISCHARGE_STUCK_LOW: return pair->is_stuck_low;
    case SB_DISCHARGE_NEEDLESS_DOWNSHIFT: return pair->is_needless_downshift;
    case SB_DISCHARGE_HUNTING:
      return pair->has_band && pair->downshift_torque_nm < form->heaviest_load_nm &&
             pair->upshift_torque_nm > form->lightest_load_nm;
    case SB_DISCHARGE_STALL: return form->gears[index].stall_torque_nm <= form->heaviest_load_nm;
    case SB_DISCHARGE_CUT_STARTING: return is_start_cut(model, &line);
    case SB_DISCHARGE_CUT_LIGHTEST:
    case SB_DISCHARGE_CUT_HEAVIEST: return sb_steady_supply_v(model, &line, index, load_nm) <= model->battery.cutoff_v;
    case SB_DISCHARGE_KIND_COUNT: break;
  }
  return false;
}

/* Whether a charge lies so near to the end of a span that roundings decide. */
static bool is_at_an_end(const struct sb_discharge *discharge, double charge)
{
  for (int k = 0; k < discharge->span_count; k++) {
    const struct sb_discharge_span *span = &discharge->spans[k];
    if (fabs(charge - span->from_fraction) < 1e-10 || fabs(charge - span->to_fraction) < 1e-10) return true;
  }
  return false;
}

/* Counts in seen[] the kinds that were there at one charge and not at another. */
static void compare_scan(const struct sb_model *model, int seen[SB_DISCHARGE_KIND_COUNT])
{
  struct sb_discharge discharge;
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(model, &discharge, &err), SB_OK);
  struct sb_model at = *model;
  for (int k = 0; k <= 2000; k++) {
    const double charge = k / 2000.0;
    if (is_at_an_end(&discharge, charge)) continue;
    sb_discharge_set(&at, charge);
    const struct sb_closed_form form = sb_closed_form_solve(&at);
    for (int kind = 0; kind < SB_DISCHARGE_KIND_COUNT; kind++) {
      const int count = sb_discharge_subject_count((enum sb_discharge_kind)kind, at.gearbox.gear_count);
      for (int index = 0; index < count; index++) {
        const bool want = is_there(&at, &form, (enum sb_discharge_kind)kind, index);
        const bool got = sb_discharge_span_at(&discharge, (enum sb_discharge_kind)kind, index, charge) != NULL;
        if (got != want) {
          fail_msg("%s, %s %d at %.17g: got %d, want %d", model->name, sb_discharge_words((enum sb_discharge_kind)kind),
                   index, charge, got, want);
        }
        seen[kind] |= want ? 1 : 2;
      }
    }
  }
}

static void spans_over_the_discharge_agree_with_a_plain_scan_of_the_charge(void **state)
{
  (void)state;
  int seen[SB_DISCHARGE_KIND_COUNT] = {0};
  for (int v = 0; v < VARIANT_COUNT; v++) {
    take_variant(&variants[v]);
    compare_scan(&loaded_scenario.model, seen);
    sb_scenario_clear(&loaded_scenario);
  }
  for (int kind = 0; kind < SB_DISCHARGE_KIND_COUNT; kind++) assert_int_equal(seen[kind], 3); /* met and not met */
}

/* Just above and just below each end the closed forms differ: ends are roots, not points of a grid. */
static void ends_of_spans_are_exact(void **state)
{
  (void)state;
  int ends = 0;
  for (int v = 0; v < VARIANT_COUNT; v++) {
    take_variant(&variants[v]);
    struct sb_discharge discharge;
    struct sb_error err;
    struct sb_model at = loaded_scenario.model;
    assert_int_equal(sb_discharge_solve(&at, &discharge, &err), SB_OK);
    for (int k = 0; k < discharge.span_count; k++) {
      const struct sb_discharge_span *span = &discharge.spans[k];
      for (int side = 0; side < 2; side++) {
        const double end = side == 0 ? span->from_fraction : span->to_fraction;
        if (end <= 0.0 || end >= 1.0) continue;
        bool is[2];
        for (int j = 0; j < 2; j++) {
          sb_discharge_set(&at, end + (j == 0 ? 1e-11 : -1e-11)); /* roundings of voltages over their slopes: < 1e-12 */
          const struct sb_closed_form form = sb_closed_form_solve(&at);
          is[j] = is_there(&at, &form, span->kind, span->index);
        }
        assert_int_equal(is[0], side == 1);
        assert_int_equal(is[1], side == 0);
        ends++;
      }
    }
    sb_scenario_clear(&loaded_scenario);
  }
  assert_true(ends >= 20);
}

/* The voltage at which the closed forms let the box come back up is that of the charge at which it is stuck low. */
/* The drive cuts out for good where the highest gear is too much for it under the lightest load, or a start is. */
static void a_discharge_ends_where_the_highest_gear_or_a_start_cuts_the_drive_out(void **state)
{
  (void)state;
  const struct sb_model model = {.gearbox.gear_count = 2};
  struct sb_discharge discharge = {.span_count = 3,
                                   .spans = {{SB_DISCHARGE_CUT_LIGHTEST, 0, 0.9, 0.0},
                                             {SB_DISCHARGE_CUT_LIGHTEST, 1, 0.3, 0.0},
                                             {SB_DISCHARGE_CUT_STARTING, 0, 0.2, 0.0}}};
  assert_near(sb_discharge_end_fraction(&model, &discharge), 0.3, 0.0);
  discharge.spans[2].from_fraction = 0.4;
  assert_near(sb_discharge_end_fraction(&model, &discharge), 0.4, 0.0);
  discharge.span_count = 1;
  assert_near(sb_discharge_end_fraction(&model, &discharge), 0.0, 0.0);
  discharge.spans[0].index = 1;
  assert_near(sb_discharge_end_fraction(&model, &discharge), 0.9, 0.0);
}

static void charge_of_being_stuck_has_the_voltage_of_the_closed_form(void **state)
{
  (void)state;
  take_variant(&variants[0]);
  const struct sb_model *model = &loaded_scenario.model;
  struct sb_discharge discharge;
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(model, &discharge, &err), SB_OK);
  const struct sb_closed_form form = sb_closed_form_solve(model);
  const struct sb_discharge_span *span = sb_discharge_span_at(&discharge, SB_DISCHARGE_STUCK_LOW, 0, 0.2);
  assert_non_null(span);
  assert_near(span->to_fraction, 0.0, 0.0);
  assert_near_rel(sb_battery_voltage_v(&model->battery, span->from_fraction), form.pairs[0].least_voltage_upshift_v,
                  1e-12); /* 1e-14 of charge, and the closed form's own roundings */
  sb_scenario_clear(&loaded_scenario);
}

/*
 * Runs of the winder's start on both sides of the charge at which every start is cut. Under a constant load the current
 * falls by exp(-t / tau), so the end is where Voc - Ri (Is + (Istall - Is) exp(-delay / tau)) is the cut-off; a run looks
 * at ticks only, half a tick in a time constant of 0.2 s moves it by less than a tenth of a percent of charge.
 */
static void a_start_is_cut_below_the_charge_at_which_its_current_outlasts_the_delay(void **state)
{
  (void)state;
  loaded_take("../scenarios/tired-winder.yaml", NULL, 0);
  struct sb_model model = loaded_scenario.model;
  struct sb_discharge discharge;
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(&model, &discharge, &err), SB_OK);
  const struct sb_discharge_span *span = sb_discharge_span_at(&discharge, SB_DISCHARGE_CUT_STARTING, 0, 0.01);
  assert_non_null(span);
  sb_discharge_set(&model, span->from_fraction);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const int gear = model.control.start_gear - 1;
  double lightest_nm, heaviest_nm;
  sb_load_range_nm(&model.load, model.run.duration_s, &lightest_nm, &heaviest_nm);
  const double settled_a = sb_motor_current_a(&line, sb_steady_speed_rad_s(&model, &line, gear, lightest_nm));
  const double left = exp(-model.battery.cutoff_delay_s / sb_torque_balance_time_constant_s(&model, &line, gear));
  const double drawn_a = line.duty * (settled_a + (line.stall_a - settled_a) * left);
  assert_near_rel(model.supply.open_circuit_voltage_v - model.supply.internal_resistance_ohm * drawn_a,
                  model.battery.cutoff_v, 1e-9);
  for (int side = -1; side <= 1; side += 2) {
    sb_discharge_set(&model, span->from_fraction + 1e-3 * side);
    model.run.duration_s = 0.5;
    const struct sb_run_options options = sb_run_options_default();
    struct sb_run_result result;
    assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
    assert_int_equal(result.sums.was_cut_by_battery, side < 0);
    sb_run_result_clear(&result);
  }
  sb_scenario_clear(&loaded_scenario);
}

/* A held current takes little of the supply at first, and most at the corner: the delay begins at a speed, and runs to both sides of the end
 * tell whether it does. */
static void a_start_with_a_held_current_is_cut_where_runs_are(void **state)
{
  (void)state;
  const char *const sets[] = {"drive.current_limit=1.2 A", "load.inertia=0.2 kg.m2",
                              "supply.internal_resistance=1 ohm"};
  loaded_take("../scenarios/tired-winder.yaml", sets, 3);
  struct sb_model model = loaded_scenario.model;
  struct sb_discharge discharge;
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(&model, &discharge, &err), SB_OK);
  double end = NAN;
  for (int k = 0; k < discharge.span_count; k++) {
    if (discharge.spans[k].kind == SB_DISCHARGE_CUT_STARTING) end = discharge.spans[k].from_fraction;
  }
  assert_true(end > 0.0);
  model.run.duration_s = 2.0;
  for (int side = -1; side <= 1; side += 2) {
    sb_discharge_set(&model, end + 1e-3 * side); /* half a tick, as above */
    const struct sb_run_options options = sb_run_options_default();
    struct sb_run_result result;
    assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
    assert_true(result.sums.current_held_s > 0.0);
    assert_int_equal(result.sums.was_cut_by_battery, side < 0);
    sb_run_result_clear(&result);
  }
  sb_scenario_clear(&loaded_scenario);
}

/*
 * Duty that a ramp still withholds, or that a held speed takes away again, draws less: what is cut for sure is then only what is
 * cut settled. At a charge at which the winder's plain start is cut, a run with a ramp, or held at a low speed, is not;
 * held at a high speed the duty is as full as without.
 */
static void a_start_with_less_than_full_duty_is_not_foretold_to_be_cut(void **state)
{
  (void)state;
  static const struct {
    const char *drive;
    bool is_cut;
  } cases[] = {{"drive=100 %", true},
               {"drive={ramp: 4 s}", false},
               {"drive={mode: speed control, target: 10 %}", false},
               {"drive={mode: speed control, target: 95 %}", true}};
  const char *sets[] = {"supply.internal_resistance=1 ohm", NULL};
  loaded_take("../scenarios/tired-winder.yaml", sets, 1);
  struct sb_discharge discharge;
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(&loaded_scenario.model, &discharge, &err), SB_OK);
  /* 0.35 % of charge lie between a cut start and a cut settled motor. */
  const double charge = sb_discharge_span_at(&discharge, SB_DISCHARGE_CUT_STARTING, 0, 0.01)->from_fraction - 1.7e-3;
  sb_scenario_clear(&loaded_scenario);
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    sets[1] = cases[i].drive;
    loaded_take("../scenarios/tired-winder.yaml", sets, 2);
    struct sb_model model = loaded_scenario.model;
    assert_int_equal(sb_discharge_solve(&model, &discharge, &err), SB_OK);
    const bool is_foretold = sb_discharge_span_at(&discharge, SB_DISCHARGE_CUT_STARTING, 0, charge) != NULL;
    sb_discharge_set(&model, charge);
    model.run.duration_s = 5.0; /* draws 0.06 % */
    const struct sb_run_options options = sb_run_options_default();
    struct sb_run_result result;
    assert_int_equal(sb_run(&model, &options, &result, &err), SB_OK);
    assert_int_equal(is_foretold, cases[i].is_cut);
    assert_int_equal(result.sums.was_cut_by_battery, cases[i].is_cut);
    sb_run_result_clear(&result);
    sb_scenario_clear(&loaded_scenario);
  }
}

static unsigned kinds_of_run(const struct sb_model *model)
{
  struct sb_run_result result;
  struct sb_error err;
  const struct sb_run_options options = sb_run_options_default();
  assert_int_equal(sb_run(model, &options, &result, &err), SB_OK);
  const unsigned kinds = sb_map_verdict_of(&result.monitor).kinds;
  sb_run_result_clear(&result);
  return kinds;
}

/* A run of 20 s draws some 0.3 % of the charge: 1 % to either side of the end is clear of that. */
static void runs_just_above_and_below_the_charge_differ_as_foretold(void **state)
{
  (void)state;
  take_variant(&variants[0]);
  struct sb_discharge discharge;
  struct sb_error err;
  struct sb_model at = loaded_scenario.model;
  assert_int_equal(sb_discharge_solve(&at, &discharge, &err), SB_OK);
  const double end = sb_discharge_span_at(&discharge, SB_DISCHARGE_STUCK_LOW, 0, 0.2)->from_fraction;
  sb_discharge_set(&at, end + 0.01);
  assert_int_equal(kinds_of_run(&at), 0);
  sb_discharge_set(&at, end - 0.01);
  assert_int_equal(kinds_of_run(&at), 1U << SB_VERDICT_STUCK_LOW);
  sb_scenario_clear(&loaded_scenario);
}

/* A curve that goes up and down gives more spans than there is room for: the first ones from full to empty are told. */
static void of_more_spans_than_there_is_room_for_the_first_are_told(void **state)
{
  (void)state;
  enum { COUNT = 2 * SB_DISCHARGE_SPAN_MAX + 20 };
  static double charge[COUNT], voltage_v[COUNT];
  for (int k = 0; k < COUNT; k++) {
    charge[k] = (double)k / (COUNT - 1);
    voltage_v[k] = k % 2 == 0 ? 3.0 : 13.0;
  }
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.8, true);
  model.battery = (struct sb_battery){.is_present = true,
                                      .curve = {COUNT, charge, voltage_v},
                                      .series_count = 1,
                                      .capacity_as = 3600.0,
                                      .charge_fraction = 1.0};
  model_finish(&model);
  struct {
    struct sb_discharge told;
    struct sb_discharge_span beyond;
  } room = {.beyond = {.index = 77}};
  struct sb_error err;
  assert_int_equal(sb_discharge_solve(&model, &room.told, &err), SB_OK);
  assert_int_equal(room.told.span_count, SB_DISCHARGE_SPAN_MAX);
  assert_int_equal(room.beyond.index, 77);
  assert_near(room.told.spans[0].from_fraction, 1.0, 0.01);
}

/* 12 V, 2 ohm and a supply of 1 ohm: 4 A at stall leave 8 V. A cut-off at just that is never undercut, however long the ramp and whatever
 * the load. */
static void a_start_down_to_the_cutoff_itself_is_not_cut(void **state)
{
  (void)state;
  static const double charge[] = {0.0, 1.0}, voltage_v[] = {12.0, 12.0};
  for (int has_ramp = 0; has_ramp < 2; has_ramp++) {
    struct sb_model model = model_two_gears("selector");
    model_set_currents(&model, 6.0, 0.0, 1.0);
    model_add_constant(&model, 49.0, true);
    model.battery = (struct sb_battery){.is_present = true,
                                        .curve = {2, charge, voltage_v},
                                        .series_count = 1,
                                        .capacity_as = 3600.0,
                                        .charge_fraction = 1.0,
                                        .cutoff_v = 8.0,
                                        .cutoff_delay_s = 0.1};
    if (has_ramp) model.drive.ramp_s = 1.0;
    model_finish(&model);
    struct sb_discharge discharge;
    struct sb_error err;
    assert_int_equal(sb_discharge_solve(&model, &discharge, &err), SB_OK);
    assert_null(sb_discharge_span_at(&discharge, SB_DISCHARGE_CUT_STARTING, 0, 0.5));
    model.battery.cutoff_v = 8.0 + 1e-9;
    assert_int_equal(sb_discharge_solve(&model, &discharge, &err), SB_OK);
    assert_non_null(sb_discharge_span_at(&discharge, SB_DISCHARGE_CUT_STARTING, 0, 0.5));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(voltage_between_points_is_what_a_library_interpolates),
      cmocka_unit_test(voltage_at_points_is_exact_and_constant_beyond),
      cmocka_unit_test(every_chemistry_rises_from_empty_to_full_and_ends_above_its_cutoff),
      cmocka_unit_test(names_and_codes_of_chemistries_agree),
      cmocka_unit_test(lead_acid_voltage_follows_the_acid),
      cmocka_unit_test(lithium_curves_stay_beside_the_published_electrodes),
      cmocka_unit_test(nominal_voltages_of_the_standards_lie_on_the_curves),
      cmocka_unit_test(battery_sags_as_in_the_worked_example),
      cmocka_unit_test(resistance_from_two_readings_gives_them_back),
      cmocka_unit_test(eight_cells_give_the_most_power_of_the_worked_example),
      cmocka_unit_test(sag_takes_stall_torque_but_no_speed),
      cmocka_unit_test(every_key_of_a_battery_reaches_the_model),
      cmocka_unit_test(points_make_a_curve_and_defaults_follow),
      cmocka_unit_test(cutoff_of_the_chemistry_counts_for_each_cell),
      cmocka_unit_test(spans_over_the_discharge_agree_with_a_plain_scan_of_the_charge),
      cmocka_unit_test(ends_of_spans_are_exact),
      cmocka_unit_test(a_start_is_cut_below_the_charge_at_which_its_current_outlasts_the_delay),
      cmocka_unit_test(a_start_with_a_held_current_is_cut_where_runs_are),
      cmocka_unit_test(a_start_with_less_than_full_duty_is_not_foretold_to_be_cut),
      cmocka_unit_test(a_discharge_ends_where_the_highest_gear_or_a_start_cuts_the_drive_out),
      cmocka_unit_test(charge_of_being_stuck_has_the_voltage_of_the_closed_form),
      cmocka_unit_test(runs_just_above_and_below_the_charge_differ_as_foretold),
      cmocka_unit_test(of_more_spans_than_there_is_room_for_the_first_are_told),
      cmocka_unit_test(a_start_down_to_the_cutoff_itself_is_not_cut),
  };
  return cmocka_run_group_tests_name("battery", tests, place_in_tests, NULL);
}
