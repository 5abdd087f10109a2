// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * obstacles.c - stages of a vehicle: alone at the start, then from each body on with all that it pushes by then, and the
 * steepest place of the stretch behind, where the vehicle needs more there. A stage needs the push that moves vehicle and
 * bodies from rest there, since wheels that have stopped before a body have to start it.
 */
#include <math.h>

#include "check/parts.h"

/* A vehicle on its road. */
struct journey {
  const struct sb_vehicle *vehicle;
  const struct sb_road *road;
};

/* A stage in torques at the wheels. */
struct place {
  double distance_m;
  struct sb_road_need need;
};

/* The vehicle that slips, pushes or arrives: there is no other one then. */
static const struct sb_vehicle *vehicle_of(const struct sb_model *model)
{
  if (!model->load.road.can_slip && model->load.road.obstacle_count == 0) return NULL;
  for (int i = 0; i < model->body_count; i++) {
    const struct sb_vehicle *vehicle = sb_body_as_vehicle(&model->bodies[i]);
    if (vehicle != NULL && (vehicle->static_friction_ratio > 0.0 || vehicle->obstacle_count > 0)) return vehicle;
  }
  return NULL;
}

/* Linear between points; at a jump the value behind it. */
static double grade_at(const struct sb_vehicle *vehicle, double distance_m)
{
  const struct sb_table *grade = &vehicle->grade;
  if (grade->count == 0) return vehicle->grade_fraction;
  if (distance_m < grade->x[0]) return grade->y[0];
  size_t last = 0;
  while (last + 1 < grade->count && grade->x[last + 1] <= distance_m) last++;
  if (last + 1 == grade->count) return grade->y[last];
  const double share = (distance_m - grade->x[last]) / (grade->x[last + 1] - grade->x[last]);
  return grade->y[last] + share * (grade->y[last + 1] - grade->y[last]);
}

static struct place place_at(const struct journey *journey, int bodies, double distance_m, double grade)
{
  const struct sb_vehicle *vehicle = journey->vehicle;
  const double tilt = atan(grade);
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * vehicle->wheel_radius_m;
  const double own_nm = weight_nm * (sin(tilt) + vehicle->rolling_resistance_ratio * cos(tilt));
  const double hold_nm = sb_road_pushed_hold_nm(journey->road, bodies) * cos(tilt);
  const double bodies_nm = sb_road_pushed_nm(journey->road, bodies, hold_nm, weight_nm * sin(tilt));
  return (struct place){distance_m,
                        {.own_nm = own_nm,
                         .whole_nm = own_nm + fmax(0.0, bodies_nm), /* bodies never pull */
                         .press_nm = vehicle->driven_share * weight_nm * cos(tilt)}};
}

/* Where so many bodies begin to be pushed; 0: alone. */
static struct place first_place(const struct journey *journey, int bodies)
{
  const double distance_m = bodies > 0 ? journey->vehicle->obstacles[bodies - 1].distance_m : 0.0;
  return place_at(journey, bodies, distance_m, grade_at(journey->vehicle, distance_m));
}

/* The grade that asks for most: beyond it what presses on the ground, and rubs there, shrinks faster than the weight along the
 * road grows. INFINITY: nothing rubs. */
static double hardest_grade(const struct journey *journey, int bodies)
{
  const struct sb_vehicle *vehicle = journey->vehicle;
  const double weight_nm = vehicle->mass_kg * vehicle->gravity_m_s2 * vehicle->wheel_radius_m;
  const double along_nm = weight_nm + sb_road_pushed_nm(journey->road, bodies, 0.0, weight_nm);
  return along_nm / (vehicle->rolling_resistance_ratio * weight_nm + sb_road_pushed_hold_nm(journey->road, bodies));
}

/* A part of the way with so many bodies, and the place in it with the greatest need so far. */
struct stage_way {
  const struct journey *journey;
  int bodies;
  double from_m, end_m;
  struct place steepest;
};

/* One place more, if it lies on that part. */
static void consider(struct stage_way *way, double place_m, double grade)
{
  if (!(place_m > way->from_m) || !(place_m < way->end_m)) return;
  const struct place place = place_at(way->journey, way->bodies, place_m, grade);
  if (place.need.whole_nm > way->steepest.need.whole_nm) way->steepest = place;
}

/* The place up to the next body, or to the end, with the greatest need: the end, a point of the grade or, between two points, the
 * hardest grade. */
static struct place steepest_place(const struct journey *journey, int bodies)
{
  const struct sb_vehicle *vehicle = journey->vehicle;
  const struct sb_table *grade = &vehicle->grade;
  const double hardest = hardest_grade(journey, bodies);
  struct stage_way way = {journey, bodies, 0.0, INFINITY, first_place(journey, bodies)};
  way.from_m = way.steepest.distance_m;
  if (vehicle->finish_m > 0.0) way.end_m = vehicle->finish_m;
  if (bodies < vehicle->obstacle_count) way.end_m = fmin(way.end_m, vehicle->obstacles[bodies].distance_m);
  for (size_t k = 0; k < grade->count; k++) {
    consider(&way, grade->x[k], grade->y[k]);
    if (k == 0 || !((hardest - grade->y[k - 1]) * (hardest - grade->y[k]) < 0.0)) continue;
    const double share = (hardest - grade->y[k - 1]) / (grade->y[k] - grade->y[k - 1]);
    consider(&way, grade->x[k - 1] + share * (grade->x[k] - grade->x[k - 1]), hardest);
  }
  if (!isfinite(way.end_m) || !(way.end_m > way.from_m)) return way.steepest;
  const struct place end = place_at(journey, bodies, way.end_m, grade_at(vehicle, nextafter(way.end_m, 0.0)));
  return end.need.whole_nm > way.steepest.need.whole_nm ? end : way.steepest;
}

static enum sb_check_fate fate_of(const struct sb_road *road, const struct sb_road_need *need, double stall_nm)
{
  const double carried_nm = road->can_slip ? road->kinetic_friction_ratio * need->press_nm : INFINITY;
  if (need->whole_nm < fmin(stall_nm, carried_nm)) return SB_FATE_GOES;
  return stall_nm > carried_nm ? SB_FATE_SLIPS : SB_FATE_STALLS;
}

static void add_stage(const struct sb_check_machine *machine, const struct journey *journey, const struct place *place,
                      int bodies, bool is_steepest, struct sb_check_vehicle *out)
{
  const struct sb_road *road = journey->road;
  struct sb_check_stage *stage = &out->stages[out->stage_count++];
  *stage = (struct sb_check_stage){.bodies = bodies,
                                   .is_steepest = is_steepest,
                                   .distance_m = place->distance_m,
                                   .need_n = place->need.whole_nm / journey->vehicle->wheel_radius_m,
                                   .ballast_kg = road->can_slip ? sb_road_ballast_kg(road, &place->need) : 0.0};
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) {
    stage->fates[g] = fate_of(road, &place->need, machine->form.gears[g].stall_torque_nm);
  }
  out->ballast_kg = fmax(out->ballast_kg, stage->ballast_kg);
}

static void find_ground(const struct sb_check_machine *machine, const struct journey *journey,
                        struct sb_check_vehicle *out)
{
  const struct sb_road *road = journey->road;
  const double press_nm = first_place(journey, 0).need.press_nm, radius_m = journey->vehicle->wheel_radius_m;
  const double carried_nm = road->static_friction_ratio * press_nm;
  out->can_slip = road->can_slip;
  out->carried_push_n = road->can_slip ? carried_nm / radius_m : (double)NAN;
  out->carried_torque_nm = road->can_slip ? carried_nm : (double)NAN;
  out->slipping_push_n = road->can_slip ? road->kinetic_friction_ratio * press_nm / radius_m : (double)NAN;
  for (int g = 0; g < machine->model->gearbox.gear_count; g++) {
    const double stall_nm = machine->form.gears[g].stall_torque_nm;
    out->stall_push_n[g] = stall_nm / radius_m;
    out->is_slipping[g] = road->can_slip && stall_nm > carried_nm;
  }
}

void sb_check_find_vehicle(const struct sb_check_machine *machine, struct sb_check_vehicle *out)
{
  const struct journey journey = {vehicle_of(machine->model), &machine->model->load.road};
  out->is_present = journey.vehicle != NULL;
  if (!out->is_present) return;
  out->end_m = journey.vehicle->finish_m > 0.0 ? journey.vehicle->finish_m : (double)NAN;
  find_ground(machine, &journey, out);
  for (int bodies = 0; bodies <= journey.vehicle->obstacle_count; bodies++) {
    const struct place first = first_place(&journey, bodies), steepest = steepest_place(&journey, bodies);
    add_stage(machine, &journey, &first, bodies, false, out);
    if (steepest.distance_m > first.distance_m) add_stage(machine, &journey, &steepest, bodies, true, out);
  }
}
