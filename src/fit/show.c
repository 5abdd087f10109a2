// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/show.h"

#include <math.h>
#include <string.h>

#include "base/constants.h"

static const struct sb_shown_unit rpm = {"rpm", 1.0 / SB_RPM};

const char *sb_show_si(enum sb_fit_figure_kind kind)
{
  if (sb_fit_figures[kind].quantity != SB_RATIO) return sb_units_si(sb_fit_figures[kind].quantity);
  switch (kind) { /* quantities that no scenario has */
    case SB_FIT_KT: return "N.m/A";
    case SB_FIT_KE: return "V.s/rad";
    case SB_FIT_TORQUE_OVER_INERTIA:
    case SB_FIT_FRICTION_OVER_INERTIA: return "rad/s2";
    case SB_FIT_VISCOUS_OVER_INERTIA: return "1/s";
    default: return "";
  }
}

struct sb_shown_unit sb_show_unit(enum sb_fit_figure_kind kind, double value)
{
  const double size = fabs(value);
  switch (sb_fit_figures[kind].quantity) {
    case SB_SPEED: return rpm;
    case SB_TORQUE: return size < 0.1 ? (struct sb_shown_unit){"mN.m", 1e3} : (struct sb_shown_unit){"N.m", 1.0};
    case SB_CURRENT: return size < 0.1 ? (struct sb_shown_unit){"mA", 1e3} : (struct sb_shown_unit){"A", 1.0};
    case SB_INERTIA: return size < 1e-4 ? (struct sb_shown_unit){"g.cm2", 1e7} : (struct sb_shown_unit){"kg.m2", 1.0};
    case SB_TIME: return size < 0.1 ? (struct sb_shown_unit){"ms", 1e3} : (struct sb_shown_unit){"s", 1.0};
    default: return (struct sb_shown_unit){sb_show_si(kind), 1.0};
  }
}

struct sb_shown_unit sb_show_column_unit(enum sb_log_column column)
{
  return column == SB_LOG_MOTOR_CURRENT ? (struct sb_shown_unit){"A", 1.0} : rpm;
}

const char *sb_show_number(double value, double error, char text[32])
{
  int digits = 6;
  if (error > 0.0 && fabs(value) > 0.0) digits = (int)ceil(log10(fabs(value) / error)) + 2;
  digits = digits < 2 ? 2 : digits > 9 ? 9 : digits;
  snprintf(text, 32, "%.*g", digits, value);
  if (strchr(text, 'e') != NULL && fabs(value) >= 1.0 && fabs(value) < 1e9) snprintf(text, 32, "%.0f", value);
  return text;
}

const char *sb_show_exact(double value, char text[32])
{
  for (int digits = 6; digits <= 9; digits++) {
    snprintf(text, 32, "%.*g", digits, value);
    double back = 0.0;
    if (sb_units_parse_number(text, &back) != NULL && fabs(back - value) <= 5e-10 * fabs(value)) break;
  }
  return text;
}

void sb_show_gauges(const struct sb_fit_result *result, struct sb_sentence *out)
{
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    if (!result->is_gauge_used[g] || !(result->gauges[g].half_width > 0.0)) continue;
    sb_words_add(out, "%s%s %.3g %%", out->length > 0 ? ", " : "", sb_fit_gauges[g].name,
                 100.0 * result->gauges[g].half_width);
  }
}
