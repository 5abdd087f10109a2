// SPDX-License-Identifier: GPL-3.0-or-later
/* The top of the table of all scenario keys; each section stands in a file of its own. */
#include "scenario/schema_words.h"

static const struct sb_key choices_keys[] = {{SECTION("wheels", &sb_wheels_section),
                                              .default_words = "the gears of the scenario",
                                              .meaning = "A shelf of wheels that boxes are put together from."},
                                             {.name = NULL}};

static const struct sb_section choices_section = {
    "choices", "what `shiftband design` may choose from, besides values by their paths", choices_keys, NULL};

static const struct sb_key keys[] = {
    {TEXT("name", 128), .default_words = "the file's name", MODEL(name), .meaning = "What the scenario is about."},
    {SECTION("motor", &sb_motor_section), .flags = SB_REQUIRED, .meaning = "The motor."},
    {SECTION("supply", &sb_supply_section), .default_words = "nominal voltage, no resistance",
     .meaning = "The supply of the motor's current."},
    {SECTION("drive", &sb_drive_section), .flags = SB_SHORT_FORM, .default_words = "100 % in open loop",
     .meaning = "The duty that the motor is given: a percentage alone, or a section."},
    {SECTION("gearbox", &sb_gearbox_section), .flags = SB_REQUIRED, .meaning = "The gearbox."},
    {SECTION("load", &sb_load_section), .flags = SB_REQUIRED, .meaning = "The load on the output."},
    {SECTION("controller", &sb_controller_section), .default_words = "required with two or more gears",
     .meaning = "The controller that selects the gears."},
    {SECTION("run", &sb_run_section), .flags = SB_REQUIRED, .meaning = "The length and the step of the simulation."},
    {SECTION("limits", &sb_limits_section), .default_words = "no limits", .meaning = "The limits of the machine."},
    {LATER("tolerances", "section of PATH: SPREAD lines"), .default_words = "none",
     .meaning = "The spread of any quantity above, by its dotted path: motor.stall_torque: 10 % (to either side), "
                "gearbox.gears.1.drag: 2 mN.m (to either side), supply.open_circuit_voltage: 9.6..12.6 V."},
    {LATER("choices", "section of PATH: [VALUE, ...] lines"), .default_words = "none", .section = &choices_section,
     .meaning = "What `shiftband design` may choose from, by the dotted path of a quantity or a section: "
                "supply.open_circuit_voltage: [7.2 V, 9.6 V], motor: [motors/small.yaml, motors/geared.yaml]."},
    {LATER("require", "section"), .default_words = "nothing", .section = &sb_require_section,
     .meaning = "What every design of `shiftband design` must reach."},
    {.name = NULL}};

const struct sb_section sb_scenario_schema = {"scenario", "one machine and one run", keys, NULL};
