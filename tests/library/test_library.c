// SPDX-License-Identifier: GPL-3.0-or-later
/* The library in a program of somebody else: any locale, GSL's own error handler, models that the program has changed. */
#include <glob.h>
#include <gsl/gsl_errno.h>
#include <string.h>

#include "fit/least_squares.h"
#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"
#include "shiftband/shiftband.h"

/* Decimal commas ---------------------------------------------------------------------------------------------------------- */

/* Makes a locale with decimal commas and a shared object that sets the locale before a program's main(); false where this
 * system can't. */
static bool can_have_commas(void)
{
  const struct said *said = shell_run(
      "mkdir -p $T/locales && { [ -d $T/locales/de_DE.UTF-8 ] ||"
      " localedef -i de_DE -f UTF-8 $T/locales/de_DE.UTF-8 > /dev/null 2>&1; } || exit 77;"
      "printf '%s\\n' '#include <locale.h>' '__attribute__((constructor)) static void set(void)'"
      " '{ if (!setlocale(LC_ALL, \"\") || *localeconv()->decimal_point != 44) __builtin_trap(); }' > $T/set.c;"
      "cc -shared -fPIC -o $T/set.so $T/set.c || exit 77; LC_ALL=de_DE.UTF-8 LOCPATH=$T/locales LD_PRELOAD=$T/set.so true");
  return !IS_SLOW && said->code == 0; /* sanitizers want to be loaded first */
}

/* Each must print the same bytes under commas; FILES come one after the other in place of %s. */
static const char *const commands[] = {"run --json %s",
                                       "run %s",
                                       "run -q -o - %s",
                                       "check %s",
                                       "check --json %s",
                                       "map --points 9 %s",
                                       "map --points 5 --json %s",
                                       "prove %s",
                                       "emit %s"};

static void expect_same(const char *command)
{
  char line[1024];
  snprintf(line, sizeof line,
           "$SHIFTBAND %s > $T/points 2>&1; a=$?; LC_ALL=de_DE.UTF-8 LOCPATH=$T/locales LD_PRELOAD=$T/set.so"
           " $SHIFTBAND %s > $T/commas 2>&1; b=$?; test $a = $b && cmp $T/points $T/commas &&"
           " test $(wc -c < $T/points) -gt 100 && echo same",
           command, command);
  shell_expect(shell_run(line), "same");
}

static void decimal_commas_of_the_caller_change_no_byte(void **state)
{
  (void)state;
  if (!can_have_commas()) skip();
  static const char *const files[] = {"tray-cart", "shuttle-wagon", "tired-winder"};
  for (size_t c = 0; c < sizeof commands / sizeof *commands; c++) {
    for (size_t f = 0; f < sizeof files / sizeof *files; f++) {
      char path[64], command[256];
      snprintf(path, sizeof path, "scenarios/%s.yaml", files[f]);
      snprintf(command, sizeof command, commands[c], path);
      expect_same(command);
    }
  }
  expect_same("keys");
  expect_same("check tests/bad/bare-number.yaml");
  expect_same("tune --samples 2 --points 9 scenarios/tray-cart.yaml");
}

static void decimal_commas_of_the_caller_change_no_log(void **state)
{
  (void)state;
  if (!can_have_commas()) skip();
  shell_run("$SHIFTBAND run -q -o $T/log.csv scenarios/tray-cart.yaml");
  expect_same("inspect $T/log.csv --against scenarios/tray-cart.yaml");
  expect_same("inspect --json $T/log.csv");
  expect_same("fit --voltage '12 V' scenarios/data/cart-spin.csv");
}

/* GSL --------------------------------------------------------------------------------------------------------------------- */

static int gsl_errors;

static void count_error(const char *reason, const char *file, int line, int code)
{
  (void)reason, (void)file, (void)line, (void)code;
  gsl_errors++;
}

static void gsl_keeps_the_handler_of_the_caller(void **state)
{
  (void)state;
  struct sb_scenario scenario;
  struct sb_faults faults;
  struct sb_run_result result;
  const struct sb_run_options options = sb_run_options_default();
  gsl_error_handler_t *before = gsl_set_error_handler(count_error);
  gsl_errors = 0;
  assert_int_equal(sb_scenario_load(SB_SOURCE_DIR "/scenarios/tray-cart.yaml", NULL, 0, &scenario, &faults), SB_OK);
  assert_int_equal(sb_run(&scenario.model, &options, &result, NULL), SB_OK);
  sb_run_result_clear(&result);
  sb_scenario_clear(&scenario);
  assert_int_equal(gsl_errors, 0);
  assert_ptr_equal(gsl_set_error_handler(before), count_error);
}

/* One reading can't give two unknowns: GSL refuses, and with the handler that it begins with the program would end there. */
static void what_gsl_refuses_ends_no_program(void **state)
{
  (void)state;
  const double row[2] = {1.0, 2.0}, y[1] = {3.0};
  double c[2], covariance[4], residual;
  struct sb_error err;
  gsl_error_handler_t *before = gsl_set_error_handler(NULL);
  assert_int_equal(sb_least_squares_linear(1, 2, row, y, c, covariance, &residual, &err), SB_ERR_NUMERICS);
  assert_null(gsl_set_error_handler(before));
}

/* Changed models ---------------------------------------------------------------------------------------------------------- */

static struct sb_scenario load(const char *path)
{
  struct sb_scenario scenario;
  struct sb_faults faults;
  if (sb_scenario_load(path, NULL, 0, &scenario, &faults) != SB_OK) fail_msg("%s: %s", path, faults.texts[0]);
  return scenario;
}

static void each_model_of_a_file_is_valid(void **state)
{
  (void)state;
  glob_t found;
  assert_int_equal(glob(SB_SOURCE_DIR "/scenarios/*.yaml", 0, NULL, &found), 0);
  assert_int_equal(glob(SB_SOURCE_DIR "/tests/good/*.yaml", GLOB_APPEND, NULL, &found), 0);
  assert_true(found.gl_pathc > 25);
  for (size_t k = 0; k < found.gl_pathc; k++) {
    struct sb_scenario scenario = load(found.gl_pathv[k]);
    struct sb_error err;
    if (sb_model_validate(&scenario.model, &err) != SB_OK) fail_msg("%s: %s", found.gl_pathv[k], err.text);
    sb_scenario_clear(&scenario);
  }
  globfree(&found);
}

/* One change of the tray cart each, and the beginning of what is said about it. */
#define EDIT_LIST(X)                                                                                              \
  X(model->run.step_s = 0.0, "run.step: needs a time at least 1e-08 s")                                           \
  X(model->run.step_s = (double)NAN, "run.step: needs a time")                                                    \
  X(model->run.step_s = 3e-3, "run.trace_interval: needs the trace interval to be a whole multiple of the step")  \
  X(model->run.duration_s += 0.5e-3, "run.duration: needs the duration to be a whole multiple of the step")       \
  X(model->run.duration_s = (double)INFINITY, "run.duration: needs a time")                                       \
  X(model->run.trace_interval_s = 1.5e-3, "run.trace_interval: needs the trace interval to be a whole multiple")  \
  X(model->drive.period_s = 0.7e-3, "drive.period: needs the drive's period to be a whole multiple")              \
  X(model->control.upshift_fraction[0] = 0.4, "controller.upshift_above: needs more than downshift_below (50 %)") \
  X(model->control.downshift_fraction[0] = (double)NAN, "controller.downshift_below: needs")                      \
  X(model->control.upshift_fraction[0] = (double)NAN, "controller.upshift_above: needs")                          \
  X(model->control.downshift_fraction[0] = 0.0, "controller.downshift_below: needs")                              \
  X(model->control.dwell_s = -1.0, "controller.dwell: needs a time at least 0 s")                                 \
  X(model->control.sample_period_s = 0.0, "controller.sample_period: needs a time")                               \
  X(model->control.start_gear = 3, "controller.start_gear: needs 1 to 2 as the number of a gear, found 3")        \
  X(model->control.debounce_count = 0, "controller.debounce_samples: needs 1 to 255 readings, found 0")           \
  X(model->motor.stall_torque_nm = -0.4, "motor.stall_torque: needs a torque above 0 N.m")                        \
  X(model->motor.rotor_inertia_kg_m2 = 0.0, "motor.rotor_inertia: needs")                                         \
  X(model->supply.open_circuit_voltage_v = (double)NAN, "supply.open_circuit_voltage: needs a voltage")           \
  X(model->gearbox.gear_count = 0, "gearbox.gears: needs 1 to 8 gears, found 0")                                  \
  X(model->gearbox.gears[0].mesh_count = 13, "gearbox.gears.1: needs 1 to 12 meshes, found 13")                   \
  X(model->gearbox.gears[0].meshes[0].driven_teeth = 60.0, "gearbox.gears.1: needs the ratio of its meshes")      \
  X(model->gearbox.gears[0].meshes[0].efficiency = 1.2, "gearbox.gears.1.meshes.1: needs an efficiency above 0")  \
  X(model->gearbox.gears[1].meshes[0].efficiency = 1.2, "gearbox.gears.2.meshes.1: needs an efficiency above 0")  \
  X(model->gearbox.gears[1].motor_direction = -1, "gearbox.shifter: needs gears of opposite motor_direction")     \
  X(memcpy(model->gearbox.gears[1].name, model->gearbox.gears[0].name, SB_NAME_SIZE),                             \
    "gearbox.gears.2.name: needs a name of its own")                                                              \
  X(swap_gears(model), "gearbox.gears.2: needs a ratio below that of gear 1")                                     \
  X(model->load.inertia_kg_m2 = 0.0, "load.inertia: needs an inertia at least 1e-12")                             \
  X(model->load.parts[0].viscous_nms_rad = (double)NAN, "load.parts.1: needs a number as its coefficient")        \
  X(model->load.parts[0].ops = NULL, "load.parts.1: needs a kind, found none")                                    \
  X(model->limits.stall_time_s = 0.0, "limits.stall_time: needs a time above 0 s")

static void swap_gears(struct sb_model *model)
{
  const struct sb_gear first = model->gearbox.gears[0];
  model->gearbox.gears[0] = model->gearbox.gears[1];
  model->gearbox.gears[1] = first;
}

static void a_change_that_no_file_could_make_is_refused(void **state)
{
  (void)state;
  struct sb_scenario scenario = load(SB_SOURCE_DIR "/scenarios/tray-cart.yaml");
#define CHECK_EDIT(edit, said)                                                                            \
  {                                                                                                       \
    struct sb_model changed = scenario.model, *model = &changed;                                          \
    struct sb_error err = {SB_OK, ""};                                                                    \
    edit;                                                                                                 \
    if (sb_model_validate(model, &err) != SB_ERR_SCENARIO) fail_msg("is taken: %s", #edit);               \
    if (strncmp(err.text, said, strlen(said)) != 0) fail_msg("expected %s\nfound    %s", said, err.text); \
  }
  EDIT_LIST(CHECK_EDIT)
#undef CHECK_EDIT
  sb_scenario_clear(&scenario);
}

/* What is absent there has no number to be wrong; what is present has all of its own. */
static void a_section_that_is_present_has_all_its_numbers(void **state)
{
  (void)state;
  struct sb_scenario scenario = load(SB_SOURCE_DIR "/scenarios/tired-winder.yaml");
  struct sb_model changed = scenario.model;
  struct sb_error err;
  changed.battery.is_present = true;
  changed.battery.capacity_as = (double)NAN;
  assert_int_equal(sb_model_validate(&changed, &err), SB_ERR_SCENARIO);
  assert_non_null(strstr(err.text, "supply.battery.capacity: needs"));
  changed = scenario.model;
  changed.winding.is_present = true;
  changed.winding.resistance_k_w = (double)NAN;
  assert_int_equal(sb_model_validate(&changed, &err), SB_ERR_SCENARIO);
  assert_non_null(strstr(err.text, "motor.winding.thermal_resistance: needs"));
  sb_scenario_clear(&scenario);
}

static void the_library_names_the_version_of_its_header(void **state)
{
  (void)state;
  assert_string_equal(sb_version(), SB_VERSION);
  shell_expect(shell_run("$SHIFTBAND --version"), "shiftband " SB_VERSION);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(decimal_commas_of_the_caller_change_no_byte),
      cmocka_unit_test(decimal_commas_of_the_caller_change_no_log),
      cmocka_unit_test(gsl_keeps_the_handler_of_the_caller),
      cmocka_unit_test(what_gsl_refuses_ends_no_program),
      cmocka_unit_test(each_model_of_a_file_is_valid),
      cmocka_unit_test(a_change_that_no_file_could_make_is_refused),
      cmocka_unit_test(a_section_that_is_present_has_all_its_numbers),
      cmocka_unit_test(the_library_names_the_version_of_its_header),
  };
  return cmocka_run_group_tests_name("library", tests, shell_setup, shell_teardown);
}
