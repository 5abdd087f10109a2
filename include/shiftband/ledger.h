// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * ledger.h - where the energy went, line by line, in J.
 *
 *   given = internal loss + winding loss + conversion + motor friction + drag + mesh loss + shift loss + wheel slip
 *           + impacts + shaft damping + load work + change of kinetic and of the shaft's energy + residual
 *
 * The integrals come from the same Runge-Kutta stages as the motion; the mesh loss is reckoned from the motor's side
 * when driving and from the output's side in overrun, the load work from the load, so that the residual measures how
 * well motion and energies agree. Without currents the ledger starts at the motor shaft: given is the shaft's work.
 */
#ifndef SHIFTBAND_LEDGER_H
#define SHIFTBAND_LEDGER_H

/* The lines in order: X(field, name in reports). */
#define SB_LEDGER_LINES(X)            \
  X(internal_loss, "internal loss")   \
  X(winding_loss, "winding loss")     \
  X(conversion, "conversion")         \
  X(motor_friction, "motor friction") \
  X(drag, "drag")                     \
  X(mesh_loss, "mesh loss")           \
  X(shift_loss, "shift loss")         \
  X(slip_loss, "wheel slip")          \
  X(impact_loss, "impacts")           \
  X(shaft_loss, "shaft damping")      \
  X(load_work, "load work")           \
  X(kinetic, "kinetic")               \
  X(elastic, "shaft twist")

struct sb_ledger {
  double given;      /* from the battery (with currents) or at the motor shaft (without) */
  double throughput; /* sum of |given| over all segments: the scale of the residual, for it never cancels */
#define SB_LEDGER_FIELD(field, name) double field;
  SB_LEDGER_LINES(SB_LEDGER_FIELD)
#undef SB_LEDGER_FIELD
};

/* given minus the sum of all lines, J. Pure. */
double sb_ledger_residual_j(const struct sb_ledger *ledger);

/* |residual| over the throughput, or over the greatest line where nothing was given; 0 when nothing happened. Pure. */
double sb_ledger_residual_ratio(const struct sb_ledger *ledger);

#endif
