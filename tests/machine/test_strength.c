// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Strength of shafts and teeth: worked examples of textbooks, and for square and hexagon the torsion problem itself.
 */
#include <gsl/gsl_const_mksa.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_math.h>
#include <gsl/gsl_multifit.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "help/place.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/strength.h"

static const double rounding = 4e-15; /* relative; some ten roundings of a double */
static const double pound_inch = 4.4482216152605 * 0.0254;

static struct sb_scenario scenario; /* large, hence not on the stack */

static struct sb_shaft shaft_of(enum sb_shaft_section section, double size_m, double inner_m, double shear_pa)
{
  return (struct sb_shaft){.section = section, .size_m = size_m, .inner_m = inner_m, .shear_pa = shear_pa, .safety = 1};
}

/* E. P. Popov, Engineering Mechanics of Solids, example 4.2: 30 N m on 10 mm make 152.87 MPa, printed with pi as 3.14;
 * recomputed 152.789 MPa, hence half a unit of its last digit. */
static void a_round_shaft_is_stressed_as_in_popovs_example(void **state)
{
  (void)state;
  const struct sb_shaft shaft = shaft_of(SB_SHAFT_ROUND, 0.01, 0.0, 1.0);
  assert_near(30.0 / sb_strength_shaft_modulus_m3(&shaft), 152.789e6, 500.0);
  assert_near_rel(30.0 / sb_strength_shaft_modulus_m3(&shaft), 152.87e6, 1.0 - 3.14 / M_PI + 5e-5);
}

/* J. M. Gere, Mechanics of Materials, example 3.1: 250 lbf.ft on 1.5 in make 4530 psi; recomputed 4527.07 psi. */
static void a_round_shaft_is_stressed_as_in_geres_example(void **state)
{
  (void)state;
  const struct sb_shaft shaft = shaft_of(SB_SHAFT_ROUND, 1.5 * 0.0254, 0.0, 4527.07 * SB_PSI);
  assert_near_rel(sb_strength_shaft_limit_nm(&shaft), 250.0 * 12.0 * pound_inch, 0.005 / 4527.07);
}

/* F. P. Beer, E. R. Johnston, J. T. DeWolf, Mechanics of Materials, example 3.01: 40/60 mm at 120 MPa carries
 * 4.08 kN m; recomputed 4.08407 kN m. */
static void a_hollow_shaft_carries_what_it_does_in_beers_example(void **state)
{
  (void)state;
  const struct sb_shaft shaft = shaft_of(SB_SHAFT_HOLLOW, 0.06, 0.04, 120e6);
  assert_near(sb_strength_shaft_limit_nm(&shaft), 4084.07, 0.005);
}

static void a_hollow_shaft_without_a_hole_is_round(void **state)
{
  (void)state;
  const struct sb_shaft hollow = shaft_of(SB_SHAFT_HOLLOW, 0.006, 0.0, 40e6);
  const struct sb_shaft round_one = shaft_of(SB_SHAFT_ROUND, 0.006, 0.0, 40e6);
  assert_near_rel(sb_strength_shaft_limit_nm(&hollow), sb_strength_shaft_limit_nm(&round_one), rounding);
  /* A thin wall: T = 2 pi r^2 t tau, wrong by the order of t / r (Bredt). */
  const struct sb_shaft thin = shaft_of(SB_SHAFT_HOLLOW, 0.1001, 0.0999, 40e6);
  assert_near_rel(sb_strength_shaft_limit_nm(&thin), 2.0 * M_PI * 0.05 * 0.05 * 1e-4 * 40e6, 2e-3);
}

/*
 * Torsion of a regular polygon, solved: Prandtl's stress function p has laplacian -2 (per G theta) inside and 0 at the
 * edge; T = 2 integral of p dA, and the greatest shear stress is its slope at the middle of a side. Here p = -r^2 / 2
 * plus harmonics c_k (r / R)^(n k) cos(n k phi) with the polygon's symmetry (R: to a corner), fitted to 0 along the
 * edge. What remains at the edge bounds the error of p inside, by the maximum principle.
 */
enum { HARMONICS = 24, EDGE_POINTS = 400 };

struct polygon {
  int sides;
  double corner; /* R, with the middle of a side at distance 1 */
  double c[HARMONICS];
};

static double edge_radius(double phi)
{
  return 1.0 / cos(phi);
}

static double harmonic(const struct polygon *polygon, int k, double r, double phi)
{
  const double order = (double)(polygon->sides * k);
  return pow(r / polygon->corner, order) * cos(order * phi);
}

/* Fits the harmonics; returns the greatest |p| left at the edge. */
static double solve_polygon(struct polygon *polygon, int sides)
{
  polygon->sides = sides;
  polygon->corner = edge_radius(M_PI / sides);
  gsl_matrix *a = gsl_matrix_alloc(EDGE_POINTS, HARMONICS);
  gsl_vector *b = gsl_vector_alloc(EDGE_POINTS), *c = gsl_vector_alloc(HARMONICS);
  gsl_matrix *cov = gsl_matrix_alloc(HARMONICS, HARMONICS);
  gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(EDGE_POINTS, HARMONICS);
  for (size_t i = 0; i < EDGE_POINTS; i++) {
    const double phi = M_PI / sides * (double)i / (EDGE_POINTS - 1), r = edge_radius(phi);
    for (int k = 0; k < HARMONICS; k++) gsl_matrix_set(a, i, (size_t)k, harmonic(polygon, k, r, phi));
    gsl_vector_set(b, i, 0.5 * r * r);
  }
  double square_sum = 0.0, greatest = 0.0;
  assert_int_equal(gsl_multifit_linear(a, b, c, cov, &square_sum, work), 0);
  for (int k = 0; k < HARMONICS; k++) polygon->c[k] = gsl_vector_get(c, (size_t)k);
  for (size_t i = 0; i < EDGE_POINTS; i++) {
    double left = -gsl_vector_get(b, i);
    for (int k = 0; k < HARMONICS; k++) left += polygon->c[k] * gsl_matrix_get(a, i, (size_t)k);
    greatest = fmax(greatest, fabs(left));
  }
  gsl_multifit_linear_free(work);
  gsl_matrix_free(cov);
  gsl_vector_free(c);
  gsl_vector_free(b);
  gsl_matrix_free(a);
  return greatest;
}

/* The integral of p r dr from the middle to the edge, in closed form. */
static double along_ray(double phi, void *context)
{
  const struct polygon *polygon = context;
  const double r = edge_radius(phi);
  double sum = -gsl_pow_4(r) / 8.0;
  for (int k = 0; k < HARMONICS; k++) {
    sum += polygon->c[k] * harmonic(polygon, k, r, phi) * r * r / (polygon->sides * k + 2);
  }
  return sum;
}

static double polygon_torque(struct polygon *polygon)
{
  const gsl_function f = {along_ray, polygon};
  double half = 0.0, error = 0.0;
  size_t calls = 0;
  assert_int_equal(gsl_integration_qng(&f, 0.0, M_PI / polygon->sides, 0.0, 1e-8, &half, &error, &calls), 0);
  return 2.0 * 2.0 * polygon->sides * half;
}

static double polygon_stress(const struct polygon *polygon)
{
  double slope = -1.0;
  for (int k = 0; k < HARMONICS; k++) {
    slope += polygon->c[k] * polygon->sides * k * pow(1.0 / polygon->corner, polygon->sides * k);
  }
  return -slope;
}

/* The moduli are recalled to three digits; the edge is met to 2e-4 of p's greatest value, about 0.5: 1 % holds both. Of the
 * torsion constants, recalled to four, half a unit of the last, and the 2e-4 that remain at the edge. */
static void square_and_hexagon_carry_and_twist_as_prandtls_stress_function_says(void **state)
{
  (void)state;
  static const struct {
    enum sb_shaft_section section;
    int sides;
  } forms[] = {{SB_SHAFT_SQUARE, 4}, {SB_SHAFT_HEXAGONAL, 6}};
  for (size_t i = 0; i < 2; i++) {
    struct polygon polygon;
    assert_true(solve_polygon(&polygon, forms[i].sides) < 1e-4);
    const struct sb_shaft shaft = shaft_of(forms[i].section, 2.0, 0.0, 1.0); /* across flats, or side: 2 */
    assert_near_rel(sb_strength_shaft_modulus_m3(&shaft), polygon_torque(&polygon) / polygon_stress(&polygon), 0.01);
    assert_near_rel(sb_strength_shaft_constant_m4(&shaft), polygon_torque(&polygon), 1e-3);
  }
}

/* The solver above against what is known without it: a square's exact series, T = 0.140577 a^4 G theta and
 * tau = 0.675314 a G theta (S. Timoshenko, J. N. Goodier, Theory of Elasticity, torsion of a rectangular bar, from
 * memory), and a polygon of 60 sides, which is all but round: T = pi / 2, tau = 1 within its distance from the circle,
 * 1 / 700. */
static void the_solver_of_polygons_agrees_with_the_series_and_the_circle(void **state)
{
  (void)state;
  struct polygon square, almost_round;
  solve_polygon(&square, 4);
  assert_near_rel(polygon_torque(&square), 0.140577 * 16.0, 1e-4);
  assert_near_rel(polygon_stress(&square), 0.675314 * 2.0, 1e-3);
  solve_polygon(&almost_round, 60);
  assert_near_rel(polygon_torque(&almost_round), M_PI / 2.0, 4.0 / 700.0);
  assert_near_rel(polygon_stress(&almost_round), 1.0, 0.05); /* the corners still stand out in its slope */
}

/* Plastics: comparison table of K-mac Plastics as printed in MPa; steel 1018, cold drawn: 370 MPa, shear 213 MPa (from
 * memory). Half a unit of the last digit. The others as strength.h names them. */
static void materials_have_the_strength_that_is_published(void **state)
{
  (void)state;
  static const struct {
    enum sb_material material;
    const char *name;
    double tensile_mpa;
  } published[] = {{SB_MATERIAL_ABS, "ABS", 44.8},       {SB_MATERIAL_NYLON, "nylon", 86.2},
                   {SB_MATERIAL_ACETAL, "acetal", 68.9}, {SB_MATERIAL_POLYCARBONATE, "polycarbonate", 72.4},
                   {SB_MATERIAL_STEEL, "steel", 370.0},  {SB_MATERIAL_PLA, "PLA", 26.0},
                   {SB_MATERIAL_PETG, "PETG", 25.0},     {SB_MATERIAL_ALUMINIUM, "aluminium", 250.0},
                   {SB_MATERIAL_BRASS, "brass", 140.0}};
  for (size_t i = 0; i < sizeof published / sizeof *published; i++) {
    assert_string_equal(sb_strength_material_name(published[i].material), published[i].name);
    assert_near(sb_strength_tensile_pa(published[i].material), published[i].tensile_mpa * 1e6, 0.05e6);
    /* Von Mises: 1 / sqrt(3), of which tables print three digits. */
    assert_near_rel(sb_strength_shear_pa(published[i].material),
                    sb_strength_tensile_pa(published[i].material) / sqrt(3.0), 1e-3);
  }
  assert_near(sb_strength_shear_pa(SB_MATERIAL_STEEL), 213e6, 0.5e6);
  assert_true(isnan(sb_strength_shear_pa(SB_MATERIAL_NONE)));
}

/*
 * Torque at first yield of a solid shaft of 8 mm, tau = yield / sqrt(3): 14.510395 N.m of 6082-T6 (250 MPa) and 8.125821 N.m
 * of soft free-cutting brass (140 MPa). Here tau is 0.577 of the yield, three digits of 1 / sqrt(3).
 */
static void metals_carry_their_torque_at_first_yield(void **state)
{
  (void)state;
  const struct {
    enum sb_material material;
    double torque_nm;
  } shafts[] = {{SB_MATERIAL_ALUMINIUM, 14.510395}, {SB_MATERIAL_BRASS, 8.125821}};
  for (size_t i = 0; i < sizeof shafts / sizeof *shafts; i++) {
    const struct sb_shaft shaft = shaft_of(SB_SHAFT_ROUND, 0.008, 0.0, sb_strength_shear_pa(shafts[i].material));
    assert_near_rel(sb_strength_shaft_limit_nm(&shaft), shafts[i].torque_nm, 1.0 - 0.577 * sqrt(3.0) + 1e-7);
  }
}

static void a_pound_per_square_inch_is_that_of_gsl(void **state)
{
  (void)state;
  assert_near_rel(SB_PSI, GSL_CONST_MKSA_PSI, 1e-11); /* GSL gives 12 digits */
  double value = 0.0;
  struct sb_error err;
  assert_int_equal(sb_units_parse("1 psi", SB_STRESS, &value, &err), SB_OK);
  assert_near_rel(value, SB_PSI, 4e-16);
  assert_int_equal(sb_units_parse("213 N/mm2", SB_STRESS, &value, &err), SB_OK);
  assert_near_rel(value, 213e6, 4e-16);
  assert_int_equal(sb_units_parse("40 MPa", SB_STRESS, &value, &err), SB_OK);
  assert_near(value, 40e6, 0.0);
}

/* J. E. Shigley, Mechanical Engineering Design, example 14-1 (from memory): pitch 8 per inch, 16 teeth of 20 degrees,
 * width 1.5 in, 10 000 psi: Y = 0.296, and with a velocity factor of 1.52 the tooth carries 365 lbf; half
 * a unit of 365. */
static void a_tooth_carries_what_it_does_in_shigleys_example(void **state)
{
  (void)state;
  const struct sb_tooth tooth = {.module_m = 0.0254 / 8.0,
                                 .width_m = 1.5 * 0.0254,
                                 .teeth = 16,
                                 .form_factor = sb_strength_tooth_form_factor(16),
                                 .bending_pa = 10000.0 * SB_PSI,
                                 .safety = 1};
  const double pitch_radius_in = 1.0;
  assert_near(sb_strength_tooth_limit_nm(&tooth) / pound_inch / pitch_radius_in / 1.52, 365.0, 0.5);
}

/* R. S. Khurmi, J. K. Gupta, Machine Design (from memory): y = 0.154 - 0.912 / z by the circular pitch, hence Y = pi y,
 * a straight line through a curve: some 8 % beside the table. */
static void form_factors_follow_the_usual_approximation(void **state)
{
  (void)state;
  for (int teeth = SB_FORM_TEETH_MIN; teeth <= 1000; teeth++) {
    assert_near_rel(sb_strength_tooth_form_factor(teeth), M_PI * (0.154 - 0.912 / teeth), 0.09);
    assert_true(sb_strength_tooth_form_factor(teeth + 1) > sb_strength_tooth_form_factor(teeth));
  }
  assert_true(isnan(sb_strength_tooth_form_factor(11)));
  assert_near(sb_strength_tooth_form_factor(1e9), 0.485, 1e-8); /* a rack */
}

/* Shigley's table 14-2, 20 degrees, full depth (from memory). Between its rows the factor is linear in 1 / teeth. */
static void form_factors_are_those_of_shigleys_table(void **state)
{
  (void)state;
  static const struct {
    int teeth;
    double factor;
  } rows[] = {{12, 0.245},  {13, 0.261},  {14, 0.277},  {15, 0.290}, {16, 0.296}, {17, 0.303}, {18, 0.309},
              {19, 0.314},  {20, 0.322},  {21, 0.328},  {22, 0.331}, {24, 0.337}, {26, 0.346}, {28, 0.353},
              {30, 0.359},  {34, 0.371},  {38, 0.384},  {43, 0.397}, {50, 0.409}, {60, 0.422}, {75, 0.435},
              {100, 0.447}, {150, 0.460}, {300, 0.472}, {400, 0.480}};
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    assert_near_rel(sb_strength_tooth_form_factor(rows[i].teeth), rows[i].factor, rounding);
  }
  /* 100 and 150 teeth: halfway lies 120. */
  assert_near_rel(sb_strength_tooth_form_factor(120), 0.5 * (0.447 + 0.460), rounding);
  /* Beyond 400, halfway to the rack: 800. */
  assert_near_rel(sb_strength_tooth_form_factor(800), 0.5 * (0.480 + 0.485), rounding);
}

static void load(const char *limits)
{
  struct sb_faults faults;
  char set[512];
  snprintf(set, sizeof set, "limits={%s}", limits);
  const char *const sets[] = {set};
  const enum sb_status status = sb_scenario_load("good/least.yaml", sets, 1, &scenario, &faults);
  if (status != SB_OK) fail_msg("%s: %s", limits, faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
}

static void assert_limit(const char *limits, double nm, const char *part)
{
  load(limits);
  assert_near_rel(scenario.model.limits.output_torque_nm, nm, rounding);
  assert_string_equal(scenario.model.output_limit, part);
  sb_scenario_clear(&scenario);
}

static const char steel_6mm[] = "shaft, round 6 mm steel, 213 MPa shear, safety 2";

static void every_section_of_a_scenario_becomes_its_torque(void **state)
{
  (void)state;
  const double steel_pa = 0.577 * 370e6;
  assert_limit("shaft: {section: round, diameter: 6 mm, material: steel}", M_PI * 2.16e-7 / 16.0 * steel_pa / 2.0,
               steel_6mm);
  assert_limit(
      "shaft: {section: hollow, outer_diameter: 60 mm, inner_diameter: 40 mm, shear_strength: 120 MPa, safety: 1}",
      M_PI * (gsl_pow_4(0.06) - gsl_pow_4(0.04)) / (16.0 * 0.06) * 120e6,
      "shaft, hollow 60/40 mm, 120 MPa shear, safety 1");
  assert_limit("shaft: {section: square, side: 0.25 in, material: nylon, safety: 4}",
               0.208 * gsl_pow_3(0.00635) * 0.577 * 12500.0 * SB_PSI / 4.0,
               "shaft, square 6.35 mm nylon, 49.7 MPa shear, safety 4");
  assert_limit("shaft: {section: hexagonal, across_flats: 8 mm, material: ABS}",
               0.188 * gsl_pow_3(0.008) * 0.577 * 6500.0 * SB_PSI / 2.0,
               "shaft, hexagonal 8 mm ABS, 25.9 MPa shear, safety 2");
}

static void a_tooth_of_a_scenario_is_that_of_the_last_driven_wheel(void **state)
{
  (void)state;
  load("");
  const struct sb_gear *gear = &scenario.model.gearbox.gears[0];
  const double teeth = gear->meshes[gear->mesh_count - 1].driven_teeth;
  sb_scenario_clear(&scenario);
  char part[SB_LIMIT_TEXT_SIZE];
  const double acetal_pa = 10000.0 * SB_PSI, factor = sb_strength_tooth_form_factor(teeth);
  snprintf(part, sizeof part,
           "tooth, %g of module 0.5 mm, 5 mm wide, acetal, 68.9 MPa bending, form factor %.3g, safety 2", teeth,
           factor);
  assert_limit("tooth: {module: 0.5 mm, width: 5 mm, material: acetal}",
               acetal_pa * 0.005 * 0.0005 * factor * 0.00025 * teeth / 2.0, part);
  assert_limit("tooth: {module: 0.5 mm, width: 5 mm, teeth: 10, bending_strength: 60 MPa, form_factor: 0.2, safety: 1}",
               60e6 * 0.005 * 0.0005 * 0.2 * 0.0025,
               "tooth, 10 of module 0.5 mm, 5 mm wide, 60 MPa bending, form factor 0.2, safety 1");
}

static void the_least_of_all_limits_rules(void **state)
{
  (void)state;
  const double shaft_nm = M_PI * 2.16e-7 / 16.0 * 0.577 * 370e6 / 2.0;
#define SHAFT "shaft: {section: round, diameter: 6 mm, material: steel}"
#define TOOTH "tooth: {module: 1 mm, width: 10 mm, teeth: 40, bending_strength: 100 MPa, form_factor: 0.4, safety: "
  assert_near(shaft_nm, 4.53, 0.005);
  assert_limit("output_torque: 3 N.m, " SHAFT, 3.0, "");
  assert_limit("output_torque: 5 N.m, " SHAFT, shaft_nm, steel_6mm);
  assert_limit("output_torque: 5 N.m, " SHAFT ", " TOOTH "1}", shaft_nm, steel_6mm); /* the tooth: 8 N.m */
  assert_limit("output_torque: 5 N.m, " SHAFT ", " TOOTH "4}", 2.0,
               "tooth, 40 of module 1 mm, 10 mm wide, 100 MPa bending, form factor 0.4, safety 4");
  load("winding: 100 C");
  assert_true(isinf(scenario.model.limits.output_torque_nm) && scenario.model.output_limit[0] == 0);
  sb_scenario_clear(&scenario);
}

/* The same run under the shaft's limit as a number and as a shaft: one verdict, and only the second names the part. */
static void an_overload_is_judged_against_the_part_and_names_it(void **state)
{
  (void)state;
  static const char *const limits[] = {"shaft: {section: round, diameter: 2 mm, shear_strength: 100 MPa}",
                                       "output_torque: 0.07853981633974483 N.m"};
  struct sb_verdict_words explained[2];
  for (int i = 0; i < 2; i++) {
    load(limits[i]);
    struct sb_run_result result;
    struct sb_error err = {.text = ""};
    const struct sb_run_options options = sb_run_options_default();
    if (sb_run(&scenario.model, &options, &result, &err) != SB_OK) fail_msg("%s", err.text);
    const struct sb_closed_form closed = sb_closed_form_solve(&scenario.model);
    const struct sb_verdict *overload = NULL;
    for (size_t k = 0; k < result.monitor.verdict_count; k++) {
      if (result.monitor.verdicts[k].kind == SB_VERDICT_OVERLOAD) overload = &result.monitor.verdicts[k];
    }
    assert_non_null(overload);
    sb_verdict_explain(overload, &scenario.model, &closed, &explained[i]);
    sb_run_result_clear(&result);
    sb_scenario_clear(&scenario);
  }
  assert_non_null(strstr(explained[1].text, " exceeds the limit of 0.0785 N.m; the weakest part"));
  assert_non_null(
      strstr(explained[0].text, " exceeds the limit of 0.0785 N.m (shaft, round 2 mm, 100 MPa shear, safety 2); the"));
  /* A stronger shaft is no single value; a torque is. */
  assert_int_equal(explained[0].cure_count, 1);
  assert_string_equal(explained[0].cures[0].key, "limits");
  assert_string_equal(explained[0].cures[0].value, "");
  assert_string_equal(explained[1].cures[0].key, "limits.output_torque");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_round_shaft_is_stressed_as_in_popovs_example),
      cmocka_unit_test(a_round_shaft_is_stressed_as_in_geres_example),
      cmocka_unit_test(a_hollow_shaft_carries_what_it_does_in_beers_example),
      cmocka_unit_test(a_hollow_shaft_without_a_hole_is_round),
      cmocka_unit_test(square_and_hexagon_carry_and_twist_as_prandtls_stress_function_says),
      cmocka_unit_test(the_solver_of_polygons_agrees_with_the_series_and_the_circle),
      cmocka_unit_test(materials_have_the_strength_that_is_published),
      cmocka_unit_test(metals_carry_their_torque_at_first_yield),
      cmocka_unit_test(a_pound_per_square_inch_is_that_of_gsl),
      cmocka_unit_test(a_tooth_carries_what_it_does_in_shigleys_example),
      cmocka_unit_test(form_factors_follow_the_usual_approximation),
      cmocka_unit_test(form_factors_are_those_of_shigleys_table),
      cmocka_unit_test(every_section_of_a_scenario_becomes_its_torque),
      cmocka_unit_test(a_tooth_of_a_scenario_is_that_of_the_last_driven_wheel),
      cmocka_unit_test(the_least_of_all_limits_rules),
      cmocka_unit_test(an_overload_is_judged_against_the_part_and_names_it),
  };
  return cmocka_run_group_tests_name("strength", tests, place_in_tests, NULL);
}
