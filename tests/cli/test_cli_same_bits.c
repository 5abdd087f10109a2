// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The same bits on every processor: exp, sin, log and the like of the mathematics library choose their way by what
 * instructions a processor has, and differ in their last bits. glibc lets us play a processor without them
 * (GLIBC_TUNABLES, glibc manual, "Hardware Capability Tunables"). Parts of a study that were calculated on two machines
 * must join, so no byte of a trace or a map may change.
 */
#include <gsl/gsl_rng.h>
#include <inttypes.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "base/elementary.h"
#include "help/models.h"
#include "help/near.h"
#include "help/shell.h"
#include "shiftband/sensor.h"

#define OLDER "GLIBC_TUNABLES=glibc.cpu.hwcaps=-FMA,-FMA4,-AVX2,-AVX2_Usable,-AVX512F"

static const char *own_path;

/* Sums of bits, made by this program in a process of its own ------------------------------------------------------------- */

static uint64_t mixed(uint64_t sum, double value)
{
  uint64_t bits;
  memcpy(&bits, &value, sizeof bits);
  return (sum ^ bits) * 0x9e3779b97f4a7c15u + (sum >> 29);
}

/* The library's own functions: what must differ, or there is nothing to compare here. */
static uint64_t sum_of_libm(void)
{
  uint64_t sum = 0;
  for (int i = 1; i < 200000; i++) sum = mixed(sum, exp(1e-4 * i) + sin(0.1 * i) + log(i));
  return sum;
}

static uint64_t sum_of_elementary(void)
{
  uint64_t sum = 0;
  for (int i = 1; i < 200000; i++) {
    double sine, cosine;
    sb_elementary_sin_cos(0.1 * i, &sine, &cosine);
    sum = mixed(mixed(mixed(sum, sine), cosine), sb_elementary_exp_less_1(1e-3 * (i - 100000)));
  }
  return sum;
}

static uint64_t sum_of_draws(void)
{
  const struct sb_sensor sensor = {.noise_fraction = 0.01, .seed = 7, .reference_rad_s = 30.0};
  struct sb_reading reading;
  struct sb_error err;
  uint64_t sum = 0;
  if (sb_sensor_init(&reading, &sensor, 0.01, &err) != SB_OK) return 0;
  for (int i = 0; i < 1000000; i++) sum = mixed(sum, sb_sensor_draw(&reading));
  sb_sensor_clear(&reading);
  return sum;
}

static const struct sum {
  const char *name;
  uint64_t (*of)(void);
} sums[] = {{"libm", sum_of_libm}, {"elementary", sum_of_elementary}, {"draws", sum_of_draws}};

static int print_sum(const char *name)
{
  for (size_t i = 0; i < sizeof sums / sizeof *sums; i++) {
    if (strcmp(sums[i].name, name) == 0) return printf("%016" PRIx64 "\n", sums[i].of()) < 0;
  }
  return 2;
}

/* Whether a sum is the same on the older processor. */
static bool is_same_sum(const char *name)
{
  char command[1024], first[64];
  snprintf(command, sizeof command, "'%s' %s", own_path, name);
  snprintf(first, sizeof first, "%.16s", shell_run(command)->text);
  assert_int_equal(strlen(first), 16);
  snprintf(command, sizeof command, OLDER " '%s' %s", own_path, name);
  return strncmp(first, shell_run(command)->text, 16) == 0;
}

/* Where the library itself gives the same bits, this processor has no other way, or it is another library. */
static void skip_unless_processors_differ(void)
{
  if (!is_same_sum("libm")) return;
  print_message("the mathematics library gives the same bits either way here: nothing to compare\n");
  skip();
}

/* Tests ------------------------------------------------------------------------------------------------------------------- */

static void elementary_functions_are_the_same_bits(void **state)
{
  (void)state;
  assert_true(is_same_sum("elementary"));
}

static void draws_of_the_noise_are_the_same_bits(void **state)
{
  (void)state;
  skip_unless_processors_differ();
  assert_true(is_same_sum("draws"));
}

/* A command that leaves $OUT and what it says; twice, and the bytes held together. */
static void expect_same_bytes(const char *command)
{
  char line[3072];
  snprintf(line, sizeof line,
           "OUT=$T/new.csv; { %s; } > $T/new.txt 2>&1; echo code $? >> $T/new.txt; "
           "OUT=$T/old.csv; export %s; { %s; } > $T/old.txt 2>&1; echo code $? >> $T/old.txt; unset GLIBC_TUNABLES; "
           "test -s $T/new.csv && cmp $T/new.csv $T/old.csv && sed -i s/old[.]csv/new.csv/g $T/old.txt && "
           "cmp $T/new.txt $T/old.txt",
           command, OLDER, command);
  const struct said *said = shell_run(line);
  if (said->code != 0) fail_msg("%s\nsays: %s", command, said->text);
}

static void traces_of_all_shipped_scenarios_are_the_same_bytes(void **state)
{
  (void)state;
  skip_unless_processors_differ();
  expect_same_bytes("for s in scenarios/*.yaml; do $SHIFTBAND run -q -o $T/one.csv $s && cat $T/one.csv; done > $OUT");
}

static void maps_are_the_same_bytes(void **state)
{
  (void)state;
  skip_unless_processors_differ();
  expect_same_bytes("$SHIFTBAND map -q -o $OUT scenarios/tray-cart.yaml");
  expect_same_bytes("$SHIFTBAND map -q -o $OUT --downshift 40..60 --upshift 70..95 scenarios/well-winch.yaml");
  expect_same_bytes("$SHIFTBAND map -q -o $OUT --samples 20 scenarios/tray-cart.yaml");
}

/* The stiffness of a tube and its swing, through whatever makes it out of the measures. */
static void a_hollow_shaft_of_any_measures_is_the_same_bytes(void **state)
{
  (void)state;
  skip_unless_processors_differ();
  expect_same_bytes("for d in 1.1 1.7 2.3 2.9 3.7 4.3 4.9 5.3 5.9 6.1 6.7 7.1; do "
                    "$SHIFTBAND run -q -o $T/one.csv --set gearbox.output_shaft.inner_diameter=\"$d mm\" "
                    "tests/good/output-shaft.yaml && cat $T/one.csv; done > $OUT");
}

/* A wave that resists, with a breakaway torque: its corners lie where the sine crosses that, and the arc sine of
 * (0.4452 - 0.5) / 0.3 and of (0.5128 - 0.5) / 0.3 differ between processors in glibc 2.36 (two of 6000 tried). */
static void a_wave_with_a_breakaway_torque_is_the_same_bytes(void **state)
{
  (void)state;
  skip_unless_processors_differ();
  expect_same_bytes("for b in 0.37 0.4452 0.5128 0.61 0.73; do "
                    "for o in \"over: time, period: 0.7 s\" \"over: turns, period: 0.37 turn\"; do "
                    "$SHIFTBAND run -q -o $T/one.csv --set load.parts=\"[{kind: sine, manner: resists, $o, "
                    "mean: 0.5 N.m, amplitude: 0.3 N.m, breakaway: $b N.m}]\" "
                    "tests/good/output-shaft.yaml && cat $T/one.csv; done; done > $OUT");
}

int main(int argc, char **argv)
{
  if (argc > 1) return print_sum(argv[1]);
  static char absolute[512];
  snprintf(absolute, sizeof absolute, "%s%s%s", argv[0][0] == '/' ? "" : SB_SOURCE_DIR, argv[0][0] == '/' ? "" : "/",
           argv[0]);
  own_path = absolute;
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(elementary_functions_are_the_same_bits),
      cmocka_unit_test(draws_of_the_noise_are_the_same_bits),
      cmocka_unit_test(traces_of_all_shipped_scenarios_are_the_same_bytes),
      cmocka_unit_test(maps_are_the_same_bytes),
      cmocka_unit_test(a_hollow_shaft_of_any_measures_is_the_same_bytes),
      cmocka_unit_test(a_wave_with_a_breakaway_torque_is_the_same_bytes),
  };
  return cmocka_run_group_tests_name("same bits", tests, shell_setup, shell_teardown);
}
