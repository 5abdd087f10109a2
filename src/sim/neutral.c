// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/neutral.h"

#include <math.h>

#include "base/elementary.h"
#include "sim/chopper.h"
#include "sim/plain_events.h"
#include "sim/rest.h"
#include "sim/start.h"

bool sb_neutral_applies(const struct sb_sim *sim)
{
  const struct sb_segment *seg = sim->segment;
  return sim->state.link == SB_LINK_OPEN && seg->has_straight_load && !sim->model->load.road.is_present &&
         seg->motor_rate.lin <= 0.0 && seg->output_rate.lin <= 0.0 && seg->piece.held_a == 0.0 &&
         !(sb_shifter_clutch_nm(&sim->model->shifter) > 0.0);
}

struct sb_neutral_start sb_neutral_start(const struct sb_sim *sim)
{
  const struct sb_state *state = &sim->state;
  const double tau_s = state->time_s - sim->segment->curve.time_s;
  return (struct sb_neutral_start){{state->motor_speed_rad_s, tau_s}, {state->output_speed_rad_s, tau_s}};
}

static struct sb_plain_end end_of(const struct sb_poly *rate, const struct sb_plain_start *start, double length_s)
{
  struct sb_plain_factors factors;
  sb_plain_take_factors(length_s, -rate->lin, &factors);
  return sb_plain_end(rate, &factors, start);
}

struct sb_neutral_end sb_neutral_end(const struct sb_segment *seg, const struct sb_neutral_start *start,
                                     double length_s)
{
  return (struct sb_neutral_end){end_of(&seg->motor_rate, &start->motor, length_s),
                                 end_of(&seg->output_rate, &start->output, length_s)};
}

/* When ---------------------------------------------------------------------------------------------------------------- */

/* What is to be reached, by a speed that goes one way or a turn that does. */
struct goal {
  const struct sb_poly *rate;
  const struct sb_plain_start *start;
  bool is_turn; /* else the speed 0 */
  double turn;
};

static double beyond(const struct goal *goal, double time_s, double *slope)
{
  const struct sb_plain_end at = end_of(goal->rate, goal->start, time_s);
  *slope = goal->is_turn ? at.x : sb_plain_value(goal->rate, goal->start->tau_s + time_s, at.x);
  return goal->is_turn ? at.turn - goal->turn : at.x;
}

/* Newton's method between bounds that close in: at 0 and at high_s the signs differ. */
static double sought_s(const struct goal *goal, double high_s)
{
  enum { ROUND_MAX = 100 };
  static const double rounding = 2e-16;
  double slope, low = 0.0, high = high_s;
  const double first = beyond(goal, 0.0, &slope), last = beyond(goal, high_s, &slope);
  double at_s = high_s * first / (first - last);
  for (int i = 0; i < ROUND_MAX; i++) {
    const double value = beyond(goal, at_s, &slope);
    if (value == 0.0) break;
    if ((value > 0.0) == (first > 0.0)) {
      low = at_s;
    } else {
      high = at_s;
    }
    double next = at_s - value / slope;
    if (!(next > low && next < high)) next = 0.5 * (low + high);
    if (fabs(next - at_s) <= rounding * high_s || next == low || next == high) break;
    at_s = next;
  }
  return at_s;
}

/* When a speed that goes one way is 0: x = x0 + q (exp(lin t) - 1) / lin, unless its push changes with time. */
static double stop_s(const struct sb_poly *rate, const struct sb_plain_start *start, double high_s)
{
  const struct goal goal = {.rate = rate, .start = start};
  if (rate->per_s != 0.0) return sought_s(&goal, high_s);
  const double share = -start->x / sb_plain_value(rate, start->tau_s, start->x);
  return fmin(rate->lin < 0.0 ? sb_elementary_log(1.0 + rate->lin * share) / rate->lin : share, high_s);
}

/* What may end it ------------------------------------------------------------------------------------------------------ */

static void take_sooner(struct sb_neutral_way *way, double time_s, int event)
{
  if (!(time_s < way->length_s) && way->guard != NULL) return;
  way->length_s = time_s;
  way->guard = &sb_plain_events[event];
}

static void watch_motor(const struct sb_sim *sim, const struct sb_neutral_start *start, struct sb_neutral_way *way)
{
  const struct sb_poly *rate = &sim->segment->motor_rate;
  const int direction = sim->state.motor_direction;
  if (direction == 0 || end_of(rate, &start->motor, way->length_s).x * direction > 0.0) return;
  take_sooner(way, stop_s(rate, &start->motor, way->length_s), SB_EVENT_FREE_MOTOR_STOPS);
}

/* A rate that is a constant and an exponential has one sign throughout if it has it at both ends. */
static bool goes_one_way(const struct sb_poly *rate, const struct sb_plain_start *start, double length_s,
                         const struct sb_plain_end *end)
{
  if (rate->per_s == 0.0) return true;
  const double first = sb_plain_value(rate, start->tau_s, start->x);
  return first * sb_plain_value(rate, start->tau_s + length_s, end->x) > 0.0;
}

static bool watch_moving(const struct sb_sim *sim, const struct sb_neutral_start *start, struct sb_neutral_way *way)
{
  const struct sb_segment *seg = sim->segment;
  const struct sb_poly *rate = &seg->output_rate;
  const int direction = sim->state.output_direction;
  struct sb_plain_end end = end_of(rate, &start->output, way->length_s);
  if (!goes_one_way(rate, &start->output, way->length_s, &end)) return false;
  if (!(end.x * direction > 0.0)) {
    if (!(start->output.x * direction > 0.0)) return false;
    take_sooner(way, stop_s(rate, &start->output, way->length_s), SB_EVENT_OUTPUT_STOPS);
    end = end_of(rate, &start->output, way->length_s);
  }
  const double angle_rad = sim->state.output_angle_rad + end.turn;
  return (seg->angle_limit_rad - angle_rad) * direction > 0.0;
}

static bool is_straight(const struct sb_load_curve *curve)
{
  return curve->wave_count == 0;
}

/* What holds it grows or falls evenly, so what is too much to start at both ends is so throughout. */
static bool stays_at_rest(const struct sb_sim *sim, double length_s)
{
  static const double strictness = 2.0; /* as start.h says of who waits for a start */
  const struct sb_resting *resting = &sim->segment->resting;
  if (sb_rest_is_steady(resting)) return true;
  for (int i = 0; i < 2; i++) {
    if (!is_straight(&resting->acting[i]) || !is_straight(&resting->holding[i]) || resting->least_hold_nm[i] > 0.0)
      return false;
    const int direction = i == 0 ? -1 : +1;
    const double now_s = sim->state.time_s;
    if (sb_start_output_margin(sim, now_s, direction, strictness) > 0.0 ||
        sb_start_output_margin(sim, now_s + length_s, direction, strictness) > 0.0)
      return false;
  }
  return true;
}

static bool watch_output(const struct sb_sim *sim, const struct sb_neutral_start *start, struct sb_neutral_way *way)
{
  if (sim->state.output_direction == 0) return stays_at_rest(sim, way->length_s);
  return watch_moving(sim, start, way);
}

static void watch_turn(const struct sb_sim *sim, const struct sb_neutral_start *start, struct sb_neutral_way *way)
{
  const struct sb_state *state = &sim->state;
  const struct goal goal = {.rate = &sim->segment->motor_rate,
                            .start = &start->motor,
                            .is_turn = true,
                            .turn = state->plan.engage_turn_rad - state->turned_rad};
  if (!state->is_turned || isinf(state->plan.engage_turn_rad)) return;
  if (end_of(goal.rate, goal.start, way->length_s).turn < goal.turn) return;
  take_sooner(way, sought_s(&goal, way->length_s), SB_EVENT_TURNED_ENOUGH);
}

/* Where the driver limits the current. */
static bool stays_on_piece(const struct sb_sim *sim, const struct sb_neutral_start *start, double length_s)
{
  if (!(sim->model->supply.current_limit_a > 0.0) || sim->state.motor_direction == 0) return true;
  return sb_chopper_is_on_piece(sim, start->motor.x) &&
         sb_chopper_is_on_piece(sim, end_of(&sim->segment->motor_rate, &start->motor, length_s).x);
}

bool sb_neutral_way(const struct sb_sim *sim, const struct sb_neutral_start *start, double length_s,
                    struct sb_neutral_way *out)
{
  *out = (struct sb_neutral_way){length_s, NULL};
  watch_motor(sim, start, out);
  if (!watch_output(sim, start, out)) return false;
  watch_turn(sim, start, out);
  return out->length_s > 0.0 && stays_on_piece(sim, start, out->length_s);
}

void sb_neutral_add_gain(const struct sb_segment *seg, const struct sb_neutral_start *start, double length_s,
                         bool has_few_sums, struct sb_gain *sum)
{
  struct sb_plain_factors motor, output;
  sb_plain_take_factors(length_s, -seg->motor_rate.lin, &motor);
  sb_plain_take_factors(length_s, -seg->output_rate.lin, &output);
  const struct sb_plain_sums of_motor =
      sb_plain_sums(&seg->motor_rate, &seg->load, &motor, &start->motor, has_few_sums);
  const struct sb_plain_sums of_output =
      sb_plain_sums(&seg->output_rate, &seg->load, &output, &start->output, has_few_sums);
  sum->motor.turn += of_motor.turn;
  sum->motor.square += of_motor.square;
  sum->output_turn += of_output.turn;
  sum->load_work_j += of_output.load_turn;
}
