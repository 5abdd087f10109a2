// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `drive`: its keys, its checks, and its conversion into the model's terms. NAN marks what had a fault already. */
#include <math.h>
#include <string.h>

#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define PERIOD_DEFAULT 5e-3   /* s, common practice for a speed loop on a small motor */
#define WHOLE_WITHIN 1e-6     /* as in sb_model_step_count() */
#define SCHEDULE_TIME_MAX 1e8 /* s */

static const struct sb_choice modes[] = {
    {"open loop", SB_MODE_OPEN}, {"speed control", SB_MODE_SPEED_CONTROL}, {NULL, 0}};
static const struct sb_choice offs[] = {{"coast", SB_OFF_COAST}, {"brake", SB_OFF_BRAKE}, {NULL, 0}};

static const struct sb_key keys[] = {
    {QUANTITY("limit", SB_PERCENT), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "100 %",
     MODEL(drive.limit_fraction),
     .meaning = "The greatest share of the supply's voltage that the motor is given (the duty). The gear and the "
                "schedule give its sign."},
    {QUANTITY("current_limit", SB_CURRENT), .flags = SB_ABOVE, BETWEEN(0, 1e6), .default_words = "none",
     MODEL(supply.current_limit_a),
     .meaning =
         "The most current that the driver lets through the motor, either way. Where the motor would take more, the "
         "driver gives it a lower duty that brings just this current: the torque is constant below a corner speed, and "
         "the battery gives the duty times this current. It needs the motor's currents."},
    {CHOICE("mode", modes), .default_text = "open loop", DRAFT(drive.mode),
     .meaning = "open loop: the duty is the limit. speed control: an inner loop sets the duty, so that the motor turns "
                "at `target` until the duty reaches the limit."},
    {EITHER("target", SB_PERCENT, SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, 2),
     .default_words = "required for speed control", DRAFT(drive.target),
     .meaning = "The motor speed that speed control holds, in percent of the motor's no-load speed or as a speed."},
    {EITHER("proportional_band", SB_PERCENT, SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, 1e3), .default_text = "20 %",
     DRAFT(drive.band),
     .meaning = "For speed control: the distance from the target at which the proportional part alone gives full duty, "
                "in percent of the motor's no-load speed or as a speed."},
    {QUANTITY("integral_time", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "the longest time constant of a gear", DRAFT(drive.integral_time_s),
     .meaning = "For speed control: the time in which the integral part of a constant error grows as large as its "
                "proportional part. A very long time leaves the proportional part alone."},
    {QUANTITY("period", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, 1e4),
     .default_words = "5 ms, or the next shorter time that fits the step and the sample period", MODEL(drive.period_s),
     .meaning =
         "The time between two changes of the duty: a whole multiple of the step, and the sample period is a "
         "whole multiple of it. The voltage of a battery and the resistance of a warm winding change at the same "
         "times; what that makes of energy, charge and temperature is of second order in the period."},
    {QUANTITY("ramp", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0 s", MODEL(drive.ramp_s),
     .meaning = "The shortest time in which the duty rises from 0 to 100 %, at each start. The duty falls at once."},
    {CHOICE("when_off", offs), .default_text = "coast", DRAFT(drive.off),
     .meaning = "What the motor's circuit does while the drive is switched to stop. coast: it is open. brake: it is "
                "short."},
    {LATER("schedule", "list of [time, forward, stop or reverse]"), .default_words = "forward all the time",
     .meaning = "Each pair switches the drive to forward, stop or reverse from its time on. The times ascend, and the "
                "first pair also counts before its time. A box whose gear is selected by the motor's direction has no "
                "reverse."},
    {.name = NULL}};

const struct sb_section sb_drive_section = {
    "drive", "the duty that the motor is given; a percentage alone is the limit", keys, NULL};

static const char *const command_words[] = {"reverse", "stop", "forward", NULL};

/* A speed given in percent of the no-load speed, or as a speed; NAN stays NAN. */
static double as_speed(const struct sb_given *given, double no_load_rad_s)
{
  return given->quantity == SB_PERCENT ? given->value * no_load_rad_s : given->value;
}

/* The command's time and word; false (and faults) when they are none. */
static bool read_command(struct sb_reader *reader, const struct sb_node *node, const char *path, double *time_s,
                         double *command)
{
  const struct sb_node *time = sb_tree_at(node, 1), *word = sb_tree_at(node, 2);
  if (node->kind == SB_NODE_BROKEN) return false;
  if (node->kind != SB_NODE_LIST || node->count != 2 || time->kind != SB_NODE_VALUE || word->kind != SB_NODE_VALUE) {
    sb_faults_add(reader->faults, &node->place, path, "needs a pair such as [5 s, stop], found something else");
    return false;
  }
  struct sb_error err;
  bool is_fit = sb_units_parse(time->text, SB_TIME, time_s, &err) == SB_OK;
  if (!is_fit) sb_faults_add(reader->faults, &time->place, path, "%s", err.text);
  if (is_fit && !(*time_s >= 0.0 && *time_s <= SCHEDULE_TIME_MAX)) {
    sb_faults_add(reader->faults, &time->place, path, "needs a time at least 0 s, at most 1e8 s, found %s",
                  sb_fail_quote(time->text).text);
    is_fit = false;
  }
  for (int i = 0; command_words[i] != NULL; i++) {
    if (strcmp(word->text, command_words[i]) != 0) continue;
    *command = (double)(i + SB_COMMAND_REVERSE);
    return is_fit;
  }
  sb_faults_add(reader->faults, &word->place, path, "needs forward, stop or reverse, found %s%s",
                sb_fail_quote(word->text).text, sb_nearest_hint(word->text, command_words).text);
  return false;
}

/* In a direction-selected box the motor's other direction is the other gear, and drives the output the same way. */
static void check_command(struct sb_reader *reader, const struct sb_node *node, const char *path, double command)
{
  const struct sb_model *model = &reader->draft->model;
  const struct sb_shifter_ops *ops = model->shifter.ops;
  if (command != (double)SB_COMMAND_REVERSE || model->gearbox.gear_count < 2) return;
  if (ops == NULL || !ops->is_direction_selected) return;
  sb_faults_add(
      reader->faults, &sb_tree_at(node, 2)->place, path,
      "needs forward or stop, since with a %s the motor's direction selects the gear: reversing the motor shifts, and the output keeps its direction, found \"reverse\"",
      ops->name);
}

static void read_schedule(struct sb_reader *reader)
{
  const struct sb_node *list = sb_reader_node(reader, "drive.schedule");
  if (list == NULL || list->kind == SB_NODE_BROKEN) return;
  if (list->kind != SB_NODE_LIST || list->count == 0) {
    sb_faults_add(reader->faults, &list->place, "drive.schedule", "needs a list of pairs such as [5 s, stop], found %s",
                  list->kind == SB_NODE_LIST ? "none" : "something else");
    return;
  }
  double *times = sb_arena_take(reader->kept, (size_t)list->count * sizeof *times);
  double *schedule = sb_arena_take(reader->kept, (size_t)list->count * sizeof *schedule);
  if (times == NULL || schedule == NULL) {
    reader->is_out_of_memory = true;
    return;
  }
  size_t n = 0;
  int number = 0;
  for (const struct sb_node *node = list->first; node != NULL; node = node->next) {
    const struct sb_path path = sb_reader_path("drive.schedule.%d", ++number);
    if (!read_command(reader, node, path.text, &times[n], &schedule[n])) continue;
    check_command(reader, node, path.text, schedule[n]);
    if (n > 0 && !(times[n] > times[n - 1])) {
      sb_faults_add(reader->faults, &node->first->place, path.text,
                    "needs a later time than the entry before, found %s", sb_fail_quote(node->first->text).text);
    }
    n++;
  }
  reader->draft->model.drive.schedule = (struct sb_table){n, times, schedule};
}

static void finish_hold(struct sb_reader *reader)
{
  const struct sb_drive_draft *draft = &reader->draft->drive;
  struct sb_drive *drive = &reader->draft->model.drive;
  const double no_load_rad_s = reader->draft->model.motor.no_load_speed_rad_s;
  const bool is_hold = drive->mode == SB_DRIVE_SPEED_CONTROL;
  if (is_hold && !sb_reader_has(reader, "drive.target")) {
    sb_reader_fault(reader, "drive.target",
                    "needs a percentage (%%) or an angular speed (%s) for speed control, found no such key",
                    sb_units_offered(SB_SPEED));
  }
  static const char *const of_loop[] = {"drive.target", "drive.proportional_band", "drive.integral_time"};
  for (size_t i = 0; i < sizeof of_loop / sizeof *of_loop && !is_hold; i++) {
    if (sb_reader_has(reader, of_loop[i])) {
      sb_reader_fault(reader, of_loop[i], "needs mode: speed control, found open loop");
    }
  }
  drive->target_rad_s = as_speed(&draft->target, no_load_rad_s);
  drive->gain_per_rad_s = 1.0 / as_speed(&draft->band, no_load_rad_s);
}

static void finish_limit(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  const double limit_a = model->supply.current_limit_a;
  if (!sb_reader_has(reader, "drive.current_limit")) {
    model->supply.current_limit_a = 0.0;
  } else if (!model->motor.has_currents) {
    sb_reader_fault(reader, "drive.current_limit",
                    "needs stall_current and no_load_current of the motor, found not both");
  } else if (limit_a <= model->motor.no_load_current_a) {
    sb_reader_fault(
        reader, "drive.current_limit",
        "needs more than motor.no_load_current (%.10g A), since the motor turns with no less, found %.10g A",
        model->motor.no_load_current_a, limit_a);
  }
}

/* The longest period up to one that goes into the sample period in whole steps; a step at least. */
static double period_that_fits(double longest_s, double step_s, double sample_period_s)
{
  const double per_sample = round(sample_period_s / step_s);
  for (double steps = fmin(floor(longest_s / step_s + 1e-9), per_sample); steps > 1.0; steps -= 1.0) {
    if (fmod(per_sample, steps) == 0.0) return steps * step_s;
  }
  return step_s;
}

/* What ticks of the drive and samples of the controller count on: each sample falls on a tick. */
static void finish_period(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  struct sb_drive *drive = &model->drive;
  const double step_s = model->run.step_s, sample_s = model->control.sample_period_s;
  if (isnan(step_s) || isnan(sample_s)) return;
  if (!sb_reader_has(reader, "drive.period")) {
    drive->period_s = period_that_fits(PERIOD_DEFAULT, step_s, sample_s);
    sb_reader_resolve(reader, "drive.period", drive->period_s);
    return;
  }
  sb_reader_check_multiple(reader, "drive.period", "the drive's period", drive->period_s, step_s);
  const double per_sample = sample_s / drive->period_s;
  if (isnan(per_sample) || (round(per_sample) >= 1.0 && fabs(per_sample - round(per_sample)) <= WHOLE_WITHIN)) return;
  sb_reader_fault(reader, "drive.period",
                  "needs to divide the sample period (%.10g s) into whole parts, found %.10g s; %.10g s would do",
                  sample_s, drive->period_s, period_that_fits(drive->period_s, step_s, sample_s));
}

void sb_reader_finish_drive(struct sb_reader *reader)
{
  const struct sb_drive_draft *draft = &reader->draft->drive;
  struct sb_drive *drive = &reader->draft->model.drive;
  drive->mode = draft->mode == SB_MODE_SPEED_CONTROL ? SB_DRIVE_SPEED_CONTROL : SB_DRIVE_OPEN_LOOP;
  drive->off = (enum sb_drive_off)draft->off;
  read_schedule(reader);
  if (draft->mode != SB_MODE_NONE) finish_hold(reader);
  finish_limit(reader);
  finish_period(reader);
}

/* The longest time constant of a gear at full duty, the load's inertia with it and what follows its speed without. */
static double longest_time_constant_s(const struct sb_model *model)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  double longest = 0.0;
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    longest = fmax(longest, sb_model_driven_inertia_kg_m2(model, g, model->load.inertia_kg_m2) / line.slope_nms_rad);
  }
  return longest;
}

void sb_reader_derive_drive(struct sb_reader *reader)
{
  struct sb_drive *drive = &reader->draft->model.drive;
  double integral_time_s = reader->draft->drive.integral_time_s;
  if (isnan(integral_time_s)) {
    integral_time_s = longest_time_constant_s(&reader->draft->model);
    sb_reader_resolve(reader, "drive.integral_time", integral_time_s);
  }
  drive->integral_per_rad = drive->gain_per_rad_s / integral_time_s;
  if (drive->mode == SB_DRIVE_SPEED_CONTROL) return;
  drive->target_rad_s = drive->gain_per_rad_s = drive->integral_per_rad = 0.0; /* nothing holds a speed */
}
