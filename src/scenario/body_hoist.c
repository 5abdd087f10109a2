// SPDX-License-Identifier: GPL-3.0-or-later
/* The body `hoist`: its keys and its defaults. */
#include "scenario/body_kinds.h"

#define HOIST(field) .offset = offsetof(struct sb_body_draft, body.as.hoist.field)

static const struct sb_key keys[] = {
    {QUANTITY("mass", SB_MASS), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, MASS_MAX), HOIST(mass_kg),
     .meaning = "The mass on the rope; it rises while the output turns forward."},
    {QUANTITY("counterweight", SB_MASS), BETWEEN(0, MASS_MAX), .default_text = "0 kg", HOIST(counterweight_kg),
     .meaning = "The mass on the other side of the drum; it sinks while the first one rises."},
    {QUANTITY("drum_radius", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, RADIUS_MAX), HOIST(drum_radius_m),
     .meaning = "The radius to the middle of the rope."},
    {QUANTITY("drum_inertia", SB_INERTIA), BETWEEN(0, INERTIA_MAX), .default_text = "0 kg.m2",
     HOIST(drum_inertia_kg_m2), .meaning = "The inertia of the drum and of everything that turns with it."},
    {QUANTITY("friction_torque", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", HOIST(friction_nm),
     .meaning = "The friction of the rope and the drum, at the drum; it opposes the motion."},
    {QUANTITY("breakaway_torque", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_words = "as friction_torque",
     HOIST(breakaway_nm),
     .meaning =
         "The torque that it takes to start the motion from standstill, where it is greater than friction_torque."},
    {QUANTITY("holding_brake", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", HOIST(brake_nm),
     .meaning = "The torque of a holding brake at the drum, which is closed in neutral and while the drive is off."},
    GRAVITY(HOIST),
    {.name = NULL}};

static void finish(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  struct sb_hoist *hoist = &draft->body.as.hoist;
  sb_reader_default(reader, PATH("%.200s.breakaway_torque", path), &hoist->breakaway_nm, hoist->friction_nm);
}

static const struct sb_body_form form = {&sb_body_hoist, finish};

const struct sb_section sb_body_section_hoist = {"hoist", "a mass on a drum", keys, &form};
