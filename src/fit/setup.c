// SPDX-License-Identifier: GPL-3.0-or-later
/* What is fitted and what is known beforehand, from words; see fit.h. */
#include <stdio.h>
#include <string.h>

#include "shiftband/fit.h"

struct sb_fit_setup sb_fit_setup_default(const struct sb_model *model)
{
  struct sb_fit_setup setup = {.model = model};
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    setup.gauges[g] = (struct sb_fit_gauge){.half_width = sb_fit_gauges[g].usual, .is_default = true};
  }
  if (model == NULL) return setup;
  setup.is_fitted[SB_FIT_P_MESH_EFFICIENCY] = setup.is_fitted[SB_FIT_P_LOAD_FRICTION] = true;
  setup.is_fitted[SB_FIT_P_VISCOUS] = setup.is_fitted[SB_FIT_P_LOAD_INERTIA] = true;
  setup.is_fitted[SB_FIT_P_ROTOR_INERTIA] = true;
  return setup;
}

/* KEY=VALUE or KEY=LEAST..GREATEST */
static enum sb_status read_known(const char *name, const char *text, struct sb_fit_known *known, struct sb_error *err)
{
  struct sb_error reason;
  const int kind = sb_fit_figure_find(name);
  const enum sb_quantity quantity = kind >= 0 ? sb_fit_figures[(enum sb_fit_figure_kind)kind].quantity : SB_RATIO;
  if (kind < 0 || (quantity == SB_RATIO && kind != SB_FIT_MESH_EFFICIENCY)) {
    return sb_fail(err, SB_ERR_USAGE, "--known: needs a figure such as motor.rotor_inertia, found \"%s\"", name);
  }
  known->kind = (enum sb_fit_figure_kind)kind;
  const bool is_range = strstr(text, "..") != NULL;
  const enum sb_status status = is_range
                                    ? sb_units_parse_range(text, quantity, &known->least, &known->greatest, &reason)
                                    : sb_units_parse(text, quantity, &known->least, &reason);
  if (status != SB_OK) return sb_fail(err, SB_ERR_USAGE, "--known %s: %s", name, reason.text);
  if (!is_range) known->greatest = known->least;
  const bool may_be_zero = kind == SB_FIT_MOTOR_VISCOUS || kind == SB_FIT_LOAD_VISCOUS || kind == SB_FIT_LOAD_FRICTION;
  if (known->least >= 0.0 && (known->greatest > 0.0 || may_be_zero)) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE, "--known %s: needs more than zero, found \"%s\"", name, text);
}

enum sb_status sb_fit_setup_know(struct sb_fit_setup *setup, const char *text, struct sb_error *err)
{
  char name[64];
  const char *equals = strchr(text, '=');
  const size_t length = equals != NULL ? (size_t)(equals - text) : 0;
  if (length == 0 || length >= sizeof name || equals[1] == 0) {
    return sb_fail(err, SB_ERR_USAGE, "--known needs KEY=VALUE, found \"%s\"", text);
  }
  if (setup->known_count == SB_FIT_KNOWN_MAX - 1) return sb_fail(err, SB_ERR_USAGE, "--known: too many");
  snprintf(name, sizeof name, "%.*s", (int)length, text);
  return read_known(name, equals + 1, &setup->known[setup->known_count++], err);
}

enum sb_status sb_fit_setup_choose(struct sb_fit_setup *setup, const char *keys, struct sb_error *err)
{
  memset(setup->is_fitted, 0, sizeof setup->is_fitted);
  for (const char *word = keys; *word != 0;) {
    char name[64];
    const size_t length = strcspn(word, ",");
    snprintf(name, sizeof name, "%.*s", (int)length, word);
    const int figure = sb_fit_figure_find(name);
    const int parameter = figure < 0 ? -1 : sb_fit_figure_parameter((enum sb_fit_figure_kind)figure);
    if (parameter < 0) {
      return sb_fail(err, SB_ERR_USAGE,
                     "--fit needs keys such as gearbox.mesh_efficiency or motor.stall_torque, found \"%s\"", name);
    }
    setup->is_fitted[parameter] = true;
    word += length + (word[length] == ',');
  }
  return SB_OK;
}

/* ---- gauges ---- */

static int find_gauge(const char *name)
{
  for (int g = 0; g < SB_FIT_GAUGE_COUNT; g++) {
    if (strcmp(sb_fit_gauges[g].name, name) == 0) return g;
  }
  return -1;
}

/* NAME=PERCENT, or "none": all are exact. */
static enum sb_status read_gauge(char *text, struct sb_fit_setup *setup, struct sb_error *err)
{
  struct sb_error reason;
  double half_width;
  for (int g = 0; g < SB_FIT_GAUGE_COUNT && strcmp(text, "none") == 0; g++) setup->gauges[g] = (struct sb_fit_gauge){0};
  if (strcmp(text, "none") == 0) return SB_OK;
  char *equals = strchr(text, '=');
  if (equals != NULL) *equals = 0;
  const int gauge = find_gauge(text);
  if (equals == NULL || gauge < 0) {
    return sb_fail(err, SB_ERR_USAGE, "--gauge needs torque, speed, current, voltage or clock, found \"%s\"", text);
  }
  if (sb_units_parse(equals + 1, SB_PERCENT, &half_width, &reason) != SB_OK) {
    return sb_fail(err, SB_ERR_USAGE, "--gauge %s: %s", text, reason.text);
  }
  if (!(half_width >= 0.0 && half_width <= SB_FIT_GAUGE_MOST)) {
    return sb_fail(err, SB_ERR_USAGE, "--gauge %s: needs 0 to 30 %%, found \"%s\"", text, equals + 1);
  }
  setup->gauges[gauge] = (struct sb_fit_gauge){.half_width = half_width};
  return SB_OK;
}

enum sb_status sb_fit_setup_gauge(struct sb_fit_setup *setup, const char *text, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (const char *word = text; status == SB_OK;) {
    char part[64];
    word += strspn(word, " ");
    const size_t length = strcspn(word, ",");
    snprintf(part, sizeof part, "%.*s", (int)length, word);
    status = read_gauge(part, setup, err);
    word += length;
    if (*word++ == 0) break;
  }
  return status;
}
