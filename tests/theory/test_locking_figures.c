// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Screws and worms of the literature as gears that lock themselves: raising a load, lowering it, and whether it comes down by
 * itself. A screw of lead l, mean diameter d and friction mu under a force F is a gear under F l / (2 pi), with
 *
 *   eta = tan(la) / tan(la + ph),   eta_back = tan(la - ph) / tan(la),   tan(la) = l / (pi d),  tan(ph) = mu
 *
 * and a worm of lead angle la and pressure angle al one with
 *
 *   eta = (cos al - mu tan la) / (cos al + mu cot la),   eta_back = (cos al - mu cot la) / (cos al + mu tan la)
 *
 * Sources beside the rows; K. G. = R. S. Khurmi, J. K. Gupta, Theory of Machines, chapter 10.
 */
#include "help/box.h"
#include "help/near.h"
#include "shiftband/closed_form.h"
#include "theory/shift.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const double pi = 3.14159265358979323846;
static const double digits = 1e-5; /* relative: half a unit of the shortest row, 61.087 N */

/* A gear of such a pair, 1:1,. */
static struct sb_model gear_of(double ratio, double efficiency, double back_efficiency, double drag_nm)
{
  struct sb_model model = box_line(100.0, 1e4, 1e-3, 1e-3);
  box_add_gear(&model, ratio, efficiency);
  model.gearbox.gears[0].back_efficiency = back_efficiency;
  model.gearbox.gears[0].drag_nm = drag_nm;
  sb_gearbox_derive(&model.gearbox);
  return model;
}

struct screw {
  double lead, diameter, friction, force, collar; /* collar: its friction torque */
  double efficiency, raise, lower;                /* published, or calculated from the published figures */
};

static double raising(const struct screw *s)
{
  const double la = atan(s->lead / (pi * s->diameter)), ph = atan(s->friction);
  return tan(la) / tan(la + ph);
}

static double back(const struct screw *s)
{
  const double la = atan(s->lead / (pi * s->diameter)), ph = atan(s->friction);
  return tan(la - ph) / tan(la);
}

static void screws_of_the_literature_take_their_torques_to_raise_and_to_lower(void **state)
{
  (void)state;
  static const struct screw screws[] = {
      /* K. G., example 10.9: 154.087 N and 61.087 N at 0.7 m */
      {0.010, 0.050, 0.15, 20e3, 0.0, 0.295111, 154.087 * 0.7, 61.087 * 0.7},
      /* K. G., example 10.10 */
      {0.0125, 0.050, 0.13, 25e3, 0.0, 0.3757763, 132.35514, 31.19140},
      /* K. G., example 10.11: 7711.84 J over 170 mm; with its collar 10702.64 J */
      {0.010, 0.050, 0.08, 20e3, 0.0, 0.4408804, 7711.84 * 0.010 / (2.0 * 3.14159265358979 * 0.170), NAN},
      {0.010, 0.050, 0.08, 20e3, 20e3 * 0.08 * 0.0175, 0.4408804, 10702.64 * 0.010 / (2.0 * 3.14159265358979 * 0.170),
       NAN},
      /* T. H. Wentzell, Machine Design, examples 18.1 and 18.2, inches and pounds */
      {1.0 / 3.0, 1.354, 0.15, 2900.0, 0.0, 0.3391171, 453.6775, 139.0112},
      /* Adaptive Map, Screw Threads, problem 2, inches and pounds */
      {0.5, 2.0, 0.2, 1e4, 0.0, NAN, 2840.990, NAN},
      /* J. E. Shigley, Mechanical Engineering Design, example 8-1: the collar holds what the thread would let down */
      {0.008, 0.030, 0.08, 6.4e3, 6.4e3 * 0.08 * 0.020, NAN, 26.176955, 9.774428},
  };
  for (size_t i = 0; i < sizeof screws / sizeof *screws; i++) {
    const struct screw *s = &screws[i];
    const double load = s->force * s->lead / (2.0 * pi);
    const struct sb_model model = gear_of(1.0, raising(s), back(s), s->collar);
    if (!isnan(s->efficiency)) assert_near_rel(raising(s), s->efficiency, digits);
    assert_near_rel(sb_torque_balance_motor_nm(&model, 0, load, 0.0), s->raise, digits);
    if (!isnan(s->lower)) assert_near_rel(sb_torque_balance_motor_nm(&model, 0, -load, 0.0), s->lower, digits);
  }
  /* Example 10.10: raising takes 4.243321 times what lowering takes; example 8-1's thread alone comes down. */
  assert_near_rel(-1.0 / (raising(&screws[1]) * back(&screws[1])), 4.243321, digits);
  assert_near(back(&screws[1]), -0.6271, 5e-5);
  assert_near_rel(back(&screws[6]) * 6.4e3 * 0.008 / (2.0 * pi), 0.4655716, digits);
}

/* No screw that locks is better than tan(ph) / tan(2 ph), below 50 % (the same, problem 3). */
static void a_screw_on_the_edge_of_locking_is_below_one_half(void **state)
{
  (void)state;
  const struct screw flat = {pi * tan(pi / 90.0), 1.0, tan(pi / 90.0), 1.0, 0.0, 0.0, 0.0, 0.0};
  const struct screw steep = {pi * tan(pi / 18.0), 1.0, tan(pi / 18.0), 1.0, 0.0, 0.0, 0.0, 0.0};
  assert_near(raising(&flat), 0.499390, 5e-7);
  assert_near(raising(&steep), 0.484454, 5e-7);
  assert_near(back(&flat), 0.0, 1e-14);
}

static void worms_of_the_literature_lock_where_their_friction_says_so(void **state)
{
  (void)state;
  static const struct {
    double starts, q, friction, efficiency, back;
  } worms[] = {
      {2, 8, 0.032, 0.8726225, 0.8564936},  /* U. C. Jindal, Machine Design, example 28-4: 1.047147 kW of 1.2 kW */
      {2, 10, 0.028, 0.8651468, 0.8459736}, /* example 28-5 */
      {1, 10, 0.08, 0.5355501, 0.1474029},  /* the lock appears between these two */
      {1, 10, 0.10, 0.4792989, -0.0635020},
  };
  const double cosine = cos(pi / 9.0);
  for (size_t i = 0; i < sizeof worms / sizeof *worms; i++) {
    const double tangent = worms[i].starts / worms[i].q, mu = worms[i].friction;
    const double eta = (cosine - mu * tangent) / (cosine + mu / tangent);
    const double eta_back = (cosine - mu / tangent) / (cosine + mu * tangent);
    assert_near_rel(eta, worms[i].efficiency, digits);
    assert_near_rel(eta_back, worms[i].back, digits);
    const struct sb_model model = gear_of(20.0, eta, eta_back, 0.0);
    assert_near_rel(sb_torque_balance_output_nm(&model, 0, 1.2, 0.0) / 20.0, 1.2 * worms[i].efficiency, digits);
    const double lowering = sb_torque_balance_motor_nm(&model, 0, -100.0, 0.0);
    assert_near_rel(lowering, -5.0 * worms[i].back, digits); /* > 0: the motor must turn with it */
    /* 2 - 1 / eta is a little below the exact figure. */
    const double automatic = gear_of(20.0, eta, SB_BACK_EFFICIENCY_AUTO, 0.0).gearbox.gears[0].back_efficiency;
    assert_true(automatic < eta_back && automatic > eta_back - 0.03);
  }
}

/* Steady states ----------------------------------------------------------------------------------------------------------- */

/* At a reading d the motor gives Ts (1 - d) = 0.4 N.m: against a load of N eta 0.4 N.m, or with one of -N 0.4 / |eta_back|. */
static void a_load_that_helps_takes_the_reading_down_like_one_that_opposes(void **state)
{
  (void)state;
  struct sb_model model = box_line(100.0, 1.0, 1e-3, 1e-3);
  box_add_gear(&model, 40.0, 0.4);
  box_add_gear(&model, 20.0, 0.45);
  model.gearbox.gears[0].back_efficiency = -0.5;
  model.gearbox.gears[1].back_efficiency = -0.25;
  box_add_constant(&model, -30.0, false);
  const struct sb_motor_line line = sb_torque_balance_line(&model);
  assert_near_rel(sb_steady_load_nm(&model, &line, 0, 0.6), 40.0 * 0.4 * 0.4, 1e-14);
  assert_near_rel(sb_steady_helping_nm(&model, &line, 0, 0.6), -40.0 * 0.4 / 0.5, 1e-14);
  assert_near_rel(sb_steady_reading(&model, &line, 0, -40.0 * 0.4 / 0.5), 0.6, 1e-14);
  assert_near_rel(sb_steady_reading(&model, &line, 1, -20.0 * 0.4 / 0.25), 0.6, 1e-14);
  assert_near(sb_steady_reading(&model, &line, 0, -40.0 / 0.5), 0.0, 0.0); /* from here on it stays locked */
  assert_near(sb_steady_reading(&model, &line, 0, -90.0), 0.0, 0.0);
  assert_true(sb_steady_load_nm(&model, &line, 0, 1.1) == -(double)INFINITY); /* no load takes it above no load */
  /* A load that follows the speed takes the help back: 0.4 = |eta_back| (40 - b W) / N at W = 1.5 rad/s. */
  model.load.part_count = 0;
  box_add_viscous(&model, (40.0 - 32.0) / 1.5);
  assert_near_rel(sb_steady_reading(&model, &line, 0, -40.0), 0.6, 1e-14);
}

/* T. H. Wentzell, Machine Design, example 13.6: a worm gear of 60:1, lead angle 4.77 degrees, mu 0.03: 73 %, so that 180 lbf in become
 * 7884. It does not lock: backwards it has 63.9 %. */
static void a_worm_of_73_percent_does_not_lock(void **state)
{
  (void)state;
  const struct screw worm = {.lead = pi * tan(4.77 * pi / 180.0), .diameter = 1.0, .friction = 0.03};
  const double efficiency = raising(&worm), backwards = back(&worm);
  assert_near_rel(efficiency, 0.7337135, digits);
  assert_near_rel(backwards, 0.6388827, digits);
  const struct sb_model model = gear_of(60.0, 0.73, backwards, 0.0);
  assert_near_rel(sb_torque_balance_output_nm(&model, 0, 180.0, 0.0), 7884.0, digits);
  assert_false(sb_gearbox_has_locking(&model.gearbox));
  assert_true(sb_torque_balance_motor_nm(&model, 0, -7884.0, 0.0) < 0.0); /* the load turns the motor */
}

/* Example 10.9 of K. G. again: the torque to lower is told where the screw locks and a load hangs on it, and nowhere else. */
static void only_a_load_that_hangs_on_a_lock_takes_torque_to_lower(void **state)
{
  (void)state;
  const struct screw jack = {.lead = 0.010, .diameter = 0.050, .friction = 0.15, .force = 20e3};
  const double load_nm = jack.force * jack.lead / (2.0 * pi);
  for (int is_resisting = 0; is_resisting < 2; is_resisting++) {
    for (int is_locking = 0; is_locking < 2; is_locking++) {
      struct sb_model model = gear_of(1.0, raising(&jack), is_locking ? back(&jack) : 0.5, 0.0);
      box_add_constant(&model, load_nm, is_resisting);
      const double lowering_nm = sb_closed_form_solve(&model).gears[0].lowering_torque_nm;
      if (is_locking && !is_resisting)
        assert_near_rel(lowering_nm, 61.087 * 0.7, digits);
      else
        assert_true(isnan(lowering_nm));
    }
  }
  /* Friction at the output holds a quarter of the load: the rest hangs on the screw, and the torque is in proportion to it. */
  struct sb_model model = gear_of(1.0, raising(&jack), back(&jack), 0.0);
  box_add_constant(&model, -load_nm, false);
  box_add_constant(&model, 0.25 * load_nm, true);
  assert_near_rel(sb_closed_form_solve(&model).gears[0].lowering_torque_nm, 0.75 * 61.087 * 0.7, digits);
}

/* A screw with a collar lowers its load by |eta_back| TL / N, and what the collar takes on top: a motor that gives a little less at
 * stall leaves it where it is, be the load so heavy that it would be driven at first or so light that it would not. */
static void a_screw_is_lowered_by_what_its_thread_and_its_collar_take(void **state)
{
  (void)state;
  for (int i = 0; i < 4; i++) {
    const bool is_stronger = i % 2 == 1;
    struct sb_model model = gear_of(2.0, 0.4, -0.5, 0.3);
    model.load.inertia_kg_m2 = i < 2 ? 1e-3 : 1.0;
    box_add_constant(&model, -8.0, false);
    model.motor.stall_torque_nm = (0.5 * 8.0 / 2.0 + 0.3) * (is_stronger ? 1.01 : 0.99);
    const struct sb_motor_line line = sb_torque_balance_line(&model);
    const struct sb_load_moment load = {.acting_nm = -8.0};
    assert_true(isfinite(sb_theory_climb_s(&model, &line, 0, &load, 0.0, 0.5)) == is_stronger);
  }
}

/* A small screw below a heavy load: of 0.5 N.m that pull, half is what the motor must bring to let them down: 0.25 N.m. */
static void a_small_load_hangs_on_a_lock_like_a_great_one(void **state)
{
  (void)state;
  struct sb_model model = gear_of(1.0, 0.4, -0.5, 0.0);
  model.load.inertia_kg_m2 = 1.0;
  struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment pull = {.acting_nm = -0.5};
  line.friction_nm = 0.0;
  line.stall_nm = 0.24;
  assert_true(isinf(sb_theory_climb_s(&model, &line, 0, &pull, 0.0, 1e-6)));
  line.stall_nm = 0.26;
  assert_true(isfinite(sb_theory_climb_s(&model, &line, 0, &pull, 0.0, 1e-6)));
}

/* The load drives a screw that locks itself, and the motor must slow both down. What |eta_back| = 0.5 of 0.016 kg m^2 through 2:1 asks of the rotor is 0.016 * 0.5 / 4 =
 * 0.002 kg m^2: half of it in the rotor is too little by the other half, and twice as much leaves as much. */
static void a_rotor_too_light_for_what_it_must_slow_down_jams(void **state)
{
  (void)state;
  struct sb_model model = gear_of(2.0, 0.4, -0.5, 0.0);
  model.load.inertia_kg_m2 = 0.016;
  assert_near_rel(sb_closed_form_solve(&model).gears[0].jam_inertia_kg_m2, 0.001 - 0.002, 1e-14);
  /* A load that drives it stops it at once: it never comes to a greater speed. */
  struct sb_motor_line line = sb_torque_balance_line(&model);
  const struct sb_load_moment pull = {.acting_nm = -1e6};
  assert_true(isinf(sb_theory_climb_s(&model, &line, 0, &pull, 1.0, 2.0)));
  model.motor.rotor_inertia_kg_m2 = 0.004;
  assert_near_rel(sb_closed_form_solve(&model).gears[0].jam_inertia_kg_m2, 0.004 - 0.002, 1e-14);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(screws_of_the_literature_take_their_torques_to_raise_and_to_lower),
      cmocka_unit_test(a_screw_on_the_edge_of_locking_is_below_one_half),
      cmocka_unit_test(worms_of_the_literature_lock_where_their_friction_says_so),
      cmocka_unit_test(a_load_that_helps_takes_the_reading_down_like_one_that_opposes),
      cmocka_unit_test(a_worm_of_73_percent_does_not_lock),
      cmocka_unit_test(a_screw_is_lowered_by_what_its_thread_and_its_collar_take),
      cmocka_unit_test(only_a_load_that_hangs_on_a_lock_takes_torque_to_lower),
      cmocka_unit_test(a_small_load_hangs_on_a_lock_like_a_great_one),
      cmocka_unit_test(a_rotor_too_light_for_what_it_must_slow_down_jams),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
