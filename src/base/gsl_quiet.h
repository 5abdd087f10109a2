// SPDX-License-Identifier: GPL-3.0-or-later
/*
 * gsl_quiet.h - GSL reports by codes while the library calls it, and never ends the program.
 *
 * GSL's error handler belongs to the process, and the one that it begins with aborts. A function that calls what may fail
 * in GSL begins with
 *
 *   SB_GSL_QUIET;
 *
 * which turns the handler off until the function returns. The last of all threads that are in such functions puts the
 * caller's handler back.
 */
#ifndef SHIFTBAND_BASE_GSL_QUIET_H
#define SHIFTBAND_BASE_GSL_QUIET_H

/* Returns a value for leave(), which is not looked at. */
int sb_gsl_quiet_enter(void);
void sb_gsl_quiet_leave(const int *entered);

#define SB_GSL_QUIET __attribute__((cleanup(sb_gsl_quiet_leave), unused)) const int quiet_gsl = sb_gsl_quiet_enter()

#endif
