// SPDX-License-Identifier: GPL-3.0-or-later
/* fit_request.c - the arguments of `shiftband fit`. */
#include "cli/fit_request.h"
#include "cli/command.h"

static const char *const phases[] = {"seen", "spin-up", "coast-down", "both", NULL};
static const char *const offs[] = {"coast", "brake", NULL};

#define GAUGE_WORDS(kind, name, percent, means) " " name "=" #percent " % (" means "),"

const struct sb_option sb_fit_options[] = {
    {"output", 'o', "FILE.yaml",
     "write the scenario section alone there, with tolerances; - is standard output (the report then goes to standard error)",
     SB_INTO_OUTPUT(struct sb_fit_request, output)},
    {"json", 0, NULL, "print one JSON object instead of report and section",
     SB_INTO_FLAG(struct sb_fit_request, is_json)},
    {"residuals", 0, "FILE.csv", "every reading with its computed value",
     SB_INTO_OUTPUT(struct sb_fit_request, residuals)},
    SB_OPTION_QUIET_OF(struct sb_fit_request),
    {"scenario", 0, "FILE",
     "the machine around the motor; its motor figures are taken as known unless --fit names them",
     SB_INTO_INPUT(struct sb_fit_request, scenario)},
    SB_OPTION_SET_OF(struct sb_fit_request),
    {"gear", 0, "NAME", "the gear that was engaged, for logs without a gear column (default: the start gear)",
     SB_INTO_TEXT(struct sb_fit_request, gear)},
    {"fit", 0, "KEYS",
     "with a scenario: what to fit, with commas (default: gearbox.mesh_efficiency, load_friction, load_viscous, load.inertia, "
     "motor.rotor_inertia)",
     SB_INTO_TEXT(struct sb_fit_request, fitted)},
    {"known", 0, "KEY=VALUE",
     "a figure known beforehand, exactly or as a 95 % range: --known motor.rotor_inertia='2.1e-4 kg.m2' --known "
     "motor.stall_torque='0.38..0.46 N.m'",
     SB_INTO_LIST(struct sb_fit_request, known)},
    {"gauge", 0, "NAME=PERCENT",
     "by how much a gauge may be wrong, in all its readings alike: --gauge 'torque=1 %, speed=0.5 %'; the others stay usual:" SB_FIT_GAUGE_LIST(
         GAUGE_WORDS) " common practice; none makes all exact",
     SB_INTO_TEXT(struct sb_fit_request, gauge)},
    {"voltage", 0, "VOLTAGE", "nominal voltage, and that of logs without a voltage column",
     SB_INTO_QUANTITY(struct sb_fit_request, voltage_v, SB_VOLTAGE, 0.0)},
    {"equal-constants", 0, NULL, "assume kt = ke: there is no gearhead between winding and shaft",
     SB_INTO_FLAG(struct sb_fit_request, is_equal_constants)},
    {"phase", 0, "WORD", "what a log over time without duty shows: spin-up, coast-down, both (default: as seen)",
     SB_INTO_CHOICE(struct sb_fit_request, phase, phases)},
    {"off", 0, "WORD", "what duty 0 does: coast (open circuit, default) or brake (short circuit)",
     SB_INTO_CHOICE(struct sb_fit_request, off, offs)},
    {"arm", 0, "LENGTH", "lever or drum radius that makes a torque of force or mass, as --arm '12 mm'",
     SB_INTO_QUANTITY(struct sb_fit_request, arm_m, SB_LENGTH, 0.0)},
    SB_LOG_FACTS_OPTIONS(struct sb_fit_request, facts),
    {0},
};

const struct sb_option_rule sb_fit_rules[] = {
    {"gear fit set", SB_NEEDS, "scenario", "they are about its keys"},
    {"output=- residuals=-", SB_EXCLUDES, "json", "both use standard output"},
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {0},
};

const char sb_fit_about[] =
    "Finds a motor's no-load speed and stall torque, currents, friction and inertia (with a scenario: also mesh efficiency and load) from bench "
    "measurements, with standard errors and 95 % intervals. It says what the data leave open, and which measurement would "
    "determine it. Several logs of one machine are fitted together.\n"
    "\n"
    "A log is CSV with a header line. Either it holds points in steady state: torque (or force or mass, with --arm), speed, and "
    "optionally current, voltage, gear. Or it runs over time: time, speed, and optionally voltage, current, duty, gear, "
    "added_inertia. Then it shows a spin-up from rest, a coast-down (it may begin before the circuit is opened), both in turn, or (with a scenario and a "
    "gear column, 0 while no gear is engaged) up to 12 shifts.\n"
    "\n"
    "A column's unit stands in its name: speed_rpm, time_ms, current_a, force_n, mass_g, duty_pct, \"speed [rpm]\". speed is "
    "the motor's (output_speed: after the gears), current is the motor's, voltage is that of the drive's supply.";
