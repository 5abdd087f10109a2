// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_fit.c - motor, friction and inertia from bench measurements. */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "cli/command.h"
#include "cli/log_facts.h"
#include "cli/output.h"
#include "shiftband/fit.h"

struct request {
  struct sb_option_list logs, sets, known; /* as given */
  const char *scenario;                    /* NULL: a bare motor */
  const char *output;                      /* of the section; NULL: behind the words */
  const char *residuals;                   /* NULL: none */
  const char *gear;                        /* NULL: the start gear */
  const char *gauge;                       /* half-widths; NULL: the usual ones */
  const char *fitted;                      /* keys with commas; NULL: the default ones */
  bool is_json, is_quiet;
  double arm_m, voltage_v; /* 0: not given */
  bool is_equal_constants;
  enum { SB_FIT_OFF_COASTS, SB_FIT_OFF_BRAKES } off;
  enum sb_fit_phase phase;
  struct sb_log_facts facts;
};

struct fit {
  const struct request *request;
  bool has_scenario;
  struct sb_scenario scenario;
  struct sb_fit_setup setup;
  size_t log_count;
  struct sb_log logs[SB_FIT_LOG_MAX];
  struct sb_fit_result result;
};

static enum sb_status take_words(struct fit *fit, struct sb_error *err)
{
  const struct request *request = fit->request;
  enum sb_status status = SB_OK;
  for (size_t k = 0; status == SB_OK && k < request->known.count; k++) {
    status = sb_fit_setup_know(&fit->setup, request->known.items[k], err);
    if (status == SB_OK) sb_command_note_unit("known", request->known.items[k]);
  }
  if (status == SB_OK && request->gear != NULL) {
    status = sb_gearbox_choose(&fit->scenario.model.gearbox, request->gear, &fit->setup.gear, err);
  }
  if (status == SB_OK && request->fitted != NULL) status = sb_fit_setup_choose(&fit->setup, request->fitted, err);
  if (status == SB_OK && request->gauge != NULL) status = sb_fit_setup_gauge(&fit->setup, request->gauge, err);
  return status;
}

static int set_up(struct fit *fit)
{
  const struct request *request = fit->request;
  struct sb_error err = {0};
  if (request->scenario != NULL) {
    const int code = sb_command_load(request->scenario, &request->sets, &fit->scenario);
    if (code != SB_EXIT_DONE) return code;
    fit->has_scenario = true;
  }
  fit->setup = sb_fit_setup_default(fit->has_scenario ? &fit->scenario.model : NULL);
  fit->setup.nominal_voltage_v = request->voltage_v;
  fit->setup.is_braking = request->off == SB_FIT_OFF_BRAKES;
  fit->setup.is_equal_constants = request->is_equal_constants;
  for (int k = 0; k < SB_FIT_LOG_MAX; k++) fit->setup.phases[k] = request->phase;
  const enum sb_status status = take_words(fit, &err);
  return status == SB_OK ? SB_EXIT_DONE : sb_command_fail(NULL, status, &err);
}

/* All logs are read, whatever is wrong with one; the gravest code counts. */
static int read_logs(struct fit *fit)
{
  const struct request *request = fit->request;
  const struct sb_log_options options = {.facts = sb_log_facts_of(&request->facts),
                                         .gearbox = fit->has_scenario ? &fit->scenario.model.gearbox : NULL,
                                         .may_lack_renamed = request->logs.count > 1,
                                         .arm_m = request->arm_m};
  int worst = SB_EXIT_DONE;
  for (size_t k = 0; k < request->logs.count; k++) {
    struct sb_faults faults = {0};
    const char *path = request->logs.items[k];
    const enum sb_status status = sb_fit_log_read(path, &options, &fit->logs[fit->log_count], &faults);
    const int code = sb_command_fail_faults(path, status, &faults);
    if (status == SB_OK) sb_command_note_log(path, &fit->logs[fit->log_count]);
    if (status == SB_OK) fit->log_count++;
    if (code > worst) worst = code;
  }
  return worst;
}

static int write_section(FILE *out, const void *context)
{
  const struct fit *fit = context;
  return sb_fit_write_section(&fit->result, fit->logs, out);
}

static int write_residuals(FILE *out, const void *context)
{
  const struct fit *fit = context;
  return sb_fit_write_residuals(&fit->result, fit->logs, out);
}

static int report(const struct fit *fit)
{
  const struct request *request = fit->request;
  const bool is_section_out = request->output != NULL && sb_output_is_standard(request->output);
  const bool is_residuals_out = request->residuals != NULL && sb_output_is_standard(request->residuals);
  int code = SB_EXIT_DONE;
  if (request->output != NULL)
    code = sb_command_write_file(request->output, (struct sb_command_writer){write_section, fit});
  if (request->residuals != NULL && code == SB_EXIT_DONE) {
    code = sb_command_write_file(request->residuals, (struct sb_command_writer){write_residuals, fit});
  }
  if (code != SB_EXIT_DONE) return code;
  if (request->is_quiet) return SB_EXIT_DONE;
  if (request->is_json) {
    sb_fit_write_json(&fit->result, fit->logs, stdout);
    return SB_EXIT_DONE;
  }
  FILE *words = is_section_out || is_residuals_out ? stderr : stdout;
  sb_fit_write_text(&fit->result, fit->logs, words);
  if (request->output == NULL) {
    fputs("\nTo paste into a scenario:\n\n", words);
    sb_fit_write_section(&fit->result, fit->logs, words);
  }
  return SB_EXIT_DONE;
}

static int solve(struct fit *fit)
{
  struct sb_error err = {0};
  int code = set_up(fit);
  if (code == SB_EXIT_DONE) code = read_logs(fit);
  if (code != SB_EXIT_DONE) return code;
  const enum sb_status status = sb_fit_solve(&fit->setup, fit->logs, fit->log_count, &fit->result, &err);
  return status == SB_OK ? report(fit) : sb_command_fail(NULL, status, &err);
}

static int run(void *context)
{
  struct request *request = context;
  int code = sb_log_facts_read(&request->facts);
  if (code != SB_EXIT_DONE) return code;
  struct fit *fit = calloc(1, sizeof *fit);
  if (fit == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  fit->request = request;
  code = solve(fit);
  sb_fit_result_clear(&fit->result);
  for (size_t k = 0; k < fit->log_count; k++) sb_log_clear(&fit->logs[k]);
  if (fit->has_scenario) sb_scenario_clear(&fit->scenario);
  free(fit);
  return code;
}

static const char *const phases[] = {"seen", "spin-up", "coast-down", "both", NULL};
static const char *const offs[] = {"coast", "brake", NULL};

#define GAUGE_WORDS(kind, name, percent, means) " " name "=" #percent " % (" means "),"

static const struct sb_option option_table[] = {
    {"output", 'o', "FILE.yaml",
     "write the scenario section alone there, with tolerances; - is standard output (the report then goes to standard error)",
     SB_INTO_OUTPUT(struct request, output)},
    {"json", 0, NULL, "print one JSON object instead of report and section", SB_INTO_FLAG(struct request, is_json)},
    {"residuals", 0, "FILE.csv", "every reading with its computed value", SB_INTO_OUTPUT(struct request, residuals)},
    SB_OPTION_QUIET_OF(struct request),
    {"scenario", 0, "FILE",
     "the machine around the motor; its motor figures are taken as known unless --fit names them",
     SB_INTO_INPUT(struct request, scenario)},
    SB_OPTION_SET_OF(struct request),
    {"gear", 0, "NAME", "the gear that was engaged, for logs without a gear column (default: the start gear)",
     SB_INTO_TEXT(struct request, gear)},
    {"fit", 0, "KEYS",
     "with a scenario: what to fit, with commas (default: gearbox.mesh_efficiency, load_friction, load_viscous, load.inertia, "
     "motor.rotor_inertia)",
     SB_INTO_TEXT(struct request, fitted)},
    {"known", 0, "KEY=VALUE",
     "a figure known beforehand, exactly or as a 95 % range: --known motor.rotor_inertia='2.1e-4 kg.m2' --known "
     "motor.stall_torque='0.38..0.46 N.m'",
     SB_INTO_LIST(struct request, known)},
    {"gauge", 0, "NAME=PERCENT",
     "by how much a gauge may be wrong, in all its readings alike: --gauge 'torque=1 %, speed=0.5 %'; the others stay usual:" SB_FIT_GAUGE_LIST(
         GAUGE_WORDS) " common practice; none makes all exact",
     SB_INTO_TEXT(struct request, gauge)},
    {"voltage", 0, "VOLTAGE", "nominal voltage, and that of logs without a voltage column",
     SB_INTO_QUANTITY(struct request, voltage_v, SB_VOLTAGE, 0.0)},
    {"equal-constants", 0, NULL, "assume kt = ke: there is no gearhead between winding and shaft",
     SB_INTO_FLAG(struct request, is_equal_constants)},
    {"phase", 0, "WORD", "what a log over time without duty shows: spin-up, coast-down, both (default: as seen)",
     SB_INTO_CHOICE(struct request, phase, phases)},
    {"off", 0, "WORD", "what duty 0 does: coast (open circuit, default) or brake (short circuit)",
     SB_INTO_CHOICE(struct request, off, offs)},
    {"arm", 0, "LENGTH", "lever or drum radius that makes a torque of force or mass, as --arm '12 mm'",
     SB_INTO_QUANTITY(struct request, arm_m, SB_LENGTH, 0.0)},
    SB_LOG_FACTS_OPTIONS(struct request, facts),
    {0},
};

static const struct sb_option_rule rules[] = {
    {"gear fit set", SB_NEEDS, "scenario", "they are about its keys"},
    {"output=- residuals=-", SB_EXCLUDES, "json", "both use standard output"},
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {0},
};

const struct sb_command sb_command_fit = {
    .name = "fit",
    .summary = "motor, friction and inertia from bench measurements, with standard errors",
    .usage = "[OPTION]... LOG...",
    .about =
        "Finds a motor's no-load speed and stall torque, currents, friction and inertia (with a scenario: also mesh efficiency and load) from bench "
        "measurements, with standard errors and 95 % intervals. It says what the data leave open, and which measurement would "
        "determine it. Several logs of one machine are fitted together.\n"
        "\n"
        "A log is CSV with a header line. Either it holds points in steady state: torque (or force or mass, with --arm), speed, and "
        "optionally current, voltage, gear. Or it runs over time: time, speed, and optionally voltage, current, duty, gear, "
        "added_inertia. Then it shows a spin-up from rest, a coast-down (it may begin before the circuit is opened), both in turn, or (with a scenario and a "
        "gear column, 0 while no gear is engaged) up to 12 shifts.\n"
        "\n"
        "A column's unit stands in its name: speed_rpm, time_ms, current_a, force_n, mass_g, duty_pct, \"speed [rpm]\". speed is "
        "the motor's (output_speed: after the gears), current is the motor's, voltage is that of the drive's supply.",
    .options = option_table,
    .rules = rules,
    .files = {1, SB_FIT_LOG_MAX, "log", offsetof(struct request, logs)},
    .request_size = sizeof(struct request),
    .run = run,
};
