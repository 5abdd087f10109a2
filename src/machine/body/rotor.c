// SPDX-License-Identifier: GPL-3.0-or-later
/* A fan or a pump: torque by the squared speed through one known point, above what a static head takes. */
#include <stddef.h>

#include "machine/body/kinds.h"

static bool lower(const struct sb_body *body, double *room, struct sb_load *load)
{
  (void)room;
  const struct sb_rotor *rotor = &body->as.rotor;
  load->inertia_kg_m2 += rotor->inertia_kg_m2;
  return add_resisting(load, rotor->static_nm, 0.0) &&
         add_quadratic(load, (rotor->torque_nm - rotor->static_nm) / (rotor->speed_rad_s * rotor->speed_rad_s));
}

const struct sb_body_ops sb_body_fan = {.name = "fan", .lower = lower};
const struct sb_body_ops sb_body_pump = {.name = "pump", .lower = lower};
