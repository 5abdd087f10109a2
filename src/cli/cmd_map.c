// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_map.c - the verdict over a plane: options, and which of the three sorts of map is asked for. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "study/study.h"

static const char help[] =
    "usage: shiftband map [OPTION]... FILE\n"
    "       shiftband map --join SHARD... [-o FILE.csv] [--json]\n"
    "\n"
    "Shows what every pair of down and up thresholds comes to, exactly, and how far the scenario's own\n"
    "are from failing; or the share of tolerance samples that passes at each pair; or a grid over other\n"
    "keys.\n"
    "\n"
    "  -o, --output FILE.csv    write the rectangles (or points) there; - is standard output, and the\n"
    "                           words then go to standard error\n"
    "      --json               print one JSON object instead of picture and words\n"
    "      --pair SLOWER/FASTER the pair of gears, by name or as a number from 1 (default: the first)\n"
    "      --downshift FROM..TO part of the plane, in percent\n"
    "      --upshift FROM..TO\n"
    "      --limits FILE.csv    write the closed-form boundaries there\n"
    "      --set PATH=VALUE     change one key; may be given again\n"
    "      --discharge N        maps at N charges of the battery, from full to its cut-off: what the\n"
    "                           scenario's own thresholds come to, and which pass\n"
    "      --samples N          random samples of the scenario's tolerances: which share of them passes\n"
    "      --seed S             of the samples (default 1)\n"
    "      --vary PATH=FROM..TO vary any number of the scenario instead, as\n"
    "                           --vary controller.dwell='0.2..3 s'; given twice: a plane;\n"
    "                           up to 6 times: with -o FILE.csv a row for each point\n"
    "      --points N           points along each varied key (default 41; of three keys or more: 11)\n"
    "      --verbose            say how much was simulated, too\n"
    "--samples, --discharge and --vary may be combined: each sample at each charge and each value.\n"
    "A varied key has its value in all samples, whatever its tolerance. --limits beside --vary: closed\n"
    "forms by point.\n"
    "\n"
    "Long work (--samples, --discharge, --vary); results do not depend on any of these:\n"
    "      --jobs N             threads (default: all cores)\n"
    "      --resume             go on where an interrupted or killed command with the same options\n"
    "                           stopped; what it had finished is in FILE.csv.part\n"
    "      --shard K/N          do only the K-th of N equal parts and write a shard to -o\n"
    "      --join SHARD...      put all shards of a study together\n" SB_OWN_OPTIONS_HELP
    "Plain maps are then grids of thresholds (--downshift, --upshift; about --points each), since what\n"
    "lies between two points is known of the built-in controller only.\n";

enum {
  OPTION_OUTPUT = 1,
  OPTION_JSON,
  OPTION_PAIR,
  OPTION_DOWN,
  OPTION_UP,
  OPTION_LIMITS,
  OPTION_SET,
  OPTION_DISCHARGE,
  OPTION_SAMPLES,
  OPTION_SEED,
  OPTION_VARY,
  OPTION_POINTS,
  OPTION_JOBS,
  OPTION_RESUME,
  OPTION_SHARD,
  OPTION_JOIN,
  OPTION_VERBOSE
};

static const struct sb_option options[] = {{"output", 'o', true, OPTION_OUTPUT},
                                           {"json", 0, false, OPTION_JSON},
                                           {"pair", 0, true, OPTION_PAIR},
                                           {"downshift", 0, true, OPTION_DOWN},
                                           {"upshift", 0, true, OPTION_UP},
                                           {"limits", 0, true, OPTION_LIMITS},
                                           {"set", 0, true, OPTION_SET},
                                           {"discharge", 0, true, OPTION_DISCHARGE},
                                           {"samples", 0, true, OPTION_SAMPLES},
                                           {"seed", 0, true, OPTION_SEED},
                                           {"vary", 0, true, OPTION_VARY},
                                           {"points", 0, true, OPTION_POINTS},
                                           {"jobs", 0, true, OPTION_JOBS},
                                           {"resume", 0, false, OPTION_RESUME},
                                           {"shard", 0, true, OPTION_SHARD},
                                           {"join", 0, false, OPTION_JOIN},
                                           {"verbose", 0, false, OPTION_VERBOSE},
                                           SB_OWN_OPTIONS,
                                           {NULL, 0, false, 0}};

static int read_count(const struct sb_option_reader *reader, const char *name, long least, long greatest, long *count)
{
  if (sb_long_work_read_count(reader->value, least, greatest, count)) return SB_EXIT_DONE;
  return sb_options_complain(reader, "--%s needs a whole number from %ld to %ld, found \"%s\"", name, least, greatest,
                             reader->value);
}

static int read_shard(struct sb_map_request *request, const struct sb_option_reader *reader)
{
  if (sb_long_work_read_shard(&request->work, reader->value)) return SB_EXIT_DONE;
  return sb_options_complain(reader, "--shard needs K/N with K from 1 to N, such as 2/3, found \"%s\"", reader->value);
}

static int take_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct sb_map_request *request = context;
  long jobs = 0;
  int code = SB_EXIT_DONE;
  switch (id) {
    case OPTION_OUTPUT: request->work.output = reader->value; break;
    case OPTION_JSON: request->is_json = true; break;
    case OPTION_PAIR: request->pair = reader->value; break;
    case OPTION_DOWN: request->down = reader->value; break;
    case OPTION_UP: request->up = reader->value; break;
    case OPTION_LIMITS: request->limits = reader->value; break;
    case OPTION_SET: sb_words_add(&request->sets, reader->value); break;
    case OPTION_DISCHARGE: return read_count(reader, "discharge", 1, 1000, &request->discharge);
    case OPTION_SAMPLES: return read_count(reader, "samples", 1, 1000000, &request->samples);
    case OPTION_SEED: return read_count(reader, "seed", 0, 4294967295L, &request->seed);
    case OPTION_VARY: sb_words_add(&request->vary, reader->value); break;
    case OPTION_POINTS: return read_count(reader, "points", 1, SB_AXIS_POINTS_MAX, &request->points);
    case OPTION_JOBS:
      code = read_count(reader, "jobs", 1, 1024, &jobs);
      request->work.jobs = (int)jobs;
      break;
    case OPTION_RESUME: request->work.is_resumed = true; break;
    case OPTION_SHARD: return read_shard(request, reader);
    case OPTION_JOIN: request->is_join = true; break;
    case OPTION_VERBOSE: request->is_verbose = true; break;
    case SB_OPTION_OPERAND: sb_words_add(&request->shards, reader->value); break;
    default: return sb_own_options_take(&request->own, reader, id);
  }
  return code;
}

static int check_join(const struct sb_map_request *request, const struct sb_option_reader *reader)
{
  const struct sb_long_work *work = &request->work;
  if (request->shards.count == 0) return sb_options_complain(reader, "--join needs shards");
  if (request->sets.count > 0 || request->vary.count > 0 || request->discharge > 0 || request->samples > 0 ||
      request->pair != NULL || request->down != NULL || request->up != NULL || work->shard_count > 1 ||
      work->is_resumed || request->points > 0 || sb_own_options_decider(&request->own) != NULL) {
    return sb_options_complain(reader, "--join takes shards, -o, --limits and --json only: the shards know the rest");
  }
  return SB_EXIT_DONE;
}

static bool is_study(const struct sb_map_request *request)
{
  return request->samples > 0 || request->discharge > 0 || request->vary.count > 0 ||
         sb_own_options_decider(&request->own) != NULL;
}

static int check_long_work(const struct sb_map_request *request, const struct sb_option_reader *reader)
{
  const struct sb_long_work *work = &request->work;
  const bool has_file = work->output != NULL && strcmp(work->output, "-") != 0;
  if (!is_study(request) && (work->is_resumed || work->shard_count > 1)) {
    return sb_options_complain(reader, "an exact map is one piece of work: --resume and --shard go with --samples, "
                                       "--discharge or --vary");
  }
  if (work->is_resumed && !has_file) return sb_options_complain(reader, "--resume needs -o FILE, as it was before");
  if (work->shard_count > 1 && !has_file) return sb_options_complain(reader, "--shard needs -o FILE for the shard");
  if (work->shard_count > 1 && request->is_json) {
    return sb_options_complain(reader, "--json goes with --join, not with --shard");
  }
  return SB_EXIT_DONE;
}

static int check_request(const struct sb_map_request *request, const struct sb_option_reader *reader)
{
  const bool is_own = sb_own_options_decider(&request->own) != NULL;
  const bool is_to_stdout = request->work.output != NULL && strcmp(request->work.output, "-") == 0;
  if (is_to_stdout && request->is_json) {
    return sb_options_complain(reader, "-o - and --json both want standard output");
  }
  if (request->is_join) return check_join(request, reader);
  if (request->shards.count != 1) {
    return sb_options_complain(reader,
                               request->shards.count == 0 ? "needs a scenario file" : "takes one scenario file");
  }
  if (request->limits != NULL && request->work.output != NULL && strcmp(request->limits, request->work.output) == 0) {
    return sb_options_complain(reader, "-o and --limits need a file each");
  }
  const bool is_of_thresholds = request->vary.count == 0;
  if (request->limits != NULL && request->samples > 0) {
    return sb_options_complain(reader, "--limits are closed forms of one machine: they do not go with --samples");
  }
  if (request->limits != NULL && is_of_thresholds && request->discharge > 0) {
    return sb_options_complain(reader, "--limits go with one map; over the discharge: shiftband check --discharge");
  }
  if (request->limits != NULL && is_own) {
    return sb_options_complain(reader, "--limits are closed forms, and those know the built-in controller only");
  }
  if (request->points > 0 && request->vary.count == 0 && !is_own)
    return sb_options_complain(reader, "--points goes with --vary");
  if (request->vary.count > 0 && (request->pair != NULL || request->down != NULL || request->up != NULL)) {
    return sb_options_complain(reader,
                               "--pair, --downshift and --upshift are for maps of thresholds; to vary one in a grid: "
                               "--vary controller.downshift_below=40..60%%");
  }
  return check_long_work(request, reader);
}

/* Returns SB_EXIT_DONE, SB_EXIT_USAGE, or -1 when only help was asked for. */
static int read_request(struct sb_map_request *request, int argc, char **argv)
{
  struct sb_option_reader reader;
  int code = sb_options_read_all(&reader, options, argc, argv, help, take_option, request);
  if (code == SB_EXIT_DONE) code = sb_own_options_check(&request->own, &reader);
  if (code == SB_EXIT_DONE) code = check_request(request, &reader);
  const struct sb_words *inputs = &request->shards;
  if (code == SB_EXIT_DONE) {
    code = sb_command_check_output("map", "-o", request->work.output, inputs->items, inputs->count);
  }
  if (code == SB_EXIT_DONE) {
    code = sb_command_check_output("map", "--limits", request->limits, inputs->items, inputs->count);
  }
  if (code == SB_EXIT_DONE && !request->is_join) request->file = request->shards.items[0];
  return code;
}

static int do_file(struct sb_map_request *request)
{
  struct sb_scenario *scenario = malloc(sizeof *scenario);
  if (scenario == NULL) {
    sb_command_complain("out of memory");
    return SB_EXIT_GAVE_UP;
  }
  int code = sb_command_load(request->file, request->sets.items, request->sets.count, scenario);
  if (code == SB_EXIT_DONE) {
    code = is_study(request) ? sb_map_do_study(request, scenario) : sb_map_do_exact(request, scenario);
    sb_scenario_clear(scenario);
  }
  free(scenario);
  return code;
}

int sb_cmd_map(int argc, char **argv)
{
  struct sb_map_request request = {.seed = 1, .work = {.command = "map", .shard = 1, .shard_count = 1}};
  int code = SB_EXIT_GAVE_UP;
  if (sb_words_init(&request.sets, argc) && sb_words_init(&request.shards, argc) &&
      sb_words_init(&request.vary, argc)) {
    code = read_request(&request, argc, argv);
  }
  if (code == SB_EXIT_DONE) code = request.is_join ? sb_map_do_join(&request) : do_file(&request);
  sb_words_clear(&request.sets);
  sb_words_clear(&request.shards);
  sb_words_clear(&request.vary);
  sb_own_options_clear(&request.own);
  return code == -1 ? SB_EXIT_DONE : code;
}
