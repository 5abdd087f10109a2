// SPDX-License-Identifier: GPL-3.0-or-later
/* report.c - words that the text and the JSON form share; see report.h. */
#include "inspect/report.h"

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

const char *sb_inspect_hunt_text(const struct sb_inspect_report *report, const struct sb_inspect_hunt *hunt,
                                 char text[SB_INSPECT_VERDICT_SIZE])
{
  char slower[SB_NAME_SIZE], faster[SB_NAME_SIZE];
  snprintf(text, SB_INSPECT_VERDICT_SIZE, "Hunts between %s and %s every %.3g s from %.3f s to %.3f s, %zu shifts",
           sb_inspect_gear_words(report, hunt->slower_gear, slower),
           sb_inspect_gear_words(report, hunt->slower_gear + 1, faster), hunt->period_s, hunt->first_s, hunt->last_s,
           hunt->count);
  return text;
}

const char *sb_inspect_rest_text(const struct sb_inspect_report *report, const struct sb_inspect_rest *rest,
                                 char text[SB_INSPECT_VERDICT_SIZE])
{
  char gear[SB_NAME_SIZE];
  snprintf(text, SB_INSPECT_VERDICT_SIZE, "Stalls in %s from %.3f s to %.3f s: at rest for %.3g s",
           sb_inspect_gear_words(report, rest->gear, gear), rest->from_s, rest->to_s, rest->to_s - rest->from_s);
  return text;
}
