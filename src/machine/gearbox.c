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

/* Wheels ---------------------------------------------------------------------------------------------------------------- */

/* A mesh's wheels: the ratio and the efficiency of all meshes before their shaft. */
struct wheels {
  double inertia_kg_m2, ratio, efficiency, back_efficiency;
};

static struct wheels wheels_of(const struct sb_gear *gear, int mesh)
{
  const int before = gear->meshes[mesh].inertia_at ? mesh : mesh + 1;
  struct wheels wheels = {gear->meshes[mesh].inertia_kg_m2, 1.0, 1.0, 1.0};
  for (int i = 0; i < before; i++) {
    wheels.ratio *= gear->meshes[i].driven_teeth / gear->meshes[i].driver_teeth;
    wheels.efficiency *= gear->meshes[i].efficiency;
  }
  const double lossless = (double)before / gear->mesh_count;
  const double share = gear->efficiency < 1.0 ? (1.0 - wheels.efficiency) / (1.0 - gear->efficiency) : lossless;
  wheels.back_efficiency = 1.0 - (1.0 - gear->back_efficiency) * share;
  return wheels;
}

static bool is_same_mesh(const struct sb_mesh *one, const struct sb_mesh *other)
{
  return one->driver_teeth == other->driver_teeth && one->driven_teeth == other->driven_teeth &&
         one->efficiency == other->efficiency && one->is_internal == other->is_internal &&
         one->inertia_at == other->inertia_at && one->inertia_kg_m2 == other->inertia_kg_m2;
}

/* Whether two gears share a mesh of the first: before the shifter with all from the motor to it, else with all to the output. */
static bool is_shared(const struct sb_gearbox *gearbox, const struct sb_gear *one, int mesh,
                      const struct sb_gear *other)
{
  const bool is_before = mesh < gearbox->shifter_after_mesh;
  const int shift = is_before ? 0 : other->mesh_count - one->mesh_count;
  if (mesh + shift < (is_before ? 0 : gearbox->shifter_after_mesh) || mesh + shift >= other->mesh_count) return false;
  const int from = is_before ? 0 : mesh, to = is_before ? mesh + 1 : one->mesh_count;
  for (int i = from; i < to; i++) {
    if (!is_same_mesh(&one->meshes[i], &other->meshes[i + shift])) return false;
  }
  return true;
}

/* Whether a mesh of a gear (indices) is counted already: with the engaged gear, or with one before it. */
static bool is_counted(const struct sb_gearbox *gearbox, int gear, int mesh, int engaged)
{
  const struct sb_gear *own = &gearbox->gears[gear];
  if (gear == engaged) return false;
  if (is_shared(gearbox, own, mesh, &gearbox->gears[engaged])) return true;
  for (int g = 0; g < gear; g++) {
    if (is_shared(gearbox, own, mesh, &gearbox->gears[g])) return true;
  }
  return false;
}

/* Adds a mesh of a gear (indices) as the motor sees it while another gear, or this one, is engaged. */
static void add_wheels(struct sb_gearbox *gearbox, int gear, int mesh, int engaged)
{
  const struct sb_gear *own = &gearbox->gears[gear];
  struct sb_gear *seen = &gearbox->gears[engaged];
  struct wheels wheels = wheels_of(own, mesh);
  if (!(wheels.inertia_kg_m2 > 0.0) || is_counted(gearbox, gear, mesh, engaged)) return;
  const bool is_before = mesh < gearbox->shifter_after_mesh;
  if (!is_before && gear != engaged) { /* it turns with the output */
    wheels.ratio *= seen->ratio / own->ratio;
    wheels.efficiency = seen->efficiency;
    wheels.back_efficiency = seen->back_efficiency;
  }
  const double at_motor = wheels.inertia_kg_m2 / (wheels.ratio * wheels.ratio);
  seen->wheels_kg_m2 += at_motor;
  seen->wheels_excess_kg_m2[1] += at_motor * (1.0 / wheels.efficiency - 1.0);
  seen->wheels_excess_kg_m2[0] += at_motor * (wheels.back_efficiency - 1.0);
  if (engaged > 0) return;
  if (is_before) {
    gearbox->motor_wheels_kg_m2 += at_motor;
  } else {
    gearbox->output_wheels_kg_m2 += at_motor * seen->ratio * seen->ratio;
  }
}

static void derive_wheels(struct sb_gearbox *gearbox)
{
  gearbox->motor_wheels_kg_m2 = gearbox->output_wheels_kg_m2 = 0.0;
  for (int engaged = 0; engaged < gearbox->gear_count; engaged++) {
    struct sb_gear *seen = &gearbox->gears[engaged];
    seen->wheels_kg_m2 = seen->wheels_excess_kg_m2[0] = seen->wheels_excess_kg_m2[1] = 0.0;
    for (int g = 0; g < gearbox->gear_count; g++) {
      for (int m = 0; m < gearbox->gears[g].mesh_count; m++) add_wheels(gearbox, g, m, engaged);
    }
  }
}

void sb_gearbox_derive(struct sb_gearbox *gearbox)
{
  for (int i = 0; i < gearbox->gear_count; i++) derive_gear(&gearbox->gears[i]);
  derive_wheels(gearbox);

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
