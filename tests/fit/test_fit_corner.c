// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * A driver that limits the current, in logs of a bench whose motor is known: found where it is and nowhere else, and the motor's figures
 * are those of the points above the corner.
 */
#include <stdio.h>

#include "help/fit_data.h"
#include "help/models.h"
#include "shiftband/motor.h"
#include "shiftband/sim.h"

static const double limit_a = 0.55;

/* Points held by a brake at even speeds; a driver holds the current at a limit, INFINITY: it does not. */
static struct sb_log braked_points(int count, double held_a, double noise_rpm, double noise_a, double step_a,
                                   gsl_rng *rng)
{
  char text[4096];
  size_t length = (size_t)snprintf(text, sizeof text, "torque_nm,speed_rpm,current_a\n");
  for (int i = 0; i < count; i++) {
    const double w = fit_w0 * (0.15 + 0.8 * i / (count - 1));
    double amp = fmin((fit_ts * (1.0 - w / fit_w0) + fit_tf + fit_b * w) / fit_kt(), held_a);
    const double torque = fit_kt() * amp - fit_tf - fit_b * w;
    amp += gsl_ran_gaussian(rng, noise_a);
    if (step_a > 0.0) amp = step_a * nearbyint(amp / step_a);
    length += (size_t)snprintf(text + length, sizeof text - length, "%.6f,%.9g,%.9g\n", torque,
                               w / FIT_RPM + gsl_ran_gaussian(rng, noise_rpm), amp);
  }
  return fit_read("braked.csv", text, length);
}

static struct sb_fit_corner corner_of(struct sb_log *log, double *stall_a)
{
  const struct sb_fit_setup setup = fit_setup();
  struct sb_fit_result result = fit_solved(&setup, log, 1);
  const struct sb_fit_corner corner = result.origins[0].corner;
  *stall_a = result.figures[SB_FIT_STALL_CURRENT].value;
  sb_fit_result_clear(&result);
  sb_log_clear(log);
  return corner;
}

static double corner_speed(void)
{
  /* kt I = Ts (1 - w / w0) + Tf + b w */
  return (fit_ts + fit_tf - fit_kt() * limit_a) / (fit_ts / fit_w0 - fit_b);
}

static void a_corner_is_found_with_its_current(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(1);
  int found = 0;
  for (int k = 0; k < 100; k++) {
    struct sb_log log = braked_points(14, limit_a, 1.0, 0.005, k % 2 == 0 ? 0.0 : 0.01, rng);
    double stall_a;
    const struct sb_fit_corner corner = corner_of(&log, &stall_a);
    if (corner.point_count == 0) continue;
    found++;
    assert_near(corner.current_a, limit_a, 0.012);
    assert_near(corner.speed_rad_s, corner_speed(), 0.05 * fit_w0);
    assert_near_rel(stall_a, fit_is, 0.1); /* of the line, which the held points would have bent to half of it */
  }
  gsl_rng_free(rng);
  assert_true(found >= 98);
}

static void a_straight_line_has_none(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(2);
  int found = 0;
  for (int k = 0; k < 300; k++) {
    double stall_a;
    struct sb_log log = k % 3 == 0 ? fit_points_log(8 + k % 9, 1.5, 0.01, rng)
                                   : braked_points(7 + k % 11, INFINITY, 2.0, 0.01, k % 2 == 0 ? 0.0 : 0.05, rng);
    found += corner_of(&log, &stall_a).point_count > 0;
  }
  gsl_rng_free(rng);
  assert_true(found <= 1);
}

/* A spin-up under the same driver begins evenly: with the limit known from the points its inertia is the rotor's. */
static void a_spin_up_is_calculated_with_the_limit_of_the_points(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(3);
  struct sb_log logs[2];
  logs[0] = braked_points(16, limit_a, 0.2, 0.001, 0.0, rng);
  gsl_rng_free(rng);
  struct sb_model model = model_blank();
  model.motor = (struct sb_motor){.nominal_voltage_v = 12.0,
                                  .has_currents = true,
                                  .no_load_speed_rad_s = fit_w0,
                                  .stall_torque_nm = fit_ts,
                                  .stall_current_a = fit_is,
                                  .no_load_current_a = (fit_tf + fit_b * fit_w0) / fit_kt(),
                                  .rotor_inertia_kg_m2 = fit_j};
  model.supply = (struct sb_supply){.open_circuit_voltage_v = 12.0, .current_limit_a = limit_a};
  model_add_gear(&model, 1.0, 1.0, true);
  model.load.inertia_kg_m2 = 1e-12;
  model_finish(&model);
  char text[1 << 14];
  size_t length = (size_t)snprintf(text, sizeof text, "time_s,speed_rpm\n");
  struct sb_sim sim;
  struct sb_error err;
  assert_int_equal(sb_sim_init(&sim, &model, 0, &err), SB_OK);
  for (int i = 0; i < 160; i++) {
    if (i > 10) assert_int_equal(sb_sim_advance(&sim, i - 10, &err), SB_OK);
    length += (size_t)snprintf(text + length, sizeof text - length, "%.4f,%.9g\n", 1e-3 * i,
                               sim.state.motor_speed_rad_s / FIT_RPM);
  }
  sb_sim_clear(&sim);
  logs[1] = fit_read("spin.csv", text, length);
  struct sb_fit_setup setup = fit_setup();
  setup.nominal_voltage_v = 12.0;
  struct sb_fit_result result = fit_solved(&setup, logs, 2);
  assert_true(result.origins[0].corner.point_count > 3);
  char *section = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&section, &size);
  assert_int_equal(sb_fit_write_section(&result, logs, out), 0);
  fclose(out);
  assert_non_null(strstr(section, "drive:\n  current_limit: 0.5"));
  free(section);
  assert_near_rel(result.figures[SB_FIT_ROTOR_INERTIA].value, fit_j, 0.02);
  assert_near_rel(result.figures[SB_FIT_NO_LOAD_SPEED].value, fit_w0, 0.005);
  sb_fit_result_clear(&result);
  for (int k = 0; k < 2; k++) sb_log_clear(&logs[k]);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_corner_is_found_with_its_current),
      cmocka_unit_test(a_straight_line_has_none),
      cmocka_unit_test(a_spin_up_is_calculated_with_the_limit_of_the_points),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
