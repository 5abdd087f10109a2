// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Memory that runs out: each allocation of a run and of a map fails once, and the call must say so and leave nothing half
 * done. The C library's own allocator stands behind; sanitizers bring theirs, so there the tests do nothing.
 */
#include <gsl/gsl_errno.h>
#include <stdlib.h>
#include <string.h>

#include "help/box.h"
#include "help/models.h"
#include "help/near.h"
#include "help/plane.h"
#include "shiftband/map.h"
#include "theory/shift.h"
#include "theory/torque_balance.h"

#if defined(__SANITIZE_ADDRESS__) || !defined(__GLIBC__)
enum { CAN_FAIL = false };
static long left;
#else
enum { CAN_FAIL = true };

void *__libc_malloc(size_t size);
void *__libc_calloc(size_t count, size_t size);
void *__libc_realloc(void *old, size_t size);

/* Allocations that still succeed; -1: all of them. */
static long left = -1;

static bool is_denied(void)
{
  if (left > 0) left--;
  return left == 0;
}

void *malloc(size_t size)
{
  return is_denied() ? NULL : __libc_malloc(size);
}

void *calloc(size_t count, size_t size)
{
  return is_denied() ? NULL : __libc_calloc(count, size);
}

void *realloc(void *old, size_t size)
{
  return is_denied() ? NULL : __libc_realloc(old, size);
}
#endif

/* What is done with `count` allocations and no more. */
static enum sb_status with_memory_for(long count, enum sb_status (*work)(struct sb_error *err), struct sb_error *err)
{
  left = count + 1;
  const enum sb_status status = work(err);
  left = -1;
  return status;
}

/* Every allocation of the first ones fails, and later ones here and there, until there is enough for all. */
static void fails_until_there_is_enough(enum sb_status (*work)(struct sb_error *err), long least)
{
  if (!CAN_FAIL) return;
  long count = 0;
  for (;; count += count < 100 ? 1 : 1 + count / 20) {
    struct sb_error err = {SB_OK, ""};
    const enum sb_status status = with_memory_for(count, work, &err);
    if (status == SB_OK) break;
    assert_int_equal(status, SB_ERR_MEMORY);
    if (strstr(err.text, "out of memory") == NULL) fail_msg("after %ld allocations: \"%s\"", count, err.text);
  }
  assert_true(count > least);
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
  const struct sb_model model = machine();
  struct sb_map_options options = sb_map_options_default(&model);
  options.downshift = options.upshift = (struct sb_map_axis){0.4, 0.05, 12};
  struct sb_map map;
  const enum sb_status status = sb_map_exact(&model, &options, true, &map, err);
  if (status != SB_OK) return status;
  assert_true(map.cell_count > 0);
  sb_map_clear(&map);
  return SB_OK;
}

static void a_run_without_memory_says_so(void **state)
{
  (void)state;
  fails_until_there_is_enough(run_it, 1);
}

static void a_map_without_memory_says_so(void **state)
{
  (void)state;
  fails_until_there_is_enough(map_it, 100);
}

/* The speeds of a slipping clutch meet: without a solver within the bracket, an eighth of the time wide. */
static void a_clutch_without_memory_is_timed_to_the_bracket(void **state)
{
  (void)state;
  struct sb_model model = box_cart();
  model.shifter.ops = sb_shifter_kind_find("clutch");
  model.shifter.clutch_nm = 0.3;
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment load = {.resisting_nm = 0.1, .hold_nm = 0.1};
  const double exact_s = sb_theory_shift(&model, &line, 1, 0, &load, 40.0).time_s;
  assert_true(exact_s > 0.0 && isfinite(exact_s));
  left = CAN_FAIL ? 1 : -1;
  const double rough_s = sb_theory_shift(&model, &line, 1, 0, &load, 40.0).time_s;
  left = -1;
  assert_near_rel(rough_s, exact_s, 0.0625);
  if (CAN_FAIL) assert_true(rough_s != exact_s);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_run_without_memory_says_so),
      cmocka_unit_test(a_map_without_memory_says_so),
      cmocka_unit_test(a_clutch_without_memory_is_timed_to_the_bracket),
  };
  return cmocka_run_group_tests(tests, plane_quiet_gsl, NULL);
}
