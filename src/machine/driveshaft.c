// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/driveshaft.h"

#include <math.h>

#include "shiftband/model.h"

double sb_driveshaft_inertia_kg_m2(const struct sb_model *model, int gear)
{
  const struct sb_gear *own = &model->gearbox.gears[gear];
  const double motor = own->ratio * own->ratio * (model->motor.rotor_inertia_kg_m2 + own->wheels_kg_m2);
  const double output = model->load.inertia_kg_m2;
  return motor * output / (motor + output);
}

double sb_driveshaft_frequency_rad_s(const struct sb_model *model, int gear)
{
  return sqrt(model->driveshaft.stiffness_nm_rad / sb_driveshaft_inertia_kg_m2(model, gear));
}

double sb_driveshaft_damping_ratio(const struct sb_model *model, int gear)
{
  const struct sb_driveshaft *shaft = &model->driveshaft;
  return 0.5 * shaft->damping_nms_rad / sqrt(shaft->stiffness_nm_rad * sb_driveshaft_inertia_kg_m2(model, gear));
}

double sb_driveshaft_joining_nm(const struct sb_model *model, int gear, double slip_rad_s)
{
  return fabs(slip_rad_s) * sqrt(model->driveshaft.stiffness_nm_rad * sb_driveshaft_inertia_kg_m2(model, gear));
}

double sb_driveshaft_damped_joining_nm(const struct sb_model *model, int gear, double slip_rad_s)
{
  const double z = sb_driveshaft_damping_ratio(model, gear);
  const double undamped_nm = sb_driveshaft_joining_nm(model, gear, slip_rad_s);
  if (z >= 0.5) return 2.0 * z * undamped_nm; /* the damper's torque at the first touch */
  const double s = sqrt(1.0 - z * z);
  const double angle = atan2(s * (1.0 - 4.0 * z * z), z * (3.0 - 4.0 * z * z));
  return undamped_nm * exp(-z * angle / s) * (2.0 * z * cos(angle) + (1.0 - 2.0 * z * z) / s * sin(angle));
}

double sb_driveshaft_stiffness_for(const struct sb_model *model, int gear, double slip_rad_s, double torque_nm)
{
  const double root = torque_nm / slip_rad_s;
  return root * root / sb_driveshaft_inertia_kg_m2(model, gear);
}
