// SPDX-License-Identifier: GPL-3.0-or-later
#include "check/drive.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#include "base/constants.h"
#include "text/words.h"
#include "theory/steady.h"

enum { LIST_SIZE = 640 };

static const double rpm_per_rad_s = 30.0 / SB_PI;

static const char *const readings[] = {"speed", "duty", "current"};

static const char *order_word(double order)
{
  return order > 0.0 ? "forward" : order < 0.0 ? "reverse" : "stop";
}

static bool is_held(const struct sb_model *model)
{
  return model->drive.mode == SB_DRIVE_SPEED_CONTROL;
}

/* Adds to a list of words: "a", "a, b". */
static void append(char list[LIST_SIZE], const char *format, ...) __attribute__((format(printf, 2, 3)));

static void append(char list[LIST_SIZE], const char *format, ...)
{
  const size_t length = strlen(list);
  const int link = snprintf(list + length, LIST_SIZE - length, "%s", length > 0 ? ", " : "");
  const size_t start = length + (link > 0 ? (size_t)link : 0);
  if (start >= LIST_SIZE) return;
  va_list arguments;
  va_start(arguments, format);
  vsnprintf(list + start, LIST_SIZE - start, format, arguments);
  va_end(arguments);
}

/* Where the speed is held, up to which torque; where it never is; and where the loop swings. */
static void say_hold(const struct sb_check_case *at, FILE *out)
{
  const struct sb_model *model = &at->model;
  const struct sb_drive *drive = &model->drive;
  char held[LIST_SIZE] = "", beyond[LIST_SIZE] = "", swinging[LIST_SIZE] = "";
  sb_words_say(
      out, 2, 4,
      "Speed control at %s rpm, %s of the motor's no-load speed: full duty at %s rpm below it, an integral time of %s s, "
      "the duty set every %s s.",
      NUM(drive->target_rad_s * rpm_per_rad_s), PCT(drive->target_rad_s / model->motor.no_load_speed_rad_s),
      NUM(rpm_per_rad_s / drive->gain_per_rad_s), NUM(drive->gain_per_rad_s / drive->integral_per_rad),
      NUM(drive->period_s));
  for (int g = 0; g < model->gearbox.gear_count; g++) {
    const char *name = model->gearbox.gears[g].name;
    const double hidden_nm = at->form.gears[g].hidden_torque_nm;
    if (hidden_nm > at->form.lightest_load_nm) {
      append(held, "up to %s N.m in %s", NUM(hidden_nm), name);
    } else {
      append(beyond, "%s", name);
    }
    if (!sb_steady_is_stable(model, &at->line, g)) append(swinging, "%s", name);
  }
  if (held[0] != 0) {
    sb_words_say(
        out, 2, 4,
        "In speed control the speed hides the load %s: only beyond is the duty at its limit of %s, and the speed falls.",
        held, SET(drive->limit_fraction));
  }
  if (beyond[0] != 0) sb_words_say(out, 2, 4, "Under the lightest load the target is not reached in %s.", beyond);
  if (swinging[0] != 0) {
    sb_words_say(
        out, 2, 4,
        "The loop swings and never settles in %s: widen proportional_band, lengthen integral_time, or shorten period.",
        swinging);
  }
}

static void say_reading(const struct sb_check_case *at, FILE *out)
{
  const struct sb_model *model = &at->model;
  const struct sb_sensor *sensor = &model->control.sensor;
  const double limit = model->drive.limit_fraction;
  const int pairs = model->gearbox.gear_count - 1;
  const double greatest = sb_steady_greatest_reading(model, &at->line);
  if (pairs < 1) return;
  if (sensor->quantity == SB_SENSES_DUTY) {
    sb_words_say(
        out, 2, 4,
        "The reading is 100 %% less the duty: it falls as the load grows, down to %s where the duty is at its limit.",
        SET(1.0 - limit));
  } else if (sensor->quantity == SB_SENSES_CURRENT) {
    sb_words_say(out, 2, 4,
                 "The reading is 100 %% less the current in percent of %s A: it falls as the load grows, and as well "
                 "where the load drives the motor.",
                 NUM(sensor->reference_a));
  } else if (is_held(model)) {
    sb_words_say(
        out, 2, 4,
        "The reading is the speed, which tells nothing of a load that it hides: the box shifts down late and up as "
        "soon as the speed is back; reading: duty or current tells more.");
  }
  for (int p = 0; p < pairs; p++) {
    const double down = model->control.downshift_fraction[p], up = model->control.upshift_fraction[p];
    const char *slow = model->gearbox.gears[p].name, *fast = model->gearbox.gears[p + 1].name;
    if (isinf(at->form.pairs[p].upshift_torque_nm) && at->form.pairs[p].upshift_torque_nm < 0.0) {
      sb_words_say(out, 2, 4, "%s never shifts up: up of %s is above %s, the greatest reading there is.", slow, SET(up),
                   PCT(greatest));
    }
    if (isinf(at->form.pairs[p].downshift_torque_nm) && at->form.pairs[p].downshift_torque_nm > 0.0) {
      sb_words_say(out, 2, 4, "%s never shifts down: no load takes the reading below down of %s.", fast, SET(down));
    }
  }
}

static void say_ramp_and_orders(const struct sb_model *model, FILE *out)
{
  const struct sb_drive *drive = &model->drive;
  const struct sb_order_table *orders = &drive->orders;
  char list[LIST_SIZE] = "";
  bool has_stop = false, has_reverse = false;
  if (drive->ramp_s > 0.0) {
    sb_words_say(
        out, 2, 4,
        "Ramp: the duty rises from 0 to 100 %% in %s s, so each start takes up to that much longer than reckoned "
        "below.",
        NUM(drive->ramp_s));
  }
  for (size_t i = 0; i < orders->count; i++) {
    append(list, "%s from %s s", order_word(orders->order[i]), NUM(orders->time_s[i]));
    has_stop = has_stop || orders->order[i] == (double)SB_ORDER_STOP;
    has_reverse = has_reverse || orders->order[i] == (double)SB_ORDER_REVERSE;
  }
  if (list[0] == 0) return;
  sb_words_say(out, 2, 4, "Orders: %s%s.", list,
               !has_stop                    ? ""
               : drive->off == SB_OFF_BRAKE ? "; stopped, the motor brakes on its short circuit"
                                            : "; stopped, the motor coasts on an open circuit");
  if (has_reverse)
    sb_words_say(out, 2, 4,
                 "The figures are those of going forward; in reverse a load that acts by itself helps instead.");
}

void sb_check_write_drive(const struct sb_check_case *at, FILE *out)
{
  const struct sb_model *model = &at->model;
  if (!sb_drive_is_moving(&model->drive) && model->control.sensor.quantity == SB_SENSES_SPEED) return;
  fputs("\nDrive\n", out);
  if (is_held(model)) say_hold(at, out);
  say_reading(at, out);
  say_ramp_and_orders(model, out);
  if (is_held(model) && model->gearbox.gear_count > 1) {
    sb_words_say(
        out, 2, 4,
        "Dwell and start delay below are reckoned at the limit's duty; where the loop takes it back they are least "
        "values: allow some integral times more.");
  }
}

static void put_orders(struct sb_json *json, const struct sb_order_table *orders)
{
  sb_json_put_array(json, "orders");
  for (size_t i = 0; i < orders->count; i++) {
    sb_json_open_object(json);
    sb_json_put_number(json, "time_s", orders->time_s[i]);
    sb_json_put_string(json, "order", order_word(orders->order[i]));
    sb_json_close(json);
  }
  sb_json_close(json);
}

static void put_hold(struct sb_json *json, const struct sb_check_case *at)
{
  const struct sb_drive *drive = &at->model.drive;
  sb_json_put_object(json, "speed_hold");
  sb_json_put_number(json, "target_rad_s", drive->target_rad_s);
  sb_json_put_number(json, "proportional_band_rad_s", 1.0 / drive->gain_per_rad_s);
  sb_json_put_number(json, "integral_time_s", drive->gain_per_rad_s / drive->integral_per_rad);
  sb_json_put_array(json, "gears");
  for (int g = 0; g < at->model.gearbox.gear_count; g++) {
    sb_json_open_object(json);
    sb_json_put_string(json, "name", at->model.gearbox.gears[g].name);
    sb_json_put_number(json, "hidden_torque_nm", at->form.gears[g].hidden_torque_nm);
    sb_json_put_boolean(json, "settles", sb_steady_is_stable(&at->model, &at->line, g));
    sb_json_close(json);
  }
  sb_json_close(json);
  sb_json_close(json);
}

void sb_check_put_drive(struct sb_json *json, const struct sb_check_case *at)
{
  const struct sb_drive *drive = &at->model.drive;
  const struct sb_sensor *sensor = &at->model.control.sensor;
  sb_json_put_object(json, "drive");
  sb_json_put_string(json, "mode", is_held(&at->model) ? "speed control" : "open loop");
  sb_json_put_number(json, "limit_pct", 100.0 * drive->limit_fraction);
  sb_json_put_number(json, "period_s", drive->period_s);
  sb_json_put_number(json, "ramp_s", drive->ramp_s);
  sb_json_put_string(json, "when_off", drive->off == SB_OFF_BRAKE ? "brake" : "coast");
  put_orders(json, &drive->orders);
  if (is_held(&at->model)) {
    put_hold(json, at);
  } else {
    sb_json_put_null(json, "speed_hold");
  }
  sb_json_put_string(json, "reading", readings[sensor->quantity]);
  sb_json_put_number(json, "reference_a", sensor->quantity == SB_SENSES_CURRENT ? sensor->reference_a : NAN);
  sb_json_close(json);
}
