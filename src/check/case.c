// SPDX-License-Identifier: GPL-3.0-or-later
/* case.c - motor, gears and pairs of a machine at one voltage and temperature. */
#include <math.h>

#include "check/parts.h"
#include "theory/steady.h"

/* Of a driver whose limit the motor's current reaches. */
static void find_corner(const struct sb_check_machine *machine, struct sb_check_motor *out)
{
  const struct sb_motor_line *line = &machine->line;
  const double corner_rad_s = sb_motor_corner_rad_s(line);
  if (!(line->limit_a > 0.0)) return;
  out->current_limit_a = line->limit_a;
  out->corner_rad_s = fmax(corner_rad_s, 0.0);
  out->corner_battery_a = line->duty * sb_motor_current_a(line, out->corner_rad_s);
  if (out->is_speed_read) out->corner_fraction = sb_steady_speed_reading(machine->model, line, out->corner_rad_s);
}

static struct sb_check_motor motor_of(const struct sb_check_machine *machine)
{
  const struct sb_model *model = machine->model;
  const struct sb_motor *motor = &model->motor;
  const double no_load_rad_s = sb_motor_no_load_speed_rad_s(&machine->line);
  const double power_rad_s = fmax(0.5 * no_load_rad_s, sb_motor_corner_rad_s(&machine->line));
  struct sb_check_motor out = {
      .open_circuit_voltage_v = model->supply.open_circuit_voltage_v,
      .internal_resistance_ohm = model->supply.internal_resistance_ohm,
      .duty_fraction = model->drive.limit_fraction,
      .no_load_speed_rad_s = no_load_rad_s,
      .no_load_fraction = machine->form.no_load_fraction,
      .reference_rad_s = model->control.sensor.reference_rad_s,
      .is_speed_read = model->control.sensor.quantity == SB_SENSES_SPEED,
      .stall_torque_nm = machine->form.stall_torque_nm,
      .current_limit_a = NAN,
      .corner_rad_s = NAN,
      .corner_fraction = NAN,
      .corner_battery_a = NAN,
      .speed_limit_rad_s = model->limits.motor_speed_rad_s,
      .greatest_power_w = sb_motor_torque_nm(&machine->line, power_rad_s) * power_rad_s,
      .power_speed_rad_s = power_rad_s,
      .slope_nms_rad = machine->line.slope_nms_rad,
      .friction_nm = machine->line.friction_nm,
      .kt_nm_a = motor->has_currents ? motor->kt_nm_a : (double)NAN,
      .ke_vs_rad = motor->has_currents ? motor->ke_vs_rad : (double)NAN,
      .resistance_ohm = motor->has_currents ? motor->resistance_ohm : (double)NAN,
  };
  find_corner(machine, &out);
  return out;
}

static enum sb_check_band_load band_load_of(const struct sb_closed_form *form, const struct sb_pair_figures *figures)
{
  const double lightest = form->lightest_load_nm, heaviest = form->heaviest_load_nm;
  const double least = figures->downshift_torque_nm, greatest = figures->upshift_torque_nm;
  if (heaviest <= least || lightest >= greatest) return SB_BAND_LOAD_OUTSIDE;
  return lightest > least && heaviest < greatest ? SB_BAND_LOAD_INSIDE : SB_BAND_LOAD_OVERLAPS;
}

static void find_crossover(const struct sb_check_machine *machine, int index, struct sb_check_pair *out)
{
  out->crossover = sb_crossover_solve(machine->model, index);
  out->is_downshift_below = out->figures.downshift_torque_nm < out->crossover.load_nm;
  out->is_upshift_below = out->figures.upshift_torque_nm < out->crossover.load_nm;
}

static void find_pair(const struct sb_check_machine *machine, const struct sb_model *names, int index,
                      struct sb_check_pair *out)
{
  const struct sb_closed_form *form = &machine->form;
  const struct sb_control *control = &machine->model->control;
  const struct sb_pair_figures *figures = &form->pairs[index];
  const struct sb_gear_figures *slow = &form->gears[index], *fast = &form->gears[index + 1];
  const double needed_s = fmax(figures->shortest_dwell_s, figures->shortest_dwell_steady_s);
  const double start_s = figures->shortest_start_delay_s;
  *out = (struct sb_check_pair){
      .slower = names->gearbox.gears[index].name,
      .faster = names->gearbox.gears[index + 1].name,
      .downshift_below = control->downshift_fraction[index],
      .upshift_above = control->upshift_fraction[index],
      .figures = *figures,
      .slower_lightest_reading = slow->lightest_reading,
      .faster_lightest_reading = fast->lightest_reading,
      .slower_stall_nm = slow->stall_torque_nm,
      .faster_stall_nm = fast->stall_torque_nm,
      .upshift_margin = control->upshift_fraction[index] - figures->least_safe_upshift,
      .band_load = band_load_of(form, figures),
      .slower_locks = slow->back_efficiency < 0.0,
      .faster_locks = fast->back_efficiency < 0.0,
      .is_upshift_opposed = form->lightest_load_nm <= figures->helping_upshift_nm,
      .is_downshift_forced = form->lightest_load_nm <= figures->helping_downshift_nm,
      .dwell_s = control->dwell_s,
      .needed_dwell_s = isnan(figures->shortest_dwell_s) ? (double)NAN : needed_s,
      .is_dwell_enough = sb_model_whole_samples_s(control, control->dwell_s) >= needed_s,
      .start_delay_s = control->start_delay_s,
      .is_start_delay_needed = !isnan(start_s) && control->start_gear == index + 2,
      .is_start_delay_enough = sb_model_whole_samples_s(control, control->start_delay_s) >= start_s,
  };
  find_crossover(machine, index, out);
}

void sb_check_find_case(const struct sb_check_machine *machine, const struct sb_model *names, const char *label,
                        struct sb_check_case *out)
{
  out->label = label;
  out->winding_c = out->magnet_c = NAN;
  out->motor = motor_of(machine);
  out->gear_count = names->gearbox.gear_count;
  for (int g = 0; g < out->gear_count; g++) {
    const struct sb_gear_figures *figures = &machine->form.gears[g];
    out->gears[g] =
        (struct sb_check_gear){.name = names->gearbox.gears[g].name,
                               .figures = *figures,
                               .jams = figures->back_efficiency < 0.0 && !(figures->jam_inertia_kg_m2 > 0.0),
                               .exceeds_limit = figures->stall_torque_nm > names->limits.output_torque_nm,
                               .is_target_reached = figures->hidden_torque_nm > machine->form.lightest_load_nm};
  }
  for (int p = 0; p + 1 < out->gear_count; p++) find_pair(machine, names, p, &out->pairs[p]);
}
