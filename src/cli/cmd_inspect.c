// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_inspect.c - what happened in a trace, simulated or measured, and how a simulation compares. */
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "cli/command.h"
#include "cli/interrupt.h"
#include "cli/log_facts.h"
#include "cli/old_words.h"
#include "cli/options.h"
#include "cli/progress.h"
#include "inspect/report.h"
#include "shiftband/units.h"

static const char help[] =
    "usage: shiftband inspect [OPTION]... TRACE.csv\n"
    "\n"
    "Finds shifts, time in the gears, hunting and stalls in a trace, simulated or measured: from its\n"
    "column gear, from motor_speed_rpm and output_speed_rpm, or from the motor's speed (or reading_pct)\n"
    "alone, as far as that shows them. Missing values and noise are taken for normal.\n"
    "\n"
    "      --by WAY             gear, ratio or motor; default: the best that the columns allow\n"
    "      --ratios N,N,...     the ratios of the gears, the lowest gear (the greatest ratio) first;\n"
    "                           default: found\n" SB_LOG_FACTS_HELP
    "      --hunt-window TIME   shifts back and forth within this are hunting; default 5 s, or as the\n"
    "                           scenario has it\n"
    "      --stall-time TIME    at rest for longer than this is a stall; default 0.5 s, or as the\n"
    "                           scenario has it\n"
    "      --rest SPEED         the output is at rest below this; default 1 % of its greatest speed, or\n"
    "                           its noise\n"
    "      --json               one JSON object instead of text\n"
    "      --fail-on WORDS      exit with 1 on hunting, stall, deviation or any; a list with commas\n"
    "\n"
    "      --against FILE       simulate this scenario and compare: where log and simulation deviate,\n"
    "                           and what would explain it\n"
    "      --set PATH=VALUE     change one key of the scenario first; may be given again\n"
    "      --offset TIME        the simulation begins at this time of the log; default 0 s\n"
    "      --tolerance PERCENT  of a column's size: smaller differences are none; default 2 %, and\n"
    "                           never below noise\n"
    "      --try PATH           look for the explanation in this key only; may be given again\n"
    "      --no-hints           look for none\n"
    "  -o, --output FILE.csv    write log and simulation beside each other, for\n"
    "                           tools/plot/plot-trace; - is standard output\n";

enum {
  OPTION_BY = 1,
  OPTION_RATIOS,
  OPTION_COLUMN,
  OPTION_UNIT,
  OPTION_FILL,
  OPTION_HUNT_WINDOW,
  OPTION_STALL_TIME,
  OPTION_REST,
  OPTION_JSON,
  OPTION_FAIL_ON,
  OPTION_AGAINST,
  OPTION_SET,
  OPTION_OFFSET,
  OPTION_TOLERANCE,
  OPTION_TRY,
  OPTION_NO_HINTS,
  OPTION_OUTPUT
};

enum { FAIL_HUNTING, FAIL_STALL, FAIL_DEVIATION, FAIL_COUNT };

static const char *const fail_words[] = {"hunting", "stall", "deviation", "any", NULL};

struct request {
  struct sb_words files, sets, tries;
  struct sb_log_facts facts;
  enum sb_inspect_source source;
  int ratio_count;
  double ratios[SB_GEAR_MAX];
  double hunt_window_s, stall_time_s, rest_rad_s; /* NAN: not given */
  struct sb_overlay_options overlay;
  const char *against, *output;
  bool is_json, has_no_hints;
  bool fails_on[FAIL_COUNT];
};

static int read_by(struct request *request, const struct sb_option_reader *reader)
{
  static const char *const ways[] = {"gear", "ratio", "motor", NULL};
  static const enum sb_inspect_source sources[] = {SB_INSPECT_GEAR, SB_INSPECT_RATIO, SB_INSPECT_MOTOR};
  const int found = sb_options_find_word(reader->value, ways);
  if (found >= 0) {
    request->source = sources[found];
    return SB_EXIT_DONE;
  }
  return sb_options_complain(reader, "--by needs gear, ratio or motor, found \"%s\"", reader->value);
}

static int read_ratios(struct request *request, const struct sb_option_reader *reader)
{
  request->ratio_count = 0;
  for (const char *text = reader->value;;) {
    double ratio;
    const char *end = sb_number_parse(text, &ratio);
    const bool is_fit = end != NULL && (*end == ',' || *end == 0) && ratio > 0.0 &&
                        request->ratio_count < SB_GEAR_MAX &&
                        (request->ratio_count == 0 || ratio < request->ratios[request->ratio_count - 1]);
    if (!is_fit) {
      return sb_options_complain(reader, "--ratios needs up to %d numbers, each less than the one before, found \"%s\"",
                                 SB_GEAR_MAX, reader->value);
    }
    request->ratios[request->ratio_count++] = ratio;
    if (*end == 0) return SB_EXIT_DONE;
    text = end + 1;
  }
}

static int add_fact(struct request *request, const struct sb_option_reader *reader, enum sb_log_fact_kind kind)
{
  char complaint[SB_LOG_COMPLAINT_SIZE];
  if (sb_log_facts_add(&request->facts, kind, reader->value, complaint)) return SB_EXIT_DONE;
  return sb_options_complain(reader, "%s", complaint);
}

static int read_fail_on(struct request *request, const struct sb_option_reader *reader)
{
  for (const char *word = reader->value;; word++) {
    const size_t length = strcspn(word, ",");
    int found = -1;
    for (int k = 0; fail_words[k] != NULL; k++) {
      if (strlen(fail_words[k]) == length && strncmp(word, fail_words[k], length) == 0) found = k;
    }
    char name[32];
    snprintf(name, sizeof name, "%.*s", length < sizeof name ? (int)length : 0, word);
    const char *now = sb_old_words_find(sb_old_verdicts, name);
    if (now != NULL) return sb_options_complain(reader, "--fail-on: %s is now called %s", name, now);
    if (found < 0) {
      return sb_options_complain(reader, "--fail-on needs hunting, stall, deviation or any, found \"%.*s\"",
                                 (int)length, word);
    }
    for (int k = 0; k < FAIL_COUNT; k++) request->fails_on[k] |= found == FAIL_COUNT || found == k;
    word += length;
    if (*word == 0) return SB_EXIT_DONE;
  }
}

static int read_quantity(const struct sb_option_reader *reader, const char *name, enum sb_quantity quantity,
                         double least, double *value)
{
  struct sb_error err = {SB_OK, ""};
  if (sb_quantity_parse(reader->value, quantity, value, &err) != SB_OK) {
    return sb_options_complain(reader, "--%s: %s", name, err.text);
  }
  if (*value > least) return SB_EXIT_DONE;
  return sb_options_complain(reader, "--%s needs more than 0, found \"%s\"", name, reader->value);
}

static int read_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct request *request = context;
  switch (id) {
    case OPTION_BY: return read_by(request, reader);
    case OPTION_RATIOS: return read_ratios(request, reader);
    case OPTION_COLUMN: return add_fact(request, reader, SB_LOG_FACT_COLUMN);
    case OPTION_UNIT: return add_fact(request, reader, SB_LOG_FACT_UNIT);
    case OPTION_FILL: return add_fact(request, reader, SB_LOG_FACT_FILL);
    case OPTION_HUNT_WINDOW: return read_quantity(reader, "hunt-window", SB_TIME, 0.0, &request->hunt_window_s);
    case OPTION_STALL_TIME: return read_quantity(reader, "stall-time", SB_TIME, 0.0, &request->stall_time_s);
    case OPTION_REST: return read_quantity(reader, "rest", SB_SPEED, 0.0, &request->rest_rad_s);
    case OPTION_JSON: request->is_json = true; return SB_EXIT_DONE;
    case OPTION_FAIL_ON: return read_fail_on(request, reader);
    case OPTION_AGAINST: request->against = reader->value; return SB_EXIT_DONE;
    case OPTION_SET: sb_words_add(&request->sets, reader->value); return SB_EXIT_DONE;
    case OPTION_OFFSET: return read_quantity(reader, "offset", SB_TIME, -INFINITY, &request->overlay.offset_s);
    case OPTION_TOLERANCE:
      return read_quantity(reader, "tolerance", SB_PERCENT, 0.0, &request->overlay.tolerance_fraction);
    case OPTION_TRY: sb_words_add(&request->tries, reader->value); return SB_EXIT_DONE;
    case OPTION_NO_HINTS: request->has_no_hints = true; return SB_EXIT_DONE;
    case OPTION_OUTPUT: request->output = reader->value; return SB_EXIT_DONE;
    case SB_OPTION_OPERAND: sb_words_add(&request->files, reader->value); return SB_EXIT_DONE;
    default: return SB_EXIT_USAGE;
  }
}

static int check_request(const struct request *request, const struct sb_option_reader *reader)
{
  if (request->files.count != 1) return sb_options_complain(reader, "needs one trace");
  if (request->against == NULL) {
    const char *stray = request->output != NULL                                               ? "-o"
                        : request->sets.count > 0                                             ? "--set"
                        : request->tries.count > 0                                            ? "--try"
                        : request->fails_on[FAIL_DEVIATION] && !request->fails_on[FAIL_STALL] ? "--fail-on deviation"
                                                                                              : NULL;
    if (stray != NULL) return sb_options_complain(reader, "%s goes with --against", stray);
    return SB_EXIT_DONE;
  }
  if (request->output != NULL && strcmp(request->output, "-") == 0 && request->is_json) {
    return sb_options_complain(reader, "-o - and --json both want standard output");
  }
  const char *const inputs[] = {request->files.items[0], request->against};
  return sb_command_check_output("inspect", "-o", request->output, inputs, 2);
}

/* Returns SB_EXIT_DONE, another exit code, or -1 when only help was asked for. */
static int read_request(struct request *request, int argc, char **argv)
{
  static const struct sb_option options[] = {{"by", 0, true, OPTION_BY},
                                             {"ratios", 0, true, OPTION_RATIOS},
                                             {"column", 0, true, OPTION_COLUMN},
                                             {"unit", 0, true, OPTION_UNIT},
                                             {"fill", 0, true, OPTION_FILL},
                                             {"hunt-window", 0, true, OPTION_HUNT_WINDOW},
                                             {"stall-time", 0, true, OPTION_STALL_TIME},
                                             {"rest", 0, true, OPTION_REST},
                                             {"json", 0, false, OPTION_JSON},
                                             {"fail-on", 0, true, OPTION_FAIL_ON},
                                             {"against", 0, true, OPTION_AGAINST},
                                             {"set", 0, true, OPTION_SET},
                                             {"offset", 0, true, OPTION_OFFSET},
                                             {"tolerance", 0, true, OPTION_TOLERANCE},
                                             {"try", 0, true, OPTION_TRY},
                                             {"no-hints", 0, false, OPTION_NO_HINTS},
                                             {"output", 'o', true, OPTION_OUTPUT},
                                             {NULL, 0, false, 0}};
  struct sb_option_reader reader;
  const int code = sb_options_read_all(&reader, options, argc, argv, help, read_option, request);
  return code == SB_EXIT_DONE ? check_request(request, &reader) : code;
}

/* All that is found for one trace. */
struct job {
  const struct request *request;
  struct sb_log log, simulated;
  struct sb_scenario scenario;
  bool has_scenario, has_overlay;
  struct sb_inspect_options options;
  struct sb_inspection found, beside;
  struct sb_overlay overlay;
  struct sb_explanation explanation;
  double compared_to_s;
  struct sb_progress progress;
};

static int complain(const char *path, enum sb_status status, const struct sb_error *err)
{
  sb_command_complain("%s: %s", path, err->text[0] != 0 ? err->text : sb_status_text(status));
  return sb_command_exit(status);
}

static int read_log(struct job *job)
{
  const char *path = job->request->files.items[0];
  struct sb_faults faults = {0};
  struct sb_log_options options = sb_log_options_default();
  options.facts = sb_log_facts_of(&job->request->facts);
  if (job->has_scenario) options.gearbox = &job->scenario.model.gearbox;
  const enum sb_status status = sb_log_read(path, &options, &job->log, &faults);
  for (size_t k = 0; k < faults.count; k++) fprintf(stderr, "%s\n", faults.texts[k]);
  if (status != SB_OK && faults.count == 0) {
    sb_command_complain("%s: %s", path, status == SB_ERR_IO ? strerror(errno) : sb_status_text(status));
  }
  sb_faults_clear(&faults);
  if (status == SB_OK && job->log.has_decimal_commas) sb_log_facts_note_commas(path);
  return sb_command_exit(status);
}

/* The scenario's values, unless the user gives others. */
static void choose_options(struct job *job)
{
  const struct request *request = job->request;
  job->options = job->has_scenario ? sb_inspect_options_of(&job->scenario.model) : sb_inspect_options_default();
  job->options.source = request->source;
  if (request->ratio_count > 0) {
    job->options.ratio_count = request->ratio_count;
    memcpy(job->options.ratios, request->ratios, sizeof request->ratios);
  }
  if (!isnan(request->hunt_window_s)) job->options.hunt_window_s = request->hunt_window_s;
  if (!isnan(request->stall_time_s)) job->options.stall_time_s = request->stall_time_s;
  if (!isnan(request->rest_rad_s)) job->options.rest_rpm = request->rest_rad_s / SB_RPM;
}

static int show_progress(void *context, size_t done, size_t total)
{
  struct job *job = context;
  sb_progress_show(&job->progress, (long)done, (long)total);
  return *sb_interrupt_flag() != 0;
}

static int explain(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  const struct sb_hint_request hint_request = {.path = request->against,
                                               .sets = request->sets.items,
                                               .set_count = request->sets.count,
                                               .tries = request->tries.items,
                                               .try_count = request->tries.count,
                                               .on_trial = show_progress,
                                               .context = job};
  sb_interrupt_catch();
  sb_progress_begin(&job->progress, "explanations");
  const enum sb_status status =
      sb_overlay_explain(&job->log, &job->scenario, &request->overlay, &hint_request, &job->explanation, &err);
  sb_progress_end(&job->progress);
  if (status == SB_ERR_STOPPED) return sb_interrupt_exit(NULL);
  return status == SB_OK ? SB_EXIT_DONE : complain(request->against, status, &err);
}

/* Compares the simulation with the log, and inspects it in the same way. */
static int compare(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  struct sb_inspect_options options = job->options;
  options.source = SB_INSPECT_GEAR;
  enum sb_status status = sb_overlay_run(&job->scenario.model, &job->log, &request->overlay, &job->simulated, &err);
  if (status == SB_OK) {
    job->compared_to_s = request->overlay.offset_s + job->simulated.time_s[job->simulated.count - 1];
    status = sb_inspect(&job->simulated, &options, &job->beside, &err);
  }
  if (status == SB_OK) {
    status = sb_overlay_compare(&job->log, &job->simulated, &request->overlay, &job->overlay, &err);
    job->has_overlay = status == SB_OK;
  }
  if (status != SB_OK) return complain(request->files.items[0], status, &err);
  /* Where nothing deviates there is nothing to explain, unless somebody asks. */
  const bool is_deviating = !isnan(job->overlay.first_deviation_s);
  return request->has_no_hints || (!is_deviating && request->tries.count == 0) ? SB_EXIT_DONE : explain(job);
}

static int write_overlay(FILE *out, const void *context)
{
  const struct job *job = context;
  return sb_overlay_write_csv(out, &job->log, &job->overlay);
}

static int report(const struct job *job)
{
  const struct request *request = job->request;
  const bool is_data_on_stdout = request->output != NULL && strcmp(request->output, "-") == 0;
  const struct sb_inspect_report words = {.trace = sb_log_name(request->files.items[0]),
                                          .log = &job->log,
                                          .found = &job->found,
                                          .scenario = job->has_scenario ? &job->scenario : NULL,
                                          .simulated = &job->beside,
                                          .compared_to_s = job->compared_to_s,
                                          .overlay = job->has_overlay ? &job->overlay : NULL,
                                          .explanation = &job->explanation};
  if (request->output != NULL) {
    const int code = sb_command_write_file(request->output, (struct sb_command_writer){write_overlay, job});
    if (code != SB_EXIT_DONE) return code;
  }
  if (request->is_json) {
    sb_inspect_write_json(stdout, &words);
  } else {
    sb_inspect_write_text(is_data_on_stdout ? stderr : stdout, &words);
  }
  const bool is_failed =
      (request->fails_on[FAIL_HUNTING] && job->found.hunt_count > 0) ||
      (request->fails_on[FAIL_STALL] && job->found.rest_count > 0) ||
      (request->fails_on[FAIL_DEVIATION] && job->has_overlay && !isnan(job->overlay.first_deviation_s));
  return is_failed ? SB_EXIT_VERDICT : SB_EXIT_DONE;
}

static int inspect(struct job *job)
{
  const struct request *request = job->request;
  struct sb_error err = {SB_OK, ""};
  int code = SB_EXIT_DONE;
  if (request->against != NULL) {
    code = sb_command_load(request->against, request->sets.items, request->sets.count, &job->scenario);
    job->has_scenario = code == SB_EXIT_DONE;
    if (code != SB_EXIT_DONE) return code;
  }
  code = read_log(job);
  if (code != SB_EXIT_DONE) return code;
  choose_options(job);
  const enum sb_status status = sb_inspect(&job->log, &job->options, &job->found, &err);
  if (status != SB_OK) return complain(request->files.items[0], status, &err);
  if (job->has_scenario) code = compare(job);
  return code == SB_EXIT_DONE ? report(job) : code;
}

static void clear_job(struct job *job)
{
  sb_log_clear(&job->log);
  sb_log_clear(&job->simulated);
  sb_inspection_clear(&job->found);
  sb_inspection_clear(&job->beside);
  sb_overlay_clear(&job->overlay);
  if (job->has_scenario) sb_scenario_clear(&job->scenario);
}

int sb_cmd_inspect(int argc, char **argv)
{
  struct request request = {
      .hunt_window_s = NAN, .stall_time_s = NAN, .rest_rad_s = NAN, .overlay = sb_overlay_options_default()};
  struct job *job = calloc(1, sizeof *job); /* holds a scenario: too large for a stack */
  int code = SB_EXIT_GAVE_UP;
  if (job != NULL && sb_words_init(&request.files, argc) && sb_words_init(&request.sets, argc) &&
      sb_words_init(&request.tries, argc)) {
    code = read_request(&request, argc, argv);
  }
  if (code == SB_EXIT_DONE) {
    job->request = &request;
    code = inspect(job);
    clear_job(job);
  }
  free(job);
  sb_words_clear(&request.files);
  sb_words_clear(&request.sets);
  sb_words_clear(&request.tries);
  return code == -1 ? SB_EXIT_DONE : code;
}
