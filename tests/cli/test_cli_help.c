// SPDX-License-Identifier: GPL-3.0-or-later
/* Help, topics, manual pages, completion of shells, and scenarios to start from: all from the tables and texts of the program. */
#include <string.h>

#include "help/near.h"
#include "help/shell.h"

static const char *const commands[] = {"check",   "run", "prove", "map",  "tune", "emit",
                                       "inspect", "fit", "new",   "keys", "host"};
enum { COMMAND_COUNT = sizeof commands / sizeof *commands };

static bool has(const char *command)
{
  return shell_run(command)->code == 0;
}

static void help_lists_each_topic_of_the_manual(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND help > $T/help; for f in src/manual/*.md; do n=${f##*/}; n=${n%.md};"
                                      " grep -q \"^  $n  *[a-z]\" $T/help || echo lacks $n; done; echo done");
  shell_expect(said, "done");
  shell_expect_not(said, "lacks");
}

/* The options of a command stand before the topic of its name; a topic alone has no options. */
static void help_of_a_name_is_its_options_and_its_topic(void **state)
{
  (void)state;
  const struct said *said = shell_run("$SHIFTBAND help run");
  const char *options = strstr(said->text, "--fail-on VERDICTS"),
             *topic = strstr(said->text, "run - what happens over time");
  assert_true(options != NULL && topic != NULL && options < topic);
  said = shell_run("$SHIFTBAND help hoist");
  shell_expect(said, "hoist - masses on a drum");
  shell_expect(said, "Gears that lock themselves");
  shell_expect_not(said, "`");
  shell_expect_not(said, "**");
  shell_expect_not(said, "-->");
  said = shell_run("$SHIFTBAND help veicle");
  assert_int_equal(said->code, 2);
  shell_expect(said, "no command or topic veicle; did you mean vehicle?");
}

/* What a text shows as code keeps its lines, as they are. */
static void topics_are_wrapped_to_the_width(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for f in src/manual/*.md; do n=${f##*/}; COLUMNS=70 $SHIFTBAND help ${n%.md} | LC_ALL=C.UTF-8 awk -v n=$n '"
      "{ text = $0; sub(/^ */, \"\", text) } FNR == NR { has[text]; next } length > 70 && !(text in has) { print \"wide\", n, $0 }'"
      " $f -; done; echo done");
  shell_expect(said, "done");
  shell_expect_not(said, "wide");
}

/* Steps stand apart, on a terminal and in the manual page, and are no heap of words with figures in it. */
static void each_numbered_step_of_a_topic_begins_a_paragraph(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "for n in bench design; do steps=$(grep -c '^[0-9]*\\. ' src/manual/$n.md);"
      "$SHIFTBAND help $n | awk -v n=$steps 'BEGIN { last = \"x\" } /^  [0-9]+\\. / && last == \"\" { n-- } { last = $0 } END { print \"left\", n }';"
      "$SHIFTBAND help --man shiftband-$n.7 | awk -v n=$steps '/^[0-9]+\\. / && last ~ /^\\.PP/ { n-- } { last = $0 } END { print \"left\", n }';"
      "test $steps -ge 4 || echo few; done");
  assert_string_equal(said->text, "left 0\nleft 0\nleft 0\nleft 0\n");
}

static void each_option_stands_in_its_manual_page(void **state)
{
  (void)state;
  for (size_t k = 0; k < COMMAND_COUNT; k++) {
    char command[512];
    snprintf(command, sizeof command,
             "$SHIFTBAND help --man shiftband-%s.1 | sed 's/\\\\-/-/g' > $T/page;"
             "$SHIFTBAND %s --help | grep -oE '^  (-., |    )--[a-z-]+' | grep -oE -e '--[a-z-]+' | while read o; do"
             " grep -q -- \"fB$o\" $T/page || echo lacks $o; done; grep -c '^.TP' $T/page",
             commands[k], commands[k]);
    shell_expect_not(shell_run(command), "lacks");
  }
  shell_expect(shell_run("$SHIFTBAND help --man"), "shiftband-scenario.5");
  shell_expect(shell_run("$SHIFTBAND help --man"), "shiftband-verdicts.7");
  shell_expect(shell_run("$SHIFTBAND help --man shiftband-verdicts.7"), "hunting");
  assert_int_equal(shell_run("$SHIFTBAND help --man shiftband-hoits.7")->code, 2);
}

/* By groff, which each system has that shows manual pages, and by mandoc where it is. */
static void manual_pages_are_well_formed(void **state)
{
  (void)state;
  if (!has("command -v groff || command -v mandoc")) skip();
  const struct said *said = shell_run(
      "for p in $($SHIFTBAND help --man); do $SHIFTBAND help --man $p > $T/$p;"
      " if command -v groff > /dev/null; then groff -man -ww -z -Tutf8 $T/$p 2>&1 | sed \"s/^/bad $p: /\"; fi;"
      " if command -v mandoc > /dev/null; then mandoc -T lint -W warning $T/$p | grep -v 'missing date' | sed \"s/^/bad $p: /\"; fi;"
      " done; echo done");
  shell_expect(said, "done");
  shell_expect_not(said, "bad ");
}

struct completed {
  const char *words, *said;
};

/* What bash would offer behind the words. */
static void bash_completes_commands_options_words_keys_and_units(void **state)
{
  (void)state;
  if (!has("command -v bash")) skip();
  static const struct completed cases[] = {
      {"ma", "[map]"},
      {"run --fail", "[--fail-on]"},
      {"run --fail-on st", "[stall stuck-low]"},
      {"run --set controller.dw", "[controller.dwell=]"},
      {"run --set controller.dwell=2",
       "[controller.dwell=2s controller.dwell=2ms controller.dwell=2min controller.dwell=2h]"},
      {"run --set load.parts.3.kind=v", "[load.parts.3.kind=viscous]"},
      {"map --vary motor.stall_t", "[motor.stall_torque=]"},
      {"help ho", "[host hoist]"},
      {"emit --as bl", "[blocks]"},
      {"run scenarios/tray-cart.y", "[scenarios/tray-cart.yaml]"}};
  for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
    char command[1024];
    snprintf(
        command, sizeof command,
        "$SHIFTBAND help --completion bash > $T/complete; bash -c '. $0; COMP_WORDS=(shiftband %s);"
        " COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); COMP_WORDBREAKS=\" \"; _shiftband 2> /dev/null; echo \"[${COMPREPLY[*]}]\"'"
        " $T/complete",
        cases[k].words);
    shell_expect(shell_run(command), cases[k].said);
  }
}

static void zsh_and_fish_take_their_completions(void **state)
{
  (void)state;
  if (has("command -v zsh")) {
    assert_int_equal(shell_run("$SHIFTBAND help --completion zsh > $T/_shiftband && zsh -n $T/_shiftband")->code, 0);
  }
  if (has("command -v fish")) {
    const struct said *said = shell_run("$SHIFTBAND help --completion fish > $T/c.fish && HOME=$T fish -c 'source $0;"
                                        " complete -C \"shiftband run --fail-on stu\"' $T/c.fish; HOME=$T fish -c"
                                        " \"source $T/c.fish; complete -C 'shiftband run --fail-on stu'\"");
    shell_expect(said, "stuck-low");
  }
  assert_int_equal(shell_run("$SHIFTBAND help --completion tcsh")->code, 2);
}

/* No finding, no verdict, and the schema named on top. */
static void each_start_passes_check_and_run(void **state)
{
  (void)state;
  static const char *const kinds[] = {"cart", "winch", "crawler", "feeder", "press"};
  for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
    char command[512];
    snprintf(command, sizeof command,
             "$SHIFTBAND new %s -o $T/start.yaml && head -n 1 $T/start.yaml && $SHIFTBAND check $T/start.yaml &&"
             " $SHIFTBAND run --json $T/start.yaml",
             kinds[k]);
    const struct said *said = shell_run(command);
    assert_int_equal(said->code, 0);
    shell_expect(said, "# yaml-language-server: $schema=scenario.schema.json");
    shell_expect(said, "No hunting band");
    shell_expect(said, "\"verdicts\":[]");
    shell_expect_not(said, "\"shifts\":[]");
    snprintf(command, sizeof command,
             "$SHIFTBAND new | grep '^  %s '; $SHIFTBAND new %s | cmp - $T/start.yaml && echo same", kinds[k],
             kinds[k]);
    shell_expect(shell_run(command), "same");
  }
  const struct said *said = shell_run("$SHIFTBAND new wnich");
  assert_int_equal(said->code, 2);
  shell_expect(said, "no kind wnich, nearest is \"winch\"");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(help_lists_each_topic_of_the_manual),
      cmocka_unit_test(help_of_a_name_is_its_options_and_its_topic),
      cmocka_unit_test(topics_are_wrapped_to_the_width),
      cmocka_unit_test(each_numbered_step_of_a_topic_begins_a_paragraph),
      cmocka_unit_test(each_option_stands_in_its_manual_page),
      cmocka_unit_test(manual_pages_are_well_formed),
      cmocka_unit_test(bash_completes_commands_options_words_keys_and_units),
      cmocka_unit_test(zsh_and_fish_take_their_completions),
      cmocka_unit_test(each_start_passes_check_and_run),
  };
  return cmocka_run_group_tests_name("cli help", tests, shell_setup, shell_teardown);
}
