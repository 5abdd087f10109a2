// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Runs of motors whose winding warms and whose magnets weaken, against the same machines written out as one set of equations in
 * continuous time and integrated by GSL's rk8pd (Prince-Dormand, order 8) under tolerances of 1e-12. It takes nothing from the
 * library but the given figures.
 *
 * The simulator holds resistance and magnets from tick to tick at what they will be in the middle, so it is off by an error of
 * second order in the period. Halving the period must quarter that, and what is left when it is taken off must vanish; but where a
 * driver reaches or leaves its current limit between two ticks, for there the error depends on where between them that is.
 */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <string.h>

#include "help/dice.h"
#include "help/driven.h"
#include "help/plane.h"

enum { CASE_COUNT = 200 };

#define STEP_S 1e-3
#define COMMAND_S 1.0
#define TRAVEL_S 0.064
#define END_S 2.56

/* The right-hand side ----------------------------------------------------------------------------------------------------- */

enum { MOTOR, OUTPUT, ANGLE, WINDING, HOUSING, DRAWN, DIMENSION }; /* rad/s, rad/s, rad, deg C, deg C, A s */

struct machine {
  const struct sb_model *model;
  int gear;       /* index; -1: in neutral */
  bool is_driven; /* the circuit is closed */
};

/* What the winding carries, and what it and the supply make of it. */
struct circuit {
  double current_a, ohm, torque_nm, drawn_a; /* torque before friction; drawn: from the supply */
};

/* The duty at which the motor's voltages need so much of the supply's under its sag, Ri I d^2 - Voc d + motor_v = 0. */
static double chopped_duty(const struct sb_supply *supply, double current_a, double motor_v)
{
  const double open_v = supply->open_circuit_voltage_v;
  return 2.0 * motor_v / (open_v + sqrt(open_v * open_v - 4.0 * supply->internal_resistance_ohm * current_a * motor_v));
}

/* Kirchhoff's voltages with the warm winding and the weak magnets; a driver may hold the current at its limit. */
static struct circuit circuit_of(const struct machine *m, const double y[])
{
  const struct sb_motor *motor = &m->model->motor;
  const struct sb_winding *heat = &m->model->winding;
  const struct sb_magnet *magnet = &m->model->magnet;
  const struct sb_supply *supply = &m->model->supply;
  const double cold_ohm = motor->nominal_voltage_v / motor->stall_current_a;
  const double kt = motor->stall_torque_nm / (motor->stall_current_a - motor->no_load_current_a);
  const double ke = (motor->nominal_voltage_v - motor->no_load_current_a * cold_ohm) / motor->no_load_speed_rad_s;
  const double magnet_c = heat->housing_capacity_j_k > 0.0 ? y[HOUSING] : y[WINDING];
  const double left = 1.0 + magnet->per_k * (magnet_c - heat->reference_c);
  const double u = m->model->drive.limit_fraction, limit_a = supply->current_limit_a;
  struct circuit out = {.ohm = cold_ohm * (1.0 + 0.00393 * (y[WINDING] - 20.0)) /
                               (1.0 + 0.00393 * (heat->reference_c - 20.0))};
  if (!m->is_driven) return out;
  out.current_a =
      (u * supply->open_circuit_voltage_v - left * ke * y[MOTOR]) / (out.ohm + u * u * supply->internal_resistance_ohm);
  double duty = u;
  if (limit_a > 0.0 && fabs(out.current_a) > limit_a) {
    out.current_a = copysign(limit_a, out.current_a);
    duty = chopped_duty(supply, out.current_a, left * ke * y[MOTOR] + out.current_a * out.ohm);
  }
  out.torque_nm = left * kt * out.current_a;
  out.drawn_a = duty * out.current_a;
  return out;
}

static double friction_of(const struct sb_motor *motor)
{
  return motor->stall_torque_nm / (motor->stall_current_a - motor->no_load_current_a) * motor->no_load_current_a;
}

/* A constant torque that opposes, and a viscous one. */
static double load_of(const struct sb_model *model, const double y[])
{
  return model->load.parts[0].torque_nm + model->load.parts[1].viscous_nms_rad * y[OUTPUT];
}

/* Driving or overrun by the power at the output, as the motion without the loss has it: its sign is that of this one. */
static void move(const struct machine *m, const double y[], double torque_nm, double dydt[])
{
  const struct sb_model *model = m->model;
  const double jm = model->motor.rotor_inertia_kg_m2, jo = model->load.inertia_kg_m2, load_nm = load_of(model, y);
  const double net_nm = torque_nm - friction_of(&model->motor);
  if (m->gear < 0) {
    dydt[MOTOR] = net_nm / jm;
    dydt[OUTPUT] = -load_nm / jo;
    return;
  }
  const struct sb_mesh *mesh = &model->gearbox.gears[m->gear].meshes[0];
  const double n = mesh->driven_teeth / mesh->driver_teeth;
  const double inverse = net_nm * jo / n + jm * load_nm >= 0.0 ? 1.0 / mesh->efficiency : mesh->efficiency;
  dydt[MOTOR] = (net_nm - load_nm * inverse / n) / (jm + jo * inverse / (n * n));
  dydt[OUTPUT] = dydt[MOTOR] / n;
}

static int rates(double t, const double y[], double dydt[], void *params)
{
  (void)t;
  const struct machine *m = params;
  const struct sb_winding *heat = &m->model->winding;
  const struct circuit at = circuit_of(m, y);
  const bool has_housing = heat->housing_capacity_j_k > 0.0;
  const double flow_w = (y[WINDING] - (has_housing ? y[HOUSING] : heat->ambient_c)) / heat->resistance_k_w;
  move(m, y, at.torque_nm, dydt);
  dydt[ANGLE] = y[OUTPUT];
  dydt[WINDING] = (at.current_a * at.current_a * at.ohm - flow_w) / heat->capacity_j_k;
  dydt[HOUSING] = has_housing ? (flow_w - (y[HOUSING] - heat->ambient_c) / heat->housing_resistance_k_w) /
                                    heat->housing_capacity_j_k
                              : 0.0;
  dydt[DRAWN] = at.drawn_a;
  return GSL_SUCCESS;
}

static void integrate(struct machine *m, double from_s, double to_s, double y[])
{
  gsl_odeiv2_system system = {rates, NULL, DIMENSION, m};
  gsl_odeiv2_driver *driver = gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_rk8pd, 1e-4, 1e-12, 1e-12);
  assert_int_equal(gsl_odeiv2_driver_apply(driver, &from_s, to_s, y), GSL_SUCCESS);
  gsl_odeiv2_driver_free(driver);
  assert_true(y[MOTOR] > 0.0 && y[OUTPUT] > 0.0); /* no standstill: this right-hand side has none */
}

/* Motor and output keep their angular impulse about the new gear. */
static void join(const struct sb_model *model, int gear, double y[])
{
  const double n =
      model->gearbox.gears[gear].meshes[0].driven_teeth / model->gearbox.gears[gear].meshes[0].driver_teeth;
  const double jm = model->motor.rotor_inertia_kg_m2, jo = model->load.inertia_kg_m2;
  y[MOTOR] = (jm * y[MOTOR] + jo / n * y[OUTPUT]) / (jm + jo / (n * n));
  y[OUTPUT] = y[MOTOR] / n;
}

static void follow(const struct sb_model *model, int gear, double y[DIMENSION])
{
  struct machine m = {model, gear, true};
  integrate(&m, 0.0, COMMAND_S, y);
  m = (struct machine){model, -1, !model->shifter.is_drive_cut};
  integrate(&m, COMMAND_S, COMMAND_S + TRAVEL_S, y);
  join(model, 1 - gear, y);
  m = (struct machine){model, 1 - gear, true};
  integrate(&m, COMMAND_S + TRAVEL_S, END_S, y);
}

/* Random machines ----------------------------------------------------------------------------------------------------------- */

/* Its loss at stall would warm the winding by 50 to 400 K within the run. */
static void choose_heat(gsl_rng *rng, struct sb_model *model)
{
  const double stall_w = model->motor.nominal_voltage_v * model->motor.stall_current_a;
  model_set_winding(model, stall_w * END_S / plane_between_log(rng, 50.0, 400.0),
                    plane_between(rng, 50.0, 400.0) / stall_w);
  if (plane_chance(rng, 0.6)) {
    model_add_housing(model, model->winding.capacity_j_k * plane_between_log(rng, 0.3, 5.0),
                      model->winding.resistance_k_w * plane_between(rng, 0.5, 3.0));
  }
  model->winding.ambient_c = plane_between(rng, -20.0, 40.0);
  model->winding.reference_c = plane_between(rng, 15.0, 30.0);
  model->winding.start_c = model->winding.ambient_c + plane_between(rng, 0.0, 80.0);
  model->winding.housing_start_c = model->winding.ambient_c + plane_between(rng, 0.0, 60.0);
  model->magnet = (struct sb_magnet){
      .is_present = true, .per_k = -plane_between(rng, 0.0002, 0.003), .reference_c = model->winding.reference_c};
}

static struct sb_model random_model(gsl_rng *rng)
{
  struct sb_model model = model_blank();
  const double no_load_rad_s = plane_between(rng, 20.0, 60.0), stall_nm = plane_between_log(rng, 0.1, 1.0);
  const double slow = plane_between(rng, 6.0, 14.0), efficiency = plane_between(rng, 0.8, 1.0);
  model_set_line_motor(&model, no_load_rad_s, stall_nm, 0.05 * stall_nm / no_load_rad_s);
  const double stall_a = plane_between(rng, 1.0, 1.2) * stall_nm * no_load_rad_s / 12.0;
  model_set_currents(&model, stall_a, plane_between(rng, 0.02, 0.08) * stall_a,
                     12.0 / stall_a * plane_between(rng, 0.0, 0.2));
  model_add_gear(&model, slow, efficiency, false);
  model_add_gear(&model, slow / plane_between(rng, 1.5, 3.0), efficiency, false);
  model_drive_forward(&model);
  model.shifter.travel_time_s = TRAVEL_S;
  model.shifter.is_drive_cut = plane_chance(rng, 0.5);
  model.load.inertia_kg_m2 = model.motor.rotor_inertia_kg_m2 * slow * slow * plane_between(rng, 1.0, 4.0);
  const double fast_nm = stall_nm * model.gearbox.gears[1].meshes[0].driven_teeth / 10.0;
  model_add_constant(&model, fast_nm * plane_between(rng, 0.02, 0.3), true);
  model_add_viscous(&model, 0.2 * fast_nm * slow / no_load_rad_s * plane_between(rng, 0.0, 1.0));
  if (plane_chance(rng, 0.5)) model.drive.limit_fraction = plane_between(rng, 0.7, 1.0);
  if (plane_chance(rng, 0.5)) model.supply.current_limit_a = plane_between(rng, 0.4, 0.9) * stall_a;
  choose_heat(rng, &model);
  model.run = (struct sb_run_setup){.duration_s = END_S, .step_s = STEP_S, .trace_interval_s = STEP_S};
  model_finish(&model);
  return model;
}

static void run_at(struct sb_model model, double period_s, int gear, double y[DIMENSION])
{
  const struct oracle_command command = {COMMAND_S, 1 - gear};
  model.drive.period_s = period_s;
  const struct driven end = drive(&model, gear, &command, 1, END_S);
  const double got[] = {end.state.motor_speed_rad_s,     end.state.output_speed_rad_s,
                        end.state.output_angle_rad,      end.state.feed.warmth.winding_c,
                        end.state.feed.warmth.housing_c, end.sums.energy.given / end.state.feed.voltage_v};
  memcpy(y, got, sizeof got);
  assert_true(sb_energy_residual_ratio(&end.sums.energy) < 1e-12);
  assert_near(end.row.magnet_c, model.winding.housing_capacity_j_k > 0.0 ? got[HOUSING] : got[WINDING], 0.0);
}

/* Of what moves during the run, each by its own size. */
static void random_machines_agree_with_one_set_of_equations(void **state)
{
  (void)state;
  gsl_rng *rng = dice_of(2612);
  double worst_tick = 0.0, worst_left = 0.0, weakest = 1.0;
  int limited = 0;
  for (int i = 0; i < CASE_COUNT; i++) {
    const struct sb_model model = random_model(rng);
    const int gear = plane_chance(rng, 0.5);
    double want[DIMENSION] = {[WINDING] = model.winding.start_c, [HOUSING] = model.winding.housing_start_c};
    double coarse[DIMENSION], fine[DIMENSION];
    if (!(model.winding.housing_capacity_j_k > 0.0)) want[HOUSING] = model.winding.ambient_c;
    follow(&model, gear, want);
    run_at(model, 4.0 * STEP_S, gear, coarse);
    run_at(model, 2.0 * STEP_S, gear, fine);
    for (int k = 0; k < DIMENSION; k++) {
      const double size = k == WINDING || k == HOUSING ? 100.0 : fabs(want[k]);
      const double best = fine[k] + (fine[k] - coarse[k]) / 3.0;
      worst_tick = fmax(worst_tick, fabs(fine[k] - want[k]) / size);
      if (!(model.supply.current_limit_a > 0.0)) worst_left = fmax(worst_left, fabs(best - want[k]) / size);
    }
    const double magnet_c = model.winding.housing_capacity_j_k > 0.0 ? want[HOUSING] : want[WINDING];
    limited += model.supply.current_limit_a > 0.0;
    weakest = fmin(weakest, 1.0 + model.magnet.per_k * (magnet_c - model.winding.reference_c));
  }
  gsl_rng_free(rng);
  print_message(
      "%d machines: off by %.2e at 2 ms, without the tick's error by %.2e; %d with a current limit; the weakest "
      "magnet has %.3g left\n",
      CASE_COUNT, worst_tick, worst_left, limited, weakest);
  assert_near(worst_tick, 0.0, 4e-7); /* of 100 K and of what moved; the tick is a 20th of the shortest time constant */
  assert_near(worst_left, 0.0, 2e-9); /* what is left is of third order */
  assert_true(weakest < 0.9 && limited > 20 && limited < CASE_COUNT - 20);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(random_machines_agree_with_one_set_of_equations),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
