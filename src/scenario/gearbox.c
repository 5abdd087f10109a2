// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `gearbox`: its keys, and the checks of names, ratios and shifter. */
#include <math.h>
#include <string.h>

#include "machine/shifter/kinds.h"
#include "scenario/reader.h"
#include "scenario/schema_words.h"

#define GEAR(field) .offset = offsetof(struct sb_gear, field)
#define MESH(field) .offset = offsetof(struct sb_mesh, field)

static const struct sb_choice mesh_wheels[] = {{"driver", 1}, {"driven", 0}, {NULL, 0}};

#define BACK_EFFICIENCY \
  QUANTITY("back_efficiency", SB_RATIO), BETWEEN(-1, 1), .word = "auto", .word_value = SB_BACK_EFFICIENCY_AUTO

static const struct sb_choice directions[] = {{"forward", 1}, {"reverse", -1}, {NULL, 0}};

static const struct sb_key mesh_keys[] = {
    {.name = "teeth",
     .kind = SB_KEY_TEETH,
     .flags = SB_REQUIRED,
     BETWEEN(1, 10000),
     MESH(driver_teeth),
     .meaning =
         "The teeth of the driver and of the driven wheel, such as 15/30. One of them alone is set and varied as "
         "gearbox.gears.1.meshes.2.driver or .driven."},
    {QUANTITY("efficiency", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1),
     .default_words = "the gearbox's mesh_efficiency", MESH(efficiency),
     .meaning = "The share of the power that this mesh transmits."},
    {QUANTITY("inertia", SB_INERTIA), BETWEEN(0, INERTIA_MAX), .default_text = "0 kg.m2", MESH(inertia_kg_m2),
     .meaning =
         "The inertia of its wheels and of what turns with them between the stages. Before the shifter it turns with "
         "the motor, else with the output; what several gears share is given in each."},
    {CHOICE("inertia_at", mesh_wheels), .default_text = "driven", MESH(inertia_at),
     .meaning = "The wheel that this inertia turns with."},
    {FLAG("internal"), MESH(is_internal),
     .meaning = "true: the driven wheel is a ring gear, which keeps the direction of rotation."},
    {.name = NULL}};

static const struct sb_section mesh_section = {"mesh", "15/30 alone (driver/driven), or a section with these keys",
                                               mesh_keys, NULL};

static const struct sb_key gear_keys[] = {
    {TEXT("name", SB_NAME_SIZE), .flags = SB_REQUIRED, GEAR(name),
     .meaning = "The name of the gear. No two gears have the same name."},
    {LIST("meshes", sb_gear, meshes, mesh_count, SB_MESH_MAX), .flags = SB_NOT_EMPTY | SB_SHORT_FORM,
     .default_words = "required without ratio", .section = &mesh_section,
     .meaning = "The meshes from the motor to the output. An idler is driven in one mesh and drives in the next."},
    {QUANTITY("ratio", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1e9), .default_words = "that of the meshes",
     GEAR(given_ratio),
     .meaning =
         "The reduction while no teeth are known yet, in place of meshes: the turns of the motor for one turn of "
         "the output. The output then turns as that of the other gears."},
    {QUANTITY("efficiency", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1),
     .default_words = "the gearbox's mesh_efficiency", GEAR(efficiency),
     .meaning = "With ratio: the share of the power that the whole path transmits."},
    {CHOICE("motor_direction", directions), .default_text = "forward", GEAR(motor_direction),
     .meaning = "The direction in which the motor turns in this gear."},
    {QUANTITY("drag", SB_TORQUE), BETWEEN(0, TORQUE_MAX), .default_text = "0 N.m", GEAR(drag_nm),
     .meaning = "A constant drag at the motor shaft while this gear is engaged."},
    {BACK_EFFICIENCY, .default_words = "the gearbox's back_efficiency", GEAR(back_efficiency),
     .meaning = "The gearbox's key of this name, for this gear alone."},
    {.name = NULL}};

static const struct sb_section gear_section = {"gear", "one gear", gear_keys, NULL};

#define AFTER_MESH                                                                                    \
  {                                                                                                   \
    WHOLE("after_mesh"), BETWEEN(0, SB_MESH_MAX),                                                     \
        .default_text = "0", MODEL(gearbox.shifter_after_mesh),                                       \
        .meaning = "The meshes of each gear between the motor and the shifter: the inertia of their " \
                   "wheels turns with the motor, that of the others with the output."                 \
  }

#define SHIFT_TIMEOUT                                                                                          \
  {                                                                                                            \
    QUANTITY("shift_timeout", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_text = "2 s",        \
                                        MODEL(shifter.timeout_s),                                              \
                                        .meaning = "A shift that has not engaged after this time is reported." \
  }

static const struct sb_key swing_arm_keys[] = {
    {QUANTITY("swing_turns", SB_RATIO), BETWEEN(0, 1e6), .default_text = "0.5", MODEL(shifter.swing_turns),
     .meaning = "The turns that the motor makes in its new direction until the arm has engaged."},
    AFTER_MESH,
    SHIFT_TIMEOUT,
    {.name = NULL}};
static const struct sb_key selector_keys[] = {
    {QUANTITY("travel_time", SB_TIME), .flags = SB_REQUIRED, BETWEEN(0, TIME_MAX), MODEL(shifter.travel_time_s),
     .meaning = "The time from the command to the engagement."},
    {FLAG("cut_drive"), MODEL(shifter.is_drive_cut),
     .meaning = "true: the motor's circuit is open while the selector moves."},
    AFTER_MESH,
    SHIFT_TIMEOUT,
    {.name = NULL}};
static const struct sb_key clutch_keys[] = {
    {QUANTITY("torque", SB_TORQUE), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, TORQUE_MAX), MODEL(shifter.clutch_nm),
     .meaning = "The greatest torque that the clutch transmits, at the motor shaft; beyond it, it slips."},
    AFTER_MESH,
    SHIFT_TIMEOUT,
    {.name = NULL}};

static const struct sb_section swing_arm = {"swing arm", "reversing the motor selects one of two gears", swing_arm_keys,
                                            &sb_shifter_swing_arm};
static const struct sb_section selector = {"selector", "a second actuator moves a dog or a slider", selector_keys,
                                           &sb_shifter_selector};
static const struct sb_section clutch = {"clutch", "a slipping clutch joins the new gear at once", clutch_keys,
                                         &sb_shifter_clutch};
static const struct sb_section *const shifter_kinds[] = {&swing_arm, &selector, &clutch, NULL};

static void set_shifter_kind(void *base, const struct sb_section *kind, const struct sb_node *node)
{
  (void)node;
  ((struct sb_draft *)base)->model.shifter.ops = kind->kind;
}

static const struct sb_key keys[] = {
    {QUANTITY("mesh_efficiency", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1), .default_text = "0.97",
     DRAFT(mesh_efficiency),
     .meaning = "The efficiency of every mesh that gives none of its own (the default is common practice)."},
    {BACK_EFFICIENCY, .default_words = "as forward", DRAFT(back_efficiency),
     .meaning =
         "The efficiency of a gear while the output drives the motor. 0: the output cannot drive it. Below 0: the "
         "gear locks itself, and a load that helps moves on only while the motor turns with it. auto: 2 - 1 / "
         "the forward efficiency, which is the same friction at the teeth in both directions."},
    {.name = "shifter",
     .kind = SB_KEY_KINDS,
     .default_words = "required with two or more gears",
     .kinds = shifter_kinds,
     .set_kind = set_shifter_kind,
     .meaning = "The mechanism that changes the gears."},
    {LIST("gears", sb_draft, model.gearbox.gears, model.gearbox.gear_count, SB_GEAR_MAX), .flags = SB_REQUIRED,
     .section = &gear_section, .meaning = "The gears; the first one has the greatest reduction."},
    {SECTION("output_shaft", &sb_driveshaft_section), .flags = SB_SHORT_FORM, .default_words = "rigid",
     .meaning = "A shaft that gives between the gear and the load: its stiffness alone, or a section."},
    {.name = NULL}};

const struct sb_section sb_gearbox_section = {"gearbox", "the gears, and the mechanism that changes them", keys, NULL};

/* How the output turns in the first gear whose teeth are known, relative to a motor that turns forward. */
static int known_direction(const struct sb_gearbox *gearbox)
{
  for (int g = 0; g < gearbox->gear_count; g++) {
    const struct sb_gear *gear = &gearbox->gears[g];
    int direction = gear->motor_direction;
    for (int m = 0; m < gear->mesh_count; m++) direction = gear->meshes[m].is_internal ? direction : -direction;
    if (!(gear->given_ratio > 0.0)) return direction;
  }
  return 1;
}

/* Puts one mesh in the place of a path of which only the ratio is known. */
static void fill_ratios(struct sb_gearbox *gearbox)
{
  const int direction = known_direction(gearbox);
  for (int g = 0; g < gearbox->gear_count; g++) {
    struct sb_gear *gear = &gearbox->gears[g];
    if (!(gear->given_ratio > 0.0)) {
      gear->given_ratio = 0.0;
      continue;
    }
    gear->mesh_count = 1;
    gear->meshes[0] = (struct sb_mesh){.driver_teeth = 1.0,
                                       .driven_teeth = gear->given_ratio,
                                       .efficiency = gear->efficiency,
                                       .is_internal = gear->motor_direction == direction};
  }
}

/* Each gear has meshes or a ratio, and an efficiency of its own only with the latter. */
static void check_paths(struct sb_reader *reader)
{
  for (int g = 1; g <= reader->draft->model.gearbox.gear_count; g++) {
    const struct sb_path gear = sb_reader_path("gearbox.gears.%d", g);
    const bool has_ratio = sb_reader_has(reader, PATH("%.200s.ratio", gear.text));
    const struct sb_node *node = sb_reader_node(reader, gear.text);
    if (node == NULL || node->kind != SB_NODE_MAP) continue;
    sb_reader_has_one(reader, gear.text, "meshes", "ratio", "");
    if (!has_ratio && sb_reader_has(reader, PATH("%.200s.efficiency", gear.text))) {
      sb_reader_fault(reader, PATH("%.200s.efficiency", gear.text),
                      "needs a ratio beside it; with meshes each mesh has its own efficiency");
    }
  }
}

static void fill_efficiencies(struct sb_draft *draft)
{
  for (int g = 0; g < draft->model.gearbox.gear_count; g++) {
    struct sb_gear *gear = &draft->model.gearbox.gears[g];
    if (isnan(gear->back_efficiency)) gear->back_efficiency = draft->back_efficiency;
    for (int m = 0; m < gear->mesh_count; m++) {
      if (isnan(gear->meshes[m].efficiency)) gear->meshes[m].efficiency = draft->mesh_efficiency;
    }
  }
}

static void check_names(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  for (int g = 1; g < gearbox->gear_count; g++) {
    const char *name = gearbox->gears[g].name;
    const int first = sb_gearbox_find(gearbox, name);
    if (name[0] == 0 || first == g) continue;
    sb_reader_fault(reader, PATH("gearbox.gears.%d.name", g + 1),
                    "needs a name of its own, found %s, the name of gear %d", sb_fail_quote(name).text, first + 1);
  }
}

static void check_ratios(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  for (int g = 1; g < gearbox->gear_count; g++) {
    const double ratio = gearbox->gears[g].ratio, before = gearbox->gears[g - 1].ratio;
    const bool has_both = gearbox->gears[g].mesh_count > 0 && gearbox->gears[g - 1].mesh_count > 0;
    if (!has_both || !(ratio >= before)) continue;
    sb_reader_fault(reader, PATH("gearbox.gears.%d", g + 1),
                    "needs a ratio below that of gear %d (%.6g), since gear 1 is the slowest, found %.6g", g, before,
                    ratio);
  }
}

/* The shifter lies on the path of every gear. */
static void check_place(struct sb_reader *reader)
{
  const struct sb_gearbox *gearbox = &reader->draft->model.gearbox;
  for (int g = 0; g < gearbox->gear_count; g++) {
    const struct sb_gear *gear = &gearbox->gears[g];
    if (gear->mesh_count == 0 || gearbox->shifter_after_mesh <= gear->mesh_count) continue;
    sb_reader_fault(reader, "gearbox.shifter.after_mesh", "needs at most %d, the meshes of %s, found %ld",
                    gear->mesh_count, gear->name, gearbox->shifter_after_mesh);
    return;
  }
}

/* A shifter that the motor's direction moves has just two gears, one for each direction. */
static void check_directions(struct sb_reader *reader)
{
  const struct sb_model *model = &reader->draft->model;
  const struct sb_gearbox *gearbox = &model->gearbox;
  if (gearbox->gear_count == 0 || model->shifter.ops == NULL || !model->shifter.ops->is_direction_selected) return;
  if (gearbox->gear_count != 2) {
    sb_reader_fault(reader, "gearbox.shifter", "needs two gears for a %s, found %d", model->shifter.ops->name,
                    gearbox->gear_count);
  } else if (gearbox->gears[0].motor_direction == gearbox->gears[1].motor_direction &&
             gearbox->gears[0].motor_direction != 0) {
    sb_reader_fault(reader, "gearbox.shifter", "needs gears of opposite motor_direction for a %s, found %s in both",
                    model->shifter.ops->name, gearbox->gears[0].motor_direction > 0 ? "forward" : "reverse");
  }
}

static void check_shifter(struct sb_reader *reader)
{
  struct sb_model *model = &reader->draft->model;
  const struct sb_gearbox *gearbox = &model->gearbox;
  const struct sb_node *node = sb_reader_node(reader, "gearbox.shifter");
  if (node == NULL && gearbox->gear_count > 1) {
    sb_reader_fault(reader, "gearbox.shifter", "needs a section with a kind for two or more gears, found no such key");
  }
  if (node == NULL) {
    /* One gear never shifts: any shifter will do. */
    model->shifter = (struct sb_shifter){.ops = &sb_shifter_selector, .timeout_s = 2.0};
    return;
  }
  check_place(reader);
  check_directions(reader);
}

void sb_reader_check_gears(struct sb_reader *reader)
{
  check_names(reader);
  check_ratios(reader);
  check_place(reader);
  check_directions(reader);
}

void sb_reader_finish_gearbox(struct sb_reader *reader)
{
  struct sb_draft *draft = reader->draft;
  check_paths(reader);
  fill_ratios(&draft->model.gearbox);
  fill_efficiencies(draft);
  sb_gearbox_derive(&draft->model.gearbox);
  check_names(reader);
  check_ratios(reader);
  if (sb_reader_has(reader, "gearbox.gears")) check_shifter(reader);
}
