// SPDX-License-Identifier: Apache-2.0
#include "core/version.hpp"

#include <string_view>

namespace ringwall {

const char* version() {
    return RINGWALL_VERSION;
}

const char* revision() {
    return RINGWALL_REVISION;
}

std::vector<std::pair<std::string, std::string>> libraries() {
    std::vector<std::pair<std::string, std::string>> list;
    std::string_view rest = RINGWALL_LIBRARIES; // "name=version,name=version,"
    while (!rest.empty()) {
        const std::string_view one = rest.substr(0, rest.find(','));
        const auto equals = one.find('=');
        list.emplace_back(one.substr(0, equals), one.substr(equals + 1));
        rest.remove_prefix(std::min(rest.size(), one.size() + 1));
    }
    return list;
}

} // namespace ringwall
