#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Prints what is wrong with the words of SVG pictures: a text over another one, or beyond the edge. Exit code 1 if there is any.

A letter is taken to be 0.5 of the font's size wide (DejaVu Sans: 0.58 on the average) and 0.75 high, so that what is printed is wrong
whatever the font.
"""
import html
import re
import sys

TEXT = re.compile(r'<g transform="translate\(([-\d.]+),([-\d.]+)\)( rotate\([-\d.]+\))?"[^>]*font-size="([\d.]+)"[^>]*text-anchor="(\w+)"[^>]*>\s*'
                  r'<text>(.*?)</text>', re.DOTALL)


def boxes_of(svg):
    """Words with left, top, right, bottom."""
    for x, y, turn, size, anchor, words in TEXT.findall(svg):
        words = html.unescape(re.sub(r"<[^>]*>", "", words)).strip()
        if not words or words == "●":
            continue
        x, y, size = float(x), float(y), float(size)
        width = 0.5 * size * len(words)
        before = {"start": 0.0, "middle": 0.5 * width, "end": width}[anchor]
        # A base line is at 0.35 of the size below the place of the text.
        if turn:
            yield words, (x - 0.4 * size, y - width + before, x + 0.35 * size, y + before)
        else:
            yield words, (x - before, y - 0.4 * size, x - before + width, y + 0.35 * size)


def faults_of(svg):
    width, height = (float(number) for number in re.search(r'width="(\d+)" height="(\d+)"', svg).groups())
    boxes = list(boxes_of(svg))
    if not boxes:
        yield "no words"
    for k, (words, (left, top, right, bottom)) in enumerate(boxes):
        if left < 0 or top < 0 or right > width or bottom > height:
            yield f'"{words}" reaches beyond the edge'
        for other, box in boxes[:k]:
            if box == (left, top, right, bottom):
                continue  # gnuplot writes words on a ground of their own twice
            if left < box[2] and box[0] < right and top < box[3] and box[1] < bottom:
                yield f'"{words}" lies over "{other}"'


def main():
    count = 0
    for path in sys.argv[1:]:
        with open(path, encoding="utf-8") as file:
            for fault in faults_of(file.read()):
                print(f"{path}: {fault}")
                count += 1
    sys.exit(1 if count else 0)


if __name__ == "__main__":
    main()
