// SPDX-License-Identifier: GPL-3.0-or-later
/* proof.h - the machine on which proofs are checked against closed forms: a straight motor line, two gears, no drag. */
#ifndef SHIFTBAND_TESTS_PROOF_H
#define SHIFTBAND_TESTS_PROOF_H

#include "help/models.h"

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
  model_finish(&model);
  return model;
}

#endif
