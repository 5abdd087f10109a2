// SPDX-License-Identifier: GPL-3.0-or-later
#include "study/passing.h"

#include <errno.h>
#include <stdlib.h>

#include "map/lattice.h"
#include "study/share.h"
#include "text/csv_writer.h"

enum sb_status sb_passing_check(const struct sb_map_axis *downshift, const struct sb_map_axis *upshift,
                                struct sb_error *err)
{
  if ((long long)downshift->count * upshift->count <= SB_PASSING_POINTS_MAX) return SB_OK;
  return sb_fail(err, SB_ERR_USAGE,
                 "%d x %d thresholds are too many to count samples at; use a coarser controller.threshold_step, or "
                 "less of the plane with --downshift and --upshift",
                 downshift->count, upshift->count);
}

enum sb_status sb_passing_init(struct sb_passing *passing, const struct sb_map_axis *downshift,
                               const struct sb_map_axis *upshift, struct sb_error *err)
{
  enum sb_status status = sb_passing_check(downshift, upshift, err);
  *passing = (struct sb_passing){.downshift = *downshift, .upshift = *upshift};
  if (status == SB_OK) status = sb_counts_init(&passing->counts, downshift->count, upshift->count, err);
  if (status == SB_OK) status = sb_counts_init(&passing->never_shift, downshift->count, upshift->count, err);
  return status;
}

void sb_passing_clear(struct sb_passing *passing)
{
  sb_counts_clear(&passing->counts);
  sb_counts_clear(&passing->never_shift);
}

void sb_passing_write(struct sb_lines *lines, struct sb_map *map)
{
  sb_map_keep_passing(map);
  for (size_t i = 0; i < map->cell_count; i++) {
    const struct sb_map_cell *cell = &map->cells[i];
    sb_lines_add(lines, "%d %d %d %d %d\n", cell->downshift_first, cell->downshift_last, cell->upshift_first,
                 cell->upshift_last, cell->figures.shift_count == 0);
  }
}

static bool read_rect(const char *line, const struct sb_passing *passing, struct sb_rect *rect, int *never_shifts,
                      int *length)
{
  const bool is_read = sscanf(line, "%d %d %d %d %d%n", &rect->downshift_first, &rect->downshift_last,
                              &rect->upshift_first, &rect->upshift_last, never_shifts, length) == 5;
  return is_read && line[*length] == '\n' && (*never_shifts == 0 || *never_shifts == 1) && rect->downshift_first >= 0 &&
         rect->downshift_last >= rect->downshift_first && rect->downshift_last < passing->downshift.count &&
         rect->upshift_first >= 0 && rect->upshift_last >= rect->upshift_first &&
         rect->upshift_last < passing->upshift.count;
}

enum sb_status sb_passing_add(struct sb_passing *passing, const char *lines, struct sb_error *err)
{
  int length = 0, never_shifts = 0;
  for (const char *line = lines; *line != 0; line += length + 1) {
    struct sb_rect rect;
    if (!read_rect(line, passing, &rect, &never_shifts, &length)) {
      return sb_fail(err, SB_ERR_SCENARIO, "the rectangles of a sample are no rectangles of the plane");
    }
    sb_counts_add(&passing->counts, &rect);
    if (never_shifts) sb_counts_add(&passing->never_shift, &rect);
  }
  passing->samples++;
  return SB_OK;
}

int sb_passing_at(const struct sb_passing *passing, int downshift, int upshift)
{
  return sb_counts_at(&passing->counts, downshift, upshift);
}

int sb_passing_never_shift_at(const struct sb_passing *passing, int downshift, int upshift)
{
  return sb_counts_at(&passing->never_shift, downshift, upshift);
}

/* Down indices below this lie above the diagonal in a row of up. */
static int meant_count(const struct sb_passing *passing, int upshift)
{
  return sb_map_ordered_count(&passing->downshift, &passing->upshift, upshift);
}

bool sb_passing_finish(struct sb_passing *passing)
{
  sb_counts_finish(&passing->counts);
  sb_counts_finish(&passing->never_shift);
  bool is_sound = true;
  for (int u = 0; u < passing->upshift.count; u++) {
    const int meant = meant_count(passing, u); /* beyond, rectangles may do what they like */
    for (int d = 0; d < meant; d++) is_sound &= sb_passing_at(passing, d, u) <= passing->samples;
  }
  return is_sound;
}

struct sb_passing_shares sb_passing_shares_of(const struct sb_passing *passing)
{
  long long all = 0, never_shift = 0, points = 0;
  for (int u = 0; u < passing->upshift.count; u++) {
    const int meant = meant_count(passing, u);
    points += meant;
    for (int d = 0; d < meant; d++) {
      all += sb_passing_at(passing, d, u) == passing->samples;
      never_shift += sb_passing_never_shift_at(passing, d, u) == passing->samples;
    }
  }
  if (points == 0) return (struct sb_passing_shares){0.0, 0.0};
  return (struct sb_passing_shares){(double)all / (double)points, (double)never_shift / (double)points};
}

/* A rectangle that may go on downwards. */
struct open_rectangle {
  int downshift_first, downshift_last, upshift_last, count, never_shift;
};

static void put_rectangle(struct sb_csv *csv, const struct sb_passing *passing, const struct open_rectangle *rectangle,
                          int upshift_first)
{
  const long samples = passing->samples;
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->downshift, rectangle->downshift_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->downshift, rectangle->downshift_last), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->upshift, upshift_first), 10);
  sb_csv_rounded(csv, sb_map_axis_pct(&passing->upshift, rectangle->upshift_last), 10);
  sb_csv_integer(csv, rectangle->count);
  sb_csv_integer(csv, samples);
  sb_csv_number(csv, (double)rectangle->count / (double)samples);
  sb_csv_number(csv, sb_share_least(rectangle->count, samples));
  sb_csv_integer(csv, rectangle->never_shift);
  sb_csv_end_row(csv);
}

static bool counts_alike(const struct open_rectangle *a, const struct open_rectangle *b)
{
  return a->count == b->count && a->never_shift == b->never_shift;
}

/* Runs of equal counts in a row of up. */
static int find_runs(const struct sb_passing *passing, int upshift, struct open_rectangle *runs)
{
  const int meant = meant_count(passing, upshift);
  int count = 0;
  for (int d = 0; d < meant; d++) {
    const struct open_rectangle here = {d, d, upshift, sb_passing_at(passing, d, upshift),
                                        sb_passing_never_shift_at(passing, d, upshift)};
    if (count > 0 && counts_alike(&runs[count - 1], &here)) {
      runs[count - 1].downshift_last = d;
    } else {
      runs[count++] = here;
    }
  }
  return count;
}

/* Whether a rectangle from the row above goes on in this run; the diagonal may have cut its right end. */
static bool goes_on(const struct open_rectangle *above, const struct open_rectangle *run, int meant)
{
  const int last = above->downshift_last < meant ? above->downshift_last : meant - 1;
  return counts_alike(above, run) && above->downshift_first == run->downshift_first && last == run->downshift_last;
}

/* Row by row from the top: runs that go on below stay open, the others are written. */
int sb_passing_write_csv(FILE *out, const struct sb_passing *passing)
{
  const size_t most = (size_t)passing->downshift.count + 1;
  struct open_rectangle *open = calloc(most, sizeof *open), *runs = calloc(most, sizeof *runs);
  int open_count = 0;
  const bool has_memory = open != NULL && runs != NULL;
  struct sb_csv csv;
  sb_csv_begin(&csv, out, &sb_records_sample_rows);
  sb_csv_line(&csv,
              "downshift_from_pct,downshift_to_pct,upshift_from_pct,upshift_to_pct,passed,samples,share,share_least,"
              "never_shift");
  for (int u = passing->upshift.count - 1; has_memory && u >= -1; u--) {
    const int run_count = u >= 0 ? find_runs(passing, u, runs) : 0;
    const int meant = u >= 0 ? meant_count(passing, u) : 0;
    for (int i = 0, k = 0; i < open_count; i++) {
      while (k < run_count && runs[k].downshift_first < open[i].downshift_first) k++;
      if (k < run_count && goes_on(&open[i], &runs[k], meant)) {
        /* Its right end stays: what the diagonal cut off means nothing. */
        runs[k].upshift_last = open[i].upshift_last;
        runs[k].downshift_last = open[i].downshift_last;
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
  if (has_memory) return sb_csv_result(&csv);
  errno = ENOMEM; /* what was written meanwhile may have changed it */
  return -1;
}

/* What passes at the lattice point nearest to a pair of thresholds. */
static void look_near(const struct sb_passing *passing, double downshift_fraction, double upshift_fraction,
                      struct sb_passing_best *best)
{
  const int downshift = sb_map_axis_index(&passing->downshift, downshift_fraction),
            upshift = sb_map_axis_index(&passing->upshift, upshift_fraction);
  best->own = -1;
  if (downshift < 0 || downshift >= passing->downshift.count || upshift < 0 || upshift >= passing->upshift.count)
    return;
  best->own = sb_passing_at(passing, downshift, upshift);
  best->own_never_shift = sb_passing_never_shift_at(passing, downshift, upshift);
}

/* Samples that pass at a point that may be the answer: where at least one of them shifts; 0: it may not. */
static int answers_at(const struct sb_passing *passing, int downshift, int upshift)
{
  const int passed = sb_passing_at(passing, downshift, upshift);
  return passed > sb_passing_never_shift_at(passing, downshift, upshift) ? passed : 0;
}

/* Side of the widest square of points with `wanted` whose upper right corner is a point: from three neighbours' sides. */
static int square_at(const struct sb_passing *passing, const int *below, const int *row, int downshift, int upshift,
                     int wanted)
{
  if (downshift >= meant_count(passing, upshift) || answers_at(passing, downshift, upshift) != wanted) return 0;
  if (downshift == 0 || upshift == 0) return 1;
  const int least = below[downshift] < below[downshift - 1] ? below[downshift] : below[downshift - 1];
  return 1 + (least < row[downshift - 1] ? least : row[downshift - 1]);
}

/* The middle of the widest square of the best points. */
static enum sb_status find_square(const struct sb_passing *passing, struct sb_passing_best *best, struct sb_error *err)
{
  int *below = calloc((size_t)passing->downshift.count, sizeof *below);
  int *row = calloc((size_t)passing->downshift.count, sizeof *row);
  if (below == NULL || row == NULL) {
    free(below);
    free(row);
    return sb_fail(err, SB_ERR_MEMORY, "out of memory for the best of the samples");
  }
  int widest = 0;
  for (int u = 0; u < passing->upshift.count; u++) {
    for (int d = 0; d < passing->downshift.count; d++) {
      row[d] = square_at(passing, below, row, d, u, best->passed);
      if (row[d] <= widest) continue;
      widest = row[d];
      best->downshift = d - widest / 2;
      best->upshift = u - widest / 2;
    }
    int *swapped = below;
    below = row;
    row = swapped;
  }
  free(below);
  free(row);
  best->never_shift = sb_passing_never_shift_at(passing, best->downshift, best->upshift);
  return SB_OK;
}

enum sb_status sb_passing_find_best(const struct sb_passing *passing, double own_downshift_fraction,
                                    double own_upshift_fraction, struct sb_passing_best *best, struct sb_error *err)
{
  struct sb_passing_best out = {.passed = 0};
  look_near(passing, own_downshift_fraction, own_upshift_fraction, &out);
  for (int u = 0; u < passing->upshift.count; u++) {
    for (int d = 0; d < meant_count(passing, u); d++) {
      const int here = answers_at(passing, d, u);
      if (here > out.passed) out.points = 0;
      if (here > out.passed) out.passed = here;
      out.points += here > 0 && here == out.passed;
    }
  }
  const enum sb_status status = out.points > 0 ? find_square(passing, &out, err) : SB_OK;
  if (status == SB_OK) *best = out;
  return status;
}
