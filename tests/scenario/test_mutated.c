// SPDX-License-Identifier: GPL-3.0-or-later
/* Truncated and mutated scenarios: whatever the text, it is taken or refused, and nothing else happens. Seeded. */
#include <gsl/gsl_rng.h>
#include <stdio.h>
#include <string.h>

#include "help/dice.h"
#include "help/near.h"
#include "help/place.h"
#include "shiftband/scenario.h"

static double shortest_s(const struct sb_model *model)
{
  const struct sb_derived derived = sb_model_derive(model);
  return sb_model_shortest_s(&derived, model);
}

static struct sb_scenario scenario; /* large, hence not on the stack */

static size_t read_file(const char *path, char *text, size_t size)
{
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  const size_t length = fread(text, 1, size, file);
  fclose(file);
  return length;
}

/* Whatever the text: it is either a model that can run, or refused with texts that name the file. */
static bool try_text(const char *text, size_t length)
{
  struct sb_faults faults;
  const enum sb_status status = sb_scenario_parse("good/x.yaml", text, length, NULL, 0, &scenario, &faults);
  if (status == SB_OK) {
    const struct sb_model *m = &scenario.model;
    assert_int_equal(faults.count, 0);
    assert_true(m->gearbox.gear_count >= 1 && m->gearbox.gears[0].ratio > 0.0);
    assert_true(m->control.start_gear >= 1 && m->control.start_gear <= m->gearbox.gear_count);
    assert_true(sb_model_step_count(m->run.duration_s, m->run.step_s) >= 1);
    assert_true(shortest_s(m) > 0.0);
    sb_scenario_clear(&scenario);
  } else {
    assert_int_equal(status, SB_ERR_SCENARIO);
    assert_in_range(faults.count, 1, 101);
    assert_true(strncmp(faults.texts[0], "good/", 5) == 0);
  }
  sb_faults_clear(&faults);
  return status == SB_OK;
}

static void every_truncated_scenario_is_taken_or_refused(void **state)
{
  (void)state;
  static char text[8192];
  const size_t length = read_file("good/everything.yaml", text, sizeof text);
  assert_true(try_text(text, length));
  int taken = 0;
  for (size_t end = 0; end < length; end++) taken += try_text(text, end);
  assert_true(taken > 0 && taken < 500); /* whole but for a comment, limits or tolerances */
}

/* One random change: a byte, a piece left out, doubled or moved, or a word from elsewhere put in. */
static size_t mutate(const gsl_rng *random, char *text, size_t length, size_t size)
{
  static const char *const words[] = {"nan",  "1e999", "-1 ", "%",   "\t",  "\n",         "&a ",      "*a",
                                      "!t ",  "[",     "]",   "{",   "}",   ": ",         "- ",       "#",
                                      "\xff", "..",    "/",   "0",   "|\n", ">\n",        "---\n",    "\"",
                                      "'",    "? ",    "N.m", "rpm", "s",   "tolerances", "\xc2\xb7", "~"};
  const size_t at = gsl_rng_uniform_int(random, length);
  const size_t piece = 1 + gsl_rng_uniform_int(random, 40);
  const size_t run = at + piece < length ? piece : length - at;
  switch (gsl_rng_uniform_int(random, 4)) {
    case 0: text[at] = (char)gsl_rng_uniform_int(random, 256); return length;
    case 1: memmove(text + at, text + at + run, length - at - run); return length - run;
    case 2: {
      if (length + run > size) return length;
      memmove(text + at + run, text + at, length - at);
      return length + run;
    }
    default: {
      const char *word = words[gsl_rng_uniform_int(random, sizeof words / sizeof *words)];
      const size_t added = strlen(word);
      if (length + added > size) return length;
      memmove(text + at + added, text + at, length - at);
      for (size_t k = 0; k < added; k++) text[at + k] = word[k];
      return length + added;
    }
  }
}

static void twenty_five_thousand_mutated_scenarios_are_taken_or_refused(void **state)
{
  (void)state;
  static char good[8192], text[16384];
  const size_t length = read_file("good/everything.yaml", good, sizeof good);
  gsl_rng *random = dice_of(20);
  int taken = 0;
  for (int i = 0; i < 25000; i++) {
    memcpy(text, good, length);
    size_t mutated = length;
    const unsigned long changes = 1 + gsl_rng_uniform_int(random, 4);
    for (unsigned long change = 0; change < changes; change++) mutated = mutate(random, text, mutated, sizeof text);
    taken += try_text(text, mutated);
  }
  gsl_rng_free(random);
  assert_true(taken > 200); /* changes in comments, names and digits; else the loop tests only refusals */
}

static void mutated_sets_are_taken_or_refused(void **state)
{
  (void)state;
  static const char good[] = "gearbox.gears.slow.meshes.1={teeth: 15/30, efficiency: 90 %}";
  gsl_rng *random = dice_of(21);
  for (int i = 0; i < 5000; i++) {
    char text[512];
    memcpy(text, good, sizeof good);
    const size_t length = mutate(random, text, sizeof good - 1, sizeof text - 1);
    text[length] = 0;
    const char *const set = text;
    struct sb_faults faults;
    const enum sb_status status = sb_scenario_load("good/interface.yaml", &set, 1, &scenario, &faults);
    assert_true(status == SB_OK || status == SB_ERR_SCENARIO || status == SB_ERR_USAGE);
    assert_true((status == SB_OK) == (faults.count == 0));
    if (status == SB_OK) sb_scenario_clear(&scenario);
    sb_faults_clear(&faults);
  }
  gsl_rng_free(random);
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(every_truncated_scenario_is_taken_or_refused),
      cmocka_unit_test(twenty_five_thousand_mutated_scenarios_are_taken_or_refused),
      cmocka_unit_test(mutated_sets_are_taken_or_refused),
  };
  return cmocka_run_group_tests_name("mutated scenarios", tests, place_in_tests, NULL);
}
