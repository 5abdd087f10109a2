// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/passing.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "map/judge.h"
#include "map/report.h"

double sb_survival_least_share(long survived, long samples)
{
  if (survived <= 0) return 0.0;
  return gsl_cdf_beta_Pinv(1.0 - SB_SURVIVAL_CONFIDENCE, (double)survived, (double)(samples - survived + 1));
}

enum sb_status sb_survival_init(struct sb_survival *survival, const struct sb_map_axis *down,
                                const struct sb_map_axis *up, struct sb_error *err)
{
  const long long points = (long long)down->count * up->count;
  if (points > SB_SURVIVAL_POINTS_MAX) {
    return sb_fail(err, SB_ERR_USAGE,
                   "%d x %d thresholds are too many to count samples at; take a coarser controller.threshold_step, or "
                   "less of the plane with --downshift and --upshift",
                   down->count, up->count);
  }
  int *counts = calloc((size_t)points, sizeof *counts);
  if (counts == NULL) return sb_fail(err, SB_ERR_MEMORY, "out of memory for the counts of samples");
  *survival = (struct sb_survival){.down = *down, .up = *up, .counts = counts};
  return SB_OK;
}

void sb_survival_clear(struct sb_survival *survival)
{
  free(survival->counts);
  *survival = (struct sb_survival){.counts = NULL};
}

void sb_survival_write_holding(struct sb_lines *lines, struct sb_map *map)
{
  size_t kept = 0;
  for (size_t i = 0; i < map->cell_count; i++) {
    if (map->cells[i].verdict.kinds != 0) continue;
    map->cells[kept] = map->cells[i];
    map->cells[kept++].figures = (struct sb_map_figures){.shift_count = 0}; /* alike, so that all of them join */
  }
  map->cell_count = kept;
  sb_join(map);
  sb_map_sort(map);
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    sb_lines_add(lines, "%d %d %d %d\n", cell->down_first, cell->down_last, cell->up_first, cell->up_last);
  }
}

static int *count_at(const struct sb_survival *survival, int down, int up)
{
  return &survival->counts[(size_t)up * (size_t)survival->down.count + (size_t)down];
}

/* Until they are summed up, counts are differences to the neighbours before. */
static void add_corner(struct sb_survival *survival, int down, int up, int change)
{
  if (down < survival->down.count && up < survival->up.count) *count_at(survival, down, up) += change;
}

enum sb_status sb_survival_add(struct sb_survival *survival, const char *lines, struct sb_error *err)
{
  for (const char *at = lines; at != NULL && *at != 0;) {
    int d0, d1, u0, u1, length = 0;
    const bool is_read = sscanf(at, "%d %d %d %d%n", &d0, &d1, &u0, &u1, &length) == 4 && at[length] == '\n';
    if (!is_read || d0 < 0 || d1 < d0 || d1 >= survival->down.count || u0 < 0 || u1 < u0 || u1 >= survival->up.count) {
      return sb_fail(err, SB_ERR_SCENARIO, "the rectangles of a sample are no rectangles of the plane");
    }
    add_corner(survival, d0, u0, +1);
    add_corner(survival, d1 + 1, u0, -1);
    add_corner(survival, d0, u1 + 1, -1);
    add_corner(survival, d1 + 1, u1 + 1, +1);
    at += length + 1;
  }
  survival->samples++;
  return SB_OK;
}

void sb_survival_finish(struct sb_survival *survival)
{
  for (int u = 0; u < survival->up.count; u++) {
    for (int d = 1; d < survival->down.count; d++) *count_at(survival, d, u) += *count_at(survival, d - 1, u);
  }
  for (int u = 1; u < survival->up.count; u++) {
    for (int d = 0; d < survival->down.count; d++) *count_at(survival, d, u) += *count_at(survival, d, u - 1);
  }
  survival->is_summed = true;
}

int sb_survival_at(const struct sb_survival *survival, int down, int up)
{
  return *count_at(survival, down, up);
}

/* Down indices below this lie above the diagonal in a row of up. */
static int meant_count(const struct sb_survival *survival, int up)
{
  const long limit = sb_map_axis_number(&survival->up, up) - sb_map_axis_number(&survival->down, 0);
  return limit < 0 ? 0 : limit < survival->down.count ? (int)limit : survival->down.count;
}

/* A rectangle that may go on downwards. */
struct open_rectangle {
  int down_first, down_last, up_last, count;
};

static void write_rectangle(FILE *out, const struct sb_survival *survival, const struct open_rectangle *rectangle,
                            int up_first)
{
  char share[SB_JSON_NUMBER_SIZE], least[SB_JSON_NUMBER_SIZE];
  const long samples = survival->samples;
  fprintf(out, "%.10g,%.10g,%.10g,%.10g,%d,%ld,%s,%s\n", sb_map_axis_pct(&survival->down, rectangle->down_first),
          sb_map_axis_pct(&survival->down, rectangle->down_last), sb_map_axis_pct(&survival->up, up_first),
          sb_map_axis_pct(&survival->up, rectangle->up_last), rectangle->count, samples,
          sb_json_format_number((double)rectangle->count / (double)samples, share),
          sb_json_format_number(sb_survival_least_share(rectangle->count, samples), least));
}

/* Runs of equal counts in a row of up. */
static int find_runs(const struct sb_survival *survival, int up, struct open_rectangle *runs)
{
  const int meant = meant_count(survival, up);
  int count = 0;
  for (int d = 0; d < meant; d++) {
    const int here = sb_survival_at(survival, d, up);
    if (count > 0 && runs[count - 1].count == here) {
      runs[count - 1].down_last = d;
    } else {
      runs[count++] = (struct open_rectangle){d, d, up, here};
    }
  }
  return count;
}

/* Whether a rectangle from the row above goes on in this run; the diagonal may have cut its right end. */
static bool goes_on(const struct open_rectangle *above, const struct open_rectangle *run, int meant)
{
  const int last = above->down_last < meant ? above->down_last : meant - 1;
  return above->count == run->count && above->down_first == run->down_first && last == run->down_last;
}

/* Row by row from the top: runs that go on below stay open, the others are written. */
int sb_survival_write_csv(FILE *out, const struct sb_survival *survival)
{
  const size_t most = (size_t)survival->down.count + 1;
  struct open_rectangle *open = calloc(most, sizeof *open), *runs = calloc(most, sizeof *runs);
  int open_count = 0;
  const bool has_memory = open != NULL && runs != NULL;
  fputs("downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,survived,samples,share,share_least\n",
        out);
  for (int u = survival->up.count - 1; has_memory && u >= -1; u--) {
    const int run_count = u >= 0 ? find_runs(survival, u, runs) : 0;
    const int meant = u >= 0 ? meant_count(survival, u) : 0;
    for (int i = 0, k = 0; i < open_count; i++) {
      while (k < run_count && runs[k].down_first < open[i].down_first) k++;
      if (k < run_count && goes_on(&open[i], &runs[k], meant)) {
        /* Its right end stays: what the diagonal cut off means nothing. */
        runs[k].up_last = open[i].up_last;
        runs[k].down_last = open[i].down_last;
      } else {
        write_rectangle(out, survival, &open[i], u + 1);
      }
    }
    struct open_rectangle *swapped = open;
    open = runs;
    runs = swapped;
    open_count = run_count;
  }
  free(open);
  free(runs);
  return has_memory && !ferror(out) ? 0 : -1;
}

/* Samples that hold at the lattice point nearest to a pair of thresholds. */
static int survived_near(const struct sb_survival *survival, double downshift_fraction, double upshift_fraction)
{
  const int down = sb_map_axis_index(&survival->down, downshift_fraction),
            up = sb_map_axis_index(&survival->up, upshift_fraction);
  if (down < 0 || down >= survival->down.count || up < 0 || up >= survival->up.count) return -1;
  return sb_survival_at(survival, down, up);
}

/* Side of the widest square of points with `wanted` whose upper right corner is a point: from three neighbours' sides. */
static int square_at(const struct sb_survival *survival, const int *below, const int *row, int down, int up, int wanted)
{
  if (down >= meant_count(survival, up) || sb_survival_at(survival, down, up) != wanted) return 0;
  if (down == 0 || up == 0) return 1;
  const int least = below[down] < below[down - 1] ? below[down] : below[down - 1];
  return 1 + (least < row[down - 1] ? least : row[down - 1]);
}

enum sb_status sb_survival_find_best(const struct sb_survival *survival, double own_downshift_fraction,
                                     double own_upshift_fraction, struct sb_survival_best *best, struct sb_error *err)
{
  struct sb_survival_best out = {.survived = -1};
  for (int u = 0; u < survival->up.count; u++) {
    for (int d = 0; d < meant_count(survival, u); d++) {
      const int here = sb_survival_at(survival, d, u);
      if (here > out.survived) out = (struct sb_survival_best){.survived = here};
      out.points += here == out.survived;
    }
  }
  int *below = calloc((size_t)survival->down.count, sizeof *below);
  int *row = calloc((size_t)survival->down.count, sizeof *row);
  if (below == NULL || row == NULL) {
    free(below);
    free(row);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the best of the samples");
  }
  int widest = 0;
  for (int u = 0; u < survival->up.count; u++) {
    for (int d = 0; d < survival->down.count; d++) {
      row[d] = square_at(survival, below, row, d, u, out.survived);
      if (row[d] <= widest) continue;
      widest = row[d];
      out.down = d - widest / 2;
      out.up = u - widest / 2;
    }
    int *swapped = below;
    below = row;
    row = swapped;
  }
  free(below);
  free(row);
  out.own = survived_near(survival, own_downshift_fraction, own_upshift_fraction);
  *best = out;
  return SB_OK;
}
