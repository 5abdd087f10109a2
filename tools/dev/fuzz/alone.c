// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * alone.c - a fuzz target without libFuzzer, for any compiler: all seeds as they are, then what mutate.c makes of them, blindly.
 *
 *   usage: TARGET SECONDS WORDS FAILED SEED...      (WORDS: a dictionary; FAILED: where an input that fails is written)
 *
 * The same seeds and words give the same inputs in the same order. Built with sanitizers, whose last words come here, too.
 */
#include "common.h"

#include <fcntl.h>
#include <sanitizer/common_interface_defs.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

enum { SIZE_MAX_OF_INPUT = 1 << 15, WORDS_MAX = 4096, WORD_SIZE = 128, FEW = 4 };

static uint8_t input[SIZE_MAX_OF_INPUT];
static size_t input_size;
static const char *failed;
static char words[WORDS_MAX][WORD_SIZE];
static size_t word_count;
static uint64_t dice = 1;

static size_t throw(size_t sides)
{
  dice = dice * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
  return sides == 0 ? 0 : (size_t)((dice >> 33) % sides);
}

static void keep_input(void)
{
  const int file = open(failed, O_WRONLY | O_CREAT | O_TRUNC, 0666);
  if (file < 0) return;
  if (write(file, input, input_size) < 0) _exit(3);
  close(file);
}

static void keep_and_end(int number)
{
  keep_input();
  signal(number, SIG_DFL);
  raise(number);
}

/* The words of a dictionary, one a line in quotes; those with escapes are left out. */
static void read_words(const char *path)
{
  FILE *file = fopen(path, "r");
  char line[WORD_SIZE + 3];
  fuzz_demand(file != NULL, "no words at %s", path);
  while (word_count < WORDS_MAX && fgets(line, sizeof line, file) != NULL) {
    const size_t length = strcspn(line, "\n");
    if (length < 3 || length - 2 >= WORD_SIZE || strchr(line, '\\') != NULL) continue;
    memcpy(words[word_count], line + 1, length - 2);
    words[word_count++][length - 2] = 0;
  }
  fclose(file);
}

/* A byte changed, a piece left out, or a word put in. */
size_t LLVMFuzzerMutate(uint8_t *data, size_t size, size_t room)
{
  const size_t at = throw(size + 1), choice = throw(3);
  const char *word = word_count > 0 ? words[throw(word_count)] : "x";
  const size_t length = strlen(word);
  if (choice == 0 && at < size) data[at] = (uint8_t) throw(256);
  if (choice == 1 && at < size) {
    const size_t out = 1 + throw(size - at < 40 ? size - at : 40);
    memmove(data + at, data + at + out, size - at - out);
    return size - out;
  }
  if (choice != 2 || size + length > room) return size;
  memmove(data + at + length, data + at, size - at);
  for (size_t k = 0; k < length; k++) data[at + k] = (uint8_t)word[k];
  return size + length;
}

static void read_seed(const char *path)
{
  FILE *file = fopen(path, "rb");
  fuzz_demand(file != NULL, "no seed at %s", path);
  input_size = fread(input, 1, sizeof input, file);
  fclose(file);
}

int main(int argc, char **argv)
{
  if (argc < 5) return 2;
  const time_t end = time(NULL) + atoi(argv[1]);
  long count = 0;
  failed = argv[3];
  read_words(argv[2]);
  __sanitizer_set_death_callback(keep_input);
  signal(SIGABRT, keep_and_end);
  for (int k = 4; k < argc; k++, count++) {
    read_seed(argv[k]);
    LLVMFuzzerTestOneInput(input, input_size);
  }
  for (; time(NULL) < end; count++) {
    read_seed(argv[4 + throw((size_t)argc - 4)]);
    for (size_t k = 1 + throw(FEW); k > 0; k--) {
      input_size = LLVMFuzzerCustomMutator(input, input_size, sizeof input, (unsigned) throw(1u << 31));
    }
    LLVMFuzzerTestOneInput(input, input_size);
  }
  fprintf(stderr, "inputs: %ld\n", count);
  return 0;
}
