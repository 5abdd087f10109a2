// SPDX-License-Identifier: GPL-3.0-or-later
#include "fit/predict.h"

static enum sb_status set_steps(const struct sb_bench *bench, struct sb_bench_test *test, struct sb_error *err)
{
  struct sb_model machine;
  if (!sb_bench_machine(bench, bench->p, test->added_inertia_kg_m2, &machine)) {
    return sb_fail(err, SB_ERR_NUMERICS, "%s: the start of the search makes no machine", test->log->path);
  }
  if (test->event_count == 0) return sb_dynamics_set_steps(test, &machine, err);
  sb_shift_set_steps(test, &machine);
  return SB_OK;
}

enum sb_status sb_predict_set_steps(struct sb_bench *bench, struct sb_error *err)
{
  enum sb_status status = SB_OK;
  for (int t = 0; t < bench->test_count && status == SB_OK; t++) {
    if (bench->tests[t].is_dynamic) status = set_steps(bench, &bench->tests[t], err);
  }
  return status;
}

static int predict_test(const struct sb_bench *bench, const struct sb_bench_test *test, const double *p,
                        const double *own, double *computed)
{
  struct sb_model machine;
  if (!sb_bench_machine(bench, p, test->added_inertia_kg_m2, &machine)) return -1;
  machine.motor.resistance_ohm += test->source_ohm;
  if (test->event_count > 0) return sb_shift_compute(bench, test, &machine, own, computed);
  if (test->is_dynamic) return sb_dynamics_compute(bench, test, &machine, own, computed);
  sb_points_compute(bench, test, &machine, computed);
  return 0;
}

int sb_predict(const struct sb_bench *bench, const double *p, double (*own)[SB_OWN_COUNT], double *computed)
{
  int failed = 0;
  for (int t = 0; t < bench->test_count && failed == 0; t++) {
    failed = predict_test(bench, &bench->tests[t], p, own[t], computed);
  }
  return failed;
}
