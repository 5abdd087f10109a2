// SPDX-License-Identifier: GPL-3.0-or-later
/* The bodies of a load as written: from all of them to parts and inertia of the model's load. */
#include <math.h>

#include "scenario/body_kinds.h"

const struct sb_section *const sb_body_sections[] = {&sb_body_section_vehicle, &sb_body_section_hoist,
                                                     &sb_body_section_fan, &sb_body_section_pump, NULL};

void sb_body_set_kind(void *base, const struct sb_section *kind, const struct sb_node *node)
{
  struct sb_body_draft *draft = base;
  draft->node = node;
  draft->form = kind->kind;
  draft->body.ops = draft->form->ops;
}

static void lower_body(struct sb_reader *reader, const struct sb_body *body, const char *path)
{
  struct sb_model *model = &reader->draft->model;
  const size_t room = sb_body_room(body);
  double *columns = room > 0 ? sb_arena_take(reader->kept, room * sizeof *columns) : NULL;
  if (room > 0 && columns == NULL) {
    reader->is_out_of_memory = true;
    return;
  }
  struct sb_error err;
  if (sb_body_lower(body, columns, &model->load, &err) != SB_OK) {
    sb_reader_fault(reader, path, "%s", err.text);
    return;
  }
  model->bodies[model->body_count++] = *body;
}

/* The inertia may be left to the bodies, but somebody must bring it. */
static void start_inertia(struct sb_reader *reader)
{
  struct sb_load *load = &reader->draft->model.load;
  const struct sb_node *section = sb_tree_find(reader->root, "load");
  if (section == NULL || section->kind != SB_NODE_MAP || sb_tree_find(section, "inertia") != NULL) return;
  const struct sb_node *bodies = sb_tree_find(section, "bodies");
  load->inertia_kg_m2 = 0.0;
  if (bodies != NULL && (bodies->kind != SB_NODE_LIST || bodies->count > 0)) return;
  sb_reader_fault(reader, "load.inertia", "needs %s (%s), found no such key", sb_units_words(SB_INERTIA),
                  sb_units_offered(SB_INERTIA));
}

/* A distance is a vehicle's, and only one vehicle can slip, push or arrive. */
static void check_vehicles(struct sb_reader *reader)
{
  const struct sb_draft *draft = reader->draft;
  int count = 0, with_way = 0;
  for (int i = 0; i < draft->body_count; i++) {
    if (draft->bodies[i].node == NULL) continue;
    const struct sb_vehicle *vehicle = sb_body_as_vehicle(&draft->bodies[i].body);
    if (vehicle == NULL) continue;
    count++;
    const bool has_way = vehicle->static_friction_ratio > 0.0 || vehicle->obstacle_count > 0;
    with_way += has_way;
    if (!has_way || with_way < 2) continue;
    sb_reader_fault(reader, PATH("load.bodies.%d", i + 1),
                    "needs one vehicle with static_friction or obstacles, found another");
  }
  if (!isnan(draft->run_distance_m) && count != 1) {
    sb_reader_fault(reader, "run.distance", "needs one vehicle among load.bodies, found %d", count);
  }
}

void sb_reader_finish_bodies(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  start_inertia(reader);
  for (int i = 0; i < draft->body_count; i++) {
    if (draft->bodies[i].node == NULL || draft->bodies[i].form->finish == NULL) continue;
    draft->bodies[i].form->finish(reader, &draft->bodies[i], PATH("load.bodies.%d", i + 1));
  }
  check_vehicles(reader);
  /* With a fault anywhere there are values missing. */
  if (reader->faults->total > 0 || draft->body_count == 0) return;
  for (int i = 0; i < draft->body_count; i++) {
    lower_body(reader, &draft->bodies[i].body, PATH("load.bodies.%d", i + 1));
  }
  const double inertia = draft->model.load.inertia_kg_m2;
  if (reader->faults->total == 0 && !(inertia >= INERTIA_MIN && inertia <= INERTIA_MAX)) {
    sb_reader_fault(reader, "load.bodies",
                    "needs masses and radii with an inertia of 1e-12 to 1e6 kg.m2 in all, found %.6g kg.m2", inertia);
  }
}
