// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/body.h"

#include <string.h>

#include "machine/body/kinds.h"

const struct sb_body_ops *const sb_body_kinds[] = {&sb_body_vehicle, &sb_body_hoist, &sb_body_fan, &sb_body_pump, NULL};

const struct sb_body_ops *sb_body_kind_find(const char *name)
{
  for (size_t i = 0; sb_body_kinds[i] != NULL; i++) {
    if (strcmp(sb_body_kinds[i]->name, name) == 0) return sb_body_kinds[i];
  }
  return NULL;
}

double sb_body_radius_m(const struct sb_body *body)
{
  return body->ops->radius_m != NULL ? body->ops->radius_m(body) : 0.0;
}

size_t sb_body_room(const struct sb_body *body)
{
  return body->ops->room != NULL ? body->ops->room(body) : 0;
}

enum sb_status sb_body_lower(const struct sb_body *body, double *room, struct sb_load *load, struct sb_error *err)
{
  struct sb_load lowered = *load;
  if (!body->ops->lower(body, room, &lowered)) {
    return sb_fail(err, SB_ERR_SCENARIO, "needs at most %d parts of the load, those of all bodies counted, found more",
                   SB_LOAD_PART_MAX);
  }
  *load = lowered;
  return SB_OK;
}
