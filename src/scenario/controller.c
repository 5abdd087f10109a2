// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `controller`: its keys, its checks, and their conversion into the model's terms. */
#include <math.h>
#include <string.h>

#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define CONTROL(field) DRAFT(control.field)

static const struct sb_choice readings[] = {
    {"speed", SB_SENSES_SPEED}, {"duty", SB_SENSES_DUTY}, {"current", SB_SENSES_CURRENT}, {NULL, 0}};

/* One threshold for each pair of gears. */
#define THRESHOLDS(text, field, count, most)                              \
  EITHER(text, SB_PERCENT, SB_SPEED), BETWEEN(0, most),                   \
      .default_words = "required with two or more gears", CONTROL(field), \
      .count_offset = offsetof(struct sb_draft, control.count), .max = SB_GEAR_MAX - 1

static const struct sb_choice betweens[] = {{"pulses", 1}, {NULL, 0}};

static const struct sb_key sensor_keys[] = {
    {QUANTITY("pulses", SB_RATIO), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1e6),
     MODEL(control.sensor.pulses.per_turn),
     .meaning = "The number of pulses that the sensor gives in one turn of the motor, in either direction."},
    {QUANTITY("window", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "window or between is required", MODEL(control.sensor.pulses.window_s),
     .meaning = "The pulses of this time before each sample are counted. The time may be longer or shorter than the "
                "sample period, at most 64 sample periods."},
    {CHOICE("between", betweens), .default_words = "window or between is required", CONTROL(between),
     .meaning = "In place of a window: the time between the last two pulses gives the speed, and where no pulse comes, "
                "the time since the last one."},
    {LATER("phase", "number from 0 to 1, random or worst"), .default_words = "random",
     .meaning = "How far the motor has turned since the last pulse when the run starts, in pulses. random: the seed "
                "gives it. worst, for a window: at each sample the phase that shifts first, the least count for a "
                "downshift and the greatest for an upshift."},
    {.name = NULL}};

static const struct sb_section sensor_section = {"sensor", "a sensor that gives pulses as the motor turns", sensor_keys,
                                                 NULL};

static const struct sb_choice references[] = {{"fixed", 0}, {"measured supply", 1}, {NULL, 0}};

static const struct sb_key supply_sensor_keys[] = {
    {QUANTITY("resolution", SB_VOLTAGE), .flags = SB_ABOVE, BETWEEN(0, VOLTAGE_MAX), .default_words = "exact",
     MODEL(control.sensor.supply.resolution_v),
     .meaning = "The measured voltage is rounded to whole multiples of this."},
    {QUANTITY("filter", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(control.sensor.supply.filter_s),
     .meaning = "The time constant of a first-order filter before the rounding; 0 s means no filter."},
    {QUANTITY("reference", SB_VOLTAGE), .flags = SB_ABOVE, BETWEEN(0, VOLTAGE_MAX),
     .default_words = "the motor's nominal voltage", MODEL(control.sensor.supply.nominal_v),
     .meaning = "The voltage at which reference_speed reads 100 %."},
    {QUANTITY("drop", SB_VOLTAGE), BETWEEN(0, VOLTAGE_MAX),
     .default_words = "the no-load current times the winding's resistance, or 0 V", MODEL(control.sensor.supply.drop_v),
     .meaning = "The voltage at which the motor's no-load speed would be zero: the speed that reads 100 % is in "
                "proportion to the measured voltage less this."},
    {.name = NULL}};

static const struct sb_section supply_sensor_section = {
    "voltage_sensor", "the supply's voltage as the controller measures it, for reference: measured supply",
    supply_sensor_keys, NULL};

static const struct sb_key keys[] = {
    {TEXT("start_gear", SB_NAME_SIZE), .default_words = "the highest gear", CONTROL(start_gear),
     .meaning = "The name of the gear that is engaged at the start."},
    {QUANTITY("sample_period", SB_TIME), BETWEEN(1e-6, 1e4), .default_text = "20 ms", MODEL(control.sample_period_s),
     .meaning = "The time between two readings, a whole multiple of the step."},
    {QUANTITY("start_delay", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(control.start_delay_s),
     .meaning = "The controller takes no decision for this time after the start."},
    {QUANTITY("dwell", SB_TIME), BETWEEN(0, TIME_MAX), .default_words = "required with two or more gears",
     CONTROL(dwell_s), .meaning = "The controller takes no decision for this time after a shift command."},
    {THRESHOLDS("downshift_below", downshift_below, downshift_count, 1), .flags = SB_MANY | SB_ABOVE | SB_BELOW,
     .meaning = "The box shifts down when the reading is below this. With more than two gears, give a list from the "
                "lowest pair up."},
    {THRESHOLDS("upshift_above", upshift_above, upshift_count, 10), .flags = SB_MANY | SB_ABOVE,
     .meaning = "The box shifts up when the reading is above this. It lies above downshift_below."},
    {QUANTITY("threshold_step", SB_PERCENT), BETWEEN(1e-4, 0.1), .default_text = "0.1 %",
     MODEL(control.threshold_step_fraction),
     .meaning = "`map` and `tune` look at thresholds that are multiples of this."},
    {WHOLE("debounce_samples"), BETWEEN(1, 255), .default_text = "1", CONTROL(debounce_samples),
     .meaning = "The number of readings in a row beyond a threshold that make a shift."},
    {EITHER("resolution", SB_PERCENT, SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, 1), .default_words = "exact",
     CONTROL(resolution),
     .meaning = "The sensor's reading is rounded to whole multiples of this. Of a duty or a current, the "
                "register's or the sensor's own count is rounded, and a tie is rounded up there."},
    {SECTION("sensor", &sensor_section), .default_words = "none, the speed at the sample",
     .meaning = "The sensor as it is built, for a reading of the speed."},
    {QUANTITY("filter", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(control.sensor.filter_s),
     .meaning = "The time constant of a first-order filter before the reading; 0 s means no filter."},
    {QUANTITY("noise", SB_PERCENT), BETWEEN(0, 1), .default_text = "0 %", MODEL(control.sensor.noise_fraction),
     .meaning = "The standard deviation of the noise on the reading."},
    {WHOLE("seed"), BETWEEN(0, 4294967295.0), .default_text = "1", CONTROL(seed),
     .meaning = "The seed of the noise: the same seed gives the same noise."},
    {CHOICE("reading", readings), .default_text = "speed", CONTROL(reading),
     .meaning =
         "What the controller reads. speed: the motor's speed, in percent of reference_speed. duty: what is left "
         "of full duty, 100 % less the duty; this needs speed control. current: what is left up to "
         "reference_current, 100 % less the current. All three fall as the load grows, so downshift_below is "
         "below upshift_above for each."},
    {QUANTITY("reference_speed", SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, SPEED_MAX),
     .default_words = "the motor's no-load speed", CONTROL(reference_rad_s), .meaning = "The speed that reads 100 %."},
    {CHOICE("reference", references), .default_text = "fixed", CONTROL(reference),
     .meaning = "fixed: reference_speed reads 100 % at any voltage. measured supply: what reads 100 % follows the "
                "voltage that the controller measures, as the motor's no-load speed does, so that thresholds pass over "
                "the charge of a battery."},
    {SECTION("voltage_sensor", &supply_sensor_section), .default_words = "exact, without a filter",
     .meaning = "How the controller measures the supply, for reference: measured supply."},
    {QUANTITY("reference_current", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, CURRENT_MAX),
     .default_words = "the motor's stall current", CONTROL(reference_a),
     .meaning = "For a reading of the current: the current that reads 0 %."},
    {.name = NULL}};

const struct sb_section sb_controller_section = {"controller", "hysteresis on the motor's speed, duty or current", keys,
                                                 NULL};

/* A reading as a fraction of the reference; NAN stays NAN. */
static double as_fraction(const struct sb_given *given, double reference_rad_s)
{
  return given->quantity == SB_SPEED ? given->value / reference_rad_s : given->value;
}

static void find_start_gear(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  struct sb_control *control = &reader->draft->model.control;
  const char *name = reader->draft->control.start_gear;
  control->start_gear = name[0] == 0 ? gearbox->gear_count : sb_gearbox_find(gearbox, name) + 1;
  if (control->start_gear > 0 || gearbox->gear_count == 0) return;

  const char *names[SB_GEAR_MAX + 1] = {NULL};
  char list[SB_GEAR_MAX * (SB_NAME_SIZE + 2) + 1] = "";
  for (int g = 0; g < gearbox->gear_count; g++) {
    names[g] = gearbox->gears[g].name;
    sb_fail_add(list, sizeof list, "%s%s", g == 0 ? "" : ", ", names[g]);
  }
  sb_reader_fault(reader, "controller.start_gear", "needs the name of a gear (%s), found %s%s", list,
                  sb_fail_quote(name).text, sb_nearest_hint(name, names).text);
}

/* Whether as many thresholds were given as there are pairs of gears. */
static bool has_pairs(struct sb_reader *reader, const char *key, int count)
{
  const int pairs = reader->draft->model.gearbox.gear_count - 1;
  const struct sb_node *node = sb_reader_node(reader, PATH("controller.%s", key));
  if (node == NULL && pairs > 0) {
    sb_reader_fault(reader, PATH("controller.%s", key),
                    "needs a percentage (%%) or an angular speed (%s) for two or more gears, found no such key",
                    sb_units_offered(SB_SPEED));
  }
  if (node == NULL || node->kind == SB_NODE_MAP || node->kind == SB_NODE_BROKEN || pairs < 0) return false;
  if (count != pairs) {
    sb_reader_fault(reader, PATH("controller.%s", key),
                    "needs %d %s, one for each pair of neighbouring gears, found %d", pairs,
                    pairs == 1 ? "value" : "values", count);
  }
  return count == pairs;
}

static struct sb_path threshold_path(const struct sb_reader *reader, const char *key, int pair)
{
  const struct sb_node *node = sb_reader_node(reader, PATH("controller.%s", key));
  const bool is_list = node != NULL && node->kind == SB_NODE_LIST;
  return is_list ? sb_reader_path("controller.%s.%d", key, pair + 1) : sb_reader_path("controller.%s", key);
}

static void check_pair(struct sb_reader *reader, int pair)
{
  const struct sb_control *control = &reader->draft->model.control;
  const double downshift = control->downshift_fraction[pair], upshift = control->upshift_fraction[pair];
  const struct sb_path above = threshold_path(reader, "upshift_above", pair);
  if (downshift >= 1.0) {
    sb_reader_fault(reader, threshold_path(reader, "downshift_below", pair).text,
                    "needs less than 100 %% of the reference, found %.6g %%", 100.0 * downshift);
  }
  if (upshift > 10.0) {
    sb_reader_fault(reader, above.text, "needs at most 1000 %% of the reference, found %.6g %%", 100.0 * upshift);
  }
  if (upshift <= downshift) {
    sb_reader_fault(reader, above.text, "needs more than downshift_below (%.6g %%), found %.6g %%", 100.0 * downshift,
                    100.0 * upshift);
  }
}

static void finish_thresholds(struct sb_reader *reader)
{
  const struct sb_control_draft *draft = &reader->draft->control;
  struct sb_control *control = &reader->draft->model.control;
  const double reference = control->sensor.reference_rad_s;
  const bool has_downshift = has_pairs(reader, "downshift_below", draft->downshift_count);
  const bool has_upshift = has_pairs(reader, "upshift_above", draft->upshift_count);
  const int pairs = reader->draft->model.gearbox.gear_count - 1;
  for (int p = 0; p < pairs; p++) {
    control->downshift_fraction[p] = has_downshift ? as_fraction(&draft->downshift_below[p], reference) : (double)NAN;
    control->upshift_fraction[p] = has_upshift ? as_fraction(&draft->upshift_above[p], reference) : (double)NAN;
    check_pair(reader, p);
  }
}

void sb_reader_check_thresholds(struct sb_reader *reader)
{
  for (int p = 0; p < reader->draft->model.gearbox.gear_count - 1; p++) check_pair(reader, p);
}

const struct sb_key *sb_reader_controller_key(const char *name)
{
  const struct sb_key *key = keys;
  while (strcmp(key->name, name) != 0) key++;
  return key;
}

static void refuse_speed(struct sb_reader *reader, const char *path, const char *reading)
{
  sb_reader_fault(reader, path, "needs a percentage (%%), since the reading is the %s, found an angular speed",
                  reading);
}

/* What the sensor is after must be there, and what is given in speeds must be meant for a speed. */
static void check_reading(struct sb_reader *reader)
{
  static const char *const words[] = {"speed", "duty", "current"};
  const struct sb_draft *draft = reader->draft;
  const struct sb_control_draft *control = &draft->control;
  const char *reading = words[control->reading];
  if (control->reading == SB_SENSES_DUTY && draft->drive.mode == SB_MODE_OPEN) {
    sb_reader_fault(
        reader, "controller.reading",
        "needs drive.mode: speed control for a reading of the duty, which says nothing where it never changes, "
        "found open loop");
  }
  if (control->reading == SB_SENSES_CURRENT && !draft->model.motor.has_currents) {
    sb_reader_fault(
        reader, "controller.reading",
        "needs stall_current and no_load_current of the motor for a reading of the current, found not both");
  }
  if (control->reading != SB_SENSES_CURRENT && sb_reader_has(reader, "controller.reference_current")) {
    sb_reader_fault(reader, "controller.reference_current", "needs reading: current, found %s", reading);
  }
  if (control->reading == SB_SENSES_SPEED) return;
  if (sb_reader_has(reader, "controller.reference_speed")) {
    sb_reader_fault(reader, "controller.reference_speed", "needs reading: speed, found %s", reading);
  }
  for (int p = 0; p < SB_GEAR_MAX - 1; p++) {
    if (p < control->downshift_count && control->downshift_below[p].quantity == SB_SPEED) {
      refuse_speed(reader, threshold_path(reader, "downshift_below", p).text, reading);
    }
    if (p < control->upshift_count && control->upshift_above[p].quantity == SB_SPEED) {
      refuse_speed(reader, threshold_path(reader, "upshift_above", p).text, reading);
    }
  }
  if (control->resolution.quantity == SB_SPEED) refuse_speed(reader, "controller.resolution", reading);
}

static void refuse_beside_sensor(struct sb_reader *reader, const char *path, const char *reason)
{
  if (sb_reader_has(reader, path)) sb_reader_fault(reader, path, "%s", reason);
}

/* A number, or a word. */
static void finish_phase(struct sb_reader *reader)
{
  static const char *const words[] = {"random", "worst", NULL};
  const struct sb_node *node = sb_reader_node(reader, "controller.sensor.phase");
  struct sb_pulse_sensor *pulses = &reader->draft->model.control.sensor.pulses;
  const char *text = node != NULL && node->kind == SB_NODE_VALUE ? node->text : NULL;
  pulses->phase = sb_sensor_phase_of((unsigned long)reader->draft->control.seed);
  if (node == NULL || (text != NULL && strcmp(text, "random") == 0)) return;
  struct sb_error err;
  double phase;
  if (text != NULL && strcmp(text, "worst") == 0) {
    pulses->is_worst = true;
    if (!(pulses->window_s > 0.0)) {
      sb_reader_fault(reader, "controller.sensor.phase",
                      "needs a number from 0 to below 1 or random without a window, found worst");
    }
    refuse_beside_sensor(reader, "controller.filter", "needs no filter beside the worst phase, found one");
  } else if (text != NULL && sb_units_parse(text, SB_RATIO, &phase, &err) == SB_OK && phase >= 0.0 && phase < 1.0) {
    pulses->phase = phase;
  } else {
    sb_reader_fault(reader, "controller.sensor.phase", "needs a number from 0 to below 1, random or worst, found %s%s",
                    text != NULL ? sb_fail_quote(text).text : "none of these",
                    text != NULL ? sb_nearest_hint(text, words).text : "");
  }
}

static void finish_window(struct sb_reader *reader)
{
  struct sb_control *control = &reader->draft->model.control;
  struct sb_sensor *sensor = &control->sensor;
  double rest_s;
  const bool is_known = sensor->pulses.window_s > 0.0 && control->sample_period_s > 0.0; /* else a fault of its own */
  if (is_known && sb_sensor_window_slots(&sensor->pulses, control->sample_period_s, &rest_s) > SB_PULSE_SLOT_MAX) {
    sb_reader_fault(reader, "controller.sensor.window", "needs at most %d sample periods (%.6g s), found %.6g s",
                    SB_PULSE_SLOT_MAX, SB_PULSE_SLOT_MAX * control->sample_period_s, sensor->pulses.window_s);
  }
  refuse_beside_sensor(reader, "controller.resolution",
                       "needs no resolution beside a window, whose resolution is one pulse, found one");
  sensor->resolution_fraction = sb_sensor_pulse_fraction(sensor);
  if (sensor->resolution_fraction > 1.0) {
    sb_reader_fault(reader, "controller.sensor",
                    "needs at least one pulse in the window at the speed that reads 100 %%, found "
                    "%.6g",
                    1.0 / sensor->resolution_fraction);
  }
}

/* The sensor as it is built; after the references. */
static void finish_pulses(struct sb_reader *reader)
{
  struct sb_pulse_sensor *pulses = &reader->draft->model.control.sensor.pulses;
  const bool has_window = sb_reader_has(reader, "controller.sensor.window");
  const bool has_between = sb_reader_has(reader, "controller.sensor.between");
  const struct sb_node *node = sb_reader_node(reader, "controller.sensor");
  if (node == NULL || node->kind != SB_NODE_MAP) {
    *pulses = (struct sb_pulse_sensor){0};
    return;
  }
  if (!has_window) pulses->window_s = 0.0;
  if (has_window == has_between) {
    sb_reader_fault(reader, "controller.sensor", "needs one of window and between, found %s",
                    has_window ? "both" : "neither");
  }
  if (reader->draft->control.reading != SB_SENSES_SPEED) {
    sb_reader_fault(reader, "controller.sensor", "needs reading: speed, found %s",
                    reader->draft->control.reading == SB_SENSES_DUTY ? "duty" : "current");
  }
  finish_phase(reader);
  if (has_window) finish_window(reader);
}

/* What the electronics take for the motor's voltages. */
static void finish_voltages(struct sb_reader *reader)
{
  const struct sb_motor *motor = &reader->draft->model.motor;
  struct sb_supply_sensor *supply = &reader->draft->model.control.sensor.supply;
  const double share = motor->has_currents ? motor->no_load_current_a / motor->stall_current_a : 0.0;
  sb_reader_default(reader, "controller.voltage_sensor.reference", &supply->nominal_v, motor->nominal_voltage_v);
  sb_reader_default(reader, "controller.voltage_sensor.drop", &supply->drop_v, share * motor->nominal_voltage_v);
  if (supply->drop_v >= supply->nominal_v) {
    sb_reader_fault(reader, "controller.voltage_sensor.drop", "needs less than the reference (%.6g V), found %.6g V",
                    supply->nominal_v, supply->drop_v);
  }
}

static void finish_supply_sensor(struct sb_reader *reader)
{
  static const double coarsest = 0.05; /* of the range */
  struct sb_supply_sensor *supply = &reader->draft->model.control.sensor.supply;
  supply->is_present = reader->draft->control.reference != 0;
  if (!supply->is_present) {
    if (sb_reader_has(reader, "controller.voltage_sensor")) {
      sb_reader_fault(reader, "controller.voltage_sensor", "needs reference: measured supply, found fixed");
    }
    *supply = (struct sb_supply_sensor){.is_present = false};
    return;
  }
  if (reader->draft->control.reading != SB_SENSES_SPEED) {
    sb_reader_fault(reader, "controller.reference", "needs reading: speed for a measured supply, found %s",
                    reader->draft->control.reading == SB_SENSES_DUTY ? "duty" : "current");
  }
  if (reader->draft->drive.mode == SB_MODE_SPEED_CONTROL) {
    sb_reader_fault(reader, "controller.reference",
                    "needs drive.mode: open loop for a measured supply, since under speed control the speed does not "
                    "follow the supply, found speed control");
  }
  finish_voltages(reader);
  if (!sb_reader_has(reader, "controller.voltage_sensor.resolution")) supply->resolution_v = 0.0;
  const double most_v = coarsest * (supply->nominal_v - supply->drop_v);
  if (supply->resolution_v > 0.0 && supply->resolution_v > most_v) {
    sb_reader_fault(reader, "controller.voltage_sensor.resolution",
                    "needs at most a twentieth of the reference less the drop (%.4g V), found %.6g V", most_v,
                    supply->resolution_v);
  }
}

static void finish_sensor(struct sb_reader *reader)
{
  const struct sb_control_draft *draft = &reader->draft->control;
  const struct sb_motor *motor = &reader->draft->model.motor;
  struct sb_sensor *sensor = &reader->draft->model.control.sensor;
  sensor->quantity = (enum sb_sensor_quantity)draft->reading;
  check_reading(reader);
  sensor->reference_rad_s = draft->reference_rad_s;
  sb_reader_default(reader, "controller.reference_speed", &sensor->reference_rad_s, motor->no_load_speed_rad_s);
  const bool has_current = sb_reader_has(reader, "controller.reference_current");
  sensor->reference_a = has_current ? draft->reference_a : motor->stall_current_a;
  if (motor->has_currents) sb_reader_resolve(reader, "controller.reference_current", sensor->reference_a);
  sensor->seed = (unsigned long)draft->seed;
  sensor->resolution_fraction = as_fraction(&draft->resolution, sensor->reference_rad_s);
  if (isnan(draft->resolution.value)) sensor->resolution_fraction = 0.0;
  if (sensor->resolution_fraction > 1.0) {
    sb_reader_fault(reader, "controller.resolution", "needs at most 100 %% of the reference, found %.6g %%",
                    100.0 * sensor->resolution_fraction);
  }
  finish_pulses(reader);
  finish_supply_sensor(reader);
}

void sb_reader_finish_control(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  struct sb_control *control = &draft->model.control;
  const struct sb_node *node = sb_tree_find(reader->root, "controller");
  const bool has_pairs_of_gears = draft->model.gearbox.gear_count > 1;
  finish_sensor(reader);
  find_start_gear(reader);
  control->debounce_count = (int)draft->control.debounce_samples;
  control->dwell_s = isnan(draft->control.dwell_s) ? 0.0 : draft->control.dwell_s;
  if (node == NULL && has_pairs_of_gears) {
    sb_reader_fault(reader, "controller", "needs a section for two or more gears, found no such key");
  }
  if (node == NULL || node->kind != SB_NODE_MAP) return;
  finish_thresholds(reader);
  if (has_pairs_of_gears && sb_tree_find(node, "dwell") == NULL) {
    sb_reader_fault(reader, "controller.dwell", "needs a time (%s) for two or more gears, found no such key",
                    sb_units_offered(SB_TIME));
  }
}
