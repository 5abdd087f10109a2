// SPDX-License-Identifier: GPL-3.0-or-later
/* obstacles.h - what `check` says of a vehicle's way: what the ground carries, and which gear gets past which body. */
#ifndef SHIFTBAND_CHECK_OBSTACLES_H
#define SHIFTBAND_CHECK_OBSTACLES_H

#include "check/check.h"

/* Nothing for a load without wheels that can slip and without bodies in its way. */
void sb_check_write_way(const struct sb_check_case *at, FILE *out);

/* Member "way" of an open object; null where there is nothing to say. */
void sb_check_put_way(struct sb_json *json, const struct sb_check_case *at);

#endif
