// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * Stages of a vehicle's way: alone at the start, then from each body on with all that it pushes by then, and the steepest
 * place before the next where it asks for more. A stage asks for
 * what holds vehicle and bodies at rest there, since wheels that have stopped before a body have to start it.
 */
#include "check/obstacles.h"

#include <math.h>
#include <string.h>

#include "text/words.h"

enum fate { GOES, STALLS, SLIPS };

static const char *const fates[] = {"goes", "stalls", "slips"};

struct stage {
  double distance_m;
  bool is_steepest;         /* of the stretch that begins at a body, or at the start, where that is less steep */
  struct sb_road_need need; /* at the wheels, N m */
};

/* The one that slips, pushes or arrives: there is no other then. */
static const struct sb_vehicle *vehicle_of(const struct sb_model *model)
{
  if (!model->load.road.can_slip && model->load.road.obstacle_count == 0) return NULL;
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_vehicle *vehicle = sb_body_as_vehicle(&model->bodies[i]);
    if (vehicle == NULL) continue;
    if (vehicle->static_friction_ratio > 0.0 || vehicle->obstacle_count > 0) return vehicle;
  }
  return NULL;
}

/* Linear between points; at a jump the value behind it. */
static double grade_at(const struct sb_vehicle *vehicle, double distance_m)
{
  const struct sb_grade_table *grade = &vehicle->grade;
  if (grade->count == 0) return vehicle->grade_fraction;
  if (distance_m < grade->distance_m[0]) return grade->grade_fraction[0];
  size_t last = 0;
  while (last + 1 < grade->count && grade->distance_m[last + 1] <= distance_m) last++;
  if (last + 1 == grade->count) return grade->grade_fraction[last];
  const double share = (distance_m - grade->distance_m[last]) / (grade->distance_m[last + 1] - grade->distance_m[last]);
  return grade->grade_fraction[last] + share * (grade->grade_fraction[last + 1] - grade->grade_fraction[last]);
}

static struct stage stage_at(const struct sb_model *model, const struct sb_vehicle *vehicle, int number,
                             double distance_m, double grade)
{
  struct stage stage = {.distance_m = distance_m};
  const double tilt = atan(grade);
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * vehicle->wheel_radius_m;
  stage.need.own_nm = weight_nm * (sin(tilt) + vehicle->rolling_resistance_ratio * cos(tilt));
  const struct sb_road *road = &model->load.road;
  const double hold_nm = sb_road_pushed_hold_nm(road, number) * cos(tilt);
  const double bodies_nm = sb_road_pushed_nm(road, number, hold_nm, weight_nm * sin(tilt));
  stage.need.whole_nm = stage.need.own_nm + fmax(0.0, bodies_nm); /* bodies never pull */
  stage.need.press_nm = vehicle->driven_share * weight_nm * cos(tilt);
  return stage;
}

/* number 0: alone. */
static struct stage stage_of(const struct sb_model *model, const struct sb_vehicle *vehicle, int number)
{
  const double distance_m = number > 0 ? vehicle->obstacles[number - 1].distance_m : 0.0;
  return stage_at(model, vehicle, number, distance_m, grade_at(vehicle, distance_m));
}

/* Where the way up to the next body, or to its end, asks for the most. Between two points of the grade it is one of them. */
static struct stage steepest_of(const struct sb_model *model, const struct sb_vehicle *vehicle, int number)
{
  const struct sb_grade_table *grade = &vehicle->grade;
  struct stage steepest = stage_of(model, vehicle, number);
  const double from_m = steepest.distance_m;
  double end_m = vehicle->finish_m > 0.0 ? vehicle->finish_m : INFINITY;
  if (number < vehicle->obstacle_count) end_m = fmin(end_m, vehicle->obstacles[number].distance_m);
  for (size_t k = 0; k <= grade->count; k++) {
    const bool is_end = k == grade->count;
    const double place_m = is_end ? end_m : grade->distance_m[k];
    if (!(place_m > from_m) || !isfinite(place_m) || (!is_end && place_m >= end_m)) continue;
    const double here = is_end ? grade_at(vehicle, nextafter(end_m, 0.0)) : grade->grade_fraction[k];
    const struct stage stage = stage_at(model, vehicle, number, place_m, here);
    if (!(stage.need.whole_nm > steepest.need.whole_nm)) continue;
    steepest = stage;
    steepest.is_steepest = true;
  }
  return steepest;
}

/* Number of a vehicle's stages, two a body at most: where it is met, and the steepest stretch behind it. */
enum { STAGE_MAX = 2 * (SB_OBSTACLE_MAX + 1) };

struct stages {
  int count;
  struct stage items[STAGE_MAX];
  int bodies[STAGE_MAX]; /* pushed there */
};

static void add_stage(struct stages *stages, const struct stage *stage, int number)
{
  stages->items[stages->count] = *stage;
  stages->bodies[stages->count++] = number;
}

static struct stages list_stages(const struct sb_model *model, const struct sb_vehicle *vehicle)
{
  struct stages stages = {.count = 0};
  for (int number = 0; number <= vehicle->obstacle_count; number++) {
    const struct stage first = stage_of(model, vehicle, number), steepest = steepest_of(model, vehicle, number);
    add_stage(&stages, &first, number);
    if (steepest.is_steepest) add_stage(&stages, &steepest, number);
  }
  return stages;
}

static enum fate fate_of(const struct sb_road *road, const struct sb_road_need *need, double stall_nm)
{
  const double carried_nm = road->can_slip ? road->kinetic_friction_ratio * need->press_nm : INFINITY;
  if (need->whole_nm < fmin(stall_nm, carried_nm)) return GOES;
  return stall_nm > carried_nm ? SLIPS : STALLS;
}

static void say_ground(const struct sb_check_case *at, const struct sb_vehicle *vehicle, FILE *out)
{
  const struct sb_road *road = &at->model.load.road;
  const double press_nm = stage_of(&at->model, vehicle, 0).need.press_nm, radius_m = vehicle->wheel_radius_m;
  const double most_nm = road->static_friction_ratio * press_nm, sliding_nm = road->kinetic_friction_ratio * press_nm;
  if (!road->can_slip) {
    sb_words_say(out, 2, 4, "Without `static_friction` the ground is taken to carry any push.");
    return;
  }
  sb_words_say(out, 2, 4,
               "The ground carries a push of %s N at the start, %s N.m at the output, and %s N once the wheels slip.",
               NUM(most_nm / radius_m), NUM(most_nm), NUM(sliding_nm / radius_m));
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const double stall_nm = at->form.gears[g].stall_torque_nm;
    const char *name = at->model.gearbox.gears[g].name;
    if (stall_nm > most_nm) {
      sb_words_say(out, 2, 4, "%s could push up to %s N: beyond what the ground carries it only turns its wheels.",
                   name, NUM(stall_nm / radius_m));
    } else {
      sb_words_say(out, 2, 4, "%s pushes up to %s N: it stalls before its wheels slip.", name,
                   NUM(stall_nm / radius_m));
    }
  }
}

static void write_stages(const struct sb_check_case *at, const struct sb_vehicle *vehicle, FILE *out)
{
  const struct sb_road *road = &at->model.load.road;
  const int gear_count = at->model.gearbox.gear_count;
  fprintf(out, "  ");
  sb_words_cell(out, 10, "%s", "");
  sb_words_cell(out, 12, "from");
  sb_words_cell(out, 14, "needs");
  for (int g = 0; g < gear_count; g++)
    sb_words_cell(out, g + 1 < gear_count ? 12 : 0, "%s", at->model.gearbox.gears[g].name);
  fputc('\n', out);
  const struct stages stages = list_stages(&at->model, vehicle);
  for (int k = 0; k < stages.count; k++) {
    const struct stage *stage = &stages.items[k];
    fprintf(out, "  ");
    if (stage->is_steepest) {
      sb_words_cell(out, 10, "steepest");
    } else if (stages.bodies[k] == 0) {
      sb_words_cell(out, 10, "alone");
    } else {
      sb_words_cell(out, 10, "body %d", stages.bodies[k]);
    }
    sb_words_cell(out, 12, "%s m", NUM(stage->distance_m));
    sb_words_cell(out, 14, "%s N", NUM(stage->need.whole_nm / vehicle->wheel_radius_m));
    for (int g = 0; g < gear_count; g++) {
      sb_words_cell(out, g + 1 < gear_count ? 12 : 0, "%s",
                    fates[fate_of(road, &stage->need, at->form.gears[g].stall_torque_nm)]);
    }
    fputc('\n', out);
  }
}

/* The ballast for the stage that asks for the most of it. */
static void say_ballast(const struct sb_check_case *at, const struct sb_vehicle *vehicle, FILE *out)
{
  double most_kg = 0.0;
  if (!at->model.load.road.can_slip) return;
  const struct stages stages = list_stages(&at->model, vehicle);
  for (int k = 0; k < stages.count; k++) {
    most_kg = fmax(most_kg, sb_road_ballast_kg(&at->model.load.road, &stages.items[k].need));
  }
  if (most_kg == 0.0) return;
  if (isinf(most_kg)) {
    sb_words_say(out, 2, 4, "No ballast lets the wheels push it all: it adds more resistance than grip.");
  } else {
    sb_words_say(out, 2, 4,
                 "More than %s kg of ballast on the driven wheels lets them push all of it; another gear does not.",
                 NUM(most_kg));
  }
}

void sb_check_write_way(const struct sb_check_case *at, FILE *out)
{
  const struct sb_vehicle *vehicle = vehicle_of(&at->model);
  if (vehicle == NULL) return;
  fprintf(out, "\nWay of the vehicle\n");
  say_ground(at, vehicle, out);
  write_stages(at, vehicle, out);
  say_ballast(at, vehicle, out);
  if (vehicle->finish_m > 0.0) sb_words_say(out, 2, 4, "The run ends at %s m.", NUM(vehicle->finish_m));
}

/* JSON ------------------------------------------------------------------------------------------------------------------- */

static void put_stage(struct sb_json *json, const struct sb_check_case *at, const struct sb_vehicle *vehicle,
                      const struct stages *stages, int k)
{
  const struct sb_road *road = &at->model.load.road;
  const struct stage stage = stages->items[k];
  const double radius_m = vehicle->wheel_radius_m;
  sb_json_open_object(json);
  sb_json_put_integer(json, "bodies", stages->bodies[k]);
  sb_json_put_boolean(json, "is_steepest", stage.is_steepest);
  sb_json_put_number(json, "distance_m", stage.distance_m);
  sb_json_put_number(json, "need_n", stage.need.whole_nm / radius_m);
  sb_json_put_number(json, "ballast_kg", road->can_slip ? sb_road_ballast_kg(road, &stage.need) : 0.0);
  sb_json_put_object(json, "gears");
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    sb_json_put_string(json, at->model.gearbox.gears[g].name,
                       fates[fate_of(road, &stage.need, at->form.gears[g].stall_torque_nm)]);
  }
  sb_json_close(json);
  sb_json_close(json);
}

void sb_check_put_way(struct sb_json *json, const struct sb_check_case *at)
{
  const struct sb_vehicle *vehicle = vehicle_of(&at->model);
  if (vehicle == NULL) {
    sb_json_put_null(json, "way");
    return;
  }
  const struct sb_road *road = &at->model.load.road;
  const double press_n = stage_of(&at->model, vehicle, 0).need.press_nm / vehicle->wheel_radius_m;
  sb_json_put_object(json, "way");
  sb_json_put_number(json, "carried_push_n", road->can_slip ? road->static_friction_ratio * press_n : (double)NAN);
  sb_json_put_number(json, "slipping_push_n", road->can_slip ? road->kinetic_friction_ratio * press_n : (double)NAN);
  sb_json_put_object(json, "stall_push_n");
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    sb_json_put_number(json, at->model.gearbox.gears[g].name,
                       at->form.gears[g].stall_torque_nm / vehicle->wheel_radius_m);
  }
  sb_json_close(json);
  sb_json_put_array(json, "stages");
  const struct stages stages = list_stages(&at->model, vehicle);
  for (int k = 0; k < stages.count; k++) put_stage(json, at, vehicle, &stages, k);
  sb_json_close(json);
  sb_json_put_number(json, "end_m", vehicle->finish_m > 0.0 ? vehicle->finish_m : (double)NAN);
  sb_json_close(json);
}
