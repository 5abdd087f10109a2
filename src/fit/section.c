// SPDX-License-Identifier: GPL-3.0-or-later
/* section.c - a section of a scenario to paste. Motor figures are those of a data sheet, so that the driven motion is the
 * same whether or not friction has a viscous part. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "fit/show.h"

/* What the key itself would take. */
static double clipped(enum sb_fit_figure_kind kind, double value)
{
  switch (kind) {
    case SB_FIT_MESH_EFFICIENCY: return fmin(value, 1.0);
    case SB_FIT_NO_LOAD_CURRENT:
    case SB_FIT_LOAD_FRICTION:
    case SB_FIT_LOAD_VISCOUS: return fmax(value, 0.0);
    default: return value;
  }
}

static bool is_worth_pasting(const struct sb_fit_figure *figure, bool has_scenario)
{
  return figure->state == SB_FIT_DETERMINED || (figure->state == SB_FIT_GIVEN && !has_scenario);
}

static const char *last_name(const char *key)
{
  const char *dot = strchr(key, '.');
  return dot != NULL ? dot + 1 : key;
}

static void write_key(const struct sb_fit_result *result, enum sb_fit_figure_kind kind, FILE *out)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  const struct sb_shown_unit unit = sb_show_unit(kind, figure->value);
  const char *name = last_name(sb_fit_figures[kind].key);
  char value[32], error[32];
  if (is_worth_pasting(figure, result->has_scenario)) {
    fprintf(
        out, "  %s: %s%s%s", name,
        sb_show_number(clipped(kind, figure->value) * unit.per_si, 0.1 * figure->standard_error * unit.per_si, value),
        unit.name[0] != 0 ? " " : "", unit.name);
    if (figure->state == SB_FIT_DETERMINED) {
      const double se = figure->standard_error * unit.per_si;
      fprintf(out, "  # +- %s", sb_show_number(se, se, error));
    }
    fputc('\n', out);
  } else if (figure->state == SB_FIT_UNDETERMINED) {
    fprintf(out, "  # %s: not determined by these data\n", name);
  }
}

static bool is_any_shown(const struct sb_fit_result *result, const enum sb_fit_figure_kind *kinds, size_t count)
{
  bool is_any = false;
  for (size_t k = 0; k < count; k++) {
    const struct sb_fit_figure *figure = &result->figures[kinds[k]];
    is_any |= figure->state == SB_FIT_UNDETERMINED || is_worth_pasting(figure, result->has_scenario);
  }
  return is_any;
}

static void write_motor(const struct sb_fit_result *result, FILE *out)
{
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_NO_LOAD_SPEED, SB_FIT_STALL_TORQUE, SB_FIT_STALL_CURRENT,
                                                  SB_FIT_NO_LOAD_CURRENT, SB_FIT_ROTOR_INERTIA};
  char value[32];
  const bool has_both_currents = is_worth_pasting(&result->figures[SB_FIT_STALL_CURRENT], result->has_scenario) &&
                                 is_worth_pasting(&result->figures[SB_FIT_NO_LOAD_CURRENT], result->has_scenario);
  if (!is_any_shown(result, kinds, 5)) return;
  fputs("motor:\n", out);
  if (!result->has_scenario && result->is_voltage_known) {
    fprintf(out, "  nominal_voltage: %s V\n", sb_show_exact(result->nominal_voltage_v, value));
  } else if (!result->has_scenario) {
    fputs("  # nominal_voltage: not known\n", out);
  }
  for (size_t k = 0; k < 5; k++) {
    const bool is_current = kinds[k] == SB_FIT_STALL_CURRENT || kinds[k] == SB_FIT_NO_LOAD_CURRENT;
    const struct sb_fit_figure *figure = &result->figures[kinds[k]];
    if (is_current && !has_both_currents && figure->state != SB_FIT_ABSENT && !result->has_scenario) {
      fprintf(out, "  # %s: not determined together with the other current\n", last_name(sb_fit_figures[kinds[k]].key));
    } else {
      write_key(result, kinds[k], out);
    }
  }
  if (result->has_scenario) return;
  const struct sb_fit_figure *constant = &result->figures[SB_FIT_MOTOR_FRICTION];
  const struct sb_fit_figure *viscous = &result->figures[SB_FIT_MOTOR_VISCOUS];
  if (constant->state == SB_FIT_DETERMINED) {
    fprintf(out, "  # friction at the shaft: %.4g N.m\n",
            constant->value + viscous->value * result->figures[SB_FIT_NO_LOAD_SPEED].value);
    fprintf(out, "  # of it constant: %.4g N.m (%.4g..%.4g)\n", constant->value, constant->least, constant->greatest);
    if (viscous->state == SB_FIT_DETERMINED) fprintf(out, "  # of it viscous: %.4g N.m.s/rad\n", viscous->value);
  }
}

static void write_drive(const struct sb_fit_result *result, FILE *out)
{
  for (size_t k = 0; k < result->log_count; k++) {
    const struct sb_fit_corner *corner = &result->origins[k].corner;
    if (corner->point_count == 0) continue;
    const double error_a = corner->current_sd_a / sqrt((double)corner->point_count);
    char value[32], error[32];
    fprintf(out, "drive:\n  current_limit: %s A  # +- %s\n", sb_show_number(corner->current_a, 0.1 * error_a, value),
            sb_show_number(error_a, error_a, error));
    return;
  }
}

static int write_part(const struct sb_fit_result *result, enum sb_fit_figure_kind kind, int count, FILE *out)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  char value[32];
  if (figure->state != SB_FIT_DETERMINED || !(figure->value > 0.0)) return count;
  if (count == 0) fputs("  parts:\n", out);
  const struct sb_shown_unit unit = sb_show_unit(kind, figure->value);
  fprintf(out,
          kind == SB_FIT_LOAD_FRICTION ? "    - {kind: constant, manner: resists, torque: %s %s}\n"
                                       : "    - {kind: viscous, coefficient: %s %s}\n",
          sb_show_number(figure->value * unit.per_si, 0.1 * figure->standard_error * unit.per_si, value), unit.name);
  return count + 1;
}

static void write_load(const struct sb_fit_result *result, FILE *out)
{
  static const enum sb_fit_figure_kind kinds[] = {SB_FIT_LOAD_INERTIA, SB_FIT_LOAD_FRICTION, SB_FIT_LOAD_VISCOUS};
  if (!result->has_scenario || !is_any_shown(result, kinds, 3)) return;
  fputs("load:\n", out);
  write_key(result, SB_FIT_LOAD_INERTIA, out);
  int count = write_part(result, SB_FIT_LOAD_FRICTION, 0, out);
  write_part(result, SB_FIT_LOAD_VISCOUS, count, out);
}

static void write_range(const struct sb_fit_result *result, enum sb_fit_figure_kind kind, const char *path, int *count,
                        FILE *out)
{
  const struct sb_fit_figure *figure = &result->figures[kind];
  const struct sb_shown_unit unit = sb_show_unit(kind, figure->value);
  char least[32], greatest[32];
  if ((*count)++ == 0) fputs("tolerances:  # 95 % intervals\n", out);
  fprintf(out, "  %s: %s..%s%s%s\n", path,
          sb_show_number(clipped(kind, figure->least) * unit.per_si, 0.1 * figure->standard_error * unit.per_si, least),
          sb_show_number(clipped(kind, figure->greatest) * unit.per_si, 0.1 * figure->standard_error * unit.per_si,
                         greatest),
          unit.name[0] != 0 ? " " : "", unit.name);
}

static void write_tolerances(const struct sb_fit_result *result, FILE *out)
{
  int count = 0, part = 0;
  const bool has_both_currents =
      result->has_scenario || (is_worth_pasting(&result->figures[SB_FIT_STALL_CURRENT], false) &&
                               is_worth_pasting(&result->figures[SB_FIT_NO_LOAD_CURRENT], false));
  for (int k = 0; k <= SB_FIT_LOAD_INERTIA; k++) {
    const enum sb_fit_figure_kind kind = (enum sb_fit_figure_kind)k;
    const bool is_current = kind == SB_FIT_STALL_CURRENT || kind == SB_FIT_NO_LOAD_CURRENT;
    const bool is_part = kind == SB_FIT_LOAD_FRICTION || kind == SB_FIT_LOAD_VISCOUS;
    char path[64];
    if (result->figures[k].state != SB_FIT_DETERMINED || (is_current && !has_both_currents)) continue;
    if (is_part && !(result->figures[k].value > 0.0)) continue;
    snprintf(path, sizeof path, "%s", sb_fit_figures[kind].key);
    if (is_part) {
      snprintf(path, sizeof path, "load.parts.%d.%s", ++part, kind == SB_FIT_LOAD_FRICTION ? "torque" : "coefficient");
    }
    write_range(result, kind, path, &count, out);
  }
}

int sb_fit_write_section(const struct sb_fit_result *result, const struct sb_log *logs, FILE *out)
{
  fputs("# fitted to\n", out);
  for (size_t k = 0; k < result->log_count; k++) fprintf(out, "#   %s\n", logs[k].path);
  struct sb_sentence gauges = {0};
  sb_show_gauges(result, &gauges);
  if (gauges.length > 0) fprintf(out, "# gauges: %s\n", gauges.text);
  write_motor(result, out);
  write_drive(result, out);
  if (result->figures[SB_FIT_MESH_EFFICIENCY].state == SB_FIT_DETERMINED) {
    fputs("gearbox:\n", out);
    write_key(result, SB_FIT_MESH_EFFICIENCY, out);
  }
  write_load(result, out);
  write_tolerances(result, out);
  return ferror(out) ? -1 : 0;
}
