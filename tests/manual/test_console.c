// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * The texts for users (README.md, src/manual/TOPIC.md) show what the program prints: every console block is run and compared.
 *
 * A block begins with ```console. A line "$ COMMAND" is run (a backslash at its end continues it), and the lines below it
 * are what it must print, on both streams together. A line "..." stands for any lines, or none. Before a block may stand:
 *
 *   <!-- console: COMMANDS -->   also run, in one line or several; they must succeed and print nothing
 *   <!-- file: NAME -->          the next block is written into this file
 *   <!-- not run: REASON -->     the next console block is not run
 *
 * The commands of one text run one after the other in a folder of their own, in 80 columns. It has the repository's
 * scenarios/, include/, src/ and tools/, and the program as `shiftband` and build/shiftband. Nothing that is printed is
 * altered before it is compared: no path of this machine is in that folder, and no command shown may print a time.
 *
 * `make console` writes the texts again from what was printed; cuts stay where they were, counted from both ends.
 */
#include <glob.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "help/near.h"
#include "help/shell.h"
#include "help/slow.h"

enum { LINES_MAX = 4000, COMMAND_SIZE = 3500 };

struct lines {
  char *line[LINES_MAX];
  size_t count;
};

/* A text while it is checked. */
struct text {
  const char *name;
  struct lines in;
  size_t at;             /* the next line */
  FILE *out;             /* the text as it should be */
  const char *file_name; /* of the next block, or NULL */
  bool is_left_out;      /* the next console block */
  int commands, faults;
};

static bool begins(const char *line, const char *with)
{
  return strncmp(line, with, strlen(with)) == 0;
}

/* Cuts a text into its lines, in place. */
static void split(char *text, struct lines *lines)
{
  lines->count = 0;
  for (char *end; *text != 0; text = end) {
    assert_true(lines->count < LINES_MAX);
    lines->line[lines->count++] = text;
    end = text + strcspn(text, "\n");
    if (*end != 0) *end++ = 0;
  }
}

static void put_lines(FILE *out, char *const *line, size_t count)
{
  for (size_t k = 0; k < count; k++) fprintf(out, "%s\n", line[k]);
}

static void add_fault(struct text *text, const char *what, const char *about)
{
  text->faults++;
  print_message("%s:%zu: %s: %s\n", text->name, text->at, what, about);
}

/* The next line, which stays as it is; NULL at the end. */
static char *take(struct text *text)
{
  if (text->at == text->in.count) return NULL;
  char *line = text->in.line[text->at++];
  fprintf(text->out, "%s\n", line);
  return line;
}

/* The next line of a block; NULL at its end, which is taken. */
static char *take_in_block(struct text *text)
{
  char *line = take(text);
  if (line == NULL) add_fault(text, "end of text", "a block without its end");
  return line == NULL || begins(line, "```") ? NULL : line;
}

/* Lines joined, from the first on as long as `goes_on` says so of the last one; `line` may be overwritten by the next. */
static const char *take_joined(struct text *text, const char *line, bool (*goes_on)(const char *line))
{
  static char joined[COMMAND_SIZE];
  size_t length = 0;
  while (line != NULL) {
    length += (size_t)snprintf(joined + length, sizeof joined - length, "%s\n", line);
    assert_true(length < sizeof joined);
    line = goes_on(line) ? take(text) : NULL;
  }
  return joined;
}

static bool ends_in_backslash(const char *line)
{
  return *line != 0 && line[strlen(line) - 1] == '\\';
}

static bool is_open_comment(const char *line)
{
  return strstr(line, "-->") == NULL;
}

static void make_folder(void)
{
  const struct said *said =
      shell_run("rm -rf $T/run $T/bin; mkdir -p $T/run/build $T/bin && ln -s \"$SHIFTBAND\" $T/run/build/shiftband &&"
                " ln -s \"$SHIFTBAND\" $T/bin/shiftband &&"
                " for name in scenarios include src tools; do ln -s \"$PWD/$name\" $T/run/$name; done");
  assert_int_equal(said->code, 0);
}

static const struct said *run_in_folder(const char *command)
{
  char line[COMMAND_SIZE + 200];
  snprintf(line, sizeof line,
           "cd $T/run && export COLUMNS=80 NO_COLOR=1 LC_ALL=C.UTF-8 PATH=\"$T/bin:$PATH\" && { %s\n} < /dev/null",
           command);
  return shell_run(line);
}

/* Whether the wanted lines are the printed ones, where "..." stands for any lines. */
static bool is_same(char *const *wanted, size_t wanted_count, char *const *got, size_t got_count)
{
  for (; wanted_count > 0 && strcmp(*wanted, "...") != 0; wanted++, wanted_count--, got++, got_count--) {
    if (got_count == 0 || strcmp(*wanted, *got) != 0) return false;
  }
  if (wanted_count == 0) return got_count == 0;
  for (size_t k = 0; k <= got_count; k++) {
    if (is_same(wanted + 1, wanted_count - 1, got + k, got_count - k)) return true;
  }
  return false;
}

/* What was printed, with the cut that the wanted lines had. */
static void put_got(FILE *out, char *const *wanted, size_t wanted_count, const struct lines *got)
{
  size_t first = 0, last = 0;
  while (first < wanted_count && strcmp(wanted[first], "...") != 0) first++;
  while (last < wanted_count && strcmp(wanted[wanted_count - 1 - last], "...") != 0) last++;
  if (first == wanted_count || first + last >= got->count) {
    put_lines(out, got->line, got->count);
    return;
  }
  put_lines(out, got->line, first);
  fputs("...\n", out);
  put_lines(out, got->line + got->count - last, last);
}

static void report_difference(struct text *text, const char *command, char *const *wanted, size_t count,
                              const struct lines *got)
{
  size_t same = 0;
  while (same < count && same < got->count && strcmp(wanted[same], got->line[same]) == 0) same++;
  add_fault(text, "the command prints something else", command);
  print_message("  the text has  %s\n  it printed    %s\n", same < count ? wanted[same] : "no more",
                same < got->count ? got->line[same] : "no more");
}

/* One command of a block and what it must print. */
static void run_shown(struct text *text, const char *first)
{
  const char *command = take_joined(text, first + 2, ends_in_backslash);
  char *const *wanted = text->in.line + text->at;
  size_t count = 0;
  while (text->at + count < text->in.count && !begins(wanted[count], "$ ") && !begins(wanted[count], "```")) count++;

  char *printed = strdup(run_in_folder(command)->text);
  assert_non_null(printed);
  static struct lines got;
  split(printed, &got);
  if (is_same(wanted, count, got.line, got.count)) {
    put_lines(text->out, wanted, count);
  } else {
    report_difference(text, command, wanted, count, &got);
    put_got(text->out, wanted, count, &got);
  }
  free(printed);
  text->at += count;
  text->commands++;
}

static void run_block(struct text *text)
{
  for (const char *line; (line = take_in_block(text)) != NULL;) {
    if (begins(line, "$ ")) {
      run_shown(text, line);
    } else {
      add_fault(text, "a console block begins with \"$ COMMAND\"", line);
    }
  }
}

static void pass_block(struct text *text)
{
  const char *line;
  do {
    line = take_in_block(text);
  } while (line != NULL);
}

/* A command that stands where nothing runs it. */
static void refuse_command(struct text *text, const char *line)
{
  static const char *const beginnings[] = {"$ ", "shiftband ", "build/shiftband ", "make "};
  for (size_t k = 0; k < sizeof beginnings / sizeof *beginnings; k++) {
    if (begins(line, beginnings[k])) add_fault(text, "a command outside a console block", line);
  }
}

/* A block of another kind, written into the file that a comment named. */
static void take_file(struct text *text)
{
  char command[COMMAND_SIZE];
  size_t length = (size_t)snprintf(command, sizeof command, "cat > '%s' <<'END OF FILE'\n",
                                   text->file_name != NULL ? text->file_name : "/dev/null");
  for (const char *line; (line = take_in_block(text)) != NULL;) {
    refuse_command(text, line);
    length += (size_t)snprintf(command + length, sizeof command - length, "%s\n", line);
    assert_true(length < sizeof command - 20);
  }
  strcpy(command + length, "END OF FILE");
  assert_int_equal(run_in_folder(command)->code, 0);
}

static void set_up(struct text *text, const char *line)
{
  static const char head[] = "<!-- console:";
  char command[COMMAND_SIZE];
  strcpy(command, take_joined(text, line + sizeof head - 1, is_open_comment));
  *strstr(command, "-->") = 0;
  const struct said *said = run_in_folder(command);
  if (said->code != 0 || said->text[0] != 0) add_fault(text, "this set-up failed or printed something", said->text);
}

/* What follows `head` in a comment of one line; NULL when the line is no such comment. */
static const char *value_of(char *line, const char *head)
{
  char *end = strstr(line, " -->");
  if (!begins(line, head) || end == NULL || end[4] != 0) return NULL;
  return line + strlen(head); /* with its end, which the file's name is taken without */
}

static void take_marks(struct text *text, char *line)
{
  static char name[100];
  const char *value = value_of(line, "<!-- file: ");
  if (value != NULL) {
    snprintf(name, sizeof name, "%.*s", (int)strcspn(value, " "), value);
    text->file_name = name;
  }
  value = value_of(line, "<!-- not run: ");
  if (value != NULL) text->is_left_out = strlen(value) > 15; /* a reason, not a word */
}

static void take_block(struct text *text, const char *line)
{
  if (!begins(line, "```console")) {
    take_file(text);
  } else if (text->is_left_out) {
    pass_block(text);
  } else {
    run_block(text);
  }
  text->file_name = NULL;
  text->is_left_out = false;
}

/* Runs and compares all of a text; what it should be goes to `out`. */
static struct text check_text(const char *name, char *content, FILE *out)
{
  static struct text text;
  text = (struct text){.name = name, .out = out};
  split(content, &text.in);
  make_folder();
  for (char *line; (line = take(&text)) != NULL;) {
    if (begins(line, "<!-- console:")) {
      set_up(&text, line);
    } else if (begins(line, "```")) {
      take_block(&text, line);
    } else {
      take_marks(&text, line);
      if (begins(line, "    ")) refuse_command(&text, line + strspn(line, " "));
    }
  }
  return text;
}

/* The same of a text in memory, which must have so many faults and should then be `wanted`. */
static void expect_text(const char *content, int faults, const char *wanted)
{
  char *copy = strdup(content), *result = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&result, &size);
  assert_true(copy != NULL && out != NULL);
  const struct text text = check_text("text", copy, out);
  fclose(out);
  assert_int_equal(text.faults, faults);
  assert_string_equal(result, wanted);
  free(copy);
  free(result);
}

static void what_is_printed_otherwise_is_a_fault(void **state)
{
  (void)state;
  expect_text("```console\n$ echo one\none\n```\n", 0, "```console\n$ echo one\none\n```\n");
  expect_text("```console\n$ echo one\ntwo\n$ echo 1; \\\n  echo 2 >&2\n```\nend\n", 2,
              "```console\n$ echo one\none\n$ echo 1; \\\n  echo 2 >&2\n1\n2\n```\nend\n");
  expect_text("```console\n$ echo one\none\ntwo\n```\n", 1, "```console\n$ echo one\none\n```\n");
  expect_text("```console\n$ echo one\n", 2, "```console\n$ echo one\none\n");
}

static void a_cut_stands_for_any_lines(void **state)
{
  (void)state;
  static const char *const same[] = {"1\n...\n", "...\n4\n", "1\n...\n3\n4\n", "1\n2\n3\n4\n...\n", "...\n2\n...\n4\n"};
  for (size_t k = 0; k < sizeof same / sizeof *same; k++) {
    char text[200];
    snprintf(text, sizeof text, "```console\n$ seq 4\n%s```\n", same[k]);
    expect_text(text, 0, text);
  }
  expect_text("```console\n$ seq 4\n0\n...\n5\n```\n", 1, "```console\n$ seq 4\n1\n...\n4\n```\n");
  expect_text("```console\n$ seq 4\n1\n...\n1\n```\n", 1, "```console\n$ seq 4\n1\n...\n4\n```\n");
}

static void commands_that_nothing_runs_are_faults(void **state)
{
  (void)state;
  static const char *const refused[] = {
      "```sh\n$ true\n```\n",       "    build/shiftband check my.yaml\n",
      "```\nmake it\n```\n",        "<!-- not run: no -->\n```console\n$ echo 1\n```\n",
      "<!-- console: echo 1 -->\n", "<!-- console: false -->\n"};
  for (size_t k = 0; k < sizeof refused / sizeof *refused; k++) {
    char *copy = strdup(refused[k]);
    FILE *out = tmpfile();
    assert_true(copy != NULL && out != NULL);
    if (check_text("text", copy, out).faults != 1) fail_msg("no fault in: %s", refused[k]);
    fclose(out);
    free(copy);
  }
}

static void files_and_set_ups_serve_the_commands_below_them(void **state)
{
  (void)state;
  static const char text[] =
      "<!-- file: a.txt -->\n```yaml\nname: a\n```\n<!-- console:\ncp a.txt b.txt\nrm a.txt\n-->\n"
      "```console\n$ cat *.txt; ls\nname: a\nb.txt\nbuild\ninclude\nscenarios\nsrc\ntools\n```\n"
      "<!-- not run: it would take a year -->\n```console\n$ sleep 1y\n```\n";
  expect_text(text, 0, text);
}

static char *read_file(const char *path)
{
  char *text = NULL;
  size_t size = 0;
  FILE *file = fopen(path, "rb");
  assert_non_null(file);
  if (getdelim(&text, &size, 0, file) <= 0) fail_msg("%s is empty", path);
  fclose(file);
  return text;
}

/* Checks a file, and writes it again where `make console` asks for that. */
static int check_file(const char *path)
{
  char *content = read_file(path), *result = NULL;
  size_t size = 0;
  FILE *out = open_memstream(&result, &size);
  assert_non_null(out);
  const struct text text = check_text(path + strlen(SB_SOURCE_DIR) + 1, content, out);
  fclose(out);
  const bool writes = getenv("SB_CONSOLE_WRITE") != NULL;
  if (writes && text.faults > 0) {
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(result, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
  }
  free(content);
  free(result);
  if (text.faults > 0 && !writes) fail_msg("%s: what the commands print has changed: make console", text.name);
  return text.commands;
}

/* With sanitizers every second text must do, without the studies of these topics. */
static bool is_too_slow(const char *path, size_t index)
{
  static const char *const names[] = {"/controllers.md", "/battery.md", "/design.md"};
  bool is_slow = false;
  for (size_t k = 0; k < sizeof names / sizeof *names; k++) is_slow = is_slow || strstr(path, names[k]) != NULL;
  return IS_SLOW && (is_slow || index % 2 == 1);
}

static void each_text_shows_what_its_commands_print(void **state)
{
  (void)state;
  glob_t found;
  assert_int_equal(glob(SB_SOURCE_DIR "/README.md", 0, NULL, &found), 0);
  assert_int_equal(glob(SB_SOURCE_DIR "/src/manual/*.md", GLOB_APPEND, NULL, &found), 0);
  int commands = 0;
  for (size_t k = 0; k < found.gl_pathc; k++) {
    if (!is_too_slow(found.gl_pathv[k], k)) commands += check_file(found.gl_pathv[k]);
  }
  globfree(&found);
  assert_true(commands > 30);
}

static void the_readme_lists_every_topic(void **state)
{
  (void)state;
  const struct said *said = shell_run(
      "ls src/manual/*.md | sort > $T/topics; sed -n 's/^| \\[\\([a-z]*\\)\\](\\(src.manual.\\1.md\\)) |.*/\\2/p' README.md |"
      " sort | diff $T/topics - && for topic in $(cat $T/topics); do name=$(basename $topic .md);"
      " head -n 1 $topic | grep -q \"^# $name: \" || echo $topic: its title does not begin with its name; done");
  assert_string_equal(said->text, "");
}

int main(void)
{
  const struct CMUnitTest tests[] = {
      cmocka_unit_test(what_is_printed_otherwise_is_a_fault),
      cmocka_unit_test(a_cut_stands_for_any_lines),
      cmocka_unit_test(commands_that_nothing_runs_are_faults),
      cmocka_unit_test(files_and_set_ups_serve_the_commands_below_them),
      cmocka_unit_test(each_text_shows_what_its_commands_print),
      cmocka_unit_test(the_readme_lists_every_topic),
  };
  return cmocka_run_group_tests_name("console blocks of the texts for users", tests, shell_setup, shell_teardown);
}
