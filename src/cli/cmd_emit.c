// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_emit.c - the tuned constants for a real controller. */
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "cli/command.h"
#include "cli/long_work.h"
#include "cli/options.h"
#include "shiftband/emit.h"
#include "shiftband/units.h"

static const char help[] =
    "usage: shiftband emit [OPTION]... FILE\n"
    "\n"
    "Writes the thresholds and waits of a scenario as constants for a real controller, in the raw\n"
    "counts of its sensor. Rounding moves thresholds apart only, never towards hunting; waits are whole\n"
    "samples, rounded up.\n"
    "\n"
    "      --as FORM          header (default): a C header for the controller module, with recorded\n"
    "                         readings as a self-test that runs on the target; blocks, ladder: a page\n"
    "                         for controllers programmed by hand; readings: the recorded readings and\n"
    "                         expected gears as CSV\n"
    "      --count SIZE       what one count of the sensor is, as '5 rpm', or '10 mA' where the reading\n"
    "                         is the current, or a share of the reference, of full duty where it is the\n"
    "                         duty: '0.5 %', or 1/255 for a register that holds 255 there; default: the\n"
    "                         scenario's resolution, else 1 rpm, 10 mA, 1/255\n"
    "      --pulses N         the sensor counts pulses, N a turn of the motor (for a reading of the\n"
    "                         speed) ...\n"
    "      --window TIME      ... for this long; default: the sample period\n"
    "      --name WORD        what names in the header begin with; default tuned\n"
    "      --samples N        recorded samples at most, 0 to 16000; default 2000\n"
    "      --set PATH=VALUE   change one key first, as --set controller.dwell='2 s'; may be given again\n"
    "  -o, --output FILE      write there instead of standard output; it appears whole or not at all\n";

enum {
  OPTION_AS = 1,
  OPTION_COUNT,
  OPTION_PULSES,
  OPTION_WINDOW,
  OPTION_NAME,
  OPTION_SAMPLES,
  OPTION_SET,
  OPTION_OUTPUT
};

enum form { FORM_HEADER, FORM_BLOCKS, FORM_LADDER, FORM_READINGS };

struct request {
  struct sb_words files, sets;
  enum form form;
  const char *count, *window; /* as given; NULL: not given */
  long pulses;                /* 0: not given */
  const char *name;
  long samples;
  const char *output;
};

static int read_form(struct request *request, const struct sb_option_reader *reader)
{
  static const char *const names[] = {"header", "blocks", "ladder", "readings", NULL};
  const int found = sb_options_find_word(reader->value, names);
  if (found >= 0) {
    request->form = (enum form)found;
    return SB_EXIT_DONE;
  }
  return sb_options_complain(reader, "--as needs header, blocks, ladder or readings, found \"%s\"", reader->value);
}

static int read_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct request *request = context;
  switch (id) {
    case OPTION_AS: return read_form(request, reader);
    case OPTION_COUNT: request->count = reader->value; return SB_EXIT_DONE;
    case OPTION_WINDOW: request->window = reader->value; return SB_EXIT_DONE;
    case OPTION_PULSES:
      if (sb_long_work_read_count(reader->value, 1, 1000000, &request->pulses)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--pulses needs a number from 1 to 1000000, found \"%s\"", reader->value);
    case OPTION_NAME:
      request->name = reader->value;
      if (sb_emit_name_is_fit(reader->value)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--name needs a letter, then letters, digits and _, at most %d, found \"%s\"",
                                 SB_EMIT_NAME_SIZE - 1, reader->value);
    case OPTION_SAMPLES:
      if (sb_long_work_read_count(reader->value, 0, SB_EMIT_SAMPLES_MAX, &request->samples)) return SB_EXIT_DONE;
      return sb_options_complain(reader, "--samples needs a number from 0 to %d, found \"%s\"", SB_EMIT_SAMPLES_MAX,
                                 reader->value);
    case OPTION_SET: sb_words_add(&request->sets, reader->value); return SB_EXIT_DONE;
    case OPTION_OUTPUT: request->output = reader->value; return SB_EXIT_DONE;
    case SB_OPTION_OPERAND: sb_words_add(&request->files, reader->value); return SB_EXIT_DONE;
    default: return SB_EXIT_USAGE;
  }
}

static int check_request(const struct request *request, const struct sb_option_reader *reader)
{
  if (request->files.count != 1) return sb_options_complain(reader, "needs one scenario file");
  if (request->count != NULL && request->pulses > 0) {
    return sb_options_complain(reader, "--count and --pulses exclude each other");
  }
  if (request->window != NULL && request->pulses == 0)
    return sb_options_complain(reader, "--window goes with --pulses");
  return sb_command_check_output("emit", "-o", request->output, request->files.items, request->files.count);
}

/* Returns SB_EXIT_DONE, another exit code, or -1 when only help was asked for. */
static int read_request(struct request *request, int argc, char **argv)
{
  static const struct sb_option options[] = {
      {"as", 0, true, OPTION_AS},         {"count", 0, true, OPTION_COUNT},     {"pulses", 0, true, OPTION_PULSES},
      {"window", 0, true, OPTION_WINDOW}, {"name", 0, true, OPTION_NAME},       {"samples", 0, true, OPTION_SAMPLES},
      {"set", 0, true, OPTION_SET},       {"output", 'o', true, OPTION_OUTPUT}, {NULL, 0, false, 0}};
  struct sb_option_reader reader;
  const int code = sb_options_read_all(&reader, options, argc, argv, help, read_option, request);
  return code == SB_EXIT_DONE ? check_request(request, &reader) : code;
}

static int complain_value(const char *option, const char *text)
{
  sb_command_complain("emit: %s: %s\nSee `shiftband emit --help`.", option, text);
  return SB_EXIT_USAGE;
}

/* "1/255"; 0 where it is nothing of the kind. */
static double read_share(const char *text)
{
  long parts;
  const bool is_share = text[0] == '1' && text[1] == '/' && sb_long_work_read_count(text + 2, 1, 1000000000, &parts);
  return is_share ? 1.0 / (double)parts : 0.0;
}

/* What one count is, in the reading's unit: a share of the reference, or a measure of its own. */
static int read_size(const char *text, const struct sb_sensor *sensor, double *count)
{
  static const enum sb_quantity own[] = {
      [SB_SENSES_SPEED] = SB_SPEED, [SB_SENSES_DUTY] = SB_PERCENT, [SB_SENSES_CURRENT] = SB_CURRENT};
  const double references[] = {
      [SB_SENSES_SPEED] = sensor->reference_rad_s, [SB_SENSES_DUTY] = 1.0, [SB_SENSES_CURRENT] = sensor->reference_a};
  struct sb_error err = {SB_OK, ""};
  enum sb_quantity found = SB_PERCENT;
  double value = read_share(text);
  if (!(value > 0.0) &&
      sb_quantity_parse_either(text, SB_PERCENT, own[sensor->quantity], &value, &found, &err) != SB_OK) {
    return complain_value("--count", err.text);
  }
  if (!(value > 0.0)) return complain_value("--count", "needs more than 0");
  *count = found == SB_PERCENT ? value * references[sensor->quantity] : value;
  return SB_EXIT_DONE;
}

/* The sensor that the options tell of, which needs the scenario's reading and sample period. */
static int read_sensor(const struct request *request, const struct sb_model *model, struct sb_emit_sensor *sensor)
{
  struct sb_error err = {SB_OK, ""};
  if (request->count != NULL) {
    const int code = read_size(request->count, &model->control.sensor, &sensor->count);
    if (code != SB_EXIT_DONE) return code;
  }
  sensor->pulses_per_turn = (double)request->pulses;
  sensor->window_s = model->control.sample_period_s;
  if (request->window == NULL) return SB_EXIT_DONE;
  if (sb_quantity_parse(request->window, SB_TIME, &sensor->window_s, &err) != SB_OK) {
    return complain_value("--window", err.text);
  }
  return sensor->window_s > 0.0 ? SB_EXIT_DONE : complain_value("--window", "needs more than 0 s");
}

struct job {
  const struct request *request;
  const struct sb_emission *emission;
};

static int write_form(FILE *out, const void *context)
{
  const struct job *job = context;
  const char *path = job->request->files.items[0], *slash = strrchr(path, '/');
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
    sb_command_complain("%s: warning: with these constants the simulated machine does not pass: %s", path,
                        emission->verdicts);
  }
  if (!emission->is_resolution_given) {
    static const char *const counts[] = {[SB_SENSES_SPEED] = "1 rpm; --count or --pulses say it",
                                         [SB_SENSES_DUTY] = "1/255 of full duty; --count says it",
                                         [SB_SENSES_CURRENT] = "10 mA; --count says it"};
    sb_command_complain("%s: no resolution is given: one count is taken as %s", path,
                        counts[emission->model.control.sensor.quantity]);
  }
}

static int emit_loaded(const struct request *request, const struct sb_model *model)
{
  struct sb_emit_options options = sb_emit_options_default();
  struct sb_emission emission;
  struct sb_error err = {SB_OK, ""};
  int code = read_sensor(request, model, &options.sensor);
  if (code != SB_EXIT_DONE) return code;
  options.sample_max = (size_t)request->samples;
  const enum sb_status status = sb_emit(model, &options, &emission, &err);
  if (status != SB_OK) {
    sb_command_complain("%s: %s", request->files.items[0], err.text[0] != 0 ? err.text : sb_status_text(status));
    return sb_command_exit(status);
  }
  const struct job job = {request, &emission};
  const char *path = request->output != NULL ? request->output : "-";
  code = sb_command_write_file(path, (struct sb_command_writer){write_form, &job});
  if (code == SB_EXIT_DONE) warn(request->files.items[0], &emission);
  sb_emission_clear(&emission);
  return code;
}

int sb_cmd_emit(int argc, char **argv)
{
  struct request request = {.name = "tuned", .samples = SB_EMIT_SAMPLES_DEFAULT};
  struct sb_scenario scenario;
  int code = SB_EXIT_GAVE_UP;
  if (sb_words_init(&request.files, argc) && sb_words_init(&request.sets, argc))
    code = read_request(&request, argc, argv);
  if (code == SB_EXIT_DONE) {
    code = sb_command_load(request.files.items[0], request.sets.items, request.sets.count, &scenario);
    if (code == SB_EXIT_DONE) {
      code = emit_loaded(&request, &scenario.model);
      sb_scenario_clear(&scenario);
    }
  }
  sb_words_clear(&request.files);
  sb_words_clear(&request.sets);
  return code == -1 ? SB_EXIT_DONE : code;
}
