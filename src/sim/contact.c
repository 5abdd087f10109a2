// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/contact.h"

#include <math.h>

#include "sim/point.h"
#include "sim/rest.h"

/* A contact that is asked for more than it carries by less than this fraction holds: it would slip by rounding alone. */
static const double same_grip = 1e-12;

static const struct sb_road *road_of(const struct sb_sim *sim)
{
  return &sim->model->load.road;
}

static bool is_pushing(const struct sb_state *state)
{
  return state->far.met_count > 0 && isinf(state->far.left_rad);
}

/* Of a vehicle whose wheels grip. */
static double gripped_angle_rad(const struct sb_state *state)
{
  return state->far.load_angle_rad + (state->output_angle_rad - state->load_angle_rad);
}

double sb_contact_angle_rad(const struct sb_state *state)
{
  return state->far.is_slipping ? state->far.angle_rad : gripped_angle_rad(state);
}

double sb_contact_speed_rad_s(const struct sb_state *state)
{
  return state->far.is_slipping ? state->far.speed_rad_s : state->output_speed_rad_s;
}

/* The part of a vehicle's weight that presses on the ground: the cosine of the grade at its place. */
static double cosine(const struct sb_sim *sim)
{
  const struct sb_road *road = road_of(sim);
  return sb_road_press_nm(road, sim->state.far.load_angle_rad, +1) / (road->driven_share * road->weight_nm);
}

/* On a grade that changes along the way: how far ahead those who are pushed begin, or cease, to slide off by themselves; below
 * 0: that lies behind. NAN: nowhere. */
static double slide_way_rad(const struct sb_load_grade *pushed)
{
  return (-pushed->cosine_nm / pushed->sine_nm - pushed->start) / pushed->per_rad;
}

/* Two ways ahead that differ by less are one. */
static double same_way_rad(const struct sb_sim *sim, const struct sb_load_grade *pushed)
{
  const double grade = fabs(pushed->start) + fabs(pushed->cosine_nm / pushed->sine_nm);
  return 1e-12 * (fabs(sim->state.far.load_angle_rad) + grade / fabs(pushed->per_rad));
}

/* Ahead of the present place. */
static bool is_sliding_off(const struct sb_sim *sim, const struct sb_load_grade *pushed)
{
  const double way_rad = slide_way_rad(pushed);
  if (fabs(way_rad) <= same_way_rad(sim, pushed)) return pushed->per_rad < 0.0;
  return pushed->sine_nm * pushed->start + pushed->cosine_nm < 0.0;
}

/* The bodies' friction and weight on a grade that changes along the way, as it is, which is below 0 where they slide off. */
static struct sb_load_grade pushed_grade(const struct sb_sim *sim, const struct sb_load_grade *weight)
{
  const int count = sim->state.far.met_count;
  struct sb_load_grade pushed = *weight;
  pushed.sine_nm = sb_road_pushed_nm(road_of(sim), count, 0.0, weight->sine_nm);
  pushed.cosine_nm = sb_road_pushed_friction_nm(road_of(sim), count);
  return pushed;
}

/* What the bodies before the vehicle add against it: their friction and, on a grade, their weight. Bodies never pull, so
 * those that would slide off by themselves add nothing. */
static struct sb_load_curve pushed_curve(const struct sb_sim *sim, int direction)
{
  if (direction <= 0 || !is_pushing(&sim->state)) return (struct sb_load_curve){.wave_count = 0};
  struct sb_load_curve curve = sb_rest_curve_at(sim, direction, false, SB_SHARE_ACTING, SB_SIDE_BEYOND);
  const int count = sim->state.far.met_count;
  if (curve.grade_count > 0) {
    curve.grades[0] = pushed_grade(sim, &curve.grades[0]);
    if (is_sliding_off(sim, &curve.grades[0])) curve.grade_count = 0;
    return curve;
  }
  const double friction_nm = sb_road_pushed_friction_nm(road_of(sim), count);
  curve.c0_nm = sb_road_pushed_nm(road_of(sim), count, friction_nm * cosine(sim), curve.c0_nm);
  curve.per_rad = sb_road_pushed_nm(road_of(sim), count, 0.0, curve.per_rad);
  if (curve.c0_nm < 0.0) curve.c0_nm = curve.per_rad = 0.0;
  return curve;
}

/* Adds what the bodies add. */
static void add_pushed(const struct sb_sim *sim, int direction, struct sb_load_curve *curve)
{
  const struct sb_load_curve pushed = pushed_curve(sim, direction);
  curve->c0_nm += pushed.c0_nm;
  curve->per_rad += pushed.per_rad;
  if (pushed.grade_count > 0) sb_load_curve_add_grade(curve, &pushed.grades[0]);
}

static double pushed_hold_nm(const struct sb_sim *sim, int direction)
{
  if (direction <= 0 || !is_pushing(&sim->state)) return 0.0;
  const struct sb_far *far = &sim->state.far;
  const double weight_nm = sb_load_curve_external_nm(&sim->segment->far.resting.acting[1], 0.0, far->load_angle_rad);
  const double hold_nm = sb_road_pushed_hold_nm(road_of(sim), far->met_count);
  return fmax(0.0, sb_road_pushed_nm(road_of(sim), far->met_count, hold_nm * cosine(sim), weight_nm));
}

/* What the vehicle at rest has against a start of its own: nothing beyond the contact changes in time. */
static double vehicle_resting_nm(const struct sb_sim *sim, int direction)
{
  return sb_rest_nm(&sim->segment->far.resting, sim->state.time_s, sim->state.far.load_angle_rad, direction) +
         pushed_hold_nm(sim, direction);
}

double sb_contact_resting_nm(const struct sb_sim *sim, int output_direction)
{
  const struct sb_far_segment *far = &sim->segment->far;
  if (sim->state.far.is_slipping) return far->traction_nm;
  return fmin(fmax(vehicle_resting_nm(sim, output_direction), -far->grip_nm), far->grip_nm);
}

void sb_contact_add_moving(const struct sb_sim *sim, int output_direction, struct sb_load_curve *curve)
{
  if (sim->state.far.is_slipping) {
    curve->c0_nm += sim->segment->far.traction_nm;
    return;
  }
  add_pushed(sim, output_direction, curve);
}

void sb_contact_take_resting(struct sb_sim *sim)
{
  sim->segment->far.resting = sb_rest_at(sim, SB_SIDE_BEYOND);
}

/* A vehicle at rest where it left its bodies touches them again. */
static void take_up(struct sb_state *state)
{
  struct sb_far *far = &state->far;
  const bool is_back = far->met_count > 0 && far->load_angle_rad >= far->left_rad;
  if (is_back && sb_contact_speed_rad_s(state) == 0.0) far->left_rad = INFINITY;
}

void sb_contact_begin(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_far *far = &state->far;
  far->load_angle_rad = sb_contact_angle_rad(state);
  if (far->is_slipping && far->speed_rad_s == state->output_speed_rad_s) {
    far->is_slipping = far->slip_direction = far->direction = 0;
    far->speed_rad_s = far->angle_rad = 0.0;
  }
  /* An engagement or an impact may have turned the lead over. */
  if (far->is_slipping) far->slip_direction = sb_sign_of(state->output_speed_rad_s - far->speed_rad_s);
  take_up(state);
}

/* What the contact carries, by the grade ahead in a direction. */
static void take_press(struct sb_sim *sim, int direction)
{
  const struct sb_road *road = road_of(sim);
  const struct sb_far *state = &sim->state.far;
  struct sb_far_segment *far = &sim->segment->far;
  const double press_nm = road->can_slip ? sb_road_press_nm(road, state->load_angle_rad, direction) : 0.0;
  far->grip_nm = road->can_slip ? road->static_friction_ratio * press_nm : INFINITY;
  far->traction_nm = state->slip_direction * road->kinetic_friction_ratio * press_nm;
}

void sb_contact_prepare(struct sb_sim *sim)
{
  const struct sb_road *road = road_of(sim);
  const struct sb_far *state = &sim->state.far;
  struct sb_far_segment *far = &sim->segment->far;
  const double pushed = is_pushing(&sim->state) ? sb_road_pushed_inertia(road, state->met_count) : 0.0;
  far->inertia = road->inertia_kg_m2 + pushed;
  far->is_bent = false;
  take_press(sim, +1);
  const double all = sim->segment->output_inertia;
  sim->segment->output_inertia = state->is_slipping ? all - road->inertia_kg_m2 : all + pushed;
}

/* The direction in which a vehicle at rest starts under the traction of wheels that slip; 0: it stays. */
static int settle_vehicle(struct sb_sim *sim)
{
  const double traction_nm = sim->segment->far.traction_nm;
  sb_contact_take_resting(sim);
  for (int direction = +1; direction >= -1; direction -= 2) {
    const double load_nm = vehicle_resting_nm(sim, direction);
    const double tolerance_nm = sb_rest_tolerance * (fabs(load_nm) + fabs(traction_nm));
    if (direction * (traction_nm - load_nm) > tolerance_nm) return direction;
  }
  return 0;
}

/* What slipping wheels can't move the vehicle against, for advice on ballast. */
static void note_need(struct sb_sim *sim)
{
  const struct sb_far *far = &sim->state.far;
  if (far->direction == far->slip_direction) return;
  sb_contact_take_resting(sim);
  const double whole_nm = far->slip_direction * vehicle_resting_nm(sim, far->slip_direction);
  if (!(whole_nm > sim->sums.slip_need.whole_nm)) return;
  const double own_nm = whole_nm - pushed_hold_nm(sim, far->slip_direction);
  const double press_nm = sb_road_press_nm(road_of(sim), far->load_angle_rad, +1);
  sim->sums.slip_need = (struct sb_road_need){whole_nm, own_nm, press_nm};
}

bool sb_contact_settle(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_far *far = &state->far;
  if (far->is_slipping) {
    far->direction = sb_sign_of(far->speed_rad_s);
    if (far->direction == 0) far->direction = settle_vehicle(sim);
    note_need(sim);
  }
  const int direction = far->is_slipping ? far->direction : state->output_direction;
  if (direction >= 0 || !is_pushing(state)) return false;
  /* Joined to a motor that turns it back at once, the vehicle leaves them with what they move with. */
  const double pushed = sb_road_pushed_inertia(road_of(sim), far->met_count), speed = sb_contact_speed_rad_s(state);
  sim->sums.energy.impact_loss += 0.5 * pushed * speed * speed;
  far->left_rad = far->load_angle_rad;
  return true;
}

/* Against the vehicle as it moves in a direction. */
static struct sb_load_curve vehicle_curve(const struct sb_sim *sim, int direction)
{
  struct sb_load_curve curve = sb_rest_curve_at(sim, direction, false, SB_SHARE_ALL, SB_SIDE_BEYOND);
  add_pushed(sim, direction, &curve);
  return curve;
}

double sb_contact_sliding_nm(const struct sb_sim *sim, int output_direction)
{
  const struct sb_far_segment *far = &sim->segment->far;
  if (sim->state.far.is_slipping) return far->traction_nm;
  const struct sb_load_curve curve = vehicle_curve(sim, output_direction);
  const double nm = sb_load_curve_external_nm(&curve, sim->state.time_s, sim->state.far.load_angle_rad);
  return fmin(fmax(nm, -far->grip_nm), far->grip_nm);
}

void sb_contact_build(struct sb_sim *sim)
{
  struct sb_far_segment *far = &sim->segment->far;
  const struct sb_state *state = &sim->state;
  const int direction = state->far.is_slipping ? state->far.direction : state->output_direction;
  take_press(sim, direction < 0 ? -1 : +1);
  far->curve = vehicle_curve(sim, direction != 0 ? direction : +1);
  far->is_bent = direction != 0 && far->curve.grade_count > 0;
  if (!state->far.is_slipping) {
    far->load = sb_poly_of_curve(&far->curve, sb_segment_is_rigid(sim) ? sim->segment->per_motor : 1.0);
    return;
  }
  far->load = far->rate = (struct sb_poly){0};
  if (direction == 0) { /* held: no motion, no work */
    sb_contact_take_resting(sim);
    return;
  }
  const double per_inertia = 1.0 / far->inertia;
  far->load = sb_poly_of_curve(&far->curve, 1.0);
  far->rate = sb_poly_from(&far->load, -per_inertia, far->traction_nm * per_inertia, 0.0);
}

/* Where bodies that are pushed begin, or cease, to slide off by themselves. */
static double slide_corner_rad(const struct sb_sim *sim, int direction)
{
  if (direction <= 0 || !is_pushing(&sim->state)) return INFINITY;
  const struct sb_load_curve curve = sb_rest_curve_at(sim, direction, false, SB_SHARE_ACTING, SB_SIDE_BEYOND);
  if (curve.grade_count == 0) return INFINITY;
  const struct sb_load_grade pushed = pushed_grade(sim, &curve.grades[0]);
  const double way_rad = slide_way_rad(&pushed);
  return way_rad > same_way_rad(sim, &pushed) ? sim->state.far.load_angle_rad + way_rad : (double)INFINITY;
}

static double next_corner_rad(const struct sb_sim *sim, int direction)
{
  const struct sb_far *far = &sim->state.far;
  const double parts_rad = sb_load_next_angle_rad(&sim->model->load, SB_SIDE_BEYOND, far->load_angle_rad, direction);
  const double road_rad =
      sb_road_next_angle_rad(road_of(sim), far->met_count, far->left_rad, far->load_angle_rad, direction);
  return direction > 0 ? fmin(fmin(parts_rad, road_rad), slide_corner_rad(sim, direction)) : fmax(parts_rad, road_rad);
}

void sb_contact_set_corners(struct sb_sim *sim)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  if (state->far.is_slipping) {
    const int direction = state->far.direction;
    seg->far.limit_rad = direction != 0 ? next_corner_rad(sim, direction) : INFINITY;
    return;
  }
  const int direction = state->output_direction;
  if (direction == 0) return;
  seg->far.limit_rad = next_corner_rad(sim, direction);
  const double limit_rad = state->load_angle_rad + (seg->far.limit_rad - state->far.load_angle_rad);
  if (direction * limit_rad > direction * seg->angle_limit_rad) return;
  seg->angle_limit_rad = limit_rad;
  seg->is_road_limit = true;
}

/* Torque that gripping wheels bring to the vehicle. */
static double contact_nm(const struct sb_sim *sim, const struct sb_point *at)
{
  const struct sb_segment *seg = sim->segment;
  const double rate = sb_segment_is_rigid(sim) ? seg->per_motor * at->x_rate : at->w_rate;
  return sb_point_grip_load_nm(sim, at) + seg->far.inertia * rate;
}

void sb_contact_let_go(struct sb_sim *sim, int lead)
{
  struct sb_state *state = &sim->state;
  state->far.is_slipping = 1;
  state->far.slip_direction = lead;
  state->far.speed_rad_s = state->output_speed_rad_s;
  state->far.angle_rad = state->far.load_angle_rad;
  take_up(state); /* it may start the other way than its wheels would have taken it */
}

bool sb_contact_lets_go(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  const struct sb_far_segment *far = &sim->segment->far;
  const int direction = state->output_direction;
  if (!road_of(sim)->can_slip || state->far.is_slipping || direction == 0) return false;
  const double most_nm = far->grip_nm * (1.0 + same_grip);
  int lead = 0;
  if (state->output_speed_rad_s == 0.0) {
    const double held_nm = vehicle_resting_nm(sim, direction);
    if (direction * held_nm > most_nm) lead = direction;
  }
  if (lead == 0) {
    const struct sb_point at = sb_point_now(sim);
    const double asked_nm = contact_nm(sim, &at);
    if (!(fabs(asked_nm) > most_nm)) return false;
    lead = sb_sign_of(asked_nm);
  }
  sb_contact_let_go(sim, lead);
  return true;
}

double sb_contact_jolt_inertia(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  if (!road_of(sim)->can_slip || state->far.is_slipping || state->link == SB_LINK_SLIP) {
    return sim->segment->output_inertia;
  }
  state->far.is_slipping = 1;
  state->far.speed_rad_s = state->output_speed_rad_s;
  state->far.angle_rad = gripped_angle_rad(state);
  return sb_model_output_inertia_kg_m2(sim->model, sim->model->load.inertia_kg_m2 - road_of(sim)->inertia_kg_m2);
}

/* Bodies --------------------------------------------------------------------------------------------------------------- */

/* All that an impact stops: the vehicle alone where wheels can slip, else what is joined to it. */
static double striking_inertia(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  if (road_of(sim)->can_slip) return seg->far.inertia;
  if (!sb_segment_is_rigid(sim)) return seg->output_inertia;
  return seg->output_inertia + seg->motor_inertia / (seg->per_motor * seg->per_motor);
}

static void strike(struct sb_sim *sim, double body_inertia)
{
  struct sb_state *state = &sim->state;
  struct sb_far *far = &state->far;
  const double before = sb_contact_speed_rad_s(state), striking = striking_inertia(sim);
  const double after = before * striking / (striking + body_inertia);
  sim->sums.energy.impact_loss += 0.5 * striking * body_inertia / (striking + body_inertia) * before * before;
  sim->sums.impact_greatest_nms = fmax(sim->sums.impact_greatest_nms, body_inertia * after);
  sim->sums.impact_count++;
  sim->sums.struck_s = state->time_s;
  if (!road_of(sim)->can_slip) {
    state->output_speed_rad_s = after;
    if (sb_segment_is_rigid(sim)) state->motor_speed_rad_s = after / sim->segment->per_motor;
    return;
  }
  if (!far->is_slipping) far->angle_rad = far->load_angle_rad;
  far->is_slipping = 1;
  far->speed_rad_s = after;
  far->slip_direction = state->output_speed_rad_s >= after ? +1 : -1;
}

/* As an output that is pushed back to a corner from both sides, a vehicle beside its wheels comes to rest there. */
static void rest_on_corner(struct sb_sim *sim)
{
  struct sb_far *far = &sim->state.far;
  const bool is_slow = far->is_slipping && sb_segment_is_slow(sim, far->speed_rad_s);
  if (is_slow && settle_vehicle(sim) == 0) far->speed_rad_s = 0.0;
}

void sb_contact_arrive(struct sb_sim *sim)
{
  const struct sb_road *road = road_of(sim);
  struct sb_far *far = &sim->state.far;
  const double here_rad = sim->segment->far.limit_rad;
  far->load_angle_rad = here_rad;
  sim->state.load_angle_rad = sim->state.output_angle_rad;
  if (far->is_slipping) far->angle_rad = here_rad;
  if (here_rad == road->finish_rad) far->is_finished = 1;
  if (here_rad == far->left_rad) {
    strike(sim, sb_road_pushed_inertia(road, far->met_count));
    far->left_rad = INFINITY;
  } else if (far->met_count < road->obstacle_count && here_rad == road->obstacles[far->met_count].angle_rad) {
    strike(sim, road->obstacles[far->met_count].inertia_kg_m2);
    far->met_count++;
  }
  rest_on_corner(sim);
}

void sb_contact_book(struct sb_sim *sim, double elapsed_s)
{
  struct sb_segment *seg = sim->segment;
  const struct sb_far_segment *far = &seg->far;
  struct sb_energy *energy = &sim->sums.energy;
  const double turn = seg->gain.output_turn;
  energy->load_work += seg->gain.far_work_j - (far->is_bent ? seg->gain.traction_work_j : far->traction_nm * turn);
  energy->slip_loss += far->is_bent ? seg->gain.slip_lost_j : far->traction_nm * (turn - seg->gain.far_turn);
  if (!(elapsed_s > 0.0)) return;
  if (isnan(sim->sums.slip_first_s)) sim->sums.slip_first_s = seg->start_s;
  sim->sums.slip_last_s = sim->state.time_s;
  sim->sums.slip_s += elapsed_s;
}

/* Guards --------------------------------------------------------------------------------------------------------------- */

static bool is_slipping(const struct sb_sim *sim)
{
  return sim->state.far.is_slipping != 0;
}

static int lead_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const int lead = sim->state.far.slip_direction;
  falls[0] = sb_series_scaled(&m->w, m->degree, lead, 0.0);
  sb_series_add(&falls[0], &m->v, m->degree, -lead);
  return 1;
}

static void grip(struct sb_sim *sim)
{
  sim->state.far.speed_rad_s = sim->state.output_speed_rad_s;
}

static bool can_let_go(const struct sb_sim *sim)
{
  return road_of(sim)->can_slip && !is_slipping(sim) && sim->state.output_direction != 0;
}

/* Gripping wheels bring the vehicle its load and what speeds it up, in a direction. */
static int grip_falls(const struct sb_sim *sim, const struct sb_motion *m, int direction,
                      struct sb_series falls[SB_FALL_MAX])
{
  const struct sb_far_segment *far = &sim->segment->far;
  const struct sb_series rate = sb_series_slope(&m->w, m->degree);
  const double margin = 1.0 + 2.0 * same_grip;
  falls[0] = sb_series_scaled(&m->far_load, m->degree, -direction, far->is_bent ? 0.0 : far->grip_nm * margin);
  if (far->is_bent) {
    sb_series_add(&falls[0], &m->press, m->degree, road_of(sim)->static_friction_ratio * margin);
  }
  sb_series_add(&falls[0], &rate, m->degree, -direction * far->inertia / m->length_s);
  return 1;
}

static int forward_grip_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return grip_falls(sim, m, +1, falls);
}

static int back_grip_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  return grip_falls(sim, m, -1, falls);
}

static bool is_vehicle_moving(const struct sb_sim *sim)
{
  return is_slipping(sim) && sim->state.far.direction != 0;
}

static int vehicle_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  falls[0] = sb_series_scaled(&m->v, m->degree, sim->state.far.direction, 0.0);
  return 1;
}

static void stop_vehicle(struct sb_sim *sim)
{
  sim->state.far.speed_rad_s = 0.0;
}

static bool has_corner(const struct sb_sim *sim)
{
  return is_vehicle_moving(sim) && isfinite(sim->segment->far.limit_rad);
}

static int corner_falls(const struct sb_sim *sim, const struct sb_motion *m, struct sb_series falls[SB_FALL_MAX])
{
  const int direction = sim->state.far.direction;
  falls[0] = sb_series_scaled(&m->far_angle, m->degree, -direction, direction * sim->segment->far.limit_rad);
  return 1;
}

/* What lies beyond the contact does not change in time, and slipping wheels bring what they bring: a vehicle at rest
 * starts only when a new segment finds it able to. So there is no guard for its start. */
const struct sb_guard sb_contact_guards[] = {
    {is_slipping, lead_falls, grip, NULL},
    {can_let_go, forward_grip_falls, NULL, NULL},
    {can_let_go, back_grip_falls, NULL, NULL},
    {is_vehicle_moving, vehicle_falls, stop_vehicle, NULL},
    {has_corner, corner_falls, sb_contact_arrive, NULL},
    {NULL, NULL, NULL, NULL},
};
