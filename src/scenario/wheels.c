// SPDX-License-Identifier: GPL-3.0-or-later
/* `choices.wheels`: the shelf of wheels that boxes are put together from. */
#include <limits.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "scenario/choices.h"
#include "scenario/reader.h"
#include "scenario/schema_words.h"
#include "scenario/shape.h"

#define SHELF(field) .offset = offsetof(struct sb_shelf, field)

enum { TEETH_LEAST = 5, TEETH_MOST = 1000 };

static const struct sb_key keys[] = {
    {LATER("teeth", "list of whole numbers"), .flags = SB_REQUIRED,
     .meaning = "The teeth of the wheels on the shelf, each a whole number of 5 to 1000."},
    {QUANTITY("module", SB_LENGTH), .flags = SB_REQUIRED | SB_ABOVE, BETWEEN(0, 1), SHELF(module_m),
     .meaning = "The module of all wheels: the pitch diameter divided by the number of teeth."},
    {LATER("stages", "whole number or a range such as 2..3"), .flags = SB_REQUIRED,
     .meaning =
         "The number of stages from the motor to the output, 1 to 5. All speeds share all stages but the last one."},
    {LATER("speeds", "whole number or a range such as 2..3"), .flags = SB_REQUIRED,
     .meaning = "The number of speeds, 1 to 4: pairs of wheels in the last stage, of which one is engaged."},
    {LATER("stock", "word `any`, whole number, or section of TEETH: COUNT lines"), .default_words = "any",
     .meaning =
         "The number of wheels that there are of each kind; what a section leaves out is there as often as wished."},
    {QUANTITY("centre_tolerance", SB_LENGTH), BETWEEN(0, 1), .default_text = "0 mm", SHELF(tolerance_m),
     .meaning = "The centre distances of pairs between the same two axles may differ by this."},
    {QUANTITY("width", SB_LENGTH), .flags = SB_ABOVE, BETWEEN(0, 10),
     .default_words = "the teeth's strength is not judged", SHELF(width_m),
     .meaning = "The width over which the teeth mesh."},
    {CHOICE("material", sb_shape_materials), .instead = "bending_strength",
     .default_words = "with width, material or bending_strength is required", SHELF(material),
     .meaning = "The material of the wheels, as of limits.tooth."},
    {QUANTITY("bending_strength", SB_STRESS), BETWEEN(1e4, 1e10),
     .default_words = "with width, material or bending_strength is required", SHELF(bending_pa),
     .meaning = "The bending stress at which a tooth fails."},
    {QUANTITY("safety", SB_RATIO), BETWEEN(1, 100), .default_text = "2", SHELF(safety),
     .meaning = "The force that a tooth may carry is that at which it fails, divided by this."},
    {.name = NULL}};

const struct sb_section sb_wheels_section = {"wheels", "a shelf of wheels that boxes are put together from", keys,
                                             NULL};

/* A whole number of least..most; -1 (and a fault) when it is none. */
static int read_count(struct sb_reader *reader, const struct sb_node *node, const char *path, int least, int most)
{
  const bool is_value = node->kind == SB_NODE_VALUE;
  const size_t length = is_value ? strlen(node->text) : 0;
  const bool is_whole = length > 0 && length < 8 && strspn(node->text, "0123456789") == length;
  const long number = is_whole ? atol(node->text) : -1;
  if (number >= least && number <= most) return (int)number;
  if (node->kind != SB_NODE_BROKEN) {
    sb_faults_add(reader->faults, &node->place, path, "needs a whole number at least %d, at most %d, found %s", least,
                  most, is_value ? sb_fail_quote(node->text).text : "something else");
  }
  return -1;
}

static int by_size(const void *one, const void *other)
{
  return *(const int *)one - *(const int *)other;
}

static void read_teeth(struct sb_reader *reader, const struct sb_node *node, struct sb_shelf *shelf)
{
  static const char path[] = "choices.wheels.teeth";
  if (node->kind != SB_NODE_LIST || node->count == 0 || node->count > SB_SHELF_TEETH_MAX) {
    sb_faults_add(reader->faults, &node->place, path, "needs a list of 1 to %d whole numbers, found %s",
                  SB_SHELF_TEETH_MAX,
                  node->kind != SB_NODE_LIST ? "something else"
                  : node->count > 0          ? "more"
                                             : "an empty shelf");
    return;
  }
  for (const struct sb_node *item = node->first; item != NULL; item = item->next) {
    const int teeth = read_count(reader, item, path, TEETH_LEAST, TEETH_MOST);
    if (teeth > 0) shelf->teeth[shelf->teeth_count++] = teeth;
  }
  qsort(shelf->teeth, (size_t)shelf->teeth_count, sizeof shelf->teeth[0], by_size);
  for (int k = 1; k < shelf->teeth_count; k++) {
    if (shelf->teeth[k] != shelf->teeth[k - 1]) continue;
    sb_faults_add(reader->faults, &node->place, path,
                  "needs each number of teeth once, found %d twice; stock says how many wheels there are",
                  shelf->teeth[k]);
    return;
  }
}

/* "2" or "2..3". */
static void read_range(struct sb_reader *reader, const struct sb_node *node, const char *path, int most, int out[2])
{
  char first[16] = "", second[16] = "";
  const char *dots = node->kind == SB_NODE_VALUE ? strstr(node->text, "..") : NULL;
  out[0] = out[1] = 1;
  if (dots == NULL) {
    out[0] = out[1] = read_count(reader, node, path, 1, most);
    return;
  }
  snprintf(first, sizeof first, "%.*s", (int)(dots - node->text), node->text);
  snprintf(second, sizeof second, "%s", dots + 2);
  struct sb_node ends[2] = {*node, *node};
  ends[0].text = first;
  ends[1].text = second;
  for (int k = 0; k < 2; k++) out[k] = read_count(reader, &ends[k], path, 1, most);
  if (out[1] > 0 && out[0] > out[1]) {
    sb_faults_add(reader->faults, &node->place, path, "needs a range from the least to the greatest, found %s",
                  sb_fail_quote(node->text).text);
  }
}

static void read_stock_line(struct sb_reader *reader, const struct sb_node *line, struct sb_shelf *shelf)
{
  static const char path[] = "choices.wheels.stock";
  const struct sb_node key = {.kind = SB_NODE_VALUE, .place = line->key_place, .text = line->key};
  const int teeth = read_count(reader, &key, path, TEETH_LEAST, TEETH_MOST);
  const int count = read_count(reader, line, path, 0, 1000000);
  int k = 0;
  while (k < shelf->teeth_count && shelf->teeth[k] != teeth) k++;
  if (teeth > 0 && k == shelf->teeth_count) {
    sb_faults_add(reader->faults, &line->key_place, path, "needs teeth that are on the shelf, found %d", teeth);
  } else if (teeth > 0) {
    shelf->stock[k] = count;
  }
}

static void read_stock(struct sb_reader *reader, const struct sb_node *node, struct sb_shelf *shelf)
{
  const bool is_any = node != NULL && node->kind == SB_NODE_VALUE && strcmp(node->text, "any") == 0;
  const bool is_number = node != NULL && node->kind == SB_NODE_VALUE && !is_any;
  const int each = is_number ? read_count(reader, node, "choices.wheels.stock", 0, 1000000) : INT_MAX;
  for (int k = 0; k < shelf->teeth_count; k++) shelf->stock[k] = each;
  if (node != NULL && node->kind == SB_NODE_LIST) {
    sb_faults_add(reader->faults, &node->place, "choices.wheels.stock",
                  "needs the word any, a whole number or a section, found a list");
  }
  if (node == NULL || node->kind != SB_NODE_MAP) return;
  for (const struct sb_node *line = node->first; line != NULL; line = line->next) read_stock_line(reader, line, shelf);
}

static void check_strength(struct sb_reader *reader, struct sb_shelf *shelf)
{
  const bool has_width = isfinite(shelf->width_m);
  if (has_width) sb_reader_has_one(reader, "choices.wheels", "material", "bending_strength", " with width");
  if (isnan(shelf->bending_pa)) shelf->bending_pa = sb_strength_tensile_pa((enum sb_material)shelf->material);
  if (has_width && shelf->teeth_count > 0 && shelf->teeth[0] < SB_FORM_TEETH_MIN) {
    sb_reader_fault(reader, "choices.wheels.teeth", "needs at least %d teeth for the strength of a tooth, found %d",
                    SB_FORM_TEETH_MIN, shelf->teeth[0]);
  }
}

void sb_reader_read_shelf(struct sb_reader *reader, const struct sb_node *node, struct sb_shelf *shelf)
{
  shelf->is_present = true;
  sb_reader_read_section(reader, "choices.wheels", &sb_wheels_section, node, shelf);
  const struct sb_node *teeth = sb_tree_find(node, "teeth"), *stages = sb_tree_find(node, "stages"),
                       *speeds = sb_tree_find(node, "speeds");
  if (teeth != NULL) read_teeth(reader, teeth, shelf);
  if (stages != NULL) read_range(reader, stages, "choices.wheels.stages", SB_SHELF_STAGE_MAX, shelf->stages);
  if (speeds != NULL) read_range(reader, speeds, "choices.wheels.speeds", SB_SHELF_SPEED_MAX, shelf->speeds);
  read_stock(reader, sb_tree_find(node, "stock"), shelf);
  check_strength(reader, shelf);
}
