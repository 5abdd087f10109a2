// SPDX-License-Identifier: GPL-3.0-or-later
#include "sim/motion.h"

#include <assert.h>
#include <float.h>
#include <string.h>

#include "base/elementary.h"
#include "sim/point.h"

enum { DEGREE_MAX = SB_SERIES_DEGREE_MAX, DEGREE_MIN = 2, WATCH_MAX = 12 };

/* The series that must vanish in rounding, each with its greatest coefficient so far. */
struct watch {
  int count;
  struct sb_series *series[WATCH_MAX];
  double greatest[WATCH_MAX];
};

static void watch_add(struct watch *watch, struct sb_series *series)
{
  assert(watch->count < WATCH_MAX);
  watch->greatest[watch->count] = 0.0;
  watch->series[watch->count++] = series;
}

/* A term that adds less than this share of the greatest one adds nothing. */
static const double vanishing = 0.25 * DBL_EPSILON;

/* Takes order k into the watch: whether it and the one before vanish in all series. */
static bool has_vanished(struct watch *watch, int k)
{
  bool is_small = k >= DEGREE_MIN;
  for (int i = 0; i < watch->count; i++) {
    const double *c = watch->series[i]->c;
    const double size = fabs(c[k]);
    if (size > watch->greatest[i]) watch->greatest[i] = size;
    const double limit = vanishing * watch->greatest[i];
    if (is_small && (size > limit || fabs(c[k - 1]) > limit)) is_small = false;
  }
  return is_small;
}

/* A grade along the way, one more than its square, and its angle's cosine. */
struct slope {
  double grade[DEGREE_MAX + 1], square[DEGREE_MAX + 1], cosine[DEGREE_MAX + 1];
  double back[DEGREE_MAX + 2]; /* the grade, from the highest order down */
};

/* One side's speed, angle and load, as the polynomials of a segment see them. */
struct course {
  const struct sb_load_curve *curve;
  const double *speed, *angle;
  double start_s, length_s, angle_0;
  int direction; /* of the speed */
  bool has_square, has_bends;
  double square[DEGREE_MAX + 1], bends[DEGREE_MAX + 1];
  double back[DEGREE_MAX + 2]; /* the speed, from the highest order down */
  struct wave {
    sb_pair both[DEGREE_MAX + 1]; /* sine and cosine */
    sb_pair rate[DEGREE_MAX + 1]; /* of the angle u under the sine, twice: j u[j] */
  } waves[SB_LOAD_PART_MAX];
  struct slope slopes[SB_GRADE_MAX];
};

static void course_begin(struct course *course, const struct sb_motion *motion, const struct sb_load_curve *curve,
                         const struct sb_poly *load, const struct sb_series *speed, const struct sb_series *angle,
                         int direction)
{
  course->curve = curve;
  course->speed = speed->c;
  course->angle = angle->c;
  course->start_s = motion->start_s;
  course->length_s = motion->length_s;
  course->angle_0 = curve->angle_rad;
  course->direction = direction;
  course->has_square = load->quad != 0.0;
  course->has_bends = load->bend_gain != 0.0;
}

/* Sum of a[j] b[k - j] for j from first to k; two sums side by side, which need not wait for each other. */
static inline double convolution(const double *a, const double *b, int first, int k)
{
  double even = 0.0, odd = 0.0;
  int j = first;
  for (; j < k; j += 2) {
    even += a[j] * b[k - j];
    odd += a[j + 1] * b[k - j - 1];
  }
  return j == k ? even + odd + a[k] * b[0] : even + odd;
}

/* The same of two series at once, from j = 1. What the order before has just given comes last, so that the rest need not wait. */
static inline sb_pair pair_convolution(const sb_pair *a, const sb_pair *b, int k)
{
  sb_pair even = {0.0, 0.0}, odd = even;
  const sb_pair *one = a + 2, *other = b + k - 2, *const end = a + k;
  if (k == 1) return a[1] * b[0];
  for (; one + 1 < end; one += 2, other -= 2) {
    even += one[0] * other[0];
    odd += one[1] * other[-1];
  }
  if (one < end) even += one[0] * other[0];
  return even + odd + a[k] * b[0] + a[1] * b[k - 1];
}

/* Order k of the square of a series: each product of two different orders is there twice. back[i]: its order DEGREE_MAX - i.
 * Likewise the newest orders come last; nor are they taken in pairs, which would have to wait until both are in memory. */
static inline double square_term(const double *a, const double *back, int k)
{
  const double *other = back + DEGREE_MAX - k;
  sb_pair sums = {0.0, 0.0};
  int j = 2;
  if (k == 0) return a[0] * a[0];
  for (; 2 * j + 2 < k; j += 2) sums += sb_pair_at(a + j) * sb_pair_at(other + j);
  double sum = sums[0] + sums[1];
  if (2 * j < k) sum += a[j] * other[j];
  if (k > 2) sum += a[1] * other[1];
  sum += a[0] * other[0];
  return k % 2 == 0 ? 2.0 * sum + a[k / 2] * a[k / 2] : 2.0 * sum;
}

/* Order k of a wave's sine and cosine. */
static inline void take_wave(struct course *course, int i, int k)
{
  const struct sb_load_wave *wave = &course->curve->waves[i];
  struct wave *out = &course->waves[i];
  if (k == 0) {
    double sine, cosine;
    sb_elementary_sin_cos(wave->per_s * course->start_s + wave->per_rad * course->angle[0] + wave->phase_rad, &sine,
                          &cosine);
    out->both[0] = (sb_pair){sine, cosine};
    return;
  }
  const double rate = k * wave->per_rad * course->angle[k] + (k == 1 ? wave->per_s * course->length_s : 0.0);
  out->rate[k] = (sb_pair){rate, rate};
  const bool is_even = wave->per_rad == 0.0; /* in time alone: the angle grows evenly */
  const sb_pair sum = is_even ? out->rate[1] * out->both[k - 1] : pair_convolution(out->rate, out->both, k);
  out->both[k] = (sb_pair){sb_series_shares[k] * sum[1], -sb_series_shares[k] * sum[0]};
}

/* Order k of a grade and of its angle's cosine. */
static void take_slope(struct course *course, int i, int k)
{
  const struct sb_load_grade *grade = &course->curve->grades[i];
  struct slope *slope = &course->slopes[i];
  double *g = slope->grade, *q = slope->square, *c = slope->cosine;
  if (k == 0) {
    g[0] = grade->start + grade->per_rad * (course->angle[0] - course->angle_0);
    slope->back[DEGREE_MAX] = g[0];
    q[0] = 1.0 + g[0] * g[0];
    c[0] = 1.0 / sqrt(q[0]);
    return;
  }
  g[k] = slope->back[DEGREE_MAX - k] = grade->per_rad * course->angle[k];
  double sum = 0.0;
  q[k] = square_term(g, slope->back, k);
  for (int j = 0; j < k; j++) sum += (0.5 * (j - k) - j) * q[k - j] * c[j];
  c[k] = sum / (k * q[0]);
}

/* Order k of what the grade's sine and cosine are times. */
static double slope_term(const struct sb_load_grade *grade, const struct slope *slope, int k)
{
  return grade->sine_nm * convolution(slope->grade, slope->cosine, 0, k) + grade->cosine_nm * slope->cosine[k];
}

/* Order k of the speed's square, with its direction. */
static inline double take_square(struct course *course, int k)
{
  course->back[DEGREE_MAX - k] = course->speed[k];
  return course->direction * square_term(course->speed, course->back, k);
}

/* Order k of the bends. */
static inline double take_bends(struct course *course, int k)
{
  double sum = 0.0;
  for (int i = 0; i < course->curve->wave_count; i++) {
    take_wave(course, i, k);
    sum += course->curve->waves[i].amplitude_nm * course->waves[i].both[k][0];
  }
  for (int i = 0; i < course->curve->grade_count; i++) {
    take_slope(course, i, k);
    sum += slope_term(&course->curve->grades[i], &course->slopes[i], k);
  }
  return sum;
}

/* The same where they are one wave. */
static inline double take_only_wave(struct course *course, int k)
{
  take_wave(course, 0, k);
  return 0.0 + course->curve->waves[0].amplitude_nm * course->waves[0].both[k][0];
}

/* Makes order k of the polynomials ready; speed and angle are known that far. */
static void course_take(struct course *course, int k)
{
  if (course->has_square) course->square[k] = take_square(course, k);
  if (course->has_bends) course->bends[k] = take_bends(course, k);
}

/* Order k of a polynomial. */
static inline double term(const struct sb_poly *poly, const struct course *course, int k)
{
  double value = poly->lin * course->speed[k] + poly->per_rad * (course->angle[k] - (k == 0 ? course->angle_0 : 0.0));
  if (course->has_square) value += poly->quad * course->square[k];
  if (course->has_bends) value += poly->bend_gain * course->bends[k];
  if (k == 0) {
    value += poly->k + poly->per_s * (course->start_s - course->curve->time_s);
  } else if (k == 1) {
    value += poly->per_s * course->length_s;
  }
  return value;
}

/* Kinds of motion ----------------------------------------------------------------------------------------------------- */

/* All the courses that a stretch can have. */
struct courses {
  struct course near, far;
};

static void zero(struct sb_series *series)
{
  memset(series, 0, sizeof *series);
}

/* Order k of what the traction of slipping wheels has changed by since the segment began. */
static double traction_change(const struct sb_sim *sim, const struct sb_motion *m, int k)
{
  if (!m->has_far || !sim->segment->far.is_bent) return 0.0;
  if (k == 0) return sb_point_traction_change_by_nm(sim, m->press.c[0]);
  return sim->state.far.slip_direction * sim->model->load.road.kinetic_friction_ratio * m->press.c[k];
}

/* Order k of what the output's polynomials need. */
static void take_near(const struct sb_sim *sim, const struct sb_motion *m, struct course *near, int k)
{
  course_take(near, k);
  if (near->has_bends) near->bends[k] += traction_change(sim, m, k);
}

/* Engaged and rigid, moving: order k of the loads, order k + 1 of speeds and angles; the output's speed follows
 * (take_output()). */
static inline void take_rigid(const struct sb_segment *seg, struct sb_motion *m, struct courses *courses, int k)
{
  const double share = m->length_s * sb_series_shares[k + 1];
  m->load.c[k] = term(&seg->load, &courses->near, k);
  if (k == DEGREE_MAX) return;
  m->x.c[k + 1] = share * term(&seg->motor_rate, &courses->near, k);
  m->turn.c[k + 1] = share * m->x.c[k];
  m->angle.c[k + 1] = seg->per_motor * m->turn.c[k + 1];
}

/* In neutral: motor and output each by itself. */
static void take_free(const struct sb_segment *seg, struct sb_motion *m, struct courses *courses, int k)
{
  const double share = m->length_s / (k + 1);
  m->load.c[k] = term(&seg->load, &courses->near, k);
  if (k == DEGREE_MAX) return;
  m->x.c[k + 1] = share * (seg->motor_rate.lin * m->x.c[k] + (k == 0 ? seg->motor_rate.k : 0.0));
  m->turn.c[k + 1] = share * m->x.c[k];
  m->w.c[k + 1] = share * term(&seg->output_rate, &courses->near, k);
  m->angle.c[k + 1] = share * m->w.c[k];
}

/* Through a shaft that gives. */
static void take_spring(const struct sb_segment *seg, struct sb_motion *m, struct courses *courses, int side, int k)
{
  const struct sb_spring_segment *spring = &seg->spring;
  const double share = m->length_s / (k + 1);
  const double twist_rate = seg->per_motor * m->x.c[k] - m->w.c[k];
  m->load.c[k] = term(&seg->load, &courses->near, k);
  const double wound = m->twist.c[k] - (k == 0 ? spring->offset_rad : 0.0);
  m->shaft.c[k] = side == 0 ? 0.0 : spring->stiffness * wound + spring->damping * twist_rate;
  if (k == DEGREE_MAX) return;
  const double motor_rate = seg->motor_rate.lin * m->x.c[k] + (k == 0 ? seg->motor_rate.k : 0.0);
  m->x.c[k + 1] = share * (motor_rate - spring->per_motor * m->shaft.c[k]);
  m->turn.c[k + 1] = share * m->x.c[k];
  m->w.c[k + 1] = share * (term(&seg->output_rate, &courses->near, k) + spring->per_output * m->shaft.c[k]);
  m->angle.c[k + 1] = share * m->w.c[k];
  m->twist.c[k + 1] = share * twist_rate;
}

/* What opposes the vehicle, and its own motion beside wheels that slip. */
static void take_far(const struct sb_sim *sim, struct sb_motion *m, struct course *course, int k)
{
  const struct sb_far_segment *far = &sim->segment->far;
  const double share = m->length_s / (k + 1);
  course_take(course, k);
  m->far_load.c[k] = term(&far->load, course, k);
  if (far->is_bent) m->press.c[k] = sim->model->load.road.press_nm * course->slopes[0].cosine[k];
  if (!m->has_far || k == DEGREE_MAX) return;
  m->v.c[k + 1] = share * (term(&far->rate, course, k) + traction_change(sim, m, k) / far->inertia);
  m->far_angle.c[k + 1] = share * m->v.c[k];
}

/* At rest ------------------------------------------------------------------------------------------------------------- */

/* A curve over time at a fixed angle. */
static void take_curve(const struct sb_load_curve *curve, const struct sb_motion *m, double angle_rad, int k,
                       struct sb_series *out)
{
  double sum = 0.0;
  for (int i = 0; i < curve->wave_count; i++) {
    const struct sb_load_wave *wave = &curve->waves[i];
    const double turn = wave->per_s * m->length_s;
    double sine, cosine, power = wave->amplitude_nm;
    sb_elementary_sin_cos(wave->per_s * m->start_s + wave->per_rad * angle_rad + wave->phase_rad, &sine, &cosine);
    for (int j = 1; j <= k; j++) power *= turn / j;
    const double derivatives[] = {sine, cosine, -sine, -cosine};
    sum += power * derivatives[k % 4];
  }
  if (k == 0) {
    struct sb_load_curve still = *curve;
    still.wave_count = 0;
    sum += sb_load_curve_external_nm(&still, m->start_s, angle_rad);
  } else if (k == 1) {
    sum += curve->per_s * m->length_s;
  }
  out->c[k] = sum;
}

static void take_rest(const struct sb_sim *sim, struct sb_motion *m, int k)
{
  const struct sb_resting *resting = &sim->segment->resting;
  const double angle_rad = sim->state.output_angle_rad;
  for (int i = 0; i < 2; i++) {
    take_curve(&resting->acting[i], m, angle_rad, k, &m->acting[i]);
    take_curve(&resting->holding[i], m, angle_rad, k, &m->holding[i]);
    if (m->has_slide) take_curve(&resting->sliding[i], m, angle_rad, k, &m->sliding[i]);
    m->acting[i].c[k] += traction_change(sim, m, k);
  }
}

/* Building ------------------------------------------------------------------------------------------------------------- */

/* A vehicle that moves where the grade changes along its way. */
static bool has_press(const struct sb_sim *sim, const struct sb_motion *m)
{
  return (m->has_far || m->has_grip) && sim->segment->far.is_bent;
}

static bool is_output_resting(const struct sb_sim *sim)
{
  return sim->state.output_direction == 0;
}

/* The state at the beginning, the courses and what is watched. */
static void begin(const struct sb_sim *sim, struct sb_motion *m, struct courses *courses, struct watch *watch)
{
  const struct sb_state *state = &sim->state;
  const struct sb_segment *seg = sim->segment;
  const bool is_rigid = sb_segment_is_moving_rigid(sim);
  m->start_s = state->time_s;
  m->has_far = state->far.is_slipping != 0;
  m->has_grip = sim->model->load.road.can_slip && !m->has_far && state->output_direction != 0;
  m->has_slide = sb_segment_is_rigid(sim) && sb_segment_is_locking(sim);
  m->x.c[0] = state->motor_speed_rad_s;
  m->turn.c[0] = 0.0;
  m->w.c[0] = state->output_speed_rad_s;
  m->angle.c[0] = state->output_angle_rad;
  watch->count = 0;
  courses->near.has_square = courses->near.has_bends = courses->far.has_square = courses->far.has_bends = false;
  watch_add(watch, &m->x);
  course_begin(&courses->near, m, &seg->curve, &seg->load, is_rigid ? &m->x : &m->w, &m->angle,
               is_rigid ? state->motor_direction : state->output_direction);
  if (!seg->has_straight_load) watch_add(watch, &m->load);
  if (!is_rigid) watch_add(watch, &m->w);
  if (seg->has_spring) {
    m->twist.c[0] = state->twist.twist_rad;
    watch_add(watch, &m->twist);
    watch_add(watch, &m->shaft);
  }
  if (m->has_far) {
    m->v.c[0] = state->far.speed_rad_s;
    m->far_angle.c[0] = state->far.angle_rad;
    course_begin(&courses->far, m, &seg->far.curve, &seg->far.load, &m->v, &m->far_angle, state->far.direction);
    watch_add(watch, &m->v);
  } else if (m->has_grip) {
    course_begin(&courses->far, m, &seg->far.curve, &seg->far.load, is_rigid ? &m->x : &m->w, &m->angle,
                 is_rigid ? state->motor_direction : state->output_direction);
    courses->far.angle_0 = state->load_angle_rad;
  }
  if (m->has_far || m->has_grip) watch_add(watch, &m->far_load);
  if (has_press(sim, m)) watch_add(watch, &m->press);
  if (!is_output_resting(sim)) return;
  for (int i = 0; i < 2; i++) {
    watch_add(watch, &m->acting[i]);
    watch_add(watch, &m->holding[i]);
    if (m->has_slide) watch_add(watch, &m->sliding[i]);
  }
}

/* Engaged and rigid, at rest: only time goes on. */
static void take_nothing(struct sb_motion *m)
{
  const double angle_rad = m->angle.c[0];
  zero(&m->angle);
  m->angle.c[0] = angle_rad;
  zero(&m->x);
  zero(&m->turn);
  zero(&m->w);
  zero(&m->load);
}

/* Motor, output or both. */
static bool is_moving(const struct sb_sim *sim)
{
  return !sb_segment_is_rigid(sim) || sb_segment_is_moving_rigid(sim);
}

static void take_order(const struct sb_sim *sim, struct sb_motion *m, struct courses *courses, int k)
{
  const struct sb_segment *seg = sim->segment;
  if (m->has_far || m->has_grip) take_far(sim, m, &courses->far, k);
  if (is_moving(sim)) take_near(sim, m, &courses->near, k);
  if (sb_segment_is_moving_rigid(sim)) {
    take_rigid(seg, m, courses, k);
  } else if (seg->has_spring) {
    take_spring(seg, m, courses, sim->state.twist.side, k);
  } else if (sim->state.link != SB_LINK_MESH) {
    take_free(seg, m, courses, k);
  } else if (k == 0) {
    take_nothing(m);
  }
  if (is_output_resting(sim)) take_rest(sim, m, k);
}

/* A factor 2^(-m/8). */
static double shrinking(int m)
{
  static const double eighths[] = {1.0,
                                   0x1.d5818dcfba487p-1,
                                   0x1.ae89f995ad3adp-1,
                                   0x1.8ace5422aa0dbp-1,
                                   0x1.6a09e667f3bcdp-1,
                                   0x1.4bfdad5362a27p-1,
                                   0x1.306fe0a31b715p-1,
                                   0x1.172b83c7d517bp-1};
  return ldexp(eighths[m % 8], -(m / 8));
}

/* By how many eighths of an octave the stretch must be shorter for the two highest orders to vanish. */
static int excess(const struct watch *watch)
{
  int most = 0;
  for (int i = 0; i < watch->count; i++) {
    for (int k = DEGREE_MAX - 1; k <= DEGREE_MAX; k++) {
      const double ratio = fabs(watch->series[i]->c[k]) / (vanishing * watch->greatest[i]);
      if (!(ratio > 1.0)) continue;
      int octaves;
      frexp(ratio, &octaves);
      const int eighths = (8 * octaves + k - 1) / k;
      if (eighths > most) most = eighths;
    }
  }
  return most;
}

static void shorten(struct sb_series *restrict series, const double *restrict powers)
{
  for (int k = 1; k <= DEGREE_MAX; k++) series->c[k] *= powers[k];
}

static void shorten_all(const struct sb_sim *sim, struct sb_motion *m, int eighths)
{
  double powers[DEGREE_MAX + 1] = {1.0};
  const double factor = shrinking(eighths);
  for (int k = 1; k <= DEGREE_MAX; k++) powers[k] = powers[k - 1] * factor;
  m->length_s *= factor;
  shorten(&m->x, powers);
  shorten(&m->turn, powers);
  shorten(&m->load, powers);
  if (!sb_segment_is_rigid(sim)) {
    shorten(&m->w, powers);
    shorten(&m->angle, powers);
  }
  if (sim->segment->has_spring) {
    shorten(&m->twist, powers);
    shorten(&m->shaft, powers);
  }
  if (m->has_far || m->has_grip) shorten(&m->far_load, powers);
  if (has_press(sim, m)) shorten(&m->press, powers);
  if (m->has_far) {
    shorten(&m->v, powers);
    shorten(&m->far_angle, powers);
  }
  for (int i = 0; i < 2 && is_output_resting(sim); i++) {
    shorten(&m->acting[i], powers);
    shorten(&m->holding[i], powers);
    if (m->has_slide) shorten(&m->sliding[i], powers);
  }
}

static double greatest_of(const struct sb_series *series)
{
  double greatest = 0.0;
  for (int k = 0; k <= DEGREE_MAX; k++) {
    const double size = fabs(series->c[k]);
    if (size > greatest) greatest = size;
  }
  return greatest;
}

/* Shortens the stretch until the highest orders vanish. */
static void converge(const struct sb_sim *sim, struct sb_motion *m, struct watch *watch)
{
  for (int eighths = excess(watch); eighths > 0; eighths = excess(watch)) {
    shorten_all(sim, m, eighths);
    for (int i = 0; i < watch->count; i++) watch->greatest[i] = greatest_of(watch->series[i]);
  }
}

/* What gear, shaft or clutch delivers. */
static void take_torque(const struct sb_sim *sim, struct sb_motion *m)
{
  const struct sb_segment *seg = sim->segment;
  if (seg->has_spring) {
    m->torque = m->shaft;
    return;
  }
  if (sb_segment_is_moving_rigid(sim)) {
    const double inertia = seg->output_inertia * seg->per_motor / m->length_s;
    for (int k = 0; k < m->degree; k++) m->torque.c[k] = m->load.c[k] + inertia * (k + 1) * m->x.c[k + 1];
    m->torque.c[m->degree] = 0.0;
    return;
  }
  zero(&m->torque);
  m->torque.c[0] = sb_point_clutch_nm(sim, sim->state.output_direction);
}

/* Takes one more size of a series: whether it and the one before vanish. */
struct fading {
  double greatest, last;
};

static inline bool has_faded(struct fading *fading, double value)
{
  const double size = fabs(value), last = fading->last;
  fading->last = size;
  if (size > fading->greatest) fading->greatest = size;
  const double limit = vanishing * fading->greatest;
  return size <= limit && last <= limit;
}

/* What bends a load, for which loops of their own are compiled. */
enum bends { NO_BENDS, ONE_WAVE, ANY_BENDS };

static enum bends bends_of(const struct course *course)
{
  if (!course->has_bends) return NO_BENDS;
  return course->curve->wave_count == 1 && course->curve->grade_count == 0 ? ONE_WAVE : ANY_BENDS;
}

/* What take_rigid() and has_vanished() do where nothing else moves: most stretches are like that. */
static inline __attribute__((always_inline)) int take_orders_with(const struct sb_segment *seg, struct sb_motion *m,
                                                                  struct course *near, struct watch *watch,
                                                                  bool has_square, enum bends bent)
{
  const struct sb_poly load = seg->load, rate = seg->motor_rate;
  const double r = seg->per_motor, h = m->length_s, tau_s = m->start_s - near->curve->time_s;
  struct fading x_fading = {0.0, 0.0}, load_fading = {0.0, 0.0};
  double x = m->x.c[0], angle = m->angle.c[0] - near->angle_0, timed = tau_s, one = 1.0;
  int k = 0;
  for (;; k++) {
    const double square = has_square ? take_square(near, k) : 0.0;
    const double bends = bent == NO_BENDS ? 0.0 : bent == ONE_WAVE ? take_only_wave(near, k) : take_bends(near, k);
    const double load_nm = load.k * one + load.per_s * timed + load.lin * x + load.per_rad * angle +
                           load.quad * square + load.bend_gain * bends;
    m->load.c[k] = load_nm;
    const bool has_x_faded = has_faded(&x_fading, x), has_load_faded = has_faded(&load_fading, load_nm);
    if (k == DEGREE_MAX || (k >= DEGREE_MIN && has_x_faded && (has_load_faded || seg->has_straight_load))) break;
    const double change = rate.k * one + rate.per_s * timed + rate.lin * x + rate.per_rad * angle + rate.quad * square +
                          rate.bend_gain * bends;
    const double share = h * sb_series_shares[k + 1], turn = share * x;
    m->turn.c[k + 1] = turn;
    m->angle.c[k + 1] = angle = r * turn;
    m->x.c[k + 1] = x = share * change;
    timed = k == 0 ? h : 0.0;
    one = 0.0;
  }
  watch->greatest[0] = x_fading.greatest;
  if (watch->count > 1) watch->greatest[1] = load_fading.greatest;
  return k;
}

static int take_rigid_orders(const struct sb_segment *seg, struct sb_motion *m, struct course *near,
                             struct watch *watch)
{
  switch (bends_of(near)) {
    case NO_BENDS: return take_orders_with(seg, m, near, watch, near->has_square, NO_BENDS);
    case ONE_WAVE: return take_orders_with(seg, m, near, watch, near->has_square, ONE_WAVE);
    case ANY_BENDS: break;
  }
  return take_orders_with(seg, m, near, watch, near->has_square, ANY_BENDS);
}

/* What take_spring() and has_vanished() do under a straight load that moves: most stretches of a shaft that gives are like that. */
static int take_spring_orders(const struct sb_segment *seg, struct sb_motion *m, const struct course *near, int side,
                              struct watch *watch)
{
  const struct sb_spring_segment spring = seg->spring;
  const struct sb_poly load = seg->load, rate = seg->output_rate;
  const double r = seg->per_motor, h = m->length_s, tau_s = m->start_s - near->curve->time_s;
  struct fading x_fading = {0.0, 0.0}, w_fading = x_fading, twist_fading = x_fading, shaft_fading = x_fading;
  double x = m->x.c[0], w = m->w.c[0], twist = m->twist.c[0];
  double wound = twist - spring.offset_rad, motor_k = seg->motor_rate.k;
  double load_k = load.k + load.per_s * tau_s, rate_k = rate.k + rate.per_s * tau_s;
  int k = 0;
  for (;; k++) {
    const double twist_rate = r * x - w;
    const double shaft = side == 0 ? 0.0 : spring.stiffness * wound + spring.damping * twist_rate;
    m->load.c[k] = load.lin * w + load_k;
    m->shaft.c[k] = shaft;
    const bool has_x_faded = has_faded(&x_fading, x), has_w_faded = has_faded(&w_fading, w);
    const bool has_twist_faded = has_faded(&twist_fading, twist), has_shaft_faded = has_faded(&shaft_fading, shaft);
    if (k == DEGREE_MAX || (k >= DEGREE_MIN && has_x_faded && has_w_faded && has_twist_faded && has_shaft_faded)) break;
    const double share = h / (k + 1);
    m->turn.c[k + 1] = share * x;
    m->angle.c[k + 1] = share * w;
    m->x.c[k + 1] = x = share * (seg->motor_rate.lin * x + motor_k - spring.per_motor * shaft);
    m->w.c[k + 1] = w = share * (rate.lin * w + rate_k + spring.per_output * shaft);
    m->twist.c[k + 1] = wound = twist = share * twist_rate;
    motor_k = 0.0;
    load_k = k == 0 ? load.per_s * h : 0.0;
    rate_k = k == 0 ? rate.per_s * h : 0.0;
  }
  const double greatest[] = {x_fading.greatest, w_fading.greatest, twist_fading.greatest, shaft_fading.greatest};
  assert(watch->count == sizeof greatest / sizeof *greatest);
  memcpy(watch->greatest, greatest, sizeof greatest);
  return k;
}

static int take_orders(const struct sb_sim *sim, struct sb_motion *m, struct courses *courses, struct watch *watch)
{
  if (sb_segment_is_moving_rigid(sim) && !m->has_far && !m->has_grip)
    return take_rigid_orders(sim->segment, m, &courses->near, watch);
  if (sim->segment->has_spring && sim->segment->has_straight_load && sim->state.output_direction != 0 && !m->has_far &&
      !m->has_grip)
    return take_spring_orders(sim->segment, m, &courses->near, sim->state.twist.side, watch);
  for (int k = 0;; k++) {
    take_order(sim, m, courses, k);
    if (has_vanished(watch, k) || k == DEGREE_MAX) return k;
  }
}

/* Of the output that turns with the motor. */
static void take_output(const struct sb_segment *seg, struct sb_motion *m)
{
  for (int k = 0; k <= m->degree; k++) m->w.c[k] = seg->per_motor * m->x.c[k];
  for (int k = 1; k <= m->degree; k++) m->angle.c[k] = seg->per_motor * m->turn.c[k];
}

static void take_ranges(const struct sb_sim *sim, struct sb_motion *m)
{
  m->x_range = sb_series_range(&m->x, m->degree);
  if (sb_segment_is_moving_rigid(sim)) m->load_range = sb_series_range(&m->load, m->degree);
  if (!sb_segment_is_rigid(sim)) m->w_range = sb_series_range(&m->w, m->degree);
  if (sb_shifter_clutch_nm(&sim->model->shifter) > 0.0) m->x_slope_range = sb_series_slope_range(&m->x, m->degree);
  if (sim->segment->has_spring) m->shaft_range = sb_series_range(&m->shaft, m->degree);
}

void sb_motion_build(const struct sb_sim *sim, double length_s, struct sb_motion *motion)
{
  struct courses courses;
  struct watch watch;
  motion->length_s = length_s;
  begin(sim, motion, &courses, &watch);
  motion->degree = take_orders(sim, motion, &courses, &watch);
  if (motion->degree == DEGREE_MAX) converge(sim, motion, &watch);
  if (sb_segment_is_moving_rigid(sim)) take_output(sim->segment, motion);
  take_ranges(sim, motion);
  take_torque(sim, motion);
}

/* Integrals ------------------------------------------------------------------------------------------------------------ */

/* What is beyond a rule's count weighs 0. */
enum { PLACE_MAX = SB_GAUSS_MAX };

/* Trailing terms that add nothing only cost. */
static int used_degree(const struct sb_series *p, int degree)
{
  int used = degree < SB_SERIES_DEGREE_MAX ? degree : SB_SERIES_DEGREE_MAX;
  while (used > 0 && p->c[used] == 0.0) used--;
  return used;
}

static double product(int count, const double *weights, const double *a, const double *b)
{
  double sum = 0.0;
  for (int i = 0; i < count; i++) sum += weights[i] * a[i] * b[i];
  return sum;
}

/* Through a shaft that gives: what goes into it at the gear's end, and what its damping takes. */
static void gain_of_shaft(const struct sb_sim *sim, const struct sb_motion *m, int count, const double *places,
                          const double *weights, const double *x, const double *w, struct sb_gain *gain)
{
  const struct sb_segment *seg = sim->segment;
  double shaft[PLACE_MAX], rate[PLACE_MAX];
  if (sim->state.twist.side == 0) return;
  sb_series_at_all(&m->shaft, m->degree, count, places, shaft);
  for (int i = 0; i < count; i++) rate[i] = seg->per_motor * x[i] - w[i];
  gain->shaft_in_j = seg->per_motor * product(count, weights, x, shaft);
  gain->shaft_lost_j = seg->spring.damping * product(count, weights, rate, rate);
}

/* Of wheels that slip where the grade changes along the vehicle's way; v: the vehicle's speed. */
static void gain_of_traction(const struct sb_sim *sim, const struct sb_motion *m, int count, const double *places,
                             const double *weights, const double *v, struct sb_gain *gain)
{
  const double friction = sim->state.far.slip_direction * sim->model->load.road.kinetic_friction_ratio;
  double press[PLACE_MAX], w[PLACE_MAX];
  sb_series_at_all(&m->press, m->degree, count, places, press);
  sb_series_at_all(&m->w, m->degree, count, places, w);
  gain->traction_work_j = friction * product(count, weights, press, w);
  gain->slip_lost_j = gain->traction_work_j - friction * product(count, weights, press, v);
}

/* What the battery gives beyond what it would at standstill, while the motor's current is held. */
static void gain_of_battery(const struct sb_segment *seg, int count, const double *weights, const double *x,
                            struct sb_motor_gain *gain)
{
  const double held_a = seg->piece.held_a, still_a = seg->line.duty * held_a;
  for (int i = 0; i < count; i++) {
    const double battery_a = sb_limiter_duty(&seg->piece, x[i]) * held_a;
    gain->battery_as += weights[i] * (battery_a - still_a);
    gain->battery_square += weights[i] * (battery_a - still_a) * (battery_a + still_a);
  }
}

struct sb_gain sb_motion_gain(const struct sb_sim *sim, const struct sb_motion *m, const struct sb_gauss *rule,
                              double s)
{
  const struct sb_segment *seg = sim->segment;
  const bool is_rigid = sb_segment_is_moving_rigid(sim);
  double places[PLACE_MAX], weights[PLACE_MAX], x[PLACE_MAX], w[PLACE_MAX], load[PLACE_MAX];
  struct sb_gain gain = {.motor.turn = sb_series_at(&m->turn, m->degree, s)};
  gain.output_turn = is_rigid ? seg->per_motor * gain.motor.turn : sb_series_rise(&m->angle, m->degree, s);
  if (m->has_far) gain.far_turn = sb_series_rise(&m->far_angle, m->degree, s);
  if (sb_segment_has_few_sums(sim)) return gain;
  for (int i = 0; i < PLACE_MAX; i++) {
    places[i] = s * rule->place[i];
    weights[i] = m->length_s * s * rule->weight[i];
  }
  sb_series_at_all(&m->x, m->degree, rule->count, places, x);
  gain.motor.square = product(rule->count, weights, x, x);
  sb_series_at_all(&m->load, used_degree(&m->load, m->degree), rule->count, places, load);
  if (!is_rigid) sb_series_at_all(&m->w, m->degree, rule->count, places, w);
  gain.load_work_j =
      is_rigid ? seg->per_motor * product(rule->count, weights, load, x) : product(rule->count, weights, load, w);
  if (seg->piece.held_a != 0.0) gain_of_battery(seg, rule->count, weights, x, &gain.motor);
  if (seg->has_spring) gain_of_shaft(sim, m, rule->count, places, weights, x, w, &gain);
  if (!m->has_far) return gain;
  sb_series_at_all(&m->v, m->degree, rule->count, places, w);
  sb_series_at_all(&m->far_load, m->degree, rule->count, places, load);
  gain.far_work_j = product(rule->count, weights, w, load);
  if (seg->far.is_bent) gain_of_traction(sim, m, rule->count, places, weights, w, &gain);
  return gain;
}
