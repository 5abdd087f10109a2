// SPDX-License-Identifier: GPL-3.0-or-later
/* cmd_host.c - calls the function of a shared object, told by lines: the other end of shiftband/external_program.h. */
#include <dlfcn.h>
#include <fcntl.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>
#ifdef __linux__
#include <signal.h>
#include <sys/prctl.h>
#endif

#include "cli/command.h"
#include "external/limits.h"
#include "external/protocol.h"

typedef int32_t (*own_function)(const struct sb_own_input *);

/* The two ends of the talk, clear of the streams that the object may print to. */
struct talk {
  FILE *in;
  int out;
};

static _Alignas(max_align_t) unsigned char memory[SB_OWN_MEMORY_SIZE];

/* Nobody listens any more when writing fails: then the talk is over, too. */
static bool say(const struct talk *talk, const char *text, size_t length)
{
  return write(talk->out, text, length) == (ssize_t)length;
}

/* Ends the run with a reason, as any controller may. */
static int give_up(const struct talk *talk, const char *format, const char *what)
{
  char words[200], line[sizeof words + 4];
  snprintf(words, sizeof words, format, what);
  for (char *c = words; *c != 0; c++) {
    if (*c == '\n') *c = ' ';
  }
  const int length = snprintf(line, sizeof line, "! %s\n", words);
  say(talk, line, (size_t)length);
  return SB_EXIT_CONTROLLER;
}

/* Standard output becomes standard error, standard input is empty. */
static bool part_streams(struct talk *talk)
{
  const int in = fcntl(STDIN_FILENO, F_DUPFD_CLOEXEC, 3), nothing = open("/dev/null", O_RDONLY | O_CLOEXEC);
  talk->out = fcntl(STDOUT_FILENO, F_DUPFD_CLOEXEC, 3);
  talk->in = in >= 0 ? fdopen(in, "r") : NULL;
  if (talk->in == NULL || talk->out < 0 || nothing < 0) return false;
  fflush(stdout);
  setvbuf(stdout, NULL, _IOLBF, 0);
  const bool is_done = dup2(nothing, STDIN_FILENO) >= 0 && dup2(STDERR_FILENO, STDOUT_FILENO) >= 0;
  close(nothing);
  return is_done;
}

/* An endless loop in the object must not outlive the program that asked for it, however that ended. */
static void die_with_parent(void)
{
#ifdef __linux__
  prctl(PR_SET_PDEATHSIG, SIGKILL);
#endif
}

/* Why there is no function of this version's name. */
static int refuse_object(const struct talk *talk, void *object)
{
  enum { OTHER_VERSIONS = 64 };
  for (int version = 0; version < OTHER_VERSIONS; version++) {
    char name[64], number[16];
    snprintf(name, sizeof name, "sb_own_controller_%d", version);
    snprintf(number, sizeof number, "%d", version);
    if (dlsym(object, name) == NULL) continue;
    return give_up(talk,
                   "it was built for version %s of shiftband/external_controller.h, and this program knows version 1",
                   number);
  }
  return give_up(talk, "it has no function %s, as shiftband/external_controller.h declares it (in C++: extern \"C\")",
                 "sb_own_controller");
}

static own_function find_function(void *object)
{
#define NAME_OF(symbol) #symbol
#define NAME_AS_LINKED(symbol) NAME_OF(symbol)
  void *symbol = dlsym(object, NAME_AS_LINKED(sb_own_controller));
  own_function function = NULL;
  memcpy(&function, &symbol, sizeof symbol); /* as POSIX has it: C knows no such conversion */
  return function;
}

/* One line in, one call, one line out, until the other end closes. */
static int serve(const struct talk *talk, own_function decide)
{
  struct sb_own_input input = {
      .version = SB_OWN_VERSION, .size = sizeof input, .memory_size = sizeof memory, .memory = memory};
  char line[SB_PROTOCOL_HEADER_SIZE];
  long version;
  if (fgets(line, sizeof line, talk->in) == NULL) return SB_EXIT_DONE;
  if (!sb_protocol_read_header(line, &input, &version)) {
    char number[12];
    snprintf(number, sizeof number, "%d", SB_PROTOCOL_VERSION);
    return give_up(talk, "the first line is not that of version %s of the protocol", number);
  }
  while (fgets(line, sizeof line, talk->in) != NULL) {
    if (!sb_protocol_read_sample(line, &input)) return give_up(talk, "a line is no sample: %.60s", line);
    const int length = snprintf(line, sizeof line, "%ld\n", (long)decide(&input));
    if (!say(talk, line, (size_t)length)) break;
  }
  return SB_EXIT_DONE;
}

static int host(const char *path)
{
  struct talk talk = {NULL, -1};
  die_with_parent();
  sb_limits_set();
  if (!part_streams(&talk)) {
    sb_command_complain("the standard streams can't be used");
    return SB_EXIT_IO;
  }
  int code;
  void *object = dlopen(path, RTLD_NOW | RTLD_LOCAL);
  if (object == NULL) {
    code = give_up(&talk, "it can't be loaded: %s", dlerror());
  } else {
    const own_function function = find_function(object);
    code = function != NULL ? serve(&talk, function) : refuse_object(&talk, object);
  }
  /* The object stays loaded: what it leaves behind may still run at the end of the process. */
  fclose(talk.in);
  close(talk.out);
  return code;
}

struct request {
  struct sb_option_list files;
};

static int run(void *context)
{
  const struct request *request = context;
  return host(request->files.items[0]);
}

static const struct sb_option option_table[] = {{0}};

const struct sb_command sb_command_host = {
    .name = "host",
    .summary = "ask a shared object, as --controller does, line by line",
    .usage = "FILE.so",
    .about =
        "Speaks the line protocol of --controller-command for a shared object: this is what --controller starts. The "
        "object defines one function, see shiftband/external_controller.h.",
    .options = option_table,
    .files = {1, 1, "shared object", offsetof(struct request, files)},
    .request_size = sizeof(struct request),
    .run = run,
};
