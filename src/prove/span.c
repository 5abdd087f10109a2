// SPDX-License-Identifier: GPL-3.0-or-later
#include "prove/span.h"

#include <math.h>

static struct sb_corner lower(const struct sb_corner *a, const struct sb_corner *b)
{
  return (struct sb_corner){fmin(a->motor_rad_s, b->motor_rad_s), fmin(a->output_rad_s, b->output_rad_s),
                            fmin(a->filtered, b->filtered)};
}

static struct sb_corner higher(const struct sb_corner *a, const struct sb_corner *b)
{
  return (struct sb_corner){fmax(a->motor_rad_s, b->motor_rad_s), fmax(a->output_rad_s, b->output_rad_s),
                            fmax(a->filtered, b->filtered)};
}

struct sb_span sb_span_hull(const struct sb_span *a, const struct sb_span *b)
{
  return (struct sb_span){lower(&a->low, &b->low), higher(&a->high, &b->high), a->is_leading || b->is_leading,
                          a->is_lagging || b->is_lagging};
}

/* Whether a is below b or as good as equal, in everything. */
static bool is_ordered(const struct sb_corner *a, const struct sb_corner *b, const struct sb_span_sizes *sizes)
{
  return a->motor_rad_s <= b->motor_rad_s + sizes->speed_rad_s &&
         a->output_rad_s <= b->output_rad_s + sizes->speed_rad_s && a->filtered <= b->filtered + sizes->filtered;
}

bool sb_span_touches(const struct sb_span *a, const struct sb_span *b, const struct sb_span_sizes *sizes)
{
  return is_ordered(&a->low, &b->high, sizes) && is_ordered(&b->low, &a->high, sizes);
}

bool sb_span_contains(const struct sb_span *outer, const struct sb_span *inner, const struct sb_span_sizes *sizes)
{
  return is_ordered(&outer->low, &inner->low, sizes) && is_ordered(&inner->high, &outer->high, sizes) &&
         (outer->is_leading || !inner->is_leading) && (outer->is_lagging || !inner->is_lagging);
}

static bool is_contained(const struct sb_spans *set, const struct sb_span *span, const struct sb_span_sizes *sizes)
{
  for (int i = 0; i < set->count; i++) {
    if (sb_span_contains(&set->items[i], span, sizes)) return true;
  }
  return false;
}

bool sb_span_set_add(struct sb_spans *set, const struct sb_span *span, const struct sb_span_sizes *sizes)
{
  if (is_contained(set, span, sizes)) return false;
  struct sb_span joined = *span;
  for (int i = 0; i < set->count;) {
    if (sb_span_touches(&set->items[i], &joined, sizes) || set->count == SB_SPANS_MAX) {
      joined = sb_span_hull(&joined, &set->items[i]);
      set->items[i] = set->items[--set->count];
      i = 0; /* what it is now may touch one that it did not touch before */
    } else {
      i++;
    }
  }
  set->items[set->count++] = joined;
  return true;
}

static bool is_subset(const struct sb_spans *a, const struct sb_spans *b, const struct sb_span_sizes *sizes)
{
  for (int i = 0; i < a->count; i++) {
    if (!is_contained(b, &a->items[i], sizes)) return false;
  }
  return true;
}

bool sb_span_set_is_same(const struct sb_spans *a, const struct sb_spans *b, const struct sb_span_sizes *sizes)
{
  return is_subset(a, b, sizes) && is_subset(b, a, sizes);
}

struct sb_span sb_span_set_hull(const struct sb_spans *set)
{
  struct sb_span hull = set->items[0];
  for (int i = 1; i < set->count; i++) hull = sb_span_hull(&hull, &set->items[i]);
  return hull;
}
