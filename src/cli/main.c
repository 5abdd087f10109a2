// SPDX-License-Identifier: GPL-3.0-or-later
/* main.c - picks the command by its name; one table, one loop, one exit. */
#include <errno.h>
#include <gsl/gsl_errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/options.h"

#include "shiftband/version.h"
#include "text/words.h"

static const char version[] = "shiftband " SB_VERSION;

static const struct command {
  const char *name;
  const char *summary;
  int (*function)(int argc, char **argv);
} commands[] = {
    {"check", "validate scenarios and print what follows from them without simulating", sb_cmd_check},
    {"run", "simulate scenarios: trace, verdicts, shifts, energy", sb_cmd_run},
    {"map", "the verdict over the whole plane of thresholds, or over a grid of other keys", sb_cmd_map},
    {"tune", "thresholds and dwell that hold for all scenarios and all their tolerances", sb_cmd_tune},
    {"emit", "the tuned constants as a C header for a microcontroller, or as a page to program by", sb_cmd_emit},
    {"inspect", "shifts, hunting and stalls in any trace, and how a simulation compares", sb_cmd_inspect},
    {"fit", "motor, friction and inertia from bench measurements, with standard errors", sb_cmd_fit},
    {"keys", "every scenario key with unit, range, default and meaning", sb_cmd_keys},
    {"host", "ask a shared object, as --controller does, line by line", sb_cmd_host},
};

static const char *program = "shiftband";

const char *sb_command_program(void)
{
  return program;
}

const char *sb_command_version(void)
{
  return version;
}

enum { COMMAND_COUNT = sizeof commands / sizeof commands[0] };

static void write_help(FILE *out)
{
  fputs("shiftband - gearboxes that shift by themselves: thresholds that hold, and what happens when they don't\n\n"
        "usage: shiftband COMMAND [OPTION]... [FILE]...\n\n",
        out);
  for (int k = 0; k < COMMAND_COUNT; k++) fprintf(out, "  %-8s %s\n", commands[k].name, commands[k].summary);
  fputs("\nEvery command knows --help. Also: shiftband --help, shiftband --version.\n\n"
        "exit codes: 0 done; 1 a verdict named by --fail-on came true; 2 the command line is wrong;\n"
        "3 a scenario or a log is wrong; 4 reading or writing failed; 5 the numerics gave up;\n"
        "6 a controller of your own failed; 130, 143 interrupted by SIGINT, SIGTERM\n",
        out);
}

static int refuse(const char *word)
{
  const char *names[COMMAND_COUNT + 1] = {NULL};
  for (int k = 0; k < COMMAND_COUNT; k++) names[k] = commands[k].name;
  const char *nearest = sb_nearest_word(word, names);
  if (word[0] == '-') {
    sb_command_complain("no option %s here; the command comes first", word);
  } else if (nearest != NULL) {
    sb_command_complain("no command %s; did you mean %s?", word, nearest);
  } else {
    sb_command_complain("no command %s", word);
  }
  fputs("See `shiftband --help`.\n", stderr);
  return SB_EXIT_USAGE;
}

static int dispatch(int argc, char **argv)
{
  if (argc < 2) {
    write_help(stderr);
    return SB_EXIT_USAGE;
  }
  if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "-h") == 0) {
    write_help(stdout);
    return SB_EXIT_DONE;
  }
  if (strcmp(argv[1], "--version") == 0) {
    puts(version);
    return SB_EXIT_DONE;
  }
  for (int k = 0; k < COMMAND_COUNT; k++) {
    if (strcmp(argv[1], commands[k].name) == 0) return commands[k].function(argc - 1, argv + 1);
  }
  return refuse(argv[1]);
}

/* A full disk or a closed pipe shows at the last flush, if not before. */
static int finish(int code)
{
  const int had_error = ferror(stdout);
  errno = 0;
  if (fflush(stdout) == 0 && !had_error) return code;
  if (code == SB_EXIT_IO) return code; /* told already */
  sb_command_complain("standard output: %s", errno != 0 ? strerror(errno) : "writing failed");
  return SB_EXIT_IO;
}

/* COLUMNS, else the terminal's width, else the default. */
static void set_width(void)
{
  const char *columns = getenv("COLUMNS");
  char *end = NULL;
  const long wanted = columns != NULL ? strtol(columns, &end, 10) : 0;
  struct winsize size;
  if (wanted >= SB_TEXT_WIDTH_LEAST && *end == 0) {
    sb_text_set_width(wanted < SB_TEXT_WIDTH_MOST ? (int)wanted : SB_TEXT_WIDTH_MOST);
  } else if (isatty(STDOUT_FILENO) && ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 0) {
    sb_text_set_width(size.ws_col);
  }
}

int main(int argc, char **argv)
{
  if (argc > 0) program = argv[0];
  gsl_set_error_handler_off();
  signal(SIGPIPE, SIG_IGN);
  signal(SIGXFSZ, SIG_IGN);
  set_width();
  return finish(dispatch(argc, argv));
}
