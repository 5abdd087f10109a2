// SPDX-License-Identifier: GPL-3.0-or-later
/* Grids over any keys: which keys and ranges are taken, and points that are what runs of their own come to. */
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "help/near.h"
#include "study/grid.h"

static struct sb_scenario scenario; /* large, hence not on the stack */

static void load(const char *path, const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load(path, sets, set_count, &scenario, &faults);
  if (status != SB_OK) fail_msg("%s", faults.count > 0 ? faults.texts[0] : path);
}

static void parse_axis(const char *text, int points, struct sb_grid_axis *axis)
{
  struct sb_error err;
  if (sb_grid_axis_parse(text, &scenario, points, axis, &err) != SB_OK) fail_msg("%s: %s", text, err.text);
}

static void grid_axis_takes_paths_names_units_and_whole_numbers(void **state)
{
  (void)state;
  struct sb_grid_axis axis;
  char text[SB_GRID_SET_SIZE];
  load("../scenarios/tray-cart.yaml", NULL, 0);
  parse_axis("controller.dwell=0.2..3 s", 15, &axis);
  assert_string_equal(sb_grid_axis_set(&axis, 0, text), "controller.dwell=0.2 s");
  assert_string_equal(sb_grid_axis_set(&axis, 1, text), "controller.dwell=0.4 s");
  assert_string_equal(sb_grid_axis_set(&axis, 14, text), "controller.dwell=3 s");
  parse_axis("dwell=200..3000ms", 3, &axis);
  assert_string_equal(sb_grid_axis_set(&axis, 1, text), "controller.dwell=1600 ms");
  parse_axis("downshift_below=40..60 %", 2, &axis);
  assert_string_equal(axis.path, "controller.downshift_below");
  parse_axis("downshift_below=140..160 rpm", 2, &axis);
  assert_string_equal(sb_grid_axis_set(&axis, 1, text), "controller.downshift_below=160 rpm");
  parse_axis("gearbox.gears.slow.drag=0..2 mN.m", 2, &axis);
  assert_string_equal(axis.path, "gearbox.gears.1.drag");
  parse_axis("supply.open_circuit_voltage=9..9 V", 41, &axis);
  assert_int_equal(axis.points, 1);
  parse_axis("debounce_samples=1..5", 41, &axis);
  assert_int_equal(axis.points, 5);
  parse_axis("debounce_samples=1..9", 3, &axis);
  assert_string_equal(sb_grid_axis_set(&axis, 1, text), "controller.debounce_samples=5");
  sb_scenario_clear(&scenario);
}

static void grid_axis_refuses_with_reason_and_nearest_key(void **state)
{
  (void)state;
  static const char *const cases[][2] = {
      {"dwell", "PATH=FROM..TO"},
      {"=1..2 s", "PATH=FROM..TO"},
      {"controler.dwell=1..2 s", "nearest is controller.dwell"},
      {"dwel=1..2 s", "nearest is controller.dwell"},
      {"zzz=1..2", "no number \"zzz\""},
      {"back_efficiency=0.5..0.9", "give the whole path"},
      {"dwell=1..2 V", "which is a voltage"},
      {"dwell=2..1 s", "runs backwards"},
      {"dwell=1 s", "no range"},
      {"dwell=1..2", "needs a time"},
      {"debounce_samples=1.5..3", "whole numbers"},
      {"debounce_samples=1..10", "no whole numbers"},
      {"motor=1..2", "no number"},
  };
  load("../scenarios/tray-cart.yaml", NULL, 0);
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    struct sb_grid_axis axis;
    struct sb_error err = {SB_OK, ""};
    assert_int_equal(sb_grid_axis_parse(cases[k][0], &scenario, 3, &axis, &err), SB_ERR_USAGE);
    if (strstr(err.text, cases[k][1]) == NULL) fail_msg("%s: %s", cases[k][0], err.text);
  }
  sb_scenario_clear(&scenario);
}

/* The point's figures are those of a scenario that was loaded with the same values and run. */
static void grid_points_are_runs_of_their_own(void **state)
{
  (void)state;
  static const char *const path = "../scenarios/hunting-crawler.yaml";
  load(path, NULL, 0);
  struct sb_grid grid = {.axis_count = 2};
  parse_axis("dwell=0.2..1.4 s", 4, &grid.axes[0]);
  parse_axis("upshift_above=70..85 %", 4, &grid.axes[1]);
  sb_scenario_clear(&scenario);
  assert_int_equal(sb_grid_point_count(&grid), 16);
  int hunting = 0;
  for (long i = 0; i < 16; i++) {
    char texts[2][SB_GRID_SET_SIZE];
    const char *const sets[] = {sb_grid_axis_set(&grid.axes[0], (int)(i % 4), texts[0]),
                                sb_grid_axis_set(&grid.axes[1], (int)(i / 4), texts[1])};
    struct sb_grid_point point, read;
    struct sb_run_result result;
    const struct sb_run_options options = sb_run_options_default();
    assert_int_equal(sb_grid_run(&grid, path, NULL, 0, NULL, i, &point, NULL), SB_OK);
    load(path, sets, 2);
    assert_int_equal(sb_run(&scenario.model, &options, &result, NULL), SB_OK);
    const struct sb_map_verdict verdict = sb_grid_verdict(&result.monitor);
    assert_int_equal(point.end, SB_GRID_RAN);
    assert_int_equal(point.verdict.kinds, verdict.kinds);
    assert_int_equal(point.figures.shift_count, result.monitor.shift_count);
    assert_true(point.figures.output_turns == result.end.output_turns);
    assert_true(point.figures.given_j == result.sums.ledger.given);
    assert_true(point.standstill_s == result.sums.standstill_time_s);
    hunting += point.verdict.kinds != 0;
    sb_run_result_clear(&result);
    sb_scenario_clear(&scenario);

    struct sb_lines row = {.text = NULL};
    sb_grid_write_row(&row, &grid, i, &point);
    assert_true(sb_grid_read_row(row.text, &grid, &read));
    assert_memory_equal(&read.verdict, &point.verdict, sizeof read.verdict);
    assert_memory_equal(&read.figures, &point.figures, sizeof read.figures);
    sb_lines_clear(&row);
  }
  assert_in_range(hunting, 4, 12);
}

static void points_that_are_no_scenario_are_refused_and_said_so(void **state)
{
  (void)state;
  static const char *const path = "../scenarios/tray-cart.yaml";
  load(path, NULL, 0);
  struct sb_grid grid = {.axis_count = 1};
  parse_axis("downshift_below=70..90 %", 3, &grid.axes[0]); /* up is 78 % */
  sb_scenario_clear(&scenario);
  static const enum sb_grid_end want[] = {SB_GRID_RAN, SB_GRID_REFUSED, SB_GRID_REFUSED};
  for (long i = 0; i < 3; i++) {
    struct sb_grid_point point, read;
    struct sb_lines row = {.text = NULL};
    assert_int_equal(sb_grid_run(&grid, path, NULL, 0, NULL, i, &point, NULL), SB_OK);
    assert_int_equal(point.end, want[i]);
    sb_grid_write_row(&row, &grid, i, &point);
    if (i == 1) assert_string_equal(row.text, "80,refused,,,,,,,\n");
    assert_true(sb_grid_read_row(row.text, &grid, &read));
    assert_int_equal(read.end, want[i]);
    sb_lines_clear(&row);
  }
}

static void grid_survives_being_written_and_read(void **state)
{
  (void)state;
  struct sb_grid grid = {.axis_count = 2, .scenario = "A \"cart\", with commas"}, read;
  grid.axes[0] = (struct sb_grid_axis){"controller.dwell", "s", 0.1, 1.0 / 3.0, 41};
  grid.axes[1] = (struct sb_grid_axis){"gearbox.mesh_efficiency", "", 0.9, 0.99, 7};
  struct sb_lines lines = {.text = NULL}, again = {.text = NULL};
  sb_grid_write(&lines, &grid);
  assert_true(sb_grid_read(lines.text, &read));
  sb_grid_write(&again, &read);
  assert_string_equal(again.text, lines.text);
  assert_string_equal(read.axes[1].unit, "");
  for (size_t length = 0; length < lines.length; length++) {
    lines.text[length] = 0;
    char *cut = strdup(lines.text);
    assert_false(sb_grid_read(cut, &read));
    free(cut);
    lines.text[length] = again.text[length];
  }
  sb_lines_clear(&lines);
  sb_lines_clear(&again);
}

static int go_to_tests(void **state)
{
  (void)state;
  return chdir(SB_SOURCE_DIR "/tests");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(grid_axis_takes_paths_names_units_and_whole_numbers),
      cmocka_unit_test(grid_axis_refuses_with_reason_and_nearest_key),
      cmocka_unit_test(grid_points_are_runs_of_their_own),
      cmocka_unit_test(points_that_are_no_scenario_are_refused_and_said_so),
      cmocka_unit_test(grid_survives_being_written_and_read),
  };
  return cmocka_run_group_tests_name("grid", tests, go_to_tests, NULL);
}
