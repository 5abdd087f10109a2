// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/limiter.h"

#include <math.h>

/* Speed at which a duty brings a current, rad/s. */
static double speed_of(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                       double current_a)
{
  const double loop_ohm = circuit->motor_ohm + duty * duty * circuit->supply_ohm;
  return (duty * circuit->voltage_v - loop_ohm * current_a) / (circuit->magnet_ratio * motor->ke_vs_rad);
}

/* Where piece `number` ends and the next one begins. */
static double border_rad_s(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                           int number)
{
  const double limit_a = circuit->limit_a;
  switch (number) {
    case SB_LIMITER_FULL_BACK: return speed_of(motor, circuit, -1.0, limit_a);
    case SB_LIMITER_HELD: return speed_of(motor, circuit, duty, limit_a);
    case SB_LIMITER_FREE: return speed_of(motor, circuit, duty, -limit_a);
    case SB_LIMITER_HELD_BACK: return speed_of(motor, circuit, 1.0, -limit_a);
    default: return number < SB_LIMITER_FULL_BACK ? -INFINITY : INFINITY;
  }
}

double sb_limiter_duty_for(const struct sb_motor_circuit *circuit, double back_emf_v, double current_a)
{
  const double motor_v = back_emf_v + circuit->motor_ohm * current_a, open_v = circuit->voltage_v;
  const double root = fmax(open_v * open_v - 4.0 * circuit->supply_ohm * current_a * motor_v, 0.0);
  return 2.0 * motor_v / (open_v + sqrt(root));
}

static struct sb_motor_line held_line(const struct sb_motor *motor, const struct sb_motor_circuit *circuit,
                                      int direction)
{
  const struct sb_motor_line bent = sb_motor_line_of_circuit(motor, circuit, 1.0);
  struct sb_motor_line line = sb_motor_line_held(&bent, direction);
  line.duty = sb_limiter_duty_for(circuit, 0.0, line.stall_a);
  return line;
}

struct sb_motor_line sb_limiter_line(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                                     int number)
{
  struct sb_motor_circuit unlimited = *circuit;
  unlimited.limit_a = 0.0;
  switch (number) {
    case SB_LIMITER_FULL_BACK: return sb_motor_line_of_circuit(motor, &unlimited, -1.0);
    case SB_LIMITER_HELD: return held_line(motor, circuit, +1);
    case SB_LIMITER_HELD_BACK: return held_line(motor, circuit, -1);
    case SB_LIMITER_FULL: return sb_motor_line_of_circuit(motor, &unlimited, 1.0);
    default: return sb_motor_line_of_circuit(motor, &unlimited, duty);
  }
}

struct sb_limiter_piece sb_limiter_piece(const struct sb_motor *motor, const struct sb_motor_circuit *circuit,
                                         double duty, int number)
{
  struct sb_limiter_piece piece = {.from_rad_s = -INFINITY,
                                   .to_rad_s = INFINITY,
                                   .asked = duty,
                                   .duty = duty,
                                   .back_emf_vs_rad = circuit->magnet_ratio * motor->ke_vs_rad,
                                   .circuit = *circuit};
  if (!(circuit->limit_a > 0.0)) return piece;
  piece.from_rad_s = border_rad_s(motor, circuit, duty, number - 1);
  piece.to_rad_s = border_rad_s(motor, circuit, duty, number);
  if (number == SB_LIMITER_FULL_BACK || number == SB_LIMITER_FULL) piece.duty = number < 0 ? -1.0 : 1.0;
  if (number == SB_LIMITER_HELD) piece.held_a = circuit->limit_a;
  if (number == SB_LIMITER_HELD_BACK) piece.held_a = -circuit->limit_a;
  return piece;
}

int sb_limiter_number(const struct sb_motor *motor, const struct sb_motor_circuit *circuit, double duty,
                      double speed_rad_s, int number, double slack_rad_s)
{
  if (!(circuit->limit_a > 0.0)) return SB_LIMITER_FREE;
  while (number > SB_LIMITER_FULL_BACK && speed_rad_s < border_rad_s(motor, circuit, duty, number - 1) - slack_rad_s)
    number--;
  while (number < SB_LIMITER_FULL && speed_rad_s > border_rad_s(motor, circuit, duty, number) + slack_rad_s) number++;
  return number;
}

double sb_limiter_duty(const struct sb_limiter_piece *piece, double speed_rad_s)
{
  if (piece->held_a == 0.0) return piece->duty;
  const double duty = sb_limiter_duty_for(&piece->circuit, piece->back_emf_vs_rad * speed_rad_s, piece->held_a);
  return fmin(fmax(duty, -1.0), 1.0);
}
