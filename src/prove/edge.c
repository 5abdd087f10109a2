// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/edge.h"

#include <math.h>
#include <stdlib.h>

#include "prove/edge_course.h"

/* Speeds that differ by less than this share of the reference are the same. */
static const double same_speed = 1e-10;

/* A motor's torque less than this share of its stall torque is none. */
static const double same_torque = 1e-9;

static void take_greater(double *greatest, double value)
{
  if (fabs(value) > *greatest) *greatest = fabs(value);
}

/* Beginning and end ---------------------------------------------------------------------------------------------------- */

static void note_output(struct sb_edges *edges, const struct sb_sim *sim)
{
  edges->least_output_rad_s = fmin(edges->least_output_rad_s, sim->state.output_speed_rad_s);
}

void sb_edge_note_mesh(struct sb_edges *edges, const struct sb_sim *sim)
{
  struct sb_edge_meshes *meshes = &edges->meshes;
  const int gear = sim->state.gear;
  if (!sb_sim_is_engaged(sim)) return;
  meshes->least_rad_s[gear] = fmin(meshes->least_rad_s[gear], sim->state.motor_speed_rad_s);
  meshes->most_rad_s[gear] = fmax(meshes->most_rad_s[gear], sim->state.motor_speed_rad_s);
  if (sim->sums.jam_count > 0) meshes->has_jammed = true;
}

/* The motor's torque at a speed and at all lower ones, at least. */
static double least_motor_nm(const struct sb_model *model, double speed_rad_s)
{
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  const double unlimited_nm = line.stall_nm - line.friction_nm - line.slope_nms_rad * speed_rad_s;
  return fmin(unlimited_nm, sb_motor_torque_nm(&line, speed_rad_s));
}

bool sb_edge_can_be_driven(const struct sb_edges *edges, int gear)
{
  const struct sb_model *model = edges->model;
  const struct sb_gear *path = &model->gearbox.gears[gear];
  const double most_rad_s = edges->meshes.most_rad_s[gear], least_nm = sb_edge_least_nm(&edges->load);
  if (edges->meshes.least_rad_s[gear] > most_rad_s) return false; /* it was never engaged */
  if (edges->meshes.has_jammed || edges->meshes.least_rad_s[gear] < 0.0 || least_nm < 0.0) return true;
  const double motor_nm =
      least_motor_nm(model, most_rad_s) - path->drag_nm + same_torque * model->motor.stall_torque_nm;
  const double motor_kg_m2 = fmax(sb_model_engaged_motor_kg_m2(model, gear, false), 0.0);
  return motor_nm * model->load.inertia_kg_m2 / path->ratio + motor_kg_m2 * least_nm < 0.0;
}

/* Torque and current in a gear at a state, of the machine and load that come together the other way round. */
static void look_across(struct sb_edges *edges, int side, int gear, double motor_rad_s, double output_rad_s,
                        double time_s)
{
  if (side >= SB_EDGE_SIDES || edges->lane_count == SB_EDGE_SIDES) return;
  struct sb_sim *sim = &edges->lanes[SB_EDGE_SIDES + side].sim;
  const struct sb_sim_observer observer = sim->observer;
  const struct sb_sim_place place = {gear, motor_rad_s, output_rad_s, time_s};
  sim->observer = (struct sb_sim_observer){NULL, NULL, NULL};
  sb_sim_begin_at(sim, &place);
  take_greater(&edges->extremes.torque_nm, sb_sim_sums(sim)->output_torque_nm.value);
  take_greater(&edges->extremes.current_a, sb_sim_sums(sim)->motor_current_a.value);
  sim->observer = observer;
}

void sb_edge_look_across(struct sb_edges *edges, const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    if (sim != &edges->lanes[side].sim || !sb_sim_is_engaged(sim)) continue;
    look_across(edges, side, state->gear, state->motor_speed_rad_s, state->output_speed_rad_s, state->time_s);
  }
}

static void before_engaging(void *context, const struct sb_sim *sim)
{
  struct sb_edges *edges = context;
  note_output(edges, sim);
  edges->now.engaged_s = sim->state.time_s - edges->command_s;
  edges->now.motor_rad_s = sim->state.motor_speed_rad_s;
  edges->now.output_rad_s = sim->state.output_speed_rad_s;
}

static void on_event(void *context, const struct sb_sim *sim, enum sb_event event)
{
  struct sb_edges *edges = context;
  if (event == SB_EVENT_CLUTCH_SLIPPED) {
    edges->now.has_slipped = true;
    *(sim->state.slip_direction > 0 ? &edges->slips.is_leading : &edges->slips.is_lagging) = true;
  }
  if (event == SB_EVENT_ENGAGED || event == SB_EVENT_CLUTCH_HELD) {
    edges->slips.least_rad_s = fmin(edges->slips.least_rad_s, sim->state.motor_speed_rad_s);
    edges->slips.most_rad_s = fmax(edges->slips.most_rad_s, sim->state.motor_speed_rad_s);
  }
  if (event != SB_EVENT_ENGAGED) return;
  edges->now.joined_rad_s = sim->state.motor_speed_rad_s;
  note_output(edges, sim);
  sb_edge_note_mesh(edges, sim);
  sb_edge_look_across(edges, sim);
}

static enum sb_status init_lane(struct sb_edges *edges, int index, const struct sb_model *const ends[SB_EDGE_SIDES],
                                struct sb_error *err)
{
  struct sb_edge_lane *lane = &edges->lanes[index];
  const int side = index % SB_EDGE_SIDES; /* of the load; a lane across has the other machine */
  lane->model = *ends[index < SB_EDGE_SIDES ? side : 1 - side];
  lane->model.load = ends[side]->load;
  sb_edge_replace_parts(&lane->model.load);
  const enum sb_status status = sb_sim_init(&lane->sim, &lane->model, edges->model->control.start_gear - 1, err);
  if (status != SB_OK) return status;
  lane->sim.observer = (struct sb_sim_observer){edges, on_event, before_engaging};
  return SB_OK;
}

enum sb_status sb_edge_init(struct sb_edges *edges, const struct sb_model *model, struct sb_error *err)
{
  const struct sb_model *const ends[SB_EDGE_SIDES] = {model, model};
  const enum sb_status status = sb_edge_init_between(edges, model, ends, err);
  if (status != SB_OK) return status;
  edges->is_motion_alone = true;
  for (int side = 0; side < SB_EDGE_SIDES; side++) edges->lanes[side].sim.has_few_sums = true;
  return SB_OK;
}

enum sb_status sb_edge_init_between(struct sb_edges *edges, const struct sb_model *model,
                                    const struct sb_model *const ends[SB_EDGE_SIDES], struct sb_error *err)
{
  const struct sb_control *control = &model->control;
  struct sb_reading reading;
  *edges = (struct sb_edges){.model = model, .sample_s = control->sample_period_s};
  for (int g = 0; g < SB_GEAR_MAX; g++) {
    edges->meshes.least_rad_s[g] = INFINITY;
    edges->meshes.most_rad_s[g] = -INFINITY;
  }
  edges->lane_count = ends[0] == ends[1] ? SB_EDGE_SIDES : SB_EDGE_LANES;
  edges->lanes = calloc((size_t)edges->lane_count, sizeof *edges->lanes);
  if (edges->lanes == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the edges of a machine");
  enum sb_status status = sb_sensor_init(&reading, &control->sensor, control->sample_period_s, err);
  if (status == SB_OK) {
    edges->filter_gain = control->sensor.filter_s > 0.0 ? reading.filter_gain : 0.0;
    sb_sensor_clear(&reading);
  }
  for (int lane = 0; lane < edges->lane_count && status == SB_OK; lane++) {
    status = init_lane(edges, lane, ends, err);
  }
  if (status != SB_OK) {
    sb_edge_clear(edges);
    return status;
  }
  const double reference = control->sensor.reference_rad_s;
  edges->sizes = (struct sb_span_sizes){same_speed * reference, edges->filter_gain > 0.0 ? same_speed : INFINITY};
  edges->has_clutch = model->shifter.ops->has_clutch;
  edges->steps_per_sample = edges->lanes[0].sim.samples.of;
  edges->shift_samples_max = (int)fmin(ceil(fmin(model->shifter.timeout_s, 60.0) / edges->sample_s) + 1.0, 1e6);
  const struct sb_edge_load load = sb_edge_load_between(ends);
  sb_edge_bind(edges, &load);
  return SB_OK;
}

void sb_edge_clear(struct sb_edges *edges)
{
  for (int lane = 0; lane < edges->lane_count && edges->lanes != NULL; lane++) {
    sb_sim_clear(&edges->lanes[lane].sim);
  }
  free(edges->lanes);
  edges->lanes = NULL;
}

/* Engaged ------------------------------------------------------------------------------------------------------------ */

double sb_edge_per_motor(const struct sb_edges *edges, int gear)
{
  const struct sb_gear *path = &edges->model->gearbox.gears[gear];
  return path->output_direction / path->ratio;
}

double sb_edge_reading(const struct sb_edges *edges, double motor_rad_s)
{
  return fabs(motor_rad_s) / edges->model->control.sensor.reference_rad_s;
}

struct sb_corner sb_edge_corner(const struct sb_edges *edges, int gear, double motor_rad_s)
{
  return (struct sb_corner){motor_rad_s, motor_rad_s * sb_edge_per_motor(edges, gear),
                            sb_edge_reading(edges, motor_rad_s)};
}

/* No course exceeds these, so that nobody looks for places where speeds and torque turn over. */
static void forgo_extremes(struct sb_sim *sim)
{
  sim->sums.motor_speed_rad_s.value = sim->sums.output_torque_nm.value = INFINITY;
}

void sb_edge_begin(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                   double time_s)
{
  const struct sb_sim_place place = {
      gear, from->motor_rad_s,
      edges->has_clutch ? from->output_rad_s : from->motor_rad_s * sb_edge_per_motor(edges, gear), time_s};
  look_across(edges, (int)side, gear, place.motor_speed_rad_s, place.output_speed_rad_s, time_s);
  struct sb_sim *sim = &edges->lanes[side].sim;
  sb_sim_begin_at(sim, &place);
  if (edges->is_motion_alone) forgo_extremes(sim);
  note_output(edges, sim);
  sb_edge_note_mesh(edges, sim);
}

void sb_edge_advance(struct sb_edges *edges, enum sb_edge_side side, long long step)
{
  struct sb_error err;
  const enum sb_status status = sb_sim_advance(&edges->lanes[side].sim, step, &err);
  if (status == SB_OK || edges->status != SB_OK) return;
  edges->status = status;
  edges->err = err;
}

static void take_extremes(struct sb_edges *edges, struct sb_sim *sim)
{
  const struct sb_sums *sums = sb_sim_sums(sim);
  take_greater(&edges->extremes.torque_nm, sums->output_torque_nm.value);
  take_greater(&edges->extremes.current_a, sums->motor_current_a.value);
  take_greater(&edges->extremes.motor_rad_s, sums->motor_speed_rad_s.value);
  note_output(edges, sim);
  sb_edge_look_across(edges, sim);
}

struct sb_corner sb_edge_finish(struct sb_edges *edges, enum sb_edge_side side)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  sb_edge_note_mesh(edges, sim);
  if (!edges->is_motion_alone) take_extremes(edges, sim);
  return (struct sb_corner){.motor_rad_s = sim->state.motor_speed_rad_s, .output_rad_s = sim->state.output_speed_rad_s};
}

double sb_edge_filter(const struct sb_edges *edges, double filtered, double reading)
{
  return filtered + edges->filter_gain * (reading - filtered);
}

struct sb_corner sb_edge_after(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                               double time_s)
{
  const double step_s = edges->model->run.step_s;
  const double steps = ceil(time_s / step_s - SB_EDGE_SAME_SAMPLE);
  if (!(steps > 0.0)) return *from;
  sb_edge_begin(edges, side, gear, from, fmax(steps * step_s - time_s, 0.0));
  sb_edge_advance(edges, side, (long long)steps);
  struct sb_corner out = sb_edge_finish(edges, side);
  out.filtered = sb_edge_filter(edges, from->filtered, sb_edge_reading(edges, out.motor_rad_s));
  return out;
}

double sb_edge_least_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s)
{
  if (low_rad_s <= 0.0 && high_rad_s >= 0.0) return 0.0;
  return fmin(sb_edge_reading(edges, low_rad_s), sb_edge_reading(edges, high_rad_s));
}

double sb_edge_greatest_reading(const struct sb_edges *edges, double low_rad_s, double high_rad_s)
{
  return fmax(sb_edge_reading(edges, low_rad_s), sb_edge_reading(edges, high_rad_s));
}

bool sb_edge_is_slipping(const struct sb_edges *edges, enum sb_edge_side side)
{
  return edges->lanes[side].sim.state.link == SB_LINK_SLIP || edges->now.has_slipped;
}

void sb_edge_take_instant(struct sb_edges *edges, enum sb_edge_side side, int gear, double motor_rad_s, double time_s)
{
  const struct sb_corner at = sb_edge_corner(edges, gear, motor_rad_s);
  sb_edge_begin(edges, side, gear, &at, time_s);
  (void)sb_edge_finish(edges, side);
}

struct sb_corner sb_edge_limit(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from)
{
  struct sb_sim *sim = &edges->lanes[side].sim;
  const double constant_s = sim->derived.time_constant_s[gear + 1];
  const long long chunk = (long long)fmax(1.0, fmin(ceil(constant_s / sim->step_s), 1e6));
  const struct sb_sim_multiple usual = sim->samples;
  sb_edge_begin(edges, side, gear, from, 0.0);
  sim->samples = (struct sb_sim_multiple){chunk, 0};
  const double close = 1e-4 * edges->sizes.speed_rad_s;
  double last = INFINITY, last_output = INFINITY;
  for (int i = 1; i <= 400; i++) {
    const bool is_slipping = sim->state.link == SB_LINK_SLIP; /* then the output need not rest with the motor */
    if (fabs(sim->state.motor_speed_rad_s - last) <= close &&
        !(is_slipping && fabs(sim->state.output_speed_rad_s - last_output) > close)) {
      break;
    }
    last = sim->state.motor_speed_rad_s;
    last_output = sim->state.output_speed_rad_s;
    sb_edge_advance(edges, side, i * chunk);
    if (edges->status != SB_OK) break;
  }
  sim->samples = usual;
  const struct sb_corner out = sb_edge_finish(edges, side);
  return (struct sb_corner){out.motor_rad_s, out.output_rad_s, sb_edge_reading(edges, out.motor_rad_s)};
}

/* The time within the step that ends at `to` at which a course from a corner at `from` passes a speed. */
static double passing_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                        double motor_rad_s)
{
  const double step_s = edges->model->run.step_s;
  const bool is_rising = from->motor_rad_s < motor_rad_s;
  double low = 0.0, high = step_s;
  for (int i = 0; i < 40; i++) {
    const double middle = 0.5 * (low + high);
    const double speed = sb_edge_after(edges, side, gear, from, middle).motor_rad_s;
    *((speed < motor_rad_s) == is_rising ? &low : &high) = middle;
  }
  return high;
}

double sb_edge_time_s(struct sb_edges *edges, enum sb_edge_side side, int gear, const struct sb_corner *from,
                      double motor_rad_s)
{
  const bool is_rising = from->motor_rad_s < motor_rad_s;
  if (from->motor_rad_s == motor_rad_s) return 0.0;
  const double limit = sb_edge_limit(edges, side, gear, from).motor_rad_s;
  if (is_rising ? !(limit > motor_rad_s) : !(limit < motor_rad_s)) return INFINITY;
  struct sb_sim *sim = &edges->lanes[side].sim;
  struct sb_corner before = *from;
  sb_edge_begin(edges, side, gear, from, 0.0);
  for (long long step = 1; step < 100000000; step++) {
    sb_edge_advance(edges, side, step);
    const double speed = sim->state.motor_speed_rad_s;
    if (is_rising ? speed >= motor_rad_s : speed <= motor_rad_s) {
      return (double)(step - 1) * sim->step_s + passing_s(edges, side, gear, &before, motor_rad_s);
    }
    before = (struct sb_corner){speed, sim->state.output_speed_rad_s, 0.0};
    if (edges->status != SB_OK) break;
  }
  return INFINITY;
}
