// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The motion as a power series against problems with closed forms, over one stretch and over long runs, through models as a
 * scenario has them.
 *
 * Published problems that a machine of ours can be: y' = -y (A1 of DETEST: T. E. Hull, W. H. Enright, B. M. Fellen, A. E.
 * Sedgwick, Comparing Numerical Methods for Ordinary Differential Equations, SIAM J. Numer. Anal. 9(4), 1972; problem names from
 * memory) and v' = 2 - 0.02 v^2, 10 tanh(0.2 t), a vehicle with drag. Of Jorba and Zou's y' = y^2 its mirror y' = -y^2 is a
 * fan that runs down. Left out: A2 (a cube), A3 (a product with time), A4 and y' = y^2 (a resistance that pushes), B1, B3, B5, E2
 * and Lorenz's equations (products of states), B2 (three bodies in a row). The pendulum (elliptic functions) stands in for them:
 * its series has the sine of an angle.
 */
#include "sim/motion.h"

#include <float.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <gsl/gsl_sf_elljac.h>

#include "help/driven.h"
#include "sim/stretch.h"

/* One gear without loss, the drive off throughout: the motor is a flywheel, 0.5 kg m^2 at the output. */
static const double off_s[] = {0.0}, off[] = {SB_COMMAND_STOP};

static const double output_inertia = 1.5, whole_inertia = 2.0;

static struct sb_model flywheel(double initial_rad_s)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, 100.0, 1.0, 0.5 / 4.0);
  model_add_gear(&model, 2.0, 1.0, false);
  model.load.inertia_kg_m2 = output_inertia;
  model.run.initial_output_speed_rad_s = initial_rad_s;
  model.drive.off = SB_OFF_COAST;
  model.drive.schedule = (struct sb_table){1, off_s, off};
  model.drive.period_s = model.control.sample_period_s = 0.1;
  return model;
}

/* A closed form: speed and angle of the output at a time. */
struct closed {
  double speed, angle;
};

typedef struct closed closed_form(double time_s);

/* Values within one stretch, which may turn out shorter than was asked for. A Horner sum errs by some units in the last place of the
 * greatest value. */
static void expect_stretch(struct sb_model *model, double length_s, closed_form *form)
{
  static const double limit = 16.0 * DBL_EPSILON;
  struct sb_sim sim;
  struct sb_error err = {0};
  struct sb_motion motion;
  model_finish(model);
  assert_int_equal(sb_sim_init(&sim, model, 0, &err), SB_OK);
  sb_motion_build(&sim, length_s, &motion);
  assert_true(motion.length_s > 0.0 && motion.length_s <= length_s);
  assert_true(motion.degree <= SB_SERIES_DEGREE_MAX);
  print_message("asked %g s: %g s at degree %d\n", length_s, motion.length_s, motion.degree);
  const struct closed first = form(0.0), last = form(motion.length_s);
  const double speed = fmax(fabs(first.speed), fabs(last.speed));
  const double angle = fmax(fabs(first.angle), fabs(last.angle)) + speed * motion.length_s;
  for (int i = 0; i <= 16; i++) {
    const double s = i / 16.0;
    const struct closed want = form(s * motion.length_s);
    assert_near(sb_series_at(&motion.w, motion.degree, s), want.speed, limit * speed);
    assert_near(sb_series_at(&motion.angle, motion.degree, s), want.angle, limit * angle);
    assert_near(2.0 * sb_series_at(&motion.w, motion.degree, s), sb_series_at(&motion.x, motion.degree, s),
                limit * 2.0 * speed);
  }
  sb_sim_clear(&sim);
}

/* The end of a run; limits are shares of the scales given. */
static void expect_run(struct sb_model *model, double end_s, closed_form *form, double speed_limit, double angle_limit)
{
  model_finish(model);
  const struct driven got = drive(model, 0, NULL, 0, end_s);
  const struct closed want = form(end_s);
  assert_near(got.state.output_speed_rad_s, want.speed, speed_limit);
  assert_near(got.state.output_angle_rad, want.angle, angle_limit);
}

/* Run-down ------------------------------------------------------------------------------------------------------------- */

static struct closed decay(double t)
{
  return (struct closed){exp(-t), -expm1(-t)};
}

/* y(20) = 2.061153622438558e-9 */
static void a_viscous_run_down_is_the_exponential(void **state)
{
  (void)state;
  struct sb_model model = flywheel(1.0);
  model_add_viscous(&model, whole_inertia);
  expect_stretch(&model, 0.1, decay);
  expect_stretch(&model, 5.0, decay);
  assert_near_rel(decay(20.0).speed, 2.061153622438558e-9, 1e-15);
  expect_run(&model, 20.0, decay, 1e-13 * 2.06e-9, 1e-14); /* 200 stretches, each some roundings of what is left */
}

static struct closed hyperbola(double t)
{
  return (struct closed){3.0 / (1.0 + 3.0 * t), log1p(3.0 * t)};
}

/* y' = -y^2, y(0) = 3: 3 / (1 + 3 t); the series' radius is 1/3 s, so a stretch asked for 2 s must come out shorter. */
static void a_fan_that_runs_down_is_the_hyperbola(void **state)
{
  (void)state;
  struct sb_model model = flywheel(3.0);
  model_add_quadratic(&model, whole_inertia);
  expect_stretch(&model, 0.02, hyperbola);
  expect_stretch(&model, 2.0, hyperbola);
  expect_run(&model, 10.0, hyperbola, 1e-14, 1e-13);
  expect_run(&model, 0.2, hyperbola, 1e-14, 1e-13);
}

/* Drag ----------------------------------------------------------------------------------------------------------------- */

static struct closed tanh_form(double t)
{
  const double sine = sinh(0.2 * t);
  return (struct closed){10.0 * tanh(0.2 * t), 25.0 * log1p(sine * sine)}; /* 50 ln cosh(0.2 t) */
}

/* v' = 2 - 0.02 v^2 is a vehicle of wheels of 1 m that rolls down a hill of 30 %; v(5) = 7.61594155955764888, v(20) =
 * 9.99329299739067044 (recomputed: 10 tanh(0.2 t)). Rotor and wheels count as mass. */
static void a_vehicle_with_drag_rolls_down_as_the_hyperbolic_tangent(void **state)
{
  (void)state;
  static double column[4096];
  struct sb_model model = flywheel(0.0);
  const double mass_kg = 10.0, all_kg = mass_kg + whole_inertia, sine = 0.3 / sqrt(1.0 + 0.3 * 0.3);
  struct sb_body body = {.ops = sb_body_kind_find("vehicle")};
  body.as.vehicle = (struct sb_vehicle){.gravity_m_s2 = 2.0 * all_kg / (mass_kg * sine),
                                        .mass_kg = mass_kg,
                                        .wheel_radius_m = 1.0,
                                        .driven_share = 1.0,
                                        .grade_fraction = -0.3,
                                        .air_density_kg_m3 = 1.2,
                                        .drag_area_m2 = 0.02 * all_kg / 0.6};
  struct sb_error err = {0};
  assert_int_equal(sb_body_lower(&body, column, &model.load, &err), SB_OK);
  model.bodies[model.body_count++] = body;
  expect_stretch(&model, 0.1, tanh_form);
  expect_stretch(&model, 3.0, tanh_form);
  model_finish(&model);
  assert_near_rel(drive(&model, 0, NULL, 0, 5.0).state.output_speed_rad_s, 7.61594155955764888, 1e-14);
  assert_near_rel(drive(&model, 0, NULL, 0, 20.0).state.output_speed_rad_s, 9.99329299739067044, 1e-14);
  expect_run(&model, 200.0, tanh_form, 1e-13, 1e-13 * 2000.0);
}

/* Vehicles on slopes of k s after a way s, as many as a load has room for: each has climbed the integral of sin(atan(k s)), which is
 * (sqrt(1 + k^2 s^2) - 1) / k, by what its speed and the other's has lost. */
static void vehicles_on_as_many_roads_as_there_may_be_keep_their_energy(void **state)
{
  (void)state;
  static const double way_m[] = {0.0, 20.0}, slopes_per_m[SB_GRADE_MAX] = {0.01, 0.02, -0.005, 0.03};
  static double grades[SB_GRADE_MAX][2], columns[SB_GRADE_MAX][2];
  struct sb_model model = flywheel(5.0);
  for (int i = 0; i < SB_GRADE_MAX; i++) {
    grades[i][1] = slopes_per_m[i] * way_m[1];
    struct sb_body body = {.ops = sb_body_kind_find("vehicle")};
    body.as.vehicle = (struct sb_vehicle){.gravity_m_s2 = 9.81,
                                          .mass_kg = 1.0 + i,
                                          .wheel_radius_m = 1.0,
                                          .driven_share = 1.0,
                                          .grade = {2, way_m, grades[i]}};
    struct sb_error err = {0};
    assert_int_equal(sb_body_lower(&body, columns[i], &model.load, &err), SB_OK);
    model.bodies[model.body_count++] = body;
  }
  model_finish(&model);
  const double inertia = model.load.inertia_kg_m2 + 0.5, start_j = 0.5 * inertia * 5.0 * 5.0;
  for (double time_s = 0.2; time_s < 2.0; time_s += 0.2) {
    const struct driven at = drive(&model, 0, NULL, 0, time_s);
    const double speed = at.state.output_speed_rad_s, way = at.state.output_angle_rad;
    double lifted_j = 0.0;
    for (int i = 0; i < SB_GRADE_MAX; i++) {
      const double rise = slopes_per_m[i] * way;
      lifted_j += (1.0 + i) * 9.81 * (sqrt(1.0 + rise * rise) - 1.0) / slopes_per_m[i];
    }
    assert_true(way > 0.15 * time_s && lifted_j > 0.01);
    assert_near(0.5 * inertia * speed * speed + lifted_j, start_j, 1e-13 * start_j);
  }
}

/* Waves ---------------------------------------------------------------------------------------------------------------- */

static struct closed driven_wave(double t)
{
  /* 2 w' = -3 sin(7 t + 0.4), w(0) = 5 */
  const double p = 7.0 * t + 0.4;
  return (struct closed){5.0 + 1.5 / 7.0 * (cos(p) - cos(0.4)),
                         (5.0 - 1.5 / 7.0 * cos(0.4)) * t + 1.5 / 49.0 * (sin(p) - sin(0.4))};
}

static void a_wave_over_time_is_integrated_exactly(void **state)
{
  (void)state;
  struct sb_model model = flywheel(5.0);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 3.0, 2.0 * model_pi / 7.0)->phase_rad = 0.4;
  expect_stretch(&model, 0.1, driven_wave);
  expect_stretch(&model, 9.0, driven_wave);
  expect_run(&model, 100.0, driven_wave, 1e-13 * 5.0, 1e-13 * 500.0);
}

/* A pendulum: 2 a'' = -8 sin a, from a = 0 with speed w. Below 4 rad/s it swings, above it turns over and over. Closed form by
 * Jacobi's elliptic functions (GSL): swinging, sin(a / 2) = k sn(2 t), k = w / 4, a' = w cn; turning, sin(a / 2) = sn(w t / 2), k = 4 / w,
 * a' = w dn. */
static struct closed swinging(double t)
{
  double sn, cn, dn;
  const double w = 3.2, k = w / 4.0;
  gsl_sf_elljac_e(2.0 * t, k * k, &sn, &cn, &dn);
  const double half = asin(k * sn);
  return (struct closed){w * cn, 2.0 * half};
}

static struct closed turning(double t)
{
  double sn, cn, dn;
  const double w = 5.0, k = 4.0 / w;
  gsl_sf_elljac_e(0.5 * w * t, k * k, &sn, &cn, &dn);
  const double half =
      atan2(sn, cn); /* of the angle, but for whole turns; those by the mean speed pi w / (2 K), K = K(0.8) */
  const double about = 0.5 * t * model_pi * w / (2.0 * 1.99530277766474);
  return (struct closed){w * dn, 2.0 * (half + 2.0 * model_pi * round((about - half) / (2.0 * model_pi)))};
}

static struct sb_model pendulum(double initial_rad_s)
{
  struct sb_model model = flywheel(initial_rad_s);
  model_add_sine(&model, SB_OVER_TURNS, false, 0.0, 8.0, 2.0 * model_pi);
  return model;
}

/* GSL's elliptic functions are good to 1e-13 here (against 40 digits). Each stretch of 0.1 s rounds speed and angle, which moves the
 * energy; what errs in energy grows with time in phase. */
static void a_pendulum_swings_as_elliptic_functions_do(void **state)
{
  (void)state;
  struct sb_model model = pendulum(3.2);
  expect_stretch(&model, 0.1, swinging);
  expect_stretch(&model, 0.8, swinging); /* before it turns back, at 0.998 s */
  expect_run(&model, 1.5, swinging, 1e-14 * 3.2, 1e-14);
  expect_run(&model, 200.0, swinging, 1e-11, 1e-11);
}

/* At 800 rad the angle itself rounds to 1.1e-13 rad: 2800 such roundings of the place, 8 N m each, add up to 6e-12 J by
 * chance, 6e-13 rad/s; 1e-10 rad in 200 s. */
static void a_pendulum_turns_over_as_elliptic_functions_do(void **state)
{
  (void)state;
  struct sb_model model = pendulum(5.0);
  expect_stretch(&model, 0.1, turning);
  expect_stretch(&model, 1.5, turning);
  expect_run(&model, 10.0, turning, 1e-12, 1e-12);
  expect_run(&model, 200.0, turning, 1e-9, 1e-9);
}

static struct closed harmonic(double t)
{
  /* 2 a'' = -18 a */
  return (struct closed){2.0 * cos(3.0 * t), 2.0 / 3.0 * sin(3.0 * t)};
}

/* A torque in proportion to the angle, from a table over turns. */
static void a_torque_over_the_angle_swings_harmonically(void **state)
{
  (void)state;
  static const double rad[] = {-4.0, 4.0}, nm[] = {-72.0, 72.0};
  struct sb_model model = flywheel(2.0);
  model_add_profile(&model, SB_OVER_TURNS, false, 2, rad, nm);
  expect_stretch(&model, 0.1, harmonic);
  expect_stretch(&model, 0.5, harmonic);
  expect_run(&model, 100.0, harmonic, 1e-12, 1e-12);
}

/* Shafts --------------------------------------------------------------------------------------------------------------- */

/* Motor 0.5 and load 1.5 kg m^2 at the output, Jred 0.375; twist'' = -(k twist + c twist') / Jred + TL / Jo. */
static double twist_at(double t, double stiffness, double damping, double load_nm)
{
  const double reduced = 0.5 * output_inertia / whole_inertia, fall = 0.5 * damping / reduced;
  const double swing = sqrt(stiffness / reduced - fall * fall), rest = load_nm / output_inertia * reduced / stiffness;
  return rest * (1.0 - exp(-fall * t) * (cos(swing * t) + fall / swing * sin(swing * t)));
}

/* A torque that comes at once winds the shaft, which swings about what it holds. Speeds of 50 rad/s round their difference, the
 * twist's rate, by 7e-15 of some 0.03 rad/s: 1e-12 of the twist over a few swings, more by the root of their number over 1000. */
static void a_shaft_that_gives_swings_about_the_torque_it_bears(void **state)
{
  (void)state;
  static const struct {
    double damping, end_s, limit;
  } cases[] = {{0.0, 0.5, 1e-12}, {0.0, 100.0, 1e-10}, {1.5, 0.5, 1e-12}, {1.5, 3.0, 1e-12}, {20.0, 0.5, 1e-12}};
  const double load_nm = 3.0, reduced = 0.5 * output_inertia / whole_inertia, swing = 2.0 * model_pi * 10.0,
               stiffness = reduced * swing * swing;
  for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
    struct sb_model model = flywheel(50.0);
    model_add_constant(&model, load_nm, false);
    model.driveshaft =
        (struct sb_driveshaft){.is_present = true, .stiffness_nm_rad = stiffness, .damping_nms_rad = cases[i].damping};
    if (cases[i].end_s > 20.0) model.run.initial_output_speed_rad_s = 400.0;
    model_finish(&model);
    const struct driven got = drive(&model, 0, NULL, 0, cases[i].end_s);
    const double rest = load_nm / output_inertia * reduced / stiffness;
    assert_near(got.state.twist.twist_rad, twist_at(cases[i].end_s, stiffness, cases[i].damping, load_nm),
                cases[i].limit * rest);
    /* The common centre slows down under the load: (Jm x + Jo W) / J. */
    const double centre =
        (0.5 * 0.5 * got.state.motor_speed_rad_s + output_inertia * got.state.output_speed_rad_s) / whole_inertia;
    assert_near_rel(centre, model.run.initial_output_speed_rad_s - load_nm / whole_inertia * cases[i].end_s, 1e-13);
  }
}

/* Standstill ------------------------------------------------------------------------------------------------------------- */

/* What acts on a load that is held, from a corner of the load on that lies at a time and a place. */
static void expect_waves(int count, double time_s, double angle_rad)
{
  struct sb_model model = flywheel(0.0);
  model.load.breakaway_nm = 1000.0;
  for (int i = 0; i < count; i++) model_add_sine(&model, SB_OVER_TIME, false, 0.5, 3.0, 1.0 + 0.1 * i);
  model_finish(&model);
  struct sb_sim sim;
  struct sb_error err = {0};
  struct sb_motion motion = {.degree = 0};
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  struct sb_state state = sim.state;
  state.time_s = state.load_time_s = time_s;
  state.output_angle_rad = state.load_angle_rad = angle_rad;
  sb_sim_restore(&sim, &state);
  assert_int_equal(sim.state.output_direction, 0);
  sb_motion_build(&sim, 0.1, &motion);
  for (int k = 0; k <= 16; k++) {
    double want_nm = 0.5 * count;
    for (int i = 0; i < count; i++)
      want_nm += 3.0 * sin(2.0 * model_pi / (1.0 + 0.1 * i) * (time_s + motion.length_s * k / 16.0));
    for (int side = 0; side < 2; side++)
      assert_near(sb_series_at(&motion.acting[side], motion.degree, k / 16.0), want_nm, 2e-15 * 3.5 * count);
  }
  sb_sim_clear(&sim);
}

/* A sine that begins at zero has no even terms. Of waves a load can have as many as parts. */
static void waves_at_standstill_are_sines_of_time(void **state)
{
  (void)state;
  expect_waves(1, 0.0, 0.0);
  expect_waves(SB_LOAD_PART_MAX, 0.25, 0.2);
}

/* Everything at once, long ----------------------------------------------------------------------------------------------- */

/* Output speed and angle, motor speed (at the output) and twist, with a wave over turns, drag, and a line motor. */
enum { SPEED, ANGLE, MOTOR, TWIST, DIMENSION };

static const double stall_nm = 1.0, no_load_rad_s = 100.0, k_nm = 900.0, c_nm = 0.9, fan = 2e-4, wave_nm = 0.4,
                    tooth_rad = 1.3;

static int rates(double t, const double y[], double rate[], void *unused)
{
  (void)t, (void)unused;
  const double shaft = k_nm * y[TWIST] + c_nm * (y[MOTOR] - y[SPEED]);
  const double load = fan * y[SPEED] * fabs(y[SPEED]) + 0.5 + wave_nm * sin(2.0 * model_pi * y[ANGLE] / tooth_rad);
  const double motor = 2.0 * stall_nm * (1.0 - 2.0 * y[MOTOR] / no_load_rad_s);
  rate[SPEED] = (shaft - load) / output_inertia;
  rate[ANGLE] = y[SPEED];
  rate[MOTOR] = (motor - shaft) / 0.5;
  rate[TWIST] = y[MOTOR] - y[SPEED];
  return GSL_SUCCESS;
}

/* 60 s of a machine with a shaft, a fan and a wave over turns against GSL's rk8pd at 1e-13 a step: 3e5 steps of it may err by
 * 1e-10 together, of speeds of 40 rad/s and angles of 2000 rad. */
static void a_long_run_with_a_shaft_a_fan_and_a_wave_agrees_with_another_method(void **state)
{
  (void)state;
  struct sb_model model = flywheel(5.0);
  model.drive.schedule = (struct sb_table){0, NULL, NULL};
  model_add_quadratic(&model, fan);
  model_add_constant(&model, 0.5, true);
  model_add_sine(&model, SB_OVER_TURNS, false, 0.0, wave_nm, tooth_rad);
  model.driveshaft = (struct sb_driveshaft){.is_present = true, .stiffness_nm_rad = k_nm, .damping_nms_rad = c_nm};
  model_finish(&model);
  gsl_odeiv2_system system = {rates, NULL, DIMENSION, NULL};
  gsl_odeiv2_driver *other = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-3, 1e-13, 1e-13);
  double y[DIMENSION] = {5.0, 0.0, 5.0, 0.0}, t = 0.0;
  for (int leg = 1; leg <= 3; leg++) {
    const struct driven got = drive(&model, 0, NULL, 0, 20.0 * leg);
    assert_int_equal(gsl_odeiv2_driver_apply(other, &t, 20.0 * leg, y), GSL_SUCCESS);
    assert_near(got.state.output_speed_rad_s, y[SPEED], 1e-10 * 40.0);
    assert_near(got.state.output_angle_rad, y[ANGLE], 1e-10 * 2000.0);
    assert_near(0.5 * got.state.motor_speed_rad_s, y[MOTOR], 1e-10 * 40.0);
    assert_near(got.state.twist.twist_rad, y[TWIST], 1e-10 * 0.01);
    assert_near(sb_energy_residual_ratio(&got.sums.energy), 0.0, 1e-13);
  }
  gsl_odeiv2_driver_free(other);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_viscous_run_down_is_the_exponential),
      cmocka_unit_test(a_fan_that_runs_down_is_the_hyperbola),
      cmocka_unit_test(a_vehicle_with_drag_rolls_down_as_the_hyperbolic_tangent),
      cmocka_unit_test(vehicles_on_as_many_roads_as_there_may_be_keep_their_energy),
      cmocka_unit_test(a_wave_over_time_is_integrated_exactly),
      cmocka_unit_test(a_pendulum_swings_as_elliptic_functions_do),
      cmocka_unit_test(a_pendulum_turns_over_as_elliptic_functions_do),
      cmocka_unit_test(a_torque_over_the_angle_swings_harmonically),
      cmocka_unit_test(a_shaft_that_gives_swings_about_the_torque_it_bears),
      cmocka_unit_test(a_long_run_with_a_shaft_a_fan_and_a_wave_agrees_with_another_method),
      cmocka_unit_test(waves_at_standstill_are_sines_of_time),
  };
  return cmocka_run_group_tests_name("motion", tests, NULL, NULL);
}
