// SPDX-License-Identifier: GPL-3.0-or-later
/* The map command as a user meets it: pictures, files, long work that is interrupted, killed, resumed and divided. */
#define _XOPEN_SOURCE 700 /* posix_openpt */

#include <fcntl.h>
#include <math.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

static void run_well(const char *command)
{
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("exit code %d of %s:\n%s", said->code, command, said->text);
}

static void map_of_the_tray_cart_shows_its_plane_and_how_far_failures_are(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "thresholds between slow and fast, exact in steps of 0.1 %");
  shell_expect(said, "\n  upshift threshold, %\n");
  shell_expect(said, " downshift threshold, %\n");
  shell_expect(said, "  .  passes ");
  shell_expect(said, "  K  stuck low ");
  shell_expect(said, "  @  the scenario's own: downshift 50 %, upshift 78 %");
  shell_expect(said, "At the scenario's own thresholds, downshift 50 % and upshift 78 %:\n  passes\n");
  shell_expect(said, "first failure");
  shell_expect(said, "upshift higher");
  shell_expect(said, ": stuck low");
  said = shell_run("$SHIFTBAND map scenarios/hunting-crawler.yaml");
  shell_expect(said, "downshift 65 % and upshift 75 %:\n  hunting (threshold-driven)\n");
  shell_expect(said, "first that passes");
  said = shell_run("$SHIFTBAND map scenarios/well-winch.yaml");
  shell_expect(said, "Caution: this load acts by itself");
}

/* What the text says about `upshift_above` is what single runs say on both sides of it. */
static void first_failure_in_the_text_is_where_runs_begin_to_fail(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map scenarios/tray-cart.yaml | grep 'upshift higher'");
  const double fails_at = shell_figure(said, " at ");
  assert_true(fails_at > 78.0);
  char command[256];
  for (int step = -1; step <= 0; step++) {
    snprintf(command, sizeof command,
             "$SHIFTBAND run --fail-on any --set controller.upshift_above='%.6g %%' scenarios/tray-cart.yaml",
             fails_at + 0.1 * step);
    assert_int_equal(shell_run(command)->code, step < 0 ? 0 : 1);
  }
}

static void no_line_is_wider_than_eighty_columns_anywhere(void **state)
{
  (void)state;
  if (IS_SLOW) skip();
  const struct said *said = shell_run(
      "for f in tray-cart hunting-crawler hunting-crawler-fixed well-winch three-speed-feeder stop-and-go; do "
      "$SHIFTBAND map --set controller.threshold_step='4 %' scenarios/$f.yaml | sed '/^Caution/,$d'; "
      "$SHIFTBAND map --vary dwell='0.3..3 s' --points 9 scenarios/$f.yaml; done > $T/wide; "
      "$SHIFTBAND map --pair 2 --downshift 40..60 --upshift 70..80 scenarios/three-speed-feeder.yaml >> $T/wide; "
      "$SHIFTBAND map --samples 9 scenarios/tray-cart.yaml >> $T/wide; "
      "$SHIFTBAND map --samples 9 --vary dwell='0.3..3 s' --points 9 scenarios/tray-cart.yaml >> $T/wide; "
      "$SHIFTBAND map --vary dwell='0.3..3 s' --vary drive=80..100% --vary load.inertia='0.002..0.004 kg.m2' "
      "--points 4 scenarios/tray-cart.yaml >> $T/wide; "
      "$SHIFTBAND map --discharge 3 --set controller.threshold_step='4 %' scenarios/tired-winder.yaml >> $T/wide; "
      "$SHIFTBAND map --vary dwell='0.3..3 s' --vary upshift_above='60..90 %' --points 70 --set run.duration='2 s' "
      "scenarios/tray-cart.yaml >> $T/wide; wc -l < $T/wide; awk 'length > 80' $T/wide");
  const char *rest = strchr(said->text, '\n');
  assert_true(strtol(said->text, NULL, 10) > 250);
  assert_string_equal(rest, "\n");
}

static void pairs_are_named_or_numbered(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map --pair second/third --set controller.threshold_step='2 %' -o $T/p1.csv "
           "scenarios/three-speed-feeder.yaml > $T/p1.txt && "
           "$SHIFTBAND map --pair 2 --set controller.threshold_step='2 %' -o $T/p2.csv "
           "scenarios/three-speed-feeder.yaml > $T/p2.txt && "
           "cmp $T/p1.csv $T/p2.csv && cmp $T/p1.txt $T/p2.txt && grep -q 'between second and third' $T/p1.txt");
  const struct said *said = shell_run("$SHIFTBAND map --pair third/second scenarios/three-speed-feeder.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "no pair \"third/second\"; the first is first/second");
  assert_int_equal(shell_run("$SHIFTBAND map --pair 3 scenarios/three-speed-feeder.yaml")->code, 2);
}

static void ranges_cut_the_plane_to_lattice_points_inside(void **state)
{
  (void)state;
  run_well(
      "$SHIFTBAND map --downshift 60.04..70 --upshift '65..80.06 %' -o $T/r.csv scenarios/hunting-crawler.yaml > $T/r.txt");
  const struct said *said = shell_run("cut -d, -f1-4 $T/r.csv | tail -n +2 | tr , '\\n' | sort -n | sed -n '1p;$p'; "
                                      "grep 'share of the plane' $T/r.txt");
  shell_expect(said, "60.1\n80\n");
  shell_expect(said, "downshift 60.1..70 %, upshift 65..80 %");
  said = shell_run("$SHIFTBAND map --set controller.threshold_step='0.5 %' -o - scenarios/hunting-crawler.yaml "
                   "2>$T/words | cut -d, -f1-4 | tail -n +2 | tr , '\\n' | grep -vc '^[0-9]*\\(\\.5\\)\\?$'");
  assert_string_equal(said->text, "0\n");
  shell_expect(shell_run("cat $T/words"), "exact in steps of 0.5 %");
}

static void csv_limits_and_json_carry_the_same_facts(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map -o $T/m.csv --limits $T/l.csv --json scenarios/tray-cart.yaml > $T/m.json");
  const struct said *said = shell_run("head -n 1 $T/m.csv $T/l.csv; cut -d, -f1 $T/l.csv | sort | uniq -c");
  shell_expect(
      said,
      "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,verdict,cause,all_verdicts,shifts,output_turns,"
      "given_j,greatest_torque_nm\n");
  shell_expect(said, "limit,downshift_below_pct,upshift_above_pct\n");
  shell_expect(said, "2 needless downshift");
  shell_expect(said, "2 stuck low");
  if (shell_run("command -v python3")->code != 0) skip();
  said = shell_run(
      "python3 -c '\n"
      "import csv, json, sys\n"
      "rows = list(csv.DictReader(open(sys.argv[1])))\n"
      "facts = json.load(open(sys.argv[2]))\n"
      "own = facts[\"own\"]\n"
      "at = [r for r in rows if float(r[\"downshift_from_pct\"]) <= 50 <= float(r[\"downshift_to_pct\"])\n"
      "      and float(r[\"upshift_from_pct\"]) <= 78 <= float(r[\"upshift_to_pct\"])]\n"
      "print(len(at), at[0][\"verdict\"] == (own[\"verdicts\"][0][\"kind\"] if own[\"verdicts\"] else \"passes\"), float(at[0][\"given_j\"]) == own[\"given_j\"],\n"
      "      len(own[\"margins\"]), abs(sum(s[\"share\"] for s in facts[\"share_of_plane\"]) - 1) < 1e-12,\n"
      "      facts[\"rectangles\"] >= len(rows))\n"
      "' $T/m.csv $T/m.json");
  assert_string_equal(said->text, "1 True True 4 True True\n");
}

static void wrong_options_are_refused_with_the_reason(void **state)
{
  (void)state;
  static const char *const cases[][2] = {
      {"", "needs a scenario file"},
      {"a.yaml b.yaml", "more than one file needs --join: a map is of one scenario"},
      {"--samples 0 scenarios/tray-cart.yaml", "--samples needs a whole number"},
      {"--samples 1e3 scenarios/tray-cart.yaml", "--samples needs a whole number"},
      {"--vary a=1..2 scenarios/tray-cart.yaml", "no number \"a\""},
      {"--points 3 scenarios/tray-cart.yaml", "--points needs --vary PATH=FROM..TO or --controller"},
      {"--vary dwell=1..2s --downshift 1..2 scenarios/tray-cart.yaml", "--vary and --downshift exclude each other: "},
      {"--vary dwell scenarios/tray-cart.yaml", "PATH=FROM..TO"},
      {"--vary dwel='1..2 s' scenarios/tray-cart.yaml", "nearest is controller.dwell"},
      {"--samples 3 --limits x.csv scenarios/tray-cart.yaml",
       "--limits and --samples exclude each other: they are closed forms of one machine"},
      {"--samples 3 --vary dwell=1..2s --limits x.csv scenarios/tray-cart.yaml", "closed forms of one machine"},
      {"--discharge 3 --limits x.csv scenarios/tired-winder.yaml", "shiftband check --discharge"},
      {"--resume -o x.csv scenarios/tray-cart.yaml", "one piece of work"},
      {"--shard 1/2 -o x.csv scenarios/tray-cart.yaml", "one piece of work"},
      {"--samples 3 --resume scenarios/tray-cart.yaml", "--resume needs -o"},
      {"--samples 3 --shard 1/2 scenarios/tray-cart.yaml", "--shard needs -o"},
      {"--samples 3 --shard 1/2 -o - scenarios/tray-cart.yaml", "--shard and -o - exclude each other"},
      {"--samples 3 --shard 3/2 -o x scenarios/tray-cart.yaml", "--shard needs K/N"},
      {"--samples 3 --shard 0/2 -o x scenarios/tray-cart.yaml", "--shard needs K/N"},
      {"--samples 3 --shard 2 -o x scenarios/tray-cart.yaml", "--shard needs K/N"},
      {"--samples 3 --jobs 0 scenarios/tray-cart.yaml", "--jobs needs a whole number"},
      {"--json -o - scenarios/tray-cart.yaml", "both use standard output"},
      {"--downshift 5..4 scenarios/tray-cart.yaml", "runs backwards"},
      {"--downshift x scenarios/tray-cart.yaml", "no range"},
      {"--upshift 50.01..50.05 scenarios/tray-cart.yaml", "contains no threshold"},
      {"--downshift 100..110 scenarios/tray-cart.yaml", "below 100 %"},
      {"--downshift 60..70 --upshift 40..50 scenarios/tray-cart.yaml", "no pair with downshift below upshift"},
      {"--join", "needs a scenario file, or with --join shards"},
      {"--join x --samples 3", "exclude each other: the shards know the rest"},
      {"--joim x", "did you mean --join"},
  };
  for (size_t k = 0; k < sizeof cases / sizeof cases[0]; k++) {
    char command[256];
    snprintf(command, sizeof command, "$SHIFTBAND map %s", cases[k][0]);
    const struct said *said = shell_run(command);
    if (said->code != 2 || strstr(said->text, cases[k][1]) == NULL) {
      fail_msg("%s: exit code %d, wanted \"%s\" in:\n%s", command, said->code, cases[k][1], said->text);
    }
  }
}

static void scenarios_without_pairs_or_tolerances_are_told(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map tests/good/least.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said, "two gears or more");
  said = shell_run("$SHIFTBAND map --samples 3 scenarios/hunting-crawler.yaml");
  assert_int_equal(said->code, 3);
  shell_expect(said, "needs tolerances");
  said = shell_run("$SHIFTBAND map --samples 3 --set controller.threshold_step='0.01 %' scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "coarser controller.threshold_step");
}

static void grid_rows_are_what_run_says_with_the_same_values(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map --vary dwell='0.2..1.4 s' --points 5 -o $T/v.csv scenarios/hunting-crawler.yaml > $T/v.txt");
  for (int k = 0; k < 5; k++) {
    char command[512];
    snprintf(command, sizeof command, "sed -n %dp $T/v.csv", k + 2);
    const struct said *said = shell_run(command);
    char row[512], *at = row;
    snprintf(row, sizeof row, "%.500s", said->text);
    double fields[9];
    for (int f = 0; f < 9; f++, at++) {
      fields[f] = strtod(at, NULL);
      at += strcspn(at, ",");
    }
    assert_near(fields[0], 0.2 + 0.3 * k, 1e-12);
    snprintf(command, sizeof command,
             "$SHIFTBAND run --json --set controller.dwell='%.12g s' scenarios/hunting-crawler.yaml", fields[0]);
    said = shell_run(command);
    assert_true(fields[5] == shell_figure(said, "\"output_turns\":"));
    assert_true(fields[6] == shell_figure(said, "\"given\":"));
    assert_true(fields[7] == fabs(shell_figure(said, "\"output_torque\":{\"torque_nm\":")));
    assert_true(fields[8] == shell_figure(said, "\"standstill_s\":"));
  }
  shell_expect(shell_run("head -n 1 $T/v.csv"), "controller.dwell (s),verdict,cause,all_verdicts,shifts,output_turns,"
                                                "given_j,greatest_torque_nm,standstill_s\n");
}

static void refused_points_are_drawn_counted_and_explained(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND map --vary downshift_below='70..86 %' --points 5 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "|..xxx\n");
  shell_expect(said, "x  refused: no valid scenario         3\n");
  static const char why[] = "controller.upshift_above: needs more than downshift_below (78 %), found 78 %";
  shell_expect(
      said, "Refused are 3 of 5 points, which are no valid scenario:\n  3, the first at controller.downshift_below 78 "
            "%: scenarios/tray-cart.yaml:36:18: ");
  shell_expect(said, why);
  said = shell_run("$SHIFTBAND map --json --vary downshift_below='70..86 %' --points 5 scenarios/tray-cart.yaml 2>&1 "
                   ">$T/refused.json; tail -c 250 $T/refused.json");
  shell_expect(said,
               "shiftband map: warning: 3 of 5 points are no valid scenario; the first, controller.downshift_below 78 "
               "%: scenarios/tray-cart.yaml:36:18: controller.upshift_above: needs more");
  shell_expect(said,
               "\"refusals\":[{\"count\":3,\"first_at\":\"controller.downshift_below 78 %\",\"text\":\"scenarios/");
  shell_expect_not(shell_run("$SHIFTBAND map --json --vary dwell='1..2 s' --points 2 scenarios/tray-cart.yaml"),
                   "warning");
}

/* Reasons that differ in more than numbers stand each for itself; samples count one by one, shards bring theirs along. */
static void refusals_are_told_by_their_reasons(void **state)
{
  (void)state;
  static const char study[] = "--samples 2 --vary downshift_below='70..86 %' --vary debounce_samples=1..300 --points 2 "
                              "scenarios/tray-cart.yaml";
  char command[1024];
  snprintf(command, sizeof command,
           "$SHIFTBAND map %s > $T/whole; for k in 1 2; do $SHIFTBAND map --shard $k/2 -o $T/s$k %s || exit; done; "
           "$SHIFTBAND map --join $T/s1 $T/s2 | cmp - $T/whole && cat $T/whole",
           study, study);
  const struct said *said = shell_run(command);
  assert_int_equal(said->code, 0);
  shell_expect(said, "Refused are 6 of 8 samples, which are no valid scenario and count as failing:");
  shell_expect(said, "  4, the first at controller.downshift_below 86 %, controller.debounce_samples 1, sample 1: ");
  shell_expect(said, "needs more than downshift_below (86 %), found 78 %");
  shell_expect(said, "  2, the first at controller.downshift_below 70 %, controller.debounce_samples 300, sample 1: ");
  shell_expect(said, "needs a whole number at least 1, at most 255, found \"300\"");
}

/* A percentage alone and a section have the same limit, by either name. */
static void the_limit_of_the_drive_goes_by_both_names(void **state)
{
  (void)state;
  assert_int_equal(shell_run("for k in drive drive.limit; do $SHIFTBAND map --vary $k=80..100% --points 3 -o $T/$k.csv "
                             "scenarios/tray-cart.yaml > $T/words || exit; done; grep -q '^80,[^r]' $T/drive.csv && "
                             "cmp $T/drive.csv $T/drive.limit.csv")
                       ->code,
                   0);
  const struct said *said = shell_run("$SHIFTBAND map --vary drive=80..100% --points 2 scenarios/dough-drum.yaml");
  assert_int_equal(said->code, 0);
  shell_expect(said, "drive.limit, %");
}

/* The sorts of long work, small enough for a test: their options, after `map`. */
static const char samples_study[] = "--samples 12 --downshift 40..60 --upshift 60..100 scenarios/tray-cart.yaml";
static const char grid_study[] =
    "--vary dwell=0.2..3s --vary upshift_above=60..90% --points 6 scenarios/tray-cart.yaml";
static const char samples_over_key_study[] = "--samples 7 --vary dwell=0.2..3s --points 5 scenarios/tray-cart.yaml";
static const char three_keys_study[] =
    "--vary dwell=0.2..3s --vary upshift_above=60..90% --vary drive=80..100% --points 3 scenarios/tray-cart.yaml";
static const char charges_study[] = "--discharge 3 --set controller.threshold_step='5 %' scenarios/tired-winder.yaml";
static const char samples_over_charges_study[] =
    "--discharge 3 --samples 4 --set controller.threshold_step='5 %' --set tolerances.motor.stall_torque='10 %' "
    "scenarios/tired-winder.yaml";
static const char samples_over_both_study[] =
    "--discharge 2 --samples 3 --vary dwell=0.2..3s --points 2 --set tolerances.motor.stall_torque='10 %' "
    "scenarios/tired-winder.yaml";
/* Half of what passes never shifts. */
static const char never_shifting_study[] =
    "--samples 4 --seed 1 --set controller.threshold_step='4 %' --set tolerances.motor.stall_torque='15 %' "
    "scenarios/well-winch.yaml";
static const char *const studies[] = {samples_study,           grid_study,          samples_over_key_study,
                                      three_keys_study,        charges_study,       samples_over_charges_study,
                                      samples_over_both_study, never_shifting_study};
enum { STUDY_COUNT = sizeof studies / sizeof studies[0] };

static void result_does_not_depend_on_the_number_of_threads(void **state)
{
  (void)state;
  for (int k = 0; k < STUDY_COUNT; k += IS_SLOW ? 3 : 1) {
    char command[2048];
    snprintf(command, sizeof command,
             "for j in 1 2 3; do $SHIFTBAND map --jobs $j -o $T/j$j.csv %s > $T/j$j.txt || exit 9; done; "
             "$SHIFTBAND map -o $T/j4.csv %s > $T/j4.txt && "
             "for j in 2 3 4; do cmp $T/j1.csv $T/j$j.csv && cmp $T/j1.txt $T/j$j.txt || exit 9; done; "
             "test -s $T/j1.csv && test ! -e $T/j1.csv.part",
             studies[k], studies[k]);
    run_well(command);
  }
}

static void joined_shards_equal_the_whole_byte_for_byte(void **state)
{
  (void)state;
  for (int k = 0; k < STUDY_COUNT; k++) {
    char command[2048];
    snprintf(command, sizeof command,
             "for s in 1 2 3; do $SHIFTBAND map --shard $s/3 -o $T/shard$s %s || exit 9; done; "
             "$SHIFTBAND map -o $T/whole.csv %s > $T/whole.txt && "
             "$SHIFTBAND map --join $T/shard3 $T/shard1 $T/shard2 -o $T/joined.csv > $T/joined.txt && "
             "cmp $T/whole.csv $T/joined.csv && cmp $T/whole.txt $T/joined.txt && "
             "$SHIFTBAND map --json %s > $T/whole.json && "
             "$SHIFTBAND map --join $T/shard3 $T/shard1 $T/shard2 --json > $T/joined.json && "
             "cmp $T/whole.json $T/joined.json",
             studies[k], studies[k], studies[k]);
    run_well(command);
    assert_string_equal(shell_run("ls $T | grep part")->text, "");
  }
}

/* A shard is a journal in order: torn in its last record, it is what a killed command leaves behind. */
static void every_sort_of_study_resumes_to_the_same_bytes(void **state)
{
  (void)state;
  for (int k = 0; k < STUDY_COUNT; k++) {
    char command[2048];
    snprintf(command, sizeof command,
             "$SHIFTBAND map --shard 1/2 -o $T/kept %s && head -c -40 $T/kept > $T/torn.part && "
             "$SHIFTBAND map --shard 1/2 --resume -o $T/torn %s && cmp $T/kept $T/torn && test ! -e $T/torn.part",
             studies[k], studies[k]);
    run_well(command);
  }
}

/* A map as $T/n.txt, $T/n.csv and $T/n.json. */
static void write_all_forms(const char *arguments)
{
  char command[1024];
  snprintf(command, sizeof command, "$SHIFTBAND map -o $T/n.csv %s > $T/n.txt && $SHIFTBAND map --json %s > $T/n.json",
           arguments, arguments);
  run_well(command);
}

/* The class in all that is written: picture, legend, shares, column, members, and never in the answer. */
static void what_never_shifts_in_all_samples_is_a_class_of_its_own(void **state)
{
  (void)state;
  char command[1024];
  write_all_forms(never_shifting_study);
  const struct said *said = shell_run("cat $T/n.txt");
  shell_expect(said, "+FFF...");
  shell_expect(said, "\n  F  all of them, but none ever shifts\n");
  const double shifting = shell_figure(said, "\nIn ");
  shell_expect(said, "% of the plane all samples pass and some of them shift, in ");
  /* The table has the same shares, of as many points as its rectangles hold above the diagonal, in steps of 4 %. */
  said = shell_run("awk -F, 'NR > 1 { for (d = $1; d <= $2; d += 4) for (u = $3; u <= $4; u += 4) if (u > d) { n++; "
                   "if ($5 == $6) { if ($9 == $6) f++; else p++ } } } END { print f / n, 100 * p / n }' $T/n.csv");
  double never = 0.0, some = 0.0;
  assert_int_equal(sscanf(said->text, "%lf %lf", &never, &some), 2);
  assert_true(never > 0.2 && some > 5.0);
  assert_near(some, shifting, 0.05);
  said = shell_run("cat $T/n.json");
  assert_near(shell_figure(said, "\"never_shifts_share\":"), never, 1e-5);
  const char *best = strstr(said->text, "\"best\":");
  assert_non_null(best);
  assert_non_null(strstr(best, "\"passed\":4,"));
  assert_true(strtol(strstr(best, "\"never_shift\":") + 14, NULL, 10) < 4);
  /* A run at the answer shifts. */
  const double downshift_pct = strtod(strstr(best, "below_pct\":") + 11, NULL),
               upshift_pct = strtod(strstr(best, "above_pct\":") + 11, NULL);
  snprintf(command, sizeof command,
           "$SHIFTBAND run --json --set controller.downshift_below='%g %%' --set controller.upshift_above='%g %%' "
           "scenarios/well-winch.yaml",
           downshift_pct, upshift_pct);
  shell_expect(shell_run(command), "\"shifts\":[{\"");
}

/* Thresholds at which nothing that passes shifts: there is no answer, and it is said. */
static void where_no_sample_that_shifts_passes_there_is_no_answer(void **state)
{
  (void)state;
  char command[512];
  snprintf(command, sizeof command, "$SHIFTBAND map --downshift 4..12 --upshift 40..60 %s", never_shifting_study);
  const struct said *said = shell_run(command);
  assert_int_equal(said->code, 0);
  shell_expect(said,
               "In 0.0 % of the plane all samples pass and some of them shift, in 100.0 % all pass and none ever");
  shell_expect(said, "At no pair of thresholds does a sample pass that shifts.");
  shell_expect_not(said, "Most samples");
  snprintf(command, sizeof command, "$SHIFTBAND map --json --downshift 4..12 --upshift 40..60 %s",
           never_shifting_study);
  said = shell_run(command);
  shell_expect(said, "\"best\":{\"downshift_below_pct\":null,\"upshift_above_pct\":null,\"passed\":0,");
}

static void points_over_a_key_that_never_shift_are_shown(void **state)
{
  (void)state;
  static const char vary[] = "--vary downshift_below='10..60 %' --points 6 scenarios/well-winch.yaml";
  char command[512];
  write_all_forms(vary);
  const struct said *said = shell_run("cat $T/n.txt");
  shell_expect(said, "|FFF...\n");
  shell_expect(said, "\n  F  never shifts                       3\n");
  shell_expect(shell_run("cut -d, -f1-5 $T/n.csv"), "\n10,never shifts,,passes,0\n");
  shell_expect(shell_run("cat $T/n.json"),
               "{\"values\":[10],\"end\":\"ended\",\"class\":\"never shifts\",\"verdicts\":[],");
  snprintf(command, sizeof command,
           "$SHIFTBAND map --samples 3 --set tolerances.motor.stall_torque='5 %%' -o $T/w.csv %s", vary);
  said = shell_run(command);
  shell_expect(said, "|FFF...\n");
  shell_expect(said, "\n  F  all of them, but none ever shifts\n");
  shell_expect(said, "\n         10       3         3   100.0 %");
  shell_expect(said, "\n         60       3         0   100.0 %");
  shell_expect(shell_run("cat $T/w.csv"), "\n10,3,3,1,0.36840314986403866,3,0,\n");
  said = shell_run("$SHIFTBAND map --vary load.inertia='0.003..0.005 kg.m2' --points 2 tests/good/least.yaml");
  shell_expect(said, "passes");
  shell_expect_not(said, "never shifts");
}

/* What the program kept before it knew the class (tests/data/README.md) is neither joined nor resumed, and it is said. */
static void shards_without_the_class_are_refused(void **state)
{
  (void)state;
  static const char study[] =
      "--samples 2 --downshift 20..30 --upshift 80..90 --set controller.threshold_step=5% --set "
      "tolerances.motor.stall_torque=15% scenarios/well-winch.yaml";
  char command[1024];
  const struct said *said = shell_run("$SHIFTBAND map --join tests/data/old-shard-1 tests/data/old-shard-2");
  assert_int_equal(said->code, 3);
  shell_expect(said, "old-shard-1: no shard of a map, or one that another version of shiftband made");
  snprintf(command, sizeof command,
           "cp tests/data/old-shard-1 $T/old.part && $SHIFTBAND map --resume --shard 1/2 -o $T/old %s", study);
  said = shell_run(command);
  assert_int_equal(said->code, 2);
  shell_expect(said, "old.part belongs to another study");
}

/* The share at each value is that of the runs: 50 samples, each with the value (test_study.c holds them one by one). */
static void samples_beside_a_varied_key_are_a_share_at_each_value(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map --samples 50 --vary controller.dwell='0.2..3 s' --points 8 -o $T/sv.csv "
           "--set tolerances.motor.stall_torque='30 %' scenarios/tray-cart.yaml > $T/sv.txt");
  shell_expect(shell_run("head -n 1 $T/sv.csv"),
               "controller.dwell (s),passed,samples,share,share_least,never_shift,refused,commonest_failure\n");
  const struct said *said = shell_run("tail -n +2 $T/sv.csv | awk -F, '$3 != 50 || $4 != $2 / 50 || $5 >= $4' | wc -l; "
                                      "wc -l < $T/sv.csv");
  assert_string_equal(said->text, "0\n9\n");
  said = shell_run("cat $T/sv.txt");
  shell_expect(said, "at each point a run of each of 50 random samples of the tolerances, seed 1");
  shell_expect(said, "share of 50 samples that passes");
  shell_expect(said, "most fail by");
  said = shell_run("$SHIFTBAND map --samples 50 --vary upshift_above=85..105% --points 6 -o - scenarios/tray-cart.yaml "
                   "2>/dev/null | tail -n +2 | cut -d, -f2 | sort -un | wc -l");
  assert_true(strtol(said->text, NULL, 10) >= 4); /* the higher, the fewer come back up */
}

/* Where three of three pass, the least share is the one of which all three pass once in twenty times: its cube is 1 / 20. */
static void the_least_share_of_samples_stands_in_json_too(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "$SHIFTBAND map --samples 3 --vary controller.dwell=1..1.2s --points 2 --json scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 0);
  assert_near(shell_figure(said, "\"passed\":"), 3.0, 0.0);
  assert_near_rel(shell_figure(said, "\"share_least\":"), cbrt(0.05), 1e-12);
}

static void three_varied_keys_are_rows_for_each_point_and_a_strip_for_each_key(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map --vary dwell='0.2..3 s' --vary upshift_above='60..90 %' --vary drive=80..100% --points 4 "
           "-o $T/v3.csv scenarios/tray-cart.yaml > $T/v3.txt");
  const struct said *said = shell_run("wc -l < $T/v3.csv; sed -n 2p $T/v3.csv | cut -d, -f1-3; tail -n 1 $T/v3.csv | "
                                      "cut -d, -f1-3; cut -d, -f1-3 $T/v3.csv | sort -u | wc -l");
  assert_string_equal(said->text, "65\n0.2,60,80\n3,90,100\n65\n");
  said = shell_run("cat $T/v3.txt");
  shell_expect(said, "\n  controller.dwell, 0.2..3 s\n  |");
  shell_expect(said, "\n  drive, 80..100 %\n  |");
  shell_expect(said, "of 64 points");
  /* One of them, run on its own. */
  said = shell_run("grep '^3,90,100,' $T/v3.csv | cut -d, -f8");
  const double turns = strtod(said->text, NULL);
  said = shell_run("$SHIFTBAND run --json --set controller.dwell='3 s' --set controller.upshift_above='90 %' "
                   "--set drive='100 %' scenarios/tray-cart.yaml");
  assert_true(turns == shell_figure(said, "\"output_turns\":"));
}

static void samples_over_the_discharge_tell_where_all_of_them_pass(void **state)
{
  (void)state;
  char command[1024];
  snprintf(command, sizeof command,
           "$SHIFTBAND map -o $T/ds.csv %s > $T/ds.txt && $SHIFTBAND map --json %s > $T/ds.json",
           samples_over_charges_study, samples_over_charges_study);
  run_well(command);
  shell_expect(
      shell_run("head -n 1 $T/ds.csv"),
      "charge_pct,voltage_v,passed,samples,share,share_least,never_shift,most_passed,most_downshift_pct,"
      "most_upshift_pct,safe_share,never_shifts_share,upshift_least_pct,upshift_greatest_pct,downshift_least_pct,downshift_greatest_pct\n");
  const struct said *said = shell_run("cat $T/ds.txt");
  shell_expect(said, "4 random samples of the tolerances at each charge, seed 1");
  shell_expect(said, "4 of 4");
  shell_expect(said, "\nCaution: lithium cells");
  /* What all samples do, each of them does: the machine as written has at least as much room. */
  snprintf(command, sizeof command, "$SHIFTBAND map -o $T/d.csv %s > $T/d.txt", charges_study);
  run_well(command);
  said = shell_run("paste -d, $T/ds.csv $T/d.csv | sed -n '2,3p' | cut -d, -f11,25");
  double all = 0.0, one = 0.0;
  assert_int_equal(sscanf(said->text, "%lf,%lf", &all, &one), 2);
  assert_true(all > 0.0 && all <= one);
}

/* Beside a varied key the closed forms of each point are what check says there. */
static void limits_beside_a_varied_key_are_the_closed_forms_of_each_point(void **state)
{
  (void)state;
  run_well("$SHIFTBAND map --vary load.inertia='0.004..0.008 kg.m2' --vary upshift_above=70..90% --points 3 "
           "-o $T/vl.csv --limits $T/limits.csv scenarios/tray-cart.yaml > $T/vl.txt && "
           "for s in 1 2; do $SHIFTBAND map --shard $s/2 -o $T/vl$s --limits $T/none.csv --points 3 "
           "--vary load.inertia='0.004..0.008 kg.m2' --vary upshift_above=70..90% scenarios/tray-cart.yaml || exit 9; "
           "done; test ! -e $T/none.csv && "
           "$SHIFTBAND map --join $T/vl2 $T/vl1 --limits $T/joined.csv > $T/joined.txt && "
           "cmp $T/limits.csv $T/joined.csv && cmp $T/vl.txt $T/joined.txt");
  const struct said *said = shell_run("head -n 1 $T/limits.csv; wc -l < $T/limits.csv");
  shell_expect(said, "load.inertia (kg.m2),controller.upshift_above (%),slower,faster,downshift_below_pct,"
                     "upshift_above_pct,least_safe_upshift_pct,");
  shell_expect(said, "\n10\n");
  said = shell_run("grep '^0.006,80,slow,fast,' $T/limits.csv | cut -d, -f11,12,13");
  double downshift_nm = 0.0, upshift_nm = 0.0, dwell_s = 0.0;
  assert_int_equal(sscanf(said->text, "%lf,%lf,%lf", &downshift_nm, &upshift_nm, &dwell_s), 3);
  said = shell_run("$SHIFTBAND check --json --set load.inertia='0.006 kg.m2' --set controller.upshift_above='80 %' "
                   "scenarios/tray-cart.yaml");
  assert_true(downshift_nm == shell_figure(said, "\"downshift_torque_nm\":"));
  assert_true(upshift_nm == shell_figure(said, "\"upshift_torque_nm\":"));
  assert_true(dwell_s == shell_figure(said, "\"shortest_dwell_s\":"));
}

static void what_only_developers_want_is_said_when_asked_for(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map scenarios/tray-cart.yaml");
  assert_null(strstr(said->text, "traces"));
  said = shell_run("$SHIFTBAND map --verbose scenarios/tray-cart.yaml");
  shell_expect(said, "different traces in");
}

static void assert_join_refused(const char *shards, const char *part)
{
  char command[256];
  snprintf(command, sizeof command, "$SHIFTBAND map --join %s -o $T/never.csv", shards);
  const struct said *said = shell_run(command);
  assert_int_equal(said->code, 3);
  shell_expect(said, part);
  assert_int_not_equal(shell_run("test -e $T/never.csv")->code, 0);
}

static void wrong_shards_are_refused_by_name(void **state)
{
  (void)state;
  run_well("for s in 1 2; do $SHIFTBAND map --shard $s/2 -o $T/s$s --vary dwell=1..2s --points 4 "
           "scenarios/tray-cart.yaml; done; "
           "$SHIFTBAND map --shard 2/2 -o $T/other --vary dwell=1..2s --points 4 --set drive='99 %' "
           "scenarios/tray-cart.yaml; head -c -20 $T/s2 > $T/torn; echo hello > $T/hello");
  assert_join_refused("$T/s1", "missing of the study of");
  assert_join_refused("$T/s1 $T/s2 $T/s1", "/s1: shard 1/2 is there twice");
  assert_join_refused("$T/s1 $T/other", "/other is a shard of another study");
  assert_join_refused("$T/s1 $T/torn", "/torn: the shard is damaged");
  assert_join_refused("$T/s1 $T/hello", "/hello: no shard");
  assert_int_equal(shell_run("$SHIFTBAND map --join $T/s1 $T/nowhere")->code, 4);
}

/* Starts `shiftband map` with words split at blanks; standard error goes to $T/err. */
static pid_t start_map(const char *folder, const char *words)
{
  char text[512], *argv[40] = {(char *)(size_t)SB_PROGRAM, (char *)(size_t) "map"};
  int argc = 2;
  snprintf(text, sizeof text, "%s", words);
  for (char *word = strtok(text, " "); word != NULL; word = strtok(NULL, " ")) argv[argc++] = word;
  const pid_t child = fork();
  assert_true(child >= 0);
  if (child > 0) return child;
  char path[256];
  snprintf(path, sizeof path, "%s/err", folder);
  const int err = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600), out = open("/dev/null", O_WRONLY);
  dup2(err, STDERR_FILENO);
  dup2(out, STDOUT_FILENO);
  signal(SIGINT, SIG_DFL);
  if (chdir(SB_SOURCE_DIR) == 0) execv(SB_PROGRAM, argv);
  _exit(99);
}

/* Work of about a second, a few milliseconds a point. */
static const char slow_study[] =
    "--vary dwell=0.2..3s --points 80 --set run.duration=200s scenarios/hunting-crawler.yaml";

/* Starts the slow study and sends a signal once a few points are in its journal. Returns how it ended. */
static int signal_in_the_middle(const char *folder, const char *name, int number)
{
  char words[512], look[256];
  snprintf(words, sizeof words, "--jobs 2 -o %s/%s %s", folder, name, slow_study);
  snprintf(look, sizeof look, "grep -ac '^end$' $T/%s.part 2>/dev/null", name);
  const pid_t child = start_map(folder, words);
  long records = 0;
  for (int k = 0; k < 2000 && records < 5; k++) records = strtol(shell_run(look)->text, NULL, 10);
  kill(child, number);
  int status;
  assert_int_equal(waitpid(child, &status, 0), child);
  assert_true(records >= 5);
  return status;
}

static void take_folder(char folder[128])
{
  snprintf(folder, 128, "%.100s", shell_run("printf %s $T")->text);
}

/* Resumes with other numbers of threads than before, and holds the output against an undisturbed one. */
static void assert_resumes(const char *name)
{
  char command[1024];
  snprintf(command, sizeof command,
           "test -e $T/undisturbed.csv || $SHIFTBAND map -o $T/undisturbed.csv %s > $T/undisturbed.txt; "
           "test ! -e $T/%s && grep -ac '^end$' $T/%s.part && "
           "$SHIFTBAND map --resume --jobs 1 -o $T/%s %s > $T/resumed.txt && cmp $T/%s $T/undisturbed.csv && "
           "cmp $T/resumed.txt $T/undisturbed.txt && test ! -e $T/%s.part",
           slow_study, name, name, name, slow_study, name, name);
  const struct said *said = shell_run(command);
  if (said->code != 0) fail_msg("%s", said->text);
  const long kept = strtol(said->text, NULL, 10);
  assert_in_range(kept, 5, 79);
}

static void killed_map_is_resumed_to_the_same_bytes(void **state)
{
  (void)state;
  char folder[128];
  take_folder(folder);
  const int status = signal_in_the_middle(folder, "killed.csv", SIGKILL);
  assert_true(WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL);
  assert_resumes("killed.csv");
}

static void interrupted_map_keeps_its_work_and_says_how_to_go_on(void **state)
{
  (void)state;
  char folder[128];
  take_folder(folder);
  const int numbers[] = {SIGINT, SIGTERM};
  for (int k = 0; k < 2; k++) {
    const int status = signal_in_the_middle(folder, "cut.csv", numbers[k]);
    assert_true(WIFEXITED(status));
    assert_int_equal(WEXITSTATUS(status), 128 + numbers[k]);
    const struct said *said = shell_run("cat $T/err");
    shell_expect(said, "interrupted: ");
    shell_expect(said, "of 80 points are done and kept in ");
    shell_expect(said, "cut.csv.part; the same command with --resume goes on");
    assert_resumes("cut.csv");
    run_well("rm $T/cut.csv");
  }
}

static void journal_of_other_work_is_refused_or_started_anew_with_a_note(void **state)
{
  (void)state;
  char folder[128];
  take_folder(folder);
  signal_in_the_middle(folder, "left.csv", SIGKILL);
  const struct said *said =
      shell_run("cp $T/left.csv.part $T/before; $SHIFTBAND map --resume -o $T/left.csv --vary dwell=1..2s "
                "scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "left.csv.part belongs to another study");
  run_well("cmp $T/before $T/left.csv.part && test ! -e $T/left.csv");
  said = shell_run("$SHIFTBAND map -o $T/left.csv --vary dwell=1..2s --points 3 scenarios/tray-cart.yaml >/dev/null");
  assert_int_equal(said->code, 0);
  shell_expect(said, "left.csv.part from earlier work is not used (no --resume): started again");
  run_well("test -s $T/left.csv && test ! -e $T/left.csv.part");
  said = shell_run("echo mine > $T/x.csv.part; $SHIFTBAND map -o $T/x.csv --vary dwell=1..2s scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 2);
  shell_expect(said, "exists and is not the journal of a study");
  assert_string_equal(shell_run("cat $T/x.csv.part")->text, "mine\n");
}

static void outputs_appear_whole_or_not_at_all(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map -o /dev/full scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "/dev/full: No space left on device");
  said = shell_run("mkdir $T/half; echo old > $T/half/m.csv; (ulimit -f 16; trap '' XFSZ; "
                   "exec $SHIFTBAND map -o $T/half/m.csv scenarios/tray-cart.yaml)");
  assert_int_equal(said->code, 4);
  shell_expect(said, "m.csv: File too large");
  assert_string_equal(shell_run("cat $T/half/m.csv; ls -A $T/half")->text, "old\nm.csv\n");
  said = shell_run("$SHIFTBAND map -o $T/none/m.csv --samples 3 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "m.csv.part: No such file or directory");
  said = shell_run("$SHIFTBAND map -o $T --samples 3 scenarios/tray-cart.yaml");
  assert_int_equal(said->code, 4);
  shell_expect(said, "Is a directory");
  said = shell_run("$SHIFTBAND map scenarios/tray-cart.yaml > /dev/full");
  assert_int_equal(said->code, 4);
}

/* All that a command writes to a terminal of its own on standard error. */
static void say_to_terminal(int columns, const char *words, char *out, size_t size)
{
  const int terminal = posix_openpt(O_RDWR | O_NOCTTY);
  if (terminal < 0 || grantpt(terminal) != 0 || unlockpt(terminal) != 0) skip(); /* no terminal to be had here */
  char line[1024];
  snprintf(line, sizeof line, "COLUMNS=%d $SHIFTBAND map %s >/dev/null 2>%s", columns, words, ptsname(terminal));
  const int slave = open(ptsname(terminal), O_RDWR | O_NOCTTY); /* keeps what was written until it is read */
  assert_int_equal(shell_run(line)->code, 0);
  fcntl(terminal, F_SETFL, O_NONBLOCK);
  size_t length = 0;
  for (ssize_t got; length + 1 < size && (got = read(terminal, out + length, size - 1 - length)) > 0;) {
    length += (size_t)got;
  }
  out[length] = 0;
  close(slave);
  close(terminal);
}

static void expect_progress(int columns, const char *words, const char *count)
{
  static char shown[65536];
  say_to_terminal(columns, words, shown, sizeof shown);
  assert_non_null(strstr(shown, "points ["));
  assert_non_null(strstr(shown, count));
  assert_non_null(strchr(shown, '#'));
  assert_non_null(strstr(shown, " % "));
  assert_null(strchr(shown, '\n'));
  assert_null(strchr(shown, 27)); /* no control sequences */
  /* Each line is narrower than the terminal, and the last one is blank: cleared. */
  const char *last = "";
  for (const char *part = shown; *part != 0; part += *part == '\r') {
    const size_t length = strcspn(part, "\r");
    assert_true(length < (size_t)columns);
    if (length > 0) last = part;
    part += length;
  }
  assert_int_equal(strspn(last, " "), strcspn(last, "\r"));
}

static void progress_is_one_line_on_a_terminal_and_silence_elsewhere(void **state)
{
  (void)state;
  static char shown[4096];
  const char *study = "--vary dwell=0.2..3s --points 40 --set run.duration=5000s scenarios/hunting-crawler.yaml";
  expect_progress(80, study, "0/40");
  expect_progress(40, study, "0/40");
  /* An exact map counts the points of its plane: 0.1 to 99.9 % below 0.1 to 105.4 %. */
  expect_progress(80, "scenarios/shuttle-wagon.yaml", "/553446");
  say_to_terminal(80, "--quiet --vary dwell=0.2..3s --points 4 scenarios/tray-cart.yaml", shown, sizeof shown);
  assert_string_equal(shown, "");
  say_to_terminal(80, "--quiet scenarios/tray-cart.yaml", shown, sizeof shown);
  assert_string_equal(shown, "");
  const struct said *said =
      shell_run("$SHIFTBAND map --vary dwell=0.2..3s --points 4 scenarios/tray-cart.yaml 2>&1 >/dev/null");
  assert_string_equal(said->text, "");
}

static void help_names_every_option(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND map --help");
  assert_int_equal(said->code, 0);
  static const char *const names[] = {"--output",  "--json",   "--pair",   "--downshift", "--upshift", "--discharge",
                                      "--verbose", "--limits", "--set",    "--samples",   "--seed",    "--vary",
                                      "--points",  "--jobs",   "--resume", "--shard",     "--join"};
  for (size_t k = 0; k < sizeof names / sizeof names[0]; k++) shell_expect(said, names[k]);
  shell_expect(shell_run("$SHIFTBAND --help"), "  map ");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(map_of_the_tray_cart_shows_its_plane_and_how_far_failures_are),
      cmocka_unit_test(first_failure_in_the_text_is_where_runs_begin_to_fail),
      cmocka_unit_test(no_line_is_wider_than_eighty_columns_anywhere),
      cmocka_unit_test(pairs_are_named_or_numbered),
      cmocka_unit_test(ranges_cut_the_plane_to_lattice_points_inside),
      cmocka_unit_test(csv_limits_and_json_carry_the_same_facts),
      cmocka_unit_test(wrong_options_are_refused_with_the_reason),
      cmocka_unit_test(scenarios_without_pairs_or_tolerances_are_told),
      cmocka_unit_test(grid_rows_are_what_run_says_with_the_same_values),
      cmocka_unit_test(refused_points_are_drawn_counted_and_explained),
      cmocka_unit_test(refusals_are_told_by_their_reasons),
      cmocka_unit_test(the_limit_of_the_drive_goes_by_both_names),
      cmocka_unit_test(result_does_not_depend_on_the_number_of_threads),
      cmocka_unit_test(joined_shards_equal_the_whole_byte_for_byte),
      cmocka_unit_test(every_sort_of_study_resumes_to_the_same_bytes),
      cmocka_unit_test(samples_beside_a_varied_key_are_a_share_at_each_value),
      cmocka_unit_test(the_least_share_of_samples_stands_in_json_too),
      cmocka_unit_test(what_never_shifts_in_all_samples_is_a_class_of_its_own),
      cmocka_unit_test(where_no_sample_that_shifts_passes_there_is_no_answer),
      cmocka_unit_test(points_over_a_key_that_never_shift_are_shown),
      cmocka_unit_test(shards_without_the_class_are_refused),
      cmocka_unit_test(three_varied_keys_are_rows_for_each_point_and_a_strip_for_each_key),
      cmocka_unit_test(samples_over_the_discharge_tell_where_all_of_them_pass),
      cmocka_unit_test(limits_beside_a_varied_key_are_the_closed_forms_of_each_point),
      cmocka_unit_test(what_only_developers_want_is_said_when_asked_for),
      cmocka_unit_test(wrong_shards_are_refused_by_name),
      cmocka_unit_test(killed_map_is_resumed_to_the_same_bytes),
      cmocka_unit_test(interrupted_map_keeps_its_work_and_says_how_to_go_on),
      cmocka_unit_test(journal_of_other_work_is_refused_or_started_anew_with_a_note),
      cmocka_unit_test(outputs_appear_whole_or_not_at_all),
      cmocka_unit_test(progress_is_one_line_on_a_terminal_and_silence_elsewhere),
      cmocka_unit_test(help_names_every_option),
  };
  return cmocka_run_group_tests_name("cli_map", tests, shell_setup, shell_teardown);
}
