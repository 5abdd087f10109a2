// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/stretch.h"

#include <assert.h>
#include <gsl/gsl_integration.h>
#include <math.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "base/gsl_quiet.h"
#include "sim/point.h"
#include "sim/start.h"

/*
 * By half the degree n. m places integrate s^k exactly up to k = 2 m - 1, and miss (m!)^4 / ((2 m + 1) (2 m)!^3) times the 2 m-th
 * derivative beyond. A product of two series whose terms fall like z^k / k! and vanish at n is at its worst exp(2 z s): 0.4 n + 1
 * places miss less than rounding; where the terms fall like z^k, fewer would do.
 */
enum { RULE_COUNT = SB_SERIES_DEGREE_MAX / 2 + 1 };
static struct sb_gauss rules[RULE_COUNT];
static atomic_bool has_rules;

static bool make_rule(struct sb_gauss *rule, int half_degree)
{
  SB_GSL_QUIET;
  rule->count = 4 * half_degree / 5 + 2;
  gsl_integration_glfixed_table *table = gsl_integration_glfixed_table_alloc((size_t)rule->count);
  if (table == NULL) return false;
  for (int i = 0; i < rule->count; i++) {
    gsl_integration_glfixed_point(0.0, 1.0, (size_t)i, &rule->place[i], &rule->weight[i], table);
  }
  gsl_integration_glfixed_table_free(table);
  return true;
}

/* The same for all threads; the first one that needs them makes them. */
static bool take_rules(void)
{
  static atomic_flag is_busy = ATOMIC_FLAG_INIT;
  struct sb_gauss made[RULE_COUNT] = {0};
  if (atomic_load(&has_rules)) return true;
  for (int k = 0; k < RULE_COUNT; k++) {
    if (!make_rule(&made[k], k)) return false;
  }
  while (atomic_flag_test_and_set(&is_busy)) {}
  if (!atomic_load(&has_rules)) memcpy(rules, made, sizeof rules);
  atomic_store(&has_rules, true);
  atomic_flag_clear(&is_busy);
  return true;
}

/* Factors that were needed last, for each gear, driving and in overrun, and each length in whole samples. */
enum { KEPT_ROWS = 8, KEPT_LENGTHS = SB_SIM_BLOCK };
static_assert(SB_SIM_BLOCK % SB_SERIES_LANES == 0, "places of a block fill the lanes");

struct sb_stretch *sb_stretch_new(void)
{
  struct sb_stretch *stretch =
      take_rules() ? calloc(1, sizeof *stretch + KEPT_ROWS * KEPT_LENGTHS * sizeof(struct sb_plain_factors)) : NULL;
  if (stretch != NULL) stretch->kept = (struct sb_plain_factors *)(void *)(stretch + 1);
  return stretch;
}

void sb_stretch_add_motor_gain(struct sb_motor_gain *sum, double weight, const struct sb_motor_gain *more)
{
  sum->turn += weight * more->turn;
  sum->square += weight * more->square;
  sum->battery_as += weight * more->battery_as;
  sum->battery_square += weight * more->battery_square;
}

void sb_stretch_add_gain(struct sb_gain *sum, double weight, const struct sb_gain *more)
{
  sb_stretch_add_motor_gain(&sum->motor, weight, &more->motor);
  sum->output_turn += weight * more->output_turn;
  sum->load_work_j += weight * more->load_work_j;
  sum->far_turn += weight * more->far_turn;
  sum->far_work_j += weight * more->far_work_j;
  sum->traction_work_j += weight * more->traction_work_j;
  sum->slip_lost_j += weight * more->slip_lost_j;
  sum->shaft_in_j += weight * more->shaft_in_j;
  sum->shaft_lost_j += weight * more->shaft_lost_j;
}

/* Torque --------------------------------------------------------------------------------------------------------------- */

/* The output is held by the load alone, in a gear or by a clutch that slips. */
static bool is_resting(const struct sb_sim *sim)
{
  const bool is_slipping = sim->state.link == SB_LINK_SLIP && sim->state.output_direction == 0;
  return is_slipping || (sb_segment_is_rigid(sim) && sim->state.motor_direction == 0);
}

/* What the gears take in while the output is at rest. */
static double pressed_nm(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const bool is_slipping = state->link == SB_LINK_SLIP;
  const double brought_nm = is_slipping ? state->slip_direction * state->plan.clutch_nm : seg->line.stall_nm;
  const double loss_nm = is_slipping ? sb_segment_gear(sim)->drag_nm : seg->line.friction_nm + seg->drag_nm;
  return brought_nm < 0.0 ? fmin(0.0, brought_nm + loss_nm) : fmax(0.0, brought_nm - loss_nm);
}

/* What slipping wheels at rest bring more than when the segment began, at the present instant or another one of the stretch. */
static double traction_change_nm(const struct sb_sim *sim, double time_s)
{
  const struct sb_motion *m = &sim->stretch->motion;
  if (!sim->state.far.is_slipping || !sim->segment->far.is_bent) return 0.0;
  if (time_s == sim->state.time_s) return sb_point_traction_change_nm(sim);
  const double share = (time_s - m->start_s) / m->length_s;
  return sb_point_traction_change_by_nm(sim, sb_series_at(&m->press, m->degree, share));
}

/* At rest the gear presses with what motor or clutch brings, but no more than moves the load nor less than the load
 * pushes back with; a shaft that gives stays as it is wound. */
static double resting_torque_nm(const struct sb_sim *sim, double time_s)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  const struct sb_gear *gear = &sim->model->gearbox.gears[state->gear];
  if (seg->has_spring) return sb_point_shaft_nm(sim);
  const double change_nm = traction_change_nm(sim, time_s);
  const double least_nm = sb_start_load_nm(sim, time_s, -1) + change_nm;
  const double greatest_nm = sb_start_load_nm(sim, time_s, +1) + change_nm;
  const double press_nm = pressed_nm(sim) * gear->efficiency / seg->per_motor;
  return fmin(fmax(press_nm, least_nm), greatest_nm);
}

double sb_stretch_delivered_nm(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_state *state = &sim->state;
  if (is_resting(sim)) return resting_torque_nm(sim, state->time_s);
  if (state->link != SB_LINK_MESH) return sb_point_clutch_nm(sim, state->output_direction);
  if (seg->has_spring) return sb_point_shaft_nm(sim);
  if (seg->has_straight_load)
    return sb_plain_torque_nm(seg, state->time_s - seg->curve.time_s, state->motor_speed_rad_s);
  const struct sb_point at = sb_point_now(sim);
  return at.load_nm + seg->output_inertia * seg->per_motor * at.x_rate;
}

/* Peaks ---------------------------------------------------------------------------------------------------------------- */

static void raise_peak(struct sb_peak *peak, double value, double time_s)
{
  if (fabs(value) > fabs(peak->value)) *peak = (struct sb_peak){value, time_s};
}

/* The output torque's, with what came before it. */
static void raise_torque(struct sb_sim *sim, double value, double time_s)
{
  struct sb_sums *sums = &sim->sums;
  if (!(fabs(value) > fabs(sums->output_torque_nm.value))) return;
  sums->output_torque_nm = (struct sb_peak){value, time_s};
  sums->torque_joined_s =
      sim->state.is_shifting ? time_s : sums->joined_s; /* a slipping clutch engages all the while */
  sums->torque_struck_s = sums->struck_s;
}

static void raise_speeds(struct sb_sim *sim, double time_s, double motor_speed, double output_speed)
{
  struct sb_sums *sums = &sim->sums;
  const int sense = sim->model->gearbox.gears[sim->state.gear].motor_direction;
  raise_peak(&sums->motor_speed_rad_s, sense * motor_speed, time_s);
  if (sim->has_few_sums) return;
  raise_peak(&sums->output_speed_rad_s, output_speed, time_s);
  raise_peak(&sums->motor_current_a, sb_motor_current_a(&sim->segment->line, motor_speed), time_s);
  if (output_speed < sums->least_output_speed_rad_s) sums->least_output_speed_rad_s = output_speed;
  if (output_speed > sums->greatest_output_speed_rad_s) sums->greatest_output_speed_rad_s = output_speed;
}

/* An output that is about to stop has not turned back, though rounding may say so. */
void sb_stretch_raise_speeds(struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const bool is_stopping = state->output_speed_rad_s * state->output_direction < 0.0;
  raise_speeds(sim, state->time_s, state->motor_speed_rad_s, is_stopping ? 0.0 : state->output_speed_rad_s);
}

void sb_stretch_raise_current(struct sb_sim *sim)
{
  const double current_a = sb_motor_current_a(&sim->segment->line, sim->state.motor_speed_rad_s);
  raise_peak(&sim->sums.motor_current_a, current_a, sim->state.time_s);
}

void sb_stretch_raise_torque(struct sb_sim *sim)
{
  raise_torque(sim, sb_stretch_delivered_nm(sim), sim->state.time_s);
}

/* Spells that begin within the time in which a torque lasts are judged together. */
static void begin_spell(struct sb_sim *sim, double begin_s)
{
  struct sb_sums *sums = &sim->sums;
  struct sb_stretch *stretch = sim->stretch;
  stretch->over_since_s = begin_s;
  stretch->over_before_s = sums->over_limit_s;
  if (sums->over_now.count == 0 || begin_s - sums->over_now.first_s >= SB_OVERLOAD_LASTS_S) {
    sb_energy_close_over_limit(sums, sim->model->limits.output_torque_nm);
    sums->over_now = (struct sb_over_limit){.first_s = begin_s};
  }
  sums->over_now.count++;
  stretch->spells_before_s = sums->over_now.total_s;
}

/* A time above the torque limit, as far as it has come: of a part that began at part_s, whatever rows lie between. */
struct over {
  double part_s, begin_s, end_s;
  double greatest_nm, impulse_nms; /* since the part began */
};

/* Books it. One that goes on is booked whole, so that rows between change no bit of it. */
static void book_over_limit(struct sb_sim *sim, const struct over *over)
{
  struct sb_sums *sums = &sim->sums;
  struct sb_stretch *stretch = sim->stretch;
  /* Where one stretch ends and the next begins, instants may differ by rounding. */
  const bool is_new = !(over->begin_s <= sums->over_limit_last_s + 1e-9 * sim->step_s);
  if (is_new) begin_spell(sim, over->begin_s);
  if (is_new || over->part_s != stretch->over_part_s) {
    stretch->over_part_s = over->part_s;
    stretch->impulse_before_nms = sums->over_now.impulse_nms;
    stretch->greatest_before_nm = sums->over_now.greatest_nm;
  }
  sums->over_now.last_s = over->end_s;
  sums->over_now.total_s = stretch->spells_before_s + (over->end_s - stretch->over_since_s);
  sums->over_now.greatest_nm = fmax(stretch->greatest_before_nm, over->greatest_nm);
  sums->over_now.impulse_nms = stretch->impulse_before_nms + over->impulse_nms;
  sums->over_limit_s = stretch->over_before_s + (over->end_s - stretch->over_since_s);
  sums->over_limit_last_s = over->end_s;
  if (isnan(sums->over_limit_first_s)) sums->over_limit_first_s = over->begin_s;
}

/* Adds the places where a polynomial changes its sign, sorted. */
static int add_roots(const struct sb_sim *sim, const struct sb_series *p, int degree, double *places, int count,
                     int max)
{
  double roots[SB_MARK_MAX];
  const int found = sb_series_roots(p, degree, 0.0, sim->root_solver, roots, max - count);
  for (int i = 0; i < found; i++) {
    int at = count++;
    for (; at > 0 && places[at - 1] > roots[i]; at--) places[at] = places[at - 1];
    places[at] = roots[i];
  }
  return count;
}

static int add_turns(const struct sb_sim *sim, const struct sb_series *p, double *places, int count)
{
  const int degree = sim->stretch->motion.degree;
  if (sb_series_is_monotone(p, degree)) return count;
  const struct sb_series slope = sb_series_slope(p, degree);
  return add_roots(sim, &slope, degree, places, count, SB_MARK_MAX);
}

/* Of what the torque's greatest value follows. */
static void mark_turns(struct sb_sim *sim, const struct sb_series *p)
{
  struct sb_stretch *stretch = sim->stretch;
  stretch->mark_count = add_turns(sim, p, stretch->marks, stretch->mark_count);
}

/* Of a speed. */
static void mark_speed(struct sb_sim *sim, const struct sb_series *p)
{
  struct sb_stretch *stretch = sim->stretch;
  stretch->turn_count = add_turns(sim, p, stretch->turns, stretch->turn_count);
}

/* Whether the output could become faster or slower than it has been. */
static bool can_raise_output(const struct sb_sim *sim, struct sb_range rad_s)
{
  const struct sb_sums *sums = &sim->sums;
  return !sim->has_few_sums &&
         (fmax(-rad_s.least, rad_s.greatest) > fabs(sums->output_speed_rad_s.value) ||
          rad_s.least < sums->least_output_speed_rad_s || rad_s.greatest > sums->greatest_output_speed_rad_s);
}

/* The motor could become faster than it has been, or take more; an output that turns with it, too. */
static bool can_raise_motor(const struct sb_sim *sim, struct sb_range rad_s)
{
  const struct sb_sums *sums = &sim->sums;
  const struct sb_motor_line *line = &sim->segment->line;
  if (fmax(-rad_s.least, rad_s.greatest) > fabs(sums->motor_speed_rad_s.value)) return true;
  if (sim->has_few_sums) return false;
  const double most_a =
      fmax(fabs(sb_motor_current_a(line, rad_s.least)), fabs(sb_motor_current_a(line, rad_s.greatest)));
  if (most_a > fabs(sums->motor_current_a.value)) return true;
  return sb_segment_is_rigid(sim) && can_raise_output(sim, sb_range_scaled(rad_s, sim->segment->per_motor));
}

/* At rest: what acts with what holds, and alone where a least hold is in force, and where that begins and ends. */
static void mark_resting(struct sb_sim *sim)
{
  struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  for (int i = 0; i < 2; i++) {
    struct sb_series both = m->acting[i];
    sb_series_add(&both, &m->holding[i], m->degree, i == 0 ? -1.0 : 1.0);
    mark_turns(sim, &both);
    mark_turns(sim, &m->acting[i]);
    const double least_nm = sim->segment->resting.least_hold_nm[i];
    if (!(least_nm > 0.0)) continue;
    const struct sb_series over = sb_series_scaled(&m->holding[i], m->degree, 1.0, -least_nm);
    stretch->mark_count = add_roots(sim, &over, m->degree, stretch->marks, stretch->mark_count, SB_MARK_MAX);
  }
}

/* Its rate is one exponential, then, whatever the output does: its speed goes one way only. */
static bool is_motor_free(const struct sb_sim *sim)
{
  return sim->state.link != SB_LINK_MESH;
}

/* Where speeds and torque turn over: their greatest values lie there, or at the ends. */
static void mark(struct sb_sim *sim)
{
  const struct sb_motion *m = &sim->stretch->motion;
  if (is_resting(sim)) {
    mark_resting(sim);
    return;
  }
  if (!is_motor_free(sim) && can_raise_motor(sim, m->x_range)) mark_speed(sim, &m->x);
  if (!sb_segment_is_rigid(sim) && can_raise_output(sim, m->w_range)) mark_speed(sim, &m->w);
  const double known_nm = fmax(fabs(sim->sums.output_torque_nm.value), sim->torque_asked_nm);
  const double least_nm = fmin(known_nm, sim->model->limits.output_torque_nm);
  if (sb_series_size(&m->torque, m->degree) > least_nm) mark_turns(sim, &m->torque);
}

/* It lies at an end, or where the torque turns over. */
static double greatest_between_nm(const struct sb_stretch *stretch, double from, double to)
{
  const struct sb_motion *m = &stretch->motion;
  double greatest_nm =
      fmax(fabs(sb_series_at(&m->torque, m->degree, from)), fabs(sb_series_at(&m->torque, m->degree, to)));
  for (int i = 0; i < stretch->mark_count; i++) {
    const double share = stretch->marks[i];
    if (!(share > from && share < to)) continue;
    greatest_nm = fmax(greatest_nm, fabs(sb_series_at(&m->torque, m->degree, share)));
  }
  return greatest_nm;
}

/* The torque keeps its sign in between. */
static double impulse_between_nms(const struct sb_motion *m, double from, double to)
{
  return m->length_s *
         fabs(sb_series_integral(&m->torque, m->degree, to) - sb_series_integral(&m->torque, m->degree, from));
}

/* Times between two shares with the torque above its limit. */
static void book_torque(struct sb_sim *sim, double from, double to)
{
  enum { PLACE_MAX = SB_MARK_MAX + 2 };
  const double limit_nm = sim->model->limits.output_torque_nm;
  const struct sb_motion *m = &sim->stretch->motion;
  if (!(sb_series_size(&m->torque, m->degree) > limit_nm)) return;
  double places[PLACE_MAX] = {0.0};
  int count = 1;
  for (int sign = -1; sign <= 1; sign += 2) {
    const struct sb_series above = sb_series_scaled(&m->torque, m->degree, sign, -limit_nm);
    count = add_roots(sim, &above, m->degree, places, count, PLACE_MAX - 1);
  }
  places[count] = 1.0;
  for (int i = 0; i < count; i++) {
    const double begin = fmax(places[i], from), end = fmin(places[i + 1], to);
    if (!(begin < end)) continue;
    if (!(fabs(sb_series_at(&m->torque, m->degree, 0.5 * (begin + end))) > limit_nm)) continue;
    book_over_limit(sim, &(struct over){.part_s = m->start_s + places[i] * m->length_s,
                                        .begin_s = m->start_s + begin * m->length_s,
                                        .end_s = m->start_s + end * m->length_s,
                                        .greatest_nm = greatest_between_nm(sim->stretch, places[i], end),
                                        .impulse_nms = impulse_between_nms(m, places[i], end)});
  }
}

/* Moving --------------------------------------------------------------------------------------------------------------- */

/* The factors of a length: those that are kept in its place, or new ones. */
static const struct sb_plain_factors *factors_of(struct sb_sim *sim, double length_s)
{
  const double per_s = -sim->segment->motor_rate.lin, samples = length_s * sim->samples_per_s;
  const unsigned row = (unsigned)(2 * sim->state.gear + sim->state.is_driving) % KEPT_ROWS;
  const unsigned column = (unsigned)(samples < KEPT_LENGTHS ? samples + 0.5 : 0.0) % KEPT_LENGTHS;
  struct sb_plain_factors *kept = &sim->stretch->kept[row * KEPT_LENGTHS + column];
  if (kept->length_s != length_s || kept->per_s != per_s) sb_plain_take_factors(length_s, per_s, kept);
  return kept;
}

/* Those of a share of a plain stretch; of the whole one they are at hand, unless others took their place. */
static const struct sb_plain_factors *factors_to(struct sb_sim *sim, double share)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_plain_factors *whole = stretch->whole;
  const bool is_kept = whole->length_s == stretch->length_s && whole->per_s == -sim->segment->motor_rate.lin;
  return share == 1.0 && is_kept ? whole : factors_of(sim, share * stretch->length_s);
}

static void build(struct sb_sim *sim, double to_s, double length_s)
{
  struct sb_stretch *stretch = sim->stretch;
  struct sb_motion *m = &stretch->motion;
  sb_motion_build(sim, length_s, m);
  stretch->length_s = m->length_s;
  stretch->guard = sb_guard_first(sim, m, &stretch->end_share);
  if (stretch->guard == NULL) stretch->end_share = 1.0;
  const bool is_whole = stretch->guard == NULL && m->length_s == length_s;
  stretch->end_s = is_whole ? to_s : m->start_s + stretch->end_share * m->length_s;
  mark(sim);
}

/* What a stretch begins with, however it goes on. */
static void begin_motion(struct sb_sim *sim)
{
  struct sb_stretch *stretch = sim->stretch;
  const struct sb_state *state = &sim->state;
  sb_stretch_take_gain(sim); /* of the one before */
  stretch->share = stretch->peak_share = 0.0;
  stretch->start_s = state->time_s;
  stretch->turned_rad = state->turned_rad;
  stretch->angle_rad = state->output_angle_rad;
  stretch->plain = (struct sb_plain_start){state->motor_speed_rad_s, state->time_s - sim->segment->curve.time_s};
  stretch->has_base = false;
  stretch->mark_count = stretch->turn_count = 0;
  stretch->begun_count++;
}

bool sb_stretch_begin_plainly(struct sb_sim *sim, double to_s, double length_s)
{
  struct sb_stretch *stretch = sim->stretch;
  begin_motion(sim);
  stretch->whole = factors_of(sim, length_s);
  stretch->plain_end = sb_plain_end(&sim->segment->motor_rate, stretch->whole, &stretch->plain);
  if (!sb_plain_is_eventless(sim, length_s, &stretch->plain, &stretch->plain_end)) return false;
  stretch->is_under_way = stretch->is_plain = true;
  stretch->is_apart = false;
  stretch->guard = NULL;
  stretch->end_share = 1.0;
  stretch->end_s = to_s;
  stretch->length_s = length_s;
  return true;
}

/* In neutral, if what happens first can be told so. */
static bool begin_apart(struct sb_sim *sim, double to_s, double length_s)
{
  struct sb_stretch *stretch = sim->stretch;
  struct sb_neutral_way way;
  const struct sb_neutral_start start = sb_neutral_start(sim);
  if (!sb_neutral_way(sim, &start, length_s, &way)) return false;
  begin_motion(sim);
  stretch->is_under_way = stretch->is_plain = stretch->is_apart = true;
  stretch->guard = way.guard;
  stretch->end_share = 1.0;
  stretch->end_s = way.guard == NULL ? to_s : stretch->start_s + way.length_s;
  stretch->length_s = way.length_s;
  stretch->apart = start.output;
  stretch->plain_end = sb_neutral_end(sim->segment, &start, way.length_s).motor;
  return true;
}

void sb_stretch_begin(struct sb_sim *sim, double to_s, double length_s)
{
  struct sb_stretch *stretch = sim->stretch;
  if (sb_plain_applies(sim) && sb_stretch_begin_plainly(sim, to_s, length_s)) return;
  if (sb_neutral_applies(sim) && begin_apart(sim, to_s, length_s)) return;
  begin_motion(sim);
  stretch->is_under_way = true;
  stretch->is_plain = stretch->is_apart = false;
  stretch->series_count++;
  build(sim, to_s, length_s);
}

static void take_state(struct sb_sim *sim, double share, double motor_turn)
{
  struct sb_state *state = &sim->state;
  const struct sb_motion *m = &sim->stretch->motion;
  if (sb_segment_is_rigid(sim)) {
    state->output_speed_rad_s = sim->segment->per_motor * state->motor_speed_rad_s;
    state->output_angle_rad = sim->stretch->angle_rad + sim->segment->per_motor * motor_turn;
  } else {
    state->output_speed_rad_s = sb_series_at(&m->w, m->degree, share);
    state->output_angle_rad = sb_series_at(&m->angle, m->degree, share);
  }
  if (m->has_far) {
    state->far.speed_rad_s = sb_series_at(&m->v, m->degree, share);
    state->far.angle_rad = sb_series_at(&m->far_angle, m->degree, share);
  }
  if (sim->segment->has_spring) state->twist.twist_rad = sb_series_at(&m->twist, m->degree, share);
}

/* At rest: the instant, between two at which the torque is below and above a level, when it crosses it. */
static double crossing_s(const struct sb_sim *sim, double level_nm, double begin_s, double end_s)
{
  const bool is_above = resting_torque_nm(sim, begin_s) > level_nm;
  for (int i = 0; i < 50; i++) {
    const double middle_s = 0.5 * (begin_s + end_s);
    if ((resting_torque_nm(sim, middle_s) > level_nm) == is_above) {
      begin_s = middle_s;
    } else {
      end_s = middle_s;
    }
  }
  return end_s;
}

/* At rest beyond the limit: between two instants of a part the torque rises or falls as if evenly. */
static void book_resting(struct sb_sim *sim, double part_s, double begin_s, double end_s)
{
  const double limit_nm = sim->model->limits.output_torque_nm;
  const double part_nm = fmax(fabs(resting_torque_nm(sim, part_s)), limit_nm),
               end_nm = fabs(resting_torque_nm(sim, end_s));
  book_over_limit(sim, &(struct over){.part_s = part_s,
                                      .begin_s = begin_s,
                                      .end_s = end_s,
                                      .greatest_nm = fmax(part_nm, end_nm),
                                      .impulse_nms = 0.5 * (part_nm + end_nm) * (end_s - part_s)});
}

/* At rest between two instants between which the load neither turns over nor jumps and the torque keeps its sign (+1 or -1); they are in a
 * part that began at part_s. */
static void take_one_sided_rest(struct sb_sim *sim, int sign, double part_s, double begin_s, double end_s)
{
  const double limit_nm = sim->model->limits.output_torque_nm;
  const bool is_beyond = sign * resting_torque_nm(sim, begin_s) > limit_nm;
  if (is_beyond == (sign * resting_torque_nm(sim, end_s) > limit_nm)) {
    /* A part that began within the limit went beyond it since, which was booked then. */
    const bool is_from_part = sign * resting_torque_nm(sim, part_s) > limit_nm;
    if (is_beyond) book_resting(sim, is_from_part ? part_s : sim->stretch->over_part_s, begin_s, end_s);
    return;
  }
  const double middle_s = crossing_s(sim, sign * limit_nm, begin_s, end_s);
  if (is_beyond) {
    book_resting(sim, part_s, begin_s, middle_s);
  } else {
    book_resting(sim, middle_s, middle_s, end_s);
  }
}

/* Likewise, whatever the torque's sign. */
static void take_rest(struct sb_sim *sim, double part_s, double begin_s, double end_s)
{
  const double begin_nm = resting_torque_nm(sim, begin_s), end_nm = resting_torque_nm(sim, end_s);
  const int sign = (end_nm != 0.0 ? end_nm : begin_nm) < 0.0 ? -1 : +1;
  raise_torque(sim, end_nm, end_s);
  if (begin_nm * end_nm < 0.0) {
    const double middle_s = crossing_s(sim, 0.0, begin_s, end_s);
    take_one_sided_rest(sim, -sign, part_s, begin_s, middle_s);
    begin_s = middle_s;
  }
  take_one_sided_rest(sim, sign, part_s, begin_s, end_s);
}

void sb_stretch_rest(struct sb_sim *sim, double to_s)
{
  const struct sb_stretch *stretch = sim->stretch;
  const double now_s = sim->state.time_s;
  if (!(to_s > now_s)) return;
  /* Under a load that stays a time above the limit is one part from its beginning on. */
  take_rest(sim, now_s == sim->sums.over_limit_last_s ? stretch->over_since_s : now_s, now_s, to_s);
}

static void take_rests(struct sb_sim *sim, double from, double to)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  double begin = from, part = 0.0;
  for (int i = 0; i < stretch->mark_count; i++) {
    const double share = stretch->marks[i];
    if (share <= from) part = fmax(part, share);
    if (!(share > begin && share < to)) continue;
    take_rest(sim, m->start_s + part * m->length_s, m->start_s + begin * m->length_s, m->start_s + share * m->length_s);
    begin = part = share;
  }
  take_rest(sim, m->start_s + part * m->length_s, m->start_s + begin * m->length_s, m->start_s + to * m->length_s);
}

/* The greatest values between two shares, and the times above a limit. */
static void take_peaks(struct sb_sim *sim, double from, double to)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  const bool has_rest = is_resting(sim);
  if (has_rest) take_rests(sim, from, to);
  if (has_rest && sim->state.link == SB_LINK_MESH) return;
  for (int i = 0; i < stretch->turn_count; i++) {
    const double share = stretch->turns[i];
    if (!(share > from && share < to)) continue;
    raise_speeds(sim, m->start_s + share * m->length_s, sb_series_at(&m->x, m->degree, share),
                 sb_series_at(&m->w, m->degree, share));
  }
  if (has_rest) return;
  for (int i = 0; i < stretch->mark_count; i++) {
    const double share = stretch->marks[i];
    if (!(share > from && share < to)) continue;
    raise_torque(sim, sb_series_at(&m->torque, m->degree, share), m->start_s + share * m->length_s);
  }
  raise_torque(sim, sb_series_at(&m->torque, m->degree, to), m->start_s + to * m->length_s);
  book_torque(sim, from, to);
}

/* At a share of a plain stretch. */
static struct sb_plain_end plain_at(struct sb_sim *sim, double share)
{
  const struct sb_stretch *stretch = sim->stretch;
  if (!(share < 1.0)) return stretch->plain_end;
  return sb_plain_end(&sim->segment->motor_rate, factors_of(sim, share * stretch->length_s), &stretch->plain);
}

static struct sb_neutral_start apart_from(const struct sb_stretch *stretch)
{
  return (struct sb_neutral_start){stretch->plain, stretch->apart};
}

/* Motor and output each by itself. Returns the motor's turn. */
static double move_apart(struct sb_sim *sim, double share)
{
  const struct sb_stretch *stretch = sim->stretch;
  struct sb_state *state = &sim->state;
  const struct sb_neutral_start from = apart_from(stretch);
  const struct sb_neutral_end end = sb_neutral_end(sim->segment, &from, share * stretch->length_s);
  state->motor_speed_rad_s = end.motor.x;
  state->output_speed_rad_s = end.output.x;
  state->output_angle_rad = stretch->angle_rad + end.output.turn;
  return end.motor.turn;
}

/* Returns the motor's turn. */
static double move_plainly(struct sb_sim *sim, double share)
{
  const struct sb_plain_end end = plain_at(sim, share);
  sim->state.motor_speed_rad_s = end.x;
  return end.turn;
}

static double move_by_series(struct sb_sim *sim, double share)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  sim->state.motor_speed_rad_s = sb_series_at(&m->x, m->degree, share);
  return sb_series_at(&m->turn, m->degree, share);
}

void sb_stretch_move(struct sb_sim *sim, double share)
{
  struct sb_stretch *stretch = sim->stretch;
  if (!(share > stretch->share)) return;
  double motor_turn;
  if (stretch->is_apart) {
    motor_turn = move_apart(sim, share);
  } else {
    motor_turn = stretch->is_plain ? move_plainly(sim, share) : move_by_series(sim, share);
    take_state(sim, share, motor_turn);
  }
  if (sim->state.is_turned) sim->state.turned_rad = stretch->turned_rad + motor_turn;
  stretch->share = share;
  stretch->is_gain_due = true;
}

void sb_stretch_look(struct sb_sim *sim, int count, const double *shares, double *motor_speed_rad_s,
                     double *output_angle_rad)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  double turn[SB_SIM_BLOCK];
  if (stretch->is_plain) {
    for (int i = 0; i < count; i++) {
      const struct sb_plain_end end = plain_at(sim, shares[i]);
      motor_speed_rad_s[i] = end.x;
      turn[i] = end.turn;
    }
  } else {
    sb_series_at_all(&m->x, m->degree, count, shares, motor_speed_rad_s);
    if (output_angle_rad != NULL) sb_series_at_all(&m->turn, m->degree, count, shares, turn);
  }
  if (output_angle_rad == NULL) return;
  for (int i = 0; i < count; i++) output_angle_rad[i] = stretch->angle_rad + sim->segment->per_motor * turn[i];
}

/* A plain motion's speed goes one way only: its rate is an exponential and a constant, which have the same sign at both ends. */
struct sb_range sb_stretch_speed_range(const struct sb_sim *sim)
{
  static const double rounding = 1e-9; /* far more than that of any share's value */
  const struct sb_stretch *stretch = sim->stretch;
  const double first = stretch->plain.x, last = stretch->plain_end.x;
  const struct sb_range range =
      stretch->is_plain ? (struct sb_range){fmin(first, last), fmax(first, last)} : stretch->motion.x_range;
  const double slack = rounding * fmax(-range.least, range.greatest);
  return (struct sb_range){range.least - slack, range.greatest + slack};
}

/* The battery's current under a held one is no polynomial of the speed, but as good as one of this many places. */
static const struct sb_gauss *rule_of(const struct sb_sim *sim)
{
  return sim->segment->piece.held_a != 0.0 ? &rules[RULE_COUNT - 1] : &rules[sim->stretch->motion.degree / 2];
}

/* A plain motion: torque and speeds go one way only, so their greatest values lie at the ends. */
static void take_plain_peak(struct sb_sim *sim)
{
  const struct sb_stretch *stretch = sim->stretch;
  const double part_s = stretch->share * stretch->length_s;
  raise_torque(sim, sb_plain_torque_nm(sim->segment, stretch->plain.tau_s + part_s, sim->state.motor_speed_rad_s),
               stretch->start_s + part_s);
}

void sb_stretch_take_gain(struct sb_sim *sim)
{
  struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  if (!stretch->is_gain_due) return;
  stretch->is_gain_due = false;
  if (stretch->is_plain) {
    if (!stretch->is_apart) take_plain_peak(sim); /* neutral delivers nothing */
  } else {
    take_peaks(sim, stretch->peak_share, stretch->share);
  }
  stretch->peak_share = stretch->share;
  struct sb_gain *sum = &sim->segment->gain;
  if (stretch->has_base) {
    *sum = stretch->base;
  } else {
    stretch->base = *sum;
    stretch->has_base = true;
  }
  if (stretch->is_apart) {
    const struct sb_neutral_start from = apart_from(stretch);
    sb_neutral_add_gain(sim->segment, &from, stretch->share * stretch->length_s, sb_segment_has_few_sums(sim), sum);
    return;
  }
  if (stretch->is_plain) {
    sb_plain_add_gain(sim->segment, factors_to(sim, stretch->share), &stretch->plain, sb_segment_has_few_sums(sim),
                      sum);
    return;
  }
  const struct sb_gain gain = sb_motion_gain(sim, m, rule_of(sim), stretch->share);
  sb_stretch_add_gain(sum, 1.0, &gain);
}

/* The motor's speed and its turn at a share of the stretch. */
static struct sb_plain_end motor_at(const struct sb_sim *sim, double share)
{
  const struct sb_stretch *stretch = sim->stretch;
  const struct sb_motion *m = &stretch->motion;
  if (!stretch->is_plain) {
    return (struct sb_plain_end){sb_series_at(&m->x, m->degree, share), sb_series_at(&m->turn, m->degree, share)};
  }
  if (share == 1.0) return stretch->plain_end;
  struct sb_plain_factors factors;
  sb_plain_take_factors(share * stretch->length_s, -sim->segment->motor_rate.lin, &factors);
  return sb_plain_end(&sim->segment->motor_rate, &factors, &stretch->plain);
}

double sb_stretch_turn(const struct sb_sim *sim, double share)
{
  return motor_at(sim, share).turn;
}

/* The motor turns one way throughout: Newton's method between bounds that close in. */
double sb_stretch_turned_s(const struct sb_sim *sim, double turn_rad)
{
  enum { ROUND_MAX = 100 };
  const struct sb_stretch *stretch = sim->stretch;
  const double whole_rad = motor_at(sim, stretch->end_share).turn;
  double low = 0.0, high = stretch->end_share, share = high * (turn_rad / whole_rad);
  for (int i = 0; i < ROUND_MAX; i++) {
    const struct sb_plain_end at = motor_at(sim, share);
    const double beyond_rad = at.turn - turn_rad;
    if (beyond_rad == 0.0) break;
    if ((beyond_rad > 0.0) == (whole_rad > 0.0)) {
      high = share;
    } else {
      low = share;
    }
    double next = share - beyond_rad / (at.x * stretch->length_s);
    if (!(next > low && next < high)) next = 0.5 * (low + high);
    if (fabs(next - share) <= 1e-16 || next == low || next == high) break;
    share = next;
  }
  return stretch->start_s + share * stretch->length_s;
}
