// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * completion.c - completion of bash, zsh and fish, from the tables of commands, options and keys. All three ask one function of
 * shell code, shiftband_words, which holds the tables; zsh runs that of bash.
 */
#include <string.h>

#include "cli/help.h"
#include "cli/option_reader.h"
#include "cli/topic.h"

/* The words of an option's value, with spaces between; "FILE" for a file, "KEY" for a key and its value, "" for anything. */
static void put_values(FILE *out, const struct sb_option *option)
{
  if (strcmp(option->name, "set") == 0 || strcmp(option->name, "vary") == 0) {
    fputs("KEY", out);
  } else if (option->kind == SB_OPTION_INPUT || option->kind == SB_OPTION_OUTPUT) {
    fputs("FILE", out);
  } else if (option->words != NULL) {
    char words[1024];
    sb_option_list_words(option, " ", words, sizeof words);
    for (char *p = words; *p != 0; p++) {
      if (*p != ',') fputc(*p, out);
    }
  }
}

static void put_command(FILE *out, const struct sb_command *command)
{
  fprintf(out, "    %s:options) echo '--help --version", command->name);
  for (const struct sb_option *o = command->options; !sb_option_is_end(o); o++) {
    if (o->name != NULL) fprintf(out, " --%s", o->name);
  }
  fputs("' ;;\n", out);
  for (const struct sb_option *o = command->options; !sb_option_is_end(o); o++) {
    if (o->name == NULL || o->value == NULL) continue;
    fprintf(out, "    %s:--%s", command->name, o->name);
    if (o->letter != 0) fprintf(out, " | %s:-%c", command->name, o->letter);
    fputs(") echo '", out);
    put_values(out, o);
    fputs("' ;;\n", out);
  }
}

static void put_tables(FILE *out)
{
  fputs("# Words of a place: `commands`, `topics`, COMMAND:options, COMMAND:OPTION, key:PATH.\nshiftband_words()\n{\n"
        "  case $1 in\n    commands) echo 'help",
        out);
  for (const struct sb_command *const *c = sb_commands; *c != NULL; c++) fprintf(out, " %s", (*c)->name);
  fputs("' ;;\n    topics) echo '", out);
  for (const struct sb_topic *topic = sb_topics; topic->name != NULL; topic++) fprintf(out, "%s ", topic->name);
  fputs("' ;;\n", out);
  for (const struct sb_command *const *c = sb_commands; *c != NULL; c++) put_command(out, *c);
  fputs("    keys) echo '", out);
  sb_scenario_write_paths(out, false);
  fputs("' ;;\n", out);
  sb_scenario_write_paths(out, true);
  fputs("  esac\n}\n", out);
}

/* $words, $cword and $current are the words typed, the place of the one to complete and its text. */
static const char bash_code[] =
    "_shiftband()\n{\n"
    "  local words cword current command before list\n"
    "  _get_comp_words_by_ref -n := words cword 2> /dev/null || { words=(\"${COMP_WORDS[@]}\"); cword=$COMP_CWORD; }\n"
    "  current=${words[cword]} command=${words[1]} before=${words[cword - 1]}\n"
    "  COMPREPLY=()\n"
    "  if [ \"$cword\" -eq 1 ]; then\n"
    "    list=$(shiftband_words commands)\n"
    "  elif [ \"$command\" = help ]; then\n"
    "    list=\"$(shiftband_words commands) $(shiftband_words topics)\"\n"
    "  else\n"
    "    case $current in\n"
    "      -*) list=$(shiftband_words \"$command:options\") ;;\n"
    "      *) list=$(shiftband_words \"$command:$before\"); [ -n \"$list\" ] || list=FILE ;;\n"
    "    esac\n"
    "  fi\n"
    "  case $list in\n"
    "    FILE) COMPREPLY=($(compgen -f -- \"$current\")); compopt -o filenames 2> /dev/null; return ;;\n"
    "    KEY) list=$(shiftband_key_words \"$current\"); compopt -o nospace 2> /dev/null ;;\n"
    "  esac\n"
    "  COMPREPLY=($(compgen -W \"$list\" -- \"$current\"))\n"
    "  if declare -F __ltrim_colon_completions > /dev/null; then __ltrim_colon_completions \"$current\"; fi\n"
    "  case $current in\n" /* bash parts words at = where it may */
    "    *=*) if [[ $COMP_WORDBREAKS == *=* ]]; then COMPREPLY=(\"${COMPREPLY[@]#\"${current%%=*}=\"}\"); fi ;;\n"
    "  esac\n"
    "}\n";

/* Keys with their =; behind it the words of a kind, or the units behind a number. */
static const char key_code[] =
    "shiftband_key_words()\n{\n"
    "  case $1 in\n"
    "    *=*)\n"
    "      key=${1%%=*} number=${1#*=}\n"
    "      number=$(printf '%s' \"$number\" | sed 's/^\\([-+0-9.e]*\\).*/\\1/')\n"
    "      for word in $(shiftband_words \"key:$(printf '%s' \"$key\" | sed 's/\\.[0-9][0-9]*/.1/g')\"); do\n"
    "        case $word in @*) echo \"$key=$number${word#@}\" ;; *) echo \"$key=$word\" ;; esac\n"
    "      done ;;\n"
    "    *) for key in $(shiftband_words keys); do echo \"$key=\"; done ;;\n"
    "  esac\n"
    "}\n";

static const char fish_code[] =
    "function __shiftband_list\n"
    "  set -l words (commandline -opc) (commandline -ct)\n"
    "  set -l current (commandline -ct)\n"
    "  bash -c \"$__shiftband_code\"'\n"
    "    shift; current=$1 command=$3; shift; before=; for word; do last=$before; before=$word; done; before=$last\n"
    "    if [ $# -eq 2 ]; then list=$(shiftband_words commands); elif [ \"$command\" = help ]; then\n"
    "      list=\"$(shiftband_words commands) $(shiftband_words topics)\"; else case $current in\n"
    "      -*) list=$(shiftband_words \"$command:options\") ;; *) list=$(shiftband_words \"$command:$before\") ;; esac; fi\n"
    "    case $list in FILE) ;; KEY) shiftband_key_words \"$current\" ;; *) printf \"%s\\n\" $list ;; esac' shiftband \"\" "
    "\"$current\" $words\n"
    "end\n"
    "complete -c shiftband -a '(__shiftband_list)'\n";

static void write_fish(FILE *out)
{
  fputs("set -g __shiftband_code '", out);
  char line[4096];
  FILE *tables = tmpfile();
  if (tables == NULL) return;
  put_tables(tables);
  fputs(key_code, tables);
  rewind(tables);
  while (fgets(line, sizeof line, tables) != NULL) {
    for (const char *p = line; *p != 0; p++) {
      if (*p == '\'' || *p == '\\') fputc('\\', out);
      fputc(*p, out);
    }
  }
  fclose(tables);
  fputs("'\n", out);
  fputs(fish_code, out);
}

bool sb_completion_write(FILE *out, const char *shell)
{
  if (strcmp(shell, "fish") == 0) {
    write_fish(out);
    return true;
  }
  const bool is_zsh = strcmp(shell, "zsh") == 0;
  if (!is_zsh && strcmp(shell, "bash") != 0) return false;
  if (is_zsh)
    fputs("#compdef shiftband\nautoload -U +X bashcompinit && bashcompinit\nsetopt local_options sh_word_split\n", out);
  put_tables(out);
  fputs(key_code, out);
  fputs(bash_code, out);
  fputs("complete -o default -F _shiftband shiftband\n", out);
  return true;
}
