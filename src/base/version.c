// SPDX-License-Identifier: GPL-3.0-or-later
#include "shiftband/status.h"

const char *sb_version(void)
{
  return SB_VERSION;
}
