/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Proves what holds for every load within the bounds of a scenario, and prints the statements and the longest return. */
#include <stdio.h>

#include "shiftband/shiftband.h"

static const char *const members[] = {
#define MEMBER(name, member) member,
    SB_PROVE_STATEMENT_LIST(MEMBER)
#undef MEMBER
};

static const char *words_of(enum sb_proof proof)
{
  return proof == SB_PROOF_PROVED ? "proved" : proof == SB_PROOF_DISPROVED ? "disproved" : "undecided";
}

int main(int argc, char **argv)
{
  struct sb_scenario scenario;
  struct sb_faults faults = {0, NULL};
  struct sb_error err = {SB_OK, ""};
  struct sb_prove prove;
  int k;
  if (argc != 2 || sb_scenario_load(argv[1], NULL, 0, &scenario, &faults) != SB_OK) {
    sb_faults_fail(&err, SB_ERR_SCENARIO, &faults);
    fprintf(stderr, "%s\n", err.text);
    return 3;
  }
  if (sb_prove_solve(&scenario.model, &prove, &err) != SB_OK) {
    fprintf(stderr, "%s\n", err.text);
    return 5;
  }
  if (prove.outside != NULL) printf("nothing can be proved: %s\n", prove.outside);
  for (k = 0; k < SB_PROVE_STATEMENTS; k++) printf("%s: %s\n", members[k], words_of(prove.statements[k]));
  printf("longest return %.6g s\n", prove.bounds[SB_PROVE_RETURN_TIME]);
  sb_scenario_clear(&scenario);
  return 0;
}
