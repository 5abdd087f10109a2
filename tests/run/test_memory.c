// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Memory that runs out: each allocation of a call fails once, and the call must say so and leave nothing half done. The C library's own allocator stands behind; sanitizers bring theirs, so there the tests do nothing.
 */
#include <errno.h>
#include <gsl/gsl_errno.h>
#include <limits.h>
#include <malloc.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "design/search.h"
#include "help/box.h"
#include "help/models.h"
#include "help/near.h"
#include "help/plane.h"
#include "help/proof.h"
#include "scenario/document.h"
#include "shiftband/discharge.h"
#include "shiftband/inspect.h"
#include "shiftband/map.h"
#include "shiftband/scenario.h"
#include "shiftband/tune.h"
#include "theory/shift.h"
#include "theory/torque_balance.h"

#if defined(__SANITIZE_ADDRESS__) || !defined(__GLIBC__)
enum { CAN_FAIL = false };
static long left, in_use;
#else
enum { CAN_FAIL = true };

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);
void *__libc_memalign(size_t alignment, size_t size);

void __libc_free(void *old);

/* Allocations until one fails; 0: none does. Blocks that are in use. */
static long left, in_use;

static bool is_denied(void)
{
  if (left == 0 || --left > 0) return false;
  errno = ENOMEM;
  return true;
}

static void *counted(void *block)
{
  in_use += block != NULL;
  return block;
}

void *malloc(size_t size)
{
  return is_denied() ? NULL : counted(__libc_malloc(size));
}

void *calloc(size_t count, size_t size)
{
  return is_denied() ? NULL : counted(__libc_calloc(count, size));
}

void *realloc(void *old, size_t size)
{
  if (is_denied()) return NULL;
  return old == NULL ? counted(__libc_malloc(size)) : __libc_realloc(old, size);
}

/* Threads take what they share by this one. */
void *memalign(size_t alignment, size_t size)
{
  return counted(__libc_memalign(alignment, size));
}

void free(void *old)
{
  in_use -= old != NULL;
  __libc_free(old);
}
#endif

/* What is done where the allocation of that number, from 1, fails. Nothing stays in use. *has_failed: there was one. */
static enum sb_status without(long number, enum sb_status (*work)(struct sb_error *err), bool *has_failed,
                              struct sb_error *err)
{
  const long before = in_use;
  left = number;
  const enum sb_status status = work(err);
  *has_failed = left == 0;
  left = 0;
  if (in_use != before) fail_msg("allocation %ld fails: %ld blocks are not released", number, in_use - before);
  return status;
}

/* The allocation of that number fails; false: there are not so many. As many as *buffers may be missed by nobody: the C library
 * reads a file without a buffer, too. */
static bool one_failure_is_told(long number, enum sb_status (*work)(struct sb_error *err), int *buffers)
{
  bool has_failed = true;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = without(number, work, &has_failed, &err);
  if (!has_failed || (status == SB_OK && (*buffers)-- > 0)) return has_failed;
  assert_int_equal(status, SB_ERR_MEMORY);
  if (strstr(err.text, "out of memory") == NULL) fail_msg("allocation %ld fails: \"%s\"", number, err.text);
  return true;
}

/* Each of the first allocations fails once, later ones here and there, and each of the last. */
static void each_failure_is_told(enum sb_status (*work)(struct sb_error *err), long least, int buffers)
{
  enum { LAST = 10 };
  if (!CAN_FAIL) return;
  int missed = buffers;
  long number = 1;
  while (one_failure_is_told(number, work, &missed)) number += number < 100 ? 1 : 1 + number / 20;
  if (number <= least) fail_msg("only %ld allocations", number - 1);
  missed = buffers;
  for (int failed = 0; failed < LAST && number > 1;) failed += one_failure_is_told(--number, work, &missed);
}

static struct sb_model machine(void)
{
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 0.8, true);
  model.control.sensor.noise_fraction = 0.01;
  model.run.duration_s = 3.0;
  model_finish(&model);
  return model;
}

static enum sb_status run_it(struct sb_error *err)
{
  const struct sb_model model = machine();
  const struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  const enum sb_status status = sb_run(&model, &options, &result, err);
  if (status == SB_OK) sb_run_result_clear(&result);
  return status;
}

static enum sb_status map_it(struct sb_error *err)
{
  struct sb_model model = machine();
  model.control.debounce_count = 3; /* what is to be confirmed needs its readings kept */
  struct sb_map_options options = sb_map_options_default(&model);
  options.downshift = options.upshift = (struct sb_map_axis){0.4, 0.05, 12};
  struct sb_map map;
  const enum sb_status status = sb_map_exact(&model, &options, true, &map, err);
  if (status != SB_OK) return status;
  assert_true(map.cell_count > 0);
  sb_map_clear(&map);
  return SB_OK;
}

static enum sb_status discharge_it(struct sb_error *err)
{
  static const double charge[] = {0.0, 1.0}, voltage_v[] = {3.0, 13.0};
  struct sb_model model = machine();
  struct sb_discharge discharge;
  model.battery = (struct sb_battery){.is_present = true,
                                      .curve = {2, charge, voltage_v},
                                      .series_count = 1,
                                      .capacity_as = 3600.0,
                                      .charge_fraction = 1.0};
  return sb_discharge_solve(&model, &discharge, err);
}

/* Reads a scenario; without memory it may not be read at all ("Cannot allocate memory"), or the status says so. */
static enum sb_status read_scenario(const char *path, struct sb_error *err)
{
  static struct sb_scenario scenario; /* large, hence not on the stack */
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, NULL, 0, &scenario, &faults);
  if (status == SB_OK) sb_scenario_clear(&scenario);
  if (status == SB_OK) sb_faults_clear(&faults);
  if (status == SB_ERR_IO) assert_non_null(strstr(faults.texts[0], "annot allocate memory"));
  if (status != SB_OK) sb_faults_fail(err, status, &faults);
  return status == SB_ERR_IO ? sb_fail(err, SB_ERR_MEMORY, "out of memory") : status;
}

static enum sb_status load_table(struct sb_error *err)
{
  return read_scenario(SB_SOURCE_DIR "/scenarios/stop-and-go.yaml", err);
}

static enum sb_status load_points(struct sb_error *err)
{
  return read_scenario(SB_SOURCE_DIR "/scenarios/tray-cart.yaml", err);
}

static enum sb_status inspect_it(struct sb_error *err)
{
  double time_s[400], reading[400];
  for (int i = 0; i < 400; i++) {
    time_s[i] = 0.05 * i;
    reading[i] = ((i / 100) % 2 == 1 ? 80.0 : 60.0) + 0.1 * (i % 3);
  }
  const struct sb_log log = {.count = 400, .time_s = time_s, .columns = {[SB_LOG_READING] = reading}};
  const struct sb_inspect_options options = sb_inspect_options_default();
  struct sb_inspection found;
  const enum sb_status status = sb_inspect(&log, &options, &found, err);
  if (status != SB_OK) return status;
  assert_int_equal(found.shift_count, 3);
  sb_inspect_clear(&found);
  return SB_OK;
}

static void a_scenario_without_memory_says_so(void **state)
{
  (void)state;
  each_failure_is_told(load_table, 10, 2);
  each_failure_is_told(load_points, 5, 1);
}

static void a_log_without_memory_says_so(void **state)
{
  (void)state;
  each_failure_is_told(inspect_it, 5, 0);
}

static void a_run_without_memory_says_so(void **state)
{
  (void)state;
  each_failure_is_told(run_it, 1, 0);
}

static void a_map_without_memory_says_so(void **state)
{
  (void)state;
  each_failure_is_told(map_it, 100, 0);
}

static void a_discharge_without_memory_says_so(void **state)
{
  (void)state;
  each_failure_is_told(discharge_it, 1, 0);
}

/* The speeds of a slipping clutch meet at a root, which takes no memory. */
static void a_clutch_without_memory_is_timed_as_with_it(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.shifter.ops = sb_shifter_kind_find("clutch");
  model.shifter.clutch_nm = 0.3;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment load = {.resisting_nm = 0.1, .hold_nm = 0.1};
  const double exact_s = sb_theory_shift(&model, &line, 1, 0, &load, 40.0).time_s;
  assert_true(exact_s > 0.0 && isfinite(exact_s));
  const long before = in_use;
  left = CAN_FAIL ? 1 : 0;
  const double again_s = sb_theory_shift(&model, &line, 1, 0, &load, 40.0).time_s;
  left = 0;
  assert_int_equal(in_use, before);
  assert_near_rel(again_s, exact_s, 0.0);
}

static enum sb_status start_it(struct sb_error *err)
{
  const struct sb_model model = machine();
  struct sb_sim sim;
  const enum sb_status status = sb_sim_init(&sim, &model, 0, err);
  if (status == SB_OK) sb_sim_clear(&sim);
  return status;
}

static void a_simulation_without_memory_says_so_and_keeps_nothing(void **state)
{
  (void)state;
  each_failure_is_told(start_it, 1, 0);
}

/* So many tracks that what they are found by grows more than once. */
static void a_long_map_gives_back_all_that_it_took(void **state)
{
  (void)state;
  struct sb_model model = machine();
  struct sb_error err = {SB_OK, ""};
  struct sb_map map;
  model.run.duration_s = 120.0;
  struct sb_map_options options = sb_map_options_default(&model);
  options.downshift = options.upshift = (struct sb_map_axis){0.4, 0.05, 12};
  const long before = in_use;
  assert_int_equal(sb_map_exact(&model, &options, true, &map, &err), SB_OK);
  sb_map_clear(&map);
  assert_int_equal(in_use, before);
}

/* Thresholds for every load between the machine's bounds, on a lattice of a tenth. */
static enum sb_status tune_it(struct sb_error *err)
{
  struct sb_model model = proof_machine("selector", 0.95, 0.5, 0.25, 1.75);
  model_add_constant(&model, 1.0, true);
  model.run.duration_s = 2.0;
  model_finish(&model);
  const struct sb_tune_machine machines[] = {{.model = model, .is_light = true}};
  struct sb_tune_options options = sb_tune_options_default(&model);
  struct sb_tune_result result;
  options.axis = (struct sb_map_axis){0.1, 0.1, 10};
  options.dwell_s = 0.5;
  options.is_any_load = true;
  return sb_tune(machines, 1, &options, &result, err);
}

static void a_tuning_without_memory_says_so(void **state)
{
  struct sb_error err;
  (void)state;
  assert_int_equal(tune_it(&err), SB_OK); /* threads are there from now on, which a failure would end the program for */
  each_failure_is_told(tune_it, 100, 0);
}

/* A search among boxes of two stages and two speeds; all that are found are asked for. */
static enum sb_status search_it(struct sb_error *err)
{
  static struct sb_choices choices;
  static struct sb_design_answer answer;
  static struct sb_combination combination = {.is_linear = true,
                                              .stall_nm = 0.4,
                                              .friction_nm = 0.01,
                                              .limit_nm = INFINITY,
                                              .slope_nms_rad = 0.012,
                                              .mesh_efficiency = 0.9,
                                              .finish_per_ratio_s = NAN};
  choices.shelf = (struct sb_shelf){.is_present = true,
                                    .teeth_count = 4,
                                    .teeth = {12, 18, 24, 36},
                                    .stock = {INT_MAX, INT_MAX, INT_MAX, INT_MAX},
                                    .stages = {2, 2},
                                    .speeds = {2, 2},
                                    .module_m = 0.0005,
                                    .safety = 1.0};
  choices.require = (struct sb_require){.finish_s = NAN,
                                        .turns = NAN,
                                        .length_m = NAN,
                                        .charge_as = NAN,
                                        .current_a = NAN,
                                        .winding_c = NAN,
                                        .output_torque_nm = NAN};
  answer = (struct sb_design_answer){
      .choices = &choices, .combination_count = 1, .combinations = &combination, .needs = sb_needs_of(&choices)};
  const struct sb_design_request request = {.source = {.path = "a shelf"}, .jobs = 1};
  struct sb_motions motions = {.count = 0};
  const enum sb_status status = sb_search_run(&request, &answer, &motions, err);
  if (status == SB_OK) assert_true(motions.count > 10);
  sb_motions_clear(&motions);
  return status;
}

static void a_search_for_designs_without_memory_says_so(void **state)
{
  struct sb_error err;
  (void)state;
  assert_int_equal(search_it(&err),
                   SB_OK); /* threads are there from now on, which a failure would end the program for */
  each_failure_is_told(search_it, 10, 0);
}

/* A mesh is 15/30 and gets a driver of 20, for which no memory is left: it has no counts then, and a driven of 40 finds none. */
static void a_wheel_without_memory_leaves_a_mesh_that_can_be_read(void **state)
{
  (void)state;
  if (!CAN_FAIL) return;
  struct sb_arena arena = {NULL};
  static struct sb_fault_list faults;
  struct sb_document document = {.arena = &arena, .faults = &faults};
  struct sb_node mesh = {.kind = SB_NODE_VALUE, .text = "15/30"};
  struct sb_node driver = {.kind = SB_NODE_VALUE, .text = "20"}, driven = {.kind = SB_NODE_VALUE, .text = "40"};
  left = 1;
  sb_document_set(&document, &mesh, "driver", &driver);
  left = 0;
  assert_true(document.is_out_of_memory);
  assert_non_null(mesh.text);
  assert_string_equal(mesh.text, "");
  sb_document_set(&document, &mesh, "driven", &driven);
  assert_int_equal(faults.total, 1);
  sb_faults_list_clear(&faults);
  sb_arena_clear(&arena);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_scenario_without_memory_says_so),
      cmocka_unit_test(a_wheel_without_memory_leaves_a_mesh_that_can_be_read),
      cmocka_unit_test(a_log_without_memory_says_so),
      cmocka_unit_test(a_run_without_memory_says_so),
      cmocka_unit_test(a_map_without_memory_says_so),
      cmocka_unit_test(a_discharge_without_memory_says_so),
      cmocka_unit_test(a_clutch_without_memory_is_timed_as_with_it),
      cmocka_unit_test(a_simulation_without_memory_says_so_and_keeps_nothing),
      cmocka_unit_test(a_tuning_without_memory_says_so),
      cmocka_unit_test(a_search_for_designs_without_memory_says_so),
      cmocka_unit_test(a_long_map_gives_back_all_that_it_took),
  };
  return cmocka_run_group_tests(tests, plane_quiet_gsl, NULL);
}
