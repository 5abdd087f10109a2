// SPDX-License-Identifier: GPL-3.0-or-later
/* findings.c - what is wrong with the thresholds of neighbouring gears: what, why, and what cures it. */
#include <math.h>

#include "check/parts.h"
#include "shiftband/verdict.h"
#include "theory/steady.h"

/* One pair of which findings are made. */
struct look {
  const struct sb_check_machine *machine;
  const struct sb_check_pair *pair;
  int index;
  struct sb_check_remarks *findings;
  char upshift_key[SB_CHECK_CURE_SIZE]; /* of the thresholds, as --set takes them */
  char downshift_key[SB_CHECK_CURE_SIZE];
};

static double lightest_nm(const struct look *look)
{
  return look->machine->form.lightest_load_nm;
}

/* A key of a threshold: with more than two gears the scenario has a list of them. */
static void name_key(const struct look *look, const char *key, char out[SB_CHECK_CURE_SIZE])
{
  if (look->machine->model->gearbox.gear_count > 2) {
    snprintf(out, SB_CHECK_CURE_SIZE, "%s.%d", key, look->index + 1);
  } else {
    snprintf(out, SB_CHECK_CURE_SIZE, "%s", key);
  }
}

/* An upshift threshold that the slow gear never reaches would only replace hunting by a box that is stuck low, unless the
 * slow gear is right for every load of this scenario. */
static bool is_upshift_of_use(const struct look *look)
{
  const struct sb_pair_figures *figures = &look->pair->figures;
  const bool belongs_low = lightest_nm(look) >= figures->downshift_torque_nm && !isnan(figures->least_safe_upshift);
  return belongs_low || figures->least_safe_upshift < look->pair->slower_lightest_reading;
}

static void find_hunting(struct look *look)
{
  const struct sb_pair_figures *figures = &look->pair->figures;
  if (!figures->has_band) return;
  static const char *const load_words[] = {"stays outside the band", "reaches into the band", "lies in the band"};
  const bool is_upshift_first = is_upshift_of_use(look);
  struct sb_check_remark *remark = sb_check_remark(
      look->findings, "hunting", look->index,
      "Hunting band %s: under a constant load in it the box shifts up and down without end. The load of this scenario, "
      "%s, %s.",
      sb_check_band(figures->downshift_torque_nm, figures->upshift_torque_nm).text,
      sb_check_torques(lightest_nm(look), look->machine->form.heaviest_load_nm).text,
      load_words[look->pair->band_load]);
  if (is_upshift_first) {
    sb_check_cure(remark, look->upshift_key, "at least", "%s",
                  sb_words_percent_by(ceil, figures->least_safe_upshift).text);
  }
  if (!isnan(figures->greatest_safe_downshift)) {
    sb_check_cure(remark, look->downshift_key, "at most", "%s",
                  sb_words_percent_by(floor, figures->greatest_safe_downshift).text);
  }
  if (remark->cure_count == 0) {
    sb_check_add(remark, " Lower %s first, then raise %s.", look->downshift_key, look->upshift_key);
  }
}

static void find_stuck_low(struct look *look)
{
  const struct sb_check_pair *pair = look->pair;
  if (!pair->figures.is_stuck_low) return;
  if (look->machine->form.heaviest_load_nm <= pair->figures.helping_upshift_nm && pair->slower_locks) {
    sb_check_remark(
        look->findings, "stuck low", look->index,
        "Stuck low: every load of this scenario helps, but %s locks itself, and turning with them takes so much of "
        "the motor that its reading stays below the upshift threshold. Lower %s.",
        pair->slower, look->upshift_key);
    return;
  }
  if (look->machine->form.heaviest_load_nm <= pair->figures.helping_upshift_nm) {
    sb_check_remark(
        look->findings, "stuck low", look->index,
        "Stuck low: every load of this scenario drives the motor so hard that its current keeps the reading "
        "of %s below the upshift threshold. Lower %s, or set controller.reading to speed.",
        pair->slower, look->upshift_key);
    return;
  }
  struct sb_check_remark *remark = sb_check_remark(
      look->findings, "stuck low", look->index,
      "Stuck low: under the lightest load, %s N.m, %s reads %s, not above the upshift threshold of %s; "
      "after one downshift the box never shifts up again.",
      NUM(lightest_nm(look)), pair->slower, PCT(pair->slower_lightest_reading), SET(pair->upshift_above));
  if (pair->slower_lightest_reading > 0.0) {
    sb_check_cure(remark, look->upshift_key, "at most", "%s",
                  sb_words_percent_below(pair->slower_lightest_reading).text);
  }
}

static void find_needless_downshift(struct look *look)
{
  const struct sb_check_pair *pair = look->pair;
  if (!pair->figures.is_needless_downshift) return;
  if (look->machine->form.heaviest_load_nm <= pair->figures.helping_downshift_nm && pair->faster_locks) {
    sb_check_remark(
        look->findings, "needless downshift", look->index,
        "Needless downshift: every load of this scenario helps, but %s locks itself, and turning with them takes so "
        "much of the motor that its reading falls below the downshift threshold. Lower %s.",
        pair->faster, look->downshift_key);
    return;
  }
  if (look->machine->form.heaviest_load_nm <= pair->figures.helping_downshift_nm) {
    sb_check_remark(
        look->findings, "needless downshift", look->index,
        "Needless downshift: every load of this scenario drives the motor so hard that its current takes the "
        "reading of %s below the downshift threshold. Lower %s, or set controller.reading to speed.",
        pair->faster, look->downshift_key);
    return;
  }
  if (!(look->machine->form.gears[look->index + 1].lightest_speed_rad_s > 0.0)) {
    sb_check_remark(look->findings, "needless downshift", look->index,
                    "Needless downshift: %s stalls under the lightest load, %s N.m, so that no threshold keeps it "
                    "engaged. A greater reduction of gearbox.gears.%s carries that load.",
                    pair->faster, NUM(lightest_nm(look)), pair->faster);
    return;
  }
  struct sb_check_remark *remark = sb_check_remark(
      look->findings, "needless downshift", look->index,
      "Needless downshift: under the lightest load, %s N.m, %s reads %s, not above the downshift threshold of %s, so that "
      "the box never stays in it.",
      NUM(lightest_nm(look)), pair->faster, PCT(pair->faster_lightest_reading), SET(pair->downshift_below));
  sb_check_cure(remark, look->downshift_key, "at most", "%s",
                sb_words_percent_below(pair->faster_lightest_reading).text);
}

static void find_out_of_reach(struct look *look)
{
  const struct sb_check_pair *pair = look->pair;
  const struct sb_pair_figures *figures = &pair->figures;
  const int fast = look->index + 1;
  if (sb_band_is_upshift_out_of_reach(figures->upshift_torque_nm, lightest_nm(look))) {
    struct sb_check_remark *remark = sb_check_remark(
        look->findings, "threshold out of reach", look->index,
        "Threshold out of reach: %s never shifts up, for the upshift threshold of %s is above %s, the greatest reading "
        "without any load.",
        pair->slower, SET(pair->upshift_above),
        PCT(sb_steady_greatest_reading(look->machine->model, &look->machine->line)));
    sb_check_add(remark, " Set %s below that.", look->upshift_key);
  }
  if (sb_band_is_downshift_out_of_reach(figures->downshift_torque_nm,
                                        look->machine->form.gears[fast].stall_torque_nm)) {
    sb_check_remark(look->findings, "threshold out of reach", look->index,
                    "Threshold out of reach: %s never shifts down, for no load takes the reading below the downshift "
                    "threshold of %s. Raise %s.",
                    pair->faster, SET(pair->downshift_below), look->downshift_key);
  }
}

/* The least duration in whole samples that is long enough, as a value of a key. */
static void cure_by_time(const struct look *look, struct sb_check_remark *remark, const char *key, double needed_s)
{
  sb_check_cure(remark, key, "at least", "%.10g s", sb_model_whole_samples_s(&look->machine->model->control, needed_s));
}

static void find_short_times(struct look *look)
{
  const struct sb_check_pair *pair = look->pair;
  if (isnan(pair->needed_dwell_s)) {
    if (pair->figures.is_needless_downshift) return; /* that has its own finding */
    sb_check_remark(look->findings, "dwell too short", look->index,
                    "No dwell is long enough: after an upshift %s does not reach %s under the lightest load. Lower %s.",
                    pair->faster, SET(pair->downshift_below), look->downshift_key);
  } else if (!pair->is_dwell_enough) {
    struct sb_check_remark *remark =
        sb_check_remark(look->findings, "dwell too short", look->index,
                        "Dwell too short: after %s s %s has not reached %s yet, which takes %s s, and the box shifts "
                        "down again although the load is light.",
                        NUM(pair->dwell_s), pair->faster, SET(pair->downshift_below), NUM(pair->needed_dwell_s));
    cure_by_time(look, remark, "controller.dwell", pair->needed_dwell_s);
  }
  if (pair->is_start_delay_needed && !pair->is_start_delay_enough) {
    const double needed_s = pair->figures.shortest_start_delay_s;
    struct sb_check_remark *remark = sb_check_remark(
        look->findings, "start delay too short", look->index,
        "Start delay too short: from rest %s needs %s s to reach %s; after %s s the box shifts down before the motor has reached its speed.",
        pair->faster, NUM(needed_s), SET(pair->downshift_below), NUM(pair->start_delay_s));
    cure_by_time(look, remark, "controller.start_delay", needed_s);
  }
}

void sb_check_find_findings(const struct sb_check_machine *machine, struct sb_check *check)
{
  const struct sb_check_case *nominal = &check->cases[SB_CHECK_NOMINAL];
  for (int p = 0; p + 1 < nominal->gear_count; p++) {
    struct look look = {.machine = machine, .pair = &nominal->pairs[p], .index = p, .findings = &check->findings};
    name_key(&look, "controller.upshift_above", look.upshift_key);
    name_key(&look, "controller.downshift_below", look.downshift_key);
    find_hunting(&look);
    find_stuck_low(&look);
    find_needless_downshift(&look);
    find_out_of_reach(&look);
    find_short_times(&look);
  }
}
