// SPDX-License-Identifier: GPL-3.0-or-later
#include "base/gsl_quiet.h"

#include <gsl/gsl_errno.h>
#include <pthread.h>

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static long inside; /* calls of enter() without their leave() */
static gsl_error_handler_t *before;

int sb_gsl_quiet_enter(void)
{
  pthread_mutex_lock(&lock);
  if (inside++ == 0) before = gsl_set_error_handler_off();
  pthread_mutex_unlock(&lock);
  return 0;
}

void sb_gsl_quiet_leave(const int *entered)
{
  (void)entered;
  pthread_mutex_lock(&lock);
  if (--inside == 0) gsl_set_error_handler(before);
  pthread_mutex_unlock(&lock);
}
