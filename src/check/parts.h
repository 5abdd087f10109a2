// SPDX-License-Identifier: GPL-3.0-or-later
/* parts.h - what the files that fill a struct sb_check, or write it for people, share. */
#ifndef SHIFTBAND_CHECK_PARTS_H
#define SHIFTBAND_CHECK_PARTS_H

#include "shiftband/check.h"
#include "text/table.h"
#include "text/words.h"

/* From here on a shock is more than what a rigid driveline shows: this many times the stall torque of its gear. */
#define SB_CHECK_SHOCK_SHARE 1.5

/* A machine with its closed forms, from which a part is found. */
struct sb_check_machine {
  const struct sb_model *model;
  struct sb_motor_line line;
  struct sb_closed_form form;
};

struct sb_check_machine sb_check_machine_of(const struct sb_model *model);

/* Each fills its part of the struct, which is all zero before; the names point into the model that `names` is. */
void sb_check_find_case(const struct sb_check_machine *machine, const struct sb_model *names, const char *label,
                        struct sb_check_case *out);
void sb_check_find_drive(const struct sb_check_machine *machine, struct sb_check_drive *out);
void sb_check_find_sensor(const struct sb_check_machine *machine, const struct sb_check_case *nominal,
                          struct sb_check_sensor *out);
void sb_check_find_shaft(const struct sb_check_machine *machine, struct sb_check_shaft *out);
void sb_check_find_vehicle(const struct sb_check_machine *machine, struct sb_check_vehicle *out);
void sb_check_find_heat(const struct sb_check_machine *machine, struct sb_check_heat *out);
enum sb_status sb_check_find_battery(const struct sb_check_machine *machine, struct sb_check_battery *out,
                                     struct sb_error *err);

/* These read the parts that are found already. */
void sb_check_find_findings(const struct sb_check_machine *machine, struct sb_check *check);
void sb_check_find_sensor_findings(const struct sb_check_machine *machine, struct sb_check *check);
void sb_check_find_hazards(const struct sb_check_machine *machine, struct sb_check *check);
enum sb_status sb_check_find_notes(const struct sb_check_machine *machine, struct sb_check *check,
                                   struct sb_error *err);
void sb_check_find_cautions(const struct sb_check_machine *machine, struct sb_check *check);

/* Of gears that lock themselves. */
void sb_check_find_locking(const struct sb_check_machine *machine, struct sb_check *check);
void sb_check_note_locking(const struct sb_check_machine *machine, struct sb_check_remarks *notes);

/* Adds a remark, whose text follows as for printf. Returns it, or the last one where there is no room for more. */
struct sb_check_remark *sb_check_remark(struct sb_check_remarks *remarks, const char *kind, int pair,
                                        const char *format, ...) __attribute__((format(printf, 4, 5)));

/* Adds to its text. */
#define sb_check_add(remark, ...) sb_fail_add((remark)->text, sizeof(remark)->text, __VA_ARGS__)

/* Adds a cure to a remark and its text: the key, "at least" or "at most", and the value as for printf. */
void sb_check_cure(struct sb_check_remark *remark, const char *key, const char *bound, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* "0.2 N.m", or "0.1..0.8 N.m". */
struct sb_figure sb_check_torques(double least_nm, double greatest_nm);

/* The same of loads between two thresholds' torques; either may be infinite. */
struct sb_figure sb_check_band(double downshift_nm, double upshift_nm);

/* ---- sections of the text of a check; each is nothing where there is nothing to say ---- */

/* A sentence, or more than one, as an item of a section. */
#define SAY(...) sb_words_say(out, 2, 4, __VA_ARGS__)

void sb_check_text_locking(const struct sb_check *check, FILE *out);
void sb_check_text_drive(const struct sb_check *check, FILE *out);
void sb_check_text_sensor(const struct sb_check *check, FILE *out);
void sb_check_text_limit(const struct sb_check *check, FILE *out);
void sb_check_text_shaft(const struct sb_check *check, FILE *out);
void sb_check_text_vehicle(const struct sb_check *check, FILE *out);
void sb_check_text_pairs(const struct sb_check *check, FILE *out);
void sb_check_text_range(const struct sb_check *check, FILE *out);
void sb_check_text_battery(const struct sb_check *check, FILE *out);
void sb_check_text_heat(const struct sb_check *check, FILE *out);

/* The figures of each pair of gears, a line a figure and a column a case. */
void sb_check_text_cases(const struct sb_check_case *cases, int count, FILE *out);

/* The head of a case's column: its voltage, or its temperature. */
struct sb_figure sb_check_text_label(const struct sb_check_case *at);

/* A labelled line of a section, wrapped behind its label. */
void sb_check_text_line(FILE *out, const char *label, const char *format, ...) __attribute__((format(printf, 3, 4)));

#endif
