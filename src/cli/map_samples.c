// SPDX-License-Identifier: GPL-3.0-or-later
/* The share of tolerance samples that each pair of thresholds survives. */
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "cli/command.h"
#include "cli/interrupt.h"
#include "cli/map_request.h"
#include "map/report.h"
#include "shiftband/spread.h"
#include "study/passing.h"

/* What the results need to be read: kept with them as text. */
struct plan {
  char scenario[128], slower[SB_NAME_SIZE], faster[SB_NAME_SIZE];
  struct sb_map_axis down, up;
  double own_downshift_fraction, own_upshift_fraction;
  long samples, seed;
  bool is_whole; /* the picture shows all of the plane */
};

/* What the tasks of the study share. */
struct sampling {
  const struct sb_map_request *request;
  const struct sb_scenario *nominal;
  struct sb_map_options options;
};

static const char refused[] = "refused\n"; /* a sample that is no valid scenario: it holds nowhere */

static void write_plan(struct sb_lines *lines, const struct plan *plan)
{
  sb_lines_add(lines, "survival %ld %ld %d\n%s\n%s\n%s\n", plan->samples, plan->seed, plan->is_whole, plan->scenario,
               plan->slower, plan->faster);
  sb_lines_add(lines, "%.17g %.17g %d\n", plan->down.first_fraction, plan->down.step_fraction, plan->down.count);
  sb_lines_add(lines, "%.17g %.17g %d\n", plan->up.first_fraction, plan->up.step_fraction, plan->up.count);
  sb_lines_add(lines, "%.17g %.17g\n", plan->own_downshift_fraction, plan->own_upshift_fraction);
}

/* Takes the next line; NULL when it does not fit or is none. */
static const char *take_line(const char *text, char *out, size_t size)
{
  if (text == NULL) return NULL;
  const size_t length = strcspn(text, "\n");
  if (length >= size || text[length] != '\n') return NULL;
  memcpy(out, text, length);
  out[length] = 0;
  return text + length + 1;
}

static bool read_axis(const char *line, struct sb_map_axis *axis)
{
  return sscanf(line, "%lf %lf %d", &axis->first_fraction, &axis->step_fraction, &axis->count) == 3 &&
         axis->step_fraction > 0.0 && axis->count >= 1;
}

static bool read_plan(const char *text, struct plan *plan)
{
  char first[128], down[128], up[128], own[128];
  int is_whole = 0;
  text = take_line(text, first, sizeof first);
  text = take_line(text, plan->scenario, sizeof plan->scenario);
  text = take_line(text, plan->slower, sizeof plan->slower);
  text = take_line(text, plan->faster, sizeof plan->faster);
  text = take_line(text, down, sizeof down);
  text = take_line(text, up, sizeof up);
  text = take_line(text, own, sizeof own);
  if (text == NULL || sscanf(first, "survival %ld %ld %d", &plan->samples, &plan->seed, &is_whole) != 3) return false;
  plan->is_whole = is_whole != 0;
  return read_axis(down, &plan->down) && read_axis(up, &plan->up) &&
         sscanf(own, "%lf %lf", &plan->own_downshift_fraction, &plan->own_upshift_fraction) == 2;
}

/* Loads one sample. SB_ERR_SCENARIO: it is no valid scenario. */
static enum sb_status load_sample(const struct sampling *sampling, const double *values, struct sb_scenario *out,
                                  struct sb_error *err)
{
  const struct sb_map_request *request = sampling->request;
  struct sb_faults faults;
  const enum sb_status status =
      sb_spread_load(request->file, request->sets.items, request->sets.count, sampling->nominal, values, out, &faults);
  if (status != SB_OK) sb_fail(err, status, "%s", faults.count > 0 ? faults.texts[0] : sb_status_text(status));
  sb_faults_clear(&faults);
  return status;
}

static enum sb_status map_sample(const struct sampling *sampling, const struct sb_model *model, struct sb_lines *out,
                                 struct sb_error *err)
{
  struct sb_map map;
  struct sb_map_options options = sampling->options;
  options.stop = sb_interrupt_flag();
  const enum sb_status status = sb_map_exact(model, &options, false, &map, err);
  if (status != SB_OK) return status;
  sb_survival_write_holding(out, &map);
  sb_map_clear(&map);
  return SB_OK;
}

static enum sb_status run_sample(void *context, long index, struct sb_lines *out, struct sb_error *err)
{
  const struct sampling *sampling = context;
  double values[SB_TOLERANCE_MAX];
  struct sb_scenario *scenario = malloc(sizeof *scenario); /* large, and threads have small stacks */
  if (scenario == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a sample");
  enum sb_status status = sb_spread_values(sampling->nominal, SB_SPREAD_RANDOM, (unsigned long)sampling->request->seed,
                                           (int)index, values, err);
  if (status == SB_OK) {
    status = load_sample(sampling, values, scenario, err);
    if (status == SB_ERR_SCENARIO) {
      sb_lines_add(out, "%s", refused);
      status = SB_OK;
    } else if (status == SB_OK) {
      status = map_sample(sampling, &scenario->model, out, err);
      sb_scenario_clear(scenario);
    }
  }
  free(scenario);
  return status;
}

/* The fastest corner of the tolerances decides how far up the plane goes, so that no sample reads above it. */
static enum sb_status reach_corners(struct sampling *sampling, struct sb_error *err)
{
  struct sb_scenario *scenario = malloc(sizeof *scenario);
  if (scenario == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for a sample");
  enum sb_status status = SB_OK;
  for (int k = 1; k <= sb_spread_corner_count(sampling->nominal) && status == SB_OK; k++) {
    double values[SB_TOLERANCE_MAX];
    status = sb_spread_values(sampling->nominal, SB_SPREAD_SEARCH, 0, k, values, err);
    if (status == SB_OK) status = load_sample(sampling, values, scenario, err);
    if (status == SB_ERR_SCENARIO) {
      status = SB_OK;
    } else if (status == SB_OK) {
      const struct sb_map_options options = sb_map_options_default(&scenario->model);
      if (options.up.count > sampling->options.up.count) sampling->options.up.count = options.up.count;
      sb_scenario_clear(scenario);
    }
  }
  free(scenario);
  return status;
}

static int choose_plane(struct sampling *sampling)
{
  const struct sb_map_request *request = sampling->request;
  struct sb_error err;
  struct sb_survival trial;
  if (sampling->nominal->tolerance_count == 0) {
    sb_command_complain("%s: --samples needs tolerances, and this scenario has none", request->file);
    return SB_EXIT_SCENARIO;
  }
  const int code = sb_map_read_plane(request, sampling->nominal, &sampling->options);
  if (code != SB_EXIT_DONE) return code;
  enum sb_status status = request->up == NULL ? reach_corners(sampling, &err) : SB_OK;
  if (status == SB_OK) {
    /* Better refused now than after all samples. */
    status = sb_survival_init(&trial, &sampling->options.down, &sampling->options.up, &err);
    if (status == SB_OK) sb_survival_clear(&trial);
  }
  if (status != SB_OK) sb_command_complain("%s: %s", request->file, err.text);
  return sb_command_exit(status);
}

static int write_csv(FILE *out, const void *context)
{
  return sb_survival_write_csv(out, context);
}

static void write_words(FILE *out, const struct plan *plan, const struct sb_survival *survival,
                        const struct sb_survival_best *best, long refused_count)
{
  const long samples = survival->samples;
  if (best->own >= 0) {
    fprintf(out,
            "\nAt the scenario's own thresholds %d of %ld samples hold, %.1f %%:\n"
            "at least %.1f %% of all such machines, with 95 %% confidence\n",
            best->own, samples, 100.0 * best->own / (double)samples,
            100.0 * sb_survival_least_share(best->own, samples));
  }
  fprintf(out,
          "Most samples, %d of %ld, hold at %lld pairs of thresholds; amid the widest\n"
          "square of them are down %.6g %% and up %.6g %%:\nat least %.1f %% of all such machines\n",
          best->survived, samples, best->points, sb_map_axis_pct(&plan->down, best->down),
          sb_map_axis_pct(&plan->up, best->up), 100.0 * sb_survival_least_share(best->survived, samples));
  if (refused_count > 0) fprintf(out, "%ld samples are no valid scenario, and count as failing\n", refused_count);
}

static void write_json(const struct plan *plan, const struct sb_survival *survival, const struct sb_survival_best *best,
                       long refused_count)
{
  struct sb_json json;
  sb_json_init(&json, stdout);
  sb_json_open_object(&json);
  sb_json_put_string(&json, "scenario", plan->scenario);
  sb_json_put_string(&json, "slower", plan->slower);
  sb_json_put_string(&json, "faster", plan->faster);
  sb_json_put_integer(&json, "samples", survival->samples);
  sb_json_put_integer(&json, "refused", refused_count);
  sb_json_put_integer(&json, "seed", plan->seed);
  sb_json_put_number(&json, "confidence", SB_SURVIVAL_CONFIDENCE);
  sb_json_put_object(&json, "own");
  sb_json_put_number(&json, "downshift_below_pct", sb_map_pct(plan->own_downshift_fraction));
  sb_json_put_number(&json, "upshift_above_pct", sb_map_pct(plan->own_upshift_fraction));
  if (best->own >= 0) {
    sb_json_put_integer(&json, "survived", best->own);
    sb_json_put_number(&json, "share_least", sb_survival_least_share(best->own, survival->samples));
  }
  sb_json_close(&json);
  sb_json_put_object(&json, "best");
  sb_json_put_number(&json, "downshift_below_pct", sb_map_axis_pct(&plan->down, best->down));
  sb_json_put_number(&json, "upshift_above_pct", sb_map_axis_pct(&plan->up, best->up));
  sb_json_put_integer(&json, "survived", best->survived);
  sb_json_put_number(&json, "share_least", sb_survival_least_share(best->survived, survival->samples));
  sb_json_put_integer(&json, "points", best->points);
  sb_json_close(&json);
  sb_json_close(&json);
  sb_json_end(&json);
}

static enum sb_status report(const struct sb_map_request *request, const struct plan *plan,
                             const struct sb_survival *survival, long refused_count, struct sb_error *err)
{
  struct sb_survival_best best;
  enum sb_status status =
      sb_survival_find_best(survival, plan->own_downshift_fraction, plan->own_upshift_fraction, &best, err);
  if (status != SB_OK) return status;
  if (request->is_json) {
    write_json(plan, survival, &best, refused_count);
    return SB_OK;
  }
  FILE *out = sb_map_words_stream(request);
  fprintf(out, "%s\nthresholds between %s and %s, %ld random samples of the tolerances, seed %ld\n\n", plan->scenario,
          plan->slower, plan->faster, plan->samples, plan->seed);
  status = sb_survival_write_picture(out, survival, plan->own_downshift_fraction, plan->own_upshift_fraction,
                                     plan->is_whole, err);
  if (status == SB_OK) write_words(out, plan, survival, &best, refused_count);
  return status;
}

/* Adds all samples up; those that were refused hold nowhere. */
static enum sb_status count_up(const struct sb_tasks_result *result, struct sb_survival *survival, long *refused_count,
                               struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (long i = 0; i < result->task_count && status == SB_OK; i++) {
    const char *lines = result->tasks[i].text;
    const bool is_refused = lines != NULL && strcmp(lines, refused) == 0;
    *refused_count += is_refused;
    status = sb_survival_add(survival, is_refused ? NULL : lines, err);
  }
  if (status == SB_OK) sb_survival_finish(survival);
  return status;
}

int sb_map_finish_samples(const struct sb_map_request *request, const struct sb_tasks_result *result, bool *is_ours)
{
  struct plan plan;
  struct sb_survival survival;
  struct sb_error err = {SB_OK, ""};
  long refused_count = 0;
  int code = SB_EXIT_DONE;
  *is_ours = read_plan(result->about, &plan);
  if (!*is_ours) return SB_EXIT_DONE;
  enum sb_status status = sb_survival_init(&survival, &plan.down, &plan.up, &err);
  if (status == SB_OK) {
    status = count_up(result, &survival, &refused_count, &err);
    if (status == SB_OK && request->work.output != NULL) {
      code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_csv, &survival});
    }
    if (status == SB_OK && code == SB_EXIT_DONE) status = report(request, &plan, &survival, refused_count, &err);
    sb_survival_clear(&survival);
  }
  if (status == SB_OK) return code;
  sb_command_complain("%s", err.text);
  return sb_command_exit(status);
}

static struct plan make_plan(const struct sampling *sampling)
{
  const struct sb_map_request *request = sampling->request;
  const struct sb_model *model = &sampling->nominal->model;
  const int pair = sampling->options.pair;
  struct plan plan = {.down = sampling->options.down,
                      .up = sampling->options.up,
                      .own_downshift_fraction = model->control.downshift_fraction[pair],
                      .own_upshift_fraction = model->control.upshift_fraction[pair],
                      .samples = request->samples,
                      .seed = request->seed,
                      .is_whole = request->down != NULL || request->up != NULL};
  snprintf(plan.scenario, sizeof plan.scenario, "%s", model->name);
  snprintf(plan.slower, sizeof plan.slower, "%s", model->gearbox.gears[pair].name);
  snprintf(plan.faster, sizeof plan.faster, "%s", model->gearbox.gears[pair + 1].name);
  return plan;
}

int sb_map_do_samples(struct sb_map_request *request, const struct sb_scenario *scenario)
{
  struct sampling sampling = {.request = request, .nominal = scenario};
  struct sb_lines about = {.text = NULL};
  uint64_t identity = 0;
  int code = choose_plane(&sampling);
  if (code == SB_EXIT_DONE) code = sb_map_identify(request, scenario, &identity);
  if (code != SB_EXIT_DONE) return code;
  const struct plan plan = make_plan(&sampling);
  write_plan(&about, &plan);
  identity = sb_tasks_hash_bytes(identity, &sampling.options.pair, sizeof sampling.options.pair);
  const struct sb_tasks study = {.identity = identity,
                                 .about = about.text != NULL ? about.text : "",
                                 .task_count = request->samples,
                                 .run_task = run_sample,
                                 .context = &sampling};
  code = sb_map_run_study(request, &study, "samples", sb_map_finish_samples);
  sb_lines_clear(&about);
  return code;
}
