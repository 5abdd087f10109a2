// SPDX-License-Identifier: GPL-3.0-or-later
/* interrupt.c - see long_work.h. */
#include "cli/long_work.h"

#include <stddef.h>

#include "cli/command.h"

static volatile sig_atomic_t caught;

static const int numbers[] = {SIGINT, SIGTERM, SIGHUP};

static void raise_flag(int number)
{
  caught = number;
}

void sb_interrupt_catch(void)
{
  for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
    struct sigaction before, action = {.sa_handler = raise_flag};
    action.sa_flags = (int)SA_RESETHAND; /* a second one ends the program */
    sigaction(numbers[i], NULL, &before);
    if (before.sa_handler != SIG_IGN) sigaction(numbers[i], &action, NULL);
  }
}

void sb_interrupt_release(void)
{
  for (size_t i = 0; i < sizeof numbers / sizeof numbers[0]; i++) {
    struct sigaction now;
    sigaction(numbers[i], NULL, &now);
    if (now.sa_handler == raise_flag) signal(numbers[i], SIG_DFL);
  }
}

const volatile sig_atomic_t *sb_interrupt_flag(void)
{
  return &caught;
}

int sb_interrupt_exit(const char *how_to_go_on)
{
  if (how_to_go_on != NULL) {
    sb_command_complain("interrupted; %s goes on from here", how_to_go_on);
  } else {
    sb_command_complain("interrupted");
  }
  return 128 + (int)caught;
}
