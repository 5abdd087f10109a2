// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/strength.h"

#include <math.h>
#include <stdio.h>

#include "base/constants.h"

static const double shear_share = 0.577; /* of the tensile figure: 1 / sqrt(3), as tables print it */

static const struct material {
  const char *name;
  double tensile_pa, modulus_pa;
} materials[] = {[SB_MATERIAL_NONE] = {"", (double)NAN, (double)NAN},
#define MATERIAL_ROW(code, name, other, tensile_pa, modulus_pa) [code] = {name, tensile_pa, modulus_pa},
                 SB_MATERIAL_LIST(MATERIAL_ROW)
#undef MATERIAL_ROW
};

const char *sb_strength_material_name(enum sb_material material)
{
  return materials[material].name;
}

double sb_strength_tensile_pa(enum sb_material material)
{
  return materials[material].tensile_pa;
}

double sb_strength_shear_pa(enum sb_material material)
{
  return shear_share * materials[material].tensile_pa;
}

double sb_strength_modulus_pa(enum sb_material material)
{
  return materials[material].modulus_pa;
}

const char *sb_strength_shaft_section_name(enum sb_shaft_section section)
{
  switch (section) {
    case SB_SHAFT_NONE: return "";
    case SB_SHAFT_ROUND: return "round";
    case SB_SHAFT_HOLLOW: return "hollow";
    case SB_SHAFT_SQUARE: return "square";
    case SB_SHAFT_HEXAGONAL: return "hexagonal";
  }
  return "";
}

/* What a bore leaves of a round shaft: 1 - (inside / outside)^4. */
static double left_by_bore(const struct sb_shaft *shaft)
{
  const double square = (shaft->inner_m / shaft->size_m) * (shaft->inner_m / shaft->size_m);
  return 1.0 - square * square;
}

double sb_strength_shaft_modulus_m3(const struct sb_shaft *shaft)
{
  const double size = shaft->size_m, cube = size * size * size;
  switch (shaft->section) {
    case SB_SHAFT_NONE: return NAN;
    case SB_SHAFT_ROUND: return SB_PI * cube / 16.0;
    case SB_SHAFT_HOLLOW: return SB_PI * cube / 16.0 * left_by_bore(shaft);
    case SB_SHAFT_SQUARE: return 0.208 * cube;
    case SB_SHAFT_HEXAGONAL: return 0.188 * cube;
  }
  return NAN;
}

double sb_strength_shaft_constant_m4(const struct sb_shaft *shaft)
{
  const double size = shaft->size_m, fourth = size * size * size * size;
  switch (shaft->section) {
    case SB_SHAFT_NONE: return NAN;
    case SB_SHAFT_ROUND: return SB_PI * fourth / 32.0;
    case SB_SHAFT_HOLLOW: return SB_PI * fourth / 32.0 * left_by_bore(shaft);
    case SB_SHAFT_SQUARE: return 0.1406 * fourth;
    case SB_SHAFT_HEXAGONAL: return 0.1150 * fourth;
  }
  return NAN;
}

double sb_strength_shaft_limit_nm(const struct sb_shaft *shaft)
{
  return sb_strength_shaft_modulus_m3(shaft) * shaft->shear_pa / shaft->safety;
}

const char *sb_strength_shaft_text(const struct sb_shaft *shaft, char *text, size_t size)
{
  char inner[32] = "";
  if (shaft->section == SB_SHAFT_HOLLOW) snprintf(inner, sizeof inner, "/%.4g", 1e3 * shaft->inner_m);
  snprintf(text, size, "shaft, %s %.4g%s mm%s%s, %.3g MPa shear, safety %.3g",
           sb_strength_shaft_section_name(shaft->section), 1e3 * shaft->size_m, inner,
           shaft->material != SB_MATERIAL_NONE ? " " : "", sb_strength_material_name(shaft->material),
           1e-6 * shaft->shear_pa, shaft->safety);
  return text;
}

static const struct form_row {
  double teeth, factor;
} form_table[] = {{12, 0.245},  {13, 0.261},  {14, 0.277},  {15, 0.290},  {16, 0.296},      {17, 0.303}, {18, 0.309},
                  {19, 0.314},  {20, 0.322},  {21, 0.328},  {22, 0.331},  {24, 0.337},      {26, 0.346}, {28, 0.353},
                  {30, 0.359},  {34, 0.371},  {38, 0.384},  {43, 0.397},  {50, 0.409},      {60, 0.422}, {75, 0.435},
                  {100, 0.447}, {150, 0.460}, {300, 0.472}, {400, 0.480}, {INFINITY, 0.485} /* rack */};

double sb_strength_tooth_form_factor(double teeth)
{
  if (!(teeth >= SB_FORM_TEETH_MIN)) return NAN;
  const struct form_row *row = form_table;
  while (teeth >= row[1].teeth && isfinite(row[1].teeth)) row++;
  const double share = (1.0 / row[0].teeth - 1.0 / teeth) / (1.0 / row[0].teeth - 1.0 / row[1].teeth);
  return row[0].factor + share * (row[1].factor - row[0].factor);
}

double sb_strength_tooth_limit_nm(const struct sb_tooth *tooth)
{
  const double force_n = tooth->bending_pa * tooth->width_m * tooth->module_m * tooth->form_factor;
  return force_n * 0.5 * tooth->module_m * tooth->teeth / tooth->safety;
}

const char *sb_strength_tooth_text(const struct sb_tooth *tooth, char *text, size_t size)
{
  snprintf(text, size,
           "tooth, %.6g of module %.4g mm, %.4g mm wide%s%s, %.3g MPa bending, form factor %.3g, safety %.3g",
           tooth->teeth, 1e3 * tooth->module_m, 1e3 * tooth->width_m, tooth->material != SB_MATERIAL_NONE ? ", " : "",
           sb_strength_material_name(tooth->material), 1e-6 * tooth->bending_pa, tooth->form_factor, tooth->safety);
  return text;
}
