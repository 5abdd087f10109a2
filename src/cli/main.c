// SPDX-License-Identifier: GPL-3.0-or-later
/* main.c - picks the command by its name; one table, one loop, one exit. */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/nearest.h"
#include "cli/command.h"
#include "cli/help.h"
#include "cli/keep_memory.h"
#include "cli/topic.h"
#include "text/words.h"

enum { NAME_MAX = 64 };

static void write_help(FILE *out)
{
  fputs("shiftband - gearboxes that shift by themselves: thresholds that work, and\n"
        "what happens when they do not\n\n"
        "usage: shiftband COMMAND [OPTION]... [FILE]...\n\n",
        out);
  for (int k = 0; sb_commands[k] != NULL; k++) {
    sb_words_say(out, 0, 12, "  %-8s  %s", sb_commands[k]->name, sb_commands[k]->summary);
  }
  fputs("\nMore about one: shiftband help COMMAND, or shiftband COMMAND --help.\n"
        "Also: shiftband --help (-h), shiftband --version (-V).\n\ntopics of shiftband help TOPIC:\n",
        out);
  for (const struct sb_topic *topic = sb_topics; topic->name != NULL; topic++) {
    sb_words_say(out, 2, 14, "%-11s %s", topic->name, topic->title);
  }
  fputs("\nexit codes:\n", out);
#define WRITE_EXIT(name, code, text) fprintf(out, "  %3d  %s\n", code, text);
  SB_EXIT_LIST(WRITE_EXIT)
#undef WRITE_EXIT
}

static const struct sb_command *find_command(const char *name)
{
  for (int k = 0; sb_commands[k] != NULL; k++) {
    if (strcmp(name, sb_commands[k]->name) == 0) return sb_commands[k];
  }
  return NULL;
}

/* A word that is none of those listed. */
static int refuse_among(const char *what, const char *word, const char *const *names)
{
  const char *nearest = sb_nearest_word(word, names);
  if (nearest != NULL) return sb_command_usage("no %s %s; did you mean %s?", what, word, nearest);
  return sb_command_usage("no %s %s", what, word);
}

static int refuse(const char *word)
{
  const char *names[NAME_MAX] = {"help"};
  for (int k = 0; sb_commands[k] != NULL; k++) names[k + 1] = sb_commands[k]->name;
  if (word[0] == '-') return sb_command_usage("no option %s here; the command comes first", word);
  return refuse_among("command", word, names);
}

static int refuse_topic(const char *word)
{
  const char *names[NAME_MAX] = {NULL};
  int count = 0;
  for (int k = 0; sb_commands[k] != NULL; k++) names[count++] = sb_commands[k]->name;
  for (const struct sb_topic *t = sb_topics; t->name != NULL && count < NAME_MAX - 1; t++) names[count++] = t->name;
  return refuse_among("command or topic", word, names);
}

static int run_read(const struct sb_command *command, int argc, char **argv, void *request)
{
  switch (sb_options_read(command, argc, argv, request)) {
    case SB_PARSED: return command->run(request);
    case SB_PARSED_SAID: return SB_EXIT_DONE;
    case SB_PARSED_REFUSED: return SB_EXIT_USAGE;
    case SB_PARSED_NO_MEMORY: break;
  }
  return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
}

static int run_command(const struct sb_command *command, int argc, char **argv)
{
  void *request = calloc(1, command->request_size + 1);
  sb_command_begin(command->name);
  if (request == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  if (command->defaults != NULL) memcpy(request, command->defaults, command->request_size);
  const int code = run_read(command, argc, argv, request);
  sb_options_clear(command, request);
  free(request);
  return code;
}

/* What is said about a name: a command's options, and the topic of the name. */
static int say_about(const char *name)
{
  const struct sb_command *command = find_command(name);
  const struct sb_topic *topic = sb_topic_find(name);
  if (command == NULL && topic == NULL) return refuse_topic(name);
  if (command != NULL) sb_help_write(command);
  if (command != NULL && topic != NULL) putchar('\n');
  if (topic != NULL) sb_topic_write(stdout, topic);
  return SB_EXIT_DONE;
}

/* For packages: the names of all manual pages, one of them, or a shell's completion. */
static int write_page(const char *what, const char *name)
{
  const bool is_man = strcmp(what, "--man") == 0;
  if (is_man && name == NULL) {
    sb_man_page_list(stdout);
    return SB_EXIT_DONE;
  }
  if (is_man) return sb_man_page_write(stdout, name) ? SB_EXIT_DONE : sb_command_usage("no manual page %s", name);
  if (name != NULL && sb_completion_write(stdout, name)) return SB_EXIT_DONE;
  return sb_command_usage("--completion needs a shell: bash, zsh or fish");
}

static int say_help(int argc, char **argv)
{
  if (argc < 2) {
    write_help(stdout);
    return SB_EXIT_DONE;
  }
  const bool is_page = strcmp(argv[1], "--man") == 0 || strcmp(argv[1], "--completion") == 0;
  return is_page ? write_page(argv[1], argc > 2 ? argv[2] : NULL) : say_about(argv[1]);
}

static bool is_any(const char *word, const char *a, const char *b, const char *c)
{
  return strcmp(word, a) == 0 || strcmp(word, b) == 0 || strcmp(word, c) == 0;
}

static int dispatch(int argc, char **argv)
{
  if (argc < 2) {
    write_help(stderr);
    return SB_EXIT_USAGE;
  }
  if (is_any(argv[1], "help", "--help", "-h")) return say_help(argc - 1, argv + 1);
  if (is_any(argv[1], "version", "--version", "-V")) {
    puts(sb_command_version());
    return SB_EXIT_DONE;
  }
  const struct sb_command *command = find_command(argv[1]);
  return command != NULL ? run_command(command, argc - 1, argv + 1) : refuse(argv[1]);
}

/* A full disk or a closed pipe shows at the last flush, if not before. */
static int finish(int code)
{
  const int had_error = ferror(stdout);
  errno = 0;
  if (fflush(stdout) == 0 && !had_error) return code;
  if (code == SB_EXIT_IO || code == SB_EXIT_PIPE) return code; /* told already */
  return sb_command_fail_writing("-");
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
  sb_keep_memory();
  if (argc > 0) sb_command_set_program(argv[0]);
  signal(SIGPIPE, SIG_IGN);
  signal(SIGXFSZ, SIG_IGN);
  set_width();
  return finish(dispatch(argc, argv));
}
