// SPDX-License-Identifier: Apache-2.0
#include "commands.hpp"

#include <cstdio>
#include <new>

/// Maps what went wrong to one line and the exit status of contract.md.
int main(int argc, char** argv) {
    using namespace ringwall;
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
