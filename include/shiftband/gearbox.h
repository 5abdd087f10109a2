// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * gearbox.h - one path of meshes per gear.
 *
 *   N = product(driven / driver)     eta = product of the mesh efficiencies     W = w / N
 *   direction = (-1)^(external meshes)
 *   To = N e Tg,   e = eta when power runs to the output, 1 / eta_back when the output drives the motor
 *
 * An idler's teeth cancel in N; its mesh still costs efficiency and turns the direction.
 *
 * With the same friction at the teeth both ways eta_back = 2 - 1 / eta (`auto`). Below 0 the path locks itself: a load
 * that helps does not drive the motor, and the motor must turn with |eta_back| |To| / N for it to move on.
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

enum { SB_GEAR_MAX = 8, SB_MESH_MAX = 12, SB_NAME_SIZE = 64 };

/* back_efficiency before sb_gearbox_derive(): 2 - 1 / eta. */
#define SB_BACK_EFFICIENCY_AUTO ((double)INFINITY)

struct sb_mesh {
  double driver_teeth; /* >= 1 */
  double driven_teeth; /* >= 1 */
  double efficiency;   /* 0 < efficiency <= 1 */
  bool is_internal;    /* an internal mesh keeps the direction */
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

  /* Derived by sb_gearbox_derive(). */
  double ratio;      /* N > 0 */
  double efficiency; /* eta, 0 < eta <= 1 */
  int direction;     /* +1 or -1: direction of the output for a motor that turns forward */
  int output_direction; /* direction * motor_direction, relative to gear 1: +1 in a well-made box, -1: this gear reverses the output */
};

/* Gears from the greatest reduction (gears[0], "gear 1") to the smallest. */
struct sb_gearbox {
  int gear_count; /* 1..SB_GEAR_MAX */
  struct sb_gear gears[SB_GEAR_MAX];
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

#endif
