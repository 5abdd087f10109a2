// SPDX-License-Identifier: GPL-3.0-or-later
/* The keys of the drive, a part of the table of all keys: see scenario_schema.h. */
#include <stddef.h>

#include "scenario/schema.h"

#define MODEL(field) .offset = offsetof(struct sb_draft, model.drive.field)
#define DRAFT(field) .offset = offsetof(struct sb_draft, drive.field)
#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define TIME_MAX 1e8 /* s, about three years */

static const struct sb_choice modes[] = {
    {"open loop", SB_MODE_OPEN}, {"speed control", SB_MODE_SPEED_CONTROL}, {NULL, 0}};
static const struct sb_choice offs[] = {{"coast", SB_OFF_COAST}, {"brake", SB_OFF_BRAKE}, {NULL, 0}};

static const struct sb_key drive_keys[] = {
    {QUANTITY("limit", SB_PERCENT), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "100 %", MODEL(limit_fraction),
     .meaning =
         "Greatest share of the supply's voltage at the motor (duty); its sense comes from the gear and the schedule."},
    {.name = "mode",
     .kind = SB_KEY_CHOICE,
     .choices = modes,
     .default_text = "open loop",
     DRAFT(mode),
     .meaning = "open loop: the duty is the limit; speed control: an inner loop sets it, so that the motor turns at "
                "`target` until the limit is reached."},
    {.name = "target",
     .kind = SB_KEY_EITHER,
     .quantity = SB_PERCENT,
     .other = SB_SPEED,
     .flags = SB_ABOVE,
     BETWEEN(0, 2),
     .default_words = "required for speed control",
     DRAFT(target),
     .meaning = "Motor speed to hold, in percent of the motor's no-load speed or as a speed."},
    {.name = "proportional_band",
     .kind = SB_KEY_EITHER,
     .quantity = SB_PERCENT,
     .other = SB_SPEED,
     .flags = SB_ABOVE,
     BETWEEN(0, 1e3),
     .default_text = "20 %",
     DRAFT(band),
     .meaning =
         "Speed control: distance from the target at which the proportional part alone gives full duty, in percent "
         "of the motor's no-load speed or as a speed."},
    {QUANTITY("integral_time", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "the longest time constant of a gear", DRAFT(integral_time_s),
     .meaning = "Speed control: time in which the integral part of a constant error grows as great as its proportional "
                "part; a very long one leaves that alone."},
    {QUANTITY("period", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, 1e4),
     .default_words = "5 ms, or the next shorter time that fits step and sample period", MODEL(period_s),
     .meaning = "Time between two changes of the duty: a whole multiple of the step that goes into the sample period."},
    {QUANTITY("ramp", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(ramp_s),
     .meaning = "Time in which the duty may rise from 0 to 100 % at the fastest, at each start; it falls at once."},
    {.name = "when_off",
     .kind = SB_KEY_CHOICE,
     .choices = offs,
     .default_text = "coast",
     DRAFT(off),
     .meaning = "While the schedule says stop, coast: the motor's circuit is open; brake: it is short."},
    {.name = "schedule",
     .kind = SB_KEY_LATER,
     .default_words = "forward all the time",
     .needs = "list of [time, order]",
     .meaning =
         "Times ascending, each with forward, stop or reverse from then on; before the first one, that one. A box "
         "whose gear the motor's sense selects has no reverse."},
    {.name = NULL}};

const struct sb_section sb_drive_section = {"drive", "what duty the motor is given; a percentage alone is its limit",
                                            drive_keys};
