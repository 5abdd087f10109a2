// SPDX-License-Identifier: GPL-3.0-or-later
/* edge_meet.c - both edges of a set of states through a shift whose sides meet sooner or later (edge_clutch.h). */
#include <math.h>
#include <stdlib.h>

#include "prove/edge_clutch.h"
#include "prove/edge_course.h"

/* Both corners at each sample after a command. */
struct courses {
  int count;
  struct sb_span *at; /* at[count], owned */
};

static bool follow_corners(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int last,
                           struct courses *out)
{
  *out = (struct courses){last + 1, malloc(sizeof *out->at * (size_t)(last + 1))};
  if (out->at == NULL) {
    edges->status = sb_fail(&edges->err, SB_ERR_MEMORY, "out of memory for the edges of a machine");
    return false;
  }
  for (int k = 0; k <= last; k++) out->at[k] = *from;
  sb_edge_watch_slips(edges);
  for (int side = 0; side < SB_EDGE_SIDES; side++) {
    const struct sb_state *state = &edges->lanes[side].sim.state;
    sb_edge_command(edges, (enum sb_edge_side)side, gear, to, side == SB_EDGE_SLOW ? &from->low : &from->high);
    for (int k = 1; k <= last; k++) {
      struct sb_corner *corner = side == SB_EDGE_SLOW ? &out->at[k].low : &out->at[k].high;
      sb_edge_advance(edges, (enum sb_edge_side)side, k * edges->steps_per_sample);
      corner->motor_rad_s = state->motor_speed_rad_s;
      corner->output_rad_s = state->output_speed_rad_s;
    }
    sb_edge_note_slip(edges, (enum sb_edge_side)side);
    (void)sb_edge_finish(edges, (enum sb_edge_side)side);
  }
  return true;
}

/* What the filter holds at each sample, at least and at most. */
static void filter_courses(const struct sb_edges *edges, struct courses *courses)
{
  for (int k = 1; k < courses->count && edges->filter_gain > 0.0; k++) {
    const struct sb_span *before = &courses->at[k - 1];
    struct sb_span *now = &courses->at[k];
    const double low = now->low.motor_rad_s, high = now->high.motor_rad_s;
    now->low.filtered = sb_edge_filter(edges, before->low.filtered, sb_edge_least_reading(edges, low, high));
    now->high.filtered = sb_edge_filter(edges, before->high.filtered, sb_edge_greatest_reading(edges, low, high));
  }
}

/* When the sides meet, from the corners of what begins: its two ends, or all four of a box. */
static void find_meetings(struct sb_edges *edges, int gear, int to, const struct sb_span *from, bool is_box,
                          struct sb_edge_arrivals *out)
{
  const struct sb_corner mixed[2] = {{from->low.motor_rad_s, from->high.output_rad_s, from->low.filtered},
                                     {from->high.motor_rad_s, from->low.output_rad_s, from->high.filtered}};
  const struct sb_corner *starts[] = {&from->low, &from->high, &mixed[0], &mixed[1]};
  const double per_motor = sb_edge_per_motor(edges, to);
  for (int k = 0; k < (is_box ? 4 : 2) * edges->lane_count; k++) {
    const int lane = k % edges->lane_count;
    const struct sb_edge_shift shift =
        sb_edge_engaging(edges, (enum sb_edge_side)lane, gear, to, starts[k / edges->lane_count]);
    out->least_engaged_s = fmin(out->least_engaged_s, shift.engaged_s);
    out->greatest_engaged_s = fmax(out->greatest_engaged_s, shift.engaged_s);
    if (k % SB_EDGE_SIDES == SB_EDGE_FAST && isfinite(shift.joined_rad_s) && isfinite(shift.engaged_s)) {
      sb_edge_take_instant(edges, SB_EDGE_SLOW, to, shift.joined_rad_s, shift.engaged_s);
    }
  }
  const bool can_have_met = from->low.motor_rad_s * per_motor <= from->high.output_rad_s &&
                            from->high.motor_rad_s * per_motor >= from->low.output_rad_s;
  if (is_box && can_have_met) out->least_engaged_s = 0.0;
  /* Nobody looks on for longer; it may be later than that. */
  out->least_engaged_s = fmin(out->least_engaged_s, edges->shift_samples_max * edges->sample_s);
}

void sb_edge_meetings_s(struct sb_edges *edges, int gear, int to, const struct sb_span *box, double times_s[2])
{
  struct sb_edge_arrivals arrivals = {.least_engaged_s = INFINITY};
  find_meetings(edges, gear, to, box, true, &arrivals);
  times_s[0] = arrivals.least_engaged_s;
  times_s[1] = arrivals.greatest_engaged_s;
}

/* What is engaged at a sample: joined, or slipping as the marks say; false: nothing. */
static bool engaged_at(const struct sb_edges *edges, int to, const struct sb_span *box, const struct sb_span *marks,
                       struct sb_span *out)
{
  struct sb_edge_joined joined = {INFINITY, -INFINITY};
  *out = *box;
  out->is_leading = marks->is_leading;
  out->is_lagging = marks->is_lagging;
  if (sb_span_is_boxed(out)) return sb_edge_trim(edges, to, out);
  sb_edge_joined_add(edges, to, box, &joined);
  if (joined.from_rad_s > joined.to_rad_s + edges->sizes.speed_rad_s) return false;
  const struct sb_span filtered = *box;
  out->low = sb_edge_corner(edges, to, fmin(joined.from_rad_s, joined.to_rad_s));
  out->high = sb_edge_corner(edges, to, joined.to_rad_s);
  out->low.filtered = filtered.low.filtered;
  out->high.filtered = filtered.high.filtered;
  return true;
}

static void note_facts(const struct sb_edges *edges, int to, const struct courses *courses, int dwell,
                       const struct sb_edge_arrivals *arrivals, struct sb_edge_clutch_facts *facts)
{
  const double sample_s = edges->sample_s, engaged_s = arrivals->greatest_engaged_s;
  const double met = edges->slips.least_rad_s;
  const int first = (int)floor(arrivals->least_engaged_s / sample_s), last = courses->count - 1;
  const int shifting = (int)fmin(ceil(engaged_s / sample_s), last);
  *facts = (struct sb_edge_clutch_facts){0.0, 0.0, courses->at[0].low.output_rad_s};
  facts->least_output_rad_s = fmin(facts->least_output_rad_s, met * sb_edge_per_motor(edges, to));
  for (int k = 0; k <= last; k++) {
    const struct sb_span *at = &courses->at[k], *next = &courses->at[k < last ? k + 1 : k];
    const double low = fmin(at->low.output_rad_s, next->low.output_rad_s);
    const double high = fmax(at->high.output_rad_s, next->high.output_rad_s);
    const bool can_rest = (low <= 0.0 && high >= 0.0) || met <= 0.0;
    if (k <= shifting) facts->least_output_rad_s = fmin(facts->least_output_rad_s, at->low.output_rad_s);
    if (k <= shifting && can_rest) facts->standstill_s = fmax(facts->standstill_s, engaged_s - k * sample_s);
    if (k >= first && (can_rest || at->low.motor_rad_s <= 0.0)) {
      facts->standing_s = fmax(dwell * sample_s - arrivals->least_engaged_s, sample_s);
    }
  }
}

/* How joined sides can slip between the first meeting and the last sample. */
static struct sb_span marks_of(struct sb_edges *edges, int to, const struct courses *courses, double first_s)
{
  struct sb_edge_joined joined = {INFINITY, -INFINITY};
  struct sb_span marks = courses->at[courses->count - 1];
  marks.is_leading = edges->slips.is_leading;
  marks.is_lagging = edges->slips.is_lagging;
  for (int k = (int)floor(first_s / edges->sample_s); k < courses->count; k++) {
    sb_edge_joined_add(edges, to, &courses->at[k], &joined);
  }
  sb_edge_joined_add_met(edges, &joined);
  sb_edge_mark_slips(edges, to, &joined, &marks);
  return marks;
}

/* All that becomes of what is on the way at the last sample, in place of it. */
static void close_last(struct sb_edges *edges, int to, struct courses *courses, struct sb_edge_arrivals *out)
{
  struct sb_span *last = &courses->at[courses->count - 1];
  struct sb_span closed;
  out->is_late = true;
  out->is_loose = !sb_edge_closed_box(edges, to, last, &closed);
  if (!out->is_loose) *last = closed;
}

static void arrive_slipping(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                            struct sb_edge_arrivals *out, struct sb_edge_clutch_facts *facts)
{
  struct courses courses;
  find_meetings(edges, gear, to, from, sb_span_is_boxed(from), out);
  int first = sb_edge_first_sample(edges, out->least_engaged_s, dwell);
  if (first != sb_edge_first_sample(edges, out->greatest_engaged_s, dwell) || facts != NULL) {
    find_meetings(edges, gear, to, from, true, out);
    first = sb_edge_first_sample(edges, out->least_engaged_s, dwell);
  }
  const int all = sb_edge_first_sample(edges, out->greatest_engaged_s, dwell);
  const bool is_late = isinf(out->greatest_engaged_s) || all - first >= SB_EDGE_ARRIVALS_MAX;
  const int last = is_late ? first + SB_EDGE_ARRIVALS_MAX - 1 : all;
  if (!follow_corners(edges, gear, to, from, last, &courses)) return;
  filter_courses(edges, &courses);
  if (is_late) close_last(edges, to, &courses, out);
  const struct sb_span marks = marks_of(edges, to, &courses, out->least_engaged_s);
  const bool is_plain = first == last && !sb_span_is_boxed(&marks) && !sb_span_is_boxed(from);
  for (int k = first; k <= last && !out->is_loose; k++) {
    struct sb_span span = courses.at[k];
    if (is_plain || engaged_at(edges, to, &courses.at[k], &marks, &span)) {
      out->items[out->count++] = (struct sb_edge_arrival){k, span};
    }
  }
  if (facts != NULL) note_facts(edges, to, &courses, dwell, out, facts);
  free(courses.at);
}

void sb_edge_arrive(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                    struct sb_edge_arrivals *out)
{
  *out = (struct sb_edge_arrivals){.least_engaged_s = INFINITY, .greatest_engaged_s = 0.0};
  if (edges->has_clutch) {
    arrive_slipping(edges, gear, to, from, dwell, out, NULL);
  } else {
    sb_edge_arrive_at_once(edges, gear, to, from, dwell, out);
  }
}

void sb_edge_arrive_slipping(struct sb_edges *edges, int gear, int to, const struct sb_span *from, int dwell,
                             struct sb_edge_arrivals *out, struct sb_edge_clutch_facts *facts)
{
  *out = (struct sb_edge_arrivals){.least_engaged_s = INFINITY, .greatest_engaged_s = 0.0};
  arrive_slipping(edges, gear, to, from, dwell, out, facts);
}
