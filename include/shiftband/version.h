// SPDX-License-Identifier: GPL-3.0-or-later
/* version.h - the version of the library and the program: the only place where it stands (the Makefile reads it here). */
#ifndef SHIFTBAND_VERSION_H
#define SHIFTBAND_VERSION_H

#define SB_VERSION "0.1.0"

#endif
