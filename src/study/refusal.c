// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/refusal.h"

#include <string.h>

#include "text/words.h"

static const char start[] = "refused ";

void sb_refusal_write(struct sb_lines *lines, const char *fault)
{
  static const char set[] = "--set "; /* a study's values are brought as sets, of which nobody knows */
  const bool is_set = strncmp(fault, set, sizeof set - 1) == 0;
  sb_lines_add(lines, "%s%s\n", start, is_set ? fault + sizeof set - 1 : fault);
}

const char *sb_refusal_reason(const char *record, int *length)
{
  if (strncmp(record, start, sizeof start - 1) != 0) return NULL;
  const char *reason = record + sizeof start - 1;
  *length = (int)strcspn(reason, "\n");
  return reason;
}

/* Whether reasons differ in their numbers at most. */
static bool is_alike(const struct sb_refusal *a, const char *reason, int length)
{
  static const char of_numbers[] = "0123456789.-+";
  const char *p = a->reason, *q = reason, *p_end = p + a->length, *q_end = q + length;
  for (;; p++, q++) {
    while (p < p_end && strchr(of_numbers, *p) != NULL) p++;
    while (q < q_end && strchr(of_numbers, *q) != NULL) q++;
    if (p == p_end || q == q_end) return p == p_end && q == q_end;
    if (*p != *q) return false;
  }
}

static void count_one(struct sb_refusals *refusals, const char *reason, int length, long task)
{
  int k = 0;
  refusals->count++;
  while (k < refusals->kept_count && !is_alike(&refusals->kept[k], reason, length)) k++;
  if (k == SB_REFUSAL_MAX) return;
  if (k == refusals->kept_count) refusals->kept[refusals->kept_count++] = (struct sb_refusal){reason, length, 0, task};
  refusals->kept[k].count++;
}

void sb_refusal_count(const struct sb_tasks_result *result, struct sb_refusals *out)
{
  *out = (struct sb_refusals){.count = 0};
  for (long i = 0; i < result->task_count; i++) {
    int length;
    const char *reason = result->tasks[i].text != NULL ? sb_refusal_reason(result->tasks[i].text, &length) : NULL;
    if (reason != NULL) count_one(out, reason, length, i);
  }
}

/* Where a task is: "controller.dwell 0.2 s, drive 80 %, sample 3"; nothing for the machine as written. */
static const char *place_of(const struct sb_study *study, long task, char *text, size_t size)
{
  const long samples = sb_study_sample_count(study);
  text[0] = 0;
  for (int a = 0; a < study->axis_count; a++) {
    const struct sb_axis *axis = &study->axes[a];
    sb_fail_add(text, size, "%s%s %.6g%s%s", a > 0 ? ", " : "", axis->path,
                sb_axis_value(axis, sb_study_index(study, task / samples, a)), axis->unit[0] != 0 ? " " : "",
                axis->unit);
  }
  if (study->samples > 0) sb_fail_add(text, size, "%ssample %ld", text[0] != 0 ? ", " : "", task % samples + 1);
  return text;
}

enum { PLACE_SIZE = 1024 };

static const char *counted(const struct sb_study *study)
{
  return study->samples > 0 ? "samples" : "points";
}

const char *sb_refusal_line(const struct sb_study_report *report, char *text, size_t size)
{
  char place[PLACE_SIZE];
  const struct sb_refusals *refusals = &report->refusals;
  const struct sb_refusal *first = &refusals->kept[0];
  text[0] = 0;
  if (refusals->count == 0) return text;
  snprintf(text, size, "%ld of %ld %s are no valid scenario; the first, %s: %.*s", refusals->count,
           sb_study_task_count(report->study), counted(report->study),
           place_of(report->study, first->first_task, place, sizeof place), first->length, first->reason);
  return text;
}

void sb_refusal_write_text(FILE *out, const struct sb_study_report *report)
{
  char place[PLACE_SIZE];
  const struct sb_refusals *refusals = &report->refusals;
  if (refusals->count == 0) return;
  long others = refusals->count;
  fprintf(out, "\nRefused are %ld of %ld %s, which are no valid scenario%s:\n", refusals->count,
          sb_study_task_count(report->study), counted(report->study),
          report->study->samples > 0 ? " and count as failing" : "");
  for (int k = 0; k < refusals->kept_count; k++) {
    const struct sb_refusal *refusal = &refusals->kept[k];
    sb_words_say(out, 2, 2, "%ld, the first at %s: %.*s", refusal->count,
                 place_of(report->study, refusal->first_task, place, sizeof place), refusal->length, refusal->reason);
    others -= refusal->count;
  }
  if (others > 0) fprintf(out, "  %ld for other reasons\n", others);
}

void sb_refusal_put(struct sb_json *json, const struct sb_study_report *report)
{
  char place[PLACE_SIZE], reason[1024];
  const struct sb_refusals *refusals = &report->refusals;
  sb_json_put_array(json, "refusals");
  for (int k = 0; k < refusals->kept_count; k++) {
    const struct sb_refusal *refusal = &refusals->kept[k];
    snprintf(reason, sizeof reason, "%.*s", refusal->length, refusal->reason);
    sb_json_open_object(json);
    sb_json_put_integer(json, "count", refusal->count);
    sb_json_put_string(json, "first_at", place_of(report->study, refusal->first_task, place, sizeof place));
    sb_json_put_string(json, "text", reason);
    sb_json_close(json);
  }
  sb_json_close(json);
}
