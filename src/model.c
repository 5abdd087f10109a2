// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/model.h"

#include <math.h>

#include "constants.h"

long long sb_model_step_count(double duration_s, double step_s)
{
  const double ratio = duration_s / step_s;
  const double whole = round(ratio);
  return (long long)(fabs(ratio - whole) <= 1e-6 ? whole : ceil(ratio));
}

/* One radian of the fastest wave, over time or over turns at a speed of the output. */
static double shortest_wave_s(const struct sb_load *load, double output_speed_rad_s)
{
  double shortest_s = INFINITY;
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (!(part->period > 0.0)) continue;
    const double radian = part->period / SB_TURN;
    const double lasts_s = part->axis == SB_OVER_TIME ? radian : radian / fmax(output_speed_rad_s, 1e-9);
    shortest_s = fmin(shortest_s, lasts_s);
  }
  return shortest_s;
}

/* A quarter of the shortest time constant keeps the energy's residual well below a millionth. */
static const double step_share = 0.25;

int sb_model_step_parts(const struct sb_model *model)
{
  const double parts = ceil(model->run.step_s / (step_share * sb_model_shortest_time_constant_s(model)));
  return parts > 1.0 ? (int)fmin(parts, 1e6) : 1;
}

double sb_model_shortest_time_constant_s(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->duty);
  const double motor_inertia = model->motor.rotor_inertia_kg_m2;
  const double output_inertia = model->load.inertia_kg_m2;
  const struct sb_gear *fastest = &model->gearbox.gears[model->gearbox.gear_count - 1];

  /* The quadratic load counts with its slope at the greatest speed that the output can have without overrun. */
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  const double top_speed =
      fmax(sb_motor_no_load_speed_rad_s(&line) / fastest->ratio, fabs(model->run.initial_output_speed_rad_s));
  const double load_slope = viscous + 2.0 * quadratic * top_speed;

  /* Motor and output alone, as in neutral; then joined, gear by gear. */
  double shortest = fmin(motor_inertia / line.slope_nms_rad, shortest_wave_s(&model->load, top_speed));
  if (load_slope > 0.0) shortest = fmin(shortest, output_inertia / load_slope);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct sb_gear *gear = &model->gearbox.gears[g];
    const double reflect = gear->ratio * gear->ratio * gear->efficiency;
    const double inertia = motor_inertia + output_inertia / reflect;
    shortest = fmin(shortest, inertia / (line.slope_nms_rad + load_slope / reflect));
  }
  return shortest;
}
