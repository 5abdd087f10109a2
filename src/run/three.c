// SPDX-License-Identifier: GPL-3.0-or-later
/* three.c - what drives three opposite shifts in turn: thresholds, dwell, or the load itself. */
#include <math.h>

#include "shiftband/verdict.h"
#include "theory/steady.h"

/* A load that moved by less than this fraction of the larger shift point did not ask for a shift. */
static const double hardly_moved = 0.02;

static bool is_down(const struct sb_three *three, int k)
{
  return (k % 2 == 0) == (three->is_down_first != 0);
}

static double finite_size(double torque_nm)
{
  return isfinite(torque_nm) ? fabs(torque_nm) : 0.0;
}

/* How far the load must have moved from one command to the next. */
static double least_move_nm(const struct sb_band *band)
{
  return fmax(hardly_moved * fmax(finite_size(band->downshift_nm), finite_size(band->upshift_nm)), band->step_nm);
}

bool sb_three_is_asked_for(const struct sb_three *three, const struct sb_band *band)
{
  const double least_nm = least_move_nm(band);
  for (int k = 0; k < 3; k++) {
    const double load_nm = three->load_nm[k];
    if (!(is_down(three, k) ? load_nm >= band->downshift_nm : load_nm <= band->upshift_nm)) return false;
    if (k > 0 && !(fabs(load_nm - three->load_nm[k - 1]) > least_nm)) return false;
  }
  return true;
}

static bool is_in_band(const struct sb_three *three, const struct sb_band *band)
{
  for (int k = 0; k < 3; k++) {
    if (three->load_nm[k] > band->downshift_nm && three->load_nm[k] < band->upshift_nm) return true;
  }
  return false;
}

enum sb_cause sb_three_cause(const struct sb_three *three, const struct sb_band *band)
{
  if (sb_three_is_asked_for(three, band)) return three->is_quick ? SB_CAUSE_LOAD : SB_CAUSE_NONE;
  if (!three->is_soon) return SB_CAUSE_NONE;
  return is_in_band(three, band) ? SB_CAUSE_THRESHOLDS : SB_CAUSE_DWELL;
}

double sb_band_step_nm(const struct sb_model *model, const struct sb_motor_line *line, int pair)
{
  const double step = model->control.sensor.resolution_fraction, middle = 0.5;
  double greatest_nm = 0.0;
  if (!(step > 0.0)) return 0.0;
  for (int gear = pair; gear <= pair + 1; gear++) {
    const double moved_nm = fabs(sb_steady_load_nm(model, line, gear, middle - 0.5 * step) -
                                 sb_steady_load_nm(model, line, gear, middle + 0.5 * step));
    if (isfinite(moved_nm)) greatest_nm = fmax(greatest_nm, moved_nm);
  }
  return greatest_nm;
}

struct sb_band sb_band_of(const struct sb_model *model, const struct sb_motor_line *line, int pair,
                          double downshift_fraction, double upshift_fraction)
{
  return (struct sb_band){.downshift_nm = sb_steady_load_nm(model, line, pair + 1, downshift_fraction),
                          .upshift_nm = sb_steady_load_nm(model, line, pair, upshift_fraction),
                          .step_nm = sb_band_step_nm(model, line, pair)};
}

bool sb_band_is_needless(double own_load_nm, double downshift_nm)
{
  static const double same_load = 1e-9; /* loads are compared with a closed form to this fraction */
  return own_load_nm < downshift_nm - same_load * fabs(downshift_nm);
}

/* A scenario whose load helps at times may reach a threshold above the reading without load. */
bool sb_band_is_upshift_out_of_reach(double upshift_nm, double lightest_nm)
{
  return upshift_nm <= fmin(lightest_nm, 0.0);
}

bool sb_band_is_downshift_out_of_reach(double downshift_nm, double stall_nm)
{
  return downshift_nm >= stall_nm && downshift_nm > 0.0;
}
