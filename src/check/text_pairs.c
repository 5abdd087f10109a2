// SPDX-License-Identifier: GPL-3.0-or-later
/* text_pairs.c - pairs of gears, at the nominal supply and over cases side by side. */
#include <math.h>
#include <stdarg.h>

#include "base/constants.h"
#include "check/parts.h"

void sb_check_text_line(FILE *out, const char *label, const char *format, ...)
{
  char text[SB_CHECK_REMARK_SIZE];
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(text, sizeof text, format, arguments);
  va_end(arguments);
  sb_words_say(out, 2, 19, "%-16s %s", label, text);
}

/* "above 9.81 V", or "at any voltage". */
static struct sb_figure above_of(double voltage_v)
{
  struct sb_figure out = {.text = "at any voltage"};
  if (isinf(voltage_v)) return (struct sb_figure){.text = "at no voltage"};
  if (!isnan(voltage_v)) snprintf(out.text, sizeof out.text, "above %.14s V", NUM(voltage_v));
  return out;
}

static void write_torque(const char *label, double torque_nm, const char *gear, double threshold, FILE *out)
{
  if (isfinite(torque_nm)) {
    sb_check_text_line(out, label, "%s N.m, which %s carries at %s", NUM(torque_nm), gear, SET(threshold));
  } else {
    sb_check_text_line(out, label, "none: %s reads %s %s under any load", gear, torque_nm < 0.0 ? "below" : "above",
                       SET(threshold));
  }
}

/* What is right with the pair's thresholds. */
static void say_thresholds(const struct sb_check_pair *pair, const struct sb_check_load *load, FILE *out)
{
  const struct sb_pair_figures *figures = &pair->figures;
  if (!figures->has_band && pair->upshift_margin >= 0.0) {
    SAY("No hunting band: the upshift threshold is %s above %s, the lowest safe one.", PCT(pair->upshift_margin),
        sb_words_percent_by(ceil, figures->least_safe_upshift).text);
  } else if (!figures->has_band) { /* no load brings a band about */
    SAY("No hunting band.");
  }
  if (!figures->is_stuck_low && pair->is_upshift_opposed && pair->slower_locks) {
    SAY("The box shifts up again only under loads above %s N.m: %s locks itself, so a load that helps more takes motor torque, "
        "too, and %s stays below the upshift threshold.",
        NUM(figures->helping_upshift_nm), pair->slower, pair->slower);
  } else if (!figures->is_stuck_low && pair->is_upshift_opposed) {
    SAY("The box shifts up again only under loads above %s N.m: a load that drives the motor harder raises its current, and %s "
        "stays below the upshift threshold.",
        NUM(figures->helping_upshift_nm), pair->slower);
  } else if (!figures->is_stuck_low) {
    SAY("The box shifts up again: %s reads %s under the lightest load, %s N.m.", pair->slower,
        PCT(pair->slower_lightest_reading), NUM(load->lightest_nm));
  }
  if (!figures->is_needless_downshift && pair->is_downshift_forced) {
    SAY("Below %s N.m the load %s so hard that the reading of %s falls below the downshift threshold.",
        NUM(figures->helping_downshift_nm),
        pair->faster_locks ? "helps, against a gear that locks itself," : "drives the motor", pair->faster);
  }
}

/* On which side of the crossover load the thresholds lie, and what that costs. */
static void say_sides(const struct sb_check_pair *pair, FILE *out)
{
  const char *slower = pair->slower, *faster = pair->faster;
  if (isnan(pair->crossover.load_nm)) return;
  if (pair->is_downshift_below && pair->is_upshift_below) {
    SAY("Both thresholds' torques lie below the crossover load: between them and it the box uses %s where %s is faster.",
        slower, faster);
  } else if (!pair->is_downshift_below && !pair->is_upshift_below) {
    SAY("Both thresholds' torques lie above the crossover load: between it and them the box uses %s where %s is faster.",
        faster, slower);
  } else if (pair->is_upshift_below) {
    SAY("The crossover load lies between upshift and downshift torque: such thresholds lose least speed.");
  } else {
    SAY("The crossover load lies in the hunting band.");
  }
}

/* Where both gears turn the output equally fast. */
static void say_crossover(const struct sb_check_pair *pair, FILE *out)
{
  static const double rpm_per_rad_s = 30.0 / SB_PI;
  const struct sb_crossover *crossover = &pair->crossover;
  if (isnan(crossover->load_nm)) {
    SAY("No crossover load: %s turns the output faster under every load that both carry.",
        crossover->ahead == SB_AHEAD_SLOWER ? pair->slower : pair->faster);
    return;
  }
  sb_check_text_line(out, "crossover load",
                     "%s N.m, under which both turn the output at %s rpm: %s reads %s there, %s %s",
                     NUM(crossover->load_nm), NUM(crossover->output_speed_rad_s * rpm_per_rad_s), pair->slower,
                     PCT(crossover->slower_reading), pair->faster, PCT(crossover->faster_reading));
}

/* Where both take the same energy for a turn of the output. */
static void say_energy(const struct sb_check_pair *pair, FILE *out)
{
  const struct sb_crossover *crossover = &pair->crossover;
  if (isnan(crossover->energy_load_nm) && crossover->cheaper == SB_AHEAD_NEITHER) {
    SAY("For a turn of the output both need the same energy under every load that both carry.");
    return;
  }
  if (isnan(crossover->energy_load_nm)) {
    SAY("No equal-energy load: for a turn of the output %s needs less under every load that both carry.",
        crossover->cheaper == SB_AHEAD_SLOWER ? pair->slower : pair->faster);
    return;
  }
  sb_check_text_line(out, "equal energy",
                     "%s N.m, under which a turn of the output takes %s J in both; above it %s needs less",
                     NUM(crossover->energy_load_nm), NUM(crossover->energy_j), pair->slower);
}

static void say_times(const struct sb_check_pair *pair, FILE *out)
{
  const struct sb_pair_figures *figures = &pair->figures;
  const bool is_engaging = !isnan(figures->upshift_time_s) && !isnan(figures->downshift_time_s);
  SAY("A shift up takes %s s, a shift down %s s%s.", NUM(figures->upshift_time_s), NUM(figures->downshift_time_s),
      is_engaging ? "" : " (-: it does not engage)");
  if (!isnan(pair->needed_dwell_s)) {
    SAY("The shortest dwell is %s s after an upshift at %s, and %s s after one from the steady state of %s; controller.dwell, %s s, is %s.",
        NUM(figures->shortest_dwell_s), SET(pair->upshift_above), NUM(figures->shortest_dwell_steady_s), pair->slower,
        NUM(pair->dwell_s), pair->is_dwell_enough ? "enough" : "too short");
  }
  if (pair->is_start_delay_needed) {
    SAY("The shortest start delay is %s s, from rest in %s; controller.start_delay, %s s, is %s.",
        NUM(figures->shortest_start_delay_s), pair->faster, NUM(pair->start_delay_s),
        pair->is_start_delay_enough ? "enough" : "too short");
  }
}

static void write_pair(const struct sb_check *check, int index, FILE *out)
{
  const struct sb_check_pair *pair = &check->cases[SB_CHECK_NOMINAL].pairs[index];
  const struct sb_pair_figures *figures = &pair->figures;
  fputc('\n', out);
  sb_words_say(out, 0, 2, "Between %s and %s: downshift below %s, upshift above %s", pair->slower, pair->faster,
               SET(pair->downshift_below), SET(pair->upshift_above));
  write_torque("downshift torque", figures->downshift_torque_nm, pair->faster, pair->downshift_below, out);
  write_torque("upshift torque", figures->upshift_torque_nm, pair->slower, pair->upshift_above, out);
  say_crossover(pair, out);
  say_energy(pair, out);
  say_sides(pair, out);
  for (int k = 0; k < check->findings.count; k++) {
    if (check->findings.items[k].pair == index) SAY("%s", check->findings.items[k].text);
  }
  say_thresholds(pair, &check->load, out);
  say_times(pair, out);
  SAY("Under the lightest load the box shifts up again %s and stays in %s %s.",
      above_of(figures->least_voltage_upshift_v).text, pair->faster, above_of(figures->least_voltage_hold_v).text);
}

void sb_check_text_pairs(const struct sb_check *check, FILE *out)
{
  for (int p = 0; p + 1 < check->cases[SB_CHECK_NOMINAL].gear_count; p++) write_pair(check, p, out);
}

/* Cases side by side ----------------------------------------------------------------------------------------------------- */

static struct sb_figure with_unit(double value, const char *unit)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.16s %.8s", NUM(value), isnan(value) ? "" : unit);
  return out;
}

static struct sb_figure reading_and(double reading, const char *trouble)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.10s%.18s", PCT(reading), trouble);
  return out;
}

static const char *const rows[] = {"downshift torque",    "upshift torque",        "hunting band",
                                   "lowest safe upshift", "slower, lightest load", "faster, lightest load",
                                   "shortest dwell",      "slower stalls at",      "faster stalls at"};

/* The figure of a pair in one of the rows. */
static struct sb_figure figure_of(const struct sb_check_pair *pair, size_t row)
{
  const struct sb_pair_figures *figures = &pair->figures;
  const struct sb_figure none = {.text = "none"};
  switch (row) {
    case 0: return sb_words_torque(figures->downshift_torque_nm, "any load", "no load");
    case 1: return sb_words_torque(figures->upshift_torque_nm, "no load", "any load");
    case 2: return figures->has_band ? sb_check_band(figures->downshift_torque_nm, figures->upshift_torque_nm) : none;
    case 3: return isnan(figures->least_safe_upshift) ? none : sb_words_percent_by(ceil, figures->least_safe_upshift);
    case 4: return reading_and(pair->slower_lightest_reading, figures->is_stuck_low ? ", stuck low" : "");
    case 5: return reading_and(pair->faster_lightest_reading, figures->is_needless_downshift ? ", shifts down" : "");
    case 6: return with_unit(pair->needed_dwell_s, "s");
    case 7: return with_unit(pair->slower_stall_nm, "N.m");
    default: return with_unit(pair->faster_stall_nm, "N.m");
  }
}

struct sb_figure sb_check_text_label(const struct sb_check_case *at)
{
  struct sb_figure out;
  if (isnan(at->winding_c)) {
    snprintf(out.text, sizeof out.text, "%.10s, %.14s V", at->label, NUM(at->motor.open_circuit_voltage_v));
  } else {
    snprintf(out.text, sizeof out.text, "%.10s, %.14s C", at->label, NUM(at->winding_c));
  }
  return out;
}

void sb_check_text_cases(const struct sb_check_case *cases, int count, FILE *out)
{
  for (int p = 0; p + 1 < cases[0].gear_count; p++) {
    struct sb_text_table table;
    sb_text_table_init(&table, 1 + count);
    sb_text_table_put(&table, "%s", "");
    for (int k = 0; k < count; k++) sb_text_table_put(&table, "%s", sb_check_text_label(&cases[k]).text);
    for (size_t row = 0; row < sizeof rows / sizeof *rows; row++) {
      sb_text_table_put(&table, "%s", rows[row]);
      for (int k = 0; k < count; k++) sb_text_table_put(&table, "%s", figure_of(&cases[k].pairs[p], row).text);
    }
    SAY("between %s and %s", cases[0].pairs[p].slower, cases[0].pairs[p].faster);
    sb_text_table_write(&table, 2, out);
  }
}

void sb_check_text_range(const struct sb_check *check, FILE *out)
{
  if (check->case_count < 2) return;
  fputs("\nRange of the supply voltage\n", out);
  if (check->cases[0].gear_count > 1) {
    sb_check_text_cases(check->cases, check->case_count, out);
    return;
  }
  for (int k = 0; k < check->case_count; k++) SAY("%s", sb_check_text_label(&check->cases[k]).text);
}
