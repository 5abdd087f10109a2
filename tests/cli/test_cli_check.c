// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The program itself: `check`, `keys`, the command line and the exit codes. JSON is read back with libyaml, of whose
 * flow style RFC 8259 text is a part.
 */
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include <yaml.h>

#include "help/near.h"
#include "help/shell.h"

static char folder[] = "/tmp/shiftband_check_XXXXXX";

/* Two gears without friction or drag, so that every figure can be worked out by hand. */
static const char plain[] =
    "name: \"Plain \\\"box\\\"\"\n"
    "motor: {nominal_voltage: 12 V, no_load_speed: 40 rad/s, stall_torque: 0.5 N.m, rotor_inertia: 2e-4 kg.m2}\n"
    "gearbox:\n"
    "  mesh_efficiency: 0.9\n"
    "  shifter: {kind: selector, travel_time: 100 ms}\n"
    "  gears:\n"
    "    - {name: low, meshes: [10/80], motor_direction: forward}\n"
    "    - {name: high, meshes: [10/40], motor_direction: forward}\n"
    "load: {inertia: 0.01 kg.m2, parts: [{kind: constant, manner: resists, torque: 0.3 N.m}]}\n"
    "controller: {start_gear: high, sample_period: 10 ms, start_delay: 1 s, dwell: 2 s, downshift_below: 50 %, upshift_above: 70 %}\n"
    "run: {duration: 5 s, step: 1 ms}\n";

/* ---- running the program ---- */

struct outcome {
  int code; /* -1: it did not exit by itself */
  char *out;
  char *err;
};

static char *read_all(const char *path)
{
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  char *text = calloc(1, 1 << 20);
  assert_non_null(text);
  const size_t length = fread(text, 1, (1 << 20) - 1, file);
  text[length] = 0;
  fclose(file);
  return text;
}

static void path_in_folder(const char *name, char path[256])
{
  snprintf(path, 256, "%s/%s", folder, name);
}

static void write_file(const char *name, const char *text)
{
  char path[256];
  path_in_folder(name, path);
  FILE *file = fopen(path, "wb");
  assert_non_null(file);
  assert_true(fputs(text, file) >= 0);
  assert_int_equal(fclose(file), 0);
}

/* Opens a file as a descriptor of the child; a child that can't ends with 99. */
static void become(const char *path, int descriptor)
{
  const int opened = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);
  if (opened < 0 || dup2(opened, descriptor) < 0) _exit(99);
}

/* Runs the program in the folder with its arguments; out_path NULL: a file of ours. */
static struct outcome run_to(const char *out_path, char *const *arguments)
{
  char out[256];
  char err[256];
  path_in_folder("out", out);
  path_in_folder("err", err);
  const pid_t child = fork();
  assert_true(child >= 0);
  if (child == 0) {
    if (chdir(folder) != 0) _exit(99);
    become(out_path != NULL ? out_path : out, STDOUT_FILENO);
    become(err, STDERR_FILENO);
    execv(SB_PROGRAM, arguments);
    _exit(99);
  }
  int status = 0;
  assert_int_equal(waitpid(child, &status, 0), child);
  return (struct outcome){.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1,
                          .out = out_path != NULL ? calloc(1, 1) : read_all(out),
                          .err = read_all(err)};
}

#define RUN(...) run_to(NULL, (char *[]){(char[]){"shiftband"}, __VA_ARGS__, NULL})

static void outcome_clear(struct outcome *outcome)
{
  free(outcome->out);
  free(outcome->err);
}

static int make_folder(void **state)
{
  (void)state;
  if (mkdtemp(folder) == NULL) return -1;
  write_file("plain.yaml", plain);
  return 0;
}

static int remove_folder(void **state)
{
  (void)state;
  static const char *const names[] = {"out", "err", "plain.yaml", "other.yaml"};
  for (size_t k = 0; k < sizeof names / sizeof names[0]; k++) {
    char path[256];
    path_in_folder(names[k], path);
    unlink(path);
  }
  return rmdir(folder);
}

/* ---- reading JSON back ---- */

static yaml_node_t *member(yaml_document_t *document, yaml_node_t *node, const char *name)
{
  if (node->type == YAML_SEQUENCE_NODE) {
    const long index = strtol(name, NULL, 10);
    if (index >= node->data.sequence.items.top - node->data.sequence.items.start) return NULL;
    return yaml_document_get_node(document, node->data.sequence.items.start[index]);
  }
  if (node->type != YAML_MAPPING_NODE) return NULL;
  for (yaml_node_pair_t *pair = node->data.mapping.pairs.start; pair < node->data.mapping.pairs.top; pair++) {
    const yaml_node_t *key = yaml_document_get_node(document, pair->key);
    if (strcmp((const char *)key->data.scalar.value, name) == 0) return yaml_document_get_node(document, pair->value);
  }
  return NULL;
}

/* The scalar at a path like "pairs.0.upshift_torque_nm", copied; fails the test when it is not there. */
static void scalar_at(const char *json, const char *path, char value[256])
{
  yaml_parser_t parser;
  yaml_document_t document;
  assert_true(yaml_parser_initialize(&parser));
  yaml_parser_set_input_string(&parser, (const unsigned char *)json, strcspn(json, "\n"));
  if (!yaml_parser_load(&parser, &document)) fail_msg("not JSON: %s", json);
  yaml_node_t *node = yaml_document_get_root_node(&document);
  char rest[256];
  snprintf(rest, sizeof rest, "%s", path);
  char *save = NULL;
  for (char *name = strtok_r(rest, ".", &save); name != NULL && node != NULL; name = strtok_r(NULL, ".", &save)) {
    node = member(&document, node, name);
  }
  const bool is_found = node != NULL && node->type == YAML_SCALAR_NODE;
  if (!is_found) fail_msg("no %s in %s", path, json);
  snprintf(value, 256, "%s", is_found ? (const char *)node->data.scalar.value : "");
  yaml_document_delete(&document);
  yaml_parser_delete(&parser);
}

static double number_at(const char *json, const char *path)
{
  char value[256];
  scalar_at(json, path, value);
  char *end = NULL;
  const double number = strtod(value, &end);
  if (end == value || *end != 0) fail_msg("%s is no number: %s", path, value);
  return number;
}

static void expect_scalar(const char *json, const char *path, const char *want)
{
  char value[256];
  scalar_at(json, path, value);
  assert_string_equal(value, want);
}

static void expect_in(const char *text, const char *part)
{
  if (shell_find(text, part) == NULL) fail_msg("no \"%s\" in:\n%s", part, text);
}

/* ---- what check says ---- */

/* Turns every run of blanks and line ends into one blank: sentences as they are before they are broken. */
static void flatten(char *text)
{
  char *to = text;
  for (const char *from = text; *from != 0; from++) {
    const bool is_blank = *from == ' ' || *from == '\n';
    if (is_blank && to > text && to[-1] == ' ') continue;
    *to++ = is_blank ? ' ' : *from;
  }
  *to = 0;
}

/*
 * By hand: high carries (1 - 0.5) 0.5 N.m x 4 x 0.9 = 0.9 N.m at 50 %, low (1 - 0.7) 0.5 x 8 x 0.9 = 1.08 at 70 %; under
 * 0.3 N.m low settles at 1 - 0.3 / 3.6 and high at 1 - 0.3 / 1.8; the band is empty from u = 1 - (1 - 0.5) / 2 on. The
 * limits are the rounding of a few operations in double.
 */
static void json_figures_are_those_worked_out_by_hand(void **state)
{
  (void)state;
  struct outcome got = RUN("check", "--json", "plain.yaml");
  assert_int_equal(got.code, 0);
  assert_string_equal(got.err, "");
  const char *json = got.out;
  assert_true(strchr(json, '\n') == json + strlen(json) - 1);
  expect_scalar(json, "scenario", "Plain \"box\"");
  expect_scalar(json, "gears.0.name", "low");
  expect_scalar(json, "pairs.0.slower", "low");
  expect_scalar(json, "pairs.0.faster", "high");
  assert_near(number_at(json, "motor.stall_torque_nm"), 0.5, 1e-15);
  assert_near(number_at(json, "load.lightest_nm"), 0.3, 1e-15);
  assert_near(number_at(json, "load.heaviest_nm"), 0.3, 1e-15);
  assert_near(number_at(json, "gears.0.ratio"), 8.0, 1e-15);
  assert_near(number_at(json, "gears.0.efficiency"), 0.9, 1e-15);
  assert_near(number_at(json, "gears.0.output_direction"), -1.0, 0.0);
  assert_near(number_at(json, "gears.1.stall_torque_nm"), 1.8, 1e-14);
  const double inertia = 2e-4 + 0.01 / (16.0 * 0.9);
  assert_near(number_at(json, "gears.1.inertia_kg_m2"), inertia, 1e-17);
  assert_near(number_at(json, "gears.1.time_constant_s"), inertia * 40.0 / 0.5, 1e-15);
  assert_near(number_at(json, "gears.0.steady_state.reading_pct"), 100.0 * (1.0 - 0.3 / 3.6), 1e-12);
  assert_near(number_at(json, "gears.1.steady_state.output_speed_rad_s"), 10.0 * (1.0 - 0.3 / 1.8), 1e-13);
  assert_near(number_at(json, "gears.1.steady_state_heaviest.reading_pct"), 100.0 * (1.0 - 0.3 / 1.8), 1e-12);
  assert_near(number_at(json, "pairs.0.downshift_torque_nm"), 0.9, 1e-14);
  assert_near(number_at(json, "pairs.0.upshift_torque_nm"), 1.08, 1e-14);
  assert_near(number_at(json, "pairs.0.hunting_band_nm.0"), 0.9, 1e-14);
  assert_near(number_at(json, "pairs.0.hunting_band_nm.1"), 1.08, 1e-14);
  assert_near(number_at(json, "pairs.0.least_safe_upshift_pct"), 75.0, 1e-12);
  assert_near(number_at(json, "pairs.0.greatest_safe_downshift_pct"), 40.0, 1e-12);
  assert_near(number_at(json, "pairs.0.upshift_time_s"), 0.1, 1e-15);
  /* Tu = 0.3 at (V / 12 - 0.7) 0.5 x 7.2, Td = 0.3 at (V / 12 - 0.5) 0.5 x 3.6; high stalls below 12 x 0.3 / 1.8. */
  assert_near(number_at(json, "pairs.0.least_voltage_upshift_v"), 12.0 * (0.7 + 0.3 / 3.6), 1e-13);
  assert_near(number_at(json, "pairs.0.least_voltage_hold_v"), 12.0 * (0.5 + 0.3 / 1.8), 1e-13);
  assert_near(number_at(json, "gears.1.least_voltage_heaviest_v"), 12.0 * 0.3 / 1.8, 1e-13);
  /* W = w0 / (8 + 4), TL = 0.9 x 8 (1 - 2 / 3) 0.5; both gears lose a tenth of what they take, whatever the load. */
  assert_near(number_at(json, "pairs.0.crossover.output_speed_rad_s"), 40.0 / 12.0, 1e-13);
  assert_near(number_at(json, "pairs.0.crossover.load_nm"), 1.2, 1e-13);
  assert_near(number_at(json, "pairs.0.crossover.slower_reading_pct"), 200.0 / 3.0, 1e-11);
  assert_near(number_at(json, "pairs.0.crossover.faster_reading_pct"), 100.0 / 3.0, 1e-11);
  expect_scalar(json, "pairs.0.crossover.downshift_torque", "below");
  expect_scalar(json, "pairs.0.crossover.upshift_torque", "below");
  expect_scalar(json, "pairs.0.equal_energy.load_nm", "null");
  expect_scalar(json, "pairs.0.equal_energy.always_less", "null");
  expect_scalar(json, "pairs.0.stuck_low", "false");
  expect_scalar(json, "pairs.0.needless_downshift", "false");
  outcome_clear(&got);
}

static void a_setting_changes_one_key_and_the_verdict_with_it(void **state)
{
  (void)state;
  struct outcome safe = RUN("check", "--json", "plain.yaml", "--set", "controller.upshift_above=75.5 %");
  assert_int_equal(safe.code, 0);
  expect_scalar(safe.out, "pairs.0.hunting_band_nm", "null");
  outcome_clear(&safe);
  struct outcome stuck = RUN("check", "--json", "--set=controller.upshift_above=95 %", "plain.yaml");
  expect_scalar(stuck.out, "pairs.0.stuck_low", "true");
  outcome_clear(&stuck);
  struct outcome nothing = RUN("check", "--json", "--set=controller.upshift_above=95 %",
                               "--set=controller.downshift_below=90 %", "plain.yaml");
  expect_scalar(nothing.out, "pairs.0.needless_downshift", "true");
  expect_scalar(nothing.out, "pairs.0.shortest_dwell_s", "null");
  outcome_clear(&nothing);
}

static void the_text_says_what_is_wrong_and_what_to_do(void **state)
{
  (void)state;
  struct outcome hunts = RUN("check", "plain.yaml");
  assert_int_equal(hunts.code, 0);
  flatten(hunts.out);
  expect_in(hunts.out,
            "Hunting band 0.9..1.08 N.m: under a constant load in it the box shifts up and down without end.");
  expect_in(hunts.out, "The load of this scenario, 0.3 N.m, stays outside the band. Set controller.upshift_above to at "
                       "least 75.0 %, or controller.downshift_below to at most 40.0 %.");
  outcome_clear(&hunts);
  struct outcome safe = RUN("check", "plain.yaml", "--set", "controller.upshift_above=78.2 %");
  expect_in(safe.out, "No hunting band: the upshift threshold is 3.2 % above 75.0 %, the lowest safe one.");
  outcome_clear(&safe);
  struct outcome stuck = RUN("check", "plain.yaml", "--set", "controller.upshift_above=95 %");
  expect_in(stuck.out, "Stuck low: ");
  outcome_clear(&stuck);
  struct outcome hasty = RUN("check", "plain.yaml", "--set", "controller.dwell=10 ms");
  flatten(hasty.out);
  expect_in(hasty.out, "Dwell too short: after 0.01 s high has not reached 50 % yet");
  outcome_clear(&hasty);
}

static void what_the_text_advises_is_safe_when_typed_in(void **state)
{
  (void)state;
  static const char odd[] = "gearbox.gears.low.meshes=[10/83]"; /* limits without short decimals */
  struct outcome hunts = RUN("check", "plain.yaml", "--set", (char *)(uintptr_t)odd);
  assert_int_equal(hunts.code, 0);
  flatten(hunts.out);
  static const char *const words[] = {"Set controller.upshift_above to at least ",
                                      ", or controller.downshift_below to at most "};
  static const char *const keys[] = {"controller.upshift_above", "controller.downshift_below"};
  for (int k = 0; k < 2; k++) {
    const char *at = strstr(hunts.out, words[k]);
    assert_non_null(at);
    char set[64];
    snprintf(set, sizeof set, "%s=%.6s", keys[k], at + strlen(words[k])); /* "76.0 %" */
    struct outcome safe = RUN("check", "--json", "plain.yaml", "--set", (char *)(uintptr_t)odd, "--set", set);
    assert_int_equal(safe.code, 0);
    expect_scalar(safe.out, "pairs.0.hunting_band_nm", "null");
    outcome_clear(&safe);
  }
  outcome_clear(&hunts);
}

/* A simulated box keeps its fast gear with the dwell that check gives, and not with a millisecond less. */
static void the_shortest_dwell_is_just_enough_in_a_run(void **state)
{
  (void)state;
  struct outcome got = RUN("check", "--json", "plain.yaml");
  const double dwell_s = number_at(got.out, "pairs.0.shortest_dwell_steady_s");
  assert_true(dwell_s > 0.105); /* not the travel time of 0.1 s alone */
  outcome_clear(&got);
  for (int k = 0; k < 2; k++) {
    char dwell[64];
    snprintf(dwell, sizeof dwell, "controller.dwell=%.0f ms", k == 0 ? floor(1e3 * dwell_s) : ceil(1e3 * dwell_s));
    struct outcome run = RUN("run", "--json", "plain.yaml", "--set", "controller.start_gear=low", "--set",
                             "controller.sample_period=1 ms", "--set", dwell);
    assert_int_equal(run.code, 0);
    const bool is_shifting_back = strstr(run.out, "\"from_name\":\"high\"") != NULL;
    const bool is_shifting_up = strstr(run.out, "\"from_name\":\"low\"") != NULL;
    assert_true(is_shifting_up);
    assert_int_equal(is_shifting_back, k == 0);
    outcome_clear(&run);
  }
}

static void a_range_of_the_supply_puts_three_voltages_side_by_side(void **state)
{
  (void)state;
  char text[2048];
  snprintf(text, sizeof text, "%stolerances: {supply.open_circuit_voltage: 9..13 V}\n", plain);
  write_file("other.yaml", text);
  struct outcome got = RUN("check", "--json", "other.yaml");
  assert_int_equal(got.code, 0);
  assert_near(number_at(got.out, "supply_range.0.motor.open_circuit_voltage_v"), 12.0, 1e-15);
  assert_near(number_at(got.out, "supply_range.1.motor.open_circuit_voltage_v"), 9.0, 1e-15);
  /* (V / 12 - 0.7) 0.5 x 7.2 */
  assert_near(number_at(got.out, "supply_range.1.pairs.0.upshift_torque_nm"), (0.75 - 0.7) * 3.6, 1e-14);
  assert_near(number_at(got.out, "supply_range.2.pairs.0.upshift_torque_nm"), (13.0 / 12.0 - 0.7) * 3.6, 1e-14);
  expect_scalar(got.out, "supply_range.1.pairs.0.stuck_low", "true");
  outcome_clear(&got);
  struct outcome text_got = RUN("check", "other.yaml");
  expect_in(text_got.out, "nominal, 12 V");
  expect_in(text_got.out, "least, 9 V");
  expect_in(text_got.out, "stuck low");
  outcome_clear(&text_got);
}

/* The box brings 3.6 N m at stall in its low gear, 1.8 N m in its high one. A round 6 mm shaft of steel carries
 * pi 0.006^3 / 16 * 0.577 * 370 MPa / 2 = 4.527 N m; at a safety of 3, 3.018 N m. */
static void a_limit_given_as_a_part_is_shown_with_the_gears_that_exceed_it(void **state)
{
  (void)state;
  char shaft[] = "limits={output_torque: 5 N.m, shaft: {section: round, diameter: 6 mm, material: steel}}";
  struct outcome none = RUN("check", "--json", "plain.yaml");
  expect_scalar(none.out, "output_torque_limit", "null");
  outcome_clear(&none);
  struct outcome given = RUN("check", "--json", "plain.yaml", "--set", "limits.output_torque=4 N.m");
  assert_near(number_at(given.out, "output_torque_limit.torque_nm"), 4.0, 0.0);
  expect_scalar(given.out, "output_torque_limit.part", "null");
  outcome_clear(&given);
  struct outcome json = RUN("check", "--json", "plain.yaml", "--set", shaft);
  assert_near(number_at(json.out, "output_torque_limit.torque_nm"), 4.527, 5e-4);
  expect_scalar(json.out, "output_torque_limit.part", "shaft, round 6 mm steel, 213 MPa shear, safety 2");
  outcome_clear(&json);
  struct outcome text = RUN("check", "plain.yaml", "--set", shaft);
  flatten(text.out);
  expect_in(
      text.out,
      "Limit of the output torque The limit is 4.527 N.m, the least of those given: shaft, round 6 mm steel, 213 MPa");
  expect_in(text.out, "No gear exceeds the limit at stall");
  expect_in(text.out, "direction of a print reduce it");
  assert_null(strstr(text.out, "Caution"));
  outcome_clear(&text);
  struct outcome weak = RUN("check", "plain.yaml", "--set", shaft, "--set", "limits.shaft.safety=3");
  flatten(weak.out);
  expect_in(weak.out, "low reaches 3.6 N.m at stall, which exceeds the limit.");
  expect_in(weak.out, "Caution at stall the motor applies 3.6 N.m to an output that withstands 3.018 N.m: parts near");
  assert_null(strstr(weak.out, "high reaches"));
  outcome_clear(&weak);
}

static void loads_that_could_hurt_bring_a_caution(void **state)
{
  (void)state;
  struct outcome calm = RUN("check", "plain.yaml");
  assert_null(strstr(calm.out, "Caution"));
  outcome_clear(&calm);
  struct outcome hoist = RUN("check", "plain.yaml", "--set", "load.parts.1.manner=acts");
  assert_int_equal(hoist.code, 0);
  flatten(hoist.out);
  expect_in(hoist.out, "local codes and licensed practice come first");
  outcome_clear(&hoist);
  struct outcome stall = RUN("check", "plain.yaml", "--set", "load.parts.1.torque=4 N.m");
  flatten(stall.out);
  expect_in(stall.out, "above the stall torque of low");
  outcome_clear(&stall);
}

static void several_files_are_parted_by_an_empty_line_or_a_line_each(void **state)
{
  (void)state;
  struct outcome text = RUN("check", "plain.yaml", "plain.yaml");
  assert_int_equal(text.code, 0);
  expect_in(text.out, "\n\nPlain \"box\"\n");
  outcome_clear(&text);
  struct outcome json = RUN("check", "--json", "plain.yaml", "plain.yaml");
  const char *second = strchr(json.out, '\n') + 1;
  expect_scalar(second, "scenario", "Plain \"box\"");
  assert_true(strchr(second, '\n')[1] == 0);
  outcome_clear(&json);
}

static void no_line_is_wider_than_a_hundred_columns(void **state)
{
  (void)state;
  struct outcome got = RUN("check", "plain.yaml");
  for (const char *line = got.out; *line != 0;) {
    const size_t length = strcspn(line, "\n");
    if (length > 100) fail_msg("%zu columns: %.*s", length, (int)length, line);
    line += length + (line[length] == '\n');
  }
  outcome_clear(&got);
}

static void every_scenario_of_the_project_is_checked_without_a_fault(void **state)
{
  (void)state;
  char command[1024];
  snprintf(command, sizeof command, "ls %s/scenarios/*.yaml", SB_SOURCE_DIR);
  FILE *names = popen(command, "r");
  assert_non_null(names);
  int count = 0;
  for (char name[512]; fgets(name, sizeof name, names) != NULL; count++) {
    name[strcspn(name, "\n")] = 0;
    struct outcome got = RUN("check", "--json", name);
    if (got.code != 0) fail_msg("%s: %d\n%s", name, got.code, got.err);
    assert_true(number_at(got.out, "gears.0.stall_torque_nm") > 0.0);
    assert_true(number_at(got.out, "pairs.0.least_safe_upshift_pct") > 0.0);
    outcome_clear(&got);
  }
  assert_int_equal(pclose(names), 0);
  assert_true(count > 0);
}

/* ---- the command line ---- */

static void expect_refusal(struct outcome got, int code, const char *words)
{
  assert_int_equal(got.code, code);
  assert_string_equal(got.out, "");
  expect_in(got.err, words);
  outcome_clear(&got);
}

static void wrong_command_lines_end_with_two_and_offer_the_nearest(void **state)
{
  (void)state;
  expect_refusal(RUN("check"), 2, "needs a scenario file");
  expect_refusal(RUN("chekc", "plain.yaml"), 2, "did you mean check?");
  expect_refusal(RUN("check", "--jsn", "plain.yaml"), 2, "no option --jsn; did you mean --json?");
  expect_refusal(RUN("check", "--jso=1", "plain.yaml"), 2, "did you mean --json?");
  expect_refusal(RUN("check", "--json=1", "plain.yaml"), 2, "--json takes no value");
  expect_refusal(RUN("check", "plain.yaml", "--set"), 2, "--set needs a value");
  expect_refusal(RUN("check", "-x", "plain.yaml"), 2, "no option -x");
  expect_refusal(RUN("check", "plain.yaml", "--set", "nothing"), 2, "nothing");
  expect_refusal(RUN("keys", "plain.yaml"), 2, "plain.yaml writes no JSON");
  expect_refusal(RUN("--version=1"), 2, "--version=1");
  struct outcome none = run_to(NULL, (char *[]){(char[]){"shiftband"}, NULL});
  expect_refusal(none, 2, "usage: shiftband COMMAND");
}

static void faults_of_a_scenario_all_go_to_standard_error_and_end_with_three(void **state)
{
  (void)state;
  struct outcome got =
      RUN("check", "plain.yaml", "--set", "controller.upshift_above=70", "--set", "motor.stall_torque=3 rpm");
  assert_int_equal(got.code, 3);
  assert_string_equal(got.out, "");
  expect_in(got.err, "controller.upshift_above");
  expect_in(got.err, "motor.stall_torque");
  outcome_clear(&got);

  /* A good file beside it is checked all the same. */
  write_file("other.yaml", "name: nothing else\n");
  struct outcome mixed = RUN("check", "other.yaml", "plain.yaml");
  assert_int_equal(mixed.code, 3);
  expect_in(mixed.out, "Plain \"box\"");
  outcome_clear(&mixed);
}

static void an_unreadable_file_ends_with_four(void **state)
{
  (void)state;
  expect_refusal(RUN("check", "missing.yaml"), 4, "missing.yaml");
  expect_refusal(RUN("check", "--", "--json"), 4, "--json"); /* after `--` all are files */
}

static void a_full_disk_ends_with_four(void **state)
{
  (void)state;
  if (access("/dev/full", W_OK) != 0) skip();
  char *const arguments[][4] = {{(char[]){"shiftband"}, (char[]){"check"}, (char[]){"plain.yaml"}, NULL},
                                {(char[]){"shiftband"}, (char[]){"keys"}, NULL},
                                {(char[]){"shiftband"}, (char[]){"--help"}, NULL},
                                {(char[]){"shiftband"}, (char[]){"--version"}, NULL}};
  for (size_t k = 0; k < sizeof arguments / sizeof arguments[0]; k++) {
    expect_refusal(run_to("/dev/full", arguments[k]), 4, "standard output: ");
  }
}

static void a_closed_pipe_ends_silently_with_its_own_code(void **state)
{
  (void)state;
  char command[1024];
  snprintf(command, sizeof command, "cd %s && { { %s keys; echo $? >out; } 2>err | true; }", folder, SB_PROGRAM);
  /* The reader may be gone before or after the first write, so try until it was before. */
  for (int k = 0; k < 50; k++) {
    assert_int_equal(system(command), 0);
    char path[256];
    path_in_folder("out", path);
    char *code = read_all(path);
    path_in_folder("err", path);
    char *words = read_all(path);
    const bool is_seen = strcmp(code, "141\n") == 0 && words[0] == 0;
    const bool is_missed = strcmp(code, "0\n") == 0;
    free(code);
    free(words);
    if (is_seen) return;
    assert_true(is_missed);
  }
  skip();
}

static void help_and_version_go_to_standard_output(void **state)
{
  (void)state;
  struct outcome version = RUN("--version");
  assert_int_equal(version.code, 0);
  assert_string_equal(version.out, "shiftband 0.1.0\n");
  outcome_clear(&version);
  struct outcome help = RUN("--help");
  assert_int_equal(help.code, 0);
  expect_in(help.out, "exit codes");
  outcome_clear(&help);
  char *const commands[] = {(char[]){"check"}, (char[]){"keys"}, (char[]){"run"}};
  for (size_t k = 0; k < 3; k++) {
    struct outcome got = RUN(commands[k], "--help");
    assert_int_equal(got.code, 0);
    expect_in(got.out, "usage: shiftband ");
    assert_string_equal(got.err, "");
    outcome_clear(&got);
  }
}

static void keys_lists_what_a_scenario_may_hold(void **state)
{
  (void)state;
  struct outcome got = RUN("keys");
  assert_int_equal(got.code, 0);
  static const char *const keys[] = {"stall_torque", "mesh_efficiency", "swing_turns",
                                     "dwell",        "breakaway",       "duration"};
  for (size_t k = 0; k < sizeof keys / sizeof keys[0]; k++) expect_in(got.out, keys[k]);
  outcome_clear(&got);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(json_figures_are_those_worked_out_by_hand),
      cmocka_unit_test(a_setting_changes_one_key_and_the_verdict_with_it),
      cmocka_unit_test(the_text_says_what_is_wrong_and_what_to_do),
      cmocka_unit_test(what_the_text_advises_is_safe_when_typed_in),
      cmocka_unit_test(the_shortest_dwell_is_just_enough_in_a_run),
      cmocka_unit_test(a_range_of_the_supply_puts_three_voltages_side_by_side),
      cmocka_unit_test(a_limit_given_as_a_part_is_shown_with_the_gears_that_exceed_it),
      cmocka_unit_test(loads_that_could_hurt_bring_a_caution),
      cmocka_unit_test(several_files_are_parted_by_an_empty_line_or_a_line_each),
      cmocka_unit_test(no_line_is_wider_than_a_hundred_columns),
      cmocka_unit_test(every_scenario_of_the_project_is_checked_without_a_fault),
      cmocka_unit_test(wrong_command_lines_end_with_two_and_offer_the_nearest),
      cmocka_unit_test(faults_of_a_scenario_all_go_to_standard_error_and_end_with_three),
      cmocka_unit_test(an_unreadable_file_ends_with_four),
      cmocka_unit_test(a_full_disk_ends_with_four),
      cmocka_unit_test(a_closed_pipe_ends_silently_with_its_own_code),
      cmocka_unit_test(help_and_version_go_to_standard_output),
      cmocka_unit_test(keys_lists_what_a_scenario_may_hold),
  };
  return cmocka_run_group_tests_name("cli_check", tests, make_folder, remove_folder);
}
