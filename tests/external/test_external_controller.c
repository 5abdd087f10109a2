// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Deciders in a run, and the lines of the protocol. The shipped example is compiled into this test as well: the same
 * hysteresis written anew has to lead to the same runs to the bit.
 */
#include <math.h>
#include <string.h>

#include "../../tools/external/controller.c"  // NOLINT(bugprone-suspicious-include): the example itself is under test
#include "external/protocol.h"
#include "help/near.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"

static const char *const files[] = {
    "balanced-lift.yaml",         "dough-drum.yaml",   "hump-cart.yaml",     "hunting-crawler.yaml",
    "hunting-crawler-fixed.yaml", "seed-drill.yaml",   "shuttle-wagon.yaml", "stop-and-go.yaml",
    "three-speed-feeder.yaml",    "tired-winder.yaml", "tray-cart.yaml",     "well-winch.yaml"};

enum { FILE_COUNT = sizeof files / sizeof files[0] };

static struct sb_scenario load(const char *file)
{
  char path[1024];
  struct sb_scenario scenario;
  struct sb_faults faults = {0};
  snprintf(path, sizeof path, "%s/scenarios/%s", SB_SOURCE_DIR, file);
  assert_int_equal(sb_scenario_load(path, NULL, 0, &scenario, &faults), SB_OK);
  sb_faults_clear(&faults);
  return scenario;
}

typedef int32_t (*own_function)(const struct sb_own_input *);

/* A decider of functions in this program; what it was told is looked at on the way. */
struct inside {
  int32_t (*function)(const struct sb_own_input *);
  _Alignas(max_align_t) unsigned char memory[SB_OWN_MEMORY_SIZE];
  int begun, ended, wrong;
  bool is_whole;
  struct sb_own_input last;
};

static enum sb_status begin(void *context, const struct sb_own_input *input, void **run, struct sb_error *err)
{
  struct inside *inside = context;
  (void)err;
  inside->begun++;
  inside->wrong += input->sample != -1;
  memset(inside->memory, 0, sizeof inside->memory);
  inside->last = *input;
  *run = inside;
  return SB_OK;
}

static enum sb_status decide(void *run, const struct sb_own_input *input, int *gear, struct sb_error *err)
{
  struct inside *inside = run;
  struct sb_own_input own = *input, read = {.version = SB_OWN_VERSION, .size = sizeof read};
  char header[SB_PROTOCOL_HEADER_SIZE], sample[SB_PROTOCOL_SAMPLE_SIZE];
  long version;
  (void)err;
  /* What goes through the lines of the protocol arrives as it was, to the bit. */
  sb_protocol_write_header(header, input);
  sb_protocol_write_sample(sample, input);
  inside->wrong += !sb_protocol_read_header(header, &read, &version) || !sb_protocol_read_sample(sample, &read);
  inside->wrong += memcmp(&read, input, offsetof(struct sb_own_input, memory_size)) != 0;
  for (int p = 0; p + 1 < SB_OWN_GEAR_MAX; p++) {
    inside->wrong += read.downshift_below_pct[p] != input->downshift_below_pct[p] ||
                     read.upshift_above_pct[p] != input->upshift_above_pct[p];
  }
  inside->wrong += memcmp(read.downshift_below, input->downshift_below, sizeof read.downshift_below) != 0;
  inside->wrong += memcmp(read.upshift_above, input->upshift_above, sizeof read.upshift_above) != 0;
  inside->wrong += input->sample != inside->last.sample + 1;
  inside->wrong += fabs(input->time_s - (double)input->sample * input->sample_period_s) > 1e-9;
  inside->last = *input;
  own.memory = inside->memory;
  own.memory_size = sizeof inside->memory;
  *gear = inside->function(&own);
  return SB_OK;
}

static enum sb_status end(void *run, bool is_whole, struct sb_error *err)
{
  struct inside *inside = run;
  (void)err;
  inside->ended++;
  inside->is_whole = is_whole;
  return SB_OK;
}

static enum sb_status run_inside(const struct sb_model *model, struct inside *inside, struct sb_run_result *result,
                                 struct sb_error *err)
{
  const struct sb_decider decider = {"inside", inside, begin, decide, end};
  struct sb_run_options options = sb_run_options_default();
  options.decider = &decider;
  return sb_run(model, &options, result, err);
}

static void example_written_anew_leads_to_the_same_runs_to_the_bit(void **state)
{
  (void)state;
  for (int i = 0; i < FILE_COUNT; i++) {
    static struct inside inside;
    struct sb_scenario scenario = load(files[i]);
    struct sb_error err = {SB_OK, ""};
    struct sb_run_result ours, theirs;
    const struct sb_run_options options = sb_run_options_default();
    inside = (struct inside){.function = sb_own_controller};
    assert_int_equal(sb_run(&scenario.model, &options, &ours, &err), SB_OK);
    assert_int_equal(run_inside(&scenario.model, &inside, &theirs, &err), SB_OK);
    assert_int_equal(inside.begun, 1);
    assert_int_equal(inside.ended, 1);
    assert_true(inside.is_whole);
    if (inside.wrong != 0) fail_msg("%s: %d inputs were not as they should be", files[i], inside.wrong);
    assert_int_equal(theirs.monitor.shift_count, ours.monitor.shift_count);
    assert_int_equal(theirs.step_count, ours.step_count);
    assert_true(theirs.end.motor_speed_rad_s == ours.end.motor_speed_rad_s);
    assert_true(theirs.end.output_turns == ours.end.output_turns);
    assert_true(theirs.sums.energy.given == ours.sums.energy.given);
    sb_run_result_clear(&ours);
    sb_run_result_clear(&theirs);
    sb_scenario_clear(&scenario);
  }
}

static int32_t answer_at_five(const struct sb_own_input *input, int32_t answer)
{
  return input->sample == 5 ? answer : input->gear;
}

static int32_t answers_none(const struct sb_own_input *input)
{
  return answer_at_five(input, 0);
}

static int32_t answers_too_much(const struct sb_own_input *input)
{
  return answer_at_five(input, input->gear_count + 1);
}

static int32_t jumps(const struct sb_own_input *input)
{
  return answer_at_five(input, input->gear - 2);
}

static void answer_that_is_no_gear_or_jumps_over_one_ends_the_run_with_its_place(void **state)
{
  (void)state;
  static const struct {
    int32_t (*function)(const struct sb_own_input *);
    const char *said;
  } wrong[] = {
      {answers_none, "controller inside, sample 5 at 0.1 s: answered gear 0; gears count from 1 to 3"},
      {answers_too_much, "controller inside, sample 5 at 0.1 s: answered gear 4; gears count from 1 to 3"},
      {jumps, "controller inside, sample 5 at 0.1 s: answered gear 1 while in gear 3; a shift must not skip a gear"},
  };
  struct sb_scenario scenario = load("three-speed-feeder.yaml");
  for (size_t k = 0; k < sizeof wrong / sizeof wrong[0]; k++) {
    static struct inside inside;
    struct sb_error err = {SB_OK, ""};
    struct sb_run_result result;
    inside = (struct inside){.function = wrong[k].function};
    assert_int_equal(run_inside(&scenario.model, &inside, &result, &err), SB_ERR_CONTROLLER);
    assert_string_equal(err.text, wrong[k].said);
    assert_int_equal(inside.ended, 1);
    assert_false(inside.is_whole);
  }
  sb_scenario_clear(&scenario);
}

/* Up and down at every sample, in neutral as well: each command begins the shift anew, and no energy is lost. */
static int32_t chatters(const struct sb_own_input *input)
{
  if (input->gear == 1) return 2;
  if (input->gear == input->gear_count) return input->gear - 1;
  return input->gear + (input->sample % 3 == 0 ? 1 : -1);
}

/* Commands now and then, most of them while a shift is under way. */
static int32_t dithers(const struct sb_own_input *input)
{
  return input->sample % 7 < 5 ? input->gear : chatters(input);
}

static void commands_in_neutral_begin_the_shift_again_and_balance_the_energies(void **state)
{
  (void)state;
  static const own_function functions[] = {chatters, dithers};
  for (int i = 0; i < 2 * FILE_COUNT; i++) {
    static struct inside inside;
    struct sb_scenario scenario = load(files[i / 2]);
    struct sb_error err = {SB_OK, ""};
    struct sb_run_result result;
    inside = (struct inside){.function = functions[i % 2]};
    const enum sb_status status = run_inside(&scenario.model, &inside, &result, &err);
    if (status != SB_OK) fail_msg("%s: %s", files[i / 2], err.text);
    /* The project's promise for whole scenarios, 1e-6 of the energy moved. */
    assert_near(sb_energy_residual_ratio(&result.sums.energy), 0.0, 1e-6);
    if (scenario.model.gearbox.gear_count > 1) assert_true(result.monitor.shift_count > 50);
    sb_run_result_clear(&result);
    sb_scenario_clear(&scenario);
  }
}

static void header_has_the_documented_words(void **state)
{
  (void)state;
  const struct sb_own_input input = {.gear_count = 3,
                                     .start_gear = 3,
                                     .sample = 12,
                                     .time_s = 0.24,
                                     .reading = 87,
                                     .reading_pct = 87.0,
                                     .gear = 3,
                                     .is_engaged = 1,
                                     .is_deciding = 1,
                                     .sample_period_s = 0.02,
                                     .count_pct = 1.0,
                                     .start_delay_samples = 30,
                                     .dwell_samples = 75,
                                     .debounce_samples = 1,
                                     .downshift_below = {40, 60},
                                     .upshift_above = {70, 90},
                                     .downshift_below_pct = {40.0, 60.5},
                                     .upshift_above_pct = {70.0, 90.0}};
  char header[SB_PROTOCOL_HEADER_SIZE], sample[SB_PROTOCOL_SAMPLE_SIZE];
  const size_t header_length = sb_protocol_write_header(header, &input);
  assert_int_equal(header_length, strlen(header));
  assert_string_equal(
      header, "shiftband-controller 2 gears=3 start_gear=3 sample_period_s=0.02 count_pct=1 "
              "start_delay_samples=30 dwell_samples=75 debounce_samples=1 downshift_below=40,60 upshift_above=70,90 "
              "downshift_below_pct=40,60.5 upshift_above_pct=70,90\n");
  const size_t sample_length = sb_protocol_write_sample(sample, &input);
  assert_int_equal(sample_length, strlen(sample));
  assert_string_equal(sample, "12 0.24 87 87 3 1 1\n");
}

/* The widest of everything has to fit, for a line is never cut. */
static void widest_numbers_fit_into_their_lines(void **state)
{
  (void)state;
  struct sb_own_input input = {.gear_count = SB_OWN_GEAR_MAX,
                               .start_gear = SB_OWN_GEAR_MAX,
                               .sample = 9000000000000000,
                               .time_s = 1.7976931348623157e+308,
                               .reading = INT32_MIN,
                               .reading_pct = -2.2250738585072014e-308,
                               .gear = SB_OWN_GEAR_MAX,
                               .sample_period_s = 2.2250738585072014e-308,
                               .count_pct = 2.2250738585072014e-308,
                               .start_delay_samples = UINT32_MAX,
                               .dwell_samples = UINT32_MAX,
                               .debounce_samples = UINT32_MAX};
  struct sb_own_input read = {0};
  char header[SB_PROTOCOL_HEADER_SIZE], sample[SB_PROTOCOL_SAMPLE_SIZE];
  long version;
  for (int p = 0; p + 1 < SB_OWN_GEAR_MAX; p++) {
    input.downshift_below[p] = input.upshift_above[p] = INT32_MIN;
    input.downshift_below_pct[p] = input.upshift_above_pct[p] = -2.2250738585072014e-308;
  }
  sb_protocol_write_header(header, &input);
  sb_protocol_write_sample(sample, &input);
  assert_true(sb_protocol_read_header(header, &read, &version));
  assert_true(sb_protocol_read_sample(sample, &read));
  assert_true(read.reading_pct == input.reading_pct && read.time_s == input.time_s);
  assert_int_equal(read.upshift_above[SB_OWN_GEAR_MAX - 2], INT32_MIN);
}

static void lines_that_are_none_are_refused(void **state)
{
  (void)state;
  static const char *const headers[] = {"", "shiftband-controller", "shiftband-controller 2\n",
                                        "shiftband-controller 2 gears=9 start_gear=1\n",
                                        "shiftband-controller 2 gears=2 start_gear=2 sample_period_s=x\n"};
  static const char *const samples[] = {"", "1", "1 0 1 1 1 1", "1 0 1 1 1 1 1 1", "-1 0 1 1 1 1 1", "1 0 1.5 1 1 1 1"};
  static const struct {
    const char *text;
    int gear;
  } answers[] = {{"1", 1},    {" 12\r", 12}, {"007", 7}, {"", -1},    {"+1", -1},
                 {"1 1", -1}, {"1.0", -1},   {"-1", -1}, {"1e0", -1}, {"1000", -1}};
  struct sb_own_input input = {0};
  long version;
  for (size_t k = 0; k < sizeof headers / sizeof headers[0]; k++) {
    assert_false(sb_protocol_read_header(headers[k], &input, &version));
  }
  assert_false(sb_protocol_read_header("shiftband-controller 1 gears=2\n", &input, &version));
  assert_int_equal(version, 1);
  for (size_t k = 0; k < sizeof samples / sizeof samples[0]; k++) {
    assert_false(sb_protocol_read_sample(samples[k], &input));
  }
  for (size_t k = 0; k < sizeof answers / sizeof answers[0]; k++) {
    assert_int_equal(sb_protocol_read_answer(answers[k].text, strlen(answers[k].text)), answers[k].gear);
  }
  assert_int_equal(sb_protocol_read_answer("2\0x", 3), -1);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(example_written_anew_leads_to_the_same_runs_to_the_bit),
      cmocka_unit_test(answer_that_is_no_gear_or_jumps_over_one_ends_the_run_with_its_place),
      cmocka_unit_test(commands_in_neutral_begin_the_shift_again_and_balance_the_energies),
      cmocka_unit_test(header_has_the_documented_words),
      cmocka_unit_test(widest_numbers_fit_into_their_lines),
      cmocka_unit_test(lines_that_are_none_are_refused),
  };
  return cmocka_run_group_tests_name("own_controller", tests, NULL, NULL);
}
