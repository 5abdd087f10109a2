// SPDX-License-Identifier: GPL-3.0-or-later
/* Checks of the gearbox: names, ratios, shifter. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

static void fill_efficiencies(struct sb_draft *draft)
{
  for (int g = 0; g < draft->model.gearbox.gear_count; g++) {
    struct sb_gear *gear = &draft->model.gearbox.gears[g];
    if (isnan(gear->back_efficiency)) gear->back_efficiency = draft->back_efficiency;
    for (int m = 0; m < gear->mesh_count; m++) {
      if (isnan(gear->meshes[m].efficiency)) gear->meshes[m].efficiency = draft->mesh_efficiency;
    }
  }
}

static void check_names(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  char path[64], quoted[SB_QUOTE_SIZE];
  for (int g = 1; g < gearbox->gear_count; g++) {
    const char *name = gearbox->gears[g].name;
    const int first = sb_gearbox_find(gearbox, name);
    if (name[0] == 0 || first == g) continue;
    snprintf(path, sizeof path, "gearbox.gears.%d.name", g + 1);
    sb_reader_fault(reader, path, "needs a name of its own, found %s, the name of gear %d", sb_quote(quoted, name),
                    first + 1);
  }
}

static void check_ratios(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  char path[64];
  for (int g = 1; g < gearbox->gear_count; g++) {
    const double ratio = gearbox->gears[g].ratio, before = gearbox->gears[g - 1].ratio;
    const bool has_both = gearbox->gears[g].mesh_count > 0 && gearbox->gears[g - 1].mesh_count > 0;
    if (!has_both || !(ratio >= before)) continue;
    snprintf(path, sizeof path, "gearbox.gears.%d", g + 1);
    sb_reader_fault(reader, path, "needs a ratio below that of gear %d (%.6g), since gear 1 is the slowest, found %.6g",
                    g, before, ratio);
  }
}

static void check_shifter(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  const struct sb_gearbox *gearbox = &model->gearbox;
  const struct sb_node *node = sb_node_find(sb_node_find(reader->root, "gearbox"), "shifter");
  if (node == NULL && gearbox->gear_count > 1) {
    sb_reader_fault(reader, "gearbox.shifter", "needs a section with a kind for two or more gears, found no such key");
  }
  if (node == NULL) {
    /* One gear never shifts: any shifter will do. */
    model->shifter = (struct sb_shifter){.ops = sb_shifter_kind_find("selector"), .timeout_s = 2.0};
    return;
  }
  if (gearbox->gear_count == 0 || model->shifter.ops == NULL || !model->shifter.ops->is_direction_selected) return;
  if (gearbox->gear_count != 2) {
    sb_reader_fault(reader, "gearbox.shifter", "needs two gears for a %s, found %d", model->shifter.ops->name,
                    gearbox->gear_count);
  } else if (gearbox->gears[0].motor_direction == gearbox->gears[1].motor_direction &&
             gearbox->gears[0].motor_direction != 0) {
    sb_reader_fault(reader, "gearbox.shifter", "needs gears of opposite motor_direction for a %s, found %s in both",
                    model->shifter.ops->name, gearbox->gears[0].motor_direction > 0 ? "forward" : "reverse");
  }
}

void sb_reader_finish_gearbox(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  fill_efficiencies(draft);
  sb_gearbox_derive(&draft->model.gearbox);
  check_names(reader);
  check_ratios(reader);
  if (sb_node_find(sb_node_find(reader->root, "gearbox"), "gears") != NULL) check_shifter(reader);
}
