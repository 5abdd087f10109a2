// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * record_rows.h - how a record is written down, for records_*.c.
 *
 *   RECORD(shift, "shift", "one shift",
 *          IS("command_s", NUMBER, "when the controller commanded it"),
 *          MAY("ratio", NUMBER, "..."),            left out where it has no meaning
 *          OR_NULL("from_name", TEXT, "..."),      null where there is none
 *          OF("cure", LIST, cure, "..."),          a record, or a list of records
 *          MEMBERS(figures));                      all of another record
 *
 * A text of fewer than ten letters is no description: it does not compile.
 */
#ifndef SHIFTBAND_TEXT_RECORD_ROWS_H
#define SHIFTBAND_TEXT_RECORD_ROWS_H

#include <stddef.h>

#include "text/records.h"

#define DESCRIBED(words) (&(words)[0 * sizeof(char[sizeof(words) > 10 ? 1 : -1])])
#define ROW(name, kind, is_optional, can_be_null, record, words)                 \
  {                                                                              \
    name, SB_HOLDS_##kind, is_optional, can_be_null, record, DESCRIBED(words "") \
  }
#define IS(name, kind, words) ROW(name, kind, false, false, NULL, words)
#define MAY(name, kind, words) ROW(name, kind, true, false, NULL, words)
#define OR_NULL(name, kind, words) ROW(name, kind, false, true, NULL, words)
#define MAY_NULL(name, kind, words) ROW(name, kind, true, true, NULL, words)
#define OF(name, kind, id, words) ROW(name, kind, false, false, &sb_records_##id, words)
#define OF_OR_NULL(name, kind, id, words) ROW(name, kind, false, true, &sb_records_##id, words)
#define MAY_OF(name, kind, id, words) ROW(name, kind, true, false, &sb_records_##id, words)
#define MEMBERS(id)                                              \
  {                                                              \
    NULL, SB_HOLDS_MEMBERS, false, false, &sb_records_##id, NULL \
  }
#define END                                         \
  {                                                 \
    NULL, SB_HOLDS_NUMBER, false, false, NULL, NULL \
  }
#define RECORD(id, ...) RECORD_OF(static, id, __VA_ARGS__)
#define SHARED(id, ...) RECORD_OF(, id, __VA_ARGS__) /* known to other files */
#define RECORD_OF(reach, id, name, words, ...)                       \
  static const struct sb_member id##_members[] = {__VA_ARGS__, END}; \
  reach const struct sb_record sb_records_##id = {name, DESCRIBED(words ""), id##_members}

/* Records of one file that another one takes members of. */
extern const struct sb_record sb_records_charge, sb_records_cure, sb_records_design_figures, sb_records_head,
    sb_records_pair, sb_records_safe_range, sb_records_shift_torques, sb_records_thresholds, sb_records_verdict;

#endif
