// SPDX-License-Identifier: GPL-3.0-or-later
/* From the draft's bodies to parts and inertia of the model's load. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scenario/reader.h"

#define INERTIA_MIN 1e-12 /* kg m2, as for load.inertia */
#define INERTIA_MAX 1e6

enum { ROOM_MAX = 6000000 }; /* doubles for one body's tables */

static bool is_given(const struct sb_body_draft *draft, const char *key)
{
  return sb_node_find(draft->node, key) != NULL;
}

static void key_path_of(char out[SB_PATH_SIZE], const char *path, const char *key)
{
  snprintf(out, SB_PATH_SIZE, "%.200s.%s", path, key);
}

static void read_grade(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  const struct sb_node *points = sb_node_find(draft->node, "grade_points");
  const bool has_points = points != NULL;
  struct sb_load_table table = {0};
  key_path_of(key_path, path, has_points ? "grade_points" : "grade_file");
  const struct sb_table_request request = {&sb_table_grade, false, reader->faults, sb_place_of(reader->root, key_path),
                                           reader->kept};
  bool is_fit = false;
  if (has_points) {
    is_fit = sb_reader_read_points(reader, &request, points, key_path, &table);
  } else if (draft->grade_file[0] != 0) {
    is_fit = sb_reader_read_file(reader, &request, draft->grade_file, key_path, &table);
  }
  if (!is_fit) return;
  draft->body.vehicle.grade = (struct sb_grade_table){table.count, table.x, table.torque_nm};
  const size_t room = sb_body_room(&draft->body);
  if (room > ROOM_MAX) {
    sb_reader_fault(reader, key_path, "needs a grade that changes less, at most 2000000 pieces of %g %%, found %zu",
                    100.0 * SB_GRADE_STEP, room / 4);
  }
}

/* Wheels that can slip: sliding friction and something that turns when they do. */
static void finish_grip(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  struct sb_vehicle *vehicle = &draft->body.vehicle;
  if (!is_given(draft, "static_friction")) {
    vehicle->static_friction_ratio = vehicle->kinetic_friction_ratio = 0.0;
    key_path_of(key_path, path, "kinetic_friction");
    if (is_given(draft, "kinetic_friction"))
      sb_reader_fault(reader, key_path, "needs static_friction beside it, found no such key");
    key_path_of(key_path, path, "driven_share");
    if (is_given(draft, "driven_share"))
      sb_reader_fault(reader, key_path, "needs static_friction beside it, found no such key");
    return;
  }
  key_path_of(key_path, path, "kinetic_friction");
  if (!is_given(draft, "kinetic_friction")) {
    vehicle->kinetic_friction_ratio = vehicle->static_friction_ratio;
    sb_reader_resolve(reader, key_path, vehicle->kinetic_friction_ratio);
  } else if (vehicle->kinetic_friction_ratio > vehicle->static_friction_ratio) {
    sb_reader_fault(reader, key_path, "needs at most static_friction (%.10g), found %.10g",
                    vehicle->static_friction_ratio, vehicle->kinetic_friction_ratio);
  }
  const bool has_inertia = vehicle->wheel_inertia_kg_m2 > 0.0 || reader->draft->model.load.inertia_kg_m2 > 0.0;
  key_path_of(key_path, path, "wheel_inertia");
  if (!has_inertia) {
    sb_reader_fault(reader, key_path, "needs more than 0 kg.m2 (or load.inertia) where wheels can slip, found neither");
  }
}

static void finish_obstacles(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  const struct sb_vehicle *vehicle = &draft->body.vehicle;
  for (int i = 1; i < vehicle->obstacle_count; i++) {
    if (!(vehicle->obstacles[i].distance_m <= vehicle->obstacles[i - 1].distance_m)) continue; /* or a fault already */
    snprintf(key_path, sizeof key_path, "%.200s.obstacles.%d.distance", path, i + 1);
    sb_reader_fault(reader, key_path, "needs more than the body before (%.10g m), found %.10g m",
                    vehicle->obstacles[i - 1].distance_m, vehicle->obstacles[i].distance_m);
  }
}

static void finish_way(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  struct sb_vehicle *vehicle = &draft->body.vehicle;
  finish_grip(reader, draft, path);
  finish_obstacles(reader, draft, path);
  vehicle->finish_m = isnan(reader->draft->run_distance_m) ? 0.0 : reader->draft->run_distance_m;
}

static void finish_vehicle(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  struct sb_vehicle *vehicle = &draft->body.vehicle;
  vehicle->grade = (struct sb_grade_table){0};
  const int tables = is_given(draft, "grade_points") + is_given(draft, "grade_file");
  const int given = tables + is_given(draft, "grade");
  if (given > 1) {
    sb_reader_fault(reader, path, "needs one of grade, grade_points and grade_file, found %d of them", given);
    return;
  }
  finish_way(reader, draft, path);
  if (tables > 0) read_grade(reader, draft, path);
  if (given > 0) return;
  vehicle->grade_fraction = 0.0;
  key_path_of(key_path, path, "grade");
  sb_reader_resolve(reader, key_path, 0.0);
}

static void finish_hoist(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  struct sb_hoist *hoist = &draft->body.hoist;
  if (is_given(draft, "breakaway_torque")) return;
  hoist->breakaway_nm = hoist->friction_nm;
  key_path_of(key_path, path, "breakaway_torque");
  sb_reader_resolve(reader, key_path, hoist->breakaway_nm);
}

static void finish_fan(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  (void)reader;
  (void)path;
  draft->body.rotor.static_nm = 0.0;
}

static void finish_pump(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  char key_path[SB_PATH_SIZE];
  const struct sb_rotor *rotor = &draft->body.rotor;
  if (!(rotor->static_nm > rotor->torque_nm)) return;
  key_path_of(key_path, path, "static_torque");
  sb_reader_fault(reader, key_path, "needs at most the whole torque (%.10g N.m), found %.10g N.m", rotor->torque_nm,
                  rotor->static_nm);
}

/* What a kind derives and checks once its keys are read. */
static const struct finisher {
  const char *kind;
  void (*finish)(struct sb_reader *reader, struct sb_body_draft *draft, const char *path);
} finishers[] = {{"vehicle", finish_vehicle}, {"hoist", finish_hoist}, {"fan", finish_fan}, {"pump", finish_pump}};

static void finish_body(struct sb_reader *reader, struct sb_body_draft *draft, const char *path)
{
  for (size_t i = 0; i < sizeof finishers / sizeof finishers[0]; i++) {
    if (strcmp(finishers[i].kind, draft->body.ops->name) == 0) finishers[i].finish(reader, draft, path);
  }
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
  const struct sb_node *section = sb_node_find(reader->root, "load");
  if (section == NULL || section->kind != SB_NODE_MAP || sb_node_find(section, "inertia") != NULL) return;
  const struct sb_node *bodies = sb_node_find(section, "bodies");
  load->inertia_kg_m2 = 0.0;
  if (bodies != NULL && (bodies->kind != SB_NODE_LIST || bodies->count > 0)) return;
  sb_reader_fault(reader, "load.inertia", "needs %s (%s), found no such key", sb_quantity_words(SB_INERTIA),
                  sb_quantity_units(SB_INERTIA));
}

/* A distance is a vehicle's, and only one vehicle can slip, push or arrive. */
static void check_vehicles(struct sb_reader *reader)
{
  const struct sb_draft *draft = reader->draft;
  char path[SB_PATH_SIZE];
  int count = 0, with_way = 0;
  for (int i = 0; i < draft->body_count; i++) {
    const struct sb_body *body = &draft->bodies[i].body;
    if (draft->bodies[i].node == NULL || strcmp(body->ops->name, "vehicle") != 0) continue;
    count++;
    const bool has_way = body->vehicle.static_friction_ratio > 0.0 || body->vehicle.obstacle_count > 0;
    with_way += has_way;
    snprintf(path, sizeof path, "load.bodies.%d", i + 1);
    if (has_way && with_way > 1)
      sb_reader_fault(reader, path, "needs one vehicle with static_friction or obstacles, found another");
  }
  if (!isnan(draft->run_distance_m) && count != 1) {
    sb_reader_fault(reader, "run.distance", "needs one vehicle among load.bodies, found %d", count);
  }
}

void sb_reader_finish_bodies(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  char path[SB_PATH_SIZE];
  start_inertia(reader);
  for (int i = 0; i < draft->body_count; i++) {
    snprintf(path, sizeof path, "load.bodies.%d", i + 1);
    if (draft->bodies[i].node != NULL) finish_body(reader, &draft->bodies[i], path);
  }
  check_vehicles(reader);
  /* With a fault anywhere there are values missing. */
  if (reader->faults->total > 0 || draft->body_count == 0) return;
  for (int i = 0; i < draft->body_count; i++) {
    snprintf(path, sizeof path, "load.bodies.%d", i + 1);
    lower_body(reader, &draft->bodies[i].body, path);
  }
  const double inertia = draft->model.load.inertia_kg_m2;
  if (reader->faults->total == 0 && !(inertia >= INERTIA_MIN && inertia <= INERTIA_MAX)) {
    sb_reader_fault(reader, "load.bodies",
                    "needs masses and radii with an inertia of 1e-12 to 1e6 kg.m2 in all, found %.6g kg.m2", inertia);
  }
}
