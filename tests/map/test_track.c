// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Tracks that come to the same state, to the bit, are one from there on; whatever acts on the future keeps them apart. A
 * map is as quick as its tracks meet, so nothing but the count of samples would show that they no longer do.
 */
#include "map/track.h"

#include "help/models.h"
#include "help/near.h"

enum { EARLY = 4, LATE = 8, LAST = 80 };

static const struct sb_vehicle heavy = {.mass_kg = 100.0,
                                        .wheel_radius_m = 0.1,
                                        .wheel_inertia_kg_m2 = 0.01,
                                        .gravity_m_s2 = 9.81,
                                        .rolling_resistance_ratio = 0.5,
                                        .static_friction_ratio = 0.9,
                                        .kinetic_friction_ratio = 0.9,
                                        .driven_share = 1.0};

static double room[16];

/* Stands in both gears, 4.3 and 1.5 N m, before 49 N m, on wheels that could slip; the motor has no current out of gear. */
static struct sb_model blocked(bool is_vehicle)
{
  struct sb_model model = model_two_gears("selector");
  model.shifter.is_drive_cut = true;
  if (is_vehicle) {
    const struct sb_body body = {.ops = sb_body_kind_find("vehicle"), .vehicle = heavy};
    struct sb_error err = {SB_OK, ""};
    assert_true(sb_body_room(&body) <= sizeof room / sizeof *room);
    assert_int_equal(sb_body_lower(&body, room, &model.load, &err), SB_OK);
  } else {
    model_add_constant(&model, 49.0, true);
  }
  model_finish(&model);
  return model;
}

/* Whether the track of a command at the late sample goes on as that of the same command at the early one. */
static bool do_meet(const struct sb_model *model)
{
  struct sb_tracks tracks;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, model, &err), SB_OK);
  while (tracks.items[0].count <= LATE) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  const int early = sb_map_tracks_child(&tracks, 0, EARLY, 1, &err);
  const int late = sb_map_tracks_child(&tracks, 0, LATE, 1, &err);
  assert_true(early > 0 && late > early);
  assert_int_equal(sb_map_tracks_child(&tracks, 0, EARLY, 1, &err), early); /* the same command, the same track */
  for (int n = EARLY; n < LAST; n++) assert_int_equal(sb_map_tracks_extend(&tracks, early, &err), SB_OK);
  for (int n = LATE; n < LAST && tracks.items[late].next < 0; n++)
    assert_int_equal(sb_map_tracks_extend(&tracks, late, &err), SB_OK);
  const int next = tracks.items[late].next;
  assert_true(next < 0 || next == early);
  sb_map_tracks_clear(&tracks);
  return next == early;
}

static void machines_that_stand_in_the_same_gear_are_one_track(void **state)
{
  (void)state;
  for (int is_vehicle = 0; is_vehicle < 2; is_vehicle++) {
    const struct sb_model model = blocked(is_vehicle);
    assert_int_equal(model.load.road.is_present, is_vehicle);
    assert_true(do_meet(&model));
  }
}

/* Blocked motors warm up; a pause at another time leaves another temperature. */
static void windings_of_different_warmth_keep_tracks_apart(void **state)
{
  (void)state;
  struct sb_model model = blocked(false);
  model_set_currents(&model, 2.6, 0.14, 0.5);
  model.winding = (struct sb_winding){.is_present = true,
                                      .ambient_c = 20.0,
                                      .start_c = 20.0,
                                      .housing_start_c = 20.0,
                                      .reference_c = 25.0,
                                      .capacity_j_k = 5.0,
                                      .resistance_k_w = 6.0,
                                      .cut_out_c = INFINITY,
                                      .reset_c = INFINITY};
  model.drive.period_s = 0.02;
  model_finish(&model);
  assert_false(do_meet(&model));
}

/* The load of a table over time is the same for both; one over turns would part them only where they stand elsewhere. */
static void a_load_that_goes_on_in_time_keeps_no_tracks_apart(void **state)
{
  (void)state;
  static const double x[] = {0.0, 0.3, 0.7, 5.0}, torque_nm[] = {49.0, 20.0, 60.0, 60.0};
  for (int axis = SB_OVER_TIME; axis <= SB_OVER_TURNS; axis++) {
    struct sb_model model = blocked(false);
    model_add_profile(&model, (enum sb_load_axis)axis, true, 4, x, torque_nm);
    assert_true(do_meet(&model));
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(machines_that_stand_in_the_same_gear_are_one_track),
      cmocka_unit_test(windings_of_different_warmth_keep_tracks_apart),
      cmocka_unit_test(a_load_that_goes_on_in_time_keeps_no_tracks_apart),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
