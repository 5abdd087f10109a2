// SPDX-License-Identifier: GPL-3.0-or-later
/* records_check.c - what `check` writes for machines. */
#include "text/record_rows.h"

/* Motor, gears, pairs ------------------------------------------------------------------------------------------------------ */

RECORD(check_motor, "check_motor", "the motor at its supply",
       IS("open_circuit_voltage_v", NUMBER, "the voltage of the supply without load"),
       IS("internal_resistance_ohm", NUMBER, "the internal resistance of the supply"),
       IS("duty_pct", NUMBER, "the greatest duty of the drive"),
       IS("no_load_speed_rad_s", NUMBER, "the speed of the motor without load"),
       IS("no_load_reading_pct", NUMBER, "what the controller reads there"),
       IS("reference_rad_s", NUMBER, "the speed of a reading of 100 %"),
       IS("stall_torque_nm", NUMBER, "the torque of the blocked motor"),
       IS("current_limit_a", NUMBER, "the limit of the driver's current; null: none"),
       IS("corner_speed_rad_s", NUMBER, "the speed below which the current is held at its limit"),
       IS("corner_reading_pct", NUMBER, "what the controller reads there"),
       IS("corner_battery_current_a", NUMBER, "what the battery gives there"),
       IS("speed_limit_rad_s", NUMBER, "the greatest speed allowed of the motor; null: the scenario gives none"),
       IS("greatest_power_w", NUMBER, "the greatest power at the motor's shaft"),
       IS("greatest_power_speed_rad_s", NUMBER, "the speed at which it gives that"),
       IS("slope_nms_rad", NUMBER, "the slope of torque over speed"),
       IS("friction_nm", NUMBER, "the friction of the motor"), IS("kt_nm_a", NUMBER, "the torque constant"),
       IS("ke_vs_rad", NUMBER, "the voltage constant"), IS("resistance_ohm", NUMBER, "the resistance of the winding"));

RECORD(steady_state, "steady_state", "the gear under one load, when nothing changes any more",
       IS("reading_pct", NUMBER, "what the controller reads"),
       IS("output_speed_rad_s", NUMBER, "the speed of the output"));

RECORD(check_gear, "check_gear", "a gear of the gearbox", IS("name", TEXT, "the name of the gear"),
       IS("ratio", NUMBER, "turns of the motor for one of the output"),
       IS("efficiency", NUMBER, "the efficiency from the motor to the output"),
       IS("back_efficiency", NUMBER, "the efficiency from the output to the motor; negative: it locks itself"),
       IS("lowering_torque_nm", NUMBER, "the torque at the motor that lowers the lightest load; null: none is needed"),
       IS("jams", FLAG, "it locks itself, and stops at once as soon as the output would drive"),
       IS("output_direction", WHOLE, "the direction of rotation of the output: 1 or -1"),
       IS("stall_torque_nm", NUMBER, "the torque at the output when the motor is blocked"),
       IS("exceeds_limit", FLAG, "its stall torque exceeds the limit of the output torque"),
       IS("time_constant_s", NUMBER, "the time constant with which its speed follows a change"),
       IS("inertia_kg_m2", NUMBER, "the whole inertia as the motor has it in this gear"),
       IS("wheels_inertia_kg_m2", NUMBER, "the part of the gearbox's wheels in it"),
       OF("steady_state", OBJECT, steady_state, "under the lightest load"),
       OF("steady_state_heaviest", OBJECT, steady_state, "under the heaviest load"),
       IS("least_voltage_heaviest_v", NUMBER, "the voltage of the supply at which it just carries the heaviest load"));

RECORD(crossover, "crossover", "the load at which both gears turn the output equally fast",
       IS("load_nm", NUMBER, "that load; null: one gear is always the faster one"),
       IS("output_speed_rad_s", NUMBER, "the speed of the output there"),
       IS("slower_reading_pct", NUMBER, "the reading in the slower gear there"),
       IS("faster_reading_pct", NUMBER, "the reading in the faster gear there"),
       IS("acceleration_speed_rad_s", NUMBER, "output speed above which the faster gear accelerates better"),
       OR_NULL("always_faster", TEXT, "the gear that is faster under every load: `slower` or `faster`"),
       OR_NULL("downshift_torque", TEXT, "on which side of that load the downshift torque lies: `below` or `above`"),
       OR_NULL("upshift_torque", TEXT, "on which side of that load the upshift torque lies: `below` or `above`"));

RECORD(equal_energy, "equal_energy", "the load at which both gears need the same energy for a turn of the output",
       IS("load_nm", NUMBER, "that load; null: there is none"),
       IS("energy_per_turn_j", NUMBER, "the energy for a turn of the output there"),
       OR_NULL("always_less", TEXT, "the gear that needs less under every load: `slower` or `faster`"));

SHARED(thresholds, "thresholds", "a pair of thresholds",
       IS("downshift_below_pct", NUMBER, "the downshift threshold of the reading"),
       IS("upshift_above_pct", NUMBER, "the upshift threshold of the reading"));

SHARED(pair, "pair", "two gears beside each other", IS("slower", TEXT, "the name of the slower gear"),
       IS("faster", TEXT, "the name of the faster gear"));

RECORD(safe_upshift, "safe_upshift", "an upshift threshold that cannot hunt",
       IS("least_safe_upshift_pct", NUMBER,
          "the least upshift threshold with no hunting band, at this downshift threshold"));

RECORD(safe_downshift, "safe_downshift", "a downshift threshold that cannot hunt",
       IS("greatest_safe_downshift_pct", NUMBER,
          "the greatest downshift threshold with no hunting band, at this upshift threshold"));

RECORD(check_pair, "check_pair", "two gears beside each other, and what their thresholds do", MEMBERS(pair),
       MEMBERS(thresholds),
       IS("downshift_torque_nm", NUMBER, "above this load the faster gear falls to the downshift threshold"),
       IS("upshift_torque_nm", NUMBER, "below this load the slower gear rises to the upshift threshold"),
       MEMBERS(safe_upshift), MEMBERS(safe_downshift),
       IS("upshift_margin_pct", NUMBER, "the upshift threshold less the least safe one"),
       IS("stuck_low", FLAG, "the slower gear does not reach the upshift threshold even under the lightest load"),
       IS("helping_upshift_nm", NUMBER, "the helping load from which the motor's current opposes the upshift"),
       IS("helping_downshift_nm", NUMBER, "the helping load from which the current forces the downshift"),
       IS("needless_downshift", FLAG, "the faster gear is not held even under the lightest load"),
       IS("upshift_time_s", NUMBER, "how long an upshift takes"),
       IS("downshift_time_s", NUMBER, "how long a downshift takes"),
       IS("shortest_dwell_s", NUMBER, "the dwell below which the box shifts back with no load to blame"),
       IS("shortest_dwell_steady_s", NUMBER, "the same from a steady state"),
       IS("shortest_start_delay_s", NUMBER, "the start delay below which the box shifts down at the start"),
       IS("least_voltage_upshift_v", NUMBER,
          "the voltage of the supply at which the upshift threshold is just reached"),
       IS("least_voltage_hold_v", NUMBER, "the voltage of the supply at which the faster gear is just held"),
       ROW("hunting_band_nm", NUMBERS, false, true, NULL,
           "two loads: under every constant load between them the box shifts for ever; null: there is no band"),
       OF("crossover", OBJECT, crossover, "where both gears are equally fast"),
       OF("equal_energy", OBJECT, equal_energy, "where both gears need the same energy"));

RECORD(check_case, "check_case", "the machine at one supply or one temperature",
       IS("case", TEXT, "`nominal`, `least`, `greatest`, `cold` or `warm`"),
       MAY("magnet_c", NUMBER, "the temperature of the magnets"), OF("motor", OBJECT, check_motor, "the motor then"),
       OF("gears", LIST, check_gear, "all gears, the slowest first"),
       OF("pairs", LIST, check_pair, "all pairs of gears"));

/* Drive, sensor, load, shaft, vehicle -------------------------------------------------------------------------------------- */

RECORD(order, "order", "one line of the drive's schedule", IS("time_s", NUMBER, "from when on it holds"),
       IS("drive", TEXT, "`forward`, `stop` or `reverse`"));

RECORD(held_gear, "held_gear", "what speed control does in a gear", IS("name", TEXT, "the name of the gear"),
       IS("hidden_torque_nm", NUMBER, "loads up to this one do not change the speed"),
       IS("stable", FLAG, "the control settles in this gear"));

RECORD(speed_control, "speed_control", "the settings of speed control",
       IS("target_rad_s", NUMBER, "the speed of the motor that it holds"),
       IS("proportional_band_rad_s", NUMBER, "the difference in speed for the full duty"),
       IS("integral_time_s", NUMBER, "the integral time"), OF("gears", LIST, held_gear, "what it does in each gear"));

RECORD(check_drive, "check_drive", "how the motor is driven", IS("mode", TEXT, "`open loop` or `speed control`"),
       IS("limit_pct", NUMBER, "the greatest duty"), IS("period_s", NUMBER, "the time between two changes of the duty"),
       IS("ramp_s", NUMBER, "the time from rest to full duty; 0: at once"),
       IS("when_off", TEXT, "`coast` or `brake`, while it is stopped"),
       IS("reading", TEXT, "what the controller reads: `speed`, `duty` or `current`"),
       IS("reference_a", NUMBER, "the current of a reading of 100 %"),
       OF("schedule", LIST, order, "when it is switched to what"),
       OF_OR_NULL("speed_control", OBJECT, speed_control, "null in open loop"));

RECORD(sensor_pair, "sensor_pair", "what counted pulses do to a pair of gears", MEMBERS(pair),
       IS("dwell_s", NUMBER, "the shortest dwell with this sensor"),
       IS("start_delay_s", NUMBER, "the shortest start delay with this sensor"),
       IS("stall_seen_s", NUMBER, "the longest time from a sudden stop to a reading below the downshift threshold"));

RECORD(sensor, "sensor", "a speed that is counted or timed by pulses",
       IS("pulses_per_turn", NUMBER, "pulses in a turn of the motor"),
       IS("window_s", NUMBER, "the time in which they are counted; null: they are timed"),
       IS("count_rad_s", NUMBER, "the speed of one pulse in the window"),
       IS("count_pct", NUMBER, "the same as a reading"), IS("lag_s", NUMBER, "how late a steady change is read"),
       OF("pairs", LIST, sensor_pair, "what that does to each pair of gears"));

RECORD(check_load, "check_load", "the load at the output over the run",
       IS("lightest_nm", NUMBER, "the lightest load while the output moves forward"),
       IS("heaviest_nm", NUMBER, "the heaviest load while the output moves forward"),
       IS("lowered_nm", NUMBER, "the load that helps most; 0: none helps"),
       IS("holding_brake_nm", NUMBER, "the torque of the holding brake; 0: none"),
       IS("suspended_nm", NUMBER, "the torque that a holding brake has to hold"),
       IS("inertia_kg_m2", NUMBER, "the inertia at the output"),
       IS("viscous_nms_rad", NUMBER, "the part that grows with the speed"),
       IS("quadratic_nms2_rad2", NUMBER, "the part that grows with the square of the speed"));

RECORD(torque_limit, "torque_limit", "the least limit of the output torque",
       IS("torque_nm", NUMBER, "the greatest torque allowed"),
       OR_NULL("part", TEXT, "the part that gives it; null: it is given as a torque"));

RECORD(shock, "shock", "a shock in the output shaft when two speeds meet at once",
       IS("speed_difference_rad_s", NUMBER, "the difference of the speeds at the output"),
       IS("impulse_nms", NUMBER, "the angular impulse on a rigid shaft"),
       IS("peak_torque_nm", NUMBER, "the greatest torque in the shaft, with its damping"),
       IS("undamped_peak_torque_nm", NUMBER, "the same without damping"),
       IS("stiffness_that_matters_nm_rad", NUMBER,
          "a stiffer shaft gets more than 1.5 times the stall torque of the gear"),
       IS("stiffness_at_limit_nm_rad", NUMBER, "a stiffer shaft gets more than the limit of the output torque"));

RECORD(shaft_gear, "shaft_gear", "the output shaft in a gear", IS("name", TEXT, "the name of the gear"),
       IS("natural_frequency_rad_s", NUMBER, "the natural frequency of the shaft"),
       IS("damping_ratio", NUMBER, "its damping as a share of the critical one"),
       OF_OR_NULL("engagement_shock", OBJECT, shock, "when the gear engages"),
       OF_OR_NULL("impact", OBJECT, shock, "when the backlash is crossed"));

RECORD(output_shaft, "output_shaft", "the output shaft", IS("rigid", FLAG, "it does not give"),
       IS("stiffness_nm_rad", NUMBER, "its stiffness"), IS("damping_nms_rad", NUMBER, "its damping"),
       IS("backlash_rad", NUMBER, "its backlash"),
       OR_NULL("difference_matters", FLAG, "a shock alone exceeds a limit; null: it is rigid"),
       OF("gears", LIST, shaft_gear, "the shaft in each gear"));

RECORD(gear_push, "gear_push", "the push of a vehicle in a gear", IS("name", TEXT, "the name of the gear"),
       IS("stall_push_n", NUMBER, "the push when the motor is blocked"));

RECORD(gear_fate, "gear_fate", "what a gear does at a place of the road", IS("name", TEXT, "the name of the gear"),
       IS("fate", TEXT, "`goes`, `stalls` or `slips`"));

RECORD(stage, "stage", "a place of the road where more push is needed",
       IS("bodies", WHOLE, "how many obstacles are pushed there"),
       IS("steepest", FLAG, "it is the steepest place behind the last obstacle"),
       IS("distance_m", NUMBER, "how far from the start it is"), IS("need_n", NUMBER, "the push that is needed there"),
       IS("ballast_kg", NUMBER, "the ballast that lets slipping wheels push it; 0: none, null: no ballast helps"),
       OF("gears", LIST, gear_fate, "what each gear does there"));

RECORD(check_vehicle, "check_vehicle", "a vehicle whose wheels can slip, or that meets obstacles",
       IS("carried_push_n", NUMBER, "the push that the ground carries at the start; null: any"),
       IS("slipping_push_n", NUMBER, "the push of slipping wheels; null: they do not slip"),
       IS("end_m", NUMBER, "the end of the road; null: there is none"),
       OF("gears", LIST, gear_push, "the push in each gear"),
       OF("stages", LIST, stage, "places where more push is needed"));

/* Battery and heat --------------------------------------------------------------------------------------------------------- */

RECORD(check_battery, "check_battery", "the battery that feeds it",
       OR_NULL("chemistry", TEXT, "the kind of cells; null: a curve of its own"),
       OR_NULL("source", TEXT, "where the curve of that kind comes from"), IS("cells", WHOLE, "cells in series"),
       IS("capacity_ah", NUMBER, "its capacity"), IS("charge_pct", NUMBER, "its charge at the start"),
       IS("cutoff_v", NUMBER, "the voltage below which it cuts off; 0: none"));

RECORD(discharge_finding, "discharge_finding", "a trouble over a stretch of the charge",
       IS("kind", TEXT, "which trouble it is"), OR_NULL("gear", TEXT, "the gear that it is about"),
       OR_NULL("slower", TEXT, "of a pair: the slower gear"), OR_NULL("faster", TEXT, "of a pair: the faster gear"),
       IS("from_charge_pct", NUMBER, "the charge at which it begins"),
       IS("to_charge_pct", NUMBER, "the charge at which it ends"),
       IS("from_voltage_v", NUMBER, "the voltage at which it begins"),
       IS("to_voltage_v", NUMBER, "the voltage at which it ends"), IS("text", TEXT, "the same as a sentence"));

SHARED(charge, "charge", "the battery at one charge", IS("charge_pct", NUMBER, "the charge of the battery"),
       IS("voltage_v", NUMBER, "its voltage without load"));

SHARED(safe_range, "safe_range", "between which thresholds there is no trouble", MEMBERS(safe_upshift),
       IS("stuck_low_from_upshift_pct", NUMBER, "the upshift threshold from which on the box is stuck low"),
       MEMBERS(safe_downshift),
       IS("needless_from_downshift_pct", NUMBER, "the downshift threshold from which on it shifts down needlessly"));

SHARED(shift_torques, "shift_torques", "the loads at which the box shifts",
       IS("downshift_torque_nm", NUMBER, "above this load the faster gear falls to the downshift threshold"),
       IS("upshift_torque_nm", NUMBER, "below this load the slower gear rises to the upshift threshold"));

RECORD(charge_pair, "charge_pair", "two gears beside each other at this charge", MEMBERS(shift_torques),
       MEMBERS(safe_range));

RECORD(charge_row, "charge_row", "the machine at one charge of its battery", MEMBERS(charge),
       IS("stall_torques_nm", NUMBERS, "the torque at the output in each gear when the motor is blocked"),
       OF("pairs", LIST, charge_pair, "all pairs of gears"));

RECORD(discharge, "discharge", "the machine while its battery empties",
       OF("findings", LIST, discharge_finding, "what goes wrong at which charge"),
       OF("table", LIST, charge_row, "the machine at each tenth of the charge"));

RECORD(heat_load, "heat_load", "a load that warms the motor",
       OR_NULL("gear", TEXT, "the gear; null: the motor is blocked"),
       OR_NULL("load", TEXT, "`lightest` or `heaviest`; null: the motor is blocked"),
       IS("external_torque_nm", NUMBER, "the load at the output"), IS("start_loss_w", NUMBER, "the heat at the start"),
       IS("steady_winding_c", NUMBER, "the winding in the end; null: it burns"),
       IS("steady_housing_c", NUMBER, "the housing in the end; null: the winding burns"),
       IS("bound_reached_s", NUMBER, "when the winding reaches the lower of limit and cut-out; null: never"));

RECORD(heat_blocked, "heat_blocked", "the blocked motor", MEMBERS(heat_load),
       IS("closed_again_s", NUMBER, "when the thermal switch closes again after it opened"));

RECORD(heat, "heat", "how the motor warms", IS("ambient_c", NUMBER, "the temperature around it"),
       IS("start_c", NUMBER, "the winding at the start"),
       IS("reference_c", NUMBER, "the temperature of the data sheet"),
       IS("magnet_per_k", NUMBER, "what the magnets lose for each kelvin"),
       IS("limit_c", NUMBER, "the limit of the winding"),
       IS("cut_out_c", NUMBER, "the temperature at which the thermal switch opens"),
       IS("reset_c", NUMBER, "the temperature at which it closes again"),
       IS("bound_c", NUMBER, "the lower of limit and cut-out"),
       OF("blocked", OBJECT, heat_blocked, "the motor blocked"),
       OF("loads", LIST, heat_load, "each gear under the lightest and the heaviest load"),
       IS("warm_c", NUMBER, "the temperature of the case `warm`; null: the winding burns"),
       OF("cases", LIST, check_case, "the machine cold and warm; empty: it does not run when so warm"));

/* All ---------------------------------------------------------------------------------------------------------------------- */

RECORD(remark, "remark", "a finding, a note or a caution",
       IS("kind", TEXT, "the verdict, or the section that it is about"), IS("text", TEXT, "the remark as sentences"),
       OR_NULL("slower", TEXT, "of a pair: the slower gear"), OR_NULL("faster", TEXT, "of a pair: the faster gear"),
       OF("cure", LIST, cure, "changes, each of which cures by itself"));

SHARED(check, "check", "what follows without a simulation", MEMBERS(head),
       IS("scenario", TEXT, "the name of the scenario"), OF("motor", OBJECT, check_motor, "the motor at its supply"),
       OF("drive", OBJECT, check_drive, "how the motor is driven"),
       OF_OR_NULL("sensor", OBJECT, sensor, "of a speed read by pulses"),
       OF("load", OBJECT, check_load, "the load at the output"),
       OF_OR_NULL("output_torque_limit", OBJECT, torque_limit, "null: the scenario gives none"),
       OF("output_shaft", OBJECT, output_shaft, "the shaft behind the gearbox"),
       OF("gears", LIST, check_gear, "all gears, the slowest first"),
       OF_OR_NULL("vehicle", OBJECT, check_vehicle, "of a vehicle whose wheels can slip, or that meets obstacles"),
       OF("pairs", LIST, check_pair, "all pairs of gears, the slowest first"),
       OF("supply_range", LIST, check_case,
          "the machine over the tolerance of the supply's voltage; empty: there is none"),
       OF_OR_NULL("battery", OBJECT, check_battery, "the battery that feeds it"),
       OF_OR_NULL("discharge", OBJECT, discharge, "the machine while its battery empties"),
       OF_OR_NULL("heat", OBJECT, heat, "of a motor with a winding that warms"),
       OF("findings", LIST, remark, "what will go wrong, by pairs of gears"),
       OF("notes", LIST, remark, "what is worth a look"),
       OF("cautions", LIST, remark, "where people or things could be hurt"));
