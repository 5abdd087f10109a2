// SPDX-License-Identifier: GPL-3.0-or-later
/* csv.c - thresholds over the charge of a battery, as CSV. */
#include "shiftband/check.h"
#include "text/fields.h"

static const struct sb_field charge_fields[] = {
    SB_MEMBER_AS(sb_check_charge, "charge_pct", charge_fraction, ROUNDED_PERCENT),
    SB_MEMBER(sb_check_charge, voltage_v, NUMBER), SB_MEMBERS_END};

static const struct sb_field pair_fields[] = {
    SB_MEMBER(sb_check_pair, slower, TEXT), SB_MEMBER(sb_check_pair, faster, TEXT),
    SB_MEMBER_AS(sb_check_pair, "downshift_below_pct", downshift_below, ROUNDED_PERCENT),
    SB_MEMBER_AS(sb_check_pair, "upshift_above_pct", upshift_above, ROUNDED_PERCENT), SB_MEMBERS_END};

static const struct sb_field torque_fields[] = {
    SB_MEMBER_AS(sb_check_charge_pair, "least_safe_upshift_pct", least_safe_upshift, ROUNDED_PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "stuck_low_from_upshift_pct", slower_lightest_reading, ROUNDED_PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "greatest_safe_downshift_pct", greatest_safe_downshift, ROUNDED_PERCENT),
    SB_MEMBER_AS(sb_check_charge_pair, "needless_from_downshift_pct", faster_lightest_reading, ROUNDED_PERCENT),
    SB_MEMBER(sb_check_charge_pair, downshift_torque_nm, NUMBER),
    SB_MEMBER(sb_check_charge_pair, upshift_torque_nm, NUMBER),
    SB_MEMBERS_END};

static const struct sb_field flag_fields[] = {
    SB_MEMBER_AS(sb_check_charge_pair, "hunting", is_hunting, BOOLEAN),
    SB_MEMBER_AS(sb_check_charge_pair, "stuck_low", is_stuck_low, BOOLEAN),
    SB_MEMBER_AS(sb_check_charge_pair, "needless_downshift", is_needless, BOOLEAN),
    SB_MEMBER_AS(sb_check_charge_pair, "slower_stalls", is_slower_stalled, BOOLEAN),
    SB_MEMBER_AS(sb_check_charge_pair, "faster_stalls", is_faster_stalled, BOOLEAN),
    SB_MEMBERS_END};

static void write_header(struct sb_csv *csv)
{
  sb_fields_put_names(csv, charge_fields);
  sb_fields_put_names(csv, pair_fields);
  sb_fields_put_names(csv, torque_fields);
  sb_csv_names(csv, "slower_stalls_at_nm,faster_stalls_at_nm,lightest_load_nm,heaviest_load_nm");
  sb_fields_put_names(csv, flag_fields);
  sb_csv_line(csv, "below_cutoff");
}

static void write_row(struct sb_csv *csv, const struct sb_check *check, const struct sb_check_charge *charge, int p)
{
  const struct sb_check_charge_pair *pair = &charge->pairs[p];
  sb_fields_put_csv(csv, charge_fields, charge);
  sb_fields_put_csv(csv, pair_fields, &check->cases[SB_CHECK_NOMINAL].pairs[p]);
  sb_fields_put_csv(csv, torque_fields, pair);
  sb_csv_number(csv, charge->stall_torques_nm[p]);
  sb_csv_number(csv, charge->stall_torques_nm[p + 1]);
  sb_csv_number(csv, check->load.lightest_nm);
  sb_csv_number(csv, check->load.heaviest_nm);
  sb_fields_put_csv(csv, flag_fields, pair);
  sb_csv_integer(csv, pair->is_faster_cut || pair->is_start_cut);
  sb_csv_end_row(csv);
}

int sb_check_write_discharge_csv(const struct sb_check *check, FILE *out)
{
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_check_discharge_rows);
  write_header(&csv);
  for (int k = 0; k < check->battery.charge_count; k++) {
    for (int p = 0; p + 1 < check->cases[SB_CHECK_NOMINAL].gear_count; p++) {
      write_row(&csv, check, &check->battery.charges[k], p);
    }
  }
  return sb_csv_result(&csv);
}
