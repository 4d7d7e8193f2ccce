// SPDX-License-Identifier: Apache-2.0
#include "ringwall/image.hpp"

#include <cstdlib>
#include <new>
#include <sys/mman.h>

namespace ringwall::detail {
namespace {

constexpr std::size_t large_page = std::size_t{2} << 20;

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
constexpr bool in_pages = false; // the sanitizers watch what the heap gives
#else
constexpr bool in_pages = true;
#endif

bool paged(std::size_t bytes) {
    return in_pages && bytes >= 2 * large_page;
}

} // namespace

// A picture of 4096 x 4096 floats on pages of 4 KB costs 16 384 page faults, a tenth of a second: large pages
// are asked for. Fresh pages are zero, so nothing is filled, and each thread touches its own rows first.
void* take_pixels(std::size_t bytes) {
    void* memory = nullptr;
    if (!paged(bytes)) {
        memory = std::calloc(bytes > 0 ? bytes : 1, 1);
    } else {
        memory = ::mmap(nullptr, bytes, PROT_READ | PROT_WRITE, MAP_PRIVATE | MAP_ANONYMOUS, -1, 0);
        if (memory == MAP_FAILED)
            memory = nullptr;
        else
            ::madvise(memory, bytes, MADV_HUGEPAGE); // a wish: without it only time is lost
    }
    if (memory == nullptr) throw std::bad_alloc();
    return memory;
}

void give_back_pixels(void* memory, std::size_t bytes) noexcept {
    if (memory == nullptr) return;
    if (paged(bytes))
        ::munmap(memory, bytes);
    else
        std::free(memory);
}

} // namespace ringwall::detail
