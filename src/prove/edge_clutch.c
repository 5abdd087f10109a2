// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/edge_clutch.h"

#include <math.h>

#include "prove/edge_course.h"
#include "sim/segment.h"

void sb_edge_watch_slips(struct sb_edges *edges)
{
  edges->slips = (struct sb_edge_slips){false, false, INFINITY, -INFINITY};
}

void sb_edge_note_slip(struct sb_edges *edges, enum sb_edge_side side)
{
  const struct sb_state *state = &edges->lanes[side].sim.state;
  if (state->link != SB_LINK_SLIP || state->is_shifting) return;
  *(state->slip_direction > 0 ? &edges->slips.is_leading : &edges->slips.is_lagging) = true;
}

void sb_edge_joined_add(const struct sb_edges *edges, int gear, const struct sb_span *span,
                        struct sb_edge_joined *joined)
{
  const double per_motor = sb_edge_per_motor(edges, gear);
  const double from = fmax(span->low.motor_rad_s, span->low.output_rad_s / per_motor);
  const double to = fmin(span->high.motor_rad_s, span->high.output_rad_s / per_motor);
  joined->from_rad_s = fmin(joined->from_rad_s, from);
  joined->to_rad_s = fmax(joined->to_rad_s, to);
}

void sb_edge_joined_add_met(const struct sb_edges *edges, struct sb_edge_joined *joined)
{
  joined->from_rad_s = fmin(joined->from_rad_s, edges->slips.least_rad_s);
  joined->to_rad_s = fmax(joined->to_rad_s, edges->slips.most_rad_s);
}

/* What follows the speed may rise by more than the motor's torque falls: by how much between two speeds of the motor, N m. Else 0:
 * joined sides transmit the less the faster they turn. */
static double outweighing_nm(const struct sb_edges *edges, int lane, int gear, const struct sb_edge_joined *joined)
{
  const struct sb_model *model = &edges->lanes[lane].model;
  const double per_motor = sb_edge_per_motor(edges, gear);
  const double from = joined->from_rad_s * per_motor, to = joined->to_rad_s * per_motor;
  const struct sb_motor_line line = sb_motor_line_driven(&model->motor, &model->supply, model->drive.limit_fraction);
  double viscous, quadratic;
  sb_load_speed_terms(&model->load, &viscous, &quadratic);
  const double slope_nms_rad = viscous + 2.0 * quadratic * fmax(fabs(from), fabs(to));
  const bool is_level = model->supply.current_limit_a > 0.0; /* a piece of the motor's line */
  const double motor_per_s = is_level ? 0.0 : line.slope_nms_rad / sb_model_motor_inertia_kg_m2(model);
  const double output_per_s = slope_nms_rad / sb_model_output_inertia_kg_m2(model, model->load.inertia_kg_m2);
  if (output_per_s <= motor_per_s) return 0.0;
  return viscous * (to - from) + quadratic * (to * fabs(to) - from * fabs(from));
}

/* The way in which joined sides begin to slip under a lane's load with more of it: 1 the motor leads, -1 it lags, 0 they hold. */
static int slip_at(struct sb_edges *edges, int lane, int gear, double motor_rad_s, double more_nm)
{
  struct sb_sim *sim = &edges->lanes[lane].sim;
  struct sb_load_part *acting = sb_edge_acting_part(&edges->lanes[lane].model.load);
  const struct sb_sim_observer observer = sim->observer;
  const double own_nm = acting->torque_nm, per_motor = sb_edge_per_motor(edges, gear);
  const double output = motor_rad_s * per_motor;
  const struct sb_sim_place place = {gear, output / per_motor, output, 0.0};
  acting->torque_nm = own_nm + more_nm;
  sim->observer = (struct sb_sim_observer){NULL, NULL, NULL};
  sb_sim_begin_at(sim, &place);
  sim->observer = observer;
  acting->torque_nm = own_nm;
  return sim->state.link == SB_LINK_SLIP ? sim->state.slip_direction : 0;
}

/* Whether joined sides can slip one way under the lane's load: at that end of their speeds, and where the output only just turns. */
static bool can_slip(struct sb_edges *edges, int lane, int gear, const struct sb_edge_joined *joined, int way)
{
  const double hair = 1e-9 * edges->sizes.speed_rad_s;
  const double more_nm = way * outweighing_nm(edges, lane, gear, joined);
  const double end = way > 0 ? joined->from_rad_s : joined->to_rad_s;
  if (slip_at(edges, lane, gear, end, more_nm) == way) return true;
  if (!(joined->from_rad_s <= hair && joined->to_rad_s >= -hair)) return false;
  return slip_at(edges, lane, gear, way * hair, more_nm) == way || slip_at(edges, lane, gear, 0.0, more_nm) == way;
}

void sb_edge_mark_slips(struct sb_edges *edges, int gear, const struct sb_edge_joined *joined, struct sb_span *span)
{
  if (!(joined->from_rad_s <= joined->to_rad_s)) return;
  for (int lane = 0; lane < edges->lane_count; lane++) {
    const bool is_heavy = lane == SB_EDGE_SLOW || lane == SB_EDGE_QUICK_UNDER_HEAVY;
    bool *mark = is_heavy ? &span->is_leading : &span->is_lagging;
    *mark = *mark || can_slip(edges, lane, gear, joined, is_heavy ? +1 : -1);
  }
  if (edges->is_motion_alone) return;
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    sb_edge_take_instant(edges, (enum sb_edge_side)side, gear, joined->from_rad_s, 0.0);
    sb_edge_take_instant(edges, (enum sb_edge_side)side, gear, joined->to_rad_s, 0.0);
  }
}

bool sb_edge_trim(const struct sb_edges *edges, int gear, struct sb_span *span)
{
  const double per_motor = sb_edge_per_motor(edges, gear), hair = edges->sizes.speed_rad_s;
  struct sb_corner *low = &span->low, *high = &span->high;
  if (!span->is_lagging) {
    low->motor_rad_s = fmax(low->motor_rad_s, low->output_rad_s / per_motor);
    high->output_rad_s = fmin(high->output_rad_s, high->motor_rad_s * per_motor);
  }
  if (!span->is_leading) {
    low->output_rad_s = fmax(low->output_rad_s, low->motor_rad_s * per_motor);
    high->motor_rad_s = fmin(high->motor_rad_s, high->output_rad_s / per_motor);
  }
  if (low->motor_rad_s > high->motor_rad_s + hair || low->output_rad_s > high->output_rad_s + hair) return false;
  high->motor_rad_s = fmax(high->motor_rad_s, low->motor_rad_s);
  high->output_rad_s = fmax(high->output_rad_s, low->output_rad_s);
  return true;
}

double sb_edge_slip_torque_nm(const struct sb_edges *edges, int gear, const struct sb_span *span, bool is_leading,
                              bool is_lagging)
{
  const struct sb_gear *path = &edges->model->gearbox.gears[gear];
  const double clutch_nm = edges->model->shifter.clutch_nm;
  const double driven_nm = path->ratio * path->efficiency * fmax(clutch_nm - path->drag_nm, 0.0);
  const double braked_nm = path->ratio * (clutch_nm + path->drag_nm) / path->back_efficiency;
  const bool is_forward = span->high.output_rad_s >= 0.0, is_backward = span->low.output_rad_s < 0.0;
  double nm = 0.0;
  if ((is_leading && is_forward) || (is_lagging && is_backward)) nm = driven_nm;
  if ((is_leading && is_backward) || (is_lagging && is_forward)) nm = fmax(nm, braked_nm);
  return nm;
}

double sb_edge_shift_torque_nm(const struct sb_edges *edges, int to, const struct sb_span *from)
{
  const double per_motor = sb_edge_per_motor(edges, to);
  return sb_edge_slip_torque_nm(edges, to, from, from->high.motor_rad_s * per_motor > from->low.output_rad_s,
                                from->low.motor_rad_s * per_motor < from->high.output_rad_s);
}
