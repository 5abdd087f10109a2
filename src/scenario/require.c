// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `require`: what every design must reach, and which of it cannot all be. */
#include <math.h>

#include "base/constants.h"
#include "scenario/choices.h"
#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define REQUIRE(field) .offset = offsetof(struct sb_require, field)
#define SPEED(field) .offset = offsetof(struct sb_require_speed, field)

static const struct sb_key output_speed_keys[] = {
    {QUANTITY("load", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", SPEED(load_nm),
     .meaning = "The constant load at the output."},
    {QUANTITY("minimum", SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, SPEED_MAX),
     .default_words = "minimum or maximum is required", SPEED(minimum_rad_s),
     .meaning = "The least speed of the output there, in the gear that turns it fastest."},
    {QUANTITY("maximum", SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, SPEED_MAX),
     .default_words = "minimum or maximum is required", SPEED(maximum_rad_s),
     .meaning = "The greatest speed of the output there, in the gear that turns it fastest."},
    {.name = NULL}};

static const struct sb_key carry_keys[] = {
    {QUANTITY("load", SB_TORQUE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TORQUE_MAX), SPEED(load_nm),
     .meaning = "The constant load at the output that a gear must carry."},
    {QUANTITY("minimum", SB_SPEED), BETWEEN(0, SPEED_MAX), .default_text = "0 rpm", SPEED(minimum_rad_s),
     .meaning = "The least speed of the output while it does."},
    {.name = NULL}};

static const struct sb_section output_speed_section = {"output_speed", "one load and the speeds under it",
                                                       output_speed_keys, NULL};
static const struct sb_section carry_section = {"carry", "one load that is carried", carry_keys, NULL};

static const struct sb_key keys[] = {
    {LIST("output_speed", sb_require, speeds, speed_count, SB_REQUIRE_SPEED_MAX), .flags = SB_NOT_EMPTY,
     .section = &output_speed_section, .default_words = "none",
     .meaning = "Speeds of the output in steady state under constant loads."},
    {LIST("carry", sb_require, carries, carry_count, SB_REQUIRE_SPEED_MAX), .flags = SB_NOT_EMPTY,
     .section = &carry_section, .default_words = "none", .meaning = "Constant loads that some gear must carry."},
    {QUANTITY("finish", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_words = "any time",
     REQUIRE(finish_s),
     .meaning = "The time within which the run has travelled run.distance, or made the turns below at its mean speed."},
    {QUANTITY("turns", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1e9), .default_words = "run.distance", REQUIRE(turns),
     .meaning = "The turns of the output that finish is about, where the run has no distance."},
    {QUANTITY("charge", SB_CHARGE), .flags = SB_ABOVE, BETWEEN(0, 1e9), .default_words = "any", REQUIRE(charge_as),
     .meaning = "The greatest charge that the run may take."},
    {QUANTITY("current", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, CURRENT_MAX), .default_words = "any",
     REQUIRE(current_a), .meaning = "The greatest current of the motor in the run."},
    {QUANTITY("winding", SB_TEMPERATURE), BETWEEN(-273.15, 2000), .default_words = "any", REQUIRE(winding_c),
     .meaning = "The greatest temperature of the winding in the run."},
    {QUANTITY("output_torque", SB_TORQUE), .flags = SB_ABOVE, BETWEEN(0, TORQUE_MAX), .default_words = "any",
     REQUIRE(output_torque_nm), .meaning = "The greatest torque at the output in the run."},
    {QUANTITY("length", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, 1e3), .default_words = "any", REQUIRE(length_m),
     .meaning = "The greatest length of the box: its axles in a line, with the first and the last wheel."},
    {.name = NULL}};

const struct sb_section sb_require_section = {"require", "what every design of `shiftband design` must reach", keys,
                                              NULL};

static void check_speeds(struct sb_reader *reader, const struct sb_require *require)
{
  for (int k = 0; k < require->speed_count; k++) {
    const struct sb_require_speed *speed = &require->speeds[k];
    const struct sb_path path = sb_reader_path("require.output_speed.%d", k + 1);
    if (isnan(speed->minimum_rad_s) && isnan(speed->maximum_rad_s)) {
      sb_reader_fault(reader, path.text, "needs a minimum or a maximum, found neither");
    }
  }
}

/* A heavier load is never turned faster: a minimum above the maximum of a lighter load cannot be. */
static void check_pair(struct sb_reader *reader, const struct sb_require_speed *least, const char *path,
                       const struct sb_require *require)
{
  for (int k = 0; k < require->speed_count; k++) {
    const struct sb_require_speed *most = &require->speeds[k];
    if (!(least->load_nm >= most->load_nm && least->minimum_rad_s > most->maximum_rad_s)) continue;
    sb_reader_fault(reader, path,
                    "needs a minimum that can be: output_speed.%d allows at most %.6g rpm under a load that is not "
                    "heavier, found %.6g rpm",
                    k + 1, most->maximum_rad_s * 30.0 / SB_PI, least->minimum_rad_s * 30.0 / SB_PI);
    return;
  }
}

void sb_reader_finish_require(struct sb_reader *reader, const struct sb_require *require)
{
  check_speeds(reader, require);
  for (int k = 0; k < require->speed_count; k++) {
    check_pair(reader, &require->speeds[k], PATH("require.output_speed.%d.minimum", k + 1), require);
  }
  for (int k = 0; k < require->carry_count; k++) {
    check_pair(reader, &require->carries[k], PATH("require.carry.%d.minimum", k + 1), require);
  }
  if (isnan(require->turns)) {
    const bool has_distance = sb_reader_has(reader, "run.distance");
    if (isfinite(require->finish_s) && !has_distance) {
      sb_reader_fault(reader, "require.finish", "needs turns beside it, or run.distance, found neither");
    }
  } else if (isnan(require->finish_s)) {
    sb_reader_fault(reader, "require.turns", "needs finish beside it, the time for them");
  }
}
