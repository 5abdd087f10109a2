// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - `check` for people: at most 100 columns, a unit on everything, verdicts in words. */
#include <math.h>
#include <string.h>

#include "base/constants.h"
#include "check/check.h"
#include "check/discharge.h"
#include "check/drive.h"
#include "check/heat.h"
#include "check/obstacles.h"
#include "check/shaft.h"
#include "text/words.h"

static const double rpm_per_rad_s = 30.0 / SB_PI;

static void write_motor(const struct sb_check_case *at, FILE *out)
{
  const double no_load = sb_motor_no_load_speed_rad_s(&at->line);
  fprintf(out, "\nMotor at %s V open circuit", NUM(at->model.supply.open_circuit_voltage_v));
  if (at->model.supply.internal_resistance_ohm > 0.0) {
    fprintf(out, " behind %s ohm", NUM(at->model.supply.internal_resistance_ohm));
  }
  fprintf(out, ", drive %s\n", SET(at->model.drive.limit_fraction));
  fprintf(out, "  no-load speed    %s rpm", NUM(no_load * rpm_per_rad_s));
  if (at->model.control.sensor.quantity == SB_SENSES_SPEED) {
    fprintf(out, ", a reading of %s (100 %% is %s rpm)", PCT(at->form.no_load_fraction),
            NUM(at->model.control.sensor.reference_rad_s * rpm_per_rad_s));
  }
  fputc('\n', out);
  fprintf(out, "  stall torque     %s N.m\n", NUM(at->form.stall_torque_nm));
  fprintf(out, "  most power       %s W at %s rpm\n", NUM(0.25 * at->form.stall_torque_nm * no_load),
          NUM(0.5 * no_load * rpm_per_rad_s));
}

/* "0.2 N.m", or "0.1..0.8 N.m". */
static struct sb_figure span_of(double least, double greatest)
{
  struct sb_figure out;
  if (least == greatest) {
    snprintf(out.text, sizeof out.text, "%.14s N.m", NUM(least));
  } else {
    snprintf(out.text, sizeof out.text, "%.12s..%.12s N.m", NUM(least), NUM(greatest));
  }
  return out;
}

static void write_brake(const struct sb_check_case *at, FILE *out)
{
  const double brake_nm = at->model.load.brake_nm, asked_nm = sb_check_hung_nm(&at->model);
  if (!(brake_nm > 0.0)) return;
  fprintf(out, "  holding brake    %s N.m; what hangs asks for %s N.m besides the drum's friction: %s\n", NUM(brake_nm),
          NUM(asked_nm), brake_nm >= asked_nm ? "it holds" : "it slips");
}

static void write_load(const struct sb_check_case *at, FILE *out)
{
  double viscous, quadratic;
  sb_load_speed_terms(&at->model.load, &viscous, &quadratic);
  fprintf(out, "\nLoad at the output\n  inertia          %s kg.m2\n", NUM(at->model.load.inertia_kg_m2));
  fprintf(out, "  from outside     %s over %s s\n", span_of(at->form.lightest_load_nm, at->form.heaviest_load_nm).text,
          NUM(at->model.run.duration_s));
  write_brake(at, out);
  if (viscous > 0.0) fprintf(out, "  follows speed    %s N.m.s/rad\n", NUM(viscous));
  if (quadratic > 0.0) fprintf(out, "  follows speed^2  %s N.m.s2/rad2\n", NUM(quadratic));
}

/* Width of the column of gear names. */
static int name_width(const struct sb_gearbox *gearbox)
{
  int width = 8;
  for (int g = 0; g < gearbox->gear_count; g++) {
    const char *name = gearbox->gears[g].name;
    const int columns = sb_words_columns(name, strlen(name)) + 2;
    if (columns > width) width = columns;
  }
  return width;
}

static void write_settled(FILE *out, double reading, double output_rad_s, int width)
{
  if (output_rad_s > 0.0) {
    sb_words_cell(out, width, "%s, output %s rpm", PCT(reading), NUM(output_rad_s * rpm_per_rad_s));
  } else {
    sb_words_cell(out, width, "stalls");
  }
}

static void write_gears(const struct sb_check_case *at, FILE *out)
{
  const struct sb_gearbox *gearbox = &at->model.gearbox;
  const int width = name_width(gearbox);
  fputs("\nGears\n  ", out);
  sb_words_cell(out, width, "%s", "");
  fputs("ratio      efficiency  output turns  stall torque   time constant  inertia at motor\n", out);
  for (int g = 0; g < gearbox->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->form.gears[g];
    fputs("  ", out);
    sb_words_cell(out, width, "%s", gearbox->gears[g].name);
    sb_words_cell(out, 11, "%s", NUM(gear->ratio));
    sb_words_cell(out, 12, "%s", PCT(gear->efficiency));
    sb_words_cell(out, 14, "%s", gear->output_direction > 0 ? "as motor" : "opposite");
    sb_words_cell(out, 15, "%s N.m", NUM(gear->stall_torque_nm));
    sb_words_cell(out, 15, "%s s", NUM(gear->time_constant_s));
    fprintf(out, "%s kg.m2\n", NUM(gear->inertia_kg_m2));
  }
  fputs("\nSettled\n  ", out);
  sb_words_cell(out, width, "%s", "");
  sb_words_cell(out, 31, "lightest load, %s N.m", NUM(at->form.lightest_load_nm));
  sb_words_cell(out, 31, "heaviest load, %s N.m", NUM(at->form.heaviest_load_nm));
  fputs("heaviest moves\n", out);
  for (int g = 0; g < gearbox->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->form.gears[g];
    fputs("  ", out);
    sb_words_cell(out, width, "%s", gearbox->gears[g].name);
    write_settled(out, gear->lightest_reading, gear->lightest_speed_rad_s, 31);
    write_settled(out, gear->heaviest_reading, gear->heaviest_speed_rad_s, 31);
    if (isnan(gear->least_voltage_v)) {
      fputs("at any voltage\n", out);
    } else {
      fprintf(out, "above %s V\n", NUM(gear->least_voltage_v));
    }
  }
}

/* One pair of neighbours, with the names that its sentences use. */
struct pair {
  const struct sb_check_case *at;
  const struct sb_pair_figures *figures;
  const struct sb_gear_figures *slow;
  const struct sb_gear_figures *fast;
  const char *slow_name;
  const char *fast_name;
  int fast_gear; /* from 1 */
  double down;
  double up;
};

static struct pair pair_of(const struct sb_check_case *at, int p)
{
  return (struct pair){.at = at,
                       .figures = &at->form.pairs[p],
                       .slow = &at->form.gears[p],
                       .fast = &at->form.gears[p + 1],
                       .slow_name = at->model.gearbox.gears[p].name,
                       .fast_name = at->model.gearbox.gears[p + 1].name,
                       .fast_gear = p + 2,
                       .down = at->model.control.downshift_fraction[p],
                       .up = at->model.control.upshift_fraction[p]};
}

/* Loads between two of the thresholds' torques, of which either may be a torque of none or of all. */
static struct sb_figure band_of(double td, double tu)
{
  struct sb_figure out;
  if (isfinite(td) && isfinite(tu)) return span_of(td, tu);
  if (isfinite(tu)) {
    snprintf(out.text, sizeof out.text, "below %.14s N.m", NUM(tu));
  } else if (isfinite(td)) {
    snprintf(out.text, sizeof out.text, "above %.14s N.m", NUM(td));
  } else {
    snprintf(out.text, sizeof out.text, "any load");
  }
  return out;
}

static void say_band(const struct pair *pair, FILE *out)
{
  const double td = pair->figures->downshift_torque_nm;
  const double tu = pair->figures->upshift_torque_nm;
  if (!pair->figures->has_band) {
    const double margin = pair->up - pair->figures->least_safe_upshift;
    if (!(margin >= 0.0)) { /* none, or no load brings the two about */
      sb_words_say(out, 2, 4, "No hunting band.");
    } else {
      sb_words_say(out, 2, 4, "No hunting band: safe by %s of up.", PCT(margin));
    }
    return;
  }
  /* An up that the slow gear never reaches would only trade hunting for a box that stays low, unless low is where every
   * load of this scenario belongs. */
  const bool belongs_low = pair->at->form.lightest_load_nm >= td && !isnan(pair->figures->least_safe_upshift);
  const bool is_up_of_use = belongs_low || pair->figures->least_safe_upshift < pair->slow->lightest_reading;
  const bool is_down_of_use = !isnan(pair->figures->greatest_safe_downshift);
  char advice[4 * SB_FIGURE_SIZE + 96];
  const struct sb_figure up = sb_figure_percent_by(ceil, pair->figures->least_safe_upshift);
  const struct sb_figure down = sb_figure_percent_by(floor, pair->figures->greatest_safe_downshift);
  if (is_up_of_use && is_down_of_use) {
    snprintf(advice, sizeof advice, "raise up to at least %s, or lower down to at most %s", up.text, down.text);
  } else if (is_up_of_use) {
    snprintf(advice, sizeof advice, "raise up to at least %s", up.text);
  } else if (is_down_of_use) {
    snprintf(advice, sizeof advice, "lower down to at most %s", down.text);
  } else {
    snprintf(advice, sizeof advice, "lower down first, then raise up");
  }
  sb_words_say(out, 2, 4, "Hunting band %s: a constant load there makes the box shift for ever; %s.",
               band_of(td, tu).text, advice);

  const double lightest = pair->at->form.lightest_load_nm;
  const double heaviest = pair->at->form.heaviest_load_nm;
  const bool is_met = heaviest > td && lightest < tu;
  sb_words_say(out, 2, 4, "This scenario's load, %s, %s.", span_of(lightest, heaviest).text,
               !is_met                          ? "stays outside of it"
               : lightest > td && heaviest < tu ? "lies in it"
                                                : "reaches into it");
}

static void say_lightest(const struct pair *pair, FILE *out)
{
  const struct sb_figure lightest = sb_figure_of(pair->at->form.lightest_load_nm);
  const struct sb_pair_figures *figures = pair->figures;
  const bool is_low_helped = pair->at->form.heaviest_load_nm <= figures->helping_upshift_nm;
  const bool is_down_helped = pair->at->form.heaviest_load_nm <= figures->helping_downshift_nm;
  if (is_low_helped) {
    sb_words_say(
        out, 2, 4,
        "Stuck low: every load of this scenario drives the motor so hard that by its current %s does not come above up.",
        pair->slow_name);
  } else if (figures->is_stuck_low) {
    sb_words_say(
        out, 2, 4,
        "Stuck low: under the lightest load, %s N.m, %s gets no further than %s; after one downshift the box never comes "
        "back. Set up below that.",
        lightest.text, pair->slow_name, PCT(pair->slow->lightest_reading));
  } else if (pair->at->form.lightest_load_nm <= figures->helping_upshift_nm) {
    sb_words_say(
        out, 2, 4,
        "Comes back up only under loads above %s N.m: one that drives the motor harder raises its current, and %s stays "
        "below up.",
        NUM(figures->helping_upshift_nm), pair->slow_name);
  } else {
    sb_words_say(out, 2, 4, "Comes back up: %s runs at %s under the lightest load, %s N.m.", pair->slow_name,
                 PCT(pair->slow->lightest_reading), lightest.text);
  }
  if (!is_down_helped && pair->at->form.lightest_load_nm <= figures->helping_downshift_nm) {
    sb_words_say(out, 2, 4, "Below %s N.m the load drives the motor so hard that %s falls below down.",
                 NUM(figures->helping_downshift_nm), pair->fast_name);
  }
  if (!figures->is_needless_downshift) return;
  if (is_down_helped) {
    sb_words_say(
        out, 2, 4,
        "Needless downshift: every load of this scenario drives the motor so hard that by its current %s falls below "
        "down.",
        pair->fast_name);
    return;
  }
  if (pair->fast->lightest_speed_rad_s > 0.0) {
    sb_words_say(out, 2, 4,
                 "Needless downshift: under the lightest load %s runs at %s, so it is never held. Set down below that.",
                 pair->fast_name, PCT(pair->fast->lightest_reading));
  } else {
    sb_words_say(out, 2, 4, "Needless downshift: %s stalls under the lightest load.", pair->fast_name);
  }
}

static void say_dwell(const struct pair *pair, FILE *out)
{
  const struct sb_pair_figures *figures = pair->figures;
  const struct sb_control *control = &pair->at->model.control;
  sb_words_say(out, 2, 4, "Shift up takes %s s, shift down %s s%s.", NUM(figures->shift_up_time_s),
               NUM(figures->shift_down_time_s),
               isnan(figures->shift_up_time_s) || isnan(figures->shift_down_time_s) ? " (-: it does not engage)" : "");
  if (isnan(figures->shortest_dwell_s)) {
    sb_words_say(out, 2, 4,
                 "No dwell is long enough: after an upshift %s does not climb to %s under the lightest load.",
                 pair->fast_name, SET(pair->down));
    return;
  }
  const double needed_s = fmax(figures->shortest_dwell_s, figures->shortest_dwell_steady_s);
  const bool is_enough = sb_check_whole_samples_s(control, control->dwell_s) >= needed_s;
  sb_words_say(
      out, 2, 4, "Shortest dwell %s s after an upshift at %s, %s s from %s's settled speed; the scenario's %s s is %s.",
      NUM(figures->shortest_dwell_s), SET(pair->up), NUM(figures->shortest_dwell_steady_s), pair->slow_name,
      NUM(control->dwell_s), is_enough ? "enough" : "too short: the box shifts down again with no load to blame");
}

static void say_start(const struct pair *pair, FILE *out)
{
  const struct sb_control *control = &pair->at->model.control;
  const double needed_s = pair->figures->shortest_start_delay_s;
  if (isnan(needed_s) || control->start_gear != pair->fast_gear) return;
  const bool is_enough = sb_check_whole_samples_s(control, control->start_delay_s) >= needed_s;
  sb_words_say(out, 2, 4, "Shortest start delay %s s from rest in %s; the scenario's %s s is %s.", NUM(needed_s),
               pair->fast_name, NUM(control->start_delay_s),
               is_enough ? "enough" : "too short: the box shifts down before it has got going");
}

/* What the output may carry, and which gears can bring more by the motor alone. */
static void write_output_limit(const struct sb_check_case *at, FILE *out)
{
  const double limit_nm = at->model.limits.output_torque_nm;
  if (isinf(limit_nm)) return;
  const bool is_part = at->model.output_limit[0] != 0;
  bool is_exceeded = false;
  fputs("\nLimit of the output torque\n", out);
  sb_words_say(out, 2, 4, "%s N.m, %s%s.", NUM(limit_nm), is_part ? "the least that was given: " : "given as a torque",
               at->model.output_limit);
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const double stall_nm = at->form.gears[g].stall_torque_nm;
    if (!(stall_nm > limit_nm)) continue;
    is_exceeded = true;
    sb_words_say(out, 2, 4, "%s brings %s N.m at stall, above it.", at->model.gearbox.gears[g].name, NUM(stall_nm));
  }
  if (!is_exceeded) sb_words_say(out, 2, 4, "No gear brings more at stall; a blow on engagement or contact still can.");
}

/* "above 9.81 V", or "at any voltage". */
static struct sb_figure above_of(double voltage_v)
{
  struct sb_figure out;
  if (isnan(voltage_v)) {
    snprintf(out.text, sizeof out.text, "at any voltage");
  } else if (isinf(voltage_v)) {
    snprintf(out.text, sizeof out.text, "at no voltage");
  } else {
    snprintf(out.text, sizeof out.text, "above %.14s V", NUM(voltage_v));
  }
  return out;
}

static void write_torque(const char *what, double torque_nm, const char *gear, double threshold, FILE *out)
{
  if (isfinite(torque_nm)) {
    fprintf(out, "  %-16s %s N.m, what %s carries at %s\n", what, NUM(torque_nm), gear, SET(threshold));
  } else {
    fprintf(out, "  %-16s none: %s reads %s %s under any load\n", what, gear, torque_nm < 0.0 ? "below" : "above",
            SET(threshold));
  }
}

static void write_pair(const struct pair *pair, FILE *out)
{
  fprintf(out, "\nBetween %s and %s: down below %s, up above %s\n", pair->slow_name, pair->fast_name, SET(pair->down),
          SET(pair->up));
  write_torque("downshift torque", pair->figures->downshift_torque_nm, pair->fast_name, pair->down, out);
  write_torque("upshift torque", pair->figures->upshift_torque_nm, pair->slow_name, pair->up, out);
  say_band(pair, out);
  say_lightest(pair, out);
  say_dwell(pair, out);
  say_start(pair, out);
  sb_words_say(out, 2, 4, "At the lightest load the box comes back up %s and holds %s %s.",
               above_of(pair->figures->least_voltage_upshift_v).text, pair->fast_name,
               above_of(pair->figures->least_voltage_hold_v).text);
}

/* One line of the table over the supply's range. */
static void write_range_line(const struct sb_check_report *report, int p, const char *name,
                             struct sb_figure (*figure)(const struct pair *pair), FILE *out)
{
  fputs("  ", out);
  sb_words_cell(out, 26, "%s", name);
  for (int k = 0; k < report->case_count; k++) {
    const struct pair pair = pair_of(&report->cases[k], p);
    if (k + 1 < report->case_count) {
      sb_words_cell(out, 23, "%s", figure(&pair).text);
    } else {
      fprintf(out, "%s\n", figure(&pair).text);
    }
  }
}

static struct sb_figure with_unit(double value, const char *unit)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.16s %.8s", NUM(value), isnan(value) ? "" : unit);
  return out;
}

static struct sb_figure band_figure(const struct pair *pair)
{
  if (pair->figures->has_band) {
    return band_of(pair->figures->downshift_torque_nm, pair->figures->upshift_torque_nm);
  }
  return (struct sb_figure){.text = "none"};
}

static struct sb_figure safe_up_figure(const struct pair *pair)
{
  if (isnan(pair->figures->least_safe_upshift)) return (struct sb_figure){.text = "none"};
  return sb_figure_percent_by(ceil, pair->figures->least_safe_upshift);
}

static struct sb_figure slow_figure(const struct pair *pair)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.10s%s", PCT(pair->slow->lightest_reading),
           pair->figures->is_stuck_low ? ", stuck low" : "");
  return out;
}

static struct sb_figure fast_figure(const struct pair *pair)
{
  struct sb_figure out;
  snprintf(out.text, sizeof out.text, "%.10s%s", PCT(pair->fast->lightest_reading),
           pair->figures->is_needless_downshift ? ", not held" : "");
  return out;
}

static struct sb_figure dwell_figure(const struct pair *pair)
{
  return with_unit(fmax(pair->figures->shortest_dwell_s, pair->figures->shortest_dwell_steady_s), "s");
}

static struct sb_figure slow_stall_figure(const struct pair *pair)
{
  return with_unit(pair->slow->stall_torque_nm, "N.m");
}

static struct sb_figure fast_stall_figure(const struct pair *pair)
{
  return with_unit(pair->fast->stall_torque_nm, "N.m");
}

static struct sb_figure down_figure(const struct pair *pair)
{
  return sb_figure_torque(pair->figures->downshift_torque_nm, "any load", "no load");
}

static struct sb_figure up_figure(const struct pair *pair)
{
  return sb_figure_torque(pair->figures->upshift_torque_nm, "no load", "any load");
}

void sb_check_write_pairs(const struct sb_check_report *report, FILE *out)
{
  for (int p = 0; p + 1 < report->cases[0].model.gearbox.gear_count; p++) {
    const struct pair pair = pair_of(&report->cases[0], p);
    fprintf(out, "  between %s and %s\n", pair.slow_name, pair.fast_name);
    write_range_line(report, p, "downshift torque", down_figure, out);
    write_range_line(report, p, "upshift torque", up_figure, out);
    write_range_line(report, p, "hunting band", band_figure, out);
    write_range_line(report, p, "least safe up", safe_up_figure, out);
    write_range_line(report, p, "slower, lightest load", slow_figure, out);
    write_range_line(report, p, "faster, lightest load", fast_figure, out);
    write_range_line(report, p, "shortest dwell", dwell_figure, out);
    write_range_line(report, p, "slower stalls at", slow_stall_figure, out);
    write_range_line(report, p, "faster stalls at", fast_stall_figure, out);
  }
}

static void write_supply_range(const struct sb_check_report *report, FILE *out)
{
  fputs("\nOver the supply's range\n  ", out);
  sb_words_cell(out, 26, "%s", "");
  for (int k = 0; k < report->case_count; k++) {
    const struct sb_check_case *at = &report->cases[k];
    if (k + 1 < report->case_count) {
      sb_words_cell(out, 23, "%s, %s V", at->label, NUM(at->model.supply.open_circuit_voltage_v));
    } else {
      fprintf(out, "%s, %s V\n", at->label, NUM(at->model.supply.open_circuit_voltage_v));
    }
  }
  sb_check_write_pairs(report, out);
}

static void write_texts(const char *title, const struct sb_check_notes *notes, FILE *out)
{
  if (notes->count == 0) return;
  fprintf(out, "\n%s\n", title);
  for (int k = 0; k < notes->count; k++) sb_words_say(out, 2, 4, "%s", notes->texts[k]);
}

void sb_check_write_text(const struct sb_check_report *report, FILE *out)
{
  const struct sb_check_case *nominal = &report->cases[SB_CHECK_NOMINAL];
  fprintf(out, "%s\n", nominal->model.name);
  write_texts("Caution", &report->cautions, out);
  write_motor(nominal, out);
  write_load(nominal, out);
  write_gears(nominal, out);
  sb_check_write_way(nominal, out);
  sb_check_write_drive(nominal, out);
  write_output_limit(nominal, out);
  sb_check_write_shaft(nominal, out);
  for (int p = 0; p + 1 < nominal->model.gearbox.gear_count; p++) {
    const struct pair pair = pair_of(nominal, p);
    write_pair(&pair, out);
  }
  if (report->case_count > 1) write_supply_range(report, out);
  if (nominal->model.battery.is_present) sb_check_write_discharge(report, out);
  if (nominal->model.winding.is_present) sb_check_write_heat(report, out);
  write_texts("Notes", &report->notes, out);
}
