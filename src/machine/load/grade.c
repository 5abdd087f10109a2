// SPDX-License-Identifier: GPL-3.0-or-later
/* Grades of a curve: what one road adds by several parts belongs together. */
#include <assert.h>

#include "shiftband/load.h"

void sb_load_curve_add_grade(struct sb_load_curve *curve, const struct sb_load_grade *grade)
{
  for (int i = 0; i < curve->grade_count; i++) {
    struct sb_load_grade *known = &curve->grades[i];
    if (known->start != grade->start || known->per_rad != grade->per_rad) continue;
    known->sine_nm += grade->sine_nm;
    known->cosine_nm += grade->cosine_nm;
    return;
  }
  assert(curve->grade_count < SB_GRADE_MAX);
  curve->grades[curve->grade_count++] = *grade;
}
