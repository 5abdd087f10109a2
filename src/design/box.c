// SPDX-License-Identifier: GPL-3.0-or-later
/* Figures of one box. */
#include <limits.h>
#include <math.h>

#include "design/boxes.h"
#include "shiftband/strength.h"

/* Wheels of a mesh of a speed, counted from the motor; an idler is driven in one mesh and drives in the next. */
static void mesh_of(const struct sb_box *box, int speed, int mesh, int wheels[2])
{
  const bool has_idler = box->idler > 0 && speed == box->idler_speed;
  const int *pair = mesh < box->stages - 1 ? box->shared[mesh] : box->last[speed];
  wheels[0] = has_idler && mesh == box->stages ? box->idler : pair[0];
  wheels[1] = has_idler && mesh == box->stages - 1 ? box->idler : pair[1];
}

int sb_box_wheel_count(const struct sb_box *box)
{
  return 2 * (box->stages - 1 + box->speeds) + (box->idler > 0);
}

int sb_box_mesh_count(const struct sb_box *box, int speed)
{
  return box->stages + (box->idler > 0 && speed == box->idler_speed);
}

/* Numbers of teeth multiply exactly, and are divided once: boxes of the same ratio have the same bits. */
double sb_box_ratio(const struct sb_box *box, int speed)
{
  double driver = box->last[speed][0], driven = box->last[speed][1];
  for (int k = 0; k < box->stages - 1; k++) {
    driver *= box->shared[k][0];
    driven *= box->shared[k][1];
  }
  return driven / driver;
}

static int common_divisor(int a, int b)
{
  while (b != 0) {
    const int rest = a % b;
    a = b;
    b = rest;
  }
  return a;
}

int sb_box_hunting_teeth(const struct sb_box *box)
{
  int count = 0;
  for (int k = 0; k < box->stages - 1; k++) count += common_divisor(box->shared[k][0], box->shared[k][1]) == 1;
  for (int s = 0; s < box->speeds; s++) count += common_divisor(box->last[s][0], box->last[s][1]) == 1;
  return count;
}

double sb_box_length_m(const struct sb_box *box, double module_m)
{
  const int *first = box->stages > 1 ? box->shared[0] : box->last[0];
  int widest = 0, axles = 0, twice = 0;
  for (int k = 0; k < box->stages - 1; k++) twice += box->shared[k][0] + box->shared[k][1];
  for (int s = 0; s < box->speeds; s++) {
    const int sum = box->last[s][0] + box->last[s][1];
    if (sum > axles) axles = sum;
    if (box->last[s][1] > widest) widest = box->last[s][1];
  }
  return 0.5 * module_m * (twice + axles + first[0] + 2 + widest + 2);
}

int sb_box_fewest_teeth(const struct sb_box *box)
{
  int fewest = box->idler > 0 ? box->idler : INT_MAX, wheels[2];
  for (int s = 0; s < box->speeds; s++) {
    for (int m = 0; m < sb_box_mesh_count(box, s); m++) {
      mesh_of(box, s, m, wheels);
      for (int w = 0; w < 2; w++) fewest = wheels[w] < fewest ? wheels[w] : fewest;
    }
  }
  return fewest;
}

static int count_of(const struct sb_box *box, int teeth)
{
  int count = box->idler == teeth;
  for (int k = 0; k < box->stages - 1; k++) count += (box->shared[k][0] == teeth) + (box->shared[k][1] == teeth);
  for (int s = 0; s < box->speeds; s++) count += (box->last[s][0] == teeth) + (box->last[s][1] == teeth);
  return count;
}

bool sb_box_is_in_stock(const struct sb_box *box, const struct sb_shelf *shelf)
{
  for (int k = 0; k < shelf->teeth_count; k++) {
    if (shelf->stock[k] < INT_MAX && count_of(box, shelf->teeth[k]) > shelf->stock[k]) return false;
  }
  return true;
}

/* The force that a tooth of a mesh may carry, N; NAN without a width. */
static double allowed_n(const struct sb_shelf *shelf, const int wheels[2])
{
  if (isnan(shelf->width_m)) return NAN;
  const int teeth = wheels[0] < wheels[1] ? wheels[0] : wheels[1];
  return shelf->bending_pa * shelf->width_m * shelf->module_m * sb_strength_tooth_form_factor(teeth) / shelf->safety;
}

/* Each figure is the greater one, but for NAN. */
static void add_load(struct sb_tooth_load *all, double force_n, double fraction)
{
  all->force_n = fmax(all->force_n, force_n);
  all->fraction = fmax(all->fraction, fraction);
}

struct sb_tooth_load sb_box_speed_tooth_load_per_nm(const struct sb_box *box, const struct sb_shelf *shelf,
                                                    double mesh_efficiency, int speed)
{
  struct sb_tooth_load greatest = {0.0, NAN};
  double torque_nm = 1.0; /* of the driven wheel */
  for (int m = sb_box_mesh_count(box, speed) - 1; m >= 0; m--) {
    int wheels[2];
    mesh_of(box, speed, m, wheels);
    const double force_n = 2.0 * torque_nm / (shelf->module_m * wheels[1]);
    add_load(&greatest, force_n, force_n / allowed_n(shelf, wheels));
    torque_nm *= (double)wheels[0] / wheels[1] / mesh_efficiency;
  }
  return greatest;
}

struct sb_tooth_load sb_box_tooth_load_per_nm(const struct sb_box *box, const struct sb_shelf *shelf,
                                              double mesh_efficiency)
{
  struct sb_tooth_load greatest = {0.0, NAN};
  for (int s = 0; s < box->speeds; s++) {
    const struct sb_tooth_load own = sb_box_speed_tooth_load_per_nm(box, shelf, mesh_efficiency, s);
    add_load(&greatest, own.force_n, own.fraction);
  }
  return greatest;
}

bool sb_box_tooth_load_is_less(const struct sb_tooth_load *one, const struct sb_tooth_load *other)
{
  const bool has_fraction = !isnan(one->fraction) && !isnan(other->fraction);
  const double a = has_fraction ? one->fraction : one->force_n, b = has_fraction ? other->fraction : other->force_n;
  return a < b * (1.0 - 1e-12);
}
