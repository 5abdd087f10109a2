// SPDX-License-Identifier: GPL-3.0-or-later
/* One course of gears beside a log, step by step: how it moves, what a value says of it, how likely its controller shifts. */
#include <math.h>

#include "help/loaded.h"
#include "help/near.h"
#include "help/worn.h"
#include "inspect/course.h"
#include "shiftband/inspect.h"
#include "shiftband/run.h"

enum { MOTOR = SB_COURSE_MOTOR, OUTPUT = SB_COURSE_OUTPUT, LOAD = SB_COURSE_LOAD, TWIST = SB_COURSE_TWIST };

/* The reading of the sensor is known to half a percent at best. */
static const double known_fraction = 0.005;

static struct sb_course_machine machine;

/* The cart with two gears, fed without ticks, and a log whose speeds are good to 2 rad/s. */
static int set_up(void **state)
{
  (void)state;
  loaded_take_shipped("tray-cart");
  const struct sb_model *model = &loaded_scenario.model;
  machine = (struct sb_course_machine){.model = model,
                                       .setup = sb_run_controller_setup(model),
                                       .noise_rad_s = 2.0,
                                       .least_variance = 1.0,
                                       .load_nm = 1.0,
                                       .filter_gain = 1.0};
  return 0;
}

static int tear_down(void **state)
{
  (void)state;
  sb_scenario_clear(&loaded_scenario);
  return 0;
}

/* Engaged, its speed known with a deviation; it may decide at once, and no reading has been beyond a threshold. */
static struct sb_course course_at(int gear, double speed_rad_s, double deviation_rad_s)
{
  struct sb_course course = {.gear = gear, .link = SB_LINK_MESH, .last = -1};
  course.x[MOTOR] = speed_rad_s;
  course.x[OUTPUT] = speed_rad_s * sb_course_ratio(&machine, &course);
  course.p[MOTOR][MOTOR] = deviation_rad_s * deviation_rad_s;
  course.below[0] = course.above[0] = 1.0;
  sb_course_start_feed(&machine, &course);
  return course;
}

/* The reading between the last count that leaves the gear and the first that shifts it. */
static double limit_rad_s(bool is_up)
{
  const struct sb_sensor *sensor = &loaded_scenario.model.control.sensor;
  const double counts = is_up ? machine.setup.upshift_above[0] + 0.5 : machine.setup.downshift_below[0] - 0.5;
  return counts * sb_sensor_count_fraction(sensor) * sensor->reference_rad_s;
}

/* Kalman's gain is 4 / (4 + 12): a quarter of the 8 rad/s goes to the speed, and 2 / 16 of them to the load that is tied to it. */
static void a_value_moves_what_is_tied_to_the_speed_and_makes_it_surer(void **state)
{
  (void)state;
  struct sb_course course = {.x = {[MOTOR] = 100.0, [OUTPUT] = 7.0, [LOAD] = 5.0}};
  course.p[MOTOR][MOTOR] = 4.0;
  course.p[MOTOR][LOAD] = course.p[LOAD][MOTOR] = 2.0;
  course.p[LOAD][LOAD] = 9.0;
  course.p[OUTPUT][OUTPUT] = 3.0;
  sb_course_update(&course, 108.0, 12.0);
  assert_near(course.x[MOTOR], 102.0, 1e-12);
  assert_near(course.x[LOAD], 6.0, 1e-12);
  assert_near(course.x[OUTPUT], 7.0, 0.0);
  assert_near(course.p[MOTOR][MOTOR], 3.0, 1e-12);
  assert_near(course.p[MOTOR][LOAD], 1.5, 1e-12);
  assert_near(course.p[LOAD][MOTOR], 1.5, 1e-12);
  assert_near(course.p[LOAD][LOAD], 9.0 - 2.0 * 2.0 / 16.0, 1e-12);
  assert_near(course.p[OUTPUT][OUTPUT], 3.0, 0.0);
}

/*
 * A value that is as expected costs half the logarithm of its variance, one that is off two deviations more: 2^2 / 2. Values are
 * never taken for surer than least_variance.
 */
static void a_value_costs_the_logarithm_of_its_normal_density(void **state)
{
  (void)state;
  struct sb_course course = course_at(0, 20.0, sqrt(5.0));
  sb_course_measure(&machine, &course, 20.0, 0.01);
  assert_near(course.score, -0.5 * log(9.0), 1e-12);
  course = course_at(0, 20.0, sqrt(5.0));
  sb_course_measure(&machine, &course, 26.0, 0.01);
  assert_near(course.score, -0.5 * log(9.0) - 2.0, 1e-12);
  assert_near(course.x[MOTOR], 20.0 + 5.0 / 9.0 * 6.0, 1e-12);
  machine.least_variance = 36.0;
  course = course_at(0, 20.0, sqrt(5.0));
  sb_course_measure(&machine, &course, 26.0, 0.01);
  assert_near(course.score, -0.5 * log(36.0) - 0.5, 1e-12);
  machine.least_variance = 1.0;
}

/* To come to rest costs 3, as to start does; to stay there costs no more than noise makes likely. */
static void rest_that_lasts_is_likelier_than_coming_to_rest(void **state)
{
  (void)state;
  struct sb_course course = course_at(0, 0.0, 200.0);
  sb_course_measure(&machine, &course, 0.0, 0.01);
  assert_true(course.is_resting);
  assert_near(course.score, -0.5 * log(4.0) - 3.0, 1e-12);
  assert_near(course.p[MOTOR][MOTOR], 0.0, 0.0);
  const double before = course.score;
  sb_course_measure(&machine, &course, 2.0, 0.01);
  assert_true(course.is_resting);
  assert_near(course.score - before, -0.5 * log(4.0) - 0.5, 1e-12);
  /* A gear must be engaged for that: a motor that runs free is not held. */
  course = course_at(0, 0.0, 200.0);
  course.link = SB_LINK_OPEN;
  sb_course_measure(&machine, &course, 0.0, 0.01);
  assert_false(course.is_resting);
}

/* At the threshold itself a reading is beyond it or not, as a coin falls; one deviation of speed and sensor away: Phi(1). */
static void a_shift_is_as_likely_as_the_reading_is_beyond_the_threshold(void **state)
{
  (void)state;
  const double reference_rad_s = loaded_scenario.model.control.sensor.reference_rad_s, phi_of_1 = 0.8413447460685429;
  for (int up = 0; up < 2; up++) {
    const int gear = up ? 0 : 1, other = up ? 0 : 1;
    double likely[2];
    struct sb_course course = course_at(gear, limit_rad_s(up), 0.0);
    sb_course_sample(&machine, &course, likely);
    assert_near(likely[up], 0.5, 1e-9);
    assert_near(likely[other], 0.0, 0.0);
    /* 12 and 5 make 13. */
    const double way = up ? 1.0 : -1.0;
    course = course_at(gear, limit_rad_s(up) + way * 2.6 * known_fraction * reference_rad_s,
                       2.4 * known_fraction * reference_rad_s);
    sb_course_sample(&machine, &course, likely);
    assert_near(likely[up], phi_of_1, 1e-9);
    assert_near(likely[other], 0.0, 0.0);
  }
}

/*
 * A controller that wants three readings in a row, each beyond the threshold as likely as heads: the first three heads in a row end
 * with toss n in 1/8, 1/16, 1/16, 1/16 and 7/128 of all games (n = 3..7), so among the games that are still on then, in
 * 1/8, 1/14, 1/13, 1/12 and 7/88.
 */
static void a_run_of_readings_is_as_likely_as_a_run_of_heads(void **state)
{
  (void)state;
  static const double hazards[] = {0.0, 0.0, 1.0 / 8.0, 1.0 / 14.0, 1.0 / 13.0, 1.0 / 12.0, 7.0 / 88.0};
  machine.setup.debounce_samples = 3;
  for (int up = 0; up < 2; up++) {
    struct sb_course course = course_at(up ? 0 : 1, limit_rad_s(up), 0.0);
    for (size_t n = 0; n < sizeof hazards / sizeof *hazards; n++) {
      double likely[2];
      sb_course_sample(&machine, &course, likely);
      assert_near(likely[up], hazards[n], 1e-9);
    }
  }
  machine.setup.debounce_samples = 1;
}

/* While a controller waits it counts nothing: with two readings in a row wanted, the second after the wait is the first to shift. */
static void a_controller_that_waits_counts_no_readings(void **state)
{
  (void)state;
  static const double hazards[] = {0.0, 0.0, 0.0, 0.25};
  machine.setup.debounce_samples = 2;
  struct sb_course course = course_at(1, limit_rad_s(false), 0.0);
  course.wait = 2;
  for (size_t n = 0; n < sizeof hazards / sizeof *hazards; n++) {
    double likely[2];
    sb_course_sample(&machine, &course, likely);
    assert_near(likely[0], hazards[n], 1e-9);
  }
  machine.setup.debounce_samples = 1;
}

/* The box shifts, and its controller then waits for its dwell, this sample being the first of it. */
static void a_decision_is_followed_by_the_dwell(void **state)
{
  (void)state;
  struct sb_course course = course_at(1, limit_rad_s(false), 0.0);
  course.overstayed = 4.0;
  sb_course_decide(&machine, &course, 0);
  assert_int_equal(course.wait, machine.setup.dwell_samples - 1);
  assert_near(course.overstayed, 0.0, 0.0);
  assert_near(course.below[0], 1.0, 0.0);
}

/* A speed that starts at one value and goes to another, by a first-order lag. */
static double lagged(double from, double to, double per_s, double time_s)
{
  return to + (from - to) * exp(-per_s * time_s);
}

/* (Jm + Jo r^2 / e) w' = T(w) - drag - r L / e: an exponential, whatever the number of moves. */
static void motor_and_output_go_on_together_under_the_load(void **state)
{
  (void)state;
  const struct sb_model *model = &loaded_scenario.model;
  const struct sb_gear *gear = &model->gearbox.gears[1];
  const double load_nm = 0.3, r = 1.0 / gear->ratio, e = gear->efficiency;
  struct sb_course course = course_at(1, 10.0, 0.0);
  assert_near(sb_course_ratio(&machine, &course), r, 1e-15);
  course.x[LOAD] = load_nm;
  const struct sb_motor_line line = course.line;
  const double inertia = model->motor.rotor_inertia_kg_m2 + model->load.inertia_kg_m2 * r * r / e;
  const double end = (line.stall_nm - line.friction_nm - gear->drag_nm - r * load_nm / e) / line.slope_nms_rad;
  sb_course_move(&machine, &course, 0.004);
  sb_course_move(&machine, &course, 0.02);
  assert_near(course.x[MOTOR], lagged(10.0, end, line.slope_nms_rad / inertia, 0.02), 1e-12 * end);
  assert_near(course.x[OUTPUT], r * course.x[MOTOR], 1e-12);
  assert_near(course.x[LOAD], load_nm, 0.0);
  assert_near(course.time_s, 0.02, 0.0);
}

/* What only resists stops a machine, and turns it back from there no more than it keeps one from starting. */
static void a_load_that_resists_holds_what_it_stops(void **state)
{
  (void)state;
  struct sb_course course = course_at(1, 0.4, 0.0);
  sb_course_move(&machine, &course, 1e-6);
  assert_near(course.x[MOTOR], 0.4, 0.01);
  course = course_at(1, 0.4, 0.0);
  course.x[LOAD] = 100.0;
  sb_course_move(&machine, &course, 0.01);
  assert_near(course.x[MOTOR], 0.0, 0.0);
  assert_near(course.x[OUTPUT], 0.0, 0.0);
  machine.runs_back = true;
  course = course_at(1, 0.4, 0.0);
  course.x[LOAD] = 100.0;
  sb_course_move(&machine, &course, 0.01);
  assert_true(course.x[MOTOR] < -1.0 && course.x[OUTPUT] < 0.0);
  machine.runs_back = false;
}

/* Jm w' = T(w), now driven the other way, with friction still against the motion; Jo W' = -L. */
static void in_neutral_motor_and_output_move_each_for_itself(void **state)
{
  (void)state;
  const struct sb_model *model = &loaded_scenario.model;
  const double load_nm = 0.3, motor_kg_m2 = model->motor.rotor_inertia_kg_m2;
  struct sb_course course = course_at(1, 30.0, 0.0);
  const double output = course.x[OUTPUT];
  course.x[LOAD] = load_nm;
  sb_course_command(&machine, &course, 0);
  assert_int_equal(course.link, SB_LINK_OPEN);
  const struct sb_motor_line line = course.line;
  const double end = -(line.stall_nm + line.friction_nm) / line.slope_nms_rad;
  sb_course_move(&machine, &course, 0.005);
  assert_int_equal(course.link, SB_LINK_OPEN);
  assert_near(course.x[MOTOR], lagged(30.0, end, line.slope_nms_rad / motor_kg_m2, 0.005), 1e-12 * 30.0);
  assert_near(course.x[OUTPUT], output - load_nm * 0.005 / model->load.inertia_kg_m2, 1e-12);
}

/* w+ = (Jm w + Jo r W) / (Jm + Jo r^2) and W+ = r w+: the impulse between both has no loss in the meshes. */
static void a_joining_keeps_the_momentum_of_both(void **state)
{
  (void)state;
  const struct sb_model *model = &loaded_scenario.model;
  const double motor_kg_m2 = model->motor.rotor_inertia_kg_m2, output_kg_m2 = model->load.inertia_kg_m2;
  struct sb_course course = course_at(1, 30.0, 0.0);
  course.link = SB_LINK_OPEN;
  course.x[OUTPUT] = 2.0;
  course.x[LOAD] = 0.3;
  const double r = sb_course_ratio(&machine, &course);
  const double joined = (motor_kg_m2 * 30.0 + output_kg_m2 * r * 2.0) / (motor_kg_m2 + output_kg_m2 * r * r);
  sb_course_engage(&machine, &course);
  assert_int_equal(course.link, SB_LINK_MESH);
  assert_near(course.x[MOTOR], joined, 1e-12 * joined);
  assert_near(course.x[OUTPUT], r * joined, 1e-12);
  assert_near(course.x[LOAD], 0.3, 0.0);
}

/* The shaft twists by as much as its motor's end turns further than the output; spring and damping turn that on. */
static void a_shaft_that_gives_twists_between_motor_and_output(void **state)
{
  (void)state;
  struct sb_model *model = &loaded_scenario.model;
  const struct sb_driveshaft shaft = {
      .is_present = true, .stiffness_nm_rad = 3.0, .damping_nms_rad = 0.01, .backlash_rad = 0.02};
  const double time_s = 0.0005, load_nm = 0.3; /* one step */
  model->driveshaft = shaft;
  machine.has_shaft = true;
  struct sb_course course = course_at(1, 30.0, 0.0);
  const double r = sb_course_ratio(&machine, &course);
  course.x[OUTPUT] = 5.0;
  course.x[LOAD] = load_nm;
  course.x[TWIST] = 0.11;
  const double shaft_nm = 3.0 * (0.11 - 0.01) + 0.01 * (30.0 * r - 5.0);
  sb_course_move(&machine, &course, time_s);
  assert_near(course.x[OUTPUT], 5.0 + (shaft_nm - load_nm) * time_s / model->load.inertia_kg_m2, 1e-12);
  assert_near(course.x[TWIST], 0.11 + (r * course.x[MOTOR] - course.x[OUTPUT]) * time_s, 1e-15);
  assert_true(fabs(r * course.x[MOTOR] - course.x[OUTPUT]) > 0.5); /* or a sign would not show */
  model->driveshaft = (struct sb_driveshaft){0};
  machine.has_shaft = false;
}

/* A motor that stands still has any gear; a log that begins with the run has the one in which the run begins. */
static void a_log_that_begins_with_the_run_begins_in_its_gear(void **state)
{
  (void)state;
  double times[40], speeds[40];
  const struct sb_log log = {.count = 40, .time_s = times, .columns = {[SB_LOG_MOTOR_SPEED] = speeds}};
  struct sb_model model = loaded_scenario.model;
  for (int start_gear = 1; start_gear <= 2; start_gear++) {
    model.control.start_gear = start_gear;
    for (size_t i = 0; i < log.count; i++) {
      times[i] = 0.01 * (double)i;
      speeds[i] = 0.0;
    }
    const struct sb_inspect_options options = sb_inspect_options_of(&model);
    struct sb_inspection found;
    assert_int_equal(sb_inspect(&log, &options, &found, NULL), SB_OK);
    assert_true(found.is_by_course);
    assert_int_equal(found.shift_count, 0);
    assert_near(found.gear_time_s[start_gear], 0.39, 1e-9);
    sb_inspect_clear(&found);
  }
}

/* The cart climbs in its slow gear from 7 s to 13 s. Nothing was logged of the shift down to it. */
static void a_shift_in_a_hole_of_more_than_ten_seconds_is_found_beside_it(void **state)
{
  (void)state;
  struct sb_log log;
  struct sb_run_result result;
  worn_log(&loaded_scenario.model, 0.01, &log, &result);
  for (int c = 0; c < SB_LOG_COLUMN_COUNT; c++) {
    if (c != SB_LOG_MOTOR_SPEED && log.columns[c] != NULL) worn_strip(&log, (enum sb_log_column)c);
  }
  size_t kept = 0;
  for (size_t i = 0; i < log.count; i++) {
    if (log.time_s[i] > 1.0 && log.time_s[i] < 11.5) continue;
    log.time_s[kept] = log.time_s[i];
    log.columns[SB_LOG_MOTOR_SPEED][kept++] = log.columns[SB_LOG_MOTOR_SPEED][i];
  }
  log.count = kept;
  const struct sb_inspect_options options = sb_inspect_options_of(&loaded_scenario.model);
  struct sb_inspection found;
  assert_int_equal(sb_inspect(&log, &options, &found, NULL), SB_OK);
  assert_int_equal(result.monitor.shift_kept, 2);
  assert_int_equal(found.shift_count, 2);
  assert_near(found.shifts[0].command_s, 1.0, 0.0101);
  assert_near(found.shifts[0].engaged_s, 11.5, 0.0101);
  assert_int_equal(found.shifts[0].from, 2);
  assert_int_equal(found.shifts[0].to, 1);
  assert_near(found.shifts[1].command_s, result.monitor.shifts[1].command_s, 0.1);
  sb_inspect_clear(&found);
  sb_log_clear(&log);
  sb_run_result_clear(&result);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_value_moves_what_is_tied_to_the_speed_and_makes_it_surer),
      cmocka_unit_test(a_value_costs_the_logarithm_of_its_normal_density),
      cmocka_unit_test(rest_that_lasts_is_likelier_than_coming_to_rest),
      cmocka_unit_test(a_shift_is_as_likely_as_the_reading_is_beyond_the_threshold),
      cmocka_unit_test(a_run_of_readings_is_as_likely_as_a_run_of_heads),
      cmocka_unit_test(a_controller_that_waits_counts_no_readings),
      cmocka_unit_test(a_decision_is_followed_by_the_dwell),
      cmocka_unit_test(motor_and_output_go_on_together_under_the_load),
      cmocka_unit_test(a_load_that_resists_holds_what_it_stops),
      cmocka_unit_test(in_neutral_motor_and_output_move_each_for_itself),
      cmocka_unit_test(a_joining_keeps_the_momentum_of_both),
      cmocka_unit_test(a_shaft_that_gives_twists_between_motor_and_output),
      cmocka_unit_test(a_log_that_begins_with_the_run_begins_in_its_gear),
      cmocka_unit_test(a_shift_in_a_hole_of_more_than_ten_seconds_is_found_beside_it),
  };
  return cmocka_run_group_tests_name("courses", tests, set_up, tear_down);
}
