// SPDX-License-Identifier: GPL-3.0-or-later
/* three.c - what drives three opposite shifts in turn: thresholds, dwell, or the load itself. */
#include <math.h>

#include "shiftband/verdict.h"

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

/* A command has the load as its own gear is judged, and an upshift as both are; a downshift the slower gear's by as much apart as
 * at the upshift beside it. */
static double slower_nm(const struct sb_three *three, int k)
{
  const int beside = k == 1 ? 0 : 1;
  if (!is_down(three, k)) return three->load_nm[k];
  return three->faster_nm[k] + (three->load_nm[beside] - three->faster_nm[beside]);
}

bool sb_three_is_above(const struct sb_three *three, int k, double downshift_nm)
{
  return three->faster_nm[k] > downshift_nm;
}

bool sb_three_is_below(const struct sb_three *three, int k, double upshift_nm)
{
  return slower_nm(three, k) < upshift_nm;
}

/* How far the load must have moved from one command to the next. */
static double least_move_nm(const struct sb_band *band)
{
  return fmax(hardly_moved * fmax(finite_size(band->downshift_nm), finite_size(band->upshift_nm)), band->step_nm);
}

bool sb_three_is_called_for(const struct sb_three *three, const struct sb_band *band)
{
  for (int k = 0; k < 3; k++) {
    const double load_nm = three->load_nm[k];
    if (!(is_down(three, k) ? load_nm >= band->downshift_nm : load_nm <= band->upshift_nm)) return false;
  }
  return true;
}

bool sb_three_has_moved(const struct sb_three *three, const struct sb_band *band)
{
  const double least_nm = least_move_nm(band);
  for (int k = 1; k < 3; k++) {
    if (!(fabs(three->faster_nm[k] - three->faster_nm[k - 1]) > least_nm)) return false;
  }
  return true;
}

bool sb_three_is_asked_for(const struct sb_three *three, const struct sb_band *band)
{
  return sb_three_is_called_for(three, band) && sb_three_has_moved(three, band);
}

static bool is_in_band(const struct sb_three *three, const struct sb_band *band)
{
  for (int k = 0; k < 3; k++) {
    if (sb_three_is_above(three, k, band->downshift_nm) && sb_three_is_below(three, k, band->upshift_nm)) return true;
  }
  return false;
}

enum sb_cause sb_three_cause(const struct sb_three *three, const struct sb_band *band)
{
  if (sb_three_is_asked_for(three, band)) return three->is_quick ? SB_CAUSE_LOAD : SB_CAUSE_NONE;
  if (!three->is_soon) return SB_CAUSE_NONE;
  return is_in_band(three, band) ? SB_CAUSE_THRESHOLDS : SB_CAUSE_DWELL;
}

bool sb_three_follow(struct sb_chain *chain, const struct sb_chain_link *link, struct sb_three *three)
{
  const struct sb_chain before = *chain;
  const bool is_opposite = before.count > 0 && link->is_opposite, is_linked = is_opposite && !before.is_parted;
  const double gap_s = link->time_s - before.time_s[1];
  *chain = (struct sb_chain){.count = is_opposite ? before.count + 1 : 1,
                             .time_s = {before.time_s[1], link->time_s},
                             .load_nm = {before.load_nm[1], link->load_nm},
                             .faster_nm = {before.faster_nm[1], link->faster_nm},
                             .is_soon = is_linked && gap_s <= link->hunt_window_s,
                             .is_quick = is_linked && gap_s <= link->busy_window_s};
  *three = (struct sb_three){.time_s = {before.time_s[0], before.time_s[1], link->time_s},
                             .load_nm = {before.load_nm[0], before.load_nm[1], link->load_nm},
                             .faster_nm = {before.faster_nm[0], before.faster_nm[1], link->faster_nm},
                             .is_down_first = link->is_down,
                             .is_soon = chain->is_soon && before.is_soon,
                             .is_quick = chain->is_quick && before.is_quick};
  return chain->count >= 3;
}
