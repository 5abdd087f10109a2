// SPDX-License-Identifier: GPL-3.0-or-later
/* external_options.c - see external_options.h. */
#include "cli/external_options.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "cli/command.h"
#include "cli/long_work.h"
#include "external/limits.h"
#include "external/orphans.h"
#include "shiftband/tasks.h"

static const double timeout_default_s = 1.0, timeout_least_s = 1e-3, timeout_most_s = 3600.0;

/* The program that hosts an object is this one. */
static const char *host_path(void)
{
  static const char self[] = "/proc/self/exe";
  return access(self, X_OK) == 0 ? self : sb_command_program();
}

/* A bare name is a file here, and not one to be searched for. */
static int set_object(struct sb_own_options *own)
{
  const char *folder = strchr(own->object, '/') == NULL ? "./" : "";
  const size_t size = strlen(folder) + strlen(own->object) + 1;
  if (access(own->object, R_OK) != 0) {
    sb_command_complain("--controller %s: %s", own->object, strerror(errno));
    return SB_EXIT_IO;
  }
  own->path = malloc(size);
  if (own->path == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  snprintf(own->path, size, "%s%s", folder, own->object);
  own->argv[0] = host_path();
  own->argv[1] = "host";
  own->argv[2] = own->path;
  own->program.name = own->object;
  return SB_EXIT_DONE;
}

/* The limits come first, in the same shell. */
static int set_command(struct sb_own_options *own)
{
  char limits[256];
  sb_limits_write(limits, sizeof limits);
  const size_t size = strlen(limits) + strlen(own->command) + 1;
  own->path = malloc(size);
  if (own->path == NULL) return sb_command_fail(NULL, SB_ERR_MEMORY, NULL);
  snprintf(own->path, size, "%s%s", limits, own->command);
  own->argv[0] = "/bin/sh";
  own->argv[1] = "-c";
  own->argv[2] = own->path;
  own->name = sb_fail_quote(own->command);
  own->program.name = own->name.text;
  return SB_EXIT_DONE;
}

static int set_timeout(struct sb_external_program *program)
{
  if (!(program->timeout_s > 0.0)) program->timeout_s = timeout_default_s;
  if (program->timeout_s >= timeout_least_s && program->timeout_s <= timeout_most_s) return SB_EXIT_DONE;
  return sb_command_usage("--controller-timeout needs 1 ms to 1 h, found %g s", program->timeout_s);
}

int sb_own_options_prepare(struct sb_own_options *own)
{
  if (own->object == NULL && own->command == NULL) return SB_EXIT_DONE;
  int code = set_timeout(&own->program);
  own->program.argv = own->argv;
  own->program.stop = sb_interrupt_flag();
  if (code == SB_EXIT_DONE && own->object != NULL) code = set_object(own);
  if (code == SB_EXIT_DONE && own->object == NULL) code = set_command(own);
  sb_orphans_adopt();
  own->decider = sb_external_program_decider(&own->program);
  return code;
}

const struct sb_decider *sb_own_options_decider(const struct sb_own_options *own)
{
  return own->object != NULL || own->command != NULL ? &own->decider : NULL;
}

int sb_own_options_hash(const struct sb_own_options *own, uint64_t *hash)
{
  if (own->command != NULL) *hash = sb_tasks_hash_text(sb_tasks_hash_text(*hash, "command"), own->command);
  if (own->object == NULL) return SB_EXIT_DONE;
  struct sb_error err;
  *hash = sb_tasks_hash_text(*hash, "object");
  const enum sb_status status = sb_tasks_hash_file(hash, own->object, &err);
  if (status != SB_OK) sb_command_complain("--controller %s", err.text);
  return sb_command_exit(status);
}

void sb_own_options_clear(struct sb_own_options *own)
{
  free(own->path);
  own->path = NULL;
}
