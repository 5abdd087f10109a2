// SPDX-License-Identifier: GPL-3.0-or-later
/* Which one number of the scenario brings simulation and log together; see overlay.h. */
#include <gsl/gsl_errno.h>
#include <gsl/gsl_min.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "base/gsl_quiet.h"
#include "shiftband/overlay.h"

/* The cost of what is no scenario or cannot be simulated: finite, for Brent's method takes no other. */
static const double hopeless = 1e9;

/* How far numbers are tried, as a logarithm of the factor: half to double. */
static const double scan[] = {-0.7, -0.5, -0.35, -0.25, -0.17, -0.1, -0.05, 0.0, 0.05, 0.1, 0.17, 0.25, 0.35, 0.5, 0.7};
enum { SCAN_COUNT = sizeof scan / sizeof scan[0], SCAN_MIDDLE = SCAN_COUNT / 2, REFINE_MAX = 14 };

/* A factor found to this is fine. */
static const double factor_tolerance = 5e-4;

/* A hint is worth a look from this share on. Two explain the same when what they leave differs by less than this factor,
 * and a little. */
static const double gain_least = 0.2, shared_factor = 1.25, shared_little = 0.02;

enum knob_kind { KNOB_KEY, KNOB_LOAD, KNOB_DOWNSHIFT, KNOB_UPSHIFT };

struct knob {
  enum knob_kind kind;
  char path[128];
  double written;    /* SI */
  double unit_scale; /* SI to unit */
  char unit[16];
};

struct search {
  const struct sb_log *log;
  const struct sb_scenario *scenario;
  const struct sb_overlay_options *options;
  const struct sb_hint_request *request;
  const struct knob *knob;
  double *table_room;                  /* for load tables at another size */
  struct sb_scenario *trial, *sampled; /* large, hence not on the stack; sampled owns nothing */
  enum sb_status status;
  struct sb_error *err;
};

/* What may well be other than written; not what only sets up the run, names a limit, or is a constant of nature. */
static bool is_usual(const char *path)
{
  static const char *const starts[] = {"motor.",
                                       "supply.",
                                       "drive",
                                       "gearbox.mesh_efficiency",
                                       "gearbox.shifter.",
                                       "load.",
                                       "controller.dwell",
                                       "controller.start_delay",
                                       "controller.reference_"};
  static const char *const not_these[] = {"nominal_voltage", "shift_timeout", "air_density", "gravity", "period",
                                          "phase",           "breakaway",     "cutoff",      "cut_out", "reset"};
  bool is_in = false;
  for (size_t k = 0; k < sizeof starts / sizeof starts[0]; k++)
    is_in |= strncmp(path, starts[k], strlen(starts[k])) == 0;
  for (size_t k = 0; k < sizeof not_these / sizeof not_these[0]; k++) is_in &= strstr(path, not_these[k]) == NULL;
  return is_in;
}

/* Loads the scenario with changes. SB_ERR_SCENARIO where that is no scenario. */
static enum sb_status load(const struct search *search, const struct sb_changes *changes)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_load_changed(&search->request->source, changes, search->trial, &faults);
  sb_faults_clear(&faults);
  return status == SB_ERR_USAGE ? SB_ERR_SCENARIO : status;
}

/* Percentages that have no spread to tell them by: the model does. Thresholds have knobs of their own. */
static bool find_share(const struct sb_model *model, const char *path, struct knob *knob)
{
  double written = 0.0;
  if (strcmp(path, "drive") == 0 || strcmp(path, "drive.limit") == 0) written = model->drive.limit_fraction;
  if (strcmp(path, "supply.battery.charge") == 0) written = model->battery.charge_fraction;
  if (!(written > 0.0)) return false;
  *knob = (struct knob){.written = written, .unit_scale = 100.0, .unit = "%"};
  strcpy(knob->path, path);
  return true;
}

/* The speed that an inner loop holds, given as a share or as a speed. */
static bool find_target(const struct sb_model *model, const char *path, struct knob *knob)
{
  if (strcmp(path, "drive.target") != 0 || model->drive.mode != SB_DRIVE_SPEED_CONTROL) return false;
  *knob = (struct knob){.written = model->drive.target_rad_s, .unit_scale = 1.0 / SB_RPM, .unit = "rpm"};
  strcpy(knob->path, path);
  return true;
}

/* The value of a key as written: a spread of nothing around it tells value and unit. */
static bool find_written(const struct search *search, const struct sb_scenario_key *key, struct knob *knob)
{
  struct sb_changes changes = {.count = 0};
  const struct sb_model *model = &search->scenario->model;
  if (strlen(key->path) >= sizeof knob->path) return false;
  if (key->quantity == SB_PERCENT) return find_share(model, key->path, knob) || find_target(model, key->path, knob);
  const char *unit = sb_units_si(key->quantity);
  sb_scenario_add_change(&changes, "tolerances={}");
  sb_scenario_add_change(&changes, "tolerances.%s=0%s%s", key->path, unit[0] != 0 ? " " : "", unit);
  if (load(search, &changes) != SB_OK) return false;
  bool is_found = false;
  for (int i = 0; i < search->trial->tolerance_count; i++) {
    const struct sb_tolerance *tolerance = &search->trial->tolerances[i];
    if (strcmp(tolerance->path, key->path) != 0 || !(fabs(tolerance->nominal) > 0.0)) continue;
    *knob = (struct knob){.kind = KNOB_KEY, .written = tolerance->nominal, .unit_scale = tolerance->unit_scale};
    strcpy(knob->path, key->path);
    strcpy(knob->unit, tolerance->unit);
    if (key->quantity == SB_SPEED) { /* as people say it */
      knob->unit_scale = 1.0 / SB_RPM;
      strcpy(knob->unit, "rpm");
    }
    is_found = true;
  }
  sb_scenario_clear(search->trial);
  return is_found;
}

static bool has_load_torque(const struct sb_load *load)
{
  for (int i = 0; i < load->part_count; i++) {
    const struct sb_load_part *part = &load->parts[i];
    if (part->torque_nm != 0.0 || part->table.count > 0 || part->mean_nm != 0.0) return true;
  }
  return false;
}

/* The knobs that turn several numbers at once. */
static size_t add_joint_knobs(const struct sb_model *model, struct knob *knobs)
{
  size_t count = 0;
  if (has_load_torque(&model->load)) {
    knobs[count++] = (struct knob){.kind = KNOB_LOAD, .path = "load torques", .written = 1.0, .unit_scale = 1.0};
  }
  if (model->gearbox.gear_count < 2) return count;
  const bool is_single = model->gearbox.gear_count == 2;
  const double downshift = is_single ? model->control.downshift_fraction[0] : 1.0;
  const double upshift = is_single ? model->control.upshift_fraction[0] : 1.0;
  knobs[count] = (struct knob){
      .kind = KNOB_DOWNSHIFT, .path = "controller.downshift_below", .written = downshift, .unit_scale = 1.0};
  knobs[count + 1] =
      (struct knob){.kind = KNOB_UPSHIFT, .path = "controller.upshift_above", .written = upshift, .unit_scale = 1.0};
  for (size_t k = count; is_single && k < count + 2; k++) {
    knobs[k].unit_scale = 100.0;
    strcpy(knobs[k].unit, "%");
  }
  return count + 2;
}

static bool is_tried(const struct sb_hint_request *request, const char *path)
{
  if (request->tries == NULL || request->try_count == 0) return true;
  for (size_t k = 0; k < request->try_count; k++) {
    if (strcmp(request->tries[k], path) == 0) return true;
  }
  return false;
}

/* The drive is one duty or a section, and the limit a key of either: of two ways to say one number one is left. */
static bool is_other_form(const struct sb_scenario *scenario, const char *path)
{
  bool has_section = false;
  for (size_t i = 0; i < scenario->key_count; i++) {
    has_section |= scenario->keys[i].is_given && strncmp(scenario->keys[i].path, "drive.", 6) == 0;
  }
  return strcmp(path, has_section ? "drive" : "drive.limit") == 0;
}

static size_t find_knobs(const struct search *search, struct knob knobs[SB_HINT_MAX])
{
  const bool is_asked = search->request->try_count > 0;
  struct knob joint[3];
  const size_t joint_count = add_joint_knobs(&search->scenario->model, joint);
  size_t count = 0;
  for (size_t k = 0; k < joint_count; k++) {
    if (is_tried(search->request, joint[k].path)) knobs[count++] = joint[k];
  }
  for (size_t i = 0; i < search->scenario->key_count && count < SB_HINT_MAX; i++) {
    const struct sb_scenario_key *key = &search->scenario->keys[i];
    if (is_other_form(search->scenario, key->path)) continue;
    if (key->is_whole || !(is_asked ? is_tried(search->request, key->path) : is_usual(key->path))) continue;
    if (find_written(search, key, &knobs[count])) count++;
  }
  return count;
}

/* All load torques times a factor; tables go to the search's room. */
static void scale_load(struct sb_load *load, double factor, double *room)
{
  load->breakaway_nm *= factor;
  for (int i = 0; i < load->part_count; i++) {
    struct sb_load_part *part = &load->parts[i];
    part->torque_nm *= factor;
    part->breakaway_nm *= factor;
    part->mean_nm *= factor;
    part->amplitude_nm *= factor;
    if (part->is_grade) continue; /* its table is no torque */
    for (size_t k = 0; k < part->table.count; k++) room[k] = factor * part->table.y[k];
    if (part->table.count > 0) part->table.y = room;
    room += part->table.count;
  }
}

static size_t table_points(const struct sb_load *load)
{
  size_t count = 0;
  for (int i = 0; i < load->part_count; i++) count += load->parts[i].table.count;
  return count;
}

/* J of one model. */
static double cost_of(struct search *search, const struct sb_model *model)
{
  struct sb_log simulated;
  struct sb_overlay overlay;
  double cost = hopeless;
  enum sb_status status = sb_overlay_run(model, search->log, search->options, &simulated, search->err);
  if (status == SB_OK) {
    status = sb_overlay_compare(search->log, &simulated, search->options, &overlay, search->err);
    if (status == SB_OK) {
      cost = overlay.cost;
      sb_overlay_clear(&overlay);
    }
    sb_log_clear(&simulated);
  }
  if (status == SB_ERR_MEMORY) search->status = status;
  return cost;
}

/* The knob turned on a model that is loaded already. */
static struct sb_model turned(const struct search *search, double factor)
{
  struct sb_model model = search->scenario->model;
  for (int p = 0; p + 1 < model.gearbox.gear_count; p++) {
    if (search->knob->kind == KNOB_DOWNSHIFT) model.control.downshift_fraction[p] *= factor;
    if (search->knob->kind == KNOB_UPSHIFT) model.control.upshift_fraction[p] *= factor;
  }
  if (search->knob->kind == KNOB_LOAD) scale_load(&model.load, factor, search->table_room);
  return model;
}

static bool is_ordered(const struct sb_model *model)
{
  for (int p = 0; p + 1 < model->gearbox.gear_count; p++) {
    if (!(model->control.downshift_fraction[p] < model->control.upshift_fraction[p])) return false;
  }
  return true;
}

/* The value of a key: as a sample of the scenario with a tolerance of that key alone, none of which beyond it is refused. */
static void change_key(const struct search *search, double value, struct sb_changes *changes)
{
  const struct knob *knob = search->knob;
  struct sb_tolerance *tolerance = &search->sampled->tolerances[0];
  *search->sampled = *search->scenario;
  search->sampled->tolerance_count = 1;
  *tolerance = (struct sb_tolerance){.nominal = knob->written, .unit_scale = knob->unit_scale};
  snprintf(tolerance->path, sizeof tolerance->path, "%s", knob->path);
  snprintf(tolerance->unit, sizeof tolerance->unit, "%s", knob->unit);
  sb_scenario_add_change(changes, "tolerances={}");
  sb_samples_change(search->sampled, &value, changes);
}

/* J at a factor exp(s). */
static double trial_cost(double s, void *context)
{
  struct search *search = context;
  const struct knob *knob = search->knob;
  struct sb_changes changes = {.count = 0};
  if (knob->kind != KNOB_KEY) {
    const struct sb_model model = turned(search, exp(s));
    return is_ordered(&model) ? cost_of(search, &model) : hopeless;
  }
  change_key(search, knob->written * exp(s), &changes);
  const enum sb_status status = load(search, &changes);
  if (status == SB_ERR_MEMORY || status == SB_ERR_IO) search->status = status;
  if (status != SB_OK) return hopeless;
  const double cost = cost_of(search, &search->trial->model);
  sb_scenario_clear(search->trial);
  return cost;
}

/* Brent's method between the neighbours of the best of the scan. Returns the best s, and its cost. */
static double refine(struct search *search, const double costs[SCAN_COUNT], int best, double *cost)
{
  SB_GSL_QUIET;
  gsl_function function = {trial_cost, search};
  gsl_min_fminimizer *solver = gsl_min_fminimizer_alloc(gsl_min_fminimizer_brent);
  double at = scan[best];
  *cost = costs[best];
  if (solver == NULL) {
    search->status = SB_ERR_MEMORY;
    return at;
  }
  int code = gsl_min_fminimizer_set_with_values(solver, &function, at, costs[best], scan[best - 1], costs[best - 1],
                                                scan[best + 1], costs[best + 1]);
  for (int i = 0; code == GSL_SUCCESS && i < REFINE_MAX; i++) {
    code = gsl_min_fminimizer_iterate(solver);
    if (code != GSL_SUCCESS) break;
    if (gsl_min_fminimizer_f_minimum(solver) < *cost) {
      *cost = gsl_min_fminimizer_f_minimum(solver);
      at = gsl_min_fminimizer_x_minimum(solver);
    }
    const double width = gsl_min_fminimizer_x_upper(solver) - gsl_min_fminimizer_x_lower(solver);
    if (width < factor_tolerance) break;
  }
  gsl_min_fminimizer_free(solver);
  return at;
}

/* Turns one knob through all its range. */
static struct sb_hint try_knob(struct search *search, const struct knob *knob, double cost_now, double noise_cost)
{
  double costs[SCAN_COUNT], cost;
  int best = SCAN_MIDDLE;
  search->knob = knob;
  for (int i = 0; i < SCAN_COUNT; i++) costs[i] = hopeless;
  costs[SCAN_MIDDLE] = cost_now;
  for (int i = 0; i < SCAN_COUNT && search->status == SB_OK; i++) {
    if (i != SCAN_MIDDLE) costs[i] = trial_cost(scan[i], search);
    if (costs[i] < costs[best]) best = i;
  }
  struct sb_hint hint = {.written = knob->written * knob->unit_scale, .is_factor = knob->kind == KNOB_LOAD};
  hint.is_factor |= knob->kind != KNOB_KEY && knob->unit[0] == 0;
  strcpy(hint.path, knob->path);
  strcpy(hint.unit, knob->unit);
  hint.is_at_end = best == 0 || best == SCAN_COUNT - 1;
  double s = scan[best];
  cost = costs[best];
  const bool is_enclosed = !hint.is_at_end && costs[best] < costs[best - 1] && costs[best] < costs[best + 1];
  if (is_enclosed && search->status == SB_OK) s = refine(search, costs, best, &cost);
  hint.best = hint.written * exp(s);
  hint.gain = cost_now > noise_cost ? fmin(1.0, (cost_now - cost) / (cost_now - noise_cost)) : 0.0;
  return hint;
}

static int by_gain(const void *a, const void *b)
{
  const struct sb_hint *x = a, *y = b;
  if (x->gain != y->gain) return x->gain < y->gain ? 1 : -1;
  return strcmp(x->path, y->path);
}

static enum sb_status try_all(struct search *search, const struct knob *knobs, size_t knob_count, struct sb_hint *hints,
                              double noise_cost)
{
  const double cost_now = cost_of(search, &search->scenario->model);
  for (size_t k = 0; k < knob_count && search->status == SB_OK; k++) {
    const struct sb_hint_request *request = search->request;
    if (request->on_trial != NULL && request->on_trial(request->context, k, knob_count) != 0) return SB_ERR_STOPPED;
    hints[k] = try_knob(search, &knobs[k], cost_now, noise_cost);
  }
  if (search->status == SB_OK && knob_count > 1) qsort(hints, knob_count, sizeof *hints, by_gain);
  return search->status;
}

/* What the noise alone makes of J: it does not depend on the trial. */
static enum sb_status find_noise_cost(struct search *search, double *noise_cost)
{
  struct sb_log simulated;
  struct sb_overlay overlay;
  enum sb_status status =
      sb_overlay_run(&search->scenario->model, search->log, search->options, &simulated, search->err);
  if (status != SB_OK) return status;
  status = sb_overlay_compare(search->log, &simulated, search->options, &overlay, search->err);
  if (status == SB_OK) {
    *noise_cost = overlay.noise_cost;
    sb_overlay_clear(&overlay);
  }
  sb_log_clear(&simulated);
  return status;
}

static enum sb_status check_tries(const struct sb_hint_request *request, const struct knob *knobs, size_t knob_count,
                                  struct sb_error *err)
{
  for (size_t k = 0; k < request->try_count; k++) {
    bool is_there = false;
    for (size_t i = 0; i < knob_count; i++) is_there |= strcmp(knobs[i].path, request->tries[k]) == 0;
    if (is_there) continue;
    return sb_fail(err, SB_ERR_USAGE, "%s is no number of this scenario that has a value",
                   sb_fail_quote(request->tries[k]).text);
  }
  return SB_OK;
}

/* Whether the best hint says anything, and whether the second one says as much. */
static void judge(struct sb_explanation *out, size_t count)
{
  const struct sb_hint *hints = out->hints;
  out->count = count;
  out->is_found = count > 0 && hints[0].gain >= gain_least;
  out->is_shared =
      out->is_found && count > 1 && 1.0 - hints[1].gain <= shared_factor * (1.0 - hints[0].gain) + shared_little;
}

enum sb_status sb_overlay_explain(const struct sb_log *log, const struct sb_scenario *scenario,
                                  const struct sb_overlay_options *options, const struct sb_hint_request *request,
                                  struct sb_explanation *out, struct sb_error *err)
{
  struct sb_error inner = {SB_OK, ""};
  struct search search = {.log = log, .scenario = scenario, .options = options, .request = request, .err = &inner};
  struct knob *knobs = calloc(SB_HINT_MAX, sizeof *knobs);
  search.trial = calloc(2, sizeof *search.trial);
  search.sampled = search.trial + 1;
  search.table_room = calloc(table_points(&scenario->model.load) + 1, sizeof *search.table_room);
  enum sb_status status = knobs != NULL && search.trial != NULL && search.table_room != NULL ? SB_OK : SB_ERR_MEMORY;
  double noise_cost = 0.0;
  *out = (struct sb_explanation){0};
  if (status == SB_OK) status = find_noise_cost(&search, &noise_cost);
  if (status == SB_OK) {
    const size_t knob_count = find_knobs(&search, knobs);
    status = check_tries(request, knobs, knob_count, &inner);
    if (status == SB_OK) status = try_all(&search, knobs, knob_count, out->hints, noise_cost);
    if (status == SB_OK) judge(out, knob_count);
  }
  free(knobs);
  free(search.trial);
  free(search.table_room);
  if (status == SB_OK) return SB_OK;
  return sb_fail(err, status, "%s",
                 inner.text[0] != 0 && status != SB_ERR_MEMORY ? inner.text : sb_status_text(status));
}
