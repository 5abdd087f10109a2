// SPDX-License-Identifier: GPL-3.0-or-later
/* The most likely course of gears beside a log of the motor's speed alone; see course.h. */
#include "inspect/gear_track.h"

#include <math.h>
#include <stdlib.h>

#include "base/arena.h"
#include "inspect/course.h"
#include "shiftband/run.h"

enum {
  KEPT_MAX = 96,        /* courses that are followed */
  ROOM = 3 * KEPT_MAX,  /* with those that part from them */
  KEPT_OF_A_KIND = 6,   /* in one gear, deciding, waiting or in neutral */
  SETTLING_ROWS = 100,  /* after which the filter is as sure as it gets */
  PHASES = 4,           /* of the controller's samples that are tried */
  ROWS_FOR_PHASE = 4000 /* by so many rows */
};

/* The model is known this well at best, as a fraction of the no-load speed: values are no surer than this. */
static const double model_error = 0.004;

/* No prediction is surer than this many times the one in the least sure gear. */
static const double surest = 1.5;

/* A course this much less likely than the best, as a logarithm, is given up. */
static const double hopeless = 40.0;

/* A shift less likely than this is not followed. Not shifting is never less likely than this at a sample, nor in all: thresholds may be
 * other ones than the model's. */
static const double least_likely = 1e-3, most_overstayed = 16.0;

/* What it costs that the log's time is not the run's: another gear at the start, another phase of samples. */
static const double other_start = 12.0, other_phase = 3.0;

/* A log that begins with the run begins near its speed, as a fraction of the no-load speed. */
static const double start_reach = 0.1;

/* After a time without values for longer than this, s, any gear may be engaged. */
static const double forgotten_s = 10.0;

/* One shift in the history of a course. */
struct past_shift {
  long before; /* the one before, -1: none */
  struct sb_inspect_shift shift;
};

struct field {
  struct sb_course_machine machine;
  const struct sb_series *series;
  size_t row_count; /* of the series, that are looked at */
  double phase_s;   /* of the samples */
  size_t count;
  struct sb_course *courses; /* courses[ROOM] */
  size_t shift_count, shift_room;
  struct past_shift *shifts; /* owned */
  bool is_short;             /* of memory: a course is missing */
};

/* History --------------------------------------------------------------------------------------------------------------- */

static bool add_shift(struct field *field, struct sb_course *course, struct sb_inspect_shift shift)
{
  if (!sb_grow(&field->shifts, &field->shift_room, field->shift_count, sizeof *field->shifts)) {
    field->is_short = true;
    return false;
  }
  field->shifts[field->shift_count] = (struct past_shift){course->last, shift};
  course->last = (long)field->shift_count++;
  return true;
}

static void note_engaged(struct field *field, const struct sb_course *course)
{
  if (course->last < 0 || course->link != SB_LINK_MESH) return;
  struct sb_inspect_shift *shift = &field->shifts[course->last].shift;
  if (isnan(shift->engaged_s)) shift->engaged_s = course->time_s;
}

/* Another course that has come so far, its last shift being its own, too. NULL: no room, or none left in memory. */
static struct sb_course *part_from(struct field *field, const struct sb_course *course)
{
  if (field->count >= ROOM) return NULL;
  struct sb_course *child = &field->courses[field->count];
  *child = *course;
  if (child->last >= 0) {
    const struct past_shift last = field->shifts[child->last];
    child->last = last.before;
    if (!add_shift(field, child, last.shift)) return NULL;
  }
  field->count++;
  return child;
}

/* Beginning ------------------------------------------------------------------------------------------------------------- */

static struct sb_course start_course(const struct field *field, int gear, size_t row)
{
  struct sb_course course = {.gear = gear, .link = SB_LINK_MESH, .last = -1, .time_s = field->series->time_s[row]};
  const double speed = field->series->a[row], variance = field->machine.noise_rad_s * field->machine.noise_rad_s;
  const double r = sb_course_ratio(&field->machine, &course);
  course.x[SB_COURSE_MOTOR] = speed;
  course.x[SB_COURSE_OUTPUT] = r * speed;
  course.p[SB_COURSE_MOTOR][SB_COURSE_MOTOR] = variance;
  course.p[SB_COURSE_MOTOR][SB_COURSE_OUTPUT] = course.p[SB_COURSE_OUTPUT][SB_COURSE_MOTOR] = r * variance;
  course.p[SB_COURSE_OUTPUT][SB_COURSE_OUTPUT] = r * r * variance;
  course.p[SB_COURSE_LOAD][SB_COURSE_LOAD] = field->machine.load_nm * field->machine.load_nm;
  course.below[0] = course.above[0] = field->machine.setup.debounce_samples <= SB_COURSE_DEBOUNCE;
  sb_course_start_feed(&field->machine, &course);
  return course;
}

/* Whether the log can begin with the run. */
static bool begins_with_run(const struct field *field)
{
  const struct sb_model *model = field->machine.model;
  const struct sb_gear *gear = &model->gearbox.gears[model->control.start_gear - 1];
  const double expected = model->run.initial_output_speed_rad_s * gear->ratio * gear->direction;
  const double reach = start_reach * model->motor.no_load_speed_rad_s + 3.0 * field->machine.noise_rad_s;
  return fabs(field->series->time_s[0]) < model->control.sample_period_s + 1e-9 &&
         fabs(field->series->a[0] - expected) < reach;
}

static void start(struct field *field)
{
  const struct sb_model *model = field->machine.model;
  const bool is_start = begins_with_run(field);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const bool is_first = is_start && g == model->control.start_gear - 1;
    struct sb_course course = start_course(field, g, 0);
    course.score = is_start && !is_first ? -other_start : 0.0;
    course.wait = is_first ? field->machine.setup.start_delay_samples : 0;
    field->courses[field->count++] = course;
  }
}

/* After a long gap: from the best course on, in any gear. */
static bool start_again(struct field *field, size_t row)
{
  const struct sb_course best = field->courses[0];
  field->count = 0;
  for (int g = 0; g < field->machine.model->gearbox.gear_count; g++) {
    struct sb_course course = start_course(field, g, row);
    course.score = best.score;
    course.last = best.last;
    const struct sb_inspect_shift shift = {field->series->time_s[row - 1], course.time_s, best.gear + 1, g + 1};
    if (g != best.gear && !add_shift(field, &course, shift)) return false;
    field->courses[field->count++] = course;
  }
  return true;
}

/* Parting --------------------------------------------------------------------------------------------------------------- */

static bool part(struct field *field, size_t i, int gear, double likely)
{
  if (!(likely > least_likely) || field->count >= ROOM) return true;
  struct sb_course *child = &field->courses[field->count++];
  *child = field->courses[i];
  if (!add_shift(field, child, (struct sb_inspect_shift){child->time_s, NAN, child->gear + 1, gear + 1})) return false;
  child->score += log(likely);
  sb_course_decide(&field->machine, child, gear);
  sb_course_command(&field->machine, child, gear);
  note_engaged(field, child);
  return true;
}

static bool decide(struct field *field)
{
  const size_t count = field->count;
  for (size_t i = 0; i < count; i++) {
    struct sb_course *course = &field->courses[i];
    double likely[2];
    sb_course_sample(&field->machine, course, likely);
    if (!part(field, i, course->gear - 1, likely[0]) || !part(field, i, course->gear + 1, likely[1])) return false;
    const double cost = -log(fmax(1.0 - likely[0] - likely[1], least_likely));
    const double paid = fmin(cost, most_overstayed - course->overstayed);
    course->overstayed += paid;
    course->score -= paid;
  }
  return true;
}

/* An output that stops in neutral stays, or is turned back by what acts. */
static void part_stopped(struct field *field)
{
  const size_t count = field->machine.runs_back ? field->count : 0;
  for (size_t i = 0; i < count; i++) {
    struct sb_course *course = &field->courses[i];
    if (!course->is_stopped || course->is_parted || course->link == SB_LINK_MESH) continue;
    course->is_parted = true;
    struct sb_course *child = part_from(field, course);
    if (child == NULL) return;
    child->runs_back = true;
    child->is_stopped = false;
  }
}

/* The sides of a clutch may have met before or after this course thinks so, for it hardly knows the output's speed meanwhile. */
static void part_slipping(struct field *field)
{
  const size_t count = field->count;
  for (size_t i = 0; i < count; i++) {
    struct sb_course met = field->courses[i];
    if (met.link != SB_LINK_SLIP || !sb_course_meet(&field->machine, &met)) continue;
    const struct sb_course *child = part_from(field, &met);
    if (child == NULL) return;
    note_engaged(field, child);
  }
}

/* Giving up ------------------------------------------------------------------------------------------------------------- */

static int by_score(const void *a, const void *b)
{
  const struct sb_course *x = a, *y = b;
  return (x->score < y->score) - (x->score > y->score);
}

/* Courses of one kind go on alike, more or less. */
static int kind_of(const struct sb_course *course)
{
  return 3 * course->gear + (course->link != SB_LINK_MESH ? 2 : course->wait > 0 ? 1 : 0);
}

/* Keeps the best, and of each kind a few. */
static void prune(struct field *field)
{
  int kept_of[3 * SB_GEAR_MAX] = {0};
  size_t known = 0, kept = 0;
  for (size_t i = 0; i < field->count; i++) {
    if (isfinite(field->courses[i].score)) field->courses[known++] = field->courses[i];
  }
  if (known > 1) qsort(field->courses, known, sizeof *field->courses, by_score);
  for (size_t i = 0; i < known && kept < KEPT_MAX; i++) {
    const struct sb_course *course = &field->courses[i];
    const int kind = kind_of(course);
    if (course->score < field->courses[0].score - hopeless || kept_of[kind] >= KEPT_OF_A_KIND) continue;
    kept_of[kind]++;
    if (kept != i) field->courses[kept] = *course;
    kept++;
  }
  field->count = kept;
}

/* Following ------------------------------------------------------------------------------------------------------------- */

/* What comes next: values of the log, samples of the controller, ticks of what feeds the motor. */
struct clock {
  size_t row;
  double now_s, last_row_s, sample_s, tick_s;
  bool is_row, is_sample, is_tick;
};

/* The first time of a lattice after a time. */
static double next_of(double time_s, double phase_s, double period_s)
{
  if (!(period_s > 0.0)) return INFINITY;
  return phase_s + period_s * (floor((time_s - phase_s) / period_s + 1e-6) + 1.0);
}

static struct clock start_clock(const struct field *field, size_t row)
{
  const double now_s = field->series->time_s[row], period_s = field->machine.model->control.sample_period_s;
  return (struct clock){.row = row + 1,
                        .now_s = now_s,
                        .last_row_s = now_s,
                        .sample_s = next_of(now_s - 1e-3 * period_s, field->phase_s, period_s),
                        .tick_s = next_of(now_s, 0.0, field->machine.tick_s)};
}

static void go_on(const struct field *field, struct clock *clock)
{
  const double row_s = field->series->time_s[clock->row];
  if (clock->is_sample) {
    clock->sample_s = next_of(clock->now_s, field->phase_s, field->machine.model->control.sample_period_s);
  }
  if (clock->is_tick) clock->tick_s = next_of(clock->now_s, 0.0, field->machine.tick_s);
  clock->now_s = fmin(row_s, fmin(clock->sample_s, clock->tick_s));
  clock->is_row = row_s <= clock->now_s + 1e-9;
  clock->is_sample = clock->sample_s <= clock->now_s + 1e-9;
  clock->is_tick = clock->tick_s <= clock->now_s + 1e-9;
}

/* Takes the row's value. A joining at once shows in the row of its sample, else that row was before the shift. */
static void measure(struct field *field, const struct clock *clock, bool is_after_sample)
{
  const struct sb_model *model = field->machine.model;
  const bool joins_at_once = !(model->shifter.travel_time_s > 0.0);
  if (!clock->is_row || joins_at_once != is_after_sample) return;
  for (size_t i = 0; i < field->count; i++) {
    sb_course_measure(&field->machine, &field->courses[i], field->series->a[clock->row],
                      clock->now_s - clock->last_row_s);
  }
}

static bool step_all(struct field *field, const struct clock *clock)
{
  for (size_t i = 0; i < field->count; i++) {
    struct sb_course *course = &field->courses[i];
    sb_course_move(&field->machine, course, clock->now_s);
    if (clock->is_tick) sb_course_tick(&field->machine, course);
    note_engaged(field, course);
  }
  measure(field, clock, false);
  part_stopped(field);
  if (clock->is_row) part_slipping(field);
  if (field->is_short || (clock->is_sample && !decide(field))) return false;
  measure(field, clock, true);
  prune(field);
  return true;
}

/* Follows all courses to the end; false: out of memory. None is left where nothing can be followed. */
static bool follow(struct field *field)
{
  struct clock clock = start_clock(field, 0);
  start(field);
  while (clock.row < field->row_count && field->count > 0) {
    if (field->series->time_s[clock.row] - clock.last_row_s > forgotten_s) {
      if (!start_again(field, clock.row)) return false;
      clock = start_clock(field, clock.row);
      continue;
    }
    go_on(field, &clock);
    if (!step_all(field, &clock)) return false;
    if (!clock.is_row) continue;
    clock.last_row_s = clock.now_s;
    clock.row++;
  }
  return true;
}

/* The answer ------------------------------------------------------------------------------------------------------------ */

/* The shifts of the best course, oldest first. */
static bool list_shifts(const struct field *field, struct sb_inspection *out)
{
  size_t count = 0;
  for (long at = field->courses[0].last; at >= 0; at = field->shifts[at].before) count++;
  out->shifts = calloc(count + 1, sizeof *out->shifts);
  if (out->shifts == NULL) return false;
  out->shift_count = out->shift_room = count;
  for (long at = field->courses[0].last; at >= 0; at = field->shifts[at].before) {
    out->shifts[--count] = field->shifts[at].shift;
  }
  return true;
}

/* The gear that the best course has at each value; 0 in neutral. */
static void fill_track(const struct field *field, struct sb_track *track)
{
  long at = field->courses[0].last;
  int gear = field->courses[0].gear + 1;
  for (size_t i = track->count; i-- > 0;) {
    const double time_s = field->series->time_s[i];
    while (at >= 0 && time_s < field->shifts[at].shift.command_s - 1e-9) {
      gear = field->shifts[at].shift.from;
      at = field->shifts[at].before;
    }
    const bool is_engaged = at < 0 || time_s >= field->shifts[at].shift.engaged_s - 1e-9;
    track->gear[i] = is_engaged ? gear : 0;
  }
}

/* Whether a load part acts whatever the motion: one that follows the speed, or resists, does not. */
static bool is_acting(const struct sb_load_part *part)
{
  return !part->is_resisting && part->viscous_nms_rad == 0.0 && part->quadratic_nms2_rad2 == 0.0;
}

/* A shaft that is too stiff for the steps in which it is followed is rigid. */
static bool has_soft_shaft(const struct sb_model *model)
{
  const double most_rad_s = 1000.0;
  bool is_soft = model->driveshaft.is_present;
  for (int g = 0; g < model->gearbox.gear_count && is_soft; g++) {
    is_soft = sb_driveshaft_frequency_rad_s(model, g) < most_rad_s;
    is_soft = is_soft && model->driveshaft.damping_nms_rad / sb_driveshaft_inertia_kg_m2(model, g) < most_rad_s;
  }
  return is_soft;
}

static struct sb_course_machine machine_of(const struct sb_model *model, double noise_rad_s)
{
  const struct sb_gear *gears = model->gearbox.gears;
  const double slow = gears[0].ratio, fast = gears[model->gearbox.gear_count - 1].ratio;
  const bool has_ticks = model->battery.is_present || model->winding.is_present || sb_drive_is_moving(&model->drive);
  const double filter_s = model->control.sensor.filter_s;
  struct sb_course_machine machine = {
      .model = model,
      .setup = sb_run_controller_setup(model),
      .noise_rad_s = hypot(noise_rad_s, model_error * model->motor.no_load_speed_rad_s),
      .load_nm = model->motor.stall_torque_nm * sqrt(slow * fast),
      .filter_gain = filter_s > 0.0 ? -expm1(-model->control.sample_period_s / filter_s) : 1.0,
      .tick_s = has_ticks ? model->drive.period_s : 0.0,
      .has_shaft = has_soft_shaft(model),
  };
  for (int i = 0; i < model->load.part_count; i++) machine.runs_back |= is_acting(&model->load.parts[i]);
  if (model->winding.is_present) machine.lapse = sb_winding_lapse(&model->winding, machine.tick_s);
  return machine;
}

/* The most likely so far. */
struct answer {
  struct sb_inspection *out;
  struct sb_track *track;
  double score, phase_s;
};

/* The variance with which the next value is known in the gear in which least is, in smooth running. */
static double smooth_variance(const struct field *field, double interval_s)
{
  const struct sb_course_machine *machine = &field->machine;
  const double noise = machine->noise_rad_s * machine->noise_rad_s;
  double greatest = 0.0;
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) {
    struct sb_course course = start_course(field, g, 0);
    double variance = 0.0;
    for (int k = 0; k < SETTLING_ROWS; k++) {
      sb_course_move(machine, &course, course.time_s + interval_s);
      variance = course.p[SB_COURSE_MOTOR][SB_COURSE_MOTOR] + noise;
      sb_course_update(&course, course.x[SB_COURSE_MOTOR], noise);
    }
    greatest = fmax(greatest, variance);
  }
  return greatest;
}

/* Follows with one phase of the samples; what is more likely than the answer takes its place. */
static bool try_phase(struct field *field, struct answer *answer)
{
  field->count = field->shift_count = 0;
  if (!follow(field)) return false;
  const double cost = field->phase_s > 0.0 ? other_phase : 0.0;
  if (field->count == 0 || field->courses[0].score - cost <= answer->score) return true;
  answer->score = field->courses[0].score - cost;
  answer->phase_s = field->phase_s;
  free(answer->out->shifts);
  answer->out->shifts = NULL;
  fill_track(field, answer->track);
  return list_shifts(field, answer->out);
}

static bool try_phases(struct field *field, struct answer *answer)
{
  const size_t count = field->series->count;
  answer->score = -INFINITY;
  field->row_count = count < ROWS_FOR_PHASE ? count : ROWS_FOR_PHASE;
  for (int k = 0; k < PHASES; k++) {
    field->phase_s = k * field->machine.model->control.sample_period_s / PHASES;
    if (!try_phase(field, answer)) return false;
  }
  if (count == field->row_count || answer->out->shifts == NULL) return true;
  answer->score = -INFINITY;
  field->row_count = count;
  field->phase_s = answer->phase_s;
  return try_phase(field, answer);
}

enum sb_status sb_courses_follow(const struct sb_series *series, const struct sb_model *model, double noise_rad_s,
                                 struct sb_inspection *out, struct sb_track *track)
{
  struct field field = {.machine = machine_of(model, noise_rad_s), .series = series};
  struct answer answer = {out, track, 0.0, 0.0};
  enum sb_status status = sb_gear_track_new(series->count, series->time_s, track);
  field.courses = malloc(ROOM * sizeof *field.courses);
  if (status == SB_OK && field.courses == NULL) status = SB_ERR_MEMORY;
  if (status == SB_OK) field.machine.least_variance = surest * smooth_variance(&field, out->interval_s);
  if (status == SB_OK && !try_phases(&field, &answer)) status = SB_ERR_MEMORY;
  free(field.courses);
  free(field.shifts);
  if (status != SB_OK) sb_gear_track_clear(track);
  return status;
}
