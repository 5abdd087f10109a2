// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What emit writes: rounding, the header compiled by other compilers than ours and replayed, pages for the hand.
 */
#include <gsl/gsl_rng.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "help/box.h"
#include "help/dice.h"
#include "help/loaded.h"
#include "help/near.h"
#include "help/shell.h"
#include "shiftband/emit.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

static const char *const shipped[] = {
    "balanced-lift",   "braked-hoist",       "crate-pusher",  "dough-drum",  "grindstone",
    "hump-cart",       "seed-drill",         "shuttle-wagon", "stop-and-go", "hunting-crawler-fixed",
    "hunting-crawler", "three-speed-feeder", "tired-winder",  "tray-cart",   "well-winch"};

enum { SHIPPED_COUNT = sizeof shipped / sizeof shipped[0] };

#ifndef M_PI
#define M_PI 3.14159265358979323846
#endif

/* The unit that a target compiles: the header alone with the module, its self-test as the program's result. */
static void write_unit(void)
{
  const struct said *said = shell_run("printf '#define TUNED_SELF_TEST\\n#include \"tuned.h\"\\nint main(void)\\n{\\n"
                                      "  return tuned_self_test() == 0 ? 0 : 1;\\n}\\n' > $T/unit.c");
  assert_int_equal(said->code, 0);
}

/* A short run of a machine with room for any threshold. */
static struct sb_model draw_machine(gsl_rng *random)
{
  struct sb_model model = box_cart();
  box_add_constant(&model, 0.05, true);
  model.limits = (struct sb_limits){
      .output_torque_nm = INFINITY, .winding_c = INFINITY, .stall_time_s = 0.5, .hunt_window_s = (double)NAN};
  model.run.duration_s = 1.0;
  model.control.dwell_s = 0.5;
  model.control.start_delay_s = 0.5;
  model.control.downshift_fraction[0] = 0.2 + 0.3 * gsl_rng_uniform(random);
  model.control.upshift_fraction[0] = 0.6 + 0.2 * gsl_rng_uniform(random);
  return model;
}

/* 1e-9: what counts as no rounding error of a speed in counts. */
static void expect_moved_apart(const struct sb_emission *emission, const struct sb_model *model)
{
  const double reference = model->control.sensor.reference_rad_s, slack = 1e-9 * reference;
  const double downshift = model->control.downshift_fraction[0] * reference,
               upshift = model->control.upshift_fraction[0] * reference;
  assert_near(emission->asked_below[0], downshift, slack);
  assert_near(emission->asked_above[0], upshift, slack);
  assert_true(emission->acts_below[0] <= downshift + slack);
  assert_true(emission->acts_below[0] > downshift - emission->count - slack);
  assert_true(emission->acts_above[0] >= upshift - slack);
  assert_true(emission->acts_above[0] < upshift + emission->count + slack);
}

static void thresholds_only_ever_move_apart_and_by_less_than_a_count(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(0);
  for (int i = 0; i < 300; i++) {
    const struct sb_model model = draw_machine(random);
    struct sb_emit_options options = sb_emit_options_default();
    struct sb_emission emission;
    struct sb_error err;
    if (i % 2 == 0) {
      options.sensor.count = model.control.sensor.reference_rad_s * pow(10.0, -1.3 - 3.0 * gsl_rng_uniform(random));
    } else {
      options.sensor.pulses_per_turn = 40.0 + (double)gsl_rng_uniform_int(random, 400);
      options.sensor.window_s = 0.05;
    }
    if (sb_emit(&model, &options, &emission, &err) != SB_OK) fail_msg("%s", err.text);
    expect_moved_apart(&emission, &model);
    /* The speeds are those of the counts. Nearest rounding: the largest count below D is D - 1, up to D - 1/2. */
    const double reach = i % 2 == 0 ? 0.5 : 0.0;
    assert_near(emission.acts_below[0], (emission.setup.downshift_below[0] - reach) * emission.count, 1e-9);
    assert_near(emission.acts_above[0], (emission.setup.upshift_above[0] + reach) * emission.count, 1e-9);
    sb_emit_clear(&emission);
  }
  gsl_rng_free(random);
}

/*
 * A disc of P slots, any phase: a counter over the window sees floor(x + phase) pulses. Speeds that were not to shift
 * down must not, speeds that were not to shift up must not, whatever the phase.
 */
static void counted_pulses_never_shift_inside_the_tuned_band(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(0);
  for (int i = 0; i < 100; i++) {
    const struct sb_model model = draw_machine(random);
    struct sb_emit_options options = sb_emit_options_default();
    struct sb_emission emission;
    options.sensor = (struct sb_emit_sensor){.pulses_per_turn = 60.0, .window_s = 0.04};
    assert_int_equal(sb_emit(&model, &options, &emission, NULL), SB_OK);
    const double reference = model.control.sensor.reference_rad_s;
    for (int k = 0; k < 200; k++) {
      const double share = 0.5 * gsl_rng_uniform(random), phase = gsl_rng_uniform(random);
      const double downshift = model.control.downshift_fraction[0], upshift = model.control.upshift_fraction[0];
      const double speed = reference * (k % 2 == 0 ? downshift + 1e-6 + (upshift - downshift) * share
                                                   : upshift - 1e-6 - (upshift - downshift) * share);
      const double pulses = floor(speed / (2.0 * M_PI) * 60.0 * 0.04 + phase);
      assert_true(pulses >= emission.setup.downshift_below[0] && pulses <= emission.setup.upshift_above[0]);
    }
    sb_emit_clear(&emission);
  }
  gsl_rng_free(random);
}

/*
 * A register counts duties, or a converter currents, to the nearest count c; the reading is K - c. Loads that were not to
 * shift down must not, loads that were not to shift up must not: down moves to more duty or current, up to less.
 */
static void counts_of_duty_and_current_never_shift_inside_the_tuned_band(void **state)
{
  (void)state;
  gsl_rng *random = dice_of(0);
  loaded_take_shipped("dough-drum");
  for (int i = 0; i < 60; i++) {
    struct sb_model model = loaded_scenario.model;
    struct sb_emit_options options = sb_emit_options_default();
    struct sb_emission emission;
    struct sb_error err;
    const int is_duty = i % 2 == 0;
    const double counts = 60.0 + (double)gsl_rng_uniform_int(random, 2000);
    const double full = is_duty ? 1.0 : model.control.sensor.reference_a;
    model.control.sensor.quantity = is_duty ? SB_SENSES_DUTY : SB_SENSES_CURRENT;
    model.control.sensor.resolution_fraction = 0.0; /* thresholds act where they are */
    model.run.duration_s = 1.0;
    model.control.downshift_fraction[0] = 0.05 + 0.1 * gsl_rng_uniform(random);
    model.control.upshift_fraction[0] = 0.25 + 0.05 * gsl_rng_uniform(random);
    options.sensor.count = full / counts;
    if (sb_emit(&model, &options, &emission, &err) != SB_OK) fail_msg("%s", err.text);
    assert_near(emission.full_count, counts, 1e-9);
    const double downshift = 1.0 - model.control.downshift_fraction[0],
                 upshift = 1.0 - model.control.upshift_fraction[0];
    for (int k = 0; k < 200; k++) {
      const double size = full * (upshift + 1e-6 + (downshift - upshift - 2e-6) * gsl_rng_uniform(random));
      const double reading = emission.full_count - round(size / options.sensor.count);
      assert_true(reading >= emission.setup.downshift_below[0] && reading <= emission.setup.upshift_above[0]);
    }
    /* A count beyond it acts: moved by less than one. */
    const double count = options.sensor.count;
    assert_true(emission.full_count - round((full * downshift + count) / count) < emission.setup.downshift_below[0]);
    assert_true(emission.full_count - round((full * upshift - count) / count) > emission.setup.upshift_above[0]);
    sb_emit_clear(&emission);
  }
  sb_scenario_clear(&loaded_scenario);
  gsl_rng_free(random);
}

/* In its own counts of 0.4 % it acts above 90.2 % of duty, 230.01 of 255, and below 67.8 %, 172.9: 231 and 172 counts.
 * Currents of 10 mA: 2.3 A are 230. */
static void duty_and_current_are_told_in_raw_counts_with_down_on_the_side_of_more(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND emit scenarios/dough-drum.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "reading = 250 - counts of duty");
  shell_expect(
      said,
      "stir -> knead: reading < 25, counts of duty > 225, a duty above 90.2 %\n *     (as tuned 90 %, 10 % left)");
  shell_expect(
      said,
      "knead -> stir: reading > 80, counts of duty < 170, a duty below 67.8 %\n *     (as tuned 68 %, 32 % left)");
  shell_expect(said, "#define TUNED_FULL_COUNT 250L");
  said = shell_run("$SHIFTBAND emit --count 1/255 --as blocks scenarios/dough-drum.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "reading < 25, counts of duty > 230,");
  shell_expect(said, "reading > 82, counts of duty < 173,");
  shell_expect(said, "LOW  <- GEAR = 2 and READING < 25 and ALLOWED");
  said = shell_run("$SHIFTBAND emit --count '0.3 %' scenarios/dough-drum.yaml");
  shell_expect(said, "reading = (100 % - duty) / 0.3 %, to the nearest whole number");
  said = shell_run("$SHIFTBAND emit --as ladder --count '10 mA' --set controller.reading=current --set "
                   "controller.downshift_below='50 %' --set controller.upshift_above='75 %' scenarios/dough-drum.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "reading = 230 - counts of current");
  shell_expect(said, "counts of current > 115, a current above 1.155 A\n    (as tuned 1.15 A, 50 % left)");
  shell_expect(said, "[ GEAR = 2 ]--[ READING < 115 ]");
  said =
      shell_run("sed '/resolution/d' scenarios/dough-drum.yaml > $T/dough.yaml; $SHIFTBAND emit $T/dough.yaml 2>&1 > "
                "/dev/null");
  assert_int_equal(said->code, 0);
  shell_expect(said, "one count is taken as 1/255 of full duty; give --count");
}

/* The wagon stops at 11 s, is told to reverse at 13 s, and stops at 18.6 s; its start delay is 0.6 s (its own file). */
static void recordings_of_a_drive_that_stops_tell_when_nothing_is_decided(void **state)
{
  (void)state;
  loaded_take_shipped("shuttle-wagon");
  const struct sb_emit_options options = sb_emit_options_default();
  struct sb_emission emission;
  assert_int_equal(sb_emit(&loaded_scenario.model, &options, &emission, NULL), SB_OK);
  assert_true(emission.can_stop);
  const double period_s = loaded_scenario.model.control.sample_period_s;
  int off = 0, on = 0;
  for (size_t i = 0; i < emission.sample_count; i++) {
    const double time_s = (double)i * period_s;
    /* One sample at each edge, as orders act at ticks between samples. */
    const int is_off = (time_s > 11.0 + period_s && time_s < 13.6 - period_s) || time_s > 18.6 + period_s;
    const int is_on =
        (time_s > 8.5 && time_s < 11.0 - period_s) || (time_s > 13.6 + period_s && time_s < 18.6 - period_s);
    if (is_off) assert_false(emission.samples[i].is_deciding);
    if (is_on) assert_true(emission.samples[i].is_deciding);
    off += is_off;
    on += is_on;
  }
  assert_true(off > 100 && on > 300);
  sb_emit_clear(&emission);
  sb_scenario_clear(&loaded_scenario);
}

/* Told always, the wagon's controller takes its standstill for a heavy load: the recording must know better. */
static void self_test_finds_a_stop_that_is_not_told(void **state)
{
  (void)state;
  write_unit();
  const struct said *said = shell_run("$SHIFTBAND emit -o $T/right.h scenarios/shuttle-wagon.yaml && cat $T/right.h");
  assert_int_equal(said->code, 0);
  shell_expect(
      said,
      "is_engaged: must be given, for this drive can stop: false while it is off,\n *     and for 0.6 s (30 samples) after each restart or reversal");
  said = shell_run(
      "sed 's/= (uint8_t)(mark >> 7)/= 1/' $T/right.h > $T/tuned.h; ! cmp -s $T/right.h $T/tuned.h || exit 9; "
      "${CC:-cc} -Iinclude -I$T -o $T/unit $T/unit.c src/controller/controller.c && $T/unit");
  assert_int_equal(said->code, 1);
}

static void a_scenarios_own_resolution_gives_the_very_controller_of_the_run(void **state)
{
  (void)state;
  static const char *const own[] = {"tray-cart",       "stop-and-go", "three-speed-feeder",
                                    "hunting-crawler", "dough-drum",  "shuttle-wagon"};
  for (size_t k = 0; k < sizeof own / sizeof own[0]; k++) {
    loaded_take_shipped(own[k]);
    const struct sb_emit_options options = sb_emit_options_default();
    const struct sb_controller_setup setup = sb_run_controller_setup(&loaded_scenario.model);
    struct sb_emission emission;
    assert_int_equal(sb_emit(&loaded_scenario.model, &options, &emission, NULL), SB_OK);
    assert_memory_equal(emission.setup.downshift_below, setup.downshift_below, sizeof setup.downshift_below);
    assert_memory_equal(emission.setup.upshift_above, setup.upshift_above, sizeof setup.upshift_above);
    assert_int_equal(emission.setup.dwell_samples, setup.dwell_samples);
    assert_int_equal(emission.setup.start_delay_samples, setup.start_delay_samples);
    assert_int_equal(emission.setup.debounce_samples, setup.debounce_samples);
    assert_int_equal(emission.setup.gear_count, setup.gear_count);
    sb_emit_clear(&emission);
    sb_scenario_clear(&loaded_scenario);
  }
}

/* The recorded gears change at the samples at which the monitor, another listener, saw the commands. */
static void recorded_gears_change_at_the_commands_of_the_run(void **state)
{
  (void)state;
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    loaded_take_shipped(shipped[k]);
    struct sb_emit_options options = sb_emit_options_default();
    options.sample_max = SB_EMIT_SAMPLES_MAX;
    const struct sb_run_options run_options = sb_run_options_default();
    struct sb_emission emission;
    struct sb_run_result result;
    assert_int_equal(sb_emit(&loaded_scenario.model, &options, &emission, NULL), SB_OK);
    assert_int_equal(sb_run(&emission.model, &run_options, &result, NULL), SB_OK);
    size_t seen = 0;
    for (size_t i = 1; i < emission.sample_count; i++) {
      if (emission.samples[i].gear == emission.samples[i - 1].gear) continue;
      assert_true(seen < result.monitor.shift_kept);
      const struct sb_shift_record *shift = &result.monitor.shifts[seen++];
      /* Samples lie on whole steps: times agree to rounding. */
      assert_near((double)i * loaded_scenario.model.control.sample_period_s, shift->command_s, 1e-9);
      assert_int_equal(emission.samples[i - 1].gear, shift->from);
      assert_int_equal(emission.samples[i].gear, shift->to);
    }
    if (emission.sample_total <= options.sample_max) assert_int_equal(seen, result.monitor.shift_count);
    sb_run_result_clear(&result);
    sb_emit_clear(&emission);
    sb_scenario_clear(&loaded_scenario);
  }
}

#define HOST_FLAGS "-std=c99 -Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror"

static void header_replays_every_decision_of_every_shipped_scenario_on_this_machine(void **state)
{
  (void)state;
  write_unit();
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    char command[1024];
    snprintf(command, sizeof command,
             "$SHIFTBAND emit -o $T/tuned.h --samples 16000 scenarios/%s.yaml && ${CC:-cc} " HOST_FLAGS
             " -Iinclude -I$T -o $T/unit $T/unit.c src/controller/controller.c && $T/unit",
             shipped[k]);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", shipped[k], said->text);
  }
}

/* The test that runs on the target must be able to fail: each constant put wrong in turn. */
static void self_test_finds_a_wrong_constant(void **state)
{
  (void)state;
  write_unit();
  assert_int_equal(shell_run("$SHIFTBAND emit scenarios/hunting-crawler.yaml > $T/right.h")->code, 0);
  static const char *const wrong[] = {"s/{130}/{120}/", "s/{150}/{170}/", "s/25u, .*dwell/40u, \\/* dwell/",
                                      "s/1u,\\(.*\\)debounce/3u,\\1debounce/", "s/START_GEAR 2/START_GEAR 1/"};
  for (size_t k = 0; k < sizeof wrong / sizeof wrong[0]; k++) {
    char command[1024];
    snprintf(command, sizeof command,
             "sed '%s' $T/right.h > $T/tuned.h; ! cmp -s $T/right.h $T/tuned.h || exit 9; ${CC:-cc} -Iinclude -I$T -o "
             "$T/unit $T/unit.c src/controller/controller.c && $T/unit",
             wrong[k]);
    const struct said *said = shell_run(command);
    if (said->code != 1) fail_msg("%s went unseen (%d): %s", wrong[k], said->code, said->text);
  }
}

/* Sensors as they are built, as changes to the tray cart without its resolution. */
static const char *const built[] = {
    "--set controller.sensor='{pulses: 240, window: 50 ms}'",
    "--set controller.sensor='{pulses: 120, window: 90 ms, phase: worst}'",
    "--set controller.sensor='{pulses: 24, between: pulses}'",
    "--set controller.resolution='2 rpm' --set controller.reference='measured supply' --set "
    "controller.voltage_sensor='{resolution: 20 mV, filter: 100 ms}'",
    "--count '1.5 rpm' --set controller.reference='measured supply' --voltage-count '12 mV'",
    "--set controller.sensor='{pulses: 240, window: 50 ms}' --set controller.reference='measured supply' --set "
    "controller.voltage_sensor.resolution='50 mV'"};
enum { BUILT_COUNT = sizeof built / sizeof *built };

static void write_built(int k, char *command, size_t size)
{
  snprintf(
      command, size,
      "sed '/resolution:/d' scenarios/tray-cart.yaml > $T/built.yaml && $SHIFTBAND emit -o $T/tuned.h --samples 2000 "
      "%s $T/built.yaml 2> $T/said",
      built[k]);
}

static void header_replays_readings_of_sensors_as_they_are_built(void **state)
{
  (void)state;
  write_unit();
  for (int k = 0; k < BUILT_COUNT; k++) {
    char emit[1024], command[2048];
    write_built(k, emit, sizeof emit);
    snprintf(command, sizeof command,
             "%s && ${CC:-cc} " HOST_FLAGS
             " -Iinclude -I$T -o $T/unit $T/unit.c src/controller/controller.c src/controller/scale.c && $T/unit",
             emit);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", built[k], said->text);
  }
}

/* The counts are recorded before they are set against the supply, so that the test notices a wrong scale. */
static void self_test_finds_a_wrong_scale(void **state)
{
  (void)state;
  write_unit();
  static const char *const wrong[] = {"/scale = {/,/};/s/.*factor/    4000000u, \\/* factor/",
                                      "/scale = {/,/};/s/.*offset/    300, \\/* offset/"};
  char emit[1024];
  write_built(3, emit, sizeof emit);
  for (int k = 0; k < 2; k++) {
    char command[2048];
    snprintf(
        command, sizeof command,
        "%s && mv $T/tuned.h $T/right.h && sed '%s' $T/right.h > $T/tuned.h && ! cmp -s $T/right.h $T/tuned.h || exit 9; "
        "${CC:-cc} -Iinclude -I$T -o $T/unit $T/unit.c src/controller/controller.c src/controller/scale.c && $T/unit",
        emit, wrong[k]);
    const struct said *said = shell_run(command);
    if (said->code != 1) fail_msg("%s went unseen (%d): %s", wrong[k], said->code, said->text);
  }
}

/* Compiled and linked as a whole program; not run there, for there is no such machine here. */
static void expect_target(const char *compiler, const char *flags)
{
  char command[1024];
  snprintf(command, sizeof command, "command -v %s", compiler);
  if (shell_run(command)->code != 0) skip();
  write_unit();
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    snprintf(command, sizeof command,
             "$SHIFTBAND emit -o $T/tuned.h scenarios/%s.yaml 2> $T/said && %s " HOST_FLAGS
             " -Os %s -Iinclude -I$T -o $T/unit.elf $T/unit.c src/controller/controller.c",
             shipped[k], compiler, flags);
    const struct said *said = shell_run(command);
    if (said->code != 0 || strstr(said->text, "warning") != NULL) fail_msg("%s: %s", shipped[k], said->text);
  }
  for (int k = 0; k < BUILT_COUNT; k++) {
    char emit[1024], whole[2048];
    write_built(k, emit, sizeof emit);
    snprintf(whole, sizeof whole,
             "%s && %s " HOST_FLAGS
             " -Os %s -Iinclude -I$T -o $T/unit.elf $T/unit.c src/controller/controller.c src/controller/scale.c",
             emit, compiler, flags);
    const struct said *said = shell_run(whole);
    if (said->code != 0 || strstr(said->text, "warning") != NULL) fail_msg("%s: %s", built[k], said->text);
  }
}

static void header_with_its_self_test_links_for_a_cortex_m0_without_any_library(void **state)
{
  (void)state;
  expect_target("arm-none-eabi-gcc", "-mcpu=cortex-m0 -mthumb -ffreestanding -nostdlib -Wl,-e,main");
}

static void header_with_its_self_test_links_for_an_atmega328p(void **state)
{
  (void)state;
  expect_target("avr-gcc", "-mmcu=atmega328p");
}

/* RAM of an ATmega328P: 2048 B (data sheet). 2000 readings of 2 B would fill it, were they not in flash. */
static void recorded_readings_stay_out_of_the_ram_of_an_avr(void **state)
{
  (void)state;
  if (shell_run("command -v avr-gcc && command -v avr-size")->code != 0) skip();
  write_unit();
  const struct said *said = shell_run(
      "$SHIFTBAND emit -o $T/tuned.h scenarios/three-speed-feeder.yaml && avr-gcc -Os -mmcu=atmega328p -Iinclude "
      "-I$T -o $T/unit.elf $T/unit.c src/controller/controller.c && avr-size -A $T/unit.elf | awk '/^.(data|bss)/ { sum += $2 } "
      "END { print \"ram\", sum + 0 }'");
  assert_int_equal(said->code, 0);
  assert_true(shell_figure(said, "ram ") < 200.0); /* the setup with room for 8 gears is 70 B */
}

static void header_is_taken_by_a_cpp_compiler(void **state)
{
  (void)state;
  if (shell_run("command -v g++")->code != 0) skip();
  write_unit();
  const struct said *said = shell_run(
      "$SHIFTBAND emit -o $T/tuned.h scenarios/tray-cart.yaml && cp $T/unit.c $T/unit.cpp && ${CC:-cc} -c "
      "-Iinclude -o $T/c.o src/controller/controller.c && g++ -std=c++11 -Wall -Wextra -Wpedantic -Werror -Iinclude -I$T "
      "-o $T/unit $T/unit.cpp $T/c.o && $T/unit");
  if (said->code != 0) fail_msg("%s", said->text);
}

static void same_scenario_gives_the_same_bytes_under_zero_clause_bsd(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for i in 1 2; do $SHIFTBAND emit --name cart scenarios/tray-cart.yaml > $T/h$i.h; done; cmp $T/h1.h $T/h2.h && "
      "head -n 1 $T/h1.h && grep -c 'with or without fee is hereby granted' $T/h1.h && grep -n 'cart_setup = {' $T/h1.h");
  assert_int_equal(said->code, 0);
  shell_expect(said, "// SPDX-License-Identifier: 0BSD\n1\n");
}

/* A name may not end the comment that it stands in. */
static void hostile_scenario_name_stays_inside_its_comment(void **state)
{
  (void)state;
  write_unit();
  const struct said *said = shell_run(
      "$SHIFTBAND emit --set name='a */ int x; /* \\' -o $T/tuned.h scenarios/tray-cart.yaml && ${CC:-cc} " HOST_FLAGS
      " -Iinclude -I$T -o $T/unit $T/unit.c src/controller/controller.c && $T/unit");
  if (said->code != 0) fail_msg("%s", said->text);
}

/*
 * The page for the hand, followed by another hand: awk obeys the blocks, word by word, with the numbers that it finds
 * in the page, and must come to the gears in the file of readings.
 */
static void blocks_page_followed_to_the_letter_comes_to_the_same_gears(void **state)
{
  (void)state;
  static const char *const cases[] = {"three-speed-feeder", "hunting-crawler", "tray-cart", "dough-drum",
                                      "shuttle-wagon"};
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    char command[2048];
    snprintf(
        command, sizeof command,
        "for f in blocks readings; do $SHIFTBAND emit --as $f --set controller.debounce_samples=2 scenarios/%s.yaml > $T/$f; "
        "done; awk 'FNR == 1 { file++ }\n"
        "file == 1 && / loaded with / { wait = $NF }\n"
        "file == 1 && /it starts as/ { gear = $NF }\n"
        "file == 1 && / (LOW|HIGH) +<- GEAR/ { side[++n] = $1; from[n] = $5; than[n] = $9 }\n"
        "file == 1 && /COUNT_LOW  =/ { confirm = $3 + 0 }\n"
        "file == 1 && /WAIT <- [0-9]+ .the/ { for (i = 1; i < NF; i++) if ($i == \"<-\") again = $(i + 1) }\n"
        "file == 2 && FNR > 1 { split($0, f, \",\"); allowed = wait == 0 && f[3]; if (wait) wait--\n"
        "  low = high = 0\n"
        "  for (i = 1; i <= n; i++) if (from[i] == gear) {\n"
        "    if (side[i] == \"LOW\" && f[2] + 0 < than[i] + 0 && allowed) low = 1\n"
        "    if (side[i] == \"HIGH\" && f[2] + 0 > than[i] + 0 && allowed) high = 1 }\n"
        "  lows = low ? lows + 1 : 0; highs = high ? highs + 1 : 0; was = gear\n"
        "  if (lows == confirm) gear--; else if (highs == confirm) gear++\n"
        "  if (gear != was) { lows = highs = 0; wait = again; shifts++ }\n"
        "  if (gear != f[4]) { print \"sample\", f[1], \"gear\", gear, \"expected\", f[4]; exit 1 } }\n"
        "END { print \"shifts\", shifts + 0 }' $T/blocks $T/readings",
        cases[k]);
    const struct said *said = shell_run(command);
    if (said->code != 0) fail_msg("%s: %s", cases[k], said->text);
    assert_true(shell_figure(said, "shifts ") >= 2.0);
  }
}

static void ladder_page_has_a_rung_for_each_threshold_with_its_count(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND emit --as ladder --set controller.debounce_samples=3 --count '0.5 %' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  /* The scenario counts whole percents to the nearest: it acts below 49.5 and above 78.5 %, 99 and 157 counts. */
  shell_expect(said, "[ GEAR = 2 ]--[ READING < 99 ]");
  shell_expect(said, "[ GEAR = 1 ]--[ READING > 157 ]");
  shell_expect(said, "PV = 3");
  shell_expect(said, "WAIT <- 49");
}

static void every_line_of_every_form_fits_eighty_columns(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for s in scenarios/*.yaml; do for f in header blocks ladder; do COLUMNS=200 $SHIFTBAND emit --as $f $s 2> $T/words"
      " || cat $T/words; done; done | awk 'length > 80; END { print (NR > 3000 ? \"enough\" : \"too few\") }'");
  assert_int_equal(said->code, 0);
  assert_string_equal(said->text, "enough\n");
}

static void sensor_that_is_too_coarse_is_refused_with_the_reason(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND emit --count '40 %' -o $T/none.h scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said, "too coarse");
  assert_int_equal(shell_run("test ! -e $T/none.h")->code, 0);
  said =
      shell_run("$SHIFTBAND emit --count '250 rpm' --set controller.downshift_below='30 %' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 3);
}

static void wait_shorter_than_the_shift_is_told_to_need_a_signal_of_the_mesh(void **state)
{
  (void)state;
  shell_expect(shell_run("$SHIFTBAND emit scenarios/tray-cart.yaml"), "is_engaged: may always be true");
  const struct said *said = shell_run("$SHIFTBAND emit --set controller.dwell='20 ms' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "is_engaged: must be given");
}

static void machine_that_does_not_pass_is_emitted_with_a_warning_in_the_header(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND emit scenarios/hunting-crawler.yaml 2> $T/words");
  assert_int_equal(said->code, 0);
  shell_expect(said, "WARNING: with these constants the simulated machine does not pass: hunting");
  shell_expect(
      shell_run("cat $T/words"),
      "warning: scenarios/hunting-crawler.yaml: with these constants the simulated machine does not pass: hunting");
}

static void faults_of_the_command_line_are_told(void **state)
{
  (void)state;
  static const struct shell_fault faults[] = {
      {"$SHIFTBAND emit", "needs a scenario file", 2},
      {"$SHIFTBAND emit scenarios/tray-cart.yaml scenarios/hump-cart.yaml", "takes one scenario file", 2},
      {"$SHIFTBAND emit --as poem scenarios/tray-cart.yaml", "--as needs header, blocks, ladder or readings", 2},
      {"$SHIFTBAND emit --count '5 rpm' scenarios/dough-drum.yaml", "--count needs a percentage", 2},
      {"$SHIFTBAND emit --count '10 mA' scenarios/tray-cart.yaml", "--count needs", 2},
      {"$SHIFTBAND emit --count 1/0 scenarios/tray-cart.yaml", "--count needs", 2},
      {"$SHIFTBAND emit --pulses 4 scenarios/dough-drum.yaml",
       "counts of pulses need a reading of the speed, found one of the duty", 2},
      {"$SHIFTBAND emit --count '30 %' scenarios/dough-drum.yaml", "lies below one count of 30 %", 3},
      {"$SHIFTBAND emit --count 5 scenarios/tray-cart.yaml", "--count needs", 2},
      {"$SHIFTBAND emit --count '0 rpm' scenarios/tray-cart.yaml", "--count needs more than 0", 2},
      {"$SHIFTBAND emit --pulses 0 scenarios/tray-cart.yaml", "--pulses needs a whole number from 1 to", 2},
      {"$SHIFTBAND emit --window '1 s' scenarios/tray-cart.yaml", "--window needs --pulses N: it is the time", 2},
      {"$SHIFTBAND emit --pulses 4 --window '1 m' scenarios/tray-cart.yaml", "--window needs", 2},
      {"$SHIFTBAND emit --pulses 4 --count '1 %' scenarios/tray-cart.yaml", "exclude each other", 2},
      {"$SHIFTBAND emit --name 4x scenarios/tray-cart.yaml", "--name needs a letter", 2},
      {"$SHIFTBAND emit --samples 20000 scenarios/tray-cart.yaml", "--samples needs a whole number from 0 to 16000", 2},
      {"$SHIFTBAND emit -o scenarios/tray-cart.yaml scenarios/tray-cart.yaml", "would replace the input", 2},
      {"$SHIFTBAND emit $T/none.yaml", "none.yaml: No such file", 4},
      {"$SHIFTBAND emit -o $T/none/x scenarios/tray-cart.yaml", "none/x", 4},
      {"$SHIFTBAND emit scenarios/tray-cart.yaml > /dev/full", "standard output", 4},
  };
  shell_expect_faults(faults, sizeof faults / sizeof *faults);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(thresholds_only_ever_move_apart_and_by_less_than_a_count),
      cmocka_unit_test(counted_pulses_never_shift_inside_the_tuned_band),
      cmocka_unit_test(counts_of_duty_and_current_never_shift_inside_the_tuned_band),
      cmocka_unit_test(duty_and_current_are_told_in_raw_counts_with_down_on_the_side_of_more),
      cmocka_unit_test(recordings_of_a_drive_that_stops_tell_when_nothing_is_decided),
      cmocka_unit_test(self_test_finds_a_stop_that_is_not_told),
      cmocka_unit_test(a_scenarios_own_resolution_gives_the_very_controller_of_the_run),
      cmocka_unit_test(recorded_gears_change_at_the_commands_of_the_run),
      cmocka_unit_test(header_replays_every_decision_of_every_shipped_scenario_on_this_machine),
      cmocka_unit_test(self_test_finds_a_wrong_constant),
      cmocka_unit_test(header_replays_readings_of_sensors_as_they_are_built),
      cmocka_unit_test(self_test_finds_a_wrong_scale),
      cmocka_unit_test(header_with_its_self_test_links_for_a_cortex_m0_without_any_library),
      cmocka_unit_test(header_with_its_self_test_links_for_an_atmega328p),
      cmocka_unit_test(recorded_readings_stay_out_of_the_ram_of_an_avr),
      cmocka_unit_test(header_is_taken_by_a_cpp_compiler),
      cmocka_unit_test(same_scenario_gives_the_same_bytes_under_zero_clause_bsd),
      cmocka_unit_test(hostile_scenario_name_stays_inside_its_comment),
      cmocka_unit_test(blocks_page_followed_to_the_letter_comes_to_the_same_gears),
      cmocka_unit_test(ladder_page_has_a_rung_for_each_threshold_with_its_count),
      cmocka_unit_test(every_line_of_every_form_fits_eighty_columns),
      cmocka_unit_test(sensor_that_is_too_coarse_is_refused_with_the_reason),
      cmocka_unit_test(wait_shorter_than_the_shift_is_told_to_need_a_signal_of_the_mesh),
      cmocka_unit_test(machine_that_does_not_pass_is_emitted_with_a_warning_in_the_header),
      cmocka_unit_test(faults_of_the_command_line_are_told),
  };
  return cmocka_run_group_tests_name("emit", tests, shell_setup, shell_teardown);
}
