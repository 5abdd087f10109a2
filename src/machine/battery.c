// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/battery.h"

#include <string.h>

/* The interval of the curve that holds a charge: the last point at or below it, but never the curve's last. */
static size_t interval_of(const struct sb_table *curve, double charge)
{
  size_t low = 0;
  size_t high = curve->count - 1;
  while (high - low > 1) {
    const size_t middle = low + (high - low) / 2;
    if (curve->x[middle] <= charge) {
      low = middle;
    } else {
      high = middle;
    }
  }
  return low;
}

double sb_battery_voltage_v(const struct sb_battery *battery, double charge_fraction)
{
  const struct sb_table *curve = &battery->curve;
  const double *charge = curve->x;
  const double *voltage = curve->y;
  const size_t last = curve->count - 1;
  const double cells = (double)battery->series_count;
  if (!(charge_fraction > charge[0])) return cells * voltage[0];
  if (charge_fraction >= charge[last]) return cells * voltage[last];

  const size_t k = interval_of(curve, charge_fraction);
  const double share = (charge_fraction - charge[k]) / (charge[k + 1] - charge[k]);
  return cells * (voltage[k] + share * (voltage[k + 1] - voltage[k]));
}

const struct sb_chemistry *sb_battery_chemistry_find(const char *name)
{
  for (const struct sb_chemistry *chemistry = sb_battery_chemistries; chemistry->name != NULL; chemistry++) {
    if (strcmp(chemistry->name, name) == 0) return chemistry;
  }
  return NULL;
}

const struct sb_chemistry *sb_battery_chemistry_of(enum sb_chemistry_code code)
{
  return code == SB_CHEMISTRY_NONE ? NULL : &sb_battery_chemistries[code - 1];
}
