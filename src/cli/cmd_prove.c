// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_prove.c - what holds for every load within bounds. */
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/long_work.h"
#include "cli/output.h"
#include "cli/tables.h"
#include "prove/scenario.h"
#include "prove/spread.h"
#include "scenario/choices.h"
#include "shiftband/prove.h"

struct request {
  struct sb_option_list files, sets;
  const char *output;
  int worst; /* enum sb_prove_bound; -1: of the first statement that is disproved, else the longest return */
  long tries;
  bool is_nominal, is_json, is_quiet;
};

struct writing {
  const struct sb_prove *prove;
  enum sb_prove_bound bound;
};

/* The scenario itself with other keys: outside the class. */
struct setting {
  const char *path;
  struct sb_option_list sets;
  struct sb_tables *tables;
};

static int write_scenario(FILE *out, const void *context)
{
  const struct writing *writing = context;
  return sb_prove_write_scenario(writing->prove, writing->bound, out);
}

static int write_set(FILE *out, const void *context)
{
  const struct setting *setting = context;
  struct sb_faults faults;
  const struct sb_table_taker taker = {sb_tables_take, setting->tables};
  fputs("# A load profile that was found, in place of the load.\n", out);
  const enum sb_status status =
      sb_choices_write_scenario(out, setting->path, setting->sets.items, setting->sets.count, &taker, &faults);
  sb_faults_clear(&faults);
  return status == SB_OK && setting->tables->code == SB_EXIT_DONE && !ferror(out) ? 0 : -1;
}

static enum sb_prove_bound bound_of(const struct request *request, const struct sb_prove *prove)
{
  if (request->worst >= 0) return (enum sb_prove_bound)request->worst;
  for (int k = 0; k < SB_PROVE_STATEMENTS; k++) {
    const enum sb_prove_bound bound = sb_prove_bound_of((enum sb_prove_statement)k);
    if (prove->statements[k] == SB_PROOF_DISPROVED && prove->profiles[bound].count > 0) return bound;
  }
  return SB_PROVE_RETURN_TIME;
}

/* Bodies put parts of their own into the load, which no key replaces. The scenario's notes have been said already. */
static int check_replaced(const char *path, const struct sb_option_list *sets, int part_count)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0};
  const enum sb_status status = sb_scenario_load(path, sets->items, sets->count, &scenario, &faults);
  if (status != SB_OK) return sb_command_fail_faults(path, status, &faults);
  const bool is_replaced = scenario.model.load.part_count == part_count;
  sb_scenario_clear(&scenario);
  if (is_replaced) return SB_EXIT_DONE;
  sb_command_complain("%s: load.bodies: --output needs a load that a profile can replace", path);
  return SB_EXIT_SCENARIO;
}

static int write_setting(const char *output, const char *path, const struct sb_option_list *sets)
{
  char folder[4096] = ".";
  const char *slash = strrchr(output, '/');
  struct sb_tables tables = {sb_output_is_standard(output) ? NULL : folder, SB_EXIT_DONE};
  const struct setting setting = {path, *sets, &tables};
  if (slash != NULL) snprintf(folder, sizeof folder, "%.*s/", (int)(slash - output), output);
  const int code = sb_command_write_file(output, (struct sb_command_writer){write_set, &setting});
  return tables.code != SB_EXIT_DONE ? tables.code : code;
}

/* `own`: the keys that set the profile, behind those of --set. */
static int write_by_keys(const char *path, const struct request *request, const struct sb_prove_sets *own)
{
  const struct sb_option_list *given = &request->sets;
  const char **items = malloc((given->count + SB_PROVE_SETS) * sizeof *items);
  if (items == NULL) return sb_command_fail(path, SB_ERR_MEMORY, NULL);
  for (size_t k = 0; k < given->count; k++) items[k] = given->items[k];
  for (size_t k = 0; k < SB_PROVE_SETS; k++) items[given->count + k] = own->texts[k];
  const struct sb_option_list sets = {given->count + SB_PROVE_SETS, items};
  int code = check_replaced(path, &sets, own->part_count);
  if (code == SB_EXIT_DONE) code = write_setting(request->output, path, &sets);
  free(items);
  return code;
}

static int write_outside(const char *path, const struct request *request, const struct writing *writing)
{
  struct sb_prove_sets own;
  struct sb_error err;
  const enum sb_status status = sb_prove_sets_of(writing->prove, writing->bound, &own, &err);
  if (status != SB_OK) return sb_command_fail(path, status, &err);
  const int code = write_by_keys(path, request, &own);
  sb_prove_sets_clear(&own);
  return code;
}

static int write_worst(const char *path, const struct request *request, const struct sb_prove *prove)
{
  const struct writing writing = {prove, bound_of(request, prove)};
  const bool is_outside = prove->outside != NULL;
  if (!is_outside && !sb_prove_can_write(prove)) {
    sb_command_complain("%s: --output needs a scenario without a holding brake", path);
    return SB_EXIT_SCENARIO;
  }
  if (prove->profiles[writing.bound].count == 0) {
    if (is_outside) {
      sb_command_complain("%s: no counterexample was found: there is no load profile to write", path);
    } else {
      sb_command_complain("%s: no load profile was found for the %s", path, sb_prove_bound_words[writing.bound]);
    }
    return SB_EXIT_SCENARIO;
  }
  if (is_outside) return write_outside(path, request, &writing);
  return sb_command_write_file(request->output, (struct sb_command_writer){write_scenario, &writing});
}

/* `spread`: NULL without tolerances. */
static void report(const struct request *request, const struct sb_prove *prove, const struct sb_prove_spread *spread)
{
  if (request->is_json && spread != NULL) {
    (void)sb_prove_spread_write_json(prove, spread, stdout);
    return;
  }
  (void)(request->is_json ? sb_prove_write_json : sb_prove_write_text)(prove, stdout);
  if (spread != NULL) (void)sb_prove_spread_write_text(spread, stdout);
}

/* The report is there, too, where no profile can be written. */
static int answer(const char *path, const struct request *request, const struct sb_prove *prove,
                  const struct sb_prove_spread *spread)
{
  const bool is_output_standard = request->output != NULL && sb_output_is_standard(request->output);
  if (!request->is_quiet && !is_output_standard) report(request, prove, spread);
  return request->output != NULL ? write_worst(path, request, prove) : SB_EXIT_DONE;
}

static void show_progress(void *context, long done, long total)
{
  sb_progress_show(context, done, total);
}

/* Runs in place of a proof. */
static enum sb_status try_profiles(const struct request *request, struct sb_prove *prove, struct sb_error *err)
{
  struct sb_progress progress;
  const struct sb_prove_effort effort = {request->tries, sb_interrupt_flag(), show_progress, &progress};
  if (request->tries == 0) return SB_OK;
  sb_interrupt_catch();
  sb_progress_begin(&progress, "tries", request->is_quiet);
  const enum sb_status status = sb_prove_try(prove, &effort, err);
  sb_progress_end(&progress);
  return status;
}

/* Over the tolerances, when there are any and the report is wanted. */
static bool is_spread(const struct request *request, const struct sb_scenario *scenario, const struct sb_prove *prove)
{
  return scenario->tolerance_count > 0 && prove->outside == NULL && !request->is_nominal && !request->is_quiet &&
         !(request->output != NULL && sb_output_is_standard(request->output));
}

static int prove_all(const char *path, const struct request *request, const struct sb_scenario *scenario)
{
  struct sb_prove prove;
  struct sb_prove_spread spread;
  struct sb_error err = {SB_OK, ""};
  enum sb_status status = sb_prove_solve(&scenario->model, &prove, &err);
  if (status == SB_OK && prove.outside == NULL) status = sb_prove_search(&prove, &err);
  if (status == SB_OK && prove.outside != NULL) status = try_profiles(request, &prove, &err);
  const bool has_spread = status == SB_OK && is_spread(request, scenario, &prove);
  if (has_spread) {
    const struct sb_scenario_source source = {path, request->sets.items, request->sets.count};
    status = sb_prove_spread_solve(&source, scenario, &prove, &spread, &err);
  }
  if (status == SB_ERR_STOPPED) return sb_interrupt_exit(NULL);
  if (status != SB_OK) return sb_command_fail(path, status, &err);
  return answer(path, request, &prove, has_spread ? &spread : NULL);
}

static int run(void *context)
{
  const struct request *request = context;
  const char *path = request->files.items[0];
  struct sb_scenario scenario;
  int code = sb_command_load(path, &request->sets, &scenario);
  if (code != SB_EXIT_DONE) return code;
  code = prove_all(path, request, &scenario);
  sb_scenario_clear(&scenario);
  return code;
}

static const struct sb_option option_table[] = {
    SB_OPTION_SET_OF(struct request),
    {"output", 'o', "FILE.yaml",
     "write the scenario with the load profile that disproves a statement, or that comes nearest to a bound; - is standard "
     "output, and the report is then left out",
     SB_INTO_OUTPUT(struct request, output)},
    {"worst", 0, "BOUND",
     "the bound of which the profile is written (default: that of the first statement that is disproved, else longest-return)",
     SB_INTO_CHOICE(struct request, worst, sb_prove_bound_words)},
    {"tries", 0, "N", "load profiles that are tried where nothing can be proved (default 400); 0 tries none",
     SB_INTO_COUNT(struct request, tries, 0, 1000000)},
    {"nominal", 0, NULL, "leave the tolerances out: prove the machine as written alone",
     SB_INTO_FLAG(struct request, is_nominal)},
    {"json", 0, NULL, "one JSON object on one line", SB_INTO_FLAG(struct request, is_json)},
    SB_OPTION_QUIET_OF(struct request),
    {0},
};

static const struct request defaults = {.worst = -1, .tries = 400};

static const struct sb_option_rule rules[] = {
    {"quiet", SB_EXCLUDES, "json", "JSON is the report"},
    {"worst", SB_NEEDS, "output", "it says what is written there"},
    {"output=-", SB_EXCLUDES, "json", "both use standard output"},
    {0},
};

const struct sb_command sb_command_prove = {
    .name = "prove",
    .summary = "say what holds for every load within bounds, whatever its profile",
    .usage = "[OPTION]... FILE",
    .about =
        "A run speaks of one load profile. This says what holds for every one within load.bounds of the scenario, or "
        "within the least and greatest of its own load: whether the output can stall, how soon the box is back in its "
        "fastest gear, whether a constant load makes it hunt and what swing of the load makes it shift for ever, how "
        "fast shifts can follow each other, and the worst that shifts, speeds, torques and currents come to. Each "
        "statement is proved, disproved or undecided. With tolerances in the scenario the same is then said of all machines "
        "within them. Topic: prove.",
    .options = option_table,
    .rules = rules,
    .files = {1, 1, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
