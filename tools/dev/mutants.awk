# SPDX-License-Identifier: GPL-3.0-or-later
# Lists every mutant of the C files given, one a line, with tabs between:
#
#   file, line, column, how many characters go, the text that comes in their place
#
# A mutant is one change in one line of compiled code. Comments, strings, macros, prototypes and plain declarations are
# left alone. The code is expected as .clang-format lays it out: binary operators have a blank on both sides.

# The line with comments, strings and characters as blanks of the same length; `code_before` tells an open comment.
function blanked(line,    n, i, two, c, out)
{
  n = length(line)
  out = ""
  for (i = 1; i <= n; i++) {
    two = substr(line, i, 2)
    c = substr(line, i, 1)
    if (in_comment) {
      if (two == "*/") { in_comment = 0; out = out "  "; i++ } else out = out " "
    } else if (two == "/*") { in_comment = 1; out = out "  "; i++ }
    else if (two == "//") { while (i++ <= n) out = out " " }
    else if (c == "\"" || c == "'") {
      out = out " "
      for (i++; i <= n && substr(line, i, 1) != c; i++) {
        if (substr(line, i, 1) == "\\") { i++; out = out " " }
        out = out " "
      }
      out = out " "
    } else out = out c
  }
  return out
}

function put(column, length_of_old, new)
{
  print FILENAME "\t" FNR "\t" column "\t" length_of_old "\t" new
}

# Every place of an operator that stands between blanks.
function swap(code, old, new,    at, from, rest)
{
  old = " " old " "
  from = 0
  rest = code
  while ((at = index(rest, old)) > 0) {
    from += at
    put(from + 1, length(old) - 2, new)
    rest = substr(code, from + 1)
  }
}

# Every place of a function's name.
function swap_name(code, old, new,    at, from, rest)
{
  from = 0
  rest = code
  while ((at = index(rest, old)) > 0) {
    from += at
    if (substr(code, from - 1, 1) !~ /[A-Za-z0-9_]/ && substr(code, from + length(old), 1) == "(")
      put(from, length(old), new)
    rest = substr(code, from + 1)
  }
}

function operators(code)
{
  swap(code, "+", "-"); swap(code, "-", "+"); swap(code, "+=", "-="); swap(code, "-=", "+=")
  swap(code, "<", "<="); swap(code, "<", ">"); swap(code, "<=", "<"); swap(code, "<=", ">=")
  swap(code, ">", ">="); swap(code, ">", "<"); swap(code, ">=", ">"); swap(code, ">=", "<=")
  swap(code, "==", "!="); swap(code, "!=", "=="); swap(code, "&&", "||"); swap(code, "||", "&&")
  swap_name(code, "fmin", "fmax"); swap_name(code, "fmax", "fmin")
}

# A minus or a `!` before an operand goes.
function prefixes(code,    i, c, after, before)
{
  for (i = 2; i < length(code); i++) {
    c = substr(code, i, 1)
    if (c != "-" && c != "!") continue
    after = substr(code, i + 1, 1)
    if (after !~ /[A-Za-z0-9_(.]/) continue
    before = substr(code, 1, i - 1)
    if (c == "!" || before ~ /[(,=?:*\/<>&|+-] *$/ || before ~ /return $/) put(i, 1, "")
  }
}

# 2.0 becomes 3.0, 0.5 becomes 1.5, 7 becomes 8. Numbers with an exponent are tolerances or units: they stay.
function constants(code, has_whole,    i, n, token, dot)
{
  n = length(code)
  for (i = 1; i <= n; i += length(token)) {
    match(substr(code, i), /^([A-Za-z_][A-Za-z_0-9]*|[0-9.]+([eE][-+]?[0-9]+)?[A-Za-z_0-9]*|.)/)
    token = substr(code, i, RLENGTH)
    if (token !~ /^[0-9]/ || substr(code, i - 1, 3) == "{0}") continue
    dot = index(token, ".")
    if (token ~ /^[0-9]+\.[0-9]+$/) put(i, length(token), sprintf("%.0f", substr(token, 1, dot - 1) + 1) substr(token, dot))
    else if (token ~ /^[0-9]+[uU]?$/ && has_whole) put(i, length(token), (token + 1) (token ~ /[uU]/ ? "u" : ""))
  }
}

function is_declaration(code)
{
  return code ~ /^ *(const |static |struct |enum |union |unsigned |double |int |bool |char |size_t |long |FILE |va_list |extern |typedef )/ ||
         code ~ /^ *[a-z_0-9]+ \**[a-z_0-9]+( =|;|\[)/
}

# An assignment or a call on a line of its own becomes nothing.
function statements(code, before,    text)
{
  text = code
  sub(/ +$/, "", text)
  if (text !~ /;$/ || text !~ /^ +[a-z_*(]/ || is_declaration(code) || before !~ /([;{}:)]|else)$/) return
  if (text ~ /^ *(return|break|continue|goto|case|default|do|while|for|if|else|switch)[^a-z_A-Z0-9]/) return
  if (gsub(/\(/, "(", text) != gsub(/\)/, ")", text)) return
  if (text !~ /[^=!<>]=[^=]/ && text !~ /^ *[a-z_0-9>.-]+\(/) return
  match(text, /^ */)
  put(RLENGTH + 1, length(text) - RLENGTH, "(void)0;")
}

FNR == 1 { depth = in_comment = in_macro = in_table = 0; before = "{" }

{
  was_macro = in_macro
  code = in_macro ? "" : blanked($0)
  if (code ~ /^ *#/ || was_macro) {
    in_macro = $0 ~ /\\$/
    next
  }
  in_macro = 0
  if (code !~ /[^ ]/) next
  is_top = depth == 0
  if (is_top && code ~ /= *\{/) in_table = 1
  is_text = in_table && index($0, "\"") > 0
  has_value = !is_top || (code ~ / = / && code !~ /\[/)
  if (has_value && !is_text && code !~ /assert *\(|sizeof|^ *enum |_Static_assert/) {
    operators(code)
    prefixes(code)
    constants(code, code !~ /^ *(const |static )*[a-z_]+( [a-z_]+)* \**[a-z_0-9]+\[/)
    statements(code, before)
  }
  opened = gsub(/\{/, "{", code)
  closed = gsub(/\}/, "}", code)
  depth += opened - closed
  if (depth == 0) in_table = 0
  before = code
  sub(/ +$/, "", before)
}
