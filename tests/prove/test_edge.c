// SPDX-License-Identifier: GPL-3.0-or-later
/* Courses under bounds of the load: the bounds themselves and paths of bounded rate by hand, and what arrives after a shift. */
#include <math.h>
#include <string.h>

#include "help/near.h"
#include "help/proof.h"
#include "prove/edge.h"
#include "prove/edge_clutch.h"
#include "prove/edge_course.h"

/* ---- a load of bounded rate ---- */

static void expect_path(const struct sb_edge_path *path, int count, const double *time_s, const double *torque_nm)
{
  assert_int_equal(path->count, count);
  for (int k = 0; k < count; k++) {
    assert_near(path->time_s[k], time_s[k], 1e-12);
    assert_near(path->torque_nm[k], torque_nm[k], 1e-12);
  }
}

/* At 2 N.m/s from 1 to 2 N.m within 3 s: up as long as the way down is still long enough, to 4.5 N.m after 1.75 s. */
static void a_path_above_rises_until_it_must_fall(void **state)
{
  (void)state;
  const struct sb_edge_path path = sb_edge_path_above(1.0, 2.0, 10.0, 2.0, 3.0);
  expect_path(&path, 3, (const double[]){0.0, 1.75, 3.0}, (const double[]){1.0, 4.5, 2.0});
}

/* At most 3 N.m: there after 1 s, and on until 0.5 s before the end. */
static void a_path_above_keeps_to_the_greatest_load(void **state)
{
  (void)state;
  const struct sb_edge_path path = sb_edge_path_above(1.0, 2.0, 3.0, 2.0, 3.0);
  expect_path(&path, 4, (const double[]){0.0, 1.0, 2.5, 3.0}, (const double[]){1.0, 3.0, 3.0, 2.0});
}

/* What begins higher than the end can be reached from begins where it can: 2 + 2 x 0.5 N.m. Ends beyond the greatest load are that load. */
static void a_path_above_begins_where_its_end_can_be_reached(void **state)
{
  (void)state;
  const struct sb_edge_path falling = sb_edge_path_above(9.0, 2.0, 10.0, 2.0, 0.5);
  expect_path(&falling, 2, (const double[]){0.0, 0.5}, (const double[]){3.0, 2.0});
  const struct sb_edge_path free = sb_edge_path_above(1.0, INFINITY, 2.0, 2.0, 3.0);
  expect_path(&free, 3, (const double[]){0.0, 0.5, 3.0}, (const double[]){1.0, 2.0, 2.0});
}

static void a_path_below_is_the_mirror_of_one_above(void **state)
{
  (void)state;
  const struct sb_edge_path path = sb_edge_path_below(1.0, 2.0, -1.0, 2.0, 3.0);
  expect_path(&path, 4, (const double[]){0.0, 1.0, 1.5, 3.0}, (const double[]){1.0, -1.0, -1.0, 2.0});
}

static void a_path_is_linear_between_its_points_and_held_beyond(void **state)
{
  (void)state;
  const struct sb_edge_path path = {4, {0.0, 1.0, 2.5, 3.0}, {1.0, 3.0, 3.0, 2.0}};
  assert_near(sb_edge_path_at(&path, -1.0), 1.0, 0.0);
  assert_near(sb_edge_path_at(&path, 0.25), 1.5, 1e-15);
  assert_near(sb_edge_path_at(&path, 2.0), 3.0, 1e-15);
  assert_near(sb_edge_path_at(&path, 2.875), 2.25, 1e-15);
  assert_near(sb_edge_path_at(&path, 3.0), 2.0, 0.0);
  assert_near(sb_edge_path_at(&path, 7.0), 2.0, 0.0);
}

/* ---- bounds ---- */

/* The bounds take the place of all parts of their manner; of the others each counts, and each holds at rest as much as it can. */
static void the_bounds_of_a_machine_are_those_of_its_manner_and_the_parts_of_the_other(void **state)
{
  (void)state;
  struct sb_model model = proof_machine("selector", 0.95, 1.5, 0.25, 1.75);
  model_add_constant(&model, 0.4, false);
  model_add_constant(&model, 0.3, true)->breakaway_nm = 0.6;
  model_add_constant(&model, 0.2, true);
  const struct sb_edge_load resisted = sb_edge_load_of(&model);
  assert_near(resisted.acting_nm[0], 0.4, 0.0);
  assert_near(resisted.acting_nm[1], 0.4, 0.0);
  assert_near(resisted.resisting_nm[0], 0.25, 0.0);
  assert_near(resisted.resisting_nm[1], 1.75, 0.0);
  model.load.bounds = (struct sb_load_bounds){SB_BOUNDS_ACTS, -0.5, 3.0, INFINITY};
  model.load.breakaway_nm = 0.7;
  const struct sb_edge_load acted = sb_edge_load_of(&model);
  assert_near(acted.acting_nm[0], -0.5, 0.0);
  assert_near(acted.acting_nm[1], 3.0, 0.0);
  assert_near(acted.resisting_nm[0], 0.5, 1e-15);
  assert_near(acted.resisting_nm[1], 0.5, 1e-15);
  assert_near(acted.breakaway_nm, 0.6 + 0.2, 1e-15);
}

static void the_bounds_of_two_machines_hold_those_of_both(void **state)
{
  (void)state;
  struct sb_model a = proof_machine("selector", 0.95, 1.5, 0.25, 1.75), b = a;
  const struct sb_model *const ends[SB_EDGE_SIDES] = {&a, &b};
  a.load.breakaway_nm = 0.5;
  b.load.bounds = (struct sb_load_bounds){SB_BOUNDS_ACTS, -0.5, 3.0, INFINITY};
  b.load.breakaway_nm = 0.75;
  const struct sb_edge_load load = sb_edge_load_between(ends);
  assert_near(load.resisting_nm[0], 0.0, 0.0); /* of the other machine, whose load acts */
  assert_near(load.resisting_nm[1], 1.75, 0.0);
  assert_near(load.acting_nm[0], -0.5, 0.0);
  assert_near(load.acting_nm[1], 3.0, 0.0);
  assert_near(load.breakaway_nm, 0.75, 0.0);
  assert_near(sb_edge_least_nm(&load), -0.5, 0.0);
  assert_near(sb_edge_greatest_nm(&load), 4.75, 0.0);
  const struct sb_model *const swapped[SB_EDGE_SIDES] = {&b, &a};
  const struct sb_edge_load same = sb_edge_load_between(swapped);
  assert_memory_equal(&same, &load, sizeof load);
}

/* ---- arrivals ---- */

/* A machine between a tired one and a quick one, by the share of the way; the motor's supply is what differs. */
static struct sb_model machine_of(double share)
{
  struct sb_model model = proof_machine("swing arm", 0.95, 0.3, 0.25, 1.75);
  model.supply.open_circuit_voltage_v *= 0.85 + 0.15 * share;
  model_finish(&model);
  return model;
}

/* Where one machine is at a sample after the shift from a speed, under a constant load of its own, is among all that arrive then. */
static double expect_arrived(const struct sb_edge_arrivals *arrivals, double share, double load_nm, double speed_rad_s,
                             int dwell)
{
  struct sb_model model = machine_of(share);
  struct sb_edges edges;
  struct sb_error err;
  model.load.bounds.least_nm = model.load.bounds.greatest_nm = load_nm;
  assert_int_equal(sb_edge_init(&edges, &model, &err), SB_OK);
  const struct sb_corner from = sb_edge_corner(&edges, 0, speed_rad_s);
  const struct sb_edge_passage passage = sb_edge_pass(&edges, SB_EDGE_SLOW, 0, 1, &from, dwell);
  const double arrived_rad_s = passage.corner.motor_rad_s;
  bool is_found = false;
  assert_int_equal(sb_edge_first_sample(&edges, passage.engaged_s, dwell), dwell);
  for (int k = 0; k < arrivals->count; k++) {
    const struct sb_span *span = &arrivals->items[k].span;
    is_found = is_found || (arrivals->items[k].sample == dwell && span->low.motor_rad_s <= arrived_rad_s + 1e-9 &&
                            span->high.motor_rad_s >= arrived_rad_s - 1e-9);
  }
  if (!is_found) fail_msg("share %g, %g N.m, from %g rad/s: %.9g rad/s", share, load_nm, speed_rad_s, arrived_rad_s);
  assert_true(passage.engaged_s >= arrivals->least_engaged_s - 1e-9);
  assert_true(passage.engaged_s <= arrivals->greatest_engaged_s + 1e-9);
  sb_edge_clear(&edges);
  return arrived_rad_s;
}

/* And they are all of them, or nearly: any motor is taken with any output that can be there at the same time. */
static void all_machines_between_two_are_among_what_arrives(void **state)
{
  (void)state;
  static const int dwell = 6;             /* 0.12 s: just engaged */
  static const double slack_rad_s = 0.05; /* measured 0.017 */
  const struct sb_model ends[SB_EDGE_SIDES] = {machine_of(0.0), machine_of(1.0)};
  const struct sb_model *const both[SB_EDGE_SIDES] = {&ends[0], &ends[1]};
  struct sb_edges edges;
  struct sb_edge_arrivals arrivals = {.least_engaged_s = INFINITY, .greatest_engaged_s = -INFINITY};
  struct sb_error err;
  assert_int_equal(sb_edge_init_between(&edges, &ends[1], both, &err), SB_OK);
  const double low = 0.80 * proof_w0, high = 0.82 * proof_w0;
  const struct sb_span from = {sb_edge_corner(&edges, 0, low), sb_edge_corner(&edges, 0, high), false, false};
  sb_edge_arrive(&edges, 0, 1, &from, dwell, &arrivals);
  assert_int_equal(edges.status, SB_OK);
  assert_true(arrivals.count > 0);
  double least = INFINITY, most = -INFINITY;
  for (int k = 0; k < 27; k++) {
    const double share = 0.5 * (k / 9), load_nm = 0.25 + 0.75 * (k / 3 % 3), speed = low + (high - low) * 0.5 * (k % 3);
    const double arrived_rad_s = expect_arrived(&arrivals, share, load_nm, speed, dwell);
    least = fmin(least, arrived_rad_s);
    most = fmax(most, arrived_rad_s);
  }
  for (int k = 0; k < arrivals.count; k++) {
    const struct sb_span *span = &arrivals.items[k].span;
    assert_true(span->low.motor_rad_s > least - slack_rad_s && span->high.motor_rad_s < most + slack_rad_s);
  }
  sb_edge_clear(&edges);
}

/* ---- a clutch ---- */

/* What joined sides deliver at both ends of their speeds counts: the most torque at the lower end under the heaviest load, where
 * (Jm + Jo / (N^2 e)) x' = T - L / (N e) and the output gets L + Jo x' / N; the most speed at the upper end. The clutch bears it. */
static void joined_sides_count_with_both_ends_of_their_speeds(void **state)
{
  (void)state;
  const struct sb_model model = proof_machine("clutch", 0.95, 0.3, 0.25, 1.75);
  const struct sb_model *const ends[SB_EDGE_SIDES] = {&model, &model};
  const struct sb_edge_joined joined = {5.0, 20.0};
  struct sb_span span = {.is_leading = false};
  struct sb_edges edges;
  struct sb_error err;
  assert_int_equal(sb_edge_init_between(&edges, &model, ends, &err), SB_OK);
  sb_edge_mark_slips(&edges, 0, &joined, &span);
  const double n = 10.0, e = 0.95 * 0.95 * 0.95, load_nm = 1.75, motor_nm = proof_stall * (1.0 - 5.0 / proof_w0);
  const double rate = (motor_nm - load_nm / (n * e)) / (proof_rotor + proof_output / (n * n * e));
  assert_false(span.is_leading || span.is_lagging);
  assert_near(edges.extremes.torque_nm, load_nm + proof_output * rate / n, 1e-9);
  assert_near(edges.extremes.motor_rad_s, 20.0, 1e-12);
  sb_edge_clear(&edges);
}

/* Sides 25 and 20 rad/s apart, of which 0.8 N.m takes less within 1 ms: at most 0.9 + 0.8 N.m on the rotor, 5.5 rad/s, and 12 rad/s at the output.
 * They still slip the same way after it, whatever the span said before. */
static void sides_that_slip_through_a_sample_are_marked(void **state)
{
  (void)state;
  struct sb_model model = proof_machine("clutch", 0.95, 0.3, 0.25, 1.75);
  const struct sb_span slower = {{5.0, 3.0, 0.0}, {5.0, 3.0, 0.0}, false, false};
  const struct sb_span faster = {{30.0, 1.0, 0.0}, {30.0, 1.0, 0.0}, false, false};
  struct sb_edges edges;
  struct sb_error err;
  model.control.sample_period_s = 0.001;
  model_finish(&model);
  assert_int_equal(sb_edge_init(&edges, &model, &err), SB_OK);
  const struct sb_span lagging = sb_edge_sample(&edges, 0, &slower);
  assert_true(lagging.is_lagging && !lagging.is_leading);
  assert_true(lagging.high.motor_rad_s < 10.0 * lagging.low.output_rad_s);
  const struct sb_span leading = sb_edge_sample(&edges, 0, &faster);
  assert_true(leading.is_leading && !leading.is_lagging);
  assert_true(leading.low.motor_rad_s > 10.0 * leading.high.output_rad_s);
  sb_edge_clear(&edges);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_path_above_rises_until_it_must_fall),
      cmocka_unit_test(a_path_above_keeps_to_the_greatest_load),
      cmocka_unit_test(a_path_above_begins_where_its_end_can_be_reached),
      cmocka_unit_test(a_path_below_is_the_mirror_of_one_above),
      cmocka_unit_test(a_path_is_linear_between_its_points_and_held_beyond),
      cmocka_unit_test(the_bounds_of_a_machine_are_those_of_its_manner_and_the_parts_of_the_other),
      cmocka_unit_test(the_bounds_of_two_machines_hold_those_of_both),
      cmocka_unit_test(all_machines_between_two_are_among_what_arrives),
      cmocka_unit_test(joined_sides_count_with_both_ends_of_their_speeds),
      cmocka_unit_test(sides_that_slip_through_a_sample_are_marked),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
