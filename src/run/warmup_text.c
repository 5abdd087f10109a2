// SPDX-License-Identifier: GPL-3.0-or-later
/* What repeating a scenario until its motor is warm came to, in words and for machines. */
#include <math.h>

#include "shiftband/warmup.h"
#include "text/json.h"

/* "settled", ... for machines. */
static const char *end_name(enum sb_warmup_end end)
{
  switch (end) {
    case SB_WARMUP_SETTLED: return "settled";
    case SB_WARMUP_PASSED: return "limit passed";
    case SB_WARMUP_CUT_OUT: return "cut out";
    case SB_WARMUP_OPEN: break;
  }
  return "open";
}

static void write_warmth(FILE *out, const char *when, const struct sb_warmup *warmup, const struct sb_warmth *warmth)
{
  fprintf(out, "%s %.1f C", when, warmth->winding_c);
  if (warmup->model.winding.housing_capacity_j_k > 0.0) fprintf(out, " (housing %.1f C)", warmth->housing_c);
}

void sb_warmup_write_text(FILE *out, const struct sb_warmup *warmup)
{
  const struct sb_model *model = &warmup->model;
  fputs("\nRepeated until warm: each time winding and housing as warm as they were left\n  ", out);
  switch (warmup->end) {
    case SB_WARMUP_SETTLED:
      fprintf(out, "Settles: no warmer after %lld repeats, %.6g s.", warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_PASSED:
      fprintf(out, "The winding passes its limit of %.6g C in repeat %lld, %.6g s after the first start.",
              model->limits.winding_c, warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_CUT_OUT:
      fprintf(out, "The cut-out opens at %.6g C in repeat %lld, %.6g s after the first start.",
              model->winding.cut_out_c, warmup->repeat_count, warmup->end_s);
      break;
    case SB_WARMUP_OPEN:
      fprintf(out, "Neither settled nor too warm after %lld repeats, %.6g s.", warmup->repeat_count, warmup->end_s);
      break;
  }
  write_warmth(out, "\n  That repeat, which follows, starts at", warmup, &warmup->start);
  fprintf(out, ", reaches %.1f C,\n ", warmup->peak_c);
  write_warmth(out, " and ends at", warmup, &warmup->finish);
  fputs(".\n", out);
  if (warmup->end == SB_WARMUP_SETTLED && warmup->greatest_start_c - warmup->least_start_c > SB_WARMUP_SETTLED_K) {
    fprintf(out, "  From repeat to repeat it starts at %.1f C to %.1f C: the machine acts on its own warmth.\n",
            warmup->least_start_c, warmup->greatest_start_c);
  }
  if (warmup->simulated_count == warmup->repeat_count) return;
  fprintf(out, "  %d repeat%s simulated; the others were passed over, %g K at a time.\n", warmup->simulated_count,
          warmup->simulated_count == 1 ? " was" : "s were", SB_WARMUP_LEAP_K);
}

static void put_warmth(struct sb_json *json, const char *key, const struct sb_warmth *warmth)
{
  sb_json_put_object(json, key);
  sb_json_put_number(json, "winding_c", warmth->winding_c);
  sb_json_put_number(json, "housing_c", warmth->housing_c);
  sb_json_close(json);
}

void sb_warmup_put_json(struct sb_json *json, const struct sb_warmup *warmup)
{
  sb_json_put_object(json, "until_warm");
  sb_json_put_string(json, "end", end_name(warmup->end));
  sb_json_put_integer(json, "repeats", warmup->repeat_count);
  sb_json_put_integer(json, "simulated", warmup->simulated_count);
  sb_json_put_number(json, "end_s", warmup->end_s);
  sb_json_put_number(json, "peak_c", warmup->peak_c);
  sb_json_put_number(json, "least_start_c", warmup->least_start_c);
  sb_json_put_number(json, "greatest_start_c", warmup->greatest_start_c);
  put_warmth(json, "start", &warmup->start);
  put_warmth(json, "finish", &warmup->finish);
  sb_json_close(json);
}
