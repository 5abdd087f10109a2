// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * units.h - numbers with units in text, turned into SI.
 *
 *   QUANTITY = NUMBER UNIT              12.4 V      2.1e-4 kg.m2      100 %
 *   RANGE    = NUMBER..NUMBER UNIT      9.6..12.6 V
 *   UNIT     = FACTOR { ("." | "/") FACTOR }     FACTOR = [PREFIX] SYMBOL [EXPONENT]
 *
 * A unit may begin with a '/' (/K for 1/K).
 * A '.' may be written as U+00B7, '*', '-' or a space too, and may be left out between a force and a length (Nm, kgfcm). After a '/' only more '/' may follow, so that N.m/rad.s cannot be misread.
 * Numbers are plain decimals: no nan, inf, hexadecimal or trailing text. Angles are dimensionless in SI, but an angle
 * is kept as a base of its own where a key wants an angle or an angular speed, so that Hz is no speed. Two customs are taken
 * for what they mean: 1/min of an angular speed for rpm, and a mass by a length, where a torque is wanted, for the weight of
 * that mass by the length (kg.cm for kgf.cm).
 *
 * Source: NIST Special Publication 811, appendix B (kgf 9.80665 N, lbf 4.4482216152605 N, lb 0.45359237 kg, inch 0.0254 m,
 * all exact; an ounce is a sixteenth of a pound).
 */
#ifndef SHIFTBAND_UNITS_H
#define SHIFTBAND_UNITS_H

#include <stdbool.h>

#include "shiftband/status.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Exponents of the base units; the angle counts only for some quantities. */
struct sb_dimension {
  int metre, kilogram, second, ampere, kelvin, angle;
};

struct sb_unit {
  double multiplier; /* value in SI = number * multiplier / divisor: decimal prefixes stay exact */
  double divisor;
  struct sb_dimension dimension;
};

/* X(name, words, units offered in texts, SI unit, m kg s A K angle, does the angle count) */
#define SB_QUANTITY_LIST(X)                                                                                           \
  X(SB_RATIO, "a ratio", "a bare number, or %", "", 0, 0, 0, 0, 0, 0, true)                                           \
  X(SB_PERCENT, "a percentage", "%", "", 0, 0, 0, 0, 0, 0, true)                                                      \
  X(SB_TIME, "a time", "s, ms, min, h", "s", 0, 0, 1, 0, 0, 0, true)                                                  \
  X(SB_VOLTAGE, "a voltage", "V, mV", "V", 2, 1, -3, -1, 0, 0, false)                                                 \
  X(SB_CURRENT, "a current", "A, mA", "A", 0, 0, 0, 1, 0, 0, false)                                                   \
  X(SB_RESISTANCE, "a resistance", "ohm, mohm", "ohm", 2, 1, -3, -2, 0, 0, false)                                     \
  X(SB_TORQUE, "a torque", "N.m, mN.m, N.cm, kgf.cm, gf.cm, ozf.in, lbf.in, lbf.ft", "N.m", 2, 1, -2, 0, 0, 0, false) \
  X(SB_INERTIA, "an inertia", "kg.m2, kg.cm2, g.m2, g.cm2", "kg.m2", 2, 1, 0, 0, 0, 0, false)                         \
  X(SB_SPEED, "an angular speed", "rpm, rad/s, deg/s, rev/s", "rad/s", 0, 0, -1, 0, 0, 1, true)                       \
  X(SB_ANGLE, "an angle", "turn, rev, deg, rad", "rad", 0, 0, 0, 0, 0, 1, true)                                       \
  X(SB_VISCOUS, "a viscous coefficient", "N.m.s/rad, mN.m.s/rad, N.m.s, N.m/rpm", "N.m.s/rad", 2, 1, -1, 0, 0, 0,     \
    false)                                                                                                            \
  X(SB_STIFFNESS, "a torsional stiffness", "N.m/rad, N.m/deg, mN.m/rad, lbf.ft/rad", "N.m/rad", 2, 1, -2, 0, 0, -1,   \
    true)                                                                                                             \
  X(SB_QUADRATIC, "a quadratic coefficient", "N.m.s2/rad2, mN.m.s2/rad2, N.m/rpm2", "N.m.s2/rad2", 2, 1, 0, 0, 0, 0,  \
    false)                                                                                                            \
  X(SB_TEMPERATURE, "a temperature", "C, K", "C", 0, 0, 0, 0, 1, 0, false)                                            \
  X(SB_LENGTH, "a length", "m, cm, mm, in, ft", "m", 1, 0, 0, 0, 0, 0, false)                                         \
  X(SB_MASS, "a mass", "kg, g", "kg", 0, 1, 0, 0, 0, 0, false)                                                        \
  X(SB_FORCE, "a force", "N, kN, kgf, lbf", "N", 1, 1, -2, 0, 0, 0, false)                                            \
  X(SB_ENERGY, "an energy", "J, Wh", "J", 2, 1, -2, 0, 0, 0, false)                                                   \
  X(SB_POWER, "a power", "W, mW, kW", "W", 2, 1, -3, 0, 0, 0, false)                                                  \
  X(SB_CHARGE, "a charge", "Ah, mAh, C", "C", 0, 0, 1, 1, 0, 0, false)                                                \
  X(SB_FREQUENCY, "a frequency", "Hz", "Hz", 0, 0, -1, 0, 0, 0, true)                                                 \
  X(SB_AREA, "an area", "m2, cm2, mm2, ft2", "m2", 2, 0, 0, 0, 0, 0, false)                                           \
  X(SB_DENSITY, "a density", "kg/m3, g/m3", "kg/m3", -3, 1, 0, 0, 0, 0, false)                                        \
  X(SB_ACCELERATION, "an acceleration", "m/s2, ft/s2", "m/s2", 1, 0, -2, 0, 0, 0, false)                              \
  X(SB_STRESS, "a stress", "MPa, GPa, N/mm2, psi", "Pa", -1, 1, -2, 0, 0, 0, false)                                   \
  X(SB_HEAT_CAPACITY, "a heat capacity", "J/K, kJ/K", "J/K", 2, 1, -2, 0, -1, 0, false)                               \
  X(SB_THERMAL_RESISTANCE, "a thermal resistance", "K/W, K/mW", "K/W", -2, -1, 3, 0, 1, 0, false)                     \
  X(SB_PER_KELVIN, "a temperature coefficient", "%/K, 1/K", "1/K", 0, 0, 0, 0, -1, 0, true)                           \
  X(SB_TORQUE_RATE, "a rate of change of a torque", "N.m/s, mN.m/s, N.cm/s, N.m/min", "N.m/s", 2, 1, -3, 0, 0, 0,     \
    false)                                                                                                            \
  X(SB_VELOCITY, "a speed", "m/s, km/h, ft/s", "m/s", 1, 0, -1, 0, 0, 0, false)

enum sb_quantity {
#define SB_QUANTITY_NAME(name, ...) name,
  SB_QUANTITY_LIST(SB_QUANTITY_NAME)
#undef SB_QUANTITY_NAME
      SB_QUANTITY_COUNT
};

/* "a torque"; "N.m, mN.m, ..."; "N.m" ("" for ratios and percentages). Constant strings. */
const char *sb_units_words(enum sb_quantity quantity);
const char *sb_units_offered(enum sb_quantity quantity);
const char *sb_units_si(enum sb_quantity quantity);

/* Reads a strict decimal at the start of text; returns its end, or NULL when there is none or it is not finite. */
const char *sb_units_parse_number(const char *text, double *value);

/* Reads a whole unit expression. Returns false when it is none. */
bool sb_units_parse_unit(const char *text, struct sb_unit *unit);

/* Reads a whole unit expression of a quantity; 1/min of an angular speed is rpm. False when it is none, or of another. */
bool sb_units_parse_unit_of(const char *text, enum sb_quantity quantity, struct sb_unit *unit);

/*
 * Reads a number with its unit, in SI (a temperature in deg C, a percentage as a fraction). On failure returns
 * SB_ERR_SCENARIO with the text `needs ..., found ...`.
 */
enum sb_status sb_units_parse(const char *text, enum sb_quantity wanted, double *value, struct sb_error *err);

/* The same for a key that takes one of two quantities; *found says which. */
enum sb_status sb_units_parse_either(const char *text, enum sb_quantity first, enum sb_quantity second, double *value,
                                     enum sb_quantity *found, struct sb_error *err);

/* Whether the unit of a number, or of a range, was taken for another one than is written, kg.cm for kgf.cm; *out is that one. */
struct sb_unit_text {
  char text[80];
};
bool sb_units_taken_as(const char *text, enum sb_quantity wanted, struct sb_unit_text *out);

/* The same for a difference: `5 K` is 5 deg C more or less, not -268.15 deg C. */
enum sb_status sb_units_parse_difference(const char *text, enum sb_quantity wanted, double *value,
                                         struct sb_error *err);

/* The same for `a..b unit`. Least and greatest come in order; equal ends are allowed. */
enum sb_status sb_units_parse_range(const char *text, enum sb_quantity wanted, double *least, double *greatest,
                                    struct sb_error *err);

#ifdef __cplusplus
}
#endif

#endif
