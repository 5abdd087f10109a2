// SPDX-License-Identifier: GPL-3.0-or-later
/* records_studies.c - what `map`, `tune`, `prove` and `design` write for machines. */
#include "text/record_rows.h"

/* map ---------------------------------------------------------------------------------------------------------------------- */

RECORD(figures, "figures", "the figures of a run", IS("shifts", WHOLE, "how many shifts there were"),
       IS("output_turns", NUMBER, "turns of the output"), IS("given_j", NUMBER, "what the supply gave"),
       IS("greatest_torque_nm", NUMBER, "the greatest torque at the output"));

RECORD(axis, "axis", "the thresholds of one axis of the plane", IS("from_pct", NUMBER, "the least threshold"),
       IS("to_pct", NUMBER, "the greatest threshold"),
       IS("points", WHOLE, "how many thresholds from the one to the other"));

RECORD(share, "share", "the share of one verdict", IS("verdict", TEXT, "the verdict, or that all passes"),
       IS("share", NUMBER, "its share of the plane, 0 to 1"));

RECORD(margin, "margin", "how far one threshold can be moved in one direction",
       IS("direction", TEXT, "the threshold, and whether it is lowered or raised"),
       IS("changes", FLAG, "the verdict changes before the end of the plane"),
       IS("same_to_pct", NUMBER, "up to this threshold the verdict stays the same"),
       IS("changes_at_pct", NUMBER, "the first threshold with another verdict"),
       IS("margin_pct", NUMBER, "from the own threshold to the last one with the same verdict"),
       MAY_OF("verdicts", LIST, verdict, "the verdicts where they change"));

RECORD(map_own, "map_own", "the scenario's own thresholds", MEMBERS(thresholds),
       IS("class", TEXT, "the worst verdict, or that all passes"),
       OF("verdicts", LIST, verdict, "all verdicts of the run"), MEMBERS(figures),
       OF("margins", LIST, margin, "how far each threshold can be moved"));

RECORD(map_head, "map_head", "a plane of thresholds", MEMBERS(head), IS("scenario", TEXT, "the name of the scenario"),
       MEMBERS(pair));

RECORD(plane, "plane", "a plane of thresholds", IS("threshold_step_pct", NUMBER, "the step of both thresholds"),
       OF("downshift", OBJECT, axis, "the downshift thresholds"),
       OF("upshift", OBJECT, axis, "the upshift thresholds"));

SHARED(map, "map", "the verdict of every pair of thresholds", MEMBERS(map_head), MEMBERS(plane),
       OF("own", OBJECT, map_own, "the scenario's own thresholds"),
       OF("share_of_plane", LIST, share, "the share of each verdict"),
       IS("rectangles", WHOLE, "how many rectangles the table of `-o` has"),
       IS("different_traces", WHOLE, "how many different runs the plane holds"),
       IS("tracks", WHOLE, "how many motions were simulated for that"),
       IS("samples_simulated", WHOLE, "how many samples these have"));

RECORD(any_load_margin, "any_load_margin", "how far one threshold can be moved in one direction",
       IS("direction", TEXT, "the threshold, and whether it is lowered or raised"),
       IS("changes", FLAG, "the verdict changes before the end of the plane"),
       IS("changes_at_pct", NUMBER, "the first threshold with another verdict"),
       IS("margin_pct", NUMBER, "from the own threshold to the last one with the same verdict"),
       OR_NULL("verdict", TEXT, "the verdict where it changes"));

RECORD(any_load_own, "any_load_own", "the scenario's own thresholds", MEMBERS(thresholds),
       IS("verdict", TEXT, "what is proved of them for every load"),
       IS("downshift_from_nm", NUMBER, "the least load that can make the box shift down"),
       IS("upshift_up_to_nm", NUMBER, "the greatest load under which it can shift up"),
       IS("swing_nm", NUMBER, "the least swing of the load that makes it shift for ever"),
       OF("margins", LIST, any_load_margin, "how far each threshold can be moved"));

SHARED(map_any_load, "map --any-load", "what is proved for every load, at every pair of thresholds", MEMBERS(map_head),
       IS("any_load", FLAG, "always true"), MEMBERS(plane),
       OF("own", OBJECT, any_load_own, "the scenario's own thresholds"),
       OF("share_of_plane", LIST, share, "the share of each verdict"),
       IS("points_by_sets", WHOLE, "at how many points closed forms left a doubt that the sets of `prove` answered"));

RECORD(refusal, "refusal", "points that are no valid scenario", IS("count", WHOLE, "how many there are"),
       IS("first_at", TEXT, "the first of them"), IS("text", TEXT, "why they are refused"));

RECORD(sampled, "sampled", "samples within the tolerances",
       MAY("samples", WHOLE, "how many samples were drawn at each point"),
       MAY("seed", WHOLE, "the seed by which they were drawn"),
       MAY("confidence", NUMBER, "the confidence of `share_least`"));

RECORD(vary_axis, "vary_axis", "a key that is varied", IS("path", TEXT, "the key of the scenario"),
       IS("unit", TEXT, "the unit of its values"), IS("from", NUMBER, "the first value of the key"),
       IS("to", NUMBER, "the last value of the key"), IS("points", WHOLE, "how many values there are"));

RECORD(failure, "failure", "samples that fail alike", IS("verdict", TEXT, "the worst verdict of them"),
       IS("count", WHOLE, "how many samples"));

RECORD(passed, "passed", "how many samples pass", IS("passed", WHOLE, "how many samples pass"),
       IS("share_least", NUMBER, "the least share that passes, with that confidence"),
       IS("never_shift", WHOLE, "how many of those that pass never shift"));

RECORD(plane_shares, "plane_shares", "shares of the plane of thresholds",
       IS("safe_share", NUMBER, "the share of the plane that passes in all samples"),
       IS("never_shifts_share", NUMBER, "the part of it where no sample ever shifts"));

RECORD(vary_point, "vary_point", "one point of the study",
       IS("values", NUMBERS, "the value of each axis, in their order"),
       MAY("end", TEXT, "`ended`, or why there was no run to its end"),
       MAY("class", TEXT, "the worst verdict, or that all passes, or that it never shifts"),
       ROW("verdicts", LIST, true, true, &sb_records_verdict, "all verdicts of the run; null: there was none"),
       MAY("shifts", WHOLE, "how many shifts there were"), MAY("output_turns", NUMBER, "turns of the output"),
       MAY("given_j", NUMBER, "what the supply gave"),
       MAY("greatest_torque_nm", NUMBER, "the greatest torque at the output"),
       MAY("standstill_s", NUMBER, "how long the output stood"), MAY("passed", WHOLE, "how many samples pass"),
       MAY("share", NUMBER, "the share of samples that passes"),
       MAY("share_least", NUMBER, "the least share that passes, with that confidence"),
       MAY("never_shift", WHOLE, "how many of those that pass never shift"),
       MAY("refused", WHOLE, "how many samples are no valid scenario"),
       MAY_OF("failures", LIST, failure, "how the other samples fail"));

SHARED(map_vary, "map --vary", "runs over the values of keys", MEMBERS(head),
       IS("scenario", TEXT, "the name of the scenario"),
       MAY("controller", TEXT, "the external controller that decided"), MEMBERS(sampled),
       OF("axes", LIST, vary_axis, "the keys that are varied"),
       OF("points", LIST, vary_point, "all points, those of the last axis beside each other"),
       OF("refusals", LIST, refusal, "points that are no valid scenario"));

RECORD(own_passed, "own_passed", "the scenario's own thresholds", MEMBERS(thresholds),
       MAY("passed", WHOLE, "how many samples pass there"),
       MAY("share_least", NUMBER, "the least share that passes, with that confidence"),
       MAY("never_shift", WHOLE, "how many of those that pass never shift"));

RECORD(most_passed, "most_passed",
       "thresholds at which most samples pass and some of them shift; null thresholds: none that shifts passes",
       MEMBERS(thresholds), MEMBERS(passed), IS("points", WHOLE, "at how many points of the plane as many pass"));

SHARED(map_samples, "map --samples", "thresholds for samples within the tolerances", MEMBERS(map_head),
       MEMBERS(sampled), IS("refused", WHOLE, "how many samples are no valid scenario"),
       OF("own", OBJECT, own_passed, "the scenario's own thresholds"),
       OF("best", OBJECT, most_passed, "thresholds at which most samples pass"), MEMBERS(plane_shares),
       OF("refusals", LIST, refusal, "samples that are no valid scenario"));

RECORD(stretch, "stretch", "the unbroken stretch that passes, with the other threshold as it is",
       IS("least_pct", NUMBER, "the least threshold that passes; null: none does"),
       IS("greatest_pct", NUMBER, "the greatest threshold that passes; null: none does"));

RECORD(discharge_point, "discharge_point", "the plane of thresholds at one charge", MEMBERS(charge),
       MAY("refused", WHOLE, "how many samples are no valid scenario"),
       MAY_OF("own", OBJECT, own_passed, "the scenario's own thresholds"),
       MAY_OF("best", OBJECT, most_passed, "thresholds at which most samples pass"),
       MAY("class", TEXT, "the worst verdict of the own thresholds, or that all passes, or that it never shifts"),
       MAY_OF("verdicts", LIST, verdict, "all verdicts of the own thresholds"),
       MAY("shifts", WHOLE, "how many shifts there were"), MAY("output_turns", NUMBER, "turns of the output"),
       MAY("given_j", NUMBER, "what the supply gave"),
       MAY("greatest_torque_nm", NUMBER, "the greatest torque at the output"), MEMBERS(plane_shares),
       OF("upshift_passes", OBJECT, stretch, "upshift thresholds that pass"),
       OF("downshift_passes", OBJECT, stretch, "downshift thresholds that pass"));

SHARED(map_discharge, "map --discharge", "thresholds while a battery empties", MEMBERS(map_head), MEMBERS(sampled),
       MEMBERS(thresholds), OF("discharge", LIST, discharge_point, "the plane at each charge"),
       OF("refusals", LIST, refusal, "points that are no valid scenario"));

/* tune --------------------------------------------------------------------------------------------------------------------- */

RECORD(where, "where", "the machine in which that is", MAY("scenario", TEXT, "the name of its scenario"),
       MAY("sample", WHOLE, "its number among the samples; 0: as written"),
       MAY("where", TEXT, "its tolerances in words"));

RECORD(choice, "choice", "thresholds, or a gear alone, and what they come to",
       IS("name", TEXT, "what it is called in the report"), MAY("gear", WHOLE, "the locked gear, counted from 1"),
       MAY("downshift_below_pct", NUMBER, "the downshift threshold"),
       MAY("upshift_above_pct", NUMBER, "the upshift threshold"), MAY("dwell_s", NUMBER, "the dwell of the controller"),
       IS("passes", FLAG, "it passes in every machine"), IS("failing_count", WHOLE, "in how many machines it fails"),
       OF("verdicts", LIST, verdict, "the verdicts of the first machine that fails"),
       IS("mean_output_speed_rad_s", NUMBER, "mean speed of the output"), IS("time_s", NUMBER, "the time of the runs"),
       IS("energy_j", NUMBER, "what the supply gave"),
       IS("energy_per_turn_j", NUMBER, "what it gave for a turn of the output"),
       IS("charge_as", NUMBER, "the charge that it gave"),
       IS("greatest_current_a", NUMBER, "the greatest current of all machines"),
       IS("greatest_winding_c", NUMBER, "the hottest winding of all machines"),
       IS("shifts", WHOLE, "how many shifts there were"),
       IS("margin_pct", NUMBER, "how far the thresholds are from the nearest failure"));

RECORD(tune_any_load, "tune_any_load", "what `prove` says of the answer in all machines",
       IS("is_proved", FLAG, "all is proved in all machines, but for the standstill"),
       IS("least_swing_nm", NUMBER, "the least swing that makes one shift for ever; null: no load does"),
       IS("longest_return_s", NUMBER, "the longest way back to the fastest gear"),
       IS("longest_reaction_s", NUMBER, "the longest time to the slowest gear under the heaviest load"),
       IS("longest_standstill_in_gear_s", NUMBER, "the longest standstill with a gear engaged"),
       IS("stands_too_long", FLAG, "that is longer than limits.stall_time of its machine"), MEMBERS(where));

RECORD(tune_margin, "tune_margin", "the first failure when one threshold is moved",
       IS("threshold", TEXT, "the key that is moved"), IS("direction", TEXT, "`lower` or `higher`"),
       IS("margin_pct", NUMBER, "how far it can be moved"),
       MAY("fails_at_pct", NUMBER, "the first threshold that fails"),
       MAY("never_shifts", FLAG, "there no machine shifts any more"),
       MAY("found_by", TEXT, "`closed form` or `simulation`"), MAY_OF("verdicts", LIST, verdict, "how it fails there"),
       MEMBERS(where), MAY("closed_form_pct", NUMBER, "where closed forms see the limit"),
       MAY_NULL("reason", TEXT, "why that differs from where it fails"));

RECORD(dwell_margin, "dwell_margin", "the first failure when the dwell is changed",
       IS("direction", TEXT, "`shorter` or `longer`"), IS("passes_s", NUMBER, "the last dwell that passes"),
       IS("dwells_tried", WHOLE, "how many were tried"),
       IS("dwells_not_tried", WHOLE, "how many beyond these were not"),
       MAY_OF("verdicts", LIST, verdict, "how the next one fails"), MEMBERS(where));

RECORD(reserve, "reserve", "what the answer withstands", IS("quantity", TEXT, "the quantity that is changed, in words"),
       IS("direction", TEXT, "`more` or `less`"), IS("passes_pct", NUMBER, "the greatest change that passes"),
       IS("fails_pct", NUMBER, "the least change that fails; null: none was found"),
       MAY_OF("verdicts", LIST, verdict, "how it fails there"), MEMBERS(where));

RECORD(remedy, "remedy", "what would give thresholds that pass",
       OR_NULL("kind", TEXT, "what is to be changed; null: nothing helps"),
       IS("text", TEXT, "the remedy as a sentence"), MAY("amount", NUMBER, "how much, in the unit of the cure's value"),
       MAY("margin_pct", NUMBER, "the margin that it gives"), OF("cure", LIST, cure, "the key and its value"));

RECORD(tune_closed, "tune_closed", "limits of the thresholds by closed forms",
       IS("least_upshift_pct", NUMBER, "lesser upshift thresholds have a hunting band"),
       IS("greatest_upshift_pct", NUMBER, "from greater ones on a machine may be stuck low"),
       IS("greatest_downshift_no_band_pct", NUMBER, "greater downshift thresholds have a hunting band"),
       IS("greatest_downshift_carried_pct", NUMBER, "from greater ones on a machine may shift down needlessly"));

RECORD(tune_pair, "tune_pair", "the answer for two gears beside each other", MEMBERS(pair),
       IS("passes", FLAG, "it passes in every machine"), MEMBERS(thresholds),
       IS("dwell_s", NUMBER, "the dwell of the controller"),
       MAY("downshift_below_raw", WHOLE, "the downshift threshold in the sensor's counts"),
       MAY("upshift_above_raw", WHOLE, "the upshift threshold in the sensor's counts"),
       IS("dwell_samples", WHOLE, "the dwell in samples"),
       IS("margin_pct", NUMBER, "how far the thresholds are from the nearest failure"),
       IS("failing_count", WHOLE, "in how many machines it fails"),
       MAY("closed_forms_agree", FLAG, "closed forms find no hunting band and nothing stuck low either"),
       IS("never_shifts", FLAG, "something passes, but no machine shifts there"),
       OR_NULL("rule", TEXT, "the rule by which one is recommended"),
       IS("by_speed_alone", FLAG, "nothing keeps both speed and charge: the recommended one keeps the speed"),
       OF("alternatives", LIST, choice,
          "thresholds of which none is worse than another in everything, the recommended first"),
       OF("beside", LIST, choice, "the scenario's own thresholds, and each gear alone"),
       OR_NULL("one_gear", TEXT, "the gear that does as well alone"),
       OR_NULL("one_gear_text", TEXT, "the same as a sentence"),
       MAY_OF("any_load", OBJECT, tune_any_load, "with `--any-load`: what is proved of the answer"),
       MAY_OF("margins", LIST, tune_margin, "the first failure in each direction"),
       MAY_OF("dwell_margins", LIST, dwell_margin, "the first failure of the dwell"),
       MAY_OF("withstands", LIST, reserve, "how much more load, less voltage and so on it withstands"),
       MAY_OF("verdicts", LIST, verdict, "where nothing passes: how the answer fails"), MEMBERS(where),
       MAY_OF("remedy", OBJECT, remedy, "where nothing passes: what would give thresholds that do"),
       MAY("measured_supply_margin_pct", NUMBER, "the margin with a reference that follows the measured supply"),
       MAY_OF("closed_form", OBJECT, tune_closed, "limits of the thresholds by closed forms"));

RECORD(measure, "measure", "a key that is worth measuring", IS("key", TEXT, "the key of the scenario"),
       IS("unit", TEXT, "the unit of its values"), IS("least", NUMBER, "the least value tried"),
       IS("greatest", NUMBER, "the greatest value tried"),
       IS("has_tolerance", FLAG, "these come from its tolerance, else from a usual one"),
       IS("moves_limits_by_pct", NUMBER, "by how much it moves the limits of the thresholds"),
       IS("passes", FLAG, "the answer passes over all of that"),
       IS("fails_at", NUMBER, "the first value that fails; null: none does"),
       OF("verdicts", LIST, verdict, "how it fails there"));

SHARED(tune, "tune", "thresholds and dwell that pass", MEMBERS(head),
       IS("machine_count", WHOLE, "how many machines were tried"),
       MAY("controller", TEXT, "the external controller that decided"),
       IS("lattice_pct", NUMBER, "the step of the thresholds that were tried"),
       OR_NULL("proof", TEXT, "what is proved of the answer for every load, as sentences"),
       OF("pairs", LIST, tune_pair, "the answer for each pair of gears"),
       MAY_OF("measure_first", LIST, measure, "which figures of the scenario to measure first"));

/* prove -------------------------------------------------------------------------------------------------------------------- */

RECORD(statements, "statements", "`proved`, `disproved` or `undecided` of each statement",
       IS("never_stalls", TEXT, "the output never stands in gear for longer than limits.stall_time"),
       IS("returns", TEXT, "the box is back in the fastest gear for good once the load stays at its lightest"),
       IS("constant_load_does_not_hunt", TEXT, "no constant load makes the box shift for ever"),
       IS("settles_under_the_heaviest_load", TEXT,
          "it is in the slowest gear for good once the load stays at its heaviest"));

RECORD(prove_load, "prove_load", "the bounds of the load", IS("acting_nm", NUMBERS, "least and greatest of what acts"),
       IS("resisting_nm", NUMBERS, "least and greatest of what resists"),
       IS("lightest_nm", NUMBER, "the lightest load while the output moves forward"),
       IS("heaviest_nm", NUMBER, "the heaviest load while the output moves forward"));

RECORD(bounds, "bounds", "what no load profile exceeds; null: there is no such thing, or no bound",
       IS("longest_standstill_in_gear_s", NUMBER, "the longest standstill with a gear engaged"),
       IS("longest_return_s", NUMBER, "the longest way back to the fastest gear, once the load stays at its lightest"),
       IS("longest_reaction_s", NUMBER, "the longest time to the slowest gear, once the load stays at its heaviest"),
       IS("fastest_cycle_once_s", NUMBER, "the shortest time for two shifts to and fro, once"),
       IS("fastest_cycle_lasting_s", NUMBER, "the shortest time for two shifts to and fro, again and again"),
       IS("least_swing_nm", NUMBER, "the least swing of the load that makes the box shift for ever"),
       IS("longest_shift_s", NUMBER, "the longest shift"),
       IS("longest_standstill_in_shift_s", NUMBER, "the longest standstill in a shift"),
       IS("least_output_speed_in_shift_rad_s", NUMBER, "the lowest speed of the output in a shift"),
       IS("greatest_engagement_shock_nms", NUMBER, "the greatest angular impulse when a gear engages"),
       IS("greatest_torque_nm", NUMBER, "the greatest torque at the output"),
       IS("greatest_motor_speed_rad_s", NUMBER, "the greatest speed of the motor"),
       IS("greatest_current_a", NUMBER, "the greatest current of the motor"));

RECORD(reached, "reached", "what runs came to at worst, as far as they were sought", MEMBERS(bounds),
       IS("runs", WHOLE, "how many runs were made"));

RECORD(proved_bounds, "proved_bounds", "what no load profile exceeds", MEMBERS(bounds),
       IS("greatest_downshift_shock_nms", NUMBER, "the greatest angular impulse of a downshift"),
       IS("greatest_upshift_shock_nms", NUMBER, "the greatest angular impulse of an upshift"),
       IS("returns_up_to_nm", NUMBER, "the greatest constant load from which the fastest gear is engaged again"),
       IS("least_swing_proved_nm", NUMBER, "no lesser swing makes the box shift for ever"),
       IS("least_swing_at_nm", NUMBERS, "between which two loads the least swing lies"));

RECORD(load_corner, "load_corner", "a corner of a load profile", IS("time_s", NUMBER, "when the load has that value"),
       IS("acting_nm", NUMBER, "the torque that acts"), IS("resisting_nm", NUMBER, "the torque that resists"));

RECORD(counterexample, "counterexample", "a load profile that disproves a statement",
       IS("statement", TEXT, "the statement by its member"), IS("duration_s", NUMBER, "how long the run has to be"),
       IS("interpolation", TEXT, "between two corners: `linear` or `hold`"),
       OF("corners", LIST, load_corner, "the corners of the profile"));

RECORD(prove_gear, "prove_gear", "the readings at which a gear's commands can come",
       IS("name", TEXT, "the name of the gear"),
       IS("downshift_from_pct", NUMBER, "the least reading of a downshift; null: it never comes"),
       IS("downshift_to_pct", NUMBER, "the greatest reading of a downshift"),
       IS("upshift_from_pct", NUMBER, "the least reading of an upshift; null: it never comes"),
       IS("upshift_to_pct", NUMBER, "the greatest reading of an upshift"));

RECORD(prove_tolerance, "prove_tolerance", "a tolerance of the scenario", IS("key", TEXT, "the key of the scenario"),
       IS("is_bound", FLAG, "it is a bound, as those of the load are; else it is sampled"),
       OR_NULL("why_sampled", TEXT, "why it is sampled; null: it is a bound"));

RECORD(shown_by, "shown_by", "the machine that disproves a statement; null: none does",
       OR_NULL("never_stalls", TEXT, "a machine whose output stands too long in gear"),
       OR_NULL("returns", TEXT, "a machine that does not come back to the fastest gear"),
       OR_NULL("constant_load_does_not_hunt", TEXT, "a machine that a constant load makes shift for ever"),
       OR_NULL("settles_under_the_heaviest_load", TEXT, "a machine that does not stay in the slowest gear"));

RECORD(over_tolerances, "over_tolerances", "what holds over all tolerances",
       OF("tolerances", LIST, prove_tolerance, "the tolerances of the scenario"),
       IS("samples", WHOLE, "how many samples of those that are no bounds"),
       OR_NULL("outside", TEXT, "the key that takes a sample out of what can be proved, and why; null: none does"),
       OF("statements", OBJECT, statements, "what is proved and disproved of all machines"),
       OF("shown_by", OBJECT, shown_by, "the machine that disproves a statement"),
       OF_OR_NULL("bounds", OBJECT, bounds, "what no machine exceeds under any load profile"));

SHARED(prove, "prove", "what holds for every load profile within bounds", MEMBERS(head),
       IS("scenario", TEXT, "the name of the scenario"),
       OR_NULL("outside", TEXT, "the key that nothing can be proved with, and why; null: proofs are possible"),
       OF("load", OBJECT, prove_load, "the bounds of the load"),
       MAY_OF("statements", OBJECT, statements, "what is proved and disproved"),
       MAY("tries", WHOLE, "where nothing can be proved: how many load profiles were tried"),
       MAY_OF("counterexamples", LIST, counterexample, "load profiles that disprove a statement"),
       MAY_OF("reached", OBJECT, reached, "what runs came to at worst"),
       MAY_OF("bounds", OBJECT, proved_bounds, "what no load profile exceeds"),
       MAY_OF("gears", LIST, prove_gear, "the readings at which each gear's commands can come"),
       MAY("is_safe_only", FLAG, "some bound is wider than what can be reached"),
       MAY("is_rate_used", FLAG, "the bounds count on load.bounds.rate"),
       MAY_OF("over_tolerances", OBJECT, over_tolerances, "what holds over all tolerances of the scenario"));

/* design ------------------------------------------------------------------------------------------------------------------- */

RECORD(dropped, "dropped", "machines that one rule took away", IS("rule", TEXT, "the requirement, or why in words"),
       IS("machines", NUMBER, "how many machines it took away"),
       MAY("missed_alone", NUMBER, "how many miss this requirement alone"),
       MAY("wanted_rad_s", NUMBER, "what the requirement asks for, a speed"),
       MAY("nearest_rad_s", NUMBER, "the nearest that a machine comes to it, a speed"),
       MAY("wanted_s", NUMBER, "what the requirement asks for, a time"),
       MAY("nearest_s", NUMBER, "the nearest that a machine comes to it, a time"),
       MAY("wanted_m", NUMBER, "what the requirement asks for, a length"),
       MAY("nearest_m", NUMBER, "the nearest that a machine comes to it, a length"),
       MAY("wanted_fraction", NUMBER, "what the requirement asks for, a share of a tooth's strength"),
       MAY("nearest_fraction", NUMBER, "the nearest that a machine comes to it, a share of a tooth's strength"),
       MAY("wanted_as", NUMBER, "what the requirement asks for, a charge"),
       MAY("nearest_as", NUMBER, "the nearest that a machine comes to it, a charge"),
       MAY("wanted_a", NUMBER, "what the requirement asks for, a current"),
       MAY("nearest_a", NUMBER, "the nearest that a machine comes to it, a current"),
       MAY("wanted_c", NUMBER, "what the requirement asks for, a temperature"),
       MAY("nearest_c", NUMBER, "the nearest that a machine comes to it, a temperature"),
       MAY("wanted_nm", NUMBER, "what the requirement asks for, a torque"),
       MAY("nearest_nm", NUMBER, "the nearest that a machine comes to it, a torque"),
       MAY("wanted_count", NUMBER, "what the requirement asks for, a number of verdicts"),
       MAY("nearest_count", NUMBER, "the nearest that a machine comes to it, a number of verdicts"));

RECORD(chosen, "chosen", "what was taken from the shelf", IS("key", TEXT, "the key of the scenario"),
       IS("value", TEXT, "the value of the shelf"));

RECORD(design_gear, "design_gear", "one gear of a design", IS("name", TEXT, "the name of the gear"),
       IS("ratio", NUMBER, "turns of the motor for one of the output"),
       IS("meshes", TEXT, "its meshes, driver/driven"));

SHARED(design_figures, "design_figures", "the figures of a design", IS("time_s", NUMBER, "the time of the run"),
       IS("mean_speed_rad_s", NUMBER, "mean speed of the output, to and fro"),
       IS("charge_as", NUMBER, "the charge that it takes"), IS("energy_j", NUMBER, "the energy that it takes"),
       IS("greatest_current_a", NUMBER, "the greatest current of the motor"),
       IS("greatest_winding_c", NUMBER, "the hottest that the winding gets"),
       IS("greatest_torque_nm", NUMBER, "the greatest torque at the output"),
       IS("tooth_load_n", NUMBER, "the greatest load of a tooth"),
       IS("tooth_load_pct", NUMBER, "the same as a share of what the tooth withstands, where the shelf gives widths"),
       IS("wheels", WHOLE, "how many wheels it has; 0: not known"),
       IS("margin_pct", NUMBER, "how far its thresholds are from the nearest failure"),
       IS("least_swing_nm", NUMBER, "the least swing of the load that makes it shift for ever"),
       IS("carried_torque_nm", NUMBER, "the greatest load that it carries"));

RECORD(design_limit, "design_limit", "the load that limits a design",
       IS("load_torque_nm", NUMBER, "the least load at which it fails"),
       IS("verdict", TEXT, "the verdict with which it fails there"),
       IS("scenario", TEXT, "the file of the loads in which that is"));

RECORD(design_one, "design_one", "one design", IS("name", TEXT, "the name of the design, and of its file with `-o`"),
       IS("special", TEXT, "in what it is the best; empty: in nothing alone"),
       OF("choices", LIST, chosen, "what was taken from the shelf"),
       OF("gears", LIST, design_gear, "its gears, the slowest first"),
       OF("thresholds", LIST, thresholds, "the thresholds of each pair of gears"),
       IS("dwell_s", NUMBER, "the dwell of its controller"), MEMBERS(design_figures),
       OF_OR_NULL("limit", OBJECT, design_limit, "the load that limits it; null: not known"),
       OF_OR_NULL("proofs", OBJECT, statements, "what is proved for every load; null: nothing can be"));

SHARED(design, "design", "whole machines from a shelf", MEMBERS(head),
       IS("boxes", NUMBER, "how many boxes the shelf gives"),
       IS("machines", NUMBER, "how many machines, with all other choices"),
       IS("combinations", WHOLE, "how many combinations of the other choices"),
       IS("left_by_closed_forms", WHOLE, "how many machines closed forms left"),
       IS("runs", WHOLE, "how many of these were run"), IS("not_run", WHOLE, "how many were not run"),
       IS("passed_runs", WHOLE, "how many of the runs pass and meet all that is required"),
       IS("tuned", WHOLE, "how many were tuned"), IS("not_tuned", WHOLE, "how many of these were not tuned"),
       IS("not_shown", WHOLE, "how many designs are left out of the list"),
       IS("scenarios", TEXTS, "the files of the loads that each design has to pass"),
       OF("dropped", LIST, dropped, "how many machines each rule took away"),
       OF("designs", LIST, design_one, "the designs"));

/* All outputs -------------------------------------------------------------------------------------------------------------- */

const struct sb_record *const sb_records_outputs[] = {&sb_records_check,
                                                      &sb_records_run,
                                                      &sb_records_prove,
                                                      &sb_records_map,
                                                      &sb_records_map_any_load,
                                                      &sb_records_map_vary,
                                                      &sb_records_map_samples,
                                                      &sb_records_map_discharge,
                                                      &sb_records_tune,
                                                      &sb_records_design,
                                                      &sb_records_inspect,
                                                      &sb_records_fit,
                                                      NULL};
