// SPDX-License-Identifier: Apache-2.0
#include "inspection/finished.hpp"

#include "inspection/case_facts.hpp"
#include "inspection/findings.hpp"
#include "record/private.hpp"

#include <charconv>

namespace ringwall {

std::uint64_t seed_of(const std::string& sha256) {
    std::uint64_t seed = 0;
    const std::string_view head = std::string_view(sha256).substr(0, 16);
    std::from_chars(head.data(), head.data() + head.size(), seed, 16);
    return seed;
}

// The meter's rules read what is private; the warnings quote what is left.
BoardRecord finished_record(BoardRecord record, const InspectRequest& request) {
    add_case_facts(record, request);
    add_meter(record);
    weigh_other_evidence(record);
    if (request.leave_out_private) leave_out_private(record);
    add_case_warnings(record, request);
    return record;
}

} // namespace ringwall
