// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/feed.h"

#include <math.h>

#include "sim/chopper.h"
#include "theory/steady.h"

long long sb_feed_steps_per_tick(const struct sb_model *model, double step_s)
{
  const bool has_ticks = model->battery.is_present || model->winding.is_present || sb_drive_is_moving(&model->drive);
  if (!has_ticks) return 0;
  const long long steps = sb_model_step_count(model->drive.period_s, step_s);
  return steps > 0 ? steps : 1;
}

/* Neither a stop was ordered nor has a switch opened. */
static bool is_on(const struct sb_feed *feed)
{
  return feed->drive.command != SB_COMMAND_STOP && !feed->is_cut_out && !feed->is_empty;
}

/* What feeds the motor. A driver that the battery's cut-off has left without supply limits nothing. */
static struct sb_motor_circuit present_circuit(const struct sb_sim *sim)
{
  const struct sb_supply *supply = &sim->model->supply;
  const struct sb_feed *feed = &sim->state.feed;
  return (struct sb_motor_circuit){.voltage_v = feed->voltage_v,
                                   .motor_ohm = feed->resistance_ohm,
                                   .supply_ohm = supply->internal_resistance_ohm,
                                   .magnet_ratio = feed->magnet_ratio,
                                   .limit_a = feed->is_empty ? 0.0 : supply->current_limit_a};
}

static bool is_open(const struct sb_sim *sim)
{
  const bool is_cut = sim->state.link != SB_LINK_MESH && sim->state.plan.is_drive_cut;
  return is_cut || (!is_on(&sim->state.feed) && sim->model->drive.off == SB_OFF_COAST);
}

static double asked_duty(const struct sb_sim *sim)
{
  return is_on(&sim->state.feed) ? sim->state.feed.drive.duty : 0.0;
}

/* The motor's line at what the feed holds, and which piece of it holds at the present speed; field by field into their places, for
 * a copy would wait for all of them. Returns the piece's number. */
static int take_line(const struct sb_sim *sim, struct sb_motor_line *line, struct sb_limiter_piece *piece)
{
  const struct sb_motor *motor = &sim->model->motor;
  const bool is_cut = is_open(sim);
  const double duty = is_cut ? 0.0 : asked_duty(sim);
  piece->asked = piece->duty = duty;
  piece->held_a = 0.0;
  piece->from_rad_s = -INFINITY;
  piece->to_rad_s = INFINITY;
  if (is_cut) {
    *line = sb_motor_line_open(motor);
    return SB_LIMITER_FREE;
  }
  const struct sb_motor_circuit circuit = present_circuit(sim);
  if (!(circuit.limit_a > 0.0)) {
    *line = sb_motor_line_of_circuit(motor, &circuit, duty);
    return SB_LIMITER_FREE;
  }
  const double slack_rad_s = 2.0 * sb_chopper_slack_rad_s(sim), x = sim->state.motor_speed_rad_s;
  const int number = sb_limiter_number(motor, &circuit, duty, x, (int)sim->state.feed.piece, slack_rad_s);
  *piece = sb_limiter_piece(motor, &circuit, duty, number);
  *line = sb_limiter_line(motor, &circuit, duty, number);
  return number;
}

/* What the battery gives at the present speed, A. */
static double battery_a(const struct sb_sim *sim, const struct sb_motor_line *line,
                        const struct sb_limiter_piece *piece)
{
  const double x = sim->state.motor_speed_rad_s;
  return sb_limiter_duty(piece, x) * sb_motor_current_a(line, x);
}

static double charge_after(const struct sb_sim *sim, double drawn_as)
{
  const struct sb_battery *battery = &sim->model->battery;
  const double left = battery->charge_fraction - drawn_as / battery->capacity_as;
  return fmin(fmax(left, 0.0), 1.0);
}

static double open_voltage_v(const struct sb_sim *sim, double drawn_as)
{
  const struct sb_model *model = sim->model;
  return model->battery.is_present ? sb_battery_voltage_v(&model->battery, charge_after(sim, drawn_as))
                                   : model->supply.open_circuit_voltage_v;
}

static double winding_ohm(const struct sb_sim *sim, double winding_c)
{
  const struct sb_model *model = sim->model;
  const double cold_ohm = model->motor.resistance_ohm;
  return model->winding.is_present ? cold_ohm * sb_winding_resistance_ratio(&model->winding, winding_c) : cold_ohm;
}

/* In a while from now, of a winding that will be so warm by then. */
static double magnet_ratio_soon(const struct sb_sim *sim, double winding_c, double duration_s)
{
  const struct sb_winding *winding = &sim->model->winding;
  const struct sb_magnet *magnet = &sim->model->magnet;
  if (!magnet->is_present) return 1.0;
  const struct sb_warmth soon = {winding_c, sb_winding_housing_soon_c(winding, &sim->state.feed.warmth, duration_s)};
  return sb_magnet_ratio(magnet, sb_magnet_c(winding, &soon));
}

/*
 * What is held until the next tick is what there will be in the middle, were the present current to flow until then. The
 * error of the middle is of second order in the period, though voltage, resistance and magnets held so far, of half a period
 * ago, give this current: so is all that follows, right after a switch, too.
 */
static void look_ahead(struct sb_sim *sim, const struct sb_motor_line *line, const struct sb_limiter_piece *piece)
{
  struct sb_feed *feed = &sim->state.feed;
  const struct sb_winding *winding = &sim->model->winding;
  const double half_s = 0.5 * sim->tick_s;
  if (!sim->model->battery.is_present && !winding->is_present) return;
  const double current_a = sb_motor_current_a(line, sim->state.motor_speed_rad_s);
  const double loss_w = feed->resistance_ohm * current_a * current_a;
  feed->voltage_v = open_voltage_v(sim, feed->drawn_as + battery_a(sim, line, piece) * half_s);
  if (!winding->is_present) return;
  const double winding_c = sb_winding_soon_c(winding, &feed->warmth, loss_w, half_s);
  feed->resistance_ohm = winding_ohm(sim, winding_c);
  feed->magnet_ratio = magnet_ratio_soon(sim, winding_c, half_s);
}

bool sb_feed_is_settled(const struct sb_sim *sim)
{
  const struct sb_model *model = sim->model;
  if (model->battery.is_present || model->winding.is_present) return false;
  return sb_drive_is_settled(&model->drive, &sim->state.feed.drive, sim->state.time_s);
}

void sb_feed_start(struct sb_sim *sim)
{
  struct sb_feed *feed = &sim->state.feed;
  const struct sb_winding *winding = &sim->model->winding;
  sim->ticks.of = sb_feed_steps_per_tick(sim->model, sim->step_s);
  sim->tick_s = (double)sim->ticks.of * sim->step_s;
  if (sim->ticks.of > 0) sim->ticks_per_s = 1.0 / sim->tick_s;
  *feed = (struct sb_feed){.drive = sb_drive_start(&sim->model->drive, sim->state.motor_speed_rad_s)};
  if (winding->is_present) {
    sim->tick_lapse = sb_winding_lapse(winding, sim->tick_s);
    feed->warmth = sb_winding_start(winding);
    feed->is_cut_out = feed->warmth.winding_c >= winding->cut_out_c;
  }
  feed->voltage_v = open_voltage_v(sim, 0.0);
  feed->resistance_ohm = winding_ohm(sim, feed->warmth.winding_c);
  feed->magnet_ratio = sb_magnet_ratio(&sim->model->magnet, sb_magnet_c(winding, &feed->warmth));
  struct sb_motor_line line;
  struct sb_limiter_piece piece;
  feed->piece = take_line(sim, &line, &piece);
  look_ahead(sim, &line, &piece);
}

static void warm(struct sb_sim *sim)
{
  struct sb_feed *feed = &sim->state.feed;
  const struct sb_winding *winding = &sim->model->winding;
  if (winding->is_present) {
    feed->warmth = sb_winding_warmed_by(winding, &sim->tick_lapse, &feed->warmth, feed->loss_j * sim->ticks_per_s);
    const double limit_c = feed->is_cut_out ? winding->reset_c : winding->cut_out_c;
    feed->is_cut_out = feed->is_cut_out ? feed->warmth.winding_c > limit_c : feed->warmth.winding_c >= limit_c;
  }
  feed->loss_j = 0.0;
}

/* The terminals under the present load; a charge of nothing is empty whatever they show. A delay of n ticks is over n ticks
 * after the one that first found the voltage low. */
static void discharge(struct sb_sim *sim)
{
  struct sb_feed *feed = &sim->state.feed;
  const struct sb_battery *battery = &sim->model->battery;
  if (!battery->is_present) return;
  const double drawn_a = battery_a(sim, &sim->segment->line, &sim->segment->piece);
  const double terminal_v = sb_feed_open_voltage_v(sim) - sim->model->supply.internal_resistance_ohm * drawn_a;
  feed->low_ticks = drawn_a > 0.0 && terminal_v < battery->cutoff_v ? feed->low_ticks + 1 : 0;
  if (feed->low_ticks > sb_model_step_count(battery->cutoff_delay_s, sim->tick_s)) feed->is_empty = 1;
  if (sb_feed_charge_fraction(sim) <= 0.0) feed->is_empty = 1;
}

/* What the sums tell about a winding too hot and a drive that was cut. */
static void note(struct sb_sim *sim, bool was_cut)
{
  struct sb_sums *sums = &sim->sums;
  const struct sb_feed *feed = &sim->state.feed;
  const double now_s = sim->state.time_s, winding_c = feed->warmth.winding_c;
  if (sim->model->winding.is_present) {
    if (winding_c > sums->winding_c.value) sums->winding_c = (struct sb_peak){winding_c, now_s};
    if (feed->warmth.housing_c > sums->housing_c.value)
      sums->housing_c = (struct sb_peak){feed->warmth.housing_c, now_s};
    if (winding_c > sim->model->limits.winding_c) {
      if (isnan(sums->hot_first_s)) sums->hot_first_s = now_s;
      sums->hot_last_s = now_s;
      sums->hot_s += sim->tick_s;
    }
  }
  if (was_cut) {
    sums->cut_s += sim->tick_s;
    sums->cut_last_s = now_s;
  }
  if (!(feed->is_cut_out || feed->is_empty)) return;
  if (isnan(sums->cut_first_s)) sums->cut_first_s = sums->cut_last_s = now_s;
  if (!was_cut) sums->cut_count++;
  sums->was_cut_by_heat |= feed->is_cut_out != 0;
  sums->was_cut_by_battery |= feed->is_empty != 0;
}

bool sb_feed_tick(struct sb_sim *sim)
{
  struct sb_state *state = &sim->state;
  struct sb_feed *feed = &state->feed;
  const bool was_on = is_on(feed), was_cut = feed->is_cut_out || feed->is_empty;
  const int command = feed->drive.command;
  const double duty = feed->drive.duty;
  warm(sim);
  discharge(sim);
  note(sim, was_cut);
  const bool is_held = sim->segment->piece.held_a != 0.0;
  if (sb_drive_is_moving(&sim->model->drive))
    feed->drive = sb_drive_tick(&sim->model->drive, &feed->drive, state->time_s, state->motor_speed_rad_s, is_held);
  const bool is_switched = is_on(feed) != was_on || feed->drive.command != command;
  const bool is_same = !is_switched && feed->drive.duty == duty;
  struct sb_motor_line changed;
  struct sb_limiter_piece piece;
  if (!is_same) take_line(sim, &changed, &piece);
  look_ahead(sim, is_same ? &sim->segment->line : &changed, is_same ? &sim->segment->piece : &piece);
  if (is_switched && is_on(feed)) {
    feed->ready_step = state->step + sb_model_step_count(sim->model->control.start_delay_s, sim->step_s);
  }
  return is_switched;
}

void sb_feed_line(struct sb_sim *sim)
{
  sim->state.feed.piece = take_line(sim, &sim->segment->line, &sim->segment->piece);
}

double sb_feed_open_voltage_v(const struct sb_sim *sim)
{
  return open_voltage_v(sim, sim->state.feed.drawn_as);
}

double sb_feed_charge_fraction(const struct sb_sim *sim)
{
  return charge_after(sim, sim->state.feed.drawn_as);
}

bool sb_feed_is_on(const struct sb_sim *sim)
{
  return sim->ticks.of == 0 || is_on(&sim->state.feed);
}

int sb_feed_direction(const struct sb_sim *sim)
{
  return sim->ticks.of > 0 && sim->state.feed.drive.command < 0 ? -1 : +1;
}

/* What follows the speed, at the present one: thresholds must not enter here, for maps serve all of them at once. It is
 * that of the closed forms at a decision, and near it for the next gear. */
static double following_nm(const struct sb_sim *sim)
{
  const struct sb_load_curve *curve = &sim->segment->curve;
  const double w = fabs(sim->state.output_speed_rad_s);
  return (curve->per_rad_s + curve->per_rad_s2 * w) * w;
}

/* A path that locks itself takes motor torque for a load that helps, too: as much as this load that opposes would. */
static double opposed_nm(const struct sb_sim *sim, const struct sb_gear *gear, double external_nm)
{
  const double besides_nm = following_nm(sim), whole_nm = external_nm + besides_nm;
  return whole_nm < 0.0 ? gear->efficiency * gear->back_efficiency * whole_nm - besides_nm : external_nm;
}

/*
 * Against a reference that follows the supply a gear is judged by its reading: that of the present line under the whole load, and what
 * the model's own line carries at the same reading.
 */
static double load_of_same_reading_nm(const struct sb_sim *sim, const struct sb_gear *own, double external_nm)
{
  const struct sb_model *model = sim->model;
  struct sb_motor_circuit circuit = present_circuit(sim);
  circuit.limit_a = 0.0; /* what it carries in steady state is on the line */
  const double duty = sim->derived.line.duty;
  const struct sb_motor_line now = sb_motor_line_of_circuit(&model->motor, &circuit, duty);
  const double carried = own->ratio * own->efficiency, besides_nm = following_nm(sim);
  const double motor_nm = (external_nm + besides_nm) / carried + own->drag_nm;
  const double speed_rad_s = (now.stall_nm - now.friction_nm - motor_nm) / now.slope_nms_rad;
  const double sag_v = circuit.supply_ohm * duty * sb_motor_current_a(&now, speed_rad_s);
  const double share = sb_sensor_reference_share(&model->control.sensor, circuit.voltage_v - sag_v);
  const double reading = speed_rad_s / model->control.sensor.reference_rad_s / share;
  const double same_nm = sb_steady_point(model, &sim->derived.line, reading).motor_nm;
  return carried * (same_nm - own->drag_nm) - besides_nm;
}

/*
 * The line now is f p (stall V / V0 - p slope w) - friction, f the ratio of the loops' resistances, p what the magnets have
 * left; at one speed w the gear carries K (line - drag). Solved for what the model's own line carries there. Torques that
 * follow the speed are taken off again.
 */
double sb_feed_load_at_start_nm(const struct sb_sim *sim, int gear, double external_nm)
{
  const struct sb_model *model = sim->model;
  const bool is_same = sim->ticks.of == 0 || !(model->battery.is_present || model->winding.is_present);
  if (gear >= model->gearbox.gear_count) return external_nm;
  const struct sb_gear *own = &model->gearbox.gears[gear];
  if (own->back_efficiency < 0.0) external_nm = opposed_nm(sim, own, external_nm);
  if (is_same) return external_nm;
  if (model->control.sensor.supply.is_present) return load_of_same_reading_nm(sim, own, external_nm);
  const struct sb_motor_line line = sim->derived.line;
  const struct sb_feed *feed = &sim->state.feed;
  const double supply_ohm = line.duty * line.duty * model->supply.internal_resistance_ohm;
  const double f = (model->motor.resistance_ohm + supply_ohm) / (feed->resistance_ohm + supply_ohm);
  const double p = feed->magnet_ratio;
  const double lost_nm = line.stall_nm * (1.0 - feed->voltage_v / (p * model->supply.open_circuit_voltage_v));
  const double carried = own->ratio * own->efficiency, loss_nm = own->drag_nm + line.friction_nm;
  const double besides_nm = following_nm(sim), whole_nm = external_nm + besides_nm;
  return carried * ((whole_nm / carried + loss_nm) / (f * p * p) + lost_nm - loss_nm) - besides_nm;
}
