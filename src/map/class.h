// SPDX-License-Identifier: GPL-3.0-or-later
/* class.h - what a point of the plane is called: its letter in pictures, its words, and the names of all its verdicts. */
#ifndef SHIFTBAND_MAP_CLASS_H
#define SHIFTBAND_MAP_CLASS_H

#include "shiftband/map.h"

/* What a point of the plane is called: X(code, letter, words). */
#define SB_MAP_CLASS_LIST(X)                                   \
  X(SB_MAP_PASSES, '.', "passes")                              \
  X(SB_MAP_NEVER_SHIFTS, 'F', "never shifts")                  \
  X(SB_MAP_HUNTS_THRESHOLDS, 'H', "hunting, threshold-driven") \
  X(SB_MAP_HUNTS_DWELL, 'D', "hunting, dwell-driven")          \
  X(SB_MAP_SHIFTS_BUSILY, 'B', "busy shifting")                \
  X(SB_MAP_STALLS, 'S', "stall")                               \
  X(SB_MAP_LATE, 'E', "shift not engaged")                     \
  X(SB_MAP_DRIVE_CUT, 'C', "drive cut")                        \
  X(SB_MAP_OVERHEATS, 'T', "overheated")                       \
  X(SB_MAP_OVERLOADS, 'O', "overload")                         \
  X(SB_MAP_SLIPS, 'W', "slipping")                             \
  X(SB_MAP_STUCK_LOW, 'K', "stuck low")                        \
  X(SB_MAP_NEEDLESS_DOWNSHIFT, 'N', "needless downshift")      \
  X(SB_MAP_REVERSED, 'R', "reversed output")                   \
  X(SB_MAP_RUNS_BACK, 'A', "runs back")                        \
  X(SB_MAP_OVERSPEED, 'V', "overspeed")                        \
  X(SB_MAP_CLUTCH_SLIPS, 'J', "clutch slips")                  \
  X(SB_MAP_OUT_OF_REACH, 'U', "threshold out of reach")

enum sb_map_class {
#define SB_MAP_CLASS_CODE(code, letter, words) code,
  SB_MAP_CLASS_LIST(SB_MAP_CLASS_CODE)
#undef SB_MAP_CLASS_CODE
      SB_MAP_CLASS_COUNT
};

/* The verdict of numbers that were kept; false when they are none. */
bool sb_map_verdict_take(unsigned kinds, int cause, struct sb_map_verdict *out);

/* The class of the verdict that matters most. Pure. */
enum sb_map_class sb_map_class_of(const struct sb_map_verdict *verdict);

/* The same of a run in a box of several gears: what passes without a shift, in one gear all the time, is a class of its own. Pure. */
enum sb_map_class sb_map_class_of_run(const struct sb_map_verdict *verdict, const struct sb_map_figures *figures);

/* Its letter; its words, a constant string. Pure. */
char sb_map_class_letter(enum sb_map_class class);
const char *sb_map_class_words(enum sb_map_class class);

/* The name of the verdict that matters most, "passes" without any; the same of a run in a box of several gears, of which it may be
 * that it never shifts; the cause's name, "" without. Constant strings. */
const char *sb_map_worst_name(const struct sb_map_verdict *verdict);
const char *sb_map_run_name(const struct sb_map_verdict *verdict, const struct sb_map_figures *figures);
const char *sb_map_cause_name(const struct sb_map_verdict *verdict);

/* All verdicts, worst first, with ';' between them: "stall;hunting"; "passes" without any. Returns text. */
enum { SB_MAP_VERDICTS_SIZE = 240 };
const char *sb_map_all_verdicts(const struct sb_map_verdict *verdict, char text[SB_MAP_VERDICTS_SIZE]);

#endif
