// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * battery_cells.c - open-circuit voltages of common cells over their charge, each with its source.
 *
 * Values are those of a rested cell near 25 C. Cells of one kind differ by maker, age and temperature by some percent:
 * a scenario that has measured points gives its own.
 */
#include "shiftband/battery.h"

#define POINTS(charge, voltage)                            \
  {                                                        \
    sizeof(charge) / sizeof *(charge), (charge), (voltage) \
  }

/*
 * Lead acid, flooded: the table of the Battery Council International for a battery of six cells, 12.65, 12.45, 12.24,
 * 12.06 and 11.89 V at specific gravities of 1.265, 1.225, 1.190, 1.155 and 1.120 (from memory). It agrees within 3 mV a
 * cell with Bode's polynomial of the acid's molality (tests/machine/test_battery.c).
 */
static const double lead_acid_charge[] = {0.0, 0.25, 0.5, 0.75, 1.0};
static const double lead_acid_v[] = {11.89 / 6.0, 12.06 / 6.0, 12.24 / 6.0, 12.45 / 6.0, 12.65 / 6.0};

/*
 * Lithium ion with nickel manganese cobalt oxide against graphite with silicon: the difference of the two electrodes'
 * potentials after Chen et al., between their stoichiometries of empty and full (from memory), put on points so that
 * lines between them stay within 4 mV.
 */
static const double lithium_ion_charge[] = {0.0,   0.005, 0.01,  0.015, 0.02, 0.025, 0.035, 0.045, 0.06,  0.1, 0.13,
                                            0.155, 0.215, 0.335, 0.48,  0.61, 0.7,   0.86,  0.93,  0.965, 1.0};
static const double lithium_ion_v[] = {2.498, 2.605, 2.695, 2.772, 2.837, 2.893, 2.981, 3.046, 3.117, 3.258, 3.354,
                                       3.404, 3.462, 3.584, 3.691, 3.819, 3.924, 4.077, 4.102, 4.133, 4.193};

/*
 * Lithium iron phosphate against graphite: likewise after Safari and Delacourt (from memory); the stoichiometries, 0.811
 * to 0.0132 in the graphite and 0.035 to 0.74 in the phosphate, are approximate. Lines stay within 3 mV.
 */
static const double iron_phosphate_charge[] = {0.0,  0.005, 0.015, 0.025, 0.04, 0.055, 0.07, 0.09, 0.12, 0.225,
                                               0.35, 0.55,  0.7,   0.88,  0.94, 0.965, 0.98, 0.99, 1.0};
static const double iron_phosphate_v[] = {2.830, 2.878, 2.953, 3.014, 3.084, 3.134, 3.168, 3.198, 3.223, 3.265,
                                          3.298, 3.312, 3.329, 3.346, 3.358, 3.379, 3.407, 3.436, 3.479};

/* Nickel metal hydride: shape and plateau of the rested cell as in Linden and Reddy's handbook (from memory). */
static const double nickel_hydride_charge[] = {0.0, 0.05, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0};
static const double nickel_hydride_v[] = {1.10, 1.19, 1.22, 1.25, 1.28, 1.30, 1.33, 1.35, 1.40};

/* Alkaline manganese, size AA: a much quoted table of its voltage without load in steps of a tenth (from memory). */
static const double alkaline_charge[] = {0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0};
static const double alkaline_v[] = {1.10, 1.20, 1.23, 1.26, 1.28, 1.30, 1.32, 1.34, 1.38, 1.44, 1.59};

static const char lithium_caution[] =
    "lithium cells can burn or burst when short-circuited, crushed, overcharged or discharged below their limit: use cells with a protection circuit, protect them with a fuse, charge them with their maker's charger, and never recharge a cell that was discharged below its limit. The maker's data sheet comes before these figures.";

static const char lead_caution[] =
    "a lead acid battery delivers hundreds of amperes into a short circuit and gives off explosive gas: put a fuse at its pole, ventilate it while it charges, and keep its acid away from skin and eyes. The maker's data sheet comes before these "
    "figures.";

static const char dry_caution[] =
    "a short-circuited battery gets hot enough to cause burns, and below the cut-off the other cells reverse its weakest cell, which then leaks: protect it with a fuse, stop at the cut-off, and recharge only cells that their maker calls rechargeable. The maker's data "
    "sheet comes before these figures.";

const struct sb_chemistry sb_battery_chemistries[] = {
    {.name = "lead acid",
     .source = "table of charge, Battery Council International; final voltage of 1.75 V a cell, IEEE 485 (from memory)",
     .caution = lead_caution,
     .curve = POINTS(lead_acid_charge, lead_acid_v),
     .cutoff_v = 1.75},
    {.name = "lithium ion",
     .source =
         "C.-H. Chen et al., J. Electrochem. Soc. 167 (2020) 080534, eqs. 8 and 9, cell of 2.5 to 4.2 V (from memory)",
     .caution = lithium_caution,
     .curve = POINTS(lithium_ion_charge, lithium_ion_v),
     .cutoff_v = 2.5},
    {.name = "lithium iron phosphate",
     .source =
         "M. Safari, C. Delacourt, J. Electrochem. Soc. 158 (2011) A562; cut-off of 2.5 V a cell, common practice "
         "(from memory)",
     .caution = lithium_caution,
     .curve = POINTS(iron_phosphate_charge, iron_phosphate_v),
     .cutoff_v = 2.5},
    {.name = "nickel metal hydride",
     .source = "D. Linden, T. B. Reddy, Handbook of Batteries, 3rd ed., ch. 29; end voltage of 1 V a cell, IEC 61951-2 "
               "(from memory)",
     .caution = dry_caution,
     .curve = POINTS(nickel_hydride_charge, nickel_hydride_v),
     .cutoff_v = 1.0},
    {.name = "alkaline",
     .source = "voltage without load of an AA cell in steps of a tenth, widely quoted; end voltage of 0.8 V a cell, "
               "makers' handbooks (from memory)",
     .caution = dry_caution,
     .curve = POINTS(alkaline_charge, alkaline_v),
     .cutoff_v = 0.8},
    {.name = NULL}};
