// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * picture.h - a plane drawn with characters: one character a cell, as wide as sb_text_width() allows, no colors.
 *
 * A plane is a lattice of points, first + k step along each axis. A picture shows a part of it; each of its cells covers
 * one lattice point or several, and takes the mark of the one in the middle. Marks come as rectangles of the lattice.
 */
#ifndef SHIFTBAND_TEXT_PICTURE_H
#define SHIFTBAND_TEXT_PICTURE_H

#include <stdbool.h>
#include <stdio.h>

#include "shiftband/status.h"

/* Lattice indices, ends included. */
struct sb_span {
  int first, last;
};

/* Lattice points picked along both axes, and a mark for each pair of them; ' ' means nothing. */
struct sb_sketch {
  int column_count, row_count;
  int *columns, *rows; /* ascending lattice indices, owned */
  char *marks;         /* marks[row * column_count + column], owned */
};

/* Takes up to `most` points of each span, evenly. All marks are ' '. */
enum sb_status sb_sketch_init(struct sb_sketch *sketch, struct sb_span across, struct sb_span upward, int most,
                              struct sb_error *err);
void sb_sketch_clear(struct sb_sketch *sketch);

/* Marks all picked points inside the spans. */
void sb_sketch_paint(struct sb_sketch *sketch, struct sb_span across, struct sb_span upward, char mark);

/*
 * Spans that show every change from a mark to another one: for a change along a row its nearest end to the bottom, for one
 * along a column its nearest end to the right, since planes of thresholds are empty at the lower right. False when nothing
 * changes anywhere: the spans are then left alone.
 */
bool sb_sketch_find_changes(const struct sb_sketch *sketch, struct sb_span *across, struct sb_span *upward);

/* Widens a span by a tenth on either side, so that it holds a point, within 0..count-1. */
void sb_sketch_make_room(struct sb_span *span, int point, int count);

struct sb_picture_axis {
  const char *name;   /* "down"; "": the axis is not labeled */
  const char *unit;   /* "%", "" */
  double first, step; /* in the unit; step > 0 */
  int count;
};

enum { SB_PICTURE_ROWS_MAX = 24 };

struct sb_picture {
  struct sb_picture_axis across, upward;
  double across_low, across_width; /* cell c covers across_low + c across_width up to the next */
  double upward_low, upward_width;
  struct sb_sketch sketch;
};

/* Lays the cells over the spans: of round widths where a cell covers several points. All cells are empty. */
enum sb_status sb_picture_init(struct sb_picture *picture, const struct sb_picture_axis *across, struct sb_span columns,
                               const struct sb_picture_axis *upward, struct sb_span rows, struct sb_error *err);
void sb_picture_clear(struct sb_picture *picture);

/* Marks the one cell that covers a point given by its values; nothing when it lies outside. */
void sb_picture_mark_point(struct sb_picture *picture, double across, double upward, char mark);

/* Writes the picture with its axes; lines of at most sb_text_width() columns. A failed write shows in ferror(out). */
void sb_picture_write(FILE *out, const struct sb_picture *picture);

#endif
