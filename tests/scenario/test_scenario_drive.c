// SPDX-License-Identifier: GPL-3.0-or-later
/* The drive and the reading in scenario files: values, defaults, short form, tolerances and samples. */
#include <math.h>
#include <string.h>

#include "help/near.h"
#include "shiftband/scenario.h"

static const double rounding = 4e-16; /* a product or two */
static const double rpm = 3.14159265358979323846 / 30.0;

static struct sb_scenario scenario;

static const char good[] = SB_SOURCE_DIR "/tests/good/drive.yaml";

/* Loads with up to four settings; NULL ends them. */
static void load(const char *path, const char *const sets[])
{
  size_t count = 0;
  while (sets != NULL && sets[count] != NULL) count++;
  struct sb_faults faults = {0};
  const enum sb_status status = sb_scenario_load(path, sets, count, &scenario, &faults);
  for (size_t i = 0; i < faults.count; i++) print_error("%s\n", faults.texts[i]);
  sb_faults_clear(&faults);
  assert_int_equal(status, SB_OK);
}

static void every_key_of_the_drive_is_read(void **state)
{
  (void)state;
  load(good, NULL);
  const struct sb_drive *drive = &scenario.model.drive;
  const struct sb_sensor *sensor = &scenario.model.control.sensor;
  assert_int_equal(drive->mode, SB_DRIVE_SPEED_CONTROL);
  assert_near(drive->limit_fraction, 0.9, 0.0);
  assert_near(drive->target_rad_s, 60.0, 0.0);
  assert_near_rel(drive->gain_per_rad_s, 1.0 / 25.0, rounding); /* 25 % of 100 rad/s */
  assert_near_rel(drive->integral_per_rad, 1.0 / 25.0 / 0.08, rounding);
  assert_near(drive->period_s, 2e-3, 0.0);
  assert_near(drive->ramp_s, 0.4, 0.0);
  assert_int_equal(drive->off, SB_OFF_BRAKE);
  assert_int_equal(drive->schedule.count, 4);
  static const double times[] = {0.0, 1.5, 5.2, 6.0}, schedule[] = {0.0, 1.0, 0.0, -1.0};
  for (size_t i = 0; i < 4; i++) {
    assert_near_rel(drive->schedule.x[i], times[i], rounding);
    assert_near(drive->schedule.y[i], schedule[i], 0.0);
  }
  assert_int_equal(sensor->quantity, SB_SENSES_CURRENT);
  assert_near(sensor->reference_a, 6.0, 0.0);
  assert_near(sensor->resolution_fraction, 0.005, 0.0);
  assert_near(scenario.model.control.downshift_fraction[0], 0.3, 0.0);
  sb_scenario_clear(&scenario);
}

static void a_percentage_alone_is_the_limit_in_open_loop(void **state)
{
  (void)state;
  static const char *const same[][3] = {{"controller.reading=speed", "drive=80 %", NULL},
                                        {"controller.reading=speed", "drive={limit: 80 %}", NULL}};
  for (int k = 0; k < 2; k++) {
    const char *sets[] = {same[k][0], same[k][1], "controller={dwell: 1 s, downshift_below: 30 %, upshift_above: 65 %}",
                          "tolerances={}", NULL};
    load(good, sets);
    const struct sb_drive *drive = &scenario.model.drive;
    assert_int_equal(drive->mode, SB_DRIVE_OPEN_LOOP);
    assert_near(drive->limit_fraction, 0.8, 0.0);
    assert_false(sb_drive_is_moving(drive));
    assert_int_equal(drive->schedule.count, 0);
    assert_int_equal(drive->off, SB_OFF_COAST);
    assert_near(drive->ramp_s, 0.0, 0.0);
    sb_scenario_clear(&scenario);
  }
}

/* The default: full duty at 20 % of the no-load speed; the longest time constant of a gear, (Jm + Jo / (N^2 eta)) / m. */
static void the_loops_defaults_follow_from_the_machine(void **state)
{
  (void)state;
  static const char *const sets[] = {"drive={mode: speed control, target: 70 %}", "tolerances={}", NULL};
  load(good, sets);
  const struct sb_model *m = &scenario.model;
  assert_near_rel(m->drive.target_rad_s, 70.0, rounding);
  assert_near_rel(m->drive.gain_per_rad_s, 1.0 / 20.0, rounding);
  const double slope = 24.0 / 8.0; /* ohm */
  const double kt = 2.0 / 7.6, ke = (24.0 - 0.4 * slope) / 100.0;
  const double inertia = 3e-4 + 0.05 / (4.0 * 0.97);
  assert_near_rel(m->drive.gain_per_rad_s / m->drive.integral_per_rad, inertia / (kt * ke / slope), 1e-14);
  sb_scenario_clear(&scenario);
}

/* 5 ms, or the next shorter time that fits step and sample period. */
static void the_default_period_fits_step_and_sample_period(void **state)
{
  (void)state;
  static const struct {
    const char *step, *sample;
    double period_s;
  } cases[] = {
      {"run.step=1 ms", "controller.sample_period=20 ms", 5e-3},
      {"run.step=2 ms", "controller.sample_period=20 ms", 4e-3},
      {"run.step=0.5 ms", "controller.sample_period=7.5 ms", 2.5e-3},
      {"run.step=10 ms", "controller.sample_period=20 ms", 10e-3},
      {"run.step=1 ms", "controller.sample_period=7 ms", 1e-3},
      {"run.step=1 ms", "controller.sample_period=3 ms", 3e-3},
  };
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    const char *sets[] = {"drive={mode: speed control, target: 70 %}", "tolerances={}", cases[k].step, cases[k].sample,
                          NULL};
    load(good, sets);
    assert_near_rel(scenario.model.drive.period_s, cases[k].period_s, rounding);
    sb_scenario_clear(&scenario);
  }
}

static const struct sb_tolerance *find_tolerance(const char *path)
{
  for (int k = 0; k < scenario.tolerance_count; k++) {
    if (strcmp(scenario.tolerances[k].path, path) == 0) return &scenario.tolerances[k];
  }
  return NULL;
}

static struct sb_scenario sample;

/* The scenario with three sets and one sample's values. */
static void load_sample(const char *const *sets, const double *values)
{
  struct sb_faults faults;
  const struct sb_scenario_source source = {good, sets, 3};
  struct sb_changes changes = {.count = 0};
  sb_samples_change(&scenario, values, &changes);
  const enum sb_status status = sb_scenario_load_changed(&source, &changes, &sample, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
}

/* `drive` in a tolerance is the limit, however the drive was written, and its samples load. */
static void a_tolerance_of_the_drive_is_one_of_its_limit(void **state)
{
  (void)state;
  static const char *const plain[] = {"drive=80 %",
                                      "controller={dwell: 1 s, downshift_below: 30 %, upshift_above: 65 %}",
                                      "tolerances={drive.limit: 75..85 %}", NULL};
  static const char *const absent[] = {"controller={dwell: 1 s, downshift_below: 30 %, upshift_above: 65 %}",
                                       "tolerances={drive: 75..100 %}", NULL};
  load(good, NULL);
  assert_non_null(find_tolerance("drive.limit"));
  assert_null(find_tolerance("drive"));
  sb_scenario_clear(&scenario);
  load(good, plain);
  assert_non_null(find_tolerance("drive"));
  const double least[] = {scenario.tolerances[0].least};
  load_sample(plain, least);
  assert_near(sample.model.drive.limit_fraction, 0.75, 0.0);
  sb_scenario_clear(&sample);
  sb_scenario_clear(&scenario);
  load(SB_SOURCE_DIR "/tests/good/least.yaml", absent + 1);
  assert_non_null(find_tolerance("drive"));
  sb_scenario_clear(&scenario);
}

/* Electronics are set once: a motor off its data sheet does not move target, band, integral time or reference. */
static void samples_keep_what_the_electronics_were_set_to(void **state)
{
  (void)state;
  static const char *const sets[] = {
      "drive={mode: speed control, target: 70 %}",
      "controller={dwell: 1 s, downshift_below: 30 %, upshift_above: 65 %, reading: current}",
      "tolerances={motor.no_load_speed: 10 %, motor.stall_current: 10 %, drive.limit: 80..100 %}", NULL};
  load(good, sets);
  const struct sb_model nominal = scenario.model;
  assert_near(nominal.control.sensor.reference_a, 8.0, 0.0);
  double values[SB_TOLERANCE_MAX];
  for (int k = 0; k < scenario.tolerance_count; k++) values[k] = scenario.tolerances[k].least;
  load_sample(sets, values);
  assert_near(sample.model.motor.no_load_speed_rad_s, 90.0, 1e-12);
  assert_near(sample.model.motor.stall_current_a, 7.2, 1e-13);
  assert_near(sample.model.control.sensor.reference_a, 8.0, 0.0);
  assert_near_rel(sample.model.drive.target_rad_s, nominal.drive.target_rad_s, rounding);
  assert_near_rel(sample.model.drive.gain_per_rad_s, nominal.drive.gain_per_rad_s, rounding);
  assert_near_rel(sample.model.drive.integral_per_rad, nominal.drive.integral_per_rad, 2.0 * rounding);

  char words[1024];
  sb_samples_words(&scenario, values, words, sizeof words);
  static const char start[] = "motor.no_load_speed 90 rad/s, motor.stall_current 7.2 A, drive.limit 80 %, ";
  assert_true(strncmp(words, start, sizeof start - 1) == 0);
  assert_non_null(strstr(words, ", controller.reference_current 8 A"));
  assert_non_null(strstr(words, ", drive.target 70 rad/s"));
  assert_non_null(strstr(words, ", drive.proportional_band 20 rad/s"));
  assert_non_null(strstr(words, ", drive.integral_time "));
  values[0] = scenario.tolerances[0].nominal;
  values[2] = scenario.tolerances[2].nominal; /* the current alone moves its reference, and nothing that speeds give */
  sb_samples_words(&scenario, values, words, sizeof words);
  assert_true(strncmp(words, "motor.stall_current 7.2 A, controller.reference_current 8 A", 59) == 0);
  assert_null(strstr(words, "drive.target"));
  values[1] = scenario.tolerances[1].nominal;
  assert_string_equal(sb_samples_words(&scenario, values, words, sizeof words), "nominal");
  sb_scenario_clear(&sample);
  sb_scenario_clear(&scenario);
}

static void a_single_gear_may_reverse_with_any_shifter(void **state)
{
  (void)state;
  static const char *const sets[] = {"drive={schedule: [[0 s, reverse]]}", NULL};
  load(SB_SOURCE_DIR "/tests/good/least.yaml", sets);
  assert_int_equal(sb_drive_command_at(&scenario.model.drive, 0.0), SB_COMMAND_REVERSE);
  sb_scenario_clear(&scenario);
}

static void a_speed_in_rpm_serves_as_target_and_band(void **state)
{
  (void)state;
  static const char *const sets[] = {"drive.target=500 rpm", "drive.proportional_band=100 rpm", NULL};
  load(good, sets);
  assert_near_rel(scenario.model.drive.target_rad_s, 500.0 * rpm, rounding);
  assert_near_rel(scenario.model.drive.gain_per_rad_s, 1.0 / (100.0 * rpm), 2.0 * rounding);
  sb_scenario_clear(&scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_key_of_the_drive_is_read),
      cmocka_unit_test(a_percentage_alone_is_the_limit_in_open_loop),
      cmocka_unit_test(the_loops_defaults_follow_from_the_machine),
      cmocka_unit_test(the_default_period_fits_step_and_sample_period),
      cmocka_unit_test(a_tolerance_of_the_drive_is_one_of_its_limit),
      cmocka_unit_test(samples_keep_what_the_electronics_were_set_to),
      cmocka_unit_test(a_single_gear_may_reverse_with_any_shifter),
      cmocka_unit_test(a_speed_in_rpm_serves_as_target_and_band),
  };
  return cmocka_run_group_tests_name("scenario of the drive", tests, NULL, NULL);
}
