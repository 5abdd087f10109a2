// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * strength.h - the torque that a shaft or a gear's tooth bears.
 *
 *   shaft   T = Wt tau / safety     Wt: torsion modulus of the section, tau: shear strength
 *           round      Wt = pi d^3 / 16
 *           hollow     Wt = pi (D^4 - d^4) / (16 D)
 *           square     Wt = 0.208 a^3                       (a: side)
 *           hexagonal  Wt = 0.188 f^3                       (f: across flats)
 *           k = G It / L                                    It: torsion constant, L: length, k: stiffness
 *           round      It = pi d^4 / 32
 *           hollow     It = pi (D^4 - d^4) / 32
 *           square     It = 0.1406 a^4
 *           hexagonal  It = 0.1150 f^4
 *   tooth   T = S b m Y r / safety,  r = m z / 2    (Lewis; S: bending strength, b: width, m: module, z: teeth)
 *
 * A material is named by its tensile figure S: the tensile strength of a plastic, the yield of a metal. Its shear
 * strength is taken as 0.577 S (von Mises). The source gives shear strengths of its own for nylon, acetal and
 * polycarbonate, all higher; the lower figure is the cautious one.
 *
 * Leaves out: fatigue, notches (keyways, grub screws, cross holes), bending of the shaft, heat, age, the layers of a
 * print, dynamic load on teeth, sharing of the load between two pairs of teeth, wear of flanks. The Lewis formula puts
 * the whole load on the tip of one tooth. It says nothing of the pinion in the same mesh, whose teeth have a smaller Y.
 *
 * Sources: round and hollow: J. M. Gere, Mechanics of Materials, ch. 3; square and hexagonal: S. Timoshenko, Strength
 * of Materials, part II (from memory; the tests solve Prandtl's stress function instead of believing them). Lewis
 * formula and table of Y for 20 degree full-depth teeth: J. E. Shigley, Mechanical Engineering Design, ch. 14, table
 * 14-2 (from memory). Plastics: comparison table of K-mac Plastics (k-mac-plastics.net), at 23 C: ABS 6500 psi, nylon
 * 12 500 psi, acetal 10 000 psi, polycarbonate 10 500 psi. Steel: cold-drawn 1018, yield 370 MPa (from memory).
 * PLA and PETG as they are printed, at 23 C, pulled across their layers, the least of what was found: PLA 26 MPa (a printing
 * service's table, pro3dcomposites.com/materials/pla; 35 to 45 MPa at additive.tools/materials/pla, 50 to 65 MPa along
 * the layers), PETG 25 MPa (25 to 38 MPa across and 44 to 56 MPa along the layers, additive.tools/materials/petg).
 * Aluminium: bars of 6082-T6 up to 20 mm, least yield 250 MPa after EN 755-2 (top-factories.com/products/2492007.html).
 * Brass: free-cutting, C36000 or CW603N, yield 140 MPa in its softest state, 260 MPa in its hardest (makeitfrom.com,
 * UNS C36000).
 * Safety 2: common practice. Torsion constants: W. C. Young, R. G. Budynas, Roark's Formulas for Stress and Strain, ch.
 * 10 (from memory; the same test solves them). Shear moduli, dry and at 23 C: steel 11.5e6 psi as in Gere's examples;
 * plastics E / 2.7, E from 2.0 GPa (PETG) and 2.3 GPa (ABS, polycarbonate) to 2.8 GPa (nylon, acetal) and 3.0 GPa (PLA), from
 * memory: warmth and moisture can halve them. Aluminium 26.0 GPa (6061-T6, mfgproto.com/aluminum-6061-t6-data-sheet), brass
 * 39 GPa (makeitfrom.com, as above).
 */
#ifndef SHIFTBAND_STRENGTH_H
#define SHIFTBAND_STRENGTH_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

#define SB_PSI 6894.757293168361 /* Pa: 4.4482216152605 N on (0.0254 m)^2 */

/* X(code, name, another name that scenarios may use, or the same, tensile figure in Pa, shear modulus in Pa) */
#define SB_MATERIAL_LIST(X)                                                                \
  X(SB_MATERIAL_ABS, "ABS", "ABS", 6500.0 * SB_PSI, 0.85e9)                                \
  X(SB_MATERIAL_NYLON, "nylon", "nylon", 12500.0 * SB_PSI, 1.0e9)                          \
  X(SB_MATERIAL_ACETAL, "acetal", "acetal", 10000.0 * SB_PSI, 1.0e9)                       \
  X(SB_MATERIAL_POLYCARBONATE, "polycarbonate", "polycarbonate", 10500.0 * SB_PSI, 0.86e9) \
  X(SB_MATERIAL_PLA, "PLA", "PLA", 26e6, 1.1e9)                                            \
  X(SB_MATERIAL_PETG, "PETG", "PETG", 25e6, 0.75e9)                                        \
  X(SB_MATERIAL_STEEL, "steel", "steel", 370e6, 79.3e9)                                    \
  X(SB_MATERIAL_ALUMINIUM, "aluminium", "aluminum", 250e6, 26.0e9)                         \
  X(SB_MATERIAL_BRASS, "brass", "brass", 140e6, 39e9)

enum sb_material {
  SB_MATERIAL_NONE, /* the strength was given as a number */
#define SB_MATERIAL_CODE(code, ...) code,
  SB_MATERIAL_LIST(SB_MATERIAL_CODE)
#undef SB_MATERIAL_CODE
};

/* Its name as in scenarios; "" for none. */
const char *sb_strength_material_name(enum sb_material material);

/* Its tensile figure, and 0.577 of it, in Pa; NAN for none. Pure. */
double sb_strength_tensile_pa(enum sb_material material);
double sb_strength_shear_pa(enum sb_material material);

/* Its shear modulus in Pa; NAN for none. Pure. */
double sb_strength_modulus_pa(enum sb_material material);

enum sb_shaft_section {
  SB_SHAFT_NONE,
  SB_SHAFT_ROUND,    /* size: diameter */
  SB_SHAFT_HOLLOW,   /* size: outer diameter */
  SB_SHAFT_SQUARE,   /* size: side */
  SB_SHAFT_HEXAGONAL /* size: across flats */
};

/* "round", "hollow", ...; "" for none. */
const char *sb_strength_shaft_section_name(enum sb_shaft_section section);

struct sb_shaft {
  enum sb_shaft_section section;
  double size_m;  /* m, > 0 */
  double inner_m; /* m, hollow only: 0 <= inner < size */
  enum sb_material material;
  double shear_pa; /* Pa, > 0 */
  double safety;   /* >= 1 */
};

/* Torque per greatest shear stress, in m3; NAN for no section. Pure. */
double sb_strength_shaft_modulus_m3(const struct sb_shaft *shaft);

/* Torsion constant: torque per G and twist a length, in m4; NAN for no section. Pure. */
double sb_strength_shaft_constant_m4(const struct sb_shaft *shaft);

/* Torque that it may carry, in N m. Pure. */
double sb_strength_shaft_limit_nm(const struct sb_shaft *shaft);

/* "shaft, round 6 mm steel, 213 MPa shear, safety 2"; cut to size. Returns text. */
const char *sb_strength_shaft_text(const struct sb_shaft *shaft, char *text, size_t size);

struct sb_tooth {
  double module_m;    /* m, > 0 */
  double width_m;     /* m, > 0 */
  double teeth;       /* of the wheel on the output shaft, >= 1 */
  double form_factor; /* Lewis's Y by the module, > 0 */
  enum sb_material material;
  double bending_pa; /* Pa, > 0 */
  double safety;     /* >= 1 */
};

enum { SB_FORM_TEETH_MIN = 12 };

/* Lewis's Y of a 20 degree full-depth tooth, between the table's rows linear in 1 / teeth; NAN below 12 teeth. Pure. */
double sb_strength_tooth_form_factor(double teeth);

/* Torque of the wheel that one tooth may carry, in N m. Pure. */
double sb_strength_tooth_limit_nm(const struct sb_tooth *tooth);

/* "tooth, 42 of module 0.5 mm, 5 mm wide, acetal, 68.9 MPa bending, form factor 0.395, safety 2". Returns text. */
const char *sb_strength_tooth_text(const struct sb_tooth *tooth, char *text, size_t size);

#ifdef __cplusplus
}
#endif

#endif
