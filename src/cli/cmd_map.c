// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_map.c - the verdict over a plane: options, and which of the three sorts of map is asked for. */
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "study/study.h"

static bool is_study(const struct sb_map_request *request)
{
  return request->samples > 0 || request->discharge > 0 || request->vary.count > 0 ||
         sb_own_options_decider(&request->own) != NULL;
}

static int do_file(struct sb_map_request *request)
{
  struct sb_scenario *scenario = malloc(sizeof *scenario);
  if (scenario == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  int code = sb_command_load(request->file, &request->sets, scenario);
  if (code == SB_EXIT_DONE) {
    code = is_study(request) ? sb_map_do_study(request, scenario) : sb_map_do_exact(request, scenario);
    sb_scenario_clear(scenario);
  }
  free(scenario);
  return code;
}

static int run(void *context)
{
  struct sb_map_request *request = context;
  request->file = request->shards.items[0];
  int code = sb_own_options_prepare(&request->own);
  if (code == SB_EXIT_DONE) code = request->is_join ? sb_map_do_join(request) : do_file(request);
  sb_own_options_clear(&request->own);
  return code;
}

static int take_shard(void *context, const char *value)
{
  struct sb_map_request *request = context;
  if (sb_long_work_read_shard(&request->work, value)) return SB_EXIT_DONE;
  return sb_command_usage("--shard needs K/N with K from 1 to N, such as 2/3, found \"%s\"", value);
}

static const struct sb_option option_table[] = {
    {"output", 'o', "FILE.csv",
     "write the rectangles (or points) there; - is standard output, and the report then goes to standard error",
     SB_INTO_OUTPUT(struct sb_map_request, work.output)},
    {"json", 0, NULL, "print one JSON object instead of picture and words",
     SB_INTO_FLAG(struct sb_map_request, is_json)},
    {"pair", 0, "PAIR", "the gears as SLOWER/FASTER by name, or as a number from 1 (default: the first)",
     SB_INTO_TEXT(struct sb_map_request, pair)},
    {"downshift", 0, "FROM..TO", "part of the plane: downshift thresholds, in percent",
     SB_INTO_TEXT(struct sb_map_request, downshift)},
    {"upshift", 0, "FROM..TO", "part of the plane: upshift thresholds, in percent",
     SB_INTO_TEXT(struct sb_map_request, upshift)},
    {"limits", 0, "FILE.csv", "write the closed-form boundaries there; beside --vary those of each point",
     SB_INTO_OUTPUT(struct sb_map_request, limits)},
    SB_OPTION_SET_OF(struct sb_map_request),
    {"verbose", 'v', NULL, "also say how much was simulated", SB_INTO_FLAG(struct sb_map_request, is_verbose)},
    {.help =
         "\nStudies. They may be combined: each sample at each charge and each value. A varied key has its value in all "
         "samples, whatever its tolerance."},
    {"discharge", 0, "N",
     "maps at N charges of the battery, from full to its cut-off: the verdict for the scenario's own thresholds, and which thresholds pass",
     SB_INTO_COUNT(struct sb_map_request, discharge, 1, 1000)},
    {"samples", 0, "N", "random samples of the scenario's tolerances: which share of them passes",
     SB_INTO_COUNT(struct sb_map_request, samples, 1, 1000000)},
    {"seed", 0, "S", "of the samples (default 1)", SB_INTO_COUNT(struct sb_map_request, seed, 0, 4294967295L)},
    {"vary", 0, "PATH=FROM..TO",
     "vary any number of the scenario instead of the thresholds, as --vary controller.dwell='0.2..3 s'; given twice: a plane; "
     "up to 6 times: with -o FILE.csv a row for each point",
     SB_INTO_LIST(struct sb_map_request, vary)},
    {"points", 0, "N", "points along each varied key (default 41; of three keys or more: 11)",
     SB_INTO_COUNT(struct sb_map_request, points, 1, SB_AXIS_POINTS_MAX)},
    {.help = "\nLong work (--samples, --discharge, --vary); results do not depend on any of these:"},
    {"jobs", 0, "N", "threads (default: all cores)", SB_INTO_COUNT(struct sb_map_request, work.jobs, 1, 1024)},
    {"resume", 0, NULL,
     "go on where an interrupted or killed command with the same options stopped; what it had finished is in FILE.csv.part",
     SB_INTO_FLAG(struct sb_map_request, work.is_resumed)},
    {"shard", 0, "K/N", "do only the K-th of N equal parts and write a shard to -o", SB_BY_CALL(take_shard)},
    {"join", 0, NULL, "put all shards of a study together: they stand in place of the scenario",
     SB_INTO_FLAG(struct sb_map_request, is_join)},
    {"quiet", 'q', NULL, "show no progress", SB_INTO_FLAG(struct sb_map_request, work.is_quiet)},
    SB_OWN_OPTIONS(struct sb_map_request, own),
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

static const struct sb_map_request defaults = {.seed = 1, .work = {.shard = 1, .shard_count = 1}};

const struct sb_command sb_command_map = {
    .name = "map",
    .summary = "the verdict over the whole plane of thresholds, or over a grid of other keys",
    .usage = "[OPTION]... FILE\n--join SHARD... [-o FILE.csv] [--json]",
    .about =
        "Shows the verdict for every pair of downshift and upshift thresholds, exactly, and how far the scenario's own thresholds are from failing; or the share of tolerance samples that passes at each pair; or a grid over other keys.",
    .options = option_table,
    .rules = rules,
    .files = {1, SIZE_MAX, "scenario file, or with --join shards", offsetof(struct sb_map_request, shards)},
    .request_size = sizeof(struct sb_map_request),
    .defaults = &defaults,
    .run = run,
};
