// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Units against GSL's constants (gsl_const_mksa.h), some of which are rounded at the twelfth digit: hence 1e-11. Exact
 * definitions are from NIST Special Publication 811, appendix B.
 */
#include <gsl/gsl_const_mksa.h>
#include <gsl/gsl_math.h>
#include <stdio.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/units.h"

static const double gsl_digits = 1e-11; /* relative; GSL gives 12 digits of the pound-force */
static const double rounding = 4e-16;   /* relative; two or three roundings of a double */

static double si(const char *text, enum sb_quantity quantity)
{
  double value = (double)NAN;
  struct sb_error err = {.text = ""};
  if (sb_units_parse(text, quantity, &value, &err) != SB_OK) fail_msg("%s: %s", text, err.text);
  return value;
}

static void assert_refused(const char *text, enum sb_quantity quantity, const char *needle)
{
  double value = 42.0;
  struct sb_error err = {.text = ""};
  if (sb_units_parse(text, quantity, &value, &err) != SB_ERR_SCENARIO) fail_msg("%s was taken as %g", text, value);
  assert_near(value, 42.0, 0.0); /* results are written only on success */
  if (strstr(err.text, needle) == NULL) fail_msg("\"%s\" does not say \"%s\"", err.text, needle);
}

static void customary_units_agree_with_gsl(void **state)
{
  (void)state;
  const double gravity = GSL_CONST_MKSA_GRAV_ACCEL;
  const double pound = GSL_CONST_MKSA_POUND_FORCE;
  assert_near_rel(si("1 lbf.in", SB_TORQUE), pound * GSL_CONST_MKSA_INCH, gsl_digits);
  assert_near_rel(si("1 lbf.ft", SB_TORQUE), pound * GSL_CONST_MKSA_FOOT, gsl_digits);
  assert_near_rel(si("1 ozf.in", SB_TORQUE), pound / 16.0 * GSL_CONST_MKSA_INCH, gsl_digits);
  assert_near_rel(si("1 kgf.cm", SB_TORQUE), gravity * 0.01, gsl_digits);
  assert_near_rel(si("1 gf.cm", SB_TORQUE), GSL_CONST_MKSA_GRAM_FORCE * 0.01, gsl_digits);
  assert_near_rel(si("1 lbf", SB_FORCE), GSL_CONST_MKSA_POUND_MASS * gravity, gsl_digits);
  assert_near_rel(si("1 h", SB_TIME), GSL_CONST_MKSA_HOUR, gsl_digits);
  assert_near_rel(si("1 min", SB_TIME), GSL_CONST_MKSA_MINUTE, gsl_digits);
}

static void exact_definitions_are_exact(void **state)
{
  (void)state;
  assert_near_rel(si("1 lbf", SB_FORCE), 4.4482216152605, 0.0);
  assert_near_rel(si("1 kgf", SB_FORCE), 9.80665, 0.0);
  assert_near_rel(si("1 in", SB_LENGTH), 0.0254, 0.0);
  assert_near_rel(si("1 ft", SB_LENGTH), 0.3048, 0.0);
  assert_near_rel(si("1 Wh", SB_ENERGY), 3600.0, 0.0);
  assert_near_rel(si("1 mAh", SB_CHARGE), 3.6, 0.0);
  assert_near_rel(si("1 C", SB_CHARGE), 1.0, 0.0);
}

static void angles_and_speeds_turn_into_radians(void **state)
{
  (void)state;
  assert_near_rel(si("1 rpm", SB_SPEED), 2.0 * M_PI / 60.0, rounding);
  assert_near_rel(si("1 rev/s", SB_SPEED), 2.0 * M_PI, rounding);
  assert_near_rel(si("180 deg/s", SB_SPEED), M_PI, rounding);
  assert_near_rel(si("60 rev/min", SB_SPEED), 2.0 * M_PI, rounding);
  assert_near_rel(si("2.5 turns", SB_ANGLE), 5.0 * M_PI, rounding);
  assert_near_rel(si("-90 deg", SB_ANGLE), -M_PI / 2.0, rounding);
}

static void decimal_prefixes_round_only_once(void **state)
{
  (void)state;
  assert_near(si("20 ms", SB_TIME), 0.02, 0.0);
  assert_near(si("1.1 ms", SB_TIME), 1.1 / 1000.0, 0.0);
  assert_near(si("60 %", SB_PERCENT), 0.6, 0.0);
  assert_near(si("2.1e-4 kg.m2", SB_INERTIA), 2.1e-4, 0.0);
  assert_near(si("21 g.cm2", SB_INERTIA), 21.0 / 1e7, 0.0);
  assert_near(si("250 mohm", SB_RESISTANCE), 0.25, 0.0);
  assert_near(si("42 N.cm", SB_TORQUE), 0.42, 0.0);
}

static void one_unit_may_be_written_in_several_ways(void **state)
{
  (void)state;
  const double want = 0.42;
  static const char *const torques[] = {"0.42 N.m", "0.42N.m",    "0.42 N.m1", "0.42 N.m\xc2\xb3/m2", "0.42 N\xc2\xb7m",
                                        "420 mN.m", "  42 N.cm ", "+.42 N.m",  "0.42 J/rad",          "4.2e-1 N.m"};
  for (size_t i = 0; i < sizeof torques / sizeof *torques; i++)
    assert_near_rel(si(torques[i], SB_TORQUE), want, rounding);
  static const char *const inertias[] = {"0.42 m\xc2\xb2\xc2\xb7kg", "0.42 kg.m2",  "0.42 kg.m^2",
                                         "0.42 kg.m\xc2\xb2",        "0.42 N.m.s2", "420 g.m2"};
  for (size_t i = 0; i < sizeof inertias / sizeof *inertias; i++) {
    assert_near_rel(si(inertias[i], SB_INERTIA), want, rounding);
  }
  static const char *const ohms[] = {"0.42 ohm", "0.42 \xce\xa9", "0.42 \xe2\x84\xa6", "420 m\xce\xa9", "0.42 V/A"};
  for (size_t i = 0; i < sizeof ohms / sizeof *ohms; i++) assert_near_rel(si(ohms[i], SB_RESISTANCE), want, rounding);
  assert_near_rel(si("3 \xc2\xb5s", SB_TIME), 3e-6, rounding);
  assert_near_rel(si("3 \xce\xbcs", SB_TIME), 3e-6, rounding);
  assert_near_rel(si("3 us", SB_TIME), 3e-6, rounding);
}

/* Products as people write them: by points, spaces, hyphens, stars, or a force and a length together. */
static void products_may_be_written_in_several_ways(void **state)
{
  (void)state;
  static const char *const torques[] = {"0.42 Nm", "0.42 N m", "0.42 N-m",   "0.42 N*m",  "420 mNm",
                                        "42 Ncm",  "420 Nmm",  "4.2e-4 kNm", "0.42 N  m", "420e3 \xc2\xb5N m"};
  for (size_t i = 0; i < sizeof torques / sizeof *torques; i++)
    assert_near_rel(si(torques[i], SB_TORQUE), 0.42, rounding);
  static const char *const coefficients[] = {"0.42 Nm.s/rad", "0.42 N m s/rad", "0.42 Nm s", "0.42 N-m-s"};
  for (size_t i = 0; i < sizeof coefficients / sizeof *coefficients; i++)
    assert_near_rel(si(coefficients[i], SB_VISCOUS), 0.42, rounding);
  assert_near_rel(si("2 kgf cm", SB_TORQUE), 2 * 0.0980665, rounding);
  assert_near_rel(si("2 kgfcm", SB_TORQUE), 2 * 0.0980665, rounding);
  assert_near_rel(si("2 g cm2", SB_INERTIA), 2e-7, rounding);
  assert_near_rel(si("3 s-1.rad", SB_SPEED), 3.0, rounding); /* a minus before a digit is an exponent's */
}

/*
 * NIST Special Publication 811 (2008), appendix B.8, printed to seven digits: hence half a unit of the last one.
 */
static void customary_units_are_those_of_nist(void **state)
{
  (void)state;
  static const struct {
    const char *text;
    enum sb_quantity quantity;
    double printed, last_digit;
  } table[] = {{"1 ozf.in", SB_TORQUE, 7.061552e-3, 1e-9},   {"1 oz.in", SB_TORQUE, 7.061552e-3, 1e-9},
               {"1 lbf.in", SB_TORQUE, 1.129848e-1, 1e-7},   {"1 lb-in", SB_TORQUE, 1.129848e-1, 1e-7},
               {"1 lbf.ft", SB_TORQUE, 1.355818, 1e-6},      {"1 kg.m", SB_TORQUE, 9.80665, 1e-5},
               {"1 lb", SB_MASS, 4.535924e-1, 1e-7},         {"1 oz", SB_MASS, 2.834952e-2, 1e-8},
               {"1 lb.in2", SB_INERTIA, 2.926397e-4, 1e-10}, {"1 lb.ft2", SB_INERTIA, 4.214011e-2, 1e-8},
               {"1 r/min", SB_SPEED, 1.047198e-1, 1e-7},     {"1 1/min", SB_SPEED, 1.047198e-1, 1e-7},
               {"1 lbf", SB_FORCE, 4.448222, 1e-6},          {"1 psi", SB_STRESS, 6.894757e3, 1e-3}};
  for (size_t i = 0; i < sizeof table / sizeof *table; i++)
    assert_near(si(table[i].text, table[i].quantity), table[i].printed, 0.5 * table[i].last_digit);
}

/* Where a torque is wanted a mass by a length is its weight by the length, which is told; elsewhere it is nothing. */
static void the_weight_of_a_mass_makes_a_torque_and_is_told(void **state)
{
  (void)state;
  static const char *const pairs[][2] = {{"2 kg.cm", "kgf.cm"}, {"2 kg-cm", "kgf-cm"}, {"2 kgcm", "kgf.cm"},
                                         {"2 g cm", "gf cm"},   {"2 oz.in", "ozf.in"}, {"2 ozin", "ozf.in"},
                                         {"2 lb.ft", "lbf.ft"}, {"2 cm.kg", "cm.kgf"}};
  struct sb_unit_text out;
  for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
    char text[96];
    assert_true(sb_units_taken_as(pairs[i][0], SB_TORQUE, &out));
    assert_string_equal(out.text, pairs[i][1]);
    snprintf(text, sizeof text, "2 %s", out.text);
    assert_near_rel(si(pairs[i][0], SB_TORQUE), si(text, SB_TORQUE), 0.0);
    assert_refused(pairs[i][0], SB_INERTIA, "another kind of quantity");
    assert_false(sb_units_taken_as(pairs[i][0], SB_INERTIA, &out));
  }
  assert_false(sb_units_taken_as("2 N.m", SB_TORQUE, &out));
  assert_false(sb_units_taken_as("2 kgf.cm", SB_TORQUE, &out));
  assert_false(sb_units_taken_as("2 kg", SB_TORQUE, &out));
  assert_refused("2 kg.cm", SB_INERTIA, "nearest is \"kg.cm2\"");
  assert_refused("2 kg.cm2", SB_TORQUE, "which is an inertia");
  assert_refused("2 gm", SB_TORQUE, "unknown unit"); /* grams, to many */
  double least = 0.0, greatest = 0.0;
  struct sb_error err;
  assert_int_equal(sb_units_parse_range("1..2 kg.cm", SB_TORQUE, &least, &greatest, &err), SB_OK);
  assert_near_rel(greatest, 2 * 0.0980665, rounding);
}

/* 1/min counts turns, for nobody counts radians by the minute; 1/s and Hz could be either. */
static void turns_are_counted_by_the_minute_only(void **state)
{
  (void)state;
  static const char *const speeds[] = {"310 1/min", "310 min-1", "310 min^-1", "310 r/min", "310 rev/min"};
  for (size_t i = 0; i < sizeof speeds / sizeof *speeds; i++)
    assert_near_rel(si(speeds[i], SB_SPEED), 310.0 * 2.0 * M_PI / 60.0, rounding);
  assert_refused("5 1/s", SB_SPEED, "which is a frequency");
  assert_refused("5 1/h", SB_SPEED, "which is a frequency");
  assert_near_rel(si("60 1/min", SB_FREQUENCY), 1.0, rounding);
}

static void a_unit_that_is_nearly_right_is_refused_with_the_right_one(void **state)
{
  (void)state;
  assert_refused("1 NM", SB_TORQUE, "nearest is \"N.m\"");
  assert_refused("1 Nm2", SB_TORQUE, "nearest is \"N.m\"");
  assert_refused("310 RPM", SB_SPEED, "nearest is \"rpm\"");
  assert_refused("1 Ohm", SB_RESISTANCE, "nearest is \"ohm\"");
  assert_refused("1 Nms/rad", SB_VISCOUS, "nearest is \"N.m.s/rad\"");
  double value = 0.0;
  enum sb_quantity found;
  struct sb_error err;
  assert_int_equal(sb_units_parse_either("60 RPM", SB_PERCENT, SB_SPEED, &value, &found, &err), SB_ERR_SCENARIO);
  assert_non_null(strstr(err.text, "nearest is \"rpm\""));
}

static void coefficients_take_torque_per_speed(void **state)
{
  (void)state;
  assert_near_rel(si("0.002 N.m.s/rad", SB_VISCOUS), 0.002, rounding);
  assert_near_rel(si("0.002 N.m.s", SB_VISCOUS), 0.002, rounding);
  assert_near_rel(si("1 N.m/rpm", SB_VISCOUS), 60.0 / (2.0 * M_PI), rounding);
  assert_near_rel(si("1 N.m.s/deg", SB_VISCOUS), 180.0 / M_PI, rounding);
  assert_near_rel(si("3 N.m.s2/rad2", SB_QUADRATIC), 3.0, rounding);
  assert_near_rel(si("3 N.m.s2", SB_QUADRATIC), 3.0, rounding);
  assert_near_rel(si("1 N.m/rpm2", SB_QUADRATIC), pow(60.0 / (2.0 * M_PI), 2.0), rounding);
}

static void temperatures_come_in_celsius(void **state)
{
  (void)state;
  double spread = 0.0;
  struct sb_error err;
  assert_near(si("110 C", SB_TEMPERATURE), 110.0, 0.0);
  assert_near(si("273.15 K", SB_TEMPERATURE), 0.0, 0.0);
  assert_near(si("20 \xc2\xb0"
                 "C",
                 SB_TEMPERATURE),
              20.0, 0.0);
  assert_int_equal(sb_units_parse_difference("5 K", SB_TEMPERATURE, &spread, &err), SB_OK);
  assert_near(spread, 5.0, 0.0);
}

static void a_ratio_may_stand_bare_and_a_percentage_may_not(void **state)
{
  (void)state;
  assert_near(si("0.96", SB_RATIO), 0.96, 0.0);
  assert_near(si("96 %", SB_RATIO), 0.96, 0.0);
  assert_refused("0.96", SB_PERCENT, "bare number");
  assert_refused("1 rad", SB_RATIO, "which is an angle");
}

static void a_number_without_its_unit_is_refused_with_the_units(void **state)
{
  (void)state;
  assert_refused("310", SB_SPEED, "rpm, rad/s, deg/s, rev/s");
  assert_refused("0", SB_TIME, "a bare number without its unit");
  assert_refused("0.42", SB_TORQUE, "N.m, mN.m, N.cm, kgf.cm, gf.cm, ozf.in, lbf.in, lbf.ft");
}

static void a_unit_of_another_kind_is_named(void **state)
{
  (void)state;
  assert_refused("310 rpm", SB_TORQUE, "which is an angular speed");
  assert_refused("0.42 N.m", SB_SPEED, "which is a torque");
  assert_refused("5 Hz", SB_SPEED, "which is a frequency");
  assert_refused("5 1/s", SB_SPEED, "which is a frequency");
  assert_refused("5 rad", SB_TIME, "which is an angle");
  assert_refused("5 kg", SB_INERTIA, "which is a mass");
  assert_refused("5 C", SB_CURRENT, "which is a charge");
  assert_refused("5 kg2", SB_INERTIA, "another kind of quantity");
}

static void what_is_no_unit_is_refused(void **state)
{
  (void)state;
  static const char *const texts[] = {"1 Nm2",  "1 NM",   "1 N . m",     "1 N..m",     "1 N.m.",    "1 .N",
                                      "1 N/",   "1 /N",   "1 kmin",      "1 krpm",     "1 mft",     "1 mm m",
                                      "1 N.m0", "1 N^",   "1 N.m/rad.s", "1 m",        "1 x10 N.m", "1 5N.m",
                                      "1 N*-m", "1 N--m", "1 mN2m",      "1 N.m/kg m", "1 - m",     "1 kkg.m2"};
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) assert_refused(texts[i], SB_TORQUE, "found");
  assert_refused("1 m.m.m.m.m.m.m.m.m.m.m.m.m.m.m.m.m.m.m.m", SB_LENGTH, "unknown unit");
  /* 63 characters are read whole; of 64 the last one is not cut off. */
  const char *whole = "1 m.turns^9.turns^9.turns^9.turn^9/turns^9/turns^9/turns^9/turn^9";
  char longer[80];
  assert_true(strlen(whole) == 2 + 63);
  assert_near(si(whole, SB_LENGTH), 1.0, rounding);
  snprintf(longer, sizeof longer, "%sq", whole);
  assert_refused(longer, SB_LENGTH, "found");
  assert_refused("1 Gm9.Gm9.Gm9.Gm9/Gm9/Gm9/Gm9/Gm8", SB_LENGTH, "unknown unit"); /* its factor leaves a double */
}

static void only_plain_decimals_are_numbers(void **state)
{
  (void)state;
  static const char *const texts[] = {"",    "nan V", "inf V",   "-inf V", "infinity V", "V",     "e5 V",  ". V",
                                      "- V", "+-1 V", "1e999 V", "--1 V",  "1_000 V",    "1 2 V", "0x10 V"};
  for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) assert_refused(texts[i], SB_VOLTAGE, "needs a voltage");
  assert_refused("12,5 V", SB_VOLTAGE, "decimal comma");
  double value = 0.0;
  assert_null(sb_units_parse_number("nan", &value));
  assert_string_equal(sb_units_parse_number("1e-3e5", &value), "e5");
  assert_near(value, 1e-3, 0.0);
  assert_string_equal(sb_units_parse_number("12e", &value), "e");
  assert_near(value, 12.0, 0.0);
}

/* More digits than any buffer is made for: a third to 80 of them, and one followed by text that is no part of it. */
static void numbers_of_any_length_are_taken(void **state)
{
  (void)state;
  char text[100] = "0.";
  memset(text + 2, '3', 80);
  strcpy(text + 82, " V");
  assert_near(si(text, SB_VOLTAGE), 1.0 / 3.0, 0.0);
  for (size_t length = 60; length < 70; length++) { /* zeros before a one */
    double value = 0.0;
    memset(text, '0', length);
    strcpy(text + length - 1, "1e2e3");
    assert_string_equal(sb_units_parse_number(text, &value), "e3");
    assert_near(value, 100.0, 0.0);
  }
}

static void a_number_too_large_for_its_prefix_is_refused(void **state)
{
  (void)state;
  assert_refused("1e300 Gm", SB_LENGTH, "too large");
}

static void numbers_read_back_what_was_written(void **state)
{
  (void)state;
  static const double values[] = {0.1, 1.0 / 3.0, 6.02214076e23, 5e-324, 1.7976931348623157e308, 123456789.123456789};
  for (size_t i = 0; i < sizeof values / sizeof *values; i++) {
    char text[64];
    snprintf(text, sizeof text, "%.17g V", values[i]);
    assert_near(si(text, SB_VOLTAGE), values[i], 0.0);
  }
}

static void ranges_have_two_ends_in_one_unit(void **state)
{
  (void)state;
  double least = 0.0, greatest = 0.0;
  struct sb_error err;
  assert_int_equal(sb_units_parse_range("9.6..12.6 V", SB_VOLTAGE, &least, &greatest, &err), SB_OK);
  assert_near(least, 9.6, 0.0);
  assert_near(greatest, 12.6, 0.0);
  assert_int_equal(sb_units_parse_range("-5..5 C", SB_TEMPERATURE, &least, &greatest, &err), SB_OK);
  assert_near(least, -5.0, 0.0);
  assert_int_equal(sb_units_parse_range("263.15..293.15 K", SB_TEMPERATURE, &least, &greatest, &err), SB_OK);
  assert_near(least, -10.0, 1e-13);
  assert_near(greatest, 20.0, 1e-13);
  assert_int_equal(sb_units_parse_range("55..65 %", SB_PERCENT, &least, &greatest, &err), SB_OK);
  assert_near(greatest, 0.65, 0.0);
  static const char *const wrong[] = {"9.6 V",  "9.6.12.6 V", "12.6..9.6 V",   "9.6..12.6", "9.6..V",
                                      "..12 V", "1..2..3 V",  "9.6 V..12.6 V", "9..12 A"};
  for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
    if (sb_units_parse_range(wrong[i], SB_VOLTAGE, &least, &greatest, &err) == SB_OK) fail_msg("took %s", wrong[i]);
  }
  assert_near(least, 0.55, 0.0);
}

static void a_key_may_take_one_of_two_quantities(void **state)
{
  (void)state;
  double value = 0.0;
  enum sb_quantity found = SB_TIME;
  struct sb_error err;
  assert_int_equal(sb_units_parse_either("60 %", SB_PERCENT, SB_SPEED, &value, &found, &err), SB_OK);
  assert_int_equal(found, SB_PERCENT);
  assert_int_equal(sb_units_parse_either("60 rpm", SB_PERCENT, SB_SPEED, &value, &found, &err), SB_OK);
  assert_int_equal(found, SB_SPEED);
  assert_near_rel(value, 2.0 * M_PI, rounding);
  assert_int_equal(sb_units_parse_either("60 V", SB_PERCENT, SB_SPEED, &value, &found, &err), SB_ERR_SCENARIO);
  assert_non_null(strstr(err.text, "a percentage (%) or an angular speed"));
}

/* The units that an error text offers must be taken. */
static void every_unit_offered_is_taken(void **state)
{
  (void)state;
  for (int q = SB_PERCENT; q < SB_QUANTITY_COUNT; q++) {
    char units[256];
    snprintf(units, sizeof units, "%s", sb_units_offered((enum sb_quantity)q));
    int count = 0;
    for (char *unit = strtok(units, ", "); unit != NULL; unit = strtok(NULL, ", ")) {
      char text[64];
      snprintf(text, sizeof text, "1 %s", unit);
      assert_true(isfinite(si(text, (enum sb_quantity)q)));
      count++;
    }
    assert_true(count > 0);
  }
}

static void quoted_text_is_short_and_harmless(void **state)
{
  (void)state;
  assert_string_equal(sb_fail_quote("a\x1b[31m\n").text, "\"a\\x1b[31m\\x0a\"");
  char longest[4096];
  memset(longest, '\x01', sizeof longest - 1);
  longest[sizeof longest - 1] = 0;
  assert_true(strlen(sb_fail_quote(longest).text) < sizeof(struct sb_quote));
  memset(longest, '\xbf', sizeof longest - 1);
  assert_true(strlen(sb_fail_quote(longest).text) < sizeof(struct sb_quote));
  /* Characters of two bytes stay whole, at either of the places where such a text may be cut. */
  for (size_t plain = 0; plain < 2; plain++) {
    memset(longest, 'a', plain);
    for (size_t i = plain; i + 2 <= 200; i += 2) memcpy(longest + i, "\xc3\xbc", 3);
    const struct sb_quote quote = sb_fail_quote(longest);
    const char *out = quote.text;
    const size_t kept = strlen(out) - strlen("\"...\"");
    assert_true(kept > 50 && strcmp(out + 1 + kept, "...\"") == 0);
    assert_memory_equal(out + 1, longest, kept);
    assert_int_equal((kept - plain) % 2, 0);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(customary_units_agree_with_gsl),
      cmocka_unit_test(exact_definitions_are_exact),
      cmocka_unit_test(angles_and_speeds_turn_into_radians),
      cmocka_unit_test(decimal_prefixes_round_only_once),
      cmocka_unit_test(one_unit_may_be_written_in_several_ways),
      cmocka_unit_test(products_may_be_written_in_several_ways),
      cmocka_unit_test(customary_units_are_those_of_nist),
      cmocka_unit_test(the_weight_of_a_mass_makes_a_torque_and_is_told),
      cmocka_unit_test(turns_are_counted_by_the_minute_only),
      cmocka_unit_test(a_unit_that_is_nearly_right_is_refused_with_the_right_one),
      cmocka_unit_test(coefficients_take_torque_per_speed),
      cmocka_unit_test(temperatures_come_in_celsius),
      cmocka_unit_test(a_ratio_may_stand_bare_and_a_percentage_may_not),
      cmocka_unit_test(a_number_without_its_unit_is_refused_with_the_units),
      cmocka_unit_test(a_unit_of_another_kind_is_named),
      cmocka_unit_test(what_is_no_unit_is_refused),
      cmocka_unit_test(only_plain_decimals_are_numbers),
      cmocka_unit_test(numbers_of_any_length_are_taken),
      cmocka_unit_test(a_number_too_large_for_its_prefix_is_refused),
      cmocka_unit_test(numbers_read_back_what_was_written),
      cmocka_unit_test(ranges_have_two_ends_in_one_unit),
      cmocka_unit_test(a_key_may_take_one_of_two_quantities),
      cmocka_unit_test(every_unit_offered_is_taken),
      cmocka_unit_test(quoted_text_is_short_and_harmless),
  };
  return cmocka_run_group_tests_name("units", tests, NULL, NULL);
}
