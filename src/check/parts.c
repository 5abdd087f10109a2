// SPDX-License-Identifier: GPL-3.0-or-later
#include "check/parts.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "theory/torque_balance.h"

struct sb_check_machine sb_check_machine_of(const struct sb_model *model)
{
  return (struct sb_check_machine){model, sb_torque_balance_line(model), sb_closed_form_solve(model)};
}

struct sb_check_remark *sb_check_remark(struct sb_check_remarks *remarks, const char *kind, int pair,
                                        const char *format, ...)
{
  if (remarks->count < SB_CHECK_REMARK_MAX) remarks->count++;
  struct sb_check_remark *remark = &remarks->items[remarks->count - 1];
  *remark = (struct sb_check_remark){.kind = kind, .pair = pair};
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(remark->text, sizeof remark->text, format, arguments);
  va_end(arguments);
  return remark;
}

void sb_check_cure(struct sb_check_remark *remark, const char *key, const char *bound, const char *format, ...)
{
  struct sb_check_cure *cure = &remark->cures[remark->cure_count];
  const bool is_first = remark->cure_count == 0;
  if (remark->cure_count >= SB_CHECK_CURE_MAX) return;
  remark->cure_count++;
  snprintf(cure->key, sizeof cure->key, "%s", key);
  cure->bound = bound;
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(cure->value, sizeof cure->value, format, arguments);
  va_end(arguments);
  if (!is_first) remark->text[strlen(remark->text) - 1] = 0; /* the full stop behind the one before */
  sb_check_add(remark, "%s %s to %s %s.", is_first ? " Set" : ", or", cure->key, bound, cure->value);
}

struct sb_figure sb_check_torques(double least_nm, double greatest_nm)
{
  struct sb_figure out;
  if (least_nm == greatest_nm) {
    snprintf(out.text, sizeof out.text, "%.14s N.m", NUM(least_nm));
  } else {
    snprintf(out.text, sizeof out.text, "%.12s..%.12s N.m", NUM(least_nm), NUM(greatest_nm));
  }
  return out;
}

struct sb_figure sb_check_band(double downshift_nm, double upshift_nm)
{
  struct sb_figure out = {.text = "any load"};
  if (isfinite(downshift_nm) && isfinite(upshift_nm)) return sb_check_torques(downshift_nm, upshift_nm);
  if (isfinite(upshift_nm)) {
    snprintf(out.text, sizeof out.text, "below %.14s N.m", NUM(upshift_nm));
  } else if (isfinite(downshift_nm)) {
    snprintf(out.text, sizeof out.text, "above %.14s N.m", NUM(downshift_nm));
  }
  return out;
}
