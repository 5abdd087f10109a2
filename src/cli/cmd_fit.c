// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_fit.c - motor, friction and inertia from bench measurements. */
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>

#include "cli/command.h"
#include "cli/fit_request.h"
#include "cli/output.h"

struct fit {
  const struct sb_fit_request *request;
  bool has_scenario;
  struct sb_scenario scenario;
  struct sb_fit_setup setup;
  size_t log_count;
  struct sb_log logs[SB_FIT_LOG_MAX];
  struct sb_fit_result result;
};

static enum sb_status take_words(struct fit *fit, struct sb_error *err)
{
  const struct sb_fit_request *request = fit->request;
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
  const struct sb_fit_request *request = fit->request;
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
  const struct sb_fit_request *request = fit->request;
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
  const struct sb_fit_request *request = fit->request;
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
  struct sb_fit_request *request = context;
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

const struct sb_command sb_command_fit = {
    .name = "fit",
    .summary = "motor, friction and inertia from bench measurements, with standard errors",
    .usage = "[OPTION]... LOG...",
    .about = sb_fit_about,
    .options = sb_fit_options,
    .rules = sb_fit_rules,
    .files = {1, SB_FIT_LOG_MAX, "log", offsetof(struct sb_fit_request, logs)},
    .request_size = sizeof(struct sb_fit_request),
    .run = run,
};
