// SPDX-License-Identifier: GPL-3.0-or-later
/* report.h - what the reports of a proof, and of one over tolerances, share. */
#ifndef SHIFTBAND_PROVE_REPORT_H
#define SHIFTBAND_PROVE_REPORT_H

#include "shiftband/prove.h"
#include "text/json.h"
#include "text/table.h"

/* A statement as a clause: "no constant load makes the box hunt". A constant string. */
const char *sb_prove_claim(enum sb_prove_statement statement);

/* A bound with its unit, "no bound" or "-". */
void sb_prove_put_bound(struct sb_text_table *table, enum sb_prove_bound bound, double value);

/* The members of a proof's object; those of statements; bounds alone. */
void sb_prove_put_json(struct sb_json *json, const struct sb_prove *prove);
void sb_prove_put_statements(struct sb_json *json, const enum sb_proof statements[SB_PROVE_STATEMENTS]);
void sb_prove_put_bounds(struct sb_json *json, const double bounds[SB_PROVE_BOUNDS]);
const char *sb_prove_statement_member(enum sb_prove_statement statement);

#endif
