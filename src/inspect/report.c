// SPDX-License-Identifier: GPL-3.0-or-later
/* report.c - words that the text and the JSON form share; see report.h. */
#include "inspect/report.h"

#include <math.h>

const char *sb_inspect_gear_words(const struct sb_inspect_report *report, int gear, char text[SB_NAME_SIZE])
{
  const struct sb_gearbox *gearbox = report->scenario != NULL ? &report->scenario->model.gearbox : NULL;
  if (gear <= 0) {
    snprintf(text, SB_NAME_SIZE, "an unknown gear");
  } else if (gearbox != NULL && gear <= gearbox->gear_count) {
    snprintf(text, SB_NAME_SIZE, "%s", gearbox->gears[gear - 1].name);
  } else {
    snprintf(text, SB_NAME_SIZE, "gear %d", gear);
  }
  return text;
}

static struct sb_verdict hunt_verdict(const struct sb_inspect_hunt *hunt)
{
  return (struct sb_verdict){.kind = sb_verdict_of_cause(hunt->cause),
                             .cause = hunt->cause,
                             .gear = hunt->slower_gear,
                             .first_s = hunt->first_s,
                             .last_s = hunt->last_s,
                             .count = hunt->count,
                             .period_s = hunt->period_s,
                             .duration_s = hunt->last_s - hunt->first_s,
                             .least_nm = hunt->least_nm,
                             .greatest_nm = hunt->greatest_nm,
                             .limit = hunt->window_s,
                             .found = NAN,
                             .three = hunt->three,
                             .band = hunt->band,
                             .stopped_s = NAN};
}

static struct sb_verdict rest_verdict(const struct sb_inspect_rest *rest)
{
  return (struct sb_verdict){.kind = SB_VERDICT_STALL,
                             .gear = rest->gear,
                             .first_s = rest->from_s,
                             .last_s = rest->to_s,
                             .count = 1,
                             .period_s = NAN,
                             .duration_s = rest->to_s - rest->from_s,
                             .least_nm = NAN,
                             .greatest_nm = NAN,
                             .limit = rest->limit_s,
                             .found = rest->to_s - rest->from_s,
                             .stopped_s = NAN};
}

/* Names keys without values: those follow from a scenario only. */
static void add_keys(struct sb_verdict_words *out, const char *const *keys)
{
  for (; *keys != NULL; keys++) {
    snprintf(out->cures[out->cure_count++].key, SB_CURE_SIZE, "%s", *keys);
  }
}

static void explain_hunt_alone(const struct sb_inspect_report *report, const struct sb_verdict *hunt,
                               struct sb_verdict_words *out)
{
  static const char *const keys[] = {"controller.downshift_below", "controller.upshift_above", "controller.dwell",
                                     NULL};
  char slower[SB_NAME_SIZE], faster[SB_NAME_SIZE];
  snprintf(out->text, sizeof out->text,
           "The gearbox hunts between %s and %s every %.3g s from %.3f s to %.3f s (%zu shifts); a wider distance from "
           "%s to %s, or a longer %s, cures it",
           sb_inspect_gear_words(report, hunt->gear, slower), sb_inspect_gear_words(report, hunt->gear + 1, faster),
           hunt->period_s, hunt->first_s, hunt->last_s, hunt->count, keys[0], keys[1], keys[2]);
  add_keys(out, keys);
}

static void explain_stall_alone(const struct sb_inspect_report *report, const struct sb_verdict *stall,
                                struct sb_verdict_words *out)
{
  char gear[SB_NAME_SIZE], meshes[SB_CURE_SIZE] = "gearbox.gears";
  if (stall->gear > 0) snprintf(meshes, sizeof meshes, "gearbox.gears.%d.meshes", stall->gear);
  const char *const keys[] = {meshes, "supply.open_circuit_voltage", NULL};
  snprintf(
      out->text, sizeof out->text,
      "The output stalls in %s from %.3f s on, for %.3g s; a greater reduction in %s, more %s, or less load moves it",
      sb_inspect_gear_words(report, stall->gear, gear), stall->first_s, stall->duration_s, keys[0], keys[1]);
  add_keys(out, keys);
}

static void explain(const struct sb_inspect_report *report, const struct sb_closed_form *closed,
                    const struct sb_verdict *verdict, struct sb_verdict_words *out)
{
  const struct sb_model *model = report->scenario != NULL ? &report->scenario->model : NULL;
  const bool is_stall = verdict->kind == SB_VERDICT_STALL;
  const int last_gear = is_stall ? verdict->gear : verdict->gear + 1;
  if (model != NULL && verdict->gear > 0 && last_gear <= model->gearbox.gear_count) {
    sb_verdict_explain(verdict, model, closed, out);
    return;
  }
  *out = (struct sb_verdict_words){.text = ""};
  if (is_stall) {
    explain_stall_alone(report, verdict, out);
  } else {
    explain_hunt_alone(report, verdict, out);
  }
}

void sb_inspect_each_verdict(const struct sb_inspect_report *report, sb_inspect_take_verdict *take, void *context)
{
  const struct sb_inspection *found = report->found;
  struct sb_closed_form closed = {0};
  if (report->scenario != NULL) closed = sb_closed_form_solve(&report->scenario->model);
  for (size_t i = 0; i < found->hunt_count + found->rest_count; i++) {
    const struct sb_verdict verdict =
        i < found->hunt_count ? hunt_verdict(&found->hunts[i]) : rest_verdict(&found->rests[i - found->hunt_count]);
    struct sb_verdict_words words;
    explain(report, &closed, &verdict, &words);
    take(context, &verdict, &words);
  }
}
