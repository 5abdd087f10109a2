// SPDX-License-Identifier: GPL-3.0-or-later
/* The section `limits`: its keys, and from limits given as parts to the least torque, with the part that rules. NAN marks what had a fault already. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "scenario/shape.h"

#define SHAFT(field) DRAFT(shaft.field)
#define TOOTH(field) DRAFT(tooth.field)
#define STRESSES BETWEEN(1e4, 1e10) /* Pa */

#define SAFETY(place)                                                                                                \
  {                                                                                                                  \
    QUANTITY("safety", SB_RATIO), BETWEEN(1, 100),                                                                   \
        .default_text = "2", place(safety), .meaning = "The limit is the torque at which it fails, divided by this." \
  }

static const struct sb_key shaft_keys[] = {
    {CHOICE("section", sb_shape_sections), .flags = SB_REQUIRED, SHAFT(shape.section),
     .meaning = "The form of its cross-section."},
    SHAPE_KEYS(shaft.shape, "required for a"),
    {CHOICE("material", sb_shape_materials), .instead = "shear_strength",
     .default_words = "material or shear_strength is required", SHAFT(material),
     .meaning = "Its material. Its shear strength is 0.577 of the tensile strength at 23 C (of a metal: the yield "
                "strength)."},
    {QUANTITY("shear_strength", SB_STRESS), STRESSES, .default_words = "material or shear_strength is required",
     SHAFT(shear_pa), .meaning = "The shear stress at which it fails."},
    SAFETY(SHAFT),
    {.name = NULL}};

static const struct sb_key tooth_keys[] = {
    {QUANTITY("module", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1), TOOTH(module_m),
     .meaning = "The module: the pitch diameter divided by the number of teeth."},
    {QUANTITY("width", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 10), TOOTH(width_m),
     .meaning = "The width over which the teeth mesh."},
    {WHOLE("teeth"), BETWEEN(1, 10000), .default_words = "those of the last driven wheel of gear 1", TOOTH(teeth),
     .meaning = "The teeth of the wheel on the output shaft, which transmits the whole output torque."},
    {CHOICE("material", sb_shape_materials), .instead = "bending_strength",
     .default_words = "material or bending_strength is required", TOOTH(material),
     .meaning = "Its material. Its bending strength is the tensile strength at 23 C (of a metal: the yield strength)."},
    {QUANTITY("bending_strength", SB_STRESS), STRESSES, .default_words = "material or bending_strength is required",
     TOOTH(bending_pa), .meaning = "The bending stress at which a tooth fails."},
    {QUANTITY("form_factor", SB_RATIO), .flags = SB_ABOVE, BETWEEN(0, 1),
     .default_words = "by the teeth, for 20 deg full depth and at least 12 teeth", TOOTH(form_factor),
     .meaning = "The Lewis form factor Y, by the module. For a pinion of the same material and width, give the "
                "pinion's, which is smaller."},
    SAFETY(TOOTH),
    {.name = NULL}};

static const struct sb_section shaft_section = {"shaft", "the output shaft, whose torsion limits the output torque",
                                                shaft_keys, NULL};
static const struct sb_section tooth_section = {
    "tooth", "the teeth of the wheel on the output shaft, whose bending limits the output torque", tooth_keys, NULL};

static const struct sb_key keys[] = {
    {QUANTITY("slip_time", SB_TIME), BETWEEN(0, TIME_MAX), .default_text = "0.1 s", MODEL(limits.slip_time_s),
     .meaning = "Wheels that slip for longer than this at a time are a verdict."},
    {QUANTITY("output_torque", SB_TORQUE), .flags = SB_ABOVE, BETWEEN(0, TORQUE_MAX), .default_words = "no limit",
     MODEL(limits.output_torque_nm),
     .meaning =
         "The torque that the weakest part after the gears may transmit. The least of this, shaft and tooth counts."},
    {SECTION("shaft", &shaft_section), .default_words = "no limit",
     .meaning = "The same limit, described as an output shaft."},
    {SECTION("tooth", &tooth_section), .default_words = "no limit",
     .meaning = "The same limit, described as the teeth of the wheel on the output shaft."},
    {QUANTITY("winding", SB_TEMPERATURE), BETWEEN(-50, 1000), .default_words = "no limit", MODEL(limits.winding_c),
     .meaning = "The highest temperature that the winding may reach."},
    {QUANTITY("stall_time", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_text = "0.5 s",
     MODEL(limits.stall_time_s),
     .meaning = "A standstill for longer than this, with a gear engaged and the drive on, is a stall."},
    {QUANTITY("hunt_window", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX),
     .default_words = "3 dwell + the shift's time + 5 time constants of the slower gear", MODEL(limits.hunt_window_s),
     .meaning =
         "Three opposite shifts, each within this time of the last, are hunting unless the load asked for them. At "
         "least the dwell and the time of a shift."},
    {QUANTITY("shift_rate", SB_FREQUENCY), .flags = SB_ABOVE, BETWEEN(0, 1e3), .default_words = "10 a minute",
     MODEL(limits.shift_rate_per_s),
     .meaning = "Three opposite shifts that the load asked for are busy shifting when they follow each other at this "
                "rate or faster."},
    {QUANTITY("motor_speed", SB_SPEED), .flags = SB_ABOVE, BETWEEN(0, SPEED_MAX),
     .default_words = "1.5 times the no-load speed at the greatest open-circuit voltage",
     MODEL(limits.motor_speed_rad_s), .meaning = "The highest speed that the motor withstands."},
    {QUANTITY("run_back", SB_ANGLE), .flags = SB_ABOVE, BETWEEN(0, 1e6),
     .default_words =
         "1/8 turn of the output; with a vehicle or hoist 1 % of the way, at least 10 mm, at most 1/4 turn",
     MODEL(limits.run_back_rad),
     .meaning =
         "How far the output may turn back from the farthest place that it reached in the direction of the drive. "
         "The twist of a driveshaft comes on top."},
    {QUANTITY("clutch_slip_time", SB_TIME), .flags = SB_ABOVE, BETWEEN(0, TIME_MAX), .default_text = "50 ms",
     MODEL(limits.clutch_slip_time_s),
     .meaning = "The clutch of an engaged gear that slips for longer than this at a time is a verdict."},
    {.name = NULL}};

const struct sb_section sb_limits_section = {"limits", "the limits by which the verdicts judge", keys, NULL};

/* The section of a part, or NULL when it was not given or is none. */
static const struct sb_node *part_node(const struct sb_reader *reader, const char *part)
{
  const struct sb_node *node = sb_reader_node(reader, PATH("limits.%s", part));
  return node != NULL && node->kind == SB_NODE_MAP ? node : NULL;
}

/* The least limit so far rules, and its words with it. */
static void take_limit(struct sb_model *model, double limit_nm, const char *text)
{
  if (!(limit_nm < model->limits.output_torque_nm)) return;
  model->limits.output_torque_nm = limit_nm;
  snprintf(model->output_limit, sizeof model->output_limit, "%s", text);
}

static void finish_shaft(struct sb_reader *reader)
{
  const struct sb_shaft_draft *draft = &reader->draft->shaft;
  const struct sb_node *node = part_node(reader, "shaft");
  if (node == NULL) return;
  sb_reader_has_one(reader, "limits.shaft", "material", "shear_strength", "");
  struct sb_shaft shaft = sb_shape_take(reader, node, "limits.shaft", &draft->shape);
  shaft.material = (enum sb_material)draft->material;
  shaft.shear_pa = isnan(draft->shear_pa) ? sb_strength_shear_pa(shaft.material) : draft->shear_pa;
  shaft.safety = draft->safety;
  char text[SB_LIMIT_TEXT_SIZE];
  take_limit(&reader->draft->model, sb_strength_shaft_limit_nm(&shaft),
             sb_strength_shaft_text(&shaft, text, sizeof text));
}

/* The table of form factors is for teeth on the outside of a wheel. */
static void find_form_factor(struct sb_reader *reader, struct sb_tooth *tooth, bool is_own_count, bool is_ring)
{
  if (is_ring) {
    sb_reader_fault(reader, "limits.tooth.form_factor",
                    "needs a ratio for a ring gear, the last driven wheel of gear 1, found no such key");
    return;
  }
  tooth->form_factor = sb_strength_tooth_form_factor(tooth->teeth);
  if (tooth->teeth < SB_FORM_TEETH_MIN) {
    sb_reader_fault(reader, is_own_count ? "limits.tooth.teeth" : "limits.tooth.form_factor",
                    "needs at least %d teeth or a form_factor, found %.6g teeth", SB_FORM_TEETH_MIN, tooth->teeth);
  }
  sb_reader_resolve(reader, "limits.tooth.form_factor", tooth->form_factor);
}

static void finish_tooth(struct sb_reader *reader)
{
  const struct sb_tooth_draft *draft = &reader->draft->tooth;
  const struct sb_node *node = part_node(reader, "tooth");
  if (node == NULL) return;
  sb_reader_has_one(reader, "limits.tooth", "material", "bending_strength", "");
  const bool is_own_count = sb_tree_find(node, "teeth") != NULL;
  const struct sb_gear *gear = &reader->draft->model.gearbox.gears[0];
  const bool has_teeth = gear->mesh_count > 0 && !(gear->given_ratio > 0.0);
  const struct sb_mesh *mesh = has_teeth ? &gear->meshes[gear->mesh_count - 1] : NULL;
  if (gear->given_ratio > 0.0 && !is_own_count) {
    sb_reader_fault(reader, "limits.tooth.teeth", "needs the teeth, since gear 1 has a ratio in place of meshes");
    return;
  }
  struct sb_tooth tooth = {.module_m = draft->module_m,
                           .width_m = draft->width_m,
                           .teeth = is_own_count && draft->teeth > 0 ? (double)draft->teeth : NAN,
                           .form_factor = draft->form_factor,
                           .material = (enum sb_material)draft->material,
                           .bending_pa = isnan(draft->bending_pa)
                                             ? sb_strength_tensile_pa((enum sb_material)draft->material)
                                             : draft->bending_pa,
                           .safety = draft->safety};
  if (!is_own_count && mesh != NULL) tooth.teeth = mesh->driven_teeth;
  if (sb_tree_find(node, "form_factor") == NULL) {
    find_form_factor(reader, &tooth, is_own_count, !is_own_count && mesh != NULL && mesh->is_internal);
  }
  char text[SB_LIMIT_TEXT_SIZE];
  take_limit(&reader->draft->model, sb_strength_tooth_limit_nm(&tooth),
             sb_strength_tooth_text(&tooth, text, sizeof text));
}

/* Opposite shifts follow each other after the dwell and the shift at the earliest: a shorter window would never see any. The shift's own
 * time is known beforehand of a selector only. */
static void check_hunt_window(struct sb_reader *reader)
{
  const struct sb_model *model = &reader->draft->model;
  const double shift_s = model->shifter.travel_time_s > 0.0 ? model->shifter.travel_time_s : 0.0;
  const double least_s = model->control.dwell_s + shift_s;
  if (!(model->limits.hunt_window_s < least_s)) return;
  sb_reader_fault(reader, "limits.hunt_window", "needs at least the dwell%s, %.6g s, found %.6g s",
                  shift_s > 0.0 ? " and the time of a shift" : "", least_s, model->limits.hunt_window_s);
}

void sb_reader_finish_limits(struct sb_reader *reader)
{
  struct sb_limits *limits = &reader->draft->model.limits;
  if (isnan(limits->output_torque_nm)) limits->output_torque_nm = INFINITY;
  if (isnan(limits->winding_c)) limits->winding_c = INFINITY;
  check_hunt_window(reader);
  finish_shaft(reader);
  finish_tooth(reader);
}
