// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/sim.h"

#include <gsl/gsl_roots.h>
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include "base/constants.h"
#include "base/gsl_quiet.h"
#include "base/shortage.h"
#include "sim/clutch.h"
#include "sim/contact.h"
#include "sim/feed.h"
#include "sim/point.h"
#include "sim/pulses.h"
#include "sim/segment.h"
#include "sim/spring.h"
#include "sim/stretch.h"

/* Instants closer than this fraction of a step are one instant. */
static const double same_instant = 1e-9;

/* So many events without any time passing mean that the model contradicts itself. */
enum { EVENTS_AT_ONCE_MAX = 200 };

double sb_sim_grid_s(const struct sb_sim *sim, long long step)
{
  return sim->steps_per_s > 0.0 ? (double)step / sim->steps_per_s : (double)step * sim->step_s;
}

static int sense_of(const struct sb_sim *sim, int gear)
{
  return sim->model->gearbox.gears[gear].motor_direction;
}

/* The segment is another one from here on. */
static void drop_stretch(struct sb_sim *sim)
{
  sim->stretch->is_under_way = sim->stretch->is_gain_due = false;
}

void sb_sim_restore(struct sb_sim *sim, const struct sb_state *state)
{
  sim->state = *state;
  drop_stretch(sim);
  sb_segment_resume(sim);
}

/* Of the segment and the stretch what changes while they go on. */
struct sb_sim_kept {
  struct sb_state state;
  struct sb_sums sums;
  char booked[sizeof(struct sb_segment) - offsetof(struct sb_segment, gain)];
  double spring_start_j;
  char stretch[offsetof(struct sb_stretch, motion)];
};

struct sb_sim_kept *sb_sim_kept_new(void)
{
  return calloc(1, sizeof(struct sb_sim_kept));
}

void sb_sim_keep(const struct sb_sim *sim, struct sb_sim_kept *kept)
{
  kept->state = sim->state;
  kept->sums = sim->sums;
  memcpy(kept->booked, (const char *)sim->segment + offsetof(struct sb_segment, gain), sizeof kept->booked);
  kept->spring_start_j = sim->segment->spring.start_j;
  memcpy(kept->stretch, sim->stretch, sizeof kept->stretch);
}

void sb_sim_take_back(struct sb_sim *sim, const struct sb_sim_kept *kept)
{
  sim->state = kept->state;
  sim->sums = kept->sums;
  memcpy((char *)sim->segment + offsetof(struct sb_segment, gain), kept->booked, sizeof kept->booked);
  sim->segment->spring.start_j = kept->spring_start_j;
  memcpy(sim->stretch, kept->stretch, sizeof kept->stretch);
}

bool sb_sim_is_engaged(const struct sb_sim *sim)
{
  return sb_segment_is_engaged(sim);
}

static void notify(struct sb_sim *sim, enum sb_event event)
{
  if (sim->observer.on_event != NULL) sim->observer.on_event(sim->observer.context, sim, event);
}

bool sb_sim_is_deciding(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return sb_sim_is_engaged(sim) && sb_feed_is_on(sim) && state->step >= state->feed.ready_step &&
         !state->far.is_finished;
}

static double kinetic_j(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  return 0.5 * seg->motor_inertia * state->motor_speed_rad_s * state->motor_speed_rad_s +
         0.5 * seg->output_inertia * state->output_speed_rad_s * state->output_speed_rad_s +
         0.5 * seg->far.inertia * state->far.speed_rad_s * state->far.speed_rad_s;
}

/* What observers are told of when it changes. */
struct seen {
  bool is_standing, is_slipping, is_clutch_slipping, is_finished;
  int met_count;
};

/* While a gear is engaged. */
static bool is_clutch_slipping(const struct sb_sim *sim)
{
  return sim->state.link == SB_LINK_SLIP && !sim->state.is_shifting;
}

static struct seen look(const struct sb_sim *sim)
{
  const struct sb_far *far = &sim->state.far;
  return (struct seen){sb_segment_is_standing(sim), far->is_slipping != 0, is_clutch_slipping(sim),
                       far->is_finished != 0, far->met_count};
}

static void tell(struct sb_sim *sim, const struct seen *before)
{
  const struct seen now = look(sim);
  if (!before->is_standing && now.is_standing) notify(sim, SB_EVENT_STOPPED);
  if (before->is_standing && !now.is_standing) notify(sim, SB_EVENT_STARTED);
  if (!before->is_clutch_slipping && now.is_clutch_slipping) notify(sim, SB_EVENT_CLUTCH_SLIPPED);
  if (before->is_clutch_slipping && !now.is_clutch_slipping) notify(sim, SB_EVENT_CLUTCH_HELD);
  if (now.met_count != before->met_count) notify(sim, SB_EVENT_MET);
  if (now.is_slipping != before->is_slipping) notify(sim, now.is_slipping ? SB_EVENT_SLIPPED : SB_EVENT_GRIPPED);
  if (now.is_finished && !before->is_finished) notify(sim, SB_EVENT_FINISHED);
}

/* Starts a new segment, unless all has ended. */
static void begin_segment(struct sb_sim *sim)
{
  drop_stretch(sim);
  if (!sim->state.far.is_finished) sb_segment_begin(sim);
  sb_stretch_raise_speeds(sim);
  sb_stretch_raise_torque(sim);
}

/* Inelastic joining of motor and output through the gear pair; the meshes lose nothing in it. */
static void join(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const double r = sim->segment->per_motor;
  const double jm = sim->segment->motor_inertia;
  const bool has_road = sim->model->load.road.is_present;
  const double output_inertia = has_road ? sb_contact_jolt_inertia(sim) : sim->segment->output_inertia;
  const double jo = output_inertia * r * r;
  const double slip = state->motor_speed_rad_s - state->output_speed_rad_s / r;
  const double joined = (jm * state->motor_speed_rad_s + jo * (state->output_speed_rad_s / r)) / (jm + jo);
  const double impulse = output_inertia * (joined * r - state->output_speed_rad_s);
  sim->sums.energy.shift_loss += 0.5 * jm * jo / (jm + jo) * slip * slip;
  if (fabs(impulse) > fabs(sim->sums.greatest_impulse_nms)) sim->sums.greatest_impulse_nms = impulse;
  state->motor_speed_rad_s = joined;
  state->output_speed_rad_s = joined * r;
}

/* Motor and gears turn as one from here on: at once, or through a shaft that gives. */
static void close_link(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  if (!sim->model->driveshaft.is_present) {
    join(sim);
  } else if (state->link == SB_LINK_OPEN) {
    sb_spring_take_wheels(sim);
    sb_spring_engage(sim);
  } /* a clutch that slipped hands over a shaft that is wound already */
  state->link = SB_LINK_MESH;
  state->plan = (struct sb_shift_plan){0};
  if (!state->is_shifting) state->slip_direction = 0;
}

/* A shift has come to its end. A clutch whose sides have met may be too weak to hold them: it slips on, engaged. */
static void engage(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  if (sim->observer.before_engaging != NULL) sim->observer.before_engaging(sim->observer.context, sim);
  sb_stretch_raise_speeds(sim);
  sb_segment_book(sim);
  /* A clutch before a shaft holds until the shaft bears more than it can; its sides have not met yet. */
  state->is_shifting = state->link == SB_LINK_OPEN && state->plan.clutch_nm > 0.0 && state->slip_direction != 0;
  if (state->link != SB_LINK_SLIP || sb_clutch_holds(sim)) close_link(sim);
  state->turned_rad = 0.0;
  state->is_turned = 0;
  sim->sums.joined_s = state->time_s;
  begin_segment(sim);
  notify(sim, SB_EVENT_ENGAGED);
}

/* The sides of a slipping clutch have met. */
static void meet(struct sb_sim *sim)
{
  if (sim->state.is_shifting) {
    engage(sim);
    return;
  }
  if (sb_clutch_holds(sim)) close_link(sim);
  begin_segment(sim);
}

/* Engages at once when nothing is left to wait for; else goes on in neutral. now_s: the present instant as planned. */
static void go_on_in_neutral(struct sb_sim *sim, double now_s)
{
  struct sb_state *state = &sim->state;
  const bool is_due = state->plan.engage_time_s <= now_s;
  const bool is_turned_enough = state->is_turned && state->turned_rad >= state->plan.engage_turn_rad;
  if (sb_clutch_has_met(sim)) {
    meet(sim);
  } else if (is_due || is_turned_enough) {
    engage(sim);
  } else {
    begin_segment(sim);
  }
}

void sb_sim_command(struct sb_sim *sim, int gear)
{
  struct sb_state *state = &sim->state;
  if (gear == state->gear) return;
  sb_segment_book(sim);
  sb_stretch_raise_speeds(sim);
  const double energy_j = sb_spring_release(sim);
  sim->sums.energy.shift_loss += energy_j;
  sim->sums.energy.elastic -= energy_j;

  /* The same motion in the sense of the new gear; adding zero keeps a zero without sign. */
  state->motor_speed_rad_s = state->motor_speed_rad_s * sense_of(sim, state->gear) * sense_of(sim, gear) + 0.0;
  state->gear = gear;
  state->is_shifting = 1;
  state->plan = sim->model->shifter.ops->plan(&sim->model->shifter, state->time_s);
  /* A clutch before a shaft that gives holds until the shaft bears more than it can. */
  const bool is_held = state->plan.clutch_nm > 0.0 && sim->model->driveshaft.is_present;
  state->link = state->plan.clutch_nm > 0.0 && !is_held ? SB_LINK_SLIP : SB_LINK_OPEN;
  state->turned_rad = 0.0;
  state->is_turned = state->motor_speed_rad_s >= 0.0;

  const struct sb_gear *next = &sim->model->gearbox.gears[gear];
  const double lead = state->motor_speed_rad_s - state->output_speed_rad_s * next->ratio * next->output_direction;
  state->slip_direction = sb_sign_of(lead);
  drop_stretch(sim);
  sb_segment_begin(sim);
  notify(sim, SB_EVENT_COMMAND);
  const struct seen before = look(sim);
  if (is_held) {
    engage(sim);
  } else {
    go_on_in_neutral(sim, state->time_s);
  }
  tell(sim, &before);
}

/* After the state has changed at the present instant: a new segment, and everybody is told. */
static void go_on(struct sb_sim *sim, const struct seen *before, double now_s)
{
  if (sim->state.link == SB_LINK_MESH) {
    begin_segment(sim);
  } else {
    go_on_in_neutral(sim, now_s);
  }
  tell(sim, before);
}

void sb_sim_take_load(struct sb_sim *sim)
{
  const struct seen before = look(sim);
  sb_stretch_raise_speeds(sim);
  sb_segment_book(sim);
  go_on(sim, &before, sim->state.time_s);
}

/* What a guard changes, at its instant. */
static void apply_guard(struct sb_sim *sim, const struct sb_guard *guard)
{
  const struct seen before = look(sim);
  sb_stretch_raise_speeds(sim);
  sb_segment_book(sim);
  if (guard->apply != NULL) guard->apply(sim);
  go_on(sim, &before, sim->state.time_s);
}

/* The segment's own end has come: a load corner, or the time to engage. */
static void pass_end(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const struct seen before = look(sim);
  const double end_s = sim->segment->end_s;
  sb_stretch_raise_speeds(sim);
  sb_segment_book(sim);
  if (sim->segment->corner_s <= end_s) state->load_time_s = sim->segment->corner_s;
  go_on(sim, &before, end_s);
}

/* What feeds the motor is brought up to date. */
static void tick(struct sb_sim *sim)
{
  sb_stretch_raise_speeds(sim);
  sb_segment_book_feed(sim);
  const bool is_switched = sb_feed_tick(sim);
  if (!is_switched && sb_segment_feed_anew(sim)) {
    sb_stretch_raise_current(sim);
    sb_stretch_raise_torque(sim);
    return;
  }
  sb_segment_book(sim);
  const struct seen before = look(sim);
  go_on(sim, &before, sim->state.time_s);
  if (is_switched) notify(sim, SB_EVENT_SWITCHED);
}

/* Whole steps that are done at an instant; one that is as good as done counts. */
static long long steps_done(const struct sb_sim *sim, double time_s)
{
  const double tolerance_s = same_instant * sim->step_s;
  long long step = (long long)floor(time_s / sim->step_s + 0.5);
  while (sb_sim_grid_s(sim, step) > time_s + tolerance_s) step--;
  return step;
}

/* Puts the time forward, onto the end of a whole step where it falls short of it by next to nothing. */
static void set_time(struct sb_sim *sim, double time_s)
{
  sim->state.step = steps_done(sim, time_s);
  sim->state.time_s = fmax(time_s, sb_sim_grid_s(sim, sim->state.step));
}

static long long smaller(long long a, long long b)
{
  return a < b ? a : b;
}

/* The next multiple after a step. The last one at or before it is kept, for a division takes as long as the rest of a tick's
 * arithmetic. */
static long long next_multiple(struct sb_sim_multiple *multiple, long long step)
{
  if (step == multiple->last + multiple->of) multiple->last = step;
  if (!(step >= multiple->last && step < multiple->last + multiple->of))
    multiple->last = step / multiple->of * multiple->of;
  return multiple->last + multiple->of;
}

/* Whether what feeds the motor can change at a tick from now on. */
static bool has_ticks(const struct sb_sim *sim)
{
  return sim->ticks.of > 0 && !sb_feed_is_settled(sim);
}

/* Begins a stretch that ends at a step at the latest, or where the segment does. False: it is not even begun, for it is asked
 * to be plain and would not be. */
static bool begin_stretch_to(struct sb_sim *sim, long long stop, bool is_plain_asked)
{
  const struct sb_state *state = &sim->state;
  const double stop_s = sb_sim_grid_s(sim, stop), end_s = sim->segment->end_s;
  sim->stretch->stop = stop;
  double to_s = stop_s, length_s = stop_s - state->time_s;
  sim->stretch->stop_s = stop_s;
  if (end_s < stop_s - same_instant * sim->step_s) {
    to_s = end_s;
    length_s = end_s - state->time_s;
  } else if (sim->stretch->is_on_grid) {
    length_s = sb_sim_grid_s(sim, stop - state->step); /* of one length, wherever it lies */
  }
  if (is_plain_asked) return sb_stretch_begin_plainly(sim, to_s, length_s);
  sb_stretch_begin(sim, to_s, length_s);
  return true;
}

/*
 * It ends at the latest at the next tick, or with the block of samples, whoever asks for what between. What is plain for a sample
 * alone goes from sample to sample; so does a shaft that gives, whose swing is faster than samples, and what pulses are counted of.
 */
static void begin_stretch(struct sb_sim *sim)
{
  const long long step = sim->state.step, sample = next_multiple(&sim->samples, step);
  struct sb_stretch *stretch = sim->stretch;
  stretch->start_step = step;
  stretch->is_on_grid = sim->state.time_s == sb_sim_grid_s(sim, step);
  if (has_ticks(sim)) {
    begin_stretch_to(sim, smaller(sample, next_multiple(&sim->ticks, step)), false);
    return;
  }
  const bool is_single = sim->segment->has_spring || sim->pulses_per_rad > 0.0;
  const long long block = next_multiple(&sim->blocks, step);
  const bool can_be_plain = sb_plain_applies(sim);
  /* Off the grid the factors of its parts serve once alone. */
  if (!is_single && can_be_plain && stretch->is_on_grid && begin_stretch_to(sim, block, true)) return;
  begin_stretch_to(sim, is_single || can_be_plain ? sample : block, false);
}

/* The share of the stretch at a whole step within it. */
static double share_at(const struct sb_sim *sim, long long step)
{
  const struct sb_stretch *stretch = sim->stretch;
  const double part_s = stretch->is_on_grid ? sb_sim_grid_s(sim, step - stretch->start_step)
                                            : sb_sim_grid_s(sim, step) - stretch->start_s;
  return part_s / stretch->length_s;
}

/* Moves to a whole step within the stretch. */
static void move_within(struct sb_sim *sim, long long step)
{
  sb_stretch_move(sim, share_at(sim, step));
  sim->state.step = step;
  sim->state.time_s = sb_sim_grid_s(sim, step);
}

/* A stretch does not go beyond a sample. */
static void take_pulses(struct sb_sim *sim)
{
  const long long per_sample = sim->samples.of, sample = (sim->stretch->stop + per_sample - 1) / per_sample;
  sb_pulses_take(sim, sample, sb_sim_grid_s(sim, sample * per_sample));
}

/* Moves to the end of the stretch and does what ends it. Returns the guard. */
static const struct sb_guard *finish_stretch(struct sb_sim *sim)
{
  struct sb_stretch *stretch = sim->stretch;
  sb_stretch_move(sim, stretch->end_share);
  if (sim->pulses_per_rad > 0.0) take_pulses(sim);
  stretch->is_under_way = false;
  if (stretch->end_s == stretch->stop_s) {
    sim->state.step = stretch->stop;
    sim->state.time_s = stretch->end_s;
  } else {
    set_time(sim, stretch->end_s);
  }
  if (stretch->guard != NULL) apply_guard(sim, stretch->guard);
  return stretch->guard;
}

/* Stands still until a whole step, as far as nothing can happen; false: something can at once. */
static bool rest(struct sb_sim *sim, long long target)
{
  struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  if (state->link != SB_LINK_MESH || !sb_segment_is_standing(sim) || !seg->is_resting_steady ||
      sim->stretch->is_under_way)
    return false;
  long long last = target;
  if (has_ticks(sim)) last = smaller(last, next_multiple(&sim->ticks, state->step));
  if (isfinite(seg->end_s)) last = smaller(last, steps_done(sim, seg->end_s));
  if (last <= state->step) return false;
  sb_stretch_rest(sim, sb_sim_grid_s(sim, last));
  state->step = last;
  state->time_s = sb_sim_grid_s(sim, last);
  return true;
}

static bool is_at_end(const struct sb_sim *sim)
{
  return sim->segment->end_s - sim->state.time_s <= same_instant * sim->step_s;
}

/* Whether steps that began at step count `before` have ended at a tick. */
static bool has_come_to_tick(struct sb_sim *sim, long long before)
{
  const struct sb_state *state = &sim->state;
  if (state->step == before || state->far.is_finished || !has_ticks(sim)) return false;
  next_multiple(&sim->ticks, state->step);
  return state->step == sim->ticks.last;
}

/* Whether the stretch ends at an instant at the latest. */
static bool ends_by(const struct sb_sim *sim, double time_s)
{
  return sim->stretch->end_s <= time_s + same_instant * sim->step_s;
}

/* Goes on until something happens or a whole step, at step_s, is reached; returns the guard that fired. */
static const struct sb_guard *go_forward(struct sb_sim *sim, long long step, double step_s)
{
  if (rest(sim, step)) return NULL;
  if (!sim->stretch->is_under_way) begin_stretch(sim);
  if (ends_by(sim, step_s)) return finish_stretch(sim);
  move_within(sim, step);
  return NULL;
}

enum sb_status sb_sim_advance(struct sb_sim *sim, long long step, struct sb_error *err)
{
  struct sb_state *state = &sim->state;
  const double step_s = sb_sim_grid_s(sim, step);
  double last_event_s = -1.0;
  int events_at_once = 0;
  while (state->step < step && !state->far.is_finished) {
    const long long before = state->step;
    const struct sb_guard *guard = go_forward(sim, step, step_s);
    const bool is_end = guard == NULL && !sim->stretch->is_under_way && is_at_end(sim);
    if (is_end) pass_end(sim);
    if (has_come_to_tick(sim, before)) tick(sim);
    if (is_end || guard != NULL) {
      events_at_once = state->time_s > last_event_s ? 0 : events_at_once + 1;
      last_event_s = state->time_s;
      if (events_at_once > EVENTS_AT_ONCE_MAX) {
        return sb_fail(err, SB_ERR_NUMERICS, "events pile up without end at t = %.9g s", state->time_s);
      }
    }
    if (!isfinite(state->time_s)) break;
  }
  if (state->far.is_finished && state->step < step) state->step = step;
  if (!(isfinite(state->motor_speed_rad_s) && isfinite(state->output_speed_rad_s))) {
    return sb_fail(err, SB_ERR_NUMERICS, "a speed is no longer finite at t = %.9g s", state->time_s);
  }
  return SB_OK;
}

struct sb_sums sb_sim_sums_empty(void)
{
  return (struct sb_sums){.over_limit_first_s = NAN,
                          .over_limit_last_s = NAN,
                          .joined_s = -INFINITY,
                          .struck_s = -INFINITY,
                          .torque_joined_s = -INFINITY,
                          .torque_struck_s = -INFINITY,
                          .housing_c = {.value = -INFINITY},
                          .slip_first_s = NAN,
                          .jam_first_s = NAN,
                          .hot_first_s = NAN,
                          .cut_first_s = NAN,
                          .winding_c = {.value = -INFINITY}};
}

/* Speeds and all that begins with them, before the first segment. */
static void start(struct sb_sim *sim, int gear, double motor_speed_rad_s, double output_speed_rad_s)
{
  const struct sb_model *model = sim->model;
  struct sb_state *state = &sim->state;
  *state = (struct sb_state){.gear = gear, .link = SB_LINK_MESH};
  state->output_speed_rad_s = output_speed_rad_s;
  state->motor_speed_rad_s = motor_speed_rad_s;
  sim->sums = sb_sim_sums_empty();
  sim->sums.least_output_speed_rad_s = state->output_speed_rad_s;
  sim->sums.greatest_output_speed_rad_s = state->output_speed_rad_s;
  if (model->load.road.is_present) state->far.left_rad = INFINITY;
  if (model->driveshaft.is_present) sb_spring_engage(sim);
  sb_feed_start(sim);
  sb_pulses_start(sim);
  if (model->winding.is_present) {
    sim->sums.winding_c.value = state->feed.warmth.winding_c;
    sim->sums.housing_c.value = state->feed.warmth.housing_c;
  }
}

void sb_sim_begin_at(struct sb_sim *sim, const struct sb_sim_place *place)
{
  struct sb_state *state = &sim->state;
  start(sim, place->gear, place->motor_speed_rad_s, place->output_speed_rad_s);
  set_time(sim, place->time_s);
  state->load_time_s = state->time_s;
  state->link = SB_LINK_OPEN;
  drop_stretch(sim);
  sb_segment_begin(sim);
  const int direction = sb_sign_of(sb_segment_lead_rad_s(sim));
  if (direction != 0 && sim->model->shifter.ops->has_clutch) {
    sb_clutch_slip(sim, direction);
  } else {
    join(sim);
    state->link = SB_LINK_MESH;
  }
  begin_segment(sim);
}

enum sb_status sb_sim_init(struct sb_sim *sim, const struct sb_model *model, int gear, struct sb_error *err)
{
  SB_GSL_QUIET;
  *sim = (struct sb_sim){.model = model};
  sim->segment = calloc(1, sizeof *sim->segment);
  sim->root_solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
  sim->stretch = sb_stretch_new();
  if (sim->segment == NULL || sim->root_solver == NULL || sim->stretch == NULL) {
    sb_sim_clear(sim);
    sb_shortage_note(); /* trials of a fit go on where a run fails */
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for a simulation");
  }
  sim->step_s = model->run.step_s;
  const double per_s = round(1.0 / sim->step_s);
  sim->steps_per_s = fabs(per_s * sim->step_s - 1.0) < 1e-12 ? per_s : 0.0;

  sim->derived = sb_model_derive(model);
  sim->samples.of = sb_model_step_count(model->control.sample_period_s, sim->step_s);
  if (sim->samples.of < 1) sim->samples.of = 1;
  sim->blocks.of = SB_SIM_BLOCK * sim->samples.of;
  sim->samples_per_s = 1.0 / ((double)sim->samples.of * sim->step_s);

  const struct sb_gear *first = &model->gearbox.gears[gear];
  const double output_speed_rad_s = model->run.initial_output_speed_rad_s;
  start(sim, gear, output_speed_rad_s * first->ratio * first->output_direction, output_speed_rad_s);
  begin_segment(sim);
  sim->sums.start_kinetic_j = kinetic_j(sim) + sim->sums.energy.mesh_loss; /* a path that locks itself jams at once */
  if (sb_segment_is_standing(sim)) notify(sim, SB_EVENT_STOPPED);
  return SB_OK;
}

void sb_sim_clear(struct sb_sim *sim)
{
  free(sim->segment);
  free(sim->stretch);
  if (sim->root_solver != NULL) gsl_root_fsolver_free(sim->root_solver);
  sim->segment = NULL;
  sim->stretch = NULL;
  sim->root_solver = NULL;
}

const struct sb_sums *sb_sim_sums(struct sb_sim *sim)
{
  sb_segment_book(sim);
  sb_stretch_raise_speeds(sim);
  sim->sums.energy.kinetic = kinetic_j(sim) - sim->sums.start_kinetic_j;
  return &sim->sums;
}

/* Heat in the clutch; it has none while its sides turn as one. */
static double clutch_w(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  if (!(sb_shifter_clutch_nm(&sim->model->shifter) > 0.0)) return NAN;
  if (state->link != SB_LINK_SLIP) return 0.0;
  return state->slip_direction * state->plan.clutch_nm * sb_segment_lead_rad_s(sim);
}

/* The load without what follows speed, against the gear's direction. */
static double external_nm(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  return sb_feed_direction(sim) * sim->model->gearbox.gears[state->gear].output_direction *
         (sb_load_curve_external_nm(&sim->segment->curve, state->time_s, state->output_angle_rad) +
          sb_point_traction_change_nm(sim));
}

/* A load as this gear and the next one meet it. */
static void take_loads(const struct sb_sim *sim, double load_nm, double *own_nm, double *next_nm)
{
  *own_nm = sb_feed_load_at_start_nm(sim, sim->state.gear, load_nm);
  *next_nm = sb_feed_load_at_start_nm(sim, sim->state.gear + 1, load_nm);
}

/* The part of a row that decisions and verdicts look at. */
static void glance(const struct sb_sim *sim, double load_nm, struct sb_row *row)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  const bool is_engaged = sb_segment_is_engaged(sim), has_currents = sim->model->motor.has_currents;
  const int sense = sense_of(sim, state->gear);
  const double current_a = sb_motor_current_a(&seg->line, state->motor_speed_rad_s);
  const double duty = sb_limiter_duty(&seg->piece, state->motor_speed_rad_s), drawn_a = duty * current_a;
  row->time_s = state->time_s;
  row->gear = is_engaged ? state->gear + 1 : 0;
  row->phase = !is_engaged ? SB_PHASE_SHIFT : sb_segment_is_standing(sim) ? SB_PHASE_STANDSTILL : SB_PHASE_ENGAGED;
  row->duty_fraction = sense * duty;
  row->asked_fraction = sense * seg->piece.asked;
  row->is_on = sb_feed_is_on(sim);
  row->is_slipping = state->far.is_slipping != 0;
  row->is_clutch_slipping = is_clutch_slipping(sim);
  row->is_current_held = seg->piece.held_a != 0.0;
  row->motor_speed_rad_s = sense * state->motor_speed_rad_s;
  take_loads(sim, load_nm, &row->own_load_nm, &row->next_load_nm);
  row->motor_current_a = has_currents ? current_a : NAN;
  row->supply_voltage_v =
      has_currents ? sb_feed_open_voltage_v(sim) - sim->model->supply.internal_resistance_ohm * drawn_a : NAN;
}

struct sb_row sb_sim_glance(const struct sb_sim *sim)
{
  struct sb_row row = {0};
  glance(sim, external_nm(sim), &row);
  return row;
}

/* The number of samples from the next one, `first`, that lie before the end of the stretch that is under way, or begins now. */
static int samples_ahead(struct sb_sim *sim, long long first)
{
  if (!sb_segment_is_moving_rigid(sim) || sim->state.far.is_slipping || has_ticks(sim)) return 0;
  if (!sim->stretch->is_under_way) begin_stretch(sim);
  int count = 0;
  while (count < SB_SIM_BLOCK && !ends_by(sim, sb_sim_grid_s(sim, first + count * sim->samples.of))) count++;
  return count;
}

struct sb_sim_outlook sb_sim_look_out(struct sb_sim *sim)
{
  const int count = samples_ahead(sim, next_multiple(&sim->samples, sim->state.step));
  if (count == 0) return (struct sb_sim_outlook){0};
  const struct sb_range speed = sb_range_scaled(sb_stretch_speed_range(sim), sim->state.motor_direction);
  return (struct sb_sim_outlook){count, speed.least, speed.greatest};
}

/* The loads at the samples ahead, at each as if the machine were there. */
static void take_loads_ahead(struct sb_sim *sim, long long first, const double *angle_rad, struct sb_sim_ahead *ahead)
{
  struct sb_state *state = &sim->state;
  const double time_s = state->time_s, output_speed = state->output_speed_rad_s, output_angle = state->output_angle_rad;
  for (int i = 0; i < ahead->count; i++) {
    state->time_s = sb_sim_grid_s(sim, first + i * sim->samples.of);
    state->output_speed_rad_s = sim->segment->per_motor * ahead->motor_speed_rad_s[i];
    state->output_angle_rad = angle_rad[i];
    take_loads(sim, external_nm(sim), &ahead->own_load_nm[i], &ahead->next_load_nm[i]);
  }
  state->time_s = time_s;
  state->output_speed_rad_s = output_speed;
  state->output_angle_rad = output_angle;
}

void sb_sim_look_ahead(struct sb_sim *sim, bool are_loads_asked, struct sb_sim_ahead *ahead)
{
  const long long first = next_multiple(&sim->samples, sim->state.step);
  double shares[SB_SIM_BLOCK] = {0.0}, angle_rad[SB_SIM_BLOCK];
  ahead->count = samples_ahead(sim, first);
  if (ahead->count == 0) return;
  for (int i = 0; i < ahead->count; i++) shares[i] = share_at(sim, first + i * sim->samples.of);
  sb_stretch_look(sim, ahead->count, shares, ahead->motor_speed_rad_s, are_loads_asked ? angle_rad : NULL);
  if (are_loads_asked) take_loads_ahead(sim, first, angle_rad, ahead);
  for (int i = 0; i < ahead->count; i++) ahead->motor_speed_rad_s[i] *= sense_of(sim, sim->state.gear);
}

struct sb_row sb_sim_row(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const struct sb_point at = sb_point_now(sim);
  const bool has_road = sim->model->load.road.is_present;
  const double torque_nm = sb_stretch_delivered_nm(sim), load_nm = external_nm(sim);
  struct sb_row row = {
      .reading_pct = NAN,
      .pulse_count = NAN,
      .pulse_time_s = NAN,
      .measured_voltage_v = NAN,
      .output_speed_rad_s = state->output_speed_rad_s,
      .output_torque_nm = torque_nm,
      .load_torque_nm = sb_segment_is_standing(sim) ? torque_nm : at.load_nm,
      .external_torque_nm = load_nm,
      .clutch_nm = sb_clutch_asked_nm(sim, at.x_rate),
      .clutch_w = clutch_w(sim),
      .output_turns = state->output_angle_rad / SB_TURN,
      .vehicle_speed_rad_s = sb_contact_speed_rad_s(state),
      .vehicle_angle_rad = has_road ? sb_contact_angle_rad(state) : state->output_angle_rad,
      .twist_rad = state->twist.twist_rad,
      .charge_fraction = sim->model->battery.is_present ? sb_feed_charge_fraction(sim) : NAN,
      .winding_c = sim->model->winding.is_present ? state->feed.warmth.winding_c : NAN,
      .housing_c = sim->model->winding.is_present ? state->feed.warmth.housing_c : NAN,
      .magnet_c = sim->model->magnet.is_present ? sb_magnet_c(&sim->model->winding, &state->feed.warmth) : NAN,
  };
  glance(sim, load_nm, &row);
  return row;
}
