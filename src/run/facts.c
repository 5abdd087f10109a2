// SPDX-License-Identifier: GPL-3.0-or-later
/* facts.c - what people ask after a run: how far, how warm, how much charge, for how long it could go on. */
#include <math.h>

#include "base/constants.h"
#include "shiftband/run.h"

static void take_way(const struct sb_report *report, struct sb_run_facts *facts)
{
  const struct sb_row *end = &report->result->end;
  const double own_m = sb_model_body_radius_m(report->model), radius_m = own_m > 0.0 ? own_m : (double)NAN;
  facts->distance_m = radius_m * end->vehicle_angle_rad;
  facts->speed_m_s = radius_m * end->vehicle_speed_rad_s;
  facts->mean_speed_rad_s = end->time_s > 0.0 ? end->output_turns * SB_TURN / end->time_s : NAN;
}

static void take_charge(const struct sb_report *report, struct sb_run_facts *facts)
{
  const struct sb_battery *battery = &report->model->battery;
  const struct sb_row *end = &report->result->end;
  facts->used_as = facts->left_fraction = facts->runs_a_charge = facts->empty_s = NAN;
  if (!battery->is_present) return;
  const double used_fraction = battery->charge_fraction - end->charge_fraction;
  facts->used_as = used_fraction * battery->capacity_as;
  facts->left_fraction = end->charge_fraction;
  if (!(used_fraction > 0.0)) return;
  facts->runs_a_charge = 1.0 / used_fraction;
  facts->empty_s = end->time_s * end->charge_fraction / used_fraction;
}

/* With the mean loss of the run from its end on, until the winding is at a limit, or INFINITY. */
static double hot_after_s(const struct sb_model *model, const struct sb_warmth *from, double loss_w, double limit_c)
{
  const struct sb_winding *winding = &model->winding;
  if (from->winding_c >= limit_c) return 0.0;
  if (!(sb_winding_steady(winding, loss_w).winding_c > limit_c)) return INFINITY;
  double low_s = 0.0, high_s = 1.0;
  while (sb_winding_warmed(winding, from, loss_w, high_s).winding_c < limit_c && high_s < 1e9) high_s *= 2.0;
  for (int i = 0; i < 60; i++) {
    const double middle_s = 0.5 * (low_s + high_s);
    if (sb_winding_warmed(winding, from, loss_w, middle_s).winding_c < limit_c) {
      low_s = middle_s;
    } else {
      high_s = middle_s;
    }
  }
  return high_s;
}

static void take_heat(const struct sb_report *report, struct sb_run_facts *facts)
{
  const struct sb_model *model = report->model;
  const struct sb_row *end = &report->result->end;
  const struct sb_sums *sums = &report->result->sums;
  facts->winding_c = facts->housing_c = facts->greatest_winding_c = facts->greatest_housing_c = facts->hot_s = NAN;
  facts->magnet_left_fraction = model->magnet.is_present ? sb_magnet_ratio(&model->magnet, end->magnet_c) : (double)NAN;
  if (!model->winding.is_present) return;
  const struct sb_warmth warmth = {end->winding_c, end->housing_c};
  facts->winding_c = end->winding_c;
  facts->greatest_winding_c = fmax(sums->winding_c.value, end->winding_c);
  if (model->winding.housing_capacity_j_k > 0.0) {
    facts->housing_c = end->housing_c;
    facts->greatest_housing_c = fmax(sums->housing_c.value, end->housing_c);
  }
  const double limit_c = fmin(model->limits.winding_c, model->winding.cut_out_c);
  if (!(end->time_s > 0.0) || !isfinite(limit_c)) return;
  facts->hot_s = hot_after_s(model, &warmth, sums->energy.winding_loss / end->time_s, limit_c);
}

/* For how long an engagement or an impact still swings a shaft, or the motor runs up again. */
static double after_s(const struct sb_model *model, const struct sb_derived *derived)
{
  double longest_s = 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) longest_s = fmax(longest_s, derived->time_constant_s[g + 1]);
  if (!model->driveshaft.is_present) return longest_s;
  /* Some swings of the output against a motor that stands. */
  return fmax(longest_s, 3.0 * SB_TURN * sqrt(model->load.inertia_kg_m2 / model->driveshaft.stiffness_nm_rad));
}

static enum sb_torque_source source_of(const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  const struct sb_derived derived = sb_model_derive(report->model);
  const double enough_s = after_s(report->model, &derived), time_s = sums->output_torque_nm.time_s;
  const double joined_s = time_s - sums->torque_joined_s, struck_s = time_s - sums->torque_struck_s;
  if (struck_s <= enough_s && struck_s <= joined_s) return SB_TORQUE_OF_IMPACT;
  return joined_s <= enough_s ? SB_TORQUE_OF_ENGAGEMENT : SB_TORQUE_OF_LOAD;
}

const char *sb_run_torque_source_name(enum sb_torque_source source)
{
  static const char *const names[] = {"load", "engagement", "impact"};
  return names[source];
}

struct sb_run_facts sb_run_facts(const struct sb_report *report)
{
  const struct sb_sums *sums = &report->result->sums;
  struct sb_run_facts facts = {
      .shifting_s = sums->neutral_time_s, .shifting_j = sums->energy.shift_loss, .torque_source = source_of(report)};
  take_way(report, &facts);
  take_charge(report, &facts);
  take_heat(report, &facts);
  return facts;
}

/* As far within this, a gear alone does as well. */
static const double as_far = 0.02;

/* Whether it comes to no verdict that the other run does not have. */
static bool has_no_more_verdicts(const struct sb_monitor *own, const struct sb_monitor *other)
{
  for (size_t i = 0; i < own->verdict_count; i++) {
    if (sb_monitor_find(other, own->verdicts[i].kind) == NULL) return false;
  }
  return true;
}

bool sb_run_does_as_well(const struct sb_report *locked, const struct sb_report *automatic)
{
  const struct sb_row *own = &locked->result->end, *other = &automatic->result->end;
  if (!has_no_more_verdicts(&locked->result->monitor, &automatic->result->monitor)) return false;
  const double own_rad_s = own->vehicle_angle_rad / own->time_s, other_rad_s = other->vehicle_angle_rad / other->time_s;
  return fabs(own_rad_s) >= (1.0 - as_far) * fabs(other_rad_s) && own_rad_s * other_rad_s >= 0.0;
}
