// SPDX-License-Identifier: GPL-3.0-or-later
/* struct sb_check: what it holds is what text and JSON say, what it advises cures, and any program can have it. */
#include "shiftband/check.h"

#include <glob.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "text/json.h"
#include "text/words.h"

/* A scenario, checked and written. */
struct checked {
  struct sb_scenario scenario;
  struct sb_check *check;
  char *text;
  char *json;
};

static void write_both(struct checked *checked)
{
  size_t size;
  FILE *text = open_memstream(&checked->text, &size);
  assert_int_equal(sb_check_write_text(checked->check, text), 0);
  assert_int_equal(fclose(text), 0);
  FILE *json = open_memstream(&checked->json, &size);
  assert_int_equal(sb_check_write_json(checked->check, json), 0);
  assert_int_equal(fclose(json), 0);
}

static void solve(struct checked *checked)
{
  struct sb_error err = {SB_OK, ""};
  checked->check = malloc(sizeof *checked->check);
  assert_non_null(checked->check);
  assert_int_equal(sb_check_solve(&checked->scenario, checked->check, &err), SB_OK);
  write_both(checked);
}

static void load(struct checked *checked, const char *path, const char *const *sets, size_t set_count)
{
  struct sb_faults faults;
  if (sb_scenario_load(path, sets, set_count, &checked->scenario, &faults) != SB_OK) fail_msg("%s", faults.texts[0]);
  sb_faults_clear(&faults);
}

static void clear(struct checked *checked)
{
  free(checked->text);
  free(checked->json);
  free(checked->check);
  sb_scenario_clear(&checked->scenario);
}

static void for_each_scenario(void (*look)(struct checked *checked))
{
  glob_t names;
  assert_int_equal(glob(SB_SOURCE_DIR "/scenarios/*.yaml", 0, NULL, &names), 0);
  assert_int_equal(glob(SB_SOURCE_DIR "/tests/good/*.yaml", GLOB_APPEND, NULL, &names), 0);
  assert_true(names.gl_pathc > 20);
  for (size_t k = 0; k < names.gl_pathc; k++) {
    struct checked checked;
    load(&checked, names.gl_pathv[k], NULL, 0);
    solve(&checked);
    look(&checked);
    clear(&checked);
  }
  globfree(&names);
}

/* The text as it is between line breaks and wide gaps. */
static void expect_text(const struct checked *checked, const char *format, ...) __attribute__((format(printf, 2, 3)));

static void expect_text(const struct checked *checked, const char *format, ...)
{
  char part[2048];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(part, sizeof part, format, arguments);
  va_end(arguments);
  if (shell_find(checked->text, part) == NULL) fail_msg("no \"%s\" in:\n%s", part, checked->text);
}

/* A member in the part of the JSON text that begins with `start`. */
static void expect_number(const struct checked *checked, const char *start, const char *key, double value)
{
  char number[SB_JSON_NUMBER_SIZE], member[256];
  const char *from = strstr(checked->json, start);
  snprintf(member, sizeof member, "\"%s\":%s", key, sb_json_format_number(value, number));
  if (from == NULL || strstr(from, member) == NULL) fail_msg("no %s from %s in:\n%s", member, start, checked->json);
}

static void compare_gears(struct checked *checked)
{
  const struct sb_check_case *at = &checked->check->cases[SB_CHECK_NOMINAL];
  for (int g = 0; g < at->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->gears[g].figures;
    expect_number(checked, "\"gears\"", "ratio", gear->ratio);
    expect_number(checked, "\"gears\"", "stall_torque_nm", gear->stall_torque_nm);
    expect_number(checked, "\"gears\"", "time_constant_s", gear->time_constant_s);
    expect_number(checked, "\"gears\"", "reading_pct", 100.0 * gear->heaviest_reading);
    expect_text(checked, "%s N.m", sb_words_figure(gear->stall_torque_nm).text);
    expect_text(checked, "%s s", sb_words_figure(gear->time_constant_s).text);
    expect_text(checked, "%s kg.m2", sb_words_figure(gear->inertia_kg_m2).text);
  }
}

static void compare_pairs(struct checked *checked)
{
  const struct sb_check_case *at = &checked->check->cases[SB_CHECK_NOMINAL];
  for (int p = 0; p + 1 < at->gear_count; p++) {
    const struct sb_check_pair *pair = &at->pairs[p];
    expect_number(checked, "\"pairs\"", "downshift_torque_nm", pair->figures.downshift_torque_nm);
    expect_number(checked, "\"pairs\"", "upshift_torque_nm", pair->figures.upshift_torque_nm);
    expect_number(checked, "\"pairs\"", "least_safe_upshift_pct", 100.0 * pair->figures.least_safe_upshift);
    expect_number(checked, "\"pairs\"", "shortest_dwell_s", pair->figures.shortest_dwell_s);
    expect_text(checked, "Between %s and %s: downshift below %s", pair->slower, pair->faster,
                sb_words_threshold(pair->downshift_below).text);
    expect_text(checked, "%s N.m, which %s carries at", sb_words_figure(pair->figures.upshift_torque_nm).text,
                pair->slower);
    expect_text(checked, "The shortest dwell is %s s after", sb_words_figure(pair->figures.shortest_dwell_s).text);
  }
}

static void compare_remarks(struct checked *checked)
{
  const struct sb_check_remarks *const lists[] = {&checked->check->findings, &checked->check->notes,
                                                  &checked->check->cautions};
  static const char *const keys[] = {"\"findings\"", "\"notes\"", "\"cautions\""};
  for (int k = 0; k < 3; k++) {
    for (int n = 0; n < lists[k]->count; n++) {
      const struct sb_check_remark *remark = &lists[k]->items[n];
      assert_true(strlen(remark->text) + 1 < sizeof remark->text); /* nothing was cut */
      assert_true(remark->pair >= -1 && remark->pair + 1 < checked->check->cases[SB_CHECK_NOMINAL].gear_count);
      expect_text(checked, "%s", remark->text);
      if (strstr(strstr(checked->json, keys[k]), remark->text) == NULL) fail_msg("no %s in JSON", remark->text);
    }
  }
}

static void compare(struct checked *checked)
{
  compare_gears(checked);
  compare_pairs(checked);
  compare_remarks(checked);
  if (checked->check->heat.is_present) {
    const struct sb_check_burden *blocked = &checked->check->heat.burdens[0];
    expect_number(checked, "\"blocked\"", "start_loss_w", blocked->start_loss_w);
    expect_text(checked, "%s W", sb_words_figure(blocked->start_loss_w).text);
  }
}

static void text_and_json_say_what_the_struct_holds(void **state)
{
  (void)state;
  for_each_scenario(compare);
}

/* Columns are characters: bytes that do not continue one. */
static void expect_fit(const struct checked *checked, int width)
{
  int columns = 0;
  for (const char *at = checked->text; *at != 0; at++) {
    columns = *at == '\n' ? 0 : columns + (((unsigned char)*at & 0xC0) != 0x80);
    if (columns > width) fail_msg("%d columns are too few at %.60s in:\n%s", width, at, checked->text);
  }
}

static void fit_widths(struct checked *checked)
{
  static const int widths[] = {80, 101, 160};
  for (size_t k = 0; k < sizeof widths / sizeof *widths; k++) {
    free(checked->text);
    free(checked->json);
    sb_text_set_width(widths[k]);
    write_both(checked);
    expect_fit(checked, widths[k]);
    assert_null(strstr(checked->text, " \n")); /* no blanks at the end of a line */
  }
  sb_text_set_width(SB_TEXT_WIDTH_DEFAULT);
}

static void text_fits_the_width_that_is_set(void **state)
{
  (void)state;
  for_each_scenario(fit_widths);
}

/* 31 characters of two bytes, 62 bytes, the most that a name may have is 63. */
static const char long_name[] = "äöüßéèàçñäöüßéèàçñäöüßéèàçñäöüß";

static void lengthen(struct checked *checked)
{
  for (int g = 0; g < checked->check->cases[0].gear_count; g++) {
    snprintf(checked->scenario.model.gearbox.gears[g].name, SB_NAME_SIZE, "%s%c", long_name, '1' + g);
  }
  free(checked->text);
  free(checked->json);
  free(checked->check);
  solve(checked);
  expect_fit(checked, SB_TEXT_WIDTH_DEFAULT);
  size_t whole = 0, begun = 0;
  for (const char *at = checked->text; (at = strstr(at, "äö")) != NULL; at++) {
    if (at > checked->text && strncmp(at - 4, "çñ", 4) == 0) continue; /* within a name */
    begun++;
    whole += strncmp(at, long_name, strlen(long_name)) == 0;
  }
  assert_true(whole >= 2); /* at least in the tables of gears and of steady states */
  assert_int_equal(whole, begun);
}

static void long_names_of_gears_are_never_cut(void **state)
{
  (void)state;
  for_each_scenario(lengthen);
}

static const struct sb_check_remark *find(const struct sb_check *check, const char *kind, int pair)
{
  for (int k = 0; k < check->findings.count; k++) {
    const struct sb_check_remark *remark = &check->findings.items[k];
    if (remark->pair == pair && strcmp(remark->kind, kind) == 0) return remark;
  }
  return NULL;
}

/* Each cure alone takes the finding away. */
static void expect_cures(const char *path, const char *const *sets, size_t set_count, const char *kind, int pair,
                         int cure_count)
{
  char cure[256];
  const char *cured_sets[4] = {NULL};
  struct checked checked;
  load(&checked, path, sets, set_count);
  solve(&checked);
  const struct sb_check_remark *finding = find(checked.check, kind, pair);
  if (finding == NULL) fail_msg("%s: no %s in:\n%s", path, kind, checked.text);
  const int found_count = finding != NULL ? finding->cure_count : -1;
  assert_int_equal(found_count, cure_count);
  for (int k = 0; k < found_count; k++) {
    struct checked cured;
    expect_text(&checked, "%s", finding->cures[k].key);
    snprintf(cure, sizeof cure, "%s=%s", finding->cures[k].key, finding->cures[k].value);
    for (size_t n = 0; n < set_count; n++) cured_sets[n] = sets[n];
    cured_sets[set_count] = cure;
    load(&cured, path, cured_sets, set_count + 1);
    solve(&cured);
    if (find(cured.check, kind, pair) != NULL) fail_msg("%s does not cure %s: %s", cure, kind, cured.text);
    clear(&cured);
  }
  clear(&checked);
}

static void each_cure_takes_its_finding_away(void **state)
{
  (void)state;
  static const char crawler[] = SB_SOURCE_DIR "/scenarios/hunting-crawler.yaml";
  static const char cart[] = SB_SOURCE_DIR "/scenarios/tray-cart.yaml";
  static const char lift[] = SB_SOURCE_DIR "/tests/good/everything.yaml";
  static const char table[] = SB_SOURCE_DIR "/tests/good/drive.yaml";
  static const char *const stuck[] = {"controller.upshift_above=97 %"};
  static const char *const needless[] = {"controller.downshift_below=92 %", "controller.upshift_above=95 %"};
  static const char *const hasty[] = {"controller.dwell=20 ms"};
  expect_cures(crawler, NULL, 0, "hunting", 0, 2);
  expect_cures(lift, NULL, 0, "hunting", 0, 2);
  expect_cures(lift, NULL, 0, "dwell too short", 1, 1);
  expect_cures(cart, stuck, 1, "stuck low", 0, 1);
  expect_cures(cart, needless, 2, "needless downshift", 0, 1);
  expect_cures(cart, hasty, 1, "dwell too short", 0, 1);
  expect_cures(table, NULL, 0, "start delay too short", 0, 1);
  expect_cures(SB_SOURCE_DIR "/tests/good/worm-winch.yaml", NULL, 0, "jams", -1, 1);
}

static const char winch[] = SB_SOURCE_DIR "/tests/good/worm-winch.yaml";

/* 20 kg on a drum of 50 mm radius through 40:1 at 40 %, the same friction both ways: 0.1226 N.m to lower. */
static void gears_that_lock_themselves_are_reported_with_what_lowering_takes(void **state)
{
  (void)state;
  struct checked checked;
  load(&checked, winch, NULL, 0);
  solve(&checked);
  const struct sb_check_gear *gear = &checked.check->cases[SB_CHECK_NOMINAL].gears[0];
  assert_near(gear->figures.back_efficiency, -0.5, 1e-12);
  assert_near(gear->figures.lowering_torque_nm, 0.5 * 20.0 * 9.80665 * 0.05 / 40.0, 1e-12);
  assert_true(gear->jams);
  expect_text(&checked, "%s", "worm  -50.0 %     0.1226 N.m of 0.8                it jams");
  assert_null(find(checked.check, "stall", -1));
  clear(&checked);

  static const char *const weak[] = {"motor.stall_torque=0.12 N.m"};
  load(&checked, winch, weak, 1);
  solve(&checked);
  assert_non_null(find(checked.check, "stall", -1)); /* it stays where it is, up and down */
  clear(&checked);

  static const char *const heavy[] = {"motor.rotor_inertia=1e-4 kg.m2"};
  load(&checked, winch, heavy, 1);
  solve(&checked);
  assert_false(checked.check->cases[SB_CHECK_NOMINAL].gears[0].jams);
  expect_text(&checked, "%s", "worm  -50.0 %     0.1226 N.m of 0.8                it slows down");
  assert_int_equal(checked.check->findings.count, 0);
  clear(&checked);
}

static bool has_note(const struct checked *checked, const char *words)
{
  for (int k = 0; k < checked->check->notes.count; k++) {
    if (strstr(checked->check->notes.items[k].text, words) != NULL) return true;
  }
  return false;
}

/* Under 50 % a gear locks, whatever the scenario says; makers of drives call 45 to 55 % uncertain. */
static void an_efficiency_under_one_half_is_reported_where_the_way_back_ignores_it(void **state)
{
  (void)state;
  static const struct {
    const char *sets[2];
    bool is_lock_reported, is_doubt_reported;
  } rows[] = {
      {{"gearbox.mesh_efficiency=0.4", "gearbox.back_efficiency=0.4"}, true, false},
      {{"gearbox.mesh_efficiency=0.4", "gearbox.back_efficiency=auto"}, false, false},
      {{"gearbox.mesh_efficiency=0.5", "gearbox.back_efficiency=0.5"}, false, false},
      {{"gearbox.mesh_efficiency=0.6", "gearbox.back_efficiency=0.6"}, false, false},
      {{"gearbox.mesh_efficiency=0.44", "gearbox.back_efficiency=auto"}, false, false},
      {{"gearbox.mesh_efficiency=0.45", "gearbox.back_efficiency=auto"}, false, true},
      {{"gearbox.mesh_efficiency=0.48", "gearbox.back_efficiency=auto"}, false, true},
      {{"gearbox.mesh_efficiency=0.52", "gearbox.back_efficiency=auto"}, false, true},
      {{"gearbox.mesh_efficiency=0.52", "gearbox.back_efficiency=0"}, false, true},
      {{"gearbox.mesh_efficiency=0.55", "gearbox.back_efficiency=0"}, false, true},
      {{"gearbox.mesh_efficiency=0.56", "gearbox.back_efficiency=0"}, false, false},
  };
  for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
    struct checked checked;
    load(&checked, winch, rows[i].sets, 2);
    solve(&checked);
    if (has_note(&checked, "locks itself if friction") != rows[i].is_lock_reported ||
        has_note(&checked, "is uncertain") != rows[i].is_doubt_reported)
      fail_msg("row %zu:\n%s", i, checked.text);
    clear(&checked);
  }
}

#define CART SB_SOURCE_DIR "/scenarios/tray-cart.yaml"

/* The cart's motor has 0.38 N m at stall with its supply. */
static void a_clutch_that_is_weaker_than_the_motor_is_noted(void **state)
{
  (void)state;
  static const char *const clutches[] = {"gearbox.shifter={kind: clutch, torque: 0.3 N.m}",
                                         "gearbox.shifter={kind: clutch, torque: 0.5 N.m}"};
  for (int k = 0; k < 2; k++) {
    struct checked checked;
    load(&checked, CART, &clutches[k], 1);
    solve(&checked);
    assert_int_equal(has_note(&checked, "the clutch transmits"), k == 0);
    clear(&checked);
  }
}

/*
 * The current falls from 1.25 A at stall to 0.07 A without a load, so the motor draws 0.542 A at 60 % of its no-load speed and
 * 0.778 A at 40 %; the cart shifts down below 50 %. How fast the motor is does not matter, and of a current nothing is said.
 */
static void a_downshift_below_what_the_current_limit_leaves_steady_is_noted(void **state)
{
  (void)state;
  static const char words[] =
      "no load keeps the motor at a reading below 60.0 %: it stalls. The downshift below 50 % in fast";
  static const struct {
    const char *limit, *other;
    bool is_noted;
  } rows[] = {{"drive={current_limit: 0.542 A}", "motor.no_load_speed=310 rpm", true},
              {"drive={current_limit: 0.542 A}", "motor.no_load_speed=10 rpm", true},
              {"drive={current_limit: 0.778 A}", "motor.no_load_speed=310 rpm", false},
              {"drive={current_limit: 1.3 A}", "motor.no_load_speed=310 rpm", false},
              {"drive={current_limit: 0.542 A}", "controller.reading=current", false}};
  for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
    struct checked checked;
    const char *const sets[] = {"supply={open_circuit_voltage: 12 V}", rows[k].limit, rows[k].other};
    load(&checked, CART, sets, 3);
    solve(&checked);
    assert_int_equal(has_note(&checked, words), rows[k].is_noted);
    assert_int_equal(has_note(&checked, "no load keeps the motor"), rows[k].is_noted);
    clear(&checked);
  }
}

static bool has_charge(const struct sb_check_battery *battery, double fraction)
{
  bool is_found = false;
  for (int k = 0; k < battery->charge_count; k++) is_found |= battery->charges[k].charge_fraction == fraction;
  return is_found;
}

static void look_at_charges(struct checked *checked)
{
  const struct sb_check_battery *battery = &checked->check->battery;
  if (!battery->is_present) return;
  for (int k = 1; k < battery->charge_count; k++)
    assert_true(battery->charges[k].charge_fraction < battery->charges[k - 1].charge_fraction);
  for (int k = 0; k <= 100; k++) assert_true(has_charge(battery, k / 100.0));
  for (int k = 0; k < battery->span_count; k++) {
    assert_true(has_charge(battery, battery->spans[k].from_fraction));
    assert_true(has_charge(battery, battery->spans[k].to_fraction));
  }
}

static void charges_fall_by_hundredths_and_have_both_ends_of_each_span(void **state)
{
  (void)state;
  for_each_scenario(look_at_charges);
}

static void a_tolerance_beyond_their_number_does_not_count(void **state)
{
  (void)state;
  struct checked checked;
  load(&checked, CART, NULL, 0);
  assert_int_equal(checked.scenario.tolerance_count, 1); /* the supply's voltage, which gives two more cases */
  solve(&checked);
  assert_int_equal(checked.check->case_count, 3);
  free(checked.text);
  free(checked.json);
  free(checked.check);
  checked.scenario.tolerance_count = 0;
  solve(&checked);
  assert_int_equal(checked.check->case_count, 1);
  clear(&checked);
}

/* A note of a scenario as it is, which a setting takes away. */
static void expect_note_without(const char *path, const char *setting, const char *words)
{
  for (size_t count = 0; count < 2; count++) {
    struct checked checked;
    load(&checked, path, &setting, count);
    solve(&checked);
    assert_int_equal(has_note(&checked, words), count == 0);
    clear(&checked);
  }
}

/* The drill has a winding that warms up, and no magnet. */
static void a_warm_winding_without_a_magnet_is_noted(void **state)
{
  (void)state;
  expect_note_without(SB_SOURCE_DIR "/scenarios/seed-drill.yaml", "motor.magnet.material=alnico",
                      "magnet: without motor.magnet the magnets keep their strength");
}

/* The turntable of drive.yaml, its band of 25 % of 100 rad/s, and a cart whose motor is only switched. */
static void the_drive_is_told_as_it_is_set(void **state)
{
  (void)state;
  struct checked checked;
  load(&checked, SB_SOURCE_DIR "/tests/good/drive.yaml", NULL, 0);
  solve(&checked);
  const struct sb_check_drive *drive = &checked.check->drive;
  assert_string_equal(drive->mode, "speed control");
  assert_true(drive->is_speed_controlled && drive->is_brake_at_off && drive->is_current_read);
  assert_true(drive->has_stop && drive->has_reverse);
  assert_false(drive->is_plain);
  assert_false(drive->is_duty_read);
  assert_string_equal(drive->when_off, "brake");
  assert_string_equal(drive->reading, "current");
  assert_near_rel(drive->reference_a, 6.0, 1e-15);
  assert_near_rel(drive->limit_fraction, 0.9, 1e-15);
  assert_near_rel(drive->ramp_s, 0.4, 1e-15);
  assert_near_rel(drive->period_s, 0.002, 1e-15);
  assert_near_rel(drive->target_rad_s, 60.0, 1e-15);
  assert_near_rel(drive->target_fraction, 0.6, 1e-15);
  assert_near_rel(drive->proportional_band_rad_s, 25.0, 1e-14);
  assert_near_rel(drive->integral_time_s, 0.08, 1e-14);
  clear(&checked);

  load(&checked, CART, NULL, 0);
  solve(&checked);
  drive = &checked.check->drive;
  assert_string_equal(drive->mode, "open loop");
  assert_true(drive->is_plain);
  assert_false(drive->is_speed_controlled || drive->is_brake_at_off || drive->has_stop || drive->has_reverse);
  assert_string_equal(drive->reading, "speed");
  assert_true(isnan(drive->target_rad_s) && isnan(drive->target_fraction) && isnan(drive->reference_a));
  assert_true(isnan(drive->proportional_band_rad_s) && isnan(drive->integral_time_s));
  clear(&checked);
}

static void a_gear_that_turns_the_output_backwards_is_reported_whichever_it_is(void **state)
{
  (void)state;
  static const char *const rows[][2] = {{"gearbox.gears.first.motor_direction=reverse", "Reversed output: first"},
                                        {"gearbox.gears.second.motor_direction=reverse", "Reversed output: second"},
                                        {"gearbox.gears.third.motor_direction=reverse", "Reversed output: third"}};
  for (int k = 0; k < 3; k++) {
    struct checked checked;
    load(&checked, SB_SOURCE_DIR "/scenarios/three-speed-feeder.yaml", &rows[k][0], 1);
    solve(&checked);
    expect_text(&checked, "%s", rows[k][1]);
    clear(&checked);
  }
}

static void what_a_full_reading_is_is_noted_where_nobody_gives_it(void **state)
{
  (void)state;
  expect_note_without(CART, "controller.reference_speed=300 rpm", "100 % of the reading is the motor's no-load speed");
}

static void a_good_scenario_has_no_findings(void **state)
{
  (void)state;
  struct checked checked;
  load(&checked, SB_SOURCE_DIR "/scenarios/tray-cart.yaml", NULL, 0);
  solve(&checked);
  assert_int_equal(checked.check->findings.count, 0);
  clear(&checked);
}

/* A program of somebody else: the public header, the library, nothing of the project's own. */
static const char program[] =
    "#include <shiftband/check.h>\n"
    "#include <stdlib.h>\n"
    "int main(void) {\n"
    "  struct sb_scenario scenario; struct sb_faults faults; struct sb_error err;\n"
    "  struct sb_check *check = malloc(sizeof *check);\n"
    "  if (sb_scenario_load(\"scenarios/hunting-crawler.yaml\", NULL, 0, &scenario, &faults) != SB_OK) return 1;\n"
    "  if (sb_check_solve(&scenario, check, &err) != SB_OK) return 2;\n"
    "  printf(\"stall %.17g band %d cures %d %s=%s\\n\", check->cases[0].gears[0].figures.stall_torque_nm,\n"
    "         check->cases[0].pairs[0].figures.has_band, check->findings.items[0].cure_count,\n"
    "         check->findings.items[0].cures[0].key, check->findings.items[0].cures[0].value);\n"
    "  free(check); sb_scenario_clear(&scenario); sb_faults_clear(&faults);\n"
    "  return 0;\n"
    "}\n";

static void a_program_with_only_the_public_header_gets_the_figures(void **state)
{
  (void)state;
  char command[4096];
  snprintf(command, sizeof command,
           "cat > $T/other.c <<'END'\n%sEND\n"
           "L=${SHIFTBAND%%/*}; case $L in *san*) F=-fsanitize=address,undefined;; *cov*) F=--coverage;; esac\n"
           "${CC:-cc} -std=c17 -Wall -Werror -Iinclude -o $T/other $T/other.c $L/libshiftband.a $F -fopenmp "
           "$(pkg-config --libs gsl yaml-0.1) -lm && $T/other",
           program);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("%s", said->text);
  shell_expect(said, "band 1 cures 2 controller.upshift_above=78.9 %");
  struct checked checked;
  load(&checked, SB_SOURCE_DIR "/scenarios/hunting-crawler.yaml", NULL, 0);
  solve(&checked);
  assert_near(shell_figure(said, "stall "), checked.check->cases[0].gears[0].figures.stall_torque_nm, 0.0);
  clear(&checked);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(text_and_json_say_what_the_struct_holds),
      cmocka_unit_test(text_fits_the_width_that_is_set),
      cmocka_unit_test(long_names_of_gears_are_never_cut),
      cmocka_unit_test(each_cure_takes_its_finding_away),
      cmocka_unit_test(gears_that_lock_themselves_are_reported_with_what_lowering_takes),
      cmocka_unit_test(an_efficiency_under_one_half_is_reported_where_the_way_back_ignores_it),
      cmocka_unit_test(a_clutch_that_is_weaker_than_the_motor_is_noted),
      cmocka_unit_test(a_downshift_below_what_the_current_limit_leaves_steady_is_noted),
      cmocka_unit_test(charges_fall_by_hundredths_and_have_both_ends_of_each_span),
      cmocka_unit_test(a_tolerance_beyond_their_number_does_not_count),
      cmocka_unit_test(a_warm_winding_without_a_magnet_is_noted),
      cmocka_unit_test(the_drive_is_told_as_it_is_set),
      cmocka_unit_test(a_gear_that_turns_the_output_backwards_is_reported_whichever_it_is),
      cmocka_unit_test(what_a_full_reading_is_is_noted_where_nobody_gives_it),
      cmocka_unit_test(a_good_scenario_has_no_findings),
      cmocka_unit_test(a_program_with_only_the_public_header_gets_the_figures),
  };
  return cmocka_run_group_tests_name("check", tests, shell_setup, shell_teardown);
}
