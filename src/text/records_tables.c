// SPDX-License-Identifier: GPL-3.0-or-later
/* records_tables.c - the rows of all CSV that commands write. */
#include "text/record_rows.h"

/* Columns that several tables have ----------------------------------------------------------------------------------------- */

RECORD(outcome, "outcome", "what a run came to", IS("verdict", TEXT, "the worst verdict; `passes`, or `never shifts`"),
       IS("cause", TEXT, "of hunting: `threshold-driven` or `dwell-driven`"),
       IS("all_verdicts", TEXT, "all verdicts, with `+` between them"),
       IS("shifts", WHOLE, "how many shifts there were"), IS("output_turns", NUMBER, "turns of the output"),
       IS("given_j", NUMBER, "what the supply gave"));

RECORD(rectangle, "rectangle", "a rectangle of the plane of thresholds",
       IS("downshift_from_pct", NUMBER, "its least downshift threshold"),
       IS("downshift_to_pct", NUMBER, "its greatest downshift threshold"),
       IS("upshift_from_pct", NUMBER, "its least upshift threshold"),
       IS("upshift_to_pct", NUMBER, "its greatest upshift threshold"));

RECORD(share_passed, "share_passed", "how many samples pass", IS("passed", WHOLE, "how many samples pass"),
       IS("samples", WHOLE, "of how many samples"), IS("share", NUMBER, "the share of samples that passes"),
       IS("share_least", NUMBER, "the least share that passes, with 95 % confidence"),
       IS("never_shift", WHOLE, "how many of those that pass never shift"));

RECORD(load_span, "load_span", "the loads of the scenario",
       IS("lightest_load_nm", NUMBER, "the lightest load of the scenario"),
       IS("heaviest_load_nm", NUMBER, "the heaviest load of the scenario"));

/* run ---------------------------------------------------------------------------------------------------------------------- */

SHARED(trace, "run -o", "the trace of a run, a row an instant; before and after each shift a row at the same time",
       IS("time_s", NUMBER, "time since the start of the run"),
       IS("gear", WHOLE, "the engaged gear, counted from 1; 0 in neutral"),
       IS("phase", TEXT, "`engaged`, `shift` or `standstill`"),
       IS("duty_fraction", NUMBER, "the duty of the drive, with its sign"),
       IS("motor_speed_rpm", NUMBER, "the speed of the motor, with its sign"),
       IS("reading_pct", NUMBER, "what the controller reads, in percent of its reference"),
       IS("output_speed_rpm", NUMBER, "the speed of the output, with its sign"),
       IS("output_torque_nm", NUMBER, "what the engaged gear gives to the output"),
       IS("load_torque_nm", NUMBER, "what opposes it at the output; the difference accelerates the inertia there"),
       IS("motor_current_a", NUMBER, "the current of the motor; empty where the scenario gives no currents"),
       IS("supply_voltage_v", NUMBER,
          "the voltage at the supply's terminals; empty where the scenario gives no currents"),
       IS("output_turns", NUMBER, "turns of the output since the start"),
       MAY("vehicle_speed_m_s", NUMBER, "of a vehicle: its speed"),
       MAY("distance_m", NUMBER, "of a vehicle: the distance travelled"),
       MAY("wheels_slip", FLAG, "of a vehicle that can slip: its wheels slip"),
       MAY("twist_deg", NUMBER, "of an output shaft that gives: how far it is twisted"),
       MAY("clutch_heat_w", NUMBER, "of a clutch: the heat that it makes while it slips"),
       MAY("current_held", FLAG, "of a driver with a limit: it holds the current there"),
       MAY("charge_pct", NUMBER, "of a battery: its charge"),
       MAY("winding_c", NUMBER, "of a winding that warms: its temperature"),
       MAY("housing_c", NUMBER, "of a motor whose housing warms: its temperature"),
       MAY("magnet_c", NUMBER, "of magnets that weaken: their temperature"),
       MAY("pulses", NUMBER, "of a sensor that counts: the pulses in its window"),
       MAY("pulse_time_s", NUMBER, "of a sensor that times pulses: the time of the last whole one"),
       MAY("measured_voltage_v", NUMBER,
           "of a reference that follows the supply: the voltage that the controller measures"));

/* map ---------------------------------------------------------------------------------------------------------------------- */

SHARED(map_rows, "map -o", "the plane of thresholds in rectangles, in each of which all pairs of thresholds act alike",
       MEMBERS(rectangle), MEMBERS(outcome), IS("greatest_torque_nm", NUMBER, "the greatest torque at the output"));

SHARED(map_limit_rows, "map --limits", "the boundaries of the plane by closed forms, as corners of lines",
       IS("limit", TEXT, "the verdict that begins there"),
       IS("downshift_below_pct", NUMBER, "the downshift threshold of the corner"),
       IS("upshift_above_pct", NUMBER, "the upshift threshold of the corner"));

SHARED(any_load_rows, "map --any-load -o", "the plane of thresholds by what is proved for every load, in rectangles",
       MEMBERS(rectangle), IS("verdict", TEXT, "what is proved there"),
       IS("least_swing_nm", NUMBER,
          "the least swing of the load that makes the box shift for ever, at the worst of these thresholds"),
       IS("greatest_swing_nm", NUMBER, "the same at the best of these thresholds"));

SHARED(vary_rows, "map --vary -o",
       "a row a point; its first columns are the values of the keys that are varied, each called by its key and unit",
       MEMBERS(outcome), IS("greatest_torque_nm", NUMBER, "the greatest torque at the output"),
       IS("standstill_s", NUMBER, "how long the output stood"));

SHARED(vary_sample_rows, "map --vary --samples -o", "the same with samples: how many of them pass at each point",
       MEMBERS(share_passed), IS("refused", WHOLE, "how many samples are no valid scenario"),
       IS("commonest_failure", TEXT, "the verdict of most samples that fail"));

SHARED(vary_limit_rows, "map --vary --limits",
       "closed forms at each point, a row a pair of gears, behind the values of the keys",
       IS("slower", TEXT, "the name of the slower gear"), IS("faster", TEXT, "the name of the faster gear"),
       MEMBERS(thresholds), MEMBERS(safe_range), MEMBERS(shift_torques),
       IS("shortest_dwell_s", NUMBER, "the dwell below which the box shifts back with no load to blame"),
       IS("shortest_start_delay_s", NUMBER, "the start delay below which the box shifts down at the start"),
       MEMBERS(load_span));

SHARED(sample_rows, "map --samples -o", "the plane of thresholds in rectangles, by how many samples pass",
       MEMBERS(rectangle), MEMBERS(share_passed));

RECORD(stretches, "stretches", "thresholds that pass at one charge",
       IS("safe_share", NUMBER, "the share of the plane that passes in all samples"),
       IS("never_shifts_share", NUMBER, "the part of it where no sample ever shifts"),
       IS("upshift_least_pct", NUMBER, "the least upshift threshold that passes with the own downshift threshold"),
       IS("upshift_greatest_pct", NUMBER, "the greatest such upshift threshold"),
       IS("downshift_least_pct", NUMBER, "the least downshift threshold that passes with the own upshift threshold"),
       IS("downshift_greatest_pct", NUMBER, "the greatest such downshift threshold"));

SHARED(discharge_rows, "map --discharge -o", "the machine at each charge of its battery", MEMBERS(charge),
       MEMBERS(outcome), MEMBERS(stretches));

SHARED(discharge_sample_rows, "map --discharge --samples -o", "the same with samples", MEMBERS(charge),
       MEMBERS(share_passed), IS("most_passed", WHOLE, "how many samples pass where most do and some shift"),
       IS("most_downshift_pct", NUMBER, "the downshift threshold there; empty: none that shifts passes"),
       IS("most_upshift_pct", NUMBER, "the upshift threshold there"), MEMBERS(stretches));

/* The others --------------------------------------------------------------------------------------------------------------- */

SHARED(check_discharge_rows, "check --discharge", "closed forms at each charge of a battery, a row a pair of gears",
       MEMBERS(charge), IS("slower", TEXT, "the name of the slower gear"),
       IS("faster", TEXT, "the name of the faster gear"), MEMBERS(thresholds), MEMBERS(safe_range),
       MEMBERS(shift_torques), IS("slower_stalls_at_nm", NUMBER, "the load at which the slower gear stalls"),
       IS("faster_stalls_at_nm", NUMBER, "the load at which the faster gear stalls"), MEMBERS(load_span),
       IS("hunting", FLAG, "a load of the scenario lies in the hunting band"),
       IS("stuck_low", FLAG, "the slower gear does not reach the upshift threshold"),
       IS("needless_downshift", FLAG, "the faster gear is not held even under the lightest load"),
       IS("slower_stalls", FLAG, "the slower gear stalls under the heaviest load"),
       IS("faster_stalls", FLAG, "the faster gear stalls under the lightest load"),
       IS("below_cutoff", FLAG, "the battery cuts off under the lightest load or at a start"));

SHARED(overlay_rows, "inspect --against -o",
       "the log beside a simulation; behind the time stand two columns for each quantity, as motor_speed_rpm_log and "
       "motor_speed_rpm_sim",
       IS("time_s", NUMBER, "the time of the log"));

SHARED(residual_rows, "fit --residuals", "every reading of the logs beside what the machine would give",
       IS("log", TEXT, "the file of the log"), IS("line", WHOLE, "its line in that file"),
       IS("time_s", NUMBER, "the time of the reading; empty: the log has none"),
       IS("column", TEXT, "the quantity that was read"), IS("unit", TEXT, "the unit of the next three"),
       IS("measured", NUMBER, "what was read"), IS("computed", NUMBER, "what the machine would give"),
       IS("residual", NUMBER, "measured less computed"), IS("outlier", FLAG, "the reading was set aside"));

SHARED(emit_rows, "emit --as readings", "recorded readings, and the gear that the controller answers with",
       IS("sample", WHOLE, "the number of the sample, from 0"),
       MAY("counts", WHOLE, "of a reference that follows the supply: the sensor's counts"),
       MAY("voltage_counts", WHOLE, "of a reference that follows the supply: the counts of its voltage"),
       IS("reading", WHOLE, "the reading in the sensor's counts"),
       IS("engaged", FLAG, "a gear is engaged, so that the controller decides"),
       IS("gear", WHOLE, "the gear that it answers with, counted from 0 for the slowest"));

SHARED(design_rows, "design --csv", "the designs, none of them worse in everything than another",
       IS("design", TEXT, "the name of the design, and of its file with `-o`"), IS("gears", TEXT, "its gears in words"),
       IS("thresholds", TEXT, "its thresholds in words"), MEMBERS(design_figures));

SHARED(dropped_rows, "design --all", "each machine that is dropped",
       IS("machine", TEXT, "the combination of choices that it is made of"), IS("gears", TEXT, "its gears in words"),
       IS("rule", TEXT, "the requirement that it misses, or why it is dropped"));

const struct sb_record *const sb_records_tables[] = {&sb_records_trace,
                                                     &sb_records_map_rows,
                                                     &sb_records_map_limit_rows,
                                                     &sb_records_any_load_rows,
                                                     &sb_records_vary_rows,
                                                     &sb_records_vary_sample_rows,
                                                     &sb_records_vary_limit_rows,
                                                     &sb_records_sample_rows,
                                                     &sb_records_discharge_rows,
                                                     &sb_records_discharge_sample_rows,
                                                     &sb_records_check_discharge_rows,
                                                     &sb_records_overlay_rows,
                                                     &sb_records_residual_rows,
                                                     &sb_records_emit_rows,
                                                     &sb_records_design_rows,
                                                     &sb_records_dropped_rows,
                                                     NULL};
