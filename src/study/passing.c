// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/passing.h"

#include <stdlib.h>

#include "map/join.h"
#include "study/share.h"
#include "text/csv_writer.h"

enum sb_status sb_passing_check(const struct sb_map_axis *down, const struct sb_map_axis *up, struct sb_error *err)
{
  if ((long long)down->count * up->count <= SB_PASSING_POINTS_MAX) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE,
                 "%d x %d thresholds are too many to count samples at; take a coarser controller.threshold_step, or "
                 "less of the plane with --downshift and --upshift",
                 down->count, up->count);
}

enum sb_status sb_passing_init(struct sb_passing *passing, const struct sb_map_axis *down, const struct sb_map_axis *up,
                               struct sb_error *err)
{
  enum sb_status status = sb_passing_check(down, up, err);
  *passing = (struct sb_passing){.down = *down, .up = *up};
  return status == SB_OK ? sb_counts_init(&passing->counts, down->count, up->count, err) : status;
}

void sb_passing_clear(struct sb_passing *passing)
{
  sb_counts_clear(&passing->counts);
}

void sb_passing_write(struct sb_lines *lines, struct sb_map *map)
{
  sb_map_keep_passing(map);
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    sb_lines_add(lines, "%d %d %d %d\n", cell->down_first, cell->down_last, cell->up_first, cell->up_last);
  }
}

static bool read_rect(const char *line, const struct sb_passing *passing, struct sb_rect *rect, int *length)
{
  const bool is_read =
      sscanf(line, "%d %d %d %d%n", &rect->down_first, &rect->down_last, &rect->up_first, &rect->up_last, length) == 4;
  return is_read && line[*length] == '\n' && rect->down_first >= 0 && rect->down_last >= rect->down_first &&
         rect->down_last < passing->down.count && rect->up_first >= 0 && rect->up_last >= rect->up_first &&
         rect->up_last < passing->up.count;
}

enum sb_status sb_passing_add(struct sb_passing *passing, const char *lines, struct sb_error *err)
{
  int length = 0;
  for (const char *line = lines; *line != 0; line += length + 1) {
    struct sb_rect rect;
    if (!read_rect(line, passing, &rect, &length)) {
      return sb_fail(err, SB_ERR_SCENARIO, "the rectangles of a sample are no rectangles of the plane");
    }
    sb_counts_add(&passing->counts, &rect);
  }
  passing->samples++;
  return SB_OK;
}

void sb_passing_finish(struct sb_passing *passing)
{
  sb_counts_finish(&passing->counts);
}

int sb_passing_at(const struct sb_passing *passing, int down, int up)
{
  return sb_counts_at(&passing->counts, down, up);
}

/* Down indices below this lie above the diagonal in a row of up. */
static int meant_count(const struct sb_passing *passing, int up)
{
  return sb_map_ordered_count(&passing->down, &passing->up, up);
}

double sb_passing_share_of_all(const struct sb_passing *passing)
{
  long long all = 0, points = 0;
  for (int u = 0; u < passing->up.count; u++) {
    const int meant = meant_count(passing, u);
    points += meant;
    for (int d = 0; d < meant; d++) all += sb_passing_at(passing, d, u) == passing->samples;
  }
  return points > 0 ? (double)all / (double)points : 0.0;
}

/* A rectangle that may go on downwards. */
struct open_rectangle {
  int down_first, down_last, up_last, count;
};

static void put_rectangle(struct sb_csv *csv, const struct sb_passing *passing, const struct open_rectangle *rectangle,
                          int up_first)
{
  const long samples = passing->samples;
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->down, rectangle->down_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->down, rectangle->down_last), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->up, up_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->up, rectangle->up_last), 10);
  sb_csv_integer(csv, rectangle->count);
  sb_csv_integer(csv, samples);
  sb_csv_number(csv, (double)rectangle->count / (double)samples);
  sb_csv_number(csv, sb_share_least(rectangle->count, samples));
  sb_csv_end_row(csv);
}

/* Runs of equal counts in a row of up. */
static int find_runs(const struct sb_passing *passing, int up, struct open_rectangle *runs)
{
  const int meant = meant_count(passing, up);
  int count = 0;
  for (int d = 0; d < meant; d++) {
    const int here = sb_passing_at(passing, d, up);
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
int sb_passing_write_csv(FILE *out, const struct sb_passing *passing)
{
  const size_t most = (size_t)passing->down.count + 1;
  struct open_rectangle *open = calloc(most, sizeof *open), *runs = calloc(most, sizeof *runs);
  int open_count = 0;
  const bool has_memory = open != NULL && runs != NULL;
  struct sb_csv csv;
  sb_csv_init(&csv, out);
  sb_csv_line(&csv,
              "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,passed,samples,share,share_least");
  for (int u = passing->up.count - 1; has_memory && u >= -1; u--) {
    const int run_count = u >= 0 ? find_runs(passing, u, runs) : 0;
    const int meant = u >= 0 ? meant_count(passing, u) : 0;
    for (int i = 0, k = 0; i < open_count; i++) {
      while (k < run_count && runs[k].down_first < open[i].down_first) k++;
      if (k < run_count && goes_on(&open[i], &runs[k], meant)) {
        /* Its right end stays: what the diagonal cut off means nothing. */
        runs[k].up_last = open[i].up_last;
        runs[k].down_last = open[i].down_last;
      } else {
        put_rectangle(&csv, passing, &open[i], u + 1);
      }
    }
    struct open_rectangle *swapped = open;
    open = runs;
    runs = swapped;
    open_count = run_count;
  }
  free(open);
  free(runs);
  return has_memory ? sb_csv_result(&csv) : -1;
}

/* Samples that pass at the lattice point nearest to a pair of thresholds. */
static int passed_near(const struct sb_passing *passing, double downshift_fraction, double upshift_fraction)
{
  const int down = sb_map_axis_index(&passing->down, downshift_fraction),
            up = sb_map_axis_index(&passing->up, upshift_fraction);
  if (down < 0 || down >= passing->down.count || up < 0 || up >= passing->up.count) return -1;
  return sb_passing_at(passing, down, up);
}

/* Side of the widest square of points with `wanted` whose upper right corner is a point: from three neighbours' sides. */
static int square_at(const struct sb_passing *passing, const int *below, const int *row, int down, int up, int wanted)
{
  if (down >= meant_count(passing, up) || sb_passing_at(passing, down, up) != wanted) return 0;
  if (down == 0 || up == 0) return 1;
  const int least = below[down] < below[down - 1] ? below[down] : below[down - 1];
  return 1 + (least < row[down - 1] ? least : row[down - 1]);
}

enum sb_status sb_passing_find_best(const struct sb_passing *passing, double own_downshift_fraction,
                                    double own_upshift_fraction, struct sb_passing_best *best, struct sb_error *err)
{
  struct sb_passing_best out = {.passed = -1};
  for (int u = 0; u < passing->up.count; u++) {
    for (int d = 0; d < meant_count(passing, u); d++) {
      const int here = sb_passing_at(passing, d, u);
      if (here > out.passed) out = (struct sb_passing_best){.passed = here};
      out.points += here == out.passed;
    }
  }
  int *below = calloc((size_t)passing->down.count, sizeof *below);
  int *row = calloc((size_t)passing->down.count, sizeof *row);
  if (below == NULL || row == NULL) {
    free(below);
    free(row);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the best of the samples");
  }
  int widest = 0;
  for (int u = 0; u < passing->up.count; u++) {
    for (int d = 0; d < passing->down.count; d++) {
      row[d] = square_at(passing, below, row, d, u, out.passed);
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
  out.own = passed_near(passing, own_downshift_fraction, own_upshift_fraction);
  *best = out;
  return SB_OK;
}
