// SPDX-License-Identifier: GPL-3.0-or-later
#include "tune/choice.h"

#include <math.h>

/* What counts at a point; more is better. */
struct merits {
  double margin, speed, thrift; /* lattice steps; rad/s; less the energy of a radian, J */
  double swing;                 /* N m; < 0: not proved for every load */
};

/* What a point has to reach; a margin of one step at least. */
struct least {
  double margin, speed, thrift;
};

static struct merits merits_at(const struct sb_raster *raster, int downshift, int upshift)
{
  const size_t at = (size_t)downshift * (size_t)raster->side + (size_t)upshift;
  const double way_rad = fmax((double)raster->way_rad[at], 1e-9);
  return (struct merits){sb_raster_margin(raster, downshift, upshift), way_rad / fmax((double)raster->time_s[at], 1e-9),
                         -(double)raster->energy_j[at] / way_rad,
                         raster->swing_nm != NULL ? (double)raster->swing_nm[at] : -1.0};
}

/* The best that any point has, each by itself. */
static struct merits greatest_of(const struct sb_raster *raster)
{
  struct merits greatest = {.speed = -INFINITY, .thrift = -INFINITY};
  for (int downshift = 0; downshift < raster->side; downshift++) {
    for (int upshift = downshift + 1; upshift < raster->side; upshift++) {
      if (sb_raster_margin(raster, downshift, upshift) == 0) continue;
      const struct merits here = merits_at(raster, downshift, upshift);
      greatest.margin = fmax(greatest.margin, here.margin);
      greatest.speed = fmax(greatest.speed, here.speed);
      greatest.thrift = fmax(greatest.thrift, here.thrift);
    }
  }
  return greatest;
}

/* Which points count, and what they are compared by: the first difference decides. */
struct wish {
  struct least least;
  bool is_proof_asked;
  double (*keys[3])(const struct merits *merits);
};

static double margin_of(const struct merits *merits)
{
  return merits->margin;
}

/* Sums of single precision: what differs by less than 1e-5 or so is the same. */
static double rounded(double value)
{
  int exponent;
  const double share = frexp(value, &exponent);
  return ldexp(round(ldexp(share, 16)), exponent - 16);
}

static double speed_of(const struct merits *merits)
{
  return rounded(merits->speed);
}

static double swing_of(const struct merits *merits)
{
  return rounded(merits->swing);
}

static double thrift_of(const struct merits *merits)
{
  return rounded(merits->thrift);
}

static bool is_better(const struct wish *wish, const struct merits *one, const struct merits *other)
{
  for (int k = 0; k < 3; k++) {
    const double a = wish->keys[k](one), b = wish->keys[k](other);
    if (a != b) return a > b;
  }
  return false;
}

static bool is_enough(const struct least *least, const struct merits *merits)
{
  return merits->margin >= fmax(least->margin, 1.0) && merits->speed >= least->speed && merits->thrift >= least->thrift;
}

static struct sb_point best_of(const struct sb_raster *raster, const struct wish *wish)
{
  struct sb_point best = {-1, -1};
  struct merits most = {.speed = -INFINITY, .thrift = -INFINITY};
  for (int downshift = 0; downshift < raster->side; downshift++) {
    for (int upshift = downshift + 1; upshift < raster->side; upshift++) {
      if (sb_raster_margin(raster, downshift, upshift) == 0) continue;
      const struct merits here = merits_at(raster, downshift, upshift);
      if (!is_enough(&wish->least, &here) || (wish->is_proof_asked && here.swing < 0.0)) continue;
      if (best.downshift >= 0 && !is_better(wish, &here, &most)) continue;
      most = here;
      best = (struct sb_point){downshift, upshift};
    }
  }
  return best;
}

/* The point that is recommended, and whether by its speed alone. */
static struct sb_point recommended(const struct sb_raster *raster, enum sb_prefer prefer, const struct merits *greatest,
                                   bool *is_speed_alone)
{
  const double charge_slack = (SB_TUNE_CHARGE_KEPT - 1.0) * fabs(greatest->thrift);
  const struct least wide = {SB_TUNE_MARGIN_KEPT * greatest->margin, -INFINITY, -INFINITY};
  const struct least fast = {0.0, SB_TUNE_SPEED_KEPT * greatest->speed, -INFINITY};
  const struct least both = {0.0, fast.speed, greatest->thrift - charge_slack};
  *is_speed_alone = false;
  if (prefer == SB_PREFER_TIME) return best_of(raster, &(struct wish){wide, false, {speed_of, margin_of, thrift_of}});
  if (prefer == SB_PREFER_ENERGY) return best_of(raster, &(struct wish){wide, false, {thrift_of, margin_of, speed_of}});
  const struct sb_point point = best_of(raster, &(struct wish){both, false, {margin_of, speed_of, thrift_of}});
  if (point.downshift >= 0) return point;
  *is_speed_alone = true;
  return best_of(raster, &(struct wish){fast, false, {margin_of, thrift_of, speed_of}});
}

/* The greatest swing of what is proved for every load: within both limits, within that of the speed, or at all. */
static struct sb_point proved(const struct sb_raster *raster, const struct merits *greatest, struct sb_choices *out)
{
  const double charge_slack = (SB_TUNE_CHARGE_KEPT - 1.0) * fabs(greatest->thrift);
  const double fast = SB_TUNE_SPEED_KEPT * greatest->speed;
  const struct least least[] = {
      {0.0, fast, greatest->thrift - charge_slack}, {0.0, fast, -INFINITY}, {0.0, -INFINITY, -INFINITY}};
  struct sb_point point = {-1, -1};
  int k = 0;
  while (k < 3 && point.downshift < 0) {
    point = best_of(raster, &(struct wish){least[k++], true, {swing_of, margin_of, speed_of}});
  }
  out->is_proved = point.downshift >= 0;
  out->is_speed_alone = out->is_proved && k == 2;
  out->is_proved_alone = out->is_proved && k == 3;
  return point;
}

struct sb_choices sb_choice_find_all(const struct sb_raster *raster, enum sb_prefer prefer)
{
  const struct merits greatest = greatest_of(raster);
  const struct least any = {0.0, -INFINITY, -INFINITY};
  struct sb_choices out = {.is_speed_alone = false};
  struct sb_point *answer = &out.points[SB_CHOICE_RECOMMENDED];
  if (raster->swing_nm != NULL) *answer = proved(raster, &greatest, &out);
  if (!out.is_proved) *answer = recommended(raster, prefer, &greatest, &out.is_speed_alone);
  out.points[SB_CHOICE_FASTEST] = best_of(raster, &(struct wish){any, false, {speed_of, margin_of, thrift_of}});
  out.points[SB_CHOICE_LEAST_CHARGE] = best_of(raster, &(struct wish){any, false, {thrift_of, margin_of, speed_of}});
  out.points[SB_CHOICE_WIDEST] = best_of(raster, &(struct wish){any, false, {margin_of, speed_of, thrift_of}});
  return out;
}

const char *sb_choice_name(enum sb_choice choice)
{
  static const char *const names[SB_CHOICE_COUNT] = {"recommended", "fastest", "least charge", "widest margin"};
  return names[choice];
}
