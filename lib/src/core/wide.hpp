// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstring>

// RINGWALL_WIDE before a function: built twice, for any x86-64 and for one whose registers hold four doubles,
// and chosen when the program starts. Both give the same bits: contraction is off, and sums are written lane
// by lane. Left out under sanitizers, which are not ready yet when the choice is made.
#if defined(__has_feature)
#if __has_feature(address_sanitizer) || __has_feature(thread_sanitizer)
#define RINGWALL_SANITIZED 1
#endif
#endif
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
#define RINGWALL_SANITIZED 1
#endif
#if defined(__x86_64__) && defined(__linux__) && defined(__GNUC__) && !defined(RINGWALL_SANITIZED)
#define RINGWALL_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define RINGWALL_WIDE
#endif

namespace ringwall {

/// Four doubles that are worked on at once; plain arithmetic works on all of them.
inline constexpr int lanes = 4;
using Lanes = double __attribute__((vector_size(sizeof(double) * lanes)));

} // namespace ringwall
