// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_emit.c - the tuned constants for a real controller. */
#include <stddef.h>
#include <stdio.h>
#include <string.h>

#include "base/text_file.h"
#include "cli/command.h"
#include "shiftband/emit.h"

enum form { FORM_HEADER, FORM_BLOCKS, FORM_LADDER, FORM_READINGS };

struct request {
  struct sb_option_list files, sets;
  enum form form;
  const char *count; /* as given; NULL: not given */
  long pulses;       /* 0: not given */
  double window_s;   /* 0: not given */
  double voltage_count_v;
  const char *name;
  long samples;
  const char *output;
};

struct job {
  const struct request *request;
  const struct sb_emission *emission;
};

static int write_form(FILE *out, const void *context)
{
  const struct job *job = context;
  const char *path = sb_text_file_name(job->request->files.items[0]), *slash = strrchr(path, '/');
  const char *source = slash != NULL ? slash + 1 : path;
  switch (job->request->form) {
    case FORM_HEADER: return sb_emit_write_header(out, job->emission, job->request->name, source, sb_command_version());
    case FORM_BLOCKS: return sb_emit_write_blocks(out, job->emission, source);
    case FORM_LADDER: return sb_emit_write_ladder(out, job->emission, source);
    case FORM_READINGS: return sb_emit_write_readings(out, job->emission);
  }
  return -1;
}

/* What the user should know before these constants drive anything. */
static void warn(const char *path, const struct sb_emission *emission)
{
  if (emission->verdicts[0] != 0) {
    sb_command_warn("%s: with these constants the simulated machine does not pass: %s", path, emission->verdicts);
  }
  if (!emission->is_resolution_given) {
    static const char *const counts[] = {[SB_SENSES_SPEED] = "1 rpm; give --count or --pulses",
                                         [SB_SENSES_DUTY] = "1/255 of full duty; give --count",
                                         [SB_SENSES_CURRENT] = "10 mA; give --count"};
    sb_command_warn("%s: no resolution is given: one count is taken as %s", path,
                    counts[emission->model.control.sensor.quantity]);
  }
  if (emission->scale.factor > 0 && !emission->is_voltage_given) {
    sb_command_warn(
        "%s: no resolution of the supply's voltage is given: one count is taken as 10 mV; give --voltage-count", path);
  }
}

static int emit_loaded(const struct request *request, const struct sb_model *model)
{
  struct sb_emit_options options = {.sensor = {.pulses_per_turn = (double)request->pulses,
                                               .window_s = request->window_s,
                                               .voltage_count_v = request->voltage_count_v},
                                    .sample_max = (size_t)request->samples};
  struct sb_emission emission;
  struct sb_error err = {SB_OK, ""};
  enum sb_status status = SB_OK;
  if (request->count != NULL) {
    status = sb_emit_count_parse(request->count, &model->control.sensor, &options.sensor.count, &err);
  }
  if (status == SB_OK) status = sb_emit(model, &options, &emission, &err);
  if (status != SB_OK) return sb_command_fail(request->files.items[0], status, &err);
  const struct job job = {request, &emission};
  const char *path = request->output != NULL ? request->output : "-";
  const int code = sb_command_write_file(path, (struct sb_command_writer){write_form, &job});
  if (code == SB_EXIT_DONE) warn(request->files.items[0], &emission);
  sb_emit_clear(&emission);
  return code;
}

static int run(void *context)
{
  const struct request *request = context;
  struct sb_scenario scenario;
  int code = sb_command_load(request->files.items[0], &request->sets, &scenario);
  if (code != SB_EXIT_DONE) return code;
  code = emit_loaded(request, &scenario.model);
  sb_scenario_clear(&scenario);
  return code;
}

static int take_name(void *context, const char *value)
{
  struct request *request = context;
  request->name = value;
  if (sb_emit_name_is_fit(value)) return SB_EXIT_DONE;
  return sb_command_usage("--name needs a letter, then letters, digits and _, at most %d, found \"%s\"",
                          SB_EMIT_NAME_SIZE - 1, value);
}

static const char *const forms[] = {"header", "blocks", "ladder", "readings", NULL};

static const struct sb_option option_table[] = {
    {"as", 0, "FORM",
     "header (default): a C header for the controller module, with recorded readings as a self-test that runs on the target; "
     "blocks, ladder: a page for controllers programmed by hand; readings: the recorded readings and expected gears as CSV",
     SB_INTO_CHOICE(struct request, form, forms)},
    {"count", 0, "SIZE",
     "what one count of the sensor is, as '5 rpm', or '10 mA' where the reading is the current, or a share of the reference, "
     "of full duty where it is the duty: '0.5 %', or 1/255 for a register that holds 255 there (default: the scenario's "
     "resolution, else 1 rpm, 10 mA, 1/255)",
     SB_INTO_TEXT(struct request, count)},
    {"pulses", 0, "N", "the sensor counts pulses, N a turn of the motor (for a reading of the speed)",
     SB_INTO_COUNT(struct request, pulses, 1, 1000000)},
    {"window", 0, "TIME", "for how long it counts them (default: the sample period)",
     SB_INTO_QUANTITY(struct request, window_s, SB_TIME, 0.0)},
    {"voltage-count", 0, "VOLTAGE",
     "what one count of the supply's sensor is, where the reference follows the supply (default: the scenario's resolution, "
     "else 10 mV)",
     SB_INTO_QUANTITY(struct request, voltage_count_v, SB_VOLTAGE, 0.0)},
    {"name", 0, "WORD", "what names in the header begin with (default tuned)", SB_BY_CALL(take_name)},
    {"samples", 0, "N", "recorded samples at most, 0 to 16000 (default 2000)",
     SB_INTO_COUNT(struct request, samples, 0, SB_EMIT_SAMPLES_MAX)},
    SB_OPTION_SET_OF(struct request),
    {"output", 'o', "FILE", "write there instead of standard output; it appears whole or not at all",
     SB_INTO_OUTPUT(struct request, output)},
    {0},
};

static const struct sb_option_rule rules[] = {
    {"count", SB_EXCLUDES, "pulses", "pulses in their window are the count"},
    {"window", SB_NEEDS, "pulses", "it is the time that pulses are counted for"},
    {0},
};

static const struct request defaults = {.name = "tuned", .samples = SB_EMIT_SAMPLES_DEFAULT};

const struct sb_command sb_command_emit = {
    .name = "emit",
    .summary = "the tuned constants as a C header for a microcontroller, or as a page for programming by hand",
    .usage = "[OPTION]... FILE",
    .about =
        "Writes the thresholds and waits of a scenario as constants for a real controller, in the counts of its sensor. "
        "Rounding moves thresholds apart only, never towards hunting; waits are whole samples, rounded up.",
    .options = option_table,
    .rules = rules,
    .files = {1, 1, "scenario file", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .defaults = &defaults,
    .run = run,
};
