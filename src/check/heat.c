// SPDX-License-Identifier: GPL-3.0-or-later
/* heat.c - how warm the winding gets, how soon, and what a warm motor changes. */
#include <math.h>

#include "check/parts.h"
#include "theory/warmth.h"

static struct sb_check_burden burden_of(const struct sb_model *model, int gear, const char *load, double external_nm,
                                        double bound_c)
{
  const struct sb_warmth steady = sb_warmth_steady(model, gear, external_nm), start = sb_winding_start(&model->winding);
  struct sb_check_burden burden = {.load = load,
                                   .external_torque_nm = NAN,
                                   .start_loss_w = sb_warmth_loss_w(model, gear, external_nm, &start),
                                   .steady_winding_c = steady.winding_c,
                                   .steady_housing_c = steady.housing_c,
                                   .bound_reached_s = sb_warmth_reached(model, gear, external_nm, bound_c).time_s};
  if (gear < 0) return burden; /* the shaft is blocked */
  burden.gear = model->gearbox.gears[gear].name;
  burden.external_torque_nm = external_nm;
  return burden;
}

static void list_burdens(const struct sb_check_machine *machine, struct sb_check_heat *out)
{
  const struct sb_model *model = machine->model;
  out->burdens[out->burden_count++] = burden_of(model, SB_WARMTH_BLOCKED, NULL, 0.0, out->bound_c);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    out->burdens[out->burden_count++] = burden_of(model, g, "lightest", machine->form.lightest_load_nm, out->bound_c);
    out->burdens[out->burden_count++] = burden_of(model, g, "heaviest", machine->form.heaviest_load_nm, out->bound_c);
  }
}

static double closed_again_s(const struct sb_model *model)
{
  const struct sb_warmth_reach reach = sb_warmth_reached(model, SB_WARMTH_BLOCKED, 0.0, model->winding.cut_out_c);
  return isfinite(reach.time_s) ? sb_warmth_cooling_s(&model->winding, &reach.at, model->winding.reset_c) : (double)NAN;
}

/* How warm the motor is that stands beside the cold one: at its limit, where the cut-out opens, or as warm as the heaviest
 * load makes it; NAN when that burns it. */
static double warm_c(const struct sb_check_heat *heat)
{
  if (isfinite(heat->limit_c)) return heat->limit_c;
  if (isfinite(heat->cut_out_c)) return heat->cut_out_c;
  double warmest_c = heat->ambient_c;
  for (int k = 1; k < heat->burden_count; k++) warmest_c = fmax(warmest_c, heat->burdens[k].steady_winding_c);
  return isfinite(warmest_c) ? warmest_c : (double)NAN;
}

/* False: so warm the motor does not overcome its own friction, and there is no case. */
static bool find_case(const struct sb_model *model, const char *label, const struct sb_warmth *warmth,
                      struct sb_check_case *out)
{
  const struct sb_model warmed = sb_warmth_warm_model(model, warmth);
  const struct sb_check_machine machine = sb_check_machine_of(&warmed);
  if (!(machine.form.stall_torque_nm > 0.0)) return false;
  sb_check_find_case(&machine, model, label, out);
  out->winding_c = warmth->winding_c;
  if (model->magnet.is_present) out->magnet_c = sb_magnet_c(&model->winding, warmth);
  return true;
}

void sb_check_find_heat(const struct sb_check_machine *machine, struct sb_check_heat *out)
{
  const struct sb_model *model = machine->model;
  const struct sb_winding *winding = &model->winding;
  out->is_present = winding->is_present;
  if (!out->is_present) return;
  out->ambient_c = winding->ambient_c;
  out->start_c = winding->start_c;
  out->reference_c = winding->reference_c;
  out->magnet_per_k = model->magnet.is_present ? model->magnet.per_k : (double)NAN;
  out->is_housed = winding->housing_capacity_j_k > 0.0;
  out->limit_c = model->limits.winding_c;
  out->cut_out_c = winding->cut_out_c;
  out->reset_c = winding->reset_c;
  out->bound_c = fmin(out->limit_c, out->cut_out_c);
  list_burdens(machine, out);
  out->closed_again_s = closed_again_s(model);
  out->warm_c = warm_c(out);
  if (isnan(out->warm_c)) return;
  const struct sb_warmth start = sb_winding_start(winding), warm = sb_warmth_soaked(winding, out->warm_c);
  const bool has_cold = find_case(model, "cold", &start, &out->cases[0]);
  out->has_cases = find_case(model, "warm", &warm, &out->cases[1]) && has_cold;
}
