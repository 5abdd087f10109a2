// SPDX-License-Identifier: GPL-3.0-or-later
/* records_runs.c - what `run`, `inspect` and `fit` write for machines. */
#include "text/record_rows.h"

/* What all outputs have ---------------------------------------------------------------------------------------------------- */

SHARED(head, "head", "how each object begins", IS("program", TEXT, "always shiftband"),
       IS("version", TEXT, "the version of the program"), IS("subcommand", TEXT, "the command that wrote this"),
       IS("format", WHOLE, "the version of this schema: it changes when a member changes its name, place or meaning"));

SHARED(cure, "cure", "a change of one key that cures", IS("key", TEXT, "the key of the scenario to change"),
       MAY_NULL("bound", TEXT, "`at least` or `at most`: on which side of the value every value cures"),
       OR_NULL("value", TEXT, "the value with its unit, as a scenario takes it"));

RECORD(shift_points, "shift_points", "the torques at which the box shifts at that speed",
       IS("downshift_torque_nm", NUMBER, "above it the faster gear falls to the downshift threshold"),
       IS("upshift_torque_nm", NUMBER, "below it the slower gear rises to the upshift threshold"),
       IS("reading_step_nm", NUMBER, "the torque that one step of the reading is worth"));

RECORD(three_command, "three_command", "one of the first three commands of a stretch of shifts",
       IS("time_s", NUMBER, "when it was commanded"), IS("shift", TEXT, "`down` or `up`"),
       IS("load_torque_nm", NUMBER, "the load as the engaged gear is judged by it"),
       IS("faster_load_torque_nm", NUMBER, "the load as the faster gear is judged by it"));

RECORD(evidence, "evidence", "all that a verdict was judged by",
       IS("rule", TEXT, "the rule by which it came true, in words"),
       MAY("limit_s", NUMBER, "the limit of the rule, a time"), MAY("found_s", NUMBER, "the time that was found"),
       MAY("limit_nm", NUMBER, "the limit of the rule, a torque"), MAY("found_nm", NUMBER, "the torque that was found"),
       MAY("limit_c", NUMBER, "the limit of the rule, a temperature"),
       MAY("found_c", NUMBER, "the temperature that was found"),
       MAY("limit_rad", NUMBER, "the limit of the rule, an angle"),
       MAY("found_rad", NUMBER, "the angle that was found"),
       MAY("limit_rad_s", NUMBER, "the limit of the rule, a speed"),
       MAY("found_rad_s", NUMBER, "the speed that was found"),
       MAY("is_crest", FLAG, "the torque exceeds the limit for less than 100 ms at a time"),
       MAY("heat_j", NUMBER, "what the slipping clutch turned into heat"),
       MAY("threshold", TEXT, "the threshold out of reach: `downshift` or `upshift`"),
       MAY_OF("shift_points", OBJECT, shift_points, "the torques at which the box shifts"),
       MAY_OF("commands", LIST, three_command, "the first three shifts to and fro"),
       MAY("stopped_s", NUMBER, "how long the drive was stopped in between"));

SHARED(verdict, "verdict", "what went wrong", IS("kind", TEXT, "which verdict: see shiftband help verdicts"),
       OR_NULL("cause", TEXT, "of hunting: `threshold-driven` or `dwell-driven`"),
       OR_NULL("gear", WHOLE, "the engaged gear, counted from 1; 0 in neutral"),
       OR_NULL("gear_name", TEXT, "the name of that gear"), OR_NULL("count", WHOLE, "how often it came true"),
       IS("first_s", NUMBER, "when it first came true"), IS("last_s", NUMBER, "when it last came true"),
       IS("period_s", NUMBER, "mean time from a shift to the next one like it"),
       IS("duration_s", NUMBER, "how long it lasted in all"),
       OF_OR_NULL("evidence", OBJECT, evidence, "what it was judged by; null where that is not recorded"),
       IS("text", TEXT, "the verdict as a sentence"), OF("cure", LIST, cure, "changes, each of which cures by itself"));

RECORD(shift, "shift", "a shift of the box", IS("command_s", NUMBER, "when the controller commanded it"),
       IS("engaged_s", NUMBER, "when the new gear was engaged; null: it was not by the end"),
       IS("from", WHOLE, "the gear before it, counted from 1"), IS("to", WHOLE, "the gear after it, counted from 1"),
       IS("reading_pct", NUMBER, "what the controller read; null in a log, which does not show it"),
       IS("load_torque_nm", NUMBER, "the load torque at the command; null in a log, which does not show it"),
       MAY("external_torque_nm", NUMBER, "the load torque without the part that follows the speed"),
       OR_NULL("from_name", TEXT, "the name of the gear before"),
       OR_NULL("to_name", TEXT, "the name of the gear after"));

RECORD(gear_time, "gear_time", "the time that a gear was engaged", IS("gear", WHOLE, "the gear, counted from 1"),
       OR_NULL("name", TEXT, "the name of the gear"), IS("time_s", NUMBER, "how long it was engaged in all"),
       MAY("ratio", NUMBER, "of a log: motor speed over output speed, where the gears were found by it"));

/* run ---------------------------------------------------------------------------------------------------------------------- */

RECORD(warmth, "warmth", "the temperatures of the motor", IS("winding_c", NUMBER, "the temperature of the winding"),
       IS("housing_c", NUMBER, "the temperature of the housing"));

RECORD(until_warm, "until_warm", "what `--until-warm` came to",
       IS("end", TEXT, "`steady state`, `limit exceeded`, `cut out`, or `open` when none came"),
       IS("repeats", WHOLE, "how often the run was repeated"),
       IS("simulated", WHOLE, "how many of these were simulated"),
       IS("end_s", NUMBER, "when that came, from the first start on"),
       IS("peak_c", NUMBER, "the hottest that the winding got"),
       IS("least_start_c", NUMBER, "lower bound of the winding at the start of a repeat in steady state"),
       IS("greatest_start_c", NUMBER, "upper bound of the winding at the start of a repeat in steady state"),
       OF("start", OBJECT, warmth, "the motor at the start of the last repeat"),
       OF("finish", OBJECT, warmth, "the motor at the end of the last repeat"));

RECORD(locked, "locked", "what one gear does alone", IS("gear", WHOLE, "the gear, counted from 1"),
       IS("name", TEXT, "the name of the gear"), IS("output_turns", NUMBER, "turns of the output"),
       IS("standstill_s", NUMBER, "how long the output stood"), IS("verdicts", TEXTS, "the kinds of its verdicts"));

RECORD(end, "end", "the machine at the end of the run", IS("time_s", NUMBER, "when the run ended"),
       IS("gear", WHOLE, "the engaged gear, counted from 1; 0 in neutral"),
       IS("motor_speed_rad_s", NUMBER, "the speed of the motor"),
       IS("output_speed_rad_s", NUMBER, "the speed of the output"),
       IS("output_turns", NUMBER, "turns of the output since the start"));

RECORD(peak_torque, "peak_torque", "the greatest torque and when it came",
       IS("torque_nm", NUMBER, "the torque, with its sign"), IS("time_s", NUMBER, "when it came"));
RECORD(peak_current, "peak_current", "the greatest current and when it came",
       IS("current_a", NUMBER, "the current, with its sign"), IS("time_s", NUMBER, "when it came"));
RECORD(peak_speed, "peak_speed", "the greatest speed and when it came",
       IS("speed_rad_s", NUMBER, "the speed, with its sign"), IS("time_s", NUMBER, "when it came"));

RECORD(greatest, "greatest", "the greatest of each quantity in size",
       OF("output_torque", OBJECT, peak_torque, "the torque at the output"),
       MAY_OF("motor_current", OBJECT, peak_current, "the current of the motor, where the scenario gives currents"),
       OF("motor_speed", OBJECT, peak_speed, "the speed of the motor"),
       OF("output_speed", OBJECT, peak_speed, "the speed of the output"),
       IS("engagement_shock_nms", NUMBER, "the greatest angular impulse at the output when a gear engaged"));

RECORD(jams, "jams", "how often a gear that locks itself stopped at once",
       IS("count", WHOLE, "how often that happened"), IS("first_s", NUMBER, "when it first happened"),
       IS("greatest_shock_nms", NUMBER, "the greatest angular impulse that stopped motor and output"));

RECORD(driver, "driver", "what the driver of the motor did",
       IS("current_held_s", NUMBER, "how long it held the current at its limit"));

RECORD(speed_shortfall, "speed_shortfall", "speed control that does not reach its target",
       IS("duration_s", NUMBER, "how long the speed was short of the target"),
       IS("count", WHOLE, "how often it fell short"), IS("first_s", NUMBER, "when it first fell short"),
       IS("least_motor_speed_rad_s", NUMBER, "the least speed of the motor meanwhile"),
       IS("target_rad_s", NUMBER, "the target of the motor's speed"));

RECORD(run_vehicle, "run_vehicle", "how far the vehicle came", IS("distance_m", NUMBER, "the distance travelled"),
       IS("speed_m_s", NUMBER, "the speed at the end"), IS("has_arrived", FLAG, "it came to the end of its road"),
       IS("impacts", WHOLE, "how often it ran into an obstacle"),
       IS("greatest_impact_n_s", NUMBER, "the greatest impulse of these"),
       IS("slip_s", NUMBER, "how long the wheels slipped in all"),
       IS("slip_first_s", NUMBER, "when they first slipped"), IS("slip_last_s", NUMBER, "when they last slipped"));

RECORD(facts, "facts", "figures of the whole run; null where the machine has no such thing",
       IS("mean_speed_rad_s", NUMBER, "mean speed of the output"),
       IS("distance_m", NUMBER, "the distance of a vehicle"), IS("speed_m_s", NUMBER, "mean speed of a vehicle"),
       IS("winding_c", NUMBER, "the winding at the end"),
       IS("greatest_winding_c", NUMBER, "the hottest that the winding got"),
       IS("housing_c", NUMBER, "the housing at the end"),
       IS("greatest_housing_c", NUMBER, "the hottest that the housing got"),
       IS("magnet_left_fraction", NUMBER, "what the magnets keep of their strength when hottest"),
       IS("too_hot_after_s", NUMBER, "when the winding exceeded its limit"),
       IS("charge_used_as", NUMBER, "the charge that the battery gave"),
       IS("charge_left_fraction", NUMBER, "what is left of the charge of a full battery"),
       IS("runs_per_charge", NUMBER, "how many such runs the charge at the start is enough for"),
       IS("empty_after_s", NUMBER, "when the battery would be empty at this rate"),
       IS("shifting_s", NUMBER, "the time spent in shifts"), IS("shifting_j", NUMBER, "the energy lost in shifts"),
       OR_NULL("greatest_torque_from", TEXT, "where the greatest torque came from: the load, an engagement, ..."));

RECORD(energy_j, "energy_j",
       "the balance of energy in J: what was given is the sum of the other lines, but for the residual",
       IS("given", NUMBER, "what the supply gave"), IS("supply_loss", NUMBER, "lost in the supply's resistance"),
       IS("winding_loss", NUMBER, "lost in the winding"),
       IS("conversion_loss", NUMBER, "lost where the two constants of the motor differ"),
       IS("motor_friction", NUMBER, "lost by the motor's friction"),
       IS("drag", NUMBER, "lost by the constant drag of gears"), IS("mesh_loss", NUMBER, "lost in the meshes"),
       IS("shift_loss", NUMBER, "lost when gears engage"), IS("clutch_loss", NUMBER, "lost in slipping clutches"),
       IS("slip_loss", NUMBER, "lost by slipping wheels"), IS("impact_loss", NUMBER, "lost in impacts"),
       IS("shaft_loss", NUMBER, "lost by the damping of the output shaft"),
       IS("load_work", NUMBER, "the work that the load took"), IS("kinetic", NUMBER, "what motion gained"),
       IS("elastic", NUMBER, "what the twisted shaft gained"),
       IS("residual", NUMBER, "given less all others: the error of the calculation"),
       IS("residual_ratio", NUMBER, "the same as a share of the throughput"));

SHARED(run, "run", "one simulation", MEMBERS(head), IS("scenario", TEXT, "the name of the scenario"),
       OR_NULL("locked_gear", TEXT, "the gear of `--gear`; null: it shifts by itself"),
       MAY("controller", TEXT, "the external controller that decided"),
       MAY_OF("until_warm", OBJECT, until_warm, "with `--until-warm`: how warm the motor gets"),
       OF("verdicts", LIST, verdict, "what went wrong, in the order in which it came true"),
       IS("shift_count", WHOLE, "how many shifts there were"),
       OF("shifts", LIST, shift, "the shifts, the first 10000 at most"),
       ROW("never_shifts", LIST, false, true, &sb_records_locked,
           "of a run that never shifts: each gear alone; else null"),
       OF("end", OBJECT, end, "the machine at the end of the run"),
       OF("greatest", OBJECT, greatest, "the greatest torque, current and speeds"),
       IS("least_output_speed_rad_s", NUMBER, "the least speed of the output, with its sign"),
       OF_OR_NULL("jams", OBJECT, jams, "of gears that lock themselves"),
       OF_OR_NULL("driver", OBJECT, driver, "of a driver that limits the current"),
       OF_OR_NULL("speed_shortfall", OBJECT, speed_shortfall, "of speed control"),
       OF_OR_NULL("vehicle", OBJECT, run_vehicle, "of a vehicle"),
       OF("facts", OBJECT, facts, "figures of the whole run"),
       OF("time_in_gear", LIST, gear_time, "how long each gear was engaged"),
       IS("neutral_s", NUMBER, "how long no gear was engaged"), IS("standstill_s", NUMBER, "how long the output stood"),
       OF("energy_j", OBJECT, energy_j, "where the energy went"),
       MAY("overcharge_as", NUMBER, "of a battery: the charge that a full one did not take"));

/* inspect ------------------------------------------------------------------------------------------------------------------ */

RECORD(compared_column, "compared_column", "one column of the log beside the simulation",
       IS("name", TEXT, "the quantity of the column"), IS("unit", TEXT, "the unit of the figures of this object"),
       IS("tolerance", NUMBER, "a difference up to this counts as none"),
       IS("greatest", NUMBER, "the greatest difference, log less simulation, in size"),
       IS("greatest_s", NUMBER, "when it came"),
       IS("first_deviation_s", NUMBER, "when the difference first exceeds the tolerance"),
       IS("deviating_fraction", NUMBER, "the share of rows beyond the tolerance"),
       IS("rms", NUMBER, "the root of the mean squared difference"));

RECORD(hint, "hint", "a key of the scenario that may explain the difference",
       IS("key", TEXT, "the key of the scenario"),
       IS("gain", NUMBER, "the share of the squared difference that its best value takes away"),
       IS("written", NUMBER, "the value in the scenario"), IS("best", NUMBER, "the value that fits the log best"),
       IS("is_at_end", FLAG, "the best value lies at the end of what was tried"),
       IS("unit", TEXT, "the unit of both values; `factor`: all values of the key times this"));

RECORD(against, "against", "the log beside a simulation", IS("scenario", TEXT, "the name of the scenario"),
       IS("compared_to_s", NUMBER, "up to when the two are compared"),
       IS("first_deviation_s", NUMBER, "when they first deviate"),
       OR_NULL("first_deviation_in", TEXT, "the column in which they first deviate"),
       OF("columns", LIST, compared_column, "the columns that both have"),
       IS("shift_count", WHOLE, "how many shifts the simulation has"),
       OF("shifts", LIST, shift, "the shifts of the simulation"),
       IS("is_explained", FLAG, "a key explains the difference"),
       IS("is_explanation_shared", FLAG, "several keys explain it equally well"),
       OF("hints", LIST, hint, "keys that may explain the difference, the best one first"));

SHARED(inspect, "inspect", "what happened in a log", MEMBERS(head), IS("trace", TEXT, "the file of the log"),
       IS("source", TEXT,
          "what the gears were found by: `gear` (a column), `ratio` (of two speeds) or `motor` (its speed)"),
       IS("rows", WHOLE, "how many rows the log has"), IS("begin_s", NUMBER, "the time of the first row"),
       IS("end_s", NUMBER, "the time of the last row"), IS("interval_s", NUMBER, "the common time between two rows"),
       IS("missing_fraction", NUMBER, "the share of rows without the values that were needed"),
       IS("gap_count", WHOLE, "how many holes the log has"), IS("longest_gap_s", NUMBER, "the longest of these"),
       IS("least_pause_s", NUMBER, "the shortest time between two shifts that this log can show"),
       IS("noise_rpm", NUMBER, "noise and rounding of the motor's speed"),
       IS("noise_pct", NUMBER, "noise and rounding of the reading, where the log has that"),
       IS("may_hide_shifts", FLAG, "the holes are long enough for shifts that nobody sees"),
       IS("is_hunting_undecided", FLAG, "there are shifts to and fro that a log without loads does not let judge"),
       IS("unjudged_three_count", WHOLE, "how many of these there are"),
       IS("unjudged_three_s", NUMBER, "when the first of these was"),
       OF("verdicts", LIST, verdict, "what went wrong, in the order in which it came true"),
       IS("shift_count", WHOLE, "how many shifts there were"), OF("shifts", LIST, shift, "all shifts of the log"),
       OF("time_in_gear", LIST, gear_time, "how long each gear was engaged"),
       IS("neutral_s", NUMBER, "how long no gear was engaged; null: the log does not show it"),
       MAY_OF("against", OBJECT, against, "with `--against`: beside a simulation"));

/* fit ---------------------------------------------------------------------------------------------------------------------- */

RECORD(gauge, "gauge", "a measuring instrument", IS("gauge", TEXT, "what it measures"),
       IS("half_width_pct", NUMBER, "its own error, to either side"),
       IS("is_default", FLAG, "nobody said so: it is assumed"), IS("is_used", FLAG, "its readings enter the fit"));

RECORD(fit_figure, "fit_figure", "a figure of the machine", IS("figure", TEXT, "the key of the scenario"),
       IS("state", TEXT, "`given`, `determined` or `undetermined`"), IS("unit", TEXT, "the unit of its values"),
       IS("value_si", NUMBER, "the value that fits best"), IS("standard_error_si", NUMBER, "its standard error"),
       IS("least_si", NUMBER, "lower end of its interval of 95 %"),
       IS("greatest_si", NUMBER, "upper end of its interval of 95 %"),
       IS("gauge_share", NUMBER, "the share by which exact gauges would narrow the interval"));

RECORD(channel, "channel", "one column of a log in the fit", IS("column", TEXT, "the quantity of the column"),
       IS("unit", TEXT, "the unit of its figures"), IS("readings", WHOLE, "how many readings were used"),
       IS("outliers", WHOLE, "how many of these were set aside"),
       IS("deviating", WHOLE, "how many lie in rows where the machine moved in another way than the model"),
       IS("standard_deviation_si", NUMBER, "the scatter of its readings"),
       IS("rounding_si", NUMBER, "the step in which it is written"),
       IS("explained_fraction", NUMBER, "the share of the variance of its readings that the fit explains"));

RECORD(corner, "corner", "where the driver holds the current", IS("points", WHOLE, "how many readings show it"),
       IS("current_a", NUMBER, "the current that is held"), IS("current_sd_a", NUMBER, "the scatter of that current"),
       IS("speed_rad_s", NUMBER, "the speed below which it is held"));

RECORD(fit_log, "fit_log", "a log of the fit", IS("path", TEXT, "the file of the log"),
       IS("is_over_time", FLAG, "it was recorded over time, not point by point"),
       IS("shift_count", WHOLE, "how many shifts were found in it"), IS("gap_count", WHOLE, "how many holes it has"),
       MAY("start_s", NUMBER, "when the drive was switched on"),
       MAY("start_error_s", NUMBER, "standard error of that time"),
       MAY("off_s", NUMBER, "when the drive was switched off"),
       MAY("off_error_s", NUMBER, "standard error of that time"),
       OF_OR_NULL("corner", OBJECT, corner, "where the driver holds the current; null: it does not"),
       OF("channels", LIST, channel, "the columns that were used"));

RECORD(parameter_share, "parameter_share", "a part of what is not determined",
       IS("parameter", TEXT, "the parameter in words"),
       IS("share", NUMBER, "its logarithmic share: by how much it changes as the combination does"));

RECORD(undetermined, "undetermined", "a combination that the logs do not determine",
       OF("parameters", LIST, parameter_share, "what the combination is made of"),
       IS("is_vague", FLAG, "it is determined, but too uncertain to be of use"),
       OR_NULL("next_measurement", TEXT, "the measurement that would determine it"));

SHARED(fit, "fit", "a machine from logs", MEMBERS(head),
       IS("nominal_voltage_v", NUMBER, "the voltage for which the motor's figures hold"),
       OF("gauges", LIST, gauge, "the instruments and their errors"),
       OF("figures", LIST, fit_figure, "the figures of the machine"),
       OR_NULL("doubtful_figure", TEXT, "a figure whose whole interval lies beyond what can be"),
       OR_NULL("doubt", TEXT, "what is wrong with that figure"), OF("logs", LIST, fit_log, "the logs that were read"),
       OF("undetermined", LIST, undetermined, "what these logs cannot tell"),
       IS("next_measurements", TEXTS, "what to measure next, in words"));
