// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Tracks that come to the same state, to the bit, are one from there on; whatever acts on the future keeps them apart. A
 * map is as quick as its tracks meet, so nothing but the count of samples would show that they no longer do.
 */
#include "map/track.h"

#include <stddef.h>

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
    const struct sb_body body = {.ops = sb_body_kind_find("vehicle"), .as.vehicle = heavy};
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
  struct sb_track_part part;
  const int early = sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err);
  const int late = sb_map_tracks_child(&tracks, 0, LATE, 1, &part, &err);
  assert_true(early > 0 && late > early);
  assert_int_equal(sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err),
                   early); /* the same command, the same track */
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
  model_set_winding(&model, 5.0, 6.0);
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

/* So many samples of one track that what they are found by is laid out anew more than once: each is still found. */
static void a_long_track_is_met_at_each_of_its_samples(void **state)
{
  (void)state;
  enum { STRIDE = SB_TRACK_STRIDE, LONG = 1024 * STRIDE };
  struct sb_model model = blocked(false);
  model.run.duration_s = 0.02 * LONG + 1.0;
  struct sb_tracks tracks;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, &model, &err), SB_OK);
  while (tracks.items[0].count <= LONG) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  struct sb_track_part part;
  const int first = sb_map_tracks_child(&tracks, 0, 1, 1, &part, &err);
  for (int n = 1; n < LONG; n++) assert_int_equal(sb_map_tracks_extend(&tracks, first, &err), SB_OK);
  for (int sample = STRIDE; sample < LONG - STRIDE; sample += STRIDE) {
    const int child = sb_map_tracks_child(&tracks, 0, sample, 1, &part, &err);
    for (int n = 0; n < STRIDE && tracks.items[child].next < 0; n++)
      assert_int_equal(sb_map_tracks_extend(&tracks, child, &err), SB_OK);
    assert_int_equal(tracks.items[child].next, first);
  }
  sb_map_tracks_clear(&tracks);
}

/* A swinging load that drives the motor and is driven by it, ten times a second, below the motor's no-load speed. */
static struct sb_model swinging(void)
{
  struct sb_model model = model_two_gears("selector");
  model_add_constant(&model, 2.4, true);
  model_add_sine(&model, SB_OVER_TIME, false, 0.0, 5.0, 0.1);
  model_finish(&model);
  return model;
}

/* Left for another one at every sample and taken up again, a track has the bits of one that was followed in one go. */
static void a_track_that_is_taken_up_again_goes_on_as_it_would_have(void **state)
{
  (void)state;
  const struct sb_model model = swinging();
  struct sb_tracks whole, parted;
  struct sb_error err = {SB_OK, ""};
  int overrun = 0;
  assert_int_equal(sb_map_tracks_init(&whole, &model, &err), SB_OK);
  assert_int_equal(sb_map_tracks_init(&parted, &model, &err), SB_OK);
  struct sb_track_part part;
  const int other = sb_map_tracks_child(&parted, 0, 0, 1, &part, &err);
  for (int n = 0; n < EARLY; n++) assert_int_equal(sb_map_tracks_extend(&parted, other, &err), SB_OK);
  for (int n = 1; n < LAST; n++) {
    assert_int_equal(sb_map_tracks_extend(&whole, 0, &err), SB_OK);
    assert_int_equal(sb_map_tracks_extend(&parted, 0, &err), SB_OK);
    const struct sb_spot *seen = sb_track_spot(&whole.items[0], n), *again = sb_track_spot(&parted.items[0], n);
    assert_memory_equal(again, seen, offsetof(struct sb_spot, flags) + sizeof seen->flags); /* a gap follows */
    /* The simulators stand at the same sample of this track. */
    const struct sb_state *one = &whole.sim.state, *two = &parted.sim.state;
    assert_near(two->motor_speed_rad_s, one->motor_speed_rad_s, 0.0);
    assert_near(two->output_angle_rad, one->output_angle_rad, 0.0);
    assert_near(two->load_angle_rad, one->load_angle_rad, 0.0);
    assert_int_equal(two->is_driving, one->is_driving);
    overrun += !one->is_driving;
    assert_int_equal(sb_map_tracks_extend(&parted, other, &err), SB_OK);
  }
  assert_true(overrun > 10 && overrun < LAST - 10);
  sb_map_tracks_clear(&whole);
  sb_map_tracks_clear(&parted);
}

/* What a motor draws is part of the state only where a battery is emptied by it. */
static void what_a_blocked_motor_drew_keeps_no_tracks_apart_without_a_battery(void **state)
{
  (void)state;
  struct sb_model model = blocked(false);
  model_set_currents(&model, 2.6, 0.14, 0.5);
  model.drive.ramp_s = 0.05;
  model.drive.period_s = 0.01;
  model_finish(&model);
  assert_true(do_meet(&model));
}

/* A load that rises, stays and falls on a motor that turns all the while. */
static struct sb_model rising(bool is_bent)
{
  static const double x[] = {0.0, 1.0, 2.5, 4.0, 6.0}, torque_nm[] = {0.3, 0.3, 2.0, 2.0, 0.5};
  struct sb_model model = model_two_gears("selector");
  model_add_profile(&model, SB_OVER_TIME, true, 5, x, torque_nm);
  if (is_bent) model_add_quadratic(&model, 0.02);
  model.run.duration_s = 8.0;
  model_finish(&model);
  return model;
}

static void assert_same_spots(const struct sb_track *one, const struct sb_track *other, int first, int last)
{
  for (int n = first; n <= last; n++)
    assert_memory_equal(sb_track_spot(one, n), sb_track_spot(other, n),
                        offsetof(struct sb_spot, flags) + sizeof(uint32_t)); /* a gap follows */
}

/* Samples that a path passes unseen are within their bounds, change no bit of those that follow, and show the same once somebody
 * looks, in whichever order; nor do they change what counts as simulated. A filter sees each of them. */
static void closed_samples_are_as_those_that_were_looked_at(void **state)
{
  (void)state;
  enum { STRIDE = SB_TRACK_STRIDE };
  for (int kind = 0; kind < 3; kind++) {
    struct sb_model model = rising(kind > 0);
    model.control.sensor.filter_s = kind == 2 ? 0.05 : 0.0;
    model.control.sensor.resolution_fraction = kind == 0 ? 0.01 : 0.0;
    struct sb_tracks open, closed;
    struct sb_error err = {SB_OK, ""};
    assert_int_equal(sb_map_tracks_init(&open, &model, &err), SB_OK);
    assert_int_equal(sb_map_tracks_init(&closed, &model, &err), SB_OK);
    struct sb_track *seen = &open.items[0], *passed = &closed.items[0];
    while (seen->count <= open.end_sample) assert_int_equal(sb_map_tracks_extend(&open, 0, &err), SB_OK);
    while (passed->count <= closed.end_sample)
      assert_int_equal(sb_map_tracks_extend_calmly(&closed, 0, INT32_MIN, &err), SB_OK);
    assert_true(closed.sample_count == open.sample_count && passed->part_count == seen->part_count);
    int count = 0;
    for (int n = 0; n < passed->count; n++) {
      const struct sb_spot *at = sb_track_spot(passed, n), *bits = sb_track_spot(seen, n);
      if (at->flags != SB_SPOT_CLOSED) {
        assert_same_spots(passed, seen, n, n);
        continue;
      }
      count++;
      assert_true(at->reading <= bits->reading && bits->greatest <= at->greatest);
    }
    assert_true(kind == 2 ? count == 0 : count > 5 * (STRIDE - 1));
    for (int i = 0; i < seen->part_count; i++) {
      assert_near(passed->parts[i].torque_nm, seen->parts[i].torque_nm, 0.0);
      assert_near(passed->parts[i].turns, seen->parts[i].turns, 0.0);
      assert_int_equal(passed->parts[i].view.is_plain, seen->parts[i].view.is_plain);
    }
    for (int n = passed->count - 1; n >= 0; n -= 7) {
      if (sb_track_spot(passed, n)->flags == SB_SPOT_CLOSED)
        assert_int_equal(sb_map_tracks_open(&closed, 0, n, &err), SB_OK);
      assert_same_spots(passed, seen, n, n);
    }
    assert_same_spots(passed, seen, 0, seen->count - 1);
    assert_true(closed.sample_count == open.sample_count);
    sb_map_tracks_clear(&open);
    sb_map_tracks_clear(&closed);
  }
}

/* A torque that turns over between samples need not be found where a path has had a greater one; it is found when somebody asks. */
static void torques_below_what_is_asked_for_are_found_when_they_are(void **state)
{
  (void)state;
  enum { STRIDE = SB_TRACK_STRIDE, PART_MAX = 40 };
  const double asked_nm = 1e3;
  struct sb_model model = swinging();
  struct sb_tracks all, few;
  struct sb_error err = {SB_OK, ""};
  model.run.duration_s = 15.0;
  assert_int_equal(sb_map_tracks_init(&all, &model, &err), SB_OK);
  assert_int_equal(sb_map_tracks_init(&few, &model, &err), SB_OK);
  sb_map_tracks_ask_torque(&few, asked_nm);
  int missing = 0;
  while (all.items[0].part_count < PART_MAX) assert_int_equal(sb_map_tracks_extend(&all, 0, &err), SB_OK);
  while (few.items[0].part_count < PART_MAX) assert_int_equal(sb_map_tracks_extend(&few, 0, &err), SB_OK);
  const long long sample_count = few.sample_count;
  for (int i = PART_MAX - 1; i > 0; i--) {
    const struct sb_track_part *whole = &all.items[0].parts[i], *part = &few.items[0].parts[i];
    assert_true(whole->torque_nm < asked_nm && whole->torque_from_nm == 0.0F &&
                (double)part->torque_from_nm == asked_nm);
    missing += part->torque_nm < whole->torque_nm;
    double torque_nm;
    assert_int_equal(sb_map_tracks_find_torque(&few, 0, i * STRIDE, &torque_nm, &err), SB_OK);
    assert_near(torque_nm, whole->torque_nm, 0.0);
    assert_near(part->given_j, whole->given_j, 0.0);
  }
  assert_true(missing > PART_MAX / 2);
  assert_true(few.sample_count == sample_count);
  /* Up to a command amid a stretch, too. */
  struct sb_track_part early, late;
  for (int sample = 5 * STRIDE + 3; sample < 9 * STRIDE; sample += 7) {
    assert_true(sb_map_tracks_child(&all, 0, sample, 1, &early, &err) > 0);
    assert_true(sb_map_tracks_child(&few, 0, sample, 1, &late, &err) > 0);
    double torque_nm;
    assert_int_equal(sb_map_tracks_find_torque(&few, 0, sample, &torque_nm, &err), SB_OK);
    assert_near(torque_nm, early.torque_nm, 0.0);
    assert_true(late.torque_nm <= early.torque_nm);
  }
  sb_map_tracks_clear(&all);
  sb_map_tracks_clear(&few);
}

/* A blocked motor takes the same energy in each part of a track. It does so, too, in the first one for which the track is followed on
 * after another one has met it farther back. */
static void a_track_that_was_met_goes_on_from_its_own_end(void **state)
{
  (void)state;
  struct sb_model model = blocked(false);
  model_set_currents(&model, 2.6, 0.14, 0.5);
  model_finish(&model);
  struct sb_tracks tracks;
  struct sb_track_part part;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, &model, &err), SB_OK);
  while (tracks.items[0].count <= LATE) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  const int early = sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err),
            late = sb_map_tracks_child(&tracks, 0, LATE, 1, &part, &err);
  for (int n = EARLY; n < LAST; n++) assert_int_equal(sb_map_tracks_extend(&tracks, early, &err), SB_OK);
  while (tracks.items[late].next < 0) assert_int_equal(sb_map_tracks_extend(&tracks, late, &err), SB_OK);
  assert_int_equal(tracks.items[late].next, early);
  assert_true(tracks.items[late].first + tracks.items[late].count < LAST - SB_TRACK_STRIDE);
  const int known = tracks.items[early].part_count;
  while (tracks.items[early].part_count == known) assert_int_equal(sb_map_tracks_extend(&tracks, early, &err), SB_OK);
  const struct sb_track_part *last = &tracks.items[early].parts[known];
  assert_true(last->given_j > 0.0);
  assert_near_rel(last->given_j, last[-1].given_j, 1e-12);
  sb_map_tracks_clear(&tracks);
}

/* What a track takes is given back when it is let go, to the byte, the state that it began with included. */
static void a_track_that_is_let_go_gives_back_what_it_took(void **state)
{
  (void)state;
  const struct sb_model model = blocked(false);
  struct sb_tracks tracks;
  struct sb_track_part part;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, &model, &err), SB_OK);
  while (tracks.items[0].count <= LATE) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  const int child = sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err);
  const size_t begun_bytes = tracks.used_bytes;
  sb_map_tracks_enter(&tracks, child);
  for (int n = EARLY; n < LAST; n++) assert_int_equal(sb_map_tracks_extend(&tracks, child, &err), SB_OK);
  assert_true(tracks.used_bytes > begun_bytes);
  tracks.bytes_max = 0;
  sb_map_tracks_enter(&tracks, 0);
  assert_true(tracks.items[child].is_gone);
  assert_int_equal(tracks.used_bytes, begun_bytes - tracks.anchor_size);
  /* Its blocks serve another track. */
  const struct sb_track_block *spare = tracks.spare;
  const int other = sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err);
  assert_int_equal(sb_map_tracks_extend(&tracks, other, &err), SB_OK);
  assert_ptr_equal(tracks.items[other].blocks[0], spare);
  sb_map_tracks_clear(&tracks);
}

/* A slow gear carries a load that stops a fast one, whose track comes to rest where the slow gear's was looked at ahead. A command there
 * begins with the filter as it is at rest. */
static void a_command_begins_with_the_filter_of_its_own_track(void **state)
{
  (void)state;
  struct sb_model model = model_two_gears("selector");
  model_drive_forward(&model);
  model_add_constant(&model, 2.5, true);
  model.motor.rotor_inertia_kg_m2 = 4e-6; /* within a sample it stands */
  model.control.sensor.filter_s = 0.2;
  model_finish(&model);
  struct sb_tracks tracks;
  struct sb_track_part part;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, &model, &err), SB_OK);
  while (tracks.ahead_count < SB_TRACK_STRIDE / 2) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  const int first = tracks.ahead_first + 1, end = tracks.ahead_first + tracks.ahead_count;
  const double slow_filtered = tracks.reading.filtered;
  const int fast = sb_map_tracks_child(&tracks, 0, first, 1, &part, &err);
  const struct sb_spot *spot;
  do {
    assert_int_equal(sb_map_tracks_extend(&tracks, fast, &err), SB_OK);
    spot = sb_track_spot(&tracks.items[fast], tracks.at_sample);
  } while (!(spot->flags & SB_SPOT_RESTING));
  assert_true(tracks.at_sample < end);
  const double filtered = tracks.reading.filtered;
  assert_true(filtered < 0.9 * slow_filtered);
  const int slow = sb_map_tracks_child(&tracks, fast, tracks.at_sample, 0, &part, &err);
  assert_near(tracks.items[slow].begin->filtered, filtered, 0.0);
  sb_map_tracks_clear(&tracks);
}

/* Of seven tracks, one sample of each of which is known, the two that were used longest ago: a quarter of them, rounded up. */
static void the_quarter_of_all_tracks_that_was_used_longest_ago_is_let_go(void **state)
{
  (void)state;
  enum { COUNT = 7 };
  static const int order[COUNT] = {4, 1, 6, 0, 3, 5, 2};
  const struct sb_model model = blocked(false);
  struct sb_tracks tracks;
  struct sb_track_part part;
  struct sb_error err = {SB_OK, ""};
  int children[COUNT];
  assert_int_equal(sb_map_tracks_init(&tracks, &model, &err), SB_OK);
  while (tracks.items[0].count <= COUNT) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  for (int k = 0; k < COUNT; k++) children[k] = sb_map_tracks_child(&tracks, 0, 1 + k, 1, &part, &err);
  for (int k = 0; k < COUNT; k++) {
    sb_map_tracks_enter(&tracks, children[order[k]]);
    assert_int_equal(sb_map_tracks_extend(&tracks, children[order[k]], &err), SB_OK);
    assert_int_equal(tracks.items[children[order[k]]].count, 1);
  }
  tracks.bytes_max = 0;
  sb_map_tracks_enter(&tracks, 0);
  for (int k = 0; k < COUNT; k++) assert_int_equal(tracks.items[children[order[k]]].is_gone, k < 2);
  sb_map_tracks_clear(&tracks);
}

/* At which sample the track of a command at the late sample becomes that of the same command at the early one. */
static int meeting_sample(const struct sb_model *model)
{
  struct sb_tracks tracks;
  struct sb_error err = {SB_OK, ""};
  assert_int_equal(sb_map_tracks_init(&tracks, model, &err), SB_OK);
  while (tracks.items[0].count <= LATE) assert_int_equal(sb_map_tracks_extend(&tracks, 0, &err), SB_OK);
  struct sb_track_part part;
  const int early = sb_map_tracks_child(&tracks, 0, EARLY, 1, &part, &err),
            late = sb_map_tracks_child(&tracks, 0, LATE, 1, &part, &err);
  for (int n = EARLY; n < LAST; n++) assert_int_equal(sb_map_tracks_extend(&tracks, early, &err), SB_OK);
  for (int n = LATE; n < LAST && tracks.items[late].next < 0; n++)
    assert_int_equal(sb_map_tracks_extend(&tracks, late, &err), SB_OK);
  assert_int_equal(tracks.items[late].next, early);
  const int sample = tracks.items[late].first + tracks.items[late].count;
  sb_map_tracks_clear(&tracks);
  return sample;
}

/* Out of gear the motor turns, in gear it stands: a window of ten samples knows for as long when it turned last. */
static void windows_of_different_counts_keep_tracks_apart_until_they_are_empty(void **state)
{
  (void)state;
  struct sb_model model = blocked(false);
  model.shifter.is_drive_cut = false;
  const int engaged = LATE + 3; /* 0.05 s are over */
  assert_true(meeting_sample(&model) < engaged + SB_TRACK_STRIDE);
  model.control.sensor.pulses = (struct sb_pulse_sensor){.per_turn = 96.0, .window_s = 0.2};
  model.control.sensor.resolution_fraction = sb_sensor_pulse_fraction(&model.control.sensor);
  const int sample = meeting_sample(&model);
  assert_true(sample >= engaged + 10 && sample < engaged + 10 + SB_TRACK_STRIDE);
}

static void rows_of_a_sample_are_those_that_there_are(void **state)
{
  (void)state;
  struct sb_track_row rows[] = {{.sample = 3}, {.sample = 5}, {.sample = 5}, {.sample = 5}};
  const struct sb_track track = {.rows = rows, .row_count = 3};
  const struct sb_track_row *found = NULL;
  assert_int_equal(sb_track_rows_at(&track, 5, &found), 2);
  assert_ptr_equal(found, &rows[1]);
  assert_int_equal(sb_track_rows_at(&track, 3, &found), 1);
  assert_ptr_equal(found, &rows[0]);
  assert_int_equal(sb_track_rows_at(&track, 4, &found), 0);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(machines_that_stand_in_the_same_gear_are_one_track),
      cmocka_unit_test(windings_of_different_warmth_keep_tracks_apart),
      cmocka_unit_test(a_load_that_goes_on_in_time_keeps_no_tracks_apart),
      cmocka_unit_test(a_long_track_is_met_at_each_of_its_samples),
      cmocka_unit_test(a_track_that_is_taken_up_again_goes_on_as_it_would_have),
      cmocka_unit_test(a_track_that_is_let_go_gives_back_what_it_took),
      cmocka_unit_test(a_command_begins_with_the_filter_of_its_own_track),
      cmocka_unit_test(the_quarter_of_all_tracks_that_was_used_longest_ago_is_let_go),
      cmocka_unit_test(a_track_that_was_met_goes_on_from_its_own_end),
      cmocka_unit_test(what_a_blocked_motor_drew_keeps_no_tracks_apart_without_a_battery),
      cmocka_unit_test(closed_samples_are_as_those_that_were_looked_at),
      cmocka_unit_test(torques_below_what_is_asked_for_are_found_when_they_are),
      cmocka_unit_test(windows_of_different_counts_keep_tracks_apart_until_they_are_empty),
      cmocka_unit_test(rows_of_a_sample_are_those_that_there_are),
  };
  return cmocka_run_group_tests(tests, NULL, NULL);
}
