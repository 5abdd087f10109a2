// SPDX-License-Identifier: GPL-3.0-or-later
/* reader.h - what the stages of reading a scenario share; internal to scenario*.c. */
#ifndef SHIFTBAND_SCENARIO_READER_H
#define SHIFTBAND_SCENARIO_READER_H

#include "base/nearest.h"
#include "scenario/schema.h"
#include "scenario/table_csv.h"
#include "shiftband/scenario.h"

enum { SB_PATH_SIZE = 256, SB_WORDS_SIZE = 320 };

/* A quantity of the schema, read, defaulted or without value: what a tolerance may name. */
struct sb_value {
  char path[SB_PATH_SIZE];
  const struct sb_key *key;
  enum sb_quantity quantity;
  double value;  /* NAN: had a fault, or has neither value nor default */
  bool is_given; /* stands in the file */
  struct sb_value *next;
};

struct sb_reader {
  const char *file; /* as in messages; its folder holds the tables */
  struct sb_fault_list *faults, *notes;
  struct sb_arena *scratch;   /* lives while reading */
  struct sb_arena *kept;      /* lives as long as the scenario */
  const struct sb_node *root; /* with the sets in it */
  const char *const *sets;    /* sets[set_count], as texts PATH=VALUE */
  size_t set_count;
  struct sb_draft *draft;
  char path[SB_PATH_SIZE]; /* of the key being read */
  struct sb_value *values; /* newest first */
  size_t comma_count;      /* as in struct sb_scenario */
  const char *comma_tables[SB_COMMA_TABLE_MAX];
  bool has_unit_note;
  bool is_out_of_memory;
  bool is_unreadable; /* a table is there, and reading it failed */
};

/* Fills the draft from the tree by the table of keys. */
void sb_reader_read_keys(struct sb_reader *reader, const struct sb_section *schema);

/* Turns the draft's load parts into the model's, tables included. */
void sb_reader_finish_load(struct sb_reader *reader);

/* Reads the points of a table (NULL: none), or its file (else ""), into *out in SI. False when there was a fault, or neither. */
bool sb_reader_read_points(struct sb_reader *reader, const struct sb_table_request *request,
                           const struct sb_node *points, const char *path, struct sb_table *out);
bool sb_reader_read_table(struct sb_reader *reader, const struct sb_table_request *request,
                          const struct sb_node *points, const char *file, const char *path, struct sb_table *out);

/* Checks the bodies and adds them to the model's load; after its parts. */
void sb_reader_finish_bodies(struct sb_reader *reader);

/* Checks the motor and the supply; the supply after the motor. */
void sb_reader_finish_motor(struct sb_reader *reader);
void sb_reader_finish_supply(struct sb_reader *reader);

/* Checks the winding and what may be left out of it; needs the motor's currents; part of finishing the model. */
void sb_reader_finish_winding(struct sb_reader *reader);

/* Checks the magnets, which need the winding; part of finishing the model. */
void sb_reader_finish_magnet(struct sb_reader *reader);

/* Checks the battery and sets the supply's voltage at the start; needs the motor's currents; part of finishing the
 * model. False when there is none. */
bool sb_reader_finish_battery(struct sb_reader *reader);

/* Checks gears, shifter and ratios; part of finishing the model. */
void sb_reader_finish_gearbox(struct sb_reader *reader);

/* The part of it that a model alone can go through: names, ratios, the shifter's place and directions. */
void sb_reader_check_gears(struct sb_reader *reader);

/* Whether each pair's thresholds are in range and in order. */
void sb_reader_check_thresholds(struct sb_reader *reader);

/* A key of the section `controller` by its name, which is one. */
const struct sb_key *sb_reader_controller_key(const char *name);

/* Checks and converts what the controller and the run were given; part of finishing the model. */
void sb_reader_finish_control(struct sb_reader *reader);
void sb_reader_finish_run(struct sb_reader *reader);

/* Checks the load's bounds and fills their defaults; after the run, for whose duration the load is bounded. */
void sb_reader_finish_bounds(struct sb_reader *reader);

/* Checks the drive; after the run, whose step its period must fit. Then, with the motor derived, fills its defaults. */
void sb_reader_finish_drive(struct sb_reader *reader);
void sb_reader_derive_drive(struct sb_reader *reader);

/* A fault when a time is not a whole multiple of the step. NAN is none. */
void sb_reader_check_multiple(struct sb_reader *reader, const char *path, const char *what, double time_s,
                              double step_s);

/* The least of the torques that limits of the output are given as; needs the gearbox; part of finishing the model. */
void sb_reader_finish_limits(struct sb_reader *reader);

/* Stiffness and damping of an output shaft that gives; needs the gearbox and the load; part of finishing the model. */
void sb_reader_finish_driveshaft(struct sb_reader *reader);

/* Refuses what would run for ever; only when there is no other fault and all is derived. */
void sb_reader_check_effort(struct sb_reader *reader);

/* Gives a quantity that was not given the value that follows from others; with its field in the draft. */
void sb_reader_resolve(struct sb_reader *reader, const char *path, double value);
void sb_reader_default(struct sb_reader *reader, const char *path, double *field, double value);

/* Whether just one of two keys of a section is given; else a fault, with words for where that is needed behind the keys. */
bool sb_reader_has_one(struct sb_reader *reader, const char *section, const char *first, const char *second,
                       const char *where);

void sb_reader_read_tolerances(struct sb_reader *reader, struct sb_scenario *out);

/* The node of a dotted path, or NULL; whether there is one. */
const struct sb_node *sb_reader_node(const struct sb_reader *reader, const char *path);
bool sb_reader_has(const struct sb_reader *reader, const char *path);

/* A dotted path put together, which lives as long as the expression that it stands in. */
struct sb_path {
  char text[SB_PATH_SIZE];
};
struct sb_path sb_reader_path(const char *format, ...) __attribute__((format(printf, 1, 2)));
#define PATH(...) sb_reader_path(__VA_ARGS__).text

/* Adds a fault in the place of a dotted path, or of the section that misses it. */
void sb_reader_fault(struct sb_reader *reader, const char *path, const char *format, ...)
    __attribute__((format(printf, 3, 4)));

/* Adds a note, what no one needs to change but should know. */
void sb_reader_note(struct sb_reader *reader, const struct sb_place *place, const char *path, const char *format, ...)
    __attribute__((format(printf, 4, 5)));

/* Notes the first number whose unit was taken for another one than is written. */
void sb_reader_note_unit(struct sb_reader *reader, const struct sb_node *node, const char *path,
                         enum sb_quantity quantity);

/* What a key takes ("a torque (N.m, ...)") and its range ("above 0 N.m, at most 1e6 N.m", or ""). */
struct sb_key_words {
  char text[SB_WORDS_SIZE];
};
struct sb_key_words sb_reader_key_words(const struct sb_key *key);
struct sb_key_words sb_reader_key_range_words(const struct sb_key *key);

/* Whether a value in SI is inside a key's bounds; NAN is not. */
bool sb_reader_key_holds(const struct sb_key *key, enum sb_quantity quantity, double value);

#endif
