// SPDX-License-Identifier: GPL-3.0-or-later
#include "check/heat.h"

#include <math.h>
#include <stdlib.h>

#include "machine/caution.h"
#include "text/words.h"
#include "theory/torque_balance.h"
#include "theory/warmth.h"

/* The highest of the usual thermal classes of insulation, 180 (H): IEC 60085 (from memory). Judged against where no limit
 * was given. */
#define SB_INSULATION_ENDS_C 180.0

/* One way to heat the winding for good. */
struct burden {
  const char *name; /* of the gear; NULL: the shaft is blocked */
  const char *load; /* "lightest", "heaviest"; NULL: blocked */
  double outside_nm;
  double loss_w; /* at the start */
  struct sb_warmth settled;
  struct sb_warmth_reach reach; /* of the lower of limit and cut-out; never without either */
};

static const struct sb_model *model_of(const struct sb_check_report *report)
{
  return &report->cases[SB_CHECK_NOMINAL].model;
}

/* What the winding must not or will not pass; INFINITY: nothing was given. */
static double bound_of(const struct sb_model *model)
{
  return fmin(model->limits.winding_c, model->winding.cut_out_c);
}

static struct burden burden_of(const struct sb_model *model, int gear, const char *load, double outside_nm)
{
  return (struct burden){.name = gear == SB_WARMTH_BLOCKED ? NULL : model->gearbox.gears[gear].name,
                         .load = load,
                         .outside_nm = outside_nm,
                         .loss_w = sb_warmth_loss_w(model, gear, outside_nm, model->winding.start_c),
                         .settled = sb_warmth_steady(model, gear, outside_nm),
                         .reach = sb_warmth_reached(model, gear, outside_nm, bound_of(model))};
}

enum { BURDEN_MAX = 1 + 2 * SB_GEAR_MAX };

/* The blocked shaft first, then each gear under the lightest and the heaviest load. */
static int list_burdens(const struct sb_check_report *report, struct burden burdens[BURDEN_MAX])
{
  const struct sb_model *model = model_of(report);
  const struct sb_closed_form *form = &report->cases[SB_CHECK_NOMINAL].form;
  int count = 0;
  burdens[count++] = burden_of(model, SB_WARMTH_BLOCKED, NULL, 0.0);
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    burdens[count++] = burden_of(model, g, "lightest", form->lightest_load_nm);
    burdens[count++] = burden_of(model, g, "heaviest", form->heaviest_load_nm);
  }
  return count;
}

/* At a blocked shaft the switch opens, and closes again so much later; NAN when it never opens. */
static double pause_s(const struct sb_model *model)
{
  const struct sb_warmth_reach reach = sb_warmth_reached(model, SB_WARMTH_BLOCKED, 0.0, model->winding.cut_out_c);
  return isfinite(reach.time_s) ? sb_warmth_cooling_s(&model->winding, &reach.at, model->winding.reset_c) : NAN;
}

/* How warm the motor is that stands beside the cold one: at its limit, where the switch opens, or as warm as the heaviest
 * load makes it; NAN when that burns it. */
static double warm_c(const struct sb_model *model, const struct burden *burdens, int count)
{
  if (isfinite(model->limits.winding_c)) return model->limits.winding_c;
  if (isfinite(model->winding.cut_out_c)) return model->winding.cut_out_c;
  double warmest_c = model->winding.ambient_c;
  for (int k = 1; k < count; k++) warmest_c = fmax(warmest_c, burdens[k].settled.winding_c);
  return isfinite(warmest_c) ? warmest_c : NAN;
}

static void fill_case(struct sb_check_case *at, const struct sb_model *model, const char *label, double winding_c)
{
  at->label = label;
  at->model = sb_winding_warm_model(model, winding_c);
  at->line = sb_torque_balance_line(&at->model);
  at->form = sb_closed_form_solve(&at->model);
}

/* Cold and warm as the two cases of a report, or NULL when there is no warm one or no memory; free() it. */
static struct sb_check_report *compare(const struct sb_model *model, double winding_c)
{
  struct sb_check_report *beside = isnan(winding_c) ? NULL : calloc(1, sizeof *beside);
  if (beside == NULL) return NULL;
  beside->case_count = 2;
  fill_case(&beside->cases[0], model, "cold", model->winding.start_c);
  fill_case(&beside->cases[1], model, "warm", winding_c);
  return beside;
}

/* "84.2 C", or what stands for a motor that burns. */
static struct sb_figure degrees_of(double winding_c)
{
  struct sb_figure out;
  if (isinf(winding_c)) {
    snprintf(out.text, sizeof out.text, "burns: above %.0f C", SB_COPPER_MELTS_C);
  } else {
    snprintf(out.text, sizeof out.text, "%.28s C", NUM(winding_c));
  }
  return out;
}

static struct sb_figure after_of(double time_s)
{
  struct sb_figure out;
  if (isinf(time_s)) {
    snprintf(out.text, sizeof out.text, "never");
  } else {
    snprintf(out.text, sizeof out.text, "%.16s%s", NUM(time_s), isnan(time_s) ? "" : " s");
  }
  return out;
}

static void write_bounds(const struct sb_model *model, FILE *out)
{
  const struct sb_winding *winding = &model->winding;
  const bool is_limited = isfinite(model->limits.winding_c), is_cut = isfinite(winding->cut_out_c);
  sb_words_say(out, 2, 4, "%s around, the winding %s at the start. The figures above hold for a winding at %s.",
               degrees_of(winding->ambient_c).text, degrees_of(winding->start_c).text,
               degrees_of(winding->reference_c).text);
  if (is_limited) sb_words_say(out, 2, 4, "Limit %s.", degrees_of(model->limits.winding_c).text);
  if (is_cut) {
    sb_words_say(out, 2, 4, "The cut-out opens at %s and closes again at %s.", degrees_of(winding->cut_out_c).text,
                 degrees_of(winding->reset_c).text);
  }
  if (!is_limited && !is_cut)
    sb_words_say(out, 2, 4, "Neither limits.winding nor a cut-out is given: nothing is judged.");
}

static void write_burdens(const struct sb_model *model, const struct burden *burdens, int count, FILE *out)
{
  const bool is_bounded = isfinite(bound_of(model));
  fputs("  ", out);
  sb_words_cell(out, 36, "%s", "");
  sb_words_cell(out, 19, "loss at the start");
  sb_words_cell(out, is_bounded ? 20 : 1, "settles at");
  if (is_bounded) fprintf(out, "%s after", degrees_of(bound_of(model)).text);
  fputc('\n', out);
  for (int k = 0; k < count; k++) {
    const struct burden *burden = &burdens[k];
    fputs("  ", out);
    if (burden->name == NULL) {
      sb_words_cell(out, 36, "shaft blocked, any gear");
    } else {
      sb_words_cell(out, 36, "%.12s, %s load, %s N.m", burden->name, burden->load, NUM(burden->outside_nm));
    }
    sb_words_cell(out, 19, "%s W", NUM(burden->loss_w));
    sb_words_cell(out, is_bounded ? 20 : 1, "%s", degrees_of(burden->settled.winding_c).text);
    if (is_bounded) fputs(after_of(burden->reach.time_s).text, out);
    fputc('\n', out);
  }
}

static void write_beside(const struct sb_check_report *beside, double winding_c, FILE *out)
{
  const struct sb_check_case *cold = &beside->cases[0], *warm = &beside->cases[1];
  fputs("\nA warm motor beside a cold one\n  ", out);
  sb_words_cell(out, 26, "%s", "");
  sb_words_cell(out, 23, "cold, %s", degrees_of(cold->model.winding.start_c).text);
  fprintf(out, "warm, %s\n  ", degrees_of(winding_c).text);
  sb_words_cell(out, 26, "winding's resistance");
  sb_words_cell(out, 23, "%s ohm", NUM(cold->model.motor.resistance_ohm));
  fprintf(out, "%s ohm\n  ", NUM(warm->model.motor.resistance_ohm));
  sb_words_cell(out, 26, "motor's stall torque");
  sb_words_cell(out, 23, "%s N.m", NUM(cold->form.stall_torque_nm));
  fprintf(out, "%s N.m\n", NUM(warm->form.stall_torque_nm));
  sb_check_write_pairs(beside, out);
}

void sb_check_write_heat(const struct sb_check_report *report, FILE *out)
{
  const struct sb_model *model = model_of(report);
  struct burden burdens[BURDEN_MAX];
  const int count = list_burdens(report, burdens);
  fputs("\nHeat of the winding\n", out);
  write_bounds(model, out);
  write_burdens(model, burdens, count, out);
  const double closed_s = pause_s(model);
  if (!isnan(closed_s))
    sb_words_say(out, 2, 4, "With the shaft blocked, the cut-out closes again %s s after it opened.", NUM(closed_s));
  const double winding_c = warm_c(model, burdens, count);
  struct sb_check_report *beside = compare(model, winding_c);
  if (beside != NULL) write_beside(beside, winding_c, out);
  free(beside);
}

/* Without an end null: never, burns, not given. */
static void put_burden(struct sb_json *json, const struct burden *burden)
{
  sb_json_put_string(json, "gear", burden->name);
  sb_json_put_string(json, "load", burden->load);
  sb_json_put_number(json, "outside_nm", burden->name == NULL ? NAN : burden->outside_nm);
  sb_json_put_number(json, "start_loss_w", burden->loss_w);
  sb_json_put_number(json, "settled_winding_c", burden->settled.winding_c);
  sb_json_put_number(json, "settled_housing_c", burden->settled.housing_c);
  sb_json_put_number(json, "bound_reached_s", burden->reach.time_s);
}

void sb_check_put_heat(struct sb_json *json, const struct sb_check_report *report)
{
  const struct sb_model *model = model_of(report);
  struct burden burdens[BURDEN_MAX];
  const int count = list_burdens(report, burdens);
  const double winding_c = warm_c(model, burdens, count);
  sb_json_put_object(json, "heat");
  sb_json_put_number(json, "ambient_c", model->winding.ambient_c);
  sb_json_put_number(json, "start_c", model->winding.start_c);
  sb_json_put_number(json, "reference_c", model->winding.reference_c);
  sb_json_put_number(json, "limit_c", model->limits.winding_c);
  sb_json_put_number(json, "cut_out_c", model->winding.cut_out_c);
  sb_json_put_number(json, "reset_c", model->winding.reset_c);
  sb_json_put_number(json, "bound_c", bound_of(model));
  sb_json_put_object(json, "blocked");
  put_burden(json, &burdens[0]);
  sb_json_put_number(json, "closed_again_s", pause_s(model));
  sb_json_close(json);
  sb_json_put_array(json, "loads");
  for (int k = 1; k < count; k++) {
    sb_json_open_object(json);
    put_burden(json, &burdens[k]);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_put_number(json, "warm_c", winding_c);
  struct sb_check_report *beside = compare(model, winding_c);
  for (int k = 0; beside != NULL && k < beside->case_count; k++) sb_check_put_case(json, &beside->cases[k]);
  free(beside);
  sb_json_close(json);
}

static void add_caution(struct sb_check_report *report, const char *why)
{
  struct sb_check_notes *cautions = &report->cautions;
  if (cautions->count >= SB_CHECK_NOTE_MAX) return;
  snprintf(cautions->texts[cautions->count++], SB_CHECK_NOTE_SIZE, "%s: %s", why, sb_caution_text(SB_CAUTION_HEAT));
}

void sb_check_caution_heat(struct sb_check_report *report)
{
  const struct sb_model *model = model_of(report);
  const bool is_limited = isfinite(model->limits.winding_c);
  const double limit_c = is_limited ? model->limits.winding_c : SB_INSULATION_ENDS_C;
  char why[160];
  if (model->winding.cut_out_c <= limit_c) return;
  const struct sb_warmth_reach reach = sb_warmth_reached(model, SB_WARMTH_BLOCKED, 0.0, limit_c);
  const double settled_c = sb_warmth_steady(model, SB_WARMTH_BLOCKED, 0.0).winding_c;
  if (!is_limited && isinf(settled_c)) {
    add_caution(report, "with its shaft blocked the winding burns");
  } else if (isfinite(reach.time_s)) {
    snprintf(why, sizeof why, "with its shaft blocked the winding passes %.4g C after %.3g s", limit_c, reach.time_s);
    add_caution(report, why);
  } else if (settled_c > limit_c) {
    snprintf(why, sizeof why, "with its shaft blocked the winding settles at %.4g C, above %.4g C", settled_c, limit_c);
    add_caution(report, why);
  }
}
