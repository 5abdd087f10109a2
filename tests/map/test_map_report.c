// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What is said about maps: rectangles that cover the plane once, pictures, margins and boundaries - held against single
 * runs, point by point.
 */
#include <stdlib.h>
#include <string.h>

#include "help/cover.h"
#include "help/loaded.h"
#include "help/near.h"
#include "help/place.h"
#include "map/class.h"
#include "map/lattice.h"
#include "map/report.h"
#include "theory/steady.h"
#include "theory/torque_balance.h"

static const char *const shipped[] = {"../scenarios/tray-cart.yaml", "../scenarios/hunting-crawler.yaml",
                                      "../scenarios/hunting-crawler-fixed.yaml", "../scenarios/well-winch.yaml"};
enum { SHIPPED_COUNT = sizeof shipped / sizeof shipped[0] };

/* What a run of its own with these thresholds comes to, and its figures. */
static struct sb_map_verdict run_at(double downshift_fraction, double upshift_fraction, struct sb_map_figures *figures)
{
  struct sb_model model = loaded_scenario.model;
  struct sb_run_options options = sb_run_options_default();
  struct sb_run_result result;
  model.control.downshift_fraction[0] = downshift_fraction;
  model.control.upshift_fraction[0] = upshift_fraction;
  assert_int_equal(sb_run(&model, &options, &result, NULL), SB_OK);
  const struct sb_map_verdict verdict = sb_map_verdict_of(&result.monitor);
  *figures = sb_map_figures_of(&result);
  sb_run_result_clear(&result);
  return verdict;
}

static struct sb_map_verdict try(double downshift_fraction, double upshift_fraction)
{
  struct sb_map_figures figures;
  return run_at(downshift_fraction, upshift_fraction, &figures);
}

static void write_map_csv(FILE *out, const void *context)
{
  assert_int_equal(sb_map_write_csv(out, context), 0);
}

static void csv_covers_the_triangle_exactly_once(void **state)
{
  (void)state;
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    loaded_take(shipped[k], NULL, 0);
    struct sb_map_options options = sb_map_options_default(&loaded_scenario.model);
    options.downshift.count = 999; /* as the command asks for it: not the same as up */
    struct sb_map map;
    loaded_map(&options, &map);
    char *csv = cover_written_by(write_map_csv, &map);
    cover_assert_once(csv, &options.downshift, &options.upshift);
    long long points = 0;
    for (size_t i = 0; i < map.cell_count; i++) points += sb_map_cell_point_count(&map, &map.cells[i]);
    assert_true(points == sb_map_point_count(&map));
    free(csv);
    sb_map_clear(&map);
    sb_scenario_clear(&loaded_scenario);
  }
}

static void part_of_the_plane_is_covered_once_too(void **state)
{
  (void)state;
  loaded_take(shipped[0], NULL, 0);
  const struct sb_map_options options = loaded_plane(&loaded_scenario.model, 0.3525, 0.7, 0.39, 0.97, 0.0025);
  struct sb_map map;
  loaded_map(&options, &map);
  char *csv = cover_written_by(write_map_csv, &map);
  cover_assert_once(csv, &options.downshift, &options.upshift);
  assert_true(
      strncmp(csv,
              "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict,cause,all_verdicts,shifts,"
              "output_turns,given_j,greatest_torque_nm\n35.25,",
              100) == 0);
  free(csv);
  sb_map_clear(&map);
  sb_scenario_clear(&loaded_scenario);
}

static void sorted_rectangles_rise_by_down_and_then_by_up(void **state)
{
  (void)state;
  loaded_take(shipped[0], NULL, 0);
  const struct sb_map_options options = loaded_plane(&loaded_scenario.model, 0.3525, 0.7, 0.39, 0.97, 0.0025);
  struct sb_map map;
  loaded_map(&options, &map);
  for (size_t i = 0, k = map.cell_count; i + 1 < k; i++) { /* backwards, so that no order is there by chance */
    const struct sb_map_cell cell = map.cells[i];
    map.cells[i] = map.cells[--k];
    map.cells[k] = cell;
  }
  sb_map_sort(&map);
  int same = 0;
  for (size_t i = 1; i < map.cell_count; i++) {
    const struct sb_map_cell *last = &map.cells[i - 1], *cell = &map.cells[i];
    assert_true(last->downshift_first <= cell->downshift_first);
    if (last->downshift_first != cell->downshift_first) continue;
    assert_true(last->upshift_first < cell->upshift_first);
    same++;
  }
  assert_true(same > 2);
  sb_map_clear(&map);
  sb_scenario_clear(&loaded_scenario);
}

static struct sb_map_cell cell_of(int downshift_first, int downshift_last, int upshift_first, int upshift_last,
                                  long long shifts)
{
  return (struct sb_map_cell){.downshift_first = downshift_first,
                              .downshift_last = downshift_last,
                              .upshift_first = upshift_first,
                              .upshift_last = upshift_last,
                              .figures.shift_count = shifts};
}

static void assert_cell(const struct sb_map_cell *cell, int downshift_first, int downshift_last, int upshift_first,
                        int upshift_last)
{
  assert_int_equal(cell->downshift_first, downshift_first);
  assert_int_equal(cell->downshift_last, downshift_last);
  assert_int_equal(cell->upshift_first, upshift_first);
  assert_int_equal(cell->upshift_last, upshift_last);
}

/* Two by two cells that are alike become one; beside them stand one of another figure and one that lies across. */
static void rectangles_that_touch_and_are_alike_are_joined_along_both_axes(void **state)
{
  (void)state;
  struct sb_map_cell cells[] = {cell_of(3, 5, 8, 9, 4), cell_of(0, 2, 4, 7, 4), cell_of(3, 5, 4, 7, 4),
                                cell_of(6, 7, 4, 9, 5), cell_of(0, 2, 8, 9, 4), cell_of(0, 7, 10, 11, 4),
                                cell_of(8, 9, 4, 8, 5), cell_of(8, 9, 9, 11, 5)};
  struct sb_map map = {.cells = cells, .cell_count = sizeof cells / sizeof *cells};
  sb_map_join(&map);
  sb_map_sort(&map);
  assert_int_equal(map.cell_count, 4);
  assert_cell(&map.cells[0], 0, 5, 4, 9);
  assert_cell(&map.cells[1], 0, 7, 10, 11);
  assert_cell(&map.cells[2], 6, 7, 4, 9);
  assert_cell(&map.cells[3], 8, 9, 4, 11);
}

/* However often they shift: those without a verdict are joined, but for those that never shift, and rise as a sorted map does. */
static void rectangles_that_pass_are_joined_without_their_figures_and_sorted(void **state)
{
  (void)state;
  struct sb_map_cell cells[] = {cell_of(5, 6, 2, 3, 4), cell_of(3, 4, 2, 3, 1), cell_of(0, 1, 6, 9, 2),
                                cell_of(0, 0, 2, 4, 3), cell_of(1, 1, 2, 4, 2), cell_of(2, 2, 8, 9, 2),
                                cell_of(7, 8, 2, 3, 0)};
  cells[1].verdict.kinds = 1U << SB_VERDICT_HUNTING;
  struct sb_map map = {.cells = cells, .cell_count = sizeof cells / sizeof *cells};
  sb_map_keep_passing(&map);
  assert_int_equal(map.cell_count, 5);
  assert_cell(&map.cells[0], 0, 1, 2, 4);
  assert_cell(&map.cells[1], 0, 1, 6, 9);
  assert_cell(&map.cells[2], 2, 2, 8, 9);
  assert_cell(&map.cells[3], 5, 6, 2, 3);
  assert_cell(&map.cells[4], 7, 8, 2, 3);
  for (size_t i = 0; i < map.cell_count; i++) assert_int_equal(map.cells[i].figures.shift_count, i < 4);
}

static void points_of_a_line_outside_of_all_rectangles_have_none(void **state)
{
  (void)state;
  struct sb_map_cell cells[] = {cell_of(0, 0, 2, 3, 0), cell_of(0, 0, 5, 5, 0)};
  const struct sb_map map = {.cells = cells, .cell_count = 2, .options.downshift.count = 1, .options.upshift.count = 7};
  static const int want[] = {-1, -1, 0, 0, -1, 1, -1};
  struct sb_error err;
  int *got;
  assert_int_equal(sb_map_line_cells(&map, false, &got, &err), SB_OK);
  assert_memory_equal(got, want, sizeof want);
  free(got);
}

/* 100 % is no downshift threshold, though it is a multiple of every step. */
static void downshift_thresholds_end_below_the_reference(void **state)
{
  (void)state;
  static const char *const ranges[] = {NULL, "60..100 %", "60..60 %", "100..130 %"};
  static const int counts[] = {999, 400, 1, -1};
  loaded_take(shipped[0], NULL, 0);
  for (int k = 0; k < 4; k++) {
    struct sb_map_options options;
    struct sb_error err;
    const enum sb_status status = sb_map_plane_parse(&loaded_scenario.model, NULL, ranges[k], NULL, &options, &err);
    assert_int_equal(status, counts[k] < 0 ? SB_ERR_USAGE : SB_OK);
    if (counts[k] > 0) assert_int_equal(options.downshift.count, counts[k]);
  }
  sb_scenario_clear(&loaded_scenario);
}

static void the_worst_verdict_has_its_name(void **state)
{
  (void)state;
  struct sb_map_verdict verdict = {.kinds = 1U << SB_VERDICT_HUNTING};
  assert_string_equal(sb_map_worst_name(&verdict), "hunting");
  verdict.kinds = 1U << SB_VERDICT_STUCK_LOW;
  assert_string_equal(sb_map_worst_name(&verdict), "stuck low");
  verdict.kinds = 0;
  assert_string_equal(sb_map_worst_name(&verdict), "passes");
}

/* An upshift threshold may lie above the reference, in steps of 0.1 %, but no higher than ten times it. */
static void upshift_thresholds_end_at_ten_times_the_reference(void **state)
{
  (void)state;
  static const char *const ranges[] = {"60..150 %", "950..1000 %", "950..1200 %", "1001..1200 %"};
  static const int counts[] = {901, 501, 501, -1};
  loaded_take(shipped[0], NULL, 0);
  for (int k = 0; k < 4; k++) {
    struct sb_map_options options;
    struct sb_error err;
    const enum sb_status status = sb_map_plane_parse(&loaded_scenario.model, NULL, NULL, ranges[k], &options, &err);
    assert_int_equal(status, counts[k] < 0 ? SB_ERR_USAGE : SB_OK);
    if (counts[k] > 0) assert_int_equal(options.upshift.count, counts[k]);
  }
  sb_scenario_clear(&loaded_scenario);
}

static void a_pair_is_named_by_its_gears_or_by_its_number(void **state)
{
  (void)state;
  static const char *const names[] = {"first/second", "second/third", "1", "2", "third/first", "3"};
  static const int pairs[] = {0, 1, 0, 1, -1, -1};
  loaded_take("../scenarios/three-speed-feeder.yaml", NULL, 0);
  for (int k = 0; k < 6; k++) {
    struct sb_map_options options;
    struct sb_error err;
    const enum sb_status status = sb_map_plane_parse(&loaded_scenario.model, names[k], NULL, NULL, &options, &err);
    assert_int_equal(status, pairs[k] < 0 ? SB_ERR_USAGE : SB_OK);
    if (pairs[k] >= 0) assert_int_equal(options.pair, pairs[k]);
  }
  sb_scenario_clear(&loaded_scenario);
}

static struct sb_map_own look_around(void)
{
  const struct sb_map_options options = sb_map_options_default(&loaded_scenario.model);
  struct sb_map_own own;
  struct sb_error err;
  if (sb_map_look_around(&loaded_scenario.model, &options, &own, &err) != SB_OK) fail_msg("%s", err.text);
  return own;
}

/* Runs every lattice point from the own threshold to the first that differs: all before it are as the own one is. */
static void assert_margin(const struct sb_map_own *own, enum sb_map_direction direction)
{
  const struct sb_map_margin *margin = &own->margins[direction];
  const bool is_downshift = direction == SB_MAP_DOWN_LOWER || direction == SB_MAP_DOWN_HIGHER;
  const int sign = direction == SB_MAP_DOWN_HIGHER || direction == SB_MAP_UP_HIGHER ? 1 : -1;
  const double from = is_downshift ? own->downshift_fraction : own->upshift_fraction, step = 0.001;
  const double end = margin->changes ? margin->first_fraction : margin->last_fraction;
  if (isnan(end)) {
    assert_near(margin->margin_fraction, 0.0, 0.0);
    return;
  }
  if (margin->changes && fabs(end - from) > 1.5 * step) assert_near(margin->last_fraction, end - sign * step, 1e-9);
  int tried = 0;
  for (long n = lround(from / step) + sign; sign * ((double)n * step - end) < 0.5 * step; n += sign) {
    const double at = (double)n * step;
    if (fabs(at - from) < 1e-9) continue;
    const struct sb_map_verdict verdict =
        is_downshift ? try(at, own->upshift_fraction) : try(own->downshift_fraction, at);
    const bool is_first = margin->changes && fabs(at - margin->first_fraction) < 1e-9;
    if (is_first) {
      assert_int_equal(verdict.kinds, margin->verdict.kinds);
      assert_int_equal(verdict.cause, margin->verdict.cause);
    }
    if ((verdict.kinds == 0) != (is_first ? !own->passes : own->passes)) {
      fail_msg("%s, %s at %g: got kinds %x", loaded_scenario.model.name, sb_map_direction_words(direction), at,
               verdict.kinds);
    }
    tried++;
  }
  assert_true(tried > 0);
  assert_near(margin->margin_fraction, fabs(end - from), 1e-12);
}

static void margins_agree_with_runs_on_both_sides(void **state)
{
  (void)state;
  int changing = 0;
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    loaded_take(shipped[k], NULL, 0);
    const struct sb_map_own own = look_around();
    const struct sb_map_verdict verdict = try(own.downshift_fraction, own.upshift_fraction);
    assert_int_equal(own.verdict.kinds, verdict.kinds);
    assert_int_equal(own.passes, verdict.kinds == 0);
    for (int d = 0; d < SB_MAP_DIRECTIONS; d++) {
      assert_margin(&own, (enum sb_map_direction)d);
      changing += own.margins[d].changes;
    }
    sb_scenario_clear(&loaded_scenario);
  }
  assert_true(changing >= 6); /* or the shipped scenarios would show nothing */
}

static void margins_of_thresholds_beside_the_lattice_agree_with_runs(void **state)
{
  (void)state;
  static const char *const sets[] = {"controller.downshift_below=154.3 rpm", "controller.upshift_above=241.37 rpm"};
  loaded_take(shipped[0], sets, 2);
  const struct sb_map_own own = look_around();
  assert_near(own.downshift_fraction, 154.3 / 310.0, 1e-12);
  for (int d = 0; d < SB_MAP_DIRECTIONS; d++) assert_margin(&own, (enum sb_map_direction)d);
  assert_true(own.margins[SB_MAP_UP_HIGHER].changes);
  sb_scenario_clear(&loaded_scenario);
}

static void letters_and_words_of_classes_are_all_different(void **state)
{
  (void)state;
  for (int a = 0; a < SB_MAP_CLASS_COUNT; a++) {
    for (int b = 0; b < a; b++) {
      const enum sb_map_class one = (enum sb_map_class)a, other = (enum sb_map_class)b;
      assert_true(sb_map_class_letter(one) != sb_map_class_letter(other));
      assert_string_not_equal(sb_map_class_words(one), sb_map_class_words(other));
    }
    assert_true(sb_map_class_letter((enum sb_map_class)a) != '@');
  }
  char text[SB_MAP_VERDICTS_SIZE];
  const struct sb_map_verdict all = {(1U << SB_VERDICT_KIND_COUNT) - 1, SB_CAUSE_LOAD};
  assert_string_equal(
      sb_map_all_verdicts(&all, text),
      "stall;reversed output;runs back;shift not engaged;hunting;busy shifting;drive cut;overspeed;overheated;overload;"
      "clutch slips;slipping;stuck low;threshold out of reach;needless downshift");
  assert_int_equal(sb_map_class_of(&all), SB_MAP_STALLS);
  const struct sb_map_verdict none = {0, SB_CAUSE_NONE};
  assert_string_equal(sb_map_all_verdicts(&none, text), "passes");
  assert_int_equal(sb_map_class_of(&none), SB_MAP_PASSES);
}

/* Only what passes, and only without a single shift. */
static void what_passes_without_a_shift_is_a_class_of_its_own(void **state)
{
  (void)state;
  const struct sb_map_figures fixed = {.shift_count = 0}, once = {.shift_count = 1};
  const struct sb_map_verdict none = {0, SB_CAUSE_NONE}, stall = {1U << SB_VERDICT_STALL, SB_CAUSE_NONE};
  assert_int_equal(sb_map_class_of_run(&none, &fixed), SB_MAP_NEVER_SHIFTS);
  assert_int_equal(sb_map_class_of_run(&none, &once), SB_MAP_PASSES);
  assert_int_equal(sb_map_class_of_run(&stall, &fixed), SB_MAP_STALLS);
}

/* The winch starts in its fast gear, which its heaviest load takes to a reading of 35.1 % in steady state: below that nothing shifts. */
static void the_shipped_winch_never_shifts_below_its_fast_gears_least_reading(void **state)
{
  (void)state;
  loaded_take_shipped("well-winch");
  const struct sb_map_options options = loaded_plane(&loaded_scenario.model, 0.01, 0.9, 0.02, 1.0, 0.01);
  const double least = sb_closed_form_solve(&loaded_scenario.model).gears[1].heaviest_reading;
  struct sb_map map;
  loaded_map(&options, &map);
  int fixed = 0, shifting = 0;
  for (size_t i = 0; i < map.cell_count; i++) {
    const struct sb_map_cell *cell = &map.cells[i];
    const bool is_below = sb_map_axis_at(&options.downshift, cell->downshift_last) < least;
    if (sb_map_class_of_run(&cell->verdict, &cell->figures) == SB_MAP_NEVER_SHIFTS) {
      assert_true(is_below);
      fixed++;
    } else if (cell->verdict.kinds == 0) {
      assert_false(is_below);
      shifting++;
    }
  }
  assert_true(fixed > 0 && shifting > 0);
  sb_map_clear(&map);
  sb_scenario_clear(&loaded_scenario);
}

struct drawing {
  const struct sb_map *map;
  const struct sb_map_own *own;
  bool is_whole;
};

static void draw(FILE *out, const void *context)
{
  const struct drawing *drawing = context;
  const struct sb_map_wishes wishes = {.is_whole = drawing->is_whole};
  assert_int_equal(sb_map_write_text(out, &loaded_scenario.model, drawing->map, drawing->own, &wishes, NULL), SB_OK);
}

static void assert_narrow(const char *text)
{
  for (const char *line = text; *line != 0;) {
    const size_t length = strcspn(line, "\n");
    if (length > 80) fail_msg("%zu columns: %.*s", length, (int)length, line);
    line += length + (line[length] == '\n');
  }
}

/* The k-th line of a text. */
static const char *line_at(const char *text, int k)
{
  for (; k > 0; k--) text = strchr(text, '\n') + 1;
  return text;
}

/* 41 columns of one step; 24 rows hold 41 steps in pairs, of which the lower one is drawn. Every letter is run. */
static void every_letter_of_a_picture_is_what_a_run_of_its_own_comes_to(void **state)
{
  (void)state;
  loaded_take("../scenarios/hunting-crawler.yaml", NULL, 0);
  const double step = 0.0025;
  const struct sb_map_options options = loaded_plane(&loaded_scenario.model, 0.6, 0.7, 0.68, 0.78, step);
  const struct sb_map_own own = look_around();
  struct sb_map map;
  loaded_map(&options, &map);
  const struct drawing drawing = {&map, &own, true};
  char *whole = cover_written_by(draw, &drawing);
  const char *text = strstr(whole, "\n\n") + 2; /* behind the head */
  assert_narrow(whole);
  int seen[128] = {0};
  for (int r = 0; r < 21; r++) {
    const char *line = line_at(text, 1 + 20 - r);
    const size_t length = strcspn(line, "\n");
    assert_true(line[10] == '|' || line[10] == '+');
    for (int c = 0; c < 41; c++) {
      const double downshift = 0.6 + c * step, upshift = 0.68 + 2 * r * step;
      const char got = 11 + (size_t)c < length ? line[11 + c] : ' ';
      struct sb_map_figures figures;
      const struct sb_map_verdict verdict = run_at(downshift, upshift, &figures);
      const char letter = sb_map_class_letter(sb_map_class_of_run(&verdict, &figures));
      const char want = downshift >= upshift - 1e-9 ? ' ' : c == 20 && fabs(upshift - 0.75) < 1e-9 ? '@' : letter;
      if (got != want) fail_msg("down %g up %g: got '%c', want '%c' in\n%s", downshift, upshift, got, want, text);
      seen[(unsigned char)got]++;
    }
  }
  assert_true(seen['.'] > 20 && seen['F'] > 20 && seen['H'] > 20 && seen['@'] == 1 && seen[' '] > 0);
  free(whole);
  sb_map_clear(&map);
  sb_scenario_clear(&loaded_scenario);
}

/* Marks by formula, so that what is drawn can be told: the boundary of a closed-form hunting band. */
static void picture_has_axes_labels_and_the_shape_that_was_painted(void **state)
{
  (void)state;
  const struct sb_picture_axis downshift = {"down", "%", 0.1, 0.1, 999}, upshift = {"up", "%", 0.1, 0.1, 1050};
  struct sb_picture picture;
  assert_int_equal(
      sb_picture_init(&picture, &downshift, (struct sb_span){599, 648}, &upshift, (struct sb_span){699, 738}, NULL),
      SB_OK);
  sb_sketch_paint(&picture.sketch, (struct sb_span){0, 998}, (struct sb_span){0, 1049}, '.');
  sb_sketch_paint(&picture.sketch, (struct sb_span){619, 638}, (struct sb_span){0, 719}, 'H');
  sb_picture_mark_point(&picture, 61.05, 73.0, '@');
  FILE *file = tmpfile();
  sb_picture_write(file, &picture);
  char text[4096] = "";
  rewind(file);
  assert_true(fread(text, 1, sizeof text - 1, file) > 0);
  fclose(file);
  sb_picture_clear(&picture);
  static const char want[] = "  up, %\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "       73 +..........@.......................................\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "          |..................................................\n"
                             "       72 +....................HHHHHHHHHHHHHHHHHHHH..........\n";
  if (strncmp(text, want, sizeof want - 1) != 0) fail_msg("got\n%s\nwant\n%s", text, want);
  const char *foot = strstr(text, "          ++---");
  assert_non_null(foot);
  assert_string_equal(foot, "          ++---------+---------+---------+---------+---------\n"
                            "           60        61        62        63        64\n"
                            "                                                      down, %\n");
}

static void changes_are_found_and_shown(void **state)
{
  (void)state;
  struct sb_sketch sketch;
  struct sb_span across = {0, 99}, upward = {0, 99};
  assert_int_equal(sb_sketch_init(&sketch, across, upward, 100, NULL), SB_OK);
  assert_false(sb_sketch_find_changes(&sketch, &across, &upward));
  sb_sketch_paint(&sketch, across, upward, '.');
  assert_false(sb_sketch_find_changes(&sketch, &across, &upward));
  sb_sketch_paint(&sketch, (struct sb_span){40, 49}, (struct sb_span){70, 79}, 'H');
  assert_true(sb_sketch_find_changes(&sketch, &across, &upward));
  assert_int_equal(across.first, 39);
  assert_int_equal(across.last, 50);
  assert_int_equal(upward.first, 69);
  assert_int_equal(upward.last, 80);
  sb_sketch_make_room(&across, 90, 95);
  assert_int_equal(across.first, 37);
  assert_int_equal(across.last, 90);
  sb_sketch_clear(&sketch);

  /* Coarser than the plane: the ends are never inside of what changes. */
  across = upward = (struct sb_span){0, 999};
  assert_int_equal(sb_sketch_init(&sketch, across, upward, 100, NULL), SB_OK);
  sb_sketch_paint(&sketch, across, upward, '.');
  sb_sketch_paint(&sketch, (struct sb_span){400, 499}, (struct sb_span){700, 799}, 'H');
  assert_true(sb_sketch_find_changes(&sketch, &across, &upward));
  assert_in_range(across.first, 380, 399);
  assert_in_range(upward.last, 800, 820);
  sb_sketch_clear(&sketch);
}

static void pictures_are_at_most_eighty_columns_wide(void **state)
{
  (void)state;
  for (int k = 0; k < SHIPPED_COUNT; k++) {
    loaded_take(shipped[k], NULL, 0);
    const struct sb_map_own own = look_around();
    static const double steps[] = {0.0005, 0.001, 0.0025, 0.003, 0.01, 0.1};
    for (size_t s = 0; s < sizeof steps / sizeof steps[0]; s++) {
      const struct sb_map_options options =
          loaded_plane(&loaded_scenario.model, steps[s], 0.9, steps[s], 1.1, steps[s]);
      struct sb_map map;
      loaded_map(&options, &map);
      for (int is_whole = 0; is_whole < 2; is_whole++) {
        const struct drawing drawing = {&map, &own, is_whole};
        char *text = cover_written_by(draw, &drawing);
        assert_narrow(text);
        free(text);
      }
      sb_map_clear(&map);
    }
    sb_scenario_clear(&loaded_scenario);
  }
}

struct limits {
  const struct sb_model *model;
  struct sb_map_options options;
};

static void write_limits(FILE *out, const void *context)
{
  const struct limits *limits = context;
  assert_int_equal(sb_map_write_limits(out, limits->model, &limits->options), 0);
}

/* On the hunting boundary both gears carry the same torque at their thresholds; on the others, the lightest load. */
static void limits_lie_where_the_closed_forms_meet(void **state)
{
  (void)state;
  int hunting = 0, stuck = 0, needless_downshift = 0;
  loaded_take("../scenarios/hunting-crawler.yaml", NULL, 0);
  const struct limits limits = {&loaded_scenario.model,
                                loaded_plane(&loaded_scenario.model, 0.005, 0.99, 0.005, 1.0, 0.005)};
  const struct sb_motor_line line = sb_torque_balance_line(&loaded_scenario.model);
  const double lightest = sb_closed_form_solve(&loaded_scenario.model).lightest_load_nm;
  char *csv = cover_written_by(write_limits, &limits);
  assert_int_equal(strncmp(csv, "limit,downshift_below_pct,upshift_above_pct\n", 22), 0);
  for (const char *row = strchr(csv, '\n') + 1; *row != 0;) {
    char name[32];
    snprintf(name, sizeof name, "%.*s", (int)strcspn(row, ","), row);
    row += strcspn(row, ",") + 1;
    const double downshift = cover_take_number(&row) / 100.0, upshift = cover_take_number(&row) / 100.0;
    const double carried_upshift = sb_steady_load_nm(&loaded_scenario.model, &line, 0, upshift);
    const double carried_downshift = sb_steady_load_nm(&loaded_scenario.model, &line, 1, downshift);
    assert_true(downshift <= upshift);
    /* Ten digits of a percentage are printed: 1e-10 of the no-load speed, times the line's slope. */
    if (strcmp(name, "hunting") == 0) {
      hunting++;
      if (upshift > downshift + 1e-9) assert_near(carried_upshift, carried_downshift, 1e-8);
    } else if (strcmp(name, "stuck low") == 0) {
      stuck++;
      assert_near(carried_upshift, lightest, 1e-8);
    } else {
      assert_string_equal(name, "needless downshift");
      needless_downshift++;
      assert_near(carried_downshift, lightest, 1e-8);
    }
  }
  assert_true(hunting > 100);
  assert_int_equal(stuck, 2);
  assert_int_equal(needless_downshift, 2);
  free(csv);
  sb_scenario_clear(&loaded_scenario);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(csv_covers_the_triangle_exactly_once),
      cmocka_unit_test(part_of_the_plane_is_covered_once_too),
      cmocka_unit_test(sorted_rectangles_rise_by_down_and_then_by_up),
      cmocka_unit_test(rectangles_that_touch_and_are_alike_are_joined_along_both_axes),
      cmocka_unit_test(points_of_a_line_outside_of_all_rectangles_have_none),
      cmocka_unit_test(downshift_thresholds_end_below_the_reference),
      cmocka_unit_test(the_worst_verdict_has_its_name),
      cmocka_unit_test(upshift_thresholds_end_at_ten_times_the_reference),
      cmocka_unit_test(a_pair_is_named_by_its_gears_or_by_its_number),
      cmocka_unit_test(margins_agree_with_runs_on_both_sides),
      cmocka_unit_test(margins_of_thresholds_beside_the_lattice_agree_with_runs),
      cmocka_unit_test(letters_and_words_of_classes_are_all_different),
      cmocka_unit_test(what_passes_without_a_shift_is_a_class_of_its_own),
      cmocka_unit_test(the_shipped_winch_never_shifts_below_its_fast_gears_least_reading),
      cmocka_unit_test(every_letter_of_a_picture_is_what_a_run_of_its_own_comes_to),
      cmocka_unit_test(picture_has_axes_labels_and_the_shape_that_was_painted),
      cmocka_unit_test(changes_are_found_and_shown),
      cmocka_unit_test(pictures_are_at_most_eighty_columns_wide),
      cmocka_unit_test(limits_lie_where_the_closed_forms_meet),
      cmocka_unit_test(rectangles_that_pass_are_joined_without_their_figures_and_sorted),
  };
  return cmocka_run_group_tests_name("map_report", tests, place_in_tests, NULL);
}
