// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_run.c - simulates scenarios: trace, summary, comparison. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/interrupt.h"
#include "cli/old_words.h"
#include "cli/options.h"
#include "cli/output.h"
#include "shiftband/report.h"
#include "shiftband/run.h"
#include "shiftband/scenario.h"
#include "shiftband/trace.h"
#include "text/json.h"

static const char help[] =
    "usage: shiftband run [OPTION]... FILE...\n"
    "\n"
    "Simulates scenarios and says what happened: verdicts, shifts, speeds, torque, energy.\n"
    "\n"
    "  -o, --output FILE.csv   write the trace there; - is standard output (the summary then goes to\n"
    "                          standard error); a folder, which several scenarios need, gets one file\n"
    "                          a run\n"
    "      --json              print one JSON object a run instead of the summary\n"
    "      --gear NAME         lock this gear for the whole run: no controller\n"
    "      --compare           run automatic and then locked in every gear, and print them side by side\n"
    "                          (the trace of -o FILE is that of the automatic run)\n"
    "      --until-warm        repeat the scenario, each time as warm as it ended, until the winding\n"
    "                          settles within 0.1 K, passes its limit or opens its cut-out; report\n"
    "                          that repeat (needs motor.winding)\n"
    "  -v, --verbose           also say how the run was made: steps, repeats simulated\n"
    "      --set PATH=VALUE    change one key, as --set controller.dwell='2 s'; may be given again\n"
    "      --fail-on VERDICTS  exit with 1 when one of these came true in the automatic (or the locked)\n"
    "                          run: hunting, busy-shifting, stall, stuck-low,\n"
    "                          needless-downshift, overload, shift-not-engaged, slipping,\n"
    "                          overheated, drive-cut, any; a list with commas\n" SB_OWN_OPTIONS_HELP;

enum {
  OPTION_OUTPUT = 1,
  OPTION_JSON,
  OPTION_GEAR,
  OPTION_COMPARE,
  OPTION_UNTIL_WARM,
  OPTION_VERBOSE,
  OPTION_SET,
  OPTION_FAIL_ON
};

struct request {
  struct sb_words files;
  struct sb_words sets;
  const char *output; /* NULL: no trace */
  const char *gear;   /* NULL: automatic */
  bool is_json;
  bool is_comparison;
  bool is_until_warm;
  bool is_verbose;
  bool fails_on[SB_VERDICT_KIND_COUNT];
  struct sb_own_options own;
};

static int read_fail_on(struct request *request, const struct sb_option_reader *reader)
{
  if (reader->value[0] == 0) return sb_options_complain(reader, "--fail-on needs a verdict, found nothing");
  for (const char *word = reader->value; *word != 0;) {
    char name[64];
    const size_t length = strcspn(word, ",");
    snprintf(name, sizeof name, "%.*s", length < sizeof name ? (int)length : (int)sizeof name - 1, word);
    const int kind = sb_verdict_find(name);
    const char *now = sb_old_words_find(sb_old_verdicts, name);
    if (now != NULL) return sb_options_complain(reader, "--fail-on: %s is now called %s", name, now);
    if (kind < 0 && strcmp(name, "any") != 0) {
      return sb_options_complain(reader, "--fail-on: no verdict \"%s\"", name);
    }
    for (int k = 0; k < SB_VERDICT_KIND_COUNT; k++) request->fails_on[k] |= kind < 0 || k == kind;
    word += length;
    if (*word == ',') word++;
  }
  return SB_EXIT_DONE;
}

static bool is_on_stdout(const struct request *request)
{
  const char *output = request->output;
  return output != NULL && (strcmp(output, "-") == 0 || strcmp(output, "/dev/stdout") == 0);
}

static const char *base_name(const char *path)
{
  const char *slash = strrchr(path, '/');
  return slash != NULL ? slash + 1 : path;
}

/* Two scenarios of one name would become one file in a folder. */
static int check_names(const struct request *request, const struct sb_option_reader *reader)
{
  if (request->output == NULL || !sb_output_is_folder(request->output)) return SB_EXIT_DONE;
  for (size_t i = 0; i < request->files.count; i++) {
    for (size_t k = 0; k < i; k++) {
      if (strcmp(base_name(request->files.items[i]), base_name(request->files.items[k])) != 0) continue;
      return sb_options_complain(reader, "-o %s: %s and %s would both become one file", request->output,
                                 request->files.items[k], request->files.items[i]);
    }
  }
  return SB_EXIT_DONE;
}

static int check_request(const struct request *request, const struct sb_option_reader *reader)
{
  const bool is_to_stdout = is_on_stdout(request);
  if (request->files.count == 0) return sb_options_complain(reader, "needs a scenario file");
  if (request->gear != NULL && request->is_comparison) {
    return sb_options_complain(reader, "--gear and --compare exclude each other");
  }
  if (sb_own_options_decider(&request->own) != NULL && (request->gear != NULL || request->is_until_warm)) {
    return sb_options_complain(reader, "%s has no place for a controller of your own",
                               request->gear != NULL ? "--gear" : "--until-warm");
  }
  if (is_to_stdout && request->is_json) {
    return sb_options_complain(reader, "-o - and --json both want standard output");
  }
  if (request->files.count > 1 && request->output != NULL && !sb_output_is_folder(request->output)) {
    return sb_options_complain(reader, "-o %s: several scenarios need a folder that exists", request->output);
  }
  const int code = sb_command_check_output("run", "-o", request->output, request->files.items, request->files.count);
  return code == SB_EXIT_DONE ? check_names(request, reader) : code;
}

static int read_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct request *request = context;
  switch (id) {
    case OPTION_OUTPUT: request->output = reader->value; return SB_EXIT_DONE;
    case OPTION_JSON: request->is_json = true; return SB_EXIT_DONE;
    case OPTION_GEAR: request->gear = reader->value; return SB_EXIT_DONE;
    case OPTION_COMPARE: request->is_comparison = true; return SB_EXIT_DONE;
    case OPTION_UNTIL_WARM: request->is_until_warm = true; return SB_EXIT_DONE;
    case OPTION_VERBOSE: request->is_verbose = true; return SB_EXIT_DONE;
    case OPTION_SET: sb_words_add(&request->sets, reader->value); return SB_EXIT_DONE;
    case OPTION_FAIL_ON: return read_fail_on(request, reader);
    case SB_OPTION_OPERAND: sb_words_add(&request->files, reader->value); return SB_EXIT_DONE;
    default: return sb_own_options_take(&request->own, reader, id);
  }
}

/* Returns SB_EXIT_DONE, SB_EXIT_USAGE, or -1 when only help was asked for. */
static int read_request(struct request *request, int argc, char **argv)
{
  static const struct sb_option options[] = {{"output", 'o', true, OPTION_OUTPUT},
                                             {"json", 0, false, OPTION_JSON},
                                             {"gear", 0, true, OPTION_GEAR},
                                             {"compare", 0, false, OPTION_COMPARE},
                                             {"until-warm", 0, false, OPTION_UNTIL_WARM},
                                             {"verbose", 'v', false, OPTION_VERBOSE},
                                             {"set", 0, true, OPTION_SET},
                                             {"fail-on", 0, true, OPTION_FAIL_ON},
                                             SB_OWN_OPTIONS,
                                             {NULL, 0, false, 0}};
  struct sb_option_reader reader;
  int code = sb_options_read_all(&reader, options, argc, argv, help, read_option, request);
  if (code == SB_EXIT_DONE) code = sb_own_options_check(&request->own, &reader);
  return code == SB_EXIT_DONE ? check_request(request, &reader) : code;
}

struct trace {
  FILE *stream;
  const struct sb_model *model;
};

static int take_row(void *context, const struct sb_row *row)
{
  const struct trace *trace = context;
  return sb_trace_write_row(trace->stream, row, trace->model);
}

/* Where the trace of one run goes: NULL when none is wanted. `suffix` tells runs of one scenario apart. */
static char *trace_path(const struct request *request, const char *scenario_path, const char *suffix, bool is_first)
{
  if (request->output == NULL) return NULL;
  if (sb_output_is_folder(request->output)) return sb_output_name_in(request->output, scenario_path, suffix);
  return is_first ? strdup(request->output) : NULL;
}

static int complain_writing(const char *path)
{
  sb_command_complain("%s: %s", strcmp(path, "-") == 0 ? "standard output" : path, strerror(errno));
  return SB_EXIT_IO;
}

/* Runs one model with a trace to path, or without when path is NULL. */
static int run_with_trace(const struct sb_model *model, int locked_gear, const struct sb_decider *decider,
                          const char *path, struct sb_run_result *result)
{
  struct sb_error err = {SB_OK, ""};
  struct sb_run_options options = sb_run_options_default();
  struct sb_output output = {NULL, NULL, NULL};
  struct trace trace = {NULL, model};
  options.locked_gear = locked_gear;
  options.decider = decider;
  if (path != NULL) {
    if (sb_output_open(&output, path) != 0) return complain_writing(path);
    if (sb_trace_write_header(output.stream, model) != 0) {
      const int code = complain_writing(path);
      sb_output_drop(&output);
      return code;
    }
    options.on_row = take_row;
    trace.stream = output.stream;
    options.context = &trace;
  }
  /* A signal would leave someone else's controller behind: it ends the run first. */
  if (decider != NULL) sb_interrupt_catch();
  const enum sb_status status = sb_run(model, &options, result, &err);
  if (decider != NULL) sb_interrupt_release();
  if (status != SB_OK) {
    if (status == SB_ERR_IO) {
      complain_writing(path != NULL ? path : "-");
    } else if (status != SB_ERR_STOPPED) {
      sb_command_complain("%s: %s", model->name, err.text);
    }
    if (path != NULL) sb_output_drop(&output);
    return status == SB_ERR_STOPPED ? sb_interrupt_exit(NULL) : sb_command_exit(status);
  }
  if (path == NULL || sb_output_commit(&output) == 0) return SB_EXIT_DONE;
  sb_run_result_clear(result);
  return complain_writing(path);
}

/* Loads, runs in the given ways and reports one scenario. */
struct job {
  const struct request *request;
  const char *path;
  struct sb_scenario scenario;
  int run_count;
  struct sb_run_result results[SB_GEAR_MAX + 1];
  struct sb_report reports[SB_GEAR_MAX + 1];
  struct sb_warmup warmups[SB_GEAR_MAX + 1]; /* with --until-warm */
};

/* Repeats the scenario until its motor is warm; the model of the repeat to report is the warm-up's. */
static int warm_up(struct job *job, int locked_gear, struct sb_warmup *warmup)
{
  struct sb_error err = {SB_OK, ""};
  if (!job->scenario.model.winding.is_present) {
    sb_command_complain("%s: --until-warm needs a winding that warms, found no motor.winding", job->path);
    return SB_EXIT_SCENARIO;
  }
  const enum sb_status status = sb_warmup_run(&job->scenario.model, locked_gear, warmup, &err);
  if (status != SB_OK) sb_command_complain("%s: %s", job->scenario.model.name, err.text);
  return sb_command_exit(status);
}

static int run_one(struct job *job, int locked_gear)
{
  const struct sb_model *model = &job->scenario.model;
  const struct sb_warmup *warmup = NULL;
  if (job->request->is_until_warm) {
    struct sb_warmup *own = &job->warmups[job->run_count];
    const int code = warm_up(job, locked_gear, own);
    if (code != SB_EXIT_DONE) return code;
    warmup = own;
    model = &own->model;
  }
  char suffix[SB_NAME_SIZE + 16] = "";
  if (job->request->is_comparison) {
    snprintf(suffix, sizeof suffix, "-%s", locked_gear > 0 ? model->gearbox.gears[locked_gear - 1].name : "automatic");
  }
  for (char *c = suffix; *c != 0; c++) {
    if (*c == '/' || *c == ' ') *c = '-';
  }
  char *path = trace_path(job->request, job->path, suffix, job->run_count == 0);
  struct sb_run_result *result = &job->results[job->run_count];
  const struct sb_decider *decider = locked_gear == 0 ? sb_own_options_decider(&job->request->own) : NULL;
  const int code = run_with_trace(model, locked_gear, decider, path, result);
  free(path);
  if (code != SB_EXIT_DONE) return code;
  job->reports[job->run_count++] = (struct sb_report){.model = model,
                                                      .result = result,
                                                      .locked_gear = locked_gear,
                                                      .warmup = warmup,
                                                      .controller = decider != NULL ? decider->name : NULL,
                                                      .is_verbose = job->request->is_verbose};
  return SB_EXIT_DONE;
}

static int run_all(struct job *job)
{
  const struct sb_gearbox *gearbox = &job->scenario.model.gearbox;
  int locked = 0;
  if (job->request->gear != NULL) {
    locked = sb_gearbox_find(gearbox, job->request->gear) + 1;
    if (locked == 0) {
      const char *names[SB_GEAR_MAX + 1] = {NULL};
      for (int g = 0; g < gearbox->gear_count; g++) names[g] = gearbox->gears[g].name;
      const char *nearest = sb_nearest_word(job->request->gear, names);
      sb_command_complain("%s: --gear: no gear \"%s\"; %s \"%s\"%s", job->path, job->request->gear,
                          nearest != NULL ? "did you mean" : "the first is", nearest != NULL ? nearest : names[0],
                          nearest != NULL ? "?" : "");
      return SB_EXIT_USAGE;
    }
  }
  int code = run_one(job, locked);
  for (int g = 1; code == SB_EXIT_DONE && job->request->is_comparison && g <= gearbox->gear_count; g++) {
    code = run_one(job, g);
  }
  return code;
}

static void report_all(const struct job *job, FILE *words, bool is_first)
{
  if (job->request->is_json) {
    for (int i = 0; i < job->run_count; i++) {
      struct sb_json json;
      sb_json_init(&json, stdout);
      sb_report_write_json(&json, &job->reports[i]);
      sb_json_end(&json);
    }
    return;
  }
  if (!is_first) fputc('\n', words);
  sb_report_write_text(words, &job->reports[0]);
  if (job->request->is_comparison) sb_report_write_comparison(words, job->reports, job->run_count);
}

static bool has_failed(const struct request *request, const struct sb_monitor *monitor)
{
  for (size_t i = 0; i < monitor->verdict_count; i++) {
    if (request->fails_on[monitor->verdicts[i].kind]) return true;
  }
  return false;
}

static int run_file(const struct request *request, const char *path, bool is_first, bool *is_failed)
{
  struct job job = {.request = request, .path = path};
  int code = sb_command_load(path, request->sets.items, request->sets.count, &job.scenario);
  if (code != SB_EXIT_DONE) return code;
  code = run_all(&job);
  if (code == SB_EXIT_DONE) {
    report_all(&job, is_on_stdout(request) ? stderr : stdout, is_first);
    *is_failed |= has_failed(request, &job.results[0].monitor);
  }
  for (int i = 0; i < job.run_count; i++) sb_run_result_clear(&job.results[i]);
  sb_scenario_clear(&job.scenario);
  return code;
}

int sb_cmd_run(int argc, char **argv)
{
  struct request request = {.output = NULL};
  int code = SB_EXIT_GAVE_UP;
  if (sb_words_init(&request.files, argc) && sb_words_init(&request.sets, argc)) {
    code = read_request(&request, argc, argv);
  }
  bool is_failed = false;
  for (size_t i = 0; code == SB_EXIT_DONE && i < request.files.count; i++) {
    code = run_file(&request, request.files.items[i], i == 0, &is_failed);
  }
  sb_words_clear(&request.files);
  sb_words_clear(&request.sets);
  sb_own_options_clear(&request.own);
  if (code == -1) return SB_EXIT_DONE;
  return code == SB_EXIT_DONE && is_failed ? SB_EXIT_VERDICT : code;
}
