// SPDX-License-Identifier: GPL-3.0-or-later
#include "machine/caution.h"

const char *sb_caution_text(enum sb_caution caution)
{
  switch (caution) {
    case SB_CAUTION_HOIST:
      return "this load acts by itself, as a suspended weight does: in neutral only a holding brake holds it; without one it falls or rolls back. For lifting loads, and always for carrying people, local codes and licensed practice come first.";
    case SB_CAUTION_STALL:
      return "a stalled motor turns all its electrical power into heat; it can burn within seconds, and so can its battery: protect it with a fuse, and switch the drive off when the motor does not turn.";
    case SB_CAUTION_BREAK:
      return "parts near their limit can break without warning and throw pieces: put a guard around them, wear eye protection, and let nobody stand in line with them during a test.";
    case SB_CAUTION_HEAT:
      return "a winding as hot as this burns its insulation, then itself and what touches it, and a hot motor can burn skin: let a thermal switch cut the drive, and let the motor cool before you touch it.";
    case SB_CAUTION_MAGNET:
      return "without motor.magnet the magnets keep their strength in the heat. Real ones weaken (ferrite by 0.2 % with each kelvin), and a hot motor then turns faster without load, stalls at a lower torque, and loses more power at the same torque: these figures are too kind for torque and heat.";
    case SB_CAUTION_RESIDUAL:
      return "the energies do not balance to within a billionth: do not rely on these numbers, and report the scenario as a fault of the program.";
  }
  return "";
}

const char *sb_caution_of_battery(const struct sb_battery *battery)
{
  if (!battery->is_present) return "";
  if (battery->chemistry != NULL && battery->chemistry->caution != NULL) return battery->chemistry->caution;
  return "a short-circuited battery can burn, and so can one that is discharged below its maker's limit or charged by the wrong charger: protect it with a fuse and a cut-off, and follow its maker's data sheet before these figures.";
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
