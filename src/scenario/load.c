// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `load`: its keys, and from the parts as written to the model's. */
#include <math.h>

#include "base/constants.h"
#include "machine/load/kinds.h"
#include "scenario/reader.h"
#include "scenario/schema_words.h"
#include "scenario/table_csv.h"

#define PART(field) .offset = offsetof(struct sb_part_draft, field)

static const struct sb_choice manners[] = {{"resists", SB_MANNER_RESISTS}, {"acts", SB_MANNER_ACTS}, {NULL, 0}};
static const struct sb_choice axes[] = {{"time", SB_OVER_TIME}, {"turns", SB_OVER_TURNS}, {NULL, 0}};
static const struct sb_choice interpolations[] = {{"linear", SB_LINEAR}, {"hold", SB_HOLD}, {NULL, 0}};

/* clang-format off */
#define MANNER                                                                                               \
  {CHOICE("manner", manners), .flags = SB_REQUIRED, PART(manner),                                            \
   .meaning = "resists: the torque opposes the motion. acts: the torque keeps its sign, whatever the motion."}
#define BREAKAWAY                                                                                            \
  {QUANTITY("breakaway", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_words = "its own value",               \
   PART(part.breakaway_nm),                                                                                  \
   .meaning = "The torque that it takes to start the motion from standstill, where it is greater than the part's own value; only for a part that resists."}
#define OVER                                                                                                 \
  {CHOICE("over", axes), .default_text = "time", PART(axis),                                                 \
   .meaning = "Whether the torque changes over the time or over the turns of the output."}
/* clang-format on */

static const struct sb_key constant_keys[] = {
    MANNER,
    {QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(-TORQUE_MAX, TORQUE_MAX), PART(part.torque_nm),
     .meaning =
         "The torque at the output; a positive one opposes forward motion. It is not negative where it resists."},
    BREAKAWAY,
    {.name = NULL}};
static const struct sb_key viscous_keys[] = {{QUANTITY("coefficient", SB_VISCOUS), .flags = SB_REQUIRED,
                                              BETWEEN(0, 1e6), PART(part.viscous_nms_rad),
                                              .meaning = "The torque for each unit of the output's speed."},
                                             {.name = NULL}};
static const struct sb_key quadratic_keys[] = {
    {QUANTITY("coefficient", SB_QUADRATIC), .flags = SB_REQUIRED, BETWEEN(0, 1e6), PART(part.quadratic_nms2_rad2),
     .meaning = "The torque for each unit of the squared speed of the output."},
    {.name = NULL}};
static const struct sb_key profile_keys[] = {
    MANNER,
    OVER,
    {LATER("points", "list of [place, torque]"), .default_words = "points or file is required",
     .meaning =
         "Places (times or turns) in ascending order, each with its torque. Two points at one place are a jump."},
    {TEXT("file", 1024), .default_words = "points or file is required", PART(file),
     .meaning = "A CSV table next to the scenario with the columns time_s or turns, and torque_nm."},
    {CHOICE("interpolation", interpolations), .default_text = "linear", PART(interpolation),
     .meaning = "What the torque does between two points. linear: it follows a straight line. hold: it keeps the last "
                "value."},
    {FLAG("repeat"), PART(part.is_repeating),
     .meaning = "true: the table starts again after its last point. false: the last torque stays."},
    BREAKAWAY,
    {.name = NULL}};
static const struct sb_key sine_keys[] = {
    MANNER,
    OVER,
    {QUANTITY("mean", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(-TORQUE_MAX, TORQUE_MAX), PART(part.mean_nm),
     .meaning = "The mean torque."},
    {QUANTITY("amplitude", SB_TORQUE), .flags = SB_REQUIRED, BETWEEN(0, TORQUE_MAX), PART(part.amplitude_nm),
     .meaning = "The greatest distance from the mean; at most the mean where the part resists."},
    {EITHER("period", SB_TIME, SB_ANGLE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TIME_MAX), PART(period),
     .meaning = "The length of one wave: a time or turns, as `over` says."},
    {QUANTITY("phase", SB_ANGLE), BETWEEN(-ANGLE_MAX, ANGLE_MAX), .default_text = "0 deg", PART(part.phase_rad),
     .meaning = "The phase at the start: 90 deg starts at the greatest torque."},
    BREAKAWAY,
    {.name = NULL}};

static void read_profile(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  const struct sb_node *points = sb_tree_find(draft->node, "points"), *file = sb_tree_find(draft->node, "file");
  if ((points == NULL) == (file == NULL)) {
    sb_reader_fault(reader, path, "needs either points or a file, found %s", points == NULL ? "neither" : "both");
    return;
  }
  const bool is_over_time = draft->part.axis == SB_OVER_TIME;
  struct sb_table *table = &draft->part.table;
  const struct sb_table_request request = {is_over_time ? &sb_table_torque_over_time : &sb_table_torque_over_turns,
                                           draft->part.is_resisting, reader->faults,
                                           points != NULL ? points->place : file->place, reader->kept};
  const struct sb_path key = sb_reader_path("%.200s.%s", path, points != NULL ? "points" : "file");
  const bool is_fit = sb_reader_read_table(reader, &request, points, draft->file, key.text, table);
  if (is_fit && draft->part.is_repeating && !(table->x[table->count - 1] > table->x[0])) {
    sb_reader_fault(reader, path, "needs points that span more than one place to repeat, found one place");
  }
  /* A table that repeats more often than that would be passed many times within a step. */
  const double least_period = is_over_time ? 1e-3 : 1e-3 * SB_TURN;
  const double period = is_fit ? table->x[table->count - 1] - table->x[0] : least_period;
  if (is_fit && draft->part.is_repeating && period > 0.0 && period < least_period) {
    sb_reader_fault(reader, path, "needs points that span at least %s to repeat, found %.3g %s",
                    is_over_time ? "1 ms" : "0.001 turn", is_over_time ? period : period / SB_TURN,
                    is_over_time ? "s" : "turn");
  }
}

static void check_sine(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  struct sb_load_part *part = &draft->part;
  part->period = draft->period.value;
  const enum sb_quantity wanted = draft->axis == SB_OVER_TIME ? SB_TIME : SB_ANGLE;
  if (!isnan(draft->period.value) && draft->period.quantity != wanted) {
    sb_reader_fault(reader, PATH("%.200s.period", path), "needs %s (%s) as `over` says, found %s",
                    sb_units_words(wanted), sb_units_offered(wanted), sb_units_words(draft->period.quantity));
  }
  if (part->is_resisting && part->mean_nm < part->amplitude_nm) {
    sb_reader_fault(reader, PATH("%.200s.mean", path),
                    "needs at least the amplitude (%.10g N.m), since it resists, found %.10g N.m", part->amplitude_nm,
                    part->mean_nm);
  }
}

/* A kind of part: what simulates it, and what checks it once its keys are read (NULL: nothing). */
struct sb_part_form {
  const struct sb_load_ops *ops;
  void (*finish)(struct sb_reader *reader, struct sb_part_draft *draft, const char *path);
};

static const struct sb_part_form constant_form = {&sb_load_constant, NULL}, viscous_form = {&sb_load_viscous, NULL},
                                 quadratic_form = {&sb_load_quadratic, NULL},
                                 profile_form = {&sb_load_profile, read_profile},
                                 sine_form = {&sb_load_sine, check_sine};

static const struct sb_section constant = {"constant", "one torque", constant_keys, &constant_form};
static const struct sb_section viscous = {"viscous", "follows the speed", viscous_keys, &viscous_form};
static const struct sb_section quadratic = {"quadratic", "follows the squared speed, as a fan does", quadratic_keys,
                                            &quadratic_form};
static const struct sb_section profile = {"profile", "a table of torques", profile_keys, &profile_form};
static const struct sb_section sine = {"sine", "a wave about a mean", sine_keys, &sine_form};
static const struct sb_section *const part_kinds[] = {&constant, &viscous, &quadratic, &profile, &sine, NULL};

static void set_part_kind(void *base, const struct sb_section *kind, const struct sb_node *node)
{
  struct sb_part_draft *draft = base;
  draft->node = node;
  draft->form = kind->kind;
  draft->part.ops = draft->form->ops;
}

static const struct sb_key keys[] = {
    {QUANTITY("inertia", SB_INERTIA), BETWEEN(INERTIA_MIN, INERTIA_MAX), .default_words = "required without bodies",
     MODEL(load.inertia_kg_m2),
     .meaning = "The inertia of everything that turns with the output, at the output; bodies add theirs to it."},
    {QUANTITY("breakaway", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", MODEL(load.breakaway_nm),
     .meaning =
         "The torque that it takes to start the motion from standstill, where it is greater than that of all resisting parts together."},
    {LIST("parts", sb_draft, parts, part_count, SB_LOAD_PART_MAX), .default_words = "none", .kinds = part_kinds,
     .set_kind = set_part_kind, .meaning = "The parts of the torque at the output, which are added up."},
    {SECTION("bounds", &sb_bounds_section), .default_words = "those of the load itself, at any rate",
     .meaning = "Bounds of the torque for which `prove` says what holds, whatever the load profile."},
    {LIST("bodies", sb_draft, bodies, body_count, SB_BODY_MAX), .default_words = "none", .kinds = sb_body_sections,
     .set_kind = sb_body_set_kind,
     .meaning = "What hangs on the output. Each body adds its inertia and its parts to those above."},
    {.name = NULL}};

const struct sb_section sb_load_section = {"load", "what the output drives", keys, NULL};

static void finish_part(struct sb_reader *reader, struct sb_part_draft *draft, const char *path)
{
  struct sb_load_part *part = &draft->part;
  part->is_resisting = draft->manner == SB_MANNER_RESISTS;
  part->axis = (enum sb_load_axis)draft->axis;
  part->is_held = draft->interpolation == SB_HOLD;

  if (draft->manner == SB_MANNER_ACTS && sb_tree_find(draft->node, "breakaway") != NULL) {
    sb_reader_fault(reader, PATH("%.200s.breakaway", path), "needs a part that resists, found one that acts");
  }
  if (isnan(part->breakaway_nm)) part->breakaway_nm = 0.0;
  if (part->is_resisting && part->torque_nm < 0.0) {
    sb_reader_fault(reader, PATH("%.200s.torque", path),
                    "needs a torque that is not negative, since it resists, found %.10g N.m", part->torque_nm);
  }
  if (draft->form->finish != NULL) draft->form->finish(reader, draft, path);
}

void sb_reader_finish_load(struct sb_reader *reader)
{
  struct sb_load *load = &reader->draft->model.load;
  for (int i = 0; i < reader->draft->part_count; i++) {
    struct sb_part_draft *draft = &reader->draft->parts[i];
    if (draft->node == NULL) continue;
    finish_part(reader, draft, PATH("load.parts.%d", i + 1));
    load->parts[load->part_count++] = draft->part;
  }
}
