// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_map.c - the verdict over a plane: exactly, or as a study of samples, charges, varied keys or someone else's controller. */
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include "cli/command.h"
#include "cli/external_options.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "map/lattice.h"
#include "map/report.h"
#include "prove/any_load_report.h"
#include "study/refusal.h"
#include "study/study.h"

struct request {
  const char *file; /* NULL with join */
  struct sb_option_list sets, shards, vary;
  struct sb_study_request wanted; /* but for the texts of vary */
  const char *limits;             /* NULL: not asked for */
  bool is_json, is_verbose, is_join, is_any_load;
  struct sb_own_options own;
  struct sb_long_work work; /* its output is -o */
};

/* Where words go: standard error when standard output carries the CSV. */
static FILE *words_stream(const struct request *request)
{
  return request->work.output != NULL && sb_output_is_standard(request->work.output) ? stderr : stdout;
}

/* What was asked for of the CSV and of the closed-form boundaries. */
static int write_files(const struct request *request, struct sb_command_writer csv, struct sb_command_writer limits)
{
  int code = SB_EXIT_DONE;
  if (request->work.output != NULL) code = sb_command_write_file(request->work.output, csv);
  if (code == SB_EXIT_DONE && request->limits != NULL) code = sb_command_write_file(request->limits, limits);
  return code;
}

/* The exact map of one scenario ------------------------------------------------------------------------------------------ */

struct exact {
  const struct sb_model *model;
  struct sb_map_options options;
  struct sb_map map;
  struct sb_progress progress;
};

static void show_points(void *context, long done, long total)
{
  sb_progress_show(context, done, total);
}

static void begin_progress(const struct request *request, struct exact *exact, const char *what)
{
  sb_progress_begin(&exact->progress, what, request->work.is_quiet);
  exact->options.on_progress = exact->progress.is_shown ? show_points : NULL;
  exact->options.progress_context = &exact->progress;
}

static int write_exact_csv(FILE *out, const void *context)
{
  return sb_map_write_csv(out, &((const struct exact *)context)->map);
}

static int write_exact_limits(FILE *out, const void *context)
{
  const struct exact *exact = context;
  return sb_map_write_limits(out, exact->model, &exact->map.options);
}

static enum sb_status report_exact(const struct request *request, struct exact *exact, struct sb_error *err)
{
  const struct sb_model *model = exact->model;
  const struct sb_map *map = &exact->map;
  struct sb_map_own own;
  const struct sb_map_wishes wishes = {request->wanted.downshift != NULL || request->wanted.upshift != NULL,
                                       request->is_verbose};
  begin_progress(request, exact, "points beside the scenario's own");
  const enum sb_status status = sb_map_look_around(model, &exact->options, &own, err);
  sb_progress_end(&exact->progress);
  if (status != SB_OK) return status;
  if (!request->is_json) return sb_map_write_text(words_stream(request), model, map, &own, &wishes, err);
  sb_map_write_json(stdout, model, map, &own);
  return SB_OK;
}

static int do_exact(const struct request *request, const struct sb_scenario *scenario)
{
  struct exact exact = {.model = &scenario->model};
  const struct sb_study_request *wanted = &request->wanted;
  struct sb_error err = {SB_OK, ""};
  enum sb_status status =
      sb_map_plane_parse(exact.model, wanted->pair, wanted->downshift, wanted->upshift, &exact.options, &err);
  begin_progress(request, &exact, "points");
  if (status == SB_OK) status = sb_map_exact(exact.model, &exact.options, true, &exact.map, &err);
  sb_progress_end(&exact.progress);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  sb_map_sort(&exact.map);
  const int code = write_files(request, (struct sb_command_writer){write_exact_csv, &exact},
                               (struct sb_command_writer){write_exact_limits, &exact});
  if (code == SB_EXIT_DONE) status = report_exact(request, &exact, &err);
  sb_map_clear(&exact.map);
  return status == SB_OK ? code : sb_command_fail(request->file, status, &err);
}

/* The plane for every load ---------------------------------------------------------------------------------------------- */

static int write_any_load_csv(FILE *out, const void *context)
{
  return sb_any_load_write_csv(out, context);
}

static enum sb_status report_any_load(const struct request *request, const struct sb_any_load *plane,
                                      struct sb_error *err)
{
  struct sb_any_load_own own;
  const struct sb_any_load_wishes wishes = {request->wanted.downshift != NULL || request->wanted.upshift != NULL,
                                            request->is_verbose};
  const enum sb_status status = sb_any_load_look_around(plane, &own, err);
  if (status != SB_OK) return status;
  if (!request->is_json) return sb_any_load_write_text(words_stream(request), plane, &own, &wishes, err);
  sb_any_load_write_json(stdout, plane, &own);
  return SB_OK;
}

static enum sb_status solve_any_load(const struct request *request, const struct sb_model *model,
                                     struct sb_any_load *plane, struct sb_error *err)
{
  const struct sb_study_request *wanted = &request->wanted;
  struct sb_map_options part;
  enum sb_status status = sb_map_plane_parse(model, wanted->pair, wanted->downshift, wanted->upshift, &part, err);
  if (status != SB_OK) return status;
  struct sb_progress progress;
  struct sb_any_load_options options;
  status = sb_any_load_options_of(model, &part, &options, err);
  if (status != SB_OK) return status;
  sb_progress_begin(&progress, "upshift thresholds", request->work.is_quiet);
  options.jobs = (int)request->work.jobs;
  options.on_progress = progress.is_shown ? show_points : NULL;
  options.progress_context = &progress;
  status = sb_any_load_solve(model, &options, plane, err);
  sb_progress_end(&progress);
  return status;
}

static int do_any_load(const struct request *request, const struct sb_scenario *scenario)
{
  struct sb_any_load plane;
  struct sb_error err = {SB_OK, ""};
  enum sb_status status = solve_any_load(request, &scenario->model, &plane, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  int code = SB_EXIT_DONE;
  if (request->work.output != NULL) {
    code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_any_load_csv, &plane});
  }
  if (code == SB_EXIT_DONE) status = report_any_load(request, &plane, &err);
  sb_any_load_clear(&plane);
  return status == SB_OK ? code : sb_command_fail(request->file, status, &err);
}

/* A study ---------------------------------------------------------------------------------------------------------------- */

static int write_study_csv(FILE *out, const void *context)
{
  return sb_study_write_csv(out, context);
}

static int write_study_limits(FILE *out, const void *context)
{
  return sb_study_write_limits(out, context);
}

static enum sb_status write_report(const struct request *request, const struct sb_study_report *report,
                                   struct sb_error *err)
{
  if (!request->is_json) return sb_study_write_text(words_stream(request), report, err);
  char refusals[2048];
  sb_study_write_json(stdout, report);
  if (sb_refusal_line(report, refusals, sizeof refusals)[0] != 0) sb_command_warn("%s", refusals);
  return SB_OK;
}

/* The output of a whole study. */
static int finish(const struct request *request, const struct sb_study *study, const struct sb_tasks_result *result)
{
  struct sb_study_report report;
  struct sb_error err = {SB_OK, ""};
  if (request->limits != NULL && !study->has_limits) {
    return sb_command_usage("these shards were made without --limits");
  }
  enum sb_status status = sb_study_take(study, result, &report, &err);
  if (status != SB_OK) return sb_command_fail(NULL, status, &err);
  const int code = write_files(request, (struct sb_command_writer){write_study_csv, &report},
                               (struct sb_command_writer){write_study_limits, &report});
  if (code == SB_EXIT_DONE) status = write_report(request, &report, &err);
  sb_study_report_clear(&report);
  return status == SB_OK ? code : sb_command_fail(NULL, status, &err);
}

static int do_join(const struct request *request)
{
  struct sb_error err;
  struct sb_study study;
  struct sb_tasks_result result;
  const enum sb_status status = sb_tasks_join(request->shards.items, request->shards.count, &result, &err);
  if (status != SB_OK) return sb_command_fail("--join", status, &err);
  int code = SB_EXIT_SCENARIO;
  if (sb_study_read(result.about, &study)) {
    code = finish(request, &study, &result);
  } else {
    sb_command_complain("--join: %s: no shard of a map, or one that another version of shiftband made",
                        request->shards.items[0]);
  }
  sb_tasks_result_clear(&result);
  return code;
}

/* What results depend on: program, command, scenario, controller. The study's own facts come on top. */
static int identify(const struct request *request, const struct sb_scenario *scenario, uint64_t *identity)
{
  struct sb_error err;
  *identity = sb_tasks_hash_text(sb_tasks_hash_text(SB_TASKS_HASH_START, sb_command_version()), "map");
  const enum sb_status status =
      sb_tasks_hash_scenario(identity, request->file, request->sets.items, request->sets.count, scenario, &err);
  if (status == SB_OK) return sb_own_options_hash(&request->own, identity);
  return sb_command_fail(NULL, status, &err);
}

/* Runs the tasks and finishes the study, or writes its shard. */
static int run_tasks(struct request *request, const struct sb_study *study, const struct sb_tasks *tasks)
{
  struct sb_tasks_result result;
  request->work.what = study->samples > 0 ? "samples" : study->kind == SB_STUDY_RUNS ? "points" : "charges";
  int code = sb_long_work_run(&request->work, tasks, &result);
  const bool is_whole = code == SB_EXIT_DONE;
  if (is_whole) {
    code = request->work.shard_count > 1 ? sb_long_work_write_shard(&request->work, &result)
                                         : finish(request, study, &result);
    sb_tasks_result_clear(&result);
  }
  sb_long_work_end(&request->work, is_whole && code == SB_EXIT_DONE);
  return code;
}

static int run_study(struct request *request, const struct sb_study_source *source, const struct sb_study *study,
                     uint64_t identity)
{
  struct sb_study_work work;
  struct sb_error err = {SB_OK, ""};
  struct sb_lines about = {.text = NULL};
  const enum sb_status status = sb_study_begin(&work, study, source, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  sb_study_write(&about, study);
  const struct sb_tasks tasks = {.identity = identity,
                                 .about = about.text != NULL ? about.text : "",
                                 .task_count = sb_study_task_count(study),
                                 .run_task = sb_study_run_task,
                                 .context = &work};
  const int code =
      about.is_out_of_memory ? sb_command_fail(request->file, SB_ERR_MEMORY, NULL) : run_tasks(request, study, &tasks);
  sb_lines_clear(&about);
  sb_study_end(&work);
  return code;
}

static int do_study(struct request *request, const struct sb_scenario *scenario)
{
  const struct sb_study_source source = {.path = request->file,
                                         .sets = request->sets.items,
                                         .set_count = request->sets.count,
                                         .nominal = scenario,
                                         .decider = sb_own_options_decider(&request->own),
                                         .stop = sb_interrupt_flag()};
  struct sb_study_request *wanted = &request->wanted;
  struct sb_study study;
  struct sb_error err = {SB_OK, ""};
  uint64_t identity = 0;
  wanted->vary = request->vary.items;
  wanted->vary_count = request->vary.count;
  wanted->has_limits = request->limits != NULL;
  const enum sb_status status = sb_study_plan(wanted, &source, &study, &err);
  if (status != SB_OK) return sb_command_fail(request->file, status, &err);
  for (size_t k = 0; k < request->vary.count; k++) sb_command_note_unit("vary", request->vary.items[k]);
  const int code = identify(request, scenario, &identity);
  return code == SB_EXIT_DONE ? run_study(request, &source, &study, identity) : code;
}

/* The command ------------------------------------------------------------------------------------------------------------ */

static bool is_study(const struct request *request)
{
  return request->wanted.samples > 0 || request->wanted.charges > 0 || request->vary.count > 0 ||
         sb_own_options_decider(&request->own) != NULL;
}

static int do_file(struct request *request)
{
  struct sb_scenario *scenario = malloc(sizeof *scenario);
  if (scenario == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  int code = sb_command_load(request->file, &request->sets, scenario);
  if (code == SB_EXIT_DONE) {
    if (request->is_any_load) {
      code = do_any_load(request, scenario);
    } else {
      code = is_study(request) ? do_study(request, scenario) : do_exact(request, scenario);
    }
    sb_scenario_clear(scenario);
  }
  free(scenario);
  return code;
}

static int run(void *context)
{
  struct request *request = context;
  request->file = request->shards.items[0];
  int code = sb_own_options_prepare(&request->own);
  if (code == SB_EXIT_DONE) code = request->is_join ? do_join(request) : do_file(request);
  sb_own_options_clear(&request->own);
  return code;
}

static int take_shard(void *context, const char *value)
{
  struct request *request = context;
  if (sb_long_work_read_shard(&request->work, value)) return SB_EXIT_DONE;
  return sb_command_usage("--shard needs K/N with K from 1 to N, such as 2/3, found \"%s\"", value);
}

static const struct sb_option option_table[] = {
    {"output", 'o', "FILE.csv",
     "write the rectangles (or points) there; - is standard output, and the report then goes to standard error",
     SB_INTO_OUTPUT(struct request, work.output)},
    {"json", 0, NULL, "print one JSON object instead of picture and words", SB_INTO_FLAG(struct request, is_json)},
    {"pair", 0, "PAIR", "the gears as SLOWER/FASTER by name, or as a number from 1 (default: the first)",
     SB_INTO_TEXT(struct request, wanted.pair)},
    {"downshift", 0, "FROM..TO", "part of the plane: downshift thresholds, in percent",
     SB_INTO_TEXT(struct request, wanted.downshift)},
    {"upshift", 0, "FROM..TO", "part of the plane: upshift thresholds, in percent",
     SB_INTO_TEXT(struct request, wanted.upshift)},
    {"limits", 0, "FILE.csv", "write the closed-form boundaries there; beside --vary those of each point",
     SB_INTO_OUTPUT(struct request, limits)},
    {"any-load", 0, NULL,
     "what is proved for every load profile within load.bounds, or the least and greatest of the scenario's own load, at each "
     "pair of thresholds (topic: prove); on a coarser lattice",
     SB_INTO_FLAG(struct request, is_any_load)},
    SB_OPTION_SET_OF(struct request),
    {"verbose", 'v', NULL, "also say how much was simulated", SB_INTO_FLAG(struct request, is_verbose)},
    {.help =
         "\nStudies. They may be combined: each sample at each charge and each value. A varied key has its value in all "
         "samples, whatever its tolerance."},
    {"discharge", 0, "N",
     "maps at N charges of the battery, from full to its cut-off: the verdict for the scenario's own thresholds, and which thresholds pass",
     SB_INTO_COUNT(struct request, wanted.charges, 1, 1000)},
    {"samples", 0, "N", "random samples of the scenario's tolerances: which share of them passes",
     SB_INTO_COUNT(struct request, wanted.samples, 1, 1000000)},
    {"seed", 0, "S", "of the samples (default 1)", SB_INTO_COUNT(struct request, wanted.seed, 0, 4294967295L)},
    {"vary", 0, "PATH=FROM..TO",
     "vary any number of the scenario instead of the thresholds, as --vary controller.dwell='0.2..3 s'; given twice: a plane; "
     "up to 6 times: with -o FILE.csv a row for each point",
     SB_INTO_LIST(struct request, vary)},
    {"points", 0, "N", "points along each varied key (default 41; of three keys or more: 11)",
     SB_INTO_COUNT(struct request, wanted.points, 1, SB_AXIS_POINTS_MAX)},
    {.help =
         "\nLong work (--samples, --discharge, --vary; --any-load knows --jobs and --quiet); results do not depend on any of these:"},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct request, work.jobs, 1, 1024)},
    {"resume", 0, NULL,
     "go on where an interrupted or killed command with the same options stopped; what it had finished is in FILE.csv.part",
     SB_INTO_FLAG(struct request, work.is_resumed)},
    {"shard", 0, "K/N", "do only the K-th of N equal parts and write a shard to -o", SB_BY_CALL(take_shard)},
    {"join", 0, NULL, "put all shards of a study together: they stand in place of the scenario",
     SB_INTO_FLAG(struct request, is_join)},
    {"quiet", 'q', NULL, "show no progress", SB_INTO_FLAG(struct request, work.is_quiet)},
    SB_OWN_OPTIONS(struct request, own),
    {.help =
         "Plain maps are then grids of thresholds (--downshift, --upshift; about --points each), since what lies between "
         "two points is known of the built-in controller only."},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"+", SB_NEEDS, "join", "a map is of one scenario"},
    {"output=-", SB_EXCLUDES, "json", "both use standard output"},
    {"join", SB_EXCLUDES,
     "set vary discharge samples seed pair downshift upshift points shard resume controller controller-command",
     "the shards know the rest"},
    {"any-load", SB_EXCLUDES, "samples discharge vary limits join controller controller-command",
     "it proves what holds for one machine with the built-in controller"},
    {"limits", SB_EXCLUDES, "samples", "they are closed forms of one machine"},
    {"limits", SB_EXCLUDES, "controller controller-command", "closed forms are of the built-in controller only"},
    {"limits&discharge", SB_NEEDS, "vary", "they go with one map; over the discharge: shiftband check --discharge"},
    {"points", SB_NEEDS, "vary controller controller-command", "a map of thresholds is exact, without points"},
    {"vary", SB_EXCLUDES, "pair downshift upshift",
     "these are for maps of thresholds; to vary one: --vary controller.downshift_below=40..60%"},
    {"resume shard", SB_NEEDS, "samples discharge vary controller controller-command",
     "an exact map is one piece of work"},
    {"resume", SB_NEEDS, "output", "what is done already lies beside that file"},
    {"shard", SB_NEEDS, "output", "the shard is written there"},
    {"shard", SB_EXCLUDES, "output=-", "a shard is a file for --join"},
    {"resume", SB_EXCLUDES, "output=-", "nothing lies beside standard output"},
    {"shard", SB_EXCLUDES, "json", "it goes with --join"},
    SB_OWN_RULES,
    {0},
};

static const struct request defaults = {.wanted.seed = 1, .work = {.shard = 1, .shard_count = 1}};

const struct sb_command sb_command_map = {
    .name = "map",
    .summary = "the verdict over the whole plane of thresholds, or over a grid of other keys",
    .usage = "[OPTION]... FILE\n--join SHARD... [-o FILE.csv] [--json]",
    .about =
        "Shows the verdict for every pair of downshift and upshift thresholds, exactly, and how far the scenario's own thresholds are from failing; or the share of tolerance samples that passes at each pair; or a grid over other keys.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file, or with --join shards", offsetof(struct request, shards)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
