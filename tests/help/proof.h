// SPDX-License-Identifier: GPL-3.0-or-later
/* proof.h - the machine on which proofs are checked against closed forms: a straight motor line, two gears, no drag. */
#ifndef SHIFTBAND_TESTS_PROOF_H
#define SHIFTBAND_TESTS_PROOF_H

#include <gsl/gsl_randist.h>

#include "help/models.h"
#include "help/near.h"
#include "shiftband/prove.h"

static const double proof_w0 = 36.0, proof_stall = 0.9, proof_rotor = 3.1e-4, proof_output = 0.012;
static const double proof_down = 0.55, proof_up = 0.85, proof_sample = 0.02;

/* Start in the fast gear at rest; the load resists within bounds. */
static inline struct sb_model proof_machine(const char *shifter, double mesh, double dwell_s, double least_nm,
                                            double greatest_nm)
{
  struct sb_model model = model_blank();
  model_set_line_motor(&model, proof_w0, proof_stall, proof_rotor);
  model_add_gear(&model, 10.0, mesh * mesh * mesh, false);
  model_add_gear(&model, 4.0, mesh * mesh, false);
  model.shifter.ops = sb_shifter_kind_find(shifter);
  if (!model.shifter.ops->is_direction_selected) model_drive_forward(&model);
  model.shifter.travel_time_s = 0.137;
  model.shifter.swing_turns = 0.4;
  model.shifter.clutch_nm = 0.8;
  model.load.inertia_kg_m2 = proof_output;
  model.load.bounds = (struct sb_load_bounds){SB_BOUNDS_RESISTS, least_nm, greatest_nm, INFINITY};
  model.control.start_gear = 2;
  model.control.start_delay_s = 0.6;
  model.control.dwell_s = dwell_s;
  model.control.downshift_fraction[0] = proof_down;
  model.control.upshift_fraction[0] = proof_up;
  strcpy(model.gearbox.gears[0].name, "slow");
  strcpy(model.gearbox.gears[1].name, "fast");
  model_finish(&model);
  return model;
}

/* A random machine of the class: two gears, any shifter, a load of either manner that the gears carry more or less. */
static inline struct sb_model proof_random(gsl_rng *dice)
{
  static const char *const shifters[] = {"selector", "swing arm", "clutch"};
  struct sb_model model = model_blank();
  const double w0 = gsl_ran_flat(dice, 20.0, 400.0), stall = gsl_ran_flat(dice, 0.1, 2.0);
  const double rotor = stall / w0 * gsl_ran_flat(dice, 0.004, 0.06);
  model_set_line_motor(&model, w0, stall, rotor);
  if (gsl_rng_uniform(dice) < 0.5) model_set_currents(&model, 5.0, gsl_ran_flat(dice, 0.0, 0.4), 0.1);
  const double fast = 0.1 * (double)(20 + gsl_rng_uniform_int(dice, 60)); /* whole teeth on wheels of ten */
  const double slow = 0.1 * round(10.0 * fast * gsl_ran_flat(dice, 1.5, 3.5));
  model_add_gear(&model, slow, gsl_ran_flat(dice, 0.7, 1.0), false);
  model_add_gear(&model, fast, gsl_ran_flat(dice, 0.8, 1.0), false);
  for (int g = 0; g < 2; g++) {
    struct sb_gear *gear = &model.gearbox.gears[g];
    gear->back_efficiency = gsl_ran_flat(dice, 0.3, 1.0);
    gear->meshes[0].driven_teeth = round(gear->meshes[0].driven_teeth);
  }
  model.shifter.ops = sb_shifter_kind_find(shifters[gsl_rng_uniform_int(dice, 3)]);
  if (!model.shifter.ops->is_direction_selected) model_drive_forward(&model);
  model.shifter.travel_time_s = gsl_ran_flat(dice, 0.0, 0.3);
  model.shifter.is_drive_cut = gsl_rng_uniform(dice) < 0.3;
  model.shifter.swing_turns = gsl_ran_flat(dice, 0.0, 1.0);
  model.shifter.clutch_nm = stall * gsl_ran_flat(dice, 0.6, 1.5);
  model.shifter.timeout_s = 3.0;
  model.load.inertia_kg_m2 = rotor * fast * fast * gsl_ran_flat(dice, 0.3, 6.0);
  if (gsl_rng_uniform(dice) < 0.3) {
    model.load.parts[model.load.part_count++] =
        (struct sb_load_part){.ops = sb_load_kind_find("viscous"), .viscous_nms_rad = 0.1 * stall / w0 * fast * fast};
  }
  const double a = stall * fast * gsl_ran_flat(dice, 0.02, 0.9), b = stall * fast * gsl_ran_flat(dice, 0.02, 0.9);
  const bool is_acting = gsl_rng_uniform(dice) < 0.3;
  model.load.bounds =
      (struct sb_load_bounds){is_acting ? SB_BOUNDS_ACTS : SB_BOUNDS_RESISTS,
                              fmin(a, b) - (is_acting ? 0.2 * stall * fast : 0.0), fmax(a, b), INFINITY};
  struct sb_control *control = &model.control;
  control->start_gear = 1 + (int)gsl_rng_uniform_int(dice, 2);
  control->sample_period_s = 0.005 * (double)(1 + gsl_rng_uniform_int(dice, 8));
  control->start_delay_s = gsl_ran_flat(dice, 0.0, 0.8);
  control->dwell_s = gsl_ran_flat(dice, 0.05, 1.5);
  control->debounce_count = 1 + (int)gsl_rng_uniform_int(dice, 3);
  control->downshift_fraction[0] = gsl_ran_flat(dice, 0.2, 0.7);
  control->upshift_fraction[0] = control->downshift_fraction[0] + gsl_ran_flat(dice, 0.05, 0.3);
  if (gsl_rng_uniform(dice) < 0.5) control->sensor.resolution_fraction = 0.01;
  if (gsl_rng_uniform(dice) < 0.3) control->sensor.filter_s = gsl_ran_flat(dice, 0.0, 0.1);
  model_finish(&model);
  return model;
}

/* A machine is outside the class, by a key. */
static inline void proof_expect_outside(const struct sb_model *model, const char *key)
{
  static struct sb_prove found; /* large, hence not on the stack */
  struct sb_error err;
  assert_int_equal(sb_prove_solve_quickly(model, &found, &err), SB_OK);
  assert_non_null(found.outside);
  if (strncmp(found.outside, key, strlen(key)) != 0) fail_msg("%s: %s", key, found.outside);
}

#endif
