// SPDX-License-Identifier: GPL-3.0-or-later
/* band.c - what thresholds of a pair of gears mean in loads: shift points, needless downshifts, thresholds out of reach. */
#include <math.h>

#include "shiftband/verdict.h"
#include "theory/steady.h"

/* By how much the load moves for one step of the reading, about half the reference, N m; 0 with an exact reading. */
static double step_nm(const struct sb_model *model, const struct sb_motor_line *line, int pair)
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
                          .step_nm = step_nm(model, line, pair)};
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
