// SPDX-License-Identifier: GPL-3.0-or-later
/* The table of all scenario keys: see scenario_schema.h. Bounds are wide; they are there to catch a wrong unit. */
#include <stddef.h>

#include "scenario/schema.h"

#define DRAFT(field) .offset = offsetof(struct sb_draft, field)
#define MODEL(field) .offset = offsetof(struct sb_draft, model.field)
#define CONTROL(field) .offset = offsetof(struct sb_draft, control.field)
#define PART(field) .offset = offsetof(struct sb_part_draft, field)
#define GEAR(field) .offset = offsetof(struct sb_gear, field)
#define MESH(field) .offset = offsetof(struct sb_mesh, field)
#define BETWEEN(low, high) .lower = (low), .upper = (high)
#define QUANTITY(text, what) .name = (text), .kind = SB_KEY_QUANTITY, .quantity = (what)

#define SPEED_MAX 1e6     /* rad/s */
#define TORQUE_MAX 1e6    /* N m */
#define INERTIA_MIN 1e-12 /* kg m2 */
#define INERTIA_MAX 1e6
#define TIME_MAX 1e8  /* s, about three years */
#define ANGLE_MAX 1e9 /* rad */

static const struct sb_choice senses[] = {{"forward", 1}, {"reverse", -1}, {NULL, 0}};
static const struct sb_choice manners[] = {{"resists", SB_MANNER_RESISTS}, {"acts", SB_MANNER_ACTS}, {NULL, 0}};
static const struct sb_choice axes[] = {{"time", SB_OVER_TIME}, {"turns", SB_OVER_TURNS}, {NULL, 0}};
static const struct sb_choice interpolations[] = {{"linear", SB_LINEAR}, {"hold", SB_HOLD}, {NULL, 0}};

static const struct sb_choice readings[] = {
    {"speed", SB_SENSES_SPEED}, {"duty", SB_SENSES_DUTY}, {"current", SB_SENSES_CURRENT}, {NULL, 0}};

static void set_shifter_kind(void *base, const char *kind, const struct sb_node *node)
{
  (void)node;
  struct sb_draft *draft = base;
  draft->model.shifter.ops = sb_shifter_kind_find(kind);
}

static void set_part_kind(void *base, const char *kind, const struct sb_node *node)
{
  struct sb_part_draft *part = base;
  part->node = node;
  part->part.ops = sb_load_kind_find(kind);
}

static void set_body_kind(void *base, const char *kind, const struct sb_node *node)
{
  struct sb_body_draft *draft = base;
  draft->node = node;
  draft->body.ops = sb_body_kind_find(kind);
}

static const struct sb_key motor_keys[] = {
    {QUANTITY("nominal_voltage", SB_VOLTAGE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1e4),
     MODEL(motor.nominal_voltage_v), .meaning = "Voltage at which speed, torque and currents below are given."},
    {QUANTITY("no_load_speed", SB_SPEED), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, SPEED_MAX),
     MODEL(motor.no_load_speed_rad_s), .meaning = "Speed of the free shaft (behind a built-in gearhead, if any)."},
    {QUANTITY("stall_torque", SB_TORQUE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TORQUE_MAX),
     MODEL(motor.stall_torque_nm), .meaning = "Torque of the blocked shaft."},
    {QUANTITY("stall_current", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, 1e5), .default_words = "none",
     MODEL(motor.stall_current_a), .meaning = "Current of the blocked motor. Give both currents or neither."},
    {QUANTITY("no_load_current", SB_CURRENT), BETWEEN(0, 1e5), .default_words = "none", MODEL(motor.no_load_current_a),
     .meaning = "Current of the free motor, below the stall current."},
    {QUANTITY("rotor_inertia", SB_INERTIA), .flags = SB_REQUIRED, BETWEEN(INERTIA_MIN, INERTIA_MAX),
     MODEL(motor.rotor_inertia_kg_m2), .meaning = "Inertia of the rotor and what is fixed to it, seen at the shaft."},
    {.name = "winding",
     .kind = SB_KEY_SECTION,
     .default_words = "none: its resistance stays",
     .section = &sb_winding_section,
     .meaning = "How the winding warms and what that does to its resistance."},
    {.name = NULL}};

static const struct sb_key supply_keys[] = {
    {QUANTITY("open_circuit_voltage", SB_VOLTAGE), .flags = SB_ABOVE, BETWEEN(0, 1e4),
     .default_words = "the motor's nominal voltage", MODEL(supply.open_circuit_voltage_v),
     .meaning = "Voltage without any current drawn; not beside a battery, which has its own."},
    {QUANTITY("internal_resistance", SB_RESISTANCE), BETWEEN(0, 1e6), .default_text = "0 ohm",
     MODEL(supply.internal_resistance_ohm), .meaning = "Resistance of supply and leads; needs the motor's currents."},
    {.name = "battery",
     .kind = SB_KEY_SECTION,
     .default_words = "none: the voltage stays",
     .section = &sb_battery_section,
     .meaning = "A battery whose voltage falls with its charge, instead of open_circuit_voltage."},
    {.name = NULL}};

static const struct sb_key mesh_keys[] = {{.name = "teeth",
                                           .kind = SB_KEY_TEETH,
                                           .flags = SB_REQUIRED,
                                           BETWEEN(1, 10000),
                                           MESH(driver_teeth),
                                           .meaning = "Teeth of driver and driven wheel, as 15/30."},
                                          {QUANTITY("efficiency", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1),
                                           .default_words = "the gearbox's mesh_efficiency", MESH(efficiency),
                                           .meaning = "Share of the power that this mesh passes on."},
                                          {.name = "internal",
                                           .kind = SB_KEY_FLAG,
                                           .default_text = "false",
                                           MESH(is_internal),
                                           .meaning = "true: a ring gear, which keeps the sense of turning."},
                                          {.name = NULL}};

static const struct sb_section mesh_section = {"mesh", "15/30 alone (driver/driven), or with these keys", mesh_keys};

static const struct sb_key gear_keys[] = {
    {.name = "name",
     .kind = SB_KEY_TEXT,
     .flags = SB_REQUIRED,
     GEAR(name),
     .size = SB_NAME_SIZE,
     .meaning = "Name of the gear, each its own."},
    {.name = "meshes",
     .kind = SB_KEY_LIST,
     .flags = SB_REQUIRED | SB_SHORT_FORM,
     GEAR(meshes),
     .size = sizeof(struct sb_mesh),
     .count_offset = offsetof(struct sb_gear, mesh_count),
     .max = SB_MESH_MAX,
     .section = &mesh_section,
     .meaning = "Meshes from the motor to the output; an idler is driven, then drives."},
    {.name = "motor_direction",
     .kind = SB_KEY_CHOICE,
     .choices = senses,
     .default_text = "forward",
     GEAR(motor_direction),
     .meaning = "How the motor turns in this gear."},
    {QUANTITY("drag", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", GEAR(drag_nm),
     .meaning = "Constant drag at the motor shaft while in mesh."},
    {QUANTITY("back_efficiency", SB_RATIO), BETWEEN(0, 1), .default_words = "the gearbox's back_efficiency",
     GEAR(back_efficiency), .meaning = "As the gearbox's key, for this gear."},
    {.name = NULL}};

static const struct sb_section gear_section = {"gear", "one gear, the greatest reduction first", gear_keys};

#define SHIFT_TIMEOUT                                                                                          \
  {                                                                                                            \
    QUANTITY("shift_timeout", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_text = "2 s",        \
                                        MODEL(shifter.timeout_s),                                              \
                                        .meaning = "A shift that has not engaged after this time is reported." \
  }

static const struct sb_key swing_arm_keys[] = {
    {QUANTITY("swing_turns", SB_RATIO), BETWEEN(0, 1e6), .default_text = "0.5", MODEL(shifter.swing_turns),
     .meaning = "Turns of the motor in its new sense until the arm is in mesh."},
    SHIFT_TIMEOUT,
    {.name = NULL}};
static const struct sb_key selector_keys[] = {
    {QUANTITY("travel_time", SB_TIME), .flags = SB_REQUIRED, BETWEEN(0, TIME_MAX), MODEL(shifter.travel_time_s),
     .meaning = "Time from the command to the engagement."},
    {.name = "cut_drive",
     .kind = SB_KEY_FLAG,
     .default_text = "false",
     MODEL(shifter.is_drive_cut),
     .meaning = "true: the motor's circuit is open while the selector moves."},
    SHIFT_TIMEOUT,
    {.name = NULL}};
static const struct sb_key clutch_keys[] = {{QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED | SB_ABOVE,
                                             BETWEEN(0, TORQUE_MAX), MODEL(shifter.clutch_nm),
                                             .meaning = "Torque of the slipping clutch, at the motor shaft."},
                                            SHIFT_TIMEOUT,
                                            {.name = NULL}};

static const struct sb_section swing_arm = {"swing arm", "the motor's reversal selects one of two gears",
                                            swing_arm_keys};
static const struct sb_section selector = {"selector", "a second actuator moves a dog or slider", selector_keys};
static const struct sb_section clutch = {"clutch", "a slipping clutch joins at once", clutch_keys};
static const struct sb_section *const shifter_kinds[] = {&swing_arm, &selector, &clutch, NULL};

static const struct sb_key gearbox_keys[] = {
    {QUANTITY("mesh_efficiency", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "0.97",
     DRAFT(mesh_efficiency), .meaning = "Efficiency of every mesh without its own (default: common practice)."},
    {QUANTITY("back_efficiency", SB_RATIO), BETWEEN(0, 1), .default_words = "as forward", DRAFT(back_efficiency),
     .meaning = "Efficiency of a gear when the output drives the motor; 0: it holds."},
    {.name = "shifter",
     .kind = SB_KEY_KINDS,
     .default_words = "required with two or more gears",
     .kinds = shifter_kinds,
     .set_kind = set_shifter_kind,
     .meaning = "What changes gears."},
    {.name = "gears",
     .kind = SB_KEY_LIST,
     .flags = SB_REQUIRED,
     MODEL(gearbox.gears),
     .size = sizeof(struct sb_gear),
     .count_offset = offsetof(struct sb_draft, model.gearbox.gear_count),
     .max = SB_GEAR_MAX,
     .section = &gear_section,
     .meaning = "Gears, the greatest reduction first."},
    {.name = "output_shaft",
     .kind = SB_KEY_SECTION,
     .flags = SB_SHORT_FORM,
     .default_words = "rigid",
     .section = &sb_driveshaft_section,
     .meaning = "A shaft that gives between the gear and the load: its stiffness alone, or a section."},
    {.name = NULL}};

#define MANNER                                                                                       \
  {                                                                                                  \
    .name = "manner", .kind = SB_KEY_CHOICE, .flags = SB_REQUIRED, .choices = manners, PART(manner), \
    .meaning = "resists: against the motion; acts: keeps its sign whatever the motion."              \
  }
#define BREAKAWAY                                                                 \
  {                                                                               \
    QUANTITY("breakaway", SB_TORQUE), BETWEEN(0, TORQUE_MAX),                     \
        .default_words = "its own value", PART(part.breakaway_nm),                \
        .meaning = "What it holds at standstill at least; only where it resists." \
  }
#define OVER                                                                                    \
  {                                                                                             \
    .name = "over", .kind = SB_KEY_CHOICE, .choices = axes, .default_text = "time", PART(axis), \
    .meaning = "Runs over the time or over the turns of the output."                            \
  }

static const struct sb_key constant_keys[] = {
    MANNER,
    {QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(-TORQUE_MAX, TORQUE_MAX), PART(part.torque_nm),
     .meaning = "Torque at the output, against the forward sense; not negative where it resists."},
    BREAKAWAY,
    {.name = NULL}};
static const struct sb_key viscous_keys[] = {{QUANTITY("coefficient", SB_VISCOUS), .flags = SB_REQUIRED,
                                              BETWEEN(0, 1e6), PART(part.viscous_nms_rad),
                                              .meaning = "Torque per speed of the output."},
                                             {.name = NULL}};
static const struct sb_key quadratic_keys[] = {{QUANTITY("coefficient", SB_QUADRATIC), .flags = SB_REQUIRED,
                                                BETWEEN(0, 1e6), PART(part.quadratic_nms2_rad2),
                                                .meaning = "Torque per squared speed of the output, as of a fan."},
                                               {.name = NULL}};
static const struct sb_key profile_keys[] = {
    MANNER,
    OVER,
    {.name = "points",
     .kind = SB_KEY_LATER,
     .default_words = "points or file is required",
     .needs = "list of [place, torque]",
     .meaning = "Places (times, or turns) ascending, each with its torque; a jump is two points at one place."},
    {.name = "file",
     .kind = SB_KEY_TEXT,
     .default_words = "points or file is required",
     PART(file),
     .size = 1024,
     .meaning = "CSV table next to the scenario with the columns time_s or turns, and torque_nm."},
    {.name = "interpolation",
     .kind = SB_KEY_CHOICE,
     .choices = interpolations,
     .default_text = "linear",
     PART(interpolation),
     .meaning = "Between points: a straight line, or the last value held."},
    {.name = "repeat",
     .kind = SB_KEY_FLAG,
     .default_text = "false",
     PART(part.is_repeating),
     .meaning = "true: starts again after its last point; else the last value stays."},
    BREAKAWAY,
    {.name = NULL}};
static const struct sb_key sine_keys[] = {
    MANNER,
    OVER,
    {QUANTITY("mean", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(-TORQUE_MAX, TORQUE_MAX), PART(part.mean_nm),
     .meaning = "Mean torque."},
    {QUANTITY("amplitude", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), PART(part.amplitude_nm),
     .meaning = "Greatest distance from the mean; at most the mean where it resists."},
    {.name = "period",
     .kind = SB_KEY_EITHER,
     .quantity = SB_TIME,
     .other = SB_ANGLE,
     .flags = SB_REQUIRED | SB_ABOVE,
     BETWEEN(0, TIME_MAX),
     PART(period),
     .meaning = "Length of one wave: a time, or turns, as `over` says."},
    {QUANTITY("phase", SB_ANGLE), BETWEEN(-ANGLE_MAX, ANGLE_MAX), .default_text = "0 deg", PART(part.phase_rad),
     .meaning = "Phase at the start: 90 deg starts at the crest."},
    BREAKAWAY,
    {.name = NULL}};

static const struct sb_section constant = {"constant", "one torque", constant_keys};
static const struct sb_section viscous = {"viscous", "follows the speed", viscous_keys};
static const struct sb_section quadratic = {"quadratic", "follows the squared speed", quadratic_keys};
static const struct sb_section profile = {"profile", "a table of torques", profile_keys};
static const struct sb_section sine = {"sine", "a wave about a mean", sine_keys};
static const struct sb_section *const part_kinds[] = {&constant, &viscous, &quadratic, &profile, &sine, NULL};

static const struct sb_key load_keys[] = {
    {QUANTITY("inertia", SB_INERTIA), BETWEEN(INERTIA_MIN, INERTIA_MAX), .default_words = "required without bodies",
     MODEL(load.inertia_kg_m2), .meaning = "All that turns with the output, seen there; bodies bring theirs besides."},
    {QUANTITY("breakaway", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", MODEL(load.breakaway_nm),
     .meaning = "What all resisting parts together hold at standstill at least."},
    {.name = "parts",
     .kind = SB_KEY_LIST,
     .default_words = "none",
     DRAFT(parts),
     .size = sizeof(struct sb_part_draft),
     .count_offset = offsetof(struct sb_draft, part_count),
     .max = SB_LOAD_PART_MAX,
     .kinds = part_kinds,
     .set_kind = set_part_kind,
     .meaning = "Parts of the torque at the output; their sum counts."},
    {.name = "bodies",
     .kind = SB_KEY_LIST,
     .default_words = "none",
     DRAFT(bodies),
     .size = sizeof(struct sb_body_draft),
     .count_offset = offsetof(struct sb_draft, body_count),
     .max = SB_BODY_MAX,
     .kinds = sb_body_sections,
     .set_kind = set_body_kind,
     .meaning = "What hangs on the output; each adds its inertia and its parts to those above."},
    {.name = NULL}};

static const struct sb_key controller_keys[] = {
    {.name = "start_gear",
     .kind = SB_KEY_TEXT,
     .default_words = "the highest gear",
     CONTROL(start_gear),
     .size = SB_NAME_SIZE,
     .meaning = "Gear in mesh at the start, by name."},
    {QUANTITY("sample_period", SB_TIME), BETWEEN(1e-6, 1e4), .default_text = "20 ms", MODEL(control.sample_period_s),
     .meaning = "Time between two readings, a whole multiple of the step."},
    {QUANTITY("start_delay", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(control.start_delay_s),
     .meaning = "No decision is taken for so long after the start."},
    {QUANTITY("dwell", SB_TIME), BETWEEN(0, TIME_MAX), .default_words = "required with two or more gears",
     CONTROL(dwell_s), .meaning = "No decision is taken for so long after a shift command."},
    {.name = "downshift_below",
     .kind = SB_KEY_EITHER,
     .quantity = SB_PERCENT,
     .other = SB_SPEED,
     .flags = SB_MANY | SB_ABOVE | SB_BELOW,
     BETWEEN(0, 1),
     .default_words = "required with two or more gears",
     CONTROL(downshift_below),
     .count_offset = offsetof(struct sb_draft, control.downshift_count),
     .max = SB_GEAR_MAX - 1,
     .meaning = "Shifts down when the reading is below this; with more than two gears a "
                "list from the lowest pair up."},
    {.name = "upshift_above",
     .kind = SB_KEY_EITHER,
     .quantity = SB_PERCENT,
     .other = SB_SPEED,
     .flags = SB_MANY | SB_ABOVE,
     BETWEEN(0, 10),
     .default_words = "required with two or more gears",
     CONTROL(upshift_above),
     .count_offset = offsetof(struct sb_draft, control.upshift_count),
     .max = SB_GEAR_MAX - 1,
     .meaning = "Shifts up when the reading is above this; above `downshift_below`."},
    {QUANTITY("threshold_step", SB_PERCENT), BETWEEN(1e-4, 0.1), .default_text = "0.1 %",
     MODEL(control.threshold_step_fraction),
     .meaning = "Thresholds that `map` and `tune` look at are multiples of this."},
    {.name = "debounce_samples",
     .kind = SB_KEY_WHOLE,
     BETWEEN(1, 255),
     .default_text = "1",
     CONTROL(debounce_samples),
     .meaning = "Readings in a row that it takes."},
    {.name = "resolution",
     .kind = SB_KEY_EITHER,
     .quantity = SB_PERCENT,
     .other = SB_SPEED,
     .flags = SB_ABOVE,
     BETWEEN(0, 1),
     .default_words = "exact",
     CONTROL(resolution),
     .meaning = "Step of the sensor's reading."},
    {QUANTITY("filter", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(control.sensor.filter_s),
     .meaning = "Time constant of a first-order filter before the reading; 0: none."},
    {QUANTITY("noise", SB_PERCENT), BETWEEN(0, 1), .default_text = "0 %", MODEL(control.sensor.noise_fraction),
     .meaning = "Standard deviation of the noise on the reading."},
    {.name = "seed",
     .kind = SB_KEY_WHOLE,
     BETWEEN(0, 4294967295.0),
     .default_text = "1",
     CONTROL(seed),
     .meaning = "Seed of the noise: the same seed gives the same noise."},
    {.name = "reading",
     .kind = SB_KEY_CHOICE,
     .choices = readings,
     .default_text = "speed",
     CONTROL(reading),
     .meaning =
         "speed: the motor's, in percent of reference_speed. duty: what is left of full duty, 100 % less the "
         "duty; in speed control. current: what is left up to reference_current, 100 % less the current. All three "
         "fall as the load grows, so downshift_below is below upshift_above for each."},
    {QUANTITY("reference_speed", SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, SPEED_MAX),
     .default_words = "the motor's no-load speed", CONTROL(reference_rad_s), .meaning = "Speed that reads 100 %."},
    {QUANTITY("reference_current", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, 1e5),
     .default_words = "the motor's stall current", CONTROL(reference_a),
     .meaning = "reading: current. Current that reads 0 %."},
    {.name = NULL}};

static const struct sb_key run_keys[] = {
    {QUANTITY("duration", SB_TIME), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TIME_MAX), MODEL(run.duration_s),
     .meaning = "Length of the simulated time."},
    {QUANTITY("distance", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, 1e9), .default_words = "none",
     DRAFT(run_distance_m), .meaning = "Way of the vehicle at which the run ends before its time."},
    {QUANTITY("step", SB_TIME), BETWEEN(1e-8, TIME_MAX), .default_text = "1 ms", MODEL(run.step_s),
     .meaning = "Step of the integration; steps too long for the motor are divided."},
    {QUANTITY("trace_interval", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_words = "the sample period",
     MODEL(run.trace_interval_s), .meaning = "Time between rows of the trace, a whole multiple of the step."},
    {QUANTITY("initial_output_speed", SB_SPEED), BETWEEN(-SPEED_MAX, SPEED_MAX), .default_text = "0 rpm",
     MODEL(run.initial_output_speed_rad_s),
     .meaning = "Speed of the output at the start, in mesh with the start gear."},
    {.name = NULL}};

static const struct sb_key limits_keys[] = {
    {QUANTITY("slip_time", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0.1 s", MODEL(limits.slip_time_s),
     .meaning = "Wheels that slip for longer at a time are a verdict."},
    {QUANTITY("output_torque", SB_TORQUE), .flags = SB_ABOVE, BETWEEN(0, TORQUE_MAX), .default_words = "no limit",
     MODEL(limits.output_torque_nm),
     .meaning = "What the weakest part behind the gears may carry. Of this, shaft and tooth the least counts."},
    {.name = "shaft",
     .kind = SB_KEY_SECTION,
     .default_words = "no limit",
     .section = &sb_limits_shaft_section,
     .meaning = "The same limit, given as an output shaft."},
    {.name = "tooth",
     .kind = SB_KEY_SECTION,
     .default_words = "no limit",
     .section = &sb_limits_tooth_section,
     .meaning = "The same limit, given as the teeth of the wheel on the output shaft."},
    {QUANTITY("winding", SB_TEMPERATURE), BETWEEN(-50, 1000), .default_words = "no limit", MODEL(limits.winding_c),
     .meaning = "Temperature that the winding may reach."},
    {QUANTITY("stall_time", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_text = "0.5 s",
     MODEL(limits.stall_time_s), .meaning = "A standstill in mesh for longer than this is a stall."},
    {QUANTITY("hunt_window", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "3 dwell + the shift's time + 5 time constants of the slower gear", MODEL(limits.hunt_window_s),
     .meaning = "Opposite shifts that follow each other within this are hunting."},
    {.name = NULL}};

static const struct sb_section motor = {"motor", "brushed permanent-magnet DC motor", motor_keys};
static const struct sb_section supply = {"supply", "battery or power supply", supply_keys};
static const struct sb_section gearbox = {"gearbox", "gears and what changes them", gearbox_keys};
static const struct sb_section load = {"load", "what the output drives", load_keys};
static const struct sb_section controller = {"controller", "hysteresis on motor speed, duty or current",
                                             controller_keys};
static const struct sb_section run = {"run", "the simulation", run_keys};
static const struct sb_section limits = {"limits", "what counts as a verdict", limits_keys};

static const struct sb_key top_keys[] = {
    {.name = "name",
     .kind = SB_KEY_TEXT,
     .default_words = "the file's name",
     MODEL(name),
     .size = 128,
     .meaning = "What the scenario is about."},
    {.name = "motor", .kind = SB_KEY_SECTION, .flags = SB_REQUIRED, .section = &motor, .meaning = "The motor."},
    {.name = "supply",
     .kind = SB_KEY_SECTION,
     .default_words = "nominal voltage, no resistance",
     .section = &supply,
     .meaning = "The supply."},
    {.name = "drive",
     .kind = SB_KEY_SECTION,
     .flags = SB_SHORT_FORM,
     .default_words = "100 % in open loop",
     .section = &sb_drive_section,
     .meaning = "The duty that the motor is given: a percentage alone, or a section."},
    {.name = "gearbox", .kind = SB_KEY_SECTION, .flags = SB_REQUIRED, .section = &gearbox, .meaning = "The gearbox."},
    {.name = "load", .kind = SB_KEY_SECTION, .flags = SB_REQUIRED, .section = &load, .meaning = "The load."},
    {.name = "controller",
     .kind = SB_KEY_SECTION,
     .default_words = "required with two or more gears",
     .section = &controller,
     .meaning = "The controller."},
    {.name = "run", .kind = SB_KEY_SECTION, .flags = SB_REQUIRED, .section = &run, .meaning = "The run."},
    {.name = "limits",
     .kind = SB_KEY_SECTION,
     .default_words = "no limits",
     .section = &limits,
     .meaning = "The limits."},
    {.name = "tolerances",
     .kind = SB_KEY_LATER,
     .default_words = "none",
     .needs = "section of PATH: SPREAD lines",
     .meaning = "Spread of any quantity above, by its dotted path, such as motor.stall_torque: 10 % (either side), "
                "gearbox.gears.1.drag: 2 mN.m (either side), supply.open_circuit_voltage: 9.6..12.6 V."},
    {.name = NULL}};

const struct sb_section sb_scenario_schema = {"scenario", "one machine and one run", top_keys};
