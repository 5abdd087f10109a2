// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/winding.h"

#include <math.h>

#include "base/elementary.h"

#define COPPER_AT_C 20.0 /* where SB_COPPER_PER_K holds */

static bool has_housing(const struct sb_winding *winding)
{
  return winding->housing_capacity_j_k > 0.0;
}

struct sb_warmth sb_winding_start(const struct sb_winding *winding)
{
  return (struct sb_warmth){.winding_c = winding->start_c,
                            .housing_c = has_housing(winding) ? winding->housing_start_c : winding->ambient_c};
}

struct sb_warmth sb_winding_steady(const struct sb_winding *winding, double loss_w)
{
  struct sb_warmth settled = {.housing_c = winding->ambient_c};
  if (has_housing(winding)) settled.housing_c += loss_w * winding->housing_resistance_k_w;
  settled.winding_c = settled.housing_c + loss_w * winding->resistance_k_w;
  return settled;
}

/* Written as a change, so that a tick too short to be seen in exp() still warms. */
static struct sb_winding_lapse lapse_alone(const struct sb_winding *winding, double duration_s)
{
  const double rate = 1.0 / (winding->resistance_k_w * winding->capacity_j_k);
  return (struct sb_winding_lapse){.winding_by_winding = sb_elementary_exp_less_1(-rate * duration_s)};
}

/*
 * The distances x, y from where both settle follow x' = -a (x - y), y' = b (x - y) - c y: a matrix A with the rates
 * -slow and -fast, always real and apart since (a - b - c)^2 + 4 a b > 0. Then
 *   exp(A t) - I = (exp(-slow t) - 1) I + exp(-slow t) (1 - exp(-(fast - slow) t)) / (fast - slow) (A + slow I)
 */
static struct sb_winding_lapse lapse_with_housing(const struct sb_winding *winding, double duration_s)
{
  const double a = 1.0 / (winding->resistance_k_w * winding->capacity_j_k);
  const double b = 1.0 / (winding->resistance_k_w * winding->housing_capacity_j_k);
  const double c = 1.0 / (winding->housing_resistance_k_w * winding->housing_capacity_j_k);
  const double apart = sqrt((a - b - c) * (a - b - c) + 4.0 * a * b); /* fast - slow */
  const double fast = 0.5 * (a + b + c + apart);
  const double slow = c * (a / fast); /* their product is a c: nothing cancels */
  const double both = sb_elementary_exp_less_1(-slow * duration_s);
  const double mixed = (1.0 + both) * (-sb_elementary_exp_less_1(-apart * duration_s) / apart);
  return (struct sb_winding_lapse){.winding_by_winding = both + mixed * (slow - a),
                                   .winding_by_housing = mixed * a,
                                   .housing_by_winding = mixed * b,
                                   .housing_by_housing = both + mixed * (slow - b - c)};
}

struct sb_winding_lapse sb_winding_lapse(const struct sb_winding *winding, double duration_s)
{
  return has_housing(winding) ? lapse_with_housing(winding, duration_s) : lapse_alone(winding, duration_s);
}

struct sb_warmth sb_winding_warmed_by(const struct sb_winding *winding, const struct sb_winding_lapse *lapse,
                                      const struct sb_warmth *from, double loss_w)
{
  const struct sb_warmth settled = sb_winding_steady(winding, loss_w);
  const double x = from->winding_c - settled.winding_c;
  const double y = has_housing(winding) ? from->housing_c - settled.housing_c : 0.0;
  const double housing_c = has_housing(winding) ? from->housing_c : winding->ambient_c;
  return (struct sb_warmth){from->winding_c + (lapse->winding_by_winding * x + lapse->winding_by_housing * y),
                            housing_c + (lapse->housing_by_winding * x + lapse->housing_by_housing * y)};
}

struct sb_warmth sb_winding_warmed(const struct sb_winding *winding, const struct sb_warmth *from, double loss_w,
                                   double duration_s)
{
  const struct sb_winding_lapse lapse = sb_winding_lapse(winding, duration_s);
  return sb_winding_warmed_by(winding, &lapse, from, loss_w);
}

/* One step of Euler's implicit method, the housing as it is: by T <- T + t P' / C, P' of the flow at the end. */
double sb_winding_soon_c(const struct sb_winding *winding, const struct sb_warmth *from, double loss_w,
                         double duration_s)
{
  const double settled_k = from->housing_c - from->winding_c + loss_w * winding->resistance_k_w;
  return from->winding_c + settled_k * duration_s / (duration_s + winding->resistance_k_w * winding->capacity_j_k);
}

/* Likewise, the winding as it is: it flows towards where both resistances would leave the housing. */
double sb_winding_housing_soon_c(const struct sb_winding *winding, const struct sb_warmth *from, double duration_s)
{
  if (!has_housing(winding)) return winding->ambient_c;
  const double in_w_k = 1.0 / winding->resistance_k_w, out_w_k = 1.0 / winding->housing_resistance_k_w;
  const double settled_c = (from->winding_c * in_w_k + winding->ambient_c * out_w_k) / (in_w_k + out_w_k);
  const double constant_s = winding->housing_capacity_j_k / (in_w_k + out_w_k);
  return from->housing_c + (settled_c - from->housing_c) * duration_s / (duration_s + constant_s);
}

double sb_winding_resistance_ratio(const struct sb_winding *winding, double winding_c)
{
  return (1.0 + SB_COPPER_PER_K * (winding_c - COPPER_AT_C)) /
         (1.0 + SB_COPPER_PER_K * (winding->reference_c - COPPER_AT_C));
}
