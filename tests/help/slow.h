// SPDX-License-Identifier: GPL-3.0-or-later
/* slow.h - whether the sanitizers make everything so slow that fewer trials must do. */
#ifndef SHIFTBAND_TESTS_SLOW_H
#define SHIFTBAND_TESTS_SLOW_H

#if defined(__SANITIZE_ADDRESS__)
#define IS_SLOW 1
#elif defined(__has_feature)
#if __has_feature(address_sanitizer)
#define IS_SLOW 1
#endif
#endif
#ifndef IS_SLOW
#define IS_SLOW 0
#endif

#endif
