// SPDX-License-Identifier: GPL-3.0-or-later
#include "design/needs.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "base/constants.h"
#include "text/words.h"

static struct sb_need *add(struct sb_needs *needs, enum sb_need_kind kind, double wanted, bool is_least,
                           const char *format, ...) __attribute__((format(printf, 5, 6)));

static struct sb_need *add(struct sb_needs *needs, enum sb_need_kind kind, double wanted, bool is_least,
                           const char *format, ...)
{
  struct sb_need *need = &needs->items[needs->count];
  *need = (struct sb_need){.kind = kind, .wanted = wanted, .is_least = is_least, .nearest = NAN};
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(need->path, sizeof need->path, format, arguments);
  va_end(arguments);
  if (isfinite(wanted)) needs->count++;
  return need;
}

static void add_speeds(struct sb_needs *needs, const struct sb_require *require)
{
  for (int k = 0; k < require->speed_count; k++) {
    const struct sb_require_speed *speed = &require->speeds[k];
    add(needs, SB_NEED_SPEED, speed->minimum_rad_s, true, "require.output_speed.%d.minimum", k + 1)->load_nm =
        speed->load_nm;
    add(needs, SB_NEED_MOST_SPEED, speed->maximum_rad_s, false, "require.output_speed.%d.maximum", k + 1)->load_nm =
        speed->load_nm;
  }
  for (int k = 0; k < require->carry_count; k++) {
    const struct sb_require_speed *carry = &require->carries[k];
    add(needs, SB_NEED_SPEED, carry->minimum_rad_s, true, "require.carry.%d", k + 1)->load_nm = carry->load_nm;
  }
}

struct sb_needs sb_needs_of(const struct sb_choices *choices)
{
  const struct sb_require *require = &choices->require;
  struct sb_needs needs = {.count = 0};
  add_speeds(&needs, require);
  add(&needs, SB_NEED_FINISH, require->finish_s, false, "require.finish");
  add(&needs, SB_NEED_LENGTH, require->length_m, false, "require.length");
  const bool has_strength = choices->shelf.is_present && isfinite(choices->shelf.width_m);
  add(&needs, SB_NEED_TOOTH, has_strength ? 1.0 : (double)NAN, false, "choices.wheels.safety");
  add(&needs, SB_NEED_CHARGE, require->charge_as, false, "require.charge");
  add(&needs, SB_NEED_CURRENT, require->current_a, false, "require.current");
  add(&needs, SB_NEED_WINDING, require->winding_c, false, "require.winding");
  add(&needs, SB_NEED_TORQUE, require->output_torque_nm, false, "require.output_torque");
  add(&needs, SB_NEED_VERDICT, 0.0, false, "the run");
  return needs;
}

bool sb_needs_is_met(const struct sb_need *need, double value)
{
  if (isnan(value)) return true;
  return need->is_least ? value >= need->wanted && (need->wanted > 0.0 || value > 0.0) : value <= need->wanted;
}

static bool is_nearer(const struct sb_need *need, double value)
{
  if (isnan(need->nearest)) return true;
  return need->is_least ? value > need->nearest : value < need->nearest;
}

int sb_needs_judge(struct sb_needs *needs, const double values[SB_NEED_MAX])
{
  int first = -1, missed = 0;
  for (int k = 0; k < needs->count; k++) {
    if (sb_needs_is_met(&needs->items[k], values[k])) continue;
    if (missed++ == 0) first = k;
  }
  if (missed == 0) return -1;
  struct sb_need *need = &needs->items[first];
  need->dropped_count += 1.0;
  if (missed > 1) return first;
  need->alone_count += 1.0;
  if (is_nearer(need, values[first])) need->nearest = values[first];
  return first;
}

void sb_needs_add(struct sb_needs *needs, const struct sb_needs *part)
{
  for (int k = 0; k < needs->count; k++) {
    struct sb_need *need = &needs->items[k];
    const struct sb_need *other = &part->items[k];
    need->dropped_count += other->dropped_count;
    need->alone_count += other->alone_count;
    if (!isnan(other->nearest) && is_nearer(need, other->nearest)) need->nearest = other->nearest;
  }
}

int sb_needs_easiest(const struct sb_needs *needs)
{
  int easiest = -1;
  for (int k = 0; k < needs->count; k++) {
    const bool is_more = easiest < 0 || needs->items[k].alone_count > needs->items[easiest].alone_count;
    if (needs->items[k].alone_count > 0.0 && is_more && needs->items[k].kind != SB_NEED_VERDICT) easiest = k;
  }
  return easiest;
}

/* The unit of a need's value: for people, and as it ends a name for machines, where values are in SI. */
static const struct form {
  double scale;
  const char *unit, *name;
} forms[] = {
    [SB_NEED_SPEED] = {1.0 / SB_RPM, " rpm", "rad_s"},
    [SB_NEED_MOST_SPEED] = {1.0 / SB_RPM, " rpm", "rad_s"},
    [SB_NEED_FINISH] = {1.0, " s", "s"},
    [SB_NEED_LENGTH] = {1e3, " mm", "m"},
    [SB_NEED_TOOTH] = {100.0, " % of a tooth's strength", "fraction"},
    [SB_NEED_CHARGE] = {1.0 / 3.6, " mAh", "as"},
    [SB_NEED_CURRENT] = {1.0, " A", "a"},
    [SB_NEED_WINDING] = {1.0, " C", "c"},
    [SB_NEED_TORQUE] = {1.0, " N.m", "nm"},
    [SB_NEED_VERDICT] = {1.0, " verdicts", "count"},
};

const char *sb_needs_value_text(const struct sb_need *need, double value, char *text, size_t size)
{
  snprintf(text, size, "%s%s", sb_words_figure(value * forms[need->kind].scale).text, forms[need->kind].unit);
  return text;
}

const char *sb_needs_unit_name(const struct sb_need *need)
{
  return forms[need->kind].name;
}
