// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * winding.h - how the winding warms, what that does to its resistance, and a cut-out.
 *
 *   one node    Cw dTw/dt = P - (Tw - Tamb) / Rw
 *   two nodes   Cw dTw/dt = P - (Tw - Th) / Rw,   Ch dTh/dt = (Tw - Th) / Rw - (Th - Tamb) / Rh
 *   copper      R(T) = R (1 + a20 (T - 20)) / (1 + a20 (Tref - 20)),  a20 = 0.00393 / K; R as given holds at Tref
 *
 * P = I^2 R(T) is the winding's loss.
 */
#ifndef SHIFTBAND_WINDING_H
#define SHIFTBAND_WINDING_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Temperature coefficient of standard annealed copper at 20 C, per K. */
#define SB_COPPER_PER_K 0.00393

struct sb_winding {
  bool is_present;
  double ambient_c;              /* deg C */
  double start_c;                /* deg C, of the winding at t = 0 */
  double reference_c;            /* deg C at which the motor's figures hold */
  double capacity_j_k;           /* Cw, J / K, > 0 */
  double resistance_k_w;         /* Rw, K / W, > 0 */
  double housing_capacity_j_k;   /* Ch, J / K; 0: one node */
  double housing_resistance_k_w; /* Rh, K / W, > 0 with two nodes */
  double cut_out_c;              /* deg C above which a switch cuts the drive; INFINITY: none */
  double reset_c;                /* deg C below which it closes again, < cut_out_c */
  double housing_start_c;        /* deg C, of the housing at t = 0; with two nodes */
};

/* Temperatures, deg C; housing_c is the ambient's with one node. */
struct sb_warmth {
  double winding_c;
  double housing_c;
};

/* At the start. Pure. */
struct sb_warmth sb_winding_start(const struct sb_winding *winding);

/* What is left of the distances from where winding and housing settle, less 1, after a while: exp(A t) - I of two linear
 * equations, A their matrix. It depends on the while alone, so that ticks of one length share it. */
struct sb_winding_lapse {
  double winding_by_winding, winding_by_housing;
  double housing_by_winding, housing_by_housing;
};

/* Of duration_s > 0, s. Pure. */
struct sb_winding_lapse sb_winding_lapse(const struct sb_winding *winding, double duration_s);

/* After a constant loss (W) over the lapse's while: the exact solution. Pure. */
struct sb_warmth sb_winding_warmed_by(const struct sb_winding *winding, const struct sb_winding_lapse *lapse,
                                      const struct sb_warmth *from, double loss_w);

/* The same for a while (s) that comes but once. Pure. */
struct sb_warmth sb_winding_warmed(const struct sb_winding *winding, const struct sb_warmth *from, double loss_w,
                                   double duration_s);

/* The winding's temperature, deg C, after a while that is short beside its time constant: to first order, without an
 * exponential, and never beyond where it would settle. Pure. */
double sb_winding_soon_c(const struct sb_winding *winding, const struct sb_warmth *from, double loss_w,
                         double duration_s);

/* The housing's, likewise; the ambient's with one node. Pure. */
double sb_winding_housing_soon_c(const struct sb_winding *winding, const struct sb_warmth *from, double duration_s);

/* Where it settles under a constant loss. Pure. */
struct sb_warmth sb_winding_steady(const struct sb_winding *winding, double loss_w);

/* R(T) over the motor's given resistance. Pure. */
double sb_winding_resistance_ratio(const struct sb_winding *winding, double winding_c);

#ifdef __cplusplus
}
#endif

#endif
