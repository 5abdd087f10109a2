// SPDX-License-Identifier: GPL-3.0-or-later
/* fit_request.c - the arguments of `shiftband fit`. */
#include <stdio.h>
#include <string.h>

#include "cli/command.h"
#include "cli/fit_request.h"

static const char help[] =
    "usage: shiftband fit [OPTION]... LOG...\n"
    "\n"
    "Finds a motor's line, currents, friction and inertia (with a scenario: also mesh efficiency and\n"
    "load) from bench measurements, with standard errors and 95 % intervals. It says what the data leave\n"
    "open, and which measurement would determine it. Several logs of one machine are fitted together.\n"
    "\n"
    "A log is CSV with a header line; either\n"
    "  points           in steady state: torque (or force or mass, with --arm), speed, and optionally\n"
    "                   current, voltage, gear\n"
    "  over time        time, speed, and optionally voltage, current, duty, gear, added_inertia: a\n"
    "                   spin-up from rest, a coast-down with open circuit, both in turn, or (with a\n"
    "                   scenario and a gear column, 0 while none is engaged) up to 12 shifts\n"
    "A column's unit stands in its name: speed_rpm, time_ms, current_a, force_n, mass_g, duty_pct,\n"
    "\"speed [rpm]\". speed is the motor's (output_speed: behind the gears), current the motor's, voltage\n"
    "what feeds the drive.\n"
    "\n"
    "  -o, --output FILE.yaml  write the scenario section alone there, with tolerances; - is standard\n"
    "                          output (the words then go to standard error)\n"
    "      --json              print one JSON object instead of words and section\n"
    "      --residuals FILE    every reading with its computed value, as CSV\n"
    "      --scenario FILE     the machine around the motor; its motor line is taken as known unless\n"
    "                          --fit says else\n"
    "      --set PATH=VALUE    change one key of the scenario first, as --set 'load.parts=[]'; may be\n"
    "                          given again\n"
    "      --gear NAME         the gear that was engaged, for logs without a gear column (default: the\n"
    "                          start gear)\n"
    "      --fit KEYS          with a scenario: what to fit, separated by commas (default:\n"
    "                          gearbox.mesh_efficiency,\n"
    "                          load_friction,load_viscous,load.inertia,motor.rotor_inertia)\n"
    "      --known KEY=VALUE   a figure known beforehand, exactly or as a 95 % range: --known\n"
    "                          motor.rotor_inertia='2.1e-4 kg.m2' --known\n"
    "                          motor.stall_torque='0.38..0.46 N.m'\n"
    "      --voltage VOLTAGE   nominal voltage, and that of logs without a voltage column\n"
    "      --equal-constants   assume kt = ke: no gears between winding and shaft\n"
    "      --phase WORD        what a log over time without duty shows: spin-up, coast-down, both\n"
    "                          (default: seen)\n"
    "      --off WORD          what duty 0 does: coast (open circuit, default) or brake (short circuit)\n"
    "      --arm LENGTH        lever or drum radius that makes a torque of force or mass, as --arm '12\n"
    "                          mm'\n" SB_LOG_FACTS_HELP;

enum {
  OPTION_OUTPUT = 1,
  OPTION_JSON,
  OPTION_RESIDUALS,
  OPTION_SCENARIO,
  OPTION_SET,
  OPTION_GEAR,
  OPTION_FIT,
  OPTION_KNOWN,
  OPTION_VOLTAGE,
  OPTION_EQUAL,
  OPTION_PHASE,
  OPTION_OFF,
  OPTION_ARM,
  OPTION_COLUMN,
  OPTION_UNIT,
  OPTION_FILL
};

static const struct sb_option options[] = {{"output", 'o', true, OPTION_OUTPUT},
                                           {"json", 0, false, OPTION_JSON},
                                           {"residuals", 0, true, OPTION_RESIDUALS},
                                           {"scenario", 0, true, OPTION_SCENARIO},
                                           {"set", 0, true, OPTION_SET},
                                           {"gear", 0, true, OPTION_GEAR},
                                           {"fit", 0, true, OPTION_FIT},
                                           {"known", 0, true, OPTION_KNOWN},
                                           {"voltage", 0, true, OPTION_VOLTAGE},
                                           {"equal-constants", 0, false, OPTION_EQUAL},
                                           {"phase", 0, true, OPTION_PHASE},
                                           {"off", 0, true, OPTION_OFF},
                                           {"arm", 0, true, OPTION_ARM},
                                           {"column", 0, true, OPTION_COLUMN},
                                           {"unit", 0, true, OPTION_UNIT},
                                           {"fill", 0, true, OPTION_FILL},
                                           {NULL, 0, false, 0}};

int sb_fit_request_parameter(const char *name)
{
  const int figure = sb_fit_figure_find(name);
  return figure < 0 ? -1 : sb_fit_figure_parameter((enum sb_fit_figure_kind)figure);
}

static int add_fact(struct sb_fit_request *request, const struct sb_option_reader *reader, enum sb_log_fact_kind kind)
{
  char complaint[SB_LOG_COMPLAINT_SIZE];
  if (sb_log_facts_add(&request->facts, kind, reader->value, complaint)) return SB_EXIT_DONE;
  return sb_options_complain(reader, "%s", complaint);
}

static int read_measure(const struct sb_option_reader *reader, const char *option, enum sb_quantity quantity,
                        double *value)
{
  struct sb_error err;
  if (sb_quantity_parse(reader->value, quantity, value, &err) != SB_OK) {
    return sb_options_complain(reader, "--%s: %s", option, err.text);
  }
  if (*value > 0.0) return SB_EXIT_DONE;
  return sb_options_complain(reader, "--%s: needs more than zero, found \"%s\"", option, reader->value);
}

/* KEY=VALUE or KEY=LEAST..GREATEST */
static int read_known(struct sb_fit_request *request, const struct sb_option_reader *reader)
{
  struct sb_error err;
  char name[64];
  const size_t length = strcspn(reader->value, "=");
  const char *text = reader->value + length + 1;
  if (reader->value[length] == 0 || *text == 0) {
    return sb_options_complain(reader, "--known needs KEY=VALUE, found \"%s\"", reader->value);
  }
  snprintf(name, sizeof name, "%.*s", length < sizeof name ? (int)length : (int)sizeof name - 1, reader->value);
  const int kind = sb_fit_figure_find(name);
  if (kind < 0 ||
      (sb_fit_figure_quantity((enum sb_fit_figure_kind)kind) == SB_RATIO && kind != SB_FIT_MESH_EFFICIENCY)) {
    return sb_options_complain(reader, "--known: needs a figure such as motor.rotor_inertia, found \"%s\"", name);
  }
  if (request->known_count == SB_FIT_KNOWN_MAX - 1) return sb_options_complain(reader, "--known: too many");
  const enum sb_quantity quantity = sb_fit_figure_quantity((enum sb_fit_figure_kind)kind);
  struct sb_fit_known *known = &request->known[request->known_count];
  known->kind = (enum sb_fit_figure_kind)kind;
  const bool is_range = strstr(text, "..") != NULL;
  const enum sb_status status = is_range
                                    ? sb_quantity_parse_range(text, quantity, &known->least, &known->greatest, &err)
                                    : sb_quantity_parse(text, quantity, &known->least, &err);
  if (status != SB_OK) return sb_options_complain(reader, "--known %s: %s", name, err.text);
  if (!is_range) known->greatest = known->least;
  if (!(known->least >= 0.0 && known->greatest > 0.0)) {
    return sb_options_complain(reader, "--known %s: needs more than zero, found \"%s\"", name, text);
  }
  request->known_count++;
  return SB_EXIT_DONE;
}

static int read_word(const struct sb_option_reader *reader, const char *option, const char *const *words, int *found)
{
  const int place = sb_options_find_word(reader->value, words);
  if (place >= 0) {
    *found = place;
    return SB_EXIT_DONE;
  }
  char list[128] = "";
  for (int k = 0; words[k] != NULL; k++) {
    snprintf(list + strlen(list), sizeof list - strlen(list), "%s%s", k > 0 ? ", " : "", words[k]);
  }
  return sb_options_complain(reader, "--%s needs one of %s, found \"%s\"", option, list, reader->value);
}

static int read_phase(struct sb_fit_request *request, const struct sb_option_reader *reader)
{
  static const char *const words[] = {"spin-up", "coast-down", "both", NULL};
  static const enum sb_fit_phase phases[] = {SB_FIT_SPIN_UP, SB_FIT_COAST_DOWN, SB_FIT_BOTH};
  int found = 0;
  const int code = read_word(reader, "phase", words, &found);
  request->phase = phases[found];
  return code;
}

static int read_off(struct sb_fit_request *request, const struct sb_option_reader *reader)
{
  static const char *const words[] = {"coast", "brake", NULL};
  int found = 0;
  const int code = read_word(reader, "off", words, &found);
  request->is_braking = found == 1;
  return code;
}

static int read_option(void *context, const struct sb_option_reader *reader, int id)
{
  struct sb_fit_request *request = context;
  int code = SB_EXIT_DONE;
  switch (id) {
    case OPTION_OUTPUT: request->output = reader->value; break;
    case OPTION_JSON: request->is_json = true; break;
    case OPTION_RESIDUALS: request->residuals = reader->value; break;
    case OPTION_SCENARIO: request->scenario = reader->value; break;
    case OPTION_SET: sb_words_add(&request->sets, reader->value); break;
    case OPTION_GEAR: request->gear = reader->value; break;
    case OPTION_FIT: request->fitted = reader->value; break;
    case OPTION_KNOWN: code = read_known(request, reader); break;
    case OPTION_VOLTAGE: code = read_measure(reader, "voltage", SB_VOLTAGE, &request->voltage_v); break;
    case OPTION_EQUAL: request->is_equal_constants = true; break;
    case OPTION_PHASE: code = read_phase(request, reader); break;
    case OPTION_OFF: code = read_off(request, reader); break;
    case OPTION_ARM: code = read_measure(reader, "arm", SB_LENGTH, &request->arm_m); break;
    case OPTION_UNIT: code = add_fact(request, reader, SB_LOG_FACT_UNIT); break;
    case OPTION_COLUMN: code = add_fact(request, reader, SB_LOG_FACT_COLUMN); break;
    case OPTION_FILL: code = add_fact(request, reader, SB_LOG_FACT_FILL); break;
    case SB_OPTION_OPERAND: sb_words_add(&request->logs, reader->value); break;
    default: return SB_EXIT_USAGE;
  }
  return code;
}

static int check_request(const struct sb_fit_request *request, const struct sb_option_reader *reader)
{
  const char *outputs[] = {request->output, request->residuals};
  const char *names[] = {"-o", "--residuals"};
  if (request->logs.count == 0) return sb_options_complain(reader, "needs a log");
  if (request->logs.count > SB_FIT_LOG_MAX) return sb_options_complain(reader, "needs at most %d logs", SB_FIT_LOG_MAX);
  if (request->scenario == NULL && (request->gear != NULL || request->fitted != NULL || request->sets.count > 0)) {
    return sb_options_complain(reader, "--gear, --fit and --set need --scenario FILE");
  }
  for (int k = 0; k < 2; k++) {
    int code = sb_command_check_output("fit", names[k], outputs[k], request->logs.items, request->logs.count);
    if (code == SB_EXIT_DONE && request->scenario != NULL) {
      code = sb_command_check_output("fit", names[k], outputs[k], &request->scenario, 1);
    }
    if (code != SB_EXIT_DONE) return code;
    const bool is_stdout = outputs[k] != NULL && strcmp(outputs[k], "-") == 0;
    if (is_stdout && request->is_json)
      return sb_options_complain(reader, "%s - and --json both want standard output", names[k]);
  }
  if (request->output != NULL && request->residuals != NULL && strcmp(request->output, request->residuals) == 0) {
    return sb_options_complain(reader, "-o and --residuals both want %s", request->output);
  }
  return SB_EXIT_DONE;
}

int sb_fit_request_read(struct sb_fit_request *request, int argc, char **argv)
{
  struct sb_option_reader reader;
  *request = (struct sb_fit_request){.phase = SB_FIT_PHASE_FIND};
  if (!sb_words_init(&request->logs, argc) || !sb_words_init(&request->sets, argc)) return SB_EXIT_GAVE_UP;
  const int code = sb_options_read_all(&reader, options, argc, argv, help, read_option, request);
  return code == SB_EXIT_DONE ? check_request(request, &reader) : code;
}

void sb_fit_request_clear(struct sb_fit_request *request)
{
  sb_words_clear(&request->logs);
  sb_words_clear(&request->sets);
}
