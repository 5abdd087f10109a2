// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * beside.h - internal: files that a scenario names. A scenario may come from anyone, so what it names is read only where the scenario's
 * folder or a folder below it really holds it: links are followed first. sb_scenario_allow_outside() lifts this.
 */
#ifndef SHIFTBAND_SCENARIO_BESIDE_H
#define SHIFTBAND_SCENARIO_BESIDE_H

#include <stdbool.h>

enum { SB_BESIDE_SIZE = 4096 };

/* What messages say of a file outside, behind its name. */
#define SB_BESIDE_REFUSAL "it is not in the scenario's folder or below it; --allow-outside lets it be read"

/* The path of a file that a scenario names, relative ones from the scenario's folder, and whether it may be read. */
bool sb_beside_find(const char *scenario, const char *file, char path[SB_BESIDE_SIZE]);

#endif
