// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Random shelves of at most 200 machines: what the search answers is what tuning and running every single machine answers, and one more
 * wheel makes neither this front nor that of runs worse. SB_DESIGN_SHELVES sets how many shelves are drawn (3).
 */
#include <limits.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "design/design.h"
#include "design/front.h"
#include "design/machine.h"
#include "design/stage.h"
#include "help/dice.h"
#include "help/near.h"
#include "help/slow.h"

enum { WHEELS = 4, MACHINE_MAX = 200, MACHINES = 4000 };

static char path[] = "/tmp/shiftband-design-XXXXXX";

struct shelf {
  int teeth[WHEELS + 1], stages;
  double torque_nm, carry_nm;
};

static bool has(const struct shelf *shelf, int count, int teeth)
{
  for (int k = 0; k < count; k++) {
    if (shelf->teeth[k] == teeth) return true;
  }
  return false;
}

static struct shelf draw(gsl_rng *dice)
{
  struct shelf shelf = {.stages = 2};
  for (int k = 0; k < WHEELS + 1;) {
    const int teeth = 12 + 2 * (int)gsl_rng_uniform_int(dice, 15);
    if (!has(&shelf, k, teeth)) shelf.teeth[k++] = teeth;
  }
  shelf.torque_nm = 0.4 + 0.6 * gsl_rng_uniform(dice);
  shelf.carry_nm = shelf.torque_nm * (1.0 + 0.5 * gsl_rng_uniform(dice));
  return shelf;
}

static void write_shelf(const struct shelf *shelf, int wheels)
{
  FILE *out = fopen(path, "w");
  assert_non_null(out);
  fprintf(
      out,
      "motor: {nominal_voltage: 12 V, no_load_speed: 310 rpm, stall_torque: 0.42 N.m, stall_current: 2.6 A, "
      "no_load_current: 0.14 A, rotor_inertia: 2.1e-4 kg.m2}\n"
      "gearbox: {mesh_efficiency: 0.95, shifter: {kind: selector, travel_time: 60 ms}}\n"
      "load:\n  inertia: 0.004 kg.m2\n  parts:\n"
      "    - {kind: profile, manner: resists, points: [[0 s, 0.1 N.m], [2 s, 0.1 N.m], [2.5 s, %.3f N.m], "
      "[4 s, %.3f N.m], [4.5 s, 0.1 N.m]]}\n"
      "controller: {sample_period: 20 ms, start_delay: 300 ms, resolution: 1 %%}\n"
      "run: {duration: 7 s}\n"
      "choices:\n  supply.open_circuit_voltage: [10 V, 12 V]\n  wheels: {module: 0.5 mm, stages: %d, speeds: 2, stock: 3, teeth: [",
      shelf->torque_nm, shelf->torque_nm, shelf->stages);
  for (int k = 0; k < wheels; k++) fprintf(out, "%s%d", k > 0 ? ", " : "", shelf->teeth[k]);
  fprintf(out, "]}\nrequire: {carry: [{load: %.3f N.m, minimum: 5 rpm}], finish: 60 s, turns: 10}\n", shelf->carry_nm);
  assert_int_equal(fclose(out), 0);
}

static struct sb_design_request request_of(void)
{
  return (struct sb_design_request){
      .source = {.path = path}, .run_most = 100000, .tune_most = 100000, .design_most = 100000, .jobs = 0};
}

static void search(struct sb_design_answer *answer)
{
  const struct sb_design_request request = request_of();
  struct sb_faults faults;
  struct sb_error err = {SB_OK, ""};
  const enum sb_status status = sb_design_search(&request, answer, &faults, &err);
  if (status != SB_OK) fail_msg("%s %s", err.text, faults.count > 0 ? faults.texts[0] : "");
  sb_faults_clear(&faults);
}

/* ---- every single machine ---- */

struct machines {
  const struct sb_shelf *shelf;
  int count, combinations;
  struct sb_candidate items[MACHINES];
};

static bool take_box(void *context, const struct sb_box *box)
{
  struct machines *machines = context;
  for (int k = 0; k < machines->combinations; k++) {
    struct sb_candidate candidate = {.combination = k, .box = *box};
    for (int s = 0; s < box->speeds; s++) candidate.ratios[s] = sb_box_ratio(box, s);
    candidate.tooth = sb_box_tooth_load_per_nm(box, machines->shelf, 0.95);
    if (!sb_box_is_in_stock(box, machines->shelf)) continue;
    assert_in_range(machines->count, 0, MACHINES - 1);
    machines->items[machines->count++] = candidate;
  }
  return true;
}

static bool meets(const struct sb_needs *needs, const struct sb_design_record *record)
{
  for (int k = 0; k < needs->count; k++) {
    if (!sb_needs_is_met(&needs->items[k], record->values[k])) return false;
  }
  return true;
}

/* Works on all machines, and leaves the front of those that meet the needs. */
static long work(const struct sb_stage *stage, struct sb_candidate *items, long count, enum sb_fate fate,
                 struct sb_worth *worths)
{
  struct sb_design_record *record = calloc(1, sizeof *record);
  bool *is_front = calloc((size_t)count + 1, sizeof *is_front);
  struct sb_error err;
  long met = 0, left = 0;
  if (record == NULL || is_front == NULL) abort();
  for (long k = 0; k < count; k++) {
    memset(record, 0, sizeof *record);
    assert_int_equal(stage->work(stage, &items[k], record, &err), SB_OK);
    if (record->fate != fate || !meets(&stage->answer->needs, record)) continue;
    worths[met] = sb_front_worth(&record->figures);
    items[met++] = items[k];
  }
  sb_front_mark(worths, met, is_front);
  for (long k = 0; k < met; k++) {
    if (!is_front[k]) continue;
    worths[left] = worths[k];
    items[left++] = items[k];
  }
  free(record);
  free(is_front);
  return left;
}

static void list_machines(const struct sb_design_answer *answer, struct machines *machines)
{
  struct sb_box_plan *plan = sb_boxes_plan(&answer->choices->shelf, true, false);
  *machines = (struct machines){.shelf = &answer->choices->shelf, .combinations = answer->combination_count};
  for (long k = 0; k < sb_boxes_slice_count(plan); k++) {
    const struct sb_box_slice slice = sb_boxes_slice(plan, k);
    sb_boxes_visit(plan, &slice, take_box, machines);
  }
  sb_boxes_free(plan);
}

static long exhaust(const struct sb_design_answer *answer, struct sb_worth *worths)
{
  static struct machines machines;
  const struct sb_design_request request = request_of();
  list_machines(answer, &machines);
  const struct sb_stage stage = {&request,       answer, SB_DESIGN_TUNES, machines.items,
                                 machines.count, NULL,   sb_stage_tune};
  return work(&stage, machines.items, machines.count, SB_FATE_TUNED, worths);
}

static bool is_same(const struct sb_worth *one, const struct sb_worth *other)
{
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    const double a = one->values[k], b = other->values[k];
    if (isnan(a) != isnan(b) || fabs(a - b) > 1e-7 * fabs(b)) return false;
  }
  return true;
}

static bool is_among(const struct sb_worth *one, const struct sb_worth *others, long count)
{
  for (long k = 0; k < count; k++) {
    if (is_same(one, &others[k])) return true;
  }
  return false;
}

static int shelf_count(void)
{
  const char *wished = getenv("SB_DESIGN_SHELVES");
  return wished != NULL ? atoi(wished) : IS_SLOW ? 1 : 2;
}

/* Tunes and runs without bounds, without dropping machines that move in the same way, without threads. */
static void the_answer_is_that_of_tuning_and_running_every_machine(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  static struct sb_worth all[MACHINES], own[MACHINES];
  gsl_rng *dice = dice_of(20261);
  int compared = 0;
  for (int tries = 0; compared < shelf_count() && tries < 1000; tries++) {
    const struct shelf shelf = draw(dice);
    struct sb_design_answer answer;
    write_shelf(&shelf, WHEELS);
    search(&answer);
    const bool is_fit = answer.machine_count <= MACHINE_MAX && answer.design_count > 1;
    if (is_fit) {
      for (int k = 0; k < answer.design_count; k++) own[k] = sb_front_worth(&answer.designs[k].figures);
      const long count = exhaust(&answer, all);
      assert_int_equal(answer.design_count, count);
      for (int k = 0; k < answer.design_count; k++) assert_true(is_among(&own[k], all, count));
      for (long k = 0; k < count; k++) assert_true(is_among(&all[k], own, answer.design_count));
      compared++;
    }
    sb_design_clear(&answer);
  }
  assert_int_equal(compared, shelf_count());
  gsl_rng_free(dice);
}

static bool is_no_worse(const struct sb_worth *one, const struct sb_worth *than)
{
  for (int k = 0; k < SB_AIM_COUNT; k++) {
    if (one->values[k] > than->values[k] + 1e-7 * fabs(than->values[k])) return false;
  }
  return true;
}

/* The front of the runs of every machine of a shelf. */
static long run_front(int wheels, const struct shelf *shelf, struct sb_worth *worths)
{
  struct sb_design_request request = request_of();
  struct sb_design_answer answer;
  struct sb_faults faults;
  struct sb_error err;
  write_shelf(shelf, wheels);
  request.run_most = request.tune_most = 1;
  assert_int_equal(sb_design_search(&request, &answer, &faults, &err), SB_OK);
  sb_faults_clear(&faults);
  static struct machines machines;
  list_machines(&answer, &machines);
  const struct sb_stage stage = {&request, &answer, SB_DESIGN_RUNS, machines.items, machines.count, NULL, sb_stage_try};
  const long count = work(&stage, machines.items, machines.count, SB_FATE_RUN, worths);
  sb_design_clear(&answer);
  return count;
}

/* Each machine on the front of the smaller shelf's runs is matched in everything by one on that of the greater shelf. */
static void one_more_wheel_makes_no_front_of_runs_worse(void **state)
{
  (void)state;
  static struct sb_worth few[MACHINES], more[MACHINES];
  gsl_rng *dice = dice_of(20262);
  for (int compared = 0; compared < shelf_count();) {
    const struct shelf shelf = draw(dice);
    const long few_count = run_front(WHEELS, &shelf, few), more_count = run_front(WHEELS + 1, &shelf, more);
    for (long k = 0; k < few_count; k++) {
      bool is_matched = false;
      for (long j = 0; j < more_count && !is_matched; j++) is_matched = is_no_worse(&more[j], &few[k]);
      assert_true(is_matched);
    }
    compared += few_count > 1;
  }
  gsl_rng_free(dice);
}

/* All designs of a shelf; returns their number. */
static long all_designs(int wheels, const struct shelf *shelf, struct sb_worth *worths)
{
  struct sb_design_answer answer;
  write_shelf(shelf, wheels);
  search(&answer);
  const long count = answer.design_count;
  for (long k = 0; k < count; k++) worths[k] = sb_front_worth(&answer.designs[k].figures);
  assert_int_equal(answer.unshown_count + answer.untuned_count + answer.beaten_count, 0);
  sb_design_clear(&answer);
  return count;
}

/* Each design of the smaller shelf is matched in everything by one of the greater shelf, or is there itself. */
static void one_more_wheel_makes_no_front_worse(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  static struct sb_worth few[MACHINES], more[MACHINES];
  gsl_rng *dice = dice_of(20263);
  for (int compared = 0; compared < shelf_count();) {
    const struct shelf shelf = draw(dice);
    const long few_count = all_designs(WHEELS - 1, &shelf, few);
    if (few_count < 2) continue;
    const long more_count = all_designs(WHEELS, &shelf, more);
    for (long k = 0; k < few_count; k++) {
      bool is_matched = false;
      for (long j = 0; j < more_count && !is_matched; j++) is_matched = is_no_worse(&more[j], &few[k]);
      assert_true(is_matched);
    }
    compared++;
  }
  gsl_rng_free(dice);
}

static int make_file(void **state)
{
  (void)state;
  const int handle = mkstemp(path);
  return handle >= 0 ? close(handle) : -1;
}

static int remove_file(void **state)
{
  (void)state;
  return unlink(path);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(the_answer_is_that_of_tuning_and_running_every_machine),
      cmocka_unit_test(one_more_wheel_makes_no_front_of_runs_worse),
      cmocka_unit_test(one_more_wheel_makes_no_front_worse),
  };
  return cmocka_run_group_tests_name("design", tests, make_file, remove_file);
}
