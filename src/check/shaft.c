// SPDX-License-Identifier: GPL-3.0-or-later
/* shaft.c - shocks of engagements and impacts of bodies on a rigid or a compliant output shaft. */
#include <math.h>

#include "check/parts.h"

static const struct sb_check_shock no_shock = {.peak_torque_nm = NAN,
                                               .undamped_peak_torque_nm = NAN,
                                               .stiffness_that_matters_nm_rad = INFINITY,
                                               .stiffness_at_limit_nm_rad = INFINITY};

static double shown_nm(const struct sb_check_machine *machine, int gear)
{
  return SB_CHECK_SHOCK_SHARE * machine->form.gears[gear].stall_torque_nm;
}

/* `joined` is the model with all that joins. */
static struct sb_check_shock shock_of(const struct sb_check_machine *machine, const struct sb_model *joined, int gear,
                                      double slip_rad_s)
{
  const double size = fabs(slip_rad_s);
  struct sb_check_shock shock = no_shock;
  shock.speed_difference_rad_s = slip_rad_s;
  if (!(size > 0.0)) return shock;
  shock.impulse_nms = size * sb_driveshaft_inertia_kg_m2(joined, gear);
  shock.stiffness_at_limit_nm_rad = sb_driveshaft_stiffness_for(joined, gear, size, joined->limits.output_torque_nm);
  shock.stiffness_that_matters_nm_rad = sb_driveshaft_stiffness_for(joined, gear, size, shown_nm(machine, gear));
  if (!joined->driveshaft.is_present) return shock;
  shock.undamped_peak_torque_nm = sb_driveshaft_joining_nm(joined, gear, size);
  shock.peak_torque_nm = sb_driveshaft_damped_joining_nm(joined, gear, size);
  return shock;
}

/* The harder of the shifts into a gear. */
static struct sb_check_shock engagement_of(const struct sb_check_machine *machine, int gear)
{
  const int last = machine->model->gearbox.gear_count - 1;
  const double by_up = gear > 0 ? machine->form.pairs[gear - 1].slip_upshift_rad_s : (double)NAN;
  const double by_down = gear < last ? machine->form.pairs[gear].slip_downshift_rad_s : (double)NAN;
  const bool is_by_up = fabs(by_up) > fabs(by_down) || isnan(by_down);
  return shock_of(machine, machine->model, gear, is_by_up ? by_up : by_down);
}

/* The vehicle in steady state under the lightest load meets the first body: it is slowed at once, the motor by its shaft.
 * Wheels that can slip keep the impact from the shaft. */
static struct sb_check_shock impact_of(const struct sb_check_machine *machine, int gear)
{
  const struct sb_road *road = &machine->model->load.road;
  if (road->obstacle_count == 0 || road->can_slip) return no_shock;
  struct sb_model joined = *machine->model;
  const double body = road->obstacles[0].inertia_kg_m2;
  const double slip = machine->form.gears[gear].lightest_speed_rad_s * body / (joined.load.inertia_kg_m2 + body);
  joined.load.inertia_kg_m2 += body;
  return shock_of(machine, &joined, gear, slip);
}

static void keep_least(struct sb_check_stiffness *least, double nm_rad, int gear, bool is_impact)
{
  if (nm_rad < least->nm_rad) *least = (struct sb_check_stiffness){nm_rad, gear, is_impact};
}

static void find_gear(const struct sb_check_machine *machine, int gear, struct sb_check_shaft *out)
{
  struct sb_check_shaft_gear *own = &out->gears[gear];
  own->natural_frequency_rad_s = out->is_rigid ? (double)NAN : sb_driveshaft_frequency_rad_s(machine->model, gear);
  own->damping_ratio = out->is_rigid ? (double)NAN : sb_driveshaft_damping_ratio(machine->model, gear);
  own->engagement = engagement_of(machine, gear);
  own->impact = impact_of(machine, gear);
  const struct sb_check_shock *const shocks[] = {&own->engagement, &own->impact};
  for (int k = 0; k < 2; k++) {
    keep_least(&out->that_matters, shocks[k]->stiffness_that_matters_nm_rad, gear, k == 1);
    keep_least(&out->at_limit, shocks[k]->stiffness_at_limit_nm_rad, gear, k == 1);
  }
  const double peak_nm = fmax(fmax(own->engagement.peak_torque_nm, own->impact.peak_torque_nm), 0.0); /* NAN: 0 */
  out->is_relevant |= peak_nm > fmin(machine->model->limits.output_torque_nm, shown_nm(machine, gear));
  if (!(peak_nm > out->greatest_shock_nm)) return;
  out->greatest_shock_nm = peak_nm;
  out->greatest_gear = gear;
}

void sb_check_find_shaft(const struct sb_check_machine *machine, struct sb_check_shaft *out)
{
  const struct sb_driveshaft *shaft = &machine->model->driveshaft;
  const bool is_rigid = !shaft->is_present;
  *out = (struct sb_check_shaft){.is_rigid = is_rigid,
                                 .stiffness_nm_rad = is_rigid ? (double)NAN : shaft->stiffness_nm_rad,
                                 .damping_nms_rad = is_rigid ? (double)NAN : shaft->damping_nms_rad,
                                 .backlash_rad = is_rigid ? (double)NAN : shaft->backlash_rad,
                                 .that_matters = {.nm_rad = INFINITY},
                                 .at_limit = {.nm_rad = INFINITY}};
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) find_gear(machine, g, out);
  out->is_limit_exceeded = out->greatest_shock_nm > machine->model->limits.output_torque_nm;
}
