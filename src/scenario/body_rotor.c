// SPDX-License-Identifier: GPL-3.0-or-later
/* The bodies `fan` and `pump`: their keys and their checks. */
#include "scenario/body_kinds.h"

#define ROTOR(field) .offset = offsetof(struct sb_body_draft, body.as.rotor.field)

/* clang-format off */
#define ROTOR_KEYS                                                                                           \
  {QUANTITY("inertia", SB_INERTIA), .flags = SB_REQUIRED, BETWEEN(INERTIA_MIN, INERTIA_MAX),                 \
   ROTOR(inertia_kg_m2), .meaning = "The inertia of the wheel and of everything that turns with it."},       \
  {QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), ROTOR(torque_nm),            \
   .meaning = "The whole torque at the speed below."},                                                       \
  {QUANTITY("speed", SB_SPEED), .flags = SB_REQUIRED, BETWEEN(1e-3, 1e6), ROTOR(speed_rad_s),                \
   .meaning = "The speed at which it takes that torque."}
/* clang-format on */

static const struct sb_key fan_keys[] = {ROTOR_KEYS, {.name = NULL}};
static const struct sb_key pump_keys[] = {
    ROTOR_KEYS,
    {QUANTITY("static_torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), ROTOR(static_nm),
     .meaning = "The torque against the static head, a part of the whole torque; it opposes the motion at any speed."},
    {.name = NULL}};

static void finish_fan(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  (void)reader;
  (void)path;
  draft->body.as.rotor.static_nm = 0.0;
}

static void finish_pump(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  const struct sb_rotor *rotor = &draft->body.as.rotor;
  if (!(rotor->static_nm > rotor->torque_nm)) return;
  sb_reader_fault(reader, PATH("%.200s.static_torque", path),
                  "needs at most the whole torque (%.10g N.m), found %.10g N.m", rotor->torque_nm, rotor->static_nm);
}

static const struct sb_body_form fan_form = {&sb_body_fan, finish_fan}, pump_form = {&sb_body_pump, finish_pump};

const struct sb_section sb_body_section_fan = {"fan", "its torque follows the squared speed", fan_keys, &fan_form};
const struct sb_section sb_body_section_pump = {
    "pump", "its torque follows the squared speed, above the torque of a static head", pump_keys, &pump_form};
