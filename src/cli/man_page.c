// SPDX-License-Identifier: GPL-3.0-or-later
/* man_page.c - manual pages in the man macros: a page for the program, for each command and for each topic. */
#include <string.h>

#include "cli/help.h"
#include "cli/option_reader.h"
#include "cli/topic.h"

enum { PAGE_SIZE = 64 };

/* The section of a topic's page: 5 for what files hold, 7 for the rest. */
static int section_of(const char *topic)
{
  return strcmp(topic, "scenario") == 0 || strcmp(topic, "files") == 0 ? 5 : 7;
}

/* Text with what roff takes for its own made harmless; marks become bold where they are wanted. */
static void put_text(FILE *out, const char *text, bool has_marks)
{
  bool is_bold = false;
  if (*text == '.' || *text == '\'') fputs("\\&", out);
  for (const char *p = text; *p != 0; p++) {
    const bool is_strong = has_marks && strncmp(p, "**", 2) == 0;
    if (has_marks && (*p == '`' || is_strong)) {
      is_bold = !is_bold;
      fputs(is_bold ? "\\fB" : "\\fR", out);
      p += is_strong;
    } else if (*p == '\\' && has_marks && p[1] == '|') {
      continue;
    } else if (*p == '\\') {
      fputs("\\e", out);
    } else if (*p == '-') {
      fputs("\\-", out);
    } else if (*p == '\n' && p[1] == '\n') {
      fputs("\n.PP\n", out);
      p++;
    } else if (*p == '\n') {
      fputs("\n.br\n", out);
    } else {
      fputc(*p, out);
    }
  }
  if (is_bold) fputs("\\fR", out);
}

static void put_line(FILE *out, const char *text, bool has_marks)
{
  put_text(out, text, has_marks);
  fputc('\n', out);
}

static void begin_page(FILE *out, const char *name, int section, const char *summary)
{
  fprintf(out, ".\\\" Made by shiftband help --man.\n.TH ");
  for (const char *p = name; *p != 0; p++) fputc(*p >= 'a' && *p <= 'z' ? *p - 'a' + 'A' : *p, out);
  fprintf(out, " %d \"\" \"shiftband %s\" \"shiftband\"\n.SH NAME\n", section, SB_VERSION);
  put_text(out, name, false);
  fputs(" \\- ", out);
  put_line(out, summary, true);
}

/* Topics ------------------------------------------------------------------------------------------------------------------- */

static bool is_after_heading; /* nothing came behind the last one: no paragraph of its own begins there */

static void man_heading(FILE *out, int level, const char *text)
{
  is_after_heading = true;
  fputs(level > 2 ? ".SS " : ".SH ", out);
  put_line(out, text, true);
}

static void man_gap(FILE *out)
{
  (void)out;
}

static void man_paragraph(FILE *out, const char *text)
{
  if (!is_after_heading) fputs(".PP\n", out);
  is_after_heading = false;
  put_line(out, text, true);
}

static void man_item(FILE *out, const char *text)
{
  is_after_heading = false;
  fputs(".IP \\(bu 2\n", out);
  put_line(out, text, true);
}

static void man_code(FILE *out, const char *line, int widest)
{
  (void)widest;
  static bool is_open;
  if (line == NULL) {
    if (!is_open && !is_after_heading) fputs(".PP\n", out);
    fputs(is_open ? ".EE\n.RE\n" : ".RS 4\n.EX\n", out);
    is_after_heading = false;
    is_open = !is_open;
  } else {
    put_line(out, line, false);
  }
}

static void man_row(FILE *out, char *const cells[], int count, int *widths)
{
  (void)widths;
  is_after_heading = false;
  fputs(".TP\n", out);
  for (int k = 0; k + 1 < count; k++) {
    if (k > 0) fputs(", ", out);
    put_text(out, cells[k], true);
  }
  fputc('\n', out);
  put_line(out, count > 0 && cells[count - 1][0] != 0 ? cells[count - 1] : "\\&", true);
}

static const struct sb_topic_writer man_writer = {man_heading, man_gap, man_paragraph, man_item, man_code, man_row};

/* Commands ----------------------------------------------------------------------------------------------------------------- */

static void put_synopsis(FILE *out, const struct sb_command *command)
{
  fputs(".SH SYNOPSIS\n.nf\n", out);
  for (const char *usage = command->usage; usage != NULL;) {
    const size_t length = strcspn(usage, "\n");
    char line[512];
    snprintf(line, sizeof line, "%.*s", (int)length, usage);
    fprintf(out, "\\fBshiftband %s\\fR ", command->name);
    put_line(out, line, false);
    usage = usage[length] != 0 ? usage + length + 1 : NULL;
  }
  fputs(".fi\n", out);
}

static void put_options(FILE *out, const struct sb_command *command)
{
  char text[SB_HELP_TEXT_SIZE];
  if (sb_option_is_end(command->options)) return;
  fputs(".SH OPTIONS\n", out);
  for (const struct sb_option *o = command->options; !sb_option_is_end(o); o++) {
    if (o->name == NULL) {
      man_paragraph(out, o->help + strspn(o->help, "\n"));
      continue;
    }
    fputs(".TP\n", out);
    if (o->letter != 0) fprintf(out, "\\fB\\-%c\\fR, ", o->letter);
    fputs("\\fB\\-\\-", out);
    put_text(out, o->name, false);
    fputs("\\fR", out);
    if (o->value != NULL) fprintf(out, " \\fI%s\\fR", o->value);
    fputc('\n', out);
    put_line(out, sb_help_option_text(command, o, text), false);
  }
}

static void put_exit_codes(FILE *out)
{
  fputs(".SH \"EXIT STATUS\"\n", out);
#define PUT_CODE(name, code, text) fprintf(out, ".TP\n%d\n%s\n", code, text);
  SB_EXIT_LIST(PUT_CODE)
#undef PUT_CODE
}

static void put_see_also(FILE *out)
{
  fputs(".SH \"SEE ALSO\"\n.BR shiftband (1),\n.BR shiftband\\-scenario (5),\n.BR shiftband\\-files (5),\n"
        ".BR shiftband\\-verdicts (7)\n",
        out);
}

static void put_command(FILE *out, const struct sb_command *command)
{
  char name[PAGE_SIZE];
  const struct sb_topic *topic = sb_topic_find(command->name);
  snprintf(name, sizeof name, "shiftband-%s", command->name);
  begin_page(out, name, 1, command->summary);
  put_synopsis(out, command);
  fputs(".SH DESCRIPTION\n", out);
  put_line(out, command->about, false);
  put_options(out, command);
  if (topic != NULL) {
    fputs(".SH USE\n", out);
    is_after_heading = true;
    sb_topic_walk(out, topic, &man_writer);
  }
  put_exit_codes(out);
  put_see_also(out);
}

static void put_topic(FILE *out, const struct sb_topic *topic)
{
  char name[PAGE_SIZE];
  snprintf(name, sizeof name, "shiftband-%s", topic->name);
  begin_page(out, name, section_of(topic->name), topic->title);
  fputs(".SH DESCRIPTION\n", out);
  is_after_heading = true;
  sb_topic_walk(out, topic, &man_writer);
  put_see_also(out);
}

static void put_program(FILE *out)
{
  begin_page(out, "shiftband", 1, "gearboxes that shift by themselves: thresholds that work");
  fputs(
      ".SH SYNOPSIS\n\\fBshiftband\\fR \\fICOMMAND\\fR [\\fIOPTION\\fR]... [\\fIFILE\\fR]...\n"
      ".SH DESCRIPTION\nSimulates small machines whose gearbox shifts by itself, by hysteresis on the motor's speed, and finds"
      " thresholds\nand a dwell with which it works.\n.SH COMMANDS\n",
      out);
  for (const struct sb_command *const *command = sb_commands; *command != NULL; command++) {
    fprintf(out, ".TP\n.BR shiftband\\-%s (1)\n", (*command)->name);
    put_line(out, (*command)->summary, false);
  }
  fputs(".SH TOPICS\n", out);
  for (const struct sb_topic *topic = sb_topics; topic->name != NULL; topic++) {
    fprintf(out, ".TP\n\\fBshiftband help %s\\fR\n", topic->name);
    put_line(out, topic->title, true);
  }
  fputs(
      ".SH ENVIRONMENT\n.TP\n\\fBCOLUMNS\\fR\nThe width of reports, 40 to 200.\n.TP\n\\fBNO_COLOR\\fR\nPictures on a terminal"
      " have no colors.\n",
      out);
  put_exit_codes(out);
  put_see_also(out);
}

/* Pages -------------------------------------------------------------------------------------------------------------------- */

static const struct sb_command *command_of(const char *name)
{
  for (const struct sb_command *const *command = sb_commands; *command != NULL; command++) {
    if (strcmp((*command)->name, name) == 0) return *command;
  }
  return NULL;
}

void sb_man_page_list(FILE *out)
{
  fputs("shiftband.1\n", out);
  for (const struct sb_command *const *command = sb_commands; *command != NULL; command++) {
    fprintf(out, "shiftband-%s.1\n", (*command)->name);
  }
  for (const struct sb_topic *topic = sb_topics; topic->name != NULL; topic++) {
    if (command_of(topic->name) == NULL) fprintf(out, "shiftband-%s.%d\n", topic->name, section_of(topic->name));
  }
}

bool sb_man_page_write(FILE *out, const char *page)
{
  char name[PAGE_SIZE] = "";
  if (strcmp(page, "shiftband.1") == 0) {
    put_program(out);
    return true;
  }
  if (sscanf(page, "shiftband-%48[a-z]", name) != 1) return false;
  const struct sb_command *command = command_of(name);
  const struct sb_topic *topic = sb_topic_find(name);
  if (command != NULL) {
    put_command(out, command);
  } else if (topic != NULL) {
    put_topic(out, topic);
  }
  return command != NULL || topic != NULL;
}
