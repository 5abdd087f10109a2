// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * common.h - what all fuzz targets share (libFuzzer, in LLVM's documents).
 *
 * mutate.c gives them all one mutator: half of the time it changes a number of the text to an extreme one, or moves lines; else
 * it is libFuzzer's own, which works with the dictionary (dictionary.c).
 */
#ifndef SHIFTBAND_FUZZ_COMMON_H
#define SHIFTBAND_FUZZ_COMMON_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "shiftband/scenario.h"

/* The target. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* What libFuzzer asks for, and what it gives. */
size_t LLVMFuzzerCustomMutator(uint8_t *data, size_t size, size_t room, unsigned seed);
size_t LLVMFuzzerCustomCrossOver(const uint8_t *one, size_t one_size, const uint8_t *other, size_t other_size,
                                 uint8_t *out, size_t room, unsigned seed);
size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t room);

/* Ends the program as a found fault does, with a sentence. */
void fuzz_demand(bool is_fine, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* A file with these bytes: one per process and name, written anew each time. Its path. */
const char *fuzz_file(const char *name, const void *bytes, size_t size);

/* What the text is as a scenario, beside the tables of scenarios/ or else of tests/good/. True: *out is to be released. */
bool fuzz_scenario(const char *text, size_t size, struct sb_scenario *out);

/* Checks that a reader's faults are texts that name the file, and releases them. */
void fuzz_faults(enum sb_status status, const char *path, struct sb_faults *faults);

#endif
