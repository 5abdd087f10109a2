// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * What comes from somebody else: scenarios that name files elsewhere, devices and pipes in place of files, shards and names with
 * control characters, controllers that take more than they may or leave processes behind.
 */
#include "help/near.h"
#include "help/shell.h"

#include <stdio.h>
#include <string.h>

#include "base/unseen.h"
#include "study/study.h"

/* A scenario whose load is a table at $1, in a folder with a table of its own, beside a private one. */
#define THEIRS                                                                                                             \
  "mkdir -p $T/theirs/sub; printf 'time_s,torque_nm\\n0,0.2\\n10,0.3\\n' | tee $T/private.csv $T/theirs/own.csv >"         \
  " $T/theirs/sub/own.csv; ln -sf ../private.csv $T/theirs/link.csv; ln -sf own.csv $T/theirs/fine.csv;"                   \
  "ln -sfn .. $T/theirs/up;"                                                                                               \
  "names() { sed \"s|^  parts:|  parts:\\n    - {kind: profile, manner: resists, file: $1}|\" scenarios/well-winch.yaml >" \
  " $T/theirs/winch.yaml; };"

static void a_scenario_reads_in_its_own_folder_alone(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      THEIRS
      "for f in own.csv sub/own.csv ./sub/../own.csv fine.csv; do names $f;"
      " $SHIFTBAND check -q $T/theirs/winch.yaml 2>&1; echo $f $?; done;"
      "cd $T/theirs && $SHIFTBAND check -q winch.yaml; echo here $?; $SHIFTBAND check -q - < winch.yaml; echo in $?");
  assert_string_equal(said->text, "own.csv 0\nsub/own.csv 0\n./sub/../own.csv 0\nfine.csv 0\nhere 0\nin 0\n");
}

/* By absolute path, by "..", by a link to a file and to a folder; one that is not there tells no more than one that is. */
static void a_scenario_does_not_read_outside_its_folder(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      THEIRS "for f in $T/private.csv ../private.csv link.csv up/private.csv sub/../../private.csv /etc/hostname"
             " ../absent.csv /absent/x.csv; do names $f; $SHIFTBAND check $T/theirs/winch.yaml > $T/said 2>&1; echo $?"
             " $(grep -c \"it is not in the scenario's folder or below it; --allow-outside lets it be read\" $T/said)"
             " $(wc -l < $T/said); done; cd $T/theirs; $SHIFTBAND check winch.yaml > $T/said 2>&1; echo $?");
  assert_string_equal(said->text, "3 1 1\n3 1 1\n3 1 1\n3 1 1\n3 1 1\n3 1 1\n3 1 1\n3 1 1\n3\n");
}

static void allow_outside_lets_a_trusted_scenario_read(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      THEIRS "for f in $T/private.csv ../private.csv link.csv; do names $f; for c in check run prove emit; do"
             " $SHIFTBAND $c --allow-outside $T/theirs/winch.yaml > $T/said 2>&1 || echo $c $f $?; done; done;"
             "names /dev/zero; $SHIFTBAND check --allow-outside $T/theirs/winch.yaml 2>&1; names ../absent.csv;"
             "$SHIFTBAND check --allow-outside $T/theirs/winch.yaml 2>&1; echo done");
  shell_expect(said, "found none at \"/dev/zero\": it is no file but a device or a pipe\n");
  shell_expect(said, "absent.csv\": No such file or directory\ndone\n");
  assert_null(strstr(said->text, "run "));
}

/* Sections of a motor for `design`. */
static void choices_are_read_in_the_folder_alone(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "cp -r scenarios $T/shop; cp $T/shop/data/motor-light.yaml $T/mine.yaml; $SHIFTBAND check -q $T/shop/mat-roller.yaml 2>&1;"
      "sed -i 's|data/motor-light.yaml|../mine.yaml|' $T/shop/mat-roller.yaml; $SHIFTBAND check -q $T/shop/mat-roller.yaml 2>&1;"
      "echo code $?; $SHIFTBAND check -q --allow-outside $T/shop/mat-roller.yaml 2>&1; echo code $?");
  shell_expect(said, "choices.motor: \"../mine.yaml\": it is not in the scenario's folder or below it");
  shell_expect(said, "code 3\n");
  shell_expect(said, "code 0\n");
}

static void shipped_scenarios_need_no_option(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND check -q scenarios/*.yaml 2>$T/said; echo code $?");
  assert_string_equal(said->text, "code 0\n");
}

/* Each command ends at once; a pipe that nobody writes to would be waited for without end. */
static void devices_and_pipes_are_no_scenarios_and_no_shards(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "mkfifo $T/pipe; for f in /dev/zero /dev/tty /dev/null $T/pipe; do for c in check run map tune prove emit 'map --join'; do"
      " timeout 5 $SHIFTBAND $c $f > $T/out 2> $T/said; echo $? $(grep -c 'it is no file but a device or a pipe' $T/said); done;"
      "done | sort | uniq -c | tr -s ' '");
  assert_string_equal(said->text, " 28 3 1\n");
}

/* 5 GiB of nothing behind the beginning of a shard: told by its size. */
static void a_shard_of_five_gigabytes_is_refused_at_once(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("printf 'shiftband study ' > $T/huge.csv; truncate -s 5G $T/huge.csv || exit; ulimit -v 1000000;"
                "timeout 5 $SHIFTBAND map --join $T/huge.csv; echo code $?; rm $T/huge.csv");
  if (strstr(said->text, "AddressSanitizer") != NULL) skip();
  shell_expect(said, "huge.csv: needs at most 1 GiB");
  shell_expect(said, "code 3\n");
}

/* The text of a study with one number changed. */
static bool reads_axis(const char *from, const char *to)
{
  struct sb_study study = {.form = SB_STUDY_FORM, .kind = SB_STUDY_RUNS, .axis_count = 1}, again;
  struct sb_lines lines = {.text = NULL};
  char text[4096], *at;
  study.axes[0] = (struct sb_axis){.path = "controller.dwell", .unit = "s", .from = 12345, .to = 54321, .points = 3};
  sb_study_write(&lines, &study);
  snprintf(text, sizeof text, "%s", lines.text);
  sb_lines_clear(&lines);
  assert_true(sb_study_read(text, &again));
  for (int k = 0; k < 2; k++) {
    char rest[4096];
    const char *number = k == 0 ? "12345" : "54321";
    assert_non_null(at = strstr(text, number));
    snprintf(rest, sizeof rest, "%s", at + strlen(number));
    snprintf(at, sizeof text - (size_t)(at - text), "%s%s", k == 0 ? from : to, rest);
  }
  return sb_study_read(text, &again);
}

static void a_shard_with_an_axis_without_end_is_refused(void **state)
{
  (void)state;
  assert_true(reads_axis("1", "2"));
  static const char *const numbers[] = {"inf", "-inf", "nan", "1e999", "-1e999", "1e300"};
  for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++) {
    assert_false(reads_axis(numbers[k], "2"));
    assert_false(reads_axis("1", numbers[k]));
    assert_false(reads_axis(numbers[k], numbers[k]));
  }
}

/* A shard whose unit holds an escape sequence, with sums that fit: made by FNV-1a as src/tasks has it. */
static void a_shard_that_holds_control_characters_is_refused(void **state)
{
  (void)state;
  if (shell_run("command -v python3")->code != 0) skip();
  const struct said *said = shell_run(
      "$SHIFTBAND map -q --vary controller.dwell='0.2..1 s' --points 2 --shard 1/2 -o $T/s.csv scenarios/tray-cart.yaml;"
      "cat > $T/forge.py <<'END'\n"
      "import re, struct, sys\n"
      "def fnv(h, data):\n"
      "    for byte in data:\n"
      "        h = ((h ^ byte) * 0x100000001b3) & (2 ** 64 - 1)\n"
      "    return h\n"
      "whole = open(sys.argv[1], 'rb').read()\n"
      "end = whole.index(b'\\n') + 1\n"
      "head = whole[:end].split()\n"
      "identity, tasks, shard, length = int(head[2], 16), int(head[4]), head[6].split(b'/'), int(head[8])\n"
      "about = whole[end:end + length]\n"
      "if len(sys.argv) > 2:\n"
      "    about = about.replace(b'controller.dwell', b'controller.\\x1b[31m')\n"
      "h = fnv(identity, struct.pack('<q', tasks))\n"
      "h = fnv(fnv(h, struct.pack('<q', int(shard[0]))), struct.pack('<q', int(shard[1])))\n"
      "h = fnv(h, about)\n"
      "line = b'shiftband study %016x tasks %d shard %s about %d %016x\\n' % (identity, tasks, head[6], len(about), h)\n"
      "sys.stdout.buffer.write(line + about + whole[end + length:])\n"
      "END\n"
      "python3 $T/forge.py $T/s.csv > $T/same.csv; cmp $T/s.csv $T/same.csv && echo same;"
      "python3 $T/forge.py $T/s.csv x > $T/forged.csv; $SHIFTBAND map --join $T/forged.csv; echo code $?");
  shell_expect(said, "same\n");
  shell_expect(said, "forged.csv: the shard is damaged in its header\n");
  shell_expect(said, "code 3\n");
  assert_null(strchr(said->text, 0x1b));
}

/* C0, C1, a mark of direction, and a byte that is no UTF-8; letters of other alphabets stay. */
static void what_others_wrote_is_shown_without_effect(void **state)
{
  (void)state;
  char shown[SB_UNSEEN_SHOWN_SIZE], small[8];
  assert_string_equal(sb_unseen_show("a\x1b[1m \xc2\x9b \xe2\x80\xae \xff \xc3\xa9 \xd0\x96\n", shown, sizeof shown),
                      "a\\x1b[1m \\xc2\\x9b \\xe2\\x80\\xae \\xff \xc3\xa9 \xd0\x96\n");
  assert_string_equal(sb_unseen_show("abcde\xc3\xa9\xc3\xa9", small, sizeof small), "abcde\xc3\xa9");
  assert_string_equal(sb_unseen_show("abcd\x1b", small, sizeof small), "abcd");
  assert_string_equal(sb_unseen_show("\xc3", shown, sizeof shown), "\\xc3");
}

static void names_of_files_hold_no_control_characters(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for c in '\\033[31m' '\\302\\233' '\\342\\200\\256' '\\n'; do n=\"$T/a$(printf \"$c.\")yaml\"; cp scenarios/tray-cart.yaml"
      " \"$n\"; for o in 'check' 'emit' 'run -q scenarios/tray-cart.yaml -o' 'map --join'; do $SHIFTBAND $o \"$n\" > $T/said 2>&1; echo $?"
      " $(grep -c 'the name of a file must not hold control characters, found' $T/said)"
      " $(LC_ALL=C tr -d '\\n' < $T/said | LC_ALL=C grep -c \"$(printf '[\\001-\\010\\033\\233]')\"); done; done |"
      " sort | uniq -c | tr -s ' '");
  assert_string_equal(said->text, " 16 2 1 0\n");
  said = shell_run("$SHIFTBAND check \"$T/no$(printf '\\377')such.yaml\"; $SHIFTBAND \"$(printf '\\033[1m')\"");
  shell_expect(said, "no\\xffsuch.yaml: No such file");
  shell_expect(said, "no command \\x1b[1m");
  assert_null(strchr(said->text, 0x1b));
}

static void last_words_of_a_controller_are_shown_without_effect(void **state)
{
  (void)state;
  const struct said *said =
      shell_run("$SHIFTBAND run -q --controller-command \"printf '! \\033[31m\\302\\233\\342\\200\\256no\\n';"
                " sleep 5\" scenarios/tray-cart.yaml; echo code $?");
  shell_expect(said, "gave up: \\x1b[31m\\xc2\\x9b\\xe2\\x80\\xaeno\ncode 6\n");
  assert_null(strchr(said->text, 0x1b));
}

#define CONTROLLER "sh tools/external/controller.sh"

/* In the background, in another session, twice removed, and with the signals ignored that could end it. */
static void what_a_controller_leaves_behind_is_ended(void **state)
{
  (void)state;
  if (shell_run("command -v setsid")->code != 0) skip();
  const struct said *said = shell_run(
      "leave() { $SHIFTBAND run -q --controller-command \"$1; exec " CONTROLLER
      "\" scenarios/tray-cart.yaml; echo $?; };"
      "S=\"sleep 71$$\"; leave \"{ $S > /dev/null 2>&1 & }\"; leave \"{ setsid $S > /dev/null 2>&1 & }\";"
      "leave \"(setsid sh -c 'trap \\\"\\\" HUP TERM; $S & setsid $S & wait' > /dev/null 2>&1 &)\";"
      "$SHIFTBAND map -q --jobs 2 --points 5 --downshift 40..60 --upshift 70..90 -o $T/m.csv --controller-command"
      " \"(setsid $S > /dev/null 2>&1 &); exec " CONTROLLER "\" scenarios/tray-cart.yaml > $T/out; echo $?;"
      "ps -eo args | grep -c \"^$S\"");
  assert_string_equal(said->text, "0\n0\n0\n0\n0\n");
}

/* The limits that the controller itself sees, and that they hold: a file of more, memory of more. */
static void a_controller_has_limits(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "try() { $SHIFTBAND run -q --controller-command \"$1; exec " CONTROLLER
      "\" scenarios/tray-cart.yaml; echo code $?; };"
      "try \"ulimit -t > $T/u; ulimit -f >> $T/u; ulimit -n >> $T/u; ulimit -d >> $T/u; ulimit -c >> $T/u; ulimit -H -t >> $T/u\";"
      "echo $(cat $T/u); try \"{ head -c 70000000 /dev/zero > $T/big; true; } 2> $T/said\"; wc -c < $T/big; rm $T/big;"
      "try \"awk 'BEGIN { x = sprintf(\\\"%1000000s\\\", 1); while (1) y[++n] = x n }' < /dev/null > /dev/null 2>&1;"
      " echo ended > $T/memory\"; cat $T/memory; ulimit -t 50; try \"ulimit -t > $T/u\"; cat $T/u");
  assert_string_equal(said->text, "code 0\n600 131072 256 2097152 0 600\ncode 0\n67108864\n" /* 64 MiB */
                                  "code 0\nended\ncode 0\n50\n");
}

/* The same of a shared object. */
static void a_shared_object_has_limits(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "cat > $T/see.c <<'END'\n"
      "#include <stdio.h>\n#include <sys/resource.h>\n#include <unistd.h>\n#include \"shiftband/external_controller.h\"\n"
      "int32_t sb_own_controller(const struct sb_own_input *input)\n{\n"
      "  struct rlimit a, b, c;\n  getrlimit(RLIMIT_CPU, &a);\n  getrlimit(RLIMIT_FSIZE, &b);\n  getrlimit(RLIMIT_NOFILE, &c);\n"
      "  if (input->sample == 0) fprintf(stderr, \"%ld %ld %ld %d\\n\", (long)a.rlim_max, (long)b.rlim_max, (long)c.rlim_max,"
      " getsid(0) == getppid());\n"
      "  return 2;\n}\nEND\n"
      "cc -D_XOPEN_SOURCE=700 -shared -fPIC -Iinclude -o $T/see.so $T/see.c && $SHIFTBAND run -q --controller $T/see.so"
      " scenarios/hunting-crawler.yaml; echo code $?");
  shell_expect(said, "600 67108864 256 0\ncode 0\n");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(a_scenario_reads_in_its_own_folder_alone),
      cmocka_unit_test(a_scenario_does_not_read_outside_its_folder),
      cmocka_unit_test(allow_outside_lets_a_trusted_scenario_read),
      cmocka_unit_test(choices_are_read_in_the_folder_alone),
      cmocka_unit_test(shipped_scenarios_need_no_option),
      cmocka_unit_test(devices_and_pipes_are_no_scenarios_and_no_shards),
      cmocka_unit_test(a_shard_of_five_gigabytes_is_refused_at_once),
      cmocka_unit_test(a_shard_with_an_axis_without_end_is_refused),
      cmocka_unit_test(a_shard_that_holds_control_characters_is_refused),
      cmocka_unit_test(what_others_wrote_is_shown_without_effect),
      cmocka_unit_test(names_of_files_hold_no_control_characters),
      cmocka_unit_test(last_words_of_a_controller_are_shown_without_effect),
      cmocka_unit_test(what_a_controller_leaves_behind_is_ended),
      cmocka_unit_test(a_controller_has_limits),
      cmocka_unit_test(a_shared_object_has_limits),
  };
  return cmocka_run_group_tests_name("strangers", tests, shell_setup, shell_teardown);
}
