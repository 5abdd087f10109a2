// SPDX-License-Identifier: GPL-3.0-or-later
/* meeting.h - internal: where two tracks of a map are in the same state, bit for bit, so that one motion goes on for both. */
#ifndef SHIFTBAND_MAP_MEETING_H
#define SHIFTBAND_MAP_MEETING_H

#include "map/track.h"

/* Room for one more state to be entered. */
enum sb_status sb_meeting_make_room(struct sb_tracks *tracks, struct sb_error *err);

/* The track that is in this state at this sample, else -1 and the state is entered as that of the given track. */
int sb_meeting_find_or_enter(struct sb_tracks *tracks, int track, int sample, const struct sb_anchor *anchor);

#endif
