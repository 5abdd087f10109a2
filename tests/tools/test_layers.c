// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * tools/dev/check-layers finds an include, a call and a circle that go against the order of the rooms, in a copy;
 * tools/dev/check-symbols finds a name that does not lead to its place.
 */
#include "help/near.h"
#include "help/shell.h"

/* A small house of three rooms, each file with one function; $T/bad.c and so on are put in by the tests. */
#define HOUSE                                                                                                            \
  "R=$T/house; rm -rf $R; mkdir -p $R/src/base $R/src/run $R/src/tune $R/include/shiftband; "                            \
  "echo 'int sb_low(void);' > $R/src/base/low.h; "                                                                       \
  "echo 'int sb_high(void);' > $R/src/tune/high.h; "                                                                     \
  "printf '#include \"base/low.h\"\\nint sb_low(void) { return 1; }\\n' > $R/src/base/low.c; "                           \
  "printf '#include \"base/low.h\"\\nint sb_mid(void);\\nint sb_mid(void) { return sb_low(); }\\n' > $R/src/run/mid.c; " \
  "printf '#include \"tune/high.h\"\\nint sb_high(void) { return 2; }\\n' > $R/src/tune/high.c; "
#define CHECK \
  "(cd $R && for f in $(find src -name '*.c'); do cc -Isrc -c -o ${f%.c}.o $f || exit 9; done) && tools/dev/check-layers $R $R"

/* The same house with the object of one more file: a function of this name in src/tune/deep_well.c. */
#define NAMED(name)                                                                                                           \
  HOUSE                                                                                                                       \
  "rm $R/src/*/*.c; printf 'int " name "(void);\\nint " name "(void) { return 3; }\\n' > "                                    \
  "$R/src/tune/deep_well.c; cd $R && cc -c -o src/tune/deep_well.o src/tune/deep_well.c && ar rcs l.a src/tune/deep_well.o; " \
  "cd - > /dev/null; tools/dev/check-symbols $R/l.a $R $R"

static void a_house_in_order_passes(void **state)
{
  (void)state;
  const struct said *said = shell_run(HOUSE CHECK);
  shell_expect(said, "  fine  3 includes and 1 calls in ");
  assert_int_equal(said->code, 0);
}

static void an_include_upwards_is_named_with_both_files(void **state)
{
  (void)state;
  const struct said *said = shell_run(HOUSE "sed -i '1i #include \"tune/high.h\"' $R/src/run/mid.c; " CHECK);
  shell_expect(said, "src/run/mid.c: includes src/tune/high.h, but tune stands above run");
  assert_int_equal(said->code, 1);
}

static void a_call_upwards_is_named_with_both_files(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(HOUSE "printf 'int sb_high(void);\\nint sb_bad(void);\\nint sb_bad(void) { return sb_high(); }\\n' > "
                      "$R/src/base/bad.c; " CHECK);
  shell_expect(said, "src/base/bad.c: calls sb_high of src/tune/high.c, but tune stands above base");
  assert_int_equal(said->code, 1);
}

static void a_circle_of_calls_within_a_room_is_named(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      HOUSE
      "printf 'int sb_b(void);\\nint sb_a(void);\\nint sb_a(void) { return sb_b(); }\\n' > $R/src/run/a.c; "
      "printf 'int sb_a(void);\\nint sb_b(void);\\nint sb_b(void) { return sb_a(); }\\n' > $R/src/run/b.c; " CHECK);
  shell_expect(said, "files that call each other in a circle:");
  shell_expect(said, "  src/run/a.c");
  shell_expect(said, "  src/run/b.c");
  assert_int_equal(said->code, 1);
}

static void a_file_in_no_room_is_refused(void **state)
{
  (void)state;
  const struct said *said =
      shell_run(HOUSE "mkdir $R/src/attic; cp $R/src/run/mid.c $R/src/attic/mid.c; rm $R/src/run/mid.c; " CHECK);
  shell_expect(said, "src/attic/mid.c: is in no room of ");
  assert_int_equal(said->code, 1);
}

static void a_name_of_room_file_or_header_passes(void **state)
{
  (void)state;
  static const char *const fit[] = {NAMED("sb_tune_dig"), NAMED("sb_tune"), NAMED("sb_deep_well_dig"),
                                    NAMED("sb_deep_dig"), NAMED("sb_high_dig")};
  for (size_t i = 0; i < sizeof fit / sizeof fit[0]; i++) {
    const struct said *said = shell_run(fit[i]);
    shell_expect(said, "  fine  1 global symbols of ");
    assert_int_equal(said->code, 0);
  }
}

static void a_name_that_does_not_lead_to_its_place_is_refused(void **state)
{
  (void)state;
  static const char *const unfit[][2] = {{NAMED("sb_dig"), "sb_dig"},
                                         {NAMED("sb_well_dig"), "sb_well_dig"},
                                         {NAMED("sb_low_dig"), "sb_low_dig"},
                                         {NAMED("sb_tuned_dig"), "sb_tuned_dig"},
                                         {NAMED("sb_run_dig"), "sb_run_dig"}};
  for (size_t i = 0; i < sizeof unfit / sizeof unfit[0]; i++) {
    char wanted[128];
    const struct said *said = shell_run(unfit[i][0]);
    snprintf(wanted, sizeof wanted, "src/tune/deep_well.c: %s bears neither the name of its room", unfit[i][1]);
    shell_expect(said, wanted);
    assert_int_equal(said->code, 1);
  }
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_house_in_order_passes),
      cmocka_unit_test(an_include_upwards_is_named_with_both_files),
      cmocka_unit_test(a_call_upwards_is_named_with_both_files),
      cmocka_unit_test(a_circle_of_calls_within_a_room_is_named),
      cmocka_unit_test(a_file_in_no_room_is_refused),
      cmocka_unit_test(a_name_of_room_file_or_header_passes),
      cmocka_unit_test(a_name_that_does_not_lead_to_its_place_is_refused),
  };
  return cmocka_run_group_tests_name("layers", tests, shell_setup, shell_teardown);
}
