// SPDX-License-Identifier: GPL-3.0-or-later
/* text.c - a check for people: it only reads what sb_check_solve() has filled. */
#include "check/parts.h"

#include <math.h>

#include "base/constants.h"

static const double rpm_per_rad_s = 30.0 / SB_PI;

static void write_limit(const struct sb_check_motor *motor, FILE *out)
{
  if (isnan(motor->current_limit_a)) return;
  if (motor->corner_rad_s == 0.0) {
    sb_check_text_line(out, "current limit", "%s A, more than the motor takes at stall", NUM(motor->current_limit_a));
    return;
  }
  struct sb_sentence read = {.length = 0};
  if (!isnan(motor->corner_fraction)) sb_words_add(&read, ", a reading of %s", PCT(motor->corner_fraction));
  sb_check_text_line(out, "current limit", "%s A, held below %s rpm%s; the battery gives %s A there",
                     NUM(motor->current_limit_a), NUM(motor->corner_rad_s * rpm_per_rad_s), read.text,
                     NUM(motor->corner_battery_a));
}

static void write_motor(const struct sb_check_motor *motor, FILE *out)
{
  fprintf(out, "\nMotor on a supply of %s V (open circuit)", NUM(motor->open_circuit_voltage_v));
  if (motor->internal_resistance_ohm > 0.0) fprintf(out, " and %s ohm", NUM(motor->internal_resistance_ohm));
  fprintf(out, ", drive %s\n", SET(motor->duty_fraction));
  if (motor->is_speed_read) {
    sb_check_text_line(out, "no-load speed", "%s rpm, a reading of %s (100 %% is %s rpm)",
                       NUM(motor->no_load_speed_rad_s * rpm_per_rad_s), PCT(motor->no_load_fraction),
                       NUM(motor->reference_rad_s * rpm_per_rad_s));
  } else {
    sb_check_text_line(out, "no-load speed", "%s rpm", NUM(motor->no_load_speed_rad_s * rpm_per_rad_s));
  }
  sb_check_text_line(out, "stall torque", "%s N.m", NUM(motor->stall_torque_nm));
  write_limit(motor, out);
  sb_check_text_line(out, "greatest power", "%s W at %s rpm", NUM(motor->greatest_power_w),
                     NUM(motor->power_speed_rad_s * rpm_per_rad_s));
}

static void write_load(const struct sb_check_load *load, FILE *out)
{
  fputs("\nLoad at the output\n", out);
  sb_check_text_line(out, "inertia", "%s kg.m2", NUM(load->inertia_kg_m2));
  sb_check_text_line(out, "external torque", "%s over %s s",
                     sb_check_torques(load->lightest_nm, load->heaviest_nm).text, NUM(load->duration_s));
  if (load->holding_brake_nm > 0.0) {
    sb_check_text_line(out, "holding brake",
                       "%s N.m; the load needs %s N.m in addition to the drum's friction: the brake %s",
                       NUM(load->holding_brake_nm), NUM(load->suspended_nm), load->is_held ? "holds" : "slips");
  }
  if (load->viscous_nms_rad > 0.0) sb_check_text_line(out, "follows speed", "%s N.m.s/rad", NUM(load->viscous_nms_rad));
  if (load->quadratic_nms2_rad2 > 0.0) {
    sb_check_text_line(out, "follows speed^2", "%s N.m.s2/rad2", NUM(load->quadratic_nms2_rad2));
  }
}

/* The share of the wheels in the inertia at the motor. */
static void write_wheels(const struct sb_check_case *at, FILE *out)
{
  struct sb_sentence line = {.length = 0};
  for (int g = 0; g < at->gear_count; g++) {
    sb_words_add(&line, "%s%s kg.m2 in %s", g == 0 ? "" : ", ", NUM(at->gears[g].figures.wheels_inertia_kg_m2),
                 at->gears[g].name);
  }
  SAY("The wheels of the gearbox are part of the inertia at the motor: %s.", line.text);
}

static void write_gears(const struct sb_check_case *at, FILE *out)
{
  struct sb_text_table table;
  sb_text_table_init(&table, 7);
  sb_text_table_put(&table, "\tratio\tefficiency\toutput turns\tstall torque\ttime constant\tinertia at motor");
  for (int g = 0; g < at->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->gears[g].figures;
    sb_text_table_put(&table, "%s\t%s\t%s\t%s\t%s N.m\t%s s\t%s kg.m2", at->gears[g].name, NUM(gear->ratio),
                      PCT(gear->efficiency), gear->output_direction > 0 ? "as motor" : "opposite",
                      NUM(gear->stall_torque_nm), NUM(gear->time_constant_s), NUM(gear->inertia_kg_m2));
  }
  fputs("\nGears\n", out);
  sb_text_table_write(&table, 2, out);
  if (at->gears[0].figures.wheels_inertia_kg_m2 > 0.0) write_wheels(at, out);
}

/* Findings of the machine as a whole; those of a pair of gears stand with it. */
static void write_hazards(const struct sb_check *check, FILE *out)
{
  bool is_any = false;
  for (int k = 0; k < check->findings.count; k++) {
    if (check->findings.items[k].pair >= 0) continue;
    if (!is_any) fputs("\nHazards\n", out);
    is_any = true;
    sb_words_say(out, 2, 4, "%s", check->findings.items[k].text);
  }
}

static void put_steady(struct sb_text_table *table, double reading, double output_rad_s)
{
  if (output_rad_s > 0.0) {
    sb_text_table_put(table, "%s, output %s rpm", PCT(reading), NUM(output_rad_s * rpm_per_rad_s));
  } else {
    sb_text_table_put(table, "stalls");
  }
}

static void write_steady(const struct sb_check_case *at, const struct sb_check_load *load, FILE *out)
{
  struct sb_text_table table;
  sb_text_table_init(&table, 4);
  sb_text_table_put(&table, "\tlightest load, %s N.m\theaviest load, %s N.m\tmoves heaviest load",
                    NUM(load->lightest_nm), NUM(load->heaviest_nm));
  for (int g = 0; g < at->gear_count; g++) {
    const struct sb_gear_figures *gear = &at->gears[g].figures;
    sb_text_table_put(&table, "%s", at->gears[g].name);
    put_steady(&table, gear->lightest_reading, gear->lightest_speed_rad_s);
    put_steady(&table, gear->heaviest_reading, gear->heaviest_speed_rad_s);
    if (isnan(gear->least_voltage_v)) {
      sb_text_table_put(&table, "at any voltage");
    } else if (isinf(gear->least_voltage_v)) {
      sb_text_table_put(&table, "at no voltage");
    } else {
      sb_text_table_put(&table, "above %s V", NUM(gear->least_voltage_v));
    }
  }
  fputs("\nSteady state\n", out);
  sb_text_table_write(&table, 2, out);
}

static void write_remarks(const char *title, const struct sb_check_remarks *remarks, FILE *out)
{
  if (remarks->count == 0) return;
  fprintf(out, "\n%s\n", title);
  for (int k = 0; k < remarks->count; k++) SAY("%s", remarks->items[k].text);
}

int sb_check_write_text(const struct sb_check *check, FILE *out)
{
  const struct sb_check_case *nominal = &check->cases[SB_CHECK_NOMINAL];
  sb_words_say(out, 0, 2, "%s", check->name);
  write_remarks("Caution", &check->cautions, out);
  write_motor(&nominal->motor, out);
  write_load(&check->load, out);
  write_gears(nominal, out);
  sb_check_text_locking(check, out);
  write_steady(nominal, &check->load, out);
  sb_check_text_vehicle(check, out);
  sb_check_text_drive(check, out);
  sb_check_text_sensor(check, out);
  sb_check_text_limit(check, out);
  sb_check_text_shaft(check, out);
  write_hazards(check, out);
  sb_check_text_pairs(check, out);
  sb_check_text_range(check, out);
  sb_check_text_battery(check, out);
  sb_check_text_heat(check, out);
  write_remarks("Notes", &check->notes, out);
  return ferror(out) ? -1 : 0;
}
