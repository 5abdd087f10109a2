// SPDX-License-Identifier: GPL-3.0-or-later
#include "scenario/old_names.h"

#include <stdio.h>
#include <string.h>

enum { PATH_SIZE = 256, STEP_SIZE = 128 };

const struct sb_old_key sb_old_keys[] = {
    {"controller.down", "downshift_below"},
    {"controller.up", "upshift_above"},
    {"controller.confirm", "debounce_samples"},
    {"drive.orders", "schedule"},
    {"gearbox.gears.*.motor_sense", "motor_direction"},
    {"load.bodies.*.grip", "static_friction"},
    {"load.bodies.*.sliding", "kinetic_friction"},
    {"load.bodies.*.rolling", "rolling_resistance"},
    {"load.bodies.*.in_the_way", "obstacles"},
    {"load.bodies.*.obstacles.*.friction", "kinetic_friction"},
    {"load.bodies.*.obstacles.*.breakaway", "static_friction"},
    {"load.bodies.*.friction", "friction_torque"},
    {"load.bodies.*.breakaway", "breakaway_torque"},
    {"load.bodies.*.law", "kind"},
    {NULL, NULL},
};

const struct sb_old_value sb_old_values[] = {
    {"drive.mode", "speed hold", "speed control"},
    {"load.bodies.*.kind", "rotor", "fan or pump"},
    {NULL, NULL, NULL},
};

enum fit { APART, LEADS, FITS };

/* How a path stands to a pattern: another one, the beginning of it, or it. */
static enum fit fit(const char *pattern, const char *path)
{
  char wanted[STEP_SIZE], step[STEP_SIZE];
  while (pattern != NULL && path != NULL) {
    pattern = sb_tree_path_step(pattern, wanted, sizeof wanted);
    path = sb_tree_path_step(path, step, sizeof step);
    if (strcmp(wanted, "*") != 0 && strcmp(wanted, step) != 0) return APART;
  }
  return path != NULL ? APART : pattern != NULL ? LEADS : FITS;
}

/* The new name of a path's last key, or NULL. *leads: old names may stand below it. */
static const char *find_key(const char *path, bool *leads)
{
  *leads = false;
  for (const struct sb_old_key *key = sb_old_keys; key->path != NULL; key++) {
    const enum fit found = fit(key->path, path);
    if (found == FITS) return key->now;
    *leads |= found == LEADS;
  }
  return NULL;
}

bool sb_old_names_renew(const char *path, char *out, size_t size)
{
  char step[STEP_SIZE];
  bool is_old = false, leads;
  out[0] = 0;
  for (const char *rest = path; rest != NULL;) {
    const size_t length = strlen(out);
    const char *dot = length > 0 ? "." : "";
    rest = sb_tree_path_step(rest, step, sizeof step);
    snprintf(out + length, size - length, "%s%s", dot, step);
    const char *now = find_key(out, &leads);
    if (now == NULL) continue;
    snprintf(out + length, size - length, "%s%s", dot, now);
    is_old = true;
  }
  return is_old;
}

const char *sb_old_names_find(const char *name)
{
  for (const struct sb_old_key *key = sb_old_keys; key->path != NULL; key++) {
    if (strcmp(strrchr(key->path, '.') + 1, name) == 0) return key->now;
  }
  return NULL;
}

static void refuse_value(struct sb_node *node, const char *path, struct sb_fault_list *faults)
{
  for (const struct sb_old_value *value = sb_old_values; value->path != NULL; value++) {
    if (strcmp(value->was, node->text) != 0 || fit(value->path, path) != FITS) continue;
    sb_faults_add(faults, &node->place, path, "\"%s\" is now called %s", value->was, value->now);
    node->kind = SB_NODE_BROKEN;
    return;
  }
}

static void refuse_below(struct sb_node *parent, const char *path, struct sb_fault_list *faults)
{
  int number = 0;
  for (struct sb_node *child = parent->first; child != NULL; child = child->next) {
    char own[PATH_SIZE];
    bool leads;
    const char *dot = path[0] != 0 ? "." : "";
    if (child->key != NULL) {
      snprintf(own, sizeof own, "%.200s%s%.50s", path, dot, child->key);
    } else {
      snprintf(own, sizeof own, "%.200s%s%d", path, dot, ++number);
    }
    const char *now = find_key(own, &leads);
    if (now != NULL) {
      sb_faults_add(faults, &child->key_place, own, "is now called %s", now);
      child->key = now;
      snprintf(own, sizeof own, "%.200s%s%.50s", path, dot, now);
      find_key(own, &leads);
    }
    if (child->kind == SB_NODE_VALUE) refuse_value(child, own, faults);
    if (leads) refuse_below(child, own, faults);
  }
}

void sb_old_names_refuse(struct sb_node *root, struct sb_fault_list *faults)
{
  refuse_below(root, "", faults);
}
