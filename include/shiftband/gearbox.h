// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * gearbox.h - one path of meshes per gear.
 *
 *   N = product(driven / driver)     eta = product of the mesh efficiencies     W = w / N
 *   direction = (-1)^(external meshes)
 *   To = N e Tg,   e = eta when power runs to the output, 1 / eta_back when the output drives the motor
 *
 * Early in a design a path may be its ratio and its efficiency alone: one mesh of teeth 1/N, which need not be whole, stands for
 * it, and its output turns as that of the other gears.
 *
 * An idler's teeth cancel in N; its mesh still costs efficiency and turns the direction.
 *
 * With the same friction at the teeth both ways eta_back = 2 - 1 / eta (`auto`). Below 0 the path locks itself: a load
 * that helps does not drive the motor, and the motor must turn with |eta_back| |To| / N for it to move on.
 *
 * Wheels have inertia where it is given. Those of the meshes before the shifter always turn with the motor, the others with
 * the output, whichever gear is engaged; wheels that gears share, with all between them and the motor (the output), count
 * once. An engaged motor sees a wheel at a shaft after the ratio n through the meshes before it: J / (n^2 eta') when power
 * runs to the output, J eta_back' / n^2 in overrun; eta' is the product up to there, 1 - eta_back' the loss of the whole path
 * in proportion, (1 - eta_back) (1 - eta') / (1 - eta). Wheels of other gears are seen at the shaft that they share.
 *
 * Leaves out: speed- and temperature-dependent losses, tooth compliance, backlash.
 * Source: train value and efficiency as in R. S. Khurmi, J. K. Gupta, Theory of Machines, chapters 3 and 13;
 * self-locking and 2 - 1 / eta: the same, section on the efficiency of screws. Checked in tests/machine/test_gearbox.c
 * against worked examples.
 */
#ifndef SHIFTBAND_GEARBOX_H
#define SHIFTBAND_GEARBOX_H

#include <math.h>
#include <stdbool.h>

#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

enum { SB_GEAR_MAX = 8, SB_MESH_MAX = 12, SB_NAME_SIZE = 64 };

/* back_efficiency before sb_gearbox_derive(): 2 - 1 / eta. */
#define SB_BACK_EFFICIENCY_AUTO ((double)INFINITY)

struct sb_mesh {
  double driver_teeth;  /* >= 1 */
  double driven_teeth;  /* >= 1 */
  double efficiency;    /* 0 < efficiency <= 1 */
  bool is_internal;     /* an internal mesh keeps the direction */
  int inertia_at;       /* 1: the inertia turns with the driver, 0: with the driven wheel */
  double inertia_kg_m2; /* of its wheels, >= 0 */
};

struct sb_gear {
  char name[SB_NAME_SIZE];
  int mesh_count;                     /* 1..SB_MESH_MAX */
  struct sb_mesh meshes[SB_MESH_MAX]; /* from the motor to the output */
  int motor_direction;                /* +1 forward, -1 reverse: how the motor is driven in this gear */
  double drag_nm;                     /* N m at the motor shaft while engaged, >= 0, against the motion */
  /* At most 1; 0: cannot be driven backwards; below 0: locks itself. Before sb_gearbox_derive() NAN: as forward, or
   * SB_BACK_EFFICIENCY_AUTO. */
  double back_efficiency;
  /* > 0: the ratio as given, without teeth; meshes[0] then stands for the whole path. 0: the meshes say it. */
  double given_ratio;

  /* Derived by sb_gearbox_derive(). */
  double ratio;                  /* N > 0 */
  double efficiency;             /* eta, 0 < eta <= 1 */
  int direction;                 /* +1 or -1: direction of the output for a motor that turns forward */
  double wheels_kg_m2;           /* of all wheels while this gear is engaged, at the motor, as if no mesh had a loss */
  double wheels_excess_kg_m2[2]; /* what the losses of their meshes add to that: [1] driving, [0] in overrun */
  int output_direction; /* direction * motor_direction, relative to gear 1: +1 in a well-made box, -1: this gear reverses the output */
};

/* Gears from the greatest reduction (gears[0], "gear 1") to the smallest. */
struct sb_gearbox {
  int gear_count; /* 1..SB_GEAR_MAX */
  struct sb_gear gears[SB_GEAR_MAX];
  long shifter_after_mesh; /* meshes of each gear between the motor and the shifter, >= 0 */

  /* Derived: of the wheels that turn with the motor, at the motor, and with the output, at the output. */
  double motor_wheels_kg_m2, output_wheels_kg_m2;
};

/* Fills the derived fields of all gears. Pure in the given fields; they must be in range. */
void sb_gearbox_derive(struct sb_gearbox *gearbox);

/* Index (0..gear_count-1) of the gear of that name, or -1. */
int sb_gearbox_find(const struct sb_gearbox *gearbox, const char *name);

/* The gear that --gear names, from 1. SB_ERR_USAGE says which there are, and offers the nearest. */
enum sb_status sb_gearbox_choose(const struct sb_gearbox *gearbox, const char *name, int *gear, struct sb_error *err);

/* Whether a gear locks itself: its back_efficiency is below 0. Pure. */
bool sb_gearbox_has_locking(const struct sb_gearbox *gearbox);

/* Whether a gear (index) turns the output against the others: against most of them, or with as many either way against
 * gear 1. Pure. */
bool sb_gearbox_is_reversed(const struct sb_gearbox *gearbox, int gear);

#ifdef __cplusplus
}
#endif

#endif
