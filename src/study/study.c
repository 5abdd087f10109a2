// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/study.h"

#include <stdio.h>

#include "map/lattice.h"
#include "study/facts.h"

long sb_study_point_count(const struct sb_study *study)
{
  long count = 1;
  for (int a = 0; a < study->axis_count; a++) count *= study->axes[a].points;
  return count;
}

int sb_study_index(const struct sb_study *study, long point, int axis)
{
  for (int a = 0; a < axis; a++) point /= study->axes[a].points;
  return (int)(point % study->axes[axis].points);
}

long sb_study_sample_count(const struct sb_study *study)
{
  return study->samples > 0 ? study->samples : 1;
}

long sb_study_task_count(const struct sb_study *study)
{
  return sb_study_point_count(study) * sb_study_sample_count(study);
}

double sb_study_size(const struct sb_study *study)
{
  double size = (double)sb_study_sample_count(study);
  for (int a = 0; a < study->axis_count; a++) size *= study->axes[a].points;
  return size;
}

#define FACT(kind, member) SB_FACT(kind, sb_study, member)
static const struct sb_fact study_facts[] = {
    FACT(SB_FACT_INT, form),
    FACT(SB_FACT_INT, kind),
    FACT(SB_FACT_CHARS, scenario),
    FACT(SB_FACT_CHARS, controller),
    FACT(SB_FACT_INT, axis_count),
    FACT(SB_FACT_LONG, samples),
    FACT(SB_FACT_LONG, seed),
    FACT(SB_FACT_FLAG, has_limits),
    FACT(SB_FACT_FLAG, has_acting_load),
    FACT(SB_FACT_CHARS, battery_caution),
    FACT(SB_FACT_INT, pair),
    FACT(SB_FACT_CHARS, slower),
    FACT(SB_FACT_CHARS, faster),
    FACT(SB_FACT_NUMBER, downshift_fraction),
    FACT(SB_FACT_NUMBER, upshift_fraction),
    FACT(SB_FACT_FLAG, is_whole),
    SB_FACT_END,
};

static const struct sb_fact axis_facts[] = {
    SB_FACT(SB_FACT_CHARS, sb_axis, path),  SB_FACT(SB_FACT_CHARS, sb_axis, unit),
    SB_FACT(SB_FACT_NUMBER, sb_axis, from), SB_FACT(SB_FACT_NUMBER, sb_axis, to),
    SB_FACT(SB_FACT_INT, sb_axis, points),  SB_FACT_END,
};

static const struct sb_fact lattice_facts[] = {
    SB_FACT(SB_FACT_NUMBER, sb_map_axis, first_fraction),
    SB_FACT(SB_FACT_NUMBER, sb_map_axis, step_fraction),
    SB_FACT(SB_FACT_INT, sb_map_axis, count),
    SB_FACT_END,
};

static const char *axis_prefix(int axis, char text[24])
{
  snprintf(text, 24, "axis %d ", axis + 1);
  return text;
}

void sb_study_write(struct sb_lines *lines, const struct sb_study *study)
{
  char prefix[24];
  sb_facts_write(lines, "", study_facts, study);
  for (int a = 0; a < study->axis_count; a++)
    sb_facts_write(lines, axis_prefix(a, prefix), axis_facts, &study->axes[a]);
  if (study->kind != SB_STUDY_MAPS) return;
  sb_facts_write(lines, "downshift ", lattice_facts, &study->downshift);
  sb_facts_write(lines, "upshift ", lattice_facts, &study->upshift);
}

/* The scenario's bounds of thresholds and of their step, with a hair of room for rounding. */
static const double step_least = 0.999e-4, threshold_greatest = 10.001;

static bool is_lattice(const struct sb_map_axis *axis)
{
  return axis->count >= 1 && axis->step_fraction >= step_least && axis->first_fraction > 0.0 &&
         sb_map_axis_at(axis, axis->count - 1) <= threshold_greatest;
}

bool sb_study_read(const char *text, struct sb_study *study)
{
  struct sb_study out = {.axis_count = 0};
  char prefix[24];
  if (!sb_facts_read(text, "", study_facts, &out)) return false;
  if (out.form != SB_STUDY_FORM) return false;
  if (out.kind != SB_STUDY_RUNS && out.kind != SB_STUDY_MAPS) return false;
  if (out.samples < 0 || out.axis_count < 0 || out.axis_count > SB_STUDY_AXIS_MAX) return false;
  for (int a = 0; a < out.axis_count; a++) {
    if (!sb_facts_read(text, axis_prefix(a, prefix), axis_facts, &out.axes[a])) return false;
    if (!sb_axis_is_sound(&out.axes[a])) return false;
  }
  if (out.kind == SB_STUDY_MAPS) {
    if (!sb_facts_read(text, "downshift ", lattice_facts, &out.downshift) || !is_lattice(&out.downshift)) return false;
    if (!sb_facts_read(text, "upshift ", lattice_facts, &out.upshift) || !is_lattice(&out.upshift)) return false;
  }
  if (!(sb_study_size(&out) <= SB_STUDY_TASKS_MAX)) return false;
  *study = out;
  return true;
}
