// SPDX-License-Identifier: GPL-3.0-or-later
/* kinds.h - the kinds of body, one file each; listed in body.c. */
#ifndef SHIFTBAND_MACHINE_BODY_KINDS_H
#define SHIFTBAND_MACHINE_BODY_KINDS_H

#include "machine/load/kinds.h"
#include "shiftband/body.h"

extern const struct sb_body_ops sb_body_vehicle;
extern const struct sb_body_ops sb_body_hoist;
extern const struct sb_body_ops sb_body_fan;
extern const struct sb_body_ops sb_body_pump;

/* Adds a part of the load; false when there is no room for it. */
static inline bool add_part(struct sb_load *load, const struct sb_load_ops *ops, struct sb_load_part part)
{
  if (load->part_count >= SB_LOAD_PART_MAX) return false;
  part.ops = ops;
  load->parts[load->part_count++] = part;
  return true;
}

/* Parts that are nothing are left out. */
static inline bool add_acting(struct sb_load *load, double torque_nm)
{
  return torque_nm == 0.0 || add_part(load, &sb_load_constant, (struct sb_load_part){.torque_nm = torque_nm});
}

static inline bool add_resisting(struct sb_load *load, double torque_nm, double breakaway_nm)
{
  if (torque_nm == 0.0 && breakaway_nm == 0.0) return true;
  return add_part(load, &sb_load_constant,
                  (struct sb_load_part){.is_resisting = true, .torque_nm = torque_nm, .breakaway_nm = breakaway_nm});
}

static inline bool add_quadratic(struct sb_load *load, double nms2_rad2)
{
  if (nms2_rad2 == 0.0) return true;
  return add_part(load, &sb_load_quadratic,
                  (struct sb_load_part){.is_resisting = true, .quadratic_nms2_rad2 = nms2_rad2});
}

#endif
