// SPDX-License-Identifier: Apache-2.0
#include "commands.hpp"

#include <cstdio>
#include <new>
#ifdef __GLIBC__
#include <malloc.h>
#endif

namespace {

/// One picture and out: what was freed is kept for the next stage. Handing it back to the system and fetching
/// it again costs a tenth of the whole run in page faults.
void keep_freed_memory() {
#ifdef __GLIBC__
    mallopt(M_MMAP_THRESHOLD, 32 << 20);
    mallopt(M_TRIM_THRESHOLD, 64 << 20);
    mallopt(M_TOP_PAD, 16 << 20);
#endif
}

} // namespace

/// Maps what went wrong to one line and the exit status of contract.md.
int main(int argc, char** argv) {
    using namespace ringwall;
    keep_freed_memory();
    const auto report = [](const char* line, Fault fault) {
        std::fprintf(stderr, "ringwall: %s\n", line);
        return static_cast<int>(fault);
    };
    try {
        return cli::run(cli::parse(argc, argv));
    } catch (const Error& error) {
        return report(error.what(), error.fault());
    } catch (const Cancelled&) {
        return report("stopped; nothing was written", static_cast<Fault>(130));
    } catch (const std::bad_alloc&) {
        return report("out of memory; try a lower --memory-mb or a smaller picture", Fault::input);
    } catch (const std::exception& error) {
        return report((std::string("a fault in the program: ") + error.what()).c_str(), Fault::program);
    }
}
