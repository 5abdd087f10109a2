// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * schema.h - the one table of scenario keys, and the draft that it fills.
 *
 * A section is a list of keys; each key says what it takes, where the value goes in the draft, and what it means. The
 * parser (read.c), its error texts and the manual (manual.c) all walk this table. A new key is one line in the file of
 * its section and one field here.
 */
#ifndef SHIFTBAND_SCENARIO_SCHEMA_H
#define SHIFTBAND_SCENARIO_SCHEMA_H

#include "scenario/document.h"
#include "shiftband/model.h"
#include "shiftband/strength.h"
#include "shiftband/units.h"
#include <limits.h>

/* A value that may be of either of two quantities. */
struct sb_given {
  double value; /* SI; NAN: not given */
  enum sb_quantity quantity;
};

/* One load part as written, before it becomes a struct sb_load_part. */
struct sb_part_draft {
  const struct sb_node *node; /* NULL: unusable */
  const struct sb_part_form *form;
  struct sb_load_part part;
  int manner, axis, interpolation; /* sb_manner, sb_load_axis, sb_interpolation */
  struct sb_given period;
  char file[1024];
};

/* One body as written, before its parts and inertia go into the load. */
struct sb_body_draft {
  const struct sb_node *node; /* NULL: unusable */
  const struct sb_body_form *form;
  struct sb_body body;
  char grade_file[1024];
};

enum sb_manner { SB_MANNER_NONE, SB_MANNER_RESISTS, SB_MANNER_ACTS };
enum sb_interpolation { SB_LINEAR, SB_HOLD };

struct sb_control_draft {
  char start_gear[SB_NAME_SIZE];
  double dwell_s; /* NAN: not given */
  int downshift_count, upshift_count;
  struct sb_given downshift_below[SB_GEAR_MAX - 1], upshift_above[SB_GEAR_MAX - 1];
  long debounce_samples, seed;
  struct sb_given resolution;
  double reference_rad_s; /* NAN: the motor's no-load speed */
  double reference_a;     /* NAN: the motor's stall current */
  int reading;            /* sb_sensor_quantity */
  int between;            /* 1: between pulses */
  int reference;          /* 1: measured supply */
};

enum sb_mode { SB_MODE_NONE, SB_MODE_OPEN, SB_MODE_SPEED_CONTROL };

struct sb_drive_draft {
  int mode, off;                /* sb_mode, sb_drive_off */
  struct sb_given target, band; /* percent: of the motor's no-load speed */
  double integral_time_s;       /* NAN: the longest time constant of a gear */
};

/* A battery as written. */
struct sb_battery_draft {
  int chemistry; /* sb_chemistry_code */
  long cells;    /* 0: not given */
};

/* Parts that limit the output torque, as written. */
struct sb_shape_draft {
  int section; /* sb_shaft_section */
  double diameter_m, outer_m, inner_m, side_m, flats_m;
};

struct sb_shaft_draft {
  struct sb_shape_draft shape;
  int material; /* sb_material */
  double shear_pa, safety;
};

struct sb_tooth_draft {
  double module_m, width_m;
  long teeth;
  int material; /* sb_material */
  double bending_pa, form_factor, safety;
};

/* An output shaft that gives, as written. */
struct sb_driveshaft_draft {
  struct sb_shape_draft shape;
  int material; /* sb_material */
  double length_m, modulus_pa;
  double damping_ratio; /* of the critical damping in gear 1 */
};

/* A scenario while it is read. Doubles that were not given and have no default are NAN. */
struct sb_draft {
  struct sb_model model;
  double mesh_efficiency, back_efficiency;
  double winding_time_constant_s;
  int magnet_material; /* sb_magnet_material */
  int part_count;
  struct sb_part_draft parts[SB_LOAD_PART_MAX];
  double run_distance_m; /* NAN: not given */
  int body_count;
  struct sb_body_draft bodies[SB_BODY_MAX];
  struct sb_control_draft control;
  struct sb_drive_draft drive;
  struct sb_battery_draft battery;
  struct sb_shaft_draft shaft;
  struct sb_tooth_draft tooth;
  struct sb_driveshaft_draft driveshaft;
};

enum sb_key_kind {
  SB_KEY_QUANTITY, /* double, in SI */
  SB_KEY_EITHER,   /* struct sb_given: of `quantity` or of `other` */
  SB_KEY_WHOLE,    /* long */
  SB_KEY_FLAG,     /* bool: true or false */
  SB_KEY_CHOICE,   /* int: one of `choices` */
  SB_KEY_TEXT,     /* char[size] */
  SB_KEY_TEETH,    /* two doubles one after the other: driver/driven */
  SB_KEY_SECTION,  /* the keys of `section`, same base as this one */
  SB_KEY_KINDS,    /* one of `kinds`, chosen by its key `kind`, same base */
  SB_KEY_LIST,     /* items of size `size`, each the keys of `section` or one of `kinds` */
  SB_KEY_LATER     /* read by code of its own once the rest is known */
};

enum sb_key_flag {
  SB_REQUIRED = 1,
  SB_ABOVE = 2,      /* the lower bound itself is refused */
  SB_BELOW = 4,      /* the upper bound itself is refused */
  SB_MANY = 8,       /* EITHER: one value or a list, at most `max`, counted at `count_offset` */
  SB_NOT_EMPTY = 32, /* LIST: may be left out, but then has an item */
  SB_SHORT_FORM = 16 /* LIST: a single value stands for an item's first key; SECTION: for its first key */
};

/* Rows of one value in a row are names for the same. */
struct sb_choice {
  const char *name; /* NULL ends the list */
  int value;        /* SB_CHOICE_REFUSED: a name that people use for none of these, which the key's `refusal` answers */
};

#define SB_CHOICE_REFUSED INT_MIN

struct sb_section;

struct sb_key {
  const char *name; /* NULL ends the section */
  enum sb_key_kind kind;
  unsigned flags; /* sb_key_flag */
  enum sb_quantity quantity, other;
  double lower, upper;       /* in SI; for EITHER they bound `quantity` */
  const char *default_text;  /* read as if it stood in the file; NULL: none */
  const char *default_words; /* for the manual where there is no default text */
  const char *word;          /* QUANTITY: a word that may stand in place of a number; NULL: none */
  double word_value;         /* what it puts into the draft */
  size_t offset, size, count_offset;
  int max; /* items at most */
  const struct sb_choice *choices;
  const struct sb_section *section;
  const struct sb_section *const *kinds; /* NULL ends the list */
  void (*set_kind)(void *base, const struct sb_section *kind, const struct sb_node *node);
  const char *refusal; /* CHOICE: what to write for a name that is refused; NULL: there is none */
  const char *instead; /* CHOICE: the key that may be given in its place; NULL: none */
  const char *needs;   /* LATER: what it needs, in words */
  const char *meaning;
};

struct sb_section {
  const char *name; /* of a kind: as in the file */
  const char *meaning;
  const struct sb_key *keys;
  const void *kind; /* of a kind: what its set_kind() puts into the draft; else NULL */
};

extern const struct sb_section sb_scenario_schema;

/* The sections, a file each. */
extern const struct sb_section sb_motor_section, sb_winding_section, sb_magnet_section, sb_supply_section,
    sb_battery_section, sb_drive_section, sb_gearbox_section, sb_driveshaft_section, sb_load_section, sb_bounds_section,
    sb_controller_section, sb_run_section, sb_limits_section, sb_wheels_section, sb_require_section;

/* The kinds of body: body.c. */
extern const struct sb_section *const sb_body_sections[];
void sb_body_set_kind(void *base, const struct sb_section *kind, const struct sb_node *node);

#endif
