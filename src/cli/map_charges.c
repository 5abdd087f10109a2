// SPDX-License-Identifier: GPL-3.0-or-later
/* The exact map at several charges of the scenario's battery: CSV, words, JSON. */
#include <math.h>
#include <stdlib.h>

#include "cli/command.h"
#include "cli/map_request.h"
#include "map/report.h"
#include "shiftband/discharge.h"
#include "shiftband/report.h"
#include "study/charges.h"

struct by_charge {
  const struct sb_model *model;
  const struct sb_map_options *options;
  int count;
  struct sb_map_charge *points; /* points[count], owned */
};

static double pct(double fraction)
{
  return sb_map_pct(fraction);
}

static void write_number(FILE *out, double value)
{
  char text[SB_JSON_NUMBER_SIZE];
  fputc(',', out);
  if (isfinite(value)) fputs(sb_json_format_number(value, text), out);
}

static int write_csv(FILE *out, const void *context)
{
  const struct by_charge *work = context;
  fputs("charge_pct,voltage_v,verdict,cause,all_verdicts,shifts,output_turns,given_j,safe_share,upshift_least_pct,"
        "upshift_greatest_pct,downshift_least_pct,downshift_greatest_pct\n",
        out);
  for (int k = 0; k < work->count; k++) {
    const struct sb_map_charge *at = &work->points[k];
    char text[SB_JSON_NUMBER_SIZE], all[SB_MAP_VERDICTS_SIZE];
    const int worst = sb_map_verdict_worst(&at->verdict);
    const char *cause = sb_cause_name(at->verdict.cause);
    fputs(sb_json_format_number(pct(at->charge_fraction), text), out);
    write_number(out, at->voltage_v);
    fprintf(out, ",%s,%s,%s,%ld", worst < 0 ? "holds" : sb_verdict_name((enum sb_verdict_kind)worst),
            cause != NULL ? cause : "", sb_map_all_verdicts(&at->verdict, all), at->figures.shift_count);
    write_number(out, at->figures.output_turns);
    write_number(out, at->figures.given_j);
    write_number(out, at->safe_share);
    write_number(out, pct(at->up.least_fraction));
    write_number(out, pct(at->up.greatest_fraction));
    write_number(out, pct(at->down.least_fraction));
    write_number(out, pct(at->down.greatest_fraction));
    fputc('\n', out);
  }
  return ferror(out) ? -1 : 0;
}

static void put_held(struct sb_json *json, const char *name, const struct sb_map_held *held)
{
  sb_json_put_object(json, name);
  sb_json_put_number(json, "least_pct", pct(held->least_fraction));
  sb_json_put_number(json, "greatest_pct", pct(held->greatest_fraction));
  sb_json_close(json);
}

static void write_json(const struct by_charge *work)
{
  struct sb_json json;
  const int pair = work->options->pair;
  sb_json_init(&json, stdout);
  sb_json_open_object(&json);
  sb_json_put_string(&json, "scenario", work->model->name);
  sb_json_put_string(&json, "slower", work->model->gearbox.gears[pair].name);
  sb_json_put_string(&json, "faster", work->model->gearbox.gears[pair + 1].name);
  sb_json_put_number(&json, "downshift_below_pct", pct(work->model->control.downshift_fraction[pair]));
  sb_json_put_number(&json, "upshift_above_pct", pct(work->model->control.upshift_fraction[pair]));
  sb_json_put_array(&json, "discharge");
  for (int k = 0; k < work->count; k++) {
    const struct sb_map_charge *at = &work->points[k];
    sb_json_open_object(&json);
    sb_json_put_number(&json, "charge_pct", pct(at->charge_fraction));
    sb_json_put_number(&json, "voltage_v", at->voltage_v);
    sb_map_put_verdict(&json, &at->verdict);
    sb_map_put_figures(&json, &at->figures);
    sb_json_put_number(&json, "safe_share", at->safe_share);
    put_held(&json, "up_holds", &at->up);
    put_held(&json, "down_holds", &at->down);
    sb_json_close(&json);
  }
  sb_json_close(&json);
  sb_json_close(&json);
  sb_json_end(&json);
}

/* "58.9..83.2 %", or "none". */
static const char *format_held(const struct sb_map_held *held, char text[32])
{
  if (isnan(held->least_fraction)) {
    snprintf(text, 32, "none");
  } else {
    snprintf(text, 32, "%.6g..%.6g %%", pct(held->least_fraction), pct(held->greatest_fraction));
  }
  return text;
}

static void write_text(FILE *out, const struct by_charge *work)
{
  const struct sb_model *model = work->model;
  const int pair = work->options->pair;
  fprintf(out, "%s\nthresholds between %s and %s over the discharge: down %.6g %%, up %.6g %%\n\n", model->name,
          model->gearbox.gears[pair].name, model->gearbox.gears[pair + 1].name,
          pct(model->control.downshift_fraction[pair]), pct(model->control.upshift_fraction[pair]));
  fprintf(out, "%-9s%-11s%-10s%-18s%-18s%s\n", "charge", "voltage", "safe", "up holds in", "down holds in",
          "the scenario's own");
  for (int k = 0; k < work->count; k++) {
    const struct sb_map_charge *at = &work->points[k];
    char charge[32], voltage[32], share[32], up[32], down[32], all[SB_MAP_VERDICTS_SIZE];
    snprintf(charge, sizeof charge, "%.4g %%", pct(at->charge_fraction));
    snprintf(voltage, sizeof voltage, "%.4g V", at->voltage_v);
    snprintf(share, sizeof share, "%.1f %%", 100.0 * at->safe_share);
    fprintf(out, "%-9s%-11s%-10s%-18s%-18s%s\n", charge, voltage, share, format_held(&at->up, up),
            format_held(&at->down, down), sb_map_all_verdicts(&at->verdict, all));
  }
  fputs(
      "\nsafe: share of the plane that holds. Up, down: the nearest stretch that holds with the other one as it is.\n",
      out);
  sb_report_write_cautions(out, model, NULL);
}

static int write_all(const struct sb_map_request *request, const struct by_charge *work)
{
  if (request->work.output != NULL) {
    const int code = sb_command_write_file(request->work.output, (struct sb_command_writer){write_csv, work});
    if (code != SB_EXIT_DONE) return code;
  }
  if (request->is_json) {
    write_json(work);
  } else {
    write_text(sb_map_words_stream(request), work);
  }
  return SB_EXIT_DONE;
}

/* The plane is that of the full battery, whose readings reach highest. */
int sb_map_do_discharge(struct sb_map_request *request, struct sb_scenario *scenario)
{
  struct sb_map_options options;
  struct sb_error err = {SB_OK, ""};
  if (!scenario->model.battery.is_present) {
    sb_command_complain("%s: --discharge needs a battery, found no supply.battery", request->file);
    return SB_EXIT_SCENARIO;
  }
  sb_discharge_set(&scenario->model, 1.0);
  int code = sb_map_read_plane(request, scenario, &options);
  if (code != SB_EXIT_DONE) return code;
  struct by_charge work = {&scenario->model, &options, (int)request->discharge, NULL};
  work.points = calloc((size_t)work.count, sizeof *work.points);
  if (work.points == NULL) {
    return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  }
  const enum sb_status status = sb_map_over_discharge(work.model, &options, work.points, work.count, &err);
  if (status == SB_OK) {
    code = write_all(request, &work);
  } else {
    sb_command_complain("%s: %s", request->file, err.text);
    code = sb_command_exit(status);
  }
  free(work.points);
  return code;
}
