// SPDX-License-Identifier: GPL-3.0-or-later
#include "check/shaft.h"

#include <math.h>

#include "base/constants.h"
#include "text/words.h"

/* From here on a blow is more than what the rigid driveline tells of torques, its stall torque and a half. */
static const double telling_share = 1.5;

/* Motor and load come together with a difference in speed. */
struct blow {
  double slip_rad_s;      /* at the output, the motor's lead; 0: none, NAN: does not come about */
  double impulse_nms;     /* on a rigid shaft */
  double peak_nm;         /* alone, undamped; 0 for a rigid shaft */
  double damped_nm;       /* alone, damped */
  double limit_stiffness; /* above which the peak alone, undamped, passes the limit; INFINITY: none */
  double told_stiffness;  /* above which it passes what the rigid driveline tells */
};

static struct blow blow_of(const struct sb_check_case *at, const struct sb_model *model, int gear, double slip_rad_s)
{
  const double size = fabs(slip_rad_s), told_nm = telling_share * at->form.gears[gear].stall_torque_nm;
  struct blow blow = {.slip_rad_s = slip_rad_s, .limit_stiffness = INFINITY, .told_stiffness = INFINITY};
  if (!(size > 0.0)) return blow;
  blow.impulse_nms = size * sb_driveshaft_inertia_kg_m2(model, gear);
  blow.limit_stiffness = sb_driveshaft_stiffness_for(model, gear, size, model->limits.output_torque_nm);
  blow.told_stiffness = sb_driveshaft_stiffness_for(model, gear, size, told_nm);
  if (!model->driveshaft.is_present) return blow;
  blow.peak_nm = sb_driveshaft_joining_nm(model, gear, size);
  blow.damped_nm = sb_driveshaft_damped_joining_nm(model, gear, size);
  return blow;
}

/* The harder of the shifts into a gear. */
static struct blow engagement_blow(const struct sb_check_case *at, int gear)
{
  const int last = at->model.gearbox.gear_count - 1;
  const double by_up = gear > 0 ? at->form.pairs[gear - 1].slip_upshift_rad_s : (double)NAN;
  const double by_down = gear < last ? at->form.pairs[gear].slip_downshift_rad_s : (double)NAN;
  const bool is_by_up = fabs(by_up) > fabs(by_down) || isnan(by_down);
  return blow_of(at, &at->model, gear, is_by_up ? by_up : by_down);
}

static bool meets_bodies(const struct sb_model *model)
{
  return model->load.road.obstacle_count > 0 && !model->load.road.can_slip;
}

/* The vehicle, settled under the lightest load, meets the first body: it is slowed at once, the motor by its shaft. */
static struct blow contact_blow(const struct sb_check_case *at, int gear)
{
  if (!meets_bodies(&at->model)) return (struct blow){.limit_stiffness = INFINITY, .told_stiffness = INFINITY};
  struct sb_model joined = at->model;
  const double body = joined.load.road.obstacles[0].inertia_kg_m2;
  const double slip = at->form.gears[gear].lightest_speed_rad_s * body / (joined.load.inertia_kg_m2 + body);
  joined.load.inertia_kg_m2 += body;
  return blow_of(at, &joined, gear, slip);
}

/* The least stiffness of all blows of a kind; which: its gear and whether it is a contact. */
struct least {
  double stiffness;
  int gear;
  bool is_contact;
};

static struct least least_stiffness(const struct sb_check_case *at, bool is_limit)
{
  struct least least = {INFINITY, 0, false};
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    for (int k = 0; k < 2; k++) {
      const struct blow blow = k == 0 ? engagement_blow(at, g) : contact_blow(at, g);
      const double stiffness = is_limit ? blow.limit_stiffness : blow.told_stiffness;
      if (stiffness < least.stiffness) least = (struct least){stiffness, g, k == 1};
    }
  }
  return least;
}

double sb_check_greatest_blow_nm(const struct sb_check_case *at, int *gear)
{
  double greatest_nm = 0.0;
  *gear = 0;
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const double nm = fmax(engagement_blow(at, g).damped_nm, contact_blow(at, g).damped_nm);
    if (!(nm > greatest_nm)) continue;
    greatest_nm = nm;
    *gear = g;
  }
  return greatest_nm;
}

/* Whether a blow alone, damped, passes the limit or what the rigid driveline tells. */
static bool matters(const struct sb_check_case *at)
{
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const double nm = fmax(engagement_blow(at, g).damped_nm, contact_blow(at, g).damped_nm);
    const double told_nm = telling_share * at->form.gears[g].stall_torque_nm;
    if (nm > fmin(at->model.limits.output_torque_nm, told_nm)) return true;
  }
  return false;
}

static void say_blow(const struct sb_check_case *at, int gear, const struct blow *blow, const char *what, FILE *out)
{
  const char *name = at->model.gearbox.gears[gear].name;
  if (!(fabs(blow->slip_rad_s) > 0.0)) return;
  if (!at->model.driveshaft.is_present) {
    sb_words_say(out, 2, 4, "%s in %s: %s rad/s apart at the output, a blow of %s N.m.s.", what, name,
                 NUM(fabs(blow->slip_rad_s)), NUM(blow->impulse_nms));
    return;
  }
  sb_words_say(
      out, 2, 4,
      "%s in %s: %s rad/s apart at the output, rigid a blow of %s N.m.s; through the shaft alone a peak of %s N.m (%s "
      "N.m undamped). %s brings %s N.m at stall.",
      what, name, NUM(fabs(blow->slip_rad_s)), NUM(blow->impulse_nms), NUM(blow->damped_nm), NUM(blow->peak_nm), name,
      NUM(at->form.gears[gear].stall_torque_nm));
}

static void say_blows(const struct sb_check_case *at, FILE *out)
{
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    const struct blow engagement = engagement_blow(at, g), contact = contact_blow(at, g);
    say_blow(at, g, &engagement, "Engagement", out);
    say_blow(at, g, &contact, "Contact with the first body", out);
  }
}

static void say_swing(const struct sb_check_case *at, FILE *out)
{
  const struct sb_model *model = &at->model;
  const struct sb_driveshaft *shaft = &model->driveshaft;
  sb_words_say(out, 2, 4, "Stiffness %s N.m/rad, damping %s N.m.s/rad, play %s deg.", NUM(shaft->stiffness_nm_rad),
               NUM(shaft->damping_nms_rad), NUM(shaft->backlash_rad * 180.0 / SB_PI));
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    sb_words_say(out, 2, 4, "%s swings at %s Hz, damped by %s of the critical damping.", model->gearbox.gears[g].name,
                 NUM(sb_driveshaft_frequency_rad_s(model, g) / SB_TURN), PCT(sb_driveshaft_damping_ratio(model, g)));
  }
}

static void say_whether_it_matters(const struct sb_check_case *at, FILE *out)
{
  const double limit_nm = at->model.limits.output_torque_nm;
  int gear;
  const double greatest_nm = sb_check_greatest_blow_nm(at, &gear);
  const char *name = at->model.gearbox.gears[gear].name;
  if (greatest_nm > limit_nm) {
    sb_words_say(out, 2, 4,
                 "The difference from a rigid driveline matters: a blow in %s alone passes the limit of %s N.m.", name,
                 NUM(limit_nm));
  } else if (matters(at)) {
    sb_words_say(
        out, 2, 4,
        "The difference from a rigid driveline matters: a blow alone brings more than 1.5 times the stall torque "
        "of its gear.");
  } else {
    sb_words_say(
        out, 2, 4,
        "The difference from a rigid driveline matters little: no blow alone brings 1.5 times the stall torque of "
        "its gear, or passes the limit.");
  }
}

/* A rigid driveline: what it cannot tell, and from which stiffness on that counts. */
static void say_rigid(const struct sb_check_case *at, FILE *out)
{
  const struct least told = least_stiffness(at, false), limit = least_stiffness(at, true);
  sb_words_say(out, 2, 4,
               "The shaft is taken as rigid: the torque of a blow is not told. With its stiffness as "
               "gearbox.output_shaft it is.");
  sb_words_say(out, 2, 4, "It matters above %s N.m/rad, where a blow alone brings 1.5 times the stall torque of %s.",
               NUM(told.stiffness), at->model.gearbox.gears[told.gear].name);
  if (isinf(limit.stiffness)) return;
  sb_words_say(out, 2, 4, "Above %s N.m/rad the %s in %s alone passes the limit of %s N.m, undamped.",
               NUM(limit.stiffness), limit.is_contact ? "contact" : "engagement",
               at->model.gearbox.gears[limit.gear].name, NUM(at->model.limits.output_torque_nm));
}

void sb_check_write_shaft(const struct sb_check_case *at, FILE *out)
{
  const bool is_present = at->model.driveshaft.is_present;
  if (!is_present && isinf(least_stiffness(at, false).stiffness)) return;
  fputs("\nOutput shaft\n", out);
  if (is_present) say_swing(at, out);
  say_blows(at, out);
  if (is_present) {
    say_whether_it_matters(at, out);
  } else {
    say_rigid(at, out);
  }
}

/* Null where nothing comes together with a difference in speed. */
static void put_blow(struct sb_json *json, const char *key, const struct blow *blow, bool is_rigid)
{
  if (!(fabs(blow->slip_rad_s) > 0.0)) {
    sb_json_put_null(json, key);
    return;
  }
  sb_json_put_object(json, key);
  sb_json_put_number(json, "slip_rad_s", blow->slip_rad_s);
  sb_json_put_number(json, "impulse_nms", blow->impulse_nms);
  sb_json_put_number(json, "peak_torque_nm", is_rigid ? NAN : blow->damped_nm);
  sb_json_put_number(json, "undamped_peak_torque_nm", is_rigid ? NAN : blow->peak_nm);
  sb_json_put_number(json, "stiffness_that_matters_nm_rad", blow->told_stiffness);
  sb_json_put_number(json, "stiffness_at_limit_nm_rad", isinf(blow->limit_stiffness) ? NAN : blow->limit_stiffness);
  sb_json_close(json);
}

void sb_check_put_shaft(struct sb_json *json, const struct sb_check_case *at)
{
  const struct sb_model *model = &at->model;
  const struct sb_driveshaft *shaft = &model->driveshaft;
  const bool is_rigid = !shaft->is_present;
  sb_json_put_object(json, "output_shaft");
  sb_json_put_boolean(json, "rigid", is_rigid);
  sb_json_put_number(json, "stiffness_nm_rad", is_rigid ? NAN : shaft->stiffness_nm_rad);
  sb_json_put_number(json, "damping_nms_rad", is_rigid ? NAN : shaft->damping_nms_rad);
  sb_json_put_number(json, "backlash_rad", is_rigid ? NAN : shaft->backlash_rad);
  if (is_rigid) {
    sb_json_put_null(json, "difference_matters");
  } else {
    sb_json_put_boolean(json, "difference_matters", matters(at));
  }
  sb_json_put_array(json, "gears");
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const struct blow engagement = engagement_blow(at, g), contact = contact_blow(at, g);
    sb_json_open_object(json);
    sb_json_put_string(json, "name", model->gearbox.gears[g].name);
    sb_json_put_number(json, "natural_frequency_rad_s", is_rigid ? NAN : sb_driveshaft_frequency_rad_s(model, g));
    sb_json_put_number(json, "damping_ratio", is_rigid ? NAN : sb_driveshaft_damping_ratio(model, g));
    put_blow(json, "engagement", &engagement, is_rigid);
    put_blow(json, "contact", &contact, is_rigid);
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}
