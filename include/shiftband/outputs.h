// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * outputs.h - what `shiftband COMMAND --json` writes, as a JSON Schema (draft 7) with the meaning and the unit of each member.
 *
 * A schema is strict: an object has no members but those described. Its `format` is the version of all of them; it grows when a
 * member changes its name, place or meaning, or goes. New members may come at any time, with a new version of the program.
 */
#ifndef SHIFTBAND_OUTPUTS_H
#define SHIFTBAND_OUTPUTS_H

#include <stdio.h>

#ifdef __cplusplus
extern "C" {
#endif

/*
 * Writes the schema of a command ("check", "run", "prove", "map", "tune", "design", "inspect", "fit") on one line. Returns 0, or -1
 * with errno set; EINVAL: there is no such command, and nothing is written. Any thread, any locale.
 */
int sb_outputs_write_schema(FILE *out, const char *command);

#ifdef __cplusplus
}
#endif

#endif
