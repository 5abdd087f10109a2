// SPDX-License-Identifier: GPL-3.0-or-later
/* A mass on a rope around a drum, with or without a counterweight on the drum's other side. */
#include <math.h>
#include <stddef.h>

#include "machine/body/kinds.h"

static bool lower(const struct sb_body *body, double *room, struct sb_load *load)
{
  (void)room;
  const struct sb_hoist *hoist = &body->as.hoist;
  const double radius_m = hoist->drum_radius_m;
  load->brake_nm += hoist->brake_nm;
  load->inertia_kg_m2 += (hoist->mass_kg + hoist->counterweight_kg) * radius_m * radius_m + hoist->drum_inertia_kg_m2;
  return add_acting(load, (hoist->mass_kg - hoist->counterweight_kg) * hoist->gravity_m_s2 * radius_m) &&
         add_resisting(load, hoist->friction_nm, hoist->breakaway_nm);
}

static double hold_nm(const struct sb_body *body)
{
  return fmax(body->as.hoist.friction_nm, body->as.hoist.breakaway_nm);
}

static const char *note(const struct sb_body *body)
{
  (void)body;
  return "hoist: the rope is assumed to stay taut, and to have neither mass nor stretch; a drum that pays out rope faster than its weights fall would make it slack, which is not simulated.";
}

static double drum_radius(const struct sb_body *body)
{
  return body->as.hoist.drum_radius_m;
}

const struct sb_body_ops sb_body_hoist = {
    .name = "hoist",
    .note = note,
    .radius_m = drum_radius,
    .hold_nm = hold_nm,
    .lower = lower,
};
