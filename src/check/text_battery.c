// SPDX-License-Identifier: GPL-3.0-or-later
/* text_battery.c - thresholds over the discharge of a battery, and heat of the winding. */
#include <math.h>

#include "base/constants.h"
#include "check/parts.h"
#include "theory/warmth.h"

/* Over the discharge ----------------------------------------------------------------------------------------------------- */

/* What goes wrong at one charge, for a pair and its gears. */
static void put_troubles(struct sb_text_table *table, const struct sb_check_charge_pair *pair)
{
  const struct {
    bool is_there;
    const char *words;
  } troubles[] = {{pair->is_hunting, "hunting"},         {pair->is_stuck_low, "stuck low"},
                  {pair->is_needless, "needless shift"}, {pair->is_slower_stalled, "slower stalls"},
                  {pair->is_faster_cut, "cut off"},      {pair->is_start_cut, "start cut"}};
  struct sb_sentence list = {0};
  for (size_t k = 0; k < sizeof troubles / sizeof *troubles; k++) {
    if (troubles[k].is_there) sb_words_add(&list, "%s%s", list.length > 0 ? ", " : "", troubles[k].words);
  }
  sb_text_table_put(table, "%s", list.length > 0 ? list.text : "-");
}

static void put_charge(struct sb_text_table *table, const struct sb_check_charge *charge, int p)
{
  const struct sb_check_charge_pair *pair = &charge->pairs[p];
  const bool is_none = isnan(pair->least_safe_upshift);
  sb_text_table_put(table, "%.0f %%\t%s V\t%s\t%s\t%s\t%s\t%s", 100.0 * charge->charge_fraction, NUM(charge->voltage_v),
                    sb_words_torque(pair->downshift_torque_nm, "any load", "no load").text,
                    sb_words_torque(pair->upshift_torque_nm, "no load", "any load").text,
                    is_none ? "none" : sb_words_percent_by(ceil, pair->least_safe_upshift).text,
                    sb_words_percent_by(floor, pair->slower_lightest_reading).text,
                    sb_words_percent_by(floor, pair->faster_lightest_reading).text);
  put_troubles(table, pair);
}

static void write_pair(const struct sb_check *check, int p, FILE *out)
{
  const struct sb_check_pair *pair = &check->cases[SB_CHECK_NOMINAL].pairs[p];
  struct sb_text_table table;
  sb_text_table_init(&table, 8);
  table.is_last_broken = true;
  sb_text_table_put(&table, "charge\tvoltage\tdownshift torque\tupshift torque\tsafe upshift\tslower reads\tfaster "
                            "reads\tfinding");
  for (int k = 0; k < check->battery.charge_count; k++) {
    if (check->battery.charges[k].is_tenth) put_charge(&table, &check->battery.charges[k], p);
  }
  SAY("between %s and %s", pair->slower, pair->faster);
  sb_text_table_write(&table, 2, out);
}

void sb_check_text_battery(const struct sb_check *check, FILE *out)
{
  const struct sb_check_battery *battery = &check->battery;
  const int gear_count = check->cases[SB_CHECK_NOMINAL].gear_count;
  if (!battery->is_present) return;
  fputs("\nDischarge of the battery\n", out);
  SAY("The battery has %d %s cell%s of %s A.h and is %s charged at the start.", battery->cells,
      battery->chemistry != NULL ? battery->chemistry : "user-defined", battery->cells == 1 ? "" : "s in series",
      NUM(battery->capacity_ah), SET(battery->charge_fraction));
  for (int p = 0; p + 1 < gear_count; p++) write_pair(check, p, out);
  if (gear_count > 1) {
    SAY("Safe upshift: the lowest upshift threshold that leaves no hunting band with the scenario's downshift threshold. "
        "Slower and faster: the readings of these gears under the lightest load; the upshift threshold must stay below the "
        "first, the downshift threshold below the second.");
  }
  for (int k = 0; k < battery->span_count; k++) SAY("%s", battery->spans[k].text);
  if (battery->span_count == 0) SAY("There is no finding at any charge.");
}

/* Heat of the winding ---------------------------------------------------------------------------------------------------- */

/* "84.2 C", or what stands for a motor that burns. */
static struct sb_figure degrees_of(double winding_c)
{
  struct sb_figure out;
  if (isinf(winding_c)) {
    snprintf(out.text, sizeof out.text, "burns: above %.0f C", SB_COPPER_MELTS_C);
  } else {
    snprintf(out.text, sizeof out.text, "%.28s C", NUM(winding_c));
  }
  return out;
}

static struct sb_figure after_of(double time_s)
{
  struct sb_figure out = {.text = "never"};
  if (!isinf(time_s)) snprintf(out.text, sizeof out.text, "%.16s%s", NUM(time_s), isnan(time_s) ? "" : " s");
  return out;
}

static void say_bounds(const struct sb_check_heat *heat, FILE *out)
{
  const bool is_limited = isfinite(heat->limit_c), is_cut = isfinite(heat->cut_out_c);
  SAY("The surroundings are at %s, and the winding is at %s at the start. The figures above are those of a winding at %s.",
      degrees_of(heat->ambient_c).text, degrees_of(heat->start_c).text, degrees_of(heat->reference_c).text);
  if (!isnan(heat->magnet_per_k)) {
    SAY("The magnets are as warm as the %s, and lose %s %% of their strength at %s with each kelvin.",
        heat->is_housed ? "housing" : "winding", NUM(-100.0 * heat->magnet_per_k), degrees_of(heat->reference_c).text);
  }
  if (is_limited) SAY("The limit of the winding is %s.", degrees_of(heat->limit_c).text);
  if (is_cut) {
    SAY("The cut-out opens at %s and closes again at %s.", degrees_of(heat->cut_out_c).text,
        degrees_of(heat->reset_c).text);
  }
  if (!is_limited && !is_cut) SAY("Neither limits.winding nor motor.winding.cut_out is given: nothing is judged.");
}

static void write_burdens(const struct sb_check_heat *heat, FILE *out)
{
  const bool is_bounded = isfinite(heat->bound_c);
  struct sb_text_table table;
  sb_text_table_init(&table, is_bounded ? 5 : 4);
  sb_text_table_put(&table, "gear\tload\tloss at the start\tsteady temperature");
  if (is_bounded) sb_text_table_put(&table, "%s after", degrees_of(heat->bound_c).text);
  for (int k = 0; k < heat->burden_count; k++) {
    const struct sb_check_burden *burden = &heat->burdens[k];
    if (burden->gear != NULL) {
      sb_text_table_put(&table, "%s\t%s, %s N.m", burden->gear, burden->load, NUM(burden->external_torque_nm));
    } else {
      sb_text_table_put(&table, "any\tshaft blocked");
    }
    sb_text_table_put(&table, "%s W\t%s", NUM(burden->start_loss_w), degrees_of(burden->steady_winding_c).text);
    if (is_bounded) sb_text_table_put(&table, "%s", after_of(burden->bound_reached_s).text);
  }
  sb_text_table_write(&table, 2, out);
}

static void put_magnets(struct sb_text_table *table, const struct sb_check_case *cold, const struct sb_check_case *warm)
{
  sb_text_table_put(table, "temperature of the magnets\t%s C\t%s C", NUM(cold->magnet_c), NUM(warm->magnet_c));
  sb_text_table_put(table, "torque constant\t%s N.m/A\t%s N.m/A", NUM(cold->motor.kt_nm_a), NUM(warm->motor.kt_nm_a));
  sb_text_table_put(table, "no-load speed\t%s rpm\t%s rpm", NUM(cold->motor.no_load_speed_rad_s / SB_RPM),
                    NUM(warm->motor.no_load_speed_rad_s / SB_RPM));
}

static void write_cases(const struct sb_check_heat *heat, FILE *out)
{
  struct sb_text_table table;
  sb_text_table_init(&table, 3);
  const struct sb_check_case *cold = &heat->cases[0], *warm = &heat->cases[1];
  sb_text_table_put(&table, "\t%s\t%s", sb_check_text_label(cold).text, sb_check_text_label(warm).text);
  sb_text_table_put(&table, "winding's resistance\t%s ohm\t%s ohm", NUM(cold->motor.resistance_ohm),
                    NUM(warm->motor.resistance_ohm));
  if (!isnan(cold->magnet_c)) put_magnets(&table, cold, warm);
  sb_text_table_put(&table, "motor's stall torque\t%s N.m\t%s N.m", NUM(cold->motor.stall_torque_nm),
                    NUM(warm->motor.stall_torque_nm));
  fputs("\nCold and warm motor\n", out);
  sb_text_table_write(&table, 2, out);
  sb_check_text_cases(heat->cases, 2, out);
}

void sb_check_text_heat(const struct sb_check *check, FILE *out)
{
  const struct sb_check_heat *heat = &check->heat;
  if (!heat->is_present) return;
  fputs("\nHeat of the winding\n", out);
  say_bounds(heat, out);
  write_burdens(heat, out);
  if (!isnan(heat->closed_again_s)) {
    SAY("With the shaft blocked, the cut-out closes again %s s after it opened.", NUM(heat->closed_again_s));
  }
  if (heat->has_cases) write_cases(heat, out);
  if (!heat->has_cases && !isnan(heat->warm_c)) {
    SAY("At %s the motor does not overcome its own friction.", degrees_of(heat->warm_c).text);
  }
}
