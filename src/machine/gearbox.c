// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/gearbox.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/nearest.h"

static void derive_gear(struct sb_gear *gear)
{
  double ratio = 1.0;
  double efficiency = 1.0;
  int direction = 1;

  for (int i = 0; i < gear->mesh_count; i++) {
    const struct sb_mesh *mesh = &gear->meshes[i];
    ratio *= mesh->driven_teeth / mesh->driver_teeth;
    efficiency *= mesh->efficiency;
    if (!mesh->is_internal) direction = -direction;
  }
  gear->ratio = ratio;
  gear->efficiency = efficiency;
  gear->direction = direction;
  if (isnan(gear->back_efficiency)) gear->back_efficiency = efficiency;
  if (isinf(gear->back_efficiency)) gear->back_efficiency = 2.0 - 1.0 / efficiency;
}

void sb_gearbox_derive(struct sb_gearbox *gearbox)
{
  for (int i = 0; i < gearbox->gear_count; i++) derive_gear(&gearbox->gears[i]);

  /* Forward at the output is what gear 1 does. */
  const int forward = gearbox->gears[0].direction * gearbox->gears[0].motor_direction;
  for (int i = 0; i < gearbox->gear_count; i++) {
    struct sb_gear *gear = &gearbox->gears[i];
    gear->output_direction = gear->direction * gear->motor_direction * forward;
  }
}

int sb_gearbox_find(const struct sb_gearbox *gearbox, const char *name)
{
  for (int i = 0; i < gearbox->gear_count; i++) {
    if (strcmp(gearbox->gears[i].name, name) == 0) return i;
  }
  return -1;
}

enum sb_status sb_gearbox_choose(const struct sb_gearbox *gearbox, const char *name, int *gear, struct sb_error *err)
{
  const char *names[SB_GEAR_MAX + 1] = {NULL};
  char all[SB_GEAR_MAX * (SB_NAME_SIZE + 2)] = "";
  const int found = sb_gearbox_find(gearbox, name);
  *gear = found + 1;
  if (found >= 0) return SB_OK;
  for (int g = 0; g < gearbox->gear_count; g++) {
    names[g] = gearbox->gears[g].name;
    snprintf(all + strlen(all), sizeof all - strlen(all), "%s%s", g > 0 ? ", " : "", names[g]);
  }
  const char *nearest = sb_nearest_word(name, names);
  return sb_fail(err, SB_ERR_USAGE, "--gear needs one of %s, found \"%s\"%s%s%s", all, name,
                 nearest != NULL ? "; did you mean \"" : "", nearest != NULL ? nearest : "",
                 nearest != NULL ? "\"?" : "");
}

bool sb_gearbox_has_locking(const struct sb_gearbox *gearbox)
{
  bool has_any = false;
  for (int g = 0; g < gearbox->gear_count; g++) has_any = has_any || gearbox->gears[g].back_efficiency < 0.0;
  return has_any;
}

bool sb_gearbox_is_reversed(const struct sb_gearbox *gearbox, int gear)
{
  const int own = gearbox->gears[gear].output_direction;
  int alike = 0;
  for (int g = 0; g < gearbox->gear_count; g++) alike += gearbox->gears[g].output_direction == own;
  return 2 * alike < gearbox->gear_count || (2 * alike == gearbox->gear_count && own < 0);
}
