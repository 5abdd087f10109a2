// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * choices.h - what a design is chosen from, and what it must reach: the sections `choices` and `require` of a scenario.
 *
 * A choice is a path with a list of values, each as a --set takes it: a quantity, or a whole section, which may come from a
 * file. `wheels` is the shelf that boxes of whole wheels are put together from. All values are in SI.
 */
#ifndef SHIFTBAND_SCENARIO_CHOICES_H
#define SHIFTBAND_SCENARIO_CHOICES_H

#include <stdio.h>

#include "shiftband/scenario.h"

enum {
  SB_CHOICE_AXIS_MAX = 12,
  SB_CHOICE_OPTION_MAX = 64,
  SB_SHELF_TEETH_MAX = 128,
  SB_SHELF_STAGE_MAX = 5,
  SB_SHELF_SPEED_MAX = 4,
  SB_REQUIRE_SPEED_MAX = 16
};

struct sb_choice_option {
  const char *set;   /* "PATH=VALUE" */
  const char *words; /* as tables show it: "9.6 V", "small", "selector" */
};

struct sb_choice_axis {
  const char *path;
  const char *name; /* the last step of the path */
  int option_count; /* >= 1 */
  struct sb_choice_option options[SB_CHOICE_OPTION_MAX];
};

/* Wheels of one module and a pressure angle of 20 degrees. */
struct sb_shelf {
  bool is_present;
  int teeth_count;
  int teeth[SB_SHELF_TEETH_MAX]; /* from the fewest to the most */
  int stock[SB_SHELF_TEETH_MAX]; /* how many of each; INT_MAX: any */
  int stages[2], speeds[2];      /* least and greatest */
  double module_m;
  double tolerance_m; /* by which centre distances on shared axles may differ */
  double width_m;     /* NAN: no strength is calculated */
  double bending_pa, safety;
  int material; /* sb_material */
};

/* The speed that the best gear of the box has in steady state under a constant load. */
struct sb_require_speed {
  double load_nm, minimum_rad_s, maximum_rad_s; /* NAN: none */
};

/* NAN: not asked for. */
struct sb_require {
  bool is_present;
  int speed_count, carry_count;
  struct sb_require_speed speeds[SB_REQUIRE_SPEED_MAX], carries[SB_REQUIRE_SPEED_MAX];
  double finish_s, turns;
  double charge_as, current_a, winding_c, output_torque_nm, length_m;
};

struct sb_choices {
  int axis_count;
  struct sb_choice_axis axes[SB_CHOICE_AXIS_MAX];
  struct sb_shelf shelf;
  struct sb_require require;
};

/*
 * Reads these two sections alone, whatever else the scenario lacks: out->choices, in its storage; everything else of *out is empty.
 * Statuses and faults as sb_scenario_load().
 */
enum sb_status sb_choices_load(const char *path, const char *const *sets, size_t set_count, struct sb_scenario *out,
                               struct sb_faults *faults);

/* The number of all combinations of the axes, without the wheels. Pure. */
double sb_choices_count(const struct sb_choices *choices);

/* Told of each table that a written scenario needs beside it: where it is, and the name that it is to have there. */
struct sb_table_taker {
  void (*take)(void *context, const char *path, const char *name);
  void *context;
};

/*
 * Writes the scenario as YAML with the sets in it and without these two sections. Its tables become files beside it, "data/load.csv"
 * by the name "data-load.csv". Statuses and faults as sb_scenario_load(); a failed write shows in ferror(out).
 */
enum sb_status sb_choices_write_scenario(FILE *out, const char *path, const char *const *sets, size_t set_count,
                                         const struct sb_table_taker *taker, struct sb_faults *faults);

#endif
