// SPDX-License-Identifier: GPL-3.0-or-later
#include "machine/caution.h"

const char *sb_caution_text(enum sb_caution caution)
{
  switch (caution) {
    case SB_CAUTION_HOIST:
      return "this load acts by itself, as a hung weight does: in neutral nothing but a holding brake holds it and it "
             "falls or rolls back. Lifting loads, and carrying people at all, follows local codes and licensed practice first.";
    case SB_CAUTION_STALL:
      return "a stalled motor turns all it draws into heat and can burn within seconds, and its battery with it: fuse it, "
             "and cut the drive when it does not turn.";
    case SB_CAUTION_BREAK:
      return "parts near their limit break without warning and throw pieces; guard them, wear eye protection, and test "
             "with nobody in line.";
    case SB_CAUTION_HEAT:
      return "a winding that hot burns its insulation, then itself and what touches it, and a motor too hot to hold can "
             "burn skin; cut the drive by a switch that feels the heat, and let it cool before you touch it.";
    case SB_CAUTION_RESIDUAL:
      return "the energies do not add up to a millionth: these numbers are not good; take a shorter run.step and compare.";
  }
  return "";
}

const char *sb_caution_of_battery(const struct sb_battery *battery)
{
  if (!battery->is_present) return "";
  if (battery->chemistry != NULL && battery->chemistry->caution != NULL) return battery->chemistry->caution;
  return "a shorted battery can burn, and so can one that is drawn below its maker's limit or charged by the wrong "
         "charger: fuse it, give it a cut-off, and follow its maker's data sheet before these figures.";
}

bool sb_caution_has_acting_load(const struct sb_load *load)
{
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    double least = 0.0, greatest = 0.0;
    part->ops->range_nm(part, &least, &greatest);
    if (!part->is_resisting && (least != 0.0 || greatest != 0.0)) return true;
  }
  return false;
}
