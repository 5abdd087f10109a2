// SPDX-License-Identifier: GPL-3.0-or-later
#include "theory/warmth.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_odeiv2.h>
#include <math.h>

#include "base/gsl_quiet.h"
#include "base/root.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

#define TOLERANCE_K 1e-10 /* absolute, of an integration */
#define TOLERANCE 1e-11   /* relative */
#define SLOPE_STEP_K 1e-3 /* for the slope of the loss */
#define SEARCH_STEP_K 1.0 /* between two looks for a steady temperature */
#define HORIZON 100.0     /* slow time constants after which all is over, for starts warmer than the end */
enum { STEP_MAX = 200000 };

/* Friction stays, so a weaker motor takes more current to turn without load. */
static void weaken(struct sb_motor *motor, double magnet_ratio)
{
  motor->kt_nm_a *= magnet_ratio;
  motor->ke_vs_rad *= magnet_ratio;
  motor->no_load_current_a /= magnet_ratio;
}

static double magnet_ratio_of(const struct sb_model *model, const struct sb_warmth *warmth)
{
  return sb_magnet_ratio(&model->magnet, sb_magnet_c(&model->winding, warmth));
}

static void warm_motor(struct sb_motor *motor, const struct sb_model *cold, const struct sb_warmth *warmth)
{
  weaken(motor, magnet_ratio_of(cold, warmth));
  motor->resistance_ohm *= sb_winding_resistance_ratio(&cold->winding, warmth->winding_c);
  motor->stall_current_a = motor->nominal_voltage_v / motor->resistance_ohm;
  motor->stall_torque_nm = motor->kt_nm_a * (motor->stall_current_a - motor->no_load_current_a);
  motor->no_load_speed_rad_s =
      (motor->nominal_voltage_v - motor->no_load_current_a * motor->resistance_ohm) / motor->ke_vs_rad;
}

struct sb_model sb_warmth_warm_model(const struct sb_model *cold, const struct sb_warmth *warmth)
{
  struct sb_model warm = *cold;
  warm_motor(&warm.motor, cold, warmth);
  warm.winding.reference_c = warmth->winding_c;
  warm.magnet.reference_c = sb_magnet_c(&cold->winding, warmth);
  warm.magnet.per_k /= magnet_ratio_of(cold, warmth); /* of what is left */
  return warm;
}

struct sb_warmth sb_warmth_soaked(const struct sb_winding *winding, double winding_c)
{
  const bool has_housing = winding->housing_capacity_j_k > 0.0;
  const double out_k_w = has_housing ? winding->housing_resistance_k_w : 0.0;
  const double share = out_k_w / (out_k_w + winding->resistance_k_w);
  return (struct sb_warmth){winding_c, winding->ambient_c + share * (winding_c - winding->ambient_c)};
}

double sb_warmth_loss_w(const struct sb_model *model, int gear, double external_nm, const struct sb_warmth *warmth)
{
  struct sb_model warm = *model;
  warm_motor(&warm.motor, model, warmth);
  const struct sb_motor_line line = sb_torque_balance_line(&warm);
  double current_a = sb_motor_current_a(&line, 0.0);
  if (gear != SB_WARMTH_BLOCKED) {
    const double speed_rad_s = sb_steady_speed_rad_s(&warm, &line, gear, external_nm);
    const double needed_nm = sb_torque_balance_motor_nm(&warm, gear, external_nm, speed_rad_s);
    if (speed_rad_s > 0.0) current_a = (needed_nm + warm.motor.friction_nm) / warm.motor.kt_nm_a;
  }
  return current_a * current_a * warm.motor.resistance_ohm;
}

/* Whoever warms the winding: a model in a gear under a torque, and a temperature to look for. */
struct heating {
  const struct sb_model *model;
  int gear;
  double external_nm;
  double limit_c;
};

static double loss_at(const struct heating *heating, double winding_c, double housing_c)
{
  const struct sb_warmth warmth = {winding_c, housing_c};
  return sb_warmth_loss_w(heating->model, heating->gear, heating->external_nm, &warmth);
}

/* With a housing as warm as it gets at this temperature of the winding. */
static double soaked_loss_w(const struct heating *heating, double winding_c)
{
  const struct sb_warmth warmth = sb_warmth_soaked(&heating->model->winding, winding_c);
  return loss_at(heating, warmth.winding_c, warmth.housing_c);
}

/* How much warmer the winding would get in the end under the loss that it has at this temperature. */
static double surplus_k(double winding_c, void *context)
{
  const struct heating *heating = context;
  return sb_winding_steady(&heating->model->winding, soaked_loss_w(heating, winding_c)).winding_c - winding_c;
}

struct sb_warmth sb_warmth_steady(const struct sb_model *model, int gear, double external_nm)
{
  struct heating heating = {.model = model, .gear = gear, .external_nm = external_nm};
  double low_c = model->winding.ambient_c;
  if (!(surplus_k(low_c, &heating) > 0.0)) return sb_winding_steady(&model->winding, 0.0);
  for (double high_c = low_c + SEARCH_STEP_K; high_c < SB_COPPER_MELTS_C; high_c += SEARCH_STEP_K) {
    if (surplus_k(high_c, &heating) < 0.0) {
      const double winding_c = sb_root_between(surplus_k, &heating, low_c, high_c, NULL);
      return sb_winding_steady(&model->winding, soaked_loss_w(&heating, winding_c));
    }
    low_c = high_c;
  }
  return (struct sb_warmth){INFINITY, INFINITY};
}

/* y: winding, housing in deg C; the equations of winding.h. With one node the housing stays at the ambient. */
static int rates_of(double t, const double y[], double dydt[], void *context)
{
  (void)t;
  const struct heating *heating = context;
  const struct sb_winding *winding = &heating->model->winding;
  const double flow_w = (y[0] - y[1]) / winding->resistance_k_w;
  dydt[0] = (loss_at(heating, y[0], y[1]) - flow_w) / winding->capacity_j_k;
  dydt[1] = 0.0;
  if (winding->housing_capacity_j_k > 0.0) {
    dydt[1] = (flow_w - (y[1] - winding->ambient_c) / winding->housing_resistance_k_w) / winding->housing_capacity_j_k;
  }
  return GSL_SUCCESS;
}

/* Of the loss, over a step of one of both temperatures. */
static double slope_w_k(const struct heating *heating, const double y[], double winding_k, double housing_k)
{
  const double after_w = loss_at(heating, y[0] + winding_k, y[1] + housing_k);
  const double before_w = loss_at(heating, y[0] - winding_k, y[1] - housing_k);
  return (after_w - before_w) / (2.0 * (winding_k + housing_k));
}

static int slopes_of(double t, const double y[], double *dfdy, double dfdt[], void *context)
{
  (void)t;
  const struct heating *heating = context;
  const struct sb_winding *winding = &heating->model->winding;
  const double through = 1.0 / winding->resistance_k_w;
  dfdy[0] = (slope_w_k(heating, y, SLOPE_STEP_K, 0.0) - through) / winding->capacity_j_k;
  dfdy[1] = (slope_w_k(heating, y, 0.0, SLOPE_STEP_K) + through) / winding->capacity_j_k;
  dfdy[2] = dfdy[3] = dfdt[0] = dfdt[1] = 0.0;
  if (winding->housing_capacity_j_k > 0.0) {
    dfdy[2] = through / winding->housing_capacity_j_k;
    dfdy[3] = -(through + 1.0 / winding->housing_resistance_k_w) / winding->housing_capacity_j_k;
  }
  return GSL_SUCCESS;
}

/* A place on the way, from which a root is looked for. */
struct leg {
  struct heating *heating;
  gsl_odeiv2_driver *driver;
  double from[2];
  double to[2];
};

/* Moves leg->to on from leg->from. False when GSL fails. */
static bool run_leg(struct leg *leg, double duration_s)
{
  double t = 0.0;
  leg->to[0] = leg->from[0];
  leg->to[1] = leg->from[1];
  if (duration_s <= 0.0) return true;
  gsl_odeiv2_driver_reset_hstart(leg->driver, duration_s);
  return gsl_odeiv2_driver_apply(leg->driver, &t, duration_s, leg->to) == GSL_SUCCESS;
}

static double missing_k(double duration_s, void *context)
{
  struct leg *leg = context;
  return run_leg(leg, duration_s) ? leg->to[0] - leg->heating->limit_c : NAN;
}

/* The sum of both time constants, s: the slower one is no longer. */
static double slow_s(const struct sb_winding *winding)
{
  return winding->resistance_k_w * winding->capacity_j_k +
         winding->housing_resistance_k_w * (winding->capacity_j_k + winding->housing_capacity_j_k);
}

/* Legs of growing length until one ends beyond the limit; then the root in it. */
static struct sb_warmth_reach search(struct leg *leg, double horizon_s)
{
  const struct sb_winding *winding = &leg->heating->model->winding;
  const struct sb_warmth_reach lost = {NAN, {NAN, NAN}}, never = {INFINITY, {NAN, NAN}};
  double time_s = 0.0;
  double length_s = 1e-3 * winding->resistance_k_w * winding->capacity_j_k;
  for (int i = 0; i < STEP_MAX && time_s < horizon_s; i++) {
    if (!run_leg(leg, length_s)) return lost;
    if (leg->to[0] >= leg->heating->limit_c) {
      const double rest_s = sb_root_between(missing_k, leg, 0.0, length_s, NULL);
      if (!(rest_s >= 0.0) || !run_leg(leg, rest_s)) return lost;
      return (struct sb_warmth_reach){time_s + rest_s, {leg->to[0], leg->to[1]}};
    }
    leg->from[0] = leg->to[0];
    leg->from[1] = leg->to[1];
    time_s += length_s;
    length_s = fmin(1.25 * length_s, slow_s(winding));
  }
  return isinf(horizon_s) ? lost : never;
}

struct sb_warmth_reach sb_warmth_reached(const struct sb_model *model, int gear, double external_nm, double limit_c)
{
  SB_GSL_QUIET;
  struct heating heating = {model, gear, external_nm, limit_c};
  const struct sb_warmth start = sb_winding_start(&model->winding);
  const struct sb_warmth steady = sb_warmth_steady(model, gear, external_nm);
  const struct sb_warmth_reach never = {INFINITY, {NAN, NAN}};
  if (start.winding_c >= limit_c) return (struct sb_warmth_reach){0.0, start};

  /* Each node warms the other and never cools it: what starts below the steady state stays below. Only a motor that a viscous
   * load helps to brake can lose less as its magnets warm: where a load could drive it, the way is followed. */
  const bool is_below = start.winding_c <= steady.winding_c && start.housing_c <= steady.housing_c;
  const bool is_never = is_below && steady.winding_c <= limit_c;
  if (isinf(limit_c) || (is_never && !(model->magnet.is_present && external_nm < 0.0))) return never;

  gsl_odeiv2_system system = {rates_of, slopes_of, 2, &heating};
  struct leg leg = {.heating = &heating,
                    .driver =
                        gsl_odeiv2_driver_alloc_y_new(&system, gsl_odeiv2_step_bsimp, 1.0, TOLERANCE_K, TOLERANCE),
                    .from = {start.winding_c, start.housing_c}};
  if (leg.driver == NULL) return (struct sb_warmth_reach){NAN, {NAN, NAN}};
  const struct sb_warmth_reach reach =
      search(&leg, is_below && !is_never ? INFINITY : HORIZON * slow_s(&model->winding));
  gsl_odeiv2_driver_free(leg.driver);
  return reach;
}

/* A winding that cools, and the temperature to look for. */
struct cooling {
  const struct sb_winding *winding;
  const struct sb_warmth *from;
  double target_c;
};

static double above_k(double duration_s, void *context)
{
  const struct cooling *cooling = context;
  return sb_winding_warmed(cooling->winding, cooling->from, 0.0, duration_s).winding_c - cooling->target_c;
}

double sb_warmth_cooling_s(const struct sb_winding *winding, const struct sb_warmth *from, double target_c)
{
  struct cooling cooling = {winding, from, target_c};
  if (from->winding_c <= target_c) return 0.0;
  if (target_c <= winding->ambient_c) return INFINITY;
  double low_s = 0.0;
  double high_s = winding->resistance_k_w * winding->capacity_j_k;
  while (above_k(high_s, &cooling) > 0.0) {
    low_s = high_s;
    high_s *= 2.0;
  }
  return sb_root_between(above_k, &cooling, low_s, high_s, NULL);
}
