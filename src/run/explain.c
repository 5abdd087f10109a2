// SPDX-License-Identifier: GPL-3.0-or-later
/* explain.c - what the explanations of verdicts share. */
#include "run/explain.h"

#include <math.h>
#include <stdio.h>

#include "theory/steady.h"
#include "theory/torque_balance.h"

void sb_explain_load(struct sb_explaining *to)
{
  /* No -0.0, which fmin() and fmax() may take or leave. */
  const double least_nm = to->verdict->least_nm + 0.0, greatest_nm = to->verdict->greatest_nm + 0.0;
  if (greatest_nm - least_nm <= 0.005 * fmax(fabs(greatest_nm), fabs(least_nm))) {
    sb_explain_say(to, "the load of %.3g N.m", greatest_nm);
  } else {
    sb_explain_say(to, "the load of %.3g..%.3g N.m", least_nm, greatest_nm);
  }
}

void sb_explain_duration(struct sb_explaining *to)
{
  sb_explain_say(to, " from %.4g s on, for %.3g s", to->verdict->first_s, to->verdict->duration_s);
  if (to->verdict->count > 1) sb_explain_say(to, " in %zu spells", to->verdict->count);
}

const char *sb_explain_gear(const struct sb_explaining *to, int gear)
{
  return to->model->gearbox.gears[gear - 1].name;
}

void sb_explain_cure(struct sb_explaining *to, const char *key, const char *bound, const char *value)
{
  struct sb_cure *cures = to->out->cures, *cure = &cures[to->out->cure_count];
  const bool is_first = to->out->cure_count == 0 || cure[-1].value[0] == 0;
  *cure = (struct sb_cure){.bound = bound};
  snprintf(cure->key, sizeof cure->key, "%s", key);
  if (value != NULL) {
    snprintf(cure->value, sizeof cure->value, "%s", value);
    sb_explain_say(to, "%s %s to %s%s%s", is_first ? "; set" : ", or", key, bound != NULL ? bound : "",
                   bound != NULL ? " " : "", value);
  }
  to->out->cure_count++;
}

const char *sb_verdict_say_too_heavy(const struct sb_model *model, char text[SB_EXPLANATION_SIZE])
{
  const struct sb_motor_line line = sb_torque_balance_line(model);
  const double stall_nm = sb_steady_stall_nm(model, &line, 0);
  double lightest_nm, heaviest_nm;
  text[0] = 0;
  sb_load_range_nm(&model->load, model->run.duration_s, &lightest_nm, &heaviest_nm);
  if (!(heaviest_nm > stall_nm) || !(stall_nm > 0.0)) return text;
  snprintf(
      text, SB_EXPLANATION_SIZE,
      "No threshold can help: the heaviest load, %.3g N.m, is %.3g times what the slowest gear, %s, carries at stall, "
      "%.3g N.m. It needs a lighter load, more voltage or a reduction of more than %.3g.",
      heaviest_nm, heaviest_nm / stall_nm, model->gearbox.gears[0].name, stall_nm,
      model->gearbox.gears[0].ratio * heaviest_nm / stall_nm);
  return text;
}
